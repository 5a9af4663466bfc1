package rule

import (
	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// happening is an event of a record, such as a laying or an arrival.
type happening struct {
	event husbandry.Event
	on    civil.Date
	// instance distinguishes the event from other events of the same sort and
	// subject. aliases are earlier instances of the same event.
	instance string
	aliases  []string
	clutch   *herd.Clutch
	animal   *herd.Animal // nil for the events of clutches
	permit   *husbandry.Permit
	// slack is the least slack, in days, of tasks that follow the event.
	slack husbandry.Days
	words string
}
