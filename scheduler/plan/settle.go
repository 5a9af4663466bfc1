package plan

import (
	"cmp"
	"hash/fnv"
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// settling collects the settled proposals: the planned tasks, and the hosts
// that riding tasks follow.
type settling struct {
	*Day
	hosts map[hostKey]*[]Host
	out   [][]planned // the planned tasks, in pieces of pieceSize
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

// Outline is a task without its words. It has all facts that decide the choice
// of the task's day.
type Outline struct {
	Subject, Routine husbandry.ID
	// Date is the date in the key of a task that moves alone. It distinguishes
	// the task from other tasks of its routine and subject. It is zero for all
	// other tasks.
	Date civil.Date
	// Due, Earliest, Latest, Status and Moves are as in tasks.Task.
	Due, Earliest, Latest civil.Date
	Status                tasks.Status
	Moves                 tasks.Moves
	Minutes               int
}

// planned is a task while the plan is being made. A plan may have 100,000
// tasks. So each task, with its key and its reason, is written only once, when
// its place in the list is known.
type planned struct {
	a      *Duty
	of     proposal  // the proposal that made the task and can write its key and reason; nil if whole has them
	key    tasks.Key // "": of knows it
	window *tasks.Window
	due    civil.Date
	// own is the day by the routine, if the task may move; no date if the task
	// stays on due.
	own civil.Date
	// earliest is the first day on which the task may be done; no date if the
	// slack of the routine decides.
	earliest civil.Date
	date     civil.Date // the date in the key, or the date named in the reason
	n        int        // number of the task in its chain, from 1
	missed   int        // number of earlier tasks of the chain that lapsed
	// ahead says that the task has the reason that all later tasks of the chain
	// share. moved says that evidence besides marks moved the task.
	ahead, moved bool
	lapsed       bool
	// whole is the finished task, for the few tasks that differ from their
	// routine; else nil.
	whole *tasks.Task
}

// proposal is a proposal that plans many tasks.
type proposal interface {
	// keyOf returns the key of one of the proposal's tasks.
	keyOf(d *settling, t *planned) tasks.Key
	// reasonOf returns the reason, in words, of one of the proposal's tasks.
	reasonOf(d *settling, t *planned) string
}

func (d *settling) keyOf(t *planned) tasks.Key {
	if t.key != "" {
		return t.key
	}
	return t.of.keyOf(d, t)
}

// pieceSize is the number of planned tasks in one piece of the list. With
// pieces, no task is copied when the list grows.
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

// lapse plans the single notice that a task was missed and is no longer asked
// for.
func (d *settling) lapse(t planned) {
	t.own, t.lapsed = civil.Date{}, true
	d.add(t)
}

// lapsedWords returns the reason, in words, of a task that lapsed.
func (d *settling) lapsedWords(t *planned) string {
	why := "Not marked on " + d.WeekdayWords(t.due)
	if after := t.a.Routine.After; after > 0 {
		why = "Due " + d.WeekdayWords(t.due) + " and not marked by " + d.WeekdayWords(t.due.AddDays(int(after)))
	}
	return why + "; not owed any more"
}

// asked is a planned task with the effect of absences on it.
type asked struct {
	*planned
	Outline
	beside
}

// asked yields the tasks that the keeper is asked for up to To, in the order in
// which they were planned.
func (d *settling) asked(yield func(*asked)) {
	var list []asked             // the tasks, if the keeper has absences
	once := make(map[asking]int) // index in list
	for _, piece := range d.out {
		for i := range piece {
			t := asked{planned: &piece[i], Outline: d.outline(&piece[i])}
			if len(d.away) == 0 {
				if !t.Due.After(d.To) {
					yield(&t)
				}
				continue
			}
			if !d.whileAway(&t) || t.Due.After(d.To) {
				continue
			}
			if d.besideAway(&t.Outline) {
				r := t.a.Routine
				again := asking{t.Subject, t.Routine, t.Due}
				switch i, twice := once[again]; {
				case !twice:
					once[again] = len(list)
				case r.Cadence.Pattern == husbandry.SinceLast:
					continue // this task counts from the earlier task, which was not done
				case r.Cadence.Pattern == husbandry.Fixed || r.Kind.InOrder():
					list[i] = t // the task of the later date replaces the task of the earlier one
					continue
				}
			}
			list = append(list, t)
		}
	}
	for i := range list {
		yield(&list[i])
	}
}

// asking identifies work that is asked for only once: a routine for a subject
// on a day.
type asking struct {
	subject, routine husbandry.ID
	due              civil.Date
}

// sorted returns the tasks up to To, with their words, in order.
func (d *settling) sorted() []tasks.Task {
	type ranked struct {
		rank uint64
		at   int32 // index in the order of planning
	}
	var order []ranked
	var all []asked
	if n := len(d.out); n > 0 {
		order, all = make([]ranked, 0, n*pieceSize), make([]asked, 0, n*pieceSize)
	}
	d.asked(func(t *asked) {
		// One number for the due date, the part of the day, the place and the
		// kind, in the order of tasks.Before.
		r, day := t.a.Routine, uint64(t.Due.Sub(d.On)+1<<20)
		order = append(order, ranked{day<<40 | tasks.Rank(r.Part, t.a.Subject.Place.Order, r.Kind), int32(len(all))})
		all = append(all, *t)
	})
	slices.SortFunc(order, func(a, b ranked) int {
		if c := cmp.Compare(a.rank, b.rank); c != 0 {
			return c
		}
		return cmp.Compare(d.keyOf(all[a.at].planned), d.keyOf(all[b.at].planned))
	})
	list := make([]tasks.Task, len(order))
	for i, o := range order {
		d.write(&list[i], &all[o.at])
	}
	return list
}

// Scatter returns a number of days from 0 to below n that depends on the key
// alone. With it, first due days differ between tasks and stay the same in
// every plan.
func Scatter(k tasks.Key, n int) int {
	if n <= 1 {
		return 0
	}
	f := fnv.New32a()
	_, _ = f.Write([]byte(k)) // a hash's Write never fails
	return int(f.Sum32() % uint32(n))
}

// task returns a task of a duty, for a caller that changes some fields.
func (d *settling) task(a *Duty, key tasks.Key, due civil.Date, why string) tasks.Task {
	var t tasks.Task
	from := &planned{a: a, key: key, due: due}
	d.fill(&t, from, d.outline(from), why)
	return t
}

// outline returns a planned task before absences change it. Its slack and
// status follow from its due date.
func (d *settling) outline(from *planned) Outline {
	r := from.a.Routine
	if t := from.whole; t != nil {
		return Outline{Subject: t.Subject, Routine: t.Routine, Due: t.Due, Earliest: t.Earliest, Latest: t.Latest,
			Status: t.Status, Moves: t.Moves, Minutes: t.Minutes}
	}
	o := Outline{Subject: from.a.Subject.ID, Routine: r.ID, Due: from.due, Status: tasks.Upcoming, Moves: tasks.Never, Minutes: r.Minutes}
	own := from.due
	if !from.own.IsZero() {
		own, o.Moves = from.own, from.a.moves
	}
	if o.Moves == tasks.Alone {
		o.Date = from.date
	}
	o.Earliest, o.Latest = own.AddDays(-int(r.Before)), own.AddDays(int(r.After))
	if !from.earliest.IsZero() {
		o.Earliest = from.earliest
	}
	switch {
	case from.lapsed:
		o.Status = tasks.Lapsed
	case o.Latest.Before(d.On):
		o.Status = tasks.Overdue
	case !from.due.After(d.On):
		o.Status = tasks.Due
	}
	return o
}

// write fills t with a task and all its words.
func (d *settling) write(t *tasks.Task, from *asked) {
	switch {
	case from.whole != nil:
		*t = *from.whole
	case from.lapsed:
		d.fill(t, from.planned, from.Outline, d.lapsedWords(from.planned))
	default:
		d.fill(t, from.planned, from.Outline, from.of.reasonOf(d, from.planned))
	}
	t.Due, t.Earliest, t.Latest, t.Status, t.Moves = from.Due, from.Earliest, from.Latest, from.Status, from.Moves
	d.tellAway(t, from.beside)
	if len(d.Records.Carers) > 0 {
		d.givenTo(t, from.a.Subject, from.a.Routine.Routine)
	}
}

// fill fills in a task of a routine.
func (d *settling) fill(t *tasks.Task, from *planned, o Outline, why string) {
	s, r := from.a.Subject, from.a.Routine
	if from.a.title == "" {
		from.a.title, from.a.do = d.title(s, r)
	}
	*t = tasks.Task{
		Key: d.keyOf(from), Kind: r.Kind, Routine: r.ID,
		Scope: s.Scope, Subject: s.ID, Place: s.Place, Part: r.Part,
		Due: o.Due, Earliest: o.Earliest, Latest: o.Latest, Moves: o.Moves, Status: o.Status,
		Title: from.a.title, Do: from.a.do, Whom: s.whom, Why: why, Caution: r.Caution, Minutes: r.Minutes,
		Asks: r.Kind.Asks(), Uses: r.Consumes, Missed: r.Missed, Window: from.window, Mate: from.a.Mate,
	}
	if !r.Amounts.IsZero() && !from.lapsed {
		if t.Amount = d.offerWords(s, r, from.due); t.Amount != "" {
			t.Why += "; " + t.Amount
		}
	}
	if s.Scope == husbandry.OfEnclosure && r.Kind.TellsFast() {
		t.Why += d.FoodlessWords(s.Animals, civil.Max(from.due, d.On))
	}
}
