package tasks

import (
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
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

// Finding is what was observed at a task; package finding has a row for each of
// its slots.
type Finding = finding.Values

// Sexed is how many were told to be males and females.
type Sexed = finding.Sexed

// Uncounted is the value of Finding.Laid and Finding.Veins for eggs that nobody
// has counted yet.
const Uncounted = finding.Uncounted

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
