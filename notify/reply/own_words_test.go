package reply

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// keepersLine draws a line that a keeper writes, in commands or in prose.
func keepersLine(t *rapid.T) string {
	n := func() int { return rapid.IntRange(1, 12).Draw(t, "number") }
	word := rapid.SampledFrom([]string{"done", "did", "skip", "undo", "all but", "Done:", "done all but", "all done except"})
	polite := rapid.SampledFrom([]string{"", "Hi, ", "Good morning, ", "Thanks, ", "ok, ", "- "}).Draw(t, "polite")
	switch rapid.IntRange(0, 8).Draw(t, "line") {
	case 0:
		return polite + fmt.Sprintf("%s %d %d", word.Draw(t, "verb"), n(), n())
	case 1:
		return polite + fmt.Sprintf("%s %d%s%d", word.Draw(t, "verb"), n(), rapid.SampledFrom([]string{"-", " – ", " to ", "−", ",", ".", ", ", " and "}).Draw(t, "joint"), n())
	case 2:
		return polite + fmt.Sprintf("%d %s", n(), rapid.SampledFrom([]string{"laid 6", "laid 6 and 2 slugs", "weighs 41 g", "refused", "hatched 3, done 2", "ill limp, all of it", "no"}).Draw(t, "finding"))
	case 3:
		return polite + rapid.SampledFrom([]string{"all", "all done", "done all", "All!", "all, thanks"}).Draw(t, "all")
	case 4:
		return fmt.Sprintf("%s %s", rapid.SampledFrom([]string{"two", "one", "three", "seven"}).Draw(t, "spelled"),
			rapid.SampledFrom([]string{"ill", "is limping", "laid two", "refused", "are digging", "weighs 4 g"}).Draw(t, "remark"))
	case 5:
		return fmt.Sprintf("skip %d because the lamp was out all night, and all done is not what I would call it", n())
	case 6:
		return fmt.Sprintf("note %d: she digs in all corners and has refused all food for three days", n())
	}
	return rapid.SampledFrom([]string{
		"Thank you, that is all", "Thanks, that is all for today.", "In the end I did not get all done", "I am sorry that I could not get them all",
		"None of the females was seen, not at all, but 4 of the males were out", "I looked at each of them in the evening. All but 4 are well.",
		"I got through everything, all except the north rack is fed", "Hi all,", "Good morning all", "all is well here", "everything fine",
		"I have not done 3 and 4 yet", "We skip 2 days of school", "The vet comes on Friday", "Sam", "Best regards,", "",
	}).Draw(t, "prose")
}

// named has the numbers in the words of a text: alone, in words, and between the
// ends of a range.
func named(text string) map[int]bool {
	all := make(map[int]bool)
	for line := range strings.Lines(text) {
		last, joined := -1, false
		for _, tok := range lex(tidy(line)) {
			from, to := tok.N, tok.N
			switch {
			case tok.Kind == 0 && (tok.Word == "to" || tok.Word == "through"), tok.Raw == "-":
				joined = last >= 0
				continue
			case tok.To > 0:
				to = tok.To
			case !tok.Numeric():
				last, joined = -1, false
				continue
			}
			if joined {
				from = min(last, from)
			}
			for k := from; k <= to && k < 100; k++ {
				all[k] = true
			}
			last, joined = to, false
		}
	}
	return all
}

// A reply marks no task but those that the keeper's own words name by number, or
// by an "all" of the keeper's, at any width and among any quotes.
func TestAReplyMarksWhatItsOwnWordsName(t *testing.T) {
	issue := theIssue(t)
	answer := []string{"Recorded, from your mail of Tue 24 Nov, 07:10:", "", "  [4] Weigh F03: marked as done; weight: 41 g", "Not recorded:", "  > done 3-65",
		"    (there is no 65; the numbers go from 1 to 9; nothing was marked)", "Still to do today: 3 tasks."}
	drop := QuotesOf(issue, answer)
	books := func(id string) (Target, bool) { // without the enclosure "3-7", which looks like a range
		r, ok := theBooks(id)
		return r, ok && r.ID != "3-7"
	}
	marked := 0
	rapid.Check(t, func(t *rapid.T) {
		own := rapid.SliceOfN(rapid.Custom(keepersLine), 1, 5).Draw(t, "own")
		width := rapid.IntRange(12, 100).Draw(t, "width")
		var written []string
		for _, l := range own {
			written = append(written, strings.Split(rewrap(l, width), "\n")...)
		}
		quote := slices.Clone(rapid.SampledFrom([][]string{nil, issue.Lines, answer}).Draw(t, "quote"))
		if len(quote) > 0 {
			from := rapid.IntRange(0, len(quote)-1).Draw(t, "from")
			quote = quote[from:rapid.IntRange(from+1, len(quote)).Draw(t, "to")]
			mark := rapid.SampledFrom([]string{"> ", ">", "", "| ", "   "}).Draw(t, "mark")
			broken := rapid.Bool().Draw(t, "broken")
			var lines []string
			for _, l := range quote {
				if broken {
					l = strings.ReplaceAll(rewrap(l, width), "\n", "\n"+mark)
				}
				lines = append(lines, strings.Split(mark+l, "\n")...)
			}
			quote = lines
		}
		var mail []string
		switch rapid.SampledFrom([]string{"above", "below", "between"}).Draw(t, "place") {
		case "above":
			mail = slices.Concat(written, quote)
		case "below":
			mail = slices.Concat(quote, written)
		default:
			at := rapid.IntRange(0, len(quote)).Draw(t, "at")
			mail = slices.Concat(quote[:at], written, quote[at:])
		}
		p := Parse(strings.Join(Own(mail, drop), "\n"), books)
		acts, _ := Resolve(p.Commands, issue.Items, issue.Date)

		numbers := named(strings.Join(own, "\n"))
		sweeps := make(map[int]bool) // the tasks that a whole line of the keeper's sweeps
		for _, l := range own {
			swept, _ := Resolve(slices.DeleteFunc(Parse(l, books).Commands, func(c Command) bool { return c.Verb != All && c.Verb != AllBut }), issue.Items, issue.Date)
			for _, a := range swept {
				sweeps[a.N] = true
			}
		}
		for _, a := range acts {
			marked++
			swept := strings.HasPrefix(a.Text, "all")
			if swept && !sweeps[a.N] || !swept && !numbers[a.N] {
				t.Fatalf("%q marks %d (%s); the keeper wrote\n%s\nand the mail is\n%s", a.Text, a.N, a.Mark, strings.Join(own, "\n"), strings.Join(mail, "\n"))
			}
		}
	})
	if marked < 50 {
		t.Errorf("only %d marks, so the replies say too little", marked)
	}
}
