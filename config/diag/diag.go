// Package diag has problems that know where they are: one place in one of the
// keeper's files, what is wrong there, and what to write instead.
//
// Whoever reads the books collects every [Problem] in a [List] instead of
// stopping at the first, so that a keeper mends everything in one go. Start
// with List.Print, which shows a problem as an editor's error list does, with
// the line and a caret under the place; [DidYouMean] makes the hints for words
// that are nearly right.
//
// The package reads no file and knows no record. It also decides nothing about
// secrets: a line that must not be shown is left out by whoever makes the
// Problem (see config/tables).
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

// Severity says whether the program may run on the books.
type Severity string

// The severities. Books with an Error are not used at all; a Warning points at
// something odd that may well be meant.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
)

// Problem is one thing that is wrong, or odd, at one place of a file. It is
// made once, by the code that found it, and never changed.
type Problem struct {
	File     string   `json:"file"`   // relative to the books, with forward slashes
	Line     int      `json:"line"`   // from 1; 0: the file as a whole
	Column   int      `json:"column"` // from 1, in characters (code points), a tab being one
	Severity Severity `json:"severity"`
	Message  string   `json:"message"` // what is wrong: lower case, no full stop
	Hint     string   `json:"hint"`    // what to do about it; "" where nothing helps
	// Source is the line itself, without its line end; "" where it may hold a
	// secret or there is no such line. It is shown, never stored.
	Source string `json:"-"`
}

// List is problems in the order in which they were found; Sort orders them by
// place.
type List []Problem

// HasErrors reports whether the list has anything worse than a warning.
func (l List) HasErrors() bool {
	return slices.ContainsFunc(l, func(p Problem) bool { return p.Severity == Error })
}

// Sort orders the list by file, line and column. Problems of one place keep
// the order in which they were found, which puts a cause before what follows
// from it.
func (l List) Sort() {
	slices.SortStableFunc(l, func(p, q Problem) int {
		return cmp.Or(
			strings.Compare(p.File, q.File),
			cmp.Compare(p.Line, q.Line),
			cmp.Compare(p.Column, q.Column),
		)
	})
}

// Print writes every problem of the list, each as Problem.String has it.
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

// Lines are cut to this many characters about the caret: enough for any line
// that a person wrote, too little for a file pasted into one line to scroll
// the message away.
const (
	excerptBefore = 60
	excerptAfter  = 60
)

// excerpt returns the part of the line about the column, safe to show, and the
// column within it.
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

// padding returns what stands before the caret: blanks as wide as the
// characters before the column, and the line's own tabs, so that it lines up
// whatever the terminal takes a tab for.
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

// columns returns how many columns of a terminal r takes: two for what Unicode
// Standard Annex #11 calls wide or fullwidth, none for combining marks.
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

// visible replaces what could move a terminal's cursor or reorder its text:
// control characters other than the tab, format characters and broken UTF-8.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\t' || unicode.IsPrint(r) {
			return r
		}
		return utf8.RuneError
	}, s)
}
