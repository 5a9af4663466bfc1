package house

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify/practice"
	"nestround/notify/reply"
)

// simulation is a house with its mail servers in a synctest bubble: days pass at
// once, and the servers misbehave when the test says so.
type simulation struct {
	t    testing.TB
	dir  string
	box  *practice.Box
	smtp *faultyProxy
	imap *faultyProxy
	h    *House
	log  *lockedBuffer
	zero time.Time // time of the house's clock at the start of the bubble
	born time.Time // start of the bubble
	// replies are the Message-IDs of the replies that arrived.
	replies  []string
	happened []string // for messages
	stop     func()
}

const (
	simulatedSMTP = "127.0.0.1:2525"
	simulatedIMAP = "127.0.0.1:1143"
)

// newSimulation makes small books whose mail goes through servers. dir must come from
// outside the bubble.
func newSimulation(t testing.TB, dir, at string) *simulation {
	t.Helper()
	mail := strings.ReplaceAll(mailSettings(simulatedSMTP, simulatedIMAP, "none", "rounds@example.org"), "ca_file = \"ca.pem\"\n", "")
	write(t, filepath.Join(dir, "keeper.toml"), strings.Replace(fmt.Sprintf(smallBooks, "UTC", "06:00"),
		"[mail.out]\nmaildir = \"out\"\n\n[mail.in]\nmaildir = \"in\"\ntrust = \"token\"\n", mail+"poll = \"5 minutes\"\n", 1))
	if err := os.MkdirAll(filepath.Join(dir, "secrets"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "secrets", "mail"), []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	w := &simulation{t: t, dir: dir, box: practice.New(), log: &lockedBuffer{}, zero: clock(at)(), born: time.Now()}
	w.box.RequireAuth = true
	// The practice server looks for mail every 20 ms while a client idles. That
	// is too often for days of simulated time, so the house has to poll.
	w.box.SetIdle(practice.IdleSilent)
	for _, a := range []string{"rounds@example.org", "keeper@example.org"} {
		if err := w.box.AddUser(a, password); err != nil {
			t.Fatal(err)
		}
	}
	smtp, imap := practice.NewPipe(), practice.NewPipe()
	w.smtp, w.imap = &faultyProxy{to: smtp}, &faultyProxy{to: imap}
	w.box.Serve(smtp, imap)
	w.start()
	return w
}

func (w *simulation) now() time.Time { return w.zero.Add(time.Since(w.born)) }

// start opens the books and starts the loops of serve. It leaves out the loop
// that reads edited books again, which would take most of the test's time.
func (w *simulation) start() {
	w.t.Helper()
	h, problems, err := Open(w.dir, Options{Now: w.now, Log: slog.New(slog.NewTextHandler(w.log, nil)),
		Dial: func(ctx context.Context, network, addr string) (net.Conn, error) {
			if addr == simulatedSMTP {
				return w.smtp.dial(ctx)
			}
			return w.imap.dial(ctx)
		}})
	if h == nil || err != nil {
		w.t.Fatalf("open: %v\n%v", err, problems)
	}
	w.h = h
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	s := server{h}
	for name, loop := range map[string]func(context.Context){"digest": s.sendDigests, "outbox": s.sendMail, "inbox": s.readMail} {
		all.Go(func() { s.guard(ctx, name, loop) })
	}
	w.stop = func() { cancel(); all.Wait() }
}

// end stops the house and the servers.
func (w *simulation) end() {
	w.stop()
	w.mend()
	w.box.Stop()
	synctest.Wait()
}

// mend ends all faults.
func (w *simulation) mend() {
	w.box.Mend()
	w.box.Thaw()
	w.smtp.mend()
	w.imap.mend()
}

// until lets time pass until the house's clock shows a time.
func (w *simulation) until(at string) {
	w.t.Helper()
	time.Sleep(clock(at)().Sub(w.now()))
	synctest.Wait()
}

// reply puts a reply to the digest of the day into the mailbox.
func (w *simulation) reply(words string) string {
	w.t.Helper()
	i, ok := w.h.Snapshot().TodaysIssue()
	if !ok {
		w.t.Fatalf("no digest was issued\n%s", w.log)
	}
	id := fmt.Sprintf("r%d", len(w.replies))
	if err := w.box.Deliver("rounds@example.org", answer(w.t, i, id, w.now().Format(time.RFC3339), words)); err != nil {
		w.t.Fatal(err)
	}
	w.replies = append(w.replies, id+"@phone.example.org")
	return w.replies[len(w.replies)-1]
}

// recorded counts the entries of every reply.
func (w *simulation) recorded() map[string]int {
	w.t.Helper()
	entries, trouble, err := readDaybook(w.dir)
	if err != nil || len(trouble) > 0 {
		w.t.Errorf("daybook: %v, %v", trouble, err)
	}
	n := make(map[string]int)
	for _, e := range entries {
		n[e.ID]++
	}
	return n
}

// arrived counts the digests by the day, and the answers by the reply. A second
// Message-ID for one of them is an error.
func (w *simulation) arrived() (digests, answers map[string]int) {
	w.t.Helper()
	digests, answers = make(map[string]int), make(map[string]int)
	ids := make(map[string]string)
	count := func(of map[string]int, what string, m reply.Mail) {
		of[what]++
		if ids[what] != "" && ids[what] != m.MessageID {
			w.t.Errorf("%s left with the Message-IDs %s and %s", what, ids[what], m.MessageID)
		}
		ids[what] = m.MessageID
	}
	d, a := mailsTo(w.box, "keeper@example.org")
	for _, m := range d {
		count(digests, m.Date.UTC().Format(time.DateOnly), m)
	}
	for _, m := range a {
		count(answers, m.InReplyTo[0], m)
	}
	return digests, answers
}

// digestOf returns the text of a day's digest as it arrived, or "".
func (w *simulation) digestOf(day string) string {
	d, _ := mailsTo(w.box, "keeper@example.org")
	for _, m := range d {
		if m.Date.UTC().Format(time.DateOnly) == day {
			return strings.Join(m.Lines, "\n")
		}
	}
	return ""
}

// faultyProxy stands between the house and a server, and misbehaves like a server.
type faultyProxy struct {
	to *practice.Pipe

	mu    sync.Mutex
	fault *fault
	conns map[*proxiedConn]struct{}
	// replace replaces parts of the bytes from the server; nil for no change.
	replace *strings.Replacer
}

// fault is a misbehaviour at a step: at "connect", in place of the greeting, or
// at a command of the client, such as "LOGIN" or "UID FETCH". A fault at "LOGIN"
// also occurs at "AUTHENTICATE".
type fault struct {
	at    string
	do    func(c *proxiedConn, tag string)
	times int // how often; 0 until it is mended
}

// strike returns the fault of a step, if there is one.
func (m *faultyProxy) strike(at string) func(*proxiedConn, string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f := m.fault
	if f == nil || at != f.at && !(f.at == "LOGIN" && at == "AUTHENTICATE") {
		return nil
	}
	if f.times > 0 {
		if f.times--; f.times == 0 {
			m.fault = nil
		}
	}
	return f.do
}

func (m *faultyProxy) set(f fault) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fault = &f
}

// mend ends the faults, and the connections that are in the middle of one.
func (m *faultyProxy) mend() {
	m.mu.Lock()
	m.fault, m.replace = nil, nil
	var broken []*proxiedConn
	for c := range m.conns {
		if c.broken {
			broken = append(broken, c)
		}
	}
	m.mu.Unlock()
	for _, c := range broken {
		c.drop()
	}
}

// proxiedConn is a connection through a faultyProxy.
type proxiedConn struct {
	m              *faultyProxy
	client, server net.Conn
	broken, mute   bool // guarded by m.mu
}

func (m *faultyProxy) dial(ctx context.Context) (net.Conn, error) {
	server, err := m.to.DialContext(ctx, "", "")
	if err != nil {
		return nil, err
	}
	near, client := net.Pipe()
	c := &proxiedConn{m: m, client: client, server: server}
	m.mu.Lock()
	if m.conns == nil {
		m.conns = make(map[*proxiedConn]struct{})
	}
	m.conns[c] = struct{}{}
	m.mu.Unlock()
	go c.down()
	return near, nil
}

func (c *proxiedConn) drop() {
	c.client.Close()
	c.server.Close()
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	delete(c.m.conns, c)
}

// set marks the connection as broken for good. With mute, the client gets no more
// bytes from the server.
func (c *proxiedConn) set(mute bool) {
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	c.broken, c.mute = true, mute
}

func (c *proxiedConn) is() (broken, mute bool, replace *strings.Replacer) {
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	return c.broken, c.mute, c.m.replace
}

// down passes the bytes of the server on to the client.
func (c *proxiedConn) down() {
	defer c.drop()
	if do := c.m.strike("connect"); do != nil {
		go io.Copy(io.Discard, c.client)
		do(c, "*")
		if broken, _, _ := c.is(); broken {
			io.Copy(io.Discard, c.server)
		}
		return
	}
	go c.up()
	b := make([]byte, 32<<10)
	for {
		n, err := c.server.Read(b)
		_, mute, replace := c.is()
		if mute {
			return
		}
		out := b[:n]
		if replace != nil {
			out = []byte(replace.Replace(string(out)))
		}
		if _, werr := c.client.Write(out); err != nil || werr != nil {
			return
		}
	}
}

// up passes the lines of the client on to the server.
func (c *proxiedConn) up() {
	defer c.drop()
	lines := bufio.NewReader(c.client)
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			return
		}
		if broken, _, _ := c.is(); broken {
			continue // nobody is there any more
		}
		tag, rest, _ := strings.Cut(strings.TrimRight(line, "\r\n"), " ")
		verb, more, _ := strings.Cut(rest, " ")
		at := strings.ToUpper(verb)
		if at == "UID" {
			sub, _, _ := strings.Cut(more, " ")
			at += " " + strings.ToUpper(sub)
		}
		if do := c.m.strike(at); do != nil {
			do(c, tag)
			continue
		}
		if do := c.m.strike(strings.ToUpper(tag)); do != nil { // SMTP has no tags
			do(c, "")
			continue
		}
		if _, err := io.WriteString(c.server, line); err != nil {
			return
		}
	}
}

// says answers with lines, in which TAG stands for the command's tag.
func says(lines string) func(*proxiedConn, string) {
	return func(c *proxiedConn, tag string) { io.WriteString(c.client, strings.ReplaceAll(lines, "TAG", tag)) }
}

// saysAndDrops answers and closes the connection.
func saysAndDrops(lines string) func(*proxiedConn, string) {
	return func(c *proxiedConn, tag string) {
		says(lines)(c, tag)
		c.drop()
	}
}

func drops(c *proxiedConn, _ string) { c.drop() }

// stalls never answers again.
func stalls(c *proxiedConn, _ string) { c.set(false) }

// flood is how many bytes an endless server sends before it goes silent. It is
// far more than the program may keep.
const flood = 3 * heapMost

// endless sends a beginning and then a piece again and again, until flood.
func endless(begin, piece string) func(*proxiedConn, string) {
	block := []byte(strings.Repeat(piece, max(1, (64<<10)/len(piece))))
	return func(c *proxiedConn, tag string) {
		c.set(false)
		go func() {
			io.WriteString(c.client, strings.ReplaceAll(begin, "TAG", tag))
			for sent := 0; sent < flood; sent += len(block) {
				if _, err := c.client.Write(block); err != nil {
					return
				}
			}
		}()
	}
}

// heapMost is the most memory that any fault may cost, in bytes. It includes
// garbage that is not collected yet.
const heapMost = 32 << 20

// heap watches the memory of the process while f runs, and returns the highest
// growth in bytes.
func heap(f func()) uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	read := func() uint64 {
		metrics.Read(sample)
		return sample[0].Value.Uint64()
	}
	runtime.GC()
	base := read()
	peak := base
	done, watched := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(watched)
		t := time.NewTicker(time.Millisecond)
		defer t.Stop()
		for {
			select {
			case <-t.C:
				peak = max(peak, read())
			case <-done:
				return
			}
		}
	}()
	f()
	close(done)
	<-watched
	return peak - base
}
