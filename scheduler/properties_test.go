package scheduler_test

import (
	"cmp"
	"fmt"
	"maps"
	"math/rand/v2"
	files "nestround/config/books"
	"reflect"
	"regexp"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

// year is some weeks of a small colony. The keeper marks some of each day's
// tasks, in random ways.
type year struct {
	records *husbandry.Records
	entries []tasks.Entry
	on      civil.Date
}

func (y *year) input(ahead int) scheduler.Input {
	return scheduler.Input{Records: y.records, History: tasks.Fold(y.entries), On: y.on, To: y.on.AddDays(ahead), Latitude: 48}
}

func (y *year) plan(ahead int) []tasks.Task { return scheduler.Plan(y.input(ahead)) }

func (y *year) say(a tasks.Act) {
	n := len(y.entries)
	y.entries = append(y.entries, tasks.Entry{
		ID: fmt.Sprint("e", n), At: y.on.At(600, time.UTC).Add(time.Duration(n) * time.Second), On: y.on, Via: tasks.ViaShell, Acts: []tasks.Act{a},
	})
}

func anyYear(t *rapid.T) *year {
	c := sample.Make(rapid.IntRange(1, 3).Draw(t, "enclosures"), 1, rapid.Uint64Range(1, 1000).Draw(t, "seed"))
	c.Records.Called = files.Called()
	y := &year{records: c.Records, on: c.On.AddDays(rapid.IntRange(-120, 60).Draw(t, "first day"))}
	y.records.Began = y.on
	if rapid.Bool().Draw(t, "one young") {
		y.records.Animals[2].Hatched = y.on.AddDays(-rapid.IntRange(0, 130).Draw(t, "age"))
	}
	if rapid.Bool().Draw(t, "one left") {
		y.records.Animals[0].Left = y.on.AddDays(rapid.IntRange(0, 30).Draw(t, "left"))
	}
	if rapid.Bool().Draw(t, "live food") {
		for i := range y.records.Routines {
			if r := &y.records.Routines[i]; r.Kind == husbandry.Feed {
				r.Consumes, r.Amounts.Usual = []string{"crickets"}, husbandry.Amount{From: 5, To: 8}
			}
		}
		y.records.Feeders = []husbandry.Feeder{{
			ID: "crickets", Name: "crickets", Pack: husbandry.Pack{Name: "box", Of: rapid.IntRange(1, 100).Draw(t, "pack")}, Deliveries: []time.Weekday{time.Wednesday, time.Friday},
			Lead: husbandry.Days(rapid.IntRange(0, 9).Draw(t, "lead")), ShelfLife: husbandry.Days(rapid.IntRange(1, 30).Draw(t, "shelf life")), Safety: 2, Stock: 20, StockOn: y.on,
		}}
	}
	if rapid.Bool().Draw(t, "recorded clutch") {
		laid := y.on.AddDays(-rapid.IntRange(0, 60).Draw(t, "laid"))
		y.records.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F0001", Laid: laid, LaidFrom: laid.AddDays(-rapid.IntRange(0, 4).Draw(t, "unsure")), Eggs: rapid.IntRange(0, 5).Draw(t, "eggs"), Incubator: "I1"}}
	}
	y.records.Routines = append(y.records.Routines, raising()...)
	if rapid.Bool().Draw(t, "a group") {
		g := &y.records.Animals[2]
		g.Count, g.Sex, g.Hatched, g.Clutch = 4, husbandry.Unsexed, y.on.AddDays(-rapid.IntRange(0, 130).Draw(t, "age of the group")), "C1"
		one := husbandry.Animal{ID: "Y1", Species: g.Species, Sex: husbandry.Unsexed, Count: rapid.IntRange(1, 4).Draw(t, "taken out"), Enclosure: g.Enclosure,
			Hatched: g.Hatched, From: g.ID, Since: y.on.AddDays(rapid.IntRange(0, 20).Draw(t, "since"))}
		y.records.Animals = append(y.records.Animals, one)
	}
	if rapid.Bool().Draw(t, "in quarantine") {
		a := &y.records.Animals[1]
		a.Acquired, a.Quarantine = y.on.AddDays(-rapid.IntRange(0, 60).Draw(t, "came")), husbandry.Days(rapid.IntRange(20, 40).Draw(t, "apart"))
	}
	y.records.Permits = []husbandry.Permit{{ID: "L1", Words: "Permit", Expires: y.on.AddDays(rapid.IntRange(-10, 60).Draw(t, "expires")), Remind: 30}}
	for range rapid.IntRange(0, 12).Draw(t, "days") {
		p := slices.DeleteFunc(y.plan(2), func(x tasks.Task) bool { return x.Status == tasks.Lapsed })
		for range rapid.IntRange(0, 4).Draw(t, "marks") {
			if len(p) > 0 {
				y.say(anyAct(t, y, p[rapid.IntRange(0, len(p)-1).Draw(t, "task")]))
			}
		}
		y.on = y.on.AddDays(rapid.IntRange(1, 6).Draw(t, "step"))
	}
	return y
}

// raising returns routines for young, quarantine and papers, in the form of the
// common routines.
func raising() []husbandry.Routine {
	after := func(e husbandry.Event, n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.Anchored, Event: e, Offset: n}
	}
	list := []husbandry.Routine{
		{ID: "young-check", Kind: husbandry.YoungCheck, Cadence: husbandry.Cadence{Pattern: husbandry.Windowed, Window: husbandry.YoungWindow, Every: 1}, Missed: husbandry.Lapses},
		{ID: "first-shed", Kind: husbandry.Shed, Cadence: after(husbandry.EventHatched, 5), After: 7},
		{ID: "label-own", Kind: husbandry.Label, Cadence: after(husbandry.EventSeparated, 0)},
		{ID: "separate", Kind: husbandry.Separate, Cadence: after(husbandry.EventHatched, 60), After: 14},
		{ID: "place", Kind: husbandry.Place, Cadence: after(husbandry.EventHatched, 50), After: 28},
		{ID: "faecal-stock", Kind: husbandry.Faecal, Scope: husbandry.OfEnclosure, Cadence: husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 20}},
		{ID: "q-begin", Kind: husbandry.Quarantine, Cadence: after(husbandry.EventQuarantine, 0)},
		{ID: "q-1", Kind: husbandry.Faecal, Scope: husbandry.OfAnimal, Cadence: after(husbandry.EventQuarantine, 5)},
		{ID: "q-2", Kind: husbandry.Faecal, Scope: husbandry.OfAnimal, Cadence: after(husbandry.EventQuarantine, 20)},
		{ID: "q-end", Kind: husbandry.Release, Cadence: after(husbandry.EventQuarantine, 90)},
		{ID: "papers", Kind: husbandry.Papers, Cadence: after(husbandry.EventExpiry, 0)},
	}
	for i := range list {
		r := &list[i]
		r.Part, r.Minutes, r.Origin = husbandry.Morning, 3, husbandry.Common
		r.Scope, r.Missed = cmp.Or(r.Scope, r.Kind.Scope()), cmp.Or(r.Missed, husbandry.Stays)
	}
	return list
}

func anyAct(t *rapid.T, y *year, x tasks.Task) tasks.Act {
	a := tasks.Act{Task: x.Key, Text: fmt.Sprint("said ", len(y.entries)), Mark: rapid.SampledFrom([]tasks.Verb{tasks.MarkDone, tasks.MarkDone, tasks.MarkDone, tasks.Skip, tasks.PutOff, tasks.Undo}).Draw(t, "mark")}
	if a.Mark == tasks.PutOff {
		a.Until = y.on.AddDays(rapid.IntRange(1, 9).Draw(t, "until"))
	}
	if a.Mark != tasks.MarkDone || !rapid.Bool().Draw(t, "with a finding") {
		return a
	}
	n := rapid.IntRange(-1, 5).Draw(t, "number")
	yes := n > 0
	g := husbandry.Grams(20 + 5*n)
	switch f := (&tasks.Finding{}); {
	case slices.Contains(x.Asks, husbandry.FindLaid):
		f.Laid = &n
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindHatched):
		if n = max(0, n); n > 0 {
			f.Hatched = &n
			a.Finding = f
		}
	case slices.Contains(x.Asks, husbandry.FindWeighs):
		f.Weighs = &g
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindSexed):
		f.Sexed = &tasks.Sexed{Males: max(0, n), Unsure: max(0, 2-n)}
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindIll):
		f.Ill, f.Note = true, "done 1"
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindGravid):
		f.Gravid = &yes
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindMated):
		f.Mated = true
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindOrdered):
		n = max(1, n)
		f.Ordered = &n
		a.Finding = f
	case slices.Contains(x.Asks, husbandry.FindRefused):
		f.Refused = true
		a.Finding = f
	}
	return a
}

// command matches the beginning of a line of a reply.
var command = regexp.MustCompile(`(?i)^\W*(\d|done\b|all\b|skip|later\b|note\b|undo\b|laid\b|hatched\b|weighs\b|added\b|refused\b|male\b|female\b|unsure\b|sexed\b|uvi\b|ill\b)`)

func TestPropertiesOfPlans(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		h := tasks.Fold(y.entries)
		p := y.plan(40)
		seen := make(map[tasks.Key]bool)
		for i, x := range p {
			if seen[x.Key] {
				t.Fatalf("two tasks with the key %s", x.Key)
			}
			seen[x.Key] = true
			if x.Why == "" || x.Title == "" || x.Do == "" || (x.Whom == "") != (x.Scope == husbandry.OfKeeper && x.Kind != husbandry.Papers) {
				t.Fatalf("words missing: %+v", x)
			}
			if command.MatchString(x.Why) || command.MatchString(x.Title) {
				t.Fatalf("reads like a command: %q, %q", x.Title, x.Why)
			}
			if x.Key.Subject() != x.Subject || x.Key.Routine() != x.Routine || x.Key.Occurrence() == "" {
				t.Fatalf("key %s of %s, %s", x.Key, x.Subject, x.Routine)
			}
			if x.Earliest.After(x.Due) || x.Latest.Before(x.Due) || x.Due.After(y.on.AddDays(40)) {
				t.Fatalf("%s: %s to %s, due %s", x.Key, x.Earliest, x.Latest, x.Due)
			}
			want := tasks.Upcoming
			switch {
			case x.Latest.Before(y.on):
				want = tasks.Overdue
			case !x.Due.After(y.on):
				want = tasks.Due
			}
			if x.Status != want && (x.Status != tasks.Lapsed || !x.Due.Before(y.on)) {
				t.Fatalf("%s due %s to %s is %s on %s", x.Key, x.Due, x.Latest, x.Status, y.on)
			}
			o := h.Outcome(x.Key)
			if o.Mark == tasks.MarkDone || o.Mark == tasks.Skip && !x.Pinned {
				t.Fatalf("%s was %s on %s", x.Key, o.Mark, o.On)
			}
			if w := x.Window; w != nil && o.Mark != tasks.PutOff && (x.Due.Before(w.From) || x.Due.After(w.To)) && (x.Missed != husbandry.Alarms || x.Due != y.on) {
				t.Fatalf("%s on %s is outside its window of %s to %s", x.Key, x.Due, w.From, w.To)
			}
			// A lamp may have aged before the books began.
			if x.Due.Before(y.records.Began) && x.Kind != husbandry.LampChange {
				t.Fatalf("%s was due %s, before the books began", x.Key, x.Due)
			}
			if i > 0 && (p[i-1].Due.After(x.Due) || p[i-1].Due == x.Due && tasks.Before(p[i-1], x) >= 0) {
				t.Fatalf("%s stands before %s", p[i-1].Key, x.Key)
			}
			for _, a := range y.records.Animals {
				if a.ID == x.Subject && !a.Left.IsZero() && !x.Due.Before(a.Left) {
					t.Fatalf("%s for one that left on %s", x.Key, a.Left)
				}
			}
		}
		for _, s := range outlook.Dated(scheduler.NewDay(y.input(120))) {
			if s.To.Before(s.From) || s.Title == "" || s.Why == "" || command.MatchString(s.Title) || command.MatchString(s.Why) {
				t.Fatalf("span %+v", s)
			}
		}
		for _, c := range outlook.ClutchForecasts(scheduler.NewDay(y.input(0))) {
			if c.Progress < 0 || c.Progress > 1 || c.ProbabilityToday < 0 || c.ProbabilityToday > 1 || c.Basis == "" || c.Cautions == nil {
				t.Fatalf("clutch %+v", c)
			}
		}
	})
}

func TestPlansAreDeterministic(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		want := y.plan(20)
		if got := y.plan(20); !reflect.DeepEqual(got, want) {
			t.Fatal("asked twice, answered differently")
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1))
		rng.Shuffle(len(y.entries), func(i, j int) { y.entries[i], y.entries[j] = y.entries[j], y.entries[i] })
		if got := y.plan(20); !reflect.DeepEqual(got, want) {
			t.Fatal("the order in which the entries came in matters")
		}
	})
}

// The outlines passed to the choice of days agree with the tasks of the plan.
func TestOutlinesAreTheTasksWithoutTheirWords(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		if rapid.Bool().Draw(t, "away") {
			from := y.on.AddDays(rapid.IntRange(-3, 12).Draw(t, "leaves"))
			y.records.Away = []husbandry.Away{{From: from, Until: from.AddDays(rapid.IntRange(0, 9).Draw(t, "for")), Cover: "Mara"}}
		}
		in := y.input(30)
		in.Spread = always(rapid.SampledFrom([]string{"", "early", "late"}).Draw(t, "spread"))
		count := func(list []scheduler.Outline) map[scheduler.Outline]int {
			m := make(map[scheduler.Outline]int)
			for _, o := range list {
				o.Date = civil.Date{} // tasks have no such field
				m[o]++
			}
			return m
		}
		var want []scheduler.Outline
		for _, x := range scheduler.Plan(in) {
			want = append(want, scheduler.Outline{Subject: x.Subject, Routine: x.Routine, Due: x.Due, Earliest: x.Earliest, Latest: x.Latest, Status: x.Status, Moves: x.Moves, Minutes: x.Minutes})
		}
		outlines := slices.Collect(scheduler.NewDay(in).Outlines)
		if got, want := count(outlines), count(want); !maps.Equal(got, want) {
			t.Fatalf("outlines %v\ntasks %v", got, want)
		}
		last := make(map[[2]husbandry.ID]civil.Date)
		for _, o := range outlines {
			if o.Moves == tasks.Never {
				continue
			}
			if of := [2]husbandry.ID{o.Subject, o.Routine}; o.Due.Before(last[of]) {
				t.Fatalf("%v on %s comes after one on %s", of, o.Due, last[of])
			} else {
				last[of] = o.Due
			}
			if (o.Moves == tasks.Alone) == o.Date.IsZero() {
				t.Fatalf("%+v", o)
			}
		}
	})
}

func TestPlanningFurtherAheadKeepsTheNearerTasks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		near := rapid.IntRange(0, 20).Draw(t, "near")
		want := y.plan(near)
		got := slices.DeleteFunc(y.plan(near+rapid.IntRange(1, 60).Draw(t, "further")), func(x tasks.Task) bool { return x.Due.After(y.on.AddDays(near)) })
		if len(got) != len(want) {
			t.Fatalf("near:\n%v\nand when looking further:\n%v", plan(want), plan(got))
		}
		for i := range got {
			if !reflect.DeepEqual(got[i], want[i]) {
				t.Fatalf("looking further:\n%+v\nnearer:\n%+v", got[i], want[i])
			}
		}
	})
}

func TestKeysDoNotDependOnTitles(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		keys := func() (list []tasks.Key) {
			for _, x := range y.plan(20) {
				list = append(list, x.Key)
			}
			slices.Sort(list)
			return list
		}
		want := keys()
		for i := range y.records.Routines {
			y.records.Routines[i].Title = rapid.SampledFrom([]string{"", "done 1", "7 laid 6", "Something else", "all"}).Draw(t, "title")
		}
		for i := range y.records.Animals {
			y.records.Animals[i].Name = "Renamed"
		}
		y.records.Rooms[0].Name = "Another room"
		for _, x := range y.plan(20) {
			if command.MatchString(x.Title) || command.MatchString(x.Do) {
				t.Fatalf("reads like a command: %q, %q", x.Title, x.Do)
			}
		}
		if got := keys(); !slices.Equal(got, want) {
			t.Fatalf("keys changed: %v, were %v", got, want)
		}
	})
}

func TestAMarkDoesNotChangeOtherSubjects(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		before := y.plan(20)
		var open []tasks.Task
		for _, x := range before {
			if x.Status == tasks.Due || x.Status == tasks.Overdue {
				open = append(open, x)
			}
		}
		if len(open) == 0 {
			return
		}
		marked := open[rapid.IntRange(0, len(open)-1).Draw(t, "task")]
		y.say(tasks.Act{Task: marked.Key, Mark: tasks.MarkDone})
		others := func(p []tasks.Task) (list []tasks.Task) {
			for _, x := range p {
				// The feedings of an enclosure decide whether its animals are
				// weighed after refusals.
				if x.Subject != marked.Subject && x.Scope != husbandry.OfKeeper && x.Scope != husbandry.OfFeeder && x.Routine != herd.WeighRefused {
					list = append(list, x)
				}
			}
			return list
		}
		want, got := others(before), others(y.plan(20))
		for i := range max(len(want), len(got)) {
			if i >= len(want) || i >= len(got) || !reflect.DeepEqual(want[i], got[i]) {
				t.Fatalf("marking %s changed the tasks of others:\n%v\nwere\n%v", marked.Key, plan(got), plan(want))
			}
		}
		for _, x := range y.plan(0) {
			if x.Key == marked.Key {
				t.Fatalf("%s is still there", x.Key)
			}
		}
	})
}

func TestTasksPutOffComeBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		y := anyYear(t)
		patterns := make(map[husbandry.ID]husbandry.Pattern)
		for _, r := range y.records.Routines {
			patterns[r.ID] = r.Cadence.Pattern
		}
		var open []tasks.Task
		for _, x := range y.plan(0) {
			p := patterns[x.Routine]
			if (x.Status == tasks.Due || x.Status == tasks.Overdue) && !x.Pinned && p != husbandry.Windowed && p != husbandry.Riding {
				open = append(open, x)
			}
		}
		if len(open) == 0 {
			return
		}
		x := open[rapid.IntRange(0, len(open)-1).Draw(t, "task")]
		until := y.on.AddDays(rapid.IntRange(1, 5).Draw(t, "days"))
		for _, a := range y.records.Animals {
			// The tasks of an animal disappear if it leaves or reaches another
			// stage in the meantime.
			if !a.Left.IsZero() || y.on.Sub(a.Hatched) < 400 {
				return
			}
		}
		y.say(tasks.Act{Task: x.Key, Mark: tasks.PutOff, Until: until})
		for _, now := range y.plan(0) {
			if now.Key == x.Key {
				t.Fatalf("%s was put off to %s and is %s today", x.Key, until, now.Status)
			}
		}
		y.on = until
		for _, now := range y.plan(0) {
			if now.Key == x.Key && now.Due == until {
				return
			}
			// A task put off past the routine's next date is replaced by the
			// task of that date.
			if patterns[x.Routine] == husbandry.Fixed && now.Subject == x.Subject && now.Routine == x.Routine && now.Status != tasks.Lapsed {
				return
			}
			// After two weeks another routine feeds the herd.
			if x.Kind == husbandry.Feed && now.Kind == husbandry.Feed && now.Subject == x.Subject {
				return
			}
		}
		// A feeding for a temporary state may end with the state.
		if x.Kind == husbandry.Feed {
			return
		}
		t.Fatalf("%s, put off to %s, is gone:\n%v", x.Key, until, plan(y.plan(0)))
	})
}
