package rule

import (
	"fmt"
	"math"
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/ration"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
	"slices"
	"strconv"
	"strings"
)

const (
	// learnDays is the number of days before today from which feedings and
	// counts are used to learn how much food the keeper gives. givenDays is the
	// number of days from which the share of planned feedings that are given is
	// learnt.
	learnDays = 180
	givenDays = 28
	// countDays is the number of days after which the stock should be counted
	// again (common practice: when the boxes are cleaned).
	countDays = 21
)

// Stock is a feeder with its stock, by the records and the daybook.
type Stock struct {
	ration.Stock
	Counted   int
	CountedOn civil.Date // zero: never
}

// count is a number of insects that the keeper counted.
type count struct {
	on civil.Date
	n  int
}

// StockOf works out the stock of a feeder on the Day.
func StockOf(d *plan.Day, f *husbandry.Feeder) Stock {
	s := Stock{Stock: ration.Stock{Feeder: f, On: d.On, Settled: make(map[civil.Date]bool)}}
	counts, came := told(d, f)
	for _, c := range came {
		s.Settled[c.Came] = true
	}
	from := d.Began
	if len(counts) > 0 {
		from = counts[0].on
	}
	from = civil.Max(from, d.On.AddDays(-learnDays))
	given := usedUp(d, f, from)
	planned, done := feedingsGiven(d, f)
	s.Keeper = ration.Learn(planned, done, spells(counts, came, given))
	start := ration.Batch{Came: from}
	if len(counts) > 0 {
		last := counts[len(counts)-1]
		s.Counted, s.CountedOn = last.n, last.on
		from = last.on
		start = ration.Batch{Came: ration.LastDelivery(f, last.on), Count: float64(last.n)}
	}
	s.Batches = []ration.Batch{start}
	for _, c := range came {
		if s.CountedOn.IsZero() || c.Came.After(s.CountedOn) {
			s.Batches = append(s.Batches, c)
		}
	}
	s.Batches = ration.Live(f, s.Keeper, s.Batches, from, d.On, func(d civil.Date) ration.Use { return given[d] })
	s.Recent = given.between(civil.Max(from, d.On.AddDays(1-int(f.ShelfLife))), d.On.AddDays(1))
	if len(s.Batches) == 0 || s.Batches[0].Came.After(d.On) {
		s.Recent = ration.Use{} // the box is empty, so an error in its use cannot make it emptier
	}
	for day := range settled(d, f) {
		s.Settled[day] = true
	}
	ahead := usedAhead(d, f)
	s.Ahead = func(d civil.Date) ration.Use { return ahead[d] }
	return s
}

// told returns the counts that the keeper reported for a feeder in the last
// learnDays, by date, and the ordered batches.
func told(d *plan.Day, f *husbandry.Feeder) (counts []count, came []ration.Batch) {
	if !f.StockOn.IsZero() && !f.StockOn.After(d.On) {
		counts = append(counts, count{f.StockOn, f.Stock})
	}
	found := d.Found()
	for i := range found {
		g := &found[i]
		if g.Task.Subject() != f.ID || g.On.After(d.On) {
			continue
		}
		if n := g.Finding.Stock; n != nil {
			counts = append(counts, count{g.On, max(0, *n)})
		}
		if n := g.Finding.Ordered; n != nil {
			delivery, err := civil.Parse(g.Task.Occurrence())
			if err != nil || g.Task.Routine() != herd.OrderFeeder {
				delivery = ration.NextDelivery(f, g.On.AddDays(int(f.Lead)))
			}
			came = append(came, ration.Batch{Came: delivery, Count: float64(max(0, *n) * f.Pack.Of)})
		}
	}
	slices.SortStableFunc(counts, func(a, b count) int { return a.on.Compare(b.on) })
	counts = slices.DeleteFunc(counts, func(c count) bool { return c.on.Before(d.On.AddDays(-learnDays)) })
	return counts, came
}

// spells returns the times between two counts, from which the plan learns how
// the keeper feeds.
func spells(counts []count, came []ration.Batch, given useByDay) (list []ration.Spell) {
	for i := 1; i < len(counts); i++ {
		a, b := counts[i-1], counts[i]
		spell := ration.Spell{Before: float64(a.n), After: float64(b.n), Said: given.between(a.on, b.on).Mean}
		for _, c := range came {
			if c.Came.After(a.on) && !c.Came.After(b.on) {
				spell.Came += c.Count
			}
		}
		list = append(list, spell)
	}
	return list
}

// useByDay is the number of insects used, by day.
type useByDay map[civil.Date]ration.Use

// between returns the use from the day from up to, but not including, the day
// to.
func (g useByDay) between(from, to civil.Date) (u ration.Use) {
	for d := from; d.Before(to); d = d.AddDays(1) {
		u = u.Plus(g[d])
	}
	return u
}

// usedUp returns the insects used by feedings that were given and eaten, by
// day. If the keeper marks no feedings at all, all planned feedings count as
// given.
func usedUp(d *plan.Day, f *husbandry.Feeder, from civil.Date) useByDay {
	if used := usedByMarks(d, f, from); len(used) > 0 {
		return used
	}
	return usedByPlan(d, f, from)
}

// usedByMarks returns the use by the feedings that the keeper marked.
func usedByMarks(d *plan.Day, f *husbandry.Feeder, from civil.Date) useByDay {
	used := make(useByDay)
	for _, r := range d.Routines {
		if r.Off || r.Scope != husbandry.OfEnclosure || d.FeederOf(r) != f {
			continue
		}
		for i := range d.Records.Enclosures {
			id := d.Records.Enclosures[i].ID
			for _, day := range d.DoneDays(id, r.ID, from) {
				if !day.After(d.On) && !refusedOn(d, id, day) {
					used[day] = used[day].Plus(d.OfferOf(d.Subject(id), r, day, 0).Use)
				}
			}
		}
	}
	return used
}

// usedByPlan returns the use by the planned feedings before the Day.
func usedByPlan(d *plan.Day, f *husbandry.Feeder, from civil.Date) useByDay {
	used := make(useByDay)
	for _, a := range d.Duties() {
		if a.Subject.Scope != husbandry.OfEnclosure || d.FeederOf(a.Routine) != f {
			continue
		}
		for _, day := range a.Routine.Dates {
			if span, ok := a.Span(day); ok && day.Before(d.On) && !day.Before(civil.Max(from, d.OwedFrom(a, span))) {
				used[day] = used[day].Plus(d.OfferOf(a.Subject, a.Routine, day, 0).Use)
			}
		}
	}
	return used
}

func refusedOn(d *plan.Day, enclosure husbandry.ID, day civil.Date) bool {
	return slices.ContainsFunc(d.Refused(enclosure), func(r herd.Refusal) bool { return r.On == day })
}

// feedingsGiven counts the planned feedings of the last givenDays, and how many
// of these were given and eaten.
func feedingsGiven(d *plan.Day, f *husbandry.Feeder) (planned, given int) {
	for _, a := range d.Duties() {
		if a.Subject.Scope != husbandry.OfEnclosure || d.FeederOf(a.Routine) != f || a.Routine.Cadence.Pattern != husbandry.Fixed {
			continue
		}
		from := d.On.AddDays(-givenDays)
		for _, day := range a.Routine.Dates {
			if span, ok := a.Span(day); ok && day.Before(d.On) && !day.Before(civil.Max(from, d.OwedFrom(a, span))) {
				planned++
			}
		}
		for _, day := range a.DoneDays(from) {
			if day.Before(d.On) && !refusedOn(d, a.Subject.ID, day) {
				given++
			}
		}
	}
	return planned, min(planned, given)
}

// usedAhead returns the insects that planned feedings will use, by day. Overdue
// feedings count for today.
func usedAhead(d *plan.Day, f *husbandry.Feeder) map[civil.Date]ration.Use {
	ahead := make(map[civil.Date]ration.Use)
	d.Ahead(func(s *plan.Subject, r *plan.Routine, due civil.Date) {
		if s.Scope == husbandry.OfEnclosure && !r.Amounts.IsZero() && d.FeederOf(r) == f {
			day := civil.Max(due, d.On)
			ahead[day] = ahead[day].Plus(d.OfferOf(s, r, day, 0).Use)
		}
	})
	return ahead
}

// Stocks proposes the orders of live food, for each delivery.
func Stocks(d *plan.Day, propose plan.Propose) {
	off := slices.ContainsFunc(d.TurnedOff(husbandry.OfFeeder), func(r *plan.Routine) bool { return r.Kind == husbandry.Order })
	if off {
		return
	}
	for i := range d.Records.Feeders {
		orders(d, propose, &d.Records.Feeders[i])
	}
}

func orders(d *plan.Day, propose plan.Propose, f *husbandry.Feeder) {
	s := StockOf(d, f)
	subject := plan.NewSubject(f.ID, husbandry.OfFeeder, f.Name)
	for _, o := range s.Orders(d.UntilReturn()) {
		if o.Packs == 0 {
			continue
		}
		pack := f.Pack.Count(o.Packs)
		r := called(d, subject, herd.OrderFeeder)
		if r == nil {
			return
		}
		r.Title = strings.ReplaceAll(r.Title, "{packs}", pack)
		a := d.Once(subject, r)
		propose(&plan.Single{
			Duty: a, Keys: []tasks.Key{a.Key(d.Text(o.Delivery))}, Due: o.By, Why: s.OrderWords(d, o), Clamped: true,
			While: func(due civil.Date) bool { return due.Before(o.Delivery) || f.Lead <= 0 }, // an order cannot be put off to the day of the delivery or later
			Finish: func(t *tasks.Task) {
				t.Packs = o.Packs
				t.Title = plan.TitleLine(fmt.Sprintf("Order %s: %s", f.Name, pack))
			},
		})
	}
}

// settled returns the deliveries for which the order was marked as done or
// skipped, whatever number was ordered.
func settled(d *plan.Day, f *husbandry.Feeder) map[civil.Date]bool {
	marked := make(map[civil.Date]bool)
	for day := ration.NextDelivery(f, d.On); !day.IsZero() && !day.AddDays(-int(f.Lead)).After(d.UntilReturn()); day = ration.NextDelivery(f, day.AddDays(1)) {
		if d.BecameOf(tasks.NewKey(f.ID, herd.OrderFeeder, day.String())).Over() {
			marked[day] = true
		}
	}
	return marked
}

// OrderWords returns the reason of an order in words.
func (s *Stock) OrderWords(d *plan.Day, o ration.Order) string {
	week := s.Weekly()
	words := fmt.Sprintf("For the delivery of %s: about %s in hand (%s), %s used in a week; the delivery after is on %s",
		d.WeekdayWords(o.Delivery), whole(s.Now().Mean), countedWords(d, s), rangeWords(week), d.WeekdayWords(o.Next))
	if !o.Short.IsZero() {
		words += ". Used up about " + d.WeekdayWords(civil.Max(o.Short, d.On)) + ", before it comes"
	}
	if o.Wasted {
		words += ". Part of it will be older than " + english.Days(s.Feeder.ShelfLife)
	}
	return words
}

func countedWords(d *plan.Day, s *Stock) string {
	switch {
	case s.CountedOn.IsZero():
		return "never counted"
	case d.On.Sub(s.CountedOn) > countDays:
		return "last counted " + d.DateWords(s.CountedOn) + ", count again"
	}
	return strconv.Itoa(s.Counted) + " counted " + d.WeekdayWords(s.CountedOn)
}

// Weekly forecasts the use of the coming seven days.
func (s *Stock) Weekly() ration.Forecast {
	u := ration.Use{}
	for i := range 7 {
		u = u.Plus(s.Ahead(s.On.AddDays(i)))
	}
	return s.Keeper.Foretell(ration.Use{}, u)
}

func whole(x float64) string { return strconv.Itoa(int(math.Round(x))) }

// rangeWords writes "62 to 88", or "none".
func rangeWords(f ration.Forecast) string {
	if low, high := whole(f.Low), whole(f.High); low != high {
		return low + " to " + high
	} else if high != "0" {
		return high
	}
	return "none"
}
