package herd

import (
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// This file is about raising young: the young of a clutch, and groups, from the
// first look into the tub to the decision which animals stay.
//
// The clutch stands for its young until the young have records. The record of
// an animal says from which clutch the animal hatched, or out of which group it
// was taken. Earlier marks and findings of that clutch or group count for the
// animal.

// Sexing is one check of the sex of an animal, of a group or of a clutch's
// young.
type Sexing struct {
	On civil.Date
	tasks.Sexed
}

// foundOfYoung applies a finding about raising young, illness or a lamp to the
// herd.
func (h deriver) foundOfYoung(f *tasks.Found, clutch *Clutch, animal *Animal) {
	g := &f.Finding
	kind := h.kinds[f.Task.Routine()]
	if g.Sexed != nil {
		switch {
		case clutch != nil:
			clutch.Sexings = append(clutch.Sexings, Sexing{f.On, *g.Sexed})
		case animal != nil:
			animal.Sexings = append(animal.Sexings, Sexing{f.On, *g.Sexed})
		}
	}
	if clutch != nil && g.Refused && kind == husbandry.FirstFeed {
		clutch.Unfed = append(clutch.Unfed, f.On)
	}
	// The egg tub of a clutch is weighed as well, but at tasks of other kinds
	// than Weigh.
	if clutch != nil && g.Weighs != nil && kind == husbandry.Weigh {
		clutch.Weights = append(clutch.Weights, Weight{f.On, *g.Weighs, g.Each})
	}
	if g.UVI != nil {
		h.readings[f.Task.Subject()] = append(h.readings[f.Task.Subject()], reading{f.On, *g.UVI})
	}
	if g.Ill {
		h.Ills = append(h.Ills, Illness{f.Task.Subject(), f.On, g.Note})
	}
}

// settleYoung works out which animals hatched from which clutch and how large
// groups are now, and completes their records.
func (h deriver) settleYoung() {
	for _, a := range h.Animals {
		if c := h.clutches[a.Clutch]; c != nil && a.Clutch != "" {
			c.Young = append(c.Young, a)
			if a.Hatched.IsZero() {
				a.Hatched = c.FirstHatched()
			}
		}
	}
	for i, a := range h.Animals {
		for _, g := range h.GroupsOf(a) {
			if a.Hatched.IsZero() {
				a.Hatched = g.Hatched
			}
		}
		a.Came = civil.Max(civil.Max(a.Acquired, a.Hatched), a.Since)
		g := h.animals[a.From]
		if g == nil || a.From == "" || a.Since.After(h.On) {
			continue
		}
		g.Count -= max(1, h.Records.Animals[i].Count)
		g.Regrouped = civil.Max(g.Regrouped, a.Since)
	}
	for i, a := range h.Animals {
		if a.Count < 1 { // no animal is left in the group
			a.Left = civil.Min(a.Left, a.Regrouped)
			a.Count = 1
		}
		a.settleSex(h.Records.Animals[i].Count)
	}
}

// settleSex gives an animal of unknown sex the result of the last check of its
// sex. The check counts only if it was of all animals of the record and they
// all had the same sex.
func (a *Animal) settleSex(count int) {
	slices.SortStableFunc(a.Sexings, func(s, t Sexing) int { return s.On.Compare(t.On) })
	n := len(a.Sexings)
	if n == 0 || a.Sex != husbandry.Unsexed {
		return
	}
	switch s := a.Sexings[n-1]; {
	case s.All() < count:
	case s.Males == s.All():
		a.Sex = husbandry.Male
	case s.Females == s.All():
		a.Sex = husbandry.Female
	}
}

// GroupsOf returns the group out of which an animal was taken, the group out of
// which that group was taken, and so on.
func (h *Herd) GroupsOf(a *Animal) []*Animal {
	var list []*Animal
	for g := h.animals[a.From]; g != nil && a.From != "" && !slices.Contains(list, g); g = h.animals[g.From] {
		list = append(list, g)
	}
	return list
}

// LastSexing returns the last check of an animal's sex, or of the group or
// clutch that the animal belonged to at that time.
func (h *Herd) LastSexing(a *Animal) (last Sexing, ok bool) {
	take := func(list []Sexing, until civil.Date) {
		for _, s := range list {
			if until.IsZero() || !s.On.After(until) {
				last, ok = s, true
			}
		}
	}
	if take(a.Sexings, civil.Date{}); ok {
		return last, ok
	}
	until := a.Since
	for _, g := range h.GroupsOf(a) {
		if take(g.Sexings, until); ok {
			return last, ok
		}
		until = g.Since
	}
	if c := h.clutches[a.Clutch]; c != nil && a.Clutch != "" {
		take(c.Sexings, civil.Date{})
	}
	return last, ok
}

// youngPlace returns the place of the young of a clutch. ok is false unless all
// have hatched and have records.
func (h *Herd) youngPlace(c *Clutch) (tasks.Place, bool) {
	if c.State != HatchedAll {
		return tasks.Place{}, false
	}
	for _, a := range c.Young {
		if at, ok := h.places[a.Enclosure]; ok && a.Enclosure != "" && a.PresentOn(h.On) {
			return at, true
		}
	}
	return tasks.Place{}, false
}

// LastWeighed returns the last day on which an animal, or the group that it
// belonged to at that time, was weighed at any task.
func (h *Herd) LastWeighed(a *Animal) (last civil.Date) {
	of := func(a *Animal, until civil.Date) {
		for _, w := range slices.Backward(a.Weights) {
			if until.IsZero() || !w.On.After(until) {
				last = civil.Max(last, w.On)
				break
			}
		}
	}
	of(a, civil.Date{})
	for _, r := range h.RoutinesOf(husbandry.Weigh) {
		if r.Scope == husbandry.OfAnimal {
			last = civil.Max(last, h.History.LastDone(a.ID, r.ID))
		}
	}
	if a.From == "" {
		return last
	}
	until := a.Since
	for _, g := range h.GroupsOf(a) {
		of(g, until)
		until = g.Since
	}
	return last
}
