package ration_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler/ration"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func day(s string) civil.Date { return civil.MustParse("2027-" + s) }

func amount(t *testing.T, s string) husbandry.Amount {
	t.Helper()
	if s == "" {
		return husbandry.Amount{}
	}
	a, err := husbandry.ParseAmount(s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestOffersToAnAnimal(t *testing.T) {
	all := husbandry.Amounts{
		Usual: amount(t, "6-8 crickets"), Gravid: amount(t, "8-10 crickets"), Winter: amount(t, "2-3 crickets"), Summer: amount(t, "7-9 crickets"),
	}
	share := husbandry.Amounts{Usual: amount(t, "2-3 % of body mass in crickets")}
	for _, c := range []struct {
		words  string
		a      husbandry.Amounts
		e      ration.Eater
		each   husbandry.Grams
		want   string
		counts bool
	}{
		{"in spring, without an amount of its own", all, ration.Eater{On: day("05-12")}, 0, "6-8 crickets", true},
		{"in summer", all, ration.Eater{On: day("06-01")}, 0, "7-9 crickets", true},
		{"in winter", all, ration.Eater{On: day("02-28")}, 0, "2-3 crickets", true},
		{"in December", all, ration.Eater{On: day("12-01")}, 0, "2-3 crickets", true},
		{"in a southern December", all, ration.Eater{On: day("12-01"), Southern: true}, 0, "7-9 crickets", true},
		{"in a southern July", all, ration.Eater{On: day("07-01"), Southern: true}, 0, "2-3 crickets", true},
		{"in a southern September", all, ration.Eater{On: day("09-01"), Southern: true}, 0, "6-8 crickets", true},
		{"gravid, whatever the season", all, ration.Eater{On: day("02-28"), Fed: true}, 0, "8-10 crickets", true},
		{"refused once", all, ration.Eater{On: day("05-12"), Refused: 1}, 0, "6 crickets", true},
		{"refused twice", all, ration.Eater{On: day("05-12"), Refused: 2}, 0, "3 crickets", true},
		{"refused ten times", all, ration.Eater{On: day("05-12"), Refused: 10}, 0, "3 crickets", true},
		// 60 g: 2 % are 1.2 g, 3 % are 1.8 g. At 0.4 g each that is 3 and 4.5
		// insects.
		{"by its mass", share, ration.Eater{On: day("05-12"), Mass: 60}, 0.4, "3-5 crickets", true},
		{"by its mass, refused twice", share, ration.Eater{On: day("05-12"), Mass: 60, Refused: 2}, 0.4, "2 crickets", true},
		{"a hatchling of 2 g", share, ration.Eater{On: day("05-12"), Mass: 2}, 0.4, "1 crickets", true},
		{"never weighed", share, ration.Eater{On: day("05-12")}, 0.4, "2-3 % of body mass in crickets", false},
		{"insects of unknown mass", share, ration.Eater{On: day("05-12"), Mass: 60, Refused: 2}, 0, "1 % of body mass in crickets", false},
	} {
		o := ration.For(c.a, c.e, c.each)
		if o.Amount.String() != c.want || o.Counted != c.counts || o.Less != (c.e.Refused > 0) {
			t.Errorf("%s: %s, %+v, want %s", c.words, o.Amount, o, c.want)
		}
	}
	if o := ration.For(husbandry.Amounts{}, ration.Eater{On: day("05-12")}, 1); o != (ration.Offer{}) {
		t.Errorf("nothing is said: %+v", o)
	}
}

func TestSubstancesOfPowders(t *testing.T) {
	for _, c := range []struct {
		consumes, title string
		want            ration.Powder
	}{
		{"calcium powder", "Dust the food with plain calcium", 0},
		{"calcium powder with D3", "Dust the food with calcium and vitamin D3", ration.D3},
		{"multivitamin powder", "", ration.Vitamins},
		{"multivitamin with D3", "", ration.D3 | ration.Vitamins},
		{"calcium powder without D3", "", 0},
		{"calcium without vitamin D3", "", 0},
		{"vitamin A drops", "", ration.Vitamins},
		{"white powder", "", 0},
	} {
		r := &husbandry.Routine{Consumes: []string{c.consumes}, Title: c.title}
		if got := ration.PowderOf(r); got != c.want || (got == 0) != (got.Words() == "") {
			t.Errorf("%s, %q: %s", c.consumes, c.title, got.Words())
		}
	}
}

// The moments of an offer equal those of all possible numbers of insects.
func TestMomentsOfUse(t *testing.T) {
	u := ration.Offer{Amount: husbandry.Amount{From: 6, To: 8}, Counted: true}.Use(2)
	var sum, second float64
	for a := 6.0; a <= 8; a++ {
		for b := 6.0; b <= 8; b++ {
			sum += (a + b) / 9
			second += (a + b) * (a + b) / 9
		}
	}
	if math.Abs(u.Mean-sum) > 1e-9 || math.Abs(u.Second-second) > 1e-9 || u.Square != sum*sum {
		t.Errorf("%+v, want %v, %v", u, sum, second)
	}
}

func TestMoreRecordsNarrowTheForecast(t *testing.T) {
	week := ration.Use{}
	for range 30 {
		week = week.Plus(ration.Offer{Amount: husbandry.Amount{From: 6, To: 8}, Counted: true}.Use(1))
	}
	before := ration.Learn(0, 0, nil).Foretell(ration.Use{}, week)
	// 30 feedings of 7 insects, nine in ten of them eaten.
	if math.Abs(before.Mean-189) > 1 || before.Low > 140 || before.High < 240 {
		t.Errorf("before anything was recorded: %+v", before)
	}
	spells := []ration.Spell{{Before: 300, Came: 200, After: 240, Said: 200}, {Before: 240, Came: 200, After: 180, Said: 200}}
	k := ration.Learn(100, 95, spells)
	after := k.Foretell(ration.Use{}, week)
	if k.Factor() < 1.1 || k.Factor() > 1.3 || k.Share() < 0.92 || after.High-after.Low > before.High-before.Low {
		t.Errorf("then %+v, %.2f for one, %.2f given", after, k.Factor(), k.Share())
	}
	if odd := ration.Learn(100, 95, []ration.Spell{{Before: 10, After: 300, Said: 50}, {Before: 100, After: 90}}); odd.Factor() != 1 {
		t.Errorf("a delivery that nobody recorded, and a time without feedings: %.2f for one", odd.Factor())
	}
}

func crickets() *husbandry.Feeder {
	return &husbandry.Feeder{
		ID: "crickets", Name: "crickets", Pack: husbandry.Pack{Name: "box", Of: 50},
		Deliveries: []time.Weekday{time.Friday}, Lead: 2, ShelfLife: 14, Safety: 2,
	}
}

// sure is a keeper without any uncertainty.
var sure = ration.Keeper{GivenYes: 1e9, GivenNo: 1, Shape: 1e9, Rate: 1e9}

func steady(n float64) func(civil.Date) ration.Use {
	return func(civil.Date) ration.Use { return ration.Use{Mean: n, Square: n * n, Second: n * n} }
}

// Mon 10 May 2027, with 14 crickets a day: about 98 a week, and 112 at the
// upper limit.
func TestOrdersForTheNextDeliveries(t *testing.T) {
	on := day("05-10")
	for _, c := range []struct {
		words string
		set   func(s *ration.Stock, f *husbandry.Feeder)
		packs []int // for Fri 14, 21 and 28 May
		short string
		waste bool
	}{
		{"56 to the delivery, 98 to the next, 28 for safety", func(s *ration.Stock, f *husbandry.Feeder) {}, []int{3, 2, 2}, "", false},
		{"in stock till the delivery after the next", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Batches = []ration.Batch{{Came: day("05-09"), Count: 250}}
			f.ShelfLife = 30
		}, []int{0, 1, 2}, "", false},
		{"in stock, but too old by then", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Batches = []ration.Batch{{Came: day("05-01"), Count: 250}}
		}, []int{3, 2, 2}, "", false},
		{"ordered already", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Batches = append(s.Batches, ration.Batch{Came: day("05-14"), Count: 150})
			s.Settled = map[civil.Date]bool{day("05-14"): true}
		}, []int{3, 2, 2}, "", false},
		{"not enough till it comes", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Batches = []ration.Batch{{Came: day("05-07"), Count: 20}}
		}, []int{3, 2, 2}, "05-11", false},
		{"they live for a week, and no more is bought than that", func(s *ration.Stock, f *husbandry.Feeder) {
			f.ShelfLife = 7
		}, []int{2, 2, 2}, "", true},
		{"a box is more than they eat", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Ahead, s.Batches = steady(2), nil
		}, []int{1, 0, 1}, "05-10", true},
		{"nobody eats them", func(s *ration.Stock, f *husbandry.Feeder) {
			s.Ahead, s.Batches = steady(0), nil
		}, []int{0, 0, 0}, "", false},
	} {
		f := crickets()
		s := ration.Stock{Feeder: f, Keeper: sure, On: on, Batches: []ration.Batch{{Came: day("05-07"), Count: 70}}, Ahead: steady(14)}
		c.set(&s, f)
		orders := s.Orders(day("05-26"))
		var packs []int
		for _, o := range orders {
			packs = append(packs, o.Packs)
			if o.By != o.Delivery.AddDays(-2) || o.Next != o.Delivery.AddDays(7) || o.Delivery.Weekday() != time.Friday {
				t.Errorf("%s: %+v", c.words, o)
			}
		}
		if s.Settled != nil {
			packs = append([]int{3}, packs...)
		}
		short := ""
		if !orders[0].Short.IsZero() {
			short = orders[0].Short.Format("01-02")
		}
		if len(packs) != 3 || packs[0] != c.packs[0] || packs[1] != c.packs[1] || packs[2] != c.packs[2] || short != c.short || orders[0].Wasted != c.waste {
			t.Errorf("%s: order %v, short %s, wasted %v; want %v, %s, %v", c.words, packs, short, orders[0].Wasted, c.packs, c.short, c.waste)
		}
	}
}

// colony simulates a lizard room insect by insect.
type colony struct {
	rng      *rand.Rand
	f        *husbandry.Feeder
	offer    ration.Offer
	mouths   int     // enclosures fed each day
	share    float64 // share of feedings given and eaten
	factor   float64 // insects that leave the stock for each in the books
	boxes    []ration.Batch
	said     map[civil.Date]ration.Use
	planned  int
	given    int
	lacking  int // insects needed but not in stock
	used     int
	bought   int
	died     float64
	counts   []ration.Batch // counted stock, by day
	arrivals []ration.Batch
}

func (c *colony) there() (n float64) {
	for _, b := range c.boxes {
		n += b.Count
	}
	return n
}

// feed simulates a day.
func (c *colony) feed(on civil.Date) {
	for i := range c.boxes {
		if on.Sub(c.boxes[i].Came) >= int(c.f.ShelfLife) {
			c.died += c.boxes[i].Count
			c.boxes[i].Count = 0
		}
	}
	for range c.mouths {
		c.planned++
		if c.rng.Float64() >= c.share {
			continue
		}
		c.given++
		c.said[on] = c.said[on].Plus(c.offer.Use(1))
		n := c.offer.Amount.From + float64(c.rng.IntN(int(c.offer.Amount.To-c.offer.Amount.From)+1))
		n *= c.factor
		take := math.Floor(n)
		if c.rng.Float64() < n-take {
			take++
		}
		for i := range c.boxes {
			part := math.Min(take, c.boxes[i].Count)
			c.boxes[i].Count -= part
			take -= part
			c.used += int(part)
		}
		c.lacking += int(take)
	}
}

// stock returns what the books would have on a morning.
func (c *colony) stock(on civil.Date) ration.Stock {
	var spells []ration.Spell
	said := func(from, to civil.Date) (u ration.Use) {
		for d := from; d.Before(to); d = d.AddDays(1) {
			u = u.Plus(c.said[d])
		}
		return u
	}
	for i := 1; i < len(c.counts); i++ {
		a, b := c.counts[i-1], c.counts[i]
		s := ration.Spell{Before: a.Count, After: b.Count, Said: said(a.Came, b.Came).Mean}
		for _, d := range c.arrivals {
			if d.Came.After(a.Came) && !d.Came.After(b.Came) {
				s.Came += d.Count
			}
		}
		spells = append(spells, s)
	}
	s := ration.Stock{Feeder: c.f, Keeper: ration.Learn(c.planned, c.given, spells), On: on, Settled: make(map[civil.Date]bool)}
	last := c.counts[len(c.counts)-1]
	for _, d := range c.arrivals {
		s.Settled[d.Came] = true
		if d.Came.After(last.Came) {
			s.Batches = append(s.Batches, d)
		}
	}
	s.Batches = append(s.Batches, ration.Batch{Came: ration.LastDelivery(c.f, last.Came), Count: last.Count})
	s.Batches = ration.Live(c.f, s.Keeper, s.Batches, last.Came, on.AddDays(-1), func(d civil.Date) ration.Use { return c.said[d] })
	s.Recent = said(civil.Max(last.Came, on.AddDays(-int(c.f.ShelfLife))), on)
	s.Ahead = func(civil.Date) (u ration.Use) {
		for range c.mouths {
			u = u.Plus(c.offer.Use(1))
		}
		return u
	}
	return s
}

// live simulates some weeks: it orders as the program says, and counts every so
// many days.
func (c *colony) live(from civil.Date, days, count int, each func(on civil.Date, s ration.Stock)) {
	c.said = make(map[civil.Date]ration.Use)
	c.counts = []ration.Batch{{Came: from, Count: c.there()}}
	for i := range days {
		on := from.AddDays(i)
		for _, d := range c.arrivals {
			if d.Came == on {
				c.boxes = append(c.boxes, d)
			}
		}
		if i > 0 && i%count == 0 {
			seen := math.Round(c.there() * (1 + 0.05*c.rng.NormFloat64()))
			c.counts = append(c.counts, ration.Batch{Came: on, Count: math.Max(0, seen)})
		}
		s := c.stock(on)
		for _, o := range s.Orders(on) {
			if o.By == on && o.Packs > 0 {
				c.arrivals = append(c.arrivals, ration.Batch{Came: o.Delivery, Count: float64(o.Packs * c.f.Pack.Of)})
				c.bought += o.Packs * c.f.Pack.Of
			}
		}
		each(on, s)
		c.feed(on)
	}
}

func newColony(seed uint64, share, factor float64) *colony {
	return &colony{
		rng: rand.New(rand.NewPCG(seed, 2)), f: crickets(), mouths: 6, share: share, factor: factor,
		offer: ration.Offer{Amount: husbandry.Amount{From: 5, To: 8}, Counted: true},
		boxes: []ration.Batch{{Came: day("05-07"), Count: 200}},
	}
}

// The records reveal a keeper's use. The forecast of the coming week contains
// the real use in about nine cases of ten.
func TestTheRecordsRevealTheUse(t *testing.T) {
	covered, all := 0, 0
	for seed := range uint64(40) {
		share, factor := 0.75+0.02*float64(seed%10), 0.8+0.06*float64(seed/5)
		c := newColony(seed, share, factor)
		c.f.ShelfLife = 60 // nothing dies, so all that leaves was fed
		var keeper ration.Keeper
		// The use of seven days, for each day with a forecast.
		foretold := make(map[civil.Date]ration.Forecast)
		usedBy := make(map[civil.Date]int)
		c.live(day("05-10"), 120, 10, func(on civil.Date, s ration.Stock) {
			keeper = s.Keeper
			u := ration.Use{}
			for i := range 7 {
				u = u.Plus(s.Ahead(on.AddDays(i)))
			}
			foretold[on] = s.Keeper.Foretell(ration.Use{}, u)
			usedBy[on] = c.used + c.lacking
		})
		if math.Abs(keeper.Factor()-factor) > 0.12*factor || math.Abs(keeper.Share()-share) > 0.05 {
			t.Errorf("seed %d: %.2f for one (%.2f), %.2f given (%.2f)", seed, keeper.Factor(), factor, keeper.Share(), share)
		}
		for i := 40; i < 110; i += 7 {
			on := day("05-10").AddDays(i)
			used := float64(usedBy[on.AddDays(7)] - usedBy[on])
			if f := foretold[on]; used >= f.Low && used <= f.High {
				covered++
			}
			all++
		}
	}
	t.Logf("%d of %d weeks within their 90 %%", covered, all)
	if share := float64(covered) / float64(all); share < 0.85 {
		t.Errorf("%.0f %% covered", 100*share)
	}
}

// With a safety of two days the boxes do not run out and few insects die, if
// the keeper counts now and then.
func TestBoxesLastAndFewInsectsDie(t *testing.T) {
	for _, count := range []int{7, 14, 60} { // days between two counts
		var lacking, used, bought int
		var died float64
		out := 0
		for seed := range uint64(40) {
			c := newColony(100+seed, 0.8+0.005*float64(seed), 0.85+0.01*float64(seed))
			c.live(day("05-10"), 365, count, func(on civil.Date, s ration.Stock) {})
			lacking, used, bought, died = lacking+c.lacking, used+c.used, bought+c.bought, died+c.died
			if c.lacking > 0 {
				out++
			}
		}
		t.Logf("counted every %d days: %d of %d insects lacking, in %d of 40 years; %.1f %% of %d bought died", count, lacking, used, out, 100*died/float64(bought), bought)
		// In two months without a count an unknown error of a quarter adds up.
		// In two weeks it does not.
		if lacking > 0 && count <= 14 || lacking > used/50 {
			t.Errorf("counted every %d days: %d of %d insects were lacking", count, lacking, used)
		}
		if died > 0.05*float64(bought) {
			t.Errorf("%.0f of %d died unused", died, bought)
		}
	}
}

// For any feeder and any use: no order if nobody eats, a larger stock never
// gives a larger order for the next delivery, and an order lasts to the
// following delivery on average.
func TestPropertiesOfOrders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := &husbandry.Feeder{
			Pack: husbandry.Pack{Name: "box", Of: rapid.IntRange(1, 250).Draw(t, "pack")}, Lead: husbandry.Days(rapid.IntRange(0, 10).Draw(t, "lead")),
			ShelfLife: husbandry.Days(rapid.IntRange(1, 90).Draw(t, "shelf life")), Safety: husbandry.Days(rapid.IntRange(0, 7).Draw(t, "safety")),
		}
		for d := time.Sunday; d <= time.Saturday; d++ {
			if rapid.Bool().Draw(t, "delivered") {
				f.Deliveries = append(f.Deliveries, d)
			}
		}
		daily := float64(rapid.IntRange(0, 60).Draw(t, "a day"))
		on := day("05-10")
		count := float64(rapid.IntRange(0, 500).Draw(t, "stock"))
		s := ration.Stock{Feeder: f, Keeper: ration.Learn(rapid.IntRange(0, 50).Draw(t, "planned"), rapid.IntRange(0, 50).Draw(t, "given"), nil),
			On: on, Batches: []ration.Batch{{Came: on.AddDays(-rapid.IntRange(0, 20).Draw(t, "age")), Count: count}}, Ahead: steady(daily)}
		to := on.AddDays(30)
		orders := s.Orders(to)
		if len(f.Deliveries) == 0 && len(orders) > 0 {
			t.Fatalf("%+v of one that is never delivered", orders)
		}
		came := []ration.Batch(nil)
		for i, o := range orders {
			if daily == 0 && o.Packs > 0 || o.Packs < 0 || o.By.After(to) || !o.Delivery.After(on) || i > 0 && o.Delivery != orders[i-1].Next {
				t.Fatalf("order %d: %+v", i, o)
			}
			if o.Packs > 0 {
				came = append(came, ration.Batch{Came: o.Delivery, Count: float64(o.Packs * f.Pack.Of)})
			}
		}
		if len(orders) == 0 {
			return
		}
		// With every order placed the stock suffices on average after the first
		// delivery, for as long as such insects live.
		after := s
		after.Batches = append(after.Batches[:1:1], came...)
		first := orders[0]
		after.On = first.Delivery
		after.Batches = ration.Live(f, s.Keeper, after.Batches, on, first.Delivery.AddDays(-1), func(civil.Date) ration.Use {
			u := steady(daily * s.Keeper.Share())(on)
			return u
		})
		until := orders[len(orders)-1].Next
		if gap := first.Next.Sub(first.Delivery); int(f.ShelfLife) >= 7 && gap <= 7 {
			if last := after.LastsTo(until); last.Before(until.AddDays(-1)) {
				t.Fatalf("used up on %s, before %s: %+v", last, until, orders)
			}
		}
		more := s
		more.Batches = []ration.Batch{{Came: s.Batches[0].Came, Count: count + float64(rapid.IntRange(1, 300).Draw(t, "more"))}}
		if now := more.Orders(to); now[0].Packs > first.Packs {
			t.Fatalf("more in stock, more ordered: %+v, %+v", now[0], first)
		}
	})
}
