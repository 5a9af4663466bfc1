package practice

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"net"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/emersion/go-smtp"
)

// Step is a step of the SMTP or IMAP dialogue at which a Fault can occur.
type Step string

// The steps of SMTP (RFC 5321). Any other SMTP verb, in capitals, is a step too.
const (
	StepConnect  Step = "connect" // in place of the greeting
	StepEHLO     Step = "EHLO"
	StepSTARTTLS Step = "STARTTLS"
	StepAUTH     Step = "AUTH"
	StepMAIL     Step = "MAIL"
	StepRCPT     Step = "RCPT"
	StepDATA     Step = "DATA" // the command before the mail
	StepDot      Step = "."    // the dot that ends the mail
	StepRSET     Step = "RSET"
	StepQUIT     Step = "QUIT"
)

// The steps of IMAP (RFC 9051).
const (
	StepGreeting     Step = "IMAP greeting" // in place of the greeting
	StepCapability   Step = "IMAP CAPABILITY"
	StepStartTLS     Step = "IMAP STARTTLS"
	StepLogin        Step = "IMAP LOGIN"
	StepAuthenticate Step = "IMAP AUTHENTICATE"
	StepSelect       Step = "IMAP SELECT" // or EXAMINE
	StepSearch       Step = "IMAP SEARCH"
	StepSizes        Step = "IMAP FETCH RFC822.SIZE"
	StepBody         Step = "IMAP FETCH BODY" // a mail, or a part of it
	StepNoop         Step = "IMAP NOOP"
	StepIdle         Step = "IMAP IDLE"
	StepLogout       Step = "IMAP LOGOUT"
)

// What is the kind of a Fault.
type What int

const (
	// Refuse answers with Reply and does nothing else. An IMAP reply has no tag:
	// "NO [UNAVAILABLE] later"; a greeting is ended by its reply.
	Refuse What = iota
	// HangUp closes the connection instead of doing what was asked.
	HangUp
	// HangUpAfter does the requested action, such as storing the mail at
	// StepDot, and then closes the connection without an answer.
	HangUpAfter
	// Stall neither acts nor answers, and keeps the connection open.
	Stall
	// Garbage answers with a line of Reply, or of bytes that mean nothing if
	// Reply is empty, and keeps the connection open.
	Garbage
	// Bye answers IMAP's untagged BYE with Reply as its text, and hangs up.
	Bye
	// EndlessLine answers with a line that never ends.
	EndlessLine
	// EndlessLiteral answers with an IMAP literal of 4 GiB. At StepBody it is
	// the mail.
	EndlessLiteral
	// EndlessAnswers sends small untagged answers of IMAP, or continuation lines
	// of SMTP, without end.
	EndlessAnswers
	// Drip answers with a line that never ends, a byte a second.
	Drip
)

// Fault is a fault at a step of SMTP or IMAP. It occurs on clear-text
// connections (until STARTTLS) and on connections with TLS from the first byte.
type Fault struct {
	At    Step
	What  What
	Reply string // see Refuse, Garbage and Bye; such as "451 4.3.0 try again later"
	Times int    // how often the fault occurs; 0 for until Mend
}

// refusal returns the Reply as the error that go-smtp expects from a session.
func (f Fault) refusal() *smtp.SMTPError {
	code, text, _ := strings.Cut(f.Reply, " ")
	n, _ := strconv.Atoi(code)
	return &smtp.SMTPError{Code: n, EnhancedCode: smtp.NoEnhancedCode, Message: text}
}

// Break sets a fault. It replaces an earlier fault at the same step.
func (b *Box) Break(f Fault) {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	b.faults[f.At] = &f
}

// Mend removes all faults.
func (b *Box) Mend() {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	clear(b.faults)
}

// faultAt uses up a fault of a step, if there is one. Only the session knows
// when the whole mail has been read. The session therefore handles a Refuse at
// StepDot, and the wire handles all other faults at StepDot. refusal is true if
// the session asks, false if the wire asks.
func (b *Box) faultAt(at Step, refusal bool) (Fault, bool) {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	f := b.faults[at]
	if f == nil || at == StepDot && refusal != (f.What == Refuse) {
		return Fault{}, false
	}
	if f.Times > 0 {
		if f.Times--; f.Times == 0 {
			delete(b.faults, at)
		}
	}
	return *f, true
}

// Freeze makes both servers silent: they accept and keep connections, but
// answer nothing. Thaw or Stop ends it.
func (b *Box) Freeze() {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	if b.thaw == nil {
		b.thaw = make(chan struct{})
	}
}

// Thaw ends Freeze. The servers answer the commands that arrived during the
// freeze.
func (b *Box) Thaw() {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	if b.thaw != nil {
		close(b.thaw)
		b.thaw = nil
	}
}

// Cut drops every open connection. It does not prevent new connections.
func (b *Box) Cut() {
	b.wiring.Lock()
	var open []*wire
	for w := range b.wires {
		open = append(open, w)
	}
	b.wiring.Unlock()
	for _, w := range open {
		w.Close()
	}
}

// Idle says how the IMAP door treats the IDLE command (RFC 2177).
type Idle int

const (
	// IdleWorks announces mail within about 20 ms.
	IdleWorks Idle = iota
	// IdleSilent accepts IDLE but announces nothing, like a router that has
	// dropped the connection.
	IdleSilent
	// IdleMissing does not offer IDLE. A client that has used STARTTLS is
	// offered IDLE nevertheless.
	IdleMissing
)

// SetIdle changes the treatment of IDLE for later commands and connections.
func (b *Box) SetIdle(i Idle) {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	b.idle = i
}

func (b *Box) idling() Idle {
	b.wiring.Lock()
	defer b.wiring.Unlock()
	return b.idle
}

// gate is a listener that wraps each connection in a wire.
type gate struct {
	net.Listener
	box   *Box
	tls   *tls.Config
	smtp  bool
	ready chan struct{} // closed by the first Accept
	once  sync.Once
}

func (b *Box) gate(l net.Listener, inside *tls.Config, smtp bool) *gate {
	return &gate{Listener: l, box: b, tls: inside, smtp: smtp, ready: make(chan struct{})}
}

func (g *gate) Accept() (net.Conn, error) {
	g.once.Do(func() { close(g.ready) })
	c, err := g.Listener.Accept()
	if err != nil {
		return nil, err
	}
	if g.tls != nil {
		c = tls.Server(c, g.tls)
	}
	w := &wire{Conn: c, box: g.box, closed: make(chan struct{})}
	g.box.wiring.Lock()
	g.box.wires[w] = struct{}{}
	g.box.wiring.Unlock()
	if g.smtp {
		return &smtpWire{lineWire: lineWire{wire: w, in: bufio.NewReader(c), newLine: true}, fresh: true}, nil
	}
	return &imapWire{lineWire: lineWire{wire: w, in: bufio.NewReader(c), newLine: true}, fresh: true}, nil
}

// wire is the server's end of a connection. It can be frozen and cut.
type wire struct {
	net.Conn
	box    *Box
	once   sync.Once
	closed chan struct{}

	withhold atomic.Bool // hang up in place of the next answer
}

func (w *wire) Close() error {
	err := error(net.ErrClosed)
	w.once.Do(func() {
		close(w.closed)
		w.box.wiring.Lock()
		delete(w.box.wires, w)
		w.box.wiring.Unlock()
		err = w.Conn.Close()
	})
	return err
}

// pass waits while the box is frozen.
func (w *wire) pass() error {
	for {
		w.box.wiring.Lock()
		thaw := w.box.thaw
		w.box.wiring.Unlock()
		select {
		case <-w.closed:
			return net.ErrClosed
		default:
		}
		if thaw == nil {
			return nil
		}
		select {
		case <-thaw:
		case <-w.closed:
		}
	}
}

// lineWire hands the client's lines to the server one by one, so that a fault
// can occur between them.
type lineWire struct {
	*wire
	in      *bufio.Reader
	pending []byte // rest of the line that is being handed over
	newLine bool   // the next byte from in begins a line
	opaque  bool   // encrypted from here on
}

// read reads the next bytes for the server. It calls begin with each line before
// the server gets the line. If begin returns false, the server does not get it.
func (w *lineWire) read(p []byte, begin func(line []byte) (bool, error)) (int, error) {
	for len(w.pending) == 0 {
		if w.opaque {
			n, err := w.in.Read(p)
			if gone := w.pass(); gone != nil {
				return 0, gone
			}
			return n, err
		}
		line, err := w.in.ReadSlice('\n')
		if len(line) == 0 {
			return 0, err
		}
		if err := w.pass(); err != nil {
			return 0, err
		}
		w.pending = line
		begins := w.newLine
		w.newLine = line[len(line)-1] == '\n'
		if !begins {
			break
		}
		pass, err := begin(line)
		if err != nil {
			return 0, err
		}
		if !pass {
			w.pending = nil
		}
	}
	n := copy(p, w.pending)
	w.pending = w.pending[n:]
	return n, nil
}

// smtpWire is the server's end of an SMTP connection. go-smtp reads and writes
// from the same goroutine.
type smtpWire struct {
	lineWire
	fresh    bool // the greeting has not been written yet
	inMail   bool // between the reply 354 and the final dot
	inLogin  bool // the next line answers a challenge
	starting bool // the client has asked for STARTTLS
}

func (w *smtpWire) Read(p []byte) (int, error) {
	return w.read(p, func(line []byte) (bool, error) {
		f, struck := w.box.faultAt(w.step(line), false)
		if !struck {
			return true, nil
		}
		return w.strike(f, smtpNoise(f.At), f.Reply)
	})
}

// step returns the step of a line from the client; "" for a line of the mail or
// of a login.
func (w *smtpWire) step(line []byte) Step {
	line = bytes.TrimRight(line, "\r\n")
	switch {
	case w.inMail:
		if string(line) != "." {
			return ""
		}
		w.inMail = false
		return StepDot
	case w.inLogin:
		w.inLogin = false
		return ""
	}
	verb, _, _ := bytes.Cut(line, []byte(" "))
	at := Step(bytes.ToUpper(verb))
	w.starting = at == StepSTARTTLS
	return at
}

func (w *smtpWire) Write(p []byte) (int, error) {
	if err := w.pass(); err != nil {
		return 0, err
	}
	if w.fresh {
		w.fresh = false
		if f, struck := w.box.faultAt(StepConnect, false); struck {
			w.strike(f, smtpNoise(f.At), f.Reply)
			w.Close() // a server without a greeting has nothing to say
			return 0, net.ErrClosed
		}
	}
	if w.withhold.Load() {
		w.Close()
		return 0, net.ErrClosed
	}
	if !w.opaque {
		w.inMail = bytes.HasPrefix(p, []byte("354"))
		w.inLogin = bytes.HasPrefix(p, []byte("334"))
		w.opaque = w.starting && bytes.HasPrefix(p, []byte("220"))
	}
	return w.Conn.Write(p)
}
