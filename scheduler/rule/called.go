package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// called returns a copy of a routine that rules call for, about a subject and
// with the words of some cases. It is nil where the books do not have the
// routine; then nothing is asked.
func called(d *plan.Day, s *plan.Subject, id husbandry.ID, cases ...string) *husbandry.Routine {
	of := d.Records.CalledFor(id)
	if of == nil {
		return nil
	}
	r := of.In(cases...)
	r.Scope = s.Scope
	return &r
}

// askFor lets a task ask for the findings that its routine names; nil where the
// kind names them.
func askFor(d *plan.Day, id husbandry.ID) func(*tasks.Task) {
	if of := d.Records.CalledFor(id); of != nil && len(of.Asks) > 0 {
		return func(t *tasks.Task) { t.Asks = of.Asks }
	}
	return nil
}
