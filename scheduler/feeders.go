package scheduler

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"nestround/scheduler/ration"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const (
	// learnDays is for how many days back feedings and counts of the stock tell
	// of the keeper's hand, and givenDays of how many feedings are given.
	learnDays = 180
	givenDays = 28
	// countDays is after how many days the stock should be counted again
	// (common practice: when the boxes are cleaned).
	countDays    = 21
	orderMinutes = 5
)

// feedersReach is how far ahead feedings must be known for orders until a day.
func (p *planner) feedersReach(to civil.Date) civil.Date {
	reach := 0
	for i := range p.rec.Feeders {
		reach = max(reach, ration.Reach(&p.rec.Feeders[i]))
	}
	return to.AddDays(reach)
}

// feederOf returns the feeder whose use a routine's amount tells, or nil.
func (p *planner) feederOf(r *routine) *husbandry.Feeder {
	if len(p.rec.Feeders) == 0 || r.Amounts.IsZero() || len(r.Consumes) == 0 {
		return nil
	}
	of := r.Amounts.Usual.Of
	if of == "" {
		of = r.Consumes[0]
	}
	i := slices.IndexFunc(p.rec.Feeders, func(f husbandry.Feeder) bool { return f.Is(of) })
	if i < 0 {
		return nil
	}
	return &p.rec.Feeders[i]
}

// offer is what each animal of an enclosure that a routine is for is offered
// on a day, and what all of them take.
type offer struct {
	each []ration.Offer // those that differ
	n    int            // animals
	use  ration.Use
}

func (p *planner) offerOf(s *subject, r *routine, day civil.Date, refused int) offer {
	var o offer
	each := husbandry.Grams(0)
	if f := p.feederOf(r); f != nil {
		each = f.Each
	}
	variance := 0.0
	for _, a := range s.animals {
		if !a.PresentOn(day) || !r.sel.animal(a, day) {
			continue
		}
		e := ration.Eater{On: day, Southern: p.southern, Refused: refused, Fed: a.In(husbandry.Gravid, day) || a.In(husbandry.PostLaying, day)}
		for _, w := range a.Weights {
			if !w.On.After(day) {
				e.Mass = w.Grams
			}
		}
		one := ration.For(r.Amounts, e, each)
		if one.Amount.IsZero() {
			continue
		}
		if !slices.Contains(o.each, one) {
			o.each = append(o.each, one)
		}
		o.n += a.Count
		u := one.Use(a.Count)
		o.use.Mean += u.Mean
		variance += u.Second - u.Square
	}
	o.use.Square = o.use.Mean * o.use.Mean
	o.use.Second = o.use.Square + variance
	return o
}

// refusedInRow is how many of an enclosure's last feedings were refused.
func (p *planner) refusedInRow(enclosure husbandry.ID) int {
	found := p.herd.refused[enclosure]
	if len(found) == 0 {
		return 0
	}
	n := 0
	fed := p.given(enclosure, husbandry.Feed, found[0].on)
	for i := len(fed) - 1; i >= 0; i-- {
		if !slices.ContainsFunc(found, func(r refusal) bool { return r.on == fed[i] }) {
			break
		}
		n++
	}
	return n
}

// offerWords says how much a feeding is of: "6-8 crickets each".
func (p *planner) offerWords(s *subject, r *routine, day civil.Date) string {
	if s.scope != husbandry.OfEnclosure {
		return r.Amounts.Usual.String()
	}
	refused := 0
	if !day.After(p.on) { // who knows what they eat until then
		refused = p.refusedInRow(s.id)
	}
	o := p.offerOf(s, r, day, refused)
	var words []string
	less := false
	for _, one := range o.each {
		words = append(words, one.Amount.String())
		less = less || one.Less
	}
	switch {
	case len(words) == 0:
		return ""
	case len(words) > 1:
		words = []string{words[0] + " or " + words[1] + " each"}
	case o.n > 1:
		words[0] += " each"
	}
	if less {
		words[0] += ", less after a refusal"
	}
	return words[0]
}

// stocked is a feeder with what the records tell of it.
type stocked struct {
	ration.Stock
	counted   int
	countedOn civil.Date // zero: never
}

// stockOf works out how a feeder stands on the plan's day.
func (p *planner) stockOf(f *husbandry.Feeder) stocked {
	type count struct {
		on civil.Date
		n  int
	}
	var counts []count
	if !f.StockOn.IsZero() && !f.StockOn.After(p.on) {
		counts = append(counts, count{f.StockOn, f.Stock})
	}
	s := stocked{Stock: ration.Stock{Feeder: f, On: p.on, Settled: make(map[civil.Date]bool)}}
	var came []ration.Batch
	found := p.h.Found()
	for i := range found {
		g := &found[i]
		if g.Task.Subject() != f.ID || g.On.After(p.on) {
			continue
		}
		if n := g.Finding.Stock; n != nil {
			counts = append(counts, count{g.On, max(0, *n)})
		}
		if n := g.Finding.Ordered; n != nil {
			delivery, err := civil.Parse(g.Task.Occurrence())
			if err != nil || g.Task.Routine() != OrderFeeder {
				delivery = ration.NextDelivery(f, g.On.AddDays(int(f.Lead)))
			}
			came = append(came, ration.Batch{Came: delivery, Count: float64(max(0, *n) * f.Pack.Of)})
			s.Settled[delivery] = true
		}
	}
	slices.SortStableFunc(counts, func(a, b count) int { return a.on.Compare(b.on) })
	counts = slices.DeleteFunc(counts, func(c count) bool { return c.on.Before(p.on.AddDays(-learnDays)) })
	from := p.began
	if len(counts) > 0 {
		from = counts[0].on
	}
	from = civil.Max(from, p.on.AddDays(-learnDays))
	given := p.usedUp(f, from)
	between := func(from, to civil.Date) (u ration.Use) {
		for d := from; d.Before(to); d = d.AddDays(1) {
			u = u.Plus(given[d])
		}
		return u
	}
	var spells []ration.Spell
	for i := 1; i < len(counts); i++ {
		a, b := counts[i-1], counts[i]
		spell := ration.Spell{Before: float64(a.n), After: float64(b.n), Said: between(a.on, b.on).Mean}
		for _, c := range came {
			if c.Came.After(a.on) && !c.Came.After(b.on) {
				spell.Came += c.Count
			}
		}
		spells = append(spells, spell)
	}
	planned, done := p.feedingsGiven(f)
	s.Keeper = ration.Learn(planned, done, spells)
	start := ration.Batch{Came: from}
	if len(counts) > 0 {
		last := counts[len(counts)-1]
		s.counted, s.countedOn = last.n, last.on
		from = last.on
		start = ration.Batch{Came: ration.LastDelivery(f, last.on), Count: float64(last.n)}
	}
	s.Batches = []ration.Batch{start}
	for _, c := range came {
		if s.countedOn.IsZero() || c.Came.After(s.countedOn) {
			s.Batches = append(s.Batches, c)
		}
	}
	s.Batches = ration.Live(f, s.Keeper, s.Batches, from, p.on, func(d civil.Date) ration.Use { return given[d] })
	s.Recent = between(civil.Max(from, p.on.AddDays(1-int(f.ShelfLife))), p.on.AddDays(1))
	if len(s.Batches) == 0 || s.Batches[0].Came.After(p.on) {
		s.Recent = ration.Use{} // a box that is empty is no emptier for an error
	}
	ahead := p.usedAhead(f)
	s.Ahead = func(d civil.Date) ration.Use { return ahead[d] }
	return s
}

// usedUp returns the use of the feedings that were given and eaten, by day. A
// keeper who marks no feeding at all is taken to give those that were planned.
func (p *planner) usedUp(f *husbandry.Feeder, from civil.Date) map[civil.Date]ration.Use {
	used := make(map[civil.Date]ration.Use)
	for _, r := range p.routines {
		if r.Off || r.Scope != husbandry.OfEnclosure || p.feederOf(r) != f {
			continue
		}
		for i := range p.rec.Enclosures {
			id := p.rec.Enclosures[i].ID
			for _, d := range p.h.DoneDays(id, r.ID, from) {
				if !d.After(p.on) && !p.refusedOn(id, d) {
					used[d] = used[d].Plus(p.offerOf(p.subjects[id], r, d, 0).use)
				}
			}
		}
	}
	if len(used) > 0 {
		return used
	}
	for i := range p.eaters {
		a := &p.eaters[i]
		if p.feederOf(a.r) != f {
			continue
		}
		for _, d := range a.r.dates {
			if span, ok := a.on(d); ok && d.Before(p.on) && !d.Before(civil.Max(from, p.owedFrom(a, span))) {
				used[d] = used[d].Plus(p.offerOf(a.s, a.r, d, 0).use)
			}
		}
	}
	return used
}

func (p *planner) refusedOn(enclosure husbandry.ID, day civil.Date) bool {
	return slices.ContainsFunc(p.herd.refused[enclosure], func(r refusal) bool { return r.on == day })
}

// feedingsGiven counts the feedings of the last weeks that the calendar asked
// for, and those of them that were given and eaten.
func (p *planner) feedingsGiven(f *husbandry.Feeder) (planned, given int) {
	for i := range p.eaters {
		a := &p.eaters[i]
		if p.feederOf(a.r) != f || a.r.Cadence.Pattern != husbandry.Fixed {
			continue
		}
		from := p.on.AddDays(-givenDays)
		for _, d := range a.r.dates {
			if span, ok := a.on(d); ok && d.Before(p.on) && !d.Before(civil.Max(from, p.owedFrom(a, span))) {
				planned++
			}
		}
		for _, d := range a.marks.DoneDays(from) {
			if d.Before(p.on) && !p.refusedOn(a.s.id, d) {
				given++
			}
		}
	}
	return planned, min(planned, given)
}

// usedAhead returns the use of the feedings planned, by day; those that are
// late count for today.
func (p *planner) usedAhead(f *husbandry.Feeder) map[civil.Date]ration.Use {
	ahead := make(map[civil.Date]ration.Use)
	for _, piece := range p.out {
		for i := range piece {
			t := &piece[i]
			if t.lapsed || t.a.s.scope != husbandry.OfEnclosure || t.a.r.Amounts.IsZero() || p.feederOf(t.a.r) != f {
				continue
			}
			day := civil.Max(t.due, p.on)
			ahead[day] = ahead[day].Plus(p.offerOf(t.a.s, t.a.r, day, 0).use)
		}
	}
	return ahead
}

// ordersOff reports whether a routine turns orders off.
func (p *planner) ordersOff() bool {
	return slices.ContainsFunc(p.off[husbandry.OfFeeder], func(r *routine) bool { return r.Kind == husbandry.Order })
}

// orders plans what is to be ordered of live food for each delivery.
func (p *planner) orders() {
	if len(p.rec.Feeders) == 0 || p.ordersOff() {
		return
	}
	for i := range p.rec.Feeders {
		f := &p.rec.Feeders[i]
		s := p.stockOf(f)
		subject := &subject{id: f.ID, scope: husbandry.OfFeeder, name: f.Name}
		for d := range p.orderMarks(f) {
			s.Settled[d] = true
		}
		for _, o := range s.Orders(p.ordersUntil()) {
			if o.Packs == 0 {
				continue
			}
			pack := f.Pack.Count(o.Packs)
			a := &activity{s: subject, r: &routine{Routine: &husbandry.Routine{
				ID: OrderFeeder, Kind: husbandry.Order, Title: "Order " + pack, Scope: husbandry.OfFeeder,
				Part: husbandry.Evening, Minutes: orderMinutes, Missed: husbandry.Stays, Origin: husbandry.Common,
			}}}
			key := a.key(p.text(o.Delivery))
			due := o.By
			if out := p.h.Outcome(key); out.Mark == tasks.PutOff {
				due = civil.Max(due, out.Until)
			}
			if due.Before(p.began) {
				due = p.began
			}
			if !due.Before(o.Delivery) && f.Lead > 0 {
				continue // put off past the delivery
			}
			t := p.task(a, key, due, p.orderWords(&s, o))
			t.Packs = o.Packs
			t.Title = plainWords(fmt.Sprintf("Order %s: %s", f.Name, pack))
			if due != o.By { // put off: late, if a day that was too late
				t.Latest = due
			}
			p.emit(a, t)
		}
	}
}

// orderMarks returns the deliveries whose order was marked as done or not
// wanted, whatever was ordered.
func (p *planner) orderMarks(f *husbandry.Feeder) map[civil.Date]bool {
	marked := make(map[civil.Date]bool)
	for d := ration.NextDelivery(f, p.on); !d.IsZero() && !d.AddDays(-int(f.Lead)).After(p.ordersUntil()); d = ration.NextDelivery(f, d.AddDays(1)) {
		switch o := p.h.Outcome(tasks.NewKey(f.ID, OrderFeeder, d.String())); o.Mark {
		case tasks.MarkDone, tasks.Skip:
			marked[d] = true
		}
	}
	return marked
}

// orderWords is the reason of an order.
func (p *planner) orderWords(s *stocked, o ration.Order) string {
	week := s.weekly()
	words := fmt.Sprintf("For the delivery of %s: about %s in hand (%s), %s used in a week; the delivery after is on %s",
		p.weekday(o.Delivery), whole(s.Now().Mean), p.countedWords(s), rangeWords(week), p.weekday(o.Next))
	if !o.Short.IsZero() {
		words += ". Used up about " + p.weekday(civil.Max(o.Short, p.on)) + ", before it comes"
	}
	if o.Wasted {
		words += ". Part of it will be older than " + days(s.Feeder.ShelfLife)
	}
	return words
}

func (p *planner) countedWords(s *stocked) string {
	switch {
	case s.countedOn.IsZero():
		return "never counted"
	case p.on.Sub(s.countedOn) > countDays:
		return "last counted " + p.day(s.countedOn) + ", count again"
	}
	return strconv.Itoa(s.counted) + " counted " + p.weekday(s.countedOn)
}

// weekly foretells the use of the coming seven days.
func (s *stocked) weekly() ration.Forecast {
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

// FeederStock is one line of the overview of live food.
type FeederStock struct {
	ID        husbandry.ID `json:"id"`
	Name      string       `json:"name"`
	Counted   int          `json:"counted"`
	CountedOn civil.Date   `json:"counted_on"` // "" for never
	// InHand and Week have nine of ten cases between low and high: how many
	// there are now, and how many are used in the coming seven days.
	InHand Range `json:"in_hand"`
	Week   Range `json:"week"`
	// Given is the share of planned feedings that is given and eaten, Factor
	// how many leave the stock for one that the amounts of the books have.
	Given  float64 `json:"given"`
	Factor float64 `json:"factor"`
	// LastsTo is the last day for which there are enough with what is ordered;
	// "" for longer than is looked ahead.
	LastsTo civil.Date `json:"lasts_to"`
	// The next order; "" and 0 where none is due within the days looked at.
	OrderBy  civil.Date `json:"order_by"`
	Delivery civil.Date `json:"delivery"`
	Packs    int        `json:"packs"`
	Pack     string     `json:"pack"` // "3 boxes of 50"
	Why      string     `json:"why"`
}

// Range is a number with the numbers that it lies between in nine of ten
// cases.
type Range struct {
	Mean int `json:"mean"`
	Low  int `json:"low"`
	High int `json:"high"`
}

func rangeOf(f ration.Forecast) Range {
	return Range{int(math.Round(f.Mean)), int(math.Round(f.Low)), int(math.Round(f.High))}
}

// FeederStocks returns every feeder of the records with its stock and use, and
// with its next order until in.To.
func FeederStocks(in Input) []FeederStock {
	p := newPlanner(in)
	p.plan()
	list := []FeederStock{}
	for i := range p.rec.Feeders {
		f := &p.rec.Feeders[i]
		s := p.stockOf(f)
		line := FeederStock{
			ID: f.ID, Name: f.Name, Counted: s.counted, CountedOn: s.countedOn,
			InHand: rangeOf(s.Now()), Week: rangeOf(s.weekly()), Given: hundredths(s.Keeper.Share()), Factor: hundredths(s.Keeper.Factor()),
		}
		for d := range p.orderMarks(f) {
			s.Settled[d] = true
		}
		until := p.feedersReach(p.on)
		if last := s.LastsTo(until); last.Before(until) {
			line.LastsTo = last
		}
		for _, o := range s.Orders(p.ordersUntil()) {
			if o.Packs > 0 && line.Packs == 0 {
				if away := p.absence(o.By); away != nil && away.From.After(p.on) {
					o.By = away.From.AddDays(-1)
				}
				line.OrderBy, line.Delivery, line.Packs, line.Pack, line.Why = o.By, o.Delivery, o.Packs, f.Pack.Count(o.Packs), p.orderWords(&s, o)
			}
		}
		list = append(list, line)
	}
	return list
}

func hundredths(x float64) float64 { return math.Round(x*100) / 100 }
