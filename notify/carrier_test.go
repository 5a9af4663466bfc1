package notify

import (
	"bytes"
	"crypto/rand"
	"errors"
	"net/mail"
	"strings"
	"testing"
)

const aToken = "abcdefghijklmnopqrstuvwxyz"

func TestIssueIDAndTokenRoundTrip(t *testing.T) {
	seen := make(map[string]bool)
	for range 2000 {
		id, err := NewIssueID(rand.Reader, func(id string) bool { return seen[id] })
		if err != nil {
			t.Fatal(err)
		}
		if seen[id] {
			t.Fatalf("id %s came twice", id)
		}
		seen[id] = true
		if strings.ContainsAny(id, "01BILOSUVZ") {
			t.Errorf("id %s holds a character that is mistaken for another", id)
		}
		token, err := NewToken(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := SubjectID("Re: Monday's round " + SubjectTag(id)); !ok || got != id {
			t.Errorf("subject tag of %s read as %q", id, got)
		}
		if got, ok := AddressToken(PlusAddress("lizards@example.org", token)); !ok || got != token {
			t.Errorf("token %s in an address read as %q", token, got)
		}
		if gotID, gotToken, ok := Marker(MarkerLine(id, token)); !ok || gotID != id || gotToken != token {
			t.Errorf("marker of %s %s read as %q %q", id, token, gotID, gotToken)
		}
	}
}

// If letters were not equally likely, a token would have fewer than its 130
// bits.
func TestPickIsEven(t *testing.T) {
	var every [256]byte
	for i := range every {
		every[i] = byte(i)
	}
	for _, from := range []string{idLetters, idDigits, tokenLetters} {
		r := bytes.NewReader(every[:])
		n := make(map[byte]int)
		for {
			c, err := pick(r, from)
			if err != nil {
				break
			}
			n[c]++
		}
		for i := range from {
			if n[from[i]] != 256/len(from) {
				t.Errorf("%c of %s is picked %d times of 256", from[i], from, n[from[i]])
			}
		}
	}
}

func TestNewIssueIDFails(t *testing.T) {
	if id, err := NewIssueID(rand.Reader, func(string) bool { return true }); err == nil {
		t.Errorf("all ids taken, yet got %s", id)
	}
	if id, err := NewIssueID(strings.NewReader("ab"), func(string) bool { return false }); err == nil {
		t.Errorf("no randomness left, yet got %s", id)
	}
	if token, err := NewToken(brokenReader{}); err == nil {
		t.Errorf("no randomness, yet got %s", token)
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, errors.New("no entropy") }

func TestPlusAddress(t *testing.T) {
	for _, c := range []struct{ addr, want string }{
		{"lizards@example.org", "lizards+d." + aToken + "@example.org"},
		{"lizards+box@example.org", "lizards+box+d." + aToken + "@example.org"},
		{"Round <lizards@example.org>", "Round <lizards+d." + aToken + "@example.org>"},
		{`"the lizards"@example.org`, `"the lizards+d.` + aToken + `"@example.org`},
		{"lizards", "lizards"},
	} {
		got := PlusAddress(c.addr, aToken)
		if got != c.want {
			t.Errorf("PlusAddress(%q) = %q, want %q", c.addr, got, c.want)
		}
		if !strings.Contains(c.addr, "@") {
			continue
		}
		// net/mail decides whether a string is an address.
		if _, err := mail.ParseAddress(got); err != nil {
			t.Errorf("PlusAddress(%q) = %q, which is no address: %v", c.addr, got, err)
		}
		if token, ok := AddressToken(got); !ok || token != aToken {
			t.Errorf("token of %q read as %q", got, token)
		}
	}
	for _, addr := range []string{"lizards@example.org", "lizards+d.short@example.org", "lizards+x." + aToken + "@example.org", ""} {
		if token, ok := AddressToken(addr); ok {
			t.Errorf("%q has no token, got %q", addr, token)
		}
	}
	if token, _ := AddressToken("LIZARDS+D." + strings.ToUpper(aToken) + "@EXAMPLE.ORG"); token != aToken {
		t.Errorf("token in capitals read as %q", token)
	}
}

func TestSubjectID(t *testing.T) {
	for _, c := range []struct{ subject, want string }{
		{"Re: Tuesday 24 November [#K7Q2]", "K7Q2"},
		{"AW: WG: Tuesday [#k7q2]", "K7Q2"},
		{"Re: [#K7Q2] and [#H4C6]", "K7Q2"},
		{"Re: [#1234]", ""},
		{"Re: [K7Q2]", ""},
		{"Re: #K7Q2", ""},
		{"", ""},
	} {
		got, ok := SubjectID(c.subject)
		if got != c.want || ok != (c.want != "") {
			t.Errorf("SubjectID(%q) = %q, want %q", c.subject, got, c.want)
		}
	}
}

func TestMarker(t *testing.T) {
	for _, line := range []string{
		"Ref K7Q2 " + aToken,
		"> > Ref K7Q2 " + aToken,
		">Ref K7Q2 " + aToken,
		"  ref  k7q2\u00a0" + aToken + "  ",
		"*Ref K7Q2 " + aToken + "*",
	} {
		if id, token, ok := Marker(line); !ok || id != "K7Q2" || token != aToken {
			t.Errorf("Marker(%q) = %q, %q, %v", line, id, token, ok)
		}
	}
	for _, line := range []string{
		"Ref K7Q2", "Ref K7Q2 " + aToken[1:], "Ref K7Q2 " + aToken + "a", "Href K7Q2 " + aToken, "",
	} {
		if id, token, ok := Marker(line); ok {
			t.Errorf("Marker(%q) = %q, %q, want none", line, id, token)
		}
	}
}
