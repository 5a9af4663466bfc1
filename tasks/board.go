package tasks

import (
	"cmp"
	"slices"

	"nestround/tasks/civil"
)

// Board is the numbered list of one day's tasks, each with its outcome so far.
type Board struct {
	On civil.Date
	// Rows has the alarms first, then the overdue tasks, then the rounds in
	// walking order, and last the tasks that lapsed since the day before.
	// Lapsed tasks have no number.
	Rows []Row
	// Moot has the tasks of the morning that a finding at another task made
	// unnecessary. They are not shown, but they keep their numbers all day, so
	// that a keeper who did such a task may still report it.
	Moot []Row
}

// Row is one task of a board.
type Row struct {
	// N is the number for replies, from 1. A lapsed task has 0.
	N int
	Task
	// Late says that the task was overdue when the day began, or is overdue
	// now. Late remains set after the task is done.
	Late bool
	// Urgent says that the task was an alarm when the day began, or is an alarm
	// now (see [Task.Alarm]). Urgent remains set after the task is done.
	Urgent bool
}

// NewBoard joins two plans of a day: the plan at the start of the day and the
// current plan. A task that was marked today is no longer in the current plan,
// because its routine moves on. It stays on the board with its mark. Tasks that
// follow from today's findings appear behind the others. So a number stays with
// its task all day: the tasks of the first plan are numbered first, in order,
// and later tasks get the next numbers.
//
// numbered has the keys in the order of the numbers that a digest already sent
// to the keeper; index 0 has number 1. It may be nil.
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
	// A marked task keeps its place of the morning, so that the list does not
	// move while the keeper marks tasks on a screen.
	rank := make(map[Key]int, len(number))
	show := func(t Task) {
		if _, shown := rank[t.Key]; shown {
			return
		}
		rank[t.Key] = boardRank(t)
		row := Row{N: number[t.Key], Task: t, Late: t.Status == Overdue, Urgent: t.Alarm()}
		// Nobody can have marked a task of this day long ago, so the search for
		// marks goes back only boardReach days.
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

// boardReach is the number of days before the board's day on which its tasks
// may have been marked. It is longer than a task can be put off, and longer
// than a task can be done ahead of its date.
const boardReach = 2 * maxDayDrift

func byBoard(t, u Task) int {
	return cmp.Or(boardRank(t)-boardRank(u), Before(t, u))
}

// boardRank returns the place of a task among the groups of a board: alarms
// first, overdue tasks second, other tasks next, lapsed tasks last.
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

// Open returns the rows with tasks that are still to do.
func (b *Board) Open() []Row {
	var open []Row
	for _, r := range b.Rows {
		if r.Status == Due || r.Status == Overdue {
			open = append(open, r)
		}
	}
	return open
}
