package practice

import (
	"bufio"
	"crypto/tls"
	"io"
	"net"
	"strings"
	"sync"
)

// ServeStartTLS serves SMTP and IMAP that do nothing in clear but STARTTLS, on
// the caller's listeners; either may be nil. Unlike those of Start, these doors
// have their faults after STARTTLS. Stop closes the listeners.
func (b *Box) ServeStartTLS(smtp, imap net.Listener, cfg *tls.Config) {
	if smtp != nil {
		b.serveSMTP(&veil{smtp, cfg, true}, nil, nil)
	}
	if imap != nil {
		b.serveIMAP(&veil{imap, cfg, false}, nil, nil)
	}
}

// veil is a listener with connections that begin with STARTTLS.
type veil struct {
	net.Listener
	tls  *tls.Config
	smtp bool
}

func (v *veil) Accept() (net.Conn, error) {
	c, err := v.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &veiled{Conn: c, veil: v}, nil
}

// veiled is a connection that begins TLS in place of the server's greeting,
// which is the first that a server writes. The server reads nothing before.
type veiled struct {
	net.Conn
	veil *veil

	mu    sync.Mutex
	inner *tls.Conn // nil before TLS
}

func (v *veiled) Write(p []byte) (int, error) {
	inner, err := v.begin()
	switch {
	case err != nil:
		return 0, err
	case inner == nil:
		return len(p), nil // the greeting, which STARTTLS does away with
	}
	return inner.Write(p)
}

func (v *veiled) Read(p []byte) (int, error) {
	v.mu.Lock()
	inner := v.inner
	v.mu.Unlock()
	if inner == nil {
		return 0, io.ErrUnexpectedEOF // the greeting has failed
	}
	return inner.Read(p)
}

// begin begins TLS, and returns nil, if that has not been done.
func (v *veiled) begin() (*tls.Conn, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.inner != nil {
		return v.inner, nil
	}
	greeting := "* OK [CAPABILITY IMAP4rev1 STARTTLS] practice.invalid\r\n"
	if v.veil.smtp {
		greeting = "220 practice.invalid ESMTP\r\n"
	}
	if _, err := io.WriteString(v.Conn, greeting); err != nil {
		return nil, err
	}
	// The client sends nothing of TLS before the answer, so the reader holds
	// nothing back.
	for in := bufio.NewReader(v.Conn); ; {
		line, err := in.ReadString('\n')
		if err != nil {
			return nil, err
		}
		tag, verb, _ := strings.Cut(strings.TrimSpace(line), " ")
		answer, ends := "250-practice.invalid\r\n250 STARTTLS\r\n", tag == "STARTTLS"
		switch {
		case v.veil.smtp && ends:
			answer = "220 begin\r\n"
		case !v.veil.smtp:
			answer, ends = tag+" OK begin\r\n", verb == "STARTTLS"
		}
		if _, err := io.WriteString(v.Conn, answer); err != nil {
			return nil, err
		}
		if ends {
			v.inner = tls.Server(v.Conn, v.veil.tls)
			return nil, nil
		}
	}
}
