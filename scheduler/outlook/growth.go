package outlook

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Growth has all weighings of an animal, of a group or of the young of a
// clutch. For an animal that was taken out of a group, it includes the
// weighings of the group until that day, and before those the weighings of the
// young of its clutch.
type Growth struct {
	ID      husbandry.ID `json:"id"`
	Name    string       `json:"name"`
	Species husbandry.ID `json:"species"`
	Count   int          `json:"count"`
	Hatched civil.Date   `json:"hatched"` // "" where nobody knows
	// Weighings are by date.
	Weighings []Weighing `json:"weighings"`
}

// Weighing is one weighing.
type Weighing struct {
	On    civil.Date      `json:"on"`
	Grams husbandry.Grams `json:"grams"` // of several animals: the mean mass of one
	// Each has the single masses, if the animals were weighed one by one.
	Each []husbandry.Grams `json:"each,omitempty"`
	// Of is the id of the animal, group or clutch that was weighed.
	Of husbandry.ID `json:"of"`
}

// Growths returns the growth of every animal and group that was ever weighed up
// to the herd's day, and of clutches whose young have no records, in the order
// of the records. It includes animals that have left.
func Growths(h *herd.Herd) []Growth {
	own := weighings(h)
	list := []Growth{}
	for _, a := range h.Animals {
		list = append(list, Growth{ID: a.ID, Name: a.Name, Species: a.Species, Count: a.Count, Hatched: a.Hatched, Weighings: weighingsOf(h, a, own)})
	}
	for _, c := range h.Clutches {
		if len(c.Young) == 0 {
			list = append(list, Growth{ID: c.ID, Species: c.Species, Count: c.Hatched, Hatched: c.FirstHatched(), Weighings: own[c.ID]})
		}
	}
	list = slices.DeleteFunc(list, func(g Growth) bool { return len(g.Weighings) == 0 })
	for i := range list {
		slices.SortStableFunc(list[i].Weighings, func(a, b Weighing) int { return a.On.Compare(b.On) })
	}
	return list
}

// weighings returns the weighings up to the herd's day, by the animal, group or
// clutch that was weighed.
func weighings(h *herd.Herd) map[husbandry.ID][]Weighing {
	own := make(map[husbandry.ID][]Weighing)
	for _, f := range h.Found() {
		if f.Finding.Weighs == nil || f.On.After(h.On) {
			continue
		}
		id := f.Task.Subject()
		switch c := h.Clutch(id); {
		case c != nil && h.KindOf(f.Task.Routine()) != husbandry.Weigh:
			continue // a weighing of the clutch's egg tub
		case c != nil:
			id = c.ID
		case h.Animal(id) == nil:
			a := h.Only(id, func(*herd.Animal) bool { return true }, f.On)
			if a == nil {
				continue
			}
			id = a.ID
		}
		own[id] = append(own[id], Weighing{f.On, *f.Finding.Weighs, f.Finding.Each, id})
	}
	return own
}

// weighingsOf returns the weighings of an animal. It includes the weighings of
// the animal's groups and clutch from the time when the animal belonged to
// them.
func weighingsOf(h *herd.Herd, a *herd.Animal, own map[husbandry.ID][]Weighing) []Weighing {
	list := slices.Clone(own[a.ID])
	until := a.Since
	for _, group := range h.GroupsOf(a) {
		for _, w := range own[group.ID] {
			if until.IsZero() || !w.On.After(until) {
				list = append(list, w)
			}
		}
		until = group.Since
	}
	if c := h.Clutch(a.Clutch); c != nil && a.Clutch != "" {
		list = append(list, own[c.ID]...)
	}
	return list
}
