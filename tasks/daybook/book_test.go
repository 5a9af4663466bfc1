package daybook

import (
	"bufio"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
	"nestround/tasks/finding"
)

func mustOpen(t testing.TB, books string) *Book {
	t.Helper()
	b, err := Open(books, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func mustAdd(t testing.TB, b *Book, e tasks.Entry, want bool) {
	t.Helper()
	added, err := b.Append(e)
	if err != nil {
		t.Fatal(err)
	}
	if added != want {
		t.Errorf("entry %q: added = %v, want %v", e.ID, added, want)
	}
}

func TestAppend(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	mustAdd(t, b, said("a", "2027-12-31"), true)
	mustAdd(t, b, said("b", "2028-01-01"), true)
	mustAdd(t, b, said("c", "2027-12-31"), true) // a reply that came late
	mustAdd(t, b, said("a", "2027-12-31"), false)
	again := said("b", "2027-05-05") // another day, the same mail
	mustAdd(t, b, again, false)
	undated := said("u", "2026-06-01")
	undated.On = again.On.AddDays(0)
	undated.On = tasks.Entry{}.On
	mustAdd(t, b, undated, true)

	for name, want := range map[string]string{"2026.jsonl": "u", "2027.jsonl": "a c", "2028.jsonl": "b"} {
		text, err := os.ReadFile(filepath.Join(folder(books), name))
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for line := range strings.Lines(string(text)) {
			e, err := decode(line)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, e.ID)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s holds %q, want %q", name, got, want)
		}
	}
	if got := ids(b.Log().Entries()); got != "u a c b" {
		t.Errorf("the log has %q", got)
	}
	if _, err := b.Append(tasks.Entry{At: time.Unix(0, 0)}); err == nil {
		t.Error("an entry without an id was accepted")
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(said("d", "2027-01-01")); err == nil {
		t.Error("a closed daybook accepted an entry")
	}
	if err := b.Close(); err != nil {
		t.Errorf("closed twice: %v", err)
	}
}

func TestAppendFromAYearOn(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	odd := said(`<a"ö&b@c>`, "2025-03-01") // its quote is escaped in the file
	for _, e := range []tasks.Entry{odd, said("ab", "2026-03-01"), said("x", "2027-03-01")} {
		mustAdd(t, b, e, true)
	}
	b.Close()

	l := NewLog(books, 2027)
	b, err := l.Open(Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if got := ids(l.Entries()); got != "x" {
		t.Errorf("read %q", got)
	}
	for id, want := range map[string]bool{odd.ID: true, "ab": true, "x": true, "a": false, "E07/water/2026-03-01": false} {
		if has, err := b.Has(id); err != nil || has != want {
			t.Errorf("Has(%q) = %v, %v", id, has, err)
		}
	}
	mustAdd(t, b, said("ab", "2027-03-02"), false)
	mustAdd(t, b, said("late", "2026-12-31"), true)
	if got := ids(l.Entries()); got != "ab late x" {
		t.Errorf("after an entry for an earlier year: %q", got)
	}
}

// Between two entries the keeper saves the file in an editor.
func TestAppendWhileAnEditorChangesTheFile(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	mustAdd(t, b, said("a", "2027-01-01"), true)
	path := filePath(books, 2027)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}

	// An editor that writes a new file without a last newline, and renames it.
	edited := strings.TrimSuffix(strings.Replace(string(text), "done 1", "done 2", 1), "\n")
	if err := os.WriteFile(path+".new", []byte(edited), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
	mustAdd(t, b, said("b", "2027-01-02"), true)
	// An editor that breaks a line in the middle.
	text, err = os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lay(t, books, "2027.jsonl", strings.Replace(string(text), "{", "", 1))
	mustAdd(t, b, said("c", "2027-01-03"), true)
	mustAdd(t, b, said("a", "2027-01-01"), true) // its line does not count any more

	entries, problems := mustRead(t, books)
	if got := ids(entries); got != "b c a" || got != ids(b.Log().Entries()) {
		t.Errorf("read %q, the log has %q", got, ids(b.Log().Entries()))
	}
	if len(problems) != 1 || problems[0].Line != 1 || !strings.Contains(problems[0].Text, "done 2") {
		t.Errorf("problems %v", problems)
	}
	if len(b.SetAside()) != 0 {
		t.Errorf("set aside %v", b.SetAside())
	}
}

func TestTornLines(t *testing.T) {
	a, b := lineOf(t, said("a", "2027-01-01")), lineOf(t, said("b", "2027-01-02"))
	for name, tail := range map[string]string{
		"half a line": b[:50], "half a line and a newline": b[:50] + "\n",
		"zeros": strings.Repeat("\x00", 300), "half a line and zeros": b[:50] + strings.Repeat("\x00", 100),
	} {
		t.Run(name, func(t *testing.T) {
			books := t.TempDir()
			lay(t, books, "2026.jsonl", lineOf(t, said("o", "2026-01-01"))+tail)
			lay(t, books, "2027.jsonl", a+tail)
			lay(t, books, "2027.torn-1", "of an earlier crash")
			if entries, problems := mustRead(t, books); ids(entries) != "o a" || len(problems) != 2 {
				t.Errorf("a reader sees %q, %v", ids(entries), problems)
			}
			w := mustOpen(t, books)
			aside := w.SetAside()
			if len(aside) != 2 || !strings.Contains(aside[1].Message, "daybook/2027.torn-2") || aside[1].Line != 2 {
				t.Errorf("set aside %v", aside)
			}
			for file, want := range map[string]string{
				"2026.torn-1": tail, "2027.torn-1": "of an earlier crash", "2027.torn-2": tail, "2027.jsonl": a,
			} {
				if got, err := os.ReadFile(filepath.Join(folder(books), file)); err != nil || string(got) != want {
					t.Errorf("%s holds %q, want %q (%v)", file, got, want, err)
				}
			}
			mustAdd(t, w, said("b", "2027-01-02"), true)
			if entries, problems := mustRead(t, books); ids(entries) != "o a b" || len(problems) != 0 {
				t.Errorf("afterwards: %q, %v", ids(entries), problems)
			}
		})
	}
}

// A last line that no crash can have left was written by the keeper, and stays
// in the file.
func TestALastLineOfTheKeeperStays(t *testing.T) {
	a := lineOf(t, said("a", "2027-01-01"))
	for name, last := range map[string]string{
		"a day that does not exist": strings.Replace(lineOf(t, said("b", "2027-01-02")), `"2027-01-02"`, `"2027-02-30"`, 1),
		"a comment":                 `"moved E07 to the other rack"`,
	} {
		t.Run(name, func(t *testing.T) {
			books := t.TempDir()
			lay(t, books, "2027.jsonl", a+last)
			w := mustOpen(t, books)
			if len(w.SetAside()) > 0 {
				t.Errorf("set aside %v", w.SetAside())
			}
			mustAdd(t, w, said("c", "2027-01-03"), true)
			entries, problems := mustRead(t, books)
			if ids(entries) != "a c" || len(problems) != 1 || problems[0].Line != 2 {
				t.Errorf("read %q, %v", ids(entries), problems)
			}
		})
	}
}

func TestOneWriter(t *testing.T) {
	books := t.TempDir()
	first := mustOpen(t, books)
	mustAdd(t, first, said("a", "2027-01-01"), true)
	_, err := Open(books, Options{})
	var held *disk.HeldError
	if !errors.As(err, &held) {
		t.Fatalf("the second writer: %v", err)
	}
	if want := fmt.Sprintf("another nestround (process %d) is writing these books", os.Getpid()); err.Error() != want {
		t.Errorf("message %q", err)
	}
	if entries, _ := mustRead(t, books); ids(entries) != "a" {
		t.Errorf("a reader beside the writer: %q", ids(entries))
	}
	opened := make(chan error)
	go func() {
		second, err := Open(books, Options{Wait: time.Minute})
		if err == nil {
			_, err = second.Append(said("b", "2027-01-01"))
			second.Close()
		}
		opened <- err
	}()
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-opened; err != nil {
		t.Errorf("the one who waited: %v", err)
	}
	// A log stays usable after the books that write through it are closed.
	if _, err := first.Log().Refresh(); err != nil || ids(first.Log().Entries()) != "a b" {
		t.Errorf("the first one's log: %q, %v", ids(first.Log().Entries()), err)
	}
}

// session simulates a program with a daybook that was left torn. It reports the
// ids acknowledged as durable.
func session(f disk.Files, books string) (acknowledged []string, err error) {
	b, err := Open(books, Options{Files: f})
	if err != nil {
		return nil, err
	}
	defer b.Close()
	for _, e := range submitted() {
		added, aerr := b.Append(e)
		if aerr != nil {
			err = errors.Join(err, aerr)
		}
		if added {
			acknowledged = append(acknowledged, e.ID)
		}
	}
	return acknowledged, err
}

func submitted() []tasks.Entry {
	long := said("n3", "2027-03-03")
	for range 60 { // more than a page of memory
		long.Acts = append(long.Acts, long.Acts[0])
	}
	second := said("n2", "2027-03-02") // needs the second version
	second.Acts[0].Finding = &tasks.Finding{Shed: finding.Whole}
	return []tasks.Entry{said("n1", "2027-03-01"), second, said("n1", "2027-03-01"), long, said("n4", "2028-01-01"), said("n5", "2028-01-02")}
}

// leave makes books as an earlier crash left them.
func leave(t *testing.T) (books string, before []string) {
	books = t.TempDir()
	if err := os.Mkdir(filepath.Join(books, "state"), 0o777); err != nil {
		t.Fatal(err)
	}
	lay(t, books, "2026.jsonl", lineOf(t, said("o1", "2026-01-01"))+lineOf(t, said("o2", "2026-01-02")))
	lay(t, books, "2027.jsonl", lineOf(t, said("o3", "2027-01-02"))+lineOf(t, said("n1", "2027-01-01"))[:70])
	lay(t, books, ".2027.torn-1.ABCDEFGHIJ.nestround-part", "half")
	return books, []string{"o1", "o2", "o3"}
}

// A program that finds the entry of a killed program must sync it before
// calling it safe. Every entry acknowledged by either program survives a power
// cut.
func TestKilledThenPowerCut(t *testing.T) {
	for k, more := 1, true; more; k++ {
		books, before := leave(t)
		d := disktest.New(t, books)
		d.Stop(k, false)
		_, err := session(disk.Files{Ops: d}, books)
		if more = d.Stopped(); !more && err != nil {
			t.Fatal(err)
		}
		at := d.Log()[len(d.Log())-1]
		d.Restart()
		if _, err := session(disk.Files{Ops: d}, books); err != nil {
			t.Fatal(err)
		}
		for _, crash := range disktest.Crashes() {
			t.Run(fmt.Sprintf("%d %s/%s", k, at, crash), func(t *testing.T) {
				checkAfter(t, d.After(t, crash), append(before, "n1", "n2", "n3", "n4", "n5"))
			})
		}
	}
}

// checkAfter checks the books after a crash: every acknowledged id counts once,
// no unknown entry counts, and after adding the same entries again every entry
// counts once.
func checkAfter(t *testing.T, books string, acknowledged []string) {
	t.Helper()
	known := strings.Fields("o1 o2 o3 n1 n2 n3 n4 n5")
	for _, opened := range []bool{false, true} {
		if opened {
			if _, err := session(disk.Files{Ops: disktest.New(t, books)}, books); err != nil {
				t.Fatal(err)
			}
			acknowledged = known
		}
		entries, problems := mustRead(t, books)
		count := map[string]int{}
		for _, e := range entries {
			count[e.ID]++
		}
		for _, id := range acknowledged {
			if count[id] != 1 {
				t.Errorf("%s was acknowledged and counts %d times (said again: %v)", id, count[id], opened)
			}
			delete(count, id)
		}
		for id, n := range count {
			if !slices.Contains(known, id) || n > 1 {
				t.Errorf("%s counts %d times", id, n)
			}
		}
		if opened && len(problems) > 0 {
			t.Errorf("still a problem: %v", problems)
		}
	}
	copies, err := filepath.Glob(filepath.Join(folder(books), "*.torn-*"))
	if err != nil {
		t.Fatal(err)
	}
	aside := map[string]string{}
	for _, c := range copies {
		text, err := os.ReadFile(c)
		if err != nil {
			t.Fatal(err)
		}
		if other, ok := aside[string(text)]; ok {
			t.Errorf("the same line was set aside as %s and %s", other, c)
		}
		aside[string(text)] = c
	}
	left, err := filepath.Glob(filepath.Join(folder(books), ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left over: %q %v", left, err)
	}
}

// TestCrash stops the program at every operation on the disk, and in the middle
// of every write. Then it opens the books after every kind of crash.
func TestCrash(t *testing.T) {
	for k, more := 1, true; more; k++ {
		for _, half := range []bool{false, true} {
			books, before := leave(t)
			d := disktest.New(t, books)
			d.Stop(k, half)
			acknowledged, err := session(disk.Files{Ops: d}, books)
			if more = d.Stopped(); !more && err != nil {
				t.Fatal(err)
			}
			acknowledged = append(acknowledged, before...)
			for _, crash := range disktest.Crashes() {
				t.Run(fmt.Sprintf("%d half=%v %s", k, half, crash), func(t *testing.T) {
					t.Parallel()
					checkAfter(t, d.After(t, crash), acknowledged)
				})
			}
			if !strings.HasPrefix(d.Log()[len(d.Log())-1], "write") {
				break // only a write can be half done
			}
		}
	}
}

// TestCrashTwice stops the program again while it repairs the damage of the
// first crash.
func TestCrashTwice(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 150 {
		books, acknowledged := leave(t)
		for range 2 {
			d := disktest.New(t, books)
			d.Stop(1+r.IntN(25), r.IntN(2) == 0)
			told, _ := session(disk.Files{Ops: d}, books)
			acknowledged = append(acknowledged, told...)
			crash := disktest.Crashes()[r.IntN(len(disktest.Crashes()))]
			books = d.After(t, crash)
		}
		checkAfter(t, books, acknowledged)
	}
}

// TestFaults makes every operation fail once, on a full disk and on a broken
// disk. The program continues.
func TestFaults(t *testing.T) {
	for _, fault := range []error{syscall.ENOSPC, syscall.EIO} {
		for k, more := 1, true; more; k++ {
			for _, half := range []bool{false, true} {
				books, before := leave(t)
				d := disktest.New(t, books)
				d.Fail(k, fault, half)
				acknowledged, err := session(disk.Files{Ops: d}, books)
				if more = len(d.Log()) >= k; !more {
					if err != nil {
						t.Fatal(err)
					}
					break
				}
				at := d.Log()[k-1]
				t.Run(fmt.Sprintf("%v at %d %s half=%v", fault, k, at, half), func(t *testing.T) {
					if err == nil || !errors.Is(err, fault) {
						t.Errorf("the error was swallowed: %v", err)
					}
					// If the state is known, only the failed entry is rejected.
					// If it is unknown, all later entries are rejected.
					lost := strings.HasPrefix(at, "sync") && !strings.HasSuffix(at, "-part")
					if errors.Is(err, disk.ErrLost) != lost {
						t.Errorf("lost = %v: %v", !lost, err)
					}
					if n := len(acknowledged); n > 0 && !lost && n < 4 {
						t.Errorf("only %q were accepted", acknowledged)
					}
					checkAfter(t, books, append(acknowledged, before...))
				})
			}
		}
	}
}

func TestNothingIsWrittenAfterALoss(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	mustAdd(t, b, said("a", "2027-01-01"), true)
	b.Close()
	d := disktest.New(t, books)
	b, err := Open(books, Options{Files: disk.Files{Ops: d}})
	if err != nil {
		t.Fatal(err)
	}
	d.Fail(len(d.Log())+3, syscall.EIO, false) // open, write, sync
	if _, err := b.Append(said("b", "2027-01-02")); !errors.Is(err, disk.ErrLost) {
		t.Fatalf("the failed fsync: %v (%q)", err, d.Log())
	}
	ops := len(d.Log())
	if _, err := b.Append(said("c", "2027-01-03")); !errors.Is(err, disk.ErrLost) {
		t.Errorf("the entry after it: %v", err)
	}
	if len(d.Log()) != ops {
		t.Errorf("it was tried: %q", d.Log()[ops:])
	}
	b.Close()
	b = mustOpen(t, books)
	mustAdd(t, b, said("b", "2027-01-02"), true)
	if entries, _ := mustRead(t, books); ids(entries) != "a b" {
		t.Errorf("opened again: %q", ids(entries))
	}
}

// TestKilled runs this test again as a program that writes, and kills it again
// and again in the middle of its work.
func TestKilled(t *testing.T) {
	if books := os.Getenv("NESTROUND_TEST_BOOKS"); books != "" {
		b, err := Open(books, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for n := 0; ; n++ {
			e := said(fmt.Sprintf("%d-%d", os.Getpid(), n), fmt.Sprintf("%d-03-03", 2027+n/20%2))
			if _, err := b.Append(e); err != nil {
				t.Fatal(err)
			}
			if _, err := fmt.Println(e.ID); err != nil {
				t.Fatal(err)
			}
		}
	}
	books := t.TempDir()
	var acknowledged []string
	for round := range 12 {
		c := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		c.Env = append(os.Environ(), "NESTROUND_TEST_BOOKS="+books)
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for n := 0; lines.Scan(); n++ {
			acknowledged = append(acknowledged, lines.Text())
			if n == 3*round {
				if err := c.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := c.Wait(); err == nil || len(acknowledged) <= 3*round {
			t.Fatalf("the program ended by itself: %v", err)
		}
		b := mustOpen(t, books)
		count := map[string]int{}
		for _, e := range b.Log().Entries() {
			count[e.ID]++
		}
		for _, id := range acknowledged {
			if count[id] != 1 {
				t.Fatalf("%s was acknowledged and counts %d times", id, count[id])
			}
		}
		if p := b.Log().Problems(); len(p) > 0 {
			t.Errorf("problems %v", p)
		}
		b.Close()
	}
}

// A reader sees only whole entries, all those acknowledged before it looked, in
// their order, and no problem.
func TestReadersSeeOnlyWholeEntries(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	var acknowledged, over atomic.Int64
	var readers sync.WaitGroup
	for r := range 4 {
		l := NewLog(books, 0)
		if r == 0 {
			l = b.Log()
		}
		readers.Go(func() {
			for last := 0; ; {
				stop := over.Load() == 1
				sure := int(acknowledged.Load())
				if r == 1 {
					l = NewLog(books, 0)
				}
				if _, err := l.Refresh(); err != nil {
					t.Error(err)
					return
				}
				entries := l.Entries()
				if len(entries) < sure || len(entries) < last {
					t.Errorf("%d entries, %d were acknowledged, %d seen before", len(entries), sure, last)
				}
				last = len(entries)
				for i, e := range entries {
					if e.ID != fmt.Sprint("m", i) || len(e.Acts) != 1+i%50 {
						t.Errorf("entry %d is %q", i, e.ID)
						return
					}
				}
				if p := l.Problems(); len(p) > 0 {
					t.Errorf("problems %v", p)
				}
				if stop {
					return
				}
			}
		})
	}
	for i := range 100 {
		e := said(fmt.Sprint("m", i), "2027-05-05")
		for range i % 50 {
			e.Acts = append(e.Acts, e.Acts[0])
		}
		mustAdd(t, b, e, true)
		acknowledged.Add(1)
	}
	over.Store(1)
	readers.Wait()
}
