package house

import (
	"crypto/x509"
	"errors"
	"fmt"

	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/mailout"
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

// Inbox returns the incoming mail connection of the settings. A dry reading does
// not store which mails it has read.
func (h *House) Inbox(how Reading) (notify.Inbox, error) {
	in := h.Snapshot().settings.In
	if in == nil {
		return nil, fmt.Errorf("read mail: %w for replies to come; see [mail.in]", ErrNoMail)
	}
	var state mailin.State = position{h}
	failed := h.readingFailed
	if how.Dry {
		state, failed = unmoved{state}, nil
	}
	if in.Maildir != "" {
		return mailin.NewMaildir(mailin.MaildirOptions{Dir: in.Maildir, Poll: in.Poll, State: state, Log: h.log, Trouble: failed, Again: how.Again})
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
		Mailbox: in.Mailbox, Poll: in.Poll, State: state, Log: h.log, Trouble: failed, Again: how.Again, Dial: h.dial,
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

// Load also notes that the loop that reads replies works, because the inbox loads
// its position in each round.
func (p position) Load() (mailin.Position, error) {
	if in := p.h.Snapshot().settings.In; in != nil {
		p.h.loops.turn(loopInbox, in.Poll+slow)
	}
	return remembered[mailin.Position](p.h.troubles, p.path())
}

func (p position) Save(v mailin.Position) error { return p.h.files.WriteJSON(p.path(), v) }

// unmoved is a mailin.State that never stores a position, so that all mails
// stay unread for the next reader.
type unmoved struct{ mailin.State }

func (unmoved) Save(mailin.Position) error { return nil }
