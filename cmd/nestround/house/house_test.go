package house

import (
	"cmp"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

// smallBooks has two enclosures. Every day has water for each enclosure and the
// thermometers. The scale is checked on the 30th, and one female is close to
// laying.
const smallBooks = `
zone = "%s"
began = 1985-01-01

[digest]
at = "%s"
from = "nestround <rounds@example.org>"
to = ["keeper@example.org"]

[mail.out]
maildir = "out"

[mail.in]
maildir = "in"
trust = "token"

[[room]]
id = "south"
name = "South room"

[[enclosure]]
id = "E01"
room = "south"

[[enclosure]]
id = "E02"
room = "south"
nest_box = { substrate = "sand" }

[[animal]]
id = "M01"
species = "wall-lizard"
sex = "male"
enclosure = "E01"

[[animal]]
id = "F01"
species = "wall-lizard"
sex = "female"
enclosure = "E02"
breeding = true
gravid = 2027-05-01

[[routine]]
id = "scale"
kind = "own"
scope = "room"
title = "Check the scale with its weight"
month_days = [30]
missed = "stays"

[[routine]]
id = "thermometers"
kind = "own"
scope = "room"
title = "Read the thermometers"
every = "1 day"
from = 1985-01-01
missed = "lapses"
`

// small writes small books into a new folder.
func small(t testing.TB, zone, at string) string {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "keeper.toml"), fmt.Sprintf(smallBooks, zone, at))
	for _, f := range []string{"in/new", "in/cur", "in/tmp"} {
		if err := os.MkdirAll(filepath.Join(dir, f), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// open opens the books in dir with the clock at now.
func open(t testing.TB, dir string, now func() time.Time, files disk.Files) *House {
	t.Helper()
	h, problems, err := Open(dir, Options{Now: now, Files: files, Log: slog.New(slog.DiscardHandler)})
	if err != nil || h == nil {
		t.Fatalf("open the books: %v\n%v", err, problems)
	}
	return h
}

func clock(s string) func() time.Time {
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return func() time.Time { return at }
}

// sent returns the mails that were delivered into the Maildir, oldest first.
func sent(t testing.TB, dir string) []reply.Mail {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "out", "new", "*"))
	if err != nil {
		t.Fatal(err)
	}
	var mails []reply.Mail
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := reply.Read(raw)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		mails = append(mails, m)
	}
	slices.SortFunc(mails, func(a, b reply.Mail) int {
		return cmp.Or(a.Date.Compare(b.Date), len(a.InReplyTo)-len(b.InReplyTo)) // the digest before its answers
	})
	return mails
}

// answer composes the keeper's reply to an issue.
func answer(t testing.TB, i notify.Issue, id, at, words string) []byte {
	t.Helper()
	date, err := time.Parse(time.RFC3339, at)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := mailout.Compose(notify.Message{
		ID: id + "@phone.example.org", Date: date, From: "keeper@example.org", To: notify.PlusAddress("rounds@example.org", i.Token),
		Subject: "Re: " + notify.SubjectTag(i.ID), InReplyTo: i.MessageID, Text: words + "\n",
	})
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// numberOf returns the number of a task of an issue.
func numberOf(t testing.TB, i notify.Issue, subject, routine string) int {
	t.Helper()
	for _, item := range i.Items {
		if string(item.Task.Subject()) == subject && string(item.Task.Routine()) == routine {
			return item.N
		}
	}
	t.Fatalf("no %s of %s among %v", routine, subject, i.Items)
	return 0
}

func issued(t testing.TB, h *House) notify.Issue {
	t.Helper()
	if _, err := h.Morning(time.Time{}); err != nil {
		t.Fatal(err)
	}
	i, ok := h.Snapshot().TodaysIssue()
	if !ok {
		t.Fatal("no digest was issued")
	}
	return i
}

// picture prints the result of the books: the board and the clutches, without
// times of reading.
func picture(h *House, on civil.Date) string {
	var b strings.Builder
	for _, r := range h.Snapshot().Board(on).Rows {
		fmt.Fprintln(&b, r.N, r.Key, r.Status, r.Due, r.Why)
	}
	for _, t := range h.Snapshot().Ahead(on, on.AddDays(30)) {
		fmt.Fprintln(&b, t.Key, t.Due, t.Why)
	}
	for _, c := range h.Snapshot().Clutches(on) {
		fmt.Fprintf(&b, "%+v\n", c)
	}
	return b.String()
}

func TestAReplyFromMailToTomorrow(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	watch := numberOf(t, i, "F01", "lay-watch")
	water := numberOf(t, i, "E01", "water")
	raw := answer(t, i, "one", "2027-05-12T07:00:00+02:00",
		fmt.Sprintf("Good morning,\n\n%d laid 5 and 1 slug\ndone %d\n%d flew away\n\nOn Wed, nestround wrote:\n> done %d", watch, water, watch, water+1))
	taken, err := h.TakeMail(raw, false)
	if err != nil || taken.Ignored != "" || len(taken.Accepted) != 2 || len(taken.Refused) != 1 {
		t.Fatalf("taken: %+v, %v", taken, err)
	}
	keys := make(map[tasks.Key]tasks.Status)
	for _, r := range h.Snapshot().Board(h.Snapshot().Today()).Rows {
		keys[r.Key] = r.Status
	}
	for key, want := range map[tasks.Key]tasks.Status{
		"F01/lay-watch/2027-05-12":    tasks.Done,
		"F01-2027-05-12/set-tub/laid": tasks.Due,
	} {
		if keys[key] != want {
			t.Errorf("%s is %q, want %q", key, keys[key], want)
		}
	}
	// The same mail again, as IMAP may deliver it after a crash.
	again, err := h.TakeMail(raw, false)
	if err != nil || !again.Repeated {
		t.Errorf("the same mail again: %+v, %v", again, err)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	mails := sent(t, dir)
	if len(mails) != 2 {
		t.Fatalf("%d mails left, want the digest and one answer", len(mails))
	}
	text := strings.Join(mails[1].Lines, "\n")
	for _, want := range []string{"eggs: 5", "slugs: 1", "flew away", "marked as done", "Set the eggs in their tub: clutch F01-2027-05-12"} {
		if !strings.Contains(text, want) {
			t.Errorf("the answer does not say %q:\n%s", want, text)
		}
	}
	if p := reply.Parse(text, newJudge(h.Snapshot()).known()); len(p.Commands) > 0 {
		t.Errorf("the answer holds commands: %v\n%s", p.Commands, text)
	}
	// A reply to the answer is read as well, even if it quotes the answer
	// without quotation marks.
	third := answer(t, i, "three", "2027-05-12T08:00:00+02:00", fmt.Sprintf("undo %d\n\n%s", watch, text))
	if taken, err := h.TakeMail(third, false); err != nil || len(taken.Accepted) != 1 || len(taken.Refused) != 0 {
		t.Errorf("a reply that quotes our answer: %+v, %v", taken, err)
	}
	if len(h.Snapshot().Clutches(h.Snapshot().Today())) != 0 {
		t.Error("the clutch is still there after the finding was taken back")
	}
}

// TestStuckShedIsAnsweredWithItsCaution: the answer contains the caution, and
// none of its lines reads as a command, however a mail program breaks the
// lines.
func TestStuckShedIsAnsweredWithItsCaution(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	raw := answer(t, issued(t, h), "one", "2027-05-12T07:00:00+02:00", "F01 shed stuck: left hind toes")
	if taken, err := h.TakeMail(raw, false); err != nil || len(taken.Accepted) != 1 {
		t.Fatalf("taken: %+v, %v", taken, err)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	mails := sent(t, dir)
	text := strings.Join(strings.Fields(strings.Join(mails[len(mails)-1].Lines, " ")), " ")
	want := "[F01] F01: the shed is stuck, note: left hind toes. Stuck shed on toes or tail cuts off the blood"
	if !strings.Contains(text, want) || !strings.Contains(text, "see a veterinarian.") {
		t.Errorf("the answer does not say %q:\n%s", want, text)
	}
	for width := 20; width <= 100; width++ {
		broken, line := "", ""
		for w := range strings.FieldsSeq(text) {
			if len(line)+1+len(w) > width {
				broken, line = broken+line+"\n", w
				continue
			}
			line += " " + w
		}
		if p := reply.Parse(broken+line, newJudge(h.Snapshot()).known()); len(p.Commands) > 0 {
			t.Errorf("broken at %d the answer holds commands: %v\n%s", width, p.Commands, broken)
		}
	}
}

func TestMailsThatDoNotCount(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	good := string(answer(t, i, "good", "2027-05-12T07:00:00+02:00", "done 1"))
	for _, c := range []struct{ name, raw, why string }{
		{"a stranger", strings.Replace(good, "From: <keeper@", "From: <other@", 1), "not a keeper"},
		{"a vacation answer", "Auto-Submitted: auto-replied\r\n" + good, "automatic"},
		{"our own digest come back", strings.Replace(good, "good@phone.example.org", i.MessageID, 1), "own mail"},
		{"no digest named", string(mustCompose(t, notify.Message{ID: "x@phone.example.org", Date: h.now(), From: "keeper@example.org",
			To: "rounds@example.org", Subject: "hello", Text: "done 1\n"})), "no token of a digest"},
		{"not a mail", "garbage", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			taken, err := h.TakeMail([]byte(c.raw), false)
			if err != nil {
				t.Fatal(err)
			}
			if taken.Ignored == "" || !strings.Contains(taken.Ignored, c.why) || len(taken.Accepted) > 0 {
				t.Errorf("taken: %+v", taken)
			}
		})
	}
	// One of the mails has the keeper's address as its sender, and another one
	// the token of the digest. The next digest tells them, without their words.
	c, _, err := h.edition(h.Snapshot(), i).content(nil)
	if err != nil || len(c.Notices) != 2 {
		t.Errorf("notices: %+v, %v", c.Notices, err)
	}
	for _, n := range c.Notices {
		if !strings.Contains(n.Text, "not believed") || len(n.Quotes) > 0 {
			t.Errorf("notice: %+v", n)
		}
	}
	if entries, problems, err := readDaybook(dir); err != nil || len(entries) > 0 || len(problems) > 0 {
		t.Errorf("daybook: %v %v %v", entries, problems, err)
	}
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := len(sent(t, dir)); n != 1 {
		t.Errorf("%d mails left, want the digest alone: nobody of these is answered", n)
	}
}

func mustCompose(t testing.TB, m notify.Message) []byte {
	t.Helper()
	raw, err := mailout.Compose(m)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// The next digest shows a mail that was not understood and not answered, once.
func TestNextDigestShowsUnreadMail(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	at := clock("2027-05-12T06:30:00+02:00")
	h := open(t, dir, func() time.Time { return at() }, disk.Files{})
	i := issued(t, h)
	if _, err := h.DeliverMail(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := h.TakeMail(answer(t, i, "prose", "2027-05-12T07:00:00+02:00", "The vet comes on Friday."), false); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		now  string
		want int
	}{{"2027-05-13T06:00:00+02:00", 1}, {"2027-05-14T06:00:00+02:00", 0}} {
		at = clock(c.now)
		issued(t, h)
		if _, err := h.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		mails := sent(t, dir)
		text := strings.Join(mails[len(mails)-1].Lines, "\n")
		if got := strings.Count(text, "The vet comes on Friday."); got != c.want {
			t.Errorf("on %s the mail is quoted %d times, want %d", c.now, got, c.want)
		}
	}
}

func readDaybook(dir string) ([]tasks.Entry, []daybook.Problem, error) { return daybook.Read(dir) }

// A damaged file of the state is set aside, and the work continues.
func TestWorkContinuesWithDamagedState(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	for _, name := range []string{"answers.json", "unread.json", "mailbox.json", "digests/2027-05-11.A2C3.json"} {
		write(t, filepath.Join(dir, "state", name), "{ half of")
	}
	h = open(t, dir, clock("2027-05-12T07:30:00+02:00"), disk.Files{})
	taken, err := h.TakeMail(answer(t, i, "one", "2027-05-12T07:00:00+02:00", "done 1\n\nand this is nothing"), false)
	if err != nil || len(taken.Accepted) != 1 {
		t.Errorf("a reply: %+v, %v", taken, err)
	}
	if err := h.ReadReplies(t.Context(), Reading{}, func(Taken) {}); err != nil {
		t.Errorf("the mailbox: %v", err)
	}
	if _, _, err := h.Draft(); err != nil {
		t.Errorf("the digest: %v", err)
	}
	for _, name := range []string{"answers.json", "unread.json", "mailbox.json"} {
		if _, err := os.Stat(filepath.Join(dir, "state", name+".corrupt-1")); err != nil {
			t.Errorf("%s was not set aside: %v", name, err)
		}
	}
}

// A reply may be about a clutch that was withdrawn after the digest. The keeper
// is told so, and nothing is recorded that nobody would see.
func TestReplyAboutAWithdrawnClutch(t *testing.T) {
	at := clock("2027-05-12T06:30:00+02:00")()
	h := open(t, small(t, "Europe/Vienna", "06:00"), func() time.Time { return at }, disk.Files{})
	mark := func(words string) Said {
		t.Helper()
		at = at.Add(time.Minute)
		said, err := h.Take(Message{Words: words, Via: tasks.ViaShell, By: "keeper"})
		if err != nil {
			t.Fatal(err)
		}
		return said
	}
	mark("F01 laid 5")
	i := issued(t, h)
	tub := numberOf(t, i, "F01-2027-05-12", "set-tub")
	say := func(id, words string) Taken {
		t.Helper()
		taken, err := h.TakeMail(answer(t, i, id, "2027-05-12T08:00:00+02:00", words), true)
		if err != nil {
			t.Fatal(err)
		}
		return taken
	}
	dead := fmt.Sprintf("%d dead 1", tub)
	if taken := say("before", dead); len(taken.Accepted) != 1 || len(taken.Refused) != 0 {
		t.Errorf("of a clutch that is there: %+v", taken)
	}
	if said := mark("undo F01"); len(said.Accepted) != 1 {
		t.Fatalf("%+v", said)
	}
	taken := say("after", dead)
	if len(taken.Accepted) != 0 || len(taken.Refused) != 1 || !strings.Contains(taken.Refused[0].Why, "there is no clutch F01-2027-05-12 any more") {
		t.Errorf("of a clutch taken back: %+v", taken)
	}
}
