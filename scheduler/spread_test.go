package scheduler_test

import (
	"strings"
	"testing"
	"time"

	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// always chooses the same end of the slack, or a day outside it.
type always string

func (a always) Day(t *scheduler.Outline) civil.Date {
	switch a {
	case "early":
		return t.Earliest
	case "late":
		return t.Latest
	case "too late":
		return t.Latest.AddDays(1)
	}
	return t.Due
}

func (b *books) spread(s always, on string, ahead int) plan {
	in := b.input(on, ahead)
	in.Spread = s
	return plan(scheduler.Plan(in))
}

func TestTasksMoveInsideTheirSlack(t *testing.T) {
	every := func(n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.SinceLast, Every: n}
	}
	topUp := husbandry.Routine{ID: "top-up", Kind: husbandry.NestTopUp, Scope: husbandry.OfEnclosure, For: husbandry.Selector{NestBox: true}, Cadence: every(3), Before: 1, After: 2, Missed: husbandry.Stays}
	bins := husbandry.Routine{ID: "bins", Kind: husbandry.Own, Scope: husbandry.OfRoom, Title: "Empty the bins", Before: 2, After: 2, Missed: husbandry.Lapses,
		Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Wednesday, time.Sunday}}}
	feed := husbandry.Routine{ID: "feed", Kind: husbandry.Feed, Scope: husbandry.OfEnclosure, Cadence: every(2), Before: 1, After: 1, Missed: husbandry.Lapses}
	dust := husbandry.Routine{ID: "dust", Kind: husbandry.Supplement, Scope: husbandry.OfEnclosure, Cadence: husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: 1}, Missed: husbandry.Lapses}
	vital := topUp
	vital.ID, vital.Missed = "vital", husbandry.Alarms
	const done = "E07/top-up/first"
	tests := []struct {
		name     string
		books    *books
		spread   always
		on       string
		task     tasks.Key
		due      string // "" if there is no such task
		earliest string
		latest   string
		moves    tasks.Moves
		status   tasks.Status
	}{
		{"on its own day", lizardRoom(topUp).done("05-10", done), "", "05-11", "E07/top-up/after-2027-05-10", "05-13", "05-12", "05-15", tasks.InChain, tasks.Upcoming},
		{"brought forward", lizardRoom(topUp).done("05-10", done), "early", "05-11", "E07/top-up/after-2027-05-10", "05-12", "05-12", "05-15", tasks.InChain, tasks.Upcoming},
		{"due on the day chosen", lizardRoom(topUp).done("05-10", done), "early", "05-12", "E07/top-up/after-2027-05-10", "05-12", "05-12", "05-15", tasks.InChain, tasks.Due},
		{"held back", lizardRoom(topUp).done("05-10", done), "late", "05-13", "E07/top-up/after-2027-05-10", "05-15", "05-12", "05-15", tasks.InChain, tasks.Upcoming},
		{"the next counts from the day chosen", lizardRoom(topUp).done("05-10", done), "late", "05-11", "E07/top-up/after-2027-05-10+2", "05-20", "05-17", "05-20", tasks.InChain, tasks.Upcoming},
		{"never out of the slack", lizardRoom(topUp).done("05-10", done), "too late", "05-11", "E07/top-up/after-2027-05-10", "05-13", "05-12", "05-15", tasks.InChain, tasks.Upcoming},
		{"overdue on its own day", lizardRoom(topUp).done("05-10", done), "late", "05-16", "E07/top-up/after-2027-05-10", "05-13", "05-12", "05-15", tasks.InChain, tasks.Overdue},
		{"put off to a day", lizardRoom(topUp).done("05-10", done).later("05-12", "E07/top-up/after-2027-05-10", "05-18"), "early", "05-13", "E07/top-up/after-2027-05-10", "05-18", "05-17", "05-20", tasks.Never, tasks.Upcoming},
		{"a task that becomes an alarm", lizardRoom(vital).done("05-10", "E07/vital/first"), "early", "05-11", "E07/vital/after-2027-05-10", "05-13", "05-12", "05-15", tasks.Never, tasks.Upcoming},
		{"a feeding with a supplement", lizardRoom(feed, dust).done("05-10", "E07/feed/first"), "early", "05-10", "E07/feed/after-2027-05-10", "05-12", "05-11", "05-13", tasks.Never, tasks.Upcoming},
		{"a feeding without a supplement", lizardRoom(feed).done("05-10", "E07/feed/first"), "early", "05-10", "E07/feed/after-2027-05-10", "05-11", "05-11", "05-13", tasks.InChain, tasks.Upcoming},
		// 12 May 2027 is a Wednesday, so half the way to a Sunday is a day.
		{"a weekday", lizardRoom(bins), "early", "05-10", "R1/bins/2027-05-12", "05-11", "05-10", "05-14", tasks.Alone, tasks.Upcoming},
		{"a weekday, later", lizardRoom(bins), "late", "05-12", "R1/bins/2027-05-12", "05-13", "05-10", "05-14", tasks.Alone, tasks.Upcoming},
		{"a weekday done early", lizardRoom(bins).done("05-11", "R1/bins/2027-05-12"), "early", "05-12", "R1/bins/2027-05-12", "", "", "", "", ""},
		{"a weekday missed", lizardRoom(bins), "early", "05-14", "R1/bins/2027-05-12", "05-11", "05-10", "05-14", tasks.Alone, tasks.Due},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var found *tasks.Task
			p := tt.books.spread(tt.spread, tt.on, 14)
			for i := range p {
				if p[i].Key == tt.task {
					found = &p[i]
				}
			}
			if found == nil || tt.due == "" {
				if (found == nil) != (tt.due == "") {
					t.Fatalf("%s: %v", tt.task, p)
				}
				return
			}
			if found.Due != day(tt.due) || found.Earliest != day(tt.earliest) || found.Latest != day(tt.latest) || found.Moves != tt.moves || found.Status != tt.status {
				t.Errorf("%s is %s on %s, %s to %s, moves %q; want %s on %s, %s to %s, moves %q", tt.task, found.Status, found.Due, found.Earliest, found.Latest, found.Moves,
					tt.status, tt.due, tt.earliest, tt.latest, tt.moves)
			}
		})
	}
}

func TestAMovedTaskSaysSo(t *testing.T) {
	b := withSample().done("05-10", "E07/nest-top-up/first")
	for on, want := range map[string]bool{"05-11": true, "05-12": true, "05-13": false} {
		x := b.spread("early", on, 4).of("E07/nest-top-up/after-2027-05-10")[0]
		if got := strings.HasSuffix(x.Why, "; moved from Thu 13 May, within its slack"); got != want {
			t.Errorf("on %s: %q", on, x.Why)
		}
	}
}

// After laying, the box is dug over. It is made damp that day, even if another
// day would balance the workload better.
func TestTheBoxIsMadeDampOnTheDayOfLaying(t *testing.T) {
	b := withSample().done("05-10", "E07/nest-top-up/first").laid("05-11", "F03/found/2027-05-11", 5)
	x := b.spread("late", "05-11", 4).of("E07/nest-top-up/after-2027-05-10")[0]
	if x.Due != day("05-11") || x.Moves != tasks.Never {
		t.Errorf("%s on %s moves %q", x.Key, x.Due, x.Moves)
	}
}
