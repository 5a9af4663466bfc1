package digest

import (
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/finding"
)

// TestSafeWordsAreTheSameAsWithoutShortcuts compares the writer, which remembers
// words and phrases and uses tables, with the same rules written plainly.
func TestSafeWordsAreTheSameAsWithoutShortcuts(t *testing.T) {
	t.Parallel()
	vocabulary := []string{"done", "did", "all", "skip", "later", "undo", "entry", "K7Q2M4", "note", "for", "has", "was", "the", "box", "7", "#7", "3-5", "1.5", "-", "12 May",
		"F03", "f03", "E07", "C27-04", "juno", "28.0 \u00b0C", "M\u00fcller", "\uff44one", "done\u200d", "\u00e9", "e\u0301", "\u6c34", "\U0001f98e", "\u200d", "\ufffd", "\xff"}
	for i := range finding.All {
		for _, v := range finding.All[i].Verbs {
			vocabulary = append(vocabulary, v.Word)
		}
		vocabulary = append(vocabulary, finding.All[i].Takes...)
	}
	for _, words := range []map[string]bool{goesOn, greetings, spelled} {
		vocabulary = append(vocabulary, slices.Sorted(maps.Keys(words))...)
	}
	glue := []string{" ", " ", " ", " ", " ", "  ", ", ", ". ", "; ", ": ", " - ", " (", ") ", "! ", " & ", " \u00b7 ", "\u00a0", "\u2009", "\u2013", "/", " \u201c", "\" ",
		"\u200d", "\u200b", "\u2060", "\ufeff", "\u00ad", "\u061c", "\u202e", "\u206a", "\x07", "\n", " + ", "-", ",", "'", "\u2019", "."}
	word := rapid.Custom(func(t *rapid.T) string {
		w := rapid.SampledFrom(vocabulary).Draw(t, "word")
		switch rapid.IntRange(0, 9).Draw(t, "case") {
		case 0:
			return strings.ToUpper(w)
		case 1:
			return strings.ToUpper(w[:1]) + w[1:]
		case 2:
			return rapid.StringN(1, 3, -1).Draw(t, "any")
		}
		return w
	})
	line := rapid.Custom(func(t *rapid.T) string {
		var b strings.Builder
		for range rapid.IntRange(0, 10).Draw(t, "words") {
			b.WriteString(word.Draw(t, ""))
			b.WriteString(rapid.SampledFrom(glue).Draw(t, "glue"))
		}
		return b.String()
	})
	for name, record := range map[string]func(string) bool{
		"ids with digits": nil,
		"some words": func(id string) bool {
			id = strings.ToLower(id)
			return id == "juno" || id == "box" || id == "f03" || id == "c27-04" || id == "7"
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				w, slow := newWriter(record), slowly{record}
				for _, s := range rapid.SliceOfN(line, 1, 4).Draw(t, "lines") {
					n := rapid.IntRange(1, 30).Draw(t, "number")
					for range 2 { // the second time from memory
						if got, want := w.say(s), slow.say(s); got != want {
							t.Errorf("%q became %q, want %q", s, got, want)
						}
						if got, want := w.sayNumbered(s), slow.sayNumbered(n, s); got != want {
							t.Errorf("%d %q became %q, want %q", n, s, got, want)
						}
					}
					s = slowClean(s)
					numbered := strconv.Itoa(n) + " " + s
					if got, want := w.harmless(anyNumber+s), slow.defuse(numbered) == numbered; got != want {
						t.Errorf("%q is harmless: %t, want %t", numbered, got, want)
					}
				}
			})
		})
	}
}

// slowly is a writer without memory. Its methods and the functions below do what
// those of the same name in safe.go do, and their comments stand there.
type slowly struct {
	record func(id string) bool
}

func slowClean(s string) string {
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

func (w slowly) say(s string) string { return w.defuse(slowClean(s)) }

func (w slowly) sayNumbered(n int, s string) string {
	_, behind, _ := cutSpace(w.defuse(strconv.Itoa(n) + " " + w.say(s)))
	return behind
}

func (w slowly) defuse(s string) string {
	words, gaps := slowSplit(s, true)
	w.hold(words, gaps)
	s = slowJoin(words, gaps)
	if words, gaps = slowSplit(s, false); slowGreeted(words, len(words)) {
		w.hold(words, gaps)
		s = slowJoin(words, gaps)
	}
	return s
}

func (w slowly) hold(words []slowWord, gaps []string) {
	for i := range words {
		j := w.begins(words, gaps, i)
		if j < 0 || slowGuarded(gaps[i]) {
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
		case held >= 0 && !slowGreeted(words[:i], farGreeting):
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

func slowJoin(words []slowWord, gaps []string) string {
	var b strings.Builder
	for i, word := range words {
		b.WriteString(gaps[i])
		b.WriteString(word.text)
	}
	b.WriteString(gaps[len(words)])
	return b.String()
}

func (w slowly) begins(words []slowWord, gaps []string, i int) int {
	next := i + 1
	switch {
	case words[i].plain == "all":
		return i
	case finding.IsCommand(words[i].plain):
		for k := next; words[i].plain == "undo" && k < min(len(words), next+2); k++ {
			if _, tag := tasks.AsTag(words[k].plain); tag && (k == next || words[next].plain == "entry") {
				return k
			}
		}
		if next < len(words) && slowPassable(gaps[next], " ,;.!:-&+()") &&
			(isNumber(words[next].plain) || words[next].plain == "all" || w.isRecord(words[next])) {
			return next
		}
	case isNumber(words[i].plain) || w.isRecord(words[i]):
		if next < len(words) && finding.IsFiller(words[next].plain) && slowPassable(gaps[next], " :-.!)") {
			next++
		}
		if next < len(words) && slowPassable(gaps[next], " :-.!)") && finding.IsVerb(words[next].plain) {
			return next
		}
	}
	return -1
}

func (w slowly) isRecord(word slowWord) bool {
	if w.record != nil {
		return w.record(word.text)
	}
	return strings.ContainsAny(word.plain, "0123456789")
}

func slowGreeted(words []slowWord, n int) bool {
	return slices.ContainsFunc(words[max(0, len(words)-n):], func(w slowWord) bool { return greetings[w.plain] })
}

func slowGuarded(gap string) bool {
	if gap == "" || strings.HasSuffix(gap, " ") {
		return false
	}
	runes := []rune(gap)
	r := lookUpTidy(runes[len(runes)-1])
	return r != 0 && !strings.ContainsRune(",;.!:-&+#", r)
}

func slowPassable(gap, of string) bool {
	for _, r := range gap {
		if r = lookUpTidy(r); r != 0 && r != '#' && !strings.ContainsRune(of, r) {
			return false
		}
	}
	return true
}

type slowWord struct {
	text  string
	plain string // lower case, with the grammar's characters
}

func slowSplit(s string, halves bool) (words []slowWord, gaps []string) {
	runes := []rune(s)
	gap := 0
	for i := 0; i < len(runes); {
		if !slowInWord(runes[i]) {
			i++
			continue
		}
		from := i
		var plain strings.Builder
		for i < len(runes) {
			r := lookUpTidy(runes[i])
			joins := halves && r != 0 && strings.ContainsRune("-.'", r) && slowInWordFrom(runes[i+1:])
			if r != 0 && !slowInWord(r) && !joins {
				break
			}
			if r != 0 {
				plain.WriteRune(unicode.ToLower(r))
			}
			i++
		}
		gaps = append(gaps, string(runes[gap:from]))
		words = append(words, slowWord{string(runes[from:i]), plain.String()})
		gap = i
	}
	return words, append(gaps, string(runes[gap:]))
}

func slowInWord(r rune) bool {
	r = lookUpTidy(r)
	return unicode.In(r, unicode.L, unicode.M, unicode.Nd) || r == '_'
}

func slowInWordFrom(runes []rune) bool {
	for _, r := range runes {
		if lookUpTidy(r) != 0 {
			return slowInWord(r)
		}
	}
	return false
}
