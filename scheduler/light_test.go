package scheduler_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// lamps returns a lizard room with this light and only the common routine.
func lamps(l husbandry.Light) *books {
	b := lizardRoom(husbandry.Routine{
		ID: "light-step", Kind: husbandry.LightStep, Scope: husbandry.OfRoom, Cadence: husbandry.Cadence{Pattern: husbandry.Stepped, Steps: husbandry.LightSteps},
		Before: 3, After: 3, Part: husbandry.Evening, Minutes: 5, Missed: husbandry.Stays, Origin: husbandry.Common,
	})
	b.Rooms[0].Light = &l
	return b
}

func TestLampsAreSetWhenTheDayLengthHasChanged(t *testing.T) {
	vienna := husbandry.Light{Latitude: 48.2, Noon: 12 * 60, Step: 15}
	first := "due 05-01 R1/light-step/2027-05-01"
	t.Run("when the books begin, and every quarter of an hour", func(t *testing.T) {
		b := lamps(vienna)
		expect(t, b.plan("05-01", 31), first+`
			upcoming 05-06 R1/light-step/2027-05-06
			upcoming 05-11 R1/light-step/2027-05-11
			upcoming 05-17 R1/light-step/2027-05-17
			upcoming 05-23 R1/light-step/2027-05-23
			upcoming 05-31 R1/light-step/2027-05-31`)
		if one := b.plan("05-01", 0).one(t, "R1"); one.Title != "Set the lamps' timer: Lizard room" ||
			one.Why != "Lamps from 04:45 to 19:15: 14 h 30 min of light; the days of 48.2° N" || one.Kind != husbandry.LightStep || one.Scope != husbandry.OfRoom {
			t.Errorf("%+v", one)
		}
		if next := b.plan("05-01", 10).of("05-06")[0].Why; next != "Lamps from 04:38 to 19:23: 14 h 45 min of light, 14 h 30 min until now; the days of 48.2° N" {
			t.Error(next)
		}
	})
	t.Run("a missed step stays until the next step replaces it", func(t *testing.T) {
		b := lamps(vienna).done("05-01", "R1/light-step/2027-05-01")
		expect(t, b.plan("05-08", 0), "due 05-06 R1/light-step/2027-05-06")
		expect(t, b.plan("05-10", 0), "overdue 05-06 R1/light-step/2027-05-06")
		expect(t, b.plan("05-11", 0), "due 05-11 R1/light-step/2027-05-11")
	})
	t.Run("done, it comes back with the next step only", func(t *testing.T) {
		b := lamps(vienna).done("05-01", "R1/light-step/2027-05-01").done("05-06", "R1/light-step/2027-05-06")
		expect(t, b.plan("05-07", 0), "")
	})
	t.Run("a room with a step of its own", func(t *testing.T) {
		l := vienna
		l.Step = 60
		expect(t, lamps(l).plan("05-01", 60), first+"\nupcoming 05-11 R1/light-step/2027-05-11\nupcoming 06-11 R1/light-step/2027-06-11")
	})
	t.Run("no light, no steps", func(t *testing.T) {
		b := lamps(vienna)
		b.Rooms[0].Light = nil
		expect(t, b.plan("05-01", 60), "")
	})
	t.Run("off", func(t *testing.T) {
		b := lamps(vienna)
		b.Routines = append(b.Routines, husbandry.Routine{ID: "off", Kind: husbandry.LightStep, Scope: husbandry.OfRoom, Off: true})
		expect(t, b.plan("05-01", 60), "")
	})
}

func TestLampTimes(t *testing.T) {
	const h = time.Hour
	for _, c := range []struct {
		words string
		light husbandry.Light
		why   string // on 1 May
		steps int    // in the following 120 days
	}{
		{"the same all year", husbandry.Light{Shortest: 12 * h, Longest: 12 * h, Noon: 13 * 60}, "Lamps from 07:00 to 19:00: 12 h of light; the same all year", 0},
		{"scaled between two lengths", husbandry.Light{Latitude: 48.2, Shortest: 10 * h, Longest: 14 * h, Step: 30}, "Lamps from 05:30 to 18:30: 13 h of light; the days of 48.2° N drawn between 10 h and 14 h", 4},
		{"a southern year", husbandry.Light{Latitude: -25, Step: 15}, "Lamps from 06:23 to 17:38: 11 h 15 min of light; the days of 25° S", 5},
		{"half a year later", husbandry.Light{Latitude: 48.2, Behind: 182, Step: 60}, "Lamps from 07:00 to 17:00: 10 h of light; the days of 48.2° N, 182 days later", 2},
		{"a month earlier", husbandry.Light{Latitude: 48.2, Behind: -30, Step: 60}, "Lamps from 04:30 to 19:30: 15 h of light; the days of 48.2° N, 30 days earlier", 5},
		{"polar day", husbandry.Light{Latitude: 78, Step: 60}, "Lamps on day and night: the sun does not set; the days of 78° N", 3},
		{"polar night", husbandry.Light{Latitude: -85, Step: 60}, "Lamps off all day: the sun does not rise; the days of 85° S", 0},
		{"the equator", husbandry.Light{Step: 15}, "Lamps from 06:00 to 18:00: 12 h of light; the days of the equator", 0},
	} {
		t.Run(c.words, func(t *testing.T) {
			p := lamps(c.light).plan("05-01", 120)
			if p[0].Why != c.why || len(p)-1 != c.steps {
				t.Errorf("%s\n%s", p[0].Why, p)
				for _, x := range p {
					t.Log(x.Why)
				}
			}
			for _, x := range p {
				if strings.Contains(x.Why, "  ") || x.Missed != husbandry.Stays {
					t.Errorf("%+v", x)
				}
			}
		})
	}
}

// Before the sun came back there was no light.
func TestTheFirstLightAfterAPolarNight(t *testing.T) {
	b := lamps(husbandry.Light{Latitude: 70, Step: 15})
	x := b.plan("2028-01-10", 10)
	i := slices.IndexFunc(x, func(t tasks.Task) bool {
		return strings.Contains(t.Why, " of light, none until now; the days of 70° N")
	})
	if i < 0 {
		for _, t2 := range x {
			t.Log(t2.Due, t2.Why)
		}
		t.Error("no first light")
	}
}
