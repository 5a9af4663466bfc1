package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	gofs "github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"

	"nestround/config/diag"
	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/reply"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

// sickDisk is a real disk for the books that fails on command.
type sickDisk struct {
	dir  string
	fail func()
	mend func()
	// user runs the program, if not 0.
	user uint32
	// harmless says that no command but check needs to fail.
	harmless bool
	// hidden says that not even the records can be read while the disk fails.
	hidden bool
}

// TestRealDiskFaults runs the built program on file systems that fail: a FUSE
// file system that returns errors, small file systems that are full, and
// folders that the program's user may not write to. The program works on them
// before the fault, during it and after it.
//
// A word that was acknowledged is recorded once, also if it was acknowledged
// during the fault. A word that was not acknowledged is recorded once after the
// keeper repeats it. A reply that arrived during the fault is recorded once, and
// each of the two digests leaves once.
//
// Mounting needs root and a kernel that allows it. If NESTROUND_REQUIRE_SERVERS
// is 1, a disk that cannot be mounted fails the test.
func TestRealDiskFaults(t *testing.T) {
	bin := theBinary(t)
	for _, c := range []struct {
		name string
		make func(*testing.T) sickDisk
	}{
		{"fsync of a file fails", failing(syscall.EIO, "fsync")},
		{"fsync of a folder fails", failing(syscall.EIO, "fsyncdir")},
		{"every fsync fails", failing(syscall.EIO, "fsync", "fsyncdir")},
		{"writing fails", failing(syscall.EIO, "write")},
		{"half a write is done", failing(syscall.EIO, "half a write")},
		{"half a write is done, and nothing can be taken back", failing(syscall.EIO, "half a write", "setattr", "unlink")},
		{"no space for writing", failing(syscall.ENOSPC, "write")},
		{"no space for new files", failing(syscall.ENOSPC, "create", "mkdir")},
		{"writing and truncating fail", failing(syscall.EIO, "write", "setattr")},
		{"renaming fails", failing(syscall.EIO, "rename")},
		{"removing fails", failing(syscall.EIO, "unlink")},
		{"opening for writing fails", failing(syscall.EACCES, "open", "create")},
		{"read-only file system", failing(syscall.EROFS, "open", "write", "create", "mkdir", "rename", "unlink", "setattr")},
		{"everything that changes the disk fails", failing(syscall.EIO, "write", "create", "mkdir", "rename", "unlink", "setattr", "fsync", "fsyncdir")},
		{"full tmpfs", fullTmpfs},
		{"full ext4", fullExt4},
		{"folders of another user", foreignFolders(0o700, 0o600)},
		{"folders of another user, to be read only", foreignFolders(0o755, 0o644)},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := c.make(t)
			x := &onSickDisk{t: t, bin: bin, disk: d, mail: t.TempDir()}
			x.run()
		})
	}
}

// failing makes a FUSE file system over a folder. While it fails, the named
// operations return an error.
func failing(errno syscall.Errno, operations ...string) func(*testing.T) sickDisk {
	return func(t *testing.T) sickDisk {
		root, err := gofs.NewLoopbackRoot(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		raw := &faultyFS{RawFileSystem: gofs.NewNodeFS(root, &gofs.Options{}), with: errno, at: make(map[string]bool)}
		for _, o := range operations {
			raw.at[o] = true
		}
		dir := t.TempDir()
		server, err := fuse.NewServer(raw, dir, &fuse.MountOptions{
			DirectMountStrict: true, FsName: "faulty", Name: "faulty",
			DisabledCapabilities: fuse.CAP_PASSTHROUGH, // otherwise the kernel would write past this process
		})
		if err != nil {
			cannotMount(t, fmt.Errorf("mount a FUSE file system: %w", err))
		}
		go server.Serve()
		if err := server.WaitMount(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := server.Unmount(); err != nil {
				t.Error(err)
				syscall.Unmount(dir, syscall.MNT_DETACH)
			}
		})
		return sickDisk{dir: dir, fail: func() { raw.set(true) }, mend: func() { raw.set(false) }, harmless: raw.at["unlink"] && len(raw.at) == 1}
	}
}

// faultyFS passes on the operations on a folder, or refuses them.
type faultyFS struct {
	fuse.RawFileSystem
	with syscall.Errno
	at   map[string]bool

	mu      sync.Mutex
	failing bool
}

func (f *faultyFS) set(failing bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.failing = failing
}

func (f *faultyFS) status(operation string) fuse.Status {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.failing && f.at[operation] {
		return fuse.Status(f.with)
	}
	return fuse.OK
}

func (f *faultyFS) Fsync(cancel <-chan struct{}, in *fuse.FsyncIn) fuse.Status {
	if s := f.status("fsync"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.Fsync(cancel, in)
}

func (f *faultyFS) FsyncDir(cancel <-chan struct{}, in *fuse.FsyncIn) fuse.Status {
	if s := f.status("fsyncdir"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.FsyncDir(cancel, in)
}

// Write fails at once, or leaves half of the bytes behind and then fails.
func (f *faultyFS) Write(cancel <-chan struct{}, in *fuse.WriteIn, data []byte) (uint32, fuse.Status) {
	if s := f.status("write"); s != fuse.OK {
		return 0, s
	}
	if s := f.status("half a write"); s != fuse.OK {
		in.Size /= 2
		f.RawFileSystem.Write(cancel, in, data[:in.Size])
		return 0, s
	}
	return f.RawFileSystem.Write(cancel, in, data)
}

// Writev leaves the work to Write.
func (f *faultyFS) Writev(<-chan struct{}, *fuse.WriteIn, [][]byte) (uint32, fuse.Status) {
	return 0, fuse.ENOSYS
}

func (f *faultyFS) Open(cancel <-chan struct{}, in *fuse.OpenIn, out *fuse.OpenOut) fuse.Status {
	if s := f.status("open"); s != fuse.OK && in.Flags&syscall.O_ACCMODE != syscall.O_RDONLY {
		return s
	}
	return f.RawFileSystem.Open(cancel, in, out)
}

func (f *faultyFS) Create(cancel <-chan struct{}, in *fuse.CreateIn, name string, out *fuse.CreateOut) fuse.Status {
	if s := f.status("create"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.Create(cancel, in, name, out)
}

func (f *faultyFS) Mkdir(cancel <-chan struct{}, in *fuse.MkdirIn, name string, out *fuse.EntryOut) fuse.Status {
	if s := f.status("mkdir"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.Mkdir(cancel, in, name, out)
}

func (f *faultyFS) Rename(cancel <-chan struct{}, in *fuse.RenameIn, from, to string) fuse.Status {
	if s := f.status("rename"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.Rename(cancel, in, from, to)
}

func (f *faultyFS) Unlink(cancel <-chan struct{}, in *fuse.InHeader, name string) fuse.Status {
	if s := f.status("unlink"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.Unlink(cancel, in, name)
}

func (f *faultyFS) SetAttr(cancel <-chan struct{}, in *fuse.SetAttrIn, out *fuse.AttrOut) fuse.Status {
	if s := f.status("setattr"); s != fuse.OK {
		return s
	}
	return f.RawFileSystem.SetAttr(cancel, in, out)
}

// cannotMount skips or fails a test that needs a kind of disk.
func cannotMount(t *testing.T, err error) {
	t.Helper()
	if os.Getenv("NESTROUND_REQUIRE_SERVERS") == "1" {
		t.Fatal(err)
	}
	t.Skip(err)
}

// fullTmpfs is a small file system in memory.
func fullTmpfs(t *testing.T) sickDisk {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		cannotMount(t, fmt.Errorf("mount a tmpfs: %w", err))
	}
	t.Cleanup(func() { unmount(t, dir) })
	return filling(t, dir)
}

// fullExt4 is a small ext4 in a file, by a loop device.
func fullExt4(t *testing.T) sickDisk {
	image, dir := filepath.Join(t.TempDir(), "disk"), t.TempDir()
	if err := os.WriteFile(image, make([]byte, 8<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][]string{{"mkfs.ext4", "-q", "-F", image}, {"mount", "-o", "loop", image, dir}} {
		if out, err := exec.Command(c[0], c[1:]...).CombinedOutput(); err != nil {
			cannotMount(t, fmt.Errorf("%s: %w\n%s", strings.Join(c, " "), err, out))
		}
	}
	t.Cleanup(func() { unmount(t, dir) })
	return filling(t, dir)
}

func unmount(t *testing.T, dir string) {
	if err := syscall.Unmount(dir, 0); err != nil {
		t.Error(err)
		syscall.Unmount(dir, syscall.MNT_DETACH)
	}
}

// filling fills a file system to the last byte, and makes room again.
func filling(t *testing.T, dir string) sickDisk {
	name := filepath.Join(dir, "filler")
	return sickDisk{dir: dir, fail: func() {
		f, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for size := 64 << 10; size > 0; size /= 2 {
			for err = nil; err == nil; {
				_, err = f.Write(make([]byte, size))
			}
			if !errors.Is(err, syscall.ENOSPC) {
				t.Fatal(err)
			}
		}
		f.Sync() // ext4 decides late; an error is what the test wants
	}, mend: func() {
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}}
}

// foreignFolders are folders of root with the given modes, and a program that
// runs as nobody.
func foreignFolders(folders, files os.FileMode) func(t *testing.T) sickDisk {
	return func(t *testing.T) sickDisk { return foreign(t, folders, files) }
}

func foreign(t *testing.T, folders, files os.FileMode) sickDisk {
	if os.Getuid() != 0 {
		cannotMount(t, errors.New("only root can run the program as another user"))
	}
	const nobody = 65534
	dir, err := os.MkdirTemp("", "nestround-foreign-") // nobody may enter it, unlike the folders of t
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	own := func(uid int) {
		err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
			if err != nil {
				return err
			}
			mode := files
			if e.IsDir() {
				mode = folders
			}
			return errors.Join(os.Chown(path, uid, -1), os.Chmod(path, mode))
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return sickDisk{dir: dir, user: nobody, hidden: folders&0o055 == 0, fail: func() { own(0) }, mend: func() { own(nobody) }}
}

// onSickDisk is a story on a sick disk. The mail folders are on a healthy one.
type onSickDisk struct {
	t    *testing.T
	bin  string
	disk sickDisk
	mail string
	log  bytes.Buffer // output of all commands
	day  civil.Date
	told map[string]bool // words that were acknowledged
	// failed counts the commands that did not end well.
	failed int
}

func (x *onSickDisk) run() {
	t := x.t
	x.told = make(map[string]bool)
	x.day = civil.MustParse("2027-05-12")
	mail := fmt.Sprintf("[mail.out]\nmaildir = %q\n\n[mail.in]\nmaildir = %q", filepath.Join(x.mail, "out"), filepath.Join(x.mail, "in"))
	if err := os.WriteFile(filepath.Join(x.disk.dir, "keeper.toml"), []byte(killBooks(mail)), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, sub := range []string{"in/new", "in/cur", "in/tmp", "out"} {
		if err := os.MkdirAll(filepath.Join(x.mail, sub), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if x.disk.user != 0 {
		for _, dir := range []string{filepath.Dir(x.mail), x.mail, filepath.Join(x.mail, "out"), filepath.Dir(x.bin)} {
			if err := os.Chmod(dir, 0o777); err != nil {
				t.Fatal(err)
			}
		}
	}
	defer func() {
		if t.Failed() {
			t.Logf("output:\n%s", &x.log)
		}
	}()
	x.disk.mend()

	// Before the fault.
	x.must("mark", "--json", "done 1\n"+noting("before"))
	x.must("digest", "--send")
	i := x.issue()
	serve := x.start()
	if !serve.runs() {
		t.Errorf("serve does not start: %s", &serve.log)
	}

	// During the fault. Commands may fail, and what they acknowledge counts.
	x.disk.fail()
	x.mark("during")
	x.arrive(i, "one", "done 2")
	x.command("replies")
	x.command("calendar", "--out", filepath.Join(x.mail, "during.ics"))
	x.mark("later")
	x.day = x.day.AddDays(1)
	x.command("digest", "--send")
	x.checkTells()
	if !serve.runs() {
		t.Error("serve ended during the fault")
	}
	serve.stop(x)
	// A start during the fault may be refused, but must not destroy anything.
	x.start().stop(x)

	if x.failed == 0 && !x.disk.harmless {
		t.Error("no command failed during the fault")
	}

	// After the fault: the keeper says again what was refused.
	x.disk.mend()
	for _, note := range []string{"during", "later"} {
		if !x.told[note] && x.recorded(note) == 0 {
			x.must("mark", "--json", noting(note))
		}
	}
	x.must("mark", "--json", noting("after"))
	x.must("replies")
	x.must("digest", "--send")
	x.must("replies")
	x.must("calendar", "--out", filepath.Join(x.mail, "after.ics"))
	x.must("check")

	for _, note := range []string{"before", "during", "later", "after"} {
		if n := x.recorded(note); n != 1 {
			t.Errorf("%q is recorded %d times", note, n)
		}
	}
	if n := x.entries("one@phone.example.org"); n != 1 {
		t.Errorf("the reply is recorded %d times", n)
	}
	digests, answers := make(map[string]int), 0
	names, err := filepath.Glob(filepath.Join(x.mail, "out", "new", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := reply.Read(raw)
		switch {
		case err != nil:
			t.Errorf("%s: %v", name, err)
		case len(m.InReplyTo) > 0:
			answers++
		default:
			digests[m.Date.UTC().Format(time.DateOnly)]++
		}
	}
	if len(digests) != 2 || digests["2027-05-12"] != 1 || digests["2027-05-13"] != 1 {
		t.Errorf("digests left: %v, want one on each of two days", digests)
	}
	if answers != 1 {
		t.Errorf("%d answers left, want 1", answers)
	}
	if strings.Contains(x.log.String(), "panic") || strings.Contains(x.log.String(), "goroutine ") {
		t.Error("the program panicked")
	}
}

func (x *onSickDisk) exec(args ...string) *exec.Cmd {
	c := exec.Command(x.bin, append(args, "--books", x.disk.dir)...)
	c.Env = clockAt(x.day.At(6*60+5, time.UTC))
	if x.disk.user != 0 {
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: x.disk.user, Gid: x.disk.user}}
	}
	return c
}

// command runs a command that may fail, and returns its output.
func (x *onSickDisk) command(args ...string) (out string, code int) {
	c := x.exec(args...)
	var stdout, stderr bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &stderr
	err := c.Run()
	if exit := (*exec.ExitError)(nil); err != nil && !errors.As(err, &exit) {
		x.t.Fatal(err)
	}
	if code = c.ProcessState.ExitCode(); code != 0 {
		x.failed++
	}
	out = stdout.String()
	if args[0] == "mark" {
		stdout.Truncate(min(stdout.Len(), 300))
	}
	fmt.Fprintf(&x.log, "$ nestround %s\n%s%s(exit %d)\n", strings.ReplaceAll(strings.Join(args, " "), padding, " ..."), &stdout, &stderr, code)
	if code != 0 && len(out)+stderr.Len() == 0 {
		x.t.Errorf("%s failed in silence", args[0])
	}
	return out, code
}

// checkTells runs check, which must name the folders that cannot be written. It
// fails, unless only this user may not write.
func (x *onSickDisk) checkTells() {
	out, code := x.command("check", "--json")
	if x.disk.hidden {
		return
	}
	var told struct{ Problems []diag.Problem }
	if err := json.Unmarshal([]byte(out), &told); err != nil {
		x.t.Errorf("check: %v\n%s", err, out)
	}
	for _, folder := range []string{"daybook", "state"} {
		i := slices.IndexFunc(told.Problems, func(p diag.Problem) bool {
			return p.File == folder && strings.HasPrefix(p.Message, "the folder cannot be written")
		})
		if i < 0 || told.Problems[i].Hint == "" {
			x.t.Errorf("check does not tell that %s cannot be written, or not what to do:\n%s", folder, out)
		} else if refused := strings.HasSuffix(told.Problems[i].Message, "permission denied"); refused == (code != 0) {
			x.t.Errorf("check: exit %d\n%s", code, out)
		}
	}
}

// must runs a command that must not fail.
func (x *onSickDisk) must(args ...string) {
	x.t.Helper()
	if _, code := x.command(args...); code != 0 {
		x.t.Errorf("%s: exit %d", strings.ReplaceAll(strings.Join(args, " "), padding, " ..."), code)
	}
}

// noting notes a word. The entry is longer than a block of the disk, so that it
// does not fit into a full one.
func noting(word string) string { return "note E02 " + word + padding }

var padding = strings.Repeat("\nnote E03"+strings.Repeat(" the lizard basked", 8), 30)

// mark notes a word, which may fail.
func (x *onSickDisk) mark(note string) {
	out, code := x.command("mark", "--json", noting(note))
	x.told[note] = acknowledges([]byte(out), &word{note: note})
	if x.told[note] != (code == 0) {
		x.t.Errorf("%q: exit %d, acknowledged %v", note, code, x.told[note])
	}
}

// issue returns the digest of the day.
func (x *onSickDisk) issue() notify.Issue {
	x.t.Helper()
	names, err := filepath.Glob(filepath.Join(x.disk.dir, "state", "digests", x.day.String()+".????.json"))
	if err != nil || len(names) != 1 {
		x.t.Fatalf("digests of %s: %v, %v\n%s", x.day, names, err, &x.log)
	}
	i, err := disk.ReadJSON[notify.Issue](names[0])
	if err != nil {
		x.t.Fatal(err)
	}
	return i
}

func (x *onSickDisk) arrive(i notify.Issue, id, words string) {
	raw, err := mailout.Compose(notify.Message{
		ID: id + "@phone.example.org", Date: x.day.At(7*60, time.UTC), From: killKeeper, To: notify.PlusAddress(killLizards, i.Token),
		Subject: "Re: " + notify.SubjectTag(i.ID), InReplyTo: i.MessageID, Text: words + "\n",
	})
	if err != nil {
		x.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(x.mail, "in", "new", id), raw, 0o644); err != nil {
		x.t.Fatal(err)
	}
}

// recorded counts the entries with a note.
func (x *onSickDisk) recorded(note string) (n int) {
	for _, e := range x.daybook() {
		for _, a := range e.acts {
			if a == note {
				n++
			}
		}
	}
	return n
}

// entries counts the entries of a message.
func (x *onSickDisk) entries(id string) (n int) {
	for _, e := range x.daybook() {
		if e.id == id {
			n++
		}
	}
	return n
}

type line struct {
	id   string
	acts []string // notes
}

func (x *onSickDisk) daybook() (lines []line) {
	entries, _, err := daybook.Read(x.disk.dir)
	if err != nil {
		x.t.Error(err)
	}
	for _, e := range entries {
		l := line{id: e.ID}
		for _, a := range e.Acts {
			if a.Finding != nil {
				l.acts = append(l.acts, a.Finding.Note)
			}
		}
		lines = append(lines, l)
	}
	return lines
}

// running is a serve in the background.
type running struct {
	*exec.Cmd
	mu    sync.Mutex
	log   bytes.Buffer
	grew  chan struct{} // signalled when the log has grown
	ended chan struct{} // closed when the process has ended
}

func (r *running) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	select {
	case r.grew <- struct{}{}:
	default:
	}
	return r.log.Write(p)
}

// start starts serve, and returns when it serves or has ended.
func (x *onSickDisk) start() *running {
	r := &running{Cmd: x.exec("serve", "--listen", "127.0.0.1:0"), grew: make(chan struct{}, 1), ended: make(chan struct{})}
	r.Stderr = r
	if err := r.Start(); err != nil {
		x.t.Fatal(err)
	}
	go func() { r.Wait(); close(r.ended) }()
	for {
		r.mu.Lock()
		there := strings.Contains(r.log.String(), "msg=serving")
		r.mu.Unlock()
		if there {
			return r
		}
		select {
		case <-r.grew:
		case <-r.ended:
			return r
		}
	}
}

// runs reports whether the process has not ended.
func (r *running) runs() bool {
	select {
	case <-r.ended:
		return false
	default:
		return true
	}
}

// stop ends serve as systemd does.
func (r *running) stop(x *onSickDisk) {
	r.Process.Signal(syscall.SIGTERM) // an error means that it has ended
	<-r.ended
	fmt.Fprintf(&x.log, "$ nestround serve\n%s(%s)\n", &r.log, r.ProcessState)
}
