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

// said returns the outcome of the duty's task with this date in its key.
func (d *Day) said(a *Duty, date civil.Date) tasks.Outcome {
	if date.After(d.On) && !a.ahead {
		return tasks.Outcome{}
	}
	return a.marks.OutcomeSince(a.Key(d.Text(date)), civil.Min(date, d.On).AddDays(-int(a.Routine.Before)-markAhead))
}

// Fate is the outcome of a task, in dates.
type Fate struct {
	// Done and Skipped are the days for which the mark was made, or no date.
	Done, Skipped civil.Date
	// Until is the day to which the task was put off, or no date.
	Until civil.Date
}

// Over reports whether the task was done or skipped, so that the keeper owes
// nothing more.
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

// Became returns the outcome of a duty's task with this date in its key. Rules
// read no marks, with this one exception. The exception is for tasks that
// decide the day of later tasks: hosts of riding routines, and the steps of a
// quarantine or a winter (see [Day.BecameOf]).
func (d *Day) Became(a *Duty, date civil.Date) Fate {
	return fateOf(d.said(a, date))
}

// BecameOf is [Day.Became] for the task with this key.
func (d *Day) BecameOf(key tasks.Key) Fate { return fateOf(d.History.Outcome(key)) }

// BecameInGroup returns the outcome of a task of the groups out of which an
// animal was taken, if the task was marked while the animal was in the group.
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

// LastDone returns the last day on which a task of the duty was done, or no
// date.
func (a *Duty) LastDone() civil.Date { return a.marks.LastDone() }

// LastSaid returns the last day for which any mark says that a task of the duty
// was done, or no date; it is never before LastDone.
func (a *Duty) LastSaid() civil.Date { return a.marks.LastSaid() }

// DoneDays returns the days since a day on which tasks of the duty were done,
// ascending.
func (a *Duty) DoneDays(since civil.Date) []civil.Date { return a.marks.DoneDays(since) }

// Single is a proposal of one task.
type Single struct {
	Duty *Duty
	// Keys has the key of the task, and then its earlier keys: the key changes,
	// for example, if a clutch gets another id.
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
	// it was due before the books began, or before its subject came, only the
	// rest of the slack is left. If nothing of the slack is left, the task is
	// asked for only with NeverLate.
	Event     bool
	Slack     husbandry.Days
	NeverLate bool
	// Pinned says that an animal may be in danger: the task is an alarm, and
	// can be neither skipped nor put off.
	Pinned bool
	// While reports whether the task makes sense on a due day; nil: always.
	While func(due civil.Date) bool
	// Ridden says that tasks of riding routines may follow the task.
	Ridden bool
	// Group is the animal with earlier groups that may have had the task. Young
	// is the clutch that may have had the task before its young had records.
	// Each is nil for none.
	Group *herd.Animal
	Young *herd.Clutch
	// Finish changes the finished task if the task differs from its routine;
	// nil if it does not.
	Finish func(t *tasks.Task)
}

// fate returns the day on which the task is due now, and whether it was done or
// skipped.
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

// owed returns the day and the slack of the task. Suppose that the task follows
// an event and was due before the books began or its subject came. Then it
// moves to that first day and keeps the rest of its slack. owed is false if the
// slack is over and the task may not be late.
func (p *Single) owed(d *settling, due civil.Date) (on civil.Date, slack husbandry.Days, owed bool) {
	first := civil.Max(d.Began, p.Duty.Subject.Came)
	if !p.Event || !due.Before(first) {
		return due, p.Slack, true
	}
	past := husbandry.Days(first.Sub(due))
	return first, max(0, p.Slack-past), past <= p.Slack || p.NeverLate
}

// inherited reports whether the task was done or skipped for the group or
// clutch to which the animal belonged.
func (p *Single) inherited(d *settling) bool {
	if p.Group != nil && d.BecameInGroup(p.Group, p.Duty.Routine.ID, p.Keys[0].Occurrence()).Over() {
		return true
	}
	return p.Young != nil && slices.ContainsFunc(p.Young.IDs(), func(id husbandry.ID) bool {
		return d.BecameOf(tasks.NewKey(id, p.Duty.Routine.ID, p.Keys[0].Occurrence())).Over()
	})
}

// Series is a proposal of one task for each of some dates. Each task replaces
// the one before. If the routine's missed tasks stay, an unmarked task is open
// until the next one replaces it. If they lapse, and for daily looks in a
// window, an unmarked task is open until its slack is over: nobody can make up
// for a missed look.
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

// settleDate settles the task of the i-th date. span is the run of days on
// which the duty holds and that includes the date.
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

// placing is the day of a task of a series, with the day on which the next task
// replaces it.
type placing struct {
	due      civil.Date
	own      civil.Date // the day by the routine, if the spread chose the day; else no date
	replaced civil.Date // the day on which the next task replaces this one, or no date
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

// placed works out the day of the task of the i-th date. ok is false if the
// task was put off to the next task's day or later, or to a day on which the
// duty does not hold.
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

// Missed returns the number of dates before a date that were missed since the
// routine was last done. It is for routines that follow the calendar.
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

// Chain is a proposal of tasks that are each due a number of days after the
// task before was done. The key of the first open task contains the day on
// which the work was last done. The later tasks assume that each earlier task
// is done on its day, or today if that day is past.
type Chain struct {
	Duty *Duty
	// Interval is the routine's interval for the subject. Every is the interval
	// between the later tasks. Both are in days.
	Interval, Every husbandry.Days
	// Last is the day on which the work was last done, by a mark or by other
	// evidence; no date: never.
	Last civil.Date
	// Due is the day of the first open task.
	Due civil.Date
	// Evidence says, at the end of the first task's reason, what moved the day
	// of that task; "" if nothing did.
	Evidence string
	Why      func(day civil.Date, missed int) string

	ahead string // the reason of all later tasks, once it is written
}

func (p *Chain) settle(d *settling) {
	p.noteGiven(d)
	w := &walk{settling: d, Chain: p, every: int(p.Every), due: p.Due, n: 1, moved: p.Evidence != "", since: p.Duty.LastDone()}
	if w.since.IsZero() {
		w.since = d.On // the duty has no "done", so marks from today on are enough
	}
	if behind := d.On.Sub(w.due) - herd.LookBack; w.lapses() && behind > 0 {
		skip := behind / w.every
		w.due, w.n, w.missed = w.due.AddDays(skip*w.every), w.n+skip, w.missed+skip
	}
	for !w.due.IsZero() && !w.due.After(d.Horizon) {
		w.step()
	}
}

// walk goes through a chain, task by task.
type walk struct {
	*settling
	*Chain
	every  int
	due    civil.Date // due day of the present task; no date: the chain has ended
	n      int        // number of the present task, from 1
	since  civil.Date // the first day for which the present task can have marks
	missed int
	moved  bool       // evidence moved the first task
	ahead  civil.Date // the day named in the reason of all later tasks, once known
}

func (w *walk) lapses() bool { return w.Duty.Routine.Missed == husbandry.Lapses }

// next goes to the task after a task that was done, or will be done, on a day.
func (w *walk) next(done civil.Date) { w.due, w.n = done.AddDays(w.every), w.n+1 }

// placed returns the due day of the present task. o is the outcome of the task.
// If the task was done or skipped, or put off to a day on which the duty does
// not hold, open is false and the walk has moved to the next task.
func (w *walk) placed(o tasks.Outcome) (at civil.Date, open bool) {
	switch o.Mark {
	case tasks.MarkDone: // the work was done twice on one day
		w.next(o.On)
		return at, false
	case tasks.Skip:
		w.next(civil.Max(w.due, o.On))
		return at, false
	case tasks.PutOff:
		if at = civil.Max(w.due, o.Until); at.After(w.On) && at.After(w.due) && !w.Duty.Holds(at) {
			w.due = w.Duty.After(at) // the task was put off to a day on which the duty does not hold
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

// noteGiven adds the tasks of the chain that were done today or yesterday to
// the hosts of riding routines. These tasks are no longer in the plan.
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

// FirstDue returns the first due day of a routine that was never done. Usually
// the first due days are spread over the interval from the day the books begin,
// so that not everything falls on that day. If the subject came later, or its
// state began later, the first due day is that later day. If nobody said when
// the books begin, it is today.
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

// Ride is a proposal of a task that follows another task, its host.
type Ride struct {
	Duty *Duty
	Date civil.Date // the date in the host's key, which is also in the key of this task
	With civil.Date // the day of the host
	Due  civil.Date
	Why  func() string
	// Earliest is the first day on which the task may be done, if this is later
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

// Asked makes the duty of a routine that a rule asks for. ok is false if
// another routine turns it off.
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
