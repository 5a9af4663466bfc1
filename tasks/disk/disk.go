// Package disk writes files so that they survive a crash.
//
// The program stores everything through a [Files]: [Files.WriteFile] for a
// whole file, [Files.Append] for a line at the end of a file, [LoadJSON] and
// [Files.WriteJSON] for small state. Each returns only after the bytes, the
// name and the folders above are on the disk. A crash leaves either the old
// state or the new state, never a mixture. [Acquire] prevents a second program
// from writing at the same time.
//
// After an error of fsync the content of the disk is unknown: the kernel
// forgets the failed pages, so a second fsync would succeed without having
// written anything (Rebello et al. 2020, "Can Applications Recover from fsync
// Failures?", USENIX ATC). Such errors match [ErrLost], and nothing here tries
// again.
//
// [Open], [ReadFile] and [FS] do the reading. They open regular files only, and
// never wait, even if a path names a pipe or a device. All changes pass through the
// small interface [Ops], so that a test can stop the program after each operation;
// disktest does that.
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

// Ops has exactly the operations that change a disk. [System] is the real one.
type Ops interface {
	OpenFile(name string, flag int, perm fs.FileMode) (File, error)
	Mkdir(name string, perm fs.FileMode) error
	Rename(from, to string) error
	Remove(name string) error
	// SyncDir makes the names in a folder durable.
	SyncDir(name string) error
}

// File is an open file, with the methods that writing needs.
type File interface {
	Write(b []byte) (int, error)
	Truncate(size int64) error
	Chmod(mode fs.FileMode) error
	Stat() (fs.FileInfo, error)
	Sync() error
	Close() error
}

// Files writes the program's files. The zero value writes to the real disk.
type Files struct {
	Ops Ops // nil: System
}

func (f Files) ops() Ops {
	if f.Ops == nil {
		return System{}
	}
	return f.Ops
}

// ErrLost marks an error (errors.Is) after which the content of the disk is
// unknown. Read the file again before writing to it.
var ErrLost = errors.New("what the disk now holds is not known; check it, and start again")

func lost(doing string, err error) error {
	return fmt.Errorf("%s: %w (%w)", doing, err, ErrLost)
}

// tempSuffix ends the names of temporary files. The names begin with a dot, so
// that neither the books' *.toml nor a Maildir includes them.
const tempSuffix = ".nestround-part"

// leftoverAge is the age difference to a new temporary file at which an older
// one for the same target counts as left over from a crash.
const leftoverAge = time.Hour

func tempName(target string) string {
	base := filepath.Base(target)
	if len(base) > 200 { // common file systems limit names to 255 bytes
		base = base[:200]
	}
	return filepath.Join(filepath.Dir(target), "."+base+"."+rand.Text()[:10]+tempSuffix)
}

// WriteFile replaces the content of path by data, completely or not at all. It
// makes missing folders. An existing file keeps its mode, a new file gets perm
// (less the umask). If path is a symbolic link, WriteFile replaces the target
// and keeps the link. After an error the old content is unchanged, unless the
// error matches [ErrLost]: then the disk may hold either content.
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
		f.ops().Remove(temp) // report the first error, not one of Remove
	}()
	if old != nil { // the umask may have removed bits
		if err := t.Chmod(perm); err != nil {
			return fmt.Errorf("write %q: %w", path, err)
		}
	}
	if _, err := t.Write(data); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	// Sync first. Otherwise the rename may reach the disk before the content,
	// and a power cut would leave an empty file under the final name. If Sync
	// fails, the new file is removed and the old file is unchanged.
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
	temp = "" // the file has its final name and must not be removed after a later error
	if serr := f.ops().SyncDir(dir); serr != nil {
		return lost(fmt.Sprintf("write %q", path), serr)
	}
	f.sweep(dir, "."+filepath.Base(target)+".", made.ModTime().Add(-leftoverAge))
	return nil
}

// follow resolves symbolic links and returns the path of the target, which need
// not exist.
func follow(path string) (string, error) {
	for range 40 { // the limit of Linux
		// Resolve links in the folder first, by the file system: package
		// filepath would resolve ".." by the preceding name, which may be a
		// link.
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

// MkdirAll makes the folder dir and its missing parents, durably.
func (f Files) MkdirAll(dir string, perm fs.FileMode) error {
	parent := filepath.Dir(filepath.Clean(dir))
	st, err := os.Stat(dir)
	if err == nil {
		if !st.IsDir() {
			return fmt.Errorf("make folder %q: there is a file of that name", dir)
		}
		// The program that made the folder may have been killed before syncing
		// its name. A folder with content needs no sync, because content is
		// written after the sync.
		if empty, err := isEmpty(dir); err != nil || !empty {
			return err
		}
		err := f.ops().SyncDir(parent)
		if err != nil && !errors.Is(err, fs.ErrPermission) { // without permission this program cannot have made the folder
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
		f.ops().Remove(dir) // the next call then makes the folder again, and does not repeat only the sync
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

// Append adds data to the end of path, which must be size bytes long. A missing
// file is made with perm; the folder must exist. After an error the file is as
// before, unless the error matches [ErrLost].
//
// A crash or a power cut may leave a part of data behind. The reader must be
// able to tell a whole record from a torn one.
func (f Files) Append(path string, size int64, data []byte, perm fs.FileMode) error {
	a, err := f.ops().OpenFile(path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, perm)
	if err != nil {
		return fmt.Errorf("add to %q: %w", path, err)
	}
	defer a.Close() // Sync has reported all errors before
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
		// The new bytes may be readable but not on the disk. Remove the bytes
		// as far as possible; the removal may fail, too.
		a.Truncate(size)
		return lost(fmt.Sprintf("add to %q", path), err)
	}
	// Sync the name of an existing file, too: the program that made the file
	// may have been killed before.
	if err := f.ops().SyncDir(filepath.Dir(path)); err != nil {
		a.Truncate(size)
		return lost(fmt.Sprintf("add to %q", path), err)
	}
	return nil
}

// Sync makes the file at path durable. Another process may have written it and
// ended before syncing.
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

// Truncate shortens path to size bytes, durably.
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

// Rename renames a file durably, within a folder or to another existing folder
// of the same disk. It replaces an existing file.
func (f Files) Rename(from, to string) error {
	if err := f.ops().Rename(from, to); err != nil {
		return fmt.Errorf("rename %q to %q: %w", from, to, err)
	}
	// Sync the folder of the new name first. A crash between the two syncs then
	// leaves both names instead of none.
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

// Remove removes a file, durably. A missing file is not an error.
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

// trialSize is the size of the file that [Files.Try] writes, in bytes. It is about
// what a morning writes: a disk with less room counts as full, although a few
// entries may still fit.
const trialSize = 256 << 10

// Try writes a file of 256 KiB into the existing folder dir, makes it durable, and
// removes it. It returns the first error.
func (f Files) Try(dir string) error {
	path := filepath.Join(dir, ".nestround-trial")
	data := make([]byte, trialSize)
	rand.Read(data) // some file systems keep no zeros; Read never fails
	var err error
	for range 3 { // Clean in another process may remove the temporary file
		if err = f.WriteFile(path, data, 0o600); !errors.Is(err, fs.ErrNotExist) {
			break
		}
	}
	if err != nil {
		f.ops().Remove(path) // after ErrLost it may be there
		return err
	}
	return f.Remove(path)
}

// Clean removes temporary files that a crash left in dir. Nobody else may write
// in dir meanwhile, so hold the lock. [Files.WriteFile] itself removes
// leftovers for the same target after an hour.
func (f Files) Clean(dir string) error {
	return f.sweep(dir, ".", time.Time{})
}

// sweep removes temporary files with names that begin with prefix. If before is
// not zero, it removes only files last written before that time.
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

// SetAside renames an unusable file to path.<word>-1, or the next free number,
// and returns the new name. It deletes nothing.
func (f Files) SetAside(path, word string) (string, error) {
	to, err := FreeName(path, word)
	if err != nil {
		return "", err
	}
	return to, f.Rename(path, to)
}

// FreeName returns the first free name among path.<word>-1, path.<word>-2 and
// so on.
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
