// Package moisture answers how fast a nest box or an egg tub dries, when it
// needs water, and how much of it.
//
// Start with [Way.Loss], the grams a day that leave through an opening by
// diffusion alone, and with [Learn], which joins that with the keeper's own
// weighings and the water added: real boxes stand under lamps and in
// draughts, so each has a factor, learnt from what it really lost. [Mix] is
// the substrate of one tub, or of a season's.
//
// Why weighing a closed tub works: eggs take water up from the substrate, which
// stays in the tub; only vapour leaves it (and carbon dioxide, which weighs
// next to nothing).
//
// The package says nothing of water potentials (kPa). They hang on the brand
// and the grain of a substrate: two published recipes for vermiculite differ
// about sevenfold at the same ratio, so a ratio is held by weighing, and a
// figure in kPa would be made up. Nor does it use the humidity above the
// substrate: over the whole useful range it is 98.9 to 99.99 % (Kelvin's
// equation), which no hygrometer tells apart, and here counts as saturated.
//
// It reads no clock, and knows neither animals nor routines; scheduler asks it
// with values.
package moisture

import (
	"math"

	"nestround/tasks/husbandry"
)

const (
	kelvin      = 273.15
	gasConstant = 8.314462618 // J/(mol K), CODATA 2018
	molarWater  = 0.01801528  // kg/mol
	// pressure of the air is the standard atmosphere, in Pa. The diffusion
	// coefficient falls as it rises, so that its height above the sea hardly
	// moves a loss.
	pressure      = 101325
	secondsPerDay = 86400
)

// Saturation returns the saturation vapour pressure over water in Pa, for
// temperatures of husbandry (-45 to 60 °C), in the form of the World
// Meteorological Organization (Guide to Instruments and Methods of Observation,
// WMO-No. 8, annex 4.B). At 20 to 35 °C it is 0.3 % below IAPWS-IF97.
func Saturation(t husbandry.Celsius) float64 {
	return 611.2 * math.Exp(17.62*float64(t)/(243.12+float64(t)))
}

// Diffusivity returns the diffusion coefficient of water vapour in air at the
// standard atmosphere, in m²/s (Massman 1998, Atmospheric Environment
// 32:1111-1127; coefficients from memory).
func Diffusivity(t husbandry.Celsius) float64 {
	return 0.2178e-4 * math.Pow((float64(t)+kelvin)/kelvin, 1.81)
}

// Air is the air that surrounds a box or tub.
type Air struct {
	Temperature husbandry.Celsius
	Vapour      float64 // partial pressure of its vapour, Pa
}

// AirAt returns air of a temperature and a relative humidity (0 to 1).
func AirAt(t husbandry.Celsius, humidity float64) Air {
	return Air{t, humidity * Saturation(t)}
}

// Warmed returns the same air brought to another temperature, as a room's air
// is in an incubator: it holds as much vapour as before, and no more than it can.
func (a Air) Warmed(t husbandry.Celsius) Air {
	return Air{t, min(a.Vapour, Saturation(t))}
}

// Deficit is how much vapour the air could still take up, in Pa.
func (a Air) Deficit() float64 { return Saturation(a.Temperature) - a.Vapour }

// stefan is the loss of a still column of air one metre long and one square
// metre wide, in g/day: diffusion and the flow that it drags along (Stefan
// flow), from saturated air into the air around.
func (a Air) stefan() float64 {
	e := Saturation(a.Temperature)
	t := float64(a.Temperature) + kelvin
	return Diffusivity(a.Temperature) * pressure * molarWater / (gasConstant * t) *
		math.Log((pressure-a.Vapour)/(pressure-e)) * 1000 * secondsPerDay
}

// Way is the way out for the vapour of a box or tub: through the still air
// above the substrate, then through the holes of its lid.
type Way struct {
	Holes     husbandry.Holes // none: it is open on top
	Lid       husbandry.Millimetres
	Inside    husbandry.Size
	Headspace husbandry.Millimetres
}

// WayOf returns the way out of a box or tub; ok is false where too little is
// known of it.
func WayOf(d husbandry.Damp) (w Way, ok bool) {
	w = Way{d.Holes, d.Lid, d.Inside, d.Headspace}
	return w, w.conductance() > 0
}

// conductance is area by length, in m: infinite parts in a row count as none.
// A hole's ends resist as much as another πd/4 of its depth (Brown and Escombe
// 1900, from memory; the same as the exact conductance of a disc on both
// sides); holes that stand apart by some diameters add up.
func (w Way) conductance() float64 {
	metres := func(l husbandry.Millimetres) float64 { return float64(l) / 1000 }
	column := math.Inf(1)
	if area := metres(w.Inside.Length) * metres(w.Inside.Width); area > 0 && w.Headspace > 0 {
		column = area / metres(w.Headspace)
	}
	if w.Holes.Count > 0 && w.Holes.Diameter > 0 {
		d := metres(w.Holes.Diameter)
		holes := float64(w.Holes.Count) * (math.Pi * d * d / 4) / (metres(w.Lid) + math.Pi*d/4)
		return 1 / (1/column + 1/holes)
	}
	if math.IsInf(column, 1) {
		return 0
	}
	return column
}

// Loss returns the grams of water a day that leave for the air by diffusion
// alone. Warmth from a lamp, draughts and a lid that does not close make it
// more; see [Learn]. It is 0 where the air is saturated, and where too little
// is known of the way.
func (w Way) Loss(a Air) float64 {
	if a.Deficit() <= 0 {
		return 0
	}
	return a.stefan() * w.conductance()
}
