// Package english words numbers, dates, lists and plurals: "6 eggs", "the 3rd",
// "22-28 June", "a, b and c", "under 1 %".
//
// No other package words them, and a test of the sources enforces this rule. So
// a keeper reads the same words in the mail, the calendar, the terminal and the
// pictures, and an irregular plural is listed in only one place. Start with
// [Count], [Day] and [List].
//
// Every function is pure. No function reads the clock: the caller passes the
// day relative to which a date is worded.
//
// The types of tasks/husbandry word quantities with a unit (28.0 °C, 41 g, 60
// ml). Whole sentences are in the packages that decide their content.
package english

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// List joins words with commas, and the last two with "and": "Ada, Bea and
// Cleo". No words give "".
func List(words []string) string { return joined(words, " and ") }

// Or joins words with commas, and the last two with "or": "C1, C2 or C3". No
// words give "".
func Or(words []string) string { return joined(words, " or ") }

func joined(words []string, last string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + last + words[n-1]
	}
	return strings.Join(words, "")
}

// UpperFirst prepares a text for the beginning of a sentence: "clutch C27-04"
// becomes "Clutch C27-04".
func UpperFirst(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if first == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// LowerFirst prepares a name for the middle of a sentence: "Wall lizard"
// becomes "wall lizard". If a later word of the name begins with a capital, the
// name is a proper name and does not change: "Ibiza Wall Lizard".
func LowerFirst(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if first == utf8.RuneError {
		return s
	}
	words := strings.Fields(s)
	for _, word := range words[min(1, len(words)):] {
		if r, _ := utf8.DecodeRuneInString(word); unicode.IsUpper(r) {
			return s
		}
	}
	return string(unicode.ToLower(first)) + s[size:]
}

// Article writes a noun with its indefinite article: "an enclosure", "a rack".
// The first letter decides, which is right for the nouns of the records; "hour"
// and "unit" would be wrong.
func Article(noun string) string {
	if noun != "" && strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}
