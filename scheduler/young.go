package scheduler

import (
	"cmp"
	"fmt"
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Raising young: what becomes of a clutch's young and of groups, from the
// first look into the tub to the day on which it is decided who stays.
//
// Until there are records of them, the clutch stands for its young. A record
// says which clutch it hatched from, and one that was taken out of a group says
// which; it inherits what was done and found before.

const (
	// youngFor is how many days the tub of a clutch's young is looked into,
	// after the last of them hatched (common practice).
	youngFor = 14
	// sexAgain and feedAgain are how many days after an answer that settled
	// nothing the question is asked anew (common practice).
	sexAgain  husbandry.Days = 30
	feedAgain husbandry.Days = 1
	// unfedFor is how many days after hatching young that have not eaten are a
	// reason to worry (common practice).
	unfedFor = 10
	// enterBy is how many days after hatching young should be in the books, and
	// enterFor for how long those that are not are asked for.
	enterBy, enterFor = 7, 180
	// sizeSpread is how many times as heavy as the lightest of a group its
	// heaviest may be (common practice).
	sizeSpread = 1.5
)

const (
	unfedCaution = "Young that have not eaten ten days after hatching, or whose belly sinks in, belong to a reptile veterinarian. " +
		"Meanwhile warmth, water, cover and the smallest live prey; no force-feeding."
	enterCaution = "Hatchlings that nobody feeds and waters live on their yolk for days only."
	sizeCaution  = "Small ones are bitten, and starve beside large ones. A bitten or thin one sits alone; one that loses weight is shown to a reptile veterinarian."
)

// Sexing is one look at the sex of an animal, of a group or of a clutch's
// young.
type Sexing struct {
	On civil.Date
	tasks.Sexed
}

// foundOfYoung takes a finding over that is about raising young, illness or a
// lamp.
func (h *Herd) foundOfYoung(f *tasks.Found, clutch *Clutch, animal *Animal) {
	g := &f.Finding
	kind := h.kinds[f.Task.Routine()]
	if g.Sexed != nil {
		switch {
		case clutch != nil:
			clutch.Sexings = append(clutch.Sexings, Sexing{f.On, *g.Sexed})
		case animal != nil:
			animal.Sexings = append(animal.Sexings, Sexing{f.On, *g.Sexed})
		}
	}
	if clutch != nil && g.Refused && kind == husbandry.FirstFeed {
		clutch.Unfed = append(clutch.Unfed, f.On)
	}
	// Of a clutch, the egg tub is weighed as well.
	if clutch != nil && g.Weighs != nil && kind == husbandry.Weigh {
		clutch.Weights = append(clutch.Weights, Weight{f.On, *g.Weighs, g.Each})
	}
	if g.UVI != nil {
		h.readings[f.Task.Subject()] = append(h.readings[f.Task.Subject()], reading{f.On, *g.UVI})
	}
	if g.Ill {
		h.ills = append(h.ills, Illness{f.Task.Subject(), f.On, g.Note})
	}
}

// settleYoung finds out who hatched from which clutch and how large groups are
// by now, and fills in what follows.
func (h *Herd) settleYoung() {
	for _, a := range h.Animals {
		if c := h.clutches[a.Clutch]; c != nil && a.Clutch != "" {
			c.Young = append(c.Young, a)
			if a.Hatched.IsZero() {
				a.Hatched = c.FirstHatched()
			}
		}
	}
	for i, a := range h.Animals {
		for _, g := range h.groupsOf(a) {
			if a.Hatched.IsZero() {
				a.Hatched = g.Hatched
			}
		}
		a.Came = civil.Max(civil.Max(a.Acquired, a.Hatched), a.Since)
		g := h.animals[a.From]
		if g == nil || a.From == "" || a.Since.After(h.On) {
			continue
		}
		g.Count -= max(1, h.Records.Animals[i].Count)
		g.Regrouped = civil.Max(g.Regrouped, a.Since)
	}
	for i, a := range h.Animals {
		if a.Count < 1 { // nobody is left in it
			a.Left = civil.Min(a.Left, a.Regrouped)
			a.Count = 1
		}
		slices.SortStableFunc(a.Sexings, func(s, t Sexing) int { return s.On.Compare(t.On) })
		if n := len(a.Sexings); n > 0 && a.Sex == husbandry.Unsexed {
			switch s := a.Sexings[n-1]; {
			case s.All() < h.Records.Animals[i].Count:
			case s.Males == s.All():
				a.Sex = husbandry.Male
			case s.Females == s.All():
				a.Sex = husbandry.Female
			}
		}
	}
}

// groupsOf returns the group an animal was taken out of, the group that one
// was taken out of, and so on.
func (h *Herd) groupsOf(a *Animal) []*Animal {
	var list []*Animal
	for g := h.animals[a.From]; g != nil && a.From != "" && !slices.Contains(list, g); g = h.animals[g.From] {
		list = append(list, g)
	}
	return list
}

// lastSexing is the last look at its sex, or at that of the group or clutch it
// was part of then.
func (h *Herd) lastSexing(a *Animal) (last Sexing, ok bool) {
	take := func(list []Sexing, until civil.Date) {
		for _, s := range list {
			if until.IsZero() || !s.On.After(until) {
				last, ok = s, true
			}
		}
	}
	if take(a.Sexings, civil.Date{}); ok {
		return last, ok
	}
	until := a.Since
	for _, g := range h.groupsOf(a) {
		if take(g.Sexings, until); ok {
			return last, ok
		}
		until = g.Since
	}
	if c := h.clutches[a.Clutch]; c != nil && a.Clutch != "" {
		take(c.Sexings, civil.Date{})
	}
	return last, ok
}

// youngHappenings lists what starts work about young that have records: that
// they hatched, and that they were taken out of a group.
func (p *planner) youngHappenings(from civil.Date) []happening {
	var list []happening
	for _, a := range p.herd.Animals {
		if p.subjects[a.ID] == nil || !a.PresentOn(civil.Max(p.on, a.Came)) {
			continue
		}
		if _, sexed := p.herd.lastSexing(a); !a.Hatched.IsZero() && !a.Hatched.After(p.horizon) && (!a.Hatched.Before(from) || sexed) {
			list = append(list, happening{event: husbandry.EventHatched, on: a.Hatched, animal: a, words: "hatched " + p.day(a.Hatched)})
		}
		if a.From != "" && !a.Since.IsZero() && !a.Since.Before(from) && !a.Since.After(p.horizon) {
			list = append(list, happening{event: husbandry.EventSeparated, on: a.Since, animal: a,
				words: "taken out of " + string(a.From) + " on " + p.day(a.Since)})
		}
	}
	return list
}

// youngSubject returns whom a routine about young is about when an animal with
// a record starts it, or nil: of hatching only what is not the clutch's, which
// goes on with it while the young are small.
func (p *planner) youngSubject(r *routine, e happening) *subject {
	switch {
	case e.event == husbandry.EventHatched && (r.Kind == husbandry.Sexing || r.Kind == husbandry.Separate || r.Kind == husbandry.Place),
		e.event == husbandry.EventSeparated && r.Scope == husbandry.OfClutch:
		return p.subjects[e.animal.ID]
	}
	return nil
}

// idleYoung reports whether a routine about young has nothing to do for an
// animal as it is.
func (p *planner) idleYoung(s *subject, r *routine) bool {
	if s.scope != husbandry.OfAnimal {
		return false
	}
	a := s.animals[0]
	switch r.Kind {
	case husbandry.Sexing:
		return a.Sex != husbandry.Unsexed
	case husbandry.Separate: // females alone may stay together
		return a.Count < 2 || a.Sex == husbandry.Female
	case husbandry.Place: // who came from elsewhere was decided on then
		return a.Breeding || !a.Acquired.IsZero()
	}
	return false
}

// settledBefore reports whether a task that a hatching or a quarantine asks for
// was done or skipped for the group or clutch that an animal was part of.
func (p *planner) settledBefore(s *subject, r *routine, e happening) bool {
	if s.scope != husbandry.OfAnimal {
		return false
	}
	if e.event == husbandry.EventQuarantine {
		return p.ofGroup(s.animals[0], r.ID, string(e.event)+"-"+e.instance).Mark != ""
	}
	if e.event != husbandry.EventHatched {
		return false
	}
	a := s.animals[0]
	if o := p.ofGroup(a, r.ID, string(e.event)); o.Mark == tasks.MarkDone || o.Mark == tasks.Skip {
		return true
	}
	if c := p.herd.clutches[a.Clutch]; c != nil && a.Clutch != "" {
		return slices.ContainsFunc(c.ids(), func(id husbandry.ID) bool {
			o := p.h.Outcome(tasks.NewKey(id, r.ID, string(e.event)))
			return o.Mark == tasks.MarkDone || o.Mark == tasks.Skip
		})
	}
	return false
}

// ofGroup returns what became of a task of the groups an animal was taken out
// of, if that was while it was in them.
func (p *planner) ofGroup(a *Animal, routine husbandry.ID, occurrence string) tasks.Outcome {
	until := a.Since
	for _, g := range p.herd.groupsOf(a) {
		o := p.h.Outcome(tasks.NewKey(g.ID, routine, occurrence))
		if (o.Mark == tasks.MarkDone || o.Mark == tasks.Skip) && !o.On.After(until) {
			return o
		}
		until = civil.Min(until, g.Since)
	}
	return tasks.Outcome{}
}

// again plans what is asked anew because the last answer settled nothing, and
// reports whether an answer was given at all: then the first question is over.
func (p *planner) again(s *subject, r *routine) bool {
	var on civil.Date
	var wait husbandry.Days
	var why string
	switch {
	case r.Kind == husbandry.Sexing:
		var last Sexing
		var ok bool
		many := 1
		if c := s.clutch; c != nil {
			if n := len(c.Sexings); n > 0 {
				last, ok = c.Sexings[n-1], true
			}
			many = c.Hatched
		} else {
			last, ok = p.herd.lastSexing(s.animals[0])
			many = s.animals[0].Count
		}
		if !ok {
			return false
		}
		if last.Unsure == 0 && last.All() >= many {
			return true
		}
		on, wait = last.On, sexAgain
		why = fmt.Sprintf("Not certain on %s", p.day(on))
		if many > 1 {
			why = fmt.Sprintf("On %s %s, %s, the others not certain", p.day(on), count(last.Males, "male"), count(last.Females, "female"))
		}
	case r.Kind == husbandry.FirstFeed && s.clutch != nil && len(s.clutch.Unfed) > 0:
		on, wait = s.clutch.Unfed[len(s.clutch.Unfed)-1], feedAgain
		why = "Nothing was eaten on " + p.day(on)
	default:
		return false
	}
	a := &activity{s: s, r: r}
	key, due := a.key("again-"+on.String()), on.AddDays(int(wait))
	switch o := p.h.Outcome(key); o.Mark {
	case tasks.MarkDone, tasks.Skip:
		return true
	case tasks.PutOff:
		due = civil.Max(due, o.Until)
	}
	due = civil.Max(due, p.began)
	if due.AddDays(int(r.After) + owedFor).Before(p.on) {
		return true
	}
	p.add(planned{a: a, key: key, due: due, why: why + "; again after " + days(wait)})
	return true
}

// youngWatch plans the daily look into the tub of a clutch's young.
func (p *planner) youngWatch(a *activity) {
	c := a.s.clutch
	if c == nil || c.FirstHatched().IsZero() {
		return
	}
	from, to := c.FirstHatched().AddDays(1), c.LastHatched().AddDays(youngFor)
	p.dated(a, p.steps(a, from, to), nil, func(day civil.Date) string {
		return fmt.Sprintf("Day %d after the first of %d hatched, daily until %s", day.Sub(c.FirstHatched()), c.Hatched, p.day(to))
	})
}

// youngPlace is where the young of a clutch are that have all hatched and have
// records.
func (p *planner) youngPlace(c *Clutch) (tasks.Place, bool) {
	if c.State != HatchedAll {
		return tasks.Place{}, false
	}
	for _, a := range c.Young {
		if at, ok := p.places[a.Enclosure]; ok && a.Enclosure != "" && a.PresentOn(p.on) {
			return at, true
		}
	}
	return tasks.Place{}, false
}

// lastWeighed returns the last day on which an animal was weighed, by whatever
// routine, or the group it was part of then.
func (p *planner) lastWeighed(a *Animal) (last civil.Date) {
	of := func(a *Animal, until civil.Date) {
		for _, w := range slices.Backward(a.Weights) {
			if until.IsZero() || !w.On.After(until) {
				last = civil.Max(last, w.On)
				break
			}
		}
	}
	of(a, civil.Date{})
	for _, r := range p.byScope[husbandry.OfAnimal] {
		if r.Kind == husbandry.Weigh {
			last = civil.Max(last, p.h.LastDone(a.ID, r.ID))
		}
	}
	if a.From == "" {
		return last
	}
	until := a.Since
	for _, g := range p.herd.groupsOf(a) {
		of(g, until)
		until = g.Since
	}
	return last
}

// reviewYoung asks to look into what was found of young.
func (p *planner) reviewYoung() {
	for _, a := range p.herd.Animals {
		if s := p.subjects[a.ID]; s != nil && a.Count > 1 && a.PresentOn(p.on) {
			p.reviewSize(s, a.Weights, a.Regrouped)
		}
	}
	for _, c := range p.herd.Clutches {
		s := p.subjects[c.ID]
		if s == nil || s.clutch != c {
			continue
		}
		if len(c.Young) == 0 {
			p.reviewSize(s, c.Weights, civil.Date{})
			p.enterYoung(s)
		}
		n := len(c.Unfed)
		if n == 0 || c.Unfed[n-1].Sub(c.FirstHatched()) < unfedFor || c.FirstHatched().IsZero() {
			continue
		}
		if a, ok := p.builtIn(s, ReviewUnfed, husbandry.Review, "Review the feeding of the young"); ok {
			on := c.Unfed[n-1]
			p.ask(a, []string{"hatched"}, on, fmt.Sprintf("First hatched %s, and nothing eaten by %s, %s later",
				p.day(c.FirstHatched()), p.day(on), days(on.Sub(c.FirstHatched()))), unfedCaution)
		}
	}
}

// enterYoung asks for records of young that have none, as nothing else asks for
// their food and water.
func (p *planner) enterYoung(s *subject) {
	first := s.clutch.FirstHatched()
	if first.IsZero() || first.AddDays(enterFor).Before(p.on) {
		return
	}
	if a, ok := p.builtIn(s, EnterYoung, husbandry.Review, "Enter the young in the books"); ok {
		p.ask(a, []string{"hatched"}, first.AddDays(enterBy), fmt.Sprintf("Since %s %d hatched, and none has a record: "+
			"no feeding, water or weighing is asked for them", p.day(first), s.clutch.Hatched), enterCaution)
	}
}

// reviewSize asks to sort a group by size where the last weights of each lie
// far apart, unless somebody was taken out since.
func (p *planner) reviewSize(s *subject, weights []Weight, regrouped civil.Date) {
	i := len(weights) - 1
	for i >= 0 && len(weights[i].Each) < 2 {
		i--
	}
	if i < 0 || !weights[i].On.After(regrouped) && !regrouped.IsZero() {
		return
	}
	w := weights[i]
	light, heavy := slices.MinFunc(w.Each, cmp.Compare), slices.MaxFunc(w.Each, cmp.Compare)
	if float64(heavy) < sizeSpread*float64(light)-tiny {
		return
	}
	a, ok := p.builtIn(s, SortBySize, husbandry.Separate, "Sort by size")
	if !ok {
		return
	}
	u := p.rec.Units
	p.ask(a, []string{w.On.String()}, w.On, fmt.Sprintf("Weighed on %s: the heaviest %s, the lightest %s, %.1f times as heavy",
		p.day(w.On), u.Mass(heavy), u.Mass(light), float64(heavy/light)), sizeCaution)
}
