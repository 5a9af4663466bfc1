// Package picture draws SVG pictures: the hatching forecast of a clutch, the
// growth of an animal, and a species' year.
//
// Start with [Forecast], [Growth] and [Year]. Each is filled with plain values
// and has one method, SVG. Equal values give equal bytes. Nothing in a picture
// is fetched, linked or run. A picture has its own background, so it works on a
// dark page as well as on a light page. Everything that a colour shows is also
// shown by words or shapes. The description has everything important, for
// people who do not see the picture.
//
// All pictures are 400 units wide, with letters of at least 13 units. On a
// phone of 320 pixels that is 10 pixels. On a sheet of A4, where a browser
// prints a picture 440 pixels wide, it is 11 points.
//
// The SVG is written by hand, in sheet.go, without a library. Plotting
// libraries use their own fonts to measure text, make figures of a fixed size
// for paper, and have no place for a description. Libraries that only write the
// elements do not check attributes, and they would save no more than one
// function. The package makes no bitmaps (browsers and image tools can make
// them from an SVG). It knows no records or plans; the command passes plain
// values.
package picture

import (
	"math"
	"strings"
)

func sentence(parts ...string) string {
	var list []string
	for _, p := range parts {
		if p = strings.TrimRight(clean(p), ". "); p != "" {
			list = append(list, p+".")
		}
	}
	return strings.Join(list, " ")
}

// step returns a round step, 1, 2 or 5 times a power of ten, that divides width
// into at most n pieces.
func step(width float64, n int) float64 {
	rough := width / float64(n)
	if !(rough > 0) || math.IsInf(rough, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(rough)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= rough*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// finite returns 0 for numbers that cannot be drawn.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}
