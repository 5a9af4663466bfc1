// Package civil has dates without zones or clocks, and the only conversions
// between dates and instants.
//
// Husbandry happens on days: a box is topped up on the 12th, eggs have lain for
// 41 days. A [Date] is such a day and nothing else, so a clock change can
// neither lengthen nor lose a day. [Date.At] finds the instant of a time on a
// date (the digest leaves at half past six). [Of] finds the date of an instant.
// No other package may convert with the time package alone: time.Date returns
// the day before if a zone has no midnight on a day (Azores, Santiago), and
// adding 24 hours is not adding a day.
//
// The package reads no clock and loads no zone; callers pass both in.
package civil

import (
	"fmt"
	"time"
)

// Date is one day of the proleptic Gregorian calendar. The zero Date means "no
// date"; test for it with IsZero. Dates are comparable with ==, may be map
// keys, and cover the years 1 to 9999.
type Date struct {
	// n is the number of days since 1969-12-31, so that the zero value can mean
	// "no date". The date 1969-12-31 itself cannot be represented; no record
	// needs it.
	n int32
}

const secondsPerDay = 24 * 60 * 60

// New returns the date with the given year, month and day. Like time.Date it
// carries overflowing months and days over. Use [Parse] for input from outside.
func New(year int, month time.Month, day int) Date {
	return fromDays(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / secondsPerDay)
}

func fromDays(sinceEpoch int64) Date { return Date{int32(sinceEpoch + 1)} }

// Of returns the date that a calendar on a wall in loc shows at the instant t.
func Of(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	return New(y, m, d)
}

// Parse reads a date of the form 2027-05-12. It returns an error for a day that
// does not exist.
func Parse(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1 {
		return Date{}, fmt.Errorf("%q is not a date like 2027-05-12", s)
	}
	return New(t.Date()), nil
}

// MustParse is Parse for dates written in the program and its tests. It panics
// if Parse returns an error.
func MustParse(s string) Date {
	d, err := Parse(s)
	if err != nil {
		panic(err)
	}
	return d
}

func (d Date) utc() time.Time { return time.Unix(int64(d.n-1)*secondsPerDay, 0).UTC() }

// IsZero reports whether d is "no date".
func (d Date) IsZero() bool { return d.n == 0 }

// Year returns the calendar year of d.
func (d Date) Year() int { return d.utc().Year() }

// Month returns the month of d.
func (d Date) Month() time.Month { return d.utc().Month() }

// Day returns the day of the month of d, 1 to 31.
func (d Date) Day() int { return d.utc().Day() }

// Weekday returns the day of the week of d.
func (d Date) Weekday() time.Weekday { return d.utc().Weekday() }

// YearDay returns the day of the year of d, 1 to 366.
func (d Date) YearDay() int { return d.utc().YearDay() }

// AddDays returns the date n days later, or earlier if n is negative.
func (d Date) AddDays(n int) Date { return Date{d.n + int32(n)} }

// AddMonths returns the same day of the month n months later, clamped to the
// end of that month: 31 January plus one month is 28 or 29 February.
func (d Date) AddMonths(n int) Date {
	y, m, day := d.utc().Date()
	last := New(y, m+time.Month(n)+1, 0)
	return New(last.Year(), last.Month(), min(day, last.Day()))
}

// Sub returns the number of days from e to d.
func (d Date) Sub(e Date) int { return int(d.n - e.n) }

// Before reports whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.n < e.n }

// After reports whether d is later than e.
func (d Date) After(e Date) bool { return d.n > e.n }

// Compare returns -1 if d is before e, 0 if they are equal, and +1 if d is
// after e.
func (d Date) Compare(e Date) int {
	switch {
	case d.n < e.n:
		return -1
	case d.n > e.n:
		return +1
	}
	return 0
}

// Max returns the later of d and e. "No date" is earlier than any date.
func Max(d, e Date) Date {
	if d.IsZero() || (!e.IsZero() && e.After(d)) {
		return e
	}
	return d
}

// Min returns the earlier of d and e. If one of them is "no date", it returns
// the other.
func Min(d, e Date) Date {
	if d.IsZero() || (!e.IsZero() && e.Before(d)) {
		return e
	}
	return d
}

// String returns d as 2027-05-12, and "" for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.utc().Format(time.DateOnly)
}

// Format renders d with a layout of the time package. Only the date parts of
// the layout make sense.
func (d Date) Format(layout string) string { return d.utc().Format(layout) }

// MarshalText writes d as String does.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the form that MarshalText writes.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := Parse(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// TimeOfDay is a time on the wall clock, in minutes since midnight: 0 to 1439.
type TimeOfDay int

// ParseTimeOfDay reads a time of the form 06:30.
func ParseTimeOfDay(s string) (TimeOfDay, error) {
	t, err := time.Parse("15:04", s)
	if err != nil || len(s) != len("15:04") {
		return 0, fmt.Errorf("%q is not a time of day like 06:30", s)
	}
	return TimeOfDay(t.Hour()*60 + t.Minute()), nil
}

// String returns t as 06:30.
func (t TimeOfDay) String() string { return fmt.Sprintf("%02d:%02d", int(t)/60, int(t)%60) }

// At returns the first instant at which a wall clock in loc shows the time t on
// the date d. If the clock never shows it, At returns the first instant with a
// later time. So a time inside a spring gap becomes the first instant after the
// gap, a time that comes twice in autumn becomes its first occurrence, and a
// day that the zone skipped begins with the next existing day.
func (d Date) At(t TimeOfDay, loc *time.Location) time.Time {
	wall := int64(d.n-1)*secondsPerDay + int64(t)*60
	// No zone has ever been further than 16 hours from UTC. So the search
	// starts 26 hours earlier, before the wanted instant in any zone.
	at := time.Unix(wall-26*60*60, 0).In(loc)
	for {
		_, offset := at.Zone()
		begin, end := at.ZoneBounds()
		if !end.IsZero() && !end.After(at) {
			// The time package describes years beyond its table by a rule, and
			// lets such a year end after 365 days. So on the last day of a leap
			// year the reported end is in the past (golang/go issue 81583).
			end = time.Date(at.UTC().Year()+1, time.January, 1, 0, 0, 0, 0, time.UTC).In(loc)
		}
		candidate := wall - int64(offset)
		if !begin.IsZero() && candidate < begin.Unix() {
			return begin
		}
		if end.IsZero() || candidate < end.Unix() {
			return time.Unix(candidate, 0).In(loc)
		}
		at = end
	}
}
