package civil_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/config/zones"
	"nestround/tasks/civil"
)

func location(t rapid.TB, name string) *time.Location {
	t.Helper()
	loc, err := zones.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func timeOfDay(t *testing.T, s string) civil.TimeOfDay {
	t.Helper()
	at, err := civil.ParseTimeOfDay(s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// The hazards of real clocks, one heading for each sort. The instants come from
// the IANA time zone database, release 2026f (files europe, africa,
// northamerica, southamerica, australasia, asia, antarctica), as shown by
// zdump.
func TestAtOnDaysWhenClocksChange(t *testing.T) {
	for _, c := range []struct {
		name, zone, date, at string
		want                 string // instant, UTC
		day                  string // the date on the clock at that instant; "" for the date asked about
	}{
		// Gap in the night.
		{"Los Angeles, spring: before the gap", "America/Los_Angeles", "2026-03-08", "01:59", "2026-03-08T09:59:00Z", ""},
		{"Los Angeles, spring: in the gap", "America/Los_Angeles", "2026-03-08", "02:30", "2026-03-08T10:00:00Z", ""},
		{"Los Angeles, spring: after the gap", "America/Los_Angeles", "2026-03-08", "03:00", "2026-03-08T10:00:00Z", ""},
		{"London, spring: in the gap", "Europe/London", "2026-03-29", "01:30", "2026-03-29T01:00:00Z", ""},
		{"Lord Howe, spring: in the gap of half an hour", "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30:00Z", ""},
		{"Troll, spring: in the gap of two hours", "Antarctica/Troll", "2026-03-29", "01:30", "2026-03-29T01:00:00Z", ""},
		{"Casablanca, end of Ramadan: in the gap", "Africa/Casablanca", "2026-03-22", "02:30", "2026-03-22T02:00:00Z", ""},

		// Overlap in the night.
		{"Los Angeles, autumn: twice", "America/Los_Angeles", "2026-11-01", "01:30", "2026-11-01T08:30:00Z", ""},
		{"London, autumn: twice", "Europe/London", "2026-10-25", "01:30", "2026-10-25T00:30:00Z", ""},
		{"Lord Howe, autumn: half an hour twice", "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z", ""},
		{"Casablanca, Ramadan: twice", "Africa/Casablanca", "2026-02-15", "02:30", "2026-02-15T01:30:00Z", ""},
		{"Casablanca, back to +00 for good: twice", "Africa/Casablanca", "2026-09-20", "01:30", "2026-09-20T00:30:00Z", ""},
		{"Cairo, autumn: the last hour twice", "Africa/Cairo", "2026-10-29", "23:30", "2026-10-29T20:30:00Z", ""},

		// Missing midnight.
		{"Cairo, spring", "Africa/Cairo", "2026-04-24", "00:00", "2026-04-23T22:00:00Z", ""},
		{"Azores, spring", "Atlantic/Azores", "2026-03-29", "00:00", "2026-03-29T01:00:00Z", ""},
		{"Santiago, spring", "America/Santiago", "2026-09-06", "00:00", "2026-09-06T04:00:00Z", ""},
		{"Kathmandu, a quarter of an hour", "Asia/Kathmandu", "1986-01-01", "00:00", "1985-12-31T18:30:00Z", ""},

		// Midnight twice.
		{"Havana, autumn: a date begins twice", "America/Havana", "2027-11-07", "00:00", "2027-11-07T04:00:00Z", ""},
		{"Havana, autumn: half past", "America/Havana", "2027-11-07", "00:30", "2027-11-07T04:30:00Z", ""},
		{"Almaty, a leap day with an hour twice", "Asia/Almaty", "2024-02-29", "23:30", "2024-02-29T17:30:00Z", ""},
		{"Almaty, the day after", "Asia/Almaty", "2024-03-01", "00:00", "2024-02-29T19:00:00Z", ""},

		// Missing day.
		{"Apia, the day before", "Pacific/Apia", "2011-12-29", "07:00", "2011-12-29T17:00:00Z", ""},
		{"Apia, the missing day", "Pacific/Apia", "2011-12-30", "07:00", "2011-12-30T10:00:00Z", "2011-12-31"},
		{"Apia, the day after", "Pacific/Apia", "2011-12-31", "07:00", "2011-12-30T17:00:00Z", ""},

		// New laws, unknown to old zone data.
		{"Vancouver, no more autumn", "America/Vancouver", "2026-11-01", "01:30", "2026-11-01T08:30:00Z", ""},
		{"Vancouver, the morning after", "America/Vancouver", "2026-11-02", "06:30", "2026-11-02T13:30:00Z", ""},
		{"Havana, no autumn in 2026", "America/Havana", "2026-11-02", "06:30", "2026-11-02T10:30:00Z", ""},
		{"Casablanca, the year after", "Africa/Casablanca", "2027-06-01", "06:30", "2027-06-01T06:30:00Z", ""},

		// Ordinary days.
		{"Vienna, winter", "Europe/Vienna", "2027-01-15", "06:30", "2027-01-15T05:30:00Z", ""},
		{"Vienna, summer", "Europe/Vienna", "2027-07-15", "06:30", "2027-07-15T04:30:00Z", ""},
		{"far east", "Pacific/Kiritimati", "2027-01-15", "00:00", "2027-01-14T10:00:00Z", ""},
		{"far west", "Pacific/Pago_Pago", "2027-01-15", "23:59", "2027-01-16T10:59:00Z", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			loc, date := location(t, c.zone), civil.MustParse(c.date)
			got := date.At(timeOfDay(t, c.at), loc)
			if s := got.UTC().Format(time.RFC3339); s != c.want {
				t.Errorf("%s %s begins at %s (%v), want %s", c.date, c.at, s, got, c.want)
			}
			day := date
			if c.day != "" {
				day = civil.MustParse(c.day)
			}
			if of := civil.Of(got, loc); of != day {
				t.Errorf("it is %v then, want %v", of, day)
			}
		})
	}
}

// In an hour that comes twice, both runs belong to the same date.
func TestBothRunsOfARepeatedHourAreOneDate(t *testing.T) {
	for _, c := range []struct{ zone, instant, want string }{
		{"Africa/Cairo", "2026-10-29T20:30:00Z", "2026-10-29"},
		{"Africa/Cairo", "2026-10-29T21:30:00Z", "2026-10-29"},
		{"America/Havana", "2027-11-07T04:30:00Z", "2027-11-07"},
		{"America/Havana", "2027-11-07T05:30:00Z", "2027-11-07"},
		{"Asia/Almaty", "2024-02-29T18:30:00Z", "2024-02-29"},
		{"Atlantic/Azores", "2026-03-29T00:59:59Z", "2026-03-28"},
		{"Pacific/Apia", "2011-12-30T09:59:59Z", "2011-12-29"},
		{"Pacific/Apia", "2011-12-30T10:00:00Z", "2011-12-31"},
		{"UTC", "1969-12-30T23:59:59Z", "1969-12-30"},
	} {
		at, err := time.Parse(time.RFC3339, c.instant)
		if err != nil {
			t.Fatal(err)
		}
		if got := civil.Of(at, location(t, c.zone)).String(); got != c.want {
			t.Errorf("%s in %s is %s, want %s", c.instant, c.zone, got, c.want)
		}
	}
}

func TestAddMonthsClampsToTheEnd(t *testing.T) {
	for _, c := range []struct {
		from   string
		months int
		want   string
	}{
		{"2027-01-31", 1, "2027-02-28"},
		{"2028-01-31", 1, "2028-02-29"},
		{"2027-01-31", 2, "2027-03-31"},
		{"2027-03-31", -1, "2027-02-28"},
		{"2027-05-31", 1, "2027-06-30"},
		{"2028-02-29", 12, "2029-02-28"},
		{"2028-02-29", 48, "2032-02-29"},
		{"2027-12-15", 1, "2028-01-15"},
		{"2027-01-15", -1, "2026-12-15"},
		{"2027-06-30", 0, "2027-06-30"},
		{"2096-02-29", 48, "2100-02-28"}, // 2100 is not a leap year
	} {
		if got := civil.MustParse(c.from).AddMonths(c.months).String(); got != c.want {
			t.Errorf("%s and %d months is %s, want %s", c.from, c.months, got, c.want)
		}
	}
}

func TestLeapDays(t *testing.T) {
	// The Gregorian rule (ISO 8601:2004, 3.2.1): every fourth year is a leap
	// year, but of the centuries only every fourth.
	for year, leap := range map[int]bool{1900: false, 2000: true, 2024: true, 2026: false, 2028: true, 2100: false, 2400: true} {
		day := civil.New(year, time.February, 29)
		if (day.Month() == time.February) != leap {
			t.Errorf("29 February %d is %v", year, day)
		}
		if got := civil.New(year+1, time.January, 1).Sub(civil.New(year, time.January, 1)); (got == 366) != leap {
			t.Errorf("%d has %d days", year, got)
		}
		if got := civil.New(year, time.December, 31).YearDay(); (got == 366) != leap {
			t.Errorf("the last day of %d is its %dth", year, got)
		}
	}
	if got := civil.MustParse("2028-02-28").AddDays(1).String(); got != "2028-02-29" {
		t.Errorf("the day after is %s", got)
	}
	if got := civil.MustParse("2027-02-28").AddDays(1).String(); got != "2027-03-01" {
		t.Errorf("the day after is %s", got)
	}
}

func TestParse(t *testing.T) {
	for _, bad := range []string{"", "2027-02-29", "2027-13-01", "2027-00-10", "2027-1-2", "27-01-02", "2027-01-02 ", "2027/01/02",
		"0000-01-01", "2027-01-02T00:00:00Z", "10000-01-01", "-2027-01-02", "２０２７-01-02"} {
		if d, err := civil.Parse(bad); err == nil || !d.IsZero() {
			t.Errorf("Parse(%q) = %v, %v", bad, d, err)
		}
	}
	if d := civil.MustParse("2027-05-12"); d.Year() != 2027 || d.Month() != time.May || d.Day() != 12 || d.Weekday() != time.Wednesday || d.YearDay() != 132 {
		t.Errorf("2027-05-12 is %d %v %d %v %d", d.Year(), d.Month(), d.Day(), d.Weekday(), d.YearDay())
	}
}

func TestParseTimeOfDay(t *testing.T) {
	for _, bad := range []string{"", "6:30", "06:60", "24:00", "06:30:00", "06.30", " 06:30"} {
		if at, err := civil.ParseTimeOfDay(bad); err == nil {
			t.Errorf("ParseTimeOfDay(%q) = %v", bad, at)
		}
	}
	for m := range civil.TimeOfDay(24 * 60) {
		if got := timeOfDay(t, m.String()); got != m {
			t.Errorf("%v reads as %v", m, got)
		}
	}
}

func TestNoDate(t *testing.T) {
	var none civil.Date
	day := civil.MustParse("2027-05-12")
	if !none.IsZero() || none.String() != "" || day.IsZero() {
		t.Error("no date is mistaken for one")
	}
	if civil.Max(none, day) != day || civil.Max(day, none) != day || civil.Min(none, day) != day || civil.Min(day, none) != day || !civil.Min(none, none).IsZero() {
		t.Error("no date counts in Min or Max")
	}
	later := day.AddDays(1)
	if civil.Max(day, later) != later || civil.Max(later, day) != later || civil.Min(day, later) != day || civil.Min(later, day) != day {
		t.Error("Min or Max takes the wrong one")
	}
	b, err := json.Marshal(map[string]civil.Date{"a": day, "b": none})
	if err != nil || string(b) != `{"a":"2027-05-12","b":""}` {
		t.Errorf("written as %s, %v", b, err)
	}
	var back map[string]civil.Date
	if err := json.Unmarshal(b, &back); err != nil || back["a"] != day || !back["b"].IsZero() {
		t.Errorf("read back as %v, %v", back, err)
	}
	if err := json.Unmarshal([]byte(`{"a":"2027-02-30"}`), &back); err == nil {
		t.Error("30 February was read")
	}
}

// dates draws a day from a range a little larger than a keeper's records.
func dates() *rapid.Generator[civil.Date] {
	first, last := civil.MustParse("1973-01-01"), civil.MustParse("2099-12-31")
	return rapid.Custom(func(t *rapid.T) civil.Date {
		return first.AddDays(rapid.IntRange(0, last.Sub(first)).Draw(t, "day"))
	})
}

// The reference for arithmetic is the calendar of the time package in UTC,
// which has no gaps.
func TestArithmeticAgreesWithTheTimePackage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := dates().Draw(t, "d")
		n := rapid.IntRange(-20000, 20000).Draw(t, "n")
		utc := time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, time.UTC)
		e := d.AddDays(n)
		if got, want := e.String(), utc.AddDate(0, 0, n).Format(time.DateOnly); got != want {
			t.Fatalf("%v and %d days is %s, want %s", d, n, got, want)
		}
		if e.Sub(d) != n || e.AddDays(-n) != d {
			t.Fatalf("%v and %d days is not undone", d, n)
		}
		if d.Weekday() != utc.Weekday() || d.YearDay() != utc.YearDay() {
			t.Fatalf("%v is a %v, day %d of its year", d, d.Weekday(), d.YearDay())
		}
		if d.Before(e) != (n > 0) || d.After(e) != (n < 0) || (d == e) != (n == 0) || d.Compare(e) != -sign(n) {
			t.Fatalf("%v and %v are in the wrong order", d, e)
		}
		if back, err := civil.Parse(d.String()); err != nil || back != d {
			t.Fatalf("%v reads back as %v, %v", d, back, err)
		}
		m := n % 600
		f := d.AddMonths(m)
		months := (f.Year()-d.Year())*12 + int(f.Month()) - int(d.Month())
		if months != m || f.Day() > d.Day() || f.Day() < d.Day() && f.AddDays(1).Day() != 1 {
			t.Fatalf("%v and %d months is %v", d, m, f)
		}
	})
}

func sign(n int) int { return min(max(n, -1), 1) }

// hazardous lists the zones of the table above.
var hazardous = []string{
	"America/Los_Angeles", "Europe/London", "Australia/Lord_Howe", "Pacific/Apia", "Africa/Cairo", "Africa/Casablanca", "Atlantic/Azores",
	"America/Santiago", "America/Havana", "Antarctica/Troll", "America/Vancouver", "Asia/Almaty", "Asia/Kathmandu", "America/Scoresbysund", "Asia/Tehran",
}

// watch finds the instant that At promises by looking at the clock every
// minute. It reports whether the clock ever shows the time t on d.
func watch(d civil.Date, t civil.TimeOfDay, loc *time.Location) (instant time.Time, shown bool) {
	wanted := d.String() + " " + t.String()
	start := time.Date(d.Year(), d.Month(), d.Day(), 0, 0, 0, 0, time.UTC).Add(-30 * time.Hour)
	var later time.Time
	for m := range 84 * 60 {
		now := start.Add(time.Duration(m) * time.Minute)
		switch wall := now.In(loc).Format("2006-01-02 15:04"); {
		case wall == wanted:
			return now, true
		case wall > wanted && later.IsZero():
			later = now
		}
	}
	return later, false
}

func TestAtAgreesWithAWatchedClock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom(hazardous).Draw(t, "zone")
		loc := location(t, zone)
		d := dates().Draw(t, "d")
		// Half of the dates drawn are near a clock change.
		if rapid.Bool().Draw(t, "near a change") {
			if _, end := d.At(0, loc).ZoneBounds(); !end.IsZero() {
				d = civil.Of(end, loc).AddDays(rapid.IntRange(-1, 1).Draw(t, "off"))
			}
		}
		at := civil.TimeOfDay(rapid.IntRange(0, 24*60-1).Draw(t, "at"))
		got := d.At(at, loc)
		want, shown := watch(d, at, loc)
		if !got.Equal(want) {
			t.Fatalf("%v %v in %s: got %v, a watched clock says %v", d, at, zone, got, want.In(loc))
		}
		if of := civil.Of(got, loc); of != d && shown {
			t.Fatalf("%v %v in %s is on %v", d, at, zone, of)
		}
	})
}

// In years described by a rule (from 2038 on), the time package is wrong about
// the end of the last day of a leap year.
func TestAtAtTheEndOfEveryYear(t *testing.T) {
	for _, zone := range hazardous {
		loc := location(t, zone)
		for year := 2026; year <= 2101; year++ {
			for d := civil.New(year, time.December, 29); d.Year() == year || d.Day() < 4; d = d.AddDays(1) {
				for _, at := range []civil.TimeOfDay{0, 6 * 60, 23*60 + 59} {
					if got, want := d.At(at, loc), fmt.Sprintf("%v %v", d, at); got.Format("2006-01-02 15:04") != want {
						t.Errorf("%s in %s is %v", want, zone, got)
					}
				}
			}
		}
	}
}

func TestAtIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		loc := location(t, rapid.SampledFrom(hazardous).Draw(t, "zone"))
		d := dates().Draw(t, "d")
		at := civil.TimeOfDay(rapid.IntRange(0, 24*60-1).Draw(t, "at"))
		today, tomorrow := d.At(at, loc), d.AddDays(1).At(at, loc)
		if tomorrow.Before(today) {
			t.Fatalf("%v at %v comes before the day before: %v, %v", d.AddDays(1), at, tomorrow, today)
		}
		if tomorrow.Equal(today) && civil.Of(today, loc) == d {
			t.Fatalf("%v and the next day have one instant at %v, but the day was not skipped", d, at)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"2027-05-12", "2028-02-29", "2027-02-29", "0001-01-01", "9999-12-31", "2027-5-12", "", "１-1-1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := civil.Parse(s)
		switch {
		case err != nil && !d.IsZero():
			t.Errorf("Parse(%q) = %v with the error %v", s, d, err)
		case err == nil && !d.IsZero() && d.String() != s:
			t.Errorf("Parse(%q) prints as %s", s, d)
		case err == nil && d.IsZero() && s != "1969-12-31":
			t.Errorf("Parse(%q) is no date", s)
		}
	})
}
