package house

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestround/config"
	"nestround/config/diag"
	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/outbox"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

const (
	// failuresTold is how long check reports a mail that did not leave. Digests
	// report it as long, or until a digest that reported it has left.
	failuresTold = 7 * 24 * time.Hour
	// doubtsTold is how long check says that a mail may have arrived twice.
	doubtsTold = 3 * 24 * time.Hour
	// unsentAfter is the age from which check says that nothing sends a mail, if
	// there was no attempt.
	unsentAfter = 5 * time.Minute
)

// carrier is a Sender that reads the current settings for each mail. Its errors are
// of type [outbox.Fault]. It also reports the outcome of deliveries.
type carrier struct{ h *House }

func (c carrier) Send(ctx context.Context, m notify.Outgoing) error {
	c.h.loops.turn(loopOutbox, slow)
	s, err := c.h.Sender()
	if err != nil {
		return &outbox.Fault{Refused: true, General: true, Plain: err.Error(), Err: err}
	}
	if err := s.Send(ctx, m); err != nil {
		return faultOf(err, m)
	}
	return nil
}

// OneCopy reports whether the mail is there once even after two attempts. This is so
// in a Maildir.
func (c carrier) OneCopy() bool {
	out := c.h.Snapshot().settings.Out
	return out != nil && out.Maildir != ""
}

// ofMail has the steps at which a refusal of the server is about one mail. A refusal
// at another step, such as the login, is about every mail.
var ofMail = map[string]string{
	"name the sender":                      "refused the sender",
	"name the recipient":                   "refused the recipient",
	"hand over the mail":                   "refused the mail",
	"wait for the server to take the mail": "refused the mail",
}

// faultOf converts the error of a sender into the error that the outbox uses.
func faultOf(err error, m notify.Outgoing) *outbox.Fault {
	f := &outbox.Fault{Err: err}
	var e *mailout.Error
	if !errors.As(err, &e) { // the disk of a Maildir
		f.General, f.Plain = true, err.Error()
		return f
	}
	said, ofMail := ofMail[e.Doing]
	code := fmt.Sprintf("(reply %d)", e.Code)
	f.Refused = !e.Temporary()
	f.MayHaveArrived = e.MayHaveArrived
	f.General = e.Code == 0 || !ofMail
	switch {
	case e.Server == "":
		f.Never, f.Refused, f.General = f.Refused, false, false
		f.Plain = err.Error()
	case e.MayHaveArrived:
		f.Plain = e.Server + " closed the connection before its answer"
	case e.Code == 0 && e.Doing == "connect":
		f.Plain = e.Server + " could not be reached"
	case e.Code == 0 && e.Doing == "begin TLS":
		f.Plain = "no protected connection to " + e.Server + " could be made"
	case e.Code == 0:
		f.Plain = fmt.Sprintf("the connection to %s failed (step: %s)", e.Server, e.Doing)
	case e.Doing == "log in" && f.Refused:
		f.Plain = fmt.Sprintf("%s refused the login %s: look at user and password under [mail.out]", e.Server, code)
	case e.Doing == "name the recipient":
		f.Plain = fmt.Sprintf("%s %s %s %s", e.Server, said, m.To, code)
	case e.Doing == "name the sender":
		f.Plain = fmt.Sprintf("%s %s %s %s", e.Server, said, m.From, code)
	case ofMail:
		f.Plain = fmt.Sprintf("%s %s %s", e.Server, said, code)
	default:
		f.Plain = fmt.Sprintf("%s refused (step: %s) %s", e.Server, e.Doing, code)
	}
	if e.Code != 0 && !f.Refused {
		f.Plain = strings.Replace(f.Plain, " refused", " put off", 1)
	}
	return f
}

// sendSettings are the settings for sending, for [outbox.Loop]. They change with
// [mail.out], the password and the certificates. They stay in memory, and contain
// the password only as a hash, so that no dump shows it.
type sendSettings struct {
	out        config.Out
	secret, ca [sha256.Size]byte
}

func (c carrier) sendSettings() any {
	out := c.h.Snapshot().settings.Out
	if out == nil {
		return sendSettings{}
	}
	w := sendSettings{out: *out}
	password, err := out.Password.Read()
	w.secret = sha256.Sum256(fmt.Appendf(nil, "%s %v", password, err))
	if out.CAFile != "" {
		pem, err := disk.ReadFile(out.CAFile, maxCA)
		w.ca = sha256.Sum256(fmt.Appendf(nil, "%s %v", pem, err))
	}
	return w
}

// DeliverMail sends the mails in the outbox that are due, and returns how many
// remain. The error is [outbox.ErrBusy] if another process is sending; that
// process has the mails then.
func (h *House) DeliverMail(ctx context.Context) (left int, err error) {
	return carrier{h}.delivered(h.dispatch.outbox.Deliver(ctx, carrier{h}, h.now))
}

// DeliverMailNow does the same as DeliverMail, without regard to pauses.
func (h *House) DeliverMailNow(ctx context.Context) (left int, err error) {
	return carrier{h}.delivered(h.dispatch.outbox.DeliverNow(ctx, carrier{h}, h.now))
}

func (c carrier) delivered(r outbox.Report, err error) (int, error) {
	if errors.Is(err, outbox.ErrBusy) {
		return r.Waiting, err
	}
	c.report(r, err)
	for _, f := range r.Failed {
		if err == nil && !f.Withdrawn {
			err = fmt.Errorf("%s could not be sent: %s", f.About, f.Reason)
		}
	}
	return r.Waiting, err
}

// dispatch puts mails into the outbox.
type dispatch struct {
	outbox *outbox.Box
	now    func() time.Time
	log    *slog.Logger
}

// post puts a mail into the outbox. A mail that was put there before stays as
// it is, sent or not.
func (d dispatch) post(m notify.Outgoing, about string, patience time.Duration) error {
	now := d.now()
	_, err := d.outbox.Put(m, outbox.Meta{About: about, Queued: now, Deadline: now.Add(patience)})
	return err
}

// postDigest puts a mail of a day's digest into the outbox. It may leave until
// the next digest is due.
func (d dispatch) postDigest(m notify.Outgoing, day civil.Date, settings *config.Settings) error {
	now := d.now()
	_, err := d.outbox.Put(m, outbox.Meta{
		About: "the digest of " + english.BareDay(day), Queued: now, Deadline: nextDigest(day, now, settings), Edition: day.String(),
	})
	return err
}

// nextDigest returns the moment of the first digest after the one of day. If
// none is planned within a year, it is in a day and a half.
func nextDigest(day civil.Date, now time.Time, settings *config.Settings) time.Time {
	if moments, err := NewMoments(settings.Digest, settings.Zone); err == nil {
		for n := range 366 {
			if due, ok := moments.On(day.AddDays(n + 1)); ok {
				return due
			}
		}
	}
	return now.Add(36 * time.Hour)
}

// report writes the outcome of a delivery to the log, and begins or ends troubles.
func (c carrier) report(r outbox.Report, err error) {
	h := c.h
	for _, m := range r.Sent {
		h.log.Info("a mail was sent", "about", m.About, "to", m.To, "id", m.ID)
		if m.Doubts > 0 {
			h.log.Warn("a mail may have arrived "+times(m.Doubts), "about", m.About, "to", m.To, "id", m.ID, "why", m.Doubt)
		}
	}
	for _, m := range r.Deferred {
		h.log.Warn("a mail could not be sent and will be tried again", "about", m.About, "to", m.To, "attempts", m.Attempts, "next", m.Next, "err", m.Error)
	}
	for _, m := range r.Failed {
		h.log.Warn("a mail did not leave and is not tried again", "about", m.About, "to", m.To, "reason", m.Reason, "kept", m.File, "may_have_arrived", m.Doubt)
	}
	for _, x := range r.Damaged {
		h.happened(partState, fmt.Sprintf("the file %s/%s was damaged and was set aside as %s; its content is not used",
			outbox.Folder, filepath.Base(x.Path), filepath.Base(x.Aside)))
	}
	if err != nil {
		h.trouble(partOutbox, "the outbox has trouble with the disk: "+err.Error())
	} else {
		h.mended(partOutbox)
	}
	c.judge(r)
}

// judge begins or ends the trouble of the part mail. A refusal counts at once.
// Another failure counts when a mail has waited for the time lateAfter.
func (c carrier) judge(r outbox.Report) {
	h := c.h
	var worst outbox.Waiting
	if r.Waiting > 0 {
		all, err := h.dispatch.outbox.Waiting()
		if err != nil {
			return // the next delivery returns the error
		}
		for _, m := range all {
			if bad := m.Refused || m.Error != "" && h.now().Sub(m.Queued) >= lateAfter; bad && (worst.ID == "" || m.Refused && !worst.Refused) {
				worst = m
			}
		}
	}
	switch {
	case worst.ID != "":
		h.trouble(partMail, "mail does not leave: "+cmp.Or(worst.Plain, "the attempts fail"))
	case len(r.Sent) > 0:
		h.mended(partMail)
	}
}

// times says how often a mail may have arrived, after a number of doubtful
// attempts and one that is certain.
func times(doubts int) string {
	if doubts == 1 {
		return "twice"
	}
	return fmt.Sprintf("up to %d times", doubts+1)
}

// failures makes the notices about mails that did not leave, for one digest.
type failures struct {
	dispatch
	told []outbox.Envelope
}

// notices returns the sentences for the digest of today. Each failure is reported
// until a digest that reported it has left.
func (f *failures) notices(today civil.Date) ([]string, error) {
	all, err := f.outbox.Failed()
	if err != nil {
		return nil, err
	}
	sent, err := f.outbox.Sent()
	if err != nil {
		return nil, err
	}
	left := make(map[string]bool)
	for _, s := range sent {
		left[s.Edition] = true
	}
	f.told = nil
	var lines []string
	for _, x := range all {
		if x.Told != "" && x.Told != today.String() && left[x.Told] || f.now().Sub(x.At) >= failuresTold {
			continue
		}
		f.told = append(f.told, x.Envelope)
		if words := english.UpperFirst(failureWords(x, x.Edition != "" && !left[x.Edition])) + "."; !slices.Contains(lines, words) {
			lines = append(lines, words)
		}
	}
	const most = 5
	if n := len(lines) - most; n > 0 {
		lines = append(lines[n:], fmt.Sprintf("%s did not leave either; nestround check lists them.", english.Count(n, "other mail")))
	}
	return lines, nil
}

// tell records that the digest of today has reported the failures.
func (f *failures) tell(today civil.Date) error { return f.outbox.Tell(f.told, today.String()) }

// failureWords says that a mail did not leave. If all is true, the digest left for
// none of its readers, so the reader is not named.
func failureWords(f outbox.Failure, all bool) string {
	who := f.About
	if !all && f.Edition != "" {
		who += " for " + f.To
	}
	if f.Doubt != "" {
		return fmt.Sprintf("%s may not have arrived: %s", who, f.Doubt)
	}
	return fmt.Sprintf("%s did not leave: %s", who, cmp.Or(f.Plain, "nothing tried to send it in time"))
}

// MailProblems returns warnings for check: mails that wait, mails that did not leave
// within the last days, and mails that may have arrived twice.
func MailProblems(h *House) (diag.List, error) {
	zone, now := zoneOf(h), h.now()
	var list diag.List
	warn := func(hint, format string, a ...any) {
		list = append(list, diag.Problem{File: outbox.Folder, Severity: diag.Warning, Hint: hint, Message: fmt.Sprintf(format, a...)})
	}
	waiting, err := h.dispatch.outbox.Waiting()
	if err != nil {
		return nil, err
	}
	const again = "nestround serve sends it, and nestround digest --send tries at once"
	for _, m := range waiting {
		since := english.WeekdayMoment(m.Queued.In(zone))
		switch {
		case m.Error != "":
			hint := again
			if m.Error != m.Plain {
				hint = "the last error was: " + printed(m.Error)
			}
			doubt := ""
			if m.Doubt != "" {
				doubt = "; it may have arrived all the same"
			}
			warn(hint, "%s to %s waits since %s%s: %s; %s, next %s", m.About, m.To, since, doubt,
				cmp.Or(m.Plain, "it could not be sent"), english.Count(m.Attempts, "attempt"), nextWords(m.Next, now, zone))
		case now.Sub(m.Queued) >= unsentAfter:
			warn(again, "%s to %s waits since %s: nothing has tried to send it", m.About, m.To, since)
		}
	}
	failed, err := h.dispatch.outbox.Failed()
	if err != nil {
		return nil, err
	}
	for _, f := range failed {
		if now.Sub(f.At) < failuresTold {
			warn("the mail is kept as "+f.File, "%s", failureWords(f, false))
		}
	}
	sent, err := h.dispatch.outbox.Sent()
	if err != nil {
		return nil, err
	}
	for _, m := range sent {
		if m.Doubts > 0 && now.Sub(m.At) < doubtsTold {
			warn("the copies have the same Message-ID; answer any of them", "%s may have arrived %s at %s: %s", m.About, times(m.Doubts), m.To, m.Doubt)
		}
	}
	return list, nil
}

func nextWords(next, now time.Time, zone *time.Location) string {
	if !next.After(now) {
		return "at once"
	}
	return english.WeekdayMoment(next.In(zone))
}

// printed returns a server's words without control characters, cut to a line.
func printed(s string) string {
	const most = 300
	r := []rune(visible(s))
	return string(r[:min(len(r), most)])
}

// DigestMail is the state of one mail of today's digest.
type DigestMail struct {
	To    string
	Left  time.Time // zero if it has not left
	Why   string    // why it has not left; "" if nothing has tried
	Next  time.Time // the next attempt of serve; zero if it is due
	Ended bool      // it is not tried again by itself
	Doubt string    // why it may have arrived all the same, or twice
}

// DigestMails returns the state of each mail of today's digest, as the outbox
// has it now. Without a digest of today, it returns nothing.
func DigestMails(h *House) ([]DigestMail, error) {
	s := h.Snapshot()
	issue, ok, err := h.issues.of(s.today)
	if err != nil || !ok {
		return nil, err
	}
	mails, err := h.issues.mails(issue)
	if err != nil {
		return nil, err
	}
	box := h.dispatch.outbox
	// A mail goes from waiting to failed or sent. In this order of reading, a mail
	// that moves meanwhile is found at least once.
	waiting, err := box.Waiting()
	if err != nil {
		return nil, err
	}
	failed, err := box.Failed()
	if err != nil {
		return nil, err
	}
	sent, err := box.Sent()
	if err != nil {
		return nil, err
	}
	var all []DigestMail
	for _, m := range mails {
		x := DigestMail{To: m.To, Ended: true}
		if i := slices.IndexFunc(failed, func(f outbox.Failure) bool { return f.ID == m.ID && f.To == m.To }); i >= 0 {
			x.Why, x.Doubt = cmp.Or(failed[i].Plain, failed[i].Reason), failed[i].Doubt
		}
		if i := slices.IndexFunc(waiting, func(w outbox.Waiting) bool { return w.ID == m.ID && w.To == m.To }); i >= 0 {
			w := waiting[i]
			x.Ended, x.Why, x.Next, x.Doubt = false, cmp.Or(w.Plain, printed(w.Error)), w.Next, w.Doubt
		}
		if i := slices.IndexFunc(sent, func(s outbox.Sent) bool { return s.ID == m.ID && s.To == m.To }); i >= 0 {
			x = DigestMail{To: m.To, Left: sent[i].At, Doubt: sent[i].Doubt}
		}
		all = append(all, x)
	}
	return all, nil
}
