package pooled

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"nestround/scheduler/incubation/published"
)

// Rest returns how many days of a species' published durations are rest
// (diapause) before development starts: the middle of the 50 to 80 days of
// Andrews & Donoghue 2004, Journal of Experimental Zoology 301A:629-635.
func Rest(species string) float64 {
	if species == "Chamaeleo calyptratus" {
		return 65
	}
	return 0
}

// Tail is the number of degrees of freedom of the t distributions of residuals
// and of papers. It is small so that outlying rows and papers have little
// influence.
const Tail = 4

// eggCV is the standard deviation of single eggs as a share of the mean: the
// median of 274 treatments in 48 papers of the database.
const eggCV = 0.04

// Spreads are the variances of the effects. A Cov2 is the covariance of the two
// effects of a group: on the level (log days at the reference temperature) and
// on dev, the steepness of the curve.
type Spreads struct {
	Family, Genus, Species Cov2
	Paper                  Cov2    // shared by all eggs of a paper, or of a keeper
	Stock                  float64 // effect on the level of one paper's stock of one species
	// Misfit is the squared scale of the departures of a stock's eggs from the
	// curve at one temperature. Residual is the squared scale of the departures
	// of one clutch, or of one of several groups of a treatment, from their
	// common mean.
	Misfit, Residual float64
}

// Cov2 is a symmetric 2x2 covariance matrix: AA of the level, DD of dev, AD of
// both.
type Cov2 struct{ AA, AD, DD float64 }

func (c Cov2) plus(d Cov2) Cov2 { return Cov2{c.AA + d.AA, c.AD + d.AD, c.DD + d.DD} }

// inverse returns the inverse of a positive definite matrix.
func (c Cov2) inverse() Cov2 {
	det := c.AA*c.DD - c.AD*c.AD
	return Cov2{c.DD / det, -c.AD / det, c.AA / det}
}

// Model is a fit: the posterior modes of all effects, and their joint
// covariance.
type Model struct {
	Form    Form
	Spreads Spreads
	all     []published.Duration // usable rows
	rows    []published.Duration // the usable rows, joined into treatments
	x       []float64
	cov     *mat.SymDense
	index   map[string]int // index in x of the first of a group's two effects, or of a stock's only effect
	p       int            // number of shared parameters; the first is the level
	w       []float64      // weights of the rows
	wp      map[string]float64
}

func groups(r published.Duration) (family, genus, species, paper, stock string) {
	return "family " + r.Family, "genus " + r.Genus(), "species " + r.Species, "paper " + r.Paper, "stock " + r.Paper + " " + r.Species
}

// Fit fits a form to rows. In each of the rounds it finds the modes of all
// effects for fixed spreads and weights (a Gauss-Newton step), then spreads and
// weights for fixed effects (expectation-maximisation).
func Fit(form Form, rows []published.Duration, rounds int) (*Model, error) {
	// The last shared parameter is the shape of a daily cycle, see logRate.
	form.Start = append(slices.Clone(form.Start), -0.5)
	form.Spread = append(slices.Clone(form.Spread), 0.7)
	m := start(form, rows, Spreads{
		Family: Cov2{.05, 0, form.DevSpread * form.DevSpread}, Genus: Cov2{.05, 0, form.DevSpread * form.DevSpread},
		Species: Cov2{.03, 0, form.DevSpread * form.DevSpread}, Paper: Cov2{.004, 0, form.DevSpread * form.DevSpread / 4},
		Stock: .002, Misfit: .002,
	})
	for i := range rounds {
		if err := m.step(); err != nil {
			return nil, err
		}
		m.reweigh()
		if i >= 3 {
			m.respread()
		}
	}
	m.Spreads.Residual = scatter(m.all)
	return m, m.step()
}

// scatter returns the squared scale of the differences between groups of eggs
// of one treatment: a robust estimate from the median over all pairs, less the
// part due to small numbers of eggs.
func scatter(rows []published.Duration) float64 {
	var off []float64
	var chance float64
	for i, a := range rows {
		for _, b := range rows[i+1:] {
			if a.Paper == b.Paper && a.Species == b.Species && a.Celsius == b.Celsius && a.HalfRange == b.HalfRange {
				off = append(off, math.Abs(math.Log(a.Days/b.Days)))
				chance += sampling(a) + sampling(b)
			}
		}
	}
	if len(off) == 0 {
		return eggCV * eggCV / 4
	}
	// Half of a normal distribution is within 0.6745 SD of its mean.
	scale := median(off) / 0.6745
	return max(1e-4, (scale*scale-chance/float64(len(off)))/2)
}

// Refit fits the form of m to other rows and keeps the spreads of m.
func (m *Model) Refit(rows []published.Duration, rounds int) (*Model, error) {
	n := start(m.Form, rows, m.Spreads)
	copy(n.x[:n.p], m.x[:m.p])
	for name, i := range n.index {
		if j, ok := m.index[name]; ok {
			n.x[i] = m.x[j]
			if !stock(name) {
				n.x[i+1] = m.x[j+1]
			}
		}
		if w, ok := m.wp[name]; ok {
			n.wp[name] = w
		}
	}
	for range rounds {
		if err := n.step(); err != nil {
			return nil, err
		}
		n.reweigh()
	}
	return n, n.step()
}

func stock(name string) bool { return len(name) > 6 && name[:6] == "stock " }

func start(form Form, rows []published.Duration, s Spreads) *Model {
	m := &Model{Form: form, Spreads: s, p: 1 + len(form.Start), index: make(map[string]int), wp: make(map[string]float64)}
	for _, r := range rows {
		if r.Usable() {
			m.all = append(m.all, r)
		}
	}
	m.rows = treatments(m.all)
	m.x = append([]float64{4}, form.Start...)
	for _, r := range m.rows {
		f, g, sp, pa, st := groups(r)
		for _, name := range []string{f, g, sp, pa} {
			if _, ok := m.index[name]; !ok {
				m.index[name] = len(m.x)
				m.x = append(m.x, 0, 0)
			}
		}
		m.wp[pa] = 1
		if _, ok := m.index[st]; !ok {
			m.index[st] = len(m.x)
			m.x = append(m.x, 0)
		}
	}
	m.w = make([]float64, len(m.rows))
	for i := range m.w {
		m.w[i] = 1
	}
	return m
}

// treatments joins the rows of one paper, species and temperature into one row.
// Such rows differ in moisture, which hardly matters, or in the origin of the
// mothers. They share the species' departure from the curve at that
// temperature. Counted as separate rows, they would make the curve look too
// certain and the residuals too small.
func treatments(rows []published.Duration) []published.Duration {
	type cell struct {
		paper, species     string
		celsius, halfRange float64
	}
	type sums struct{ log, variance, eggs float64 }
	at := make(map[cell]int)
	var joined []published.Duration
	var sum []sums
	for _, r := range rows {
		c := cell{r.Paper, r.Species, r.Celsius, r.HalfRange}
		i, ok := at[c]
		if !ok {
			i = len(joined)
			at[c], joined, sum = i, append(joined, r), append(sum, sums{})
		}
		n, s := eggs(r), &sum[i]
		s.log += n * math.Log(r.Days)
		s.variance += n * n * sampling(r)
		s.eggs += n
	}
	for i, s := range sum {
		r := &joined[i]
		r.Days, r.Eggs = math.Exp(s.log/s.eggs), s.eggs
		r.SD = r.Days * math.Sqrt(s.variance/s.eggs)
	}
	return joined
}

// eggs returns the number of eggs of a row, or 10 if the paper does not state
// the number.
func eggs(r published.Duration) float64 {
	if r.Eggs <= 0 {
		return 10
	}
	return r.Eggs
}

// sampling returns the sampling variance of a treatment's mean log days, due to
// its finite number of eggs.
func sampling(r published.Duration) float64 {
	cv := eggCV
	if r.SD > 0 {
		cv = r.SD / r.Days
	}
	return cv * cv / eggs(r)
}

// row returns the predicted log days of a row, the indices of the effects
// behind the prediction, and the derivatives with respect to these effects.
func (m *Model) row(r published.Duration, at []int, d []float64) (predicted float64, _ []int, _ []float64) {
	f, g, sp, pa, st := groups(r)
	level, dev := m.x[0], 0.0
	for _, name := range []string{f, g, sp, pa} {
		i := m.index[name]
		level += m.x[i]
		dev += m.x[i+1]
	}
	level += m.x[m.index[st]]
	shared := m.x[1:m.p]
	lr := m.Form.logRate(r.Celsius, r.HalfRange, dev, shared)
	predicted = level - lr
	at, d = append(at[:0], 0), append(d[:0], 1)
	for k := range shared {
		const h = 1e-4
		old := shared[k]
		shared[k] = old + h
		up := m.Form.logRate(r.Celsius, r.HalfRange, dev, shared)
		shared[k] = old - h
		down := m.Form.logRate(r.Celsius, r.HalfRange, dev, shared)
		shared[k] = old
		at, d = append(at, 1+k), append(d, -(up-down)/(2*h))
	}
	slope := m.Form.slope(r.Celsius, r.HalfRange, dev, shared)
	for _, name := range []string{f, g, sp, pa} {
		i := m.index[name]
		at, d = append(at, i, i+1), append(d, 1, slope)
	}
	at, d = append(at, m.index[st]), append(d, 1)
	return predicted, at, d
}

// slope returns the derivative of the log days with respect to dev.
func (f *Form) slope(celsius, halfRange, dev float64, shared []float64) float64 {
	const h = 1e-3
	return -(f.logRate(celsius, halfRange, dev+h, shared) - f.logRate(celsius, halfRange, dev-h, shared)) / (2 * h)
}

// step makes one Gauss-Newton step and computes the covariance at the new
// modes.
func (m *Model) step() error {
	n := len(m.x)
	h := mat.NewSymDense(n, nil)
	g := mat.NewVecDense(n, nil)
	add := func(i, j int, v float64) {
		if i <= j {
			h.SetSym(i, j, h.At(i, j)+v)
		}
	}
	// The prior of the level is wide: from a week to three years.
	prior := func(i int, mean, sd float64) {
		add(i, i, 1/(sd*sd))
		g.SetVec(i, g.AtVec(i)-(m.x[i]-mean)/(sd*sd))
	}
	prior(0, 4, 2)
	for k := range m.Form.Start {
		prior(1+k, m.Form.Start[k], m.Form.Spread[k])
	}
	for _, name := range m.names() {
		i := m.index[name]
		if stock(name) {
			prior(i, 0, math.Sqrt(m.Spreads.Stock))
			continue
		}
		q := m.spread(name).inverse()
		if w, ok := m.wp[name]; ok {
			q = Cov2{q.AA * w, q.AD * w, q.DD * w}
		}
		add(i, i, q.AA)
		add(i, i+1, q.AD)
		add(i+1, i+1, q.DD)
		g.SetVec(i, g.AtVec(i)-q.AA*m.x[i]-q.AD*m.x[i+1])
		g.SetVec(i+1, g.AtVec(i+1)-q.AD*m.x[i]-q.DD*m.x[i+1])
	}
	var at []int
	var d []float64
	for k, r := range m.rows {
		var y float64
		y, at, d = m.row(r, at, d)
		q := m.w[k] / (m.Spreads.Misfit + sampling(r))
		res := math.Log(r.Days-Rest(r.Species)) - y
		for a, i := range at {
			g.SetVec(i, g.AtVec(i)+q*d[a]*res)
			for b, j := range at {
				add(i, j, q*d[a]*d[b])
			}
		}
	}
	var c mat.Cholesky
	if !c.Factorize(h) {
		return errors.New("fit: the equations have no single solution")
	}
	var dx mat.VecDense
	if err := c.SolveVecTo(&dx, g); err != nil {
		return err
	}
	for i := range m.x {
		step := dx.AtVec(i)
		m.x[i] += max(-2, min(2, step))
	}
	m.cov = mat.NewSymDense(n, nil)
	return c.InverseTo(m.cov)
}

func (m *Model) names() []string {
	names := make([]string, 0, len(m.index))
	for name := range m.index {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func (m *Model) spread(name string) Cov2 {
	switch name[0] {
	case 'f':
		return m.Spreads.Family
	case 'g':
		return m.Spreads.Genus
	case 'p':
		return m.Spreads.Paper
	}
	return m.Spreads.Species
}

// squared returns the expected outer product of a group's pair of effects.
func (m *Model) squared(i int) Cov2 {
	a, d := m.x[i], m.x[i+1]
	return Cov2{a*a + m.cov.At(i, i), a*d + m.cov.At(i, i+1), d*d + m.cov.At(i+1, i+1)}
}

// misfit returns the expected squared residual of a row.
func (m *Model) misfit(r published.Duration, at []int, d []float64) (float64, []int, []float64) {
	y, at, d := m.row(r, at, d)
	res := math.Log(r.Days-Rest(r.Species)) - y
	v := res * res
	for a, i := range at {
		for b, j := range at {
			v += d[a] * d[b] * m.cov.At(i, j)
		}
	}
	return v, at, d
}

// reweigh sets the weights of rows and papers: the t distribution as a scale
// mixture of normal distributions.
func (m *Model) reweigh() {
	var at []int
	var d []float64
	for k, r := range m.rows {
		var v float64
		v, at, d = m.misfit(r, at, d)
		m.w[k] = (Tail + 1) / (Tail + v/(m.Spreads.Misfit+sampling(r)))
	}
	for name := range m.wp {
		s, q := m.squared(m.index[name]), m.Spreads.Paper.inverse()
		m.wp[name] = (Tail + 2) / (Tail + q.AA*s.AA + 2*q.AD*s.AD + q.DD*s.DD)
	}
}

// respread estimates the spreads for fixed effects and weights.
func (m *Model) respread() {
	var at []int
	var d []float64
	var sum, n float64
	for k, r := range m.rows {
		var v float64
		v, at, d = m.misfit(r, at, d)
		sum += m.w[k] * v / (m.Spreads.Misfit + sampling(r))
		n++
	}
	m.Spreads.Misfit *= sum / n
	for letter, s := range map[byte]*Cov2{'f': &m.Spreads.Family, 'g': &m.Spreads.Genus, 's': &m.Spreads.Species, 'p': &m.Spreads.Paper} {
		// A weak prior, worth two groups, keeps the spread of few groups above
		// 0.
		guess := Cov2{.01, 0, m.Form.DevSpread * m.Form.DevSpread / 4}
		if letter == 'p' {
			guess = Cov2{.002, 0, m.Form.DevSpread * m.Form.DevSpread / 16}
		}
		total, n := Cov2{2 * guess.AA, 0, 2 * guess.DD}, 2.0
		for _, name := range m.names() {
			if name[0] != letter || stock(name) {
				continue
			}
			q, w := m.squared(m.index[name]), 1.0
			if letter == 'p' {
				w = m.wp[name]
			}
			total = total.plus(Cov2{w * q.AA, w * q.AD, w * q.DD})
			n++
		}
		*s = Cov2{total.AA / n, total.AD / n, total.DD / n}
	}
	total, k := 2*.001, 2.0
	for _, name := range m.names() {
		if stock(name) {
			i := m.index[name]
			total += m.x[i]*m.x[i] + m.cov.At(i, i)
			k++
		}
	}
	m.Spreads.Stock = total / k
}

// Belief is a normal distribution of a species' level and dev: their means and
// their covariance. A Belief may be a prior or a posterior.
type Belief struct {
	Level, Dev float64
	Cov        Cov2
}

// Species returns the belief about a species. If no row is of the species, the
// belief is that about a new species of the genus; without rows of the genus,
// of the family; without rows of the family, of all lizards.
func (m *Model) Species(family, genus, species string) Belief {
	b := Belief{Level: m.x[0]}
	type term struct {
		i  int
		on int // 0: level; 1: dev
	}
	terms := []term{{0, 0}}
	var unknown Cov2
	for _, name := range []string{"family " + family, "genus " + genus, "species " + species} {
		if i, ok := m.index[name]; ok {
			b.Level += m.x[i]
			b.Dev += m.x[i+1]
			terms = append(terms, term{i, 0}, term{i + 1, 1})
		} else {
			unknown = unknown.plus(m.spread(name))
		}
	}
	for _, s := range terms {
		for _, t := range terms {
			v := m.cov.At(s.i, t.i)
			switch s.on + t.on {
			case 0:
				b.Cov.AA += v
			case 1:
				b.Cov.AD += v / 2
			case 2:
				b.Cov.DD += v
			}
		}
	}
	b.Cov = b.Cov.plus(unknown)
	return b
}

// Shared returns the shared parameters of the form.
func (m *Model) Shared() []float64 { return slices.Clone(m.x[1:m.p]) }
