package house

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify/practice"
	"nestround/tasks/civil"
)

// underFaults runs a story in a bubble, and measures its memory.
func underFaults(t *testing.T, name string, story func(w *simulation)) {
	t.Run(name, func(t *testing.T) {
		dir := t.TempDir()
		grown := heap(func() {
			synctest.Test(t, func(t *testing.T) {
				w := newSimulation(t, dir, "2027-05-12T05:55:00Z")
				defer w.end()
				story(w)
				if t.Failed() {
					t.Logf("log:\n%s", w.log)
				}
			})
		})
		if grown > heapMost {
			t.Errorf("it took %d MiB of memory, want at most %d", grown>>20, heapMost>>20)
		}
	})
}

// wantOnce checks that each reply is recorded and answered once, and that each
// digest left once. Up to copies mails may have left again.
func (w *simulation) wantOnce(copies int, days ...string) {
	w.t.Helper()
	w.wantRecorded()
	_, answers := w.arrived()
	for _, id := range w.replies {
		if answers[id] == 0 {
			w.t.Errorf("%s has no answer", id)
		}
	}
	w.wantLeft(copies, days...)
}

// wantRecorded checks that each reply is recorded once.
func (w *simulation) wantRecorded() {
	w.t.Helper()
	recorded := w.recorded()
	for _, id := range w.replies {
		if n := recorded[id]; n != 1 {
			w.t.Errorf("%s is recorded %d times", id, n)
		}
	}
}

// wantLeft checks that each digest left, and counts the second copies.
func (w *simulation) wantLeft(copies int, days ...string) {
	w.t.Helper()
	digests, answers := w.arrived()
	second := 0
	for _, n := range answers {
		second += n - 1
	}
	for _, day := range days {
		if n := digests[day]; n < 1 {
			w.t.Errorf("the digest of %s never left", day)
		} else {
			second += n - 1
		}
	}
	if second > copies {
		w.t.Errorf("%d second copies left, want at most %d: digests %v, answers %v", second, copies, digests, answers)
	}
}

// wantTold checks that the keeper can see now that something is wrong: check and
// the next digest ask the same place.
func (w *simulation) wantTold(p part) {
	w.t.Helper()
	for _, x := range w.h.Troubles() {
		if x.Part == p && x.Standing() {
			return
		}
	}
	w.t.Errorf("at %s nothing is said of %q: %+v", w.now().Format("15:04"), p, w.h.Troubles())
}

// wantOver checks that no trouble of a part stands any more.
func (w *simulation) wantOver(p part) {
	w.t.Helper()
	for _, x := range w.h.Troubles() {
		if x.Part == p && x.Until.IsZero() && !x.Once {
			w.t.Errorf("the trouble still stands: %+v", x)
		}
	}
}

// lie replaces words of the server.
func (m *faultyProxy) lie(old, new string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.replace = strings.NewReplacer(old, new)
}

// serverFault is a way in which a mail server misbehaves.
type serverFault struct {
	name string
	set  func(w *simulation)
	// brief says that the work goes on in spite of the fault, or soon, so that
	// nothing needs to be told.
	brief bool
	// drops counts the mails that the server takes without saying so. Only they
	// may arrive again.
	drops int
}

// smtpFaults are the faults of the server for outgoing mail, at each step.
func smtpFaults() (all []serverFault) {
	steps := []practice.Step{practice.StepConnect, practice.StepEHLO, practice.StepAUTH, practice.StepMAIL, practice.StepRCPT,
		practice.StepDATA, practice.StepDot, practice.StepQUIT}
	add := func(name string, at practice.Step, f practice.Fault) {
		f.At = at
		s := serverFault{name: name + " at " + string(at), brief: at == practice.StepQUIT}
		if at == practice.StepDot && f.What == practice.HangUpAfter {
			f.Times, s.drops, s.brief = 1, 1, true
		}
		s.set = func(w *simulation) { w.box.Break(f) }
		all = append(all, s)
	}
	refusal := func(at practice.Step, reply string) {
		add(strings.ToValidUTF8(reply, "?"), at, practice.Fault{What: practice.Refuse, Reply: reply})
	}
	for _, at := range steps {
		refusal(at, "451 4.3.0 try again later")
		refusal(at, "550 5.7.1 not allowed")
		add("drop", at, practice.Fault{What: practice.HangUp})
		add("drop after", at, practice.Fault{What: practice.HangUpAfter})
		add("stall", at, practice.Fault{What: practice.Stall})
	}
	refusal(practice.StepConnect, "421 4.3.2 closing down")
	refusal(practice.StepConnect, "554 5.3.2 no service")
	refusal(practice.StepAUTH, "535 5.7.8 wrong password")
	refusal(practice.StepAUTH, "454 4.7.0 ask again")
	refusal(practice.StepMAIL, "530 5.7.0 log in first")
	refusal(practice.StepRCPT, "552 5.2.2 mailbox full")
	refusal(practice.StepDot, "554 5.6.0 no")
	for _, at := range []practice.Step{practice.StepEHLO, practice.StepRCPT, practice.StepDot} {
		refusal(at, "\x00\xff\xfe nonsense")
	}
	for _, at := range []string{"connect", "EHLO", "AUTH", "MAIL", "RCPT", "DATA"} {
		endlessly := func(name string, do func(*proxiedConn, string)) {
			// Once is enough to fill the memory.
			all = append(all, serverFault{name: name + " at " + at, set: func(w *simulation) { w.smtp.set(fault{at: at, do: do, times: 1}) }, brief: true})
		}
		endlessly("endless line", endless("250-", "x"))
		endlessly("endless lines", endless("", "250-one more\r\n"))
	}
	return all
}

// imapFaults are the faults of the mailbox, at each step.
func imapFaults() (all []serverFault) {
	add := func(name, at string, do func(*proxiedConn, string)) {
		f := fault{at: at, do: do}
		if strings.HasPrefix(name, "endless") {
			f.times = 1
		}
		all = append(all, serverFault{name: name + " at " + at, brief: at == "IDLE" || at == "NOOP" || f.times > 0, set: func(w *simulation) {
			w.imap.set(f)
			w.box.Cut() // so that the house begins anew
		}})
	}
	for _, at := range []string{"connect", "LOGIN", "EXAMINE", "UID SEARCH", "UID FETCH", "IDLE", "NOOP"} {
		add("drop", at, drops)
		add("stall", at, stalls)
		add("BYE", at, saysAndDrops("* BYE going down\r\n"))
		add("garbage", at, says("\x00\xff) {99}} nonsense\r\n"))
		add("endless line", at, endless("* OK ", "x"))
		if at == "connect" {
			continue
		}
		add("NO", at, says("TAG NO not now\r\n"))
		add("BAD", at, says("TAG BAD what\r\n"))
	}
	for _, at := range []string{"LOGIN", "EXAMINE", "UID SEARCH", "UID FETCH"} {
		add("NO [UNAVAILABLE]", at, says("TAG NO [UNAVAILABLE] not now\r\n"))
		add("NO [SERVERBUG]", at, says("TAG NO [SERVERBUG] sorry\r\n"))
		add("endless lines", at, endless("", "* OK one more\r\n"))
		add("endless literal", at, endless("* 1 FETCH (UID 1 BODY[] {1099511627776}\r\n", "x"))
	}
	add("NO [AUTHENTICATIONFAILED]", "LOGIN", says("TAG NO [AUTHENTICATIONFAILED] wrong\r\n"))
	add("NO [EXPIRED]", "LOGIN", says("TAG NO [EXPIRED] old\r\n"))
	add("NO [INUSE]", "EXAMINE", says("TAG NO [INUSE] locked\r\n"))
	add("lost mailbox", "EXAMINE", says("TAG NO [NONEXISTENT] no such mailbox\r\n"))
	add("no UIDVALIDITY", "EXAMINE", says("* 3 EXISTS\r\n* FLAGS ()\r\nTAG OK [READ-ONLY] done\r\n"))
	add("endless search", "UID SEARCH", endless("* SEARCH", " 1"))
	add("endless string", "UID FETCH", endless("* 1 FETCH (UID 1 ENVELOPE (\"", "x"))
	return append(all,
		serverFault{name: "new UIDVALIDITY", brief: true, set: func(w *simulation) {
			if err := w.box.ResetUIDValidity("rounds@example.org"); err != nil {
				w.t.Fatal(err)
			}
		}},
		serverFault{name: "too large by its size", set: func(w *simulation) { w.imap.lie("RFC822.SIZE ", "RFC822.SIZE 9999") }, brief: true},
		serverFault{name: "too small by its size", set: func(w *simulation) { w.imap.lie("RFC822.SIZE ", "RFC822.SIZE 0") }, brief: true},
		serverFault{name: "frozen", set: func(w *simulation) { w.box.Freeze() }},
	)
}

// The server for outgoing mail misbehaves at any step, first while the digest
// leaves and then while an answer leaves.
func TestFaultsOfOutgoingMail(t *testing.T) {
	for _, f := range smtpFaults() {
		underFaults(t, f.name, func(w *simulation) {
			f.set(w)
			w.until("2027-05-12T06:30:00Z")
			if !f.brief {
				w.wantTold(partMail)
			}
			w.until("2027-05-12T07:30:00Z")
			w.mend()
			w.until("2027-05-12T09:30:00Z") // the pauses grow to half an hour, and an attempt may take long
			w.wantOnce(f.drops, "2027-05-12")
			f.set(w)
			w.reply("done 1")
			w.until("2027-05-12T11:00:00Z")
			w.mend()
			w.until("2027-05-12T12:30:00Z")
			w.wantOnce(2*f.drops, "2027-05-12")
			w.wantOver(partMail)
		})
	}
}

// The mailbox misbehaves at any step while replies arrive.
func TestFaultsOfIncomingMail(t *testing.T) {
	for _, f := range imapFaults() {
		underFaults(t, f.name, func(w *simulation) {
			w.until("2027-05-12T06:30:00Z")
			w.reply("done 1")
			w.until("2027-05-12T06:45:00Z")
			f.set(w)
			first := w.reply("done 2")
			w.until("2027-05-12T08:00:00Z")
			if w.recorded()[first] == 0 {
				w.wantTold(partReplies)
			} else if !f.brief {
				w.t.Error("the fault has no effect")
			}
			w.reply("done 3")
			w.until("2027-05-12T08:30:00Z")
			w.mend()
			w.until("2027-05-12T09:30:00Z")
			w.wantOnce(0, "2027-05-12")
			w.wantOver(partReplies)
		})
	}
}

// What was wrong while the keeper slept is told in the next digest.
func TestNextDigestTellsTheFaults(t *testing.T) {
	for _, f := range []serverFault{
		{name: "NO [UNAVAILABLE] at UID FETCH", set: func(w *simulation) {
			w.imap.set(fault{at: "UID FETCH", do: says("TAG NO [UNAVAILABLE] not now\r\n")})
			w.reply("done 1")
		}},
		{name: "wrong password at AUTH", set: func(w *simulation) {
			w.box.Break(practice.Fault{At: practice.StepAUTH, What: practice.Refuse, Reply: "535 5.7.8 wrong password"})
			w.reply("done 1")
		}},
	} {
		underFaults(t, f.name, func(w *simulation) {
			w.until("2027-05-12T20:00:00Z")
			f.set(w)
			w.until("2027-05-12T22:00:00Z")
			w.mend()
			w.until("2027-05-13T06:30:00Z")
			w.wantOnce(0, "2027-05-12", "2027-05-13")
			if text := w.digestOf("2027-05-13"); !strings.Contains(text, "Trouble from") {
				w.t.Errorf("the next digest does not tell the trouble:\n%s", text)
			}
		})
	}
}

// Faults come in random order for a week, and the program is started anew now
// and then. Every reply counts once, and every digest leaves.
func TestAWeekOfFaults(t *testing.T) {
	seed := rand.Uint64()
	for n := range 3 {
		rng := rand.New(rand.NewPCG(seed, uint64(n)))
		underFaults(t, fmt.Sprintf("seed %d-%d", seed, n), func(w *simulation) {
			faults := slices.DeleteFunc(slices.Concat(smtpFaults(), imapFaults()), func(f serverFault) bool { return strings.HasPrefix(f.name, "endless") })
			copies := 0
			var days []string
			for d := range 7 {
				day := civil.MustParse("2027-05-12").AddDays(d)
				days = append(days, day.String())
				// Faults begin in the night, and are over before it is too late
				// for the digest.
				for at := day.At(1*60, time.UTC); at.Before(day.At(15*60, time.UTC)); {
					time.Sleep(max(0, at.Sub(w.now())))
					switch f := faults[rng.IntN(len(faults))]; rng.IntN(4) {
					case 0:
						w.mend()
					case 1:
						w.stop()
						w.start()
					default:
						w.happened = append(w.happened, at.Format("01-02 15:04 ")+f.name)
						copies += f.drops
						f.set(w)
					}
					if _, ok := w.h.Snapshot().TodaysIssue(); ok && rng.IntN(3) == 0 {
						w.reply(fmt.Sprintf("done %d", 1+rng.IntN(5)))
					}
					at = at.Add(time.Duration(5+rng.IntN(180)) * time.Minute)
				}
				time.Sleep(max(0, day.At(15*60, time.UTC).Sub(w.now())))
				w.mend()
				time.Sleep(day.At(18*60+30, time.UTC).Sub(w.now()))
			}
			if len(w.replies) == 0 {
				w.t.Error("no reply arrived")
			}
			w.wantRecorded()
			w.wantLeft(copies, days...)
			if w.t.Failed() {
				w.t.Logf("%s", strings.Join(w.happened, "\n"))
			}
		})
	}
}
