package scheduler_test

import (
	"fmt"
	files "nestround/config/books"
	"slices"
	"strings"
	"testing"
	"time"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

func day(s string) civil.Date {
	if len(s) == len("05-12") {
		s = "2027-" + s
	}
	return civil.MustParse(s)
}

// books is a small lizard room of wall lizards: E07 with Ada (F03) and Bert
// (M01), E08 with Cleo (F04) alone, and an incubator at 28 °C.
type books struct {
	husbandry.Records
	entries []tasks.Entry
}

func lizardRoom(routines ...husbandry.Routine) *books {
	b := &books{Records: husbandry.Records{
		Called: files.Called(),
		Units:  husbandry.Metric, Began: day("05-01"),
		Rooms:      []husbandry.Room{{ID: "R1", Name: "Lizard room"}},
		Racks:      []husbandry.Rack{{ID: "K1", Room: "R1"}},
		Incubators: []husbandry.Incubator{{ID: "I1", Room: "R1", Temperature: 28}},
		Enclosures: []husbandry.Enclosure{
			{ID: "E07", Room: "R1", Rack: "K1", NestBox: &husbandry.NestBox{Substrate: "sand"}},
			{ID: "E08", Room: "R1", Rack: "K1"},
		},
		Animals: []husbandry.Animal{
			{ID: "F03", Name: "Ada", Species: "wall-lizard", Sex: husbandry.Female, Count: 1, Enclosure: "E07", Breeding: true},
			{ID: "M01", Name: "Bert", Species: "wall-lizard", Sex: husbandry.Male, Count: 1, Enclosure: "E07", Breeding: true},
			{ID: "F04", Name: "Cleo", Species: "wall-lizard", Sex: husbandry.Female, Count: 1, Enclosure: "E08"},
		},
		Species:  sample.Species()[:1],
		Routines: routines,
	}}
	return b
}

// withSample returns the lizard room with the routines of the samples.
func withSample() *books { return lizardRoom(sample.Routines()...) }

func (b *books) animal(id husbandry.ID) *husbandry.Animal {
	return &b.Animals[slices.IndexFunc(b.Animals, func(a husbandry.Animal) bool { return a.ID == id })]
}

// say enters one act on a day.
func (b *books) say(on string, a tasks.Act) *books {
	a.Text = fmt.Sprint(a)
	n := len(b.entries)
	b.entries = append(b.entries, tasks.Entry{
		ID: fmt.Sprint("e", n), At: day(on).At(18*60, time.UTC).Add(time.Duration(n) * time.Second), On: day(on), Via: tasks.ViaShell, Acts: []tasks.Act{a},
	})
	return b
}

func (b *books) done(on string, keys ...tasks.Key) *books {
	for _, k := range keys {
		b.say(on, tasks.Act{Task: k, Mark: tasks.MarkDone})
	}
	return b
}

func (b *books) skip(on string, k tasks.Key) *books {
	return b.say(on, tasks.Act{Task: k, Mark: tasks.Skip})
}

func (b *books) later(on string, k tasks.Key, until string) *books {
	return b.say(on, tasks.Act{Task: k, Mark: tasks.PutOff, Until: day(until)})
}

func (b *books) undo(on string, k tasks.Key) *books {
	return b.say(on, tasks.Act{Task: k, Mark: tasks.Undo})
}

func (b *books) found(on string, k tasks.Key, f tasks.Finding) *books {
	return b.say(on, tasks.Act{Task: k, Mark: tasks.MarkDone, Finding: &f})
}

func (b *books) laid(on string, k tasks.Key, eggs int) *books {
	return b.found(on, k, tasks.Finding{Laid: &eggs})
}

func (b *books) hatched(on string, k tasks.Key, young int) *books {
	return b.found(on, k, tasks.Finding{Hatched: &young})
}

func (b *books) weighs(on string, k tasks.Key, grams float64) *books {
	g := husbandry.Grams(grams)
	return b.found(on, k, tasks.Finding{Weighs: &g})
}

// The planner is tested with degree-days, because their dates can be computed
// by hand. The calibrated forecast has tests of its own.
func (b *books) input(on string, ahead int) scheduler.Input {
	return scheduler.Input{Records: &b.Records, History: tasks.Fold(b.entries), On: day(on), To: day(on).AddDays(ahead), Latitude: 48.2, Forecasts: herd.Plain{Latitude: 48.2}}
}

func (b *books) plan(on string, ahead int) plan {
	return plan(scheduler.Plan(b.input(on, ahead)))
}

type plan []tasks.Task

// of returns the tasks with a key that contains part.
func (p plan) of(part string) plan {
	var list plan
	for _, t := range p {
		if strings.Contains(string(t.Key), part) {
			list = append(list, t)
		}
	}
	return list
}

// String writes one line for each task: status, due date, key.
func (p plan) String() string {
	var lines []string
	for _, t := range p {
		lines = append(lines, fmt.Sprintf("%s %s %s", t.Status, t.Due.Format("01-02"), t.Key))
	}
	return strings.Join(lines, "\n")
}

func (p plan) one(t *testing.T, part string) tasks.Task {
	t.Helper()
	list := p.of(part)
	if len(list) != 1 {
		t.Fatalf("want one task with %q, have\n%s\nof\n%s", part, list, p)
	}
	return list[0]
}

func (p plan) none(t *testing.T, part string) {
	t.Helper()
	if list := p.of(part); len(list) > 0 {
		t.Errorf("want no task with %q, have\n%s", part, list)
	}
}

func expect(t *testing.T, got plan, want string) {
	t.Helper()
	var lines []string
	for _, l := range strings.Split(want, "\n") {
		if l = strings.TrimSpace(l); l != "" {
			lines = append(lines, l)
		}
	}
	if g := got.String(); g != strings.Join(lines, "\n") {
		t.Errorf("got\n%s\nwant\n%s", g, strings.Join(lines, "\n"))
	}
}

// routine returns a keeper's routine "r" of a kind, for E07 or its animals.
func routine(k husbandry.Kind, c husbandry.Cadence, m husbandry.Missed, slack ...husbandry.Days) husbandry.Routine {
	r := husbandry.Routine{ID: "r", Kind: k, Scope: k.Scope(), Cadence: c, Missed: m, Part: husbandry.Morning, Minutes: 5, Origin: husbandry.Keeper}
	if k.Scope() == husbandry.OfEnclosure {
		r.For.Enclosures = []husbandry.ID{"E07"}
	}
	if k.Scope() == husbandry.OfAnimal {
		r.For.Animals = []husbandry.ID{"F03"}
	}
	if len(slack) > 0 {
		r.After = slack[0]
	}
	if len(slack) > 1 {
		r.Before = slack[1]
	}
	return r
}

func fixed(n husbandry.Days, from string) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Fixed, Every: n, From: day(from)}
}

func sinceLast(n husbandry.Days) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.SinceLast, Every: n}
}

func after(e husbandry.Event, n husbandry.Days) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Anchored, Event: e, Offset: n}
}

func within(w husbandry.WindowName, n husbandry.Days) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Windowed, Window: w, Every: n}
}
