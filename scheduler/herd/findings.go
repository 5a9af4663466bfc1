package herd

import (
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// sameClutch is the largest number of days between two reports of one mother's
// eggs that mean the same clutch. Keepers may find eggs late, or report them
// twice.
const sameClutch = 2

// Refusal is a feeding that was refused.
type Refusal struct {
	On   civil.Date
	Task tasks.Key
}

func (h deriver) addFindings() {
	found := h.History.Found()
	old := h.On.AddDays(-LookBack)
	for i := range found {
		f := &found[i]
		if f.On.After(h.On) || f.On.Before(old) && !finding.Lasting(&f.Finding) {
			continue
		}
		clutch, animal := h.clutches[f.Task.Subject()], h.animals[f.Task.Subject()]
		h.ofClutch(f, clutch)
		h.ofFood(f, animal)
		if animal == nil {
			animal = h.Only(f.Task.Subject(), func(*Animal) bool { return true }, f.On)
		}
		h.foundOfYoung(f, clutch, animal)
		if animal != nil {
			h.ofAnimal(f, animal)
		}
	}
}

// ofClutch applies a finding about eggs to the herd. clutch is nil if the
// finding is about no known clutch.
func (h deriver) ofClutch(f *tasks.Found, clutch *Clutch) {
	g := &f.Finding
	if clutch == nil {
		if g.Laid != nil && *g.Laid != 0 || some(g.Slugs) || g.More != nil {
			h.laid(f)
		}
		return
	}
	clutch.count(g)
	clutch.tend(f)
	h.owned(clutch, g.Mother)
	if some(g.Hatched) {
		clutch.HatchedOn = append(clutch.HatchedOn, Young{f.On, *g.Hatched})
	}
}

// ofFood applies a refused feeding to the herd. The refusal counts for the
// enclosure.
func (h deriver) ofFood(f *tasks.Found, animal *Animal) {
	routine := f.Task.Routine()
	if !f.Finding.Refused || h.kinds[routine] != husbandry.Feed && routine != tasks.Unplanned {
		return
	}
	place := f.Task.Subject()
	if animal != nil {
		place = animal.Enclosure
	}
	h.refusals[place] = append(h.refusals[place], Refusal{f.On, f.Task})
}

// ofAnimal applies a finding about an animal to the herd.
func (h deriver) ofAnimal(f *tasks.Found, a *Animal) {
	g := &f.Finding
	if g.Weighs != nil && h.kinds[f.Task.Routine()].Weighs() != husbandry.WeighedBox {
		a.Weights = append(a.Weights, Weight{f.On, *g.Weighs, g.Each})
	}
	if g.Mated {
		a.Mated = append(a.Mated, f.On)
	}
	if g.With != "" {
		a.with = append(a.with, mate{f.On, g.With})
	}
	if g.Digging {
		a.Dug = append(a.Dug, f.On)
	}
	if g.Gravid != nil {
		a.Sightings = append(a.Sightings, Sighting{f.On, *g.Gravid})
	}
}

// tend applies a finding about eggs in their tub to the clutch.
func (c *Clutch) tend(f *tasks.Found) {
	g := &f.Finding
	if g.Slugs != nil && g.Laid == nil && f.On.After(c.Laid.AddDays(sameClutch)) {
		c.Lost += max(0, *g.Slugs)
	}
	if g.Dead != nil {
		c.Lost += max(0, *g.Dead)
	}
	if g.Veins != nil && *g.Veins != 0 && (c.Veins.IsZero() || f.On.Before(c.Veins)) {
		c.Veins = f.On
	}
	if g.Moved != "" {
		c.Moves = append(c.Moves, husbandry.Move{On: f.On, Incubator: g.Moved})
	}
	if g.Ended && c.Ended.IsZero() {
		c.Ended = f.On
	}
}

// count applies the counted numbers of a finding to a known clutch. A number in
// the record of the clutch takes precedence.
func (c *Clutch) count(g *tasks.Finding) {
	if g.Laid != nil && *g.Laid >= 0 {
		c.Counted = true
		if c.Found || c.Eggs == 0 {
			c.Eggs = *g.Laid
		}
	}
	if g.Slugs != nil && (c.Found || c.Slugs == 0) {
		c.Slugs = *g.Slugs
	}
	if g.More != nil && c.Found {
		c.Counted = true
		c.Eggs += *g.More
	}
	c.Outside = c.Outside || g.Outside
}

// owned gives a clutch of unknown mother the mother that a later finding named.
// If several findings name a mother, the last one counts.
func (h deriver) owned(c *Clutch, mother husbandry.ID) {
	a := h.animals[mother]
	if a == nil || c.Mother != "" && !c.FoundOut {
		return
	}
	if before := h.animals[c.Mother]; before != nil {
		before.Laid = slices.DeleteFunc(before.Laid, func(laid *Clutch) bool { return laid == c })
	}
	c.Mother, c.Species, c.FoundOut = a.ID, a.Species, true
	a.Laid = append(a.Laid, c)
}

// laid makes a clutch for eggs that were reported at a task about an animal or
// an enclosure. If the clutch is already known, laid makes no second one.
func (h deriver) laid(f *tasks.Found) {
	subject := f.Task.Subject()
	mother, enclosure := h.animals[subject], husbandry.ID("")
	if mother != nil {
		enclosure = mother.Enclosure
	} else if _, ok := h.enclosures[subject]; ok {
		enclosure = subject
		mother = h.Only(subject, func(a *Animal) bool {
			return a.Sex == husbandry.Female && a.StageOn(f.On) == husbandry.Adult
		}, f.On)
	} else {
		return // at a task about a room or the keeper: no mother
	}
	on := f.On
	if day, err := civil.Parse(f.Task.Occurrence()); err == nil {
		on = day
	}
	c := &Clutch{Found: true, Enclosure: enclosure}
	if mother != nil {
		c.Mother, c.Species = mother.ID, mother.Species
		c.ID = mother.ID + "-" + husbandry.ID(on.String())
		for _, known := range mother.Laid {
			if known.ID != c.ID && abs(known.Laid.Sub(f.On)) <= sameClutch {
				known.Aliases = append(known.Aliases, c.ID)
				h.clutches[c.ID] = known
				known.count(&f.Finding)
				return
			}
		}
	} else {
		c.ID = subject + "-" + husbandry.ID(on.String())
		for _, a := range h.residents[enclosure] {
			if c.Species == "" {
				c.Species = a.Species
			} else if c.Species != a.Species {
				c.Species = ""
				break
			}
		}
	}
	if known, ok := h.clutches[c.ID]; ok {
		known.count(&f.Finding)
		return
	}
	c.LaidFrom, c.Laid = f.On, f.On
	c.count(&f.Finding)
	if f.Finding.Slugs != nil && f.Finding.Laid == nil {
		c.Counted = true // slugs alone: nothing to incubate
	}
	h.add(c)
}

// Refused returns the feedings of an enclosure that were refused, by the day of
// the refusal.
func (h *Herd) Refused(enclosure husbandry.ID) []Refusal { return h.refusals[enclosure] }

// some reports whether a number was reported and is above zero.
func some(n *int) bool { return n != nil && *n > 0 }
