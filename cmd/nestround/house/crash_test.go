package house

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

func copyOf(t testing.TB, dir string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

// hashOf returns equal hashes for folders with the same files.
func hashOf(t testing.TB, dir string) [sha256.Size]byte {
	t.Helper()
	all := sha256.New()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil || e.IsDir() {
			fmt.Fprintf(all, "%q\n", rel)
			return err
		}
		b, err := os.ReadFile(path)
		fmt.Fprintf(all, "%q %x\n", rel, sha256.Sum256(b))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return [sha256.Size]byte(all.Sum(nil))
}

// stopEverywhere runs do on a copy of the books in dir and stops it before its
// kth operation on the disk, for every k. It calls check with every folder that
// a crash of any kind may leave. told says whether do had reported success.
// Many crashes leave the same folder; check sees each folder once.
func stopEverywhere(t *testing.T, dir string, do func(h *House) error, check func(t *testing.T, left string, told bool)) {
	t.Helper()
	now := clock("2027-05-12T07:30:00+02:00")
	type outcome struct {
		left [sha256.Size]byte
		told bool
	}
	checked := make(map[outcome]bool)
	for k := 1; ; k++ {
		finished := false
		for _, half := range []bool{false, true} {
			root := copyOf(t, dir)
			d := disktest.New(t, root)
			h := open(t, root, now, disk.Files{Ops: d})
			d.Stop(k, half)
			err := do(h)
			finished = !d.Stopped()
			for _, crash := range disktest.Crashes() {
				left := d.After(t, crash)
				found := outcome{hashOf(t, left), err == nil}
				if checked[found] {
					continue
				}
				checked[found] = true
				t.Run(fmt.Sprintf("operation %d, half %v, %v", k, half, crash), func(t *testing.T) {
					t.Parallel()
					check(t, left, found.told)
				})
			}
			if log := d.Log(); finished || !strings.HasPrefix(log[len(log)-1], "write") {
				break // only a write can be incomplete
			}
		}
		if finished {
			if k < 10 {
				t.Errorf("it took only %d operations; is it written through the shim?", k)
			}
			return
		}
	}
}

// The program is stopped at any point while it takes a reply, with any state of
// the disk afterwards. The mailbox then delivers the mail again, and the reply
// is recorded once. A reply that was reported as taken needs no second
// delivery.
func TestAReplySurvivesEveryCrash(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	h := open(t, dir, clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	i := issued(t, h)
	raw := answer(t, i, "one", "2027-05-12T07:00:00+02:00", "done 1\n\nnobody understands this")
	recorded := func(t *testing.T, dir string) int {
		entries, _, err := daybook.Read(dir)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, e := range entries {
			if e.ID == "one@phone.example.org" && len(e.Acts) == 1 && e.Acts[0].Mark == tasks.MarkDone {
				n++
			}
		}
		return n
	}
	stopEverywhere(t, dir, func(h *House) error {
		_, err := h.TakeMail(raw, false)
		return err
	}, func(t *testing.T, left string, told bool) {
		if told && recorded(t, left) != 1 {
			t.Fatalf("the mailbox was told that the reply is taken, and it is recorded %d times", recorded(t, left))
		}
		again := open(t, left, clock("2027-05-12T07:40:00+02:00"), disk.Files{})
		if _, err := again.TakeMail(raw, false); err != nil {
			t.Fatal(err)
		}
		if n := recorded(t, left); n != 1 {
			t.Errorf("after the mail came again it is recorded %d times", n)
		}
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		answers := 0
		for _, m := range sent(t, left) {
			if len(m.InReplyTo) > 0 && m.InReplyTo[0] == "one@phone.example.org" {
				answers++
			}
		}
		if answers != 1 {
			t.Errorf("%d answers left, want one", answers)
		}
	})
}

// The program is stopped at any point while it writes a digest. The digest has
// one set of numbers and is sent once.
func TestADigestSurvivesEveryCrash(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	stopEverywhere(t, dir, func(h *House) error {
		_, err := h.Morning(time.Time{})
		return err
	}, func(t *testing.T, left string, told bool) {
		again := open(t, left, clock("2027-05-12T07:40:00+02:00"), disk.Files{})
		before, had := again.Snapshot().TodaysIssue()
		if told && !had {
			t.Fatal("the digest was reported as issued, and is not there")
		}
		after := issued(t, again)
		if had && after.ID != before.ID {
			t.Errorf("issued as %s and again as %s", before.ID, after.ID)
		}
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		if mails := sent(t, left); len(mails) != 1 || mails[0].MessageID != after.MessageID {
			t.Errorf("%d digests left", len(mails))
		}
		if files, _ := filepath.Glob(filepath.Join(left, "state", "digests", "2027-05-12.*.json")); len(files) > 4 {
			t.Errorf("%d files remain of one digest: %v", len(files), files)
		}
	})
}

// The digest of the day before has not left when the program is stopped at any
// point while it writes the digest of today. Yesterday's digest never leaves
// later, today's leaves once, and it tells once that yesterday's did not leave.
func TestAWithdrawnDigestSurvivesEveryCrash(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	yesterday := issued(t, open(t, dir, clock("2027-05-11T06:30:00+02:00"), disk.Files{}))
	stopEverywhere(t, dir, func(h *House) error {
		_, err := h.Morning(time.Time{})
		return err
	}, func(t *testing.T, left string, _ bool) {
		again := open(t, left, clock("2027-05-12T07:40:00+02:00"), disk.Files{})
		today := issued(t, again)
		if today.ID == yesterday.ID {
			t.Fatal("no digest was issued today")
		}
		if _, err := again.DeliverMail(t.Context()); err != nil {
			t.Fatal(err)
		}
		mails := sent(t, left)
		if len(mails) != 1 || mails[0].MessageID != today.MessageID {
			t.Fatalf("%d mails left: %v", len(mails), mails)
		}
		if n := strings.Count(strings.Join(mails[0].Lines, " "), "did not leave"); n != 1 {
			t.Errorf("today's digest tells %d times that yesterday's did not leave:\n%s", n, strings.Join(mails[0].Lines, "\n"))
		}
	})
}
