package husbandry

import (
	"fmt"
	"math"
	"time"

	"nestround/tasks/civil"
)

// Light describes the daily hours of a room's lamps through the year.
type Light struct {
	// Latitude is the latitude of the day lengths that the lamps follow, in
	// degrees, negative in the south. It is not used if Shortest equals
	// Longest.
	Latitude float64
	// Behind is the number of days by which the lamps' year is behind the real
	// year; negative if it is ahead.
	Behind int
	// Shortest and Longest are the hours of the shortest and the longest day,
	// up to 24 hours. Both are zero for the natural day length, and equal for
	// the same hours all year.
	Shortest, Longest time.Duration
	// Noon is the middle of the lit hours on the timer's clock.
	Noon civil.TimeOfDay
	// Step is the change of the day length, in minutes, after which the keeper
	// sets the timer again.
	Step int
}

// ParseHours reads a length of time: "12 hours", "13.5 h", "15 minutes". It
// must be whole minutes, from 0 to 24 hours.
func ParseHours(s string) (time.Duration, error) {
	const want = `a time like "12 hours", "13.5 hours" or "15 minutes"`
	n, unit, err := quantity(s, want)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "hour", "hours", "h":
		n *= 60
	case "minute", "minutes", "min":
	default:
		return 0, fmt.Errorf("%q is not %s", s, want)
	}
	if n < 0 || n > 24*60 || n != math.Trunc(n) {
		return 0, fmt.Errorf("%q is not in whole minutes from 0 to 24 hours", s)
	}
	return time.Duration(n) * time.Minute, nil
}
