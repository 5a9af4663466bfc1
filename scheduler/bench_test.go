package scheduler_test

import (
	"fmt"
	files "nestround/config/books"
	"testing"

	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

// BenchmarkPlan plans one day, and the days that a calendar shows, for colonies
// of three sizes and histories of three lengths. The history of each plan has
// no cached answers.
func BenchmarkPlan(b *testing.B) {
	for _, enclosures := range []int{12, 200, 2000} {
		if testing.Short() && enclosures == 2000 {
			continue
		}
		for _, years := range []int{1, 3, 10} {
			b.Run(fmt.Sprintf("enclosures=%d,years=%d", enclosures, years), func(b *testing.B) {
				c := sample.Make(enclosures, years, 1)
				c.Records.Called = files.Called()
				h := tasks.Fold(c.Entries)
				for _, ahead := range []int{0, 120} {
					b.Run(fmt.Sprintf("ahead=%d", ahead), func(b *testing.B) {
						b.ReportAllocs()
						n := 0
						for b.Loop() {
							n = len(scheduler.Plan(scheduler.Input{Records: c.Records, History: h.Before(c.On), On: c.On, To: c.On.AddDays(ahead)}))
						}
						b.ReportMetric(float64(n), "tasks")
					})
				}
			})
		}
	}
}

// BenchmarkPairing plans a season in which all animals live apart, so that
// every female is compared with every male of her species, in a pedigree of
// some generations.
func BenchmarkPairing(b *testing.B) {
	for _, here := range []int{40, 400} {
		r := lizardRoom(sample.Routines()...).Records
		r.Animals, r.Enclosures = nil, nil
		for i := range 5 * here {
			a := husbandry.Animal{
				ID: husbandry.ID(fmt.Sprint("A", i)), Species: "wall-lizard", Sex: husbandry.Female, Count: 1, Breeding: true,
			}
			if i%4 == 0 {
				a.Sex = husbandry.Male
			}
			if i < 4*here {
				a.Left = day("2026-01-01")
			} else {
				a.Enclosure = husbandry.ID(fmt.Sprint("E", i))
				r.Enclosures = append(r.Enclosures, husbandry.Enclosure{ID: a.Enclosure, Room: "R1"})
			}
			if i >= here {
				a.Mother, a.Father = r.Animals[i-here+1].ID, r.Animals[(i-here/2)/4*4].ID
			}
			r.Animals = append(r.Animals, a)
		}
		b.Run(fmt.Sprintf("animals=%d", here), func(b *testing.B) {
			n := 0
			for b.Loop() {
				n = len(scheduler.Plan(scheduler.Input{Records: &r, On: day("05-12"), To: day("05-12")}))
			}
			b.ReportMetric(float64(n), "tasks")
		})
	}
}

// BenchmarkPlanInWinter plans a day in December, when every animal is cooled.
func BenchmarkPlanInWinter(b *testing.B) {
	for _, enclosures := range []int{200, 2000} {
		if testing.Short() && enclosures == 2000 {
			continue
		}
		b.Run(fmt.Sprintf("enclosures=%d", enclosures), func(b *testing.B) {
			c := sample.Make(enclosures, 1, 1)
			c.Records.Called = files.Called()
			for i := range c.Records.Species {
				c.Records.Species[i].Cooling = cooledCare
			}
			h := tasks.Fold(c.Entries)
			on := day("2027-12-15")
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				n = len(scheduler.Plan(scheduler.Input{Records: c.Records, History: h.Before(on), On: on, To: on.AddDays(120)}))
			}
			b.ReportMetric(float64(n), "tasks")
		})
	}
}
