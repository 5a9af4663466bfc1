package workload_test

import (
	"fmt"
	"math/rand/v2"
	files "nestround/config/books"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler"
	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

// keeper is somebody who lives by the plan.
type keeper struct {
	records *husbandry.Records
	entries []tasks.Entry
	on      civil.Date
	wishes  workload.Wishes
}

func newKeeper(enclosures int, wishes workload.Wishes) *keeper {
	c := sample.Make(enclosures, 1, 7)
	c.Records.Called = files.Called()
	c.Records.Routines = append(c.Records.Routines, husbandry.Routine{
		ID: "thermostats", Kind: husbandry.Own, Scope: husbandry.OfRoom, Title: "Check the thermostats", Part: husbandry.Morning,
		Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Sunday, time.Wednesday}}, Before: 1, After: 1, Minutes: 15, Missed: husbandry.Stays,
	})
	return &keeper{c.Records, c.Entries, c.On, wishes}
}

func (k *keeper) input(h *tasks.History, ahead int) scheduler.Input {
	return scheduler.Input{Records: k.records, History: h, On: k.on, To: k.on.AddDays(ahead)}
}

// morning is the plan before anything is done, and evening the plan after what
// was done that day.
func (k *keeper) morning(ahead int) []tasks.Task {
	h := tasks.Fold(k.entries)
	return workload.NewPlanner(k.input(h, 0), k.wishes).Plan(k.input(h.Before(k.on), ahead))
}

func (k *keeper) evening(ahead int) []tasks.Task {
	h := tasks.Fold(k.entries)
	return workload.NewPlanner(k.input(h, 0), k.wishes).Plan(k.input(h.Before(k.on.AddDays(1)), ahead))
}

// do marks what is open, but for what the keeper leaves.
func (k *keeper) do(list []tasks.Task, leaves func(tasks.Task) bool) {
	var acts []tasks.Act
	for _, x := range list {
		if (x.Status == tasks.Due || x.Status == tasks.Overdue) && !leaves(x) {
			acts = append(acts, tasks.Act{Text: string(x.Key), Task: x.Key, Mark: tasks.MarkDone})
		}
	}
	if len(acts) > 0 {
		k.entries = append(k.entries, tasks.Entry{ID: "on " + k.on.String(), At: k.on.At(20*60, time.UTC), On: k.on, Via: tasks.ViaShell, Acts: acts})
	}
}

func nothing(tasks.Task) bool { return false }

// live passes some days.
func (k *keeper) live(days int) {
	for range days {
		k.do(k.morning(0), nothing)
		k.on = k.on.AddDays(1)
	}
}

// A planner made with Since plans as one that was made from nothing, for days
// before and after the day that something was said for.
func TestSincePlansAsANewPlanner(t *testing.T) {
	k := newKeeper(3, workload.Wishes{Settled: 3, DaysOff: []time.Weekday{time.Sunday}})
	p := workload.NewPlanner(k.input(tasks.Fold(k.entries), 0), k.wishes)
	rng := rand.New(rand.NewPCG(4, 2))
	for range 30 {
		k.do(k.morning(0), func(tasks.Task) bool { return rng.IntN(3) == 0 })
		h := tasks.Fold(k.entries)
		p = p.Since(k.input(h, 0), k.on)
		fresh := workload.NewPlanner(k.input(h, 0), k.wishes)
		for _, on := range []civil.Date{k.on.AddDays(-10), k.on, k.on.AddDays(20)} {
			in := k.input(h.Before(on.AddDays(1)), 0)
			in.On, in.To = on, on.AddDays(30)
			if got, want := p.Plan(in), fresh.Plan(in); !reflect.DeepEqual(got, want) {
				t.Fatalf("said on %s, planned on %s: %d tasks, or others than the %d of a new planner", k.on, on, len(got), len(want))
			}
		}
		k.on = k.on.AddDays(1)
	}
}

// One planner answers many at once as it answers one after the other.
func TestAPlannerMayBeAskedByMany(t *testing.T) {
	t.Parallel()
	k := newKeeper(2, workload.Wishes{Settled: 3})
	k.live(3)
	h := tasks.Fold(k.entries)
	shared := workload.NewPlanner(k.input(h, 0), k.wishes)
	ask := func(p *workload.Planner, back int) []tasks.Task {
		in := k.input(h, 0)
		in.On = k.on.AddDays(-back)
		in.To, in.History = in.On.AddDays(20), h.Before(in.On)
		return p.Plan(in)
	}
	var wg sync.WaitGroup
	for i := range 6 {
		wg.Go(func() {
			want := ask(workload.NewPlanner(k.input(h, 0), k.wishes), 5*i)
			if got := ask(shared, 5*i); !reflect.DeepEqual(got, want) {
				t.Errorf("%d days ago: another plan than alone", 5*i)
			}
		})
	}
	wg.Wait()
}

// announced is the days of the tasks that move, as far as they are settled.
func announced(p []tasks.Task, from, to civil.Date) map[string]bool {
	m := make(map[string]bool)
	for _, x := range p {
		if x.Moves != tasks.Never && !x.Due.Before(from) && !x.Due.After(to) {
			m[fmt.Sprintf("%s %s on %s", x.Subject, x.Routine, x.Due)] = true
		}
	}
	return m
}

// A keeper who does all that is asked finds, every day of five weeks, what was
// announced: neither more nor less on any settled day, on any settings. Plans
// are made for fortnights, so that five weeks have two changes of plan.
func TestWhatWasAnnouncedStays(t *testing.T) {
	sunday := []time.Weekday{time.Sunday}
	for _, w := range []workload.Wishes{{Settled: 3}, {Settled: 3, DaysOff: sunday}, {Settled: 7, DaysOff: sunday, Minutes: 60}, {Settled: 1}, {Settled: 0}} {
		t.Run(fmt.Sprintf("settled=%d,off=%d,minutes=%d", w.Settled, len(w.DaysOff), w.Minutes), func(t *testing.T) {
			t.Parallel()
			k := newKeeper(3, w)
			total := 0
			today := k.morning(w.Settled)
			for range 35 {
				k.do(today, nothing)
				last := k.on.AddDays(w.Settled)
				said := announced(k.evening(w.Settled), k.on.AddDays(1), last)
				k.on = k.on.AddDays(1)
				today = k.morning(w.Settled)
				found := announced(today, k.on, last)
				for x := range said {
					if !found[x] {
						t.Errorf("%s was announced and is not there on %s", x, k.on)
					}
				}
				for x := range found {
					if !said[x] {
						t.Errorf("%s is there on %s and was not announced", x, k.on)
					}
				}
				total += len(said)
			}
			if w.Settled > 0 && total < 60 {
				t.Errorf("only %d tasks were announced in five weeks", total)
			}
		})
	}
}

// Somebody who leaves a fifth undone finds all else where it was announced.
func TestWhatIsLeftUndoneMovesNothingElse(t *testing.T) {
	t.Parallel()
	k := newKeeper(3, workload.Wishes{Settled: 3})
	rnd := rand.New(rand.NewPCG(1, 2))
	checked := 0
	today := k.morning(3)
	for range 28 {
		left := make(map[string]bool)
		k.do(today, func(x tasks.Task) bool {
			leave := rnd.IntN(5) == 0
			if leave {
				left[fmt.Sprint(x.Subject, " ", x.Routine)] = true
			}
			return leave
		})
		planned := k.evening(3)
		k.on = k.on.AddDays(1)
		today = k.morning(3)
		found := announced(today, k.on, k.on.AddDays(2))
		for _, x := range planned {
			if x.Moves == tasks.Never || x.Due.Before(k.on) || left[fmt.Sprint(x.Subject, " ", x.Routine)] {
				continue
			}
			checked++
			if what := fmt.Sprintf("%s %s on %s", x.Subject, x.Routine, x.Due); !found[what] {
				t.Errorf("%s was announced and is not there on %s", what, k.on)
			}
		}
	}
	if checked < 200 {
		t.Errorf("only %d tasks were looked at", checked)
	}
}

// Whatever is chosen, the tasks are those of the plan without choosing: what
// does not move is the same to the letter, and what moves is in its slack.
func TestOnlyTheDaysOfWhatMovesAreChosen(t *testing.T) {
	t.Parallel()
	moved := 0
	rapid.Check(t, func(t *rapid.T) {
		k := newKeeper(rapid.IntRange(1, 2).Draw(t, "enclosures"), workload.Wishes{Settled: rapid.IntRange(0, 9).Draw(t, "settled")})
		if rapid.Bool().Draw(t, "a day off") {
			k.wishes.DaysOff = []time.Weekday{time.Saturday}
		}
		k.on = k.on.AddDays(rapid.IntRange(-200, 0).Draw(t, "day"))
		h := tasks.Fold(k.entries)
		in := k.input(h.Before(k.on), rapid.IntRange(0, 40).Draw(t, "ahead"))
		p := workload.NewPlanner(k.input(h, 0), k.wishes)
		plain, chosen := scheduler.Plan(in), p.Plan(in)
		if again := p.Plan(in); !reflect.DeepEqual(again, chosen) {
			t.Fatal("asked twice, answered differently")
		}
		if again := workload.NewPlanner(k.input(h.Before(k.on), 0), k.wishes).Plan(in); !reflect.DeepEqual(again, chosen) {
			t.Fatal("what is done later is known before")
		}
		stays := func(p []tasks.Task) []tasks.Task {
			return slices.DeleteFunc(slices.Clone(p), func(x tasks.Task) bool { return x.Moves != tasks.Never })
		}
		if a, b := stays(plain), stays(chosen); !slices.EqualFunc(a, b, func(a, b tasks.Task) bool { return reflect.DeepEqual(a, b) }) {
			t.Fatal("a task that does not move is another than without choosing")
		}
		first := make(map[tasks.Key]tasks.Task)
		for _, x := range plain {
			first[x.Key] = x
		}
		for _, x := range chosen {
			if x.Due.Before(x.Earliest) || x.Due.After(x.Latest) || x.Due.After(in.To) {
				t.Fatalf("%s of %s to %s is on %s", x.Key, x.Earliest, x.Latest, x.Due)
			}
			own, ok := first[x.Key]
			if !ok || own.Due == x.Due {
				continue // it takes the place of one that was brought forward
			}
			if x.Status == tasks.Overdue {
				t.Fatalf("%s is overdue and moved from %s to %s", x.Key, own.Due, x.Due)
			}
			moved++
		}
		// Looking further changes nothing nearer.
		in.To = in.To.AddDays(rapid.IntRange(1, 40).Draw(t, "further"))
		further := slices.DeleteFunc(p.Plan(in), func(x tasks.Task) bool { return x.Due.After(in.To) })
		for i, x := range chosen {
			if !reflect.DeepEqual(x, further[i]) {
				t.Fatalf("looking further:\n%+v\nnearer:\n%+v", further[i], x)
			}
		}
	})
	if moved == 0 {
		t.Error("nothing was ever moved")
	}
}

// After some weeks by the plan the days are even, and Sundays have only what
// cannot be on another day.
func TestDaysAreEvenAfterSomeWeeks(t *testing.T) {
	t.Parallel()
	k := newKeeper(8, workload.Wishes{Settled: 3, DaysOff: []time.Weekday{time.Sunday}})
	k.live(21)
	in := k.input(tasks.Fold(k.entries), 14)
	before, after := coming(scheduler.Plan(in), in), coming(k.morning(14), in)
	before.Wishes, after.Wishes = k.wishes, k.wishes
	b, a := workload.Measure(before), workload.Measure(after)
	t.Logf("before: peak %d %v", b.Peak, b.Minutes)
	t.Logf("after: peak %d %v, bound %d, gap %.1f %%", a.Peak, a.Minutes, a.Bound, 100*a.Gap())
	if a.Peak > b.Peak || a.Gap() > 0.1 {
		t.Errorf("peak %d, before %d, gap %.2f", a.Peak, b.Peak, a.Gap())
	}
	off, all := 0, 0
	for _, x := range after.Tasks {
		if x.Moves != tasks.Never {
			all += x.Minutes
			if k.wishes.Off(x.Due) {
				off += x.Minutes
			}
		}
	}
	if off*50 > all {
		t.Errorf("%d of %d minutes of what moves are on Sundays", off, all)
	}
}

// What has slack beside the days away is done there, on a day that has room,
// and does not wait for the first day back.
func TestTheReturnIsNoHeavierThanItMustBe(t *testing.T) {
	t.Parallel()
	k := newKeeper(12, workload.Wishes{Settled: 3})
	k.live(14)
	away := husbandry.Away{From: k.on.AddDays(8), Until: k.on.AddDays(11), Cover: "Mara"}
	k.records.Away, k.wishes.Away = []husbandry.Away{away}, []husbandry.Away{away}
	in := k.input(tasks.Fold(k.entries).Before(k.on), 21)
	measure := func(p []tasks.Task) workload.Load {
		problem := coming(p, in)
		problem.Wishes = k.wishes
		return workload.Measure(problem)
	}
	plain, spread := measure(scheduler.Plan(in)), measure(k.morning(21))
	if spread.Peak > plain.Peak {
		t.Errorf("heaviest day %d min, without any spreading %d", spread.Peak, plain.Peak)
	}
	if spread.Gap() > .10 {
		t.Errorf("heaviest day %d min, and no spreading is below %d", spread.Peak, spread.Bound)
	}
	for _, x := range k.morning(21) {
		if x.Routine == "clean-deep" && strings.Contains(x.Why, "waits for your return") {
			t.Errorf("%s waits until %v, which could be done on any day of two weeks: %s", x.Key, x.Due, x.Why)
		}
	}
}
