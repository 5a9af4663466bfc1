package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// called returns a copy of the routine of an id that a rule asks for, for a
// subject and in the words of some cases. It is nil where the books have none:
// then nothing is asked.
func called(d *plan.Day, s *plan.Subject, id husbandry.ID, cases ...string) *husbandry.Routine {
	of := d.Records.CalledFor(id)
	if of == nil {
		return nil
	}
	r := of.In(cases...)
	r.Scope = s.Scope
	return &r
}

// askFor has a task ask for what its routine is to record; nil where the kind
// says it.
func askFor(d *plan.Day, id husbandry.ID) func(*tasks.Task) {
	if of := d.Records.CalledFor(id); of != nil && len(of.Asks) > 0 {
		return func(t *tasks.Task) { t.Asks = of.Asks }
	}
	return nil
}
