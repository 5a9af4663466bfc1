package ration

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Use is the number of insects for some feedings, if all are given as in the
// books, as moments of a distribution. Uses of feedings add up.
type Use struct {
	Mean   float64
	Square float64 // the sum of the squares of each feeding's mean
	Second float64 // the sum of each feeding's second moment
}

// Plus returns the use of the feedings of u and of v together.
func (u Use) Plus(v Use) Use {
	return Use{u.Mean + v.Mean, u.Square + v.Square, u.Second + v.Second}
}

// Keeper is the posterior for a keeper's habits and the animals' appetite,
// given the records. Make a Keeper with [Learn].
type Keeper struct {
	// GivenYes and GivenNo are the parameters of a beta distribution: the
	// probability that a planned feeding is given and eaten.
	GivenYes, GivenNo float64
	// Shape and Rate are the parameters of a gamma distribution: the number of
	// insects, eaten or dead, that leave the stock for each insect in the
	// books' amounts.
	Shape, Rate float64
}

// The prior, deliberately wide (common practice): of twenty feedings two are
// refused or left out, and one insect leaves the stock for one in the books,
// with a standard deviation of a fifth.
const (
	priorYes, priorNo = 18, 2
	priorShape        = 25
)

const (
	// spread is the ratio of variance to mean of the number of insects that
	// leave the stock. The ratio is above 1, because insects leave the stock by
	// the feeding or the handful, not one by one.
	spread = 2
	// miscount is the error of counting insects in a box, as a share.
	miscount = 0.08
)

// Spell is the time between two counts of a stock.
type Spell struct {
	Before, After float64 // counts at the beginning and the end
	Came          float64 // number delivered in between
	Said          float64 // number used by the recorded feedings in between, by the books' amounts
}

// Learn computes the posterior from the numbers of planned and given feedings,
// and from the insects that left the stock between counts. It ignores a spell
// without feedings. It also ignores a spell in which the stock grew by more
// than the deliveries, because then a delivery was not recorded.
func Learn(planned, given int, spells []Spell) Keeper {
	k := Keeper{GivenYes: priorYes, GivenNo: priorNo, Shape: priorShape, Rate: priorShape}
	if given > 0 {
		k.GivenYes += float64(given)
		k.GivenNo += math.Max(0, float64(planned-given))
	}
	for _, s := range spells {
		left := s.Before + s.Came - s.After
		if s.Said <= 0 || left < 0 {
			continue
		}
		// A Poisson count as evidence, weighted down because its variance is
		// larger than Poisson's.
		variance := spread*s.Said + miscount*miscount*(s.Before*s.Before+s.After*s.After)
		weight := s.Said / variance
		k.Shape += left * weight
		k.Rate += s.Said * weight
	}
	return k
}

// Factor returns the mean number of insects that leave the stock for each
// insect in the books.
func (k Keeper) Factor() float64 { return k.Shape / k.Rate }

// Share returns the mean share of planned feedings that are given and eaten.
func (k Keeper) Share() float64 { return k.GivenYes / (k.GivenYes + k.GivenNo) }

// Forecast is a number of insects: its mean and its 90 % interval.
type Forecast struct{ Mean, Low, High float64 }

// Foretell forecasts the number of insects that leave the stock, for feedings
// that were given and feedings that are only planned.
func (k Keeper) Foretell(given, planned Use) Forecast {
	f, s := k.Factor(), k.Share()
	n := k.GivenYes + k.GivenNo
	factor2 := f*f + f/k.Rate // the second moment of the factor
	shareVar := s * (1 - s) / (n + 1)
	base := given.Mean + s*planned.Mean
	mean := f * base
	if mean <= 0 {
		return Forecast{}
	}
	// The variance of single feedings, at least the variance that Learn
	// assumes. Then the variance due to the uncertain habits of the keeper is
	// added.
	variance := factor2 * (given.Second - given.Square + s*planned.Second - (s*s+shareVar)*planned.Square)
	variance = math.Max(variance, spread*mean)
	variance += factor2*(base*base+shareVar*planned.Mean*planned.Mean) - mean*mean
	g := distuv.Gamma{Alpha: mean * mean / variance, Beta: mean / variance}
	return Forecast{mean, g.Quantile(0.05), g.Quantile(0.95)}
}
