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

// Spell is some days of a clutch's temperatures.
type Spell struct {
	Days int
	// Temperature is the mean, Swing half the daily range.
	Temperature, Swing husbandry.Celsius
	// Logged has evenly spaced temperatures of the spell, which then count
	// instead; nil where nothing was logged.
	Logged []husbandry.Celsius
}

// mean is the mean temperature of the spell, as logged if it was.
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

// Case is a clutch to forecast, or one that hatched to learn from.
type Case struct {
	Species string // binomial; "" when not known
	Family  string // "" when not known
	Sheet   husbandry.Incubation
	// Laid between LaidFrom (may be zero) and Laid.
	LaidFrom, Laid civil.Date
	// Warmth from the day of laying on; the last spell goes on for good.
	// Empty where nobody knows how warm the eggs stand.
	Warmth    []Spell
	Incubator string
	// Veins is the first day on which candling showed that the embryos develop;
	// zero: not seen.
	Veins   civil.Date
	Eggs    int     // set; 0: not counted
	Lost    int     // of these, found dead: they will not hatch
	Hatched []Young // by date
	On      civil.Date
	Units   husbandry.Units
}

// Males is the share of males expected where sex follows temperature.
type Males struct {
	Mean float64 `json:"mean"` // 0 to 1
	From float64 `json:"from"` // From to To: a 90 % interval
	To   float64 `json:"to"`
}

// Keeper is what a keeper's own clutches have taught. The zero Keeper, or nil,
// has had none.
type Keeper struct {
	learned *pooled.Learned
	count   map[string]int
}

// Parameters of single eggs. Half of their variance is taken to be that of
// clutches, half within them: no published split is known. Four in five set
// eggs hatch at temperatures that suit them (about the middle of the published
// treatments).
const (
	withinClutch = 0.5
	viable       = 0.8
	// unknownWarmth is the standard deviation of a tub's temperature that
	// nobody knows, about 28 °C (common practice).
	unknownWarmth = 2.0
	// watchShare is the probability that lies before, and after, the days
	// worth watching.
	watchShare = 0.02
	// almostAll is the probability up to which days are told apart.
	almostAll = 0.999
	farthest  = 5000 // days to come, and no more
)

// LearnFrom learns from clutches that hatched. Those without a known
// temperature or a dated hatching are passed over.
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

// belief about the species: published, and where nothing is of this very
// species, with what the care sheet says.
func (c Case) belief() pooled.Belief {
	b, by, _, _ := pooled.Known(c.family(), c.Species)
	if by == pooled.SameSpecies {
		return b
	}
	// Care sheets measure eggs that nobody woke.
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
		// A range over the usual temperatures, the warm end going with the
		// early one.
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

// warmth is a history made ready: days of each spell, the last without end.
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
	// A log has few different tenths of a degree and many readings.
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

// work returns the development from day from to day to after laying, in days
// at the reference temperature.
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

// mean returns the mean temperature from day from to day to after laying.
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

// when returns the day after laying by which the work is done.
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

// asLog turns a standard deviation that is a share of the days into one of their
// logarithm. Of small ones it is the same; but eggs that rest 60 days more or
// less before they develop for ten do not take e^6 times as long.
func asLog(share float64) float64 {
	const edge = ninetyPerc / 2
	return math.Asinh(edge*share) / edge
}

func sq(x float64) float64 { return x * x }

// node is a place of a clutch in its distribution.
type node struct {
	z    float64 // in standard deviations
	p    float64 // probability of the places that it stands for
	gap  float64 // from one node to the next about here, in standard deviations
	logP float64
}

// nodes lie close together in the middle, and farther apart the farther out,
// without an end that a late clutch could come to within years.
var nodes = func() (list [49]node) {
	const (
		half  = len(list) / 2
		close = 0.12 // the hyperbolic angle between two
	)
	t := distuv.StudentsT{Sigma: math.Sqrt(float64(pooled.PredictiveTail-2) / pooled.PredictiveTail), Nu: pooled.PredictiveTail}
	at := func(i float64) float64 { return math.Sinh(close * (i - float64(half))) }
	for i := range list {
		below, above := at(float64(i)-.5), at(float64(i)+.5)
		// From the nearer tail, where a difference from 1 would be lost.
		p := t.CDF(-math.Abs(below)) - t.CDF(-math.Abs(above))
		if i == half {
			p = 1 - 2*t.CDF(below)
		}
		list[i] = node{z: at(float64(i)), p: math.Abs(p), gap: above - below}
		list[i].logP = math.Log(list[i].p)
	}
	return list
}()

// Calibrated forecasts a clutch's hatching from published measurements of its
// species and relatives and the keeper's own clutches, with intervals that
// have been tried on what was left out (see package pooled).
//
// A clutch lies somewhere in its species' distribution and its eggs about it.
// Eggs that have not hatched by the day of the question, and those that have,
// say where; an egg found dead says nothing more. Of eggs that rest first the
// rest and its doubt are added.
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
	// The log of the work done by the median day, by dev.
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
	// The eggs of one node must reach those of the next, or the days between
	// are empty.
	var widths [len(nodes)]float64
	for i, n := range nodes {
		widths[i] = max(within, .6*n.gap*sd)
	}

	// share of a clutch at a node that has hatched when day begins.
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
	// False position, with the end that stays brought nearer each time.
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

// weigh returns how probable each node is after what the eggs have shown, for
// an egg that is still to hatch.
func (c *Case) weigh(laid civil.Date, begins func(civil.Date) float64, phi func(u float64, i int) float64) (w [len(nodes)]float64) {
	waiting := c.Eggs - c.Lost
	for _, y := range c.Hatched {
		waiting -= y.Count
	}
	// The egg asked about is one of those waiting.
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

// basis is "3 own clutches, 2 papers (Ji 1999, Le Henanff 2013)".
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

// now returns the last spell: how the eggs stand.
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
