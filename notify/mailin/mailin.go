// Package mailin reads the mails that have arrived: in an [IMAP] mailbox, or in
// a [Maildir] that another program fills. Both types implement notify.Inbox.
//
// Start with [NewIMAP] or [NewMaildir]. A [State], which the caller keeps on
// disk, remembers the handled mails. The mailbox itself is never changed, not
// even its flags, because people read it too. A mail can therefore come a
// second time, after a crash or when a server gives its mails new numbers. The
// caller recognises copies by their Message-ID.
//
// The package does not look at the content of a mail, or at its sender's
// rights.
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
	// MaxSize is the size in bytes up to which a mail is fetched. A larger mail
	// is handed over as TooLarge.
	MaxSize = 1 << 20
	// Attempts is the number of times that a mail is offered before it is set
	// aside.
	Attempts = 3
	// LookBack is the age up to which mails are read if there is no position:
	// at the first start, and after a server has given its mails new numbers.
	LookBack = 30 * 24 * time.Hour
	// batch is the largest number of mails that are read before the position is
	// saved. After a crash, the mails read since the last save come again.
	batch = 50
)

// Position says which mails have been handled. It holds no secret.
type Position struct {
	// Mailbox is the user, server and folder that the numbers belong to.
	Mailbox string `json:"mailbox,omitempty"`
	// UIDValidity and UIDNext are IMAP's (RFC 3501 §2.3.1.1). All mails below
	// UIDNext have been handled, and also the mails in Done.
	UIDValidity uint32   `json:"uidvalidity,omitempty"`
	UIDNext     uint32   `json:"uidnext,omitempty"`
	Done        []uint32 `json:"done,omitempty"`
	// Names are the handled mails of a Maildir, without their flags, sorted.
	Names []string `json:"names,omitempty"`
	// Since is a time; older mails are ignored.
	Since time.Time `json:"since,omitzero"`
	// Failed counts the failed attempts for each mail, by UID or name.
	Failed map[string]int `json:"failed,omitempty"`
}

// State keeps a Position between starts of the program.
type State interface {
	// Load returns the position of the last Save, or an empty Position if there
	// was none.
	Load() (Position, error)
	// Save returns when the position is safely stored. It is called only after
	// every mail that the position calls handled has been taken or set aside.
	Save(Position) error
}

// desk offers mails to the function that takes them. IMAP and Maildir both use
// a desk.
type desk struct {
	state State
	log   *slog.Logger
}

// errStop ends a round of reading, because the problem is not a single mail.
type errStop struct{ err error }

func (e errStop) Error() string { return e.err.Error() }
func (e errStop) Unwrap() error { return e.err }

// offer hands a mail to take. It reports whether the mail is dealt with: taken,
// or set aside after too many attempts. It counts a failure in failed under
// key.
//
// Two failures do not count, because the mail is not their cause: the end of
// ctx, and an error that is Temporary, such as a full disk. They stop the
// round.
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

// failure counts a failure and reports whether the mail is now set aside.
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

// call turns a panic of take into an error. Otherwise a single bad mail would
// stop the program, and stop it again at every start.
func call(take func(notify.Incoming) error, m notify.Incoming) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
		}
	}()
	return take(m)
}

// load returns the position, with maps that are not nil.
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

// sleep waits for d. It reports false if ctx ended before.
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
