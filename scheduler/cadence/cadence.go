// Package cadence answers when a routine recurs: pure questions on civil
// dates, with no clock, zone or time of day.
//
// Start with [Of], which turns a cadence that follows the calendar (every n
// days, weekdays, days of the month, a cron expression) into a [Dates] and
// refuses one that cannot be followed; ask it for the dates between two days,
// or the next or last one. [Steps] gives the dates that follow a start at
// equal intervals, for what is counted from the last time or inside a window.
//
// Which cadence a routine has, what was done, and what becomes of a missed
// date is scheduler's business.
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

// Dates is a rule that follows the calendar, whatever was done. Make one with
// [Of]; it is not changed afterwards and safe for concurrent use.
type Dates struct {
	next func(onOrAfter civil.Date) civil.Date
	last func(onOrBefore civil.Date) civil.Date
}

// Of returns the dates of a cadence of the pattern Fixed. It fails where the
// cadence has another pattern, states no rule or more than one, or states one
// that is not understood; the error says which.
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

// Last returns the last date on or before day, or no date where there was
// none.
func (d Dates) Last(day civil.Date) civil.Date { return d.last(day) }

// Between gives the dates from the one day to the other, both included, in
// order.
func (d Dates) Between(from, to civil.Date) iter.Seq[civil.Date] {
	return func(yield func(civil.Date) bool) {
		for day := d.next(from); !day.IsZero() && !day.After(to); day = d.next(day.AddDays(1)) {
			if !yield(day) {
				return
			}
		}
	}
}

// Steps gives first and the dates that follow it every so many days, as far as
// to, each with its number from 1. An interval of less than a day counts as
// one.
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

// byMonthDay lets the last day of a short month stand for every day it lacks,
// once: the 31st is kept on 30 April, and the 29th, 30th and 31st are all kept
// on 28 February.
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

// byMatch looks day by day; no gap between two dates is longer than within.
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

// everyMinute accepts the five classic fields and nothing else: no @daily, no
// @every, which are not rules about dates.
var everyMinute = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

// byCron keeps the dates of a cron expression and drops its times. Where both
// the day of the month and the weekday are restricted, either is enough, as
// crontab(5) has it; a step such as */2 counts as a restriction.
func byCron(spec string) (Dates, error) {
	// The parser takes a zone before the fields, which dates have no use for,
	// and panics where nothing follows it.
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

// cronReach is how far, in years, one question to the schedule looks: it gives
// up after five.
const cronReach = 4

// nextByCron asks again further on where the schedule gave up: between two
// leap days there may be eight years (1896 to 1904, 2096 to 2104).
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

// lastByCron looks forward from ever further back, since a schedule cannot be
// asked backwards.
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
