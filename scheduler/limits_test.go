package scheduler_test

import (
	"fmt"
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// The limits of the planner: the last day within each limit and the first day
// beyond it. All limits are common practice.

// An animal that moved keeps the supplements of its former enclosure for the
// whole gap.
func TestAnAnimalThatMovedKeepsTheWholeGap(t *testing.T) {
	d3 := dusting("d3", 1, 14)
	d3.Consumes = []string{"calcium powder with D3"}
	for _, c := range []struct{ words, given, due string }{
		{"given two weeks ago", "05-06", "05-20"},
		{"given the day after, two weeks are over tomorrow", "05-07", "05-21"},
		{"given in the first week of the two", "05-10", "05-24"},
		{"given in the second week of the two", "05-18", "06-01"},
	} {
		b := fedDaily(d3).fed("05-01", "05-19").done(c.given, tasks.NewKey("E08", "d3", day(c.given).String()))
		b.animal("F03").Was = []husbandry.Home{{Enclosure: "E08", Until: day(c.given)}}
		if p := b.plan("05-20", 30).of("E07/d3"); len(p) == 0 || p[0].Due != day(c.due) {
			t.Errorf("%s: have\n%v\nwant the first on %s", c.words, p, c.due)
		}
	}
}

// The feedings missed since the last one are counted. A skipped feeding is not
// counted, because the keeper decided to skip it. A feeding put off and not
// given is counted.
func TestMissedFeedingsAreCounted(t *testing.T) {
	feeding := func(d string) tasks.Key { return tasks.NewKey("E07", "feed", day(d).String()) }
	for _, c := range []struct {
		words string
		books *books
		on    string
		want  string
	}{
		{"fed yesterday", fedDaily().fed("05-01", "05-09"), "05-10", "; last fed Sun 9 May"},
		{"one missed", fedDaily().fed("05-01", "05-08"), "05-10", "; last fed Sat 8 May; 1 feeding lapsed since"},
		{"four missed", fedDaily().fed("05-01", "05-05"), "05-10", "; last fed Wed 5 May; 4 feedings lapsed since"},
		{"one of them was skipped", fedDaily().fed("05-01", "05-05").skip("05-07", feeding("05-07")), "05-10", "; last fed Wed 5 May; 3 feedings lapsed since"},
		{"one of them was put off", fedDaily().fed("05-01", "05-05").later("05-07", feeding("05-07"), "05-08"), "05-10", "; last fed Wed 5 May; 4 feedings lapsed since"},
		{"none was ever given", fedDaily(), "05-10", "; nothing recorded yet; 9 feedings lapsed"},
		{"no further back than 400 days", fedDaily(), "2028-12-24", "; nothing recorded yet; 400 feedings lapsed"},
	} {
		x := c.books.plan(c.on, 0).one(t, string(tasks.NewKey("E07", "feed", day(c.on).String())))
		if !strings.HasSuffix(x.Why, c.want) {
			t.Errorf("%s: %q, want it to end with %q", c.words, x.Why, c.want)
		}
	}
}

// Whether an animal is cooled depends on days: at least a year from hatching to
// the cold of 25 November, and 90 days from acquisition to the fast of 1
// November. A loss of weight counts for two months.
func TestAgeArrivalAndWeightDecideOnCooling(t *testing.T) {
	losing := func(from string) func(b *books) {
		return func(b *books) {
			b.weighs(from, "F03/weigh/first", 8).weighs("2027-10-16", tasks.NewKey("F03", "weigh", "after-"+from), 7.5)
		}
	}
	hatched := func(on string) func(b *books) {
		return func(b *books) { b.animal("F03").Hatched, b.animal("F03").Stage = day(on), husbandry.Adult }
	}
	acquired := func(on string) func(b *books) { return func(b *books) { b.animal("F03").Acquired = day(on) } }
	for _, c := range []struct {
		words        string
		cooled, warm func(b *books)
	}{
		{words: "a year old when the cold begins", cooled: hatched("2026-11-25"), warm: hatched("2026-11-26")},
		{words: "here for 90 days when the fast begins", cooled: acquired("2027-08-03"), warm: acquired("2027-08-04")},
		{words: "lost weight over more than two months", cooled: losing("2027-08-16"), warm: losing("2027-08-17")},
	} {
		for _, kept := range []bool{false, true} {
			b := winterRoom()
			if kept {
				c.warm(b)
			} else {
				c.cooled(b)
			}
			if p := b.plan("2027-10-20", 0).of("F03/cooling-not"); (len(p) == 1) != kept {
				t.Errorf("%s: kept warm %v, have %v", c.words, kept, p)
			}
		}
	}
}

// A male paired with her in the last 180 days is a male of this season.
func TestAMaleOfTheLast180DaysIsOfThisSeason(t *testing.T) {
	for from, says := range map[string]string{"2026-11-04": "as before with M2,", "2026-11-03": "best with M1,"} {
		b := matched("F1 female", "M1 male", "M2 male").recorded("P1", "M2", "F1", from, "2026-11-08")
		if p := b.plan("05-03", 60).of("F1/pair/"); len(p) == 0 || !strings.Contains(p[0].Why, says) {
			t.Errorf("together from %s: %v, want %q", from, p, says)
			for _, x := range p {
				t.Log(x.Why)
			}
		}
	}
}

// Eggs reported again within two days are the same clutch.
func TestEggsReportedTwice(t *testing.T) {
	for again, clutches := range map[string]int{"05-14": 1, "05-15": 2, "05-10": 1, "05-09": 2} {
		b := withSample().laid("05-12", "F03/found/2027-05-12", 6).laid("05-16", tasks.NewKey("F03", tasks.Unplanned, day(again).String()), 4)
		b.entries[1].On = day(again)
		if got := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-16", 0))); len(got) != clutches {
			t.Errorf("eggs on 12 May and on %s: %d clutches, want %d", again, len(got), clutches)
		}
	}
}

// A room without a description is planned like a room at 24 °C and 50 %.
func TestARoomWithoutADescription(t *testing.T) {
	described := func(warmth husbandry.Celsius, humidity float64) plan {
		b := dampRoom()
		b.Rooms[0].Temperature, b.Rooms[0].Humidity = &warmth, &humidity
		b.water("05-04", "E07/top/on-2027-05-04", 60)
		return b.plan("05-05", 20)
	}
	b := dampRoom()
	b.Rooms[0].Temperature, b.Rooms[0].Humidity = nil, nil
	b.water("05-04", "E07/top/on-2027-05-04", 60)
	told := func(p plan) string {
		var lines []string
		for _, x := range p {
			lines = append(lines, fmt.Sprintf("%s %s %s", x.Due, x.Key, x.Why))
		}
		return strings.Join(lines, "\n")
	}
	got := told(b.plan("05-05", 20))
	if want := told(described(24, 0.5)); got != want || !strings.Contains(got, "Loses about") {
		t.Errorf("not described:\n%s\nat 24 °C and 50 %%:\n%s", got, want)
	}
	for _, other := range []plan{described(26, 0.5), described(24, 0.6), described(24, 0.4)} {
		if told(other) == got {
			t.Errorf("other air changes nothing:\n%s", got)
		}
	}
}

// An incubator far from its set point, by a log up to three days old, is
// assumed to be still so. After four days somebody may have corrected it.
func TestAnIncubatorFarFromItsSetPoint(t *testing.T) {
	cold := func(n int) map[int]float64 {
		m := make(map[int]float64)
		for i := range n {
			m[i] = -4
		}
		return m
	}
	half := func(n int) int { return logging(cold(n), "06-01").P50.Sub(day("05-12")) }
	// The log covers 20 days, up to yesterday.
	still, three, four := half(20), half(18), half(17)
	if three < still-1 || three > still+1 {
		t.Errorf("last logged three days ago: half by day %d, up to yesterday %d", three, still)
	}
	if four > still-10 {
		t.Errorf("last logged four days ago: half by day %d, and by day %d if it were so still", four, still)
	}
}

// The daily cycle of a log continues in the days ahead.
func TestALoggedCycleContinues(t *testing.T) {
	half := func(swing husbandry.Celsius, logged bool) civil.Date {
		b := brooding()
		in := b.input("05-20", 0)
		b.Incubators[0].Temperature = 24
		log := make(map[civil.Date][]husbandry.Celsius)
		for i := range 8 {
			log[day("05-12").AddDays(i)] = []husbandry.Celsius{24 - swing, 24, 24 + swing, 24}
		}
		f := &herd.Calibrated{}
		if logged {
			f.Logged = map[husbandry.ID]map[civil.Date][]husbandry.Celsius{"WARM": log}
		} else {
			b.Incubators[0].Swing = swing
		}
		in.Forecasts = f
		return outlook.ClutchForecasts(scheduler.NewDay(in))[0].P50
	}
	if steady, cycle := half(0, true), half(5, true); steady.Sub(cycle) < 2 {
		t.Errorf("24 °C: half by %s, with a cycle of 5 °C either way by %s", steady, cycle)
	}
	if logged, said := half(5, true), half(5, false); logged.Sub(said) > 1 || said.Sub(logged) > 1 {
		t.Errorf("a logged cycle: half by %s, the same cycle said: by %s", logged, said)
	}
}

// Slugs lead to a review for as long as the planner looks back, 400 days.
func TestSlugsLeadToAReviewFor400Days(t *testing.T) {
	three, four := 3, 4
	b := withSample().found("05-12", "F03/found/2027-05-12", tasks.Finding{Laid: &three, Slugs: &four})
	b.plan("2028-06-15", 0).one(t, "review-slugs")
	b.plan("2028-06-16", 0).none(t, "review-slugs")
}
