package disk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
)

// Lock is held by the only program that may write. The operating system
// releases it when the program ends for any reason.
type Lock struct {
	flock *flock.Flock
}

// HeldError says that another program holds a lock.
type HeldError struct {
	Path string // of the lock
	PID  int    // of the process that holds the lock; 0 if not known
}

func (e *HeldError) Error() string {
	if e.PID == 0 {
		return "another nestround is writing these books"
	}
	return fmt.Sprintf("another nestround (process %d) is writing these books", e.PID)
}

// lockPoll is the interval between attempts to get a held lock.
const lockPoll = 20 * time.Millisecond

// Acquire takes the lock of the file path, and makes the file and its folder if
// they are missing. If the lock is held, in another process or in this one,
// Acquire tries again until wait has passed (0: only once) and then returns a
// [*HeldError].
func (f Files) Acquire(path string, wait time.Duration) (*Lock, error) {
	if err := f.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	if st, err := os.Stat(path); err == nil && !st.Mode().IsRegular() {
		return nil, fmt.Errorf("lock %q: %w", path, ErrNotFile)
	}
	// With O_NONBLOCK, the open does not wait for ever if the path of the lock
	// names a pipe.
	l := flock.New(path, flock.SetPermissions(0o600), flock.SetFlag(os.O_CREATE|os.O_RDONLY|syscall.O_NONBLOCK))
	ok, err := l.TryLock()
	if err == nil && !ok && wait > 0 {
		ctx, cancel := context.WithTimeout(context.Background(), wait)
		defer cancel()
		ok, err = l.TryLockContext(ctx, lockPoll)
		if errors.Is(err, context.DeadlineExceeded) {
			err = nil
		}
	}
	if err != nil {
		return nil, fmt.Errorf("lock %q: %w", path, err)
	}
	if !ok {
		return nil, &HeldError{path, holder(path)}
	}
	// The process number is only for the message of HeldError; the lock works
	// without it. So an error here (a full disk; Windows, which locks the
	// bytes, too) does not matter.
	os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600)
	return &Lock{l}, nil
}

// Held reports whether a program holds the lock of the file path. It changes
// nothing.
func Held(path string) (bool, error) {
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err == nil && !st.Mode().IsRegular():
		err = ErrNotFile
	}
	if err != nil {
		return false, fmt.Errorf("look at the lock %q: %w", path, err)
	}
	l := flock.New(path, flock.SetFlag(os.O_RDONLY|syscall.O_NONBLOCK))
	defer l.Close()
	free, err := l.TryRLock()
	if err != nil {
		return false, fmt.Errorf("look at the lock %q: %w", path, err)
	}
	return !free, nil
}

func holder(path string) int {
	b, err := ReadFile(path, 1<<10)
	if err != nil {
		return 0
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		return 0
	}
	return pid
}

// Release releases the lock. It keeps the file: after removing it two programs
// could hold locks on two files of the same name.
func (l *Lock) Release() error {
	os.Truncate(l.flock.Path(), 0) // remove the process number
	if err := l.flock.Unlock(); err != nil {
		return fmt.Errorf("unlock %q: %w", l.flock.Path(), err)
	}
	return nil
}
