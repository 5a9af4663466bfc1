package house

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"nestround/config/diag"
	"nestround/tasks"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

// check finds every operation on the disk that fails, tells it with the right
// weight, and leaves nothing behind.
func TestCheckTriesTheDisk(t *testing.T) {
	used := small(t, "Europe/Berlin", "06:00")
	h := open(t, used, clock(failingAt), disk.Files{})
	issued(t, h)
	if _, err := h.Take(Message{Words: "note E01 basking", Via: tasks.ViaShell, By: "keeper"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, dir string
		folders   []string
		with      syscall.Errno
		serving   bool
		severity  diag.Severity
		hint      string
	}{
		{"a failing disk", used, []string{"daybook", "state"}, syscall.EIO, false, diag.Error, "look at the disk"},
		{"a full disk", used, []string{"daybook", "state"}, syscall.ENOSPC, false, diag.Error, "make room"},
		{"a full quota", used, []string{"daybook", "state"}, syscall.EDQUOT, false, diag.Error, "make room"},
		{"a copy to be looked at", used, []string{"daybook", "state"}, syscall.EROFS, false, diag.Warning, "can still be looked at"},
		{"a disk that became read-only under serve", used, []string{"daybook", "state"}, syscall.EROFS, true, diag.Error, "mount the disk for writing"},
		{"the books of another user", used, []string{"daybook", "state"}, syscall.EACCES, true, diag.Warning, "as that user"},
		{"books that were never served", small(t, "Europe/Berlin", "06:00"), []string{"."}, syscall.EIO, false, diag.Error, "look at the disk"},
	} {
		t.Run(c.name, func(t *testing.T) {
			operations := 1
			for k := 0; k <= operations; k++ {
				dir := copyOf(t, c.dir)
				if c.serving {
					lock, err := disk.Files{}.Acquire(filepath.Join(dir, "state", "serving"), 0)
					if err != nil {
						t.Fatal(err)
					}
					defer lock.Release()
				}
				before := hashOf(t, dir)
				d := disktest.New(t, dir)
				h := open(t, dir, clock(failingAt), disk.Files{Ops: d})
				d.Fail(k, c.with, true)
				list := Unwritable(h)
				log := d.Log()
				if k == 0 { // none fails
					if operations = len(log); operations < 6*len(c.folders) || len(list) > 0 {
						t.Fatalf("%d operations, and these problems: %v", operations, list)
					}
				} else {
					folder := c.folders[(k-1)*len(c.folders)/operations]
					if len(list) != 1 || list[0].File != folder || list[0].Severity != c.severity || !strings.Contains(list[0].Hint, c.hint) ||
						!strings.HasSuffix(list[0].Message, ": "+c.with.Error()) {
						t.Errorf("operation %d, %s: %+v", k, log[k-1], list)
					}
				}
				if k > 0 && strings.HasPrefix(log[k-1], "remove") {
					continue
				}
				if hashOf(t, dir) != before {
					t.Errorf("operation %d, %v: a file is left behind", k, log)
				}
			}
		})
	}
}

// Books with errors keep nobody from learning what else is wrong.
func TestCheckTellsTroublesOfBooksWithErrors(t *testing.T) {
	dir := small(t, "Europe/Berlin", "06:00")
	h := open(t, dir, clock("2027-05-12T05:00:00+02:00"), disk.Files{})
	h.trouble(partReplies, "replies cannot be read: the login was refused")
	newWatcher(h).look(t.Context()) // as serve does
	write(t, filepath.Join(dir, "broken.toml"), "[[enclosure]\n")
	d := &fullDisk{}
	d.set("/state/")
	got, service, list, err := Check(dir, Options{Now: clock("2027-05-12T07:00:00+02:00"), Files: disk.Files{Ops: d}})
	if got != nil || err != nil || !list.HasErrors() {
		t.Fatal(got, err, list)
	}
	if a, running, ok := service.LastRan(); running || !ok || a.Seen.IsZero() {
		t.Errorf("of serve it knows %+v, %t, %t", a, running, ok)
	}
	var told strings.Builder
	if err := list.Print(&told); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"broken.toml:1", "since Wed 12 May 05:00: replies cannot be read", "the folder cannot be written", "serve is not running", "it last ran on Wed 12 May 05:00",
	} {
		if !strings.Contains(told.String(), want) {
			t.Errorf("check does not tell %q:\n%s", want, &told)
		}
	}
}
