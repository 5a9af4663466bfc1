package reply

import (
	"fmt"
	"slices"

	"nestround/notify"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

// maxPutOff is the largest number of days by which a task may be put off.
const maxPutOff = 60

// Resolve turns commands about tasks into acts, in the order of the text. The
// caller finds the entries that commands name by their tags. items are the
// numbered tasks that the commands refer to. on is the day of their round; "2
// days" and "friday" count from that day.
//
// It refuses only commands that can never be right: unknown numbers, putting
// off a pinned task, a finding that does not fit its task. If one number is
// refused, the other numbers of the command still count, except for "all but"
// and for a range with an unknown end: nobody knows which end was meant. The
// unknown numbers of a command are one refusal.
// Commands that contradict each other are all returned; tasks.Fold decides
// between them.
func Resolve(commands []Command, items []notify.Item, on civil.Date) (acts []tasks.Act, refused []Refused) {
	r := resolver{items: items, on: on}
	for _, c := range commands {
		r.command(c)
	}
	return r.acts, r.refused
}

type resolver struct {
	items   []notify.Item
	on      civil.Date
	acts    []tasks.Act
	refused []Refused
}

func (r *resolver) refuse(c Command, format string, args ...any) {
	r.refused = append(r.refused, Refused{shortened(c.String()), fmt.Sprintf(format, args...)})
}

func (r *resolver) item(n int) (notify.Item, bool) {
	i := slices.IndexFunc(r.items, func(it notify.Item) bool { return it.N == n })
	if i < 0 {
		return notify.Item{}, false
	}
	return r.items[i], true
}

// missing returns the reason why there are no tasks with these numbers.
func (r *resolver) missing(numbers ...int) string {
	if len(r.items) == 0 {
		return "there are no numbered tasks"
	}
	lo, hi := r.items[0].N, r.items[0].N
	for _, it := range r.items {
		lo, hi = min(lo, it.N), max(hi, it.N)
	}
	none := "there are no such numbers"
	if len(numbers) == 1 {
		none = fmt.Sprintf("there is no %d", numbers[0])
	}
	if lo == hi {
		return fmt.Sprintf("%s; the only number is %d", none, lo)
	}
	return fmt.Sprintf("%s; the numbers go from %d to %d", none, lo, hi)
}

func (r *resolver) command(c Command) {
	if c.Entry != "" {
		r.refuse(c, "there is no entry %s", c.Entry)
		return
	}
	if c.Record.ID != "" {
		r.record(c)
		return
	}
	switch c.Verb {
	case All, AllBut:
		r.all(c)
		return
	}
	until, ok := r.until(c)
	if !ok {
		return
	}
	for _, s := range c.ranges {
		for _, end := range []int{s.from, s.to} {
			if _, ok := r.item(end); !ok && slices.Contains(c.Numbers, end) {
				r.refuse(c, "%s; nothing was marked", r.missing(end))
				return
			}
		}
	}
	var unknown []int
	defer func() {
		if len(unknown) > 0 {
			c.Numbers = unknown
			r.refuse(c, "%s", r.missing(unknown...))
		}
	}()
	for _, n := range c.Numbers {
		one := c
		one.Numbers = []int{n}
		it, ok := r.item(n)
		if !ok {
			unknown = append(unknown, n)
			continue
		}
		if act := (tasks.Act{Text: c.String(), N: n, Task: it.Task, Until: until, Why: c.Why}); r.mark(&act, one, it) {
			r.acts = append(r.acts, act)
		}
	}
}

// until returns the day to which a command puts tasks off, or no date. ok is
// false if it refused the day.
func (r *resolver) until(c Command) (until civil.Date, ok bool) {
	if c.Verb != Later {
		return until, true
	}
	until = c.When.after(r.on)
	switch {
	case !until.After(r.on):
		r.refuse(c, "%s is not after %s", until, r.on)
	case until.Sub(r.on) > maxPutOff:
		r.refuse(c, "that is more than %d days ahead; change the routine in the books instead", maxPutOff)
	default:
		return until, true
	}
	return until, false
}

// mark adds to act what the command c says about a task. It returns false if it
// has refused the command.
func (r *resolver) mark(act *tasks.Act, c Command, it notify.Item) bool {
	f := c.Finding
	switch c.Verb {
	case Done:
		act.Mark = tasks.MarkDone
		act.Finding = finding.Done(asked(it))
	case Skip:
		act.Mark = tasks.Skip
	case Undo:
		act.Mark = tasks.Undo
	case Later:
		if it.Pinned {
			r.refuse(c, "%s", it.Kind.WhyPinned())
			return false
		}
		act.Mark = tasks.PutOff
	case Note:
		act.Finding = &f
	case Found:
		if why := finding.Misfit(&f, it.Scope, it.Kind); why != "" {
			r.refuse(c, "%s: %d is %q", why, act.N, it.Title)
			return false
		}
		finding.WithAsked(&f, asked(it))
		act.Finding = &f
		if !finding.LeavesOpen(&f) {
			act.Mark = tasks.MarkDone
		}
	}
	return true
}

func (r *resolver) all(c Command) {
	if len(r.items) == 0 {
		r.refuse(c, "there are no numbered tasks")
		return
	}
	for _, n := range c.Numbers {
		if _, ok := r.item(n); !ok {
			r.refuse(c, "%s; nothing was marked", r.missing(n))
			return
		}
	}
	marked := false
	for _, it := range r.items {
		if it.Moot || slices.Contains(c.Numbers, it.N) {
			continue
		}
		r.acts = append(r.acts, tasks.Act{Text: c.String(), N: it.N, Task: it.Task, Mark: tasks.MarkDone, Finding: finding.Done(asked(it))})
		marked = true
	}
	if !marked {
		r.refuse(c, "that leaves no task")
	}
}

// asked returns the details of a task that "done" confirms.
func asked(it notify.Item) finding.Asked { return finding.Asked{Packs: it.Packs, Mate: it.Mate} }

// record handles a command about a record of the books.
func (r *resolver) record(c Command) {
	act := tasks.Act{Text: c.String(), Task: tasks.NewKey(c.Record.ID, tasks.Unplanned, r.on.String())}
	f := c.Finding
	switch c.Verb {
	case Undo:
		act.Mark = tasks.Undo
	case Note:
		act.Finding = &f
	case Found:
		if why := finding.Misfit(&f, c.Record.Scope, ""); why != "" {
			r.refuse(c, "%s: %s is of kind %s", why, c.Record.ID, c.Record.Scope)
			return
		}
		act.Mark, act.Finding = tasks.MarkDone, &f
	}
	r.acts = append(r.acts, act)
}
