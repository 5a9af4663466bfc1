package practice

import (
	"bytes"
	"net"
	"time"
)

// Recite is a server that says what it is told, whatever the client says. It
// says a piece of the script at the beginning and another after each message of
// the client, or after a few milliseconds without one; the pieces are separated
// by the byte 0x1e. In a piece, 0x1f stands for the tag of the client's last
// command in IMAP. Recite hangs up at the end.
func Recite(conn net.Conn, script []byte) {
	defer conn.Close()
	heard := make(chan []byte, 100)
	go func() {
		defer close(heard)
		for buf := make([]byte, 4096); ; {
			n, err := conn.Read(buf)
			if err != nil {
				return
			}
			tag, _, _ := bytes.Cut(buf[:n], []byte(" "))
			select {
			case heard <- bytes.Clone(tag):
			default: // the client says more than the script answers
			}
		}
	}()
	tag := []byte("*")
	for _, piece := range bytes.Split(script, []byte{0x1e}) {
		if _, err := conn.Write(bytes.ReplaceAll(piece, []byte{0x1f}, tag)); err != nil {
			return
		}
		select {
		case t, ok := <-heard:
			if !ok {
				return
			}
			if len(t) < 10 {
				tag = t
			}
		case <-time.After(5 * time.Millisecond):
		}
	}
}
