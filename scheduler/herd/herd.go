// Package herd has the facts of a day: the state of every record, from the
// record itself and from the findings since.
//
// Start with [Derive]. A [Herd] answers who lives where, who carries eggs,
// where a clutch stands and when it hatches, who is in quarantine or in winter,
// which pairs to make, and how damp boxes are. It proposes no tasks and knows
// no dates of routines: packages rule and plan do this.
package herd

import (
	"cmp"
	"slices"
	"sync"

	"nestround/scheduler/incubation"
	"nestround/scheduler/moisture"
	"nestround/scheduler/season"
	"nestround/scheduler/season/kinship"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Input is everything from which the facts of a day follow.
type Input struct {
	Records *husbandry.Records // nil: none
	// History has the marks and findings; nil if there are none yet. The caller
	// leaves out marks and findings for days after On, with
	// tasks.History.Before.
	History *tasks.History
	// On is the day for which the facts are derived.
	On civil.Date
	// Latitude is the keeper's latitude, in degrees, negative in the south. In
	// the south the seasons shift by half a year.
	Latitude float64
	// Forecasts forecasts hatching, laying and pairing; nil for [Calibrated].
	Forecasts Forecasts
}

// Herd is the state of every record on a day, from the record itself and from
// the findings since. Each herd reads all records and findings anew: when the
// keeper takes a finding back, all its consequences are gone in the next herd.
// Make a Herd with [Derive]; it never changes afterwards. Forecasts and other
// costly answers are computed at the first question. Several goroutines may ask
// at once.
type Herd struct {
	On      civil.Date
	Records *husbandry.Records
	History *tasks.History
	// Began is the first day of the books. If the keeper states none, it is the
	// first day with an entry, or else the herd's day. Tasks due before Began
	// are neither overdue nor lapsed.
	Began    civil.Date
	Latitude float64 // degrees
	// AnyWinter says that some animal has a winter, cooled or not.
	AnyWinter bool
	// Animals are in the order of the records.
	Animals []*Animal
	// Clutches are the recorded and the found clutches, by laying date, then
	// id. Clutches that have ended are among them.
	Clutches []*Clutch

	animals    map[husbandry.ID]*Animal
	clutches   map[husbandry.ID]*Clutch // by every id that a clutch ever had
	enclosures map[husbandry.ID]*husbandry.Enclosure
	incubators map[husbandry.ID]*husbandry.Incubator
	species    map[husbandry.ID]*husbandry.Species
	residents  map[husbandry.ID][]*Animal
	kinds      map[husbandry.ID]husbandry.Kind // of routines
	ofKind     map[husbandry.Kind][]*husbandry.Routine
	// lastIncubator is the incubator of the latest recorded clutch of a
	// species.
	lastIncubator map[husbandry.ID]husbandry.ID
	refusals      map[husbandry.ID][]Refusal
	// colony has, for each species, the intervals between clutches of the
	// keeper's females.
	colony   map[husbandry.ID]*season.Colony
	Ills     []Illness                  // by date
	readings map[husbandry.ID][]reading // of enclosures' lamps, by date

	fore   Forecasts
	places map[husbandry.ID]tasks.Place
	laidIn map[husbandry.ID]civil.Date // latest laying in an enclosure
	mates  map[husbandry.ID]bool       // species with a breeding male

	hatch   memo[husbandry.ID, incubation.Forecast]
	lay     memo[husbandry.ID, season.Window]
	pairs   memo[husbandry.ID, Pairing]
	raw     memo[husbandry.ID, season.Window] // pairing windows as forecast, before males are considered
	seasons memo[husbandry.ID, *mateSeason]   // by species
	damp    memo[husbandry.ID, *Damp]         // of boxes and tubs

	lessons memo[*Calibrated, lesson]

	pedigreeOf func() *kinship.Pedigree
	notesOf    func() map[husbandry.ID][]moisture.Note
}

// Derive works out the state of every record on the day of the input. Findings
// for later days do not count.
func Derive(in Input) *Herd {
	r, h := in.Records, in.History
	if r == nil {
		r = &husbandry.Records{}
	}
	if h == nil {
		h = tasks.Fold(nil)
	}
	herd := &Herd{
		On: in.On, Records: r, History: h, Latitude: in.Latitude, fore: in.Forecasts,
		animals:    make(map[husbandry.ID]*Animal, len(r.Animals)),
		clutches:   make(map[husbandry.ID]*Clutch, len(r.Clutches)),
		enclosures: make(map[husbandry.ID]*husbandry.Enclosure, len(r.Enclosures)),
		incubators: make(map[husbandry.ID]*husbandry.Incubator, len(r.Incubators)),
		species:    make(map[husbandry.ID]*husbandry.Species, len(r.Species)),
		residents:  make(map[husbandry.ID][]*Animal, len(r.Enclosures)),
		kinds:      make(map[husbandry.ID]husbandry.Kind, len(r.Routines)),
		ofKind:     make(map[husbandry.Kind][]*husbandry.Routine),
		refusals:   make(map[husbandry.ID][]Refusal),
		colony:     make(map[husbandry.ID]*season.Colony),
		readings:   make(map[husbandry.ID][]reading),

		lastIncubator: make(map[husbandry.ID]husbandry.ID),
	}
	for i := range r.Enclosures {
		herd.enclosures[r.Enclosures[i].ID] = &r.Enclosures[i]
	}
	for i := range r.Incubators {
		herd.incubators[r.Incubators[i].ID] = &r.Incubators[i]
	}
	for i := range r.Species {
		herd.species[r.Species[i].ID] = &r.Species[i]
	}
	for i := range r.Routines {
		herd.kinds[r.Routines[i].ID] = r.Routines[i].Kind
		herd.ofKind[r.Routines[i].Kind] = append(herd.ofKind[r.Routines[i].Kind], &r.Routines[i])
	}
	if herd.fore == nil {
		herd.fore = &Calibrated{Plain: Plain{Latitude: in.Latitude}}
	}
	if herd.Began = r.Began; herd.Began.IsZero() {
		herd.Began = h.First()
	}
	if herd.Began.IsZero() {
		herd.Began = in.On
	}
	herd.pedigreeOf, herd.notesOf = sync.OnceValue(breeding{herd}.makePedigree), sync.OnceValue(drying{herd}.gatherNotes)
	d := deriver{herd}
	d.addAnimals()
	d.addRecordedClutches()
	d.addFindings()
	d.part()
	d.settle()
	d.settleBreeding()
	d.settleWinters()
	d.settlePlaces()
	herd.laidIn = d.laidLately()
	return herd
}

// deriver builds a herd. Nothing else changes a herd.
type deriver struct{ *Herd }

// settleBreeding finds the species that have a breeding male, and the last day
// on which each gravid female is expected to carry eggs.
func (h deriver) settleBreeding() {
	h.mates = make(map[husbandry.ID]bool)
	for _, a := range h.Animals {
		if breeding(h).breedingMale(a) {
			h.mates[a.Species] = true
		}
	}
	for _, a := range h.Animals {
		if n := len(a.GravidTimes); n > 0 && a.GravidTimes[n-1].To.IsZero() {
			a.GravidTimes[n-1].Until = civil.Max(h.On, h.Laying(a).To)
		}
	}
}

// RoutinesOf returns the routines of a kind in the order of the records,
// including the routines with Off.
func (h *Herd) RoutinesOf(k husbandry.Kind) []*husbandry.Routine { return h.ofKind[k] }

// Species returns a care sheet; an empty sheet if the books have none of the
// species.
func (h *Herd) Species(id husbandry.ID) *husbandry.Species {
	if s, ok := h.species[id]; ok {
		return s
	}
	return &husbandry.Species{ID: id}
}

// Residents returns the animals that the records place in an enclosure,
// including animals that have not arrived yet or have left by the herd's day.
func (h *Herd) Residents(enclosure husbandry.ID) []*Animal { return h.residents[enclosure] }

func (h deriver) addAnimals() {
	r := h.Records
	h.Animals = make([]*Animal, 0, len(r.Animals))
	block := make([]Animal, len(r.Animals))
	for i := range r.Animals {
		a := &block[i]
		a.Animal = r.Animals[i]
		a.Count = max(1, a.Count)
		a.Came = civil.Max(civil.Max(a.Acquired, a.Hatched), a.Since)
		a.sheet = h.Species(a.Species)
		if !a.Gravid.IsZero() {
			a.Sightings = append(a.Sightings, Sighting{a.Gravid, true})
		}
		h.Animals = append(h.Animals, a)
		h.animals[a.ID] = a
		if a.Enclosure != "" {
			h.residents[a.Enclosure] = append(h.residents[a.Enclosure], a)
		}
	}
	for i := range r.Pairings {
		p := &r.Pairings[i]
		female, ok := h.animals[p.Female]
		if !ok {
			continue
		}
		female.Mated = append(female.Mated, p.Mated...)
		if !p.From.IsZero() && !p.From.After(h.On) && (female.Pairing == nil || p.From.After(female.Pairing.From)) {
			female.Pairing = p
		}
	}
}

func (h deriver) addRecordedClutches() {
	for i := range h.Records.Clutches {
		c := &Clutch{Clutch: h.Records.Clutches[i]}
		c.Moves = slices.Clip(c.Moves) // findings add to a copy
		if c.LaidFrom.IsZero() {
			c.LaidFrom = c.Laid
		}
		c.Counted = c.Eggs > 0 || c.Slugs > 0
		h.add(c)
	}
}

// part subtracts the eggs in separate tubs from the clutch that they were part
// of. That clutch may be known from a finding only.
func (h deriver) part() {
	for _, c := range h.Clutches {
		whole := h.clutches[c.PartOf]
		if whole == nil || whole == c {
			continue
		}
		// The eggs of a part count only in the part, not in the whole clutch.
		c.Mother, c.Species, c.LaidFrom, c.Laid, c.Enclosure = whole.Mother, whole.Species, whole.LaidFrom, whole.Laid, whole.Enclosure
		whole.Eggs, whole.Parted = max(0, whole.Eggs-c.Eggs), whole.Parted+c.Eggs
	}
}

// add adds a clutch to the herd, and fills in the fields that follow from its
// mother.
func (h deriver) add(c *Clutch) {
	h.Clutches = append(h.Clutches, c)
	h.clutches[c.ID] = c
	if mother, ok := h.animals[c.Mother]; ok && c.PartOf == "" {
		if c.Species == "" {
			c.Species = mother.Species
		}
		if c.Enclosure == "" {
			c.Enclosure = mother.Enclosure
		}
		mother.Laid = append(mother.Laid, c)
	}
}

// Only returns the animal of an enclosure that is present on a day and matches.
// It returns nil if no animal or several animals match. A group counts as
// several animals.
func (h *Herd) Only(enclosure husbandry.ID, match func(*Animal) bool, on civil.Date) *Animal {
	var one *Animal
	for _, a := range h.residents[enclosure] {
		if !a.PresentOn(on) || !match(a) {
			continue
		}
		if one != nil || a.Count > 1 {
			return nil
		}
		one = a
	}
	return one
}

// together works out when a female was last with a male. The time is that of
// the pairing record, or it goes from the day on which her pairing was marked
// as done to the day on which the separation was. No pair stays together for
// months: if no separation was ever marked, the pair counts as separated after
// the usual number of days.
func (h deriver) together(a *Animal) (t Together) {
	if a.Sex == husbandry.Male {
		return t
	}
	for _, r := range h.ofKind[husbandry.Pair] {
		t.From = civil.Max(t.From, h.History.LastDone(a.ID, r.ID))
	}
	marked := !t.From.IsZero()
	for _, w := range a.with {
		if w.on == t.From {
			t.Male = w.male
		}
	}
	if r := a.Pairing; r != nil && (!marked || !r.From.Before(t.From) || !r.Until.IsZero() && !r.Until.Before(t.From)) {
		marked = false
		t.From, t.Male = r.From, r.Male
		if !r.Until.After(h.On) {
			t.Until = r.Until
		}
	}
	if !t.From.IsZero() && t.Until.IsZero() {
		if o := h.History.Outcome(tasks.NewKey(a.ID, PartPair, t.From.String())); o.Mark == tasks.MarkDone {
			t.Until = o.On
		} else if marked && t.From.AddDays(partedAfter).Before(h.On) {
			t.Until = t.From.AddDays(PairTogether)
		}
	}
	return t
}

func abs(n int) int { return max(n, -n) }

// Enclosure returns an enclosure by its id, or nil.
func (h *Herd) Enclosure(id husbandry.ID) *husbandry.Enclosure { return h.enclosures[id] }

// AsOf derives the herd anew for an earlier day, without the later marks and
// findings.
func (h *Herd) AsOf(day civil.Date) *Herd {
	return Derive(Input{Records: h.Records, History: h.History, On: day, Latitude: h.Latitude, Forecasts: h.fore})
}

// CareSheet returns a care sheet, and whether the books have a sheet of the
// species.
func (h *Herd) CareSheet(id husbandry.ID) (*husbandry.Species, bool) {
	s, ok := h.species[id]
	return s, ok
}

// KindOf returns the kind of a routine of the records, or "".
func (h *Herd) KindOf(routine husbandry.ID) husbandry.Kind { return h.kinds[routine] }

// settle sorts and completes the facts once all findings are read.
func (h deriver) settle() {
	byDate := func(a, b *Clutch) int {
		return cmp.Or(a.Laid.Compare(b.Laid), cmp.Compare(a.ID, b.ID))
	}
	slices.SortFunc(h.Clutches, byDate)
	for _, c := range h.Clutches {
		c.settle(h.Herd)
		if at := c.stands(h.On); at != "" {
			h.lastIncubator[c.Species] = at
		}
	}
	// The forecasts learn from findings of today only from tomorrow on. So
	// today's forecasts stay as announced.
	intervals := make(map[husbandry.ID][]season.Interval) // by species
	for _, a := range h.Animals {
		slices.SortFunc(a.Laid, byDate)
		slices.SortFunc(a.Dug, civil.Date.Compare)
		a.Dug = slices.Compact(a.Dug)
		slices.SortFunc(a.Mated, civil.Date.Compare)
		a.Mated = slices.Compact(a.Mated)
		a.Mated = slices.DeleteFunc(a.Mated, func(d civil.Date) bool { return d.After(h.On) })
		a.carry()
		a.Together = h.together(a)
		if len(a.Laid) > 1 {
			intervals[a.Species] = append(intervals[a.Species], season.IntervalsOf(a.ID, a.sheet, a.Layings(h.On.AddDays(-1)))...)
		}
	}
	for species, list := range intervals {
		h.colony[species] = season.NewColony(h.Species(species).Laying.Interval, list)
	}
	h.settleYoung()
	h.settleQuarantine()
}
