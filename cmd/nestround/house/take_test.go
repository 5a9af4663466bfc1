package house

import (
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
