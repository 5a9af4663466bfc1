package rule

import (
	"fmt"
	"time"

	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Light proposes to set the timers of lamps: on the day the books begin, and on
// each day on which the hours of light have changed by the step of the room.
func Light(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Duties() {
		c := &a.Routine.Cadence
		if c.Pattern != husbandry.Stepped || c.Steps != husbandry.LightSteps || idle(d, a.Subject, a.Routine) {
			continue
		}
		if l := lightOf(d, a.Subject); l != nil {
			setTimer(d, propose, a, l)
		}
	}
}

func setTimer(d *plan.Day, propose plan.Propose, a *plan.Duty, l *husbandry.Light) {
	s := daylight.Schedule{Latitude: l.Latitude, Behind: l.Behind, Shortest: l.Shortest, Longest: l.Longest, Noon: l.Noon}
	dates := []civil.Date{d.Began}
	settings := make(map[civil.Date]daylight.Step)
	for _, st := range daylight.Steps(s, civil.Max(d.Began.AddDays(1), d.On.AddDays(-herd.LookBack)), d.Horizon, l.Step) {
		dates = append(dates, st.On)
		settings[st.On] = st
	}
	propose(&plan.Series{Duty: a, Dates: dates, Why: func(day civil.Date) string {
		st, moved := settings[day]
		if !moved {
			st = daylight.Standing(s, day, l.Step)
			st.Before = st.Light
		}
		return lightWords(l, st)
	}})
}

func lightOf(d *plan.Day, s *plan.Subject) *husbandry.Light {
	if s.Scope != husbandry.OfRoom {
		return nil
	}
	for i := range d.Records.Rooms {
		if d.Records.Rooms[i].ID == s.ID {
			return d.Records.Rooms[i].Light
		}
	}
	return nil
}

// lightWords writes "Lamps from 05:30 to 18:30: 13 h of light, 12 h 45 min
// until now; the days of 48.2° N".
func lightWords(l *husbandry.Light, st daylight.Step) string {
	words := fmt.Sprintf("Lamps from %v to %v: %s of light", st.LampsOn, st.LampsOff, english.Hours(st.Light))
	switch st.Light {
	case 0:
		words = "Lamps off all day: the sun does not rise"
	case 24 * time.Hour:
		words = "Lamps on day and night: the sun does not set"
	}
	if st.Before != st.Light {
		before := english.Hours(st.Before)
		if st.Before == 0 {
			before = "none"
		}
		words += ", " + before + " until now"
	}
	if l.Longest > 0 && l.Shortest == l.Longest {
		return words + "; the same all year"
	}
	words += "; the days of " + english.Latitude(l.Latitude)
	if l.Longest > 0 {
		words += " drawn between " + english.Hours(l.Shortest) + " and " + english.Hours(l.Longest)
	}
	switch {
	case l.Behind > 0:
		words += ", " + english.Days(l.Behind) + " later"
	case l.Behind < 0:
		words += ", " + english.Days(-l.Behind) + " earlier"
	}
	return words
}
