package rule

import (
	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// happening is one event of one record.
type happening struct {
	event husbandry.Event
	on    civil.Date
	// instance tells it from others of the same kind, where the task's subject
	// does not; aliases are instances it was known as before.
	instance string
	aliases  []string
	clutch   *herd.Clutch
	animal   *herd.Animal // of the other events
	permit   *husbandry.Permit
	words    string
}
