package outbox

import (
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

// Deliver hands every mail that is due at now to s, the oldest first, and
// reports the result. It sets aside mails that failed for good or are too late.
//
// Deliver returns an error for a fault of the disk. Such a fault does not stop
// the other mails, and the report is valid nevertheless. The error is [ErrBusy]
// if another process is delivering. If ctx ends, the current attempt does not
// count.
func (b *Box) Deliver(ctx context.Context, s notify.Sender, now time.Time) (Report, error) {
	if err := b.files.MkdirAll(b.dir, 0o700); err != nil {
		return Report{}, err
	}
	lock, err := b.files.Acquire(b.path("sending"), 0)
	var held *disk.HeldError
	if errors.As(err, &held) {
		return Report{}, ErrBusy
	}
	if err != nil {
		return Report{}, err
	}
	defer lock.Release()

	d := delivery{Box: b, now: now}
	mails, err := d.prepare()
	if err != nil {
		return d.report, err
	}
	for _, m := range mails {
		if ctx.Err() != nil {
			d.keep(m, b.tried(m.name))
			continue
		}
		d.one(ctx, s, m)
	}
	return d.report, errors.Join(d.errs...)
}

// delivery is one run of Deliver.
type delivery struct {
	*Box
	now    time.Time
	sent   []Sent
	report Report
	errs   []error
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
	d.fault(d.files.Clean(d.dir))
	d.fault(d.files.Clean(d.failed("")))
	sent, damaged, err := disk.LoadJSON[[]Sent](d.files, d.sentFile())
	if err != nil {
		return nil, err
	}
	if damaged != nil {
		d.report.Damaged = append(d.report.Damaged, damaged)
	}
	d.sent = slices.DeleteFunc(sent, func(s Sent) bool { return d.now.Sub(s.At) > memory })
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
	d.fault(d.forget())
	return mails, nil
}

// forget removes old data: mails that failed long ago, and the attempts of
// mails that are gone.
func (d *delivery) forget() error {
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
		if d.now.Sub(f.At) <= memory {
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
		if !isTry {
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

// one does the due action for a mail: finish, fail, wait or send it.
func (d *delivery) one(ctx context.Context, s notify.Sender, m stored) {
	if at, left := d.left(m.name, d.sent); left {
		// The mail has left, but a crash or a full disk prevented its removal.
		d.finish(m, at)
		return
	}
	t := d.tried(m.name)
	if !m.Deadline.IsZero() && !d.now.Before(m.Deadline) {
		reason := fmt.Sprintf("it was to leave before %s", m.Deadline.Format(time.DateTime+" -07:00"))
		if t.Error != "" {
			reason += ": " + t.Error
		}
		d.fail(m, t, true, reason)
		return
	}
	// If the clock was set back, a mail must not wait longer than its pause.
	if d.now.Before(t.Next) && !d.now.Before(t.Last) {
		d.keep(m, t)
		return
	}
	limited, cancel := context.WithTimeout(ctx, sendLimit)
	err := s.Send(limited, notify.Outgoing{ID: m.ID, From: m.From, To: m.To, Raw: m.raw})
	cancel()
	if err == nil {
		d.report.Sent = append(d.report.Sent, Sent{m.ID, m.To, m.About, d.now})
		d.finish(m, d.now)
		return
	}
	if ctx.Err() != nil { // we stopped; the other side did not fail
		d.keep(m, t)
		return
	}
	t = try{Attempts: t.Attempts + 1, Last: d.now, Next: d.now.Add(Pause(t.Attempts + 1)), Error: err.Error()}
	d.mu.Lock()
	d.tries[m.name] = t
	d.mu.Unlock()
	var temporary interface{ Temporary() bool }
	switch {
	case errors.As(err, &temporary) && !temporary.Temporary():
		d.fail(m, t, false, err.Error())
		return
	case m.Deadline.IsZero() && d.now.Sub(m.Queued) >= giveUp:
		d.fail(m, t, true, fmt.Sprintf("it could not be sent for %d days: %v", giveUp/(24*time.Hour), err))
		return
	}
	d.fault(d.files.WriteJSON(d.path(m.name+tryExt), t))
	d.report.Deferred = append(d.report.Deferred, waiting(m, t))
	d.keep(m, t)
}

// keep counts a mail that stays in the outbox.
func (d *delivery) keep(m stored, t try) {
	next := t.Next
	if t.Attempts == 0 {
		next = d.now
	}
	if !m.Deadline.IsZero() && m.Deadline.Before(next) {
		next = m.Deadline
	}
	d.report.Waiting++
	if d.report.Next.IsZero() || next.Before(d.report.Next) {
		d.report.Next = next
	}
}

// finish records that a mail has left, and removes it. Until the record is on
// the disk, this process remembers it in memory, so that it does not send the
// mail again.
func (d *delivery) finish(m stored, at time.Time) {
	d.mu.Lock()
	d.Box.sent[m.name] = at
	d.mu.Unlock()
	if !slices.ContainsFunc(d.sent, func(s Sent) bool { return nameOf(s.ID, s.To) == m.name }) {
		d.sent = append(d.sent, Sent{m.ID, m.To, m.About, at})
		slices.SortStableFunc(d.sent, func(a, b Sent) int { return a.At.Compare(b.At) })
	}
	if err := d.files.WriteJSON(d.sentFile(), d.sent); err != nil {
		d.fault(err)
		return
	}
	if err := d.files.Remove(d.path(m.name + mailExt)); err != nil {
		d.fault(err)
		return
	}
	d.fault(d.files.Remove(d.path(m.name + tryExt)))
	d.fault(d.files.Remove(d.failed(m.name + mailExt)))
	d.fault(d.files.Remove(d.failed(m.name + failExt)))
	d.mu.Lock()
	delete(d.Box.sent, m.name)
	delete(d.tries, m.name)
	d.mu.Unlock()
}

// fail sets a mail aside. It writes the reason first: after a crash, a mail
// with a reason that is still in the outbox is tried once more.
func (d *delivery) fail(m stored, t try, late bool, reason string) {
	f := Failure{
		Envelope: m.Envelope, At: d.now, Attempts: t.Attempts, Late: late, Reason: reason,
		File: Folder + "/failed/" + m.name + mailExt,
	}
	err := d.files.MkdirAll(d.failed(""), 0o700)
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
	d.mu.Lock()
	delete(d.tries, m.name)
	d.mu.Unlock()
	d.report.Failed = append(d.report.Failed, f)
}

// Run delivers due mails again and again until ctx ends, and returns ctx's
// error. It delivers when a mail is put into this Box, when a mail is due, and
// at least once a minute. Run calls report, unless that is nil, after every
// delivery in which something happened or the disk failed.
func (b *Box) Run(ctx context.Context, s notify.Sender, clock func() time.Time, report func(Report, error)) error {
	for {
		now := clock()
		r, err := b.Deliver(ctx, s, now)
		if report != nil && (!r.Empty() || err != nil && !errors.Is(err, ErrBusy)) {
			report(r, err)
		}
		wait := idle
		if err == nil && !r.Next.IsZero() {
			wait = min(max(r.Next.Sub(clock()), time.Second), idle)
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
