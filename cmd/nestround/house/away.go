package house

import (
	"fmt"
	"slices"
	"strings"

	"nestround/notify"
	"nestround/notify/digest"
	"nestround/notify/mailout"
	"nestround/notify/sheet"
	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Absences answers questions about the keeper's absences.
type Absences struct{ s *Snapshot }

// Absences returns the absences in the books.
func (s *Snapshot) Absences() Absences { return Absences{s} }

// returned reports on the keeper's first day back: what was done during the
// absence, and what was missed.
func (a Absences) returned(today civil.Date) (text string, missed []string) {
	all := a.s.records.Absences()
	i := slices.IndexFunc(all, func(x husbandry.Away) bool { return x.Until.AddDays(1) == today })
	if i < 0 {
		return "", nil
	}
	return a.meanwhile(all[i].From, all[i].Until, " that could not wait", func(t *tasks.Task) bool { return t.Sitter })
}

// carerReturned reports to one of several keepers on the first day after that
// keeper's absence: which of the keeper's tasks the others did, and which they
// missed.
func (a Absences) carerReturned(keeper husbandry.ID, today civil.Date) (text string, missed []string) {
	for _, x := range a.s.records.CarersAway {
		if x.Keeper == keeper && x.Until.AddDays(1) == today {
			return a.meanwhile(x.From, x.Until, "", func(t *tasks.Task) bool { return t.For == keeper })
		}
	}
	return "", nil
}

// carersAway returns a notice for each keeper who is away on a day.
func (a Absences) carersAway(today civil.Date) (list []digest.Notice) {
	for i := range a.s.records.Carers {
		c := &a.s.records.Carers[i]
		if x := a.s.records.AwayOn(c.ID, today); x != nil {
			list = append(list, digest.Notice{Urgent: true, Text: fmt.Sprintf("Away until %s: %s. What is theirs is given to the others meanwhile, and says so.", english.BareWeekday(x.Until), c.Called())})
		}
	}
	return list
}

// meanwhile reports the done and the missed tasks of an absence. It reports
// only the tasks for which of returns true; sort describes these tasks in
// words.
func (a Absences) meanwhile(from, until civil.Date, sort string, of func(*tasks.Task) bool) (text string, missed []string) {
	history := a.s.said.history.Before(civil.Date{})
	done, by, told := 0, make(map[string]int), make(map[tasks.Key]bool)
	var lines []missing // a recurring task is one line
	left, at := 0, make(map[string]int)
	for d := from; !d.After(until); d = d.AddDays(1) {
		for _, row := range a.s.Board(d).Rows {
			// A task that was due on several days counts once. A task that was
			// done late counts as done.
			if !of(&row.Task) || row.Status == tasks.Lapsed || told[row.Key] {
				continue
			}
			told[row.Key] = true
			switch o := history.Outcome(row.Key); o.Mark {
			case tasks.MarkDone:
				done++
				if o.By != "" {
					by[o.By]++
				}
			case tasks.Skip, tasks.PutOff:
			default:
				left++
				i, again := at[row.Title]
				if !again {
					i = len(lines)
					at[row.Title], lines = i, append(lines, missing{title: row.Title, first: d, alarm: row.Missed == husbandry.Alarms})
				}
				lines[i].last = d
				lines[i].times++
			}
		}
	}
	text = fmt.Sprintf("While you were away, %s marked as done", were(done))
	var who []string
	for name := range by {
		who = append(who, name)
	}
	slices.Sort(who)
	for i, name := range who {
		who[i] = fmt.Sprintf("%d by %s", by[name], name)
	}
	if len(who) > 0 {
		text += " (" + strings.Join(who, ", ") + ")"
	}
	if left == 0 {
		return text + ", and nothing" + sort + " was left.", nil
	}
	text += fmt.Sprintf(", and %s left without a mark%s:", were(left), sort)
	return text, missingWords(lines)
}

// missing is a task that was left without a mark during an absence, on one day
// or several.
type missing struct {
	title       string
	first, last civil.Date
	times       int
	alarm       bool
}

func (m missing) String() string {
	if m.times == 1 {
		return english.BareShortWeekday(m.first) + ": " + m.title
	}
	return fmt.Sprintf("%s to %s, %d times: %s", english.BareShortWeekday(m.first), english.BareShortWeekday(m.last), m.times, m.title)
}

// missingWords writes one line for each missed task. Alarms come first, so that
// they are never among the lines that are cut off.
func missingWords(lines []missing) (words []string) {
	for _, alarm := range []bool{true, false} {
		for _, l := range lines {
			if l.alarm == alarm {
				words = append(words, l.String())
			}
		}
	}
	const most = 12
	if n := len(words); n > most {
		words = append(words[:most:most], fmt.Sprintf("and %d more", n-most))
	}
	return words
}

// were is "nothing was", "1 task was" or "3 tasks were".
func were(n int) string {
	if n == 0 {
		return "nothing was"
	}
	return english.CountForms(n, "task was", "tasks were")
}

// Next returns the absence that includes the given day, or else the next
// absence.
func (a Absences) Next(on civil.Date) (husbandry.Away, bool) {
	for _, x := range a.s.records.Away {
		if !x.Until.Before(on) {
			return x, true
		}
	}
	return husbandry.Away{}, false
}

// Sheet writes the sheet for the stand-in of an absence, from today's plan. It
// has only the tasks that cannot wait.
func (a Absences) Sheet(of husbandry.Away) (sheet.Sheet, error) {
	s, today := a.s, a.s.today
	c := sheet.Content{
		Heading: s.settings.Name, Cover: of.Cover, From: civil.Max(of.From, today), Until: of.Until, Note: of.Note,
		Keeper: s.settings.Contacts.Keeper, Veterinarian: s.settings.Contacts.Veterinarian,
		Rounds: s.Rounds(), Mailed: of.Mail != "" && s.settings.Out != nil && s.settings.In != nil,
	}
	for _, t := range s.plan(s.said.end(today), of.Until) {
		switch {
		case t.Status == tasks.Lapsed:
		case t.Pinned && !t.Due.After(today):
			// Repeat a pinned task on every day of the absence, because an
			// animal may be in danger.
			for d := c.From; !d.After(c.Until); d = d.AddDays(1) {
				t.Due = d
				c.Tasks = append(c.Tasks, t)
			}
		case t.Sitter && (!t.Due.Before(c.From) || !t.Due.After(today)):
			t.Due = civil.Max(t.Due, c.From) // overdue when the absence began
			c.Tasks = append(c.Tasks, t)
		}
	}
	return sheet.Render(c)
}

// SendSheet puts the sheet into the outbox: for the stand-in, and a copy for
// the keepers.
func (h *House) SendSheet(a husbandry.Away) (to []string, err error) {
	s := h.Snapshot()
	page, err := s.Absences().Sheet(a)
	if err != nil {
		return nil, err
	}
	now, from, domain := h.now().In(s.settings.Zone), s.settings.Digest.From, domain(s.settings)
	for _, r := range readers(s, a.From) {
		to = append(to, r.address)
	}
	for n, address := range to {
		msg := notify.Message{
			ID:   fmt.Sprintf("s.%s.%d.%d@%s", a.From, now.UnixNano(), n, domain),
			Date: now, From: from, To: address, Subject: page.Subject, Text: page.Text, HTML: page.HTML,
		}
		raw, err := mailout.Compose(msg)
		if err != nil {
			return nil, fmt.Errorf("compose the sheet for days away: %w", err)
		}
		out := notify.Outgoing{ID: msg.ID, From: bareAddress(from), To: bareAddress(address), Raw: raw}
		if err := h.dispatch.post(out, "the sheet for days away", answerPatience); err != nil {
			return nil, err
		}
	}
	return to, nil
}

// Uncovered is a coming absence without a stand-in, and the tasks that cannot
// wait: their number for each kind.
type Uncovered struct {
	Away  husbandry.Away
	Tasks map[husbandry.Kind]int
}

// Uncovered returns the current and coming absences that have no stand-in but
// have tasks that cannot wait, from today's plan.
func (a Absences) Uncovered() []Uncovered {
	var list []Uncovered
	today := a.s.today
	for _, x := range a.s.records.Away {
		if x.Cover != "" || x.Until.Before(today) {
			continue
		}
		u := Uncovered{Away: x, Tasks: make(map[husbandry.Kind]int)}
		for _, t := range a.s.plan(a.s.said.end(today), x.Until) {
			if t.Sitter && t.Status != tasks.Lapsed && !t.Due.Before(civil.Max(x.From, today)) {
				u.Tasks[t.Kind]++
			}
		}
		if len(u.Tasks) > 0 {
			list = append(list, u)
		}
	}
	return list
}

// WinterAway is a coming absence that delays steps or weighings of a cooling,
// with these steps and weighings on their original days.
type WinterAway struct {
	Away  husbandry.Away
	Tasks []tasks.Task
}

// Winters returns the current and coming absences that delay a step or a
// weighing of a cooling, from today's plan.
func (a Absences) Winters() []WinterAway {
	var list []WinterAway
	today := a.s.today
	here := *a.s.records
	here.Away = nil
	for _, away := range a.s.records.Away {
		if away.Until.Before(today) {
			continue
		}
		in := a.s.day(today.AddDays(1), today, away.Until)
		in.Records = &here
		x := WinterAway{Away: away}
		for _, t := range scheduler.Plan(in) {
			if (t.Kind == husbandry.Cool || t.Routine == herd.CoolingWeigh) && !t.Due.Before(civil.Max(away.From, today)) {
				x.Tasks = append(x.Tasks, t)
			}
		}
		if len(x.Tasks) > 0 {
			list = append(list, x)
		}
	}
	return list
}
