package mailin

import (
	"context"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
	"github.com/emersion/go-sasl"
)

// conn is a connection with the mailbox open. It adds what go-imap leaves to
// the caller: a time limit for every command, and protection from commands that
// upset the connection (an empty set of UIDs, a Fetch read halfway, any command
// during IDLE).
type conn struct {
	client   *imapclient.Client
	raw      net.Conn
	timeout  time.Duration
	selected *imap.SelectData
	canIdle  bool
	news     chan struct{} // signalled when the server announces a number of mails
	redact   func(error) error
}

// refusedLogin means that the server rejected the user or the password.
type refusedLogin struct{ err error }

func (e *refusedLogin) Error() string { return e.err.Error() }

// command runs f, which sends a command to the server. If f takes too long or
// ctx ends, command closes the connection, which makes f return. After an error
// that is not an imap.Error the connection is unusable.
func command[T any](ctx context.Context, c *conn, limit time.Duration, doing string, f func() (T, error)) (T, error) {
	type answer struct {
		value T
		err   error
	}
	answers := make(chan answer, 1)
	go func() {
		v, err := f()
		answers <- answer{v, err}
	}()
	t := time.NewTimer(limit)
	defer t.Stop()
	var a answer
	select {
	case a = <-answers:
		if a.err != nil {
			a.err = c.redact(a.err)
		}
	case <-t.C:
		c.raw.Close()
		a.err = fmt.Errorf("no answer within %s", limit)
	case <-ctx.Done():
		c.raw.Close()
		a.err = context.Cause(ctx)
	}
	if a.err != nil {
		return a.value, fmt.Errorf("%s: %w", doing, a.err)
	}
	return a.value, nil
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
	c := &conn{raw: raw, timeout: b.o.Timeout, news: make(chan struct{}, 1), redact: b.redact}
	if err := b.enter(ctx, c); err != nil {
		c.close()
		return nil, err
	}
	return c, nil
}

func (b *IMAP) enter(ctx context.Context, c *conn) error {
	protect := &tls.Config{ServerName: b.host, RootCAs: b.o.CA, MinVersion: tls.VersionTLS12, NextProtos: []string{"imap"}}
	o := &imapclient.Options{TLSConfig: protect, UnilateralDataHandler: &imapclient.UnilateralDataHandler{
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
		switch b.o.Security {
		case STARTTLS:
			return imapclient.NewStartTLS(c.raw, o)
		case TLS:
			t := tls.Client(c.raw, protect)
			if err := t.HandshakeContext(ctx); err != nil {
				return nil, err
			}
			return imapclient.New(t, o), nil
		}
		return imapclient.New(c.raw, o), nil
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
	if err := c.WaitGreeting(); err != nil {
		return err
	}
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

// redact returns err without the password. A careless server may repeat the
// password, in clear or as it was encoded for the login.
func (b *IMAP) redact(err error) error {
	text := err.Error()
	for _, secret := range []string{
		base64.StdEncoding.EncodeToString([]byte("\x00" + b.o.User + "\x00" + b.o.Password)),
		b.o.Password,
	} {
		text = strings.ReplaceAll(text, secret, "[password]")
	}
	if text == err.Error() {
		return err
	}
	return errors.New(text)
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
	var idle *imapclient.IdleCommand
	if c.canIdle {
		limit = min(poll, maxIdle)
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

// logout says goodbye to the server. A failure to do so does no harm.
func (c *conn) logout(ctx context.Context) {
	command(ctx, c, min(c.timeout, 5*time.Second), "log out", func() (struct{}, error) {
		return struct{}{}, c.client.Logout().Wait()
	})
}

// close ends the connection, even during a command.
func (c *conn) close() { c.raw.Close() }
