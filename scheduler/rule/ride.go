package rule

import (
	"maps"
	"nestround/scheduler/plan"
	"nestround/scheduler/ration"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
	"slices"
)

// hostsBack is the number of days before today in which hosts are counted, if
// the rider was never done.
const hostsBack = 14

// rider is a riding routine, with its state while a loop goes through its hosts
// by day. A host is a task that the rider's tasks follow, such as a feeding for
// a supplement.
type rider struct {
	*plan.Duty
	last      civil.Date // day on which the rider was last done
	reset     civil.Date // last day on which the rider, or a rarer supplement in its place, was done
	since     int        // number of hosts done since reset
	notBefore civil.Date // day to which the rider was put off
	gap       gap        // least time between two doses
	reached   civil.Date // day of the nth host since reset; zero before that
}

// Riding proposes the tasks of riding routines: they follow the tasks of other
// routines, the hosts.
func Riding(d *plan.Day, propose plan.Propose) {
	type group struct {
		subject husbandry.ID
		host    husbandry.Kind
	}
	groups := make(map[group][]*rider)
	var order []group
	for _, a := range d.Duties() {
		if a.Routine.Cadence.Pattern != husbandry.Riding || idle(d, a.Subject, a.Routine) {
			continue
		}
		if a.Subject.Scope == husbandry.OfKeeper || a.Subject.Scope == husbandry.OfRoom {
			ridingOnAll(d, propose, a)
			continue
		}
		k := group{a.Subject.ID, a.Routine.Cadence.Host}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], &rider{Duty: a})
	}
	for _, k := range order {
		rideTogether(d, propose, groups[k], k.host)
	}
}

// rideTogether proposes the tasks of all riders of one subject that follow the
// same kind of host. A rider is due after its number of hosts since it was last
// done. If several supplements are due at one feeding, only the rarest is
// given: supplements replace one another and are not mixed.
func rideTogether(d *plan.Day, propose plan.Propose, riders []*rider, host husbandry.Kind) {
	hosts, at := d.Hosts(riders[0].Subject, host)
	if len(hosts) == 0 {
		return
	}
	for _, r := range riders {
		r.last = r.LastDone()
		r.gap = gapOf(d, r.Duty)
	}
	for _, r := range riders {
		countBack(d, r, riders, at, host)
	}
	for _, f := range hosts {
		var carried []*rider
		for _, r := range riders {
			if !f.Bare && f.Due.After(r.reset) && r.Holds(f.Due) && rides(d, r, f) {
				carried = append(carried, r)
			}
		}
		carried = rarest(carried)
		for _, r := range riders {
			if f.Due.After(r.reset) && (f.Given || !f.Due.Before(d.On)) {
				r.count(f.Due)
			}
		}
		for _, r := range carried {
			ride(d, propose, r, f)
			if !f.Due.Before(d.On) { // if the host was before today, the rider is still due at a later host
				r.given(f.Due, riders)
			}
		}
	}
}

// countBack counts the hosts that were done since a rider was last done.
func countBack(d *plan.Day, r *rider, riders []*rider, at husbandry.ID, host husbandry.Kind) {
	r.reset = r.last
	for _, other := range riders {
		if r.supplement() && other.supplement() && other.Routine.Cadence.Nth > r.Routine.Cadence.Nth {
			r.reset = civil.Max(r.reset, other.last)
		}
	}
	since := r.reset.AddDays(1)
	if r.reset.IsZero() {
		since = d.On.AddDays(-hostsBack)
	}
	yesterday := d.On.AddDays(-1)
	for _, day := range d.Given(at, host, civil.Max(since, d.Began)) {
		if day.Before(yesterday) {
			r.count(day)
		}
	}
}

// given notes that a rider is done with a host of a day. If the rider is a
// supplement, the more frequent supplements count as given too.
func (r *rider) given(on civil.Date, riders []*rider) {
	r.last, r.reset = on, on
	r.since, r.reached = 0, civil.Date{}
	day := on.AddDays(-int(r.Routine.Cadence.Lead))
	for _, other := range riders {
		if !r.supplement() || !other.supplement() {
			continue
		}
		if other.Routine.Cadence.Nth < r.Routine.Cadence.Nth {
			other.since, other.reached = 0, civil.Date{}
		}
		if both := r.gap.gives & other.gap.gives; both != 0 && other != r {
			other.gap.note(day, both)
		}
	}
	r.gap.note(day, 0)
}

func (r *rider) supplement() bool { return r.Routine.Kind == husbandry.Supplement }

// rides reports whether a rider is due with a host.
func rides(d *plan.Day, r *rider, f plan.Host) bool {
	c := &r.Routine.Cadence
	if r.since+1 < c.Nth || f.Due.AddDays(-int(c.Lead)).Before(r.gap.until) || f.Due.Before(r.notBefore) {
		return false
	}
	fate := d.Became(r.Duty, f.Date)
	if fate.Over() {
		return false
	}
	if !fate.Until.IsZero() {
		r.notBefore = civil.Max(r.notBefore, fate.Until)
	}
	return !f.Due.Before(fate.Until)
}

// rarest keeps only the supplement with the longest interval.
func rarest(carried []*rider) []*rider {
	var best *rider
	for _, r := range carried {
		if r.supplement() && (best == nil || r.Routine.Cadence.Nth > best.Routine.Cadence.Nth) {
			best = r
		}
	}
	return slices.DeleteFunc(carried, func(r *rider) bool { return r.supplement() && r != best })
}

// ride proposes a task of a rider with a host.
func ride(d *plan.Day, propose plan.Propose, r *rider, f plan.Host) {
	due := f.Due.AddDays(-int(r.Routine.Cadence.Lead))
	as := *r // a copy: later hosts change r
	t := &plan.Ride{Duty: r.Duty, Date: f.Date, With: f.Due, Due: due, Why: func() string { return rideWords(d, &as, f, due) }}
	if earliest := due.AddDays(-int(r.Routine.Before)); earliest.Before(r.gap.until) {
		// Even an early task must not be before the end of the gap.
		t.Earliest = r.gap.until
	}
	propose(t)
}

// rideWords returns the reason of a rider's task with a host, in words.
func rideWords(d *plan.Day, r *rider, f plan.Host, due civil.Date) string {
	words := r.Routine.Words
	if r.gap.decides(r.reached) {
		words = gapWords(d, r)
	} else if !due.After(d.On) || r.last.Before(d.On) {
		words += lastWords(d, r.Routine.Kind, r.last)
	}
	if r.Routine.Cadence.Lead > 0 {
		words += ", for the " + r.Routine.Cadence.Host.Noun().One + " of " + d.WeekdayWords(f.Due)
	}
	return words
}

// ridingOnAll proposes one task for each day with hosts anywhere in the books
// or in a room, such as gut-loading for all feedings of a day.
func ridingOnAll(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	r := a.Routine
	on := hostsByDay(d, a)
	feedings := slices.Collect(maps.Keys(on))
	last := a.LastDone()
	host := r.Cadence.Host.Noun()
	for _, f := range plan.InOrder(feedings) {
		due := f.AddDays(-int(r.Cadence.Lead))
		fate := d.Became(a, f)
		if due = civil.Max(due, fate.Until); fate.Over() || due.After(f) {
			continue // the task was done or skipped, or it is too late for the hosts of that day
		}
		if !a.Holds(civil.Max(due, d.On)) || !last.IsZero() && due.Sub(last) < int(r.Cadence.MinGap) {
			continue
		}
		propose(&plan.Ride{Duty: a, Date: f, With: f, Due: due, Why: func() string { return "For " + host.Count(on[f]) + " on " + d.WeekdayWords(f) }})
		if !due.AddDays(int(r.After)).Before(d.On) && !due.Before(d.Began) {
			last = due
		}
	}
}

// hostsByDay counts the hosts of a duty that are still to come, by day.
func hostsByDay(d *plan.Day, a *plan.Duty) map[civil.Date]int {
	on := make(map[civil.Date]int)
	for i := range d.Records.Enclosures {
		e := &d.Records.Enclosures[i]
		if a.Subject.Scope == husbandry.OfRoom && e.Room != a.Subject.Room {
			continue
		}
		s := d.Subject(e.ID)
		for _, h := range d.AllHosts(e.ID, a.Routine.Cadence.Host) {
			if !h.Given && a.Routine.Matches(s, h.Due) {
				on[h.Due]++
			}
		}
	}
	return on
}

// gap is the least number of days between two doses of a rider. For a
// supplement, doses of all routines with the same substance count (vitamin D3,
// or vitamins). An animal may change its routines, by its age or because the
// keeper edits the books, but last week's dose still counts.
type gap struct {
	days  husbandry.Days
	gives ration.Powder
	last  civil.Date
	until civil.Date    // first possible day; no date: any day
	other ration.Powder // substance that another routine gave on the last day; 0: this routine gave it
	// at is the animal's earlier enclosure, if the last dose was given there;
	// "" for the present enclosure.
	at husbandry.ID
}

// gapOf works out the gap of a rider from the records. If two records disagree
// about the last day, the later day counts.
func gapOf(d *plan.Day, a *plan.Duty) gap {
	g := gap{days: a.Routine.Cadence.MinGap}
	if a.Routine.Kind == husbandry.Supplement {
		g.gives = ration.PowderOf(a.Routine.Routine)
	}
	g.note(a.LastSaid(), 0)
	if g.gives == 0 || g.days == 0 {
		return g
	}
	for _, r := range d.Candidates(a.Subject) {
		if r.Kind != husbandry.Supplement || r.ID == a.Routine.ID {
			continue
		}
		if both := ration.PowderOf(r.Routine) & g.gives; both != 0 {
			g.note(d.LastSaid(a.Subject.ID, r.ID), both)
		}
	}
	gapOfMoved(d, a, &g)
	return g
}

// gapOfMoved adds the doses that animals of an enclosure got in their earlier
// enclosures.
func gapOfMoved(d *plan.Day, a *plan.Duty, g *gap) {
	from := d.On.AddDays(-int(g.days))
	for _, animal := range a.Subject.Animals {
		for _, home := range animal.Was {
			if home.Enclosure == a.Subject.ID || home.Until.Before(from) || !animal.PresentOn(d.On) {
				continue
			}
			for _, r := range d.Scoped(husbandry.OfEnclosure) {
				both := ration.PowderOf(r.Routine) & g.gives
				if r.Kind != husbandry.Supplement || both == 0 {
					continue
				}
				for _, day := range d.DoneDays(home.Enclosure, r.ID, from) {
					if !day.After(home.Until) && day.After(g.last) {
						g.note(day, both)
						g.at = home.Enclosure
					}
				}
			}
		}
	}
}

// note adds the day of a dose. other is the substance if another routine gave
// the dose.
func (g *gap) note(day civil.Date, other ration.Powder) {
	if g.days == 0 || day.IsZero() || !day.After(g.last) {
		return
	}
	g.last, g.until, g.other, g.at = day, day.AddDays(int(g.days)), other, ""
}

// decides reports whether only the gap delays the task. reached is the day on
// which all other conditions were met.
func (g *gap) decides(reached civil.Date) bool {
	return !reached.IsZero() && reached.Before(g.until)
}

// gapWords returns the reason, in words, of a task that is delayed by the gap.
func gapWords(d *plan.Day, r *rider) string {
	g := &r.gap
	words := "At least " + english.Days(g.days) + " between two"
	if g.other != 0 {
		words = "At least " + english.Days(g.days) + " after " + g.other.Words()
	}
	if g.last.After(d.On) {
		return words
	}
	if g.other != 0 {
		words += ", last given " + d.WeekdayWords(g.last)
		if g.at != "" {
			words += " in " + string(g.at)
		}
		return words
	}
	return words + "; last " + r.Routine.Kind.Noun().Done + " " + d.WeekdayWords(g.last)
}

// count counts a host that is done on a day.
func (r *rider) count(day civil.Date) {
	if r.since++; r.since == max(1, r.Routine.Cadence.Nth) {
		r.reached = day.AddDays(-int(r.Routine.Cadence.Lead))
	}
}
