package mailin_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"nestround/notify/mailin"
)

// folder is a Maildir that another program fills.
type folder struct{ dir string }

func newFolder(t *testing.T) folder {
	t.Helper()
	f := folder{t.TempDir()}
	for _, sub := range []string{"tmp", "new", "cur"} {
		if err := os.Mkdir(filepath.Join(f.dir, sub), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

// put delivers a mail as a Maildir requires: written in tmp, then moved to new.
func (f folder) put(t *testing.T, name string, raw []byte, received time.Time) {
	t.Helper()
	tmp := filepath.Join(f.dir, "tmp", name)
	if err := errors.Join(
		os.WriteFile(tmp, raw, 0o600),
		os.Chtimes(tmp, received, received),
		os.Rename(tmp, filepath.Join(f.dir, "new", name)),
	); err != nil {
		t.Fatal(err)
	}
}

// seen moves a mail to cur, as a mail reader does.
func (f folder) seen(t *testing.T, name string) {
	t.Helper()
	if err := os.Rename(filepath.Join(f.dir, "new", name), filepath.Join(f.dir, "cur", name+":2,S")); err != nil {
		t.Fatal(err)
	}
}

func (f folder) tree(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(f.dir, "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func inFolder(t *testing.T, o mailin.MaildirOptions) *mailin.Maildir {
	t.Helper()
	if o.State == nil {
		o.State = &memory{}
	}
	if o.Log == nil {
		o.Log = new(journal).logger()
	}
	d, err := mailin.NewMaildir(o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestMaildirIsUnchanged(t *testing.T) {
	f, now := newFolder(t), time.Now()
	f.put(t, "3.c.host", mailOf("third"), now.Add(-time.Minute))
	f.put(t, "1.a.host", mailOf("first"), now.Add(-3*time.Minute))
	f.put(t, "2.b.host", mailOf("second"), now.Add(-2*time.Minute))
	f.put(t, ".hidden", mailOf("not a mail"), now)
	f.put(t, "0.old.host", mailOf("forty days old"), now.AddDate(0, 0, -40))
	f.seen(t, "2.b.host")
	if err := os.WriteFile(filepath.Join(f.dir, "tmp", "4.d.host"), mailOf("half written"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(f.dir, "cur", "a folder"), 0o700); err != nil {
		t.Fatal(err)
	}
	before := f.tree(t)
	d := inFolder(t, mailin.MaildirOptions{Dir: f.dir})
	var k takes
	for range 2 {
		if err := d.Read(t.Context(), k.take); err != nil {
			t.Fatal(err)
		}
	}
	k.want(t, "first", "second", "third")
	if m := k.mails[1]; m.Ref != "2.b.host" || !bytes.Equal(m.Raw, mailOf("second")) || m.Size != int64(len(m.Raw)) {
		t.Errorf("%+v", m)
	}
	if !slices.Equal(f.tree(t), before) {
		t.Errorf("the folder changed:\n%q\n%q", before, f.tree(t))
	}

	// A mail that somebody has read has another path, but is the same mail.
	f.seen(t, "1.a.host")
	f.put(t, "5.e.host", mailOf("fourth"), now)
	if err := d.Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
	k.want(t, "first", "second", "third", "fourth")
}

func TestMaildirHugeMail(t *testing.T) {
	f := newFolder(t)
	f.put(t, "1.a", append(mailOf("huge"), make([]byte, mailin.MaxSize)...), time.Now())
	var k takes
	if err := inFolder(t, mailin.MaildirOptions{Dir: f.dir}).Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
	if m := k.mails[0]; !m.TooLarge || !bytes.HasPrefix(mailOf("huge"), m.Raw) || len(m.Raw) == 0 || m.Size != mailin.MaxSize+int64(len(mailOf("huge"))) {
		t.Errorf("%v with %d bytes of %d", m.TooLarge, len(m.Raw), m.Size)
	}
}

func TestMaildirPoisonMail(t *testing.T) {
	f, state, now := newFolder(t), &memory{}, time.Now()
	var log journal
	for i, s := range []string{"before", "poison", "after"} {
		f.put(t, fmt.Sprintf("%d.x", i), mailOf(s), now.Add(time.Duration(i)*time.Second))
	}
	k := takes{verdict: func(s string) error {
		if s == "poison" {
			panic("cannot make sense of it")
		}
		return nil
	}}
	for range 6 {
		d := inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state, Log: log.logger()})
		if err := d.Read(t.Context(), k.take); err != nil {
			t.Fatal(err)
		}
	}
	k.want(t, "before", "after")
	if n := k.offers["poison"]; n != mailin.Attempts {
		t.Errorf("offered %d times", n)
	}
	if n := strings.Count(log.String(), "set aside"); n != 1 {
		t.Errorf("set aside %d times in:\n%s", n, log.String())
	}
	if p := state.position(t); len(p.Names) != 3 || len(p.Failed) != 0 {
		t.Errorf("position %+v", p)
	}
}

func TestMaildirFullDisk(t *testing.T) {
	f, state := newFolder(t), &memory{}
	f.put(t, "1.a", mailOf("one"), time.Now())
	full := true
	k := takes{verdict: func(string) error {
		if full {
			return fullDisk{}
		}
		return nil
	}}
	d := inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state})
	for range 5 {
		if err := d.Read(t.Context(), k.take); !errors.Is(err, fullDisk{}) {
			t.Fatalf("got %v", err)
		}
	}
	full = false
	if err := d.Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
	k.want(t, "one")
}

// A folder may be empty for a while, because its disk is not mounted or a
// synchronisation is running. Its mails must not be read again afterwards.
func TestMaildirEmptyForAWhile(t *testing.T) {
	f, state := newFolder(t), &memory{}
	f.put(t, "1.a", mailOf("one"), time.Now())
	f.put(t, "2.b", mailOf("two"), time.Now())
	d := inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state})
	var k takes
	round := func() {
		t.Helper()
		if err := d.Read(t.Context(), k.take); err != nil {
			t.Fatal(err)
		}
	}
	round()
	away := filepath.Join(f.dir, "away")
	if err := errors.Join(os.Rename(filepath.Join(f.dir, "new"), away), os.Mkdir(filepath.Join(f.dir, "new"), 0o700)); err != nil {
		t.Fatal(err)
	}
	f.put(t, "3.c", mailOf("three"), time.Now())
	round()
	if err := errors.Join(os.Rename(filepath.Join(f.dir, "new", "3.c"), filepath.Join(away, "3.c")),
		os.Remove(filepath.Join(f.dir, "new")), os.Rename(away, filepath.Join(f.dir, "new"))); err != nil {
		t.Fatal(err)
	}
	round()
	k.want(t, "one", "two", "three")
}

func TestMaildirPositionStaysBounded(t *testing.T) {
	f, state, now := newFolder(t), &memory{}, time.Now()
	const most = 10_000
	var names []string
	for i := range most + 5 {
		names = append(names, fmt.Sprintf("%08d.x", i)) // all handled, all gone
	}
	if err := state.Save(mailin.Position{Names: names, Since: now.AddDate(0, 0, -30)}); err != nil {
		t.Fatal(err)
	}
	f.put(t, "99999999.y", mailOf("new"), now)
	var k takes
	if err := inFolder(t, mailin.MaildirOptions{Dir: f.dir, State: state}).Read(t.Context(), k.take); err != nil {
		t.Fatal(err)
	}
	k.want(t, "new")
	p := state.position(t)
	if len(p.Names) != most || p.Names[0] != "00000006.x" || p.Names[most-1] != "99999999.y" {
		t.Errorf("%d names from %s to %s", len(p.Names), p.Names[0], p.Names[len(p.Names)-1])
	}
}

func TestMaildirWatch(t *testing.T) {
	f := newFolder(t)
	synctest.Test(t, func(t *testing.T) {
		var log journal
		d := inFolder(t, mailin.MaildirOptions{Dir: f.dir, Poll: time.Minute, Log: log.logger()})
		ctx, cancel := context.WithCancel(t.Context())
		k, done := takes{each: make(chan string, 10)}, make(chan error)
		go func() { done <- d.Watch(ctx, k.take) }()
		for i := range 3 {
			time.Sleep(10 * time.Second)
			put := time.Now()
			f.put(t, fmt.Sprintf("%d.x", i), mailOf(fmt.Sprint(i)), put)
			if got := <-k.each; got != fmt.Sprint(i) {
				t.Errorf("took %q", got)
			}
			if d := time.Since(put); d > time.Minute {
				t.Errorf("mail %d took %s", i, d)
			}
		}
		// The folder disappears and comes back.
		if err := os.Rename(f.dir, f.dir+".away"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(10 * time.Minute)
		if err := os.Rename(f.dir+".away", f.dir); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(log.String(), "cannot be read") {
			t.Errorf("the missing folder was not reported:\n%s", log.String())
		}
		f.put(t, "9.x", mailOf("back"), time.Now())
		if got := <-k.each; got != "back" {
			t.Errorf("took %q", got)
		}
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("Watch returned %v", err)
		}
	})
}

func TestMissingMaildir(t *testing.T) {
	dir := t.TempDir()
	err := inFolder(t, mailin.MaildirOptions{Dir: dir}).Read(t.Context(), new(takes).take)
	if err == nil || !strings.Contains(err.Error(), dir) {
		t.Errorf("got %v, want an error that names the folder", err)
	}
	for _, o := range []mailin.MaildirOptions{{State: &memory{}}, {Dir: dir}} {
		if _, err := mailin.NewMaildir(o); err == nil {
			t.Errorf("%+v was accepted", o)
		}
	}
}

func mkfifo(path string) error { return syscall.Mkfifo(path, 0o600) }
