package mailin_test

import (
	"context"
	"net"
	"strings"
	"testing"
	"time"
	"unicode"

	"nestround/notify"
	"nestround/notify/bounded"
	"nestround/notify/mailin"
	"nestround/notify/practice"
)

// FuzzRead reads a mailbox from a server that sends any bytes.
func FuzzRead(f *testing.F) {
	login := "* OK [CAPABILITY IMAP4rev1 IDLE AUTH=PLAIN] hello\r\n\x1e+ \r\n\x1e\x1f OK [CAPABILITY IMAP4rev1 IDLE] in\r\n\x1e"
	opened := login + "* FLAGS (\\Seen)\r\n* 1 EXISTS\r\n* OK [UIDVALIDITY 7] x\r\n* OK [UIDNEXT 2] x\r\n\x1f OK [READ-ONLY] open\r\n\x1e"
	sized := opened + "* SEARCH 1\r\n\x1f OK found\r\n\x1e* 1 FETCH (UID 1 RFC822.SIZE 30)\r\n\x1f OK done\r\n\x1e"
	large := opened + "* ESEARCH (TAG \"\x1f\") UID ALL 1:2\r\n\x1f OK found\r\n\x1e* 1 FETCH (UID 1 RFC822.SIZE 9000000)\r\n\x1f OK done\r\n\x1e"
	for _, script := range []string{
		"", "* BYE no\r\n", "* PREAUTH hello\r\n\x1e* CAPABILITY IMAP4rev1\r\n\x1f OK\r\n", login, login[:60] + "\x1f NO [AUTHENTICATIONFAILED] no\r\n",
		opened + "* SEARCH\r\n\x1f OK nothing\r\n", opened + "\x1f NO [UNAVAILABLE] later\r\n", opened + "* SEARCH 0 4294967295\r\n\x1f OK\r\n",
		sized + "* 1 FETCH (UID 1 BODY[]<0> {30}\r\nSubject: done 1\r\n\r\ndone 1 3\r\n\r\n)\r\n\x1f OK done\r\n\x1e* BYE\r\n\x1f OK bye\r\n",
		sized + "* 1 FETCH (UID 1 BODY[]<0> NIL)\r\n\x1f OK done\r\n", sized + "\x1f NO [SERVERBUG] broken\r\n",
		large + "* 1 FETCH (UID 1 BODYSTRUCTURE ((\"text\" \"plain\" (\"charset\" \"utf-8\") NIL NIL \"7bit\" 8 1 NIL NIL NIL NIL)(\"image\" \"jpeg\" NIL NIL NIL \"base64\" 9000000) \"mixed\" (\"boundary\" \"b\")) BODY[HEADER]<0> {54}\r\nContent-Type: multipart/mixed; boundary=b\r\nSubject: x\r\n\r\n)\r\n\x1f OK\r\n\x1e* 1 FETCH (UID 1 BODY[1.MIME]<0> {2}\r\n\r\n)\r\n\x1f OK\r\n\x1e* 1 FETCH (UID 1 BODY[1]<0> {8}\r\ndone 1\r\n)\r\n\x1f OK\r\n",
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
		in := inbox(t, mailin.Options{Addr: "localhost:143", Security: mailin.None, Timeout: time.Second,
			Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }})
		err := in.Read(t.Context(), func(m notify.Incoming) error {
			if len(m.Raw) > 2*mailin.MaxSize {
				t.Errorf("a mail of %d bytes", len(m.Raw))
			}
			return nil
		})
		<-said
		if err == nil {
			return
		}
		tellsNoPassword(t, err)
		if text := err.Error(); len(text) > 4*bounded.MaxWords+200 || strings.ContainsFunc(text, unicode.IsControl) {
			t.Errorf("the error has %d bytes: %q", len(text), text)
		}
	})
}
