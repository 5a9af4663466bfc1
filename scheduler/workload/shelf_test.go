package workload_test

import (
	"crypto/sha256"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// board is a shelf in memory.
type board struct {
	kept  map[civil.Date]entry
	found int
}

type entry struct {
	key  [sha256.Size]byte
	days []byte
}

func (b *board) Load(monday civil.Date, key [sha256.Size]byte) ([]byte, bool) {
	e, ok := b.kept[monday]
	if ok = ok && e.key == key; ok {
		b.found++
	}
	return e.days, ok
}

func (b *board) Keep(monday civil.Date, key [sha256.Size]byte, days []byte) {
	b.kept[monday] = entry{key, days}
}

// With a shelf the plan is the same as without one, whatever was done, said
// late, taken back or edited since the shelf was filled, and in whatever state
// it is.
func TestAShelfChangesNothing(t *testing.T) {
	t.Parallel()
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		k := newKeeper(1, workload.Wishes{Settled: rapid.IntRange(0, 5).Draw(t, "settled")})
		b := &board{kept: make(map[civil.Date]entry)}
		edition, latitude := 0, 48.
		said := 0
		say := func(on civil.Date, minute civil.TimeOfDay, a tasks.Act) {
			said++
			a.Text = fmt.Sprint("said ", said)
			k.entries = append(k.entries, tasks.Entry{ID: fmt.Sprint("e", said), At: on.At(minute, time.UTC), On: on, Via: tasks.ViaShell, Acts: []tasks.Act{a}})
		}
		plan := func(shelf workload.Shelf) []tasks.Task {
			h := tasks.Fold(k.entries)
			in := k.input(h, 0)
			in.Latitude = latitude
			p := workload.NewPlanner(in, k.wishes)
			if shelf != nil {
				p.With(shelf, fmt.Sprint("edition ", edition))
			}
			in.History, in.To = h.Before(k.on.AddDays(1)), k.on.AddDays(10)
			return p.Plan(in)
		}
		for range rapid.IntRange(2, 5).Draw(t, "steps") {
			open := plan(nil)
			one := func() tasks.Task { return open[rapid.IntRange(0, len(open)-1).Draw(t, "task")] }
			switch rapid.SampledFrom([]string{"days pass", "done", "late", "undo", "wishes", "latitude", "records", "damage", "earlier day"}).Draw(t, "what") {
			case "days pass":
				k.on = k.on.AddDays(rapid.IntRange(1, 20).Draw(t, "days"))
			case "earlier day":
				k.on = k.on.AddDays(-rapid.IntRange(1, 20).Draw(t, "days"))
			case "done":
				say(k.on, 600, tasks.Act{Task: one().Key, Mark: tasks.MarkDone})
			case "late": // said today for a day before, and perhaps before what was said then
				on := k.on.AddDays(-rapid.IntRange(1, 25).Draw(t, "late"))
				said := rapid.SampledFrom([]civil.TimeOfDay{1, 1439}).Draw(t, "minute")
				say(on, said, tasks.Act{Task: one().Key, Mark: rapid.SampledFrom([]tasks.Verb{tasks.MarkDone, tasks.Skip}).Draw(t, "mark")})
			case "undo":
				last := k.entries[len(k.entries)-1]
				say(last.On, 1439, tasks.Act{Task: last.Acts[0].Task, Mark: tasks.Undo})
			case "wishes":
				switch rapid.IntRange(0, 3).Draw(t, "wish") {
				case 0:
					k.wishes.DaysOff = []time.Weekday{time.Weekday(rapid.IntRange(0, 6).Draw(t, "off"))}
				case 1:
					k.wishes.Minutes = rapid.IntRange(0, 60).Draw(t, "minutes")
				case 2:
					k.wishes.Settled = rapid.IntRange(0, 5).Draw(t, "settled")
				default:
					from := k.on.AddDays(rapid.IntRange(-5, 20).Draw(t, "leaves"))
					k.wishes.Away = []husbandry.Away{{From: from, Until: from.AddDays(rapid.IntRange(0, 6).Draw(t, "for"))}}
				}
			case "latitude":
				latitude = rapid.Float64Range(-50, 60).Draw(t, "latitude")
			case "records":
				edition++
				r := &k.records.Routines[rapid.IntRange(0, len(k.records.Routines)-1).Draw(t, "routine")]
				r.Minutes++
				r.After++
			case "damage":
				for monday, e := range b.kept {
					e.days = slices.Clone(e.days)
					if n := len(e.days); n > 0 {
						e.days = e.days[:rapid.IntRange(0, n-1).Draw(t, "left")]
					}
					b.kept[monday] = e
				}
			}
			if got, want := plan(b), plan(nil); !reflect.DeepEqual(got, want) {
				t.Fatalf("on %s another plan with the shelf:\n%v\nand without:\n%v", k.on, got, want)
			}
		}
		found += b.found
	})
	if found == 0 {
		t.Error("nothing was ever found on the shelf")
	}
}
