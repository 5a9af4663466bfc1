package workload_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// monday is a Monday.
var monday = civil.MustParse("2027-05-10")

// one is a task of some minutes on a day, counted from monday, with slack.
func one(name string, minutes, day, before, after int) tasks.Task {
	due := monday.AddDays(day)
	t := tasks.Task{
		Key: tasks.NewKey(husbandry.ID(name), "clean", due.String()), Subject: husbandry.ID(name), Routine: "clean",
		Due: due, Earliest: due.AddDays(-before), Latest: due.AddDays(after), Minutes: minutes, Status: tasks.Upcoming,
	}
	if before+after > 0 {
		t.Moves = tasks.Alone
	}
	return t
}

// chain is a routine that counts from the last time, as it is planned ahead.
func chain(name string, minutes, first, every, before, after, days int) (list []tasks.Task) {
	for n, day := 1, first; day < days; n, day = n+1, day+every {
		t := one(name, minutes, day, before, after)
		t.Key = tasks.NewKey(t.Subject, t.Routine, fmt.Sprint("first+", n))
		t.Moves = tasks.InChain
		list = append(list, t)
	}
	return list
}

func week(wishes workload.Wishes, list ...tasks.Task) workload.Problem {
	return workload.Problem{From: monday, To: monday.AddDays(6), Tasks: list, Wishes: wishes}
}

// Small cases whose best answer can be seen.
func TestDaysAreMadeEven(t *testing.T) {
	sunday := workload.Wishes{DaysOff: []time.Weekday{time.Sunday}}
	tests := []struct {
		name    string
		problem workload.Problem
		minutes []int // Monday to Sunday
		bound   int
	}{
		{"nothing to do", week(workload.Wishes{}), []int{0, 0, 0, 0, 0, 0, 0}, 0},
		{"one task stays on its day", week(workload.Wishes{}, one("E1", 10, 2, 2, 2)), []int{0, 0, 10, 0, 0, 0, 0}, 10},
		{"two on a day part", week(workload.Wishes{}, one("E1", 10, 2, 0, 1), one("E2", 10, 2, 0, 1)), []int{0, 0, 10, 10, 0, 0, 0}, 10},
		{"without slack they do not", week(workload.Wishes{}, one("E1", 10, 2, 0, 0), one("E2", 10, 2, 0, 0)), []int{0, 0, 20, 0, 0, 0, 0}, 20},
		{"round a heavy day", week(workload.Wishes{}, one("E1", 30, 3, 0, 0), one("E2", 10, 3, 1, 1), one("E3", 10, 3, 1, 1)), []int{0, 0, 10, 30, 10, 0, 0}, 30},
		{"three on two days cannot be even", week(workload.Wishes{}, one("E1", 10, 2, 0, 1), one("E2", 10, 2, 0, 1), one("E3", 10, 2, 0, 1)), []int{0, 0, 20, 10, 0, 0, 0}, 15},
		{"large and small ones", week(workload.Wishes{}, one("E1", 30, 0, 0, 2), one("E2", 20, 0, 0, 2), one("E3", 10, 0, 0, 2), one("E4", 30, 0, 0, 2)), []int{30, 30, 30, 0, 0, 0, 0}, 30},
		{"Sunday is free", week(sunday, one("E1", 10, 6, 1, 0), one("E2", 10, 5, 0, 0)), []int{0, 0, 0, 0, 0, 20, 0}, 20},
		{"where that is possible", week(sunday, one("E1", 10, 6, 0, 0)), []int{0, 0, 0, 0, 0, 0, 10}, 10},
		{"nobody needs less than is wished", week(workload.Wishes{Minutes: 20}, one("E1", 10, 2, 1, 1), one("E2", 10, 2, 1, 1)), []int{0, 0, 20, 0, 0, 0, 0}, 10},
		{"but no more", week(workload.Wishes{Minutes: 20}, one("E1", 10, 2, 1, 1), one("E2", 10, 2, 1, 1), one("E3", 10, 2, 0, 0)), []int{0, 10, 20, 0, 0, 0, 0}, 10},
		{"two routines keep out of each other's way", week(workload.Wishes{}, append(chain("E1", 10, 1, 2, 0, 1, 7), chain("E2", 10, 1, 2, 0, 1, 7)...)...), []int{0, 10, 10, 10, 10, 10, 10}, 10},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := workload.Solve(tt.problem)
			if !slices.Equal(s.Minutes, tt.minutes) || s.Bound != tt.bound {
				t.Errorf("minutes %v, bound %d; want %v, %d", s.Minutes, s.Bound, tt.minutes, tt.bound)
			}
		})
	}
}

func TestOverdueAndFarTasksStay(t *testing.T) {
	late, far := one("E1", 10, -3, 1, 1), one("E2", 10, 9, 5, 5)
	s := workload.Solve(week(workload.Wishes{}, late, far))
	if s.Days[0] != monday || !s.Days[1].IsZero() || s.Minutes[0] != 10 || s.Peak != 10 {
		t.Errorf("days %v, minutes %v", s.Days, s.Minutes)
	}
}

func anyProblem(t *rapid.T, most, days int) workload.Problem {
	p := workload.Problem{From: monday, To: monday.AddDays(days - 1)}
	for d := range 7 {
		if rapid.IntRange(0, 5).Draw(t, "off") == 0 {
			p.Wishes.DaysOff = append(p.Wishes.DaysOff, time.Weekday(d))
		}
	}
	p.Wishes.Minutes = rapid.SampledFrom([]int{0, 0, 0, 15}).Draw(t, "wish")
	for i := range rapid.IntRange(0, most).Draw(t, "routines") {
		name, minutes := fmt.Sprint("E", i), rapid.IntRange(1, 12).Draw(t, "minutes")
		before, after := rapid.IntRange(0, 2).Draw(t, "before"), rapid.IntRange(0, 2).Draw(t, "after")
		day := rapid.IntRange(0, days-1).Draw(t, "day")
		if rapid.Bool().Draw(t, "chain") && before+after > 0 {
			p.Tasks = append(p.Tasks, chain(name, minutes, day, max(before+1, rapid.IntRange(1, 4).Draw(t, "every")), before, after, days)...)
		} else {
			p.Tasks = append(p.Tasks, one(name, minutes, day, before, after))
		}
	}
	return p
}

func TestEveryPlanKeepsTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProblem(t, 12, rapid.IntRange(1, 20).Draw(t, "days"))
		given := slices.Clone(p.Tasks)
		s := workload.Solve(p)
		if !slices.EqualFunc(given, p.Tasks, func(a, b tasks.Task) bool { return a.Key == b.Key && a.Due == b.Due }) {
			t.Fatal("the caller's tasks were changed")
		}
		sum, total := make([]int, len(s.Minutes)), 0
		for i, x := range p.Tasks {
			day := s.Days[i]
			follows := i > 0 && x.Moves == tasks.InChain && p.Tasks[i-1].Subject == x.Subject
			if !follows && (day.Before(x.Earliest) || day.After(x.Latest)) || day.Before(p.From) || day.After(p.To) {
				t.Fatalf("%s of %s to %s is on %s", x.Key, x.Earliest, x.Latest, day)
			}
			if x.Moves == tasks.Never && day != x.Due {
				t.Fatalf("%s of %s moved to %s", x.Key, x.Due, day)
			}
			if follows {
				was := p.Tasks[i-1]
				gap, every := day.Sub(s.Days[i-1]), x.Due.Sub(was.Due)
				far := every
				for d := p.From; !d.After(x.Due); d = d.AddDays(1) {
					if p.Wishes.Off(d) {
						far++
					}
				}
				if away := day.Sub(x.Due); max(away, -away) > max(far, x.Latest.Sub(x.Earliest)) {
					t.Fatalf("%s of %s is on %s, more than an interval away", x.Key, x.Due, day)
				}
				if gap < max(1, every-x.Due.Sub(x.Earliest)) || gap > every+x.Latest.Sub(x.Due) {
					t.Fatalf("%s comes %d days after the one before, which is every %d days", x.Key, gap, every)
				}
			}
			if x.Moves == tasks.Alone && p.Wishes.Off(day) {
				for d := civil.Max(p.From, x.Earliest); !d.After(civil.Min(p.To, x.Latest)); d = d.AddDays(1) {
					if !p.Wishes.Off(d) {
						t.Fatalf("%s is on a day off, %s, and might be on %s", x.Key, day, d)
					}
				}
			}
			sum[day.Sub(p.From)] += x.Minutes
			total += x.Minutes
		}
		if !slices.Equal(sum, s.Minutes) || s.Peak != slices.Max(sum) {
			t.Fatalf("minutes %v, peak %d; they are %v", s.Minutes, s.Peak, sum)
		}
		for _, m := range s.Minutes {
			total -= m
		}
		if total != 0 || s.Peak < s.Bound || s.Gap() < 0 {
			t.Fatalf("%d minutes lost, peak %d, bound %d", total, s.Peak, s.Bound)
		}
		// What was found is measured no better than it could be.
		for i := range p.Tasks {
			by := s.Days[i].Sub(p.Tasks[i].Due)
			p.Tasks[i].Due = s.Days[i]
			if x := &p.Tasks[i]; x.Due.Before(x.Earliest) || x.Due.After(x.Latest) {
				x.Earliest, x.Latest = x.Earliest.AddDays(by), x.Latest.AddDays(by)
			}
		}
		if l := workload.Measure(p); l.Peak != s.Peak || l.Bound > l.Peak {
			t.Fatalf("measured peak %d, bound %d; the solution says %d, %d", l.Peak, l.Bound, s.Peak, s.Bound)
		}
	})
}

func TestTheOrderOfTasksDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProblem(t, 12, 14)
		days := func() map[tasks.Key]civil.Date {
			m := make(map[tasks.Key]civil.Date)
			for i, d := range workload.Solve(p).Days {
				m[p.Tasks[i].Key] = d
			}
			return m
		}
		want := days()
		p.Tasks = slices.Clone(p.Tasks)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1)).Shuffle(len(p.Tasks), func(i, j int) { p.Tasks[i], p.Tasks[j] = p.Tasks[j], p.Tasks[i] })
		for k, d := range days() {
			if want[k] != d {
				t.Fatalf("%s on %s, and in another order on %s", k, want[k], d)
			}
		}
	})
}

// best tries everything: the lightest heaviest day there is.
func best(p workload.Problem) int {
	load := make([]int, p.To.Sub(p.From)+1)
	least := -1
	var try func(i, peak int)
	days := make([]civil.Date, len(p.Tasks))
	try = func(i, peak int) {
		if least >= 0 && peak >= least {
			return
		}
		if i == len(p.Tasks) {
			least = peak
			return
		}
		x := p.Tasks[i]
		from, to := x.Earliest, x.Latest
		if x.Moves == tasks.InChain && i > 0 && p.Tasks[i-1].Subject == x.Subject {
			shift, every := days[i-1].Sub(p.Tasks[i-1].Due), x.Due.Sub(p.Tasks[i-1].Due)
			from, to = civil.Max(from.AddDays(shift), days[i-1].AddDays(1)), to.AddDays(shift)
			from, to = civil.Max(from, x.Due.AddDays(-max(every, x.Due.Sub(x.Earliest)))), civil.Min(to, x.Due.AddDays(max(every, x.Latest.Sub(x.Due))))
		}
		for d := civil.Max(from, p.From); !d.After(civil.Min(to, p.To)); d = d.AddDays(1) {
			days[i] = d
			load[d.Sub(p.From)] += x.Minutes
			try(i+1, max(peak, load[d.Sub(p.From)]))
			load[d.Sub(p.From)] -= x.Minutes
		}
	}
	try(0, 0)
	return least
}

// Of small books the heaviest day is the lightest there is.
func TestSmallBooksAreSolvedAsWellAsByTryingEverything(t *testing.T) {
	const books = 2000
	for seed := range uint64(books) {
		rnd := rand.New(rand.NewPCG(seed, 3))
		p := workload.Problem{From: monday, To: monday.AddDays(5)}
		for i := range 2 + rnd.IntN(4) {
			name, minutes, before, after := fmt.Sprint("E", i), 1+rnd.IntN(9), rnd.IntN(3), rnd.IntN(3)
			if rnd.IntN(2) == 0 && before+after > 0 {
				p.Tasks = append(p.Tasks, chain(name, minutes, rnd.IntN(4), max(before+1, 2+rnd.IntN(2)), before, after, 6)...)
			} else {
				p.Tasks = append(p.Tasks, one(name, minutes, rnd.IntN(6), before, after))
			}
		}
		s, b := workload.Solve(p), best(p)
		if s.Peak != b || s.Bound > b {
			t.Fatalf("seed %d: peak %d, bound %d; the best is %d", seed, s.Peak, s.Bound, b)
		}
	}
}

// The bound is what cutting tasks into pieces would allow: the smallest peak
// under which the greatest flow from tasks to days takes all minutes along.
func TestTheBoundIsThatOfAFlow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 9).Draw(t, "days")
		p := workload.Problem{From: monday, To: monday.AddDays(days - 1)}
		whole := 0 // no day can be lighter than the lightest place of one task
		fixed := make([]int, days)
		for i := range rapid.IntRange(0, 10).Draw(t, "tasks") {
			x := one(fmt.Sprint("E", i), rapid.IntRange(1, 9).Draw(t, "minutes"), rapid.IntRange(0, days-1).Draw(t, "day"), rapid.IntRange(0, 3).Draw(t, "before"), rapid.IntRange(0, 3).Draw(t, "after"))
			p.Tasks = append(p.Tasks, x)
			if x.Moves == tasks.Never {
				fixed[x.Due.Sub(monday)] += x.Minutes
			}
		}
		peak := 0
		for !flows(p, peak) {
			peak++
		}
		for _, x := range p.Tasks {
			if x.Moves == tasks.Never {
				continue
			}
			lightest := -1
			for d := max(0, x.Earliest.Sub(monday)); d <= min(days-1, x.Latest.Sub(monday)); d++ {
				if lightest < 0 || fixed[d] < lightest {
					lightest = fixed[d]
				}
			}
			whole = max(whole, lightest+x.Minutes)
		}
		if got := workload.Solve(p).Bound; got != max(peak, whole) {
			t.Fatalf("bound %d; a flow needs %d, and a whole task %d", got, peak, whole)
		}
	})
}

// flows reports whether all minutes fit under a peak, by augmenting paths of
// one minute from tasks to days (Ford and Fulkerson 1956).
func flows(p workload.Problem, peak int) bool {
	n := p.To.Sub(p.From) + 1
	on := make([]map[int]int, n) // minutes by task
	room := make([]int, n)
	for d := range on {
		on[d], room[d] = make(map[int]int), peak
	}
	reach := func(i, d int) bool {
		x := p.Tasks[i]
		day := p.From.AddDays(d)
		return x.Moves != tasks.Never && !day.Before(x.Earliest) && !day.After(x.Latest) || x.Moves == tasks.Never && day == x.Due
	}
	var augment func(i int, seen []bool) bool
	augment = func(i int, seen []bool) bool {
		for d := range n {
			if seen[d] || !reach(i, d) {
				continue
			}
			seen[d] = true
			if room[d] > 0 {
				room[d]--
				on[d][i]++
				return true
			}
			for j := range p.Tasks {
				if on[d][j] > 0 && j != i && augment(j, seen) {
					on[d][j]--
					on[d][i]++
					return true
				}
			}
		}
		return false
	}
	for i, x := range p.Tasks {
		for range x.Minutes {
			if !augment(i, make([]bool, n)) {
				return false
			}
		}
	}
	return true
}
