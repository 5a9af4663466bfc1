package mailin_test

import (
	"strings"
	"testing"
	"testing/synctest"
)

// The parts of a mail that a server tells may be nested without end. The
// library reads them by recursion, so the connection must end before.
func TestDeepAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		command, answer string
	}{
		"at once":               {"UID FETCH 1 (", "* 1 FETCH (UID 1 BODYSTRUCTURE " + strings.Repeat("(", 1_000_000)},
		"in another answer":     {"UID SEARCH", "* 1 FETCH (BODYSTRUCTURE " + strings.Repeat("(", 400_000)},
		"over many lines":       {"UID FETCH 1 (", "* 1 FETCH (BODYSTRUCTURE " + strings.Repeat("((((((((((((((((((((((((((((((((((((((((({3}\r\nabc ", 10_000)},
		"in messages in others": {"UID SEARCH", "* 1 FETCH (BODYSTRUCTURE " + strings.Repeat(`("message" "rfc822" NIL NIL NIL "7bit" 1 (NIL NIL NIL NIL NIL NIL NIL NIL NIL NIL) `, 12_000)},
		"in a small answer":     {"UID SEARCH", "* 1 FETCH (BODYSTRUCTURE " + strings.Repeat("(", 3000)},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				deliver(t, b, "one")
				answerAt(&o, c.command, "\x00"+c.answer, nil)
				var k takes
				if err := inbox(t, o).Read(t.Context(), k.take); err == nil || !strings.Contains(err.Error(), "open parentheses") {
					t.Errorf("got %.300v", err)
				}
			})
		})
	}
}

// A mail with unbalanced parentheses is read.
func TestAMailWithParentheses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		raw := string(mailOf("sad")) + strings.Repeat("no eggs :( and ((again\r\n", 600)
		if err := b.Deliver(lizards, []byte(raw)); err != nil {
			t.Fatal(err)
		}
		var k takes
		read(t, inbox(t, o), &k)
		k.want(t, "sad")
		if len(k.mails) == 1 && string(k.mails[0].Raw) != raw {
			t.Errorf("%d bytes of %d", len(k.mails[0].Raw), len(raw))
		}
	})
}
