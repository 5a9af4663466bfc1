// Package daylight computes how long the sun is up at a latitude on a date, and
// the days on which to set a lamp's timer anew so that the lamp follows the
// sun.
//
// Start with [Length] for the sun and with [Schedule] and [Steps] for lamps.
// The declination of the sun is from Jean Meeus, Astronomical Algorithms, 2nd
// ed., chapter 25 (the lower accuracy of 0.01°). The solar calculator of the
// U.S. National Oceanic and Atmospheric Administration (NOAA) uses the same
// formula. NOAA also published a short Fourier series, but day lengths computed
// with that series are minutes off at the equinoxes of high latitudes. Each
// date is computed for 12 UT, regardless of the longitude. The error due to the
// longitude is largest at the equinoxes: at a latitude of 60° an hour of
// longitude is then a quarter of a minute of day length.
//
// The package ignores the height of the horizon, weather, twilight and the
// equation of time: a clock switches the lamp on and off, and the keeper
// chooses the middle of the lit hours.
package daylight

import (
	"math"
	"time"

	"nestround/tasks/civil"
)

// Sunrise is the zenith angle, in degrees, of the sun's centre at sunrise and
// sunset in the almanacs. The upper limb is then on the horizon, so the centre
// is lower by 16′ of radius and 34′ of refraction (NOAA).
const Sunrise = 90.833

// Length returns the time from sunrise to sunset on a day at a latitude in
// degrees (-90 to 90, south negative). It is 24 hours if the sun does not set,
// and 0 if the sun does not rise.
func Length(latitude float64, on civil.Date) time.Duration {
	return LengthAt(Sunrise, latitude, on)
}

// LengthAt is Length for another zenith angle, in degrees.
func LengthAt(zenith, latitude float64, on civil.Date) time.Duration {
	return lit(zenith, latitude, Declination(JulianDay(on)))
}

// lit returns the time of a day during which the sun is less than the angle
// zenith from the point overhead (NOAA: cos H = cos z / (cos φ cos δ) - tan φ
// tan δ). All angles are in degrees.
func lit(zenith, latitude, declination float64) time.Duration {
	φ, δ, z := radians(latitude), radians(declination), radians(zenith)
	// Both sides are multiplied by cos φ cos δ, which is 0 only at the poles.
	left, right := math.Cos(z)-math.Sin(φ)*math.Sin(δ), math.Cos(φ)*math.Cos(δ)
	switch {
	case left <= -right:
		return 24 * time.Hour
	case left >= right:
		return 0
	}
	h := math.Acos(left / right)
	return time.Duration(h / math.Pi * float64(24*time.Hour)).Round(time.Second)
}

// JulianDay returns the Julian day of 12 UT on a date.
func JulianDay(on civil.Date) float64 {
	// 1 January 2000, 12 UT, is 2451545.0 (Meeus, chapter 7).
	return 2451545 + float64(on.Sub(civil.New(2000, time.January, 1)))
}

// Declination returns the apparent declination of the sun in degrees, north
// positive, at a Julian day. Its error is 0.01° for the centuries about 2000.
// The difference of about a minute between universal and dynamical time does
// not matter.
func Declination(julianDay float64) float64 {
	t := (julianDay - 2451545) / 36525 // Meeus (25.1)
	l := 280.46646 + t*(36000.76983+t*0.0003032)
	m := radians(357.52911 + t*(35999.05029-t*0.0001537))
	c := math.Sin(m)*(1.914602-t*(0.004817+t*0.000014)) + math.Sin(2*m)*(0.019993-t*0.000101) + math.Sin(3*m)*0.000289
	ω := radians(125.04 - 1934.136*t)
	λ := radians(l + c - 0.00569 - 0.00478*math.Sin(ω))
	ε := 23 + (26+(21.448-t*(46.8150+t*(0.00059-t*0.001813)))/60)/60 // (22.2)
	ε += 0.00256 * math.Cos(ω)                                       // (25.8)
	return degrees(math.Asin(math.Sin(radians(ε)) * math.Sin(λ)))
}

func radians(d float64) float64 { return d * math.Pi / 180 }
func degrees(r float64) float64 { return r * 180 / math.Pi }
