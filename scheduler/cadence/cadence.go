// Package cadence computes the dates on which a routine recurs: pure functions
// of civil dates, with no clock, zone or time of day.
//
// Start with [Of], which turns a cadence that follows the calendar (every n
// days, weekdays, days of the month, a cron expression) into [Dates], or
// returns an error for an impossible cadence. Dates has the dates between two
// days, and the next and the last date. [Steps] gives dates at equal intervals
// from a start, for cadences that count from the last time or run inside a
// window.
//
// The scheduler decides which cadence a routine has, what was done, and what
// happens after a missed date.
package cadence

import (
	"errors"
	"fmt"
	"iter"
	"strings"
	"time"

	"github.com/robfig/cron/v3"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Dates is a rule that follows the calendar, regardless of the work done. Make
// Dates with [Of]; they do not change afterwards and are safe for concurrent
// use.
type Dates struct {
	next func(onOrAfter civil.Date) civil.Date
	last func(onOrBefore civil.Date) civil.Date
}

// Of returns the dates of a cadence of the pattern Fixed. It returns an error
// if the cadence has another pattern, no rule, several rules, or a rule that
// cannot be understood. The text of the error says which of these is wrong.
func Of(c husbandry.Cadence) (Dates, error) {
	if c.Pattern != husbandry.Fixed {
		return Dates{}, fmt.Errorf("a cadence of the pattern %q has no dates of its own", c.Pattern)
	}
	rules := 0
	for _, said := range []bool{c.Every != 0, len(c.Weekdays) > 0, len(c.MonthDays) > 0, c.Cron != ""} {
		if said {
			rules++
		}
	}
	switch {
	case rules == 0:
		return Dates{}, errors.New("a fixed cadence needs an interval, weekdays, days of the month or a cron expression")
	case rules > 1:
		return Dates{}, errors.New("a fixed cadence follows one rule, and this one states several")
	case len(c.Weekdays) > 0:
		return byWeekday(c.Weekdays)
	case len(c.MonthDays) > 0:
		return byMonthDay(c.MonthDays)
	case c.Cron != "":
		return byCron(c.Cron)
	}
	if c.Every < 0 {
		return Dates{}, fmt.Errorf("an interval of %d days goes backwards", c.Every)
	}
	if c.From.IsZero() {
		return Dates{}, errors.New("every n days needs a first date to count from")
	}
	return byInterval(c.From, int(c.Every)), nil
}

// Last returns the last date on or before day, or a zero date if there is none.
func (d Dates) Last(day civil.Date) civil.Date { return d.last(day) }

// Between yields the dates between two days, both included, in order.
func (d Dates) Between(from, to civil.Date) iter.Seq[civil.Date] {
	return func(yield func(civil.Date) bool) {
		for day := d.next(from); !day.IsZero() && !day.After(to); day = d.next(day.AddDays(1)) {
			if !yield(day) {
				return
			}
		}
	}
}

// Steps yields dates from first up to and including to, at intervals of every
// days, each with its number from 1. An interval below one day counts as one
// day.
func Steps(first civil.Date, every husbandry.Days, to civil.Date) iter.Seq2[int, civil.Date] {
	return func(yield func(int, civil.Date) bool) {
		if first.IsZero() {
			return
		}
		n := 1
		for day := first; !day.After(to); day = day.AddDays(max(1, int(every))) {
			if !yield(n, day) {
				return
			}
			n++
		}
	}
}

func byInterval(from civil.Date, every int) Dates {
	return Dates{
		next: func(day civil.Date) civil.Date {
			if !day.After(from) {
				return from
			}
			if over := day.Sub(from) % every; over > 0 {
				return day.AddDays(every - over)
			}
			return day
		},
		last: func(day civil.Date) civil.Date {
			if day.Before(from) {
				return civil.Date{}
			}
			return day.AddDays(-(day.Sub(from) % every))
		},
	}
}

func byWeekday(days []time.Weekday) (Dates, error) {
	var on [7]bool
	for _, d := range days {
		if d < time.Sunday || d > time.Saturday {
			return Dates{}, fmt.Errorf("there is no weekday number %d", d)
		}
		on[d] = true
	}
	return byMatch(7, func(d civil.Date) bool { return on[d.Weekday()] }), nil
}

// byMonthDay uses the last day of a short month, once, for all days that the
// month lacks: the 31st is moved to 30 April, and the 29th, 30th and 31st are
// all moved to 28 February.
func byMonthDay(days []int) (Dates, error) {
	var on [32]bool
	latest := 0
	for _, d := range days {
		if d < 1 || d > 31 {
			return Dates{}, fmt.Errorf("there is no day %d in any month", d)
		}
		on[d] = true
		latest = max(latest, d)
	}
	return byMatch(31, func(d civil.Date) bool {
		day := d.Day()
		return on[day] || day < latest && day >= 28 && d.AddDays(1).Day() == 1
	}), nil
}

// byMatch searches day by day. within is the longest gap between two dates, in
// days.
func byMatch(within int, match func(civil.Date) bool) Dates {
	walk := func(day civil.Date, step int) civil.Date {
		for range within {
			if match(day) {
				return day
			}
			day = day.AddDays(step)
		}
		return civil.Date{}
	}
	return Dates{
		next: func(day civil.Date) civil.Date { return walk(day, +1) },
		last: func(day civil.Date) civil.Date { return walk(day, -1) },
	}
}

// everyMinute accepts the five classic fields only. It rejects @daily and
// @every, which are not rules about dates.
var everyMinute = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

// byCron uses the dates of a cron expression and ignores the times. If both the
// day of the month and the weekday are restricted, either is enough, as in
// crontab(5). A step such as */2 counts as a restriction.
func byCron(spec string) (Dates, error) {
	// The parser accepts a zone before the fields, and panics if nothing
	// follows the zone. Dates have no use for a zone.
	if strings.Contains(spec, "=") {
		return Dates{}, fmt.Errorf("cron expression %q states a zone; dates have none, leave it out", spec)
	}
	fields := strings.Fields(spec)
	if len(fields) != 5 {
		return Dates{}, fmt.Errorf("cron expression %q has %d fields; want five: minute, hour, day of month, month, weekday", spec, len(fields))
	}
	parsed, err := everyMinute.Parse(spec)
	if err != nil {
		hint := ""
		if strings.Contains(fields[4], "7") {
			hint = " (Sunday is 0)"
		}
		return Dates{}, fmt.Errorf("cron expression %q: %w%s", spec, err, hint)
	}
	s, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		return Dates{}, fmt.Errorf("cron expression %q is not a rule about dates", spec)
	}
	daily := *s
	daily.Second, daily.Minute, daily.Hour, daily.Location = 1, 1, 1, time.UTC
	next := func(day civil.Date) civil.Date { return nextByCron(&daily, day) }
	return Dates{next: next, last: func(day civil.Date) civil.Date { return lastByCron(next, day) }}, nil
}

// cronReach is the number of years that one search of the cron library is
// trusted to cover. The library gives up after five years.
const cronReach = 4

// nextByCron repeats the search from later dates, because the library gives up
// too early: between two leap days there may be eight years (1896 to 1904, 2096
// to 2104).
func nextByCron(s *cron.SpecSchedule, day civil.Date) civil.Date {
	for years := 0; years <= 2*cronReach; years += cronReach {
		from := day.AddMonths(12 * years)
		t := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, time.UTC)
		if at := s.Next(t.Add(-time.Second)); !at.IsZero() {
			return civil.Of(at, time.UTC)
		}
	}
	return civil.Date{}
}

// lastByCron searches forward from earlier and earlier days, because the
// library cannot search backwards.
func lastByCron(next func(civil.Date) civil.Date, day civil.Date) civil.Date {
	for _, back := range []int{0, 7, 31, 366, 5 * 366, 9 * 366} {
		var last civil.Date
		for d := next(day.AddDays(-back)); !d.IsZero() && !d.After(day); d = next(d.AddDays(1)) {
			last = d
		}
		if !last.IsZero() {
			return last
		}
	}
	return civil.Date{}
}
