package mailout

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail/smtp"

	"nestround/notify"
	"nestround/notify/bounded"
)

// Security is how a connection to a mail server is protected.
type Security string

const (
	TLS      Security = "tls"      // from the first byte, usually port 465 (RFC 8314)
	STARTTLS Security = "starttls" // starts in clear, then always switches to TLS; usually port 587
	None     Security = "none"     // in clear; only to this machine
)

// Options configure an [SMTP].
type Options struct {
	Addr     string // host:port
	Security Security
	// User and Password log in. Without a User there is no login.
	User, Password string
	// Mechanism is one of [Mechanisms]; "" for the best that the server offers.
	Mechanism string
	// CA are the certificate authorities that may vouch for the server; nil for
	// the system's authorities.
	CA *x509.CertPool
	// Hello is our name in the greeting; "" for the address of our end of the
	// connection.
	Hello string
	// Timeout limits every step of the dialogue; 0 for a minute. Only the
	// answer to a whole mail may take [FinalTimeout], if that is longer.
	Timeout time.Duration
	// Dial replaces the usual way to connect; nil for the usual way.
	Dial func(ctx context.Context, network, addr string) (net.Conn, error)
}

// FinalTimeout is the longest wait for the server's answer to a whole mail: 10
// minutes by RFC 5321 §4.5.3.2.6. If clients give up earlier, mails arrive
// twice.
const FinalTimeout = 10 * time.Minute

// quitTimeout limits the wait for the server's answer to QUIT. No mail depends
// on that answer.
const quitTimeout = 5 * time.Second

// Mechanisms returns the known login mechanisms, best first. Mechanisms that
// hide the password from the server come before mechanisms that send it.
// CRAM-MD5 is last, because the server must store the password in clear.
func Mechanisms() []string {
	return []string{"SCRAM-SHA-256", "SCRAM-SHA-1", "PLAIN", "LOGIN", "CRAM-MD5"}
}

// SMTP sends through a server (RFC 5321), with a new connection for each mail.
// It is a notify.Sender, and safe for use by several goroutines.
type SMTP struct {
	o    Options
	host string
}

var _ notify.Sender = (*SMTP)(nil)

// NewSMTP checks the options without connecting. It allows unencrypted
// connections only to this machine.
func NewSMTP(o Options) (*SMTP, error) {
	host, port, err := net.SplitHostPort(o.Addr)
	if err != nil || host == "" || port == "" {
		return nil, fmt.Errorf("mail server %q: write it as host:port, such as smtp.example.org:465", o.Addr)
	}
	switch o.Security {
	case TLS, STARTTLS:
	case None:
		if !loopback(host) {
			return nil, fmt.Errorf("mail server %q: security \"none\" is for this machine only; use \"tls\" or \"starttls\"", o.Addr)
		}
	default:
		return nil, fmt.Errorf("mail server %q: security %q is not known; use \"tls\", \"starttls\" or \"none\"", o.Addr, o.Security)
	}
	if o.User == "" && o.Password != "" {
		return nil, fmt.Errorf("mail server %q: there is a password but no user", o.Addr)
	}
	if o.Mechanism != "" && !slices.Contains(Mechanisms(), o.Mechanism) {
		return nil, fmt.Errorf("mail server %q: login by %q is not known; use one of %s",
			o.Addr, o.Mechanism, strings.Join(Mechanisms(), ", "))
	}
	if o.Timeout <= 0 {
		o.Timeout = time.Minute
	}
	if o.Dial == nil {
		o.Dial = new(net.Dialer).DialContext
	}
	return &SMTP{o: o, host: host}, nil
}

// loopback reports whether host is this machine.
func loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// Error says why a mail was not sent.
type Error struct {
	Server string // host:port; "" if no server was asked
	Doing  string // the step: "connect", "log in", "name the recipient", ...
	Code   int    // the server's reply code, RFC 5321 §4.2; 0 if there was no reply
	// MayHaveArrived says that the final dot of the mail was sent and that the
	// server neither confirmed nor refused the mail: the connection ended, the
	// time was over, or the answer cannot be read. The next attempt may then
	// deliver the mail a second time. After a reply of 4yz or 5yz it is false.
	MayHaveArrived bool
	// Err is the reason, without passwords. If it contains words of the server,
	// it is one line of at most [bounded.MaxWords] characters.
	Err error

	permanent bool
}

func (e *Error) Error() string {
	s := "send mail: " + e.Doing
	if e.Server != "" {
		s = fmt.Sprintf("send mail through %s: %s", e.Server, e.Doing)
	}
	if e.MayHaveArrived {
		return fmt.Sprintf("%s: %v; it may have arrived all the same", s, e.Err)
	}
	return fmt.Sprintf("%s: %v", s, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// Temporary reports whether another attempt with the same bytes can help.
// Another attempt is useless after a 5yz reply (RFC 5321 §4.2.1), such as a
// refused login, or if the mail itself is invalid. It may help after all other
// failures: a broken connection, no answer, even an untrusted certificate,
// which happens in foreign networks.
func (e *Error) Temporary() bool { return !e.permanent }

// fail makes an Error from the failure of a step.
func (s *SMTP) fail(ctx context.Context, conn *bounded.Conn, doing string, err error) *Error {
	e := &Error{Server: s.o.Addr, Doing: doing}
	var reply *textproto.Error
	switch ended := conn.Err(); {
	case ended != nil:
		e.Err = ended // the library hides that the connection was ended by its bounds
	case errors.As(last(err), &reply):
		e.Code = reply.Code
		e.permanent = reply.Code/100 == 5
		e.Err = s.redact(err)
	case ctx.Err() != nil:
		// The connection broke because this program closed it.
		e.Err = context.Cause(ctx)
	default:
		e.Err = s.redact(err)
	}
	return e
}

// last returns the last error of several joined errors. The library joins the
// failures of EHLO and of HELO, and the failure of HELO decides.
func last(err error) error {
	for e := err; e != nil; e = errors.Unwrap(e) {
		if several, ok := e.(interface{ Unwrap() []error }); ok {
			all := several.Unwrap()
			return last(all[len(all)-1])
		}
	}
	return err
}

// redact returns err with words that may be shown. A careless server may repeat
// the password in its reply, in clear or as it was encoded for the login.
func (s *SMTP) redact(err error) error {
	if text := bounded.Words(err.Error(), bounded.NewSecrets(s.o.Password)); text != err.Error() {
		return errors.New(text)
	}
	return err
}

// Send implements notify.Sender. It returns nil as soon as the server has
// confirmed the mail; a later failure of the connection does not matter. If ctx
// ends, the current step ends too.
func (s *SMTP) Send(ctx context.Context, m notify.Outgoing) error {
	if err := checkOutgoing(m); err != nil {
		return err
	}
	raw, err := s.connect(ctx)
	if err != nil {
		// The error is this machine's, so it has no words of a server to redact.
		e := &Error{Server: s.o.Addr, Doing: "connect", Err: err}
		if ctx.Err() != nil {
			e.Err = context.Cause(ctx)
		}
		return e
	}
	conn := bounded.New(raw, s.bounds("connect"))
	// Closing the connection ends every operation that waits for it.
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	defer conn.Close()

	c, err := s.greet(ctx, conn)
	if err != nil {
		return err
	}
	if err := s.handOver(ctx, conn, c, m); err != nil {
		return err
	}
	// The server has the mail, so its answer does not matter.
	s.step(ctx, conn, "say goodbye", c.Quit)
	return nil
}

// bounds returns the bounds of a step.
func (s *SMTP) bounds(doing string) bounded.Step {
	b := bounded.Step{Expected: "a short answer", Bytes: bounded.Answer, Time: s.o.Timeout}
	switch doing {
	case "connect":
		b.Expected = "a greeting"
		if s.o.Security == TLS {
			b.Bytes += bounded.Handshake
		}
	case "begin TLS":
		b.Bytes += bounded.Handshake
	case finalDot:
		b.Time = max(s.o.Timeout, FinalTimeout)
	case "say goodbye":
		b.Time = quitTimeout
	}
	return b
}

// finalDot is the step that ends with the server's answer to a whole mail.
const finalDot = "wait for the server to take the mail"

// connect opens the connection, without TLS.
func (s *SMTP) connect(ctx context.Context) (net.Conn, error) {
	dial, cancel := context.WithTimeout(ctx, s.o.Timeout)
	defer cancel()
	conn, err := s.o.Dial(dial, "tcp", s.o.Addr)
	if err != nil {
		return nil, err
	}
	if remote, ok := conn.RemoteAddr().(*net.TCPAddr); ok && s.o.Security == None && !remote.IP.IsLoopback() {
		conn.Close()
		return nil, fmt.Errorf("%s is at %s, which is not this machine, and security is \"none\"", s.host, remote.IP)
	}
	return conn, nil
}

// greet does the greeting, TLS and login on a connection.
func (s *SMTP) greet(ctx context.Context, conn *bounded.Conn) (*smtp.Client, error) {
	protect := &tls.Config{ServerName: s.host, RootCAs: s.o.CA, MinVersion: tls.VersionTLS12}
	hello := s.o.Hello
	if hello == "" {
		hello = literal(conn.LocalAddr())
	}
	inner := net.Conn(conn)
	if s.o.Security == TLS {
		t := tls.Client(conn, protect)
		if err := t.HandshakeContext(ctx); err != nil {
			return nil, s.fail(ctx, conn, "begin TLS", err)
		}
		inner = t
	}
	c, err := smtp.NewClient(inner, s.host)
	if err != nil {
		return nil, s.fail(ctx, conn, "connect", err)
	}
	if err := s.step(ctx, conn, "say hello", func() error { return c.Hello(hello) }); err != nil {
		return nil, err
	}
	if s.o.Security == STARTTLS {
		if offered, _ := c.Extension("STARTTLS"); !offered {
			return nil, s.fail(ctx, conn, "begin TLS", errors.New("the server does not offer STARTTLS"))
		}
		if err := s.step(ctx, conn, "begin TLS", func() error { return c.StartTLS(protect) }); err != nil {
			return nil, err
		}
	}
	if s.o.User == "" {
		return c, nil
	}
	auth, err := s.login(c)
	if err != nil {
		return nil, s.fail(ctx, conn, "log in", err)
	}
	if err := s.step(ctx, conn, "log in", func() error { return c.Auth(&limitedLogin{Auth: auth}) }); err != nil {
		return nil, err
	}
	return c, nil
}

// literal returns the name that SMTP uses for a host without a domain name: its
// address in brackets (RFC 5321 §4.1.3).
func literal(a net.Addr) string {
	tcp, ok := a.(*net.TCPAddr)
	switch {
	case !ok:
		return "localhost"
	case tcp.IP.To4() != nil:
		return "[" + tcp.IP.String() + "]"
	}
	return "[IPv6:" + tcp.IP.String() + "]"
}

// login chooses the login mechanism.
func (s *SMTP) login(c *smtp.Client) (smtp.Auth, error) {
	_, list := c.Extension("AUTH")
	offered := strings.Fields(strings.ToUpper(list))
	if len(offered) == 0 {
		return nil, errors.New("the server offers no login")
	}
	inClear := s.o.Security == None
	for _, m := range Mechanisms() {
		if !slices.Contains(offered, m) || s.o.Mechanism != "" && s.o.Mechanism != m {
			continue
		}
		switch m {
		case "SCRAM-SHA-256":
			return smtp.ScramSHA256Auth(s.o.User, s.o.Password), nil
		case "SCRAM-SHA-1":
			return smtp.ScramSHA1Auth(s.o.User, s.o.Password), nil
		case "PLAIN":
			return smtp.PlainAuth("", s.o.User, s.o.Password, s.host, inClear), nil
		case "LOGIN":
			return smtp.LoginAuth(s.o.User, s.o.Password, s.host, inClear), nil
		case "CRAM-MD5":
			return smtp.CRAMMD5Auth(s.o.User, s.o.Password), nil
		}
	}
	if s.o.Mechanism != "" {
		return nil, fmt.Errorf("the server offers login by %s, not by %s", strings.Join(offered, ", "), s.o.Mechanism)
	}
	return nil, fmt.Errorf("the server offers login by %s only, of which none is known here", strings.Join(offered, ", "))
}

// step runs do, which is one step of the dialogue, with new bounds.
func (s *SMTP) step(ctx context.Context, conn *bounded.Conn, doing string, do func() error) error {
	conn.Begin(s.bounds(doing))
	err := do()
	if err == nil {
		err = conn.Err() // the library also accepts an answer that was cut off
	}
	if err != nil {
		return s.fail(ctx, conn, doing, err)
	}
	return nil
}

// handOver does the mail transaction (RFC 5321 §3.3).
func (s *SMTP) handOver(ctx context.Context, conn *bounded.Conn, c *smtp.Client, m notify.Outgoing) error {
	c.SkipSMTPUTF8(true) // everything is ASCII; asking for SMTPUTF8 could get the mail refused by a later server
	if err := s.step(ctx, conn, "name the sender", func() error { return c.Mail("<" + m.From + ">") }); err != nil {
		return err
	}
	if err := s.step(ctx, conn, "name the recipient", func() error { return c.Rcpt("<" + m.To + ">") }); err != nil {
		return err
	}
	var w io.WriteCloser
	if err := s.step(ctx, conn, "hand over the mail", func() (err error) {
		if w, err = c.Data(); err == nil {
			_, err = w.Write(m.Raw)
		}
		return cmp.Or(err, ctx.Err())
	}); err != nil {
		return err
	}
	// Close writes the final dot and waits for the answer.
	if err := s.step(ctx, conn, finalDot, w.Close); err != nil {
		e := err.(*Error)
		// Close does not say whether the dot could be written.
		no := e.Code/100 == 4 || e.Code/100 == 5
		e.MayHaveArrived = !no && !conn.Lost()
		return e
	}
	return nil
}

// limitedLogin is a login with limits, so that no server can keep this program busy
// with it.
type limitedLogin struct {
	smtp.Auth
	rounds int
}

const (
	// maxRounds is the largest number of challenges of a server. SCRAM, the
	// longest login, has two (RFC 5802, section 5).
	maxRounds = 4
	// maxIterations is the largest number of rounds of hashing that a server
	// may ask for: at most a few seconds of work. RFC 7677, section 4, wants at
	// least 4,096; 600,000 are often advised.
	maxIterations = 2_000_000
)

// iterations is the number of rounds in the first message of a SCRAM server.
var iterations = regexp.MustCompile(`,i=(\d+)`)

// Next implements smtp.Auth.
func (p *limitedLogin) Next(challenge []byte, more bool) ([]byte, error) {
	if p.rounds++; more && p.rounds > maxRounds {
		return nil, errors.New("the server does not come to an end with the login")
	}
	for _, i := range iterations.FindAllSubmatch(challenge, -1) {
		if n, err := strconv.Atoi(string(i[1])); err != nil || n > maxIterations {
			return nil, fmt.Errorf("the server asks for %.20s rounds of hashing, more than %d", i[1], maxIterations)
		}
	}
	return p.Auth.Next(challenge, more)
}
