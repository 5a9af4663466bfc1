package incubation_test

import (
	"strings"
	"testing"

	"nestround/scheduler/incubation"
	"nestround/tasks/husbandry"
)

func resting() incubation.Case {
	c := brood("Chamaeleo calyptratus", "Chamaeleonidae", 25)
	c.Sheet.Diapause = husbandry.Span{From: 50, To: 80}
	return c
}

// Ballen, Shine & Olsson 2015: veiled chameleons took 253.4 days at 25 °C.
func TestTheRestIsAddedToTheDaysOfDevelopment(t *testing.T) {
	f := incubation.Calibrated(nil, resting())
	if f.Mean < 230 || f.Mean > 275 || !strings.Contains(f.Basis, "after a rest of 50-80 days") {
		t.Errorf("%.0f days, from %s", f.Mean, f.Basis)
	}
}

// Andrews & Donoghue 2004, Journal of Experimental Zoology 301A:629-635:
// warming during the rest shortens it by about ten days.
func TestWarmingShortensARest(t *testing.T) {
	base := incubation.Calibrated(nil, resting())
	c := resting()
	c.Warmth = []incubation.Spell{{Days: 40, Temperature: 25}, {Temperature: 28}}
	warmed := incubation.Calibrated(nil, c)
	// At a constant 28 °C the eggs rest as long as at 25 °C.
	c.Warmth = []incubation.Spell{{Temperature: 28}}
	warm := incubation.Calibrated(nil, c)
	if d := warm.Mean - warmed.Mean; d < 9 || d > 11 {
		t.Errorf("warmed to 28 °C on day 40 it takes %.0f days, %.0f at 28 °C all along, %.0f at 25", warmed.Mean, warm.Mean, base.Mean)
	}
	if !strings.Contains(warmed.Basis, "shortened by the warming of 21 June 2027") {
		t.Errorf("basis %q", warmed.Basis)
	}
	// A warming after the rest cannot shorten the rest.
	c.Warmth = []incubation.Spell{{Days: 120, Temperature: 25}, {Temperature: 28}}
	if late := incubation.Calibrated(nil, c); strings.Contains(late.Basis, "warming") || late.Mean >= base.Mean {
		t.Errorf("warmed on day 120: %.0f days, %s", late.Mean, late.Basis)
	}
}

// Andrews, Díaz-Paniagua, Marco & Portheault 2008, Physiological and
// Biochemical Zoology 81:336-344: eggs of common chameleons hatched within 2 to
// 14 days of one another after a winter at 16 °C, and over two months if kept
// at 26 °C.
func TestAWinterEndsTheRestOfAllEggs(t *testing.T) {
	c := resting()
	c.Species = "Chamaeleo chamaeleon"
	c.Sheet.Diapause = husbandry.Span{From: 60, To: 120}
	steady := incubation.Calibrated(nil, c)
	c.Warmth = []incubation.Spell{{Days: 20, Temperature: 26}, {Days: 120, Temperature: 16}, {Temperature: 26}}
	winter := incubation.Calibrated(nil, c)
	if width(winter) >= width(steady) || !strings.Contains(winter.Basis, "a winter's rest that the warming of 29 September 2027 ends") {
		t.Errorf("after a winter the 90 %% take %d days, %d without; %s", width(winter), width(steady), winter.Basis)
	}
	// The same temperatures as a log.
	for i := range c.Warmth[:2] {
		c.Warmth[i].Logged = []husbandry.Celsius{c.Warmth[i].Temperature, c.Warmth[i].Temperature}
	}
	if logged := incubation.Calibrated(nil, c); logged.P50.Sub(winter.P50) > 1 || winter.P50.Sub(logged.P50) > 1 {
		t.Errorf("logged: half by %v, said: half by %v", logged.P50, winter.P50)
	}
}

// Veins seen when candling show that the rest is over. The earlier they are
// seen, the more they shorten the forecast.
func TestVeinsEndARest(t *testing.T) {
	base := incubation.Calibrated(nil, resting())
	c := resting()
	c.Veins = c.Laid.AddDays(50)
	early := incubation.Calibrated(nil, c)
	c.Veins = c.Laid.AddDays(150)
	late := incubation.Calibrated(nil, c)
	if d := base.Mean - early.Mean; d < 12 || d > 30 || width(early) > width(base) {
		t.Errorf("veins on day 50: %.0f days, 90 %% within %d; without %.0f, %d", early.Mean, width(early), base.Mean, width(base))
	}
	if late.Mean != base.Mean {
		t.Errorf("veins on day 150, long after the rest: %.1f days, without %.1f", late.Mean, base.Mean)
	}
	if !strings.Contains(early.Basis, "over by 1 July 2027 when veins were seen") {
		t.Errorf("basis %q", early.Basis)
	}
}
