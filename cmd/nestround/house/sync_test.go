package house

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestround/notify/calendar"
	"nestround/tasks"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

// failEverywhere lets every operation on the disk fail once while do runs, for
// every kind of error, and lets the program go on. It then runs do again, as the
// program or the keeper does, and calls check with the books. If do reported no
// error the first time, what it did must survive a power cut at that moment:
// check also gets those books, without a second run.
func failEverywhere(t *testing.T, dir, at string, do func(h *House) error, check func(t *testing.T, dir string)) {
	t.Helper()
	// The mails that leave are on another machine, which knows no power cut.
	afterCut := func(t *testing.T, d *disktest.Disk, root string) string {
		left := d.After(t, disktest.OnlySynced)
		if err := os.RemoveAll(filepath.Join(left, "out")); err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(filepath.Join(left, "out"), os.DirFS(filepath.Join(root, "out"))); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
		return left
	}
	for k := 1; ; k++ {
		root := copyOf(t, dir)
		d := disktest.New(t, root)
		h := open(t, root, clock(at), disk.Files{Ops: d})
		d.Fail(k, syscall.EIO, true)
		err := do(h)
		log := d.Log()
		if len(log) < k {
			if k < 7 {
				t.Errorf("it took only %d operations; is it written through the shim?", k)
			}
			return
		}
		t.Run(fmt.Sprintf("operation %d, %s", k, log[k-1]), func(t *testing.T) {
			if err == nil {
				check(t, afterCut(t, d, root))
			}
			if strings.HasPrefix(log[k-1], "sync daybook") && err == nil {
				t.Error("the sync of the daybook failed, and that was told to nobody")
			}
			if err := do(h); err != nil {
				t.Fatalf("the next time: %v", err)
			}
			check(t, afterCut(t, d, root))
			// A new process finds the same.
			again := open(t, root, clock(at), disk.Files{})
			if err := do(again); err != nil {
				t.Fatalf("after a start: %v", err)
			}
			check(t, root)
		})
	}
}

func recordedIn(t *testing.T, dir string) map[string]int {
	t.Helper()
	entries, _, err := readDaybook(dir)
	if err != nil {
		t.Fatal(err)
	}
	n := make(map[string]int)
	for _, e := range entries {
		n[e.ID]++
	}
	return n
}

const failingAt = "2027-05-12T07:30:00+02:00"

func TestEveryFailingOperationOfAReply(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	raw := answer(t, issued(t, h), "one", "2027-05-12T07:00:00+02:00", "done 1\n\nnobody understands this")
	failEverywhere(t, dir, failingAt, func(h *House) error {
		_, err := h.TakeMail(raw, false)
		return err
	}, func(t *testing.T, dir string) {
		if n := recordedIn(t, dir)["one@phone.example.org"]; n != 1 {
			t.Errorf("the reply is recorded %d times", n)
		}
		again := open(t, copyOf(t, dir), clock(failingAt), disk.Files{})
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		answers := 0
		for _, m := range sent(t, again.Dir) {
			if len(m.InReplyTo) > 0 {
				answers++
			}
		}
		if answers != 1 {
			t.Errorf("%d answers left", answers)
		}
	})
}

func TestEveryFailingOperationOfAMark(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	failEverywhere(t, dir, failingAt, func(h *House) error {
		_, err := h.Take(Message{ID: "a tap", Words: "note E01 basking", Via: tasks.ViaShell, By: "keeper"})
		return err
	}, func(t *testing.T, dir string) {
		if n := recordedIn(t, dir)["a tap"]; n != 1 {
			t.Errorf("the mark is recorded %d times", n)
		}
	})
}

func TestEveryFailingOperationOfADigest(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	failEverywhere(t, dir, failingAt, func(h *House) error {
		_, err := h.Morning(time.Time{})
		return err
	}, func(t *testing.T, dir string) {
		again := open(t, copyOf(t, dir), clock(failingAt), disk.Files{})
		i := issued(t, again)
		if all := allIssues(readIssues(t, dir)); len(all) != 1 || all[0].ID != i.ID {
			t.Errorf("%d digests, and the next start knows %s", len(all), i.ID)
		}
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		if mails := sent(t, again.Dir); len(mails) != 1 || mails[0].MessageID != i.MessageID {
			t.Errorf("%d digests left", len(mails))
		}
	})
}

func TestEveryFailingOperationOfSending(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	failEverywhere(t, dir, failingAt, func(h *House) error {
		// The pause after a failed attempt counts from the simulated time,
		// which stands still here.
		_, err := h.dispatch.outbox.Deliver(t.Context(), carrier{h}, h.now)
		return err
	}, func(t *testing.T, dir string) {
		again := open(t, copyOf(t, dir), clock("2027-05-12T08:30:00+02:00"), disk.Files{})
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		if mails := sent(t, again.Dir); len(mails) != 1 || mails[0].MessageID != i.MessageID {
			t.Errorf("%d digests left", len(mails))
		}
	})
}

func TestEveryFailingOperationOfACalendar(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	before, err := h.Publisher().File(calendar.Scope{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Take(Message{Words: "done 1", Via: tasks.ViaShell, By: "keeper"}); err != nil {
		t.Fatal(err)
	}
	var published []byte
	failEverywhere(t, dir, failingAt, func(h *House) error {
		b, err := h.Publisher().File(calendar.Scope{})
		if err == nil {
			published = b
		}
		return err
	}, func(t *testing.T, dir string) {
		if string(published) == string(before) {
			t.Error("the calendar has not changed")
		}
		again, err := open(t, copyOf(t, dir), clock(failingAt), disk.Files{}).Publisher().File(calendar.Scope{})
		if err != nil || string(again) != string(published) {
			t.Errorf("published, and after a power cut another text or revision: %v", err)
		}
	})
}
