package outlook

import (
	"slices"

	"nestround/scheduler/plan"
	"nestround/tasks/husbandry"
)

// Unfed returns the species without a routine that feeds any of their animals,
// in the order of their animals. No task would tell the keeper to feed these
// animals. Animals that fast at present, in winter or before their first food,
// count as fed.
func Unfed(d *plan.Day) []husbandry.ID {
	feeds := make(map[*plan.Subject]bool)
	for _, a := range d.Duties() {
		feeds[a.Subject] = feeds[a.Subject] || a.Routine.Kind == husbandry.Feed
	}
	fed := make(map[husbandry.ID]bool)
	var kept []husbandry.ID
	for _, s := range d.Subjects() {
		if s.Scope != husbandry.OfEnclosure && s.Scope != husbandry.OfAnimal {
			continue
		}
		for _, a := range s.Animals {
			if !a.PresentOn(d.On) {
				continue
			}
			if !slices.Contains(kept, a.Species) {
				kept = append(kept, a.Species)
			}
			fed[a.Species] = fed[a.Species] || feeds[s]
		}
	}
	return slices.DeleteFunc(kept, func(id husbandry.ID) bool { return fed[id] })
}
