package books

import (
	"fmt"
	"strings"
	"time"

	"nestround/config/tables"
	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// lit is a room's lamp schedule with its table. If the schedule has no
// latitude, checkLight fills in the keeper's latitude.
type lit struct {
	light *husbandry.Light
	at    *tables.Table
}

// light reads the hours of a room's lamps; nil if there are none.
func (r *reader) light(t *tables.Table) *husbandry.Light {
	if t == nil {
		return nil
	}
	l := &husbandry.Light{Noon: 12 * 60, Step: 15}
	latitude, _ := t.Number("latitude", -90, 90)
	l.Latitude = latitude
	held, isHeld := tables.Parsed(t, "hours", someLight)
	shortest, hasShortest := tables.Parsed(t, "shortest", husbandry.ParseHours)
	longest, hasLongest := tables.Parsed(t, "longest", someLight)
	switch {
	case t.Has("hours"):
		for _, key := range []string{"shortest", "longest", "latitude", "ahead", "behind", "step"} {
			if t.Has(key) {
				t.KeyPlace(key).Error(fmt.Sprintf("lamps that burn for the same `hours` all year have no `%s`", key), "leave one of the two out")
			}
		}
		if isHeld {
			l.Shortest, l.Longest = held, held
		}
	case t.Has("shortest") != t.Has("longest"):
		t.Missing("`shortest` and `longest`", `say both, for example shortest = "10 hours", longest = "14 hours"`)
	case hasShortest && hasLongest && shortest >= longest:
		t.Place("longest").Error("the longest day is not longer than the shortest", `for lamps that burn alike all year write hours = "12 hours"`)
	default:
		l.Shortest, l.Longest = shortest, longest
	}
	ahead, _ := days(t, "ahead", 0, 366)
	behind, _ := days(t, "behind", 0, 366)
	if t.Has("ahead") && t.Has("behind") {
		t.KeyPlace("behind").Error("the lamps' year is both `ahead` and `behind`", "keep one of them")
	}
	l.Behind = int(behind - ahead)
	if noon, ok := tables.Parsed(t, "noon", civil.ParseTimeOfDay); ok {
		l.Noon = noon
	}
	if step, ok := tables.Parsed(t, "step", lightStep); ok {
		l.Step = int(step / time.Minute)
	}
	t.Done()
	if !t.Has("hours") {
		r.lit = append(r.lit, lit{l, t})
	}
	return l
}

func someLight(s string) (time.Duration, error) {
	d, err := husbandry.ParseHours(s)
	if err == nil && d == 0 {
		return 0, fmt.Errorf("%q is no light at all", s)
	}
	return d, err
}

func lightStep(s string) (time.Duration, error) {
	d, err := husbandry.ParseHours(s)
	if err == nil && (d < 5*time.Minute || d > 4*time.Hour) {
		return 0, fmt.Errorf("%q is not from 5 minutes to 4 hours", s)
	}
	return d, err
}

// checkLight fills in the keeper's latitude where a schedule has none, and
// checks the schedule at its latitude.
func (r *reader) checkLight(keepers *float64) {
	for _, l := range r.lit {
		if l.at.Broken() {
			continue
		}
		at := "latitude"
		if !l.at.Has("latitude") {
			if keepers == nil {
				l.at.Missing("`latitude`", `say whose days the lamps follow, here or in keeper.toml, or write hours = "12 hours"`)
				continue
			}
			l.light.Latitude, at = *keepers, "longest"
		}
		if l.light.Longest == 0 {
			l.warnPolar()
		}
		if l.light.Longest > 0 && !daylight.HasSeasons(l.light.Latitude) {
			l.at.Place(at).Error(fmt.Sprintf("at the latitude of %s the days are alike all year, and have no shortest and longest", degrees(l.light.Latitude)), "name a latitude farther from the equator")
		}
	}
}

// warnPolar warns of lamps that follow a polar sky: the sun does not set in
// summer, or does not rise in winter.
func (l *lit) warnPolar() {
	dark, bright := false, false
	for _, solstice := range []civil.Date{civil.New(2027, time.June, 21), civil.New(2027, time.December, 21)} {
		switch daylight.Length(l.light.Latitude, solstice) {
		case 0:
			dark = true
		case 24 * time.Hour:
			bright = true
		}
	}
	what := "does not set in summer: the lamps would burn day and night"
	switch {
	case dark:
		what = "does not rise in winter, nor set in summer: the lamps would be off for weeks, and burn day and night for weeks"
	case !bright:
		return
	}
	place := l.at.Here()
	if l.at.Has("latitude") {
		place = l.at.Place("latitude")
	}
	place.Warn(fmt.Sprintf("at the latitude of %s the sun %s", degrees(l.light.Latitude), what), `lizards need a day and a night; say how far it goes, for example shortest = "9 hours", longest = "15 hours"`)
}

// degrees formats a latitude with at most two decimals: 48.2 or -33.
func degrees(latitude float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", latitude), "0"), ".")
}
