package daybook

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"log/slog"
	"path/filepath"
	"slices"
	"sort"
	"time"

	"nestround/tasks"
	"nestround/tasks/disk"
)

// KeptFile is the path, below the books, of the file in which a [Log] made by
// [NewKeptLog] stores the history of old lines. The file may be deleted at any
// time.
const KeptFile = "state/cache/history"

// kept has the history of the lines before a certain place in each file. The
// log drops the entries of these lines from memory. It treats the lines as
// read, and continues with the lines after them.
type kept struct {
	pace
	files  disk.Files
	log    *slog.Logger
	folder *tasks.Folder
	count  int // entries in folder
	// stored has the ids of the entries that came from the stored file, as
	// sorted hashes of eight bytes each. ids has the hashes of the ids that
	// were added to folder since.
	stored []byte
	ids    map[uint64]struct{}
	marks  []lineMark // places up to which further entries may move to folder
	// gone says that the log has read an entry that cannot follow the entries
	// of folder: the entry is older than the newest of them, or one of them may
	// have the same id.
	gone bool
	// late says that no entries move to folder until all files are read.
	late bool
	// changed says that the lines of folder are no longer the first lines of
	// their file.
	changed bool
	since   int // entries added to folder since the file was written
	// closed says that a History was made from folder, so that no more entries
	// may be added to folder.
	closed bool
}

// place is a place in a year's file, at the end of a line.
type place struct {
	Read     int64 `json:"read"`
	Lines    int   `json:"lines"`
	Sum      sum   `json:"sum"` // checksum of the bytes before Read
	Open     bool  `json:"open,omitempty"`
	Problems []raw `json:"problems,omitempty"`
}

// raw is a Problem whose texts may be no UTF-8.
type raw struct {
	File                string
	Line, Column        int
	Text, Message, Hint []byte
}

// lineMark is a place in a year's file, the number of the year's problems
// before the place, and the number of the log's entries before the place.
type lineMark struct {
	year     *year
	place    place
	problems int // of the year, before the place
	entries  int
}

// pace says when entries move from the log to the folder, and when the file is
// written.
type pace struct {
	every int // lines from one mark to the next
	// back is the least age of the entries in the folder, compared with the
	// newest entry. An answer may come late or out of order by up to this time,
	// and the entries in the folder remain valid.
	back time.Duration
	// worth is the least number of new entries for which the file is written
	// again. If the history is long, the least number is the part share of all
	// entries, so that large files are seldom written.
	worth int
	share float64
}

// Reading a thousand lines takes about two milliseconds, so fewer new entries
// are not worth writing the file.
var usualPace = pace{every: 512, back: 14 * 24 * time.Hour, worth: 1024, share: 1. / 32}

// sum is a checksum of 64 bits. Two CRCs whose polynomials have no common
// factor are as good as one CRC of their product: a change within 64 bits is
// always seen, any other with a probability of 1 - 2^-64. Processors have
// instructions for both.
type sum struct{ A, B uint32 }

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func (s *sum) Write(b []byte) (int, error) {
	s.A = crc32.Update(s.A, crc32.IEEETable, b)
	s.B = crc32.Update(s.B, castagnoli, b)
	return len(b), nil
}

func (s *sum) add(text string) {
	var piece [4096]byte
	for text != "" {
		n := copy(piece[:], text)
		s.Write(piece[:n])
		text = text[n:]
	}
}

// NewKeptLog makes a log of the whole daybook in the folder books. The log
// keeps the history of old lines in memory and in [KeptFile], and its Entries
// are only the newer entries.
//
// The log uses the file if the lines behind the stored history are unchanged,
// byte for byte, and if the same build of the program wrote the file. Otherwise
// it reads the whole daybook, with the same result. If the books cannot be
// written to, the log works without the file. Messages about the file go to
// log.
func NewKeptLog(books string, files disk.Files, log *slog.Logger) *Log {
	l := NewLog(books, 0)
	l.kept = &kept{pace: usualPace, files: files, log: log}
	l.kept.reset()
	return l
}

func (k *kept) reset() {
	*k = kept{pace: k.pace, files: k.files, log: k.log, late: k.late, folder: new(tasks.Folder), ids: make(map[uint64]struct{})}
}

// hash is FNV-1a of 64 bits.
func hash(id string) uint64 {
	h := uint64(14695981039346656037)
	for i := range len(id) {
		h = (h ^ uint64(id[i])) * 1099511628211
	}
	return h
}

// mayHave reports whether an entry with this id may be in folder. The ids are
// compared by their hashes.
func (k *kept) mayHave(id string) bool {
	if k == nil {
		return false
	}
	h := hash(id)
	if _, ok := k.ids[h]; ok {
		return true
	}
	n := len(k.stored) / 8
	i := sort.Search(n, func(i int) bool { return binary.LittleEndian.Uint64(k.stored[8*i:]) >= h })
	return i < n && binary.LittleEndian.Uint64(k.stored[8*i:]) == h
}

// outdatedBy reports whether e takes back an entry that the kept history has
// counted, so that the history must be computed anew.
func (k *kept) outdatedBy(e *tasks.Entry) bool { return k != nil && k.folder.OutdatedBy(e, k.mayHave) }

// mark remembers the place up to which the file of y was read.
func (l *Log) mark(y *year) {
	if l.kept != nil && !l.kept.closed {
		l.kept.marks = append(l.kept.marks, lineMark{y, place{Read: y.read, Lines: y.lines, Sum: y.sum, Open: y.open}, len(y.problems), len(l.entries)})
	}
}

// addUp moves entries from the log to folder: all entries before the last mark
// that is old enough and has only newer entries behind it.
func (l *Log) addUp() {
	k := l.kept
	if k == nil || k.closed || len(l.entries) == 0 {
		return
	}
	last := l.lastMark()
	if last < 0 {
		return
	}
	n := k.marks[last].entries
	for i := range l.entries[:n] {
		k.ids[hash(l.entries[i].ID)] = struct{}{}
	}
	k.folder.Know(l.entries)
	k.folder.Add(l.entries[:n])
	k.count += n
	k.since += n
	k.place(k.marks[:last+1])
	k.marks = slices.Clone(k.marks[last+1:])
	for i := range k.marks {
		k.marks[i].entries -= n
	}
	l.entries = slices.Clone(l.entries[n:]) // the moved entries, and their text, can be freed
	l.ids = idTable{}
	if len(l.entries) > 0 {
		l.ids.grow(l.entries)
	}
}

// lastMark returns the index of the last mark up to which entries may be moved
// to folder, or -1.
func (l *Log) lastMark() int {
	before := func(a, b *tasks.Entry) bool {
		c := a.At.Compare(b.At)
		return c < 0 || c == 0 && a.ID < b.ID
	}
	newest := l.entries[0].At
	oldest := make([]int32, len(l.entries)+1) // by place: the place of the oldest entry from this place to the end
	oldest[len(l.entries)] = -1
	for i := len(l.entries) - 1; i >= 0; i-- {
		if oldest[i] = oldest[i+1]; oldest[i] < 0 || before(&l.entries[i], &l.entries[oldest[i]]) {
			oldest[i] = int32(i)
		}
		if l.entries[i].At.After(newest) {
			newest = l.entries[i].At
		}
	}
	limit := newest.Add(-l.kept.back)
	last, newestBefore := -1, -1
	at := 0
	for i, mark := range l.kept.marks {
		for ; at < mark.entries; at++ {
			if newestBefore < 0 || before(&l.entries[newestBefore], &l.entries[at]) {
				newestBefore = at
			}
		}
		if newestBefore >= 0 && l.entries[newestBefore].At.After(limit) {
			break
		}
		if next := oldest[at]; newestBefore < 0 || next < 0 || before(&l.entries[newestBefore], &l.entries[next]) {
			last = i
		}
	}
	return last
}

// place stores, for each year, how far the Folder has got: the position of the
// last lineMark of that year in marks. The Folder holds all entries before that
// position.
func (k *kept) place(marks []lineMark) {
	placed := make(map[*year]bool)
	for _, m := range slices.Backward(marks) {
		if placed[m.year] {
			continue
		}
		placed[m.year], m.year.kept = true, m.place
		for _, p := range m.year.problems[:m.problems] {
			m.year.kept.Problems = append(m.year.kept.Problems, raw{p.File, p.Line, p.Column, []byte(p.Text), []byte(p.Message), []byte(p.Hint)})
		}
	}
}

// History returns the history of all entries, including the entries that the
// log no longer has in memory.
func (l *Log) History() *tasks.History {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.history == nil {
		folder := new(tasks.Folder)
		if l.kept != nil {
			folder, l.kept.closed, l.kept.marks = l.kept.folder, true, nil
		}
		l.history = folder.With(l.entries[:len(l.entries):len(l.entries)])
	}
	return l.history
}

// Kept returns the Folder of the older entries, which are not among Entries;
// nil if the log keeps no such Folder. If Kept returns another Folder than
// before, the log has read the whole daybook again.
func (l *Log) Kept() *tasks.Folder {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.kept == nil {
		return nil
	}
	return l.kept.folder
}

// Len returns the number of all entries, including the entries that the log no
// longer has in memory.
func (l *Log) Len() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.kept == nil {
		return len(l.entries)
	}
	return l.kept.count + len(l.entries)
}

// head is the part of the stored file that names the build of the program and
// the lines behind the stored history.
type head struct {
	Build string                    `json:"build"`
	Count int                       `json:"count"`
	Years map[int]place             `json:"years"`
	Sizes struct{ IDs, Folder int } `json:"sizes"`
}

// magic is the beginning of the stored file. A new form of the file needs a new
// magic.
const magic = "nestround history 1\n"

// adopt takes the stored history as the beginning of the log, if the file can
// be used. now has the years that are on the disk.
func (l *Log) adopt(now []*year) {
	k := l.kept
	b, err := disk.ReadFile(filepath.Join(l.books, filepath.FromSlash(KeptFile)), MaxYear)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	var h head
	if err == nil {
		h, err = k.read(b)
	}
	if err == nil {
		err = l.begin(now, h.Years)
	}
	switch {
	case err == nil:
		return
	case errors.Is(err, errOther):
		k.log.Info("all of the daybook is read", "why", err)
	default:
		k.log.Warn("all of the daybook is read: what was kept of it cannot be used", "err", err)
		if err := k.files.Remove(filepath.Join(l.books, filepath.FromSlash(KeptFile))); err != nil {
			k.log.Warn("what was kept of the daybook could not be removed", "err", err)
		}
	}
	k.reset()
}

// errOther says that another build wrote the file, or that the file belongs to
// other lines of the daybook.
var errOther = errors.New("it was made by another build of the program, or from other lines")

// read reads the bytes of the stored file into k.
func (k *kept) read(b []byte) (head, error) {
	var h head
	damaged := fmt.Errorf("%s is damaged", KeptFile)
	const tail = 8
	if len(b) < len(magic)+tail || string(b[:len(magic)]) != magic {
		return h, damaged
	}
	body, end := b[:len(b)-tail], b[len(b)-tail:]
	var s sum
	s.Write(body)
	if binary.LittleEndian.Uint32(end) != s.A || binary.LittleEndian.Uint32(end[4:]) != s.B {
		return h, damaged
	}
	body = body[len(magic):]
	size, n := binary.Uvarint(body)
	if n <= 0 || size > uint64(len(body)-n) {
		return h, damaged
	}
	body = body[n:]
	if err := json.Unmarshal(body[:size], &h); err != nil {
		return h, damaged
	}
	body = body[size:]
	if own, err := disk.Build(); err != nil || own != h.Build {
		return h, errOther
	}
	if h.Sizes.IDs < 0 || h.Sizes.Folder < 0 || h.Sizes.IDs+h.Sizes.Folder != len(body) {
		return h, damaged
	}
	folder, err := tasks.Thaw(body[h.Sizes.IDs:])
	if err != nil {
		return h, err
	}
	k.folder, k.count, k.stored = folder, h.Count, slices.Clone(body[:h.Sizes.IDs])
	return h, nil
}

// begin sets the reading position of each year to the end of the lines that the
// stored history includes. The lines after that position are read later. That
// reading compares checksums, so it also finds a change in the lines before the
// position.
func (l *Log) begin(now []*year, was map[int]place) error {
	found := 0
	for _, y := range now {
		if _, ok := was[y.year]; ok {
			found++
		}
	}
	if found != len(was) {
		return errOther
	}
	for _, y := range now {
		y.kept = was[y.year]
		y.place(y.kept)
	}
	return nil
}

func (y *year) place(p place) {
	y.read, y.lines, y.sum, y.open, y.problems = p.Read, p.Lines, p.Sum, p.Open, nil
	for _, r := range p.Problems {
		y.problems = append(y.problems, Problem{r.File, r.Line, r.Column, string(r.Text), string(r.Message), string(r.Hint)})
	}
}

// store writes the file if there are enough new entries. An error is only
// logged, because the program also works without the file.
func (l *Log) store() {
	k := l.kept
	if k == nil || k.since < max(k.worth, int(k.share*float64(k.count))) {
		return
	}
	err := func() error {
		h := head{Count: k.count, Years: make(map[int]place)}
		var err error
		if h.Build, err = disk.Build(); err != nil {
			return err
		}
		for _, y := range l.years {
			if y.kept.Read > 0 {
				h.Years[y.year] = y.kept
			}
		}
		ids := make([]uint64, 0, len(k.stored)/8+len(k.ids))
		for i := 0; i < len(k.stored); i += 8 {
			ids = append(ids, binary.LittleEndian.Uint64(k.stored[i:]))
		}
		for id := range k.ids {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		folder, err := k.folder.AppendBinary(nil)
		if err != nil {
			return err
		}
		h.Sizes.IDs, h.Sizes.Folder = 8*len(ids), len(folder)
		text, err := json.Marshal(h)
		if err != nil {
			return err
		}
		b := make([]byte, 0, len(magic)+len(text)+8*len(ids)+len(folder)+32)
		b = append(b, magic...)
		b = binary.AppendUvarint(b, uint64(len(text)))
		b = append(b, text...)
		for _, id := range ids {
			b = binary.LittleEndian.AppendUint64(b, id)
		}
		b = append(b, folder...)
		var s sum
		s.Write(b)
		b = binary.LittleEndian.AppendUint32(b, s.A)
		b = binary.LittleEndian.AppendUint32(b, s.B)
		return k.files.WriteFile(filepath.Join(l.books, filepath.FromSlash(KeptFile)), b, 0o600)
	}()
	if err != nil {
		k.log.Info("what the daybook adds up to could not be kept; the next start reads it again", "why", err)
		return
	}
	k.since = 0
}
