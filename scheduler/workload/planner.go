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
	// blockDays is the number of days for which one plan of days is the latest
	// one. ahead is the number of days that a plan covers.
	blockDays = 14
	ahead     = 35
	// beyond is the number of further days, after the days that a plan covers,
	// to which its last tasks may be moved.
	beyond = 14
	// linked is the number of plans in a row that use one another; the first of
	// them uses a rough plan. See the package comment.
	linked = 3
	// lookBack is the number of plans before the latest one that may decide a
	// day. The tasks of older plans are done or long overdue.
	lookBack = 2
)

// epoch is the Monday from which fortnights are numbered.
var epoch = civil.New(2001, 1, 1)

// Planner makes plans with the days of tasks chosen. It remembers the plans of
// fortnights that it has made, so that asking for many days costs little.
// Several goroutines may use it at once. Make a Planner with [NewPlanner], and
// a new one when the records or the history change.
type Planner struct {
	in     scheduler.Input
	wishes Wishes
	shelf  *shelved // nil for none

	mu     sync.Mutex // protects the maps here and in shelf
	blocks map[int]*block
}

// block is a fortnight, with the plans that follow from the history before its
// Monday. Planners share a block if that history is the same for both.
type block struct {
	planned lazy[sketch]
	// days are the chosen days. rough are the days of the rough plan, which
	// uses no other plan.
	days, rough lazy[*days]
}

// lazy is a value that is computed once, at the first question.
type lazy[T any] struct {
	once   sync.Once
	answer T
}

func (l *lazy[T]) of(work func() T) T {
	l.once.Do(func() { l.answer = work() })
	return l.answer
}

// sketch is a plan before its days are chosen.
type sketch struct {
	start civil.Date
	// moving are the tasks that may move, as planned on start, each on the day
	// by its routine. minutes has the minutes of all other tasks, by day.
	moving  []scheduler.Outline
	minutes map[civil.Date]int
}

// days has the chosen days of tasks.
type days struct {
	// chains has the days of tasks that move in a chain, ascending. These tasks
	// are found by their chain and not by their keys, because their keys change
	// as the work is done.
	chains map[chain][]civil.Date
	alone  map[single]civil.Date
}

type chain struct{ subject, routine husbandry.ID }

// single identifies a task that moves alone, by its chain and the date in its
// key.
type single struct {
	chain
	date civil.Date
}

func chainOf(t *scheduler.Outline) chain { return chain{t.Subject, t.Routine} }

// NewPlanner returns a planner for the records, history and latitude of in; the
// days On and To of in are not used. The history may be longer than a plan may
// use: no choice of days uses entries after its Monday.
func NewPlanner(in scheduler.Input, w Wishes) *Planner {
	if in.History == nil {
		in.History = tasks.Fold(nil)
	}
	return &Planner{in: in, wishes: w, blocks: make(map[int]*block)}
}

// Since returns a planner for in that takes over those plans of fortnights that
// stay the same. The history of in must be the history of p with some more
// entries, none of them for a day before the given day. Everything else must be
// equal. The zero date means that no entry is new.
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

// Plan is scheduler.Plan of in, with the days of tasks chosen. The records and
// the latitude must be those of NewPlanner. The history must be the same one,
// or an earlier part of it.
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

// drafted returns the plan of the next fortnight as if it were made on the day
// of the facts.
func (p *Planner) drafted(facts *herd.Herd) *days {
	latest := blockOf(facts.On)
	return p.choose(p.sketched(facts), p.decides(latest+1), chooser{Planner: p, latest: latest})
}

// sketched plans the days that a fortnight's plan covers, without choosing
// days.
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

// blockOf returns the number of the fortnight that contains a day.
func blockOf(d civil.Date) int {
	n := d.Sub(epoch)
	if n < 0 {
		n -= blockDays - 1
	}
	return n / blockDays
}

func monday(block int) civil.Date { return epoch.AddDays(block * blockDays) }

// chooser is the scheduler.Spread for plans made within one fortnight.
type chooser struct {
	*Planner
	latest int   // number of the latest fortnight with a plan that may be used
	rough  bool  // whether rough plans are used
	draft  *days // plan of the next fortnight as made today; nil for none
}

// Day implements scheduler.Spread. For each day of the slack, the latest plan
// decides that was made at least the settled days before it. The first plan
// with the task on one of the days that this plan decides has the answer. A
// plan with the task on a later day leaves the decision to the next plan. A
// plan may not know the task, because work was not done as planned or the day
// is too far ahead; it then leaves the task on its present day.
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

// leave is the scheduler.Spread of a plan before its days are chosen. A task
// that falls due in an absence, and has slack outside the absence, keeps its
// slack and does not wait for the keeper's return.
type leave struct{ Wishes }

// Day implements scheduler.Spread.
func (l leave) Day(t *scheduler.Outline) civil.Date {
	if l.away(t.Due) {
		return l.working(t.Due, t.Earliest, t.Latest)
	}
	return t.Due
}

// working returns the working day nearest to due, from earliest to latest. If
// all these days are off, it returns due.
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

// decides returns the first day that the plan of a fortnight decides.
func (p *Planner) decides(n int) civil.Date { return monday(n).AddDays(p.wishes.Settled) }

// day returns the first day, from from to to, that a task is on.
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

// block returns the block of a fortnight by its number.
func (p *Planner) block(n int) *block {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.blocks[n] == nil {
		p.blocks[n] = new(block)
	}
	return p.blocks[n]
}

// planned returns the sketch that is planned on a fortnight's Monday.
func (p *Planner) planned(n int) sketch {
	return p.block(n).planned.of(func() sketch {
		in := p.in
		in.On = monday(n)
		in.History = p.in.History.Before(in.On)
		in.Forecasts = nil // without temperature loggers, see the package comment
		return p.sketched(scheduler.Facts(in))
	})
}

// chosen returns the days chosen on a fortnight's Monday. It uses only plans of
// earlier fortnights, so it never waits for itself.
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

// choose chooses the days of the tasks of a sketch, from first on, the first
// day that the plan decides. Earlier days are those of the plans before.
func (p *Planner) choose(k sketch, first civil.Date, before chooser) *days {
	s := newSolver(first, k.start.AddDays(ahead+beyond), p.wishes)
	for day, minutes := range k.minutes {
		if !day.Before(first) {
			s.fix(day, minutes)
		}
	}
	var list []scheduler.Outline
	shift := make(map[chain]int) // number of days by which a chain is later than planned
	for _, t := range k.moving { // the tasks of a chain come by due date, as in a plan
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
