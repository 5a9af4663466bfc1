package scheduler_test

import (
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// pastRoom has three finished clutches (A and B with dated young, C with a
// count in its record only), one of another species and one in the incubator.
func pastRoom() *books {
	b := lizardRoom()
	b.Species[0].Scientific, b.Species[0].Family = "Podarcis muralis", "Lacertidae"
	b.Clutches = []husbandry.Clutch{
		{ID: "A", Species: "wall-lizard", Laid: day("05-01"), Eggs: 4, Incubator: "I1"},
		{ID: "B", Species: "wall-lizard", Laid: day("05-20"), Eggs: 5, Incubator: "I1"},
		{ID: "C", Species: "wall-lizard", Laid: day("05-21"), Eggs: 2, Hatched: 2, Incubator: "I1"},
		{ID: "D", Species: "unknown-lizard", Laid: day("05-02"), Eggs: 1, Incubator: "I1"},
		{ID: "E", Species: "wall-lizard", Laid: day("07-10"), Eggs: 3, Incubator: "I1"},
	}
	b.hatched("06-13", "A/hatch-watch/2027-06-13", 1)
	b.hatched("06-14", "A/hatch-watch/2027-06-14", 3)
	b.hatched("06-11", "D/hatch-watch/2027-06-11", 1)
	b.hatched("07-04", "B/hatch-watch/2027-07-04", 5)
	return b
}

func TestPastHatchesKeepTheForecastOfTheirLayingDay(t *testing.T) {
	b := pastRoom()
	for name, fore := range map[string]herd.Forecasts{"calibrated": nil, "plain": herd.Plain{Latitude: 48.2}} {
		in := b.input("07-20", 0)
		in.Forecasts = fore
		past := outlook.PastHatches(scheduler.Facts(in), "wall-lizard", 10)
		if len(past) != 2 || past[0].ID != "A" || past[1].ID != "B" {
			t.Fatalf("%s: %+v, want A and B", name, past)
		}
		a := past[0]
		if a.First != day("06-13") || a.Mean != day("06-14") || a.Last != day("06-14") || a.Young != 4 {
			t.Errorf("%s: A is %+v", name, a)
		}
		// The forecast equals the overview's on the laying day, before any
		// later record.
		for i, p := range past {
			fresh := pastRoom()
			fresh.entries = nil
			then := fresh.input(p.Laid.String(), 0)
			then.Forecasts = fore
			for _, f := range outlook.ClutchForecasts(scheduler.NewDay(then)) {
				if f.ID == p.ID && (f.P05 != p.P05 || f.P50 != p.P50 || f.P95 != p.P95) {
					t.Errorf("%s: past %d: %v %v %v, the overview of the laying day had %v %v %v", name, i, p.P05, p.P50, p.P95, f.P05, f.P50, f.P95)
				}
			}
		}
	}
}

// A was finished before E was laid, so A taught the forecast of E. B was laid
// while A's eggs were in the incubator, so A did not teach the forecast of B.
func TestPastForecastsIgnoreLaterClutches(t *testing.T) {
	b := pastRoom()
	b.hatched("08-20", "E/hatch-watch/2027-08-20", 3)
	in := b.input("09-01", 0)
	in.Forecasts = nil
	past := outlook.PastHatches(scheduler.Facts(in), "wall-lizard", 10)
	if len(past) != 3 {
		t.Fatalf("%+v, want three", past)
	}
	width := func(p outlook.Past) int { return p.P95.Sub(p.P05) }
	if width(past[0]) != width(past[1]) || past[0].P50.Sub(past[0].Laid) != past[1].P50.Sub(past[1].Laid) {
		t.Errorf("A and B were laid before any hatched, and were expected otherwise: %+v", past[:2])
	}
	if width(past[2]) >= width(past[1]) || past[2].P50.Sub(past[2].Laid) <= past[1].P50.Sub(past[1].Laid) {
		t.Errorf("E was laid after two slow clutches, and was expected no later: %+v", past)
	}
	if latest := outlook.PastHatches(scheduler.Facts(in), "wall-lizard", 1); len(latest) != 1 || latest[0] != past[2] {
		t.Errorf("the latest: %+v", latest)
	}
	if none := outlook.PastHatches(scheduler.Facts(in), "no-lizard", 5); len(none) != 0 {
		t.Errorf("of a species that has none: %+v", none)
	}
}

// The picture of a clutch needs days that the overview's line leaves out.
func TestClutchForecastsListTheirDays(t *testing.T) {
	b := pastRoom()
	b.found("08-14", "E/hatch-watch/2027-08-14", tasks.Finding{Hatched: new(1)})
	list := outlook.ClutchForecasts(scheduler.NewDay(b.input("08-15", 0)))
	e := list[len(list)-1]
	if e.ID != "E" || e.Temperature == nil || *e.Temperature != 28 {
		t.Fatalf("%+v", e)
	}
	if len(e.HatchedOn) != 1 || e.HatchedOn[0] != (herd.Young{On: day("08-14"), Count: 1}) {
		t.Errorf("hatched on %+v", e.HatchedOn)
	}
	sum := 0.0
	for i, p := range e.Daily {
		sum += p
		if d := e.DailyFrom.AddDays(i); d == day("08-15") && p != e.ProbabilityToday {
			t.Errorf("today %g, in the list %g", e.ProbabilityToday, p)
		}
	}
	if sum < 0.99 || sum > 1.0001 || e.DailyFrom.Before(day("08-15")) {
		t.Errorf("from %v: %v, together %g", e.DailyFrom, e.Daily, sum)
	}
}
