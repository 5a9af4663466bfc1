// Package rule has the rules of the plan, one file for each concern. A rule is
// a function of a [plan.Day] that proposes tasks.
//
// Start with [All], the rules in their order. A rule knows no mark and no other
// rule; a test checks both. A rule whose tasks ride on others asks the Day what
// is given. The general patterns (calendar.go, since_last.go, anchored.go,
// window.go, ride.go) know no kind of task. The special cases of a kind stand
// in the rule of its concern, and the tables in this file connect the two.
package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// All returns the rules of the plan.
func All() plan.Rules {
	return plan.Rules{
		First: []plan.Rule{
			Calendar, SinceLast, Watches, Light, Winters, Anchored,
			Health, Illness, Young, Tubs, Laying, Pairing,
		},
		Then: []plan.Rule{Riding, Stocks},
	}
}

// idleOf says when a routine has nothing to do for its subject.
var idleOf = []func(d *plan.Day, s *plan.Subject, r *plan.Routine) bool{idleClutch, idleYoung, idleApart}

// evidenceOf has the evidence besides marks for kinds that count from the last
// time.
var evidenceOf = map[husbandry.Kind]evidence{
	husbandry.NestTopUp:  {every: topUpEvery, move: moveTopUp},
	husbandry.TubCheck:   {first: firstTubCheck, move: moveTubCheck},
	husbandry.LampChange: {every: lampLife, last: lampFitted, move: moveLampChange},
	husbandry.Weigh:      {last: lastWeighed},
	husbandry.Faecal:     {last: lastFaecal},
}

// windowed has the watch of each window.
var windowed = map[husbandry.WindowName]func(*plan.Day, plan.Propose, *plan.Duty){
	husbandry.HatchWindow:   hatchWatch,
	husbandry.YoungWindow:   youngWatch,
	husbandry.LayWindow:     layWatch,
	husbandry.GravidWindow:  gravidWatch,
	husbandry.PairingWindow: pairWatch,
}

// eventsOf lists the events of each concern since a day.
var eventsOf = []func(d *plan.Day, from civil.Date) []happening{youngEvents, apartEvents, permitEvents}

// subjectOf names the subject of a routine that an event starts, where a
// concern has its own answer.
var subjectOf = []func(d *plan.Day, r *plan.Routine, e happening) (s *plan.Subject, theirs bool){permitSubject, youngSubject}

// insteadOf replaces the usual task after an event, and reports whether it did.
var insteadOf = []func(*plan.Day, plan.Propose, *plan.Subject, *plan.Routine, happening) bool{quarantineStep, again}

// bySheet has the offset and the slack, in days, of common routines whose kind
// has an age in the care sheet.
var bySheet = map[husbandry.Kind]func(sheet *husbandry.Species, offset, slack husbandry.Days) (husbandry.Days, husbandry.Days){
	husbandry.FirstFeed: firstFeedBySheet,
	husbandry.Sexing:    sexingBySheet,
	husbandry.Separate:  separateBySheet,
}

// finishOf changes the proposals of a kind that follow an event.
var finishOf = map[husbandry.Kind]func(d *plan.Day, s *plan.Subject, t *plan.Single){
	husbandry.SetTub:  finishSetTub,
	husbandry.DigEggs: finishOutside,
}
