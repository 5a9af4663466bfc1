package season_test

import (
	"strings"
	"testing"
	"time"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// apart returns clutches with the given numbers of days between them. The first
// is of 1 April 2027.
func apart(gaps ...int) []season.Laid {
	list := laid("2027-04-01")
	for _, n := range gaps {
		list = append(list, season.Laid{Clutch: "next", On: list[len(list)-1].On.AddDays(n)})
	}
	return list
}

// A season ends after four months without eggs (common practice), or after one
// and a half times the longest interval of the care sheet.
func TestFourMonthsWithoutEggsEndASeason(t *testing.T) {
	slow := wallLizard
	slow.Laying.Interval = husbandry.Span{From: 60, To: 120}
	for _, c := range []struct {
		words     string
		sheet     husbandry.Species
		days      int
		season    int // clutches of the last season
		intervals int
	}{
		{"a day short of four months", wallLizard, 119, 2, 1},
		{"four months", wallLizard, 120, 1, 0},
		{"a slow species, a day short of one and a half intervals", slow, 179, 2, 1},
		{"a slow species, one and a half intervals", slow, 180, 1, 0},
	} {
		f := season.Female{ID: "F03", Sheet: c.sheet, Clutches: apart(c.days)}
		if got := len(season.ThisSeason(f)); got != c.season {
			t.Errorf("%s: %d clutches this season, want %d", c.words, got, c.season)
		}
		if got := len(season.IntervalsOf("F03", &c.sheet, f.Clutches)); got != c.intervals {
			t.Errorf("%s: %d intervals, want %d", c.words, got, c.intervals)
		}
	}
	// A mating without eggs belongs to an earlier season after the same time.
	for days, want := range map[int]string{119: "mated-2027-04-01", 120: "mated-2027-07-30"} {
		first := day("2027-04-01")
		f := season.Female{ID: "F03", Sheet: wallLizard, Mated: []civil.Date{first, first.AddDays(days)}, On: first.AddDays(days)}
		if got := season.LayingTime(f).Event; got != want {
			t.Errorf("mated again after %d days: eggs expected %s, want %s", days, got, want)
		}
	}
	for days, want := range map[int]string{119: "mated-2027-04-01", 120: "paired-2027-07-30"} {
		first := day("2027-04-01")
		f := season.Female{ID: "F03", Sheet: wallLizard, Mated: []civil.Date{first}, Paired: first.AddDays(days), On: first.AddDays(days)}
		if got := season.LayingTime(f).Event; got != want {
			t.Errorf("paired %d days after a mating: eggs expected %s, want %s", days, got, want)
		}
	}
}

// An interval longer than 1.6 times the usual interval contains a clutch that
// the keeper missed (common practice), so it is no interval of the female.
// While few own intervals are known, the usual interval of wall lizards is 36
// days, the middle of the care sheet's 17 to 55. So the limit is 57.6 days.
func TestALongIntervalMeansAMissedClutch(t *testing.T) {
	for days, basis := range map[int]string{57: "(1 own interval, care sheet)", 58: "(care sheet)"} {
		clutches := apart(days)
		f := season.Female{ID: "F03", Sheet: wallLizard, Clutches: clutches, On: clutches[1].On,
			Colony: season.NewColony(wallLizard.Laying.Interval, season.IntervalsOf("F03", &wallLizard, clutches))}
		if w := season.LayingTime(f); !strings.HasSuffix(w.Basis, basis) {
			t.Errorf("after an interval of %d days: %q, want %q", days, w.Basis, basis)
		}
	}
	// A female who lays at half the sheet's pace defines the usual interval
	// from her third interval on, because the sheet counts as three.
	for n, basis := range map[int]string{2: "(care sheet)", 3: "(3 own intervals, care sheet)"} {
		var gaps []int
		for range n {
			gaps = append(gaps, 72)
		}
		sheet := wallLizard
		sheet.Laying.Clutches = 0
		clutches := apart(gaps...)
		f := season.Female{ID: "F03", Sheet: sheet, Clutches: clutches, On: clutches[n].On,
			Colony: season.NewColony(sheet.Laying.Interval, season.IntervalsOf("F03", &sheet, clutches))}
		if w := season.LayingTime(f); !strings.HasSuffix(w.Basis, basis) {
			t.Errorf("after %d intervals of 72 days: %q, want %q", n, w.Basis, basis)
		}
	}
	// The usual interval is the median, in any order of the intervals.
	sheet := wallLizard
	sheet.Laying.Clutches = 0
	clutches := apart(72, 20, 20, 20)
	f := season.Female{ID: "F03", Sheet: sheet, Clutches: clutches, On: clutches[4].On,
		Colony: season.NewColony(sheet.Laying.Interval, season.IntervalsOf("F03", &sheet, clutches))}
	if w := season.LayingTime(f); !strings.HasSuffix(w.Basis, "(3 own intervals, care sheet)") {
		t.Errorf("after 72 days and three times 20: %q", w.Basis)
	}
}

// A season may last almost a year. Half a year later, in the south, it may have
// begun in the year before last.
func TestASeasonMayLastAlmostAYear(t *testing.T) {
	sheet := wallLizard
	sheet.Pairing = husbandry.PairingSeason{FromMonth: time.November, FromDay: 1, UntilMonth: time.October, UntilDay: 15}
	for latitude, want := range map[float64]string{48: "2026-11-01 to 2027-10-15", -48: "2026-05-01 to 2027-04-15"} {
		w := season.PairingTime(season.Female{Sheet: sheet, Latitude: latitude, On: day("2027-03-01")})
		if got := w.From.String() + " to " + w.To.String(); got != want {
			t.Errorf("at latitude %v: %s, want %s", latitude, got, want)
		}
	}
}

// The care sheet has a pairing season and nothing else. Then a female rests for
// four weeks after laying, and eggs of a pairing show within a month (common
// practice).
func TestPairingWithNothingButASeasonOnTheSheet(t *testing.T) {
	sheet := husbandry.Species{ID: "x", Pairing: wallLizard.Pairing}
	for _, c := range []struct {
		words string
		f     season.Female
		from  string // "" for none
	}{
		{"four weeks after a clutch", season.Female{Clutches: laid("2027-04-20"), On: day("2027-04-21")}, "2027-05-18"},
		{"the month after a pairing is not over", season.Female{Paired: day("2027-04-13"), Parted: day("2027-04-20"), On: day("2027-05-20")}, ""},
		{"the month after a pairing is over", season.Female{Paired: day("2027-04-13"), Parted: day("2027-04-20"), On: day("2027-05-21")}, "2027-05-21"},
		{"no eggs were laid by the season's last day of rest", season.Female{Clutches: laid("2027-06-02"), On: day("2027-06-03")}, "2027-06-30"},
		{"the rest outlasts the season by a day", season.Female{Clutches: laid("2027-06-03"), On: day("2027-06-04")}, ""},
	} {
		c.f.Sheet = sheet
		if w := season.PairingTime(c.f); w.Known != (c.from != "") || w.From.String() != c.from {
			t.Errorf("%s: from %q, want %q: %s", c.words, w.From, c.from, w.Basis)
		}
	}
}

// With an indoor calendar a winter may end far from the care sheet's season, 15
// March to 30 June. If it ends more than three months before or after, it opens
// a season of its own.
func TestAWinterFarFromTheSeasonOpensItsOwn(t *testing.T) {
	for _, c := range []struct {
		words, pair, to string
	}{
		{"three months early: the season opens sooner and ends as always", "2026-12-13", "2027-06-30"},
		{"a day earlier: a season as long as the usual one", "2026-12-12", "2027-03-29"},
	} {
		pair := day(c.pair)
		f := season.Female{Sheet: wallLizard, On: pair, Winters: []season.Winter{{Fast: pair.AddDays(-90), Warm: pair.AddDays(-14), Pair: pair, PairBy: pair.AddDays(28)}}}
		if w := season.PairingTime(f); w.From != pair || w.To.String() != c.to {
			t.Errorf("%s: %s to %s, want %s to %s", c.words, w.From, w.To, c.pair, c.to)
		}
	}
}

// Nobody looks for eggs in the first week after a clutch, or in the two weeks
// after a mating, unless the eggs are expected within the following week
// (common practice).
func TestWhenEggsAreLookedFor(t *testing.T) {
	late := wallLizard
	late.Laying.AfterMating = husbandry.Span{From: 40, To: 50}
	for _, c := range []struct {
		words string
		f     season.Female
		from  string
	}{
		{"a week after a clutch", season.Female{Sheet: wallLizard, Clutches: laid("2027-04-20")}, "2027-04-27"},
		{"a week before the first day of a short span", season.Female{Sheet: wallLizard, Mated: days("2027-04-20")}, "2027-05-03"},
		{"two weeks after the mating of a long span", season.Female{Sheet: late, Mated: days("2027-04-20")}, "2027-05-04"},
	} {
		c.f.On = day("2027-04-20")
		if w := season.GravidTime(c.f, season.LayingTime(c.f)); w.From.String() != c.from {
			t.Errorf("%s: from %s, want %s", c.words, w.From, c.from)
		}
	}
}

// A care sheet never narrows the window to one day. If the sheet gives one day,
// the 90 % window is 1.645 standard deviations to either side. The standard
// deviation is two days after a clutch and one day after a mating.
func TestASheetWithOneDayStillGivesAWindow(t *testing.T) {
	sheet := wallLizard
	sheet.Laying.Interval, sheet.Laying.AfterMating = husbandry.Span{From: 30, To: 30}, husbandry.Span{From: 25, To: 25}
	for _, c := range []struct {
		words    string
		f        season.Female
		from, to int // days after 20 April
	}{
		{"after a clutch", season.Female{Clutches: laid("2027-04-20")}, 27, 33},
		{"after a mating", season.Female{Mated: days("2027-04-20")}, 23, 27},
	} {
		c.f.Sheet, c.f.On = sheet, day("2027-04-20")
		w := season.LayingTime(c.f)
		if from, to := w.From.Sub(c.f.On), w.To.Sub(c.f.On); from != c.from || to != c.to {
			t.Errorf("%s: day %d to %d, want %d to %d", c.words, from, to, c.from, c.to)
		}
		// The window contains 90 % of the clutches of the four in five females
		// that lay.
		if p := w.Chance(w.From, w.To); p < 0.7 || p > 0.8 {
			t.Errorf("%s: she lays within the window with %.2f", c.words, p)
		}
	}
}
