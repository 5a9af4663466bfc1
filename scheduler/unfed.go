package scheduler

import (
	"slices"

	"nestround/tasks/husbandry"
)

// Unfed returns the species of which no animal that is kept is fed by any
// routine, in the order of their animals: nobody would be told to feed them.
// Whoever is not fed for now, in winter or before the first feeding, does not
// count as unfed.
func Unfed(in Input) []husbandry.ID {
	p := newPlanner(in)
	fed := make(map[husbandry.ID]bool)
	var kept []husbandry.ID
	for _, s := range p.findSubjects() {
		if s.scope != husbandry.OfEnclosure && s.scope != husbandry.OfAnimal {
			continue
		}
		feeds := slices.ContainsFunc(p.activities(s), func(a activity) bool { return a.r.Kind == husbandry.Feed })
		for _, a := range s.animals {
			if !a.PresentOn(p.on) {
				continue
			}
			if !slices.Contains(kept, a.Species) {
				kept = append(kept, a.Species)
			}
			fed[a.Species] = fed[a.Species] || feeds
		}
	}
	return slices.DeleteFunc(kept, func(id husbandry.ID) bool { return fed[id] })
}
