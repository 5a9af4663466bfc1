package reply

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

var spelled = map[string]int{
	"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17,
	"eighteen": 18, "nineteen": 19, "twenty": 20,
}

// tidy turns the characters of a line into the characters of the grammar.
// Full-width forms, typographic dashes and apostrophes, and no-break spaces
// become ASCII. Characters of zero width and control characters are removed,
// and white space becomes single spaces. A removed character may have changed
// what the writer saw; see [disguise].
func tidy(line string) string {
	mapped := strings.Map(func(r rune) rune {
		switch {
		case r >= '\uFF01' && r <= '\uFF5E': // full-width ASCII
			return r - '\uFF01' + '!'
		case r == '\u2010' || r == '\u2011' || r == '\u2012' || r == '\u2013' || r == '\u2014' || r == '\u2212':
			return '-'
		case r == '\u2018' || r == '\u2019':
			return '\''
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cf, unicode.Cc):
			return -1
		}
		return r
	}, strings.ToValidUTF8(line, "\uFFFD"))
	return strings.Join(strings.Fields(mapped), " ")
}

// disguise says why a line cannot be a command as it was written, because the
// writer saw other characters or another order of characters than the grammar
// reads. It returns "" for all other lines. Characters of zero width are no
// disguise: the line looks the same without them.
func disguise(line string) string {
	for _, r := range line {
		switch {
		case isBidi(r):
			return "it has invisible characters that change the direction of writing; type the line anew, without copying it"
		case unicode.Is(unicode.Cc, r) && !unicode.IsSpace(r):
			return "it has control characters; type the line anew, without copying it"
		}
	}
	return ""
}

// isBidi reports whether r is a control of the Unicode bidirectional algorithm (UAX
// #9, section 2), or one of the deprecated controls U+206A to U+206F.
func isBidi(r rune) bool {
	switch {
	case r == '\u061C', r == '\u200E', r == '\u200F', r >= '\u202A' && r <= '\u202E', r >= '\u2066' && r <= '\u206F':
		return true
	}
	return false
}

// lex splits a tidied line into tokens.
func lex(line string) []finding.Token {
	var toks []finding.Token
	gap := true
	for i := 0; i < len(line); {
		if line[i] == ' ' {
			gap = true
			i++
			continue
		}
		if line[i] == '#' && i+1 < len(line) && line[i+1] >= '0' && line[i+1] <= '9' {
			i++ // "#7" means 7
			continue
		}
		t := next(line, i)
		t.Tight = !gap
		gap = false
		i = t.At
		toks = append(toks, t)
	}
	return toks
}

// next returns the token at i.
func next(line string, i int) finding.Token {
	if end := wordEnd(line, i); end > i {
		return word(line[i:end], i, end)
	}
	r, size := utf8.DecodeRuneInString(line[i:])
	kind, ok := punctuation[r]
	if !ok {
		kind = finding.Other
	}
	return finding.Token{Kind: kind, From: i, At: i + size, Raw: line[i : i+size], Word: line[i : i+size]}
}

var punctuation = map[rune]finding.TokenKind{
	',': finding.Comma, ';': finding.Semicolon, '.': finding.Stop, '!': finding.Stop, ':': finding.Colon, '-': finding.Dash,
	'&': finding.And, '+': finding.And, '(': finding.Open, ')': finding.Close,
}

// wordEnd returns the end of the word at i, or i if there is none.
func wordEnd(line string, i int) int {
	end := i
	for end < len(line) {
		r, size := utf8.DecodeRuneInString(line[end:])
		if !isWordRune(r) {
			// A character that joins the halves of an id, a date, a range or a
			// decimal belongs to the word only between two of the word's
			// characters.
			if end == i || !strings.ContainsRune("-.'", r) || end+1 >= len(line) {
				break
			}
			if after, _ := utf8.DecodeRuneInString(line[end+1:]); !isWordRune(after) {
				break
			}
		}
		end += size
	}
	return end
}

func isWordRune(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsMark(r) || unicode.IsDigit(r) || r == '_'
}

func word(s string, from, at int) finding.Token {
	t := finding.Token{Kind: finding.Word, Word: strings.ToLower(s), Raw: s, From: from, At: at}
	if n, ok := figure(s); ok {
		t.Kind, t.N = finding.Number, n
		return t
	}
	if n, ok := spelled[t.Word]; ok {
		t.Kind, t.N = finding.Number, n
		return t
	}
	if d, err := civil.Parse(s); err == nil {
		t.Kind, t.Date = finding.Date, d
		return t
	}
	if a, b, ok := strings.Cut(s, "-"); ok {
		n, ok1 := figure(a)
		to, ok2 := figure(b)
		if ok1 && ok2 {
			t.Kind, t.N, t.To = finding.Range, n, to
			return t
		}
	}
	if t.Word == "and" {
		t.Kind = finding.And
	}
	return t
}

// figure reads a number in ASCII digits, up to finding.MaxNumber.
func figure(s string) (int, bool) {
	if len(s) == 0 || len(s) > len("9999") || strings.Trim(s, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(s)
	return n, err == nil && n <= finding.MaxNumber
}
