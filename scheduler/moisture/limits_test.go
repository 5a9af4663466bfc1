package moisture_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/moisture"
	"nestround/tasks/husbandry"
)

// A weighing is implausible above twenty times the loss in still air, plus
// three standard errors of two weighings, √2 g together (common practice). The
// test box loses 5.0 g a day in still air, so the limit is 100 g a day.
func TestALossOfTwentyTimesStillAirIsImplausible(t *testing.T) {
	for lost, questions := range map[float64]int{103: 0, 106: 1} {
		b := nestBox()
		b.Damp.Water = 0
		b.Notes = []moisture.Note{{On: day("05-02"), Weighs: grams(1000 - lost)}}
		b.On = day("05-02")
		if got := moisture.Learn(b); len(got.Questions) != questions {
			t.Errorf("%.0f g lost in a day: questions %+v, want %d", lost, got.Questions, questions)
		}
	}
}

// A loss counts as a change if it is at least half as large again as expected,
// even if the expectation is very certain.
func TestAChangeIsHalfAsMuchAgain(t *testing.T) {
	for share, changed := range map[float64]bool{1.45: false, 1.55: true} {
		b := nestBox()
		at := b.Set
		// The box is so large that the scale's error does not matter, and was
		// weighed often. So the expectation is precise.
		b.Way.Holes.Count = 40
		b.Damp = husbandry.Damp{Mass: 40_000, Water: 30_000}
		loss := perDay(b) * 4
		for range 12 {
			at = at.AddDays(4)
			b.Notes = append(b.Notes, moisture.Note{On: at, Weighs: grams(40_000 - loss), Added: husbandry.Grams(loss)})
		}
		at = at.AddDays(4)
		b.Notes, b.On = append(b.Notes, moisture.Note{On: at, Weighs: grams(40_000 - share*loss)}), at
		if got := moisture.Learn(b); (got.Changed > 0) != changed {
			t.Errorf("%.2f times as much was lost: a change of %.2f, factor %+v", share, got.Changed, got.Factor)
		}
	}
}

// The scale shows whole grams, and a measuring cup is off by 5 %. So three
// standard errors of two weighings are 4.2 g, and with 100 ml added in between
// 15.6 g.
func TestAWeighingAboveTheLastIsImplausible(t *testing.T) {
	for _, c := range []struct {
		words string
		added husbandry.Grams
		mass  float64
		want  int // questions
	}{
		{"as heavy as the scale allows", 0, 1004, 0},
		{"heavier than when it was set", 0, 1005, 1},
		{"as heavy as the cup allows", 100, 1115, 0},
		{"heavier than with all that was poured", 100, 1116, 1},
	} {
		b := nestBox()
		b.Notes = []moisture.Note{{On: day("05-02"), Added: c.added}, {On: day("05-03"), Weighs: grams(c.mass)}}
		b.On = day("05-03")
		got := moisture.Learn(b)
		if len(got.Questions) != c.want || c.want > 0 && got.Questions[0].Why != moisture.Heavier {
			t.Errorf("%s: questions %+v, want %d", c.words, got.Questions, c.want)
		}
	}
}

// One interval between two weighings, compared with Bayes' rule on a fine grid.
// The prior of the logarithm of the factor is normal (0.7). The loss is normal
// about factor times expectation. Its variance is that of two weighings (1 g
// each), of chance (0.15), and of drift since the middle of the interval (0.003
// a day). The last two use the plain quotient, limited to a twentieth up to
// twenty.
func TestOneIntervalByBayesRule(t *testing.T) {
	const interval, since = 10, 6 // days
	for _, share := range []float64{-0.02, 0, 0.02, 0.3, 1, 3, 10, 20} {
		b := nestBox()
		b.Damp = husbandry.Damp{Mass: 5000}
		e := perDay(b) * interval
		lost := share * e
		b.Notes = []moisture.Note{{On: b.Set.AddDays(interval), Weighs: grams(5000 - lost)}}
		b.On = b.Set.AddDays(interval + since)
		got := moisture.Learn(b)

		plain := min(20, max(0.05, share))
		variance := 2 + math.Pow(plain*e*0.15, 2) + math.Pow(plain*e, 2)*0.003*(since+interval/2)
		const step = 0.0005
		var at, p []float64
		sum := 0.0
		for u := -3.5; u <= 3.5; u += step {
			miss := lost - math.Exp(u)*e
			at, p = append(at, u), append(p, math.Exp(-miss*miss/(2*variance)-u*u/(2*0.7*0.7)))
			sum += p[len(p)-1]
		}
		quantile := func(q float64) float64 {
			below := 0.0
			for i := range p {
				if below += p[i] / sum; below >= q {
					return math.Exp(at[i])
				}
			}
			return math.Inf(1)
		}
		for _, x := range []struct {
			q   float64
			got float64
		}{{0.05, got.Factor.From}, {0.5, got.Factor.Mid}, {0.95, got.Factor.To}} {
			if want := quantile(x.q); math.Abs(x.got/want-1) > 0.015 {
				t.Errorf("%g times still air: the %.0f %% point is %.4f, want %.4f", share, 100*x.q, x.got, want)
			}
		}
	}
}

// The latest twelve intervals count. A change is reported from the fourth
// interval on.
func TestTheLatestTwelveIntervalsCount(t *testing.T) {
	for n, want := range map[int]int{11: 12, 12: 13, 13: 13, 20: 13} {
		b := nestBox()
		b.On = b.Set
		for range n {
			b.On = b.On.AddDays(4)
			b.Notes = append(b.Notes, moisture.Note{On: b.On, Weighs: grams(980), Added: 20})
		}
		if got := moisture.Learn(b).Weighings; got != want {
			t.Errorf("of %d intervals %d weighings count, want %d", n, got, want)
		}
	}
	for before, told := range map[int]bool{2: false, 3: true} {
		b := nestBox()
		at := b.Set
		for range before {
			at = at.AddDays(4)
			b.Notes = append(b.Notes, moisture.Note{On: at, Weighs: grams(980), Added: 20})
		}
		b.On = at.AddDays(4)
		b.Notes = append(b.Notes, moisture.Note{On: b.On, Weighs: grams(920)})
		if got := moisture.Learn(b); (got.Changed > 0) != told {
			t.Errorf("four times as fast after %d intervals: a change of %.1f", before, got.Changed)
		}
	}
}

// A box marked as back at its target mass is checked earlier, by the 0.8
// quantile of the normal distribution. So the unweighed water lasts until the
// check with a probability of 80 %.
func TestAnUnweighedTopUpMakesTheNextCheckEarlier(t *testing.T) {
	b := nestBox()
	b.Notes = []moisture.Note{{On: day("05-09"), Weighs: grams(960), Added: 40}, {On: day("05-13"), Unweighed: true}, {On: day("05-21"), Unweighed: true}}
	b.On = day("05-21")
	said := moisture.Learn(b)
	sure := said
	sure.Unsure = 0
	if said.Unsure < 10 {
		t.Fatalf("unsure by %v g", said.Unsure)
	}
	margin := husbandry.Grams(distuv.UnitNormal.Quantile(0.8)) * said.Unsure
	for tolerance := husbandry.Grams(10); tolerance < 200; tolerance += 0.25 {
		if got, want := said.Until(tolerance+margin), sure.Until(tolerance); got != want {
			t.Errorf("%v g and the margin last until %v, %v g of a weighed box until %v", tolerance, got, tolerance, want)
		}
	}
}

// Dates are searched up to 400 days ahead.
func TestDatesAreSearchedUpTo400DaysAhead(t *testing.T) {
	b := nestBox()
	b.On = b.Set
	got := moisture.Learn(b)
	if n := got.Lasts(1e6); n != 400 {
		t.Errorf("a ton of water lasts %d days, want 400", n)
	}
	if until := got.Until(1e6); !until.IsZero() {
		t.Errorf("a ton of water lasts until %v", until)
	}
}

// Several notes of one day count like a single note. Of two weighings of a day
// the first counts, because the second includes the added water.
func TestSeveralNotesOfOneDayCountAsOne(t *testing.T) {
	learn := func(notes ...moisture.Note) moisture.Balance {
		b := nestBox()
		b.Notes = append(notes, moisture.Note{On: day("05-09"), Weighs: grams(985)})
		b.On = day("05-09")
		return moisture.Learn(b)
	}
	on := day("05-05")
	want := learn(moisture.Note{On: on, Weighs: grams(980), Added: 20})
	for words, got := range map[string]moisture.Balance{
		"weighed, then poured":              learn(moisture.Note{On: on, Weighs: grams(980)}, moisture.Note{On: on, Added: 20}),
		"poured, and the weight told later": learn(moisture.Note{On: on, Added: 20}, moisture.Note{On: on, Weighs: grams(980)}),
		"poured twice":                      learn(moisture.Note{On: on, Weighs: grams(980), Added: 12}, moisture.Note{On: on, Added: 8}),
		"weighed once more with the water":  learn(moisture.Note{On: on, Weighs: grams(980), Added: 20}, moisture.Note{On: on, Weighs: grams(1000)}),
		"and marked as full":                learn(moisture.Note{On: on, Weighs: grams(980), Added: 20}, moisture.Note{On: on, Filled: true}),
	} {
		if got.Factor != want.Factor || got.Lacks != want.Lacks || got.Since != want.Since || got.Weighings != want.Weighings || len(got.Questions) != 0 {
			t.Errorf("%s: %+v, want %+v", words, got, want)
		}
	}
}
