package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/husbandry"
)

// Watches proposes the watches inside windows. The table windowed has the
// function for each window.
func Watches(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Duties() {
		if a.Routine.Cadence.Pattern != husbandry.Windowed || idle(d, a.Subject, a.Routine) {
			continue
		}
		if watch := windowed[a.Routine.Cadence.Window]; watch != nil {
			watch(d, propose, a)
		}
	}
}
