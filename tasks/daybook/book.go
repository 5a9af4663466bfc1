package daybook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"nestround/tasks"
	"nestround/tasks/disk"
)

// Options say how to open a daybook for writing. The zero value writes to the
// real disk and does not wait.
type Options struct {
	Files disk.Files
	// Wait is the longest time to wait for another program that is writing
	// these books.
	Wait time.Duration
}

// Book is the daybook open for writing. It holds the lock of the books until it
// is closed. So a program that runs for long opens a Book only while it has
// something to write. A Book may be used by several goroutines.
type Book struct {
	log   *Log
	files disk.Files

	mu     sync.Mutex
	lock   *disk.Lock
	aside  []Problem
	broken error
}

// Open opens the daybook in the folder books for writing, and reads all years.
// See [Log.Open].
func Open(books string, o Options) (*Book, error) {
	return NewLog(books, 0).Open(o)
}

// Open opens the log's daybook for writing. It takes the lock of the books,
// brings the log up to date, and sets a torn last line aside as
// daybook/2027.torn-1. While another program writes, it waits for up to o.Wait
// and then returns a [*disk.HeldError].
func (l *Log) Open(o Options) (*Book, error) {
	lock, err := o.Files.Acquire(filepath.Join(l.books, filepath.FromSlash(LockFile)), o.Wait)
	if err != nil {
		return nil, err
	}
	b := &Book{log: l, files: o.Files, lock: lock}
	if err := b.prepare(); err != nil {
		lock.Release()
		return nil, err
	}
	return b, nil
}

func (b *Book) prepare() error {
	if err := b.files.MkdirAll(folder(b.log.books), 0o777); err != nil {
		return err
	}
	if err := b.files.Clean(folder(b.log.books)); err != nil {
		return err
	}
	b.log.mu.Lock()
	defer b.log.mu.Unlock()
	return b.settle()
}

// settle brings the log up to date and sets torn lines aside. The caller holds
// the log's mutex.
func (b *Book) settle() error {
	if _, err := b.log.refresh(true); err != nil {
		return err
	}
	for _, y := range b.log.years {
		if y.torn == nil {
			continue
		}
		p, err := b.setAside(y)
		if err != nil {
			return err
		}
		b.aside = append(b.aside, p)
	}
	_, err := b.log.refresh(true)
	return err
}

// setAside moves the torn line of y into a file of its own.
func (b *Book) setAside(y *year) (Problem, error) {
	path := filePath(b.log.books, y.year)
	base := strings.TrimSuffix(path, ".jsonl")
	// If an earlier attempt crashed between the copy and the cut, the copy
	// exists already. Use that copy.
	aside := ""
	names, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return Problem{}, fmt.Errorf("set a torn line of %q aside: %w", path, err)
	}
	for _, e := range names {
		c := filepath.Join(filepath.Dir(path), e.Name())
		if !strings.HasPrefix(c, base+".torn-") {
			continue
		}
		if have, err := disk.ReadFile(c, MaxYear); err == nil && string(have) == y.torn.text {
			aside = c
		}
	}
	if aside == "" {
		if aside, err = disk.FreeName(base, "torn"); err != nil {
			return Problem{}, err
		}
		if err := b.files.WriteFile(aside, []byte(y.torn.text), 0o666); err != nil {
			return Problem{}, err
		}
	}
	if err := b.files.Truncate(path, y.read); err != nil {
		return Problem{}, err
	}
	p := y.torn.problem
	p.Message = strings.TrimSuffix(p.Message, doesNotCount) +
		fmt.Sprintf("; as the last line it was taken out and set aside as %s/%s", Folder, filepath.Base(aside))
	p.Hint = "a crash leaves such a line of something that nobody was told of; mend it and put it back only if it was whole before"
	return p, nil
}

// SetAside returns the torn lines that were set aside since the book was
// opened.
func (b *Book) SetAside() []Problem {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]Problem(nil), b.aside...)
}

// Log returns the log of the book. It contains every added entry.
func (b *Book) Log() *Log { return b.log }

// Has reports whether the daybook has an entry with the given id in any year.
// If so, the entry is durable.
func (b *Book) Has(id string) (bool, error) {
	b.log.mu.Lock()
	defer b.log.mu.Unlock()
	if _, err := b.log.refresh(true); err != nil {
		return false, err
	}
	return b.has(id)
}

// has is Has for a log that is up to date; the caller holds the log's mutex. It
// syncs the file of the entry that it finds. The program that wrote the entry
// may have been killed before its sync, and the caller does not write the entry
// again.
func (b *Book) has(id string) (bool, error) {
	if at, ok := b.log.ids.has(id, b.log.entries); ok {
		return true, b.files.Sync(filePath(b.log.books, yearOf(b.log.entries[at])))
	}
	kept := b.log.kept.mayHave(id)
	if b.log.from == 0 && !kept {
		return false, nil
	}
	before := NewLog(b.log.books, 0)
	years, _, err := before.look()
	if err != nil {
		return false, err
	}
	for _, y := range years {
		if y.year >= b.log.from && !kept {
			break
		}
		path := filePath(b.log.books, y.year)
		if found, err := fileHas(path, id); err != nil {
			return false, err
		} else if found {
			return true, b.files.Sync(path)
		}
	}
	return false, nil
}

// fileHas looks for an id in a file without reading its entries.
func fileHas(path, id string) (bool, error) {
	text, err := disk.ReadFile(path, MaxYear)
	if err != nil {
		return false, fmt.Errorf("read the daybook: %w", err)
	}
	var quoted bytes.Buffer
	enc := json.NewEncoder(&quoted)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(id); err != nil {
		return false, err
	}
	needle := bytes.TrimSpace(quoted.Bytes())
	whole := text
	for {
		at := bytes.Index(text, needle)
		if at < 0 {
			return false, nil
		}
		start := bytes.LastIndexByte(text[:at], '\n') + 1
		line, rest, _ := bytes.Cut(text[start:], []byte("\n"))
		e, err := decode(string(line))
		if newer := (*NewerError)(nil); errors.As(err, &newer) {
			newer.File, newer.Line = Folder+"/"+filepath.Base(path), 1+bytes.Count(whole[:len(whole)-len(text)+start], []byte("\n"))
			return false, newer
		}
		if err == nil && e.ID == id {
			return true, nil
		}
		text = rest
	}
}

// ErrEntry marks an error (errors.Is) of an entry that no daybook can hold.
var ErrEntry = errors.New("the entry itself is the cause")

// Append adds e to the daybook and returns once e is on the disk. If the
// daybook already has an entry with e's ID, that first entry counts: Append
// does nothing and returns false. e needs an ID and a time.
//
// After an error e is not accepted. If the error matches [ErrEntry], e itself is the
// cause, and another attempt cannot help. If the error matches [disk.ErrLost], this
// Book can write nothing more. Close it and open another, which shows the real
// content of the disk.
func (b *Book) Append(e tasks.Entry) (added bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != nil {
		return false, b.broken
	}
	line, stored, err := encode(e)
	if err != nil {
		return false, fmt.Errorf("add entry %q to the daybook: %w (%w)", e.ID, err, ErrEntry)
	}
	y, seen, err := b.find(stored)
	if seen || err != nil {
		return false, err
	}
	if y.open {
		line = "\n" + line
	}
	if len(line) > MaxLine {
		return false, fmt.Errorf("add entry %q to the daybook: %w; say less at once", e.ID, errLongLine)
	}
	if y.read+int64(len(line)) > MaxYear {
		return false, fmt.Errorf("add entry %q to the daybook: %w", e.ID, &TooLargeError{Folder + "/" + fileName(y.year), MaxYear})
	}
	path := filePath(b.log.books, y.year)
	if err := b.files.Append(path, y.read, []byte(line), 0o666); err != nil {
		if errors.Is(err, disk.ErrLost) {
			b.broken = err
		}
		return false, err
	}
	b.log.added(y, line, path)
	return true, nil
}

// find returns the state of the file that e belongs to, and whether the daybook
// already has e.
func (b *Book) find(e tasks.Entry) (year, bool, error) {
	l := b.log
	l.mu.Lock()
	defer l.mu.Unlock()
	want := yearOf(e)
	if want < l.from {
		l.from = want // a year that is written must be read, too
	}
	if err := b.settle(); err != nil {
		return year{}, false, err
	}
	if seen, err := b.has(e.ID); seen || err != nil {
		return year{}, seen, err
	}
	for _, y := range l.years {
		if y.year == want {
			return *y, false, nil
		}
	}
	return year{year: want}, false, nil
}

// Close releases the lock of the books. The log stays usable.
func (b *Book) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lock == nil {
		return nil
	}
	lock := b.lock
	b.lock, b.broken = nil, errors.New("add to the daybook: it was closed")
	return lock.Release()
}

// added adds the line that was just written at the end of a year to the log.
func (l *Log) added(was year, line, path string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	st, err := os.Stat(path)
	if n := len(l.years); n > 0 && err == nil {
		y := l.years[n-1]
		if y.year == was.year && y.read == was.read && os.SameFile(st, y.stat) && st.Size() == y.read+int64(len(line)) {
			y.stat = st
			if l.take(y, line) == nil && (l.kept == nil || !l.kept.gone) {
				return
			}
		}
	}
	l.refresh(true) // the line is on the disk; if it cannot be read, the next Refresh returns the error
}
