// Package picture draws what the program knows as SVG: one clutch's hatching
// forecast, the growth of an animal, and a species' year.
//
// Start with [Forecast], [Growth] and [Year]; each is filled with plain values
// and has one method, SVG. The same values give the same bytes. Nothing in a
// picture is fetched, linked or run, and it has a ground of its own, so that it
// stands on a dark page as on a light one. What it shows is also told by words
// or shapes where it is told by a colour, and all that matters is in its
// description for those who do not see it.
//
// All pictures are 400 units wide with letters of 13 units or more: on a phone
// of 320 pixels that is 10 pixels, and on a sheet of A4, where a browser prints
// them 440 pixels wide, 11 points.
//
// The SVG is written by hand, in sheet.go, and no library draws it. Plotting
// libraries set text in fonts of their own to know how long it is, make
// figures of one fixed size for paper, and have no place for a description;
// the libraries that only write the elements pass attributes on as they are
// given, and what is left to do without them is one function. What is left
// out: bitmaps (browsers and image tools make them of an SVG), and any
// knowledge of records and plans, which the command hands in as values.
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

// step returns a round step, 1, 2 or 5 times a power of ten, that parts width
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

// finite makes zero of what is no number that can be drawn.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}
