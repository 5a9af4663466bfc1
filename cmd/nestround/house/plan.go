package house

import (
	"slices"
	"sync"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
)

// mostSpread is the largest number of enclosures for which the work is spread
// over the days. For more, a fortnight's plan would take seconds after every
// entry, and one keeper does not have so many.
const mostSpread = 500

// plans are the plans and boards that a snapshot has made.
type plans struct {
	mu     sync.Mutex
	spread *workload.Planner // nil until asked for
	made   map[asked][]tasks.Task
	boards map[civil.Date]*tasks.Board
}

// asked is a question for a plan. The entries before a day count, see
// Snapshot.plan.
type asked struct{ before, on, to civil.Date }

func newPlans() *plans {
	return &plans{made: make(map[asked][]tasks.Task), boards: make(map[civil.Date]*tasks.Board)}
}

// inherit takes over the answers of an older snapshot that are still right. If
// only entries were added, these are the plans and the results of the days
// before the first day of the new entries.
func (s *Snapshot) inherit(old *Snapshot) {
	if s.settings != old.settings || s.records != old.records || s.logs != old.logs {
		return
	}
	since, ok := s.said.since(old.said)
	if !ok {
		return
	}
	still := func(before civil.Date) bool { return since.IsZero() || !before.After(since) }
	p, was := s.plans, old.plans
	was.mu.Lock()
	defer was.mu.Unlock()
	for a, list := range was.made {
		if a.on == s.today && still(a.before) {
			p.made[a] = list
		}
	}
	first := s.today.AddDays(-s.settings.Calendar.PastDays)
	for day, b := range was.boards {
		if !day.Before(first) && still(day.AddDays(1)) && (*old.issued)[day].ID == (*s.issued)[day].ID {
			p.boards[day] = b
		}
	}
	if was.spread != nil {
		p.spread = was.spread.Since(s.day(civil.Date{}, s.today, s.today), since)
	}
}

// day returns the planner's input for the day on and the days after it up to
// to. Entries count if they are for a day earlier than before. A zero before
// lets all entries count.
func (s *Snapshot) day(before, on, to civil.Date) scheduler.Input {
	in := scheduler.Input{Records: s.records, History: s.said.history.Before(before), On: on, To: to}
	if s.settings.Latitude != nil {
		in.Latitude = *s.settings.Latitude
	}
	in.Forecasts = &herd.Calibrated{Plain: herd.Plain{Latitude: in.Latitude}, Logged: s.logs.days}
	return in
}

// evening is day at its end, with what was said for it.
func (s *Snapshot) evening(on, to civil.Date) scheduler.Input { return s.day(on.AddDays(1), on, to) }

// plan returns the tasks of a day and those to come, spread over the days, as
// entries for the days before a day make them. The caller leaves them as they
// are.
func (s *Snapshot) plan(before, on, to civil.Date) []tasks.Task {
	if before == on.AddDays(1) && !s.said.history.Speaks(on) {
		before = on // nothing was said for the day, so its end is as its beginning
	}
	p, key := s.plans, asked{before, on, to}
	p.mu.Lock()
	defer p.mu.Unlock()
	if list, ok := p.made[key]; ok {
		return list
	}
	list := p.plan(s, s.day(before, on, to))
	// What is planned on other days is asked for once, to make a board of it.
	if on == s.today {
		p.made[key] = list
	}
	return list
}

// plan plans; the plans are locked, since a workload.Planner is not safe for
// concurrent use.
func (p *plans) plan(s *Snapshot, in scheduler.Input) []tasks.Task {
	if len(s.records.Enclosures) > mostSpread {
		return scheduler.Plan(in)
	}
	if p.spread == nil {
		p.spread = workload.NewPlanner(s.day(civil.Date{}, in.On, in.To), wishes(s))
	}
	return p.spread.Plan(in)
}

func wishes(s *Snapshot) workload.Wishes {
	w := s.settings.Work
	return workload.Wishes{DaysOff: w.DaysOff, Minutes: w.Minutes, Settled: w.Settled, Away: s.records.Away}
}

// Board returns the tasks of a day with their marks and numbers. For a past
// day, it shows the end of that day.
func (s *Snapshot) Board(on civil.Date) *tasks.Board {
	p := s.plans
	p.mu.Lock()
	b, ok := p.boards[on]
	p.mu.Unlock()
	if ok {
		return b
	}
	var numbered []tasks.Key
	if i, ok := (*s.issued)[on]; ok {
		for _, item := range i.Items {
			numbered = append(numbered, item.Task)
		}
	}
	evening := on.AddDays(1)
	b = tasks.NewBoard(on, s.plan(on, on, on), s.plan(evening, on, on), s.said.history.Before(evening), numbered)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.boards[on] = b
	return b
}

// Ahead returns the tasks of the days after on, up to and including to, from
// the plan of the day on. They are ordered by due day, then by walking order.
func (s *Snapshot) Ahead(on, to civil.Date) []tasks.Task {
	var coming []tasks.Task
	for _, t := range s.plan(on.AddDays(1), on, to) {
		if t.Due.After(on) {
			coming = append(coming, t)
		}
	}
	return coming
}

// Load returns the load of the days after on, up to and including to, from the
// plan of the day on. before is the load with every task on its planned day,
// without spreading.
func (s *Snapshot) Load(on, to civil.Date) (load, before workload.Load) {
	measure := func(list []tasks.Task) workload.Load {
		list = slices.DeleteFunc(slices.Clone(list), func(t tasks.Task) bool { return !t.Due.After(on) })
		return workload.Measure(workload.Problem{From: on.AddDays(1), To: to, Tasks: list, Wishes: wishes(s)})
	}
	return measure(s.plan(on.AddDays(1), on, to)), measure(scheduler.Plan(s.evening(on, to)))
}

// DayOff reports whether the keeper wants to have a day off.
func (s *Snapshot) DayOff(day civil.Date) bool { return wishes(s).Off(day) }

// began returns the first day with a plan or an entry.
func began(s *Snapshot) civil.Date { return civil.Min(s.records.Began, s.said.history.First()) }

// items returns the numbers of a board in the form of an issue.
func items(b *tasks.Board) []item {
	var list []item
	for _, r := range slices.Concat(b.Rows, b.Moot) {
		if r.N > 0 {
			moot := slices.ContainsFunc(b.Moot, func(m tasks.Row) bool { return m.N == r.N })
			list = append(list, item{N: r.N, Task: r.Key, Kind: r.Kind, Scope: r.Scope, Title: r.Title, Pinned: r.Pinned, Overdue: r.Late, Packs: r.Packs, Mate: r.Mate, Moot: moot})
		}
	}
	return list
}
