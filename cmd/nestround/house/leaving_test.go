package house

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/notify/practice"
	"nestround/tasks/disk"
)

// post has small books whose mail leaves through a practice server, and a clock
// that the test sets.
type post struct {
	box *practice.Box
	dir string
	now time.Time
	log lockedBuffer
}

func newPost(t *testing.T) *post {
	t.Helper()
	box := practice.New()
	box.RequireAuth = true
	for _, a := range []string{"rounds@example.org", "keeper@example.org", "jo@example.org"} {
		if err := box.AddUser(a, password); err != nil {
			t.Fatal(err)
		}
	}
	if err := box.Start(nil); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { box.Close() })
	p := &post{box: box, dir: small(t, "UTC", "06:00"), now: clock("2027-05-12T06:00:00Z")()}
	settings := fmt.Sprintf("[mail.out]\nsmtp = %q\nsecurity = \"none\"\nuser = \"rounds@example.org\"\npassword_file = \"mail.secret\"\n", box.SMTP())
	write(t, filepath.Join(p.dir, "keeper.toml"), strings.Replace(fmt.Sprintf(smallBooks, "UTC", "06:00"), "[mail.out]\nmaildir = \"out\"\n", settings, 1))
	p.secret(t, password)
	return p
}

func (p *post) secret(t *testing.T, s string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(p.dir, "mail.secret"), []byte(s+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
}

// open opens the books in a new process.
func (p *post) open(t *testing.T) *House {
	t.Helper()
	h, problems, err := Open(p.dir, Options{Now: func() time.Time { return p.now }, Log: slog.New(slog.NewTextHandler(&p.log, nil))})
	if err != nil || h == nil {
		t.Fatalf("open: %v, %v", err, problems)
	}
	return h
}

// checked returns what check says of the mail.
func (p *post) checked(t *testing.T, h *House) string {
	t.Helper()
	list, err := MailProblems(h)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, x := range append(list, h.StandingTroubles(time.UTC)...) {
		fmt.Fprintln(&b, x.Message)
	}
	return b.String()
}

// TestEveryFaultOfTheMailServer: whatever the server does at each step, the
// digest leaves after the repair, with one Message-ID. Only the connection that
// closes after the whole mail leads to a second copy, and that is told. A
// connection that closes at the dot looks the same from here.
func TestEveryFaultOfTheMailServer(t *testing.T) {
	type row struct {
		fault   practice.Fault
		copies  int
		refused string // words that check says at once
		twice   bool   // the mail may have arrived twice, as far as anybody here knows
	}
	var rows []row
	for _, at := range []practice.Step{practice.StepConnect, practice.StepEHLO, practice.StepAUTH, practice.StepMAIL, practice.StepRCPT, practice.StepDATA, practice.StepDot} {
		rows = append(rows,
			row{practice.Fault{At: at, What: practice.Refuse, Reply: "451 4.3.0 done 1 3"}, 1, "", false},
			row{practice.Fault{At: at, What: practice.HangUp}, 1, "", at == practice.StepDot})
		if at != practice.StepEHLO { // a server that knows no EHLO is asked with HELO
			rows = append(rows, row{practice.Fault{At: at, What: practice.Refuse, Reply: "550 5.7.1 done 1 3"}, 1, "refused", false})
		}
	}
	rows = append(rows,
		row{practice.Fault{At: practice.StepQUIT, What: practice.HangUp}, 1, "", false},
		row{practice.Fault{At: practice.StepDATA, What: practice.HangUpAfter}, 1, "", false},
		row{practice.Fault{At: practice.StepDot, What: practice.HangUpAfter}, 2, "", true})
	for _, r := range rows {
		t.Run(fmt.Sprintf("%s %v %s", r.fault.At, r.fault.What, r.fault.Reply), func(t *testing.T) {
			p := newPost(t)
			p.box.Break(r.fault)
			h := p.open(t)
			i := issued(t, h)
			if _, err := h.DeliverMail(t.Context()); err != nil {
				t.Fatal(err)
			}
			told := p.checked(t, h)
			if r.fault.At != practice.StepQUIT {
				if !strings.Contains(told, "the digest of 12 May to keeper@example.org waits since Wed 12 May 06:00") {
					t.Errorf("check says %q", told)
				}
				if standing := strings.Contains(told, "mail does not leave"); standing != (r.refused != "") || !strings.Contains(told, r.refused) {
					t.Errorf("check says %q", told)
				}
			}
			if strings.Contains(told, "done 1") {
				t.Errorf("check repeats the words of the server: %q", told)
			}
			p.box.Mend()
			p.now = p.now.Add(10 * time.Minute)
			again := p.open(t)
			for range 2 {
				if _, err := again.DeliverMailNow(t.Context()); err != nil {
					t.Fatal(err)
				}
				issued(t, again)
			}
			digests, _ := mailsTo(p.box, "keeper@example.org")
			if len(digests) != r.copies {
				t.Errorf("%d copies arrived, want %d", len(digests), r.copies)
			}
			for _, d := range digests {
				if d.MessageID != i.MessageID {
					t.Errorf("a copy has the Message-ID %s", d.MessageID)
				}
			}
			told = p.checked(t, again)
			if twice := strings.Contains(told, "may have arrived twice"); twice != r.twice || strings.Contains(told, "waits") || strings.Contains(told, "not leave") {
				t.Errorf("at the end check says %q", told)
			}
			if n := strings.Count(p.log.String(), "may have arrived twice"); n != map[bool]int{true: 1}[r.twice] {
				t.Errorf("the log says %d times that the mail may have arrived twice", n)
			}
			if strings.Contains(p.log.String(), password) {
				t.Error("the log holds the password")
			}
		})
	}
}

// TestARefusedLoginAndTheNextMorning: the login is refused for days. Each digest
// withdraws the one before and tells the others until one of them leaves. Then no
// digest tells them again.
func TestARefusedLoginAndTheNextMorning(t *testing.T) {
	p := newPost(t)
	p.secret(t, "a wrong password")
	day := func(n int) *House {
		p.now = clock("2027-05-12T06:00:00Z")().AddDate(0, 0, n)
		h := p.open(t)
		issued(t, h)
		if _, err := h.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		issued(t, p.open(t)) // another process asks again
		return h
	}
	day(0)
	h := day(1)
	if told := p.checked(t, h); !strings.Contains(told, "the digest of 12 May for keeper@example.org did not leave") || !strings.Contains(told, "refused the login (reply 5") {
		t.Errorf("check says %q", told)
	}
	day(2)
	p.secret(t, password)
	p.now = p.now.Add(time.Minute)
	if _, err := p.open(t).DeliverMailNow(t.Context()); err != nil {
		t.Fatal(err)
	}
	day(3)
	digests, _ := mailsTo(p.box, "keeper@example.org")
	if len(digests) != 2 {
		t.Fatalf("%d digests arrived, want those of 14 and 15 May", len(digests))
	}
	for n, d := range digests {
		text := strings.Join(strings.Fields(strings.Join(d.Lines, " ")), " ")
		for _, old := range []string{"12 May", "13 May"} {
			want := 1 - n
			if got := strings.Count(text, "The digest of "+old+" did not leave: "); got != want {
				t.Errorf("digest %d tells %d times of the digest of %s, want %d:\n%s", n+1, got, old, want, text)
			}
		}
	}
	if left, err := os.ReadDir(filepath.Join(p.dir, "state", "outbox", "failed")); err != nil || len(left) != 4 {
		t.Errorf("kept: %v, %v", left, err)
	}
}

// TestSendSettingsChange: the outbox tries again after a change of [mail.out], of the
// password or of the certificates, and after no other change.
func TestSendSettingsChange(t *testing.T) {
	p := newPost(t)
	h := p.open(t)
	last := carrier{h}.sendSettings()
	for _, step := range []struct {
		what string
		do   func()
		want bool
	}{
		{"nothing", func() {}, false},
		{"the password", func() { p.secret(t, "new") }, true},
		{"no password", func() { os.Remove(filepath.Join(p.dir, "mail.secret")) }, true},
		{"nothing again", func() {}, false},
		{"the settings", func() {
			path := filepath.Join(p.dir, "keeper.toml")
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			write(t, path, strings.Replace(string(text), "user = \"rounds@", "user = \"other@", 1))
			if _, err := h.Refresh(); err != nil {
				t.Fatal(err)
			}
		}, true},
	} {
		step.do()
		now := carrier{h}.sendSettings()
		if (now != last) != step.want {
			t.Errorf("after a change of %s: changed = %v", step.what, now != last)
		}
		last = now
	}
	if strings.Contains(fmt.Sprintf("%+v", last), password) {
		t.Error("the settings for sending show the password")
	}
}

// TestTwoDigestsNeverArriveTogether: serve begins a day late, and the digest of
// yesterday still waits.
func TestTwoDigestsNeverArriveTogether(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	now := clock("2027-05-12T06:00:00Z")()
	h := open(t, dir, func() time.Time { return now }, disk.Files{})
	issued(t, h)
	now = now.Add(24*time.Hour + time.Second)
	if _, err := h.dispatch.outbox.DeliverNow(t.Context(), carrier{h}, h.now); err != nil {
		t.Fatal(err)
	}
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	mails := sent(t, dir)
	if len(mails) != 1 || mails[0].MessageID != i.MessageID {
		t.Fatalf("%d digests arrived, want the new one alone", len(mails))
	}
	if text := strings.Join(mails[0].Lines, " "); !strings.Contains(strings.Join(strings.Fields(text), " "), "The digest of 12 May did not leave: nothing tried to send it in time.") {
		t.Errorf("the digest does not tell the earlier one:\n%s", text)
	}
}
