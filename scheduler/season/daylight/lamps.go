package daylight

import (
	"time"

	"nestround/tasks/civil"
)

// Schedule is how long lamps are to burn through the year. With a latitude
// alone they follow the day length there; with a shortest and a longest day too,
// that course of the year is scaled to them (see [HasSeasons]); with both equal
// the lamps burn for that time all year.
type Schedule struct {
	// Latitude whose year the lamps follow, in degrees, south negative.
	Latitude float64
	// Behind is by how many days the lamps' year is behind the sky's; negative
	// when it is ahead.
	Behind int
	// Shortest and Longest are the hours of the year's ends, 0 to 24; both
	// zero for the sky's own. Where they are equal the lamps are held there.
	Shortest, Longest time.Duration
	// Noon is the middle of the lit hours on the timer's clock; zero for 12:00.
	Noon civil.TimeOfDay
}

// Fixed reports whether the lamps burn for the same time all year.
func (s Schedule) Fixed() bool { return s.Longest > 0 && s.Shortest == s.Longest }

// solstice is the declination of the longest day, a hair short of the
// obliquity of the ecliptic (23.44° about 2000), so that every year gets there.
const solstice = 23.43

// least is how much a year's longest and shortest day must differ for a
// schedule to be hung on them.
const least = 10 * time.Minute

// HasSeasons reports whether the days of a latitude differ enough through the
// year, by ten minutes or more, to hang a schedule on. Within a degree or two
// of the equator they do not.
func HasSeasons(latitude float64) bool {
	shortest, longest := ends(latitude)
	return longest-shortest >= least
}

func ends(latitude float64) (shortest, longest time.Duration) {
	a, b := lit(Sunrise, latitude, -solstice), lit(Sunrise, latitude, solstice)
	return min(a, b), max(a, b)
}

// On returns how long the lamps are to burn on a day, 0 to 24 hours.
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

// Step is a setting of the timer, from a day on.
type Step struct {
	On    civil.Date
	Light time.Duration // whole minutes, 0 to 24 hours
	// Before is how long the lamps burned until then.
	Before time.Duration
	// LampsOn and LampsOff are the times to set; both are zero where Light is
	// 0 or 24 hours and there is nothing to switch.
	LampsOn, LampsOff civil.TimeOfDay
}

// usual is the step of a keeper who says none: timers are set by the quarter
// of an hour (common practice).
const usual = 15

// Steps returns the days from from to to, both included, on which the
// schedule has moved by stepMinutes (0 for 15) since the timer was last set,
// and what to set it to: a multiple of the step, 0 or 24 hours, so that the
// same settings come back every year. The days do not depend on from: the
// timer is taken to be set to the shortest day of a year before.
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

// Standing returns the setting that stands on a day: that of the last step
// (see [Steps]), which may be that day's, or of a fixed schedule the only one.
func Standing(s Schedule, on civil.Date, stepMinutes int) Step {
	if s.Fixed() {
		minutes := int(s.Longest.Round(time.Minute) / time.Minute)
		return s.step(on, minutes, minutes)
	}
	var last Step
	s.walk(on, on, stepMinutes, func(st Step) { last = st })
	return last
}

// walk goes through all settings from the shortest day of the year before from
// up to to; the first is the one that stood on that shortest day.
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
	// Towards the shortest day the timer was last set to the next multiple
	// above it; where the year holds no multiple, to the one nearest to it.
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

// floor returns the largest multiple of step that is not above n.
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
