package house

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestround/config/diag"
	draw "nestround/notify/picture"
	"nestround/scheduler"
	"nestround/scheduler/outlook"
	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Seasons returns a calendar year of one species. For id "" it returns the
// years of all species with animals, in the order of the books. A species
// without a care sheet is an error.
func (s *Snapshot) Seasons(id husbandry.ID, year int) ([]outlook.SpeciesYear, error) {
	var species []husbandry.ID
	if id != "" {
		var known []string
		for _, sheet := range s.records.Species {
			known = append(known, string(sheet.ID))
		}
		slices.Sort(known)
		if !slices.Contains(known, string(id)) {
			hint := diag.DidYouMean(string(id), known)
			if hint == "" {
				hint = "there are " + strings.Join(known, ", ")
			}
			return nil, fmt.Errorf("unknown species %q; %s", id, hint)
		}
		species = append(species, id)
	}
	for _, a := range s.records.Animals {
		if id == "" && a.Left.IsZero() && !slices.Contains(species, a.Species) {
			species = append(species, a.Species)
		}
	}
	return outlook.Years(scheduler.Facts(s.day(civil.Date{}, outlook.MiddleOf(year), s.today)), species), nil
}

// DayHours returns the hours of daylight at the keeper's latitude for each day
// of a year; nil if the books do not state the latitude.
func DayHours(s *Snapshot, year int) []float64 {
	if s.settings.Latitude == nil {
		return nil
	}
	var hours []float64
	for d := civil.New(year, time.January, 1); d.Year() == year; d = d.AddDays(1) {
		hours = append(hours, daylight.Length(*s.settings.Latitude, d).Hours())
	}
	return hours
}

// SeasonPictures draws the years of some species.
func SeasonPictures(s *Snapshot, all []outlook.SpeciesYear) []Picture {
	var drawn []Picture
	for _, y := range all {
		d := draw.Year{Title: y.Name, From: civil.New(y.Year, time.January, 1), DayHours: DayHours(s, y.Year)}
		if l := s.settings.Latitude; l != nil {
			d.Latitude = *l
		}
		if s.today.Year() == y.Year {
			d.On = s.today
		}
		if y.Scientific != "" {
			d.Facts = append(d.Facts, y.Scientific)
		}
		for _, span := range y.Spans {
			words := span.Why
			for _, w := range y.Warmth {
				if span.Sort == outlook.YearCold && !w.From.After(span.To) && !span.From.After(w.To) {
					words = s.settings.Units.Temperature(w.Low)
					if w.High != w.Low {
						words += " to " + s.settings.Units.Temperature(w.High)
					}
				}
			}
			d.Bands = append(d.Bands, draw.Band{Name: english.UpperFirst(string(span.Sort)), From: span.From, To: span.To, Words: words})
		}
		if y.NoCooling != "" {
			d.Basis = "No winter cooling: " + y.NoCooling + "."
		}
		drawn = append(drawn, Picture{Name: "season-" + string(y.ID), SVG: d.SVG()})
	}
	return drawn
}
