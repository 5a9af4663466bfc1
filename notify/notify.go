// Package notify has the types shared by all ways to the keeper and back: the
// identity of a digest, and the two ports that mail passes through.
//
// Its subpackages are adapters. digest and calendar write, picture draws, reply
// reads, mailout and mailin carry mail, page serves a browser, and practice is
// a mail server for trying things out. They do not import each other; the
// command connects them.
package notify

import (
	"context"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Issue is the stored record of one morning's digest: a reply refers to the
// numbers of the digest, even weeks later. An issue is stored before the digest
// is sent, and never changed afterwards.
type Issue struct {
	// ID is a short tag such as K7Q2, unique among the stored issues. It has
	// only letters and digits that cannot be confused.
	ID string `json:"id"`
	// Token proves that a mail answers this digest. It is 26 random letters and
	// digits (130 bits), carried in Reply-To and in the marker line of the
	// body.
	Token     string     `json:"token"`
	MessageID string     `json:"message_id"` // without angle brackets
	Date      civil.Date `json:"date"`
	Sent      time.Time  `json:"sent,omitzero"` // moment of composition
	// Early marks a digest that was composed while this machine's clock was
	// ahead. Its day gets another digest. Replies to the early digest are read
	// as always.
	Early bool   `json:"early,omitempty"`
	Items []Item `json:"items"`
	// Lines are the digest's lines of text, as sent. A line of a reply that
	// equals one of them is a quote, not a command.
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
	Packs   int             `json:"packs,omitempty"` // packs to order
	Mate    husbandry.ID    `json:"mate,omitempty"`  // male named by a pairing
	Moot    bool            `json:"-"`               // the answer "all" does not mark this task; see tasks.Board
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

// Outgoing is a composed mail. Every attempt to send it uses the same bytes.
type Outgoing struct {
	ID   string // Message-ID without brackets
	From string // envelope sender, an address alone
	To   string // envelope recipient, an address alone
	Raw  []byte // RFC 5322, CRLF line ends
}

// Sender passes a mail to the next server or folder.
type Sender interface {
	// Send returns nil when the next server or folder has taken responsibility
	// for m. If an error has a method Temporary() bool that returns true, or no
	// such method, it is worth trying again with the same bytes. An error never
	// contains a password.
	Send(ctx context.Context, m Outgoing) error
}

// Incoming is a mail from the mailbox.
type Incoming struct {
	// Ref identifies the mail within its mailbox, for logs and for setting the
	// mail aside: "INBOX;UIDVALIDITY=3;UID=17", or the name of a Maildir file.
	Ref string
	// Raw is the mail as stored. Of a large mail it is a smaller mail with the
	// same header and the same text, without the attachments.
	Raw  []byte
	Size int64 // the size according to the mailbox
	// TooLarge says that the header or the text itself exceeds the limit. Raw
	// is then the header, cut at its limit, and tells who wrote.
	TooLarge bool
}

// Inbox is where replies arrive.
type Inbox interface {
	// Read calls take for every mail that is not handled yet, in the mailbox's
	// order, and returns. A mail is handled when take returns nil. If take
	// returns an error, reading stops, and the next Read tries the mail again,
	// for as long as the error lasts. Only if the mail itself is at fault, the
	// other mails are read: take says so by a panic, or by an error with a
	// method MailsFault() bool that returns true. After three attempts, such a
	// mail is set aside and reported, and it is tried again every day. The other
	// mails are read, too, if take has done its work except for a part, such as
	// an answer: it says so by an error with a method Unfinished() bool that
	// returns true, and gets the mail again in every round. Read never changes
	// the flags of a mail, because people see them.
	Read(ctx context.Context, take func(Incoming) error) error
	// Watch does the work of Read again and again, as mail arrives, until ctx
	// ends. It reconnects by itself, and returns only ctx's error.
	Watch(ctx context.Context, take func(Incoming) error) error
}
