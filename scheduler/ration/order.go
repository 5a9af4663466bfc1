package ration

import (
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Batch is a number of insects delivered on one day, past or future.
type Batch struct {
	Came  civil.Date
	Count float64
}

// Stock is the state of a feeder on a day, with the plans for the feeder.
type Stock struct {
	Feeder *husbandry.Feeder
	Keeper Keeper
	On     civil.Date
	// Batches has the estimated stock, see Live, and the ordered deliveries.
	Batches []Batch
	// Recent is the use of the feedings since the stock was counted. It goes
	// back no further than the shelf life of the insects that may be alive
	// today, because any insects counted before that have died.
	Recent Use
	// Ahead returns the use of the feedings planned for a day. The day must not
	// be before On.
	Ahead func(civil.Date) Use
	// Settled has the deliveries for which the keeper has already decided on
	// the order.
	Settled map[civil.Date]bool
}

// Order is the number of boxes to order for one delivery.
type Order struct {
	Delivery civil.Date
	By       civil.Date // the last day to order
	Next     civil.Date // the following delivery
	Packs    int        // 0: no order
	// Short is the first day before the delivery without enough insects, on
	// average. It is zero if the stock lasts.
	Short civil.Date
	// Wasted says that part of the last box will probably die unused.
	Wasted bool
}

// NextDelivery returns the first delivery day on or after a day. It returns a
// zero date for a feeder without deliveries.
func NextDelivery(f *husbandry.Feeder, from civil.Date) civil.Date {
	for i := range 7 {
		if d := from.AddDays(i); slices.Contains(f.Deliveries, d.Weekday()) {
			return d
		}
	}
	return civil.Date{}
}

// Reach returns the number of days after the last day to order for which Ahead
// must be known.
func Reach(f *husbandry.Feeder) int {
	return int(f.Lead) + max(7+int(f.Safety), min(int(f.ShelfLife), longestShelf)) + 7
}

// longestShelf is the longest time, in days, for which insects are ordered at
// once.
const longestShelf = 60

// Live computes how many insects of some batches remain at the end of a span of
// days. The oldest insects are fed first. Insects die when they reach the
// feeder's shelf life. given returns the use of the feedings of a day. Batches
// may arrive within the span or after it. If the feedings need more insects
// than there are, the missing ones are ignored.
func Live(f *husbandry.Feeder, k Keeper, batches []Batch, from, to civil.Date, given func(civil.Date) Use) []Batch {
	left, _ := live(f, batches, from, to, func(d civil.Date) float64 { return k.Factor() * given(d).Mean })
	return left
}

// live is Live with the number of insects that leave the stock each day. It
// also returns the number that have died by each morning.
func live(f *husbandry.Feeder, batches []Batch, from, to civil.Date, takes func(civil.Date) float64) (left []Batch, dead map[civil.Date]float64) {
	left = slices.Clone(batches)
	slices.SortStableFunc(left, func(a, b Batch) int { return a.Came.Compare(b.Came) })
	dead = make(map[civil.Date]float64)
	sum := 0.0
	for d := from; !d.After(to); d = d.AddDays(1) {
		n := takes(d)
		for i := range left {
			switch age := d.Sub(left[i].Came); {
			case age < 0:
			case age >= int(f.ShelfLife):
				sum += left[i].Count
				left[i].Count = 0
			default:
				part := math.Min(n, left[i].Count)
				left[i].Count -= part
				n -= part
			}
		}
		dead[d] = sum
	}
	return slices.DeleteFunc(left, func(b Batch) bool { return b.Count <= 0 }), dead
}

// Now estimates the number of insects in stock.
func (s *Stock) Now() Forecast {
	used := s.Keeper.Foretell(s.Recent, Use{})
	there := s.there(s.On)
	return Forecast{
		Mean: math.Max(0, there-used.Mean),
		Low:  math.Max(0, there-used.High),
		High: math.Max(0, there-used.Low),
	}
}

// there returns the number in stock on the morning of a day, before subtracting
// recent use and deaths.
func (s *Stock) there(day civil.Date) float64 {
	n := s.Keeper.Factor() * s.Recent.Mean
	for _, b := range s.Batches {
		if !b.Came.After(day) {
			n += b.Count
		}
	}
	return n
}

// ahead returns the planned use from On up to, but not including, a day.
func (s *Stock) ahead(until civil.Date) (u Use) {
	for d := s.On; d.Before(until); d = d.AddDays(1) {
		u = u.Plus(s.Ahead(d))
	}
	return u
}

// LastsTo returns the last day for which the stock with its ordered deliveries
// suffices, on average; at most until.
func (s *Stock) LastsTo(until civil.Date) civil.Date {
	u, dead := Use{}, s.dying(until)
	for d := s.On; d.Before(until); d = d.AddDays(1) {
		u = u.Plus(s.Ahead(d))
		if s.Keeper.Foretell(s.Recent, u).Mean > s.there(d)-dead[d]+1e-6 {
			return d.AddDays(-1)
		}
	}
	return until
}

// dying returns the number of insects that will have died of age by the morning
// of each day, if the use is as forecast.
func (s *Stock) dying(until civil.Date) map[civil.Date]float64 {
	used := s.Keeper.Factor() * s.Keeper.Share()
	_, dead := live(s.Feeder, s.Batches, s.On, until, func(d civil.Date) float64 { return used * s.Ahead(d).Mean })
	return dead
}

// needs returns the number of insects missing for the use before a day. With
// high it takes the upper limit of the forecast.
func (s *Stock) needs(until civil.Date, high bool) float64 {
	f := s.Keeper.Foretell(s.Recent, s.ahead(until))
	used := f.Mean
	if high {
		used = f.High
	}
	return used - (s.there(until) - s.dying(until)[until])
}

// Orders computes the orders for all deliveries with a last day to order up to
// the day to. Each order assumes that the earlier orders are placed. A delivery
// stays in the list until its day, even after the last day to order, because
// the keeper can still ask for it.
//
// An order lasts until the following delivery with a probability of 95 %, and
// on average for the feeder's safety days beyond that delivery. It is no more
// than the average use before the insects die, unless a smaller order would not
// even last to the following delivery on average.
func (s Stock) Orders(to civil.Date) []Order {
	var list []Order
	f := s.Feeder
	s.Batches = slices.Clone(s.Batches)
	pack := float64(max(1, f.Pack.Of))
	lost := 0.0
	for d := NextDelivery(f, s.On.AddDays(1)); !d.IsZero() && !d.AddDays(-int(f.Lead)).After(to); d = NextDelivery(f, d.AddDays(1)) {
		if s.Settled[d] {
			continue
		}
		o := Order{Delivery: d, By: d.AddDays(-int(f.Lead)), Next: NextDelivery(f, d.AddDays(1))}
		if last := s.LastsTo(d); last.Before(d) && (len(list) == 0 || !last.Before(list[len(list)-1].Delivery)) {
			o.Short = last.AddDays(1)
		}
		// A shortage before the delivery is not made up for later.
		lost = math.Max(lost, s.needs(d, false))
		packs := func(n float64) int { return max(0, int(math.Ceil((n-lost)/pack-1e-6))) }
		want := packs(math.Max(s.needs(o.Next, true), s.needs(o.Next.AddDays(int(f.Safety)), false)))
		// The use for the new insects: all that is eaten until they die, less
		// the use covered by older insects.
		dies := d.AddDays(min(int(f.ShelfLife), longestShelf))
		room := int(math.Max(0, math.Floor((s.needs(dies, false)-lost)/pack+1e-6)))
		if o.Packs = want; want > room {
			o.Packs = min(want, max(room, packs(s.needs(o.Next, false))))
			o.Wasted = o.Packs > room
		}
		if o.Packs > 0 {
			s.Batches = append(s.Batches, Batch{d, float64(o.Packs) * pack})
		}
		list = append(list, o)
	}
	return list
}

// LastDelivery returns the last delivery day on or before a day, or the day
// itself for a feeder without deliveries.
func LastDelivery(f *husbandry.Feeder, day civil.Date) civil.Date {
	for i := range 7 {
		if d := day.AddDays(-i); slices.Contains(f.Deliveries, d.Weekday()) {
			return d
		}
	}
	return day
}

// LongestReach is the longest [Reach] of some feeders, in days; 0 for none.
func LongestReach(feeders []husbandry.Feeder) int {
	longest := 0
	for i := range feeders {
		longest = max(longest, Reach(&feeders[i]))
	}
	return longest
}
