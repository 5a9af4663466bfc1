package scheduler_test

import (
	files "nestround/config/books"
	"slices"
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

func TestTitlesNameTheWorkAndTheAnimal(t *testing.T) {
	daily := func(k husbandry.Kind, title string) husbandry.Routine {
		r := routine(k, fixed(1, "05-01"), husbandry.Lapses)
		r.Title, r.Caution = title, "Wash your hands (Salmonella)."
		return r
	}
	scoped := func(s husbandry.Scope, title string) husbandry.Routine {
		r := daily(husbandry.Own, title)
		r.Scope, r.For = s, husbandry.Selector{}
		return r
	}
	for _, c := range []struct {
		routine         husbandry.Routine
		edit            func(*books)
		title, do, whom string
	}{
		{daily(husbandry.NestTopUp, ""), nil, "Top up the nest box of E07 (Ada and Bert, wall lizards)", "Top up the nest box", "E07 (Ada and Bert, wall lizards)"},
		{daily(husbandry.Feed, "Feed"), nil, "Feed E07 (Ada and Bert, wall lizards)", "Feed", "E07 (Ada and Bert, wall lizards)"},
		{daily(husbandry.Supplement, "Dust with plain calcium"), nil, "Dust with plain calcium: E07 (Ada and Bert, wall lizards)", "Dust with plain calcium", "E07 (Ada and Bert, wall lizards)"},
		{daily(husbandry.Weigh, ""), nil, "Weigh Ada (F03, wall lizard, in E07)", "Weigh", "Ada (F03, wall lizard, in E07)"},
		{daily(husbandry.Weigh, ""), func(b *books) { b.animal("F03").Name = "" }, "Weigh F03 (wall lizard, in E07)", "Weigh", "F03 (wall lizard, in E07)"},
		{daily(husbandry.Weigh, ""), func(b *books) { b.animal("F03").Count = 12 }, "Weigh Ada (F03, 12 wall lizards, in E07)", "Weigh", "Ada (F03, 12 wall lizards, in E07)"},
		{daily(husbandry.Feed, ""), func(b *books) { b.animal("M01").Count = 5 }, "Feed E07 (6 wall lizards)", "Feed", "E07 (6 wall lizards)"},
		{daily(husbandry.Feed, ""), func(b *books) { b.animal("M01").Left = day("05-01") }, "Feed E07 (Ada, wall lizard)", "Feed", "E07 (Ada, wall lizard)"},
		{daily(husbandry.Feed, ""), func(b *books) { b.animal("M01").Species = "unknown-gecko" }, "Feed E07 (Ada and Bert, wall lizards and unknown-geckos)", "Feed", "E07 (Ada and Bert, wall lizards and unknown-geckos)"},
		{daily(husbandry.Mist, "done 1"), nil, "To do: done 1: E07 (Ada and Bert, wall lizards)", "To do: done 1", "E07 (Ada and Bert, wall lizards)"},
		{scoped(husbandry.OfRoom, "Empty the bins"), nil, "Empty the bins: Lizard room", "Empty the bins", "Lizard room"},
		{scoped(husbandry.OfKeeper, "order  crickets\n"), nil, "Order crickets", "Order crickets", ""},
		{scoped(husbandry.OfKeeper, ""), nil, "Routine r", "Routine r", ""},
	} {
		t.Run(c.title, func(t *testing.T) {
			b := lizardRoom(c.routine)
			if c.edit != nil {
				c.edit(b)
			}
			task := b.plan("05-01", 0)[0]
			if task.Title != c.title || task.Do != c.do || task.Whom != c.whom {
				t.Errorf("got  %q = %q + %q", task.Title, task.Do, task.Whom)
			}
			if task.Caution != "Wash your hands (Salmonella)." {
				t.Errorf("caution %q", task.Caution)
			}
		})
	}
}

func TestReasonsInTheKeepersUnits(t *testing.T) {
	b := incubating()
	b.Units = husbandry.US
	if why := b.plan("06-18", 0).one(t, "hatch-watch/2027-06-18").Why; !strings.Contains(why, "(laid 12 May, 82.4 °F)") {
		t.Errorf("why %q", why)
	}
	c := outlook.ClutchForecasts(scheduler.NewDay(b.input("06-18", 0)))
	if !strings.Contains(c[0].Basis, "°F") || strings.Contains(c[0].Basis, "°C") {
		t.Errorf("basis %q", c[0].Basis)
	}
}

func TestDatesOfAnotherYearHaveTheirYear(t *testing.T) {
	b := lizardRoom(routine(husbandry.Clean, sinceLast(30), husbandry.Stays))
	b.Began = day("2026-01-01")
	b.done("2026-12-20", "E07/r/first")
	if why := b.plan("2027-01-25", 0)[0].Why; why != "Every 30 days; last cleaned Sun 20 December 2026" {
		t.Errorf("why %q", why)
	}
}

func TestPlacesAreInWalkingOrder(t *testing.T) {
	daily := routine(husbandry.Water, fixed(1, "05-01"), husbandry.Lapses)
	daily.For.Enclosures = nil
	keeper := daily
	keeper.ID, keeper.Kind, keeper.Scope, keeper.Title = "crickets", husbandry.Own, husbandry.OfKeeper, "Order crickets"
	room := daily
	room.ID, room.Kind, room.Scope, room.Title = "bins", husbandry.Own, husbandry.OfRoom, "Empty the bins"
	tub := routine(husbandry.TubCheck, fixed(1, "05-01"), husbandry.Lapses)
	tub.ID = "tub"
	b := lizardRoom(daily, keeper, room, tub)
	b.Rooms = append([]husbandry.Room{{ID: "R0", Name: "Hall"}}, b.Rooms...)
	b.Enclosures = append(b.Enclosures, husbandry.Enclosure{ID: "E01", Room: "R0"})
	b.Animals = append(b.Animals, husbandry.Animal{ID: "G1", Species: "wall-lizard", Count: 4, Enclosure: "E01"})
	b.Clutches = []husbandry.Clutch{{ID: "C1", Laid: day("04-30"), Eggs: 3, Species: "wall-lizard", Incubator: "I1"}}
	var got []string
	p := b.plan("05-01", 0)
	for _, task := range p {
		got = append(got, string(task.Subject))
	}
	if want := "keeper R0 E01 R1 E07 E08 C1"; strings.Join(got, " ") != want {
		t.Errorf("got %v, want %s", got, want)
	}
	if at := p.one(t, "E01/").Place; at.Room != "R0" || at.RoomName != "Hall" || at.Enclosure != "E01" {
		t.Errorf("got %+v", at)
	}
	if at := p.one(t, "C1/").Place; at.Room != "R1" || at.Enclosure != "I1" {
		t.Errorf("got %+v", at)
	}
}

func TestHerd(t *testing.T) {
	yes, no := true, false
	b := withSample()
	b.animal("F03").Gravid = day("04-20")
	b.laid("05-02", "F03/lay-watch/2027-05-02", 4)
	b.found("05-20", "F03/gravid-check/2027-05-20", tasks.Finding{Gravid: &yes})
	b.found("05-25", "F03/gravid-check/2027-05-25", tasks.Finding{Gravid: &no})
	b.weighs("05-06", "F03/weigh/first", 9)
	b.weighs("05-07", "E08/clean-spot/first", 8) // Cleo is alone there
	b.weighs("05-07", "E07/clean-spot/first", 8) // two animals: the weighed one is unknown
	h := herd.Derive(herd.Input{Records: &b.Records, History: tasks.Fold(b.entries), On: day("06-01")})
	ada := h.Animal("F03")
	for _, c := range []struct {
		on     string
		gravid bool
	}{{"04-19", false}, {"04-20", true}, {"05-01", true}, {"05-02", false}, {"05-19", false}, {"05-20", true}, {"05-24", true}, {"05-25", false}} {
		if got := ada.In(husbandry.Gravid, day(c.on)); got != c.gravid {
			t.Errorf("gravid on %s: %v", c.on, got)
		}
	}
	for on, want := range map[string]bool{"05-01": false, "05-02": true, "05-16": true, "05-17": false} {
		if got := ada.In(husbandry.PostLaying, day(on)); got != want {
			t.Errorf("just laid on %s: %v", on, got)
		}
	}
	if len(ada.Weights) != 1 || ada.Weights[0].Grams != 9 || len(h.Animal("F04").Weights) != 1 || len(h.Animal("M01").Weights) != 0 {
		t.Errorf("weights %v, %v, %v", ada.Weights, h.Animal("F04").Weights, h.Animal("M01").Weights)
	}
	if len(ada.Laid) != 1 || h.Clutch("F03-2027-05-02") != ada.Laid[0] || h.Animal("nobody") != nil {
		t.Errorf("clutches %v", ada.Laid)
	}
	t.Run("as of an earlier day", func(t *testing.T) {
		h := herd.Derive(herd.Input{Records: &b.Records, History: tasks.Fold(b.entries), On: day("05-01")})
		if len(h.Clutches) != 0 || !h.Animal("F03").In(husbandry.Gravid, day("05-01")) {
			t.Errorf("got %+v", h.Animal("F03"))
		}
	})
	t.Run("years later", func(t *testing.T) {
		h := herd.Derive(herd.Input{Records: &b.Records, History: tasks.Fold(b.entries), On: day("2029-06-01")})
		if ada := h.Animal("F03"); len(ada.Laid) != 1 || len(ada.GravidTimes) != 2 || len(ada.Weights) != 0 {
			t.Errorf("a clutch counts for good, a weight for a year: %+v", ada)
		}
	})
	t.Run("stages by age", func(t *testing.T) {
		b.animal("F04").Hatched = day("05-01") // juvenile at 14, subadult at 120, adult at 360 days
		h := herd.Derive(herd.Input{Records: &b.Records, History: tasks.Fold(nil), On: day("06-01")})
		for days, want := range map[int]husbandry.Stage{0: husbandry.Hatchling, 13: husbandry.Hatchling, 14: husbandry.Juvenile, 119: husbandry.Juvenile, 120: husbandry.Subadult, 360: husbandry.Adult} {
			if got := h.Animal("F04").StageOn(day("05-01").AddDays(days)); got != want {
				t.Errorf("at %d days %s, want %s", days, got, want)
			}
		}
		if got := h.Animal("F03").StageOn(day("06-01")); got != husbandry.Adult {
			t.Errorf("of unknown age %s", got)
		}
	})
}

func TestWindowsAsDatedFacts(t *testing.T) {
	b := expecting()
	b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F04", Species: "wall-lizard", LaidFrom: day("04-10"), Laid: day("04-10"), Eggs: 5, Incubator: "I1"}}
	var got []string
	for _, s := range outlook.Dated(scheduler.NewDay(b.input("05-12", 120))) {
		got = append(got, string(s.Key)+" "+s.From.Format("01-02")+" "+s.To.Format("01-02"))
	}
	want := []string{
		// There is no pairing window, because she was seen mating.
		"F03/laying/mated-2027-04-22 05-12 05-22",
		"C1/hatching/laid 05-14 05-21",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	if got := outlook.Dated(scheduler.NewDay(b.input("07-30", 120))); len(got) != 0 {
		t.Errorf("long past: %+v", got)
	}
}

// At least nine in ten marks in the samples are of tasks planned for the day.
func TestSamplesMarkPlannedTasks(t *testing.T) {
	c := sample.Make(6, 1, 3)
	c.Records.Called = files.Called()
	h := tasks.Fold(c.Entries)
	marks, planned := 0, 0
	for back := 1; back <= 60; back += 7 {
		on := c.On.AddDays(-back)
		keys := make(map[tasks.Key]bool)
		for _, x := range scheduler.Plan(scheduler.Input{Records: c.Records, History: h.Before(on), On: on, To: on.AddDays(2)}) {
			keys[x.Key] = true
		}
		for _, e := range c.Entries {
			if e.On != on {
				continue
			}
			for _, a := range e.Acts {
				marks++
				if keys[a.Task] {
					planned++
				}
			}
		}
	}
	if marks < 100 || planned*10 < marks*9 {
		t.Errorf("of %d marks %d are of planned tasks", marks, planned)
	}
}

func TestEmptyBooksHaveNothingOverdue(t *testing.T) {
	if p := scheduler.Plan(scheduler.Input{On: day("05-12")}); len(p) != 0 {
		t.Errorf("no records: %s", plan(p))
	}
	if c := outlook.ClutchForecasts(scheduler.NewDay(scheduler.Input{On: day("05-12")})); c == nil || len(c) != 0 {
		t.Errorf("no records: %v", c)
	}
	// The first plan of books without a beginning has nothing overdue.
	b := withSample()
	b.Began = civil.Date{}
	for _, x := range b.plan("05-12", 0) {
		if x.Status == tasks.Overdue || x.Status == tasks.Lapsed {
			t.Errorf("%s is %s", x.Key, x.Status)
		}
	}
}
