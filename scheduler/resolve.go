package scheduler

import (
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// subject is whom tasks are about.
type subject struct {
	id        husbandry.ID
	scope     husbandry.Scope
	enclosure *husbandry.Enclosure // it is, or lives in; nil for none
	room      husbandry.ID
	animals   []*Animal // residents, the animal itself, or a clutch's mother
	clutch    *Clutch
	place     tasks.Place
	// came is the first day anything could be owed to it; zero: always.
	came civil.Date
	// turns are the days on which who matches may change, ascending.
	turns []civil.Date
	name  string // in words, for titles
	whom  string // the same as tasks.Task.Whom, filled in with the first task
}

// selector is a husbandry.Selector made ready.
type selector struct {
	*husbandry.Selector
	rooms, racks, enclosures, animals, species map[husbandry.ID]bool
	ofAnimals                                  bool // it says something of animals
}

func compile(s *husbandry.Selector) selector {
	set := func(ids []husbandry.ID) map[husbandry.ID]bool {
		if len(ids) == 0 {
			return nil
		}
		m := make(map[husbandry.ID]bool, len(ids))
		for _, id := range ids {
			m[id] = true
		}
		return m
	}
	return selector{
		Selector: s,
		rooms:    set(s.Rooms), racks: set(s.Racks), enclosures: set(s.Enclosures),
		animals: set(s.Animals), species: set(s.Species),
		ofAnimals: len(s.Animals)+len(s.Species)+len(s.Stages)+len(s.Sexes)+len(s.States) > 0 || s.Groups,
	}
}

func has(set map[husbandry.ID]bool, id husbandry.ID) bool { return set == nil || set[id] }

// animal reports whether an animal matches on a day; where it lives is asked
// elsewhere.
func (s *selector) animal(a *Animal, day civil.Date) bool {
	if !has(s.animals, a.ID) || !has(s.species, a.Species) || s.Groups && a.Count <= 1 {
		return false
	}
	if len(s.Sexes) > 0 && !slices.Contains(s.Sexes, a.Sex) {
		return false
	}
	if len(s.Stages) > 0 && !slices.Contains(s.Stages, a.StageOn(day)) {
		return false
	}
	for _, state := range s.States {
		if a.In(state, day) {
			return true
		}
	}
	return len(s.States) == 0
}

// place reports whether the place of a subject matches.
func (s *selector) place(e *husbandry.Enclosure, room husbandry.ID) bool {
	if !has(s.rooms, room) {
		return false
	}
	if e == nil {
		return s.racks == nil && s.enclosures == nil && !s.NestBox && !s.Lamp
	}
	return has(s.racks, e.Rack) && has(s.enclosures, e.ID) && (!s.NestBox || e.NestBox != nil) && (!s.Lamp || e.Lamp != nil)
}

// matches reports whether the routine is for the subject on a day.
func (r *routine) matches(s *subject, day civil.Date) bool {
	sel := &r.sel
	switch s.scope {
	case husbandry.OfKeeper:
		return true
	case husbandry.OfClutch:
		// A clutch is of a species and a mother, and is where it stands; her
		// other traits are asked of her only where she is known.
		c := s.clutch
		if !has(sel.species, c.Species) || !has(sel.animals, c.Mother) || !sel.place(s.enclosure, s.place.Room) {
			return false
		}
		return len(s.animals) == 0 || !sel.Groups && (len(sel.States) == 0 || slices.ContainsFunc(sel.States, func(st husbandry.State) bool { return s.animals[0].In(st, day) }))
	case husbandry.OfRoom:
		return has(sel.rooms, s.room)
	}
	if !sel.place(s.enclosure, s.room) {
		return false
	}
	if s.scope == husbandry.OfEnclosure && !sel.ofAnimals && !needsAnimals(r.Kind) {
		return true
	}
	for _, a := range s.animals {
		if a.PresentOn(day) && sel.animal(a, day) && !a.rests(r, day) {
			return true
		}
	}
	return false
}

// needsAnimals reports whether a task of an enclosure is only done where
// somebody lives.
func needsAnimals(k husbandry.Kind) bool {
	switch k {
	case husbandry.Feed, husbandry.Supplement, husbandry.Water, husbandry.Mist, husbandry.Clean, husbandry.NestTopUp, husbandry.Faecal:
		return true
	}
	return false
}

// group is within what routines replace one another: their kind, and for work
// that follows an event the event, because weighing a female three days after
// laying is not the same work as the fortnightly weighing of everybody.
type group struct {
	kind  husbandry.Kind
	event husbandry.Event
	own   husbandry.ID // Own routines only replace their own id
}

func (r *routine) group() group {
	g := group{kind: r.Kind}
	if r.Cadence.Pattern == husbandry.Anchored {
		g.event = r.Cadence.Event
	}
	if r.Kind == husbandry.Own || r.Kind == husbandry.Review {
		g.own = r.ID
	}
	return g
}

// resolve returns, of the routines that match a subject, those that hold: of
// each group the keeper's, else the care sheet's, else the common ones, less
// what the keeper turned off. Those of one origin hold side by side.
func resolve(match []*routine) []*routine {
	type best struct {
		group
		origin husbandry.Origin
	}
	var strongest []best // a subject has few groups: no map
	find := func(g group) int { return slices.IndexFunc(strongest, func(b best) bool { return b.group == g }) }
	var off []husbandry.Kind
	for _, r := range match {
		if r.Off {
			off = append(off, r.Kind)
			continue
		}
		if i := find(r.group()); i < 0 {
			strongest = append(strongest, best{r.group(), r.Origin})
		} else {
			strongest[i].origin = min(strongest[i].origin, r.Origin)
		}
	}
	held := match[:0:0]
	for _, r := range match {
		if r.Off || r.Origin != husbandry.Keeper && slices.Contains(off, r.Kind) {
			continue
		}
		if strongest[find(r.group())].origin == r.Origin {
			held = append(held, r)
		}
	}
	return held
}

// stretch is a run of days, both ends included.
type stretch struct{ From, To civil.Date }

// activity is a routine that holds for a subject, and when.
type activity struct {
	s     *subject
	r     *routine
	title string // filled in with the first task, as do is
	do    string
	marks tasks.Marks
	ahead bool    // something is said of tasks after the plan's day
	hosts *[]host // where to note what others ride on; nil: nobody does
	moves tasks.Moves
	mate  husbandry.ID // whom a pairing names
	// spans are the days on which it holds, ascending, within the days the
	// plan looks at. from zero: longer than the plan looks back.
	spans []stretch
}

// turnsBack is how many days back it is told when a subject began to match.
const turnsBack = 62

// activities returns the recurring, windowed and riding routines that hold for
// a subject at some time from turnsBack days ago to the horizon.
func (p *planner) activities(s *subject) []activity {
	var list []activity
	candidates := p.candidates(s)
	var match []*routine
	begin := civil.Date{}
	for i := 0; i <= len(s.turns); i++ {
		end := p.horizon
		if i < len(s.turns) {
			end = s.turns[i].AddDays(-1)
		}
		day := begin
		if day.IsZero() {
			day = civil.Min(end, p.on.AddDays(-turnsBack))
		}
		match = match[:0]
		for _, r := range candidates {
			if r.matches(s, day) {
				match = append(match, r)
			}
		}
		for _, r := range resolve(match) {
			j := slices.IndexFunc(list, func(a activity) bool { return a.r == r })
			if j < 0 {
				list = append(list, activity{s: s, r: r, spans: []stretch{{begin, end}}})
				continue
			}
			if last := &list[j].spans[len(list[j].spans)-1]; last.To.AddDays(1) == begin {
				last.To = end
			} else {
				list[j].spans = append(list[j].spans, stretch{begin, end})
			}
		}
		if i < len(s.turns) {
			begin = s.turns[i]
		}
	}
	return list
}

type scopeSpecies struct {
	scope   husbandry.Scope
	species husbandry.ID
}

// candidates returns the routines that may be for a subject, in the order of
// the records: those for every species and those for its own. Anchored ones
// are looked up for their event.
func (p *planner) candidates(s *subject) []*routine {
	var species []husbandry.ID
	if s.clutch != nil {
		species = append(species, s.clutch.Species)
	} else {
		for _, a := range s.animals {
			if !slices.Contains(species, a.Species) {
				species = append(species, a.Species)
			}
		}
	}
	if len(species) == 1 {
		k := scopeSpecies{s.scope, species[0]}
		if _, ok := p.forSpecies[k]; !ok {
			p.forSpecies[k] = p.selectFor(s.scope, species)
		}
		return p.forSpecies[k]
	}
	return p.selectFor(s.scope, species)
}

func (p *planner) selectFor(scope husbandry.Scope, species []husbandry.ID) []*routine {
	var list []*routine
	for _, r := range p.byScope[scope] {
		if r.Cadence.Pattern == husbandry.Anchored && !r.Off {
			continue
		}
		if scope == husbandry.OfKeeper || scope == husbandry.OfRoom || r.sel.species == nil ||
			slices.ContainsFunc(species, func(id husbandry.ID) bool { return r.sel.species[id] }) {
			list = append(list, r)
		}
	}
	return list
}

// on returns the span that holds day.
func (a *activity) on(day civil.Date) (stretch, bool) {
	for _, t := range a.spans {
		if !day.Before(t.From) && !day.After(t.To) {
			return t, true
		}
	}
	return stretch{}, false
}

// owedFrom returns the first day from which a missed task of the activity
// counts as missed, given the span that holds it.
func (p *planner) owedFrom(a *activity, span stretch) civil.Date {
	return civil.Max(civil.Max(p.began, a.s.came), span.From)
}

// turns returns the days, from turnsBack days ago up to the plan's horizon, on
// which an animal begins or ceases to match something.
func (p *planner) turns(into []civil.Date, a *Animal) []civil.Date {
	from := p.on.AddDays(-turnsBack)
	add := func(d civil.Date) {
		if d.After(from) && !d.After(p.horizon) {
			into = append(into, d)
		}
	}
	add(a.Came)
	add(a.Left)
	if a.Apart != nil {
		add(a.Apart.Began)
	}
	if a.Stage == "" && !a.Hatched.IsZero() {
		for _, next := range a.stageAges() {
			if next.from > 0 {
				add(a.Hatched.AddDays(int(next.from)))
			}
		}
	}
	for _, t := range a.GravidTimes {
		add(t.From)
		if t.To.IsZero() && !t.Until.IsZero() {
			add(t.Until.AddDays(1))
		}
		add(t.To)
	}
	a.winterTurns(add)
	for i := len(a.Laid) - 1; i >= 0 && a.Laid[i].Laid.AddDays(postLaying+1).After(from); i-- {
		add(a.Laid[i].Laid)
		add(a.Laid[i].Laid.AddDays(postLaying + 1))
	}
	return into
}

func inOrder(days []civil.Date) []civil.Date {
	slices.SortFunc(days, civil.Date.Compare)
	return slices.Compact(days)
}

func (p *planner) enclosureSubjects() []*subject {
	list := make([]*subject, 0, len(p.rec.Enclosures))
	for i := range p.rec.Enclosures {
		e := &p.rec.Enclosures[i]
		s := &subject{id: e.ID, scope: husbandry.OfEnclosure, enclosure: e, room: e.Room, place: p.places[e.ID], animals: p.herd.Residents(e.ID)}
		always := len(s.animals) == 0
		for _, a := range s.animals {
			s.turns = p.turns(s.turns, a)
			always = always || a.Came.IsZero()
			s.came = civil.Min(s.came, a.Came)
		}
		if always {
			s.came = civil.Date{}
		}
		s.turns = inOrder(s.turns)
		s.name = p.enclosureName(s)
		list = append(list, s)
	}
	return list
}

func (p *planner) animalSubjects() []*subject {
	list := make([]*subject, 0, len(p.herd.Animals))
	for _, a := range p.herd.Animals {
		if !a.Left.IsZero() && a.Left.AddDays(1).Before(p.on) {
			continue
		}
		e := p.herd.enclosures[a.Enclosure]
		s := &subject{id: a.ID, scope: husbandry.OfAnimal, enclosure: e, animals: []*Animal{a}, came: a.Came, place: p.places[a.Enclosure]}
		if e != nil {
			s.room = e.Room
		}
		s.turns = inOrder(p.turns(nil, a))
		s.name = p.animalName(a)
		list = append(list, s)
	}
	return list
}

// clutchSubjects leaves out clutches that nothing more is done for.
func (p *planner) clutchSubjects() []*subject {
	var list []*subject
	for _, c := range p.herd.Clutches {
		if c.Laid.After(p.on) || c.State == Ended || c.State == HatchedAll && c.LastHatched().AddDays(lookBack).Before(p.on) {
			continue
		}
		s := &subject{id: c.ID, scope: husbandry.OfClutch, clutch: c, place: p.clutchPlace(c), came: c.Laid}
		s.enclosure, s.room = p.herd.enclosures[c.Enclosure], s.place.Room
		if m := p.herd.Animal(c.Mother); m != nil {
			s.animals = []*Animal{m}
		}
		s.name = p.clutchName(c)
		list = append(list, s)
	}
	return list
}

func (p *planner) roomSubjects() []*subject {
	var list []*subject
	for _, r := range p.rec.Rooms {
		name := string(r.ID)
		if r.Name != "" {
			name = r.Name
		}
		list = append(list, &subject{id: r.ID, scope: husbandry.OfRoom, room: r.ID, place: p.places[r.ID], name: name})
	}
	return list
}

func (p *planner) keeperSubject() *subject {
	return &subject{id: tasks.TheKeeper, scope: husbandry.OfKeeper}
}
