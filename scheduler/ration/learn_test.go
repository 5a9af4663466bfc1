package ration_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"nestround/scheduler/ration"
)

// Learning from counts, computed by hand. The prior is 18 feedings given and 2
// not given, and a factor of 25/25. Between counts of 100 and 70 insects, with
// 50 delivered, 80 left the stock, and the books say 60. A count errs by 8 %,
// and the variance of insects leaving is twice the mean: 2·60 + 0.08²·(100² +
// 70²) = 215.36. So each of the 60 insects has a weight of 60/215.36 = 0.2786.
func TestLearningFromCounts(t *testing.T) {
	spell := ration.Spell{Before: 100, After: 70, Came: 50, Said: 60}
	for _, c := range []struct {
		words          string
		planned, given int
		spells         []ration.Spell
		want           ration.Keeper
	}{
		{"nothing recorded", 0, 0, nil, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25, Rate: 25}},
		{"nine of ten given", 10, 9, nil, ration.Keeper{GivenYes: 27, GivenNo: 3, Shape: 25, Rate: 25}},
		{"all given", 10, 10, nil, ration.Keeper{GivenYes: 28, GivenNo: 2, Shape: 25, Rate: 25}},
		{"more given than planned", 10, 12, nil, ration.Keeper{GivenYes: 30, GivenNo: 2, Shape: 25, Rate: 25}},
		{"none marked: a keeper who marks no feedings", 10, 0, nil, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25, Rate: 25}},
		{"two counts", 0, 0, []ration.Spell{spell}, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25 + 80*60/215.36, Rate: 25 + 60*60/215.36}},
		{"no insect left the stock", 0, 0, []ration.Spell{{Before: 60, After: 60, Said: 10}}, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25, Rate: 25 + 10*10/(20+0.0064*7200)}},
		{"without a feeding", 0, 0, []ration.Spell{{Before: 100, After: 70}}, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25, Rate: 25}},
		{"more left than the deliveries explain", 0, 0, []ration.Spell{{Before: 100, After: 170, Came: 50, Said: 60}}, ration.Keeper{GivenYes: 18, GivenNo: 2, Shape: 25, Rate: 25}},
	} {
		got := ration.Learn(c.planned, c.given, c.spells)
		for _, x := range [][2]float64{{got.GivenYes, c.want.GivenYes}, {got.GivenNo, c.want.GivenNo}, {got.Shape, c.want.Shape}, {got.Rate, c.want.Rate}} {
			if math.Abs(x[0]-x[1]) > 1e-9 {
				t.Errorf("%s: %+v, want %+v", c.words, got, c.want)
				break
			}
		}
	}
}

// The forecast agrees with a simulation. The simulation draws a keeper's share
// and factor, then whether each planned feeding is given, and the number of its
// insects with the given moments.
func TestForecastsAgreeWithASimulation(t *testing.T) {
	const draws = 40_000
	for _, c := range []struct {
		words          string
		keeper         ration.Keeper
		given, planned int     // feedings
		each, spread   float64 // insects of one, and their standard deviation
	}{
		{"a keeper without records", ration.Learn(0, 0, nil), 0, 20, 12, 3},
		{"some feedings given already", ration.Learn(0, 0, nil), 10, 10, 12, 3},
		{"a keeper who leaves out every third feeding", ration.Keeper{GivenYes: 60, GivenNo: 30, Shape: 100, Rate: 80}, 0, 30, 20, 8},
		{"few large feedings", ration.Keeper{GivenYes: 180, GivenNo: 20, Shape: 900, Rate: 900}, 2, 6, 50, 10},
	} {
		use := func(n int) ration.Use {
			k := float64(n)
			return ration.Use{Mean: k * c.each, Square: k * c.each * c.each, Second: k * (c.each*c.each + c.spread*c.spread)}
		}
		got := c.keeper.Foretell(use(c.given), use(c.planned))

		src := rand.New(rand.NewPCG(5, 9))
		share := distuv.Beta{Alpha: c.keeper.GivenYes, Beta: c.keeper.GivenNo, Src: src}
		factor := distuv.Gamma{Alpha: c.keeper.Shape, Beta: c.keeper.Rate, Src: src}
		totals := make([]float64, draws)
		mean := 0.0
		for i := range totals {
			p, sum := share.Rand(), 0.0
			for n := range c.given + c.planned {
				if n < c.given || src.Float64() < p {
					sum += c.each + c.spread*src.NormFloat64()
				}
			}
			totals[i] = factor.Rand() * sum
			mean += totals[i] / draws
		}
		slices.Sort(totals)
		for _, x := range []struct {
			what            string
			got, want, near float64
		}{
			{"mean", got.Mean, mean, 0.01},
			{"5 % point", got.Low, totals[draws/20], 0.04},
			{"95 % point", got.High, totals[draws-draws/20], 0.04},
		} {
			if math.Abs(x.got/x.want-1) > x.near {
				t.Errorf("%s: %s %.1f, drawn %.1f", c.words, x.what, x.got, x.want)
			}
		}
	}
}

// Even for a well-known keeper the variance of the insects leaving is twice the
// mean: for 120 an SD of √240, about 15.5. So the 90 % interval is about 25.5
// to either side.
func TestForecastsOfAKnownKeeperKeepAnInterval(t *testing.T) {
	got := sure.Foretell(ration.Use{Mean: 120, Square: 1440, Second: 1440}, ration.Use{})
	if math.Abs(got.Mean-120) > 0.1 || math.Abs(got.Low-95.5) > 1 || math.Abs(got.High-146.5) > 1 {
		t.Errorf("%.1f (%.1f-%.1f), want about 120 (95.5-146.5)", got.Mean, got.Low, got.High)
	}
}
