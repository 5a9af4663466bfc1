package daybook

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/disk"
)

// The limits of the daybook. The daybook of 2,000 enclosures has about 15 MB a year,
// and its longest entry has about a megabyte. A daybook above a limit is not read at
// all, because a part of it would give wrong dates. An entry that would exceed a
// limit is refused before it is written.
const (
	MaxYear = 128 << 20 // bytes of the file of a year
	MaxAll  = 512 << 20 // bytes of all years
	MaxLine = 16 << 20  // bytes of an entry

	maxProblems = 500 // per year; the others are only counted
)

// TooLargeError says that the daybook is above a limit.
type TooLargeError struct {
	What string // file or folder, relative to the books
	Most int64  // bytes
}

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("%s is larger than %d MiB", e.What, e.Most>>20)
}

// Hint says what to do.
func (e *TooLargeError) Hint() string {
	return "entries of a keeper never fill it, so look for lines that do not belong there; or move the oldest years elsewhere"
}

// Log has the entries of the daybook as last read. [Log.Refresh] brings the log
// up to date. If lines were added only at the end of the last year, Refresh
// reads only these lines. After any other change, such as a correction by hand,
// it reads all files again. A Log may be used by several goroutines.
type Log struct {
	books string

	mu      sync.Mutex
	from    int
	years   []*year // ascending
	entries []tasks.Entry
	ids     idTable
	strays  []Problem // files without a year as their name
	scanner scanner
	toCome  int64          // total size of the years after the current one, in bytes
	kept    *kept          // nil: every entry is in entries
	history *tasks.History // of all entries; nil until somebody asks for the history
}

// year is the state of one file. The log contains the file's bytes up to read.
type year struct {
	year  int
	stat  fs.FileInfo // when the log last looked at the file
	read  int64
	lines int
	sum   sum   // checksum of the bytes up to read
	kept  place // place up to which the history in the log's kept has the lines
	// open says that the last entry before read is whole but has no newline, as
	// some editors leave a file.
	open     bool
	problems []Problem
	torn     *torn // the text after read, if there is any
}

// torn is an incomplete last line.
type torn struct {
	text    string
	problem Problem
}

// NewLog makes an empty log of the daybook in the folder books. It skips years
// before from; 0 means all years.
func NewLog(books string, from int) *Log {
	return &Log{books: books, from: from}
}

// Entries returns the entries read so far, by year and then in the order of the
// lines, each ID once. The caller must not change the entries. Later calls of
// Refresh do not change the returned slice.
func (l *Log) Entries() []tasks.Entry {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.entries[:len(l.entries):len(l.entries)]
}

// Problems returns the lines and files that are left out because of an error,
// by file and line.
func (l *Log) Problems() []Problem {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := slices.Clone(l.strays)
	for _, y := range l.years {
		all = append(all, y.problems...)
		if y.torn != nil {
			all = append(all, y.torn.problem)
		}
	}
	return all
}

// Refresh brings the log up to date, and reports whether it may have changed.
// After an error, such as an unreadable file, the log is unchanged or empty.
func (l *Log) Refresh() (changed bool, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.refresh(false)
}

// refresh is Refresh. If writer is set, the caller holds the lock of the books,
// so no other program is in the middle of a line.
func (l *Log) refresh(writer bool) (bool, error) {
	years, strays, err := l.look()
	if err != nil {
		return false, err
	}
	same := len(years) == len(l.years) && slices.Equal(strays, l.strays) && (l.kept == nil || !l.kept.gone)
	for i := 0; same && i < len(years); i++ {
		same = years[i].year == l.years[i].year && unchanged(years[i].stat, l.years[i].stat)
	}
	if same {
		return false, nil
	}
	done, err := l.extend(years, writer)
	if err == nil && !done {
		err = l.readAll(years, writer)
	}
	if err != nil {
		l.strays = nil
		l.reset()
		return true, fmt.Errorf("read the daybook: %w", err)
	}
	l.strays = strays
	return true, nil
}

func unchanged(a, b fs.FileInfo) bool {
	return os.SameFile(a, b) && a.Size() == b.Size() && a.ModTime().Equal(b.ModTime())
}

var (
	yearFile = regexp.MustCompile(`^[0-9]{4}\.jsonl$`)
	lookLike = regexp.MustCompile(`(?i)\.jsonl$`)
)

// look lists the files without reading them.
func (l *Log) look() (years []*year, strays []Problem, err error) {
	names, err := os.ReadDir(folder(l.books))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("read the daybook: %w", err)
	}
	var all int64
	for _, e := range names { // ReadDir sorts by name, and so by year
		if !yearFile.MatchString(e.Name()) {
			if lookLike.MatchString(e.Name()) {
				strays = append(strays, Problem{
					File:    Folder + "/" + e.Name(),
					Message: "this file is not read: its name is not a year",
					Hint:    "if it is another device's copy, add the lines that are missing to the year's own file",
				})
			}
			continue
		}
		n, err := strconv.Atoi(e.Name()[:4])
		if err != nil || n < l.from {
			continue
		}
		st, err := os.Stat(filePath(l.books, n))
		if errors.Is(err, fs.ErrNotExist) {
			continue // somebody removed the file after ReadDir listed it
		}
		if err != nil {
			return nil, nil, fmt.Errorf("read the daybook: %w", err)
		}
		if all += st.Size(); all > MaxAll {
			return nil, nil, fmt.Errorf("read the daybook: %w", &TooLargeError{Folder, MaxAll})
		}
		years = append(years, &year{year: n, stat: st})
	}
	return years, strays, nil
}

// extend reads new lines at the end of the last year, and new years after the
// last year. If anything else changed, it does nothing and returns false.
func (l *Log) extend(now []*year, writer bool) (bool, error) {
	n := len(l.years)
	if n == 0 || len(now) < n {
		return false, nil
	}
	for i, y := range l.years {
		if y.year != now[i].year || (i < n-1 && !unchanged(y.stat, now[i].stat)) {
			return false, nil
		}
	}
	last := l.years[n-1]
	if !unchanged(last.stat, now[n-1].stat) {
		if ok, err := l.readYear(last, writer); !ok || err != nil {
			return false, err
		}
	}
	err := l.readNew(now[n:], writer)
	return l.kept == nil || !l.kept.gone, err
}

func (l *Log) reset() {
	l.years, l.entries, l.ids, l.history = nil, nil, idTable{}, nil
	if l.kept != nil {
		l.kept.reset()
	}
}

// The ways of reading the whole daybook, for a log with a kept history.
const (
	withFile = iota
	early
	late
)

func (l *Log) readAll(years []*year, writer bool) error {
	if l.kept == nil {
		l.reset()
		return l.readNew(years, writer)
	}
	// The first attempt uses the stored file. If the lines behind the stored
	// history have changed, the second attempt reads all lines. If an entry is
	// older than the entries of the kept history, the last attempt reads all
	// files before it moves any entry to the kept history.
	for try := withFile; ; {
		l.kept.late = try == late
		l.reset()
		for _, y := range years {
			y.place(place{})
			y.kept = place{}
		}
		if try == withFile {
			l.adopt(years)
		}
		if err := l.readNew(years, writer); err != nil {
			return err
		}
		switch {
		case l.kept.gone, l.kept.folder.Outdated(l.entries, l.kept.mayHave):
			try = late
			continue
		case l.kept.changed:
			l.kept.log.Info("the daybook was changed by hand; all of it is read again", "file", KeptFile)
			try = early
			continue
		}
		break
	}
	l.addUp()
	l.store()
	return nil
}

// readNew reads years after all years read so far.
func (l *Log) readNew(years []*year, writer bool) error {
	var size int64
	for _, y := range years {
		size += y.stat.Size() - y.read
	}
	for _, y := range years {
		size -= y.stat.Size() - y.read
		l.toCome = size
		if l.kept != nil {
			l.toCome = 0 // the entries of one year at a time are kept in memory
		}
		ok, err := l.readYear(y, writer)
		if err != nil {
			return err
		}
		l.years = append(l.years, y)
		if l.kept == nil {
			continue
		}
		if l.kept.changed = !ok; l.kept.changed || l.kept.gone {
			return nil
		}
		if !l.kept.late && y != years[len(years)-1] {
			l.addUp()
		}
	}
	return nil
}

// A reader that finds an incomplete last line reads it again after tornPause,
// for as long as a writer holds the lock of the books, at most tornPauses times.
const (
	tornPause  = 5 * time.Millisecond
	tornPauses = 400
)

// writing reports whether a writer holds the lock of the books.
func (l *Log) writing() bool {
	held, err := disk.Held(filepath.Join(l.books, filepath.FromSlash(LockFile)))
	return held && err == nil
}

// readYear reads the bytes after y.read. If the bytes before have changed, it
// changes nothing and returns false.
func (l *Log) readYear(y *year, writer bool) (bool, error) {
	f, err := disk.Open(filePath(l.books, y.year))
	if err != nil {
		return false, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return false, err
	}
	tooLarge := &TooLargeError{Folder + "/" + fileName(y.year), MaxYear}
	if st.Size() > MaxYear {
		return false, tooLarge
	}
	// A correction by hand that keeps the length of the file shows only in the
	// checksum.
	var was sum
	if _, err := io.CopyN(&was, f, y.read); err != nil && err != io.EOF {
		return false, err
	}
	if was != y.sum {
		return false, nil
	}
	text, err := rest(f, st.Size()-y.read)
	if err != nil {
		return false, err
	}
	if y.read+int64(len(text)) > MaxYear { // it has just grown
		return false, tooLarge
	}
	if y.open && text != "" && !strings.HasPrefix(text, "\n") && !strings.HasPrefix(text, "\r\n") {
		return false, nil // the line without a newline has changed
	}
	y.stat = st
	if err := l.take(y, text); err != nil {
		return false, err
	}
	// The writer may have ended since the reading, so read once more at least.
	for n, more := 0, true; y.torn != nil && !writer && more && n < tornPauses; n++ {
		more = l.writing()
		time.Sleep(tornPause)
		if _, err := f.Seek(y.read, io.SeekStart); err != nil {
			return false, err
		}
		if text, err = rest(f, int64(len(y.torn.text))+512); err != nil {
			return false, err
		}
		if err := l.take(y, text); err != nil {
			return false, err
		}
	}
	return true, nil
}

// rest reads f to its end into a string without copying. size is the expected
// number of bytes.
func rest(f io.Reader, size int64) (string, error) {
	var b strings.Builder
	b.Grow(int(max(size, 0)))
	_, err := io.Copy(&b, io.LimitReader(f, MaxYear+1))
	return b.String(), err
}

// take adds the lines of text, which follow y.read, to the log. If a line is of
// a newer version, it returns an error, and the caller must empty the log.
func (l *Log) take(y *year, text string) error {
	l.entries = slices.Grow(l.entries, estimate(text, l.toCome))
	y.torn = nil
	l.history = nil
	l.mark(y) // marks the end of the lines read before, or the start of the year
	whole, marked := text, 0
	passed := func(rest string) { // the lines before rest are read
		done := whole[marked : len(whole)-len(rest)]
		y.sum.add(done)
		y.read += int64(len(done))
		marked += len(done)
	}
	for text != "" {
		line, more, ended := strings.Cut(text, "\n")
		bare := strings.TrimSuffix(line, "\r")
		if y.read == 0 && len(text) == len(whole) {
			bare = strings.TrimPrefix(bare, "\ufeff")
		}
		if bare == "" && y.open {
			y.lines-- // this newline belongs to a line already counted
		} else if strings.TrimSpace(bare) != "" {
			var e tasks.Entry
			var err error
			if len(bare) > MaxLine {
				err = errLongLine
			} else if scanned, ok := l.scanner.scan(bare); ok {
				e = scanned
			} else {
				e, err = decode(bare)
			}
			if newer := (*NewerError)(nil); errors.As(err, &newer) {
				newer.File, newer.Line = Folder+"/"+fileName(y.year), y.lines+1
				return newer
			}
			if err != nil && more == "" && !json.Valid([]byte(bare)) {
				y.torn = &torn{text, problem(y, bare, err)}
				break
			}
			switch {
			case err != nil:
				y.report(problem(y, bare, err))
			case l.kept.mayHave(e.ID) || l.kept.outdatedBy(&e) || l.kept != nil && !l.kept.folder.Follows(&e):
				l.kept.gone = true
				return nil
			case !l.ids.add(e.ID, l.entries):
				y.report(Problem{
					File: Folder + "/" + fileName(y.year), Line: y.lines + 1, Column: 1, Text: bare,
					Message: fmt.Sprintf("an entry with the id %q stands further up; this one does not count", e.ID),
					Hint:    "remove one of them",
				})
			default:
				l.entries = append(l.entries, e)
			}
		}
		y.lines++
		y.open = !ended
		text = more
		if l.kept != nil && y.lines%l.kept.every == 0 {
			passed(text)
			l.mark(y)
		}
	}
	passed(text)
	l.mark(y)
	return nil
}

// estimate returns the approximate number of lines in text and the following
// toCome bytes, from the first lines of text.
func estimate(text string, toCome int64) int {
	sample := text[:min(len(text), 64<<10)]
	lines := strings.Count(sample, "\n")
	if len(sample) == len(text) && toCome == 0 {
		return lines
	}
	perByte := float64(lines) / float64(max(len(sample), 1))
	return int(1.05 * perByte * float64(int64(len(text))+toCome))
}

// errLongLine is the error of a line that is too long to be decoded.
var errLongLine = fmt.Errorf("the line is longer than %d MiB", MaxLine>>20)

// report adds a problem of the file. After maxProblems, it says only that there
// are more.
func (y *year) report(p Problem) {
	switch n := len(y.problems); {
	case n < maxProblems-1:
		y.problems = append(y.problems, p)
	case n == maxProblems-1:
		y.problems = append(y.problems, Problem{File: p.File, Line: p.Line, Column: 1,
			Message: "too many lines do not count; those from here on are not listed",
			Hint:    "is this the right file? compare it with a copy"})
	}
}

const doesNotCount = "; it does not count"

// problem makes the Problem of the next line of y, which decode rejected with
// err.
func problem(y *year, line string, err error) Problem {
	if len(line) > MaxLine {
		line = "" // the report must stay small
	}
	at, message := 0, errLongLine.Error()
	if err != errLongLine {
		at, message = explain(line, err)
	}
	at = min(max(at, 0), len(line))
	return Problem{
		File:    Folder + "/" + fileName(y.year),
		Line:    y.lines + 1,
		Column:  utf8.RuneCountInString(line[:at]) + 1,
		Text:    line,
		Message: message + doesNotCount,
		Hint:    "compare it with the lines around it, or take it from a copy of the file",
	}
}

// idTable finds an entry by its ID without storing the ID again: a hash table
// with open addressing, of indices into the list of entries.
type idTable struct {
	seed maphash.Seed
	// A slot holds the upper half of the ID's hash, so that most other IDs are
	// told apart without reading their entries, and the index + 1. A free slot
	// is 0.
	slots []uint64
}

// add adds id for the entry that will follow entries. If one of them already
// has that id, it returns false.
func (t *idTable) add(id string, entries []tasks.Entry) bool {
	if 2*(len(entries)+1) > len(t.slots) {
		t.grow(entries)
	}
	slot, half := t.find(id, entries)
	if t.slots[slot] != 0 {
		return false
	}
	t.slots[slot] = half | uint64(len(entries)+1)
	return true
}

// has returns the index of the entry with the given id, if there is one.
func (t *idTable) has(id string, entries []tasks.Entry) (at int, ok bool) {
	if len(entries) == 0 {
		return 0, false
	}
	slot, half := t.find(id, entries)
	return int(t.slots[slot]-half) - 1, t.slots[slot] != 0
}

// find returns the slot that contains id or is free for id, and the upper half
// of the hash.
func (t *idTable) find(id string, entries []tasks.Entry) (slot int, half uint64) {
	const low = 1<<32 - 1
	hash := maphash.String(t.seed, id)
	half = hash &^ low
	mask := len(t.slots) - 1
	for i := int(hash) & mask; ; i = (i + 1) & mask {
		s := t.slots[i]
		if s == 0 || (s&^low == half && entries[s&low-1].ID == id) {
			return i, half
		}
	}
}

// grow makes the table large enough for the capacity of entries and one more.
func (t *idTable) grow(entries []tasks.Entry) {
	n := 1024
	for n < 2*max(cap(entries), len(entries)+1) {
		n *= 2
	}
	*t = idTable{seed: maphash.MakeSeed(), slots: make([]uint64, n)}
	for i, e := range entries {
		slot, half := t.find(e.ID, entries)
		t.slots[slot] = half | uint64(i+1)
	}
}
