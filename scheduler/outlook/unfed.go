package outlook

import (
	"slices"

	"nestround/scheduler/plan"
	"nestround/tasks/husbandry"
)

// Unfed returns the species of which no animal is fed by any routine, in the
// order of their animals. Nobody would be told to feed them. Animals that fast
// for now, in winter or before their first food, count as fed.
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
