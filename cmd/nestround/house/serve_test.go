package house

import (
	"bytes"
	"context"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"nestround/notify"
	"nestround/notify/calendar"
	"nestround/notify/mailout"
	"nestround/notify/practice"
	"nestround/notify/practice/servertest"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
)

const password = "a secret of 24 characters"

// served has small books whose mail goes through a server, and a running serve.
type served struct {
	t    *testing.T
	dir  string
	h    *House
	url  string
	log  *lockedBuffer
	stop func()
}

// lockedBuffer is a log that can be read while it is written.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// serve runs small books whose keeper.toml ends with the given mail settings.
// The digest of the day is due at once.
func serve(t *testing.T, from, to, mail, secret string, ca []byte) *served {
	t.Helper()
	dir := small(t, "UTC", "00:00")
	keeper := strings.NewReplacer("rounds@example.org", from, "keeper@example.org", to,
		"[mail.out]\nmaildir = \"out\"\n\n[mail.in]\nmaildir = \"in\"\ntrust = \"token\"\n", mail).Replace(fmt.Sprintf(smallBooks, "UTC", "00:00"))
	write(t, filepath.Join(dir, "keeper.toml"), keeper)
	if err := os.Mkdir(filepath.Join(dir, "secrets"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "secrets", "mail"), []byte(secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "ca.pem"), string(ca))
	s := &served{t: t, dir: dir, log: &lockedBuffer{}}
	// The clock shows the morning, so that no digest is too late to send.
	began := time.Now()
	morning := civil.MustParse("2027-05-12").At(0, time.UTC).Add(5 * time.Minute)
	h, problems, err := Open(dir, Options{Log: slog.New(slog.NewTextHandler(s.log, nil)), Now: func() time.Time { return morning.Add(time.Since(began)) }})
	if h == nil || err != nil {
		t.Fatalf("open: %v\n%v", err, problems)
	}
	s.h = h
	s.start()
	t.Cleanup(func() {
		s.stop()
		if strings.Contains(s.log.String(), secret) {
			t.Error("the log holds the password")
		}
		if t.Failed() {
			t.Logf("log:\n%s", s.log)
		}
	})
	return s
}

func (s *served) start() {
	s.t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.t.Fatal(err)
	}
	s.url = "http://" + l.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.h.Serve(ctx, l) }()
	s.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			s.t.Errorf("serve: %v", err)
		}
	})
}

// until waits for an effect of another goroutine or server.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	const patience = 5 * time.Minute // a hang, also on a slow machine
	for deadline := time.Now().Add(patience); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited %v for %s", patience, what)
		}
	}
}

// allSent reports whether the outbox has no mail that waits.
func (s *served) allSent() bool {
	waiting, err := filepath.Glob(filepath.Join(s.dir, "state", "outbox", "*.mail"))
	return err == nil && len(waiting) == 0
}

func (s *served) waterIs(want tasks.Status) func() bool {
	return func() bool {
		for _, r := range s.h.Snapshot().Board(s.h.Snapshot().Today()).Rows {
			if r.Subject == "E01" && r.Routine == "water" {
				return r.Status == want
			}
		}
		return false
	}
}

func mailsTo(box *practice.Box, address string) (digests, answers []reply.Mail) {
	for _, raw := range box.Messages(address) {
		m, err := reply.Read(raw)
		switch {
		case err != nil:
		case len(m.InReplyTo) > 0:
			answers = append(answers, m)
		default:
			digests = append(digests, m)
		}
	}
	return digests, answers
}

// The whole loop runs over TLS against the server in this process: the digest
// is sent, a reply arrives, the mark is recorded, and the answer is sent. Then
// it runs again after each server was down.
func TestServeWholeLoop(t *testing.T) {
	for _, security := range []string{"tls", "starttls"} {
		t.Run(security, func(t *testing.T) {
			cfg, ca, err := practice.Certificate()
			if err != nil {
				t.Fatal(err)
			}
			if b, _ := pem.Decode(ca); b == nil {
				t.Fatal("the certificate is not PEM")
			}
			box := practice.New()
			box.RequireAuth = true
			for _, a := range []string{"rounds@example.org", "keeper@example.org"} {
				if err := box.AddUser(a, password); err != nil {
					t.Fatal(err)
				}
			}
			if err := box.Start(cfg); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { box.Close() })
			smtp, imap := box.SMTPS(), box.IMAPS()
			if security == "starttls" {
				smtp, imap = box.SMTP(), box.IMAP()
			}
			s := serve(t, "rounds@example.org", "keeper@example.org", mailSettings(smtp, imap, security, "rounds@example.org"), password, ca)
			until(t, "the digest", func() bool { d, _ := mailsTo(box, "keeper@example.org"); return len(d) == 1 })
			i, _ := s.h.Snapshot().TodaysIssue()
			water := numberOf(t, i, "E01", "water")
			said := 0
			say := func(id, words string) []byte {
				said++
				return answer(t, i, id, fmt.Sprintf("2027-05-12T07:0%d:00Z", said), words)
			}

			if err := box.Deliver("rounds@example.org", say("one", fmt.Sprintf("done %d", water))); err != nil {
				t.Fatal(err)
			}
			until(t, "the mark", s.waterIs(tasks.Done))
			until(t, "the answer", func() bool { _, a := mailsTo(box, "keeper@example.org"); return len(a) == 1 })
			// The test stops the server between two answers: a connection that is
			// cut while an answer is sent costs a pause of a minute.
			until(t, "the confirmation of the answer", s.allSent)

			// The server stops, receives a reply, and starts again.
			box.Stop()
			if err := box.Deliver("rounds@example.org", say("two", fmt.Sprintf("undo %d", water))); err != nil {
				t.Fatal(err)
			}
			if err := box.Start(cfg); err != nil {
				t.Fatal(err)
			}
			until(t, "the mark after the server was down", s.waterIs(tasks.Due))
			until(t, "the answer after the server was down", func() bool { _, a := mailsTo(box, "keeper@example.org"); return len(a) == 2 && s.allSent() })
			// The server renumbers its mails: all of them are read again, and
			// each counts once.
			if err := box.ResetUIDValidity("rounds@example.org"); err != nil {
				t.Fatal(err)
			}
			if err := box.Deliver("rounds@example.org", say("three", fmt.Sprintf("skip %d", water))); err != nil {
				t.Fatal(err)
			}
			until(t, "the mark after the mails were numbered anew", s.waterIs(tasks.Skipped))
			until(t, "three answers", func() bool { _, a := mailsTo(box, "keeper@example.org"); return len(a) == 3 })
			if d, a := mailsTo(box, "keeper@example.org"); len(d) != 1 || len(a) != 3 {
				t.Errorf("%d digests and %d answers arrived, want 1 and 3", len(d), len(a))
			}
			entries, problems, err := readDaybook(s.dir)
			if err != nil || len(problems) > 0 || len(entries) != 3 {
				t.Errorf("daybook: %d entries, %v, %v; want 3", len(entries), problems, err)
			}
		})
	}
}

func mailSettings(smtp, imap, security, user string) string {
	return fmt.Sprintf(`plus_addressing = true

[mail.out]
smtp = %q
security = %q
user = %q
password_file = "secrets/mail"
ca_file = "ca.pem"

[mail.in]
imap = %q
security = %q
user = %q
password_file = "secrets/mail"
ca_file = "ca.pem"
trust = "token"
`, smtp, security, user, imap, security, user)
}

// With a wrong password and a mail server that refuses everything, the calendar
// and the program continue. The digest is sent after the repair.
func TestServeGoesOnWithoutMail(t *testing.T) {
	box := practice.New()
	box.RequireAuth = true
	for _, a := range []string{"rounds@example.org", "keeper@example.org"} {
		if err := box.AddUser(a, password); err != nil {
			t.Fatal(err)
		}
	}
	if err := box.Start(nil); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { box.Close() })
	box.Break(practice.Fault{At: practice.StepMAIL, What: practice.Refuse, Reply: "451 not now", Times: 1000})
	s := serve(t, "rounds@example.org", "keeper@example.org", strings.ReplaceAll(mailSettings(box.SMTP(), box.IMAP(), "none", "rounds@example.org"), "ca_file = \"ca.pem\"\n", ""), password, nil)
	token, link, err := s.h.Publisher().Links().New("phone", calendar.Scope{})
	if err != nil {
		t.Fatal(err)
	}
	address, err := s.h.Publisher().LinkAddressAt(s.url, token, link)
	if err != nil {
		t.Fatal(err)
	}
	until(t, "an attempt to send", func() bool { return strings.Contains(s.log.String(), "451") })
	res, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK || !bytes.HasPrefix(body, []byte("BEGIN:VCALENDAR\r\n")) {
		t.Errorf("calendar: %s, %d bytes, %v", res.Status, len(body), err)
	}
	box.Mend()
	// The next attempt is a minute away; the keeper can send at once.
	if i, ok := s.h.Snapshot().TodaysIssue(); !ok || i.ID == "" {
		t.Error("the digest was not issued while mail was down")
	}
	if _, err := s.h.dispatch.outbox.Deliver(t.Context(), carrier{s.h}, func() time.Time { return s.h.now().Add(2 * time.Minute) }); err != nil {
		t.Log(err) // serve may be sending already
	}
	until(t, "the digest", func() bool { d, _ := mailsTo(box, "keeper@example.org"); return len(d) == 1 })
}

// The same loop runs against Debian's Postfix and Dovecot: the digest is
// delivered, a raw RFC 5322 message answers it through Postfix, the mark is
// recorded, and the answer is delivered. Then it runs again after Dovecot was
// killed and restarted.
func TestServeWithRealServers(t *testing.T) {
	real := servertest.Get(t)
	ca, err := os.ReadFile(real.CAFile)
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, real.Lizards, real.Keeper, mailSettings(real.SMTPS, real.IMAPS, "tls", real.Lizards), real.Password, ca)
	until(t, "the digest", func() bool { _, ok := s.h.Snapshot().TodaysIssue(); return ok })
	i, _ := s.h.Snapshot().TodaysIssue()
	water := numberOf(t, i, "E01", "water")
	if raw, _ := real.Find(t, real.Keeper, i.MessageID); !bytes.Contains(raw, []byte(i.Token)) {
		t.Error("the digest does not carry its token")
	}
	sender, err := mailout.NewSMTP(mailout.Options{Addr: real.SMTPS, Security: mailout.TLS, User: real.Keeper, Password: real.Password, CA: real.CA})
	if err != nil {
		t.Fatal(err)
	}
	say := func(id, words string) {
		t.Helper()
		to := notify.PlusAddress(real.Lizards, i.Token)
		raw := strings.ReplaceAll(fmt.Sprintf(`From: The Keeper <%s>
To: <%s>
Date: Wed, 12 May 2027 07:%s:00 +0000
Message-ID: <%s-%s@phone.example.org>
In-Reply-To: <%s>
Subject: Re: %s
MIME-Version: 1.0
Content-Type: text/plain; charset=utf-8

%s

On Wed, 12 May 2027, nestround wrote:
> done 99
`, real.Keeper, to, id, id, i.ID, i.MessageID, notify.SubjectTag(i.ID), words), "\n", "\r\n")
		if err := sender.Send(t.Context(), notify.Outgoing{ID: id, From: real.Keeper, To: to, Raw: []byte(raw)}); err != nil {
			t.Fatal(err)
		}
	}
	say("10", fmt.Sprintf("Done %d.", water))
	until(t, "the mark", s.waterIs(tasks.Done))
	real.Find(t, real.Keeper, answerID(s.h.Snapshot().settings, i, fmt.Sprintf("10-%s@phone.example.org", i.ID)))

	real.RestartIMAP(t)
	say("20", fmt.Sprintf("undo %d", water))
	until(t, "the mark after Dovecot was killed", s.waterIs(tasks.Due))
	real.Find(t, real.Keeper, answerID(s.h.Snapshot().settings, i, fmt.Sprintf("20-%s@phone.example.org", i.ID)))
	if lines := regexp.MustCompile(`level=ERROR`).FindAllString(s.log.String(), -1); len(lines) > 0 {
		t.Errorf("%d errors were logged", len(lines))
	}
}
