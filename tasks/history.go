package tasks

import (
	"slices"
	"sync"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// History is what the daybook adds up to. It answers what became of a task,
// when a routine was last done for a subject, and what was found, as the
// entries before a cut-off day tell it. Make one with [Fold] or [Folder.With].
// It never changes, and may be asked from several goroutines at once.
type History struct {
	*folded
	cut   civil.Date // entries on or after it do not count; zero: all count
	found func() []Found
}

// Before returns the history as it stood when day began: entries for that day
// or later do not count. The zero date lifts the limit.
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

// Dropped returns the acts of an entry that took no effect.
func (h *History) Dropped(entryID string) []Dropped {
	if d, ok := h.dropped[entryID]; ok {
		return d
	}
	return h.baseDropped[entryID]
}

func (h *History) counts(a *act) bool { return h.cut.IsZero() || a.on.Before(h.cut) }

// marks reports whether an act is a mark that counts.
func (h *History) marks(a *act) bool { return a.mark != noMark && h.counts(a) }

// Outcome is what became of a task.
type Outcome struct {
	Mark  Verb       // MarkDone, Skip, PutOff, or "" for nothing yet
	On    civil.Date // the day it was done or skipped
	Until civil.Date // of PutOff
	Why   string
	By    string
}

// Outcome returns what became of the task with key k.
func (h *History) Outcome(k Key) Outcome {
	o, _ := h.outcome(h.newest(k))
	return o
}

// outcome returns what became of a task, from its newest act's place, plus
// one. again is the latest day for which the same was said of it.
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
	// Repeating a mark keeps the first date.
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
	h    *History
	pair int32 // its number; less than 0 where nobody ever spoke of it
}

// Marks returns what was said of a routine's tasks for a subject.
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

// newest returns the place, plus one, of the newest act.
func (m Marks) newest() int32 {
	if m.pair < 0 {
		return 0
	}
	return m.h.pairs[m.pair].newest
}

// OutcomeSince is History.Outcome for a task of these of which nobody can have
// spoken before the day since. It looks back no further, where Outcome reads
// the years of a daily routine to the end to say that a task is still open:
// where nobody marked it for that day or a later one, it is open. A task whose
// occurrence is no date, such as the first one of all, is looked for to the
// end: it may have been skipped long ago.
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

// Ahead reports whether, since a day, anything was said of a task whose
// occurrence is a date after another day.
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

// done calls yield with the day on which each task was done, the latest said
// first, and with the latest day for which that was said. It stops where no
// older act can be for the day that yield returns, or a later one.
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

// doneOn is outcome's days for a task whose newest mark is done.
func (h *History) doneOn(i int32) (on, again civil.Date) {
	a := h.acts.at(i - 1)
	if a.before == 0 {
		return a.on, a.on
	}
	o, again := h.outcome(i)
	return o.On, again
}

// spokenOfAfter reports whether a mark that counts follows the act at a place,
// plus one, of the same task.
func (m Marks) spokenOfAfter(i int32) bool {
	return m.h.follows(i, m.h.marks)
}

// follows reports whether an act that is so follows the act at a place, plus
// one, of the same task.
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

// LastSaid returns the last day for which anybody said that the routine was
// done for the subject, or no date. It is never before LastDone, and after it
// where a task was said to be done on one day and later said to be done on
// another: one of the two may be a slip, or it was done twice, and what must
// not be done twice in a few days reckons with the later day.
func (m Marks) LastSaid() civil.Date {
	var last civil.Date
	m.done(last, func(_, again civil.Date) civil.Date {
		last = civil.Max(last, again)
		return last
	})
	return last
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
func (h *History) Found() []Found { return h.found() }

func (h *History) find() []Found {
	seen := make([]Found, 0, h.folded.found)
	at := make([]int32, h.folded.found) // a task's place in seen, plus one
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

// Standing returns what is said of the task with key k and was not taken back:
// its mark, and all that was found and noted together. said is false where
// that is nothing.
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

// LastUnplanned returns the key under which something was last said of a
// record by its id, until a day and not taken back, or "".
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

// takenBack reports whether an undo that counts follows the act at a place,
// plus one, of the same task.
func (h *History) takenBack(i int32) bool {
	return h.follows(i, func(a *act) bool { return a.mark == markUndo && h.counts(a) })
}
