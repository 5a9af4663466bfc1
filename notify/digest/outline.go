package digest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// outline has the words of a digest in order, before text.go or html.go lays
// them out. Every string in it has passed through writer.say.
type outline struct {
	Subject string
	Title   string
	Heading string
	Count   string
	Late    string
	// Shortened says what a very long list leaves out; "" if nothing.
	Shortened string
	Sections  []section
	Answer    []string // how to answer, a paragraph each
	Marker    string

	To  string // the bare address for answers; "" for none
	Tag string
	All bool // "all" can answer the whole list

	w    writer
	bare bool // see level
}

// section is the part of the digest under a heading.
type section struct {
	Head   string
	Aside  string // after the heading, in a quieter style
	Tone   tone
	Groups []group
	Lines  []line
}

// tone is the look of a section. The words of a section say everything that its
// tone says, for readers who do not see the look.
type tone string

const (
	tonePlain tone = ""
	toneAlarm tone = "alarm" // something may be wrong with an animal
	toneLate  tone = "late"
)

// Class returns the class of a section's heading.
func (t tone) Class() string { return cmp.Or(string(t), "head") }

// Status returns the class for the status of the section's tasks.
func (t tone) Status() string {
	if t == tonePlain {
		return "why"
	}
	return "red"
}

// group is the tasks of one room.
type group struct {
	Room   string
	Items  []item
	Blocks []block // the items in their layout; see arrange
	Runs   []run   // only in very long lists; see level
}

// block has consecutive tasks of the same subject under a heading, or tasks
// without a heading under their full titles.
type block struct {
	Whom  string // the heading, "" for none
	Items []item
}

// item is a task or a watch.
type item struct {
	N       int // number of the task; 0 for none
	Title   string
	Status  string // "" for an ordinary open task
	Why     []string
	Record  string
	Caution string // in full; arrange sets "" if an earlier task shows the same caution

	// arrange sets the following fields. Name has the words after the number,
	// Notes the notes, and See the reference to a caution. Flows is set if the
	// name and all notes go on the same line. said has the status, the notes
	// and the reference; line has the name and then said.
	Name  string
	Notes []string
	See   string
	Flows bool
	said  []string
	line  string

	Open    bool
	do      string // the title without the subject
	whom    string
	routine bool   // an ordinary task; a very long list may drop its reason
	special bool   // never shortened
	label   string // the heading of its run
	place   string // its number and subject, for use in a run
}

// line is a line of a list without numbers.
type line struct {
	Lead   string // a day, or ""
	Text   string
	Below  []string
	Quotes []string
}

func newOutline(c Content, to string) outline {
	on := c.Board.On
	w := newWriter(c.Record)
	o := outline{
		w:       w,
		Title:   w.say("Round for " + english.LongDate(on)),
		Heading: w.say(c.Heading),
		To:      to,
		Tag:     notify.SubjectTag(c.ID),
		Marker:  notify.MarkerLine(c.ID, c.Token),
	}
	open := c.Board.Open()
	var overdue, alarms, work int
	for _, r := range open {
		work += r.Minutes
		if r.Status == tasks.Overdue {
			overdue++
		}
		if r.Alarm() {
			alarms++
		}
	}
	o.All = len(open) > 0
	o.Count = w.countLine(c, len(open), work, overdue, alarms)
	o.Subject = subject(on, o.Tag, len(open), overdue, alarms)
	if c.SentLate != nil {
		o.Late = w.say("Sent late, at " + c.SentLate.String() + ".")
	}

	add := func(s section) {
		if len(s.Groups) > 0 || len(s.Lines) > 0 {
			o.Sections = append(o.Sections, s)
		}
	}
	add(section{Head: w.say("Alarm"), Tone: toneAlarm, Groups: w.rooms(c, func(r tasks.Row) bool {
		return r.Alarm()
	})})
	add(w.notices(c.Notices, true))
	add(section{Head: w.say("Overdue"), Tone: toneLate, Groups: w.rooms(c, func(r tasks.Row) bool {
		return r.Status == tasks.Overdue && !r.Alarm()
	})})
	for _, part := range []husbandry.Part{husbandry.Morning, husbandry.Midday, husbandry.Evening} {
		n, min := 0, 0
		groups := w.rooms(c, func(r tasks.Row) bool {
			in := r.Status == tasks.Due && !r.Alarm() && partName(r.Part) == partName(part)
			if in {
				n++
				min += r.Minutes
			}
			return in
		})
		head := partName(part)
		if at, ok := c.Rounds[part]; ok {
			head += ", from " + at.String()
		}
		add(section{Head: w.say(head), Aside: w.say(load(n, min)), Groups: groups})
	}
	add(w.watches(c))
	add(section{Head: w.say("Marked already"), Groups: w.rooms(c, func(r tasks.Row) bool {
		return r.Status == tasks.Done || r.Status == tasks.Skipped || r.Status == tasks.Upcoming
	})})
	add(w.lapsed(c.Board))
	add(w.ahead(c.Ahead))
	add(w.notices(c.Notices, false))
	if to != "" {
		o.Answer = w.answer(len(open) > 0)
	}
	return o
}

func (w writer) countLine(c Content, open, work, overdue, alarms int) string {
	if open == 0 {
		s := "Nothing is due today."
		if slices.ContainsFunc(c.Board.Rows, func(r tasks.Row) bool { return r.N > 0 }) {
			s = "Nothing is left to do today."
		}
		if n := len(c.Watches); n > 0 {
			s += " " + english.Count(n, "watch") + " below."
		}
		return w.say(s + " " + nextLine(c))
	}
	parts := []string{load(open, work)}
	if alarms > 0 {
		parts = append(parts, english.Count(alarms, "alarm"))
	}
	if overdue > 0 {
		parts = append(parts, fmt.Sprintf("%d overdue", overdue))
	}
	if n := len(c.Watches); n > 0 {
		parts = append(parts, english.Count(n, "watch"))
	}
	return w.say(strings.Join(parts, "; ") + ".")
}

// nextLine names the day of the next task.
func nextLine(c Content) string {
	next := c.Next
	for _, d := range c.Ahead {
		if next.IsZero() && d.Count > 0 {
			next = d.Date
		}
	}
	switch {
	case next.IsZero() && len(c.Ahead) > 0:
		return fmt.Sprintf("Nothing is planned until %s either.", english.BareShortWeekday(c.Ahead[len(c.Ahead)-1].Date))
	case next.IsZero():
		return "Nothing is planned."
	}
	day := english.BareShortWeekday(next)
	if next.Sub(c.Board.On) > 180 {
		day = english.ShortWeekdayDate(next)
	}
	s := "The next task is on " + day
	if c.NextTitle != "" && !c.Next.IsZero() {
		s += ": " + c.NextTitle
	}
	return s + "."
}

func subject(on civil.Date, tag string, open, overdue, alarms int) string {
	s := "Round for " + english.BareShortWeekday(on) + ": "
	switch {
	case open == 0:
		s += "nothing due"
	default:
		s += english.Count(open, "task")
	}
	if overdue > 0 {
		s += fmt.Sprintf(", %d overdue", overdue)
	}
	if alarms > 0 {
		s += ", " + english.Count(alarms, "alarm")
	}
	return s + " " + tag
}

// rooms makes items from the rows of the board for which in returns true. It
// groups the items by room, in the board's order.
func (w writer) rooms(c Content, in func(tasks.Row) bool) []group {
	var groups []group
	for _, r := range c.Board.Rows {
		if r.N == 0 || !in(r) {
			continue
		}
		room := cmp.Or(r.Place.RoomName, string(r.Place.Room), "Anywhere")
		if len(groups) == 0 || groups[len(groups)-1].Room != room {
			groups = append(groups, group{Room: room})
		}
		g := &groups[len(groups)-1]
		g.Items = append(g.Items, w.newItem(r, c.Board.On))
	}
	for i := range groups {
		groups[i].Room = w.say(groups[i].Room)
	}
	return groups
}

func (w writer) newItem(r tasks.Row, on civil.Date) item {
	it := item{
		N:       r.N,
		Title:   w.sayNumbered(r.Title),
		Record:  w.say(toRecord(r.Asks)),
		Caution: w.say(r.Caution),
		whom:    w.say(r.Whom),
		label:   w.say(cmp.Or(r.Kind.Name(), string(r.Routine))),
		place:   fmt.Sprintf("%d %s", r.N, w.sayNumbered(string(r.Subject))),
	}
	if why := w.say(r.Why); why != "" {
		it.Why = []string{why}
	}
	if r.Do != "" {
		it.do = w.sayNumbered(r.Do)
	}
	status := ""
	switch r.Status {
	case tasks.Due, tasks.Overdue:
		it.Open = true
		it.special = r.Pinned || r.Missed == husbandry.Alarms || r.Window != nil
		it.routine = !it.special && r.Status == tasks.Due
		if r.Status == tasks.Overdue {
			status = "Overdue"
			if since := lateness(r.Task, on); since != "" {
				status += ": " + since
			}
		}
		switch {
		case r.Pinned && status != "":
			status += ". This cannot be put off."
		case r.Pinned:
			status = "This cannot be put off."
		}
	case tasks.Done:
		status = "Marked as done"
	case tasks.Skipped:
		status = "Marked as skipped"
	case tasks.Upcoming:
		status = "Put off until " + english.ShortWeekday(r.Due, on)
	}
	it.Status = w.say(status)
	if !it.Open {
		it.Why, it.Record, it.Caution = nil, "", ""
	}
	return it
}

func (w writer) watches(c Content) section {
	s := section{Head: w.say("Watches")}
	if len(c.Watches) == 0 {
		return s
	}
	g := group{}
	on := c.Board.On
	open := make(map[int]tasks.Row)
	for _, r := range c.Board.Open() {
		open[r.N] = r
	}
	for _, v := range c.Watches {
		it := item{Title: w.say(v.Title), Caution: w.say(v.Caution), special: true}
		if v.Forecast {
			chances := "Today " + chance(v.Today)
			if !v.By.IsZero() {
				chances += "; by " + english.ShortWeekday(v.By, on) + " " + chance(v.ByThen)
			}
			it.Status = w.say(chances + ".")
		}
		var about []string
		switch {
		case v.To.IsZero():
		case v.To.Before(on):
			about = append(about, fmt.Sprintf("The window closed on %s, %s ago.",
				english.ShortWeekday(v.To, on), english.Days(on.Sub(v.To))))
		default:
			about = append(about, fmt.Sprintf("To be watched from %s to %s.",
				english.ShortWeekday(v.From, on), english.ShortWeekday(v.To, on)))
		}
		why, task := v.Why, "Its task is"
		if r, ok := open[v.N]; ok {
			if clean(r.Why) == clean(why) {
				why = ""
			}
			if it.Caution != "" && w.say(r.Caution) == it.Caution {
				it.Caution, task = "", "Its task, with the caution, is"
			}
		}
		if v.N > 0 {
			about = append(about, fmt.Sprintf("%s number %d above.", task, v.N))
		}
		if len(about) > 0 {
			it.Why = append(it.Why, w.say(strings.Join(about, " ")))
		}
		if why = w.say(why); why != "" {
			it.Why = append(it.Why, why)
		}
		g.Items = append(g.Items, it)
	}
	s.Groups = []group{g}
	return s
}

func (w writer) lapsed(b *tasks.Board) section {
	s := section{Head: w.say("Lapsed since the day before"),
		Aside: w.say("not owed any more, nothing to do")}
	at := make(map[string]int) // index of the line with the same action
	for _, r := range b.Rows {
		if r.N != 0 {
			continue
		}
		if i, ok := at[r.Do]; ok && r.Whom != "" {
			s.Lines[i].Text += "; " + r.Whom
			continue
		}
		l := line{Text: r.Title}
		if r.Do != "" && r.Whom != "" {
			at[r.Do] = len(s.Lines)
			l.Text = r.Do + ": " + r.Whom
		}
		s.Lines = append(s.Lines, l)
	}
	for i := range s.Lines {
		s.Lines[i].Text = w.say(s.Lines[i].Text)
	}
	return s
}

func (w writer) ahead(days []Day) section {
	s := section{Head: w.say("The days ahead")}
	for _, d := range days {
		l := line{Lead: w.say(english.BareShortWeekday(d.Date)), Text: w.say(load(d.Count, d.Minutes))}
		if d.Count == 0 {
			l.Text = w.say("nothing planned")
		}
		for _, m := range d.Matters {
			l.Below = append(l.Below, w.say(m))
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}

func (w writer) notices(list []Notice, urgent bool) section {
	s := section{Head: w.say("About the program")}
	if urgent {
		s = section{Head: w.say("Please look at this")}
	}
	for _, n := range list {
		if n.Urgent != urgent {
			continue
		}
		l := line{Text: w.say(n.Text)}
		for _, q := range n.Quotes {
			if q = clean(q); q != "" {
				l.Quotes = append(l.Quotes, w.say(`"`+q+`"`))
			}
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}

const (
	answerHead  = "How to answer"
	cautionWord = "Caution:"
)

// answer explains how to answer. Its examples have letters in place of numbers,
// so that a quoted digest is never taken for the keeper's commands. The package
// comment of notify/reply gives the reasons.
func (w writer) answer(open bool) []string {
	if !open {
		return []string{w.say("Answers to this mail are read. For a task of an earlier mail, answer that one: its numbers stay valid.")}
	}
	return []string{
		w.say(`Answer this mail with a line for each thing on top, in any order: "done N N N"; "skip N" and why; ` +
			`"later N" and how many days, or a weekday; "undo N". For the whole list "all", for most of it "all but N N".`),
		w.say(`What was found begins with the number: "N laid N", "N hatched N", "N weighs N g", "N added N ml", "N refused", "N ill". ` +
			`For anything else: "note N" and your words.`),
		w.say("What could not be read comes back in the next mail; nothing is guessed."),
	}
}
