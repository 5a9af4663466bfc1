package scheduler

import (
	"slices"
	"sort"
	"strconv"

	"nestround/scheduler/cadence"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// host is a task that others may ride on.
type host struct {
	date  civil.Date // its nominal date, which keys hang on
	due   civil.Date // the day it is, or was, given
	given bool       // done already
	// bare: another host of the same date follows, and what rides on the date
	// rides on that.
	bare bool
}

type hostKey struct {
	subject husbandry.ID
	kind    husbandry.Kind
}

func (p *planner) addHost(a *activity, h host) {
	if a.hosts != nil {
		*a.hosts = append(*a.hosts, h)
	}
}

// ready fills in what an activity looks up again and again.
func (p *planner) ready(a *activity) {
	a.marks = p.h.Marks(a.s.id, a.r.ID)
	a.moves = p.movesOf(a)
	a.ahead = a.marks.Ahead(p.on, p.on.AddDays(-int(a.r.Before)-markAhead))
	if p.hosted[a.r.Kind] {
		k := hostKey{a.s.id, a.r.Kind}
		if p.hosts[k] == nil {
			p.hosts[k] = new([]host)
		}
		a.hosts = p.hosts[k]
	}
}

// said returns the key of a task that is nominally of a date, and what became
// of it.
func (p *planner) said(a *activity, date civil.Date) (tasks.Key, tasks.Outcome) {
	key := a.key(p.text(date))
	if date.After(p.on) && !a.ahead {
		return key, tasks.Outcome{}
	}
	return key, a.marks.OutcomeSince(key, civil.Min(date, p.on).AddDays(-int(a.r.Before)-markAhead))
}

// key makes the key of one occurrence.
func (a *activity) key(occurrence string) tasks.Key {
	return tasks.NewKey(a.s.id, a.r.ID, occurrence)
}

// text is day.String(), remembered: a plan writes the same days over and over.
func (p *planner) text(day civil.Date) string {
	i := day.Sub(p.on) + lookBack
	if i < 0 || i > 4*lookBack {
		return day.String()
	}
	for len(p.texts) <= i {
		p.texts = append(p.texts, "")
	}
	if p.texts[i] == "" {
		p.texts[i] = day.String()
	}
	return p.texts[i]
}

// fixed plans a routine that follows the calendar.
func (p *planner) fixed(a activity) {
	p.dated(&a, a.r.dates, nil, func(day civil.Date) string {
		if day.After(p.on) {
			return a.r.words
		}
		return a.r.words + p.sinceWords(&a, day)
	})
}

// dated plans one task for each date. A date that was not marked stays open
// until the next takes its place (stays), or until its slack is over (lapses,
// and also what looks daily for something: a look missed is not owed).
func (p *planner) dated(a *activity, dates []civil.Date, w *tasks.Window, why func(day civil.Date) string) {
	r := a.r
	next := sort.Search(len(dates), func(i int) bool { return dates[i].After(p.on) })
	_, holds := a.on(p.on)
	for i := max(0, next-2); i < len(dates); i++ {
		date := dates[i]
		span, ok := a.on(date)
		if !ok {
			continue
		}
		key, o := p.said(a, date)
		switch o.Mark {
		case tasks.MarkDone:
			if p.on.Sub(o.On) <= 1 {
				p.addHost(a, host{date: date, due: o.On, given: true})
			}
			continue
		case tasks.Skip:
			continue
		}
		due, own, replaced := date, civil.Date{}, civil.Date{}
		if i+1 < len(dates) {
			replaced = dates[i+1]
		}
		if o.Mark != tasks.PutOff && !date.Before(p.owedFrom(a, span)) {
			due, own = p.placeDated(a, dates, i), date
			if i+1 < len(dates) {
				replaced = p.placeDated(a, dates, i+1)
			}
		}
		if o.Mark == tasks.PutOff && o.Until.After(date) {
			if due = o.Until; !replaced.IsZero() && !due.Before(replaced) {
				continue // the next one comes first
			}
			if _, ok := a.on(civil.Max(due, p.on)); !ok {
				continue // what it is for is over by then
			}
		}
		if due.After(p.on) {
			p.addHost(a, host{date: date, due: due})
			p.add(planned{a: a, key: key, due: due, own: own, why: why(date) + p.movedWords(due, own), window: w})
			continue
		}
		if date.Before(p.on) && (!holds || date.Before(p.owedFrom(a, span))) {
			continue
		}
		// What is left undone is missed by the routine's own day, not by the
		// chosen one.
		missed := due
		if !own.IsZero() {
			missed = own
		}
		gone := missed.AddDays(int(r.After) + 1)
		if !replaced.IsZero() {
			gone = civil.Min(gone, replaced)
		}
		stays := r.Missed == husbandry.Stays || r.Missed == husbandry.Alarms && w == nil
		switch {
		case stays && (replaced.IsZero() || replaced.After(p.on)), !stays && p.on.Before(gone):
			p.addHost(a, host{date: date, due: p.on})
			p.add(planned{a: a, key: key, due: due, own: own, why: why(date) + p.movedWords(due, own), window: w})
		case !stays && p.on == gone:
			p.lapse(a, key, missed)
		}
	}
}

// lapse shows, once, a task that is no longer owed.
func (p *planner) lapse(a *activity, key tasks.Key, due civil.Date) {
	why := "Not marked on " + p.weekday(due)
	if a.r.After > 0 {
		why = "Due " + p.weekday(due) + " and not marked by " + p.weekday(due.AddDays(int(a.r.After)))
	}
	p.add(planned{a: a, key: key, due: due, why: why + "; not owed any more", lapsed: true})
}

// sinceWords tells of the last time, and of what was missed since.
func (p *planner) sinceWords(a *activity, date civil.Date) string {
	r, n := a.r, nouns(a.r.Kind)
	last := a.marks.LastDone()
	words := "; nothing recorded yet"
	if !last.IsZero() {
		words = "; last " + n.done + " " + p.weekday(last)
	}
	span, _ := a.on(date)
	from := civil.Max(civil.Max(last.AddDays(1), p.owedFrom(a, span)), p.on.AddDays(-lookBack))
	missed := 0
	for i := sort.Search(len(r.dates), func(i int) bool { return !r.dates[i].Before(from) }); i < len(r.dates) && r.dates[i].Before(date); i++ {
		if _, ok := a.on(r.dates[i]); !ok {
			continue
		}
		o := a.marks.OutcomeSince(a.key(p.text(r.dates[i])), from)
		if o.Mark == "" || o.Mark == tasks.PutOff {
			missed++
		}
	}
	if missed > 0 {
		what := " lapsed"
		if r.Missed != husbandry.Lapses {
			what = " missed"
		}
		words += "; " + n.count(missed) + what
		if !last.IsZero() {
			words += " since"
		}
	}
	return words
}

// interval is the routine's, or what the record of the subject says instead.
func (p *planner) interval(a *activity) husbandry.Days {
	if e := a.s.enclosure; e != nil && a.s.scope == husbandry.OfEnclosure {
		switch {
		case a.r.Kind == husbandry.NestTopUp && e.NestBox != nil && e.NestBox.TopUp > 0:
			return e.NestBox.TopUp
		case a.r.Kind == husbandry.LampChange && e.Lamp != nil && e.Lamp.Life > 0:
			return e.Lamp.Life
		}
	}
	return max(1, a.r.Cadence.Every)
}

// sinceLast plans a routine that is due so many days after it was last done.
// Its first open task is keyed by the completion it follows, and those behind
// it are projected from it, as if it were done on its day or today.
func (p *planner) sinceLast(a activity) {
	r, s := a.r, a.s
	every := p.interval(&a)
	last := a.marks.LastDone()
	seen := last // as far back as marks can be
	evidence := ""
	switch {
	case r.Kind == husbandry.LampChange && s.enclosure != nil && s.enclosure.Lamp != nil:
		if fitted := s.enclosure.Lamp.Fitted; fitted.After(last) && !fitted.After(p.on) {
			last = fitted
		}
	case r.Kind == husbandry.Weigh && s.scope == husbandry.OfAnimal:
		last = civil.Max(last, p.lastWeighed(s.animals[0]))
	case r.Kind == husbandry.Faecal:
		last = civil.Max(last, p.lastFaecal(s))
	}
	base, due := "first", civil.Date{}
	if !last.IsZero() {
		base, due = "after-"+p.text(last), last.AddDays(int(every))
	} else {
		due = p.firstDue(&a, int(every))
	}
	damp := p.dampDue(&a, last, due, every)
	if damp != nil {
		due, every = damp.due, damp.every
	}
	if r.Kind == husbandry.NestTopUp {
		if laid := p.laidIn[s.id]; laid.After(last) && !laid.Before(p.began) && laid.Before(due) {
			due = laid
			evidence = "; eggs were laid on " + p.day(laid) + " and the box was dug over"
		}
	}
	if r.Kind == husbandry.LampChange {
		if dim, words := p.dimmed(s.id, last); !dim.IsZero() && dim.Before(due) {
			due, evidence = dim, words
		}
	}
	reason := func(d civil.Date, lapsed int) string {
		n := nouns(r.Kind)
		words := everyWords(every)
		if damp != nil {
			words = damp.words(d)
		}
		if last.IsZero() {
			words += "; nothing recorded yet"
		} else {
			words += "; last " + n.done + " " + p.weekday(last)
		}
		if lapsed > 0 {
			words += "; " + n.count(lapsed) + " lapsed since"
		}
		if damp != nil {
			words += damp.question
		}
		return words
	}

	_, holds := a.on(p.on)
	lapsed := 0
	lapses := r.Missed == husbandry.Lapses
	n := 1
	if behind := p.on.Sub(due) - lookBack; lapses && behind > 0 {
		skip := behind / int(every)
		due, n, lapsed = due.AddDays(skip*int(every)), n+skip, lapsed+skip
	}
	ahead := ""
	for !due.After(p.horizon) {
		day := due
		if due.Before(p.on) && !holds {
			day = p.on
		}
		if _, ok := a.on(civil.Max(day, p.on)); !ok {
			if due = a.after(civil.Max(day, p.on)); due.IsZero() {
				return
			}
			continue
		}
		occurrence := base
		if n > 1 {
			occurrence += "+" + strconv.Itoa(n)
		}
		since := seen
		if since.IsZero() {
			since = p.on // all was read to find that it was never done
		}
		key := a.key(occurrence)
		o := a.marks.OutcomeSince(key, since)
		at := due
		switch o.Mark {
		case tasks.MarkDone: // twice on one day
			due, n = o.On.AddDays(int(every)), n+1
			continue
		case tasks.Skip:
			due, n = civil.Max(due, o.On).AddDays(int(every)), n+1
			continue
		case tasks.PutOff:
			if at = civil.Max(due, o.Until); at.After(p.on) && at.After(due) {
				if _, ok := a.on(at); !ok { // put off past the end of what it is for
					if due = a.after(at); due.IsZero() {
						return
					}
					continue
				}
			}
		}
		if gone := at.AddDays(int(r.After) + 1); lapses && !p.on.Before(gone) {
			if gone == p.on && !at.Before(p.owedFrom(&a, stretch{})) {
				p.lapse(&a, key, at)
			}
			due, n = at.AddDays(int(every)), n+1
			lapsed++
			continue
		}
		placed, own := at, civil.Date{}
		if o.Mark != tasks.PutOff && evidence == "" {
			placed, own = p.place(&a, key, at, at.AddDays(1-int(every)), civil.Date{}), at
		}
		why := ahead
		switch {
		case !placed.After(p.on) || n == 1:
			why = reason(at, lapsed) + evidence + p.movedWords(placed, own)
		case ahead == "":
			ahead = reason(at, 0)
			why = ahead
		}
		p.add(planned{a: &a, key: key, due: placed, own: own, why: why})
		evidence = ""
		p.addHost(&a, host{date: due, due: civil.Max(placed, p.on)})
		due, n = civil.Max(placed, p.on).AddDays(int(every)), n+1
	}
}

// sinceLastGiven notes, for what rides on a since-last routine, that it was
// done today or yesterday; its nominal date is gone from the plan by then.
func (p *planner) sinceLastGiven(a *activity) {
	every := p.interval(a)
	if !p.hosted[a.r.Kind] {
		return
	}
	given := a.marks.DoneDays(p.on.AddDays(-int(every) - markAhead))
	for i, d := range given {
		if p.on.Sub(d) > 1 || d.After(p.on) {
			continue
		}
		date := d
		if i > 0 && given[i-1] != d {
			date = given[i-1].AddDays(int(every))
		}
		p.addHost(a, host{date: date, due: d, given: true})
	}
}

func everyWords(every husbandry.Days) string {
	return cadenceWords(husbandry.Cadence{Every: every})
}

// firstDue is when a routine that was never done is first due: spread over its
// interval from the day the books begin, so that not everything falls on that
// day; for a subject that came later, or a state that began later, on that
// day; today where nobody said when the books begin.
func (p *planner) firstDue(a *activity, every int) civil.Date {
	from := a.s.came
	if span, ok := a.on(p.on); ok {
		from = civil.Max(from, span.From)
	} else if next := a.after(p.on); !next.IsZero() {
		from = civil.Max(from, next)
	}
	if c := a.s.clutch; c != nil && a.r.Kind == husbandry.TubCheck {
		return civil.Max(p.tubSet(c), p.rec.Began).AddDays(every)
	}
	switch {
	case from.After(p.on):
		return from
	case p.rec.Began.IsZero():
		return p.on
	case from.After(p.rec.Began):
		return from
	}
	return p.rec.Began.AddDays(spread(tasks.NewKey(a.s.id, a.r.ID, ""), every))
}

// after returns the first day after day on which the activity begins to hold.
func (a *activity) after(day civil.Date) civil.Date {
	for _, t := range a.spans {
		if t.From.After(day) {
			return t.From
		}
	}
	return civil.Date{}
}

// rider is a riding routine while its feedings are gone through.
type rider struct {
	activity
	last      civil.Date // last done
	reset     civil.Date // last done, it or a rarer one in its place
	since     int        // tasks of the host given since reset
	notBefore civil.Date // put off to
	gap       gap        // to what was given before
	reached   civil.Date // the host's nth date since reset, once it was seen
}

// riding plans what follows other routines' tasks.
func (p *planner) riding(list []activity) {
	groups := make(map[hostKey][]*rider)
	var order []hostKey
	for _, a := range list {
		if a.s.scope == husbandry.OfKeeper || a.s.scope == husbandry.OfRoom {
			p.ridingOnAll(a)
			continue
		}
		k := hostKey{a.s.id, a.r.Cadence.Host}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], &rider{activity: a})
	}
	for _, k := range order {
		p.rideTogether(groups[k], k)
	}
}

// hostsOf returns the tasks that a subject's riders follow, by day: its own,
// or those of the enclosure it lives in.
func (p *planner) hostsOf(s *subject, kind husbandry.Kind) (hosts []host, at husbandry.ID) {
	at = s.id
	if p.hosts[hostKey{at, kind}] == nil && s.scope == husbandry.OfAnimal {
		at = s.animals[0].Enclosure
	}
	if list := p.hosts[hostKey{at, kind}]; list != nil {
		hosts = slices.Clone(*list)
	}
	slices.SortFunc(hosts, func(a, b host) int {
		if c := a.due.Compare(b.due); c != 0 {
			return c
		}
		return a.date.Compare(b.date)
	})
	hosts = slices.CompactFunc(hosts, func(a, b host) bool { return a.due == b.due })
	later := make(map[civil.Date]bool, len(hosts))
	for i := len(hosts) - 1; i >= 0; i-- {
		hosts[i].bare = later[hosts[i].date]
		later[hosts[i].date] = true
	}
	return hosts, at
}

// given returns the days on which tasks of a kind were done for a subject.
func (p *planner) given(at husbandry.ID, kind husbandry.Kind, since civil.Date) []civil.Date {
	var days []civil.Date
	for _, id := range p.ofKind[hostKey{at, kind}] {
		days = append(days, p.h.DoneDays(at, id, since)...)
	}
	return inOrder(days)
}

// rideTogether plans the riders of one subject on one kind of host. They count
// the feedings given since they were last dusted on one; where several
// supplements fall on one feeding only the rarest is due, and it stands in for
// the others, because powders are given instead of one another.
func (p *planner) rideTogether(riders []*rider, k hostKey) {
	hosts, at := p.hostsOf(riders[0].s, k.kind)
	if len(hosts) == 0 {
		return
	}
	for _, r := range riders {
		r.last = r.marks.LastDone()
		r.gap = p.gapOf(&r.activity)
	}
	yesterday := p.on.AddDays(-1)
	for _, r := range riders {
		r.reset = r.last
		for _, other := range riders {
			if r.supplement() && other.supplement() && other.r.Cadence.Nth > r.r.Cadence.Nth {
				r.reset = civil.Max(r.reset, other.last)
			}
		}
		since := r.reset.AddDays(1)
		if r.reset.IsZero() {
			since = p.on.AddDays(-markAhead)
		}
		for _, d := range p.given(at, k.kind, civil.Max(since, p.began)) {
			if d.Before(yesterday) {
				r.count(d)
			}
		}
	}
	for _, f := range hosts {
		var carried []*rider
		for _, r := range riders {
			if f.bare || !f.due.After(r.reset) {
				continue
			}
			if _, ok := r.on(f.due); ok && p.rides(r, f) {
				carried = append(carried, r)
			}
		}
		carried = rarest(carried)
		for _, r := range riders {
			if f.due.After(r.reset) && (f.given || !f.due.Before(p.on)) {
				r.count(f.due)
			}
		}
		for _, r := range carried {
			p.ride(r, f)
			if f.due.Before(p.on) {
				continue // it was not given with it: still owed, on a later one
			}
			r.last, r.reset = f.due, f.due
			r.since, r.reached = 0, civil.Date{}
			given := f.due.AddDays(-int(r.r.Cadence.Lead))
			for _, other := range riders {
				if !r.supplement() || !other.supplement() {
					continue
				}
				if other.r.Cadence.Nth < r.r.Cadence.Nth {
					other.since, other.reached = 0, civil.Date{}
				}
				if both := r.gap.gives & other.gap.gives; both != 0 && other != r {
					other.gap.note(given, both)
				}
			}
			r.gap.note(given, 0)
		}
	}
}

func (r *rider) supplement() bool { return r.r.Kind == husbandry.Supplement }

// rides reports whether a rider is due with a host.
func (p *planner) rides(r *rider, f host) bool {
	c := &r.r.Cadence
	if r.since+1 < c.Nth || f.due.AddDays(-int(c.Lead)).Before(r.gap.until) || f.due.Before(r.notBefore) {
		return false
	}
	switch _, o := p.said(&r.activity, f.date); o.Mark {
	case tasks.MarkDone, tasks.Skip:
		return false
	case tasks.PutOff:
		r.notBefore = civil.Max(r.notBefore, o.Until)
		return !f.due.Before(o.Until)
	}
	return true
}

// rarest leaves, of several supplements, the one that comes least often.
func rarest(carried []*rider) []*rider {
	var best *rider
	for _, r := range carried {
		if r.supplement() && (best == nil || r.r.Cadence.Nth > best.r.Cadence.Nth) {
			best = r
		}
	}
	return slices.DeleteFunc(carried, func(r *rider) bool { return r.supplement() && r != best })
}

func (p *planner) ride(r *rider, f host) {
	due := f.due.AddDays(-int(r.r.Cadence.Lead))
	words := r.r.words
	if f.due.Before(p.on) || due.Before(p.on) && due.AddDays(int(r.r.After)).Before(p.on) {
		if due.AddDays(int(r.r.After)+1) == p.on && !due.Before(p.owedFrom(&r.activity, stretch{})) {
			p.lapse(&r.activity, r.key(p.text(f.date)), due)
		}
		return
	}
	if due.Before(p.began) {
		return
	}
	host, own := nouns(r.r.Cadence.Host), nouns(r.r.Kind)
	if r.gap.decides(r.reached) {
		words = p.gapWords(r)
	} else if !due.After(p.on) || r.last.Before(p.on) {
		switch {
		case r.last.IsZero():
			words += "; nothing recorded yet"
		default:
			words += "; last " + own.done + " " + p.weekday(r.last)
		}
	}
	if r.r.Cadence.Lead > 0 {
		words += ", for the " + host.one + " of " + p.weekday(f.due)
	}
	if earliest := due.AddDays(-int(r.r.Before)); earliest.Before(r.gap.until) {
		// What may be done early may not be done nearer than the gap.
		t := p.task(&r.activity, r.key(p.text(f.date)), due, words)
		t.Earliest = r.gap.until
		p.emit(&r.activity, t)
		return
	}
	p.add(planned{a: &r.activity, key: r.key(p.text(f.date)), due: due, why: words})
}

// ridingOnAll plans one task a day for all hosts of the books or of a room
// that fall on one day, such as gut-loading for everybody's feeding.
func (p *planner) ridingOnAll(a activity) {
	r := a.r
	on := make(map[civil.Date]int)
	for i := range p.rec.Enclosures {
		e := &p.rec.Enclosures[i]
		s := p.subjects[e.ID]
		if a.s.scope == husbandry.OfRoom && e.Room != a.s.room {
			continue
		}
		hosts := p.hosts[hostKey{e.ID, r.Cadence.Host}]
		if hosts == nil {
			continue
		}
		for _, h := range *hosts {
			if !h.given && r.matches(s, h.due) {
				on[h.due]++
			}
		}
	}
	var feedings []civil.Date
	for d := range on {
		feedings = append(feedings, d)
	}
	last := a.marks.LastDone()
	host := nouns(r.Cadence.Host)
	for _, f := range inOrder(feedings) {
		due := f.AddDays(-int(r.Cadence.Lead))
		key, o := p.said(&a, f)
		switch o.Mark {
		case tasks.MarkDone, tasks.Skip:
			continue
		case tasks.PutOff:
			if due = civil.Max(due, o.Until); due.After(f) {
				continue // too late for that day
			}
		}
		if _, ok := a.on(civil.Max(due, p.on)); !ok || !last.IsZero() && due.Sub(last) < int(r.Cadence.MinGap) {
			continue
		}
		if latest := due.AddDays(int(r.After)); latest.Before(p.on) {
			if latest.AddDays(1) == p.on && !due.Before(p.owedFrom(&a, stretch{})) {
				p.lapse(&a, key, due)
			}
			continue
		}
		if due.Before(p.began) {
			continue
		}
		p.add(planned{a: &a, key: key, due: due, why: "For " + host.count(on[f]) + " on " + p.weekday(f)})
		last = due
	}
}

// steps returns the dates of a window's routine: every so many days from the
// window's first day, or from the last time it was done within it.
func (p *planner) steps(a *activity, from, to civil.Date) []civil.Date {
	every := int(max(1, a.r.Cadence.Every))
	if every > 1 {
		if last := a.marks.LastDone(); !last.Before(from) {
			from = last.AddDays(every)
		}
	}
	if behind := p.on.Sub(from) - markAhead; behind > 0 {
		from = from.AddDays(behind / every * every)
	}
	var dates []civil.Date
	for _, d := range cadence.Steps(from, a.r.Cadence.Every, civil.Min(to, p.horizon)) {
		dates = append(dates, d)
	}
	return dates
}
