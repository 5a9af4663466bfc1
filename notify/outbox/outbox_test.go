package outbox

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

// way is a next server whose answers the test decides.
type way struct {
	mu     sync.Mutex
	answer func(m notify.Outgoing, attempt int) error // nil accepts everything
	tried  []attempt
}

type attempt struct {
	id, to, raw string
	at          time.Time
	err         error
}

func (w *way) Send(ctx context.Context, m notify.Outgoing) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	n := 1
	for _, a := range w.tried {
		if a.id == m.ID && a.to == m.To {
			n++
		}
	}
	var err error
	if w.answer != nil {
		err = w.answer(m, n)
	}
	w.tried = append(w.tried, attempt{m.ID, m.To, string(m.Raw), time.Now(), err})
	return err
}

// accepted counts how often the way accepted the mail.
func (w *way) accepted(id string) (n int) {
	for _, a := range w.tried {
		if a.id == id && a.err == nil {
			n++
		}
	}
	return n
}

// refusal is an error of a mail server, temporary or permanent.
type refusal struct {
	text      string
	temporary bool
}

func (r refusal) Error() string   { return r.text }
func (r refusal) Temporary() bool { return r.temporary }

var (
	busy      = refusal{"421 4.3.2 try again later", true}
	errNobody = fmt.Errorf("deliver to the next hop: %w", refusal{"550 5.1.1 no such user", false})
	errBroken = errors.New("connection reset by peer") // does not say whether it is temporary
)

func mail(id string) notify.Outgoing {
	return notify.Outgoing{
		ID: id, From: "lizards@example.org", To: "keeper@example.org",
		Raw: []byte("Message-ID: <" + id + ">\r\nSubject: the round\r\n\r\n1 Top up E07\r\n\x00\xff\n" + strings.Repeat("x", 5000) + id),
	}
}

var morning = time.Date(2027, 5, 12, 6, 0, 0, 0, time.FixedZone("", 2*3600))

func put(t testing.TB, b *Box, m notify.Outgoing, meta Meta, want bool) {
	t.Helper()
	added, err := b.Put(m, meta)
	if err != nil {
		t.Fatal(err)
	}
	if added != want {
		t.Errorf("put %s: added = %v, want %v", m.ID, added, want)
	}
}

func deliver(t testing.TB, b *Box, w *way, now time.Time) Report {
	t.Helper()
	r, err := b.Deliver(t.Context(), w, now)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestPutAndDeliver(t *testing.T) {
	books := t.TempDir()
	b, w := New(books, disk.Files{}), &way{}
	if r := deliver(t, b, w, morning); !r.Empty() || r.Waiting != 0 {
		t.Errorf("an empty outbox: %+v", r)
	}
	second := mail("digest-1")
	second.To = "sitter@example.org" // the same digest for another person
	put(t, b, mail("answer"), Meta{About: "an answer", Queued: morning.Add(time.Minute)}, true)
	put(t, b, mail("digest-1"), Meta{About: "the digest of 12 May", Queued: morning}, true)
	put(t, b, mail("digest-1"), Meta{About: "the digest of 12 May", Queued: morning}, false)
	put(t, b, second, Meta{About: "the digest of 12 May", Queued: morning.Add(time.Second)}, true)
	if waiting, err := b.Waiting(); err != nil || len(waiting) != 3 || waiting[0].About != "the digest of 12 May" || waiting[0].Attempts != 0 {
		t.Errorf("waiting: %+v, %v", waiting, err)
	}

	again := New(books, disk.Files{}) // after a restart
	r := deliver(t, again, w, morning.Add(2*time.Minute))
	var left []string
	for i, a := range w.tried {
		left = append(left, a.id+" to "+a.to)
		want := mail(a.id)
		if a.raw != string(want.Raw) {
			t.Errorf("mail %d left with other bytes", i)
		}
	}
	if got := strings.Join(left, ", "); got != "digest-1 to keeper@example.org, digest-1 to sitter@example.org, answer to keeper@example.org" {
		t.Errorf("left: %s", got)
	}
	if len(r.Sent) != 3 || r.Sent[0].About != "the digest of 12 May" || r.Waiting != 0 || !r.Next.IsZero() {
		t.Errorf("report %+v", r)
	}
	for _, box := range []*Box{b, again} {
		put(t, box, mail("digest-1"), Meta{Queued: morning}, false)
		deliver(t, box, w, morning.Add(time.Hour))
	}
	if len(w.tried) != 3 {
		t.Errorf("%d attempts, want 3", len(w.tried))
	}
	if waiting, err := b.Waiting(); err != nil || len(waiting) != 0 {
		t.Errorf("still waiting: %+v, %v", waiting, err)
	}
	if sent, err := b.Sent(); err != nil || len(sent) != 3 || sent[2].ID != "answer" || !sent[2].At.Equal(morning.Add(2*time.Minute)) {
		t.Errorf("sent: %+v, %v", sent, err)
	}
	if left := files(t, books); !slices.Equal(left, []string{"lock", "sending", "sent.json"}) {
		t.Errorf("left on the disk: %q", left)
	}
	for _, m := range []notify.Outgoing{{To: "a", Raw: []byte("x")}, {ID: "a", Raw: []byte("x")}, {ID: "a", To: "a"}} {
		if _, err := b.Put(m, Meta{}); err == nil {
			t.Errorf("accepted %+v", m)
		}
	}
}

// files lists the files of the outbox.
func files(t testing.TB, books string) []string {
	t.Helper()
	root := filepath.Join(books, filepath.FromSlash(Folder))
	var names []string
	err := filepath.WalkDir(root, func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(root, path)
			names = append(names, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// TestRunTriesAgain runs the loop for a morning while the server is down, and
// checks the times of the attempts.
func TestRunTriesAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		w := &way{answer: func(m notify.Outgoing, n int) error {
			switch {
			case n > 9:
				return nil
			case n%2 == 0:
				return errBroken
			}
			return busy
		}}
		b := New(t.TempDir(), disk.Files{})
		ctx, stop := context.WithCancel(t.Context())
		var reports []Report
		ended := make(chan error)
		go func() {
			ended <- b.Run(ctx, w, time.Now, func(r Report, err error) {
				if err != nil {
					t.Error(err)
				}
				reports = append(reports, r)
			})
		}()
		time.Sleep(17 * time.Second)
		put(t, b, mail("digest"), Meta{About: "the digest", Queued: time.Now(), Deadline: time.Now().Add(12 * time.Hour)}, true)
		time.Sleep(10 * time.Hour)
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("Run returned %v", err)
		}
		// Pauses of 1, 2, 5, 10, 20 and 30 minutes, then half an hour each.
		want := []int{0, 1, 3, 8, 18, 38, 68, 98, 128, 158}
		var got []int
		for _, a := range w.tried {
			got = append(got, int(a.at.Sub(start.Add(17*time.Second))/time.Minute))
			if a.at.Sub(start.Add(17*time.Second))%time.Minute != 0 {
				t.Errorf("tried %v after it was put", a.at.Sub(start.Add(17*time.Second)))
			}
			if a.raw != string(mail("digest").Raw) {
				t.Error("another attempt had other bytes")
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("tried after minutes %v, want %v", got, want)
		}
		if len(reports) != len(want) || len(reports[0].Deferred) != 1 || reports[0].Deferred[0].Error != busy.Error() || len(reports[9].Sent) != 1 {
			t.Errorf("reports: %+v", reports)
		}
	})
}

// TestRunSeesMailOfOthers: another process puts a mail here while this process
// waits, and the machine sleeps.
func TestRunSeesMailOfOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		books := t.TempDir()
		w := &way{}
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- New(books, disk.Files{}).Run(ctx, w, time.Now, nil) }()
		time.Sleep(10 * time.Minute)
		put(t, New(books, disk.Files{}), mail("other"), Meta{Queued: time.Now()}, true)
		time.Sleep(time.Minute)
		synctest.Wait()
		if w.accepted("other") != 1 {
			t.Errorf("a minute later: %+v", w.tried)
		}
		stop()
		<-ended
	})
}

func TestRefusedForGood(t *testing.T) {
	books := t.TempDir()
	w := &way{answer: func(m notify.Outgoing, n int) error {
		if m.ID == "bad" {
			return errNobody
		}
		return nil
	}}
	b := New(books, disk.Files{})
	put(t, b, mail("bad"), Meta{About: "an answer", Queued: morning}, true)
	put(t, b, mail("good"), Meta{Queued: morning.Add(time.Second)}, true)
	r := deliver(t, b, w, morning.Add(time.Minute))
	if len(r.Failed) != 1 || len(r.Sent) != 1 || r.Waiting != 0 {
		t.Fatalf("report %+v", r)
	}
	f := r.Failed[0]
	if f.ID != "bad" || f.About != "an answer" || f.Attempts != 1 || f.Late || !strings.Contains(f.Reason, "550 5.1.1") {
		t.Errorf("failure %+v", f)
	}
	kept, err := os.ReadFile(filepath.Join(books, filepath.FromSlash(f.File)))
	if err != nil || !bytes.HasSuffix(kept, mail("bad").Raw) {
		t.Errorf("it was not kept at %s: %v", f.File, err)
	}
	again := New(books, disk.Files{})
	if r := deliver(t, again, w, morning.Add(time.Hour)); !r.Empty() {
		t.Errorf("tried again: %+v", r)
	}
	if all, err := again.Failed(); err != nil || len(all) != 1 || all[0].Reason != f.Reason || !all[0].At.Equal(f.At) {
		t.Errorf("failed: %+v, %v", all, err)
	}
	// The keeper corrects the address and puts the mail again.
	w.answer = nil
	put(t, again, mail("bad"), Meta{Queued: morning.Add(2 * time.Hour)}, true)
	if r := deliver(t, again, w, morning.Add(2*time.Hour)); len(r.Sent) != 1 {
		t.Errorf("sent again: %+v", r)
	}
	if all, err := again.Failed(); err != nil || len(all) != 0 {
		t.Errorf("still failed: %+v, %v", all, err)
	}
}

func TestTooLate(t *testing.T) {
	noon := morning.Add(12 * time.Hour)
	t.Run("a digest that is never accepted", func(t *testing.T) {
		w := &way{answer: func(notify.Outgoing, int) error { return errBroken }}
		b := New(t.TempDir(), disk.Files{})
		put(t, b, mail("digest"), Meta{About: "the digest", Queued: morning, Deadline: noon}, true)
		now, r := morning, Report{}
		for n := 0; n == 0 || r.Waiting > 0; n++ {
			r = deliver(t, b, w, now)
			if r.Waiting > 0 && (!r.Next.After(now) || r.Next.After(noon)) {
				t.Fatalf("at %v next at %v", now, r.Next)
			}
			now = r.Next
		}
		if len(r.Failed) != 1 || !r.Failed[0].Late || !strings.Contains(r.Failed[0].Reason, "2027-05-12 18:00:00 +02:00") || !strings.Contains(r.Failed[0].Reason, errBroken.Error()) {
			t.Errorf("report %+v", r)
		}
		// 68 minutes for the first six, then every half hour within 12 hours.
		if n := len(w.tried); n != 7+(12*60-68-1)/30 || r.Failed[0].Attempts != n {
			t.Errorf("tried %d times, reported %d", n, r.Failed[0].Attempts)
		}
	})
	t.Run("a machine that slept all day", func(t *testing.T) {
		w := &way{}
		b := New(t.TempDir(), disk.Files{})
		put(t, b, mail("digest"), Meta{Queued: morning, Deadline: noon}, true)
		if r := deliver(t, b, w, noon); len(w.tried) != 0 || len(r.Failed) != 1 || !r.Failed[0].Late {
			t.Errorf("report %+v, tried %d times", r, len(w.tried))
		}
	})
	t.Run("a machine that woke in time", func(t *testing.T) {
		w := &way{}
		b := New(t.TempDir(), disk.Files{})
		put(t, b, mail("digest"), Meta{Queued: morning, Deadline: noon}, true)
		if r := deliver(t, b, w, noon.Add(-time.Second)); len(r.Sent) != 1 {
			t.Errorf("report %+v", r)
		}
	})
	t.Run("no deadline", func(t *testing.T) {
		w := &way{answer: func(notify.Outgoing, int) error { return busy }}
		b := New(t.TempDir(), disk.Files{})
		put(t, b, mail("answer"), Meta{Queued: morning}, true)
		now, r := morning, Report{}
		for n := 0; n == 0 || r.Waiting > 0; n++ {
			r = deliver(t, b, w, now)
			if r.Waiting > 0 {
				now = r.Next
			}
		}
		if days := now.Sub(morning).Hours() / 24; days < 5 || days > 5.1 || len(r.Failed) != 1 {
			t.Errorf("given up after %.2f days: %+v", days, r)
		}
	})
}

func TestAttemptsOutliveARestart(t *testing.T) {
	books := t.TempDir()
	w := &way{answer: func(notify.Outgoing, int) error { return busy }}
	put(t, New(books, disk.Files{}), mail("m"), Meta{Queued: morning}, true)
	for _, step := range []struct {
		at    time.Duration
		tried int
	}{
		{0, 1}, {59 * time.Second, 1}, {time.Minute, 2}, {2 * time.Minute, 2}, {3 * time.Minute, 3},
		// The clock is set back by a day. No mail may wait for a day because of
		// that.
		{-24 * time.Hour, 4}, {-24*time.Hour + 9*time.Minute, 4}, {-24*time.Hour + 10*time.Minute, 5},
	} {
		b := New(books, disk.Files{})
		deliver(t, b, w, morning.Add(step.at))
		if waiting, err := b.Waiting(); len(w.tried) != step.tried || err != nil || waiting[0].Attempts != step.tried {
			t.Fatalf("at %v: tried %d times, want %d; %+v, %v", step.at, len(w.tried), step.tried, waiting, err)
		}
	}
}

// TestAttemptsWithoutADisk: if an attempt cannot be recorded because the disk
// is full, the server must not be asked again every minute.
func TestAttemptsWithoutADisk(t *testing.T) {
	books := t.TempDir()
	d := disktest.New(t, books)
	b := New(books, disk.Files{Ops: d})
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	w := &way{answer: func(notify.Outgoing, int) error { return busy }}
	deliver(t, b, w, morning)
	d.Fail(len(d.Log())+2, syscall.ENOSPC, false)
	if r, err := b.Deliver(t.Context(), w, morning.Add(time.Minute)); !errors.Is(err, syscall.ENOSPC) || len(r.Deferred) != 1 {
		t.Fatalf("report %+v, %v, %q", r, err, d.Log())
	}
	deliver(t, b, w, morning.Add(2*time.Minute))
	if len(w.tried) != 2 {
		t.Errorf("tried %d times, want 2", len(w.tried))
	}
	deliver(t, b, w, morning.Add(3*time.Minute))
	if waiting, err := b.Waiting(); err != nil || waiting[0].Attempts != 3 {
		t.Errorf("waiting %+v, %v", waiting, err)
	}
}

// TestAttemptsOfAnEarlierLife: a mail that is put again gets all its attempts
// again.
func TestAttemptsOfAnEarlierLife(t *testing.T) {
	b, w := New(t.TempDir(), disk.Files{}), &way{}
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	name := nameOf("m", "keeper@example.org")
	if err := b.files.WriteJSON(b.path(name+tryExt), try{9, morning, morning.Add(time.Hour), "?"}); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(b.path(name + mailExt)); err != nil {
		t.Fatal(err)
	}
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	if r := deliver(t, b, w, morning); len(r.Sent) != 1 {
		t.Errorf("report %+v", r)
	}
}

func TestStopsInTheMiddle(t *testing.T) {
	b := New(t.TempDir(), disk.Files{})
	put(t, b, mail("a"), Meta{Queued: morning}, true)
	put(t, b, mail("b"), Meta{Queued: morning.Add(1)}, true)
	ctx, stop := context.WithCancel(t.Context())
	w := &way{answer: func(notify.Outgoing, int) error {
		stop()
		return ctx.Err()
	}}
	r, err := b.Deliver(ctx, w, morning)
	if err != nil || len(w.tried) != 1 || r.Waiting != 2 || !r.Empty() {
		t.Errorf("tried %d: %+v, %v", len(w.tried), r, err)
	}
	if waiting, err := b.Waiting(); err != nil || len(waiting) != 2 || waiting[0].Attempts != 0 {
		t.Errorf("waiting %+v, %v", waiting, err)
	}
}

// TestHangs: a server that stops answering must not block the other mails.
func TestHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := New(t.TempDir(), disk.Files{})
		put(t, b, mail("a"), Meta{Queued: time.Now()}, true)
		start := time.Now()
		r, err := b.Deliver(t.Context(), hanging{}, time.Now())
		if err != nil || len(r.Deferred) != 1 || time.Since(start) != sendLimit {
			t.Errorf("after %v: %+v, %v", time.Since(start), r, err)
		}
	})
}

type hanging struct{}

func (hanging) Send(ctx context.Context, m notify.Outgoing) error {
	<-ctx.Done()
	return ctx.Err()
}

// TestWhileDelivering: anybody may put a mail during a long attempt, but no
// other process may deliver.
func TestWhileDelivering(t *testing.T) {
	books := t.TempDir()
	b, other := New(books, disk.Files{}), New(books, disk.Files{})
	put(t, b, mail("a"), Meta{Queued: morning}, true)
	w := &way{}
	w.answer = func(notify.Outgoing, int) error {
		if len(w.tried) > 0 {
			return nil
		}
		put(t, b, mail("b"), Meta{Queued: morning}, true)
		put(t, other, mail("c"), Meta{Queued: morning}, true)
		put(t, other, mail("a"), Meta{Queued: morning}, false)
		for _, box := range []*Box{b, other} {
			if _, err := box.Deliver(t.Context(), &way{}, morning); !errors.Is(err, ErrBusy) {
				t.Errorf("delivered twice at a time: %v", err)
			}
		}
		return nil
	}
	deliver(t, b, w, morning)
	deliver(t, other, w, morning)
	if w.accepted("a")+w.accepted("b")+w.accepted("c") != 3 || len(w.tried) != 3 {
		t.Errorf("tried %+v", w.tried)
	}
}

// TestDamagedMail cuts a stored mail off at every length, and changes a bit of
// every byte. No damaged mail may leave.
func TestDamagedMail(t *testing.T) {
	books := t.TempDir()
	m := mail("m")
	m.Raw = m.Raw[:120]
	b := New(books, disk.Files{})
	put(t, b, m, Meta{Queued: morning}, true)
	path := b.path(nameOf(m.ID, m.To) + mailExt)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var damaged [][]byte
	for i := range good {
		damaged = append(damaged, good[:i])
		flipped := bytes.Clone(good)
		flipped[i] ^= 1
		damaged = append(damaged, flipped)
	}
	damaged = append(damaged, append(bytes.Clone(good), '\n'), make([]byte, len(good)))
	for i, text := range damaged {
		name := nameOf(m.ID, m.To)
		got, err := parse(name, text)
		if err != nil {
			continue
		}
		// The header may have changed without damage to the mail.
		if got.ID != m.ID || got.To != m.To || !bytes.Equal(got.raw, m.Raw) {
			t.Errorf("damage %d passed:\n%q", i, text)
		}
	}
	w := &way{}
	for n, text := range [][]byte{nil, good[:len(good)-1], good[:40]} {
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		r := deliver(t, b, w, morning)
		if want := fmt.Sprintf("%s.corrupt-%d", path, n+1); len(w.tried) != 0 || len(r.Damaged) != 1 || r.Damaged[0].Aside != want || r.Waiting != 0 {
			t.Fatalf("report %+v, tried %d", r, len(w.tried))
		}
		if kept, err := os.ReadFile(r.Damaged[0].Aside); err != nil || !bytes.Equal(kept, text) {
			t.Errorf("kept %q, %v", kept, err)
		}
	}
	// It was never sent, so it may be put again.
	put(t, b, m, Meta{Queued: morning}, true)
	if r := deliver(t, b, w, morning); len(r.Sent) != 1 || len(r.Damaged) != 0 {
		t.Errorf("report %+v", r)
	}
}

func TestDamagedState(t *testing.T) {
	books := t.TempDir()
	b, w := New(books, disk.Files{}), &way{answer: func(m notify.Outgoing, n int) error {
		switch {
		case m.ID == "bad":
			return errNobody
		case n == 1:
			return busy
		}
		return nil
	}}
	put(t, b, mail("bad"), Meta{Queued: morning}, true)
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	deliver(t, b, w, morning)
	for _, path := range []string{
		b.sentFile(), b.path(nameOf("m", "keeper@example.org") + tryExt), b.failed(nameOf("bad", "keeper@example.org") + failExt),
	} {
		if err := os.WriteFile(path, []byte(`{"at": `), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b = New(books, disk.Files{})
	put(t, b, mail("n"), Meta{Queued: morning}, true)
	if failed, err := b.Failed(); err != nil || len(failed) != 0 {
		t.Errorf("failed %+v, %v", failed, err)
	}
	if waiting, err := b.Waiting(); err != nil || len(waiting) != 2 {
		t.Errorf("waiting %+v, %v", waiting, err)
	}
	r := deliver(t, b, w, morning.Add(time.Hour))
	if len(r.Damaged) != 2 || len(r.Sent) != 1 || r.Sent[0].ID != "m" {
		t.Errorf("report %+v", r)
	}
	if r := deliver(t, b, w, morning.Add(2*time.Hour)); len(r.Damaged) != 0 || len(r.Sent) != 1 {
		t.Errorf("the next report %+v", r)
	}
}

func TestForgets(t *testing.T) {
	books := t.TempDir()
	b, w := New(books, disk.Files{}), &way{answer: func(m notify.Outgoing, n int) error {
		if m.ID == "bad" {
			return errNobody
		}
		return nil
	}}
	put(t, b, mail("bad"), Meta{Queued: morning}, true)
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	deliver(t, b, w, morning)
	if err := os.WriteFile(b.path("gone"+tryExt), []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	deliver(t, b, w, morning.Add(memory))
	if failed, err := b.Failed(); err != nil || len(failed) != 1 {
		t.Errorf("60 days later: %+v, %v", failed, err)
	}
	put(t, b, mail("m"), Meta{}, false)
	put(t, b, mail("n"), Meta{}, true)
	deliver(t, b, w, morning.Add(memory+time.Hour))
	if left := files(t, books); !slices.Equal(left, []string{"lock", "sending", "sent.json"}) {
		t.Errorf("left on the disk: %q", left)
	}
	if sent, err := b.Sent(); err != nil || len(sent) != 1 || sent[0].ID != "n" {
		t.Errorf("sent %+v, %v", sent, err)
	}
}

// morningOf runs a program's work with its outbox: it puts three mails. One of
// them is refused, and one is accepted only at the second attempt. It returns
// the mails that Put reported as safe.
func morningOf(f disk.Files, books string, w *way) (safe []string, err error) {
	b := New(books, f)
	w.answer = func(m notify.Outgoing, n int) error {
		switch {
		case m.ID == "bad":
			return errNobody
		case m.ID == "slow" && n == 1:
			return busy
		}
		return nil
	}
	for round, at := range []time.Time{morning, morning.Add(10 * time.Minute), morning.Add(20 * time.Minute)} {
		for i, id := range []string{"quick", "slow", "bad"} {
			if round > 0 && id == "bad" {
				continue
			}
			_, perr := b.Put(mail(id), Meta{About: id, Queued: morning.Add(time.Duration(i))})
			if perr == nil {
				safe = append(safe, id)
			}
			err = errors.Join(err, perr)
		}
		_, derr := b.Deliver(context.Background(), w, at)
		err = errors.Join(err, derr)
	}
	return safe, err
}

// checkBox checks an outbox after a crash or a fault. Every safe mail must
// leave complete. No mail may leave more than most times: one more than the
// crashes between sending and recording.
func checkBox(t *testing.T, books string, w *way, safe []string, most int) {
	t.Helper()
	f := disk.Files{Ops: disktest.New(t, books)}
	b := New(books, f)
	for _, at := range []time.Duration{time.Hour, 2 * time.Hour, 3 * time.Hour} {
		if r := deliver(t, b, w, morning.Add(at)); len(r.Damaged) > 0 {
			t.Errorf("torn files: %v", r.Damaged)
		}
	}
	if waiting, err := b.Waiting(); err != nil || len(waiting) > 0 {
		t.Errorf("still waiting: %+v, %v", waiting, err)
	}
	failed, err := b.Failed()
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"quick", "slow"} {
		if n := w.accepted(id); n > most || n == 0 && slices.Contains(safe, id) {
			t.Errorf("%s left %d times", id, n)
		}
	}
	if isSafe := slices.Contains(safe, "bad"); len(failed) > 1 || isSafe && (len(failed) != 1 || failed[0].ID != "bad") {
		t.Errorf("failed: %+v", failed)
	}
	for _, a := range w.tried {
		if a.raw != string(mail(a.id).Raw) {
			t.Errorf("%s was sent with other bytes", a.id)
		}
	}
	// Mails that have left are not sent again after a restart.
	tried := len(w.tried)
	if _, err := morningOf(f, books, w); err != nil {
		t.Fatal(err)
	}
	for _, a := range w.tried[tried:] {
		if slices.Contains(safe, a.id) && a.id != "bad" {
			t.Errorf("%s was sent again", a.id)
		}
	}
	for _, n := range files(t, books) {
		if strings.HasPrefix(filepath.Base(n), ".") || strings.Contains(n, "corrupt") {
			t.Errorf("left over: %s", n)
		}
	}
}

// TestCrash ends the program at every disk operation, and also in the middle of
// each write. It then delivers the mails that each kind of crash leaves.
func TestCrash(t *testing.T) {
	for k, more := 1, true; more; k++ {
		for _, half := range []bool{false, true} {
			books := t.TempDir()
			d := disktest.New(t, books)
			d.Stop(k, half)
			first := &way{}
			safe, err := morningOf(disk.Files{Ops: d}, books, first)
			if more = d.Stopped(); !more && err != nil {
				t.Fatal(err)
			}
			for _, crash := range disktest.Crashes() {
				t.Run(fmt.Sprintf("%d half=%v %s", k, half, crash), func(t *testing.T) {
					t.Parallel()
					w := &way{answer: first.answer, tried: slices.Clone(first.tried)}
					checkBox(t, d.After(t, crash), w, safe, 2)
				})
			}
			if !strings.HasPrefix(d.Log()[len(d.Log())-1], "write") {
				break // only a write has a middle
			}
		}
	}
}

// TestKilledThenPowerCut: a killed program has put a mail. The next program
// must not call that mail safe before it is on the disk.
func TestKilledThenPowerCut(t *testing.T) {
	for k, more := 1, true; more; k++ {
		books := t.TempDir()
		d := disktest.New(t, books)
		d.Stop(k, false)
		b := New(books, disk.Files{Ops: d})
		_, err := b.Put(mail("quick"), Meta{Queued: morning})
		if more = d.Stopped(); !more && err != nil {
			t.Fatal(err)
		}
		for _, sameProcess := range []bool{false, true} {
			if !sameProcess {
				b = New(books, disk.Files{Ops: d})
			}
			d.Restart()
			if _, err := b.Put(mail("quick"), Meta{Queued: morning}); err != nil {
				t.Fatal(err)
			}
			for _, crash := range disktest.Crashes() {
				w := &way{}
				if deliver(t, New(d.After(t, crash), disk.Files{}), w, morning); w.accepted("quick") != 1 {
					t.Errorf("stopped at %d, %s: it left %d times", k, crash, w.accepted("quick"))
				}
			}
		}
	}
}

// TestFaults lets every disk operation fail once, with a full and with a broken
// disk, while the program goes on. No mail may leave twice.
func TestFaults(t *testing.T) {
	for _, fault := range []error{syscall.ENOSPC, syscall.EIO} {
		for k, more := 1, true; more; k++ {
			books := t.TempDir()
			d := disktest.New(t, books)
			d.Fail(k, fault, true)
			w := &way{}
			safe, err := morningOf(disk.Files{Ops: d}, books, w)
			if more = len(d.Log()) >= k; !more {
				if err != nil {
					t.Fatal(err)
				}
				break
			}
			t.Run(fmt.Sprintf("%v at %d %s", fault, k, d.Log()[k-1]), func(t *testing.T) {
				if !errors.Is(err, fault) {
					t.Errorf("the error was swallowed: %v", err)
				}
				checkBox(t, books, w, safe, 1)
			})
		}
	}
}

// FuzzParse: parse must return only a mail whose bytes are complete, whatever a
// file holds.
func FuzzParse(f *testing.F) {
	m := mail("m")
	b := New(f.TempDir(), disk.Files{})
	if _, err := b.Put(m, Meta{About: "x", Queued: morning, Deadline: morning}); err != nil {
		f.Fatal(err)
	}
	name := nameOf(m.ID, m.To)
	good, err := os.ReadFile(b.path(name + mailExt))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Add([]byte("{}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		got, err := parse(name, text)
		if err != nil {
			if got.raw != nil {
				t.Error("a mail with an error")
			}
			return
		}
		if got.ID != m.ID || got.To != m.To || len(got.raw) != got.Size || !bytes.HasSuffix(text, got.raw) {
			t.Errorf("%q gave %+v", text, got.header)
		}
	})
}
