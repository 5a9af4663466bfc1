package daylight_test

import (
	"testing"

	"nestround/scheduler/season/daylight"
)

// By the sun's hour angle at sunrise (Meeus 1998, Astronomical Algorithms,
// chapter 15) the longest and the shortest day of a low latitude φ differ by
// 4·tan φ·tan 23.44°/2π of a day, that is 397 min · tan φ: ten minutes at
// 1.44°.
func TestSeasonsBeginNearOneAndAHalfDegrees(t *testing.T) {
	for latitude, want := range map[float64]bool{1.41: false, 1.47: true, -1.41: false, -1.47: true} {
		if daylight.HasSeasons(latitude) != want {
			t.Errorf("%v° has seasons: %v, want %v", latitude, !want, want)
		}
	}
}

// A scaled schedule reaches its shortest and longest day every year, at the
// solstices of 20 to 23 June and December.
func TestEveryYearReachesItsShortestAndLongestDay(t *testing.T) {
	s := between(48.2, 10*hour, 14*hour)
	for year := 2020; year < 2060; year++ {
		longest, shortest := s.Shortest, s.Longest
		for d := range 4 {
			longest = max(longest, s.On(day("2020-06-20").AddMonths(12*(year-2020)).AddDays(d)))
			shortest = min(shortest, s.On(day("2020-12-20").AddMonths(12*(year-2020)).AddDays(d)))
		}
		if longest != s.Longest || shortest != s.Shortest {
			t.Errorf("%d: from %v to %v, want %v to %v", year, shortest, longest, s.Shortest, s.Longest)
		}
	}
}
