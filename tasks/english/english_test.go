package english_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// said is a produced text and the expected text.
type said struct{ got, want string }

func check(t *testing.T, list []said) {
	t.Helper()
	for _, s := range list {
		if s.got != s.want {
			t.Errorf("got %q, want %q", s.got, s.want)
		}
	}
}

func TestCounts(t *testing.T) {
	type nights int
	check(t, []said{
		{english.Count(1, "egg"), "1 egg"},
		{english.Count(6, "egg"), "6 eggs"},
		{english.Count(0, "egg"), "0 eggs"},
		{english.Count(-1, "egg"), "-1 eggs"},
		{english.Count(nights(2), "lamp change"), "2 lamp changes"},
		{english.Count(1, "change of water"), "1 change of water"},
		{english.Count(2, "change of water"), "2 changes of water"},
		{english.Count(3, "small box of crickets"), "3 small boxes of crickets"},
		{english.Count(2, "own clutch"), "2 own clutches"},
		{english.Count(2, "watch"), "2 watches"},
		{english.Count(2, "brush"), "2 brushes"},
		{english.Count(2, "daybook entry"), "2 daybook entries"},
		{english.Count(2, "tray"), "2 trays"},
		{english.Count(2, "y"), "2 ys"},
		{english.Count(2, "gas"), "2 gases"},
		{english.Count(1, "species"), "1 species"},
		{english.Count(3, "species"), "3 species"},
		{english.Count(3, "young"), "3 young"},
		{english.Count(3, ""), "3 "},
		{english.CountForms(1, "line is", "lines are"), "1 line is"},
		{english.CountForms(0, "line is", "lines are"), "0 lines are"},
		{english.CountForms(nights(4), "line is", "lines are"), "4 lines are"},
		{english.Days(1), "1 day"},
		{english.Days(nights(10)), "10 days"},
		{english.DayRange(52, 60), "52-60 days"},
		{english.DayRange(nights(1), 1), "1-1 days"},
	})
}

func TestPluralNames(t *testing.T) {
	check(t, []said{
		{english.PluralName("wall lizard"), "wall lizards"},
		{english.PluralName("wall lizards"), "wall lizards"},
		{english.PluralName("unknown-gecko"), "unknown-geckos"},
		{english.PluralName(""), ""},
	})
}

func TestOrdinals(t *testing.T) {
	for n, want := range map[int]string{
		0: "0th", 1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 10: "10th", 11: "11th", 12: "12th", 13: "13th", 14: "14th",
		21: "21st", 22: "22nd", 23: "23rd", 31: "31st", 100: "100th", 101: "101st", 111: "111th", 112: "112th", 113: "113th", 122: "122nd",
	} {
		if got := english.Ordinal(n); got != want {
			t.Errorf("%d is %q, want %q", n, got, want)
		}
	}
}

func TestPercents(t *testing.T) {
	check(t, []said{
		{english.Percent(0.18), "18 %"},
		{english.Percent(0.006), "1 %"},
		{english.Percent(0.005), "under 1 %"},
		{english.Percent(0), "under 1 %"},
		{english.Percent(0.994), "99 %"},
		{english.Percent(0.995), "over 99 %"},
		{english.Percent(1), "over 99 %"},
		{english.PercentOrCertain(0), "0 %"},
		{english.PercentOrCertain(0.009), "under 1 %"},
		{english.PercentOrCertain(0.01), "1 %"},
		{english.PercentOrCertain(0.99), "99 %"},
		{english.PercentOrCertain(0.991), "over 99 %"},
		{english.PercentOrCertain(1), "100 %"},
		{english.PercentRounded(0.004), "0 %"},
		{english.PercentRounded(0.716), "72 %"},
		{english.PercentRounded(1), "100 %"},
		{english.PercentRange(0.4, 0.615), "40 to 62 %"},
		{english.PercentChange(0.124), "+12 %"},
		{english.PercentChange(-0.03), "-3 %"},
	})
}

// A forecast never calls an event impossible or certain.
func TestNoForecastIsCertain(t *testing.T) {
	for i := range 10_001 {
		p := float64(i) / 10_000
		if got := english.Percent(p); got == "0 %" || got == "100 %" {
			t.Errorf("%v is %q", p, got)
		}
	}
}

func TestHours(t *testing.T) {
	check(t, []said{
		{english.Hours(13 * time.Hour), "13 h"},
		{english.Hours(12*time.Hour + 45*time.Minute), "12 h 45 min"},
		{english.Hours(45*time.Minute + 59*time.Second), "45 min"},
		{english.Hours(0), "0 h"},
		{english.AboutMinutes(0), ""},
		{english.AboutMinutes(-5), ""},
		{english.AboutMinutes(1), "about 1 minute"},
		{english.AboutMinutes(90), "about 90 minutes"},
		{english.AboutMinutes(91), "about 1 h 31 min"},
		{english.AboutMinutes(120), "about 2 h"},
		{english.AboutMinutes(130), "about 2 h 10 min"},
	})
}

func TestLatitudes(t *testing.T) {
	check(t, []said{
		{english.Latitude(48.2), "48.2° N"},
		{english.Latitude(48.207), "48.21° N"},
		{english.Latitude(-33), "33° S"},
		{english.Latitude(0), "the equator"},
		{english.Latitude(-0.004), "the equator"},
		{english.LatitudeInFull(48.2), "48.2° north"},
		{english.LatitudeInFull(-33), "33.0° south"},
		{english.LatitudeInFull(0), "0.0° north"},
	})
}

func TestDates(t *testing.T) {
	on, d, before := date("2027-05-01"), date("2027-05-10"), date("2026-12-03")
	check(t, []said{
		{english.Day(d, on), "10 May"},
		{english.Day(before, on), "3 December 2026"},
		{english.Weekday(d, on), "Mon 10 May"},
		{english.Weekday(before, on), "Thu 3 December 2026"},
		{english.ShortDay(d, on), "10 May"},
		{english.ShortDay(before, on), "3 Dec 2026"},
		{english.BareDay(before), "3 December"},
		{english.BareWeekday(before), "Thu 3 December"},
		{english.BareShortDay(before), "3 Dec"},
		{english.BareShortWeekday(before), "Thu 3 Dec"},
		{english.ShortWeekday(d, on), "Mon 10 May"},
		{english.ShortWeekday(before, on), "Thu 3 Dec 2026"},
		{english.Date(before), "3 December 2026"},
		{english.ShortDate(before), "3 Dec 2026"},
		{english.ShortDateInColumn(before), "03 Dec 2026"},
		{english.ShortWeekdayDate(before), "Thu 3 Dec 2026"},
		{english.LongDate(before), "Thursday 3 December 2026"},
		{english.MonthYear(before), "December 2026"},
	})
}

func TestMoments(t *testing.T) {
	at := time.Date(2027, time.January, 10, 23, 5, 0, 0, time.FixedZone("", 2*60*60))
	check(t, []said{
		{english.Moment(at), "10 Jan 2027 23:05"},
		{english.Moment(at.UTC()), "10 Jan 2027 21:05"},
		{english.WeekdayMoment(at), "Sun 10 Jan 23:05"},
	})
}

func TestSpans(t *testing.T) {
	on := date("2027-05-01")
	span := func(from, to string) string { return english.Span(date(from), date(to), on) }
	print := func(from, to string) string { return english.SpanInPrint(date(from), date(to)) }
	short := func(from, to string) string { return english.ShortSpan(date(from), date(to)) }
	long := func(from, to string) string { return english.LongSpan(date(from), date(to)) }
	check(t, []said{
		{span("2027-06-22", "2027-06-22"), "22 June"},
		{span("2027-06-22", "2027-06-28"), "22-28 June"},
		{span("2027-06-28", "2027-07-03"), "28 June to 3 July"},
		{span("2026-06-22", "2026-06-22"), "22 June 2026"},
		{span("2026-06-22", "2026-06-28"), "22-28 June 2026"},
		{span("2026-12-28", "2027-01-03"), "28 December 2026 to 3 January"},
		{span("2026-06-22", "2027-06-28"), "22 June 2026 to 28 June"},
		{print("2027-06-22", "2027-06-22"), "22 June"},
		{print("2027-06-22", "2027-06-28"), "22–28 June"},
		{print("2026-12-28", "2027-01-03"), "28 December to 3 January"},
		{print("2026-06-22", "2027-06-28"), "22 June to 28 June"},
		{short("2027-02-03", "2027-02-03"), "3 Feb"},
		{short("2027-02-03", "2027-02-05"), "3 Feb to 5 Feb"},
		{short("2027-01-22", "2027-02-03"), "22 Jan to 3 Feb"},
		{long("2027-05-10", "2027-05-10"), "Monday 10 May 2027"},
		{long("2027-05-10", "2027-05-14"), "Monday 10 May to Friday 14 May 2027"},
	})
}

// For any days, a span ends with the words for its last day and begins with the
// number of its first day.
func TestSpansNameTheirEnds(t *testing.T) {
	on := date("2027-01-15")
	for from := date("2026-11-20"); from.Before(date("2027-03-10")); from = from.AddDays(1) {
		for days := range 70 {
			to := from.AddDays(days)
			got := english.Span(from, to, on)
			first, _, _ := strings.Cut(english.Day(from, on), " ")
			if !strings.HasSuffix(got, english.Day(to, on)) || !strings.HasPrefix(got, first) {
				t.Fatalf("%v to %v is %q", from, to, got)
			}
		}
	}
}

func TestLists(t *testing.T) {
	check(t, []said{
		{english.List(nil), ""},
		{english.List([]string{"Ada"}), "Ada"},
		{english.List([]string{"Ada", "Bea"}), "Ada and Bea"},
		{english.List([]string{"Ada", "Bea", "Cleo"}), "Ada, Bea and Cleo"},
		{english.Or(nil), ""},
		{english.Or([]string{"C1"}), "C1"},
		{english.Or([]string{"C1", "C2"}), "C1 or C2"},
		{english.Or([]string{"C1", "C2", "C3"}), "C1, C2 or C3"},
	})
	words := []string{"Ada", "Bea", "Cleo"}
	english.List(words)
	if !slices.Equal(words, []string{"Ada", "Bea", "Cleo"}) {
		t.Errorf("the list itself was changed: %q", words)
	}
}

func TestFirstLetters(t *testing.T) {
	check(t, []said{
		{english.UpperFirst("clutch C27-04"), "Clutch C27-04"},
		{english.UpperFirst("étage"), "Étage"},
		{english.UpperFirst("7 eggs"), "7 eggs"},
		{english.UpperFirst(""), ""},
		{english.LowerFirst("Wall lizard"), "wall lizard"},
		{english.LowerFirst("Gecko"), "gecko"},
		{english.LowerFirst("Ibiza Wall Lizard"), "Ibiza Wall Lizard"},
		{english.LowerFirst("Éidechse"), "éidechse"},
		{english.LowerFirst(""), ""},
		{english.Article("enclosure"), "an enclosure"},
		{english.Article("rack"), "a rack"},
		{english.Article(""), "a "},
	})
}

func FuzzFirstLetters(f *testing.F) {
	for _, s := range []string{"", "wall lizard", "Ibiza Wall Lizard", "éa", "\xff b", " x", "ǆ", "İ"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, got := range []string{english.UpperFirst(s), english.LowerFirst(s)} {
			_, a := utf8.DecodeRuneInString(s)
			_, b := utf8.DecodeRuneInString(got)
			if got[b:] != s[a:] {
				t.Errorf("%q became %q: more than its first letter", s, got)
			}
			if utf8.ValidString(s) && !utf8.ValidString(got) {
				t.Errorf("%q became %q, which is no UTF-8", s, got)
			}
		}
	})
}

// A plural begins like its singular, and Count always writes the number.
func FuzzCount(f *testing.F) {
	for _, noun := range []string{"", "egg", "entry", "change of water", " of ", "y", "é", "box of box of box"} {
		f.Add(2, noun)
	}
	f.Add(math.MinInt, "day")
	f.Fuzz(func(t *testing.T, n int, noun string) {
		if many := english.Plural(noun); utf8.ValidString(noun) && !utf8.ValidString(many) || len(many) < len(noun) {
			t.Errorf("several %q are %q", noun, many)
		}
		number, _, _ := strings.Cut(english.Count(n, noun), " ")
		if ordinal := english.Ordinal(n); len(ordinal) != len(number)+2 || !strings.HasPrefix(ordinal, number) {
			t.Errorf("%d is %q and %q", n, number, ordinal)
		}
	})
}

func date(s string) civil.Date { return civil.MustParse(s) }
