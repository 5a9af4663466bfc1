package scheduler

import (
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// happening is one event of one record.
type happening struct {
	event husbandry.Event
	on    civil.Date
	// instance tells it from others of the same kind, where the task's subject
	// does not; aliases are instances it was known as before.
	instance string
	aliases  []string
	clutch   *Clutch
	animal   *Animal // of the other events
	permit   *husbandry.Permit
	words    string
}

// anchored plans what is due once, so many days after an event.
func (p *planner) anchored() {
	byEvent := make(map[husbandry.Event][]*routine)
	for _, r := range p.routines {
		if r.Cadence.Pattern == husbandry.Anchored && !r.Off {
			byEvent[r.Cadence.Event] = append(byEvent[r.Cadence.Event], r)
		}
	}
	for _, e := range p.happenings() {
		// Each routine has its own subject; those of one subject replace one
		// another.
		type group struct {
			s     *subject
			match []*routine
		}
		var groups []group
		for _, r := range byEvent[e.event] {
			s := p.target(r, e)
			day := e.on.AddDays(int(r.Cadence.Offset))
			if e.animal != nil {
				day = civil.Max(day, e.animal.Came) // taken out of its group since
			}
			if s == nil || p.idle(s, r) || !r.matches(s, day) {
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
			for _, r := range p.off[g.s.scope] {
				if r.matches(g.s, e.on) {
					g.match = append(g.match, r)
				}
			}
			for _, r := range resolve(g.match) {
				p.once(g.s, r, e)
			}
		}
	}
}

// happenings lists what happened lately enough to lead to something now.
func (p *planner) happenings() []happening {
	var list []happening
	from := p.on.AddDays(-lookBack)
	add := func(h happening) {
		if !h.on.IsZero() && !h.on.After(p.horizon) {
			list = append(list, h)
		}
	}
	for _, c := range p.herd.Clutches {
		if _, open := p.subjects[c.ID]; !open && c.Laid.Before(from) {
			continue
		}
		var aliases []string
		for _, id := range c.Aliases {
			aliases = append(aliases, string(id))
		}
		h := happening{instance: string(c.ID), aliases: aliases, clutch: c}
		if h.event, h.on, h.words = husbandry.EventLaid, c.Laid, "laid "+p.laidWords(c); c.PartOf == "" {
			add(h)
		}
		h.event, h.on, h.words = husbandry.EventTubSet, p.tubSet(c), "tub set "+p.day(p.tubSet(c))
		if !h.on.IsZero() {
			add(h)
		}
		if first := c.FirstHatched(); !first.IsZero() {
			h.event, h.on, h.words = husbandry.EventHatched, first, "first hatched "+p.day(first)
			add(h)
		}
	}
	for i := range p.rec.Pairings {
		pair := &p.rec.Pairings[i]
		if a := p.herd.Animal(pair.Female); a != nil && !pair.From.IsZero() && !pair.From.Before(from) {
			add(happening{event: husbandry.EventPaired, on: pair.From, instance: string(pair.ID), animal: a, words: "paired " + p.day(pair.From)})
		}
	}
	for _, a := range p.herd.Animals {
		for _, d := range a.Mated {
			if !d.Before(from) {
				add(happening{event: husbandry.EventMated, on: d, instance: d.String(), animal: a, words: "mating seen " + p.day(d)})
			}
		}
		if !a.Acquired.IsZero() && !a.Acquired.Before(from) {
			add(happening{event: husbandry.EventAcquired, on: a.Acquired, instance: string(a.ID), animal: a, words: "came " + p.day(a.Acquired)})
		}
	}
	return slices.Concat(list, p.youngHappenings(from), p.apartHappenings(), p.permitHappenings())
}

// tubSet returns the day a clutch's tub was set; the laying day for a recorded
// clutch that stands in an incubator since nobody said when.
func (p *planner) tubSet(c *Clutch) civil.Date {
	if c.TubSet.IsZero() && c.Incubator != "" {
		return c.Laid
	}
	return c.TubSet
}

// target returns whom a routine is about when an event starts it, or nil: the
// clutch, or after its laying the mother; before it has animals of its own, a
// clutch stands for its young.
func (p *planner) target(r *routine, e happening) *subject {
	switch {
	case e.permit != nil:
		return p.permitSubject(r, e.permit)
	case e.animal != nil && (e.event == husbandry.EventHatched || r.Scope == husbandry.OfClutch):
		return p.youngSubject(r, e)
	}
	var id husbandry.ID
	switch r.Scope {
	case husbandry.OfClutch:
		if e.clutch != nil {
			id = e.clutch.ID
		}
	case husbandry.OfAnimal:
		switch {
		case e.clutch == nil:
			id = e.animal.ID
		case e.event == husbandry.EventLaid:
			id = e.clutch.Mother
		default:
			id = e.clutch.ID
		}
	case husbandry.OfEnclosure:
		switch {
		case e.clutch == nil:
			id = e.animal.Enclosure
		case e.event == husbandry.EventLaid:
			id = e.clutch.Enclosure
		}
	case husbandry.OfRoom:
		enclosure := husbandry.ID("")
		if e.clutch != nil {
			enclosure = e.clutch.Enclosure
		} else {
			enclosure = e.animal.Enclosure
		}
		if s := p.subjects[enclosure]; s != nil {
			id = s.room
		}
	case husbandry.OfKeeper:
		id = tasks.TheKeeper
	}
	if id == "" {
		return nil
	}
	return p.subjects[id]
}

// idle reports whether a routine of a clutch has nothing to do as the clutch
// stands: eggs are dug up once and set once, a sealed tub is left alone, eggs
// in which veins were seen are not candled again, and
// young that have not hatched are not fed.
func (p *planner) idle(s *subject, r *routine) bool {
	c := s.clutch
	if c == nil {
		return p.idleYoung(s, r) || p.idleApart(s, r)
	}
	switch r.Kind {
	case husbandry.DigEggs:
		return c.State != InBox || c.Counted
	case husbandry.SetTub:
		return c.State != InBox || !c.Counted && !p.dugUp(c)
	case husbandry.TubCheck:
		return !c.Expecting() || c.State == InBox || c.Tub == husbandry.Sealed
	case husbandry.Candle:
		return !c.Expecting() || c.State == InBox || c.Tub == husbandry.Sealed || !c.Veins.IsZero() || c.Hatched > 0
	case husbandry.HatchWatch:
		return !c.Expecting()
	case husbandry.YoungCheck, husbandry.FirstFeed, husbandry.Shed, husbandry.Label:
		return c.Hatched == 0
	case husbandry.Sexing, husbandry.Weigh:
		return c.Hatched == 0 || len(c.Young) > 0
	case husbandry.Separate, husbandry.Place:
		return true
	}
	return false
}

// dugUp reports whether the eggs were lifted without being counted.
func (p *planner) dugUp(c *Clutch) bool {
	for _, r := range p.routines {
		if r.Kind != husbandry.DigEggs || r.Off {
			continue
		}
		for _, id := range c.ids() {
			if !p.h.LastDone(id, r.ID).IsZero() {
				return true
			}
		}
	}
	return false
}

// waits reports whether work of a kind waits for ever.
func waits(k husbandry.Kind) bool {
	return k == husbandry.DigEggs || k == husbandry.SetTub || k == husbandry.Papers
}

// owedFor is how many days after its time work that follows an event is still
// asked for: weighing a female after laying makes no sense in the next season.
// Eggs to be lifted or set wait for ever, and so do papers.
const owedFor = 120

func (p *planner) once(s *subject, r *routine, e happening) {
	switch {
	case e.event == husbandry.EventQuarantine && (r.Kind == husbandry.Faecal || r.Kind == husbandry.Release):
		p.quarantineStep(s, r, e)
		return
	case p.again(s, r):
		return
	}
	offset, after := r.Cadence.Offset, r.After
	words := e.words
	if sheet := p.sheetOf(s); r.Origin == husbandry.Common && sheet != nil {
		switch {
		case r.Kind == husbandry.FirstFeed && !sheet.FirstFeed.IsZero():
			offset, after = sheet.FirstFeed.From, max(0, sheet.FirstFeed.To-sheet.FirstFeed.From)
		case r.Kind == husbandry.Sexing && sheet.SexableAt > 0:
			offset = sheet.SexableAt
		case r.Kind == husbandry.Separate && sheet.SubadultFrom > 0:
			offset = sheet.SubadultFrom
		}
	}
	if e.permit != nil {
		after = max(after, e.permit.Remind) // late is what comes after its last day
	}
	due := e.on.AddDays(int(offset))
	if due.AddDays(int(after)+owedFor).Before(p.on) && !waits(r.Kind) {
		return
	}
	occurrence := string(e.event)
	keys := []tasks.Key{}
	if s.clutch != nil {
		for _, id := range s.clutch.ids() {
			keys = append(keys, tasks.NewKey(id, r.ID, occurrence))
		}
	} else {
		single := e.event == husbandry.EventAcquired || e.event == husbandry.EventHatched || e.event == husbandry.EventSeparated
		if !single || s.scope != husbandry.OfAnimal {
			occurrence += "-" + e.instance
		}
		keys = append(keys, tasks.NewKey(s.id, r.ID, occurrence))
		for _, alias := range e.aliases {
			keys = append(keys, tasks.NewKey(s.id, r.ID, string(e.event)+"-"+alias))
		}
	}
	for _, k := range keys {
		switch o := p.h.Outcome(k); o.Mark {
		case tasks.MarkDone, tasks.Skip:
			return
		case tasks.PutOff:
			due = civil.Max(due, o.Until)
		}
	}
	if p.settledBefore(s, r, e) {
		return
	}
	if s.scope != husbandry.OfClutch && len(s.animals) > 0 && !slices.ContainsFunc(s.animals, func(a *Animal) bool { return a.PresentOn(civil.Max(due, p.on)) }) {
		return
	}
	if owed := civil.Max(p.began, s.came); due.Before(owed) {
		past := owed.Sub(due)
		if past > int(after) && !waits(r.Kind) {
			return // eggs still need it, whenever they were laid
		}
		due, after = owed, max(0, after-husbandry.Days(past))
	}
	a := activity{s: s, r: r}
	why := upperFirst(s.label()) + ": " + words
	switch {
	case s.clutch != nil && e.event != husbandry.EventLaid:
		why = upperFirst(words) // the title has the clutch
	case e.clutch != nil:
		why = "Clutch " + string(e.clutch.ID) + ": " + words // and not "laid 12 May" alone, which a reply may say
	}
	if offset > 0 {
		why += ", due " + days(offset) + " after"
	}
	open := s.clutch != nil && s.clutch.Outside && waits(r.Kind)
	if open {
		why += ", outside the nest box"
	}
	if r.Kind == husbandry.SetTub {
		why += p.whereWords(s.clutch)
	}
	t := p.task(&a, keys[0], due, why)
	t.Latest = due.AddDays(int(after))
	if open {
		// Nobody's eggs lie in the open until the evening, or another day.
		t.Pinned, t.Caution = true, inTheOpen+" "+t.Caution
	}
	if t.Status == tasks.Overdue || t.Status == tasks.Due {
		t.Status = tasks.Due
		if t.Latest.Before(p.on) {
			t.Status = tasks.Overdue
		}
	}
	if r.Missed == husbandry.Lapses && t.Status == tasks.Overdue {
		if t.Latest.AddDays(1) == p.on {
			p.lapse(&a, keys[0], due)
		}
		return
	}
	p.emit(&a, t)
}

// whereWords asks where a tub will stand, which decides when its eggs hatch,
// where there are several incubators and nobody has said of this one.
func (p *planner) whereWords(c *Clutch) string {
	if c == nil || len(p.rec.Incubators) < 2 || !p.herd.Standing(c).Assumed {
		return ""
	}
	return `; say where it stands, with "moved to" and the incubator's id`
}

// sheetOf returns the care sheet of a subject that is of one species.
func (p *planner) sheetOf(s *subject) *husbandry.Species {
	switch {
	case s.clutch != nil:
		return p.herd.Species(s.clutch.Species)
	case s.scope == husbandry.OfAnimal:
		return p.herd.Species(s.animals[0].Species)
	}
	return nil
}

// laidLately returns the latest laying in each enclosure.
func (p *planner) laidLately() map[husbandry.ID]civil.Date {
	m := make(map[husbandry.ID]civil.Date)
	for _, c := range p.herd.Clutches {
		if c.Enclosure != "" && !c.Laid.After(p.on) {
			m[c.Enclosure] = civil.Max(m[c.Enclosure], c.Laid)
		}
	}
	return m
}
