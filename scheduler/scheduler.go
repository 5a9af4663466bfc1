// Package scheduler turns records, the history of what was done and found, and
// a span of days into tasks with reasons.
//
// Start with [Plan]. It is a pure function: it reads no clock, does no input
// or output, and the same input gives the same tasks, byte for byte. Beneath
// it, [Derive] works out how every record stands on a day, and [Forecasts] is
// the seam behind which hatching, laying and pairing are foretold; packages
// cadence, incubation and season answer the single questions. [Dated] and
// [ClutchForecasts] give the same knowledge as spans of days and as a table of
// clutches, for a calendar and for the keeper's overview; [PastHatches] has how
// earlier clutches went against their forecasts.
//
// Which tasks there are follows from the routines alone, but for a few that
// findings ask for (see the constants whose names begin with Review and
// Weigh). The package does not spread work over days, number tasks or join
// them with marks of today: the first is for scheduler/workload, which chooses
// days through the seam [Spread], the rest for tasks.Board.
package scheduler

import (
	"cmp"
	"hash/fnv"
	"slices"

	"nestround/scheduler/cadence"
	"nestround/scheduler/incubation"
	"nestround/scheduler/moisture"
	"nestround/scheduler/season"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Input is all that a plan depends on.
type Input struct {
	Records *husbandry.Records
	// History holds what was done and found; nil for nothing yet. Marks and
	// findings for days after On are for the caller to leave out (with
	// tasks.History.Before).
	History *tasks.History
	// On is the day the plan is made for, and To the last day ahead that it
	// covers; To before On counts as On.
	On, To   civil.Date
	Latitude float64 // of the keeper, degrees; below 0 flips the seasons
	// Forecasts foretells hatching, laying and pairing; nil for [Calibrated].
	Forecasts Forecasts
	// Spread chooses days inside the slack; nil: every task has its own day.
	Spread Spread
}

// Routines of the planner's own, which no record states. Their tasks appear
// when a finding asks for them, stay until they are done, and are turned off
// by a routine of their kind that is off. Records should not use these ids.
const (
	ReviewHatch  husbandry.ID = "review-hatch"  // a clutch is past its window
	ReviewSlugs  husbandry.ID = "review-slugs"  // many eggs of a clutch were infertile
	ReviewWeight husbandry.ID = "review-weight" // an animal has lost weight
	WeighRefused husbandry.ID = "weigh-refused" // food was refused three times in a row
	ReviewIll    husbandry.ID = "review-ill"    // illness was noted
	ReviewUnfed  husbandry.ID = "review-unfed"  // young take no food
	EnterYoung   husbandry.ID = "enter-young"   // young are in no record
	SortBySize   husbandry.ID = "sort-by-size"  // the weights of a group lie far apart

	SetNestBox     husbandry.ID = "set-nest-box"     // eggs are expected and there is no box
	LookForEggs    husbandry.ID = "look-for-eggs"    // a window passed without eggs
	FeelForEggs    husbandry.ID = "feel-for-eggs"    // perhaps only part of a clutch was laid
	ReviewNestSite husbandry.ID = "review-nest-site" // eggs were laid outside the box
	WhoseEggs      husbandry.ID = "whose-eggs"       // a clutch has no mother yet
	RestFemale     husbandry.ID = "rest-female"      // she has laid the season's number of clutches
	PartPair       husbandry.ID = "part-pair"        // a pair was put together and is not parted
	VetDigging     husbandry.ID = "vet-digging"      // she digs for two days without eggs

	OrderFeeder husbandry.ID = "order" // live food will not last to the delivery after the next

	TopUpTub husbandry.ID = "top-up-tub" // an egg tub was weighed and has lost water
)

// Plan returns the tasks that are due or overdue on in.On, those upcoming
// until in.To, and those that lapsed since the day before, by due date and
// then as tasks.Before has it. No two share a key.
func Plan(in Input) []tasks.Task {
	p := newPlanner(in)
	p.plan()
	return p.sorted()
}

// planner holds one plan while it is made.
type planner struct {
	rec  *husbandry.Records
	h    *tasks.History
	fore Forecasts
	herd *Herd
	on   civil.Date
	to   civil.Date
	// horizon is to, as far as feedings are looked at for what they use up, and
	// the longest lead of a riding routine: as far as the tasks that others
	// ride on must be known.
	horizon civil.Date
	spread  Spread
	// began is the first day anything was owed on: what was due before is
	// neither overdue nor lapsed.
	began civil.Date

	routines []*routine
	byScope  map[husbandry.Scope][]*routine
	// forSpecies remembers the candidates for subjects of one species.
	forSpecies map[scopeSpecies][]*routine
	hosted     map[husbandry.Kind]bool
	hosts      map[hostKey]*[]host
	crew       []routine                      // the keepers' selectors, once asked for
	away       []husbandry.Away               // Absences of the records
	off        map[husbandry.Scope][]*routine // routines that turn others off
	texts      []string                       // of days, from lookBack before on
	places     map[husbandry.ID]tasks.Place
	hatch      map[husbandry.ID]incubation.Forecast
	lay        map[husbandry.ID]season.Window
	pair       map[husbandry.ID]season.Window
	mates      map[husbandry.ID]bool // species with a breeding male
	kin        kin

	subjects map[husbandry.ID]*subject
	laidIn   map[husbandry.ID]civil.Date // latest laying in an enclosure
	winters  bool                        // some animal has a winter
	eaters   []activity                  // feedings that use up a feeder
	southern bool
	damp     map[husbandry.ID]*damp // of boxes and tubs, once asked for
	watered  map[husbandry.ID][]moisture.Note
	ofKind   map[hostKey][]husbandry.ID // routines that held, by subject and kind
	out      [][]planned                // in pieces of pieceSize
}

// routine is a husbandry.Routine made ready.
type routine struct {
	*husbandry.Routine
	rank  int          // position in the records, for a stable order
	sel   selector     //
	dates []civil.Date // of a fixed cadence, from lookBack before on to horizon
	words string       // the cadence in words
}

// lookBack is how far back, in days, missed dates are counted and asked for.
const lookBack = 400

// markAhead is how long before its slack begins, in days, a task of a fixed,
// windowed or riding routine may have been marked.
const markAhead = 14

func newPlanner(in Input) *planner {
	p := &planner{
		rec: in.Records, h: in.History, fore: in.Forecasts, spread: in.Spread, on: in.On, to: civil.Max(in.On, in.To), southern: in.Latitude < 0,
		byScope: make(map[husbandry.Scope][]*routine),

		forSpecies: make(map[scopeSpecies][]*routine),

		hosted: make(map[husbandry.Kind]bool),
		hosts:  make(map[hostKey]*[]host),
		off:    make(map[husbandry.Scope][]*routine),
		hatch:  make(map[husbandry.ID]incubation.Forecast),
		lay:    make(map[husbandry.ID]season.Window),
		pair:   make(map[husbandry.ID]season.Window),
		mates:  make(map[husbandry.ID]bool),
		kin:    newKin(),

		subjects: make(map[husbandry.ID]*subject),
		ofKind:   make(map[hostKey][]husbandry.ID),
		damp:     make(map[husbandry.ID]*damp),
	}
	if p.rec == nil {
		p.rec = &husbandry.Records{}
	}
	if p.h == nil {
		p.h = tasks.Fold(nil)
	}
	if p.fore == nil {
		p.fore = &Calibrated{Plain: Plain{Latitude: in.Latitude}}
	}
	p.herd = Derive(p.rec, p.h, p.on)
	p.began = p.rec.Began
	if p.began.IsZero() {
		p.began = p.h.First()
	}
	if p.began.IsZero() {
		p.began = p.on
	}
	p.away = p.rec.Absences()
	p.horizon = p.feedersReach(p.ordersUntil())
	if away := p.leaving(); away != nil {
		p.horizon = civil.Max(p.horizon, away.Until)
	}
	beyond := p.horizon
	for i := range p.rec.Routines {
		if c := p.rec.Routines[i].Cadence; c.Pattern == husbandry.Riding {
			p.horizon = civil.Max(p.horizon, beyond.AddDays(int(c.Lead)))
			p.hosted[c.Host] = true
		}
	}
	p.horizon = p.horizon.AddDays(p.broughtForward())
	for i := range p.rec.Routines {
		r := &routine{Routine: &p.rec.Routines[i], rank: i}
		r.sel = compile(&r.For)
		r.words = cadenceWords(r.Cadence)
		if r.Cadence.Pattern == husbandry.Fixed && !r.Off {
			dates, err := cadence.Of(r.Cadence)
			if err != nil {
				continue // books refuses such a routine, with its place
			}
			from := p.on.AddDays(-lookBack)
			if last := dates.Last(from); !last.IsZero() {
				from = last
			}
			r.dates = slices.Collect(dates.Between(from, p.horizon))
		}
		p.routines = append(p.routines, r)
		p.byScope[r.Scope] = append(p.byScope[r.Scope], r)
		if r.Off {
			p.off[r.Scope] = append(p.off[r.Scope], r)
		}
	}
	for _, a := range p.herd.Animals {
		if p.breedingMale(a) {
			p.mates[a.Species] = true
		}
	}
	for _, a := range p.herd.Animals {
		if n := len(a.GravidTimes); n > 0 && a.GravidTimes[n-1].To.IsZero() {
			a.GravidTimes[n-1].Until = civil.Max(p.on, p.laying(a).To)
		}
	}
	p.findWinters(in.Latitude)
	p.laidIn = p.laidLately()
	p.findPlaces()
	return p
}

// findSubjects makes everything that tasks may be about, in walking order of its
// kinds.
func (p *planner) findSubjects() []*subject {
	list := slices.Concat(p.enclosureSubjects(), p.animalSubjects(), p.clutchSubjects(), p.roomSubjects(), []*subject{p.keeperSubject()})
	for _, s := range list {
		p.subjects[s.id] = s
	}
	p.addPermits()
	return list
}

func (p *planner) plan() {
	subjects := p.findSubjects()
	// What rides on other tasks comes after all of those.
	var riders []activity
	for _, s := range subjects {
		for _, a := range p.activities(s) {
			if p.idle(s, a.r) {
				continue
			}
			if p.hosted[a.r.Kind] || a.r.Kind == husbandry.Feed {
				k := hostKey{s.id, a.r.Kind}
				p.ofKind[k] = append(p.ofKind[k], a.r.ID)
			}
			p.ready(&a)
			if p.feederOf(a.r) != nil && s.scope == husbandry.OfEnclosure {
				p.eaters = append(p.eaters, a)
			}
			switch a.r.Cadence.Pattern {
			case husbandry.Fixed:
				p.fixed(a)
			case husbandry.SinceLast:
				p.sinceLastGiven(&a)
				p.sinceLast(a)
			case husbandry.Windowed:
				p.windowed(a)
			case husbandry.Stepped:
				p.stepped(&a)
			case husbandry.Riding:
				riders = append(riders, a)
			}
		}
	}
	p.coolings()
	p.riding(riders)
	p.anchored()
	p.reviews()
	p.layingReviews()
	p.orders()
	p.topUpTubs()
}

// planned is a task while a plan is made: a plan may be 100,000 tasks long, so
// a task is written out once, when its place in the list is known.
type planned struct {
	a      *activity
	key    tasks.Key
	why    string
	window *tasks.Window
	due    civil.Date
	// own is the routine's own day for a task that moves; no date: due, and it
	// does not move.
	own    civil.Date
	lapsed bool
	// whole is the task itself, of the few that differ from their routine.
	whole *tasks.Task
}

// pieceSize is how many planned tasks are set aside at a time, so that none is
// copied as they grow.
const pieceSize = 256

// add plans a task that follows from its routine and its due date.
func (p *planner) add(t planned) {
	last := len(p.out) - 1
	if last < 0 || len(p.out[last]) == pieceSize {
		p.out = append(p.out, make([]planned, 0, pieceSize))
		last++
	}
	p.out[last] = append(p.out[last], t)
}

// emit plans a task that differs from its routine.
func (p *planner) emit(a *activity, t tasks.Task) {
	p.add(planned{a: a, key: t.Key, due: t.Due, whole: &t})
}

// sorted writes out what was planned, less what is only needed beyond to.
func (p *planner) sorted() []tasks.Task {
	type ranked struct {
		rank uint64
		key  tasks.Key
		t    *planned
		// moved is the task, where days away have moved it.
		moved *tasks.Task
	}
	var order []ranked
	if n := len(p.out); n > 0 {
		order = make([]ranked, 0, n*pieceSize)
	}
	once := make(map[tasks.Key]int) // in order, by subject, routine and day
	for _, piece := range p.out {
		for i := range piece {
			t := &piece[i]
			due, moved := t.due, (*tasks.Task)(nil)
			if len(p.away) > 0 {
				moved = new(tasks.Task)
				if p.written(moved, t); !p.whileAway(moved, t.a.r.Routine) {
					continue
				}
				due = moved.Due
			}
			if due.After(p.to) {
				continue
			}
			// Due date, part of the day, place and kind, as tasks.Before has
			// them, in one number.
			day := uint64(due.Sub(p.on) + 1<<20)
			r := ranked{day<<40 | tasks.Rank(t.a.r.Part, t.a.s.place.Order, t.a.r.Kind), t.key, t, moved}
			if moved != nil && p.besideAway(moved) {
				again := tasks.NewKey(t.a.s.id, t.a.r.ID, due.String())
				switch i, twice := once[again]; {
				case !twice:
					once[again] = len(order)
				case t.a.r.Cadence.Pattern == husbandry.SinceLast:
					continue // counted from one that was not done
				case t.a.r.Cadence.Pattern == husbandry.Fixed || t.a.r.Kind == husbandry.Cool:
					order[i] = r // the later date takes the earlier one's place
					continue
				}
			}
			order = append(order, r)
		}
	}
	slices.SortFunc(order, func(a, b ranked) int {
		if c := cmp.Compare(a.rank, b.rank); c != 0 {
			return c
		}
		return cmp.Compare(a.key, b.key)
	})
	list := make([]tasks.Task, len(order))
	for i, o := range order {
		if o.moved != nil {
			list[i] = *o.moved
		} else {
			p.written(&list[i], o.t)
		}
		if len(p.rec.Carers) > 0 {
			p.givenTo(&list[i], o.t.a.s, o.t.a.r.Routine)
		}
	}
	return list
}

// written writes a planned task out, whole ones too.
func (p *planner) written(t *tasks.Task, from *planned) {
	if from.whole != nil {
		*t = *from.whole
	} else {
		p.write(t, from)
	}
}

// spread returns a number of days from 0 to below n that only the key decides,
// so that first dates fall on different days and stay where they fell.
func spread(k tasks.Key, n int) int {
	if n <= 1 {
		return 0
	}
	f := fnv.New32a()
	_, _ = f.Write([]byte(k)) // a hash's Write never fails
	return int(f.Sum32() % uint32(n))
}

// task makes a task of an activity, for a caller that changes it.
func (p *planner) task(a *activity, key tasks.Key, due civil.Date, why string) tasks.Task {
	var t tasks.Task
	p.write(&t, &planned{a: a, key: key, due: due, why: why})
	return t
}

// write writes a task out. Its slack and status follow from its due date.
func (p *planner) write(t *tasks.Task, from *planned) {
	s, r := from.a.s, from.a.r
	if from.a.title == "" {
		from.a.title, from.a.do = p.title(s, r)
	}
	if s.whom == "" && s.name != "" {
		s.whom = plainWords(s.label())
	}
	own, moves := from.due, tasks.Never
	if !from.own.IsZero() {
		own, moves = from.own, from.a.moves
	}
	*t = tasks.Task{
		Key: from.key, Kind: r.Kind, Routine: r.ID,
		Scope: s.scope, Subject: s.id, Place: s.place, Part: r.Part,
		Due: from.due, Earliest: own.AddDays(-int(r.Before)), Latest: own.AddDays(int(r.After)), Moves: moves,
		Title: from.a.title, Do: from.a.do, Whom: s.whom, Why: from.why, Caution: r.Caution, Minutes: r.Minutes,
		Asks: asks(r.Kind), Uses: r.Consumes, Missed: r.Missed, Status: tasks.Upcoming, Window: from.window, Mate: from.a.mate,
	}
	if !r.Amounts.IsZero() && !from.lapsed {
		if t.Amount = p.offerWords(s, r, from.due); t.Amount != "" {
			t.Why += "; " + t.Amount
		}
	}
	t.Why += p.foodlessWords(s, r.Kind, civil.Max(from.due, p.on))
	switch {
	case from.lapsed:
		t.Status = tasks.Lapsed
	case t.Latest.Before(p.on):
		t.Status = tasks.Overdue
	case !from.due.After(p.on):
		t.Status = tasks.Due
	}
}

func asks(k husbandry.Kind) []tasks.FindingName {
	switch k {
	case husbandry.Feed, husbandry.FirstFeed:
		return asksRefused
	case husbandry.Weigh, husbandry.SetTub:
		return asksWeighs
	case husbandry.NestTopUp:
		return asksAdded
	case husbandry.TubCheck:
		return asksTub
	case husbandry.Candle:
		return asksVeins
	case husbandry.GravidCheck:
		return asksGravid
	case husbandry.LayWatch, husbandry.DigEggs:
		return asksLaid
	case husbandry.HatchWatch:
		return asksHatched
	case husbandry.Pair:
		return asksMated
	case husbandry.Sexing:
		return asksSexed
	case husbandry.LampMeter:
		return asksUVI
	case husbandry.YoungCheck, husbandry.Quarantine, husbandry.Faecal:
		return asksIll
	case husbandry.Order:
		return asksOrdered
	}
	return nil
}

// Shared by all tasks of a kind; nobody writes to them.
var (
	asksRefused = []tasks.FindingName{tasks.FindRefused}
	asksWeighs  = []tasks.FindingName{tasks.FindWeighs}
	asksAdded   = []tasks.FindingName{tasks.FindAdded}
	asksTub     = []tasks.FindingName{tasks.FindAdded, tasks.FindWeighs}
	asksVeins   = []tasks.FindingName{tasks.FindVeins}
	asksGravid  = []tasks.FindingName{tasks.FindGravid}
	asksLaid    = []tasks.FindingName{tasks.FindLaid, tasks.FindSlugs}
	asksHatched = []tasks.FindingName{tasks.FindHatched}
	asksOrdered = []tasks.FindingName{tasks.FindOrdered}
	asksMated   = []tasks.FindingName{tasks.FindMated}
	asksSexed   = []tasks.FindingName{tasks.FindSexed}
	asksUVI     = []tasks.FindingName{tasks.FindUVI}
	asksIll     = []tasks.FindingName{tasks.FindIll}
)
