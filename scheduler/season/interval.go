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

// Interval is the days between two clutches of one female in one season.
type Interval struct {
	Female husbandry.ID
	Days   float64
}

// Parameters of how days to laying differ, all common practice: no published
// share of colonies, females and clutches in the variance was found.
const (
	// A care sheet's range is taken as a middle 90 %.
	middle = 3.2897072539 // that many standard deviations wide
	// Shares of the sheet's variance: how a colony differs from the sheet's,
	// and its females from one another; the rest is between one female's clutches.
	colonyShare = 0.25
	femaleShare = 0.25
	// The sheet's variances count as much as so many degrees of freedom of
	// the colony's own.
	sheetCounts = 4
	// An interval longer than this many times the usual one means that a clutch
	// was missed.
	missed = 1.6
	// laysAtAll is the probability that a female in whom no eggs were seen is
	// going to lay.
	laysAtAll = 0.8
	// leastSD, in days, keeps a few alike intervals from promising a day.
	leastSD = 2.0
)

// Shrink draws single means towards their common one, the more the less they
// differ from one another beyond what their own variances explain: the
// estimator of James and Stein, as in Efron & Morris 1977, Scientific American
// 236(5):119-127. variance is that of each mean; it returns the common mean,
// the share of its distance that each keeps, and the variance between them.
// Of fewer than four means nothing can be said, and then the share is 0.
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
	own      int // intervals of her own it rests on
	others   int // intervals of other females of her species
}

// Colony is what the intervals of a keeper's females of one species come to. It
// pools the care sheet's range, what the females did, and how each differs: a
// colony's mean about the sheet's, females about the colony's, clutches about
// the female's, each normal with the variances above, which the colony's own
// replace as they grow. Make one with [NewColony].
type Colony struct {
	within, between float64 // variances
	// The colony's mean as all females and the sheet show it: the precision,
	// and the mean times it.
	precision, weighted float64
	count               int // intervals
	females             map[husbandry.ID]ofFemale
}

// ofFemale is what one female's intervals come to.
type ofFemale struct {
	mean float64
	n    int
}

// precision is how much she says of the colony's mean.
func (c *Colony) precisionOf(f ofFemale) float64 { return 1 / (c.between + c.within/float64(f.n)) }

// NewColony takes the intervals of all females of a species; a clutch that was
// missed makes none.
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
	// Sums go by id, so that they come out the same each time.
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

// next predicts the days to a female's next clutch: what the other females and
// the sheet show, then she herself.
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

// usualInterval is the median of all intervals, among which the sheet's middle
// counts three times.
func usualInterval(sheet float64, all []Interval) float64 {
	days := []float64{sheet, sheet, sheet}
	for _, i := range all {
		days = append(days, i.Days)
	}
	slices.Sort(days)
	return days[len(days)/2]
}

// basis is "3 own intervals, 4 of other females, care sheet".
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

// expect makes the window of nine in ten of a normal distribution of days after
// a day.
func (w *Window) expect(after civil.Date, mean, sd float64) {
	w.after, w.mean, w.sd = after, mean, sd
	w.From = after.AddDays(max(1, int(math.Round(mean-middle/2*sd))))
	w.To = after.AddDays(max(1, int(math.Round(mean+middle/2*sd))))
}

// Chance returns the probability, 0 to 1, that she lays from the day on to the
// end of the day to, given that she has not when on begins. It is 0 where only
// a span is known. Where no eggs were seen in her she may not lay at all, and
// that grows likelier the longer she waits.
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

// Quantile returns the day by which she has laid with probability p, 0 to 1, if
// she does; no date where only a span is known.
func (w Window) Quantile(p float64) civil.Date {
	if !w.Known || w.sd == 0 {
		return civil.Date{}
	}
	n := distuv.Normal{Mu: w.mean, Sigma: w.sd}
	return w.after.AddDays(max(1, int(math.Round(n.Quantile(p)))))
}

// IntervalsOf returns the days between her clutches within seasons. Clutches
// are by date.
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
