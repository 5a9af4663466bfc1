package digest_test

import (
	"strings"
	"testing"

	"nestround/notify/digest"
)

// A limit of the scale still has the word for the lower range; the next word
// begins above it. The limits are from Mastrandrea et al. 2010, table 1 (see
// TestChancesInWords).
func TestLimitsOfLikelihoodWords(t *testing.T) {
	for _, c := range []struct {
		p            float64 // the limit
		below, above string  // words at the limit, and 0.4 percent above the limit
	}{
		{0.01, "exceptionally unlikely, 1 %", "very unlikely, 1 %"},
		{0.10, "very unlikely, 10 %", "unlikely, 10 %"},
		{0.33, "unlikely, 33 %", "about as likely as not, 33 %"},
		{0.66, "about as likely as not, 66 %", "likely, 66 %"},
		{0.90, "likely, 90 %", "very likely, 90 %"},
		{0.99, "very likely, 99 %", "virtually certain, over 99 %"},
	} {
		for p, want := range map[float64]string{c.p: c.below, c.p + 0.004: c.above} {
			day := emptyDay()
			day.Watches = []digest.Watch{{Title: "Hatching of C27-02", Forecast: true, Today: p}}
			if m := render(t, day); !strings.Contains(m.Text, "  Today "+want+".\n") {
				t.Errorf("%v is not told as %q:\n%s", p, want, m.Text)
			}
		}
	}
}

// Work is given in minutes up to an hour and a half, then in hours and minutes.
func TestDurationOfWorkInWords(t *testing.T) {
	for _, c := range []struct {
		minutes int
		want    string
	}{
		{0, "3 tasks"},
		{1, "3 tasks, about 1 minute"},
		{60, "3 tasks, about 60 minutes"},
		{90, "3 tasks, about 90 minutes"},
		{91, "3 tasks, about 1 h 31 min"},
		{120, "3 tasks, about 2 h"},
		{121, "3 tasks, about 2 h 1 min"},
	} {
		content := emptyDay()
		content.Ahead = []digest.Day{day(1, 3, c.minutes)}
		if m := render(t, content); !strings.Contains(m.Text+"\n", c.want+"\n") {
			t.Errorf("%d minutes are not told as %q:\n%s", c.minutes, c.want, m.Text)
		}
	}
}
