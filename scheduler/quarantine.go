package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Quarantine, illness, lamps that dim and papers that run out.

const (
	// testsApart is how many days lie between two faecal tests of a quarantine
	// at least, and testsBefore how many before its end the last one is due, so
	// that its result is there (common practice).
	testsApart  = 14
	testsBefore = 7
	// askedAgain is how many days after they were skipped a test and a release
	// are asked for again.
	askedAgain = 7
	// unwellFor is how many days noted illness stands in the way of pairing
	// while nobody has reviewed it (common practice).
	unwellFor = 60
)

const illCaution = "Limp, gaping, straining, blood, a prolapse, fits or laboured breath: to a reptile veterinarian today. " +
	"Everything else that does not pass in a day or two: to the veterinarian as well. On its own, warm, last in the round; wash your hands (Salmonella)."

// Illness is that somebody noted an animal, an enclosure's animals or a
// clutch's young to be ill.
type Illness struct {
	Subject husbandry.ID
	On      civil.Date
	Signs   string // in the keeper's words; "" for none
}

// Apart is an animal's quarantine. It lasts until somebody marks its release
// as done, whatever its length.
type Apart struct {
	Began civil.Date // the day it came
	From  civil.Date // the day its clock began, anew where it was restarted
	Until civil.Date // the first day on which it may be over
	Why   string     // why it was restarted; "" where it was not
}

// settleQuarantine works out who is in quarantine, and since when its clock
// runs: from the day it came, and anew from the day another animal came into
// its enclosure, or into quarantine in its room, and from the day illness was
// noted of it or of who lives with it.
func (h *Herd) settleQuarantine() {
	slices.SortStableFunc(h.ills, func(a, b Illness) int { return a.On.Compare(b.On) })
	var release []husbandry.ID
	for i := range h.Records.Routines {
		if r := &h.Records.Routines[i]; r.Kind == husbandry.Release {
			release = append(release, r.ID)
		}
	}
	for _, a := range h.Animals {
		began := a.Acquired
		if began.IsZero() {
			began = a.Since
		}
		if a.Quarantine == 0 || began.IsZero() || began.After(h.On) || !a.PresentOn(h.On) {
			continue
		}
		var released civil.Date
		for _, id := range release {
			released = civil.Max(released, h.History.LastDone(a.ID, id))
			until := a.Since
			for _, g := range h.groupsOf(a) {
				if on := h.History.LastDone(g.ID, id); !on.After(until) {
					released = civil.Max(released, on)
				}
				until = civil.Min(until, g.Since)
			}
		}
		q := &Apart{Began: began, From: began}
		for _, e := range h.restarts(a, began) {
			if !released.IsZero() && e.on.After(released) {
				break
			}
			q.From, q.Why = e.on, e.why
		}
		q.Until = q.From.AddDays(int(a.Quarantine))
		if released.After(q.From) {
			a.released, a.releasedOn = q, released
		}
		if released.After(q.From) || q.Until.Before(h.Records.Began) { // over, or over before the books began
			continue
		}
		a.Apart = q
	}
}

// restart is a reason for a quarantine to begin anew.
type restart struct {
	on  civil.Date
	why string
}

// restarts lists, by date, what began an animal's quarantine anew after a day.
func (h *Herd) restarts(a *Animal, after civil.Date) []restart {
	var list []restart
	for _, b := range h.Animals {
		if b == a || a.Enclosure == "" || b.Enclosure == "" {
			continue
		}
		if in := b.MovedIn(); b.Enclosure == a.Enclosure && in.After(after) && !in.After(h.On) {
			list = append(list, restart{in, animalWord(b) + " moved in"})
		}
		if !b.Acquired.After(after) || b.Acquired.After(h.On) {
			continue
		}
		if b.Enclosure == a.Enclosure || b.Quarantine > 0 && h.roomOf(a) == h.roomOf(b) {
			list = append(list, restart{b.Acquired, animalWord(b) + " came"})
		}
	}
	for _, ill := range h.ills {
		who := h.animals[ill.Subject]
		with := who != nil && (who == a || a.Enclosure != "" && who.Enclosure == a.Enclosure)
		if ill.On.After(after) && (with || a.Enclosure != "" && ill.Subject == a.Enclosure) {
			list = append(list, restart{ill.On, "illness was noted"})
		}
	}
	slices.SortStableFunc(list, func(r, s restart) int { return cmp.Or(r.on.Compare(s.on), strings.Compare(r.why, s.why)) })
	return list
}

func (h *Herd) roomOf(a *Animal) husbandry.ID {
	if e := h.enclosures[a.Enclosure]; e != nil {
		return e.Room
	}
	return ""
}

// apart reports whether somebody is in quarantine in an enclosure.
func (p *planner) apart(enclosure husbandry.ID) bool {
	return slices.ContainsFunc(p.herd.Residents(enclosure), func(a *Animal) bool { return a.Apart != nil })
}

// idleApart reports whether a routine has nothing to do because of a
// quarantine, which has faecal tests of its own, or because there is nobody in
// these books to be ready for.
func (p *planner) idleApart(s *subject, r *routine) bool {
	if s.scope == husbandry.OfKeeper && r.Origin == husbandry.Common && r.Kind == husbandry.Own {
		return len(p.herd.Animals)+len(p.herd.Clutches) == 0
	}
	return r.Kind == husbandry.Faecal && r.Cadence.Pattern != husbandry.Anchored &&
		slices.ContainsFunc(s.animals, func(a *Animal) bool { return a.Apart != nil })
}

// lastFaecal returns the last day on which a sample of one of a subject's
// animals was tested.
func (p *planner) lastFaecal(s *subject) (last civil.Date) {
	for _, r := range p.byScope[husbandry.OfAnimal] {
		if r.Kind != husbandry.Faecal {
			continue
		}
		for _, a := range s.animals {
			last = civil.Max(last, p.h.LastDone(a.ID, r.ID))
		}
	}
	return last
}

// faecalTests returns the faecal tests of an animal's quarantine, in order.
func (p *planner) faecalTests(s *subject, e happening) []*routine {
	var match []*routine
	day := civil.Max(e.on, e.animal.Came)
	for _, r := range p.byScope[husbandry.OfAnimal] {
		anchored := r.Cadence.Pattern == husbandry.Anchored && r.Cadence.Event == husbandry.EventQuarantine
		if r.Kind == husbandry.Faecal && (anchored || r.Off) && r.matches(s, day) {
			match = append(match, r)
		}
	}
	tests := resolve(match)
	slices.SortStableFunc(tests, func(r, q *routine) int { return cmp.Compare(r.Cadence.Offset, q.Cadence.Offset) })
	return tests
}

// open finds the occurrence of a step that is not skipped, and what became of
// it. A step that was skipped is asked for again a week later, under a key of
// its own.
func (p *planner) open(a *activity, e happening) (key tasks.Key, o tasks.Outcome, notBefore civil.Date) {
	occurrence := string(e.event) + "-" + e.instance
	for {
		key = a.key(occurrence)
		if o = p.h.Outcome(key); o.Mark == "" {
			o = p.ofGroup(a.s.animals[0], a.r.ID, occurrence)
		}
		if o.Mark != tasks.Skip {
			return key, o, notBefore
		}
		notBefore = o.On.AddDays(askedAgain)
		occurrence += "-after-" + o.On.String()
	}
}

// quarantineStep plans a faecal test of a quarantine, or the release from it:
// tests lie weeks apart and are never dropped, and nobody is released before
// the clock has run out and every test was done.
func (p *planner) quarantineStep(s *subject, r *routine, e happening) {
	q := s.animals[0].Apart
	act := &activity{s: s, r: r}
	key, o, due := p.open(act, e)
	if o.Mark == tasks.MarkDone {
		return
	}
	why := upperFirst(e.words)
	var last civil.Date // of the tests before
	for _, test := range p.faecalTests(s, e) {
		at := q.From.AddDays(int(test.Cadence.Offset))
		if !last.IsZero() {
			at = civil.Max(civil.Min(at, q.Until.AddDays(-testsBefore)), last.AddDays(testsApart))
		}
		if test == r {
			due = civil.Max(due, at)
			why += fmt.Sprintf(", due %s after; nobody is released without it", days(due.Sub(q.From)))
			break
		}
		_, done, _ := p.open(&activity{s: s, r: test}, e)
		switch {
		case done.Mark == tasks.MarkDone:
			last = done.On
		case r.Kind == husbandry.Release:
			return
		default:
			last = civil.Max(at, p.on)
		}
	}
	if r.Kind == husbandry.Release {
		due = civil.Max(due, q.Until)
		why += fmt.Sprintf("; its %s are over by then", days(q.Until.Sub(q.From)))
		if !last.IsZero() {
			why += ", last tested " + p.day(last)
		}
	}
	if o.Mark == tasks.PutOff {
		due = civil.Max(due, o.Until)
	}
	p.add(planned{a: act, key: key, due: civil.Max(due, p.began), why: why})
}

// unwell reports whether illness was noted of an animal lately and nobody has
// reviewed it.
func (p *planner) unwell(a *Animal) bool { return !p.unwellOn(a, p.on).IsZero() }

// unwellOn returns the day on which illness was noted of an animal, or of who
// lives in its enclosure, that awaited a review on a day; no date for none.
func (p *planner) unwellOn(a *Animal, day civil.Date) (noted civil.Date) {
	for _, subject := range []husbandry.ID{a.ID, a.Enclosure} {
		ill, ok := p.lastIll(subject, day)
		if !ok || !ill.On.AddDays(unwellFor).After(day) {
			continue
		}
		if o := p.h.Outcome(tasks.NewKey(subject, ReviewIll, ill.On.String())); o.Mark != tasks.MarkDone || o.On.After(day) {
			noted = civil.Max(noted, ill.On)
		}
	}
	return noted
}

// lastIll is the last illness noted of a subject until a day.
func (p *planner) lastIll(id husbandry.ID, day civil.Date) (last Illness, ok bool) {
	for _, ill := range p.herd.ills {
		if id != "" && ill.Subject == id && !ill.On.After(day) {
			last, ok = ill, true
		}
	}
	return last, ok
}

// reviewIll asks to look into the last illness noted of each.
func (p *planner) reviewIll() {
	seen := make(map[husbandry.ID]bool)
	for _, ill := range slices.Backward(p.herd.ills) {
		s := p.subjects[ill.Subject]
		if seen[ill.Subject] || s == nil || s.scope == husbandry.OfAnimal && !s.animals[0].PresentOn(p.on) {
			continue
		}
		seen[ill.Subject] = true
		a, ok := p.builtIn(s, ReviewIll, husbandry.Review, "Review the illness")
		if !ok {
			continue
		}
		why := "Noted as ill on " + p.day(ill.On)
		if ill.Signs != "" {
			why += ": " + strings.Join(strings.Fields(ill.Signs), " ")
		}
		if slices.ContainsFunc(s.animals, func(a *Animal) bool { return a.Apart != nil && a.Apart.From == ill.On }) {
			why += "; the quarantine begins anew"
		}
		p.ask(a, []string{ill.On.String()}, ill.On, why, illCaution)
	}
}

// reading is one UV index measured under a lamp.
type reading struct {
	on  civil.Date
	uvi float64
}

// lampLoss is the share of its index whose loss makes a lamp one to be changed
// (common practice).
const lampLoss = 0.30

// tiny is less than any scale or meter shows: a limit that is met exactly is
// met.
const tiny = 1e-9

// dimmed returns the day on which the lamp of an enclosure was last measured, if
// it gave too little then beside the best reading since it was fitted or
// changed, and says so in words; no date where it does not.
func (p *planner) dimmed(enclosure husbandry.ID, since civil.Date) (on civil.Date, words string) {
	best, last := reading{}, reading{}
	for _, r := range p.herd.readings[enclosure] {
		if r.on.Before(since) {
			continue
		}
		if last = r; r.uvi > best.uvi {
			best = r
		}
	}
	if last.on.IsZero() || last.uvi > (1-lampLoss)*best.uvi+tiny || best.uvi == 0 {
		return civil.Date{}, ""
	}
	return last.on, fmt.Sprintf("; UV index %v on %s, %v on %s: %s less", last.uvi, p.day(last.on), best.uvi, p.day(best.on), percent(1-last.uvi/best.uvi))
}

// addPermits makes the papers subjects. They are about no place and no animal,
// and nothing but their own renewal is about them.
func (p *planner) addPermits() {
	for i := range p.rec.Permits {
		v := &p.rec.Permits[i]
		p.subjects[v.ID] = &subject{id: v.ID, scope: husbandry.OfKeeper, name: v.Words}
	}
}

// apartHappenings lists the beginnings of the quarantines there are.
func (p *planner) apartHappenings() []happening {
	var list []happening
	for _, a := range p.herd.Animals {
		q := a.Apart
		if q == nil || p.subjects[a.ID] == nil {
			continue
		}
		words := "quarantine since " + p.day(q.From)
		if q.Why != "" {
			words += ", begun anew because " + q.Why
		}
		list = append(list, happening{event: husbandry.EventQuarantine, on: q.From, instance: q.From.String(), animal: a, words: words})
	}
	return list
}

func (p *planner) permitHappenings() []happening {
	var list []happening
	for i := range p.rec.Permits {
		v := &p.rec.Permits[i]
		on := v.Expires.AddDays(-int(v.Remind))
		if on.After(p.horizon) {
			continue
		}
		words := "runs out on " + p.day(v.Expires)
		if v.Expires.Before(p.on) {
			words = "ran out on " + p.day(v.Expires)
		}
		list = append(list, happening{event: husbandry.EventExpiry, on: on, instance: v.Expires.String(), permit: v, words: words})
	}
	return list
}

// permitSubject returns the paper that a routine of the keeper's is about.
func (p *planner) permitSubject(r *routine, v *husbandry.Permit) *subject {
	if r.Scope != husbandry.OfKeeper {
		return nil
	}
	return p.subjects[v.ID]
}
