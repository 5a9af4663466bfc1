package tasks_test

import (
	"testing"

	"nestround/tasks"
)

// A reply may be for another day than the one it was sent on, up to two months
// before or after. A day further off is a slip of the pen or a broken clock,
// and the reply counts for the day it was sent on.
func TestHowFarAReplysDayMayBeOff(t *testing.T) {
	sent := at("12", "18:00")
	for days, want := range map[int]int{-61: 0, -60: -60, 0: 0, 60: 60, 61: 0} {
		h := tasks.Fold([]tasks.Entry{{ID: "a", At: sent, On: day("12").AddDays(days), Via: tasks.ViaMail, Acts: []tasks.Act{done(boxOfE07)}}})
		if got := h.Outcome(boxOfE07).On; got != day("12").AddDays(want) {
			t.Errorf("sent on 12 May for a day %d days off: counts for %s", days, got)
		}
	}
}

// Somebody who says a week later once more that the feeding of the 1st is done
// means the same feeding: the last one stays that of the 8th.
func TestAMarkThatIsRepeatedAWeekLaterMovesNothing(t *testing.T) {
	feeding := func(d string) tasks.Key { return tasks.NewKey("E07", "feed", day(d).String()) }
	var entries []tasks.Entry
	for _, d := range []string{"01", "02", "03", "04", "05", "06", "07", "08"} {
		e := mail("on "+d, d, "18:00", done(feeding(d)))
		e.Digest = "" // each in a mail of its own
		entries = append(entries, e)
	}
	again := mail("again", "09", "18:00", done(feeding("01")))
	again.Digest = ""
	h := tasks.Fold(append(entries, again))
	if got := h.LastDone("E07", "feed"); got != day("08") {
		t.Errorf("last fed on %s, want 8 May", got)
	}
	if got := h.Marks("E07", "feed").LastSaid(); got != day("09") {
		t.Errorf("last said to be fed on %s, want 9 May", got)
	}
}
