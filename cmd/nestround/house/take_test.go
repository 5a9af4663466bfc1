package house

import (
	"fmt"
	"strings"
	"testing"

	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/disk"
)

// A page names a task by its key. The mark works as with a number, under the
// same conditions. A message with an id counts once.
func TestTakeByKey(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	water := tasks.Key("E01/water/2027-05-12")
	done := reply.Command{Verb: reply.Done}
	m := Message{ID: "p.1", Via: tasks.ViaPage, By: "keeper", Keyed: []Keyed{{water, done}, {"E77/water/2027-05-12", done}}}
	status := func() tasks.Status {
		s := h.Snapshot()
		for _, r := range s.Board(s.Today()).Rows {
			if r.Key == water {
				return r.Status
			}
		}
		t.Fatalf("%s is not on the board", water)
		return ""
	}
	m.Dry = true
	if said, err := h.Take(m); err != nil || len(said.Accepted) != 1 || status() != tasks.Due {
		t.Fatalf("dry: %+v, %v, %s", said, err, status())
	}
	m.Dry = false
	before := h.Snapshot()
	said, err := h.Take(m)
	if err != nil || said.Repeated || len(said.Accepted) != 1 || said.Accepted[0].Task != water || status() != tasks.Done {
		t.Fatalf("%+v, %v, %s", said, err, status())
	}
	if len(said.Refused) != 1 || said.Refused[0].Why != "there is no such task" {
		t.Errorf("refused: %+v", said.Refused)
	}
	for _, r := range before.Board(before.Today()).Rows {
		if r.Key == water && r.Status != tasks.Due {
			t.Errorf("a snapshot of before says %s", r.Status)
		}
	}
	if again, err := h.Take(m); err != nil || !again.Repeated {
		t.Errorf("again: %+v, %v", again, err)
	}
	if n := len(h.Snapshot().said.entries); n != 1 {
		t.Errorf("%d entries", n)
	}
}

// Whatever a message has, the work and the answer are bounded, and nothing is
// marked that was not named for certain.
func TestAnswersToAnyMessageAreShort(t *testing.T) {
	dir := small(t, "UTC", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	all := len(h.Snapshot().Board(h.Snapshot().Today()).Rows)
	various := ""
	for n := range 200 {
		various += fmt.Sprintf("done 1 %d\n", 1000+n)
	}
	for name, c := range map[string]struct {
		words             string
		accepted, refused int
	}{
		"a range that ends in nothing":   {"done 1-2000", 0, 1},
		"a range of a billion":           {"done 1-1000000000", 0, 1},
		"a number of twenty figures":     {"done 99999999999999999999", 0, 1},
		"unknown numbers in a list":      {"done 1 2001 2002 3003", 1, 1},
		"200 ranges that end in nothing": {strings.Repeat("done 1-9999\n", 200), 0, 31},
		"ten thousand lines":             {strings.Repeat("done\n", 10_000), 0, 31},
		"ten thousand lines of prose":    {strings.Repeat("fed\n", 10_000), 0, 31},
		"ten thousand times all":         {strings.Repeat("all\n", 10_000), 0, 1},
		"200 commands, half of them off": {various, 200, 31},
		"numbers alone":                  {strings.Repeat("1 2 3\n", 5000), 0, 31},
	} {
		said, err := h.Take(Message{Words: c.words, Via: tasks.ViaShell, Dry: true})
		if err != nil || len(said.Refused) != c.refused || len(said.Accepted) != c.accepted {
			t.Errorf("%s: %d accepted of %d, %d refused: %.300v (%v)", name, len(said.Accepted), all, len(said.Refused), said.Refused, err)
		}
		for _, r := range said.Refused {
			if len(r.Text) > 300 || len(r.Why) > 300 {
				t.Errorf("%s: a refusal of %d bytes", name, len(r.Text)+len(r.Why))
			}
		}
	}
}
