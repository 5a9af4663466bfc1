package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// mistake is a change of a file.
type mistake struct {
	operator string
	from, to int    // range of bytes to replace
	was, now string // text before and after
}

// place is a place in the code where mistakes can be made: a literal, an
// operator, a condition or a statement. mistakes lists the possible mistakes.
// The program makes only the first mistake of the list; see draw.
type place struct {
	in       *pkg
	file     string // absolute
	line     int
	code     string // the original line
	mistakes []mistake
}

func (p place) String() string {
	m := p.mistakes[0]
	change := oneLine(m.was) + " -> " + oneLine(m.now)
	if m.operator == "remove" {
		change = oneLine(m.was)
	}
	name := p.file
	if wd, err := os.Getwd(); err == nil {
		if rel, err := filepath.Rel(wd, p.file); err == nil {
			name = rel
		}
	}
	return fmt.Sprintf("%s:%d: %s: %s   [%s]", name, p.line, m.operator, change, p.code)
}

func oneLine(code string) string { return strings.Join(strings.Fields(code), " ") }

// operator makes mistakes of one kind at a node. above are the nodes around the
// node, outermost first.
type operator struct {
	name string
	at   func(f *file, n ast.Node, above []ast.Node) []mistake
}

var operators = []operator{
	{"integer", integers},     // 8 -> 9, 8 -> 7
	{"float", floats},         // 0.5 -> 0.625, 0.5 -> 0.4
	{"border", borders},       // < -> <=
	{"equal", equals},         // == -> !=
	{"and-or", andOr},         // && -> ||
	{"negate", negations},     // if a -> if !(a)
	{"arithmetic", sums},      // + -> -
	{"bool", bools},           // true -> false
	{"swap", swaps},           // Before -> After, min -> max
	{"string", stringsOfFile}, // one constant word of the file -> another
	{"remove", removals},      // a statement -> nothing
}

func operatorNames() (names []string) {
	for _, o := range operators {
		names = append(names, o.name)
	}
	return names
}

// file is a parsed file with its text.
type file struct {
	set   *token.FileSet
	text  []byte
	words []string // constant words, in order, each only once
}

// placesIn finds all places of the packages, in the order of their files. It
// skips generated files.
func placesIn(list []*pkg, only []string) ([]place, error) {
	var places []place
	for _, p := range list {
		for _, name := range p.GoFiles {
			found, err := placesOf(p, filepath.Join(p.Dir, name), only)
			if err != nil {
				return nil, err
			}
			places = append(places, found...)
		}
	}
	return places, nil
}

func placesOf(p *pkg, name string, only []string) ([]place, error) {
	f := &file{set: token.NewFileSet()}
	var err error
	if f.text, err = os.ReadFile(name); err != nil {
		return nil, err
	}
	tree, err := parser.ParseFile(f.set, name, f.text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	if ast.IsGenerated(tree) {
		return nil, nil
	}
	ast.PreorderStack(tree, nil, func(n ast.Node, above []ast.Node) bool {
		if w, ok := constantWord(n, above); ok && !slices.Contains(f.words, w) {
			f.words = append(f.words, w)
		}
		return true
	})
	lines := strings.Split(string(f.text), "\n")
	var places []place
	ast.PreorderStack(tree, nil, func(n ast.Node, above []ast.Node) bool {
		if quiet(n, above) {
			return false
		}
		var made []mistake
		for _, o := range operators {
			if len(only) > 0 && !slices.Contains(only, o.name) {
				continue
			}
			for _, m := range o.at(f, n, above) {
				m.operator = o.name
				made = append(made, m)
			}
		}
		if len(made) > 0 {
			line := f.set.Position(n.Pos()).Line
			places = append(places, place{in: p, file: name, line: line, code: strings.TrimSpace(lines[line-1]), mistakes: made})
		}
		return true
	})
	return places, nil
}

// quiet reports whether a mistake below a node has no visible effect, or
// changes only texts for people: imports, tags, the text of a panic or an
// error, reserved capacity, values returned beside an error, and fractions of a
// second.
func quiet(n ast.Node, above []ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec:
		return true
	case *ast.BasicLit:
		if field, ok := last(above).(*ast.Field); ok && field.Tag == n {
			return true
		}
	case *ast.CallExpr:
		return calls(n, "panic") || isError(n)
	case *ast.ExprStmt:
		return calls(n.X, "panic")
	}
	if r, ok := last(above).(*ast.ReturnStmt); ok {
		return len(r.Results) > 1 && n != r.Results[len(r.Results)-1] && isError(r.Results[len(r.Results)-1])
	}
	if call, ok := last(above).(*ast.CallExpr); ok {
		if of(call, "time") {
			l, ok := n.(*ast.BasicLit)
			return ok && l.Value == "0"
		}
		if calls(call, "make") && len(call.Args) > 1 {
			_, isMap := call.Args[0].(*ast.MapType)
			return n == call.Args[len(call.Args)-1] && (isMap || len(call.Args) == 3)
		}
	}
	return false
}

// isError reports whether an expression is a non-nil error.
func isError(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name == "err"
	case *ast.CallExpr:
		return of(e, "errors") || of(e, "fmt") && e.Fun.(*ast.SelectorExpr).Sel.Name == "Errorf"
	}
	return false
}

// calls reports whether an expression calls the built-in function name.
func calls(e ast.Expr, name string) bool {
	call, ok := e.(*ast.CallExpr)
	if !ok {
		return false
	}
	id, ok := call.Fun.(*ast.Ident)
	return ok && id.Name == name
}

// of reports whether a call calls a function of the package pkg.
func of(call *ast.CallExpr, pkg string) bool {
	sel, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return false
	}
	id, ok := sel.X.(*ast.Ident)
	return ok && id.Name == pkg
}

func last(above []ast.Node) ast.Node {
	if len(above) == 0 {
		return nil
	}
	return above[len(above)-1]
}

// offset returns the offset of a position in the file's text.
func (f *file) offset(p token.Pos) int { return f.set.Position(p).Offset }

// change replaces the text from one position to another.
func (f *file) change(from, to token.Pos, now string) mistake {
	a, b := f.offset(from), f.offset(to)
	return mistake{from: a, to: b, was: string(f.text[a:b]), now: now}
}

func integers(f *file, n ast.Node, _ []ast.Node) []mistake {
	l, ok := n.(*ast.BasicLit)
	if !ok || l.Kind != token.INT {
		return nil
	}
	v, err := strconv.ParseInt(l.Value, 0, 64)
	if err != nil {
		return nil
	}
	list := []mistake{f.change(l.Pos(), l.End(), strconv.FormatInt(v+1, 10))}
	if v > 0 {
		list = append(list, f.change(l.Pos(), l.End(), strconv.FormatInt(v-1, 10)))
	}
	return list
}

func floats(f *file, n ast.Node, _ []ast.Node) []mistake {
	l, ok := n.(*ast.BasicLit)
	if !ok || l.Kind != token.FLOAT {
		return nil
	}
	v, err := strconv.ParseFloat(l.Value, 64)
	switch {
	case err != nil:
		return nil
	case v == 0:
		return []mistake{f.change(l.Pos(), l.End(), "1.0")}
	}
	text := func(v float64) string {
		s := strconv.FormatFloat(v, 'g', 12, 64)
		if !strings.ContainsAny(s, ".e") {
			s += ".0"
		}
		return s
	}
	return []mistake{f.change(l.Pos(), l.End(), text(v*1.25)), f.change(l.Pos(), l.End(), text(v*0.8))}
}

// binary replaces the operator of a binary expression.
func binary(f *file, n ast.Node, now map[token.Token]token.Token) []mistake {
	b, ok := n.(*ast.BinaryExpr)
	if !ok {
		return nil
	}
	to, ok := now[b.Op]
	if !ok {
		return nil
	}
	return []mistake{f.change(b.OpPos, b.OpPos+token.Pos(len(b.Op.String())), to.String())}
}

func borders(f *file, n ast.Node, _ []ast.Node) []mistake {
	return binary(f, n, map[token.Token]token.Token{token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR})
}

func equals(f *file, n ast.Node, _ []ast.Node) []mistake {
	return binary(f, n, map[token.Token]token.Token{token.EQL: token.NEQ, token.NEQ: token.EQL})
}

func andOr(f *file, n ast.Node, _ []ast.Node) []mistake {
	return binary(f, n, map[token.Token]token.Token{token.LAND: token.LOR, token.LOR: token.LAND})
}

// sums leaves out concatenations of texts, because texts cannot be subtracted.
func sums(f *file, n ast.Node, _ []ast.Node) []mistake {
	text := false
	ast.Inspect(n, func(n ast.Node) bool {
		l, ok := n.(*ast.BasicLit)
		text = text || ok && l.Kind == token.STRING
		return !text
	})
	if text {
		return nil
	}
	return binary(f, n, map[token.Token]token.Token{token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL})
}

func negations(f *file, n ast.Node, _ []ast.Node) []mistake {
	s, ok := n.(*ast.IfStmt)
	if !ok {
		return nil
	}
	m := f.change(s.Cond.Pos(), s.Cond.End(), "")
	m.now = "!(" + m.was + ")"
	return []mistake{m}
}

func bools(f *file, n ast.Node, above []ast.Node) []mistake {
	id, ok := n.(*ast.Ident)
	if _, selected := last(above).(*ast.SelectorExpr); !ok || selected {
		return nil
	}
	switch id.Name {
	case "true":
		return []mistake{f.change(id.Pos(), id.End(), "false")}
	case "false":
		return []mistake{f.change(id.Pos(), id.End(), "true")}
	}
	return nil
}

// pairs are functions and methods with the same signature that are easily
// confused.
var pairs = map[string]string{"Before": "After", "After": "Before", "min": "max", "max": "min", "Min": "Max", "Max": "Min", "Floor": "Ceil", "Ceil": "Floor"}

func swaps(f *file, n ast.Node, _ []ast.Node) []mistake {
	call, ok := n.(*ast.CallExpr)
	if !ok {
		return nil
	}
	var id *ast.Ident
	switch fun := call.Fun.(type) {
	case *ast.Ident:
		id = fun
	case *ast.SelectorExpr:
		id = fun.Sel
	default:
		return nil
	}
	if now, ok := pairs[id.Name]; ok {
		return []mistake{f.change(id.Pos(), id.End(), now)}
	}
	return nil
}

// wordLike matches texts with a meaning for the program, as opposed to texts
// for people.
var wordLike = regexp.MustCompile(`^[A-Za-z0-9_./-]{2,40}$`)

// constantWord returns the text of a literal that is a constant's value, in a
// table, in a case, or compared with something.
func constantWord(n ast.Node, above []ast.Node) (string, bool) {
	l, ok := n.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	switch up := last(above).(type) {
	case *ast.ValueSpec, *ast.KeyValueExpr, *ast.CompositeLit, *ast.CaseClause:
	case *ast.BinaryExpr:
		if up.Op != token.EQL && up.Op != token.NEQ {
			return "", false
		}
	default:
		return "", false
	}
	s, err := strconv.Unquote(l.Value)
	return s, err == nil && wordLike.MatchString(s)
}

func stringsOfFile(f *file, n ast.Node, above []ast.Node) []mistake {
	w, ok := constantWord(n, above)
	if !ok || len(f.words) < 2 {
		return nil
	}
	next := f.words[(slices.Index(f.words, w)+1)%len(f.words)]
	return []mistake{f.change(n.Pos(), n.End(), strconv.Quote(next))}
}

// removals removes statements of blocks and cases, if all names stay defined.
func removals(f *file, n ast.Node, above []ast.Node) []mistake {
	switch last(above).(type) {
	case *ast.BlockStmt, *ast.CaseClause:
	default:
		return nil
	}
	switch s := n.(type) {
	case *ast.ExprStmt, *ast.IncDecStmt:
	case *ast.AssignStmt:
		if s.Tok == token.DEFINE {
			return nil
		}
	case *ast.BranchStmt:
		if s.Tok != token.BREAK && s.Tok != token.CONTINUE {
			return nil
		}
	case *ast.ReturnStmt:
		if len(s.Results) > 0 {
			return nil
		}
	default:
		return nil
	}
	m := f.change(n.Pos(), n.End(), "")
	m.now = strings.Repeat("\n", strings.Count(m.was, "\n")) // keep the numbers of later lines
	return []mistake{m}
}
