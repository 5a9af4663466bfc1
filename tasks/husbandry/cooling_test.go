package husbandry_test

import (
	"testing"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func TestParseShare(t *testing.T) {
	for _, c := range []struct {
		in    string
		want  float64
		shown string // "" for an error
	}{
		{"5 %", 0.05, "5 %"}, {"7.5%", 0.075, "7.5 %"}, {"8 percent", 0.08, "8 %"}, {"0 %", 0, "0 %"}, {"100 %", 1, "100 %"},
		{"5", 0, ""}, {"-1 %", 0, ""}, {"101 %", 0, ""}, {"5 g", 0, ""}, {"5 % 6 %", 0, ""}, {"%", 0, ""},
	} {
		got, err := husbandry.ParseShare(c.in)
		if (err != nil) != (c.shown == "") || err == nil && (!near(float64(got), c.want) || got.String() != c.shown) {
			t.Errorf("%q: %v (%s), %v", c.in, float64(got), got, err)
		}
	}
}

func TestMonthDayInAYear(t *testing.T) {
	leap := husbandry.MonthDay{Month: time.February, Day: 29}
	if leap.In(2027) != civil.MustParse("2027-02-28") || leap.In(2028) != civil.MustParse("2028-02-29") {
		t.Errorf("%s, %s", leap.In(2027), leap.In(2028))
	}
}

func TestCoolingNamesItsAnimals(t *testing.T) {
	a := &husbandry.Animal{ID: "F03", Species: "wall-lizard", Enclosure: "E07"}
	out := &husbandry.Animal{ID: "F04", Species: "wall-lizard"}
	for i, c := range []husbandry.Cooling{{Animals: []husbandry.ID{"F01", "F03"}}, {Enclosures: []husbandry.ID{"E07"}}, {Rooms: []husbandry.ID{"R1"}}, {Species: []husbandry.ID{"wall-lizard"}}} {
		if near, ok := c.Names(a, "R1"); !ok || near != i {
			t.Errorf("%+v: %d, %v", c, near, ok)
		}
		if _, ok := c.Names(out, ""); ok != (i == 3) {
			t.Errorf("%+v names one that is out: %v", c, ok)
		}
	}
}
