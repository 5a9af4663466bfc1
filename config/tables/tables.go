// Package tables reads the keeper's TOML files strictly, and remembers the
// place of every key and value.
//
// [Parse] turns one file into a [Table]. The methods of Table return checked
// values: Text, Date, Int, Table and others, and [Parsed] for any type that has
// a parser. A problem is never returned as an error: it goes into the diag.List
// with its place, and reading goes on, so one run finds all problems. Call
// Table.Done after reading a table: it reports the keys that no method asked
// for.
//
// The library github.com/BurntSushi/toml decodes the values, a few at a time.
// It does not tell the place of an unknown key or the column of a value of the
// wrong type, and it places some errors on the wrong line. It treats `kind` and
// `Kind` as the same field. Its memory grows with the square of the number of
// parts of a key. This package therefore finds keys, headers and the extent of
// values itself, accepts a key in the right case only, and sets the limits
// below.
//
// It leaves out features of TOML that the books do not use. The method that
// reads an array reports items of mixed types, and Table.Date rejects times of
// day and offsets.
package tables

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"nestround/config/diag"
)

// The limits of a file. They are far above any file that a person writes.
// Because of the limits, even a broken or hostile file is read in a moment.
const (
	MaxFile  = 8 << 20  // bytes
	MaxLine  = 64 << 10 // bytes of a line
	MaxParts = 16       // parts of a dotted key, and levels of arrays and inline tables

	MaxText = 64 << 10 // bytes of a text, also over several lines
	MaxKeys = 1000     // keys of a table

	// MaxValues is the number of values and tables in all files of a [Batch].
	// 2,000 enclosures, 6,000 animals and the clutches of ten years have about
	// 400,000. Each takes about 400 bytes of memory.
	MaxValues = 500_000

	maxSyntaxErrors = 20  // per file; the rest of the file is not read
	maxProblems     = 500 // per file
)

// file is the state of one file during reading.
type file struct {
	name     string
	src      string
	lines    []int // offset of the first byte of each line
	list     *diag.List
	problems int
	syntax   int
	lost     bool
	private  bool // the words of the file must not be shown
	erred    bool // an error of a private file was reported
	batch    *Batch
}

// Place is a place in a file. The zero Place is no place, and reports nothing.
type Place struct {
	f        *file
	at       int  // offset in bytes
	withhold bool // the line may hold a secret
}

// line returns the number, from 0, of the line at the offset.
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

// String returns the place as "animals.toml:12", for a message about another
// place.
func (p Place) String() string {
	if p.f == nil {
		return ""
	}
	return fmt.Sprintf("%s:%d", p.f.name, p.f.line(p.at)+1)
}

// File returns the name of the file, or "" for no place.
func (p Place) File() string {
	if p.f == nil {
		return ""
	}
	return p.f.name
}

// Full reports whether the list has no room for another problem of the file.
// Nobody would see the hint of such a problem.
func (p Place) Full() bool { return p.f == nil || p.f.problems >= maxProblems-1 }

// Error reports an error at p. The hint may be "".
func (p Place) Error(message, hint string) { p.report(diag.Error, message, hint) }

// Warn reports something odd at p. The hint may be "".
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
	if f.private {
		// Nothing more can be said of a private file. An error after a warning
		// still counts, because books with errors must not be used.
		if f.erred || f.problems > 1 && severity != diag.Error {
			return
		}
		f.erred = severity == diag.Error
		message, hint = privateMessage, privateHint
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
	if !f.private && !p.withhold && !mayBeSecret(source) && !pingKey.MatchString(source) && !misspeltSecret(source) {
		problem.Source = source
	}
	*f.list = append(*f.list, problem)
}

// A message about a private file has none of the file's words: messages quote
// keys and values.
const (
	privateMessage = "there is a problem here; it is not shown, because the file is a link to a file outside of the books"
	privateHint    = "put a copy into the books instead of the link, and check again"
)

// mayBeSecret reports whether a line seems to contain a password or another
// secret. Such a line must not be copied into a terminal, a log or a mail.
func mayBeSecret(line string) bool {
	line = strings.ToLower(line)
	for _, word := range []string{"pass", "pwd", "secret", "token", "credential"} {
		for rest := line; ; {
			before, after, found := strings.Cut(rest, word)
			if !found {
				break
			}
			rest = after
			// password_file and password_env name the place of the secret only.
			tail := strings.TrimLeft(after, "abcdefghijklmnopqrstuvwxyz")
			if strings.HasPrefix(tail, "_file") || strings.HasPrefix(tail, "_env") {
				continue
			}
			// The word is a key if it stands first on the line, or if = or :
			// follows it.
			if !strings.ContainsAny(strings.TrimSpace(before), " \t=:") || strings.ContainsAny(after, "=:") {
				return true
			}
		}
	}
	return false
}

// pingKey finds the key of a web address that may hold a token.
var pingKey = regexp.MustCompile(`(?i)(^|[\s{,."'])ping["']?\s*=`)

// misspeltSecret reports whether the key of the line is a likely misspelling of
// a secret's key.
func misspeltSecret(line string) bool {
	key, _, found := strings.Cut(line, "=")
	key = strings.TrimSpace(key)
	if !found || strings.HasSuffix(key, "_file") || strings.HasSuffix(key, "_env") {
		return false
	}
	return len(diag.Suggest(key, []string{"password", "passphrase", "passwd"})) > 0
}

// Table is a table of the file: the file itself, the lines under a header, or
// an inline table. The nil *Table is an absent table: it has no keys.
type Table struct {
	f       *file
	at      int    // offset of its header or its brace
	name    string // its name in messages: "[[animal]]", "nest_box"
	how     how
	broken  bool // a statement could not be read, so some keys are unknown
	entries []*entry
	index   map[string]*entry
	known   []string // the keys asked for, for suggestions
	secret  bool     // unknown keys are reported without their line
	// elsewhere maps keys that belong elsewhere to their hint; see Elsewhere.
	elsewhere map[string]string
}

// how says how a table was opened. It decides which keys may still be added
// (TOML 1.0.0, sections "Table" and "Inline Table").
type how uint8

const (
	implied how = iota // by a longer header: [a.b] implies a
	headed             // by its own header
	dotted             // by a dotted key
	inline             // between braces, complete
)

type entry struct {
	key   string
	at    int // offset of the key
	value *Value
	asked bool
}

// Value is a value with its place.
type Value struct {
	f     *file
	at    int
	raw   any      // string, int64, float64, bool or time.Time; nil for a table or an array
	table *Table   // set for a table
	items []*Value // set for an array or an array of tables
	kind  kind
}

type kind uint8

const (
	scalar kind = iota
	array       // written [ ... ]
	tables      // array of tables, written [[ ... ]]
	subtable
	unread // could not be read; the problem is already reported
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

// indexAbove is the number of keys above which a table gets a map for look-ups.
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
