package diag

import (
	"strings"
	"unicode"

	"nestround/tasks/english"
)

// DidYouMean returns a hint such as "did you mean `x`?" if Suggest finds
// candidates, and "" otherwise.
func DidYouMean(got string, candidates []string) string {
	s := Suggest(got, candidates)
	if len(s) == 0 {
		return ""
	}
	quoted := make([]string, len(s))
	for i, name := range s {
		quoted[i] = "`" + name + "`"
	}
	return "did you mean " + english.Or(quoted) + "?"
}

// mostSuggestions is the largest number of candidates that are still a help. If
// E99 is missing and E09, E19, ... are all one letter away, a suggestion would
// not help.
const mostSuggestions = 3

// Suggest returns the candidates that the writer of got most likely meant, in
// the order of candidates. It searches in four ways, and returns the result of
// the first way that finds a candidate: candidates that differ from got only in
// case, separators and leading zeros; common words for a candidate, such as
// "sire" for "father"; candidates with the fewest letters changed, left out,
// added or swapped; and candidates that got abbreviates. Suggest returns nil if
// no way finds a candidate, or if the first way that does finds more than
// mostSuggestions.
func Suggest(got string, candidates []string) []string {
	plain := simplify(got)
	if plain == "" {
		return nil
	}
	for _, near := range []func() []string{
		func() []string { return same(plain, candidates) },
		func() []string { return mixedUp(plain, candidates) },
		func() []string { return nearest(plain, candidates) },
		func() []string { return shortened(plain, candidates) },
	} {
		if s := near(); len(s) > mostSuggestions {
			return nil
		} else if len(s) > 0 {
			return s
		}
	}
	return nil
}

func same(plain string, candidates []string) (found []string) {
	for _, c := range candidates {
		if simplify(c) == plain {
			found = append(found, c)
		}
	}
	return found
}

func mixedUp(plain string, candidates []string) (found []string) {
	for _, want := range mixUps[plain] {
		for _, c := range candidates {
			if c == want {
				found = append(found, c)
			}
		}
	}
	return found
}

func nearest(plain string, candidates []string) (found []string) {
	best := 1 + len(plain)/4 // letters that may differ: one in a word of three letters, two in a word of four to seven
	if len(plain) < 3 {
		best = 0 // otherwise any two words of two letters would count as similar
	}
	best = min(best, 3)
	for _, c := range candidates {
		d := distance(plain, simplify(c), best)
		if d > best || d == 0 {
			continue
		}
		if d < best {
			best, found = d, nil
		}
		found = append(found, c)
	}
	return found
}

func shortened(plain string, candidates []string) (found []string) {
	if len(plain) < 3 {
		return nil
	}
	for _, c := range candidates {
		s := simplify(c)
		if strings.HasPrefix(s, plain) || len(s) >= 3 && strings.HasPrefix(plain, s) {
			found = append(found, c)
		}
	}
	return found
}

// simplify removes differences that people do not notice: case, separators, and
// leading zeros of numbers.
func simplify(s string) string {
	var b strings.Builder
	digits := false // inside a number, after its leading zeros
	for i, r := range s {
		switch {
		case r == '-' || r == '_' || r == '.' || unicode.IsSpace(r):
			digits = false
			continue
		case r == '0' && !digits && i+1 < len(s) && s[i+1] >= '0' && s[i+1] <= '9':
			continue
		}
		digits = r >= '0' && r <= '9'
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// distance counts the letters to change, drop, add or swap with their neighbour
// to turn a into b (optimal string alignment). It returns a number above most
// as soon as the count must exceed most.
func distance(a, b string, most int) int {
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		least := i
		for j := 1; j <= len(b); j++ {
			change := last[j-1]
			if a[i-1] != b[j-1] {
				change++
			}
			row[j] = min(change, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
			least = min(least, row[j])
		}
		if least > most {
			return most + 1
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}

// mixUps lists common words for the keys of the books, simplified, with the
// keys they may stand for. Suggest proposes only keys that are among its
// candidates.
var mixUps = map[string][]string{
	"birthday":    {"hatched"},
	"born":        {"hatched"},
	"dob":         {"hatched"},
	"hatchdate":   {"hatched"},
	"bought":      {"acquired"},
	"got":         {"acquired"},
	"died":        {"left"},
	"dead":        {"left"},
	"sold":        {"left"},
	"sire":        {"father", "male"},
	"dam":         {"mother", "female"},
	"gender":      {"sex"},
	"m":           {"male"},
	"f":           {"female"},
	"unknown":     {"unsexed"},
	"baby":        {"hatchling"},
	"neonate":     {"hatchling"},
	"young":       {"juvenile"},
	"cage":        {"enclosure", "enclosures"},
	"tank":        {"enclosure", "enclosures"},
	"terrarium":   {"enclosure", "enclosures"},
	"viv":         {"enclosure", "enclosures"},
	"vivarium":    {"enclosure", "enclosures"},
	"lizard":      {"animal", "animals"},
	"shelf":       {"rack", "racks"},
	"lay":         {"laid", "laying"},
	"date":        {"laid", "from"},
	"temp":        {"temperature"},
	"qty":         {"count"},
	"quantity":    {"count"},
	"number":      {"count", "eggs"},
	"infertile":   {"slugs"},
	"group":       {"from"},
	"taken":       {"since"},
	"isolation":   {"quarantine"},
	"isolated":    {"quarantine"},
	"expiry":      {"expires"},
	"expiration":  {"expires"},
	"validuntil":  {"expires"},
	"reminder":    {"remind"},
	"licence":     {"permit"},
	"license":     {"permit"},
	"lid":         {"tub"},
	"comment":     {"note"},
	"remark":      {"note"},
	"remarks":     {"note"},
	"label":       {"name"},
	"warning":     {"caution"},
	"interval":    {"every", "since_last"},
	"frequency":   {"every", "since_last"},
	"repeat":      {"every", "since_last"},
	"schedule":    {"cron", "weekdays", "every"},
	"on":          {"weekdays", "from"},
	"days":        {"every", "since_last"},
	"type":        {"kind"},
	"begin":       {"from", "began"},
	"start":       {"from", "began"},
	"since":       {"from", "began"},
	"end":         {"until"},
	"to":          {"until"},
	"till":        {"until"},
	"duration":    {"minutes"},
	"sitter":      {"cover"},
	"timezone":    {"zone"},
	"tz":          {"zone"},
	"lat":         {"latitude"},
	"time":        {"at"},
	"email":       {"to"},
	"recipient":   {"to"},
	"sender":      {"from"},
	"host":        {"smtp", "imap"},
	"server":      {"smtp", "imap"},
	"username":    {"user"},
	"login":       {"user"},
	"ssl":         {"tls"},
	"folder":      {"mailbox"},
	"port":        {"listen"},
	"imperial":    {"us"},
	"topup":       {"nest-top-up"},
	"feeding":     {"feed"},
	"dust":        {"supplement"},
	"watering":    {"water"},
	"misting":     {"mist"},
	"spray":       {"mist"},
	"cleaning":    {"clean"},
	"hatch":       {"hatching", "hatch-watch"},
	"custom":      {"own"},
	"other":       {"own"},
	"overdue":     {"stays"},
	"expires":     {"lapses"},
	"latin":       {"scientific"},
	"binomial":    {"scientific"},
	"settings":    {"keeper"},
	"egg":         {"eggs", "clutch"},
	"conditions":  {"states"},
	"authserv":    {"authserv_id"},
	"certificate": {"ca_file"},
}
