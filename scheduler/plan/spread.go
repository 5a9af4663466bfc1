package plan

import (
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Spread chooses the days of flexible tasks, so that the minutes of work on
// each day are even. Package workload implements it. A Spread is pure: the same
// question gets the same answer.
type Spread interface {
	// Day returns the day for a task that is due on Due and may be done from
	// Earliest to Latest. Due is always a valid answer; a day outside the range
	// counts as Due. Status and minutes of the task are not set.
	Day(t *Outline) civil.Date
}

// movesOf says whether the days of a duty's tasks may be chosen. A host never
// moves, because the tasks that follow it would move with it: dust cannot be
// given on a day without the feeding.
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

// place returns the day chosen for a task that is due on due by its routine.
// The day is between first and last, if these are dates. A task stays on due if
// it is overdue, or if the routine does not hold on the chosen day.
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
		return due // the keeper is away on the chosen day
	}
	return day
}

// placeDated is place for the task of the i-th of a routine's dates. The task
// moves by less than half the distance to the neighbouring dates, so that the
// tasks keep the order of the dates.
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

// movedWords names the day by the routine, for the reason of a task that was
// moved.
func (d *settling) movedWords(due, own civil.Date) string {
	if own.IsZero() || civil.Max(due, d.On) == civil.Max(own, d.On) {
		return ""
	}
	return "; moved from " + d.WeekdayWords(own) + ", within its slack"
}
