// Package diag describes problems in the keeper's files: the place, what is
// wrong there, and what to write instead.
//
// Code that reads the books collects every [Problem] in a [List] instead of
// stopping at the first problem. The keeper can then mend everything in one go.
// Start with List.Print: it prints each problem with its line and a caret under
// the place, as a compiler does. [DidYouMean] makes hints for misspelt words.
//
// The package reads no file and knows no record. It does not look for secrets:
// the code that makes a Problem leaves Source empty if the line must not be
// shown (see config/tables).
package diag

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/width"
)

// Severity says whether the program may use the books.
type Severity string

// The severities. The program does not use books with an Error at all. A
// Warning points at something odd that the keeper may well mean.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
)

// Problem is a mistake, or something odd, at one place of a file. The code that
// finds the problem makes it, and nothing changes it afterwards.
type Problem struct {
	File     string   `json:"file"`   // relative to the books, with forward slashes
	Line     int      `json:"line"`   // from 1; 0 if the problem is the file as a whole
	Column   int      `json:"column"` // from 1, in characters (code points); a tab counts as one
	Severity Severity `json:"severity"`
	Message  string   `json:"message"` // what is wrong: lower case, no full stop
	Hint     string   `json:"hint"`    // how to mend it; "" if no hint would help
	// Source is the text of the line, without its line end; "" if the line may
	// hold a secret or does not exist. It is shown, never stored.
	Source string `json:"-"`
}

// List holds problems in the order in which they were found. Sort orders them
// by place.
type List []Problem

// HasErrors reports whether the list has a problem with severity Error.
func (l List) HasErrors() bool {
	return slices.ContainsFunc(l, func(p Problem) bool { return p.Severity == Error })
}

// Sort orders the list by file, line and column. Problems at the same place
// keep their order, so a cause stands before its consequences.
func (l List) Sort() {
	slices.SortStableFunc(l, func(p, q Problem) int {
		return cmp.Or(
			strings.Compare(p.File, q.File),
			cmp.Compare(p.Line, q.Line),
			cmp.Compare(p.Column, q.Column),
		)
	})
}

// Print writes every problem of the list as Problem.String formats it.
func (l List) Print(w io.Writer) error {
	for _, p := range l {
		if _, err := io.WriteString(w, p.String()); err != nil {
			return fmt.Errorf("print problems: %w", err)
		}
	}
	return nil
}

// String shows the problem as two to four lines, each ended by a newline:
//
//	animals.toml:12:1: unknown key `incubater`
//	    incubater = "I1"
//	    ^
//	    did you mean `incubator`?
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(visible(p.File))
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.Line, p.Column)
	}
	b.WriteString(": ")
	if p.Severity == Warning {
		b.WriteString("warning: ")
	}
	b.WriteString(visible(p.Message))
	b.WriteByte('\n')
	if p.Source != "" {
		line, column := excerpt(p.Source, p.Column)
		fmt.Fprintf(&b, "    %s\n    %s^\n", line, padding(line, column))
	}
	if p.Hint != "" {
		fmt.Fprintf(&b, "    %s\n", visible(p.Hint))
	}
	return b.String()
}

// A shown line is cut to this many characters before and after the caret. That
// is enough for any line that a person wrote. A whole file pasted into one line
// must not scroll the message away.
const (
	excerptBefore = 60
	excerptAfter  = 60
)

// excerpt returns the part of the line around the column, safe to show, and the
// column within that part.
func excerpt(line string, column int) (string, int) {
	runes := []rune(visible(line))
	at := min(max(column-1, 0), len(runes))
	end := min(len(runes), at+excerptAfter)
	cut := runes[:end]
	if end < len(runes) {
		cut = append(slices.Clone(cut), '…')
	}
	if at > excerptBefore {
		start := at - excerptBefore
		cut = append([]rune{'…'}, cut[start:]...)
		at = at - start + 1
	}
	return string(cut), at + 1
}

// padding returns the text before the caret: blanks as wide as the characters
// before the column. Tabs stay tabs, so the caret is right at any tab width.
func padding(line string, column int) string {
	var b strings.Builder
	for _, r := range line {
		column--
		if column < 1 {
			break
		}
		if r == '\t' {
			b.WriteByte('\t')
			continue
		}
		b.WriteString(strings.Repeat(" ", columns(r)))
	}
	return b.String()
}

// columns returns the width of r in terminal columns: 2 if Unicode Standard
// Annex #11 calls it wide or fullwidth, 0 for combining marks, else 1.
func columns(r rune) int {
	if unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf) {
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// visible replaces characters that could move a terminal's cursor or reorder
// its text: control characters except the tab, format characters, and broken
// UTF-8.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\t' || unicode.IsPrint(r) {
			return r
		}
		return utf8.RuneError
	}, s)
}
