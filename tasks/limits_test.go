package tasks_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// A reply may be for a day up to two months before or after the day on which it
// was sent. A day further away is a typing error or a broken clock, and the
// reply counts for the day on which it was sent.
func TestReplyForADistantDay(t *testing.T) {
	sent := at("12", "18:00")
	for days, want := range map[int]int{-61: 0, -60: -60, 0: 0, 60: 60, 61: 0} {
		h := tasks.Fold([]tasks.Entry{{ID: "a", At: sent, On: day("12").AddDays(days), Via: tasks.ViaMail, Acts: []tasks.Act{done(boxOfE07)}}})
		if got := h.Outcome(boxOfE07).On; got != day("12").AddDays(want) {
			t.Errorf("sent on 12 May for a day %d days off: counts for %s", days, got)
		}
	}
}

// A keeper marks the feeding of the 1st as done, and repeats the mark a week
// later. Both marks mean the same feeding, so the last feeding remains that of
// the 8th.
func TestMarkRepeatedAWeekLaterKeepsItsDay(t *testing.T) {
	feeding := func(d string) tasks.Key { return tasks.NewKey("E07", "feed", day(d).String()) }
	var entries []tasks.Entry
	for _, d := range []string{"01", "02", "03", "04", "05", "06", "07", "08"} {
		e := mail("on "+d, d, "18:00", done(feeding(d)))
		e.Digest = "" // each in a separate mail
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

// If two marks in one mail contradict each other, neither counts, whichever
// comes last. An earlier mark remains valid.
func TestContradictingMarksOfOneMail(t *testing.T) {
	for _, c := range []struct {
		words string
		acts  []tasks.Act
	}{
		{"skipped, then done", []tasks.Act{skip(boxOfE07), done(boxOfE07)}},
		{"done, then skipped", []tasks.Act{done(boxOfE07), skip(boxOfE07)}},
		{"put off, then done", []tasks.Act{later(boxOfE07, "20"), done(boxOfE07)}},
	} {
		before := mail("a", "11", "18:00", later(boxOfE07, "14"))
		h := tasks.Fold([]tasks.Entry{before, mail("b", "12", "18:00", append(c.acts, done(watchF03))...)})
		if got := h.Outcome(boxOfE07); got.Mark != tasks.PutOff || got.Until != day("14") {
			t.Errorf("%s: %+v, want it put off until 14 May as before", c.words, got)
		}
		if got := h.Outcome(watchF03).Mark; got != tasks.MarkDone {
			t.Errorf("%s: the other task of the mail is %q", c.words, got)
		}
		if got := len(h.Dropped("b")); got != 2 {
			t.Errorf("%s: %d lines dropped, want 2", c.words, got)
		}
	}
}

// A late report of last week's feeding hides none of this week's feedings.
func TestLateReportHidesNoLaterDay(t *testing.T) {
	feeding := func(d string) tasks.Key { return tasks.NewKey("E07", "feed", day(d).String()) }
	late := mail("late", "11", "18:00", done(feeding("05")))
	late.On = day("05")
	h := tasks.Fold([]tasks.Entry{mail("a", "10", "18:00", done(feeding("10"))), late})
	for since, want := range map[string][]civil.Date{
		"04": {day("05"), day("10")},
		"05": {day("05"), day("10")},
		"06": {day("10")},
		"11": nil,
	} {
		// Ask a new history each time, because a history remembers how far it
		// has searched.
		if got := h.Before(civil.Date{}).DoneDays("E07", "feed", day(since)); !slices.Equal(got, want) {
			t.Errorf("since %s May fed on %v, want %v", since, got, want)
		}
	}
	if got := h.Before(civil.Date{}).LastDone("E07", "feed"); got != day("10") {
		t.Errorf("last fed on %s, want 10 May", got)
	}
}

// A mark of an earlier day still counts on the board. A task that was put off
// weeks before its day, or done ahead of its day, does not come back.
func TestOlderMarksCountOnTheBoard(t *testing.T) {
	for _, c := range []struct {
		words string
		act   tasks.Act
		want  tasks.Status
	}{
		{"put off until the 20th", later(boxOfE07, "20"), tasks.Upcoming},
		{"put off until today", later(boxOfE07, "12"), tasks.Due},
		{"done ahead", done(boxOfE07), tasks.Done},
		{"skipped ahead", skip(boxOfE07), tasks.Skipped},
	} {
		for _, ago := range []int{0, 1, 30, 60, 120} {
			said := mail("a", "12", "06:40", c.act)
			said.At, said.On = said.At.AddDate(0, 0, -ago), day("12").AddDays(-ago)
			list := []tasks.Task{task(boxOfE07, 1, tasks.Due)}
			b := tasks.NewBoard(day("12"), list, list, tasks.Fold([]tasks.Entry{said}), nil)
			if len(b.Rows) != 1 || b.Rows[0].Status != c.want {
				t.Errorf("%s, said %d days ago: %+v, want %s", c.words, ago, b.Rows, c.want)
			}
		}
	}
}

// A task is ahead of a day if its occurrence is after the day, not on the day.
func TestTaskAheadOfADay(t *testing.T) {
	h := tasks.Fold([]tasks.Entry{mail("a", "12", "06:40", done("E07/feed/2027-05-14"))})
	marks := h.Marks("E07", "feed")
	for after, want := range map[string]bool{"13": true, "14": false, "15": false} {
		if got := marks.Ahead(day(after), day("01")); got != want {
			t.Errorf("the feeding of 14 May, ahead of the %s: %v", after, got)
		}
	}
}

// A round is ordered by part of the day, then place, then the order of kinds,
// then key.
func TestTheOrderOfARound(t *testing.T) {
	kinds := husbandry.Kinds()
	first, last := kinds[0], kinds[len(kinds)-1]
	at := func(part husbandry.Part, place int, kind husbandry.Kind, key tasks.Key) tasks.Task {
		return tasks.Task{Key: key, Kind: kind, Part: part, Place: tasks.Place{Order: place}}
	}
	round := []tasks.Task{
		at(husbandry.Morning, 0, first, "E1/a/1"),
		at(husbandry.Morning, 0, first, "E1/b/1"),
		at(husbandry.Morning, 0, last, "E1/a/1"),
		at(husbandry.Morning, 1, first, "E1/a/1"),
		at(husbandry.Morning, 1<<30-1, last, "E1/a/1"),
		at(husbandry.Midday, 0, first, "E1/a/1"),
		at(husbandry.Midday, 1<<30-1, last, "E1/a/1"),
		at(husbandry.Evening, 0, first, "E1/a/1"),
		at(husbandry.Evening, 2, first, "E1/a/1"),
	}
	r := rand.New(rand.NewPCG(4, 2))
	for range 20 {
		got := slices.Clone(round)
		r.Shuffle(len(got), func(i, j int) { got[i], got[j] = got[j], got[i] })
		slices.SortFunc(got, tasks.Before)
		for i := range got {
			if g, w := got[i], round[i]; g.Key != w.Key || g.Part != w.Part || g.Place != w.Place || g.Kind != w.Kind {
				t.Fatalf("place %d: %s %d %s %s, want %s %d %s %s", i, g.Part, g.Place.Order, g.Kind, g.Key, w.Part, w.Place.Order, w.Kind, w.Key)
			}
		}
	}
}
