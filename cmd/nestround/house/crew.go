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
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// reader is somebody who gets the digest, and may answer it.
type reader struct {
	address string
	keeper  husbandry.ID // "" for one who gets everything
	sitter  bool         // stands in for the keeper, and gets what cannot wait
	cover   *husbandry.Away
}

// all reports whether everything is for this reader.
func (r reader) all() bool { return r.keeper == "" && !r.sitter }

// has reports whether a task is for this reader. What is nobody's in
// particular is for every keeper, but for one who is away and whose it would be.
func (r reader) has(t *tasks.Task) bool {
	if r.sitter && (r.keeper == "" || t.Sitter) {
		return t.Sitter && t.Status != tasks.Lapsed
	}
	return r.keeper == "" || t.Keeper == "" && t.For != r.keeper || t.Keeper == r.keeper
}

// board is what of a board is for this reader, with the numbers of the whole.
func (r reader) board(b *tasks.Board) *tasks.Board {
	mine := &tasks.Board{On: b.On}
	for _, row := range b.Rows {
		if r.has(&row.Task) {
			mine.Rows = append(mine.Rows, row)
		}
	}
	return mine
}

func (r reader) tasks(all []tasks.Task) []tasks.Task {
	return slices.DeleteFunc(slices.Clone(all), func(t tasks.Task) bool { return !r.has(&t) })
}

// readers are those to whom the digest of a day goes: the addresses of the
// settings, the keepers who share the work, and on days away who stands in.
func (h *House) readers(on civil.Date) []reader {
	var list []reader
	add := func(r reader) {
		if !slices.ContainsFunc(list, func(o reader) bool { return sameAddress(o.address, r.address) }) {
			list = append(list, r)
		}
	}
	carers := make(map[string]husbandry.ID)
	for _, c := range h.records.Carers {
		if c.Mail != "" {
			carers[strings.ToLower(bareAddress(c.Mail))] = c.ID
		}
	}
	for _, to := range h.settings.Digest.To {
		add(reader{address: to, keeper: carers[strings.ToLower(bareAddress(to))]})
	}
	for _, c := range h.records.Carers {
		if c.Mail != "" {
			add(reader{address: c.Mail, keeper: c.ID})
		}
	}
	for i := range h.records.Away {
		if a := &h.records.Away[i]; a.Mail != "" && !on.Before(a.From) && !on.After(a.Until) {
			// One of the keepers who stands in for the others keeps what is theirs.
			if i := slices.IndexFunc(list, func(o reader) bool { return sameAddress(o.address, a.Mail) }); i >= 0 {
				if list[i].keeper != "" {
					list[i].sitter, list[i].cover = true, a
				}
				continue
			}
			add(reader{address: a.Mail, sitter: true, cover: a})
		}
	}
	return list
}

func sameAddress(a, b string) bool { return strings.EqualFold(bareAddress(a), bareAddress(b)) }

// reader is the one of an address for the digest of a day; one who is no
// longer a reader of it gets nothing of it.
func (h *House) reader(address string, on civil.Date) (reader, bool) {
	for _, r := range h.readers(on) {
		if sameAddress(r.address, address) {
			return r, true
		}
	}
	return reader{}, false
}

// replyFor is how long after their days away the answers of a stand-in count.
const replyFor = 7 // days

// mayReply are the addresses whose answers count: the readers of today, and
// who stood in until lately.
func (h *House) mayReply() []string {
	var list []string
	today := h.today()
	for _, r := range h.readers(today) {
		list = append(list, bareAddress(r.address))
	}
	for _, a := range h.records.Away {
		if a.Mail != "" && !today.Before(a.From) && !today.After(a.Until.AddDays(replyFor)) {
			list = append(list, bareAddress(a.Mail))
		}
	}
	return list
}

// returned says on the first day back what was missed.
func (h *House) returned(today civil.Date) (text string, missed []string) {
	all := h.records.Absences()
	i := slices.IndexFunc(all, func(a husbandry.Away) bool { return a.Until.AddDays(1) == today })
	if i < 0 {
		return "", nil
	}
	return h.meanwhile(all[i].From, all[i].Until, " that could not wait", func(t *tasks.Task) bool { return t.Sitter })
}

// carerReturned says to one of several keepers, on the first day back, what the
// others missed of what is theirs.
func (h *House) carerReturned(keeper husbandry.ID, today civil.Date) (text string, missed []string) {
	for _, a := range h.records.CarersAway {
		if a.Keeper == keeper && a.Until.AddDays(1) == today {
			return h.meanwhile(a.From, a.Until, "", func(t *tasks.Task) bool { return t.For == keeper })
		}
	}
	return "", nil
}

// carersAway says who of several keepers is away on a day.
func (h *House) carersAway(today civil.Date) (list []digest.Notice) {
	for i := range h.records.Carers {
		c := &h.records.Carers[i]
		if a := h.records.AwayOn(c.ID, today); a != nil {
			list = append(list, digest.Notice{Urgent: true, Text: fmt.Sprintf("Away until %s: %s. What is theirs is given to the others meanwhile, and says so.", english.BareWeekday(a.Until), c.Called())})
		}
	}
	return list
}

// meanwhile says what was done and missed of some tasks over days away; sort
// says which tasks these are.
func (h *House) meanwhile(from, until civil.Date, sort string, of func(*tasks.Task) bool) (text string, missed []string) {
	done, by, told := 0, make(map[string]int), make(map[tasks.Key]bool)
	var lines []missing // what recurs is one
	left, at := 0, make(map[string]int)
	for d := from; !d.After(until); d = d.AddDays(1) {
		for _, row := range h.board(d).Rows {
			// What was asked for on several days counts once, and one that was
			// done late is done.
			if !of(&row.Task) || row.Status == tasks.Lapsed || told[row.Key] {
				continue
			}
			told[row.Key] = true
			switch o := h.history.Outcome(row.Key); o.Mark {
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

// missing is what was left without a mark over days away, on one day or
// several.
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

// missingWords tells of them a line each, what could hurt first and so never
// among those cut off.
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

// Absence returns the days away that a day is one of, or else the next ones.
func (h *House) Absence(on civil.Date) (husbandry.Away, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, a := range h.records.Away {
		if !a.Until.Before(on) {
			return a, true
		}
	}
	return husbandry.Away{}, false
}

// Sheet writes the sheet for whoever stands in on some days away, as planned
// today: only what cannot wait.
func (h *House) Sheet(a husbandry.Away) (sheet.Sheet, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.sheet(a)
}

func (h *House) sheet(a husbandry.Away) (sheet.Sheet, error) {
	today := h.today()
	c := sheet.Content{
		Heading: h.settings.Name, Cover: a.Cover, From: civil.Max(a.From, today), Until: a.Until, Note: a.Note,
		Keeper: h.settings.Contacts.Keeper, Veterinarian: h.settings.Contacts.Veterinarian,
		Rounds: h.rounds(), Mailed: a.Mail != "" && h.settings.Out != nil && h.settings.In != nil,
	}
	for _, t := range h.plan(h.history.Before(today.AddDays(1)), today, a.Until) {
		switch {
		case t.Status == tasks.Lapsed:
		case t.Pinned && !t.Due.After(today):
			// Somebody may be in danger, and is looked at until it is over.
			for d := c.From; !d.After(c.Until); d = d.AddDays(1) {
				t.Due = d
				c.Tasks = append(c.Tasks, t)
			}
		case t.Sitter && (!t.Due.Before(c.From) || !t.Due.After(today)):
			t.Due = civil.Max(t.Due, c.From) // overdue when the days began
			c.Tasks = append(c.Tasks, t)
		}
	}
	return sheet.Render(c)
}

// SendSheet puts the sheet into the outbox: to who stands in, and to the
// keepers as a copy.
func (h *House) SendSheet(a husbandry.Away) (to []string, err error) {
	h.mu.Lock()
	s, err := h.sheet(a)
	now, from, domain := h.now().In(h.settings.Zone), h.settings.Digest.From, h.domain()
	for _, r := range h.readers(a.From) {
		to = append(to, r.address)
	}
	h.mu.Unlock()
	if err != nil {
		return nil, err
	}
	for n, address := range to {
		msg := notify.Message{
			ID:   fmt.Sprintf("s.%s.%d.%d@%s", a.From, now.UnixNano(), n, domain),
			Date: now, From: from, To: address, Subject: s.Subject, Text: s.Text, HTML: s.HTML,
		}
		raw, err := mailout.Compose(msg)
		if err != nil {
			return nil, fmt.Errorf("compose the sheet for days away: %w", err)
		}
		out := notify.Outgoing{ID: msg.ID, From: bareAddress(from), To: bareAddress(address), Raw: raw}
		if err := h.post(out, "the sheet for days away", answerPatience); err != nil {
			return nil, err
		}
	}
	return to, nil
}

// Uncovered are coming days away on which nobody stands in, and what cannot
// wait of each kind, by number of tasks.
type Uncovered struct {
	Away  husbandry.Away
	Tasks map[husbandry.Kind]int
}

// Uncovered returns the days away, of those not over, that have nobody to stand
// in and something that cannot wait, as planned today.
func (h *House) Uncovered() []Uncovered {
	h.mu.Lock()
	defer h.mu.Unlock()
	var list []Uncovered
	today := h.today()
	for _, a := range h.records.Away {
		if a.Cover != "" || a.Until.Before(today) {
			continue
		}
		u := Uncovered{Away: a, Tasks: make(map[husbandry.Kind]int)}
		for _, t := range h.plan(h.history.Before(today.AddDays(1)), today, a.Until) {
			if t.Sitter && t.Status != tasks.Lapsed && !t.Due.Before(civil.Max(a.From, today)) {
				u.Tasks[t.Kind]++
			}
		}
		if len(u.Tasks) > 0 {
			list = append(list, u)
		}
	}
	return list
}

// Unfed returns the names of the species whose animals no routine feeds.
func (h *House) Unfed() []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	today := h.today()
	var names []string
	for _, id := range scheduler.Unfed(h.input(h.history.Before(today.AddDays(1)), today, today)) {
		for _, s := range h.records.Species {
			if s.ID == id {
				names = append(names, s.Name)
			}
		}
	}
	return names
}

// WinterAway are coming days away on which a winter's steps or weighings fall
// due, which then wait for the return, and these tasks on their own days.
type WinterAway struct {
	Away  husbandry.Away
	Tasks []tasks.Task
}

// WinterAway returns the days away, of those not over, over which somebody
// would be cooled, warmed or weighed in the cold, as planned today.
func (h *House) WinterAway() []WinterAway {
	h.mu.Lock()
	defer h.mu.Unlock()
	var list []WinterAway
	today := h.today()
	here := *h.records
	here.Away = nil
	for _, a := range h.records.Away {
		if a.Until.Before(today) {
			continue
		}
		in := h.input(h.history.Before(today.AddDays(1)), today, a.Until)
		in.Records = &here
		x := WinterAway{Away: a}
		for _, t := range scheduler.Plan(in) {
			if (t.Kind == husbandry.Cool || t.Routine == scheduler.CoolingWeigh) && !t.Due.Before(civil.Max(a.From, today)) {
				x.Tasks = append(x.Tasks, t)
			}
		}
		if len(x.Tasks) > 0 {
			list = append(list, x)
		}
	}
	return list
}

// Carer returns the id of one of the keepers who share the work, "" for "".
func (h *House) Carer(name string) (husbandry.ID, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var ids []string
	for _, c := range h.records.Carers {
		if strings.EqualFold(string(c.ID), name) {
			return c.ID, nil
		}
		ids = append(ids, string(c.ID))
	}
	switch {
	case name == "":
		return "", nil
	case len(ids) == 0:
		return "", fmt.Errorf("there is no keeper %q: the books have no [[keeper]]", name)
	}
	return "", fmt.Errorf("there is no keeper %q; the books have %s", name, strings.Join(ids, ", "))
}

// BoardOf is what of a board is one keeper's, with the numbers of the whole.
func BoardOf(keeper husbandry.ID, b *tasks.Board) *tasks.Board {
	return reader{keeper: keeper}.board(b)
}

// TasksOf are those of some tasks that are one keeper's.
func TasksOf(keeper husbandry.ID, all []tasks.Task) []tasks.Task {
	return reader{keeper: keeper}.tasks(all)
}
