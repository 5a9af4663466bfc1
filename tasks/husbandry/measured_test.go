package husbandry_test

import (
	"testing"

	"nestround/tasks/husbandry"
)

// Amounts of water are rounded to the marks of a syringe, a cup or a jug
// (common practice). The cases lie on both sides of each change of the step.
func TestWaterIsRoundedToTheMarksOfACup(t *testing.T) {
	const fluidOunce = 29.5735295625 // ml, NIST Handbook 44, appendix C
	for _, c := range []struct {
		words string
		units husbandry.Units
		water husbandry.Millilitres
		want  string
	}{
		{"a syringe, to 1 ml", husbandry.Metric, 18.6, "19 ml"},
		{"a full syringe", husbandry.Metric, 20, "20 ml"},
		{"more than a syringe, to 5 ml", husbandry.Metric, 22.4, "20 ml"},
		{"more than a syringe, rounded up", husbandry.Metric, 22.6, "25 ml"},
		{"almost a cup, to 5 ml", husbandry.Metric, 96, "95 ml"},
		{"a cup", husbandry.Metric, 100, "100 ml"},
		{"more than a cup, to 10 ml", husbandry.Metric, 104, "100 ml"},
		{"more than a cup, rounded up", husbandry.Metric, 106, "110 ml"},
		{"a medicine cup, to an eighth", husbandry.US, 0.9 * fluidOunce, "0.875 fl oz"},
		{"a full medicine cup", husbandry.US, fluidOunce, "1 fl oz"},
		{"more than a medicine cup, to a quarter", husbandry.US, 1.1 * fluidOunce, "1 fl oz"},
		{"half a measuring cup, to a quarter", husbandry.US, 3.8 * fluidOunce, "3.75 fl oz"},
		{"more, to a half", husbandry.US, 4.3 * fluidOunce, "4.5 fl oz"},
	} {
		if got := c.units.Measured(c.water); got != c.want {
			t.Errorf("%s: %v ml are told as %s, want %s", c.words, c.water, got, c.want)
		}
	}
}
