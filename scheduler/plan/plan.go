// Package plan decides which tasks the keeper is asked for, and on which day.
//
// Start with [New]. A [Day] joins the facts of a day (package herd) with the
// routines of the records: which routine holds for which subject, and when
// ([Day.Duties]). The plan calls each rule with the Day, and the rule proposes
// tasks: a [Single], a [Series] of dates, or a [Chain] in which each task
// follows the one before. The plan settles the proposals ([Day.Tasks]). Only
// the plan considers marks, the first day that counts, lapsed tasks and tasks
// put off, absences, the keeper who does a task, and the spreading of work over
// days.
//
// The package names no kind of task. The differences between kinds are in the
// rows of the kinds (tasks/husbandry, kinds.go); special cases are in a rule
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
	// Spread chooses days inside the slack of tasks. If it is nil, every task
	// stays on the day of its routine.
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
	// First are the rules that are settled before any task can follow their
	// tasks. These rules must not call [Day.Hosts] or [Day.Ahead], which wait
	// for the results of First.
	First []Rule
	// Then are the rules that need the days of other tasks.
	Then []Rule
}

// markAhead is a number of days. A task of a fixed, windowed or riding routine
// may have been marked up to this many days before its slack begins.
const markAhead = 14

// Day has everything that rules may ask for: the facts of a day, the routines
// and subjects of the records, and the days of other tasks. Make a Day with
// [New]. Several goroutines may use it at once.
type Day struct {
	*herd.Herd
	To civil.Date
	// Horizon is the last day that the plan looks at. It is after To, because
	// some tasks up to To depend on later ones: orders on the feedings that use
	// up live food, riding tasks on later hosts, and tasks due after To that
	// the spread moves to an earlier day.
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
	crew       []selector                     // the conditions of each keeper
	texts      []string                       // texts of days, from herd.LookBack days before On

	subjects map[husbandry.ID]*Subject
	walk     []*Subject // all subjects except permits, by scope and walking order
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

// horizon works out [Day.Horizon], and the kinds of hosts that riding routines
// follow.
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
		// The spread may move tasks due after To to a day within the plan.
		horizon = horizon.AddDays(int(early))
	}
	return horizon
}

func (d maker) addRoutine(of *husbandry.Routine, rank int) {
	r := &Routine{Routine: of, rank: rank, sel: compile(&of.For), Words: CadenceWords(of.Cadence)}
	if r.Cadence.Pattern == husbandry.Fixed && !r.Off {
		dates, err := cadence.Of(r.Cadence)
		if err != nil {
			return // package books refuses such a routine and names its place
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

// TurnedOff returns the routines with Off for records of a scope.
func (d *Day) TurnedOff(s husbandry.Scope) []*Routine { return d.off[s] }

// Subject returns the subject with an id, or nil. A clutch that needs no more
// work has no subject.
func (d *Day) Subject(id husbandry.ID) *Subject { return d.subjects[id] }

// Subjects returns all subjects except permits, by scope, each in walking
// order.
func (d *Day) Subjects() []*Subject { return d.walk }

// Duties returns the routines that hold for a subject on some day, by subject
// and in the order of the records. Routines that follow an event are not among
// them.
func (d *Day) Duties() []*Duty { return d.duties }

// Text returns day.String() from a cache, because a plan writes the same days
// many times.
func (d *Day) Text(day civil.Date) string {
	i := day.Sub(d.On) + herd.LookBack
	if i < 0 || i >= len(d.texts) {
		return day.String()
	}
	return d.texts[i]
}

// Host is a task that tasks of riding routines may follow.
type Host struct {
	Date  civil.Date // the date in the key of the host
	Due   civil.Date // the day on which the host is due, or was done
	Given bool       // the host is already done
	// Bare says that a later host has the same Date. Riding tasks with this
	// date follow that later host.
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

// Hosts returns the tasks that a subject's riding tasks may follow, at most one
// a day and sorted by day. at is the subject of these tasks: the given subject,
// or the enclosure in which it lives.
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

// InOrder sorts days and removes repetitions.
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

// Tasks returns the tasks that are due or overdue on the Day, the upcoming
// tasks until To, and the tasks that lapsed since the day before, by due date
// and then in the order of tasks.Before. No two tasks have the same key. The
// caller may change the list.
func (d *Day) Tasks() []tasks.Task { return slices.Clone(d.result()) }

// Outlines yields the tasks of [Day.Tasks] without their words, because writing
// the words takes most of the time. The order is that of the proposals; the
// tasks of a chain are sorted by due date.
func (d *Day) Outlines(yield func(Outline) bool) {
	d.settleThen()
	more := true
	d.settled.asked(func(t *asked) { more = more && yield(t.Outline) })
}
