package scheduler

import (
	"nestround/scheduler/ration"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// gap keeps what rides on other tasks at least so many days from the last time
// that it was given. Of supplements the last time counts with which the same
// was given, vitamin D3 or vitamins, whichever routine asked for it: a keeper
// who changes the books, and an animal that grows into another routine, have
// still the powder of last week in them.
type gap struct {
	days  husbandry.Days
	gives ration.Powder
	last  civil.Date
	until civil.Date    // not due before; no date: nothing is in the way
	other ration.Powder // what another routine gave on last; 0: it was this one
	// at is the enclosure where it was given to an animal that has moved since;
	// "" for this one.
	at husbandry.ID
}

// gapOf works out the gap of a rider from what was recorded, with the later
// day where it is told in two ways.
func (p *planner) gapOf(a *activity) gap {
	g := gap{days: a.r.Cadence.MinGap}
	if a.r.Kind == husbandry.Supplement {
		g.gives = ration.PowderOf(a.r.Routine)
	}
	g.note(a.marks.LastSaid(), 0)
	if g.gives == 0 || g.days == 0 {
		return g
	}
	for _, r := range p.candidates(a.s) {
		if r.Kind != husbandry.Supplement || r.ID == a.r.ID {
			continue
		}
		if both := ration.PowderOf(r.Routine) & g.gives; both != 0 {
			g.note(p.h.Marks(a.s.id, r.ID).LastSaid(), both)
		}
	}
	p.gapOfMoved(a, &g)
	return g
}

// gapOfMoved takes into account what was given to animals of an enclosure
// where they lived before.
func (p *planner) gapOfMoved(a *activity, g *gap) {
	from := p.on.AddDays(-int(g.days))
	for _, animal := range a.s.animals {
		for _, home := range animal.Was {
			if home.Enclosure == a.s.id || home.Until.Before(from) || !animal.PresentOn(p.on) {
				continue
			}
			for _, r := range p.byScope[husbandry.OfEnclosure] {
				both := ration.PowderOf(r.Routine) & g.gives
				if r.Kind != husbandry.Supplement || both == 0 {
					continue
				}
				for _, day := range p.h.DoneDays(home.Enclosure, r.ID, from) {
					if !day.After(home.Until) && day.After(g.last) {
						g.note(day, both)
						g.at = home.Enclosure
					}
				}
			}
		}
	}
}

// note takes into account that it was, or will be, given on a day.
func (g *gap) note(day civil.Date, other ration.Powder) {
	if g.days == 0 || day.IsZero() || !day.After(g.last) {
		return
	}
	g.last, g.until, g.other, g.at = day, day.AddDays(int(g.days)), other, ""
}

// decides reports whether the gap is why something is due no sooner than it
// is, given the day on which everything else about it had come round.
func (g *gap) decides(reached civil.Date) bool {
	return !reached.IsZero() && reached.Before(g.until)
}

// gapWords is the reason of a rider whose gap decides.
func (p *planner) gapWords(r *rider) string {
	g := &r.gap
	words := "At least " + days(g.days) + " between two"
	if g.other != 0 {
		words = "At least " + days(g.days) + " after " + g.other.Words()
	}
	if g.last.After(p.on) {
		return words
	}
	if g.other != 0 {
		words += ", last given " + p.weekday(g.last)
		if g.at != "" {
			words += " in " + string(g.at)
		}
		return words
	}
	return words + "; last " + nouns(r.r.Kind).done + " " + p.weekday(g.last)
}

// count takes into account that the host was, or will be, given on a day.
func (r *rider) count(day civil.Date) {
	if r.since++; r.since == max(1, r.r.Cadence.Nth) {
		r.reached = day.AddDays(-int(r.r.Cadence.Lead))
	}
}
