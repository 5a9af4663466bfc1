package house

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestround/notify"
	"nestround/notify/digest"
	"nestround/notify/mailout"
	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const (
	// digestPatience is how long a digest is worth sending: after half a day
	// the next one is nearer than the rounds it speaks of.
	digestPatience = 12 * time.Hour
	answerPatience = 48 * time.Hour
	// lateAfter is when a digest says that it is late.
	lateAfter = 15 * time.Minute

	weekAhead = 7 // days
)

// Draft returns today's digest as it would be sent now, without sending or
// remembering it; where it has been issued, a message with the same id.
func (h *House) Draft() (digest.Mail, []notify.Message, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.refresh(); err != nil {
		return digest.Mail{}, nil, err
	}
	today := h.today()
	issue, ok := h.issues.of(today)
	if !ok {
		var err error
		if issue, err = h.issues.draft(today, h.now(), h.domain()); err != nil {
			return digest.Mail{}, nil, err
		}
	}
	content, _, err := h.content(issue, nil)
	if err != nil {
		return digest.Mail{}, nil, err
	}
	m, err := digest.Render(content)
	if err != nil {
		return m, nil, err
	}
	messages, _, err := h.messages(issue, content)
	return m, messages, err
}

// Morning issues today's digest, if it has not been issued, and puts its mails
// into the outbox. It reports whether it is the one that issued it. due is the
// moment it should have left; the digest says so if that is some time ago.
//
// The digest's numbers are on the disk before the first mail is in the outbox,
// and a call that was stopped half-way is made good by the next.
func (h *House) Morning(due time.Time) (issued bool, err error) {
	issue, mails, issued, err := h.morning(due)
	for _, m := range mails {
		if err == nil {
			err = h.post(m, "the digest of "+english.BareDay(issue.Date), digestPatience)
		}
	}
	return issued, err
}

// morning is Morning without the outbox, which may have to be waited for and
// must not hold up whoever asks the house something meanwhile.
func (h *House) morning(due time.Time) (issue notify.Issue, mails []notify.Outgoing, issued bool, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.refresh(); err != nil {
		return issue, nil, false, err
	}
	err = h.write(func(*daybook.Book) error {
		today := h.today()
		// Another process may have issued it since this one looked.
		if err := h.issues.read(today); err != nil {
			return err
		}
		var ok bool
		if issue, ok = h.issues.of(today); !ok {
			if issue, err = h.issue(today, due); err != nil {
				return err
			}
			issued = true
		}
		mails, err = h.issues.mails(issue)
		return err
	})
	return issue, mails, issued, err
}

func (h *House) issue(today civil.Date, due time.Time) (notify.Issue, error) {
	now := h.now().In(h.settings.Zone).Truncate(time.Second)
	issue, err := h.issues.draft(today, now, h.domain())
	if err != nil {
		return issue, err
	}
	var late *civil.TimeOfDay
	if !due.IsZero() && now.Sub(due) > lateAfter {
		t := civil.TimeOfDay(now.Hour()*60 + now.Minute())
		late = &t
	}
	content, told, err := h.content(issue, late)
	if err != nil {
		return issue, err
	}
	m, err := digest.Render(content)
	if err != nil {
		return issue, err
	}
	messages, lines, err := h.messages(issue, content)
	if err != nil {
		return issue, err
	}
	issue = digest.Issue(content, m, issue.MessageID, now)
	for _, l := range lines {
		if !slices.Contains(issue.Lines, l) {
			issue.Lines = append(issue.Lines, l)
		}
	}
	var mails []notify.Outgoing
	for _, msg := range messages {
		raw, err := mailout.Compose(msg)
		if err != nil {
			return issue, fmt.Errorf("compose the digest: %w", err)
		}
		mails = append(mails, notify.Outgoing{ID: msg.ID, From: bareAddress(msg.From), To: bareAddress(msg.To), Raw: raw})
	}
	if err := h.issues.keep(issue, mails); err != nil {
		return issue, err
	}
	h.log.Info("the digest was written", "date", today.String(), "id", issue.ID, "tasks", len(issue.Items), "late", late != nil)
	return issue, h.toldUnread(told, today)
}

// messages writes a digest for each of its readers: one mail each, so that an
// address that fails stops nobody else's, with what is theirs of the whole and
// the whole's numbers. It also returns the lines that only some of them have.
func (h *House) messages(issue notify.Issue, whole digest.Content) (all []notify.Message, lines []string, err error) {
	for n, r := range h.readers(issue.Date) {
		m, err := digest.Render(h.part(whole, r))
		if err != nil {
			return nil, nil, err
		}
		if !r.all() {
			lines = append(lines, m.Lines...)
		}
		id := issue.MessageID
		if n > 0 {
			id = numbered(id, n+1)
		}
		all = append(all, notify.Message{
			ID: id, Date: issue.Sent.In(h.settings.Zone), From: h.settings.Digest.From, To: r.address,
			ReplyTo: h.replyTo(issue.Token), Subject: m.Subject,
			// A provider that replaces the Message-ID leaves it here.
			References: []string{issue.MessageID},
			Automatic:  "auto-generated", Text: m.Text, HTML: m.HTML,
		})
	}
	return all, lines, nil
}

// part is what of a digest is for one of its readers.
func (h *House) part(whole digest.Content, r reader) digest.Content {
	if r.all() {
		return whole
	}
	c := whole
	c.Board = r.board(whole.Board)
	c.Watches = watches(c.Board)
	today := c.Board.On
	coming := r.tasks(h.ahead(today, today.AddDays(weekAhead)))
	c.Ahead = days(today, coming, nil)
	c.Next, c.NextTitle = civil.Date{}, ""
	if text, missed := h.carerReturned(r.keeper, today); text != "" {
		c.Notices = append([]digest.Notice{{Urgent: len(missed) > 0, Text: text, Quotes: missed}}, c.Notices...)
	}
	switch {
	case r.sitter && r.keeper != "":
		words := "You stand in over these days: what cannot wait is listed here beside what is yours."
		c.Notices = append([]digest.Notice{{Urgent: true, Text: words}}, c.Notices...)
	case r.sitter:
		c.Notices = []digest.Notice{{Urgent: true, Text: h.sitterWords(r.cover)}}
		c.Ahead = slices.DeleteFunc(c.Ahead, func(d digest.Day) bool { return d.Date.After(r.cover.Until) })
	}
	return c
}

func (h *House) sitterWords(a *husbandry.Away) string {
	words := "Thank you for standing in, " + a.Cover + ". Only what cannot wait is listed here"
	var call []string
	if c := h.settings.Contacts; c.Keeper != "" {
		call = append(call, "the keeper, "+c.Keeper)
	}
	if c := h.settings.Contacts; c.Veterinarian != "" {
		call = append(call, "the veterinarian, "+c.Veterinarian)
	}
	if len(call) > 0 {
		words += "; to call: " + strings.Join(call, ", or ")
	}
	return words + "."
}

// content gathers what a digest tells, and the ids of the unread mails in it.
func (h *House) content(issue notify.Issue, late *civil.TimeOfDay) (digest.Content, []string, error) {
	today := issue.Date
	c := digest.Content{
		Heading: h.settings.Name, Board: h.board(today), ID: issue.ID, Token: issue.Token,
		Rounds: h.rounds(), SentLate: late,
	}
	known := h.known()
	c.Record = func(id string) bool { _, ok := known(id); return ok }
	if h.settings.In != nil {
		c.ReplyTo = h.replyTo(issue.Token)
	}
	coming := h.ahead(today, today.AddDays(weekAhead))
	in := h.input(h.history.Before(today.AddDays(1)), today, today.AddDays(weekAhead))
	c.Watches = watches(c.Board)
	c.Ahead = days(today, coming, scheduler.Dated(in))
	if len(coming) == 0 {
		for _, t := range h.ahead(today, today.AddDays(h.settings.Calendar.AheadDays)) {
			if c.Next.IsZero() || t.Due.Before(c.Next) {
				c.Next, c.NextTitle = t.Due, t.Title
			}
		}
	}
	notices, told, err := h.notices(today)
	c.Notices = notices
	return c, told, err
}

func (h *House) rounds() map[husbandry.Part]civil.TimeOfDay {
	r := h.settings.Rounds
	return map[husbandry.Part]civil.TimeOfDay{husbandry.Morning: r.Morning, husbandry.Midday: r.Midday, husbandry.Evening: r.Evening}
}

// Rounds returns when the parts of the day begin.
func (h *House) Rounds() map[husbandry.Part]civil.TimeOfDay {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.rounds()
}

// days are the week ahead: how much there is on each day, and what is not a
// matter of every day.
func days(today civil.Date, coming []tasks.Task, spans []scheduler.Span) []digest.Day {
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
		// What comes once in the week stands out from what comes daily; what is
		// watched for has its own section.
		if seen[tasks.NewKey(t.Subject, t.Routine, "")] == 1 && t.Window == nil && t.Kind.PartOf() == "" {
			all[i].Matters = append(all[i].Matters, t.Title)
		}
	}
	return all
}

func (h *House) notices(today civil.Date) (list []digest.Notice, told []string, err error) {
	if n := len(h.problems); h.stale {
		notice := digest.Notice{Urgent: true, Text: fmt.Sprintf("The books have errors, and their last good state is used until they are mended. %s:", english.Count(n, "problem"))}
		for i, p := range h.problems {
			if i == 5 {
				notice.Quotes = append(notice.Quotes, fmt.Sprintf("and %d more; nestround check lists them", n-5))
				break
			}
			notice.Quotes = append(notice.Quotes, fmt.Sprintf("%s:%d: %s", p.File, p.Line, p.Message))
		}
		list = append(list, notice)
	}
	list = append(list, h.logNotices(today)...)
	for _, p := range h.daybook.Problems() {
		list = append(list, digest.Notice{Text: "A line of the daybook does not count: " + p.String()})
	}
	list = append(list, h.carersAway(today)...)
	if text, missed := h.returned(today); text != "" {
		list = append(list, digest.Notice{Urgent: len(missed) > 0, Text: text, Quotes: missed})
	}
	failed, err := h.failures()
	if err != nil {
		return nil, nil, err
	}
	for _, f := range failed {
		list = append(list, digest.Notice{Urgent: true, Text: f})
	}
	held, err := remembered[[]unread](h, h.state("unread.json"))
	if err != nil {
		return nil, nil, err
	}
	for _, u := range held {
		if !u.Shown.IsZero() && u.Shown != today {
			continue
		}
		list = append(list, digest.Notice{
			Text:   fmt.Sprintf("From a mail of %s (%s), which was not answered: %s.", u.From, english.WeekdayMoment(u.At), u.Why),
			Quotes: u.Lines,
		})
		told = append(told, u.ID)
	}
	return list, told, nil
}

// toldUnread notes which unread mails a digest has shown, and forgets those of
// older ones.
func (h *House) toldUnread(told []string, today civil.Date) error {
	path := h.state("unread.json")
	held, err := remembered[[]unread](h, path)
	if err != nil || len(held) == 0 {
		return err
	}
	shown := make(map[string]bool)
	for _, id := range told {
		shown[id] = true
	}
	var kept []unread
	for _, u := range held {
		if shown[u.ID] {
			u.Shown = today
		}
		if u.Shown.IsZero() || today.Sub(u.Shown) < recentIssues {
			kept = append(kept, u)
		}
	}
	return h.files.WriteJSON(path, kept)
}

// watches are the windows that have a task on the board: where hatchings and
// layings are expected now, each subject once.
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
