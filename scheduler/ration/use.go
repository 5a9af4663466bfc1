package ration

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Use is how many insects some feedings take, if each is given as the books
// say. Uses of feedings add up.
type Use struct {
	Mean   float64
	Square float64 // the sum of the squares of each feeding's mean
	Second float64 // the sum of each feeding's second moment
}

// Plus returns the use of the feedings of both.
func (u Use) Plus(v Use) Use {
	return Use{u.Mean + v.Mean, u.Square + v.Square, u.Second + v.Second}
}

// Keeper is what the records tell of a keeper's hand and of the animals'
// appetite. Make one with [Learn].
type Keeper struct {
	// Given is how sure it is that a planned feeding is given and eaten: a
	// beta distribution's two parameters.
	GivenYes, GivenNo float64
	// Factor is how many insects leave the stock for one that the books'
	// amounts account for, in the lizards or dead: a gamma distribution's shape
	// and rate.
	Shape, Rate float64
}

// What is believed before anything was recorded (common practice, widely): of
// twenty feedings two are refused or left out, and one insect for one, with a
// fifth to either side.
const (
	priorYes, priorNo = 18, 2
	priorShape        = 25
)

const (
	// spread is by how much the number that leaves the stock in a while varies
	// beyond single insects, as a multiple of it: whole feedings and whole
	// handfuls go at a time.
	spread = 2
	// miscount is the error of counting insects in a box, as a share.
	miscount = 0.08
)

// Spell is the time between two counts of a stock.
type Spell struct {
	Before, After float64 // what was counted at its beginning and end
	Came          float64 // what was delivered between
	Said          float64 // what the feedings recorded between took, as the books have it
}

// Learn works out what the records tell: of so many planned feedings so many
// were given and eaten, and what left the stock between counts of it. A spell
// that ends with more than there can be, after a delivery that nobody
// recorded, and one without feedings tell nothing.
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
		// A Poisson count's evidence, watered down to what its variance is.
		variance := spread*s.Said + miscount*miscount*(s.Before*s.Before+s.After*s.After)
		weight := s.Said / variance
		k.Shape += left * weight
		k.Rate += s.Said * weight
	}
	return k
}

// Factor returns how many insects leave the stock for one of the books'.
func (k Keeper) Factor() float64 { return k.Shape / k.Rate }

// Share returns the share of planned feedings that is given and eaten.
func (k Keeper) Share() float64 { return k.GivenYes / (k.GivenYes + k.GivenNo) }

// Forecast is a number of insects: its mean, and the numbers within which it
// lies in nine of ten cases.
type Forecast struct{ Mean, Low, High float64 }

// Foretell returns how many insects leave the stock with feedings that were
// given and others that are only planned.
func (k Keeper) Foretell(given, planned Use) Forecast {
	f, s := k.Factor(), k.Share()
	n := k.GivenYes + k.GivenNo
	factor2 := f*f + f/k.Rate // its second moment
	shareVar := s * (1 - s) / (n + 1)
	base := given.Mean + s*planned.Mean
	mean := f * base
	if mean <= 0 {
		return Forecast{}
	}
	// Of single feedings, but never less than what Learn takes for chance; then
	// of what is not known of the keeper.
	variance := factor2 * (given.Second - given.Square + s*planned.Second - (s*s+shareVar)*planned.Square)
	variance = math.Max(variance, spread*mean)
	variance += factor2*(base*base+shareVar*planned.Mean*planned.Mean) - mean*mean
	g := distuv.Gamma{Alpha: mean * mean / variance, Beta: mean / variance}
	return Forecast{mean, g.Quantile(0.05), g.Quantile(0.95)}
}
