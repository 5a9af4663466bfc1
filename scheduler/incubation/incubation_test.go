package incubation_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/incubation"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

type point = husbandry.IncubationPoint

func at(t husbandry.Celsius, days float64) point { return point{Temperature: t, Days: days} }

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, within)
	}
}

// Mean days from laying to hatching at constant temperatures, as the papers
// measured them (restated in the Reptile Development Database, Noble et al.
// 2018, Sci Data 5:180138). The test values are the least-squares lines through
// them.
var (
	wallLizard = []point{at(26, 46.8), at(29, 33.8), at(32, 27.4)} // Podarcis muralis, Ji & Braña 1999, Comp Biochem Physiol A 124:205-213
	brownAnole = []point{at(26, 35.9), at(28, 30.4), at(30, 25.8)} // Anolis sagrei, Warner et al. 2012, Biol J Linn Soc 105:25-41
	picta      = []point{at(23, 127.43), at(26, 79.25), at(30, 48.96)}
)

func TestLinesThroughPublishedSeries(t *testing.T) {
	for _, c := range []struct {
		species, source string
		points          []point
		t0, k           float64
		within          float64 // rounding error of the published line
	}{
		{"Podarcis muralis", "Ji & Braña 1999, Comp Biochem Physiol A 124:205-213", wallLizard, 17.44, 396.6, .05},
		{"Podarcis muralis", "Le Henanff et al. 2013, Biol J Linn Soc 108:384-395", []point{at(23, 65.9), at(29, 32.6)}, 17.13, 387.1, .1},
		{"Sceloporus undulatus", "Angilletta, Winters & Dunham 2000, Ecology 81:2957-2968", []point{at(28, 54.7), at(30, 47.6), at(32, 40.5)}, 16.69, 624.0, .1},
		{"Agama impalearis", "El Mouden, Znari & Pieau 2001, Herpetol J 11:101-108", []point{at(26, 83.3), at(28, 67.3), at(30, 54.5), at(32, 45.5)}, 18.94, 598.6, .1},
		{"Paroedura picta", "Blumberg, Lewis & Sokoloff 2002, J Exp Biol 205:2777-2784", picta, 18.783, 553.97, .01},
		{"Ctenophorus decresii", "Harlow 2000, Copeia 2000:958-964", []point{at(25, 115), at(26, 97.7), at(27.5, 74.3), at(29, 59), at(30, 57.7)}, 20.34, 537.0, .1},
		{"Takydromus septentrionalis", "Lin & Ji 1998, Zool Res 19:439-445", []point{at(24, 47.9), at(26, 37.8), at(28, 32.7)}, 15.29, 412.2, .1},
		{"Dipsosaurus dorsalis", "Muth 1980, Ecology 61:1335-1343", []point{at(28, 82.53), at(30, 66.4), at(32, 56.25), at(34, 49), at(36, 44.82)}, 18.37, 777.1, .1},
	} {
		t.Run(c.species+", "+c.source, func(t *testing.T) {
			line, err := incubation.Fit(c.points)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "T0", float64(line.T0), c.t0, .006)
			near(t, "K", line.K, c.k, c.within)
		})
	}
	line, err := incubation.Fit(brownAnole)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Anolis sagrei T0", float64(line.T0), 15.832638527, 1e-6)
	near(t, "Anolis sagrei K", line.K, 366.81980198, 1e-6)
}

// The line of one paper is compared with durations that other people measured.
func TestLinesAgainstIndependentMeasurements(t *testing.T) {
	for _, c := range []struct {
		name     string
		points   []point
		at       husbandry.Celsius
		observed float64
		off      float64 // the stated error, as a share
	}{
		{"Paroedura picta: Noro et al. 2009, Dev Dyn 238:100-109, 60 days; 28 °C is from memory", picta, 28, 60, +.002},
		{"Podarcis muralis at 23 °C: Le Henanff et al. 2013", wallLizard, 23, 65.9, +.08},
		{"Podarcis muralis at 29 °C: Le Henanff et al. 2013", wallLizard, 29, 32.6, +.05},
	} {
		t.Run(c.name, func(t *testing.T) {
			line, err := incubation.Fit(c.points)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "error", 1/share(line, c.at)/c.observed-1, c.off, .006)
		})
	}
	// Sceloporus undulatus in daily cycles; heat sum of 495 degree-days above
	// 17 °C and the durations from Parker & Andrews 2007, Oecologia 151:218-231.
	fence := incubation.Line{T0: 17, K: 495}
	near(t, "22 °C, range 6 °C, observed 98.9 days", fence.K/incubation.EffectiveDegrees(22, 3, fence.T0), 98.9, .2)
	near(t, "24 °C, range 6 °C: short by 5 %", fence.K/incubation.EffectiveDegrees(24, 3, fence.T0)/74.4-1, -.05, .005)
	// A straight line is known to fail if the cycle reaches 32 °C.
	near(t, "27 °C, range 10 °C: short by 12 %", fence.K/incubation.EffectiveDegrees(27, 5, fence.T0)/56.4-1, -.12, .005)
}

// share is the share of the development that one day at a constant t brings.
func share(l incubation.Line, t husbandry.Celsius) float64 {
	return incubation.EffectiveDegrees(t, 0, l.T0) / l.K
}

// Worked by hand from the Anolis sagrei line (Warner et al. 2012).
func TestDevelopmentAddsUpByDays(t *testing.T) {
	l := incubation.Line{T0: 15.832638527, K: 366.81980198}
	near(t, "constant 27 °C", 1/share(l, 27), 32.84749, 1e-4)
	near(t, "half a day at 24, half at 30 °C", 1/((share(l, 24)+share(l, 30))/2), 32.84749, 1e-4)
	first := 10 * share(l, 20)
	near(t, "ten days at 20 °C", first, 0.11360787, 1e-7)
	near(t, "then 28 °C", 10+(1-first)/share(l, 28), 36.72282, 1e-4)
	near(t, "half a day at 14 °C adds nothing, half at 34", 1/((share(l, 14)+share(l, 34))/2), 40.38229, 1e-4)
}

func TestEffectiveDegreesOfASineDay(t *testing.T) {
	for _, c := range []struct{ mean, swing, want float64 }{
		{20, 8, 4.2277}, {17.9, 5, 2.0674}, {15, 8, 1.6265}, {22, 3, 5.0000}, {12, 3, 0},
	} {
		near(t, "formula", incubation.EffectiveDegrees(husbandry.Celsius(c.mean), husbandry.Celsius(c.swing), 17), c.want, 5e-5)
		// The same mean, added up over a day in steps of ten seconds.
		sum, steps := 0.0, 8640
		for i := range steps {
			sum += max(0, c.mean+c.swing*math.Sin(2*math.Pi*(float64(i)+.5)/float64(steps))-17)
		}
		near(t, "numerically", sum/float64(steps), c.want, 1e-4)
	}
}

func question(points []point, t husbandry.Celsius) incubation.Question {
	laid := civil.MustParse("2027-05-12")
	return incubation.Question{Sheet: husbandry.Incubation{Points: points}, Laid: laid, LaidFrom: laid, Temperature: &t, On: laid, Units: husbandry.Metric}
}

func TestTheWindowOfWallLizardsAt28(t *testing.T) {
	f := incubation.Hatching(question(wallLizard, 28))
	near(t, "mean", f.Mean, 37.55, .01)
	// The biological SD of 1.50 days and the thermometer's of 1.78 make 2.33.
	near(t, "sd", f.SD, 2.33, .01)
	if got, want := f.P50.String(), "2027-06-19"; got != want { // 12 May and 38 days
		t.Errorf("median: got %s, want %s", got, want)
	}
	if got, want := f.WatchFrom.String(), "2027-06-12"; got != want { // 31.7 days, rounded down
		t.Errorf("watch from %s, want %s", got, want)
	}
	if got, want := f.WatchTo.String(), "2027-06-26"; got != want { // 44.5 days, rounded up
		t.Errorf("watch to %s, want %s", got, want)
	}
	if !strings.Contains(f.Basis, "397 degree-days above 17.4 °C") {
		t.Errorf("basis %q", f.Basis)
	}
}

func TestOnlyTemperaturesNearTheMeasurementsAreForecast(t *testing.T) {
	cold := incubation.Hatching(question(wallLizard, 22.9))
	if cold.Known || len(cold.Cautions) == 0 {
		t.Errorf("3.1 °C below the coldest measurement: %+v", cold)
	}
	if f := incubation.Hatching(question(wallLizard, 23.1)); !f.Known || len(f.Cautions) == 0 {
		t.Errorf("2.9 °C below the coldest measurement: want a forecast with a caution, got %+v", f)
	}
	hot, hottest := incubation.Hatching(question(wallLizard, 36)), incubation.Hatching(question(wallLizard, 32))
	near(t, "above the hottest measurement nothing runs faster", hot.Mean, hottest.Mean, 1e-9)
	if len(hot.Cautions) == 0 || len(hottest.Cautions) != 0 {
		t.Errorf("cautions: above %q, at %q", hot.Cautions, hottest.Cautions)
	}
	q := question(wallLizard, 22)
	q.Sheet.Days = husbandry.Span{From: 45, To: 70}
	if f := incubation.Hatching(q); !f.Known || !strings.Contains(f.Basis, "45-70 days") || len(f.Cautions) == 0 {
		t.Errorf("too cold for the points, but the sheet has a range: %+v", f)
	}
	q = question(wallLizard, 31)
	q.Sheet.SafeFrom, q.Sheet.SafeTo, q.Swing = 24, 30, 1
	if f := incubation.Hatching(q); len(f.Cautions) != 1 || !strings.Contains(f.Cautions[0], "32.0 °C is hotter") {
		t.Errorf("outside the safe range: cautions %q", f.Cautions)
	}
	q.Units = husbandry.US
	if f := incubation.Hatching(q); !strings.Contains(f.Cautions[0], "89.6 °F is hotter") {
		t.Errorf("in US units: %q", f.Cautions)
	}
}

func TestForecastsFromACareSheetWithFewFigures(t *testing.T) {
	// Leopard gecko, 52 days in ovo: Wise, Vickaryous & Russell 2009, Anat Rec
	// 292:1198-1212; 28 °C is from memory.
	one := []point{{Temperature: 28, Days: 52, Source: "Wise 2009"}}
	f := incubation.Hatching(question(one, 28))
	near(t, "one point, at it", f.Mean, 52, 1e-9)
	warmer := incubation.Hatching(question(append(one, at(32, 45)), 30))
	near(t, "two points lie on their line", 1/warmer.Mean, (1/52.0+1/45.0)/2, 1e-9)
	colder := incubation.Hatching(question(one, 26))
	near(t, "one point, 2 °C colder: 52 x 10.7/8.7", colder.Mean, 52*10.7/8.7, 1e-9)
	if colder.SD <= f.SD*colder.Mean/f.Mean || !strings.Contains(colder.Basis, "17.3 °C") {
		t.Errorf("carrying one point over should widen the window and say so: %+v", colder)
	}

	q := question(nil, 28)
	q.Sheet.Days = husbandry.Span{From: 45, To: 70}
	f = incubation.Hatching(q)
	near(t, "middle of the range", f.Mean, 57.5, 1e-9)
	near(t, "its ends are the 5th and 95th percentile", f.SD*2*1.6448536, 25, 1e-4)
	if got := f.P95.Sub(q.Laid); got != 70 {
		t.Errorf("p95 after %d days, want 70", got)
	}

	q = question(wallLizard, 0)
	q.Temperature = nil
	if f := incubation.Hatching(q); !f.Known || !strings.Contains(f.Basis, "not known") {
		t.Errorf("no temperature: %+v", f)
	}
	if f := incubation.Hatching(question(nil, 28)); f.Known || f.Basis == "" || f.Probability(q.Laid) != 0 {
		t.Errorf("an empty sheet: %+v", f)
	}
}

func TestDiapauseWidensTheWindow(t *testing.T) {
	// Veiled chameleon at 25 and 28 °C, 253.4 and 227.49 days from laying:
	// Ballen, Shine & Olsson 2015, Behaviour 152:1307-1324. Diapause of 50 to
	// 80 days at 25 °C: Andrews & Donoghue 2004, J Exp Zool 301A:629-635.
	q := question([]point{at(25, 253.4), at(28, 227.49)}, 25)
	q.Sheet.Diapause = husbandry.Span{From: 50, To: 80}
	f := incubation.Hatching(q)
	near(t, "the measured total", f.Mean, 253.4, 1e-6)
	rest := 30 / (2 * 1.6448536)
	if f.SD < math.Hypot(rest, .04*188.4) {
		t.Errorf("sd %.1f days leaves the diapause out", f.SD)
	}
	if !strings.Contains(f.Basis, "rest of 50-80 days") {
		t.Errorf("basis %q", f.Basis)
	}
}

func TestAnUncertainLayingDateAddsItsVariance(t *testing.T) {
	q := question(wallLizard, 28)
	known := incubation.Hatching(q)
	q.LaidFrom = q.Laid.AddDays(-10)
	f := incubation.Hatching(q)
	if got := q.Laid.Sub(f.Laid); got != 5 {
		t.Errorf("counted from %d days before, want the middle", got)
	}
	// The variance of a day drawn from eleven is (11²-1)/12 = 10.
	near(t, "variance added", f.SD*f.SD-known.SD*known.SD, 10, 1e-9)
}

// Eggs that have not hatched are evidence, too: of a standard normal beyond +1
// SD, 31.7 % is beyond about +1.62 SD. The expected values come from the
// truncated normal distribution itself.
func TestWaitingMovesTheForecast(t *testing.T) {
	q := question(wallLizard, 28)
	first := incubation.Hatching(q)
	upper := func(x float64) float64 { return 0.5 * math.Erfc((x-first.Mean)/(first.SD*math.Sqrt2)) }
	for day := 30; day <= 44; day++ {
		q.On = q.Laid.AddDays(day)
		f := incubation.Hatching(q)
		want := (upper(float64(day)-.5) - upper(float64(day)+.5)) / upper(float64(day)-.5)
		near(t, "probability of the day", f.Probability(q.On), want, 1e-6)
		if f.P05.Before(q.On) || f.WatchFrom != first.WatchFrom || f.WatchTo != first.WatchTo || f.Overdue {
			t.Errorf("day %d: %+v", day, f)
		}
		if f.Probability(q.On.AddDays(-1)) != 0 {
			t.Errorf("day %d: yesterday is past", day)
		}
	}
	q.On = first.WatchTo.AddDays(1)
	f := incubation.Hatching(q)
	if !f.Overdue || f.P50 != first.P50 || f.Probability(q.On) != 0 {
		t.Errorf("past the window: %+v", f)
	}
}

// Just above the threshold a straight line gives years. The forecast must then
// refuse the line and use the sheet's range, if there is one.
func TestNoForecastOfYears(t *testing.T) {
	laid, cold := civil.MustParse("2027-05-12"), husbandry.Celsius(16.5)
	q := incubation.Question{Laid: laid, LaidFrom: laid, On: laid, Temperature: &cold, Swing: 1}
	q.Sheet.Points = []husbandry.IncubationPoint{at(19, 20)}
	if f := incubation.Hatching(q); f.Known || !strings.Contains(strings.Join(f.Cautions, " "), "16.5 °C eggs of this species hardly develop") {
		t.Errorf("%+v", f)
	}
	q.Sheet.Days = husbandry.Span{From: 40, To: 60}
	if f := incubation.Hatching(q); !f.Known || f.Mean != 50 {
		t.Errorf("with a range: %+v", f)
	}
}

func TestPropertiesOfDegreeDayForecasts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		laid := civil.MustParse("2027-05-12")
		temp := husbandry.Celsius(rapid.Float64Range(10, 40).Draw(t, "temperature"))
		q := incubation.Question{
			Laid: laid, LaidFrom: laid.AddDays(-rapid.IntRange(0, 20).Draw(t, "unsure days")),
			Temperature: &temp, Swing: husbandry.Celsius(rapid.Float64Range(0, 8).Draw(t, "swing")),
			On: laid.AddDays(rapid.IntRange(0, 400).Draw(t, "day")),
		}
		for range rapid.IntRange(0, 4).Draw(t, "points") {
			q.Sheet.Points = append(q.Sheet.Points, at(husbandry.Celsius(rapid.IntRange(18, 36).Draw(t, "t")), rapid.Float64Range(20, 250).Draw(t, "days")))
		}
		if rapid.Bool().Draw(t, "range") {
			from := rapid.IntRange(20, 200).Draw(t, "from")
			q.Sheet.Days = husbandry.Span{From: husbandry.Days(from), To: husbandry.Days(from + rapid.IntRange(0, 100).Draw(t, "more"))}
		}
		if rapid.Bool().Draw(t, "rests") {
			q.Sheet.Diapause = husbandry.Span{From: 30, To: 90}
		}
		f := incubation.Hatching(q)
		if f.Basis == "" {
			t.Fatal("no basis")
		}
		if !f.Known {
			return
		}
		order := []civil.Date{f.P05, f.P25, f.P50, f.P75, f.P95}
		for i := 1; i < len(order); i++ {
			if order[i].Before(order[i-1]) {
				t.Fatalf("quantiles out of order: %v", order)
			}
		}
		if f.WatchTo.Before(f.WatchFrom) || f.WatchFrom.Before(f.Laid) {
			t.Fatalf("watch %s to %s, laid %s", f.WatchFrom, f.WatchTo, f.Laid)
		}
		sum := 0.0
		for day := q.On.AddDays(-1); day.Sub(q.On) < 3000; day = day.AddDays(1) {
			p := f.Probability(day)
			if p < 0 || p > 1 || day.Before(q.On) && p != 0 && !f.Overdue {
				t.Fatalf("probability %g on %s", p, day)
			}
			sum += p
		}
		if !f.Overdue && math.Abs(sum-1) > 1e-3 {
			t.Fatalf("the days add up to %g", sum)
		}
		if p := f.Progress(q.On); p < 0 || p > 1 {
			t.Fatalf("progress %g", p)
		}
	})
}
