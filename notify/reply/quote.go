package reply

import (
	"strings"
	"unicode"

	"nestround/notify"
)

// Own returns the lines that the sender may have written. It drops lines that
// begin with a quote mark, lines for which drop returns true (lines of the
// digest, or of an answer to the digest's replies), and a signature after "--
// ". drop gets lines in the form of [FoldLine], and may be nil.
//
// Quotes without marks stay, with their header blocks and lines such as "On
// Tuesday, somebody wrote:". None of these lines is a command.
func Own(lines []string, drop func(folded string) bool) []string {
	var own []string
	for _, line := range lines {
		if strings.HasPrefix(strings.TrimLeftFunc(line, isBlank), ">") {
			continue
		}
		// Some programs remove the space after the two dashes that begin a
		// signature.
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

// isBlank reports white space and characters of zero width, which mail programs
// put around the text of a line.
func isBlank(r rune) bool { return unicode.IsSpace(r) || unicode.Is(unicode.Cf, r) }

// FoldLine returns line in the form for comparing lines: lower case, single
// spaces, and no characters of zero width.
func FoldLine(line string) string {
	visible := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) {
			return -1
		}
		return unicode.ToLower(r)
	}, line)
	return strings.Join(strings.Fields(visible), " ")
}

// QuotesOf returns a drop function for [Own]. The function returns true for the
// lines of a digest, and for the lines of the answers sent to its replies.
func QuotesOf(issue notify.Issue, answers ...[]string) func(folded string) bool {
	known := make(map[string]bool)
	for _, lines := range append([][]string{issue.Lines}, answers...) {
		for _, line := range lines {
			known[FoldLine(line)] = true
		}
	}
	return func(folded string) bool { return known[folded] }
}
