package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Calendar proposes the tasks of routines that follow the calendar, regardless
// of the work done before.
func Calendar(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Duties() {
		if a.Routine.Cadence.Pattern != husbandry.Fixed || idle(d, a.Subject, a.Routine) {
			continue
		}
		propose(&plan.Series{Duty: a, Dates: a.Routine.Dates, Why: func(day civil.Date) string {
			if day.After(d.On) {
				return a.Routine.Words
			}
			return a.Routine.Words + sinceWords(d, a, day)
		}})
	}
}

// sinceWords says when the work was last done, and how many of its tasks were
// missed since.
func sinceWords(d *plan.Day, a *plan.Duty, date civil.Date) string {
	last := a.LastDone()
	words := lastWords(d, a.Routine.Kind, last)
	if missed := d.Missed(a, date); missed > 0 {
		how := " lapsed"
		if a.Routine.Missed != husbandry.Lapses {
			how = " missed"
		}
		words += "; " + a.Routine.Kind.Noun().Count(missed) + how
		if !last.IsZero() {
			words += " since"
		}
	}
	return words
}
