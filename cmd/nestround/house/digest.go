package house

import (
	"fmt"
	"slices"
	"strings"

	"nestround/config"
	"nestround/notify"
	"nestround/notify/digest"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const weekAhead = 7 // days

// edition is the digest of one day in preparation.
type edition struct {
	*Snapshot
	issue    notify.Issue
	unread   *unreadMails
	troubles *troubles
	misdated func() ([]misdated, error) // entries that were made under a wrong clock
	failures *failures
}

func (h *House) edition(s *Snapshot, i notify.Issue) edition {
	return edition{s, i, h.unread, h.troubles, clockWatch{h}.misdated, &failures{dispatch: h.dispatch}}
}

// messages writes one mail for each reader of the digest, so that a failing
// address does not affect the others. Each mail has the reader's part of the
// whole digest, with the numbers of the whole. written is the mail of the whole
// digest. lines has the lines that only some readers get.
func (e edition) messages(whole digest.Content, written digest.Mail) (all []notify.Message, lines []string, err error) {
	for n, r := range readers(e.Snapshot, e.issue.Date) {
		m := written
		if !r.all() {
			if m, err = digest.Render(e.part(whole, r)); err != nil {
				return nil, nil, err
			}
			lines = append(lines, m.Lines...)
		}
		id := e.issue.MessageID
		if n > 0 {
			id = numbered(id, n+1)
		}
		all = append(all, notify.Message{
			ID: id, Date: e.issue.Sent.In(e.settings.Zone), From: e.settings.Digest.From, To: r.address,
			ReplyTo: replyTo(e.settings, e.issue.Token), Subject: m.Subject,
			// Some providers replace the Message-ID but keep this field.
			References: []string{e.issue.MessageID},
			Automatic:  "auto-generated", Text: m.Text, HTML: m.HTML,
		})
	}
	return all, lines, nil
}

// part returns one reader's part of a digest.
func (e edition) part(whole digest.Content, r reader) digest.Content {
	c := whole
	c.Board = r.board(whole.Board)
	c.Watches = watches(c.Board)
	today := c.Board.On
	coming := r.tasks(e.Ahead(today, today.AddDays(weekAhead)))
	c.Ahead = days(today, coming, nil)
	c.Next, c.NextTitle = civil.Date{}, ""
	if text, missed := e.Absences().carerReturned(r.keeper, today); text != "" {
		c.Notices = append([]digest.Notice{{Urgent: len(missed) > 0, Text: text, Quotes: missed}}, c.Notices...)
	}
	switch {
	case r.sitter && r.keeper != "":
		words := "You stand in over these days: what cannot wait is listed here beside what is yours."
		c.Notices = append([]digest.Notice{{Urgent: true, Text: words}}, c.Notices...)
	case r.sitter:
		c.Notices = []digest.Notice{{Urgent: true, Text: sitterWords(e.settings, r.cover)}}
		c.Ahead = slices.DeleteFunc(c.Ahead, func(d digest.Day) bool { return d.Date.After(r.cover.Until) })
	}
	return c
}

func sitterWords(settings *config.Settings, a *husbandry.Away) string {
	words := "Thank you for standing in, " + a.Cover + ". Only what cannot wait is listed here"
	var call []string
	if c := settings.Contacts; c.Keeper != "" {
		call = append(call, "the keeper, "+c.Keeper)
	}
	if c := settings.Contacts; c.Veterinarian != "" {
		call = append(call, "the veterinarian, "+c.Veterinarian)
	}
	if len(call) > 0 {
		words += "; to call: " + strings.Join(call, ", or ")
	}
	return words + "."
}

// content collects the content of a digest, and the ids of the unread mails in
// it.
func (e edition) content(late *civil.TimeOfDay) (digest.Content, []string, error) {
	issue, today := e.issue, e.issue.Date
	c := digest.Content{
		Heading: e.settings.Name, Board: e.Board(today), ID: issue.ID, Token: issue.Token,
		Rounds: e.Rounds(), SentLate: late,
	}
	known := newJudge(e.Snapshot).known()
	c.Record = func(id string) bool { _, ok := known(id); return ok }
	if e.settings.In != nil {
		c.ReplyTo = replyTo(e.settings, issue.Token)
	}
	coming := e.Ahead(today, today.AddDays(weekAhead))
	c.Watches = watches(c.Board)
	c.Ahead = days(today, coming, outlook.Dated(e.outlook(today, today.AddDays(weekAhead))))
	if len(coming) == 0 {
		for _, t := range e.Ahead(today, today.AddDays(e.settings.Calendar.AheadDays)) {
			if c.Next.IsZero() || t.Due.Before(c.Next) {
				c.Next, c.NextTitle = t.Due, t.Title
			}
		}
	}
	notices, told, err := e.notices(today)
	c.Notices = notices
	return c, told, err
}

// days returns the coming week: the amount of work on each day, and the tasks
// that do not recur daily.
func days(today civil.Date, coming []tasks.Task, spans []outlook.Span) []digest.Day {
	all := make([]digest.Day, weekAhead)
	for i := range all {
		all[i].Date = today.AddDays(i + 1)
	}
	for _, s := range spans {
		if i := s.From.Sub(today) - 1; i >= 0 && i < weekAhead {
			all[i].Matters = append(all[i].Matters, s.Title)
		}
	}
	seen := make(map[tasks.Key]int)
	for _, t := range coming {
		seen[tasks.NewKey(t.Subject, t.Routine, "")]++
	}
	for _, t := range coming {
		i := t.Due.Sub(today) - 1
		if i < 0 || i >= weekAhead {
			continue
		}
		all[i].Count++
		all[i].Minutes += t.Minutes
		// List a task that occurs only once in the week, but no daily work.
		// Watches have a section of their own.
		if seen[tasks.NewKey(t.Subject, t.Routine, "")] == 1 && t.Window == nil && t.Kind.PartOf() == "" {
			all[i].Matters = append(all[i].Matters, t.Title)
		}
	}
	return all
}

func (e edition) notices(today civil.Date) (list []digest.Notice, told []string, err error) {
	if n := len(e.problems.list); e.problems.stale {
		notice := digest.Notice{Urgent: true, Text: fmt.Sprintf("The books have errors, and their last good state is used until they are mended. %s:", english.Count(n, "problem"))}
		for i, p := range e.problems.list {
			if i == 5 {
				notice.Quotes = append(notice.Quotes, fmt.Sprintf("and %d more; nestround check lists them", n-5))
				break
			}
			notice.Quotes = append(notice.Quotes, fmt.Sprintf("%s:%d: %s", p.File, p.Line, p.Message))
		}
		list = append(list, notice)
	}
	list = append(list, logNotices(e.Snapshot, today)...)
	for _, p := range e.said.problems {
		list = append(list, digest.Notice{Text: "A line of the daybook does not count: " + p.String()})
	}
	wrong, err := e.misdated()
	if err != nil {
		return nil, nil, err
	}
	list = append(list, clockNotices(e.Snapshot, wrong, today)...)
	list = append(list, e.Absences().carersAway(today)...)
	if text, missed := e.Absences().returned(today); text != "" {
		list = append(list, digest.Notice{Urgent: len(missed) > 0, Text: text, Quotes: missed})
	}
	failed, err := e.failures.notices(today)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range failed {
		list = append(list, digest.Notice{Urgent: true, Text: f})
	}
	unread, told, err := e.unread.notices(today)
	if err != nil { // the round is worth sending without them
		unread = []digest.Notice{{Urgent: true, Text: "The mails that were not understood cannot be listed: " + err.Error() + "."}}
	}
	list = append(list, unread...)
	// Reading the files above can begin a trouble, so the troubles are read last.
	return append(e.troubles.notices(e.settings.Zone, today), list...), told, nil
}

// watches returns the windows of tasks on the board: the expected hatchings and
// layings, each subject once.
func watches(b *tasks.Board) []digest.Watch {
	var list []digest.Watch
	end := digest.WeekEnd(b.On)
	for _, r := range b.Rows {
		w := r.Window
		if w == nil || w.Name != husbandry.HatchWindow && w.Name != husbandry.LayWindow || r.Status == tasks.Done || r.Status == tasks.Skipped {
			continue
		}
		watch := digest.Watch{N: r.N, Title: r.Title, Why: r.Why, Caution: r.Caution, From: w.From, To: w.To}
		if i := end.Sub(b.On); i < len(w.By) {
			watch.Forecast, watch.Today, watch.By, watch.ByThen = true, w.Today, end, min(1, w.By[i])
		}
		list = append(list, watch)
	}
	return list
}
