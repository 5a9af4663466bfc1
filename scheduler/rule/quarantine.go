package rule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const (
	// testsApart is the least number of days between two faecal tests of a
	// quarantine. testsBefore is the number of days before the end of the
	// quarantine on which the last test is due, so that its result is known by
	// the end (common practice).
	testsApart  = 14
	testsBefore = 7
	// askedAgain is the number of days after which a skipped test or release is
	// asked for again.
	askedAgain = 7
)

// idleApart reports whether a routine has nothing to do for one of two reasons.
// Either the animal is in quarantine, which has separate faecal tests; or the
// books have neither animals nor clutches, so that nothing is weighed and a
// power cut does no harm. Routines that the keeper wrote are asked for in both
// cases. So are the renewals of documents, which follow an event.
func idleApart(d *plan.Day, s *plan.Subject, r *plan.Routine) bool {
	if s.Scope == husbandry.OfKeeper && r.Origin == husbandry.Common && r.Cadence.Pattern != husbandry.Anchored {
		return len(d.Animals)+len(d.Clutches) == 0
	}
	return r.Kind == husbandry.Faecal && r.Cadence.Pattern != husbandry.Anchored &&
		slices.ContainsFunc(s.Animals, func(a *herd.Animal) bool { return a.Apart != nil })
}

// lastFaecal returns the last day on which a sample of one of the subject's
// animals was tested.
func lastFaecal(d *plan.Day, s *plan.Subject) (last civil.Date) {
	for _, r := range d.Scoped(husbandry.OfAnimal) {
		if r.Kind != husbandry.Faecal {
			continue
		}
		for _, a := range s.Animals {
			last = civil.Max(last, d.LastDone(a.ID, r.ID))
		}
	}
	return last
}

// faecalTests returns the faecal tests of an animal's quarantine, in order.
func faecalTests(d *plan.Day, s *plan.Subject, e happening) []*plan.Routine {
	var match []*plan.Routine
	day := civil.Max(e.on, e.animal.Came)
	for _, r := range d.Scoped(husbandry.OfAnimal) {
		anchored := r.Cadence.Pattern == husbandry.Anchored && r.Cadence.Event == husbandry.EventQuarantine
		if r.Kind == husbandry.Faecal && (anchored || r.Off) && r.Matches(s, day) {
			match = append(match, r)
		}
	}
	tests := plan.Resolve(match)
	slices.SortStableFunc(tests, func(r, q *plan.Routine) int { return cmp.Compare(r.Cadence.Offset, q.Cadence.Offset) })
	return tests
}

// openStep finds the first occurrence of a step that was not skipped, and the
// outcome of that occurrence. A skipped step is asked for again a week later,
// with another key.
func openStep(d *plan.Day, a *plan.Duty, e happening) (key tasks.Key, fate plan.Fate, notBefore civil.Date) {
	occurrence := string(e.event) + "-" + e.instance
	for {
		key = a.Key(occurrence)
		if fate = d.BecameOf(key); fate == (plan.Fate{}) {
			fate = d.BecameInGroup(a.Subject.Animals[0], a.Routine.ID, occurrence)
		}
		if fate.Skipped.IsZero() {
			return key, fate, notBefore
		}
		notBefore = fate.Skipped.AddDays(askedAgain)
		occurrence += "-after-" + fate.Skipped.String()
	}
}

// quarantineStep proposes a faecal test of a quarantine, or the release, and
// reports whether the event belongs to a quarantine. Tests are weeks apart and
// are never dropped. No animal is released before the days of quarantine are
// over and every test is done.
func quarantineStep(d *plan.Day, propose plan.Propose, s *plan.Subject, r *plan.Routine, e happening) bool {
	if e.event != husbandry.EventQuarantine || r.Kind != husbandry.Faecal && r.Kind != husbandry.Release {
		return false
	}
	q := s.Animals[0].Apart
	act := d.Once(s, r.Routine)
	key, fate, due := openStep(d, act, e)
	if fate.Over() {
		return true
	}
	why := english.UpperFirst(e.words)
	var last civil.Date // day of the last test before this one
	for _, test := range faecalTests(d, s, e) {
		at := q.From.AddDays(int(test.Cadence.Offset))
		if !last.IsZero() {
			at = civil.Max(civil.Min(at, q.Until.AddDays(-testsBefore)), last.AddDays(testsApart))
		}
		if test == r {
			due = civil.Max(due, at)
			why += fmt.Sprintf(", due %s after; nobody is released without it", english.Days(due.Sub(q.From)))
			break
		}
		_, before, _ := openStep(d, d.Once(s, test.Routine), e)
		switch {
		case before.Over():
			last = before.Done
		case r.Kind == husbandry.Release:
			return true
		default:
			last = civil.Max(at, d.On)
		}
	}
	if r.Kind == husbandry.Release {
		due = civil.Max(due, q.Until)
		why += fmt.Sprintf("; its %s are over by then", english.Days(q.Until.Sub(q.From)))
		if !last.IsZero() {
			why += ", last tested " + d.DateWords(last)
		}
	}
	propose(&plan.Single{Duty: act, Keys: []tasks.Key{key}, Due: due, Why: why, Clamped: true})
	return true
}

// Illness asks to look closer at the last illness that was noted for each
// subject.
func Illness(d *plan.Day, propose plan.Propose) {
	seen := make(map[husbandry.ID]bool)
	for _, ill := range slices.Backward(d.Ills) {
		s := d.Subject(ill.Subject)
		if seen[ill.Subject] || s == nil || s.Scope == husbandry.OfAnimal && !s.Animals[0].PresentOn(d.On) {
			continue
		}
		seen[ill.Subject] = true
		why := "Noted as ill on " + d.DateWords(ill.On)
		if ill.Signs != "" {
			why += ": " + strings.Join(strings.Fields(ill.Signs), " ")
		}
		if slices.ContainsFunc(s.Animals, func(a *herd.Animal) bool { return a.Apart != nil && a.Apart.From == ill.On }) {
			why += "; the quarantine begins anew"
		}
		ask(d, propose, s, herd.ReviewIll, []string{ill.On.String()}, ill.On, why)
	}
}

// apartEvents lists the beginnings of current quarantines.
func apartEvents(d *plan.Day, _ civil.Date) []happening {
	var list []happening
	for _, a := range d.Animals {
		q := a.Apart
		if q == nil || d.Subject(a.ID) == nil {
			continue
		}
		words := "quarantine since " + d.DateWords(q.From)
		if q.Why != "" {
			words += ", begun anew because " + q.Why
		}
		list = append(list, happening{event: husbandry.EventQuarantine, on: q.From, instance: q.From.String(), animal: a, words: words})
	}
	return list
}
