package cadence_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/teambition/rrule-go"
	"pgregory.net/rapid"

	"nestround/scheduler/cadence"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func every(n husbandry.Days, from string) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Fixed, Every: n, From: day(from)}
}

func weekdays(w ...time.Weekday) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: w}
}

func monthDays(d ...int) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Fixed, MonthDays: d}
}

func cronDays(spec string) husbandry.Cadence {
	return husbandry.Cadence{Pattern: husbandry.Fixed, Cron: spec}
}

// Dates in the keeper's words, grouped by the traps of calendars.
func TestDates(t *testing.T) {
	for _, c := range []struct {
		trap, words string
		cadence     husbandry.Cadence
		from, to    string
		want        string // dates, or only days of the month if all are in one month
	}{
		{"plain", "every second day", every(2, "2027-05-01"), "2027-05-09", "2027-05-14", "2027-05-09 2027-05-11 2027-05-13"},
		{"plain", "not before its first date", every(2, "2027-05-12"), "2027-05-01", "2027-05-14", "2027-05-12 2027-05-14"},
		{"plain", "Mondays and Thursdays", weekdays(time.Monday, time.Thursday), "2027-05-10", "2027-05-17", "2027-05-10 2027-05-13 2027-05-17"},
		{"plain", "the 1st and 15th", monthDays(15, 1), "2027-05-01", "2027-06-01", "2027-05-01 2027-05-15 2027-06-01"},
		{"plain", "cron: Mondays at half past six", cronDays("30 6 * * 1"), "2027-05-09", "2027-05-17", "2027-05-10 2027-05-17"},
		{"plain", "cron: many times a day is one date", cronDays("*/5 * 12 5 *"), "2027-05-01", "2027-05-31", "2027-05-12"},
		{"plain", "nothing in between", every(30, "2027-05-01"), "2027-05-02", "2027-05-30", ""},
		{"plain", "to before from", every(1, "2027-05-01"), "2027-05-12", "2027-05-11", ""},

		{"leap day", "every day over it", every(1, "2028-02-01"), "2028-02-28", "2028-03-01", "2028-02-28 2028-02-29 2028-03-01"},
		{"leap day", "every two days over it", every(2, "2028-02-26"), "2028-02-27", "2028-03-03", "2028-02-28 2028-03-01 2028-03-03"},
		{"leap day", "every two days without it", every(2, "2027-02-26"), "2027-02-27", "2027-03-03", "2027-02-28 2027-03-02"},
		{"leap day", "the 29th of each month", monthDays(29), "2027-02-01", "2027-03-31", "2027-02-28 2027-03-29"},
		{"leap day", "the 29th in a leap year", monthDays(29), "2028-02-01", "2028-03-31", "2028-02-29 2028-03-29"},
		{"leap day", "cron: 29 February", cronDays("0 0 29 2 *"), "2027-01-01", "2033-01-01", "2028-02-29 2032-02-29"},
		{"leap day", "cron: 29 February over 2100, which has none", cronDays("0 0 29 2 *"), "2096-01-01", "2105-01-01", "2096-02-29 2104-02-29"},

		{"year end", "every three days", every(3, "2026-12-30"), "2026-12-30", "2027-01-06", "2026-12-30 2027-01-02 2027-01-05"},
		{"year end", "the 31st", monthDays(31), "2026-12-01", "2027-01-31", "2026-12-31 2027-01-31"},
		{"year end", "Fridays", weekdays(time.Friday), "2026-12-28", "2027-01-08", "2027-01-01 2027-01-08"},
		{"year end", "cron: 1 January", cronDays("0 9 1 1 *"), "2026-06-01", "2028-06-01", "2027-01-01 2028-01-01"},

		{"month clamp", "the 31st in April", monthDays(31), "2027-04-01", "2027-05-31", "2027-04-30 2027-05-31"},
		{"month clamp", "the 30th and 31st meet once", monthDays(30, 31), "2027-04-01", "2027-05-31", "2027-04-30 2027-05-30 2027-05-31"},
		{"month clamp", "the 29th, 30th and 31st in February", monthDays(29, 30, 31), "2027-02-01", "2027-03-28", "2027-02-28"},
		{"month clamp", "the 28th is not moved", monthDays(28), "2027-02-01", "2027-03-31", "2027-02-28 2027-03-28"},
		{"month clamp", "cron does not clamp: the 31st", cronDays("0 0 31 * *"), "2027-04-01", "2027-06-30", "2027-05-31"},

		// Clocks go forward in Vienna on 28 March and back on 31 October 2027,
		// and forward at midnight in Santiago on 5 September. Dates are not
		// affected.
		{"clock change", "every day in spring", every(1, "2027-03-01"), "2027-03-27", "2027-03-29", "2027-03-27 2027-03-28 2027-03-29"},
		{"clock change", "every day in autumn", every(1, "2027-03-01"), "2027-10-30", "2027-11-01", "2027-10-30 2027-10-31 2027-11-01"},
		{"clock change", "cron: half past two, which spring skips", cronDays("30 2 * * *"), "2027-03-27", "2027-03-29", "2027-03-27 2027-03-28 2027-03-29"},
		{"clock change", "cron: half past one, which autumn repeats", cronDays("30 1 * * *"), "2027-11-06", "2027-11-08", "2027-11-06 2027-11-07 2027-11-08"},
		{"clock change", "cron: midnight, which Santiago skips", cronDays("0 0 * * *"), "2027-09-04", "2027-09-06", "2027-09-04 2027-09-05 2027-09-06"},

		{"impossible date", "cron: 30 February", cronDays("0 0 30 2 *"), "2027-01-01", "2050-01-01", ""},
		{"impossible date", "cron: 31 April, or the 5th weekday", cronDays("0 0 31 4 *"), "2027-01-01", "2050-01-01", ""},

		{"cron's own", "day of month and weekday: either is enough", cronDays("0 0 13 * 5"), "2027-08-01", "2027-08-20", "2027-08-06 2027-08-13 2027-08-20"},
		{"cron's own", "a step of days counts as a restriction", cronDays("0 0 */10 * 1"), "2027-05-01", "2027-05-12", "2027-05-01 2027-05-03 2027-05-10 2027-05-11"},
		{"cron's own", "names", cronDays("0 0 * may mon-tue"), "2027-05-08", "2027-05-12", "2027-05-10 2027-05-11"},
	} {
		t.Run(c.trap+": "+c.words, func(t *testing.T) {
			dates, err := occurrences(c.cadence, day(c.from), day(c.to))
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, d := range dates {
				got = append(got, d.String())
			}
			if s := strings.Join(got, " "); s != c.want {
				t.Errorf("got  %s\nwant %s", s, c.want)
			}
		})
	}
}

func TestImpossibleCadencesAreRejected(t *testing.T) {
	for _, c := range []struct {
		words   string
		cadence husbandry.Cadence
		says    string
	}{
		{"no rule", husbandry.Cadence{Pattern: husbandry.Fixed}, "needs an interval"},
		{"two rules", husbandry.Cadence{Pattern: husbandry.Fixed, Every: 2, From: day("2027-05-01"), Cron: "0 0 * * *"}, "several"},
		{"another pattern", husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 2}, "no dates of its own"},
		{"no first date", husbandry.Cadence{Pattern: husbandry.Fixed, Every: 2}, "first date"},
		{"backwards", every(-2, "2027-05-01"), "backwards"},
		{"the 32nd", monthDays(32), "no day 32"},
		{"the 0th", monthDays(0), "no day 0"},
		{"an eighth weekday", weekdays(7), "no weekday"},
		{"cron with a zone", cronDays("CRON_TZ=Europe/Vienna 0 6 * * *"), "zone"},
		{"cron with nothing but a zone", cronDays("TZ=UTC"), "zone"},
		{"cron with four fields", cronDays("0 0 * *"), "4 fields"},
		{"cron with seconds", cronDays("0 0 0 * * *"), "6 fields"},
		{"cron's nickname", cronDays("@daily"), "1 fields"},
		{"cron's interval", cronDays("@every 2 h x y z"), "cron expression"},
		{"Sunday as 7", cronDays("0 0 * * 7"), "Sunday is 0"},
		{"the 13th month", cronDays("0 0 1 13 *"), "cron expression"},
		{"empty cron fields", cronDays("     "), "0 fields"},
	} {
		t.Run(c.words, func(t *testing.T) {
			_, err := cadence.Of(c.cadence)
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want an error with %q", err, c.says)
			}
		})
	}
}

// The recurrence rules of RFC 5545, computed by github.com/teambition/rrule-go,
// compared with ours over thirty years.
func TestDatesAgreeWithRecurrenceRules(t *testing.T) {
	from, to := day("2020-01-01"), day("2050-12-31")
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	byDay := []rrule.Weekday{rrule.SU, rrule.MO, rrule.TU, rrule.WE, rrule.TH, rrule.FR, rrule.SA}
	check := func(words string, c husbandry.Cadence, rule rrule.ROption) {
		t.Helper()
		rule.Dtstart, rule.Until = start, time.Date(2050, 12, 31, 0, 0, 0, 0, time.UTC)
		r, err := rrule.NewRRule(rule)
		if err != nil {
			t.Fatal(words, err)
		}
		var want []civil.Date
		for _, at := range r.All() {
			want = append(want, civil.Of(at, time.UTC))
		}
		got, err := occurrences(c, from, to)
		if err != nil {
			t.Fatal(words, err)
		}
		if len(want) == 0 || !slices.Equal(got, want) {
			t.Errorf("%s: %d dates, the rule has %d", words, len(got), len(want))
		}
	}
	for n := 1; n <= 40; n++ {
		check("every n days", every(husbandry.Days(n), "2020-01-01"), rrule.ROption{Freq: rrule.DAILY, Interval: n})
	}
	for mask := 1; mask < 1<<7; mask++ {
		var ours []time.Weekday
		var theirs []rrule.Weekday
		for d := range 7 {
			if mask>>d&1 == 1 {
				ours, theirs = append(ours, time.Weekday(d)), append(theirs, byDay[d])
			}
		}
		check("weekdays", weekdays(ours...), rrule.ROption{Freq: rrule.WEEKLY, Byweekday: theirs})
	}
	for d := 1; d <= 28; d++ {
		check("a day of the month", monthDays(d), rrule.ROption{Freq: rrule.MONTHLY, Bymonthday: []int{d}})
		check("the same by cron", cronDays("17 5 "+itoa(d)+" * *"), rrule.ROption{Freq: rrule.MONTHLY, Bymonthday: []int{d}})
	}
	// The rule takes the last of the days 28 to d in each month: d, or the end
	// of the month.
	for d := 29; d <= 31; d++ {
		var upTo []int
		for i := 28; i <= d; i++ {
			upTo = append(upTo, i)
		}
		check("clamped to the month's end", monthDays(d), rrule.ROption{Freq: rrule.MONTHLY, Bymonthday: upTo, Bysetpos: []int{-1}})
		check("cron leaves short months out", cronDays("0 0 "+itoa(d)+" * *"), rrule.ROption{Freq: rrule.MONTHLY, Bymonthday: []int{d}})
	}
	check("cron: 29 February", cronDays("0 0 29 2 *"), rrule.ROption{Freq: rrule.YEARLY, Bymonth: []int{2}, Bymonthday: []int{29}})
	check("cron: weekdays in two months", cronDays("0 0 * 3,9 1-5"), rrule.ROption{Freq: rrule.DAILY, Bymonth: []int{3, 9}, Byweekday: byDay[1:6]})
}

func itoa(n int) string { return string(rune('0'+n/10)) + string(rune('0'+n%10)) }

func TestStepsAreAtEqualIntervals(t *testing.T) {
	var got []string
	for n, d := range cadence.Steps(day("2027-05-12"), 3, day("2027-05-19")) {
		got = append(got, itoa(n)+" "+d.String())
	}
	if want := []string{"01 2027-05-12", "02 2027-05-15", "03 2027-05-18"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	for range cadence.Steps(civil.Date{}, 3, day("2027-05-19")) {
		t.Error("steps from no date")
	}
	n := 0
	for range cadence.Steps(day("2027-05-12"), 0, day("2027-05-14")) {
		n++
	}
	if n != 3 {
		t.Errorf("an interval of nothing gave %d days, want 3 as for one day", n)
	}
}

// occurrences returns the dates of a fixed cadence between two days.
func occurrences(c husbandry.Cadence, from, to civil.Date) ([]civil.Date, error) {
	d, err := cadence.Of(c)
	if err != nil {
		return nil, err
	}
	return slices.Collect(d.Between(from, to)), nil
}

// next returns the first date on or after a day, or a zero date if there is
// none.
func next(dates cadence.Dates, d civil.Date) civil.Date {
	for first := range dates.Between(d, civil.MustParse("9999-12-31")) {
		return first
	}
	return civil.Date{}
}

func anyCadence(t *rapid.T) husbandry.Cadence {
	c := husbandry.Cadence{Pattern: husbandry.Fixed}
	switch rapid.IntRange(0, 3).Draw(t, "rule") {
	case 0:
		c.Every, c.From = husbandry.Days(rapid.IntRange(1, 60).Draw(t, "every")), day("2026-01-01").AddDays(rapid.IntRange(-400, 400).Draw(t, "from"))
	case 1:
		c.Weekdays = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) time.Weekday { return time.Weekday(rapid.IntRange(0, 6).Draw(t, "w")) }), 1, 4).Draw(t, "weekdays")
	case 2:
		c.MonthDays = rapid.SliceOfN(rapid.IntRange(1, 31), 1, 4).Draw(t, "days")
	case 3:
		c.Cron = rapid.SampledFrom([]string{"0 6 * * *", "0 6 31 * *", "0 0 29 2 *", "0 0 */3 * *", "0 0 13 * 5", "5 4 * 2,7 1", "0 0 30 2 *"}).Draw(t, "cron")
	}
	return c
}

// Last and Between give the same dates.
func TestLastAndBetweenAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dates, err := cadence.Of(anyCadence(t))
		if err != nil {
			t.Fatal(err)
		}
		from := day("2026-06-01").AddDays(rapid.IntRange(0, 2000).Draw(t, "day"))
		to := from.AddDays(rapid.IntRange(0, 500).Draw(t, "days"))
		all := slices.Collect(dates.Between(from, to))
		if !slices.IsSortedFunc(all, civil.Date.Compare) || len(slices.Compact(slices.Clone(all))) != len(all) {
			t.Fatalf("out of order or twice: %v", all)
		}
		on := make(map[civil.Date]bool, len(all))
		for _, d := range all {
			on[d] = true
		}
		for range 5 {
			d := from.AddDays(rapid.IntRange(0, to.Sub(from)).Draw(t, "asked"))
			if first := next(dates, d); on[d] != (first == d) || !first.IsZero() && first.Before(d) {
				t.Fatalf("next on or after %s is %s; is it a date: %v", d, first, on[d])
			}
			last := dates.Last(d)
			if on[d] != (last == d) || last.After(d) {
				t.Fatalf("last on or before %s is %s; is it a date: %v", d, last, on[d])
			}
			if !last.IsZero() && next(dates, last.AddDays(1)).Before(d) && !next(dates, last.AddDays(1)).IsZero() {
				t.Fatalf("between %s and %s there is another", last, d)
			}
		}
		if len(all) > 0 && dates.Last(to) != all[len(all)-1] {
			t.Fatalf("last by %s is %s, want %s", to, dates.Last(to), all[len(all)-1])
		}
	})
}

func FuzzCron(f *testing.F) {
	for _, s := range []string{"0 6 * * *", "TZ=UTC", "CRON_TZ=", "@daily", "*/0 * * * *", "0 0 30 2 *", "? ? ? ? ?", "0 0 1-31/7 JAN-DEC SUN", "0 0 */100 * *", "\x00 0 0 0 0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, spec string) {
		dates, err := cadence.Of(cronDays(spec))
		if spec == "" || err != nil {
			return
		}
		d := day("2027-05-12")
		if first := next(dates, d); !first.IsZero() && (first.Before(d) || first.Sub(d) > 9*366) {
			t.Errorf("%q: next after %s is %s", spec, d, first)
		}
		if last := dates.Last(d); !last.IsZero() && next(dates, last) != last {
			t.Errorf("%q: %s is its last date but not a date of it", spec, last)
		}
	})
}
