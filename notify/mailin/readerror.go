package mailin

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"

	"github.com/emersion/go-imap/v2"

	"nestround/notify/bounded"
)

// ReadError says why a mailbox on a server could not be read.
type ReadError struct {
	Mailbox, Server string // Server is host:port
	Err             error
}

func (e *ReadError) Error() string {
	return fmt.Sprintf("read mailbox %s at %s: %v", e.Mailbox, e.Server, e.Err)
}

// Unwrap returns the reason.
func (e *ReadError) Unwrap() error { return e.Err }

// Plain says the reason to a keeper, without the terms of the protocol and
// without the words of the server.
func (e *ReadError) Plain() string {
	var (
		refused *refusedLogin
		no      *imap.Error
		much    *bounded.TooMuch
		slow    *bounded.TooSlow
		cert    *tls.CertificateVerificationError
		record  tls.RecordHeaderError
		network net.Error
	)
	switch {
	case errors.As(e.Err, &refused):
		return e.Server + " refuses the user or the password; look at [mail.in]"
	case errors.As(e.Err, &no):
		return e.Server + " is there, and does not hand out the mails at present"
	case errors.As(e.Err, &much), errors.Is(e.Err, errNesting):
		return e.Server + " sends more than a mail server should"
	case errors.As(e.Err, &slow):
		return e.Server + " does not answer"
	case errors.As(e.Err, &cert), errors.As(e.Err, &record):
		return "no protected connection to " + e.Server + " could be made"
	case errors.As(e.Err, &network):
		return e.Server + " cannot be reached"
	case errors.Is(e.Err, io.EOF), errors.Is(e.Err, io.ErrUnexpectedEOF), errors.Is(e.Err, net.ErrClosed):
		return e.Server + " closes the connection"
	}
	return "reading at " + e.Server + " failed: " + e.Err.Error()
}
