package cooling_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/season/cooling"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse(s) }

// wallLizard has the usual winter of small lizards from cold climates (common
// practice): two warm weeks without food, ten days down, ten weeks at 5-12 °C,
// ten days up, fed three to seven days later, paired two to six weeks later.
var wallLizard = husbandry.CoolingCare{
	Start: husbandry.MonthDay{Month: time.November, Day: 1},
	Fast:  14, Down: husbandry.Ramp{Days: 10, Steps: []husbandry.Celsius{20, 15}},
	From: 5, To: 12, Lasts: 70,
	Up:        husbandry.Ramp{Days: 10, Steps: []husbandry.Celsius{15, 20}},
	FirstFeed: husbandry.Span{From: 3, To: 7}, Pair: husbandry.Span{From: 14, To: 42},
	WarnLoss: 0.05, StopLoss: 0.08,
}

func steps(c cooling.Course) string {
	var words []string
	for _, s := range c.Steps {
		target := fmt.Sprintf("%g-%g", s.From, s.To)
		switch {
		case s.Usual:
			target = "usual"
		case s.From == s.To:
			target = fmt.Sprintf("%g", s.To)
		}
		words = append(words, fmt.Sprintf("%s %s %s", s.On.Format("01-02"), s.Name, target))
	}
	return strings.Join(words, ", ")
}

func dates(c cooling.Course) string {
	var words []string
	for _, d := range []civil.Date{c.Fast, c.Down, c.Cold, c.Up, c.Warm, c.Feed, c.FeedBy, c.Pair, c.PairBy} {
		words = append(words, d.Format("01-02"))
	}
	return strings.Join(words, " ")
}

// The expected dates were counted by hand on a calendar.
func TestTheDatesOfAWinter(t *testing.T) {
	short := wallLizard
	short.Down, short.Up = husbandry.Ramp{Days: 7}, husbandry.Ramp{Days: 7}
	for _, c := range []struct {
		words        string
		course       cooling.Course
		dates, steps string
	}{
		{"as usual", cooling.New(wallLizard, day("2026-11-01")), "11-01 11-15 11-25 02-03 02-13 02-16 02-20 02-27 03-27",
			"11-15 down-1 20, 11-20 down-2 15, 11-25 cold 5-12, 02-03 up-1 15, 02-08 up-2 20, 02-13 warm usual"},
		{"over a leap day", cooling.New(wallLizard, day("2027-12-20")), "12-20 01-03 01-13 03-23 04-02 04-05 04-09 04-16 05-14",
			"01-03 down-1 20, 01-08 down-2 15, 01-13 cold 5-12, 03-23 up-1 15, 03-28 up-2 20, 04-02 warm usual"},
		{"without steps the cold and the warmth are set on the ramps' first days", cooling.New(short, day("2026-11-01")), "11-01 11-15 11-22 01-31 02-07 02-10 02-14 02-21 03-21",
			"11-15 cold 5-12, 01-31 warm usual"},
		{"warmed early", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2026-12-24")), "11-01 11-15 11-25 12-24 01-03 01-06 01-10 01-17 02-14",
			"11-15 down-1 20, 11-20 down-2 15, 11-25 cold 5-12, 12-24 up-1 15, 12-29 up-2 20, 01-03 warm usual"},
		{"warmed late", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2027-02-10")), "11-01 11-15 11-25 02-10 02-20 02-23 02-27 03-06 04-03",
			"11-15 down-1 20, 11-20 down-2 15, 11-25 cold 5-12, 02-10 up-1 15, 02-15 up-2 20, 02-20 warm usual"},
		{"warmed on the way down: only the steps above the present temperature", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2026-11-22")), "11-01 11-15 11-22 11-22 12-02 12-05 12-09 12-16 01-13",
			"11-15 down-1 20, 11-20 down-2 15, 11-22 up-1 20, 12-02 warm usual"},
		{"cancelled during the fast: fed at once", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2026-11-06")), "11-01 11-06 11-06 11-06 11-06 11-06 11-13 11-13 11-13", ""},
		{"cancelled before it began", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2026-10-06")), "11-01 11-01 11-01 11-01 11-01 11-01 11-08 11-08 11-08", ""},
		{"warmed on two days: the last counts", cooling.New(wallLizard, day("2026-11-01")).WarmedFrom(day("2026-11-18")).WarmedFrom(day("2026-12-24")), "11-01 11-15 11-25 12-24 01-03 01-06 01-10 01-17 02-14",
			"11-15 down-1 20, 11-20 down-2 15, 11-25 cold 5-12, 12-24 up-1 15, 12-29 up-2 20, 01-03 warm usual"},
	} {
		t.Run(c.words, func(t *testing.T) {
			if got := dates(c.course); got != c.dates {
				t.Errorf("dates\n%s, want\n%s", got, c.dates)
			}
			if got := steps(c.course); got != c.steps {
				t.Errorf("steps\n%s, want\n%s", got, c.steps)
			}
		})
	}
}

func TestPhases(t *testing.T) {
	c := cooling.New(wallLizard, day("2026-11-01"))
	for _, x := range []struct {
		on   string
		want cooling.Phase
		food bool
	}{
		{"2026-10-31", cooling.Before, true}, {"2026-11-01", cooling.Fasting, false}, {"2026-11-14", cooling.Fasting, false},
		{"2026-11-15", cooling.Down, false}, {"2026-11-25", cooling.Cold, false}, {"2027-02-02", cooling.Cold, false},
		{"2027-02-03", cooling.Up, false}, {"2027-02-13", cooling.Warm, false}, {"2027-02-16", cooling.Fed, true}, {"2027-02-27", cooling.Ready, true},
	} {
		if got := c.Phase(day(x.on)); got != x.want || c.Foodless(day(x.on)) == x.food {
			t.Errorf("%s: %s, without food %v; want %s", x.on, got, c.Foodless(day(x.on)), x.want)
		}
	}
}

func TestTheFirstDayOfAWinter(t *testing.T) {
	leap := wallLizard
	leap.Start = husbandry.MonthDay{Month: time.August, Day: 31}
	for _, c := range []struct {
		words string
		got   civil.Date
		want  string
	}{
		{"north", cooling.Start(wallLizard, 2026, 48.2), "2026-11-01"},
		{"latitude not said", cooling.Start(wallLizard, 2026, 0), "2026-11-01"},
		{"south, half a year later", cooling.Start(wallLizard, 2026, -33.9), "2027-05-01"},
		{"south, into a shorter month", cooling.Start(leap, 2026, -33.9), "2027-02-28"},
	} {
		if c.got != day(c.want) {
			t.Errorf("%s: %s, want %s", c.words, c.got, c.want)
		}
	}
}

func TestJudgingALossOfMass(t *testing.T) {
	none := wallLizard
	none.WarnLoss, none.StopLoss = 0, 0
	for _, c := range []struct {
		words      string
		care       husbandry.CoolingCare
		start, now husbandry.Grams
		lost       float64
		want       cooling.Loss
	}{
		{"as heavy as at the start", wallLizard, 8, 8, 0, cooling.Fine},
		{"heavier", wallLizard, 8, 8.4, -0.05, cooling.Fine},
		{"4.9 %", wallLizard, 100, 95.1, 0.049, cooling.Fine},
		{"just 5 %", wallLizard, 100, 95, 0.05, cooling.Warn},
		{"just 8 %", wallLizard, 100, 92, 0.08, cooling.Stop},
		{"7.9 %", wallLizard, 100, 92.1, 0.079, cooling.Warn},
		{"no mass at the start", wallLizard, 0, 92, 0, cooling.Fine},
		{"no limits", none, 100, 50, 0.5, cooling.Fine},
	} {
		lost, got := cooling.Losing(c.care, c.start, c.now)
		if d := float64(lost) - c.lost; got != c.want || d > 1e-6 || d < -1e-6 {
			t.Errorf("%s: %v, %q, want %v, %q", c.words, lost, got, c.lost, c.want)
		}
	}
}

func anyCare(t *rapid.T) husbandry.CoolingCare {
	ramp := func(name string) husbandry.Ramp {
		steps := rapid.SliceOfNDistinct(rapid.IntRange(13, 30), 0, 5, func(n int) int { return n }).Draw(t, name+" steps")
		slices.Sort(steps)
		r := husbandry.Ramp{Days: husbandry.Days(rapid.IntRange(max(1, len(steps)), 20).Draw(t, name+" days"))}
		for _, s := range steps {
			r.Steps = append(r.Steps, husbandry.Celsius(s))
		}
		return r
	}
	c := husbandry.CoolingCare{
		Fast: husbandry.Days(rapid.IntRange(1, 30).Draw(t, "fast")), Down: ramp("down"), Up: ramp("up"),
		From: 5, To: 12, Lasts: husbandry.Days(rapid.IntRange(7, 150).Draw(t, "lasts")), Weigh: 10,
	}
	slices.Reverse(c.Down.Steps)
	c.FirstFeed.From = husbandry.Days(rapid.IntRange(0, 9).Draw(t, "fed from"))
	c.FirstFeed.To = c.FirstFeed.From + husbandry.Days(rapid.IntRange(0, 9).Draw(t, "fed to"))
	c.Pair.From = husbandry.Days(rapid.IntRange(0, 30).Draw(t, "paired from"))
	c.Pair.To = c.Pair.From + husbandry.Days(rapid.IntRange(0, 30).Draw(t, "paired to"))
	return c
}

// phases lists every phase, in order.
var phases = []cooling.Phase{cooling.Before, cooling.Fasting, cooling.Down, cooling.Cold, cooling.Up, cooling.Warm, cooling.Fed, cooling.Ready}

// For any care sheet and any day of warming: the dates ascend, the phases
// follow in order, the temperature first falls and then rises, the course ends
// in the warmth, and food comes back.
func TestEveryWinterEndsInWarmthWithFood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := cooling.New(anyCare(t), day("2026-10-01").AddDays(rapid.IntRange(0, 500).Draw(t, "start")))
		if rapid.Bool().Draw(t, "moved") {
			c = c.WarmedFrom(c.Fast.AddDays(rapid.IntRange(-20, 300).Draw(t, "warmed")))
		}
		order := []civil.Date{c.Fast, c.Down, c.Cold, c.Up, c.Warm, c.Feed, c.FeedBy}
		if !slices.IsSortedFunc(order, civil.Date.Compare) || c.Pair.Before(c.Feed) || c.PairBy.Before(c.Pair) {
			t.Fatalf("dates out of order: %s", dates(c))
		}
		last, foodless := cooling.Before, 0
		for d := c.Fast.AddDays(-1); !d.After(c.PairBy); d = d.AddDays(1) {
			p := c.Phase(d)
			if slices.Index(phases, p) < slices.Index(phases, last) {
				t.Fatalf("%s on %s after %s", p, d, last)
			}
			if c.Foodless(d) {
				foodless++
			}
			if c.Cooled(d) && !c.Foodless(d) {
				t.Fatalf("food in the cold on %s: %s", d, dates(c))
			}
			last = p
		}
		if last != cooling.Ready || foodless != c.Feed.Sub(c.Fast) {
			t.Fatalf("ends %s, %d days without food: %s", last, foodless, dates(c))
		}
		names := make(map[string]bool)
		rising := false
		for i, s := range c.Steps {
			if names[s.Name] {
				t.Fatalf("two steps named %s", s.Name)
			}
			names[s.Name] = true
			if s.On.Before(c.Down) || s.On.After(c.Warm) {
				t.Fatalf("a step on %s: %s", s.On, dates(c))
			}
			if i == 0 {
				continue
			}
			before := c.Steps[i-1]
			rising = rising || !s.On.Before(c.Up)
			if !before.On.Before(s.On) || !s.Usual && rising != (s.To > before.To) {
				t.Fatalf("steps out of order: %s", steps(c))
			}
		}
		if c.WasCooled() != (len(c.Steps) > 0) || len(c.Steps) > 0 && !c.Steps[len(c.Steps)-1].Usual {
			t.Fatalf("does not end in the warmth: %s", steps(c))
		}
	})
}
