package incubation_test

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation"
	"nestround/tasks/husbandry"
)

// A temperature counts as survivable if at least four in ten eggs hatched at
// it, or at a temperature half a degree away. El Mouden, Znari & Pieau 2001: of
// the eggs of Agama impalearis .463 hatched at 26 °C and .413 at 36. Du, Ji &
// Shine 2006, and Lin & Ji 1998: of Takydromus septentrionalis .5 at 32 °C and
// .351 at 33.
func TestCautionsBeginHalfADegreeBeyondSurvival(t *testing.T) {
	for _, c := range []struct {
		species, family string
		at              husbandry.Celsius
		says            string // "" for no caution
	}{
		{"Agama impalearis", "Agamidae", 25.6, ""},
		{"Agama impalearis", "Agamidae", 25.4, "colder than any mean temperature at which four in ten eggs of Agama impalearis are known to have hatched (26.0 °C, El Mouden 2001); 46 % did at 26.0 °C"},
		{"Agama impalearis", "Agamidae", 36.4, ""},
		{"Agama impalearis", "Agamidae", 36.6, "hotter than any"},
		{"Takydromus septentrionalis", "Lacertidae", 32.4, ""},
		{"Takydromus septentrionalis", "Lacertidae", 33, "hotter than any mean temperature at which four in ten eggs of Takydromus septentrionalis are known to have hatched (32.0 °C, Lin 1998); 35 % did at 33.0 °C (Du 2006)"},
	} {
		got := incubation.Calibrated(nil, brood(c.species, c.family, c.at)).Cautions
		if c.says == "" && len(got) > 0 || c.says != "" && (len(got) != 1 || !strings.Contains(got[0], c.says)) {
			t.Errorf("%s at %.1f °C: %q, want %q", c.species, float64(c.at), got, c.says)
		}
	}
}

// The interval of a share of males is the Wilson score interval (1927, Journal
// of the American Statistical Association 22:209-212): its ends p are 1.645
// standard errors √(p(1-p)/n) from the observed share. Harlow 2001 sexed 17
// young frilled lizards from 29 °C, of which .588 were males. Three young count
// as one, because colonies differ.
func TestTheIntervalOfASexRatioIsTheWilsonInterval(t *testing.T) {
	c := brood("Chlamydosaurus kingii", "Agamidae", 29)
	c.Sheet.TemperatureSex = true
	m := incubation.Calibrated(nil, c).Males
	if m == nil || math.Abs(m.Mean-0.588) > 1e-6 {
		t.Fatalf("males %+v, want 0.588", m)
	}
	for _, p := range []float64{m.From, m.To} {
		if z := math.Abs(m.Mean-p) / math.Sqrt(p*(1-p)/(17./3)); math.Abs(z-1.6449) > 1e-3 {
			t.Errorf("%.4f is %.4f standard errors from the share, want 1.6449", p, z)
		}
	}
}

// A share of males is shown only near a measured temperature: while the weight
// of the young counted there is at least one. The weights are normal with an SD
// of half a degree, and three young count as one. With 29 young (Shine 1999,
// Nannoscincus maccoyi at 27 °C) that is 1.065 degrees.
func TestEnoughYoungForASexRatio(t *testing.T) {
	for at, told := range map[husbandry.Celsius]bool{27: true, 28.05: true, 28.08: false, 25.95: true, 25.92: false} {
		c := brood("Nannoscincus maccoyi", "Scincidae", at)
		c.Sheet.TemperatureSex = true
		if m := incubation.Calibrated(nil, c).Males; (m != nil) != told {
			t.Errorf("%.2f °C: males %+v", float64(at), m)
		}
	}
}

// A cold spell is a winter if the month before the warming had a mean of 20 °C
// or less. A milder spell only shortens the rest (common practice, see
// rest.go). A spell that began at laying, a month before the warming, is a
// winter, too.
func TestAMonthAtTwentyDegreesIsAWinter(t *testing.T) {
	const winter, shorter = "a winter's rest that the warming of ", ", shortened by the warming of "
	for _, c := range []struct {
		words  string
		warmth []incubation.Spell
		says   string
	}{
		{"four months of 20 °C", []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 120, Temperature: 20}, {Temperature: 26}}, winter},
		{"four months of 20.5 °C, long after the rest", []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 120, Temperature: 20.5}, {Temperature: 26}}, "after a rest of 45-120 days"},
		{"a month of 20.5 °C", []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 30, Temperature: 20.5}, {Temperature: 26}}, shorter},
		{"a month of 20 °C", []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 30, Temperature: 20}, {Temperature: 26}}, winter},
		{"most of a month of 16 °C", []incubation.Spell{{Days: 30, Temperature: 26}, {Days: 18, Temperature: 16}, {Temperature: 26}}, winter},
		{"half a month of 16 °C", []incubation.Spell{{Days: 30, Temperature: 26}, {Days: 17, Temperature: 16}, {Temperature: 26}}, shorter},
		{"warmer by two degrees for good", []incubation.Spell{{Days: 40, Temperature: 24}, {Temperature: 26}}, shorter},
		{"warmer by less", []incubation.Spell{{Days: 40, Temperature: 24.1}, {Temperature: 26}}, "after a rest of 45-120 days"},
	} {
		b := resting()
		b.Sheet.Diapause = husbandry.Span{From: 45, To: 120}
		b.Warmth = c.warmth
		got := incubation.Calibrated(nil, b).Basis
		if !strings.Contains(got, c.says) || !strings.Contains(c.says, "warming") && strings.Contains(got, "warming") {
			t.Errorf("%s: %q, want %q", c.words, got, c.says)
		}
	}
	for day, says := range map[int]string{29: shorter, 30: winter} {
		b := resting()
		b.Sheet.Diapause = husbandry.Span{From: 30, To: 120}
		b.Warmth = []incubation.Spell{{Days: day, Temperature: 16}, {Temperature: 26}}
		if got := incubation.Calibrated(nil, b).Basis; !strings.Contains(got, says) {
			t.Errorf("laid into the cold for %d days: %q, want %q", day, got, says)
		}
	}
	// A winter does not end the rest if the warming comes more than ten days
	// before the shortest rest of the care sheet.
	for day, says := range map[int]string{34: "after a rest of 45-120 days", 35: "after a rest of 45-120 days", 36: winter} {
		b := resting()
		b.Sheet.Diapause = husbandry.Span{From: 45, To: 120}
		b.Warmth = []incubation.Spell{{Days: day, Temperature: 16}, {Temperature: 26}}
		if got := incubation.Calibrated(nil, b).Basis; !strings.Contains(got, says) {
			t.Errorf("laid into the cold and warmed on day %d: %q, want %q", day, got, says)
		}
	}
}

// Hatched siblings narrow the forecast of the last egg: half of the variance of
// single eggs (SD 0.04 of the days) is within clutches. After five have hatched
// on one day, the sixth is expected near their mean, with a variance a fifth
// larger than that within a clutch, and later than today. The test allows a
// fifth, because the forecast integrates over few nodes.
func TestHatchedSiblingsNarrowTheForecastOfTheLastEgg(t *testing.T) {
	c := brood("Chamaeleo calyptratus", "Chamaeleonidae", 25)
	mean := incubation.Calibrated(nil, c).Mean
	hatched := c.Laid.AddDays(int(mean))
	c.Hatched, c.On = []incubation.Young{{On: hatched, Count: 5}}, hatched.AddDays(1)
	got := incubation.Calibrated(nil, c)
	sd := 0.04 * math.Sqrt(0.5*1.2) * mean
	late := distuv.Normal{Mu: 0, Sigma: sd}
	for _, x := range []struct {
		p    float64
		days int
	}{{0.5, got.P50.Sub(hatched)}, {0.95, got.P95.Sub(hatched)}} {
		if want := late.Quantile(0.5 + x.p/2); math.Abs(float64(x.days)-want) > 0.2*want {
			t.Errorf("%.0f %% of last eggs hatch within %d days of the others, want about %.1f", 100*x.p, x.days, want)
		}
	}
}
