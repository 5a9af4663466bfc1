package season_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse(s) }

func days(list ...string) []civil.Date {
	var out []civil.Date
	for _, s := range list {
		out = append(out, day(s))
	}
	return out
}

func laid(list ...string) []season.Laid {
	var out []season.Laid
	for _, s := range list {
		out = append(out, season.Laid{Clutch: husbandry.ID("F03-" + s), On: day(s)})
	}
	return out
}

// winters reads winters written as "fast warm pair pair-by".
func winters(list ...string) (out []season.Winter) {
	for _, s := range list {
		d := days(strings.Fields(s)...)
		out = append(out, season.Winter{Fast: d[0], Warm: d[1], Pair: d[2], PairBy: d[3]})
	}
	return out
}

// wallLizard has the intervals of Ji & Braña 2000: 30.4 days (16.8-54.7) from
// the first clutch to the second, and three clutches at most. The season and
// the days from mating to laying are common practice.
var wallLizard = husbandry.Species{
	ID:      "wall-lizard",
	Laying:  husbandry.Laying{AfterMating: husbandry.Span{From: 20, To: 30}, Interval: husbandry.Span{From: 17, To: 55}, Clutches: 3},
	Pairing: husbandry.PairingSeason{FromMonth: time.March, FromDay: 15, UntilMonth: time.June, UntilDay: 30},
}

func TestWhenAFemaleMayBePaired(t *testing.T) {
	winter := wallLizard
	single := wallLizard
	single.Laying.Clutches = 1
	winter.Pairing = husbandry.PairingSeason{FromMonth: time.November, FromDay: 1, UntilMonth: time.February, UntilDay: 29}
	for _, c := range []struct {
		words    string
		f        season.Female
		from, to string // "" for none
		says     string
	}{
		{"this season", season.Female{On: day("2027-05-12")}, "2027-03-15", "2027-06-30", "15 March to 30 June"},
		{"the next one, once this is over", season.Female{On: day("2027-07-01")}, "2028-03-15", "2028-06-30", "season"},
		{"its last day", season.Female{On: day("2027-06-30")}, "2027-03-15", "2027-06-30", "season"},
		{"south of the equator half a year later", season.Female{On: day("2027-10-12"), Latitude: -33.9}, "2027-09-15", "2027-12-30", "15 September"},
		{"a season over new year, north", season.Female{Sheet: winter, On: day("2027-01-12")}, "2026-11-01", "2027-02-28", "season"},
		{"a season over new year, in a leap year", season.Female{Sheet: winter, On: day("2028-01-12")}, "2027-11-01", "2028-02-29", "season"},
		{"a season over new year, south", season.Female{Sheet: winter, On: day("2027-06-12"), Latitude: -1}, "2027-05-01", "2027-08-28", "season"},
		{"rest after a clutch", season.Female{On: day("2027-05-12"), Clutches: laid("2027-05-10")}, "2027-05-27", "2027-06-30", "rested 17 days since her clutch of 10 May"},
		{"a late clutch leaves no time", season.Female{On: day("2027-06-25"), Clutches: laid("2027-06-20")}, "", "", "rests"},
		{"the limit of a season is reached", season.Female{On: day("2027-06-12"), Clutches: laid("2027-04-01", "2027-05-01", "2027-06-01")}, "", "", "3 clutches this season"},
		{"the limit is one clutch", season.Female{Sheet: single, On: day("2027-06-12"), Clutches: laid("2027-06-01")}, "", "", "1 clutch this season"},
		{"last year's clutches do not count", season.Female{On: day("2027-05-12"), Clutches: laid("2026-04-01", "2026-05-01", "2026-06-01")}, "2027-03-15", "2027-06-30", "season"},
		{"gravid", season.Female{On: day("2027-05-12"), Gravid: day("2027-05-01")}, "", "", "carries eggs since 1 May"},
		{"with a male", season.Female{On: day("2027-05-12"), Paired: day("2027-05-01")}, "", "", "with a male since 1 May"},
		{"separated, and her eggs are still expected", season.Female{On: day("2027-05-12"), Paired: day("2027-05-01"), Parted: day("2027-05-08")}, "", "", "together with a male from 1 May to 8 May, and again from 8 June if no eggs come"},
		{"a pairing without eggs", season.Female{On: day("2027-06-08"), Paired: day("2027-05-01"), Parted: day("2027-05-08")}, "2027-06-08", "2027-06-30", "and no eggs came"},
		{"no time for another in this season", season.Female{On: day("2027-06-12"), Paired: day("2027-06-01"), Parted: day("2027-06-08")}, "", "", "together with a male from 1 June to 8 June"},
		{"a pairing of last season", season.Female{On: day("2027-05-12"), Paired: day("2026-06-20"), Parted: day("2026-06-27")}, "2027-03-15", "2027-06-30", "season"},
		{"a pairing with eggs", season.Female{On: day("2027-06-12"), Paired: day("2027-05-01"), Parted: day("2027-05-08"), Clutches: laid("2027-05-30")}, "2027-06-16", "2027-06-30", "rested"},
		{"seen mating", season.Female{On: day("2027-05-12"), Mated: days("2027-05-03")}, "", "", "mating on 3 May, and again from 3 June"},
		{"seen mating, and separated later", season.Female{On: day("2027-05-12"), Mated: days("2027-05-03"), Paired: day("2027-05-01"), Parted: day("2027-05-08")}, "", "", "again from 8 June"},
		{"seen mating before her last clutch", season.Female{On: day("2027-05-30"), Mated: days("2027-04-03"), Clutches: laid("2027-05-01")}, "2027-05-18", "2027-06-30", "rested"},
		{"two weeks after a winter, once warm", season.Female{On: day("2027-05-12"), Winters: winters("2026-11-01 2027-02-13 2027-02-27 2027-03-27")}, "2027-02-27", "2027-06-30", "after the winter, warm again on 13 February"},
		{"a long winter leaves the usual weeks", season.Female{On: day("2027-06-12"), Winters: winters("2026-11-01 2027-05-20 2027-06-03 2027-07-01")}, "2027-06-03", "2027-07-01", "after the winter"},
		{"a winter of an indoor calendar has a season as long", season.Female{On: day("2027-09-12"), Winters: winters("2027-05-01 2027-08-13 2027-08-27 2027-09-24")}, "2027-08-27", "2027-12-12", "after the winter"},
		{"last year's winter is over", season.Female{On: day("2027-05-12"), Winters: winters("2025-11-01 2026-02-13 2026-02-27 2026-03-27")}, "2027-03-15", "2027-06-30", "care sheet"},
		{"the winter to come changes nothing yet", season.Female{On: day("2027-05-12"), Winters: winters("2027-11-01 2028-02-13 2028-02-27 2028-03-27")}, "2027-03-15", "2027-06-30", "care sheet"},
		{"the winter to come opens the next season", season.Female{On: day("2027-07-12"), Winters: winters("2027-11-01 2028-02-13 2028-02-27 2028-03-27")}, "2028-02-27", "2028-06-30", "after the winter"},
		{"two winters: the one with a season not over yet", season.Female{On: day("2027-07-12"), Winters: winters("2026-11-01 2027-02-13 2027-02-27 2027-03-27", "2027-11-01 2028-02-13 2028-02-27 2028-03-27")}, "2028-02-27", "2028-06-30", "after the winter"},
		{"after a winter, rested from a clutch", season.Female{On: day("2027-05-12"), Winters: winters("2026-11-01 2027-02-13 2027-02-27 2027-03-27"), Clutches: laid("2027-05-10")}, "2027-05-27", "2027-06-30", "rested"},
		{"no season known", season.Female{Sheet: husbandry.Species{ID: "x"}, On: day("2027-05-12")}, "", "", "no pairing season"},
	} {
		t.Run(c.words, func(t *testing.T) {
			if c.f.Sheet.ID == "" {
				c.f.Sheet = wallLizard
			}
			w := season.PairingTime(c.f)
			if w.Known != (c.from != "") || w.From.String() != c.from || w.To.String() != c.to || !strings.Contains(w.Basis, c.says) {
				t.Errorf("got %+v\nwant %s to %s, %q", w, c.from, c.to, c.says)
			}
		})
	}
}

func TestWhenAFemaleIsExpectedToLay(t *testing.T) {
	for _, c := range []struct {
		words           string
		f               season.Female
		event, from, to string // "" for none
		seen            bool
		says            string
	}{
		{"after a mating", season.Female{Mated: days("2027-04-20")}, "mated-2027-04-20", "2027-05-10", "2027-05-20", false, "20-30 days after the mating of 20 April"},
		{"after the first of several", season.Female{Mated: days("2027-04-20", "2027-04-24")}, "mated-2027-04-20", "2027-05-10", "2027-05-20", false, ""},
		{"last year's mating came to nothing", season.Female{Mated: days("2026-04-20", "2027-04-24")}, "mated-2027-04-24", "2027-05-14", "2027-05-24", false, ""},
		{"after a pairing, mating not seen", season.Female{Paired: day("2027-04-20")}, "paired-2027-04-20", "2027-05-10", "2027-06-03", false, "some day from 20 April to 4 May"},
		{"after a short pairing", season.Female{Paired: day("2027-04-20"), Parted: day("2027-04-22")}, "paired-2027-04-20", "2027-05-10", "2027-05-22", false, ""},
		{"after a clutch", season.Female{Mated: days("2027-03-20"), Clutches: laid("2027-04-20")}, "after-F03-2027-04-20", "2027-05-07", "2027-06-14", false, "17-55 days after her clutch of 20 April (care sheet)"},
		// Own intervals of 28 and 32 days. The sheet's 17 to 55 days have a
		// variance of 133: a quarter between colonies, a quarter between
		// females, half between the clutches of a female. Her posterior
		// variance within is (4*66.7+8)/5 = 54.9. Her mean is (36/66.7 +
		// 30*2/54.9) / (1/66.7 + 2/54.9) = 31.8 with a variance of 19.4. So the
		// next interval is 31.8 days, give or take 1.645*sqrt(19.4+54.9) =
		// 14.2.
		{"own intervals", season.Female{Clutches: laid("2026-04-01", "2026-04-29", "2027-04-10", "2027-05-12")}, "after-F03-2027-05-12", "2027-05-30", "2027-06-27", false, "18-46 days after her clutch of 12 May (2 own intervals, care sheet)"},
		{"a clutch that was missed is no interval", season.Female{Clutches: laid("2026-04-01", "2026-07-10")}, "after-F03-2026-07-10", "2026-07-27", "2026-09-03", false, "(care sheet)"},
		{"the season's number is reached", season.Female{Clutches: laid("2027-03-10", "2027-04-10", "2027-05-10")}, "", "", "", false, "3 clutches this season"},
		{"seen gravid, nothing else known", season.Female{Gravid: day("2027-05-01")}, "gravid-2027-05-01", "2027-05-01", "2027-05-31", true, "seen gravid on 1 May"},
		{"seen gravid within the window", season.Female{Gravid: day("2027-05-01"), Mated: days("2027-04-20")}, "mated-2027-04-20", "2027-05-10", "2027-05-20", true, "seen gravid on 1 May"},
		{"seen gravid after the window", season.Female{Gravid: day("2027-06-01"), Mated: days("2027-04-20")}, "gravid-2027-06-01", "2027-06-01", "2027-07-01", true, ""},
		{"seen gravid, sheet empty", season.Female{Sheet: husbandry.Species{ID: "x"}, Gravid: day("2027-05-01")}, "gravid-2027-05-01", "2027-05-01", "2027-06-12", true, "six weeks"},
		{"nothing", season.Female{}, "", "", "", false, "neither paired"},
	} {
		t.Run(c.words, func(t *testing.T) {
			if c.f.Sheet.ID == "" {
				c.f.Sheet = wallLizard
			}
			c.f.On = day("2027-05-12")
			c.f.ID, c.f.Colony = "F03", season.NewColony(c.f.Sheet.Laying.Interval, season.IntervalsOf("F03", &c.f.Sheet, c.f.Clutches))
			w := season.LayingTime(c.f)
			if w.Event != c.event || w.From.String() != c.from || w.To.String() != c.to || w.Seen != c.seen || !strings.Contains(w.Basis, c.says) {
				t.Errorf("got %+v\nwant %s %s to %s, seen %v, %q", w, c.event, c.from, c.to, c.seen, c.says)
			}
		})
	}
}

func TestWhenAFemaleMayBeGravid(t *testing.T) {
	for _, c := range []struct {
		words    string
		f        season.Female
		from, to string
	}{
		{"two weeks after the mating, or a week before eggs are expected", season.Female{Mated: days("2027-04-20")}, "2027-05-03", "2027-05-20"},
		{"two weeks after the pairing", season.Female{Paired: day("2027-04-20")}, "2027-05-03", "2027-06-03"},
		{"a week after the last clutch", season.Female{Clutches: laid("2027-04-20")}, "2027-04-27", "2027-06-14"},
		{"not once she is known gravid", season.Female{Gravid: day("2027-05-01"), Mated: days("2027-04-20")}, "", ""},
		{"neither mated nor paired", season.Female{}, "", ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			c.f.Sheet, c.f.On = wallLizard, day("2027-05-12")
			w := season.GravidTime(c.f, season.LayingTime(c.f))
			if w.From.String() != c.from || w.To.String() != c.to {
				t.Errorf("got %+v, want %s to %s", w, c.from, c.to)
			}
		})
	}
}

// A keeper's own numbers are not attributed to the built-in sheet. A date of
// another year has its year.
func TestReasonsNameTheirCareSheet(t *testing.T) {
	own := wallLizard
	own.Sources = map[string]string{"pairing.from": "the keeper's books", "laying.after_mating": "the keeper's books", "laying.interval": "the keeper's books"}
	for _, c := range []struct {
		words string
		sheet husbandry.Species
		want  [3]string // pairing, after a mating, after a clutch
	}{
		{"the built-in sheet's", wallLizard, [3]string{"the season of the care sheet, ", "(care sheet)", "(care sheet)"}},
		{"the keeper's own", own, [3]string{"the season of your care sheet, ", "(your care sheet)", "(your care sheet)"}},
	} {
		f := season.Female{Sheet: c.sheet, Latitude: 48, On: day("2027-01-12")}
		got := [3]string{season.PairingTime(f).Basis}
		f.Mated = days("2026-12-20")
		got[1] = season.LayingTime(f).Basis
		f.Mated, f.Clutches = nil, laid("2026-12-20")
		got[2] = season.LayingTime(f).Basis
		for i := range got {
			if !strings.Contains(got[i], c.want[i]) || i > 0 && !strings.Contains(got[i], "20 December 2026") {
				t.Errorf("%s: %q does not say %q", c.words, got[i], c.want[i])
			}
		}
	}
}

// The two hemispheres have the same pairing seasons, half a year apart.
func TestTheSouthPairsHalfAYearLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sheet := wallLizard
		sheet.Pairing = husbandry.PairingSeason{
			FromMonth: time.Month(rapid.IntRange(1, 12).Draw(t, "from")), FromDay: rapid.IntRange(1, 28).Draw(t, "day"),
			UntilMonth: time.Month(rapid.IntRange(1, 12).Draw(t, "until")), UntilDay: rapid.IntRange(1, 28).Draw(t, "last day"),
		}
		on := day("2027-01-01").AddDays(rapid.IntRange(0, 730).Draw(t, "on"))
		w := season.PairingTime(season.Female{Sheet: sheet, Latitude: 48, On: on})
		if !w.Known || w.To.Before(on) || w.To.Before(w.From) || w.From.Sub(on) > 366 {
			t.Fatalf("on %s: %+v", on, w)
		}
		south := season.PairingTime(season.Female{Sheet: sheet, Latitude: -48, On: w.From.AddMonths(6)})
		if south.From != w.From.AddMonths(6) || south.To != w.To.AddMonths(6) {
			t.Fatalf("north %s to %s, south %s to %s", w.From, w.To, south.From, south.To)
		}
	})
}
