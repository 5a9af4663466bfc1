package house

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"

	"nestround/config/diag"
	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/reply"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

// Reading says how a mailbox is read.
type Reading struct {
	// Dry records nothing, answers nobody, and leaves all mails unread.
	Dry bool
	// Again also reads the mails that were set aside.
	Again bool
}

// OwedError is the error of a mail that was taken and whose answer, or notice for
// the next digest, could not be written. The commands of the mail are recorded and
// count. Taking the mail again writes the missing answer or notice.
type OwedError struct{ Err error }

func (e *OwedError) Error() string {
	return "the reply counts, but its answer cannot be written: " + e.Err.Error()
}

// Unfinished says that the mail must be offered again; see notify.Inbox.
func (e *OwedError) Unfinished() bool { return true }

// Unwrap returns the cause.
func (e *OwedError) Unwrap() error { return e.Err }

// mailsFault is an error that the mail itself causes, so that trying again
// cannot help; see notify.Inbox.
type mailsFault struct{ error }

func (mailsFault) MailsFault() bool { return true }
func (e mailsFault) Unwrap() error  { return e.error }

// TakeMail reads one incoming mail. It checks the sender, finds the digest that
// the mail answers, records its commands, and puts an answer into the outbox.
// It may be stopped at any point and called again with the same mail, because
// the entry is written first, under the mail's own id, and then the answer,
// under an id made from the mail's id. After an [*OwedError] the commands are
// recorded and the answer is missing. After any other error nothing is recorded.
// In both cases the mail may be taken again. The error is a fault of this
// machine, unless it has a method MailsFault. An unreadable mail is no error: it
// is ignored, with the reason, and the next digest reports it if it may be a
// keeper's.
//
// With dry, nothing is recorded and nobody gets an answer.
func (h *House) TakeMail(raw []byte, dry bool) (Taken, error) {
	return h.TakeMailFrom(bytes.NewReader(raw), dry)
}

// TakeMailFrom does the same as [House.TakeMail] for a mail of any size.
func (h *House) TakeMailFrom(r io.Reader, dry bool) (Taken, error) {
	m, err := reply.ReadFrom(r)
	return mailTaker{h}.taken(m, err, dry)
}

// taken takes a mail that was read as m, with the error of reading it.
func (c mailTaker) taken(m reply.Mail, readErr error, dry bool) (Taken, error) {
	if unreadable := (*reply.Unreadable)(nil); errors.As(readErr, &unreadable) {
		return c.unreadable(unreadable, dry)
	}
	if readErr != nil {
		return Taken{}, readErr
	}
	t, answer, err := c.take(m, dry)
	if errors.Is(err, daybook.ErrEntry) {
		err = mailsFault{err}
	}
	if answer == nil || err != nil {
		return t, err
	}
	if err := c.h.dispatch.post(*answer, "the answer to a reply of "+m.From, answerPatience); err != nil {
		return t, &OwedError{err}
	}
	if err := c.answered(m); err != nil {
		return t, &OwedError{err}
	}
	return t, nil
}

// incoming takes a mail of the mailbox. It also returns the mail as read. If
// reading or taking the mail panics, the next digest reports the mail.
func (c mailTaker) incoming(in notify.Incoming, dry bool) (t Taken, m reply.Mail, err error) {
	finished := false
	defer func() {
		if !finished && !dry {
			c.panicked(in)
		}
	}()
	if in.TooLarge {
		m, err = reply.ReadHeader(in.Raw)
	} else {
		m, err = reply.Read(in.Raw)
	}
	t, err = c.taken(m, err, dry)
	if t.ID == "" {
		t.ID = in.Ref
	}
	finished = true
	if fault := (mailsFault{}); errors.As(err, &fault) && !dry {
		c.setAside(m, err.Error())
	} else if err == nil && !dry {
		c.h.unread.taken(t.ID)
	}
	return t, m, err
}

// panicked reports a mail at which the program panicked, in the next digest.
func (c mailTaker) panicked(in notify.Incoming) {
	defer func() {
		if v := recover(); v != nil { // the header may be the cause
			c.h.log.Error("a mail at which the program panicked cannot be reported in the digest", "mail", in.Ref, "panic", fmt.Sprint(v))
		}
	}()
	m, err := reply.ReadHeader(in.Raw)
	if unreadable := (*reply.Unreadable)(nil); errors.As(err, &unreadable) {
		m = unreadable.Seen
	}
	c.setAside(m, "the program breaks off at this mail, which is a mistake in the program")
}

// setAside reports a mail that will be set aside, in the next digest.
func (c mailTaker) setAside(m reply.Mail, why string) {
	zone := c.h.Snapshot().settings.Zone
	err := c.h.unread.leave(unread{ID: m.MessageID, From: m.From, Field: m.FromField, At: c.h.now().In(zone), Why: why, Kind: asideMail})
	if err != nil {
		c.h.log.Error("a mail that cannot be taken cannot be reported in the digest", "id", m.MessageID, "err", err)
	}
}

// unreadable reports a mail that cannot be judged in the next digest, if it may be a
// keeper's. Nobody gets an answer, because the sender cannot be believed.
func (c mailTaker) unreadable(u *reply.Unreadable, dry bool) (Taken, error) {
	t := Taken{ID: u.Seen.MessageID, From: u.Seen.FromField, Ignored: u.Err.Error(), Accepted: []Accepted{}, Refused: []Refused{}}
	s, err := c.h.Refresh()
	if err != nil {
		return t, err
	}
	c.h.log.Info("a mail could not be read", "id", t.ID, "why", t.Ignored)
	if dry || !c.mayBeAKeepers(s, u.Seen) {
		return t, nil
	}
	return t, owed(c.h.unread.leave(unread{ID: t.ID, Field: u.Seen.FromField, At: c.h.now().In(s.settings.Zone), Why: t.Ignored, Kind: unreadableMail}))
}

// mayBeAKeepers reports whether a mail with an unproven sender may be a keeper's: it
// has the address of a keeper, or a token or Message-ID of a digest.
func (c mailTaker) mayBeAKeepers(s *Snapshot, m reply.Mail) bool {
	p := c.policy(s)
	if verdict := reply.Judge(m, p, false); verdict.Automatic {
		return false
	}
	for _, k := range p.Keepers {
		for _, w := range m.Writers {
			if strings.EqualFold(k, w) {
				return true
			}
		}
	}
	_, ok := reply.Identify(m, c.h.issues)
	return ok
}

// owed returns err as an OwedError, or nil.
func owed(err error) error {
	if err == nil {
		return nil
	}
	return &OwedError{err}
}

// missingAnswers is a queue of the mails that were taken and whose answers could not
// be written. It is in memory only. The mailbox offers such a mail again until it has
// its answer, also after a restart. The queue is for mails that somebody deletes from
// the mailbox meanwhile.
type missingAnswers struct {
	mu    sync.Mutex
	mails []reply.Mail
	told  map[string]bool // Message-IDs of the mails whose commands were reported
}

// missingMost is the largest number of mails in memory.
const missingMost = 100

// add adds a mail, if there is room. It reports whether the mail is new.
func (d *missingAnswers) add(m reply.Mail) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	same := func(x reply.Mail) bool { return x.MessageID == m.MessageID }
	if len(d.mails) < missingMost && !slices.ContainsFunc(d.mails, same) {
		d.mails = append(d.mails, m)
	}
	if d.told[m.MessageID] {
		return false
	}
	if d.told == nil {
		d.told = make(map[string]bool)
	}
	d.told[m.MessageID] = true
	return true
}

// settled removes the Message-ID of a mail that has its answer now. It reports
// whether the answer was missing.
func (d *missingAnswers) settled(m reply.Mail) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	told := d.told[m.MessageID]
	delete(d.told, m.MessageID)
	return told
}

// first returns the oldest mail.
func (d *missingAnswers) first() (reply.Mail, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.mails) == 0 {
		return reply.Mail{}, false
	}
	return d.mails[0], true
}

// removeFirst removes the oldest mail.
func (d *missingAnswers) removeFirst() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.mails = d.mails[1:]
}

// writeMissing writes the missing answers, by taking their mails again.
func (c mailTaker) writeMissing() error {
	for {
		m, ok := c.h.missing.first()
		if !ok {
			return nil
		}
		if _, err := c.taken(m, nil, false); err != nil {
			return err
		}
		c.h.missing.removeFirst()
	}
}

// writeAnswers writes the answers that could not be written before. Its pauses grow
// as long as that fails.
func (s server) writeAnswers(ctx context.Context) {
	const longest = 10 * time.Minute
	for pause := tick; sleep(ctx, pause); {
		s.h.loops.turn(loopAnswers, slow)
		if err := mailTaker(s).writeMissing(); err != nil {
			s.h.trouble(partAnswers, answersTrouble(err))
			pause = min(2*pause, longest)
			continue
		}
		s.h.mended(partAnswers)
		pause = tick
	}
}

func answersTrouble(err error) string {
	if o := (*OwedError)(nil); errors.As(err, &o) {
		err = o.Err
	}
	return "replies are recorded, but their answers cannot be written: " + err.Error()
}

// takeError is an error of taking a mail, as opposed to an error of the mailbox.
type takeError struct{ error }

func (e takeError) Unwrap() error { return e.error }

// take handles each incoming mail.
func (s server) take(in notify.Incoming) error {
	t, m, err := mailTaker(s).incoming(in, false)
	first := false
	if o := (*OwedError)(nil); errors.As(err, &o) {
		if m.MessageID == "" { // nothing counts that could be told apart from another mail
			return takeError{o.Err}
		}
		s.h.trouble(partAnswers, answersTrouble(err))
		first = s.h.missing.add(m)
	} else if err == nil {
		first = !s.h.missing.settled(m)
	}
	if first && s.h.taken != nil {
		s.h.taken(t)
	}
	if err != nil {
		return takeError{err}
	}
	return nil
}

// readMail takes replies as they arrive. It connects again when the settings
// change.
func (s server) readMail(ctx context.Context) {
	for ctx.Err() == nil {
		s.h.loops.turn(loopInbox, slow)
		in := s.h.Snapshot().settings.In
		if in == nil {
			s.h.mended(partReplies)
			sleep(ctx, look)
			continue
		}
		inbox, err := s.h.Inbox(Reading{})
		if err != nil {
			s.h.readingFailed(err)
			sleep(ctx, tick)
			continue
		}
		watching, stop := context.WithCancel(ctx)
		go func() {
			for sleep(watching, look) {
				if !reflect.DeepEqual(s.h.Snapshot().settings.In, in) {
					s.h.log.Info("the settings for replies changed")
					stop()
				}
			}
		}()
		err = inbox.Watch(watching, s.take)
		stop()
		if err != nil && !errors.Is(err, context.Canceled) {
			s.h.readingFailed(err)
			sleep(ctx, tick)
		}
	}
}

// readingFailed begins the trouble that replies cannot be read. If err is nil, it
// ends this trouble.
func (h teller) readingFailed(err error) {
	switch take := (takeError{}); {
	case err == nil:
		h.mended(partReplies)
	case errors.As(err, &take):
		h.trouble(partReplies, "replies cannot be recorded: "+take.Error())
	default:
		words := err.Error()
		if failed := (*mailin.ReadError)(nil); errors.As(err, &failed) {
			words = failed.Plain() // the log has the rest
		}
		h.trouble(partReplies, "replies cannot be read: "+words)
	}
}

// ReadReplies reads the mailbox once, and calls told for every mail. If the
// error is an [*OwedError], all mails were taken and recorded, and some answers
// are missing; the next reading takes those mails again.
func (h *House) ReadReplies(ctx context.Context, how Reading, told func(Taken)) error {
	inbox, err := h.Inbox(how)
	if err != nil {
		return err
	}
	var missing *OwedError
	err = inbox.Read(ctx, func(in notify.Incoming) error {
		t, _, err := mailTaker{h}.incoming(in, how.Dry)
		owes := errors.As(err, &missing)
		if err == nil || owes {
			told(t)
		}
		return err
	})
	if err != nil {
		return err
	}
	if !how.Dry {
		h.mended(partReplies)
	}
	if missing != nil {
		return missing
	}
	return nil
}

// AsideMails returns a warning for each mail that was set aside, for check.
func AsideMails(h *House) diag.List {
	pos, err := disk.ReadJSON[mailin.Position](position{h}.path())
	if err != nil {
		return nil // reading the mailbox reports the error
	}
	var list diag.List
	zone := zoneOf(h)
	for _, a := range pos.Aside {
		list = append(list, diag.Problem{
			File: "state/mailbox.json", Severity: diag.Warning,
			Message: fmt.Sprintf("a mail was set aside on %s, because it could not be taken: %s: %s", english.WeekdayMoment(a.Since.In(zone)), visible(a.Ref), visible(a.Why)),
			Hint:    "it is tried again every day; nestround replies --again tries at once; or send its commands in a new reply",
		})
	}
	return list
}

// visible replaces characters that a terminal would not show.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, s)
}
