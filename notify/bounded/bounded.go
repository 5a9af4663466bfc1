// Package bounded limits what a server may send and how long it may take, before
// any parser sees a byte. The libraries for mail read lines, lists and literals
// of any length; a server that lies or runs wild would fill the memory.
//
// Wrap the connection with [New] before TLS and before any library, and call
// [Conn.Begin] at each step of the dialogue. The bytes of TLS count too, so that
// the limits hold in clear and encrypted, before and after STARTTLS.
package bounded

import (
	"fmt"
	"net"
	"os"
	"sync"
	"time"
)

// The budgets in bytes that both protocols share.
const (
	// Answer is for a short answer. A reply line of SMTP has at most 512 octets
	// (RFC 5321, section 4.5.3.1.5), and a line of IMAP should have at most 8192
	// (RFC 9051, section 4). A server may send several, such as its
	// capabilities.
	Answer = 64 << 10
	// Handshake is for a TLS handshake. Go takes at most 256 KiB of certificates
	// in one; usual chains have 4 to 16 KiB.
	Handshake = 256 << 10
)

// Step is a step of a dialogue.
type Step struct {
	// Expected names the bytes that the server should send: "a greeting".
	Expected string
	// Bytes is the budget; more bytes than that end the connection.
	Bytes int64
	// Time limits the whole step, however often something is read or written
	// in it; 0 for no limit.
	Time time.Duration
}

// Conn is a connection with a budget of bytes and a deadline for each step. If a
// step exceeds its budget or its deadline, the connection ends for good. The methods are
// safe for use by several goroutines.
type Conn struct {
	net.Conn

	mu          sync.Mutex
	step        Step
	left        int64     // bytes that the server may still send
	until       time.Time // end of the step; zero for never
	read, write time.Time // deadlines that the library above has set; zero for none
	lost        bool      // a write has failed
	err         error     // the reason why the connection was ended
}

// New bounds a connection that is at its first step.
func New(c net.Conn, first Step) *Conn {
	b := &Conn{Conn: c}
	b.Begin(first)
	return b
}

// Begin begins a step, with a new budget and a new deadline.
func (c *Conn) Begin(s Step) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.step, c.left, c.until = s, s.Bytes, time.Time{}
	if s.Time > 0 {
		c.until = time.Now().Add(s.Time)
	}
	c.apply()
}

// apply sets the deadlines. The caller holds c.mu. An error shows at the next
// read or write.
func (c *Conn) apply() {
	if c.err == nil {
		c.Conn.SetReadDeadline(earlier(c.read, c.until))
		c.Conn.SetWriteDeadline(earlier(c.write, c.until))
	}
}

// earlier returns the earlier deadline. A zero time is no deadline.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// Err returns the reason why the connection was ended: a *[TooMuch], a *[TooSlow]
// or the reason of End; nil if it was not ended. Libraries often hide the reason of a
// failed read, so ask Err after each failure.
func (c *Conn) Err() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.err
}

// Lost reports whether a write has failed, so that the server did not get all
// bytes.
func (c *Conn) Lost() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.lost
}

// Read implements net.Conn.
func (c *Conn) Read(p []byte) (int, error) {
	if err := c.Err(); err != nil {
		return 0, err
	}
	n, err := c.Conn.Read(p)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.left -= int64(n); c.left < 0 && c.err == nil {
		c.end(&TooMuch{c.step})
	}
	if c.err != nil {
		return 0, c.err
	}
	return n, c.slow(err)
}

// Write implements net.Conn.
func (c *Conn) Write(p []byte) (int, error) {
	n, err := c.Conn.Write(p)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lost = c.lost || err != nil
	if c.err != nil && err != nil {
		return n, c.err
	}
	return n, c.slow(err)
}

// slow turns the error of a read or write into a TooSlow if the step has lasted too
// long. The caller holds c.mu.
func (c *Conn) slow(err error) error {
	if e, ok := err.(net.Error); !ok || !e.Timeout() || c.until.IsZero() || time.Now().Before(c.until) {
		return err // a deadline of the library is not the end of the step
	}
	c.end(&TooSlow{c.step})
	return c.err
}

// End closes the connection for another reason than its bounds, which Err then
// returns. Only the first reason counts.
func (c *Conn) End(reason error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err == nil {
		c.end(reason)
	}
}

// end closes the connection. The caller holds c.mu.
func (c *Conn) end(err error) {
	c.err = err
	c.Conn.Close()
}

// SetDeadline implements net.Conn. It cannot move the end of the step.
func (c *Conn) SetDeadline(t time.Time) error { return c.set(t, &c.read, &c.write) }

// SetReadDeadline implements net.Conn. It cannot move the end of the step.
func (c *Conn) SetReadDeadline(t time.Time) error { return c.set(t, &c.read) }

// SetWriteDeadline implements net.Conn. It cannot move the end of the step.
func (c *Conn) SetWriteDeadline(t time.Time) error { return c.set(t, &c.write) }

func (c *Conn) set(t time.Time, deadlines ...*time.Time) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, d := range deadlines {
		*d = t
	}
	c.apply()
	return c.err
}

// TooMuch means that the server sent more bytes than the budget of a step.
type TooMuch struct{ Step Step }

func (e *TooMuch) Error() string {
	return fmt.Sprintf("the server sent more than %d KiB where %s was expected", e.Step.Bytes>>10, e.Step.Expected)
}

// TooSlow means that a step lasted longer than its time. It is a net.Error and
// an os.ErrDeadlineExceeded, like other time limits of connections.
type TooSlow struct{ Step Step }

func (e *TooSlow) Error() string {
	return fmt.Sprintf("no answer within %s where %s was expected", e.Step.Time, e.Step.Expected)
}

// Unwrap returns os.ErrDeadlineExceeded.
func (e *TooSlow) Unwrap() error { return os.ErrDeadlineExceeded }

// Timeout implements net.Error.
func (e *TooSlow) Timeout() bool { return true }

// Temporary implements net.Error.
func (e *TooSlow) Temporary() bool { return true }
