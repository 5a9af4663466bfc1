// Package practice is a mail server inside the process: it takes mail by SMTP
// and shows it by IMAP, in memory and on the loopback interface only. It is for
// people who try the program without a mail account, and for tests, which can
// make it fail.
//
// Start with [New], [Box.AddUser] and [Box.Start]. [Box.Deliver] puts a mail
// into a mailbox as a foreign server would. [Box.Messages] shows the mails that
// have arrived. [Box.Break], [Box.Freeze], [Box.Cut], [Box.SetIdle],
// [Box.ResetUIDValidity] and [Box.LoseInbox] cause faults.
//
// It relays nothing, stores nothing on disk, and checks no signatures. It joins
// go-smtp with go-imap's in-memory server, and works around that server's
// missed announcements in IDLE.
package practice

import (
	"bytes"
	"crypto/subtle"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/mail"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"
	"github.com/emersion/go-smtp"
)

// Inbox is the only mailbox that mail is delivered to.
const Inbox = "INBOX"

// Box is the server with the mailboxes of its users. Its methods are safe for
// use by several goroutines.
type Box struct {
	// RequireAuth rejects mail from clients that have not logged in, like a
	// provider's submission port. Set it before Start.
	RequireAuth bool
	// OnlyLogin makes the IMAP door offer LOGIN and no AUTHENTICATE. It has no
	// effect after STARTTLS. Set it before Start.
	OnlyLogin bool
	// Log receives the servers' complaints; nil discards them. It never
	// receives a password. Set it before Start.
	Log *slog.Logger

	imap *imapmemserver.Server

	mail  sync.Mutex // protects users and their mails
	users map[string]*user

	// wiring protects all fields that mail does not protect. There are two
	// locks, because the in-memory server keeps a mailbox locked while it
	// writes a mail to a client.
	wiring  sync.Mutex
	faults  map[Step]*Fault
	idle    Idle
	thaw    chan struct{} // closed by Thaw; nil if not frozen
	wires   map[*wire]struct{}
	addrs   [doors]string // addresses to listen on; kept after Stop
	closers []func() error
	serving sync.WaitGroup
}

// user is the owner of a mailbox. mails are all mails that ever arrived in the
// inbox.
type user struct {
	address, password string
	memory            *imapmemserver.User
	mails             []stored
}

type stored struct {
	raw      []byte
	received time.Time
}

// The doors of a Box, in the order in which Start opens them.
const (
	doorSMTP = iota
	doorIMAP
	doorSMTPS
	doorIMAPS
	doors
)

// New returns a Box without users.
func New() *Box {
	return &Box{
		imap:   imapmemserver.New(),
		users:  map[string]*user{},
		faults: map[Step]*Fault{},
		wires:  map[*wire]struct{}{},
	}
}

// AddUser opens a mailbox. The user logs in to SMTP and IMAP with the whole
// address. Mail to local+anything@domain arrives too. Case does not matter.
func (b *Box) AddUser(address, password string) error {
	a, err := mail.ParseAddress(address)
	if err != nil {
		return fmt.Errorf("add practice mailbox %q: %w", address, err)
	}
	name := strings.ToLower(a.Address)
	b.mail.Lock()
	defer b.mail.Unlock()
	if b.users[name] != nil {
		return fmt.Errorf("add practice mailbox %q: there is one already", name)
	}
	u := &user{address: name, password: password, memory: imapmemserver.NewUser(name, password)}
	if err := u.memory.Create(Inbox, nil); err != nil {
		return fmt.Errorf("add practice mailbox %q: %w", name, err)
	}
	b.users[name] = u
	b.imap.AddUser(u.memory)
	return nil
}

// Deliver puts a mail into the mailbox of the address to, as arrived now.
func (b *Box) Deliver(to string, raw []byte) error {
	return b.DeliverAt(to, raw, time.Now())
}

// DeliverAt does the same as Deliver, but the mail counts as arrived at the
// time received (IMAP's INTERNALDATE, which SEARCH SINCE compares).
func (b *Box) DeliverAt(to string, raw []byte, received time.Time) error {
	b.mail.Lock()
	defer b.mail.Unlock()
	u := b.owner(to)
	if u == nil {
		return fmt.Errorf("deliver practice mail: no mailbox for %q", to)
	}
	return u.put(raw, received)
}

// Messages returns every mail that has arrived in a user's inbox, oldest first,
// byte for byte. It includes mails that the user has deleted.
func (b *Box) Messages(address string) [][]byte {
	b.mail.Lock()
	defer b.mail.Unlock()
	var out [][]byte
	if u := b.owner(address); u != nil {
		for _, m := range u.mails {
			out = append(out, bytes.Clone(m.raw))
		}
	}
	return out
}

// ResetUIDValidity gives a user's inbox a new UIDVALIDITY and its mails new
// UIDs, like a restored backup or a moved account. Deleted mails come back. It
// cuts IMAP connections.
func (b *Box) ResetUIDValidity(address string) error {
	b.mail.Lock()
	u := b.owner(address)
	if u == nil {
		b.mail.Unlock()
		return fmt.Errorf("reset practice mailbox: no mailbox for %q", address)
	}
	u.memory.Delete(Inbox) // this fails after LoseInbox, which does not matter
	err := u.memory.Create(Inbox, nil)
	old := u.mails
	u.mails = nil
	for _, m := range old {
		err = errors.Join(err, u.put(m.raw, m.received))
	}
	b.mail.Unlock()
	b.Cut()
	return err
}

// LoseInbox removes a user's inbox, like an account that was closed or moved:
// clients can log in, but not open it. It cuts IMAP connections.
// ResetUIDValidity brings the inbox back.
func (b *Box) LoseInbox(address string) error {
	b.mail.Lock()
	u := b.owner(address)
	if u == nil {
		b.mail.Unlock()
		return fmt.Errorf("lose practice mailbox: no mailbox for %q", address)
	}
	err := u.memory.Delete(Inbox)
	b.mail.Unlock()
	b.Cut()
	return err
}

// owner finds the mailbox of an address, with or without a +tag. The caller
// holds b.mail.
func (b *Box) owner(address string) *user {
	address = strings.ToLower(address)
	if u := b.users[address]; u != nil {
		return u
	}
	local, domain, _ := strings.Cut(address, "@")
	local, _, _ = strings.Cut(local, "+")
	return b.users[local+"@"+domain]
}

// put stores a mail. The caller holds the Box's mail lock.
func (u *user) put(raw []byte, received time.Time) error {
	raw = bytes.Clone(raw)
	if _, err := u.memory.Append(Inbox, bytes.NewReader(raw), &imap.AppendOptions{Time: received}); err != nil {
		return fmt.Errorf("store practice mail: %w", err)
	}
	u.mails = append(u.mails, stored{raw, received})
	return nil
}

// login checks a password. The name is the user's whole address.
func (b *Box) login(name, password string) (*user, bool) {
	b.mail.Lock()
	defer b.mail.Unlock()
	u := b.users[strings.ToLower(name)]
	if u == nil || subtle.ConstantTimeCompare([]byte(u.password), []byte(password)) != 1 {
		return nil, false
	}
	return u, true
}

// Start opens the doors on free ports of the loopback interface. With a TLS
// configuration there are four doors: SMTP and IMAP that accept a login only
// after STARTTLS, and both with TLS from the first byte. With nil there are two
// doors, which accept a login in clear text. After Stop, Start opens the same
// ports again.
func (b *Box) Start(cfg *tls.Config) error {
	var listeners [doors]net.Listener
	for door := range listeners {
		if cfg == nil && door >= doorSMTPS {
			break
		}
		b.wiring.Lock()
		addr := b.addrs[door]
		b.wiring.Unlock()
		if addr == "" {
			addr = "127.0.0.1:0"
		}
		l, err := net.Listen("tcp", addr)
		if err != nil {
			for _, l := range listeners[:door] {
				l.Close()
			}
			return fmt.Errorf("start practice mail server: %w", err)
		}
		listeners[door] = l
	}
	for door, l := range listeners {
		if l == nil {
			continue
		}
		b.wiring.Lock()
		b.addrs[door] = l.Addr().String()
		b.wiring.Unlock()
		offer, inside := cfg, (*tls.Config)(nil)
		if door >= doorSMTPS {
			offer, inside = nil, cfg
		}
		if door == doorSMTP || door == doorSMTPS {
			b.serveSMTP(l, offer, inside)
		} else {
			b.serveIMAP(l, offer, inside)
		}
	}
	return nil
}

// Serve serves clear-text SMTP and IMAP on the caller's listeners, such as a
// [Pipe]; either may be nil. Stop closes them.
func (b *Box) Serve(smtp, imap net.Listener) {
	if smtp != nil {
		b.serveSMTP(smtp, nil, nil)
	}
	if imap != nil {
		b.serveIMAP(imap, nil, nil)
	}
}

// SMTP returns host:port of the door for outgoing mail (with STARTTLS if Start
// got a TLS configuration); "" before Start.
func (b *Box) SMTP() string { return b.addr(doorSMTP) }

// IMAP returns host:port of the door to the mailboxes; "" before Start.
func (b *Box) IMAP() string { return b.addr(doorIMAP) }

// SMTPS returns host:port of SMTP with TLS from the first byte; "" without TLS.
func (b *Box) SMTPS() string { return b.addr(doorSMTPS) }

// IMAPS returns host:port of IMAP with TLS from the first byte; "" without TLS.
func (b *Box) IMAPS() string { return b.addr(doorIMAPS) }

func (b *Box) addr(door int) string {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	return b.addrs[door]
}

// serveSMTP starts a go-smtp server behind l. offer is the TLS for STARTTLS.
// inside is the TLS with which every connection begins. At most one is set.
func (b *Box) serveSMTP(l net.Listener, offer, inside *tls.Config) {
	s := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		return &smtpSession{box: b}, nil
	}))
	s.Domain = "practice.invalid"
	s.TLSConfig = offer
	s.AllowInsecureAuth = offer == nil
	s.ErrorLog = complaints{b.Log}
	gate := b.gate(l, inside, true)
	b.serve(gate, s.Close, func() error { return s.Serve(gate) })
}

// serveIMAP starts a go-imap server behind l; see serveSMTP.
func (b *Box) serveIMAP(l net.Listener, offer, inside *tls.Config) {
	s := imapserver.New(&imapserver.Options{
		NewSession: func(*imapserver.Conn) (imapserver.Session, *imapserver.GreetingData, error) {
			return &imapSession{SessionIMAP4rev2: b.imap.NewSession().(imapserver.SessionIMAP4rev2), box: b}, nil, nil
		},
		Caps:         imap.CapSet{imap.CapIMAP4rev1: {}, imap.CapUIDPlus: {}, imap.CapMove: {}, imap.CapNamespace: {}},
		TLSConfig:    offer,
		InsecureAuth: offer == nil,
		Logger:       complaints{b.Log},
	})
	gate := b.gate(l, inside, false)
	b.serve(gate, s.Close, func() error { return s.Serve(gate) })
}

// serve starts an accept loop in the background, and returns as soon as the
// loop accepts connections. It waits because both libraries have a data race if
// Close is called before their loop begins.
func (b *Box) serve(g *gate, stop, loop func() error) {
	b.wiring.Lock()
	b.closers = append(b.closers, stop, g.Close)
	b.wiring.Unlock()
	b.serving.Go(func() {
		if err := loop(); err != nil && !errors.Is(err, net.ErrClosed) {
			complaints{b.Log}.Printf("practice mail server stopped: %v", err)
		}
	})
	<-g.ready
}

// Stop kills the servers and every connection, like a server that goes down. It
// keeps users, mails and ports. Start opens the servers again.
func (b *Box) Stop() {
	b.Cut()
	b.Thaw()
	b.wiring.Lock()
	closers := b.closers
	b.closers = nil
	b.wiring.Unlock()
	for _, c := range closers {
		c() // an already closed listener is fine
	}
	b.serving.Wait()
	b.Cut() // connections that arrived meanwhile
}

// Close stops the servers. It always returns nil, so a Box is an io.Closer.
func (b *Box) Close() error {
	b.Stop()
	return nil
}

// complaints is the logger that both libraries need.
type complaints struct{ log *slog.Logger }

func (c complaints) Printf(format string, args ...any) {
	if c.log != nil {
		c.log.Debug("practice mail server", "says", strings.TrimSpace(fmt.Sprintf(format, args...)))
	}
}

func (c complaints) Println(args ...any) { c.Printf("%s", fmt.Sprintln(args...)) }
