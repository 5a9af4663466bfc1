package herd

import (
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Raising young: what becomes of a clutch's young and of groups, from the
// first look into the tub to the day on which it is decided who stays.
//
// Until there are records of them, the clutch stands for its young. A record
// says which clutch it hatched from, and one that was taken out of a group says
// which; it inherits what was done and found before.

// Sexing is one look at the sex of an animal, of a group or of a clutch's
// young.
type Sexing struct {
	On civil.Date
	tasks.Sexed
}

// foundOfYoung takes a finding over that is about raising young, illness or a
// lamp.
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
	// Of a clutch, the egg tub is weighed as well.
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

// settleYoung finds out who hatched from which clutch and how large groups are
// by now, and fills in what follows.
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
		if a.Count < 1 { // nobody is left in it
			a.Left = civil.Min(a.Left, a.Regrouped)
			a.Count = 1
		}
		slices.SortStableFunc(a.Sexings, func(s, t Sexing) int { return s.On.Compare(t.On) })
		if n := len(a.Sexings); n > 0 && a.Sex == husbandry.Unsexed {
			switch s := a.Sexings[n-1]; {
			case s.All() < h.Records.Animals[i].Count:
			case s.Males == s.All():
				a.Sex = husbandry.Male
			case s.Females == s.All():
				a.Sex = husbandry.Female
			}
		}
	}
}

// GroupsOf returns the group an animal was taken out of, the group that one
// was taken out of, and so on.
func (h *Herd) GroupsOf(a *Animal) []*Animal {
	var list []*Animal
	for g := h.animals[a.From]; g != nil && a.From != "" && !slices.Contains(list, g); g = h.animals[g.From] {
		list = append(list, g)
	}
	return list
}

// LastSexing is the last look at its sex, or at that of the group or clutch it
// was part of then.
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

// youngPlace is where the young of a clutch are that have all hatched and have
// records.
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

// LastWeighed returns the last day on which an animal was weighed, by whatever
// routine, or the group it was part of then.
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
