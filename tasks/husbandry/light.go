package husbandry

import (
	"fmt"
	"math"
	"time"

	"nestround/tasks/civil"
)

// Light is how long the lamps of a room burn through the year.
type Light struct {
	// Latitude whose day lengths they follow, in degrees, south negative; not
	// used where Shortest and Longest are equal.
	Latitude float64
	// Behind is by how many days the lamps' year is behind that of the sky;
	// negative when it is ahead.
	Behind int
	// Shortest and Longest are the hours of the year's ends, up to 24 hours:
	// both zero for those of the sky, equal for lamps that burn alike all year.
	Shortest, Longest time.Duration
	// Noon is the middle of the lit hours on the timer's clock.
	Noon civil.TimeOfDay
	// Step is how far, in minutes, the day length moves before the timer is
	// set anew.
	Step int
}

// ParseHours reads a part of a day: "12 hours", "13.5 h", "15 minutes"; whole
// minutes from 0 to 24 hours.
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
