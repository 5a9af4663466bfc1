package pooled

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Curve is the part of a fit that a forecast needs: the form, its shared
// parameters, and the spreads of clutches, keepers and species about the curve.
type Curve struct {
	Form    Form
	Shared  []float64
	Spreads Spreads
	Widen   Widen
}

// Widen multiplies the standard deviations of forecasts, so that the intervals
// cover the promised share of eggs left out of the fit.
type Widen struct {
	Own     float64 // species of which the keeper has had clutches
	Known   float64 // other species with published measurements
	Unknown float64 // species known only by genus or family, or unknown
}

// Rate returns the speed of development in a species with this dev, relative to
// the speed at the reference temperature. During the day the temperature
// follows a sine about celsius, with halfRange as its amplitude.
func (c *Curve) Rate(celsius, halfRange, dev float64) float64 {
	return math.Exp(c.Form.logRate(celsius, halfRange, dev, c.Shared))
}

// Seen is an own clutch that hatched, as an observation for the model.
type Seen struct {
	Species   string
	Incubator string
	Celsius   float64 // mean
	// Work returns the clutch's days, converted to days at the reference
	// temperature for a species with this dev.
	Work func(dev float64) float64
	// Variance is the variance of the clutch's log days that comes from the
	// finite number of eggs and from the uncertain laying date.
	Variance float64
}

// Learned is the posterior of the model, given a keeper's own clutches.
type Learned struct {
	c       *Curve
	believe func(species string) Belief
	places  []string
	stocks  []ownStock
	x       []float64
	cov     *mat.SymDense
}

// ownStock is a keeper's stock of one species.
type ownStock struct {
	species string
	belief  Belief // the prior
	at      int    // index of the stock's first parameter in the state
	// degrees are the mean temperatures of the clutches, rounded to whole
	// degrees, ascending and distinct. chol factorises the covariance of the
	// stock's departures from the curve at these degrees.
	degrees []float64
	chol    mat.Cholesky
}

// The state vector: the keeper's pair of effects, a pair for each incubator,
// and for each species its pair, its stock's effect, and an effect for each
// degree.
func (l *Learned) place(i int) int   { return 2 + 2*i }
func (s *ownStock) level() int       { return s.at + 2 }
func (s *ownStock) degree(i int) int { return s.at + 3 + i }
func half(c Cov2) Cov2               { return Cov2{c.AA / 2, c.AD / 2, c.DD / 2} }
func index(l []string, s string) int { return slices.Index(l, s) }

func (l *Learned) stock(species string) *ownStock {
	i := slices.IndexFunc(l.stocks, func(s ownStock) bool { return s.species == species })
	if i < 0 {
		return nil
	}
	return &l.stocks[i]
}

// near is the distance, in °C, over which the correlation of a stock's
// departures from the curve falls to 1/e. In published treatments, departures 1
// °C apart have a correlation of one half, and departures 2 °C or more apart
// have none.
const near = 1.5

// alike returns the covariance of a stock's departures from the curve at two
// temperatures.
func (c *Curve) alike(a, b float64) float64 {
	return c.Spreads.Misfit * ResidualFactor * math.Exp(-math.Abs(a-b)/near)
}

// departure predicts a stock's departure at a temperature from its departures
// at its degrees (Gaussian process regression): the weight of each degree, and
// the remaining variance.
func (c *Curve) departure(s *ownStock, celsius float64) (share []float64, rest float64) {
	n := len(s.degrees)
	with := mat.NewVecDense(n, nil)
	for i, t := range s.degrees {
		with.SetVec(i, c.alike(t, celsius))
	}
	var w mat.VecDense
	if s.chol.SolveVecTo(&w, with) != nil {
		return make([]float64, n), c.alike(0, 0)
	}
	return w.RawVector().Data, max(0, c.alike(0, 0)-mat.Dot(&w, with))
}

// Learn takes a keeper's own clutches into account. A keeper differs from the
// published data as one paper differs from the others. Half of the variance
// between papers is common to all of the keeper's clutches, the other half to
// the clutches in one incubator. The keeper's stock of a species varies like a
// paper's stock, in its level and in its departure at each temperature.
// Outlying clutches have little weight.
func (c *Curve) Learn(believe func(species string) Belief, seen []Seen) *Learned {
	l := &Learned{c: c, believe: believe}
	if len(seen) == 0 {
		return l
	}
	n := l.layOut(seen)
	l.x = make([]float64, n)
	l.cov = mat.NewSymDense(n, nil)
	prior := l.prior(n)
	weights := make([]float64, len(seen))
	for k := range weights {
		weights[k] = 1
	}
	for range 6 {
		if !l.step(prior, seen, weights) {
			break
		}
		for k, s := range seen {
			weights[k] = (Tail + 1) / (Tail + l.misfit(s)/(c.Spreads.Residual+s.Variance))
		}
	}
	return l
}

// layOut finds the stocks, their degrees and the incubators of the clutches. It
// returns the size of the state.
func (l *Learned) layOut(seen []Seen) (size int) {
	for _, s := range seen {
		k := l.stock(s.Species)
		if k == nil {
			l.stocks = append(l.stocks, ownStock{species: s.Species, belief: l.believe(s.Species)})
			k = &l.stocks[len(l.stocks)-1]
		}
		k.degrees = append(k.degrees, math.Round(s.Celsius))
		if index(l.places, s.Incubator) < 0 {
			l.places = append(l.places, s.Incubator)
		}
	}
	slices.SortFunc(l.stocks, func(a, b ownStock) int { return strings.Compare(a.species, b.species) })
	slices.Sort(l.places)
	size = l.place(len(l.places))
	for i := range l.stocks {
		s := &l.stocks[i]
		slices.Sort(s.degrees)
		s.degrees = slices.Compact(s.degrees)
		s.at = size
		size = s.degree(len(s.degrees))
	}
	return size
}

// prior returns the precision of the state before any own clutch.
func (l *Learned) prior(size int) *mat.SymDense {
	prior := mat.NewSymDense(size, nil)
	pair := func(i int, c Cov2) {
		q := c.inverse()
		prior.SetSym(i, i, q.AA)
		prior.SetSym(i, i+1, q.AD)
		prior.SetSym(i+1, i+1, q.DD)
	}
	spreads := l.c.Spreads
	pair(0, half(spreads.Paper))
	for i := range l.places {
		pair(l.place(i), half(spreads.Paper))
	}
	for i := range l.stocks {
		s := &l.stocks[i]
		pair(s.at, s.belief.Cov)
		prior.SetSym(s.level(), s.level(), 1/spreads.Stock)
		k := s.factorize(l.c)
		for a := range s.degrees {
			for b := a; k != nil && b < len(s.degrees); b++ {
				prior.SetSym(s.degree(a), s.degree(b), k.At(a, b))
			}
		}
	}
	return prior
}

// factorize sets s.chol and returns the precision of the stock's departures
// from the curve at its degrees. The degrees are whole and distinct, so the
// covariance is invertible. If rounding makes it singular, the precision is nil.
func (s *ownStock) factorize(c *Curve) *mat.SymDense {
	k := mat.NewSymDense(len(s.degrees), nil)
	for a, t := range s.degrees {
		for b := a; b < len(s.degrees); b++ {
			k.SetSym(a, b, c.alike(t, s.degrees[b]))
		}
	}
	s.chol.Factorize(k)
	if s.chol.InverseTo(k) != nil {
		return nil
	}
	return k
}

// step takes one Newton step towards the mode of the state, given the weights
// of the clutches, and sets the covariance. It reports false if the curvature is
// singular.
func (l *Learned) step(prior *mat.SymDense, seen []Seen, weights []float64) bool {
	n := len(l.x)
	h := mat.NewSymDense(n, nil)
	h.CopySym(prior)
	g := mat.NewVecDense(n, nil)
	g.MulVec(prior, mat.NewVecDense(n, l.x))
	g.ScaleVec(-1, g)
	for k, s := range seen {
		at, d, res := l.residual(s)
		q := weights[k] / (l.c.Spreads.Residual + s.Variance)
		for a, i := range at {
			g.SetVec(i, g.AtVec(i)+q*d[a]*res)
			for b, j := range at {
				if i <= j {
					h.SetSym(i, j, h.At(i, j)+q*d[a]*d[b])
				}
			}
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(h) {
		return false
	}
	var dx mat.VecDense
	if ch.SolveVecTo(&dx, g) != nil || ch.InverseTo(l.cov) != nil {
		return false
	}
	for i := range l.x {
		l.x[i] += max(-2, min(2, dx.AtVec(i)))
	}
	return true
}

// misfit returns the expected square of the residual of an own clutch.
func (l *Learned) misfit(s Seen) float64 {
	at, d, res := l.residual(s)
	v := res * res
	for a, i := range at {
		for b, j := range at {
			v += d[a] * d[b] * l.cov.At(i, j)
		}
	}
	return v
}

// residual returns the residual of an own clutch: the log of its work less the
// prediction from the state. It also returns the indices and derivatives of the
// effects behind the prediction.
func (l *Learned) residual(s Seen) (at [8]int, d [8]float64, res float64) {
	k, p := l.stock(s.Species), l.place(index(l.places, s.Incubator))
	i := k.at
	g := k.degree(slices.Index(k.degrees, math.Round(s.Celsius)))
	level := k.belief.Level + l.x[0] + l.x[p] + l.x[i] + l.x[k.level()] + l.x[g]
	dev := k.belief.Dev + l.x[1] + l.x[p+1] + l.x[i+1]
	const h = 1e-3
	res = math.Log(s.Work(dev)) - level
	slope := -(math.Log(s.Work(dev+h)) - math.Log(s.Work(dev-h))) / (2 * h)
	return [8]int{0, 1, p, p + 1, i, i + 1, k.level(), g}, [8]float64{1, slope, 1, slope, 1, slope, 1, 1}, res
}

// Expect returns the belief about this keeper's next clutch of a species in an
// incubator at a mean temperature. It includes the effects of the keeper, the
// incubator and the stock, and the uncertain departure from the curve at that
// temperature.
func (l *Learned) Expect(species, incubator string, celsius float64) Belief {
	return l.ExpectOf(species, incubator, celsius, l.believe(species))
}

// ExpectOf is Expect with the given prior for the species. If the keeper has
// had clutches of the species, the prior must equal the prior that Learn used.
func (l *Learned) ExpectOf(species, incubator string, celsius float64, published Belief) Belief {
	b := published
	if len(l.stocks) == 0 {
		// No own clutch: the full variance of a keeper and a stock.
		b.Cov = b.Cov.plus(l.c.Spreads.Paper)
		b.Cov.AA += l.c.Spreads.Stock + l.c.alike(0, 0)
		return b
	}
	type term struct {
		at    int
		share float64
	}
	level, dev := []term{{0, 1}}, []term{{1, 1}}
	if i := index(l.places, incubator); i >= 0 {
		level, dev = append(level, term{l.place(i), 1}), append(dev, term{l.place(i) + 1, 1})
	} else {
		b.Cov = b.Cov.plus(half(l.c.Spreads.Paper))
	}
	if s := l.stock(species); s != nil {
		level, dev = append(level, term{s.at, 1}, term{s.level(), 1}), append(dev, term{s.at + 1, 1})
		share, rest := l.c.departure(s, celsius)
		for i, w := range share {
			level = append(level, term{s.degree(i), w})
		}
		b.Cov = Cov2{b.Cov.AA - published.Cov.AA + rest, b.Cov.AD - published.Cov.AD, b.Cov.DD - published.Cov.DD}
	} else {
		b.Cov.AA += l.c.Spreads.Stock + l.c.alike(0, 0)
	}
	covariance := func(a, b []term) (v float64) {
		for _, s := range a {
			for _, t := range b {
				v += s.share * t.share * l.cov.At(s.at, t.at)
			}
		}
		return v
	}
	for _, t := range level {
		b.Level += t.share * l.x[t.at]
	}
	for _, t := range dev {
		b.Dev += t.share * l.x[t.at]
	}
	b.Cov = b.Cov.plus(Cov2{covariance(level, level), covariance(level, dev), covariance(dev, dev)})
	return b
}

// Informed returns the belief about a species after the measurements of one
// more paper. The belief includes the effects of the species, but not the
// effects of that paper.
func (c *Curve) Informed(b Belief, measured []Seen) Belief {
	if len(measured) == 0 {
		return b
	}
	measured = slices.Clone(measured)
	for i := range measured {
		measured[i].Species, measured[i].Incubator = "", ""
	}
	l := c.Learn(func(string) Belief { return b }, measured)
	i := l.stocks[0].at
	return Belief{
		Level: b.Level + l.x[i], Dev: b.Dev + l.x[i+1],
		Cov: Cov2{l.cov.At(i, i), l.cov.At(i, i+1), l.cov.At(i+1, i+1)},
	}
}
