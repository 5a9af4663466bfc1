//go:build unix

package daybook

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"nestround/tasks/disk"
)

// A named pipe in the daybook must not make anybody wait for a writer. In the
// place of a year, the entries of the year are not known, so nothing is read.
func TestPipeInTheDaybook(t *testing.T) {
	for name, refused := range map[string]bool{"2027.jsonl": true, "2027.torn-1": false, "copy.jsonl": false, "notes": false} {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, Folder), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := syscall.Mkfifo(filepath.Join(dir, Folder, name), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := NewLog(dir, 0).Refresh()
		b, openErr := Open(dir, Options{})
		if refused != errors.Is(err, disk.ErrNotFile) || refused != errors.Is(openErr, disk.ErrNotFile) {
			t.Errorf("%s: read: %v; open: %v", name, err, openErr)
		}
		if openErr == nil {
			b.Close()
		}
	}
}

func TestTheDaybookIsBounded(t *testing.T) {
	year := func(n int) string { return fmt.Sprintf("%s/%d.jsonl", Folder, n) }
	for _, c := range []struct {
		name  string
		sizes map[int]int64 // by year
		want  string        // "" for no error
	}{
		{"a year too large", map[int]int64{2027: MaxYear + 1}, "read the daybook: daybook/2027.jsonl is larger than 128 MiB"},
		{"all years too large", map[int]int64{2023: MaxYear, 2024: MaxYear, 2025: MaxYear, 2026: MaxYear, 2027: 1}, "read the daybook: daybook is larger than 512 MiB"},
	} {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, Folder), 0o755); err != nil {
			t.Fatal(err)
		}
		for n, size := range c.sizes {
			f, err := os.Create(filepath.Join(dir, filepath.FromSlash(year(n))))
			if err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(f.Truncate(size), f.Close()); err != nil {
				t.Fatal(err)
			}
		}
		_, err := NewLog(dir, 0).Refresh()
		var large *TooLargeError
		if !errors.As(err, &large) || err.Error() != c.want || large.Hint() == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// A line above the limit does not count, and neither its text nor more than a
// few hundred problems are kept.
func TestLongAndManyBadLines(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, Folder), 0o755); err != nil {
		t.Fatal(err)
	}
	const good = `{"id":"a","at":"2027-05-12T06:00:00Z","acts":[]}` + "\n"
	text := `{"id":"long","at":"2027-05-12T06:00:00Z","text":"` + strings.Repeat("x", MaxLine) + `"}` + "\n" + good + strings.Repeat("no\n", 2000) + strings.Replace(good, `"a"`, `"b"`, 1)
	if err := os.WriteFile(filepath.Join(dir, Folder, "2027.jsonl"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	l := NewLog(dir, 0)
	if _, err := l.Refresh(); err != nil {
		t.Fatal(err)
	}
	if e := l.Entries(); len(e) != 2 || e[0].ID != "a" {
		t.Errorf("%d entries", len(e))
	}
	p := l.Problems()
	if len(p) != maxProblems || p[0].Text != "" || p[0].Message != "the line is longer than 16 MiB; it does not count" {
		t.Fatalf("%d problems, first %q %q", len(p), p[0].Message, p[0].Text)
	}
	if last := p[maxProblems-1]; last.Line != maxProblems+1 || !strings.HasPrefix(last.Message, "too many lines do not count") {
		t.Errorf("last: %v", last)
	}
}
