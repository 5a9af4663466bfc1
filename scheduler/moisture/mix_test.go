package moisture_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"nestround/scheduler/moisture"
	"nestround/tasks/husbandry"
)

func substrate(t *testing.T, name string) moisture.Substrate {
	t.Helper()
	for _, s := range moisture.Substrates() {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no %s", name)
	return moisture.Substrate{}
}

// Recipes in the keeper's words. The first two are published (Ng 2011, lizard
// room notes: 380 g of water in 220 g of dry vermiculite; the same place: 80 g
// in 100 g of perlite), the others are arithmetic.
func TestMix(t *testing.T) {
	for _, c := range []struct {
		words, substrate, ratio string
		mix                     func(s moisture.Substrate, r moisture.Ratio) moisture.Portion
		want                    moisture.Portion
	}{
		{"380 g in 220 g", "vermiculite", "380:220", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithBoth(r, 600) }, moisture.Portion{Water: 380, Dry: 220}},
		{"80 g in 100 g", "perlite", "0.8:1", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithDry(r, 100) }, moisture.Portion{Water: 80, Dry: 100}},
		{"one to one", "vermiculite", "1:1", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithWater(r, 120) }, moisture.Portion{Water: 120, Dry: 120}},
		{"a litre of sand", "sand", "1:5", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithVolume(r, 1000) }, moisture.Portion{Water: 200, Dry: 1500, DryVolume: 1000}},
		{"the same by its mass", "sand", "1:5", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithDry(r, 1500) }, moisture.Portion{Water: 200, Dry: 1500, DryVolume: 1000}},
		{"a litre of peat", "peat", "1:2", func(s moisture.Substrate, r moisture.Ratio) moisture.Portion { return s.WithVolume(r, 1000) }, moisture.Portion{Water: 500, Dry: 150, DryVolume: 1000}},
	} {
		r, err := moisture.ParseRatio(c.ratio)
		if err != nil {
			t.Fatal(err)
		}
		got := c.mix(substrate(t, c.substrate), r)
		if !same(got, c.want) {
			t.Errorf("%s: %+v, want %+v", c.words, got, c.want)
		}
		if six := got.Times(6); !same(six, moisture.Portion{Water: 6 * c.want.Water, Dry: 6 * c.want.Dry, DryVolume: 6 * c.want.DryVolume}) {
			t.Errorf("%s, six times: %+v", c.words, six)
		}
	}
}

func same(a, b moisture.Portion) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-9*max(1, math.Abs(y)) }
	return near(float64(a.Water), float64(b.Water)) && near(float64(a.Dry), float64(b.Dry)) && near(float64(a.DryVolume), float64(b.DryVolume))
}

// A portion is the same whether water, dry substrate or the total is given.
func TestAPortionIsTheSameHoweverItIsAskedFor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(moisture.Substrates()).Draw(t, "substrate")
		r := moisture.Ratio{Water: rapid.Float64Range(0.01, 20).Draw(t, "water"), Dry: rapid.Float64Range(0.01, 20).Draw(t, "dry")}
		p := s.WithWater(r, husbandry.Grams(rapid.Float64Range(1, 5000).Draw(t, "grams")))
		if q := s.WithDry(r, p.Dry); !same(p, q) {
			t.Errorf("by dry %+v, by water %+v", q, p)
		}
		if q := s.WithBoth(r, p.Water+p.Dry); !same(p, q) {
			t.Errorf("by both %+v, by water %+v", q, p)
		}
		if q := s.WithVolume(r, p.DryVolume); s.ByVolume && !same(p, q) {
			t.Errorf("by volume %+v, by water %+v", q, p)
		}
		if back, err := moisture.ParseRatio(r.String()); err != nil || back != r {
			t.Errorf("%v is read as %v, %v", r, back, err)
		}
	})
}

func TestParseRatio(t *testing.T) {
	for in, ok := range map[string]bool{"1:1": true, "0.8 : 1": true, "2:3": true, "1": false, "1:": false, "0:1": false, "-1:1": false, "1:1:1": false, "NaN:1": false, "Inf:1": false, "a:b": false} {
		if r, err := moisture.ParseRatio(in); (err == nil) != ok {
			t.Errorf("%q: %v, %v", in, r, err)
		}
	}
}
