// Package mailout sends mail. [Compose] makes the bytes, and an [SMTP] or a
// [Maildir] sends them. Both are notify.Senders.
//
// A digest is stored between composing and sending. Every attempt therefore
// sends the same bytes with the same Message-ID, and a mail that arrives twice
// (RFC 1047) can be recognised.
//
// The package decides neither the content of a mail nor the time of the next
// attempt; an [Error] says whether another attempt can help. It leaves out
// XOAUTH2 and DKIM signing.
package mailout

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode"

	gomail "github.com/wneessen/go-mail"

	"nestround/notify"
)

// maxLine is the length of the longest line of a mail, without its CRLF (RFC
// 5322 §2.1.1). Bodies stay far below: quoted-printable wraps at 76.
const maxLine = 998

// Compose renders a mail (RFC 5322): the text, and the HTML if there is any, as
// alternatives in UTF-8 and quoted-printable. Equal messages give equal bytes;
// the result does not depend on the machine.
//
// Compose rejects line breaks and other control characters in anything that
// becomes a header, because the text after them would be read as a new header.
// It also rejects addresses that are not plain ASCII, because some servers
// reject such addresses.
func Compose(m notify.Message) ([]byte, error) {
	c := composer{msg: gomail.NewMsg(
		gomail.WithCharset(gomail.CharsetUTF8), gomail.WithEncoding(gomail.EncodingQP), gomail.WithNoDefaultUserAgent())}
	c.check(m)
	if c.err != nil {
		return nil, fmt.Errorf("compose mail: %w", c.err)
	}
	c.msg.SetMessageIDWithValue(m.ID)
	c.msg.SetDateWithValue(m.Date)
	c.msg.FromMailAddress(c.from)
	c.msg.ToMailAddress(c.to)
	if c.replyTo != nil {
		c.msg.ReplyToMailAddress(c.replyTo)
	}
	c.msg.Subject(strings.ToValidUTF8(m.Subject, "\uFFFD"))
	if m.InReplyTo != "" {
		c.msg.SetGenHeader(gomail.HeaderInReplyTo, "<"+m.InReplyTo+">")
	}
	if len(m.References) > 0 {
		c.msg.SetGenHeader(gomail.HeaderReferences, "<"+strings.Join(m.References, "> <")+">")
	}
	if m.Automatic != "" {
		c.msg.SetGenHeader("Auto-Submitted", m.Automatic)
		// Exchange and Outlook.com read this header before they send an
		// automatic "out of office" answer. No RFC defines the header.
		c.msg.SetGenHeader(gomail.HeaderXAutoResponseSuppress, "All")
	}
	text, html := strings.ToValidUTF8(m.Text, "\uFFFD"), strings.ToValidUTF8(m.HTML, "\uFFFD")
	c.msg.SetBodyString(gomail.TypeTextPlain, text)
	if html != "" {
		c.msg.AddAlternativeString(gomail.TypeTextHTML, html)
		c.msg.SetBoundary(boundary(m.ID, text, html))
	}
	var out bytes.Buffer
	if _, err := c.msg.WriteTo(&out); err != nil {
		return nil, fmt.Errorf("compose mail %s: %w", m.ID, err)
	}
	raw := out.Bytes()
	if !bytes.HasSuffix(raw, []byte("\r\n")) {
		raw = append(raw, "\r\n"...)
	}
	if err := checkLines(raw); err != nil {
		return nil, fmt.Errorf("compose mail %s: %w", m.ID, err)
	}
	return raw, nil
}

// composer collects all problems of a message.
type composer struct {
	msg               *gomail.Msg
	from, to, replyTo *mail.Address
	err               error
}

func (c *composer) check(m notify.Message) {
	c.id("the Message-ID", m.ID)
	if m.Date.IsZero() {
		c.bad(errors.New("it has no date"))
	} else if y := m.Date.Year(); y < 1900 || y > 9999 { // RFC 5322 §3.3
		c.bad(fmt.Errorf("the date %s cannot be written in a mail", m.Date.Format(time.DateOnly)))
	}
	c.from = c.address("From", m.From)
	c.to = c.address("To", m.To)
	if m.ReplyTo != "" {
		c.replyTo = c.address("Reply-To", m.ReplyTo)
	}
	c.clean("the subject", m.Subject)
	if m.InReplyTo != "" {
		c.id("In-Reply-To", m.InReplyTo)
	}
	for _, id := range m.References {
		c.id("References", id)
	}
	switch m.Automatic {
	case "", "auto-generated", "auto-replied": // RFC 3834 §5
	default:
		c.bad(fmt.Errorf("Auto-Submitted is %q; it can be auto-generated or auto-replied", m.Automatic))
	}
}

func (c *composer) bad(err error) { c.err = errors.Join(c.err, err) }

// clean rejects control characters. It reports whether the value has none.
func (c *composer) clean(what, value string) bool {
	for _, r := range value {
		if unicode.IsControl(r) {
			c.bad(fmt.Errorf("%s holds a line break or another control character: %q", what, value))
			return false
		}
	}
	return true
}

// id accepts the common form of a Message-ID: one @ between printable ASCII
// characters that need no quoting (RFC 5322 §3.6.4).
func (c *composer) id(what, id string) {
	if !c.clean(what, id) {
		return
	}
	left, right, _ := strings.Cut(id, "@")
	if left == "" || right == "" || len(id) > 900 || strings.ContainsFunc(id, func(r rune) bool {
		return r <= ' ' || r > '~' || strings.ContainsRune(`<>()[]:;,\"`, r)
	}) || strings.Contains(right, "@") {
		c.bad(fmt.Errorf("%s is %q; it has to look like name@host, without angle brackets", what, id))
	}
}

func (c *composer) address(what, value string) *mail.Address {
	if !c.clean(what, value) {
		return nil
	}
	if len(value) > 1024 {
		c.bad(fmt.Errorf("%s is %d characters long", what, len(value)))
		return nil
	}
	a, err := mail.ParseAddress(value)
	if err == nil {
		err = checkAddress(a.Address)
	}
	if err != nil {
		c.bad(fmt.Errorf("%s is %q: %w", what, value, err))
		return nil
	}
	c.clean(what, a.Name) // quoting can hide characters from the first check
	return a
}

// checkAddress accepts addresses as SMTP takes them: local@domain (RFC 5321
// §4.1.2) in ASCII without quoting.
func checkAddress(address string) error {
	for _, r := range address {
		if r > unicode.MaxASCII {
			return errors.New("the address is not plain ASCII; write its domain in the xn-- form")
		}
	}
	a, err := mail.ParseAddress("<" + address + ">")
	if err != nil || a.Address != address || len(address) > 254 || strings.ContainsAny(address, " \"\\<>()[]:;,") {
		return fmt.Errorf("%q is not an address like name@example.org", address)
	}
	return nil
}

// boundary derives the line between text and HTML from the Message-ID, and
// makes sure that neither body contains it.
func boundary(id string, bodies ...string) string {
	for n := 0; ; n++ {
		sum := sha256.Sum256(fmt.Appendf(nil, "%s %d", id, n))
		b := "part-" + hex.EncodeToString(sum[:16])
		if !strings.Contains(strings.Join(bodies, ""), b) {
			return b
		}
	}
}

// checkLines accepts mails that SMTP carries unchanged (RFC 5321 §2.3.8 and
// §4.5.3.1.6): lines of limited length that end in CRLF, and no other CR or LF,
// because only some servers take those for a line end.
func checkLines(raw []byte) error {
	if !bytes.HasSuffix(raw, []byte("\r\n")) {
		return errors.New("its last line does not end in CRLF")
	}
	n := 0
	for line := range bytes.SplitSeq(bytes.TrimSuffix(raw, []byte("\r\n")), []byte("\r\n")) {
		n++
		if bytes.ContainsAny(line, "\r\n") {
			return fmt.Errorf("line %d holds a bare CR or LF", n)
		}
		if len(line) > maxLine {
			return fmt.Errorf("line %d is %d bytes long, %d are allowed", n, len(line), maxLine)
		}
	}
	return nil
}

// checkOutgoing permanently rejects mails that no attempt could deliver.
func checkOutgoing(m notify.Outgoing) error {
	err := checkAddress(m.To)
	if err == nil && m.From != "" { // "" is the sender of bounces, RFC 5321 §4.5.5
		err = checkAddress(m.From)
	}
	if err == nil {
		err = checkLines(m.Raw)
	}
	if err != nil {
		return &Error{Doing: "look at the mail", Err: err, permanent: true}
	}
	return nil
}
