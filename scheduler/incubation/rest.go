package incubation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation/pooled"
	"nestround/tasks/english"
)

// Parameters of how resting eggs (diapause) wake.
const (
	// Eggs of common chameleons that spent four months at 16 °C hatched within
	// 2 to 14 days of one another. Eggs kept at 26 °C took two months: Andrews,
	// Díaz-Paniagua, Marco & Portheault 2008, Physiological and Biochemical
	// Zoology 81:336-344. So the warming after a winter ends the rest of all
	// eggs of a clutch. The temperature and the length of a winter are common
	// practice.
	winterBelow = 20.0 // °C
	winterDays  = 30
	wakingSD    = 4.0 // days
	// A warming during the rest shortens the rest by about ten days: Andrews &
	// Donoghue 2004, Journal of Experimental Zoology 301A:629-635. The size of
	// such a warming is common practice.
	warmerBy = 2.0 // °C
	sooner   = 10.0
)

// usualRest is the middle of the range of days that eggs rest if no warming
// wakes them.
func (c *Case) usualRest() float64 {
	if d := c.Sheet.Diapause; !d.IsZero() {
		return (float64(d.From) + float64(d.To)) / 2
	}
	return pooled.Rest(c.Species)
}

// restLikeRelatives gives a chameleon without any data a rest of 0 to 120 days.
// The eggs of most chameleons rest, those of some do not. Eggs of common
// chameleons rested for two to four months at 26 °C (Andrews et al. 2008, see
// above).
func (c *Case) restLikeRelatives() {
	if c.family() == "Chamaeleonidae" && c.Sheet.Diapause.IsZero() && c.Sheet.Days.To == 0 && len(c.Sheet.Points) == 0 {
		c.Sheet.Diapause.To = 120
	}
}

// rest returns the days that eggs rest before they develop, the variance of the
// days, and the basis in words. The prior is the care sheet's range as the
// middle 90 %. A recorded warming and the first sight of veins update it.
func (c *Case) rest() (days, variance float64, words string) {
	d := c.Sheet.Diapause
	days = c.usualRest()
	if d.IsZero() {
		return days, 0, ""
	}
	sd := max(.5, float64(d.To-d.From)/ninetyPerc)
	words = "a rest of " + english.DayRange(d.From, d.To)
	if day, winter, ok := c.warming(); ok {
		switch on := english.Date(c.Laid.AddDays(day)); {
		case winter && float64(day) > float64(d.From)-sooner:
			days, sd = float64(day), wakingSD
			words = "a winter's rest that the warming of " + on + " ends"
		case !winter && float64(day) < days:
			days = max(float64(day), days-sooner)
			words += ", shortened by the warming of " + on
		}
	}
	variance = sd * sd
	if !c.Veins.IsZero() && c.Veins.After(c.Laid) {
		// Veins were seen, so the rest was over by that day: truncate the
		// normal distribution from above.
		n := distuv.UnitNormal
		if z := (float64(c.Veins.Sub(c.Laid)) - days) / sd; z < 3 {
			z = max(z, -6)
			hazard := n.Prob(z) / n.CDF(z)
			days, variance = days-sd*hazard, sd*sd*max(.02, 1-z*hazard-hazard*hazard)
			words += ", over by " + english.Date(c.Veins) + " when veins were seen"
		}
	}
	return max(0, days), variance, words
}

// warming returns the day after laying of the greatest lasting rise of the
// temperature, and whether a winter preceded that day.
func (c *Case) warming() (day int, winter, ok bool) {
	const before, after = 14, 7
	var means []float64
	for i, s := range c.Warmth {
		t := s.mean()
		stays := s.Days
		if i == len(c.Warmth)-1 {
			stays = after
		}
		for range min(stays, 1000) {
			means = append(means, t)
		}
	}
	sums := make([]float64, len(means)+1)
	for i, t := range means {
		sums[i+1] = sums[i] + t
	}
	mean := func(from, to int) float64 { return (sums[to] - sums[from]) / float64(to-from) }
	most := warmerBy
	for d := before; d+after <= len(means); d++ {
		if rise := mean(d, d+after) - mean(d-before, d); rise >= most && !math.IsNaN(rise) {
			day, most, ok = d, rise, true
			winter = d >= winterDays && mean(d-winterDays, d) <= winterBelow
		}
	}
	return day, winter, ok
}
