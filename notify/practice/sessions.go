package practice

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// smtpSession is a client's dialogue with the SMTP door.
type smtpSession struct {
	box   *Box
	user  *user // the user who logged in; nil for a stranger
	rcpts []*user
}

var _ smtp.AuthSession = (*smtpSession)(nil)

func (s *smtpSession) AuthMechanisms() []string { return []string{sasl.Plain, sasl.Login} }

func (s *smtpSession) Auth(mechanism string) (sasl.Server, error) {
	check := func(name, password string) error {
		u, ok := s.box.login(name, password)
		if !ok {
			return smtp.ErrAuthFailed
		}
		s.user = u
		return nil
	}
	switch mechanism {
	case sasl.Plain:
		return sasl.NewPlainServer(func(_, name, password string) error { return check(name, password) }), nil
	case sasl.Login:
		return &loginServer{check: check}, nil
	}
	return nil, smtp.ErrAuthUnknownMechanism
}

// loginServer is the obsolete LOGIN mechanism: two questions, two answers.
// go-sasl has only the client side.
type loginServer struct {
	check func(name, password string) error
	name  []byte
	asked int
}

func (l *loginServer) Next(response []byte) ([]byte, bool, error) {
	if response == nil && l.asked == 0 {
		l.asked = 1
		return []byte("Username:"), false, nil
	}
	if l.asked <= 1 {
		l.name, l.asked = response, 2
		return []byte("Password:"), false, nil
	}
	return nil, true, l.check(string(l.name), string(response))
}

func (s *smtpSession) Mail(string, *smtp.MailOptions) error {
	if s.box.RequireAuth && s.user == nil {
		return &smtp.SMTPError{Code: 530, EnhancedCode: smtp.EnhancedCode{5, 7, 0}, Message: "log in first"}
	}
	return nil
}

func (s *smtpSession) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.box.mail.Lock()
	defer s.box.mail.Unlock()
	u := s.box.owner(to)
	if u == nil {
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such mailbox here"}
	}
	for _, have := range s.rcpts {
		if have == u {
			return nil
		}
	}
	s.rcpts = append(s.rcpts, u)
	return nil
}

func (s *smtpSession) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err // the client left before the final dot: store nothing
	}
	if f, ok := s.box.faultAt(StepDot, true); ok {
		return f.refusal()
	}
	s.box.mail.Lock()
	defer s.box.mail.Unlock()
	now := time.Now()
	for _, u := range s.rcpts {
		err = errors.Join(err, u.put(raw, now))
	}
	return err
}

func (s *smtpSession) Reset()        { s.rcpts = nil }
func (s *smtpSession) Logout() error { return nil }

// imapSession is a client's dialogue with the IMAP door.
type imapSession struct {
	imapserver.SessionIMAP4rev2
	box  *Box
	user *user
}

func (s *imapSession) Login(name, password string) error {
	u, ok := s.box.login(name, password)
	if !ok {
		return imapserver.ErrAuthFailed
	}
	s.user = u
	return s.SessionIMAP4rev2.Login(u.address, password)
}

// Append makes a mail that a client stores in the inbox count as arrived.
func (s *imapSession) Append(mailbox string, r imap.LiteralReader, o *imap.AppendOptions) (*imap.AppendData, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	when := time.Now()
	if o != nil && !o.Time.IsZero() {
		when = o.Time
	}
	s.box.mail.Lock()
	defer s.box.mail.Unlock()
	data, err := s.SessionIMAP4rev2.Append(mailbox, bytes.NewReader(raw), o)
	if err == nil && strings.EqualFold(mailbox, Inbox) {
		s.user.mails = append(s.user.mails, stored{raw, when})
	}
	return data, err
}

// idlePause is the interval at which an idling session looks for new mail. The
// Idle of the in-memory server tells the client that it is idling before it
// begins to listen, so it would miss a mail that arrives in between.
const idlePause = 20 * time.Millisecond

func (s *imapSession) Idle(w *imapserver.UpdateWriter, stop <-chan struct{}) error {
	if s.box.idling() == IdleSilent {
		<-stop
		return nil
	}
	t := time.NewTicker(idlePause)
	defer t.Stop()
	for {
		if err := s.Poll(w, true); err != nil {
			return err
		}
		select {
		case <-t.C:
		case <-stop:
			return nil
		}
	}
}
