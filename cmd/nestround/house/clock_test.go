package house

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

// wrongClock is a house whose clock the test sets.
type wrongClock struct {
	*House
	t   *testing.T
	dir string
	now time.Time
}

func withClock(t *testing.T, now string) *wrongClock {
	w := &wrongClock{t: t, dir: small(t, "UTC", "06:00")}
	w.set(now)
	w.restart()
	return w
}

func (w *wrongClock) restart() {
	w.t.Helper()
	w.House = open(w.t, w.dir, func() time.Time { return w.now }, disk.Files{})
}

func (w *wrongClock) set(now string) {
	w.t.Helper()
	at, err := time.Parse("2006-01-02 15:04", now)
	if err != nil {
		w.t.Fatal(err)
	}
	w.now = at
}

// mark says words in the shell and returns the tag of the new entry.
func (w *wrongClock) mark(words string) (tag string) {
	w.t.Helper()
	said, err := w.Take(Message{Words: words, Via: tasks.ViaShell, By: "keeper"})
	if err != nil || len(said.Refused) > 0 || len(said.Accepted) == 0 {
		w.t.Fatalf("%q at %s: %+v, %v", words, w.now, said, err)
	}
	entries, _, err := daybook.Read(w.dir)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, e := range entries {
		if e.At.Equal(w.now) && e.Via == tasks.ViaShell && e.Acts[len(e.Acts)-1].Text == said.Accepted[len(said.Accepted)-1].Command {
			tag = tasks.Tag(e.ID)
		}
	}
	return tag
}

// weights returns the weights of F1 that count on a day.
func (w *wrongClock) weights(on string) string {
	w.t.Helper()
	w.set(on + " 12:00")
	if _, err := w.Refresh(); err != nil {
		w.t.Fatal(err)
	}
	var all []string
	for _, f := range w.Snapshot().said.history.Before(civil.MustParse(on).AddDays(1)).Found() {
		if f.Finding.Weighs != nil {
			all = append(all, fmt.Sprint(*f.Finding.Weighs))
		}
	}
	return strings.Join(all, " ")
}

func (w *wrongClock) warnings() string {
	var all []string
	for _, p := range append(ClockProblems(w.House), w.StandingTroubles(time.UTC)...) {
		all = append(all, p.Message)
	}
	return strings.Join(all, "\n")
}

// The clock was ahead while the keeper marked. When it is right again, the marks
// are told, and never begin to count, unless the keeper says so.
func TestMarksUnderAClockThatWasAhead(t *testing.T) {
	for ahead, late := range map[string]string{"2027-05-13": "2027-05-14", "2027-06-12": "2027-06-13", "2032-05-12": "2032-05-13"} {
		t.Run("until "+ahead, func(t *testing.T) {
			w := withClock(t, "2027-05-11 08:00")
			w.mark("F01 weighs 40 g")
			w.set(ahead + " 08:00")
			first := w.mark("F01 weighs 41 g")
			second := w.mark("note F01 digs")
			w.set("2027-05-12 08:00")
			w.restart()
			w.mark("F01 weighs 42 g")
			if got := w.weights("2027-05-12"); got != "40 42" {
				t.Errorf("today the weights are %s", got)
			}
			warnings := w.warnings()
			for _, want := range []string{"entry " + first + " is dated", "entry " + second + " is dated", "later than the day on which it was written, so it does not count", "say: undo "} {
				if !strings.Contains(warnings, want) {
					t.Errorf("%q is missing:\n%s", want, warnings)
				}
			}
			// The morning after tells it once, in words that command nothing.
			w.set("2027-05-12 09:00")
			m, _, err := w.Draft()
			if err != nil || !strings.Contains(m.Text, first) {
				t.Errorf("the digest says (%v)\n%s", err, m.Text)
			}
			if _, err := w.Morning(time.Time{}); err != nil {
				t.Fatal(err)
			}
			if got := w.weights(late); got != "40 42" {
				t.Errorf("when its day has come, the weights are %s", got)
			}
			w.set(late + " 13:00")
			w.restart()
			w.mark("note " + "F01 is well") // opens the books for writing again
			if got := w.weights(late); got != "40 42" {
				t.Errorf("after another mark, the weights are %s", got)
			}
			// It was right after all.
			_, back, _ := strings.Cut(lineWith(warnings, first), "say: undo ")
			w.mark("undo " + back)
			w.set(late + " 14:00")
			w.mark("note F01 eats")
			if got := w.weights(late); got != "40 42 41" && got != "40 41 42" {
				t.Errorf("when the keeper lets it count, the weights are %s", got)
			}
			if strings.Contains(w.warnings(), first) {
				t.Errorf("it is still told:\n%s", w.warnings())
			}
		})
	}
}

func lineWith(text, word string) string {
	for line := range strings.Lines(text) {
		if strings.Contains(line, "entry "+word+" ") {
			return strings.TrimSpace(line)
		}
	}
	return ""
}

// The clock is behind: at its beginning after a loss of power, or by a month. The
// entries and digests of the right clock stay, and the trouble is told. The marks
// made meanwhile are told, and can be taken back.
func TestMarksUnderAClockThatIsBehind(t *testing.T) {
	for _, behind := range []string{"1970-01-01", "2020-01-01", "2027-04-12"} {
		t.Run(behind, func(t *testing.T) {
			w := withClock(t, "2027-05-10 08:00")
			w.mark("F01 weighs 40 g")
			w.set("2027-05-11 08:00")
			w.mark("F01 weighs 41 g")
			w.set(behind + " 00:10")
			w.restart()
			wrong := w.mark("F01 weighs 42 g")
			if got := w.warnings(); !strings.Contains(got, "this machine's clock shows") || !strings.Contains(got, "entry "+wrong+" is dated") {
				t.Errorf("while the clock is behind, it says\n%s", got)
			}
			w.set("2027-05-12 08:00")
			w.restart()
			w.mark("note " + "F01 is well")
			if got := w.weights("2027-05-12"); !strings.Contains(got, "40 41") {
				t.Errorf("the weights are %s", got)
			}
			warnings := w.warnings()
			if strings.Contains(warnings, "this machine's clock shows") || !strings.Contains(warnings, "say: undo "+wrong) {
				t.Errorf("when the clock is right again, it says\n%s", warnings)
			}
			w.set("2027-05-12 08:30")
			w.mark("undo entry " + wrong)
			if got := w.weights("2027-05-12"); got != "40 41" {
				t.Errorf("when it is taken back, the weights are %s", got)
			}
			if got := w.warnings(); got != "" {
				t.Errorf("it still says\n%s", got)
			}
		})
	}
}

// Clocks that are only set, and the hour that comes twice in autumn, are right.
func TestClocksThatAreRight(t *testing.T) {
	w := withClock(t, "2027-10-31 00:30") // in Vienna, 02:30 in summer time
	w.mark("F01 weighs 40 g")
	for _, now := range []string{"2027-10-31 00:25", "2027-10-31 01:15", "2027-10-31 01:10", "2027-11-01 06:00"} {
		w.set(now)
		w.restart()
		w.mark("note F01 digs")
		if got := w.warnings(); got != "" {
			t.Errorf("at %s it says\n%s", now, got)
		}
	}
}

// A digest that was sent under a clock that was ahead is no digest of that day,
// but replies to it find their numbers.
func TestADigestUnderAClockThatWasAhead(t *testing.T) {
	w := withClock(t, "2027-06-12 06:00")
	early := issued(t, w.House)
	w.set("2027-05-12 06:00")
	w.restart()
	if _, err := w.Morning(time.Time{}); err != nil {
		t.Fatal(err)
	}
	taken, err := w.TakeMail(answer(t, early, "a", "2027-05-12T06:00:00Z", fmt.Sprintf("note %d seen", early.Items[0].N)), false)
	if err != nil || taken.Ignored != "" || len(taken.Accepted) != 1 {
		t.Fatalf("%+v, %v", taken, err)
	}
	entries, _, err := daybook.Read(w.dir)
	if err != nil || len(entries) != 1 || entries[0].On != civil.MustParse("2027-05-12") || entries[0].At.After(w.now.Add(2*time.Hour)) {
		t.Errorf("recorded %+v, %v", entries, err)
	}
	w.set("2027-06-12 06:00")
	w.restart()
	if new, err := w.Morning(time.Time{}); !new || err != nil {
		t.Errorf("when the day has come, the digest is written: %v (%v)", new, err)
	}
	if i, ok := w.issues.ByID(early.ID); !ok || !i.Early {
		t.Errorf("the early digest is %+v, %v", i, ok)
	}
}

// A phone whose clock is a month ahead does not make entries for next month.
func TestAMailFromAPhoneThatIsAhead(t *testing.T) {
	w := withClock(t, "2027-05-12 06:00")
	i := issued(t, w.House)
	w.set("2027-05-12 07:00")
	taken, err := w.TakeMail(answer(t, i, "a", "2027-06-12T07:00:00Z", fmt.Sprintf("note %d seen", i.Items[0].N)), false)
	if err != nil || len(taken.Accepted) != 1 {
		t.Fatalf("%+v, %v", taken, err)
	}
	entries, _, err := daybook.Read(w.dir)
	if err != nil || len(entries) != 1 || !entries[0].At.Equal(w.now) || entries[0].On != civil.MustParse("2027-05-12") {
		t.Errorf("recorded %+v, %v", entries, err)
	}
}

// The keeper takes an entry back, is told what it was, and takes that back too.
func TestAnEntryIsTakenBackByItsTag(t *testing.T) {
	w := withClock(t, "2027-05-12 08:00")
	tag := w.mark("F01 weighs 41 g")
	w.set("2027-05-12 09:00")
	say := func(words string) Said {
		t.Helper()
		said, err := w.Take(Message{Words: words, Via: tasks.ViaShell})
		if err != nil {
			t.Fatal(err)
		}
		return said
	}
	said := say("undo " + strings.ToLower(tag))
	if len(said.Accepted) != 1 || w.Snapshot().Outcome(said.Accepted[0]) != "taken back: what was said on 12 May 2027 08:00 about F01" || w.weights("2027-05-12") != "" {
		t.Fatalf("%+v; weights %s", said, w.weights("2027-05-12"))
	}
	w.set("2027-05-12 09:01")
	no := say("undo entry " + tag)
	if len(no.Refused) != 1 || !strings.Contains(no.Refused[0].Why, "is taken back already; to let it count again, take back entry ") {
		t.Fatalf("again: %+v", no)
	}
	other := no.Refused[0].Why[strings.LastIndex(no.Refused[0].Why, " ")+1:]
	said = say("undo entry " + other)
	if len(said.Accepted) != 1 || !strings.Contains(said.Accepted[0].Back, "entry "+tag+", which counts again") || w.weights("2027-05-12") != "41" {
		t.Errorf("%+v; weights %s", said, w.weights("2027-05-12"))
	}
	if no := say("undo entry K7Q2M4"); len(no.Refused) != 1 || no.Refused[0].Why != "the daybook has no entry K7Q2M4" {
		t.Errorf("an unknown tag: %+v", no)
	}
}

// Without state/clock.json nothing is told, and nothing is lost.
func TestClockFileIsGone(t *testing.T) {
	w := withClock(t, "2027-06-12 08:00")
	w.mark("F01 weighs 41 g")
	w.set("2027-05-12 08:00")
	w.mark("F01 weighs 42 g")
	if err := os.Remove(w.state("clock.json")); err != nil {
		t.Fatal(err)
	}
	w.restart()
	w.set("2027-06-12 09:00")
	w.mark("note F01 digs")
	if got := w.weights("2027-06-12"); got != "42" {
		t.Errorf("the weights are %s", got)
	}
}
