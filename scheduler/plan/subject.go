package plan

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Subject is the record that a task is about: an enclosure, an animal, a
// clutch, a room, a feeder, a permit or the keeper. The plan makes the subjects
// of the records. Rules make further subjects with [NewSubject].
type Subject struct {
	ID        husbandry.ID
	Scope     husbandry.Scope
	Enclosure *husbandry.Enclosure // the enclosure itself, or the enclosure of the animal or clutch; nil for none
	Room      husbandry.ID
	Animals   []*herd.Animal // residents, the animal itself, or a clutch's mother
	Clutch    *herd.Clutch
	Place     tasks.Place
	// Came is the first day on which a task about the subject could be due;
	// zero: always.
	Came civil.Date

	// turns are the days on which other routines may begin to match the
	// subject, ascending.
	turns []civil.Date
	name  string // the subject in words, for titles
	whom  string // the subject as tasks.Task.Whom has it
}

// NewSubject makes a subject for a rule, with its name in words. The subject
// has neither a place nor animals.
func NewSubject(id husbandry.ID, scope husbandry.Scope, name string) *Subject {
	return &Subject{ID: id, Scope: scope, name: name, whom: nameLine(name)}
}

// Routine is a husbandry.Routine prepared for a plan.
type Routine struct {
	*husbandry.Routine
	rank  int // position in the records, for a stable order
	sel   selector
	Dates []civil.Date // dates of a fixed cadence, from herd.LookBack days before the Day to its horizon
	Words string       // the cadence in words
}

// selector is a husbandry.Selector prepared for a plan.
type selector struct {
	*husbandry.Selector
	rooms, racks, enclosures, animals, species map[husbandry.ID]bool
	ofAnimals                                  bool // the selector has conditions on animals
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

// animal reports whether an animal matches the selector on a day. The method
// place checks the animal's place.
func (s *selector) animal(a *herd.Animal, day civil.Date) bool {
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

// clutch reports whether a clutch matches the selector, by its species, its
// mother and its place. Conditions on other traits of the mother count only if
// she is known.
func (s *selector) clutch(of *Subject, day civil.Date) bool {
	c := of.Clutch
	if !has(s.species, c.Species) || !has(s.animals, c.Mother) || !s.place(of.Enclosure, of.Place.Room) {
		return false
	}
	if len(of.Animals) == 0 {
		return true
	}
	mother := of.Animals[0]
	return !s.Groups && (len(s.States) == 0 || slices.ContainsFunc(s.States, func(st husbandry.State) bool { return mother.In(st, day) }))
}

// Matches reports whether the routine is for the subject on a day.
func (r *Routine) Matches(s *Subject, day civil.Date) bool {
	sel := &r.sel
	switch s.Scope {
	case husbandry.OfKeeper:
		return true
	case husbandry.OfClutch:
		return sel.clutch(s, day)
	case husbandry.OfRoom:
		return has(sel.rooms, s.Room)
	}
	if !sel.place(s.Enclosure, s.Room) {
		return false
	}
	if s.Scope == husbandry.OfEnclosure && !sel.ofAnimals && !r.Kind.NeedsAnimals() {
		return true
	}
	for _, a := range s.Animals {
		if a.PresentOn(day) && sel.animal(a, day) && !a.Rests(r.Routine, day) {
			return true
		}
	}
	return false
}

// group is a group of routines that replace one another: the routines of one
// kind. Routines after an event form a separate group for each event, because
// weighing a female three days after laying is not the same work as weighing
// all animals every fortnight.
type group struct {
	kind  husbandry.Kind
	event husbandry.Event
	own   husbandry.ID // id of the routine, for kinds with ReplacedByID; else ""
}

func (r *Routine) group() group {
	g := group{kind: r.Kind}
	if r.Cadence.Pattern == husbandry.Anchored {
		g.event = r.Cadence.Event
	}
	if r.Kind.ReplacedByID() {
		g.own = r.ID
	}
	return g
}

// Resolve returns the routines that hold, among the routines that match a
// subject. In each group the keeper's routines replace those of the care sheet,
// and the care sheet's replace the common ones. Routines that the keeper turned
// off are left out. Several routines of the same origin all hold.
func Resolve(match []*Routine) []*Routine {
	type best struct {
		group
		origin husbandry.Origin
	}
	var strongest []best // a list is faster than a map, because a subject has few groups
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

// Stretch is a run of days, both ends included.
type Stretch struct{ From, To civil.Date }

// Duty is a routine that holds for a subject, with the days on which it holds.
type Duty struct {
	Subject *Subject
	Routine *Routine
	Mate    husbandry.ID // the male that a pairing names; "" for none

	title string // title and do are filled in with the first task
	do    string
	marks tasks.Marks
	ahead bool // the keeper marked tasks dated after the Day
	moves tasks.Moves
	// spans are the runs of days on which the duty holds, ascending, within the
	// days that the plan looks at. A zero From is before the first day that the
	// plan looks at.
	spans []Stretch
}

// turnsBack is the number of days before the Day for which the plan knows when
// duties began to hold.
const turnsBack = 62

// findDuties works out the recurring, windowed and riding routines that hold
// for a subject on some day from turnsBack days ago to the horizon.
func (d maker) findDuties(s *Subject) {
	var list []*Duty
	candidates := d.Candidates(s)
	var match []*Routine
	begin := civil.Date{}
	for i := 0; i <= len(s.turns); i++ {
		end := d.Horizon
		if i < len(s.turns) {
			end = s.turns[i].AddDays(-1)
		}
		day := begin
		if day.IsZero() {
			day = civil.Min(end, d.On.AddDays(-turnsBack))
		}
		match = match[:0]
		for _, r := range candidates {
			if r.Matches(s, day) {
				match = append(match, r)
			}
		}
		for _, r := range Resolve(match) {
			j := slices.IndexFunc(list, func(a *Duty) bool { return a.Routine == r })
			if j < 0 {
				list = append(list, &Duty{Subject: s, Routine: r, spans: []Stretch{{begin, end}}})
				continue
			}
			if last := &list[j].spans[len(list[j].spans)-1]; last.To.AddDays(1) == begin {
				last.To = end
			} else {
				list[j].spans = append(list[j].spans, Stretch{begin, end})
			}
		}
		if i < len(s.turns) {
			begin = s.turns[i]
		}
	}
	for _, a := range list {
		r := a.Routine
		a.marks = d.History.Marks(s.ID, r.ID)
		a.moves = d.movesOf(a)
		a.ahead = a.marks.Ahead(d.On, d.On.AddDays(-int(r.Before)-markAhead))
		k := hostKey{s.ID, r.Kind}
		d.held[k] = append(d.held[k], r.ID)
		if d.hosted[r.Kind] && d.settled.hosts[k] == nil {
			d.settled.hosts[k] = new([]Host)
		}
	}
	d.duties = append(d.duties, list...)
}

type scopeSpecies struct {
	scope   husbandry.Scope
	species husbandry.ID
}

// Candidates returns the routines that may match a subject, in the order of the
// records: the routines for every species and the routines for the subject's
// species. Anchored routines are not among them; they are looked up by event.
func (d *Day) Candidates(s *Subject) []*Routine {
	var species []husbandry.ID
	if s.Clutch != nil {
		species = append(species, s.Clutch.Species)
	} else {
		for _, a := range s.Animals {
			if !slices.Contains(species, a.Species) {
				species = append(species, a.Species)
			}
		}
	}
	if len(species) == 1 {
		k := scopeSpecies{s.Scope, species[0]}
		if _, ok := d.forSpecies[k]; !ok {
			d.forSpecies[k] = d.selectFor(s.Scope, species)
		}
		return d.forSpecies[k]
	}
	return d.selectFor(s.Scope, species)
}

func (d *Day) selectFor(scope husbandry.Scope, species []husbandry.ID) []*Routine {
	var list []*Routine
	for _, r := range d.byScope[scope] {
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

// With returns the duty with the male that a pairing names.
func (a *Duty) With(mate husbandry.ID) *Duty {
	of := *a
	of.Mate = mate
	return &of
}

// Span returns the run of days around a day on which the duty holds.
func (a *Duty) Span(day civil.Date) (Stretch, bool) {
	for _, t := range a.spans {
		if !day.Before(t.From) && !day.After(t.To) {
			return t, true
		}
	}
	return Stretch{}, false
}

// Holds reports whether the duty holds on a day.
func (a *Duty) Holds(day civil.Date) bool {
	_, ok := a.Span(day)
	return ok
}

// After returns the first day after a day on which the duty begins to hold, or
// no date.
func (a *Duty) After(day civil.Date) civil.Date {
	for _, t := range a.spans {
		if t.From.After(day) {
			return t.From
		}
	}
	return civil.Date{}
}

// Key makes the key of one of the duty's tasks.
func (a *Duty) Key(occurrence string) tasks.Key {
	return tasks.NewKey(a.Subject.ID, a.Routine.ID, occurrence)
}

// OwedFrom returns the first day from which a missed task of a duty counts as
// missed. span is the run of days that includes the task's date.
func (d *Day) OwedFrom(a *Duty, span Stretch) civil.Date {
	return civil.Max(civil.Max(d.Began, a.Subject.Came), span.From)
}

// turns returns the days on which an animal may begin or cease to match a
// routine, from turnsBack days ago to the horizon.
func (d maker) turns(into []civil.Date, a *herd.Animal) []civil.Date {
	from := d.On.AddDays(-turnsBack)
	add := func(day civil.Date) {
		if day.After(from) && !day.After(d.Horizon) {
			into = append(into, day)
		}
	}
	add(a.Came)
	add(a.Left)
	if a.Apart != nil {
		add(a.Apart.Began)
	}
	if a.Stage == "" && !a.Hatched.IsZero() {
		for _, next := range a.StageAges() {
			if next.From > 0 {
				add(a.Hatched.AddDays(int(next.From)))
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
	a.WinterTurns(add)
	for i := len(a.Laid) - 1; i >= 0 && a.Laid[i].Laid.AddDays(herd.PostLaying+1).After(from); i-- {
		add(a.Laid[i].Laid)
		add(a.Laid[i].Laid.AddDays(herd.PostLaying + 1))
	}
	return into
}

// findSubjects makes the subjects of all records.
func (d maker) findSubjects() {
	d.walk = slices.Concat(d.enclosureSubjects(), d.animalSubjects(), d.clutchSubjects(), d.roomSubjects(), []*Subject{d.keeperSubject()})
	for _, s := range d.walk {
		s.whom = nameLine(s.Label())
		d.subjects[s.ID] = s
	}
	// Permits have no place and no animals, and only the routines for their
	// renewal are about them.
	for i := range d.Records.Permits {
		v := &d.Records.Permits[i]
		d.subjects[v.ID] = NewSubject(v.ID, husbandry.OfKeeper, v.Words)
	}
}

func (d maker) enclosureSubjects() []*Subject {
	list := make([]*Subject, 0, len(d.Records.Enclosures))
	for i := range d.Records.Enclosures {
		e := &d.Records.Enclosures[i]
		s := &Subject{ID: e.ID, Scope: husbandry.OfEnclosure, Enclosure: e, Room: e.Room, Place: d.PlaceOf(e.ID), Animals: d.Residents(e.ID)}
		always := len(s.Animals) == 0
		for _, a := range s.Animals {
			s.turns = d.turns(s.turns, a)
			always = always || a.Came.IsZero()
			s.Came = civil.Min(s.Came, a.Came)
		}
		if always {
			s.Came = civil.Date{}
		}
		s.turns = InOrder(s.turns)
		s.name = d.enclosureName(s)
		list = append(list, s)
	}
	return list
}

func (d maker) animalSubjects() []*Subject {
	list := make([]*Subject, 0, len(d.Animals))
	for _, a := range d.Animals {
		if !a.Left.IsZero() && a.Left.AddDays(1).Before(d.On) {
			continue
		}
		e := d.Enclosure(a.Enclosure)
		s := &Subject{ID: a.ID, Scope: husbandry.OfAnimal, Enclosure: e, Animals: []*herd.Animal{a}, Came: a.Came, Place: d.PlaceOf(a.Enclosure)}
		if e != nil {
			s.Room = e.Room
		}
		s.turns = InOrder(d.turns(nil, a))
		s.name = d.animalName(a)
		list = append(list, s)
	}
	return list
}

// clutchSubjects makes the subjects of clutches. It leaves out clutches that
// need no more work.
func (d maker) clutchSubjects() []*Subject {
	var list []*Subject
	for _, c := range d.Clutches {
		if c.Laid.After(d.On) || c.State == herd.Ended || c.State == herd.HatchedAll && c.LastHatched().AddDays(herd.LookBack).Before(d.On) {
			continue
		}
		s := &Subject{ID: c.ID, Scope: husbandry.OfClutch, Clutch: c, Place: d.ClutchPlace(c), Came: c.Laid}
		s.Enclosure, s.Room = d.Enclosure(c.Enclosure), s.Place.Room
		if m := d.Animal(c.Mother); m != nil {
			s.Animals = []*herd.Animal{m}
		}
		s.name = d.clutchName(c)
		list = append(list, s)
	}
	return list
}

func (d maker) roomSubjects() []*Subject {
	var list []*Subject
	for _, r := range d.Records.Rooms {
		name := string(r.ID)
		if r.Name != "" {
			name = r.Name
		}
		list = append(list, &Subject{ID: r.ID, Scope: husbandry.OfRoom, Room: r.ID, Place: d.PlaceOf(r.ID), name: name})
	}
	return list
}

func (d maker) keeperSubject() *Subject {
	return &Subject{ID: tasks.TheKeeper, Scope: husbandry.OfKeeper}
}
