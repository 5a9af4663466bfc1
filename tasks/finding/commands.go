package finding

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks/husbandry"
)

// commands begin a command of a reply that is no finding.
var commands = map[string]bool{"done": true, "did": true, "all": true, "skip": true, "skipped": true, "later": true, "undo": true, "note": true}

// IsCommand reports whether a word in lower case begins a command of a reply
// that is no finding: "done", "skip".
func IsCommand(word string) bool { return commands[word] }

// IsVerb reports whether a word in lower case can stand where the verb of a
// finding stands.
func IsVerb(word string) bool {
	r, _ := rowOf(word)
	return r != nil
}

// IsFirstVerb reports whether a word is a verb of a finding that the first
// version of the daybook had.
func IsFirstVerb(word string) bool {
	r, _ := rowOf(word)
	return r != nil && r.Since <= FirstVersion
}

// IsComplete reports whether a word in lower case is a whole finding behind a
// number: "refused".
func IsComplete(word string) bool {
	_, v := rowOf(word)
	return v.Complete
}

// MayGoOn reports whether a word in lower case may belong to the finding before
// it.
func MayGoOn(word string) bool { return goesOn[word] }

// ReadsAsCommand reports whether a line begins as a command of a reply does: by
// a verb, by a number, or by a word that answers. Verbs that came with a later
// version do not count, so that titles which keepers have already, such as "Shed
// check", stay as they are.
func ReadsAsCommand(line string) bool {
	first, _, _ := strings.Cut(line, " ")
	first = strings.ToLower(strings.TrimRight(first, ".,:;!)"))
	switch first {
	case "", "none", "yes", "no", "ok":
		return true
	}
	if v, ok := Leading(first); ok && IsFirstVerb(v.Word) || commands[first] {
		return true
	}
	r, _ := utf8.DecodeRuneInString(first)
	return unicode.IsDigit(r) || r == '#' || r == '>'
}

// ToRecord says what a task that asks for findings wants recorded: "the weight
// and the water" in parts. Findings without such words are left out.
func ToRecord(asks []husbandry.FindingName) []string {
	return wordsOf(asks, func(r *Row) string { return r.Record })
}

// ForSitter says what a stand-in is to write down of a task that asks for
// findings, as ToRecord does.
func ForSitter(asks []husbandry.FindingName) []string {
	return wordsOf(asks, func(r *Row) string { return r.Sitter })
}

func wordsOf(asks []husbandry.FindingName, words func(*Row) string) []string {
	var all []string
	for _, name := range asks {
		if r := byName[name]; r != nil && words(r) != "" {
			all = append(all, words(r))
		}
	}
	return all
}
