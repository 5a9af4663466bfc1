package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	files "nestround/config/books"
	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Each test here checks a limit just inside it, on it and just outside it. All
// of the limits are common practice.

// A clutch of at most half of her usual number may be only part of a clutch
// (common practice). Slugs and the eggs in a second tub count as laid eggs. Her
// usual number is known from two clutches on; before that, the care sheet's
// least number counts.
func TestAClutchOfHalfOfHerUsualNumberMayBeAPart(t *testing.T) {
	for _, c := range []struct {
		words       string
		before      [][2]int // eggs and slugs of her earlier clutches
		eggs, slugs int      // of the last one
		tubs        int      // eggs of her first clutch in a tub of their own
		felt        bool
		why         string
	}{
		{words: "less than half of 10", before: [][2]int{{8, 0}, {12, 0}}, eggs: 4, felt: true, why: "has 4 eggs; her last 2 had 10.0 on average"},
		{words: "half of 10", before: [][2]int{{8, 0}, {12, 0}}, eggs: 5, felt: true, why: "has 5 eggs; her last 2 had 10.0 on average"},
		{words: "more than half of 10", before: [][2]int{{8, 0}, {12, 0}}, eggs: 6},
		{words: "half with its slugs", before: [][2]int{{8, 0}, {12, 0}}, eggs: 3, slugs: 2, felt: true, why: "has 5 eggs"},
		{words: "more than half with its slugs", before: [][2]int{{8, 0}, {12, 0}}, eggs: 4, slugs: 2},
		{words: "half, as earlier slugs count", before: [][2]int{{5, 3}, {4, 8}}, eggs: 5, felt: true, why: "her last 2 had 10.0 on average"},
		{words: "more than half, with earlier slugs", before: [][2]int{{5, 3}, {4, 8}}, eggs: 6},
		{words: "half, as eggs in a tub of their own count", before: [][2]int{{8, 0}, {12, 0}}, tubs: 3, eggs: 5, felt: true, why: "her last 2 had 10.0 on average"},
		{words: "one earlier clutch says nothing of what is usual", before: [][2]int{{10, 0}}, eggs: 2},
		{words: "fewer than her kind lays", before: [][2]int{{10, 0}}, eggs: 1, felt: true, why: "has 1 egg; her kind lays 2 or more"},
	} {
		b := expecting()
		b.Species[0].Laying.Eggs = husbandry.Span{From: 2, To: 12}
		for i, n := range c.before {
			on := day("03-20").AddDays(25 * i)
			b.Clutches = append(b.Clutches, husbandry.Clutch{ID: husbandry.ID(fmt.Sprint("C", i)), Mother: "F03", Species: "wall-lizard", LaidFrom: on, Laid: on, Eggs: n[0], Slugs: n[1], Incubator: "I1"})
		}
		if c.tubs > 0 {
			b.Clutches = append(b.Clutches, husbandry.Clutch{ID: "C0b", PartOf: "C0", Mother: "F03", Species: "wall-lizard", LaidFrom: day("03-20"), Laid: day("03-20"), Eggs: c.tubs, Incubator: "I1"})
		}
		b.found("05-12", watch, tasks.Finding{Laid: &c.eggs, Slugs: &c.slugs})
		p := b.plan("05-13", 0).of("F03/feel-for-eggs")
		if (len(p) == 1) != c.felt {
			t.Errorf("%s: asked to feel for eggs %v, have %v", c.words, c.felt, p)
		} else if c.felt && !strings.Contains(p[0].Why, c.why) {
			t.Errorf("%s: why %q, want %q", c.words, p[0].Why, c.why)
		}
	}
}

// Eggs seen in her within a week of laying may be left from that clutch. Later
// ones belong to the next clutch (common practice).
func TestEggsSeenInHerWithinAWeekAreLeftFromTheClutch(t *testing.T) {
	six, yes := 6, true
	for seen, left := range map[string]bool{"05-12": false, "05-13": true, "05-18": true, "05-19": true, "05-20": false} {
		b := expecting().found("05-12", watch, tasks.Finding{Laid: &six})
		b.found(seen, tasks.NewKey("F03", "gravid-check", day(seen).String()), tasks.Finding{Gravid: &yes})
		if p := b.plan("05-20", 0).of("F03/feel-for-eggs"); (len(p) == 1) != left {
			t.Errorf("eggs seen in her on %s, laid on 12 May: asked to feel for them %v, have %v", seen, left, p)
		}
	}
}

// For a pair put together by a mark, the task to separate them is asked for
// during 60 days. After that the pair counts as separated, even without a mark:
// no pair stays together for months (common practice).
func TestAPairThatNobodySeparated(t *testing.T) {
	b := matched("F1 female", "M1 male").done("05-03", "F1/pair/2027-05-01")
	for on, together := range map[string]bool{"07-01": true, "07-02": true, "07-03": false} {
		if p := b.plan(on, 0).of("F1/part-pair/2027-05-03"); (len(p) == 1) != together {
			t.Errorf("put together on 3 May: to be separated on %s %v, have %v", on, together, p)
		}
	}
	b = matched("F1 female", "M1 male").recorded("P1", "M1", "F1", "05-03", "")
	b.plan("07-03", 0).one(t, "F1/part-pair/2027-05-03") // a recorded pairing without a last day has not ended
}

// From two weeks before an absence on, the orders that fall into the absence
// are planned before it (common practice).
func TestHowLongBeforeAnAbsenceItsOrdersArePlanned(t *testing.T) {
	b := larder()
	b.Feeders[0].Stock = 0
	b.Away = []husbandry.Away{{From: day("06-01"), Until: day("06-12"), Cover: "Mara"}}
	for on, planned := range map[string]bool{"05-17": false, "05-18": true, "05-19": true} {
		p := b.plan(on, day("05-31").Sub(day(on))).of("crickets/order/2027-06-11")
		if (len(p) == 1) != planned {
			t.Errorf("away from 1 June: the order for 11 June planned on %s %v, have %v", on, planned, p)
		}
		if len(p) == 1 && p[0].Due != day("05-31") {
			t.Errorf("to be ordered on %s, want the eve", p[0].Due)
		}
	}
}

// Work moved out of an absence is spread over four days: the eve and the three
// days before it, or the day of the return and the three days after it. Work
// that recurs within the absence and three more days is done once, on the eve
// or on the return (common practice).
func TestWorkOfAnAbsenceIsSpreadOverFourDays(t *testing.T) {
	days := func(every husbandry.Days, slack ...husbandry.Days) string {
		b := lizardRoom(routine(husbandry.Weigh, fixed(every, "05-16"), husbandry.Stays, slack...))
		b.Routines[0].For.Animals = nil
		for i := range 40 {
			a := *b.animal("M01")
			a.ID = husbandry.ID(fmt.Sprint("Y", i))
			b.Animals = append(b.Animals, a)
		}
		b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20"), Cover: "Mara"}}
		var list []string
		for _, x := range b.plan("05-06", 20).of("/r/2027-05-16") {
			if d := x.Due.Format("01-02"); !slices.Contains(list, d) {
				list = append(list, d)
			}
		}
		slices.Sort(list)
		return strings.Join(list, " ")
	}
	for _, c := range []struct {
		words string
		got   string
		want  string
	}{
		{"every eleven days, may be done early", days(11, 0, 8), "05-10 05-11 05-12 05-13"},
		{"every eleven days, may be done late", days(11, 8), "05-21 05-22 05-23 05-24"},
		{"its slack is shorter", days(11, 2), "05-21 05-22 05-23"},
		{"every ten days, may be done early", days(10, 0, 8), "05-13"},
		{"every ten days, may be done late", days(10, 8), "05-21"},
	} {
		if c.got != c.want {
			t.Errorf("%s: on %s, want %s", c.words, c.got, c.want)
		}
	}
}

// The stock must be counted again once the last count is more than three weeks
// old. A count more than 180 days old is not used any more (common practice).
func TestHowLongACountOfTheStockHolds(t *testing.T) {
	on := day("05-12")
	for ago, want := range map[int]string{
		20: "(30 counted Thu 22 April)", 21: "(30 counted Wed 21 April)", 22: "(last counted 20 April, count again)",
		180: "(last counted 13 November 2026, count again)", 181: "(never counted)",
	} {
		b := larder()
		b.Feeders[0].Stock, b.Feeders[0].StockOn = 30, on.AddDays(-ago)
		if x := b.plan("05-12", 0).one(t, "crickets/order/2027-05-14"); !strings.Contains(x.Why, want) {
			t.Errorf("counted %d days ago: %q, want %q", ago, x.Why, want)
		}
		if s := outlook.FeederStocks(scheduler.NewDay(b.input("05-12", 0)))[0]; s.CountedOn.IsZero() != (ago > 180) {
			t.Errorf("counted %d days ago: counted on %q", ago, s.CountedOn)
		}
	}
}

// The share of feedings given is learnt from the last four weeks (common
// practice). The prior is nine in ten, as if 18 of 20 had been given. The share
// stays at nine in ten while nothing is marked. With 2 of the 56 feedings of
// two enclosures marked, it becomes 20 of 76.
func TestTheShareOfFeedingsGivenIsThatOfFourWeeks(t *testing.T) {
	for fed, want := range map[string]float64{"05-12": 0.9, "05-13": 0.26, "05-14": 0.26} {
		b := larder().allFed(fed, fed)
		if s := outlook.FeederStocks(scheduler.NewDay(b.input("06-10", 0)))[0]; s.Given != want {
			t.Errorf("fed on %s alone: on 10 June a share of %v is given, want %v", fed, s.Given, want)
		}
	}
}

// The remaining eggs of a clutch are watched for at least a week after the last
// hatchling (common practice).
func TestTheRestOfAClutchIsWatchedForAWeek(t *testing.T) {
	b := brooding()
	seen := b.clutch(t, "05-20")
	for before, want := range map[int]civil.Date{8: seen.WatchTo, 7: seen.WatchTo, 6: seen.WatchTo.AddDays(1), 0: seen.WatchTo.AddDays(7)} {
		last := seen.WatchTo.AddDays(-before)
		b := brooding().hatched(last.String(), tasks.NewKey("C1", "hatch-watch", last.String()), 4)
		if got := b.clutch(t, last.String()).WatchTo; got != want {
			t.Errorf("the last hatched %d days before the end of the window: watched to %s, want %s", before, got, want)
		}
	}
	last := seen.WatchTo
	b = brooding().hatched(last.String(), tasks.NewKey("C1", "hatch-watch", last.String()), 4)
	for after, over := range map[int]bool{6: false, 7: false, 8: true} {
		on := last.AddDays(after)
		in := b.input(on.String(), 0)
		in.Forecasts = nil
		if p := plan(scheduler.Plan(in)).of("C1/review-hatch"); (len(p) == 1) != over {
			t.Errorf("%d days after the last hatchling: to be reviewed %v, have %v", after, over, p)
		}
	}
}

// A span is shown for a month after its last day (common practice). The span of
// Ada's eggs ends on 22 May.
func TestASpanIsToldForAMonth(t *testing.T) {
	for on, told := range map[string]bool{"06-21": true, "06-22": true, "06-23": false} {
		spans := outlook.Dated(scheduler.NewDay(expecting().input(on, 0)))
		if got := slices.ContainsFunc(spans, func(s outlook.Span) bool {
			return s.Subject == "F03" && s.Name == husbandry.LayWindow && s.To == day("05-22")
		}); got != told {
			t.Errorf("told on %s: %v, want %v", on, got, told)
		}
	}
}

// Only feedings since an animal became adult count as missed. The day on which
// it became adult is known for two months; after that the animal counts as
// adult from the beginning (common practice).
func TestTheDayOfAdulthoodIsKnownForTwoMonths(t *testing.T) {
	feed := routine(husbandry.Feed, fixed(1, "01-01"), husbandry.Lapses)
	feed.For.Enclosures, feed.For.Stages = []husbandry.ID{"E08"}, []husbandry.Stage{husbandry.Adult}
	on := day("07-20")
	for ago, want := range map[int]string{60: "; 60 feedings lapsed", 61: "; 61 feedings lapsed", 62: "; 80 feedings lapsed", 63: "; 80 feedings lapsed"} {
		b := lizardRoom(feed)
		b.Species[0].AdultFrom = 300
		b.animal("F04").Hatched = on.AddDays(-ago - 300)
		if x := b.plan("07-20", 0).one(t, "E08/r/2027-07-20"); !strings.HasSuffix(x.Why, want) {
			t.Errorf("grown %d days ago: %q, want %q", ago, x.Why, want)
		}
	}
}

// A weighing up to two days from the first step down, on 15 November, is the
// weighing at the start of the cold (common practice).
func TestAWeighingNearTheFirstStepDownIsThatOfTheStart(t *testing.T) {
	const weigh = "F03/cooling-weigh/wall-lizard-2027-"
	for on, key := range map[string]string{"2027-11-12": weigh + "start", "2027-11-13": weigh + "after-2027-11-13", "2027-11-14": weigh + "after-2027-11-14"} {
		b := winterRoom().weighs(on, tasks.NewKey("F03", tasks.Unplanned, on), 8)
		if p := b.plan("2027-11-15", 20).of("F03/cooling-weigh"); len(p) == 0 || string(p[0].Key) != key {
			t.Errorf("weighed on %s: have\n%s\nwant %s first", on, p, key)
		}
		b = winterRoom().done(on, weigh+"start")
		if p := b.plan("2027-11-15", 20).of("F03/cooling-weigh"); len(p) == 0 || string(p[0].Key) != strings.Replace(key, "start", "start+2", 1) {
			t.Errorf("marked as weighed on %s: have\n%s\nwant %s first", on, p, key)
		}
	}
	for on, start := range map[string]string{"2027-11-16": "8 g", "2027-11-17": "8 g", "2027-11-18": "8.1 g"} {
		b := winterRoom().weighs("2027-11-10", "F03/found/2027-11-10", 8.1).weighs(on, weigh+"start", 8).weighs("2027-11-27", tasks.NewKey("F03", "cooling-weigh", "wall-lizard-2027-after-"+on), 7.9)
		if p := b.plan("2027-11-27", 20).of("F03/cooling-weigh"); len(p) == 0 || !strings.HasSuffix(p[0].Why, ", 7.9 g, "+start+" at the start") {
			t.Errorf("weighed on 10 November and on %s: have\n%s\nwant %s at the start", on, p, start)
		}
	}
}

// Young that have not eaten by the tenth day after hatching need a review
// (common practice).
func TestYoungThatHaveNotEatenByTheTenthDay(t *testing.T) {
	for on, review := range map[string]bool{"07-01": false, "07-02": true, "07-03": true} {
		b := raised(t, "").found(on, "K/first-feed/hatched", tasks.Finding{Refused: true})
		if p := b.plan(on, 0).of("review-unfed"); (len(p) == 1) != review {
			t.Errorf("hatched on 22 June, nothing eaten on %s: to be reviewed %v, have %v", on, review, p)
		}
	}
}

// The reason says that a box dries fast if it dries at least one and a half
// times as fast as through still air, beyond doubt (common practice).
func TestWhenABoxIsSaidToDryFast(t *testing.T) {
	const words = " times as fast as through still air (a lamp, warmth, a draught?)"
	// Through still air the box loses 17.5 g a day; one and a half times that
	// is 26.25 g.
	for grams, c := range map[float64]struct {
		loses string
		fast  bool
	}{
		136: {"Loses about 32 g a day (24-41)", false},
		148: {"Loses about 35 g a day (26-44)", false},
		152: {"Loses about 36 g a day (27-45)", true},
	} {
		b := dampRoom()
		everyFourDays(b, grams)
		if x := b.plan("05-17", 20).of("/top/")[0]; !strings.HasPrefix(x.Why, c.loses) || strings.Contains(x.Why, words) != c.fast {
			t.Errorf("lost %.0f g in four days: %q, want %q, said to dry fast %v", grams, x.Why, c.loses, c.fast)
		}
	}
}

// The overview of live food says the same day as the task: what would have to be
// ordered during an absence is ordered on its eve.
func TestTheOverviewOrdersBeforeAnAbsence(t *testing.T) {
	b := larder().ordered("05-12", "crickets/order/2027-05-14", 3)
	for _, c := range []struct {
		words string
		away  []husbandry.Away
		by    string
	}{
		{"at home", nil, "05-19"},
		{"away from the day after", []husbandry.Away{{From: day("05-20"), Until: day("05-27")}}, "05-19"},
		{"away on that day", []husbandry.Away{{From: day("05-18"), Until: day("05-27")}}, "05-17"},
		{"away already", []husbandry.Away{{From: day("05-16"), Until: day("05-27")}}, "05-19"},
	} {
		b.Away = c.away
		if s := outlook.FeederStocks(scheduler.NewDay(b.input("05-16", 14)))[0]; s.OrderBy != day(c.by) || s.Delivery != day("05-21") {
			t.Errorf("%s: order by %s for %s, want by %s for 21 May", c.words, s.OrderBy, s.Delivery, c.by)
		}
	}
}

// Past its window a watch has the caution of late eggs, and keeps the routine's
// own behind it.
func TestAWatchPastItsWindowKeepsItsOwnCaution(t *testing.T) {
	const own = "Lift the lid with dry hands."
	called := &husbandry.Records{Called: files.Called()}
	for _, id := range []husbandry.ID{herd.ReviewHatch, herd.LookForEggs} {
		if called.CautionFor(id) == "" {
			t.Fatalf("%s warns of nothing", id)
		}
	}
	past := called.CautionFor(herd.ReviewHatch)
	for caution, want := range map[string]string{"": past, own: past + " " + own} {
		r := routine(husbandry.HatchWatch, within(husbandry.HatchWindow, 1), husbandry.Alarms)
		r.Caution = caution
		b := lizardRoom(r)
		b.Clutches = brooding().Clutches
		b.Clutches[0].Incubator = "I1"
		f := outlook.ClutchForecasts(scheduler.NewDay(b.input("05-20", 0)))[0]
		if x := b.plan(f.WatchTo.String(), 0).one(t, "C1/r/"+f.WatchTo.String()); x.Caution != caution {
			t.Errorf("within the window: %q, want %q", x.Caution, caution)
		}
		after := f.WatchTo.AddDays(1).String()
		if x := b.plan(after, 0).one(t, "C1/r/"+after); x.Caution != want {
			t.Errorf("past the window: %q, want %q", x.Caution, want)
		}
	}
}

// The year of a species has no laying where its care sheet does not say how
// long after mating it lays.
func TestAYearWithoutDaysFromMatingToLaying(t *testing.T) {
	for after, want := range map[husbandry.Span]bool{{}: false, {From: 20, To: 30}: true} {
		b := winterRoom()
		b.Species[0].Laying.AfterMating = after
		words := yearWords(outlook.Years(midYear(b.input("2027-05-12", 0), 2028), []husbandry.ID{"wall-lizard"})[0])
		if got := strings.Contains(words, "laying"); got != want || !strings.Contains(words, "pairing") {
			t.Errorf("%v days after mating: laying %v, want %v:\n%s", after, got, want, words)
		}
	}
}

// The young need not be sexed again where it was said without being asked that
// all of them are.
func TestYoungThatWereSexedUnasked(t *testing.T) {
	for _, c := range []struct {
		words, more string
		key         tasks.Key
		found       tasks.Finding
		want        string
	}{
		{"the clutch, all of them", "", "K/found/2027-09-25", sexed(2, 1, 0), ""},
		{"the clutch, all but one", "", "K/found/2027-09-25", sexed(1, 1, 0), "upcoming 10-25 K/sexing/again-2027-09-25"},
		{"the group, all of them", group, "G/found/2027-09-25", sexed(2, 1, 0), ""},
		{"a single young", alone, "Y/found/2027-09-25", sexed(1, 0, 0), ""},
	} {
		expect(t, raised(t, c.more).found("09-25", c.key, c.found).plan("10-01", 60).of("/sexing/"), c.want)
	}
}

// Veins seen when candling tell the forecast that the rest of the eggs is over,
// from the day on which they were seen.
func TestVeinsReachTheForecast(t *testing.T) {
	const says = "over by 1 July 2027 when veins were seen"
	six := 6
	for on, told := range map[string]bool{"06-30": false, "07-01": true, "07-10": true} {
		b := brooding()
		b.Species[0].Incubation.Diapause = husbandry.Span{From: 50, To: 80}
		before := b.clutch(t, on)
		after := b.found("07-01", "C1/found/2027-07-01", tasks.Finding{Veins: &six}).clutch(t, on)
		if strings.Contains(before.Basis, says) || strings.Contains(after.Basis, says) != told || after.P50.Before(before.P50) != told {
			t.Errorf("on %s: half by %s from %q, without veins half by %s; told %v", on, after.P50, after.Basis, before.P50, told)
		}
	}
}

// A weight that was reported of a clutch without a task is that of its tub until
// the first young hatch; from that day on it is that of the young.
func TestAnUnaskedWeightIsThatOfTheTubUntilTheYoungHatch(t *testing.T) {
	told := func(hatched string, weighed bool) string {
		b := tubRoom()
		if hatched != "" {
			b.hatched(hatched, tasks.NewKey("C1", tasks.Unplanned, day(hatched).String()), 2)
		}
		if weighed {
			b.scale("05-08", tasks.NewKey("C1", tasks.Unplanned, "2027-05-08"), 405, 0)
		}
		var lines []string
		for _, x := range b.plan("05-09", 14).of("C1/") {
			lines = append(lines, fmt.Sprint(x.Key, " ", x.Due, " ", x.Why))
		}
		return strings.Join(lines, "\n")
	}
	for hatched, tub := range map[string]bool{"": true, "05-09": true, "05-08": false, "05-07": false} {
		if with, without := told(hatched, true), told(hatched, false); (with != without) != tub {
			t.Errorf("hatched on %q, weighed on 8 May: of the tub %v\n%s\nwithout the weight\n%s", hatched, tub, with, without)
		}
	}
}
