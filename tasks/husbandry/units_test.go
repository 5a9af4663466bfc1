package husbandry_test

import (
	"math"
	"strings"
	"testing"

	"nestround/tasks/husbandry"
)

// near compares a parsed value with a reference value to nine significant
// digits.
func near(got, want float64) bool { return math.Abs(got-want) < 1e-9*max(1, math.Abs(want)) }

func TestParseQuantities(t *testing.T) {
	temperature := func(s string) (float64, error) {
		v, err := husbandry.ParseTemperature(s)
		return float64(v), err
	}
	difference := func(s string) (float64, error) {
		v, err := husbandry.ParseTemperatureDifference(s)
		return float64(v), err
	}
	mass := func(s string) (float64, error) { v, err := husbandry.ParseMass(s); return float64(v), err }
	volume := func(s string) (float64, error) { v, err := husbandry.ParseVolume(s); return float64(v), err }
	hours := func(s string) (float64, error) { v, err := husbandry.ParseHours(s); return v.Hours(), err }
	length := func(s string) (float64, error) { v, err := husbandry.ParseLength(s); return float64(v), err }
	water := func(s string) (float64, error) { v, err := husbandry.ParseWater(s); return float64(v), err }
	days := func(s string) (float64, error) { v, err := husbandry.ParseDays(s); return float64(v), err }
	for _, c := range []struct {
		name  string
		parse func(string) (float64, error)
		in    string
		want  float64
		err   string // part of the error; "" for none
	}{
		// The fixed points of both scales: water freezes at 32 °F and boils
		// at 212 °F, and -40 is the same on both (NIST SP 811, appendix B).
		{"freezing", temperature, "32 F", 0, ""},
		{"boiling", temperature, "212 °F", 100, ""},
		{"the same on both", temperature, "-40 F", -40, ""},
		{"Celsius", temperature, "28.5 °C", 28.5, ""},
		{"without the blank", temperature, "28.5C", 28.5, ""},
		{"below absolute zero", temperature, "-274 C", 0, "outside any temperature"},
		{"above boiling", temperature, "101 C", 0, "outside any temperature"},
		{"no unit", temperature, "28.5", 0, "has no unit"},
		{"another unit", temperature, "300 K", 0, "is not a temperature"},
		{"no number", temperature, "C", 0, "is not a temperature"},
		{"two numbers", temperature, "28 C 29 C", 0, "is not a temperature"},

		// A degree Fahrenheit is 5/9 of a kelvin as an interval (same place).
		{"a difference is scaled", difference, "9 F", 5, ""},
		{"and not moved", difference, "0 F", 0, ""},
		{"a difference in Celsius", difference, "1.5 C", 1.5, ""},
		{"a negative difference", difference, "-1 F", 0, "is negative"},
		{"a difference without a unit", difference, "1", 0, "has no unit"},
		{"a difference of weight", difference, "1 g", 0, "is not a difference"},

		// NIST Handbook 44, appendix C: 1 oz = 28.349 523 125 g, 1 fl oz =
		// 29.573 529 562 5 mL, 16 oz to the pound of 453.592 37 g.
		{"sixteen ounces", mass, "16 oz", 453.59237, ""},
		{"kilograms", mass, "1.2 kg", 1200, ""},
		{"milligrams", mass, "250 mg", 0.25, ""},
		{"negative mass", mass, "-1 g", 0, "is negative"},
		{"fluid ounces", volume, "2 fl oz", 59.147059125, ""},
		{"fluid ounces with a full stop", volume, "2 fl. oz.", 0, "is not a volume"},
		{"litres", volume, "0.5 l", 500, ""},
		{"negative volume", volume, "-1 ml", 0, "is negative"},
		{"mass for volume", volume, "1 g", 0, "is not a volume"},

		{"half a day", hours, "12 hours", 12, ""},
		{"half an hour more", hours, "13.5 h", 13.5, ""},
		{"a quarter", hours, "15 minutes", 0.25, ""},
		{"none", hours, "0 hours", 0, ""},
		{"the whole day", hours, "24 hours", 24, ""},
		{"more than a day", hours, "1441 min", 0, "whole minutes from 0 to 24 hours"},
		{"a third of a minute", hours, "0.3 minutes", 0, "whole minutes"},
		{"a time of day for a length", hours, "12:30", 0, "is not a time like"},
		{"days for hours", hours, "1 day", 0, "is not a time like"},

		// NIST Special Publication 811, appendix B: an inch is 25.4 mm.
		{"inches", length, "2 in", 50.8, ""},
		{"inches in full", length, "0.5 inches", 12.7, ""},
		{"centimetres", length, "5 cm", 50, ""},
		{"millimetres", length, "50mm", 50, ""},
		{"no length", length, "0 mm", 0, "between nothing and 2 m"},
		{"a negative length", length, "-3 mm", 0, "between nothing and 2 m"},
		{"a length for a building", length, "201 cm", 0, "between nothing and 2 m"},
		{"metres", length, "1 m", 0, "is not a length"},
		{"a length without a unit", length, "50", 0, "has no unit"},

		{"water by weight", water, "120 g", 120, ""},
		{"water by volume", water, "0.5 l", 500, ""},
		{"water by the length", water, "5 cm", 0, "not an amount of water"},

		{"a day", days, "1 day", 1, ""},
		{"weeks", days, "2 weeks", 14, ""},
		{"ten years", days, "3660 days", 3660, ""},
		{"more", days, "3661 days", 0, "whole number of days"},
		{"half a day", days, "1.5 days", 0, "whole number of days"},
		{"half a week and a half", days, "0.5 weeks", 0, "whole number of days"},
		{"negative days", days, "-1 day", 0, "whole number of days"},
		{"the same unit twice", days, "1 d 2 d", 0, "is not a number of days"},
		{"hours", days, "48 hours", 0, "is not a number of days"},
		{"a number beyond numbers", days, strings.Repeat("9", 400) + " days", 0, "is not a number of days"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := c.parse(c.in)
			if (err == nil) != (c.err == "") || err != nil && (!strings.Contains(err.Error(), c.err) || got != 0) || !near(got, c.want) {
				t.Errorf("%q: %v, %v; want %v, %s", c.in, got, err, c.want, c.err)
			}
		})
	}
}

func TestUnitsAreShown(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{husbandry.Metric.Temperature(28), "28.0 °C"},
		{husbandry.US.Temperature(28), "82.4 °F"},
		{husbandry.Metric.Mass(41), "41 g"},
		{husbandry.US.Mass(41), "1.45 oz"},
		{husbandry.Metric.Volume(60), "60 ml"},
		{husbandry.US.Volume(60), "2.03 fl oz"},
		{husbandry.Metric.Measured(0.3), "1 ml"},
		{husbandry.Metric.Measured(7.4), "7 ml"},
		{husbandry.Metric.Measured(33), "35 ml"},
		{husbandry.Metric.Measured(101), "100 ml"},
		{husbandry.Metric.Measured(238), "240 ml"},
		{husbandry.US.Measured(0.3), "0.125 fl oz"},
		{husbandry.US.Measured(12), "0.375 fl oz"},
		{husbandry.US.Measured(50), "1.75 fl oz"},
		{husbandry.US.Measured(240), "8 fl oz"},
	} {
		if c.got != c.want {
			t.Errorf("got %s, want %s", c.got, c.want)
		}
	}
}

func TestParseSizesAndHoles(t *testing.T) {
	for _, c := range []struct {
		in   string
		want husbandry.Size
	}{
		{"20 x 14 cm", husbandry.Size{Length: 200, Width: 140}},
		{"200 mm × 14 cm", husbandry.Size{Length: 200, Width: 140}},
		{"8X5in", husbandry.Size{Length: 203.2, Width: 127}},
		{"20 cm x 14", husbandry.Size{}},
		{"20 cm", husbandry.Size{}},
		{"20 x 14 x 9 cm", husbandry.Size{}},
		{"0 x 14 cm", husbandry.Size{}},
		{"x", husbandry.Size{}},
	} {
		got, err := husbandry.ParseSize(c.in)
		if (err == nil) == (c.want == husbandry.Size{}) || !near(float64(got.Length), float64(c.want.Length)) || !near(float64(got.Width), float64(c.want.Width)) {
			t.Errorf("%q: %v, %v; want %v", c.in, got, err, c.want)
		}
	}
	for _, c := range []struct {
		in   string
		want husbandry.Holes
	}{
		{"50 mm", husbandry.Holes{Count: 1, Diameter: 50}},
		{"4 x 3 mm", husbandry.Holes{Count: 4, Diameter: 3}},
		{"2 × 1 in", husbandry.Holes{Count: 2, Diameter: 25.4}},
		{"0 x 3 mm", husbandry.Holes{}},
		{"1001 x 3 mm", husbandry.Holes{}},
		{"4 mm x 3 mm", husbandry.Holes{}},
		{"4 x 3", husbandry.Holes{}},
		{"4", husbandry.Holes{}},
	} {
		got, err := husbandry.ParseHoles(c.in)
		if (err == nil) == (c.want == husbandry.Holes{}) || got.Count != c.want.Count || !near(float64(got.Diameter), float64(c.want.Diameter)) {
			t.Errorf("%q: %v, %v; want %v", c.in, got, err, c.want)
		}
	}
}

// A parsed length is within its range, and an error comes without a value.
func FuzzLengths(f *testing.F) {
	for _, s := range []string{"50 mm", "4 x 3 mm", "20 × 14 cm", "2 in", "1e300 mm", "xx", "x mm", "NaN cm", "+.5 cm", "4 x 3 mm\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		length, err := husbandry.ParseLength(s)
		if (err == nil) != (length > 0) || length > 2000 || math.IsNaN(float64(length)) {
			t.Errorf("%q: %v, %v", s, length, err)
		}
		size, err := husbandry.ParseSize(s)
		if (err == nil) != (size.Length > 0 && size.Width > 0) || size.Length > 2000 || size.Width > 2000 {
			t.Errorf("%q: %v, %v", s, size, err)
		}
		holes, err := husbandry.ParseHoles(s)
		if (err == nil) != (holes.Count > 0 && holes.Diameter > 0) || holes.Count > 1000 || holes.Diameter > 2000 {
			t.Errorf("%q: %v, %v", s, holes, err)
		}
		if err == nil && !strings.ContainsAny(s, "xX×") && (holes.Count != 1 || holes.Diameter != length) {
			t.Errorf("%q: one hole of %v is %v", s, length, holes)
		}
	})
}
