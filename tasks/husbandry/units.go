package husbandry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Celsius is a temperature in degrees Celsius.
type Celsius float64

// Grams is a mass in grams.
type Grams float64

// Millilitres is a volume in millilitres.
type Millilitres float64

// Days is a length of time in civil days.
type Days int

// Share is a part of a whole, 0 to 1.
type Share float64

// String writes the share in percent: "5 %", "7.5 %".
func (s Share) String() string {
	return trimZeros(strconv.FormatFloat(100*float64(s), 'f', 1, 64)) + " %"
}

// Millimetres is a length in millimetres.
type Millimetres float64

// Ounce is the international avoirdupois ounce, exact by definition (NIST
// Handbook 44, appendix C).
const Ounce Grams = 28.349523125

// Exact by definition: the inch (NIST Special Publication 811, appendix B) and
// the US fluid ounce of 231/128 cubic inches (NIST Handbook 44, appendix C).
const (
	millimetresPerInch    = 25.4
	gramsPerOunce         = float64(Ounce)
	millilitresPerFlOunce = 29.5735295625
)

// Units is the system of units for output. Input may use either system.
type Units string

// The two systems of units.
const (
	Metric Units = "metric" // °C, g, ml
	US     Units = "us"     // °F, oz, fl oz
)

// Temperature writes c in the units u: "28.0 °C" or "82.4 °F".
func (u Units) Temperature(c Celsius) string {
	if u == US {
		return fmt.Sprintf("%.1f °F", float64(c)*9/5+32)
	}
	return fmt.Sprintf("%.1f °C", float64(c))
}

// Mass writes g in the units u: "41 g" or "1.45 oz". Small animals need two
// decimals of an ounce (0.3 g) or one decimal of a gram.
func (u Units) Mass(g Grams) string {
	if u == US {
		return trimZeros(strconv.FormatFloat(float64(g)/gramsPerOunce, 'f', 2, 64)) + " oz"
	}
	return trimZeros(strconv.FormatFloat(float64(g), 'f', 1, 64)) + " g"
}

// Volume writes v in the units u: "60 ml" or "2.03 fl oz".
func (u Units) Volume(v Millilitres) string {
	if u == US {
		return trimZeros(strconv.FormatFloat(float64(v)/millilitresPerFlOunce, 'f', 2, 64)) + " fl oz"
	}
	return trimZeros(strconv.FormatFloat(float64(v), 'f', 1, 64)) + " ml"
}

// Measured writes v rounded to an amount that can be measured (common
// practice). With a syringe or a measuring cup the steps are 1 ml up to 20 ml,
// 5 ml up to 100 ml, then 10 ml. With a medicine cup or a measuring cup they
// are 1/8 fl oz up to 1, 1/4 up to 4, then 1/2. The least result is one step.
func (u Units) Measured(v Millilitres) string {
	n, steps := float64(v), []struct{ to, step float64 }{{20, 1}, {100, 5}, {math.Inf(1), 10}}
	if u == US {
		n /= millilitresPerFlOunce
		steps = []struct{ to, step float64 }{{1, 1. / 8}, {4, 1. / 4}, {math.Inf(1), 1. / 2}}
	}
	for _, s := range steps {
		if n <= s.to {
			n = max(math.Round(n/s.step), 1) * s.step
			break
		}
	}
	if u == US {
		return trimZeros(strconv.FormatFloat(n, 'f', 3, 64)) + " fl oz"
	}
	return strconv.FormatFloat(n, 'f', 0, 64) + " ml"
}

func trimZeros(s string) string {
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// ParseTemperature reads "28.5 C", "28.5 °C" or "84 F". A number without a unit
// is an error. A temperature below absolute zero or above 100 °C is an error as
// well.
func ParseTemperature(s string) (Celsius, error) {
	const want = `a temperature like "28.5 C" or "84 F"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch strings.TrimPrefix(unit, "°") {
	case "c":
	case "f":
		n = (n - 32) * 5 / 9
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < -273.15 || n > 100 {
		return 0, fmt.Errorf("%q is outside any temperature of husbandry", s)
	}
	return Celsius(n), nil
}

// ParseTemperatureDifference reads "1.5 C" or "3 F" as a difference of
// temperatures. A difference in Fahrenheit is scaled, without the offset of 32:
// 9 F are 5 C. The result is never negative.
func ParseTemperatureDifference(s string) (Celsius, error) {
	const want = `a difference of temperatures like "1.5 C" or "3 F"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch strings.TrimPrefix(unit, "°") {
	case "c":
	case "f":
		n = n * 5 / 9
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 {
		return 0, fmt.Errorf("%q is negative", s)
	}
	return Celsius(n), nil
}

// ParseMass reads "6 g", "1.2 kg" or "0.2 oz"; never negative.
func ParseMass(s string) (Grams, error) {
	const want = `a mass like "41 g" or "1.5 oz"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "g", "gram", "grams", "gramme", "grammes":
	case "kg":
		n *= 1000
	case "mg":
		n /= 1000
	case "oz", "ounce", "ounces":
		n *= gramsPerOunce
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 {
		return 0, fmt.Errorf("%q is negative", s)
	}
	return Grams(n), nil
}

// ParseVolume reads "60 ml", "1 l" or "2 fl oz"; never negative.
func ParseVolume(s string) (Millilitres, error) {
	const want = `a volume like "60 ml" or "2 fl oz"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "ml", "millilitre", "millilitres", "milliliter", "milliliters":
	case "l", "litre", "litres", "liter", "liters":
		n *= 1000
	case "floz", "fluidounce", "fluidounces":
		n *= millilitresPerFlOunce
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 {
		return 0, fmt.Errorf("%q is negative", s)
	}
	return Millilitres(n), nil
}

// ParseWater reads an amount of water by weight or by volume: "120 g" or "120
// ml". Up to 30 °C the two differ by less than half a percent.
func ParseWater(s string) (Grams, error) {
	if g, err := ParseMass(s); err == nil {
		return g, nil
	}
	ml, err := ParseVolume(s)
	if err != nil {
		return 0, fmt.Errorf(`%q is not an amount of water like "120 g" or "4 fl oz"`, s)
	}
	return Grams(ml), nil
}

// longestLength is the longest allowed dimension of a nest box or a tub.
const longestLength Millimetres = 2000

// ParseLength reads "50 mm", "5 cm" or "2 in". The length must be above zero
// and at most 2 m.
func ParseLength(s string) (Millimetres, error) {
	const want = `a length like "50 mm", "5 cm" or "2 in"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "mm", "millimetre", "millimetres", "millimeter", "millimeters":
	case "cm", "centimetre", "centimetres", "centimeter", "centimeters":
		n *= 10
	case "in", "inch", "inches":
		n *= millimetresPerInch
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if mm := Millimetres(n); mm > 0 && mm <= longestLength {
		return mm, nil
	}
	return 0, fmt.Errorf("%q is not between nothing and 2 m", s)
}

// twice splits "20 x 14 cm" or "20 × 14 cm" into the parts on both sides of the
// sign.
func twice(s string) (left, right string, ok bool) {
	i := strings.IndexAny(s, "xX×")
	if i < 0 {
		return "", "", false
	}
	_, size := utf8.DecodeRuneInString(s[i:])
	return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+size:]), true
}

// Size is the length and the width of a rectangle.
type Size struct{ Length, Width Millimetres }

// ParseSize reads "20 x 14 cm" or "20 cm x 14 cm".
func ParseSize(s string) (Size, error) {
	const want = `a length and a width like "20 x 14 cm"`
	left, right, ok := twice(s)
	width, err := ParseLength(right)
	if !ok || err != nil {
		return Size{}, fmt.Errorf("%q is not %s", s, want)
	}
	if !strings.ContainsFunc(left, unicode.IsLetter) {
		left += strings.TrimLeft(right, "+-.0123456789") // the length takes the unit of the width
	}
	length, err := ParseLength(left)
	if err != nil {
		return Size{}, fmt.Errorf("%q is not %s", s, want)
	}
	return Size{length, width}, nil
}

// Holes are round openings of one size.
type Holes struct {
	Count    int // 0: none
	Diameter Millimetres
}

// ParseHoles reads "50 mm", one round hole of that diameter, or "4 x 3 mm",
// four holes of three millimetres. It accepts at most 1,000 holes.
func ParseHoles(s string) (Holes, error) {
	const want = `an opening like "50 mm", or several like "4 x 3 mm"`
	number, each, several := twice(s)
	if !several {
		number, each = "1", s
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > 1000 {
		return Holes{}, fmt.Errorf("%q is not %s", s, want)
	}
	d, err := ParseLength(each)
	if err != nil {
		return Holes{}, fmt.Errorf("%q is not %s", s, want)
	}
	return Holes{n, d}, nil
}

// ParseDays reads "10 days", "1 day" or "2 weeks": a whole number, not
// negative, and at most 3,660 (ten years).
func ParseDays(s string) (Days, error) {
	const want = `a number of days like "10 days" or "2 weeks"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "day", "days", "d":
	case "week", "weeks", "w":
		n *= 7
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 || n > 3660 || n != math.Trunc(n) {
		return 0, fmt.Errorf("%q is not a whole number of days between 0 and 3660", s)
	}
	return Days(n), nil
}

// ParseShare reads "5 %": from 0 to 100 percent.
func ParseShare(s string) (Share, error) {
	const want = `a share like "5 %"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	if unit != "%" && unit != "percent" {
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 || n > 100 {
		return 0, fmt.Errorf("%q is not a share from 0 to 100 %%", s)
	}
	return Share(n / 100), nil
}

// quantity splits s into one number and one unit; the unit is in lower case and
// without spaces. Anything else is an error: "1 d 2 d" does not mean two days.
func quantity(s, want string) (float64, string, error) {
	t := strings.TrimSpace(s)
	i := strings.IndexFunc(t, func(r rune) bool {
		return !(r >= '0' && r <= '9') && r != '.' && r != '-' && r != '+'
	})
	if i < 0 {
		return 0, "", fmt.Errorf("%q has no unit; want %s", s, want)
	}
	n, err := strconv.ParseFloat(t[:i], 64)
	if err != nil || math.IsInf(n, 0) || math.IsNaN(n) {
		return 0, "", fmt.Errorf("%q is not %s", s, want)
	}
	unit := strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, t[i:])
	return n, strings.TrimSuffix(unit, "."), nil
}
