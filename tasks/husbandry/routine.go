package husbandry

import (
	"time"

	"nestround/tasks/civil"
)

// Scope is the sort of record that a task is about.
type Scope string

// The scopes of tasks.
const (
	OfEnclosure Scope = "enclosure"
	OfAnimal    Scope = "animal"
	OfClutch    Scope = "clutch"
	OfRoom      Scope = "room"
	OfFeeder    Scope = "feeder" // live food, in any place
	OfKeeper    Scope = "keeper" // one task for the whole collection
)

// Part is a part of the day. Each part has one round.
type Part string

// The parts of the day, in order.
const (
	Morning Part = "morning"
	Midday  Part = "midday"
	Evening Part = "evening"
)

// Missed says what happens to a task that was not done.
type Missed string

// The treatments of a missed task.
const (
	Stays  Missed = "stays"  // overdue until done
	Lapses Missed = "lapses" // dropped after its day and slack; counted as missed
	Alarms Missed = "alarms" // overdue until done, and shown as an alarm
)

// Routine is a rule that makes tasks: the work, the animals or places, and the
// interval.
type Routine struct {
	ID      ID
	Kind    Kind
	Title   string // the work, in the imperative; "" for the words of the kind
	Scope   Scope  // always set, except in a Called routine
	For     Selector
	Cadence Cadence
	// Before and After are the slack: the task may be done this many days early
	// or late and does not count as missed.
	Before, After Days
	Part          Part
	Minutes       int
	Consumes      []string // supplies that a task uses up, in the keeper's words
	Amounts       Amounts  // amount of food for each animal
	Missed        Missed
	// Sitter says whether a stand-in does the tasks; "" if the kind of the
	// routine decides.
	Sitter  Sitter
	Caution string // shown with the task; "" for none
	Source  string // source of the interval
	// Off turns the routines of this kind from the care sheets and the common
	// list off, for the subjects that the selector matches. A routine with Off
	// makes no tasks.
	Off    bool
	Origin Origin
}

// Sitter says what happens to a routine's tasks while the keeper is away.
type Sitter string

// The treatments of a task during an absence.
const (
	SitterDoes  Sitter = "does"  // the stand-in does the tasks, because they cannot wait
	SitterWaits Sitter = "waits" // the keeper does the tasks before or after the absence
)

// Origin is the source of a routine. For one subject and kind, the keeper's
// routines replace the routines of the care sheet, and the care sheet's
// routines replace the common ones. A routine of kind Own replaces only a
// routine with the same id.
type Origin int

// The origins of a routine, strongest first.
const (
	Keeper Origin = iota
	Sheet
	Common
)

// Selector chooses the animals or places of a routine. An empty list matches
// everything; a subject has to match all lists. An enclosure matches Animals,
// Species, Stages, Sexes and States if one of its animals matches all of them.
type Selector struct {
	Rooms      []ID
	Racks      []ID
	Enclosures []ID
	Animals    []ID
	Species    []ID
	Stages     []Stage
	Sexes      []Sex
	States     []State
	NestBox    bool // only enclosures with a nest box
	Lamp       bool // only enclosures with a lamp record
	Groups     bool // only groups (count above one)
}

// State is a temporary condition of an animal, derived from findings.
type State string

// The states that a selector may name.
const (
	Gravid     State = "gravid"      // seen gravid, and has not laid since
	PostLaying State = "post-laying" // laid within the last 14 days
	Breeding   State = "breeding"    // marked for breeding in its record
	Apart      State = "quarantine"  // in quarantine, from its first day to its release
)

// Pattern is the pattern of a cadence.
type Pattern string

// The patterns of a cadence.
const (
	Fixed     Pattern = "fixed"      // dates of the calendar, independent of the work done
	SinceLast Pattern = "since-last" // Every days after the work was last done
	Anchored  Pattern = "anchored"   // Offset days after an Event, once
	Windowed  Pattern = "windowed"   // every Every days inside a computed window
	Riding    Pattern = "riding"     // follows another kind's tasks
	Stepped   Pattern = "stepped"    // each time a target has changed by its step
	CalledFor Pattern = "called for" // when a rule of the planner asks for the work; see [Called]
)

// Cadence says when a routine is due. The pattern decides which fields count.
type Cadence struct {
	Pattern Pattern

	// Fixed uses exactly one of: Every with From; Weekdays; MonthDays; Cron.
	// SinceLast and Windowed use Every.
	Every     Days
	From      civil.Date
	Weekdays  []time.Weekday
	MonthDays []int  // 1 to 31; a later day than the month has means the month's last day
	Cron      string // five fields; only the dates count, not the hour and minute

	// For the pattern Stepped: the target that changes.
	Steps StepsName

	// For the pattern Anchored: the event, and the days from the event to the
	// task.
	Event  Event
	Offset Days

	// For the pattern Windowed: the computed window.
	Window WindowName

	// For the pattern Riding. The routine follows every Nth task of kind Host,
	// Lead days before that task, and at least MinGap days after the last time
	// the work of the routine was done. If several supplements fall on one
	// feeding, only the rarest (the largest Nth) is due: supplements replace
	// one another and are never mixed.
	Host   Kind
	Nth    int
	Lead   Days
	MinGap Days
}

// Event is something that happened to a record and that starts anchored tasks.
type Event string

// The events.
const (
	EventLaid     Event = "laid"     // a clutch was laid
	EventTubSet   Event = "tub-set"  // the egg tub of a clutch was set
	EventHatched  Event = "hatched"  // the first young of a clutch hatched
	EventPaired   Event = "paired"   // a pairing began
	EventMated    Event = "mated"    // a mating was seen
	EventAcquired Event = "acquired" // an animal arrived
	// EventSeparated: an animal was taken out of its group.
	EventSeparated Event = "separated"
	// EventQuarantine: an animal's quarantine began, or began anew.
	EventQuarantine Event = "quarantine"
	// EventExpiry: a document is due for renewal. The renewal is due as many
	// days before the document's last day as its record states.
	EventExpiry Event = "expiry"
)

// StepsName names a target that changes through the year.
type StepsName string

// LightSteps is the target of the daily hours of a room's lamps (see [Light]).
const LightSteps StepsName = "light"

// WindowName names a computed window.
type WindowName string

// The windows.
const (
	PairingWindow WindowName = "pairing"
	LayWindow     WindowName = "laying"
	HatchWindow   WindowName = "hatching"
	CoolingWindow WindowName = "cooling" // from the last food before the winter to the first after it
	YoungWindow   WindowName = "young"   // from the first hatching to two weeks after the last
	GravidWindow  WindowName = "gravid"  // from pairing until the female is seen gravid or the laying window ends
)
