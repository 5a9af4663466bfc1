package plan

import (
	"cmp"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Carer returns the keeper who does a routine's task for a subject on a day. Of
// the keepers who are present it is the first whose conditions all match, or
// else the first without conditions. It is "" if one keeper does all the work,
// or if anybody may do the task.
func (d *Day) Carer(s *Subject, r *husbandry.Routine, day civil.Date) husbandry.ID {
	rest := husbandry.ID("")
	for i := range d.Records.Carers {
		c := &d.Records.Carers[i]
		switch {
		case d.Records.AwayOn(c.ID, day) != nil:
		case c.Rest:
			if rest == "" {
				rest = c.ID
			}
		case (len(c.Kinds) == 0 || slices.Contains(c.Kinds, r.Kind)) && (len(c.Routines) == 0 || slices.Contains(c.Routines, r.ID)) && d.caredFor(i, s, r):
			return c.ID
		}
	}
	return rest
}

// givenTo fills in the keeper who does a task on its day. If another keeper
// does it during an absence, it also fills in the keeper that the task belongs
// to.
func (d *settling) givenTo(t *tasks.Task, s *Subject, r *husbandry.Routine) {
	day := civil.Max(t.Due, d.On) // overdue tasks are asked for today
	if t.Status == tasks.Lapsed {
		day = t.Due
	}
	if t.Keeper = d.Carer(s, r, day); len(d.Records.CarersAway) == 0 {
		return
	}
	own := d.Carer(s, r, civil.Date{})
	away := d.Records.AwayOn(own, day)
	if own == t.Keeper || away == nil {
		return
	}
	for i := range d.Records.Carers {
		if c := &d.Records.Carers[i]; c.ID == own {
			t.For = own
			t.Why += "; for " + c.Called() + ", who is away until " + d.WeekdayWords(away.Until)
		}
	}
}

// caredFor reports whether a subject belongs to the i-th keeper. A task without
// a place belongs to a keeper who names the task's kind or routine and names no
// places.
func (d *Day) caredFor(i int, s *Subject, r *husbandry.Routine) bool {
	c := &d.Records.Carers[i]
	within := len(c.For.Racks) + len(c.For.Enclosures) + len(c.For.Animals) + len(c.For.Species)
	switch {
	case s.Scope == husbandry.OfKeeper:
		return len(c.For.Rooms)+within == 0
	case s.Scope == husbandry.OfRoom && within > 0:
		return false // a keeper of a part of a room does not have the room itself
	}
	theirs := Routine{Routine: r, sel: d.crew[i]}
	return theirs.Matches(s, d.On)
}

// leaveSoon is the number of days before an absence from which the plan moves
// tasks to days before the absence.
const leaveSoon = 14

// Absence returns the absence that includes a day, or nil.
func (d *Day) Absence(day civil.Date) *husbandry.Away {
	for i := range d.away {
		if a := &d.away[i]; !day.Before(a.From) && !day.After(a.Until) {
			return a
		}
	}
	return nil
}

// besideAway reports whether a task is asked for on the last day before an
// absence, or on the first day after it.
func (d *settling) besideAway(t *Outline) bool {
	return t.Status != tasks.Lapsed && slices.ContainsFunc(d.Records.Away, func(a husbandry.Away) bool {
		return t.Due == a.From.AddDays(-1) || t.Due == a.Until.AddDays(1)
	})
}

// leaving returns the absence that begins soon after the Day, or nil.
func (d *Day) leaving() *husbandry.Away {
	for i := range d.away {
		if a := &d.away[i]; a.From.After(d.On) && a.From.Sub(d.On) <= leaveSoon {
			return a
		}
	}
	return nil
}

func sitterDoes(r *husbandry.Routine) bool {
	return cmp.Or(r.Sitter, r.Kind.BySitter()) == husbandry.SitterDoes
}

// evened is the number of further days, besides the last day before an absence
// and the first day after it, over which the moved tasks are spread.
const evened = 3

// apartCare is the caution for a sitter, who may not know of a quarantine
// (common practice).
const apartCare = "In quarantine: after all others, with tools of its own; wash your hands before and after."

// beside is the effect of an absence on a task, with the absence.
type beside struct {
	how  string // "", or one of the words below
	away *husbandry.Away
}

// The effects of an absence.
const (
	bySitter   = "by whoever stands in"
	doneBefore = "done before"
	waits      = "waits for the return"
)

// whileAway moves a task that is due during an absence. A task that cannot wait
// stays, and the sitter does it. Other tasks are done in the last days before
// the absence if their slack allows, or else in the first days after it.
// whileAway returns false for a task that would lapse during the absence:
// nobody is asked for it.
func (d *settling) whileAway(t *asked) (is bool) {
	r := t.a.Routine
	// An overdue task is asked for on the Day.
	away := d.Absence(civil.Max(t.Due, d.On))
	if away == nil {
		return true
	}
	missed, pinned := r.Missed, false
	if t.whole != nil {
		missed, pinned = t.whole.Missed, t.whole.Pinned
	}
	if pinned || sitterDoes(r.Routine) || missed == husbandry.Alarms {
		t.beside = beside{bySitter, away}
		return true
	}
	eve := away.From.AddDays(-1)
	over := spreadOver(r, away)
	// An order can always be made earlier, and a late order is of no use.
	order := r.Kind.ByTelephone()
	key := d.keyOf(t.planned)
	// A task that was put off stays on its day, and supplements stay with their
	// feeding.
	said := d.History.Outcome(key).Mark == tasks.PutOff || r.Cadence.Pattern == husbandry.Riding
	switch {
	case t.Status == tasks.Lapsed:
		return false
	case !eve.Before(d.On) && (order || !t.Earliest.After(eve)) && t.Due.After(eve) && !said:
		d.bringForward(t, away, Scatter(key, max(0, min(eve.Sub(t.Earliest), over))+1))
		return true
	case order:
		return true
	case missed == husbandry.Stays:
		d.putBack(t, away, Scatter(key, min(int(r.After), over)+1))
		return true
	}
	return false
}

// spreadOver returns the number of days, besides the first, over which the
// tasks of a routine are spread before or after an absence. It is 0 for steps
// in a fixed order, which must keep their order, and for work that recurs
// during the absence, which is asked for only once.
func spreadOver(r *Routine, away *husbandry.Away) int {
	recurs := r.Cadence.Pattern == husbandry.Fixed || r.Cadence.Pattern == husbandry.SinceLast
	if r.Kind.InOrder() || recurs && int(r.Cadence.Every) <= away.Until.Sub(away.From)+1+evened {
		return 0
	}
	return evened
}

// bringForward moves a task to the last day before an absence, or up to the
// given number of days earlier.
func (d *settling) bringForward(t *asked, away *husbandry.Away, days int) {
	eve := away.From.AddDays(-1)
	day := eve
	for ; days > 0 && d.Absence(day.AddDays(-1)) == nil; days-- {
		day = day.AddDays(-1)
	}
	t.Due = civil.Max(day, d.On)
	t.Earliest, t.Latest, t.Moves = t.Due, eve, tasks.Never
	if t.Status == tasks.Upcoming && !t.Due.After(d.On) {
		t.Status = tasks.Due
	}
	t.beside = beside{doneBefore, away}
}

// putBack moves a task to the first day after an absence, or up to the given
// number of days later.
func (d *settling) putBack(t *asked, away *husbandry.Away, days int) {
	t.Due = away.Until.AddDays(1)
	for ; days > 0 && d.Absence(t.Due.AddDays(1)) == nil; days-- {
		t.Due = t.Due.AddDays(1)
	}
	after := int(t.a.Routine.After)
	t.Earliest, t.Latest, t.Moves = t.Due, t.Due.AddDays(after), tasks.Never
	t.Status = tasks.Upcoming
	t.beside = beside{waits, away}
}

// tellAway adds the effect of an absence to the words of a task.
func (d *settling) tellAway(t *tasks.Task, b beside) {
	switch b.how {
	case bySitter:
		t.Sitter = true
		if d.ApartIn(t.Place.Enclosure) {
			t.Caution = strings.TrimSpace(t.Caution + " " + apartCare)
		}
	case doneBefore:
		t.Why += "; done before you leave on " + d.WeekdayWords(b.away.From)
	case waits:
		t.Why += "; it waits for your return"
	}
}

// UntilReturn is the last day for which orders are planned: To, or the end of
// an absence that begins by then. Orders that fall due during the absence are
// placed before it.
func (d *Day) UntilReturn() civil.Date {
	if away := d.leaving(); away != nil && !away.From.AddDays(-1).After(d.To) {
		return civil.Max(d.To, away.Until)
	}
	return d.To
}
