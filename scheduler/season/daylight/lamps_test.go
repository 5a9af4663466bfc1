package daylight_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
)

const hour = time.Hour

// sky returns a schedule that follows the day length at a latitude.
func sky(latitude float64) daylight.Schedule { return daylight.Schedule{Latitude: latitude} }

// held returns a schedule of the same time all year.
func held(hours time.Duration) daylight.Schedule {
	return daylight.Schedule{Shortest: hours, Longest: hours}
}

// between returns a schedule that scales the year of a latitude to a shortest
// and a longest day.
func between(latitude float64, shortest, longest time.Duration) daylight.Schedule {
	return daylight.Schedule{Latitude: latitude, Shortest: shortest, Longest: longest}
}

// later returns the schedule moved by some days.
func later(s daylight.Schedule, days int) daylight.Schedule {
	s.Behind += days
	return s
}

func TestHowLongLampsBurn(t *testing.T) {
	for _, c := range []struct {
		words string
		s     daylight.Schedule
		on    string
		want  time.Duration
		in    time.Duration // within
	}{
		{"the sky of Vienna at midsummer", sky(48.2), "2027-06-21", 16*hour + 5*time.Minute, 5 * time.Minute},
		{"half a year later, its midwinter", later(sky(48.2), 182), "2027-06-21", 8*hour + 20*time.Minute, 5 * time.Minute},
		{"a month behind", later(sky(48.2), 30), "2027-07-21", daylight.Length(48.2, day("2027-06-21")), 0},
		{"a month ahead", later(sky(48.2), -30), "2027-05-22", daylight.Length(48.2, day("2027-06-21")), 0},
		{"the sky of Alice Springs at its midwinter", sky(-23.7), "2027-06-21", 10*hour + 37*time.Minute, 5 * time.Minute},
		{"held, whatever the sky", held(12 * hour), "2027-06-21", 12 * hour, 0},
		{"the longest day of a scaled year", between(48.2, 10*hour, 14*hour), "2027-06-21", 14 * hour, 30 * time.Second},
		{"the shortest day of a scaled year", between(48.2, 10*hour, 14*hour), "2027-12-21", 10 * hour, 30 * time.Second},
		{"an equinox of a scaled year", between(48.2, 10*hour, 14*hour), "2027-03-21", 12 * hour, 4 * time.Minute},
		{"a southern year scaled up", between(-25, 8*hour, 16*hour), "2027-12-21", 16 * hour, time.Minute},
		{"where there are no seasons, the middle", between(0, 10*hour, 14*hour), "2027-06-21", 12 * hour, 0},
		{"polar night", sky(75), "2027-12-21", 0, 0},
		{"polar day", sky(75), "2027-06-21", 24 * hour, 0},
		{"polar night, scaled", between(75, 8*hour, 15*hour), "2027-12-21", 8 * hour, 0},
	} {
		if got := c.s.On(day(c.on)); (got - c.want).Abs() > c.in {
			t.Errorf("%s: %v, want %v", c.words, got, c.want)
		}
	}
}

func TestSeasonsNeedALatitude(t *testing.T) {
	for latitude, want := range map[float64]bool{0: false, 1: false, -1: false, 3: true, -3: true, 48: true, 90: true} {
		if daylight.HasSeasons(latitude) != want {
			t.Errorf("%v°: %v", latitude, !want)
		}
	}
}

func TestStepsOfAScaledYear(t *testing.T) {
	s := between(48.2, 10*hour, 14*hour)
	steps := daylight.Steps(s, day("2027-01-01"), day("2027-12-31"), 0)
	// Four hours up and four hours down, in quarters of an hour.
	if len(steps) != 32 {
		t.Errorf("%d steps", len(steps))
	}
	longest := daylight.Standing(s, day("2027-07-01"), 0)
	want := daylight.Step{On: longest.On, Light: 14 * hour, Before: 13*hour + 45*time.Minute, LampsOn: 5 * 60, LampsOff: 19 * 60}
	if longest != want || longest.On.Before(day("2027-06-10")) || longest.On.After(day("2027-06-22")) {
		t.Errorf("at midsummer stands %+v", longest)
	}
	s.Noon = 13 * 60
	if st := daylight.Standing(s, day("2027-07-01"), 0); st.LampsOn != 6*60 || st.LampsOff != 20*60 {
		t.Errorf("about one o'clock: %v to %v", st.LampsOn, st.LampsOff)
	}
}

func TestNumbersOfStepsInAYear(t *testing.T) {
	for _, c := range []struct {
		words string
		s     daylight.Schedule
		every int // minutes
		want  int // steps in a year
	}{
		{"held hours", held(12 * hour), 15, 0},
		{"the equator", sky(0), 15, 0},
		{"a year that moves less than the step", between(48.2, 12*hour, 12*hour+10*time.Minute), 15, 0},
		{"half hours", between(48.2, 10*hour, 14*hour), 30, 16},
		{"hours", between(48.2, 10*hour, 14*hour), 60, 8},
		{"the southern year", between(-33, 10*hour, 14*hour), 60, 8},
		// From 8:20 to 16:05 at 48.2° N: 8:30, 8:45 ... 16:00 and back.
		{"the sky", sky(48.2), 15, 60},
	} {
		if got := daylight.Steps(c.s, day("2027-01-01"), day("2027-12-31"), c.every); len(got) != c.want {
			t.Errorf("%s: %d steps, want %d: %v", c.words, len(got), c.want, got)
		}
	}
}

// If the year contains no multiple of the step, the nearest multiple is set.
func TestAYearWithoutAMultipleOfTheStep(t *testing.T) {
	for _, c := range []struct {
		words string
		s     daylight.Schedule
		every int
		want  time.Duration
	}{
		{"the equator by the quarter", sky(0), 15, 12 * hour},
		{"the equator by the hour", sky(0), 60, 12 * hour},
		{"a little above a quarter", between(48.2, 12*hour+5*time.Minute, 12*hour+6*time.Minute), 15, 12 * hour},
		{"a little below the next", between(48.2, 12*hour+11*time.Minute, 12*hour+13*time.Minute), 15, 12*hour + 15*time.Minute},
		{"about a quarter", between(48.2, 11*hour+55*time.Minute, 12*hour+5*time.Minute), 15, 12 * hour},
	} {
		if got := daylight.Standing(c.s, day("2027-05-12"), c.every); got.Light != c.want {
			t.Errorf("%s: %v, want %v", c.words, got.Light, c.want)
		}
	}
}

func TestPolarStepsSwitchNothing(t *testing.T) {
	dark := daylight.Standing(sky(75), day("2027-12-21"), 15)
	if dark.Light != 0 || dark.LampsOn != 0 || dark.LampsOff != 0 || dark.On.After(day("2027-12-01")) {
		t.Errorf("polar night: %+v", dark)
	}
	lit := daylight.Standing(sky(75), day("2027-06-21"), 15)
	if lit.Light != 24*hour || lit.LampsOn != 0 || lit.LampsOff != 0 || lit.On.After(day("2027-05-10")) {
		t.Errorf("polar day: %+v", lit)
	}
}

func schedules() *rapid.Generator[daylight.Schedule] {
	return rapid.Custom(func(t *rapid.T) daylight.Schedule {
		s := sky(latitudes().Draw(t, "latitude"))
		if rapid.Bool().Draw(t, "pressed") {
			s.Shortest = time.Duration(rapid.IntRange(6, 12).Draw(t, "shortest")) * hour
			s.Longest = s.Shortest + time.Duration(rapid.IntRange(0, 12).Draw(t, "more"))*hour
		}
		return later(s, rapid.IntRange(-400, 400).Draw(t, "later"))
	})
}

// Between two steps the target is never a whole step away from the setting.
// Every step moves by at least a whole step. The time from lamps on to lamps
// off equals the setting.
func TestStepsKeepUpWithTheTarget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := schedules().Draw(t, "schedule")
		every := rapid.SampledFrom([]int{10, 15, 20, 30, 60}).Draw(t, "step")
		from := dates().Draw(t, "from")
		steps := daylight.Steps(s, from, from.AddDays(400), every)
		move := time.Duration(every) * time.Minute
		at := daylight.Standing(s, from.AddDays(-1), every)
		for i := range 401 {
			on := from.AddDays(i)
			if len(steps) > 0 && steps[0].On == on {
				if steps[0].Before != at.Light || (steps[0].Light-at.Light).Abs() < move {
					t.Fatalf("%v: from %v to %v, by %v", on, at.Light, steps[0].Light, move)
				}
				at, steps = steps[0], steps[1:]
				lit := time.Duration(at.LampsOff-at.LampsOn) * time.Minute
				if lit < 0 {
					lit += 24 * hour
				}
				if at.Light != lit && !(at.Light == 24*hour && lit == 0) {
					t.Fatalf("%v: %v from %v to %v", on, at.Light, at.LampsOn, at.LampsOff)
				}
			}
			if off := (s.On(on) - at.Light).Abs(); off >= move+time.Minute {
				t.Fatalf("%v: %v wanted, %v set since %v", on, s.On(on), at.Light, at.On)
			}
		}
		if len(steps) > 0 {
			t.Fatalf("steps out of order: %v", steps)
		}
	})
}

// Plans made today and last month have the same steps.
func TestStepsDoNotDependOnTheDayOfAsking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := schedules().Draw(t, "schedule")
		from := dates().Draw(t, "from")
		later := from.AddDays(rapid.IntRange(0, 800).Draw(t, "later"))
		to := later.AddDays(100)
		var want []daylight.Step
		for _, st := range daylight.Steps(s, from, to, 15) {
			if !st.On.Before(later) {
				want = append(want, st)
			}
		}
		got := daylight.Steps(s, later, to, 15)
		if len(got) != len(want) {
			t.Fatalf("%v, want %v", got, want)
		}
		for i := range got {
			if got[i] != want[i] {
				t.Fatalf("%v, want %v", got[i], want[i])
			}
		}
	})
}

func BenchmarkSteps(b *testing.B) {
	s := sky(48.2)
	on := civil.MustParse("2027-05-12")
	for b.Loop() {
		daylight.Steps(s, on.AddDays(-400), on.AddDays(120), 15)
	}
}
