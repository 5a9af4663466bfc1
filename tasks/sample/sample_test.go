package sample_test

import (
	"reflect"
	"testing"

	"nestround/tasks"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

func TestTheSameArgumentsGiveTheSameColony(t *testing.T) {
	a, b := sample.Make(5, 1, 7), sample.Make(5, 1, 7)
	if !reflect.DeepEqual(a, b) {
		t.Error("two colonies of the same arguments differ")
	}
	if reflect.DeepEqual(a.Entries, sample.Make(5, 1, 8).Entries) {
		t.Error("the seed changes nothing")
	}
}

func TestTheArgumentsGiveTheSizeOfTheColony(t *testing.T) {
	c := sample.Make(45, 2, 1)
	if len(c.Records.Enclosures) != 45 || len(c.Records.Animals) != 3*45 || len(c.Records.Rooms) != 2 {
		t.Errorf("%d enclosures, %d animals, %d rooms", len(c.Records.Enclosures), len(c.Records.Animals), len(c.Records.Rooms))
	}
	if got := c.On.Sub(c.Entries[0].On); got < 725 || got > 730 {
		t.Errorf("a history of %d days, want two years", got)
	}
	routines := make(map[husbandry.ID]bool)
	for _, r := range c.Records.Routines {
		if routines[r.ID] {
			t.Errorf("two routines %s", r.ID)
		}
		routines[r.ID] = true
		if r.Scope == "" || r.Part == "" || r.Missed == "" {
			t.Errorf("routine %s says too little: %+v", r.ID, r)
		}
	}
	for i, e := range c.Entries {
		if i > 0 && !e.At.After(c.Entries[i-1].At) {
			t.Fatalf("entry %d is out of order", i)
		}
		for _, a := range e.Acts {
			if !routines[a.Task.Routine()] {
				t.Fatalf("a mark of %s, which no routine yields", a.Task)
			}
		}
	}
	if got := len(tasks.Fold(c.Entries).Found()); got < 45*2*12 {
		t.Errorf("%d findings, want a weighing a month and animal at least", got)
	}
}

func TestLargeColoniesHaveAboutAMillionMarks(t *testing.T) {
	acts := 0
	for _, e := range sample.Make(400, 10, 1).Entries {
		acts += len(e.Acts)
	}
	if acts < 500_000 || acts > 1_500_000 {
		t.Errorf("%d marks, want about a million", acts)
	}
}
