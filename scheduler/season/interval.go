package season

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Interval is the number of days between two clutches of one female in one
// season.
type Interval struct {
	Female husbandry.ID
	Days   float64
}

// Parameters of the variance of the days to laying, all common practice. No
// published split of the variance between colonies, females and clutches was
// found.
const (
	// The range of the care sheet is taken as the middle 90 % of a normal
	// distribution.
	middle = 3.2897072539 // width of the middle 90 %, in standard deviations
	// Shares of the care sheet's variance of the interval: a quarter is between
	// colonies, a quarter between the females of a colony. The rest is between
	// the clutches of one female.
	colonyShare = 0.25
	femaleShare = 0.25
	// The care sheet's variances count like this many degrees of freedom of the
	// colony's own variances.
	sheetCounts = 4
	// An interval longer than this multiple of the usual interval means that
	// the keeper missed a clutch.
	missed = 1.6
	// laysAtAll is the probability that a female lays, if nobody has seen eggs
	// in her.
	laysAtAll = 0.8
	// leastSD, in days, is the smallest SD, so that a few equal intervals do
	// not narrow the window to one day.
	leastSD = 2.0
)

// Shrink moves means towards their common mean. The shift is larger if the
// means differ little beyond their sampling variance: the James-Stein
// estimator, as in Efron & Morris 1977, Scientific American 236(5):119-127.
// variance is the sampling variance of each mean. Shrink returns the common
// mean, the share of its distance from the common mean that each mean keeps,
// and the variance between the true means. With fewer than four means the share
// is 0.
func Shrink(means []float64, variance float64) (centre, keep, between float64) {
	k := float64(len(means))
	if k == 0 {
		return 0, 0, 0
	}
	for _, m := range means {
		centre += m / k
	}
	if k < 4 || variance <= 0 {
		return centre, 0, 0
	}
	sum := 0.0
	for _, m := range means {
		sum += (m - centre) * (m - centre)
	}
	if sum == 0 {
		return centre, 0, 0
	}
	keep = max(0, 1-(k-3)*variance/sum)
	return centre, keep, max(0, sum/(k-3)-variance)
}

// spacing is the predicted number of days to the next clutch.
type spacing struct {
	mean, sd float64
	own      int // number of the female's own intervals behind the prediction
	others   int // number of intervals of other females of her species
}

// Colony is a hierarchical model of the intervals of a keeper's females of one
// species. A colony's mean varies about the care sheet's mean, a female's mean
// about the colony's mean, and the intervals of a female about her own mean.
// Each of these is normal, with the variances above. With more data of the
// colony, the colony's own variances replace those of the sheet. Make a Colony
// with [NewColony].
type Colony struct {
	within, between float64 // variances: between the clutches of a female, and between females
	// The posterior of the colony's mean, from the care sheet and all females:
	// its precision, and the mean times the precision.
	precision, weighted float64
	count               int // number of intervals
	females             map[husbandry.ID]ofFemale
}

// ofFemale sums up one female: the mean and the number of her intervals.
type ofFemale struct {
	mean float64
	n    int
}

// precisionOf returns the weight of a female in the colony mean.
func (c *Colony) precisionOf(f ofFemale) float64 { return 1 / (c.between + c.within/float64(f.n)) }

// NewColony makes the model from the intervals of all females of a species. It
// ignores intervals so long that the keeper must have missed a clutch.
func NewColony(sheet husbandry.Span, all []Interval) *Colony {
	centre := float64(sheet.From+sheet.To) / 2
	sd := float64(sheet.To-sheet.From) / middle
	variance := max(sd*sd, leastSD*leastSD)
	c := &Colony{females: make(map[husbandry.ID]ofFemale)}
	byFemale := make(map[husbandry.ID][]float64)
	usual := usualInterval(centre, all)
	for _, i := range all {
		if i.Days <= missed*usual {
			byFemale[i.Female] = append(byFemale[i.Female], i.Days)
			c.count++
		}
	}
	// Add up in the order of ids, so that rounding is the same every time.
	ids := slices.Sorted(maps.Keys(byFemale))
	squares, freedom := 0.0, 0.0
	for _, id := range ids {
		f := ofFemale{n: len(byFemale[id])}
		for _, d := range byFemale[id] {
			f.mean += d / float64(f.n)
		}
		for _, d := range byFemale[id] {
			squares += (d - f.mean) * (d - f.mean)
		}
		freedom += float64(f.n - 1)
		c.females[id] = f
	}
	c.within = (sheetCounts*(1-colonyShare-femaleShare)*variance + squares) / (sheetCounts + freedom)
	c.between = femaleShare * variance
	if k := len(ids); k >= 4 {
		var means []float64
		each := 0.0
		for _, id := range ids {
			means = append(means, c.females[id].mean)
			each += c.within / float64(c.females[id].n) / float64(k)
		}
		_, _, found := Shrink(means, each)
		c.between = (sheetCounts*c.between + float64(k-3)*found) / (sheetCounts + float64(k-3))
	}
	c.precision = 1 / (colonyShare * variance)
	c.weighted = centre * c.precision
	for _, id := range ids {
		p := c.precisionOf(c.females[id])
		c.precision, c.weighted = c.precision+p, c.weighted+p*c.females[id].mean
	}
	return c
}

// next predicts the days to a female's next clutch. The prior comes from the
// care sheet and the other females, the evidence from the female's own
// intervals.
func (c *Colony) next(her husbandry.ID) spacing {
	own, ok := c.females[her]
	precision, weighted := c.precision, c.weighted
	if ok {
		p := c.precisionOf(own)
		precision, weighted = precision-p, weighted-p*own.mean
	}
	mean, uncertain := weighted/precision, 1/precision+c.between
	if ok {
		p, q := 1/uncertain, float64(own.n)/c.within
		mean, uncertain = (p*mean+q*own.mean)/(p+q), 1/(p+q)
	}
	return spacing{mean, max(leastSD, math.Sqrt(uncertain+c.within)), own.n, c.count - own.n}
}

// usualInterval returns the median of all intervals, with the sheet's middle
// counted as three intervals.
func usualInterval(sheet float64, all []Interval) float64 {
	days := []float64{sheet, sheet, sheet}
	for _, i := range all {
		days = append(days, i.Days)
	}
	slices.Sort(days)
	return days[len(days)/2]
}

// basis words the sources of the prediction, such as "3 own intervals, 4 of
// other females, care sheet".
func (s spacing) basis(sheet string) string {
	words := ""
	if s.own > 0 {
		words = english.Count(s.own, "own interval") + ", "
	}
	if s.others > 0 {
		words += fmt.Sprintf("%d of other females, ", s.others)
	}
	return words + sheet
}

// expect sets the 90 % window from a normal distribution of the number of days
// after a day.
func (w *Window) expect(after civil.Date, mean, sd float64) {
	w.after, w.mean, w.sd = after, mean, sd
	w.From = after.AddDays(max(1, int(math.Round(mean-middle/2*sd))))
	w.To = after.AddDays(max(1, int(math.Round(mean+middle/2*sd))))
}

// Chance returns the probability, 0 to 1, that the female lays from the day on
// to the end of the day to, if she has not laid when on begins. It is 0 if the
// window has no distribution. If nobody has seen eggs in her, she may not lay
// at all. The longer she has not laid, the more probable that is.
func (w Window) Chance(on, to civil.Date) float64 {
	if !w.Known || w.sd == 0 || to.Before(on) {
		return 0
	}
	sure := laysAtAll
	if w.Seen {
		sure = 1
	}
	n := distuv.Normal{Mu: w.mean, Sigma: w.sd}
	by := func(d civil.Date) float64 { return sure * n.CDF(float64(d.Sub(w.after))-.5) }
	left := 1 - by(on)
	if left <= 1e-9 {
		return 1
	}
	return (by(to.AddDays(1)) - by(on)) / left
}

// Quantile returns the day by which the female has laid with probability p, 0
// to 1, if she lays at all. It returns a zero date if the window has no
// distribution.
func (w Window) Quantile(p float64) civil.Date {
	if !w.Known || w.sd == 0 {
		return civil.Date{}
	}
	n := distuv.Normal{Mu: w.mean, Sigma: w.sd}
	return w.after.AddDays(max(1, int(math.Round(n.Quantile(p)))))
}

// IntervalsOf returns the days between a female's clutches of the same season.
// The clutches must be sorted by date.
func IntervalsOf(her husbandry.ID, sheet *husbandry.Species, clutches []Laid) []Interval {
	var list []Interval
	f := Female{Sheet: *sheet}
	for i := 1; i < len(clutches); i++ {
		if d := clutches[i].On.Sub(clutches[i-1].On); d > 0 && d < gap(f) {
			list = append(list, Interval{her, float64(d)})
		}
	}
	return list
}
