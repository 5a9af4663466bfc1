// Package digest writes the morning mail: a day's board, what is watched for
// and what the week brings, once as plain text and once as HTML.
//
// Start with [Content], fill it, and call [Render]; [Issue] makes what must be
// remembered of the mail so that its answers can be read. Both parts are
// written from one list of sections (outline.go), so they have the same
// numbers and the same words: arrange.go keeps them short, text.go lays them
// out in 72 columns, html.go in a single column for a phone.
//
// Four promises hold for any content, and tests keep them:
//
//   - Every open task is in both parts, with its number. A very long list
//     loses reasons and then full titles in its HTML part (see htmlLimit),
//     never a number and never a caution.
//   - Each caution stands in full at the first task it belongs to; later ones
//     send the reader to that number. What may cost a life (alarms, what cannot
//     be put off, watches) always has its own in full.
//   - No line, and no piece of a line that a mail program breaks anew, reads
//     as a command of the reply grammar; see safe.go.
//   - Names and notes of the keeper are text: they start no line, no header
//     and no tag. Nothing is fetched when the mail is opened.
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

// Content is what a digest tells. Quantities in its strings are already in
// the keeper's units. Only Board, ID and Token are required.
type Content struct {
	Heading string // the books' name, "" for none
	// Board is the day's tasks. Its open rows are the rounds, its lapsed rows
	// are shown as lapsed since the day before, and rows that are marked
	// already are listed at the end, so that their numbers stay explained.
	Board *tasks.Board

	ID, Token string // of the issue
	// ReplyTo is where answers go, as in the mail's Reply-To: an address with
	// the token in it, or a plain one. Where it is "", answers are not read,
	// and the digest neither links to one nor explains how to write it.
	ReplyTo string

	// Rounds has the time at which each part of the day begins. A part that
	// is not in it is shown without a time.
	Rounds  map[husbandry.Part]civil.TimeOfDay
	Watches []Watch
	Ahead   []Day // the coming days, in order, today not among them
	// Next is the next day with a task and NextTitle one of its tasks, for a
	// day with nothing due. Where Next is no date, the first day of Ahead that
	// has a task stands in for it.
	Next      civil.Date
	NextTitle string
	Notices   []Notice
	// Record reports whether the books have a record of that id, which a reply
	// may name instead of a number. Where it is nil, any word with a figure in
	// it is taken for one.
	Record func(id string) bool
	// SentLate is the time of day at which a digest leaves that was due at an
	// earlier one; nil when it is on time.
	SentLate *civil.TimeOfDay
}

// Watch is a window within which eggs, or young, are expected.
type Watch struct {
	N       int    // the number of its task on the board; 0 for none today
	Title   string // "Hatching of clutch C27-04 (Juno), incubator I1"
	Why     string // day and basis: "day 41, laid 1 April at 28.0 °C; 3 own clutches, 2 papers"
	Caution string // "" for none
	// From and To are the days worth watching, both inclusive.
	From, To civil.Date
	// Forecast says that Today and ByThen are known. Today is the probability,
	// 0 to 1, that it happens today; ByThen that it has happened by the end of
	// the day By (see [WeekEnd]). Both are given that it has not happened
	// before today. By may be no date.
	Forecast bool
	Today    float64
	By       civil.Date
	ByThen   float64
}

// Day is one day of the week ahead.
type Day struct {
	Date    civil.Date
	Count   int // tasks
	Minutes int
	// Matters are the things worth knowing in advance: windows that open,
	// clutches, tasks that are not daily.
	Matters []string
}

// Notice is something the keeper should know that is no task.
type Notice struct {
	// Urgent notices stand above the tasks that are no alarm, others at the
	// end: "the last good plan is used; 2 errors in animals.toml" is urgent,
	// "the calendar was last fetched on Monday" is not.
	Urgent bool
	Text   string
	Quotes []string // words of an answer that were not understood, line by line
}

// Mail is a digest ready to be composed.
type Mail struct {
	Subject string
	Text    string // lines end in \n and have at most 72 columns, but for longer words
	HTML    string
	// Lines are the lines a reader sees in either part, each once, trimmed
	// and never empty, in order.
	Lines []string
}

// Render writes the digest of c. It fails when c lacks what is required or
// when ReplyTo is no address.
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
		// String quotes a local part that needs it.
		to = strings.Trim((&mail.Address{Address: a.Address}).String(), "<>")
	}
	o := newOutline(c, to)
	html, htmlLines, err := renderHTML(o)
	if err != nil {
		return Mail{}, fmt.Errorf("write digest: %w", err)
	}
	text := renderText(o)
	return Mail{
		Subject: o.Subject,
		Text:    text,
		HTML:    html,
		Lines:   uniqueLines(text, htmlLines),
	}, nil
}

// Issue returns what must be remembered of the digest m of c, sent at the
// given moment under the given Message-ID (without angle brackets). Its items
// are all numbered rows of the board, by number, whether open or marked.
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

// WeekEnd returns the first Sunday after day: the day to which the chances of
// a [Watch] are best given, because it is how a week is thought of. On a
// Sunday it is the next one.
func WeekEnd(day civil.Date) civil.Date {
	return day.AddDays(7 - int(day.Weekday()))
}
