package house

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/practice"
	"nestround/notify/reply"
)

// world is a house with its mail servers in a synctest bubble: days pass at
// once, and the servers misbehave when the test says so.
type world struct {
	t       *testing.T
	dir     string
	box     *practice.Box
	h       *House
	log     *lockedBuffer
	zero    time.Time // time of the house's clock at the start of the bubble
	born    time.Time // start of the bubble
	doors   map[string]*practice.Pipe
	replies []string // Message-IDs of the replies that arrived
	stop    func()
}

const (
	worldSMTP = "127.0.0.1:2525"
	worldIMAP = "127.0.0.1:1143"
)

// newWorld makes small books whose mail goes through servers. dir must come from
// outside the bubble.
func newWorld(t *testing.T, dir, at string) *world {
	t.Helper()
	mail := strings.ReplaceAll(mailSettings(worldSMTP, worldIMAP, "none", "rounds@example.org"), "ca_file = \"ca.pem\"\n", "")
	keeper := strings.Replace(fmt.Sprintf(smallBooks, "UTC", "06:00"), "[mail.out]\nmaildir = \"out\"\n\n[mail.in]\nmaildir = \"in\"\ntrust = \"token\"\n", mail+"poll = \"1 minute\"\n", 1)
	write(t, filepath.Join(dir, "keeper.toml"), keeper)
	if err := os.MkdirAll(filepath.Join(dir, "secrets"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "secrets", "mail"), []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	w := &world{t: t, dir: dir, box: practice.New(), log: &lockedBuffer{}, zero: clock(at)(), born: time.Now(),
		doors: map[string]*practice.Pipe{worldSMTP: practice.NewPipe(), worldIMAP: practice.NewPipe()}}
	w.box.RequireAuth = true
	// The practice server looks for mail every 20 ms while a client idles. That
	// is too often for days of simulated time, so the house has to poll.
	w.box.SetIdle(practice.IdleSilent)
	for _, a := range []string{"rounds@example.org", "keeper@example.org"} {
		if err := w.box.AddUser(a, password); err != nil {
			t.Fatal(err)
		}
	}
	w.box.Serve(w.doors[worldSMTP], w.doors[worldIMAP])
	w.start()
	return w
}

func (w *world) now() time.Time { return w.zero.Add(time.Since(w.born)) }

// start opens the books and starts the loops of serve. It leaves out only the
// loop that reads edited books again, which would take most of the time.
func (w *world) start() {
	w.t.Helper()
	h, problems, err := Open(w.dir, Options{Now: w.now, Log: slog.New(slog.NewTextHandler(w.log, nil)),
		Dial: func(ctx context.Context, network, addr string) (net.Conn, error) {
			return w.doors[addr].DialContext(ctx, network, addr)
		}})
	if h == nil || err != nil {
		w.t.Fatalf("open: %v\n%v", err, problems)
	}
	w.h = h
	ctx, cancel := context.WithCancel(w.t.Context())
	var all sync.WaitGroup
	s := server{h}
	for name, loop := range map[string]func(context.Context){"digest": s.sendDigests, "outbox": s.sendMail, "inbox": s.readMail} {
		all.Go(func() { s.guard(ctx, name, loop) })
	}
	w.stop = func() { cancel(); all.Wait() }
}

// until lets time pass until the house's clock shows a time of a day.
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
		w.t.Fatal("no digest was issued")
	}
	id := fmt.Sprintf("r%d", len(w.replies))
	if err := w.box.Deliver("rounds@example.org", answer(w.t, i, id, w.now().Format(time.RFC3339), words)); err != nil {
		w.t.Fatal(err)
	}
	w.replies = append(w.replies, id+"@phone.example.org")
	return id
}

// end stops the house and the servers.
func (w *world) end() {
	w.stop()
	w.box.Stop()
}

// recorded counts the entries of every reply.
func (w *world) recorded() map[string]int {
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
	digests, answers = make(map[string]int), make(map[string]int)
	ids := make(map[string]string)
	d, a := mailsTo(w.box, "keeper@example.org")
	count := func(of map[string]int, what string, m reply.Mail) {
		of[what]++
		if ids[what] != "" && ids[what] != m.MessageID {
			w.t.Errorf("%s has the Message-IDs %s and %s", what, ids[what], m.MessageID)
		}
		ids[what] = m.MessageID
	}
	for _, m := range d {
		count(digests, m.Date.UTC().Format(time.DateOnly), m)
	}
	for _, m := range a {
		count(answers, m.InReplyTo[0], m)
	}
	return digests, answers
}

// heap watches the memory of the process while f runs, and returns the highest
// growth in bytes. Garbage that is not collected yet counts.
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

// heapMost is the most memory that any fault may cost, with the race detector
// and with garbage.
const heapMost = 64 << 20

// smtpFault is a way in which the server for outgoing mail misbehaves.
type smtpFault struct {
	name   string
	break_ func(*practice.Box)
	// twice says that the server took the mail and did not say so. Only then
	// may a second copy leave.
	twice bool
}

func smtpFaults() (all []smtpFault) {
	steps := []practice.Step{practice.StepConnect, practice.StepEHLO, practice.StepAUTH, practice.StepMAIL, practice.StepRCPT,
		practice.StepDATA, practice.StepDot, practice.StepRSET, practice.StepQUIT}
	for _, at := range steps {
		for name, f := range map[string]practice.Fault{
			"421":         {What: practice.Refuse, Reply: "421 4.3.2 closing down"},
			"451":         {What: practice.Refuse, Reply: "451 4.3.0 try again later"},
			"454":         {What: practice.Refuse, Reply: "454 4.7.0 temporary authentication failure"},
			"550":         {What: practice.Refuse, Reply: "550 5.7.1 not allowed"},
			"535":         {What: practice.Refuse, Reply: "535 5.7.8 wrong password"},
			"554":         {What: practice.Refuse, Reply: "554 5.0.0 no"},
			"drops":       {What: practice.HangUp},
			"drops after": {What: practice.HangUpAfter},
			"stalls":      {What: practice.Stall},
			"garbage":     {What: practice.Refuse, Reply: "\x00\xff\xfe nonsense"},
			"no number":   {What: practice.Refuse, Reply: "sorry"},
		} {
			f.At = at
			all = append(all, smtpFault{
				name:   fmt.Sprintf("%s at %s", name, at),
				break_: func(b *practice.Box) { b.Break(f) },
				twice:  at == practice.StepDot && f.What == practice.HangUpAfter,
			})
		}
	}
	slices.SortFunc(all, func(a, b smtpFault) int { return strings.Compare(a.name, b.name) })
	return all
}

// The server for outgoing mail misbehaves while the digest leaves, or while an
// answer leaves, and is mended two hours later.
func TestFaultsOfOutgoingMail(t *testing.T) {
	for _, f := range smtpFaults() {
		for _, during := range []string{"the digest", "an answer"} {
			t.Run(f.name+" during "+during, func(t *testing.T) {
				dir := t.TempDir()
				grown := heap(func() { synctest.Test(t, func(t *testing.T) { f.run(t, dir, during) }) })
				if grown > heapMost {
					t.Errorf("it took %d MiB of memory", grown>>20)
				}
			})
		}
	}
}

func (f smtpFault) run(t *testing.T, dir, during string) {
	w := newWorld(t, dir, "2027-05-12T05:55:00Z")
	defer w.end()
	if during == "the digest" {
		f.break_(w.box)
	}
	w.until("2027-05-12T06:10:00Z")
	w.reply("done 1")
	if during == "an answer" {
		f.break_(w.box)
	}
	w.until("2027-05-12T08:10:00Z")
	w.box.Mend()
	w.box.Thaw()
	w.until("2027-05-12T10:10:00Z")
	if n := w.recorded()[w.replies[0]]; n != 1 {
		t.Errorf("the reply is recorded %d times", n)
	}
	digests, answers := w.arrived()
	most := 1
	if f.twice {
		most = 2
	}
	if n := digests["2027-05-12"]; n < 1 || n > most && during == "the digest" {
		t.Errorf("the digest left %d times, want 1 to %d", n, most)
	}
	if n := answers[w.replies[0]]; n < 1 || n > most && during == "an answer" {
		t.Errorf("the answer left %d times, want 1 to %d", n, most)
	}
	if t.Failed() {
		t.Logf("log:\n%s", w.log)
	}
}

var _ = maps.Keys[map[int]int]
var _ notify.Issue
var _ = mailout.Compose
