package mailin_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/notify/bounded"
	"nestround/notify/mailin"
	"nestround/notify/practice"
	"nestround/notify/practice/heaptest"
)

// authority makes the certificate of a practice server.
func authority(t *testing.T) (*tls.Config, *x509.CertPool) {
	t.Helper()
	cfg, pem, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(pem)
	return cfg, pool
}

// errorsOnly is a log that hands over its errors.
type errorsOnly struct{ each chan string }

func (errorsOnly) Enabled(context.Context, slog.Level) bool { return true }
func (l errorsOnly) WithAttrs([]slog.Attr) slog.Handler     { return l }
func (l errorsOnly) WithGroup(string) slog.Handler          { return l }
func (l errorsOnly) Handle(_ context.Context, r slog.Record) error {
	r.Attrs(func(a slog.Attr) bool {
		if a.Key == "error" {
			select {
			case l.each <- a.Value.String():
			default:
			}
		}
		return true
	})
	return nil
}

// What an endless server may use of the memory, at most. The library takes up
// to 50 times the bytes of small answers.
const endlessLimit = 32 << 20

func TestAnEndlessServerFillsNoMemory(t *testing.T) {
	cfg, pool := authority(t)
	clear, implicit, inside := newBox(t), newBox(t), newBox(t)
	for _, b := range []*practice.Box{clear, implicit, inside} {
		deliver(t, b, "one")
		defer b.Stop()
	}
	if err := clear.Start(nil); err != nil {
		t.Fatal(err)
	}
	if err := implicit.Start(cfg); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	inside.ServeStartTLS(nil, l, cfg)

	// The client asks for no CAPABILITY, because this server tells it unasked.
	login := []practice.Step{practice.StepLogin, practice.StepAuthenticate}
	session := []practice.Step{practice.StepSelect, practice.StepSearch, practice.StepSizes, practice.StepBody, practice.StepNoop, practice.StepIdle}
	for _, at := range []struct {
		when     string
		box      *practice.Box
		addr     string
		security mailin.Security
		steps    []practice.Step
	}{
		{"in clear", clear, clear.IMAP(), mailin.None, append(append(login, session...), practice.StepGreeting)},
		{"before STARTTLS", implicit, implicit.IMAP(), mailin.STARTTLS, []practice.Step{practice.StepGreeting, practice.StepStartTLS}},
		{"after STARTTLS", inside, l.Addr().String(), mailin.STARTTLS, append(login, session...)},
		{"within TLS", implicit, implicit.IMAPS(), mailin.TLS, append(append(login, session...), practice.StepGreeting)},
	} {
		for _, step := range at.steps {
			for name, what := range map[string]practice.What{
				"line": practice.EndlessLine, "literal": practice.EndlessLiteral, "answers": practice.EndlessAnswers,
			} {
				if step == practice.StepLogin && at.box != clear {
					continue // the others offer AUTHENTICATE
				}
				t.Run(fmt.Sprintf("%s, %s, endless %s", at.when, step, name), func(t *testing.T) {
					at.box.OnlyLogin = step == practice.StepLogin
					at.box.Break(practice.Fault{At: step, What: what})
					defer at.box.Mend()
					ctx, cancel := context.WithCancel(t.Context())
					defer cancel()
					heaptest.Limit(t, endlessLimit, cancel)
					log := errorsOnly{make(chan string, 1)}
					in := inbox(t, mailin.Options{Addr: at.addr, Security: at.security, CA: pool, Log: slog.New(log), Poll: 20 * time.Millisecond})
					ended := make(chan error, 1)
					go func() { ended <- in.Watch(ctx, func(notify.Incoming) error { return nil }) }()
					select {
					case got := <-log.each:
						if !strings.Contains(got, "the server sent more than") {
							t.Errorf("got %s", got)
						}
					case <-ctx.Done():
					}
					cancel()
					<-ended
				})
			}
		}
	}
}

// Answers within a budget must not become much larger in memory. Each ends with
// a line that means nothing.
func TestAnswersThatGrowInMemory(t *testing.T) {
	for name, c := range map[string]struct {
		at    practice.Step
		reply string
	}{
		"capabilities":       {practice.StepGreeting, "* OK [CAPABILITY" + many(" A%d", 60<<10) + "] hello"},
		"flags":              {practice.StepSelect, "* FLAGS (a" + many(" A%d", 60<<10) + ")"},
		"numbers, falling":   {practice.StepSearch, "* SEARCH" + falling(500<<10)},
		"many parts":         {practice.StepBody, "* 1 FETCH (UID 1 BODYSTRUCTURE (" + many(`("a" "b" NIL NIL NIL NIL %d)`, 1<<20) + ` "mixed"))`},
		"addresses":          {practice.StepBody, "* 1 FETCH (UID 1 ENVELOPE (NIL NIL (" + many(`(NIL NIL "a" "%d")`, 1<<20) + ") NIL NIL NIL NIL NIL NIL NIL))"},
		"sections of a mail": {practice.StepBody, "* 1 FETCH (UID 1" + many(" BODY[%d] {0}\r\n", 1<<20) + ")"},
		"sizes of a mail":    {practice.StepSizes, "* 1 FETCH (UID 1" + many(" RFC822.SIZE %d", 60<<10) + ")"},
		"mailboxes":          {practice.StepSearch, "* LIST () \"/\" a\r\n" + many("* LIST () \"/\" %d\r\n", 500<<10)},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBox(t)
			defer b.Stop()
			deliver(t, b, "one")
			if err := b.Start(nil); err != nil {
				t.Fatal(err)
			}
			b.Break(practice.Fault{At: c.at, What: practice.Garbage, Reply: c.reply + "\r\n)"})
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			heaptest.Limit(t, 2*endlessLimit, cancel)
			o := mailin.Options{Addr: b.IMAP(), Security: mailin.None}
			if err := inbox(t, o).Read(ctx, new(takes).take); err == nil {
				t.Error("it was read")
			}
		})
	}
}

// many repeats a form with growing numbers, up to so many bytes.
func many(form string, bytes int) string {
	var out strings.Builder
	for i := 1; out.Len() < bytes; i++ {
		fmt.Fprintf(&out, form, i)
	}
	return out.String()
}

// falling returns odd numbers, the largest first.
func falling(bytes int) string {
	var out strings.Builder
	for i := 2*bytes + 1; out.Len() < bytes; i -= 2 {
		fmt.Fprintf(&out, " %d", i)
	}
	return out.String()
}

// Mails that are announced and do not exist wake the reader a few times a
// minute only.
func TestAFloodOfNewsDoesNotKeepTheReaderBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		dial, commands := o.Dial, 0
		o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
			server, err := dial(ctx, n, a)
			near, far := net.Pipe()
			go announcing(far, server, &commands)
			return near, err
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		inbox(t, o).Watch(ctx, new(takes).take)
		synctest.Wait()
		if commands > 25*60 || commands < 60 {
			t.Errorf("the reader looked %d times in an hour", commands)
		}
	})
}

// announcing announces a mail whenever the client begins to wait. It counts
// that.
func announcing(client, server net.Conn, n *int) {
	go func() {
		defer client.Close()
		buf := make([]byte, 4096)
		for {
			k, err := server.Read(buf)
			if err != nil {
				return
			}
			client.Write(buf[:k])
			if strings.HasPrefix(string(buf[:k]), "+ idling") {
				*n++
				client.Write([]byte("* 1 EXISTS\r\n"))
			}
		}
	}()
	defer server.Close()
	buf := make([]byte, 4096)
	for {
		k, err := client.Read(buf)
		if err != nil {
			return
		}
		if _, err := server.Write(buf[:k]); err != nil {
			return
		}
	}
}

func TestADrippingServer(t *testing.T) {
	for _, step := range []practice.Step{
		practice.StepGreeting, practice.StepAuthenticate, practice.StepSelect, practice.StepSearch, practice.StepSizes, practice.StepBody,
	} {
		t.Run(string(step), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				deliver(t, b, "one")
				b.Break(practice.Fault{At: step, What: practice.Drip})
				began := time.Now()
				err := inbox(t, o).Read(t.Context(), new(takes).take)
				want := time.Minute
				if step == practice.StepBody {
					want *= 5
				}
				if took := time.Since(began); err == nil || took > want {
					t.Errorf("took %s, %v", took, err)
				}
			})
		})
	}
}

// A server can name many mails in a few bytes, or mails without a number.
func TestASearchThatLies(t *testing.T) {
	for answer, want := range map[string]string{
		"* ESEARCH (TAG \"%s\") UID ALL 1:4294967295\r\n": "more than 50000 mails",
		"* ESEARCH (TAG \"%s\") UID ALL 5:*\r\n":          "dynamic",
		"* SEARCH 0\r\n":                                  "without a number",
	} {
		t.Run(answer, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, o := piped(t)
				defer b.Stop()
				dial := o.Dial
				o.Dial = func(ctx context.Context, n, a string) (net.Conn, error) {
					server, err := dial(ctx, n, a)
					near, far := net.Pipe()
					go lying(far, server, answer)
					return near, err
				}
				err := inbox(t, o).Read(t.Context(), new(takes).take)
				if err == nil || !strings.Contains(err.Error(), want) {
					t.Errorf("got %v, want %q in it", err, want)
				}
			})
		})
	}
}

// lying answers a search itself.
func lying(client, server net.Conn, answer string) {
	near, far := net.Pipe()
	go answering(near, server, "UID SEARCH", " OK done\r\n")
	go func() {
		defer client.Close()
		buf := make([]byte, 4096)
		for {
			k, err := far.Read(buf)
			if err != nil {
				return
			}
			client.Write(buf[:k])
		}
	}()
	defer far.Close()
	buf := make([]byte, 4096)
	for {
		k, err := client.Read(buf)
		if err != nil {
			return
		}
		line := string(buf[:k])
		if tag, _, _ := strings.Cut(line, " "); strings.Contains(line, "UID SEARCH") {
			fmt.Fprintf(client, strings.ReplaceAll(answer, "%s", "%[1]s")+"%[2]s", tag, "")
		}
		if _, err := far.Write(buf[:k]); err != nil {
			return
		}
	}
}

func TestWordsOfTheServerAreShort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, o := piped(t)
		defer b.Stop()
		b.Break(practice.Fault{At: practice.StepSelect, Reply: "NO [UNAVAILABLE] \x1b[31m\u202e" + password + strings.Repeat(" no", 5000)})
		err := inbox(t, o).Read(t.Context(), new(takes).take)
		if err == nil {
			t.Fatal("it was read")
		}
		tellsNoPassword(t, err)
		if text := err.Error(); len(text) > 100+bounded.MaxWords || strings.ContainsAny(text, "\x1b\u202e") {
			t.Errorf("%d bytes: %q", len(text), text)
		}
	})
}
