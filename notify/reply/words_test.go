package reply

import (
	"strings"
	"testing"
	"time"
)

// Every weekday is understood by its name and by the first three letters. No
// word means a weekday unless the weekday's name begins with it.
func TestWeekdaysByNameAndShort(t *testing.T) {
	for d := time.Sunday; d <= time.Saturday; d++ {
		name := strings.ToLower(d.String())
		for _, word := range []string{name, name[:3]} {
			p := Parse("later 5 "+word, theBooks)
			if len(p.Commands) != 1 || !p.Commands[0].When.ByWeekday || p.Commands[0].When.Weekday != d {
				t.Errorf("later 5 %s: %+v, refused %v; want the next %s", word, p.Commands, p.Refused, d)
			}
		}
	}
	for word, d := range weekdays {
		if !strings.HasPrefix(strings.ToLower(d.String()), word) {
			t.Errorf("%q is read as %s", word, d)
		}
	}
}

// Numbers may be written in words up to twenty. Consecutive words must mean
// consecutive numbers.
func TestNumbersInWords(t *testing.T) {
	words := strings.Fields("one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty")
	for i, word := range words {
		p := Parse("done "+word, theBooks)
		if len(p.Commands) != 1 || len(p.Commands[0].Numbers) != 1 || p.Commands[0].Numbers[0] != i+1 {
			t.Errorf("done %s: %+v, refused %v; want number %d", word, p.Commands, p.Refused, i+1)
		}
	}
	if len(words) != len(spelled) {
		t.Errorf("%d words stand for numbers, and %d are tried", len(spelled), len(words))
	}
}

// Each quantity of a reply is accepted up to the largest plausible value. A
// larger value is refused, because a misplaced decimal point is more likely.
func TestLargestQuantities(t *testing.T) {
	for _, c := range []struct{ words, taken, refused string }{
		{"a UV index stronger than under any sun that lizards bask in", "13 uvi 30", "13 uvi 30.01"},
		{"the number of a task", "done 9999", "done 10000"},
	} {
		if p := Parse(c.taken, theBooks); len(p.Commands) != 1 || len(p.Refused) > 0 {
			t.Errorf("%s: %q is not taken: %+v", c.words, c.taken, p.Refused)
		}
		if p := Parse(c.refused, theBooks); len(p.Commands) > 0 {
			t.Errorf("%s: %q is taken: %+v", c.words, c.refused, p.Commands)
		}
	}
}
