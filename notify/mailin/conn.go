package mailin

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
	"github.com/emersion/go-sasl"

	"nestround/notify/bounded"
)

// conn is a connection with the mailbox open. It adds what go-imap leaves to
// the caller: a time limit for every command, and protection from commands that
// upset the connection (an empty set of UIDs, a Fetch read halfway, any command
// during IDLE).
type conn struct {
	client   *imapclient.Client
	raw      *bounded.Conn
	timeout  time.Duration
	selected *imap.SelectData
	canIdle  bool
	news     chan struct{} // signalled when the server announces a number of mails
	woken    []time.Time   // times of the last maxWakes announcements that ended a wait
	nesting  nesting
	redact   func(error) error
}

// maxNesting is the largest number of parentheses that may stand open in the
// answers of a step. The library reads nested parts of a mail by recursion
// without a limit, and the text of its error grows with the square of the
// depth. Mails count too, because their bytes are not told apart from the
// answers around them: a mail with more open parentheses is not read.
const maxNesting = 2000

var errNesting = fmt.Errorf("the server's answer has more than %d open parentheses", maxNesting)

// nesting ends a connection with too many open parentheses. It is the
// DebugWriter of the library, which gets all bytes before they are parsed,
// without TLS.
type nesting struct {
	raw  *bounded.Conn
	mu   sync.Mutex
	open int
}

// Write implements io.Writer.
func (n *nesting) Write(p []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, b := range p {
		switch b {
		case '(':
			n.open++
		case ')':
			n.open = max(0, n.open-1)
		}
		if n.open > maxNesting {
			// An error alone would not do, because the library reads on.
			n.raw.End(errNesting)
			return 0, errNesting
		}
	}
	return len(p), nil
}

// begin begins a step.
func (n *nesting) begin() {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.open = 0
}

// refusedLogin means that the server rejected the user or the password.
type refusedLogin struct{ err error }

func (e *refusedLogin) Error() string { return e.err.Error() }

// The budgets of the steps, in bytes. Every other step has that of a short
// answer. The bytes are counted on the wire, with TLS.
const (
	// searchBudget is enough for 46,000 mails, at most 11 bytes each. The search
	// covers 30 days.
	searchBudget = 512 << 10
	// mailBudget is that of a fetch. Every fetch asks for at most MaxSize bytes;
	// the parts of a mail come with its header.
	mailBudget = MaxSize + MaxSize/8 + bounded.Answer
	// waitBudget is enough for the news of a mailbox from which 10,000 mails
	// are being deleted.
	waitBudget = 256 << 10
)

// stepOf returns the bounds of a command.
func stepOf(doing string, limit time.Duration) bounded.Step {
	s := bounded.Step{Bytes: bounded.Answer, Time: limit}
	switch doing {
	case "connect":
		s.Expected, s.Bytes = "a greeting", bounded.Answer+bounded.Handshake
	case "log in":
		s.Expected = "an answer to the login"
	case "search":
		s.Expected, s.Bytes = "a list of mails", searchBudget
	case "fetch a mail", "fetch the parts of a mail":
		s.Expected, s.Bytes = "a mail", mailBudget
	case "ask for sizes":
		s.Expected = "the sizes of mails"
	case "begin to wait", "end waiting":
		s.Expected, s.Bytes = "news of mail", waitBudget
	default:
		s.Expected = "a short answer"
	}
	return s
}

// between are the bounds while there is no command: the server may announce
// news at any time, and the caller may work on a mail as long as it likes.
var between = bounded.Step{Expected: "nothing but news of mail", Bytes: waitBudget}

// command runs f, which sends a command to the server. If f takes too long or
// ctx ends, command closes the connection, which makes f return. After an error
// that is not an imap.Error the connection is unusable.
func command[T any](ctx context.Context, c *conn, limit time.Duration, doing string, f func() (T, error)) (T, error) {
	type answer struct {
		value T
		err   error
	}
	answers := make(chan answer, 1)
	c.raw.Begin(stepOf(doing, limit))
	c.nesting.begin()
	defer c.raw.Begin(between)
	go func() {
		var a answer
		defer func() {
			// The library panics on some answers that it did not expect.
			if v := recover(); v != nil {
				c.raw.Close()
				a.err = fmt.Errorf("the server's answer cannot be read: %v", v)
			}
			answers <- a
		}()
		a.value, a.err = f()
	}()
	t := time.NewTimer(limit)
	defer t.Stop()
	var a answer
	select {
	case a = <-answers:
		if a.err != nil {
			a.err = c.reason(a.err)
		}
	case <-t.C:
		c.raw.Close()
		a.err = &bounded.TooSlow{Step: stepOf(doing, limit)}
	case <-ctx.Done():
		c.raw.Close()
		a.err = context.Cause(ctx)
	}
	if a.err != nil {
		return a.value, fmt.Errorf("%s: %w", doing, a.err)
	}
	return a.value, nil
}

// reason returns the error of a command as it may be shown. The library hides
// that the connection was ended by its bounds.
func (c *conn) reason(err error) error {
	if ended := c.raw.Err(); ended != nil {
		return ended
	}
	return c.redact(err)
}

// open connects, logs in and opens the mailbox read-only.
func (b *IMAP) open(ctx context.Context) (*conn, error) {
	dial, cancel := context.WithTimeout(ctx, b.o.Timeout)
	defer cancel()
	raw, err := b.o.Dial(dial, "tcp", b.o.Addr)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	if remote, ok := raw.RemoteAddr().(*net.TCPAddr); ok && b.o.Security == None && !remote.IP.IsLoopback() {
		raw.Close()
		return nil, fmt.Errorf("connect: %s is at %s, which is not this machine, and security is \"none\"", b.host, remote.IP)
	}
	c := &conn{raw: bounded.New(raw, stepOf("connect", b.o.Timeout)), timeout: b.o.Timeout, news: make(chan struct{}, 1), redact: b.redact}
	c.nesting.raw = c.raw
	if err := b.enter(ctx, c); err != nil {
		c.close()
		return nil, err
	}
	return c, nil
}

func (b *IMAP) enter(ctx context.Context, c *conn) error {
	protect := &tls.Config{ServerName: b.host, RootCAs: b.o.CA, MinVersion: tls.VersionTLS12, NextProtos: []string{"imap"}}
	o := &imapclient.Options{TLSConfig: protect, DebugWriter: &c.nesting, UnilateralDataHandler: &imapclient.UnilateralDataHandler{
		// The library calls this function in the goroutine that reads the
		// connection, so the function must not wait.
		Mailbox: func(d *imapclient.UnilateralDataMailbox) {
			if d.NumMessages != nil {
				select {
				case c.news <- struct{}{}:
				default:
				}
			}
		},
	}}
	var err error
	c.client, err = command(ctx, c, c.timeout, "connect", func() (*imapclient.Client, error) {
		var client *imapclient.Client
		switch b.o.Security {
		case STARTTLS:
			return imapclient.NewStartTLS(c.raw, o)
		case TLS:
			t := tls.Client(c.raw, protect)
			if err := t.HandshakeContext(ctx); err != nil {
				return nil, err
			}
			client = imapclient.New(t, o)
		default:
			client = imapclient.New(c.raw, o)
		}
		return client, client.WaitGreeting()
	})
	if err != nil {
		return err
	}
	if _, err := command(ctx, c, c.timeout, "log in", func() (struct{}, error) {
		return struct{}{}, b.login(c.client)
	}); err != nil {
		return err
	}
	c.selected, err = command(ctx, c, c.timeout, "open the mailbox", func() (*imap.SelectData, error) {
		c.canIdle = c.client.Caps().Has(imap.CapIdle)
		return c.client.Select(b.o.Mailbox, &imap.SelectOptions{ReadOnly: true}).Wait()
	})
	if err == nil && c.selected.UIDValidity == 0 {
		err = errors.New("open the mailbox: the server gives it no UIDVALIDITY, so nothing could be remembered about it")
	}
	return err
}

// login prefers AUTHENTICATE PLAIN (RFC 4616), which also works with non-ASCII
// passwords. It falls back to LOGIN.
func (b *IMAP) login(c *imapclient.Client) error {
	if c.State() == imap.ConnStateAuthenticated {
		return nil // PREAUTH: the server has authenticated us by other means
	}
	var err error
	switch caps := c.Caps(); {
	case slices.Contains(caps.AuthMechanisms(), sasl.Plain):
		err = c.Authenticate(sasl.NewPlainClient("", b.o.User, b.o.Password))
	case caps.Has(imap.CapLoginDisabled):
		return errors.New("the server takes no password here; the security setting may be the wrong one for this port")
	default:
		err = c.Login(b.o.User, b.o.Password).Wait()
	}
	var no *imap.Error
	if errors.As(err, &no) && no.Code != imap.ResponseCodeUnavailable { // RFC 5530 §3
		return &refusedLogin{b.redact(err)}
	}
	return err
}

// redact returns err with words that may be shown. A careless server may repeat
// the password, in clear or as it was encoded for the login, and a hostile one
// may say anything at any length. What the server means is kept.
func (b *IMAP) redact(err error) error {
	secrets := bounded.NewSecrets(b.o.Password)
	var no *imap.Error
	if errors.As(err, &no) {
		said := *no
		said.Code = imap.ResponseCode(bounded.Words(string(no.Code), secrets))
		said.Text = bounded.Words(no.Text, secrets)
		return &said
	}
	if text := bounded.Words(err.Error(), secrets); text != err.Error() {
		return errors.New(text)
	}
	return err
}

// sizes asks for RFC822.SIZE. If a UID gets no answer, its mail is gone.
func (c *conn) sizes(ctx context.Context, uids []uint32) (map[uint32]int64, error) {
	sizes := map[uint32]int64{}
	if len(uids) == 0 {
		return sizes, nil
	}
	var set imap.UIDSet
	for _, uid := range uids {
		set.AddNum(imap.UID(uid))
	}
	got, err := command(ctx, c, c.timeout, "ask for sizes", func() ([]*imapclient.FetchMessageBuffer, error) {
		return c.client.Fetch(set, &imap.FetchOptions{UID: true, RFC822Size: true}).Collect()
	})
	for _, m := range got {
		sizes[uint32(m.UID)] = m.RFC822Size
	}
	return sizes, err
}

// wait returns when there may be mail: when the server announces mail, or after
// poll. It sends the server a command at least every maxIdle. If quiet is set,
// it ignores announcements.
func (c *conn) wait(ctx context.Context, poll time.Duration, quiet bool) error {
	limit := poll
	news := c.news
	if quiet {
		news = nil
	}
	if pause := c.tired(time.Now()); pause > 0 {
		news, limit = nil, min(limit, pause)
	}
	var idle *imapclient.IdleCommand
	if c.canIdle {
		limit = min(limit, maxIdle)
		var err error
		if idle, err = command(ctx, c, c.timeout, "begin to wait", c.client.Idle); err != nil {
			return err
		}
	}
	t := time.NewTimer(limit)
	defer t.Stop()
	select {
	case <-t.C:
	case <-news:
		c.woken = append(c.woken, time.Now())
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-c.client.Closed():
		return errors.New("wait for mail: the server has closed the connection")
	}
	if idle == nil {
		return nil
	}
	_, err := command(ctx, c, c.timeout, "end waiting", func() (struct{}, error) {
		if err := idle.Close(); err != nil {
			return struct{}{}, err
		}
		return struct{}{}, idle.Wait()
	})
	return err
}

// A server that announces mail without end wakes the reader at most maxWakes
// times in wakesPer. A keeper's replies come far more slowly.
const (
	maxWakes = 20
	wakesPer = time.Minute
)

// tired returns how long announcements are to be ignored; 0 if they are not.
func (c *conn) tired(now time.Time) time.Duration {
	if n := len(c.woken) - maxWakes; n > 0 {
		c.woken = slices.Delete(c.woken, 0, n)
	}
	if len(c.woken) < maxWakes {
		return 0
	}
	return max(0, wakesPer-now.Sub(c.woken[0]))
}

// maxFound is the largest number of mails that a search may name. It is more
// than searchBudget holds, if the server lists them; a server may also name a
// range.
const maxFound = 50_000

// search returns the UIDs that the server finds.
func (c *conn) search(ctx context.Context, criteria *imap.SearchCriteria) ([]imap.UID, error) {
	found, err := command(ctx, c, c.timeout, "search", func() (*imap.SearchData, error) {
		return c.client.UIDSearch(criteria, nil).Wait()
	})
	if err != nil {
		return nil, err
	}
	set, _ := found.All.(imap.UIDSet)
	n := uint64(0)
	for _, r := range set {
		if r.Start == 0 || r.Stop < r.Start {
			return nil, errors.New("search: the server names mails without a number")
		}
		if n += uint64(r.Stop-r.Start) + 1; n > maxFound {
			return nil, fmt.Errorf("search: the server names more than %d mails", maxFound)
		}
	}
	uids, _ := set.Nums()
	return uids, nil
}

// logout says goodbye to the server. A failure to do so does no harm.
func (c *conn) logout(ctx context.Context) {
	command(ctx, c, min(c.timeout, 5*time.Second), "log out", func() (struct{}, error) {
		return struct{}{}, c.client.Logout().Wait()
	})
}

// close ends the connection, even during a command.
func (c *conn) close() { c.raw.Close() }
