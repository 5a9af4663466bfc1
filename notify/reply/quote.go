package reply

import (
	"strings"
	"unicode"

	"nestround/notify"
)

// Own returns the lines that the sender may have written: without those that
// begin with a quote mark at any depth, without those that drop knows as a
// line of the digest or of an answer to it, and without a signature after
// "-- ". drop gets lines as [FoldLine] makes them and may be nil.
//
// Quotes without marks, their header blocks and their "On Tuesday, somebody
// wrote:" stay; none of it is a command.
func Own(lines []string, drop func(folded string) bool) []string {
	var own []string
	for _, line := range lines {
		if strings.HasPrefix(strings.TrimLeftFunc(line, isBlank), ">") {
			continue
		}
		// Some programs strip the space that should follow.
		if strings.TrimRightFunc(line, isBlank) == "--" {
			break
		}
		folded := FoldLine(line)
		if folded != "" && drop != nil && drop(folded) {
			continue
		}
		own = append(own, line)
	}
	return own
}

// isBlank is for the white space, and the marks of no width, that mail
// programs put before and after a line's text.
func isBlank(r rune) bool { return unicode.IsSpace(r) || unicode.Is(unicode.Cf, r) }

// FoldLine returns line in lower case, without what has no width, its white
// space folded to single spaces: the form in which two lines are compared.
func FoldLine(line string) string {
	visible := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) {
			return -1
		}
		return unicode.ToLower(r)
	}, line)
	return strings.Join(strings.Fields(visible), " ")
}

// QuotesOf returns a drop function for [Own] that knows the lines of a digest
// and of the answers sent to replies to it.
func QuotesOf(issue notify.Issue, answers ...[]string) func(folded string) bool {
	known := make(map[string]bool)
	for _, lines := range append([][]string{issue.Lines}, answers...) {
		for _, line := range lines {
			known[FoldLine(line)] = true
		}
	}
	return func(folded string) bool { return known[folded] }
}
