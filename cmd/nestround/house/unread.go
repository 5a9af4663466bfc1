package house

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/notify/digest"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

// unread is a mail that was not recorded, or only in part. The next digest reports
// it.
type unread struct {
	ID    string    `json:"id"`
	From  string    `json:"from"`            // address of the only author; "" if there is not exactly one
	Field string    `json:"field,omitempty"` // the From field, if From is empty
	At    time.Time `json:"at"`
	Why   string    `json:"why"`
	Lines []string  `json:"lines"`
	Kind  mailKind  `json:"kind,omitempty"`
	// Believed says that a keeper wrote the mail. Such a mail is never dropped to
	// make room for others.
	Believed bool       `json:"believed,omitempty"`
	Shown    civil.Date `json:"shown,omitzero"` // day of the digest that showed it
}

// mailKind says what is wrong with an unread mail.
type mailKind string

const (
	readMail       mailKind = ""           // the mail was read, but not understood or not believed
	unreadableMail mailKind = "unreadable" // no part of the mail can be used
	asideMail      mailKind = "aside"      // taking the mail fails, and is tried again every day
)

// unreadFile is the content of state/unread.json.
type unreadFile struct {
	Mails []unread `json:"mails"`
	// Dropped counts the mails since the last digest for which there was no
	// room. None of them was believed.
	Dropped int `json:"dropped,omitempty"`
}

// UnmarshalJSON also reads the list that earlier versions wrote.
func (u *unreadFile) UnmarshalJSON(b []byte) error {
	if bytes.HasPrefix(bytes.TrimSpace(b), []byte("[")) {
		return json.Unmarshal(b, &u.Mails)
	}
	type plain unreadFile
	return json.Unmarshal(b, (*plain)(u))
}

const (
	unreadLines = 12 // lines of a mail that are kept
	// unbelievedMost is the largest number of mails that wait for a digest and
	// were not believed, so that nobody can flood the file. A digest lists
	// unbelievedTold of them, and counts the others.
	unbelievedMost = 40
	unbelievedTold = 8
	// shownMost is the largest number of mails that are kept after a digest has
	// shown them. They are kept so that no digest shows them again.
	shownMost = 200
)

// unreadMails stores the unread mails.
type unreadMails struct {
	state    string // the file
	files    disk.Files
	troubles *troubles
	mu       sync.Mutex // held while the file is changed
}

// held returns the stored mails.
func (u *unreadMails) held() (unreadFile, error) {
	return remembered[unreadFile](u.troubles, u.state)
}

// leave stores a mail for the next digest.
func (u *unreadMails) leave(m unread) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	all, err := u.held()
	if err != nil {
		return err
	}
	if i := slices.IndexFunc(all.Mails, func(x unread) bool { return x.ID == m.ID }); i >= 0 {
		if !m.Believed || all.Mails[i].Believed {
			return nil
		}
		// The Message-ID was used before, by somebody who was not believed.
		all.Mails = slices.Delete(all.Mails, i, i+1)
	}
	kept := make([]string, 0, unreadLines)
	for _, l := range m.Lines {
		l = strings.TrimSpace(l)
		if l != "" && !strings.HasPrefix(l, ">") && len(kept) < unreadLines {
			kept = append(kept, l)
		}
	}
	m.Lines = kept
	waiting := 0
	for _, x := range all.Mails {
		if x.Shown.IsZero() && !x.Believed {
			waiting++
		}
	}
	if !m.Believed && waiting >= unbelievedMost {
		all.Dropped++
	} else {
		all.Mails = append(all.Mails, m)
	}
	return u.files.WriteJSON(u.state, all)
}

// taken removes a mail that was set aside before and was taken now.
func (u *unreadMails) taken(id string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	all, err := u.held()
	if err != nil {
		return // the next use of the file reports it
	}
	n := len(all.Mails)
	all.Mails = slices.DeleteFunc(all.Mails, func(x unread) bool { return x.ID == id && x.Kind == asideMail && x.Shown.IsZero() })
	if len(all.Mails) < n {
		if err := u.files.WriteJSON(u.state, all); err != nil {
			u.troubles.log.Warn("the digest will still report a mail as set aside that was taken now", "id", id, "err", err)
		}
	}
}

// notices returns the notices about unread mails for today's digest, and the ids of
// all these mails.
func (u *unreadMails) notices(today civil.Date) (list []digest.Notice, told []string, err error) {
	held, err := u.held()
	if err != nil {
		return nil, nil, err
	}
	more, unbelieved := held.Dropped, 0
	for _, x := range held.Mails {
		if !x.Shown.IsZero() && x.Shown != today {
			continue
		}
		told = append(told, x.ID)
		if !x.Believed {
			if unbelieved++; unbelieved > unbelievedTold {
				more++
				continue
			}
		}
		list = append(list, x.notice())
	}
	if more > 0 {
		list = append(list, digest.Notice{Text: fmt.Sprintf("And %s: they could not be read or were not believed; look into the mailbox.", english.CountForms(more, "more such mail", "more such mails"))})
	}
	return list, told, nil
}

func (m unread) notice() digest.Notice {
	who := "of " + m.From
	var quotes []string
	if m.From == "" {
		who = "that may be yours"
		if m.Field != "" {
			quotes = append(quotes, "From: "+cut(m.Field, 120))
		}
	}
	when := english.WeekdayMoment(m.At)
	switch m.Kind {
	case unreadableMail:
		return digest.Notice{Urgent: m.Believed, Quotes: quotes,
			Text: fmt.Sprintf("A mail %s (%s) could not be read: %s. Nothing in it was recorded; write its commands as plain text in a new reply.", who, when, m.Why)}
	case asideMail:
		return digest.Notice{Urgent: true, Quotes: quotes,
			Text: fmt.Sprintf("A mail %s (%s) could not be taken and is set aside: %s. It is tried again every day, and at once by nestround replies --again; or write its words in a new reply.", who, when, m.Why)}
	}
	return digest.Notice{Text: fmt.Sprintf("From a mail %s (%s), which was not answered: %s.", who, when, m.Why), Quotes: append(quotes, m.Lines...)}
}

// cut shortens a foreign text.
func cut(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}

// told records that today's digest has shown the given unread mails. It deletes
// the mails that a digest has shown recentIssues days ago or earlier.
func (u *unreadMails) told(told []string, today civil.Date) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	held, err := u.held()
	if err != nil || len(held.Mails) == 0 && held.Dropped == 0 {
		return err
	}
	shown := make(map[string]bool)
	for _, id := range told {
		shown[id] = true
	}
	var kept unreadFile
	excess := -shownMost
	for _, x := range held.Mails {
		if shown[x.ID] && x.Shown.IsZero() {
			x.Shown = today
		}
		if x.Shown.IsZero() || today.Sub(x.Shown) < recentIssues {
			kept.Mails = append(kept.Mails, x)
		}
		if !x.Shown.IsZero() {
			excess++
		}
	}
	kept.Mails = slices.DeleteFunc(kept.Mails, func(x unread) bool {
		if excess <= 0 || x.Shown.IsZero() || x.Shown == today {
			return false
		}
		excess--
		return true
	})
	return u.files.WriteJSON(u.state, kept)
}
