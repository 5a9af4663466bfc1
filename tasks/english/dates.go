package english

import (
	"strconv"
	"time"

	"nestround/tasks/civil"
)

// A function with a second date, named on, leaves out the year of its first
// date if both dates have the same year. on is the day of the plan or of the
// digest. Functions with names that begin with Bare never write a year: the
// text around the date states the year.

// Day writes a date: "10 May", or "10 May 2026" from another year.
func Day(d, on civil.Date) string { return near(d, on, "2 January") }

// Weekday writes a date with its day of the week: "Mon 10 May", or
// "Sun 10 May 2026" from another year.
func Weekday(d, on civil.Date) string { return near(d, on, "Mon 2 January") }

// ShortDay writes a date with its month cut short: "10 Jan", or "10 Jan 2026"
// from another year.
func ShortDay(d, on civil.Date) string { return near(d, on, "2 Jan") }

// ShortWeekday writes a date with its day of the week and its month cut short:
// "Sun 10 Jan", or "Sat 10 Jan 2026" from another year.
func ShortWeekday(d, on civil.Date) string { return near(d, on, "Mon 2 Jan") }

// BareDay writes a date without its year: "10 May".
func BareDay(d civil.Date) string { return Day(d, d) }

// BareWeekday writes a date with its day of the week and without its year:
// "Mon 10 May".
func BareWeekday(d civil.Date) string { return Weekday(d, d) }

// BareShortDay writes a date without its year, the month cut short: "10 Jan".
func BareShortDay(d civil.Date) string { return ShortDay(d, d) }

// BareShortWeekday writes a date with its day of the week and without its
// year, the month cut short: "Sun 10 Jan".
func BareShortWeekday(d civil.Date) string { return ShortWeekday(d, d) }

func near(d, on civil.Date, layout string) string {
	if d.Year() != on.Year() {
		layout += " 2006"
	}
	return d.Format(layout)
}

// Date writes a date with its year: "10 May 2027".
func Date(d civil.Date) string { return d.Format("2 January 2006") }

// ShortDate writes a date with its year and its month cut short: "10 Jan 2027".
func ShortDate(d civil.Date) string { return d.Format("2 Jan 2006") }

// ShortDateInColumn is [ShortDate] in eleven characters whatever the day, for
// dates below one another: "03 Jan 2027".
func ShortDateInColumn(d civil.Date) string { return d.Format("02 Jan 2006") }

// ShortWeekdayDate writes a date with its day of the week and its year, the
// month cut short: "Sun 10 Jan 2027".
func ShortWeekdayDate(d civil.Date) string { return d.Format("Mon 2 Jan 2006") }

// LongDate writes a date in full, for a heading: "Monday 10 May 2027".
func LongDate(d civil.Date) string { return d.Format("Monday 2 January 2006") }

// MonthYear writes the month of a date: "May 2027".
func MonthYear(d civil.Date) string { return d.Format("January 2006") }

// Moment writes a date and a time, as a clock in the zone of t shows them: "10
// Jan 2027 06:30".
func Moment(t time.Time) string { return t.Format("2 Jan 2006 15:04") }

// WeekdayMoment writes a time of the last days with its day of the week and
// without its year: "Sun 10 Jan 06:30".
func WeekdayMoment(t time.Time) string { return t.Format("Mon 2 Jan 15:04") }

// Span writes the first and the last day of a span: "22-28 June", "28 June to 3
// July", "22 June" for a single day. The year is left out as by [Day].
func Span(from, to, on civil.Date) string {
	switch {
	case from == to:
		return Day(from, on)
	case from.Year() == to.Year() && from.Month() == to.Month():
		return strconv.Itoa(from.Day()) + "-" + Day(to, on)
	}
	return Day(from, on) + " to " + Day(to, on)
}

// SpanInPrint is [Span] for a picture that states the year elsewhere. The text
// has no year and an en dash: "22–28 June", "28 December to 3 January".
func SpanInPrint(from, to civil.Date) string {
	switch {
	case from == to:
		return BareDay(from)
	case from.Year() == to.Year() && from.Month() == to.Month():
		return strconv.Itoa(from.Day()) + "\u2013" + BareDay(to)
	}
	return BareDay(from) + " to " + BareDay(to)
}

// ShortSpan is [Span] with the months cut short and without a year:
// "22 Jan to 3 Feb", "22 Jan to 28 Jan", "22 Jan" for a single day.
func ShortSpan(from, to civil.Date) string {
	if from == to {
		return BareShortDay(from)
	}
	return BareShortDay(from) + " to " + BareShortDay(to)
}

// LongSpan is [Span] in full, for a heading: "Monday 10 May to Friday 14 May
// 2027", "Monday 10 May 2027" for a single day.
func LongSpan(from, to civil.Date) string {
	if from == to {
		return LongDate(from)
	}
	return from.Format("Monday 2 January") + " to " + LongDate(to)
}
