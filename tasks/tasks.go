// Package tasks holds the planner's tasks and the keeper's statements about
// them.
//
// A [Task] is one dated thing to do. Package scheduler computes the tasks, and
// all other packages show them. An [Entry] is one accepted message or command,
// a line of the daybook. [Fold] makes a [History] of the entries, from which
// the scheduler computes the next plan. A [Board] joins a day's tasks with the
// history and numbers the tasks. The verb round, the digest, the calendar and
// the page show the board.
//
// The package decides nothing about dates and does no input or output. Package
// tasks/daybook stores the entries on disk.
package tasks

import (
	"cmp"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Key identifies a task for ever: "subject/routine/occurrence". It consists of
// the ids of records and of the thing that distinguishes this occurrence: its
// date, the completion that it follows, or the event that it is anchored to. It
// never contains a title, a position or a random number. Calendar UIDs and
// replies depend on it.
type Key string

// NewKey returns the key of one occurrence of a routine for a subject.
func NewKey(subject, routine husbandry.ID, occurrence string) Key {
	return Key(string(subject) + "/" + string(routine) + "/" + occurrence)
}

// Subject returns the id of the record that the task is about.
func (k Key) Subject() husbandry.ID {
	s, _, _ := strings.Cut(string(k), "/")
	return husbandry.ID(s)
}

// Routine returns the id of the routine that made the task.
func (k Key) Routine() husbandry.ID {
	_, r, _ := strings.Cut(string(k), "/")
	r, _, _ = strings.Cut(r, "/")
	return husbandry.ID(r)
}

// Occurrence returns the part of the key that distinguishes this task from the
// routine's other tasks for the same subject.
func (k Key) Occurrence() string {
	_, r, _ := strings.Cut(string(k), "/")
	_, o, _ := strings.Cut(r, "/")
	return o
}

// Unplanned takes the place of the routine in the key of a report about a
// record that had no task: "F03/found/2027-05-12".
const Unplanned husbandry.ID = "found"

// TheKeeper is the subject of tasks that belong to no record.
const TheKeeper husbandry.ID = "keeper"

// Task is one dated thing to do. The scheduler fills every field once, and
// nothing changes a task afterwards, except its Status.
type Task struct {
	Key     Key
	Kind    husbandry.Kind
	Routine husbandry.ID
	Scope   husbandry.Scope
	Subject husbandry.ID // id of the record, as in Key
	Place   Place
	Part    husbandry.Part

	Due      civil.Date // the planned day, or the day to which the keeper put the task off
	Earliest civil.Date // the routine's original day minus the slack
	Latest   civil.Date // the routine's original day plus the slack; later the task is overdue
	Status   Status

	Title   string // the imperative and the subject: "Top up the nest box of E07 (Ada, wall lizard)"
	Do      string // the imperative alone: "Top up the nest box"
	Whom    string // the subject alone: "E07 (Ada, wall lizard)"; "" for the keeper's tasks that are about no record
	Why     string // the reason in words, with what was computed
	Caution string // "" for none
	Minutes int
	Amount  string                  // how much of the food to give, "6-8 crickets each"; "" if not known
	Packs   int                     // packs to order, for tasks that order a feeder
	Mate    husbandry.ID            // the male to pair with, for pairing tasks
	Asks    []husbandry.FindingName // the findings that the keeper should record
	Uses    []string                // the supplies that the task uses up, in the keeper's words
	Missed  husbandry.Missed
	// Pinned tasks cannot be put off, because an animal may be in danger.
	Pinned bool
	// Moves says whether the scheduler may choose the day within the slack. Due
	// is then the chosen day, while Earliest and Latest do not change.
	Moves  Moves
	Window *Window // only for tasks within a window
	// Keeper is the keeper who does the task, if several keepers share the
	// work; "" if anybody may do it.
	Keeper husbandry.ID
	// For is the keeper to whom the task belongs but who is away on Due; "" if
	// the task was not given to another keeper.
	For husbandry.ID
	// Sitter says that the keeper is away on Due and that the stand-in does the
	// task.
	Sitter bool
}

// Alarm reports whether an open task comes before all others because an animal
// may be in danger: the task is pinned, or it is an important watch that was
// missed.
func (t *Task) Alarm() bool {
	return (t.Status == Due || t.Status == Overdue) && t.Pinned || t.Status == Overdue && t.Missed == husbandry.Alarms
}

// Place is the place of a task, and its position in walking order.
type Place struct {
	Room      husbandry.ID // "" for tasks of the keeper
	RoomName  string
	Rack      husbandry.ID // "" when there is none
	Enclosure husbandry.ID // id of the enclosure or the incubator; "" for tasks of a room
	Order     int          // position of the room, rack and enclosure in walking order
}

// Moves says how the scheduler may choose a task's day within its slack.
type Moves string

// The ways of choosing a task's day.
const (
	// Never: the day is fixed. This holds for watches, for days of events, for
	// tasks that the keeper put off to a day, for tasks without slack, for
	// tasks that follow another task, and for tasks that another task follows.
	Never Moves = ""
	// Alone: the task moves, and the other tasks of its routine follow the
	// calendar.
	Alone Moves = "alone"
	// InChain: the later tasks of the routine move as well, because they count
	// from the day on which this task is done.
	InChain Moves = "in-chain"
)

// Status is the state of a task on the day of the plan.
type Status string

// The statuses.
const (
	Upcoming Status = "upcoming"
	Due      Status = "due"
	Overdue  Status = "overdue"
	Done     Status = "done"
	Skipped  Status = "skipped"
	Lapsed   Status = "lapsed"
)

// Window is the span of days within which an event is expected.
type Window struct {
	Name     husbandry.WindowName
	From, To civil.Date // first and last day of the watch
	// P05 to P95 are the days by which the event has happened with a
	// probability of 5 % to 95 %. They are zero if only the span is known.
	P05, P25, P50, P75, P95 civil.Date
	// Today is the hazard of the day of the plan: the probability, 0 to 1, that
	// the event happens on that day, if it has not happened before.
	Today float64
	// By has the probabilities, 0 to 1, that the event has happened by the end
	// of the day of the plan (By[0]), of the next day (By[1]) and so on for a
	// week, if it has not happened before the day of the plan. It is nil if
	// only the span is known.
	By    []float64
	Basis string // how the window was computed, in words
}

// Before reports whether t comes before u on a round. The order is by part of
// the day, place, urgency of the kind, and then key, so that no two tasks are
// equal.
func Before(t, u Task) int {
	return cmp.Or(
		cmp.Compare(Rank(t.Part, t.Place.Order, t.Kind), Rank(u.Part, u.Place.Order, u.Kind)),
		strings.Compare(string(t.Key), string(u.Key)),
	)
}

// Rank returns the rank of a task on a round as one number below 2^40, by the
// order of [Before] but without the key. place must be at least 0 and below
// 2^30.
func Rank(part husbandry.Part, place int, kind husbandry.Kind) uint64 {
	p := uint64(2)
	switch part {
	case husbandry.Morning:
		p = 0
	case husbandry.Midday:
		p = 1
	}
	return p<<38 | uint64(place)<<8 | uint64(kind.Order())
}
