package rule

import (
	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// happening is an event of a record.
type happening struct {
	event husbandry.Event
	on    civil.Date
	// instance distinguishes the event from others of the same kind of the same
	// subject. aliases are instances under which it was known before.
	instance string
	aliases  []string
	clutch   *herd.Clutch
	animal   *herd.Animal // nil for the events of clutches
	permit   *husbandry.Permit
	// slack is the least slack, in days, of tasks that follow the event.
	slack husbandry.Days
	words string
}
