package scheduler

import (
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Spread chooses the days of tasks that may be moved, so that the work is
// spread over them; package workload has one. It is pure: asked the same, it
// answers the same.
type Spread interface {
	// Day returns the day for a task that the routine has on due and that may
	// be done from earliest to latest. due itself is always an answer, and any
	// other day than from earliest to latest counts as due.
	Day(key tasks.Key, moves tasks.Moves, due, earliest, latest civil.Date) civil.Date
}

// movesOf says whether tasks of an activity have their day chosen. A task that
// others ride on stays with them: what is dusted on a feeding, or loaded two
// days before it, cannot be where the feeding is not.
func (p *planner) movesOf(a *activity) tasks.Moves {
	if a.r.Before+a.r.After <= 0 || a.r.Missed == husbandry.Alarms || p.hosted[a.r.Kind] {
		return tasks.Never
	}
	switch a.r.Cadence.Pattern {
	case husbandry.Fixed:
		return tasks.Alone
	case husbandry.SinceLast:
		return tasks.InChain
	}
	return tasks.Never
}

// broughtForward is how many days early a task may be: so much further than
// the plan reaches must be looked for tasks that are moved into it.
func (p *planner) broughtForward() int {
	if p.spread == nil {
		return 0
	}
	most := husbandry.Days(0)
	for i := range p.rec.Routines {
		most = max(most, p.rec.Routines[i].Before)
	}
	return int(most)
}

// place returns the day chosen for a task that is the routine's on due, not
// before first and not after last where those are dates. A task that is overdue
// stays, and so does one that would be moved out of the days on which its
// routine holds.
func (p *planner) place(a *activity, key tasks.Key, due, first, last civil.Date) civil.Date {
	latest := due.AddDays(int(a.r.After))
	if p.spread == nil || a.moves == tasks.Never || latest.Before(p.on) {
		return due
	}
	earliest := civil.Max(due.AddDays(-int(a.r.Before)), first)
	if span, ok := a.on(civil.Max(due, p.on)); ok {
		earliest = civil.Max(earliest, civil.Min(due, p.owedFrom(a, span)))
	}
	if !last.IsZero() {
		latest = civil.Max(due, civil.Min(latest, last))
	}
	day := p.spread.Day(key, a.moves, due, earliest, latest)
	if day.Before(earliest) || day.After(latest) {
		return due
	}
	if _, ok := a.on(civil.Max(day, p.on)); !ok {
		return due
	}
	if p.absence(day) != nil && p.absence(due) == nil && !sitterDoes(a.r.Routine) {
		return due // nobody is there to do it
	}
	return day
}

// placeDated is place for the i-th of a routine's dates. It moves by less than
// half the way to the dates beside it, so that the dates keep their order.
func (p *planner) placeDated(a *activity, dates []civil.Date, i int) civil.Date {
	if p.spread == nil || a.moves != tasks.Alone {
		return dates[i]
	}
	var first, last civil.Date
	if i > 0 {
		first = dates[i].AddDays(-(dates[i].Sub(dates[i-1]) - 1) / 2)
	}
	if i+1 < len(dates) {
		last = dates[i].AddDays((dates[i+1].Sub(dates[i]) - 1) / 2)
	}
	return p.place(a, a.key(p.text(dates[i])), dates[i], first, last)
}

// movedWords says, in a reason, that a task is asked for on another day than the
// routine's own.
func (p *planner) movedWords(due, own civil.Date) string {
	if own.IsZero() || civil.Max(due, p.on) == civil.Max(own, p.on) {
		return ""
	}
	return "; moved from " + p.weekday(own) + ", within its slack"
}
