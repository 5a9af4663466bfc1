package incubation

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation/pooled"
	"nestround/tasks/civil"
)

// node is one place of a clutch in the distribution of its species. The nodes
// are the points at which the forecast integrates numerically.
type node struct {
	z    float64 // in standard deviations from the median
	p    float64 // probability of the part of the distribution around the node
	gap  float64 // distance to the next node, in standard deviations
	logP float64
}

// nodes are dense in the middle and sparse in the tails. They reach so far out
// that even a clutch that is years late is not beyond the last node.
var nodes = func() (list [49]node) {
	const (
		half  = len(list) / 2
		close = 0.12 // the hyperbolic angle between two nodes
	)
	t := distuv.StudentsT{Sigma: math.Sqrt(float64(pooled.PredictiveTail-2) / pooled.PredictiveTail), Nu: pooled.PredictiveTail}
	at := func(i float64) float64 { return math.Sinh(close * (i - float64(half))) }
	for i := range list {
		below, above := at(float64(i)-.5), at(float64(i)+.5)
		// Subtract probabilities in the lower tail: near 1, rounding would lose
		// the difference.
		p := t.CDF(-math.Abs(below)) - t.CDF(-math.Abs(above))
		if i == half {
			p = 1 - 2*t.CDF(below)
		}
		list[i] = node{z: at(float64(i)), p: math.Abs(p), gap: above - below}
		list[i].logP = math.Log(list[i].p)
	}
	return list
}()

// mixture is the distribution of the hatching days of a clutch: a normal
// distribution of the eggs at each node, weighted by the probability of the
// node. The scale of the mixture is the log of the work done by a day, less the
// log of the work of the median clutch. Work is development in days at the
// reference temperature.
type mixture struct {
	laid   civil.Date
	warmth warmth
	rates  []float64 // of the spells of warmth
	rest   float64   // days before development begins
	level  float64   // log of the work of the median clutch
	sd     float64   // between clutches
	reach  float64   // standard deviation of an egg about the median clutch
	widths [len(nodes)]float64
}

// spread sets the standard deviation between clutches.
func (m *mixture) spread(sd float64) {
	within := math.Sqrt(withinClutch) * eggSpread
	m.sd = sd
	m.reach = math.Sqrt(sd*sd + within*within)
	// The distributions of neighbouring nodes must overlap. Otherwise the days
	// between two nodes would get no probability.
	for i, n := range nodes {
		m.widths[i] = max(within, .6*n.gap*sd)
	}
}

// slope returns the derivative of the log of the days with respect to dev, at a
// median day. It is minus the change of the log of the work done by that day.
func (m *mixture) slope(median, dev float64) float64 {
	const h = 1e-2
	work := func(dev float64) float64 { return m.warmth.work(median, m.rest, m.warmth.rates(dev)) }
	return -(math.Log(work(dev+h)) - math.Log(work(dev-h))) / (2 * h)
}

// begins returns the beginning of a day on the scale of the mixture.
func (m *mixture) begins(day civil.Date) float64 {
	x := float64(day.Sub(m.laid)) - .5
	return math.Log(max(1e-9, m.warmth.work(x, m.rest, m.rates))) - m.level
}

// day returns the day of a place u on the scale of the mixture.
func (m *mixture) day(u float64) civil.Date {
	return m.laid.AddDays(max(1, int(math.Round(m.warmth.when(math.Exp(m.level+u), m.rest, m.rates)))))
}

// fraction returns the fraction of a clutch at node i that has hatched before
// u.
func (m *mixture) fraction(u float64, i int) float64 {
	return .5 * math.Erfc(-(u-m.sd*nodes[i].z)/(m.widths[i]*math.Sqrt2))
}

// before returns the prior probability that an egg hatches before u.
func (m *mixture) before(u float64) (p float64) {
	for i := range nodes {
		p += nodes[i].p * m.fraction(u, i)
	}
	return p
}

// quantile returns the day before which an egg hatches with the prior
// probability p. It finds the root by false position. If the same end of the
// bracket stays twice, its function value is halved (the Illinois algorithm).
func (m *mixture) quantile(p float64) civil.Date {
	lo, hi := -8*m.reach, 8*m.reach
	atLo, atHi := -p, 1-p
	at := 0.0
	for side := 0; hi-lo > 1e-3*m.reach; {
		at = (lo*atHi - hi*atLo) / (atHi - atLo)
		switch miss := m.before(at) - p; {
		case math.Abs(miss) < 1e-5:
			return m.day(at)
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
	return m.day(at)
}

// daily returns the first possible day and the posterior probabilities of that
// day and the following days. For an overdue clutch the probabilities are the
// prior ones.
func (m *mixture) daily(c *Case, overdue bool) (from civil.Date, chances []float64) {
	from = civil.Max(m.laid.AddDays(1), m.day(-5*m.reach))
	to := civil.Min(m.day(8*m.reach), civil.Max(c.On, m.day(0)).AddDays(farthest))
	// below is the fraction that has hatched before the day, per node.
	var weights, below [len(nodes)]float64
	if overdue {
		for i := range nodes {
			weights[i] = nodes[i].p
		}
	} else {
		from = civil.Max(from, c.On)
		to = civil.Max(to, c.On.AddDays(7))
		weights = m.weigh(c)
		u := m.begins(from)
		for i := range nodes {
			below[i] = m.fraction(u, i)
		}
	}
	left := 0.0
	for i := range nodes {
		left += weights[i] * (1 - below[i])
	}
	sum := 0.0
	for d := from; !d.After(to) && left > 0 && (sum < almostAll || d.Before(c.On.AddDays(7))); d = d.AddDays(1) {
		u, p := m.begins(d.AddDays(1)), 0.0
		for i := range nodes {
			upto := max(below[i], m.fraction(u, i))
			p += weights[i] * (upto - below[i])
			below[i] = upto
		}
		chances = append(chances, p/left)
		sum += p / left
	}
	return from, chances
}

// weigh returns the posterior probability of each node, given the eggs that
// have hatched and the eggs that wait. The result is for the forecast of one
// egg that still waits.
func (m *mixture) weigh(c *Case) (w [len(nodes)]float64) {
	waiting := c.Eggs - c.Lost
	for _, y := range c.Hatched {
		waiting -= y.Count
	}
	// The forecast is about one of the waiting eggs, so that egg is not
	// evidence.
	others := float64(max(0, waiting-1))
	u := m.begins(c.On)
	best := math.Inf(-1)
	for i := range nodes {
		w[i] = nodes[i].logP + others*math.Log(1-viable*m.fraction(u, i))
		for _, y := range c.Hatched {
			if y.On.After(m.laid) {
				w[i] += float64(y.Count) * math.Log(max(1e-12, m.fraction(m.begins(y.On.AddDays(1)), i)-m.fraction(m.begins(y.On), i)))
			}
		}
		best = max(best, w[i])
	}
	for i := range w {
		w[i] = math.Exp(w[i] - best)
	}
	return w
}
