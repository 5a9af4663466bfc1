package scheduler_test

import (
	"fmt"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// BenchmarkClutches3000 forecasts three thousand incubating clutches after
// learning from three hundred: once from the set point of the incubator, once
// from a log with a reading an hour.
func BenchmarkClutches3000(b *testing.B) {
	for _, logged := range []bool{false, true} {
		b.Run(fmt.Sprintf("logged=%v", logged), func(b *testing.B) {
			books := lizardRoom()
			books.Species[0].Scientific, books.Species[0].Family = "Podarcis muralis", "Lacertidae"
			for i := range 300 {
				id := husbandry.ID(fmt.Sprint("A", i))
				books.Clutches = append(books.Clutches, husbandry.Clutch{ID: id, Species: "wall-lizard", LaidFrom: day("03-01"), Laid: day("03-01"), Eggs: 4, Incubator: "I1"})
				books.hatched("04-10", tasks.NewKey(id, "hatch-watch", "2027-04-10"), 4)
			}
			for i := range 3000 {
				laid := day("04-01").AddDays(i % 40)
				books.Clutches = append(books.Clutches, husbandry.Clutch{ID: husbandry.ID(fmt.Sprint("B", i)), Species: "wall-lizard", LaidFrom: laid, Laid: laid, Eggs: 5, Incubator: "I1"})
			}
			in := books.input("05-12", 0)
			var days map[civil.Date][]husbandry.Celsius
			if logged {
				days = make(map[civil.Date][]husbandry.Celsius)
				for d := day("02-01"); d.Before(in.On); d = d.AddDays(1) {
					for h := range 24 {
						days[d] = append(days[d], 27.5+husbandry.Celsius(h%3)/2)
					}
				}
			}
			for b.Loop() {
				in.Forecasts = &herd.Calibrated{Logged: map[husbandry.ID]map[civil.Date][]husbandry.Celsius{"I1": days}}
				if n := len(outlook.ClutchForecasts(scheduler.NewDay(in))); n != 3300 {
					b.Fatalf("%d clutches", n)
				}
			}
		})
	}
}
