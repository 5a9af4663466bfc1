// Package rule has the rules of the plan, one file for each concern. A rule is
// a function of a [plan.Day] that proposes tasks.
//
// Start with [All], the rules in their order. A rule reads no marks and calls
// no other rule; a test checks both. A rule for tasks that follow other tasks
// asks the Day when these other tasks are done. The general patterns
// (calendar.go, since_last.go, anchored.go, window.go, ride.go) name no kind of
// task. The special cases of a kind are in the file of their concern, and the
// tables in this file connect the two.
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

// idleOf has the functions that report whether a routine has nothing to do for
// its subject.
var idleOf = []func(d *plan.Day, s *plan.Subject, r *plan.Routine) bool{idleClutch, idleYoung, idleApart}

// evidenceOf has evidence, other than marks, of the last time that work was
// done. It is for kinds of work that are due a number of days after the last
// time.
var evidenceOf = map[husbandry.Kind]evidence{
	husbandry.NestTopUp:  {every: topUpEvery, move: moveTopUp},
	husbandry.TubCheck:   {first: firstTubCheck, move: moveTubCheck},
	husbandry.LampChange: {every: lampLife, last: lampFitted, move: moveLampChange},
	husbandry.Weigh:      {last: lastWeighed},
	husbandry.Faecal:     {last: lastFaecal},
}

// windowed has, for each window, the function that proposes the watch.
var windowed = map[husbandry.WindowName]func(*plan.Day, plan.Propose, *plan.Duty){
	husbandry.HatchWindow:   hatchWatch,
	husbandry.YoungWindow:   youngWatch,
	husbandry.LayWindow:     layWatch,
	husbandry.GravidWindow:  gravidWatch,
	husbandry.PairingWindow: pairWatch,
}

// eventsOf has the functions of the concerns that list their events since a
// day.
var eventsOf = []func(d *plan.Day, from civil.Date) []happening{youngEvents, apartEvents, permitEvents}

// subjectOf lists functions that choose the subject of a routine that follows
// an event, one function for each concern (permits, young). If no function
// applies, [target] chooses.
var subjectOf = []func(d *plan.Day, r *plan.Routine, e happening) (s *plan.Subject, theirs bool){permitSubject, youngSubject}

// insteadOf has functions that propose another task than the usual one after an
// event, and report whether they did.
var insteadOf = []func(*plan.Day, plan.Propose, *plan.Subject, *plan.Routine, happening) bool{quarantineStep, again}

// bySheet has, for kinds of work at an age that the care sheet may state, the
// function that returns the offset and the slack, in days, of the common
// routine.
var bySheet = map[husbandry.Kind]func(sheet *husbandry.Species, offset, slack husbandry.Days) (husbandry.Days, husbandry.Days){
	husbandry.FirstFeed: firstFeedBySheet,
	husbandry.Sexing:    sexingBySheet,
	husbandry.Separate:  separateBySheet,
}

// finishOf has, by kind, the functions that complete the proposal of a task
// after an event.
var finishOf = map[husbandry.Kind]func(d *plan.Day, s *plan.Subject, t *plan.Single){
	husbandry.SetTub:  finishSetTub,
	husbandry.DigEggs: finishOutside,
}
