package house

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"nestround/config/diag"
	"nestround/notify"
	"nestround/notify/outbox"
	"nestround/notify/ping"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

const (
	// beat is the interval at which serve writes that it is alive.
	beat = 10 * time.Minute
	// pingEvery is the interval of the signs of life while serve is well.
	pingEvery = time.Hour
	// warmUp is how long serve must have run before its first hourly sign of
	// life. A program that crashes and is restarted every minute must not look
	// well.
	warmUp = 5 * time.Minute
	// lastingTrouble is the age from which a trouble stops the signs of life.
	lastingTrouble = time.Hour
	// pingTries is the number of failed attempts after which the keeper is
	// told.
	pingTries = 3
)

// pingPauses are the pauses after the first failed attempts. The last pause also
// follows all further attempts.
var pingPauses = []time.Duration{time.Minute, 4 * time.Minute, 10 * time.Minute}

// Alive says when serve last ran. It is stored in state/alive.json.
type Alive struct {
	Started time.Time `json:"started"`
	Seen    time.Time `json:"seen"`             // last moment at which serve was at work
	Ended   time.Time `json:"ended,omitzero"`   // end by SIGTERM or Ctrl-C
	Pinged  time.Time `json:"pinged,omitzero"`  // time of the last sign of life that was answered
	Digest  string    `json:"digest,omitempty"` // id of the last digest after which a sign of life was given
}

func aliveFile(h *House) string { return h.state("alive.json") }

// Service reports on serve: whether it runs, for other processes, and which of its
// parts still work at the end, for its own process.
type Service struct{ h *House }

// ServiceOf returns the Service for the books of h.
func ServiceOf(h *House) Service { return Service{h} }

// LastRan returns when serve last ran, and whether it runs now. ok is false if
// this is not known. If serve has never run, a.Seen is the zero time.
func (s Service) LastRan() (a Alive, running, ok bool) {
	h := s.h
	running, err := disk.Held(h.state("serving"))
	if err != nil {
		return a, false, false
	}
	a, err = disk.ReadJSON[Alive](aliveFile(h))
	return a, running, err == nil
}

// Zone returns the keeper's zone, or this machine's if the books cannot be used.
func (s Service) Zone() *time.Location { return zoneOf(s.h) }

// Sending reports whether serve would send a digest. issued is the day of the
// newest digest of today and yesterday, or the zero date. Books with errors send
// nothing.
func (s Service) Sending() (sending bool, issued civil.Date) {
	if s.h.current.Load() == nil {
		return false, civil.Date{}
	}
	snapshot := s.h.Snapshot()
	if i, ok := newestIssue(snapshot); ok {
		issued = i.Date
	}
	return snapshot.settings.Out != nil && len(snapshot.settings.Digest.To) > 0, issued
}

// Warnings warns if serve does not run although the digest is to be sent. The
// settings of books with errors are not known; if serve ran with them before, it
// is taken to be needed.
func (s Service) Warnings() diag.List {
	a, running, ok := s.LastRan()
	sending, issued := s.Sending()
	known := s.h.current.Load() != nil
	if running || !ok || known && !sending || !known && a.Seen.IsZero() {
		return nil
	}
	last := "it has never run with these books"
	if !a.Seen.IsZero() {
		last = "it last ran on " + english.WeekdayMoment(a.Seen.In(s.Zone()))
	} else if !issued.IsZero() {
		return nil // something else sends the digest, such as cron
	}
	return diag.List{{File: "keeper.toml", Severity: diag.Warning,
		Message: "serve is not running, so no digest leaves and no reply is read; " + last,
		Hint:    "start it with nestround serve, best as a service that starts by itself; the README says how under \"Keep it running\""}}
}

// watcher shows that serve is alive. It writes the file that check reads, and it
// requests the address of [watch].
type watcher struct {
	h      *House
	alive  Alive
	wrote  time.Time // time of the last attempt to write alive
	failed error     // error of the last attempt to write alive
	stale  time.Time // since when the records on the disk have errors; zero for none
	began  time.Time // start of serve
	ping   struct {
		fails int
		next  time.Time
	}
}

// watch runs the loop that shows that serve is alive; see watcher.
func (s server) watch(ctx context.Context) {
	w := newWatcher(s.h)
	for {
		s.h.loops.turn(loopWatch, quick)
		w.look(ctx)
		if !sleep(ctx, tick) {
			now := s.h.now()
			w.alive.Ended = now
			w.write(now)
			return
		}
	}
}

func newWatcher(h *House) *watcher {
	w := &watcher{h: h, began: h.now()}
	old, damaged, err := disk.LoadJSON[Alive](h.files, aliveFile(h))
	if damaged != nil || err != nil {
		h.log.Warn("it is not known when serve last ran", "err", errors.Join(err, asError(damaged)))
	}
	w.alive = Alive{Started: w.began, Pinged: old.Pinged, Digest: old.Digest}
	return w
}

func asError(c *disk.CorruptError) error {
	if c == nil {
		return nil
	}
	return c
}

// look does one turn of the loop. It checks the other loops. It writes the file and
// requests the address if they are due.
func (w *watcher) look(ctx context.Context) {
	now := w.h.now()
	if stuck := w.h.loops.stuck(); len(stuck) > 0 {
		w.h.trouble(partServe, stuckWords(stuck))
	} else {
		w.h.mended(partServe)
	}
	switch stale := w.h.Snapshot().problems.stale; {
	case !stale:
		w.stale = time.Time{}
	case w.stale.IsZero():
		w.stale = now
	}
	if away := now.Sub(w.wrote); away >= beat || away < 0 {
		w.write(now)
	}
	w.sign(ctx, now)
}

func (w *watcher) write(now time.Time) {
	w.wrote, w.alive.Seen = now, now
	err := w.h.files.WriteJSON(aliveFile(w.h), w.alive)
	if err != nil && w.failed == nil {
		w.h.log.Error("the file that shows that serve is alive cannot be written", "err", err)
	}
	w.failed = err
}

// unwell returns the reason why serve is not well, or "". Serve is well if all its
// loops move, the books can be read, the daybook and the state can be written,
// and no trouble has lasted for an hour.
func (w *watcher) unwell(now time.Time) string {
	if stuck := w.h.loops.stuck(); len(stuck) > 0 {
		return stuckWords(stuck)
	}
	for _, t := range w.h.Troubles() {
		if t.Part != partWatch && !t.Once && t.Standing() && now.Sub(t.Since) >= lastingTrouble {
			return t.What
		}
	}
	if !w.stale.IsZero() && now.Sub(w.stale) >= lastingTrouble {
		return "the records have errors"
	}
	if w.failed != nil {
		return w.failed.Error()
	}
	if err := daybook.Writable(w.h.files, w.h.Dir, civil.Of(now, w.h.Snapshot().settings.Zone).Year()); err != nil {
		return err.Error()
	}
	return ""
}

// sign requests the address of [watch] if a sign of life is due: after a digest
// that left, and each hour while serve is well.
func (w *watcher) sign(ctx context.Context, now time.Time) {
	watch := w.h.Snapshot().settings.Watch
	if watch.Ping.IsZero() {
		w.ping.fails, w.ping.next = 0, time.Time{}
		w.h.mended(partWatch)
		return
	}
	if now.Before(w.ping.next) && w.ping.next.Sub(now) <= pingPauses[len(pingPauses)-1] { // unless the clock was set back
		return
	}
	digest := w.lastSent()
	age := now.Sub(w.alive.Pinged)
	hourly := (age >= pingEvery || age < 0) && now.Sub(w.began).Abs() >= warmUp
	if digest == w.alive.Digest && !hourly {
		return
	}
	if digest == w.alive.Digest {
		if why := w.unwell(now); why != "" {
			w.h.log.Warn("no sign of life is given, because serve is not well", "why", why)
			w.ping.next = now.Add(pingPauses[len(pingPauses)-1])
			return
		}
	}
	u, err := watch.Address()
	words := "the address of [watch] cannot be read: "
	if err == nil {
		words = fmt.Sprintf("the address of [watch], at %s, does not answer: ", u.Hostname())
		err = ping.Get(ctx, u)
	}
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		w.ping.next = now.Add(pingPauses[min(w.ping.fails, len(pingPauses)-1)])
		if w.ping.fails++; w.ping.fails >= pingTries {
			w.h.trouble(partWatch, words+err.Error())
		}
		return
	}
	w.ping.fails, w.ping.next = 0, time.Time{}
	w.h.mended(partWatch)
	w.alive.Pinged, w.alive.Digest = now, digest
	w.write(now)
}

// lastSent returns the id of the newest digest of today and yesterday if all its
// mails have left. Otherwise it returns the id of the digest after which the last
// sign of life was given.
func (w *watcher) lastSent() string {
	issue, ok := newestIssue(w.h.Snapshot())
	if !ok || issue.ID == w.alive.Digest {
		return w.alive.Digest
	}
	mails, err := w.h.issues.mails(issue)
	if err != nil || len(mails) == 0 {
		return w.alive.Digest
	}
	sent, err := w.h.dispatch.outbox.Sent()
	if err != nil {
		return w.alive.Digest
	}
	for _, m := range mails {
		if !slices.ContainsFunc(sent, func(x outbox.Sent) bool { return x.ID == m.ID && x.To == m.To }) {
			return w.alive.Digest
		}
	}
	return issue.ID
}

// newestIssue returns the digest of today. If there is none, it returns the digest
// of yesterday.
func newestIssue(s *Snapshot) (notify.Issue, bool) {
	for _, day := range []civil.Date{s.today, s.today.AddDays(-1)} {
		if i, ok := (*s.issued)[day]; ok {
			return i, true
		}
	}
	return notify.Issue{}, false
}

// tellSystemd sends a message to systemd, if systemd runs serve as a service of the
// type notify. It waits for no answer.
func (s server) tellSystemd(state string) {
	if _, err := daemon.SdNotify(false, state); err != nil {
		s.h.log.Warn("the service manager could not be told", "what", state, "err", err)
	}
}

// feed tells systemd's watchdog that serve is alive, at half of its interval
// (sd_watchdog_enabled(3)), as long as no loop is stuck. If a loop is stuck, systemd
// restarts the program.
func (s server) feed(ctx context.Context) {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		s.h.log.Warn("the watchdog's interval cannot be read", "err", err)
	}
	if every <= 0 {
		return
	}
	starving := false
	for sleep(ctx, every/2) {
		stuck := s.h.loops.stuck()
		if len(stuck) == 0 {
			s.tellSystemd(daemon.SdNotifyWatchdog)
		} else if !starving {
			s.h.log.Error("the watchdog is not fed any more", "why", stuckWords(stuck))
		}
		starving = len(stuck) > 0
	}
}
