package house

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/notify/calendar"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/disk"
)

// stateFiles are the files that a start reads back. N stands for the name of a
// waiting mail, and D for the issue of the day.
var stateFiles = []string{
	"mailbox.json", "unread.json", "answers.json", "troubles.json", "alive.json", "lock", "serving",
	"outbox/sent.json", "outbox/N.mail", "outbox/N.try", "outbox/failed/N.json", "outbox/failed/N.mail",
	"digests/D.json", "digests/D.answers.json", "digests/D.mail1.json", "digests/2027-05-11.A2C3.json",
	"calendar/calendar-revisions.json", "calendar/calendar-links.json", "calendar/calendar-fetches.json", "calendar/install",
	"cache/days", "cache/history",
}

// unsynced is the real disk without its slowest operation.
type unsynced struct{ disk.System }

func (unsynced) SyncDir(string) error { return nil }

func (u unsynced) OpenFile(name string, flag int, perm fs.FileMode) (disk.File, error) {
	f, err := u.System.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err
	}
	return unsyncedFile{f}, nil
}

type unsyncedFile struct{ disk.File }

func (unsyncedFile) Sync() error { return nil }

// A file of the state with any content stops no work for ever: the program goes
// on, or every answer is an error. Then a reply is recorded once or refused with
// an error, and with the file removed it is recorded once.
func FuzzStateFiles(f *testing.F) {
	dir := small(f, "UTC", "06:00")
	h := open(f, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	i := issued(f, h)
	if _, err := h.Publisher().File(calendar.Scope{}); err != nil {
		f.Fatal(err)
	}
	mails, err := filepath.Glob(filepath.Join(dir, "state", "outbox", "*.mail"))
	if err != nil || len(mails) != 1 {
		f.Fatal(mails, err)
	}
	place := strings.NewReplacer("N", strings.TrimSuffix(filepath.Base(mails[0]), ".mail"), "D", "2027-05-12."+i.ID)
	for n, name := range stateFiles {
		path := filepath.Join(dir, "state", name)
		if slash := strings.LastIndexByte(name, '/'); slash >= 0 {
			path = filepath.Join(dir, "state", name[:slash], place.Replace(name[slash+1:]))
		}
		if b, err := os.ReadFile(path); err == nil {
			f.Add(uint(n), b)
		}
		for _, s := range []string{"[null]", "{ half of"} {
			f.Add(uint(n), []byte(s))
		}
	}
	for n, s := range []string{
		"", "{}", "null", `{"attempts":-9e99,"next":"9999-12-31T23:59:59Z"}`, `{"ids":null,"done":-1}`, `[{"id":1}]`, strings.Repeat("[", 20000),
		`{"attempts":9223372036854775807,"last":"0001-01-01T00:00:00Z","next":"9999-12-31T23:59:59.999999999Z","error":"x"}`,
		`{"mailbox":"x","uid_validity":4294967295,"uid_next":4294967295,"failed":{"-1":99},"names":[""]}`,
	} {
		f.Add(uint(n), []byte(s))
	}
	raw := answer(f, i, "one", "2027-05-12T07:00:00Z", "done 1\nnobody understands this")
	f.Fuzz(func(t *testing.T, which uint, data []byte) {
		name := stateFiles[which%uint(len(stateFiles))]
		if slash := strings.LastIndexByte(name, '/'); slash >= 0 {
			name = name[:slash+1] + place.Replace(name[slash+1:])
		}
		root := copyOf(t, dir)
		path := filepath.Join(root, "state", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		work := func(all bool) error {
			h, problems, err := Open(root, Options{Now: clock("2027-05-13T07:30:00Z"), Files: disk.Files{Ops: unsynced{}}})
			if err != nil || h == nil {
				if err == nil && !problems.HasErrors() {
					t.Fatal("no books and no reason")
				}
				return err
			}
			taken, err := h.TakeMail(raw, false)
			if err == nil && taken.Ignored == "" && recordedIn(t, root)["one@phone.example.org"] != 1 {
				t.Errorf("taken, and not recorded: %+v", taken)
			}
			if !all {
				return err
			}
			h.ReadReplies(t.Context(), Reading{}, func(Taken) {})
			h.Morning(time.Time{})
			h.DeliverMail(t.Context())
			if strings.HasPrefix(name, "calendar") {
				h.Publisher().File(calendar.Scope{})
				h.Publisher().Links().List()
			}
			h.CheckWires()
			return err
		}
		work(true)
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
		// Without the issue's own file the reply answers no digest.
		if strings.HasPrefix(name, "digests/") {
			return
		}
		if err := work(false); err != nil {
			t.Errorf("with %s removed: %v", name, err)
		}
		if n := recordedIn(t, root)["one@phone.example.org"]; n != 1 {
			t.Errorf("with %s removed, the reply is recorded %d times", name, n)
		}
	})
}

// Any words from a shell or a mail are recorded or refused. What is recorded can
// be written to the daybook, and the answer to the words holds no command.
func FuzzWords(f *testing.F) {
	dir := small(f, "UTC", "06:00")
	h := open(f, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	i := issued(f, h)
	for _, s := range []string{
		"done 1 3-5", "all but 4", "7 laid 6 and 2 slugs", "F01 laid 6", "E02 added 60 ml", "note 2 female digging", "undo 3", "later 2 friday",
		"done 3-65", "two ill", "done \u0661", "done 1\u202e 2", "skip 2 \u2028done 3", "> done 1", "1/2 done", "done 999999999999999999999", "M01 died", "F01 weighs 4e3 g",
		"done 1,2,3 done 4;5", "done one two", "F01 shed stuck: toes\tand\x00tail",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, words string) {
		if len(words) > 16<<10 {
			return
		}
		said, err := h.Take(Message{ID: "x", Words: words, Via: tasks.ViaShell, By: "keeper@example.org", Issue: &i, Dry: true})
		if err != nil {
			t.Fatal(err)
		}
		s := h.Snapshot()
		numbers := make(map[int]bool)
		for _, item := range i.Items {
			numbers[item.N] = true
		}
		for _, a := range said.Accepted {
			if a.Task == "" || a.N != 0 && !numbers[a.N] {
				t.Errorf("%q marks %+v", words, a)
			}
			if s.Outcome(a) == "" {
				t.Errorf("%q: nothing can be said of %+v", words, a)
			}
		}
		if _, err := json.Marshal(said); err != nil {
			t.Error(err)
		}
		text := answerText(s, Taken{From: "keeper@example.org", Accepted: said.Accepted, Refused: said.Refused}, i, i.Sent)
		own := strings.Join(reply.Own(strings.Split(text, "\n"), nil), "\n") // as a mail would be read that repeats the answer
		if p := reply.Parse(own, newJudge(s).known()); len(p.Commands) > 0 {
			t.Errorf("the answer to %q holds %v:\n%s", words, p.Commands, text)
		}
	})
}
