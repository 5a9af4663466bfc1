package scheduler

import (
	"cmp"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// carer returns whose a routine's task for a subject is on a day: the first
// keeper all of whose conditions match, else the first who has none, of those
// who are there; "" where nobody shares the work, or where it is nobody's in
// particular.
func (p *planner) carer(s *subject, r *husbandry.Routine, day civil.Date) husbandry.ID {
	rest := husbandry.ID("")
	for i := range p.rec.Carers {
		c := &p.rec.Carers[i]
		switch {
		case p.rec.AwayOn(c.ID, day) != nil:
		case c.Rest:
			if rest == "" {
				rest = c.ID
			}
		case (len(c.Kinds) == 0 || slices.Contains(c.Kinds, r.Kind)) && (len(c.Routines) == 0 || slices.Contains(c.Routines, r.ID)) && p.caredFor(i, s, r):
			return c.ID
		}
	}
	return rest
}

// givenTo says whose a task is on its day, and whose it would be if that keeper
// were there.
func (p *planner) givenTo(t *tasks.Task, s *subject, r *husbandry.Routine) {
	day := civil.Max(t.Due, p.on) // what is overdue is asked for today
	if t.Status == tasks.Lapsed {
		day = t.Due
	}
	if t.Keeper = p.carer(s, r, day); len(p.rec.CarersAway) == 0 {
		return
	}
	own := p.carer(s, r, civil.Date{})
	away := p.rec.AwayOn(own, day)
	if own == t.Keeper || away == nil {
		return
	}
	for i := range p.rec.Carers {
		if c := &p.rec.Carers[i]; c.ID == own {
			t.For = own
			t.Why += "; for " + c.Called() + ", who is away until " + p.weekday(away.Until)
		}
	}
}

// caredFor reports whether a subject is among those of a keeper. Tasks of no
// place are a keeper's who names their kind or routine and no places.
func (p *planner) caredFor(i int, s *subject, r *husbandry.Routine) bool {
	c := &p.rec.Carers[i]
	if p.crew == nil {
		p.crew = make([]routine, len(p.rec.Carers))
		for j := range p.crew {
			p.crew[j] = routine{Routine: &husbandry.Routine{}, sel: compile(&p.rec.Carers[j].For)}
		}
	}
	within := len(c.For.Racks) + len(c.For.Enclosures) + len(c.For.Animals) + len(c.For.Species)
	switch {
	case s.scope == husbandry.OfKeeper:
		return len(c.For.Rooms)+within == 0
	case s.scope == husbandry.OfRoom && within > 0:
		return false // a room is more than the part of it that is theirs
	}
	p.crew[i].Routine = r
	return p.crew[i].matches(s, p.on)
}

// leaveSoon is how many days before the keeper leaves the plan looks at what
// can be done before.
const leaveSoon = 14

// absence returns the days away that a day is one of, or nil.
func (p *planner) absence(day civil.Date) *husbandry.Away {
	for i := range p.away {
		if a := &p.away[i]; !day.Before(a.From) && !day.After(a.Until) {
			return a
		}
	}
	return nil
}

// besideAway reports whether a task is asked for on the last day before the
// keeper leaves, or on the first day back.
func (p *planner) besideAway(t *tasks.Task) bool {
	return t.Status != tasks.Lapsed && slices.ContainsFunc(p.rec.Away, func(a husbandry.Away) bool {
		return t.Due == a.From.AddDays(-1) || t.Due == a.Until.AddDays(1)
	})
}

// leaving returns the days away that begin soon after the plan's day, or nil.
func (p *planner) leaving() *husbandry.Away {
	for i := range p.away {
		if a := &p.away[i]; a.From.After(p.on) && a.From.Sub(p.on) <= leaveSoon {
			return a
		}
	}
	return nil
}

func sitterDoes(r *husbandry.Routine) bool {
	return cmp.Or(r.Sitter, r.Kind.BySitter()) == husbandry.SitterDoes
}

// evened is over how many more days than one, before leaving and after coming
// back, the work is spread that does not fit between.
const evened = 3

// apartCare goes with what somebody does who stands in and may not know of a
// quarantine (common practice).
const apartCare = "In quarantine: after all others, with tools of its own; wash your hands before and after."

// whileAway moves a task that is due while the keeper is away: what cannot
// wait stays, and is the sitter's; what can is done in the last days before, if
// its slack reaches there, or else waits for the first days after. What would lapse
// in the meantime is not asked for.
func (p *planner) whileAway(t *tasks.Task, r *husbandry.Routine) (asked bool) {
	// What is overdue was due before, and is asked for on the plan's day.
	asks := civil.Max(t.Due, p.on)
	away := p.absence(asks)
	if away == nil {
		return true
	}
	if t.Pinned || sitterDoes(r) || t.Missed == husbandry.Alarms {
		t.Sitter = true
		if p.apart(t.Place.Enclosure) {
			t.Caution = strings.TrimSpace(t.Caution + " " + apartCare)
		}
		return true
	}
	eve := away.From.AddDays(-1)
	over := evened
	// The steps of a winter keep their order, and what recurs meanwhile is asked
	// for once.
	recurs := r.Cadence.Pattern == husbandry.Fixed || r.Cadence.Pattern == husbandry.SinceLast
	if r.Kind == husbandry.Cool || recurs && int(r.Cadence.Every) <= away.Until.Sub(away.From)+1+evened {
		over = 0
	}
	// An order is early at no time, and nothing comes of one that waits.
	order := r.Kind == husbandry.Order
	// What was put off was put off past the eve; powders stay with their food.
	said := p.h.Outcome(t.Key).Mark == tasks.PutOff || r.Cadence.Pattern == husbandry.Riding
	switch {
	case t.Status == tasks.Lapsed:
		return false
	case !eve.Before(p.on) && (order || !t.Earliest.After(eve)) && t.Due.After(eve) && !said:
		day := eve
		for n := spread(t.Key, max(0, min(eve.Sub(t.Earliest), over))+1); n > 0 && p.absence(day.AddDays(-1)) == nil; n-- {
			day = day.AddDays(-1)
		}
		t.Due = civil.Max(day, p.on)
		t.Earliest, t.Latest, t.Moves = t.Due, eve, tasks.Never
		t.Why += "; done before you leave on " + p.weekday(away.From)
		if t.Status == tasks.Upcoming && !t.Due.After(p.on) {
			t.Status = tasks.Due
		}
		return true
	case order:
		return true // by telephone
	case t.Missed == husbandry.Stays:
		t.Due = away.Until.AddDays(1)
		for n := spread(t.Key, min(int(r.After), over)+1); n > 0 && p.absence(t.Due.AddDays(1)) == nil; n-- {
			t.Due = t.Due.AddDays(1)
		}
		t.Earliest, t.Latest, t.Moves = t.Due, t.Due.AddDays(int(r.After)), tasks.Never
		t.Status = tasks.Upcoming
		t.Why += "; it waits for your return"
		return true
	}
	return false
}

// ordersUntil is until when orders are planned: those that fall due while the
// keeper is away are given before.
func (p *planner) ordersUntil() civil.Date {
	if away := p.leaving(); away != nil && !away.From.AddDays(-1).After(p.to) {
		return civil.Max(p.to, away.Until)
	}
	return p.to
}
