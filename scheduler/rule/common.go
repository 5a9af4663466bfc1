package rule

import (
	"slices"

	"nestround/scheduler/cadence"
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// ask proposes the task of a routine that a finding calls for. If the routine
// alarms, somebody may be in danger, so its task can be neither skipped nor put
// off. occurrences has the occurrence for the task's key, and then the
// occurrences of its earlier keys. Findings before the books begin lead to no
// task.
func ask(d *plan.Day, propose plan.Propose, s *plan.Subject, id husbandry.ID, occurrences []string, found civil.Date, why string) {
	r := called(d, s, id)
	if r == nil {
		return
	}
	if a, ok := d.Asked(s, r); ok {
		propose(&plan.Single{
			Duty: a, Keys: keysOf(a, occurrences), Due: found, Why: why, Found: true,
			Pinned: r.Missed == husbandry.Alarms, Finish: askFor(d, id),
		})
	}
}

func keysOf(a *plan.Duty, occurrences []string) []tasks.Key {
	keys := make([]tasks.Key, len(occurrences))
	for i, o := range occurrences {
		keys[i] = a.Key(o)
	}
	return keys
}

// occurrencesOf returns the ids of a clutch, for use as occurrences in keys.
func occurrencesOf(c *herd.Clutch) []string {
	var list []string
	for _, id := range c.IDs() {
		list = append(list, string(id))
	}
	return list
}

// steps returns the dates of a routine in a window. They recur at the routine's
// interval, from the first day of the window or from the last time that the
// work was done in the window.
func steps(d *plan.Day, a *plan.Duty, from, to civil.Date) []civil.Date {
	every := int(max(1, a.Routine.Cadence.Every))
	if every > 1 {
		if last := a.LastDone(); !last.Before(from) {
			from = last.AddDays(every)
		}
	}
	if behind := d.On.Sub(from) - stepsBack; behind > 0 {
		from = from.AddDays(behind / every * every)
	}
	var dates []civil.Date
	for _, day := range cadence.Steps(from, a.Routine.Cadence.Every, civil.Min(to, d.Horizon)) {
		dates = append(dates, day)
	}
	return dates
}

// stepsBack is the number of days before today that steps includes.
const stepsBack = 14

// everyWords writes "Every 2 days".
func everyWords(every husbandry.Days) string {
	return plan.CadenceWords(husbandry.Cadence{Every: every})
}

// lastWords says when work of a kind was last done. Reasons end with these
// words.
func lastWords(d *plan.Day, k husbandry.Kind, last civil.Date) string {
	if last.IsZero() {
		return "; nothing recorded yet"
	}
	return "; last " + k.Noun().Done + " " + d.WeekdayWords(last)
}

// idle reports whether a routine has nothing to do for its subject now.
func idle(d *plan.Day, s *plan.Subject, r *plan.Routine) bool {
	return slices.ContainsFunc(idleOf, func(nothing func(*plan.Day, *plan.Subject, *plan.Routine) bool) bool { return nothing(d, s, r) })
}

// pastWindow proposes today's look of a watch after the end of its window. It
// plans no later looks, because tomorrow's look depends on today's.
func pastWindow(d *plan.Day, propose plan.Propose, a *plan.Duty, w *tasks.Window, why, caution string, pinned bool) {
	if a.Routine.Caution != "" {
		caution += " " + a.Routine.Caution
	}
	propose(&plan.Single{
		Duty: a, Dated: true, Due: d.On, Why: why, Pinned: pinned,
		While: func(due civil.Date) bool { return due == d.On }, // false if the look was put off to another day
		Finish: func(t *tasks.Task) {
			t.Missed, t.Window, t.Caution = husbandry.Alarms, w, caution
			t.Latest = t.Due.AddDays(int(a.Routine.After))
		},
	})
}

// moveByDamp moves a top-up of a nest box, or a check of a tub, to the day on
// which the box or tub has lost as much water as its tolerance allows. The day
// is at least one day and at most twice the routine's interval after the last
// time. Nothing moves if too little is known about the box or tub.
func moveByDamp(d *plan.Day, c *counted, damp *herd.Damp) {
	if damp == nil || !damp.Dated {
		return
	}
	last, every := c.Last, c.Interval
	if last.IsZero() {
		last = c.Due.AddDays(-int(every))
	}
	last = civil.Max(last, damp.Last)
	latest := last.AddDays(2 * int(every))
	limited := ""
	next := damp.Until(damp.Tolerance)
	if next.IsZero() || next.After(latest) {
		next = latest
		limited = "; looked at after " + english.Days(2*every) + " at the latest"
	}
	next = civil.Max(next, last.AddDays(1))
	c.Due, c.Every = next, husbandry.Days(min(2*int(every), max(1, damp.Lasts(damp.Tolerance))))
	if n := len(damp.Questions); n > 0 && !damp.Questions[n-1].On.Before(damp.Weighed.On) {
		q := damp.Questions[n-1]
		c.question = ". " + d.QuestionWords(q)
		if q.On == damp.Last {
			c.Due, limited = civil.Min(next, q.On.AddDays(1)), ""
		}
	}
	c.wordsOn = func(day civil.Date) string {
		return d.DampWords(damp) + d.PourWords(damp, civil.Max(day, d.On)) + limited
	}
}

// evidence has the functions of a kind that tell, without marks, when its work
// was done and is due. Functions may be nil.
type evidence struct {
	// every returns the interval in days that a subject's record states; 0 for
	// none.
	every func(s *plan.Subject) husbandry.Days
	// last returns the last day on which other records and findings show the
	// work as done; no date for none.
	last func(d *plan.Day, s *plan.Subject) civil.Date
	// first returns the first due day of work that was never done. It returns
	// no date for the usual first day of all kinds.
	first func(d *plan.Day, s *plan.Subject, every husbandry.Days) civil.Date
	// move moves the first open task, and gives the reason in words.
	move func(d *plan.Day, c *counted)
}

// counted is a chain of tasks with the evidence of its kind.
type counted struct {
	*plan.Chain
	wordsOn  func(day civil.Date) string
	question string // words about an implausible weighing; "" for none
}
