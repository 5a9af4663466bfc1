// Package workload moves tasks inside their slack, so that the days' minutes
// are even and days off are free.
//
// Start with [Planner]: its Plan is scheduler.Plan with the days chosen. [Solve]
// is the question beneath it, for a list of tasks, and [Measure] says of a list
// how heavy its heaviest day is and how light it could be at best.
//
// # What is optimised
//
// First, no task that can avoid a day off is on one. Then the heaviest day is
// as light as can be found, then the sum of the squares of the days' minutes is
// small, and among equals tasks stay near their routine's own days. A task
// never leaves its slack, and one that may not move ([tasks.Never]) never moves.
// Where a routine counts from the last time it was done, the slack of a task
// counts from the day of the one before: the days keep the interval, give or
// take the slack.
//
// The solver goes through the routines and puts each one's tasks, all at once
// and by a shortest path over their days, where they are best while the others
// stay, until nothing changes; then it tries to clear the heaviest day for good
// by moving others out of the way. That is a local search. How far it can be
// from the best is known from a lower bound that allows tasks to be cut into
// pieces: for tasks that have a run of days each, such pieces fit under a peak
// if and only if, for every run of days, the tasks that must lie inside do
// (Hall's condition, which for runs of days need only be asked of runs; Glover
// 1967, Naval Research Logistics Quarterly 14:313-316, from memory).
//
// # Why nothing jumps
//
// What was announced for the next days must be there tomorrow, and the
// announcement is not stored, since nothing is that can be computed. So a day
// is chosen by a rule that gives the same answer tomorrow. Time is cut into
// fortnights that begin on Mondays. For each there is one plan of days, made on
// its Monday from the history before it and from nothing later. Any day is
// decided by the latest such plan that was made at least the settled days before
// it; so, on any day, all that decides today and the settled days is in the
// past, and tomorrow decides the same. A task goes through the days of its
// slack and stops at the first that the deciding plan has for it.
//
// As long as work is done on the days announced, what was announced stays,
// exactly. What is left undone is asked for until it is done, and those that
// count from it follow; others stay. Records that are edited, and work entered
// later for a day before the Monday, may change a plan and what it announced:
// neither is known in advance.
//
// Days that no plan made until now decides are shown as the next plan would have
// them if it were made today. They may still change, until its Monday.
//
// The alternatives were worse. A plan made anew each day is more even by some
// per cent and reshuffles itself whenever anything is done; to hold announced
// tasks fast in it, the announcement would have to be stored, or found by
// planning every day again since the books began. A fixed weekday for each
// routine cannot jump, and does not see the weeks in which the eggs hatch.
//
// A fortnight's plan stands on the one before it for what is on its first,
// settled days, and that one on its own would lead back to the beginning of the
// books. Three follow one another so; every third stands on a rough plan, which
// stands on none. In sixty days of a keeper who does what is asked, the heaviest
// day of the coming four weeks was on average 4.4 % above the bound with 12
// enclosures and 3.1 % with 60; where every plan stood on a rough one 8.3 and
// 5.2, where every sixth did 5.4 and 3.5; with plans of a week, on rough ones,
// 9.2 and 6.5; without what the next plan would have, 14.5 and 9.4. Made anew
// each day, the coming two weeks are within 1.2 and 0.5 %.
//
// The days that a fortnight's plan chose may be kept on a [Shelf], since a plan of
// a Monday past does not change while all that it was made from stays the same.
//
// Beyond the five weeks that a plan looks over, tasks are on their routine's own
// days. The plans use forecasts of hatching without loggers, whose files grow
// afterwards; what the next plan would have uses today's.
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

// Wishes are what the keeper wants of the days.
type Wishes struct {
	DaysOff []time.Weekday // free of what can be done on another day
	// Minutes is how much a day may have, without any wish for less; 0: the
	// less the better. Days below it are not made even.
	Minutes int
	// Settled is how many days after today stay as they were announced.
	Settled int
	// Away are days on which somebody stands in, who does what cannot wait.
	Away []husbandry.Away
}

// Off reports whether a day is off.
func (w Wishes) Off(d civil.Date) bool {
	return slices.Contains(w.DaysOff, d.Weekday()) || w.away(d)
}

func (w Wishes) away(d civil.Date) bool {
	return slices.ContainsFunc(w.Away, func(a husbandry.Away) bool { return !d.Before(a.From) && !d.After(a.Until) })
}

// Problem is tasks to be spread over days.
type Problem struct {
	// From and To are the first and the last day. What is due before From is
	// done on From, and does not move; what is due after To is left out. No task
	// moves out of these days.
	From, To civil.Date
	// Tasks are in any order. For Solve, Due is the routine's own day of each
	// that moves; those of one routine for one subject that move in a chain
	// follow one another by it.
	Tasks  []tasks.Task
	Wishes Wishes
}

// Solution is the days of a Problem's tasks.
type Solution struct {
	Days []civil.Date // of Tasks[i]; no date for what was left out
	Load
}

// Load is how heavy days are.
type Load struct {
	Minutes []int // of each day from From to To
	Peak    int   // of the heaviest
	// Bound is a number of minutes that the heaviest day cannot be below,
	// however the tasks are moved inside their slack.
	Bound int
}

// Gap is by what share of Bound the heaviest day is above it; 0 says that no
// lighter one is possible.
func (l Load) Gap() float64 {
	if l.Bound == 0 {
		return 0
	}
	return float64(l.Peak-l.Bound) / float64(l.Bound)
}

// Measure says how heavy the days are with each task on its Due, and what they
// could be at best.
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

// solver holds a problem in numbers: days count from 0.
type solver struct {
	first  civil.Date
	days   int
	off    []bool
	load   []int
	base   []int // of what does not move
	items  []item
	chains [][]int // indices of items that follow one another
	wish   int
	// at is the day of each task taken in that does not move, or -2 less the
	// index of its item, or -1 where it was left out.
	at     []int32
	search search
}

// item is a task that moves.
type item struct {
	minutes int
	own     int // the routine's own day
	day     int // where it is
	// from and to are the days it may be on, and least and most the days it may
	// be behind the one before it in its chain; most 0: it follows nothing.
	from, to    int
	least, most int
	every       int  // own days behind the one before it
	alone       bool // it moves without the others of its chain
	// mayOff says that it may be on a day off, since nothing else is possible.
	mayOff bool
}

// newSolver returns a solver for the days from one to another, without tasks.
func newSolver(from, to civil.Date, w Wishes) *solver {
	n := max(0, to.Sub(from)+1)
	s := &solver{first: from, days: n, off: make([]bool, n), load: make([]int, n), base: make([]int, n), wish: w.Minutes}
	for d := range n {
		s.off[d] = w.Off(from.AddDays(d))
	}
	return s
}

// take takes in all tasks that may move.
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
	// Tasks of a routine that are alike in all of this may change places.
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

// fix takes in minutes that do not move. What is due before the first day is
// done on it.
func (s *solver) fix(due civil.Date, minutes int) {
	if d := max(0, due.Sub(s.first)); d < s.days {
		s.base[d] += minutes
		s.load[d] += minutes
	}
}

// group takes in the tasks of one routine for one subject, by due date.
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

// spread chooses the days.
func (s *solver) spread() {
	s.follow()
	s.keepOrder()
	s.keepFree()
	s.solve()
}

// dayOf returns the day of the i-th task taken in, or no date.
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

// follow lets the slack of tasks in a chain move along with the one before,
// from which they count: by the sum of the slacks, but by no more than their
// interval, so that what is done every other day is not done every third. Each
// day off on the way may cost one day more.
func (s *solver) follow() {
	offs := make([]int, s.days+1) // days off before a day
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

// keepOrder makes dates of the calendar keep their order: each moves by less
// than half the way to the next, and then alone.
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

// keepFree decides, routine by routine, whether its tasks can all keep off the days
// off; where they cannot, they may be on them and are charged for it.
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

// feasible reports whether a chain has days at all.
func (s *solver) feasible(c []int) bool {
	var before, now []int // days possible
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

// bound is the lower bound on the peak: the heaviest day of what does not move;
// the lightest place of any one task; and for every run of days what must lie
// inside, over their number. The runs are asked twice, of all days and of the
// days that are not off.
func (s *solver) bound() int {
	best := 0
	for _, b := range s.base {
		best = max(best, b)
	}
	working := make([]int, s.days+1) // days before d that are not off
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
				continue // among the working days it need not be
			}
			inside[index[from]][index[to+1]-1] += it.minutes
		}
		ending := make([]int, n) // minutes of what begins at first or after and ends by last
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
