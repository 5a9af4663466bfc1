package husbandry

import (
	"time"

	"nestround/tasks/civil"
)

// Scope says what sort of record a task of some kind is about.
type Scope string

// The scopes of tasks.
const (
	OfEnclosure Scope = "enclosure"
	OfAnimal    Scope = "animal"
	OfClutch    Scope = "clutch"
	OfRoom      Scope = "room"
	OfFeeder    Scope = "feeder" // live food, wherever it stands
	OfKeeper    Scope = "keeper" // one task for everything, wherever it is done
)

// Part is a part of the day. Each is one round.
type Part string

// The parts of the day, in order.
const (
	Morning Part = "morning"
	Midday  Part = "midday"
	Evening Part = "evening"
)

// Missed says what becomes of a task that was not done.
type Missed string

// The three ways of being missed.
const (
	Stays  Missed = "stays"  // overdue until done
	Lapses Missed = "lapses" // not owed once its day and slack are over; counted
	Alarms Missed = "alarms" // stays, and says loudly that something is wrong
)

// Routine is a rule that yields tasks: what, for whom, how often.
type Routine struct {
	ID      ID
	Kind    Kind
	Title   string // what to do, in the imperative; "" for the kind's own words
	Scope   Scope  // always set, but for a routine that is called for
	For     Selector
	Cadence Cadence
	// Before and After are the slack: the task may be done this many days
	// early or late without being missed.
	Before, After Days
	Part          Part
	Minutes       int
	Consumes      []string // what it uses up, in the keeper's words
	Amounts       Amounts  // how much of it each animal is offered
	Missed        Missed
	// Sitter says whether somebody who stands in for the keeper does it; "" for
	// what the kind says.
	Sitter  Sitter
	Caution string // shown wherever the task is; "" for none
	Source  string // where the interval comes from
	// Off turns the care sheets' and common routines of this kind off for the
	// subjects the selector matches, and yields nothing itself.
	Off    bool
	Origin Origin
}

// Sitter says what becomes of a routine's tasks while the keeper is away.
type Sitter string

// What becomes of them.
const (
	SitterDoes  Sitter = "does"  // they cannot wait
	SitterWaits Sitter = "waits" // they are done before or after
)

// Origin says whose a routine is. For one subject and kind, the keeper's
// routines replace the care sheet's, and those replace the common ones; an
// Own routine replaces only one of the same id.
type Origin int

// The origins of a routine, strongest first.
const (
	Keeper Origin = iota
	Sheet
	Common
)

// Selector says for whom a routine is. Empty lists select everything; several
// lists must all match. An enclosure matches by animals when one of those who
// live in it matches all of Animals, Species, Stages, Sexes and States.
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

// State is a passing condition of an animal, derived from findings.
type State string

// The states a routine may ask for.
const (
	Gravid     State = "gravid"      // seen gravid, not laid since
	PostLaying State = "post-laying" // laid within the last 14 days
	Breeding   State = "breeding"    // marked for breeding in its record
	Apart      State = "quarantine"  // in quarantine, from its first day to its release
)

// Pattern is the pattern of a cadence.
type Pattern string

// The patterns of a cadence.
const (
	Fixed     Pattern = "fixed"      // the calendar's dates, whatever was done
	SinceLast Pattern = "since-last" // last done + Every
	Anchored  Pattern = "anchored"   // Offset days after an Event, once
	Windowed  Pattern = "windowed"   // every Every days inside a computed window
	Riding    Pattern = "riding"     // follows another kind's tasks
	Stepped   Pattern = "stepped"    // on the days on which a target has moved by its step
	CalledFor Pattern = "called for" // when a rule of the planner asks for it; see [Called]
)

// Cadence says when. Which fields count depends on the pattern.
type Cadence struct {
	Pattern Pattern

	// Fixed uses exactly one of: Every with From; Weekdays; MonthDays; Cron.
	// SinceLast and Windowed use Every.
	Every     Days
	From      civil.Date
	Weekdays  []time.Weekday
	MonthDays []int  // 1 to 31; a short month's last day stands for a later one
	Cron      string // five fields; only its dates count, not its hour and minute

	// Stepped.
	Steps StepsName

	// Anchored.
	Event  Event
	Offset Days

	// Windowed.
	Window WindowName

	// Riding: on every Nth task of kind Host, Lead days before it, and never
	// sooner than MinGap days after the last one that was done. Of several
	// supplements that fall on one feeding only the rarest (the largest Nth)
	// is due: powders are given instead of one another, never together.
	Host   Kind
	Nth    int
	Lead   Days
	MinGap Days
}

// Event is something that happened to a record and starts anchored tasks.
type Event string

// The events.
const (
	EventLaid     Event = "laid"     // a clutch was laid
	EventTubSet   Event = "tub-set"  // its egg tub was set
	EventHatched  Event = "hatched"  // its first young hatched
	EventPaired   Event = "paired"   // a pairing began
	EventMated    Event = "mated"    // a mating was seen
	EventAcquired Event = "acquired" // an animal came
	// EventSeparated: an animal was taken out of its group.
	EventSeparated Event = "separated"
	// EventQuarantine: an animal's quarantine began, or began anew.
	EventQuarantine Event = "quarantine"
	// EventExpiry: a paper is to be renewed: its last day less what its record
	// says of reminding.
	EventExpiry Event = "expiry"
)

// StepsName names a target that moves through the year.
type StepsName string

// LightSteps are those of how long a room's lamps burn (see [Light]).
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
	GravidWindow  WindowName = "gravid"  // from pairing until she is known gravid or the lay window is over
)
