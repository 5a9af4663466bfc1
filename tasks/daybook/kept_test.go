package daybook

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// keptLog is a log that adds up and writes after a few lines.
func keptLog(books string, files disk.Files) *Log {
	l := NewKeptLog(books, files, slog.New(slog.DiscardHandler))
	l.kept.pace = pace{every: 2, back: 3 * 24 * time.Hour, worth: 2}
	return l
}

func keptFile(books string) string { return filepath.Join(books, filepath.FromSlash(KeptFile)) }

// saidOf is all that a log tells of what was said, and of what does not count.
func saidOf(l *Log, entries []tasks.Entry) string {
	h := l.History()
	s := fmt.Sprintln(l.Len(), h.First(), l.Problems())
	for _, e := range entries {
		by, gone := h.TakenBack(e.ID)
		s += fmt.Sprintln(e.ID, h.Speaks(e.On), len(h.Dropped(e.ID)), by, gone)
		for _, cut := range []civil.Date{{}, e.On} {
			h := h.Before(cut)
			for _, a := range e.Acts {
				o, f, said := h.Standing(a.Task)
				marks := h.Marks(a.Task.Subject(), a.Task.Routine())
				s += fmt.Sprintln(a.Task, o, f.Note, f.Laid != nil, said, h.Outcome(a.Task), marks.LastDone(), marks.LastSaid(), marks.DoneDays(civil.Date{}))
			}
			for _, f := range h.Found() {
				s += fmt.Sprintln(f.Task, f.On, f.By, f.Finding.Note, *f.Finding.Laid)
			}
		}
	}
	return s
}

// A log that keeps what old lines add up to says the same as one that reads
// every line, and the program that goes on says the same as one that was just
// started: whatever is added, taken back, said late or corrected by hand, and
// whatever becomes of the file.
func TestWhatIsKeptChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		books, err := os.MkdirTemp("", "kept")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(books)
		stays := keptLog(books, unsynced)
		today := civil.New(2027, time.December, 1)
		n := 0
		add := func(t *rapid.T) {
			today = today.AddDays(rapid.IntRange(0, 4).Draw(t, "days pass"))
			b, err := rapid.SampledFrom([]*Log{stays, keptLog(books, unsynced)}).Draw(t, "by").Open(Options{Files: unsynced})
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			for range rapid.IntRange(1, 4).Draw(t, "entries") {
				n++
				on := today.AddDays(-rapid.SampledFrom([]int{0, 0, 0, 1, 2, 9}).Draw(t, "late"))
				e := tasks.Entry{ID: fmt.Sprint("e", rapid.IntRange(max(1, n-1), n).Draw(t, "id")), At: on.At(civil.TimeOfDay(rapid.IntRange(0, 1439).Draw(t, "minute")), time.UTC), On: on, Via: tasks.ViaShell}
				if rapid.Bool().Draw(t, "mail") {
					e.Via, e.Digest = tasks.ViaMail, fmt.Sprint("K", today.Day()/10)
				}
				for range rapid.IntRange(1, 2).Draw(t, "acts") {
					k := tasks.Key(fmt.Sprintf("E%02d/water/%s", rapid.IntRange(1, 2).Draw(t, "place"), on.AddDays(-rapid.IntRange(0, 1).Draw(t, "task"))))
					six := 6
					e.Acts = append(e.Acts, rapid.SampledFrom([]tasks.Act{
						{Text: "done " + string(k), Task: k, Mark: tasks.MarkDone},
						{Text: "undo " + string(k), Task: k, Mark: tasks.Undo},
						{Text: "skip " + string(k), Task: k, Mark: tasks.Skip, Why: "fed yesterday"},
						{Text: "laid " + string(k), Task: k, Mark: tasks.MarkDone, Finding: &tasks.Finding{Laid: &six, Note: "digs"}},
					}).Draw(t, "act"))
				}
				if rapid.IntRange(0, 4).Draw(t, "takes back") == 0 {
					// Also entries that come later, or that never come.
					of := fmt.Sprint("e", rapid.IntRange(max(1, n-9), n+2).Draw(t, "of"))
					e.Acts = append(e.Acts[:rapid.IntRange(0, len(e.Acts)).Draw(t, "other acts")], tasks.Act{Text: "undo entry " + tasks.Tag(of), Entry: of})
				}
				if _, err := b.Append(e); err != nil {
					t.Fatal(err)
				}
			}
		}
		file := func(t *rapid.T) (string, []string) {
			names, _ := filepath.Glob(filepath.Join(books, Folder, "*.jsonl"))
			if len(names) == 0 {
				add(t)
				names, _ = filepath.Glob(filepath.Join(books, Folder, "*.jsonl"))
			}
			name := rapid.SampledFrom(names).Draw(t, "file")
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			return name, strings.SplitAfter(string(text), "\n")
		}
		correct := func(t *rapid.T) {
			name, lines := file(t)
			i := rapid.IntRange(0, len(lines)-1).Draw(t, "line")
			switch rapid.SampledFrom([]string{"remove", "twice", "garbage", "same length", "by whom", "no newline", "not UTF-8"}).Draw(t, "correction") {
			case "remove":
				lines = slices.Delete(lines, i, i+1)
			case "twice":
				lines = slices.Insert(lines, rapid.IntRange(0, len(lines)).Draw(t, "to"), lines[i])
			case "garbage":
				lines = slices.Insert(lines, i, "not a line\n")
			case "same length":
				lines[i] = strings.Replace(lines[i], "E01", "E02", 1)
			case "by whom":
				lines[i] = strings.Replace(lines[i], `,"acts":`, `,"by":"anna","acts":`, 1)
			case "no newline":
				lines = append(lines[:i:i], strings.TrimSuffix(lines[i], "\n"))
			case "not UTF-8":
				lines = slices.Insert(lines, i, "\xff\n")
			}
			if err := os.WriteFile(name, []byte(strings.Join(lines, "")), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		spoil := func(t *rapid.T) {
			b, err := os.ReadFile(keptFile(books))
			if err != nil || len(b) == 0 {
				return // nothing is kept yet
			}
			switch at := rapid.IntRange(0, len(b)-1).Draw(t, "at"); rapid.SampledFrom([]string{"delete", "cut", "flip"}).Draw(t, "harm") {
			case "delete":
				os.Remove(keptFile(books))
				return
			case "cut":
				b = b[:at]
			case "flip":
				b[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
			}
			if err := os.WriteFile(keptFile(books), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		for range rapid.IntRange(1, 9).Draw(t, "steps") {
			rapid.SampledFrom([]func(*rapid.T){add, add, add, correct, spoil}).Draw(t, "step")(t)
			{
				plain := NewLog(books, 0)
				if _, err := plain.Refresh(); err != nil {
					t.Fatal(err)
				}
				want := saidOf(plain, plain.Entries())
				for name, l := range map[string]*Log{"just started": keptLog(books, unsynced), "started again": keptLog(books, unsynced), "goes on": stays} {
					if _, err := l.Refresh(); err != nil {
						t.Fatal(err)
					}
					if got := saidOf(l, plain.Entries()); got != want {
						t.Fatalf("%s:\n%s\nread plainly:\n%s", name, got, want)
					}
				}
			}
		}
	})
}

// oneADay writes a daybook of so many days, a line a day.
func oneADay(t *testing.T, books string, days int) {
	t.Helper()
	b, err := Open(books, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for i := range days {
		day := civil.New(2027, time.December, 20).AddDays(i)
		e := tasks.Entry{ID: fmt.Sprint("e", i), At: day.At(600, time.UTC), On: day, Via: tasks.ViaShell,
			Acts: []tasks.Act{{Text: "done", Task: tasks.NewKey("E01", "water", day.String()), Mark: tasks.MarkDone}}}
		if added, err := b.Append(e); !added || err != nil {
			t.Fatal(added, err)
		}
	}
}

// The lines before the last days are read once; afterwards only the others are.
func TestOldLinesAreNotReadAgain(t *testing.T) {
	books := t.TempDir()
	oneADay(t, books, 30)
	for _, start := range []string{"first", "second"} {
		var told bytes.Buffer
		l := keptLog(books, disk.Files{})
		l.kept.log = slog.New(slog.NewTextHandler(&told, nil))
		if _, err := l.Refresh(); err != nil {
			t.Fatal(err)
		}
		if n := len(l.Entries()); n < 3 || n > 6 || l.Len() != 30 {
			t.Errorf("%s start: %d entries of %d are in memory", start, n, l.Len())
		}
		if told.Len() > 0 {
			t.Errorf("%s start says: %s", start, &told)
		}
	}
	b, err := keptLog(books, disk.Files{}).Open(Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for id, want := range map[string]bool{"e0": true, "e29": true, "e30": false} {
		if has, err := b.Has(id); has != want || err != nil {
			t.Errorf("has %s: %t, %v", id, has, err)
		}
	}
	old := civil.New(2027, time.December, 20)
	if added, err := b.Append(tasks.Entry{ID: "e0", At: old.At(600, time.UTC), On: old, Via: tasks.ViaShell}); added || err != nil {
		t.Errorf("an entry that is kept was added again: %t, %v", added, err)
	}
}

// Damage is told in the log, and the file is made anew.
func TestADamagedFileIsThrownAway(t *testing.T) {
	books := t.TempDir()
	oneADay(t, books, 30)
	if _, err := keptLog(books, disk.Files{}).Refresh(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(keptFile(books))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(keptFile(books), whole[:len(whole)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	var told bytes.Buffer
	l := keptLog(books, disk.Files{})
	l.kept.log = slog.New(slog.NewTextHandler(&told, nil))
	if _, err := l.Refresh(); err != nil || l.Len() != 30 {
		t.Fatal(l.Len(), err)
	}
	if !strings.Contains(told.String(), "level=WARN") || !strings.Contains(told.String(), "damaged") {
		t.Errorf("the log says: %s", &told)
	}
	if again, err := os.ReadFile(keptFile(books)); err != nil || !bytes.Equal(again, whole) {
		t.Errorf("%d bytes were written again, want %d (%v)", len(again), len(whole), err)
	}
}

// unsynced leaves it to the system when bytes reach the disk, which is fast.
var unsynced = disk.Files{Ops: noSync{}}

type noSync struct{ disk.System }

func (noSync) SyncDir(string) error { return nil }

func (o noSync) OpenFile(name string, flag int, perm os.FileMode) (disk.File, error) {
	f, err := o.System.OpenFile(name, flag, perm)
	return noSyncFile{f}, err
}

type noSyncFile struct{ disk.File }

func (noSyncFile) Sync() error { return nil }

// noDisk refuses every change.
type noDisk struct{ disk.System }

func (noDisk) OpenFile(name string, _ int, _ os.FileMode) (disk.File, error) {
	return nil, &os.PathError{Op: "open", Path: name, Err: os.ErrPermission}
}

func (noDisk) Mkdir(name string, _ os.FileMode) error {
	return &os.PathError{Op: "mkdir", Path: name, Err: os.ErrPermission}
}

// Books that cannot be written to are read like others.
func TestBooksThatCannotBeWrittenToAreRead(t *testing.T) {
	books := t.TempDir()
	oneADay(t, books, 30)
	l := keptLog(books, disk.Files{Ops: noDisk{}})
	if _, err := l.Refresh(); err != nil || l.Len() != 30 {
		t.Errorf("%d entries, %v", l.Len(), err)
	}
	if _, err := os.Stat(keptFile(books)); err == nil {
		t.Error("a file was written")
	}
}

// Another build of the program may add up differently.
func TestAnotherBuildReadsEverything(t *testing.T) {
	books := t.TempDir()
	oneADay(t, books, 30)
	if _, err := keptLog(books, disk.Files{}).Refresh(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(keptFile(books))
	if err != nil {
		t.Fatal(err)
	}
	own, err := disk.Build()
	if err != nil || !bytes.Contains(b, []byte(own)) {
		t.Fatalf("the file does not name the build %q (%v)", own, err)
	}
	other := bytes.Replace(b[:len(b)-8], []byte(own), bytes.Repeat([]byte("x"), len(own)), 1)
	var s sum
	s.Write(other)
	k := keptLog(books, disk.Files{}).kept
	other = append(other, byte(s.A), byte(s.A>>8), byte(s.A>>16), byte(s.A>>24), byte(s.B), byte(s.B>>8), byte(s.B>>16), byte(s.B>>24))
	if _, err := k.read(other); err != errOther {
		t.Errorf("a file of another build: %v", err)
	}
}
