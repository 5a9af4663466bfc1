// Package tables reads the TOML that the keeper writes, strictly, and
// remembers where every key and value stands.
//
// [Parse] turns one file into a [Table]; its methods (Text, Date, Int, Table,
// and [Parsed] for whatever has a parser of its own) hand out checked values.
// What is wrong is never returned as an error: it goes into the diag.List
// with its place, and reading goes on, so that one run finds everything.
// Table.Done, called when a table has been read, reports the keys that nobody
// asked for.
//
// The values are decoded by github.com/BurntSushi/toml, a few at a time. That
// library tells neither where an unknown key stands nor the column of a wrong
// type, places some errors on the wrong line, fills one field from `kind` and
// `Kind` alike, and needs memory by the square of a key's parts; so this
// package finds keys, headers and the extent of values itself, knows no case
// but the right one, and has the limits below.
//
// It leaves out what the books do not use: values of mixed arrays are found
// out by the method that reads them, and times of day and offsets are refused
// where a date is wanted.
package tables

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"nestround/config/diag"
)

// The limits of a file. They are far above what a person writes, and keep a
// broken or hostile file from costing more than a moment.
const (
	MaxFile  = 8 << 20  // bytes
	MaxLine  = 64 << 10 // bytes of a line
	MaxParts = 16       // of a dotted key, and levels of arrays and inline tables

	maxSyntaxErrors = 20  // of a file; after them the rest is not read
	maxProblems     = 500 // of a file
)

// file is one file while it is read.
type file struct {
	name     string
	src      string
	lines    []int // offset of the first byte of each line
	list     *diag.List
	problems int
	syntax   int
	lost     bool
}

// Place is a place in a file. The zero Place is nowhere, and reports nothing.
type Place struct {
	f        *file
	at       int  // offset in bytes
	withhold bool // the line may hold a secret
}

// line returns the number of the line that the offset is on, from 0.
func (f *file) line(at int) int {
	i, found := slices.BinarySearch(f.lines, at)
	if !found {
		i--
	}
	return i
}

func (f *file) text(line int) string {
	end := len(f.src)
	if line+1 < len(f.lines) {
		end = f.lines[line+1]
	}
	return strings.TrimRight(f.src[f.lines[line]:end], "\r\n")
}

// String returns the place as "animals.toml:12", to be named in a message
// about another place.
func (p Place) String() string {
	if p.f == nil {
		return ""
	}
	return fmt.Sprintf("%s:%d", p.f.name, p.f.line(p.at)+1)
}

// Error reports an error at p; hint may be "".
func (p Place) Error(message, hint string) { p.report(diag.Error, message, hint) }

// Warn reports something odd at p; hint may be "".
func (p Place) Warn(message, hint string) { p.report(diag.Warning, message, hint) }

func (p Place) report(severity diag.Severity, message, hint string) {
	f := p.f
	if f == nil {
		return
	}
	f.problems++
	if f.problems > maxProblems {
		return
	}
	if f.problems == maxProblems {
		severity, message, hint = diag.Error, "too many problems; those after this one are not shown", "mend the ones above and check again"
	}
	line := f.line(p.at)
	source := f.text(line)
	problem := diag.Problem{
		File:     f.name,
		Line:     line + 1,
		Column:   utf8.RuneCountInString(f.src[f.lines[line]:min(p.at, len(f.src))]) + 1,
		Severity: severity,
		Message:  message,
		Hint:     hint,
	}
	if !p.withhold && !mayBeSecret(source) && !misspeltSecret(source) {
		problem.Source = source
	}
	*f.list = append(*f.list, problem)
}

// mayBeSecret reports whether a line looks as if it gave a password or the
// like in clear: it must not be copied into a terminal, a log or a mail.
func mayBeSecret(line string) bool {
	line = strings.ToLower(line)
	for _, word := range []string{"pass", "pwd", "secret", "token", "credential"} {
		for rest := line; ; {
			before, after, found := strings.Cut(rest, word)
			if !found {
				break
			}
			rest = after
			// password_file and password_env name where the secret is.
			tail := strings.TrimLeft(after, "abcdefghijklmnopqrstuvwxyz")
			if strings.HasPrefix(tail, "_file") || strings.HasPrefix(tail, "_env") {
				continue
			}
			// It is a key where it is the first word, or something is said of it.
			if !strings.ContainsAny(strings.TrimSpace(before), " \t=:") || strings.ContainsAny(after, "=:") {
				return true
			}
		}
	}
	return false
}

// misspeltSecret reports whether the first word of the line is nearly the name
// of a secret.
func misspeltSecret(line string) bool {
	key, _, found := strings.Cut(line, "=")
	key = strings.TrimSpace(key)
	if !found || strings.HasSuffix(key, "_file") || strings.HasSuffix(key, "_env") {
		return false
	}
	return len(diag.Suggest(key, []string{"password", "passphrase", "passwd"})) > 0
}

// Table is a table of the file: the file itself, what stands under a header,
// or an inline table. The nil *Table is an absent one: it has no keys.
type Table struct {
	f       *file
	at      int    // where its header or its brace begins
	name    string // as messages name it: "[[animal]]", "nest_box"
	how     how
	broken  bool // a statement of it could not be read; its keys are not all known
	entries []*entry
	index   map[string]*entry
	known   []string // the keys asked for, for suggestions
	secret  bool     // unknown keys of it are reported without their line
	// elsewhere has hints for keys that are not of this table, see Elsewhere.
	elsewhere map[string]string
}

// how a table came to be decides what may still be added to it (TOML 1.0.0,
// sections "Table" and "Inline Table").
type how uint8

const (
	implied how = iota // by a longer header: [a.b] implies a
	headed             // by its own header
	dotted             // by a dotted key
	inline             // between braces, complete
)

type entry struct {
	key   string
	at    int // of the key
	value *Value
	asked bool
}

// Value is a value with its place.
type Value struct {
	f     *file
	at    int
	raw   any      // string, int64, float64, bool or time.Time; nil for the following
	table *Table   // a table
	items []*Value // an array
	kind  kind
}

type kind uint8

const (
	scalar kind = iota
	array       // written [ ... ]
	tables      // array of tables, written [[ ... ]]
	subtable
	unread // could not be read, which has been reported
)

func (t *Table) find(key string) *entry {
	if t == nil {
		return nil
	}
	if t.index != nil {
		return t.index[key]
	}
	for _, e := range t.entries {
		if e.key == key {
			return e
		}
	}
	return nil
}

// indexAbove is the number of keys above which a table is searched by a map.
const indexAbove = 24

func (t *Table) add(e *entry) {
	t.entries = append(t.entries, e)
	if t.index == nil && len(t.entries) > indexAbove {
		t.index = make(map[string]*entry, 2*len(t.entries))
		for _, e := range t.entries {
			t.index[e.key] = e
		}
	} else if t.index != nil {
		t.index[e.key] = e
	}
}
