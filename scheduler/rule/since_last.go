package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// SinceLast proposes the tasks of routines that are due so many days after they
// were last done. Where more is known than the marks, the kind's evidence in
// [evidenceOf] decides.
func SinceLast(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Duties() {
		if a.Routine.Cadence.Pattern == husbandry.SinceLast && !idle(d, a.Subject, a.Routine) {
			propose(chain(d, a))
		}
	}
}

// evidence is what a kind knows of its work besides marks. Functions that are
// nil are not asked.
type evidence struct {
	// every is the interval of a subject in days, where its record says so; else 0.
	every func(s *plan.Subject) husbandry.Days
	// last is the day on which the work was last done as far as other records and
	// findings tell; no date: they do not.
	last func(d *plan.Day, s *plan.Subject) civil.Date
	// first is the day on which work that was never done is first due; no date:
	// as for other kinds.
	first func(d *plan.Day, s *plan.Subject, every husbandry.Days) civil.Date
	// move moves the first open task, and says why.
	move func(d *plan.Day, c *counted)
}

// counted is a chain while its evidence is looked at.
type counted struct {
	*plan.Chain
	wordsOn  func(day civil.Date) string
	question string // a weighing that cannot be right, in words; "" for none
}

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
