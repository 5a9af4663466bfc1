// Package servertest connects tests to the real mail servers that .ci/servers
// starts: a Postfix and a Dovecot.
package servertest

import (
	"bufio"
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
)

// Servers are the two servers. Both have the users Keeper and Lizards, with the
// same password. Users log in with their addresses. All addresses of servers
// are host:port on the loopback interface.
type Servers struct {
	SMTP       string // clear text
	Submission string // STARTTLS
	SMTPS      string // TLS from the first byte
	IMAP       string // clear text and STARTTLS
	IMAPS      string

	Keeper, Lizards, Password string
	CA                        *x509.CertPool
	CAFile                    string // file with the certificate authority CA as PEM

	script, dir string
}

// Get returns the servers of the folder in NESTROUND_SERVERS. If the variable
// is not set, the test is skipped; if NESTROUND_REQUIRE_SERVERS is 1, it fails
// instead.
func Get(t testing.TB) *Servers {
	t.Helper()
	dir := os.Getenv("NESTROUND_SERVERS")
	if dir == "" {
		const how = "no real mail servers; as root: .ci/servers start DIR, then set NESTROUND_SERVERS=DIR"
		if os.Getenv("NESTROUND_REQUIRE_SERVERS") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	f, err := os.Open(filepath.Join(dir, "env"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	env := map[string]string{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		key, value, _ := strings.Cut(lines.Text(), "=")
		env[key] = value
	}
	pem, err := os.ReadFile(env["CA_FILE"])
	if err != nil {
		t.Fatal(err)
	}
	at := func(port string) string { return net.JoinHostPort(env["HOST"], env[port]) }
	s := &Servers{
		SMTP: at("SMTP_PORT"), Submission: at("SUBMISSION_PORT"), SMTPS: at("SMTPS_PORT"),
		IMAP: at("IMAP_PORT"), IMAPS: at("IMAPS_PORT"),
		Keeper: env["KEEPER"], Lizards: env["LIZARDS"], Password: env["PASSWORD"],
		CA: x509.NewCertPool(), CAFile: env["CA_FILE"], script: env["SERVERS"], dir: dir,
	}
	if !s.CA.AppendCertsFromPEM(pem) {
		t.Fatalf("%s holds no certificate", env["CA_FILE"])
	}
	return s
}

// RestartIMAP kills Dovecot and starts it again. Meanwhile Postfix refuses
// logins, because it asks Dovecot about passwords.
func (s *Servers) RestartIMAP(t testing.TB) {
	t.Helper()
	if out, err := exec.Command(s.script, "restart-imap", s.dir).CombinedOutput(); err != nil {
		t.Fatalf("restart Dovecot: %v\n%s", err, out)
	}
}

// Find waits until the mail with a Message-ID (without brackets) is in the
// inbox of a user. It returns the mail as stored on the server, with its flags.
// It tries as long as the test may run, because another test may be restarting
// Dovecot.
func (s *Servers) Find(t testing.TB, user, id string) ([]byte, []imap.Flag) {
	t.Helper()
	for try := 0; ; try++ {
		m, err := s.find(user, id)
		if m != nil {
			return m.BodySection[0].Bytes, m.Flags
		}
		select {
		case <-t.Context().Done():
			t.Fatalf("mail %s did not reach %s: %v", id, user, err)
		case <-time.After(50 * time.Millisecond):
		}
		if try%100 == 99 {
			t.Logf("still waiting for mail %s at %s (%v)", id, user, err)
		}
	}
}

func (s *Servers) find(user, id string) (*imapclient.FetchMessageBuffer, error) {
	c, err := imapclient.DialTLS(s.IMAPS, &imapclient.Options{TLSConfig: &tls.Config{RootCAs: s.CA}})
	if err != nil {
		return nil, err
	}
	defer c.Close()
	if err := c.Login(user, s.Password).Wait(); err != nil {
		return nil, err
	}
	if _, err := c.Select("INBOX", &imap.SelectOptions{ReadOnly: true}).Wait(); err != nil {
		return nil, err
	}
	found, err := c.UIDSearch(&imap.SearchCriteria{
		Header: []imap.SearchCriteriaHeaderField{{Key: "Message-ID", Value: id}},
	}, nil).Wait()
	if err != nil || len(found.AllUIDs()) == 0 {
		return nil, err
	}
	got, err := c.Fetch(imap.UIDSetNum(found.AllUIDs()...), &imap.FetchOptions{
		Flags:       true,
		BodySection: []*imap.FetchItemBodySection{{Peek: true}},
	}).Collect()
	if err != nil || len(got) == 0 || len(got[0].BodySection) == 0 {
		return nil, err
	}
	return got[0], nil
}
