package scheduler_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// fedDaily returns the lizard room with a daily feeding and these supplements.
func fedDaily(supplements ...husbandry.Routine) *books {
	feed := routine(husbandry.Feed, fixed(1, "05-01"), husbandry.Lapses)
	feed.ID = "feed"
	return lizardRoom(append([]husbandry.Routine{feed}, supplements...)...)
}

func (b *books) fed(from, to string) *books {
	for d := day(from); !d.After(day(to)); d = d.AddDays(1) {
		b.done(d.String(), tasks.NewKey("E07", "feed", d.String()))
	}
	return b
}

func TestTheGapBetweenTwoDustings(t *testing.T) {
	d3 := dusting("d3", 3, 7)
	d3.Consumes = []string{"calcium powder with D3"}
	for _, c := range []struct {
		words, want, why string
		books            *books
	}{
		{"the share of feedings decides", "upcoming 05-13 E07/slow/2027-05-13", "With every 8th feeding; last dusted Wed 5 May",
			fedDaily(dusting("slow", 8, 7)).fed("05-01", "05-09").done("05-05", "E07/slow/2027-05-05")},
		{"the gap decides", "upcoming 05-12 E07/d3/2027-05-12", "At least 7 days between two; last dusted Wed 5 May",
			fedDaily(d3).fed("05-01", "05-09").done("05-05", "E07/d3/2027-05-05")},
		{"marked done on the 5th, and in another mail on the 8th", "upcoming 05-15 E07/d3/2027-05-15", "At least 7 days between two; last dusted Sat 8 May",
			fedDaily(d3).fed("05-01", "05-09").done("05-05", "E07/d3/2027-05-05").done("05-08", "E07/d3/2027-05-05")},
		{"marked done on the 8th, later corrected to the 5th", "upcoming 05-15 E07/d3/2027-05-15", "At least 7 days between two; last dusted Sat 8 May",
			fedDaily(d3).fed("05-01", "05-09").done("05-08", "E07/d3/2027-05-05").done("05-05", "E07/d3/2027-05-05")},
		{"taken back", "upcoming 05-11 E07/d3/2027-05-11", "At least 7 days between two; last dusted Tue 4 May",
			fedDaily(d3).fed("05-01", "05-09").done("05-04", "E07/d3/2027-05-04").done("05-08", "E07/d3/2027-05-08").undo("05-09", "E07/d3/2027-05-08")},
		{"taken back and done after all", "upcoming 05-13 E07/d3/2027-05-13", "At least 7 days between two; last dusted Thu 6 May",
			fedDaily(d3).fed("05-01", "05-09").done("05-05", "E07/d3/2027-05-05").undo("05-06", "E07/d3/2027-05-05").done("05-06", "E07/d3/2027-05-05")},
		{"another routine gave the same substance", "upcoming 05-15 E07/d3/2027-05-15", "At least 7 days after vitamin D3, last given Sat 8 May", func() *books {
			old := dusting("old-d3", 5, 7)
			old.Origin = husbandry.Sheet // the keeper's routine replaces it
			return fedDaily(d3, old).fed("05-01", "05-09").done("05-08", "E07/old-d3/2027-05-08")
		}()},
		{"a multivitamin with D3", "upcoming 05-15 E07/d3/2027-05-15", "At least 7 days after vitamin D3, last given Sat 8 May", func() *books {
			multi := dusting("multi", 40, 14)
			multi.Consumes = []string{"multivitamin with D3"}
			return fedDaily(d3, multi).fed("05-01", "05-09").done("05-08", "E07/multi/2027-05-08")
		}()},
		{"an animal that moved in keeps its gap", "upcoming 05-15 E07/d3/2027-05-15", "At least 7 days after vitamin D3, last given Sat 8 May in E08", func() *books {
			b := fedDaily(d3).fed("05-01", "05-09").done("05-01", "E07/d3/2027-05-01").done("05-08", "E08/d3/2027-05-08")
			b.animal("F03").Was = []husbandry.Home{{Enclosure: "E08", Until: day("05-08")}}
			return b
		}()},
		{"a supplement in its former enclosure after it moved does not count", "upcoming 05-12 E07/d3/2027-05-12", "At least 7 days between two; last dusted Wed 5 May", func() *books {
			b := fedDaily(d3).fed("05-01", "05-09").done("05-05", "E07/d3/2027-05-05").done("05-08", "E08/d3/2027-05-08")
			b.animal("F03").Was = []husbandry.Home{{Enclosure: "E08", Until: day("05-07")}}
			return b
		}()},
		{"dusted the evening before", "upcoming 05-13 E07/early/2027-05-14", "At least 7 days between two; last dusted Thu 6 May, for the feeding of Fri 14 May", func() *books {
			early := d3
			early.ID, early.Cadence.Lead = "early", 1
			return fedDaily(early).fed("05-01", "05-09").done("05-06", "E07/early/2027-05-07")
		}()},
	} {
		p := c.books.plan("05-10", 6).of("E07/")
		for _, t := range []string{"feed", "old-d3", "multi"} {
			p = slicesWithout(p, "/"+t+"/")
		}
		if len(p) == 0 || fmt.Sprint(p[:1]) != c.want || p[0].Why != c.why {
			t.Errorf("%s:\n%v\nwant %s", c.words, p, c.want)
			for _, x := range p {
				t.Logf("%s", x.Why)
			}
		}
	}
}

func slicesWithout(p plan, part string) (rest plan) {
	for _, x := range p {
		if !strings.Contains(string(x.Key), part) {
			rest = append(rest, x)
		}
	}
	return rest
}

func TestSlackNeverShortensTheGap(t *testing.T) {
	d3 := dusting("d3", 1, 7)
	d3.Before = 3
	b := fedDaily(d3).fed("05-01", "05-09").done("05-05", "E07/d3/2027-05-05")
	x := b.plan("05-10", 14).of("d3")
	if x[0].Due != day("05-12") || x[0].Earliest != day("05-12") || x[1].Earliest != day("05-19") {
		t.Errorf("%v from %s, %s", x, x[0].Earliest, x[1].Earliest)
	}
}

// For any marks in any order about any days: a supplement is never due sooner
// than its gap after a recorded one with the same substance. Nor are two
// planned ones nearer than the gap.
func TestNoReplyShortensTheGapBetweenDustings(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		supplement := func(id husbandry.ID, powder string) husbandry.Routine {
			r := dusting(id, rapid.IntRange(1, 6).Draw(t, "nth"), husbandry.Days(rapid.IntRange(1, 15).Draw(t, "gap")))
			r.Consumes = []string{powder}
			r.Cadence.Lead = husbandry.Days(rapid.IntRange(0, 2).Draw(t, "lead"))
			r.Before = husbandry.Days(rapid.IntRange(0, 3).Draw(t, "before"))
			r.After = husbandry.Days(rapid.IntRange(0, 2).Draw(t, "after"))
			r.Missed = rapid.SampledFrom([]husbandry.Missed{husbandry.Lapses, husbandry.Stays}).Draw(t, "missed")
			return r
		}
		d3, multi, plain := supplement("d3", "calcium with D3"), supplement("multi", "multivitamin"), supplement("plain", "calcium powder")
		other := supplement("other", rapid.SampledFrom([]string{"calcium with D3", "multivitamin with D3"}).Draw(t, "powder"))
		if rapid.Bool().Draw(t, "replaced") {
			other.Origin = husbandry.Sheet
		}
		feed := routine(husbandry.Feed, husbandry.Cadence{Pattern: husbandry.Fixed, Every: husbandry.Days(rapid.IntRange(1, 3).Draw(t, "every")), From: day("05-01")},
			rapid.SampledFrom([]husbandry.Missed{husbandry.Lapses, husbandry.Stays}).Draw(t, "feed missed"))
		if rapid.Bool().Draw(t, "since last") {
			feed.Cadence = sinceLast(2)
		}
		feed.ID = "feed"
		b := lizardRoom(feed, d3, multi, plain, other)
		on := day("05-01")
		gives := map[husbandry.ID]string{"d3": "d", "multi": "v", "plain": "", "other": "d"}
		if other.Consumes[0] == "multivitamin with D3" {
			gives["other"] = "dv"
		}
		gaps := map[husbandry.ID]int{}
		for _, r := range b.Routines {
			gaps[r.ID] = int(r.Cadence.MinGap)
		}
		// recorded has, for each task, the days on which it counts as done
		// after the latest marks.
		recorded := make(map[tasks.Key][]civil.Date)
		var keys []tasks.Key
		for range rapid.IntRange(1, 40).Draw(t, "sayings") {
			p := plan(scheduler.Plan(b.input(on.String(), 3)))
			for _, x := range p {
				if x.Scope == husbandry.OfEnclosure {
					keys = append(keys, x.Key)
				}
			}
			if len(keys) == 0 {
				on = on.AddDays(1)
				continue
			}
			// Mostly a task of today's round, sometimes any task of the past.
			key := keys[len(keys)-1-rapid.IntRange(0, min(len(keys)-1, 12)).Draw(t, "recent task")]
			if rapid.IntRange(0, 3).Draw(t, "any") == 0 {
				key = rapid.SampledFrom(keys).Draw(t, "task")
			}
			a := tasks.Act{Task: key, Mark: rapid.SampledFrom([]tasks.Verb{tasks.MarkDone, tasks.MarkDone, tasks.MarkDone, tasks.Undo, tasks.Skip, tasks.PutOff}).Draw(t, "mark")}
			for range rapid.IntRange(1, 2).Draw(t, "times") { // a repeated reply
				of := on.AddDays(-rapid.SampledFrom([]int{0, 0, 0, 1, 3, 9}).Draw(t, "days late"))
				if a.Mark == tasks.PutOff {
					a.Until = on.AddDays(rapid.IntRange(1, 5).Draw(t, "until"))
				}
				a.Text = fmt.Sprint(len(b.entries))
				b.entries = append(b.entries, tasks.Entry{
					ID: a.Text, At: on.At(600, time.UTC).Add(time.Duration(len(b.entries)) * time.Second), On: of, Via: tasks.ViaShell, Acts: []tasks.Act{a},
				})
				if a.Mark == tasks.MarkDone {
					recorded[key] = append(recorded[key], of)
				} else {
					delete(recorded, key)
				}
			}
			on = on.AddDays(rapid.SampledFrom([]int{0, 0, 1, 1, 2}).Draw(t, "step"))

			last := make(map[string]civil.Date)
			for _, x := range scheduler.Plan(b.input(on.String(), 30)) {
				if x.Kind != husbandry.Supplement || x.Status == tasks.Lapsed {
					continue
				}
				same := func(id husbandry.ID) bool { return id == x.Routine || strings.ContainsAny(gives[id], gives[x.Routine]) }
				for key, days := range recorded {
					if key.Subject() != x.Subject || !same(key.Routine()) {
						continue
					}
					for _, d := range days {
						if x.Earliest.Sub(d) < gaps[x.Routine] {
							t.Fatalf("%s from %s (%s), and %s was recorded for %s; gap %d", x.Key, x.Earliest, x.Why, key, d, gaps[x.Routine])
						}
					}
				}
				for id := range gaps {
					k := string(x.Subject) + string(id)
					if same(id) && !last[k].IsZero() && x.Due.Sub(last[k]) < gaps[x.Routine] {
						t.Fatalf("%s on %s, and %s planned for %s; gap %d", x.Key, x.Due, k, last[k], gaps[x.Routine])
					}
				}
				last[string(x.Subject)+string(x.Routine)] = x.Due
				if said := "At least "; strings.HasPrefix(x.Why, said) && !strings.HasPrefix(x.Why, said+fmt.Sprint(gaps[x.Routine])+" day") {
					t.Fatalf("%s: %q, gap %d", x.Key, x.Why, gaps[x.Routine])
				}
			}
		}
	})
}
