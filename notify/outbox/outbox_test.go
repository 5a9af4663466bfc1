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
	"sync/atomic"
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
	errNever  = &Fault{Never: true, Err: errors.New("550 5.1.1 the mail has no recipient")}
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

// at is a clock that stands still.
func at(now time.Time) func() time.Time { return func() time.Time { return now } }

func deliver(t testing.TB, b *Box, w *way, now time.Time) Report {
	t.Helper()
	r, err := b.Deliver(t.Context(), w, at(now))
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
	if left := files(t, books); !slices.Equal(left, []string{"lock", "sending", "sent-copy.json", "sent.json"}) {
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
			ended <- b.Run(ctx, Loop{Sender: w, Clock: time.Now, Report: func(r Report, err error) {
				if err != nil {
					t.Error(err)
				}
				if !r.Empty() {
					reports = append(reports, r)
				}
			}})
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
		go func() { ended <- New(books, disk.Files{}).Run(ctx, Loop{Sender: w, Clock: time.Now}) }()
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
			return errNever
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

// TestRefusedLogin: a refused login is tried again after growing pauses, and at once
// after a change of the settings and when Run begins. Two mails wait, and one login
// is tried each time. When the login works, both mails leave at once.
func TestRefusedLogin(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		books := t.TempDir()
		var password atomic.Value
		password.Store("old")
		w := &way{}
		w.answer = func(notify.Outgoing, int) error {
			if password.Load() != "new" {
				return &Fault{Refused: true, General: true, Plain: "the server refused the login", Err: errors.New("535 no")}
			}
			return nil
		}
		put(t, New(books, disk.Files{}), mail("digest"), Meta{Queued: time.Now()}, true)
		put(t, New(books, disk.Files{}), mail("answer"), Meta{Queued: time.Now().Add(1)}, true)
		var start time.Time
		var failed []Failure
		run := func(d time.Duration, change func()) {
			t.Helper()
			b := New(books, disk.Files{})
			w.tried, start = nil, time.Now()
			ctx, stop := context.WithCancel(t.Context())
			ended := make(chan error)
			go func() {
				ended <- b.Run(ctx, Loop{Sender: w, Clock: time.Now, Settings: func() any { return password.Load() }, Report: func(r Report, err error) {
					if err != nil {
						t.Error(err)
					}
					failed = append(failed, r.Failed...)
				}})
			}()
			time.Sleep(d)
			change()
			time.Sleep(2 * time.Minute)
			stop()
			<-ended
		}
		minutes := func() (all []int) {
			for _, a := range w.tried {
				all = append(all, int(a.at.Sub(start)/time.Minute))
			}
			return all
		}
		run(24*time.Hour-time.Minute, func() { password.Store("worse") })
		// 5, 15, 30, 60 and 120 minutes, then 4 hours; then the change.
		if got, want := minutes(), []int{0, 5, 20, 50, 110, 230, 470, 710, 950, 1190, 1430, 1439}; !slices.Equal(got[:len(got)-1], want[:len(want)-1]) || len(got) != len(want) || got[11] < 1439 || got[11] > 1440 {
			t.Errorf("tried after minutes %v, want %v", got, want)
		}
		waiting, err := New(books, disk.Files{}).Waiting()
		if err != nil || len(waiting) != 2 || waiting[1].Plain != "the server refused the login" || !waiting[1].Refused || !waiting[0].Next.Equal(waiting[1].Next) {
			t.Errorf("waiting: %+v, %v", waiting, err)
		}
		run(10*time.Minute, func() { password.Store("new") }) // a restart, and the repair
		if got := minutes(); len(got) != 3 || got[0] != 0 || w.accepted("digest") != 1 || w.accepted("answer") != 1 {
			t.Errorf("after the restart: %v", got)
		}
		if last := w.tried[len(w.tried)-1].at.Sub(start); last > 11*time.Minute {
			t.Errorf("left %v after the restart, more than a minute after the repair", last)
		}
		if len(failed) > 0 {
			t.Errorf("failed: %+v", failed)
		}
	})
}

// TestRefusedRecipient: the refusal of one recipient does not hold up the others,
// and the mail is tried until its deadline.
func TestRefusedRecipient(t *testing.T) {
	w := &way{answer: func(m notify.Outgoing, n int) error {
		if m.ID == "bad" {
			return errNobody
		}
		return nil
	}}
	b := New(t.TempDir(), disk.Files{})
	put(t, b, mail("bad"), Meta{Queued: morning, Deadline: morning.Add(24 * time.Hour)}, true)
	put(t, b, mail("good"), Meta{Queued: morning.Add(1)}, true)
	r := deliver(t, b, w, morning)
	if len(r.Sent) != 1 || len(r.Deferred) != 1 || !r.Deferred[0].Refused || !r.Next.Equal(morning.Add(5*time.Minute)) {
		t.Fatalf("report %+v", r)
	}
	// Somebody asks.
	if r, err := b.DeliverNow(t.Context(), w, at(morning.Add(time.Minute))); err != nil || len(r.Deferred) != 1 || !r.Next.Equal(morning.Add(16*time.Minute)) {
		t.Errorf("asked: %+v, %v", r, err)
	}
	// A mail that is put meanwhile leaves at once, but a refused recipient still
	// has to wait.
	put(t, b, mail("later"), Meta{Queued: morning.Add(2 * time.Minute)}, true)
	if r := deliver(t, b, w, morning.Add(2*time.Minute)); len(r.Sent) != 1 || len(r.Deferred) != 0 || r.Waiting != 1 {
		t.Errorf("report %+v", r)
	}
	if r := deliver(t, b, w, morning.Add(24*time.Hour)); len(r.Failed) != 1 || !r.Failed[0].Late || r.Failed[0].Attempts != 2 {
		t.Errorf("report %+v", r)
	}
}

// TestHangingServer: a server that hangs costs one time limit a run, the pause
// counts from the end of the attempt, and the mail that hangs does not keep the
// other mails back for ever.
func TestHangingServer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tried []string
		hangs := sender(func(ctx context.Context, m notify.Outgoing) error {
			tried = append(tried, m.ID)
			if m.ID == "b" && len(tried) > 1 {
				return nil
			}
			<-ctx.Done()
			return ctx.Err()
		})
		b := New(t.TempDir(), disk.Files{})
		start := time.Now()
		put(t, b, mail("a"), Meta{Queued: start}, true)
		put(t, b, mail("b"), Meta{Queued: start.Add(1)}, true)
		r, err := b.Deliver(t.Context(), hangs, time.Now)
		if spent := time.Since(start); err != nil || spent != sendLimit || !slices.Equal(tried, []string{"a"}) {
			t.Errorf("tried %v within %v: %v", tried, spent, err)
		}
		if want := start.Add(sendLimit + time.Minute); r.Waiting != 2 || !r.Next.Equal(want) {
			t.Errorf("next at %v, want %v: %+v", r.Next, want, r)
		}
		time.Sleep(time.Minute)
		if r, err := b.Deliver(t.Context(), hangs, time.Now); err != nil || len(r.Sent) != 1 || r.Sent[0].ID != "b" || !slices.Equal(tried, []string{"a", "b", "a"}) {
			t.Errorf("tried %v: %+v, %v", tried, r, err)
		}
	})
}

type sender func(ctx context.Context, m notify.Outgoing) error

func (s sender) Send(ctx context.Context, m notify.Outgoing) error { return s(ctx, m) }

var errDropped = &Fault{General: true, MayHaveArrived: true, Plain: "the server closed the connection before its answer", Err: errors.New("EOF")}

// TestMayHaveArrived: the connection drops after the mail. The mail is sent a
// second time, with the same bytes, and the record says so. If that happens at
// every attempt, the pauses grow, and a restart keeps them.
func TestMayHaveArrived(t *testing.T) {
	for _, drops := range []int{1, 2, 8} {
		synctest.Test(t, func(t *testing.T) {
			books := t.TempDir()
			w := &way{answer: func(_ notify.Outgoing, n int) error {
				if n <= drops {
					return errDropped
				}
				return nil
			}}
			start := time.Now()
			put(t, New(books, disk.Files{}), mail("digest"), Meta{About: "the digest", Queued: start}, true)
			var want, got []time.Duration
			sum := time.Duration(0)
			for n := range drops + 1 {
				want = append(want, sum)
				sum += RefusalPause(n + 1)
			}
			for range 15 { // restarts
				ctx, stop := context.WithCancel(t.Context())
				ended := make(chan error)
				b := New(books, disk.Files{})
				go func() { ended <- b.Run(ctx, Loop{Sender: w, Clock: time.Now}) }()
				time.Sleep(2 * time.Hour)
				stop()
				<-ended
			}
			for _, a := range w.tried {
				got = append(got, a.at.Sub(start).Truncate(time.Minute))
				if a.raw != string(mail("digest").Raw) {
					t.Error("a copy has other bytes")
				}
			}
			if !slices.Equal(got, want) {
				t.Errorf("tried after %v, want %v", got, want)
			}
			sent, err := New(books, disk.Files{}).Sent()
			if err != nil || len(sent) != 1 || sent[0].Doubts != drops || sent[0].Doubt != errDropped.Plain {
				t.Errorf("sent: %+v, %v", sent, err)
			}
		})
	}
}

// TestStoppedWhileSending: the program is killed, or fails, between sending and
// recording. The next program knows that the mail may have left.
func TestStoppedWhileSending(t *testing.T) {
	for _, oneCopy := range []bool{false, true} {
		books := t.TempDir()
		b := New(books, disk.Files{})
		put(t, b, mail("m"), Meta{Queued: morning}, true)
		func() {
			defer func() { recover() }()
			b.Deliver(t.Context(), sender(func(context.Context, notify.Outgoing) error { panic("stopped") }), at(morning))
		}()
		again := New(books, disk.Files{})
		r := deliver(t, again, &way{}, morning.Add(time.Second))
		if waiting, err := again.Waiting(); r.Waiting != 1 || err != nil || len(waiting) != 1 || waiting[0].Doubts != 1 || !waiting[0].Next.Equal(morning.Add(5*time.Minute)) {
			t.Fatalf("waiting: %+v, %v; %+v", waiting, err, r)
		}
		var s notify.Sender = &way{}
		want := 1
		if oneCopy {
			s, want = folder{&way{}}, 0
		}
		r, err := again.Deliver(t.Context(), s, at(morning.Add(5*time.Minute)))
		if err != nil || len(r.Sent) != 1 || r.Sent[0].Doubts != want {
			t.Errorf("report %+v, %v", r, err)
		}
	}
}

// folder is a Sender that adds no second copy.
type folder struct{ *way }

func (folder) OneCopy() bool { return true }

// TestStoppedByUs: an attempt that this program ends does not count, unless the
// mail may have arrived.
func TestStoppedByUs(t *testing.T) {
	for _, c := range []struct {
		err    error
		doubts int
	}{{context.Canceled, 0}, {errDropped, 1}} {
		books := t.TempDir()
		b := New(books, disk.Files{})
		put(t, b, mail("m"), Meta{Queued: morning}, true)
		ctx, stop := context.WithCancel(t.Context())
		if _, err := b.Deliver(ctx, sender(func(context.Context, notify.Outgoing) error { stop(); return c.err }), at(morning)); err != nil {
			t.Fatal(err)
		}
		waiting, err := New(books, disk.Files{}).Waiting()
		if err != nil || waiting[0].Attempts != c.doubts || waiting[0].Doubts != c.doubts {
			t.Errorf("%v: %+v, %v", c.err, waiting, err)
		}
	}
}

// edition is the Meta of a digest's mail.
func edition(day string) Meta {
	return Meta{About: "the digest of " + day, Queued: morning, Edition: day}
}

// TestWithdraw: a later edition takes the place of the mails that have not left,
// also while another process sends one of them.
func TestWithdraw(t *testing.T) {
	for _, c := range []struct {
		what      string
		err       error // of the attempt under way
		sent      int
		withdrawn int
		doubt     string
	}{
		{"the mail leaves at this attempt", nil, 1, 1, ""},
		{"the attempt fails", busy, 0, 2, ""},
		{"the mail may have left at this attempt", errDropped, 0, 2, errDropped.Plain},
		{"the process dies during the attempt", nil, 0, 2, "the program was stopped while it sent the mail"},
	} {
		t.Run(c.what, func(t *testing.T) {
			books := t.TempDir()
			b, other := New(books, disk.Files{}), New(books, disk.Files{})
			second := mail("old")
			second.To = "sitter@example.org"
			before := edition("2027-05-11")
			before.Queued = morning.AddDate(0, 0, -1)
			put(t, b, mail("old"), before, true)
			before.Queued = before.Queued.Add(1)
			put(t, b, second, before, true)
			put(t, b, mail("answer"), Meta{Queued: morning.Add(1)}, true)
			put(t, b, mail("new"), edition("2027-05-12"), true)
			first := true
			withdraw := sender(func(context.Context, notify.Outgoing) error {
				if !first {
					return nil
				}
				first = false
				if r, err := other.Withdraw("2027-05-12", at(morning)); err != nil || !r.Empty() {
					t.Errorf("withdrawn while it is sent: %+v, %v", r, err)
				}
				if strings.Contains(c.what, "dies") {
					panic("dies")
				}
				return c.err
			})
			func() {
				defer func() { recover() }()
				b.Deliver(t.Context(), withdraw, at(morning))
			}()
			if _, err := other.Withdraw("2027-05-12", at(morning)); err != nil {
				t.Fatal(err)
			}
			for range 3 {
				if _, err := other.DeliverNow(t.Context(), sender(func(_ context.Context, m notify.Outgoing) error {
					if m.ID == "old" {
						t.Error("a withdrawn mail was sent")
					}
					return nil
				}), at(morning.Add(time.Minute))); err != nil {
					t.Fatal(err)
				}
			}
			sent, err := other.Sent()
			if err != nil || len(sent) != c.sent+2 {
				t.Errorf("sent: %+v, %v", sent, err)
			}
			failed, err := other.Failed()
			if err != nil || len(failed) != c.withdrawn {
				t.Fatalf("failed: %+v, %v", failed, err)
			}
			doubt := ""
			for _, f := range failed {
				doubt += f.Doubt
				if !f.Withdrawn || f.Edition != "2027-05-11" {
					t.Errorf("failed: %+v", f)
				}
			}
			if doubt != c.doubt {
				t.Errorf("doubt %q, want %q", doubt, c.doubt)
			}
			// It cannot be put again, for example because the clock was set back.
			put(t, other, second, edition("2027-05-11"), false)
			if err := other.Tell([]Envelope{failed[0].Envelope}, "2027-05-12"); err != nil {
				t.Fatal(err)
			}
			if failed, err := b.Failed(); err != nil || failed[0].Told != "2027-05-12" {
				t.Errorf("told: %+v, %v", failed, err)
			}
		})
	}
}

// TestNoRecordOfTheSent: the record of the mails that have left is damaged or
// cannot be written, or the disk is full after a mail has left. No mail leaves
// twice, also from a new process, and also if it is put again.
func TestNoRecordOfTheSent(t *testing.T) {
	damage := func(path string) error { return os.WriteFile(path, []byte("[{"), 0o600) }
	folder := func(path string) error { return errors.Join(os.RemoveAll(path), os.Mkdir(path, 0o700)) }
	for what, spoil := range map[string]func(b *Box) error{
		"the first copy is damaged":     func(b *Box) error { return damage(b.sentFiles()[0]) },
		"the second copy is damaged":    func(b *Box) error { return damage(b.sentFiles()[1]) },
		"the first copy is removed":     func(b *Box) error { return os.Remove(b.sentFiles()[0]) },
		"the first copy is not a file":  func(b *Box) error { return folder(b.sentFiles()[0]) },
		"the second copy is not a file": func(b *Box) error { return folder(b.sentFiles()[1]) },
	} {
		t.Run(what, func(t *testing.T) {
			books, w := t.TempDir(), &way{}
			b := New(books, disk.Files{})
			put(t, b, mail("before"), Meta{Queued: morning}, true)
			deliver(t, b, w, morning)
			if err := spoil(b); err != nil {
				t.Fatal(err)
			}
			put(t, b, mail("after"), Meta{Queued: morning}, true)
			for range 3 {
				b = New(books, disk.Files{})
				b.Deliver(t.Context(), w, at(morning)) // the fault is reported
				for _, id := range []string{"before", "after"} {
					put(t, b, mail(id), Meta{Queued: morning}, false)
				}
			}
			if w.accepted("before") != 1 || w.accepted("after") != 1 {
				t.Errorf("sent %d and %d times", w.accepted("before"), w.accepted("after"))
			}
		})
	}
	t.Run("the disk is full after the mail", func(t *testing.T) {
		books, w := t.TempDir(), &way{}
		full := &fullDisk{Ops: disk.System{}}
		b := New(books, disk.Files{Ops: full})
		put(t, b, mail("m"), Meta{Queued: morning}, true)
		w.answer = func(notify.Outgoing, int) error { full.full = true; return nil }
		if r, err := b.Deliver(t.Context(), w, at(morning)); !errors.Is(err, syscall.ENOSPC) || len(r.Sent) != 1 {
			t.Errorf("report %+v, %v", r, err)
		}
		again := New(books, disk.Files{Ops: full})
		for range 2 {
			again.Deliver(t.Context(), w, at(morning.Add(time.Hour)))
		}
		full.full = false
		deliver(t, again, w, morning.Add(2*time.Hour))
		put(t, again, mail("m"), Meta{Queued: morning}, false)
		if sent, err := again.Sent(); err != nil || len(sent) != 1 || !sent[0].At.Equal(morning) || w.accepted("m") != 1 {
			t.Errorf("sent: %+v, %v; %d times", sent, err, w.accepted("m"))
		}
		if left := files(t, books); !slices.Equal(left, []string{"lock", "sending", "sent-copy.json", "sent.json"}) {
			t.Errorf("left on the disk: %q", left)
		}
	})
}

// fullDisk is a disk without room for new bytes while full is set.
type fullDisk struct {
	disk.Ops
	full bool
}

func (d *fullDisk) OpenFile(name string, flag int, perm os.FileMode) (disk.File, error) {
	if d.full && flag&os.O_CREATE != 0 && flag&os.O_EXCL != 0 {
		return nil, &os.PathError{Op: "open", Path: name, Err: syscall.ENOSPC}
	}
	return d.Ops.OpenFile(name, flag, perm)
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
	if r, err := b.Deliver(t.Context(), w, at(morning.Add(time.Minute))); !errors.Is(err, syscall.ENOSPC) || len(r.Deferred) != 1 {
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
	if err := b.files.WriteJSON(b.path(name+tryExt), try{N: 9, Attempts: 9, Last: morning, Next: morning.Add(time.Hour), Error: "?"}); err != nil {
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
	r, err := b.Deliver(ctx, w, at(morning))
	if err != nil || len(w.tried) != 1 || r.Waiting != 2 || !r.Empty() {
		t.Errorf("tried %d: %+v, %v", len(w.tried), r, err)
	}
	if waiting, err := b.Waiting(); err != nil || len(waiting) != 2 || waiting[0].Attempts != 0 {
		t.Errorf("waiting %+v, %v", waiting, err)
	}
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
			if _, err := box.Deliver(t.Context(), &way{}, at(morning)); !errors.Is(err, ErrBusy) {
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
			return errNever
		case n == 1:
			return busy
		}
		return nil
	}}
	put(t, b, mail("bad"), Meta{Queued: morning}, true)
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	deliver(t, b, w, morning)
	for _, path := range []string{
		b.sentFiles()[0], b.path(nameOf("m", "keeper@example.org") + tryExt), b.failed(nameOf("bad", "keeper@example.org") + failExt),
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
			return errNever
		}
		return nil
	}}
	put(t, b, mail("bad"), Meta{Queued: morning}, true)
	put(t, b, mail("m"), Meta{Queued: morning}, true)
	deliver(t, b, w, morning)
	for _, ext := range []string{tryExt, markExt} {
		if err := os.WriteFile(b.path("gone"+ext), []byte("{}"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	deliver(t, b, w, morning.Add(memory))
	if failed, err := b.Failed(); err != nil || len(failed) != 1 {
		t.Errorf("60 days later: %+v, %v", failed, err)
	}
	put(t, b, mail("m"), Meta{}, false)
	put(t, b, mail("n"), Meta{}, true)
	deliver(t, b, w, morning.Add(memory+time.Hour))
	if left := files(t, books); !slices.Equal(left, []string{"lock", "sending", "sent-copy.json", "sent.json"}) {
		t.Errorf("left on the disk: %q", left)
	}
	// A clock that is a year ahead for a moment does not make a mail leave
	// twice.
	deliver(t, b, w, morning.AddDate(1, 0, 0))
	put(t, b, mail("m"), Meta{}, false)
	// The last mails are remembered whatever their age, the others for 60 days.
	var sent []Sent
	for i := range remembered + 10 {
		sent = append(sent, Sent{ID: fmt.Sprint(i), To: "x", At: morning.Add(time.Duration(i) * time.Second)})
	}
	for _, path := range b.sentFiles() {
		if err := b.files.WriteJSON(path, sent); err != nil {
			t.Fatal(err)
		}
	}
	for _, step := range []struct {
		at   time.Time
		left int
	}{{morning.Add(memory), remembered + 11}, {morning.Add(memory + 5*time.Second), remembered + 6}, {morning.AddDate(1, 0, 0), remembered + 1}} {
		id := step.at.String()
		put(t, b, mail(id), Meta{Queued: step.at}, true)
		deliver(t, b, w, step.at)
		got, err := b.Sent()
		if err != nil || len(got) != step.left {
			t.Errorf("at %v: %d are remembered, want %d; %v", step.at, len(got), step.left, err)
		}
		for _, path := range b.sentFiles() { // as before the step
			if err := b.files.WriteJSON(path, sent); err != nil {
				t.Fatal(err)
			}
		}
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
			return errNever
		case m.ID == "slow" && n == 1:
			return busy
		}
		return nil
	}
	for round, now := range []time.Time{morning, morning.Add(10 * time.Minute), morning.Add(20 * time.Minute)} {
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
		_, derr := b.Deliver(context.Background(), w, at(now))
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
