package mailout_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"strings"
	"testing"
	"time"

	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/practice/servertest"
)

// patiently sends as the program does: if the error is temporary, it tries
// again after a pause. Another package's test may be restarting Dovecot, and
// Postfix cannot check passwords without Dovecot.
func patiently(t *testing.T, s *mailout.SMTP, m notify.Outgoing) error {
	t.Helper()
	for {
		err := s.Send(t.Context(), m)
		var e *mailout.Error
		if !errors.As(err, &e) || !e.Temporary() || t.Context().Err() != nil {
			return err
		}
		t.Logf("trying again: %v", err)
		time.Sleep(100 * time.Millisecond)
	}
}

// Tests every security mode and login mechanism against Postfix with Dovecot's
// SASL. The practice server has no SCRAM and no CRAM-MD5.
func TestPostfixAcceptsMail(t *testing.T) {
	servers := servertest.Get(t)
	for _, c := range []struct {
		security mailout.Security
		addr     string
	}{{mailout.TLS, servers.SMTPS}, {mailout.STARTTLS, servers.Submission}, {mailout.None, servers.SMTP}} {
		for _, mechanism := range append([]string{""}, mailout.Mechanisms()...) {
			t.Run(string(c.security)+" "+mechanism, func(t *testing.T) {
				s := sender(t, mailout.Options{Addr: c.addr, Security: c.security, User: servers.Lizards,
					Password: servers.Password, Mechanism: mechanism, CA: servers.CA})
				m := digest()
				m.ID = rand.Text() + "@lizards.example.org"
				raw := compose(t, m)
				if err := patiently(t, s, notify.Outgoing{ID: m.ID, From: servers.Lizards, To: servers.Keeper, Raw: raw}); err != nil {
					t.Fatal(err)
				}
				got, _ := servers.Find(t, servers.Keeper, m.ID)
				if !bytes.HasSuffix(got, raw) { // Postfix puts its own header fields first
					t.Errorf("the mail changed on its way:\n%s", got)
				}
			})
		}
	}
}

func TestPostfixRefuses(t *testing.T) {
	servers := servertest.Get(t)
	m := digest()
	mail := notify.Outgoing{ID: m.ID, From: servers.Lizards, To: servers.Keeper, Raw: compose(t, m)}
	good := mailout.Options{Addr: servers.SMTPS, Security: mailout.TLS, User: servers.Lizards, Password: servers.Password, CA: servers.CA}
	for name, c := range map[string]struct {
		change    func(*mailout.Options, *notify.Outgoing)
		code      int
		temporary bool
	}{
		"wrong password":    {func(o *mailout.Options, _ *notify.Outgoing) { o.Password = password }, 535, false},
		"no login":          {func(o *mailout.Options, _ *notify.Outgoing) { o.User, o.Password = "", "" }, 554, false},
		"unknown recipient": {func(_ *mailout.Options, m *notify.Outgoing) { m.To = "nobody@example.org" }, 550, false},
		"clear text on a port that requires STARTTLS": {func(o *mailout.Options, _ *notify.Outgoing) {
			o.Addr, o.Security = servers.Submission, mailout.None
		}, 0, true},
		"STARTTLS on a port without it": {func(o *mailout.Options, _ *notify.Outgoing) {
			o.Addr, o.Security = servers.SMTP, mailout.STARTTLS
		}, 0, true},
		"certificate of an unknown authority": {func(o *mailout.Options, _ *notify.Outgoing) { o.CA = nil }, 0, true},
	} {
		t.Run(name, func(t *testing.T) {
			o, mail := good, mail
			c.change(&o, &mail)
			s := sender(t, o)
			err := s.Send(t.Context(), mail)
			for c.code != 0 && failure(t, err).Temporary() { // Dovecot is restarting
				time.Sleep(100 * time.Millisecond)
				err = s.Send(t.Context(), mail)
			}
			if e := failure(t, err); e.Code != c.code || e.Temporary() != c.temporary {
				t.Errorf("%v: code %d, temporary %v", e, e.Code, e.Temporary())
			}
			if strings.Contains(err.Error(), servers.Password) {
				t.Errorf("the error tells the password: %v", err)
			}
		})
	}
}
