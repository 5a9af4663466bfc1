package calendar

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf16"
)

func TestLifeOfLink(t *testing.T) {
	s := newServer(t)
	path, token := s.link("Anna's phone", "")
	if raw, err := base64.RawURLEncoding.DecodeString(token); err != nil || len(raw) != 32 || len(token) != 43 {
		t.Fatalf("token of %d characters, %d octets, %v", len(token), len(raw), err)
	}
	status := func(path string) int { return s.ask("GET", path).status }
	if got := status(path); got != 200 {
		t.Fatalf("new: %d", got)
	}

	s.pass(time.Hour)
	token2, link2, err := s.links.Renew("Anna's phone", 14*24*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	path2 := PathPrefix + token2 + "/husbandry.ics"
	old, fresh := s.ask("GET", path), s.ask("GET", path2)
	const notice = "SUMMARY:This calendar's link was renewed: subscribe to the new one"
	if old.status != 200 || !strings.Contains(string(old.body), notice) || !strings.Contains(string(old.body), "works until Wed 26 May 2") {
		t.Errorf("old link: %d\n%s", old.status, old.body)
	}
	if fresh.status != 200 || strings.Contains(string(fresh.body), notice) {
		t.Errorf("new link: %d\n%s", fresh.status, fresh.body)
	}
	mustBeValid(t, old.body)
	if o, n := len(byUID(mustBeValid(t, old.body))), len(byUID(mustBeValid(t, fresh.body))); o != n+1 {
		t.Errorf("%d events by the old link, %d by the new", o, n)
	}

	s.pass(14*24*time.Hour - time.Second)
	if got := status(path); got != 200 {
		t.Errorf("at the end of the grace: %d", got)
	}
	s.pass(time.Second)
	if got := status(path); got != 404 {
		t.Errorf("after the grace: %d", got)
	}
	if err := s.links.Withdraw("Anna's phone"); err != nil {
		t.Fatal(err)
	}
	if got := status(path2); got != 404 {
		t.Errorf("withdrawn: %d", got)
	}

	list, err := s.links.List()
	if err != nil || len(list) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	hash := sha256.Sum256([]byte(token2))
	if l := list[1]; l.ID != link2.ID || l.Hash != hex.EncodeToString(hash[:]) || l.Label != "Anna's phone" || l.Works(s.clock()) {
		t.Errorf("%+v", l)
	}
	if l := list[0]; !l.Created.Equal(morning) || !l.Until.Equal(morning.Add(time.Hour+14*24*time.Hour)) || !l.Withdrawn.IsZero() {
		t.Errorf("%+v", l)
	}
}

func TestLinksByName(t *testing.T) {
	now := morning
	l := NewLinks(&Memory{}, func() time.Time { return now })
	_, phone, err := l.New(" phone\r\n", Scope{Room: "H"})
	if err != nil || phone.Label != "phone" || phone.Room != "H" {
		t.Fatalf("%+v, %v", phone, err)
	}
	for name, f := range map[string]func() error{
		"a link without a label": func() error { _, _, err := l.New(" \n", Scope{}); return err },
		"a label that is taken":  func() error { _, _, err := l.New("phone", Scope{}); return err },
		"an unknown name":        func() error { return l.Withdraw("tablet") },
		"an empty name":          func() error { return l.Withdraw("") },
		"renewing an unknown":    func() error { _, _, err := l.Renew("tablet", time.Hour); return err },
	} {
		if err := f(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if err := l.Withdraw("tablet"); !errors.Is(err, ErrNoLink) {
		t.Errorf("%v", err)
	}
	_, next, err := l.Renew(phone.ID, time.Hour)
	if err != nil || next.Room != "H" || next.Label != "phone" || next.ID == phone.ID {
		t.Fatalf("%+v, %v", next, err)
	}
	if _, _, err := l.Renew(phone.ID, time.Hour); err == nil {
		t.Error("a link was renewed twice")
	}
	// The old link can be withdrawn by its id before its time of grace is over.
	if err := l.Withdraw(phone.ID); err != nil {
		t.Error(err)
	}
	if err := l.Withdraw("phone"); err != nil {
		t.Error(err)
	}
	if err := l.Withdraw("phone"); !errors.Is(err, ErrNoLink) {
		t.Errorf("withdrawn twice: %v", err)
	}
	if _, _, err := l.New("phone", Scope{}); err != nil {
		t.Errorf("the label of a withdrawn link is free again: %v", err)
	}
}

// A lost phone may have the address from before the renewal.
func TestWithdrawLabelEndsAllItsLinks(t *testing.T) {
	now := morning
	l := NewLinks(&Memory{}, func() time.Time { return now })
	var tokens []string
	for _, label := range []string{"phone", "tablet"} {
		token, _, err := l.New(label, Scope{})
		if err != nil {
			t.Fatal(err)
		}
		tokens = append(tokens, token)
	}
	renewed, _, err := l.Renew("phone", 30*24*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Withdraw("phone"); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		token string
		works bool
	}{
		"before it was renewed": {tokens[0], false},
		"since it was renewed":  {renewed, false},
		"another's":             {tokens[1], true},
	} {
		if _, err := l.lookup(c.token); (err == nil) != c.works {
			t.Errorf("the address %s: %v", name, err)
		}
	}
}

func TestLastFetch(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	get := func() Link {
		t.Helper()
		list, err := s.links.List()
		if err != nil {
			t.Fatal(err)
		}
		return list[0]
	}
	if l := get(); !l.Fetched.IsZero() {
		t.Errorf("fetched %s before anybody asked", l.Fetched)
	}
	s.ask("GET", path, "User-Agent", "SomeCalendar/1.0\t(phone)")
	if l := get(); !l.Fetched.Equal(morning) || l.Agent != "SomeCalendar/1.0 (phone)" {
		t.Errorf("%s by %q", l.Fetched, l.Agent)
	}
	s.pass(40 * time.Minute)
	s.ask("HEAD", path)
	if l := get(); !l.Fetched.Equal(morning.Add(40 * time.Minute)) {
		t.Errorf("fetched %s", l.Fetched)
	}
	// After a restart, the time is known to within an hour.
	s.start()
	if l := get(); !l.Fetched.Equal(morning) {
		t.Errorf("after a start: %s", l.Fetched)
	}
	s.pass(time.Hour)
	s.ask("GET", path, "If-None-Match", "*")
	s.start()
	if l := get(); !l.Fetched.Equal(morning.Add(100 * time.Minute)) {
		t.Errorf("after another: %s", l.Fetched)
	}
}

// locked is a store shared by several processes.
type locked struct {
	Memory
	held, times int
}

func (l *locked) Lock() (func(), error) {
	l.held++
	l.times++
	return func() { l.held-- }, nil
}

func (l *locked) Save(name string, data []byte) error {
	if l.held != 1 && name != fetchesFile {
		return errors.New("saved without the lock")
	}
	return l.Memory.Save(name, data)
}

func TestSharedStoreIsLocked(t *testing.T) {
	var l locked
	links := NewLinks(&l, func() time.Time { return morning })
	if _, _, err := links.New("phone", Scope{}); err != nil {
		t.Error(err)
	}
	if _, err := Render(sample(), Scope{}, NewRevisions(&l)); err != nil {
		t.Error(err)
	}
	if l.times != 2 || l.held != 0 {
		t.Errorf("locked %d times, still held %d", l.times, l.held)
	}
}

func TestAddress(t *testing.T) {
	token := strings.Repeat("T", 43)
	for _, c := range []struct{ name, base, words, want string }{
		{"ordinary", "https://lizards.example.org", "Gecko room", "https://lizards.example.org/cal/" + token + "/gecko-room.ics"},
		{"with a path", "https://example.org/nest/", "x", "https://example.org/nest/cal/" + token + "/x.ics"},
		{"no words", "https://example.org", "", "https://example.org/cal/" + token + "/husbandry.ics"},
		{"words of another script", "https://example.org", "トカゲ", "https://example.org/cal/" + token + "/husbandry.ics"},
		{"a path as the name", "https://example.org", "../../etc/passwd", "https://example.org/cal/" + token + "/etc-passwd.ics"},
		{"many words", "https://example.org", strings.Repeat("egg room ", 20), "https://example.org/cal/" + token + "/egg-room-egg-room-egg-room-egg-room-egg.ics"},
		{"with a query", "https://example.org/?a=b", "x", ""},
		{"with a password", "https://a:b@example.org", "x", ""},
		{"another scheme", "ftp://example.org", "x", ""},
		{"with a line break", "https://example.org\r\nX: y", "x", ""},
		{"too long for Google", "https://" + strings.Repeat("a", 200) + ".example.org", "x", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Address(c.base, token, c.words)
			if got != c.want || (err == nil) != (c.want != "") {
				t.Errorf("got %q, %v, want %q", got, err, c.want)
			}
			if n := len(utf16.Encode([]rune(Subscribe(got)))); n > 255 {
				t.Errorf("%d UTF-16 units", n)
			}
		})
	}
	// An address of the greatest length stays below 256 characters in both
	// forms.
	base := "https://" + strings.Repeat("a", maxAddress-len("https:///cal/"+token+"/x.ics"))
	a, err := Address(base, token, "x")
	if err != nil || len(a) != maxAddress || len(Subscribe(a)) > 255 {
		t.Errorf("%d, %v", len(a), err)
	}
	if got := Subscribe("http://127.0.0.1:8734/cal/x/y.ics"); got != "webcal://127.0.0.1:8734/cal/x/y.ics" {
		t.Errorf("%s", got)
	}
}
