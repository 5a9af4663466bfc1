// Package digest writes the morning mail: the tasks of the day, the windows to
// watch, and the week ahead, as plain text and as HTML.
//
// Start with [Content]: fill it, and call [Render]. [Issue] returns the record
// of the mail that is needed to read its answers. Both parts of the mail come
// from the same list of sections (outline.go), so they have the same numbers and
// the same words. arrange.go shortens the sections, text.go lays them out in 72
// columns, and html.go in a single column for a phone.
//
// Four promises hold for any content, and tests check them:
//
//   - Both parts show every open task with its number. In a very long list, the
//     HTML part drops reasons and then full titles (see htmlLimit), but never a
//     number or a caution.
//   - Each caution stands in full at the first task that has it; later tasks
//     refer to the number of that task. Tasks on which a life may depend (alarms,
//     pinned tasks, watches) always have their caution in full.
//   - No line reads as a command of the reply grammar, and neither does any
//     piece of a line that a mail program breaks; see safe.go.
//   - Names and notes from the keeper are shown as text: they start no line, no
//     header and no tag. Opening the mail fetches nothing.
//
// The package decides nothing about tasks, sends nothing and reads no clock.
package digest

import (
	"errors"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Content is the content of a digest. Quantities in its strings are already in
// the keeper's units. Only Board, ID and Token are required.
type Content struct {
	Heading string // the books' name, "" for none
	// Board has the tasks of the day. Its open rows are shown by round, and its
	// lapsed rows as lapsed since the day before. Rows that are already marked
	// stand at the end, so the keeper can still look up their numbers.
	Board *tasks.Board

	ID, Token string // of the issue
	// ReplyTo is the address for answers, as in the mail's Reply-To: with the
	// token in it, or plain. If ReplyTo is "", answers are not read, so the
	// digest has no links and does not explain how to answer.
	ReplyTo string

	// Rounds has the time at which each part of the day begins. A part that it
	// lacks is shown without a time.
	Rounds  map[husbandry.Part]civil.TimeOfDay
	Watches []Watch
	Ahead   []Day // the coming days in order, without today
	// Next is the next day with a task, and NextTitle the title of a task of
	// that day. A digest of a day without tasks shows both. If Next is zero,
	// the first day of Ahead with a task is used instead.
	Next      civil.Date
	NextTitle string
	Notices   []Notice
	// Record reports whether the books have a record with the given id. A reply
	// may name a record instead of a number. If Record is nil, any word with a
	// digit counts as an id.
	Record func(id string) bool
	// SentLate is the time at which the digest leaves if the digest is late;
	// nil if it is on time.
	SentLate *civil.TimeOfDay
}

// Watch is a window in which eggs or young are expected.
type Watch struct {
	N       int    // number of its task on the board; 0 if it has no task today
	Title   string // "Hatching of clutch C27-04 (Juno), incubator I1"
	Why     string // day and basis: "day 41, laid 1 April at 28.0 °C; 3 own clutches, 2 papers"
	Caution string // "" for none
	// From and To are the days worth watching, both inclusive.
	From, To civil.Date
	// Forecast says that Today and ByThen are known. Today is the probability,
	// 0 to 1, that the event happens today. ByThen is the probability that the
	// event happens by the end of the day By (see [WeekEnd]). Both assume that
	// the event has not happened before today. If By is zero, ByThen is not
	// shown.
	Forecast bool
	Today    float64
	By       civil.Date
	ByThen   float64
}

// Day is a day of the week ahead.
type Day struct {
	Date    civil.Date
	Count   int // number of tasks
	Minutes int
	// Matters are worth knowing in advance: windows that open, clutches, tasks
	// that are not daily.
	Matters []string
}

// Notice is information for the keeper that is not a task.
type Notice struct {
	// Urgent notices stand after the alarms and before all other tasks; other
	// notices stand at the end. For example, "the last good plan is used; 2
	// errors in animals.toml" is urgent, and "the calendar was last fetched on
	// Monday" is not.
	Urgent bool
	Text   string
	Quotes []string // lines of an answer that were not understood
}

// Mail is a digest ready to be composed.
type Mail struct {
	Subject string
	Text    string // lines end in \n and have at most 72 columns, unless a single word is longer
	HTML    string
	// Lines are the lines that a reader sees in either part, in order: trimmed,
	// not empty, each only once.
	Lines []string
}

// Render writes the digest of c. It fails if c lacks a required field, or if
// ReplyTo is not an address.
func Render(c Content) (Mail, error) {
	switch {
	case c.Board == nil:
		return Mail{}, errors.New("write digest: it has no board")
	case c.ID == "" || c.Token == "":
		return Mail{}, errors.New("write digest: it has no id or no token")
	}
	to := ""
	if c.ReplyTo != "" {
		a, err := mail.ParseAddress(c.ReplyTo)
		if err != nil {
			return Mail{}, fmt.Errorf("write digest: reply address %q: %w", c.ReplyTo, err)
		}
		// String quotes the local part if necessary.
		to = strings.Trim((&mail.Address{Address: a.Address}).String(), "<>")
	}
	o := newOutline(c, to)
	at := arranged(o)
	html, htmlLines, err := renderHTML(at)
	if err != nil {
		return Mail{}, fmt.Errorf("write digest: %w", err)
	}
	text := renderText(at)
	return Mail{
		Subject: o.Subject,
		Text:    text,
		HTML:    html,
		Lines:   uniqueLines(text, htmlLines),
	}, nil
}

// Issue returns the record of the digest m of c, for reading its answers. The
// digest was sent at the given moment with the given Message-ID (without angle
// brackets). The items of the issue are all numbered rows of the board, open or
// marked, in order of their numbers.
func Issue(c Content, m Mail, messageID string, sent time.Time) notify.Issue {
	issue := notify.Issue{
		ID:        c.ID,
		Token:     c.Token,
		MessageID: messageID,
		Date:      c.Board.On,
		Sent:      sent,
		Lines:     m.Lines,
	}
	for _, r := range c.Board.Rows {
		if r.N == 0 {
			continue
		}
		issue.Items = append(issue.Items, notify.Item{
			N:       r.N,
			Task:    r.Key,
			Kind:    r.Kind,
			Scope:   r.Scope,
			Title:   clean(r.Title),
			Pinned:  r.Pinned,
			Overdue: r.Status == tasks.Overdue,
			Packs:   r.Packs,
			Mate:    r.Mate,
		})
	}
	slices.SortFunc(issue.Items, func(a, b notify.Item) int { return a.N - b.N })
	return issue
}

// WeekEnd returns the first Sunday after day. A [Watch] states its chance up to
// that day, because people think in weeks.
func WeekEnd(day civil.Date) civil.Date {
	return day.AddDays(7 - int(day.Weekday()))
}
