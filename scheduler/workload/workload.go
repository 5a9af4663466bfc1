// Package workload moves tasks inside their slack, so that the minutes of work
// on each day are even and days off are free.
//
// Start with [Planner]: its method Plan is scheduler.Plan with the days chosen.
// [Solve] chooses the days for a given list of tasks. [Measure] returns the
// minutes of the heaviest day of a list, and a lower bound on these minutes.
//
// # What is optimised
//
// The aims have an order. First, no task that can avoid a day off is on a day
// off. Then the heaviest day is as light as the search can make it. Then the
// sum of the squares of the days' minutes is small. If two choices are equal,
// tasks stay near the days by their routines. A task never leaves its slack,
// and a task that may not move ([tasks.Never]) never moves. If a routine counts
// from the last time that the work was done, the slack of a task counts from
// the day of the task before it: the days keep the interval, give or take the
// slack.
//
// The solver goes through the routines. It puts all tasks of one routine on
// their best days at once, by a shortest path over these days, while all other
// tasks stay. It repeats this until nothing changes. Then it tries to lighten
// the heaviest day for good, by moving other tasks out of the way. This is a
// local search. A lower bound limits its distance from the best result. The
// bound allows tasks to be cut into pieces, each task with a run of possible
// days. Such pieces fit under a peak if and only if, for every run of days, the
// tasks that must be inside the run fit (Hall's condition, which for runs of
// days need only be checked for runs; Glover 1967, Naval Research Logistics
// Quarterly 14:313-316, from memory).
//
// # Why nothing jumps
//
// A task that was announced for one of the next days must still be on that day
// tomorrow. The announcement is not stored, because the program stores nothing
// that it can compute. So a rule chooses the days, and gives the same answer
// tomorrow. Time is cut into fortnights that begin on Mondays. Each fortnight
// has one plan of days. The plan is made as of the Monday, from the history
// before that Monday and from nothing later. For any day, the latest plan
// decides that was made at least the settled days before the day. So everything
// that decides today and the settled days is in the past, and tomorrow decides
// the same. A task goes through the days of its slack and takes the first day
// that the deciding plan has for the task.
//
// As long as work is done on the announced days, the announcements stay
// exactly. Work that was not done is asked for until it is done. Tasks that
// count from this work move with it; other tasks stay. If records are edited,
// or if work is entered later for a day before the Monday, a plan and its
// announcements may change: the plan could not know of this in advance.
//
// For some days no plan made until now decides. These days show the next plan
// as if it were made today. They may still change, until the Monday of the next
// plan.
//
// The alternatives were worse. A plan made anew each day is more even by some
// per cent, but changes many days whenever anything is done. To keep the
// announced tasks on their days, the program would have to store the
// announcements, or plan every day again since the books began. A fixed weekday
// for each routine cannot jump, but it ignores the weeks in which the eggs
// hatch.
//
// A fortnight's plan takes the tasks on its first, settled days from the plan
// of the fortnight before. Without a limit this would lead back to the
// beginning of the books. So every third plan takes its settled days from a
// rough plan, which takes them from no other plan. In sixty days of a keeper
// who does all tasks, the heaviest day of the coming four weeks was on average
// 4.4 % above the bound with 12 enclosures and 3.1 % with 60. If every plan
// used a rough plan, it was 8.3 and 5.2 %; if every sixth did, 5.4 and 3.5 %;
// with plans of a week that use rough plans, 9.2 and 6.5 %; if the next plan
// was not shown as made today, 14.5 and 9.4 %. With a plan made anew each day,
// the coming two weeks are within 1.2 and 0.5 %.
//
// The days that a fortnight's plan chose may be kept on a [Shelf]: the plan of
// a past Monday does not change while everything that it was made from stays
// the same.
//
// A plan covers five weeks; later tasks are on the days by their routines. The
// plans use forecasts of hatching without temperature loggers, because log
// files grow after the Monday. Only the next plan, as made today, uses today's
// log files.
package workload

import (
	"cmp"
	"slices"
	"time"

	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Wishes are the keeper's wishes for the days.
type Wishes struct {
	DaysOff []time.Weekday // days on which only work is done that cannot be moved to another day
	// Minutes is the work on a day, in minutes, that the keeper accepts without
	// wishing for less. Days with less work are not made even. 0: the heaviest
	// day should have as little work as possible.
	Minutes int
	// Settled is the number of days after today that stay as they were
	// announced.
	Settled int
	// Away are the absences of the keeper. During an absence a stand-in does
	// the tasks that cannot wait.
	Away []husbandry.Away
}

// Off reports whether a day is a day off.
func (w Wishes) Off(d civil.Date) bool {
	return slices.Contains(w.DaysOff, d.Weekday()) || w.away(d)
}

func (w Wishes) away(d civil.Date) bool {
	return slices.ContainsFunc(w.Away, func(a husbandry.Away) bool { return !d.Before(a.From) && !d.After(a.Until) })
}

// Problem has the tasks to be spread over a range of days.
type Problem struct {
	// From and To are the first and the last day. A task that is due before
	// From is done on From and does not move; a task that is due after To is
	// left out. No task moves out of the days From to To.
	From, To civil.Date
	// Tasks are in any order. For Solve, the Due of a task that moves is the
	// day by its routine. Tasks that move in a chain follow one another in the
	// order of their Due.
	Tasks  []tasks.Task
	Wishes Wishes
}

// Solution has the chosen days of a Problem's tasks.
type Solution struct {
	Days []civil.Date // Days[i] is the day of Tasks[i]; no date if the task was left out
	Load
}

// Load has the minutes of work on some days.
type Load struct {
	Minutes []int // minutes of each day from From to To
	Peak    int   // minutes of the heaviest day
	// Bound is a lower bound on Peak: however the tasks are moved inside their
	// slack, the heaviest day has at least Bound minutes.
	Bound int
}

// Gap returns the difference between Peak and Bound, as a share of Bound. 0
// means that no lighter heaviest day is possible.
func (l Load) Gap() float64 {
	if l.Bound == 0 {
		return 0
	}
	return float64(l.Peak-l.Bound) / float64(l.Bound)
}

// Measure returns the minutes of the days with each task on its Due, and the
// lower bound on the heaviest day.
func Measure(p Problem) Load { return p.solver().loaded() }

// Solve chooses days for the tasks of p. The same problem, in whatever order,
// has the same solution.
func Solve(p Problem) Solution {
	s := p.solver()
	s.spread()
	sol := Solution{Days: make([]civil.Date, len(p.Tasks)), Load: s.loaded()}
	for i := range sol.Days {
		sol.Days[i] = s.dayOf(i)
	}
	return sol
}

func (p *Problem) solver() *solver {
	s := newSolver(p.From, p.To, p.Wishes)
	list := make([]scheduler.Outline, len(p.Tasks))
	for i := range p.Tasks {
		t := &p.Tasks[i]
		list[i] = scheduler.Outline{Subject: t.Subject, Routine: t.Routine, Due: t.Due, Earliest: t.Earliest, Latest: t.Latest,
			Status: t.Status, Moves: t.Moves, Minutes: t.Minutes}
	}
	s.take(list)
	return s
}

// solver holds a problem in numbers. Days are numbered from 0.
type solver struct {
	first  civil.Date
	days   int
	off    []bool
	load   []int
	base   []int // minutes of the tasks that do not move, by day
	items  []item
	chains [][]int // indices of items that follow one another
	wish   int
	// at has a number for each task: its day if the task does not move; -2
	// minus the index of its item if it moves; -1 if it was left out.
	at     []int32
	search search
}

// item is a task that moves.
type item struct {
	minutes int
	own     int // the day by the routine
	day     int // the present day of the item
	// from and to are the first and the last day that the item may be on. least
	// and most are the limits of its distance, in days, from the item before it
	// in its chain. most is 0 if the item follows no other.
	from, to    int
	least, most int
	every       int  // days by the routine from the item before to this one
	alone       bool // the item moves without the others of its chain
	// mayOff says that the item may be on a day off, because it cannot avoid
	// one.
	mayOff bool
}

// newSolver returns a solver for the days from first to last, without tasks.
func newSolver(from, to civil.Date, w Wishes) *solver {
	n := max(0, to.Sub(from)+1)
	s := &solver{first: from, days: n, off: make([]bool, n), load: make([]int, n), base: make([]int, n), wish: w.Minutes}
	for d := range n {
		s.off[d] = w.Off(from.AddDays(d))
	}
	return s
}

// take adds all tasks to the solver: tasks that may move as items, other tasks
// as fixed minutes.
func (s *solver) take(list []scheduler.Outline) {
	s.at = make([]int32, len(list))
	var moving []int
	for i := range list {
		t := &list[i]
		switch d := t.Due.Sub(s.first); {
		case d >= s.days || t.Status == tasks.Lapsed || s.days == 0:
			s.at[i] = -1
		case t.Moves == tasks.Never || d < 0 || t.Earliest == t.Latest:
			s.at[i] = int32(max(0, d))
			s.fix(t.Due, t.Minutes)
		default:
			moving = append(moving, i)
		}
	}
	// Tasks with equal values in all of these fields are interchangeable.
	slices.SortFunc(moving, func(i, j int) int {
		a, b := &list[i], &list[j]
		return cmp.Or(cmp.Compare(a.Subject, b.Subject), cmp.Compare(a.Routine, b.Routine), a.Due.Compare(b.Due), a.Date.Compare(b.Date),
			a.Earliest.Compare(b.Earliest), a.Latest.Compare(b.Latest), cmp.Compare(a.Minutes, b.Minutes))
	})
	s.items = make([]item, 0, len(moving))
	for len(moving) > 0 {
		n := 1
		for n < len(moving) && list[moving[n]].Subject == list[moving[0]].Subject && list[moving[n]].Routine == list[moving[0]].Routine {
			n++
		}
		s.group(list, moving[:n])
		moving = moving[n:]
	}
	for i := range s.items {
		it := &s.items[i]
		it.mayOff = s.off[it.day] || !s.anyWorking(it.from, it.to)
	}
}

// fix adds the minutes of a task that does not move. A task that is due before
// the first day counts on the first day.
func (s *solver) fix(due civil.Date, minutes int) {
	if d := max(0, due.Sub(s.first)); d < s.days {
		s.base[d] += minutes
		s.load[d] += minutes
	}
}

// group adds the tasks of one routine for one subject, by due date, as items.
func (s *solver) group(list []scheduler.Outline, moving []int) {
	var indices []int
	for j, i := range moving {
		t := &list[i]
		day := t.Due.Sub(s.first)
		it := item{minutes: t.Minutes, own: day, day: day, alone: t.Moves == tasks.Alone,
			from: max(0, t.Earliest.Sub(s.first)), to: min(s.days-1, t.Latest.Sub(s.first))}
		if j > 0 {
			gap := day - s.items[len(s.items)-1].own
			it.least, it.most = max(1, gap-t.Due.Sub(t.Earliest)), max(1, gap+t.Latest.Sub(t.Due))
			it.every = gap
		}
		s.at[i] = int32(-2 - len(s.items))
		indices = append(indices, len(s.items))
		s.items = append(s.items, it)
		s.load[day] += t.Minutes
	}
	s.chains = append(s.chains, indices)
}

// spread chooses the days of all items.
func (s *solver) spread() {
	s.follow()
	s.keepOrder()
	s.keepFree()
	s.solve()
}

// dayOf returns the day of the i-th task given to take, or no date.
func (s *solver) dayOf(i int) civil.Date {
	switch at := int(s.at[i]); {
	case at >= 0:
		return s.first.AddDays(at)
	case at == -1:
		return civil.Date{}
	default:
		return s.first.AddDays(s.items[-2-at].day)
	}
}

func (s *solver) anyWorking(from, to int) bool {
	for d := from; d <= to; d++ {
		if !s.off[d] {
			return true
		}
	}
	return false
}

// follow widens the slack of the items in a chain, because each item counts
// from the item before it, which may move too. The slacks of a chain add up,
// but only to the interval of the item: work for every other day is not done
// every third day. Each day off in the interval may add one day.
func (s *solver) follow() {
	offs := make([]int, s.days+1) // number of days off before each day
	for d := range s.days {
		offs[d+1] = offs[d]
		if s.off[d] {
			offs[d+1]++
		}
	}
	for _, c := range s.chains {
		before, after := 0, 0
		for _, i := range c {
			it := &s.items[i]
			b, a := it.own-it.from, it.to-it.own
			most := it.every + offs[it.own+1]
			before, after = max(b, min(before+b, most)), max(a, min(after+a, most))
			if !it.alone {
				it.from, it.to = max(0, it.own-before), min(s.days-1, it.own+after)
			}
		}
	}
}

// keepOrder keeps the dates of the calendar in their order. Each item moves by
// less than half the way to the next one, and does so without the others of its
// chain.
func (s *solver) keepOrder() {
	var chains [][]int
	for _, c := range s.chains {
		if !s.items[c[0]].alone {
			chains = append(chains, c)
			continue
		}
		for j, i := range c {
			it := &s.items[i]
			if j > 0 {
				before := &s.items[c[j-1]]
				half := max(0, it.own-before.own-1) / 2
				it.from, before.to = max(it.from, it.own-half), min(before.to, before.own+half)
			}
			it.least, it.most = 0, 0
			chains = append(chains, []int{i})
		}
	}
	s.chains = chains
}

// keepFree decides, for each routine, whether all its tasks can avoid the days
// off. If they cannot, the tasks may be on days off, at a cost.
func (s *solver) keepFree() {
	for _, c := range s.chains {
		for _, i := range c {
			s.items[i].mayOff = !s.anyWorking(s.items[i].from, s.items[i].to)
		}
		if !s.feasible(c) {
			for _, i := range c {
				s.items[i].mayOff = true
			}
		}
	}
}

func (s *solver) allowed(it *item, day int) bool { return it.mayOff || !s.off[day] }

// feasible reports whether any choice of days is possible for the items of a
// chain.
func (s *solver) feasible(c []int) bool {
	var before, now []int // possible days of the item before and of the present item
	for j, i := range c {
		it := &s.items[i]
		now = now[:0]
		for d := it.from; d <= it.to; d++ {
			if s.allowed(it, d) && (j == 0 || slices.ContainsFunc(before, func(b int) bool { return d-b >= it.least && d-b <= it.most })) {
				now = append(now, d)
			}
		}
		if len(now) == 0 {
			return false
		}
		before, now = now, before
	}
	return true
}

// bound returns the lower bound on the minutes of the heaviest day. It is the
// largest of three numbers: the heaviest day of the tasks that do not move; for
// each item, the minutes of its lightest possible day with the item; and for
// every run of days, the minutes that must be inside the run, divided by its
// number of days. The runs are taken once from all days and once from the
// working days only.
func (s *solver) bound() int {
	best := 0
	for _, b := range s.base {
		best = max(best, b)
	}
	working := make([]int, s.days+1) // number of working days before d
	for d := range s.days {
		working[d+1] = working[d]
		if !s.off[d] {
			working[d+1]++
		}
	}
	all := make([]int, s.days+1)
	for d := range all {
		all[d] = d
	}
	for _, index := range [][]int{all, working} {
		n := index[s.days]
		base := make([]int, n+1)
		for d := range s.days {
			if index[d+1] > index[d] {
				base[index[d]+1] = s.base[d]
			}
		}
		for d := range n {
			base[d+1] += base[d]
		}
		inside := make([][]int, n) // minutes by first and last day
		for d := range inside {
			inside[d] = make([]int, n)
		}
		for i := range s.items {
			it := &s.items[i]
			lightest := -1
			from, to := it.to, it.from
			for d := it.from; d <= it.to; d++ {
				if s.allowed(it, d) {
					from, to = min(from, d), max(to, d)
					if lightest < 0 || s.base[d] < lightest {
						lightest = s.base[d]
					}
				}
			}
			best = max(best, lightest+it.minutes)
			if index[to+1]-index[from] < 1 || it.mayOff && index[s.days] < s.days {
				continue // the item may be outside the working days
			}
			inside[index[from]][index[to+1]-1] += it.minutes
		}
		ending := make([]int, n) // minutes of items with all possible days from first to last
		for first := n - 1; first >= 0; first-- {
			sum := 0
			for last := first; last < n; last++ {
				sum += inside[first][last]
				ending[last] += sum
				days := last - first + 1
				best = max(best, (ending[last]+base[last+1]-base[first]+days-1)/days)
			}
		}
	}
	return best
}

func (s *solver) loaded() Load {
	l := Load{Minutes: s.load, Bound: s.bound()}
	for _, m := range s.load {
		l.Peak = max(l.Peak, m)
	}
	return l
}
