package house

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"runtime/debug"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"nestround/config"
	"nestround/notify/outbox"
	"nestround/tasks/civil"
)

const (
	// tick is the interval between checks of the clock. The program does not
	// set a timer for the next morning, because such a timer would stop while
	// the machine sleeps, and then fire hours late.
	tick = 30 * time.Second
	// look is the interval between checks of the books for changes.
	look = 2 * time.Second
	// shutdown is the time for requests under way when the house closes.
	shutdown = 5 * time.Second
	// servingWait is how long a new process waits for the lock of serve, because
	// the verb check holds that lock for a moment.
	servingWait = time.Second
)

// Serve runs until ctx ends. It serves the calendar on l, sends the digest at
// its time, takes and answers replies, and reads edited books again. If a mail
// server is down or the books have an error, the other work goes on. Serve
// returns nil when ctx ends. It returns an error if another process serves
// these books already or if the listener fails.
func (h *House) Serve(ctx context.Context, l net.Listener) error {
	serving, err := h.files.Acquire(h.state("serving"), servingWait)
	if err != nil {
		return fmt.Errorf("serve these books: %w", err)
	}
	defer serving.Release()

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var all sync.WaitGroup
	defer all.Wait()
	defer cancel()
	s := server{h}
	run := func(name string, loop func(context.Context)) {
		h.loops.begin(name, slow)
		all.Go(func() {
			defer h.loops.end(name)
			s.guard(ctx, name, loop)
		})
	}
	run(loopBooks, s.watchBooks)
	run(loopDigest, s.sendDigests)
	run(loopOutbox, s.sendMail)
	run(loopInbox, s.readMail)
	run(loopAnswers, s.writeAnswers)
	run(loopWatch, s.watch)
	all.Go(func() { s.feed(ctx) })
	settings := h.Snapshot().settings
	h.log.Info("serving", "books", h.Dir, "address", l.Addr().String(), "zone", settings.ZoneName,
		"mail_out", settings.Out != nil, "mail_in", settings.In != nil)

	server := &http.Server{
		Handler:           h.Publisher().handler(),
		ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second, WriteTimeout: time.Minute,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	s.tellSystemd(daemon.SdNotifyReady)
	select {
	case err = <-failed:
		return fmt.Errorf("serve on %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	h.loops.begin(loopPage, slow)
	defer h.loops.end(loopPage)
	s.tellSystemd(daemon.SdNotifyStopping)
	h.log.Info("stopping")
	grace, done := context.WithTimeout(context.WithoutCancel(ctx), shutdown)
	defer done()
	if err := server.Shutdown(grace); err != nil {
		server.Close()
	}
	return nil
}

// server runs the loops of [House.Serve].
type server struct{ h *House }

// guard runs a loop, and starts the loop again after a panic. A bad mail or day
// therefore does not end the other loops.
func (s server) guard(ctx context.Context, name string, loop func(context.Context)) {
	for ctx.Err() == nil {
		func() {
			defer func() {
				if v := recover(); v != nil {
					s.h.log.Error("a part of the program failed and is started again", "part", name, "panic", fmt.Sprint(v), "stack", string(debug.Stack()))
				}
			}()
			loop(ctx)
		}()
		sleep(ctx, tick)
	}
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

func (s server) watchBooks(ctx context.Context) {
	for sleep(ctx, look) {
		s.h.loops.turn(loopBooks, quick)
		if _, err := s.h.Refresh(); err != nil {
			s.h.log.Error("the books cannot be read", "err", err)
		}
	}
}

// sendDigests issues each day's digest once, at the planned time. If the
// machine was asleep or off at that time, sendDigests issues the digest
// afterwards, but not more than half a day late.
func (s server) sendDigests(ctx context.Context) {
	var settled civil.Date // the digest of this day is done
	for {
		s.h.loops.turn(loopDigest, quick)
		wait := tick
		settings := s.h.Snapshot().settings
		now := s.h.now().Round(0)
		today := civil.Of(now, settings.Zone)
		if settings.Out != nil && len(settings.Digest.To) > 0 && today != settled {
			due, ok, err := dueOn(today, settings)
			switch {
			case err != nil:
				s.h.log.Error("the digest's moment cannot be told", "err", err)
			case !ok:
				settled = today
			case now.Before(due):
				wait = min(wait, due.Sub(now))
			case now.Sub(due) > digestPatience:
				s.h.log.Warn("the digest of today was missed and is not sent any more", "due", due)
				settled = today
			default:
				if _, err := s.h.Morning(due); err != nil {
					s.h.log.Error("the digest could not be written and will be tried again", "err", err)
					break
				}
				settled = today
			}
		}
		if !sleep(ctx, max(wait, time.Millisecond)) {
			return
		}
	}
}

func dueOn(day civil.Date, s *config.Settings) (time.Time, bool, error) {
	m, err := NewMoments(s.Digest, s.Zone)
	if err != nil {
		return time.Time{}, false, err
	}
	due, ok := m.On(day)
	return due, ok, nil
}

// sendMail sends mails as they arrive in the outbox.
func (s server) sendMail(ctx context.Context) {
	clock := func() time.Time {
		s.h.loops.turn(loopOutbox, slow)
		return s.h.now()
	}
	s.h.dispatch.outbox.Run(ctx, outbox.Loop{Sender: carrier(s), Clock: clock, Report: carrier(s).report, Settings: carrier(s).sendSettings})
}
