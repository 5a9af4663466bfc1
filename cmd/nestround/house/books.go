package house

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"hash"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestround/config"
	"nestround/config/books"
	"nestround/config/diag"
	"nestround/config/zones"
	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
	"nestround/tasks/husbandry"
)

// reading is the last reading of the folder of the books. When a file changes,
// its part is replaced and not changed, so that snapshots can share the parts.
type reading struct {
	dir     string
	log     *slog.Logger
	daybook *daybook.Log

	print    string // of the record files, see fingerprint
	settings *config.Settings
	records  *husbandry.Records
	source   string // of the records, see basis
	problems *bookProblems

	logPrint string // of the incubators' logs
	logs     *thermologs

	said   *said
	chosen *chosenDays
}

// bookProblems are the problems of the record files on the disk.
type bookProblems struct {
	list diag.List
	// stale says that some problems are errors, so that older records are in
	// force.
	stale bool
}

// said is what the daybook says.
type said struct {
	history *tasks.History
	// kept is what older entries add up to, entries are the others, and count
	// is the number of all.
	kept     *tasks.Folder
	entries  []tasks.Entry
	count    int
	problems []daybook.Problem // lines that do not count
	last     tasks.Entry       // the latest of entries
}

// basis has everything from which a snapshot is made. Two snapshots with an
// equal basis give the same answers.
type basis struct {
	today    civil.Date
	settings *config.Settings
	records  *husbandry.Records
	// source identifies the content of the files that settings and records are
	// from, the zone data and the build of the program; "": not known.
	source   string
	problems *bookProblems
	logs     *thermologs
	said     *said
	issued   *map[civil.Date]notify.Issue // never changed
	chosen   *chosenDays
}

func (r *reading) basis(today civil.Date, issued *map[civil.Date]notify.Issue) basis {
	return basis{today, r.settings, r.records, r.source, r.problems, r.logs, r.said, issued, r.chosen}
}

// open reads the record files for the first time.
func (r *reading) open() diag.List {
	r.print = fingerprint(r.dir)
	settings, records, source, problems := load(r.dir)
	r.settings, r.records, r.source, r.problems = &settings, records, source, &bookProblems{list: problems}
	return problems
}

// look reads what changed on the disk since the last look.
func (r *reading) look(now time.Time) error {
	if print := fingerprint(r.dir); print != r.print {
		r.print = print
		r.edited()
	}
	today := civil.Of(now, r.settings.Zone)
	// The day is part of the check, because yesterday the log's values for
	// today did not count yet.
	if print := today.String() + "\n" + logPrint(r.dir, r.records); print != r.logPrint {
		r.logPrint = print
		r.logs = readLogs(r.dir, r.records, r.settings.Zone, today)
	}
	changed, err := r.daybook.Refresh()
	if err != nil {
		return err
	}
	if changed || r.said == nil || r.said.history != r.daybook.History() {
		r.said = fold(r.daybook, r.said)
	}
	return nil
}

// edited reads changed record files. If they have errors, the last good records
// stay in force.
func (r *reading) edited() {
	settings, records, source, problems := load(r.dir)
	r.problems = &bookProblems{list: problems, stale: problems.HasErrors()}
	if !r.problems.stale {
		r.settings, r.records, r.source = &settings, records, source
		r.log.Info("the books were read again", "dir", r.dir)
		return
	}
	for _, p := range problems {
		r.log.Error("the books have a problem; the last good ones stay in force", "file", p.File, "line", p.Line, "column", p.Column, "problem", p.Message)
	}
}

// load reads the record files. source is as in basis.
func load(dir string) (_ config.Settings, _ *husbandry.Records, source string, _ diag.List) {
	from := &hashing{books.Folder(dir), sha256.New()}
	settings, records, problems := books.Read(from, dir)
	if build, err := disk.Build(); err == nil {
		version, where := zones.Source()
		source = fmt.Sprintf("%x %s %s %s", from.sum.Sum(nil), build, version, where)
	}
	return settings, records, source, problems
}

// hashing is a folder that hashes the files that are read in it, in their order.
type hashing struct {
	disk.Folder
	sum hash.Hash
}

// ReadFile implements fs.ReadFileFS.
func (h *hashing) ReadFile(name string) ([]byte, error) {
	b, err := h.Folder.ReadFile(name)
	fmt.Fprintf(h.sum, "%q %d %t ", name, len(b), err == nil)
	h.sum.Write(b) // a hash's Write never fails
	return b, err
}

// fingerprint tells whether the record files are the ones read before, by
// their names, sizes and times.
func fingerprint(dir string) string {
	var b strings.Builder
	for _, pattern := range []string{"*.toml", "*/*.toml"} {
		names, _ := filepath.Glob(filepath.Join(dir, pattern)) // the patterns are well formed
		for _, name := range names {
			if st, err := os.Stat(name); err == nil {
				fmt.Fprintln(&b, name, st.Size(), st.ModTime().UnixNano())
			}
		}
	}
	return b.String()
}

// fold adds the log up. old is what it said before, nil for nothing.
func fold(log *daybook.Log, old *said) *said {
	s := &said{history: log.History(), kept: log.Kept(), entries: log.Entries(), count: log.Len(), problems: log.Problems()}
	fresh := s.entries
	if old != nil && s.extends(old) {
		fresh = s.entries[len(old.entries):]
		s.last = old.last
	}
	for _, e := range fresh {
		if later(e, s.last) {
			s.last = e
		}
	}
	return s
}

// extends reports whether the entries of s are those of old and then others.
// An entry that was read once keeps its acts in their place; only a log that
// was read anew, because its older lines changed, has them elsewhere.
func (s *said) extends(old *said) bool {
	n := len(old.entries)
	if s.kept != old.kept {
		return false
	}
	if n == 0 || n > len(s.entries) {
		return n == 0
	}
	was, is := old.entries[n-1], s.entries[n-1]
	return was.ID == is.ID && len(was.Acts) > 0 && len(is.Acts) > 0 && &was.Acts[0] == &is.Acts[0]
}

// since returns the first day that the entries added since old may be for, or
// the zero date if none was added. ok is false if anything else has changed, or
// if a new entry counts before older ones: then any day may have changed.
func (s *said) since(old *said) (first civil.Date, ok bool) {
	if s == old {
		return civil.Date{}, true
	}
	if !s.extends(old) {
		return civil.Date{}, false
	}
	for _, e := range s.entries[len(old.entries):] {
		if !later(e, old.last) || slices.ContainsFunc(e.Acts, func(a tasks.Act) bool { return a.Entry != "" }) {
			return civil.Date{}, false // older entries may be taken back
		}
		first = civil.Min(first, civil.Min(e.On, civil.Of(e.At, e.At.Location())))
	}
	return first, true
}

// later reports whether the entry e counts after the entry than.
func later(e, than tasks.Entry) bool {
	return cmp.Or(e.At.Compare(than.At), strings.Compare(e.ID, than.ID)) > 0
}
