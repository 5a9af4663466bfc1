package plan

import (
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Spread chooses the days of tasks that may be moved, so that the work is
// spread over them; package workload has one. It is pure: asked the same, it
// answers the same.
type Spread interface {
	// Day returns the day for a task that the routine has on Due and that may be
	// done from Earliest to Latest. Due itself is always an answer, and any other
	// day than from Earliest to Latest counts as Due. Nothing is said of the
	// task's status and minutes.
	Day(t *Outline) civil.Date
}

// movesOf says whether tasks of an activity have their day chosen. A task that
// others ride on stays with them: what is dusted on a feeding, or loaded two
// days before it, cannot be where the feeding is not.
func (d maker) movesOf(a *Duty) tasks.Moves {
	if a.Routine.Before+a.Routine.After <= 0 || a.Routine.Missed == husbandry.Alarms || d.hosted[a.Routine.Kind] {
		return tasks.Never
	}
	switch a.Routine.Cadence.Pattern {
	case husbandry.Fixed:
		return tasks.Alone
	case husbandry.SinceLast:
		return tasks.InChain
	}
	return tasks.Never
}

// place returns the day chosen for a task that is the routine's on due, not
// before first and not after last where those are dates. A task that is overdue
// stays, and so does one that would be moved out of the days on which its
// routine holds.
func (d *settling) place(a *Duty, due, first, last civil.Date) civil.Date {
	latest := due.AddDays(int(a.Routine.After))
	if d.spread == nil || a.moves == tasks.Never || latest.Before(d.On) {
		return due
	}
	earliest := civil.Max(due.AddDays(-int(a.Routine.Before)), first)
	if span, ok := a.Span(civil.Max(due, d.On)); ok {
		earliest = civil.Max(earliest, civil.Min(due, d.OwedFrom(a, span)))
	}
	if !last.IsZero() {
		latest = civil.Max(due, civil.Min(latest, last))
	}
	t := Outline{Subject: a.Subject.ID, Routine: a.Routine.ID, Moves: a.moves, Due: due, Earliest: earliest, Latest: latest}
	if a.moves == tasks.Alone {
		t.Date = due
	}
	day := d.spread.Day(&t)
	if day.Before(earliest) || day.After(latest) {
		return due
	}
	if !a.Holds(civil.Max(day, d.On)) {
		return due
	}
	if d.Absence(day) != nil && d.Absence(due) == nil && !sitterDoes(a.Routine.Routine) {
		return due // nobody is there to do it
	}
	return day
}

// placeDated is place for the i-th of a routine's dates. It moves by less than
// half the way to the dates beside it, so that the dates keep their order.
func (d *settling) placeDated(a *Duty, dates []civil.Date, i int) civil.Date {
	if d.spread == nil || a.moves != tasks.Alone {
		return dates[i]
	}
	var first, last civil.Date
	if i > 0 {
		first = dates[i].AddDays(-(dates[i].Sub(dates[i-1]) - 1) / 2)
	}
	if i+1 < len(dates) {
		last = dates[i].AddDays((dates[i+1].Sub(dates[i]) - 1) / 2)
	}
	return d.place(a, dates[i], first, last)
}

// movedWords says in a reason that a task is asked for on another day than the
// routine has it.
func (d *settling) movedWords(due, own civil.Date) string {
	if own.IsZero() || civil.Max(due, d.On) == civil.Max(own, d.On) {
		return ""
	}
	return "; moved from " + d.WeekdayWords(own) + ", within its slack"
}
