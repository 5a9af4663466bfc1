// Package disktest stops a program at any of its operations on a disk, and
// shows the possible states of the disk afterwards. It is for tests only.
//
// A [Disk] wraps a real folder and passes the operations on. It records what is
// durable: content after fsync of the file, names after fsync of the folder,
// and nothing else (POSIX.1-2024, fsync(), with its rationale; Pillai et al.
// 2014, "All File Systems Are Not Created Equal", OSDI, for the behaviour of
// real file systems). [Disk.Stop] stops the program at an operation;
// [Disk.Fail] makes an operation fail. [Disk.After] then builds a folder as a
// restart may find it, for each [Crash].
package disktest

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"nestround/tasks/disk"
)

// ErrStopped is the error of every operation after the stop.
var ErrStopped = errors.New("the program was stopped")

// Disk has the operations of a program that can be stopped. It implements
// [disk.Ops]; use it as disk.Files{Ops: d}.
type Disk struct {
	root string

	mu      sync.Mutex
	log     []string
	at      int   // number of the operation that fails or stops the program, from 1
	err     error // error of operation at; ErrStopped stops the program
	half    bool  // if operation at is a write, it does half of its work first
	stopped bool

	names   map[string]int  // path to inode, as the program sees them
	durable map[string]int  // path to inode, after the fsyncs of folders
	content map[int][]byte  // inode to content, after the fsyncs of files
	folders map[string]bool // durable folders
	paths   map[int]string  // inode to current path
	next    int
}

var _ disk.Ops = (*Disk)(nil)

// New wraps the folder root. Its present content is durable.
func New(t testing.TB, root string) *Disk {
	t.Helper()
	d := &Disk{root: root, names: map[string]int{}, content: map[int][]byte{}, folders: map[string]bool{}, paths: map[int]string{}}
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			d.folders[path] = true
			return nil
		}
		b, err := os.ReadFile(path)
		d.next++
		d.names[path], d.paths[d.next], d.content[d.next] = d.next, path, b
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	d.durable = maps.Clone(d.names)
	return d
}

// Stop stops the program at its operation k, counted from 1. This operation and
// later ones are not done; a write does half of its work if half is set.
func (d *Disk) Stop(k int, half bool) { d.at, d.err, d.half = k, ErrStopped, half }

// Fail makes operation k, counted from 1, fail with err. A write does half of
// its work first if half is set. The program continues.
func (d *Disk) Fail(k int, err error, half bool) { d.at, d.err, d.half = k, err, half }

// Restart starts the program again on the same machine, after the program was
// killed. Bytes without fsync are readable but not durable. Operations are
// counted from 1 again, and none of them fails.
func (d *Disk) Restart() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.log, d.at, d.stopped = nil, 0, false
}

// Stopped reports whether the program has reached the operation of Stop.
func (d *Disk) Stopped() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.stopped
}

// Log lists the operations so far, for example "write daybook/2027.jsonl".
func (d *Disk) Log() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.log...)
}

// step counts an operation, and returns an error if the operation is to fail or
// is not to happen.
func (d *Disk) step(what, path string) error {
	if d.stopped {
		return ErrStopped
	}
	rel, err := filepath.Rel(d.root, path)
	if err != nil || !filepath.IsLocal(rel) {
		return fmt.Errorf("%s %q: outside the folder of the test", what, path)
	}
	d.log = append(d.log, what+" "+filepath.ToSlash(rel))
	if len(d.log) != d.at {
		return nil
	}
	d.stopped = errors.Is(d.err, ErrStopped)
	return &fs.PathError{Op: what, Path: path, Err: d.err}
}

// OpenFile opens a file of the folder.
func (d *Disk) OpenFile(name string, flag int, perm fs.FileMode) (disk.File, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("open", name); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err
	}
	id, ok := d.names[name]
	if !ok {
		d.next++
		id = d.next
		d.names[name], d.paths[id] = id, name
	}
	return &file{f, d, id}, nil
}

// Mkdir makes a folder.
func (d *Disk) Mkdir(name string, perm fs.FileMode) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("mkdir", name); err != nil {
		return err
	}
	return os.Mkdir(name, perm)
}

// Rename renames a file.
func (d *Disk) Rename(from, to string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("rename", to); err != nil {
		return err
	}
	if err := os.Rename(from, to); err != nil {
		return err
	}
	id := d.names[from]
	delete(d.names, from)
	d.names[to], d.paths[id] = id, to
	return nil
}

// Remove removes a file.
func (d *Disk) Remove(name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("remove", name); err != nil {
		return err
	}
	if err := os.Remove(name); err != nil {
		return err
	}
	delete(d.names, name)
	return nil
}

// SyncDir makes the names in a folder durable. The root folder itself is
// durable from the start.
func (d *Disk) SyncDir(name string) error {
	if name == filepath.Dir(d.root) {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("syncdir", name); err != nil {
		return err
	}
	entries, err := os.ReadDir(name)
	if err != nil {
		return err
	}
	maps.DeleteFunc(d.durable, func(path string, _ int) bool { return filepath.Dir(path) == name })
	for _, e := range entries {
		path := filepath.Join(name, e.Name())
		if e.IsDir() {
			d.folders[path] = true
		} else if id, ok := d.names[path]; ok {
			d.durable[path] = id
		}
	}
	return nil
}

type file struct {
	*os.File
	d  *Disk
	id int
}

func (f *file) step(what string) error { return f.d.step(what, f.d.paths[f.id]) }

func (f *file) Write(b []byte) (int, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if err := f.step("write"); err != nil {
		n := 0
		if f.d.half && len(f.d.log) == f.d.at {
			n, _ = f.File.Write(b[:len(b)/2])
		}
		return n, err
	}
	return f.File.Write(b)
}

func (f *file) Truncate(size int64) error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if err := f.step("truncate"); err != nil {
		return err
	}
	return f.File.Truncate(size)
}

func (f *file) Chmod(mode fs.FileMode) error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if err := f.step("chmod"); err != nil {
		return err
	}
	return f.File.Chmod(mode)
}

func (f *file) Sync() error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if err := f.step("sync"); err != nil {
		return err
	}
	b, err := os.ReadFile(f.d.paths[f.id])
	f.d.content[f.id] = b
	return err
}

// Crash is a way in which a program or its machine ends. The crashes differ in
// the fate of unsynced names and bytes.
type Crash string

// The crashes.
const (
	Killed     Crash = "killed: every finished operation counts"
	OnlySynced Crash = "power cut: nothing but what was synced is there"
	NamesFirst Crash = "power cut: all names are there, unsynced content is not"
	ZeroTail   Crash = "power cut: all names and sizes are there, unsynced content is zeros"
	HalfTail   Crash = "power cut: all names are there, and half of what was written last"
)

// Crashes lists all crashes.
func Crashes() []Crash { return []Crash{Killed, OnlySynced, NamesFirst, ZeroTail, HalfTail} }

// After builds the state that a restart finds after c, in a new folder, and
// returns the folder.
func (d *Disk) After(t testing.TB, c Crash) string {
	t.Helper()
	d.mu.Lock()
	defer d.mu.Unlock()
	root := t.TempDir()
	move := func(path string) string {
		rel, err := filepath.Rel(d.root, path)
		if err != nil {
			t.Fatal(err)
		}
		return filepath.Join(root, rel)
	}
	names, folders := d.names, d.folders
	if c == OnlySynced {
		names = d.durable
	} else {
		folders = map[string]bool{}
		err := filepath.WalkDir(d.root, func(path string, e fs.DirEntry, err error) error {
			if err == nil && e.IsDir() {
				folders[path] = true
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for path := range folders {
		lostParent := false
		for p := path; p != d.root && !lostParent; p = filepath.Dir(p) {
			lostParent = !folders[p]
		}
		if lostParent {
			continue
		}
		if err := os.MkdirAll(move(path), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	for path, id := range names {
		synced := d.content[id]
		b := synced
		if c != OnlySynced {
			now, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			b = c.content(synced, now)
		}
		if _, err := os.Stat(filepath.Dir(move(path))); err != nil {
			continue // the folder of the file was not durable
		}
		if err := os.WriteFile(move(path), b, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

// content returns the bytes of a file after the crash. now has the bytes before
// the crash; synced has the bytes at the last fsync.
func (c Crash) content(synced, now []byte) []byte {
	grown := len(now) > len(synced) && string(now[:len(synced)]) == string(synced)
	switch {
	case c == Killed:
		return now
	case c == ZeroTail && grown:
		return append(append([]byte(nil), synced...), make([]byte, len(now)-len(synced))...)
	case c == HalfTail && grown:
		return now[:len(synced)+(len(now)-len(synced))/2]
	}
	return synced
}
