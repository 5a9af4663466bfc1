// Package scheduler turns records, the history of what was done and found, and
// a span of days into tasks with reasons.
//
// Start with [NewDay], and ask the Day for its Tasks; [Plan] does both. It is
// a pure function: it reads no clock, does no input or output, and the same
// input gives the same tasks, byte for byte. The work is done below:
//
//   - herd has the facts: how every record stands on a day.
//   - rule has the rules, one file a concern: each is a function of a Day that
//     proposes tasks.
//   - plan has the Day, and settles what rules propose: marks, lapsing, days
//     away, spreading.
//   - outlook answers what is asked besides tasks.
//   - cadence, incubation, moisture, ration and season answer single questions.
//
// The package does not spread work over days, number tasks or join them with
// marks of today: the first is for scheduler/workload, which chooses days
// through the seam [Spread], the rest for tasks.Board.
package scheduler

import (
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/rule"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Input is all that a plan depends on.
type Input struct {
	Records *husbandry.Records
	// History holds what was done and found; nil for nothing yet. Marks and
	// findings for days after On are for the caller to leave out (with
	// tasks.History.Before).
	History *tasks.History
	// On is the day the plan is made for, and To the last day ahead that it
	// covers; To before On counts as On.
	On, To   civil.Date
	Latitude float64 // of the keeper, degrees; below 0 flips the seasons
	// Forecasts foretells hatching, laying and pairing; nil for
	// [herd.Calibrated].
	Forecasts herd.Forecasts
	// Spread chooses days inside the slack; nil: every task has its own day.
	Spread Spread
}

// Day is what rules and outlooks are asked about; see [plan.Day].
type Day = plan.Day

// Spread chooses the days of tasks that may be moved; see [plan.Spread].
type Spread = plan.Spread

// Facts derives how every record stands on the day of the input.
func Facts(in Input) *herd.Herd {
	return herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On, Latitude: in.Latitude, Forecasts: in.Forecasts})
}

// NewDay makes the Day of an input, with all rules.
func NewDay(in Input) *Day { return DayOf(Facts(in), in.To, in.Spread) }

// DayOf makes a Day from facts, up to a last day ahead, with all rules.
func DayOf(h *herd.Herd, to civil.Date, spread Spread) *Day {
	return plan.New(plan.Input{Herd: h, To: to, Spread: spread, Rules: rule.All()})
}

// Plan returns the tasks that are due or overdue on in.On, those upcoming
// until in.To, and those that lapsed since the day before, by due date and
// then as tasks.Before has it. No two share a key.
func Plan(in Input) []tasks.Task { return NewDay(in).Tasks() }
