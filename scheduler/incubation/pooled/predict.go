package pooled

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Curve is what a forecast needs of a fit: a form, its numbers, and how far
// clutches, keepers and species depart from them.
type Curve struct {
	Form    Form
	Shared  []float64
	Spreads Spreads
	Widen   Widen
}

// Widen multiplies the standard deviations of forecasts, so that intervals for
// eggs that were left out of the fit cover what they claim.
type Widen struct {
	Own     float64 // species of which the keeper has had clutches
	Known   float64 // other species of which papers have measurements
	Unknown float64 // species known by their genus, family, or not at all
}

// Rate returns how fast development runs in a species, as a share of its rate
// at the reference temperature, over a day whose temperature follows a sine
// about celsius with half its range halfRange.
func (c *Curve) Rate(celsius, halfRange, dev float64) float64 {
	return math.Exp(c.Form.logRate(celsius, halfRange, dev, c.Shared))
}

// Seen is an own clutch that hatched.
type Seen struct {
	Species   string
	Incubator string
	Celsius   float64 // mean
	// Work returns the days it took, in days at the reference temperature, in
	// a species with this dev.
	Work func(dev float64) float64
	// Variance of the log days: of single eggs as far as they average out, of
	// the laying date.
	Variance float64
}

// Learned is what a keeper's own clutches say on top of what was published.
type Learned struct {
	c       *Curve
	believe func(species string) Belief
	places  []string
	stocks  []ownStock
	x       []float64
	cov     *mat.SymDense
}

// ownStock is a keeper's eggs of one species.
type ownStock struct {
	species string
	belief  Belief // before any were seen
	at      int    // of its first number
	// degrees are those at which eggs were seen, whole, rising; chol is of the
	// covariance of how far the stock departs from the curve there.
	degrees []float64
	chol    mat.Cholesky
}

// The state is the keeper's pair, a pair for each incubator, and for each
// species its own pair, its stock's one number, and one for each degree.
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

// near is over how many °C a stock's departures from the curve have something
// in common. Those of published treatments correlate by one half at 1 °C, and
// not at 2 °C and more.
const near = 1.5

// alike is the covariance of a stock's departures from the curve at two
// temperatures.
func (c *Curve) alike(a, b float64) float64 {
	return c.Spreads.Misfit * ResidualFactor * math.Exp(-math.Abs(a-b)/near)
}

// departure is how much of a stock's departures at its degrees there is at a
// temperature, and the variance of the rest.
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

// Learn takes a keeper's clutches into account: a keeper differs from what
// was published as a paper differs from others, half of it in all they do and
// half in one incubator, and their stock of a species as one paper's stock
// does, at all temperatures and at each. Clutches that do not fit the others
// count little.
func (c *Curve) Learn(believe func(species string) Belief, seen []Seen) *Learned {
	l := &Learned{c: c, believe: believe}
	if len(seen) == 0 {
		return l
	}
	for _, s := range seen {
		k := l.stock(s.Species)
		if k == nil {
			l.stocks = append(l.stocks, ownStock{species: s.Species, belief: believe(s.Species)})
			k = &l.stocks[len(l.stocks)-1]
		}
		k.degrees = append(k.degrees, math.Round(s.Celsius))
		if index(l.places, s.Incubator) < 0 {
			l.places = append(l.places, s.Incubator)
		}
	}
	slices.SortFunc(l.stocks, func(a, b ownStock) int { return strings.Compare(a.species, b.species) })
	slices.Sort(l.places)
	n := l.place(len(l.places))
	for i := range l.stocks {
		s := &l.stocks[i]
		slices.Sort(s.degrees)
		s.degrees = slices.Compact(s.degrees)
		s.at = n
		n = s.degree(len(s.degrees))
	}
	l.x = make([]float64, n)
	prior := mat.NewSymDense(n, nil)
	pair := func(i int, c Cov2) {
		q := c.inverse()
		prior.SetSym(i, i, q.AA)
		prior.SetSym(i, i+1, q.AD)
		prior.SetSym(i+1, i+1, q.DD)
	}
	pair(0, half(c.Spreads.Paper))
	for i := range l.places {
		pair(l.place(i), half(c.Spreads.Paper))
	}
	for i := range l.stocks {
		s := &l.stocks[i]
		pair(s.at, s.belief.Cov)
		prior.SetSym(s.level(), s.level(), 1/c.Spreads.Stock)
		k := mat.NewSymDense(len(s.degrees), nil)
		for a, t := range s.degrees {
			for b := a; b < len(s.degrees); b++ {
				k.SetSym(a, b, c.alike(t, s.degrees[b]))
			}
		}
		// Degrees are whole and differ, so that this has an inverse.
		s.chol.Factorize(k)
		if s.chol.InverseTo(k) == nil {
			for a := range s.degrees {
				for b := a; b < len(s.degrees); b++ {
					prior.SetSym(s.degree(a), s.degree(b), k.At(a, b))
				}
			}
		}
	}
	weights := make([]float64, len(seen))
	for k := range weights {
		weights[k] = 1
	}
	l.cov = mat.NewSymDense(n, nil)
	for range 6 {
		h := mat.NewSymDense(n, nil)
		h.CopySym(prior)
		g := mat.NewVecDense(n, nil)
		g.MulVec(prior, mat.NewVecDense(n, l.x))
		g.ScaleVec(-1, g)
		for k, s := range seen {
			at, d, res := l.residual(s)
			q := weights[k] / (c.Spreads.Residual + s.Variance)
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
			break
		}
		var dx mat.VecDense
		if ch.SolveVecTo(&dx, g) != nil || ch.InverseTo(l.cov) != nil {
			break
		}
		for i := range l.x {
			l.x[i] += max(-2, min(2, dx.AtVec(i)))
		}
		for k, s := range seen {
			at, d, res := l.residual(s)
			v := res * res
			for a, i := range at {
				for b, j := range at {
					v += d[a] * d[b] * l.cov.At(i, j)
				}
			}
			weights[k] = (Tail + 1) / (Tail + v/(c.Spreads.Residual+s.Variance))
		}
	}
	return l
}

// residual of an own clutch: log of its work, less what the state expects.
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

// Expect returns what is expected of this keeper's next clutch of a species
// in an incubator at a mean temperature: as Belief, now with what the keeper,
// the place and the stock add, and how far it may depart from the curve there.
func (l *Learned) Expect(species, incubator string, celsius float64) Belief {
	return l.ExpectOf(species, incubator, celsius, l.believe(species))
}

// ExpectOf is Expect of a species of which published is believed; of one that
// the keeper has had clutches of, it must be what was believed of it then.
func (l *Learned) ExpectOf(species, incubator string, celsius float64, published Belief) Belief {
	b := published
	if len(l.stocks) == 0 {
		// Nothing seen: all of it unknown.
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

// Informed returns the belief about a species once measurements of one more
// paper are known; its other papers' stay what they are.
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
