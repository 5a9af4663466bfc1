package scheduler_test

import (
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// The tasks of a routine, for each cadence, way of being missed and slack. The
// books begin on 1 May 2027, a Saturday. The plan is for 12 May and the three
// following days, unless the case says otherwise.
func TestCadencesWithMissedTasksAndSlack(t *testing.T) {
	lapses, stays, alarms := husbandry.Lapses, husbandry.Stays, husbandry.Alarms
	for _, c := range []struct {
		words   string
		routine husbandry.Routine
		tell    func(*books)
		on      string // "05-12" if empty
		want    string
		why     string // of the first task
	}{
		// Fixed: every third day from 3 May, that is 3, 6, 9, 12, 15 May.
		{words: "fixed, lapses: everything done", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses),
			tell: func(b *books) { b.done("05-09", "E07/r/2027-05-09") },
			want: "due 05-12 E07/r/2027-05-12\nupcoming 05-15 E07/r/2027-05-15", why: "Every 3 days; last fed Sun 9 May"},
		{words: "fixed, lapses: a feeding missed days ago is counted", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses),
			tell: func(b *books) { b.done("05-06", "E07/r/2027-05-06") },
			want: "due 05-12 E07/r/2027-05-12\nupcoming 05-15 E07/r/2027-05-15", why: "Every 3 days; last fed Thu 6 May; 1 feeding lapsed since"},
		{words: "fixed, lapses: a feeding missed yesterday is shown once", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses), on: "05-13",
			tell: func(b *books) { b.done("05-09", "E07/r/2027-05-09") },
			want: "lapsed 05-12 E07/r/2027-05-12\nupcoming 05-15 E07/r/2027-05-15", why: "Not marked on Wed 12 May; not owed any more"},
		{words: "fixed, lapses: a missed feeding is not shown the day after", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses), on: "05-14",
			want: "upcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, lapses: a skipped feeding has not lapsed", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses), on: "05-13",
			tell: func(b *books) { b.skip("05-12", "E07/r/2027-05-12") },
			want: "upcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, lapses, a day's slack: still due", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses, 1), on: "05-13",
			want: "due 05-12 E07/r/2027-05-12\nupcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, lapses, a day's slack: over", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses, 1), on: "05-14",
			want: "lapsed 05-12 E07/r/2027-05-12\nupcoming 05-15 E07/r/2027-05-15", why: "Due Wed 12 May and not marked by Thu 13 May; not owed any more"},
		{words: "fixed, lapses, slack as long as the interval: the next takes its place", routine: routine(husbandry.Feed, fixed(3, "05-03"), lapses, 5), on: "05-15",
			want: "lapsed 05-12 E07/r/2027-05-12\ndue 05-15 E07/r/2027-05-15\nupcoming 05-18 E07/r/2027-05-18"},
		{words: "fixed, lapses daily: yesterday's is shown beside today's", routine: routine(husbandry.Water, fixed(1, "05-03"), lapses),
			tell: func(b *books) { b.done("05-10", "E07/r/2027-05-10") },
			want: "lapsed 05-11 E07/r/2027-05-11\ndue 05-12 E07/r/2027-05-12\nupcoming 05-13 E07/r/2027-05-13\nupcoming 05-14 E07/r/2027-05-14\nupcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, stays: overdue until the next", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays),
			want: "overdue 05-08 E07/r/2027-05-08\nupcoming 05-15 E07/r/2027-05-15", why: "Every week; nothing recorded yet; 1 cleaning missed"},
		{words: "fixed, stays: replaced by the next", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays), on: "05-15",
			tell: func(b *books) { b.done("05-02", "E07/r/2027-05-01") },
			want: "due 05-15 E07/r/2027-05-15", why: "Every week; last cleaned Sun 2 May; 1 cleaning missed since"},
		{words: "fixed, stays, slack: late is not overdue yet", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays, 4),
			want: "due 05-08 E07/r/2027-05-08\nupcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, stays: done early is done", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays, 0, 3), on: "05-13",
			tell: func(b *books) { b.done("05-08", "E07/r/2027-05-08").done("05-13", "E07/r/2027-05-15") },
			want: ""},
		{words: "fixed, stays: put off", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays),
			tell: func(b *books) { b.later("05-08", "E07/r/2027-05-08", "05-13") },
			want: "upcoming 05-13 E07/r/2027-05-08\nupcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, stays: put off until today", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays),
			tell: func(b *books) { b.later("05-08", "E07/r/2027-05-08", "05-12") },
			want: "due 05-12 E07/r/2027-05-08\nupcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed, stays: put off past the next, which replaces it", routine: routine(husbandry.Clean, fixed(7, "05-01"), stays),
			tell: func(b *books) { b.later("05-08", "E07/r/2027-05-08", "05-20") },
			want: "upcoming 05-15 E07/r/2027-05-15"},
		{words: "fixed: weekdays", routine: routine(husbandry.Feed, husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Thursday, time.Wednesday}}, lapses),
			want: "due 05-12 E07/r/2027-05-12\nupcoming 05-13 E07/r/2027-05-13", why: "Every Wednesday and Thursday; nothing recorded yet; 2 feedings lapsed"},
		{words: "fixed: days of the month", routine: routine(husbandry.Clean, husbandry.Cadence{Pattern: husbandry.Fixed, MonthDays: []int{31, 12}}, stays), on: "06-29",
			tell: func(b *books) { b.done("06-12", "E07/r/2027-06-12") },
			want: "upcoming 06-30 E07/r/2027-06-30", why: "On the 12th and 31st of the month"},
		{words: "fixed: cron", routine: routine(husbandry.Clean, husbandry.Cadence{Pattern: husbandry.Fixed, Cron: "0 6 * * 5"}, lapses),
			want: "upcoming 05-14 E07/r/2027-05-14", why: "By the calendar rule 0 6 * * 5"},
		{words: "fixed: a cron date that never comes", routine: routine(husbandry.Clean, husbandry.Cadence{Pattern: husbandry.Fixed, Cron: "0 6 30 2 *"}, stays), want: ""},
		{words: "fixed: nothing overdue from before the books begin", routine: routine(husbandry.Clean, fixed(14, "04-20"), stays), on: "05-03", want: "upcoming 05-04 E07/r/2027-05-04"},
		{words: "fixed, alarms: stays", routine: routine(husbandry.Clean, fixed(7, "05-01"), alarms),
			tell: func(b *books) { b.done("05-02", "E07/r/2027-05-01") },
			want: "overdue 05-08 E07/r/2027-05-08\nupcoming 05-15 E07/r/2027-05-15"},

		// Since last.
		{words: "since last: done on its day", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) { b.done("05-09", "E07/r/first") },
			want: "due 05-12 E07/r/after-2027-05-09\nupcoming 05-15 E07/r/after-2027-05-09+2", why: "Every 3 days; last topped up Sun 9 May"},
		{words: "since last: done late, the next counts from that day", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) { b.done("05-06", "E07/r/first").done("05-11", "E07/r/after-2027-05-06") },
			want: "upcoming 05-14 E07/r/after-2027-05-11"},
		{words: "since last, stays: overdue, the next counts as if done today", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) { b.done("05-06", "E07/r/first") },
			want: "overdue 05-09 E07/r/after-2027-05-06\nupcoming 05-15 E07/r/after-2027-05-06+2", why: "Every 3 days; last topped up Thu 6 May"},
		{words: "since last, stays, slack: late is not overdue yet", routine: routine(husbandry.NestTopUp, sinceLast(3), stays, 3),
			tell: func(b *books) { b.done("05-06", "E07/r/first") },
			want: "due 05-09 E07/r/after-2027-05-06\nupcoming 05-15 E07/r/after-2027-05-06+2"},
		{words: "since last, lapses: yesterday's is shown, the next comes an interval later", routine: routine(husbandry.Mist, sinceLast(2), lapses),
			tell: func(b *books) { b.done("05-09", "E07/r/first") },
			want: "lapsed 05-11 E07/r/after-2027-05-09\nupcoming 05-13 E07/r/after-2027-05-09+2\nupcoming 05-15 E07/r/after-2027-05-09+3"},
		{words: "since last, lapses: lapsed ones are counted", routine: routine(husbandry.Mist, sinceLast(2), lapses),
			tell: func(b *books) { b.done("05-06", "E07/r/first") },
			want: "due 05-12 E07/r/after-2027-05-06+3\nupcoming 05-14 E07/r/after-2027-05-06+4", why: "Every 2 days; last misted Thu 6 May; 2 mistings lapsed since"},
		{words: "since last: skipped", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) { b.done("05-09", "E07/r/first").skip("05-12", "E07/r/after-2027-05-09") },
			want: "upcoming 05-15 E07/r/after-2027-05-09+2"},
		{words: "since last: skipped late", routine: routine(husbandry.NestTopUp, sinceLast(3), stays), on: "05-14",
			tell: func(b *books) { b.done("05-09", "E07/r/first").skip("05-14", "E07/r/after-2027-05-09") },
			want: "upcoming 05-17 E07/r/after-2027-05-09+2"},
		{words: "since last: put off", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) { b.done("05-09", "E07/r/first").later("05-12", "E07/r/after-2027-05-09", "05-14") },
			want: "upcoming 05-14 E07/r/after-2027-05-09"},
		{words: "since last: done twice on one day", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) {
				b.done("05-06", "E07/r/first").done("05-09", "E07/r/after-2027-05-06").done("05-09", "E07/r/after-2027-05-09")
			},
			want: "due 05-12 E07/r/after-2027-05-09+2\nupcoming 05-15 E07/r/after-2027-05-09+3"},
		{words: "since last: undone", routine: routine(husbandry.NestTopUp, sinceLast(3), stays),
			tell: func(b *books) {
				b.done("05-09", "E07/r/first").done("05-11", "E07/r/after-2027-05-09").undo("05-11", "E07/r/after-2027-05-09")
			},
			want: "due 05-12 E07/r/after-2027-05-09\nupcoming 05-15 E07/r/after-2027-05-09+2"},

		// Anchored: clutch C1 of Ada, in the incubator; the case gives the laying day.
		{words: "anchored: due", routine: anchoredWeighing(stays), tell: withClutch("05-09"),
			want: "due 05-12 F03/r/laid-C1", why: "Clutch C1: laid 9 May, due 3 days after"},
		{words: "anchored: upcoming", routine: anchoredWeighing(stays), tell: withClutch("05-11"), want: "upcoming 05-14 F03/r/laid-C1"},
		{words: "anchored, stays: overdue until done", routine: anchoredWeighing(stays), tell: withClutch("05-04"), want: "overdue 05-07 F03/r/laid-C1"},
		{words: "anchored, stays, slack", routine: anchoredWeighing(stays, 5), tell: withClutch("05-04"), want: "due 05-07 F03/r/laid-C1"},
		{words: "anchored, lapses: shown once", routine: anchoredWeighing(lapses), tell: withClutch("05-08"), want: "lapsed 05-11 F03/r/laid-C1"},
		{words: "anchored, lapses: not shown again", routine: anchoredWeighing(lapses), tell: withClutch("05-07"), want: ""},
		{words: "anchored: done", routine: anchoredWeighing(stays), tell: func(b *books) { withClutch("05-09")(b); b.done("05-12", "F03/r/laid-C1") }, want: ""},
		{words: "anchored: put off", routine: anchoredWeighing(stays), tell: func(b *books) { withClutch("05-09")(b); b.later("05-12", "F03/r/laid-C1", "05-14") },
			want: "upcoming 05-14 F03/r/laid-C1"},
		{words: "anchored: nothing overdue from before the books begin", routine: anchoredWeighing(stays), tell: withClutch("04-20"), want: ""},

		// Windowed: mated 25 April, laying 15 to 25 May.
		{words: "windowed: inside the window", routine: routine(husbandry.LayWatch, within(husbandry.LayWindow, 1), alarms), tell: mated("04-25"), on: "05-14",
			want: "upcoming 05-15 F03/r/2027-05-15\nupcoming 05-16 F03/r/2027-05-16\nupcoming 05-17 F03/r/2027-05-17",
			why:  "Eggs expected 15-25 May, 3 % on this day: 20-30 days after the mating of 25 April (care sheet)"},
		{words: "windowed: to its last day", routine: routine(husbandry.LayWatch, within(husbandry.LayWindow, 1), alarms), tell: mated("04-25"), on: "05-25",
			want: "lapsed 05-24 F03/r/2027-05-24\ndue 05-25 F03/r/2027-05-25"},
		{words: "windowed: every fourth day", routine: routine(husbandry.GravidCheck, within(husbandry.GravidWindow, 4), lapses), tell: mated("04-24"),
			want: "lapsed 05-11 F03/r/2027-05-11\nupcoming 05-15 F03/r/2027-05-15"},
		{words: "windowed: every fourth day, from the last look", routine: routine(husbandry.GravidCheck, within(husbandry.GravidWindow, 4), lapses), tell: func(b *books) { mated("04-25")(b); b.done("05-10", "F03/r/2027-05-07") },
			want: "upcoming 05-14 F03/r/2027-05-14"},
		{words: "windowed: closed without eggs seen, a look instead of an alarm", routine: routine(husbandry.LayWatch, within(husbandry.LayWindow, 1), alarms), tell: mated("04-25"), on: "05-27",
			want: "due 05-26 F03/look-for-eggs/mated-2027-04-25"},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := lizardRoom(c.routine)
			if c.tell != nil {
				c.tell(b)
			}
			on := c.on
			if on == "" {
				on = "05-12"
			}
			p := b.plan(on, 3)
			expect(t, p, c.want)
			if c.why != "" && p[0].Why != c.why {
				t.Errorf("why: got  %q\nwant %q", p[0].Why, c.why)
			}
		})
	}
}

func anchoredWeighing(m husbandry.Missed, slack ...husbandry.Days) husbandry.Routine {
	return routine(husbandry.Weigh, after(husbandry.EventLaid, 3), m, slack...)
}

func withClutch(laid string) func(*books) {
	return func(b *books) {
		b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C1", Mother: "F03", Laid: day(laid), Eggs: 6, Incubator: "I1"})
	}
}

func mated(on string) func(*books) {
	return func(b *books) {
		b.Pairings = append(b.Pairings, husbandry.Pairing{ID: "P1", Male: "M01", Female: "F03", From: day(on), Until: day(on), Mated: []civil.Date{day(on)}})
	}
}

func TestTheFirstTaskOfASinceLastRoutine(t *testing.T) {
	r := routine(husbandry.Clean, sinceLast(30), husbandry.Stays)
	r.For.Enclosures = nil
	t.Run("spread over the interval from the day the books begin", func(t *testing.T) {
		first := make(map[string]bool)
		b := lizardRoom(r)
		for _, id := range []husbandry.ID{"E09", "E10", "E11", "E12", "E13", "E14"} {
			b.Enclosures = append(b.Enclosures, husbandry.Enclosure{ID: id, Room: "R1"})
			a := *b.animal("F04")
			a.ID, a.Enclosure = "F"+id, id
			b.Animals = append(b.Animals, a)
		}
		p := b.plan("05-01", 29)
		if len(p) != 8 {
			t.Fatalf("want one a place within the interval, got\n%s", p)
		}
		for _, task := range p {
			first[task.Due.String()] = true
			if task.Key.Occurrence() != "first" {
				t.Errorf("key %s", task.Key)
			}
		}
		if len(first) < 4 {
			t.Errorf("all on %v", first)
		}
	})
	t.Run("today, and never late, if the books state no beginning", func(t *testing.T) {
		b := lizardRoom(r)
		b.Began = civil.Date{}
		expect(t, b.plan("05-12", 0), "due 05-12 E07/r/first\ndue 05-12 E08/r/first")
	})
	t.Run("from the day an animal came", func(t *testing.T) {
		b := lizardRoom(r)
		b.animal("F04").Acquired = day("05-10")
		expect(t, b.plan("05-12", 0).of("E08"), "overdue 05-10 E08/r/first")
	})
	t.Run("a lamp counts from when it was fitted", func(t *testing.T) {
		lamp := routine(husbandry.LampChange, sinceLast(270), husbandry.Stays)
		b := lizardRoom(lamp)
		b.Enclosures[0].Lamp = &husbandry.Lamp{Fitted: day("05-13").AddDays(-200), Life: 200}
		expect(t, b.plan("05-12", 3), "upcoming 05-13 E07/r/after-2026-10-25")
		b.Enclosures[0].Lamp.Life = 0
		expect(t, b.plan("05-12", 3), "")
	})
	t.Run("a nest box may have its own interval", func(t *testing.T) {
		b := lizardRoom(routine(husbandry.NestTopUp, sinceLast(3), husbandry.Stays)).done("05-09", "E07/r/first")
		b.Enclosures[0].NestBox.TopUp = 5
		expect(t, b.plan("05-12", 3), "upcoming 05-14 E07/r/after-2027-05-09")
	})
	t.Run("a weight reported with another task counts as a weighing", func(t *testing.T) {
		b := lizardRoom(routine(husbandry.Weigh, sinceLast(7), husbandry.Stays)).done("05-01", "F03/r/first").weighs("05-08", "F03/lay-watch/2027-05-08", 8)
		expect(t, b.plan("05-12", 3), "upcoming 05-15 F03/r/after-2027-05-08")
	})
}

// dusting returns a supplement on every nth feeding.
func dusting(id husbandry.ID, nth int, gap husbandry.Days) husbandry.Routine {
	r := routine(husbandry.Supplement, husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: nth, MinGap: gap}, husbandry.Lapses)
	r.ID, r.Part = id, husbandry.Evening
	return r
}

func TestSupplementsRideOnFeedings(t *testing.T) {
	feed := routine(husbandry.Feed, fixed(2, "05-02"), husbandry.Lapses) // even days
	feed.ID = "feed"
	fed := func(b *books, days ...string) *books {
		for _, d := range days {
			b.done(d, tasks.NewKey("E07", "feed", "2027-"+d))
		}
		return b
	}
	calcium, d3 := dusting("calcium", 2, 1), dusting("d3", 4, 7)
	t.Run("on every second feeding given since the last", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-06", "05-08", "05-10").done("05-08", "E07/calcium/2027-05-08")
		p := b.plan("05-12", 9).of("calcium")
		expect(t, p, "due 05-12 E07/calcium/2027-05-12\nupcoming 05-16 E07/calcium/2027-05-16\nupcoming 05-20 E07/calcium/2027-05-20")
		if want := "With every 2nd feeding; last dusted Sat 8 May"; p[0].Why != want {
			t.Errorf("why %q, want %q", p[0].Why, want)
		}
	})
	t.Run("a feeding that was not given does not count", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-06", "05-08").done("05-08", "E07/calcium/2027-05-08")
		expect(t, b.plan("05-12", 5).of("calcium"), "upcoming 05-14 E07/calcium/2027-05-14")
	})
	t.Run("not dusted with the feeding it was due on: with the next", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-04", "05-06", "05-08", "05-10").done("05-06", "E07/calcium/2027-05-06")
		expect(t, b.plan("05-11", 3).of("calcium"), "lapsed 05-10 E07/calcium/2027-05-10\nupcoming 05-12 E07/calcium/2027-05-12")
	})
	t.Run("fed already today, not dusted yet: still due", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-08", "05-10", "05-12").done("05-08", "E07/calcium/2027-05-08")
		expect(t, b.plan("05-12", 1), "due 05-12 E07/calcium/2027-05-12")
	})
	t.Run("dusted and fed today: done", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-08", "05-10", "05-12").done("05-08", "E07/calcium/2027-05-08").done("05-12", "E07/calcium/2027-05-12")
		expect(t, b.plan("05-12", 4), "upcoming 05-14 E07/feed/2027-05-14\nupcoming 05-16 E07/feed/2027-05-16\nupcoming 05-16 E07/calcium/2027-05-16")
	})
	t.Run("never sooner than the gap, also in tasks ahead", func(t *testing.T) {
		wide := dusting("wide", 1, 5)
		b := fed(lizardRoom(feed, wide), "05-10").done("05-11", "E07/wide/2027-05-10")
		expect(t, b.plan("05-12", 12).of("wide"), "upcoming 05-16 E07/wide/2027-05-16\nupcoming 05-22 E07/wide/2027-05-22")
	})
	t.Run("the rarest supplement replaces the others", func(t *testing.T) {
		b := lizardRoom(feed, calcium, d3)
		expect(t, b.plan("05-01", 17).of("E07/c"), "upcoming 05-04 E07/calcium/2027-05-04\nupcoming 05-12 E07/calcium/2027-05-12")
		expect(t, b.plan("05-01", 17).of("E07/d3"), "upcoming 05-08 E07/d3/2027-05-08\nupcoming 05-16 E07/d3/2027-05-16")
	})
	t.Run("put off: with the first feeding from that day", func(t *testing.T) {
		b := fed(lizardRoom(feed, calcium), "05-08", "05-10").done("05-08", "E07/calcium/2027-05-08").later("05-12", "E07/calcium/2027-05-12", "05-15")
		expect(t, b.plan("05-12", 5).of("calcium"), "upcoming 05-16 E07/calcium/2027-05-16")
	})
	t.Run("gut-loading two days before, for all feedings of a day", func(t *testing.T) {
		load := routine(husbandry.GutLoad, husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: 1, Lead: 2, MinGap: 2}, husbandry.Lapses)
		load.ID = "load"
		both := feed
		both.For.Enclosures = nil
		b := lizardRoom(both, load)
		p := b.plan("05-10", 3).of("load")
		expect(t, p, "due 05-10 keeper/load/2027-05-12\nupcoming 05-12 keeper/load/2027-05-14")
		if want := "For 2 feedings on Wed 12 May"; p[0].Why != want || p[0].Place.Order != 0 || p[0].Whom != "" {
			t.Errorf("got %+v, want %q", p[0], want)
		}
		b.done("05-11", "keeper/load/2027-05-12")
		expect(t, b.plan("05-11", 3).of("load"), "upcoming 05-14 keeper/load/2027-05-16")
	})
	t.Run("they follow feedings counted from the last time", func(t *testing.T) {
		since := routine(husbandry.Feed, sinceLast(3), husbandry.Stays)
		since.ID = "feed"
		b := lizardRoom(since, calcium).done("05-06", "E07/feed/first").done("05-06", "E07/calcium/2027-05-06").done("05-09", "E07/feed/after-2027-05-06")
		expect(t, b.plan("05-12", 6).of("calcium"), "due 05-12 E07/calcium/2027-05-12\nupcoming 05-18 E07/calcium/2027-05-18")
		b.done("05-12", "E07/feed/after-2027-05-09")
		expect(t, b.plan("05-12", 2), "due 05-12 E07/calcium/2027-05-12")
	})
}

func TestKeepersRoutinesReplaceTheSheetsAndTheCommon(t *testing.T) {
	of := func(id husbandry.ID, o husbandry.Origin, edit func(*husbandry.Routine)) husbandry.Routine {
		r := routine(husbandry.Feed, fixed(1, "05-01"), husbandry.Lapses)
		r.ID, r.Origin, r.For.Enclosures = id, o, nil
		if edit != nil {
			edit(&r)
		}
		return r
	}
	inE07 := func(r *husbandry.Routine) { r.For.Enclosures = []husbandry.ID{"E07"} }
	off := func(r *husbandry.Routine) { r.For.Enclosures, r.Off = []husbandry.ID{"E07"}, true }
	own := func(r *husbandry.Routine) { r.Kind, r.Scope = husbandry.Own, husbandry.OfEnclosure }
	ownOff := func(r *husbandry.Routine) { own(r); r.Off = true }
	for _, c := range []struct {
		words    string
		routines []husbandry.Routine
		want     string
	}{
		{"common, where there is nothing else", []husbandry.Routine{of("common", husbandry.Common, nil)}, "due 05-01 E07/common/2027-05-01\ndue 05-01 E08/common/2027-05-01"},
		{"the sheet's replace the common ones", []husbandry.Routine{of("sheet", husbandry.Sheet, inE07), of("common", husbandry.Common, nil)},
			"due 05-01 E07/sheet/2027-05-01\ndue 05-01 E08/common/2027-05-01"},
		{"the keeper's replace both", []husbandry.Routine{of("mine", husbandry.Keeper, inE07), of("sheet", husbandry.Sheet, nil), of("common", husbandry.Common, nil)},
			"due 05-01 E07/mine/2027-05-01\ndue 05-01 E08/sheet/2027-05-01"},
		{"routines of one origin are all used", []husbandry.Routine{of("one", husbandry.Sheet, inE07), of("two", husbandry.Sheet, inE07)},
			"due 05-01 E07/one/2027-05-01\ndue 05-01 E07/two/2027-05-01"},
		{"off", []husbandry.Routine{of("no", husbandry.Keeper, off), of("sheet", husbandry.Sheet, nil)}, "due 05-01 E08/sheet/2027-05-01"},
		{"off, with the keeper's own routine instead", []husbandry.Routine{of("no", husbandry.Keeper, off), of("mine", husbandry.Keeper, inE07), of("sheet", husbandry.Sheet, nil)},
			"due 05-01 E07/mine/2027-05-01\ndue 05-01 E08/sheet/2027-05-01"},
		{"the keeper's own work replaces nothing", []husbandry.Routine{of("mine", husbandry.Keeper, own), of("other", husbandry.Common, own)},
			"due 05-01 E07/mine/2027-05-01\ndue 05-01 E07/other/2027-05-01\ndue 05-01 E08/mine/2027-05-01\ndue 05-01 E08/other/2027-05-01"},
		{"own work that is off yields nothing", []husbandry.Routine{of("mine", husbandry.Keeper, ownOff)}, ""},
	} {
		t.Run(c.words, func(t *testing.T) { expect(t, lizardRoom(c.routines...).plan("05-01", 0), c.want) })
	}
}

func TestSubjectsOfARoutine(t *testing.T) {
	for _, c := range []struct {
		words string
		kind  husbandry.Kind
		sel   husbandry.Selector
		want  string // subjects
	}{
		{"everybody", husbandry.Water, husbandry.Selector{}, "E07 E08"},
		{"a room", husbandry.Water, husbandry.Selector{Rooms: []husbandry.ID{"R2"}}, ""},
		{"a rack", husbandry.Water, husbandry.Selector{Racks: []husbandry.ID{"K1"}}, "E07 E08"},
		{"nest boxes", husbandry.Water, husbandry.Selector{NestBox: true}, "E07"},
		{"lamps", husbandry.Water, husbandry.Selector{Lamp: true}, ""},
		{"a species", husbandry.Water, husbandry.Selector{Species: []husbandry.ID{"brown-anole"}}, ""},
		{"where a male lives", husbandry.Water, husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Male}}, "E07"},
		{"lists must all match one animal", husbandry.Water, husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Male}, Animals: []husbandry.ID{"F03"}}, ""},
		{"females", husbandry.Weigh, husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Female}}, "F03 F04"},
		{"animals of an enclosure", husbandry.Weigh, husbandry.Selector{Enclosures: []husbandry.ID{"E08"}}, "F04"},
		{"juveniles", husbandry.Weigh, husbandry.Selector{Stages: []husbandry.Stage{husbandry.Juvenile}}, ""},
		{"animals for breeding", husbandry.Weigh, husbandry.Selector{States: []husbandry.State{husbandry.Breeding}}, "F03 M01"},
		{"animals gravid or for breeding", husbandry.Weigh, husbandry.Selector{States: []husbandry.State{husbandry.Gravid, husbandry.Breeding}}, "F03 M01 F04"},
		{"groups", husbandry.Weigh, husbandry.Selector{Groups: true}, ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			r := routine(c.kind, fixed(1, "05-01"), husbandry.Lapses)
			r.For = c.sel
			b := lizardRoom(r)
			b.animal("F04").Gravid = day("04-20")
			var got []string
			for _, task := range b.plan("05-01", 0).of("/r/") {
				got = append(got, string(task.Subject))
			}
			if s := strings.Join(got, " "); s != c.want {
				t.Errorf("got %q, want %q", s, c.want)
			}
		})
	}
}

func TestTasksOfAnimalsThatComeGrowAndLeave(t *testing.T) {
	daily := func(id husbandry.ID, stage husbandry.Stage, m husbandry.Missed) husbandry.Routine {
		r := routine(husbandry.Feed, fixed(1, "05-01"), m)
		r.ID, r.For = id, husbandry.Selector{Enclosures: []husbandry.ID{"E08"}, Stages: []husbandry.Stage{stage}}
		return r
	}
	t.Run("a hatchling becomes a juvenile on the day the sheet says", func(t *testing.T) {
		b := lizardRoom(daily("small", husbandry.Hatchling, husbandry.Lapses), daily("bigger", husbandry.Juvenile, husbandry.Lapses))
		b.animal("F04").Hatched = day("05-01") // juvenile at 14 days
		b.done("05-13", "E08/small/2027-05-13")
		expect(t, b.plan("05-14", 2), "due 05-14 E08/small/2027-05-14\nupcoming 05-15 E08/bigger/2027-05-15\nupcoming 05-16 E08/bigger/2027-05-16")
	})
	t.Run("an animal that left has no tasks and no lapses", func(t *testing.T) {
		b := lizardRoom(daily("r", husbandry.Adult, husbandry.Lapses), routine(husbandry.Weigh, fixed(1, "05-01"), husbandry.Lapses))
		b.animal("F04").Left = day("05-12")
		b.animal("F03").Left = day("05-12")
		expect(t, b.plan("05-12", 3), "")
		expect(t, b.plan("05-11", 3).of("E08"), "lapsed 05-10 E08/r/2027-05-10\ndue 05-11 E08/r/2027-05-11")
	})
	t.Run("no task before an animal came", func(t *testing.T) {
		b := lizardRoom(daily("r", husbandry.Adult, husbandry.Lapses))
		b.animal("F04").Acquired = day("05-12")
		expect(t, b.plan("05-11", 2), "upcoming 05-12 E08/r/2027-05-12\nupcoming 05-13 E08/r/2027-05-13")
		expect(t, b.plan("05-12", 0), "due 05-12 E08/r/2027-05-12")
	})
	t.Run("no lapse from before the books begin", func(t *testing.T) {
		b := lizardRoom(daily("r", husbandry.Adult, husbandry.Lapses))
		expect(t, b.plan("05-01", 0), "due 05-01 E08/r/2027-05-01")
		expect(t, b.plan("05-02", 0), "lapsed 05-01 E08/r/2027-05-01\ndue 05-02 E08/r/2027-05-02")
		b.Began = civil.Date{} // from the first mark on
		expect(t, b.plan("05-02", 0), "due 05-02 E08/r/2027-05-02")
		b.done("05-01", "E07/r/2027-05-01")
		expect(t, b.plan("05-02", 0), "lapsed 05-01 E08/r/2027-05-01\ndue 05-02 E08/r/2027-05-02")
	})
	t.Run("an acquired animal starts its tasks", func(t *testing.T) {
		r := routine(husbandry.Weigh, after(husbandry.EventAcquired, 7), husbandry.Stays)
		b := lizardRoom(r)
		b.animal("F03").Acquired = day("05-06")
		expect(t, b.plan("05-12", 3), "upcoming 05-13 F03/r/acquired")
	})
	t.Run("a pairing starts its tasks", func(t *testing.T) {
		b := lizardRoom(routine(husbandry.GravidCheck, after(husbandry.EventPaired, 14), husbandry.Stays))
		mated("05-01")(b)
		expect(t, b.plan("05-12", 3), "upcoming 05-15 F03/r/paired-P1")
		b = lizardRoom(routine(husbandry.GravidCheck, after(husbandry.EventMated, 14), husbandry.Stays))
		mated("05-01")(b)
		expect(t, b.plan("05-12", 3), "upcoming 05-15 F03/r/mated-2027-05-01")
	})
}

// Work after an event is for the animal, clutch or place of the event, as far
// as the kind of work allows.
func TestSubjectsOfWorkAfterAnEvent(t *testing.T) {
	of := func(k husbandry.Kind, scope husbandry.Scope, e husbandry.Event) husbandry.Routine {
		r := routine(k, after(e, 2), husbandry.Stays)
		r.Scope, r.For = scope, husbandry.Selector{}
		return r
	}
	told := func(r husbandry.Routine) *books {
		b := lizardRoom(r)
		mated("05-10")(b)
		b.animal("F04").Acquired = day("05-10")
		b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F03", Laid: day("05-10"), TubSet: day("05-10"), Eggs: 6, Incubator: "I1"}}
		return b.hatched("05-10", "C1/hatch-watch/2027-05-10", 2)
	}
	for _, c := range []struct {
		routine husbandry.Routine
		want    string
	}{
		{of(husbandry.Weigh, husbandry.OfAnimal, husbandry.EventLaid), "due 05-12 F03/r/laid-C1"},
		{of(husbandry.Weigh, husbandry.OfAnimal, husbandry.EventHatched), "due 05-12 C1/r/hatched"},
		{of(husbandry.TubCheck, husbandry.OfClutch, husbandry.EventTubSet), "due 05-12 C1/r/tub-set"},
		{of(husbandry.NestTopUp, husbandry.OfEnclosure, husbandry.EventLaid), "due 05-12 E07/r/laid-C1"},
		{of(husbandry.Clean, husbandry.OfEnclosure, husbandry.EventHatched), ""},
		{of(husbandry.Clean, husbandry.OfEnclosure, husbandry.EventAcquired), "due 05-12 E08/r/acquired-F04"},
		{of(husbandry.Weigh, husbandry.OfAnimal, husbandry.EventAcquired), "due 05-12 F04/r/acquired"},
		{of(husbandry.GravidCheck, husbandry.OfAnimal, husbandry.EventPaired), "due 05-12 F03/r/paired-P1"},
		{of(husbandry.Own, husbandry.OfRoom, husbandry.EventLaid), "due 05-12 R1/r/laid-C1"},
		{of(husbandry.Own, husbandry.OfRoom, husbandry.EventMated), "due 05-12 R1/r/mated-2027-05-10"},
		{of(husbandry.Own, husbandry.OfKeeper, husbandry.EventHatched), "due 05-12 keeper/r/hatched-C1"},
		{of(husbandry.SetTub, husbandry.OfClutch, husbandry.EventPaired), ""},
	} {
		t.Run(string(c.routine.Scope)+" "+string(c.routine.Cadence.Event), func(t *testing.T) {
			expect(t, told(c.routine).plan("05-12", 0), c.want)
		})
	}
	t.Run("not overdue for ever", func(t *testing.T) {
		b := lizardRoom(of(husbandry.Weigh, husbandry.OfAnimal, husbandry.EventLaid))
		b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F03", Laid: day("05-10"), Eggs: 6, Incubator: "I1", Ended: day("06-20")}}
		expect(t, b.plan("09-08", 0).of("/r/"), "overdue 05-12 F03/r/laid-C1")
		expect(t, b.plan("09-10", 0).of("/r/"), "")
	})
}
