package incubation_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation"
	"nestround/scheduler/incubation/pooled"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// A watch begins on the day by which one egg in fifty has hatched, and ends on
// the day by which 49 in fifty have (common practice). Eggs that may rest for 0
// to 120 days hatch over months, so that a day more or less changes little.
func TestTheWatchLeavesOutOneEggInFiftyOnEitherSide(t *testing.T) {
	for _, c := range []incubation.Case{brood("Chamaeleo chamaeleon", "", 25), brood("Sceloporus magister", "Phrynosomatidae", 22)} {
		f := incubation.Calibrated(nil, c)
		before := func(day civil.Date) (sum float64) {
			first, chances := f.Daily()
			for i, p := range chances {
				if first.AddDays(i).Before(day) {
					sum += p
				}
			}
			return sum
		}
		for _, x := range []struct {
			words string
			day   civil.Date
			want  float64
		}{{"the first day", f.WatchFrom, 0.02}, {"the last day", f.WatchTo, 0.98}} {
			if noon := (before(x.day) + before(x.day.AddDays(1))) / 2; math.Abs(noon-x.want) > 0.002 {
				t.Errorf("%s: %s of the watch, %v: a share of %.4f has hatched by noon, want %.2f", c.Species, x.words, x.day, noon, x.want)
			}
		}
	}
}

// The temperature of a tub that nobody measured is about 28 °C, with a standard
// deviation of two degrees (common practice). Their effect on the days is added
// to the variance of the forecast at 28 °C.
func TestATubThatNobodyMeasuredIsTwoDegreesUncertain(t *testing.T) {
	at := func(celsius husbandry.Celsius) incubation.Forecast {
		return incubation.Calibrated(nil, brood("Podarcis muralis", "Lacertidae", celsius))
	}
	c := brood("Podarcis muralis", "Lacertidae", 28)
	c.Warmth = nil
	unknown, known := incubation.Calibrated(nil, c), at(28)
	if unknown.Mean != known.Mean {
		t.Fatalf("not measured: %.2f days, at 28 °C: %.2f", unknown.Mean, known.Mean)
	}
	perDegree := math.Log(at(27).Mean/at(29).Mean) / 2
	added := math.Sqrt(unknown.SD*unknown.SD-known.SD*known.SD) / known.Mean
	if degrees := added / perDegree / pooled.Default().Widen.Known; math.Abs(degrees-2) > 0.02 {
		t.Errorf("as uncertain as by %.3f °C, want 2", degrees)
	}
}

// After a winter's rest all eggs of a clutch wake within days of one another:
// the standard deviation is four days. Eggs of common chameleons hatched within
// 2 to 14 days of one another (Andrews, Díaz-Paniagua, Marco & Portheault 2008,
// Physiological and Biochemical Zoology 81:336-344); 14 days are the middle 90 %
// of 4.3. A rest that a care sheet states as a single number of days is taken to
// vary by half a day.
func TestEggsWakeWithinDaysAfterAWinter(t *testing.T) {
	c := resting()
	c.Sheet.Diapause = husbandry.Span{From: 60, To: 120}
	c.Warmth = []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 120, Temperature: 16}, {Temperature: 26}}
	winter := incubation.Calibrated(nil, c)
	c.Sheet.Diapause = husbandry.Span{From: 140, To: 140}
	c.Warmth = []incubation.Spell{{Temperature: 26}}
	stated := incubation.Calibrated(nil, c)
	if math.Abs(winter.Mean-stated.Mean) > 0.01 {
		t.Fatalf("after a winter of 140 days %.1f days, after a rest of 140 days %.1f", winter.Mean, stated.Mean)
	}
	widen := pooled.Default().Widen.Known
	waking := math.Sqrt((winter.SD*winter.SD-stated.SD*stated.SD)/(widen*widen) + 0.5*0.5)
	if math.Abs(waking-4) > 0.02 {
		t.Errorf("eggs wake with a standard deviation of %.2f days, want 4", waking)
	}
}

// Of the eggs of a clutch four in five hatch (about the median of the published
// treatments), so that waiting eggs say less of the clutch than they would if
// all had to hatch. The forecast is compared with a plain integration over the
// clutches of the species: their medians follow a t distribution, the eggs of a
// clutch a normal distribution with half of the variance of single eggs (SD 0.04
// of the days).
func TestFourInFiveEggsAreExpectedToHatch(t *testing.T) {
	c := brood("Podarcis muralis", "Lacertidae", 28)
	c.Eggs = 1
	first := incubation.Calibrated(nil, c)
	within := 0.04 * math.Sqrt(0.5)
	between := math.Sqrt(math.Pow(first.SD/first.Mean, 2) - within*within)
	tail := distuv.StudentsT{Sigma: between * math.Sqrt(float64(pooled.PredictiveTail-2)/pooled.PredictiveTail), Nu: pooled.PredictiveTail}
	c.On = first.P75
	const viable = 0.8
	chance := func(waiting int) float64 {
		at := func(day int) float64 { return math.Log((float64(c.On.Sub(c.Laid)+day) - .5) / first.Mean) }
		var today, all float64
		for u := -8 * between; u < 8*between; u += between / 1000 {
			hatched := func(day int) float64 { return distuv.UnitNormal.CDF((at(day) - u) / within) }
			weight := tail.Prob(u) * math.Pow(1-viable*hatched(0), float64(waiting-1))
			today += weight * (hatched(1) - hatched(0))
			all += weight * (1 - hatched(0))
		}
		return today / all
	}
	for _, eggs := range []int{1, 2, 6, 12} {
		c.Eggs = eggs
		got, want := incubation.Calibrated(nil, c).Probability(c.On), chance(eggs)
		if math.Abs(got-want) > 0.0005 {
			t.Errorf("%d eggs wait: one hatches today with a probability of %.4f, want %.4f", eggs, got, want)
		}
	}
}
