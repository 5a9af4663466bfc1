package practice

import (
	"bytes"
	"net"
	"time"
)

// PlayScript is a server that sends a fixed script, whatever the client sends. The
// byte 0x1e separates the pieces of the script. PlayScript sends the first piece at
// once. It sends each further piece after a message of the client, or after a few
// milliseconds without a message. In a piece, the byte 0x1f stands for the tag of
// the client's last command in IMAP. PlayScript hangs up at the end.
func PlayScript(conn net.Conn, script []byte) {
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
			default: // the client sends more messages than the script answers
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
