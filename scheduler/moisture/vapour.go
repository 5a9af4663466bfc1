// Package moisture computes how fast a nest box or an egg tub dries, when it
// needs water, and how much.
//
// Start with [Way.Loss], the loss through an opening in grams a day, by
// diffusion alone. [Learn] joins it with the keeper's own weighings and the
// added water: real boxes stand under lamps and in draughts, so each has a
// factor learnt from its real losses. [Mix] computes the substrate of one tub,
// or of a season's.
//
// Weighing a closed tub works although eggs take up water: the water in the
// eggs stays in the tub. Only vapour leaves it (and carbon dioxide, with almost
// no mass).
//
// The package does not use water potentials (kPa). They depend on the brand and
// the grain of a substrate: two published recipes for vermiculite differ about
// sevenfold at the same ratio. So a ratio is kept by weighing, and a figure in
// kPa would be made up. It does not use the humidity above the substrate
// either. Over the whole useful range the humidity is 98.9 to 99.99 % (Kelvin's
// equation), no hygrometer can measure the difference, and the package takes
// the air there as saturated.
//
// The package reads no clock and knows neither animals nor routines; the
// scheduler passes in values.
package moisture

import (
	"math"

	"nestround/tasks/husbandry"
)

const (
	kelvin      = 273.15
	gasConstant = 8.314462618 // J/(mol K), CODATA 2018
	molarWater  = 0.01801528  // kg/mol
	// pressure is the air pressure in Pa, the standard atmosphere. The
	// diffusion coefficient falls as the pressure rises, so the height above
	// the sea hardly changes a loss.
	pressure      = 101325
	secondsPerDay = 86400
)

// Saturation returns the saturation vapour pressure over water in Pa, for the
// temperatures of husbandry (-45 to 60 °C), by the formula of the World
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

// Air is the air around a box or tub.
type Air struct {
	Temperature husbandry.Celsius
	Vapour      float64 // partial pressure of the water vapour, Pa
}

// AirAt returns air with a temperature and a relative humidity (0 to 1).
func AirAt(t husbandry.Celsius, humidity float64) Air {
	return Air{t, humidity * Saturation(t)}
}

// Warmed returns the same air at another temperature, such as room air in an
// incubator. The air keeps its vapour, up to saturation.
func (a Air) Warmed(t husbandry.Celsius) Air {
	return Air{t, min(a.Vapour, Saturation(t))}
}

// Deficit returns the vapour that the air can still take up, in Pa.
func (a Air) Deficit() float64 { return Saturation(a.Temperature) - a.Vapour }

// stefan returns the loss through a still column of air one metre long and one
// square metre wide, in g/day: diffusion from saturated air into the
// surrounding air, plus the flow that it causes (Stefan flow).
func (a Air) stefan() float64 {
	e := Saturation(a.Temperature)
	t := float64(a.Temperature) + kelvin
	return Diffusivity(a.Temperature) * pressure * molarWater / (gasConstant * t) *
		math.Log((pressure-a.Vapour)/(pressure-e)) * 1000 * secondsPerDay
}

// Way is the way of the vapour out of a box or tub: through the still air above
// the substrate, then through the holes of the lid.
type Way struct {
	Holes     husbandry.Holes // none: the box is open on top
	Lid       husbandry.Millimetres
	Inside    husbandry.Size
	Headspace husbandry.Millimetres
}

// WayOf returns the way of the vapour out of a box or tub. ok is false if too
// little is known about the box or tub.
func WayOf(d husbandry.Damp) (w Way, ok bool) {
	w = Way{d.Holes, d.Lid, d.Inside, d.Headspace}
	return w, w.conductance() > 0
}

// conductance returns area divided by length, in m. Parts without a known size
// offer no resistance. The ends of a hole resist like another πd/4 of depth
// (Brown and Escombe 1900, from memory; equal to the exact conductance of a
// disc on both sides). The conductances of holes some diameters apart add up.
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

// Loss returns the loss of water in grams a day, by diffusion alone. A warm
// lamp, draughts and a leaky lid increase the loss; see [Learn]. The loss is 0
// if the air is saturated, or if too little is known about the way.
func (w Way) Loss(a Air) float64 {
	if a.Deficit() <= 0 {
		return 0
	}
	return a.stefan() * w.conductance()
}
