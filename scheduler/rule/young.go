package rule

import (
	"cmp"
	"fmt"
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
	"slices"
)

const (
	// youngFor is the number of days after the last hatchling for which the tub
	// of young is checked daily (common practice).
	youngFor = 14
	// sexAgain and feedAgain are the days after which a task is repeated if its
	// question is still open: which sex the young have, and whether they eat
	// (common practice).
	sexAgain  husbandry.Days = 30
	feedAgain husbandry.Days = 1
	// unfedFor is the age in days at which young that have not eaten are a
	// reason to worry (common practice).
	unfedFor = 10
	// enterBy is the age in days at which young should have records. enterFor
	// is the age in days up to which the plan asks for these records.
	enterBy, enterFor = 7, 180
	// A repeated task about the sex or the first food of young is asked for
	// until askedFor days, plus the routine's slack, after the task's due day.
	askedFor = 120
	// sizeSpread is the largest ratio of the heaviest to the lightest mass with
	// which a group stays together (common practice).
	sizeSpread = 1.5
)

// youngEvents lists the events of young with records: the hatching, and the day
// on which an animal was taken out of a group.
func youngEvents(d *plan.Day, from civil.Date) []happening {
	var list []happening
	for _, a := range d.Animals {
		if d.Subject(a.ID) == nil || !a.PresentOn(civil.Max(d.On, a.Came)) {
			continue
		}
		if _, sexed := d.LastSexing(a); !a.Hatched.IsZero() && !a.Hatched.After(d.Horizon) && (!a.Hatched.Before(from) || sexed) {
			list = append(list, happening{event: husbandry.EventHatched, on: a.Hatched, animal: a, words: "hatched " + d.DateWords(a.Hatched)})
		}
		if a.From != "" && !a.Since.IsZero() && !a.Since.Before(from) && !a.Since.After(d.Horizon) {
			list = append(list, happening{event: husbandry.EventSeparated, on: a.Since, animal: a,
				words: "taken out of " + string(a.From) + " on " + d.DateWords(a.Since)})
		}
	}
	return list
}

// youngSubject returns the subject of a routine about young after an event of
// an animal with a record. While the young are small, the clutch stays the
// subject of most work after hatching.
func youngSubject(d *plan.Day, r *plan.Routine, e happening) (s *plan.Subject, theirs bool) {
	if e.animal == nil || e.event != husbandry.EventHatched && r.Scope != husbandry.OfClutch {
		return nil, false
	}
	_, own := idleRaised[r.Kind]
	if e.event == husbandry.EventHatched && own || e.event == husbandry.EventSeparated && r.Scope == husbandry.OfClutch {
		s = d.Subject(e.animal.ID)
	}
	return s, true
}

// idleRaised has, by kind, the function that reports whether work about young
// with records has nothing to do for an animal.
var idleRaised = map[husbandry.Kind]func(a *herd.Animal) bool{
	husbandry.Sexing: func(a *herd.Animal) bool { return a.Sex != husbandry.Unsexed },
	// A group of females only may stay together.
	husbandry.Separate: func(a *herd.Animal) bool { return a.Count < 2 || a.Sex == husbandry.Female },
	// Animals that came from elsewhere need no decision whether they stay.
	husbandry.Place: func(a *herd.Animal) bool { return a.Breeding || !a.Acquired.IsZero() },
}

// idleYoung reports whether a routine about young has nothing to do for an
// animal in its present state.
func idleYoung(_ *plan.Day, s *plan.Subject, r *plan.Routine) bool {
	nothing := idleRaised[r.Kind]
	return s.Scope == husbandry.OfAnimal && nothing != nil && nothing(s.Animals[0])
}

// A care sheet may state other ages than the common routines for the first
// food, sexing and separating.

func firstFeedBySheet(sheet *husbandry.Species, offset, slack husbandry.Days) (husbandry.Days, husbandry.Days) {
	if f := sheet.FirstFeed; !f.IsZero() {
		return f.From, max(0, f.To-f.From)
	}
	return offset, slack
}

func sexingBySheet(sheet *husbandry.Species, offset, slack husbandry.Days) (husbandry.Days, husbandry.Days) {
	if sheet.SexableAt > 0 {
		offset = sheet.SexableAt
	}
	return offset, slack
}

func separateBySheet(sheet *husbandry.Species, offset, slack husbandry.Days) (husbandry.Days, husbandry.Days) {
	if sheet.SubadultFrom > 0 {
		offset = sheet.SubadultFrom
	}
	return offset, slack
}

// again proposes the task once more if the last answer left its question open.
// It reports whether there was an answer at all; if so, the first task of the
// routine is no longer needed.
func again(d *plan.Day, propose plan.Propose, s *plan.Subject, r *plan.Routine, _ happening) bool {
	var on civil.Date
	var wait husbandry.Days
	var why string
	switch {
	case r.Kind == husbandry.Sexing:
		var last herd.Sexing
		var ok bool
		many := 1
		if c := s.Clutch; c != nil {
			if n := len(c.Sexings); n > 0 {
				last, ok = c.Sexings[n-1], true
			}
			many = c.Hatched
		} else {
			last, ok = d.LastSexing(s.Animals[0])
			many = s.Animals[0].Count
		}
		if !ok {
			return false
		}
		if last.Unsure == 0 && last.All() >= many {
			return true
		}
		on, wait = last.On, sexAgain
		why = fmt.Sprintf("Not certain on %s", d.DateWords(on))
		if many > 1 {
			why = fmt.Sprintf("On %s %s, %s, the others not certain", d.DateWords(on), english.Count(last.Males, "male"), english.Count(last.Females, "female"))
		}
	case r.Kind == husbandry.FirstFeed && s.Clutch != nil && len(s.Clutch.Unfed) > 0:
		on, wait = s.Clutch.Unfed[len(s.Clutch.Unfed)-1], feedAgain
		why = "Nothing was eaten on " + d.DateWords(on)
	default:
		return false
	}
	a := d.Once(s, r.Routine)
	propose(&plan.Single{
		Duty: a, Keys: []tasks.Key{a.Key("again-" + on.String())}, Due: on.AddDays(int(wait)), Clamped: true,
		Why:   why + "; again after " + english.Days(wait),
		While: func(due civil.Date) bool { return !due.AddDays(int(r.After) + askedFor).Before(d.On) },
	})
	return true
}

// youngWatch proposes the daily look into the tub of a clutch's young.
func youngWatch(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	c := a.Subject.Clutch
	if c == nil || c.FirstHatched().IsZero() {
		return
	}
	from, to := c.FirstHatched().AddDays(1), c.LastHatched().AddDays(youngFor)
	propose(&plan.Series{Duty: a, Dates: steps(d, a, from, to), Why: func(day civil.Date) string {
		return fmt.Sprintf("Day %d after the first of %d hatched, daily until %s", day.Sub(c.FirstHatched()), c.Hatched, d.DateWords(to))
	}})
}

// Young asks to look closer after findings about young.
func Young(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Animals {
		if s := d.Subject(a.ID); s != nil && a.Count > 1 && a.PresentOn(d.On) {
			reviewSize(d, propose, s, a.Weights, a.Regrouped)
		}
	}
	for _, c := range d.Clutches {
		s := d.Subject(c.ID)
		if s == nil || s.Clutch != c {
			continue
		}
		if len(c.Young) == 0 {
			reviewSize(d, propose, s, c.Weights, civil.Date{})
			enterYoung(d, propose, s)
		}
		n := len(c.Unfed)
		if n == 0 || c.Unfed[n-1].Sub(c.FirstHatched()) < unfedFor || c.FirstHatched().IsZero() {
			continue
		}
		on := c.Unfed[n-1]
		ask(d, propose, s, herd.ReviewUnfed, []string{"hatched"}, on, fmt.Sprintf("First hatched %s, and nothing eaten by %s, %s later",
			d.DateWords(c.FirstHatched()), d.DateWords(on), english.Days(on.Sub(c.FirstHatched()))))
	}
}

// enterYoung asks for records of young that have none. Without records, no
// routine plans their food and water.
func enterYoung(d *plan.Day, propose plan.Propose, s *plan.Subject) {
	first := s.Clutch.FirstHatched()
	if first.IsZero() || first.AddDays(enterFor).Before(d.On) {
		return
	}
	ask(d, propose, s, herd.EnterYoung, []string{"hatched"}, first.AddDays(enterBy), fmt.Sprintf("Since %s %d hatched, and none has a record: "+
		"no feeding, water or weighing is asked for them", d.DateWords(first), s.Clutch.Hatched))
}

// reviewSize asks to sort a group by size if the masses at its last weighing
// lie far apart, unless an animal was taken out after that weighing.
func reviewSize(d *plan.Day, propose plan.Propose, s *plan.Subject, weights []herd.Weight, regrouped civil.Date) {
	i := len(weights) - 1
	for i >= 0 && len(weights[i].Each) < 2 {
		i--
	}
	if i < 0 || !weights[i].On.After(regrouped) && !regrouped.IsZero() {
		return
	}
	w := weights[i]
	light, heavy := slices.MinFunc(w.Each, cmp.Compare), slices.MaxFunc(w.Each, cmp.Compare)
	if float64(heavy) < sizeSpread*float64(light)-herd.Tiny {
		return
	}
	u := d.Records.Units
	ask(d, propose, s, herd.SortBySize, []string{w.On.String()}, w.On, fmt.Sprintf("Weighed on %s: the heaviest %s, the lightest %s, %.1f times as heavy",
		d.DateWords(w.On), u.Mass(heavy), u.Mass(light), float64(heavy/light)))
}
