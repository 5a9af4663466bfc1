package books

import (
	"fmt"

	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

// dampKeys are the keys of husbandry.Damp. The records of a nest box and of a
// tub have different keys for the same values.
type dampKeys struct{ holes, size, mass string }

var (
	nestBoxKeys = dampKeys{"opening", "size", "mass"}
	tubKeys     = dampKeys{"holes", "tub_size", "tub_mass"}
)

// thinLid is the thickness of a plastic lid (common practice), in mm.
const thinLid = 1

// damp reads how much water a nest box or a tub has, and how the water can
// leave. The forecast leaves out every value that the record does not give.
func damp(t *tables.Table, keys dampKeys) husbandry.Damp {
	var d husbandry.Damp
	d.Holes, _ = tables.Parsed(t, keys.holes, husbandry.ParseHoles)
	d.Inside, _ = tables.Parsed(t, keys.size, husbandry.ParseSize)
	d.Headspace, _ = tables.Parsed(t, "headspace", husbandry.ParseLength)
	if lid, ok := tables.Parsed(t, "lid", husbandry.ParseLength); ok {
		d.Lid = lid
	} else if d.Holes.Count > 0 {
		d.Lid = thinLid
	}
	d.Water, _ = tables.Parsed(t, "water", someWater)
	d.Mass, _ = tables.Parsed(t, keys.mass, someMass)
	d.Tolerance, _ = tables.Parsed(t, "tolerance", someWater)
	checkDamp(t, keys, d)
	return d
}

// checkDamp reports values that contradict each other, and a value that is
// useless because the record lacks another value.
func checkDamp(t *tables.Table, keys dampKeys, d husbandry.Damp) {
	switch {
	case t.Has("lid") && !t.Has(keys.holes):
		t.KeyPlace("lid").Warn(fmt.Sprintf("there is a `lid` and no `%s`", keys.holes), "a lid without holes lets nothing through; without the key the box counts as open on top")
	case t.Has(keys.size) != t.Has("headspace"):
		t.Here().Warn(fmt.Sprintf("`%s` and `headspace` are used together, and one is missing", keys.size), "headspace is the still air between the substrate and the lid, or the rim where there is none")
	}
	if d.Mass > 0 && d.Water >= d.Mass {
		t.Place("water").Error(fmt.Sprintf("there is more water in it than `%s` weighs in all", keys.mass), "")
	}
	if d.Tolerance > 0 && d.Water > 0 && d.Tolerance >= d.Water {
		t.Place("tolerance").Error("all its water may be lost", "`tolerance` is how much of `water` may be lost before it is too dry")
	}
	if (t.Has("tolerance") || t.Has("water")) && !t.Has(keys.holes) && !t.Has("headspace") && !t.Broken() {
		t.Here().Warn("nothing is said of where the water leaves", fmt.Sprintf("write `%s`, or `%s` and `headspace` for one that is open on top; without them dates follow the routine", keys.holes, keys.size))
	}
}

// humidity reads a relative humidity; nil if none is given.
func humidity(t *tables.Table) *float64 {
	if share, ok := tables.Parsed(t, "humidity", husbandry.ParseShare); ok {
		h := float64(share)
		return &h
	}
	return nil
}

func someWater(s string) (husbandry.Grams, error) { return more(s, husbandry.ParseWater) }

func someMass(s string) (husbandry.Grams, error) { return more(s, husbandry.ParseMass) }

// heaviest is the largest mass of a box or tub, in g.
const heaviest = 100_000

func more(s string, parse func(string) (husbandry.Grams, error)) (husbandry.Grams, error) {
	g, err := parse(s)
	if err == nil && (g <= 0 || g > heaviest) {
		return 0, fmt.Errorf("%q is not between nothing and 100 kg", s)
	}
	return g, err
}

// roomTemperature reads the temperature of a room in which lizards live.
func roomTemperature(s string) (husbandry.Celsius, error) {
	c, err := husbandry.ParseTemperature(s)
	if err == nil && (c < 0 || c > 50) {
		return 0, fmt.Errorf("%q is no temperature of a room (0 to 50 C, 32 to 122 F)", s)
	}
	return c, err
}
