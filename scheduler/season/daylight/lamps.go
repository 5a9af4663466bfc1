package daylight

import (
	"time"

	"nestround/tasks/civil"
)

// Schedule says how long lamps burn through the year. With a latitude alone the
// lamps follow the day length at this latitude. With a shortest and a longest
// day, too, the day length is scaled to these two (see [HasSeasons]). If the
// two are equal, the lamps burn for that time all year.
type Schedule struct {
	// Latitude is the latitude of the day length that the lamps follow, in
	// degrees, south negative.
	Latitude float64
	// Behind is the number of days by which the lamps lag behind the sun's
	// year. It is negative if they are ahead.
	Behind int
	// Shortest and Longest are the lengths of the shortest and the longest day,
	// 0 to 24 hours. Both are zero for the day lengths of the sun. If they are
	// equal, the lamps burn for that time all year.
	Shortest, Longest time.Duration
	// Noon is the middle of the lit hours on the timer's clock; zero for 12:00.
	Noon civil.TimeOfDay
}

// Fixed reports whether the lamps burn for the same time all year.
func (s Schedule) Fixed() bool { return s.Longest > 0 && s.Shortest == s.Longest }

// solstice is the declination on the longest day. It is slightly less than the
// obliquity of the ecliptic (23.44° about 2000), so that every year reaches it.
const solstice = 23.43

// least is the smallest difference between a year's longest and shortest day
// with which a schedule can follow the year.
const least = 10 * time.Minute

// HasSeasons reports whether a schedule can follow the year at a latitude: the
// longest and the shortest day differ by ten minutes or more. Within a degree
// or two of the equator the difference is smaller.
func HasSeasons(latitude float64) bool {
	shortest, longest := ends(latitude)
	return longest-shortest >= least
}

func ends(latitude float64) (shortest, longest time.Duration) {
	a, b := lit(Sunrise, latitude, -solstice), lit(Sunrise, latitude, solstice)
	return min(a, b), max(a, b)
}

// On returns the time for which the lamps burn on a day, 0 to 24 hours.
func (s Schedule) On(day civil.Date) time.Duration {
	if s.Fixed() {
		return s.Longest
	}
	sky := Length(s.Latitude, day.AddDays(-s.Behind))
	if s.Longest == 0 {
		return sky
	}
	shortest, longest := ends(s.Latitude)
	if longest-shortest < least {
		return (s.Shortest + s.Longest) / 2
	}
	share := float64(sky-shortest) / float64(longest-shortest)
	share = min(1, max(0, share))
	return s.Shortest + time.Duration(share*float64(s.Longest-s.Shortest)).Round(time.Second)
}

// Step is a setting of the timer from a day on.
type Step struct {
	On    civil.Date
	Light time.Duration // whole minutes, 0 to 24 hours
	// Before is the previous setting.
	Before time.Duration
	// LampsOn and LampsOff are the times to set on the timer. Both are zero if
	// Light is 0 or 24 hours, because the lamps are then never switched.
	LampsOn, LampsOff civil.TimeOfDay
}

// usual is the default step in minutes: timers are set by the quarter of an
// hour (common practice).
const usual = 15

// Steps returns the new settings of the timer from from to to, both days
// included. A setting changes when the schedule has moved by stepMinutes (0 for
// 15) since the timer was last set. The settings are multiples of the step, or
// 0 or 24 hours, so that the same settings come back every year. The days do
// not depend on from: the count starts at the shortest day of an earlier year.
func Steps(s Schedule, from, to civil.Date, stepMinutes int) []Step {
	var steps []Step
	if s.Fixed() {
		return nil
	}
	s.walk(from, to, stepMinutes, func(st Step) {
		if !st.On.Before(from) {
			steps = append(steps, st)
		}
	})
	return steps
}

// Standing returns the setting in force on a day: the last step on or before
// that day (see [Steps]), or the only setting of a fixed schedule.
func Standing(s Schedule, on civil.Date, stepMinutes int) Step {
	if s.Fixed() {
		minutes := int(s.Longest.Round(time.Minute) / time.Minute)
		return s.step(on, minutes, minutes)
	}
	var last Step
	s.walk(on, on, stepMinutes, func(st Step) { last = st })
	return last
}

// walk visits all settings in order, from a shortest day at least a year before
// from up to to. The first is the setting on that shortest day.
func (s Schedule) walk(from, to civil.Date, stepMinutes int, visit func(Step)) {
	if stepMinutes <= 0 {
		stepMinutes = usual
	}
	minutes := func(day civil.Date) int { return int(s.On(day).Round(time.Minute) / time.Minute) }
	month := time.December
	if s.Latitude < 0 {
		month = time.June
	}
	start := civil.New(from.Year()-1, month, 21).AddDays(s.Behind % 365)
	for from.Sub(start) < 366 {
		start = start.AddMonths(-12)
	}
	// Before the shortest day the days get shorter, so the timer was last set
	// to the next multiple above. If the year contains no multiple, it was set
	// to the nearest one.
	stand := min(-floor(-minutes(start), stepMinutes), 24*60)
	shortest, longest := s.Shortest, s.Longest
	if longest == 0 {
		shortest, longest = ends(s.Latitude)
	}
	if time.Duration(stand)*time.Minute > longest+time.Minute/2 {
		stand = floor(int((shortest+longest)/2/time.Minute)+stepMinutes/2, stepMinutes)
	}
	visit(s.step(start, stand, stand))
	for day := start.AddDays(1); !day.After(to); day = day.AddDays(1) {
		want, before := minutes(day), stand
		switch {
		case want-stand >= stepMinutes, want == 24*60 && stand < want:
			stand = floor(want, stepMinutes)
			if want == 24*60 {
				stand = want
			}
		case stand-want >= stepMinutes, want == 0 && stand > 0:
			stand = -floor(-want, stepMinutes)
		}
		if stand != before {
			visit(s.step(day, stand, before))
		}
	}
}

// floor returns the largest multiple of step not above n.
func floor(n, step int) int {
	r := n % step
	if r < 0 {
		r += step
	}
	return n - r
}

func (s Schedule) step(on civil.Date, light, before int) Step {
	st := Step{On: on, Light: time.Duration(light) * time.Minute, Before: time.Duration(before) * time.Minute}
	if light == 0 || light == 24*60 {
		return st
	}
	noon := int(s.Noon)
	if noon == 0 {
		noon = 12 * 60
	}
	lampsOn := noon - light/2
	const day = 24 * 60
	st.LampsOn, st.LampsOff = civil.TimeOfDay((lampsOn+day)%day), civil.TimeOfDay((lampsOn+light+day)%day)
	return st
}
