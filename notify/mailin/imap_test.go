package mailin_test

import (
	"bytes"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"nestround/notify/mailin"
	"nestround/notify/practice"
)

func newBox(t *testing.T) *practice.Box {
	t.Helper()
	b := practice.New()
	if err := b.AddUser(lizards, password); err != nil {
		t.Fatal(err)
	}
	return b
}

func deliver(t *testing.T, b *practice.Box, subjects ...string) {
	t.Helper()
	for _, s := range subjects {
		if err := b.Deliver(lizards, mailOf(s)); err != nil {
			t.Fatal(err)
		}
	}
}

func inbox(t *testing.T, o mailin.Options) *mailin.IMAP {
	t.Helper()
	if o.User == "" {
		o.User, o.Password = lizards, password
	}
	if o.State == nil {
		o.State = &memory{}
	}
	if o.Log == nil {
		o.Log = new(journal).logger()
	}
	b, err := mailin.NewIMAP(o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// piped serves a box through a pipe, for use under synctest. It returns the
// options to connect to it.
func piped(t *testing.T) (*practice.Box, mailin.Options) {
	t.Helper()
	b, pipe := newBox(t), practice.NewPipe()
	b.Serve(nil, pipe)
	return b, mailin.Options{Addr: "localhost:143", Security: mailin.None, State: &memory{}, Dial: pipe.DialContext}
}

func read(t *testing.T, b *mailin.IMAP, k *takes) {
	t.Helper()
	if err := b.Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
}

func TestReadOverEachSecurity(t *testing.T) {
	cfg, authority, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(authority)
	protected, clear := newBox(t), newBox(t)
	if err := protected.Start(cfg); err != nil {
		t.Fatal(err)
	}
	defer protected.Stop()
	if err := clear.Start(nil); err != nil {
		t.Fatal(err)
	}
	defer clear.Stop()
	deliver(t, protected, "one", "two", "three")
	deliver(t, clear, "one", "two", "three")
	for _, c := range []struct {
		security mailin.Security
		addr     string
	}{{mailin.TLS, protected.IMAPS()}, {mailin.STARTTLS, protected.IMAP()}, {mailin.None, clear.IMAP()}} {
		t.Run(string(c.security), func(t *testing.T) {
			var k takes
			b := inbox(t, mailin.Options{Addr: c.addr, Security: c.security, CA: pool})
			read(t, b, &k)
			read(t, b, &k)
			k.want(t, "one", "two", "three")
			if m := k.mails[1]; m.Ref != "INBOX;UIDVALIDITY=1;UID=2" || !bytes.Equal(m.Raw, mailOf("two")) ||
				m.Size != int64(len(mailOf("two"))) {
				t.Errorf("%+v", m)
			}
		})
	}
}

func TestNoFallbackToClearText(t *testing.T) {
	cfg, _, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	protected, clear := newBox(t), newBox(t)
	if err := protected.Start(cfg); err != nil {
		t.Fatal(err)
	}
	defer protected.Stop()
	if err := clear.Start(nil); err != nil {
		t.Fatal(err)
	}
	defer clear.Stop()
	for name, o := range map[string]mailin.Options{
		"untrusted certificate, TLS":      {Addr: protected.IMAPS(), Security: mailin.TLS},
		"untrusted certificate, STARTTLS": {Addr: protected.IMAP(), Security: mailin.STARTTLS},
		"STARTTLS not offered":            {Addr: clear.IMAP(), Security: mailin.STARTTLS},
		"login refused in clear text":     {Addr: protected.IMAP(), Security: mailin.None},
		"a localhost on another machine": {Addr: "localhost:143", Security: mailin.None,
			Dial: func(context.Context, string, string) (net.Conn, error) {
				near, _ := net.Pipe()
				return elsewhere{near}, nil
			}},
	} {
		t.Run(name, func(t *testing.T) {
			err := inbox(t, o).Read(t.Context(), new(takes).take)
			if err == nil {
				t.Fatal("it was read")
			}
			tellsNoPassword(t, err)
		})
	}
}

type elsewhere struct{ net.Conn }

// 192.0.2.1 is TEST-NET-1 of RFC 5737.
func (elsewhere) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.IPv4(192, 0, 2, 1), Port: 143} }

func TestInvalidOptions(t *testing.T) {
	good := mailin.Options{Addr: "imap.example.org:993", Security: mailin.TLS, User: lizards, Password: password, State: &memory{}}
	if _, err := mailin.NewIMAP(good); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*mailin.Options){
		"no port":                       func(o *mailin.Options) { o.Addr = "imap.example.org" },
		"no host":                       func(o *mailin.Options) { o.Addr = ":993" },
		"no security":                   func(o *mailin.Options) { o.Security = "" },
		"unknown security":              func(o *mailin.Options) { o.Security = "ssl" },
		"clear text to another machine": func(o *mailin.Options) { o.Security = mailin.None },
		"clear text to a look-alike of localhost": func(o *mailin.Options) { o.Addr, o.Security = "localhost.example.org:143", mailin.None },
		"no user":     func(o *mailin.Options) { o.User = "" },
		"no password": func(o *mailin.Options) { o.Password = "" },
		"no state":    func(o *mailin.Options) { o.State = nil },
	} {
		o := good
		change(&o)
		if _, err := mailin.NewIMAP(o); err == nil {
			t.Errorf("%s: accepted", name)
		} else {
			tellsNoPassword(t, err)
		}
	}
}

func TestWrongPassword(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		if err := b.AddUser("keeper@example.org", "another"); err != nil {
			t.Fatal(err)
		}
		var dials atomic.Int32
		dial := o.Dial
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			dials.Add(1)
			return dial(ctx, n, a)
		}
		var log journal
		o.User, o.Password, o.Log = "keeper@example.org", password, log.logger()
		in := inbox(t, o)
		err := in.Read(t.Context(), new(takes).take)
		if err == nil || !strings.Contains(err.Error(), "log in") {
			t.Errorf("got %v", err)
		}
		// Repeated logins must not lock the account.
		dials.Store(0)
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		if err := in.Watch(ctx, new(takes).take); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("Watch returned %v", err)
		}
		if n := dials.Load(); n < 10 || n > 13 { // every five minutes
			t.Errorf("%d attempts to log in within an hour", n)
		}
		tellsNoPassword(t, err, log.String())
	})
}

// Some servers repeat the text that a client sent.
func TestPasswordRepeatedByTheServer(t *testing.T) {
	for _, capability := range []string{"IMAP4rev1 AUTH=PLAIN SASL-IR", "IMAP4rev1"} {
		near, far := net.Pipe()
		go func() {
			defer far.Close()
			fmt.Fprintf(far, "* OK [CAPABILITY %s] hello\r\n", capability)
			buf := make([]byte, 4096)
			n, _ := far.Read(buf)
			line := strings.TrimSpace(string(buf[:n]))
			tag, rest, _ := strings.Cut(line, " ")
			fmt.Fprintf(far, "%s NO [AUTHENTICATIONFAILED] what do you mean by %s\r\n", tag, rest)
			far.Read(buf)
		}()
		var log journal
		in := inbox(t, mailin.Options{Addr: "localhost:143", Security: mailin.None, Log: log.logger(),
			Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }})
		err := in.Read(t.Context(), new(takes).take)
		if err == nil || !strings.Contains(err.Error(), "what do you mean by") || !strings.Contains(err.Error(), "[password]") {
			t.Errorf("%s: got %v", capability, err)
		}
		tellsNoPassword(t, err, log.String())
	}
}

func TestMailboxIsUnchanged(t *testing.T) {
	b := newBox(t)
	if err := b.Start(nil); err != nil {
		t.Fatal(err)
	}
	defer b.Stop()
	deliver(t, b, "one", "two")
	var k takes
	read(t, inbox(t, mailin.Options{Addr: b.IMAP(), Security: mailin.None}), &k)
	c, err := imapclient.DialInsecure(b.IMAP(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.Login(lizards, password).Wait(); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Select("INBOX", nil).Wait(); err != nil {
		t.Fatal(err)
	}
	got, err := c.Fetch(imap.UIDSetNum(1, 2), &imap.FetchOptions{Flags: true}).Collect()
	if err != nil || len(got) != 2 {
		t.Fatalf("%d mails, %v", len(got), err)
	}
	for _, m := range got {
		if len(m.Flags) != 0 {
			t.Errorf("mail %d has flags %v", m.SeqNum, m.Flags)
		}
	}
}

func TestHugeMailIsNotFetched(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		huge := append(mailOf("huge"), bytes.Repeat([]byte("x"), mailin.MaxSize)...)
		just := append(mailOf("just"), bytes.Repeat([]byte("x"), mailin.MaxSize-len(mailOf("just")))...)
		for _, raw := range [][]byte{mailOf("before"), huge, just, mailOf("after")} {
			if err := b.Deliver(lizards, raw); err != nil {
				t.Fatal(err)
			}
		}
		var received atomic.Int64
		dial := o.Dial
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			c, err := dial(ctx, n, a)
			return &counting{Conn: c, received: &received}, err
		}
		var k takes
		read(t, inbox(t, o), &k)
		k.want(t, "before", "too large", "just", "after")
		if m := k.mails[1]; !bytes.HasPrefix(mailOf("huge"), m.Raw) || len(m.Raw) == 0 || m.Size != int64(len(huge)) {
			t.Errorf("%d bytes of the huge mail, stated size %d", len(m.Raw), m.Size)
		}
		if n := received.Load(); n > int64(len(just)+10_000) {
			t.Errorf("%d bytes came over the wire", n)
		}
	})
}

// counting counts the bytes received and the commands sent. It breaks the
// connection at write number cutAt.
type counting struct {
	net.Conn
	received *atomic.Int64
	idles    *atomic.Int64
	writes   *atomic.Int64
	cutAt    int64
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if c.received != nil {
		c.received.Add(int64(n))
	}
	return n, err
}

func (c *counting) Write(p []byte) (int, error) {
	if c.idles != nil && bytes.HasSuffix(p, []byte(" IDLE\r\n")) {
		c.idles.Add(1)
	}
	if c.writes != nil && c.writes.Add(1) == c.cutAt {
		c.Conn.Close()
		return 0, net.ErrClosed
	}
	return c.Conn.Write(p)
}

// If the connection breaks at any command, the next Read takes the remaining
// mails, and none is missed. A mail may come twice if its position was not
// saved.
func TestConnectionBreaksAtEachCommand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		var want []string
		for i := range 3 {
			want = append(want, fmt.Sprint("mail ", i))
		}
		deliver(t, b, want...)
		dial := o.Dial
		broken := 0
		for cutAt := int64(1); ; cutAt++ {
			o.State = &memory{}
			var writes, dials atomic.Int64
			o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
				c, err := dial(ctx, n, a)
				if dials.Add(1) > 1 {
					return c, err
				}
				return &counting{Conn: c, writes: &writes, cutAt: cutAt}, err
			}
			in := inbox(t, o)
			var k takes
			err := in.Read(t.Context(), k.take)
			if err != nil {
				broken++
			}
			read(t, in, &k)
			if got := slices.Compact(slices.Sorted(slices.Values(k.subjects()))); !slices.Equal(got, want) {
				t.Errorf("broken at write %d: took %q", cutAt, got)
			}
			if n := len(k.mails); n > len(want) {
				t.Errorf("broken at write %d: %d mails came twice, though their position was saved", cutAt, n-len(want))
			}
			if writes.Load() < cutAt {
				break // all commands have been tried
			}
		}
		if broken < 7 { // login, open, search, sizes, three mails
			t.Errorf("only %d places to break at", broken)
		}
	})
}

func TestUIDValidityReset(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		for _, m := range []struct {
			subject string
			days    int
		}{{"today", 0}, {"twenty days old", 20}, {"forty days old", 40}} {
			if err := b.DeliverAt(lizards, mailOf(m.subject), time.Now().AddDate(0, 0, -m.days)); err != nil {
				t.Fatal(err)
			}
		}
		var log journal
		o.Log = log.logger()
		in := inbox(t, o)
		var k takes
		read(t, in, &k)
		k.want(t, "today", "twenty days old")
		deliver(t, b, "new")
		read(t, in, &k)
		k.want(t, "today", "twenty days old", "new")
		if strings.Contains(log.String(), "anew") {
			t.Error("the first start was reported as a renumbering")
		}

		if err := b.ResetUIDValidity(lizards); err != nil {
			t.Fatal(err)
		}
		k = takes{}
		read(t, in, &k)
		k.want(t, "today", "twenty days old", "new")
		if !strings.Contains(log.String(), "anew") {
			t.Error("the renumbering was not reported")
		}
		deliver(t, b, "newer")
		read(t, in, &k)
		k.want(t, "today", "twenty days old", "new", "newer")
		if p := o.State.(*memory).position(t); p.UIDValidity != 2 || p.UIDNext != 6 || len(p.Done) != 0 {
			t.Errorf("position %+v", p)
		}
	})
}

// The position in one mailbox does not apply to another, even if both servers
// count UIDVALIDITY from 1.
func TestNewMailboxIsReadFromStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first, o := piped(t)
		defer first.Stop()
		deliver(t, first, "a", "b", "c")
		var k takes
		read(t, inbox(t, o), &k)
		if err := first.AddUser("keeper@example.org", "other"); err != nil {
			t.Fatal(err)
		}
		if err := first.Deliver("keeper@example.org", mailOf("d")); err != nil {
			t.Fatal(err)
		}
		o.User, o.Password = "keeper@example.org", "other"
		read(t, inbox(t, o), &k)
		k.want(t, "a", "b", "c", "d")
	})
}

func TestIdenticalMailsAreBothTaken(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "again", "again")
		var k takes
		read(t, inbox(t, o), &k)
		k.want(t, "again", "again") // the taker recognises copies by their Message-ID
		if k.mails[0].Ref == k.mails[1].Ref {
			t.Error("both have the same Ref")
		}
	})
}

func TestPoisonMail(t *testing.T) {
	for name, bite := range map[string]func() error{
		"an error": func() error { return fmt.Errorf("take: %w", unreadable{}) },
		"a panic":  func() error { panic("index out of range") },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				var log journal
				o.Log = log.logger()
				k := takes{verdict: func(subject string) error {
					if subject == "poison" {
						return bite()
					}
					return nil
				}}
				deliver(t, b, "before", "poison", "after")
				for i := range 6 {
					// A new Inbox each time: attempts must also count across
					// restarts.
					read(t, inbox(t, o), &k)
					if p := o.State.(*memory).position(t); (p.UIDNext == 2) != (i < 2) {
						t.Errorf("after attempt %d: position %+v", i+1, p)
					}
				}
				deliver(t, b, "later")
				read(t, inbox(t, o), &k)
				k.want(t, "before", "after", "later")
				if n := k.offers["poison"]; n != mailin.Attempts {
					t.Errorf("offered %d times", n)
				}
				if n := strings.Count(log.String(), "set aside"); n != 1 || !strings.Contains(log.String(), "UID=2") {
					t.Errorf("set aside %d times in:\n%s", n, log.String())
				}
				if p := o.State.(*memory).position(t); p.UIDNext != 5 || len(p.Done)+len(p.Failed) != 0 {
					t.Errorf("position %+v", p)
				}
			})
		})
	}
}

// answering connects a client to a server, but answers one command itself.
// command is a part of that command. answer follows the command's tag, or has
// none if it begins with a zero byte.
func answering(client, server net.Conn, command, answer string) {
	go func() {
		defer client.Close()
		io.Copy(client, server)
	}()
	defer server.Close()
	buf := make([]byte, 4096)
	for {
		n, err := client.Read(buf)
		if err != nil {
			return
		}
		if line := string(buf[:n]); strings.Contains(line, command) {
			tag, _, _ := strings.Cut(line, " ")
			if untagged, ok := strings.CutPrefix(answer, "\x00"); ok {
				io.WriteString(client, untagged)
				continue
			}
			io.WriteString(client, tag+answer)
			continue
		}
		if _, err := server.Write(buf[:n]); err != nil {
			return
		}
	}
}

// A mail that the server itself cannot read must not block the mails after it.
func TestUnavailableMailDoesNotBlock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two", "three")
		answerAt(&o, "UID FETCH 2 (UID BODY", " NO [SERVERBUG] cannot read the mail\r\n", nil)
		var k takes
		for i := range 4 {
			read(t, inbox(t, o), &k)
			if p := o.State.(*memory).position(t); (p.UIDNext == 4) != (i+1 >= mailin.Attempts) {
				t.Errorf("after attempt %d: position %+v", i+1, p)
			}
		}
		k.want(t, "one", "three")
	})
}

// A server that lists a mail and does not send it has not deleted the mail. The
// other mails are read meanwhile.
func TestAMailThatIsKeptBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two", "three")
		var mended atomic.Bool
		answerAt(&o, "UID FETCH 2 (UID BODY", " OK done\r\n", &mended)
		var k takes
		for range 5 {
			if err := inbox(t, o).Read(t.Context(), k.take); err == nil || !strings.Contains(err.Error(), "does not send it") {
				t.Errorf("got %v", err)
			}
		}
		k.want(t, "one", "three")
		mended.Store(true)
		read(t, inbox(t, o), &k)
		k.want(t, "one", "three", "two")
		if p := o.State.(*memory).position(t); p.UIDNext != 4 || len(p.Done)+len(p.Failed)+len(p.Aside) != 0 {
			t.Errorf("position %+v", p)
		}
	})
}

// answerAt answers a command in place of the server, until mended is true; see
// answering.
func answerAt(o *mailin.Options, command, answer string, mended *atomic.Bool) {
	dial := o.Dial
	o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
		server, err := dial(ctx, n, a)
		if err != nil || mended != nil && mended.Load() {
			return server, err
		}
		near, far := net.Pipe()
		go answering(far, server, command, answer)
		return near, nil
	}
}

func TestFullDiskDoesNotCountAgainstMail(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two", "three")
		full := true
		k := takes{verdict: func(subject string) error {
			if full && subject == "two" {
				return fmt.Errorf("append to daybook: %w", fullDisk{})
			}
			return nil
		}}
		in := inbox(t, o)
		for range 10 {
			if err := in.Read(t.Context(), k.take); !errors.Is(err, fullDisk{}) {
				t.Fatalf("got %v", err)
			}
		}
		k.want(t, "one") // "three" must not come before "two"
		full = false
		read(t, in, &k)
		k.want(t, "one", "two", "three")
	})
}

func TestStopDoesNotCountAgainstMail(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two")
		in := inbox(t, o)
		for range 5 {
			ctx, cancel := context.WithCancel(t.Context())
			k := takes{verdict: func(string) error { cancel(); return errors.New("interrupted") }}
			if err := in.Read(ctx, k.take); !errors.Is(err, context.Canceled) {
				t.Errorf("got %v", err)
			}
		}
		var k takes
		read(t, in, &k)
		k.want(t, "one", "two")
	})
}

// The saved position may lag behind the mails taken, but must never be ahead of
// them.
func TestPositionIsSavedAfterTaking(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		for i := range 120 {
			deliver(t, b, fmt.Sprint(i))
		}
		var k takes
		state := &memory{}
		state.check = func(p mailin.Position) {
			if n := len(k.subjects()); int(p.UIDNext) > n+1 {
				t.Errorf("saved UIDNEXT %d when %d mails had been taken", p.UIDNext, n)
			}
		}
		o.State = state
		read(t, inbox(t, o), &k)
		if len(k.mails) != 120 || state.saves != 4 {
			t.Errorf("%d mails, %d saves; want 120 and one at the beginning and one for every 50", len(k.mails), state.saves)
		}
	})
}

func TestStateFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one")
		bad := true
		o.State = &memory{fail: func() error {
			if bad {
				return fullDisk{}
			}
			return nil
		}}
		var log journal
		o.Log = log.logger()
		in := inbox(t, o)
		k := takes{each: make(chan string, 10)}
		if err := in.Read(t.Context(), k.take); !errors.Is(err, fullDisk{}) {
			t.Errorf("got %v", err)
		}
		// Watch stays connected and tries again at the next poll.
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- in.Watch(ctx, k.take) }()
		time.Sleep(time.Minute)
		o.State.(*memory).mu.Lock()
		bad = false
		o.State.(*memory).mu.Unlock()
		if got := <-k.each; got != "one" {
			t.Errorf("took %q", got)
		}
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("Watch returned %v", err)
		}
		if !strings.Contains(log.String(), "no space left") {
			t.Errorf("not reported:\n%s", log.String())
		}
	})
}

// watching runs Watch until the test ends.
func watching(t *testing.T, in *mailin.IMAP, k *takes) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- in.Watch(ctx, k.take) }()
	return func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("Watch returned %v", err)
		}
	}
}

func TestWatchTakesMailAsItComes(t *testing.T) {
	for name, c := range map[string]struct {
		idle  practice.Idle
		poll  time.Duration
		least time.Duration
		most  time.Duration
	}{
		"announced by IDLE":           {practice.IdleWorks, time.Hour, 0, time.Second},
		"IDLE that announces nothing": {practice.IdleSilent, 5 * time.Minute, time.Minute, 5*time.Minute + time.Second},
		"silent, polled seldom":       {practice.IdleSilent, time.Hour, time.Minute, 9*time.Minute + time.Second},
		"no IDLE":                     {practice.IdleMissing, 5 * time.Minute, time.Minute, 5*time.Minute + time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				b.SetIdle(c.idle)
				o.Poll = c.poll
				k := takes{each: make(chan string, 10)}
				defer watching(t, inbox(t, o), &k)()
				time.Sleep(10 * time.Millisecond)
				for i := range 5 {
					sent := time.Now()
					deliver(t, b, fmt.Sprint(i))
					if got := <-k.each; got != fmt.Sprint(i) {
						t.Errorf("took %q", got)
					}
					if d := time.Since(sent); d < c.least || d > c.most {
						t.Errorf("mail %d took %s, want %s to %s", i, d, c.least, c.most)
					}
				}
			})
		})
	}
}

func TestIdleIsRenewedEveryNineMinutes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		var idles atomic.Int64
		dials := 0
		dial := o.Dial
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			dials++
			c, err := dial(ctx, n, a)
			return &counting{Conn: c, idles: &idles}, err
		}
		stop := watching(t, inbox(t, o), new(takes))
		time.Sleep(3*time.Hour + time.Minute)
		stop()
		if n := idles.Load(); n != 3*60/9+1 || dials != 1 {
			t.Errorf("%d IDLE commands over %d connections in three hours, want %d over 1", n, dials, 3*60/9+1)
		}
	})
}

func TestServerFallsSilent(t *testing.T) {
	t.Run("Read gives up after the timeout", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			b, o := piped(t)
			defer b.Stop()
			b.Freeze()
			began := time.Now()
			err := inbox(t, o).Read(t.Context(), new(takes).take)
			// The library has its own limit of 30 s for the greeting.
			if d := time.Since(began); err == nil || d > time.Minute {
				t.Errorf("%v after %s", err, d)
			}
		})
	})
	t.Run("in the middle of reading", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			b, o := piped(t)
			defer b.Stop()
			deliver(t, b, "one", "two", "three")
			var frozen time.Time
			k := takes{verdict: func(subject string) error {
				if subject == "two" {
					b.Freeze()
					frozen = time.Now()
				}
				return nil
			}}
			in := inbox(t, o)
			err := in.Read(t.Context(), k.take)
			if d := time.Since(frozen); err == nil || d != 5*time.Minute { // five times Timeout for fetching a mail
				t.Errorf("%v after %s", err, d)
			}
			b.Thaw()
			k.verdict = nil
			read(t, in, &k)
			k.want(t, "one", "two", "three")
		})
	})
	t.Run("Watch reconnects", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			b, o := piped(t)
			defer b.Stop()
			var log journal
			o.Log = log.logger()
			k := takes{each: make(chan string, 10)}
			defer watching(t, inbox(t, o), &k)()
			time.Sleep(time.Minute)
			b.Freeze()
			deliver(t, b, "meanwhile")
			time.Sleep(3 * time.Hour)
			if !strings.Contains(log.String(), "no answer within 1m0s") {
				t.Errorf("the silence was not noticed:\n%s", log.String())
			}
			b.Thaw()
			thawed := time.Now()
			if got := <-k.each; got != "meanwhile" {
				t.Errorf("took %q", got)
			}
			if d := time.Since(thawed); d > 6*time.Minute {
				t.Errorf("it took %s to come back", d)
			}
			time.Sleep(time.Second)
			if !strings.Contains(log.String(), "watched again") {
				t.Errorf("the return was not reported:\n%s", log.String())
			}
		})
	})
	t.Run("the context ends", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			b, o := piped(t)
			defer b.Stop()
			b.Freeze()
			ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
			defer cancel()
			began := time.Now()
			err := inbox(t, o).Read(ctx, new(takes).take)
			if d := time.Since(began); !errors.Is(err, context.DeadlineExceeded) || d != 3*time.Second {
				t.Errorf("%v after %s", err, d)
			}
		})
	})
}

// If connections break again and again, the pauses grow up to five minutes. A
// connection that lasts resets the pause.
func TestReconnectingSlowsDown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		var (
			mu    sync.Mutex
			dials []time.Time
			down  = true
		)
		dial := o.Dial
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			mu.Lock()
			dials = append(dials, time.Now())
			refuse := down
			mu.Unlock()
			if refuse {
				return nil, errors.New("connection refused")
			}
			return dial(ctx, n, a)
		}
		attempts := func() []time.Time {
			mu.Lock()
			defer mu.Unlock()
			return slices.Clone(dials)
		}
		k := takes{each: make(chan string, 10)}
		defer watching(t, inbox(t, o), &k)()
		time.Sleep(2 * time.Hour)
		at := attempts()
		for i, most := 1, time.Second; i < len(at); i++ {
			if pause := at[i].Sub(at[i-1]); pause < most/2 || pause > most {
				t.Errorf("pause %d was %s, want %s to %s", i, pause, most/2, most)
			}
			most = min(2*most, 5*time.Minute)
		}
		if n := len(at); n < 30 || n > 60 {
			t.Errorf("%d attempts in two hours", n)
		}
		mu.Lock()
		down = false
		mu.Unlock()
		time.Sleep(time.Hour)
		deliver(t, b, "one")
		<-k.each
		before := len(attempts())
		b.Cut()
		time.Sleep(time.Second)
		if n := len(attempts()) - before; n != 1 {
			t.Errorf("after an hour of good service the mailbox was dialled %d times within a second", n)
		}
	})
}

// Over real sockets: the server is killed, and returns on the same port.
func TestServerKilledAndRestarted(t *testing.T) {
	cfg, authority, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(authority)
	for _, security := range []mailin.Security{mailin.TLS, mailin.STARTTLS} {
		t.Run(string(security), func(t *testing.T) {
			b := newBox(t)
			if err := b.Start(cfg); err != nil {
				t.Fatal(err)
			}
			defer b.Stop()
			addr := b.IMAPS()
			if security == mailin.STARTTLS {
				addr = b.IMAP()
			}
			k := takes{each: make(chan string, 10)}
			defer watching(t, inbox(t, mailin.Options{
				Addr: addr, Security: security, CA: pool, Retry: time.Millisecond, RetryMax: 10 * time.Millisecond,
			}), &k)()
			for i := range 4 {
				deliver(t, b, fmt.Sprint("up ", i))
				if got := <-k.each; got != fmt.Sprint("up ", i) {
					t.Errorf("took %q", got)
				}
				b.Stop()
				deliver(t, b, fmt.Sprint("down ", i))
				if err := b.Start(cfg); err != nil {
					t.Fatal(err)
				}
				if got := <-k.each; got != fmt.Sprint("down ", i) {
					t.Errorf("took %q", got)
				}
			}
		})
	}
}

func TestReadAndWatchTogether(t *testing.T) {
	b := newBox(t)
	if err := b.Start(nil); err != nil {
		t.Fatal(err)
	}
	defer b.Stop()
	in := inbox(t, mailin.Options{Addr: b.IMAP(), Security: mailin.None})
	k := takes{each: make(chan string, 1000)}
	defer watching(t, in, &k)()
	for i := range 20 {
		deliver(t, b, fmt.Sprint(i))
		if err := in.Read(t.Context(), k.take); err != nil {
			t.Fatal(err)
		}
	}
	for range 20 {
		<-k.each
	}
	if got := k.subjects(); len(got) != 20 {
		t.Errorf("%d mails were taken: %q", len(got), got)
	}
}

func TestUnusableServer(t *testing.T) {
	for name, c := range map[string]struct{ says, want string }{
		"closes at once":     {"", "connection closed before greeting"},
		"says goodbye":       {"* BYE too many connections\r\n", "connect: "},
		"speaks something":   {"220 mail.example.org ESMTP\r\n", "connect: "},
		"takes no passwords": {"* OK [CAPABILITY IMAP4rev1 LOGINDISABLED] hello\r\n", "takes no password here"},
	} {
		t.Run(name, func(t *testing.T) {
			near, far := net.Pipe()
			go func() {
				defer far.Close()
				if c.says != "" {
					far.Write([]byte(c.says))
					io.Copy(io.Discard, far) // until the client gives up
				}
			}()
			err := inbox(t, mailin.Options{Addr: "localhost:143", Security: mailin.None,
				Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil },
			}).Read(t.Context(), new(takes).take)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q in it", err, c.want)
			}
		})
	}
}

func TestNoSuchMailbox(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		o.Mailbox = "Replies"
		err := inbox(t, o).Read(t.Context(), new(takes).take)
		if err == nil || !strings.Contains(err.Error(), "Replies") || !strings.Contains(err.Error(), "open the mailbox") {
			t.Errorf("got %v", err)
		}
	})
}
