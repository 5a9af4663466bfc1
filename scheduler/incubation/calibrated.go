package incubation

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"nestround/scheduler/incubation/pooled"
	"nestround/scheduler/incubation/published"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Spell is a run of days during which the record of a clutch's temperature
// stays the same.
type Spell struct {
	Days int
	// Temperature is the mean temperature, Swing is half the daily range.
	Temperature, Swing husbandry.Celsius
	// Logged has the logged temperatures of the spell, evenly spaced; nil if
	// nothing was logged. If set, it replaces Temperature and Swing.
	Logged []husbandry.Celsius
}

// mean returns the mean temperature of the spell, from the log if there is a
// log.
func (s *Spell) mean() float64 {
	n := len(s.Logged)
	if n == 0 {
		return float64(s.Temperature)
	}
	sum := 0.0
	for _, t := range s.Logged {
		sum += float64(t)
	}
	return sum / float64(n)
}

// Young is a number of young that hatched on a day.
type Young struct {
	On    civil.Date
	Count int
}

// Case is a clutch to forecast, or a hatched clutch to learn from.
type Case struct {
	Species string // binomial; "" when not known
	Family  string // "" when not known
	Sheet   husbandry.Incubation
	// The eggs were laid between LaidFrom and Laid. LaidFrom may be zero.
	LaidFrom, Laid civil.Date
	// Warmth has the temperatures from the day of laying on, as spells by date.
	// The last spell has no end. Warmth is empty if nobody knows the
	// temperature of the eggs.
	Warmth    []Spell
	Incubator string
	// Veins is the first day on which candling showed veins, so that the
	// embryos develop. Veins is zero if nobody has seen them.
	Veins   civil.Date
	Eggs    int     // number of eggs set; 0: not counted
	Lost    int     // number of eggs found dead, which will not hatch
	Hatched []Young // sorted by date
	On      civil.Date
	Units   husbandry.Units
}

// Males is the expected share of males, for species with temperature-dependent
// sex determination.
type Males struct {
	Mean float64 `json:"mean"` // 0 to 1
	From float64 `json:"from"` // From to To: a 90 % interval
	To   float64 `json:"to"`
}

// Keeper has the results of learning from a keeper's own clutches. The zero
// Keeper, or nil, has no clutch.
type Keeper struct {
	learned *pooled.Learned
	count   map[string]int
}

// Parameters of single eggs. No published source splits their variance between
// and within clutches. The model gives half to each. Four in five set eggs
// hatch at suitable temperatures (about the median of the published
// treatments).
const (
	withinClutch = 0.5
	viable       = 0.8
	// unknownWarmth is the standard deviation, in °C, of the temperature of a
	// tub that nobody measured. The mean is about 28 °C (common practice).
	unknownWarmth = 2.0
	// watchShare is the probability of hatching before the first day worth
	// watching. The probability of hatching after the last day worth watching
	// is the same.
	watchShare = 0.02
	// almostAll is the probability at which the list of daily probabilities
	// ends.
	almostAll = 0.999
	farthest  = 5000 // the most days ahead that a forecast lists
)

// LearnFrom learns from clutches that hatched. It ignores a clutch without a
// known temperature or without a dated hatching.
func LearnFrom(cases []Case) *Keeper {
	k := &Keeper{count: make(map[string]int)}
	var seen []pooled.Seen
	sheets := make(map[string]Case)
	for _, c := range cases {
		var sum, n float64
		for _, y := range c.Hatched {
			sum += float64(y.Count * y.On.Sub(c.Laid))
			n += float64(y.Count)
		}
		if n == 0 || len(c.Warmth) == 0 {
			continue
		}
		mid, layVar := c.laying()
		days := sum/n - float64(mid.Sub(c.Laid))
		rest, restVar, _ := c.rest()
		if days-rest < 3 {
			continue
		}
		w := c.warmth()
		sheets[c.key()] = c
		k.count[c.key()]++
		variance := eggSpread*eggSpread*(withinClutch/n+1-withinClutch) + (layVar+restVar+.25)/((days-rest)*(days-rest))
		seen = append(seen, pooled.Seen{
			Species: c.key(), Incubator: c.Incubator, Celsius: w.mean(days, rest), Variance: variance,
			Work: func(dev float64) float64 { return max(1e-6, w.work(days, rest, w.rates(dev))) },
		})
	}
	k.learned = pooled.Default().Learn(func(species string) pooled.Belief { return sheets[species].belief() }, seen)
	return k
}

func (c *Case) key() string { return c.Species + "/" + c.Family }

func (c *Case) laying() (mid civil.Date, variance float64) {
	return laying(Question{LaidFrom: c.LaidFrom, Laid: c.Laid})
}

// belief returns the prior for the species: from published data, and from the
// care sheet if nobody has published on this species.
func (c Case) belief() pooled.Belief {
	b, by, _, _ := pooled.Known(c.family(), c.Species)
	if by == pooled.SameSpecies {
		return b
	}
	// The days of a care sheet include the usual rest, without a warming that
	// shortens the rest.
	rest := c.usualRest()
	curve := pooled.Default()
	var measured []pooled.Seen
	for _, p := range c.Sheet.Points {
		if days := p.Days - rest; days > 0 {
			measured = append(measured, pooled.Seen{Celsius: float64(p.Temperature), Variance: eggSpread * eggSpread / float64(max(1, p.Eggs)), Work: func(dev float64) float64 {
				return days * curve.Rate(float64(p.Temperature), 0, dev)
			}})
		}
	}
	if span := c.Sheet.Days; len(measured) == 0 && span.To > 0 && float64(span.From) > rest {
		// The sheet's range covers the usual range of temperatures: the
		// shortest time belongs to the warmest temperature.
		lo, hi := float64(span.From)-rest, float64(span.To)-rest
		t := 28.5
		if c.Sheet.SafeFrom > 0 && c.Sheet.SafeTo > 0 {
			t = float64(c.Sheet.SafeFrom+c.Sheet.SafeTo) / 2
		}
		sd := math.Log(hi/lo) / ninetyPerc
		measured = append(measured, pooled.Seen{Celsius: t, Variance: sd*sd + eggSpread*eggSpread, Work: func(dev float64) float64 {
			return math.Sqrt(lo*hi) * curve.Rate(t, 0, dev)
		}})
	}
	return curve.Informed(b, measured)
}

func (c *Case) family() string {
	if c.Family != "" {
		return c.Family
	}
	return published.Family(c.Species)
}

// warmth has the spells of a clutch, at least one. The last spell has no end.
type warmth []Spell

func (c *Case) warmth() warmth {
	if len(c.Warmth) == 0 {
		return warmth{{Temperature: pooled.Reference}}
	}
	return c.Warmth
}

// rates returns the rate of development in each spell, in days at the reference
// temperature per day, for a species with this dev.
func (w warmth) rates(dev float64) []float64 {
	curve := pooled.Default()
	r := make([]float64, len(w))
	// A log has many readings but few distinct tenths of a degree.
	tenths := make(map[int]float64)
	for i, s := range w {
		if len(s.Logged) == 0 {
			if i > 0 && len(w[i-1].Logged) == 0 && s.Temperature == w[i-1].Temperature && s.Swing == w[i-1].Swing {
				r[i] = r[i-1]
				continue
			}
			r[i] = curve.Rate(float64(s.Temperature), math.Abs(float64(s.Swing)), dev)
			continue
		}
		for _, t := range s.Logged {
			tenth := int(math.Round(float64(t) * 10))
			rate, ok := tenths[tenth]
			if !ok {
				rate = curve.Rate(float64(tenth)/10, 0, dev)
				tenths[tenth] = rate
			}
			r[i] += rate
		}
		r[i] /= float64(len(s.Logged))
	}
	return r
}

// work returns the development between the days from and to after laying, in
// days at the reference temperature.
func (w warmth) work(to, from float64, rates []float64) float64 {
	sum, at := 0.0, 0.0
	for i, s := range w {
		end := at + float64(s.Days)
		if i == len(w)-1 {
			end = math.Inf(1)
		}
		if lo, hi := max(at, from), min(end, to); hi > lo {
			sum += (hi - lo) * rates[i]
		}
		at = end
	}
	return sum
}

// mean returns the mean temperature between the days from and to after laying.
func (w warmth) mean(to, from float64) float64 {
	each := make([]float64, len(w))
	for i, s := range w {
		each[i] = s.mean()
	}
	if to <= from || math.IsInf(to, 0) {
		return each[len(each)-1]
	}
	return w.work(to, from, each) / (to - from)
}

// when returns the number of days from laying until the eggs have done the
// given amount of development (work).
func (w warmth) when(work, from float64, rates []float64) float64 {
	at := 0.0
	for i, s := range w {
		end := at + float64(s.Days)
		if i == len(w)-1 {
			end = math.Inf(1)
		}
		if lo := max(at, from); end > lo {
			if need := work / rates[i]; lo+need <= end {
				return lo + need
			}
			work -= (end - lo) * rates[i]
		}
		at = end
	}
	return math.Inf(1)
}

// asLog turns a standard deviation as a share of the days into a standard
// deviation of the log days. Small values stay nearly the same; large ones grow
// more slowly. Otherwise eggs that rest for 60 days more or less, and then
// develop for ten, would get a spread of e^6.
func asLog(share float64) float64 {
	const edge = ninetyPerc / 2
	return math.Asinh(edge*share) / edge
}

func sq(x float64) float64 { return x * x }

// Calibrated forecasts when a clutch hatches. It uses published measurements of
// the species and its relatives, and the keeper's own clutches. Its intervals
// were validated on data left out of the fit (see package pooled).
//
// The distribution has two levels: clutches vary about the mean of their
// species, eggs vary about the mean of their clutch. Eggs that have hatched,
// and eggs that have not hatched by the day of the question, tell where in the
// distribution the clutch is. Dead eggs carry no such information. For eggs
// that rest before they develop, the rest and its uncertainty are added.
func Calibrated(k *Keeper, c Case) Forecast {
	_, by, papers, kinds := pooled.Known(c.family(), c.Species)
	own := k.clutches(c.key())
	if by != pooled.SameSpecies && own == 0 {
		c.restLikeRelatives()
	}
	rest, restVar, rested := c.rest()
	laid, layVar := c.laying()
	b := k.expect(&c, rest)
	m := mixture{laid: laid, warmth: c.warmth(), rest: rest, level: b.Level}
	m.rates = m.warmth.rates(b.Dev)
	median := m.warmth.when(math.Exp(b.Level), rest, m.rates)
	if math.IsInf(median, 0) || math.IsNaN(median) || median > 1000 {
		return Forecast{Basis: "at this temperature eggs of its kind are not known to develop", Cautions: c.cautions()}
	}
	developing := median - rest
	dates := sq(asLog(math.Sqrt(layVar+restVar) / developing))
	m.spread(widening(own, by) * math.Sqrt(c.variance(b, m.slope(median, b.Dev))+dates))

	f := Forecast{Known: true, Laid: laid, Mean: median, SD: developing * m.reach}
	f.WatchFrom, f.WatchTo = m.quantile(watchShare), m.quantile(1-watchShare)
	f.Overdue = c.On.After(f.WatchTo)
	f.first, f.daily = m.daily(&c, f.Overdue)
	f.quantiles()
	if f.Overdue {
		f.daily = nil
	}
	f.Basis = c.basis(own, by, papers, kinds, rested)
	f.Cautions = c.cautions()
	f.Males = c.males()
	return f
}

// clutches returns the number of the keeper's own clutches of a species.
func (k *Keeper) clutches(species string) int {
	if k == nil {
		return 0
	}
	return k.count[species]
}

// expect returns the belief about a clutch of this keeper, given the number of
// days that its eggs rest.
func (k *Keeper) expect(c *Case, rest float64) pooled.Belief {
	published := c.belief()
	if k == nil || k.learned == nil {
		return pooled.Default().Learn(nil, nil).ExpectOf("", "", 0, published)
	}
	w := c.warmth()
	to := w.when(math.Exp(published.Level), rest, w.rates(published.Dev))
	return k.learned.ExpectOf(c.key(), c.Incubator, w.mean(to, rest), published)
}

// widening returns the factor on the standard deviation of a forecast. It
// depends on the nearest data: own clutches, published measurements of the
// species, or only of relatives.
func widening(own int, by pooled.Kinship) float64 {
	widen := pooled.Default().Widen
	switch {
	case own > 0:
		return widen.Own
	case by == pooled.SameSpecies:
		return widen.Known
	}
	return widen.Unknown
}

// variance returns the variance of the log days between clutches, without the
// variances of the laying date and the rest. slope is the result of
// mixture.slope.
func (c *Case) variance(b pooled.Belief, slope float64) float64 {
	curve := pooled.Default()
	v := b.Cov.AA + 2*slope*b.Cov.AD + slope*slope*b.Cov.DD + curve.Spreads.Residual*pooled.ResidualFactor + (1-withinClutch)*eggSpread*eggSpread
	if len(c.Warmth) == 0 {
		per := math.Log(curve.Rate(pooled.Reference+1, 0, b.Dev)/curve.Rate(pooled.Reference-1, 0, b.Dev)) / 2
		v += per * per * unknownWarmth * unknownWarmth
	}
	return v
}

// basis words the sources of a forecast, such as "3 own clutches, 2 papers (Ji
// 1999, Le Henanff 2013)".
func (c *Case) basis(own int, by pooled.Kinship, papers []string, kinds int, rested string) string {
	var parts []string
	if own > 0 {
		parts = append(parts, english.Count(own, "own clutch"))
	}
	unknown := false // nobody has data on this species
	if count := english.Count(len(papers), "paper"); by == pooled.SameSpecies {
		if len(papers) <= 3 {
			count += " (" + strings.Join(papers, ", ") + ")"
		}
		parts = append(parts, count)
	} else {
		relatives := count + " of " + c.relatives(by, kinds)
		sheet := c.sheetBasis()
		if sheet != "" {
			parts = append(parts, sheet)
		} else if unknown = own == 0; unknown {
			relatives += ", none of this one"
		}
		parts = append(parts, relatives)
	}
	words := strings.Join(parts, ", ")
	if rested != "" {
		words += ", after " + rested
	}
	if unknown {
		words += "; `days` in its care sheet or one clutch that hatches will narrow it"
	}
	if len(c.Warmth) == 0 {
		words += "; the tub's temperature is not known"
	}
	return words
}

// relatives names the measured relatives of a species, with the number of
// measured species among them.
func (c *Case) relatives(by pooled.Kinship, kinds int) string {
	species := english.Count(kinds, "species")
	switch by {
	case pooled.SameGenus:
		genus, _, _ := strings.Cut(c.Species, " ")
		return "other " + genus
	case pooled.SameFamily:
		return species + " of " + c.family()
	case pooled.Geckos:
		return species + " of geckos"
	}
	if c.family() == "" {
		return species + " of lizards, as its `family` is not recorded"
	}
	return species + " of lizards"
}

// sheetBasis names the measurements of the care sheet, or returns "" if the
// sheet has none.
func (c *Case) sheetBasis() string {
	switch days := c.Sheet.Days; {
	case len(c.Sheet.Points) > 0:
		return sources(c.Sheet.Points)
	case days.To > 0:
		return "the care sheet's range of " + english.DayRange(days.From, days.To)
	}
	return ""
}

// now returns the last spell: the present temperature of the eggs.
func (c *Case) now() (Spell, bool) {
	if len(c.Warmth) == 0 {
		return Spell{}, false
	}
	s := c.Warmth[len(c.Warmth)-1]
	if len(s.Logged) > 0 {
		s.Temperature = husbandry.Celsius(s.mean())
		s.Swing = (slices.MaxFunc(s.Logged, cmp.Compare[husbandry.Celsius]) - slices.MinFunc(s.Logged, cmp.Compare[husbandry.Celsius])) / 2
	}
	return s, true
}
