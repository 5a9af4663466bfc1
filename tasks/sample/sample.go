// Package sample generates books of any size, with years of history, for
// benchmarks and property tests.
//
// Start with [Make]. The books are plausible, not real: three species with
// rounded figures, a room for each forty enclosures, a male and two females in
// each enclosure, and a keeper who seldom forgets a task. The same arguments
// give the same colony. The marks use the keys that the scheduler gives its
// tasks. The program itself does not use this package.
package sample

import (
	"fmt"
	"math/rand/v2"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Colony has generated books with their history, as of a day.
type Colony struct {
	Records *husbandry.Records
	Entries []tasks.Entry // sorted by time
	On      civil.Date
}

// mostActs is the most marks of a colony's history. A facility of 2,000
// enclosures has about a million marks in ten years, because one "done" may
// cover a room. Beyond the limit the daily marks of the oldest years are left
// out, and findings are kept.
const mostActs = 1_000_000

// Make returns a colony with this number of enclosures and years of history
// before 15 June 2027.
func Make(enclosures, years int, seed uint64) Colony {
	m := &maker{
		rnd: rand.New(rand.NewPCG(seed, 27)),
		on:  civil.MustParse("2027-06-15"),
	}
	m.began = m.on.AddDays(-365 * years)
	m.days = make([][]tasks.Act, m.on.Sub(m.began))
	m.records(enclosures)
	perDay := float64(enclosures) * 2.5
	m.daily = m.began
	if over := perDay*float64(len(m.days)) - mostActs; over > 0 {
		m.daily = m.began.AddDays(int(over / perDay))
	}
	for i := range m.rec.Enclosures {
		m.routineWork(&m.rec.Enclosures[i], m.rec.Species[i%len(m.rec.Species)].ID)
	}
	for i := range m.rec.Animals {
		m.animalWork(&m.rec.Animals[i])
	}
	c := Colony{Records: m.rec, On: m.on}
	for i, acts := range m.days {
		if len(acts) == 0 {
			continue
		}
		day := m.began.AddDays(i)
		c.Entries = append(c.Entries, tasks.Entry{
			ID: "sample-" + day.String(), At: day.At(20*60, time.UTC), On: day, Via: tasks.ViaShell, Acts: acts,
		})
	}
	return c
}

type maker struct {
	rnd       *rand.Rand
	rec       *husbandry.Records
	on, began civil.Date
	daily     civil.Date // first day with daily marks
	days      [][]tasks.Act
}

func (m *maker) say(day civil.Date, key tasks.Key, mark tasks.Verb, f *tasks.Finding) {
	if i := day.Sub(m.began); i >= 0 && i < len(m.days) {
		m.days[i] = append(m.days[i], tasks.Act{Text: "sample " + string(key), Task: key, Mark: mark, Finding: f})
	}
}

// Species returns the colony's care sheets. The durations of the wall lizard
// are from Ji & Braña 1999 (Comp Biochem Physiol A 124:205-213), those of the
// brown anole from Warner et al. 2012 (Biol J Linn Soc 105:25-41). The 52 days
// of the leopard gecko are from Wise et al. 2009 (Anat Rec 292:1198-1212, the
// 28 °C from memory). All other figures are common practice, rounded.
func Species() []husbandry.Species {
	return []husbandry.Species{
		{
			ID: "wall-lizard", Name: "Wall lizard", JuvenileFrom: 14, SubadultFrom: 120, AdultFrom: 360,
			Incubation: husbandry.Incubation{Points: []husbandry.IncubationPoint{
				{Temperature: 26, Days: 46.8, Source: "Ji & Braña 1999"}, {Temperature: 29, Days: 33.8, Source: "Ji & Braña 1999"}, {Temperature: 32, Days: 27.4, Source: "Ji & Braña 1999"},
			}, SafeFrom: 24, SafeTo: 32},
			Laying:    husbandry.Laying{AfterMating: husbandry.Span{From: 20, To: 30}, Interval: husbandry.Span{From: 24, To: 36}, Clutches: 3},
			Pairing:   husbandry.PairingSeason{FromMonth: time.March, FromDay: 15, UntilMonth: time.June, UntilDay: 30},
			FirstFeed: husbandry.Span{From: 2, To: 7}, SexableAt: 120,
		},
		{
			ID: "leopard-gecko", Name: "Leopard gecko", JuvenileFrom: 14, SubadultFrom: 120, AdultFrom: 300,
			Incubation: husbandry.Incubation{Points: []husbandry.IncubationPoint{{Temperature: 28, Days: 52, Source: "Wise et al. 2009"}}, Days: husbandry.Span{From: 42, To: 84}},
			Laying:     husbandry.Laying{AfterMating: husbandry.Span{From: 15, To: 30}, Interval: husbandry.Span{From: 14, To: 21}, Clutches: 6},
			Pairing:    husbandry.PairingSeason{FromMonth: time.January, FromDay: 15, UntilMonth: time.July, UntilDay: 15},
			FirstFeed:  husbandry.Span{From: 3, To: 7}, SexableAt: 90,
		},
		{
			ID: "brown-anole", Name: "Brown anole", JuvenileFrom: 7, SubadultFrom: 90, AdultFrom: 210,
			Incubation: husbandry.Incubation{Points: []husbandry.IncubationPoint{
				{Temperature: 26, Days: 35.9, Source: "Warner et al. 2012"}, {Temperature: 28, Days: 30.4, Source: "Warner et al. 2012"}, {Temperature: 30, Days: 25.8, Source: "Warner et al. 2012"},
			}},
			Laying:  husbandry.Laying{AfterMating: husbandry.Span{From: 10, To: 24}, Interval: husbandry.Span{From: 7, To: 14}, Clutches: 15},
			Pairing: husbandry.PairingSeason{FromMonth: time.March, FromDay: 1, UntilMonth: time.September, UntilDay: 15},
		},
	}
}

// Routines returns routines of every cadence: feeding and supplements of the
// care sheets, then the common routines.
func Routines() []husbandry.Routine {
	var list []husbandry.Routine
	from := civil.MustParse("2000-01-01")
	for _, s := range []husbandry.ID{"wall-lizard", "leopard-gecko", "brown-anole"} {
		is := husbandry.Selector{Species: []husbandry.ID{s}}
		young, grown, laying := is, is, is
		young.Stages = []husbandry.Stage{husbandry.Hatchling, husbandry.Juvenile, husbandry.Subadult}
		grown.Stages = []husbandry.Stage{husbandry.Adult}
		laying.States = []husbandry.State{husbandry.Gravid, husbandry.PostLaying}
		feed := func(what husbandry.ID, sel husbandry.Selector, every husbandry.Days, from civil.Date) husbandry.Routine {
			return husbandry.Routine{ID: s + "." + what, Kind: husbandry.Feed, For: sel, Part: husbandry.Evening, Minutes: 3, Missed: husbandry.Lapses,
				Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Every: every, From: from}}
		}
		dust := func(what husbandry.ID, title string, nth int, gap husbandry.Days) husbandry.Routine {
			return husbandry.Routine{ID: s + "." + what, Kind: husbandry.Supplement, Title: title, For: is, Part: husbandry.Evening, Minutes: 1, Missed: husbandry.Lapses,
				Cadence: husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: nth, MinGap: gap}}
		}
		sheet := []husbandry.Routine{
			feed("feed-young", young, 1, from), feed("feed-adult", grown, 2, from), feed("feed-laying", laying, 2, from.AddDays(1)),
			dust("calcium", "Dust with plain calcium", 2, 1), dust("calcium-d3", "Dust with calcium and vitamin D3", 4, 7),
		}
		for i := range sheet {
			sheet[i].Origin = husbandry.Sheet
		}
		list = append(list, sheet...)
	}
	fixed := func(n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.Fixed, Every: n, From: from}
	}
	since := func(n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.SinceLast, Every: n}
	}
	after := func(e husbandry.Event, n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.Anchored, Event: e, Offset: n}
	}
	within := func(w husbandry.WindowName, n husbandry.Days) husbandry.Cadence {
		return husbandry.Cadence{Pattern: husbandry.Windowed, Window: w, Every: n}
	}
	females := husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Female}}
	breeding := females
	breeding.States = []husbandry.State{husbandry.Breeding}
	common := []husbandry.Routine{
		{ID: "water", Kind: husbandry.Water, Cadence: fixed(1), Minutes: 1, Missed: husbandry.Lapses},
		{ID: "clean-spot", Kind: husbandry.Clean, Cadence: since(2), After: 1, Minutes: 2, Missed: husbandry.Stays},
		{ID: "gut-load", Kind: husbandry.GutLoad, Cadence: husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: 1, Lead: 2, MinGap: 2},
			After: 1, Part: husbandry.Evening, Minutes: 10, Missed: husbandry.Lapses},
		{ID: "clean-deep", Kind: husbandry.Clean, Title: "Deep clean", Cadence: since(60), Before: 7, After: 7, Part: husbandry.Midday, Minutes: 30, Missed: husbandry.Stays},
		{ID: "lamp-change", Kind: husbandry.LampChange, For: husbandry.Selector{Lamp: true}, Cadence: since(270), After: 14, Minutes: 10, Missed: husbandry.Stays},
		{ID: "nest-top-up", Kind: husbandry.NestTopUp, For: husbandry.Selector{NestBox: true}, Cadence: since(3), Before: 1, After: 1, Minutes: 3, Missed: husbandry.Stays},
		{ID: "weigh", Kind: husbandry.Weigh, Cadence: since(30), Before: 3, After: 3, Part: husbandry.Evening, Minutes: 3, Missed: husbandry.Stays},
		{ID: "weigh-mother", Kind: husbandry.Weigh, For: females, Cadence: after(husbandry.EventLaid, 3), Before: 1, After: 2, Part: husbandry.Evening, Minutes: 3, Missed: husbandry.Stays},
		{ID: "pair", Kind: husbandry.Pair, For: breeding, Cadence: within(husbandry.PairingWindow, 7), After: 2, Minutes: 15, Missed: husbandry.Lapses},
		{ID: "gravid-check", Kind: husbandry.GravidCheck, For: females, Cadence: within(husbandry.GravidWindow, 5), After: 2, Part: husbandry.Evening, Minutes: 4, Missed: husbandry.Lapses},
		{ID: "lay-watch", Kind: husbandry.LayWatch, For: females, Cadence: within(husbandry.LayWindow, 1), Minutes: 3, Missed: husbandry.Alarms},
		{ID: "dig-eggs", Kind: husbandry.DigEggs, Cadence: after(husbandry.EventLaid, 0), Part: husbandry.Evening, Minutes: 10, Missed: husbandry.Stays},
		{ID: "set-tub", Kind: husbandry.SetTub, Cadence: after(husbandry.EventLaid, 0), Part: husbandry.Evening, Minutes: 15, Missed: husbandry.Stays},
		{ID: "tub-check", Kind: husbandry.TubCheck, Cadence: since(7), Before: 2, After: 2, Minutes: 5, Missed: husbandry.Stays},
		{ID: "hatch-watch", Kind: husbandry.HatchWatch, Cadence: within(husbandry.HatchWindow, 1), Minutes: 3, Missed: husbandry.Alarms},
		{ID: "first-feed", Kind: husbandry.FirstFeed, Cadence: after(husbandry.EventHatched, 2), After: 3, Minutes: 5, Missed: husbandry.Stays},
		{ID: "weigh-hatchlings", Kind: husbandry.Weigh, Cadence: after(husbandry.EventHatched, 7), After: 2, Minutes: 5, Missed: husbandry.Stays},
		{ID: "sexing", Kind: husbandry.Sexing, Cadence: after(husbandry.EventHatched, 120), After: 14, Part: husbandry.Evening, Minutes: 10, Missed: husbandry.Stays},
		{ID: "empty-bins", Kind: husbandry.Own, Scope: husbandry.OfRoom, Title: "Empty the bins", Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Monday}}, Minutes: 5, Missed: husbandry.Stays},
		{ID: "order-crickets", Kind: husbandry.Own, Scope: husbandry.OfKeeper, Title: "Order crickets", Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, MonthDays: []int{1, 15, 31}}, Minutes: 5, Missed: husbandry.Stays},
	}
	for i := range common {
		common[i].Origin = husbandry.Common
	}
	list = append(list, common...)
	for i := range list {
		if list[i].Scope == "" {
			list[i].Scope = list[i].Kind.Scope()
		}
		if list[i].Part == "" {
			list[i].Part = husbandry.Morning
		}
	}
	return list
}

func (m *maker) records(n int) {
	m.rec = &husbandry.Records{Units: husbandry.Metric, Began: m.began, Species: Species(), Routines: Routines()}
	r := m.rec
	for i := range n {
		room := husbandry.ID(fmt.Sprintf("R%d", i/40+1))
		rack := husbandry.ID(fmt.Sprintf("K%d", i/10+1))
		if i%40 == 0 {
			r.Rooms = append(r.Rooms, husbandry.Room{ID: room, Name: fmt.Sprintf("Room %d", i/40+1)})
			incubator := husbandry.ID(fmt.Sprintf("I%d", i/40+1))
			r.Incubators = append(r.Incubators, husbandry.Incubator{ID: incubator, Room: room, Temperature: 28, Swing: husbandry.Celsius(m.rnd.IntN(2))})
		}
		if i%10 == 0 {
			r.Racks = append(r.Racks, husbandry.Rack{ID: rack, Room: room})
		}
		e := husbandry.Enclosure{ID: husbandry.ID(fmt.Sprintf("E%04d", i+1)), Room: room, Rack: rack, NestBox: &husbandry.NestBox{Substrate: "sand"}}
		if i%3 == 0 {
			e.Lamp = &husbandry.Lamp{Fitted: m.on.AddDays(-m.rnd.IntN(300))}
		}
		r.Enclosures = append(r.Enclosures, e)
		species := r.Species[i%len(r.Species)].ID
		hatched := m.began.AddDays(-400 - m.rnd.IntN(300))
		for j, sex := range []husbandry.Sex{husbandry.Male, husbandry.Female, husbandry.Female} {
			a := husbandry.Animal{
				ID: husbandry.ID(fmt.Sprintf("%c%04d", "MFG"[j], i+1)), Name: names[m.rnd.IntN(len(names))], Species: species, Sex: sex,
				Count: 1, Enclosure: e.ID, Hatched: hatched, Breeding: j < 2,
			}
			if j == 2 && i%7 == 0 {
				a.Sex, a.Hatched = husbandry.Unsexed, m.on.AddDays(-40-m.rnd.IntN(60))
			}
			r.Animals = append(r.Animals, a)
		}
	}
}

var names = []string{"Ada", "Bert", "Cleo", "Dot", "Edda", "Falk", "Gisa", "Hugo", "Ines", "Jost", "Kira", "Lutz"}

// done marks a task as done, and forgets one task in twenty.
func (m *maker) done(day civil.Date, key tasks.Key, f *tasks.Finding) {
	if day.Before(m.daily) || m.rnd.IntN(20) == 0 {
		return
	}
	m.say(day, key, tasks.MarkDone, f)
}

func (m *maker) routineWork(e *husbandry.Enclosure, species husbandry.ID) {
	epoch := civil.MustParse("2000-01-01")
	lastClean, lastTopUp := civil.Date{}, civil.Date{}
	for day := m.daily; day.Before(m.on); day = day.AddDays(1) {
		m.done(day, tasks.NewKey(e.ID, "water", day.String()), nil)
		if day.Sub(epoch)%2 == 0 {
			var f *tasks.Finding
			if m.rnd.IntN(40) == 0 {
				f = &tasks.Finding{Refused: true}
			}
			m.done(day, tasks.NewKey(e.ID, species+".feed-adult", day.String()), f)
			if day.Sub(epoch)%4 == 0 {
				m.done(day, tasks.NewKey(e.ID, species+".calcium", day.String()), nil)
			}
		}
		m.since(e.ID, "clean-spot", day, 2, &lastClean)
		m.since(e.ID, "nest-top-up", day, 3, &lastTopUp)
	}
}

// since marks the tasks of a since-last routine, each on its day or a day late.
func (m *maker) since(subject, routine husbandry.ID, day civil.Date, every int, last *civil.Date) {
	if !last.IsZero() && (day.Sub(*last) < every || m.rnd.IntN(8) == 0) {
		return
	}
	occurrence := "first"
	if !last.IsZero() {
		occurrence = "after-" + last.String()
	}
	m.say(day, tasks.NewKey(subject, routine, occurrence), tasks.MarkDone, nil)
	*last = day
}

func (m *maker) animalWork(a *husbandry.Animal) {
	last := civil.Date{}
	weight := husbandry.Grams(30 + m.rnd.IntN(40))
	for day := civil.Max(m.began, a.Hatched).AddDays(m.rnd.IntN(30)); day.Before(m.on); day = day.AddDays(30) {
		occurrence := "first"
		if !last.IsZero() {
			occurrence = "after-" + last.String()
		}
		g := weight + husbandry.Grams(m.rnd.IntN(5))
		m.say(day, tasks.NewKey(a.ID, "weigh", occurrence), tasks.MarkDone, &tasks.Finding{Weighs: &g})
		last = day
	}
	if a.Sex != husbandry.Female || !a.Breeding {
		return
	}
	for year := m.began.Year(); year <= m.on.Year(); year++ {
		day := civil.New(year, time.April, 10).AddDays(m.rnd.IntN(20))
		m.say(day, tasks.NewKey(a.ID, "pair", day.String()), tasks.MarkDone, &tasks.Finding{Mated: true})
		for range 3 {
			if day = day.AddDays(25 + m.rnd.IntN(6)); day.Before(m.began) || !day.Before(m.on) {
				break
			}
			m.clutch(a.ID, day)
		}
	}
}

// clutch generates the findings of one clutch, up to the day of the books.
func (m *maker) clutch(mother husbandry.ID, laid civil.Date) {
	eggs, slugs := 2+m.rnd.IntN(5), m.rnd.IntN(2)
	m.say(laid, tasks.NewKey(mother, "lay-watch", laid.String()), tasks.MarkDone, &tasks.Finding{Laid: &eggs, Slugs: &slugs})
	id := mother + "-" + husbandry.ID(laid.String())
	m.say(laid, tasks.NewKey(id, "set-tub", "laid"), tasks.MarkDone, nil)
	m.say(laid.AddDays(3), tasks.NewKey(mother, "weigh-mother", "laid-"+string(id)), tasks.MarkDone, nil)
	hatched := laid.AddDays(36 + m.rnd.IntN(4))
	m.say(hatched, tasks.NewKey(id, "hatch-watch", hatched.String()), tasks.MarkDone, &tasks.Finding{Hatched: &eggs})
	for _, next := range []struct {
		routine husbandry.ID
		days    int
	}{{"first-feed", 3}, {"weigh-hatchlings", 7}, {"sexing", 120}} {
		m.say(hatched.AddDays(next.days), tasks.NewKey(id, next.routine, "hatched"), tasks.MarkDone, nil)
	}
}
