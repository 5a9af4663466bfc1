package house

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"

	"time"

	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/mailout"
	"nestround/notify/outbox"
	"nestround/tasks/disk"
)

// ErrNoMail says that keeper.toml configures no mail.
var ErrNoMail = errors.New("keeper.toml names no way")

// Sender returns the outgoing mail connection of the settings. It reads the
// password at each call, so that a changed password counts from the next
// attempt on.
func (h *House) Sender() (notify.Sender, error) {
	out := h.Snapshot().settings.Out
	if out == nil {
		return nil, fmt.Errorf("send mail: %w for mail to leave; see [mail.out]", ErrNoMail)
	}
	if out.Maildir != "" {
		return mailout.NewMaildir(out.Maildir), nil
	}
	password, err := out.Password.Read()
	if err != nil {
		return nil, err
	}
	ca, err := authorities(out.CAFile)
	if err != nil {
		return nil, err
	}
	return mailout.NewSMTP(mailout.Options{
		Addr: out.SMTP, Security: mailout.Security(out.Security), User: out.User, Password: password, CA: ca, Dial: h.dial,
	})
}

// Inbox returns the incoming mail connection of the settings. With dry, it does
// not store which mails it has read.
func (h *House) Inbox(dry bool) (notify.Inbox, error) {
	in := h.Snapshot().settings.In
	if in == nil {
		return nil, fmt.Errorf("read mail: %w for replies to come; see [mail.in]", ErrNoMail)
	}
	var state mailin.State = position{h}
	if dry {
		state = unmoved{state}
	}
	if in.Maildir != "" {
		return mailin.NewMaildir(mailin.MaildirOptions{Dir: in.Maildir, Poll: in.Poll, State: state, Log: h.log})
	}
	password, err := in.Password.Read()
	if err != nil {
		return nil, err
	}
	ca, err := authorities(in.CAFile)
	if err != nil {
		return nil, err
	}
	return mailin.NewIMAP(mailin.Options{
		Addr: in.IMAP, Security: mailin.Security(in.Security), User: in.User, Password: password, CA: ca,
		Mailbox: in.Mailbox, Poll: in.Poll, State: state, Log: h.log, Dial: h.dial,
	})
}

// maxCA is the largest file of certificates, in bytes. The certificates of all
// public authorities together have a few hundred kilobytes.
const maxCA = 4 << 20

func authorities(file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	pem, err := disk.ReadFile(file, maxCA)
	if err != nil {
		return nil, fmt.Errorf("read the certificate authority: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("read the certificate authority: %q holds no certificate in PEM form", file)
	}
	return pool, nil
}

// position stores a mailin.State in a file.
type position struct{ h *House }

func (p position) path() string { return p.h.state("mailbox.json") }

func (p position) Load() (mailin.Position, error) {
	return remembered[mailin.Position](p.h.troubles, p.path())
}

func (p position) Save(v mailin.Position) error { return p.h.files.WriteJSON(p.path(), v) }

// unmoved is a mailin.State that never stores a position, so that all mails
// stay unread for the next reader.
type unmoved struct{ mailin.State }

func (unmoved) Save(mailin.Position) error { return nil }

// carrier is a Sender that reads the current settings for each mail.
type carrier struct{ h *House }

func (c carrier) Send(ctx context.Context, m notify.Outgoing) error {
	s, err := c.h.Sender()
	if err != nil {
		return err
	}
	return s.Send(ctx, m)
}

// DeliverMail sends the mails in the outbox now, and returns how many remain.
// If serve is sending, DeliverMail leaves the mails to it.
func (h *House) DeliverMail(ctx context.Context) (left int, err error) {
	r, err := h.dispatch.outbox.Deliver(ctx, carrier{h}, h.now())
	if errors.Is(err, outbox.ErrBusy) {
		return 0, nil
	}
	h.dispatch.report(r, err)
	if err == nil && len(r.Failed) > 0 {
		err = fmt.Errorf("%s could not be sent: %s", r.Failed[0].About, r.Failed[0].Reason)
	}
	return r.Waiting, err
}

// dispatch puts mails into the outbox and reports their outcome.
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

func (d dispatch) report(r outbox.Report, err error) {
	for _, m := range r.Sent {
		d.log.Info("a mail was sent", "about", m.About, "to", m.To, "id", m.ID)
	}
	for _, m := range r.Deferred {
		d.log.Warn("a mail could not be sent and will be tried again", "about", m.About, "to", m.To, "attempts", m.Attempts, "next", m.Next, "err", m.Error)
	}
	for _, m := range r.Failed {
		d.log.Error("a mail could not be sent and is given up", "about", m.About, "to", m.To, "reason", m.Reason, "kept", m.File)
	}
	for _, c := range r.Damaged {
		d.log.Error("a file of the outbox was damaged and is set aside", "err", c)
	}
	if err != nil {
		d.log.Error("the outbox has trouble with the disk", "err", err)
	}
}

// failures returns the recently abandoned mails, for the digest.
func (d dispatch) failures() ([]string, error) {
	failed, err := d.outbox.Failed()
	if err != nil {
		return nil, err
	}
	var told []string
	for _, f := range failed {
		if d.now().Sub(f.At) < failuresTold {
			told = append(told, fmt.Sprintf("%s to %s could not be sent: %s", f.About, f.To, f.Reason))
		}
	}
	return told, nil
}

// failuresTold is how long a digest mentions an abandoned mail. It is long
// enough for the next digest and the one after that.
const failuresTold = 48 * time.Hour
