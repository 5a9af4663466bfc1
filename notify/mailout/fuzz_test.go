package mailout_test

import (
	"context"
	"net"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"nestround/notify/bounded"
	"nestround/notify/mailout"
	"nestround/notify/practice"
)

// FuzzSend sends a mail through a server that answers any bytes.
func FuzzSend(f *testing.F) {
	hello := "220 hello\r\n\x1e250-practice\r\n250 AUTH "
	for _, script := range []string{
		"", "554 no\r\n", "220-a\r\n220 b\r\n", hello + "PLAIN\r\n\x1e535 no\r\n", hello + "LOGIN\r\n\x1e334 VXNlcm5hbWU6\r\n\x1e334 UGFzc3dvcmQ6\r\n\x1e235 in\r\n",
		hello + "PLAIN\r\n\x1e235 in\r\n\x1e250 ok\r\n\x1e250 ok\r\n\x1e354 go on\r\n\x1e250 taken\r\n\x1e221 bye\r\n",
		hello + "PLAIN\r\n\x1e235 in\r\n\x1e250 ok\r\n\x1e250 ok\r\n\x1e354 go on\r\n\x1e451 later\r\n",
		hello + "CRAM-MD5\r\n\x1e334 PDE4OTYuNjk3MTcwOTUyQHBvc3RvZmZpY2U+\r\n\x1e235 in\r\n\x1e421 no\r\n",
		hello + "SCRAM-SHA-256\r\n\x1e334 \r\n\x1e334 cj0scz1jMkZzZEE9PSxpPTQwOTY=\r\n\x1e334 dj14\r\n\x1e235 in\r\n",
		"220 hello\r\n\x1e502 no\r\n\x1e250 hello\r\n",
	} {
		f.Add([]byte(script))
	}
	f.Fuzz(func(t *testing.T, script []byte) {
		near, far := net.Pipe()
		said := make(chan struct{})
		go func() {
			defer close(said)
			practice.PlayScript(far, script)
		}()
		s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, User: lizards, Password: password,
			Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }})

		err := s.Send(t.Context(), outgoing(t))
		<-said
		if err == nil {
			return
		}
		e := failure(t, err)
		if text := e.Err.Error(); utf8.RuneCountInString(text) > bounded.MaxWords || strings.ContainsFunc(text, unicode.IsControl) {
			t.Errorf("the error has %d bytes: %q", len(text), text)
		}
		if e.MayHaveArrived && (e.Code/100 == 4 || e.Code/100 == 5) {
			t.Errorf("%v: refused, and may have arrived", e)
		}
	})
}
