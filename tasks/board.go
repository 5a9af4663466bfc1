package tasks

import (
	"cmp"
	"slices"

	"nestround/tasks/civil"
)

// Board is one day's tasks with what became of them, numbered.
type Board struct {
	On civil.Date
	// Rows are alarms first, then what is overdue, then the rounds in walking
	// order, then what lapsed since the day before, which has no numbers.
	Rows []Row
	// Moot are tasks of the morning that need not be done any more, because
	// something else that was found settled them. They are not shown, but their
	// numbers are theirs all day: whoever has done one may say so.
	Moot []Row
}

// Row is a task of a board.
type Row struct {
	// N is the number a reply uses, from 1; 0 for a task that lapsed.
	N int
	Task
	// Late says that the task was overdue when the day began, or is now; it
	// stays so when the task is done.
	Late bool
	// Urgent says the same of an alarm (see [Task.Alarm]).
	Urgent bool
}

// NewBoard joins the plan of a day as it stood when the day began with the
// plan as it stands now. A task that was marked today leaves the plan (its
// routine moves on), but stays on the board with its mark, and what a finding
// of today led to appears behind it. So a number, once given, stays with its
// task all day: numbers go by the first plan's order, and tasks that came
// later get the next ones.
//
// numbered, where it is not nil, gives the numbers that a digest has already
// told the keeper; index 0 is number 1.
func NewBoard(on civil.Date, morning, now []Task, h *History, numbered []Key) *Board {
	inOrder := func(list []Task) []Task {
		list = slices.Clone(list)
		slices.SortFunc(list, byBoard)
		return list
	}
	b := &Board{On: on}
	current := make(map[Key]Task, len(now))
	for _, t := range now {
		current[t.Key] = t
	}
	number := make(map[Key]int, len(morning))
	next := 0
	for _, k := range numbered {
		next++
		number[k] = next
	}
	for _, list := range [][]Task{inOrder(morning), inOrder(now)} {
		for _, t := range list {
			if t.Status == Lapsed {
				continue
			}
			if _, ok := number[t.Key]; !ok {
				next++
				number[t.Key] = next
			}
		}
	}
	// A task that is marked keeps the place it had this morning, so that the
	// board does not jump under the keeper's finger.
	rank := make(map[Key]int, len(number))
	show := func(t Task) {
		if _, shown := rank[t.Key]; shown {
			return
		}
		rank[t.Key] = boardRank(t)
		row := Row{N: number[t.Key], Task: t, Late: t.Status == Overdue, Urgent: t.Alarm()}
		// Nobody can have spoken of a task of this day's round long before it.
		switch o := h.marksAt(t.Key).OutcomeSince(t.Key, on.AddDays(-boardReach)); {
		case t.Status == Lapsed:
			row.N = 0
		case o.Mark == MarkDone:
			row.Status = Done
		case o.Mark == Skip:
			row.Status = Skipped
		case o.Mark == PutOff && o.Until.After(on):
			row.Status = Upcoming
			row.Due = o.Until
		default:
			if c, ok := current[t.Key]; ok {
				row.Task = c
			} else {
				b.Moot = append(b.Moot, row)
				return
			}
		}
		b.Rows = append(b.Rows, row)
	}
	for _, t := range morning {
		show(t)
	}
	for _, t := range now {
		show(t)
	}
	slices.SortFunc(b.Rows, func(a, c Row) int {
		return cmp.Or(rank[a.Key]-rank[c.Key], Before(a.Task, c.Task))
	})
	return b
}

// boardReach is how long before a day, in days, its tasks may have been marked:
// longer than a task can be put off, and than it may be done ahead of its date.
const boardReach = 2 * maxDayDrift

func byBoard(t, u Task) int {
	return cmp.Or(boardRank(t)-boardRank(u), Before(t, u))
}

// boardRank puts alarms first, then what is overdue, and what lapsed last.
func boardRank(t Task) int {
	switch {
	case t.Alarm():
		return 0
	case t.Status == Overdue:
		return 1
	case t.Status == Lapsed:
		return 3
	}
	return 2
}

// Open returns the rows that are still to be done.
func (b *Board) Open() []Row {
	var open []Row
	for _, r := range b.Rows {
		if r.Status == Due || r.Status == Overdue {
			open = append(open, r)
		}
	}
	return open
}
