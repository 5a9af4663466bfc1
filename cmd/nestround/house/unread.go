package house

import (
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/notify/reply"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// unread is a mail from a keeper's address that was not believed, or that was
// not understood in all parts and got no answer. The next digest shows the
// mail. The file state/unread.json has all such mails.
type unread struct {
	ID    string     `json:"id"`
	From  string     `json:"from"`
	At    time.Time  `json:"at"`
	Why   string     `json:"why"`
	Lines []string   `json:"lines"`
	Shown civil.Date `json:"shown,omitzero"` // day of the digest that showed it
}

const (
	unreadLines = 12
	unreadMost  = 50
)

// unreadMails stores the unread mails.
type unreadMails struct {
	state    string // the file
	files    disk.Files
	troubles *troubles
	mu       sync.Mutex // held while the file is changed
}

// held returns the stored mails.
func (u *unreadMails) held() ([]unread, error) { return remembered[[]unread](u.troubles, u.state) }

// leave stores a mail for the next digest; now is the current time.
func (u *unreadMails) leave(m reply.Mail, now time.Time, why string, lines []string) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	all, err := u.held()
	if err != nil {
		return err
	}
	if slices.ContainsFunc(all, func(x unread) bool { return x.ID == m.MessageID }) {
		return nil
	}
	kept := make([]string, 0, unreadLines)
	for _, l := range lines {
		l = strings.TrimSpace(l)
		if l != "" && !strings.HasPrefix(l, ">") && len(kept) < unreadLines {
			kept = append(kept, l)
		}
	}
	all = append(all, unread{ID: m.MessageID, From: m.From, At: now, Why: why, Lines: kept})
	if len(all) > unreadMost {
		all = all[len(all)-unreadMost:]
	}
	return u.files.WriteJSON(u.state, all)
}

// told records that today's digest has shown the given unread mails. It deletes
// the mails that a digest has shown recentIssues days ago or earlier.
func (u *unreadMails) told(told []string, today civil.Date) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	held, err := u.held()
	if err != nil || len(held) == 0 {
		return err
	}
	shown := make(map[string]bool)
	for _, id := range told {
		shown[id] = true
	}
	var kept []unread
	for _, x := range held {
		if shown[x.ID] {
			x.Shown = today
		}
		if x.Shown.IsZero() || today.Sub(x.Shown) < recentIssues {
			kept = append(kept, x)
		}
	}
	return u.files.WriteJSON(u.state, kept)
}
