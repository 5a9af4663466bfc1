package incubation_test

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation"
	"nestround/tasks/husbandry"
)

// Eggs are taken to survive where four in ten hatched or more, and half a
// degree beyond. El Mouden, Znari & Pieau 2001: of Agama impalearis .463 hatched
// at 26 °C and .413 at 36. Du, Ji & Shine 2006, and Lin & Ji 1998: of Takydromus
// septentrionalis .5 at 32 °C and .351 at 33.
func TestWhereEggsAreTakenToSurvive(t *testing.T) {
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

// The interval of a share of males is Wilson's (1927, Journal of the American
// Statistical Association 22:209-212): its ends p are where the share found is
// 1.645 standard errors √(p(1-p)/n) away. Harlow 2001 sexed 17 young frilled
// lizards of 29 °C, of which .588 were males; three count as one, since colonies
// differ.
func TestTheIntervalOfASexRatioIsWilsons(t *testing.T) {
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

// A share of males is told as far from a measured temperature as the young
// counted there still weigh as much as one: by a normal weight of half a degree
// 29 young (Shine 1999, Nannoscincus maccoyi at 27 °C), three of which count as
// one, do so for 1.065 degrees.
func TestEnoughYoungForASexRatio(t *testing.T) {
	for at, told := range map[husbandry.Celsius]bool{27: true, 28.05: true, 28.08: false, 25.95: true, 25.92: false} {
		c := brood("Nannoscincus maccoyi", "Scincidae", at)
		c.Sheet.TemperatureSex = true
		if m := incubation.Calibrated(nil, c).Males; (m != nil) != told {
			t.Errorf("%.2f °C: males %+v", float64(at), m)
		}
	}
}

// A cold spell is a winter where the month before the warming had a mean of
// 20 °C or less; a milder one only shortens the rest (common practice, see
// rest.go). It is one, too, where the eggs were laid into it a month before.
func TestWhatIsAWinter(t *testing.T) {
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
	// No winter ends a rest that is more than ten days short of its shortest.
	for day, says := range map[int]string{34: "after a rest of 45-120 days", 35: "after a rest of 45-120 days", 36: winter} {
		b := resting()
		b.Sheet.Diapause = husbandry.Span{From: 45, To: 120}
		b.Warmth = []incubation.Spell{{Days: day, Temperature: 16}, {Temperature: 26}}
		if got := incubation.Calibrated(nil, b).Basis; !strings.Contains(got, says) {
			t.Errorf("laid into the cold and warmed on day %d: %q, want %q", day, got, says)
		}
	}
}

// Siblings tell of the last egg: half of the variance of single eggs (0.04 of
// the days) lies within clutches. After five hatched on one day, the sixth is
// about their mean, with a fifth more variance than an egg about its clutch,
// and later than today. The places of a clutch are few, so that a fifth is near.
func TestTheLastEggOfAClutch(t *testing.T) {
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
