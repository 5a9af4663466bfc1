package mailin_test

import (
	"context"
	"errors"
	"net"
	"testing"
	"testing/synctest"

	"nestround/notify/mailin"
)

// The digest and check say in plain words why replies cannot be read.
func TestPlainReasons(t *testing.T) {
	check := func(t *testing.T, o mailin.Options, want string) {
		t.Helper()
		err := inbox(t, o).Read(t.Context(), new(takes).take)
		var failed *mailin.ReadError
		if !errors.As(err, &failed) || failed.Plain() != want {
			t.Errorf("got %v, plainly %q; want %q", err, failed.Plain(), want)
		}
	}
	for _, c := range []struct{ command, answer, want string }{
		{"AUTHENTICATE", " NO [AUTHENTICATIONFAILED] no\r\n", "localhost:143 refuses the user or the password; look at [mail.in]"},
		{"EXAMINE", " NO [UNAVAILABLE] 5f3a backend\r\n", "localhost:143 is there, and does not hand out the mails at present"},
		{"EXAMINE", "\x00", "localhost:143 does not answer"},
	} {
		t.Run(c.want, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				answerAt(&o, c.command, c.answer, nil)
				check(t, o, c.want)
			})
		})
	}
	for want, err := range map[string]error{
		"localhost:143 cannot be reached": &net.OpError{Op: "dial", Net: "tcp", Err: errors.New("connection refused")},
	} {
		t.Run(want, func(t *testing.T) {
			check(t, mailin.Options{Addr: "localhost:143", Security: mailin.None,
				Dial: func(context.Context, string, string) (net.Conn, error) { return nil, err }}, want)
		})
	}
}
