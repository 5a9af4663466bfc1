package english

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Count writes a number of things, for which noun is the singular: "1 egg",
// "6 eggs", "0 eggs", "2 changes of water". See [Plural] for the nouns it
// knows.
func Count[N ~int](n N, noun string) string {
	if n == 1 {
		return CountForms(n, noun, "")
	}
	return CountForms(n, "", Plural(noun))
}

// CountForms writes a number before one of two phrases. Use it if more than the
// ending of a noun changes: "1 line is", "3 lines are".
func CountForms[N ~int](n N, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(int(n)) + " " + many
}

// Days writes a number of days: "1 day", "10 days".
func Days[N ~int](n N) string { return Count(n, "day") }

// DayRange writes the least and the greatest number of days: "52-60 days". It
// writes both even if they are equal.
func DayRange[N ~int](from, to N) string { return fmt.Sprintf("%d-%d days", from, to) }

// unchanged are the nouns whose plural equals the singular.
var unchanged = map[string]bool{"species": true, "young": true}

// Plural returns the plural of a noun: "eggs", "clutches", "boxes", "entries",
// "species". In a phrase with "of" the noun before "of" changes, otherwise the
// last word: "changes of water", "own clutches". Irregular nouns that the
// program does not use are not handled.
func Plural(noun string) string {
	if head, rest, ok := strings.Cut(noun, " of "); ok {
		return Plural(head) + " of " + rest
	}
	last := noun[strings.LastIndexByte(noun, ' ')+1:]
	switch {
	case last == "" || unchanged[strings.ToLower(last)]:
		return noun
	case hasAnySuffix(noun, "s", "x", "ch", "sh"):
		return noun + "es"
	case strings.HasSuffix(noun, "y") && len(last) > 1 && !hasAnySuffix(noun, "ay", "ey", "oy", "uy"):
		return strings.TrimSuffix(noun, "y") + "ies"
	}
	return noun + "s"
}

// PluralName returns the plural of a species' name. The keeper wrote the name,
// so it may be a plural already: "wall lizard" and "wall lizards" both give
// "wall lizards". No name gives "".
func PluralName(name string) string {
	if name == "" || strings.HasSuffix(name, "s") {
		return name
	}
	return name + "s"
}

func hasAnySuffix(s string, suffixes ...string) bool {
	for _, suffix := range suffixes {
		if strings.HasSuffix(s, suffix) {
			return true
		}
	}
	return false
}

// Ordinal writes an ordinal number: "1st", "2nd", "3rd", "4th", "11th", "22nd".
func Ordinal[N ~int](n N) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return strconv.Itoa(int(n)) + suffix
}

// Percent writes a forecast's probability, 0 to 1: "18 %". A forecast is never
// certain, so "under 1 %" replaces 0 and "over 99 %" replaces 100.
func Percent(p float64) string {
	switch percent := p * 100; {
	case percent <= 0.5:
		return "under 1 %"
	case percent >= 99.5:
		return "over 99 %"
	}
	return PercentRounded(p)
}

// PercentOrCertain writes a probability, 0 to 1, that may be certain: "0 %" and
// "100 %" are exact. Values close to them are "under 1 %" and "over 99 %".
func PercentOrCertain(p float64) string {
	switch percent := p * 100; {
	case percent > 0 && percent < 1:
		return "under 1 %"
	case percent > 99 && percent < 100:
		return "over 99 %"
	}
	return PercentRounded(p)
}

// PercentRounded writes a share, 0 to 1, rounded to a whole percent, including
// 0 and 100: "72 %".
func PercentRounded(share float64) string { return fmt.Sprintf("%.0f %%", share*100) }

// PercentRange writes the bounds of a share, 0 to 1: "40 to 62 %".
func PercentRange(from, to float64) string { return fmt.Sprintf("%.0f to %.0f %%", from*100, to*100) }

// PercentChange writes a gain or a loss relative to the earlier value: "+12 %",
// "-3 %".
func PercentChange(share float64) string { return fmt.Sprintf("%+.0f %%", share*100) }

// Hours writes a length of time to the minute: "13 h", "12 h 45 min",
// "45 min". Seconds are left out.
func Hours(d time.Duration) string {
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case m == 0:
		return strconv.Itoa(h) + " h"
	case h == 0:
		return strconv.Itoa(m) + " min"
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// AboutMinutes writes an estimate of work in minutes: "about 50 minutes", and
// above 90 minutes "about 2 h 10 min". 0 stands for an unknown amount of work,
// and the result is "".
func AboutMinutes(n int) string {
	switch {
	case n <= 0:
		return ""
	case n <= 90:
		return "about " + Count(n, "minute")
	}
	return "about " + Hours(time.Duration(n)*time.Minute)
}

// Latitude writes degrees north of the equator, to the hundredth: "48.2° N",
// "33° S", "the equator".
func Latitude(degrees float64) string {
	n := strconv.FormatFloat(math.Abs(math.Round(degrees*100)/100), 'f', -1, 64)
	switch {
	case n == "0":
		return "the equator"
	case degrees < 0:
		return n + "° S"
	}
	return n + "° N"
}

// LatitudeInFull writes degrees north of the equator, to the tenth, for a
// caption: "48.2° north", "33.0° south".
func LatitudeInFull(degrees float64) string {
	side := "north"
	if degrees < 0 {
		side = "south"
	}
	return fmt.Sprintf("%.1f° %s", math.Abs(degrees), side)
}
