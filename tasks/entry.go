package tasks

import (
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

// Entry is one accepted message or command of the keeper. It is one line of the
// daybook and never changes.
type Entry struct {
	// ID distinguishes a new entry from a repeated one: the Message-ID of a
	// mail, or a random id for a command.
	ID string `json:"id"`
	// At is the moment at which the keeper sent the message: the Date of a
	// mail, not its arrival. Entries take effect in the order of At, in
	// whatever order they arrive.
	At time.Time `json:"at"`
	// On is the day that the marks count for.
	On     civil.Date `json:"on"`
	Via    Via        `json:"via"`
	By     string     `json:"by,omitempty"`
	Digest string     `json:"digest,omitempty"` // id of the digest whose numbers were used
	Acts   []Act      `json:"acts"`
}

// Via is the channel through which an entry came in.
type Via string

// The channels.
const (
	ViaShell Via = "shell"
	ViaMail  Via = "mail"
	ViaPage  Via = "page"
)

// Act is one statement about one task: a mark, a finding or both of them. Or it
// takes an entry back.
type Act struct {
	// Text is the command in the keeper's words, normalised. [Fold] compares it
	// to recognise a mail that quotes the commands of an earlier mail.
	Text    string     `json:"text"`
	N       int        `json:"n,omitempty"` // task number that the keeper wrote, or 0
	Task    Key        `json:"task"`
	Mark    Verb       `json:"mark,omitempty"` // "" for a finding that leaves the task open
	Until   civil.Date `json:"until,omitzero"` // only for PutOff
	Why     string     `json:"why,omitempty"`  // only for Skip and PutOff
	Finding *Finding   `json:"finding,omitempty"`
	// Entry is the id of an entry that this act takes back with all its acts; this
	// act then has no task. The times of the two entries do not matter. If the
	// entry of this act is taken back, the other entry counts again.
	Entry string `json:"entry,omitempty"`
}

// Verb is the effect of a mark on its task.
type Verb string

// The verbs.
const (
	MarkDone Verb = "done"
	Skip     Verb = "skipped"
	PutOff   Verb = "put-off"
	Undo     Verb = "undone" // withdraws every earlier mark and finding of the task
)

// Finding is the set of observations at a task. Package finding has a row for
// each of its slots.
type Finding = finding.Values

// Sexed has the number of males, of females and of animals of unknown sex.
type Sexed = finding.Sexed

// Uncounted is the value of Finding.Laid and Finding.Veins for eggs that nobody
// has counted yet.
const Uncounted = finding.Uncounted
