package scheduler_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// dampRoom returns the lizard room at 28 °C and 50 %, with a nest box in E07.
// The box is open on top and loses 17.5 g a day through 5 cm of still air. It
// may lose 60 of its 240 g of water, and is topped up every four days.
func dampRoom() *books {
	top := routine(husbandry.NestTopUp, sinceLast(4), husbandry.Stays)
	top.ID = "top"
	b := lizardRoom(top)
	warm, half := husbandry.Celsius(28), 0.5
	b.Rooms[0].Temperature, b.Rooms[0].Humidity = &warm, &half
	b.Enclosures[0].NestBox.Damp = husbandry.Damp{Inside: husbandry.Size{Length: 200, Width: 140}, Headspace: 50, Water: 240, Mass: 900}
	return b
}

func (b *books) water(on string, k tasks.Key, ml float64) *books {
	v := husbandry.Millilitres(ml)
	return b.found(on, k, tasks.Finding{Added: &v})
}

func (b *books) scale(on string, k tasks.Key, g, ml float64) *books {
	w, v := husbandry.Grams(g), husbandry.Millilitres(ml)
	f := tasks.Finding{Weighs: &w}
	if ml > 0 {
		f.Added = &v
	}
	return b.found(on, k, f)
}

// everyFourDays weighs the box on the mornings of 4, 8, 12 and 16 May and adds
// the lost water.
func everyFourDays(b *books, grams float64) {
	for _, d := range []string{"05-04", "05-08", "05-12", "05-16"} {
		b.scale(d, tasks.NewKey("E07", "top", "on-2027-"+d), 900-grams, grams)
	}
}

func TestTopUpsFollowTheDryingOfANestBox(t *testing.T) {
	for _, c := range []struct {
		words string
		tell  func(b *books)
		on    string
		want  string // first task of the box
		why   string
	}{
		{"nothing known about the box", func(b *books) {
			b.Enclosures[0].NestBox.Damp = husbandry.Damp{}
			b.water("05-08", "E07/top/first", 60)
		}, "05-09", "upcoming 05-12 E07/top/after-2027-05-08", "Every 4 days; last topped up Sat 8 May"},
		{"unknown tolerance", func(b *books) {
			b.Enclosures[0].NestBox.Damp.Water = 0
			b.water("05-08", "E07/top/first", 60)
		}, "05-09", "upcoming 05-12 E07/top/after-2027-05-08", "Every 4 days; last topped up Sat 8 May"},
		{"only its opening is known", func(b *books) { b.done("05-08", "E07/top/first") }, "05-09", "due 05-09 E07/top/after-2027-05-08",
			"Loses about 18 g a day (6-56) by its opening alone; 42 g are left; give it about 18 ml; last topped up Sat 8 May"},
		{"weighed, dries as in still air", func(b *books) { everyFourDays(b, 68) }, "05-17", "upcoming 05-19 E07/top/after-2027-05-16",
			"Loses about 17 g a day (13-21) by 4 weighings; 43 g are left; give it about 50 ml; last topped up Sun 16 May"},
		{"the same in ounces", func(b *books) { b.Units = husbandry.US; everyFourDays(b, 68) }, "05-17", "upcoming 05-19 E07/top/after-2027-05-16",
			"Loses about 0.59 oz a day (0.44-0.73) by 4 weighings; 1.52 oz are left; give it about 1.75 fl oz; last topped up Sun 16 May"},
		{"dries half as fast", func(b *books) { everyFourDays(b, 36) }, "05-17", "upcoming 05-21 E07/top/after-2027-05-16",
			"Loses about 9 g a day (7-11) by 4 weighings; 51 g are left; give it about 45 ml; last topped up Sun 16 May"},
		{"under a lamp", func(b *books) { everyFourDays(b, 160) }, "05-17", "due 05-17 E07/top/after-2027-05-16",
			"Loses about 38 g a day (28-48) by 4 weighings, 2.1 times as fast as through still air (a lamp, warmth, a draught?); 22 g are left; give it about 40 ml; last topped up Sun 16 May"},
		{"hardly dries at all", func(b *books) { everyFourDays(b, 6) }, "05-17", "upcoming 05-24 E07/top/after-2027-05-16",
			"Loses about 1.7 g a day (1.3-2.1) by 4 weighings; 58 g are left; give it about 13 ml; looked at after 8 days at the latest; last topped up Sun 16 May"},
		{"dried out during an absence", func(b *books) { everyFourDays(b, 68) }, "05-24", "overdue 05-19 E07/top/after-2027-05-16",
			"Loses about 16 g a day (11-22) by 4 weighings; too dry by 71 g; give it about 130 ml; last topped up Sun 16 May"},
		{"forgotten for months: no drier than without its 240 g of water", func(b *books) { everyFourDays(b, 68) }, "08-24", "overdue 05-18 E07/top/after-2027-05-16",
			"Loses about 15 g a day (6-29) by 4 weighings; dried out by now; give it about 240 ml; last topped up Sun 16 May"},
		{"topped up by eye", func(b *books) {
			for _, d := range []string{"05-04", "05-08", "05-12", "05-16"} {
				b.water(d, tasks.NewKey("E07", "top", "on-2027-"+d), 70)
			}
		}, "05-17", "upcoming 05-18 E07/top/after-2027-05-16",
			"Loses about 17 g a day (10-24) by what was added 3 times; 43 g are left; give it about 35 ml; last topped up Sun 16 May"},
		{"water added between weighings counts", func(b *books) {
			everyFourDays(b, 68)
			b.water("05-18", "E07/found/2027-05-18", 34)
		}, "05-19", "upcoming 05-21 E07/top/after-2027-05-16",
			"Loses about 17 g a day (12-21) by 4 weighings; 44 g are left; give it about 50 ml; last topped up Sun 16 May"},
		{"the weight of an animal is not a weight of the box", func(b *books) {
			b.Animals = b.Animals[:1]
			b.done("05-08", "E07/top/first").weighs("05-09", "E07/found/2027-05-09", 8)
		}, "05-09", "due 05-09 E07/top/after-2027-05-08",
			"Loses about 18 g a day (6-56) by its opening alone; 42 g are left; give it about 18 ml; last topped up Sat 8 May"},
		{"an implausible weighing", func(b *books) {
			everyFourDays(b, 68)
			b.scale("05-20", "E07/top/on-2027-05-20", 932, 0)
		}, "05-20", "upcoming 05-21 E07/top/after-2027-05-20",
			"Loses about 17 g a day (12-21) by 4 weighings; too dry by 6 g; give it about 85 ml; last topped up Thu 20 May. Not used: 932 g on 20 May, 32 g more than on 16 May with the water added since; weigh it again, and say what was added or taken out"},
		{"an implausible weighing of a box that hardly dries", func(b *books) {
			everyFourDays(b, 6)
			b.scale("05-20", "E07/top/on-2027-05-20", 932, 0)
		}, "05-20", "upcoming 05-21 E07/top/after-2027-05-20", ""},
		{"water added in between to a box that hardly dries", func(b *books) {
			everyFourDays(b, 6)
			b.water("05-18", "E07/found/2027-05-18", 3)
		}, "05-19", "upcoming 05-26 E07/top/after-2027-05-16", ""},
		{"heavier by the eggs in the box", func(b *books) {
			everyFourDays(b, 68)
			b.laid("05-18", "F03/found/2027-05-18", 5).scale("05-19", "E07/top/on-2027-05-19", 930, 0)
		}, "05-19", "upcoming 05-20 E07/top/after-2027-05-19",
			"Loses about 17 g a day (12-21) by 4 weighings; 10 g are left; give it about 65 ml; last topped up Wed 19 May"},
		{"the weighing with the eggs, taken back", func(b *books) {
			everyFourDays(b, 68)
			b.scale("05-20", "E07/top/on-2027-05-20", 932, 0).undo("05-20", "E07/top/on-2027-05-20")
		}, "05-20", "overdue 05-19 E07/top/after-2027-05-16",
			"Loses about 17 g a day (12-21) by 4 weighings; too dry by 6 g; give it about 65 ml; last topped up Sun 16 May"},
		{"dug over by a female", func(b *books) {
			everyFourDays(b, 36)
			b.laid("05-18", "F03/found/2027-05-18", 5)
		}, "05-18", "due 05-18 E07/top/after-2027-05-16",
			"Loses about 9 g a day (7-11) by 4 weighings; 42 g are left; give it about 18 ml; last topped up Sun 16 May; eggs were laid on 18 May and the box was dug over"},
		{"never done, and no day to count from", func(*books) {}, "05-01", "upcoming 05-03 E07/top/first", "Every 4 days; nothing recorded yet"},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := dampRoom()
			c.tell(b)
			list := b.plan(c.on, 20).of("/top/")
			if len(list) == 0 {
				t.Fatal("no task")
			}
			if got := list[:1].String(); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
			if c.why != "" && list[0].Why != c.why {
				t.Errorf("why %q\nwant %q", list[0].Why, c.why)
			}
			seen := make(map[civil.Date]bool)
			for i, x := range list {
				if seen[x.Due] || i > 0 && x.Due.Sub(civil.Max(list[i-1].Due, day(c.on))) > 8 {
					t.Errorf("top-ups\n%s", list)
				}
				seen[x.Due] = true
			}
		})
	}
}

// tubRoom returns a lizard room with one clutch, in a tub with four holes of 3
// mm, at 28 °C in air of 22 °C and 60 %, checked every week.
func tubRoom() *books {
	check := routine(husbandry.TubCheck, sinceLast(7), husbandry.Stays)
	b := lizardRoom(check)
	cool, humid := husbandry.Celsius(22), 0.6
	b.Rooms[0].Temperature, b.Rooms[0].Humidity = &cool, &humid
	b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F03", Species: "wall-lizard", LaidFrom: day("05-01"), Laid: day("05-01"), Eggs: 6, Incubator: "I1", Tub: husbandry.Vented, TubSet: day("05-01"),
		Damp: husbandry.Damp{Holes: husbandry.Holes{Count: 4, Diameter: 3}, Lid: 1, Water: 100, Mass: 412}}}
	return b
}

func TestTopUpsOfATub(t *testing.T) {
	for _, c := range []struct {
		words string
		tell  func(b *books)
		on    string
		want  string // tasks of the tub
		why   string // of the first
	}{
		{"by its holes", func(*books) {}, "05-12", "upcoming 05-15 C1/r/first",
			"Loses about 0.31 g a day (0.10-0.97) by its holes alone; 7 g are left; bring it back to 412 g; looked at after 14 days at the latest; nothing recorded yet"},
		{"large holes", func(b *books) { b.Clutches[0].Damp.Holes.Diameter = 10 }, "05-04", "upcoming 05-05 C1/r/first\nupcoming 05-09 C1/r/first+2\nupcoming 05-13 C1/r/first+3\nupcoming 05-17 C1/r/first+4",
			"Loses about 1.3 g a day (0.4-4.1) by its holes alone; 6 g are left; bring it back to 412 g; nothing recorded yet"},
		{"weighed and given back what it lost", func(b *books) {
			b.scale("05-08", "C1/r/first", 407, 5).scale("05-15", "C1/r/after-2027-05-08", 407, 5)
		}, "05-16", "upcoming 05-28 C1/r/after-2027-05-15",
			"Loses about 0.61 g a day (0.36-0.88) by 3 weighings; 9 g are left; bring it back to 412 g; last checked Sat 15 May"},
		{"weighed, and nothing was added", func(b *books) { b.scale("05-08", "C1/r/first", 405, 0) }, "05-08", "due 05-08 C1/top-up-tub/2027-05-08\nupcoming 05-11 C1/r/after-2027-05-08\nupcoming 05-21 C1/r/after-2027-05-08+2",
			"It weighed 405 g on 8 May and should weigh 412 g: give it 7 ml"},
		{"weighed, and the water added later", func(b *books) {
			b.scale("05-08", "C1/r/first", 405, 0).water("05-08", "C1/top-up-tub/2027-05-08", 7)
		}, "05-08", "upcoming 05-18 C1/r/after-2027-05-08", ""},
		{"weighed, and the top-up done", func(b *books) {
			b.scale("05-08", "C1/r/first", 405, 0).done("05-09", "C1/top-up-tub/2027-05-08")
		}, "05-09", "upcoming 05-19 C1/r/after-2027-05-08", ""},
		{"brought back to its mass, amount not stated", func(b *books) { b.done("05-22", "C1/r/first") }, "05-22", "upcoming 06-05 C1/r/after-2027-05-22",
			"Loses about 0.31 g a day (0.10-0.97) by its holes alone; 10 g are left, if it was back at 412 g on 22 May: it was marked done without a weight; bring it back to 412 g, and say what it weighed before; last checked Sat 22 May"},
		{"amount not stated, target from the first weighing", func(b *books) {
			b.Clutches[0].Damp.Mass = 0
			b.scale("05-01", "C1/found/2027-05-01", 412, 0).done("05-22", "C1/r/first")
		}, "05-22", "upcoming 06-05 C1/r/after-2027-05-22",
			"Loses about 0.31 g a day (0.10-0.97) by its holes alone; 10 g are left, if it was back at 412 g on 22 May: it was marked done without a weight; bring it back to 412 g, and say what it weighed before; last checked Sat 22 May"},
		{"amount not stated, then a weighing", func(b *books) { b.done("05-22", "C1/r/first").scale("05-25", "C1/r/after-2027-05-22", 402, 0) }, "05-25",
			"due 05-25 C1/top-up-tub/2027-05-25\nupcoming 05-26 C1/r/after-2027-05-25", "It weighed 402 g on 25 May and should weigh 412 g: give it 10 ml"},
		{"lighter by less than a scale shows", func(b *books) { b.scale("05-08", "C1/r/first", 411, 0) }, "05-08", "upcoming 05-22 C1/r/after-2027-05-08", ""},
		{"only its mass is known", func(b *books) {
			b.Clutches[0].Damp = husbandry.Damp{Mass: 412}
			b.scale("05-08", "C1/r/first", 405, 0)
		}, "05-08", "due 05-08 C1/top-up-tub/2027-05-08\nupcoming 05-15 C1/r/after-2027-05-08\nupcoming 05-22 C1/r/after-2027-05-08+2", "It weighed 405 g on 8 May and should weigh 412 g: give it 7 ml"},
		{"weighed when it was set", func(b *books) {
			b.Clutches[0].Damp.Mass = 0
			b.scale("05-01", "C1/found/2027-05-01", 400, 0).scale("05-08", "C1/r/first", 395, 0)
		}, "05-08", "due 05-08 C1/top-up-tub/2027-05-08\nupcoming 05-15 C1/r/after-2027-05-08", "It weighed 395 g on 8 May and should weigh 400 g: give it 5 ml"},
		{"a weight of the young is not a weight of the tub", func(b *books) {
			young := routine(husbandry.Weigh, after(husbandry.EventHatched, 0), husbandry.Stays)
			young.ID, young.Scope, young.For = "young", husbandry.OfClutch, husbandry.Selector{}
			b.Routines = append(b.Routines, young)
			b.hatched("05-07", "C1/found/2027-05-07", 2).weighs("05-08", "C1/young/hatched", 3)
		}, "05-08", "upcoming 05-15 C1/r/first", ""},
		{"dead eggs taken out are not water", func(b *books) {
			one := 1
			b.found("05-07", "C1/found/2027-05-07", tasks.Finding{Dead: &one}).scale("05-08", "C1/r/first", 405, 0)
		}, "05-08", "due 05-08 C1/top-up-tub/2027-05-08\nupcoming 05-22 C1/r/after-2027-05-08", ""},
		{"sealed", func(b *books) { b.Clutches[0].Tub = husbandry.Sealed }, "05-12", "", ""},
		{"still in the box", func(b *books) {
			b.Clutches[0].Incubator, b.Clutches[0].TubSet = "", civil.Date{}
		}, "05-12", "", ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := tubRoom()
			c.tell(b)
			list := b.plan(c.on, 14).of("C1/")
			if got := list.String(); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
			if len(list) > 0 && c.why != "" && list[0].Why != c.why {
				t.Errorf("why %q\nwant %q", list[0].Why, c.why)
			}
		})
	}
}

// The overview words the moisture of a tub, and the reason why a sealed tub is
// left alone.
func TestClutchForecastsWordTheirTubs(t *testing.T) {
	for _, c := range []struct {
		words string
		tell  func(b *books)
		want  string
	}{
		{"vented", func(*books) {}, "its tub loses about 0.31 g a day (0.10-0.97) by its holes alone; 7 g are left"},
		{"sealed", func(b *books) { b.Clutches[0].Tub = husbandry.Sealed }, "its tub is sealed: it loses no water, so it is not opened, weighed or topped up"},
		{"nothing known", func(b *books) { b.Clutches[0].Damp = husbandry.Damp{} }, ""},
		{"a larger loss than all its water", func(b *books) { b.scale("05-08", "C1/found/2027-05-08", 300, 0) },
			"its tub loses about 0.31 g a day (0.10-0.97) by its holes alone; 7 g are left. Not used: 300 g on 8 May, less than without any water; weigh it again, and say what was added or taken out"},
	} {
		b := tubRoom()
		c.tell(b)
		if got := b.clutch(t, "05-12").Moisture; got != c.want {
			t.Errorf("%s: %q, want %q", c.words, got, c.want)
		}
	}
	b := tubRoom()
	dry := 0.9
	b.Incubators[0].Humidity = &dry
	if got := b.clutch(t, "05-12").Moisture; !strings.HasPrefix(got, "its tub loses about 0.05 g a day") {
		t.Errorf("in an incubator of 90 %%: %q", got)
	}
}

// For any notes about a box, the next top-up is at least a day after the last
// look, and at most twice the routine's interval after it. Every due task has a
// reason.
func TestTopUpsStayNearTheRoutinesInterval(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := dampRoom()
		b.Enclosures[0].NestBox.Damp.Headspace = husbandry.Millimetres(rapid.Float64Range(1, 2000).Draw(t, "headspace"))
		last := day("05-01")
		for i := range rapid.IntRange(1, 8).Draw(t, "top-ups") {
			if i > 0 {
				last = last.AddDays(rapid.IntRange(1, 12).Draw(t, "days"))
			}
			key := tasks.NewKey("E07", "top", "on-"+last.String())
			switch on := last.String(); rapid.IntRange(0, 2).Draw(t, "how") {
			case 0:
				b.done(on, key)
			case 1:
				b.water(on, key, rapid.Float64Range(1, 300).Draw(t, "ml"))
			case 2:
				b.scale(on, key, rapid.Float64Range(100, 1200).Draw(t, "grams"), rapid.Float64Range(0, 100).Draw(t, "ml"))
			}
		}
		list := b.plan(last.String(), 40).of("/top/")
		if len(list) < 5 {
			t.Fatalf("top-ups\n%s", list)
		}
		for _, x := range list {
			if wait := x.Due.Sub(last); wait < 1 || wait > 8 || x.Why == "" {
				t.Fatalf("%d days after %v: %s\n%s", wait, last, x.Why, list)
			}
			last = x.Due
		}
	})
}
