// Package daybook is the log of the keeper's messages and commands, on disk.
//
// The log has a file of JSON Lines for each year, daybook/2027.jsonl. One
// accepted message or command (a [tasks.Entry]) is one line. A line is appended
// whole, synced before anybody is told, and never changed by the program. The
// year is the year of the day that the entry is for, so a reader can skip the
// years before a given year without losing a mark of later days.
//
// [Read] reads everything once. A [Log] remembers the entries, and reads only
// new lines later. [Open] makes a [Book], the only writer: it holds the lock of
// the books while it is open, rejects an entry with an ID that the daybook
// already has, and sets aside a last line torn by a crash. Readers take no lock
// and change nothing.
//
// The keeper may correct the files by hand. An unreadable line is reported with
// its place and stays in the file; the lines around it count. Unknown fields
// are skipped and stay in the file.
//
// An entry that needs a later version of the daybook than the first is inside
// an object with the version:
//
//	{"daybook":2,"entry":{"id":...}}
//
// All other entries are plain, as in the first version. If a program finds an
// unknown version, it reads nothing and writes nothing (see [NewerError]),
// because an answer computed without the unreadable entry may be wrong.
//
// The package does not interpret entries; tasks.Fold does.
package daybook

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"nestround/tasks"
	"nestround/tasks/disk"
	"nestround/tasks/finding"
)

// Problem is a line or a file of the daybook that is left out because of an
// error, with its place.
type Problem struct {
	File         string // relative to the books, with slashes: "daybook/2027.jsonl"
	Line, Column int    // from 1, the column in characters; 0: the whole file
	Text         string // the text of the line; "" for a whole file
	Message      string
	Hint         string // how the keeper can mend the line or the file
}

// String writes p as file:line:column: message.
func (p Problem) String() string {
	if p.Line == 0 {
		return p.File + ": " + p.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
}

// NewerError says that a newer version of this program wrote a line of the
// daybook. This program then reads and writes nothing in the daybook.
type NewerError struct {
	File    string // relative to the books, with slashes: "daybook/2027.jsonl"
	Line    int    // from 1
	Version int    // daybook version that the line needs
}

// Error states the place of the line.
func (e *NewerError) Error() string {
	return fmt.Sprintf("%s:%d: the daybook was written by a newer nestround: this line is of version %d, and this program knows the versions up to %d; nothing was read or written",
		e.File, e.Line, e.Version, finding.Newest)
}

// Hint states the remedy.
func (e *NewerError) Hint() string {
	return "install the newer nestround on this machine too; everything in the daybook stays as it is"
}

// Folder and LockFile are the paths of the daybook and of the lock, relative to
// the books.
const (
	Folder   = "daybook"
	LockFile = "state/lock"
)

// Read reads the whole daybook in the folder books: all entries, by year and
// then in the order of the lines, and all problems. A daybook that does not
// exist yet is empty.
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

// yearOf returns the year of the file for e.
func yearOf(e tasks.Entry) int {
	if e.On.IsZero() {
		return e.At.Year()
	}
	return e.On.Year()
}

// Writable checks whether the daybook can be written, by a sync of the file of a
// year. It returns an error if there is no permission, or if the disk is read-only
// or failing. It does not notice a full disk. A missing file is no error.
func Writable(files disk.Files, books string, year int) error {
	err := files.Sync(filePath(books, year))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
