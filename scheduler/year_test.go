package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

func yearWords(y outlook.SpeciesYear) string {
	var lines []string
	for _, s := range y.Spans {
		lines = append(lines, fmt.Sprintf("%s %s %s", s.Sort, s.From.Format("01-02"), s.To.Format("01-02")))
	}
	for _, w := range y.Warmth {
		lines = append(lines, fmt.Sprintf("%g-%g %s %s", w.Low, w.High, w.From.Format("01-02"), w.To.Format("01-02")))
	}
	return strings.Join(lines, "\n")
}

func midYear(in scheduler.Input, year int) *herd.Herd {
	in.On = outlook.MiddleOf(year)
	return scheduler.Facts(in)
}

func TestTheYearOfASpecies(t *testing.T) {
	years := func(b *books, year int) []outlook.SpeciesYear {
		return outlook.Years(midYear(b.input("2027-05-12", 0), year), []husbandry.ID{"wall-lizard"})
	}
	// Wall lizards at 28 °C take 37.55 days (Ji & Braña 1999), SD 2.33. So
	// hatching goes from day 34 after the first laying to day 41 after the
	// last. Eggs come 20 to 30 days after mating, in up to three clutches 24 to
	// 36 days apart.
	t.Run("cooled", func(t *testing.T) {
		if got, want := yearWords(years(winterRoom(), 2028)[0]), `food 02-16 10-31
fast 11-01 11-14
cooling down 11-15 11-24
cold 01-01 02-02
cold 11-25 12-31
warming up 02-03 02-12
pairing 02-27 06-30
laying 03-18 07-30
incubation 03-18 09-09
hatching 04-21 09-09
5-12 01-01 02-02
15-15 02-03 02-07
20-20 02-08 02-12
20-20 11-15 11-19
15-15 11-20 11-24
5-12 11-25 12-31`; got != want {
			t.Errorf("got\n%s\nwant\n%s", got, want)
		}
	})
	t.Run("not cooled", func(t *testing.T) {
		y := years(withSample(), 2028)[0]
		if got, want := yearWords(y), `food 01-01 12-31
pairing 03-15 06-30
laying 04-04 07-30
incubation 04-04 09-09
hatching 05-08 09-09`; got != want || y.NoCooling != "the care sheet knows no winter cooling" {
			t.Errorf("got\n%s, %q\nwant\n%s", got, y.NoCooling, want)
		}
	})
	t.Run("left to the keeper", func(t *testing.T) {
		b := winterRoom()
		b.Species[0].Cooling.Usual = false
		if y := years(b, 2028)[0]; !strings.Contains(y.NoCooling, "[[cooling]] record turns it on") {
			t.Error(y.NoCooling)
		}
	})
	t.Run("turned on for one animal", func(t *testing.T) {
		b := winterRoom()
		b.Species[0].Cooling.Usual = false
		b.Coolings = []husbandry.Cooling{{ID: "W", Animals: []husbandry.ID{"F04"}, Every: husbandry.MonthDay{Month: time.December, Day: 1}}}
		if y := years(b, 2028)[0]; !strings.Contains(yearWords(y), "fast 12-01 12-14") || y.NoCooling != "" {
			t.Errorf("%s, %q", yearWords(y), y.NoCooling)
		}
	})
	t.Run("in the south", func(t *testing.T) {
		in := winterRoom().input("2027-05-12", 0)
		in.Latitude, in.Forecasts = -33.9, herd.Plain{Latitude: -33.9}
		got := yearWords(outlook.Years(midYear(in, 2028), []husbandry.ID{"wall-lizard"})[0])
		for _, want := range []string{"fast 05-01 05-14", "cold 05-25 08-02", "pairing 08-27 12-30", "food 01-01 04-30\nfood 08-16 12-31"} {
			if !strings.Contains(got, want) {
				t.Errorf("got\n%s\nwithout %s", got, want)
			}
		}
	})
	t.Run("a moved winter", func(t *testing.T) {
		b := winterRoom().later("2027-11-01", fast, "2027-11-08")
		if got := yearWords(years(b, 2027)[0]); !strings.Contains(got, "fast 11-08 11-21") {
			t.Errorf("got\n%s", got)
		}
	})
	t.Run("a species without animals", func(t *testing.T) {
		b := winterRoom()
		b.Animals = nil
		if got := yearWords(years(b, 2030)[0]); !strings.Contains(got, "fast 11-01 11-14") {
			t.Errorf("got\n%s", got)
		}
	})
	t.Run("without a sheet", func(t *testing.T) {
		if got := outlook.Years(midYear(winterRoom().input("2027-05-12", 0), 2027), []husbandry.ID{"dragon"}); got == nil || len(got) != 0 {
			t.Errorf("got %v", got)
		}
	})
}

func TestPropertiesOfYears(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := winterRoom()
		b.Species = sample.Species()
		var ids []husbandry.ID
		for i := range b.Species {
			ids = append(ids, b.Species[i].ID)
			b.Species[i].Cooling = cooledCare
			b.Species[i].Cooling.Start = husbandry.MonthDay{Month: time.Month(rapid.IntRange(1, 12).Draw(t, "month")), Day: rapid.IntRange(1, 31).Draw(t, "day")}
		}
		in := b.input("2027-05-12", 0)
		in.Latitude = rapid.SampledFrom([]float64{48, -34}).Draw(t, "latitude")
		year := rapid.IntRange(2020, 2040).Draw(t, "year")
		for _, y := range outlook.Years(midYear(in, year), ids) {
			for i, s := range y.Spans {
				if s.From.Year() != year || s.To.Year() != year || s.To.Before(s.From) {
					t.Fatalf("%s: %s %s to %s", y.ID, s.Sort, s.From, s.To)
				}
				if i == 0 {
					continue
				}
				before := y.Spans[i-1]
				order := slices.Index(outlook.YearSorts(), s.Sort) - slices.Index(outlook.YearSorts(), before.Sort)
				if order < 0 || order == 0 && !before.To.AddDays(1).Before(s.From) {
					t.Fatalf("%s: %s %s to %s stands before %s %s", y.ID, before.Sort, before.From, before.To, s.Sort, s.From)
				}
			}
			// Every day of the year either has food or belongs to the winter.
			days := 0
			for _, s := range y.Spans {
				switch s.Sort {
				case outlook.YearFood, outlook.YearFast, outlook.YearDown, outlook.YearCold, outlook.YearUp:
					days += s.To.Sub(s.From) + 1
				}
			}
			if all := day(fmt.Sprintf("%d-12-31", year)).YearDay(); days > all || days < all-2*int(cooledCare.FirstFeed.From) {
				t.Fatalf("%s: %d of %d days\n%s", y.ID, days, all, yearWords(y))
			}
		}
	})
}
