package plan

import (
	"cmp"
	"hash/fnv"
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// settling is what becomes of proposals, one after the other: planned tasks, and
// what others ride on.
type settling struct {
	*Day
	hosts map[hostKey]*[]Host
	out   [][]planned // in pieces of pieceSize
}

func newSettling(d *Day) *settling {
	return &settling{Day: d, hosts: make(map[hostKey]*[]Host)}
}

func (d *settling) settle(rules []Rule) {
	propose := func(p Proposal) { p.settle(d) }
	for _, rule := range rules {
		rule(d.Day, propose)
	}
}

func (d *settling) addHost(subject husbandry.ID, kind husbandry.Kind, h Host) {
	if !d.hosted[kind] {
		return
	}
	k := hostKey{subject, kind}
	if d.hosts[k] == nil {
		d.hosts[k] = new([]Host)
	}
	*d.hosts[k] = append(*d.hosts[k], h)
}

// planned is a task while a plan is made: a plan may be 100,000 tasks long, so
// a task is written out once, when its place in the list is known.
type planned struct {
	a      *Duty
	key    tasks.Key
	why    string
	window *tasks.Window
	due    civil.Date
	// own is the routine's own day for a task that moves; no date: due, and the
	// task does not move.
	own    civil.Date
	lapsed bool
	// whole is the task itself, for the few that differ from their routine.
	whole *tasks.Task
}

// pieceSize is how many planned tasks are set aside at a time, so that none is
// copied as they grow.
const pieceSize = 256

// add plans a task that follows from its routine and its due date.
func (d *settling) add(t planned) {
	last := len(d.out) - 1
	if last < 0 || len(d.out[last]) == pieceSize {
		d.out = append(d.out, make([]planned, 0, pieceSize))
		last++
	}
	d.out[last] = append(d.out[last], t)
}

// emit plans a task that differs from its routine.
func (d *settling) emit(a *Duty, t tasks.Task) {
	d.add(planned{a: a, key: t.Key, due: t.Due, whole: &t})
}

// lapse shows once that a task was missed and is not owed any more.
func (d *settling) lapse(a *Duty, key tasks.Key, due civil.Date) {
	why := "Not marked on " + d.WeekdayWords(due)
	if a.Routine.After > 0 {
		why = "Due " + d.WeekdayWords(due) + " and not marked by " + d.WeekdayWords(due.AddDays(int(a.Routine.After)))
	}
	d.add(planned{a: a, key: key, due: due, why: why + "; not owed any more", lapsed: true})
}

// sorted writes out what was planned, but for tasks beyond To.
func (d *settling) sorted() []tasks.Task {
	type ranked struct {
		rank uint64
		key  tasks.Key
		t    *planned
		// moved is the task, where days away have moved it.
		moved *tasks.Task
	}
	var order []ranked
	if n := len(d.out); n > 0 {
		order = make([]ranked, 0, n*pieceSize)
	}
	once := make(map[tasks.Key]int) // in order, by subject, routine and day
	for _, piece := range d.out {
		for i := range piece {
			t := &piece[i]
			r := t.a.Routine
			due, moved := t.due, (*tasks.Task)(nil)
			if len(d.away) > 0 {
				moved = new(tasks.Task)
				if d.written(moved, t); !d.whileAway(moved, r.Routine) {
					continue
				}
				due = moved.Due
			}
			if due.After(d.To) {
				continue
			}
			// Due date, part of the day, place and kind, as tasks.Before has
			// them, in one number.
			day := uint64(due.Sub(d.On) + 1<<20)
			k := ranked{day<<40 | tasks.Rank(r.Part, t.a.Subject.Place.Order, r.Kind), t.key, t, moved}
			if moved != nil && d.besideAway(moved) {
				again := tasks.NewKey(t.a.Subject.ID, r.ID, due.String())
				switch i, twice := once[again]; {
				case !twice:
					once[again] = len(order)
				case r.Cadence.Pattern == husbandry.SinceLast:
					continue // counted from one that was not done
				case r.Cadence.Pattern == husbandry.Fixed || r.Kind.InOrder():
					order[i] = k // the later date takes the earlier one's place
					continue
				}
			}
			order = append(order, k)
		}
	}
	slices.SortFunc(order, func(a, b ranked) int {
		if c := cmp.Compare(a.rank, b.rank); c != 0 {
			return c
		}
		return cmp.Compare(a.key, b.key)
	})
	list := make([]tasks.Task, len(order))
	for i, o := range order {
		if o.moved != nil {
			list[i] = *o.moved
		} else {
			d.written(&list[i], o.t)
		}
		if len(d.Records.Carers) > 0 {
			d.givenTo(&list[i], o.t.a.Subject, o.t.a.Routine.Routine)
		}
	}
	return list
}

// written writes a planned task out, whole ones too.
func (d *settling) written(t *tasks.Task, from *planned) {
	if from.whole != nil {
		*t = *from.whole
	} else {
		d.write(t, from)
	}
}

// Scatter returns a number of days from 0 to below n that only the key decides,
// so that first dates fall on different days and stay where they fell.
func Scatter(k tasks.Key, n int) int {
	if n <= 1 {
		return 0
	}
	f := fnv.New32a()
	_, _ = f.Write([]byte(k)) // a hash's Write never fails
	return int(f.Sum32() % uint32(n))
}

// task makes a task of a duty, for a caller that changes it.
func (d *settling) task(a *Duty, key tasks.Key, due civil.Date, why string) tasks.Task {
	var t tasks.Task
	d.write(&t, &planned{a: a, key: key, due: due, why: why})
	return t
}

// write writes a task out. Its slack and status follow from its due date.
func (d *settling) write(t *tasks.Task, from *planned) {
	s, r := from.a.Subject, from.a.Routine
	if from.a.title == "" {
		from.a.title, from.a.do = d.title(s, r)
	}
	own, moves := from.due, tasks.Never
	if !from.own.IsZero() {
		own, moves = from.own, from.a.moves
	}
	*t = tasks.Task{
		Key: from.key, Kind: r.Kind, Routine: r.ID,
		Scope: s.Scope, Subject: s.ID, Place: s.Place, Part: r.Part,
		Due: from.due, Earliest: own.AddDays(-int(r.Before)), Latest: own.AddDays(int(r.After)), Moves: moves,
		Title: from.a.title, Do: from.a.do, Whom: s.whom, Why: from.why, Caution: r.Caution, Minutes: r.Minutes,
		Asks: r.Kind.Asks(), Uses: r.Consumes, Missed: r.Missed, Status: tasks.Upcoming, Window: from.window, Mate: from.a.Mate,
	}
	if !r.Amounts.IsZero() && !from.lapsed {
		if t.Amount = d.offerWords(s, r, from.due); t.Amount != "" {
			t.Why += "; " + t.Amount
		}
	}
	if s.Scope == husbandry.OfEnclosure && r.Kind.TellsFast() {
		t.Why += d.FoodlessWords(s.Animals, civil.Max(from.due, d.On))
	}
	switch {
	case from.lapsed:
		t.Status = tasks.Lapsed
	case t.Latest.Before(d.On):
		t.Status = tasks.Overdue
	case !from.due.After(d.On):
		t.Status = tasks.Due
	}
}
