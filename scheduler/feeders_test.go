package scheduler_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"nestround/scheduler"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// larder returns the lizard room with daily feedings of 6 to 8 crickets for
// each of Ada, Bert and Cleo: 21 a day, and 132 a week if one feeding in ten is
// left out. Crickets come on Fridays, in boxes of 50.
func larder() *books {
	feed := routine(husbandry.Feed, fixed(1, "05-01"), husbandry.Lapses)
	feed.ID, feed.Consumes, feed.Amounts.Usual = "feed", []string{"crickets"}, husbandry.Amount{From: 6, To: 8, Of: "crickets"}
	feed.For.Enclosures = nil
	b := lizardRoom(feed)
	b.Feeders = []husbandry.Feeder{{
		ID: "crickets", Name: "crickets", Pack: husbandry.Pack{Name: "box", Of: 50}, Deliveries: []time.Weekday{time.Friday}, Lead: 2, ShelfLife: 21, Safety: 2,
		Stock: 100, StockOn: day("05-10"),
	}}
	return b
}

func (b *books) allFed(from, to string) *books {
	for d := day(from); !d.After(day(to)); d = d.AddDays(1) {
		b.done(d.String(), tasks.NewKey("E07", "feed", d.String()), tasks.NewKey("E08", "feed", d.String()))
	}
	return b
}

func (b *books) counted(on string, n int) *books {
	return b.found(on, tasks.NewKey("crickets", tasks.Unplanned, "2027-"+on), tasks.Finding{Stock: &n})
}

func (b *books) ordered(on string, k tasks.Key, packs int) *books {
	return b.found(on, k, tasks.Finding{Ordered: &packs})
}

// Orders for Fri 14 May, seen on the Wednesday before.
func TestWhenToOrderLiveFood(t *testing.T) {
	const friday = tasks.Key("crickets/order/2027-05-14")
	for _, c := range []struct {
		words string
		books func() *books
		on    string
		want  string
		packs int
	}{
		{"on the day by which to order", larder, "05-12", "due 05-12 " + string(friday), 4},
		{"not before", larder, "05-11", "", 0},
		{"forgotten: the supplier may still accept the order", larder, "05-13", "overdue 05-12 " + string(friday), 5},
		{"forgotten until the day of delivery", larder, "05-14", "", 0},
		{"enough till the Friday after", func() *books { b := larder(); b.Feeders[0].Stock = 400; return b }, "05-12", "", 0},
		{"counted since, and more than expected", func() *books { return larder().counted("05-11", 400) }, "05-12", "", 0},
		{"counted since, and the count undone", func() *books {
			return larder().counted("05-11", 400).undo("05-11", "crickets/found/2027-05-11")
		}, "05-12", "due 05-12 " + string(friday), 4},
		{"counted twice that day", func() *books { return larder().counted("05-11", 400).counted("05-11", 40) }, "05-12", "due 05-12 " + string(friday), 5},
		{"never counted", func() *books { b := larder(); b.Feeders[0].StockOn = civil.Date{}; return b }, "05-12", "due 05-12 " + string(friday), 5},
		{"ordered as asked", func() *books { return larder().ordered("05-12", friday, 3) }, "05-12", "", 0},
		{"fewer ordered than asked: no further order", func() *books { return larder().ordered("05-12", friday, 1) }, "05-12", "", 0},
		{"ordered on Monday without a task", func() *books { return larder().ordered("05-10", "crickets/found/2027-05-10", 5) }, "05-12", "", 0},
		{"the order skipped", func() *books { return larder().skip("05-12", friday) }, "05-12", "", 0},
		{"ordered, and taken back", func() *books { return larder().ordered("05-12", friday, 3).undo("05-12", friday) }, "05-12", "due 05-12 " + string(friday), 4},
		{"put off", func() *books { return larder().later("05-12", friday, "05-13") }, "05-13", "due 05-13 " + string(friday), 5},
		{"put off past the delivery", func() *books { return larder().later("05-12", friday, "05-20") }, "05-13", "", 0},
		{"by its id in consumes", func() *books {
			b := larder()
			b.Feeders[0].Name = "house crickets"
			return b
		}, "05-12", "due 05-12 " + string(friday), 4},
		{"the routine has no amount", func() *books { b := larder(); b.Routines[0].Amounts = husbandry.Amounts{}; return b }, "05-12", "", 0},
		{"turned off", func() *books {
			b := larder()
			b.Routines = append(b.Routines, husbandry.Routine{ID: "none", Kind: husbandry.Order, Scope: husbandry.OfFeeder, Off: true})
			return b
		}, "05-12", "", 0},
		{"the animals are sold", func() *books {
			b := larder()
			for i := range b.Animals {
				b.Animals[i].Left = day("05-12")
			}
			return b
		}, "05-12", "", 0},
	} {
		p := c.books().plan(c.on, 0).of("crickets/")
		packs := 0
		if len(p) > 0 {
			packs = p[0].Packs
		}
		if p.String() != c.want || packs != c.packs {
			t.Errorf("%s: %v, %d packs, want %s, %d", c.words, p, packs, c.want, c.packs)
		}
	}
}

func TestTheWordsOfAnOrder(t *testing.T) {
	x := larder().allFed("05-01", "05-11").plan("05-12", 0).one(t, "crickets/")
	if x.Title != "Order crickets: 5 boxes of 50" || x.Do != "Order 5 boxes of 50" || x.Whom != "Crickets" {
		t.Errorf("%q, %q, %q", x.Title, x.Do, x.Whom)
	}
	if want := "For the delivery of Fri 14 May: about 58 in hand (100 counted Mon 10 May), 91 to 198 used in a week; the delivery after is on Fri 21 May"; x.Why != want {
		t.Errorf("why %q, want %q", x.Why, want)
	}
	b := larder()
	b.Feeders[0].Stock, b.Feeders[0].StockOn = 30, day("04-12")
	x = b.plan("05-12", 0).one(t, "crickets/")
	if want := "(last counted 12 April, count again)"; !strings.Contains(x.Why, want) {
		t.Errorf("why %q, want %q", x.Why, want)
	}
	if want := ". Used up about Wed 12 May, before it comes"; !strings.HasSuffix(x.Why, want) {
		t.Errorf("why %q, want %q", x.Why, want)
	}
}

// The use of a week follows from the feedings and their amounts, and from the
// records of feedings given and refused.
func TestUseInAWeek(t *testing.T) {
	use := func(b *books, on string) outlook.FeederStock {
		return outlook.FeederStocks(scheduler.NewDay(b.input(on, 20)))[0]
	}
	// 21 a day, nine in ten given: 132.
	if s := use(larder(), "05-12"); s.Week.Mean != 132 || s.Given != 0.9 || s.Factor != 1 || s.InHand.Mean != 58 {
		t.Errorf("nothing recorded: %+v", s)
	}
	all := larder().allFed("05-01", "05-30")
	all.Feeders[0].StockOn = day("05-30")
	s := use(all, "05-31")
	if s.Given < 0.96 || s.Week.Mean < 141 || s.InHand.Mean != 79 {
		t.Errorf("all given: %+v", s)
	}
	refusing := larder().allFed("05-01", "05-30")
	refusing.Feeders[0].StockOn = day("05-30")
	for d := day("05-03"); !d.After(day("05-30")); d = d.AddDays(1) {
		refusing.found(d.String(), tasks.NewKey("E08", "feed", d.String()), tasks.Finding{Refused: true})
	}
	if r := use(refusing, "05-31"); r.Given > 0.65 || r.InHand.Mean != 86 {
		t.Errorf("half refused: %+v", r)
	}
	half := larder().allFed("05-10", "05-17").counted("05-17", 0).counted("05-24", 0)
	half.Feeders[0].Stock = 74 // a week of seven times 21: half of that was used
	if h := use(half, "05-18"); h.Factor > 0.85 {
		t.Errorf("half as many leave the box: %+v", h)
	}
	bigger := larder()
	bigger.Animals[0].Gravid = day("05-11")
	bigger.Routines[0].Amounts.Gravid = husbandry.Amount{From: 13, To: 15, Of: "crickets"}
	if g := use(bigger, "05-12"); g.Week.Mean <= 150 {
		t.Errorf("Ada is gravid: %+v", g)
	}
	share := larder()
	share.Routines[0].Amounts.Usual = husbandry.Amount{From: 5, To: 5, Share: true}
	share.Feeders[0].Each = 0.1
	if u := use(share, "05-12"); u.Week.Mean != 0 {
		t.Errorf("of animals that nobody weighed: %+v", u)
	}
	// 5 % of 6 g are 0.3 g, which is three crickets: for three animals and
	// seven days, 57.
	share.weighs("05-11", "F03/w/1", 6).weighs("05-11", "M01/w/1", 6).weighs("05-11", "F04/w/1", 6)
	if u := use(share, "05-12"); u.Week.Mean != 57 {
		t.Errorf("a twentieth of their mass: %+v", u)
	}
}

// A feeding states the amount.
func TestFeedingsStateTheirAmount(t *testing.T) {
	why := func(b *books, on, key string) string { return b.plan(on, 0).one(t, key).Why }
	for _, c := range []struct{ words, got, want string }{
		{"two of them", why(larder(), "05-12", "E07/feed/2027-05-12"), "; 6-8 crickets each"},
		{"one alone", why(larder(), "05-12", "E08/feed/2027-05-12"), "; 6-8 crickets"},
		{"refused once", why(larder().found("05-11", "E08/feed/2027-05-11", tasks.Finding{Refused: true}), "05-12", "E08/feed/2027-05-12"), "; 6 crickets, less after a refusal"},
		{"refused twice", why(larder().found("05-10", "E08/feed/2027-05-10", tasks.Finding{Refused: true}).found("05-11", "E08/feed/2027-05-11", tasks.Finding{Refused: true}), "05-12", "E08/feed/2027-05-12"), "; 3 crickets, less after a refusal"},
		{"refused, and ate since", why(larder().found("05-10", "E08/feed/2027-05-10", tasks.Finding{Refused: true}).done("05-11", "E08/feed/2027-05-11"), "05-12", "E08/feed/2027-05-12"), "; 6-8 crickets"},
		{"one of two is gravid", func() string {
			b := larder()
			b.Animals[0].Gravid = day("05-11")
			b.Routines[0].Amounts.Gravid = husbandry.Amount{From: 9, To: 9, Of: "crickets"}
			return why(b, "05-12", "E07/feed/2027-05-12")
		}(), "; 9 crickets or 6-8 crickets each"},
		{"no amount", func() string {
			b := larder()
			b.Routines[0].Amounts = husbandry.Amounts{}
			return why(b, "05-12", "E08/feed/2027-05-12")
		}(), "11 feedings lapsed"},
	} {
		if !strings.HasSuffix(c.got, c.want) {
			t.Errorf("%s: %q, want %q", c.words, c.got, c.want)
		}
	}
}

// A keeper who does all tasks for a year, with every cricket counted one by
// one: the crickets last, few die, and the forecast use equals the real use.
func TestAYearOfCrickets(t *testing.T) {
	t.Parallel()
	for _, factor := range []float64{0.85, 1, 1.2} {
		rng := rand.New(rand.NewPCG(7, uint64(factor*100)))
		b := larder()
		b.Feeders[0].Stock = 150
		b.Began = day("05-10")
		boxes := map[civil.Date]float64{day("05-07"): 150} // indexed by the day of delivery
		var used, lacking, bought, died float64
		covered, weeks, usedBefore := 0, 0, 0.0
		var week outlook.Range
		for i := range 200 {
			on := day("05-10").AddDays(i)
			there := 0.0
			for came, n := range boxes {
				if on.Sub(came) >= 21 {
					died += n
					delete(boxes, came)
				} else if !came.After(on) {
					there += n
				}
			}
			if i > 0 && i%14 == 0 {
				n := int(there*(1+0.05*rng.NormFloat64()) + 0.5)
				b.found(on.String(), tasks.NewKey("crickets", tasks.Unplanned, on.String()), tasks.Finding{Stock: &n})
			}
			if i%7 == 0 {
				if i > 50 {
					weeks++
					if got := used + lacking - usedBefore; got >= float64(week.Low) && got <= float64(week.High) {
						covered++
					}
				}
				week, usedBefore = outlook.FeederStocks(scheduler.NewDay(b.input(on.String(), 0)))[0].Week, used+lacking
			}
			for _, x := range b.plan(on.String(), 0) {
				switch {
				case x.Kind == husbandry.Order:
					b.ordered(on.String(), x.Key, x.Packs)
					n := float64(x.Packs * 50)
					boxes[civil.MustParse(x.Key.Occurrence())] += n
					bought += n
				case x.Kind == husbandry.Feed && x.Status == tasks.Due && rng.Float64() < 0.92:
					b.done(on.String(), x.Key)
					take := 0.0
					for range map[husbandry.ID]int{"E07": 2, "E08": 1}[x.Subject] {
						take += float64(6+rng.IntN(3)) * factor
					}
					for came := on.AddDays(-21); !came.After(on); came = came.AddDays(1) {
						part := min(take, boxes[came])
						if part > 0 {
							boxes[came] -= part
							take -= part
							used += part
						}
					}
					lacking += take
				}
			}
		}
		told := fmt.Sprintf("%.2f for one: %.0f used, %.0f lacking, %.0f bought, %.0f died; %d of %d weeks within what was foretold", factor, used, lacking, bought, died, covered, weeks)
		t.Log(told)
		if lacking > 0 || died > 0.05*bought || covered < weeks*8/10 {
			t.Error(told)
		}
	}
}
