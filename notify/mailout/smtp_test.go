package mailout_test

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/practice"
)

const (
	lizards  = "lizards@example.org"
	keeper   = "keeper@example.org"
	password = "damp-vermiculite-7"
)

func newBox(t *testing.T) *practice.Box {
	t.Helper()
	b := practice.New()
	for _, a := range []string{keeper, lizards} {
		if err := b.AddUser(a, password); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

// withTLS starts a box that requires a login. It returns the certificate
// authority to trust.
func withTLS(t *testing.T) (*practice.Box, *x509.CertPool) {
	t.Helper()
	cfg, authority, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(authority)
	b := newBox(t)
	b.RequireAuth = true
	if err := b.Start(cfg); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Stop)
	return b, pool
}

func inClear(t *testing.T) *practice.Box {
	t.Helper()
	b := newBox(t)
	if err := b.Start(nil); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Stop)
	return b
}

func sender(t *testing.T, o mailout.Options) *mailout.SMTP {
	t.Helper()
	s, err := mailout.NewSMTP(o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func outgoing(t *testing.T) notify.Outgoing {
	t.Helper()
	m := digest()
	return notify.Outgoing{ID: m.ID, From: lizards, To: keeper, Raw: compose(t, m)}
}

// failure checks the properties of every error, and that the error does not
// contain the password.
func failure(t *testing.T, err error) *mailout.Error {
	t.Helper()
	var e *mailout.Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, want a mailout.Error", err)
	}
	for _, secret := range []string{
		password,
		base64.StdEncoding.EncodeToString([]byte(password)),
		base64.StdEncoding.EncodeToString([]byte("\x00" + lizards + "\x00" + password)),
	} {
		if strings.Contains(fmt.Sprintf("%v %+v %#v", err, err, errors.Unwrap(err)), secret) {
			t.Errorf("the error tells the password: %v", err)
		}
	}
	return e
}

func TestSendOverEachSecurity(t *testing.T) {
	b, pool := withTLS(t)
	clear := newBox(t)
	clear.RequireAuth = true
	if err := clear.Start(nil); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(clear.Stop)
	for _, c := range []struct {
		security  mailout.Security
		addr      string
		mechanism string
		box       *practice.Box
	}{
		{mailout.TLS, b.SMTPS(), "", b},
		{mailout.TLS, b.SMTPS(), "LOGIN", b},
		{mailout.STARTTLS, b.SMTP(), "", b},
		{mailout.STARTTLS, b.SMTP(), "LOGIN", b},
		{mailout.None, clear.SMTP(), "PLAIN", clear},
		{mailout.None, clear.SMTP(), "LOGIN", clear},
	} {
		t.Run(fmt.Sprintf("%s %s", c.security, c.mechanism), func(t *testing.T) {
			s := sender(t, mailout.Options{
				Addr: c.addr, Security: c.security, User: lizards, Password: password, Mechanism: c.mechanism, CA: pool,
			})
			before, m := len(c.box.Messages(keeper)), outgoing(t)
			if err := s.Send(t.Context(), m); err != nil {
				t.Fatal(err)
			}
			got := c.box.Messages(keeper)
			if len(got) != before+1 || !bytes.Equal(got[before], m.Raw) {
				t.Errorf("the mail that arrived differs from the one that was sent")
			}
		})
	}
}

// RFC 5321 §4.5.2: a line that begins with a dot travels with a second dot and
// arrives with the first dot only.
func TestDotsArriveAsSent(t *testing.T) {
	b := inClear(t)
	s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None})
	m := outgoing(t)
	m.Raw = []byte("Subject: dots\r\n\r\n.\r\n..\r\n.x\r\n \r\nend.\r\n.\r\n")
	if err := s.Send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if got := b.Messages(keeper)[0]; !bytes.Equal(got, m.Raw) {
		t.Errorf("arrived as %q", got)
	}
}

func TestNoFallbackToClearText(t *testing.T) {
	b, pool := withTLS(t)
	_, stranger := withTLS(t)
	plain := inClear(t)
	port := func(addr string) string { _, p, _ := net.SplitHostPort(addr); return p }
	for name, o := range map[string]mailout.Options{
		"untrusted certificate, TLS":        {Addr: b.SMTPS(), Security: mailout.TLS, CA: stranger},
		"untrusted certificate, STARTTLS":   {Addr: b.SMTP(), Security: mailout.STARTTLS, CA: stranger},
		"certificate unknown to the system": {Addr: b.SMTPS(), Security: mailout.TLS},
		"STARTTLS not offered":              {Addr: plain.SMTP(), Security: mailout.STARTTLS, CA: pool},
		"TLS to a port without TLS":         {Addr: plain.SMTP(), Security: mailout.TLS, CA: pool, Timeout: 2 * time.Second},
		"certificate for another name": {
			Addr: "mail.example.org:" + port(b.SMTPS()), Security: mailout.TLS, CA: pool,
			Dial: func(ctx context.Context, network, _ string) (net.Conn, error) {
				return new(net.Dialer).DialContext(ctx, network, b.SMTPS())
			},
		},
	} {
		t.Run(name, func(t *testing.T) {
			o.User, o.Password = lizards, password
			if e := failure(t, sender(t, o).Send(t.Context(), outgoing(t))); !e.Temporary() {
				t.Errorf("%v counts as permanent", e)
			}
		})
	}
	if n := len(b.Messages(keeper)) + len(plain.Messages(keeper)); n != 0 {
		t.Errorf("%d mails got through", n)
	}
}

func TestClearTextStaysOnThisMachine(t *testing.T) {
	for _, addr := range []string{"smtp.example.org:25", "192.0.2.1:25", "[2001:db8::1]:25", "localhost.example.org:25"} {
		if _, err := mailout.NewSMTP(mailout.Options{Addr: addr, Security: mailout.None}); err == nil {
			t.Errorf("clear text to %s was accepted", addr)
		}
	}
	for _, addr := range []string{"localhost:25", "127.0.0.1:25", "127.1.2.3:25", "[::1]:25"} {
		if _, err := mailout.NewSMTP(mailout.Options{Addr: addr, Security: mailout.None}); err != nil {
			t.Error(err)
		}
	}
	// A "localhost" that resolves to another machine: 192.0.2.1 is TEST-NET-1
	// of RFC 5737.
	s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, User: lizards, Password: password,
		Dial: func(context.Context, string, string) (net.Conn, error) {
			near, _ := net.Pipe()
			return elsewhere{near}, nil
		}})
	if err := s.Send(t.Context(), outgoing(t)); err == nil || !strings.Contains(err.Error(), "not this machine") {
		t.Errorf("got %v", err)
	}
}

type elsewhere struct{ net.Conn }

func (elsewhere) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.IPv4(192, 0, 2, 1), Port: 25} }

func TestInvalidOptions(t *testing.T) {
	for name, o := range map[string]mailout.Options{
		"no port":               {Addr: "smtp.example.org", Security: mailout.TLS},
		"no host":               {Addr: ":465", Security: mailout.TLS},
		"no security":           {Addr: "smtp.example.org:465"},
		"unknown security":      {Addr: "smtp.example.org:465", Security: "ssl"},
		"password without user": {Addr: "smtp.example.org:465", Security: mailout.TLS, Password: password},
		"unknown mechanism":     {Addr: "smtp.example.org:465", Security: mailout.TLS, User: "x", Mechanism: "NTLM"},
	} {
		if _, err := mailout.NewSMTP(o); err == nil {
			t.Errorf("%s: accepted", name)
		} else if strings.Contains(err.Error(), password) {
			t.Errorf("%s: the error tells the password", name)
		}
	}
}

func TestLoginRefused(t *testing.T) {
	b, pool := withTLS(t)
	for _, mechanism := range []string{"PLAIN", "LOGIN"} {
		s := sender(t, mailout.Options{Addr: b.SMTPS(), Security: mailout.TLS, CA: pool, User: lizards,
			Password: "wrong", Mechanism: mechanism})
		e := failure(t, s.Send(t.Context(), outgoing(t)))
		if e.Code != 535 || e.Temporary() || e.Doing != "log in" { // RFC 4954 §6
			t.Errorf("%s: %+v", mechanism, e)
		}
	}
	t.Run("the server does not know the mechanism", func(t *testing.T) {
		s := sender(t, mailout.Options{Addr: b.SMTPS(), Security: mailout.TLS, CA: pool, User: lizards,
			Password: password, Mechanism: "SCRAM-SHA-256"})
		if e := failure(t, s.Send(t.Context(), outgoing(t))); !strings.Contains(e.Error(), "PLAIN, LOGIN") {
			t.Errorf("%v does not say what is offered", e)
		}
	})
	t.Run("the server repeats the password", func(t *testing.T) {
		for _, said := range []string{
			password,
			base64.StdEncoding.EncodeToString([]byte(password)),
			base64.StdEncoding.EncodeToString([]byte("\x00" + lizards + "\x00" + password)),
		} {
			b.Break(practice.Fault{At: practice.StepAUTH, Reply: "535 5.7.8 I do not know " + said})
			s := sender(t, mailout.Options{Addr: b.SMTPS(), Security: mailout.TLS, CA: pool, User: lizards, Password: password})
			e := failure(t, s.Send(t.Context(), outgoing(t)))
			if e.Code != 535 || !strings.Contains(e.Error(), "I do not know [password]") {
				t.Errorf("%v", e)
			}
		}
	})
}

// For each failure of a server, the test checks whether to try again
// (Temporary), and whether the mail may have arrived, which is possible after
// the final dot.
func TestEveryFailure(t *testing.T) {
	steps := []practice.Step{
		practice.StepConnect, practice.StepEHLO, practice.StepAUTH, practice.StepMAIL, practice.StepRCPT,
		practice.StepDATA, practice.StepDot,
	}
	try := func(t *testing.T, f practice.Fault) (*practice.Box, error) {
		b := inClear(t)
		b.Break(f)
		if f.At == practice.StepEHLO { // the client's fall-back must fail too
			f.At = "HELO"
			b.Break(f)
		}
		s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None, User: lizards, Password: password})
		return b, s.Send(t.Context(), outgoing(t))
	}
	for _, at := range steps {
		for _, reply := range []string{"421 4.3.2 shutting down", "451 4.3.0 try later", "554 5.0.0 never", "550 5.1.1 no"} {
			t.Run(fmt.Sprintf("%s answered with %s", at, reply), func(t *testing.T) {
				b, err := try(t, practice.Fault{At: at, Reply: reply})
				e := failure(t, err)
				if want := reply[0] == '4'; e.Temporary() != want || e.MayHaveArrived || fmt.Sprint(e.Code) != reply[:3] {
					t.Errorf("%v: temporary %v, code %d", e, e.Temporary(), e.Code)
				}
				if n := len(b.Messages(keeper)); n != 0 {
					t.Errorf("%d mails arrived", n)
				}
			})
		}
		t.Run(fmt.Sprintf("hang up at %s", at), func(t *testing.T) {
			b, err := try(t, practice.Fault{At: at, What: practice.HangUp})
			if e := failure(t, err); !e.Temporary() || e.Code != 0 || e.MayHaveArrived != (at == practice.StepDot) {
				t.Errorf("%v: temporary %v, may have arrived %v", e, e.Temporary(), e.MayHaveArrived)
			}
			if n := len(b.Messages(keeper)); n != 0 {
				t.Errorf("%d mails arrived", n)
			}
		})
	}
	t.Run("hang up after the final dot", func(t *testing.T) {
		b, err := try(t, practice.Fault{At: practice.StepDot, What: practice.HangUpAfter, Times: 1})
		if e := failure(t, err); !e.Temporary() || !e.MayHaveArrived {
			t.Errorf("%v: temporary %v, may have arrived %v", e, e.Temporary(), e.MayHaveArrived)
		}
		// The second attempt sends the same bytes, so both copies can be
		// recognised as the same mail.
		s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None})
		if err := s.Send(t.Context(), outgoing(t)); err != nil {
			t.Fatal(err)
		}
		if got := b.Messages(keeper); len(got) != 2 || !bytes.Equal(got[0], got[1]) {
			t.Errorf("%d mails arrived, or they differ", len(got))
		}
	})
	for _, what := range []practice.What{practice.HangUp, practice.HangUpAfter, practice.Refuse} {
		t.Run(fmt.Sprintf("failure %d at QUIT does not matter", what), func(t *testing.T) {
			b, err := try(t, practice.Fault{At: practice.StepQUIT, What: what, Reply: "421 gone"})
			if err != nil || len(b.Messages(keeper)) != 1 {
				t.Errorf("%v, %d mails arrived", err, len(b.Messages(keeper)))
			}
		})
	}
	t.Run("nobody listens", func(t *testing.T) {
		b := inClear(t)
		b.Stop()
		e := failure(t, sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None}).Send(t.Context(), outgoing(t)))
		if !e.Temporary() || e.Doing != "connect" {
			t.Errorf("%v", e)
		}
	})
}

// A server that stops answering costs only one timeout, or less if the context
// ends.
func TestSilence(t *testing.T) {
	for _, c := range []struct {
		at   practice.Step
		want time.Duration
	}{
		{practice.StepConnect, time.Minute}, {practice.StepEHLO, time.Minute}, {practice.StepAUTH, time.Minute},
		{practice.StepMAIL, time.Minute}, {practice.StepRCPT, time.Minute}, {practice.StepDATA, time.Minute},
		{practice.StepDot, mailout.FinalTimeout}, {practice.StepQUIT, 5 * time.Second},
	} {
		run := func(t *testing.T, ctx context.Context) (time.Duration, error) {
			pipe, b := practice.NewPipe(), newBox(t)
			b.Serve(pipe, nil)
			defer b.Stop()
			b.Break(practice.Fault{At: c.at, What: practice.Stall})
			s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, User: lizards, Password: password,
				Dial: pipe.DialContext})
			began := time.Now()
			err := s.Send(ctx, outgoing(t))
			return time.Since(began), err
		}
		t.Run(fmt.Sprintf("at %s, until the timeout", c.at), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				took, err := run(t, t.Context())
				if took != c.want {
					t.Errorf("took %s, want %s", took, c.want)
				}
				if c.at == practice.StepQUIT {
					if err != nil {
						t.Error(err)
					}
				} else if e := failure(t, err); !e.Temporary() || e.MayHaveArrived != (c.at == practice.StepDot) {
					t.Errorf("%v: temporary %v", e, e.Temporary())
				}
			})
		})
		t.Run(fmt.Sprintf("at %s, until the context ends", c.at), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
				defer cancel()
				took, err := run(t, ctx)
				if took != 3*time.Second {
					t.Errorf("took %s, want 3 s", took)
				}
				if c.at != practice.StepQUIT && !errors.Is(err, context.DeadlineExceeded) {
					t.Errorf("got %v, want the context's error", err)
				}
			})
		})
	}
}

func TestInvalidMails(t *testing.T) {
	b := inClear(t)
	s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None})
	d := mailout.NewMaildir(t.TempDir())
	for name, change := range map[string]func(*notify.Outgoing){
		"recipient with a command in it": func(m *notify.Outgoing) { m.To = "keeper@example.org>\r\nRCPT TO:<x@example.org" },
		"recipient with a parameter":     func(m *notify.Outgoing) { m.To = "keeper@example.org> NOTIFY=NEVER" },
		"recipient with a name":          func(m *notify.Outgoing) { m.To = "Keeper <keeper@example.org>" },
		"no recipient":                   func(m *notify.Outgoing) { m.To = "" },
		"sender with umlauts":            func(m *notify.Outgoing) { m.From = "ä@example.org" },
		"no bytes":                       func(m *notify.Outgoing) { m.Raw = nil },
		"bare LF":                        func(m *notify.Outgoing) { m.Raw = []byte("Subject: x\n\nx\r\n") },
		"bare CR":                        func(m *notify.Outgoing) { m.Raw = []byte("Subject: x\r\n\r\nx\r.\r\n") },
		"last line without CRLF":         func(m *notify.Outgoing) { m.Raw = []byte("Subject: x\r\n\r\nx") },
		"endless line":                   func(m *notify.Outgoing) { m.Raw = []byte("Subject: " + strings.Repeat("x", 1000) + "\r\n") },
	} {
		t.Run(name, func(t *testing.T) {
			m := outgoing(t)
			change(&m)
			for _, s := range []notify.Sender{s, d} {
				if e := failure(t, s.Send(t.Context(), m)); e.Temporary() {
					t.Errorf("%v counts as temporary", e)
				}
			}
		})
	}
	if n := len(b.Messages(keeper)); n != 0 {
		t.Errorf("%d mails arrived", n)
	}
	t.Run("the empty sender of bounces is valid", func(t *testing.T) {
		m := outgoing(t)
		m.From = ""
		if err := s.Send(t.Context(), m); err != nil {
			t.Error(err)
		}
	})
}

func TestManyAtOnce(t *testing.T) {
	b, pool := withTLS(t)
	s := sender(t, mailout.Options{Addr: b.SMTPS(), Security: mailout.TLS, CA: pool, User: lizards, Password: password})
	m, done := outgoing(t), make(chan error)
	for range 8 {
		go func() { done <- s.Send(t.Context(), m) }()
	}
	for range 8 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	if n := len(b.Messages(keeper)); n != 8 {
		t.Errorf("%d mails arrived", n)
	}
}
