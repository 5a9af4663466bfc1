package house

import (
	"fmt"
	"slices"
	"time"

	"nestround/config"
	"nestround/notify"
	"nestround/notify/digest"
	"nestround/notify/mailout"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
)

const (
	// digestPatience is how long after its planned time a digest is still worth
	// composing. After half a day, the next digest is nearer than most rounds of
	// the late digest.
	digestPatience = 12 * time.Hour
	answerPatience = 48 * time.Hour
	// lateAfter is the delay from which a digest says that it is late.
	lateAfter = 15 * time.Minute
)

// Draft returns today's digest as it would be sent now. It sends and stores
// nothing. If the digest was issued already, the draft has the same id.
func (h *House) Draft() (digest.Mail, []notify.Message, error) {
	s, err := h.Refresh()
	if err != nil {
		return digest.Mail{}, nil, err
	}
	issue, ok := s.TodaysIssue()
	if !ok {
		if issue, err = h.issues.draft(s.today, h.now(), domain(s.settings)); err != nil {
			return digest.Mail{}, nil, err
		}
	}
	e := h.edition(s, issue)
	content, _, err := e.content(nil)
	if err != nil {
		return digest.Mail{}, nil, err
	}
	m, err := digest.Render(content)
	if err != nil {
		return m, nil, err
	}
	messages, _, err := e.messages(content, m)
	return m, messages, err
}

// Morning issues today's digest, unless the digest was issued already, and puts
// its mails into the outbox. issued is true if this call issued the digest. due
// is the planned time; a digest that is much later says so.
//
// The digest's numbers are on the disk before the first mail is in the outbox.
// If a call is stopped half-way, the next call completes the work.
//
// Before it issues a digest, Morning withdraws the mails of earlier digests that
// have not left, so that two digests never arrive together. The new digest reports
// the withdrawn mails.
func (h *House) Morning(due time.Time) (issued bool, err error) {
	var issue notify.Issue
	var mails []notify.Outgoing
	var settings *config.Settings
	if err := (carrier{h}).withdraw(); err != nil {
		return false, err
	}
	err = h.write(func(_ *daybook.Book, s *Snapshot) (err error) {
		var ok bool
		if issue, ok, err = h.issues.of(s.today); err != nil {
			return err
		}
		if !ok {
			if issue, err = h.issue(s, due); err != nil {
				return err
			}
			issued = true
			h.renew()
		} else if err = h.issues.secure(issue); err != nil {
			return err
		}
		settings = s.settings
		mails, err = h.issues.mails(issue)
		return err
	})
	// The outbox may be busy. The books are not locked meanwhile.
	for _, m := range mails {
		if err == nil {
			err = h.dispatch.postDigest(m, issue.Date, settings)
		}
	}
	return issued, err
}

// withdraw withdraws the waiting mails of earlier digests, unless today's digest
// exists.
func (c carrier) withdraw() error {
	h := c.h
	s, err := h.Refresh()
	if err != nil {
		return err
	}
	if _, ok, err := h.issues.of(s.today); ok || err != nil {
		return err
	}
	r, err := h.dispatch.outbox.Withdraw(s.today.String(), h.now)
	if !r.Empty() || err != nil {
		c.report(r, err)
	}
	return err
}

// issue writes today's digest and stores it with its mails.
func (h *House) issue(s *Snapshot, due time.Time) (notify.Issue, error) {
	composed := h.now()
	now := composed.In(s.settings.Zone).Truncate(time.Second)
	issue, err := h.issues.draft(s.today, now, domain(s.settings))
	if err != nil {
		return issue, err
	}
	e := h.edition(s, issue)
	var late *civil.TimeOfDay
	if !due.IsZero() && now.Sub(due) > lateAfter {
		t := civil.TimeOfDay(now.Hour()*60 + now.Minute())
		late = &t
	}
	content, told, err := e.content(late)
	if err != nil {
		return issue, err
	}
	m, err := digest.Render(content)
	if err != nil {
		return issue, err
	}
	messages, lines, err := e.messages(content, m)
	if err != nil {
		return issue, err
	}
	issue = digest.Issue(content, m, issue.MessageID, now)
	for _, l := range lines {
		if !slices.Contains(issue.Lines, l) {
			issue.Lines = append(issue.Lines, l)
		}
	}
	var mails []notify.Outgoing
	for _, msg := range messages {
		raw, err := mailout.Compose(msg)
		if err != nil {
			return issue, fmt.Errorf("compose the digest: %w", err)
		}
		mails = append(mails, notify.Outgoing{ID: msg.ID, From: bareAddress(msg.From), To: bareAddress(msg.To), Raw: raw})
	}
	if err := h.issues.keep(issue, mails); err != nil {
		return issue, err
	}
	h.log.Info("the digest was written", "date", s.today.String(), "id", issue.ID, "tasks", len(issue.Items), "late", late != nil)
	h.troubles.told(s.today, composed)
	if err := e.failures.tell(s.today); err != nil {
		return issue, err
	}
	if err := (clockWatch{h}).told(s.today); err != nil {
		return issue, err
	}
	return issue, h.unread.told(told, s.today)
}
