package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The package wording words every plural, ordinal, date, percentage and list,
// so that a keeper reads the same words everywhere.
func TestEveryNumberAndDateIsWordedInOnePlace(t *testing.T) {
	root := filepath.Join("..", "..")
	files := 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		switch name := d.Name(); {
		case d.IsDir() && (rel == wording || rel == "testdata" || rel != "." && strings.HasPrefix(name, ".")):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go"):
			return nil
		}
		files++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, file, nil, 0)
		if err != nil {
			return err
		}
		for _, w := range wordsItself(f) {
			t.Errorf("%s:%d: words %s of its own; package %s does that", rel, fset.Position(w.at).Line, w.what, wording)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 100 {
		t.Errorf("only %d files were read; is %s the module's root?", files, root)
	}
}

// worded is a place in a source file that words a number, a date or a list by
// itself.
type worded struct {
	at   token.Pos
	what string // "a plural"
}

// literals are strings that only the package wording needs. They are forbidden
// everywhere else.
var literals = []struct {
	form *regexp.Regexp
	what string
}{
	{regexp.MustCompile(`\b_?0?2 Jan|\bJan(uary)? _?0?2\b|January 2006`), "a date"},
	{regexp.MustCompile(`%s(s\b|\(s\))|^1 $`), "a plural"},
	{regexp.MustCompile(`^(st|nd|rd|th)$`), "an ordinal"},
	{regexp.MustCompile(`%\+?\.0f ?%%`), "a percent"},
	{regexp.MustCompile(`%d-%d days`), "a range of days"},
	{regexp.MustCompile(`%d h %d min`), "hours"},
}

var (
	ending = regexp.MustCompile(`^(s|es|ies)$`)
	single = regexp.MustCompile(`^1 [a-z]`)
	joiner = regexp.MustCompile(`^,? (and|or) $`)
)

// wordsItself finds the places where a source file words a number, a date or a
// list by itself.
func wordsItself(f *ast.File) (found []worded) {
	add := func(at ast.Node, what string) { found = append(found, worded{at.Pos(), what}) }
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BasicLit:
			for _, l := range literals {
				if text, ok := literal(n); ok && l.form.MatchString(text) {
					add(n, l.what)
				}
			}
		case *ast.AssignStmt: // noun += "s"
			if n.Tok == token.ADD_ASSIGN && is(n.Rhs[0], ending) {
				add(n, "a plural")
			}
		case *ast.ReturnStmt: // return "1 day"
			if len(n.Results) == 1 && is(n.Results[0], single) {
				add(n, "a plural")
			}
		case *ast.BinaryExpr:
			if n.Op != token.ADD {
				break
			}
			if is(n.Y, ending) { // noun + "s"
				add(n, "a plural")
			}
			before, ok := n.X.(*ast.BinaryExpr)
			if ok && is(before.Y, joiner) && isLast(n.Y) { // ... + " and " + words[len(words)-1]
				add(n, "a list")
			}
		}
		return true
	})
	return found
}

func literal(e ast.Expr) (string, bool) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(l.Value)
	return text, err == nil
}

func is(e ast.Expr, form *regexp.Regexp) bool {
	text, ok := literal(e)
	return ok && form.MatchString(text)
}

// isLast reports whether an expression is an element counted from the end.
func isLast(e ast.Expr) bool {
	element, ok := e.(*ast.IndexExpr)
	if !ok {
		return false
	}
	index, ok := element.Index.(*ast.BinaryExpr)
	return ok && index.Op == token.SUB
}

func TestWordsItselfFindsEachForm(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{`return noun + "s"`, "a plural"},
		{`return strconv.Itoa(n) + " " + noun + "s"`, "a plural"},
		{`noun += "es"`, "a plural"},
		{`return "1 " + noun`, "a plural"},
		{`return "1 day"`, "a plural"},
		{`return fmt.Sprintf("%d %ss", n, noun)`, "a plural"},
		{`return fmt.Sprintf("%d %s(s)", n, noun)`, "a plural"},
		{`suffix := "rd"`, "an ordinal"},
		{`return d.Format("2 January")`, "a date"},
		{`return d.Format("Mon 2 Jan 2006")`, "a date"},
		{`return d.Format("02 Jan 2006")`, "a date"},
		{`return d.Format("Jan 2")`, "a date"},
		{`return d.Format("January 2006")`, "a date"},
		{`return fmt.Sprintf("%.0f %%", 100*p)`, "a percent"},
		{`return fmt.Sprintf("today %+.0f%%", 100*p)`, "a percent"},
		{`return fmt.Sprintf("%d-%d days", from, to)`, "a range of days"},
		{`return fmt.Sprintf("about %d h %d min", n/60, n%60)`, "hours"},
		{`return strings.Join(words[:n-1], ", ") + " and " + words[n-1]`, "a list"},
		{`return strings.Join(words[:n-1], ", ") + " or " + words[len(words)-1]`, "a list"},

		{`return english.Count(n, "egg")`, ""},
		{`return strings.TrimSuffix(noun, "s")`, ""},
		{`return first + " and " + second`, ""},
		{`return words[0] + " or " + words[1]`, ""},
		{`return fmt.Sprintf("%s stands in", name)`, ""},
		{`return fmt.Sprintf("%s should", name)`, ""},
		{`return "11 eggs"`, ""},
		{`return d.Format("Jan 2006") // below an axis`, ""},
		{`return d.Format("2006-01-02")`, ""},
		{`return fmt.Sprintf("%.1f %%", x)`, ""},
		{`units["s"] = time.Second`, ""},
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "", "package p\nfunc f() string {\n"+c.line+"\n}", 0)
		if err != nil {
			t.Fatalf("%s: %v", c.line, err)
		}
		var got []string
		for _, w := range wordsItself(f) {
			got = append(got, w.what)
		}
		want := fmt.Sprintf("[%s]", c.want)
		if fmt.Sprint(got) != want {
			t.Errorf("%s\n  words %v, want %s", c.line, got, want)
		}
	}
}
