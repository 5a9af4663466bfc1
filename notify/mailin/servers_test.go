package mailin_test

import (
	"bytes"
	"crypto/rand"
	"net/smtp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"

	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/practice/servertest"
)

// post sends a mail with the standard library's client. It tries again, because
// Postfix refuses logins while Dovecot is restarting.
func post(t *testing.T, s *servertest.Servers, to, subject string) {
	t.Helper()
	raw := append([]byte("Message-ID: <"+subject+"@example.org>\r\n"), mailOf(subject)...)
	auth := smtp.PlainAuth("", s.Keeper, s.Password, "127.0.0.1")
	for {
		err := smtp.SendMail(s.SMTP, auth, s.Keeper, []string{to}, raw)
		if err == nil {
			return
		}
		if t.Context().Err() != nil {
			t.Fatal(err)
		}
		t.Logf("posting again: %v", err)
		time.Sleep(100 * time.Millisecond)
	}
}

// Tests Dovecot over every kind of security: old mail, mail announced by IDLE,
// and a server killed and restarted. No flag may change.
func TestWatchDovecot(t *testing.T) {
	servers := servertest.Get(t)
	for _, c := range []struct {
		security mailin.Security
		addr     string
	}{{mailin.TLS, servers.IMAPS}, {mailin.STARTTLS, servers.IMAP}, {mailin.None, servers.IMAP}} {
		t.Run(string(c.security), func(t *testing.T) {
			run := rand.Text() // the mailbox also holds the mails of earlier runs
			waiting := run + "-waiting"
			post(t, servers, servers.Lizards, waiting)
			servers.Find(t, servers.Lizards, waiting+"@example.org")

			var log journal
			state := &memory{}
			in := inbox(t, mailin.Options{
				Addr: c.addr, Security: c.security, User: servers.Lizards, Password: servers.Password, CA: servers.CA,
				State: state, Log: log.logger(), Poll: time.Hour, Retry: 10 * time.Millisecond, RetryMax: 100 * time.Millisecond,
			})
			k := takes{each: make(chan string, 1000)}
			next := func(want string) {
				t.Helper()
				for {
					select {
					case got := <-k.each:
						if got == want {
							return
						}
						if strings.HasPrefix(got, run) {
							t.Errorf("took %q, want %q", got, want)
						}
					case <-t.Context().Done():
						t.Fatalf("%q did not come\n%s", want, log.String())
					}
				}
			}
			stop := watching(t, in, &k)
			next(waiting)
			for _, what := range []string{"-first", "-second"} {
				post(t, servers, strings.Replace(servers.Lizards, "@", "+d.K7Q2@", 1), run+what)
				next(run + what)
			}
			servers.RestartIMAP(t)
			post(t, servers, servers.Lizards, run+"-restarted")
			next(run + "-restarted")
			stop()

			// A second start finds only new mail.
			post(t, servers, servers.Lizards, run+"-later")
			servers.Find(t, servers.Lizards, run+"-later@example.org")
			var after takes
			if err := in.Read(t.Context(), after.take); err != nil {
				t.Fatal(err)
			}
			after.want(t, run+"-later")
			if raw := after.mails[0].Raw; !bytes.HasSuffix(raw, []byte("\r\n\r\ndone 1\r\n")) || int64(len(raw)) != after.mails[0].Size {
				t.Errorf("%d bytes of %d:\n%s", len(raw), after.mails[0].Size, raw)
			}
			if _, flags := servers.Find(t, servers.Lizards, run+"-later@example.org"); slices.Contains(flags, imap.FlagSeen) {
				t.Errorf("reading left the flags %v", flags)
			}
			if p := state.position(t); p.UIDValidity == 0 || len(p.Done)+len(p.Failed) != 0 {
				t.Errorf("position %+v", p)
			}
			if strings.Contains(log.String(), servers.Password) {
				t.Error("the log tells the password")
			}
		})
	}
}

func TestDovecotRefuses(t *testing.T) {
	servers := servertest.Get(t)
	for name, o := range map[string]mailin.Options{
		"wrong password":    {Addr: servers.IMAPS, Security: mailin.TLS, CA: servers.CA, User: servers.Lizards, Password: password},
		"unknown authority": {Addr: servers.IMAPS, Security: mailin.TLS, User: servers.Lizards, Password: servers.Password},
		"TLS to the clear port": {Addr: servers.IMAP, Security: mailin.TLS, CA: servers.CA, User: servers.Lizards,
			Password: servers.Password},
		"no such mailbox": {Addr: servers.IMAPS, Security: mailin.TLS, CA: servers.CA, User: servers.Lizards,
			Password: servers.Password, Mailbox: "Replies"},
	} {
		t.Run(name, func(t *testing.T) {
			err := inbox(t, o).Read(t.Context(), func(notify.Incoming) error { t.Error("a mail came"); return nil })
			if err == nil {
				t.Fatal("it was read")
			}
			tellsNoPassword(t, err)
			if strings.Contains(err.Error(), servers.Password) {
				t.Errorf("the error tells the password: %v", err)
			}
		})
	}
}
