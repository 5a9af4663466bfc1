package workload

import (
	"slices"
	"sync"

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
// made, so that asking for many days costs little. Several goroutines may ask it
// at once. Make one with [NewPlanner], and a new one when the records or the
// history change.
type Planner struct {
	in     scheduler.Input
	wishes Wishes
	shelf  *shelved // nil for none

	mu     sync.Mutex // of the maps, also of the shelf's
	blocks map[int]*block
}

// block is a fortnight, and what is known before its Monday. Planners to which
// the same is known share it.
type block struct {
	planned lazy[sketch]
	// days are the chosen days, and rough those that stand on no other plan.
	days, rough lazy[*days]
}

// lazy is an answer that is worked out once.
type lazy[T any] struct {
	once   sync.Once
	answer T
}

func (l *lazy[T]) of(work func() T) T {
	l.once.Do(func() { l.answer = work() })
	return l.answer
}

// sketch is a plan without days chosen.
type sketch struct {
	start civil.Date
	// moving are the tasks that move as planned on start, each on its own day,
	// and minutes has the others' by day.
	moving  []scheduler.Outline
	minutes map[civil.Date]int
}

// days are days chosen for tasks.
type days struct {
	// chains has the days of what moves in a chain, ascending; its keys change
	// as the work is done.
	chains map[chain][]civil.Date
	alone  map[single]civil.Date
}

type chain struct{ subject, routine husbandry.ID }

// single is a task that moves alone, with its nominal date.
type single struct {
	chain
	date civil.Date
}

func chainOf(t *scheduler.Outline) chain { return chain{t.Subject, t.Routine} }

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
	p.mu.Lock()
	defer p.mu.Unlock()
	same := func(block int) bool { return day.IsZero() || !monday(block).After(day) }
	for i, b := range p.blocks {
		if same(i) {
			n.blocks[i] = b
		}
	}
	if p.shelf != nil {
		n.With(p.shelf.Shelf, p.shelf.source)
		for i, digest := range p.shelf.digests {
			if same(i) {
				n.shelf.digests[i] = digest
			}
		}
	}
	return n
}

// Plan is scheduler.Plan of in, with days chosen. The records and the latitude
// are those of NewPlanner, and the history is the same one or one that ends
// before.
func (p *Planner) Plan(in scheduler.Input) []tasks.Task { return p.PlanOf(scheduler.Facts(in), in.To) }

// PlanOf is Plan for facts, up to a day.
func (p *Planner) PlanOf(facts *herd.Herd, to civil.Date) []tasks.Task {
	latest := blockOf(facts.On)
	p.look(latest)
	c := chooser{Planner: p, latest: latest}
	if !to.Before(p.decides(latest + 1)) {
		c.draft = p.drafted(facts)
	}
	return scheduler.DayOf(facts, to, c).Tasks()
}

// drafted is what the next fortnight's plan would be if it were made on the day
// of the facts: the days it will decide, as far as they can be told now.
func (p *Planner) drafted(facts *herd.Herd) *days {
	latest := blockOf(facts.On)
	return p.choose(p.sketched(facts), p.decides(latest+1), chooser{Planner: p, latest: latest})
}

// sketched plans the days that a fortnight's plan looks over.
func (p *Planner) sketched(facts *herd.Herd) sketch {
	k := sketch{start: facts.On, minutes: make(map[civil.Date]int)}
	for t := range scheduler.DayOf(facts, facts.On.AddDays(ahead+beyond), leave{p.wishes}).Outlines {
		switch {
		case t.Status == tasks.Lapsed:
		case t.Moves == tasks.Never:
			k.minutes[t.Due] += t.Minutes
		default:
			k.moving = append(k.moving, t)
		}
	}
	return k
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
func (c chooser) Day(t *scheduler.Outline) civil.Date {
	earliest, latest := t.Earliest, t.Latest
	said := c.wishes.working(t.Due, earliest, latest)
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
		day, known := plan.day(t, from, latest)
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
func (l leave) Day(t *scheduler.Outline) civil.Date {
	if l.away(t.Due) {
		return l.working(t.Due, t.Earliest, t.Latest)
	}
	return t.Due
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
func (d *days) day(t *scheduler.Outline, from, to civil.Date) (civil.Date, bool) {
	if t.Moves == tasks.Alone {
		day, ok := d.alone[single{chainOf(t), t.Date}]
		return day, ok && !day.Before(from) && !day.After(to)
	}
	list := d.chains[chainOf(t)]
	i, _ := slices.BinarySearchFunc(list, from, civil.Date.Compare)
	if i < len(list) && !list[i].After(to) {
		return list[i], true
	}
	return civil.Date{}, false
}

// block returns a fortnight.
func (p *Planner) block(n int) *block {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.blocks[n] == nil {
		p.blocks[n] = new(block)
	}
	return p.blocks[n]
}

// planned returns what is planned on a fortnight's Monday, without days chosen.
func (p *Planner) planned(n int) sketch {
	return p.block(n).planned.of(func() sketch {
		in := p.in
		in.On = monday(n)
		in.History = p.in.History.Before(in.On)
		in.Forecasts = nil // see the package comment on loggers
		return p.sketched(scheduler.Facts(in))
	})
}

// chosen returns the days chosen on a fortnight's Monday. It asks for plans of
// fortnights before, never for one of itself.
func (p *Planner) chosen(n int, rough bool) *days {
	b := p.block(n)
	if rough {
		return b.rough.of(func() *days { return p.choose(p.planned(n), p.decides(n), chooser{}) })
	}
	return b.days.of(func() *days {
		return p.kept(n, func() *days {
			return p.choose(p.planned(n), p.decides(n), chooser{Planner: p, latest: n - 1, rough: n%linked == 0})
		})
	})
}

// choose plans the days of the tasks of a sketch, from the first that it decides
// on. Before that they are where the plans before have them.
func (p *Planner) choose(k sketch, first civil.Date, before chooser) *days {
	s := newSolver(first, k.start.AddDays(ahead+beyond), p.wishes)
	for day, minutes := range k.minutes {
		if !day.Before(first) {
			s.fix(day, minutes)
		}
	}
	var list []scheduler.Outline
	shift := make(map[chain]int) // by how many days a chain is later than planned
	for _, t := range k.moving { // those of a chain by due date, as a plan has them
		c := chainOf(&t)
		if by := shift[c]; t.Moves == tasks.InChain && by != 0 {
			t.Due, t.Earliest, t.Latest = t.Due.AddDays(by), t.Earliest.AddDays(by), t.Latest.AddDays(by)
		}
		day := t.Due
		if before.Planner != nil && t.Earliest.Before(first) && !t.Latest.Before(k.start) {
			day = before.Day(&t)
		}
		if open := civil.Max(t.Due, k.start); day.Before(first) || t.Latest.Before(first) {
			day = civil.Max(day, k.start)
			if t.Moves == tasks.InChain {
				shift[c] += day.Sub(open)
			}
			if !day.Before(first) {
				s.fix(day, t.Minutes)
			}
			continue
		}
		t.Due, t.Earliest = civil.Max(civil.Max(t.Due, k.start), first), civil.Max(t.Earliest, first)
		if !t.Due.After(k.start.AddDays(ahead)) {
			list = append(list, t)
		}
	}
	s.take(list)
	s.spread()
	d := &days{chains: make(map[chain][]civil.Date), alone: make(map[single]civil.Date)}
	for i := range list {
		switch t, day := &list[i], s.dayOf(i); {
		case day.IsZero():
		case t.Moves == tasks.Alone:
			d.alone[single{chainOf(t), t.Date}] = day
		default:
			d.chains[chainOf(t)] = append(d.chains[chainOf(t)], day)
		}
	}
	return d
}
