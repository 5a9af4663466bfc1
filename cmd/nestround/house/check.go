package house

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"nestround/config/diag"
	"nestround/tasks/daybook"
)

// Check opens the books as [Open] does, and adds everything else that check
// tells: troubles, mail that waits, mails that were set aside, whether serve runs,
// whether the disk can be written. These problems are in the list also if the
// books have errors, and h is nil. Service tells about serve in both cases.
func Check(dir string, o Options) (h *House, service Service, list diag.List, err error) {
	h = closed(dir, o)
	usable, list, err := start(h)
	service = Service{h}
	if err != nil {
		return nil, service, list, err
	}
	list = slices.Clone(list)
	if usable {
		for _, p := range h.CheckWires() {
			list = append(list, diag.Problem{File: "keeper.toml", Severity: diag.Error, Message: p})
		}
	}
	list = append(list, Unwritable(h)...)
	list = append(list, h.StandingTroubles(zoneOf(h))...)
	mail, err := MailProblems(h)
	if err != nil {
		return nil, service, list, err
	}
	list = append(list, mail...)
	list = append(list, AsideMails(h)...)
	if usable {
		list = append(list, ClockProblems(h)...)
	}
	list = append(list, service.Warnings()...)
	if !usable {
		return nil, service, list, nil
	}
	return h, service, list, nil
}

// zoneOf returns the keeper's zone, or this machine's if the books cannot be used.
func zoneOf(h *House) *time.Location {
	if s := h.current.Load(); s != nil {
		return s.settings.Zone
	}
	return h.now().Location()
}

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
