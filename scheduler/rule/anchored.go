package rule

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Anchored proposes tasks that are due once, a fixed number of days after an
// event.
func Anchored(d *plan.Day, propose plan.Propose) {
	byEvent := make(map[husbandry.Event][]*plan.Routine)
	for _, r := range d.Routines {
		if r.Cadence.Pattern == husbandry.Anchored && !r.Off {
			byEvent[r.Cadence.Event] = append(byEvent[r.Cadence.Event], r)
		}
	}
	for _, e := range happenings(d) {
		// Routines about the same subject may replace one another, so they are
		// collected by subject.
		type group struct {
			s     *plan.Subject
			match []*plan.Routine
		}
		var groups []group
		for _, r := range byEvent[e.event] {
			s := target(d, r, e)
			day := e.on.AddDays(int(r.Cadence.Offset))
			if e.animal != nil {
				day = civil.Max(day, e.animal.Came) // before that day the animal may have been in a group
			}
			if s == nil || idle(d, s, r) || !r.Matches(s, day) {
				continue
			}
			i := slices.IndexFunc(groups, func(g group) bool { return g.s == s })
			if i < 0 {
				i = len(groups)
				groups = append(groups, group{s: s})
			}
			groups[i].match = append(groups[i].match, r)
		}
		for _, g := range groups {
			for _, r := range d.TurnedOff(g.s.Scope) {
				if r.Matches(g.s, e.on) {
					g.match = append(g.match, r)
				}
			}
			for _, r := range plan.Resolve(g.match) {
				once(d, propose, g.s, r, e)
			}
		}
	}
}

// happenings lists the events that are recent enough for a task today or later.
func happenings(d *plan.Day) []happening {
	var list []happening
	from := d.On.AddDays(-herd.LookBack)
	add := func(h happening) {
		if !h.on.IsZero() && !h.on.After(d.Horizon) {
			list = append(list, h)
		}
	}
	for _, c := range d.Clutches {
		if d.Subject(c.ID) != nil || !c.Laid.Before(from) {
			ofClutch(d, c, add)
		}
	}
	for i := range d.Records.Pairings {
		pair := &d.Records.Pairings[i]
		if a := d.Animal(pair.Female); a != nil && !pair.From.IsZero() && !pair.From.Before(from) {
			add(happening{event: husbandry.EventPaired, on: pair.From, instance: string(pair.ID), animal: a, words: "paired " + d.DateWords(pair.From)})
		}
	}
	for _, a := range d.Animals {
		for _, on := range a.Mated {
			if !on.Before(from) {
				add(happening{event: husbandry.EventMated, on: on, instance: on.String(), animal: a, words: "mating seen " + d.DateWords(on)})
			}
		}
		if !a.Acquired.IsZero() && !a.Acquired.Before(from) {
			add(happening{event: husbandry.EventAcquired, on: a.Acquired, instance: string(a.ID), animal: a, words: "came " + d.DateWords(a.Acquired)})
		}
	}
	for _, of := range eventsOf {
		list = append(list, of(d, from)...)
	}
	return list
}

// ofClutch adds the events of a clutch.
func ofClutch(d *plan.Day, c *herd.Clutch, add func(happening)) {
	h := happening{instance: string(c.ID), clutch: c}
	for _, id := range c.Aliases {
		h.aliases = append(h.aliases, string(id))
	}
	if c.PartOf == "" {
		h.event, h.on, h.words = husbandry.EventLaid, c.Laid, "laid "+d.LaidWords(c)
		add(h)
	}
	if on := d.TubSetOn(c); !on.IsZero() {
		h.event, h.on, h.words = husbandry.EventTubSet, on, "tub set "+d.DateWords(on)
		add(h)
	}
	if first := c.FirstHatched(); !first.IsZero() {
		h.event, h.on, h.words = husbandry.EventHatched, first, "first hatched "+d.DateWords(first)
		add(h)
	}
}

// target returns the subject of a routine that an event starts, or nil. The
// subject is the animal or the clutch of the event, or the mother after laying.
// A clutch stands for its young until the young have records.
func target(d *plan.Day, r *plan.Routine, e happening) *plan.Subject {
	for _, of := range subjectOf {
		if s, theirs := of(d, r, e); theirs {
			return s
		}
	}
	id := husbandry.ID("")
	switch {
	case r.Scope == husbandry.OfKeeper:
		id = tasks.TheKeeper
	case r.Scope == husbandry.OfRoom:
		if s := d.Subject(e.enclosure()); s != nil {
			id = s.Room
		}
	case e.clutch != nil:
		id = ofClutchEvent(r.Scope, e)
	case r.Scope == husbandry.OfAnimal:
		id = e.animal.ID
	case r.Scope == husbandry.OfEnclosure:
		id = e.animal.Enclosure
	}
	if id == "" {
		return nil
	}
	return d.Subject(id)
}

// enclosure returns the enclosure in which an event happened.
func (e happening) enclosure() husbandry.ID {
	if e.clutch != nil {
		return e.clutch.Enclosure
	}
	return e.animal.Enclosure
}

// ofClutchEvent returns the id of the subject, of a given scope, for an event
// of a clutch. After laying, the subject is the mother or her enclosure.
func ofClutchEvent(scope husbandry.Scope, e happening) husbandry.ID {
	laid := e.event == husbandry.EventLaid
	switch {
	case scope == husbandry.OfClutch, scope == husbandry.OfAnimal && !laid:
		return e.clutch.ID
	case scope == husbandry.OfAnimal:
		return e.clutch.Mother
	case scope == husbandry.OfEnclosure && laid:
		return e.clutch.Enclosure
	}
	return ""
}

// owedFor is the number of days after its due day for which a task after an
// event is still asked for: weighing a female after laying makes no sense in
// the next season. Kinds with NeverLate are asked for without a limit.
const owedFor = 120

// once proposes the task of a routine after one event.
func once(d *plan.Day, propose plan.Propose, s *plan.Subject, r *plan.Routine, e happening) {
	for _, instead := range insteadOf {
		if instead(d, propose, s, r, e) {
			return
		}
	}
	offset, after := r.Cadence.Offset, r.After
	if adjust := bySheet[r.Kind]; adjust != nil && r.Origin == husbandry.Common {
		if sheet := sheetOf(d, s); sheet != nil {
			offset, after = adjust(sheet, offset, after)
		}
	}
	after = max(after, e.slack)
	due := e.on.AddDays(int(offset))
	if due.AddDays(int(after)+owedFor).Before(d.On) && !r.Kind.NeverLate() {
		return
	}
	single := &plan.Single{
		Duty: d.Once(s, r.Routine), Keys: keysOfEvent(s, r, e), Due: due,
		Event: true, Slack: after, NeverLate: r.Kind.NeverLate(),
	}
	if s.Scope != husbandry.OfClutch && len(s.Animals) > 0 {
		single.While = func(due civil.Date) bool {
			return slices.ContainsFunc(s.Animals, func(a *herd.Animal) bool { return a.PresentOn(civil.Max(due, d.On)) })
		}
	}
	if s.Scope == husbandry.OfAnimal {
		inherit(d, single, s.Animals[0], e.event)
	}
	single.Why = e.reason(s, offset)
	if finish := finishOf[r.Kind]; finish != nil {
		finish(d, s, single)
	}
	propose(single)
}

// reason returns the reason, in words, of a task that is due offset days after
// the event.
func (e happening) reason(s *plan.Subject, offset husbandry.Days) string {
	why := english.UpperFirst(s.Label()) + ": " + e.words
	switch {
	case s.Clutch != nil && e.event != husbandry.EventLaid:
		why = english.UpperFirst(e.words) // the title already names the clutch
	case e.clutch != nil:
		why = "Clutch " + string(e.clutch.ID) + ": " + e.words // "laid 12 May" alone would read as a command of a reply
	}
	if offset > 0 {
		why += ", due " + english.Days(offset) + " after"
	}
	return why
}

// inherit makes a task of an animal count as done if it was done for the
// animal's group, or for the clutch from which the animal hatched.
func inherit(d *plan.Day, t *plan.Single, a *herd.Animal, e husbandry.Event) {
	switch e {
	case husbandry.EventQuarantine:
		t.Group = a
	case husbandry.EventHatched:
		t.Group = a
		if a.Clutch != "" {
			t.Young = d.Clutch(a.Clutch)
		}
	}
}

// keysOfEvent returns the key of the task for an event, and then the keys of
// the task under the event's earlier names.
func keysOfEvent(s *plan.Subject, r *plan.Routine, e happening) (keys []tasks.Key) {
	occurrence := string(e.event)
	if s.Clutch != nil {
		for _, id := range s.Clutch.IDs() {
			keys = append(keys, tasks.NewKey(id, r.ID, occurrence))
		}
		return keys
	}
	single := e.event == husbandry.EventAcquired || e.event == husbandry.EventHatched || e.event == husbandry.EventSeparated
	if !single || s.Scope != husbandry.OfAnimal {
		occurrence += "-" + e.instance
	}
	keys = append(keys, tasks.NewKey(s.ID, r.ID, occurrence))
	for _, alias := range e.aliases {
		keys = append(keys, tasks.NewKey(s.ID, r.ID, string(e.event)+"-"+alias))
	}
	return keys
}

// sheetOf returns the care sheet of a subject, or nil if the subject has no
// species or several.
func sheetOf(d *plan.Day, s *plan.Subject) *husbandry.Species {
	switch {
	case s.Clutch != nil:
		return d.Species(s.Clutch.Species)
	case s.Scope == husbandry.OfAnimal:
		return d.Species(s.Animals[0].Species)
	}
	return nil
}
