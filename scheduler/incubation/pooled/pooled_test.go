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

// The committed numbers are what the fit gives, and the committed table what
// leaving out gives.
func TestTheFitGivesWhatIsCommitted(t *testing.T) {
	m := fit(t)
	v, err := m.Validate(pooled.Widen{Own: 1, Known: 1, Unknown: 1})
	if err != nil {
		t.Fatal(err)
	}
	want := pooled.Committed()
	got := m.Fitted(pooled.Calibrate(v))
	// Machines that fuse multiplications differ in the last places.
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
	if table := pooled.ScoresComment(v.Widened(got.Widen).Table()); !strings.Contains(string(src), table) {
		t.Errorf("scores.go does not hold the table that leaving out gives:\n%s", table)
	}
	// The aims, as far as they are reached.
	v = v.Widened(got.Widen)
	known, own, rule := pooled.ScoreOf(v.Known), pooled.ScoreOf(v.OneOwn), v.Rules
	if known.MedianError > .07 || own.MedianError > .045 {
		t.Errorf("median errors %.3f and %.3f after one clutch", known.MedianError, own.MedianError)
	}
	for _, s := range []pooled.Score{known, own, pooled.ScoreOf(v.Unknown)} {
		if s.Cover90 < .86 || s.Cover90 > .94 {
			t.Errorf("90 %% intervals cover %.3f", s.Cover90)
		}
	}
	for k, name := range pooled.RuleNames {
		if s := pooled.ScoreOf(pooled.Spread(rule[k], known.Cover90)); s.MedianWidth <= known.MedianWidth || s.CRPS <= known.CRPS {
			t.Errorf("%s: width %.1f, CRPS %.2f, no worse than the model's %.1f and %.2f", name, s.MedianWidth, s.CRPS, known.MedianWidth, known.CRPS)
		}
	}
}

// Li, Zhou, Ding & Ji 2013: eggs of Lacerta agilis at a mean of 27 °C took no
// longer with a swing of 2 or 4 °C, and 4 % longer with 6 °C. Oufiero &
// Angilletta 2006: in cycles that reach 34 °C, Sceloporus undulatus took far
// longer than degree-days have it (51.7 days).
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

func TestOwnClutchesTeach(t *testing.T) {
	c := pooled.Default()
	believe := func(species string) pooled.Belief { b, _, _, _ := pooled.Known("", species); return b }
	const lizard, gecko = "Podarcis muralis", "Paroedura picta"
	prior := c.Learn(believe, nil).Expect(lizard, "I1", 28)
	var seen []pooled.Seen
	last := prior
	for range 5 {
		// Each clutch took a tenth longer than papers say.
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

func TestStrangersHaveWiderSpreads(t *testing.T) {
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
