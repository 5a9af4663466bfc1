package practice

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"net"
	"regexp"
	"strings"
	"time"
)

// noise has the bytes that the endless faults send, in the form that a protocol
// needs at a step.
type noise struct {
	line    string // beginning of the endless line
	fill    string // the endless line repeats this; "" for x
	literal string // announces the endless literal
	first   string // sent before the endless answers
	answers string // an answer that does not end a command; it is repeated
	reply   string // beginning of the reply of Refuse
}

// smtpNoise returns the noise for a step of SMTP. A client accepts continuation
// lines only with the reply code that it waits for (RFC 5321, section 4.2.1).
func smtpNoise(at Step) noise {
	code := map[Step]string{StepConnect: "220", StepSTARTTLS: "220", StepAUTH: "235", StepDATA: "354", StepQUIT: "221"}[at]
	if code == "" {
		code = "250"
	}
	return noise{line: code + " ", literal: code + " {4294967295}\r\n", answers: code + "-more\r\n"}
}

// junk is the answer of Garbage if the fault gives none.
const junk = "\x00\xff\x16\x03\x01 ))((\"{-1}\x80 nothing that a client knows\r\n"

// strike carries out a fault. pass reports whether the server is to get the client's
// line nevertheless. An error ends the connection.
func (w *wire) strike(f Fault, n noise, reply string) (pass bool, err error) {
	say := func(text string) error {
		_, err := io.WriteString(w.Conn, text)
		return err
	}
	// without end repeats a text until the client or Stop ends the connection.
	withoutEnd := func(first, text string) error {
		err := say(first)
		text = strings.Repeat(text, max(1, 32<<10/len(text)))
		for err == nil {
			err = say(text)
		}
		return err
	}
	w.Conn.SetWriteDeadline(time.Time{}) // the server's own time limit must not end a fault
	switch f.What {
	case Refuse:
		return false, say(n.reply + reply + "\r\n")
	case HangUpAfter:
		w.withhold.Store(true)
		return true, nil
	case Stall:
		<-w.closed
	case Garbage:
		if reply != "" {
			return false, say(reply + "\r\n")
		}
		return false, say(junk)
	case Bye:
		say("* BYE " + reply + "\r\n") // the connection ends anyway
	case EndlessLine:
		withoutEnd(n.line, cmp.Or(n.fill, "x"))
	case EndlessLiteral:
		withoutEnd(n.literal, "x")
	case EndlessAnswers:
		withoutEnd(n.first, n.answers)
	case Drip:
		err := say(n.line)
		for t := time.NewTicker(time.Second); err == nil; {
			select {
			case <-t.C:
				err = say(cmp.Or(n.fill, "x"))
			case <-w.closed:
				err = net.ErrClosed
			}
		}
	}
	w.Close()
	return false, io.EOF
}

// imapWire is the server's end of an IMAP connection. It hides what the box is
// set not to offer. go-imap reads from one goroutine, and may write from another.
type imapWire struct {
	lineWire
	fresh bool // the greeting has not been written yet
}

func (w *imapWire) Read(p []byte) (int, error) {
	return w.read(p, func(line []byte) (bool, error) {
		tag, at := imapStep(line)
		f, struck := w.box.faultAt(at, false)
		if !struck {
			w.opaque = at == StepStartTLS
			return true, nil
		}
		return w.strike(f, imapNoise(at, tag, line), f.Reply)
	})
}

func (w *imapWire) Write(p []byte) (int, error) {
	if err := w.pass(); err != nil {
		return 0, err
	}
	if w.fresh {
		w.fresh = false
		if f, struck := w.box.faultAt(StepGreeting, false); struck {
			w.strike(f, imapNoise(StepGreeting, "*", nil), f.Reply)
			w.Close() // a server without a greeting has nothing to say
			return 0, net.ErrClosed
		}
	}
	if w.withhold.Load() {
		w.Close()
		return 0, net.ErrClosed
	}
	out := p
	if bytes.Contains(p, []byte("CAPABILITY")) {
		if w.box.idling() == IdleMissing {
			out = bytes.ReplaceAll(out, []byte(" IDLE"), nil)
		}
		if w.box.OnlyLogin {
			out = bytes.ReplaceAll(out, []byte(" AUTH=PLAIN"), nil)
		}
	}
	if _, err := w.Conn.Write(out); err != nil {
		return 0, err
	}
	return len(p), nil
}

// imapStep returns the tag and the step of a line from the client; "" for a
// line that begins no command, or no command with a step.
func imapStep(line []byte) (tag string, at Step) {
	words := strings.Fields(strings.ToUpper(string(line)))
	if len(words) < 2 {
		return "", ""
	}
	tag, _, _ = strings.Cut(string(line), " ")
	verb := words[1]
	if verb == "UID" && len(words) > 2 {
		verb = words[2]
	}
	switch verb {
	case "EXAMINE":
		return tag, StepSelect
	case "FETCH":
		if bytes.Contains(bytes.ToUpper(line), []byte("BODY")) {
			return tag, StepBody
		}
		return tag, StepSizes
	}
	return tag, Step("IMAP " + verb)
}

// aMail finds the first mail and the section of a FETCH command.
var aMail = regexp.MustCompile(`(?i)FETCH (\d+)`)
var aSection = regexp.MustCompile(`(?i)BODY(?:\.PEEK)?(\[[^]]*\])(?:<(\d+)\.\d+>)?`)

// imapNoise returns the noise for a step of IMAP. At a FETCH, the noise names the
// mail that the client asks for.
func imapNoise(at Step, tag string, line []byte) noise {
	n := noise{
		line:    "* OK ",
		literal: "* LIST () \"/\" {4294967295}\r\n",
		answers: "* 1 EXISTS\r\n",
		reply:   tag + " ",
	}
	uid := "1"
	if m := aMail.FindSubmatch(line); m != nil {
		uid = string(m[1])
	}
	switch at {
	case StepIdle:
		n.first = "+ idling\r\n"
	case StepSizes:
		n.answers = fmt.Sprintf("* %s FETCH (UID %[1]s RFC822.SIZE 1)\r\n", uid)
	case StepSearch:
		n.line, n.fill = "* SEARCH 1", "1" // a number that never ends
		n.answers = "* SEARCH 1 3 5 7\r\n"
	case StepBody:
		section := "[]"
		if m := aSection.FindSubmatch(line); m != nil {
			section = string(m[1])
			if len(m[2]) > 0 {
				section += "<" + string(m[2]) + ">"
			}
		}
		n.literal = fmt.Sprintf("* %s FETCH (UID %[1]s BODY%s {4294967295}\r\n", uid, section)
		n.answers = fmt.Sprintf("* %s FETCH (UID %[1]s)\r\n", uid)
	}
	return n
}
