//go:build unix

package disk

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// notFiles makes a folder, a pipe and every other kind of path that is no file.
func notFiles(t *testing.T) map[string]string {
	t.Helper()
	dir, err := os.MkdirTemp("", "n") // the path of a socket must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	in := func(name string) string { return filepath.Join(dir, name) }
	if err := syscall.Mkfifo(in("pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("unix", in("socket"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if err := os.Symlink(in("pipe"), in("link")); err != nil {
		t.Fatal(err)
	}
	return map[string]string{"a named pipe": in("pipe"), "a link to a pipe": in("link"), "a socket": in("socket"), "a folder": dir, "a device": "/dev/zero"}
}

// Neither reading nor writing waits if a path names no regular file.
func TestNothingButFilesIsOpened(t *testing.T) {
	var files Files
	for what, path := range notFiles(t) {
		for doing, do := range map[string]func() error{
			"read":   func() error { _, err := ReadFile(path, 100); return err },
			"append": func() error { return files.Append(path, 0, []byte("x"), 0o600) },
			"sync":   func() error { return files.Sync(path) },
			"cut":    func() error { return files.Truncate(path, 0) },
			"lock":   func() error { _, err := files.Acquire(path, 0); return err },
			"folder": func() error {
				_, err := FS(filepath.Dir(path), 100).ReadFile(filepath.Base(path))
				return err
			},
		} {
			if err := do(); !errors.Is(err, ErrNotFile) {
				t.Errorf("%s %s: %v", doing, what, err)
			}
		}
		_, err := ReadJSON[int](path)
		if corrupt := (*CorruptError)(nil); !errors.As(err, &corrupt) {
			t.Errorf("state in %s: %v", what, err)
		}
	}
}

func TestReadFileIsBounded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	for size, ok := range map[int]bool{0: true, 2047: true, 2048: true, 2049: false, 1 << 20: false} {
		text := strings.Repeat("x", size)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := ReadFile(path, 2048)
		var large *TooLargeError
		if ok && (err != nil || string(b) != text) || !ok && (!errors.As(err, &large) || large.Error() != "it is larger than 2 KiB" || b != nil) {
			t.Errorf("%d bytes: %d bytes, %v", size, len(b), err)
		}
	}
	if err := os.Truncate(path, 1<<40); err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(1, func() { ReadFile(path, 2048) }); n > 30 {
		t.Errorf("%v allocations for a file that is not read", n)
	}
}

func TestOutside(t *testing.T) {
	top := t.TempDir()
	books := filepath.Join(top, "books")
	must := func(err error) {
		if err != nil {
			t.Helper()
			t.Fatal(err)
		}
	}
	must(os.MkdirAll(filepath.Join(books, "room"), 0o755))
	must(os.MkdirAll(filepath.Join(top, "books-of-others"), 0o755))
	must(os.WriteFile(filepath.Join(top, "secret"), nil, 0o600))
	must(os.WriteFile(filepath.Join(top, "books-of-others", "a.toml"), nil, 0o600))
	must(os.WriteFile(filepath.Join(books, "own.toml"), nil, 0o600))
	must(os.WriteFile(filepath.Join(books, "..own.toml"), nil, 0o600))
	must(os.Symlink("own.toml", filepath.Join(books, "inner.toml")))
	must(os.Symlink("../own.toml", filepath.Join(books, "room", "up.toml")))
	must(os.Symlink("../secret", filepath.Join(books, "out.toml")))
	must(os.Symlink(filepath.Join(top, "books", "own.toml"), filepath.Join(books, "absolute.toml")))
	must(os.Symlink("out.toml", filepath.Join(books, "twice.toml")))
	must(os.Symlink("../books-of-others", filepath.Join(books, "shared")))
	must(os.Symlink("books", filepath.Join(top, "link")))
	for _, dir := range []string{books, filepath.Join(top, "link")} {
		for name, want := range map[string]bool{
			"own.toml": false, "..own.toml": false, "inner.toml": false, "room/up.toml": false, "absolute.toml": false,
			"out.toml": true, "twice.toml": true, "shared/a.toml": true, "none.toml": true,
		} {
			if got := FS(dir, 100).Outside(name); got != want {
				t.Errorf("%s in %s: outside %t, want %t", name, filepath.Base(dir), got, want)
			}
		}
	}
}
