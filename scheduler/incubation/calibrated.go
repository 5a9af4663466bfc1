package incubation

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation/pooled"
	"nestround/scheduler/incubation/published"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Spell is a run of days with one record of the temperature of a clutch.
type Spell struct {
	Days int
	// Temperature is the mean temperature, Swing is half the daily range.
	Temperature, Swing husbandry.Celsius
	// Logged has the logged temperatures of the spell, evenly spaced. They then
	// replace Temperature and Swing. Logged is nil if nothing was logged.
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
	// Warmth has the temperatures from the day of laying on. The last spell has
	// no end. Warmth is empty if nobody knows how warm the eggs are.
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

// Keeper holds what the forecast has learnt from a keeper's own clutches. The
// zero Keeper, or nil, has learnt nothing.
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
	// tub that nobody measured. Its mean is about 28 °C (common practice).
	unknownWarmth = 2.0
	// watchShare is the probability of hatching before the first day worth
	// watching. It is also the probability of hatching after the last one.
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
	// A care sheet states days that include the usual rest, without a warming
	// that cuts the rest short.
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

// rates returns the rate of each spell.
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

// when returns the day after laying on which the work is done.
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
// deviation of the log days. The two are equal if small. For large ones asLog
// grows more slowly: eggs that rest for 60 days more or less, and then develop
// for ten, must not get a spread of e^6.
func asLog(share float64) float64 {
	const edge = ninetyPerc / 2
	return math.Asinh(edge*share) / edge
}

func sq(x float64) float64 { return x * x }

// node is one place of a clutch in the distribution of its species. The nodes
// are the points at which the forecast integrates numerically.
type node struct {
	z    float64 // in standard deviations from the median
	p    float64 // probability of the places that the node stands for
	gap  float64 // distance to the next node, in standard deviations
	logP float64
}

// nodes are dense in the middle and sparse in the tails. They reach so far out
// that even a clutch years late is not beyond the last node.
var nodes = func() (list [49]node) {
	const (
		half  = len(list) / 2
		close = 0.12 // the hyperbolic angle between two nodes
	)
	t := distuv.StudentsT{Sigma: math.Sqrt(float64(pooled.PredictiveTail-2) / pooled.PredictiveTail), Nu: pooled.PredictiveTail}
	at := func(i float64) float64 { return math.Sinh(close * (i - float64(half))) }
	for i := range list {
		below, above := at(float64(i)-.5), at(float64(i)+.5)
		// Subtract in the lower tail: near 1 the difference would be lost to
		// rounding.
		p := t.CDF(-math.Abs(below)) - t.CDF(-math.Abs(above))
		if i == half {
			p = 1 - 2*t.CDF(below)
		}
		list[i] = node{z: at(float64(i)), p: math.Abs(p), gap: above - below}
		list[i].logP = math.Log(list[i].p)
	}
	return list
}()

// Calibrated forecasts when a clutch hatches. It uses published measurements of
// the species and its relatives, and the keeper's own clutches. Its intervals
// were validated on data left out of the fit (see package pooled).
//
// The distribution has two levels: clutches vary about the mean of their
// species, eggs vary about the mean of their clutch. Hatched eggs, and eggs not
// hatched by the day of the question, tell where in the distribution the clutch
// is. Dead eggs tell nothing more. For eggs that rest first, the rest and its
// uncertainty are added.
func Calibrated(k *Keeper, c Case) Forecast {
	curve := pooled.Default()
	_, by, papers, kinds := pooled.Known(c.family(), c.Species)
	own := 0
	belief := Case.belief
	laid, layVar := c.laying()
	w := c.warmth()
	if by != pooled.SameSpecies && (k == nil || k.count[c.key()] == 0) {
		c.restLikeRelatives()
	}
	rest, restVar, rested := c.rest()
	published := belief(c)
	expect := func() pooled.Belief {
		if k == nil || k.learned == nil {
			return curve.Learn(func(string) pooled.Belief { return published }, nil).Expect("", "", 0)
		}
		own = k.count[c.key()]
		to := w.when(math.Exp(published.Level), rest, w.rates(published.Dev))
		return k.learned.ExpectOf(c.key(), c.Incubator, w.mean(to, rest), published)
	}
	b := expect()
	widen := curve.Widen.Unknown
	switch {
	case own > 0:
		widen = curve.Widen.Own
	case by == pooled.SameSpecies:
		widen = curve.Widen.Known
	}

	rates := w.rates(b.Dev)
	median := w.when(math.Exp(b.Level), rest, rates)
	if math.IsInf(median, 0) || math.IsNaN(median) || median > 1000 {
		return Forecast{Basis: "at this temperature eggs of its kind are not known to develop", Cautions: c.cautions()}
	}
	// slope is how the log of the days changes with dev: minus the change of
	// the log of the work done by the median day.
	const h = 1e-2
	slope := -(math.Log(w.work(median, rest, w.rates(b.Dev+h))) - math.Log(w.work(median, rest, w.rates(b.Dev-h)))) / (2 * h)
	developing := median - rest
	variance := b.Cov.AA + 2*slope*b.Cov.AD + slope*slope*b.Cov.DD + curve.Spreads.Residual*pooled.ResidualFactor + (1-withinClutch)*eggSpread*eggSpread
	if len(c.Warmth) == 0 {
		per := math.Log(curve.Rate(pooled.Reference+1, 0, b.Dev)/curve.Rate(pooled.Reference-1, 0, b.Dev)) / 2
		variance += per * per * unknownWarmth * unknownWarmth
	}
	sd := widen * math.Sqrt(variance+sq(asLog(math.Sqrt(layVar+restVar)/developing)))
	within := math.Sqrt(withinClutch) * eggSpread
	// The eggs of one node must overlap those of the next. Otherwise the days
	// between two nodes would get no probability.
	var widths [len(nodes)]float64
	for i, n := range nodes {
		widths[i] = max(within, .6*n.gap*sd)
	}

	// phi is the fraction of a clutch that has hatched before the day, per
	// node.
	log := func(x float64) float64 { return math.Log(max(1e-9, w.work(x, rest, rates))) - b.Level }
	begins := func(day civil.Date) float64 { return log(float64(day.Sub(laid)) - .5) }
	phi := func(u float64, i int) float64 { return .5 * math.Erfc(-(u-sd*nodes[i].z)/(widths[i]*math.Sqrt2)) }
	all := func(u float64) (p float64) {
		for i := range nodes {
			p += nodes[i].p * phi(u, i)
		}
		return p
	}

	reach := math.Sqrt(sd*sd + within*within)
	day := func(u float64) civil.Date {
		return laid.AddDays(max(1, int(math.Round(w.when(math.Exp(b.Level+u), rest, rates)))))
	}
	// Root finding by false position. If one end stays twice, its value is
	// halved (the Illinois algorithm).
	quantile := func(p float64) civil.Date {
		lo, hi := -8*reach, 8*reach
		atLo, atHi := -p, 1-p
		at := 0.0
		for side := 0; hi-lo > 1e-3*reach; {
			at = (lo*atHi - hi*atLo) / (atHi - atLo)
			switch miss := all(at) - p; {
			case math.Abs(miss) < 1e-5:
				return day(at)
			case miss < 0:
				if lo, atLo = at, miss; side == -1 {
					atHi /= 2
				}
				side = -1
			default:
				if hi, atHi = at, miss; side == 1 {
					atLo /= 2
				}
				side = 1
			}
		}
		return day(at)
	}
	f := Forecast{Known: true, Laid: laid, Mean: median, SD: developing * reach}
	f.WatchFrom, f.WatchTo = quantile(watchShare), quantile(1-watchShare)
	f.Overdue = c.On.After(f.WatchTo)

	from := civil.Max(laid.AddDays(1), day(-5*reach))
	to := civil.Min(day(8*reach), civil.Max(c.On, day(0)).AddDays(farthest))
	var weights [len(nodes)]float64
	for i := range weights {
		weights[i] = nodes[i].p
	}
	gone := func(int) float64 { return 0 }
	if !f.Overdue {
		from = civil.Max(from, c.On)
		to = civil.Max(to, c.On.AddDays(7))
		weights = c.weigh(laid, begins, phi)
		u0 := begins(from)
		gone = func(i int) float64 { return phi(u0, i) }
	}
	f.first = from
	var left float64
	var below [len(nodes)]float64
	for i := range nodes {
		below[i] = gone(i)
		left += weights[i] * (1 - below[i])
	}
	sum := 0.0
	for d := from; !d.After(to) && left > 0 && (sum < almostAll || d.Before(c.On.AddDays(7))); d = d.AddDays(1) {
		u, p := begins(d.AddDays(1)), 0.0
		for i := range nodes {
			upto := max(below[i], phi(u, i))
			p += weights[i] * (upto - below[i])
			below[i] = upto
		}
		f.daily = append(f.daily, p/left)
		sum += p / left
	}
	f.quantiles()
	if f.Overdue {
		f.daily = nil
	}
	f.Basis = c.basis(own, by, papers, kinds, rested)
	f.Cautions = c.cautions()
	f.Males = c.males()
	return f
}

// weigh returns the posterior probability of each node, given the eggs that
// hatched and the eggs that wait. It speaks for an egg that has still to hatch.
func (c *Case) weigh(laid civil.Date, begins func(civil.Date) float64, phi func(u float64, i int) float64) (w [len(nodes)]float64) {
	waiting := c.Eggs - c.Lost
	for _, y := range c.Hatched {
		waiting -= y.Count
	}
	// The forecast is about one of the waiting eggs, so that egg is not
	// evidence.
	others := float64(max(0, waiting-1))
	u0 := begins(c.On)
	best := math.Inf(-1)
	for i := range nodes {
		w[i] = nodes[i].logP + others*math.Log(1-viable*phi(u0, i))
		for _, y := range c.Hatched {
			if y.On.After(laid) {
				w[i] += float64(y.Count) * math.Log(max(1e-12, phi(begins(y.On.AddDays(1)), i)-phi(begins(y.On), i)))
			}
		}
		best = max(best, w[i])
	}
	for i := range w {
		w[i] = math.Exp(w[i] - best)
	}
	return w
}

// basis words the sources of a forecast, such as "3 own clutches, 2 papers (Ji
// 1999, Le Henanff 2013)".
func (c *Case) basis(own int, by pooled.Kinship, papers []string, kinds int, rested string) string {
	var parts []string
	if own > 0 {
		parts = append(parts, english.Count(own, "own clutch"))
	}
	short := func() string {
		if len(papers) > 3 {
			return ""
		}
		return " (" + strings.Join(papers, ", ") + ")"
	}
	genus, _, _ := strings.Cut(c.Species, " ")
	relatives := ""
	switch by {
	case pooled.SameSpecies:
		parts = append(parts, english.Count(len(papers), "paper")+short())
	case pooled.SameGenus:
		relatives = fmt.Sprintf("%s of other %s", english.Count(len(papers), "paper"), genus)
	case pooled.SameFamily:
		relatives = fmt.Sprintf("%s of %s of %s", english.Count(len(papers), "paper"), english.Count(kinds, "species"), c.family())
	case pooled.Geckos:
		relatives = fmt.Sprintf("%s of %s of geckos", english.Count(len(papers), "paper"), english.Count(kinds, "species"))
	default:
		relatives = fmt.Sprintf("%s of %s of lizards", english.Count(len(papers), "paper"), english.Count(kinds, "species"))
		if c.family() == "" {
			relatives += ", as its `family` is not recorded"
		}
	}
	if by != pooled.SameSpecies {
		switch {
		case len(c.Sheet.Points) > 0:
			parts = append(parts, sources(c.Sheet.Points))
		case c.Sheet.Days.To > 0:
			parts = append(parts, "the care sheet's range of "+english.DayRange(c.Sheet.Days.From, c.Sheet.Days.To))
		case own == 0:
			relatives += ", none of this one"
		}
		parts = append(parts, relatives)
	}
	words := strings.Join(parts, ", ")
	if rested != "" {
		words += ", after " + rested
	}
	if by != pooled.SameSpecies && own == 0 && len(c.Sheet.Points) == 0 && c.Sheet.Days.To == 0 {
		words += "; `days` in its care sheet or one clutch that hatches will narrow it"
	}
	if len(c.Warmth) == 0 {
		words += "; the tub's temperature is not known"
	}
	return words
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
