package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// SinceLast proposes the tasks of routines that are due a number of days after
// the work was last done. Some kinds have other evidence than marks of when
// that was, see [evidenceOf].
func SinceLast(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Duties() {
		if a.Routine.Cadence.Pattern == husbandry.SinceLast && !idle(d, a.Subject, a.Routine) {
			propose(chain(d, a))
		}
	}
}

// chain makes the chain of tasks of a duty, with the evidence of its kind.
func chain(d *plan.Day, a *plan.Duty) *plan.Chain {
	k := a.Routine.Kind
	known := evidenceOf[k]
	c := &counted{Chain: &plan.Chain{Duty: a, Interval: max(1, a.Routine.Cadence.Every), Last: a.LastDone()}}
	if known.every != nil {
		if every := known.every(a.Subject); every > 0 {
			c.Interval = every
		}
	}
	if known.last != nil {
		c.Last = civil.Max(c.Last, known.last(d, a.Subject))
	}
	switch {
	case !c.Last.IsZero():
		c.Due = c.Last.AddDays(int(c.Interval))
	case known.first != nil:
		c.Due = known.first(d, a.Subject, c.Interval)
	}
	if c.Due.IsZero() {
		c.Due = d.FirstDue(a, c.Interval)
	}
	c.Every = c.Interval
	if known.move != nil {
		known.move(d, c)
	}
	c.Why = func(day civil.Date, missed int) string {
		words := everyWords(c.Every)
		if c.wordsOn != nil {
			words = c.wordsOn(day)
		}
		words += lastWords(d, k, c.Last)
		if missed > 0 {
			words += "; " + k.Noun().Count(missed) + " lapsed since"
		}
		return words + c.question
	}
	return c.Chain
}
