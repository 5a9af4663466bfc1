package digest

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"nestround/tasks/finding"
)

// clean turns foreign words into a single line of text. Control characters and
// line ends of any kind become spaces, invisible and reordering characters are
// removed, and several spaces become one.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case r == 0x200B, r == 0x2060, r == 0xFEFF, r == 0xAD, // zero width
			r == 0x61C, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x206F: // reordering
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Join(strings.Fields(s), " ")
}

// writer makes the strings of the digest.
type writer struct {
	// record reports whether the books have a record with that id.
	record func(id string) bool
}

// say makes words safe as a line of the digest: clean, and not a command.
func (w writer) say(s string) string { return w.defuse(clean(s)) }

// sayNumbered does the same as say for words after or below a number.
func (w writer) sayNumbered(n int, s string) string {
	_, behind, _ := cutSpace(w.defuse(strconv.Itoa(n) + " " + w.say(s)))
	return behind
}

// cutSpace cuts s at its first space, including a no-break space.
func cutSpace(s string) (before, after string, found bool) {
	i := strings.IndexFunc(s, unicode.IsSpace)
	if i < 0 {
		return s, "", false
	}
	return s[:i], strings.TrimLeftFunc(s[i:], unicode.IsSpace), true
}

// The parts of the reply grammar that the digest must know, in addition to the
// findings. A test builds sentences from the grammar's own words and lets the
// grammar read their pieces.
var (
	goesOn    = set("and", "but", "except", "excepting", "done", "please", "thanks", "thank", "cheers")
	greetings = set("hi", "hello", "hey", "hallo", "dear", "good", "morning", "evening", "thanks", "thank", "ok", "okay", "yes", "please", "cheers")
	spelled   = set("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
		"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")
)

const (
	// A stroke between a verb and its number makes sure that they are not a
	// command.
	stroke  = "/"
	noBreak = "\u00a0"
	// farGreeting is the largest number of words in a greeting before a
	// command.
	farGreeting = 4
)

func set(words ...string) map[string]bool {
	m := make(map[string]bool, len(words))
	for _, w := range words {
		m[w] = true
	}
	return m
}

// defuse changes s, which must be clean, so that no piece of it is a command of
// the reply grammar. A mail program may break s at any space.
//
// A command can begin only at a verb with its number ("last done 7 May"), at a
// number or a record with a finding ("F03 laid 6"), or at "all". A no-break
// space joins such a word to the word before it, so that no piece begins there;
// readers see no difference. At the beginning of s there is no word to join to.
// Then a no-break space joins the end of the command to the next word ("All
// bowls", "Gravid check"), or "all" gets quotation marks, or a stroke separates
// verb and number ("done / 3"). Ordinary titles and reasons never need the
// marks or the stroke.
// put in quotation marks. Ordinary titles and reasons never need that.
func (w writer) defuse(s string) string {
	words, gaps := split(s, true)
	w.hold(words, gaps)
	s = join(words, gaps)
	// Split "Hello-done 3" at the dash too: the dash may end a greeting.
	if words, gaps = split(s, false); greeted(words, len(words)) {
		w.hold(words, gaps)
		s = join(words, gaps)
	}
	return s
}

// hold does the work of defuse for one way of splitting s into words.
func (w writer) hold(words []word, gaps []string) {
	for i := range words {
		j := w.begins(words, gaps, i)
		if j < 0 || guarded(gaps[i]) {
			continue
		}
		alone := words[i].plain == "all"
		// A no-break space after word j helps only if the words up to j are a
		// command on their own, and the next word ends the command's meaning.
		holds := j+1 < len(words) && gaps[j+1] == " " && !goesOn[words[j+1].plain] && !finding.MayGoOn(words[j+1].plain) && !isNumber(words[j+1].plain) &&
			(alone || finding.IsComplete(words[j].plain))
		// "and" separates commands, so joining to it would not help.
		held := i - 1
		for held >= 0 && words[held].plain == "and" {
			held--
		}
		switch {
		case held >= 0 && !greeted(words[:i], farGreeting):
			for k := held + 1; k <= i; k++ {
				gaps[k] = strings.ReplaceAll(gaps[k], " ", noBreak)
			}
		case i == 0 && holds:
			gaps[j+1] = noBreak
		case alone:
			words[i].text = `"` + words[i].text + `"`
		default:
			gaps[j] = strings.TrimRight(gaps[j], " ") + " " + stroke + " "
		}
	}
}

func join(words []word, gaps []string) string {
	var b strings.Builder
	for i, word := range words {
		b.WriteString(gaps[i])
		b.WriteString(word.text)
	}
	b.WriteString(gaps[len(words)])
	return b.String()
}

// begins returns the index of the word that completes a command beginning at
// word i; -1 if no command begins there.
func (w writer) begins(words []word, gaps []string, i int) int {
	next := i + 1
	switch {
	case words[i].plain == "all":
		return i
	case finding.IsCommand(words[i].plain):
		if next < len(words) && passable(gaps[next], " ,;.!:-&+()") &&
			(isNumber(words[next].plain) || words[next].plain == "all" || w.isRecord(words[next])) {
			return next
		}
	case isNumber(words[i].plain) || w.isRecord(words[i]):
		if next < len(words) && finding.IsFiller(words[next].plain) && passable(gaps[next], " :-.!)") {
			next++
		}
		if next < len(words) && passable(gaps[next], " :-.!)") && finding.IsVerb(words[next].plain) {
			return next
		}
	}
	return -1
}

func (w writer) isRecord(word word) bool {
	if w.record != nil {
		return w.record(word.text)
	}
	return strings.ContainsAny(word.plain, "0123456789")
}

// greeted reports whether one of the last n words may begin a greeting or a
// courtesy. The grammar skips these.
func greeted(words []word, n int) bool {
	return slices.ContainsFunc(words[max(0, len(words)-n):], func(w word) bool { return greetings[w.plain] })
}

// guarded reports whether gap ends in a mark that cannot be separated from the
// next word and cannot precede a command.
func guarded(gap string) bool {
	if gap == "" || strings.HasSuffix(gap, " ") {
		return false
	}
	runes := []rune(gap)
	r := tidy(runes[len(runes)-1])
	return r != 0 && !strings.ContainsRune(",;.!:-&+#", r)
}

// passable reports whether a gap has only the given characters and the sign
// before a number ("done #3").
func passable(gap, of string) bool {
	for _, r := range gap {
		if r = tidy(r); r != 0 && r != '#' && !strings.ContainsRune(of, r) {
			return false
		}
	}
	return true
}

func isNumber(w string) bool {
	return spelled[w] || w != "" && strings.Trim(w, "0123456789-") == "" && strings.Trim(w, "-") != ""
}

// word is a word of a line as the reply grammar reads it.
type word struct {
	text  string
	plain string // lower case, with the grammar's characters
}

// split splits s into words and the gaps before, between and after them. A word
// consists of letters, marks and digits. If halves is set, it also includes
// characters that join the halves of an id or a decimal ("C27-04", "1.5").
func split(s string, halves bool) (words []word, gaps []string) {
	runes := []rune(s)
	gap := 0
	for i := 0; i < len(runes); {
		if !inWord(runes[i]) {
			i++
			continue
		}
		from := i
		var plain strings.Builder
		for i < len(runes) {
			r := tidy(runes[i])
			joins := halves && r != 0 && strings.ContainsRune("-.'", r) && inWordFrom(runes[i+1:])
			if r != 0 && !inWord(r) && !joins {
				break
			}
			if r != 0 {
				plain.WriteRune(unicode.ToLower(r))
			}
			i++
		}
		gaps = append(gaps, string(runes[gap:from]))
		words = append(words, word{string(runes[from:i]), plain.String()})
		gap = i
	}
	return words, append(gaps, string(runes[gap:]))
}

func inWord(r rune) bool {
	r = tidy(r)
	return unicode.In(r, unicode.L, unicode.M, unicode.Nd) || r == '_'
}

// inWordFrom reports whether the first visible rune is part of a word.
func inWordFrom(runes []rune) bool {
	for _, r := range runes {
		if tidy(r) != 0 {
			return inWord(r)
		}
	}
	return false
}

// tidy returns r as the reply grammar reads it: full-width forms, dashes and
// apostrophes become ASCII. It returns 0 for characters that the grammar
// ignores.
func tidy(r rune) rune {
	switch {
	case r >= '\uFF01' && r <= '\uFF5E':
		return r - '\uFF01' + '!'
	case r >= '\u2010' && r <= '\u2014' || r == '\u2212':
		return '-'
	case r == '\u2018' || r == '\u2019':
		return '\''
	case unicode.Is(unicode.Cf, r):
		return 0
	case unicode.IsSpace(r):
		return ' '
	}
	return r
}
