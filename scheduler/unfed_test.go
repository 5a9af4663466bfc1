package scheduler_test

import (
	"slices"
	"testing"

	"nestround/scheduler"
	"nestround/scheduler/outlook"
	"nestround/tasks/husbandry"
)

func TestSpeciesWithoutAFeedingRoutine(t *testing.T) {
	const gecko = husbandry.ID("day-gecko")
	feed := func(f husbandry.Selector, off bool) husbandry.Routine {
		return husbandry.Routine{
			ID: "feed-own", Kind: husbandry.Feed, Scope: husbandry.OfEnclosure, For: f, Off: off,
			Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Every: 2, From: day("01-01")},
		}
	}
	for name, c := range map[string]struct {
		routines []husbandry.Routine
		animals  []husbandry.Animal
		want     []husbandry.ID
	}{
		"no routine":                                 {nil, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1"}}, []husbandry.ID{gecko}},
		"a routine for every species":                {[]husbandry.Routine{feed(husbandry.Selector{}, false)}, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1"}}, nil},
		"a routine for another species":              {[]husbandry.Routine{feed(husbandry.Selector{Species: []husbandry.ID{"other"}}, false)}, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1"}}, []husbandry.ID{gecko}},
		"turned off":                                 {[]husbandry.Routine{feed(husbandry.Selector{}, true)}, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1"}}, []husbandry.ID{gecko}},
		"nobody there any more":                      {nil, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1", Left: day("03-01")}}, nil},
		"one of two animals is fed by its enclosure": {[]husbandry.Routine{feed(husbandry.Selector{Enclosures: []husbandry.ID{"E2"}}, false)}, []husbandry.Animal{{ID: "A", Species: gecko, Enclosure: "E1"}, {ID: "B", Species: gecko, Enclosure: "E2"}}, nil},
	} {
		rec := &husbandry.Records{
			Enclosures: []husbandry.Enclosure{{ID: "E1"}, {ID: "E2"}}, Animals: c.animals, Routines: c.routines,
			Species: []husbandry.Species{{ID: gecko, Name: "Day gecko"}, {ID: "other", Name: "Other"}},
		}
		if got := outlook.Unfed(scheduler.NewDay(scheduler.Input{Records: rec, On: day("05-01"), To: day("05-01")})); !slices.Equal(got, c.want) {
			t.Errorf("%s: unfed %v, want %v", name, got, c.want)
		}
	}
}
