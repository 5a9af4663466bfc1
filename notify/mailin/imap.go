package mailin

import (
	"cmp"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-imap/v2"

	"nestround/notify"
)

// Security is how a connection to a mail server is protected.
type Security string

const (
	TLS      Security = "tls"      // from the first byte, usually port 993 (RFC 8314)
	STARTTLS Security = "starttls" // starts in clear, then always switches to TLS; usually port 143
	None     Security = "none"     // in clear; only to this machine
)

// maxIdle is the longest duration of an IDLE command. RFC 2177 allows 29
// minutes, but many routers drop a silent connection after ten.
const maxIdle = 9 * time.Minute

// Options configure an [IMAP].
type Options struct {
	Addr           string // host:port
	Security       Security
	User, Password string
	// CA are the certificate authorities that may vouch for the server; nil for
	// the system's authorities.
	CA      *x509.CertPool
	Mailbox string // "" for INBOX
	// Poll is the interval at which Watch looks for mail that the server did
	// not announce, or for any mail if the server has no IDLE; 0 for 10
	// minutes.
	Poll time.Duration
	// Timeout limits every command; 0 for a minute. Fetching a mail may take
	// five times as long. A connection that exceeds the limit is closed.
	Timeout time.Duration
	// Retry is the pause before the first attempt to reconnect; 0 for a second.
	// The pause doubles with every failure, up to RetryMax; 0 for five minutes.
	// A part of each pause is random.
	Retry, RetryMax time.Duration
	State           State        // required
	Log             *slog.Logger // nil for slog's default
	// Trouble is called when reading does not work, at every attempt, and with
	// nil whenever it works. A connection that is lost and comes back at once
	// is no trouble. nil: nobody is told except the log.
	Trouble func(error)
	// Again offers the mails that were set aside at once.
	Again bool
	// Dial replaces the usual way to connect; nil for the usual way.
	Dial func(ctx context.Context, network, addr string) (net.Conn, error)
}

// IMAP reads a mailbox on a server (RFC 3501). It is a notify.Inbox. It opens
// the mailbox read-only, so it cannot change a flag.
type IMAP struct {
	o    Options
	host string
	desk desk
	mu   sync.Mutex // held during a round of reading
	// broke has the mails at which the connection ended, until they are taken.
	// They are fetched last, so that they do not keep the others from being
	// read.
	broke map[uint32]bool
}

var _ notify.Inbox = (*IMAP)(nil)

// NewIMAP checks the options without connecting. It allows unencrypted
// connections only to this machine.
func NewIMAP(o Options) (*IMAP, error) {
	host, port, err := net.SplitHostPort(o.Addr)
	if err != nil || host == "" || port == "" {
		return nil, fmt.Errorf("mailbox at %q: write the server as host:port, such as imap.example.org:993", o.Addr)
	}
	switch o.Security {
	case TLS, STARTTLS:
	case None:
		if !loopback(host) {
			return nil, fmt.Errorf("mailbox at %q: security \"none\" is for this machine only; use \"tls\" or \"starttls\"", o.Addr)
		}
	default:
		return nil, fmt.Errorf("mailbox at %q: security %q is not known; use \"tls\", \"starttls\" or \"none\"", o.Addr, o.Security)
	}
	if o.User == "" || o.Password == "" {
		return nil, fmt.Errorf("mailbox at %q: it needs a user and a password", o.Addr)
	}
	if o.State == nil {
		return nil, fmt.Errorf("mailbox at %q: there is nowhere to keep the position", o.Addr)
	}
	o.Mailbox = cmp.Or(o.Mailbox, "INBOX")
	o.Poll = orDefault(o.Poll, 10*time.Minute)
	o.Timeout = orDefault(o.Timeout, time.Minute)
	o.Retry = orDefault(o.Retry, time.Second)
	o.RetryMax = max(orDefault(o.RetryMax, 5*time.Minute), o.Retry)
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Dial == nil {
		o.Dial = new(net.Dialer).DialContext
	}
	return &IMAP{o: o, host: host, broke: map[uint32]bool{}, desk: desk{state: o.State, log: o.Log, trouble: o.Trouble, again: o.Again}}, nil
}

func orDefault(d, otherwise time.Duration) time.Duration {
	if d <= 0 {
		return otherwise
	}
	return d
}

// loopback reports whether host is this machine.
func loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

func (b *IMAP) wrap(err error) error {
	return &ReadError{Mailbox: b.o.Mailbox, Server: b.o.Addr, Err: err}
}

// Read implements notify.Inbox.
func (b *IMAP) Read(ctx context.Context, take func(notify.Incoming) error) error {
	c, err := b.open(ctx)
	if err != nil {
		return b.wrap(err)
	}
	defer c.close()
	if err := b.round(ctx, c, take); err != nil {
		return b.wrap(err)
	}
	c.logout(ctx)
	return nil
}

// Watch implements notify.Inbox. It keeps one connection open. It logs when the
// connection is lost and when it is back.
func (b *IMAP) Watch(ctx context.Context, take func(notify.Incoming) error) error {
	for failures := 0; ctx.Err() == nil; {
		began := time.Now()
		err := b.stay(ctx, take)
		if ctx.Err() != nil {
			break
		}
		if time.Since(began) > b.o.RetryMax {
			failures = 0 // the connection worked for a good while
		}
		pause := backoff(failures, b.o.Retry, b.o.RetryMax, rand.Float64())
		if errors.As(err, new(*refusedLogin)) {
			// Repeated attempts with a wrong password can lock the account.
			pause = b.o.RetryMax
		}
		failures++
		b.desk.failed("the mailbox cannot be watched", b.wrap(err), pause)
		sleep(ctx, pause)
	}
	return ctx.Err()
}

// backoff returns the pause after the nth failure in a row, counted from 0. The
// longest possible pause doubles with each failure, up to most. The pause is a
// random time between half of the longest and the longest, so that many clients
// do not reconnect at once. chance, from 0 to 1, decides.
func backoff(n int, first, most time.Duration, chance float64) time.Duration {
	d := most
	if n < 30 && first<<n < most && first<<n > 0 {
		d = first << n
	}
	return d/2 + time.Duration(chance*float64(d/2))
}

// stay connects and reads until the connection is lost.
func (b *IMAP) stay(ctx context.Context, take func(notify.Incoming) error) error {
	c, err := b.open(ctx)
	if err != nil {
		return err
	}
	defer c.close()
	for stops := 0; ; {
		err := b.round(ctx, c, take)
		pause := b.o.Poll
		var stop errStop
		switch {
		case errors.As(err, &stop):
			pause = backoff(stops, b.o.Retry, min(b.o.RetryMax, b.o.Poll), rand.Float64())
			stops++
			b.desk.failed("reading the mailbox was interrupted", b.wrap(err), pause)
		case err != nil:
			return err
		default:
			stops = 0
			b.desk.works("the mailbox is being watched again", "mailbox", b.o.Mailbox, "server", b.o.Addr)
		}
		if err := c.wait(ctx, pause, stop.err != nil && !stop.server); err != nil {
			return err
		}
		if _, err := command(ctx, c, b.o.Timeout, "look for news", func() (struct{}, error) {
			return struct{}{}, c.client.Noop().Wait()
		}); err != nil {
			return err
		}
		select {
		case <-c.news: // the next round sees all mail announced so far
		default:
		}
	}
}

// round offers every mail that has not been handled yet.
func (b *IMAP) round(ctx context.Context, c *conn, take func(notify.Incoming) error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	pos, err := b.desk.load()
	if err != nil {
		return err
	}
	uids, err := b.find(ctx, c, &pos)
	if err != nil {
		return err
	}
	handled := map[uint32]bool{}
	for _, uid := range pos.Done {
		handled[uid] = true
	}
	var aside []uint32
	for _, key := range pos.due(time.Now()) {
		if uid, err := strconv.ParseUint(key, 10, 32); err == nil {
			aside = append(aside, uint32(uid))
		}
	}
	for _, uid := range aside {
		delete(handled, uid)
	}
	wanted := slices.DeleteFunc(slices.Concat(uids, aside), func(uid uint32) bool { return handled[uid] })
	slices.SortStableFunc(wanted, func(x, y uint32) int { return boolInt(b.broke[x]) - boolInt(b.broke[y]) })
	if len(wanted) == 0 && len(uids) > 0 {
		pos.advance(uids, handled)
		return b.desk.save(pos)
	}
	var passing error
	for chunk := range slices.Chunk(wanted, batch) {
		waits, err := b.take(ctx, c, chunk, handled, &pos, take)
		// Save the handled mails even if an error came later.
		if len(uids) > 0 {
			pos.advance(uids, handled)
		}
		if err := errors.Join(err, b.desk.save(pos)); err != nil {
			return err
		}
		passing = cmp.Or(passing, waits)
	}
	return passing
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// find returns the UIDs of the mails to look at, in order. It resets the
// position if the position belongs to another mailbox, or if the server has
// given all mails new numbers.
func (b *IMAP) find(ctx context.Context, c *conn, pos *Position) ([]uint32, error) {
	mailbox := b.o.User + " " + b.host + " " + b.o.Mailbox
	fresh := pos.Mailbox != mailbox || pos.UIDValidity != c.selected.UIDValidity
	if fresh {
		if pos.Mailbox == mailbox {
			b.o.Log.Warn("the server has numbered the mails anew; reading those of the last 30 days again",
				"mailbox", b.o.Mailbox, "server", b.o.Addr)
		}
		*pos = Position{
			Mailbox: mailbox, UIDValidity: c.selected.UIDValidity, UIDNext: 1, Failed: map[string]int{},
			// SINCE compares dates in the server's zone, so subtract one more
			// day.
			Since: time.Now().Add(-LookBack).AddDate(0, 0, -1).UTC().Truncate(time.Second),
		}
	}
	criteria := &imap.SearchCriteria{
		UID:   []imap.UIDSet{{{Start: imap.UID(pos.UIDNext)}}}, // up to the last mail
		Since: pos.Since,
	}
	found, err := c.search(ctx, criteria)
	if err != nil {
		return nil, passing(err)
	}
	var uids []uint32
	for _, uid := range found {
		// "n:*" includes the last mail even if its UID is below n.
		if uint32(uid) >= pos.UIDNext {
			uids = append(uids, uint32(uid))
		}
	}
	slices.Sort(uids)
	uids = slices.Compact(uids)
	if fresh {
		if err := b.desk.save(*pos); err != nil {
			return nil, err
		}
	}
	return uids, nil
}

// take offers the given mails, and adds the mails that are dealt with to handled.
// waits says that the server cannot give some mail at present; the others are
// dealt with nevertheless.
func (b *IMAP) take(ctx context.Context, c *conn, uids []uint32, handled map[uint32]bool, pos *Position, take func(notify.Incoming) error) (waits, err error) {
	sizes, err := c.sizes(ctx, uids)
	if err != nil {
		return nil, passing(err)
	}
	for _, uid := range uids {
		key := strconv.FormatUint(uint64(uid), 10)
		size, there := sizes[uid]
		if !there {
			handled[uid] = true // deleted since the search
			pos.forget(key)
			continue
		}
		m := notify.Incoming{Ref: fmt.Sprintf("%s;UIDVALIDITY=%d;UID=%d", b.o.Mailbox, pos.UIDValidity, uid), Size: size}
		m.Raw, m.TooLarge, err = c.mail(ctx, uid, size, !b.broke[uid])
		var no *imap.Error
		switch {
		case errors.As(err, &no) && isPassing(no):
			waits = errStop{fmt.Errorf("mail %s: %w", m.Ref, err), true}
			continue
		case errors.As(err, &no):
			// A mail that the server cannot read must not block the next
			// mails.
			handled[uid] = b.desk.failure(pos, key, m.Ref, err)
			continue
		case err != nil:
			b.broke[uid] = true
			return nil, err
		case m.Raw == nil:
			// The mail was deleted after the search, or the server keeps it
			// back. The next search tells.
			waits = errStop{fmt.Errorf("mail %s: the server has listed it and does not send it", m.Ref), true}
			continue
		}
		done, err := b.desk.offer(ctx, pos, key, m, take)
		if err != nil {
			return nil, err
		}
		handled[uid] = done
		delete(b.broke, uid)
	}
	return waits, nil
}

// isPassing reports whether a refusal speaks of a state of the server that
// passes or that people mend, and not of a mail (RFC 5530, section 3).
func isPassing(no *imap.Error) bool {
	switch no.Code {
	case imap.ResponseCodeUnavailable, imap.ResponseCodeInUse, imap.ResponseCodeLimit, imap.ResponseCodeOverQuota,
		imap.ResponseCodeContactAdmin, imap.ResponseCodeExpired, imap.ResponseCodeNoPerm,
		imap.ResponseCodeAuthorizationFailed, imap.ResponseCodePrivacyRequired:
		return true
	}
	return no.Type == imap.StatusResponseTypeBye
}

// passing makes an error that does not end the connection of a refusal that
// passes.
func passing(err error) error {
	var no *imap.Error
	if errors.As(err, &no) && isPassing(no) {
		return errStop{err, true}
	}
	return err
}

// advance moves the position past the handled UIDs. uids must be sorted and
// include all UIDs from the old position on.
func (p *Position) advance(uids []uint32, handled map[uint32]bool) {
	first := slices.IndexFunc(uids, func(uid uint32) bool { return !handled[uid] })
	p.Done = nil
	if first < 0 {
		p.UIDNext = uids[len(uids)-1] + 1
		clear(p.Failed)
		return
	}
	p.UIDNext = uids[first]
	for _, uid := range uids[first:] {
		if handled[uid] {
			p.Done = append(p.Done, uid)
		}
	}
	for key := range p.Failed {
		if uid, err := strconv.ParseUint(key, 10, 32); err != nil || uint32(uid) < p.UIDNext {
			delete(p.Failed, key)
		}
	}
}
