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

// said returns the key of a task that is nominally of a date, and what became
// of it.
func (d *Day) said(a *Duty, date civil.Date) (tasks.Key, tasks.Outcome) {
	key := a.Key(d.Text(date))
	if date.After(d.On) && !a.ahead {
		return key, tasks.Outcome{}
	}
	return key, a.marks.OutcomeSince(key, civil.Min(date, d.On).AddDays(-int(a.Routine.Before)-markAhead))
}

// Fate is what became of a task.
type Fate struct {
	// Done and Skipped are the day for which that was said of it, or no date.
	Done, Skipped civil.Date
	// Until is the day it was put off to, or no date.
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

// Became tells what became of a duty's task of a date. It is the one exception
// to the rule that rules know no marks. It is for tasks whose successors depend
// on what became of them: those that ride, and those of a quarantine or a
// winter, see [Day.BecameOf].
func (d *Day) Became(a *Duty, date civil.Date) Fate {
	_, o := d.said(a, date)
	return fateOf(o)
}

// BecameOf is [Day.Became] for a task of a key.
func (d *Day) BecameOf(key tasks.Key) Fate { return fateOf(d.History.Outcome(key)) }

// BecameInGroup tells what became of a task of the groups that an animal was
// taken out of, if that was while it was in them.
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

// LastSaid is the last day for which anybody said that a task of the duty was
// done, or no date; it is never before LastDone.
func (a *Duty) LastSaid() civil.Date { return a.marks.LastSaid() }

// DoneDays returns the days since a day on which tasks of the duty were done,
// ascending.
func (a *Duty) DoneDays(since civil.Date) []civil.Date { return a.marks.DoneDays(since) }

// Single is one task.
type Single struct {
	Duty *Duty
	// Keys has the key of the task, and then others under which it was asked for
	// before, as for a clutch that got another id.
	Keys []tasks.Key
	Due  civil.Date
	Why  string

	// Dated says that the key's occurrence is the date Due.
	Dated bool
	// Found says that something found on Due asks for the task: it is not owed
	// where that was before the books begin.
	Found bool
	// Clamped says that a task due before the books begin is due on their first
	// day.
	Clamped bool
	// Event says that the task follows an event, and has Slack days from Due to be
	// done. If it was due before the books begin or before its subject came, only
	// the rest of the slack is left; NeverLate says that it is owed all the same.
	Event     bool
	Slack     husbandry.Days
	NeverLate bool
	// Pinned says that somebody may be in danger: the task is an alarm, and
	// neither skipped nor put off.
	Pinned bool
	// While says of a day whether the task makes sense if it is due then; nil: it
	// does.
	While func(due civil.Date) bool
	// Ridden says that others may ride on the task.
	Ridden bool
	// Group is the animal whose groups may have had the task before it was taken
	// out of them, and Young the clutch that may have had it before its young had
	// records; nil for none.
	Group *herd.Animal
	Young *herd.Clutch
	// Finish changes the task where it differs from its routine; nil: it does not.
	Finish func(t *tasks.Task)
}

func (p *Single) outcomes(d *settling, yield func(tasks.Outcome) bool) {
	if p.Dated {
		_, o := d.said(p.Duty, p.Due)
		yield(o)
		return
	}
	for _, k := range p.Keys {
		if !yield(d.History.Outcome(k)) {
			return
		}
	}
}

func (p *Single) settle(d *settling) {
	a, due := p.Duty, p.Due
	if p.Found && (due.Before(d.Began) || due.After(d.On)) {
		return
	}
	over := false
	p.outcomes(d, func(o tasks.Outcome) bool {
		switch {
		case o.Mark == tasks.MarkDone, o.Mark == tasks.Skip && !p.Pinned:
			over = true
		case o.Mark == tasks.PutOff && !p.Pinned:
			due = civil.Max(due, o.Until)
		}
		return !over
	})
	if over || p.inherited(d) {
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
	slack := p.Slack
	if owed := civil.Max(d.Began, a.Subject.Came); p.Event && due.Before(owed) {
		past := husbandry.Days(owed.Sub(due))
		if past > slack && !p.NeverLate {
			return
		}
		due, slack = owed, max(0, slack-past)
	}
	key := a.Key(d.Text(p.Due))
	if !p.Dated {
		key = p.Keys[0]
	}
	t := d.task(a, key, due, p.Why)
	if p.Event {
		t.Latest = due.AddDays(int(slack))
	}
	if p.Pinned {
		t.Missed, t.Pinned, t.Latest = husbandry.Alarms, true, due
	}
	if !due.After(d.On) {
		t.Status = tasks.Due
		if t.Latest.Before(d.On) {
			t.Status = tasks.Overdue
		}
	}
	if p.Event && a.Routine.Missed == husbandry.Lapses && t.Status == tasks.Overdue {
		if t.Latest.AddDays(1) == d.On {
			d.lapse(a, key, due)
		}
		return
	}
	if p.Finish != nil {
		p.Finish(&t)
	}
	d.emit(a, t)
}

// inherited reports whether the task was dealt with for the group or the clutch
// that an animal was part of.
func (p *Single) inherited(d *settling) bool {
	if p.Group != nil && d.BecameInGroup(p.Group, p.Duty.Routine.ID, p.Keys[0].Occurrence()).Over() {
		return true
	}
	return p.Young != nil && slices.ContainsFunc(p.Young.IDs(), func(id husbandry.ID) bool {
		return d.BecameOf(tasks.NewKey(id, p.Duty.Routine.ID, p.Keys[0].Occurrence())).Over()
	})
}

// Series is a task for each of some dates, each of which replaces the one
// before. A date that was not marked stays open until the next takes its place
// (stays), or until its slack is over (lapses, and also what looks daily for
// something: a look missed is not owed).
type Series struct {
	Duty   *Duty
	Dates  []civil.Date // ascending
	Window *tasks.Window
	Why    func(day civil.Date) string
}

func (p *Series) settle(d *settling) {
	a, dates, w := p.Duty, p.Dates, p.Window
	s, r := a.Subject, a.Routine
	next := sort.Search(len(dates), func(i int) bool { return dates[i].After(d.On) })
	holds := a.Holds(d.On)
	for i := max(0, next-2); i < len(dates); i++ {
		date := dates[i]
		span, ok := a.Span(date)
		if !ok {
			continue
		}
		key, o := d.said(a, date)
		switch o.Mark {
		case tasks.MarkDone:
			if d.On.Sub(o.On) <= 1 {
				d.addHost(s.ID, r.Kind, Host{Date: date, Due: o.On, Given: true})
			}
			continue
		case tasks.Skip:
			continue
		}
		due, own, replaced := date, civil.Date{}, civil.Date{}
		if i+1 < len(dates) {
			replaced = dates[i+1]
		}
		if o.Mark != tasks.PutOff && !date.Before(d.OwedFrom(a, span)) {
			due, own = d.placeDated(a, dates, i), date
			if i+1 < len(dates) {
				replaced = d.placeDated(a, dates, i+1)
			}
		}
		if o.Mark == tasks.PutOff && o.Until.After(date) {
			if due = o.Until; !replaced.IsZero() && !due.Before(replaced) {
				continue // the next one comes first
			}
			if !a.Holds(civil.Max(due, d.On)) {
				continue // what it is for is over by then
			}
		}
		if due.After(d.On) {
			d.addHost(s.ID, r.Kind, Host{Date: date, Due: due})
			d.add(planned{a: a, key: key, due: due, own: own, why: p.Why(date) + d.movedWords(due, own), window: w})
			continue
		}
		if date.Before(d.On) && (!holds || date.Before(d.OwedFrom(a, span))) {
			continue
		}
		// Work left undone is missed by the routine's own day, not by the
		// chosen one.
		missed := due
		if !own.IsZero() {
			missed = own
		}
		gone := missed.AddDays(int(r.After) + 1)
		if !replaced.IsZero() {
			gone = civil.Min(gone, replaced)
		}
		stays := r.Missed == husbandry.Stays || r.Missed == husbandry.Alarms && w == nil
		switch {
		case stays && (replaced.IsZero() || replaced.After(d.On)), !stays && d.On.Before(gone):
			d.addHost(s.ID, r.Kind, Host{Date: date, Due: d.On})
			d.add(planned{a: a, key: key, due: due, own: own, why: p.Why(date) + d.movedWords(due, own), window: w})
		case !stays && d.On == gone:
			d.lapse(a, key, missed)
		}
	}
}

// Missed counts the dates of a routine that follows the calendar that were
// missed before a date, since it was last done.
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

// Chain is a routine that is due so many days after it was last done. Its first
// open task is keyed by the completion it follows, and the tasks behind it are
// projected from it, as if it were done on its day or today.
type Chain struct {
	Duty *Duty
	// Interval is the routine's own, for the subject; Every is the one that tasks
	// are projected with, in days.
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
}

func (p *Chain) settle(d *settling) {
	a := p.Duty
	s, r := a.Subject, a.Routine
	p.noteGiven(d)
	every, due, evidence := int(p.Every), p.Due, p.Evidence
	base := "first"
	if !p.Last.IsZero() {
		base = "after-" + d.Text(p.Last)
	}
	seen := a.LastDone() // as far back as marks can be
	holds := a.Holds(d.On)
	lapsed := 0
	lapses := r.Missed == husbandry.Lapses
	n := 1
	if behind := d.On.Sub(due) - herd.LookBack; lapses && behind > 0 {
		skip := behind / every
		due, n, lapsed = due.AddDays(skip*every), n+skip, lapsed+skip
	}
	ahead := ""
	for !due.After(d.Horizon) {
		day := due
		if due.Before(d.On) && !holds {
			day = d.On
		}
		if !a.Holds(civil.Max(day, d.On)) {
			if due = a.After(civil.Max(day, d.On)); due.IsZero() {
				return
			}
			continue
		}
		occurrence := base
		if n > 1 {
			occurrence += "+" + strconv.Itoa(n)
		}
		since := seen
		if since.IsZero() {
			since = d.On // all was read to find that it was never done
		}
		key := a.Key(occurrence)
		o := a.marks.OutcomeSince(key, since)
		at := due
		switch o.Mark {
		case tasks.MarkDone: // twice on one day
			due, n = o.On.AddDays(every), n+1
			continue
		case tasks.Skip:
			due, n = civil.Max(due, o.On).AddDays(every), n+1
			continue
		case tasks.PutOff:
			if at = civil.Max(due, o.Until); at.After(d.On) && at.After(due) {
				if !a.Holds(at) { // put off past the end of what it is for
					if due = a.After(at); due.IsZero() {
						return
					}
					continue
				}
			}
		}
		if gone := at.AddDays(int(r.After) + 1); lapses && !d.On.Before(gone) {
			if gone == d.On && !at.Before(d.OwedFrom(a, Stretch{})) {
				d.lapse(a, key, at)
			}
			due, n = at.AddDays(every), n+1
			lapsed++
			continue
		}
		placed, own := at, civil.Date{}
		if o.Mark != tasks.PutOff && evidence == "" {
			placed, own = d.place(a, key, at, at.AddDays(1-every), civil.Date{}), at
		}
		why := ahead
		switch {
		case !placed.After(d.On) || n == 1:
			why = p.Why(at, lapsed) + evidence + d.movedWords(placed, own)
		case ahead == "":
			ahead = p.Why(at, 0)
			why = ahead
		}
		d.add(planned{a: a, key: key, due: placed, own: own, why: why})
		evidence = ""
		d.addHost(s.ID, r.Kind, Host{Date: due, Due: civil.Max(placed, d.On)})
		due, n = civil.Max(placed, d.On).AddDays(every), n+1
	}
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

// Ride is a task that rides on another one.
type Ride struct {
	Duty *Duty
	Date civil.Date // the nominal date of the other one, which the key hangs on
	With civil.Date // the day of the other one
	Due  civil.Date
	Why  string
	// Earliest is the first day on which it may be done, where the slack would
	// allow an earlier one; else no date.
	Earliest civil.Date
}

func (p *Ride) settle(d *settling) {
	a := p.Duty
	key, after := a.Key(d.Text(p.Date)), int(a.Routine.After)
	if p.With.Before(d.On) || p.Due.AddDays(after).Before(d.On) {
		if p.Due.AddDays(after+1) == d.On && !p.Due.Before(d.OwedFrom(a, Stretch{})) {
			d.lapse(a, key, p.Due)
		}
		return
	}
	if p.Due.Before(d.Began) {
		return
	}
	if !p.Earliest.IsZero() {
		t := d.task(a, key, p.Due, p.Why)
		t.Earliest = p.Earliest
		d.emit(a, t)
		return
	}
	d.add(planned{a: a, key: key, due: p.Due, why: p.Why})
}

// Asked makes the duty of a routine that holds for a subject because a rule
// asks for it; ok is false where a routine that is off says not to.
func (d *Day) Asked(s *Subject, r *husbandry.Routine) (a *Duty, ok bool) {
	for _, off := range d.off[s.Scope] {
		if (off.Kind == r.Kind && r.Kind.ReplacedByID() || off.ID == r.ID) && off.Matches(s, d.On) {
			return nil, false
		}
	}
	return d.Once(s, r), true
}

// Once makes the duty of a routine for one task of a subject.
func (d *Day) Once(s *Subject, r *husbandry.Routine) *Duty {
	return &Duty{Subject: s, Routine: &Routine{Routine: r}}
}
