package practice_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify/practice"
)

// imapDialogue are the commands of a client, with the step of each.
var imapDialogue = []struct {
	step    practice.Step
	command string
}{
	{practice.StepGreeting, ""},
	{practice.StepCapability, "a0 CAPABILITY"},
	{practice.StepLogin, `a1 LOGIN lizards@example.org "secret of lizards@example.org"`},
	{practice.StepSelect, "a2 EXAMINE INBOX"},
	{practice.StepNoop, "a3 NOOP"},
	{practice.StepSearch, "a4 UID SEARCH ALL"},
	{practice.StepSizes, "a5 UID FETCH 1 (UID RFC822.SIZE)"},
	{practice.StepBody, "a6 UID FETCH 1 (UID BODY.PEEK[]<0.100>)"},
	{practice.StepIdle, "a7 IDLE"},
	{practice.StepLogout, "a8 LOGOUT"},
}

// dialogue talks IMAP until the step at. It returns what the server sends there,
// up to the end of the connection or 100 KiB, whatever the deadline leaves.
func dialogue(t *testing.T, conn net.Conn, at practice.Step) string {
	t.Helper()
	in := bufio.NewReader(conn)
	for _, d := range imapDialogue {
		if d.command != "" {
			if _, err := io.WriteString(conn, d.command+"\r\n"); err != nil {
				t.Fatal(err)
			}
		}
		if d.step == at {
			break
		}
		tag, _, _ := strings.Cut(d.command, " ")
		if tag == "" {
			tag = "*"
		}
		for {
			line, err := in.ReadString('\n')
			if err != nil {
				t.Fatalf("before %s: %v", at, err)
			}
			if d.step == practice.StepIdle && strings.HasPrefix(line, "+") {
				io.WriteString(conn, "DONE\r\n")
			}
			if strings.HasPrefix(line, tag+" ") {
				break
			}
		}
	}
	conn.SetReadDeadline(time.Now().Add(time.Minute))
	got, _ := io.ReadAll(io.LimitReader(in, 100<<10))
	return string(got)
}

func TestFaultsOfIMAPOccurAtTheirStep(t *testing.T) {
	for _, d := range imapDialogue {
		tag, _, _ := strings.Cut(d.command, " ")
		if tag == "" {
			tag = "*"
		}
		for what, right := range map[practice.What]func(string) bool{
			practice.Refuse:         func(got string) bool { return got == tag+" NO [UNAVAILABLE] later\r\n" },
			practice.Garbage:        func(got string) bool { return got == "NO [UNAVAILABLE] later\r\n" },
			practice.Bye:            func(got string) bool { return got == "* BYE NO [UNAVAILABLE] later\r\n" },
			practice.HangUp:         func(got string) bool { return got == "" },
			practice.HangUpAfter:    func(got string) bool { return got == "" },
			practice.Stall:          func(got string) bool { return got == "" },
			practice.EndlessLine:    func(got string) bool { return len(got) == 100<<10 && strings.Count(got, "\n") == 0 },
			practice.EndlessLiteral: func(got string) bool { return len(got) == 100<<10 && strings.Count(got, "{4294967295}\r\nxx") == 1 },
			practice.EndlessAnswers: func(got string) bool { return len(got) == 100<<10 && strings.Count(got, "\n") > 1000 },
			practice.Drip:           func(got string) bool { return len(got) > 55 && len(got) < 75 },
		} {
			t.Run(fmt.Sprintf("%s, fault %d", d.step, what), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b, pipe := newBox(t), practice.NewPipe()
					b.Serve(nil, pipe)
					defer b.Stop()
					if err := b.Deliver(lizards, mailOf("one")); err != nil {
						t.Fatal(err)
					}
					b.Break(practice.Fault{At: d.step, What: what, Reply: "NO [UNAVAILABLE] later"})
					conn, err := pipe.DialContext(context.Background(), "", "")
					if err != nil {
						t.Fatal(err)
					}
					defer conn.Close()
					if got := dialogue(t, conn, d.step); !right(got) {
						t.Errorf("the server sent %d bytes: %.200q", len(got), got)
					}
				})
			})
		}
	}
}

func TestEndlessFaultsOfSMTP(t *testing.T) {
	for _, at := range []struct{ step, command string }{
		{"connect", ""}, {"EHLO", "EHLO there"}, {"AUTH", "AUTH PLAIN AA=="}, {"MAIL", "MAIL FROM:<a@b.example>"}, {"QUIT", "QUIT"},
	} {
		for what, right := range map[practice.What]func(string) bool{
			practice.Garbage:        func(got string) bool { return strings.HasPrefix(got, "\x00") && strings.HasSuffix(got, "\n") },
			practice.EndlessLine:    func(got string) bool { return len(got) == 100<<10 && strings.Count(got, "\n") == 0 },
			practice.EndlessAnswers: func(got string) bool { return len(got) == 100<<10 && strings.Count(got, "-more\r\n") > 1000 },
			practice.Drip:           func(got string) bool { return len(got) > 55 && len(got) < 75 },
		} {
			t.Run(fmt.Sprintf("%s, fault %d", at.step, what), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b, pipe := newBox(t), practice.NewPipe()
					b.Serve(pipe, nil)
					defer b.Stop()
					b.Break(practice.Fault{At: practice.Step(at.step), What: what})
					conn, err := pipe.DialContext(context.Background(), "", "")
					if err != nil {
						t.Fatal(err)
					}
					defer conn.Close()
					in := bufio.NewReader(conn)
					if at.command != "" {
						if _, err := in.ReadString('\n'); err != nil {
							t.Fatal(err)
						}
						io.WriteString(conn, at.command+"\r\n")
					}
					conn.SetReadDeadline(time.Now().Add(time.Minute))
					got, _ := io.ReadAll(io.LimitReader(in, 100<<10))
					if !right(string(got)) {
						t.Errorf("the server sent %d bytes: %.200q", len(got), got)
					}
				})
			})
		}
	}
}

func TestALostInboxCanBeBroughtBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, pipe := newBox(t), practice.NewPipe()
		b.Serve(nil, pipe)
		defer b.Stop()
		if err := b.Deliver(lizards, mailOf("one")); err != nil {
			t.Fatal(err)
		}
		opens := func() string {
			conn, err := pipe.DialContext(context.Background(), "", "")
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			return dialogue(t, conn, practice.StepSelect)
		}
		if err := b.LoseInbox(lizards); err != nil {
			t.Fatal(err)
		}
		if got := opens(); !strings.HasPrefix(got, "a2 NO ") {
			t.Errorf("after the loss: %q", got)
		}
		if err := b.ResetUIDValidity(lizards); err != nil {
			t.Fatal(err)
		}
		if got := opens(); !strings.Contains(got, "* 1 EXISTS") {
			t.Errorf("after the return: %q", got)
		}
	})
}

func TestOnlyLogin(t *testing.T) {
	for _, only := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b, pipe := newBox(t), practice.NewPipe()
			b.OnlyLogin = only
			b.Serve(nil, pipe)
			defer b.Stop()
			conn, err := pipe.DialContext(context.Background(), "", "")
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			if got := dialogue(t, conn, practice.StepCapability); strings.Contains(got, "AUTH=PLAIN") == only {
				t.Errorf("OnlyLogin %v: %q", only, got)
			}
		})
	}
}
