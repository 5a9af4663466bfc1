package daylight_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
)

// geometric is the zenith angle with the sun's centre on the horizon, without
// refraction.
const geometric = 90.0

func day(s string) civil.Date { return civil.MustParse(s) }

// hms reads "12:06:40".
func hms(t *testing.T, s string) time.Duration {
	t.Helper()
	var h, m, sec int
	if _, err := fmt.Sscanf(s, "%d:%d:%d", &h, &m, &sec); err != nil {
		t.Fatalf("%q: %v", s, err)
	}
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(sec)*time.Second
}

// The expected table was computed independently of this code with the full
// formulas of Meeus and NOAA, with the declination at 12 UT. Its error is half
// a minute. Almanacs round to the minute, and differ by two minutes above 60°.
func TestDayLengthThroughTheYear(t *testing.T) {
	dates := [4]string{"2025-03-20", "2025-06-21", "2025-09-22", "2025-12-21"}
	for _, c := range []struct {
		latitude  float64
		sunrise   [4]string
		geometric [4]string // "" where it was not computed
	}{
		{0, [4]string{"12:06:40", "12:07:16", "12:06:40", "12:07:16"}, [4]string{"12:00:00", "12:00:00", "12:00:00", "12:00:00"}},
		{33, [4]string{"12:08:13", "14:19:52", "12:08:29", "9:58:11"}, [4]string{"12:00:16", "14:10:49", "12:00:32", "9:49:11"}},
		{40, [4]string{"12:09:03", "15:00:53", "12:09:24", "9:19:29"}, [4]string{"12:00:21", "14:50:39", "12:00:42", "9:09:20"}},
		{51.5, [4]string{"12:11:14", "16:38:16", "12:11:45", "7:49:34"}, [4]string{"12:00:31", "16:24:12", "12:01:03", "7:35:47"}},
		{60, [4]string{"12:14:03", "18:51:59", "12:14:46", "5:52:05"}, [4]string{"12:00:43", "18:29:20", "12:01:26", "5:30:39"}},
		{66, [4]string{"12:17:19", "24:00:00", "12:18:15", "2:46:28"}, [4]string{}},
		{-33, [4]string{"12:07:41", "9:58:11", "12:07:24", "14:19:52"}, [4]string{}},
	} {
		for i, date := range dates {
			check := func(zenith float64, want string) {
				if got := daylight.LengthAt(zenith, c.latitude, day(date)); want != "" && (got-hms(t, want)).Abs() > 30*time.Second {
					t.Errorf("%v° on %s, zenith %v: %v, want %s", c.latitude, date, zenith, got, want)
				}
			}
			check(daylight.Sunrise, c.sunrise[i])
			check(geometric, c.geometric[i])
		}
	}
}

func TestDeclination(t *testing.T) {
	for _, c := range []struct {
		words     string
		julianDay float64
		want      float64
		within    float64
	}{
		// Meeus, Astronomical Algorithms, 2nd ed., example 25.a (from memory):
		// 13 October 1992 at 0 TD, δ = -7.78507°.
		{"Meeus, example 25.a", 2448908.5, -7.78507, 0.00001},
		// Computed independently of this code, to the digits given.
		{"March equinox of 2025", daylight.JulianDay(day("2025-03-20")), 0.0519, 0.00005},
		{"June solstice of 2025", daylight.JulianDay(day("2025-06-21")), 23.4380, 0.00005},
		{"September equinox of 2025", daylight.JulianDay(day("2025-09-22")), 0.1036, 0.00005},
		{"December solstice of 2025", daylight.JulianDay(day("2025-12-21")), -23.4383, 0.00005},
	} {
		if got := daylight.Declination(c.julianDay); math.Abs(got-c.want) > c.within {
			t.Errorf("%s: %v, want %v", c.words, got, c.want)
		}
	}
}

func TestPolarDayAndNight(t *testing.T) {
	for _, c := range []struct {
		words    string
		latitude float64
		on       string
		want     time.Duration
	}{
		{"Tromsø at midsummer", 69.65, "2027-06-21", 24 * time.Hour},
		{"Tromsø at midwinter", 69.65, "2027-12-21", 0},
		{"the north pole in summer", 90, "2027-06-21", 24 * time.Hour},
		{"the north pole in winter", 90, "2027-12-21", 0},
		{"the south pole in the northern summer", -90, "2027-06-21", 0},
		{"the south pole in the northern winter", -90, "2027-12-21", 24 * time.Hour},
	} {
		if got := daylight.Length(c.latitude, day(c.on)); got != c.want {
			t.Errorf("%s: %v, want %v", c.words, got, c.want)
		}
	}
}

func latitudes() *rapid.Generator[float64] { return rapid.Float64Range(-90, 90) }

func dates() *rapid.Generator[civil.Date] {
	return rapid.Custom(func(t *rapid.T) civil.Date { return day("1990-01-01").AddDays(rapid.IntRange(0, 36500).Draw(t, "day")) })
}

func TestOppositeLatitudesShareTwentyFourHours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		φ, on := latitudes().Draw(t, "latitude"), dates().Draw(t, "on")
		north, south := daylight.LengthAt(geometric, φ, on), daylight.LengthAt(geometric, -φ, on)
		if sum := north + south; (sum - 24*time.Hour).Abs() > 2*time.Second {
			t.Errorf("%v and %v together are %v", north, south, sum)
		}
		if rise := daylight.Length(φ, on); rise < north || rise < 0 || rise > 24*time.Hour {
			t.Errorf("%v from sunrise to sunset, %v without refraction", rise, north)
		}
	})
}

// Towards the pole, days get longer in the summer half of the year and shorter
// in the winter half.
func TestDaysGrowTowardsTheSummerPole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := latitudes().Draw(t, "latitude"), latitudes().Draw(t, "other")
		on := dates().Draw(t, "on")
		a, b = min(a, b), max(a, b)
		low, high := daylight.LengthAt(geometric, a, on), daylight.LengthAt(geometric, b, on)
		if summer := daylight.Declination(daylight.JulianDay(on)) > 0; summer && low > high || !summer && low < high {
			t.Errorf("%v° has %v, %v° has %v", a, low, b, high)
		}
	})
}
