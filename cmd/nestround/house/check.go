package house

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"nestround/config/diag"
	"nestround/tasks/daybook"
)

// Unwritable tries to write into the folders of the daybook and of the state. A
// folder that is missing is made later in the folder of the books, which is tried
// in its place. The problems are for check.
//
// A folder that this user may not write into is a warning: somebody may only look
// at the books, and serve may run as another user. So is a read-only disk, unless
// serve runs. Any other error loses words, and is an error.
func Unwritable(h *House) (list diag.List) {
	var tried []string
	for _, name := range []string{daybook.Folder, "state"} {
		dir := filepath.Join(h.Dir, name)
		if _, err := os.Stat(dir); errors.Is(err, fs.ErrNotExist) {
			name, dir = ".", h.Dir
		}
		if slices.Contains(tried, dir) {
			continue
		}
		tried = append(tried, dir)
		err := h.files.Try(dir)
		if err == nil {
			continue
		}
		_, running, _ := ServiceOf(h).LastRan()
		p := diag.Problem{File: name, Severity: diag.Error, Hint: "look at the disk and at the log of the system, and keep a copy of the books on another disk"}
		switch {
		case errors.Is(err, fs.ErrPermission):
			p.Severity, p.Hint = diag.Warning, "if nestround runs as another user here, check as that user; otherwise let this user write into the folder"
		case errors.Is(err, syscall.EROFS):
			p.Hint = "mount the disk for writing; a copy that is read-only can still be looked at"
			if !running {
				p.Severity = diag.Warning
			}
		case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
			p.Hint = "make room on the disk"
		}
		cause := err
		if errno := syscall.Errno(0); errors.As(err, &errno) {
			cause = errno // without the name of a temporary file
		}
		p.Message = fmt.Sprintf("the folder cannot be written, so no words and no digest can be kept: %v", cause)
		list = append(list, p)
	}
	return list
}
