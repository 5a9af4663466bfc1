package mailin_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/practice"
)

// A mail that was set aside is kept, and offered again every day and when the
// keeper asks. Once it can be taken, it is taken once.
func TestAMailSetAsideIsOfferedAgain(t *testing.T) {
	type box struct {
		open    func(again bool) notify.Inbox
		deliver func(subject string)
		state   *memory
	}
	kinds := map[string]func(*testing.T) box{
		"IMAP": func(t *testing.T) box {
			b, o := piped(t)
			t.Cleanup(b.Stop)
			return box{func(again bool) notify.Inbox { o.Again = again; return inbox(t, o) },
				func(s string) { deliver(t, b, s) }, o.State.(*memory)}
		},
		"Maildir": func(t *testing.T) box {
			f, state := newFolder(t), &memory{}
			n := 0
			return box{func(again bool) notify.Inbox {
				return inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state, Again: again})
			}, func(s string) { n++; f.put(t, fmt.Sprintf("%d.x", n), mailOf(s), time.Now()) }, state}
		},
	}
	for name, make := range kinds {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := make(t)
				sick := true
				k := takes{verdict: func(s string) error {
					if s == "poison" && sick {
						return unreadable{}
					}
					return nil
				}}
				read := func(again bool) {
					t.Helper()
					if err := b.open(again).Read(t.Context(), k.take); err != nil {
						t.Fatal(err)
					}
				}
				b.deliver("before")
				b.deliver("poison")
				b.deliver("after")
				for range mailin.Attempts + 2 {
					read(false)
				}
				aside := b.state.position(t).Aside
				if len(aside) != 1 || aside[0].Why != "cannot make sense of it" || aside[0].Since.IsZero() || aside[0].Ref == "" {
					t.Fatalf("set aside: %+v", aside)
				}
				offered := func(want int) {
					t.Helper()
					if n := k.offers["poison"]; n != want {
						t.Errorf("offered %d times, want %d", n, want)
					}
				}
				offered(mailin.Attempts)
				time.Sleep(mailin.AsideAgain + time.Second)
				read(false)
				read(false)
				offered(mailin.Attempts + 1)
				read(true)
				offered(mailin.Attempts + 2)
				b.deliver("later")
				read(false)
				sick = false
				read(true)
				read(true)
				k.want(t, "before", "after", "later", "poison")
				if p := b.state.position(t); len(p.Aside) != 0 {
					t.Errorf("still set aside: %+v", p.Aside)
				}
			})
		})
	}
}

// A passing refusal of the server never costs a mail, however often it comes.
// The other mails are read meanwhile, and so is news.
func TestAPassingRefusalNeverCounts(t *testing.T) {
	for _, code := range []string{"UNAVAILABLE", "INUSE", "LIMIT", "CONTACTADMIN"} {
		for _, command := range []string{"UID FETCH 2 (UID BODY", "UID FETCH 1:3 (UID RFC822.SIZE", "UID SEARCH", "EXAMINE"} {
			t.Run(code+" at "+command, func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b, o := piped(t)
					defer b.Stop()
					deliver(t, b, "one", "two", "three")
					down := true
					dial := o.Dial
					o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
						server, err := dial(ctx, n, a)
						if !down {
							return server, err
						}
						near, far := net.Pipe()
						go answering(far, server, command, " NO ["+code+"] try later\r\n")
						return near, err
					}
					var k takes
					for range 20 {
						if err := inbox(t, o).Read(t.Context(), k.take); err == nil || !strings.Contains(err.Error(), "try later") {
							t.Fatalf("got %v", err)
						}
					}
					if p := o.State.(*memory).position(t); len(p.Aside)+len(p.Failed) != 0 {
						t.Errorf("counted: %+v", p)
					}
					down = false
					read(t, inbox(t, o), &k)
					got := k.subjects()
					slices.Sort(got)
					if !slices.Equal(got, []string{"one", "three", "two"}) {
						t.Errorf("took %q", got)
					}
				})
			})
		}
	}
}

// The caller is told of a fault that lasts, and of its end. The log has one
// line at the beginning, not one for each attempt.
func TestTroubleIsToldOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		var log journal
		o.Log = log.logger()
		told := make(chan error, 10_000)
		o.Trouble = func(err error) { told <- err }
		var full atomic.Bool
		full.Store(true)
		k := takes{each: make(chan string, 10), verdict: func(string) error {
			if full.Load() {
				return fullDisk{}
			}
			return nil
		}}
		deliver(t, b, "one")
		stop := watching(t, inbox(t, o), &k)
		time.Sleep(12 * time.Hour)
		if n := len(told); n < 12*10 {
			t.Errorf("%d attempts in half a day", n)
		}
		if n := strings.Count(log.String(), "level=WARN") + strings.Count(log.String(), "level=INFO"); n > 10 {
			t.Errorf("%d lines in the log for half a day:\n%s", n, log.String())
		}
		full.Store(false)
		if got := <-k.each; got != "one" {
			t.Errorf("took %q", got)
		}
		time.Sleep(time.Hour)
		var last error = errors.New("nothing told")
		for len(told) > 0 {
			last = <-told
		}
		if last != nil {
			t.Errorf("the end was not told: %v", last)
		}
		stop()
	})
}

// A mail at which the server hangs up does not keep the others from being read,
// and it is never given up.
func TestAMailAtWhichTheServerHangsUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two", "three")
		var broken atomic.Bool
		broken.Store(true)
		dial := o.Dial
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			server, err := dial(ctx, n, a)
			near, far := net.Pipe()
			if !broken.Load() {
				return server, err
			}
			go answering(far, server, "UID FETCH 2 (UID BODY", " BYE no\r\n* BYE no\r\n")
			return near, err
		}
		k := takes{each: make(chan string, 10)}
		stop := watching(t, inbox(t, o), &k)
		if got := []string{<-k.each, <-k.each}; !slices.Equal(got, []string{"one", "three"}) {
			t.Errorf("took %q", got)
		}
		time.Sleep(12 * time.Hour)
		broken.Store(false)
		if got := <-k.each; got != "two" {
			t.Errorf("took %q", got)
		}
		stop()
	})
}

// A connection that is lost and comes back at once is no trouble.
func TestALostConnectionIsNoTrouble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		var wrong []error
		o.Trouble = func(err error) {
			if err != nil {
				wrong = append(wrong, err)
			}
		}
		k := takes{each: make(chan string, 10)}
		stop := watching(t, inbox(t, o), &k)
		for range 5 {
			time.Sleep(time.Hour)
			b.Cut()
			deliver(t, b, "one")
			<-k.each
		}
		stop()
		if len(wrong) > 0 {
			t.Errorf("told: %v", wrong)
		}
	})
}

// A first reading under a clock that was years ahead hides no later mail.
func TestAFirstReadingUnderAWrongClock(t *testing.T) {
	ahead := time.Now().AddDate(5, 0, 0)
	t.Run("IMAP", func(t *testing.T) {
		b, pipe := newBox(t), practice.NewPipe()
		b.Serve(nil, pipe)
		defer b.Stop()
		o := mailin.Options{Addr: "localhost:143", Security: mailin.None, State: &memory{}, Dial: pipe.DialContext}
		var k takes
		read(t, inbox(t, o), &k)
		p := o.State.(*memory).position(t)
		p.Since = ahead
		if err := o.State.Save(p); err != nil {
			t.Fatal(err)
		}
		deliver(t, b, "one")
		read(t, inbox(t, o), &k)
		k.want(t, "one")
	})
	t.Run("Maildir", func(t *testing.T) {
		f, state := newFolder(t), &memory{}
		if err := state.Save(mailin.Position{Since: ahead}); err != nil {
			t.Fatal(err)
		}
		f.put(t, "1.a", mailOf("one"), time.Now())
		var k takes
		if err := inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state}).Read(t.Context(), k.take); err != nil {
			t.Fatal(err)
		}
		k.want(t, "one")
	})
}

// Nothing in a mail folder that is no regular file is opened.
func TestMaildirSkipsWhatIsNoMail(t *testing.T) {
	f := newFolder(t)
	f.put(t, "2.mail", mailOf("one"), time.Now())
	outside := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(outside, mailOf("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(
		os.Symlink(outside, filepath.Join(f.dir, "new", "1.link")),
		os.Symlink("nowhere", filepath.Join(f.dir, "new", "3.dangling")),
		mkfifo(filepath.Join(f.dir, "new", "4.pipe")),
		os.Mkdir(filepath.Join(f.dir, "new", "5.folder"), 0o755),
	); err != nil {
		t.Fatal(err)
	}
	var k takes
	if err := inFolder(t, mailin.MaildirOptions{Dir: f.dir}).Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
	k.want(t, "one")
}

// photo is an attachment of the given size.
func photo(size int) string {
	line := strings.Repeat("aBcD", 19) + "\r\n"
	return "Content-Type: image/jpeg; name=\"x.jpg\"\r\nContent-Transfer-Encoding: base64\r\nContent-Disposition: inline; filename=\"x.jpg\"\r\n\r\n" +
		strings.Repeat(line, size/len(line))
}

func multi(kind, boundary string, parts ...string) string {
	s := "Content-Type: multipart/" + kind + "; boundary=\"" + boundary + "\"\r\n\r\nThis is a message in several parts.\r\n"
	for _, p := range parts {
		s += "--" + boundary + "\r\n" + p + "\r\n"
	}
	return s + "--" + boundary + "--\r\n"
}

const (
	words  = "Content-Type: text/plain; charset=utf-8\r\n\r\ndone 1 3\r\n"
	markup = "Content-Type: text/html; charset=utf-8\r\n\r\n<p>done 1 3</p>\r\n"
)

// A large mail is handed over without its attachments, in the same structure.
func TestALargeMailKeepsItsText(t *testing.T) {
	const mb = 1 << 20
	hugeMarkup := "Content-Type: text/html; charset=utf-8\r\n\r\n<p>done 1 3</p>" + strings.Repeat("<!-- an image stands here -->\r\n", 60_000)
	cases := map[string]struct {
		body     string
		want     []string // in this order, in the mail handed over
		without  []string
		tooLarge bool
	}{
		"a photograph after the text":    {multi("mixed", "b1", words, photo(2*mb)), []string{"multipart/mixed", "done 1 3"}, []string{"aBcD"}, false},
		"a photograph before the text":   {multi("mixed", "b1", photo(2*mb), words), []string{"done 1 3"}, []string{"aBcD"}, false},
		"text between photographs":       {multi("mixed", "b1", photo(2*mb), words, photo(mb), words), []string{"done 1 3", "done 1 3"}, []string{"aBcD"}, false},
		"alternatives and a photograph":  {multi("mixed", "b1", multi("alternative", "b2", words, multi("related", "b3", markup, photo(3*mb))), photo(mb)), []string{"multipart/mixed", "multipart/alternative", "done 1 3", "multipart/related", "<p>done 1 3</p>", "--b3--", "--b2--", "--b1--"}, []string{"aBcD"}, false},
		"thirty megabytes":               {multi("mixed", "b1", words, photo(30*mb)), []string{"done 1 3"}, []string{"aBcD"}, false},
		"a photograph alone":             {photo(2 * mb), []string{"image/jpeg"}, []string{"aBcD"}, false},
		"plain text beside huge HTML":    {multi("alternative", "b1", words, hugeMarkup), []string{"multipart/alternative", "done 1 3"}, []string{"an image stands"}, false},
		"huge HTML alone":                {multi("mixed", "b1", hugeMarkup, photo(mb)), []string{"Subject: a mail"}, []string{"<p>"}, true},
		"a huge text":                    {"Content-Type: text/plain\r\n\r\n" + strings.Repeat("done 1\r\n", mb/4), []string{"Subject: a mail"}, []string{"done"}, true},
		"a huge text beside a small one": {multi("mixed", "b1", words, "Content-Type: text/plain\r\n\r\n"+strings.Repeat("done 2\r\n", mb/4)), []string{"Subject: a mail"}, []string{"done"}, true},
		"a text file as an attachment":   {multi("mixed", "b1", words, "Content-Type: text/plain\r\nContent-Disposition: attachment; filename=log.txt\r\n\r\n"+strings.Repeat("done 2\r\n", mb/4)), []string{"done 1 3"}, []string{"done 2"}, false},
		"a forwarded mail":               {multi("mixed", "b1", words, "Content-Type: message/rfc822\r\n\r\nSubject: old\r\n\r\ndone 2\r\n", photo(2*mb)), []string{"done 1 3"}, []string{"done 2"}, false},
		"a header without end":           {"X-Long: " + strings.Repeat("x", 2*mb), []string{"Subject: a mail"}, nil, true},
		"many photographs":               {multi("mixed", "b1", append(slices.Repeat([]string{photo(mb / 50)}, 150), words)...), []string{"done 1 3"}, []string{"aBcD"}, false},
		"nested thirty deep":             {nested(30, photo(2*mb)), []string{"Subject: a mail"}, []string{"aBcD"}, true},
		"a boundary that never comes":    {"Content-Type: multipart/mixed; boundary=none\r\n\r\n" + strings.Repeat("done 1\r\n", mb/4), []string{"Subject: a mail"}, []string{"done"}, false},
	}
	for name, c := range cases {
		raw := []byte("From: keeper@example.org\r\nTo: lizards@example.org\r\nSubject: a mail\r\nMIME-Version: 1.0\r\n" + c.body)
		check := func(t *testing.T, m notify.Incoming) {
			t.Helper()
			if m.TooLarge != c.tooLarge || m.Size != int64(len(raw)) {
				t.Errorf("too large: %v, size %d of %d", m.TooLarge, m.Size, len(raw))
			}
			if !bytes.HasPrefix(raw, m.Raw[:min(len(m.Raw), 80)]) || len(m.Raw) > mailin.MaxSize+mailin.MaxHeader+10_000 {
				t.Errorf("%d bytes:\n%.300s", len(m.Raw), m.Raw)
			}
			rest := string(m.Raw)
			for _, w := range c.want {
				_, after, ok := strings.Cut(rest, w)
				if !ok {
					t.Errorf("no %q in its place in:\n%.1000s", w, m.Raw)
				}
				rest = after
			}
			for _, w := range c.without {
				if bytes.Contains(m.Raw, []byte(w)) {
					t.Errorf("%q in:\n%.1000s", w, m.Raw)
				}
			}
		}
		t.Run(name+", by IMAP", func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				if err := b.Deliver(lizards, raw); err != nil {
					t.Fatal(err)
				}
				var k takes
				in := inbox(t, o)
				if err := in.Read(t.Context(), k.take); err != nil {
					read(t, in, &k) // this server hangs up where it cannot tell the parts
				}
				check(t, k.mails[0])
			})
		})
		t.Run(name+", in a folder", func(t *testing.T) {
			f := newFolder(t)
			f.put(t, "1.a", raw, time.Now())
			var k takes
			if err := inFolder(t, mailin.MaildirOptions{Dir: f.dir}).Read(t.Context(), k.take); err != nil {
				t.Fatal(err)
			}
			check(t, k.mails[0])
		})
	}
}

func nested(depth int, inner string) string {
	for i := range depth {
		inner = multi("mixed", fmt.Sprintf("n%d", i), inner)
	}
	return inner
}

// unanswered is the error of a mail that counts and has no answer yet.
type unanswered struct{}

func (unanswered) Error() string    { return "the answer cannot be written" }
func (unanswered) Unfinished() bool { return true }

// A mail whose answer is missing is offered at every reading until it has its
// answer. It is never set aside, and the other mails are read meanwhile.
func TestAMailIsOfferedUntilItIsFinished(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		deliver(t, b, "one", "two", "three")
		missing := true
		k := takes{verdict: func(s string) error {
			if s == "two" && missing {
				return unanswered{}
			}
			return nil
		}}
		for range 2 * mailin.Attempts {
			inbox(t, o).Read(t.Context(), k.take) // the error is told by the caller
		}
		k.want(t, "one", "three")
		if n := k.offers["two"]; n != 2*mailin.Attempts {
			t.Errorf("offered %d times", n)
		}
		missing = false
		read(t, inbox(t, o), &k)
		read(t, inbox(t, o), &k)
		k.want(t, "one", "three", "two")
		if p := o.State.(*memory).position(t); p.UIDNext != 4 || len(p.Done)+len(p.Failed)+len(p.Aside) != 0 {
			t.Errorf("position %+v", p)
		}
	})
}
