package house

import (
	"fmt"
	"slices"
	"strings"

	"nestround/config/diag"
	"nestround/scheduler"
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
