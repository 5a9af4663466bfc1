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

// world is a house with its mail servers in a synctest bubble: days pass at
// once, and the servers misbehave when the test says so.
type world struct {
	t    testing.TB
	dir  string
	box  *practice.Box
	smtp *meddler
	imap *meddler
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
	worldSMTP = "127.0.0.1:2525"
	worldIMAP = "127.0.0.1:1143"
)

// newWorld makes small books whose mail goes through servers. dir must come from
// outside the bubble.
func newWorld(t testing.TB, dir, at string) *world {
	t.Helper()
	mail := strings.ReplaceAll(mailSettings(worldSMTP, worldIMAP, "none", "rounds@example.org"), "ca_file = \"ca.pem\"\n", "")
	write(t, filepath.Join(dir, "keeper.toml"), strings.Replace(fmt.Sprintf(smallBooks, "UTC", "06:00"),
		"[mail.out]\nmaildir = \"out\"\n\n[mail.in]\nmaildir = \"in\"\ntrust = \"token\"\n", mail+"poll = \"5 minutes\"\n", 1))
	if err := os.MkdirAll(filepath.Join(dir, "secrets"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "secrets", "mail"), []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, dir: dir, box: practice.New(), log: &lockedBuffer{}, zero: clock(at)(), born: time.Now()}
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
	w.smtp, w.imap = &meddler{to: smtp}, &meddler{to: imap}
	w.box.Serve(smtp, imap)
	w.start()
	return w
}

func (w *world) now() time.Time { return w.zero.Add(time.Since(w.born)) }

// start opens the books and starts the loops of serve. It leaves out the loop
// that reads edited books again, which would take most of the test's time.
func (w *world) start() {
	w.t.Helper()
	h, problems, err := Open(w.dir, Options{Now: w.now, Log: slog.New(slog.NewTextHandler(w.log, nil)),
		Dial: func(ctx context.Context, network, addr string) (net.Conn, error) {
			if addr == worldSMTP {
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
func (w *world) end() {
	w.stop()
	w.mend()
	w.box.Stop()
	synctest.Wait()
}

// mend ends all faults.
func (w *world) mend() {
	w.box.Mend()
	w.box.Thaw()
	w.smtp.mend()
	w.imap.mend()
}

// until lets time pass until the house's clock shows a time.
func (w *world) until(at string) {
	w.t.Helper()
	time.Sleep(clock(at)().Sub(w.now()))
	synctest.Wait()
}

// reply puts a reply to the digest of the day into the mailbox.
func (w *world) reply(words string) string {
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
func (w *world) recorded() map[string]int {
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
func (w *world) arrived() (digests, answers map[string]int) {
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
func (w *world) digestOf(day string) string {
	d, _ := mailsTo(w.box, "keeper@example.org")
	for _, m := range d {
		if m.Date.UTC().Format(time.DateOnly) == day {
			return strings.Join(m.Lines, "\n")
		}
	}
	return ""
}

// meddler stands between the house and a server, and misbehaves like a server.
type meddler struct {
	to *practice.Pipe

	mu    sync.Mutex
	fault *fault
	conns map[*meddled]struct{}
	// in replaces parts of what the server says.
	replace *strings.Replacer
}

// fault is a misbehaviour at a step: at "connect", in place of the greeting, or
// at a command of the client, such as "LOGIN" or "UID FETCH". A fault at "LOGIN"
// is also one at "AUTHENTICATE".
type fault struct {
	at    string
	do    func(c *meddled, tag string)
	times int // how often; 0 until it is mended
}

// strike returns the fault of a step, if there is one.
func (m *meddler) strike(at string) func(*meddled, string) {
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

func (m *meddler) set(f fault) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fault = &f
}

// mend ends the faults, and the connections that are in the middle of one.
func (m *meddler) mend() {
	m.mu.Lock()
	m.fault, m.replace = nil, nil
	var broken []*meddled
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

// meddled is a connection through a meddler.
type meddled struct {
	m              *meddler
	client, server net.Conn
	broken, mute   bool // guarded by m.mu
}

func (m *meddler) dial(ctx context.Context) (net.Conn, error) {
	server, err := m.to.DialContext(ctx, "", "")
	if err != nil {
		return nil, err
	}
	near, client := net.Pipe()
	c := &meddled{m: m, client: client, server: server}
	m.mu.Lock()
	if m.conns == nil {
		m.conns = make(map[*meddled]struct{})
	}
	m.conns[c] = struct{}{}
	m.mu.Unlock()
	go c.down()
	return near, nil
}

func (c *meddled) drop() {
	c.client.Close()
	c.server.Close()
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	delete(c.m.conns, c)
}

// set marks the connection as broken for good; mute also hides what the server
// says from now on.
func (c *meddled) set(mute bool) {
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	c.broken, c.mute = true, mute
}

func (c *meddled) is() (broken, mute bool, replace *strings.Replacer) {
	c.m.mu.Lock()
	defer c.m.mu.Unlock()
	return c.broken, c.mute, c.m.replace
}

// down passes on what the server says.
func (c *meddled) down() {
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

// up passes on the lines of the client.
func (c *meddled) up() {
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
func says(lines string) func(*meddled, string) {
	return func(c *meddled, tag string) { io.WriteString(c.client, strings.ReplaceAll(lines, "TAG", tag)) }
}

// saysAndDrops answers and closes the connection.
func saysAndDrops(lines string) func(*meddled, string) {
	return func(c *meddled, tag string) {
		says(lines)(c, tag)
		c.drop()
	}
}

func drops(c *meddled, _ string) { c.drop() }

// stalls never answers again.
func stalls(c *meddled, _ string) { c.set(false) }

// flood is how many bytes an endless server sends before it goes silent. It is
// far more than the program may keep.
const flood = 3 * heapMost

// endless repeats a piece after a beginning, without an end.
func endless(begin, piece string) func(*meddled, string) {
	block := []byte(strings.Repeat(piece, max(1, (64<<10)/len(piece))))
	return func(c *meddled, tag string) {
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
