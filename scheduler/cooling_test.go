package scheduler_test

import (
	files "nestround/config/books"
	"slices"
	"strings"
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

// cooledCare is the usual winter of small lizards from cold climates (common
// practice): no food from 1 November, cooler from the 15th, cold from the 25th
// until 2 February, warm from the 13th, food from the 16th, pairing from the
// 27th.
var cooledCare = husbandry.CoolingCare{
	Usual: true, Start: husbandry.MonthDay{Month: time.November, Day: 1},
	Fast: 14, Down: husbandry.Ramp{Days: 10, Steps: []husbandry.Celsius{20, 15}},
	From: 5, To: 12, Lasts: 70, Weigh: 10, Water: "Fresh water stays within reach.",
	Up:        husbandry.Ramp{Days: 10, Steps: []husbandry.Celsius{15, 20}},
	FirstFeed: husbandry.Span{From: 3, To: 7}, Pair: husbandry.Span{From: 14, To: 42},
	WarnLoss: 0.05, StopLoss: 0.08,
}

// winterRoom returns the lizard room with cooled wall lizards and the routines
// of the samples.
func winterRoom() *books {
	b := withSample()
	b.Species[0].Cooling = cooledCare
	return b
}

const (
	fast = "E07/cooling-fast/wall-lizard-2027"
	step = "E07/cooling-step/wall-lizard-2027-"
	stop = "F03/cooling-stop/wall-lizard-2027"
)

func TestTheStepsOfAWinter(t *testing.T) {
	b := winterRoom()
	for _, c := range []struct {
		on, key string
		status  tasks.Status
		title   string
		why     string
	}{
		{on: "2027-10-18", key: "F03/cooling-check/wall-lizard-2027", status: tasks.Due, title: "Check the health before the cooling: Ada (F03, wall lizard, in E07)", why: "Without food from 1 November, cooled 15 November to 3 February 2028"},
		{on: "2027-10-31", key: "E07/cooling-last-food/wall-lizard-2027", status: tasks.Due, title: "Last food before the cooling: E07 (Ada and Bert, wall lizards)", why: "No food from Mon 1 November until 16 February 2028; water goes on"},
		{on: "2027-11-01", key: fast, status: tasks.Due, title: "Begin the fast before the cooling: E07", why: "Kept warm 14 days without food"},
		{on: "2027-11-06", key: fast, status: tasks.Overdue},
		{on: "2027-11-15", key: step + "down-1", status: tasks.Due, title: "Lower to 20 °C: E07", why: "Step 1 of 3; cold until 3 February 2028. Fresh water stays within reach"},
		{on: "2027-11-22", key: step + "down-2", status: tasks.Overdue, title: "Lower to 15 °C"},
		{on: "2027-11-25", key: step + "cold", status: tasks.Due, title: "Lower to 5-12 °C", why: "Step 3 of 3"},
		{on: "2028-02-03", key: step + "up-1", status: tasks.Due, title: "Raise to 15 °C", why: "Step 1 of 3 to the usual warmth of 13 February; food from Wed 16 February"},
		{on: "2028-02-13", key: step + "warm", status: tasks.Due, title: "Set back to the usual warmth", why: "food from Wed 16 February"},
		{on: "2028-02-16", key: "E07/cooling-first-food/wall-lizard-2027", status: tasks.Due, title: "First food after the cooling: E07", why: "Warm since 13 February by the plan, but nobody marked that the usual warmth was set"},
	} {
		t.Run(c.on+" "+c.key, func(t *testing.T) {
			x := b.plan(c.on, 0).one(t, c.key)
			if x.Status != c.status || !strings.HasPrefix(x.Title, c.title) || !strings.Contains(x.Why, c.why) || x.Caution == "" {
				t.Errorf("got %s, %q, %q, caution %q", x.Status, x.Title, x.Why, x.Caution)
			}
		})
	}
	t.Run("a missed step is replaced by the next", func(t *testing.T) {
		p := b.plan("2027-11-26", 0)
		p.none(t, step+"down")
		const not = "The step to 15 °C has no mark: if it was not taken, take that one now and this one after 5 days"
		if x := p.one(t, step+"cold"); !strings.Contains(x.Why, not) {
			t.Error(x.Why)
		}
		b := winterRoom().done("2027-11-20", step+"down-2")
		if x := b.plan("2027-11-26", 0).one(t, step+"cold"); strings.Contains(x.Why, "no mark") {
			t.Error(x.Why)
		}
		// At the end of the winter no animal is cooled again.
		if x := b.plan("2028-02-03", 0).one(t, step+"up-1"); strings.Contains(x.Why, "no mark") {
			t.Error(x.Why)
		}
	})
	t.Run("over an absence", func(t *testing.T) {
		b := winterRoom()
		b.Away = []husbandry.Away{{From: day("2027-11-14"), Until: day("2027-11-26"), Cover: "Mara"}}
		p := b.plan("2027-11-13", 20).of("E07/cooling-step")
		if len(p) != 1 || p[0].Key != step+"cold" || p[0].Due != day("2027-11-27") || p[0].Sitter {
			t.Errorf("%v", p)
		}
		if x := b.plan("2027-11-27", 0).one(t, step+"cold"); !strings.Contains(x.Why, "no mark") {
			t.Error(x.Why)
		}
	})
	t.Run("each enclosure has a step of its own", func(t *testing.T) { b.plan("2027-11-15", 0).one(t, "E08/cooling-step/wall-lizard-2027-down-1") })
	t.Run("no misting, handling or sampling in the cold", func(t *testing.T) {
		b := winterRoom()
		b.Routines = append(b.Routines,
			husbandry.Routine{ID: "mist", Kind: husbandry.Mist, Scope: husbandry.OfEnclosure, Cadence: husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 2}, Missed: husbandry.Lapses},
			husbandry.Routine{ID: "deep", Kind: husbandry.Clean, Scope: husbandry.OfEnclosure, Cadence: husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 20}, Missed: husbandry.Stays},
			husbandry.Routine{ID: "faecal", Kind: husbandry.Faecal, Scope: husbandry.OfEnclosure, Cadence: husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 20}, Missed: husbandry.Stays})
		for _, id := range []string{"mist", "deep", "faecal"} {
			rest, warm := "2027-11-15", "2028-02-13"
			if id == "faecal" {
				warm = "2028-02-17" // once it has been fed
			}
			if len(b.plan("2027-11-14", 0).of("E07/"+id)) == 0 {
				t.Error(id, "is not asked for in the warm fast")
			}
			b.plan(rest, 60).none(t, "E07/"+id)
			if x := b.plan(rest, 100).of("E07/" + id); len(x) == 0 || x[0].Due != day(warm) {
				t.Errorf("%s: after the winter %s, want %s first", id, x, warm)
			}
		}
		if x := b.plan("2027-11-15", 0).one(t, step+"down-1"); !strings.Contains(x.Why, "No misting, cleaning or faecal test until it is warm again") {
			t.Error(x.Why)
		}
		// An animal that stays warm in the same enclosure keeps its usual
		// tasks.
		b.animal("M01").Acquired = day("2027-10-01")
		if len(b.plan("2027-12-01", 2).of("E07/mist")) == 0 {
			t.Error("no misting of one that is not cooled")
		}
	})
	t.Run("in Fahrenheit", func(t *testing.T) {
		b := winterRoom()
		b.Units = husbandry.US
		if x := b.plan("2027-11-25", 0).one(t, step+"cold"); !strings.HasPrefix(x.Title, "Lower to 41-53.6 °F") {
			t.Error(x.Title)
		}
	})
	t.Run("no cooling task after the winter", func(t *testing.T) { b.plan("2028-03-20", 0).none(t, "cooling") })
	t.Run("no cooling task in a winter that began before the books", func(t *testing.T) {
		b := winterRoom()
		b.Began = day("2027-12-01")
		p := b.plan("2027-12-10", 3)
		p.none(t, "cooling")
		if len(p.of("E07/wall-lizard.feed-adult")) == 0 {
			t.Error("not fed either")
		}
	})
	t.Run("cooling tasks in a winter with its date in the record", func(t *testing.T) {
		b := winterRoom()
		b.Began = day("2027-12-01")
		b.Coolings = []husbandry.Cooling{{ID: "W", Species: []husbandry.ID{"wall-lizard"}, Start: day("2027-11-01")}}
		b.plan("2027-12-10", 3).none(t, "feed")
	})
}

// The decision to cool an animal is made while the animal is warm. Later
// changes never bring food to an animal in the cold, and never cool an animal
// that was fed.
func TestTheDecisionToCoolIsMadeInTheWarmth(t *testing.T) {
	ill := func(on string) func(*books) {
		return func(b *books) { b.found(on, tasks.NewKey("F04", "found", on), tasks.Finding{Ill: true}) }
	}
	reviewed := func(noted, on string) func(*books) {
		return func(b *books) { b.done(on, tasks.NewKey("F04", herd.ReviewIll, noted)) }
	}
	apart := func(released string) func(*books) {
		return func(b *books) {
			r := routine(husbandry.Release, after(husbandry.EventQuarantine, 0), husbandry.Stays)
			r.ID, r.For.Animals = "release", nil
			b.Routines = append(b.Routines, r)
			a := b.animal("F04")
			a.Acquired, a.Quarantine = day("2027-07-01"), 90
			if released != "" {
				b.done(released, "F04/release/quarantine-2027-07-01")
			}
		}
	}
	for _, c := range []struct {
		words string
		tell  []func(*books)
		on    string
		fed   bool
		stop  string // of the alarm to end the cooling
	}{
		{words: "ill in the cold", tell: []func(*books){ill("2027-12-19")}, on: "2027-12-22", stop: "Noted as ill on 19 December, in the cold. Warm it up over 10 days from today and see the veterinarian"},
		{words: "ill in the cold, and reviewed", tell: []func(*books){ill("2027-12-19"), reviewed("2027-12-19", "2027-12-21")}, on: "2027-12-22"},
		{words: "an animal of the enclosure ill in the cold", tell: []func(*books){func(b *books) {
			b.found("2027-12-19", "E08/found/2027-12-19", tasks.Finding{Ill: true})
		}}, on: "2027-12-22", stop: "Noted as ill"},
		{words: "ill before the fast", tell: []func(*books){ill("2027-10-25")}, on: "2027-11-20", fed: true},
		{words: "ill before the fast, and reviewed before it", tell: []func(*books){ill("2027-10-25"), reviewed("2027-10-25", "2027-10-30")}, on: "2027-11-20"},
		{words: "ill before the fast, and reviewed when the others are cold", tell: []func(*books){ill("2027-10-25"), reviewed("2027-10-25", "2027-12-01")}, on: "2027-12-22", fed: true},
		{words: "ill before the fast, and not reviewed for months", tell: []func(*books){ill("2027-10-25")}, on: "2028-01-10", fed: true},
		{words: "ill in the fast, which is warm", tell: []func(*books){ill("2027-11-05")}, on: "2027-11-06", fed: true},
		{words: "ill in the fast, which is warm, and reviewed", tell: []func(*books){ill("2027-11-05"), reviewed("2027-11-05", "2027-11-20")}, on: "2027-12-22", fed: true},
		{words: "in quarantine", tell: []func(*books){apart("")}, on: "2027-11-20", fed: true},
		{words: "released before the fast", tell: []func(*books){apart("2027-10-30")}, on: "2027-11-20"},
		{words: "released when the others are cold", tell: []func(*books){apart("2027-11-19")}, on: "2027-11-20", fed: true},
		{words: "the fast skipped too late", tell: []func(*books){func(b *books) { b.skip("2027-11-20", "E08/cooling-fast/wall-lizard-2027") }}, on: "2027-11-22"},
		{words: "the fast put off too late", tell: []func(*books){func(b *books) { b.later("2027-11-20", "E08/cooling-fast/wall-lizard-2027", "2027-12-20") }}, on: "2027-11-22"},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := winterRoom()
			for _, tell := range c.tell {
				tell(b)
			}
			p := b.plan(c.on, 2)
			if fed := len(p.of("E08/wall-lizard.feed")) > 0; fed != c.fed {
				t.Errorf("fed %v\n%s", fed, p.of("E08"))
			}
			if cold := len(p.of("E08/cooling-step")) > 0; cold == c.fed {
				t.Errorf("steps of the cold %v\n%s", cold, p.of("E08"))
			}
			if c.stop == "" {
				p.none(t, "F04/cooling-stop")
			} else if x := p.one(t, "F04/cooling-stop"); !strings.HasPrefix(x.Why, c.stop) || !x.Pinned {
				t.Errorf("pinned %v, why %q", x.Pinned, x.Why)
			}
		})
	}
}

func TestNoFoodDuringTheFast(t *testing.T) {
	b := winterRoom()
	fed := func(on string) bool {
		p := b.plan(on, 1)
		return len(p.of("E07/wall-lizard.feed")) > 0
	}
	for _, c := range []struct {
		on   string
		want bool
	}{{"2027-10-30", true}, {"2027-11-01", false}, {"2027-11-14", false}, {"2027-12-24", false}, {"2028-02-14", false}, {"2028-02-17", true}} {
		if fed(c.on) != c.want {
			t.Errorf("%s: fed %v", c.on, !c.want)
		}
	}
	t.Run("no supplements, and no gut-loading once no animal eats", func(t *testing.T) {
		p := b.plan("2027-11-03", 30)
		p.none(t, "calcium")
		p.none(t, "gut-load")
	})
	t.Run("gut-loading begins before the feeding", func(t *testing.T) {
		x := b.plan("2028-02-10", 30).of("gut-load")
		if len(x) == 0 || x[0].Due != day("2028-02-14") || x[0].Why != "For 2 feedings on Wed 16 February" {
			t.Errorf("got\n%s", x)
		}
	})
	t.Run("water goes on, and says why there is no food", func(t *testing.T) {
		if x := b.plan("2027-12-24", 0).one(t, "E07/water/2027-12-24"); !strings.HasSuffix(x.Why, "; no food until 16 February 2028 (winter, cold)") {
			t.Error(x.Why)
		}
	})
	t.Run("the winter is a dated fact", func(t *testing.T) {
		var found []outlook.Span
		for _, s := range outlook.Dated(scheduler.NewDay(b.input("2027-10-20", 30))) {
			if s.Name == husbandry.CoolingWindow {
				found = append(found, s)
			}
		}
		if len(found) != 2 || found[0].Key != "E07/cooling/wall-lizard-2027" || found[0].From != day("2027-11-01") || found[0].To != day("2028-02-15") ||
			found[0].Title != "Winter cooling of E07 (Ada and Bert, wall lizards)" || !strings.Contains(found[0].Why, "5-12 °C from 25 November to 2 February 2028") {
			t.Errorf("got %+v", found)
		}
	})
	t.Run("in the warmth, the feeding task has no warning", func(t *testing.T) {
		b := winterRoom().done("2028-02-13", step+"warm")
		if x := b.plan("2028-02-16", 0).one(t, "E07/cooling-first-food"); x.Why != "Warm again since 13 February; the usual feeding goes on from tomorrow" {
			t.Error(x.Why)
		}
		if x := b.plan("2028-02-16", 0).one(t, "E07/water/2028-02-16"); strings.Contains(x.Why, "no food") {
			t.Error(x.Why)
		}
	})
	t.Run("the first food stays until it is offered", func(t *testing.T) {
		b.plan("2028-02-18", 0).one(t, "E07/cooling-first-food")
		fed := winterRoom().done("2028-02-18", "E07/wall-lizard.feed-adult/2028-02-18")
		fed.plan("2028-02-19", 0).none(t, "E07/cooling-first-food")
	})
}

func TestAnimalsThatAreNotCooled(t *testing.T) {
	refuse := func(b *books) {
		for _, on := range []string{"2027-10-20", "2027-10-22", "2027-10-24"} {
			b.found(on, tasks.NewKey("E07", "wall-lizard.feed-adult", on), tasks.Finding{Refused: true})
		}
	}
	for _, c := range []struct {
		words string
		tell  func(*books)
		on    string // 2027-10-20 unless said
		why   string // "" where she is cooled
	}{
		{words: "an adult is cooled"},
		{words: "young of the year", tell: func(b *books) { b.animal("F03").Hatched = day("2027-06-20") }, why: "Not cooled: not grown yet (subadult)"},
		{words: "grown, but in its first year", tell: func(b *books) {
			b.animal("F03").Hatched = day("2026-12-20")
			b.animal("F03").Stage = husbandry.Adult
		}, why: "in the first year (hatched 20 December 2026)"},
		{words: "acquired too recently", tell: func(b *books) { b.animal("F03").Acquired = day("2027-08-20") }, why: "here for less than 90 days (came 20 August)"},
		{words: "acquired 90 days ago: cooled", tell: func(b *books) { b.animal("F03").Acquired = day("2027-08-03") }},
		{words: "gravid", tell: func(b *books) { gravid(b, "2027-10-16", true) }, why: "carries eggs (seen 16 October)"},
		{words: "laid since: cooled", tell: func(b *books) { gravid(b, "2027-10-06", true); b.laid("2027-10-16", "F03/found/2027-10-16", 5) }},
		{words: "seen gravid in the fast", on: "2027-11-10", tell: func(b *books) { gravid(b, "2027-11-09", true) }, why: "carries eggs (seen 9 November)"},
		{words: "loses weight", tell: func(b *books) {
			b.weighs("2027-09-20", "F03/weigh/first", 8).weighs("2027-10-16", "F03/weigh/after-2027-09-20", 7.5)
		}, why: "loses weight (7.5 g on 16 October, 8 g on 20 September)"},
		{words: "lost just 5 %: cooled", tell: func(b *books) {
			b.weighs("2027-09-20", "F03/weigh/first", 8).weighs("2027-10-16", "F03/weigh/after-2027-09-20", 7.6)
		}},
		{words: "lighter by the eggs laid: cooled", tell: func(b *books) {
			b.weighs("2027-09-20", "F03/weigh/first", 8).laid("2027-10-01", "F03/found/2027-10-01", 5).weighs("2027-10-16", "F03/weigh/after-2027-09-20", 6)
		}},
		{words: "under review", tell: func(b *books) {
			b.weighs("2027-08-01", "F03/weigh/first", 9).weighs("2027-10-16", "F03/weigh/after-2027-08-01", 8)
		}, why: "its health is under review (weighed 8 g on 16 October)"},
		{words: "reviewed: cooled", tell: func(b *books) {
			b.weighs("2027-08-01", "F03/weigh/first", 9).weighs("2027-10-16", "F03/weigh/after-2027-08-01", 8).done("2027-10-18", "F03/review-weight/2027-10-16")
		}},
		{words: "refuses", on: "2027-10-26", tell: refuse, why: "refused food 3 times in a row, last on 24 October"},
		{words: "ate since: cooled", on: "2027-10-28", tell: func(b *books) { refuse(b); b.done("2027-10-26", "E07/wall-lizard.feed-adult/2027-10-26") }},
		{words: "a reason found after the fast has begun does not cancel the winter", on: "2027-11-20", tell: func(b *books) {
			b.weighs("2027-10-20", "F03/weigh/first", 8).weighs("2027-11-08", "F03/weigh/after-2027-10-20", 7.5)
		}},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := winterRoom()
			if c.tell != nil {
				c.tell(b)
			}
			on := c.on
			if on == "" {
				on = "2027-10-20"
			}
			p := b.plan(on, 0)
			if c.why == "" {
				p.none(t, "F03/cooling-not")
				if day(on).Before(day("2027-11-15")) {
					p.one(t, "F03/cooling-check/wall-lizard-2027")
				}
				b.plan("2027-12-01", 3).none(t, "E07/wall-lizard.feed")
				return
			}
			p.none(t, "F03/cooling-check")
			x := p.one(t, "F03/cooling-not/wall-lizard-2027")
			if !strings.Contains(x.Why, c.why) || x.Do != "Keep warm and fed this winter" {
				t.Errorf("%q, %q", x.Do, x.Why)
			}
			// Said once.
			b.done(on, x.Key).plan(on, 60).none(t, "F03/cooling-not")
		})
	}
	t.Run("a warm animal beside a cooled one: the plan says so, and it is fed", func(t *testing.T) {
		b := winterRoom()
		b.animal("F03").Acquired = day("2027-08-20")
		if x := b.plan("2027-10-26", 0).one(t, "F03/cooling-not"); !strings.HasSuffix(x.Why, "; it shares E07 with Bert, so house it apart before 15 November") {
			t.Error(x.Why)
		}
		feedings := b.plan("2027-11-20", 2).of("E07/wall-lizard.feed-adult")
		if len(feedings) == 0 || !strings.HasSuffix(feedings[0].Why, "; no food for Bert until 16 February 2028 (winter, cooling down)") {
			t.Errorf("got\n%s", feedings)
		}
		if x := b.plan("2027-11-15", 0).one(t, step+"down-1"); !strings.HasSuffix(x.Why, ". Not cooled, so housed elsewhere first: Ada") {
			t.Error(x.Why)
		}
	})
	t.Run("no cooled animal in the enclosure: no cooling", func(t *testing.T) {
		b := winterRoom()
		b.animal("F03").Acquired, b.animal("M01").Acquired = day("2027-08-20"), day("2027-08-20")
		p := b.plan("2027-10-26", 150)
		p.none(t, "E07/cooling")
		p.one(t, "E08/cooling-fast")
	})
}

func gravid(b *books, on string, yes bool) {
	b.found(on, tasks.NewKey("F03", tasks.Unplanned, on), tasks.Finding{Gravid: &yes})
}

func TestWeighingsDuringTheCooling(t *testing.T) {
	weigh := tasks.Key("F03/cooling-weigh/wall-lizard-2027-")
	b := winterRoom()
	expect(t, b.plan("2027-11-13", 30).of("F03/cooling-weigh"), `
		upcoming 11-15 F03/cooling-weigh/wall-lizard-2027-start
		upcoming 11-25 F03/cooling-weigh/wall-lizard-2027-start+2
		upcoming 12-05 F03/cooling-weigh/wall-lizard-2027-start+3`)
	t.Run("instead of the usual weighing", func(t *testing.T) {
		b.plan("2027-11-16", 80).none(t, "F03/weigh/")
		if len(b.plan("2028-02-14", 60).of("F03/weigh/")) == 0 {
			t.Error("and never again")
		}
	})
	b = winterRoom().weighs("2027-11-15", weigh+"start", 8)
	t.Run("ten days after the last", func(t *testing.T) {
		x := b.plan("2027-11-25", 0).one(t, string(weigh)+"after-2027-11-15")
		if x.Status != tasks.Due || x.Why != "Every 10 days in the cold; last weighed Mon 15 November" || !slices.Equal(x.Asks, []husbandry.FindingName{husbandry.FindWeighs}) {
			t.Errorf("%s %q asks %v", x.Status, x.Why, x.Asks)
		}
	})
	t.Run("a loss below the limits changes nothing", func(t *testing.T) {
		b := winterRoom().weighs("2027-11-15", weigh+"start", 8).weighs("2027-11-25", weigh+"after-2027-11-15", 7.7)
		p := b.plan("2027-11-25", 12)
		p.none(t, "cooling-stop")
		if x := p.one(t, string(weigh)+"after-2027-11-25"); x.Due != day("2027-12-05") || !strings.HasSuffix(x.Why, ", 7.7 g, 8 g at the start") {
			t.Errorf("%s %q", x.Due, x.Why)
		}
	})
	t.Run("a loss beyond the warning limit brings the next weighing forward", func(t *testing.T) {
		b := winterRoom().weighs("2027-11-15", weigh+"start", 8).weighs("2027-11-25", weigh+"after-2027-11-15", 7.5)
		p := b.plan("2027-11-25", 12)
		p.none(t, "cooling-stop")
		x := p.of(string(weigh) + "after-2027-11-25")[0]
		if x.Due != day("2027-11-30") || !strings.Contains(x.Why, "6 % less, so sooner than usual (warning from 5 %, end of the cooling from 8 %)") || !strings.Contains(x.Caution, "borrowed from tortoises") {
			t.Errorf("%s %q %q", x.Due, x.Why, x.Caution)
		}
	})
	t.Run("put off, skipped, done without a weight", func(t *testing.T) {
		b := winterRoom().weighs("2027-11-15", weigh+"start", 8).later("2027-11-25", weigh+"after-2027-11-15", "2027-11-28")
		if x := b.plan("2027-11-26", 3).one(t, "F03/cooling-weigh"); x.Due != day("2027-11-28") {
			t.Error(x.Due)
		}
		b = winterRoom().weighs("2027-11-15", weigh+"start", 8).skip("2027-11-25", weigh+"after-2027-11-15")
		if x := b.plan("2027-11-26", 10).one(t, "F03/cooling-weigh"); x.Due != day("2027-12-05") {
			t.Error(x.Due)
		}
		b = winterRoom().done("2027-11-15", weigh+"start")
		if x := b.plan("2027-11-26", 3).one(t, "F03/cooling-weigh"); x.Due != day("2027-11-25") {
			t.Error(x.Due)
		}
	})
	t.Run("the mass of the health check counts as the first weighing", func(t *testing.T) {
		b := winterRoom().weighs("2027-10-20", "F03/cooling-check/wall-lizard-2027", 8).weighs("2027-12-01", "F03/found/2027-12-01", 7.2)
		b.plan("2027-12-01", 0).one(t, stop)
	})
}

func TestTooMuchWeightLostEndsTheCooling(t *testing.T) {
	weigh := tasks.Key("F03/cooling-weigh/wall-lizard-2027-")
	lost := func() *books {
		return winterRoom().weighs("2027-11-15", weigh+"start", 8).weighs("2027-12-05", weigh+"after-2027-11-15", 7.3)
	}
	x := lost().plan("2027-12-06", 0).one(t, stop)
	if !x.Pinned || x.Missed != husbandry.Alarms || x.Kind != husbandry.Review || x.Due != day("2027-12-05") ||
		!strings.HasPrefix(x.Title, "End the cooling and see the veterinarian: Ada") ||
		x.Why != "Weighed 7.3 g on 5 December, 8 g at the start (15 November): 9 % less, and 8 % ends the cooling. Warm it up over 10 days from today and see the veterinarian" ||
		!strings.Contains(x.Caution, "veterinarian") {
		t.Errorf("got %+v", x)
	}
	t.Run("the usual review is not asked for as well", func(t *testing.T) {
		b := winterRoom().weighs("2027-11-15", weigh+"start", 8).weighs("2027-12-05", weigh+"after-2027-11-15", 7)
		b.plan("2027-12-06", 0).none(t, "review-weight")
	})
	t.Run("the alarm stays if put off or skipped", func(t *testing.T) {
		lost().later("2027-12-06", stop, "2027-12-20").plan("2027-12-07", 0).one(t, stop)
		lost().skip("2027-12-06", stop).plan("2027-12-07", 0).one(t, stop)
	})
	t.Run("a later weight within the limits ends the alarm", func(t *testing.T) {
		lost().weighs("2027-12-07", "F03/found/2027-12-07", 7.8).plan("2027-12-08", 0).none(t, stop)
	})
	t.Run("after the mark done she is warmed up alone, and fed again", func(t *testing.T) {
		b := lost().done("2027-12-06", stop)
		p := b.plan("2027-12-06", 40)
		p.none(t, stop)
		expect(t, append(p.of("F03/cooling-step"), p.of("F03/cooling-first-food")...), `
			due 12-06 F03/cooling-step/wall-lizard-2027-up-1
			upcoming 12-11 F03/cooling-step/wall-lizard-2027-up-2
			upcoming 12-16 F03/cooling-step/wall-lizard-2027-warm
			upcoming 12-19 F03/cooling-first-food/wall-lizard-2027`)
		b.plan("2028-02-03", 0).one(t, step+"up-1") // Bert's
		feedings := b.plan("2027-12-20", 3).of("E07/wall-lizard.feed-adult")
		if len(feedings) == 0 || !strings.Contains(feedings[0].Why, "no food for Bert") {
			t.Errorf("got\n%s", feedings)
		}
		b.plan("2027-12-20", 30).none(t, "F03/cooling-weigh")
	})
	t.Run("eggs seen in her end the cooling, too", func(t *testing.T) {
		b := winterRoom()
		gravid(b, "2027-12-05", true)
		x := b.plan("2027-12-06", 0).one(t, stop)
		if !x.Pinned || !strings.HasPrefix(x.Why, "Eggs were seen in her on 5 December, and a gravid female is not cooled") {
			t.Error(x.Why)
		}
	})
	t.Run("while warming up already", func(t *testing.T) {
		b := winterRoom().weighs("2027-11-15", weigh+"start", 8).weighs("2028-02-05", "F03/found/2028-02-05", 7)
		if x := b.plan("2028-02-06", 0).one(t, stop); x.Do != "See the veterinarian after the cooling" {
			t.Error(x.Do)
		}
	})
}

func TestMovingOrSkippingAWinter(t *testing.T) {
	// The days of the first step down, of the last step up, and of the first
	// food.
	dates := func(b *books, on string) string {
		down, warm, food := civil.Date{}, civil.Date{}, civil.Date{}
		for _, x := range b.plan(on, 200) {
			switch {
			case x.Subject != "E07":
			case strings.HasSuffix(string(x.Key), "down-1"):
				down = x.Due
			case strings.HasSuffix(string(x.Key), "warm"):
				warm = x.Due
			case x.Routine == herd.CoolingFood:
				food = x.Due
			}
		}
		return down.String() + " " + warm.String() + " " + food.String()
	}
	cool := func(c husbandry.Cooling) func(*books) {
		if len(c.Animals)+len(c.Enclosures)+len(c.Rooms) == 0 {
			c.Species = []husbandry.ID{"wall-lizard"}
		}
		c.ID = "W"
		return func(b *books) { b.Coolings = append(b.Coolings, c) }
	}
	for _, c := range []struct {
		words, on, want string
		tell            func(*books)
	}{
		{"by the sheet", "2027-10-20", "2027-11-15 2028-02-13 2028-02-16", nil},
		{"the fast begun late", "2027-11-05", "2027-11-18 2028-02-16 2028-02-19", func(b *books) { b.done("2027-11-04", fast) }},
		{"the fast put off", "2027-11-02", "2027-11-22 2028-02-20 2028-02-23", func(b *books) { b.later("2027-11-01", fast, "2027-11-08") }},
		{"the fast skipped: no winter", "2027-11-02", "  ", func(b *books) { b.skip("2027-11-01", fast) }},
		{"the skipping undone: a winter", "2027-11-02", "2027-11-15 2028-02-13 2028-02-16", func(b *books) { b.skip("2027-11-01", fast).undo("2027-11-02", fast) }},
		{"warming begun late", "2028-02-06", " 2028-02-15 2028-02-18", func(b *books) { b.done("2028-02-05", step+"up-1") }},
		{"warming put off", "2028-02-04", " 2028-02-20 2028-02-23", func(b *books) { b.later("2028-02-03", step+"up-1", "2028-02-10") }},
		{"ended by the record", "2027-12-02", " 2027-12-14 2027-12-17", cool(husbandry.Cooling{Start: day("2027-11-01"), Ended: day("2027-12-04")})},
		{"a date of one winter", "2027-10-01", "2027-10-15 2028-01-13 2028-01-16", cool(husbandry.Cooling{Start: day("2027-10-01")})},
		{"a day of every year, indoors", "2027-07-01", "2027-07-15 2027-10-13 2027-10-16", cool(husbandry.Cooling{Every: husbandry.MonthDay{Month: time.July, Day: 1}})},
		{"fewer weeks", "2027-10-20", "2027-11-15 2028-01-02 2028-01-05", cool(husbandry.Cooling{Lasts: 28})},
		{"off", "2027-10-20", "  ", cool(husbandry.Cooling{Off: true})},
		{"off for one winter", "2027-10-20", "  ", cool(husbandry.Cooling{Off: true, Start: day("2027-11-01")})},
		{"off for one winter: on for the next", "2028-10-20", "2028-11-15 2029-02-13 2029-02-16", cool(husbandry.Cooling{Off: true, Start: day("2027-11-01")})},
		{"the enclosure's record overrides the species'", "2027-10-20", "2027-11-15 2028-01-02 2028-01-05", func(b *books) {
			cool(husbandry.Cooling{Off: true})(b)
			cool(husbandry.Cooling{Enclosures: []husbandry.ID{"E07"}, Lasts: 28})(b)
		}},
		{"off until turned on: nothing", "2027-10-20", "  ", func(b *books) { b.Species[0].Cooling.Usual = false }},
		{"off until turned on: by a record", "2027-10-20", "2027-11-15 2028-02-13 2028-02-16", func(b *books) {
			b.Species[0].Cooling.Usual = false
			cool(husbandry.Cooling{Enclosures: []husbandry.ID{"E07"}})(b)
		}},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := winterRoom()
			if c.tell != nil {
				c.tell(b)
			}
			if got := dates(b, c.on); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
	t.Run("the south has its winter half a year later", func(t *testing.T) {
		b := winterRoom()
		in := b.input("2028-05-01", 0)
		in.Latitude = -33.9
		plan(scheduler.Plan(in)).one(t, "E07/cooling-fast/wall-lizard-2028")
	})
	t.Run("a calendar of the keeper's own replaces all winters of the sheet", func(t *testing.T) {
		b := winterRoom()
		b.Coolings = []husbandry.Cooling{{ID: "W", Enclosures: []husbandry.ID{"E07", "E08"}, Every: husbandry.MonthDay{Month: time.July, Day: 1}}}
		for on := day("2027-06-01"); on.Before(day("2029-01-01")); on = on.AddDays(13) {
			for _, s := range outlook.Dated(scheduler.NewDay(b.input(on.String(), 400))) {
				if s.Name == husbandry.CoolingWindow && s.From.Month() != time.July {
					t.Fatalf("on %s: %s from %s", on, s.Key, s.From)
				}
			}
			p := b.plan(on.String(), 3)
			if on.Month() >= time.November {
				p.none(t, "cooling")
			}
		}
	})
	t.Run("a date of the keeper's own is not shifted in the south", func(t *testing.T) {
		b := winterRoom()
		cool(husbandry.Cooling{Every: husbandry.MonthDay{Month: time.November, Day: 1}})(b)
		in := b.input("2027-11-01", 0)
		in.Latitude = -33.9
		plan(scheduler.Plan(in)).one(t, "E07/cooling-fast/W-wall-lizard-2027")
	})
	t.Run("a cold room is one task", func(t *testing.T) {
		b := winterRoom()
		cool(husbandry.Cooling{Rooms: []husbandry.ID{"R1"}})(b)
		p := b.plan("2027-11-15", 0)
		x := p.one(t, "cooling-step")
		if x.Subject != "R1" || x.Title != "Lower to 20 °C: Lizard room" {
			t.Errorf("got %+v", x)
		}
		b.animal("F04").Acquired = day("2027-10-20")
		if x := b.plan("2027-11-15", 0).one(t, "R1/cooling-step"); !strings.HasSuffix(x.Why, "housed elsewhere first: Cleo") {
			t.Error(x.Why)
		}
		b.animal("F04").Acquired = civil.Date{}
		if n := len(b.plan("2028-02-16", 0).of("cooling-first-food")); n != 2 {
			t.Errorf("%d enclosures are fed, want 2", n)
		}
	})
}

func TestRefusalsBeforeTheFastDoNotCount(t *testing.T) {
	b := winterRoom()
	for _, on := range []string{"2027-10-27", "2027-10-29", "2027-10-31"} {
		b.found(on, tasks.NewKey("E08", "wall-lizard.feed-adult", on), tasks.Finding{Refused: true})
	}
	b.Coolings = []husbandry.Cooling{{ID: "W", Species: []husbandry.ID{"wall-lizard"}, Start: day("2027-10-30")}}
	// The fast began on the 30th, before the third refusal.
	b.plan("2027-11-01", 0).none(t, "weigh-refused")
	b.plan("2028-02-20", 0).none(t, "weigh-refused") // an old story by then
	b.Coolings[0].Start = day("2027-11-03")
	if x := b.plan("2027-11-02", 0).one(t, "F04/cooling-not"); !strings.Contains(x.Why, "refused food 3 times") {
		t.Error(x.Why)
	}
	b.plan("2027-11-02", 0).one(t, "F04/weigh-refused")
}

func TestPairingAfterTheWinter(t *testing.T) {
	window := func(b *books, on string) string {
		b.animal("F03").Enclosure = "E08"
		for _, s := range outlook.Dated(scheduler.NewDay(b.input(on, 400))) {
			if s.Name == husbandry.PairingWindow && s.Subject == "F03" {
				return s.From.String() + " " + s.To.String() + " " + s.Why
			}
		}
		return ""
	}
	for _, c := range []struct{ words, on, want string }{
		{"this year's season, before the winter to come", "2027-06-01", "2027-03-15 2027-06-30"},
		{"the next one opens two weeks after she is warm", "2027-07-01", "2028-02-27 2028-06-30 Pairing window 27 February 2028 to 30 June 2028: after the winter, warm again on 13 February"},
		{"in the winter", "2027-12-24", "2028-02-27 2028-06-30"},
		{"in it", "2028-05-01", "2028-02-27 2028-06-30"},
	} {
		if got := window(winterRoom(), c.on); !strings.HasPrefix(got, c.want) {
			t.Errorf("%s: %q, want %q", c.words, got, c.want)
		}
	}
	b := winterRoom()
	b.animal("F03").Acquired = day("2027-09-01")
	if got := window(b, "2027-12-24"); !strings.HasPrefix(got, "2028-03-15 2028-06-30") {
		t.Errorf("not cooled: %q, want the sheet's season", got)
	}
}

// A colony of cooled animals on any day of any two years. Some are young, some
// newly acquired, and the marks are random.
func TestPropertiesOfWinters(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := sample.Make(rapid.IntRange(1, 3).Draw(t, "enclosures"), 1, rapid.Uint64Range(1, 1000).Draw(t, "seed"))
		c.Records.Called = files.Called()
		y := &year{records: c.Records, on: day("2027-09-01").AddDays(rapid.IntRange(0, 250).Draw(t, "first day"))}
		y.records.Began = day("2027-08-01")
		for i := range y.records.Species {
			y.records.Species[i].Cooling = cooledCare
			y.records.Species[i].Cooling.Usual = rapid.Bool().Draw(t, "usual")
		}
		a := &y.records.Animals[rapid.IntRange(0, len(y.records.Animals)-1).Draw(t, "animal")]
		switch rapid.IntRange(0, 3).Draw(t, "trait") {
		case 0:
			a.Acquired = day("2027-09-01")
		case 1:
			a.Hatched = day("2027-06-01")
		case 2:
			y.records.Coolings = []husbandry.Cooling{{ID: "W", Enclosures: []husbandry.ID{a.Enclosure}, Start: y.on.AddDays(rapid.IntRange(-100, 40).Draw(t, "start")), Off: rapid.Bool().Draw(t, "off")}}
		}
		for range rapid.IntRange(0, 10).Draw(t, "days") {
			p := slices.DeleteFunc(y.plan(0), func(x tasks.Task) bool { return x.Status == tasks.Lapsed })
			winter := slices.DeleteFunc(slices.Clone(p), func(x tasks.Task) bool { return !strings.Contains(string(x.Key), "/cooling-") })
			for range rapid.IntRange(0, 3).Draw(t, "marks") {
				from := p
				if len(winter) > 0 && rapid.Bool().Draw(t, "of the winter") {
					from = winter
				}
				if len(from) > 0 {
					y.say(anyAct(t, y, from[rapid.IntRange(0, len(from)-1).Draw(t, "task")]))
				}
			}
			y.on = y.on.AddDays(rapid.IntRange(1, 15).Draw(t, "step"))
		}
		p := plan(y.plan(120))
		if again := plan(y.plan(120)); again.String() != p.String() {
			t.Fatal("asked twice, answered differently")
		}
		seen := make(map[tasks.Key]bool)
		for _, x := range p {
			if seen[x.Key] {
				t.Fatalf("two tasks with the key %s", x.Key)
			}
			seen[x.Key] = true
			if command.MatchString(x.Why) || command.MatchString(x.Title) || x.Why == "" || x.Title == "" || x.Due.Before(y.records.Began) && x.Kind != husbandry.LampChange {
				t.Fatalf("%s due %s: %q, %q", x.Key, x.Due, x.Title, x.Why)
			}
		}
		// No animal is fed during its fast, and every animal is fed again after
		// its fast.
		for _, s := range outlook.Dated(scheduler.NewDay(y.input(120))) {
			if s.Name != husbandry.CoolingWindow || s.Scope != husbandry.OfEnclosure {
				continue
			}
			shared, resumed := false, false
			for _, x := range p {
				if x.Subject != s.Subject && x.Scope != husbandry.OfAnimal {
					continue
				}
				if x.Kind == husbandry.Feed && x.Routine != herd.CoolingFood && x.Subject == s.Subject && !x.Due.Before(s.From) && !x.Due.After(s.To) && x.Due.After(y.on) {
					shared = true
					if !strings.Contains(x.Why, "no food for ") {
						t.Fatalf("%s on %s, foodless %s to %s: %s", x.Key, x.Due, s.From, s.To, x.Why)
					}
				}
				if x.Kind == husbandry.Feed && x.Due.After(s.To) {
					resumed = true
				}
			}
			if !resumed && !shared && s.To.AddDays(5).Before(y.on.AddDays(120)) && s.To.AddDays(5).After(y.on) {
				t.Fatalf("%s has no food after %s:\n%s", s.Subject, s.To, p)
			}
		}
		for i := range p {
			for _, s := range []string{"down-1", "up-1"} {
				if strings.HasSuffix(string(p[i].Key), "-"+s) && p[i].Status == tasks.Upcoming {
					next := strings.TrimSuffix(string(p[i].Key), "1") + "2"
					for _, x := range p {
						if string(x.Key) == next && !x.Due.After(p[i].Due) {
							t.Fatalf("%s on %s is not after %s on %s", x.Key, x.Due, p[i].Key, p[i].Due)
						}
					}
				}
			}
		}
	})
}

// The plan of a day ahead does not depend on the number of days planned.
func TestPlanningFurtherAheadDoesNotChangeAWinter(t *testing.T) {
	b := winterRoom().weighs("2027-11-15", "F03/cooling-weigh/wall-lizard-2027-start", 8)
	for _, on := range []string{"2027-10-10", "2027-10-30", "2027-11-12", "2027-11-20", "2028-01-30", "2028-02-14"} {
		near := b.plan(on, 20)
		far := slices.DeleteFunc(b.plan(on, 150), func(x tasks.Task) bool { return x.Due.After(day(on).AddDays(20)) })
		if near.String() != far.String() {
			t.Errorf("%s: near\n%s\nfar\n%s", on, near, far)
		}
	}
}
