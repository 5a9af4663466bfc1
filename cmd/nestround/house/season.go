package house

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestround/config/diag"
	draw "nestround/notify/picture"
	"nestround/scheduler"
	"nestround/scheduler/season/daylight"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Seasons returns a calendar year of a species, or of every species that the
// keeper has animals of, in the order of the books, where id is "". It fails
// for a species without a care sheet.
func (h *House) Seasons(id husbandry.ID, year int) ([]scheduler.SpeciesYear, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var species []husbandry.ID
	if id != "" {
		var known []string
		for _, s := range h.records.Species {
			known = append(known, string(s.ID))
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
	for _, a := range h.records.Animals {
		if id == "" && a.Left.IsZero() && !slices.Contains(species, a.Species) {
			species = append(species, a.Species)
		}
	}
	return scheduler.Years(h.input(h.history, h.today(), h.today()), species, year), nil
}

// Latitude returns where the keeper lives, in degrees; ok is false where
// nobody said.
func (h *House) Latitude() (degrees float64, ok bool) {
	if l := h.Settings().Latitude; l != nil {
		return *l, true
	}
	return 0, false
}

// DayHours are the hours of daylight at the keeper's latitude, for each day of a
// year; nil where the books do not say it.
func (h *House) DayHours(year int) []float64 {
	latitude, known := h.Latitude()
	if !known {
		return nil
	}
	var hours []float64
	for d := civil.New(year, time.January, 1); d.Year() == year; d = d.AddDays(1) {
		hours = append(hours, daylight.Length(latitude, d).Hours())
	}
	return hours
}

// SeasonPictures draws the years of some species.
func (h *House) SeasonPictures(all []scheduler.SpeciesYear) []Picture {
	latitude, known := h.Latitude()
	var drawn []Picture
	for _, y := range all {
		d := draw.Year{Title: y.Name, From: civil.New(y.Year, time.January, 1), DayHours: h.DayHours(y.Year)}
		if known {
			d.Latitude = latitude
		}
		if today := h.Today(); today.Year() == y.Year {
			d.On = today
		}
		if y.Scientific != "" {
			d.Facts = append(d.Facts, y.Scientific)
		}
		for _, s := range y.Spans {
			words := s.Why
			for _, w := range y.Warmth {
				if s.Sort == scheduler.YearCold && !w.From.After(s.To) && !s.From.After(w.To) {
					words = h.Settings().Units.Temperature(w.Low)
					if w.High != w.Low {
						words += " to " + h.Settings().Units.Temperature(w.High)
					}
				}
			}
			d.Bands = append(d.Bands, draw.Band{Name: english.UpperFirst(string(s.Sort)), From: s.From, To: s.To, Words: words})
		}
		if y.NoCooling != "" {
			d.Basis = "No winter cooling: " + y.NoCooling + "."
		}
		drawn = append(drawn, Picture{Name: "season-" + string(y.ID), SVG: d.SVG()})
	}
	return drawn
}
