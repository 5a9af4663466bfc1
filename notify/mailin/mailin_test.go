package mailin_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/mail"
	"slices"
	"strings"
	"sync"
	"testing"

	"nestround/notify"
	"nestround/notify/mailin"
)

const (
	lizards  = "lizards@example.org"
	password = "damp-vermiculite-7"
)

func mailOf(subject string) []byte {
	return []byte("From: keeper@example.org\r\nTo: lizards@example.org\r\nSubject: " + subject + "\r\n\r\ndone 1\r\n")
}

// memory is a State that behaves like a file: Load returns copies of the saved
// maps and slices. fail, if set, is called before both methods.
type memory struct {
	mu    sync.Mutex
	file  []byte
	saves int
	fail  func() error
	check func(mailin.Position)
}

func (m *memory) Load() (p mailin.Position, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		if err := m.fail(); err != nil {
			return p, err
		}
	}
	if m.file != nil {
		err = json.Unmarshal(m.file, &p)
	}
	return p, err
}

func (m *memory) Save(p mailin.Position) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		if err := m.fail(); err != nil {
			return err
		}
	}
	if m.check != nil {
		m.check(p)
	}
	m.saves++
	var err error
	m.file, err = json.Marshal(p)
	return err
}

func (m *memory) position(t *testing.T) mailin.Position {
	t.Helper()
	p, err := m.Load()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// takes collects mails. verdict, if set, decides about each mail.
type takes struct {
	mu      sync.Mutex
	mails   []notify.Incoming // mails taken
	offers  map[string]int    // by subject
	verdict func(subject string) error
	each    chan string
}

func (k *takes) take(m notify.Incoming) error {
	subject := subjectOf(m)
	k.mu.Lock()
	if k.offers == nil {
		k.offers = map[string]int{}
	}
	k.offers[subject]++
	verdict := k.verdict
	k.mu.Unlock()
	if verdict != nil {
		if err := verdict(subject); err != nil {
			return err
		}
	}
	k.mu.Lock()
	k.mails = append(k.mails, m)
	k.mu.Unlock()
	if k.each != nil {
		k.each <- subject
	}
	return nil
}

func (k *takes) subjects() []string {
	k.mu.Lock()
	defer k.mu.Unlock()
	var s []string
	for _, m := range k.mails {
		s = append(s, subjectOf(m))
	}
	return s
}

func subjectOf(m notify.Incoming) string {
	if m.TooLarge {
		return "too large"
	}
	msg, err := mail.ReadMessage(bytes.NewReader(m.Raw))
	if err != nil {
		return "unreadable: " + err.Error()
	}
	return msg.Header.Get("Subject")
}

func (k *takes) want(t *testing.T, subjects ...string) {
	t.Helper()
	if got := k.subjects(); !slices.Equal(got, subjects) {
		t.Errorf("took %q, want %q", got, subjects)
	}
}

// journal is a log that tests can read.
type journal struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (j *journal) Write(p []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.buf.Write(p)
}

func (j *journal) String() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.buf.String()
}

func (j *journal) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(j, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// tellsNoPassword looks for the password in errors and logs, in every encoding
// used for the login.
func tellsNoPassword(t *testing.T, texts ...any) {
	t.Helper()
	for _, text := range texts {
		for _, secret := range []string{
			password,
			base64.StdEncoding.EncodeToString([]byte(password)),
			base64.StdEncoding.EncodeToString([]byte("\x00" + lizards + "\x00" + password)),
		} {
			if s := fmt.Sprintf("%v", text); strings.Contains(s, secret) {
				t.Errorf("the password stands in %q", s)
			}
		}
	}
}

// fullDisk is an error that is not caused by the mail.
type fullDisk struct{}

func (fullDisk) Error() string { return "no space left on device" }

// unreadable is an error that the mail itself causes.
type unreadable struct{}

func (unreadable) Error() string    { return "cannot make sense of it" }
func (unreadable) MailsFault() bool { return true }
