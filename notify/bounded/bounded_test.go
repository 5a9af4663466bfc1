package bounded_test

import (
	"encoding/base64"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"nestround/notify/bounded"
)

func pair(first bounded.Step) (*bounded.Conn, net.Conn) {
	near, far := net.Pipe()
	return bounded.New(near, first), far
}

func TestABudgetHoldsForItsStep(t *testing.T) {
	c, server := pair(bounded.Step{Expected: "a greeting", Bytes: 64 << 10})
	defer server.Close()
	go func() {
		for err := error(nil); err == nil; {
			_, err = server.Write(make([]byte, 1000))
		}
	}()
	if n, err := io.CopyN(io.Discard, c, 60_000); n != 60_000 || err != nil {
		t.Fatalf("%d bytes within the budget, %v", n, err)
	}
	c.Begin(bounded.Step{Expected: "a mail", Bytes: 1 << 20})
	n, err := io.Copy(io.Discard, c)
	if n > 1<<20 || n < 1<<19 {
		t.Errorf("%d bytes came through", n)
	}
	const want = "the server sent more than 1024 KiB where a mail was expected"
	if err == nil || err.Error() != want || c.Err() != err {
		t.Errorf("got %v, want %s", err, want)
	}
	c.Begin(bounded.Step{Expected: "anything", Bytes: 1 << 30})
	if _, again := c.Read(make([]byte, 1)); again != err {
		t.Errorf("a later step got %v", again)
	}
	if _, again := c.Write(make([]byte, 1)); again != err || !c.Lost() {
		t.Errorf("a later write got %v", again)
	}
}

// A byte a second would satisfy every deadline that is set for one read.
func TestADrippingServerIsEndedByTheStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, server := pair(bounded.Step{Expected: "a greeting", Bytes: 1 << 10, Time: time.Minute})
		defer server.Close()
		done := make(chan struct{})
		go func() {
			defer close(done)
			for err := error(nil); err == nil; time.Sleep(time.Second) {
				_, err = server.Write([]byte("x"))
			}
		}()
		began := time.Now()
		var err error
		for err == nil {
			c.SetReadDeadline(time.Now().Add(30 * time.Second))
			_, err = c.Read(make([]byte, 10))
			c.SetReadDeadline(time.Time{})
		}
		took := time.Since(began)
		<-done
		if took != time.Minute {
			t.Errorf("took %s", took)
		}
		var timeout net.Error
		if !errors.Is(err, os.ErrDeadlineExceeded) || !errors.As(err, &timeout) || !timeout.Timeout() {
			t.Errorf("%v is no time limit", err)
		}
		if want := "no answer within 1m0s where a greeting was expected"; err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	})
}

func TestAStepWithoutTimeWaitsAsTheLibrarySays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, server := pair(bounded.Step{Bytes: 1, Time: time.Second})
		defer server.Close()
		c.Begin(bounded.Step{Bytes: 1})
		c.SetDeadline(time.Now().Add(time.Hour))
		began := time.Now()
		if _, err := c.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) || c.Err() != nil {
			t.Errorf("got %v, %v", err, c.Err())
		}
		if took := time.Since(began); took != time.Hour {
			t.Errorf("took %s", took)
		}
	})
}

// A server that reads nothing must not hold a step either.
func TestAWriteEndsWithTheStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, server := pair(bounded.Step{Expected: "an answer", Bytes: 1, Time: time.Second})
		defer server.Close()
		if _, err := c.Write([]byte("x")); !errors.Is(err, os.ErrDeadlineExceeded) || !c.Lost() {
			t.Errorf("got %v", err)
		}
	})
}

func TestWords(t *testing.T) {
	for text, want := range map[string]string{
		"later":                           "later",
		" two\r\n lines\tand\u2028three ": "two lines and three",
		"a\x1b[31mred\x00\x7f":            "a?[31mred??",
		"rtl \u202egnp.exe\u2066":         "rtl ?gnp.exe?",
		"no\xffutf8":                      "no?utf8",
		"grüße 🦎":                         "grüße 🦎",
		"":                                "",
	} {
		if got := bounded.Words(text, nil); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
	for _, long := range []string{strings.Repeat("ä", 10_000), strings.Repeat("x y ", 10_000)} {
		if got := bounded.Words(long, nil); utf8.RuneCountInString(got) > bounded.MaxWords || !strings.HasSuffix(got, "…") {
			t.Errorf("%d characters are left", utf8.RuneCountInString(got))
		}
	}
	if got := bounded.Words(strings.Repeat("x", bounded.MaxWords), nil); utf8.RuneCountInString(got) > bounded.MaxWords {
		t.Errorf("%d characters are left", utf8.RuneCountInString(got))
	}
}

func TestNoFormOfThePasswordIsShown(t *testing.T) {
	for _, password := range []string{`damp"vermi\culite 7`, "übergroß?ÿÿþ", "abcdef"} {
		secrets := bounded.NewSecrets(password)
		for _, user := range []string{"", "l", "li", "liz", "lizards@example.org"} {
			for _, e := range []*base64.Encoding{base64.StdEncoding, base64.RawURLEncoding} {
				for _, text := range []string{
					"\x00" + user + "\x00" + password, user + "\x00" + password, "x" + user + password + "yz",
				} {
					got := bounded.Words("I do not know "+e.EncodeToString([]byte(text))+" here", secrets)
					if got != "I do not know [password] here" {
						t.Errorf("%q is shown in %q", password, got)
					}
				}
			}
		}
		for _, text := range []string{password, strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(password)} {
			if got := bounded.Words("no "+text+".", secrets); got != "no [password]." {
				t.Errorf("%q is shown in %q", password, got)
			}
		}
		// A long text is cut only after the password was hidden.
		if got := bounded.Words(strings.Repeat("x", bounded.MaxWords-len(password)/2)+password, secrets); strings.Contains(got, password[:3]) {
			t.Errorf("a part of %q is shown in %q", password, got)
		}
	}
	if got := bounded.Words("x", bounded.NewSecrets("")); got != "x" {
		t.Errorf("without a password: %q", got)
	}
}
