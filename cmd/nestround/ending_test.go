//go:build unix

package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestround/cmd/nestround/demobooks"
)

// child is the real program at work.
type child struct {
	t    *testing.T
	dir  string
	cmd  *exec.Cmd
	err  *bufio.Reader // what it says; nil if a test has its standard error
	said strings.Builder
}

// startServe starts serve in a process of its own, on the books of the demo
// with further settings.
func startServe(t *testing.T, set demobooks.Setting, change func(*child)) *child {
	t.Helper()
	dir, bin := demoCommand(t, set)
	c := &child{t: t, dir: dir, cmd: exec.Command(bin, "serve", "--books", dir, "--listen", "127.0.0.1:0")}
	c.cmd.Env = append(os.Environ(), "CLOCK=2027-05-12T05:00:00Z", "SET="+time.Now().Format(time.RFC3339Nano))
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	c.cmd.Stderr, c.err = w, bufio.NewReader(r)
	if change != nil {
		change(c)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.cmd.Process.Kill(); w.Close(); r.Close() })
	return c
}

// line waits for a line of the log that contains the words.
func (c *child) line(words string) string {
	c.t.Helper()
	for {
		line, err := c.err.ReadString('\n')
		c.said.WriteString(line)
		if strings.Contains(line, words) {
			return line
		}
		if err != nil {
			c.t.Fatalf("serve never said %q:\n%s", words, c.said.String())
		}
	}
}

// end sends SIGTERM, waits for the end of the process, and returns its exit
// code.
func (c *child) end() int {
	c.t.Helper()
	if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		c.t.Fatal(err)
	}
	return c.wait()
}

func (c *child) wait() int {
	c.t.Helper()
	c.cmd.Stderr.(*os.File).Close() // so that reading ends with the process
	var exit *exec.ExitError
	if err := c.cmd.Wait(); err != nil && !errors.As(err, &exit) {
		c.t.Fatal(err)
	}
	return c.cmd.ProcessState.ExitCode()
}

func address(line string) string {
	_, rest, _ := strings.Cut(line, "address=")
	rest, _, _ = strings.Cut(rest, " ")
	return rest
}

// A named pipe in any folder of the books keeps serve neither from working nor
// from ending.
func TestServeEndsDespitePipes(t *testing.T) {
	for _, name := range []string{"daybook/2028.jsonl", "state/mailbox.json", "state/outbox/x.mail", "state/troubles.json", "logs/incubator.csv", "pipe.toml", "state/alive.json"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := startServe(t, demobooks.Setting{}, nil)
			c.line("serving")
			path := filepath.Join(c.dir, filepath.FromSlash(name))
			if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), syscall.Mkfifo(path, 0o600)); err != nil && !errors.Is(err, os.ErrExist) {
				t.Fatal(err)
			}
			if code := c.end(); code != exitDone {
				rest, _ := io.ReadAll(c.err)
				t.Errorf("exit code %d\n%s", code, rest)
			}
		})
	}
}

// A mail server that accepts and is silent, and a client that never finishes its
// request, do not keep serve from ending.
func TestServeEndsDespiteSilentPeers(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	c := startServe(t, demobooks.Setting{SMTP: l.Addr().String(), IMAP: l.Addr().String(), User: "keeper", Password: "x"}, nil)
	at := address(c.line("serving"))
	silent, err := l.Accept() // serve asks for replies
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	half, err := net.Dial("tcp", at)
	if err != nil {
		t.Fatal(err)
	}
	defer half.Close()
	if _, err := io.WriteString(half, "GET /cal/x/x.ics HTTP/1.1\r\nHost:"); err != nil {
		t.Fatal(err)
	}
	if code := c.end(); code != exitDone {
		rest, _ := io.ReadAll(c.err)
		t.Errorf("exit code %d\n%s", code, rest)
	}
}

// Nobody reads the log, and its pipe is full: serve cannot say that it stops. It
// ends by force nevertheless.
func TestServeEndsDespiteABlockedLog(t *testing.T) {
	for _, again := range []bool{true, false} {
		t.Run(fmt.Sprintf("second signal %t", again), func(t *testing.T) {
			t.Parallel()
			c := startServe(t, demobooks.Setting{}, nil)
			c.line("serving")
			w := int(c.cmd.Stderr.(*os.File).Fd())
			if err := syscall.SetNonblock(w, true); err != nil {
				t.Fatal(err)
			}
			for b := make([]byte, 64<<10); len(b) > 0; {
				if _, err := syscall.Write(w, b); err != nil {
					b = b[:len(b)/2] // a full pipe refuses the whole, but may take a part
				}
			}
			// The two ends share their flags with the child, whose writes must
			// wait as usual.
			if err := syscall.SetNonblock(w, false); err != nil {
				t.Fatal(err)
			}
			if again {
				ended := make(chan int)
				go func() { ended <- c.end() }()
				for {
					select {
					case code := <-ended:
						if code != exitProblems {
							t.Errorf("exit code %d", code)
						}
						return
					case <-time.After(100 * time.Millisecond):
						c.cmd.Process.Signal(syscall.SIGTERM)
					}
				}
			}
			if code := c.end(); code != exitProblems {
				t.Errorf("exit code %d", code)
			}
		})
	}
}

// What did not end is said before the end by force. On a slow machine the second
// signal may come after the page has ended; then the test asks again.
func TestServeSaysWhatDidNotEnd(t *testing.T) {
	var said string
	for range 20 {
		c := startServe(t, demobooks.Setting{}, nil)
		c.line("serving")
		// The page waits some seconds for a request that has begun. Connections
		// are accepted in their order, so the first is accepted when the second
		// has its answer.
		half, whole := dial(t, c), dial(t, c)
		if _, err := io.WriteString(half, "GET / HTTP/1.1\r\n"); err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(whole, "GET /nothing HTTP/1.1\r\nHost: x\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		if _, err := whole.Read(make([]byte, 1)); err != nil {
			t.Fatal(err)
		}
		if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		c.line("stopping")
		code := c.end()
		rest, err := io.ReadAll(c.err)
		if err != nil {
			t.Fatal(err)
		}
		if said = string(rest); code == exitProblems && strings.Contains(said, "ended by force; still at work: page") {
			return
		}
	}
	t.Errorf("never said; at last:\n%s", said)
}

// dial connects to the page of a running serve.
func dial(t *testing.T, c *child) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", address(c.said.String()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// As a service of systemd, serve says when it is ready, feeds the watchdog and
// says when it stops.
func TestServeTellsSystemd(t *testing.T) {
	dir, err := os.MkdirTemp("", "n") // the path of a socket must be short
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: filepath.Join(dir, "s"), Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	c := startServe(t, demobooks.Setting{}, func(c *child) {
		c.cmd.Env = append(c.cmd.Env, "NOTIFY_SOCKET="+filepath.Join(dir, "s"), "WATCHDOG_USEC=100000")
	})
	next := func() string {
		b := make([]byte, 100)
		n, err := socket.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
	if got := next(); got != "READY=1" {
		t.Errorf("first %q", got)
	}
	for range 3 {
		if got := next(); got != "WATCHDOG=1" {
			t.Errorf("then %q", got)
		}
	}
	if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for {
		got := next()
		if got == "STOPPING=1" {
			break
		}
		if got != "WATCHDOG=1" {
			t.Fatalf("at the end %q", got)
		}
	}
	if code := c.wait(); code != exitDone {
		t.Errorf("exit code %d", code)
	}
}
