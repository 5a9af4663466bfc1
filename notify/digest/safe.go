package digest

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/finding"
)

// clean turns words of the caller into a single line of text. Control
// characters and line ends of any kind become spaces, invisible and reordering
// characters are removed, and several spaces become one.
func clean(s string) string {
	if isClean(s) {
		return s
	}
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case isRemoved(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Join(strings.Fields(s), " ")
}

// isClean reports whether clean returns s itself. Most strings are clean, and
// checking a string costs much less than making a clean copy.
func isClean(s string) bool {
	after := ' ' // the character before, as if a space stood before s
	for i, r := range s {
		switch {
		case r == ' ' && after == ' ', r != ' ' && unicode.IsSpace(r), unicode.IsControl(r), isRemoved(r):
			return false
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\uFFFD"): // no valid UTF-8
			return false
		}
		after = r
	}
	return s == "" || after != ' '
}

// isRemoved reports whether r is invisible or changes the order of other
// characters.
func isRemoved(r rune) bool {
	return r == 0x200B || r == 0x2060 || r == 0xFEFF || r == 0xAD || // zero width
		r == 0x61C || r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x206F // reordering
}

// writer makes the strings of a digest. It is not safe for concurrent use.
type writer struct {
	// record reports whether the books have a record with that id.
	record func(id string) bool
	*memory
}

// memory keeps the results of a writer for the phrases and words that it has
// handled, because the same phrases and words stand on many lines of a digest.
type memory struct {
	said, numbered map[string]string
	lexemes        map[string]*lexeme // by the word's text
	words          []word             // of the line that split returned last
	gaps           []string
}

func newWriter(record func(id string) bool) writer {
	return writer{record, &memory{
		said: make(map[string]string), numbered: make(map[string]string), lexemes: make(map[string]*lexeme),
	}}
}

// say makes words safe as a line of the digest: clean, and not a command.
func (w writer) say(s string) string {
	said, ok := w.said[s]
	if !ok {
		said = w.defuse(clean(s))
		w.said[s] = said
	}
	return said
}

// anyNumber stands for any task number in a check of the words behind the
// number. The grammar treats all numbers alike.
const anyNumber = "7 "

// sayNumbered does the same as say for words after or below a number.
func (w writer) sayNumbered(s string) string {
	said, ok := w.numbered[s]
	if !ok {
		_, said, _ = cutSpace(w.defuse(anyNumber + w.say(s)))
		w.numbered[s] = said
	}
	return said
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
func (w writer) defuse(s string) string {
	words, gaps := w.split(s, true)
	// The dash of "Hello-done 3" may end a greeting, so that "done" begins a
	// command. The grammar splits words at dashes only after a greeting.
	halves := slices.ContainsFunc(words, func(w word) bool { return w.greetsInPart })
	if w.hold(words, gaps) {
		s = join(words, gaps)
	}
	if !halves {
		return s
	}
	if words, gaps = w.split(s, false); w.hold(words, gaps) {
		s = join(words, gaps)
	}
	return s
}

// hold does the work of defuse for one way of splitting s into words. It
// reports whether it changed a word or a gap.
func (w writer) hold(words []word, gaps []string) (changed bool) {
	for i := range words {
		j := w.begins(words, gaps, i)
		if j < 0 || guarded(gaps[i]) {
			continue
		}
		changed = true
		alone := words[i].all
		// A no-break space after word j helps only if the words up to j are a
		// command without any further word, and the grammar refuses them
		// together with the next word.
		holds := j+1 < len(words) && gaps[j+1] == " " && !words[j+1].goesOn && (alone || words[j].complete)
		// A word joined to "and" could still begin a command, because "and"
		// separates commands. So look for the word before "and".
		held := i - 1
		for held >= 0 && words[held].plain == "and" {
			held--
		}
		switch {
		case held >= 0 && !greeted(words[:i]):
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
	return changed
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
	case words[i].all:
		return i
	case next == len(words):
		return -1
	case words[i].command:
		if j := tagged(words, i); j > 0 {
			return j
		}
		if passable(gaps[next], " ,;.!:-&+()") && (words[next].number || words[next].all || w.isRecord(words[next])) {
			return next
		}
		return -1
	}
	// Look for the verb before the number or record, because few words are
	// verbs and most searches end here.
	if words[next].filler && passable(gaps[next], " :-.!)") {
		next++
	}
	if next < len(words) && words[next].verb && passable(gaps[next], " :-.!)") && (words[i].number || w.isRecord(words[i])) {
		return next
	}
	return -1
}

// tagged returns the index of the tag if the words from word i on are "undo K7Q2M4"
// or "undo entry K7Q2M4"; otherwise it returns -1.
func tagged(words []word, i int) int {
	next := i + 1
	if words[i].plain != "undo" {
		return -1
	}
	if next+1 < len(words) && words[next].plain == "entry" {
		next++
	}
	if next < len(words) && words[next].tag {
		return next
	}
	return -1
}

func (w writer) isRecord(word word) bool {
	if w.record != nil {
		return w.record(word.text)
	}
	return strings.ContainsAny(word.plain, "0123456789")
}

// greeted reports whether one of the last words may begin a greeting or a
// courtesy, because the grammar skips greetings and courtesies.
func greeted(words []word) bool {
	return slices.ContainsFunc(words[max(0, len(words)-farGreeting):], func(w word) bool { return w.greets })
}

// guarded reports whether gap ends in a mark that cannot be separated from the
// next word and cannot precede a command.
func guarded(gap string) bool {
	if gap == "" || strings.HasSuffix(gap, " ") {
		return false
	}
	r, _ := utf8.DecodeLastRuneInString(gap)
	r = tidy(r)
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

// word is a word of a line.
type word struct {
	text string
	*lexeme
}

// lexeme is a word as the reply grammar reads it.
type lexeme struct {
	plain string // lower case, with the grammar's characters

	all, command, filler, verb, number bool
	tag                                bool // has the form of an entry's tag
	complete                           bool // a finding on its own, behind a number
	goesOn                             bool // may belong to the command before it
	greets                             bool
	greetsInPart                       bool // it greets, or a part of it between dashes does
}

func newLexeme(text string) *lexeme {
	var b strings.Builder
	for _, r := range text {
		if r = tidy(r); r != 0 {
			b.WriteRune(unicode.ToLower(r))
		}
	}
	plain := b.String()
	number := isNumber(plain)
	_, tag := tasks.AsTag(plain)
	return &lexeme{
		plain:    plain,
		all:      plain == "all",
		command:  finding.IsCommand(plain),
		filler:   finding.IsFiller(plain),
		verb:     finding.IsVerb(plain),
		number:   number,
		tag:      tag,
		complete: finding.IsComplete(plain),
		goesOn:   goesOn[plain] || finding.MayGoOn(plain) || number,
		greets:   greetings[plain],
		greetsInPart: slices.ContainsFunc(strings.FieldsFunc(plain, joinsHalves),
			func(part string) bool { return greetings[part] }),
	}
}

// split splits s into words and the gaps before, between and after them. A word
// consists of letters, marks and digits. If halves is set, it also includes
// characters that join the halves of an id or a decimal ("C27-04", "1.5"). The
// results are valid until the next call.
func (m *memory) split(s string, halves bool) (words []word, gaps []string) {
	words, gaps = m.words[:0], m.gaps[:0]
	gap := 0
	for i := 0; i < len(s); {
		r, size := utf8.DecodeRuneInString(s[i:])
		if !inWord(tidy(r)) {
			i += size
			continue
		}
		from := i
		for i < len(s) {
			r, size := utf8.DecodeRuneInString(s[i:])
			r = tidy(r)
			if r != 0 && !inWord(r) && !(halves && joinsHalves(r) && beginsInWord(s[i+size:])) {
				break
			}
			i += size
		}
		text := s[from:i]
		l := m.lexemes[text]
		if l == nil {
			l = newLexeme(text)
			m.lexemes[text] = l
		}
		words, gaps = append(words, word{text, l}), append(gaps, s[gap:from])
		gap = i
	}
	m.words, m.gaps = words, append(gaps, s[gap:])
	return m.words, m.gaps
}

func joinsHalves(r rune) bool { return r == '-' || r == '.' || r == '\'' }

// beginsInWord reports whether the first visible character of s is part of a
// word.
func beginsInWord(s string) bool {
	for _, r := range s {
		if r = tidy(r); r != 0 {
			return inWord(r)
		}
	}
	return false
}

// latin has the first characters of Unicode, which most text consists of: what
// tidy and inWord return for them.
var latin = func() (table [0x250]struct {
	tidy   rune
	inWord bool
}) {
	for r := range rune(len(table)) {
		table[r].tidy, table[r].inWord = lookUpTidy(r), lookUpInWord(r)
	}
	return table
}()

// inWord reports whether r, as tidy returns it, is part of a word.
func inWord(r rune) bool {
	if int(r) < len(latin) {
		return latin[r].inWord
	}
	return lookUpInWord(r)
}

func lookUpInWord(r rune) bool { return unicode.In(r, unicode.L, unicode.M, unicode.Nd) || r == '_' }

// tidy returns r as the reply grammar reads it: full-width forms, dashes and
// apostrophes become ASCII. It returns 0 for characters that the grammar
// ignores.
func tidy(r rune) rune {
	if int(r) < len(latin) {
		return latin[r].tidy
	}
	return lookUpTidy(r)
}

func lookUpTidy(r rune) rune {
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
