package demobooks

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/husbandry"
)

var update = flag.Bool("update", false, "write the golden books anew")

const golden = "../../../testdata/books/demo"

// Other tests plan with the golden books.
func TestGoldenBooksAreTheDemoOfOneDay(t *testing.T) {
	files, err := Files(civil.MustParse("2027-05-12"), Setting{})
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.RemoveAll(golden); err != nil {
			t.Fatal(err)
		}
		if err := Write(golden, civil.MustParse("2027-05-12"), Setting{}); err != nil {
			t.Fatal(err)
		}
	}
	want := make(map[string]bool)
	for _, f := range files {
		want[f.Name] = true
		have, err := os.ReadFile(filepath.Join(golden, filepath.FromSlash(f.Name)))
		if err != nil {
			t.Error(err)
		} else if !bytes.Equal(have, f.Data) {
			t.Errorf("%s differs from what is rendered; look at it, then run with -update", f.Name)
		}
	}
	err = filepath.WalkDir(golden, func(p string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(golden, p)
			if !want[filepath.ToSlash(rel)] {
				t.Errorf("%s is in the golden books, but not in the demo", rel)
			}
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

func TestWriteOverwritesNothing(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "books")
	day := civil.MustParse("2027-05-12")
	if err := Write(dir, day, Setting{}); err != nil {
		t.Fatal(err)
	}
	keeper := filepath.Join(dir, "keeper.toml")
	if err := os.WriteFile(keeper, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Write(dir, day, Setting{}); err == nil {
		t.Error("a second writing went through")
	}
	if b, err := os.ReadFile(keeper); err != nil || string(b) != "mine" {
		t.Errorf("keeper.toml was overwritten: %q, %v", b, err)
	}
}

// table is any record of the books, with the fields that these tests need.
type table struct {
	ID        string
	Kind      string
	Every     string
	From      any
	Weekdays  []string
	Species   string
	Enclosure string
	Rack      string
	Room      string
	Mother    string
	Father    string
	Male      string
	Female    string
	Incubator string
	Clutch    string
	Hatched   any
	Acquired  any
	TubSet    any `toml:"tub_set"`
	Tub       string
	Routine   []table
	For       struct{ Stages, States []string }
}

type books map[string][]table

// decode reads rendered files with only the TOML library.
func decode(t *testing.T, files []File) books {
	t.Helper()
	all := make(books)
	for _, f := range files {
		if !strings.HasSuffix(f.Name, ".toml") {
			continue
		}
		var raw map[string]toml.Primitive
		md, err := toml.Decode(string(f.Data), &raw)
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		for name, p := range raw {
			if md.Type(name) != "ArrayHash" && md.Type(name) != "Array" {
				continue
			}
			var rows []table
			if err := md.PrimitiveDecode(p, &rows); err != nil {
				t.Fatalf("%s: [[%s]]: %v", f.Name, name, err)
			}
			all[name] = append(all[name], rows...)
		}
	}
	return all
}

// days returns mornings on which a user may start the demo.
func days() []civil.Date {
	list := []civil.Date{
		civil.MustParse("2027-05-12"),
		civil.MustParse("2028-02-29"), // leap day
		civil.MustParse("2028-02-27"), // a season would open on 29 February
		civil.MustParse("2027-01-01"), // the daybook spans two years
		civil.MustParse("2027-01-10"),
		civil.MustParse("2026-12-31"),
	}
	for n := range 28 {
		list = append(list, civil.MustParse("2026-01-05").AddDays(13*n))
	}
	return list
}

// sheetRoutines returns the routines of the care sheets and the common
// routines, by id.
func sheetRoutines(t *testing.T) (routines map[string]table, species map[string]bool) {
	t.Helper()
	names, err := filepath.Glob("../../../config/books/sheets/*.toml")
	if err != nil || len(names) == 0 {
		t.Fatalf("no care sheets found: %v", err)
	}
	var files []File
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, File{Name: name, Data: b})
	}
	sheets := decode(t, files)
	routines, species = make(map[string]table), make(map[string]bool)
	for _, r := range sheets["routine"] {
		routines[r.ID] = r
	}
	for _, s := range sheets["species"] {
		species[s.ID] = true
		for _, r := range s.Routine {
			routines[r.ID] = r
		}
	}
	return routines, species
}

func TestReferencesHoldOnAnyDay(t *testing.T) {
	_, sheets := sheetRoutines(t)
	for _, day := range days() {
		files, err := Files(day, Setting{})
		if err != nil {
			t.Fatal(err)
		}
		b := decode(t, files)
		ids := make(map[string]string)
		for _, kind := range []string{"room", "rack", "enclosure", "animal", "clutch", "incubator", "pairing", "routine"} {
			for _, r := range b[kind] {
				key := strings.ToLower(r.ID)
				if ids[key] != "" || strings.Trim(key, "0123456789") == "" {
					t.Errorf("%v: the id %q of a %s is taken or no id", day, r.ID, kind)
				}
				ids[key] = kind
			}
		}
		refer := func(from, kind, to string) {
			if to != "" && ids[strings.ToLower(to)] != kind {
				t.Errorf("%v: %s refers to the %s %q, which is none", day, from, kind, to)
			}
		}
		for _, kind := range []string{"rack", "enclosure", "animal", "clutch", "incubator", "pairing"} {
			for _, r := range b[kind] {
				refer(r.ID, "room", r.Room)
				refer(r.ID, "rack", r.Rack)
				refer(r.ID, "enclosure", r.Enclosure)
				refer(r.ID, "incubator", r.Incubator)
				for _, animal := range []string{r.Mother, r.Father, r.Male, r.Female} {
					refer(r.ID, "animal", animal)
				}
				refer(r.ID, "clutch", r.Clutch)
				if group, ok := r.From.(string); ok && kind == "animal" {
					refer(r.ID, "animal", group)
				}
				inherits := r.Species == "" && (r.Clutch != "" || r.From != nil)
				if kind == "animal" && !inherits && !sheets[r.Species] {
					t.Errorf("%v: %s is of the species %q, which has no sheet", day, r.ID, r.Species)
				}
			}
		}
	}
}

func TestDemoHasItsShowcases(t *testing.T) {
	files, err := Files(civil.MustParse("2027-05-12"), Setting{})
	if err != nil {
		t.Fatal(err)
	}
	b := decode(t, files)
	species := make(map[string]bool)
	individuals := 0
	for _, a := range b["animal"] {
		if a.Species != "" {
			species[a.Species] = true
		}
		if a.From != nil {
			individuals++
		}
	}
	if individuals == 0 || len(b["permit"]) == 0 {
		t.Errorf("%d animals taken out of a group, %d permits", individuals, len(b["permit"]))
	}
	for what, n := range map[string]int{"room": 2, "rack": 3, "enclosure": 12} {
		if len(b[what]) != n {
			t.Errorf("%d of %s, want %d", len(b[what]), what, n)
		}
	}
	if len(species) != 4 || len(b["away"]) != 1 {
		t.Errorf("%d species, %d spans away", len(species), len(b["away"]))
	}
}

func TestHistoryCoversThreeWeeks(t *testing.T) {
	routines, _ := sheetRoutines(t)
	for _, day := range days() {
		files, err := Files(day, Setting{})
		if err != nil {
			t.Fatal(err)
		}
		b := decode(t, files)
		subjects := map[husbandry.ID]table{tasks.TheKeeper: {}}
		for _, kind := range []string{"room", "enclosure", "animal", "clutch", "feeder"} {
			for _, r := range b[kind] {
				subjects[husbandry.ID(r.ID)] = r
			}
		}
		known := map[string]table{string(tasks.Unplanned): {}}
		for id, r := range routines {
			known[id] = r
		}
		for _, r := range b["routine"] {
			known[r.ID] = r
		}
		seen := make(map[tasks.Key]bool)
		ids := make(map[string]bool)
		var last civil.Date
		for _, f := range files {
			name, ok := strings.CutPrefix(f.Name, "daybook/")
			if !ok {
				continue
			}
			if !bytes.HasSuffix(f.Data, []byte("\n")) {
				t.Errorf("%v: %s ends within a line", day, f.Name)
			}
			for _, line := range bytes.Split(bytes.TrimSuffix(f.Data, []byte("\n")), []byte("\n")) {
				var e tasks.Entry
				d := json.NewDecoder(bytes.NewReader(line))
				d.DisallowUnknownFields()
				if err := d.Decode(&e); err != nil {
					t.Fatalf("%v: %s: %v", day, f.Name, err)
				}
				if name != fmt.Sprintf("%d.jsonl", e.On.Year()) || !e.On.Before(day) || e.On.Before(last) || day.Sub(e.On) > paper || ids[e.ID] {
					t.Errorf("%v: entry %s for %v in %s after %v", day, e.ID, e.On, f.Name, last)
				}
				last, ids[e.ID] = e.On, true
				for _, a := range e.Acts {
					r, ok := known[string(a.Task.Routine())]
					about, there := subjects[a.Task.Subject()]
					if !ok || !there || seen[a.Task] || a.Mark != tasks.MarkDone {
						t.Errorf("%v: %+v: unknown routine or subject, or said twice", day, a)
					}
					seen[a.Task] = true
					for _, began := range []any{about.Hatched, about.Acquired, about.TubSet} {
						if began != nil && !date(t, began).Before(e.On) {
							t.Errorf("%v: %s was done before there was a %s", day, a.Task, about.ID)
						}
					}
					if about.Tub == "sealed" && r.Kind == "tub-check" {
						t.Errorf("%v: %s opened a sealed tub", day, a.Task)
					}
					if f := a.Finding; f != nil && f.Weighs != nil && (*f.Weighs < 1 || *f.Weighs > 600) {
						t.Errorf("%v: %s weighs %v g", day, a.Task, *f.Weighs)
					}
					if !falls(t, r, e.On) {
						t.Errorf("%v: %s was done on a day its routine does not have", day, a.Task)
					}
				}
			}
		}
		if last != day.AddDays(-1) {
			t.Errorf("%v: the last entry is for %v", day, last)
		}
	}
}

// falls reports whether a fixed routine has a task on a day. For a routine that
// is not fixed, it returns true.
func falls(t *testing.T, r table, on civil.Date) bool {
	t.Helper()
	if len(r.Weekdays) > 0 {
		return slices.Contains(r.Weekdays, strings.ToLower(on.Format("Mon")))
	}
	if r.Every == "" {
		return true
	}
	n, err := husbandry.ParseDays(r.Every)
	if err != nil {
		t.Fatal(err)
	}
	return on.Sub(date(t, r.From))%int(n) == 0
}

// date reads a TOML local date, which the library returns as midnight.
func date(t *testing.T, v any) civil.Date {
	t.Helper()
	at, ok := v.(time.Time)
	if !ok {
		return civil.Date{} // a count, as in hatched = 2
	}
	return civil.New(at.Date())
}

func TestDaybookAcceptsTheHistory(t *testing.T) {
	dir, day := t.TempDir(), civil.MustParse("2027-01-10") // two years, so two files
	if err := Write(dir, day, Setting{}); err != nil {
		t.Fatal(err)
	}
	entries, problems, err := daybook.Read(dir)
	if err != nil || len(problems) > 0 || !reflect.DeepEqual(entries, History(day)) {
		t.Errorf("%d entries of %d, problems %v, %v", len(entries), len(History(day)), problems, err)
	}
}

// Only Saffron's nest box is overdue.
func TestOnlyOneNestBoxIsOverdue(t *testing.T) {
	for _, day := range days() {
		h := tasks.Fold(History(day))
		for box, every := range map[husbandry.ID]int{"A1": 3, "A2": 3, "B2": 4, "V1": 4, "C1": 3} {
			since := day.Sub(h.LastDone(box, "nest-top-up"))
			if overdue := since > every+1; overdue != (box == "A1") { // one day of slack
				t.Errorf("%v: %s was topped up %d days ago", day, box, since)
			}
		}
	}
}
