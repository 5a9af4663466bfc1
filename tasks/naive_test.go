package tasks_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// said is one act in the list of the simple model. The list has all acts in the
// order in which they count.
type said struct {
	tasks.Act
	on civil.Date
	by string
}

// naive is a simple model of a history: it answers each question by reading all
// acts from the first, without an index.
type naive []said

func readNaively(entries []tasks.Entry, cut civil.Date) (n naive) {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b tasks.Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
	for _, e := range sorted {
		for _, a := range e.Acts {
			if cut.IsZero() || e.On.Before(cut) {
				n = append(n, said{a, e.On, e.By})
			}
		}
	}
	return n
}

// outcome returns the outcome of a task, and the latest day of the marks with
// the same verb.
func (n naive) outcome(k tasks.Key) (o tasks.Outcome, again civil.Date) {
	for _, s := range n {
		switch {
		case s.Task != k || s.Mark == "":
		case s.Mark == tasks.Undo:
			o, again = tasks.Outcome{}, civil.Date{}
		case s.Mark == o.Mark && s.Mark != tasks.PutOff:
			o.Until, o.Why, again = s.Until, s.Why, civil.Max(again, s.on)
		default:
			o, again = tasks.Outcome{Mark: s.Mark, On: s.on, Until: s.Until, Why: s.Why, By: s.by}, s.on
		}
	}
	return o, again
}

// since is the model of OutcomeSince: it returns the outcome if a mark of the
// task is for the day since or later, or if the task's occurrence is no date.
func (n naive) since(k tasks.Key, since civil.Date) tasks.Outcome {
	if strings.HasPrefix(k.Occurrence(), "2027") && !slices.ContainsFunc(n, func(s said) bool { return s.Task == k && s.Mark != "" && !s.on.Before(since) }) {
		return tasks.Outcome{}
	}
	o, _ := n.outcome(k)
	return o
}

func (n naive) done(subject, routine husbandry.ID) (days, again []civil.Date) {
	seen := make(map[tasks.Key]bool)
	for _, s := range n {
		if s.Task.Subject() != subject || s.Task.Routine() != routine || seen[s.Task] {
			continue
		}
		seen[s.Task] = true
		if o, last := n.outcome(s.Task); o.Mark == tasks.MarkDone {
			days, again = append(days, o.On), append(again, last)
		}
	}
	slices.SortFunc(days, civil.Date.Compare)
	return days, again
}

func (n naive) ahead(subject, routine husbandry.ID, after, since civil.Date) bool {
	return slices.ContainsFunc(n, func(s said) bool {
		return s.Task.Subject() == subject && s.Task.Routine() == routine && s.Mark != "" && !s.on.Before(since) && s.Task.Occurrence() > after.String()
	})
}

// standing returns the acts of a task that were not withdrawn.
func (n naive) standing(k tasks.Key) (stand []said) {
	for _, s := range n {
		switch {
		case s.Task != k:
		case s.Mark == tasks.Undo:
			stand = nil
		default:
			stand = append(stand, s)
		}
	}
	return stand
}

func (n naive) found() (all []tasks.Found) {
	seen := make(map[tasks.Key]bool)
	for i, s := range n {
		stands := !slices.ContainsFunc(n[i:], func(later said) bool { return later.Task == s.Task && later.Mark == tasks.Undo })
		if seen[s.Task] || !stands || s.Finding == nil || !finding.Plans(s.Finding) {
			continue
		}
		seen[s.Task] = true
		f := tasks.Found{Task: s.Task, On: s.on, By: s.by}
		for _, g := range n.standing(s.Task) {
			if g.Finding != nil && finding.Plans(g.Finding) {
				finding.Merge(&f.Finding, g.Finding)
			}
		}
		all = append(all, f)
	}
	slices.SortStableFunc(all, func(a, b tasks.Found) int { return a.On.Compare(b.On) })
	return all
}

func (n naive) lastUnplanned(subject husbandry.ID, until civil.Date) (k tasks.Key) {
	for i, s := range n {
		if s.Task.Subject() == subject && s.Task.Routine() == tasks.Unplanned && s.Mark != tasks.Undo && !s.on.After(until) &&
			!slices.ContainsFunc(n[i:], func(later said) bool { return later.Task == s.Task && later.Mark == tasks.Undo }) {
			k = s.Task
		}
	}
	return k
}

// plainEntries draws entries of one act each, all from the shell, so that there
// are no quotations and no conflicts.
func plainEntries(t *rapid.T) []tasks.Entry {
	keys := []tasks.Key{"E07/water/2027-05-11", "E07/water/2027-05-12", "E07/water/2027-05-13", "E07/nest-top-up/after-2027-05-09", "E07/nest-top-up/first",
		"F03/found/2027-05-11", "F03/found/2027-05-12", "F03/lay-watch/1st", "keeper"}
	var list []tasks.Entry
	for i := range rapid.IntRange(0, 25).Draw(t, "entries") {
		d := rapid.IntRange(1, 20).Draw(t, "day")
		k := rapid.SampledFrom(keys).Draw(t, "key")
		noted := tasks.Act{Text: "note", Task: k, Finding: &tasks.Finding{Note: fmt.Sprint("saw it ", i)}}
		digging := tasks.Act{Text: "digs", Task: k, Finding: &tasks.Finding{Digging: true}}
		unheard := tasks.Act{Text: "unheard of", Task: k, Mark: "sung-to"}
		why := skip(k)
		why.Why = fmt.Sprint("reason ", i)
		list = append(list, tasks.Entry{
			ID: fmt.Sprint("m", i), At: at("01", "06:00").AddDate(0, 0, d-1+rapid.IntRange(0, 2).Draw(t, "said later")), On: day("01").AddDays(d - 1), Via: tasks.ViaShell,
			By:   rapid.SampledFrom([]string{"", "anna", "ben"}).Draw(t, "by"),
			Acts: []tasks.Act{rapid.SampledFrom([]tasks.Act{done(k), done(k), undo(k), why, later(k, "20"), later(k, "22"), laid(k, 4), laid(k, 6), noted, digging, unheard}).Draw(t, "act")},
		})
	}
	return list
}

// question is a question for a history, with the answer of the simple model.
type question struct {
	name string
	ask  func(h *tasks.History) string
	want string
}

func questions(n naive, keys []tasks.Key) (all []question) {
	add := func(name string, want any, ask func(h *tasks.History) any) {
		all = append(all, question{name, func(h *tasks.History) string { return fmt.Sprint(ask(h)) }, fmt.Sprint(want)})
	}
	findings := func(list []tasks.Found) (s []string) {
		for _, f := range list {
			s = append(s, fmt.Sprint(f.Task, f.On, f.By, told(&f.Finding)))
		}
		return s
	}
	add("found", findings(n.found()), func(h *tasks.History) any { return findings(h.Found()) })
	for _, since := range []civil.Date{day("01"), day("08"), day("12"), day("15")} {
		for _, k := range keys {
			subject, routine := k.Subject(), k.Routine()
			if routine == "" {
				continue // a key without a routine has no Marks to ask
			}
			add(fmt.Sprint("outcome since ", since, k), n.since(k, since), func(h *tasks.History) any { return h.Marks(subject, routine).OutcomeSince(k, since) })
			days, _ := n.done(subject, routine)
			days = slices.DeleteFunc(days, func(d civil.Date) bool { return d.Before(since) })
			add(fmt.Sprint("done days since ", since, k), days, func(h *tasks.History) any { return h.DoneDays(subject, routine, since) })
			add(fmt.Sprint("ahead since ", since, k), n.ahead(subject, routine, day("11"), since), func(h *tasks.History) any { return h.Marks(subject, routine).Ahead(day("11"), since) })
			add(fmt.Sprint("unplanned until ", since, k), n.lastUnplanned(subject, since), func(h *tasks.History) any { return h.LastUnplanned(subject, since) })
		}
	}
	for _, k := range keys {
		subject, routine := k.Subject(), k.Routine()
		o, _ := n.outcome(k)
		add(fmt.Sprint("outcome ", k), o, func(h *tasks.History) any { return h.Outcome(k) })
		if routine != "" {
			var last, lastSaid civil.Date
			days, again := n.done(subject, routine)
			for i := range days {
				last, lastSaid = civil.Max(last, days[i]), civil.Max(lastSaid, again[i])
			}
			add(fmt.Sprint("last done ", k), last, func(h *tasks.History) any { return h.LastDone(subject, routine) })
			add(fmt.Sprint("last said ", k), lastSaid, func(h *tasks.History) any { return h.Marks(subject, routine).LastSaid() })
		}
		var f tasks.Finding
		stand := n.standing(k)
		for _, s := range stand {
			if s.Finding != nil {
				finding.Merge(&f, s.Finding)
			}
		}
		add(fmt.Sprint("standing ", k), fmt.Sprint(o, told(&f), len(stand) > 0), func(h *tasks.History) any {
			o, f, said := h.Standing(k)
			return fmt.Sprint(o, told(&f), said)
		})
	}
	return all
}

// told prints a finding of these tests with the values behind its pointers.
func told(f *tasks.Finding) string {
	s := fmt.Sprint(f.Note, f.Digging)
	if f.Laid != nil {
		s += fmt.Sprint(" laid ", *f.Laid)
	}
	return s
}

// A history gives the same answers as the simple model: in any order of
// questions, from several goroutines at once, with and without a cut-off, and
// for any split of the entries into calls.
func TestHistoryAgreesWithSimpleModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := plainEntries(t)
		slices.SortFunc(entries, func(a, b tasks.Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
		var folder tasks.Folder
		first := rapid.IntRange(0, len(entries)).Draw(t, "added first")
		second := rapid.IntRange(first, len(entries)).Draw(t, "added then")
		folder.Add(entries[:first])
		folder.Add(entries[first:second])
		histories := []*tasks.History{tasks.Fold(entries), folder.With(entries[second:])}
		cut := rapid.SampledFrom([]civil.Date{{}, day("09"), day("12"), day("28")}).Draw(t, "cut")
		var keys []tasks.Key
		for _, e := range entries {
			keys = append(keys, e.Acts[0].Task)
		}
		keys = append(keys, "E07/water/2027-05-30", "nobody/at/all")
		slices.Sort(keys)
		all := questions(readNaively(entries, cut), slices.Compact(keys))
		for i, h := range histories {
			h := h.Before(cut)
			var wait sync.WaitGroup
			for range 3 {
				order := slices.Clone(all)
				rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1)).Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
				wait.Go(func() {
					for _, q := range order {
						if got := q.ask(h); got != q.want {
							t.Errorf("history %d: %s: %s, want %s", i, q.name, got, q.want)
						}
					}
				})
			}
			wait.Wait()
		}
	})
}

// A folder with some added entries gives the history of all entries, including
// quotations, conflicts and dropped acts.
func TestFolderContinuesAHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := entries(t)
		slices.SortFunc(list, func(a, b tasks.Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
		added := rapid.IntRange(0, len(list)).Draw(t, "added")
		var folder tasks.Folder
		folder.Add(list[:added])
		for i, e := range list {
			if got := folder.Follows(&e); got != (i >= added) {
				t.Errorf("entry %d follows %d entries: %t", i, added, got)
			}
		}
		got, want := folder.With(list[added:]), tasks.Fold(list)
		if picture(got) != picture(want) {
			t.Errorf("in two parts:\n%s\nat once:\n%s", picture(got), picture(want))
		}
		for _, e := range list {
			if g, w := fmt.Sprint(got.Dropped(e.ID)), fmt.Sprint(want.Dropped(e.ID)); len(got.Dropped(e.ID)) != len(want.Dropped(e.ID)) {
				t.Errorf("dropped of %s: %s, want %s", e.ID, g, w)
			}
		}
		if got.First() != want.First() {
			t.Errorf("first day %v, want %v", got.First(), want.First())
		}
	})
}

// A folder can be stored and read again, and the new folder can be continued.
func TestStoredFolderReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.OneOf(rapid.Custom(entries), rapid.Custom(plainEntries)).Draw(t, "list")
		slices.SortFunc(list, func(a, b tasks.Entry) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
		added := rapid.IntRange(0, len(list)).Draw(t, "added")
		then := rapid.IntRange(added, len(list)).Draw(t, "added then")
		folder := new(tasks.Folder)
		folder.Add(list[:added])
		for range 2 { // a folder that was read can be stored again
			stored, err := folder.AppendBinary(nil)
			if err != nil {
				t.Fatal(err)
			}
			if folder, err = tasks.Thaw(stored); err != nil {
				t.Fatal(err)
			}
			cut := rapid.IntRange(0, len(stored)).Draw(t, "cut")
			if _, err := tasks.Thaw(stored[:cut]); err == nil && cut < len(stored) {
				t.Errorf("%d of %d bytes were read without an error", cut, len(stored))
			}
		}
		if added < len(list) && !folder.Follows(&list[added]) {
			t.Errorf("the entry after those stored does not follow them")
		}
		folder.Add(list[added:then])
		got, want := folder.With(list[then:]), tasks.Fold(list)
		if got.First() != want.First() {
			t.Errorf("first day %v, want %v", got.First(), want.First())
		}
		for _, cut := range []civil.Date{{}, day("12")} {
			for _, e := range list {
				if len(got.Dropped(e.ID)) != len(want.Dropped(e.ID)) {
					t.Errorf("dropped of %s: %v, want %v", e.ID, got.Dropped(e.ID), want.Dropped(e.ID))
				}
				for _, a := range e.Acts {
					if g, w := story(got.Before(cut), a.Task), story(want.Before(cut), a.Task); g != w {
						t.Errorf("stored: %s\nadded up: %s", g, w)
					}
				}
			}
		}
	})
}

// story prints all answers of a history about a task.
func story(h *tasks.History, k tasks.Key) string {
	o, f, said := h.Standing(k)
	s := fmt.Sprint(k, o, told(&f), said, h.Outcome(k), h.LastDone(k.Subject(), k.Routine()), h.DoneDays(k.Subject(), k.Routine(), day("01")))
	for _, f := range h.Found() {
		s += fmt.Sprint(f.Task, f.On, f.By, told(&f.Finding))
	}
	return s
}
