package mailout_test

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"nestround/notify/bounded"
	"nestround/notify/mailout"
	"nestround/notify/practice"
	"nestround/notify/practice/heaptest"
)

// What an endless server may use of the memory, at most.
const endlessLimit = 32 << 20

func TestAnEndlessServerFillsNoMemory(t *testing.T) {
	protected, pool := withTLS(t)
	clear, inside := inClear(t), newBox(t)
	cfg, pem, err := practice.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	pool = pool.Clone()
	pool.AppendCertsFromPEM(pem)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	inside.ServeStartTLS(l, nil, cfg)
	defer inside.Stop()

	dialogue := []practice.Step{practice.StepEHLO, practice.StepAUTH, practice.StepMAIL, practice.StepRCPT, practice.StepDATA, practice.StepDot}
	for _, at := range []struct {
		when     string
		box      *practice.Box
		addr     string
		security mailout.Security
		steps    []practice.Step
	}{
		{"in clear", clear, clear.SMTP(), mailout.None, append(dialogue, practice.StepConnect)},
		{"before STARTTLS", protected, protected.SMTP(), mailout.STARTTLS, []practice.Step{practice.StepConnect, practice.StepEHLO, practice.StepSTARTTLS}},
		{"after STARTTLS", inside, l.Addr().String(), mailout.STARTTLS, dialogue},
		{"within TLS", protected, protected.SMTPS(), mailout.TLS, append(dialogue, practice.StepConnect)},
	} {
		for _, step := range at.steps {
			for name, what := range map[string]practice.What{"line": practice.EndlessLine, "answers": practice.EndlessAnswers} {
				t.Run(fmt.Sprintf("%s, %s, endless %s", at.when, step, name), func(t *testing.T) {
					at.box.Break(practice.Fault{At: step, What: what})
					if step == practice.StepEHLO {
						at.box.Break(practice.Fault{At: "HELO", What: what})
					}
					defer at.box.Mend()
					ctx, cancel := context.WithCancel(t.Context())
					defer cancel()
					heaptest.Limit(t, endlessLimit, cancel)
					s := sender(t, mailout.Options{Addr: at.addr, Security: at.security, CA: pool, User: lizards, Password: password})
					e := failure(t, s.Send(ctx, outgoing(t)))
					if !errors.As(e, new(*bounded.TooMuch)) || !e.Temporary() || e.MayHaveArrived != (step == practice.StepDot) {
						t.Errorf("%v: temporary %v, may have arrived %v", e, e.Temporary(), e.MayHaveArrived)
					}
				})
			}
		}
	}
}

func TestADrippingServer(t *testing.T) {
	for step, want := range map[practice.Step]time.Duration{
		practice.StepConnect: time.Minute, practice.StepMAIL: time.Minute, practice.StepDot: mailout.FinalTimeout,
		practice.StepQUIT: 5 * time.Second,
	} {
		t.Run(string(step), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				pipe, b := practice.NewPipe(), newBox(t)
				b.Serve(pipe, nil)
				defer b.Stop()
				b.Break(practice.Fault{At: step, What: practice.Drip})
				began := time.Now()
				err := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, Dial: pipe.DialContext}).Send(t.Context(), outgoing(t))
				if took := time.Since(began); took != want || (err == nil) != (step == practice.StepQUIT) {
					t.Errorf("took %s, %v", took, err)
				}
				if err != nil && !errors.As(failure(t, err), new(*bounded.TooSlow)) {
					t.Errorf("got %v", err)
				}
			})
		})
	}
}

// Garbage is no answer: only at the final dot, the mail may have arrived.
func TestGarbage(t *testing.T) {
	for _, reply := range []string{"", "hello", "999 what", "220 hello again", "2500 ok", "-1 no", "354 go on"} {
		for _, step := range []practice.Step{practice.StepConnect, practice.StepMAIL, practice.StepRCPT, practice.StepDATA, practice.StepDot} {
			if strings.HasPrefix(reply, "220") && step == practice.StepConnect || strings.HasPrefix(reply, "354") && step == practice.StepDATA ||
				strings.HasPrefix(reply, "25") && step == practice.StepRCPT {
				continue // the answer that is expected
			}
			t.Run(fmt.Sprintf("%q at %s", reply, step), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					pipe, b := practice.NewPipe(), newBox(t)
					b.Serve(pipe, nil)
					defer b.Stop()
					b.Break(practice.Fault{At: step, What: practice.Garbage, Reply: reply})
					s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, Dial: pipe.DialContext})
					e := failure(t, s.Send(t.Context(), outgoing(t)))
					if !e.Temporary() || e.MayHaveArrived != (step == practice.StepDot) {
						t.Errorf("%v: temporary %v, may have arrived %v", e, e.Temporary(), e.MayHaveArrived)
					}
				})
			})
		}
	}
}

// A connection that was lost before the final dot was written cannot have
// carried the whole mail.
func TestTheDotThatWasNotWritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		pipe, b := practice.NewPipe(), newBox(t)
		b.Serve(pipe, nil)
		defer b.Stop()
		s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None,
			Dial: func(ctx context.Context, network, addr string) (net.Conn, error) {
				c, err := pipe.DialContext(ctx, network, addr)
				return dotless{c}, err
			}})
		e := failure(t, s.Send(t.Context(), outgoing(t)))
		if e.Doing != "wait for the server to take the mail" || e.MayHaveArrived || !e.Temporary() {
			t.Errorf("%v: may have arrived %v", e, e.MayHaveArrived)
		}
		if n := len(b.Messages(keeper)); n != 0 {
			t.Errorf("%d mails arrived", n)
		}
	})
}

// dotless breaks when the final dot is written.
type dotless struct{ net.Conn }

func (d dotless) Write(p []byte) (int, error) {
	if strings.HasSuffix(string(p), "\r\n.\r\n") {
		d.Close()
	}
	return d.Conn.Write(p)
}

func TestWordsOfTheServerAreShort(t *testing.T) {
	b := inClear(t)
	secret := base64.StdEncoding.EncodeToString([]byte("x\x00" + lizards + "\x00" + password))
	b.Break(practice.Fault{At: practice.StepAUTH, Reply: "550-\x1b[31m\u202e" + secret + "\r\n550-" + password + strings.Repeat("\r\n550-no", 5000) + "\r\n550 no"})
	s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None, User: lizards, Password: password})
	e := failure(t, s.Send(t.Context(), outgoing(t)))
	if e.Code != 550 || e.Temporary() || e.Doing != "log in" {
		t.Errorf("%v: code %d", e, e.Code)
	}
	if text := e.Err.Error(); utf8.RuneCountInString(text) > bounded.MaxWords || strings.ContainsAny(text, "\x1b\u202e\n") || strings.Contains(text, secret) {
		t.Errorf("%d bytes: %q", len(text), text)
	}
}

// The later of two refusals decides whether another attempt can help.
func TestRefusedHelloThatThenBreaks(t *testing.T) {
	b := inClear(t)
	b.Break(practice.Fault{At: practice.StepEHLO, Reply: "554 no"})
	b.Break(practice.Fault{At: "HELO", Reply: "421 too busy"})
	s := sender(t, mailout.Options{Addr: b.SMTP(), Security: mailout.None})
	if e := failure(t, s.Send(t.Context(), outgoing(t))); !e.Temporary() || e.Code != 421 {
		t.Errorf("%v: temporary %v, code %d", e, e.Temporary(), e.Code)
	}
}

// A server cannot keep the program busy with its password.
func TestALoginThatAsksForTooMuch(t *testing.T) {
	for name, c := range map[string]struct{ answer, want string }{
		"hashes": {"i=2000000000", "rounds of hashing"},
		"rounds": {"i=4096", "come to an end"},
	} {
		t.Run(name, func(t *testing.T) {
			near, far := net.Pipe()
			go scram(far, c.answer)
			s := sender(t, mailout.Options{Addr: "localhost:25", Security: mailout.None, User: lizards, Password: password,
				Dial: func(context.Context, string, string) (net.Conn, error) { return near, nil }})
			e := failure(t, s.Send(t.Context(), outgoing(t)))
			if !strings.Contains(e.Error(), c.want) || e.Doing != "log in" {
				t.Errorf("got %v, want %q in it", e, c.want)
			}
		})
	}
}

// scram is a server that asks for the proof of the password again and again.
func scram(conn net.Conn, iterations string) {
	defer conn.Close()
	fmt.Fprint(conn, "220 hello\r\n")
	buf := make([]byte, 4096)
	nonce := ""
	for {
		n, err := conn.Read(buf)
		if err != nil {
			return
		}
		line := strings.TrimSpace(string(buf[:n]))
		switch {
		case strings.HasPrefix(line, "EHLO"):
			fmt.Fprint(conn, "250-hello\r\n250 AUTH SCRAM-SHA-256\r\n")
			continue
		case line == "*", line == "QUIT":
			fmt.Fprint(conn, "501 as you like\r\n")
			continue
		case strings.HasPrefix(line, "AUTH"):
			fmt.Fprint(conn, "334 \r\n")
			continue
		case nonce == "":
			first, _ := base64.StdEncoding.DecodeString(line)
			_, nonce, _ = strings.Cut(string(first), ",r=")
		}
		fmt.Fprintf(conn, "334 %s\r\n", base64.StdEncoding.EncodeToString([]byte("r="+nonce+",s=c2FsdA==,"+iterations)))
	}
}
