package herd

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
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
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
	// CheckAhead is how many days before the fast the health is looked at.
	CheckAhead = 14
	// WeighSlack is how many days early or late a weighing in the cold may be.
	WeighSlack = 2
	// moved is how far from its planned day, in days, the fast may begin.
	moved = 60
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
	// CalledOff says that its fast was skipped; Not says so too.
	CalledOff bool
	// Start is the mass that later ones are compared with; zero: none yet.
	Start Weight
}

// At is whom the steps of temperature are about.
func (w *Winter) At(a *Animal) husbandry.ID { return cmp.Or(w.Room, a.Enclosure) }

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

// Rests reports whether a routine leaves an animal alone on a day for the sake of
// its winter, as the kind of the routine has it.
func (a *Animal) Rests(r *husbandry.Routine, day civil.Date) bool {
	rests := r.Kind.Rests()
	if rests == husbandry.NeverRests {
		return false
	}
	w := a.Wintering(day)
	if w == nil {
		return false
	}
	switch rests {
	case husbandry.RestsFoodless:
		return true
	case husbandry.RestsInCold:
		return w.Course.Cooled(day)
	case husbandry.RestsUntilFed:
		return w.Course.WasCooled() && !day.Before(w.Course.Down)
	}
	return w.Course.Cooled(day) && r.Cadence.Pattern != husbandry.Anchored
}

// WinteredSince reports whether an animal fasts or is cooled on a day, or began
// to after an earlier one: what was refused then says nothing any more.
func (a *Animal) WinteredSince(day, on civil.Date) bool {
	return a.Wintering(on) != nil || slices.ContainsFunc(a.Winters, func(w Winter) bool {
		return w.Not == "" && w.Course.Fast.After(day) && !w.Course.Fast.After(on)
	})
}

// WinterTurns adds the days on which a winter changes which routines hold.
func (a *Animal) WinterTurns(add func(civil.Date)) {
	for i := range a.Winters {
		if w := &a.Winters[i]; w.Not == "" {
			for _, d := range []civil.Date{w.Course.Fast, w.Course.Down, w.Course.Warm, w.Course.Feed, w.Course.Feed.AddDays(1)} {
				add(d)
			}
		}
	}
}

// settleWinters works out the winters of every animal, from more than a year
// back to more than a year ahead.
func (h deriver) settleWinters() {
	w := wintering{h.Herd}
	// What recurs is not taken to have begun before the books did.
	began := h.Records.Began
	if began.IsZero() {
		began = h.History.First()
	}
	for _, a := range h.Animals {
		care := &a.sheet.Cooling
		if a.Enclosure == "" || care.IsZero() || !care.Usual && len(h.Records.Coolings) == 0 {
			continue
		}
		for _, plan := range w.planWinters(a, began) {
			if w, ok := w.winter(a, plan); ok {
				a.Winters = append(a.Winters, w)
				h.AnyWinter = true
			}
		}
	}
}

// wintering works out the winters of animals.
type wintering struct{ *Herd }

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
func (h wintering) planWinters(a *Animal, began civil.Date) []winterPlan {
	room := husbandry.ID("")
	if e := h.enclosures[a.Enclosure]; e != nil {
		room = e.Room
	}
	type candidate struct {
		rec   *husbandry.Cooling
		close int
	}
	var list []candidate
	for i := range h.Records.Coolings {
		c := &h.Records.Coolings[i]
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
		for _, start := range h.starts(c.rec, a.sheet.Cooling) {
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
func (h wintering) starts(c *husbandry.Cooling, care husbandry.CoolingCare) []civil.Date {
	if c != nil && !c.Start.IsZero() {
		return []civil.Date{c.Start}
	}
	var list []civil.Date
	for year := h.On.Year() - 2; year <= h.On.Year()+2; year++ {
		start := cooling.Start(care, year, h.Latitude)
		if c != nil && !c.Every.IsZero() {
			start = c.Every.In(year)
		}
		if abs(start.Sub(h.On)) <= LookBack+62 {
			list = append(list, start)
		}
	}
	return list
}

// winter works out what became of a plan: when the fast began, when warming up
// did, and whether the animal is cooled at all. ok is false where it was not
// here then.
func (h wintering) winter(a *Animal, plan winterPlan) (w Winter, ok bool) {
	w = Winter{Name: plan.name, Room: plan.room}
	start := plan.start
	// What is said of the fast once it turns cold comes too late.
	if o := h.History.Outcome(tasks.NewKey(w.At(a), CoolingFast, w.Name)); o.On.Before(cooling.New(plan.care, start).Down) {
		switch o.Mark {
		case tasks.MarkDone:
			if abs(o.On.Sub(start)) <= moved {
				start = o.On
			}
		case tasks.PutOff:
			start = civil.Max(start, o.Until)
		case tasks.Skip:
			w.Not, w.CalledOff = "the fast was skipped", true
		}
	}
	w.Course = cooling.New(plan.care, start)
	if !a.Left.IsZero() && !a.Left.After(w.Course.Fast) || a.Came.After(w.Course.Down) {
		return w, false
	}
	if plan.rec != nil && !plan.rec.Ended.IsZero() {
		w.Course = w.Course.WarmedFrom(plan.rec.Ended)
	} else if o := h.History.Outcome(tasks.NewKey(w.At(a), CoolingStep, w.StepKey(w.firstUp()))); o.Mark == tasks.MarkDone {
		w.Course = w.Course.WarmedFrom(o.On)
	} else if o.Mark == tasks.PutOff && o.Until.After(w.Course.Up) {
		w.Course = w.Course.WarmedFrom(o.Until)
	}
	if o := h.History.Outcome(tasks.NewKey(a.ID, CoolingStop, w.Name)); o.Mark == tasks.MarkDone && o.On.Before(w.Course.Up) {
		w.Course, w.Alone = w.Course.WarmedFrom(o.On), true
	}
	if w.Not == "" {
		w.Not = h.whyNot(a, &w.Course)
	}
	w.Start = w.startMass(a)
	return w, true
}

// firstUp is the step that begins the warming up.
func (w *Winter) firstUp() string {
	for _, s := range w.Course.Steps {
		if !s.On.Before(w.Course.Up) {
			return s.Name
		}
	}
	return ""
}

// StepKey is the occurrence of a step of the winter, by its name.
func (w *Winter) StepKey(step string) string { return w.Name + "-" + step }

// whyNot says why an animal is not cooled, as far as is known on the day of
// the plan; what happens once the fast has begun, eggs aside, decides nothing
// any more. It is "" where nothing speaks against it.
func (h wintering) whyNot(a *Animal, c *cooling.Course) string {
	day := civil.Min(h.On, c.Fast)
	switch stage := a.StageOn(c.Cold); {
	case stage != husbandry.Adult:
		return "not grown yet (" + string(stage) + ")"
	case !a.Hatched.IsZero() && c.Cold.Sub(a.Hatched) < firstYear:
		return "in the first year (hatched " + h.DateWords(a.Hatched) + ")"
	case !a.Acquired.IsZero() && c.Fast.Sub(a.Acquired) < settledIn:
		return fmt.Sprintf("here for less than %d days (came %s)", settledIn, h.DateWords(a.Acquired))
	}
	if since := a.apartSince(day); !since.IsZero() {
		return "in quarantine since " + h.DateWords(since)
	}
	// What was noted in the fast, which is warm, ends it as well.
	for d := day; d == day || d.Before(c.Down) && !d.After(h.On); d = d.AddDays(1) {
		if noted := h.UnwellOn(a, d); !noted.IsZero() {
			return "ill (noted " + h.DateWords(noted) + "), and a review had to come first"
		}
	}
	if since := a.GravidOn(c.Fast); !since.IsZero() {
		return "carries eggs (seen " + h.DateWords(since) + ")"
	}
	// Eggs seen in the fast, which is warm, end it.
	for _, s := range a.Sightings {
		if s.Gravid && s.On.After(c.Fast) && s.On.Before(c.Down) {
			return "carries eggs (seen " + h.DateWords(s.On) + ")"
		}
	}
	if last, best := a.lost(day, thinDays); last.Grams < best.Grams && float64(last.Grams) < (1-thinShare)*float64(best.Grams) {
		return fmt.Sprintf("loses weight (%s on %s, %s on %s)", h.Records.Units.Mass(last.Grams), h.DateWords(last.On), h.Records.Units.Mass(best.Grams), h.DateWords(best.On))
	}
	if last, best := a.lost(day, lossDays); float64(last.Grams) < (1-lossShare)*float64(best.Grams) {
		if o := h.History.Outcome(tasks.NewKey(a.ID, ReviewWeight, last.On.String())); o.Mark != tasks.MarkDone && o.Mark != tasks.Skip || o.On.After(day) {
			return "its health is under review (weighed " + h.Records.Units.Mass(last.Grams) + " on " + h.DateWords(last.On) + ")"
		}
	}
	if last := h.refusing(a, day); !last.IsZero() {
		return fmt.Sprintf("refused food %d times in a row, last on %s", Refusals, h.DateWords(last))
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
func (h wintering) refusing(a *Animal, day civil.Date) civil.Date {
	var row []civil.Date
	for _, r := range h.refusals[a.Enclosure] {
		if !r.On.After(day) && day.Sub(r.On) <= thinDays {
			row = append(row, r.On)
		}
	}
	if len(row) < Refusals {
		return civil.Date{}
	}
	row = row[len(row)-Refusals:]
	for id, kind := range h.kinds {
		if kind != husbandry.Feed {
			continue
		}
		for _, d := range h.History.DoneDays(a.Enclosure, id, row[0]) {
			if !d.After(day) && !slices.Contains(row, d) {
				return civil.Date{}
			}
		}
	}
	return row[Refusals-1]
}

// startMass is the last mass from the fortnight before the fast to the first
// step down, or else the first one after it.
func (w *Winter) startMass(a *Animal) Weight {
	c := &w.Course
	for i := len(a.Weights) - 1; i >= 0; i-- {
		if m := a.Weights[i]; !m.On.After(c.Down.AddDays(WeighSlack)) {
			if m.On.Before(c.Fast.AddDays(-CheckAhead)) {
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

// LastMass is the last mass of the winter after the start's.
func (w *Winter) LastMass(a *Animal) Weight {
	var last Weight
	for _, m := range a.Weights {
		if m.On.After(w.Start.On) && !m.On.Before(w.Course.Down) && m.On.Before(w.Course.Feed) {
			last = m
		}
	}
	if w.Start.On.IsZero() {
		return Weight{}
	}
	return last
}

// Degrees writes a target: "20 °C", "5-12 °C".
func (h *Herd) Degrees(from, to husbandry.Celsius) string {
	number := func(c husbandry.Celsius) string {
		n, _, _ := strings.Cut(h.Records.Units.Temperature(c), " ")
		return strings.TrimSuffix(n, ".0")
	}
	_, unit, _ := strings.Cut(h.Records.Units.Temperature(to), " ")
	if from == to {
		return number(to) + " " + unit
	}
	return number(from) + "-" + number(to) + " " + unit
}

// FoodlessWords tells, beside the water of an enclosure and the food of those
// who are fed, which of some animals go without food on a day and until when;
// "" where none does.
func (h *Herd) FoodlessWords(animals []*Animal, day civil.Date) string {
	if !h.AnyWinter {
		return ""
	}
	var names []string
	var until civil.Date
	var phase cooling.Phase
	present := 0
	for _, a := range animals {
		if !a.PresentOn(day) {
			continue
		}
		present++
		if w := a.Wintering(day); w != nil && w.Course.Foodless(day) {
			names, until, phase = append(names, AnimalWord(a)), civil.Max(until, w.Course.Feed), w.Course.Phase(day)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case present:
		return fmt.Sprintf("; no food until %s (winter, %s)", h.DateWords(until), phase)
	}
	return fmt.Sprintf("; no food for %s until %s (winter, %s)", english.List(names), h.DateWords(until), phase)
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

// UsualWinters returns the winters of the species' first animal that is
// cooled, or else those that a grown one would have.
func (h *Herd) UsualWinters(sheet *husbandry.Species) []cooling.Course {
	if sheet.Cooling.IsZero() {
		return nil
	}
	var courses []cooling.Course
	for _, a := range h.Animals {
		if a.Species != sheet.ID || a.Enclosure == "" || !a.Left.IsZero() {
			continue
		}
		for _, plan := range (wintering{h}).planWinters(a, civil.Date{}) {
			if w, ok := (wintering{h}).winter(a, plan); ok && w.Not == "" && !w.Alone {
				courses = append(courses, w.Course)
			}
		}
		if len(courses) > 0 {
			return courses
		}
	}
	grown := &Animal{Animal: husbandry.Animal{Species: sheet.ID, Stage: husbandry.Adult}, sheet: sheet}
	for _, plan := range (wintering{h}).planWinters(grown, civil.Date{}) {
		courses = append(courses, cooling.New(plan.care, plan.start))
	}
	return courses
}
