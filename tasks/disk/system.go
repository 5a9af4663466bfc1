package disk

import (
	"errors"
	"io/fs"
	"os"
	"runtime"
	"syscall"
)

// System is the real disk.
type System struct{}

var _ Ops = System{}

// OpenFile is os.OpenFile for regular files. It never waits; see [Open].
func (System) OpenFile(name string, flag int, perm fs.FileMode) (File, error) {
	f, err := openRegular(name, flag, perm)
	if err != nil {
		return nil, err // f would be wrong: an interface with a nil *os.File is not nil
	}
	return f, nil
}

// Mkdir is os.Mkdir.
func (System) Mkdir(name string, perm fs.FileMode) error { return os.Mkdir(name, perm) }

// Rename is os.Rename.
func (System) Rename(from, to string) error { return os.Rename(from, to) }

// Remove is os.Remove.
func (System) Remove(name string) error { return os.Remove(name) }

// SyncDir calls fsync on a folder. Some network and FUSE file systems do not
// support this call and return EINVAL or ENOTSUP; names are then as durable as
// the server makes them. Windows has no such call, and its file system journals
// names.
func (System) SyncDir(name string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(name)
	if err != nil {
		return err
	}
	defer d.Close()
	err = d.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		return nil
	}
	return err
}
