package practice

import (
	"context"
	"net"
	"sync"
)

// Pipe is a listener without a port. It can be dialled only inside this
// process. A whole mail dialogue can then run under testing/synctest.
type Pipe struct {
	conns  chan net.Conn
	closed chan struct{}
	once   sync.Once
}

// NewPipe returns a Pipe that listens.
func NewPipe() *Pipe {
	return &Pipe{conns: make(chan net.Conn), closed: make(chan struct{})}
}

// DialContext connects to the goroutine that calls Accept. It ignores network
// and address.
func (p *Pipe) DialContext(ctx context.Context, network, address string) (net.Conn, error) {
	near, far := net.Pipe()
	select {
	case p.conns <- far:
		return near, nil
	case <-p.closed:
		return nil, &net.OpError{Op: "dial", Net: "pipe", Err: net.ErrClosed}
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// Accept implements net.Listener.
func (p *Pipe) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}

// Close implements net.Listener.
func (p *Pipe) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

// Addr implements net.Listener.
func (p *Pipe) Addr() net.Addr { return pipeAddr{} }

type pipeAddr struct{}

func (pipeAddr) Network() string { return "pipe" }
func (pipeAddr) String() string  { return "pipe" }
