// Package disk writes files so that they outlive a crash.
//
// Everything the program stores goes through a [Files]: [Files.WriteFile] for
// a whole file, [Files.Append] for a line at the end of one, [LoadJSON] and
// [Files.WriteJSON] for small state. Each returns only when the bytes, the
// name and the folders above it are on the disk, and leaves the old state or
// the new one behind, never something between. [Acquire] keeps a second
// program from writing at the same time.
//
// An error of fsync means that nobody knows what the disk holds: the kernel
// forgets the failed pages, so a second fsync would succeed without having
// written anything (Rebello et al. 2020, "Can Applications Recover from fsync
// Failures?", USENIX ATC). Such errors match [ErrLost], and nothing here tries
// again.
//
// Reading is left to package os; only what reads state as JSON is here. All
// changes pass through the small [Ops], so that a test can stop the program
// after any one of them; disktest does.
package disk

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Ops are the operations that change a disk, and nothing more. [System] is
// the real one.
type Ops interface {
	OpenFile(name string, flag int, perm fs.FileMode) (File, error)
	Mkdir(name string, perm fs.FileMode) error
	Rename(from, to string) error
	Remove(name string) error
	// SyncDir makes the names in a folder durable.
	SyncDir(name string) error
}

// File is an open file, as far as writing needs one.
type File interface {
	Write(b []byte) (int, error)
	Truncate(size int64) error
	Chmod(mode fs.FileMode) error
	Stat() (fs.FileInfo, error)
	Sync() error
	Close() error
}

// Files does the program's writing. The zero value writes to the real disk.
type Files struct {
	Ops Ops // nil: System
}

func (f Files) ops() Ops {
	if f.Ops == nil {
		return System{}
	}
	return f.Ops
}

// ErrLost is what errors match (errors.Is) after which nobody knows what the
// disk holds. The file must be read anew before anything is written to it.
var ErrLost = errors.New("what the disk now holds is not known; check it, and start again")

func lost(doing string, err error) error {
	return fmt.Errorf("%s: %w (%w)", doing, err, ErrLost)
}

// tempSuffix ends the names of files in the making. They begin with a dot, so
// that neither the books' *.toml nor a Maildir takes one for its own.
const tempSuffix = ".nestround-part"

// leftoverAge is how much older than a new file in the making another one of
// the same target must be to count as left over from a crash.
const leftoverAge = time.Hour

func tempName(target string) string {
	base := filepath.Base(target)
	if len(base) > 200 { // names end at 255 bytes on common file systems
		base = base[:200]
	}
	return filepath.Join(filepath.Dir(target), "."+base+"."+rand.Text()[:10]+tempSuffix)
}

// WriteFile gives path the content data, whole or not at all. Missing folders
// are made. A file that exists keeps its mode, a new one gets perm (less the
// umask); where path is a symbolic link, the file it points to is replaced and
// the link stays. On an error the old content is untouched, unless the error
// matches [ErrLost]: then either content may be what the disk holds.
func (f Files) WriteFile(path string, data []byte, perm fs.FileMode) (err error) {
	target, err := follow(path)
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	dir := filepath.Dir(target)
	if err := f.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	old, err := os.Stat(target)
	switch {
	case err == nil && !old.Mode().IsRegular():
		return fmt.Errorf("write %q: it is not a regular file", path)
	case err == nil:
		perm = old.Mode().Perm()
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("write %q: %w", path, err)
	}

	temp := tempName(target)
	t, err := f.ops().OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm)
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	open := true
	defer func() {
		if err == nil || temp == "" {
			return
		}
		if open {
			t.Close()
		}
		f.ops().Remove(temp) // the error that brought us here is the one to report
	}()
	if old != nil { // the umask may have taken something away
		if err := t.Chmod(perm); err != nil {
			return fmt.Errorf("write %q: %w", path, err)
		}
	}
	if _, err := t.Write(data); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	// Without this the rename may reach the disk before the content does, and
	// a power cut leaves an empty file under the good name. If it fails, the
	// new file is thrown away and the old one has not been touched.
	if err := t.Sync(); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	made, err := t.Stat()
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	open = false
	if err := t.Close(); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	if err := f.ops().Rename(temp, target); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	temp = "" // it has its name; what fails from here on does not undo that
	if serr := f.ops().SyncDir(dir); serr != nil {
		return lost(fmt.Sprintf("write %q", path), serr)
	}
	f.sweep(dir, "."+filepath.Base(target)+".", made.ModTime().Add(-leftoverAge))
	return nil
}

// follow returns the path of the file that path means, which need not exist,
// through any symbolic links.
func follow(path string) (string, error) {
	for range 40 { // as many as Linux follows
		// The folder's own links first, and by the file system: package
		// filepath would take ".." for the name before it, which may be a link
		// to elsewhere.
		dir, base := filepath.Split(path)
		dir, err := filepath.EvalSymlinks(cmp.Or(dir, "."))
		if errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
		if err != nil {
			return "", err
		}
		path = filepath.Join(dir, base)
		st, err := os.Lstat(path)
		if errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
		if err != nil {
			return "", err
		}
		if st.Mode()&fs.ModeSymlink == 0 {
			return path, nil
		}
		to, err := os.Readlink(path)
		if err != nil {
			return "", err
		}
		if !filepath.IsAbs(to) {
			to = dir + string(filepath.Separator) + to
		}
		path = to
	}
	return "", errors.New("too many symbolic links")
}

// MkdirAll makes the folder dir and those above it where they are missing,
// durably.
func (f Files) MkdirAll(dir string, perm fs.FileMode) error {
	parent := filepath.Dir(filepath.Clean(dir))
	st, err := os.Stat(dir)
	if err == nil {
		if !st.IsDir() {
			return fmt.Errorf("make folder %q: there is a file of that name", dir)
		}
		// Whoever made it may have been killed before its name was synced. Not
		// if it holds anything: that comes after.
		if empty, err := isEmpty(dir); err != nil || !empty {
			return err
		}
		err := f.ops().SyncDir(parent)
		if err != nil && !errors.Is(err, fs.ErrPermission) { // then it was not us
			return lost(fmt.Sprintf("make folder %q", dir), err)
		}
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("make folder %q: %w", dir, err)
	}
	if parent != dir {
		if err := f.MkdirAll(parent, perm); err != nil {
			return err
		}
	}
	if err := f.ops().Mkdir(dir, perm); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make folder %q: %w", dir, err)
	}
	if err := f.ops().SyncDir(parent); err != nil {
		f.ops().Remove(dir) // so that it is made anew, not synced again
		return lost(fmt.Sprintf("make folder %q", dir), err)
	}
	return nil
}

func isEmpty(dir string) (bool, error) {
	d, err := os.Open(dir)
	if err != nil {
		return false, fmt.Errorf("look into folder %q: %w", dir, err)
	}
	defer d.Close()
	_, err = d.Readdirnames(1)
	if err == io.EOF {
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("look into folder %q: %w", dir, err)
	}
	return false, nil
}

// Append adds data to the end of path, which is made with perm where it is
// missing and must be size bytes long; the folder must exist. On an error the
// file is as it was, unless the error matches [ErrLost].
//
// A power cut, or the end of the program, may leave a part of data behind; who
// reads the file has to know a whole record from a torn one.
func (f Files) Append(path string, size int64, data []byte, perm fs.FileMode) error {
	a, err := f.ops().OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, perm)
	if err != nil {
		return fmt.Errorf("add to %q: %w", path, err)
	}
	defer a.Close() // everything that can fail has been asked by then: Sync came before
	st, err := a.Stat()
	if err != nil {
		return fmt.Errorf("add to %q: %w", path, err)
	}
	if st.Size() != size {
		return fmt.Errorf("add to %q: somebody else has just changed it; try again", path)
	}
	if n, err := a.Write(data); err != nil {
		if n == 0 {
			return fmt.Errorf("add to %q: %w", path, err)
		}
		if terr := a.Truncate(size); terr != nil {
			return lost(fmt.Sprintf("add to %q", path), err)
		}
		return fmt.Errorf("add to %q: %w", path, err)
	}
	if err := a.Sync(); err != nil {
		// The bytes may be readable and yet not on the disk. Taking them back
		// is the best that can be done, and may fail like the rest.
		a.Truncate(size)
		return lost(fmt.Sprintf("add to %q", path), err)
	}
	// Also where the file was there before: whoever made it may have been
	// killed before its name was synced.
	if err := f.ops().SyncDir(filepath.Dir(path)); err != nil {
		a.Truncate(size)
		return lost(fmt.Sprintf("add to %q", path), err)
	}
	return nil
}

// Sync makes durable what another process wrote to the file at path and may not
// have synced before it ended.
func (f Files) Sync(path string) error {
	t, err := f.ops().OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return fmt.Errorf("sync %q: %w", path, err)
	}
	defer t.Close()
	if err := t.Sync(); err != nil {
		return lost(fmt.Sprintf("sync %q", path), err)
	}
	if err := f.ops().SyncDir(filepath.Dir(path)); err != nil {
		return lost(fmt.Sprintf("sync %q", path), err)
	}
	return nil
}

// Truncate cuts path off at size bytes, durably.
func (f Files) Truncate(path string, size int64) error {
	t, err := f.ops().OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return fmt.Errorf("shorten %q: %w", path, err)
	}
	defer t.Close()
	if err := t.Truncate(size); err != nil {
		return fmt.Errorf("shorten %q: %w", path, err)
	}
	if err := t.Sync(); err != nil {
		return lost(fmt.Sprintf("shorten %q", path), err)
	}
	return nil
}

// Rename gives a file another name in the same or another existing folder of
// the same disk, durably; a file of that name is replaced.
func (f Files) Rename(from, to string) error {
	if err := f.ops().Rename(from, to); err != nil {
		return fmt.Errorf("rename %q to %q: %w", from, to, err)
	}
	// The new name first: in between, the file has two names rather than none.
	dirs := []string{filepath.Dir(to)}
	if d := filepath.Dir(from); d != dirs[0] {
		dirs = append(dirs, d)
	}
	for _, d := range dirs {
		if err := f.ops().SyncDir(d); err != nil {
			return lost(fmt.Sprintf("rename %q to %q", from, to), err)
		}
	}
	return nil
}

// Remove removes a file, durably. It is no error if there is none.
func (f Files) Remove(path string) error {
	err := f.ops().Remove(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("remove %q: %w", path, err)
	}
	if err := f.ops().SyncDir(filepath.Dir(path)); err != nil {
		return lost(fmt.Sprintf("remove %q", path), err)
	}
	return nil
}

// Clean removes what a crash left in dir of files in the making. Nobody else
// may be writing there: call it with the lock held. [Files.WriteFile] itself
// clears away such leftovers of its own target that are an hour old.
func (f Files) Clean(dir string) error {
	return f.sweep(dir, ".", time.Time{})
}

// sweep removes files in the making whose names begin with prefix and that
// were last written before the given time, or whenever where it is zero.
func (f Files) sweep(dir, prefix string, before time.Time) error {
	names, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("clean %q: %w", dir, err)
	}
	for _, e := range names {
		if !strings.HasPrefix(e.Name(), prefix) || !strings.HasSuffix(e.Name(), tempSuffix) {
			continue
		}
		if !before.IsZero() {
			st, err := e.Info()
			if err != nil || !st.ModTime().Before(before) {
				continue
			}
		}
		if err := f.ops().Remove(filepath.Join(dir, e.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("clean %q: %w", dir, err)
		}
	}
	return nil
}

// SetAside renames a file that cannot be used to path.<word>-1, or the next
// number that is free, and returns that name. It deletes nothing.
func (f Files) SetAside(path, word string) (string, error) {
	to, err := FreeName(path, word)
	if err != nil {
		return "", err
	}
	return to, f.Rename(path, to)
}

// FreeName returns the first of path.<word>-1, path.<word>-2 and so on that no
// file has.
func FreeName(path, word string) (string, error) {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s.%s-%d", path, word, n)
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name, nil
		} else if err != nil {
			return "", fmt.Errorf("look for %q: %w", name, err)
		}
	}
}
