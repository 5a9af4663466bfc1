// Package daybook is the log of what the keeper said, on disk.
//
// It is a file of JSON Lines for each year, daybook/2027.jsonl: one accepted
// message or command (a [tasks.Entry]) is one line, added whole, synced before
// anybody is told, and never changed by the program. The year is that of the
// day the entry is for, so that the years before a given one can be left
// unread without losing a mark of the days since.
//
// [Read] reads everything once. A [Log] remembers what it has read and takes
// in what came since. [Open] makes a [Book], the one writer: it holds the lock
// of the books while it is open, refuses an entry whose ID the daybook has
// already, and sets aside a last line that a crash left torn. Readers take no
// lock and change nothing.
//
// The keeper may correct the files by hand. A line that cannot be read is
// reported with its place and left where it is, and the lines around it count.
// Fields that a newer version added are skipped, and stay in the file.
//
// What entries mean is not known here; tasks.Fold adds them up.
package daybook

import (
	"fmt"
	"path/filepath"

	"nestround/tasks"
)

// Problem is something in the daybook that does not count, and where.
type Problem struct {
	File         string // relative to the books, with slashes: "daybook/2027.jsonl"
	Line, Column int    // from 1, the column in characters; 0: the whole file
	Text         string // the line as it stands; "" for a whole file
	Message      string
	Hint         string // what to do about it
}

// String writes p as file:line:column: message.
func (p Problem) String() string {
	if p.Line == 0 {
		return p.File + ": " + p.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
}

// Folder and LockFile are where the daybook and the lock of the books are,
// below the books.
const (
	Folder   = "daybook"
	LockFile = "state/lock"
)

// Read reads the whole daybook of the books in the folder books: every entry,
// by year and then in the order of the lines, and every problem. A daybook
// that does not exist yet is empty.
func Read(books string) ([]tasks.Entry, []Problem, error) {
	l := NewLog(books, 0)
	if _, err := l.Refresh(); err != nil {
		return nil, nil, err
	}
	return l.Entries(), l.Problems(), nil
}

func folder(books string) string { return filepath.Join(books, Folder) }

func fileName(year int) string { return fmt.Sprintf("%04d.jsonl", year) }

func filePath(books string, year int) string { return filepath.Join(folder(books), fileName(year)) }

// yearOf returns the year of the file that e belongs in.
func yearOf(e tasks.Entry) int {
	if e.On.IsZero() {
		return e.At.Year()
	}
	return e.On.Year()
}
