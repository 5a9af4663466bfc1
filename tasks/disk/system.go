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

// OpenFile is os.OpenFile.
func (System) OpenFile(name string, flag int, perm fs.FileMode) (File, error) {
	f, err := os.OpenFile(name, flag, perm)
	if err != nil {
		return nil, err // not f: an interface with a nil *os.File is not nil
	}
	return f, nil
}

// Mkdir is os.Mkdir.
func (System) Mkdir(name string, perm fs.FileMode) error { return os.Mkdir(name, perm) }

// Rename is os.Rename.
func (System) Rename(from, to string) error { return os.Rename(from, to) }

// Remove is os.Remove.
func (System) Remove(name string) error { return os.Remove(name) }

// SyncDir is fsync of a folder. Some network and FUSE file systems have no such
// call and return EINVAL or ENOTSUP; then names are as durable as the server
// makes them. Windows has no such call and journals names.
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
