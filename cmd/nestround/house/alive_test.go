package house

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

// guarded is a house with an address to ping, its clock and what was asked.
type guarded struct {
	t     *testing.T
	h     *House
	w     *watcher
	at    *movable
	disk  *fullDisk
	log   *bytes.Buffer
	asked atomic.Int32
	fails atomic.Bool
}

const pingToken = "squeamish-ossifrage"

func newGuarded(t *testing.T) *guarded {
	x := &guarded{t: t, at: &movable{}, disk: &fullDisk{}, log: &bytes.Buffer{}}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x.asked.Add(1)
		if x.fails.Load() {
			w.WriteHeader(http.StatusBadGateway)
		}
	}))
	t.Cleanup(server.Close)
	dir := small(t, "Europe/Berlin", "06:00")
	f, err := os.OpenFile(filepath.Join(dir, "keeper.toml"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("\n[watch]\nping = \"" + server.URL + "/" + pingToken + "\"\n"); err != nil {
		t.Fatal(err)
	}
	f.Close()
	x.at.set("2027-05-12T05:00:00+02:00")
	h, problems, err := Open(dir, Options{Now: x.at.now, Files: disk.Files{Ops: x.disk}, Log: slog.New(slog.NewTextHandler(x.log, nil))})
	if h == nil {
		t.Fatal(problems, err)
	}
	x.h, x.w = h, newWatcher(h)
	return x
}

// at moves the clock and returns how often the address was asked for.
func (x *guarded) look(at string) int {
	x.t.Helper()
	x.at.set("2027-05-12T" + at + ":00+02:00")
	before := x.asked.Load()
	x.w.look(x.t.Context())
	return int(x.asked.Load() - before)
}

func (x *guarded) expect(at string, want int) {
	x.t.Helper()
	if got := x.look(at); got != want {
		x.t.Errorf("at %s: asked %d times, want %d", at, got, want)
	}
}

func TestASignOfLifeEachHourAndAfterEachDigest(t *testing.T) {
	x := newGuarded(t)
	x.expect("05:00", 0)
	x.expect("05:04", 0)
	x.expect("05:05", 1)
	x.expect("05:30", 0)
	x.expect("06:00", 0)
	if _, err := x.h.Morning(time.Time{}); err != nil {
		t.Fatal(err)
	}
	x.expect("06:01", 0) // written, but not sent
	if _, err := x.h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	x.expect("06:02", 1)
	x.expect("06:03", 0)
	x.expect("07:01", 0)
	x.expect("07:02", 1)
	if got := x.log.String(); strings.Contains(got, pingToken) {
		t.Errorf("the log has the address:\n%s", got)
	}

	// After a restart, neither the digest nor the hour counts again.
	x.w = newWatcher(x.h)
	x.expect("07:10", 0)
	x.expect("08:01", 0)
	x.expect("08:02", 1)

	// A clock that was set back does not silence the program.
	x.expect("06:30", 1)
}

func TestNoSignOfLifeWhileServeIsNotWell(t *testing.T) {
	for name, c := range map[string]struct {
		begin, end func(x *guarded)
		late       bool // counts after an hour only
	}{
		"mail does not leave":           {func(x *guarded) { x.h.trouble(partMail, "no") }, func(x *guarded) { x.h.mended(partMail) }, true},
		"replies are not read":          {func(x *guarded) { x.h.trouble(partReplies, "no") }, func(x *guarded) { x.h.mended(partReplies) }, true},
		"no digest":                     {func(x *guarded) { x.h.trouble(partDigest, "no") }, func(x *guarded) { x.h.mended(partDigest) }, true},
		"the records have errors":       {func(x *guarded) { x.edit("zone = 3\n") }, func(x *guarded) { x.edit("") }, true},
		"the state cannot be written":   {func(x *guarded) { x.disk.set("alive.json") }, func(x *guarded) { x.disk.set() }, false},
		"the daybook cannot be written": {func(x *guarded) { x.disk.set("daybook/2027.jsonl") }, func(x *guarded) { x.disk.set() }, false},
	} {
		t.Run(name, func(t *testing.T) {
			x := newGuarded(t)
			if err := os.MkdirAll(filepath.Join(x.h.Dir, daybook.Folder), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(x.h.Dir, daybook.Folder, "2027.jsonl"), nil, 0o644); err != nil {
				t.Fatal(err)
			}
			x.look("05:00")
			x.expect("05:10", 1)
			x.look("05:40")
			c.begin(x)
			if first := x.look("06:15"); first != map[bool]int{true: 1, false: 0}[c.late] {
				t.Errorf("soon after the beginning: asked %d times", first)
			}
			x.expect("07:20", 0)
			x.expect("08:00", 0)
			if !strings.Contains(x.log.String(), "no sign of life") {
				t.Errorf("the log does not say why:\n%s", x.log)
			}
			c.end(x)
			x.expect("08:10", 1)
		})
	}
}

// edit adds a line to the records, or takes it back, and reads them.
func (x *guarded) edit(line string) {
	x.t.Helper()
	if err := os.WriteFile(filepath.Join(x.h.Dir, "edited.toml"), []byte(line), 0o644); err != nil {
		x.t.Fatal(err)
	}
	if _, err := x.h.Refresh(); err != nil {
		x.t.Fatal(err)
	}
}

func TestAnAddressThatDoesNotAnswerIsATrouble(t *testing.T) {
	x := newGuarded(t)
	x.fails.Store(true)
	x.look("05:00")
	for _, c := range []struct {
		at       string
		asked    int
		troubles int
	}{
		{"05:05", 1, 0}, {"05:05", 0, 0}, {"05:06", 1, 0}, {"05:08", 0, 0}, {"05:10", 1, 1}, {"05:19", 0, 1}, {"05:20", 1, 1}, {"05:30", 1, 1},
	} {
		x.expect(c.at, c.asked)
		if got := x.h.Troubles(); len(got) != c.troubles {
			t.Errorf("at %s: troubles %v", c.at, got)
		}
	}
	list := x.h.StandingTroubles(time.UTC)
	if len(list) != 1 || !strings.HasSuffix(list[0].Message, "the address of [watch], at 127.0.0.1, does not answer: it answered with the status 502") {
		t.Errorf("check says %v", list)
	}
	if n := strings.Count(x.log.String(), "in trouble"); n != 1 || strings.Contains(x.log.String(), pingToken) {
		t.Errorf("log:\n%s", x.log)
	}
	x.fails.Store(false)
	x.expect("05:40", 1)
	if len(x.h.StandingTroubles(time.UTC)) != 0 {
		t.Error("the trouble is not over")
	}
}

// A loop that stops moving ends the signs of life; a mail that takes ten
// minutes does not.
func TestALoopThatIsStuck(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var l loops
		l.turn(loopInbox, slow) // not at work: no effect
		l.begin(loopOutbox, slow)
		l.begin(loopBooks, quick)
		time.Sleep(10 * time.Minute)
		l.turn(loopBooks, quick)
		if s := l.stuck(); len(s) != 0 {
			t.Errorf("after 10 minutes: %v", s)
		}
		time.Sleep(10*time.Minute + time.Second)
		if s := l.stuck(); len(s) != 1 || s[0] != loopBooks {
			t.Errorf("the books' loop: %v", s)
		}
		l.turn(loopBooks, time.Hour)
		time.Sleep(10 * time.Minute)
		if s := l.stuck(); len(s) != 1 || s[0] != loopOutbox {
			t.Errorf("the outbox's loop: %v", s)
		}
		l.end(loopOutbox)
		if s := l.stuck(); len(s) != 0 || len(l.atWork()) != 1 {
			t.Errorf("after the end: %v, at work %v", s, l.atWork())
		}
	})
}

// While all loops move, none of them counts as stuck, however long serve runs.
func TestServeFeedsTheWatchdogWhileItsLoopsMove(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	synctest.Test(t, func(t *testing.T) {
		h := open(t, dir, time.Now, disk.Files{})
		l := &silent{make(chan struct{})}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- h.Serve(ctx, l) }()
		for range 6 {
			time.Sleep(time.Hour)
			if s := h.loops.stuck(); len(s) > 0 {
				t.Fatalf("stuck: %v", s)
			}
		}
		if _, running, ok := ServiceOf(h).LastRan(); !running || !ok {
			t.Error("serve does not count as running")
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		a, running, ok := ServiceOf(h).LastRan()
		if running || !ok || a.Ended.IsZero() || !a.Ended.Equal(a.Seen) || a.Ended.Sub(a.Started) < 6*time.Hour {
			t.Errorf("running %t, %+v", running, a)
		}
		if ServiceOf(h).Unfinished() != "" {
			t.Errorf("still at work: %s", ServiceOf(h).Unfinished())
		}
	})
}

// silent is a listener to which nobody connects.
type silent struct{ closed chan struct{} }

func (s *silent) Accept() (net.Conn, error) { <-s.closed; return nil, net.ErrClosed }
func (s *silent) Addr() net.Addr            { return &net.TCPAddr{} }
func (s *silent) Close() error {
	select {
	case <-s.closed:
	default:
		close(s.closed)
	}
	return nil
}

func TestCheckWarnsIfServeDoesNotRun(t *testing.T) {
	x := newGuarded(t)
	warned := func(want string) {
		t.Helper()
		got := ""
		if l := ServiceOf(x.h).Warnings(); len(l) > 0 {
			got = l[0].Message
		}
		if !strings.HasSuffix(got, want) || (want == "") != (got == "") {
			t.Errorf("warned: %q, want %q", got, want)
		}
	}
	warned("it has never run with these books")
	x.look("05:00")
	warned("it last ran on Wed 12 May 05:00")
	lock, err := disk.Files{}.Acquire(x.h.state("serving"), 0)
	if err != nil {
		t.Fatal(err)
	}
	warned("")
	lock.Release()
	warned("it last ran on Wed 12 May 05:00")
	if err := os.Remove(aliveFile(x.h)); err != nil {
		t.Fatal(err)
	}
	if _, err := x.h.Morning(time.Time{}); err != nil { // as cron does with digest --send
		t.Fatal(err)
	}
	if _, err := x.h.Refresh(); err != nil {
		t.Fatal(err)
	}
	warned("")
}
