// Package tasks holds what the planner makes and what the keeper says of it.
//
// A [Task] is one dated thing to do; scheduler computes tasks, everything else
// shows them. An [Entry] is one accepted message or command, a line of the
// daybook; [Fold] turns entries into a [History], from which the scheduler
// computes the next plan. A [Board] joins a day's tasks with that history and
// numbers them: it is what round, the digest, the calendar and the page show.
//
// The package decides nothing about dates and does no input or output. The
// log on disk is tasks/daybook.
package tasks

import (
	"cmp"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Key identifies a task for good: "subject/routine/occurrence", made of the
// ids of records and of what makes this occurrence the one it is (its date,
// the completion it follows, the event it is anchored to), never of a title, a
// position or a random number. Calendar UIDs and replies hang on it.
type Key string

// NewKey makes the key of one occurrence of a routine for a subject.
func NewKey(subject, routine husbandry.ID, occurrence string) Key {
	return Key(string(subject) + "/" + string(routine) + "/" + occurrence)
}

// Subject returns the id of the record the task is about.
func (k Key) Subject() husbandry.ID {
	s, _, _ := strings.Cut(string(k), "/")
	return husbandry.ID(s)
}

// Routine returns the id of the routine the task came from.
func (k Key) Routine() husbandry.ID {
	_, r, _ := strings.Cut(string(k), "/")
	r, _, _ = strings.Cut(r, "/")
	return husbandry.ID(r)
}

// Occurrence returns what tells this task from the routine's others for the
// same subject.
func (k Key) Occurrence() string {
	_, r, _ := strings.Cut(string(k), "/")
	_, o, _ := strings.Cut(r, "/")
	return o
}

// Unplanned stands for the routine in the key of something that was found, or
// done, at a record that had no task: "F03/found/2027-05-12".
const Unplanned husbandry.ID = "found"

// TheKeeper is the subject of tasks that are about no record.
const TheKeeper husbandry.ID = "keeper"

// Task is one dated thing to do. The scheduler fills every field but Status
// once; nothing changes a task afterwards.
type Task struct {
	Key     Key
	Kind    husbandry.Kind
	Routine husbandry.ID
	Scope   husbandry.Scope
	Subject husbandry.ID // as in Key
	Place   Place
	Part    husbandry.Part

	Due      civil.Date // the day it is planned for, put off where the keeper said so
	Earliest civil.Date // the routine's own day for it less the slack
	Latest   civil.Date // that day plus slack; the task is overdue after it
	Status   Status

	Title   string // the imperative and the subject: "Top up the nest box of E07 (Ada, wall lizard)"
	Do      string // the imperative alone: "Top up the nest box"
	Whom    string // the subject alone: "E07 (Ada, wall lizard)"; "" for the keeper's tasks that are about no record
	Why     string // the reason in words, with what was computed
	Caution string // "" for none
	Minutes int
	Amount  string        // how much of what is given, "6-8 crickets each"; "" where nothing says
	Packs   int           // of a feeder to order, for tasks that ask for it
	Mate    husbandry.ID  // the male a pairing task names
	Asks    []FindingName // what the keeper is asked to record with it
	Uses    []string      // what it uses up, in the keeper's words
	Missed  husbandry.Missed
	// Pinned tasks cannot be put off: somebody may be in danger.
	Pinned bool
	// Moves says whether the day may be chosen inside the slack. Due is the
	// chosen day then, and Earliest and Latest stay what they were.
	Moves  Moves
	Window *Window // of windowed tasks
	// Keeper is whose task it is where several share the work; "" for no one's
	// in particular.
	Keeper husbandry.ID
	// For is the keeper whose it would be, were they not away on Due; "" where
	// it is given to nobody else.
	For husbandry.ID
	// Sitter says that the keeper is away on Due and whoever stands in does it.
	Sitter bool
}

// Alarm reports whether a task that is still to be done comes before all
// others, because somebody may be in danger: it cannot be put off, or a watch
// that matters was not kept in its time.
func (t *Task) Alarm() bool {
	return (t.Status == Due || t.Status == Overdue) && t.Pinned || t.Status == Overdue && t.Missed == husbandry.Alarms
}

// Place is where a task is done, and its position in walking order.
type Place struct {
	Room      husbandry.ID // "" for tasks of the keeper
	RoomName  string
	Rack      husbandry.ID // "" when there is none
	Enclosure husbandry.ID // or the incubator's id; "" for tasks of a room
	Order     int          // rooms, racks, enclosures as they are walked
}

// Moves says how a task's day may be chosen inside its slack.
type Moves string

// The ways of moving.
const (
	// Never: a watch, an event's day, what the keeper put off to a day, what
	// has no slack, what rides on another task or is ridden on.
	Never Moves = ""
	// Alone moves without the others of its routine, which follow the
	// calendar.
	Alone Moves = "alone"
	// InChain moves those after it as well: they count from the day it is
	// done.
	InChain Moves = "in-chain"
)

// Status says how a task stands on the day it is looked at.
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

// Window is the span of days within which something is expected.
type Window struct {
	Name     husbandry.WindowName
	From, To civil.Date // the days worth watching
	// P05 to P95 are the days by which it has happened with that probability
	// in percent; zero where only the span is known.
	P05, P25, P50, P75, P95 civil.Date
	// Today is the probability, 0 to 1, that it happens on the day of the
	// plan, given that it has not happened before.
	Today float64
	// By has the probability, 0 to 1, that it has happened by the end of the
	// day of the plan (By[0]), of the day after it (By[1]) and so on for a
	// week, given that it had not when the day of the plan began; nil where
	// only the span is known.
	By    []float64
	Basis string // what the window is computed from, in words
}

// Before reports whether t is done before u on a round: by part of the day,
// place, urgency of the kind, then key, which makes the order total.
func Before(t, u Task) int {
	return cmp.Or(
		cmp.Compare(Rank(t.Part, t.Place.Order, t.Kind), Rank(u.Part, u.Place.Order, u.Kind)),
		strings.Compare(string(t.Key), string(u.Key)),
	)
}

// Rank is what Before compares of a task but for its key, as one number below
// 2^40. Places are numbered from 0 to below 2^30.
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
