// Package herd has the facts: how every record stands on a day, as the records
// say and as the findings since have changed it.
//
// Start with [Derive]. A [Herd] answers who lives where, who carries eggs, which
// clutch stands where and when it hatches, who is in quarantine or in winter,
// whom to pair, how damp boxes are. It proposes nothing and knows no routine's
// dates: what follows from the facts is for the packages rule and plan.
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
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// Input is all that the facts of a day follow from.
type Input struct {
	Records *husbandry.Records // nil: none
	// History holds what was done and found; nil for nothing yet. The caller
	// leaves out marks and findings for days after On, with
	// tasks.History.Before.
	History *tasks.History
	// On is the day whose facts are asked for.
	On civil.Date
	// Latitude is that of the keeper, in degrees; below 0 flips the seasons.
	Latitude float64
	// Forecasts foretells hatching, laying and pairing; nil: [Calibrated].
	Forecasts Forecasts
}

// Herd is how every record stands on a day, as the records say and as the
// findings since have changed it. It is derived anew from both each time, so
// that taking a finding back takes back all that followed from it. Make one
// with [Derive]. It is complete then and never changes. Forecasts and other
// costly answers are worked out when they are first asked for; several
// goroutines may ask at once.
type Herd struct {
	On      civil.Date
	Records *husbandry.Records
	History *tasks.History
	// Began is the first day on which anything was owed: what was due before is
	// neither overdue nor lapsed.
	Began    civil.Date
	Latitude float64 // degrees
	// AnyWinter says that some animal has a winter, or is left out of one.
	AnyWinter bool
	// Animals are in the order of the records.
	Animals []*Animal
	// Clutches are by laying date, then id, those of the records and those
	// found; ended ones are among them.
	Clutches []*Clutch

	animals    map[husbandry.ID]*Animal
	clutches   map[husbandry.ID]*Clutch // by every id they were ever known by
	enclosures map[husbandry.ID]*husbandry.Enclosure
	incubators map[husbandry.ID]*husbandry.Incubator
	species    map[husbandry.ID]*husbandry.Species
	residents  map[husbandry.ID][]*Animal
	kinds      map[husbandry.ID]husbandry.Kind // of routines
	ofKind     map[husbandry.Kind][]*husbandry.Routine
	// lastIncubator is where the latest recorded clutch of a species stands.
	lastIncubator map[husbandry.ID]husbandry.ID
	refusals      map[husbandry.ID][]Refusal
	// colony is what the intervals between clutches of a species come to.
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
	raw     memo[husbandry.ID, season.Window] // pairing windows as foretold
	seasons memo[husbandry.ID, *mateSeason]   // by species
	damp    memo[husbandry.ID, *Damp]         // of boxes and tubs

	lessons memo[*Calibrated, lesson]

	pedigreeOf func() *kinship.Pedigree
	notesOf    func() map[husbandry.ID][]moisture.Note
}

// Animal is a record and what has been found of it.
type Animal struct {
	husbandry.Animal
	// GravidTimes are the times during which she was known to carry eggs, by
	// date; the last one is open (To zero) while she does.
	GravidTimes []Carrying
	Laid        []*Clutch    // her clutches, by date
	Mated       []civil.Date // matings seen, by date, each day once
	Dug         []civil.Date // days on which she was seen digging, by date
	Pairing     *husbandry.Pairing
	// Together is when she was last with a male, by a record or by what was
	// marked.
	Together Together
	Weights  []Weight // of the last 400 days, by date
	// Winters are those it is cooled in, or left out of, by date; a plan fills
	// them in, from more than a year back to more than a year ahead.
	Winters []Winter
	// Came is the first day it was there as a record of its own; zero: always.
	Came civil.Date
	// Sexings are the times somebody looked what sex it is, by date.
	Sexings []Sexing
	// Regrouped is the last day anybody was taken out of the group.
	Regrouped civil.Date
	// Apart is its quarantine; nil when it is in none.
	Apart *Apart
	// released is the quarantine it was released from, on the day releasedOn.
	released   *Apart
	releasedOn civil.Date
	sheet      *husbandry.Species
	Sightings  []Sighting // by date
	with       []mate     // whom she was put together with, as her tasks named them
}

// Together is the time a pair was put together for: its first and its last day.
// From is zero where they never were, Until while they are, and Male is empty
// where nobody said with whom.
type Together struct {
	From, Until civil.Date
	Male        husbandry.ID
}

// mate is a male that a female was put together with on a day.
type mate struct {
	on   civil.Date
	male husbandry.ID
}

// Sighting is a look at a female that told whether she carries eggs.
type Sighting struct {
	On     civil.Date
	Gravid bool
}

// Carrying is a time during which a female was known to carry eggs: from a
// sighting to the day she laid or was seen without. While it lasts Until is
// the last day on which she is expected to, if that is known; a plan looks no
// further ahead.
type Carrying struct{ From, To, Until civil.Date }

// Weight is one weighing.
type Weight struct {
	On    civil.Date
	Grams husbandry.Grams   // of a group the mean of one of it
	Each  []husbandry.Grams // of a group, where each was weighed; else nil
}

// Clutch is a record, a finding, or both, and what has become of it.
type Clutch struct {
	husbandry.Clutch
	// Aliases are other ids it was known by before a record gave it its own:
	// marks and findings of theirs count for it.
	Aliases []husbandry.ID
	Found   bool // first known from a finding
	Counted bool // somebody has counted the eggs
	Outside bool // laid outside the nest box
	// FoundOut says that its mother was named after it was found.
	FoundOut bool
	Parted   int // of the eggs laid, so many stand in tubs of their own
	// Where it was laid; "" when unknown.
	Enclosure husbandry.ID
	// Young hatched on each day, by date; a record's own number is not dated
	// and is only in Hatched.
	HatchedOn []Young
	// Lost is the number of eggs set that were found dead, or reported as
	// slugs when they had been out of the female for some days.
	Lost  int
	State ClutchState
	// Young are the records of what hatched from it, in their order.
	Young []*Animal
	// Sexings, Weights and Unfed are of its young before those have records:
	// the times they were sexed and weighed, and the days on which they did
	// not take their first food.
	Sexings []Sexing
	Weights []Weight
	Unfed   []civil.Date
}

// Young is the number of young that hatched on a day.
type Young struct {
	On    civil.Date
	Count int
}

// ClutchState says how far a clutch has come.
type ClutchState string

// The states of a clutch.
const (
	InBox      ClutchState = "in the box" // laid, not lifted or not in a tub yet
	Incubating ClutchState = "incubating"
	Hatching   ClutchState = "hatching" // some young have hatched
	HatchedAll ClutchState = "hatched"  // every egg counted has, or was found dead
	Ended      ClutchState = "ended"
)

// PostLaying is how long a female counts as just laid (common practice: she is
// fed up for two weeks).
const PostLaying = 14

// sameClutch is how many days apart two reports of one mother's eggs may be
// and still mean one clutch: eggs are found late, and noted twice.
const sameClutch = 2

// Refusal is a feeding that was refused.
type Refusal struct {
	On   civil.Date
	Task tasks.Key
}

// Derive works out how everything stands on a day. Findings reported for later
// days do not count.
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

// deriver makes a herd. Nothing else changes one.
type deriver struct{ *Herd }

// settleBreeding finds out which species have a male to breed with, and until
// when females that carry eggs are expected to.
func (h deriver) settleBreeding() {
	h.mates = make(map[husbandry.ID]bool)
	for _, a := range h.Animals {
		if (breeding{h.Herd}).breedingMale(a) {
			h.mates[a.Species] = true
		}
	}
	for _, a := range h.Animals {
		if n := len(a.GravidTimes); n > 0 && a.GravidTimes[n-1].To.IsZero() {
			a.GravidTimes[n-1].Until = civil.Max(h.On, h.Laying(a).To)
		}
	}
}

// Animal returns an animal by its id, or nil.
func (h *Herd) Animal(id husbandry.ID) *Animal { return h.animals[id] }

// Clutch returns a clutch by any id it was ever known by, or nil.
func (h *Herd) Clutch(id husbandry.ID) *Clutch { return h.clutches[id] }

// RoutinesOf returns the routines of a kind in the order of the records, those
// that are off among them.
func (h *Herd) RoutinesOf(k husbandry.Kind) []*husbandry.Routine { return h.ofKind[k] }

// Species returns a care sheet, an empty one where there is none.
func (h *Herd) Species(id husbandry.ID) *husbandry.Species {
	if s, ok := h.species[id]; ok {
		return s
	}
	return &husbandry.Species{ID: id}
}

// Residents returns the animals whose records place them in an enclosure,
// whether or not they are there on the herd's day.
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

// part takes the eggs that stand in tubs of their own away from their clutch,
// which may have been found.
func (h deriver) part() {
	for _, c := range h.Clutches {
		whole := h.clutches[c.PartOf]
		if whole == nil || whole == c {
			continue
		}
		// Eggs of a part no longer count where they were.
		c.Mother, c.Species, c.LaidFrom, c.Laid, c.Enclosure = whole.Mother, whole.Species, whole.LaidFrom, whole.Laid, whole.Enclosure
		whole.Eggs, whole.Parted = max(0, whole.Eggs-c.Eggs), whole.Parted+c.Eggs
	}
}

// add enters a clutch and fills in what follows from its mother.
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

func (h deriver) addFindings() {
	found := h.History.Found()
	old := h.On.AddDays(-LookBack)
	for i := range found {
		f := &found[i]
		if f.On.After(h.On) || f.On.Before(old) && !finding.Lasting(&f.Finding) {
			continue
		}
		clutch, animal := h.clutches[f.Task.Subject()], h.animals[f.Task.Subject()]
		h.ofClutch(f, clutch)
		h.ofFood(f, animal)
		if animal == nil {
			animal = h.Only(f.Task.Subject(), func(*Animal) bool { return true }, f.On)
		}
		h.foundOfYoung(f, clutch, animal)
		if animal != nil {
			h.ofAnimal(f, animal)
		}
	}
}

// ofClutch takes over what was found of eggs; clutch is nil where the finding is
// about no known clutch.
func (h deriver) ofClutch(f *tasks.Found, clutch *Clutch) {
	g := &f.Finding
	if clutch == nil {
		if g.Laid != nil && *g.Laid != 0 || some(g.Slugs) || g.More != nil {
			h.laid(f)
		}
		return
	}
	clutch.count(g)
	clutch.tend(f)
	h.owned(clutch, g.Mother)
	if some(g.Hatched) {
		clutch.HatchedOn = append(clutch.HatchedOn, Young{f.On, *g.Hatched})
	}
}

// ofFood takes over that a feeding was refused, which counts for the enclosure.
func (h deriver) ofFood(f *tasks.Found, animal *Animal) {
	routine := f.Task.Routine()
	if !f.Finding.Refused || h.kinds[routine] != husbandry.Feed && routine != tasks.Unplanned {
		return
	}
	place := f.Task.Subject()
	if animal != nil {
		place = animal.Enclosure
	}
	h.refusals[place] = append(h.refusals[place], Refusal{f.On, f.Task})
}

// ofAnimal takes over what was found of an animal.
func (h deriver) ofAnimal(f *tasks.Found, a *Animal) {
	g := &f.Finding
	if g.Weighs != nil && h.kinds[f.Task.Routine()].Weighs() != husbandry.WeighedBox {
		a.Weights = append(a.Weights, Weight{f.On, *g.Weighs, g.Each})
	}
	if g.Mated {
		a.Mated = append(a.Mated, f.On)
	}
	if g.With != "" {
		a.with = append(a.with, mate{f.On, g.With})
	}
	if g.Digging {
		a.Dug = append(a.Dug, f.On)
	}
	if g.Gravid != nil {
		a.Sightings = append(a.Sightings, Sighting{f.On, *g.Gravid})
	}
}

// tend takes over what was found of eggs that stand in their tub.
func (c *Clutch) tend(f *tasks.Found) {
	g := &f.Finding
	if g.Slugs != nil && g.Laid == nil && f.On.After(c.Laid.AddDays(sameClutch)) {
		c.Lost += max(0, *g.Slugs)
	}
	if g.Dead != nil {
		c.Lost += max(0, *g.Dead)
	}
	if g.Veins != nil && *g.Veins != 0 && (c.Veins.IsZero() || f.On.Before(c.Veins)) {
		c.Veins = f.On
	}
	if g.Moved != "" {
		c.Moves = append(c.Moves, husbandry.Move{On: f.On, Incubator: g.Moved})
	}
	if g.Ended && c.Ended.IsZero() {
		c.Ended = f.On
	}
}

// count takes over what was counted of a clutch that exists; a number in its
// record stands above it.
func (c *Clutch) count(g *tasks.Finding) {
	if g.Laid != nil && *g.Laid >= 0 {
		c.Counted = true
		if c.Found || c.Eggs == 0 {
			c.Eggs = *g.Laid
		}
	}
	if g.Slugs != nil && (c.Found || c.Slugs == 0) {
		c.Slugs = *g.Slugs
	}
	if g.More != nil && c.Found {
		c.Counted = true
		c.Eggs += *g.More
	}
	c.Outside = c.Outside || g.Outside
}

// owned gives a clutch of unknown mother the one that was found out; of
// several the last counts.
func (h deriver) owned(c *Clutch, mother husbandry.ID) {
	a := h.animals[mother]
	if a == nil || c.Mother != "" && !c.FoundOut {
		return
	}
	if before := h.animals[c.Mother]; before != nil {
		before.Laid = slices.DeleteFunc(before.Laid, func(laid *Clutch) bool { return laid == c })
	}
	c.Mother, c.Species, c.FoundOut = a.ID, a.Species, true
	a.Laid = append(a.Laid, c)
}

// laid opens a clutch for eggs reported at a task about an animal or an
// enclosure, unless they are the eggs of one that is known already.
func (h deriver) laid(f *tasks.Found) {
	subject := f.Task.Subject()
	mother, enclosure := h.animals[subject], husbandry.ID("")
	if mother != nil {
		enclosure = mother.Enclosure
	} else if _, ok := h.enclosures[subject]; ok {
		enclosure = subject
		mother = h.Only(subject, func(a *Animal) bool {
			return a.Sex == husbandry.Female && a.StageOn(f.On) == husbandry.Adult
		}, f.On)
	} else {
		return // at a task about a room or the keeper: of nobody
	}
	on := f.On
	if day, err := civil.Parse(f.Task.Occurrence()); err == nil {
		on = day
	}
	c := &Clutch{Found: true, Enclosure: enclosure}
	if mother != nil {
		c.Mother, c.Species = mother.ID, mother.Species
		c.ID = mother.ID + "-" + husbandry.ID(on.String())
		for _, known := range mother.Laid {
			if known.ID != c.ID && abs(known.Laid.Sub(f.On)) <= sameClutch {
				known.Aliases = append(known.Aliases, c.ID)
				h.clutches[c.ID] = known
				known.count(&f.Finding)
				return
			}
		}
	} else {
		c.ID = subject + "-" + husbandry.ID(on.String())
		for _, a := range h.residents[enclosure] {
			if c.Species == "" {
				c.Species = a.Species
			} else if c.Species != a.Species {
				c.Species = ""
				break
			}
		}
	}
	if known, ok := h.clutches[c.ID]; ok {
		known.count(&f.Finding)
		return
	}
	c.LaidFrom, c.Laid = f.On, f.On
	c.count(&f.Finding)
	if f.Finding.Slugs != nil && f.Finding.Laid == nil {
		c.Counted = true // slugs alone: nothing to incubate
	}
	h.add(c)
}

// only returns the one animal of an enclosure that is there on a day and
// matches, or nil where there is none or more than one; a group is many.
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

// settle puts everything in order once all is known.
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
	// What is found today teaches from tomorrow on: what else was announced for
	// today stays as it was.
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

// together works out when she was last with a male: by the record of a pairing,
// or since her pairing was marked as done, until their parting was. Nobody
// leaves a pair together for months: where no parting was ever marked, it was
// after the usual days.
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

// Layings are her clutches until a day, as package season takes them.
func (a *Animal) Layings(until civil.Date) []season.Laid {
	var list []season.Laid
	for _, c := range a.Laid {
		if !c.Laid.After(until) {
			list = append(list, season.Laid{Clutch: c.ID, On: c.Laid})
		}
	}
	return list
}

// carry works out when she carried eggs: from a Sighting until she is seen
// without or has laid. Eggs laid on the day of a Sighting are those seen.
func (a *Animal) carry() {
	slices.SortStableFunc(a.Sightings, func(s, t Sighting) int { return s.On.Compare(t.On) })
	laid := a.Laid
	for _, s := range a.Sightings {
		if n := len(a.GravidTimes); n > 0 {
			if t := &a.GravidTimes[n-1]; t.To.IsZero() || s.On.Before(t.To) {
				if !s.Gravid {
					t.To = s.On
				}
				continue
			}
		}
		if !s.Gravid {
			continue
		}
		for len(laid) > 0 && laid[0].Laid.Before(s.On) {
			laid = laid[1:]
		}
		t := Carrying{From: s.On}
		if len(laid) > 0 {
			t.To = laid[0].Laid
		}
		a.GravidTimes = append(a.GravidTimes, t)
	}
}

func (c *Clutch) settle(h *Herd) {
	// The record's number is not dated; dated ones may repeat part of it.
	sum := 0
	for _, y := range c.HatchedOn {
		sum += y.Count
	}
	c.Hatched = max(c.Hatched, sum)
	if c.TubSet.IsZero() {
		for _, id := range c.IDs() {
			for _, r := range h.ofKind[husbandry.SetTub] {
				c.TubSet = civil.Max(c.TubSet, h.History.LastDone(id, r.ID))
			}
		}
	}
	slices.SortStableFunc(c.Moves, func(a, b husbandry.Move) int { return a.On.Compare(b.On) })
	inTub := !c.TubSet.IsZero() || c.Incubator != "" || c.Temperature != nil || len(c.Moves) > 0
	switch {
	case !c.Ended.IsZero() && !c.Ended.After(h.On):
		c.State = Ended
	case c.Counted && c.Eggs == 0 && c.Hatched == 0:
		c.State = Ended // slugs only
	case c.Hatched > 0 && c.Hatched+c.Lost >= c.Eggs && c.Eggs > 0:
		c.State = HatchedAll
	case c.Eggs > 0 && c.Lost >= c.Eggs:
		c.State = Ended // every egg was found dead
	case c.Hatched > 0:
		c.State = Hatching
	case inTub:
		c.State = Incubating
	default:
		c.State = InBox
	}
}

// stands returns the incubator that a clutch has last been put into, as far as
// anybody said.
func (c *Clutch) stands(on civil.Date) husbandry.ID {
	at := c.Incubator
	for _, m := range c.Moves {
		if !m.On.After(on) {
			at = m.Incubator
		}
	}
	return at
}

// ids returns every id the clutch was ever known by, its own first.
func (c *Clutch) IDs() []husbandry.ID { return append([]husbandry.ID{c.ID}, c.Aliases...) }

// FirstHatched returns the day the first young hatched, or no date.
func (c *Clutch) FirstHatched() civil.Date {
	if len(c.HatchedOn) == 0 {
		return civil.Date{}
	}
	return c.HatchedOn[0].On
}

// LastHatched returns the last day on which young hatched, or no date.
func (c *Clutch) LastHatched() civil.Date {
	if len(c.HatchedOn) == 0 {
		return civil.Date{}
	}
	return c.HatchedOn[len(c.HatchedOn)-1].On
}

// Expecting reports whether young may still hatch.
func (c *Clutch) Expecting() bool { return c.State != Ended && c.State != HatchedAll }

// PresentOn reports whether the animal is among the keeper's on a day.
func (a *Animal) PresentOn(day civil.Date) bool {
	return !day.Before(a.Came) && (a.Left.IsZero() || day.Before(a.Left))
}

// StageOn returns the stage of life on a day: the record's, or by age and care
// sheet; adult where the age or the sheet's ages are not known.
func (a *Animal) StageOn(day civil.Date) husbandry.Stage {
	if a.Stage != "" {
		return a.Stage
	}
	s := a.sheet
	if a.Hatched.IsZero() || s.JuvenileFrom == 0 && s.SubadultFrom == 0 && s.AdultFrom == 0 {
		return husbandry.Adult
	}
	age := husbandry.Days(day.Sub(a.Hatched))
	stage := husbandry.Hatchling
	for _, next := range a.StageAges() {
		if next.From > 0 && age >= next.From {
			stage = next.Stage
		}
	}
	return stage
}

// StageAge is the age at which a stage of life begins, in days; 0 where it is not
// known.
type StageAge struct {
	Stage husbandry.Stage
	From  husbandry.Days
}

func (a *Animal) StageAges() [3]StageAge {
	return [3]StageAge{
		{husbandry.Juvenile, a.sheet.JuvenileFrom},
		{husbandry.Subadult, a.sheet.SubadultFrom},
		{husbandry.Adult, a.sheet.AdultFrom},
	}
}

// GravidOn returns since when she is known to carry eggs on a day, or no date.
// On the day she lays she no longer does.
func (a *Animal) GravidOn(day civil.Date) civil.Date {
	for _, t := range a.GravidTimes {
		if day.Before(t.From) || !t.To.IsZero() && !day.Before(t.To) || t.To.IsZero() && !t.Until.IsZero() && day.After(t.Until) {
			continue
		}
		return t.From
	}
	return civil.Date{}
}

// In reports whether the animal is in a state on a day.
func (a *Animal) In(state husbandry.State, day civil.Date) bool {
	switch state {
	case husbandry.Gravid:
		return !a.GravidOn(day).IsZero()
	case husbandry.PostLaying:
		for i := len(a.Laid) - 1; i >= 0; i-- {
			if since := day.Sub(a.Laid[i].Laid); since >= 0 && since <= PostLaying {
				return true
			}
		}
	case husbandry.Breeding:
		return a.Breeding
	case husbandry.Apart:
		return a.Apart != nil && !day.Before(a.Apart.Began)
	}
	return false
}

// apartSince returns since when it is, or was, in quarantine on a day, or no
// date.
func (a *Animal) apartSince(day civil.Date) civil.Date {
	switch {
	case a.Apart != nil && !day.Before(a.Apart.Began):
		return a.Apart.Began
	case a.released != nil && !day.Before(a.released.Began) && day.Before(a.releasedOn):
		return a.released.Began
	}
	return civil.Date{}
}

func abs(n int) int { return max(n, -n) }

// Refused returns the feedings of an enclosure that were refused, by the day on
// which that was said.
func (h *Herd) Refused(enclosure husbandry.ID) []Refusal { return h.refusals[enclosure] }
