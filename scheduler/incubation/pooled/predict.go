package pooled

import (
	"math"
	"slices"

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
	species []string
	places  []string
	x       []float64
	cov     *mat.SymDense
}

// The state is the keeper's pair, a pair for each incubator, and for each
// species its own pair and its stock's one number.
const perSpecies = 3

func (l *Learned) place(i int) int   { return 2 + 2*i }
func (l *Learned) kind(i int) int    { return 2 + 2*len(l.places) + perSpecies*i }
func (l *Learned) state() int        { return l.kind(len(l.species)) }
func half(c Cov2) Cov2               { return Cov2{c.AA / 2, c.AD / 2, c.DD / 2} }
func index(l []string, s string) int { return slices.Index(l, s) }

// Learn takes a keeper's clutches into account: a keeper differs from what
// was published as a paper differs from others, half of it in all they do and
// half in one incubator, and their stock of a species as one paper's stock
// does. Clutches that do not fit the others count little.
func (c *Curve) Learn(believe func(species string) Belief, seen []Seen) *Learned {
	l := &Learned{c: c, believe: believe}
	if len(seen) == 0 {
		return l
	}
	for _, s := range seen {
		if index(l.species, s.Species) < 0 {
			l.species = append(l.species, s.Species)
		}
		if index(l.places, s.Incubator) < 0 {
			l.places = append(l.places, s.Incubator)
		}
	}
	slices.Sort(l.species)
	slices.Sort(l.places)
	n := l.state()
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
	beliefs := make([]Belief, len(l.species))
	for i, s := range l.species {
		beliefs[i] = believe(s)
		pair(l.kind(i), beliefs[i].Cov)
		prior.SetSym(l.kind(i)+2, l.kind(i)+2, 1/c.Spreads.Stock)
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
			at, d, res := l.residual(s, beliefs)
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
			at, d, res := l.residual(s, beliefs)
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
func (l *Learned) residual(s Seen, beliefs []Belief) (at [7]int, d [7]float64, res float64) {
	k, p := index(l.species, s.Species), l.place(index(l.places, s.Incubator))
	i := l.kind(k)
	level := beliefs[k].Level + l.x[0] + l.x[p] + l.x[i] + l.x[i+2]
	dev := beliefs[k].Dev + l.x[1] + l.x[p+1] + l.x[i+1]
	const h = 1e-3
	res = math.Log(s.Work(dev)) - level
	slope := -(math.Log(s.Work(dev+h)) - math.Log(s.Work(dev-h))) / (2 * h)
	return [7]int{0, 1, p, p + 1, i, i + 1, i + 2}, [7]float64{1, slope, 1, slope, 1, slope, 1}, res
}

// Expect returns what is expected of this keeper's next clutch of a species
// in an incubator: as Belief, now with what the keeper, the place and the
// stock add.
func (l *Learned) Expect(species, incubator string) Belief {
	return l.ExpectOf(species, incubator, l.believe(species))
}

// ExpectOf is Expect of a species of which published is believed; of one that
// the keeper has had clutches of, it must be what was believed of it then.
func (l *Learned) ExpectOf(species, incubator string, published Belief) Belief {
	b := published
	var at []int // pairs
	at = append(at, 0)
	if len(l.species) == 0 {
		// Nothing seen: all of it unknown.
		b.Cov = b.Cov.plus(l.c.Spreads.Paper)
		b.Cov.AA += l.c.Spreads.Stock
		return b
	}
	if i := index(l.places, incubator); i >= 0 {
		at = append(at, l.place(i))
	} else {
		b.Cov = b.Cov.plus(half(l.c.Spreads.Paper))
	}
	stock := -1
	if i := index(l.species, species); i >= 0 {
		at = append(at, l.kind(i))
		stock = l.kind(i) + 2
		prior := published.Cov
		b.Cov = Cov2{b.Cov.AA - prior.AA, b.Cov.AD - prior.AD, b.Cov.DD - prior.DD}
	} else {
		b.Cov.AA += l.c.Spreads.Stock
	}
	for _, i := range at {
		b.Level += l.x[i]
		b.Dev += l.x[i+1]
		for _, j := range at {
			b.Cov.AA += l.cov.At(i, j)
			b.Cov.AD += l.cov.At(i, j+1)
			b.Cov.DD += l.cov.At(i+1, j+1)
		}
	}
	if stock >= 0 {
		b.Level += l.x[stock]
		b.Cov.AA += l.cov.At(stock, stock)
		for _, i := range at {
			b.Cov.AA += 2 * l.cov.At(i, stock)
			b.Cov.AD += l.cov.At(i+1, stock)
		}
	}
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
	i := l.kind(0)
	return Belief{
		Level: b.Level + l.x[i], Dev: b.Dev + l.x[i+1],
		Cov: Cov2{l.cov.At(i, i), l.cov.At(i, i+1), l.cov.At(i+1, i+1)},
	}
}
