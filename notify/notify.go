// Package notify has what the ways out to the keeper and back share: the
// digest's identity, and the two ports that mail passes through.
//
// Its subpackages are adapters. digest and calendar write, picture draws, reply
// reads, mailout and mailin carry bytes, page serves a browser, practice is a mail
// server for trying things out. None of them knows another; the command joins
// them.
package notify

import (
	"context"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Issue is one morning's digest as it must be remembered: replies weeks later
// are read with its numbers. It is stored before the digest is sent and never
// changed.
type Issue struct {
	// ID is a short tag, such as K7Q2: letters and digits that are not
	// mistaken for one another, unique among the issues kept.
	ID string `json:"id"`
	// Token proves that a mail answers this digest: 26 random letters and
	// digits (130 bits), carried in Reply-To and in the body's marker line.
	Token     string     `json:"token"`
	MessageID string     `json:"message_id"` // without angle brackets
	Date      civil.Date `json:"date"`
	Sent      time.Time  `json:"sent,omitzero"` // when it was composed
	Items     []Item     `json:"items"`
	// Lines are the digest's own lines of text, as sent; a reply's lines that
	// equal one are quotes, not commands.
	Lines []string `json:"lines"`
}

// Item is a numbered task of an issue.
type Item struct {
	N       int             `json:"n"`
	Task    tasks.Key       `json:"task"`
	Kind    husbandry.Kind  `json:"kind"`
	Scope   husbandry.Scope `json:"scope"`
	Title   string          `json:"title"`
	Pinned  bool            `json:"pinned,omitempty"` // cannot be put off
	Overdue bool            `json:"overdue,omitempty"`
	Packs   int             `json:"packs,omitempty"` // that it asks to order
	Mate    husbandry.ID    `json:"mate,omitempty"`  // the male that a pairing names
	Moot    bool            `json:"-"`               // "all" does not mean it, see tasks.Board
}

// Message is a mail to be composed.
type Message struct {
	ID         string // Message-ID without angle brackets
	Date       time.Time
	From, To   string // addresses, with or without a display name
	ReplyTo    string // "" for none
	Subject    string
	InReplyTo  string   // Message-ID without brackets, "" for none
	References []string // Message-IDs without brackets
	// Automatic is the value of Auto-Submitted (RFC 3834): "auto-generated"
	// for a digest, "auto-replied" for an answer.
	Automatic  string
	Text, HTML string // HTML may be ""
}

// Outgoing is a composed mail on its way: the same bytes at every attempt.
type Outgoing struct {
	ID   string // Message-ID without brackets
	From string // envelope sender, an address alone
	To   string // envelope recipient, an address alone
	Raw  []byte // RFC 5322, CRLF line ends
}

// Sender carries a mail to the next server or folder.
type Sender interface {
	// Send returns nil once the next hop has taken responsibility for m. An
	// error that implements Temporary() bool and returns true is worth
	// another attempt with the same bytes; so is one that does not implement
	// it. An error never holds a password.
	Send(ctx context.Context, m Outgoing) error
}

// Incoming is a mail as it was found.
type Incoming struct {
	// Ref names it within its mailbox, for logs and for setting it aside:
	// "INBOX;UIDVALIDITY=3;UID=17" or a Maildir file's name.
	Ref  string
	Raw  []byte // as stored; empty when TooLarge
	Size int64  // the size the mailbox states
	// TooLarge says that the mail exceeds the limit and was not fetched.
	TooLarge bool
}

// Inbox is where replies arrive.
type Inbox interface {
	// Read hands every mail not yet handled to take, in the mailbox's order,
	// and returns. A mail counts as handled once take has returned nil; an
	// error from take leaves it for the next Read, at most three times, after
	// which it is set aside and reported. It never changes the mail's flags
	// that a person sees.
	Read(ctx context.Context, take func(Incoming) error) error
	// Watch is Read again and again, as mail arrives, until ctx ends; it
	// reconnects by itself and returns only ctx's error.
	Watch(ctx context.Context, take func(Incoming) error) error
}
