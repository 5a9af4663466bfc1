package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// called returns a copy of a [husbandry.Called] routine for a subject, with the
// titles and cautions of the named cases. If the books do not have the routine,
// called returns nil and the rule proposes no task.
func called(d *plan.Day, s *plan.Subject, id husbandry.ID, cases ...string) *husbandry.Routine {
	of := d.Records.CalledFor(id)
	if of == nil {
		return nil
	}
	r := of.In(cases...)
	r.Scope = s.Scope
	return &r
}

// askFor returns a function that makes a task ask for the findings that its
// routine lists; nil if the findings of the kind are right.
func askFor(d *plan.Day, id husbandry.ID) func(*tasks.Task) {
	if of := d.Records.CalledFor(id); of != nil && len(of.Asks) > 0 {
		return func(t *tasks.Task) { t.Asks = of.Asks }
	}
	return nil
}
