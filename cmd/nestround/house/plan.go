package house

import (
	"maps"
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

// plans are the facts, plans and boards that a snapshot has made. Each is worked
// out once, whoever asks.
type plans struct {
	mu     sync.Mutex        // of the maps
	spread *workload.Planner // nil: the work is not spread
	facts  map[evening]func() *herd.Herd
	made   map[asked]func() []tasks.Task
	boards map[civil.Date]*tasks.Board
	// other is the day, other than today, whose facts and plans are remembered.
	other civil.Date
}

// evening is a day, and the day before which entries count.
type evening struct{ before, on civil.Date }

// asked is a question for a plan, up to a day.
type asked struct {
	evening
	to civil.Date
}

func newPlans() *plans {
	return &plans{facts: make(map[evening]func() *herd.Herd), made: make(map[asked]func() []tasks.Task), boards: make(map[civil.Date]*tasks.Board)}
}

// about makes room for answers about a day. Those about today stay, and others
// until another day is asked about. The caller holds the lock.
func (p *plans) about(on, today civil.Date) {
	if on == today || on == p.other {
		return
	}
	p.other = on
	maps.DeleteFunc(p.facts, func(e evening, _ func() *herd.Herd) bool { return e.on != today })
	maps.DeleteFunc(p.made, func(a asked, _ func() []tasks.Task) bool { return a.on != today })
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
	for e, facts := range was.facts {
		if e.on == s.today && still(e.before) {
			p.facts[e] = facts
		}
	}
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

// at is a day as entries for the days before another one have it.
func (s *said) at(before, on civil.Date) evening {
	if before == on.AddDays(1) && !s.history.Speaks(on) {
		before = on // nothing was said for the day, so its end is as its beginning
	}
	return evening{before, on}
}

// end is a day at its end, with what was said for it.
func (s *said) end(on civil.Date) evening { return s.at(on.AddDays(1), on) }

// facts returns how everything stands on a day.
func (s *Snapshot) facts(e evening) *herd.Herd {
	p := s.plans
	p.mu.Lock()
	p.about(e.on, s.today)
	facts, ok := p.facts[e]
	if !ok {
		facts = sync.OnceValue(func() *herd.Herd { return scheduler.Facts(s.day(e.before, e.on, e.on)) })
		p.facts[e] = facts
	}
	p.mu.Unlock()
	return facts()
}

// outlook returns a day at its end for questions besides the plan, up to a day.
func (s *Snapshot) outlook(on, to civil.Date) *scheduler.Day {
	return scheduler.DayOf(s.facts(s.said.end(on)), to, nil)
}

// plan returns the tasks of a day and those to come, spread over the days. The
// caller leaves them as they are.
func (s *Snapshot) plan(e evening, to civil.Date) []tasks.Task {
	p, a := s.plans, asked{e, to}
	p.mu.Lock()
	p.about(e.on, s.today)
	list, ok := p.made[a]
	if !ok {
		list = sync.OnceValue(func() []tasks.Task { return p.plan(s, e, to) })
		p.made[a] = list
	}
	p.mu.Unlock()
	return list()
}

// plan plans for a snapshot.
func (p *plans) plan(s *Snapshot, e evening, to civil.Date) []tasks.Task {
	if p.spread == nil {
		return scheduler.DayOf(s.facts(e), to, nil).Tasks()
	}
	defer s.chosen.store()
	return p.spread.PlanOf(s.facts(e), to)
}

// planner returns the planner of days of a snapshot, or nil where there is too
// much to spread.
func planner(s *Snapshot) *workload.Planner {
	if len(s.records.Enclosures) > mostSpread {
		return nil
	}
	p := workload.NewPlanner(s.day(civil.Date{}, s.today, s.today), wishes(s))
	if s.source != "" {
		p.With(s.chosen, s.source)
	}
	return p
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
	b = tasks.NewBoard(on, s.plan(s.said.at(on, on), on), s.plan(s.said.end(on), on), s.said.history.Before(on.AddDays(1)), numbered)
	p.mu.Lock()
	defer p.mu.Unlock()
	p.boards[on] = b
	return b
}

// Ahead returns the tasks of the days after on, up to and including to, from
// the plan of the day on. They are ordered by due day, then by walking order.
func (s *Snapshot) Ahead(on, to civil.Date) []tasks.Task {
	var coming []tasks.Task
	for _, t := range s.plan(s.said.end(on), to) {
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
	return measure(s.plan(s.said.end(on), to)), measure(s.outlook(on, to).Tasks())
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
