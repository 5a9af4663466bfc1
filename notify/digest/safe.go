package digest

import (
	"slices"
	"strconv"
	"strings"
	"unicode"

	"nestround/tasks/finding"
)

// clean makes one line of text of foreign words: control characters and line
// ends of any kind become spaces, characters that hide or reorder what stands
// next to them are left out, and spaces are single.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case r == 0x200B, r == 0x2060, r == 0xFEFF, r == 0xAD, // without width
			r == 0x61C, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x206F: // reordering
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Join(strings.Fields(s), " ")
}

// writer makes the digest's strings.
type writer struct {
	// record reports whether the books have a record of that id.
	record func(id string) bool
}

// say makes words fit to be a line of the digest: clean, and no command.
func (w writer) say(s string) string { return w.defuse(clean(s)) }

// sayNumbered is say for words that stand behind a number, or below it.
func (w writer) sayNumbered(n int, s string) string {
	_, behind, _ := cutSpace(w.defuse(strconv.Itoa(n) + " " + w.say(s)))
	return behind
}

// cutSpace cuts s at its first space, which may be a no-break one.
func cutSpace(s string) (before, after string, found bool) {
	i := strings.IndexFunc(s, unicode.IsSpace)
	if i < 0 {
		return s, "", false
	}
	return s[:i], strings.TrimLeftFunc(s[i:], unicode.IsSpace), true
}

// What the digest must know of the reply grammar, beside the findings. A test
// makes sentences of the grammar's own words and has the grammar read their
// pieces.
var (
	goesOn    = set("and", "but", "except", "excepting", "done", "please", "thanks", "thank", "cheers")
	greetings = set("hi", "hello", "hey", "hallo", "dear", "good", "morning", "evening", "thanks", "thank", "ok", "okay", "yes", "please", "cheers")
	spelled   = set("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
		"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty")
)

const (
	// between a verb and its number, a stroke makes words that are no command.
	stroke  = "/"
	noBreak = "\u00a0"
	// farGreeting is how many words a greeting before a command has at most.
	farGreeting = 4
)

func set(words ...string) map[string]bool {
	m := make(map[string]bool, len(words))
	for _, w := range words {
		m[w] = true
	}
	return m
}

// defuse changes s, which is clean, so that no piece of it is a command of the
// reply grammar, wherever a mail program breaks it at spaces.
//
// A piece can be a command only where one begins: at a verb with its number
// ("last done 7 May"), at a number or a record with a finding ("F03 laid 6"),
// or at "all". Such a word is held to the one before it by a no-break space,
// so that no piece begins there; readers see no difference. At the beginning
// of s nothing stands before it, and then a stroke separates the two ("done /
// 3"), or the end is held instead ("All bowls", "Gravid check"), or "all" is
// put in quotation marks. Ordinary titles and reasons never need that.
func (w writer) defuse(s string) string {
	words, gaps := split(s, true)
	w.hold(words, gaps)
	s = join(words, gaps)
	// The dash in "Hello-done 3" ends a greeting and joins no halves.
	if words, gaps = split(s, false); greeted(words, len(words)) {
		w.hold(words, gaps)
		s = join(words, gaps)
	}
	return s
}

// hold is defuse for one way to part words.
func (w writer) hold(words []word, gaps []string) {
	for i := range words {
		j := w.begins(words, gaps, i)
		if j < 0 || guarded(gaps[i]) {
			continue
		}
		alone := words[i].plain == "all"
		// Does a break behind word j leave it incomplete, or make it no command?
		holds := j+1 < len(words) && gaps[j+1] == " " && !goesOn[words[j+1].plain] && !finding.MayGoOn(words[j+1].plain) && !isNumber(words[j+1].plain) &&
			(alone || finding.IsComplete(words[j].plain))
		// "and" parts commands and so holds none back.
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

// begins reports whether a command may begin at word i, by the index of the
// word that makes it one, or -1.
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
// courtesy, which the grammar skips.
func greeted(words []word, n int) bool {
	return slices.ContainsFunc(words[max(0, len(words)-n):], func(w word) bool { return greetings[w.plain] })
}

// guarded reports whether gap ends in a mark that the word behind it cannot be
// parted from and that begins no command.
func guarded(gap string) bool {
	if gap == "" || strings.HasSuffix(gap, " ") {
		return false
	}
	runes := []rune(gap)
	r := tidy(runes[len(runes)-1])
	return r != 0 && !strings.ContainsRune(",;.!:-&+#", r)
}

// passable reports whether a gap holds nothing but the given characters, and
// the sign before a number ("done #3").
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

// split parts s into words and the gaps before, between and behind them. A
// word is letters, marks and digits, where halves is set with what joins the
// halves of an id or a decimal ("C27-04", "1.5").
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

// inWordFrom reports whether the first visible rune is one of a word.
func inWordFrom(runes []rune) bool {
	for _, r := range runes {
		if tidy(r) != 0 {
			return inWord(r)
		}
	}
	return false
}

// tidy returns r as the reply grammar reads it: full-width forms, dashes and
// apostrophes as in ASCII; 0 where it reads nothing.
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
