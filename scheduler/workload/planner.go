package workload

import (
	"maps"
	"slices"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const (
	// blockDays is how long a plan of days is the latest one, and ahead how many
	// days it looks over.
	blockDays = 14
	ahead     = 35
	// beyond is how many days more there are for the last tasks to be moved to.
	beyond = 14
	// linked is how many plans stand one on the other, from one that stands on a
	// rough plan; see the package comment.
	linked = 3
	// lookBack is how many plans before the latest one are asked. What older
	// ones had is done, or has waited for longer.
	lookBack = 2
)

// epoch is a Monday.
var epoch = civil.New(2001, 1, 1)

// Planner plans with days chosen. It remembers the plans of fortnights that it has
// made, so that asking for many days costs little; it is not safe for
// concurrent use, as a tasks.History is not. Make one with [NewPlanner], and a
// new one when the records or the history change.
type Planner struct {
	in     scheduler.Input
	wishes Wishes
	blocks map[int]*block
}

// block is a fortnight, and what is known before its Monday.
type block struct {
	start civil.Date
	// tasks are those that move as planned on start, each on its own day, and
	// for each day one that stands for all that do not move.
	tasks []tasks.Task
	// days are the chosen days, and rough those that stand on no other plan.
	days, rough *days
}

// days are days chosen for tasks.
type days struct {
	// chains has the days of what moves in a chain, ascending; its keys change
	// as the work is done.
	chains map[chain][]civil.Date
	alone  map[tasks.Key]civil.Date
}

type chain struct{ subject, routine husbandry.ID }

// NewPlanner returns a planner for the records, history and latitude of in;
// its days do not count. The history may say more than a plan may know: no
// choice looks past its Monday.
func NewPlanner(in scheduler.Input, w Wishes) *Planner {
	if in.History == nil {
		in.History = tasks.Fold(nil)
	}
	return &Planner{in: in, wishes: w, blocks: make(map[int]*block)}
}

// Since returns a planner for in, with those plans of fortnights that are the
// same: its history has entries that p's has not, none of them for a day before
// the one given, and differs in nothing else. The zero date: no entry is new.
func (p *Planner) Since(in scheduler.Input, day civil.Date) *Planner {
	n := NewPlanner(in, p.wishes)
	for i, b := range p.blocks {
		if day.IsZero() || !b.start.After(day) {
			same := *b // each planner adds to its own
			n.blocks[i] = &same
		}
	}
	return n
}

// Plan is scheduler.Plan of in, with days chosen. The records and the latitude
// are those of NewPlanner, and the history is the same one or one that ends
// before.
func (p *Planner) Plan(in scheduler.Input) []tasks.Task {
	latest := blockOf(in.On)
	c := chooser{Planner: p, latest: latest}
	facts := scheduler.Facts(in)
	if !in.To.Before(p.decides(latest + 1)) {
		c.draft = p.drafted(facts, in.On)
	}
	return scheduler.DayOf(facts, in.To, c).Tasks()
}

// drafted is what the next fortnight's plan would be if it were made on the day
// of the facts: the days it will decide, as far as they can be told now.
func (p *Planner) drafted(facts *herd.Herd, on civil.Date) *days {
	latest := blockOf(on)
	k := &block{start: on, tasks: summed(scheduler.DayOf(facts, on.AddDays(ahead+beyond), leave{p.wishes}).Tasks())}
	return p.choose(k, p.decides(latest+1), chooser{Planner: p, latest: latest})
}

// blockOf is the number of the fortnight that a day is in.
func blockOf(d civil.Date) int {
	n := d.Sub(epoch)
	if n < 0 {
		n -= blockDays - 1
	}
	return n / blockDays
}

func monday(block int) civil.Date { return epoch.AddDays(block * blockDays) }

// chooser is the scheduler.Spread of a plan made in a fortnight.
type chooser struct {
	*Planner
	latest int   // block whose plan may be asked
	rough  bool  // whether rough plans are asked
	draft  *days // of the next one; nil for none
}

// Day implements scheduler.Spread. Each day of the slack is decided by the
// latest plan that was made at least the settled days before it; the first that
// has the task on one of its days has it. A plan that has it on a later day
// leaves it to the next; one that does not know it, because work was not done
// as planned or the day is too far, leaves it where it was.
func (c chooser) Day(key tasks.Key, moves tasks.Moves, due, earliest, latest civil.Date) civil.Date {
	said := c.wishes.working(due, earliest, latest)
	last := c.latest
	if c.draft != nil {
		last++
	}
	n := blockOf(earliest.AddDays(-c.wishes.Settled))
	for n = min(last, max(c.latest-lookBack, n)); ; n++ {
		from, to := civil.Max(earliest, c.decides(n)), latest
		if n < last {
			to = civil.Min(latest, c.decides(n+1).AddDays(-1))
		}
		plan := c.draft
		if n <= c.latest {
			plan = c.chosen(n, c.rough)
		}
		day, known := plan.day(key, moves, from, latest)
		switch {
		case known && !day.After(to):
			return day
		case known:
			said = day
		case !said.After(to):
			return said
		}
		if to == latest {
			return said
		}
	}
}

// leave is the scheduler.Spread of a plan whose days are still to be chosen: what
// falls due on a day away and has slack beside it keeps its slack, and does not
// wait for the return.
type leave struct{ Wishes }

// Day implements scheduler.Spread.
func (l leave) Day(_ tasks.Key, _ tasks.Moves, due, earliest, latest civil.Date) civil.Date {
	if l.away(due) {
		return l.working(due, earliest, latest)
	}
	return due
}

// working returns the working day nearest to due from earliest to latest, or
// due where all are off.
func (w Wishes) working(due, earliest, latest civil.Date) civil.Date {
	for n := 0; ; n++ {
		before, after := due.AddDays(-n), due.AddDays(n)
		switch {
		case before.Before(earliest) && after.After(latest):
			return due
		case !before.Before(earliest) && !w.Off(before):
			return before
		case !after.After(latest) && !w.Off(after):
			return after
		}
	}
}

// decides is the first day that the plan of a fortnight decides.
func (p *Planner) decides(n int) civil.Date { return monday(n).AddDays(p.wishes.Settled) }

// day returns the first day from one to another that a task is on.
func (d *days) day(key tasks.Key, moves tasks.Moves, from, to civil.Date) (civil.Date, bool) {
	if moves == tasks.Alone {
		day, ok := d.alone[key]
		return day, ok && !day.Before(from) && !day.After(to)
	}
	list := d.chains[chain{key.Subject(), key.Routine()}]
	i, _ := slices.BinarySearchFunc(list, from, civil.Date.Compare)
	if i < len(list) && !list[i].After(to) {
		return list[i], true
	}
	return civil.Date{}, false
}

// planned returns what is planned on a fortnight's Monday, without days chosen.
func (p *Planner) planned(n int) *block {
	if p.blocks[n] == nil {
		start := monday(n)
		in := p.in
		in.History = p.in.History.Before(start)
		in.On, in.To = start, start.AddDays(ahead+beyond)
		in.Forecasts, in.Spread = nil, leave{p.wishes} // see the package comment on loggers
		p.blocks[n] = &block{start: start, tasks: summed(scheduler.Plan(in))}
	}
	return p.blocks[n]
}

// summed leaves the tasks that move, and sums up those that do not; a plan is
// kept for as long as its fortnight may be asked for.
func summed(list []tasks.Task) []tasks.Task {
	var short []tasks.Task
	minutes := make(map[civil.Date]int)
	for _, t := range list {
		switch {
		case t.Status == tasks.Lapsed:
		case t.Moves == tasks.Never:
			minutes[t.Due] += t.Minutes
		default:
			short = append(short, t)
		}
	}
	for _, day := range slices.SortedFunc(maps.Keys(minutes), civil.Date.Compare) {
		short = append(short, tasks.Task{Due: day, Earliest: day, Latest: day, Minutes: minutes[day], Status: tasks.Upcoming})
	}
	return short
}

// chosen returns the days chosen on a fortnight's Monday.
func (p *Planner) chosen(n int, rough bool) *days {
	k := p.planned(n)
	switch {
	case rough && k.rough == nil:
		k.rough = p.choose(k, p.decides(n), chooser{})
	case !rough && k.days == nil:
		k.days = p.choose(k, p.decides(n), chooser{Planner: p, latest: n - 1, rough: n%linked == 0})
	}
	if rough {
		return k.rough
	}
	return k.days
}

// choose plans the days of a block's tasks, from the first that it decides on.
// Before that they are where the plans before have them.
func (p *Planner) choose(k *block, first civil.Date, before chooser) *days {
	problem := Problem{From: first, To: k.start.AddDays(ahead + beyond), Tasks: slices.Clone(k.tasks), Wishes: p.wishes}
	shift := make(map[chain]int)   // by how many days a chain is later than planned
	for i := range problem.Tasks { // by due date, as a plan has them
		t := &problem.Tasks[i]
		if t.Moves == tasks.Never {
			continue
		}
		c := chain{t.Subject, t.Routine}
		if by := shift[c]; t.Moves == tasks.InChain && by != 0 {
			t.Due, t.Earliest, t.Latest = t.Due.AddDays(by), t.Earliest.AddDays(by), t.Latest.AddDays(by)
		}
		day := t.Due
		if before.Planner != nil && t.Earliest.Before(first) && !t.Latest.Before(k.start) {
			day = before.Day(t.Key, t.Moves, t.Due, t.Earliest, t.Latest)
		}
		if open := civil.Max(t.Due, k.start); day.Before(first) || t.Latest.Before(first) {
			day = civil.Max(day, k.start)
			if t.Moves == tasks.InChain {
				shift[c] += day.Sub(open)
			}
			t.Due, t.Moves = day, tasks.Never
		} else {
			t.Due, t.Earliest = civil.Max(open, first), civil.Max(t.Earliest, first)
		}
	}
	problem.Tasks = slices.DeleteFunc(problem.Tasks, func(t tasks.Task) bool {
		return t.Due.Before(first) || t.Moves != tasks.Never && t.Due.After(k.start.AddDays(ahead))
	})
	solution := Solve(problem)
	d := &days{chains: make(map[chain][]civil.Date), alone: make(map[tasks.Key]civil.Date)}
	for i := range problem.Tasks {
		t := &problem.Tasks[i]
		switch day := solution.Days[i]; {
		case t.Moves == tasks.Never || day.IsZero():
		case t.Moves == tasks.Alone:
			d.alone[t.Key] = day
		default:
			c := chain{t.Subject, t.Routine}
			d.chains[c] = append(d.chains[c], day)
		}
	}
	return d
}
