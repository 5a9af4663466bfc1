package plan

import (
	"slices"
	"sort"
	"strconv"

	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// said returns the outcome of a task with a nominal date.
func (d *Day) said(a *Duty, date civil.Date) tasks.Outcome {
	if date.After(d.On) && !a.ahead {
		return tasks.Outcome{}
	}
	return a.marks.OutcomeSince(a.Key(d.Text(date)), civil.Min(date, d.On).AddDays(-int(a.Routine.Before)-markAhead))
}

// Fate is the outcome of a task.
type Fate struct {
	// Done and Skipped are the days for which the mark was made, or no date.
	Done, Skipped civil.Date
	// Until is the day to which it was put off, or no date.
	Until civil.Date
}

// Over reports whether nothing more is owed of the task.
func (f Fate) Over() bool { return !f.Done.IsZero() || !f.Skipped.IsZero() }

func fateOf(o tasks.Outcome) Fate {
	switch o.Mark {
	case tasks.MarkDone:
		return Fate{Done: o.On}
	case tasks.Skip:
		return Fate{Skipped: o.On}
	case tasks.PutOff:
		return Fate{Until: o.Until}
	}
	return Fate{}
}

// Became is the fate of a duty's task of a date. It is the one exception to the
// rule that rules know no marks. It is for tasks whose successors depend on it:
// riders, and the steps of a quarantine or a winter (see [Day.BecameOf]).
func (d *Day) Became(a *Duty, date civil.Date) Fate {
	return fateOf(d.said(a, date))
}

// BecameOf is [Day.Became] for a task of a key.
func (d *Day) BecameOf(key tasks.Key) Fate { return fateOf(d.History.Outcome(key)) }

// BecameInGroup is the fate of a task of the groups out of which an animal was
// taken, if the task was marked while the animal was in them.
func (d *Day) BecameInGroup(a *herd.Animal, routine husbandry.ID, occurrence string) Fate {
	until := a.Since
	for _, g := range d.GroupsOf(a) {
		o := d.History.Outcome(tasks.NewKey(g.ID, routine, occurrence))
		if (o.Mark == tasks.MarkDone || o.Mark == tasks.Skip) && !o.On.After(until) {
			return fateOf(o)
		}
		until = civil.Min(until, g.Since)
	}
	return Fate{}
}

// LastDone is the last day on which a task of the duty was done, or no date.
func (a *Duty) LastDone() civil.Date { return a.marks.LastDone() }

// LastSaid is the last day for which a task of the duty was reported as done,
// or no date; it is never before LastDone.
func (a *Duty) LastSaid() civil.Date { return a.marks.LastSaid() }

// DoneDays returns the days since a day on which tasks of the duty were done,
// ascending.
func (a *Duty) DoneDays(since civil.Date) []civil.Date { return a.marks.DoneDays(since) }

// Single is one task.
type Single struct {
	Duty *Duty
	// Keys has the key of the task, and then the keys it had before, as when a
	// clutch got another id.
	Keys []tasks.Key
	Due  civil.Date
	Why  string

	// Dated says that the key's occurrence is the date Due.
	Dated bool
	// Found says that a finding on Due asks for the task. Findings before the
	// books begin ask for nothing.
	Found bool
	// Clamped says that a task due before the books begin is due on their first
	// day.
	Clamped bool
	// Event says that the task follows an event and has Slack days from Due. If
	// it was due before the books began or its subject came, only the rest of
	// the slack is left. NeverLate keeps it owed all the same.
	Event     bool
	Slack     husbandry.Days
	NeverLate bool
	// Pinned says that somebody may be in danger: the task is an alarm, and
	// neither skipped nor put off.
	Pinned bool
	// While reports whether the task makes sense on a due day; nil: always.
	While func(due civil.Date) bool
	// Ridden says that others may ride on the task.
	Ridden bool
	// Group is the animal whose earlier groups may have had the task. Young is
	// the clutch that may have had it before its young had records. Nil for
	// none.
	Group *herd.Animal
	Young *herd.Clutch
	// Finish changes the finished task where it differs from its routine; nil
	// for nothing.
	Finish func(t *tasks.Task)
}

// fate is the day on which the task is due now, and whether it was dealt with.
func (p *Single) fate(d *settling) (due civil.Date, over bool) {
	due = p.Due
	take := func(o tasks.Outcome) {
		switch {
		case o.Mark == tasks.MarkDone, o.Mark == tasks.Skip && !p.Pinned:
			over = true
		case o.Mark == tasks.PutOff && !p.Pinned && !over:
			due = civil.Max(due, o.Until)
		}
	}
	if p.Dated {
		take(d.said(p.Duty, p.Due))
		return due, over
	}
	for _, k := range p.Keys {
		take(d.History.Outcome(k))
	}
	return due, over || p.inherited(d)
}

func (p *Single) settle(d *settling) {
	a := p.Duty
	if p.Found && (p.Due.Before(d.Began) || p.Due.After(d.On)) {
		return
	}
	due, over := p.fate(d)
	if over {
		return
	}
	if p.Clamped {
		due = civil.Max(due, d.Began)
	}
	if p.While != nil && !p.While(due) {
		return
	}
	if p.Ridden {
		d.addHost(a.Subject.ID, a.Routine.Kind, Host{Date: p.Due, Due: civil.Max(due, d.On)})
	}
	due, slack, owed := p.owed(d, due)
	if !owed {
		return
	}
	t := p.task(d, due, slack)
	if p.Event && a.Routine.Missed == husbandry.Lapses && t.Status == tasks.Overdue {
		if t.Latest.AddDays(1) == d.On {
			d.lapse(planned{a: a, key: t.Key, due: due})
		}
		return
	}
	if p.Finish != nil {
		p.Finish(&t)
	}
	d.emit(a, t)
}

// task makes the task, due on a day with so much slack.
func (p *Single) task(d *settling, due civil.Date, slack husbandry.Days) tasks.Task {
	t := d.task(p.Duty, p.key(d), due, p.Why)
	switch {
	case p.Pinned:
		t.Missed, t.Pinned, t.Latest = husbandry.Alarms, true, due
	case p.Event:
		t.Latest = due.AddDays(int(slack))
	}
	if !due.After(d.On) {
		t.Status = tasks.Due
		if t.Latest.Before(d.On) {
			t.Status = tasks.Overdue
		}
	}
	return t
}

func (p *Single) key(d *settling) tasks.Key {
	if p.Dated {
		return p.Duty.Key(d.Text(p.Due))
	}
	return p.Keys[0]
}

// owed moves a task that follows an event, and was due before anything was owed
// to its subject, to the first day on which it can be owed, with the rest of
// its slack.
func (p *Single) owed(d *settling, due civil.Date) (on civil.Date, slack husbandry.Days, owed bool) {
	first := civil.Max(d.Began, p.Duty.Subject.Came)
	if !p.Event || !due.Before(first) {
		return due, p.Slack, true
	}
	past := husbandry.Days(first.Sub(due))
	return first, max(0, p.Slack-past), past <= p.Slack || p.NeverLate
}

// inherited reports whether the task was dealt with for the group or clutch to
// which an animal belonged.
func (p *Single) inherited(d *settling) bool {
	if p.Group != nil && d.BecameInGroup(p.Group, p.Duty.Routine.ID, p.Keys[0].Occurrence()).Over() {
		return true
	}
	return p.Young != nil && slices.ContainsFunc(p.Young.IDs(), func(id husbandry.ID) bool {
		return d.BecameOf(tasks.NewKey(id, p.Duty.Routine.ID, p.Keys[0].Occurrence())).Over()
	})
}

// Series is a row of tasks, one for each of some dates. Each replaces the one
// before. An unmarked task that stays is open until the next takes its place.
// One that lapses, and also a daily look in a window, is open until its slack
// is over: nobody owes a missed look.
type Series struct {
	Duty   *Duty
	Dates  []civil.Date // ascending
	Window *tasks.Window
	Why    func(day civil.Date) string
}

func (p *Series) settle(d *settling) {
	next := sort.Search(len(p.Dates), func(i int) bool { return p.Dates[i].After(d.On) })
	for i := max(0, next-2); i < len(p.Dates); i++ {
		if span, ok := p.Duty.Span(p.Dates[i]); ok {
			p.settleDate(d, i, span)
		}
	}
}

// settleDate settles the i-th date. The date is in a span of days on which the
// duty holds.
func (p *Series) settleDate(d *settling, i int, span Stretch) {
	a, date := p.Duty, p.Dates[i]
	s, r := a.Subject, a.Routine
	o := d.said(a, date)
	switch o.Mark {
	case tasks.MarkDone:
		if d.On.Sub(o.On) <= 1 {
			d.addHost(s.ID, r.Kind, Host{Date: date, Due: o.On, Given: true})
		}
		return
	case tasks.Skip:
		return
	}
	at, ok := p.placed(d, i, span, o)
	if !ok {
		return
	}
	emit := func(host civil.Date) {
		d.addHost(s.ID, r.Kind, Host{Date: date, Due: host})
		d.add(planned{a: a, of: p, date: date, due: at.due, own: at.own, window: p.Window})
	}
	if at.due.After(d.On) {
		emit(at.due)
		return
	}
	if date.Before(d.On) && (!a.Holds(d.On) || date.Before(d.OwedFrom(a, span))) {
		return
	}
	missed, gone := at.missed(int(r.After))
	stays := r.Missed == husbandry.Stays || r.Missed == husbandry.Alarms && p.Window == nil
	switch {
	case stays && (at.replaced.IsZero() || at.replaced.After(d.On)), !stays && d.On.Before(gone):
		emit(d.On)
	case !stays && d.On == gone:
		d.lapse(planned{a: a, of: p, date: date, due: missed})
	}
}

func (p *Series) keyOf(d *settling, t *planned) tasks.Key { return p.Duty.Key(d.Text(t.date)) }

func (p *Series) reasonOf(d *settling, t *planned) string {
	return p.Why(t.date) + d.movedWords(t.due, t.own)
}

// placing is the day of a task of a series.
type placing struct {
	due      civil.Date
	own      civil.Date // the routine's own day, where another was chosen; else no date
	replaced civil.Date // the day on which the next takes its place, or no date
}

// missed returns the day by which the task is missed, and the first day on which
// it is over: after its slack, or when the next takes its place. The routine's
// own day counts, not the chosen one.
func (at placing) missed(slack int) (due, gone civil.Date) {
	due = at.due
	if !at.own.IsZero() {
		due = at.own
	}
	gone = due.AddDays(slack + 1)
	if !at.replaced.IsZero() {
		gone = civil.Min(gone, at.replaced)
	}
	return due, gone
}

// placed works out the day of the i-th date. ok is false where the task was put
// off past the next one, or past the end of the duty.
func (p *Series) placed(d *settling, i int, span Stretch, o tasks.Outcome) (at placing, ok bool) {
	a, date := p.Duty, p.Dates[i]
	at.due = date
	if i+1 < len(p.Dates) {
		at.replaced = p.Dates[i+1]
	}
	if o.Mark == tasks.PutOff {
		if !o.Until.After(date) {
			return at, true
		}
		at.due = o.Until
		return at, (at.replaced.IsZero() || at.due.Before(at.replaced)) && a.Holds(civil.Max(at.due, d.On))
	}
	if !date.Before(d.OwedFrom(a, span)) {
		at.due, at.own = d.placeDated(a, p.Dates, i), date
		if i+1 < len(p.Dates) {
			at.replaced = d.placeDated(a, p.Dates, i+1)
		}
	}
	return at, true
}

// Missed counts the dates before a date that were missed since the routine was
// last done. The routine follows the calendar.
func (d *Day) Missed(a *Duty, date civil.Date) (missed int) {
	r := a.Routine
	span, _ := a.Span(date)
	from := civil.Max(civil.Max(a.LastDone().AddDays(1), d.OwedFrom(a, span)), d.On.AddDays(-herd.LookBack))
	for i := sort.Search(len(r.Dates), func(i int) bool { return !r.Dates[i].Before(from) }); i < len(r.Dates) && r.Dates[i].Before(date); i++ {
		if !a.Holds(r.Dates[i]) {
			continue
		}
		o := a.marks.OutcomeSince(a.Key(d.Text(r.Dates[i])), from)
		if o.Mark == "" || o.Mark == tasks.PutOff {
			missed++
		}
	}
	return missed
}

// Chain is a row of tasks, each due a number of days after the one before was
// done. The key of the first open task is made of the last completion. The
// later tasks are projected from it, as if it were done on its day or today.
type Chain struct {
	Duty *Duty
	// Interval is the routine's interval for the subject, and Every the
	// interval of the projection, both in days.
	Interval, Every husbandry.Days
	// Last is the day on which it was last done, by a mark or by other evidence;
	// no date: never.
	Last civil.Date
	// Due is the day of the first open task.
	Due civil.Date
	// Evidence says, behind the reason of the first task, what moved its day; ""
	// where nothing did.
	Evidence string
	Why      func(day civil.Date, missed int) string

	ahead string // the reason that tasks to come share, once made
}

func (p *Chain) settle(d *settling) {
	p.noteGiven(d)
	w := &walk{settling: d, Chain: p, every: int(p.Every), due: p.Due, n: 1, moved: p.Evidence != "", since: p.Duty.LastDone()}
	if w.since.IsZero() {
		w.since = d.On // all was read to find that it was never done
	}
	if behind := d.On.Sub(w.due) - herd.LookBack; w.lapses() && behind > 0 {
		skip := behind / w.every
		w.due, w.n, w.missed = w.due.AddDays(skip*w.every), w.n+skip, w.missed+skip
	}
	for !w.due.IsZero() && !w.due.After(d.Horizon) {
		w.step()
	}
}

// walk goes along a chain, task by task.
type walk struct {
	*settling
	*Chain
	every  int
	due    civil.Date // of the task looked at; no date: the chain has ended
	n      int        // its number, from 1
	since  civil.Date // as far back as marks of it can be
	missed int
	moved  bool       // evidence moved the first one
	ahead  civil.Date // the day that the reason of tasks to come is of, once known
}

func (w *walk) lapses() bool { return w.Duty.Routine.Missed == husbandry.Lapses }

// next goes on to the task after one that was, or will be, done on a day.
func (w *walk) next(done civil.Date) { w.due, w.n = done.AddDays(w.every), w.n+1 }

// placed returns the day of the task looked at, given what was said of it. open
// is false if it was dealt with; then the walk went on.
func (w *walk) placed(o tasks.Outcome) (at civil.Date, open bool) {
	switch o.Mark {
	case tasks.MarkDone: // twice on one day
		w.next(o.On)
		return at, false
	case tasks.Skip:
		w.next(civil.Max(w.due, o.On))
		return at, false
	case tasks.PutOff:
		if at = civil.Max(w.due, o.Until); at.After(w.On) && at.After(w.due) && !w.Duty.Holds(at) {
			w.due = w.Duty.After(at) // put off past the end of what it is for
			return at, false
		}
		return at, true
	}
	return w.due, true
}

func (w *walk) step() {
	a := w.Duty
	day := w.due
	if w.due.Before(w.On) && !a.Holds(w.On) {
		day = w.On
	}
	if day = civil.Max(day, w.On); !a.Holds(day) {
		w.due = a.After(day)
		return
	}
	t := planned{a: a, of: w.Chain, n: w.n, missed: w.missed}
	o := a.marks.OutcomeSince(w.Chain.keyOf(w.settling, &t), w.since)
	at, open := w.placed(o)
	if !open {
		return
	}
	if gone := at.AddDays(int(a.Routine.After) + 1); w.lapses() && !w.On.Before(gone) {
		if gone == w.On && !at.Before(w.OwedFrom(a, Stretch{})) {
			t.due = at
			w.lapse(t)
		}
		w.next(at)
		w.missed++
		return
	}
	t.due, t.date, t.moved = at, at, w.moved
	if o.Mark != tasks.PutOff && !w.moved {
		t.due, t.own = w.place(a, at, at.AddDays(1-w.every), civil.Date{}), at
	}
	if t.due.After(w.On) && w.n > 1 {
		if w.ahead.IsZero() {
			w.ahead = at
		}
		t.ahead, t.date = true, w.ahead
	}
	w.add(t)
	w.moved = false
	w.addHost(a.Subject.ID, a.Routine.Kind, Host{Date: w.due, Due: civil.Max(t.due, w.On)})
	w.next(civil.Max(t.due, w.On))
}

func (p *Chain) keyOf(d *settling, t *planned) tasks.Key {
	occurrence := "first"
	if !p.Last.IsZero() {
		occurrence = "after-" + d.Text(p.Last)
	}
	if t.n > 1 {
		occurrence += "+" + strconv.Itoa(t.n)
	}
	return p.Duty.Key(occurrence)
}

func (p *Chain) reasonOf(d *settling, t *planned) string {
	if t.ahead {
		if p.ahead == "" {
			p.ahead = p.Why(t.date, 0)
		}
		return p.ahead
	}
	why := p.Why(t.date, t.missed)
	if t.moved {
		why += p.Evidence
	}
	return why + d.movedWords(t.due, t.own)
}

// noteGiven notes, for what rides on the routine, that it was done today or
// yesterday; its nominal date is gone from the plan by then.
func (p *Chain) noteGiven(d *settling) {
	a := p.Duty
	if !d.hosted[a.Routine.Kind] {
		return
	}
	given := a.DoneDays(d.On.AddDays(-int(p.Interval) - markAhead))
	for i, day := range given {
		if d.On.Sub(day) > 1 || day.After(d.On) {
			continue
		}
		date := day
		if i > 0 && given[i-1] != day {
			date = given[i-1].AddDays(int(p.Interval))
		}
		d.addHost(a.Subject.ID, a.Routine.Kind, Host{Date: date, Due: day, Given: true})
	}
}

// FirstDue is when a routine that was never done is first due: spread over its
// interval from the day the books begin, so that not everything falls on that
// day; for a subject that came later, or a state that began later, on that
// day; today where nobody said when the books begin.
func (d *Day) FirstDue(a *Duty, every husbandry.Days) civil.Date {
	from := a.Subject.Came
	if span, ok := a.Span(d.On); ok {
		from = civil.Max(from, span.From)
	} else if next := a.After(d.On); !next.IsZero() {
		from = civil.Max(from, next)
	}
	began := d.Records.Began
	switch {
	case from.After(d.On):
		return from
	case began.IsZero():
		return d.On
	case from.After(began):
		return from
	}
	return began.AddDays(Scatter(a.Key(""), int(every)))
}

// Ride is a task that rides on a host.
type Ride struct {
	Duty *Duty
	Date civil.Date // the nominal date of the host, which is part of the key
	With civil.Date // the day of the host
	Due  civil.Date
	Why  func() string
	// Earliest is the first day on which it may be done, where that is later
	// than the slack allows; else no date.
	Earliest civil.Date
}

func (p *Ride) settle(d *settling) {
	a, after := p.Duty, int(p.Duty.Routine.After)
	t := planned{a: a, of: p, due: p.Due, earliest: p.Earliest}
	switch {
	case p.With.Before(d.On) || p.Due.AddDays(after).Before(d.On):
		if p.Due.AddDays(after+1) == d.On && !p.Due.Before(d.OwedFrom(a, Stretch{})) {
			t.earliest = civil.Date{}
			d.lapse(t)
		}
	case !p.Due.Before(d.Began):
		d.add(t)
	}
}

func (p *Ride) keyOf(d *settling, _ *planned) tasks.Key { return p.Duty.Key(d.Text(p.Date)) }

func (p *Ride) reasonOf(*settling, *planned) string { return p.Why() }

// Asked makes the duty of a routine that a rule calls for. ok is false where a
// routine that is off turns it off.
func (d *Day) Asked(s *Subject, r *husbandry.Routine) (a *Duty, ok bool) {
	for _, off := range d.off[s.Scope] {
		if (off.Kind == r.Kind && r.Kind.ReplacedByID() || off.ID == r.ID) && off.Matches(s, d.On) {
			return nil, false
		}
	}
	return d.Once(s, r), true
}

// Once makes a duty for one task of a subject.
func (d *Day) Once(s *Subject, r *husbandry.Routine) *Duty {
	return &Duty{Subject: s, Routine: &Routine{Routine: r}}
}
