package tasks

import (
	"fmt"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Entry is one accepted message or command: what the keeper said, once. It is
// one line of the daybook and is never changed.
type Entry struct {
	// ID tells a repetition from a new entry: the Message-ID of a mail, or a
	// random id of a command.
	ID string `json:"id"`
	// At is when the keeper said it: the Date of a mail, not its arrival.
	// Entries take effect in this order, whatever order they came in.
	At time.Time `json:"at"`
	// On is the day the marks are for.
	On     civil.Date `json:"on"`
	Via    Via        `json:"via"`
	By     string     `json:"by,omitempty"`
	Digest string     `json:"digest,omitempty"` // id of the digest whose numbers were used
	Acts   []Act      `json:"acts"`
}

// Via is the way an entry came in.
type Via string

// The ways in.
const (
	ViaShell Via = "shell"
	ViaMail  Via = "mail"
	ViaPage  Via = "page"
)

// Act is one thing said of one task.
type Act struct {
	// Text is the command in the keeper's words, normalised; commands of a
	// mail that repeat an earlier mail's are quotes of it (see Fold).
	Text    string     `json:"text"`
	N       int        `json:"n,omitempty"` // the number used, 0 for none
	Task    Key        `json:"task"`
	Mark    Verb       `json:"mark,omitempty"` // "" for a finding that leaves the task open
	Until   civil.Date `json:"until,omitzero"` // of PutOff
	Why     string     `json:"why,omitempty"`  // of Skip and PutOff
	Finding *Finding   `json:"finding,omitempty"`
}

// Verb is what a mark does to its task.
type Verb string

// The verbs.
const (
	MarkDone Verb = "done"
	Skip     Verb = "skipped"
	PutOff   Verb = "put-off"
	Undo     Verb = "undone" // takes back every mark and finding of the task
)

// Finding is what was observed at a task. Each field is a slot of its own: a
// later finding replaces the slots it fills and leaves the others.
type Finding struct {
	// Laid is the number of eggs of a clutch, slugs not among them; Uncounted
	// where she has laid but the eggs are still in the box.
	Laid  *int `json:"laid,omitempty"`
	Slugs *int `json:"slugs,omitempty"`
	// More is the number of eggs that came after those of Laid.
	More *int `json:"more,omitempty"`
	// Outside says that eggs were laid outside the nest box.
	Outside bool `json:"outside,omitempty"`
	// Mother is who laid a clutch that was found.
	Mother  husbandry.ID `json:"mother,omitempty"`
	Hatched *int         `json:"hatched,omitempty"` // young, on that day
	// Dead is the number of eggs set that were found dead, on that day.
	Dead *int `json:"dead,omitempty"`
	// Veins is the number of eggs in which candling showed veins; Uncounted
	// where veins were seen and nobody counted.
	Veins *int `json:"veins,omitempty"`
	// Moved is the incubator that a clutch's tub was moved to.
	Moved husbandry.ID `json:"moved,omitempty"`
	// Ended says that nothing more is expected of a clutch.
	Ended bool `json:"ended,omitempty"`
	// Weighs is a mass; of a group, or of a clutch's young, the mean of one of
	// them. Each has their single masses where they were said, and is nil for
	// one alone.
	Weighs  *husbandry.Grams       `json:"weighs_g,omitempty"`
	Each    []husbandry.Grams      `json:"each_g,omitempty"`
	Added   *husbandry.Millilitres `json:"added_ml,omitempty"`
	Refused bool                   `json:"refused,omitempty"`
	Mated   bool                   `json:"mated,omitempty"`
	// With is the male that a female was put together with, as her task named
	// him.
	With   husbandry.ID `json:"with,omitempty"`
	Gravid *bool        `json:"gravid,omitempty"`
	// Ordered is the number of packs of a feeder that were ordered, Stock the
	// number of insects counted.
	Ordered *int `json:"ordered,omitempty"`
	Stock   *int `json:"stock,omitempty"`
	// Digging says that a female digs or searches for a place to lay.
	Digging bool   `json:"digging,omitempty"`
	Sexed   *Sexed `json:"sexed,omitempty"`
	// UVI is the ultraviolet index under a lamp, at the animal's back.
	UVI *float64 `json:"uvi,omitempty"`
	// Ill says that it looks ill, or that a test found something; Note has the
	// signs in words.
	Ill  bool   `json:"ill,omitempty"`
	Note string `json:"note,omitempty"`
}

// Sexed is how many of an animal, a group or a clutch's young were told to be
// males and females, and of how many it could not be told.
type Sexed struct {
	Males   int `json:"males"`
	Females int `json:"females"`
	Unsure  int `json:"unsure"`
}

// All is how many were looked at.
func (s Sexed) All() int { return s.Males + s.Females + s.Unsure }

// String writes s as the trade does: males.females.unsure, "2.1.3".
func (s Sexed) String() string { return fmt.Sprintf("%d.%d.%d", s.Males, s.Females, s.Unsure) }

// Uncounted is the value of Finding.Laid and Finding.Veins for eggs that nobody
// has counted yet.
const Uncounted = -1

// FindingName names a slot of a finding, as the reply grammar does.
type FindingName = husbandry.FindingName

// The findings a task may ask for.
const (
	FindLaid    = husbandry.FindLaid
	FindSlugs   = husbandry.FindSlugs
	FindHatched = husbandry.FindHatched
	FindVeins   = husbandry.FindVeins
	FindWeighs  = husbandry.FindWeighs
	FindAdded   = husbandry.FindAdded
	FindRefused = husbandry.FindRefused
	FindMated   = husbandry.FindMated
	FindGravid  = husbandry.FindGravid
	FindSexed   = husbandry.FindSexed
	FindUVI     = husbandry.FindUVI
	FindIll     = husbandry.FindIll
	FindOrdered = husbandry.FindOrdered
)
