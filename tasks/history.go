package tasks

import (
	"slices"
	"sync"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// History answers questions about the entries of the daybook: the outcome of a
// task, the last day on which a routine was done for a subject, and the
// findings. Only entries before a cut-off day count. [Fold] and [Folder.With]
// make a History. It never changes, and several goroutines may use it at once.
type History struct {
	*folded
	cut   civil.Date // entries for this day or later do not count; zero: all entries count
	found func() []Found
}

// Before returns the history as it was when day began: entries for that day or
// later do not count. The zero date removes the limit.
func (h *History) Before(day civil.Date) *History {
	b := &History{folded: h.folded, cut: day}
	b.found = sync.OnceValue(b.find)
	if day.IsZero() || day.After(h.latest) {
		b.found = h.all
	}
	return b
}

// First returns the first day anything is recorded for, or no date.
func (h *History) First() civil.Date { return h.first }

// Speaks reports whether any entry was ever for a day, even if the cut-off day
// now excludes that day.
func (h *History) Speaks(day civil.Date) bool { return h.days[day] || h.baseDays[day] }

// TakenBack reports whether an entry is taken back, and returns the id of an entry
// that takes it back.
func (h *History) TakenBack(entryID string) (by string, ok bool) {
	by, ok = h.gone[entryID]
	return by, ok
}

// Dropped returns the acts of an entry that took no effect.
func (h *History) Dropped(entryID string) []Dropped {
	if d, ok := h.dropped[entryID]; ok {
		return d
	}
	return h.baseDropped[entryID]
}

func (h *History) counts(a *act) bool { return h.cut.IsZero() || a.on.Before(h.cut) }

// marks reports whether a has a mark, and whether the mark is before the
// cut-off day.
func (h *History) marks(a *act) bool { return a.mark != noMark && h.counts(a) }

// Outcome is the latest mark of a task: what was done, on which day and by
// whom.
type Outcome struct {
	Mark  Verb       // MarkDone, Skip, PutOff, or "" for nothing yet
	On    civil.Date // the day on which the task was done or skipped
	Until civil.Date // only for PutOff
	Why   string
	By    string
}

// Outcome returns the outcome of the task with key k.
func (h *History) Outcome(k Key) Outcome {
	o, _ := h.outcome(h.newest(k))
	return o
}

// outcome returns the outcome of a task from its acts. i is the place of the
// task's newest act, plus one; 0 if there is none. again is the latest day of
// the last mark, if the keeper repeated that mark.
func (h *History) outcome(i int32) (o Outcome, again civil.Date) {
	for i > 0 && !h.marks(h.acts.at(i-1)) {
		i = h.acts.at(i - 1).before
	}
	if i == 0 {
		return o, again
	}
	last := h.acts.at(i - 1)
	if last.mark == markUndo {
		return o, again
	}
	o = Outcome{Mark: Verb(h.texts.of(last.mark)), On: last.on, By: h.texts.of(last.by)}
	if d := h.detail(last); d != nil {
		o.Until, o.Why = d.until, d.why
	}
	again = last.on
	if last.mark == markPutOff {
		return o, again
	}
	// A repeated mark keeps the date of the first one.
	for i = last.before; i > 0; i = h.acts.at(i - 1).before {
		a := h.acts.at(i - 1)
		if !h.marks(a) {
			continue
		}
		if a.mark != last.mark {
			break
		}
		o.On, o.By, again = a.on, h.texts.of(a.by), civil.Max(again, a.on)
	}
	return o, again
}

// DoneDays returns the days on which the routine was done for the subject, from
// since (inclusive) on, in ascending order. A day on which it was done twice is
// in the list twice.
func (h *History) DoneDays(subject, routine husbandry.ID, since civil.Date) []civil.Date {
	return h.Marks(subject, routine).DoneDays(since)
}

// LastDone returns the last day on which the routine was done for the
// subject, or no date.
func (h *History) LastDone(subject, routine husbandry.ID) civil.Date {
	return h.Marks(subject, routine).LastDone()
}

// Marks is the part of a history about one routine for one subject. A caller
// with several questions about that routine and subject looks the part up only
// once.
type Marks struct {
	h    *History
	pair int32 // number of the pair; below 0 if the pair has no acts
}

// Marks returns the part of the history about a routine for a subject.
func (h *History) Marks(subject, routine husbandry.ID) Marks {
	return h.marksOf(string(subject) + "/" + string(routine))
}

// marksAt is Marks for the routine and subject of a task.
func (h *History) marksAt(k Key) Marks {
	pair, _, _ := k.parts()
	return h.marksOf(pair)
}

func (h *History) marksOf(name string) Marks {
	if i, ok := h.names.number(name); ok {
		return Marks{h, i}
	}
	return Marks{h, -1}
}

// newest returns the place of the pair's newest act, plus one; 0 if there is
// none.
func (m Marks) newest() int32 {
	if m.pair < 0 {
		return 0
	}
	return m.h.pairs[m.pair].newest
}

// OutcomeSince is History.Outcome for a task of m that nobody can have marked
// before the day since. It is faster: for an open task Outcome reads all years
// of a daily routine, while OutcomeSince stops at since. If nobody marked the
// task for that day or later, the task is open. A task whose occurrence is no
// date, such as the very first task of a routine, is searched in full, because
// it may have been skipped long ago.
func (m Marks) OutcomeSince(k Key, since civil.Date) Outcome {
	_, text, ok := k.parts()
	task := absent
	if ok {
		task, ok = m.h.occurrenceOf(text)
	}
	if m.pair < 0 || !ok || task > m.h.pairs[m.pair].top[task.sort()] {
		return Outcome{}
	}
	if task.sort()<<sortShift != dated {
		since = civil.Date{}
	}
	newest := int32(0)
	for i := m.newest(); i > 0; {
		a := m.h.acts.at(i - 1)
		if a.reach.Before(since) {
			break
		}
		if a.task == task {
			if newest == 0 {
				newest = i
			}
			if m.h.marks(a) && !a.on.Before(since) {
				o, _ := m.h.outcome(newest)
				return o
			}
		}
		i = a.older
	}
	return Outcome{}
}

// Ahead reports whether any act that counts for the day since or later belongs
// to a task dated later than the day after.
func (m Marks) Ahead(after, since civil.Date) bool {
	limit := after.String()
	day, _ := dateCode(limit)
	for i := m.newest(); i > 0; {
		a := m.h.acts.at(i - 1)
		if a.reach.Before(since) {
			break
		}
		if m.h.marks(a) && !a.on.Before(since) {
			if s := a.task.sort() << sortShift; s == dated && a.task > day || s != dated && m.h.wordsOf(a.task) > limit {
				return true
			}
		}
		i = a.older
	}
	return false
}

// done calls yield for each task that was done, beginning with the newest mark.
// on is the day on which the task was done. again is the latest day, if the
// keeper marked the task as done more than once. yield returns a day: the
// search ends when no older act can be for that day or a later one.
func (m Marks) done(since civil.Date, yield func(on, again civil.Date) (since civil.Date)) {
	for i := m.newest(); i > 0; {
		a := m.h.acts.at(i - 1)
		if a.reach.Before(since) {
			return
		}
		if a.mark == markDone && m.h.counts(a) && !m.spokenOfAfter(i) {
			since = yield(m.h.doneOn(i))
		}
		i = a.older
	}
}

// doneOn returns the days on and again, as outcome does, for a task with "done"
// as its newest mark. i is the place of that mark, plus one.
func (h *History) doneOn(i int32) (on, again civil.Date) {
	a := h.acts.at(i - 1)
	if a.before == 0 {
		return a.on, a.on
	}
	o, again := h.outcome(i)
	return o.On, again
}

// spokenOfAfter reports whether the task of the act has a later mark that
// counts. i is the place of the act, plus one.
func (m Marks) spokenOfAfter(i int32) bool {
	return m.h.follows(i, m.h.marks)
}

// follows reports whether the task of the act has a later act for which so
// returns true. i is the place of the act, plus one.
func (h *History) follows(i int32, so func(*act) bool) bool {
	if !h.isAgain(i - 1) {
		return false
	}
	a := h.acts.at(i - 1)
	for j := h.newestOf(a.pair, a.task); j > i; j = h.acts.at(j - 1).before {
		if so(h.acts.at(j - 1)) {
			return true
		}
	}
	return false
}

// DoneDays is History.DoneDays.
func (m Marks) DoneDays(since civil.Date) []civil.Date {
	var days []civil.Date
	m.done(since, func(on, _ civil.Date) civil.Date {
		if !on.Before(since) {
			days = append(days, on)
		}
		return since
	})
	slices.SortFunc(days, civil.Date.Compare)
	return days
}

// LastDone is History.LastDone.
func (m Marks) LastDone() civil.Date {
	var last civil.Date
	m.done(last, func(on, _ civil.Date) civil.Date {
		last = civil.Max(last, on)
		return last
	})
	return last
}

// LastSaid returns the last day for which any mark says that the routine was
// done for the subject, or no date. It is never before LastDone. It is after
// LastDone if a task was marked as done on one day and later marked as done on
// another day. One of the two marks may be a mistake, or the work was done
// twice. Work that must not be repeated within a few days counts from the later
// day.
func (m Marks) LastSaid() civil.Date {
	var last civil.Date
	m.done(last, func(_, again civil.Date) civil.Date {
		last = civil.Max(last, again)
		return last
	})
	return last
}

// Found is the combined finding of all entries for one task.
type Found struct {
	Task    Key
	On      civil.Date // the day of the first report
	Finding Finding
	By      string
}

// Found returns every finding that can change a plan (all but notes) and was
// not withdrawn, in the order of the first reports. The caller must not change
// the list.
func (h *History) Found() []Found { return h.found() }

func (h *History) find() []Found {
	seen := make([]Found, 0, h.folded.found)
	at := make([]int32, h.folded.found) // by number of the task: its place in the list, plus one
	for n := range h.findful.len() {
		i := *h.findful.at(n)
		a := h.acts.at(i)
		if !h.counts(a) || h.takenBack(i+1) {
			continue
		}
		d := h.detail(a)
		if at[d.task-1] == 0 {
			seen = append(seen, Found{Task: h.key(a), On: a.on, By: h.texts.of(a.by), Finding: *d.finding})
			at[d.task-1] = int32(len(seen))
			continue
		}
		finding.Merge(&seen[at[d.task-1]-1].Finding, d.finding)
	}
	byDay := func(a, b Found) int { return a.On.Compare(b.On) }
	if !slices.IsSortedFunc(seen, byDay) {
		slices.SortStableFunc(seen, byDay)
	}
	return seen
}

// Standing returns the valid statements about the task with key k: its mark and
// its combined finding with notes, without withdrawn acts. said is false if
// there are none.
func (h *History) Standing(k Key) (o Outcome, f Finding, said bool) {
	newest := h.newest(k)
	var stand []*act // newest first
	for i := newest; i > 0; {
		a := h.acts.at(i - 1)
		if h.counts(a) {
			if a.mark == markUndo {
				break
			}
			stand = append(stand, a)
		}
		i = a.before
	}
	for _, a := range slices.Backward(stand) {
		if d := h.detail(a); d != nil && d.finding != nil {
			finding.Merge(&f, d.finding)
		}
	}
	o, _ = h.outcome(newest)
	return o, f, len(stand) > 0
}

// LastUnplanned returns the key of the last report about a record by its id, up
// to the day until, that was not withdrawn. Without such a report it returns
// "".
func (h *History) LastUnplanned(subject husbandry.ID, until civil.Date) Key {
	for i := h.Marks(subject, Unplanned).newest(); i > 0; {
		a := h.acts.at(i - 1)
		if a.mark != markUndo && !a.on.After(until) && h.counts(a) && !h.takenBack(i) {
			return h.key(a)
		}
		i = a.older
	}
	return ""
}

// takenBack reports whether the task of the act has a later undo that counts. i
// is the place of the act, plus one.
func (h *History) takenBack(i int32) bool {
	return h.follows(i, func(a *act) bool { return a.mark == markUndo && h.counts(a) })
}
