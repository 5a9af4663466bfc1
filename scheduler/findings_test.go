package scheduler_test

import (
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const watch = "F03/lay-watch/2027-05-12"

// expecting returns a lizard room in which Ada was seen mating on 22 April and
// is watched for eggs on 12 May. All other daily tasks are done.
func expecting() *books {
	b := withSample()
	mated("04-22")(b)
	return b
}

func TestWhatLaidEggsLeadTo(t *testing.T) {
	before := expecting()
	before.plan("05-12", 0).one(t, watch)
	b := expecting().done("05-11", "E07/nest-top-up/first").laid("05-12", watch, 6)

	t.Run("the lay watch is over", func(t *testing.T) { b.plan("05-13", 5).none(t, "lay-watch") })
	t.Run("the clutch is opened", func(t *testing.T) {
		c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-12", 0)))
		if len(c) != 1 || c[0].ID != "F03-2027-05-12" || c[0].Mother != "F03" || c[0].Species != "wall-lizard" || c[0].Eggs != 6 || c[0].Laid != day("05-12") || c[0].State != herd.InBox {
			t.Fatalf("got %+v", c)
		}
	})
	t.Run("its tub is to be set today", func(t *testing.T) {
		task := b.plan("05-12", 0).one(t, "set-tub")
		if task.Key != "F03-2027-05-12/set-tub/laid" || task.Due != day("05-12") || task.Status != tasks.Due || task.Place.Enclosure != "E07" {
			t.Errorf("got %+v", task)
		}
		if got := b.plan("05-14", 0).one(t, "set-tub"); got.Status != tasks.Overdue {
			t.Errorf("two days later %s", got.Status)
		}
	})
	t.Run("counted eggs need not be dug up", func(t *testing.T) { b.plan("05-12", 0).none(t, "dig-eggs") })
	t.Run("the box is damped again", func(t *testing.T) {
		task := b.plan("05-12", 0).one(t, "nest-top-up")
		if task.Key != "E07/nest-top-up/after-2027-05-11" || task.Due != day("05-12") || !strings.Contains(task.Why, "eggs were laid on 12 May") {
			t.Errorf("got %+v", task)
		}
		other := expecting().done("05-11", "E07/nest-top-up/first")
		if task := other.plan("05-12", 3).one(t, "nest-top-up"); task.Due != day("05-14") {
			t.Errorf("without eggs due %s, want 14 May", task.Due)
		}
	})
	t.Run("she gets extra food for fourteen days", func(t *testing.T) {
		p := b.plan("05-12", 20).of("E07/wall-lizard.feed-laying")
		if len(p) == 0 || p[0].Due != day("05-12") && p[0].Due != day("05-13") {
			t.Fatalf("got\n%s", p)
		}
		if last := p[len(p)-1].Due; last.After(day("05-26")) || last.Before(day("05-25")) {
			t.Errorf("until %s, want 26 May", last)
		}
		before.plan("05-12", 20).none(t, "E07/wall-lizard.feed-laying")
	})
	t.Run("she is weighed in three days", func(t *testing.T) {
		if task := b.plan("05-12", 5).one(t, "weigh-mother"); task.Due != day("05-15") || task.Subject != "F03" || task.Key != "F03/weigh-mother/laid-F03-2027-05-12" {
			t.Errorf("got %+v", task)
		}
	})
	t.Run("the hatch window is computed", func(t *testing.T) {
		// Wall lizards take 37.55 days at 28 °C (Ji & Braña 1999), SD 2.33: the
		// 5th percentile is day 34, the 95th is day 41.
		var window outlook.Span
		for _, s := range outlook.Dated(scheduler.NewDay(b.input("05-12", 120))) {
			if s.Name == husbandry.HatchWindow {
				window = s
			}
		}
		if window.Key != "F03-2027-05-12/hatching/laid" || window.From != day("06-15") || window.To != day("06-22") {
			t.Errorf("got %+v", window)
		}
		first := b.plan("05-12", 60).of("hatch-watch")[0]
		if first.Due != day("06-12") { // day 31, 2.5 SD before the mean
			t.Errorf("watched from %s", first.Due)
		}
	})
	t.Run("the next lay window is computed", func(t *testing.T) {
		first := b.plan("05-12", 60).of("lay-watch")[0]
		if first.Due != day("05-12").AddDays(24) || !strings.Contains(first.Why, "24-36 days after her clutch of 12 May") {
			t.Errorf("got %+v", first)
		}
	})
	t.Run("after an undo nothing of it remains", func(t *testing.T) {
		b := expecting().done("05-11", "E07/nest-top-up/first").laid("05-12", watch, 6).undo("05-12", watch)
		other := expecting().done("05-11", "E07/nest-top-up/first")
		if got, want := b.plan("05-12", 60).String(), other.plan("05-12", 60).String(); got != want {
			t.Errorf("after the undo\n%s\nwithout either\n%s", got, want)
		}
		if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-12", 0))); len(c) != 0 {
			t.Errorf("the clutch is still there: %+v", c)
		}
	})
	t.Run("after a correction the corrected number counts", func(t *testing.T) {
		b := expecting().laid("05-12", watch, 6).laid("05-13", watch, 7)
		if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-13", 0))); len(c) != 1 || c[0].Eggs != 7 || c[0].ID != "F03-2027-05-12" {
			t.Errorf("got %+v", c)
		}
	})
}

func TestEggsLaidButNotCounted(t *testing.T) {
	b := expecting().laid("05-12", watch, tasks.Uncounted)
	p := b.plan("05-12", 0)
	dig := p.one(t, "dig-eggs")
	if dig.Key != "F03-2027-05-12/dig-eggs/laid" || dig.Status != tasks.Due {
		t.Errorf("got %+v", dig)
	}
	p.none(t, "set-tub")
	t.Run("dug up and counted", func(t *testing.T) {
		b := expecting().laid("05-12", watch, tasks.Uncounted).laid("05-12", dig.Key, 5)
		p := b.plan("05-12", 0)
		p.none(t, "dig-eggs")
		p.one(t, "set-tub")
		if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-12", 0))); len(c) != 1 || c[0].Eggs != 5 {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("dug up without a number", func(t *testing.T) {
		p := expecting().laid("05-12", watch, tasks.Uncounted).done("05-12", dig.Key).plan("05-12", 0)
		p.none(t, "dig-eggs")
		p.one(t, "set-tub")
	})
}

func TestTheMotherOfAFoundClutch(t *testing.T) {
	six := 6
	clutch := func(b *books, on string) []outlook.ClutchForecast {
		return outlook.ClutchForecasts(scheduler.NewDay(b.input(on, 0)))
	}
	t.Run("in an enclosure with one adult female: that female", func(t *testing.T) {
		c := clutch(withSample().laid("05-12", "E07/nest-top-up/first", six), "05-12")
		if len(c) != 1 || c[0].ID != "F03-2027-05-12" || c[0].Mother != "F03" {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("in an enclosure with two: unknown", func(t *testing.T) {
		b := withSample()
		b.animal("F04").Enclosure = "E07"
		c := clutch(b.laid("05-12", "E07/nest-top-up/first", six), "05-12")
		if len(c) != 1 || c[0].ID != "E07-2027-05-12" || c[0].Mother != "" || c[0].Species != "wall-lizard" {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("the other is a juvenile", func(t *testing.T) {
		b := withSample()
		b.animal("F04").Enclosure, b.animal("F04").Hatched = "E07", day("03-01")
		if c := clutch(b.laid("05-12", "E07/nest-top-up/first", six), "05-12"); len(c) != 1 || c[0].Mother != "F03" {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("a record with the same id refines the found clutch", func(t *testing.T) {
		b := withSample().laid("05-12", watch, six)
		warm := husbandry.Celsius(30)
		b.Clutches = []husbandry.Clutch{{ID: "F03-2027-05-12", Mother: "F03", Laid: day("05-11"), LaidFrom: day("05-11"), Temperature: &warm, Incubator: "I1"}}
		c := clutch(b, "05-12")
		if len(c) != 1 || c[0].Laid != day("05-11") || c[0].Eggs != 6 || c[0].State != herd.Incubating {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("a record of hers within two days is the same clutch, and the marks stay with it", func(t *testing.T) {
		b := withSample().laid("05-12", watch, six).done("05-12", "F03-2027-05-12/set-tub/laid").done("05-15", "F03/weigh-mother/laid-F03-2027-05-12")
		b.Clutches = []husbandry.Clutch{{ID: "C27-04", Mother: "F03", Laid: day("05-10"), LaidFrom: day("05-10"), Eggs: 5}}
		c := clutch(b, "05-16")
		if len(c) != 1 || c[0].ID != "C27-04" || c[0].Eggs != 5 || c[0].State != herd.Incubating {
			t.Errorf("got %+v", c)
		}
		p := b.plan("05-16", 0)
		p.none(t, "set-tub")
		p.none(t, "weigh-mother")
	})
	t.Run("three days apart are two clutches", func(t *testing.T) {
		b := withSample().laid("05-12", watch, six)
		b.Clutches = []husbandry.Clutch{{ID: "C27-04", Mother: "F03", Laid: day("05-09"), Eggs: 5}}
		if c := clutch(b, "05-12"); len(c) != 2 {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("no eggs: no clutch", func(t *testing.T) {
		if c := clutch(withSample().laid("05-12", watch, 0), "05-12"); len(c) != 0 {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("only slugs: no eggs to incubate", func(t *testing.T) {
		none, four := 0, 4
		b := withSample().found("05-12", watch, tasks.Finding{Laid: &none, Slugs: &four})
		p := b.plan("05-12", 60)
		p.none(t, "set-tub")
		p.none(t, "hatch-watch")
		p.one(t, "review-slugs")
	})
}

// incubating returns Ada's clutch C27-04 of six, laid 12 May at 28 °C.
func incubating() *books {
	b := withSample()
	b.Clutches = []husbandry.Clutch{{ID: "C27-04", Mother: "F03", Species: "wall-lizard", LaidFrom: day("05-12"), Laid: day("05-12"), Eggs: 6, Incubator: "I1"}}
	return b
}

func TestWhatHatchedYoungLeadTo(t *testing.T) {
	const look = "C27-04/hatch-watch/2027-06-18"
	task := incubating().plan("06-18", 0).one(t, look)
	// A normal distribution with mean 37.55 and SD 2.33, conditional on day 37
	// or later: 0.1653 of the remaining 0.6739 are on day 37.
	if want := "Day 37 of clutch C27-04 (laid 12 May, 28.0 °C): hatching most likely 19-21 June, 25 % today"; task.Why != want {
		t.Errorf("why: got  %q\nwant %q", task.Why, want)
	}
	if w := task.Window; w == nil || w.From != day("06-12") || w.To != day("06-26") || w.P50 != day("06-20") || w.Today < .2 || w.Today > .3 || len(w.By) != 8 || w.By[0] != w.Today || w.By[7] < .95 {
		t.Errorf("window %+v", w)
	}
	b := incubating().hatched("06-18", look, 3)
	t.Run("first food, weighing and sexing", func(t *testing.T) {
		p := b.plan("06-18", 130)
		for part, due := range map[string]civil.Date{
			"first-feed":       day("06-20"), // the sheet: 2 to 7 days
			"weigh-hatchlings": day("06-25"),
			"sexing":           day("06-18").AddDays(120),
		} {
			if task := p.one(t, part); task.Due != due || task.Subject != "C27-04" || task.Scope != husbandry.OfClutch || task.Key.Occurrence() != "hatched" {
				t.Errorf("%s: got %+v", part, task)
			}
		}
		if latest := p.one(t, "first-feed").Latest; latest != day("06-25") {
			t.Errorf("first food by %s, want seven days after hatching", latest)
		}
	})
	t.Run("the remaining eggs are watched", func(t *testing.T) {
		task := b.plan("06-19", 0).one(t, "hatch-watch")
		if !strings.Contains(task.Why, "3 hatched, 3 eggs to come") {
			t.Errorf("why %q", task.Why)
		}
		b.plan("06-25", 0).one(t, "hatch-watch/2027-06-25")
		c := outlook.ClutchForecasts(scheduler.NewDay(b.input("06-19", 0)))
		if c[0].State != herd.Hatching {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("until all have hatched", func(t *testing.T) {
		b := incubating().hatched("06-18", look, 3).hatched("06-19", "C27-04/hatch-watch/2027-06-19", 3)
		p := b.plan("06-20", 30)
		p.none(t, "hatch-watch")
		p.none(t, "tub-check")
		p.one(t, "first-feed")
		if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("06-20", 0))); c[0].State != herd.HatchedAll || c[0].Progress != 1 || !c[0].P50.IsZero() {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("after an undo nothing of it remains", func(t *testing.T) {
		b := incubating().hatched("06-18", look, 3).undo("06-18", look)
		if got, want := b.plan("06-18", 130).String(), incubating().plan("06-18", 130).String(); got != want {
			t.Errorf("after the undo\n%s\nwithout either\n%s", got, want)
		}
	})
	t.Run("nothing for an ended clutch", func(t *testing.T) {
		b := incubating().hatched("06-18", look, 3)
		b.Clutches[0].Ended = day("06-20")
		b.plan("06-20", 130).none(t, "C27-04/")
	})
	t.Run("a sealed tub is left alone", func(t *testing.T) {
		b := incubating()
		if p := b.plan("05-19", 0).of("tub-check"); len(p) != 1 {
			t.Errorf("vented: %s", p)
		}
		b.Clutches[0].Tub = husbandry.Sealed
		b.plan("05-19", 60).none(t, "tub-check")
	})
}

func TestManySlugsLeadToAReview(t *testing.T) {
	for _, c := range []struct {
		words       string
		eggs, slugs int
		review      bool
	}{
		{"none", 6, 0, false}, {"one of seven", 6, 1, false}, {"three of ten: not above 30 %", 7, 3, false},
		{"two of six", 4, 2, true}, {"four of many", 20, 4, true}, {"all", 0, 2, true},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := expecting().found("05-12", watch, tasks.Finding{Laid: &c.eggs, Slugs: &c.slugs})
			p := b.plan("05-13", 0).of("review-slugs")
			if (len(p) == 1) != c.review {
				t.Fatalf("got %s", p)
			}
			if !c.review {
				return
			}
			if p[0].Key != "F03/review-slugs/F03-2027-05-12" || p[0].Kind != husbandry.Review || !strings.Contains(p[0].Title, "calcium, vitamin D3 and UVB of Ada") || p[0].Caution == "" {
				t.Errorf("got %+v", p[0])
			}
			b.done("05-13", p[0].Key).plan("05-14", 0).none(t, "review-slugs")
			b.undo("05-13", watch).plan("05-14", 0).none(t, "review-slugs")
		})
	}
	t.Run("turned off", func(t *testing.T) {
		two := 2
		b := expecting().found("05-12", watch, tasks.Finding{Laid: &two, Slugs: &two})
		off := routine(husbandry.Review, fixed(1, "05-01"), husbandry.Lapses)
		off.Off, off.Scope = true, husbandry.OfAnimal
		b.Routines = append([]husbandry.Routine{off}, b.Routines...)
		b.plan("05-13", 0).none(t, "review-slugs")
	})
}

func TestThreeRefusalsLeadToAWeighing(t *testing.T) {
	feed := routine(husbandry.Feed, fixed(2, "05-02"), husbandry.Lapses)
	feed.ID = "feed"
	refused := func(b *books, days ...string) *books {
		for _, d := range days {
			b.found(d, tasks.NewKey("E07", "feed", "2027-"+d), tasks.Finding{Refused: true})
		}
		return b
	}
	b := refused(lizardRoom(feed), "05-06", "05-08", "05-10")
	p := b.plan("05-10", 0)
	expect(t, p.of("weigh"), "due 05-10 F03/weigh-refused/2027-05-10\ndue 05-10 M01/weigh-refused/2027-05-10")
	if task := p.of("F03")[0]; task.Why != "The last 3 feedings of E07 were refused: 6 May, 8 May and 10 May" || task.Kind != husbandry.Weigh {
		t.Errorf("got %+v", task)
	}
	t.Run("one of them reported for the animal, without a task", func(t *testing.T) {
		b := refused(lizardRoom(feed), "05-06", "05-08").found("05-10", "F03/found/2027-05-10", tasks.Finding{Refused: true})
		expect(t, b.plan("05-10", 0).of("weigh"), "due 05-10 F03/weigh-refused/2027-05-10\ndue 05-10 M01/weigh-refused/2027-05-10")
	})
	t.Run("twice is not enough", func(t *testing.T) {
		refused(lizardRoom(feed), "05-06", "05-08").plan("05-10", 0).none(t, "weigh")
	})
	t.Run("eaten in between", func(t *testing.T) {
		refused(refused(lizardRoom(feed), "05-04", "05-06").done("05-08", "E07/feed/2027-05-08"), "05-10").plan("05-10", 0).none(t, "weigh")
	})
	t.Run("eaten since", func(t *testing.T) {
		refused(lizardRoom(feed), "05-04", "05-06", "05-08").done("05-10", "E07/feed/2027-05-10").plan("05-10", 0).none(t, "weigh")
	})
	t.Run("a gravid female is left in peace", func(t *testing.T) {
		b := refused(lizardRoom(feed), "05-06", "05-08", "05-10")
		b.animal("F03").Gravid = day("05-05")
		expect(t, b.plan("05-10", 0).of("weigh"), "due 05-10 M01/weigh-refused/2027-05-10")
	})
	t.Run("weighed since", func(t *testing.T) {
		b := refused(lizardRoom(feed), "05-06", "05-08", "05-10").weighs("05-10", "F03/weigh-refused/2027-05-10", 8)
		expect(t, b.plan("05-10", 0).of("weigh"), "due 05-10 M01/weigh-refused/2027-05-10")
	})
	t.Run("one refusal taken back", func(t *testing.T) {
		b := refused(lizardRoom(feed), "05-06", "05-08", "05-10").undo("05-10", "E07/feed/2027-05-08")
		b.plan("05-10", 0).none(t, "weigh")
	})
}

func TestLosingWeightLeadsToAReview(t *testing.T) {
	weighed := func(grams ...float64) *books {
		b := withSample()
		on, occurrence := "05-01", "first"
		for i, g := range grams {
			b.weighs(on, tasks.NewKey("M01", "weigh", occurrence), g)
			occurrence = "after-2027-" + on
			on = day("05-01").AddDays(30 * (i + 1)).Format("01-02")
		}
		return b
	}
	b := weighed(40, 44, 39)
	task := b.plan("06-30", 0).one(t, "review-weight")
	if want := "Weighed 39 g on 30 June, 44 g on 31 May: 11 % less"; task.Why != want || task.Subject != "M01" {
		t.Errorf("got %+v, want %q", task, want)
	}
	weighed(40, 44, 39.6).plan("06-30", 0).none(t, "review-weight")
	weighed(44).plan("06-30", 0).none(t, "review-weight")
	t.Run("a loss due to laying does not count", func(t *testing.T) {
		b := withSample().weighs("05-01", "F03/weigh/first", 12).laid("05-12", watch, 6).weighs("05-15", "F03/weigh-mother/laid-F03-2027-05-12", 8)
		b.plan("05-15", 0).none(t, "review-weight")
	})
	t.Run("in ounces", func(t *testing.T) {
		b := weighed(40, 44, 39)
		b.Units = husbandry.US
		if task := b.plan("06-30", 0).one(t, "review-weight"); !strings.HasPrefix(task.Why, "Weighed 1.38 oz on 30 June, 1.55 oz") {
			t.Errorf("why %q", task.Why)
		}
	})
}

func TestALayWatchPastItsWindowIsAnAlarm(t *testing.T) {
	gravid := true
	seen := func() *books {
		return expecting().found("05-05", "F03/gravid-check/2027-05-02", tasks.Finding{Gravid: &gravid})
	}
	// Mated on 22 April: eggs are expected by 22 May.
	if task := seen().plan("05-22", 0).one(t, "F03/lay-watch/2027-05-22"); task.Pinned || task.Status != tasks.Due {
		t.Errorf("on the last day: %+v", task)
	}
	task := seen().plan("05-24", 5).one(t, "lay-watch")
	if !task.Pinned || task.Missed != husbandry.Alarms || task.Key != "F03/lay-watch/2027-05-24" || task.Status != tasks.Due || !strings.Contains(task.Caution, "veterinarian today") ||
		!strings.HasPrefix(task.Why, "Eggs seen in her since 5 May and not laid: 2 days past the window of 12-22 May") {
		t.Errorf("got %+v", task)
	}
	t.Run("it cannot be put off or skipped away", func(t *testing.T) {
		seen().later("05-24", task.Key, "06-10").plan("05-24", 0).one(t, "lay-watch")
		seen().skip("05-24", task.Key).plan("05-24", 0).one(t, "lay-watch")
	})
	t.Run("done for today, it comes back tomorrow", func(t *testing.T) {
		b := seen().done("05-24", task.Key)
		b.plan("05-24", 0).none(t, "lay-watch")
		b.plan("05-25", 0).one(t, "F03/lay-watch/2027-05-25")
	})
	t.Run("laid: the watch is over", func(t *testing.T) { seen().laid("05-24", task.Key, 5).plan("05-24", 0).none(t, "lay-watch") })
	t.Run("not gravid after all: the watch is over", func(t *testing.T) {
		no := false
		seen().found("05-24", "F03/gravid-check/2027-05-24", tasks.Finding{Gravid: &no}).plan("05-24", 0).none(t, "lay-watch")
	})
	t.Run("not for breeding, but seen gravid: watched, too", func(t *testing.T) {
		b := withSample()
		b.animal("F04").Gravid = day("05-05")
		b.plan("05-12", 0).one(t, "F04/lay-watch/2027-05-12")
		if task := b.plan("06-10", 0).one(t, "F04/lay-watch"); !task.Pinned {
			t.Errorf("got %+v", task)
		}
	})
}

func TestAHatchWatchPastItsWindowIsAnAlarm(t *testing.T) {
	b := incubating()
	p := b.plan("06-27", 3) // the window ends on 26 June
	look := p.one(t, "hatch-watch/2027-06-27")
	if look.Missed != husbandry.Alarms || look.Pinned || !strings.Contains(look.Caution, "Do not open") || !strings.Contains(look.Why, "past its window, hatching was most likely 17-20 June") {
		t.Errorf("got %+v", look)
	}
	p.none(t, "hatch-watch/2027-06-28")
	review := p.one(t, "review-hatch")
	if review.Key != "C27-04/review-hatch/hatching" || review.Due != day("06-27") || !strings.Contains(review.Caution, "Do not open") {
		t.Errorf("got %+v", review)
	}
	b.done("06-27", review.Key).plan("06-28", 0).none(t, "review-hatch")
	b.plan("06-28", 0).one(t, "hatch-watch/2027-06-28")
	c := outlook.ClutchForecasts(scheduler.NewDay(b.input("06-28", 0)))
	if len(c) != 1 || c[0].ProbabilityToday != 0 || !strings.Contains(strings.Join(c[0].Cautions, " "), "Do not open") || c[0].P50 != day("06-19") {
		t.Errorf("got %+v", c)
	}
}

func TestGravidChecksAndPairing(t *testing.T) {
	yes := true
	b := expecting()
	b.plan("05-12", 0).of("gravid-check")
	if p := b.plan("05-12", 10).of("gravid-check"); len(p) == 0 {
		t.Error("no gravid checks after a mating")
	}
	b.found("05-12", "F03/gravid-check/2027-05-12", tasks.Finding{Gravid: &yes})
	b.plan("05-13", 10).none(t, "gravid-check")
	if p := b.plan("05-13", 3).of("E07/wall-lizard.feed-laying"); len(p) == 0 {
		t.Error("a gravid female is not fed up")
	}
	t.Run("extra food ends with the laying window", func(t *testing.T) {
		p := b.plan("05-13", 60).of("E07/wall-lizard.feed-laying")
		if last := p[len(p)-1].Due; last.After(day("05-22")) {
			t.Errorf("until %s", last)
		}
	})
	t.Run("paired while the season is open", func(t *testing.T) {
		b := withSample()
		b.animal("M01").Enclosure = "E08"
		task := b.plan("05-03", 0).one(t, "F03/pair/2027-05-03")
		if !strings.HasPrefix(task.Why, "Pairing window 15 March to 30 June") {
			t.Errorf("why %q", task.Why)
		}
		b.plan("07-01", 30).none(t, "/pair/")
		b.found("05-03", "F03/pair/2027-05-03", tasks.Finding{Mated: true}).plan("05-04", 30).none(t, "/pair/")
	})
	t.Run("no pairing if a male lives with her", func(t *testing.T) {
		withSample().plan("05-01", 30).none(t, "/pair/")
	})
	t.Run("no pairing without a male", func(t *testing.T) {
		b := withSample()
		b.animal("M01").Breeding = false
		b.plan("05-01", 30).none(t, "/pair/")
	})
	t.Run("no pairing for a female not for breeding", func(t *testing.T) { withSample().plan("05-01", 30).none(t, "F04/pair") })
}

func TestTheIncubatorOfAFoundClutch(t *testing.T) {
	b := expecting().laid("05-12", watch, 6).done("05-12", "F03-2027-05-12/set-tub/laid")
	c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-13", 0)))[0]
	if c.Incubator != "I1" || !strings.Contains(strings.Join(c.Cautions, " "), "taken to stand in I1") || c.State != herd.Incubating {
		t.Errorf("with one incubator: %+v", c)
	}
	if task := b.plan("06-15", 0).one(t, "hatch-watch/2027-06-15"); task.Place.Enclosure != "I1" {
		t.Errorf("looked for at %+v", task.Place)
	}
	b.Incubators = append(b.Incubators, husbandry.Incubator{ID: "I2", Room: "R1", Temperature: 31})
	if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-13", 0)))[0]; c.Incubator != "" || !strings.Contains(c.Basis, "not known") {
		t.Errorf("with two: %+v", c)
	}
	b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C27-01", Mother: "F04", Species: "wall-lizard", Laid: day("05-02"), Eggs: 4, Incubator: "I2"})
	for _, c := range outlook.ClutchForecasts(scheduler.NewDay(b.input("05-13", 0))) {
		if c.ID == "F03-2027-05-12" && c.Incubator != "I2" {
			t.Errorf("where the species' last clutch stands: %+v", c)
		}
	}
}

// A hatching leads to first food, and also to a tub for the hatchlings on the
// day, a weighing after a week, and sexing at the right age. In the program
// these are the common routines of config/books, which have a test there. This
// test uses routines of the same form.
func TestAHatchingLeadsToCareOfTheHatchlings(t *testing.T) {
	tub := husbandry.Routine{ID: "young-tub", Kind: husbandry.Own, Title: "Set the hatchlings up", Scope: husbandry.OfClutch, Part: husbandry.Morning,
		Missed: husbandry.Stays, Origin: husbandry.Common, Cadence: husbandry.Cadence{Pattern: husbandry.Anchored, Event: husbandry.EventHatched}}
	scale := tub
	scale.ID, scale.Title, scale.Cadence.Offset = "young-on-scale", "Weigh the hatchlings", 7
	b := expecting().laid("05-12", watch, 6)
	b.Routines = append(b.Routines, tub, scale)
	b.found("06-20", "F03-2027-05-12/hatch-watch/2027-06-20", tasks.Finding{Hatched: new(int)})
	b.plan("06-20", 10).none(t, "young-tub")
	three := 3
	b.found("06-21", "F03-2027-05-12/hatch-watch/2027-06-21", tasks.Finding{Hatched: &three})
	expect(t, b.plan("06-21", 10).of("F03-2027-05-12/young-tub"), "due 06-21 F03-2027-05-12/young-tub/hatched")
	expect(t, b.plan("06-21", 10).of("F03-2027-05-12/young-on-scale"), "upcoming 06-28 F03-2027-05-12/young-on-scale/hatched")
}
