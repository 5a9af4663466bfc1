package season_test

import (
	"strings"
	"testing"
	"time"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// apart are clutches that follow one another after so many days, from 1 April
// 2027 on.
func apart(gaps ...int) []season.Laid {
	list := laid("2027-04-01")
	for _, n := range gaps {
		list = append(list, season.Laid{Clutch: "next", On: list[len(list)-1].On.AddDays(n)})
	}
	return list
}

// A season ends with four months without eggs (common practice), or with half
// as much again as the longest interval that the care sheet knows.
func TestWhatPartsTwoSeasons(t *testing.T) {
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
		{"of a slow species, a day short of half as much again", slow, 179, 2, 1},
		{"of a slow species, half as much again", slow, 180, 1, 0},
	} {
		f := season.Female{ID: "F03", Sheet: c.sheet, Clutches: apart(c.days)}
		if got := len(season.ThisSeason(f)); got != c.season {
			t.Errorf("%s: %d clutches this season, want %d", c.words, got, c.season)
		}
		if got := len(season.IntervalsOf("F03", &c.sheet, f.Clutches)); got != c.intervals {
			t.Errorf("%s: %d intervals, want %d", c.words, got, c.intervals)
		}
	}
	// A mating from which no eggs came is of an earlier season after as long.
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

// An interval of more than 1.6 times the usual one holds a clutch that nobody
// saw (common practice): the interval is none of her own. The usual one of
// wall lizards is 36 days, the middle of the care sheet's 17 to 55, as long as
// few of the keeper's own are known: 57.6 days are the limit.
func TestAClutchThatNobodySaw(t *testing.T) {
	for days, basis := range map[int]string{57: "(1 own interval, care sheet)", 58: "(care sheet)"} {
		clutches := apart(days)
		f := season.Female{ID: "F03", Sheet: wallLizard, Clutches: clutches, On: clutches[1].On,
			Colony: season.NewColony(wallLizard.Laying.Interval, season.IntervalsOf("F03", &wallLizard, clutches))}
		if w := season.LayingTime(f); !strings.HasSuffix(w.Basis, basis) {
			t.Errorf("after an interval of %d days: %q, want %q", days, w.Basis, basis)
		}
	}
	// A female who lays twice as slowly as the sheet has it becomes the usual
	// one with her third interval: the sheet counts as three.
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
	// The usual one is the middle of all, in whatever order they came.
	sheet := wallLizard
	sheet.Laying.Clutches = 0
	clutches := apart(72, 20, 20, 20)
	f := season.Female{ID: "F03", Sheet: sheet, Clutches: clutches, On: clutches[4].On,
		Colony: season.NewColony(sheet.Laying.Interval, season.IntervalsOf("F03", &sheet, clutches))}
	if w := season.LayingTime(f); !strings.HasSuffix(w.Basis, "(3 own intervals, care sheet)") {
		t.Errorf("after 72 days and three times 20: %q", w.Basis)
	}
}

// A season may last for almost all of a year: half a year later in the south it
// may have begun in the year before last.
func TestASeasonOfAlmostAYear(t *testing.T) {
	sheet := wallLizard
	sheet.Pairing = husbandry.PairingSeason{FromMonth: time.November, FromDay: 1, UntilMonth: time.October, UntilDay: 15}
	for latitude, want := range map[float64]string{48: "2026-11-01 to 2027-10-15", -48: "2026-05-01 to 2027-04-15"} {
		w := season.PairingTime(season.Female{Sheet: sheet, Latitude: latitude, On: day("2027-03-01")})
		if got := w.From.String() + " to " + w.To.String(); got != want {
			t.Errorf("at latitude %v: %s, want %s", latitude, got, want)
		}
	}
}

// What is done where the care sheet says nothing but the season: four weeks of
// rest after laying, and a month in which eggs of a pairing show (common
// practice).
func TestAPairingSeasonAlone(t *testing.T) {
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

// A winter of an indoor calendar opens a season of its own where it ends more
// than three months before or after the care sheet's, 15 March to 30 June.
func TestAWinterFarFromTheSeason(t *testing.T) {
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

// Eggs are not looked for in the first week after a clutch, nor in the two
// weeks after a mating, unless they are expected within the week after
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

// No care sheet promises a day: where it names one, the window of nine in ten
// is still 1.645 standard deviations either way, of two days after a clutch and
// of one after a mating.
func TestASheetThatNamesADay(t *testing.T) {
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
		// Nine in ten are within, of four females in five: so many lay at all.
		if p := w.Chance(w.From, w.To); p < 0.7 || p > 0.8 {
			t.Errorf("%s: she lays within the window with %.2f", c.words, p)
		}
	}
}
