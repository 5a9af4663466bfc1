// Package scheduler makes tasks with reasons from records, the history of marks
// and findings, and a span of days.
//
// Start with [NewDay], and ask the Day for its Tasks; [Plan] does both. The
// computation is a pure function: it reads no clock, does no input or output,
// and the same input gives the same tasks, byte for byte. The work is done in
// packages below:
//
//   - herd has the facts: the state of every record on a day.
//   - rule has the rules, one file for each concern: a rule is a function of a
//     Day that proposes tasks.
//   - plan has the Day, and settles the proposals: marks, lapsing, days away,
//     spreading.
//   - outlook answers all other questions about a Day.
//   - cadence, incubation, moisture, ration and season each answer one
//     question.
//
// The package does not spread work over days, number tasks, or join tasks with
// the marks of today. scheduler/workload chooses days through the interface
// [Spread]; tasks.Board numbers tasks and joins them with marks.
package scheduler

import (
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/rule"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Input is everything that a plan depends on.
type Input struct {
	Records *husbandry.Records
	// History has the marks and findings; nil if there are none yet. The caller
	// leaves out marks and findings for days after On (with
	// tasks.History.Before).
	History *tasks.History
	// On is the day of the plan. To is the last day ahead in the plan; a To
	// before On counts as On.
	On, To   civil.Date
	Latitude float64 // of the keeper, in degrees; negative in the south, where the seasons shift by half a year
	// Forecasts forecasts hatching, laying and pairing; nil for
	// [herd.Calibrated].
	Forecasts herd.Forecasts
	// Spread chooses days inside the slack of tasks. If it is nil, every task
	// stays on the day of its routine.
	Spread Spread
}

// Day holds what rules and outlooks need about a day; see [plan.Day].
type Day = plan.Day

// Spread chooses the days of flexible tasks; see [plan.Spread].
type Spread = plan.Spread

// Outline is a task without words; see [plan.Outline].
type Outline = plan.Outline

// Facts derives the state of every record on the day of the input.
func Facts(in Input) *herd.Herd {
	return herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On, Latitude: in.Latitude, Forecasts: in.Forecasts})
}

// NewDay makes the Day of an input, with all rules.
func NewDay(in Input) *Day { return DayOf(Facts(in), in.To, in.Spread) }

// DayOf makes a Day from facts, up to a last day ahead, with all rules.
func DayOf(h *herd.Herd, to civil.Date, spread Spread) *Day {
	return plan.New(plan.Input{Herd: h, To: to, Spread: spread, Rules: rule.All()})
}

// Plan returns the tasks due or overdue on in.On, the upcoming tasks until
// in.To, and the tasks that lapsed since the day before. They are sorted by due
// date, then in the order of tasks.Before. No two tasks have the same key.
func Plan(in Input) []tasks.Task { return NewDay(in).Tasks() }
