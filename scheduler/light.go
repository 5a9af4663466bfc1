package scheduler

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// stepped plans a routine that waits for a target to move: one task for each
// day on which the hours of light of a room have moved by its step, and one
// for the day the books begin, from which on the timer is looked after.
func (p *planner) stepped(a *activity) {
	l := p.lightOf(a.s)
	if l == nil || a.r.Cadence.Steps != husbandry.LightSteps {
		return
	}
	s := daylight.Schedule{Latitude: l.Latitude, Behind: l.Behind, Shortest: l.Shortest, Longest: l.Longest, Noon: l.Noon}
	dates := []civil.Date{p.began}
	settings := make(map[civil.Date]daylight.Step)
	for _, st := range daylight.Steps(s, civil.Max(p.began.AddDays(1), p.on.AddDays(-lookBack)), p.horizon, l.Step) {
		dates = append(dates, st.On)
		settings[st.On] = st
	}
	p.dated(a, dates, nil, func(day civil.Date) string {
		st, moved := settings[day]
		if !moved {
			st = daylight.Standing(s, day, l.Step)
			st.Before = st.Light
		}
		return lightWords(l, st)
	})
}

func (p *planner) lightOf(s *subject) *husbandry.Light {
	if s.scope != husbandry.OfRoom {
		return nil
	}
	for i := range p.rec.Rooms {
		if p.rec.Rooms[i].ID == s.id {
			return p.rec.Rooms[i].Light
		}
	}
	return nil
}

// lightWords is "Lamps from 05:30 to 18:30: 13 h of light, 12 h 45 min until
// now; the days of 48.2° N".
func lightWords(l *husbandry.Light, st daylight.Step) string {
	words := fmt.Sprintf("Lamps from %v to %v: %s of light", st.LampsOn, st.LampsOff, hours(st.Light))
	switch st.Light {
	case 0:
		words = "Lamps off all day: the sun does not rise"
	case 24 * time.Hour:
		words = "Lamps on day and night: the sun does not set"
	}
	if st.Before != st.Light {
		before := hours(st.Before)
		if st.Before == 0 {
			before = "none"
		}
		words += ", " + before + " until now"
	}
	if l.Longest > 0 && l.Shortest == l.Longest {
		return words + "; the same all year"
	}
	words += "; the days of " + latitudeWords(l.Latitude)
	if l.Longest > 0 {
		words += " drawn between " + hours(l.Shortest) + " and " + hours(l.Longest)
	}
	switch {
	case l.Behind > 0:
		words += ", " + days(l.Behind) + " later"
	case l.Behind < 0:
		words += ", " + days(-l.Behind) + " earlier"
	}
	return words
}

// hours writes "13 h", "12 h 45 min" or "45 min".
func hours(d time.Duration) string {
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case m == 0:
		return strconv.Itoa(h) + " h"
	case h == 0:
		return strconv.Itoa(m) + " min"
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// latitudeWords writes "48.2° N", "33° S" or "the equator".
func latitudeWords(latitude float64) string {
	n := strconv.FormatFloat(math.Abs(math.Round(latitude*100)/100), 'f', -1, 64)
	switch {
	case n == "0":
		return "the equator"
	case latitude < 0:
		return n + "° S"
	}
	return n + "° N"
}
