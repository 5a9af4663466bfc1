package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/cmd/nestround/demobooks"
	"nestround/cmd/nestround/house"
	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
)

// The test kills the real program again and again while it issues the digest,
// reads replies and answers them. In the end every reply is in the daybook
// once, every answer belongs to a recorded reply, and the digest was sent once.
func TestServeKilledInALoop(t *testing.T) {
	dir := t.TempDir()
	day := civil.MustParse("2027-05-12")
	if err := demobooks.Write(dir, day, demobooks.Setting{Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{"new", "cur", "tmp"} {
		if err := os.MkdirAll(filepath.Join(dir, "mail", "in", f), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	morning := day.At(6*60+30, time.UTC)
	set := time.Now()
	env := append(os.Environ(), "CLOCK="+morning.Format(time.RFC3339), "SET="+set.Format(time.RFC3339Nano))

	// The shell issues the digest first, because replies name its id. Then
	// serve must notice that the digest is already issued.
	h, problems, err := house.Open(dir, house.Options{Now: func() time.Time { return morning }})
	if err != nil || h == nil {
		t.Fatal(err, problems)
	}
	if _, err := h.Morning(time.Time{}); err != nil {
		t.Fatal(err)
	}
	issue, _ := h.Snapshot().TodaysIssue()
	const replies = 12
	arrive := func(n int) {
		raw, err := mailout.Compose(notify.Message{
			ID: fmt.Sprintf("r%d@phone.example.org", n), Date: morning.Add(time.Duration(n) * time.Second), From: "keeper@example.org",
			To: h.Snapshot().ReplyTo(issue), Subject: "Re: " + notify.SubjectTag(issue.ID), InReplyTo: issue.MessageID, Text: fmt.Sprintf("done %d\n", issue.Items[n].N),
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "mail", "in", "new", fmt.Sprintf("%d.M%d.phone", morning.Unix(), n)), raw, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// Called by the name nestround, the test binary runs the command.
	bin := filepath.Join(t.TempDir(), "nestround")
	if err := os.Symlink(self, bin); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(27, 5))
	kills, reached := 0, 0
	longest := 70 // milliseconds; longest time before a kill
	for run := 0; ; run++ {
		if run < replies {
			arrive(run)
		}
		if run == 400 {
			t.Fatalf("after %d kills there are %d entries and %d answers", kills, entriesOf(t, dir), len(answersIn(t, dir)))
		}
		var errs bytes.Buffer
		cmd := exec.Command(bin, "serve", "--books", dir, "--listen", "127.0.0.1:0")
		cmd.Env, cmd.Stderr = env, &errs
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// The kill comes after a random time. While nothing new is recorded or
		// answered, that time may grow; otherwise a slow machine would be
		// killed before the program has started.
		time.Sleep(time.Duration(15+rng.IntN(longest)) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		cmd.Wait()
		kills++
		if s := errs.String(); strings.Contains(s, "panic") || strings.Contains(s, "level=ERROR") {
			t.Fatalf("run %d:\n%s", run, s)
		}
		entries, answers := entriesOf(t, dir), len(answersIn(t, dir))
		if entries == replies && answers >= 3 {
			break
		}
		if entries+answers == reached {
			longest += longest / 6
		}
		reached = entries + answers
	}
	entries, trouble, err := daybook.Read(dir)
	if err != nil || len(trouble) > 0 {
		t.Errorf("daybook: %v, %v", trouble, err)
	}
	times := make(map[string]int)
	for _, e := range entries {
		times[e.ID]++
	}
	for n := range replies {
		if id := fmt.Sprintf("r%d@phone.example.org", n); times[id] != 1 {
			t.Errorf("%s is recorded %d times", id, times[id])
		}
	}
	for _, m := range answersIn(t, dir) {
		if times[m.InReplyTo[0]] != 1 {
			t.Errorf("an answer speaks of %s, which is not recorded", m.InReplyTo[0])
		}
	}
	digests := 0
	for _, m := range mailsIn(t, dir) {
		if m.MessageID == issue.MessageID {
			digests++
		}
	}
	if digests != 1 {
		t.Errorf("the digest left %d times", digests)
	}
	board := run(t, "round", "--json", "--books", dir)
	if n := strings.Count(board, `"status": "`+string(tasks.Done)+`"`); n != replies {
		t.Errorf("%d tasks are done, want %d", n, replies)
	}
	t.Logf("killed %d times", kills)
}

func entriesOf(t *testing.T, dir string) int {
	t.Helper()
	entries, _, err := daybook.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range entries {
		if strings.HasSuffix(e.ID, "@phone.example.org") {
			n++
		}
	}
	return n
}

func mailsIn(t *testing.T, dir string) (mails []reply.Mail) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "mail", "out", "new", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := reply.Read(raw)
		if err != nil {
			t.Fatalf("a mail that left cannot be read: %v", err)
		}
		mails = append(mails, m)
	}
	return mails
}

func answersIn(t *testing.T, dir string) (answers []reply.Mail) {
	t.Helper()
	for _, m := range mailsIn(t, dir) {
		if len(m.InReplyTo) > 0 {
			answers = append(answers, m)
		}
	}
	return answers
}
