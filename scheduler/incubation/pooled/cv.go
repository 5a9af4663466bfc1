package pooled

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/incubation/published"
)

// Trial is one prediction of a duration left out of the fit, with the measured
// duration.
type Trial struct {
	Species, Paper string
	Days           float64 // measured
	Median         float64 // predicted
	SD             float64 // standard deviation of the log days; 0 for a rule without a distribution
}

// quantile returns the p-quantile of the prediction, in days.
func (t Trial) quantile(p float64) float64 {
	return t.Median * math.Exp(t.SD*student.Quantile(p))
}

// PredictiveTail is the number of degrees of freedom of the forecast's t
// distribution.
const PredictiveTail = 6

var student = distuv.StudentsT{Mu: 0, Sigma: math.Sqrt(float64(PredictiveTail-2) / PredictiveTail), Nu: PredictiveTail}

// trial predicts the days of a row from the posterior b for its clutch. widen
// is the factor on the standard deviation.
func (c *Curve) trial(r published.Duration, b Belief, widen float64) Trial {
	slope := c.Form.slope(r.Celsius, r.HalfRange, b.Dev, c.Shared)
	v := b.Cov.AA + 2*slope*b.Cov.AD + slope*slope*b.Cov.DD + c.Spreads.Residual*ResidualFactor + sampling(r)
	return Trial{
		Species: r.Species, Paper: r.Paper, Days: r.Days,
		Median: math.Exp(b.Level - c.Form.logRate(r.Celsius, r.HalfRange, b.Dev, c.Shared)), SD: widen * math.Sqrt(v),
	}
}

// ResidualFactor converts the squared scale of the residuals' t distribution
// into a variance.
const ResidualFactor = float64(Tail) / (Tail - 2)

// Curve returns the part of the fit that forecasts need.
func (m *Model) Curve(widen Widen) *Curve {
	return &Curve{Form: m.Form, Shared: m.Shared(), Spreads: m.Spreads, Widen: widen}
}

// Validation is a cross-validation: predictions of data left out of the fit.
type Validation struct {
	// Known: a paper is left out, and other papers measured its species.
	// Unknown: a species is left out with all its papers. OneOwn: like Known,
	// but one other treatment of the same paper and species is given as an own
	// clutch. OneOwnUnknown: like OneOwn, but no other paper measured the
	// species.
	Known, Unknown, OneOwn, OneOwnUnknown []Trial
	// Rules has the predictions of the treatments of Known by each plain rule.
	Rules [3][]Trial
	// RulesUnknown has the predictions of the treatments of Unknown by each
	// plain rule.
	RulesUnknown [3][]Trial
}

// RuleNames names the plain rules, in the order of Validation.Rules.
var RuleNames = [3]string{"species' mean days", "nearest published temperature", "degree-days of the species"}

// refitRounds is the number of rounds of a fit after a few rows are left out.
// Effects and weights settle within these rounds.
const refitRounds = 4

// Validate leaves out each paper in turn, and each species in turn. The spreads
// are not fitted again: they are those of m.
func (m *Model) Validate(widen Widen) (*Validation, error) {
	v := new(Validation)
	for _, paper := range distinct(m.all, func(r published.Duration) string { return r.Paper }) {
		if err := m.leavePaper(v, paper, widen); err != nil {
			return nil, err
		}
	}
	for _, species := range distinct(m.all, func(r published.Duration) string { return r.Species }) {
		if Rest(species) > 0 {
			continue
		}
		if err := m.leaveSpecies(v, species, widen); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// leavePaper predicts the treatments of a paper from a fit without this paper:
// once without more data, and once with one treatment of the paper given as an
// own clutch.
func (m *Model) leavePaper(v *Validation, paper string, widen Widen) error {
	in, out := split(m.all, func(r published.Duration) bool { return r.Paper == paper })
	n, err := m.Refit(in, refitRounds)
	if err != nil {
		return err
	}
	c := n.Curve(widen)
	for _, r := range out {
		if Rest(r.Species) > 0 {
			continue
		}
		believe := func(string) Belief { return n.Species(r.Family, r.Genus(), r.Species) }
		withOwn := &v.OneOwnUnknown
		if slices.ContainsFunc(in, func(s published.Duration) bool { return s.Species == r.Species }) {
			withOwn = &v.OneOwn
			v.Known = append(v.Known, c.trial(r, c.Learn(believe, nil).Expect(r.Species, "", r.Celsius), widen.Known))
			tryRules(&v.Rules, in, r)
		}
		for _, own := range out {
			if own != r && own.Species == r.Species {
				*withOwn = append(*withOwn, c.trial(r, c.Learn(believe, []Seen{c.seen(own)}).Expect(r.Species, "", r.Celsius), widen.Own))
			}
		}
	}
	return nil
}

// leaveSpecies predicts the treatments of a species from a fit without this
// species.
func (m *Model) leaveSpecies(v *Validation, species string, widen Widen) error {
	in, out := split(m.all, func(r published.Duration) bool { return r.Species == species })
	n, err := m.Refit(in, refitRounds)
	if err != nil {
		return err
	}
	c := n.Curve(widen)
	for _, r := range out {
		b := c.Learn(func(string) Belief { return n.Species(r.Family, r.Genus(), r.Species) }, nil).Expect(r.Species, "", r.Celsius)
		v.Unknown = append(v.Unknown, c.trial(r, b, widen.Unknown))
		tryRules(&v.RulesUnknown, in, r)
	}
	return nil
}

// tryRules predicts a treatment from other treatments by each plain rule.
func tryRules(trials *[3][]Trial, others []published.Duration, r published.Duration) {
	for k, days := range rules(others, r) {
		trials[k] = append(trials[k], Trial{Species: r.Species, Paper: r.Paper, Days: r.Days, Median: days})
	}
}

// seen turns a published treatment into an own clutch of a keeper.
func (c *Curve) seen(r published.Duration) Seen {
	return Seen{Species: r.Species, Celsius: r.Celsius, Variance: sampling(r), Work: func(dev float64) float64 {
		return r.Days * c.Rate(r.Celsius, r.HalfRange, dev)
	}}
}

func split(rows []published.Duration, leave func(published.Duration) bool) (in, out []published.Duration) {
	for _, r := range rows {
		if leave(r) {
			out = append(out, r)
		} else {
			in = append(in, r)
		}
	}
	return in, out
}

func distinct(rows []published.Duration, name func(published.Duration) string) []string {
	var list []string
	for _, r := range rows {
		list = append(list, name(r))
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// rules predicts a row by the three plain rules. The rules use the rows of the
// same species; if there are none, the rows of the genus, then of the family,
// then all rows.
func rules(in []published.Duration, r published.Duration) [3]float64 {
	var rows []published.Duration
	for _, like := range []func(s published.Duration) bool{
		func(s published.Duration) bool { return s.Species == r.Species },
		func(s published.Duration) bool { return s.Genus() == r.Genus() },
		func(s published.Duration) bool { return s.Family == r.Family },
		func(published.Duration) bool { return true },
	} {
		if _, rows = split(in, like); len(rows) > 0 {
			break
		}
	}
	var n, sum, near, st, sr, stt, str float64
	best := math.Inf(1)
	for _, s := range rows {
		n, sum = n+1, sum+s.Days
		best = min(best, math.Abs(s.Celsius-r.Celsius))
		rate := 1 / s.Days
		st, sr, stt, str = st+s.Celsius, sr+rate, stt+s.Celsius*s.Celsius, str+s.Celsius*rate
	}
	var k float64
	for _, s := range rows {
		if math.Abs(s.Celsius-r.Celsius) == best {
			near, k = near+s.Days, k+1
		}
	}
	mean, nearest := sum/n, near/k
	days := nearest
	if spread := n*stt - st*st; spread > 1e-9 {
		b := (n*str - st*sr) / spread
		if rate := (sr-b*st)/n + b*r.Celsius; b > 0 && rate > 1/(4*mean) {
			days = 1 / rate
		}
	}
	return [3]float64{mean, nearest, days}
}

// Score summarises how well trials predicted the measurements.
type Score struct {
	Trials                 int
	MedianError, MeanError float64 // absolute error of the predicted median, as a share of the days
	Cover50, Cover90       float64
	MedianWidth            float64 // of the 90 % interval, days
	Width                  float64 // median width as a share of the predicted median
	CRPS                   float64 // mean continuous ranked probability score, days
}

// ScoreOf scores trials that have a distribution (SD above 0).
func ScoreOf(trials []Trial) Score {
	s := Score{Trials: len(trials)}
	var errs, widths, shares []float64
	for _, t := range trials {
		errs = append(errs, math.Abs(t.Median/t.Days-1))
		lo, hi := t.quantile(.05), t.quantile(.95)
		widths, shares = append(widths, hi-lo), append(shares, (hi-lo)/t.Median)
		s.Cover90 += within(t.Days, lo, hi)
		s.Cover50 += within(t.Days, t.quantile(.25), t.quantile(.75))
		// The CRPS is twice the mean pinball loss over the quantiles.
		const n = 100
		for i := range n {
			p := (float64(i) + .5) / n
			q := t.quantile(p)
			if t.Days < q {
				s.CRPS += 2 * (1 - p) * (q - t.Days) / n
			} else {
				s.CRPS += 2 * p * (t.Days - q) / n
			}
		}
		s.MeanError += errs[len(errs)-1]
	}
	n := float64(len(trials))
	s.MeanError, s.Cover50, s.Cover90, s.CRPS = s.MeanError/n, s.Cover50/n, s.Cover90/n, s.CRPS/n
	s.MedianError, s.MedianWidth, s.Width = median(errs), median(widths), median(shares)
	return s
}

func within(x, lo, hi float64) float64 {
	if x >= lo && x <= hi {
		return 1
	}
	return 0
}

func median(x []float64) float64 {
	x = slices.Clone(x)
	slices.SortFunc(x, cmp.Compare[float64])
	if len(x)%2 == 1 {
		return x[len(x)/2]
	}
	return (x[len(x)/2-1] + x[len(x)/2]) / 2
}

// Spread gives a distribution to the trials of a plain rule, which has none.
// All trials get the same SD of the log days. The SD is chosen so that the 90 %
// intervals cover the share cover of the trials.
func Spread(trials []Trial, cover float64) []Trial {
	var off []float64
	for _, t := range trials {
		off = append(off, math.Abs(math.Log(t.Days/t.Median)))
	}
	slices.Sort(off)
	k := min(len(off)-1, max(0, int(math.Round(cover*float64(len(off))))-1))
	sd := (off[k] + 1e-9) / student.Quantile(.95)
	trials = slices.Clone(trials)
	for i := range trials {
		trials[i].SD = sd
	}
	return trials
}

// Calibrate returns the factors, at least 1, by which the SDs must be
// multiplied so that the 90 % intervals cover 90 % of the trials. The factors
// of v must be 1.
func Calibrate(v *Validation) Widen {
	return Widen{Own: factor(v.OneOwn), Known: factor(v.Known), Unknown: factor(v.Unknown)}
}

func factor(trials []Trial) float64 {
	var need []float64
	for _, t := range trials {
		need = append(need, math.Abs(math.Log(t.Days/t.Median))/t.SD)
	}
	slices.Sort(need)
	return max(1, need[int(math.Ceil(.9*float64(len(need))))-1]/student.Quantile(.95))
}

// Apart returns the coverage of 90 % intervals with cross-validated factors:
// the factor of a paper's or species' trials is set on all other papers or
// species. The trials must have a factor of 1.
func Apart(trials []Trial, of func(Trial) string) float64 {
	factors := make(map[string]float64)
	for _, t := range trials {
		if _, ok := factors[of(t)]; ok {
			continue
		}
		var others []Trial
		for _, o := range trials {
			if of(o) != of(t) {
				others = append(others, o)
			}
		}
		factors[of(t)] = factor(others)
	}
	inside := 0.0
	for _, t := range trials {
		inside += within(math.Abs(math.Log(t.Days/t.Median)), 0, factors[of(t)]*t.SD*student.Quantile(.95))
	}
	return inside / float64(len(trials))
}

// Widened returns a copy of v with the factors w in place of factors of 1.
func (v *Validation) Widened(w Widen) *Validation {
	n := *v
	by := func(trials []Trial, f float64) []Trial {
		trials = slices.Clone(trials)
		for i := range trials {
			trials[i].SD *= f
		}
		return trials
	}
	n.Known, n.Unknown = by(v.Known, w.Known), by(v.Unknown, w.Unknown)
	n.OneOwn, n.OneOwnUnknown = by(v.OneOwn, w.Own), by(v.OneOwnUnknown, w.Own)
	return &n
}
