package main

import (
	"os"
	"time"
)

// clockOfTests is a clock that starts at the time in the variable CLOCK, counted
// from the moment in the variable SET.
func clockOfTests() time.Time {
	clock, err := time.Parse(time.RFC3339, os.Getenv("CLOCK"))
	if err != nil {
		panic("CLOCK: " + err.Error())
	}
	set, err := time.Parse(time.RFC3339Nano, os.Getenv("SET"))
	if err != nil {
		panic("SET: " + err.Error())
	}
	return clock.Add(time.Since(set))
}
