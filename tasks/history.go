package tasks

import (
	"slices"
	"strings"
	"sync"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// History is what the daybook adds up to. It answers what became of a task,
// when a routine was last done for a subject, and what was found, as the
// entries before a cut-off day tell it. Make one with [Fold]; it is not
// changed afterwards, but it remembers answers, so it is not safe for
// concurrent use (make one [History.Before] for each goroutine).
type History struct {
	*folded
	cut  civil.Date // entries on or after it do not count; zero: all count
	memo []*tail    // by number of the pair, once asked for
	seen []Found    // answer of Found, once asked for
}

// folded is the part of a history that all its cut-offs share.
type folded struct {
	acts    []applied        // in order of At, then entry id, then text order
	pairs   map[string]int32 // "subject/routine" to its number
	ofPair  [][]int32        // a pair's acts
	undone  map[Key][]int32  // undo acts
	findful []findful        // acts with a finding that changes plans
	found   int              // tasks with such a finding
	dropped map[string][]Dropped
	first   civil.Date
	latest  civil.Date     // last day anything is said for
	all     func() []Found // Found without a cut-off, worked out once
}

// findful is an act with a finding that changes plans, and the number of its
// task among those that have one.
type findful struct{ act, task int32 }

type applied struct {
	*Act // of the entry
	on   civil.Date
	by   string
	// reach is the latest day that this act or an older one of its pair is
	// for: looking back may stop where it is before the days asked about.
	reach civil.Date
	// since is the day the mark counts from: on, or the day of the same mark
	// that this one repeats.
	since civil.Date
}

// repeatsWithin is how many acts of one pair a repetition is looked for among;
// what repeats older ones is found when a question reaches back to them.
const repeatsWithin = 8

// Dropped is an act of an accepted entry that took no effect, and why.
type Dropped struct {
	Act Act
	Why string // "" for a repeated line of an earlier reply, which changes nothing
}

// Reasons that a person is told.
const (
	WhyConflict  = "the same mail says two different things of this task"
	WhyAfterUndo = "this line stood in an earlier reply and was taken back since; say it again in a mail of its own"
	maxDayDrift  = 60 // days between an entry's moment and the day it is for
)

// Fold adds entries up. It takes them in any order, and any of them more than
// once: entries count by when the keeper said them (At, then ID), an ID counts
// once, and so the same set of entries always gives the same history.
//
// Within one task the last word counts, except that repeating "done" keeps
// the first date; an undo takes back every mark and finding before it. A mail
// that repeats a command line of an earlier mail about the same digest is
// quoting it, as programs that quote without marks do, and that line takes no
// effect. Two different marks of one task in one mail cancel each other. Both
// are listed by Dropped.
func Fold(entries []Entry) *History {
	sorted := entries
	byTime := func(a, b Entry) int {
		if c := a.At.Compare(b.At); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	}
	if !slices.IsSortedFunc(entries, byTime) {
		sorted = slices.Clone(entries)
		slices.SortStableFunc(sorted, byTime)
	}
	f := &folded{
		acts:    make([]applied, 0, len(sorted)),
		pairs:   make(map[string]int32),
		undone:  make(map[Key][]int32),
		dropped: make(map[string][]Dropped),
	}
	numbers := make(map[Key]int32) // of tasks with findings that change plans
	type line struct{ digest, text string }
	quoted := make(map[line]bool)
	for i, e := range sorted {
		// Repetitions have equal times and ids, and so stand side by side.
		if i > 0 && sorted[i-1].ID == e.ID && sorted[i-1].At.Equal(e.At) {
			continue
		}
		acts := e.Acts
		if e.Via == ViaMail && e.Digest != "" {
			isQuote := func(a Act) bool { return quoted[line{e.Digest, a.Text}] }
			// Where nothing is new, nothing is a quote: somebody says it again.
			if slices.ContainsFunc(acts, func(a Act) bool { return !isQuote(a) }) && slices.ContainsFunc(acts, isQuote) {
				acts = nil
				for _, a := range e.Acts {
					if !isQuote(a) {
						acts = append(acts, a)
						continue
					}
					why := ""
					if len(f.undone[a.Task]) > 0 && a.Mark != Undo {
						why = WhyAfterUndo
					}
					f.dropped[e.ID] = append(f.dropped[e.ID], Dropped{a, why})
				}
			}
			for _, a := range acts {
				quoted[line{e.Digest, a.Text}] = true
			}
		}
		if len(acts) > 1 {
			acts = f.withoutConflicts(e, acts)
		}
		on := e.On
		if said := civil.Of(e.At, e.At.Location()); on.IsZero() || on.Sub(said) > maxDayDrift || said.Sub(on) > maxDayDrift {
			on = said
		}
		for i := range acts {
			f.add(applied{Act: &acts[i], on: on, by: e.By}, numbers)
		}
		f.first, f.latest = civil.Min(f.first, on), civil.Max(f.latest, on)
	}
	f.found = len(numbers)
	f.all = sync.OnceValue((&History{folded: f}).find)
	return &History{folded: f}
}

func (f *folded) withoutConflicts(e Entry, acts []Act) []Act {
	said := make(map[Key]Verb, len(acts))
	conflict := make(map[Key]bool)
	for _, a := range acts {
		if a.Mark == "" {
			continue
		}
		if v, ok := said[a.Task]; ok && v != a.Mark {
			conflict[a.Task] = true
		}
		said[a.Task] = a.Mark
	}
	if len(conflict) == 0 {
		return acts
	}
	var kept []Act
	for _, a := range acts {
		if conflict[a.Task] {
			f.dropped[e.ID] = append(f.dropped[e.ID], Dropped{a, WhyConflict})
			continue
		}
		kept = append(kept, a)
	}
	return kept
}

func (f *folded) add(a applied, numbers map[Key]int32) {
	i := int32(len(f.acts))
	f.acts = append(f.acts, a)
	p := a.Task.pair()
	pair, ok := f.pairs[p]
	if !ok {
		pair = int32(len(f.ofPair))
		f.pairs[p] = pair
		f.ofPair = append(f.ofPair, nil)
	}
	older := f.ofPair[pair]
	if a.reach = a.on; len(older) > 0 {
		a.reach = civil.Max(a.on, f.acts[older[len(older)-1]].reach)
	}
	a.since = a.on
	for _, j := range slices.Backward(older[max(0, len(older)-repeatsWithin):]) {
		if p := &f.acts[j]; p.Mark != "" && p.Task == a.Task {
			if p.Mark == a.Mark && (a.Mark == MarkDone || a.Mark == Skip) && !p.on.After(a.on) {
				a.since = p.since
			}
			break
		}
	}
	f.acts[i] = a
	f.ofPair[pair] = append(older, i)
	if a.Mark == Undo {
		f.undone[a.Task] = append(f.undone[a.Task], i)
	}
	if a.Finding != nil && finding.Plans(a.Finding) {
		task, ok := numbers[a.Task]
		if !ok {
			task = int32(len(numbers))
			numbers[a.Task] = task
		}
		f.findful = append(f.findful, findful{i, task})
	}
}

// pair returns the part of the key that all occurrences share.
func (k Key) pair() string {
	if i := strings.LastIndexByte(string(k), '/'); i > 0 {
		return string(k[:i])
	}
	return string(k)
}

// Before returns the history as it stood when day began: entries for that day
// or later do not count. The zero date lifts the limit.
func (h *History) Before(day civil.Date) *History {
	return &History{folded: h.folded, cut: day}
}

// First returns the first day anything is recorded for, or no date.
func (h *History) First() civil.Date { return h.first }

// Dropped returns the acts of an entry that took no effect.
func (h *History) Dropped(entryID string) []Dropped { return h.dropped[entryID] }

func (h *History) counts(i int32) bool {
	return h.cut.IsZero() || h.acts[i].on.Before(h.cut)
}

// Outcome is what became of a task.
type Outcome struct {
	Mark  Verb       // MarkDone, Skip, PutOff, or "" for nothing yet
	On    civil.Date // the day it was done or skipped
	Until civil.Date // of PutOff
	Why   string
	By    string
}

// tail is what is known of one pair's tasks, worked out from the newest act
// backwards only as far as it was asked for: a daily routine's years are long
// and a plan looks at its last weeks.
type tail struct {
	rest     []int32 // acts not looked at yet
	outcomes []outcome
	at       map[Key]int32 // index of a task's outcome; nil while there are few
	last     civil.Date    // answer of LastDone, once asked for
	asked    bool
}

type outcome struct {
	Outcome
	task    Key
	again   civil.Date // the latest day for which the same was said of it
	settled bool       // older acts of this task change nothing
}

// few outcomes are found by looking at each.
const few = 8

func (t *tail) of(k Key) (*outcome, bool) {
	if t.at != nil {
		i, ok := t.at[k]
		if !ok {
			return nil, false
		}
		return &t.outcomes[i], true
	}
	for i := range t.outcomes {
		if t.outcomes[i].task == k {
			return &t.outcomes[i], true
		}
	}
	return nil, false
}

func (t *tail) add(o outcome) {
	t.outcomes = append(t.outcomes, o)
	switch n := len(t.outcomes); {
	case t.at != nil:
		t.at[o.task] = int32(n - 1)
	case n > few:
		t.at = make(map[Key]int32, 4*few)
		for i := range t.outcomes {
			t.at[t.outcomes[i].task] = int32(i)
		}
	}
}

func (h *History) tail(pair string) *tail {
	i, ok := h.pairs[pair]
	if !ok {
		return &tail{} // nobody ever spoke of it
	}
	if h.memo == nil {
		h.memo = make([]*tail, len(h.ofPair))
	}
	if h.memo[i] == nil {
		h.memo[i] = &tail{rest: h.ofPair[i]}
	}
	return h.memo[i]
}

// step looks at one more act and reports whether there was one.
func (t *tail) step(h *History) bool {
	if len(t.rest) == 0 {
		return false
	}
	i := t.rest[len(t.rest)-1]
	t.rest = t.rest[:len(t.rest)-1]
	a := &h.acts[i]
	if a.Mark == "" || !h.counts(i) {
		return true
	}
	o, ok := t.of(a.Task)
	switch {
	case !ok:
		first := outcome{Outcome{a.Mark, a.since, a.Until, a.Why, a.by}, a.Task, a.on, a.Mark == PutOff || a.Mark == Undo}
		if a.Mark == Undo {
			first.Outcome = Outcome{}
		}
		t.add(first)
	case o.settled:
	case o.Mark == a.Mark:
		o.On, o.By = a.since, a.by
		o.again = civil.Max(o.again, a.on)
	default:
		o.settled = true
	}
	return true
}

// Outcome returns what became of the task with key k.
func (h *History) Outcome(k Key) Outcome {
	t := h.tail(k.pair())
	for {
		if o, ok := t.of(k); ok && o.settled {
			return o.Outcome
		}
		if !t.step(h) {
			break
		}
	}
	if o, ok := t.of(k); ok {
		return o.Outcome
	}
	return Outcome{}
}

// DoneDays returns the days from since on, inclusive, on which the routine was
// done for the subject, ascending; a day on which it was done twice counts
// twice.
func (h *History) DoneDays(subject, routine husbandry.ID, since civil.Date) []civil.Date {
	return h.Marks(subject, routine).DoneDays(since)
}

// LastDone returns the last day on which the routine was done for the
// subject, or no date.
func (h *History) LastDone(subject, routine husbandry.ID) civil.Date {
	return h.Marks(subject, routine).LastDone()
}

// Marks is the part of a history that is about one routine for one subject,
// for who asks more than once.
type Marks struct {
	h *History
	t *tail
}

// Marks returns what was said of a routine's tasks for a subject.
func (h *History) Marks(subject, routine husbandry.ID) Marks {
	return Marks{h, h.tail(string(subject) + "/" + string(routine))}
}

// OutcomeSince is History.Outcome for a task of these of which nobody can have
// spoken before the day since: it looks back no further, where Outcome reads
// the years of a daily routine to the end to say that a task is still open.
func (m Marks) OutcomeSince(k Key, since civil.Date) Outcome {
	m.t.extend(m.h, since)
	if o, ok := m.t.of(k); ok {
		return o.Outcome
	}
	return Outcome{}
}

// Ahead reports whether, since a day, anything was said of a task whose
// occurrence is a date after another day.
func (m Marks) Ahead(after, since civil.Date) bool {
	m.t.extend(m.h, since)
	limit := after.String()
	for i := range m.t.outcomes {
		task := string(m.t.outcomes[i].task)
		if task[strings.LastIndexByte(task, '/')+1:] > limit {
			return true
		}
	}
	return false
}

// DoneDays is History.DoneDays.
func (m Marks) DoneDays(since civil.Date) []civil.Date {
	m.t.extend(m.h, since)
	var days []civil.Date
	for i := range m.t.outcomes {
		if o := &m.t.outcomes[i]; o.Mark == MarkDone && !o.On.Before(since) {
			days = append(days, o.On)
		}
	}
	slices.SortFunc(days, civil.Date.Compare)
	return days
}

// LastDone is History.LastDone.
func (m Marks) LastDone() civil.Date {
	t := m.t
	if t.asked {
		return t.last
	}
	best := func() (last civil.Date) {
		for i := range t.outcomes {
			if o := &t.outcomes[i]; o.Mark == MarkDone {
				last = civil.Max(last, o.On)
			}
		}
		return last
	}
	last := best()
	for last.IsZero() && len(t.rest) > 0 {
		task := m.h.acts[t.rest[len(t.rest)-1]].Task
		t.step(m.h)
		if o, ok := t.of(task); ok && o.Mark == MarkDone {
			last = o.On
		}
	}
	if !last.IsZero() {
		t.extend(m.h, last)
		last = best()
	}
	t.last, t.asked = last, true
	return last
}

// LastSaid returns the last day for which anybody said that the routine was
// done for the subject, or no date. It is never before LastDone, and after it
// where a task was said to be done on one day and later said to be done on
// another: one of the two may be a slip, or it was done twice, and what must
// not be done twice in a few days reckons with the later day.
func (m Marks) LastSaid() civil.Date {
	last := m.LastDone() // all that is for this day or later has been read now
	for i := range m.t.outcomes {
		if o := &m.t.outcomes[i]; o.Mark == MarkDone {
			last = civil.Max(last, o.again)
		}
	}
	return last
}

// extend looks back until no older act is for a day from since on.
func (t *tail) extend(h *History, since civil.Date) {
	for len(t.rest) > 0 && !h.acts[t.rest[len(t.rest)-1]].reach.Before(since) {
		t.step(h)
	}
}

// Found is what was found at one task, all its entries taken together.
type Found struct {
	Task    Key
	On      civil.Date // the day it was first reported for
	Finding Finding
	By      string
}

// Found returns every finding that can change a plan (all but notes), not taken
// back, in the order they were first reported. The caller
// leaves the list as it is.
func (h *History) Found() []Found {
	switch {
	case h.cut.IsZero() || h.cut.After(h.latest):
		return h.all()
	case h.seen == nil:
		h.seen = h.find()
	}
	return h.seen
}

func (h *History) find() []Found {
	seen := make([]Found, 0, h.found)
	at := make([]int32, h.found) // a task's place in seen, plus one
	for _, g := range h.findful {
		a := &h.acts[g.act]
		if !h.counts(g.act) || len(h.undone) > 0 && h.takenBack(a.Task, g.act) {
			continue
		}
		if at[g.task] == 0 {
			seen = append(seen, Found{Task: a.Task, On: a.on, By: a.by, Finding: *a.Finding})
			at[g.task] = int32(len(seen))
			continue
		}
		finding.Merge(&seen[at[g.task]-1].Finding, a.Finding)
	}
	byDay := func(a, b Found) int { return a.On.Compare(b.On) }
	if !slices.IsSortedFunc(seen, byDay) {
		slices.SortStableFunc(seen, byDay)
	}
	return seen
}

// Standing returns what is said of the task with key k and was not taken back:
// its mark, and all that was found and noted together. said is false where
// that is nothing.
func (h *History) Standing(k Key) (o Outcome, f Finding, said bool) {
	pair, ok := h.pairs[k.pair()]
	if !ok {
		return o, f, false
	}
	for _, i := range h.ofPair[pair] {
		a := &h.acts[i]
		if a.Task != k || a.Mark == Undo || !h.counts(i) || h.takenBack(k, i) {
			continue
		}
		if said = true; a.Finding != nil {
			finding.Merge(&f, a.Finding)
		}
	}
	return h.Outcome(k), f, said
}

// LastUnplanned returns the key under which something was last said of a
// record by its id, until a day and not taken back, or "".
func (h *History) LastUnplanned(subject husbandry.ID, until civil.Date) Key {
	pair, ok := h.pairs[string(subject)+"/"+string(Unplanned)]
	if !ok {
		return ""
	}
	for _, i := range slices.Backward(h.ofPair[pair]) {
		a := &h.acts[i]
		if a.Mark != Undo && !a.on.After(until) && h.counts(i) && !h.takenBack(a.Task, i) {
			return a.Task
		}
	}
	return ""
}

func (h *History) takenBack(k Key, i int32) bool {
	for _, u := range h.undone[k] {
		if u > i && h.counts(u) {
			return true
		}
	}
	return false
}
