// Package house connects the books, the daybook, the planner and the mail. The
// records and the daybook make a snapshot, the snapshot makes a plan, the plan
// a board, and the board a digest and a calendar. The keeper's replies go into
// the daybook and so into the next snapshot.
//
// Start with [Open], which reads a folder of books and returns a [House]. The
// house acts, and [House.Snapshot] answers:
//
//   - A [Snapshot] is the books at one moment. It never changes, so all its
//     answers ([Snapshot.Board], [Snapshot.Ahead], [Snapshot.Clutches]) are
//     consistent. [House.Refresh] checks the disk and returns the newest one.
//   - [House.Take] records a message in the daybook, and the next snapshot has
//     it. [House.TakeMail] reads a mail and takes its commands.
//   - [House.Morning] issues the digest, [House.Publisher] makes the calendar,
//     and [House.Serve] does both at the right time.
//
// This package writes the sentences of digests and answers, because it sends
// them. The command writes the sentences of the terminal.
package house

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"nestround/config/diag"
	"nestround/notify/calendar"
	"nestround/notify/outbox"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
)

// Options are the surroundings of a house, which tests replace.
type Options struct {
	Now   func() time.Time // the clock; nil: the machine's
	Log   *slog.Logger     // nil: nothing is logged
	Files disk.Files       // the zero value: the real disk
	// Page answers all requests to Serve that are not for the calendar. If Page
	// is nil, Serve answers only requests for the calendar.
	Page http.Handler
	// Taken is called for every reply that Serve has read; nil: no call.
	Taken func(Taken)
	// Dial connects to the mail servers; nil: as usual.
	Dial func(ctx context.Context, network, addr string) (net.Conn, error)
}

// House is an open folder of books with all actions on it. Its methods may be
// called from several goroutines and several processes at once: every writing
// method holds the lock of the books while it writes.
type House struct {
	Dir string

	now      func() time.Time
	log      *slog.Logger
	page     http.Handler
	taken    func(Taken)
	dial     func(ctx context.Context, network, addr string) (net.Conn, error)
	files    disk.Files
	dispatch dispatch
	issues   *issues
	unread   *unreadMails
	missing  missingAnswers
	loops    loops // of Serve
	teller

	mu      sync.Mutex // held while books are read or written
	books   reading
	current atomic.Pointer[Snapshot]
}

// Open reads the books and the daybook in dir. If the books have errors, the
// house is nil and the list has the errors. If the books have only warnings,
// Open returns a house and the list of warnings. The error says that the folder
// cannot be read at all.
func Open(dir string, o Options) (*House, diag.List, error) {
	h := closed(dir, o)
	usable, problems, err := start(h)
	if !usable {
		h = nil
	}
	return h, problems, err
}

// closed returns a house that has read nothing.
func closed(dir string, o Options) *House {
	h := &House{Dir: dir, now: o.Now, log: o.Log, page: o.Page, taken: o.Taken, dial: o.Dial, files: o.Files}
	if h.now == nil {
		h.now = time.Now
	}
	if h.log == nil {
		h.log = slog.New(slog.DiscardHandler)
	}
	h.dispatch = dispatch{outbox.New(dir, h.files), h.now, h.log}
	h.troubles = newTroubles(h.state("troubles.json"), h.files, h.log, h.now)
	h.issues = newIssues(h.state("digests"), h.files, h.troubles)
	h.unread = &unreadMails{state: h.state("unread.json"), files: h.files, troubles: h.troubles}
	h.books = reading{dir: dir, log: h.log, daybook: daybook.NewKeptLog(dir, h.files, h.log), chosen: newChosenDays(dir, h.files, h.log)}
	return h
}

// start reads the books and the daybook for the first time. usable says that the
// house has a snapshot.
func start(h *House) (usable bool, problems diag.List, err error) {
	if problems := h.books.open(); problems.HasErrors() {
		return false, problems, nil
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	s, err := h.look()
	if s == nil {
		return false, h.books.problems.list, err
	}
	problems, _ = s.Problems()
	return true, problems, err
}

func (h *House) state(name string) string { return filepath.Join(h.Dir, "state", name) }

// Snapshot returns the books as they were last read, as of today. It does not
// check the disk; see [House.Refresh].
func (h *House) Snapshot() *Snapshot {
	if s := h.current.Load(); s.today == h.today(s) {
		return s
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.renew()
}

// today returns the day in the keeper's zone.
func (h *House) today(s *Snapshot) civil.Date { return civil.Of(h.now(), s.settings.Zone) }

// Refresh checks the disk for changes and returns the newest snapshot. Changes
// are entries and digests of another process, edited books and longer logs. The
// check costs a stat of each file; unchanged books give the same snapshot. If
// edited books have errors, the last good books stay in force, and only
// [Snapshot.Problems] changes. After an error, the snapshot is the last good
// one.
func (h *House) Refresh() (*Snapshot, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.look()
}

// look does the same as Refresh, for a caller that holds the lock. It returns
// nil if the books were never read completely.
func (h *House) look() (*Snapshot, error) {
	err := h.books.look(h.now())
	if err == nil {
		err = h.issues.look(civil.Of(h.now(), h.books.settings.Zone))
	}
	return h.renew(), err
}

// renew makes a snapshot of the books as read, unless the current snapshot is
// up to date.
func (h *House) renew() *Snapshot {
	b := h.books.basis(civil.Of(h.now(), h.books.settings.Zone), h.issues.days())
	if b.said == nil {
		return nil
	}
	old := h.current.Load()
	if old != nil && old.basis == b {
		return old
	}
	s := newSnapshot(b, old)
	h.current.Store(s)
	return s
}

// write brings everything up to date and runs do with the daybook open for
// writing.
func (h *House) write(do func(*daybook.Book, *Snapshot) error) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	book, err := h.books.daybook.Open(daybook.Options{Files: h.files, Wait: lockWait})
	if err != nil {
		return err
	}
	defer func() {
		if err := book.Close(); err != nil {
			h.log.Error("the lock of the books could not be given back", "err", err)
		}
	}()
	for _, p := range book.SetAside() {
		h.log.Warn("a torn line of the daybook was set aside", "where", p.String())
	}
	s, err := h.look()
	if err != nil {
		return err
	}
	if s, err = (clockWatch{h}).look(book, s); err != nil {
		return err
	}
	return do(book, s)
}

// added includes an entry that write has just added, and returns the snapshot
// with it.
func (h *House) added() *Snapshot {
	h.books.said = fold(h.books.daybook, h.books.said)
	return h.renew()
}

// lockWait is how long a shell command waits while serve writes.
const lockWait = 5 * time.Second

// CheckWires returns the problems of the mail and calendar settings that only
// appear in use, such as an unreadable password or an invalid certificate. It
// opens no connection.
func (h *House) CheckWires() []string {
	var wrong []string
	s := h.Snapshot().Settings()
	if s.Out != nil {
		if _, err := h.Sender(); err != nil {
			wrong = append(wrong, "[mail.out] cannot be used: "+err.Error())
		}
	}
	if s.In != nil {
		if _, err := h.Inbox(Reading{Dry: true}); err != nil {
			wrong = append(wrong, "[mail.in] cannot be used: "+err.Error())
		}
	}
	if !s.Watch.Ping.IsZero() {
		if _, err := s.Watch.Address(); err != nil {
			wrong = append(wrong, "[watch] cannot be used: "+err.Error())
		}
	}
	if _, err := h.Publisher().LinkAddress(strings.Repeat("x", 43), calendar.Link{}); err != nil {
		wrong = append(wrong, "[page] cannot be used: "+err.Error())
	}
	return wrong
}
