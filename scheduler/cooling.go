package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"nestround/scheduler/season"
	"nestround/scheduler/season/cooling"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Routines of the winter's cooling, which follow from care sheets and cooling
// records. Records should not use these ids.
const (
	CoolingCheck    husbandry.ID = "cooling-check"      // look at an animal before its winter
	CoolingNot      husbandry.ID = "cooling-not"        // it is not cooled, and why
	CoolingLastFood husbandry.ID = "cooling-last-food"  // on the day before the fast
	CoolingFast     husbandry.ID = "cooling-fast"       // the fast begins
	CoolingStep     husbandry.ID = "cooling-step"       // another temperature
	CoolingWeigh    husbandry.ID = "cooling-weigh"      // in the cold
	CoolingStop     husbandry.ID = "cooling-stop"       // end the cooling of an animal
	CoolingFood     husbandry.ID = "cooling-first-food" // after the winter
)

// Who is not cooled: thresholds and spans, all common practice.
const (
	firstYear = 365 // days old at least when the cold begins
	// settledIn is how long an animal must have been here when the fast
	// begins; it is also the usual quarantine.
	settledIn = 90
	// thinShare is the share of body mass whose loss within thinDays, not
	// through laying, keeps an animal warm.
	thinShare = 0.05
	thinDays  = 60
	// checkAhead is how many days before the fast the health is looked at.
	checkAhead = 14
	// weighSlack is how many days early or late a weighing in the cold may be.
	weighSlack = 2
	// moved is how far from its planned day, in days, the fast may begin.
	moved = 60
)

const (
	coolingCaution = "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
		"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."
	stopCaution = "Raise the temperature over days, not at once; water first, and no food before it is warm and active. " +
		"A lizard that loses this much in the cold belongs to a reptile veterinarian. The limits are borrowed from tortoises; no lizard figure is published."
	illColdCaution = "Raise the temperature over days, not at once; water first, and no food before it is warm and active. " +
		"In the cold nothing heals: a reptile veterinarian says how to go on."
	warmCaution   = "Not faster than planned. Water at once, food not before the day that is named, and only to one that is warm and moves about."
	gravidCaution = "Eggs do not wait for spring: she needs warmth, a damp place to dig and a reptile veterinarian's advice."
	foodCaution   = "A small meal, once it is warm and moves about as usual. If nothing is eaten within ten days of warmth, or it is weak, call a reptile veterinarian."
)

// Winter is one winter of an animal that a care sheet or a record cools.
type Winter struct {
	// Name is a part of the keys of its tasks: "wall-lizard-2026".
	Name   string
	Course cooling.Course
	// Room says that the room is cooled, and the temperature is set there.
	Room husbandry.ID
	// Alone says that the cooling was ended for this animal before its
	// companions'.
	Alone bool
	Not   string // why it is not cooled; "" when it is
	// start is the mass that later ones are compared with; zero: none yet.
	start Weight
}

// at is whom the steps of temperature are about.
func (w *Winter) at(a *Animal) husbandry.ID { return cmp.Or(w.Room, a.Enclosure) }

// foodless reports whether an animal goes without its usual feeding on a day.
// On the day of its first food that stands in the usual feeding's place.
func (w *Winter) foodless(day civil.Date) bool {
	return w.Not == "" && (w.Course.Foodless(day) || day == w.Course.Feed && w.Course.WasCooled())
}

// Wintering returns the winter in which an animal fasts or is cooled on a day,
// or nil.
func (a *Animal) Wintering(day civil.Date) *Winter {
	for i := range a.Winters {
		if a.Winters[i].foodless(day) {
			return &a.Winters[i]
		}
	}
	return nil
}

// rests reports whether a routine leaves an animal alone on a day for its
// winter's sake: it is not fed, and weighed by the winter's own days; in the
// cold nobody wets it or takes it out to clean, and until it is fed again
// there are no droppings to be tested.
func (a *Animal) rests(r *routine, day civil.Date) bool {
	switch r.Kind {
	case husbandry.Feed, husbandry.Supplement:
		return a.Wintering(day) != nil
	case husbandry.Mist, husbandry.Clean:
		w := a.Wintering(day)
		return w != nil && w.Course.Cooled(day)
	case husbandry.Faecal:
		w := a.Wintering(day)
		return w != nil && w.Course.WasCooled() && !day.Before(w.Course.Down)
	case husbandry.Weigh:
		w := a.Wintering(day)
		return w != nil && w.Course.Cooled(day) && r.Cadence.Pattern != husbandry.Anchored
	}
	return false
}

// winteredSince reports whether an animal fasts or is cooled on a day, or began
// to after an earlier one: what was refused then says nothing any more.
func (a *Animal) winteredSince(day, on civil.Date) bool {
	return a.Wintering(on) != nil || slices.ContainsFunc(a.Winters, func(w Winter) bool {
		return w.Not == "" && w.Course.Fast.After(day) && !w.Course.Fast.After(on)
	})
}

// winterTurns adds the days on which a winter changes which routines hold.
func (a *Animal) winterTurns(add func(civil.Date)) {
	for i := range a.Winters {
		if w := &a.Winters[i]; w.Not == "" {
			for _, d := range []civil.Date{w.Course.Fast, w.Course.Down, w.Course.Warm, w.Course.Feed, w.Course.Feed.AddDays(1)} {
				add(d)
			}
		}
	}
}

// findWinters works out the winters of every animal, from more than a year
// back to more than a year ahead.
func (p *planner) findWinters(latitude float64) {
	// What recurs is not taken to have begun before the books did.
	began := p.rec.Began
	if began.IsZero() {
		began = p.h.First()
	}
	for _, a := range p.herd.Animals {
		care := &a.sheet.Cooling
		if a.Enclosure == "" || care.IsZero() || !care.Usual && len(p.rec.Coolings) == 0 {
			continue
		}
		for _, plan := range p.planWinters(a, latitude, began) {
			if w, ok := p.winter(a, plan); ok {
				a.Winters = append(a.Winters, w)
				p.winters = true
			}
		}
	}
}

// winterPlan is a winter before anything was said of it.
type winterPlan struct {
	name  string
	rec   *husbandry.Cooling // nil: the care sheet's
	care  husbandry.CoolingCare
	start civil.Date
	room  husbandry.ID
}

// planWinters returns what is planned for an animal, by date: for each winter
// what names it most closely, the records before the care sheet, and before
// all of them a record of that winter only. What recurs begins on the day
// began or later.
func (p *planner) planWinters(a *Animal, latitude float64, began civil.Date) []winterPlan {
	room := husbandry.ID("")
	if e := p.herd.enclosures[a.Enclosure]; e != nil {
		room = e.Room
	}
	type candidate struct {
		rec   *husbandry.Cooling
		close int
	}
	var list []candidate
	for i := range p.rec.Coolings {
		c := &p.rec.Coolings[i]
		if near, ok := c.Names(&a.Animal, room); ok {
			if !c.Start.IsZero() {
				near -= 10 // a date of the keeper's stands above everything
			}
			list = append(list, candidate{c, near})
		}
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return a.close - b.close })
	if a.sheet.Cooling.Usual {
		list = append(list, candidate{})
	}
	var plans []winterPlan
	for _, c := range list {
		once := c.rec != nil && !c.rec.Start.IsZero()
		for _, start := range p.starts(c.rec, a.sheet.Cooling, latitude) {
			if slices.ContainsFunc(plans, func(w winterPlan) bool { return abs(w.start.Sub(start)) < 183 }) || !once && start.Before(began) {
				continue
			}
			w := winterPlan{name: string(a.Species), rec: c.rec, care: a.sheet.Cooling, start: start}
			if r := c.rec; r != nil {
				w.name = string(r.ID) + "-" + w.name
				if r.Lasts > 0 {
					w.care.Lasts = r.Lasts
				}
				if r.To != 0 {
					w.care.From, w.care.To = r.From, r.To
				}
				if len(r.Rooms) > 0 {
					w.room = room
				}
			}
			w.name += "-" + strconv.Itoa(start.Year())
			plans = append(plans, w)
		}
		if !once {
			break // what is said of every winter leaves none to the others
		}
	}
	plans = slices.DeleteFunc(plans, func(w winterPlan) bool { return w.rec != nil && w.rec.Off })
	slices.SortFunc(plans, func(a, b winterPlan) int { return a.start.Compare(b.start) })
	return plans
}

// starts returns the days on which a fast begins by a record, or by the care
// sheet where it is nil.
func (p *planner) starts(c *husbandry.Cooling, care husbandry.CoolingCare, latitude float64) []civil.Date {
	if c != nil && !c.Start.IsZero() {
		return []civil.Date{c.Start}
	}
	var list []civil.Date
	for year := p.on.Year() - 2; year <= p.on.Year()+2; year++ {
		start := cooling.Start(care, year, latitude)
		if c != nil && !c.Every.IsZero() {
			start = c.Every.In(year)
		}
		if abs(start.Sub(p.on)) <= lookBack+62 {
			list = append(list, start)
		}
	}
	return list
}

// winter works out what became of a plan: when the fast began, when warming up
// did, and whether the animal is cooled at all. ok is false where it was not
// here then.
func (p *planner) winter(a *Animal, plan winterPlan) (w Winter, ok bool) {
	w = Winter{Name: plan.name, Room: plan.room}
	start := plan.start
	// What is said of the fast once it turns cold comes too late.
	if o := p.h.Outcome(tasks.NewKey(w.at(a), CoolingFast, w.Name)); o.On.Before(cooling.New(plan.care, start).Down) {
		switch o.Mark {
		case tasks.MarkDone:
			if abs(o.On.Sub(start)) <= moved {
				start = o.On
			}
		case tasks.PutOff:
			start = civil.Max(start, o.Until)
		case tasks.Skip:
			w.Not = calledOff
		}
	}
	w.Course = cooling.New(plan.care, start)
	if !a.Left.IsZero() && !a.Left.After(w.Course.Fast) || a.Came.After(w.Course.Down) {
		return w, false
	}
	if plan.rec != nil && !plan.rec.Ended.IsZero() {
		w.Course = w.Course.WarmedFrom(plan.rec.Ended)
	} else if o := p.h.Outcome(tasks.NewKey(w.at(a), CoolingStep, w.stepKey(w.firstUp()))); o.Mark == tasks.MarkDone {
		w.Course = w.Course.WarmedFrom(o.On)
	} else if o.Mark == tasks.PutOff && o.Until.After(w.Course.Up) {
		w.Course = w.Course.WarmedFrom(o.Until)
	}
	if o := p.h.Outcome(tasks.NewKey(a.ID, CoolingStop, w.Name)); o.Mark == tasks.MarkDone && o.On.Before(w.Course.Up) {
		w.Course, w.Alone = w.Course.WarmedFrom(o.On), true
	}
	if w.Not == "" {
		w.Not = p.whyNot(a, &w.Course)
	}
	w.start = w.startMass(a)
	return w, true
}

// calledOff stands for a winter whose fast was skipped.
const calledOff = "the fast was skipped"

// firstUp is the step that begins the warming up.
func (w *Winter) firstUp() string {
	for _, s := range w.Course.Steps {
		if !s.On.Before(w.Course.Up) {
			return s.Name
		}
	}
	return ""
}

func (w *Winter) stepKey(step string) string { return w.Name + "-" + step }

// whyNot says why an animal is not cooled, as far as is known on the day of
// the plan; what happens once the fast has begun, eggs aside, decides nothing
// any more. It is "" where nothing speaks against it.
func (p *planner) whyNot(a *Animal, c *cooling.Course) string {
	day := civil.Min(p.on, c.Fast)
	switch stage := a.StageOn(c.Cold); {
	case stage != husbandry.Adult:
		return "not grown yet (" + string(stage) + ")"
	case !a.Hatched.IsZero() && c.Cold.Sub(a.Hatched) < firstYear:
		return "in the first year (hatched " + p.day(a.Hatched) + ")"
	case !a.Acquired.IsZero() && c.Fast.Sub(a.Acquired) < settledIn:
		return fmt.Sprintf("here for less than %d days (came %s)", settledIn, p.day(a.Acquired))
	}
	if since := a.apartSince(day); !since.IsZero() {
		return "in quarantine since " + p.day(since)
	}
	// What was noted in the fast, which is warm, ends it as well.
	for d := day; d == day || d.Before(c.Down) && !d.After(p.on); d = d.AddDays(1) {
		if noted := p.unwellOn(a, d); !noted.IsZero() {
			return "ill (noted " + p.day(noted) + "), and a review had to come first"
		}
	}
	if since := a.GravidOn(c.Fast); !since.IsZero() {
		return "carries eggs (seen " + p.day(since) + ")"
	}
	// Eggs seen in the fast, which is warm, end it.
	for _, s := range a.sightings {
		if s.gravid && s.on.After(c.Fast) && s.on.Before(c.Down) {
			return "carries eggs (seen " + p.day(s.on) + ")"
		}
	}
	if last, best := a.lost(day, thinDays); last.Grams < best.Grams && float64(last.Grams) < (1-thinShare)*float64(best.Grams) {
		return fmt.Sprintf("loses weight (%s on %s, %s on %s)", p.rec.Units.Mass(last.Grams), p.day(last.On), p.rec.Units.Mass(best.Grams), p.day(best.On))
	}
	if last, best := a.lost(day, lossDays); float64(last.Grams) < (1-lossShare)*float64(best.Grams) {
		if o := p.h.Outcome(tasks.NewKey(a.ID, ReviewWeight, last.On.String())); o.Mark != tasks.MarkDone && o.Mark != tasks.Skip || o.On.After(day) {
			return "its health is under review (weighed " + p.rec.Units.Mass(last.Grams) + " on " + p.day(last.On) + ")"
		}
	}
	if last := p.refusing(a, day); !last.IsZero() {
		return fmt.Sprintf("refused food %d times in a row, last on %s", refusals, p.day(last))
	}
	return ""
}

// lost returns the last weighing up to a day, if it is of the days before, and
// the heaviest since then that no laying explains; the two are equal where
// nothing was lost, and zero where nothing is known.
func (a *Animal) lost(day civil.Date, within int) (last, best Weight) {
	for _, w := range a.Weights {
		if !w.On.After(day) {
			last = w
		}
	}
	if last.On.IsZero() || day.Sub(last.On) > within {
		return Weight{}, Weight{}
	}
	from := last.On.AddDays(-within)
	if !a.Regrouped.IsZero() {
		from = civil.Max(from, a.Regrouped.AddDays(1)) // others are left: another mean
	}
	for _, c := range a.Laid {
		if !c.Laid.After(last.On) {
			from = civil.Max(from, c.Laid)
		}
	}
	best = last
	for _, w := range a.Weights {
		if !w.On.Before(from) && !w.On.After(last.On) && w.Grams > best.Grams {
			best = w
		}
	}
	return last, best
}

// refusing returns the day of the last of three feedings refused in a row in
// an animal's enclosure, none eaten between or since, up to a day and within
// the 60 days before it.
func (p *planner) refusing(a *Animal, day civil.Date) civil.Date {
	var row []civil.Date
	for _, r := range p.herd.refused[a.Enclosure] {
		if !r.on.After(day) && day.Sub(r.on) <= thinDays {
			row = append(row, r.on)
		}
	}
	if len(row) < refusals {
		return civil.Date{}
	}
	row = row[len(row)-refusals:]
	for id, kind := range p.herd.kinds {
		if kind != husbandry.Feed {
			continue
		}
		for _, d := range p.h.DoneDays(a.Enclosure, id, row[0]) {
			if !d.After(day) && !slices.Contains(row, d) {
				return civil.Date{}
			}
		}
	}
	return row[refusals-1]
}

// startMass is the last mass from the fortnight before the fast to the first
// step down, or else the first one after it.
func (w *Winter) startMass(a *Animal) Weight {
	c := &w.Course
	for i := len(a.Weights) - 1; i >= 0; i-- {
		if m := a.Weights[i]; !m.On.After(c.Down.AddDays(weighSlack)) {
			if m.On.Before(c.Fast.AddDays(-checkAhead)) {
				break
			}
			return m
		}
	}
	for _, m := range a.Weights {
		if m.On.After(c.Down) && m.On.Before(c.Warm) {
			return m
		}
	}
	return Weight{}
}

// lastMass is the last mass of the winter after the start's.
func (w *Winter) lastMass(a *Animal) Weight {
	var last Weight
	for _, m := range a.Weights {
		if m.On.After(w.start.On) && !m.On.Before(w.Course.Down) && m.On.Before(w.Course.Feed) {
			last = m
		}
	}
	if w.start.On.IsZero() {
		return Weight{}
	}
	return last
}

// coolings plans what winters ask for.
func (p *planner) coolings() {
	if !p.winters {
		return
	}
	type group struct {
		at   husbandry.ID
		name string
	}
	done := make(map[group]bool)
	first := func(at husbandry.ID, what, name string) bool {
		g := group{at, what + name}
		was := done[g]
		done[g] = true
		return !was
	}
	for _, a := range p.herd.Animals {
		s := p.subjects[a.ID]
		if s == nil || !a.PresentOn(p.on) {
			continue
		}
		for i := range a.Winters {
			w := &a.Winters[i]
			if w.Course.Fast.AddDays(-checkAhead).After(p.horizon) || w.Course.Pair.Before(p.on) {
				continue
			}
			p.beforeWinter(s, a, w)
			if w.Not != "" {
				continue
			}
			p.weighInTheCold(s, a, w)
			p.stopCooling(s, a, w)
			at, enclosure := p.subjects[w.at(a)], p.subjects[a.Enclosure]
			if w.Alone {
				at, enclosure = s, s
			}
			if at == nil || enclosure == nil {
				continue
			}
			if first(at.id, "steps ", w.Name) {
				p.coolingSteps(at, w)
			}
			if w.Course.WasCooled() && first(enclosure.id, "food ", w.Name) {
				p.firstFood(enclosure, at.id, a.Enclosure, w)
			}
		}
	}
}

// winterTask is one task of a winter.
type winterTask struct {
	id      husbandry.ID
	kind    husbandry.Kind
	key     string // the occurrence
	due     civil.Date
	until   civil.Date // moot from this day on; zero: never
	before  husbandry.Days
	after   husbandry.Days
	minutes int
	do, why string
	caution string
	asks    []tasks.FindingName
	alarm   bool // stays whatever is said of it but that it was done
}

// winterTask emits a task of a winter unless it was dealt with, is moot, or lies
// beyond the plan.
func (p *planner) winterTask(s *subject, w winterTask) {
	if w.kind != husbandry.Cool && !w.alarm {
		for _, r := range p.off[s.scope] {
			if (r.Kind == husbandry.Review && r.Kind == w.kind || r.ID == w.id) && r.matches(s, p.on) {
				return
			}
		}
	}
	key := tasks.NewKey(s.id, w.id, w.key)
	due := civil.Max(w.due, p.began)
	switch o := p.h.Outcome(key); o.Mark {
	case tasks.MarkDone:
		return
	case tasks.Skip:
		if !w.alarm {
			return
		}
	case tasks.PutOff:
		if !w.alarm {
			due = civil.Max(due, o.Until)
		}
	}
	if moot := !w.until.IsZero() && !civil.Max(due, p.on).Before(w.until); moot || due.After(p.horizon) {
		return
	}
	if w.kind == husbandry.Feed && s.scope == husbandry.OfEnclosure && p.hosted[w.kind] {
		// The feeder insects are loaded for it like for any other feeding.
		k := hostKey{s.id, w.kind}
		if p.hosts[k] == nil {
			p.hosts[k] = new([]host)
		}
		*p.hosts[k] = append(*p.hosts[k], host{date: w.due, due: civil.Max(due, p.on)})
	}
	r := &routine{Routine: &husbandry.Routine{
		ID: w.id, Kind: w.kind, Title: w.do, Scope: s.scope, Part: husbandry.Morning, Minutes: w.minutes,
		Before: w.before, After: w.after, Missed: husbandry.Stays, Origin: husbandry.Common,
	}}
	a := &activity{s: s, r: r}
	t := p.task(a, key, due, w.why)
	t.Caution = w.caution
	if w.asks != nil {
		t.Asks = w.asks
	}
	if w.alarm {
		t.Missed, t.Pinned = husbandry.Alarms, true
	}
	p.emit(a, t)
}

// beforeWinter asks to look at an animal before its winter, or says why it has
// none.
func (p *planner) beforeWinter(s *subject, a *Animal, w *Winter) {
	c := &w.Course
	due := c.Fast.AddDays(-checkAhead)
	switch w.Not {
	case "":
		p.winterTask(s, winterTask{
			id: CoolingCheck, kind: husbandry.Review, key: w.Name, due: due, until: c.Down, after: checkAhead, minutes: 5, asks: asksWeighs,
			do: "Check the health before the cooling", caution: coolingCaution,
			why: fmt.Sprintf("Without food from %s, cooled %s to %s: is it bright, well fleshed, free of mites and injuries? Weigh it", p.day(c.Fast), p.day(c.Down), p.day(c.Up)),
		})
	case calledOff:
	default:
		why := "Not cooled: " + w.Not
		if with := p.cooledWith(a, c.Fast); len(with) > 0 {
			why += "; it shares " + string(a.Enclosure) + " with " + list(with) + ", so house it apart before " + p.day(c.Down)
		}
		p.winterTask(s, winterTask{
			id: CoolingNot, kind: husbandry.Review, key: w.Name, due: due, until: c.Up, after: checkAhead, minutes: 5,
			do: "Keep warm and fed this winter", why: why,
		})
	}
}

// cooledWith names the animals that live with one and are without food on a
// day.
func (p *planner) cooledWith(a *Animal, day civil.Date) (names []string) {
	for _, b := range p.herd.Residents(a.Enclosure) {
		if b != a && b.PresentOn(civil.Max(day, p.on)) && b.Wintering(day) != nil {
			names = append(names, animalWord(b))
		}
	}
	return names
}

// coolingSteps plans the fast and the temperatures of an enclosure, a room, or
// of an animal that is warmed up before its companions. A step that was not
// done gives way to the next.
func (p *planner) coolingSteps(s *subject, w *Winter) {
	c := &w.Course
	if !w.Alone {
		p.winterTask(s, winterTask{
			id: CoolingLastFood, kind: husbandry.Cool, key: w.Name, due: c.Fast.AddDays(-1), until: c.Fast, minutes: 2,
			do: "Last food before the cooling", why: "No food from " + p.weekday(c.Fast) + " until " + p.day(c.Feed) + "; water goes on", caution: coolingCaution,
		})
		p.winterTask(s, winterTask{
			id: CoolingFast, kind: husbandry.Cool, key: w.Name, due: c.Fast, until: c.Down, after: 3, minutes: 3,
			do: "Begin the fast before the cooling", caution: coolingCaution,
			why: fmt.Sprintf("Kept warm %s without food, so that the gut is empty when it turns cool on %s; skipped, they are fed on and not cooled", days(c.Down.Sub(c.Fast)), p.day(c.Down)),
		})
	}
	for i, step := range c.Steps {
		if w.Alone && step.On.Before(c.Up) || step.On.After(p.horizon) {
			continue
		}
		until := c.Pair
		if i+1 < len(c.Steps) {
			until = c.Steps[i+1].On
		}
		t := winterTask{id: CoolingStep, kind: husbandry.Cool, key: w.stepKey(step.Name), due: step.On, until: until, after: 1, minutes: 5, caution: coolingCaution}
		up := !step.On.Before(c.Up)
		if up {
			t.caution = warmCaution
		}
		switch {
		case step.Usual:
			t.do = "Set back to the usual warmth and light"
			t.why = "The cooling ends; food from " + p.weekday(c.Feed)
		case up:
			t.do = "Raise to " + p.degrees(step.From, step.To)
			t.why = fmt.Sprintf("Step %d of %d to the usual warmth of %s; food from %s", stepNumber(c, step), stepCount(c, true), p.day(c.Warm), p.weekday(c.Feed))
		default:
			t.do = "Lower to " + p.degrees(step.From, step.To)
			t.why = fmt.Sprintf("Step %d of %d; cold until %s", stepNumber(c, step), stepCount(c, false), p.day(c.Up))
			if c.Care.Water != "" {
				t.why += ". " + strings.TrimSuffix(c.Care.Water, ".")
			}
			if i == 0 {
				t.why += ". No misting, cleaning or faecal test until it is warm again"
			}
			if stay := p.notForTheCold(s, civil.Max(step.On, p.on)); len(stay) > 0 {
				t.why += ". Not cooled, so housed elsewhere first: " + list(stay)
			}
		}
		if i > 0 && !w.Alone && up == !c.Steps[i-1].On.Before(c.Up) {
			t.why += p.stepLeftOut(s, w, c.Steps[i-1], step)
		}
		p.winterTask(s, t)
	}
}

// stepLeftOut says, with a step of a winter, that the one before was not
// marked: nobody is made cold or warm by two steps at once, which days away
// would otherwise come to.
func (p *planner) stepLeftOut(s *subject, w *Winter, before, step cooling.Step) string {
	key := tasks.NewKey(s.id, CoolingStep, w.stepKey(before.Name))
	if !before.On.Before(p.on) || before.On.Before(p.began) || p.h.Outcome(key).Mark == tasks.MarkDone {
		return ""
	}
	return fmt.Sprintf(". The step to %s has no mark: if it was not taken, take that one now and this one after %s", p.degrees(before.From, before.To), days(step.On.Sub(before.On)))
}

// notForTheCold names the animals of an enclosure or a room that are there on a
// day and not to be cooled.
func (p *planner) notForTheCold(s *subject, day civil.Date) (names []string) {
	look := func(enclosure husbandry.ID) {
		for _, a := range p.herd.Residents(enclosure) {
			if a.PresentOn(day) && a.Wintering(day) == nil {
				names = append(names, animalWord(a))
			}
		}
	}
	if s.scope != husbandry.OfRoom {
		look(s.id)
		return names
	}
	for i := range p.rec.Enclosures {
		if e := &p.rec.Enclosures[i]; e.Room == s.id {
			look(e.ID)
		}
	}
	return names
}

// stepNumber counts the steps of one direction up to a step.
func stepNumber(c *cooling.Course, step cooling.Step) (n int) {
	up := !step.On.Before(c.Up)
	for _, s := range c.Steps {
		if up == !s.On.Before(c.Up) && !s.On.After(step.On) {
			n++
		}
	}
	return n
}

func stepCount(c *cooling.Course, up bool) (n int) {
	for _, s := range c.Steps {
		if up == !s.On.Before(c.Up) {
			n++
		}
	}
	return n
}

// degrees writes a target: "20 °C", "5-12 °C".
func (p *planner) degrees(from, to husbandry.Celsius) string {
	number := func(c husbandry.Celsius) string {
		n, _, _ := strings.Cut(p.rec.Units.Temperature(c), " ")
		return strings.TrimSuffix(n, ".0")
	}
	_, unit, _ := strings.Cut(p.rec.Units.Temperature(to), " ")
	if from == to {
		return number(to) + " " + unit
	}
	return number(from) + "-" + number(to) + " " + unit
}

// weighInTheCold plans the weighings from the first step down to the last step
// up, sooner after a loss that warns.
func (p *planner) weighInTheCold(s *subject, a *Animal, w *Winter) {
	c := &w.Course
	if !p.on.Before(c.Warm) || !c.WasCooled() {
		return
	}
	every := max(1, int(c.Care.Weigh))
	var last civil.Date
	for _, m := range a.Weights {
		if !m.On.Before(c.Down.AddDays(-weighSlack)) && !m.On.After(p.on) {
			last = m.On
		}
	}
	if d := p.h.LastDone(a.ID, CoolingWeigh); !d.Before(c.Down.AddDays(-weighSlack)) {
		last = civil.Max(last, d)
	}
	base, due, why, caution := "start", c.Down, "The mass at the start, with which those in the cold are compared", coolingCaution
	if mass := w.lastMass(a); !last.IsZero() {
		base, due = "after-"+last.String(), last.AddDays(every)
		why = everyWords(c.Care.Weigh) + " in the cold; last weighed " + p.weekday(last)
		if lost, loss := cooling.Losing(c.Care, w.start.Grams, mass.Grams); mass.On == last && !mass.On.IsZero() {
			u := p.rec.Units
			why += fmt.Sprintf(", %s, %s at the start", u.Mass(mass.Grams), u.Mass(w.start.Grams))
			if loss != cooling.Fine {
				due = last.AddDays((every + 1) / 2)
				why += fmt.Sprintf(": %s less, so sooner than usual (warning from %s, end of the cooling from %s)", percent(float64(lost)), c.Care.WarnLoss, c.Care.StopLoss)
				caution = stopCaution
			}
		}
	}
	for n := 1; due.Before(c.Warm) && !due.After(p.horizon); n++ {
		key := w.stepKey(base)
		if n > 1 {
			key += "+" + strconv.Itoa(n)
		}
		at := due
		switch o := p.h.Outcome(tasks.NewKey(a.ID, CoolingWeigh, key)); o.Mark {
		case tasks.Skip:
			due = civil.Max(due, o.On).AddDays(every)
			continue
		case tasks.PutOff:
			at = civil.Max(due, o.Until)
		}
		p.winterTask(s, winterTask{
			id: CoolingWeigh, kind: husbandry.Weigh, key: key, due: due, until: c.Warm, before: weighSlack, after: weighSlack, minutes: 3,
			do: "Weigh", why: why, caution: caution,
		})
		due = civil.Max(at, p.on).AddDays(every)
		why, caution = everyWords(c.Care.Weigh)+" in the cold", coolingCaution
	}
}

// stopCooling says that an animal must not stay in the cold: it has lost too
// much, is ill, or carries eggs.
func (p *planner) stopCooling(s *subject, a *Animal, w *Winter) {
	c := &w.Course
	if !c.WasCooled() || !p.on.Before(c.Feed) || p.on.Before(c.Down) {
		return
	}
	t := winterTask{id: CoolingStop, kind: husbandry.Review, key: w.Name, minutes: reviewMinutes, alarm: true}
	end := fmt.Sprintf("Warm it up over %s from today and see the veterinarian", days(c.Care.Up.Days))
	t.do = "End the cooling and see the veterinarian"
	if !p.on.Before(c.Up) {
		t.do, end = "See the veterinarian after the cooling", "It is being warmed up already; see the veterinarian"
	}
	mass, ill := w.lastMass(a), p.unwellOn(a, p.on)
	lost, loss := cooling.Losing(c.Care, w.start.Grams, mass.Grams)
	switch {
	case !mass.On.IsZero() && loss == cooling.Stop:
		u := p.rec.Units
		t.due, t.caution = mass.On, stopCaution
		t.why = fmt.Sprintf("Weighed %s on %s, %s at the start (%s): %s less, and %s ends the cooling. %s", u.Mass(mass.Grams), p.day(mass.On),
			u.Mass(w.start.Grams), p.day(w.start.On), percent(float64(lost)), c.Care.StopLoss, end)
	case !ill.Before(c.Down) && ill.Before(c.Up):
		t.due, t.caution = ill, illColdCaution
		t.why = fmt.Sprintf("Noted as ill on %s, in the cold. %s; or say that the illness is reviewed", p.day(t.due), end)
	default:
		for _, g := range a.sightings {
			if g.gravid && !g.on.Before(c.Down) && g.on.Before(c.Up) && !a.GravidOn(p.on).IsZero() {
				t.due, t.caution = g.on, gravidCaution
				t.why = fmt.Sprintf("Eggs were seen in her on %s, and a gravid female is not cooled. %s", p.day(g.on), end)
				break
			}
		}
	}
	if !t.due.IsZero() {
		p.winterTask(s, t)
	}
}

// firstFood offers food after the winter, until the enclosure has been fed; at
// is whom the steps of temperature were about.
func (p *planner) firstFood(s *subject, at, enclosure husbandry.ID, w *Winter) {
	c := &w.Course
	if c.Feed.After(p.horizon) {
		return
	}
	for _, r := range p.rec.Routines {
		if r.Kind == husbandry.Feed && len(p.h.DoneDays(enclosure, r.ID, c.Feed)) > 0 {
			return
		}
	}
	why := fmt.Sprintf("Warm again since %s; the usual feeding goes on from tomorrow", p.day(c.Warm))
	if last := w.stepKey(c.Steps[len(c.Steps)-1].Name); p.h.Outcome(tasks.NewKey(at, CoolingStep, last)).Mark != tasks.MarkDone {
		why = fmt.Sprintf("Warm since %s by the plan, but nobody marked that the usual warmth was set: see to it first", p.day(c.Warm))
	}
	p.winterTask(s, winterTask{
		id: CoolingFood, kind: husbandry.Feed, key: w.Name, due: c.Feed, until: c.Pair.AddDays(1), after: husbandry.Days(c.FeedBy.Sub(c.Feed)), minutes: 3,
		do: "First food after the cooling", caution: foodCaution,
		why: why,
	})
}

// foodlessWords tells, beside the water of an enclosure and the food of those
// who are fed, who is not and until when.
func (p *planner) foodlessWords(s *subject, k husbandry.Kind, day civil.Date) string {
	if !p.winters || s.scope != husbandry.OfEnclosure || k != husbandry.Water && k != husbandry.Feed {
		return ""
	}
	var names []string
	var until civil.Date
	var phase cooling.Phase
	present := 0
	for _, a := range s.animals {
		if !a.PresentOn(day) {
			continue
		}
		present++
		if w := a.Wintering(day); w != nil && w.Course.Foodless(day) {
			names, until, phase = append(names, animalWord(a)), civil.Max(until, w.Course.Feed), w.Course.Phase(day)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case present:
		return fmt.Sprintf("; no food until %s (winter, %s)", p.day(until), phase)
	}
	return fmt.Sprintf("; no food for %s until %s (winter, %s)", list(names), p.day(until), phase)
}

// coolingSpans adds the winters of enclosures to the dated facts.
func (p *planner) coolingSpans(add func(Span)) {
	told := make(map[tasks.Key]bool)
	for _, a := range p.herd.Animals {
		s := p.subjects[a.Enclosure]
		for i := range a.Winters {
			w := &a.Winters[i]
			if w.Not != "" || s == nil || !a.PresentOn(p.on) {
				continue
			}
			whom := s
			if w.Alone {
				whom = p.subjects[a.ID]
			}
			if whom == nil {
				continue
			}
			span := Span{
				Key: tasks.NewKey(whom.id, husbandry.ID(husbandry.CoolingWindow), w.Name), Name: husbandry.CoolingWindow,
				Subject: whom.id, Scope: whom.scope, Place: whom.place, From: w.Course.Fast, To: w.Course.Feed.AddDays(-1),
				Title: "Winter cooling of " + whom.label(), Why: p.winterWords(&w.Course),
			}
			if told[span.Key] || span.To.Before(span.From) {
				continue
			}
			told[span.Key] = true
			add(span)
		}
	}
}

// winterWords is "No food from 1 November, cooler from 15 November, 5-12 °C 25
// November to 2 February, warm from 13 February, food from 16 February".
func (p *planner) winterWords(c *cooling.Course) string {
	return fmt.Sprintf("No food from %s, cooler from %s, %s from %s to %s, warm from %s, food from %s; water goes on", p.day(c.Fast), p.day(c.Down),
		p.degrees(c.Care.From, c.Care.To), p.day(c.Cold), p.day(c.Up.AddDays(-1)), p.day(c.Warm), p.day(c.Feed))
}

// cooledFor tells the pairing season of a female's winters.
func cooledFor(a *Animal) (list []season.Winter) {
	for i := range a.Winters {
		if w := &a.Winters[i]; w.Not == "" && w.Course.WasCooled() {
			list = append(list, season.Winter{Fast: w.Course.Fast, Warm: w.Course.Warm, Pair: w.Course.Pair, PairBy: w.Course.PairBy})
		}
	}
	return list
}
