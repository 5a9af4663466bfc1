package finding

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks/husbandry"
)

// commands are the words that begin a command of a reply, other than a finding.
var commands = map[string]bool{"done": true, "did": true, "all": true, "skip": true, "skipped": true, "later": true, "undo": true, "note": true}

// IsCommand reports whether a word in lower case begins a command of a reply,
// other than a finding: "done", "skip".
func IsCommand(word string) bool { return commands[word] }

// IsVerb reports whether a word in lower case may be the verb of a finding.
func IsVerb(word string) bool {
	r, _ := rowOf(word)
	return r != nil
}

// IsFirstVerb reports whether a word is a verb of a finding of the daybook's
// first version.
func IsFirstVerb(word string) bool {
	r, _ := rowOf(word)
	return r != nil && r.Since <= FirstVersion
}

// IsComplete reports whether a word in lower case, after a number, is a
// complete finding: "refused".
func IsComplete(word string) bool {
	_, v := rowOf(word)
	return v.Complete
}

// MayGoOn reports whether a word in lower case may continue the finding before
// it.
func MayGoOn(word string) bool { return goesOn[word] }

// ReadsAsCommand reports whether a line begins like a command of a reply: with
// a verb, with a number, or with a word such as "done". Verbs of later versions
// of the daybook do not count, so that titles in existing books, such as "Shed
// check", remain valid.
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

// ToRecord returns the words for the findings that a task asks for, one entry
// each: "the weight", "the water". It leaves out findings without such words.
func ToRecord(asks []husbandry.FindingName) []string {
	return wordsOf(asks, func(r *Row) string { return r.Record })
}

// ForSitter returns the words for the findings that a stand-in should write
// down, one entry each. It leaves out findings that only the keeper records.
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
