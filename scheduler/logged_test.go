package scheduler_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// logging forecasts the clutch of brooding with a log of the warm incubator.
// days maps a day since laying to the difference from 28 °C.
func logging(days map[int]float64, on string) outlook.ClutchForecast {
	b := brooding()
	in := b.input(on, 0)
	log := make(map[civil.Date][]husbandry.Celsius)
	for i, off := range days {
		log[day("05-12").AddDays(i)] = []husbandry.Celsius{husbandry.Celsius(28 + off), husbandry.Celsius(28 + off)}
	}
	in.Forecasts = &herd.Calibrated{Logged: map[husbandry.ID]map[civil.Date][]husbandry.Celsius{"WARM": log}}
	return outlook.ClutchForecasts(scheduler.NewDay(in))[0]
}

// A log speaks for the days ahead, too: an incubator a degree warmer than its
// set point is assumed to stay so. If the forecast used the log for past days
// only, it would come a little nearer every morning.
func TestALogAppliesToTheDaysAhead(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	warm := make(map[int]float64)
	var first, last civil.Date
	for i := range 24 {
		warm[i] = 1 + .2*random.NormFloat64()
		c := logging(warm, day("05-12").AddDays(i+1).Format("01-02"))
		if i < 4 {
			continue
		}
		if first.IsZero() {
			first = c.P50
		} else if d := c.P50.Sub(last); d > 1 || d < -1 {
			t.Errorf("day %d: half by %v, a day before it was %v", i+1, c.P50, last)
		}
		last = c.P50
		if off := c.P50.Sub(first); off < -1 || off > 1 {
			t.Errorf("day %d: half by %v, on the fifth day it was %v", i+1, c.P50, first)
		}
	}
}

func TestDaysMissingInALog(t *testing.T) {
	all := func(n int, off float64) map[int]float64 {
		m := make(map[int]float64)
		for i := range n {
			m[i] = off
		}
		return m
	}
	without := func(m map[int]float64, days ...int) map[int]float64 {
		for _, i := range days {
			delete(m, i)
		}
		return m
	}
	with := func(m map[int]float64, i int, off float64) map[int]float64 { m[i] = off; return m }
	half := func(c outlook.ClutchForecast) int { return c.P50.Sub(day("05-12")) }
	set, warm := half(logging(nil, "06-01")), half(logging(all(20, 1), "06-01"))
	if set-warm < 3 {
		t.Fatalf("28 °C: day %d, 29 °C: day %d", set, warm)
	}
	for name, c := range map[string]struct {
		log    map[int]float64
		want   int
		within int
	}{
		"a gap of ten days":                      {without(all(20, 1), 5, 6, 7, 8, 9, 10, 11, 12, 13, 14), warm, 0},
		"bought when the eggs were a week old":   {without(all(20, 1), 0, 1, 2, 3, 4, 5, 6), warm, 0},
		"one day without heat":                   {with(all(20, 0), 19, -8), set, 1},
		"two days logged":                        {all(2, 1), set, 1},
		"read out ten days ago":                  {all(10, 1), warm, 0},
		"far from the set point until yesterday": {all(20, -4), set + 30, 12},
		"far from the set point ten days ago":    {all(10, -4), set + 5, 2},
	} {
		t.Run(name, func(t *testing.T) {
			got := logging(c.log, "06-01")
			if d := half(got) - c.want; d < -c.within || d > c.within {
				t.Errorf("half by day %d, want %d; %s", half(got), c.want, got.Basis)
			}
		})
	}
	if b := logging(all(20, 1), "06-01").Basis; !strings.HasSuffix(b, "; its incubator's log has 20 of its 20 days, days to come count at 29.0 °C as lately logged") {
		t.Error(b)
	}
	if b := logging(all(20, 0), "06-01").Basis; strings.Contains(b, "to come") {
		t.Error(b)
	}
}
