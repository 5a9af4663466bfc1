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
// the caller's listeners; either may be nil. The faults of the box occur after
// STARTTLS on these listeners, and before STARTTLS on the listeners of Start. Stop
// closes the listeners.
func (b *Box) ServeStartTLS(smtp, imap net.Listener, cfg *tls.Config) {
	if smtp != nil {
		b.serveSMTP(&tlsListener{smtp, cfg, true}, nil, nil)
	}
	if imap != nil {
		b.serveIMAP(&tlsListener{imap, cfg, false}, nil, nil)
	}
}

// tlsListener is a listener with connections that begin with STARTTLS.
type tlsListener struct {
	net.Listener
	tls  *tls.Config
	smtp bool
}

func (v *tlsListener) Accept() (net.Conn, error) {
	c, err := v.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return &tlsConn{Conn: c, from: v}, nil
}

// tlsConn is a connection that begins TLS when the server writes its greeting. The
// server writes the greeting before it reads anything.
type tlsConn struct {
	net.Conn
	from *tlsListener

	mu    sync.Mutex
	inner *tls.Conn // nil before TLS
}

func (v *tlsConn) Write(p []byte) (int, error) {
	inner, err := v.begin()
	switch {
	case err != nil:
		return 0, err
	case inner == nil:
		return len(p), nil // TLS has begun, and the client expects no second greeting
	}
	return inner.Write(p)
}

func (v *tlsConn) Read(p []byte) (int, error) {
	v.mu.Lock()
	inner := v.inner
	v.mu.Unlock()
	if inner == nil {
		return 0, io.ErrUnexpectedEOF // the start of TLS has failed
	}
	return inner.Read(p)
}

// begin returns the connection inside TLS. The first call begins TLS and returns
// nil.
func (v *tlsConn) begin() (*tls.Conn, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.inner != nil {
		return v.inner, nil
	}
	greeting := "* OK [CAPABILITY IMAP4rev1 STARTTLS] practice.invalid\r\n"
	if v.from.smtp {
		greeting = "220 practice.invalid ESMTP\r\n"
	}
	if _, err := io.WriteString(v.Conn, greeting); err != nil {
		return nil, err
	}
	// The client sends no bytes of TLS before the answer to STARTTLS, so no such
	// bytes stay in the buffer of the reader.
	for in := bufio.NewReader(v.Conn); ; {
		line, err := in.ReadString('\n')
		if err != nil {
			return nil, err
		}
		tag, verb, _ := strings.Cut(strings.TrimSpace(line), " ")
		answer, ends := "250-practice.invalid\r\n250 STARTTLS\r\n", tag == "STARTTLS"
		switch {
		case v.from.smtp && ends:
			answer = "220 begin\r\n"
		case !v.from.smtp:
			answer, ends = tag+" OK begin\r\n", verb == "STARTTLS"
		}
		if _, err := io.WriteString(v.Conn, answer); err != nil {
			return nil, err
		}
		if ends {
			v.inner = tls.Server(v.Conn, v.from.tls)
			return nil, nil
		}
	}
}
