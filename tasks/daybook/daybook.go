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
// Fields that nobody knows are skipped, and stay in the file.
//
// An entry with something that the first version of the daybook did not have
// stands inside an object that names the version it needs:
//
//	{"daybook":2,"entry":{"id":...}}
//
// All other entries stand alone, as they always did. A program that meets a
// version which it does not know reads nothing, because an answer without what
// it cannot read may say something else, and writes nothing (see [NewerError]).
//
// What entries mean is not known here; tasks.Fold adds them up.
package daybook

import (
	"fmt"
	"path/filepath"

	"nestround/tasks"
	"nestround/tasks/finding"
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

// NewerError says that a newer version of this program wrote a line of the
// daybook. Then nothing of the daybook is read and nothing is written to it.
type NewerError struct {
	File    string // relative to the books, with slashes: "daybook/2027.jsonl"
	Line    int    // from 1
	Version int    // of the daybook that the line needs
}

// Error says where the line stands.
func (e *NewerError) Error() string {
	return fmt.Sprintf("%s:%d: the daybook was written by a newer nestround: this line is of version %d, and this program knows the versions up to %d; nothing was read or written",
		e.File, e.Line, e.Version, finding.Newest)
}

// Hint says what to do about it.
func (e *NewerError) Hint() string {
	return "install the newer nestround on this machine too; everything in the daybook stays as it is"
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
