package incubation_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/incubation"
	"nestround/scheduler/incubation/published"
	"nestround/tasks/husbandry"
)

// anyBrood draws a clutch at any temperature between too cold and too hot.
// Published data cover its species, only its genus, only its family, or
// neither.
func anyBrood(t *rapid.T) incubation.Case {
	type kind struct{ species, family string }
	kinds := []kind{
		{"Sceloporus magister", "Phrynosomatidae"}, {"Anolis carolinensis", "Dactyloidae"}, {"Pogona vitticeps", "Agamidae"},
		{"Cordylus cordylus", "Cordylidae"}, {"", ""},
	}
	for _, r := range published.Durations() {
		kinds = append(kinds, kind{r.Species, r.Family})
	}
	k := rapid.SampledFrom(kinds).Draw(t, "kind")
	c := brood(k.species, k.family, husbandry.Celsius(rapid.Float64Range(20, 36).Draw(t, "celsius")))
	c.Warmth[0].Swing = husbandry.Celsius(rapid.Float64Range(0, 6).Draw(t, "swing"))
	c.Eggs = rapid.IntRange(0, 40).Draw(t, "eggs")
	if rapid.Bool().Draw(t, "rests") {
		from := rapid.IntRange(10, 90).Draw(t, "rest")
		c.Sheet.Diapause = husbandry.Span{From: husbandry.Days(from), To: husbandry.Days(from + rapid.IntRange(1, 60).Draw(t, "doubt"))}
	}
	return c
}

// For any clutch and any day of waiting: the quantiles are in order, the
// probabilities add up to 1, and the forecast moves little from one morning to
// the next.
func TestPropertiesOfForecastsOfAnyClutch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyBrood(t)
		first := incubation.Calibrated(nil, c)
		if !first.Known {
			t.Fatalf("nothing known at %g °C", float64(c.Warmth[0].Temperature))
		}
		late := rapid.Float64Range(0, 1.3).Draw(t, "late")
		c.On = first.Laid.AddDays(1 + int(late*float64(first.WatchTo.Sub(first.Laid))))
		f := incubation.Calibrated(nil, c)
		days := [...]interface{ IsZero() bool }{f.P05, f.P25, f.P50, f.P75, f.P95}
		for _, d := range days {
			if d.IsZero() {
				t.Fatalf("a day is missing: %+v", f)
			}
		}
		if f.P25.Before(f.P05) || f.P50.Before(f.P25) || f.P75.Before(f.P50) || f.P95.Before(f.P75) || !f.Overdue && f.P05.Before(c.On) {
			t.Errorf("not in order, or gone by: %v %v %v %v %v on %v", f.P05, f.P25, f.P50, f.P75, f.P95, c.On)
		}
		if f.WatchFrom != first.WatchFrom || f.WatchTo != first.WatchTo {
			t.Errorf("the days worth watching moved from %v, %v to %v, %v", first.WatchFrom, first.WatchTo, f.WatchFrom, f.WatchTo)
		}
		if math.IsNaN(f.SD) || f.SD <= 0 || f.Mean <= 0 {
			t.Errorf("mean %g, standard deviation %g", f.Mean, f.SD)
		}
		if f.Overdue {
			return
		}
		sum := 0.0
		_, chances := f.Daily()
		for _, p := range chances {
			if !(p >= 0) {
				t.Fatalf("a chance of %g", p)
			}
			sum += p
		}
		if sum < .98 || sum > 1.0001 {
			t.Errorf("chances add up to %g", sum)
		}
		c.On = c.On.AddDays(1)
		// The wider the forecast, the more it moves after a day without young.
		rest := float64(c.Sheet.Diapause.From+c.Sheet.Diapause.To) / 2
		next, most := incubation.Calibrated(nil, c), 2+int(8*f.SD/(f.Mean-rest))
		if by := next.P50.Sub(f.P50); !next.Overdue && (by < 0 || by > most) {
			t.Errorf("on the next day half by %v, not %v", next.P50, f.P50)
		}
		if by := next.P95.Sub(f.P95); !next.Overdue && (by < 0 || by > 3*most) {
			t.Errorf("on the next day nine in ten by %v, not %v", next.P95, f.P95)
		}
	})
}

// Warmer eggs never take longer. A tenth of a degree changes little.
func TestWarmerEggsNeverTakeLonger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyBrood(t)
		f := incubation.Calibrated(nil, c)
		c.Warmth[0].Temperature += .1
		warmer := incubation.Calibrated(nil, c)
		if warmer.Mean > f.Mean || warmer.Mean < .96*f.Mean {
			t.Errorf("%g °C: %.2f days, a tenth of a degree less: %.2f", float64(c.Warmth[0].Temperature), warmer.Mean, f.Mean)
		}
		if a, b := f.SD/f.Mean, warmer.SD/warmer.Mean; math.Abs(a-b) > .02 {
			t.Errorf("%g °C: spread %.3f of the mean, a tenth of a degree less: %.3f", float64(c.Warmth[0].Temperature), b, a)
		}
	})
}
