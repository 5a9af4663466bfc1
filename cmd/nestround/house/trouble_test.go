package house

import (
	"bytes"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nestround/tasks/disk"
)

// fullDisk refuses all changes below its folders while it is full.
type fullDisk struct {
	disk.System
	mu   sync.Mutex
	full []string // parts of paths
}

func (d *fullDisk) set(parts ...string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.full = parts
}

func (d *fullDisk) refuses(name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, p := range d.full {
		if strings.Contains(filepath.ToSlash(name), p) {
			return &os.PathError{Op: "write", Path: name, Err: errors.New("no space left on device")}
		}
	}
	return nil
}

func (d *fullDisk) OpenFile(name string, flag int, perm os.FileMode) (disk.File, error) {
	if err := d.refuses(name); err != nil {
		return nil, err
	}
	return d.System.OpenFile(name, flag, perm)
}

// movable is a clock that a test moves.
type movable struct {
	mu sync.Mutex
	at time.Time
}

func (c *movable) now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.at }

func (c *movable) set(s string) {
	at := clock(s)()
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}

// noticesOf returns the notices of the digest of today as one text.
func noticesOf(t *testing.T, h *House) string {
	t.Helper()
	m, _, err := h.Draft()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(m.Text), " ")
}

func TestATroubleIsLoggedOnceAndToldUntilADigestHasToldItsEnd(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	at := &movable{}
	at.set("2027-05-12T02:10:00+02:00")
	var log bytes.Buffer
	h, problems, err := Open(dir, Options{Now: at.now, Log: slog.New(slog.NewTextHandler(&log, nil))})
	if h == nil {
		t.Fatal(problems, err)
	}
	other := open(t, dir, at.now, disk.Files{})
	for range 5 {
		h.trouble(partReplies, `replies cannot be recorded: write "daybook/.2027.jsonl.ABCDEFGHIJ.nestround-part": no space left on device (attempt 3)`)
		h.trouble(partReplies, `replies cannot be recorded: write "daybook/.2027.jsonl.KLMNOPQRST.nestround-part": no space left on device (attempt 4)`)
	}
	if n := strings.Count(log.String(), "in trouble"); n != 1 {
		t.Errorf("the log has the trouble %d times:\n%s", n, log.String())
	}
	if l := other.StandingTroubles(time.UTC); len(l) != 1 || !strings.HasPrefix(l[0].Message, "since Wed 12 May 00:10: replies cannot be recorded") {
		t.Errorf("check of another process shows %v", l)
	}
	if got := noticesOf(t, other); !strings.Contains(got, "Trouble since Wed 12 May 02:10: replies cannot be recorded") {
		t.Errorf("the digest does not tell the trouble:\n%s", got)
	}

	at.set("2027-05-12T03:15:00+02:00")
	for range 3 {
		h.mended(partReplies)
	}
	if n := strings.Count(log.String(), "is over"); n != 1 {
		t.Errorf("the log has the end %d times:\n%s", n, log.String())
	}
	if l := other.StandingTroubles(time.UTC); len(l) != 0 {
		t.Errorf("check still shows %v", l)
	}
	told := "Trouble from Wed 12 May 02:10 to 03:15: replies cannot be recorded"
	at.set("2027-05-12T06:00:00+02:00")
	if _, err := h.Morning(time.Time{}); err != nil {
		t.Fatal(err)
	}
	if got := noticesOf(t, other); !strings.Contains(got, told) {
		t.Errorf("today's digest does not tell the end of the trouble:\n%s", got)
	}
	at.set("2027-05-13T06:00:00+02:00")
	if got := noticesOf(t, other); strings.Contains(got, "Trouble") {
		t.Errorf("the next digest tells the trouble again:\n%s", got)
	}
}

func TestATroubleOfTheDiskItselfIsKeptInMemoryAndWrittenLater(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	d := &fullDisk{}
	at := clock("2027-05-12T02:10:00+02:00")
	h := open(t, dir, at, disk.Files{Ops: d})
	other := open(t, dir, at, disk.Files{})
	d.set("troubles.json")
	h.trouble(partDaybook, "entries cannot be written")
	other.trouble(partMail, "mail cannot leave")
	if n := len(h.Troubles()); n != 2 {
		t.Errorf("the process with the full disk knows %d troubles, want 2", n)
	}
	d.set()
	h.mended(partWatch)
	if l := other.Troubles(); len(l) != 2 {
		t.Errorf("the other process knows %v, want both troubles", l)
	}
}

func TestTroublesOfManyWritersAreAllKept(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	at := clock("2027-05-12T02:10:00+02:00")
	parts := []part{partReplies, partMail, partDigest, partBooks, partDaybook, partClock, partWatch, partState, partServe}
	houses := []*House{open(t, dir, at, disk.Files{}), open(t, dir, at, disk.Files{})}
	var all sync.WaitGroup
	for i, p := range parts {
		if partWords[p].hint == "" {
			t.Errorf("part %s has no advice for check", p)
		}
		all.Go(func() { houses[i%2].trouble(p, "it cannot work") })
	}
	all.Wait()
	if n := len(open(t, dir, at, disk.Files{}).Troubles()); n != len(parts) {
		t.Errorf("%d troubles are kept, want %d", n, len(parts))
	}
}

func TestATroubleThatComesAndGoesIsOneLine(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	at := &movable{}
	at.set("2027-05-12T01:00:00+02:00")
	h := open(t, dir, at.now, disk.Files{})
	for range 30 {
		h.trouble(partMail, "mail cannot leave: the connection was closed")
		at.at = at.at.Add(time.Minute)
		h.mended(partMail)
	}
	if got := noticesOf(t, h); strings.Count(got, "Trouble") != 1 || !strings.Contains(got, "from Wed 12 May 01:00 to 01:30, 30 times:") {
		t.Errorf("the digest tells it so:\n%s", got)
	}
}

// A damaged file of the state is set aside, which the keeper learns from the
// next digest and from check.
func TestADamagedFileOfTheStateIsTold(t *testing.T) {
	for _, name := range []string{"unread.json", "troubles.json"} {
		t.Run(name, func(t *testing.T) {
			dir := small(t, "Europe/Berlin", "06:00")
			at := &movable{}
			at.set("2027-05-12T05:00:00+02:00")
			if err := os.MkdirAll(filepath.Join(dir, "state"), 0o755); err != nil {
				t.Fatal(err)
			}
			write(t, filepath.Join(dir, "state", name), `[{"part": "mail"`)
			h := open(t, dir, at.now, disk.Files{})
			told := "the file state/" + name + " was damaged and was set aside as state/" + name + ".corrupt-1"
			if got := noticesOf(t, h); !strings.Contains(got, told) {
				t.Errorf("the digest does not tell it:\n%s", got)
			}
			if l := h.StandingTroubles(time.UTC); len(l) != 1 || !strings.Contains(l[0].Message, told) {
				t.Errorf("check shows %v", l)
			}
			if _, err := h.Morning(time.Time{}); err != nil {
				t.Fatal(err)
			}
			at.set("2027-05-13T05:00:00+02:00")
			if l := h.StandingTroubles(time.UTC); len(l) != 0 {
				t.Errorf("check still shows %v", l)
			}
			if got := noticesOf(t, h); strings.Contains(got, told) {
				t.Errorf("a second digest tells it:\n%s", got)
			}
		})
	}
}
