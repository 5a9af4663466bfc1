package disk

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

// Lock is held by the one program that may write. The operating system takes
// it back when the program ends, however it ends.
type Lock struct {
	flock *flock.Flock
}

// HeldError says that another program holds a lock.
type HeldError struct {
	Path string // of the lock
	PID  int    // of the process that holds it; 0 when that is not known
}

func (e *HeldError) Error() string {
	if e.PID == 0 {
		return "another nestround is writing these books"
	}
	return fmt.Sprintf("another nestround (process %d) is writing these books", e.PID)
}

// lockPoll is how often a lock that somebody holds is asked for again.
const lockPoll = 20 * time.Millisecond

// Acquire takes the lock kept in the file path, making the file and its
// folder where they are missing. While somebody else holds it, also somebody
// else in this process, Acquire asks again until wait has passed (0: not at
// all) and then returns a [*HeldError].
func (f Files) Acquire(path string, wait time.Duration) (*Lock, error) {
	if err := f.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	l := flock.New(path, flock.SetPermissions(0o600))
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
	// Who holds it is told for the message alone; the lock holds without it,
	// so an error here (a full disk; Windows, which locks the bytes too) does
	// not matter.
	os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600)
	return &Lock{l}, nil
}

func holder(path string) int {
	b, err := os.ReadFile(path)
	if err != nil {
		return 0
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		return 0
	}
	return pid
}

// Release gives the lock back. The file stays: removing it would let two
// programs hold locks on two files of one name.
func (l *Lock) Release() error {
	os.Truncate(l.flock.Path(), 0) // nobody is named who no longer writes
	if err := l.flock.Unlock(); err != nil {
		return fmt.Errorf("unlock %q: %w", l.flock.Path(), err)
	}
	return nil
}
