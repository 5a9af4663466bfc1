package scheduler_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	files "nestround/config/books"
	"regexp"
	"slices"
	"testing"
	"time"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"nestround/tasks/sample"
)

// colony simulates a colony: the real life of its lizards, and a keeper who
// does the tasks of the plan, sometimes late, and reports findings.
type colony struct {
	t       *testing.T
	rnd     *rand.Rand
	records *husbandry.Records
	entries []tasks.Entry
	on      civil.Date

	females []*dam
	broods  map[husbandry.ID]*brood // by the clutch's id
	plans   map[civil.Date]string   // plans as made on some days
	said    int

	laid, bound, hatched, late, young, pairs int
}

// dam is the real state of a female.
type dam struct {
	id     husbandry.ID
	pace   float64 // days between her clutches
	lays   civil.Date
	left   int  // remaining clutches of this season
	bound  bool // egg-bound: the next clutch does not come by itself
	eggs   int  // laid, but not found yet
	laidOn civil.Date
	father husbandry.ID // of the eggs of this season
	with   husbandry.ID // the male in her enclosure, with the day since
	since  civil.Date
}

// brood is the real state of a clutch: the day on which each egg hatches, none
// for dead eggs.
type brood struct {
	id    husbandry.ID
	days  []civil.Date
	told  int // number of young reported
	dead  int // number of eggs that will not hatch
	ended bool
}

const breedingDams = 20

func newColony(t *testing.T, seed uint64) *colony {
	c := &colony{t: t, rnd: rand.New(rand.NewPCG(seed, 7)), on: civil.New(2027, 1, 1), broods: make(map[husbandry.ID]*brood), plans: make(map[civil.Date]string)}
	r := &husbandry.Records{Called: files.Called(), Units: husbandry.Metric, Began: c.on, Species: sample.Species()[:1]}
	r.Species[0].Scientific, r.Species[0].Family = "Podarcis muralis", "Lacertidae"
	for _, x := range sample.Routines() {
		switch x.Kind {
		case husbandry.Pair, husbandry.GravidCheck, husbandry.LayWatch, husbandry.DigEggs, husbandry.SetTub, husbandry.HatchWatch, husbandry.FirstFeed, husbandry.Sexing:
			r.Routines = append(r.Routines, x)
		}
		if x.ID == "weigh-mother" {
			r.Routines = append(r.Routines, x)
		}
	}
	r.Rooms = []husbandry.Room{{ID: "R1"}}
	r.Incubators = []husbandry.Incubator{{ID: "I1", Room: "R1", Temperature: 28}}
	c.records = r
	for i := range breedingDams {
		// Ten are daughters of two of the males, so that the colony has
		// relatives.
		var mother, father husbandry.ID
		if i >= 10 && i < 20 {
			mother, father = husbandry.ID(fmt.Sprintf("F%02d", i%5)), husbandry.ID(fmt.Sprintf("M%02d", i%2))
		}
		c.addFemale(husbandry.ID(fmt.Sprintf("F%02d", i)), civil.Date{}, mother, father)
	}
	for i := range 8 {
		id := husbandry.ID(fmt.Sprintf("M%02d", i))
		home := c.home("B", string(id))
		r.Animals = append(r.Animals, husbandry.Animal{ID: id, Species: "wall-lizard", Sex: husbandry.Male, Count: 1, Enclosure: home, Breeding: true})
	}
	return c
}

func (c *colony) home(prefix, of string) husbandry.ID {
	id := husbandry.ID(prefix + "-" + of)
	c.records.Enclosures = append(c.records.Enclosures, husbandry.Enclosure{ID: id, Room: "R1", NestBox: &husbandry.NestBox{}})
	return id
}

func (c *colony) addFemale(id husbandry.ID, hatched civil.Date, mother, father husbandry.ID) {
	c.records.Animals = append(c.records.Animals, husbandry.Animal{ID: id, Species: "wall-lizard", Sex: husbandry.Female, Count: 1, Enclosure: c.home("E", string(id)),
		Breeding: true, Hatched: hatched, Mother: mother, Father: father})
	c.females = append(c.females, &dam{id: id, pace: 30 + 4*c.rnd.NormFloat64()})
}

func (c *colony) animal(id husbandry.ID) *husbandry.Animal {
	return &c.records.Animals[slices.IndexFunc(c.records.Animals, func(a husbandry.Animal) bool { return a.ID == id })]
}

func (c *colony) dam(id husbandry.ID) *dam {
	if i := slices.IndexFunc(c.females, func(d *dam) bool { return d.id == id }); i >= 0 {
		return c.females[i]
	}
	return nil
}

func (c *colony) say(k tasks.Key, f *tasks.Finding) {
	c.said++
	c.entries = append(c.entries, tasks.Entry{
		ID: fmt.Sprint("e", c.said), At: c.on.At(600, time.UTC).Add(time.Duration(c.said) * time.Millisecond), On: c.on, Via: tasks.ViaShell,
		Acts: []tasks.Act{{Text: fmt.Sprint(c.said), Task: k, Mark: tasks.MarkDone, Finding: f}},
	})
}

func (c *colony) chance(p float64) bool { return c.rnd.Float64() < p }

// live simulates a day: females lay, and a few die.
func (c *colony) live() {
	for _, d := range c.females {
		a := c.animal(d.id)
		if !a.Left.IsZero() {
			continue
		}
		if c.chance(.04 / 365) {
			a.Left = c.on // dead: her record says so
			continue
		}
		if d.left == 0 || d.bound || d.lays.IsZero() || c.on.Before(d.lays) {
			continue
		}
		d.eggs, d.laidOn = 3+c.rnd.IntN(5), c.on
		d.next()
		c.laid++
		if d.left > 0 {
			d.lays = c.on.AddDays(max(15, int(math.Round(d.pace+3*c.rnd.NormFloat64()))))
			d.bound = c.chance(.03)
		}
	}
}

func (d *dam) next() { d.left-- }

// partner matches the male in the reason of a pairing task.
var partner = regexp.MustCompile(`(?:best|planned|before) with (?:[^()]*\()?(M\d\d)`)

// paired checks the male in a plan against the pedigree. It computes the
// kinship from the definition, not by the program's method. It reports whether
// the keeper puts the male to her.
func (c *colony) paired(d *dam, x tasks.Task) bool {
	m := partner.FindStringSubmatch(x.Why)
	if m == nil {
		c.t.Fatalf("%s: %s is to be paired with nobody: %s", c.on, d.id, x.Why)
	}
	male := husbandry.ID(m[1])
	if male != x.Mate {
		c.t.Fatalf("%s: %s is to be paired with %s, and %q says %s", c.on, d.id, x.Mate, x.Why, male)
	}
	if !c.animal(male).Left.IsZero() {
		c.t.Fatalf("%s: %s is to be paired with %s, who is gone", c.on, d.id, male)
	}
	if f := c.kinship(d.id, male, 12); f > 0.125+1e-9 {
		c.t.Fatalf("%s: %s is to be paired with %s, kinship %.4f", c.on, d.id, male, f)
	}
	// The plan never names a male who is with another female. If two females
	// wait for one male today, the keeper takes one of them.
	for _, other := range c.females {
		switch {
		case other.with != male || other == d || !c.animal(other.id).Left.IsZero():
		case other.since == c.on:
			c.late++
			return false
		default:
			c.t.Fatalf("%s: %s is to be paired with %s, who is with %s since %s", c.on, d.id, male, other.id, other.since)
		}
	}
	d.with, d.since = male, c.on
	d.father = male
	c.pairs++
	return true
}

// kinship is the probability that a gene of a and a gene of b are identical by
// descent: Malécot's definition, computed along the recorded parents.
func (c *colony) kinship(a, b husbandry.ID, depth int) float64 {
	if a == "" || b == "" || depth == 0 {
		return 0
	}
	x, y := c.animal(a), c.animal(b)
	if a == b {
		return (1 + c.kinship(x.Mother, x.Father, depth-1)) / 2
	}
	// Replace the younger animal by its parents.
	if y.Hatched.After(x.Hatched) || y.Hatched == x.Hatched && y.Mother != "" && x.Mother == "" {
		x, y = y, x
	}
	return (c.kinship(x.Mother, y.ID, depth-1) + c.kinship(x.Father, y.ID, depth-1)) / 2
}

// mated begins the season of a female without a season.
func (c *colony) mated(d *dam) {
	if d.left > 0 || d.eggs > 0 || c.chance(.1) { // one in ten matings stays without eggs
		return
	}
	d.left, d.lays, d.bound = 1+c.rnd.IntN(3), c.on.AddDays(20+c.rnd.IntN(11)), c.chance(.03)
}

// find opens a clutch for eggs that the keeper found by chance.
func (c *colony) find(d *dam, k tasks.Key) {
	id := d.id + "-" + husbandry.ID(c.on.String())
	n := d.eggs
	b := &brood{id: id}
	for range n {
		if c.chance(.8) {
			b.days = append(b.days, d.laidOn.AddDays(int(math.Round(37.5+2*c.rnd.NormFloat64()))))
		} else {
			b.dead++
		}
	}
	slices.SortFunc(b.days, civil.Date.Compare)
	c.broods[id] = b
	d.eggs = 0
	c.say(k, &tasks.Finding{Laid: &n})
}

// keep does the tasks of the day's plan.
func (c *colony) keep(p []tasks.Task) {
	for _, x := range p {
		if x.Status == tasks.Upcoming || x.Status == tasks.Lapsed {
			continue
		}
		if !x.Pinned && c.chance(.12) {
			c.late++ // another day, perhaps
			continue
		}
		d := c.dam(x.Subject)
		switch {
		case x.Kind == husbandry.LayWatch && d != nil && d.eggs > 0:
			c.find(d, x.Key)
		case x.Kind == husbandry.LayWatch && x.Pinned:
			c.say(x.Key, nil)
			if d.bound { // the veterinarian helps
				d.bound, d.lays = false, c.on.AddDays(1)
				c.bound++
			}
		case x.Kind == husbandry.Pair && x.Routine == "pair":
			if !c.paired(d, x) {
				continue
			}
			f := &tasks.Finding{With: x.Mate}
			if c.chance(.6) {
				f.Mated = true
				c.mated(d)
			}
			c.say(x.Key, f)
		case x.Routine == herd.PartPair:
			d.with = ""
			c.say(x.Key, nil)
		case x.Kind == husbandry.GravidCheck && d != nil:
			f := &tasks.Finding{}
			if gravid := d.left > 0 && d.lays.Sub(c.on) < 15; gravid || d.eggs == 0 {
				f.Gravid = &gravid
			}
			c.say(x.Key, f)
			if x.Routine == herd.LookForEggs && d.eggs > 0 {
				c.find(d, tasks.NewKey(d.id, tasks.Unplanned, c.on.String()))
			}
		case x.Kind == husbandry.HatchWatch:
			c.watch(x)
		default:
			c.say(x.Key, nil)
		}
	}
	// The keeper also finds eggs by chance.
	for _, d := range c.females {
		if d.eggs > 0 && d.laidOn.Before(c.on) && c.chance(.3) && c.animal(d.id).Left.IsZero() {
			c.find(d, tasks.NewKey(d.id, tasks.Unplanned, c.on.String()))
		}
	}
}

// watch checks a tub.
func (c *colony) watch(x tasks.Task) {
	b := c.broods[x.Subject]
	if b == nil {
		c.t.Fatalf("%s: hatch watch of %s, which is no clutch", c.on, x.Subject)
	}
	out := 0
	for _, d := range b.days {
		if !d.After(c.on) {
			out++
		}
	}
	switch n := out - b.told; {
	case n > 0:
		b.told = out
		c.hatched += n
		c.say(x.Key, &tasks.Finding{Hatched: &n})
	case b.told == len(b.days) && x.Missed == husbandry.Alarms && x.Window != nil && c.on.After(x.Window.To) && b.dead > 0:
		n := b.dead
		b.dead, b.ended = 0, true
		c.say(x.Key, nil)
		c.say(tasks.NewKey(b.id, tasks.Unplanned, c.on.String()), &tasks.Finding{Dead: &n})
	default:
		c.say(x.Key, nil)
	}
}

func (c *colony) input(ahead int) scheduler.Input {
	return scheduler.Input{Records: c.records, History: tasks.Fold(c.entries), On: c.on, To: c.on.AddDays(ahead), Latitude: 48}
}

// TestAColonyOfThreeYears simulates twenty females and their daughters for
// three years, and checks invariants on each day.
func TestAColonyOfThreeYears(t *testing.T) {
	t.Parallel()
	const years = 3
	c := newColony(t, 11)
	limit := c.records.Species[0].Laying.Clutches
	end := c.on.AddMonths(12 * years)
	for ; c.on.Before(end); c.on = c.on.AddDays(1) {
		c.live()
		if m := c.on.Month(); (m >= time.October || m <= time.February) && c.on.Day()%5 != 0 {
			continue // nothing breeds, and the test is long enough
		}
		in := c.input(0)
		p := scheduler.Plan(in)
		facts := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: c.on})
		bySubject := make(map[husbandry.ID][]tasks.Task)
		for _, x := range p {
			bySubject[x.Subject] = append(bySubject[x.Subject], x)
		}
		for _, a := range facts.Animals {
			mine := bySubject[a.ID]
			if !a.PresentOn(c.on) && len(mine) > 0 {
				t.Fatalf("%s: %s is gone and asked for: %v", c.on, a.ID, mine[0].Key)
			}
			season := 0
			for _, l := range a.Laid {
				if l.Laid.Year() == c.on.Year() {
					season++
				}
			}
			for _, x := range mine {
				if x.Routine == "pair" && season >= limit {
					t.Fatalf("%s: %s has laid %d times this season and is to be paired", c.on, a.ID, season)
				}
			}
		}
		// The alarm comes on the day after a window ends, if young are still to
		// come or eggs were seen in her.
		var forecasts []outlook.ClutchForecast
		if c.on.Day()%3 == 0 {
			forecasts = outlook.ClutchForecasts(scheduler.NewDay(in))
		}
		for _, f := range forecasts {
			if f.WatchTo.IsZero() || !c.on.After(f.WatchTo) {
				continue
			}
			for _, need := range []husbandry.ID{"hatch-watch", herd.ReviewHatch} {
				done := need == herd.ReviewHatch && in.History.Outcome(tasks.NewKey(f.ID, need, "hatching")).Mark == tasks.MarkDone
				if !done && !slices.ContainsFunc(bySubject[f.ID], func(x tasks.Task) bool { return x.Routine == need }) {
					t.Fatalf("%s: clutch %s is past its window of %s, and no %s", c.on, f.ID, f.WatchTo, need)
				}
			}
		}
		for _, a := range facts.Animals {
			since := a.GravidOn(c.on)
			if since.IsZero() || !a.PresentOn(c.on) {
				continue
			}
			alarm := slices.ContainsFunc(bySubject[a.ID], func(x tasks.Task) bool { return x.Kind == husbandry.LayWatch && x.Pinned })
			if w := (herd.Plain{Latitude: 48}).Laying(facts, a); w.Known && c.on.After(w.To) && !alarm {
				t.Fatalf("%s: %s is past her window of %s with eggs seen in her, and no alarm: %v", c.on, a.ID, w.To, bySubject[a.ID])
			}
			// Wall lizards never carry eggs for so long, whatever the window.
			if c.on.Sub(since) > 50 && !alarm {
				t.Fatalf("%s: %s has carried eggs since %s, and no alarm", c.on, a.ID, since)
			}
		}
		// A clutch with young still to come has a task now or later.
		if c.on.Day()%10 == 5 {
			ahead := in
			ahead.To = c.on.AddDays(60)
			asked := make(map[husbandry.ID]bool)
			for _, x := range scheduler.Plan(ahead) {
				asked[x.Subject] = true
			}
			for _, cl := range facts.Clutches {
				if cl.Expecting() && !asked[cl.ID] {
					t.Fatalf("%s: clutch %s (laid %s) expects young, and nothing is asked of it in sixty days", c.on, cl.ID, cl.Laid)
				}
			}
			c.plans[c.on] = plan(p).String()
		}
		c.keep(p)
		if c.on.Month() == time.September && c.on.Day() == 1 {
			c.keepYoung()
		}
	}
	c.settled(end)
	// Every past plan can be made again from today's books.
	history := tasks.Fold(c.entries)
	for on, want := range c.plans {
		in := scheduler.Input{Records: c.records, History: history.Before(on), On: on, To: on, Latitude: 48}
		if got := plan(scheduler.Plan(in)).String(); got != want {
			t.Fatalf("the plan of %s, made again:\n%s\nwas\n%s", on, got, want)
		}
	}
	t.Logf("%d pairings, %d clutches, %d of them held back, %d young, %d tasks left for another day, %d kept", c.pairs, c.laid, c.bound, c.hatched, c.late, c.young)
	if c.pairs < breedingDams*years || c.laid < breedingDams*years || c.bound == 0 || c.hatched < 100*years {
		t.Errorf("the colony hardly lived: %+v", c)
	}
}

// keepYoung takes up to two daughters of the year into the colony.
func (c *colony) keepYoung() {
	facts := herd.Derive(herd.Input{Records: c.records, History: tasks.Fold(c.entries), On: c.on})
	kept := 0
	for _, cl := range facts.Clutches {
		if kept == 2 || cl.Mother == "" || len(cl.HatchedOn) == 0 || cl.Laid.Year() != c.on.Year() {
			continue
		}
		kept++
		c.young++
		c.addFemale(husbandry.ID(fmt.Sprintf("Y%d-%d", c.on.Year(), kept)), cl.HatchedOn[0].On, cl.Mother, c.dam(cl.Mother).father)
		c.records.Animals[len(c.records.Animals)-1].Acquired = c.on
	}
}

// settled accounts for every egg at the end.
func (c *colony) settled(end civil.Date) {
	facts := herd.Derive(herd.Input{Records: c.records, History: tasks.Fold(c.entries), On: end})
	for _, cl := range facts.Clutches {
		if cl.Laid.AddDays(120).After(end) {
			continue
		}
		if cl.Expecting() {
			c.t.Errorf("clutch %s of %s is still %s: %d eggs, %d hatched, %d dead", cl.ID, cl.Laid, cl.State, cl.Eggs, cl.Hatched, cl.Lost)
		}
		b := c.broods[cl.ID]
		if b == nil {
			c.t.Errorf("clutch %s was never laid", cl.ID)
		} else if cl.Hatched != len(b.days) || cl.Eggs != cl.Hatched+cl.Lost {
			c.t.Errorf("clutch %s: %d eggs, %d hatched, %d dead; %d really hatched", cl.ID, cl.Eggs, cl.Hatched, cl.Lost, len(b.days))
		}
	}
}
