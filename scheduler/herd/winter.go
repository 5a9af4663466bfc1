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

// Thresholds that exclude animals from cooling. All are common practice.
const (
	firstYear = 365 // least age in days when the cold begins
	// settledIn is the least number of days between the arrival of an animal
	// and its fast. It equals the usual quarantine.
	settledIn = 90
	// thinShare is a share of the body mass. An animal that lost more than this
	// share within thinDays is not cooled. Losses through laying do not count.
	thinShare = 0.05
	thinDays  = 60
	// CheckAhead is the number of days before the fast on which the keeper
	// checks the animal's health.
	CheckAhead = 14
	// WeighSlack is the number of days by which a weighing in the cold may be
	// early or late.
	WeighSlack = 2
	// moved is the largest difference, in days, between the planned and the
	// real first day of a fast.
	moved = 60
)

// Winter is one winter of an animal, by a care sheet or a cooling record.
type Winter struct {
	// Name is the part of the task keys that names the winter:
	// "wall-lizard-2026".
	Name   string
	Course cooling.Course
	// Room is the id of the room if the temperature of the whole room is
	// lowered. It is "" if only one enclosure is cooled.
	Room husbandry.ID
	// Alone says that this animal is warmed up before the other animals of its
	// enclosure or room.
	Alone bool
	Not   string // why the animal is not cooled; "" if it is cooled
	// CalledOff says that the keeper skipped the fast of this winter. Not then
	// says so in words.
	CalledOff bool
	// Start is the mass that later masses are compared with; zero: no such mass
	// yet.
	Start Weight
}

// At returns the room or enclosure in which the keeper sets the temperatures of
// the winter.
func (w *Winter) At(a *Animal) husbandry.ID { return cmp.Or(w.Room, a.Enclosure) }

// foodless reports whether an animal goes without its usual feeding on a day.
// On the day of the first food after the winter, the task for that first food
// replaces the usual feeding.
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

// Rests reports whether the tasks of a routine pause for an animal on a day
// because of its winter. The row of the routine's kind says in which part of a
// winter.
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

// WinteredSince reports whether an animal fasts or is cooled on the day on, or
// began to fast after day. Refused food before a winter is no sign of trouble
// after it.
func (a *Animal) WinteredSince(day, on civil.Date) bool {
	return a.Wintering(on) != nil || slices.ContainsFunc(a.Winters, func(w Winter) bool {
		return w.Not == "" && w.Course.Fast.After(day) && !w.Course.Fast.After(on)
	})
}

// WinterTurns adds the days on which a winter begins or ends the pause of some
// routine.
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
	w := wintering(h)
	// Winters that recur every year begin only after the books began.
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

// winterPlan is a winter as planned, before any marks.
type winterPlan struct {
	name  string
	rec   *husbandry.Cooling // nil: the care sheet's
	care  husbandry.CoolingCare
	start civil.Date
	room  husbandry.ID
}

// planWinters returns the planned winters of an animal, by date. For each
// winter one source counts: a record of that winter alone, else another record,
// else the care sheet. Of two records, the record that names the animal more
// closely counts. Winters that recur every year begin on the day began or
// later.
func (h wintering) planWinters(a *Animal, began civil.Date) []winterPlan {
	room := husbandry.ID("")
	if e := h.enclosures[a.Enclosure]; e != nil {
		room = e.Room
	}
	var plans []winterPlan
	for _, rec := range h.coolingsOf(a, room) {
		once := rec != nil && !rec.Start.IsZero()
		for _, start := range h.starts(rec, a.sheet.Cooling) {
			if slices.ContainsFunc(plans, func(w winterPlan) bool { return abs(w.start.Sub(start)) < 183 }) || !once && start.Before(began) {
				continue
			}
			plans = append(plans, planWinter(a, rec, start, room))
		}
		if !once {
			break // this source covers every winter, so the next sources do not count
		}
	}
	plans = slices.DeleteFunc(plans, func(w winterPlan) bool { return w.rec != nil && w.rec.Off })
	slices.SortFunc(plans, func(a, b winterPlan) int { return a.start.Compare(b.start) })
	return plans
}

// coolingsOf returns the records that cool an animal, the closest first, and
// nil for the care sheet if the care sheet cools the species.
func (h wintering) coolingsOf(a *Animal, room husbandry.ID) (list []*husbandry.Cooling) {
	nearness := make(map[*husbandry.Cooling]int)
	for i := range h.Records.Coolings {
		c := &h.Records.Coolings[i]
		near, ok := c.Names(&a.Animal, room)
		if !ok {
			continue
		}
		if !c.Start.IsZero() {
			near -= 10 // a date that the keeper gave takes precedence
		}
		nearness[c] = near
		list = append(list, c)
	}
	slices.SortStableFunc(list, func(a, b *husbandry.Cooling) int { return nearness[a] - nearness[b] })
	if a.sheet.Cooling.Usual {
		list = append(list, nil)
	}
	return list
}

// planWinter plans a winter of an animal from the first day of its fast. rec is
// nil if the care sheet alone describes the winter.
func planWinter(a *Animal, rec *husbandry.Cooling, start civil.Date, room husbandry.ID) winterPlan {
	w := winterPlan{name: string(a.Species), rec: rec, care: a.sheet.Cooling, start: start}
	if rec != nil {
		w.name = string(rec.ID) + "-" + w.name
		if rec.Lasts > 0 {
			w.care.Lasts = rec.Lasts
		}
		if rec.To != 0 {
			w.care.From, w.care.To = rec.From, rec.To
		}
		if len(rec.Rooms) > 0 {
			w.room = room
		}
	}
	w.name += "-" + strconv.Itoa(start.Year())
	return w
}

// starts returns the days on which the fasts of a record begin. If the record
// is nil, it returns the days of the care sheet.
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

// winter works out the real course of a planned winter: when the fast began,
// when the warming up began, and whether the animal is cooled at all. ok is
// false if the keeper did not have the animal at that time.
func (h wintering) winter(a *Animal, plan winterPlan) (w Winter, ok bool) {
	w = Winter{Name: plan.name, Room: plan.room}
	start := plan.start
	// A mark of the fast after the beginning of the cold is too late to move
	// the fast.
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
	if warmed := h.warmed(a, &w, plan); !warmed.IsZero() {
		w.Course = w.Course.WarmedFrom(warmed)
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

// warmed returns the day from which the keeper warms up the animal, if it is
// not the planned day; else no date.
func (h wintering) warmed(a *Animal, w *Winter, plan winterPlan) civil.Date {
	if plan.rec != nil && !plan.rec.Ended.IsZero() {
		return plan.rec.Ended
	}
	o := h.History.Outcome(tasks.NewKey(w.At(a), CoolingStep, w.StepKey(w.firstUp())))
	switch {
	case o.Mark == tasks.MarkDone:
		return o.On
	case o.Mark == tasks.PutOff && o.Until.After(w.Course.Up):
		return o.Until
	}
	return civil.Date{}
}

// firstUp returns the name of the step that begins the warming up.
func (w *Winter) firstUp() string {
	for _, s := range w.Course.Steps {
		if !s.On.Before(w.Course.Up) {
			return s.Name
		}
	}
	return ""
}

// StepKey returns the occurrence, for a task's key, of the step with this name.
func (w *Winter) StepKey(step string) string { return w.Name + "-" + step }

// whyNot returns the reason why an animal is not cooled, by the herd's day, or
// "" if there is no reason. Of the findings after the beginning of the fast,
// only eggs and illness count.
func (h wintering) whyNot(a *Animal, c *cooling.Course) string {
	day := civil.Min(h.On, c.Fast)
	if why := h.tooNew(a, c); why != "" {
		return why
	}
	if since := a.apartSince(day); !since.IsZero() {
		return "in quarantine since " + h.DateWords(since)
	}
	// Animals fast at the usual temperature. Illness noted during the fast,
	// before the first step down, ends the winter as well.
	for d := day; d == day || d.Before(c.Down) && !d.After(h.On); d = d.AddDays(1) {
		if noted := h.UnwellOn(a, d); !noted.IsZero() {
			return "ill (noted " + h.DateWords(noted) + "), and a review had to come first"
		}
	}
	if seen := eggsBefore(a, c); !seen.IsZero() {
		return "carries eggs (seen " + h.DateWords(seen) + ")"
	}
	if why := h.tooThin(a, day); why != "" {
		return why
	}
	if last := h.refusing(a, day); !last.IsZero() {
		return fmt.Sprintf("refused food %d times in a row, last on %s", Refusals, h.DateWords(last))
	}
	return ""
}

// tooNew returns, in words, whether the animal is too young to be cooled or
// arrived too late; "" if neither.
func (h wintering) tooNew(a *Animal, c *cooling.Course) string {
	switch stage := a.StageOn(c.Cold); {
	case stage != husbandry.Adult:
		return "not grown yet (" + string(stage) + ")"
	case !a.Hatched.IsZero() && c.Cold.Sub(a.Hatched) < firstYear:
		return "in the first year (hatched " + h.DateWords(a.Hatched) + ")"
	case !a.Acquired.IsZero() && c.Fast.Sub(a.Acquired) < settledIn:
		return fmt.Sprintf("here for less than %d days (came %s)", settledIn, h.DateWords(a.Acquired))
	}
	return ""
}

// eggsBefore returns the day on which an animal was seen to carry eggs, at the
// beginning of the fast or during it, or no date. Animals fast at the usual
// temperature, and eggs seen in that time end the winter.
func eggsBefore(a *Animal, c *cooling.Course) (seen civil.Date) {
	if since := a.GravidOn(c.Fast); !since.IsZero() {
		return since
	}
	for _, s := range a.Sightings {
		if s.Gravid && s.On.After(c.Fast) && s.On.Before(c.Down) {
			return s.On
		}
	}
	return civil.Date{}
}

// tooThin describes, in words, a loss of weight up to a day that rules out
// cooling; "" if there is none.
func (h wintering) tooThin(a *Animal, day civil.Date) string {
	mass := h.Records.Units.Mass
	if last, best := a.lost(day, thinDays); last.Grams < best.Grams && float64(last.Grams) < (1-thinShare)*float64(best.Grams) {
		return fmt.Sprintf("loses weight (%s on %s, %s on %s)", mass(last.Grams), h.DateWords(last.On), mass(best.Grams), h.DateWords(best.On))
	}
	if last, best := a.lost(day, lossDays); float64(last.Grams) < (1-lossShare)*float64(best.Grams) {
		if o := h.History.Outcome(tasks.NewKey(a.ID, ReviewWeight, last.On.String())); o.Mark != tasks.MarkDone && o.Mark != tasks.Skip || o.On.After(day) {
			return "its health is under review (weighed " + mass(last.Grams) + " on " + h.DateWords(last.On) + ")"
		}
	}
	return ""
}

// lost returns the last weighing up to a day and the heaviest weighing in the
// time before that last one. Both are zero if the last weighing is more than
// within days before the day. The time is within days long; it begins later if
// the female has laid, or if an animal was taken out of the group. The two
// weighings are equal if no mass was lost.
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
		from = civil.Max(from, a.Regrouped.AddDays(1)) // the animals that are left have another mean
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

// refusing returns the day of the third of three feedings in a row that were
// refused in the animal's enclosure, within the 60 days up to day. It returns
// no date if a feeding was eaten between the refusals or after them.
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

// startMass returns the last mass between two weeks before the fast and the
// first step down. If there is none, it returns the first mass after the first
// step down.
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

// LastMass returns the last mass of the winter that is later than Start.
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

// Degrees writes a target temperature or range: "20 °C", "5-12 °C".
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

// FoodlessWords says which of some animals go without food on a day, and until
// when; "" if all get food. Tasks for the water of the enclosure and for the
// food of its other animals show these words.
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

// cooledFor returns the winters of a female in the form of package season.
func cooledFor(a *Animal) (list []season.Winter) {
	for i := range a.Winters {
		if w := &a.Winters[i]; w.Not == "" && w.Course.WasCooled() {
			list = append(list, season.Winter{Fast: w.Course.Fast, Warm: w.Course.Warm, Pair: w.Course.Pair, PairBy: w.Course.PairBy})
		}
	}
	return list
}

// UsualWinters returns the winters of the first animal of a species that is
// cooled. If no animal is cooled, it returns the winters that a grown animal of
// the species would have.
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
