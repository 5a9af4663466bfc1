package scheduler_test

import (
	"strings"
	"testing"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// For how long a task is asked for: yes on the last day of each span, no on the
// following day. The spans are common practice.
func TestHowLongTasksAreAskedFor(t *testing.T) {
	dig := tasks.Finding{Digging: true}
	weighed := func(again string, grams float64) *books {
		return withSample().weighs("05-01", "M01/weigh/first", 50).weighs(again, "M01/weigh/after-2027-05-01", grams)
	}
	for _, c := range []struct {
		words       string
		with, gone  *books
		last, after string // the last day with the task, and the first day without it
		key         string
	}{
		{"a female who digs without laying, for two weeks", withSample().found("05-01", "F03/found/2027-05-01", dig).found("05-03", "F03/found/2027-05-03", dig),
			nil, "05-14", "05-15", "F03/vet-digging"},
		{"a tenth lost within 90 days", weighed("07-30", 44.9), weighed("07-31", 44.9), "07-30", "07-31", "M01/review-weight"},
		{"a tenth, and not less", weighed("06-01", 44.9), weighed("06-01", 45), "06-01", "06-01", "M01/review-weight"},
		{"the health before the winter, from two weeks before the fast of 1 November", winterRoom(), nil, "2027-10-18", "2027-10-17", "F03/cooling-check"},
	} {
		c.with.plan(c.last, 0).one(t, c.key)
		if c.gone == nil {
			c.gone = c.with
		}
		if p := c.gone.plan(c.after, 0).of(c.key); len(p) > 0 {
			t.Errorf("%s: still asked for on %s: %s", c.words, c.after, p)
		}
	}
}

// An animal noted as ill is not paired for 60 days, unless the review was done.
func TestIllnessPreventsPairingFor60Days(t *testing.T) {
	// Her pairing is asked for once a week; 31 May is one of these days.
	for noted, paired := range map[string]bool{"04-01": true, "04-02": false, "05-01": false} {
		b := matched("F1 female", "M1 male").found(noted, tasks.NewKey("F1", tasks.Unplanned, day(noted).String()), tasks.Finding{Ill: true})
		if p := b.plan("05-31", 0).of("F1/pair/"); (len(p) > 0) != paired {
			t.Errorf("ill on %s: to be paired on 31 May %v, have %v", noted, paired, p)
		}
	}
}

// A log's prediction for the days ahead is the median of the nearest 14 logged
// days, at least three of them, none more than 30 days old. An incubator more
// than two degrees from its set point counts for three days only.
func TestALogsPredictionForTheDaysAhead(t *testing.T) {
	// The log has runs of days with a difference from 28 °C, from laying on 12
	// May.
	type run struct {
		days int
		off  float64
	}
	for _, c := range []struct {
		words string
		runs  []run
		on    string
		says  string // "" for the set point
	}{
		{"three days, the first of them 30 days ago", []run{{3, 1}}, "06-11", "29.0 °C"},
		{"three days, the first of them 31 days ago", []run{{3, 1}}, "06-12", ""},
		{"two degrees beside, ten days ago", []run{{5, 2}}, "05-26", "30.0 °C"},
		{"more than two degrees beside, ten days ago", []run{{5, 2.2}}, "05-26", ""},
		{"more than two degrees beside, three days ago", []run{{5, 2.2}}, "05-19", "30.2 °C"},
		{"seven of the last fourteen days", []run{{10, 0}, {7, 1}}, "05-29", "29.0 °C"},
		{"six of the last fourteen days", []run{{10, 0}, {6, 1}}, "05-28", ""},
	} {
		log := make(map[int]float64)
		for _, r := range c.runs {
			for range r.days {
				log[len(log)] = r.off
			}
		}
		got := logging(log, c.on).Basis
		if want := "days to come count at " + c.says + " as lately logged"; c.says != "" && !strings.HasSuffix(got, want) || c.says == "" && strings.Contains(got, "days to come") {
			t.Errorf("%s: %q, want %q", c.words, got, c.says)
		}
	}
}

// Work after an event is asked for until 120 days after its slack, because it
// makes no sense in the next season. Only eggs to be set stay for ever.
func TestWorkAfterAnEventEndsAfter120Days(t *testing.T) {
	r := routine(husbandry.Weigh, after(husbandry.EventLaid, 3), husbandry.Stays, 2)
	b := lizardRoom(r).laid("05-12", "F03/found/2027-05-12", 6)
	due := day("05-15")
	asked := func(d civil.Date) bool { return len(b.plan(d.String(), 0).of("F03/r/")) > 0 }
	for days, want := range map[int]bool{0: true, 2 + 120: true, 2 + 121: false} {
		if asked(due.AddDays(days)) != want {
			t.Errorf("%d days after its day: asked for %v, want %v", days, !want, want)
		}
	}
}

// A lamp that has lost less than three tenths of its UV index is not changed.
func TestALampWithASmallLossIsKept(t *testing.T) {
	lamp := strings.Replace(nursery, "id = \"E1\"\n", "id = \"E1\"\nlamp = { fitted = 2027-04-01 }\n", 1)
	for now, change := range map[float64]bool{2.1: true, 2.13: false} {
		first := 3.0
		b := kept(t, lamp).found("05-05", "E1/lamp-meter/2027-05-05", tasks.Finding{UVI: &first}).found("06-04", "E1/lamp-meter/2027-06-04", tasks.Finding{UVI: &now})
		if p := b.plan("06-06", 0).of("lamp-change"); (len(p) == 1) != change {
			t.Errorf("UV index %v, and %v when it was new: change %v, have %v", now, first, change, p)
		}
	}
}
