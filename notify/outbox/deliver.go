package outbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"nestround/notify"
	"nestround/tasks/disk"
)

// pausing says which pauses a delivery keeps.
type pausing int

const (
	keepPauses pausing = iota
	// skipPauses tries all mails at once, except mails that may have arrived: a
	// program that is restarted often must not send a copy each time.
	skipPauses
	// resetPauses does the same after a change of the settings, and the pauses begin
	// with the shortest again.
	resetPauses
	// ignorePauses tries every mail at once.
	ignorePauses
)

// Deliver hands every mail that is due to s, the oldest first, and reports the
// result. It sets aside mails that are withdrawn, are too late or can never
// leave. It reads the clock at the start and the end of each attempt.
//
// Deliver returns an error for a fault of the disk. Such a fault does not stop
// the other mails, and the report is valid nevertheless. The error is [ErrBusy]
// if another process is delivering. If ctx ends, the current attempt does not
// count, unless the mail may have arrived.
func (b *Box) Deliver(ctx context.Context, s notify.Sender, clock func() time.Time) (Report, error) {
	return b.deliver(ctx, s, clock, keepPauses)
}

// DeliverNow does the same as Deliver, but for every mail at once, whatever its
// pause.
func (b *Box) DeliverNow(ctx context.Context, s notify.Sender, clock func() time.Time) (Report, error) {
	return b.deliver(ctx, s, clock, ignorePauses)
}

// begin takes the lock for sending.
func (b *Box) begin() (*disk.Lock, error) {
	if err := b.files.MkdirAll(b.dir, 0o700); err != nil {
		return nil, err
	}
	lock, err := b.files.Acquire(b.path("sending"), 0)
	var held *disk.HeldError
	if errors.As(err, &held) {
		return nil, ErrBusy
	}
	return lock, err
}

func (b *Box) deliver(ctx context.Context, s notify.Sender, clock func() time.Time, h pausing) (Report, error) {
	lock, err := b.begin()
	if err != nil {
		return Report{}, err
	}
	defer lock.Release()

	d := delivery{Box: b, sender: s, clock: clock, pausing: h}
	mails, err := d.prepare()
	if err != nil {
		return d.report, err
	}
	// A mail that spoils its connection must not keep the others back: the mail
	// with the fewest attempts goes first.
	slices.SortStableFunc(mails, func(a, b stored) int { return cmp.Compare(d.tried(a.name).Attempts, d.tried(b.name).Attempts) })
	for _, m := range mails {
		d.one(ctx, m)
	}
	if len(d.report.Sent) > 0 { // the general fault is over
		held := d.held
		d.held, d.pausing = nil, max(d.pausing, skipPauses)
		for _, m := range held {
			d.one(ctx, m)
		}
	}
	for _, m := range d.held {
		d.keep(m, d.tried(m.name))
	}
	return d.report, errors.Join(d.errs...)
}

// Withdraw ends the waiting mails of all editions before the given one. Each is
// kept like a mail that failed. If another process is delivering, that process
// withdraws the mails, after the attempt under way: a mail that leaves at this
// attempt counts as sent and not as withdrawn. The marks of the mails are on the
// disk when Withdraw returns without an error.
func (b *Box) Withdraw(before string, clock func() time.Time) (Report, error) {
	some, err := b.mark(before, clock())
	if err != nil || !some {
		return Report{}, err
	}
	lock, err := b.begin()
	if errors.Is(err, ErrBusy) {
		return Report{}, nil
	}
	if err != nil {
		return Report{}, err
	}
	defer lock.Release()
	d := delivery{Box: b, clock: clock}
	mails, err := d.prepare()
	if err != nil {
		return d.report, err
	}
	for _, m := range mails {
		if s, left := d.left(m.name, d.sent); left {
			d.finish(m, s)
		} else if d.marked(m.name) {
			d.withdraw(m, d.tried(m.name))
		}
	}
	return d.report, errors.Join(d.errs...)
}

// mark marks the mails for Withdraw, and reports whether there are any.
func (b *Box) mark(before string, now time.Time) (some bool, err error) {
	lock, err := b.lock()
	if err != nil {
		return false, err
	}
	defer lock.Release()
	mails, _, err := b.mails()
	if err != nil {
		return false, err
	}
	for _, m := range mails {
		if m.Edition == "" || m.Edition >= before {
			continue
		}
		some = true
		if err := b.files.WriteJSON(b.path(m.name+markExt), struct {
			At time.Time `json:"at"`
			By string    `json:"by"` // the edition that takes the place of the mail
		}{now, before}); err != nil {
			return some, err
		}
	}
	return some, nil
}

// delivery is one run of Deliver.
type delivery struct {
	*Box
	sender  notify.Sender
	clock   func() time.Time
	pausing pausing
	sent    []Sent
	broken  *try     // the failed attempt after which the run tries no other mail
	held    []stored // mails that wait because of a general fault
	report  Report
	errs    []error
}

func (d *delivery) fault(err error) {
	if err != nil {
		d.errs = append(d.errs, err)
	}
}

// prepare tidies up and reads the mails to send.
func (d *delivery) prepare() ([]stored, error) {
	short, err := d.lock()
	if err != nil {
		return nil, err
	}
	defer short.Release()
	now := d.clock()
	d.fault(d.files.Clean(d.dir))
	d.fault(d.files.Clean(d.failed("")))
	d.sent, err = d.allSent(func(path string) ([]Sent, error) {
		list, damaged, err := disk.LoadJSON[[]Sent](d.files, path)
		if damaged != nil {
			d.report.Damaged = append(d.report.Damaged, damaged)
		}
		return list, err
	})
	if err != nil {
		return nil, err
	}
	d.fault(d.recordLeft())
	for len(d.sent) > remembered && now.Sub(d.sent[0].At) > memory {
		d.sent = d.sent[1:]
	}
	mails, bad, err := d.mails()
	if err != nil {
		return nil, err
	}
	for _, c := range bad {
		if c.Aside, err = d.files.SetAside(c.Path, "corrupt"); err != nil {
			d.fault(err)
			continue
		}
		d.report.Damaged = append(d.report.Damaged, c)
	}
	for _, m := range mails {
		d.interrupted(m)
	}
	d.fault(d.forget(now))
	return mails, nil
}

// recordLeft records the mails that left when the disk had no room for the
// record.
func (d *delivery) recordLeft() error {
	names, err := os.ReadDir(d.dir)
	if err != nil {
		return fmt.Errorf("look for mail that has left: %w", err)
	}
	for _, e := range names {
		name, isLeft := strings.CutSuffix(e.Name(), leftExt)
		if !isLeft {
			continue
		}
		s, left := d.left(name, d.sent)
		if !left {
			continue
		}
		d.add(s)
		if err := d.writeSent(); err != nil {
			return err
		}
		for _, ext := range []string{leftExt, tryExt, markExt} {
			if err := d.files.Remove(d.path(name + ext)); err != nil {
				return err
			}
		}
		d.mu.Lock()
		delete(d.Box.sent, name)
		delete(d.tries, name)
		d.mu.Unlock()
	}
	return nil
}

// interrupted handles the record of an attempt that began and did not end: the
// program was stopped, and the mail may have left.
func (d *delivery) interrupted(m stored) {
	t := d.tried(m.name)
	if t.Begun.IsZero() {
		return
	}
	if _, left := d.left(m.name, d.sent); left {
		return
	}
	t.Attempts, t.Doubts = t.Attempts+1, t.Doubts+1
	t.Doubt = "the program was stopped while it sent the mail"
	t.Last, t.Next, t.Begun = t.Begun, t.Begun.Add(RefusalPause(t.Doubts)), time.Time{}
	t.Error, t.Plain, t.Refused, t.General = t.Doubt, t.Doubt, false, false
	d.record(m, t)
}

// record saves the record t of a mail's attempts in memory, and on the disk if
// possible. It returns the saved record, which has a new N.
func (d *delivery) record(m stored, t try) try {
	t.N++
	d.mu.Lock()
	d.tries[m.name] = t
	d.mu.Unlock()
	d.fault(d.files.WriteJSON(d.path(m.name+tryExt), t))
	return t
}

// forget removes old data: mails that failed long ago, and the attempts and
// marks of mails that are gone.
func (d *delivery) forget(now time.Time) error {
	all, err := d.failures(func(path string) (Failure, bool, error) {
		f, damaged, err := disk.LoadJSON[Failure](d.files, path)
		if damaged != nil {
			d.report.Damaged = append(d.report.Damaged, damaged)
		}
		return f, damaged == nil, err
	})
	if err != nil {
		return err
	}
	for _, f := range all {
		if now.Sub(f.At) <= memory {
			break
		}
		// Remove the reason last: if the program crashes between the two
		// removals, the next run finds the reason and removes it.
		name := nameOf(f.ID, f.To)
		if err := d.files.Remove(d.failed(name + mailExt)); err != nil {
			return err
		}
		if err := d.files.Remove(d.failed(name + failExt)); err != nil {
			return err
		}
	}
	names, err := os.ReadDir(d.dir)
	if err != nil {
		return fmt.Errorf("look for attempts: %w", err)
	}
	for _, e := range names {
		name, isTry := strings.CutSuffix(e.Name(), tryExt)
		isMark := false
		if !isTry {
			name, isMark = strings.CutSuffix(e.Name(), markExt)
		}
		if !isTry && !isMark {
			continue
		}
		if _, err := os.Stat(d.path(name + mailExt)); errors.Is(err, fs.ErrNotExist) {
			if err := d.files.Remove(d.path(e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// one does the action that is due for a mail: finish, withdraw, fail, wait or send.
func (d *delivery) one(ctx context.Context, m stored) {
	if s, left := d.left(m.name, d.sent); left {
		// The mail has left, but a crash or a full disk prevented its removal.
		d.finish(m, s)
		return
	}
	t, now := d.tried(m.name), d.clock()
	if d.marked(m.name) {
		d.withdraw(m, t)
		return
	}
	if !m.Deadline.IsZero() && !now.Before(m.Deadline) {
		reason := fmt.Sprintf("it was to leave before %s", m.Deadline.Format(time.DateTime+" -07:00"))
		if t.Error != "" {
			reason += ": " + t.Error
		}
		d.fail(m, t, Failure{Late: true, Reason: reason})
		return
	}
	switch {
	case ctx.Err() != nil:
		d.keep(m, t)
		return
	case d.broken != nil:
		d.share(m, t)
		return
	case d.waits(t, now):
		if t.General {
			d.held = append(d.held, m)
			return
		}
		d.keep(m, t)
		return
	}
	if d.pausing == resetPauses {
		t.Refusals = 0
	}
	before := t
	t, ok := d.claim(m, t, now)
	if !ok {
		return
	}
	limited, cancel := context.WithTimeout(ctx, sendLimit)
	err := d.sender.Send(limited, notify.Outgoing{ID: m.ID, From: m.From, To: m.To, Raw: m.raw})
	if err != nil && limited.Err() != nil { // the server hung, which is not about this mail
		f := faultOf(err)
		f.General = true
		err = &f
	}
	cancel()
	d.outcome(ctx, m, t, before, err)
}

// waits reports whether a mail has to wait because of its pause.
func (d *delivery) waits(t try, now time.Time) bool {
	switch {
	case d.pausing == ignorePauses, !now.Before(t.Next):
		return false
	case now.Before(t.Last):
		// The clock was set back. A mail must not wait longer than its pause.
		return false
	}
	return d.pausing == keepPauses || t.Doubts > 0
}

// claim records that an attempt begins. It returns false if the mail is
// withdrawn. A record that cannot be written is no reason not to send.
func (d *delivery) claim(m stored, t try, now time.Time) (try, bool) {
	lock, err := d.lock()
	if err != nil {
		d.fault(err)
		d.keep(m, t)
		return t, false
	}
	defer lock.Release()
	if d.marked(m.name) { // marked since the check in one
		d.keep(m, t)
		return t, false
	}
	t.Begun = now
	return d.record(m, t), true
}

// outcome records the end of an attempt. before is the record before it.
func (d *delivery) outcome(ctx context.Context, m stored, t, before try, err error) {
	end := d.clock()
	if err == nil {
		s := sentNow(m, t, end)
		if o, ok := d.sender.(interface{ OneCopy() bool }); ok && o.OneCopy() {
			s.Doubts, s.Doubt = 0, ""
		}
		d.report.Sent = append(d.report.Sent, s)
		d.finish(m, s)
		return
	}
	f := faultOf(err)
	if ctx.Err() != nil && !f.MayHaveArrived { // this program ended the attempt; the server did not fail
		before.N = t.N
		d.keep(m, d.record(m, before))
		return
	}
	t.Attempts++
	t.Last, t.Begun, t.Error, t.Plain = end, time.Time{}, err.Error(), f.Plain
	t.Refused, t.General = f.Refused, f.General && !f.MayHaveArrived
	pause := Pause(t.Attempts)
	switch {
	case f.MayHaveArrived:
		t.Doubts, t.Doubt = t.Doubts+1, cmp.Or(f.Plain, t.Error)
		pause = RefusalPause(t.Doubts)
	case f.Refused:
		t.Refusals++
		pause = RefusalPause(t.Refusals)
	}
	t.Next = end.Add(pause)
	t = d.record(m, t)
	if f.General || f.MayHaveArrived {
		d.broken = &t
	}
	switch {
	case f.Never:
		d.fail(m, t, Failure{Reason: t.Error})
	case d.marked(m.name):
		d.withdraw(m, t)
	case m.Deadline.IsZero() && end.Sub(m.Queued) >= giveUp:
		d.fail(m, t, Failure{Late: true, Reason: fmt.Sprintf("it could not be sent for %d days: %v", giveUp/(24*time.Hour), err)})
	default:
		d.report.Deferred = append(d.report.Deferred, waiting(m, t))
		d.keep(m, t)
	}
}

// share lets a mail wait because another mail failed by a general fault or broke its
// connection. The mail gets the pause of the other mail, so that all mails are tried
// together.
func (d *delivery) share(m stored, t try) {
	b := d.broken
	if d.waits(t, d.clock()) && t.Next.After(b.Next) || t.Doubts > 0 {
		d.keep(m, t)
		return
	}
	t.Last, t.Next, t.General = b.Last, b.Next, true
	if b.General {
		t.Error, t.Plain, t.Refused = b.Error, b.Plain, b.Refused
		t.Refusals = max(t.Refusals, b.Refusals)
	} else { // the other mail broke its connection
		t.Next = b.Last.Add(Pause(1))
	}
	d.keep(m, d.record(m, t))
}

// keep counts a mail that stays in the outbox.
func (d *delivery) keep(m stored, t try) {
	next := t.Next
	if next.IsZero() || d.marked(m.name) {
		next = d.clock()
	}
	if !m.Deadline.IsZero() && m.Deadline.Before(next) {
		next = m.Deadline
	}
	d.report.Waiting++
	if d.report.Next.IsZero() || next.Before(d.report.Next) {
		d.report.Next = next
	}
}

// add adds a mail to the mails that have left.
func (d *delivery) add(s Sent) {
	name := nameOf(s.ID, s.To)
	if !slices.ContainsFunc(d.sent, func(s Sent) bool { return nameOf(s.ID, s.To) == name }) {
		d.sent = append(d.sent, s)
		slices.SortStableFunc(d.sent, func(a, b Sent) int { return a.At.Compare(b.At) })
	}
}

// writeSent writes the record of the mails that have left. It fails only if
// neither copy can be written.
func (d *delivery) writeSent() error {
	var errs []error
	for _, path := range d.sentFiles() {
		if err := d.files.WriteJSON(path, d.sent); err != nil {
			errs = append(errs, err)
		}
	}
	if len(errs) == len(d.sentFiles()) {
		return errors.Join(errs...)
	}
	d.fault(errors.Join(errs...))
	return nil
}

// finish records that a mail has left, and removes it. Until the record is on
// the disk, this process remembers it in memory, so that it does not send the
// mail again.
func (d *delivery) finish(m stored, s Sent) {
	d.mu.Lock()
	d.Box.sent[m.name] = s
	d.mu.Unlock()
	d.add(s)
	if err := d.writeSent(); err != nil {
		d.fault(err)
		// Another name needs no room on the disk.
		d.fault(d.files.Rename(d.path(m.name+mailExt), d.path(m.name+leftExt)))
		return
	}
	for _, path := range []string{
		d.path(m.name + mailExt), d.path(m.name + tryExt), d.path(m.name + markExt),
		d.failed(m.name + mailExt), d.failed(m.name + failExt),
	} {
		if err := d.files.Remove(path); err != nil {
			d.fault(err)
			return
		}
	}
	d.mu.Lock()
	delete(d.Box.sent, m.name)
	delete(d.tries, m.name)
	d.mu.Unlock()
}

// withdraw sets a mail aside because a later edition takes its place.
func (d *delivery) withdraw(m stored, t try) {
	reason := "the next digest took its place"
	if t.Error != "" {
		reason += ": " + t.Error
	}
	d.fail(m, t, Failure{Withdrawn: true, Reason: reason})
}

// fail sets a mail aside. It writes the reason first: after a crash, a mail
// with a reason that is still in the outbox is tried once more, or withdrawn
// once more, because its mark is removed last.
func (d *delivery) fail(m stored, t try, f Failure) {
	f.Envelope, f.At, f.Attempts = m.Envelope, d.clock(), t.Attempts
	f.Plain, f.Doubt = t.Plain, t.Doubt
	f.File = Folder + "/failed/" + m.name + mailExt
	// Put rewrites a waiting mail, and must not do that after its removal.
	lock, err := d.lock()
	if err == nil {
		defer lock.Release()
		err = d.files.MkdirAll(d.failed(""), 0o700)
	}
	if err == nil {
		err = d.files.WriteJSON(d.failed(m.name+failExt), f)
	}
	if err == nil {
		err = d.files.Rename(d.path(m.name+mailExt), d.failed(m.name+mailExt))
	}
	if err != nil {
		d.fault(err)
		d.keep(m, t)
		return
	}
	d.fault(d.files.Remove(d.path(m.name + tryExt)))
	d.fault(d.files.Remove(d.path(m.name + markExt)))
	d.mu.Lock()
	delete(d.tries, m.name)
	d.mu.Unlock()
	d.report.Failed = append(d.report.Failed, f)
}

// Loop has the arguments of Run.
type Loop struct {
	Sender notify.Sender
	Clock  func() time.Time
	// Report is called after every delivery of this process.
	Report func(Report, error)
	// Settings returns a value that changes when the settings for sending change,
	// such as the server or the password. It is called at least once a minute. If
	// it is nil, the settings never change.
	Settings func() any
}

// Run delivers due mails again and again until ctx ends, and returns ctx's
// error. It delivers when a mail is put into this Box, when a mail is due, when
// the settings change, and at least once a minute. The first delivery, and each
// delivery after a change of the settings, keeps no pauses, except the pauses of
// mails that may have arrived.
func (b *Box) Run(ctx context.Context, l Loop) error {
	var settings any
	for first := true; ; first = false {
		h := keepPauses
		if l.Settings != nil {
			now := l.Settings()
			if !first && now != settings {
				h = resetPauses
			}
			settings = now
		}
		if b.setBegun(true) {
			h = skipPauses
		}
		r, err := b.deliver(ctx, l.Sender, l.Clock, h)
		switch busy := errors.Is(err, ErrBusy); {
		case busy && h == skipPauses:
			b.setBegun(false)
		case busy && h == resetPauses:
			settings = nil // the next delivery resets the pauses
		case !busy && l.Report != nil:
			l.Report(r, err)
		}
		wait := idle
		if err == nil && !r.Next.IsZero() {
			wait = min(max(r.Next.Sub(l.Clock()), time.Second), idle)
		}
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return ctx.Err()
		case <-b.wake:
			timer.Stop()
		case <-timer.C:
		}
	}
}

// setBegun records whether Run has delivered from this Box, and reports whether
// that is a change. A second Run, after a panic of the first, keeps the pauses.
func (b *Box) setBegun(began bool) (changed bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	changed, b.began = b.began != began, began
	return changed
}
