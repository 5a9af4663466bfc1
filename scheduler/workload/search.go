package workload

import (
	"math"
	"slices"
)

const (
	// awayWeight is the cost of one day of distance from the day by the
	// routine, for each minute of a task. So a task is moved by one day only if
	// this evens two days that differ by more than the task's minutes plus half
	// a minute.
	awayWeight = 1
	// aboveWeight is the cost of a squared minute above the target, relative to
	// the cost 1 of a squared minute of a day.
	aboveWeight = 64
	// offWeight is the cost of a minute on a day off. It is larger than all
	// other costs together.
	offWeight = 1 << 24
	// most limits the search: it is the number of times that the search may try
	// a day for a task. Books of a few hundred enclosures with a heaviest day
	// at its bound never reach the limit.
	most = 1_000_000
	// enough ends the search when the heaviest day is above its bound by no
	// more than the bound divided by enough.
	enough = 100
	// mostTries limits the exhaustive search: it is the number of times that a
	// task may be put on a day. It is enough for some ten tasks with a few
	// possible days each.
	mostTries = 50_000
	// mostPasses is the largest number of passes through all chains in one
	// descent.
	mostPasses = 60
)

// search is the state of the local search.
type search struct {
	target int // minutes that no day should exceed
	banned int // a day on which no task of the present chain may be; -1: none
	looked int
	// For the shortest path: cost has the cost of the cheapest path up to each
	// possible day of each item, and from has the day of the item before on
	// this path.
	cost []int64
	from []int32
	at   []int // index in cost and from of each item's first possible day
	days []int
}

// weight returns the cost of a day with this number of minutes.
func (s *solver) weight(minutes int) int64 {
	even := int64(max(0, minutes-s.wish))
	above := int64(max(0, minutes-s.search.target))
	return even*even + aboveWeight*above*above
}

// charge returns the cost of putting an item on a day, in addition to the
// minutes that are already on that day.
func (s *solver) charge(it *item, day int) int64 {
	c := s.weight(s.load[day]+it.minutes) - s.weight(s.load[day])
	c += int64(awayWeight * it.minutes * max(day-it.own, it.own-day))
	if s.off[day] {
		c += int64(offWeight * it.minutes)
	}
	return c
}

// solve moves the items from their present days to better ones.
func (s *solver) solve() {
	s.search.banned = -1
	// The days by the routines may break the rules: some may be days off, or
	// after the last day. A first path for each chain mends this.
	bound := max(s.bound(), s.wish)
	s.search.target = bound
	for _, c := range s.chains {
		s.reroute(c, true)
	}
	s.descend()
	for s.peak() > bound+bound/enough && s.search.looked < most {
		if !s.lower(bound) {
			break
		}
	}
	s.tryAll(bound)
	// The heaviest day stays as it is now; make the other days even.
	s.search.target = max(bound, s.peak())
	s.descend()
}

// lower makes the heaviest day lighter, or reduces the number of days that are
// as heavy. It reports whether it could.
func (s *solver) lower(bound int) bool {
	peak, height := s.peak(), s.height()
	before := s.snapshot()
	for _, target := range []int{peak - max(1, (peak-bound)/2), peak - 1} {
		s.search.target = target
		s.descend()
		if p := s.peak(); p < peak || p == peak && s.height() < height {
			return true
		}
		s.restore(before)
	}
	return s.clear()
}

func (s *solver) peak() int {
	p := 0
	for _, m := range s.load {
		p = max(p, m)
	}
	return p
}

// height returns the number of days that are as heavy as the heaviest one.
func (s *solver) height() int {
	n, p := 0, s.peak()
	for _, m := range s.load {
		if m == p {
			n++
		}
	}
	return n
}

// offMinutes returns the minutes of the items on days off.
func (s *solver) offMinutes() int {
	sum := 0
	for i := range s.items {
		if s.off[s.items[i].day] {
			sum += s.items[i].minutes
		}
	}
	return sum
}

func (s *solver) snapshot() []int {
	days := make([]int, len(s.items))
	for i := range s.items {
		days[i] = s.items[i].day
	}
	return days
}

func (s *solver) restore(days []int) {
	for i, d := range days {
		s.move(&s.items[i], d)
	}
}

func (s *solver) move(it *item, day int) {
	s.load[it.day] -= it.minutes
	it.day = day
	s.load[day] += it.minutes
}

// descend reroutes all chains again and again, until no chain gets cheaper.
func (s *solver) descend() {
	for range mostPasses {
		changed := false
		for _, c := range s.chains {
			if s.reroute(c, false) {
				changed = true
			}
		}
		if !changed || s.search.looked >= most {
			return
		}
	}
}

// reroute puts the tasks of a chain on the days with the least cost while all
// other tasks stay, and reports whether any task moved. Unless forced is set,
// the tasks move only if the new days cost less than the present ones. A chain
// without a possible choice of days stays.
func (s *solver) reroute(c []int, forced bool) bool {
	r := &s.search
	r.cost, r.from, r.at, r.days = r.cost[:0], r.from[:0], r.at[:0], r.days[:0]
	was := int64(0)
	for _, i := range c {
		it := &s.items[i]
		s.load[it.day] -= it.minutes
	}
	for _, i := range c {
		it := &s.items[i]
		was += s.charge(it, it.day)
	}
	for j, i := range c {
		it := &s.items[i]
		r.at = append(r.at, len(r.cost))
		for d := it.from; d <= it.to; d++ {
			cost, from := int64(math.MaxInt64), int32(-1)
			if s.allowed(it, d) && d != r.banned {
				if j == 0 {
					cost = 0
				} else {
					before := &s.items[c[j-1]]
					at := r.at[j-1] - before.from
					for b := max(before.from, d-it.most); b <= min(before.to, d-it.least); b++ {
						if r.cost[at+b] < cost {
							cost, from = r.cost[at+b], int32(b)
						}
					}
				}
				if cost < math.MaxInt64 {
					cost += s.charge(it, d)
				}
			}
			r.cost, r.from = append(r.cost, cost), append(r.from, from)
			r.looked++
		}
	}
	last := &s.items[c[len(c)-1]]
	best, day := int64(math.MaxInt64), -1
	for d := last.from; d <= last.to; d++ {
		if cost := r.cost[r.at[len(c)-1]+d-last.from]; cost < best {
			best, day = cost, d
		}
	}
	if day < 0 || !forced && best >= was {
		for _, i := range c {
			s.load[s.items[i].day] += s.items[i].minutes
		}
		return false
	}
	for j := len(c) - 1; j >= 0; j-- {
		r.days = append(r.days, day)
		it := &s.items[c[j]]
		day = int(r.from[r.at[j]+day-it.from])
	}
	moved := false
	for j, i := range c {
		it, d := &s.items[i], r.days[len(c)-1-j]
		moved = moved || d != it.day
		it.day = d
		s.load[d] += it.minutes
	}
	return moved
}

// clear tries, for one chain after another, to take its task off the heaviest
// day and to let the other chains make room. It keeps the first try that leaves
// fewer days as heavy or lowers the heaviest day, and reports whether there was
// one.
func (s *solver) clear() bool {
	peak, height, off := s.peak(), s.height(), s.offMinutes()
	before := s.snapshot()
	for _, c := range s.chains {
		i := slices.IndexFunc(c, func(i int) bool { return s.load[s.items[i].day] == peak })
		if i < 0 {
			continue
		}
		s.search.banned = s.items[c[i]].day
		moved := s.reroute(c, true)
		s.search.banned = -1
		if !moved {
			continue
		}
		// The chain itself stays until the others have made room.
		for _, other := range s.chains {
			if other[0] != c[0] {
				s.reroute(other, false)
			}
		}
		s.descend()
		if p := s.peak(); (p < peak || p == peak && s.height() < height) && s.offMinutes() <= off {
			return true
		}
		s.restore(before)
		if s.search.looked >= most {
			break
		}
	}
	return false
}

// tryAll lowers the heaviest day by trying all days of all tasks, the longest
// tasks first. If there are too many choices, it gives up.
func (s *solver) tryAll(bound int) {
	chains := slices.Clone(s.chains)
	slices.SortStableFunc(chains, func(a, b []int) int { return s.items[b[0]].minutes - s.items[a[0]].minutes })
	order := slices.Concat(chains...)
	tries := 0
	for s.peak() > bound+bound/enough {
		before, load, most := s.snapshot(), slices.Clone(s.load), s.peak()-1
		for i := range s.items {
			s.load[s.items[i].day] -= s.items[i].minutes
		}
		var fits func(n int) bool
		fits = func(n int) bool {
			if n == len(order) {
				return true
			}
			it := &s.items[order[n]]
			from, to := it.from, it.to
			if it.most > 0 {
				last := s.items[order[n-1]].day
				from, to = max(from, last+it.least), min(to, last+it.most)
			}
			for d := from; d <= to; d++ {
				if s.load[d]+it.minutes > most || !s.allowed(it, d) {
					continue
				}
				if tries++; tries > mostTries {
					return false
				}
				it.day = d
				s.load[d] += it.minutes
				if fits(n + 1) {
					return true
				}
				s.load[d] -= it.minutes
			}
			return false
		}
		off := s.offMinutes()
		if !fits(0) || s.offMinutes() > off {
			for i := range s.items {
				s.items[i].day = before[i]
			}
			copy(s.load, load)
			return
		}
	}
}
