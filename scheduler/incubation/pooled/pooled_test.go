package pooled_test

import (
	"math"
	"os"
	"strings"
	"testing"

	"nestround/scheduler/incubation/pooled"
	"nestround/scheduler/incubation/published"
)

func fit(t *testing.T) *pooled.Model {
	t.Helper()
	m, err := pooled.Fit(pooled.Forms()[0], published.Durations(), pooled.Rounds)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The committed parameters and scores must be those that the fit gives.
func TestTheCommittedFitIsUpToDate(t *testing.T) {
	m := fit(t)
	v, err := m.Validate(pooled.Widen{Own: 1, Known: 1, Unknown: 1})
	if err != nil {
		t.Fatal(err)
	}
	want := pooled.Committed()
	got := m.Fitted(pooled.Calibrate(v))
	// Machines that fuse multiplications differ in the last digits.
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-4*(1+math.Abs(want))) {
			t.Errorf("%s: the fit gives %g, committed is %g; run go run ./scheduler/incubation/fit", what, got, want)
		}
	}
	if got.Form != want.Form || len(got.Shared) != len(want.Shared) || len(got.Beliefs) != len(want.Beliefs) {
		t.Fatalf("another form or other species are committed; run go run ./scheduler/incubation/fit")
	}
	for i := range got.Shared {
		near("shared number", got.Shared[i], want.Shared[i])
	}
	for name, b := range got.Beliefs {
		near(name+", level", b.Level, want.Beliefs[name].Level)
		near(name+", dev", b.Dev, want.Beliefs[name].Dev)
		near(name+", variance", b.Cov.AA, want.Beliefs[name].Cov.AA)
	}
	near("residual", got.Spreads.Residual, want.Spreads.Residual)
	near("widening", got.Widen.Known, want.Widen.Known)
	src, err := os.ReadFile("scores.go")
	if err != nil {
		t.Fatal(err)
	}
	if table := pooled.ScoresComment(v.Table(got.Widen)); !strings.Contains(string(src), table) {
		t.Errorf("scores.go does not hold the table that leaving out gives:\n%s", table)
	}
	// The aims, as far as the model reaches them.
	for what, trials := range map[string][]pooled.Trial{"known": v.Known, "one own clutch": v.OneOwn} {
		if share := pooled.Apart(trials, func(t pooled.Trial) string { return t.Paper }); share < .86 || share > .94 {
			t.Errorf("%s: 90 %% intervals set on other papers cover %.3f", what, share)
		}
	}
	v = v.Widened(got.Widen)
	known, own, unknown := pooled.ScoreOf(v.Known), pooled.ScoreOf(v.OneOwn), pooled.ScoreOf(v.Unknown)
	if known.MedianError > .065 || own.MedianError > .045 {
		t.Errorf("median errors %.3f and %.3f after one clutch", known.MedianError, own.MedianError)
	}
	for _, s := range []pooled.Score{known, own, unknown} {
		if s.Cover90 < .86 || s.Cover90 > .94 {
			t.Errorf("90 %% intervals cover %.3f", s.Cover90)
		}
	}
	for k, name := range pooled.RuleNames {
		for _, m := range []struct {
			model pooled.Score
			rule  []pooled.Trial
		}{{known, v.Rules[k]}, {unknown, v.RulesUnknown[k]}} {
			s := pooled.ScoreOf(pooled.Spread(m.rule, m.model.Cover90))
			if s.MedianWidth <= m.model.MedianWidth || s.CRPS <= m.model.CRPS || s.MedianError <= m.model.MedianError || s.MeanError <= m.model.MeanError {
				t.Errorf("%s is no worse than the model in everything: %+v, %+v", name, s, m.model)
			}
		}
	}
}

// Li, Zhou, Ding & Ji 2013: eggs of Lacerta agilis at a mean of 27 °C took no
// longer with a swing of 2 or 4 °C, and 4 % longer with 6 °C. Oufiero &
// Angilletta 2006: in cycles that reach 34 °C, Sceloporus undulatus took far
// longer than the 51.7 days of the degree-day model.
func TestCyclesAreIntegratedThroughTheCurve(t *testing.T) {
	c := pooled.Default()
	b, _, _, _ := pooled.Known("Lacertidae", "Lacerta agilis")
	days := func(b pooled.Belief, t, half float64) float64 { return math.Exp(b.Level) / c.Rate(t, half, b.Dev) }
	if d := days(b, 27, 0); math.Abs(d/38.4-1) > .06 {
		t.Errorf("Lacerta agilis at 27 °C: %.1f days, measured 38.4", d)
	}
	if d := days(b, 27, 6) / days(b, 27, 0); d < .97 || d > 1.08 {
		t.Errorf("a swing of 6 °C makes %.3f of the days, measured 1.04", d)
	}
	s, _, _, _ := pooled.Known("Phrynosomatidae", "Sceloporus undulatus")
	if d := days(s, 27, 7); d < 54 || d > 73.1 {
		t.Errorf("Sceloporus undulatus at 27 °C, 20 to 34: %.1f days, measured 62.5 to 73.1", d)
	}
}

// Clutches that are in none of the data files. Shen, Pei, Lin & Ji 2017, Asian
// Herpetological Research 8:262-268; Noro et al. 2009, Developmental Dynamics
// 238:100-109 (28 °C from memory). Of species without measurements: Ma et al.
// 2018, Asian Herpetological Research 9:119-128, and Wise, Vickaryous & Russell
// 2009, Anatomical Record 292:1198-1212 (28 °C from memory). Trautwein 1983,
// Herpetological Review 14:15-16, kept eggs of Sceloporus undulatus for 20 days
// at 33 to 34 °C and then between 20 and 29 °C. Its 45 days must be between the
// durations at the lowest and the highest of these means.
func TestForecastsOfClutchesOutsideTheData(t *testing.T) {
	c := pooled.Default()
	for _, s := range []struct {
		family, species string
		by              pooled.Kinship
		days, celsius   float64
	}{
		{"Scincidae", "Plestiodon chinensis", pooled.SameSpecies, 40, 24},
		{"Scincidae", "Plestiodon chinensis", pooled.SameSpecies, 19, 32},
		{"Gekkonidae", "Paroedura picta", pooled.SameSpecies, 60, 28},
		{"Scincidae", "Sphenomorphus incognitus", pooled.SameFamily, 76, 22},
		{"Scincidae", "Sphenomorphus incognitus", pooled.SameFamily, 40, 28},
		{"Eublepharidae", "Eublepharis macularius", pooled.Geckos, 52, 28},
	} {
		b, by, _, _ := pooled.Known(s.family, s.species)
		if by != s.by {
			t.Errorf("%s is known by %d", s.species, by)
		}
		e := c.Learn(func(string) pooled.Belief { return b }, nil).Expect(s.species, "", s.celsius)
		days := math.Exp(e.Level) / c.Rate(s.celsius, 0, e.Dev)
		off := math.Log(days / s.days)
		if by == pooled.SameSpecies && math.Abs(off) > .065 {
			t.Errorf("%s: %.1f days, measured %g", s.species, days, s.days)
		}
		// The 95 % quantile of a t distribution with six degrees of freedom and
		// unit variance is 1.587, so 90 % are within it.
		if sd := math.Sqrt(e.Cov.AA) * c.Widen.Unknown; math.Abs(off) > 1.587*sd {
			t.Errorf("%s: %.1f days, measured %g, more than the spread %.2f explains", s.species, days, s.days, sd)
		}
	}
	b, _, _, _ := pooled.Known("Phrynosomatidae", "Sceloporus undulatus")
	warm := func(then float64) float64 {
		return 20 + (math.Exp(b.Level)-20*c.Rate(33.5, 0, b.Dev))/c.Rate(then, 0, b.Dev)
	}
	if warm(29) > 45 || warm(20) < 45 {
		t.Errorf("Sceloporus undulatus: %.1f to %.1f days, measured 45", warm(29), warm(20))
	}
}

// A clutch at 28 °C teaches more about the next clutch at 28 °C than about a
// clutch at 33 °C. After many clutches at 28 °C, the remaining uncertainty
// there is about the scatter of single clutches.
func TestOwnClutchesTeachMostNearTheirTemperature(t *testing.T) {
	c := pooled.Default()
	believe := func(species string) pooled.Belief { b, _, _, _ := pooled.Known("", species); return b }
	b := believe("Podarcis muralis")
	var seen []pooled.Seen
	for range 12 {
		seen = append(seen, pooled.Seen{Species: "Podarcis muralis", Incubator: "I1", Celsius: 28, Variance: .0004, Work: func(dev float64) float64 {
			return 1.1 * math.Exp(b.Level) / c.Rate(28, 0, b.Dev) * c.Rate(28, 0, dev)
		}})
	}
	l := c.Learn(believe, seen)
	none := c.Learn(believe, nil).Expect("Podarcis muralis", "I1", 28)
	near, far := l.Expect("Podarcis muralis", "I1", 28), l.Expect("Podarcis muralis", "I1", 33)
	if !(near.Cov.AA < .1*none.Cov.AA && near.Cov.AA < far.Cov.AA && far.Cov.AA < none.Cov.AA) {
		t.Errorf("variances %.5f at 28 °C, %.5f at 33 °C, %.5f before", near.Cov.AA, far.Cov.AA, none.Cov.AA)
	}
	if up, away := near.Level-b.Level, far.Level-b.Level; up < .08 || up > .1 || away >= up || away <= 0 {
		t.Errorf("clutches that took a tenth longer move 28 °C by %.3f, 33 °C by %.3f", up, away)
	}
}

func TestOwnClutchesMoveTheForecast(t *testing.T) {
	c := pooled.Default()
	believe := func(species string) pooled.Belief { b, _, _, _ := pooled.Known("", species); return b }
	const lizard, gecko = "Podarcis muralis", "Paroedura picta"
	prior := c.Learn(believe, nil).Expect(lizard, "I1", 28)
	var seen []pooled.Seen
	last := prior
	for range 5 {
		// Each clutch took a tenth longer than the published data predict.
		seen = append(seen, pooled.Seen{Species: lizard, Incubator: "I1", Celsius: 28, Variance: .0004, Work: func(dev float64) float64 {
			return 1.1 * math.Exp(prior.Level) / c.Rate(28, 0, prior.Dev) * c.Rate(28, 0, dev)
		}})
		next := c.Learn(believe, seen).Expect(lizard, "I1", 28)
		if next.Level <= last.Level || next.Cov.AA >= last.Cov.AA {
			t.Errorf("after %d clutches the level is %.3f (%.3f before), variance %.5f (%.5f)", len(seen), next.Level, last.Level, next.Cov.AA, last.Cov.AA)
		}
		last = next
	}
	if off := last.Level - prior.Level; off < .07 || off > .11 {
		t.Errorf("five clutches that took a tenth longer move the level by %.3f", off)
	}
	other := c.Learn(believe, seen)
	if a, b := other.Expect(gecko, "I1", 28).Level, believe(gecko).Level; a <= b {
		t.Errorf("another species in the same incubator learns nothing: %.4f, %.4f", a, b)
	}
	if near, far := other.Expect(gecko, "I1", 28).Level, other.Expect(gecko, "I2", 28).Level; near <= far {
		t.Errorf("the same incubator teaches %.4f, another %.4f", near, far)
	}
}

func TestMoreDistantRelativesGiveWiderForecasts(t *testing.T) {
	last := 0.0
	for _, s := range []struct{ family, species string }{
		{"Phrynosomatidae", "Sceloporus undulatus"}, {"Phrynosomatidae", "Sceloporus magister"}, {"Phrynosomatidae", "Urosaurus ornatus"}, {"Cordylidae", "Cordylus cordylus"},
	} {
		b, by, papers, kinds := pooled.Known(s.family, s.species)
		if b.Cov.AA <= last || len(papers) == 0 || kinds == 0 {
			t.Errorf("%s, known by %d: variance %.4f, before %.4f, of %d papers", s.species, by, b.Cov.AA, last, len(papers))
		}
		last = b.Cov.AA
	}
}

func BenchmarkFit(b *testing.B) {
	for b.Loop() {
		if _, err := pooled.Fit(pooled.Forms()[0], published.Durations(), pooled.Rounds); err != nil {
			b.Fatal(err)
		}
	}
}
