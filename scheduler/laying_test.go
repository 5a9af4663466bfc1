package scheduler_test

import (
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// The tasks around laying besides the lay watch: when each begins, and what
// ends it.
func TestTasksAroundLaying(t *testing.T) {
	one, two, four, six := 1, 2, 4, 6
	seen, not := true, false
	inBox := func(id husbandry.ID, on string, eggs int) husbandry.Clutch {
		return husbandry.Clutch{ID: id, Mother: "F03", Species: "wall-lizard", LaidFrom: day(on), Laid: day(on), Eggs: eggs, Incubator: "I1"}
	}
	noBox := func(b *books) { b.Enclosures[0].NestBox = nil }
	dig := func(b *books, on string) {
		b.found(on, tasks.NewKey("F03", "lay-watch", day(on).String()), tasks.Finding{Digging: true})
	}
	for _, c := range []struct {
		words  string
		tell   func(b *books)
		on     string
		task   husbandry.ID
		want   string // status, due date and key; "" for no task
		why    string
		pinned bool
	}{
		// Mated on 22 April, so eggs are expected from 12 to 22 May.
		{words: "a box a week before the eggs", tell: noBox, on: "05-05", task: herd.SetNestBox, want: "due 05-05 F03/set-nest-box/mated-2027-04-22", why: "By the records E07 has no nest box"},
		{words: "no box more than a week before the eggs", tell: noBox, on: "05-04", task: herd.SetNestBox},
		{words: "no box if the enclosure has one", tell: func(*books) {}, on: "05-12", task: herd.SetNestBox},
		{words: "the box was put in", tell: func(b *books) { noBox(b); b.done("05-05", "F03/set-nest-box/mated-2027-04-22") }, on: "05-12", task: herd.SetNestBox},

		{words: "no eggs found in the window", tell: func(*books) {}, on: "05-23", task: herd.LookForEggs, want: "due 05-23 F03/look-for-eggs/mated-2027-04-22", why: "Eggs were expected 12-22 May and nobody found any"},
		{words: "still within the window", tell: func(*books) {}, on: "05-22", task: herd.LookForEggs},
		{words: "no eggs found, and the keeper looked", tell: func(b *books) { b.done("05-24", "F03/look-for-eggs/mated-2027-04-22") }, on: "05-28", task: herd.LookForEggs},
		{words: "seen gravid: an alarm of the watch instead", tell: func(b *books) { b.found("05-10", "F03/gravid-check/2027-05-10", tasks.Finding{Gravid: &seen}) }, on: "05-24", task: herd.LookForEggs},

		// The sample sheet has a limit of three clutches.
		{words: "the season's limit of clutches reached", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 5), inBox("C2", "04-15", 5), inBox("C3", "05-10", 4)}
		}, on: "05-12", task: herd.RestFemale, want: "due 05-10 F03/rest-female/C3", why: "Her clutch of 10 May was the 3rd since 20 March, and the season's limit is 3; a grown male lives with her"},
		{words: "one clutch below the season's limit", tell: func(b *books) { b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 5), inBox("C2", "04-15", 5)} }, on: "05-12", task: herd.RestFemale},

		{words: "half of her usual number", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5), inBox("C3", "05-10", 2)}
		}, on: "05-11", task: herd.FeelForEggs, want: "due 05-11 F03/feel-for-eggs/C3", why: "has 2 eggs; her last 2 had 5.5 on average", pinned: true},
		{words: "half of her usual number, on the day of laying", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5), inBox("C3", "05-10", 2)}
		}, on: "05-10", task: herd.FeelForEggs},
		{words: "half of her usual number, and more the next day", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5)}
			b.found("05-12", watch, tasks.Finding{Laid: &two}).found("05-13", "F03/found/2027-05-13", tasks.Finding{More: &four})
		}, on: "05-14", task: herd.FeelForEggs},
		{words: "half of her usual number, and no more", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5)}
			b.found("05-12", watch, tasks.Finding{Laid: &two})
		}, on: "05-14", task: herd.FeelForEggs, want: "overdue 05-13 F03/feel-for-eggs/F03-2027-05-12", pinned: true},
		{words: "half of her usual number, and the look skipped", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5)}
			b.found("05-12", watch, tasks.Finding{Laid: &two}).skip("05-13", "F03/feel-for-eggs/F03-2027-05-12")
		}, on: "05-14", task: herd.FeelForEggs, want: "overdue 05-13 F03/feel-for-eggs/F03-2027-05-12", pinned: true},
		{words: "half of her usual number, and she was felt for eggs", tell: func(b *books) {
			b.Clutches = []husbandry.Clutch{inBox("C1", "03-20", 6), inBox("C2", "04-15", 5)}
			b.found("05-12", watch, tasks.Finding{Laid: &two}).done("05-13", "F03/feel-for-eggs/F03-2027-05-12")
		}, on: "05-14", task: herd.FeelForEggs},
		{words: "fewer than the care sheet's least number", tell: func(b *books) {
			b.Species[0].Laying.Eggs = husbandry.Span{From: 2, To: 11}
			b.found("05-12", watch, tasks.Finding{Laid: &one})
		}, on: "05-13", task: herd.FeelForEggs,
			want: "due 05-13 F03/feel-for-eggs/F03-2027-05-12", why: "has 1 egg; her kind lays 2 or more", pinned: true},
		{words: "eggs seen in her after laying", tell: func(b *books) {
			b.found("05-12", watch, tasks.Finding{Laid: &six}).found("05-14", "F03/gravid-check/2027-05-14", tasks.Finding{Gravid: &seen})
		}, on: "05-14", task: herd.FeelForEggs, want: "overdue 05-13 F03/feel-for-eggs/F03-2027-05-12", why: "Eggs were seen in her on 14 May, after her clutch of 12 May", pinned: true},
		{words: "none seen in her after laying", tell: func(b *books) {
			b.found("05-12", watch, tasks.Finding{Laid: &six}).found("05-14", "F03/gravid-check/2027-05-14", tasks.Finding{Gravid: &not})
		}, on: "05-14", task: herd.FeelForEggs},

		{words: "digging for a day", tell: func(b *books) { dig(b, "05-12"); dig(b, "05-13") }, on: "05-13", task: herd.VetDigging},
		{words: "digging for two days", tell: func(b *books) { dig(b, "05-12"); dig(b, "05-14") }, on: "05-14", task: herd.VetDigging,
			want: "due 05-14 F03/vet-digging/2027-05-12", why: "She was seen digging on 12 May and still on 14 May, and has not laid", pinned: true},
		{words: "digging, then eggs", tell: func(b *books) { dig(b, "05-12"); dig(b, "05-13"); b.laid("05-14", "F03/lay-watch/2027-05-14", 5) }, on: "05-14", task: herd.VetDigging},
		{words: "digging taken back", tell: func(b *books) { dig(b, "05-12"); dig(b, "05-14"); b.undo("05-14", "F03/lay-watch/2027-05-14") }, on: "05-14", task: herd.VetDigging},

		{words: "digging again soon after a clutch", tell: func(b *books) {
			b.laid("05-10", "F03/found/2027-05-10", 3).found("05-12", "F03/found/2027-05-12", tasks.Finding{Digging: true}).found("05-14", "F03/found/2027-05-14", tasks.Finding{Digging: true})
		}, on: "05-14", task: herd.VetDigging, want: "due 05-14 F03/vet-digging/2027-05-12", why: "She was seen digging on 12 May and still on 14 May, and has not laid since her clutch of 10 May", pinned: true},
		{words: "eggs outside the box are set first", tell: func(b *books) { b.found("05-12", watch, tasks.Finding{Laid: &six, Outside: true}) }, on: "05-12", task: "set-tub",
			want: "due 05-12 F03-2027-05-12/set-tub/laid", why: "Clutch F03-2027-05-12: laid 12 May, outside the nest box", pinned: true},
		{words: "eggs outside the box, already set", tell: func(b *books) {
			b.found("05-12", watch, tasks.Finding{Laid: &six, Outside: true}).done("05-12", "F03-2027-05-12/set-tub/laid")
		}, on: "05-13", task: "set-tub"},
		{words: "eggs in the box can wait for the evening", tell: func(b *books) { b.laid("05-12", watch, 6) }, on: "05-12", task: "set-tub",
			want: "due 05-12 F03-2027-05-12/set-tub/laid", why: "Clutch F03-2027-05-12: laid 12 May"},
		{words: "with two incubators the task asks for the incubator", tell: func(b *books) {
			b.Incubators = append(b.Incubators, husbandry.Incubator{ID: "I2", Room: "R1", Temperature: 26})
			b.laid("05-12", watch, 6)
		}, on: "05-12", task: "set-tub",
			want: "due 05-12 F03-2027-05-12/set-tub/laid", why: `Clutch F03-2027-05-12: laid 12 May; say where it stands, with "moved to" and the incubator's id`},
		{words: "eggs outside the box", tell: func(b *books) { b.found("05-12", watch, tasks.Finding{Laid: &six, Outside: true}) }, on: "05-12", task: herd.ReviewNestSite,
			want: "due 05-12 E07/review-nest-site/F03-2027-05-12", why: "lay outside the nest box"},
		{words: "eggs outside the box, and the box checked before the mother was known", tell: func(b *books) {
			b.animal("F04").Enclosure = "E07"
			b.found("05-12", "E07/found/2027-05-12", tasks.Finding{Laid: &six, Outside: true}).done("05-12", "E07/review-nest-site/E07-2027-05-12").
				found("05-13", "E07-2027-05-12/found/2027-05-13", tasks.Finding{Mother: "F03"})
		}, on: "05-13", task: herd.ReviewNestSite},
		{words: "eggs outside the box, with a choice of incubators", tell: func(b *books) {
			b.Incubators = append(b.Incubators, husbandry.Incubator{ID: "I2", Room: "R1", Temperature: 26})
			b.found("05-12", watch, tasks.Finding{Laid: &six, Outside: true})
		}, on: "05-12", task: "set-tub",
			want: "due 05-12 F03-2027-05-12/set-tub/laid", why: `laid 12 May, outside the nest box; say where it stands, with "moved to" and the incubator's id`, pinned: true},
		{words: "eggs in the box", tell: func(b *books) { b.found("05-12", watch, tasks.Finding{Laid: &six}) }, on: "05-12", task: herd.ReviewNestSite},

		{words: "eggs in an enclosure with two females", tell: func(b *books) {
			b.animal("F04").Enclosure = "E07"
			b.found("05-12", "E07/found/2027-05-12", tasks.Finding{Laid: &six})
		}, on: "05-12", task: herd.WhoseEggs, want: "due 05-12 E07/whose-eggs/E07-2027-05-12", why: "may be of Ada (F03), whose eggs were expected 12-22 May; or of Cleo (F04)"},
		{words: "eggs in an enclosure with two females, mother known later", tell: func(b *books) {
			b.animal("F04").Enclosure = "E07"
			b.found("05-12", "E07/found/2027-05-12", tasks.Finding{Laid: &six}).found("05-13", "E07-2027-05-12/found/2027-05-13", tasks.Finding{Mother: "F03"})
		}, on: "05-13", task: herd.WhoseEggs},

		{words: "together for a week", tell: func(b *books) {
			b.animal("M01").Enclosure = "E08"
			b.Pairings = []husbandry.Pairing{{ID: "P1", Male: "M01", Female: "F03", From: day("05-05")}}
		}, on: "05-12", task: herd.PartPair, want: "due 05-12 F03/part-pair/2027-05-05", why: "Together since 5 May"},
		{words: "separated by the record", tell: func(b *books) {
			b.animal("M01").Enclosure = "E08"
			b.Pairings = []husbandry.Pairing{{ID: "P1", Male: "M01", Female: "F03", From: day("05-05"), Until: day("05-09")}}
		}, on: "05-12", task: herd.PartPair},
		{words: "a pair that lives together", tell: func(b *books) {
			b.Pairings = []husbandry.Pairing{{ID: "P1", Male: "M01", Female: "F03", From: day("05-05")}}
		}, on: "05-12", task: herd.PartPair},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := expecting()
			c.tell(b)
			p := b.plan(c.on, 0).of(string(c.task))
			expect(t, p, c.want)
			if len(p) == 1 && (!strings.Contains(p[0].Why, c.why) || p[0].Pinned != c.pinned) {
				t.Errorf("pinned %v, why %q; want %v, %q", p[0].Pinned, p[0].Why, c.pinned, c.why)
			}
		})
	}
}

// When the mother of a clutch becomes known, her watch ends, and her next
// window counts from the clutch.
func TestAMotherWhoBecomesKnownHasLaid(t *testing.T) {
	six := 6
	b := expecting()
	b.animal("F04").Enclosure = "E07"
	b.found("05-12", "E07/found/2027-05-12", tasks.Finding{Laid: &six})
	b.plan("05-13", 0).one(t, "F03/lay-watch/2027-05-13")
	b.found("05-13", "E07-2027-05-12/found/2027-05-13", tasks.Finding{Mother: "F03"})
	b.plan("05-13", 5).none(t, "F03/lay-watch")
	if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-13", 0))); len(c) != 1 || c[0].Mother != "F03" || c[0].Species != "wall-lizard" {
		t.Errorf("clutches %+v", c)
	}
	b.found("05-15", "E07-2027-05-12/found/2027-05-15", tasks.Finding{Mother: "F04"}).plan("05-15", 0).one(t, "F03/lay-watch/2027-05-15")
	if c := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-15", 0))); len(c) != 1 || c[0].Mother != "F04" {
		t.Errorf("the last word: %+v", c)
	}
	b.undo("05-15", "E07-2027-05-12/found/2027-05-15").plan("05-15", 0).none(t, "F03/lay-watch")
	b.undo("05-13", "E07-2027-05-12/found/2027-05-13").plan("05-13", 0).one(t, "F03/lay-watch/2027-05-13")
}

// A thin female is not paired. After she has gained weight, she is paired.
func TestAThinFemaleIsNotPaired(t *testing.T) {
	b := withSample()
	b.animal("M01").Enclosure = "E08"
	if p := b.plan("05-12", 20).of("pair"); len(p) == 0 {
		t.Fatal("no pairing in the season")
	}
	b.weighs("05-02", "F03/weigh/2027-05-02", 8).weighs("05-11", "F03/weigh/2027-05-11", 7)
	b.plan("05-12", 20).none(t, "F03/pair")
	b.weighs("05-12", "F03/weigh/2027-05-12", 7.8)
	if p := b.plan("05-12", 20).of("pair"); len(p) == 0 {
		t.Error("fed up again, and no pairing")
	}
}

// A found clutch, whoever its mother is, may also be split into two tubs.
// Before the day on which it was found there are no tubs.
func TestAFoundClutchInTwoTubs(t *testing.T) {
	six := 6
	b := brooding()
	b.Clutches = []husbandry.Clutch{{ID: "B", PartOf: "F03-2027-05-12", Mother: "F03", Species: b.animal("F03").Species, LaidFrom: day("05-12"), Laid: day("05-12"), Eggs: 2, Incubator: "COOL"}}
	list := func(on string) []outlook.ClutchForecast {
		return outlook.ClutchForecasts(scheduler.NewDay(b.input(on, 0)))
	}
	b.found("05-12", "F03/found/2027-05-12", tasks.Finding{Laid: &six})
	if l := list("06-01"); len(l) != 2 || l[0].ID != "B" || l[0].Eggs != 2 || l[1].Eggs != 4 || l[0].Laid != day("05-12") || l[0].Mother != "F03" {
		t.Errorf("got %+v", l)
	}
	if l := list("05-11"); len(l) != 0 {
		t.Errorf("before it was laid: %+v", l)
	}
	if n := len(herd.Derive(herd.Input{Records: &b.Records, History: tasks.Fold(b.entries), On: day("06-01")}).Animal("F03").Laid); n != 1 {
		t.Errorf("she has laid %d times", n)
	}
	two := 2
	b.found("05-12", "F03/found/2027-05-12", tasks.Finding{Laid: &six, Slugs: &two})
	b.plan("05-13", 0).none(t, "review-slugs") // 2 of 8, wherever the 6 eggs are
	b.found("05-13", "F03/found/2027-05-13", tasks.Finding{More: &two})
	if l := list("06-01"); len(l) != 2 || l[0].Eggs != 2 || l[1].Eggs != 6 {
		t.Errorf("two more: %+v", l)
	}
	b.undo("05-14", "F03/found/2027-05-12").undo("05-14", "F03/found/2027-05-13")
	if l := list("06-01"); len(l) != 1 || l[0].ID != "B" || l[0].Eggs != 2 || l[0].Laid != day("05-12") {
		t.Errorf("what was said taken back, the tub still has its eggs: %+v", l)
	}
}

// The eggs of one clutch in two tubs have two forecasts and count as one
// laying.
func TestAClutchInTwoTubs(t *testing.T) {
	b := brooding()
	b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C1b", PartOf: "C1", Eggs: 2, Incubator: "COOL"})
	in := b.input("06-01", 0)
	in.Forecasts = nil
	list := outlook.ClutchForecasts(scheduler.NewDay(in))
	if len(list) != 2 || list[0].Eggs != 4 || list[1].Eggs != 2 || list[1].Laid != list[0].Laid || list[1].Mother != "F03" || !list[1].P50.After(list[0].P50) {
		t.Fatalf("got %+v", list)
	}
	facts := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On})
	if n := len(facts.Animal("F03").Laid); n != 1 {
		t.Errorf("she has laid %d times", n)
	}
	for _, task := range b.plan("05-15", 5) {
		if task.Key.Routine() == "weigh-mother" && strings.Contains(string(task.Key), "C1b") {
			t.Errorf("weighed once more for a part: %s", task.Key)
		}
	}
	two := 2
	b.found("06-05", "C1b/found/2027-06-05", tasks.Finding{Dead: &two})
	in = b.input("06-10", 0)
	if list := outlook.ClutchForecasts(scheduler.NewDay(in)); list[0].State != herd.Incubating || list[1].State != herd.Ended {
		t.Errorf("its part is lost: %s, %s", list[0].State, list[1].State)
	}
}
