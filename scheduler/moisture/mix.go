package moisture

import (
	"fmt"
	"strconv"
	"strings"

	"nestround/tasks/husbandry"
)

// Substrate is a damp material for eggs or for laying.
type Substrate struct {
	Name string
	// ByVolume says that keepers measure the substrate by volume, as for sand
	// and peat. Otherwise they measure it by mass, as for vermiculite and
	// perlite (common practice).
	ByVolume bool
	// Bulk is the bulk density of the substrate, dry and loose, in g/ml. The
	// values are from memory; bags differ by a third. Bulk is 0 if ByVolume is
	// false.
	Bulk float64
	// Dusty says that the dust of the substrate harms lungs.
	Dusty bool
	Usual string // an example of a ratio, common practice
}

var substrates = []Substrate{
	{Name: "vermiculite", Dusty: true, Usual: "1:1"},
	{Name: "perlite", Dusty: true, Usual: "0.8:1"},
	{Name: "sand", ByVolume: true, Bulk: 1.5, Usual: "1:6"},
	{Name: "peat", ByVolume: true, Bulk: 0.15, Usual: "1:3"},
}

// Substrates returns the substrates that can be mixed.
func Substrates() []Substrate { return append([]Substrate(nil), substrates...) }

// Ratio is parts of water to parts of dry substrate.
type Ratio struct{ Water, Dry float64 }

// String writes the ratio as [ParseRatio] reads it: "1:1".
func (r Ratio) String() string {
	part := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	return part(r.Water) + ":" + part(r.Dry)
}

// ParseRatio reads "1:1" or "0.8:1": parts of water, then parts of dry
// substrate, each from 0.01 to 1000.
func ParseRatio(s string) (Ratio, error) {
	water, dry, ok := strings.Cut(strings.ReplaceAll(s, " ", ""), ":")
	w, err1 := strconv.ParseFloat(water, 64)
	d, err2 := strconv.ParseFloat(dry, 64)
	part := func(x float64) bool { return x >= 0.01 && x <= 1000 }
	if !ok || err1 != nil || err2 != nil || !part(w) || !part(d) {
		return Ratio{}, fmt.Errorf("%q is not a ratio of water to dry substrate like \"1:1\" or \"0.8:1\"", s)
	}
	return Ratio{w, d}, nil
}

// Portion is the water and the substrate for a tub.
type Portion struct {
	Water husbandry.Grams
	// Dry is the mass of dry substrate. For a substrate by volume it is
	// approximate.
	Dry husbandry.Grams
	// DryVolume is set only for a substrate by volume.
	DryVolume husbandry.Millilitres
}

// Times returns n times the portion.
func (p Portion) Times(n int) Portion {
	return Portion{p.Water * husbandry.Grams(n), p.Dry * husbandry.Grams(n), p.DryVolume * husbandry.Millilitres(n)}
}

// WithWater returns the portion with this mass of water, in g.
func (s Substrate) WithWater(r Ratio, water husbandry.Grams) Portion {
	dry := float64(water) * r.Dry / r.Water
	if s.ByVolume { // a gram of water has a volume of one millilitre
		return Portion{water, husbandry.Grams(dry * s.Bulk), husbandry.Millilitres(dry)}
	}
	return Portion{Water: water, Dry: husbandry.Grams(dry)}
}

// WithDry returns the portion with this mass of dry substrate, in g.
func (s Substrate) WithDry(r Ratio, dry husbandry.Grams) Portion {
	amount := float64(dry)
	if s.ByVolume {
		amount /= s.Bulk
	}
	return s.WithWater(r, husbandry.Grams(amount*r.Water/r.Dry))
}

// WithVolume returns the portion with this volume of dry substrate, in ml, for
// a substrate by volume.
func (s Substrate) WithVolume(r Ratio, dry husbandry.Millilitres) Portion {
	return s.WithWater(r, husbandry.Grams(float64(dry)*r.Water/r.Dry))
}

// WithBoth returns the portion with this total mass of water and dry substrate,
// in g.
func (s Substrate) WithBoth(r Ratio, both husbandry.Grams) Portion {
	one := s.WithWater(r, 1)
	return s.WithWater(r, both/(one.Water+one.Dry))
}
