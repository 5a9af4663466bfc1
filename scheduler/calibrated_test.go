package scheduler_test

import (
	"strings"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Without forecasts in its input the planner uses the calibrated forecast: from
// published measurements, updated by the keeper's own clutches.
func TestTheForecastInUseLearnsFromOwnClutches(t *testing.T) {
	forecast := func(b *books, id husbandry.ID, f herd.Forecasts) outlook.ClutchForecast {
		in := b.input("07-20", 0)
		in.Forecasts = f
		for _, c := range outlook.ClutchForecasts(scheduler.NewDay(in)) {
			if c.ID == id {
				return c
			}
		}
		t.Fatalf("no clutch %s", id)
		return outlook.ClutchForecast{}
	}
	b := lizardRoom()
	b.Species[0].Scientific, b.Species[0].Family = "Podarcis muralis", "Lacertidae"
	b.Clutches = []husbandry.Clutch{
		{ID: "A", Species: "wall-lizard", Laid: day("05-01"), Eggs: 4, Incubator: "I1"},
		{ID: "B", Species: "wall-lizard", Laid: day("07-01"), Eggs: 5, Incubator: "I1"},
	}
	before := forecast(b, "B", nil)
	if !strings.HasPrefix(before.Basis, "2 papers (") {
		t.Errorf("basis %q", before.Basis)
	}
	// Clutch A took 44 days, six more than the published data predict.
	b.hatched("06-14", "A/hatch-watch/2027-06-14", 4)
	after := forecast(b, "B", nil)
	if !strings.HasPrefix(after.Basis, "1 own clutch, 2 papers") || !after.P50.After(before.P50) || after.P95.Sub(after.P05) >= before.P95.Sub(before.P05) {
		t.Errorf("before %v to %v, middle %v; after one clutch of 44 days %v to %v, middle %v, from %s",
			before.P05, before.P95, before.P50, after.P05, after.P95, after.P50, after.Basis)
	}
	// Undoing the finding undoes what the forecast learnt from it.
	b.undo("06-14", "A/hatch-watch/2027-06-14")
	if again := forecast(b, "B", nil); again.Basis != before.Basis || again.P50 != before.P50 {
		t.Errorf("undone: %+v", again)
	}
	// Eleven logged days at 22 °C delay the forecast.
	cold := map[civil.Date][]husbandry.Celsius{}
	for i := range 11 {
		cold[day("07-02").AddDays(i)] = []husbandry.Celsius{21, 22, 23}
	}
	logged := forecast(b, "B", &herd.Calibrated{Logged: map[husbandry.ID]map[civil.Date][]husbandry.Celsius{"I1": cold}})
	if late := logged.P50.Sub(before.P50); late < 5 || late > 11 {
		t.Errorf("eleven cold days delay hatching by %d days", late)
	}
}

// Dead eggs no longer count as eggs that have not hatched.
func TestDeadEggsNoLongerWait(t *testing.T) {
	b := lizardRoom()
	b.Species[0].Scientific, b.Species[0].Family = "Podarcis muralis", "Lacertidae"
	b.Clutches = []husbandry.Clutch{{ID: "A", Species: "wall-lizard", Laid: day("05-12"), Eggs: 6, Incubator: "I1"}}
	in := b.input("06-24", 0)
	in.Forecasts = nil
	waiting := outlook.ClutchForecasts(scheduler.NewDay(in))[0]
	lost := 5
	b.found("06-01", "A/tub-check/2027-06-01", tasks.Finding{Slugs: &lost})
	in = b.input("06-24", 0)
	in.Forecasts = nil
	if c := outlook.ClutchForecasts(scheduler.NewDay(in))[0]; !c.P50.Before(waiting.P50) {
		t.Errorf("one egg left that has not hatched: %v; six: %v", c.P50, waiting.P50)
	}
}
