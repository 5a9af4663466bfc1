package disk_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

func write(t *testing.T, path, content string, perm fs.FileMode) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), perm); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, perm); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// list returns the names of the files below dir, sorted.
func list(t *testing.T, dir string) []string {
	t.Helper()
	var names []string
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(dir, path)
			names = append(names, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func sameList(t *testing.T, got []string, want ...string) {
	t.Helper()
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("files are %q, want %q", got, want)
	}
}

func TestWriteFile(t *testing.T) {
	t.Run("a new file gets its folders and the mode asked for", func(t *testing.T) {
		dir := t.TempDir()
		path := filepath.Join(dir, "state", "digests", "K7Q2.json")
		if err := (disk.Files{}).WriteFile(path, []byte("{}\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if got := read(t, path); got != "{}\n" {
			t.Errorf("content %q", got)
		}
		st, _ := os.Stat(path)
		if runtime.GOOS != "windows" && st.Mode().Perm() != 0o600 {
			t.Errorf("mode %v, want -rw-------", st.Mode())
		}
		sameList(t, list(t, dir), "state/digests/K7Q2.json")
	})
	t.Run("an old file keeps its mode, whatever the umask", func(t *testing.T) {
		for _, mode := range []fs.FileMode{0o600, 0o640, 0o666} {
			path := filepath.Join(t.TempDir(), "round.ics")
			write(t, path, "old", mode)
			if err := (disk.Files{}).WriteFile(path, []byte("new"), 0o644); err != nil {
				t.Fatal(err)
			}
			st, _ := os.Stat(path)
			if runtime.GOOS != "windows" && st.Mode().Perm() != mode {
				t.Errorf("mode %v, want %v", st.Mode().Perm(), mode)
			}
			if got := read(t, path); got != "new" {
				t.Errorf("content %q", got)
			}
		}
	})
	t.Run("a link stays a link and its target is replaced", func(t *testing.T) {
		dir := t.TempDir()
		for _, sub := range []string{"web/private", "books"} {
			if err := os.MkdirAll(filepath.Join(dir, sub), 0o777); err != nil {
				t.Fatal(err)
			}
		}
		// Two links in a row, a ".." behind a folder that is itself a link,
		// and a target that does not exist yet.
		for link, to := range map[string]string{
			"books/shelf":    "../web/private",
			"books/round":    "shelf/../round.ics",
			"web/round.ics":  "private/now.ics",
			"books/round.ar": "round",
		} {
			if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
				t.Fatal(err)
			}
		}
		path := filepath.Join(dir, "books", "round.ar")
		for _, content := range []string{"first", "second"} {
			if err := (disk.Files{}).WriteFile(path, []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
			if got := read(t, filepath.Join(dir, "web", "private", "now.ics")); got != content {
				t.Errorf("target holds %q, want %q", got, content)
			}
		}
		for _, link := range []string{"books/round.ar", "books/round", "web/round.ics"} {
			if st, err := os.Lstat(filepath.Join(dir, link)); err != nil || st.Mode()&fs.ModeSymlink == 0 {
				t.Errorf("%s is no longer a link (%v)", link, err)
			}
		}
	})
	t.Run("a link to itself, a folder, a file for a folder are refused", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.Symlink("loop", filepath.Join(dir, "loop")); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(filepath.Join(dir, "folder"), 0o777); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, "plain"), "x", 0o644)
		for _, name := range []string{"loop", "folder", "plain/below"} {
			err := (disk.Files{}).WriteFile(filepath.Join(dir, filepath.FromSlash(name)), nil, 0o644)
			if err == nil || !strings.Contains(err.Error(), name[:4]) {
				t.Errorf("%s: error %v", name, err)
			}
		}
		sameList(t, list(t, dir), "loop", "plain")
	})
	t.Run("leftovers of the same target are cleared when they are old", func(t *testing.T) {
		dir := t.TempDir()
		old := filepath.Join(dir, ".round.ics.AAAAAAAAAA.nestround-part")
		fresh := filepath.Join(dir, ".round.ics.BBBBBBBBBB.nestround-part")
		other := filepath.Join(dir, ".other.ics.CCCCCCCCCC.nestround-part")
		for _, p := range []string{old, fresh, other} {
			write(t, p, "half", 0o644)
		}
		long := time.Now().Add(-2 * time.Hour)
		for _, p := range []string{old, other} {
			if err := os.Chtimes(p, long, long); err != nil {
				t.Fatal(err)
			}
		}
		if err := (disk.Files{}).WriteFile(filepath.Join(dir, "round.ics"), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
		sameList(t, list(t, dir), filepath.Base(other), filepath.Base(fresh), "round.ics")
		if err := (disk.Files{}).Clean(dir); err != nil {
			t.Fatal(err)
		}
		sameList(t, list(t, dir), "round.ics")
	})
	t.Run("a very long name", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), strings.Repeat("n", 255))
		if err := (disk.Files{}).WriteFile(path, []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	})
}

// TestEveryCrashLeavesTheOldOrTheNewState stops the program at every operation of every kind of change, with
// every kind of crash, and checks the files that a restart finds.
func TestEveryCrashLeavesTheOldOrTheNewState(t *testing.T) {
	old, fresh := "old content\n", strings.Repeat("new content\n", 1000)
	either := func(path string, want ...string) func(*testing.T, string, bool) {
		return func(t *testing.T, root string, done bool) {
			got := read(t, filepath.Join(root, path))
			if done && got != want[len(want)-1] {
				t.Errorf("told that it was done, but %s holds %d bytes", path, len(got))
			}
			for _, w := range want {
				if got == w {
					return
				}
			}
			t.Errorf("%s holds neither the old nor the new: %d bytes", path, len(got))
		}
	}
	changes := []struct {
		name  string
		do    func(f disk.Files, root string) error
		check func(t *testing.T, root string, done bool)
	}{
		{"replace a file", func(f disk.Files, root string) error {
			return f.WriteFile(filepath.Join(root, "a"), []byte(fresh), 0o644)
		}, either("a", old, fresh)},
		{"a new file in new folders", func(f disk.Files, root string) error {
			return f.WriteFile(filepath.Join(root, "b", "c", "new"), []byte(fresh), 0o644)
		}, func(t *testing.T, root string, done bool) {
			b, err := os.ReadFile(filepath.Join(root, "b", "c", "new"))
			if err != nil && done {
				t.Errorf("told that it was done: %v", err)
			}
			if err == nil && string(b) != fresh {
				t.Errorf("it holds %d bytes", len(b))
			}
		}},
		{"shorten", func(f disk.Files, root string) error {
			return f.Truncate(filepath.Join(root, "a"), 3)
		}, either("a", old, old[:3])},
		{"rename to another folder", func(f disk.Files, root string) error {
			return f.Rename(filepath.Join(root, "a"), filepath.Join(root, "dir", "a"))
		}, func(t *testing.T, root string, done bool) {
			_, errFrom := os.Stat(filepath.Join(root, "a"))
			_, errTo := os.Stat(filepath.Join(root, "dir", "a"))
			if errFrom != nil && errTo != nil {
				t.Error("the file is gone")
			}
			if done && (errFrom == nil || errTo != nil) {
				t.Error("told that it was done")
			}
		}},
		{"remove", func(f disk.Files, root string) error {
			return f.Remove(filepath.Join(root, "a"))
		}, func(t *testing.T, root string, done bool) {
			if _, err := os.Stat(filepath.Join(root, "a")); err == nil && done {
				t.Error("told that it was done")
			}
		}},
		{"append", func(f disk.Files, root string) error {
			return f.Append(filepath.Join(root, "a"), int64(len(old)), []byte(fresh), 0o644)
		}, func(t *testing.T, root string, done bool) {
			got := read(t, filepath.Join(root, "a"))
			if !strings.HasPrefix(got, old) {
				t.Error("what was there is damaged")
			}
			if done && got != old+fresh {
				t.Error("told that it was done")
			}
		}},
		{"append to a new file", func(f disk.Files, root string) error {
			return f.Append(filepath.Join(root, "n"), 0, []byte(fresh), 0o644)
		}, func(t *testing.T, root string, done bool) {
			b, _ := os.ReadFile(filepath.Join(root, "n"))
			if done && string(b) != fresh {
				t.Error("told that it was done")
			}
		}},
	}
	for _, c := range changes {
		t.Run(c.name, func(t *testing.T) {
			for k, more := 1, true; more; k++ {
				for _, half := range []bool{false, true} {
					root := t.TempDir()
					write(t, filepath.Join(root, "a"), old, 0o644)
					if err := os.Mkdir(filepath.Join(root, "dir"), 0o777); err != nil {
						t.Fatal(err)
					}
					d := disktest.New(t, root)
					d.Stop(k, half)
					err := c.do(disk.Files{Ops: d}, root)
					more = d.Stopped()
					if !more && err != nil {
						t.Fatal(err)
					}
					if more && err == nil && !strings.HasPrefix(d.Log()[k-1], "remove .") {
						t.Errorf("stopped at %q and yet told that it was done", d.Log()[k-1])
					}
					for _, crash := range disktest.Crashes() {
						t.Run(fmt.Sprintf("%d half=%v %s", k, half, crash), func(t *testing.T) {
							after := d.After(t, crash)
							c.check(t, after, err == nil)
							if err := (disk.Files{}).Clean(after); err != nil {
								t.Fatal(err)
							}
							for _, n := range list(t, after) {
								if strings.HasPrefix(n, ".") {
									t.Errorf("%s was not cleaned away", n)
								}
							}
						})
					}
				}
			}
		})
	}
}

// A killed program leaves unsynced bytes. The next program must not treat them
// as durable.
func TestUnsyncedBytesOfAKilledProgramAreNotDurable(t *testing.T) {
	for k, more := 1, true; more; k++ {
		root := t.TempDir()
		path := filepath.Join(root, "state", "digests", "K7Q2")
		d := disktest.New(t, root)
		d.Stop(k, false)
		f := disk.Files{Ops: d}
		err := f.WriteFile(path, []byte("x"), 0o600)
		if more = d.Stopped(); !more && err != nil {
			t.Fatal(err)
		}
		d.Restart()
		if err := f.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		again := f.Sync
		if _, err := os.Stat(path); err != nil {
			again = func(path string) error { return f.WriteFile(path, []byte("x"), 0o600) }
		}
		if err := again(path); err != nil {
			t.Fatal(err)
		}
		for _, crash := range disktest.Crashes() {
			if got := read(t, filepath.Join(d.After(t, crash), "state", "digests", "K7Q2")); got != "x" {
				t.Errorf("stopped at %d, %s: holds %q", k, crash, got)
			}
		}
	}
}

// TestFailedOperationsLeaveTheOldState makes every operation of a WriteFile and an Append fail once, on a
// full disk and on a broken disk. The program continues.
func TestFailedOperationsLeaveTheOldState(t *testing.T) {
	for _, fault := range []error{syscall.ENOSPC, syscall.EIO} {
		t.Run("replace/"+fault.Error(), func(t *testing.T) {
			for k, more := 1, true; more; k++ {
				root := t.TempDir()
				path := filepath.Join(root, "a")
				write(t, path, "old", 0o600)
				d := disktest.New(t, root)
				d.Fail(k, fault, true)
				err := disk.Files{Ops: d}.WriteFile(path, []byte("new!"), 0o644)
				more = len(d.Log()) >= k
				if !more {
					if err != nil {
						t.Fatal(err)
					}
					break
				}
				at := d.Log()[k-1]
				if !errors.Is(err, fault) {
					t.Errorf("at %q: error %v does not say %v", at, err, fault)
				}
				want := "old"
				if strings.HasPrefix(at, "syncdir") {
					want = "new!"
				}
				if isLost := errors.Is(err, disk.ErrLost); isLost != (want == "new!") {
					t.Errorf("at %q: lost = %v", at, isLost)
				}
				if got := read(t, path); got != want {
					t.Errorf("at %q: holds %q, want %q", at, got, want)
				}
				sameList(t, list(t, root), "a")
			}
		})
		t.Run("append/"+fault.Error(), func(t *testing.T) {
			for k, more := 1, true; more; k++ {
				root := t.TempDir()
				path := filepath.Join(root, "a")
				d := disktest.New(t, root)
				d.Fail(k, fault, true)
				err := disk.Files{Ops: d}.Append(path, 0, []byte("a line\n"), 0o644)
				more = len(d.Log()) >= k
				if !more {
					if err != nil {
						t.Fatal(err)
					}
					break
				}
				at := d.Log()[k-1]
				if !errors.Is(err, fault) {
					t.Errorf("at %q: error %v does not say %v", at, err, fault)
				}
				if isLost := errors.Is(err, disk.ErrLost); isLost != strings.Contains(at, "sync") {
					t.Errorf("at %q: lost = %v", at, isLost)
				}
				if b, _ := os.ReadFile(path); len(b) != 0 {
					t.Errorf("at %q: %q stays behind", at, b)
				}
				syncs := 0
				for _, op := range d.Log() {
					if op == "sync a" {
						syncs++
					}
				}
				if syncs > 1 {
					t.Errorf("at %q: fsync was tried again", at)
				}
			}
		})
	}
}

func TestAFolderThatCannotBeSyncedIsRemoved(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "state", "outbox")
	for k := 2; k <= 4; k += 2 { // mkdir, syncdir, mkdir, syncdir
		d := disktest.New(t, root)
		d.Fail(k, syscall.EIO, false)
		if err := (disk.Files{Ops: d}).MkdirAll(dir, 0o777); !errors.Is(err, disk.ErrLost) {
			t.Fatalf("error %v at %q", err, d.Log())
		}
		if _, err := os.Stat(dir); err == nil {
			t.Error("the folder stands as if it were safe")
		}
		os.RemoveAll(filepath.Join(root, "state"))
	}
	// A folder of the keeper's own is never removed.
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	d := disktest.New(t, root)
	d.Fail(1, syscall.EIO, false)
	if err := (disk.Files{Ops: d}).MkdirAll(dir, 0o777); !errors.Is(err, disk.ErrLost) {
		t.Errorf("error %v", err)
	}
	if _, err := os.Stat(dir); err != nil {
		t.Error(err)
	}
}

func TestAppendDetectsOtherWriters(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a")
	write(t, path, "one\n", 0o644)
	if err := (disk.Files{}).Append(path, 3, []byte("two\n"), 0o644); err == nil {
		t.Error("appended to a file of another size")
	}
	if got := read(t, path); got != "one\n" {
		t.Errorf("holds %q", got)
	}
}

func TestJSON(t *testing.T) {
	type state struct{ Revision int }
	path := filepath.Join(t.TempDir(), "state", "calendar.json")
	var f disk.Files

	if v, err := disk.ReadJSON[state](path); err != nil || v.Revision != 0 {
		t.Errorf("missing: %v, %v", v, err)
	}
	if err := f.WriteJSON(path, state{7}); err != nil {
		t.Fatal(err)
	}
	if v, report, err := disk.LoadJSON[state](f, path); err != nil || report != nil || v.Revision != 7 {
		t.Errorf("got %v, %v, %v", v, report, err)
	}

	for n, damage := range []string{`{"Revision": 8`, `{"Revision": 9, "x"`, `{"Revision": 1} {}`, ""} {
		write(t, path, damage, 0o600)
		v, err := disk.ReadJSON[state](path)
		var corrupt *disk.CorruptError
		if !errors.As(err, &corrupt) || v.Revision != 0 {
			t.Fatalf("%q: read %v, %v", damage, v, err)
		}
		if read(t, path) != damage {
			t.Fatalf("%q: reading changed the file", damage)
		}
		v, report, err := disk.LoadJSON[state](f, path)
		if err != nil || report == nil || v.Revision != 0 {
			t.Fatalf("%q: load %v, %v, %v", damage, v, report, err)
		}
		want := fmt.Sprintf("%s.corrupt-%d", path, n+1)
		if report.Aside != want || read(t, want) != damage {
			t.Errorf("set aside as %q, want %q", report.Aside, want)
		}
		if !strings.Contains(report.Error(), fmt.Sprintf("%q", want)) {
			t.Errorf("the report does not name it: %v", report)
		}
		if v, report, err := disk.LoadJSON[state](f, path); err != nil || report != nil || v.Revision != 0 {
			t.Errorf("afterwards: %v, %v, %v", v, report, err)
		}
	}
}

func TestLock(t *testing.T) {
	path := filepath.Join(t.TempDir(), "state", "lock")
	var f disk.Files
	first, err := f.Acquire(path, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, wait := range []time.Duration{0, 3 * time.Millisecond} {
		_, err = f.Acquire(path, wait)
		var held *disk.HeldError
		if !errors.As(err, &held) || held.PID != os.Getpid() {
			t.Fatalf("second: %v", err)
		}
		want := fmt.Sprintf("another nestround (process %d) is writing these books", os.Getpid())
		if err.Error() != want {
			t.Errorf("message %q, want %q", err, want)
		}
	}
	got := make(chan error)
	go func() {
		l, err := f.Acquire(path, time.Minute)
		if err == nil {
			err = l.Release()
		}
		got <- err
	}()
	if err := first.Release(); err != nil {
		t.Fatal(err)
	}
	if err := <-got; err != nil {
		t.Errorf("the one who waited: %v", err)
	}
}

// TestTheLockOfAKilledProcessIsReleased runs this test again as a second program, and kills
// it so that it cannot release the lock.
func TestTheLockOfAKilledProcessIsReleased(t *testing.T) {
	if path := os.Getenv("NESTROUND_TEST_LOCK"); path != "" {
		if _, err := (disk.Files{}).Acquire(path, 0); err != nil {
			t.Fatal(err)
		}
		fmt.Println("held")
		select {}
	}
	path := filepath.Join(t.TempDir(), "lock")
	other := exec.Command(os.Args[0], "-test.run=^TestTheLockOfAKilledProcessIsReleased$")
	other.Env = append(os.Environ(), "NESTROUND_TEST_LOCK="+path)
	out, err := other.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	word := make([]byte, 5)
	if _, err := out.Read(word); err != nil || string(word) != "held\n" {
		t.Fatalf("the other process said %q, %v", word, err)
	}
	_, err = (disk.Files{}).Acquire(path, 0)
	var held *disk.HeldError
	if !errors.As(err, &held) || (runtime.GOOS != "windows" && held.PID != other.Process.Pid) {
		t.Errorf("while it runs: %v, want process %d", err, other.Process.Pid)
	}
	if err := other.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	other.Wait()
	l, err := (disk.Files{}).Acquire(path, 0)
	if err != nil {
		t.Fatalf("after it was killed: %v", err)
	}
	l.Release()
}
