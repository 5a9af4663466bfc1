package practice_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/smtp"
	"net/textproto"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"nestround/notify/practice"
)

const (
	keeper  = "keeper@example.org"
	lizards = "lizards@example.org"
)

func newBox(t *testing.T) *practice.Box {
	t.Helper()
	b := practice.New()
	for _, a := range []string{keeper, lizards} {
		if err := b.AddUser(a, "secret of "+a); err != nil {
			t.Fatal(err)
		}
	}
	return b
}

func started(t *testing.T, cfg *tls.Config) *practice.Box {
	t.Helper()
	b := newBox(t)
	if err := b.Start(cfg); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Stop)
	return b
}

func mailOf(subject string) []byte {
	return []byte("From: keeper@example.org\r\nTo: lizards@example.org\r\nSubject: " + subject + "\r\n\r\n.done 1\r\n..\r\n")
}

// send uses net/smtp of the standard library, so the server is also tested
// against a client that it was not written for.
func send(addr, to string, raw []byte) error {
	return smtp.SendMail(addr, nil, keeper, []string{to}, raw)
}

func TestMailGoesInBySMTPAndComesOutByIMAP(t *testing.T) {
	b := started(t, nil)
	for _, to := range []string{lizards, "Lizards+d.K7Q2@Example.org"} {
		if err := send(b.SMTP(), to, mailOf("to "+to)); err != nil {
			t.Fatal(err)
		}
	}
	c, err := imapclient.DialInsecure(b.IMAP(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Login(lizards, "secret of "+lizards).Wait(); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Select("INBOX", nil).Wait(); err != nil {
		t.Fatal(err)
	}
	got, err := c.Fetch(imap.UIDSetNum(1, 2), &imap.FetchOptions{
		UID: true, BodySection: []*imap.FetchItemBodySection{{Peek: true}},
	}).Collect()
	if err != nil {
		t.Fatal(err)
	}
	kept := b.Messages(lizards)
	if len(got) != 2 || len(kept) != 2 {
		t.Fatalf("IMAP has %d mails, the box %d, want 2 and 2", len(got), len(kept))
	}
	for i, m := range got {
		if !bytes.Equal(m.BodySection[0].Bytes, kept[i]) {
			t.Errorf("mail %d differs between IMAP and Messages", i)
		}
	}
	if !bytes.Equal(kept[0], mailOf("to "+lizards)) {
		t.Errorf("the mail changed on its way:\n%q", kept[0])
	}
	if n := len(b.Messages(keeper)); n != 0 {
		t.Errorf("the sender's own mailbox has %d mails", n)
	}
}

func TestLogin(t *testing.T) {
	b := started(t, nil)
	if err := send(b.SMTP(), "nobody@example.org", mailOf("x")); code(err) != 550 {
		t.Errorf("mail to nobody: %v, want 550", err)
	}
	for _, again := range []string{keeper, "KEEPER@example.org", "no address"} {
		if err := b.AddUser(again, "x"); err == nil {
			t.Errorf("AddUser(%q) was accepted", again)
		}
	}
	if err := b.Deliver("nobody@example.org", mailOf("x")); err == nil {
		t.Error("Deliver to nobody was accepted")
	}
	for _, pw := range []string{"", "secret", "secret of " + keeper} {
		c, err := imapclient.DialInsecure(b.IMAP(), nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Login(lizards, pw).Wait(); err == nil {
			t.Errorf("IMAP login with password %q was accepted", pw)
		}
		c.Close()
	}
}

func TestRequireAuth(t *testing.T) {
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

	if err := send0(b.SMTP(), nil, nil); code(err) != 530 {
		t.Errorf("a stranger: %v, want 530", err)
	}
	host, _, _ := net.SplitHostPort(b.SMTP())
	auth := smtp.PlainAuth("", lizards, "secret of "+lizards, host)
	if err := send0(b.SMTP(), auth, &tls.Config{RootCAs: pool, ServerName: host}); err != nil {
		t.Errorf("after STARTTLS and login: %v", err)
	}
	bad := smtp.PlainAuth("", lizards, "wrong", host)
	if err := send0(b.SMTP(), bad, &tls.Config{RootCAs: pool, ServerName: host}); code(err) != 535 {
		t.Errorf("wrong password: %v, want 535", err)
	}
	if n := len(b.Messages(keeper)); n != 1 {
		t.Errorf("%d mails arrived, want 1", n)
	}
}

// send0 sends without STARTTLS. The standard library uses STARTTLS whenever a
// server offers it.
func send0(addr string, auth smtp.Auth, cfg *tls.Config) error {
	c, err := smtp.Dial(addr)
	if err != nil {
		return err
	}
	defer c.Close()
	if cfg != nil {
		if err := c.StartTLS(cfg); err != nil {
			return err
		}
	}
	if auth != nil {
		if err := c.Auth(auth); err != nil {
			return err
		}
	}
	if err := c.Mail(lizards); err != nil {
		return err
	}
	if err := c.Rcpt(keeper); err != nil {
		return err
	}
	w, err := c.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write(mailOf("x")); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	return c.Quit()
}

func code(err error) int {
	var e *textproto.Error
	if errors.As(err, &e) {
		return e.Code
	}
	return 0
}

func TestFaultsOccurAtTheirStep(t *testing.T) {
	for _, step := range []practice.Step{
		practice.StepConnect, practice.StepEHLO, practice.StepMAIL, practice.StepRCPT, practice.StepDATA, practice.StepDot,
	} {
		t.Run(fmt.Sprintf("refuse at %s", step), func(t *testing.T) {
			b := started(t, nil)
			b.Break(practice.Fault{At: step, What: practice.Refuse, Reply: "451 not now"})
			err := send0(b.SMTP(), nil, nil)
			if step == practice.StepEHLO { // the client falls back to HELO
				if err != nil {
					t.Errorf("got %v, want delivery by HELO", err)
				}
				return
			}
			if code(err) != 451 || len(b.Messages(keeper)) != 0 {
				t.Errorf("got %v with %d mails stored, want 451 and none", err, len(b.Messages(keeper)))
			}
		})
		t.Run(fmt.Sprintf("hang up at %s", step), func(t *testing.T) {
			b := started(t, nil)
			b.Break(practice.Fault{At: step, What: practice.HangUp})
			if err := send0(b.SMTP(), nil, nil); err == nil || code(err) != 0 {
				t.Errorf("got %v, want a broken connection", err)
			}
			if n := len(b.Messages(keeper)); n != 0 {
				t.Errorf("%d mails were stored", n)
			}
		})
	}
	t.Run("hang up after the dot: stored but not confirmed", func(t *testing.T) {
		b := started(t, nil)
		b.Break(practice.Fault{At: practice.StepDot, What: practice.HangUpAfter, Times: 1})
		if err := send0(b.SMTP(), nil, nil); !errors.Is(err, io.EOF) {
			t.Errorf("got %v, want EOF", err)
		}
		if err := send0(b.SMTP(), nil, nil); err != nil {
			t.Errorf("the fault struck more than once: %v", err)
		}
		if n := len(b.Messages(keeper)); n != 2 {
			t.Errorf("%d mails were stored, want 2", n)
		}
	})
	t.Run("mended", func(t *testing.T) {
		b := started(t, nil)
		b.Break(practice.Fault{At: practice.StepMAIL, What: practice.Refuse, Reply: "550 never"})
		b.Mend()
		if err := send0(b.SMTP(), nil, nil); err != nil {
			t.Error(err)
		}
	})
	t.Run("with TLS from the first byte", func(t *testing.T) {
		cfg, authority, err := practice.Certificate()
		if err != nil {
			t.Fatal(err)
		}
		b := started(t, cfg)
		b.Break(practice.Fault{At: practice.StepRCPT, What: practice.Refuse, Reply: "452 full"})
		pool := x509.NewCertPool()
		pool.AppendCertsFromPEM(authority)
		conn, err := tls.Dial("tcp", b.SMTPS(), &tls.Config{RootCAs: pool})
		if err != nil {
			t.Fatal(err)
		}
		c, err := smtp.NewClient(conn, "127.0.0.1")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if err := c.Mail(lizards); err != nil {
			t.Fatal(err)
		}
		if err := c.Rcpt(keeper); code(err) != 452 {
			t.Errorf("got %v, want 452", err)
		}
	})
}

// The in-memory server does not announce a mail that arrives between "+ idling"
// and the moment it begins to listen. Without the workaround, a few hundred
// rounds hang.
func TestIdleNeverMissesAMail(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, pipe := newBox(t), practice.NewPipe()
		b.Serve(nil, pipe)
		defer b.Stop()
		conn, err := pipe.DialContext(context.Background(), "", "")
		if err != nil {
			t.Fatal(err)
		}
		news := make(chan struct{}, 1)
		c := imapclient.New(conn, &imapclient.Options{UnilateralDataHandler: &imapclient.UnilateralDataHandler{
			Mailbox: func(d *imapclient.UnilateralDataMailbox) {
				if d.NumMessages != nil {
					select {
					case news <- struct{}{}:
					default:
					}
				}
			},
		}})
		defer c.Close()
		if err := c.Login(lizards, "secret of "+lizards).Wait(); err != nil {
			t.Fatal(err)
		}
		if _, err := c.Select("INBOX", nil).Wait(); err != nil {
			t.Fatal(err)
		}
		for i := range 500 {
			idle, err := c.Idle()
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Deliver(lizards, mailOf(fmt.Sprint(i))); err != nil {
				t.Fatal(err)
			}
			select {
			case <-news:
			case <-time.After(time.Minute):
				t.Fatalf("mail %d was not announced", i)
			}
			idle.Close()
			if err := idle.Wait(); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func TestResetUIDValidityKeepsTheMails(t *testing.T) {
	b := started(t, nil)
	for i := range 3 {
		if err := b.Deliver(lizards, mailOf(fmt.Sprint(i))); err != nil {
			t.Fatal(err)
		}
	}
	before := status(t, b)
	if err := b.ResetUIDValidity(lizards); err != nil {
		t.Fatal(err)
	}
	after := status(t, b)
	if before.UIDValidity == after.UIDValidity || *after.NumMessages != 3 || len(b.Messages(lizards)) != 3 {
		t.Errorf("before %+v, after %+v with %d mails", before, after, *after.NumMessages)
	}
}

func status(t *testing.T, b *practice.Box) *imap.StatusData {
	t.Helper()
	c, err := imapclient.DialInsecure(b.IMAP(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Login(lizards, "secret of "+lizards).Wait(); err != nil {
		t.Fatal(err)
	}
	s, err := c.Status("INBOX", &imap.StatusOptions{NumMessages: true, UIDValidity: true, UIDNext: true}).Wait()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestStopAndStartKeepPortsAndMails(t *testing.T) {
	b := started(t, nil)
	if err := send(b.SMTP(), lizards, mailOf("before")); err != nil {
		t.Fatal(err)
	}
	smtpAddr, imapAddr := b.SMTP(), b.IMAP()
	b.Stop()
	if err := send(smtpAddr, lizards, mailOf("down")); err == nil {
		t.Error("a stopped server took mail")
	}
	if err := b.Start(nil); err != nil {
		t.Fatal(err)
	}
	if b.SMTP() != smtpAddr || b.IMAP() != imapAddr {
		t.Error("the ports changed")
	}
	if err := send(smtpAddr, lizards, mailOf("after")); err != nil {
		t.Fatal(err)
	}
	if n := *status(t, b).NumMessages; n != 2 {
		t.Errorf("IMAP has %d mails, want 2", n)
	}
}

func TestFreezeAnswersNothingUntilThaw(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, pipe := newBox(t), practice.NewPipe()
		b.Serve(pipe, nil)
		defer b.Stop()
		b.Freeze()
		conn, err := pipe.DialContext(context.Background(), "", "")
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		conn.SetReadDeadline(time.Now().Add(24 * time.Hour))
		if n, err := conn.Read(make([]byte, 1)); n != 0 || err == nil {
			t.Fatal("a frozen server greeted")
		}
		b.Thaw()
		conn.SetReadDeadline(time.Time{})
		line, err := textproto.NewConn(conn).ReadLine()
		if err != nil || !strings.HasPrefix(line, "220 ") {
			t.Errorf("after Thaw: %q, %v", line, err)
		}
	})
}

func TestIdleMissingIsNotOffered(t *testing.T) {
	b := started(t, nil)
	b.SetIdle(practice.IdleMissing)
	c, err := imapclient.DialInsecure(b.IMAP(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Login(lizards, "secret of "+lizards).Wait(); err != nil {
		t.Fatal(err)
	}
	if c.Caps().Has(imap.CapIdle) {
		t.Error("IDLE is offered")
	}
}
