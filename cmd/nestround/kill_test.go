package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"hash/fnv"
	"io"
	"io/fs"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/notify"
	"nestround/notify/calendar"
	"nestround/notify/mailout"
	"nestround/notify/outbox"
	"nestround/notify/practice"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

var (
	killsWanted = flag.Int("kills", 200, "how many processes TestKills kills")
	killSeed    = flag.Uint64("seed", 0, "the seed of TestKills; 0 for a random seed")
)

// TestKills kills the built program again and again while it works on the same
// books in several processes: serve, which sends the digest, reads and answers
// replies and publishes the calendar; marks from shells; `digest --send`,
// `replies` and `calendar --out`. The processes die by SIGKILL at random
// moments. In part of the rounds the clock is set back or forward.
//
// In the end every acknowledged word and every reply that arrived is in the
// daybook once and has its effect, and every digest has left, with one
// Message-ID. A mail left twice only if a process that sends died in between. No
// revision of the calendar went back. A revision was on the disk before it was
// published.
//
// The test ends after a number of kills and not after a time, and the moments of
// the kills follow the speed of the machine. DEVELOPERS.md says how to run it
// longer.
func TestKills(t *testing.T) {
	seed := *killSeed
	if seed == 0 {
		seed = rand.Uint64()
	}
	for _, c := range []struct {
		name    string
		servers bool
	}{{"mail folders", false}, {"mail servers", true}} {
		t.Run(c.name, func(t *testing.T) {
			t.Logf("seed %d; again with: go test ./cmd/nestround -run TestKills -seed %d -kills %d", seed, seed, *killsWanted)
			k := newKiller(t, c.servers, seed)
			k.run((*killsWanted + 1) / 2)
			k.settle()
			k.check()
		})
	}
}

// killBooks has tasks for every day in six enclosures.
func killBooks(servers string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `zone = "UTC"
began = 2027-05-01

[digest]
at = "06:00"
from = "nestround <lizards@example.org>"
to = ["keeper@example.org"]
plus_addressing = true

%s
trust = "token"

[[room]]
id = "south"
name = "South room"
`, servers)
	for n := 1; n <= killEnclosures; n++ {
		fmt.Fprintf(&b, "\n[[enclosure]]\nid = \"E%02d\"\nroom = \"south\"\n\n[[animal]]\nid = \"M%02d\"\nspecies = \"wall-lizard\"\nsex = \"male\"\nenclosure = \"E%02d\"\n", n, n, n)
	}
	return b.String()
}

const (
	killEnclosures = 6
	killDays       = 4
	killKeeper     = "keeper@example.org"
	killLizards    = "lizards@example.org"
	killPassword   = "warm side 31 C"
)

// killer runs and kills the program.
type killer struct {
	t    *testing.T
	bin  string
	dir  string
	rng  *rand.Rand
	box  *practice.Box // nil with mail folders
	link string        // path of the calendar

	unit  time.Duration // usual duration of a process that is not killed
	day   civil.Date    // the simulated day
	began time.Time     // when the day began, by the clock of the machine
	shift time.Duration // by which the clock is wrong in this round
	round int

	said    []*word
	arrived []arrival
	used    map[int]bool // numbers of this day's digest that were said
	senders []int        // by round: killed processes that may have been sending
	copies  map[string][]int

	mu      sync.Mutex
	kills   int
	by      map[string]int // kills by verb
	log     bytes.Buffer   // standard error of all processes
	shown   calendarSeen
	fetched int
}

// word is a mark that was said in a shell.
type word struct {
	note  string // names the entry
	n     int    // the task that is done with it; 0 for none
	task  tasks.Key
	on    civil.Date
	acked bool
}

// arrival is a reply that arrived.
type arrival struct {
	id   string
	task tasks.Key
	on   civil.Date
}

func newKiller(t *testing.T, servers bool, seed uint64) *killer {
	k := &killer{
		t: t, bin: theBinary(t), dir: t.TempDir(), rng: rand.New(rand.NewPCG(seed, 27)), day: civil.MustParse("2027-05-12"), began: time.Now(),
		used: map[int]bool{}, copies: map[string][]int{}, by: map[string]int{},
		shown: calendarSeen{events: map[string]seenEvent{}},
	}
	mail := "[mail.out]\nmaildir = \"mail/out\"\n\n[mail.in]\nmaildir = \"mail/in\""
	if servers {
		k.box = practice.New()
		for _, a := range []string{killKeeper, killLizards} {
			if err := k.box.AddUser(a, killPassword); err != nil {
				t.Fatal(err)
			}
		}
		if err := k.box.Start(nil); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(k.box.Stop)
		account := fmt.Sprintf("security = \"none\"\nuser = %q\npassword_file = \"secrets/mail\"\n", killLizards)
		mail = fmt.Sprintf("[mail.out]\nsmtp = %q\n%s\n[mail.in]\nimap = %q\n%s", k.box.SMTP(), account, k.box.IMAP(), account)
	}
	for _, f := range []string{"mail/in/new", "mail/in/cur", "mail/in/tmp", "secrets"} {
		if err := os.MkdirAll(filepath.Join(k.dir, f), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{"keeper.toml": killBooks(mail), "secrets/mail": killPassword + "\n"} {
		if err := os.WriteFile(filepath.Join(k.dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	began := time.Now()
	if out, code := k.wait(k.command("mark", "--json", "note E01 first")); code != 0 {
		t.Fatalf("the first mark: exit %d\n%s%s", code, out, &k.log)
	}
	k.unit = time.Since(began)
	h, problems, err := house.Open(k.dir, house.Options{Now: k.now})
	if h == nil || err != nil {
		t.Fatal(err, problems)
	}
	token, _, err := h.Publisher().Links().New("phone", calendar.Scope{})
	if err != nil {
		t.Fatal(err)
	}
	address, err := calendar.Address("https://example.org", token, "rounds")
	if err != nil {
		t.Fatal(err)
	}
	k.link = strings.TrimPrefix(address, "https://example.org")
	return k
}

// now is the time that the program's clock shows.
func (k *killer) now() time.Time {
	return k.day.At(6*60+5, time.UTC).Add(time.Since(k.began) + k.shift)
}

func (k *killer) command(args ...string) *exec.Cmd {
	c := exec.Command(k.bin, append(args, "--books", k.dir)...)
	c.Env = clockAt(k.now())
	return c
}

// run kills processes in rounds until it has killed the wanted number of them.
func (k *killer) run(wanted int) {
	dayEvery := (wanted + killDays - 1) / killDays
	for next := dayEvery; ; k.round++ {
		if k.kills >= next && k.kills < wanted {
			k.nextDay()
			next += dayEvery
		}
		// The loop goes on until it has seen enough to be worth something: on a
		// slow machine a process may die before it has begun to work.
		if k.kills >= wanted && k.acknowledged() >= wanted/8 && k.fetched >= wanted/8 {
			return
		}
		if k.round == 20*wanted+100 {
			k.t.Fatalf("after %d rounds: %d kills, %d words acknowledged, %d calendars", k.round, k.kills, k.acknowledged(), k.fetched)
		}
		k.one()
	}
}

func (k *killer) acknowledged() (n int) {
	for _, w := range k.said {
		if w.acked {
			n++
		}
	}
	return n
}

func (k *killer) nextDay() {
	k.day, k.began = k.day.AddDays(1), time.Now()
	clear(k.used)
}

// one is a round: some processes at once, each of which may die.
func (k *killer) one() {
	k.shift = 0
	if k.rng.IntN(5) == 0 {
		k.shift = []time.Duration{-3 * time.Hour, -20 * time.Minute, 5 * time.Hour}[k.rng.IntN(3)]
	}
	issue, ok := k.issue()
	for ok && k.rng.IntN(2) == 0 && len(k.used) < len(issue.Items) {
		k.arrive(issue)
	}
	k.senders = append(k.senders, 0)
	before := k.mails()
	var all sync.WaitGroup
	start := func(delay, life time.Duration, c *exec.Cmd, ended func(out []byte, code int)) {
		all.Go(func() {
			time.Sleep(delay)
			out, code := k.live(c, life)
			if ended != nil {
				ended(out, code)
			}
		})
	}
	serving, stop := k.serve(), k.span(0.5, 5)
	all.Go(func() { k.die(serving, stop) })
	for range 1 + k.rng.IntN(3) {
		w := k.word(issue, ok)
		c := k.command("mark", "--json", w.text())
		start(k.span(0, 2), k.life(0.5, 1.5), c, func(out []byte, code int) { w.acked = acknowledges(out, w) })
	}
	if k.rng.IntN(5) < 2 {
		start(k.span(0, 1), k.life(0.5, 2), k.command("digest", "--send"), nil)
	}
	if k.rng.IntN(5) < 2 {
		start(k.span(0, 2), k.life(0.5, 2), k.command("replies"), nil)
	}
	if k.rng.IntN(5) < 2 {
		c := k.command("calendar", "--out", filepath.Join(k.dir, "rounds.ics"))
		delay, life := k.span(0, 2), k.life(0.5, 2)
		all.Go(func() {
			time.Sleep(delay)
			seen := k.shown.start()
			if _, code := k.live(c, life); code == 0 {
				b, err := os.ReadFile(filepath.Join(k.dir, "rounds.ics"))
				if err != nil {
					k.t.Error(err)
				}
				k.saw(seen, b)
			}
		})
	}
	all.Wait()
	for id, n := range k.mails() {
		for range n - before[id] {
			k.copies[id] = append(k.copies[id], k.round)
		}
	}
}

// span is a random time between two numbers of units.
func (k *killer) span(from, to float64) time.Duration {
	return time.Duration((from + (to-from)*k.rng.Float64()) * float64(k.speed()))
}

// life is the time after which a process is killed; 0 for never.
func (k *killer) life(chance, most float64) time.Duration {
	if k.rng.Float64() >= chance {
		return 0
	}
	return max(k.span(0, most), 1)
}

// word makes the next thing to say. In a round with a wrong clock it says
// nothing about the day's tasks.
func (k *killer) word(issue notify.Issue, issued bool) *word {
	w := &word{note: fmt.Sprintf("k%d", len(k.said)), on: k.day}
	if issued && k.shift == 0 && k.rng.IntN(2) == 0 {
		if i, ok := k.free(issue); ok {
			w.n, w.task = i.N, i.Task
		}
	}
	k.said = append(k.said, w)
	return w
}

func (w *word) text() string {
	s := fmt.Sprintf("note E%02d %s", 1+len(w.note)%killEnclosures, w.note)
	if w.n > 0 {
		s = fmt.Sprintf("done %d\n%s", w.n, s)
	}
	return s
}

// free takes a task of the digest about which nobody has said anything.
func (k *killer) free(issue notify.Issue) (notify.Item, bool) {
	for _, i := range issue.Items {
		if !k.used[i.N] {
			k.used[i.N] = true
			return i, true
		}
	}
	return notify.Item{}, false
}

// arrive brings a reply into the mailbox.
func (k *killer) arrive(issue notify.Issue) {
	i, ok := k.free(issue)
	if !ok {
		return
	}
	a := arrival{fmt.Sprintf("r%d@phone.example.org", len(k.arrived)), i.Task, k.day}
	raw, err := mailout.Compose(notify.Message{
		ID: a.id, Date: k.now(), From: killKeeper, To: notify.PlusAddress(killLizards, issue.Token),
		Subject: "Re: " + notify.SubjectTag(issue.ID), InReplyTo: issue.MessageID, Text: fmt.Sprintf("done %d\n", i.N),
	})
	if err != nil {
		k.t.Fatal(err)
	}
	k.arrived = append(k.arrived, a)
	if k.box != nil {
		if err := k.box.Deliver(killLizards, raw); err != nil {
			k.t.Fatal(err)
		}
		return
	}
	name := fmt.Sprintf("%d.R%d.phone", time.Now().Unix(), len(k.arrived))
	in := filepath.Join(k.dir, "mail", "in")
	if err := os.WriteFile(filepath.Join(in, "tmp", name), raw, 0o600); err != nil {
		k.t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(in, "tmp", name), filepath.Join(in, "new", name)); err != nil {
		k.t.Fatal(err)
	}
}

// issue returns the digest of the day, if there is one.
func (k *killer) issue() (notify.Issue, bool) {
	all := k.issues()
	n := slices.IndexFunc(all, func(i notify.Issue) bool { return i.Date == k.day })
	if n < 0 {
		return notify.Issue{}, false
	}
	return all[n], true
}

func (k *killer) issues() (all []notify.Issue) {
	names, err := filepath.Glob(filepath.Join(k.dir, "state", "digests", "*.json"))
	if err != nil {
		k.t.Fatal(err)
	}
	for _, name := range names {
		if strings.Count(filepath.Base(name), ".") != 2 {
			continue
		}
		i, err := disk.ReadJSON[notify.Issue](name)
		if err != nil {
			k.t.Fatal(err)
		}
		all = append(all, i)
	}
	return all
}

// live starts a process and kills it when its life is over; a life of 0 has no
// end. A process that ends by itself says how long processes take.
func (k *killer) live(c *exec.Cmd, life time.Duration) (out []byte, code int) {
	var stdout bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &lockedLog{k: k}
	began := time.Now()
	if err := c.Start(); err != nil {
		k.t.Error(err)
		return nil, -1
	}
	if life > 0 {
		t := time.AfterFunc(life, func() { c.Process.Kill() })
		defer t.Stop()
	}
	err := c.Wait()
	k.ended(c)
	if err == nil && life == 0 {
		k.mu.Lock()
		k.unit += (time.Since(began) - k.unit) / 8
		k.mu.Unlock()
	}
	return stdout.Bytes(), c.ProcessState.ExitCode()
}

// wait runs a process that nobody kills.
func (k *killer) wait(c *exec.Cmd) (out string, code int) {
	b, code := k.live(c, 0)
	return string(b), code
}

// ended counts a killed process.
func (k *killer) ended(c *exec.Cmd) {
	status, ok := c.ProcessState.Sys().(syscall.WaitStatus)
	if !ok || status.Signal() != syscall.SIGKILL {
		return
	}
	verb := c.Args[1]
	k.mu.Lock()
	defer k.mu.Unlock()
	k.kills++
	k.by[verb]++
	if verb != "mark" && verb != "calendar" {
		k.senders[k.round]++
	}
}

// server is a serve that runs.
type server struct {
	*exec.Cmd
	reading sync.WaitGroup
}

// serve starts the verb serve, and a phone that fetches its calendar as long as
// it lives.
func (k *killer) serve() *server {
	s := &server{Cmd: k.command("serve", "--listen", "127.0.0.1:0")}
	errs, err := s.StderrPipe()
	if err != nil {
		k.t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		k.t.Fatal(err)
	}
	s.reading.Go(func() {
		lines := bufio.NewScanner(errs)
		for lines.Scan() {
			fmt.Fprintln(&lockedLog{k: k}, lines.Text())
			if m := serving.FindStringSubmatch(lines.Text()); m != nil {
				s.reading.Go(func() { k.subscribe("http://" + m[1] + k.link) })
			}
		}
	})
	return s
}

var serving = regexp.MustCompile(`msg=serving .*address=(\S+)`)

// die kills serve after a time.
func (k *killer) die(s *server, after time.Duration) {
	time.Sleep(after)
	if err := s.Process.Kill(); err != nil {
		k.t.Errorf("serve ended by itself: %v", err)
	}
	s.reading.Wait()
	s.Wait()
	k.ended(s.Cmd)
}

// subscribe fetches the calendar until the server dies.
func (k *killer) subscribe(url string) {
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	for {
		seen := k.shown.start()
		res, err := client.Get(url)
		if err != nil {
			return
		}
		b, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil {
			return
		}
		if res.StatusCode != http.StatusOK {
			k.t.Errorf("the calendar: %s\n%s", res.Status, b)
			return
		}
		k.saw(seen, b)
		time.Sleep(k.speed() / 4)
	}
}

func (k *killer) speed() time.Duration {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.unit
}

// lockedLog writes to the common log.
type lockedLog struct{ k *killer }

func (l *lockedLog) Write(p []byte) (int, error) {
	l.k.mu.Lock()
	defer l.k.mu.Unlock()
	return l.k.log.Write(p)
}

// acknowledges reports whether the program has told the shell that a word is
// recorded. A process that was killed afterwards has told so, too.
func acknowledges(out []byte, w *word) bool {
	var told struct {
		Accepted []struct {
			Task    tasks.Key
			Finding *struct{ Note string }
		}
	}
	if json.Unmarshal(out, &told) != nil {
		return false
	}
	for _, a := range told.Accepted {
		if a.Finding != nil && a.Finding.Note == w.note {
			return true
		}
	}
	return false
}

// calendarSeen is what subscribers have seen of every event.
type calendarSeen struct {
	mu     sync.Mutex
	events map[string]seenEvent // by UID
}

type seenEvent struct {
	sequence int
	modified string
	text     uint64 // hash of the event
}

// start returns what had been seen before a request.
func (c *calendarSeen) start() map[string]seenEvent {
	c.mu.Lock()
	defer c.mu.Unlock()
	return maps.Clone(c.events)
}

var (
	eventUID      = regexp.MustCompile(`(?m)^UID:(\S+)`)
	eventSequence = regexp.MustCompile(`(?m)^SEQUENCE:(\d+)`)
	eventModified = regexp.MustCompile(`(?m)^LAST-MODIFIED:(\S+)`)
)

// saw compares a calendar with the calendars that were complete before it was
// asked for, and with the revisions on the disk.
func (k *killer) saw(before map[string]seenEvent, ics []byte) {
	text := strings.ReplaceAll(string(ics), "\r\n ", "")
	if !strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") || !strings.HasSuffix(text, "END:VCALENDAR\r\n") {
		k.t.Errorf("half a calendar of %d bytes", len(ics))
		return
	}
	b, err := os.ReadFile(filepath.Join(k.dir, "state", "calendar", "calendar-revisions.json"))
	if err != nil {
		k.t.Error(err)
		return
	}
	var stored struct {
		Events map[string]struct {
			Seq int `json:"seq"`
		} `json:"events"`
	}
	if err := json.Unmarshal(b, &stored); err != nil {
		k.t.Error(err)
		return
	}
	k.shown.mu.Lock()
	defer k.shown.mu.Unlock()
	for _, event := range strings.Split(text, "BEGIN:VEVENT\r\n")[1:] {
		event, _, _ = strings.Cut(event, "END:VEVENT\r\n") // what follows the last event is none of it
		uid, modified := eventUID.FindStringSubmatch(event)[1], eventModified.FindStringSubmatch(event)[1]
		sum := fnv.New64()
		io.WriteString(sum, event)
		now := seenEvent{modified: modified, text: sum.Sum64()}
		fmt.Sscan(eventSequence.FindStringSubmatch(event)[1], &now.sequence)
		if old, ok := before[uid]; ok && (now.sequence < old.sequence || now.modified < old.modified) {
			k.t.Errorf("%s went back from SEQUENCE %d of %s to %d of %s", uid, old.sequence, old.modified, now.sequence, now.modified)
		}
		if on, ok := stored.Events[uid]; !ok || on.Seq < now.sequence {
			k.t.Errorf("%s was published with SEQUENCE %d, and the disk has %d (%v)", uid, now.sequence, on.Seq, ok)
		}
		if old, ok := k.shown.events[uid]; ok && old.sequence == now.sequence && old != now {
			k.t.Errorf("%s was published with SEQUENCE %d and two texts or times:\n%s", uid, now.sequence, event)
		}
		if now.sequence >= k.shown.events[uid].sequence {
			k.shown.events[uid] = now
		}
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.fetched++
}

// mails counts the mails to the keeper that left, by Message-ID.
func (k *killer) mails() map[string]int {
	n := make(map[string]int)
	for _, m := range k.sent() {
		n[m.MessageID]++
	}
	return n
}

func (k *killer) sent() (mails []reply.Mail) {
	var raws [][]byte
	if k.box != nil {
		raws = k.box.Messages(killKeeper)
	} else {
		names, err := filepath.Glob(filepath.Join(k.dir, "mail", "out", "new", "*"))
		if err != nil {
			k.t.Fatal(err)
		}
		for _, name := range names {
			raw, err := os.ReadFile(name)
			if err != nil {
				k.t.Fatal(err)
			}
			raws = append(raws, raw)
		}
	}
	for _, raw := range raws {
		m, err := reply.Read(raw)
		if err != nil {
			k.t.Fatalf("a mail that left cannot be read: %v", err)
		}
		mails = append(mails, m)
	}
	return mails
}

// settle lets the program finish its work, without kills and with the right
// time.
func (k *killer) settle() {
	k.shift = 0
	if _, ok := k.issue(); !ok {
		k.wait(k.command("digest", "--send"))
	}
	for try := 0; ; try++ {
		_, read := k.wait(k.command("replies"))
		_, sent := k.wait(k.command("digest", "--send"))
		waiting, err := outbox.New(k.dir, disk.Files{}).Waiting()
		if err != nil {
			k.t.Fatal(err)
		}
		if read == 0 && sent == 0 && len(waiting) == 0 {
			return
		}
		if try == 20 {
			k.t.Fatalf("exit codes %d and %d, %d mails wait\n%s", read, sent, len(waiting), &k.log)
		}
		k.shift += 31 * time.Minute // the longest pause between two attempts
	}
}

// check checks the books.
func (k *killer) check() {
	t := k.t
	told, code := k.wait(k.command("check"))
	if code != 0 {
		t.Errorf("check: exit %d\n%s", code, told)
	}
	told += k.log.String()
	if strings.Contains(told, "panic") || strings.Contains(told, "level=ERROR") {
		t.Errorf("the log has a panic or an error")
	}
	k.checkDaybook()
	k.checkMails()
	err := filepath.WalkDir(k.dir, func(path string, e fs.DirEntry, err error) error {
		if err == nil && asideName.MatchString(e.Name()) && !strings.Contains(told, e.Name()) {
			t.Errorf("%s was set aside and nobody was told", path)
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
	t.Logf("%d kills in %d rounds (%v), unit %v; %d of %d words acknowledged, %d replies, %d digests, %d mails, %d calendars",
		k.kills, k.round, k.by, k.unit.Round(time.Millisecond), k.acknowledged(), len(k.said), len(k.arrived), len(k.issues()), len(k.sent()), k.fetched)
	if t.Failed() {
		t.Logf("log:\n%s", &k.log)
	}
}

// asideName matches the names that disk.FreeName gives.
var asideName = regexp.MustCompile(`\.[a-z]+-\d+$`)

// checkDaybook checks that every acknowledged word and every reply counts once.
func (k *killer) checkDaybook() {
	t := k.t
	entries, trouble, err := daybook.Read(k.dir)
	if err != nil || len(trouble) > 0 {
		t.Errorf("daybook: %v, %v", trouble, err)
	}
	recorded, ids := make(map[string]int), make(map[string]int)
	for _, e := range entries {
		ids[e.ID]++
		for _, a := range e.Acts {
			if a.Finding != nil && a.Finding.Note != "" {
				recorded[a.Finding.Note]++
			}
		}
	}
	h, problems, err := house.Open(k.dir, house.Options{Now: k.now})
	if h == nil || err != nil {
		t.Fatal(err, problems)
	}
	done := func(key tasks.Key, on civil.Date) bool {
		for _, r := range h.Snapshot().Board(on).Rows {
			if r.Key == key {
				return r.Status == tasks.Done
			}
		}
		return false
	}
	for _, w := range k.said {
		n := recorded[w.note]
		if n > 1 || w.acked && n != 1 {
			t.Errorf("%q, acknowledged %v, is recorded %d times", w.text(), w.acked, n)
		}
		if n == 1 && w.n > 0 && !done(w.task, w.on) {
			t.Errorf("%q is recorded, and %s of %s is not done", w.text(), w.task, w.on)
		}
	}
	for _, a := range k.arrived {
		if ids[a.id] != 1 {
			t.Errorf("%s is recorded %d times", a.id, ids[a.id])
		}
		if !done(a.task, a.on) {
			t.Errorf("%s arrived, and %s of %s is not done", a.id, a.task, a.on)
		}
	}
}

// checkMails checks that every digest left, and counts the copies.
func (k *killer) checkMails() {
	t := k.t
	byDay := make(map[civil.Date]int)
	sent := k.mails()
	for _, i := range k.issues() {
		byDay[i.Date]++
		if sent[i.MessageID] == 0 {
			t.Errorf("the digest %s of %s never left", i.ID, i.Date)
		}
	}
	for day, n := range byDay {
		if n != 1 {
			t.Errorf("%d digests of %s", n, day)
		}
	}
	copies := 0
	for id, rounds := range k.copies {
		if k.box == nil && len(rounds) > 1 {
			t.Errorf("%s is in the mail folder %d times", id, len(rounds))
		}
		for n := 1; n < len(rounds); n++ {
			copies++
			died := 0
			for r := rounds[n-1]; r <= rounds[n] && r < len(k.senders); r++ {
				died += k.senders[r]
			}
			if died == 0 {
				t.Errorf("%s left in the rounds %v, and no process that sends died", id, rounds)
			}
		}
	}
	replies := make(map[string]bool)
	for _, a := range k.arrived {
		replies[a.id] = true
	}
	answers := 0
	for _, m := range k.sent() {
		if len(m.InReplyTo) > 0 {
			answers++
			if !replies[m.InReplyTo[0]] {
				t.Errorf("an answer speaks of %s, which never arrived", m.InReplyTo[0])
			}
		}
	}
	t.Logf("%d mails have a second copy; %d answers", copies, answers)
}
