// Package mailin finds the mails that have arrived: in an [IMAP] mailbox, or
// in a [Maildir] that another program fills. Both are notify.Inboxes.
//
// Start with [NewIMAP] or [NewMaildir]. What has been handled is remembered in
// a [State], which the caller keeps on disk; the mailbox itself is never
// changed, not even its flags, because people read it as well. So a mail can
// come a second time, after a crash or when a server numbers its mails anew:
// whoever takes them knows them by their Message-ID.
//
// What a mail says, and whether its sender may say it, is not looked at here.
package mailin

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"nestround/notify"
)

const (
	// MaxSize is the size in bytes up to which a mail is fetched; a larger one
	// is handed over as TooLarge.
	MaxSize = 1 << 20
	// Attempts is how often a mail is offered before it is set aside.
	Attempts = 3
	// LookBack is how old a mail may be to be read when there is no position:
	// at the first start, and after a server has numbered its mails anew.
	LookBack = 30 * 24 * time.Hour
	// batch is after how many mails the position is saved, at the latest. The
	// mails since then come again after a crash.
	batch = 50
)

// Position is what has been handled. It holds nothing secret.
type Position struct {
	// Mailbox tells user, server and folder that the numbers belong to.
	Mailbox string `json:"mailbox,omitempty"`
	// UIDValidity and UIDNext are IMAP's (RFC 3501 §2.3.1.1): every mail below
	// UIDNext has been handled, and those in Done.
	UIDValidity uint32   `json:"uidvalidity,omitempty"`
	UIDNext     uint32   `json:"uidnext,omitempty"`
	Done        []uint32 `json:"done,omitempty"`
	// Names are the mails of a Maildir that have been handled, without their
	// flags, sorted.
	Names []string `json:"names,omitempty"`
	// Since is before which mails are not looked at.
	Since time.Time `json:"since,omitzero"`
	// Failed counts the attempts at mails that could not be taken, by UID or
	// name.
	Failed map[string]int `json:"failed,omitempty"`
}

// State keeps a Position between starts of the program.
type State interface {
	// Load returns what Save was last given, and an empty Position if that
	// never happened.
	Load() (Position, error)
	// Save returns once the position is safe. It is called only when every
	// mail that the position calls handled has been taken or set aside.
	Save(Position) error
}

// desk is where mails are offered: the part that both kinds of mailbox share.
type desk struct {
	state State
	log   *slog.Logger
}

// errStop ends a round of reading: the trouble is not with one mail.
type errStop struct{ err error }

func (e errStop) Error() string { return e.err.Error() }
func (e errStop) Unwrap() error { return e.err }

// offer hands a mail to take and reports whether it is dealt with: taken, or
// set aside after too many attempts. A failure is counted in failed under key.
//
// Not counted is what is no fault of the mail: the end of ctx, and an error
// that says it is Temporary, such as a full disk. They stop the round.
func (d desk) offer(ctx context.Context, failed map[string]int, key string, m notify.Incoming, take func(notify.Incoming) error) (bool, error) {
	if ctx.Err() != nil {
		return false, context.Cause(ctx)
	}
	err := call(take, m)
	if err == nil {
		delete(failed, key)
		return true, nil
	}
	if ctx.Err() != nil {
		return false, context.Cause(ctx)
	}
	var t interface{ Temporary() bool }
	if errors.As(err, &t) && t.Temporary() {
		return false, errStop{fmt.Errorf("take mail %s: %w", m.Ref, err)}
	}
	return d.failure(failed, key, m.Ref, err), nil
}

// failure counts one and reports whether the mail is set aside with it.
func (d desk) failure(failed map[string]int, key, ref string, err error) bool {
	failed[key]++
	if n := failed[key]; n < Attempts {
		d.log.Warn("a mail could not be taken and will be offered again", "mail", ref, "attempt", n, "error", err)
		return false
	}
	delete(failed, key)
	d.log.Error("a mail is set aside: it could not be taken; look at it in the mailbox", "mail", ref,
		"attempts", Attempts, "error", err)
	return true
}

// call makes an error of a panic: foreign mail must not stop the program, again
// at every start.
func call(take func(notify.Incoming) error, m notify.Incoming) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
		}
	}()
	return take(m)
}

// load returns the position with maps that can be written to.
func (d desk) load() (Position, error) {
	p, err := d.state.Load()
	if err != nil {
		return Position{}, errStop{fmt.Errorf("load the position in the mailbox: %w", err)}
	}
	if p.Failed == nil {
		p.Failed = map[string]int{}
	}
	return p, nil
}

func (d desk) save(p Position) error {
	if err := d.state.Save(p); err != nil {
		return errStop{fmt.Errorf("save the position in the mailbox: %w", err)}
	}
	return nil
}

// sleep waits, and reports whether it was left to.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
