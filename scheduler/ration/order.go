package ration

import (
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Batch is insects that came, or will come, on one day.
type Batch struct {
	Came  civil.Date
	Count float64
}

// Stock is how a feeder stands on a day.
type Stock struct {
	Feeder *husbandry.Feeder
	Keeper Keeper
	On     civil.Date
	// Batches are what is thought to be there, see Live, and what will come.
	Batches []Batch
	// Recent is the use of the feedings since the stock was counted, and not
	// longer ago than the insects live: an error of the use before that died
	// with them.
	Recent Use
	// Ahead is the use of the feedings planned for a day, from On on.
	Ahead func(civil.Date) Use
	// Settled are the deliveries for which it is decided what comes.
	Settled map[civil.Date]bool
}

// Order is what to order for one delivery.
type Order struct {
	Delivery civil.Date
	By       civil.Date // the last day to order
	Next     civil.Date // the delivery after it
	Packs    int        // 0: nothing
	// Short is the day on which, on the average, the stock is used up before the
	// delivery; no date where it lasts.
	Short civil.Date
	// Wasted says that part of the last pack will probably die unused.
	Wasted bool
}

// NextDelivery returns the first weekday of delivery on or after a day; no
// date for a feeder that is never delivered.
func NextDelivery(f *husbandry.Feeder, from civil.Date) civil.Date {
	for i := range 7 {
		if d := from.AddDays(i); slices.Contains(f.Deliveries, d.Weekday()) {
			return d
		}
	}
	return civil.Date{}
}

// Reach is for how many days after the last day to order Ahead must be known.
func Reach(f *husbandry.Feeder) int {
	return int(f.Lead) + max(7+int(f.Safety), min(int(f.ShelfLife), longestShelf)) + 7
}

// longestShelf is the most days' use that is ever bought at a time.
const longestShelf = 60

// Live works out what is left of some batches after the days from one to
// another: the oldest are fed first, and die when they are as old as the
// feeder lives. given is the use of the feedings of a day. Batches may come
// within that time, or after it; what is fed beyond what there is was none of
// it.
func Live(f *husbandry.Feeder, k Keeper, batches []Batch, from, to civil.Date, given func(civil.Date) Use) []Batch {
	left, _ := live(f, batches, from, to, func(d civil.Date) float64 { return k.Factor() * given(d).Mean })
	return left
}

// live is Live, for a number that leaves the stock each day, and with those
// that have died by each morning.
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

// Now is how many are thought to be there.
func (s *Stock) Now() Forecast {
	used := s.Keeper.Foretell(s.Recent, Use{})
	there := s.there(s.On)
	return Forecast{
		Mean: math.Max(0, there-used.Mean),
		Low:  math.Max(0, there-used.High),
		High: math.Max(0, there-used.Low),
	}
}

// there is how many there would be on the morning of a day had none been used
// recently and none died.
func (s *Stock) there(day civil.Date) float64 {
	n := s.Keeper.Factor() * s.Recent.Mean
	for _, b := range s.Batches {
		if !b.Came.After(day) {
			n += b.Count
		}
	}
	return n
}

// ahead is the use planned from On to before a day.
func (s *Stock) ahead(until civil.Date) (u Use) {
	for d := s.On; d.Before(until); d = d.AddDays(1) {
		u = u.Plus(s.Ahead(d))
	}
	return u
}

// LastsTo returns the last day for which, on the average, the stock suffices
// with what is ordered; the day until where it does for all days before it.
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

// dying returns how many will have died of age by the morning of each day up
// to one, if as many are used as is foretold.
func (s *Stock) dying(until civil.Date) map[civil.Date]float64 {
	used := s.Keeper.Factor() * s.Keeper.Share()
	_, dead := live(s.Feeder, s.Batches, s.On, until, func(d civil.Date) float64 { return used * s.Ahead(d).Mean })
	return dead
}

// needs is how many are missing of what is used before a day.
func (s *Stock) needs(until civil.Date, high bool) float64 {
	f := s.Keeper.Foretell(s.Recent, s.ahead(until))
	used := f.Mean
	if high {
		used = f.High
	}
	return used - (s.there(until) - s.dying(until)[until])
}

// Orders works out what to order for the deliveries that have to be ordered by
// a day, as if each were ordered as it says. A delivery whose last day to order
// is past is among them until it comes, since it may still be had by asking.
//
// So much is ordered that it lasts to the delivery after in nineteen cases of
// twenty, and for the feeder's safety beyond that on the average; but no more
// than is used, on the average, before it dies, unless less would not last even
// to the delivery after.
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
		// What is wanted before it comes and is not there is not made up for.
		lost = math.Max(lost, s.needs(d, false))
		packs := func(n float64) int { return max(0, int(math.Ceil((n-lost)/pack-1e-6))) }
		want := packs(math.Max(s.needs(o.Next, true), s.needs(o.Next.AddDays(int(f.Safety)), false)))
		// What the new ones can be used for: all that is eaten until they die,
		// but for what older ones are there for.
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

// LastDelivery returns the last weekday of delivery on or before a day, or the
// day itself for a feeder that is never delivered.
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
