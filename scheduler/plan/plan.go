// Package plan decides what is asked of the keeper, and on which day.
//
// Start with [New]. A [Day] joins the facts of a day (package herd) with the
// routines of the records: which routine holds for which subject, and when
// ([Day.Duties]). Rules are asked about the Day and propose tasks: a [Single],
// a [Series] of dates, or a [Chain] in which each task follows the one before.
// The plan settles what they propose ([Day.Tasks]). It alone knows what was
// marked, the first day that counts, what lapses and what was put off, days
// away, who does a task, and the spreading of work over days.
//
// The package names no kind of task. The properties in which kinds differ stand
// in their rows (tasks/husbandry, kinds.go); special cases stand in a rule
// (package rule).
package plan

import (
	"slices"
	"sync"

	"nestround/scheduler/cadence"
	"nestround/scheduler/herd"
	"nestround/scheduler/ration"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Input is everything that a plan depends on.
type Input struct {
	Herd *herd.Herd // the facts of the day that the plan is made for
	// To is the last day ahead in the plan; a To before the herd's day counts
	// as that day.
	To civil.Date
	// Spread chooses days inside the slack. If it is nil, every task keeps its
	// own day.
	Spread Spread
	Rules  Rules
}

// Rule proposes the tasks of one concern from the facts of a day.
type Rule func(d *Day, propose Propose)

// Propose takes a proposal of a rule.
type Propose func(Proposal)

// Proposal is a task, or a row of tasks, that a rule proposes: a [Single], a
// [Series] or a [Chain].
type Proposal interface{ settle(d *settling) }

// Rules are the rules of a plan.
type Rules struct {
	// First are settled before any task can ride on theirs. They must not call
	// [Day.Hosts] or [Day.Ahead], which wait for them.
	First []Rule
	// Then are the rules that ask on which days other tasks are given.
	Then []Rule
}

// markAhead is how many days before its slack begins a task of a fixed,
// windowed or riding routine may have been marked.
const markAhead = 14

// Day has everything that rules may ask: the facts of a day, the routines and
// subjects of the records, and the days on which other tasks are given. Make
// one with [New]. Several goroutines may ask it at once.
type Day struct {
	*herd.Herd
	To civil.Date
	// Horizon is the last day that the plan looks at. It is later than To by
	// the days for which feedings use up live food, by the longest lead of a
	// riding routine, and by the slack from which tasks may be brought forward.
	Horizon  civil.Date
	Routines []*Routine // in the order of the records

	rules   Rules
	spread  Spread
	byScope map[husbandry.Scope][]*Routine
	// forSpecies has the candidates for subjects of one species.
	forSpecies map[scopeSpecies][]*Routine
	hosted     map[husbandry.Kind]bool
	away       []husbandry.Away               // Absences of the records
	off        map[husbandry.Scope][]*Routine // routines that turn others off
	crew       []selector                     // the keepers'
	texts      []string                       // of days, from herd.LookBack before On

	subjects map[husbandry.ID]*Subject
	walk     []*Subject // all subjects but papers, by scope and walking order
	duties   []*Duty
	held     map[hostKey][]husbandry.ID // routines that hold, by subject and kind

	first      sync.Once
	settled    *settling
	settleThen func()
	result     func() []tasks.Task
}

// maker builds a Day.
type maker struct{ *Day }

// New makes the Day of a plan.
func New(in Input) *Day {
	d := &Day{
		Herd: in.Herd, To: civil.Max(in.Herd.On, in.To), rules: in.Rules, spread: in.Spread,
		byScope:    make(map[husbandry.Scope][]*Routine),
		forSpecies: make(map[scopeSpecies][]*Routine),
		hosted:     make(map[husbandry.Kind]bool),
		off:        make(map[husbandry.Scope][]*Routine),
		subjects:   make(map[husbandry.ID]*Subject),
		held:       make(map[hostKey][]husbandry.ID),
	}
	d.settled = newSettling(d)
	d.settleThen = sync.OnceFunc(func() {
		d.settleFirst()
		d.settled.settle(d.rules.Then)
	})
	d.result = sync.OnceValue(func() []tasks.Task {
		d.settleThen()
		return d.settled.sorted()
	})
	d.away = d.Records.Absences()
	m := maker{d}
	d.Horizon = m.horizon()
	d.texts = make([]string, herd.LookBack+max(0, min(d.Horizon.Sub(d.On), 2*herd.LookBack))+1)
	for i := range d.texts {
		d.texts[i] = d.On.AddDays(i - herd.LookBack).String()
	}
	for i := range d.Records.Routines {
		m.addRoutine(&d.Records.Routines[i], i)
	}
	for i := range d.Records.Carers {
		d.crew = append(d.crew, compile(&d.Records.Carers[i].For))
	}
	m.findSubjects()
	for _, s := range d.walk {
		m.findDuties(s)
	}
	return d
}

// horizon works out [Day.Horizon], and the kinds on which other routines ride.
func (d maker) horizon() civil.Date {
	lead, early := husbandry.Days(0), husbandry.Days(0)
	for i := range d.Records.Routines {
		r := &d.Records.Routines[i]
		if r.Cadence.Pattern == husbandry.Riding {
			lead = max(lead, r.Cadence.Lead)
			d.hosted[r.Cadence.Host] = true
		}
		early = max(early, r.Before)
	}
	horizon := d.UntilReturn().AddDays(ration.LongestReach(d.Records.Feeders))
	if away := d.leaving(); away != nil {
		horizon = civil.Max(horizon, away.Until)
	}
	horizon = horizon.AddDays(int(lead))
	if d.spread != nil {
		// Tasks may be brought forward into the plan from behind it.
		horizon = horizon.AddDays(int(early))
	}
	return horizon
}

func (d maker) addRoutine(of *husbandry.Routine, rank int) {
	r := &Routine{Routine: of, rank: rank, sel: compile(&of.For), Words: CadenceWords(of.Cadence)}
	if r.Cadence.Pattern == husbandry.Fixed && !r.Off {
		dates, err := cadence.Of(r.Cadence)
		if err != nil {
			return // books refuses such a routine, with its place
		}
		from := d.On.AddDays(-herd.LookBack)
		if last := dates.Last(from); !last.IsZero() {
			from = last
		}
		r.Dates = slices.Collect(dates.Between(from, d.Horizon))
	}
	d.Routines = append(d.Routines, r)
	d.byScope[r.Scope] = append(d.byScope[r.Scope], r)
	if r.Off {
		d.off[r.Scope] = append(d.off[r.Scope], r)
	}
}

// Scoped returns the routines about records of a scope, in the order of the
// records.
func (d *Day) Scoped(s husbandry.Scope) []*Routine { return d.byScope[s] }

// TurnedOff returns the routines that turn others of a scope off.
func (d *Day) TurnedOff(s husbandry.Scope) []*Routine { return d.off[s] }

// Subject returns the subject of an id, or nil. Clutches for which nothing more
// is done have no subject.
func (d *Day) Subject(id husbandry.ID) *Subject { return d.subjects[id] }

// Subjects returns all subjects but papers, by scope, each in walking order.
func (d *Day) Subjects() []*Subject { return d.walk }

// Duties returns the routines that hold for a subject on some day, without
// those that follow an event, by subject and in the order of the records.
func (d *Day) Duties() []*Duty { return d.duties }

// Text is day.String() without the cost: a plan writes the same days over and
// over.
func (d *Day) Text(day civil.Date) string {
	i := day.Sub(d.On) + herd.LookBack
	if i < 0 || i >= len(d.texts) {
		return day.String()
	}
	return d.texts[i]
}

// Host is a task on which others may ride.
type Host struct {
	Date  civil.Date // its nominal date, which is part of keys
	Due   civil.Date // the day on which it is, or was, given
	Given bool       // done already
	// Bare says that a later host has the same date. Tasks that ride on the
	// date ride on that host.
	Bare bool
}

type hostKey struct {
	subject husbandry.ID
	kind    husbandry.Kind
}

// AllHosts returns the settled tasks of a kind for a subject; nil for none.
func (d *Day) AllHosts(subject husbandry.ID, kind husbandry.Kind) []Host {
	d.settleFirst()
	if list := d.settled.hosts[hostKey{subject, kind}]; list != nil {
		return *list
	}
	return nil
}

// Hosts returns the tasks on which a subject's riders may ride, one a day and
// by day, and the subject of these tasks: its own, or those of the enclosure in
// which it lives.
func (d *Day) Hosts(s *Subject, kind husbandry.Kind) (hosts []Host, at husbandry.ID) {
	at = s.ID
	if d.settleFirst(); d.settled.hosts[hostKey{at, kind}] == nil && s.Scope == husbandry.OfAnimal {
		at = s.Animals[0].Enclosure
	}
	hosts = slices.Clone(d.AllHosts(at, kind))
	slices.SortFunc(hosts, func(a, b Host) int {
		if c := a.Due.Compare(b.Due); c != 0 {
			return c
		}
		return a.Date.Compare(b.Date)
	})
	hosts = slices.CompactFunc(hosts, func(a, b Host) bool { return a.Due == b.Due })
	later := make(map[civil.Date]bool, len(hosts))
	for i := len(hosts) - 1; i >= 0; i-- {
		hosts[i].Bare = later[hosts[i].Date]
		later[hosts[i].Date] = true
	}
	return hosts, at
}

// Given returns the days since a day on which tasks of a kind were done for a
// subject, ascending.
func (d *Day) Given(at husbandry.ID, kind husbandry.Kind, since civil.Date) []civil.Date {
	var days []civil.Date
	for _, id := range d.held[hostKey{at, kind}] {
		days = append(days, d.History.DoneDays(at, id, since)...)
	}
	return InOrder(days)
}

// Held returns the routines of a kind that hold for a subject.
func (d *Day) Held(at husbandry.ID, kind husbandry.Kind) []husbandry.ID {
	return d.held[hostKey{at, kind}]
}

// InOrder sorts days and leaves each once.
func InOrder(days []civil.Date) []civil.Date {
	slices.SortFunc(days, civil.Date.Compare)
	return slices.Compact(days)
}

// Ahead calls yield with each task planned so far, and its day.
func (d *Day) Ahead(yield func(s *Subject, r *Routine, due civil.Date)) {
	d.settleFirst()
	for _, piece := range d.settled.out {
		for i := range piece {
			if t := &piece[i]; !t.lapsed {
				yield(t.a.Subject, t.a.Routine, t.due)
			}
		}
	}
}

func (d *Day) settleFirst() {
	d.first.Do(func() { d.settled.settle(d.rules.First) })
}

// Tasks returns the tasks that are due or overdue on the Day, those upcoming
// until To, and those that lapsed since the day before, by due date and then
// as tasks.Before has it. No two share a key. The caller may change the list.
func (d *Day) Tasks() []tasks.Task { return slices.Clone(d.result()) }

// Outlines yields the tasks of [Day.Tasks] without their words, which take most
// of the time. Their order is that of the proposals; the tasks of a chain are
// by due date.
func (d *Day) Outlines(yield func(Outline) bool) {
	d.settleThen()
	more := true
	d.settled.asked(func(t *asked) { more = more && yield(t.Outline) })
}
