package house

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify"
	"nestround/notify/mailin"
	"nestround/notify/practice"
	"nestround/tasks/disk"
)

// watched are small books with a running reader of their mailbox, in the time of
// a synctest bubble.
type watched struct {
	t    *testing.T
	dir  string
	h    *House
	i    notify.Issue
	log  *lockedBuffer
	stop func()
}

// watch runs in a bubble. prepare changes keeper.toml before the books are
// opened.
func watch(t *testing.T, keeper string, o Options) *watched {
	t.Helper()
	dir := small(t, "UTC", "06:00")
	if keeper != "" {
		write(t, filepath.Join(dir, "keeper.toml"), keeper)
	}
	w := &watched{t: t, dir: dir, log: &lockedBuffer{}}
	w.start(o)
	w.i = issued(t, w.h)
	return w
}

// start opens the books and starts the loops for replies.
func (w *watched) start(o Options) {
	w.t.Helper()
	o.Log = slog.New(slog.NewTextHandler(w.log, nil))
	h, problems, err := Open(w.dir, o)
	if h == nil {
		w.t.Fatal(problems, err)
	}
	w.h = h
	ctx, cancel := context.WithCancel(w.t.Context())
	done := make(chan struct{}, 2)
	s := server{h}
	for _, loop := range []func(context.Context){s.readMail, s.writeAnswers} {
		go func() { loop(ctx); done <- struct{}{} }()
	}
	w.stop = func() { cancel(); <-done; <-done }
}

// say returns the bytes of a reply.
func (w *watched) say(id, words string) []byte {
	return answer(w.t, w.i, id, time.Now().UTC().Format(time.RFC3339), words)
}

// deliver puts a mail into the mail folder.
func (w *watched) deliver(id, words string) {
	w.t.Helper()
	if err := os.WriteFile(filepath.Join(w.dir, "in", "new", id), w.say(id, words), 0o600); err != nil {
		w.t.Fatal(err)
	}
}

// recorded counts the entries of mails in the daybook by id.
func (w *watched) recorded() map[string]int {
	w.t.Helper()
	entries, _, err := readDaybook(w.dir)
	if err != nil {
		w.t.Fatal(err)
	}
	n := make(map[string]int)
	for _, e := range entries {
		id, _, _ := strings.Cut(e.ID, "@")
		n[id]++
	}
	return n
}

// wait lets time pass.
func wait(d time.Duration) {
	time.Sleep(d) // the time of a bubble
	synctest.Wait()
}

// A fault of this machine never costs a reply: the reply is offered for as long
// as the fault lasts, and recorded once after the repair, without anybody's
// doing. The keeper is told about the fault, once.
func TestALocalFaultNeverCostsAReply(t *testing.T) {
	for _, c := range []struct {
		name   string
		broken func(w *watched, d *fullDisk) (repair func())
		why    string
	}{
		{"a full disk", func(w *watched, d *fullDisk) func() {
			d.set("/daybook/")
			return func() { d.set() }
		}, "no space left on device"},
		{"a file in place of the folder daybook", func(w *watched, _ *fullDisk) func() {
			folder := filepath.Join(w.dir, "daybook")
			if err := os.RemoveAll(folder); err != nil {
				w.t.Fatal(err)
			}
			write(w.t, folder, "")
			return func() {
				if err := os.Remove(folder); err != nil {
					w.t.Fatal(err)
				}
			}
		}, "daybook"},
		{"a lock that another process holds", func(w *watched, _ *fullDisk) func() {
			names, err := filepath.Glob(filepath.Join(w.dir, "state", "*lock*"))
			if err != nil {
				w.t.Fatal(err)
			}
			var held []*disk.Lock
			for _, name := range names {
				l, err := (disk.Files{}).Acquire(name, 0)
				if err != nil {
					w.t.Fatal(err)
				}
				held = append(held, l)
			}
			return func() {
				for _, l := range held {
					l.Release()
				}
			}
		}, "another nestround"},
		{"a position that cannot be stored", func(w *watched, d *fullDisk) func() {
			d.set("mailbox.json")
			return func() { d.set() }
		}, "no space left on device"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &fullDisk{}
				w := watch(t, "", Options{Files: disk.Files{Ops: d}})
				defer w.stop()
				wait(time.Minute)
				repair := c.broken(w, d)
				var ids []string
				for n := range 6 {
					id := fmt.Sprintf("reply%d", n)
					ids = append(ids, id)
					w.deliver(id, fmt.Sprintf("done %d", n+1))
					wait(5 * time.Hour)
				}
				var what []string
				for _, x := range w.h.Troubles() {
					if x.Standing() && x.Part == partReplies {
						what = append(what, x.What)
					}
				}
				if len(what) != 1 || !strings.Contains(what[0], c.why) {
					t.Errorf("the standing troubles of replies are %q, want one with %q", what, c.why)
				}
				if n := strings.Count(w.log.String(), "part=replies"); n != 1 {
					t.Errorf("the log has the trouble %d times:\n%s", n, w.log)
				}
				repair()
				wait(time.Hour)
				got := w.recorded()
				for _, id := range ids {
					if got[id] != 1 {
						t.Errorf("%s is recorded %d times", id, got[id])
					}
				}
				for _, x := range w.h.Troubles() {
					if x.Standing() {
						t.Errorf("still in trouble: %+v", x)
					}
				}
				if t.Failed() {
					t.Logf("log:\n%s", w.log)
				}
			})
		})
	}
}

// refusing passes the lines of a client on to a server. While down is set, it
// refuses every command that fetches a mail.
func refusing(client, server net.Conn, down *atomic.Bool) {
	go func() {
		io.Copy(client, server)
		client.Close()
	}()
	defer server.Close()
	lines := bufio.NewReader(client)
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			return
		}
		tag, command, _ := strings.Cut(line, " ")
		if down.Load() && strings.HasPrefix(command, "UID FETCH") {
			if _, err := io.WriteString(client, tag+" NO [UNAVAILABLE] try later\r\n"); err != nil {
				return
			}
			continue
		}
		if _, err := io.WriteString(server, line); err != nil {
			return
		}
	}
}

// A temporary refusal of the server is not the mail's fault either.
func TestARefusalOfTheServerThatPassesNeverCostsAReply(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := practice.New()
		if err := box.AddUser("rounds@example.org", password); err != nil {
			t.Fatal(err)
		}
		smtp, imap := practice.NewPipe(), practice.NewPipe()
		box.Serve(smtp, imap)
		defer box.Close()
		keeper := strings.NewReplacer("[mail.in]\nmaildir = \"in\"\ntrust = \"token\"\n",
			"[mail.in]\nimap = \"127.0.0.1:143\"\nsecurity = \"none\"\nuser = \"rounds@example.org\"\npassword_env = \"NESTROUND_TEST_PASSWORD\"\ntrust = \"token\"\n").
			Replace(fmt.Sprintf(smallBooks, "UTC", "06:00"))
		t.Setenv("NESTROUND_TEST_PASSWORD", password)
		var down atomic.Bool
		w := watch(t, keeper, Options{Dial: func(ctx context.Context, network, addr string) (net.Conn, error) {
			server, err := imap.DialContext(ctx, network, addr)
			if err != nil {
				return nil, err
			}
			near, far := net.Pipe()
			go refusing(far, server, &down)
			return near, nil
		}})
		defer w.stop()
		wait(time.Minute)
		down.Store(true)
		for n := range 5 {
			if err := box.Deliver("rounds@example.org", w.say(fmt.Sprintf("reply%d", n), fmt.Sprintf("done %d", n+1))); err != nil {
				t.Fatal(err)
			}
			wait(3 * time.Hour)
		}
		if l := w.h.StandingTroubles(time.UTC); len(l) != 1 || !strings.Contains(l[0].Message, "replies cannot be read") {
			t.Errorf("check shows %v", l)
		}
		down.Store(false)
		wait(time.Hour)
		got := w.recorded()
		for n := range 5 {
			if id := fmt.Sprintf("reply%d", n); got[id] != 1 {
				t.Errorf("%s is recorded %d times", id, got[id])
			}
		}
		if l := w.h.StandingTroubles(time.UTC); len(l) != 0 {
			t.Errorf("check still shows %v", l)
		}
		if t.Failed() {
			t.Logf("log:\n%s", w.log)
		}
	})
}

// An answer that cannot be written keeps no reply from being recorded. It is
// written when that is possible, also if the program was ended meanwhile.
func TestAnAnswerThatCannotBeWrittenIsWrittenLater(t *testing.T) {
	for _, c := range []struct {
		part      string
		restarted bool
	}{{"state/outbox/", false}, {"state/.answers.json", false}, {"state/outbox/", true}, {"state/.answers.json", true}} {
		t.Run(fmt.Sprintf("%s restarted %t", c.part, c.restarted), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &fullDisk{}
				var taken []Taken
				w := watch(t, "", Options{Files: disk.Files{Ops: d}, Taken: func(x Taken) { taken = append(taken, x) }})
				defer func() { w.stop() }()
				wait(time.Minute)
				if _, err := w.h.DeliverMail(t.Context()); err != nil {
					t.Fatal(err)
				}
				d.set(c.part)
				w.deliver("one", "done 1")
				w.deliver("two", "done 2")
				wait(24 * time.Hour)
				if got := w.recorded(); got["one"] != 1 || got["two"] != 1 {
					t.Errorf("recorded: %v", got)
				}
				if len(taken) != 2 || len(taken[0].Accepted) != 1 || taken[0].Ignored != "" {
					t.Errorf("told as taken: %+v", taken)
				}
				if l := w.h.StandingTroubles(time.UTC); len(l) != 1 || !strings.Contains(l[0].Message, "their answers cannot be written") {
					t.Errorf("check shows %v", l)
				}
				if c.restarted {
					w.stop()
					d.set()
					w.start(Options{Files: disk.Files{Ops: d}})
				}
				d.set()
				wait(time.Hour)
				if _, err := w.h.DeliverMail(t.Context()); err != nil {
					t.Fatal(err)
				}
				answered := make(map[string]int)
				for _, m := range sent(t, w.dir) {
					for _, id := range m.InReplyTo {
						answered[id]++
					}
				}
				if answered["one@phone.example.org"] != 1 || answered["two@phone.example.org"] != 1 {
					t.Errorf("answered: %v\n%s", answered, w.log)
				}
			})
		})
	}
}

// replies from the shell tells what was recorded, and then that the answers are
// missing.
func TestRepliesThatAreRecordedAreNotToldAsFailed(t *testing.T) {
	d := &fullDisk{}
	dir := small(t, "UTC", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{Ops: d})
	i := issued(t, h)
	for _, id := range []string{"one", "two"} {
		if err := os.WriteFile(filepath.Join(dir, "in", "new", id), answer(t, i, id, "2027-05-12T07:00:00Z", "done 1"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	d.set("/outbox/")
	var taken []Taken
	err := h.ReadReplies(t.Context(), Reading{}, func(x Taken) { taken = append(taken, x) })
	var owed *OwedError
	if !errors.As(err, &owed) || len(taken) != 2 || len(taken[0].Accepted) != 1 {
		t.Errorf("error %v, taken %+v", err, taken)
	}
	// The next time the answers are written.
	d.set()
	again := open(t, dir, clock("2027-05-12T09:30:00Z"), disk.Files{Ops: d})
	if err := again.ReadReplies(t.Context(), Reading{}, func(x Taken) { taken = append(taken, x) }); err != nil || len(taken) != 4 || !taken[2].Repeated {
		t.Errorf("the next time: error %v, taken %+v", err, taken)
	}
	if _, err := again.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	answers := 0
	for _, m := range sent(t, dir) {
		answers += len(m.InReplyTo)
	}
	if answers != 2 {
		t.Errorf("%d answers left, want 2", answers)
	}
}

// An entry that no daybook can hold is the mail's fault.
func TestMailsFaultIsOnlyTheMailsOwn(t *testing.T) {
	var fault interface{ MailsFault() bool }
	if err := error(mailsFault{errors.New("x")}); !errors.As(fmt.Errorf("take: %w", takeError{err}), &fault) || !fault.MailsFault() {
		t.Error("the mail's fault is not found through the errors around it")
	}
	d := &fullDisk{}
	dir := small(t, "UTC", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{Ops: d})
	i := issued(t, h)
	d.set("/daybook/")
	if _, err := h.TakeMail(answer(t, i, "one", "2027-05-12T07:00:00Z", "done 1"), false); err == nil || errors.As(err, &fault) {
		t.Errorf("a full disk: %v", err)
	}
}

// panickingDisk stands for a fault of the program: it panics when the daybook is
// written.
type panickingDisk struct {
	disk.System
	panics bool
}

func (d *panickingDisk) OpenFile(name string, flag int, perm os.FileMode) (disk.File, error) {
	if d.panics && strings.Contains(filepath.ToSlash(name), "/daybook/") {
		panic("a fault of the program")
	}
	return d.System.OpenFile(name, flag, perm)
}

// A mail at which the program fails stands in the next digest and in check, and
// counts when the program can take it.
func TestAMailThatIsSetAsideIsToldAndTakenLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &panickingDisk{}
		w := watch(t, "", Options{Files: disk.Files{Ops: d}})
		w.stop()
		w.deliver("bad", "done 1")
		inbox, err := w.h.Inbox(Reading{})
		if err != nil {
			t.Fatal(err)
		}
		d.panics = true
		for range mailin.Attempts {
			if err := inbox.Read(t.Context(), server{w.h}.take); err != nil {
				t.Fatal(err)
			}
		}
		if l := AsideMails(w.h); len(l) != 1 || !strings.Contains(l[0].Message, "bad: panic: a fault of the program") {
			t.Errorf("check shows %v", l)
		}
		told := "A mail of keeper@example.org"
		if got := noticesOf(t, w.h); strings.Count(got, told) != 1 || !strings.Contains(got, "is set aside") {
			t.Errorf("the digest does not tell it:\n%s", got)
		}
		d.panics = false
		var taken []Taken
		if err := w.h.ReadReplies(t.Context(), Reading{Again: true}, func(x Taken) { taken = append(taken, x) }); err != nil {
			t.Fatal(err)
		}
		if len(taken) != 1 || len(taken[0].Accepted) != 1 || w.recorded()["bad"] != 1 {
			t.Errorf("taken %+v, recorded %v", taken, w.recorded())
		}
		if l := AsideMails(w.h); len(l) != 0 {
			t.Errorf("check still shows %v", l)
		}
		if got := noticesOf(t, w.h); strings.Contains(got, told) {
			t.Errorf("the digest still tells it:\n%s", got)
		}
	})
}

// A mail that cannot be read stands in the next digest, and is answered if its
// sender is believed.
func TestAMailThatCannotBeReadIsTold(t *testing.T) {
	long := strings.Repeat("All is well with the lizards.\n", 10_000)
	for _, c := range []struct {
		name, told string
		answered   bool
		change     func(raw string) string
	}{
		{"a text too large", "could not be read: its text is longer than 256 KB", true,
			func(raw string) string { return plainMail(raw, "", long) }},
		{"a damaged encoding", "could not be read: its base64 encoding is damaged", true,
			func(raw string) string {
				return plainMail(raw, "Content-Transfer-Encoding: base64\r\n", "ZG9uZSAx!!!!")
			}},
		{"broken parts", "could not be read: its parts are damaged", true,
			func(raw string) string { return plainMail(raw, "Content-Type: multipart/mixed\r\n", "done 1") }},
		{"no text", "could not be read: it holds no text", true,
			func(raw string) string { return plainMail(raw, "Content-Type: image/png\r\n", "x") }},
		{"two From fields", "could not be read: it has 2 From fields where one is allowed", false,
			func(raw string) string { return "From: other@example.org\r\n" + raw }},
		{"two senders", "could not be read: its From field names 2 people where one is allowed", false,
			func(raw string) string {
				return strings.Replace(raw, "From: <keeper@", "From: <other@example.org>, <keeper@", 1)
			}},
		{"a header too large", "could not be read: its header is larger than 64 KB", false,
			func(raw string) string {
				return strings.Replace(raw, "\r\n\r\n", "\r\n"+strings.Repeat("X: "+strings.Repeat("x", 900)+"\r\n", 80)+"\r\n", 1)
			}},
		{"a stranger's broken mail", "", false, func(string) string {
			return "From: other@example.org\r\nFrom: third@example.org\r\nTo: keeper@example.org\r\nMessage-ID: <s@example.org>\r\n\r\ndone 1\r\n"
		}},
		{"a machine's broken mail", "", false, func(raw string) string {
			return "Auto-Submitted: auto-replied\r\nFrom: other@example.org\r\n" + raw
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := small(t, "UTC", "06:00")
			at := &movable{}
			at.set("2027-05-12T06:30:00Z")
			h := open(t, dir, at.now, disk.Files{})
			i := issued(t, h)
			raw := c.change(string(answer(t, i, "one", "2027-05-12T07:02:00Z", "done 1")))
			taken, err := h.TakeMail([]byte(raw), false)
			if err != nil || taken.Ignored == "" || len(taken.Accepted) > 0 {
				t.Fatalf("taken: %+v, %v", taken, err)
			}
			if _, err := h.DeliverMail(t.Context()); err != nil {
				t.Fatal(err)
			}
			at.set("2027-05-13T06:00:00Z")
			got := noticesOf(t, h)
			if c.told == "" && strings.Contains(got, "Nothing in it was recorded") || c.told != "" && strings.Count(got, c.told) != 1 {
				t.Errorf("the digest tells:\n%s", got)
			}
			mails := sent(t, dir)
			if len(mails) != 1 && !c.answered || c.answered && len(mails) != 2 {
				t.Fatalf("%d mails left", len(mails))
			}
			if !c.answered {
				return
			}
			text := strings.Join(strings.Fields(strings.Join(mails[1].Lines, " ")), " ")
			if !strings.Contains(text, "Your mail of Wed 12 May 07:02 "+c.told) || !strings.Contains(text, "as plain text in a new reply, at most 256 KB") {
				t.Errorf("the answer says:\n%s", text)
			}
		})
	}
}

// plainMail replaces the Content fields and the body of a mail.
func plainMail(raw, fields, body string) string {
	header, _, _ := strings.Cut(raw, "\r\n\r\n")
	lines := slices.DeleteFunc(strings.Split(header, "\r\n"), func(l string) bool {
		return strings.HasPrefix(l, "Content-") || strings.HasPrefix(l, " ") || strings.HasPrefix(l, "\t")
	})
	return strings.Join(lines, "\r\n") + "\r\n" + fields + "\r\n" + body
}

// A reply beside pictures of any size counts, from the mailbox and from a file.
func TestAReplyWithLargePicturesCounts(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	i := issued(t, h)
	picture := strings.Repeat(strings.Repeat("A", 76)+"\r\n", 100_000)
	large := func(id, words string) string {
		raw := string(answer(t, i, id, "2027-05-12T07:00:00Z", "x"))
		return plainMail(raw, "Content-Type: multipart/mixed; boundary=b\r\n",
			"--b\r\nContent-Type: image/jpeg\r\nContent-Transfer-Encoding: base64\r\n\r\n"+picture+"--b\r\nContent-Type: text/plain\r\n\r\n"+words+"\r\n--b--\r\n")
	}
	taken, err := h.TakeMailFrom(strings.NewReader(large("file", "done 1")), false)
	if err != nil || len(taken.Accepted) != 1 {
		t.Errorf("from a file: %+v, %v", taken, err)
	}
	if err := os.WriteFile(filepath.Join(dir, "in", "new", "x"), []byte(large("box", "done 2")), 0o600); err != nil {
		t.Fatal(err)
	}
	var all []Taken
	if err := h.ReadReplies(t.Context(), Reading{}, func(x Taken) { all = append(all, x) }); err != nil || len(all) != 1 || len(all[0].Accepted) != 1 {
		t.Errorf("from the mailbox: %+v, %v", all, err)
	}
}

// Of a mail whose text is too large to be fetched, only the header is known. It
// is told and answered like any other mail that cannot be read.
func TestAMailTooLargeToBeFetchedIsTold(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	at := clock("2027-05-12T06:30:00Z")
	h := open(t, dir, at, disk.Files{})
	i := issued(t, h)
	raw := plainMail(string(answer(t, i, "huge", "2027-05-12T07:00:00Z", "x")), "", strings.Repeat("done 1\r\n", 2*mailin.MaxSize/8))
	if err := os.WriteFile(filepath.Join(dir, "in", "new", "x"), []byte(raw), 0o600); err != nil {
		t.Fatal(err)
	}
	var all []Taken
	if err := h.ReadReplies(t.Context(), Reading{}, func(x Taken) { all = append(all, x) }); err != nil || len(all) != 1 || len(all[0].Accepted) != 0 || !strings.Contains(all[0].Ignored, "longer than 256 KB") {
		t.Errorf("taken %+v, %v", all, err)
	}
	if got := noticesOf(t, h); !strings.Contains(got, "A mail of keeper@example.org (Wed 12 May 06:30) could not be read: its text is longer than 256 KB") {
		t.Errorf("the digest tells:\n%s", got)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if mails := sent(t, dir); len(mails) != 2 || !strings.Contains(strings.Join(mails[1].Lines, " "), "could not be read") {
		t.Errorf("%d mails left, want the digest and an answer", len(mails))
	}
}

// Nobody can flood the digest, and no flood drops a mail that was believed.
func TestAFloodOfMailsIsCounted(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	at := &movable{}
	at.set("2027-05-12T06:30:00Z")
	h := open(t, dir, at.now, disk.Files{})
	i := issued(t, h)
	take := func(raw string) {
		t.Helper()
		if _, err := h.TakeMail([]byte(raw), false); err != nil {
			t.Fatal(err)
		}
	}
	for n := range 200 {
		take(fmt.Sprintf("From: keeper@example.org\r\nMessage-ID: <f%d@example.org>\r\n\r\nforged words\r\n", n))
	}
	for n := range 30 {
		take(string(answer(t, i, fmt.Sprintf("prose%d", n), "2027-05-12T07:00:00Z", fmt.Sprintf("The vet comes on day %d.", n))))
	}
	at.set("2027-05-13T06:00:00Z")
	got := noticesOf(t, h)
	if n := strings.Count(got, "not believed"); n != unbelievedTold+1 {
		t.Errorf("%d mails that were not believed are told", n)
	}
	if n := strings.Count(got, "The vet comes on day"); n != 30 {
		t.Errorf("%d of 30 believed mails are told", n)
	}
	if want := fmt.Sprintf("And %d more such mails", 200-unbelievedTold); !strings.Contains(got, want) {
		t.Errorf("the digest does not say %q:\n%s", want, got)
	}
	if strings.Contains(got, "forged words") {
		t.Error("the digest quotes a mail that was not believed")
	}
	issued(t, h)
	at.set("2027-05-14T06:00:00Z")
	if got := noticesOf(t, h); strings.Contains(got, "not believed") || strings.Contains(got, "The vet") {
		t.Errorf("the mails are told again:\n%s", got)
	}
}

// All words that got no answer stand in the next digest, also those after the
// day's last answer.
func TestWordsAfterTheLastAnswerStandInTheDigest(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	at := &movable{}
	at.set("2027-05-12T06:30:00Z")
	h := open(t, dir, at.now, disk.Files{})
	i := issued(t, h)
	for n := range answersADay + 3 {
		raw := answer(t, i, fmt.Sprintf("r%d", n), "2027-05-12T07:00:00Z", fmt.Sprintf("done %d\ndone %d flew away", n+1, 100+n))
		if taken, err := h.TakeMail(raw, false); err != nil || len(taken.Accepted) != 1 || len(taken.Refused) == 0 {
			t.Fatalf("taken: %+v, %v", taken, err)
		}
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	answersSent := ""
	for _, m := range sent(t, dir)[1:] {
		answersSent += strings.Join(m.Lines, "\n")
	}
	at.set("2027-05-13T06:00:00Z")
	got := noticesOf(t, h)
	for n := range answersADay + 3 {
		words := fmt.Sprintf("done %d flew away", 100+n)
		if strings.Contains(answersSent, words) == strings.Contains(got, words) {
			t.Errorf("%q: in an answer %v, in the digest %v", words, strings.Contains(answersSent, words), strings.Contains(got, words))
		}
	}
}

// The file of unread mails of earlier versions is a list.
func TestUnreadMailsOfEarlierVersionsAreTold(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	if err := os.MkdirAll(filepath.Join(dir, "state"), 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "state", "unread.json"), `[{"id": "a@b", "from": "keeper@example.org", "at": "2027-05-11T07:00:00Z", "why": "nothing in it was a command", "lines": ["The vet comes."]}]`)
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	if got := noticesOf(t, h); !strings.Contains(got, "The vet comes.") {
		t.Errorf("the digest tells:\n%s", got)
	}
}

// Whatever is wrong with the small files, no reply is lost and the digest
// leaves.
func TestFilesOfTheStateThatCannotBeUsedCostNoReply(t *testing.T) {
	for _, name := range []string{"answers.json", "unread.json", "mailbox.json", "troubles.json"} {
		for _, damage := range []string{"", "{", "null", "[]", "{}", `{"mails": 3}`, "\x00\x00\x00", "a folder"} {
			t.Run(name+" "+damage, func(t *testing.T) {
				dir := small(t, "UTC", "06:00")
				h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
				i := issued(t, h)
				path := filepath.Join(dir, "state", name)
				os.Remove(path)
				if damage == "a folder" {
					if err := os.Mkdir(path, 0o755); err != nil {
						t.Fatal(err)
					}
				} else {
					write(t, path, damage)
				}
				raw := answer(t, i, "one", "2027-05-12T07:00:00Z", "done 1\n\nand this is nothing")
				taken, err := h.TakeMail(raw, false)
				var owed *OwedError
				if err != nil && !errors.As(err, &owed) || len(taken.Accepted) != 1 {
					t.Errorf("taken: %+v, %v", taken, err)
				}
				if _, _, err := h.Draft(); err != nil {
					t.Errorf("the digest: %v", err)
				}
				if entries, _, err := readDaybook(dir); err != nil || len(entries) != 1 {
					t.Errorf("daybook: %v, %v", entries, err)
				}
			})
		}
	}
}
