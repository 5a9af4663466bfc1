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
	"slices"
	"strings"
	"time"

	"nestround/notify"
)

const (
	// MaxSize is the size in bytes up to which a mail is handed over as it is.
	// Of a larger mail only the header and the text are handed over; see
	// [Slim]. It is also the limit of that text, before decoding.
	MaxSize = 1 << 20
	// MaxHeader is the limit of the header of a larger mail, in bytes.
	MaxHeader = 64 << 10
	// Attempts is the number of times that a mail is offered before it is set
	// aside.
	Attempts = 3
	// AsideAgain is the interval at which a mail that was set aside is offered
	// again, in case the program or the server can read it now.
	AsideAgain = 24 * time.Hour
	// maxAside is the largest number of mails that stay set aside; the oldest
	// are forgotten first.
	maxAside = 200
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
	// Aside are the mails that were set aside, the oldest first. They count as
	// handled, and are offered again every AsideAgain.
	Aside []Aside `json:"aside,omitempty"`
}

// Aside is a mail that could not be taken in several attempts, through a fault
// of the mail itself.
type Aside struct {
	Key   string    `json:"key"` // UID or name
	Ref   string    `json:"ref"` // see notify.Incoming
	Why   string    `json:"why"` // the last error, shortened; it may have words of a server
	Since time.Time `json:"since"`
	Next  time.Time `json:"next"` // time of the next attempt
}

// due returns the keys of the mails set aside that are to be offered again at the
// time now.
func (p *Position) due(now time.Time) []string {
	var keys []string
	for _, a := range p.Aside {
		// If the clock was set back, no mail waits longer than its interval.
		if !now.Before(a.Next) || a.Next.Sub(now) > AsideAgain {
			keys = append(keys, a.Key)
		}
	}
	return keys
}

// forget removes a mail from the mails set aside.
func (p *Position) forget(key string) {
	p.Aside = slices.DeleteFunc(p.Aside, func(a Aside) bool { return a.Key == key })
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
	state   State
	log     *slog.Logger
	trouble func(error) // see Options.Trouble
	again   bool        // see Options.Again

	told  string    // the error of the last warning in the log, without numbers; "" for none
	at    time.Time // time of the last warning in the log
	times int       // failures in a row
}

// errStop ends a round of reading, because the problem is not a single mail but
// this machine, its disk, or a passing state of the server.
type errStop struct {
	err    error
	server bool // the server is the cause, so news from it is a reason to try again
}

func (e errStop) Error() string { return e.err.Error() }
func (e errStop) Unwrap() error { return e.err }

// mailsFault is an error that the mail itself causes, and that will not pass by
// itself. [notify.Inbox] describes the method.
type mailsFault interface{ MailsFault() bool }

// unfinished is the error of a mail that counts and of which a part remains to
// be done. Package notify describes the method.
type unfinished interface{ Unfinished() bool }

// panicked is the error of a panic while a mail was taken.
type panicked struct{ err error }

func (e panicked) Error() string    { return e.err.Error() }
func (e panicked) MailsFault() bool { return true }

// offer hands a mail to take. It reports whether the mail is dealt with: taken,
// or set aside after too many attempts. It counts a failure in pos under key.
//
// Only an error that is the mail's fault counts. All other errors, such as a
// full disk or a held lock, stop the round, and the mail is offered again for
// as long as the error lasts. An unfinished mail is offered again, too, and the
// round goes on.
func (d *desk) offer(ctx context.Context, pos *Position, key string, m notify.Incoming, take func(notify.Incoming) error) (bool, error) {
	if ctx.Err() != nil {
		return false, context.Cause(ctx)
	}
	err := call(take, m)
	if err == nil {
		delete(pos.Failed, key)
		pos.forget(key)
		return true, nil
	}
	if ctx.Err() != nil {
		return false, context.Cause(ctx)
	}
	var part unfinished
	if errors.As(err, &part) && part.Unfinished() {
		d.log.Debug("a part of a mail's work remains; the mail will be offered again", "mail", m.Ref, "error", err)
		return false, nil
	}
	var fault mailsFault
	if !errors.As(err, &fault) || !fault.MailsFault() {
		return false, errStop{err: fmt.Errorf("take mail %s: %w", m.Ref, err)}
	}
	return d.failure(pos, key, m.Ref, err), nil
}

// failure counts a failure that is the mail's fault, and reports whether the
// mail is now set aside.
func (d *desk) failure(pos *Position, key, ref string, err error) bool {
	now := time.Now().UTC().Truncate(time.Second)
	if i := slices.IndexFunc(pos.Aside, func(a Aside) bool { return a.Key == key }); i >= 0 {
		a := &pos.Aside[i]
		a.Why, a.Next = shortened(err), now.Add(AsideAgain)
		d.log.Debug("a mail that was set aside can still not be taken", "mail", ref, "error", err)
		return true
	}
	pos.Failed[key]++
	if n := pos.Failed[key]; n < Attempts {
		d.log.Warn("a mail could not be taken and will be offered again", "mail", ref, "attempt", n, "error", err)
		return false
	}
	delete(pos.Failed, key)
	pos.Aside = append(pos.Aside, Aside{Key: key, Ref: ref, Why: shortened(err), Since: now, Next: now.Add(AsideAgain)})
	if n := len(pos.Aside) - maxAside; n > 0 {
		for _, a := range pos.Aside[:n] {
			d.log.Error("too many mails are set aside; the oldest is not tried again", "mail", a.Ref, "error", a.Why)
		}
		pos.Aside = pos.Aside[n:]
	}
	d.log.Error("a mail is set aside: it could not be taken; it stays in the mailbox and is tried again every day, "+
		"or at once by nestround replies --again", "mail", ref, "attempts", Attempts, "error", err)
	return true
}

// shortened returns the first line of an error, at most 300 bytes of it.
func shortened(err error) string {
	text, _, _ := strings.Cut(err.Error(), "\n")
	return strings.ToValidUTF8(text[:min(len(text), 300)], "")
}

// failed reports that reading does not work. The log has one warning until the
// reason changes or a day has passed. The caller of the package is told only if the
// failure lasts, because a connection that is lost often comes back at once.
func (d *desk) failed(what string, err error, pause time.Duration) {
	d.times++
	level := slog.LevelDebug
	same := strings.Map(func(r rune) rune { // the numbers of ports, mails and seconds differ each time
		if r >= '0' && r <= '9' {
			return -1
		}
		return r
	}, err.Error())
	if now := time.Now(); same != d.told || now.Sub(d.at) >= 24*time.Hour {
		d.told, d.at, level = same, now, slog.LevelWarn
	}
	var stop errStop
	lasting := d.times > 1 || errors.As(err, &stop) && !stop.server || errors.As(err, new(*refusedLogin))
	if d.trouble != nil && lasting {
		d.trouble(err)
		level = min(level, slog.LevelInfo)
	}
	d.log.Log(context.Background(), level, what+"; trying again", "error", err, "in", pause.Round(time.Millisecond))
}

// works reports that reading works.
func (d *desk) works(what string, args ...any) {
	if d.times > 0 {
		d.log.Info(what, args...)
	}
	d.told, d.times = "", 0
	if d.trouble != nil {
		d.trouble(nil)
	}
}

// call turns a panic of take into an error. Otherwise a single bad mail would
// stop the program, and stop it again at every start.
func call(take func(notify.Incoming) error, m notify.Incoming) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = panicked{fmt.Errorf("panic: %v\n%s", v, debug.Stack())}
		}
	}()
	return take(m)
}

// load returns the position, with maps that are not nil.
func (d *desk) load() (Position, error) {
	p, err := d.state.Load()
	if err != nil {
		return Position{}, errStop{err: fmt.Errorf("load the position in the mailbox: %w", err)}
	}
	if p.Failed == nil {
		p.Failed = map[string]int{}
	}
	if now := time.Now(); p.Since.After(now) {
		// The first reading was under a clock that was ahead. Mails that arrive
		// now are older than Since and would never be read.
		p.Since = now.Add(-LookBack).AddDate(0, 0, -1).UTC().Truncate(time.Second)
	}
	if d.again {
		for i := range p.Aside {
			p.Aside[i].Next = time.Time{}
		}
		d.again = false
	}
	return p, nil
}

func (d *desk) save(p Position) error {
	if err := d.state.Save(p); err != nil {
		return errStop{err: fmt.Errorf("save the position in the mailbox: %w", err)}
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
