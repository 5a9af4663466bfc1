package demobooks

import (
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// habit is work that the keeper did repeatedly before the demo begins.
type habit struct {
	routine  husbandry.ID
	subjects []husbandry.ID
	part     husbandry.Part
	on       func(day, today civil.Date, nth int) bool // nth: index of the subject
	since    int                                       // days before today of the first time
	until    int                                       // days before today of the last time, 1 for yesterday
	found    func(day, today civil.Date, nth int) *tasks.Finding
}

// The first and the last days of the work in the daybook, in days before today.
// Daily work begins with the books. Work with longer intervals begins earlier,
// because it was copied from older notes on paper.
const (
	daily  = 8
	paper  = 21
	latest = 1
)

// The days from which the care sheets count feedings every second day. Each
// such feeding counts from one of these days.
var (
	evenDays = civil.New(2000, time.January, 1)
	oddDays  = civil.New(2000, time.January, 2)
)

// habits are the keeper's habits, in the order of a round. Some work is missing
// on purpose, so that the demo has something to show: Saffron's nest box for
// six days, the last feeding of Basalt and Thicket, and yesterday's feeding of
// Schist.
var habits = []habit{
	{routine: "hatch-watch", subjects: ids("K02"), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "hatch-watch", subjects: ids("K01"), part: husbandry.Morning, on: ago(16), since: paper, until: latest, found: hatched(2)},
	{routine: "lay-watch", subjects: ids("F02"), part: husbandry.Morning, on: every(1), since: daily, until: latest, found: digging},
	{routine: "tub-check", subjects: ids("K00", "K02", "K04"), part: husbandry.Morning, on: staggered(7), since: paper, until: latest, found: added(3, 5)},
	{routine: "tub-check", subjects: ids("K05", "K06", "K07"), part: husbandry.Morning, on: staggered(7), since: 12, until: latest, found: firstWeighed(412, added(3, 5))},
	{routine: "incubator-minmax", subjects: ids(tasks.TheKeeper), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "water", subjects: ids("A1", "A2", "A3", "A4", "B1", "B2", "B3", "V1", "V2", "C1", "C2", "C3"), part: husbandry.Morning,
		on: every(1), since: daily, until: latest},
	{routine: "clean-spot", subjects: ids("A1", "A2", "A3", "A4", "B1", "B2", "B3", "V1", "V2", "C1", "C2", "C3"), part: husbandry.Morning,
		on: staggered(2), since: daily, until: latest},
	{routine: "nest-top-up", subjects: ids("A1"), part: husbandry.Morning, on: every(3), since: paper, until: 6, found: added(40, 60)},
	{routine: "nest-top-up", subjects: ids("A2", "C1"), part: husbandry.Morning, on: staggered(3), since: paper, until: latest, found: added(40, 60)},
	{routine: "nest-top-up", subjects: ids("V1", "B2"), part: husbandry.Morning, on: staggered(4), since: paper, until: latest, found: added(120, 180)},

	{routine: "bearded-dragon.feed-young", subjects: ids("B3"), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "bearded-dragon.feed-adult", subjects: ids("B1", "B2"), part: husbandry.Morning, on: fixed(2, oddDays), since: daily, until: latest},
	{routine: "bearded-dragon.greens", subjects: ids("B1", "B2"), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "veiled-chameleon.feed-adult", subjects: ids("V1"), part: husbandry.Morning, on: fixed(2, evenDays), since: daily, until: latest},
	{routine: "veiled-chameleon.feed-adult", subjects: ids("V2"), part: husbandry.Morning, on: fixed(2, evenDays), since: daily, until: latest + 2},
	{routine: "wall-lizard.feed-adult", subjects: ids("C1"), part: husbandry.Morning, on: fixed(2, oddDays), since: daily, until: latest},
	{routine: "wall-lizard.feed-laying", subjects: ids("C1"), part: husbandry.Morning, on: fixed(2, evenDays), since: daily, until: latest},
	{routine: "wall-lizard.feed-adult", subjects: ids("C3"), part: husbandry.Morning, on: fixed(2, oddDays), since: daily, until: latest + 2},
	{routine: "wall-lizard.feed-subadult", subjects: ids("C2"), part: husbandry.Morning,
		on:    weekdays(time.Monday, time.Tuesday, time.Thursday, time.Friday, time.Saturday),
		since: daily, until: latest},
	{routine: "leopard-gecko.feed-young", subjects: ids("A4"), part: husbandry.Evening, on: every(1), since: daily, until: latest},
	{routine: "leopard-gecko.feed-adult", subjects: ids("A1", "A2"), part: husbandry.Evening, on: fixed(2, evenDays), since: daily, until: latest},
	{routine: "leopard-gecko.feed-laying", subjects: ids("A1", "A2"), part: husbandry.Evening, on: fixed(2, oddDays), since: daily, until: latest},
	{routine: "leopard-gecko.feed-adult", subjects: ids("A3"), part: husbandry.Evening, on: fixed(2, evenDays), since: daily, until: latest + 2, found: refused},

	{routine: "leopard-gecko.calcium", subjects: ids("A1", "A2", "A4"), part: husbandry.Evening, on: every(1), since: daily, until: latest},
	{routine: "leopard-gecko.calcium-d3", subjects: ids("A1", "A2", "A3", "A4"), part: husbandry.Evening, on: ago(9), since: paper, until: latest},
	{routine: "leopard-gecko.multivitamin", subjects: ids("A1", "A2", "A3", "A4"), part: husbandry.Evening, on: ago(10), since: paper, until: latest},
	{routine: "bearded-dragon.calcium", subjects: ids("B1", "B2", "B3"), part: husbandry.Morning, on: fixed(2, oddDays), since: daily, until: latest},
	{routine: "bearded-dragon.calcium-d3", subjects: ids("B1", "B2", "B3"), part: husbandry.Morning, on: ago(11), since: paper, until: latest},
	{routine: "bearded-dragon.multivitamin", subjects: ids("B1", "B2", "B3"), part: husbandry.Morning, on: ago(9), since: paper, until: latest},
	{routine: "veiled-chameleon.calcium", subjects: ids("V1"), part: husbandry.Morning, on: fixed(2, evenDays), since: daily, until: latest},
	{routine: "veiled-chameleon.calcium-d3", subjects: ids("V1", "V2"), part: husbandry.Morning, on: ago(12), since: paper, until: latest,
		found: index(3.1, 3.0, 3.2, 2.4, 2.9, 2.7, 2.8)},
	{routine: "veiled-chameleon.multivitamin", subjects: ids("V1", "V2"), part: husbandry.Morning, on: ago(10), since: paper, until: latest},
	{routine: "wall-lizard.calcium", subjects: ids("C1"), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "wall-lizard.calcium-d3", subjects: ids("C1", "C2", "C3"), part: husbandry.Morning, on: ago(11), since: paper, until: latest},
	{routine: "wall-lizard.multivitamin", subjects: ids("C1", "C2", "C3"), part: husbandry.Morning, on: ago(9), since: paper, until: latest},

	{routine: "veiled-chameleon.mist-morning", subjects: ids("V1", "V2"), part: husbandry.Morning, on: every(1), since: daily, until: latest},
	{routine: "veiled-chameleon.mist-evening", subjects: ids("V1", "V2"), part: husbandry.Evening, on: every(1), since: daily, until: latest},
	{routine: "wall-lizard.mist", subjects: ids("C1", "C2", "C3"), part: husbandry.Morning, on: fixed(2, evenDays), since: daily, until: latest},
	{routine: "gut-load", subjects: ids(tasks.TheKeeper), part: husbandry.Evening, on: every(2), since: daily, until: latest},
	{routine: "light-step", subjects: ids("south"), part: husbandry.Evening, on: ago(daily), since: daily, until: latest},
	{routine: tasks.Unplanned, subjects: ids("small-crickets", "crickets"), part: husbandry.Evening, on: ago(7), since: daily, until: latest, found: ordered(1, 2)},
	{routine: tasks.Unplanned, subjects: ids("small-crickets", "crickets"), part: husbandry.Morning, on: ago(1), since: daily, until: latest, found: counted(210, 460)},

	{routine: "lamp-meter", subjects: ids("B1", "B2", "B3", "V1", "V2", "C1", "C2"), part: husbandry.Morning, on: ago(12), since: paper, until: latest},
	{routine: "scale-check", subjects: ids(tasks.TheKeeper), part: husbandry.Morning, on: ago(13), since: paper, until: latest},
	{routine: "faecal-stock", subjects: ids("A1"), part: husbandry.Morning, on: ago(17), since: paper, until: latest},

	{routine: "weigh-adult", subjects: ids("F01", "F02", "M01", "M02", "F03", "F04", "M03", "M04", "F05", "F06", "G03", "F07"), part: husbandry.Evening,
		on: spread(paper, 12), since: paper, until: latest,
		found: weighs(61.4, 66.0, 72.3, 412, 385, 118, 164, 7.1, 6.2, 5.8, 3.1, 6.0)},
	{routine: "weigh-gravid", subjects: ids("F02"), part: husbandry.Evening, on: ago(2), since: paper, until: latest, found: weighs(68.5)},
	{routine: "weigh-young", subjects: ids("G01", "G02"), part: husbandry.Evening, on: staggered(7), since: paper - 7, until: latest,
		found: growing([]float64{2.8, 2.9}, []float64{11.8, 12.4, 18.2})},
	{routine: "weigh-mother", subjects: ids("F01"), part: husbandry.Evening, on: ago(10), since: paper, until: latest, found: weighs(56.9)},
	{routine: "weigh-mother", subjects: ids("F02"), part: husbandry.Evening, on: ago(16), since: paper, until: latest, found: weighs(59.7)},
	{routine: "weigh-mother", subjects: ids("F05"), part: husbandry.Evening, on: ago(11), since: paper, until: latest, found: weighs(5.1)},
	{routine: "gravid-check", subjects: ids("F02"), part: husbandry.Evening, on: ago(9), since: paper, until: latest, found: gravid(true)},
	{routine: "gravid-check", subjects: ids("F06"), part: husbandry.Evening, on: ago(4), since: paper, until: latest, found: gravid(false)},
}

// History returns the sample keeper's entries of the three weeks before today:
// one each morning and evening, oldest first. The occurrence of a task is the
// day on which it was done.
func History(today civil.Date) []tasks.Entry {
	var entries []tasks.Entry
	for ago := paper; ago >= latest; ago-- {
		day := today.AddDays(-ago)
		for _, part := range []husbandry.Part{husbandry.Morning, husbandry.Evening} {
			e := tasks.Entry{
				ID:  "sample-" + day.String() + "-" + string(part),
				At:  day.At(said[part], time.UTC),
				On:  day,
				Via: tasks.ViaPage,
			}
			for _, h := range habits {
				if h.part == part && ago <= h.since && ago >= h.until {
					e.Acts = append(e.Acts, h.acts(day, today)...)
				}
			}
			if len(e.Acts) > 0 {
				entries = append(entries, e)
			}
		}
	}
	return entries
}

// said is the time in UTC at which a round is marked. At that time, UTC and the
// sample books' zone have the same date.
var said = map[husbandry.Part]civil.TimeOfDay{husbandry.Morning: 6*60 + 10, husbandry.Evening: 18*60 + 40}

func (h habit) acts(day, today civil.Date) []tasks.Act {
	var acts []tasks.Act
	for i, subject := range h.subjects {
		if !h.on(day, today, i) {
			continue
		}
		a := tasks.Act{Text: "done", Task: tasks.NewKey(subject, h.routine, day.String()), Mark: tasks.MarkDone}
		if h.found != nil {
			a.Finding = h.found(day, today, i)
		}
		acts = append(acts, a)
	}
	return acts
}

func ids(list ...husbandry.ID) []husbandry.ID { return list }

// every selects every nth day, counted back from yesterday.
func every(n int) func(civil.Date, civil.Date, int) bool {
	return func(day, today civil.Date, _ int) bool { return (today.Sub(day)-latest)%n == 0 }
}

// staggered selects every nth day, one day earlier for each further subject.
func staggered(n int) func(civil.Date, civil.Date, int) bool {
	return func(day, today civil.Date, nth int) bool { return (today.Sub(day)-latest)%n == nth%n }
}

// spread selects one day for each of m subjects, spread over the last n days.
func spread(n, m int) func(civil.Date, civil.Date, int) bool {
	return func(day, today civil.Date, nth int) bool { return today.Sub(day) == n-nth*(n-1)/m }
}

// fixed selects every nth day from a date, like a fixed cadence.
func fixed(n int, from civil.Date) func(civil.Date, civil.Date, int) bool {
	return func(day, _ civil.Date, _ int) bool { return day.Sub(from)%n == 0 }
}

func weekdays(list ...time.Weekday) func(civil.Date, civil.Date, int) bool {
	return func(day, _ civil.Date, _ int) bool {
		for _, w := range list {
			if day.Weekday() == w {
				return true
			}
		}
		return false
	}
}

// ago selects one day, n days before today.
func ago(n int) func(civil.Date, civil.Date, int) bool {
	return func(day, today civil.Date, _ int) bool { return today.Sub(day) == n }
}

// added adds water in amounts that vary between two volumes in ml.
func added(low, high int) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(day, today civil.Date, nth int) *tasks.Finding {
		ml := husbandry.Millilitres(low + (today.Sub(day)*7+nth*3)%(high-low+1))
		return &tasks.Finding{Added: &ml}
	}
}

// firstWeighed adds water for all subjects. For the first subject it also has
// the mass before the water was added, in g: the mass is too low by the amount
// of water.
func firstWeighed(mass husbandry.Grams, give func(civil.Date, civil.Date, int) *tasks.Finding) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(day, today civil.Date, nth int) *tasks.Finding {
		f := give(day, today, nth)
		if nth == 0 {
			weighs := mass - husbandry.Grams(*f.Added)
			f.Weighs = &weighs
		}
		return f
	}
}

func hatched(n int) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(civil.Date, civil.Date, int) *tasks.Finding { return &tasks.Finding{Hatched: &n} }
}

// weighs has one mass in g for each subject.
func weighs(grams ...husbandry.Grams) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(_, _ civil.Date, nth int) *tasks.Finding {
		g := grams[nth]
		return &tasks.Finding{Weighs: &g}
	}
}

// growing has the masses in g of the animals of each subject three weeks ago.
// Each mass grows by a fiftieth of that mass a day.
func growing(grams ...[]float64) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(day, today civil.Date, nth int) *tasks.Finding {
		f := &tasks.Finding{}
		tenths := 0
		for _, g := range grams[nth] {
			one := int(g*10*(1+float64(paper-today.Sub(day))/50) + 0.5)
			tenths += one
			f.Each = append(f.Each, husbandry.Grams(float64(one)/10))
		}
		mean := husbandry.Grams(float64((tenths*10+len(f.Each)/2)/len(f.Each)) / 100)
		f.Weighs = &mean
		return f
	}
}

// index has one UV index for each subject of a habit.
func index(uvi ...float64) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(_, _ civil.Date, nth int) *tasks.Finding { return &tasks.Finding{UVI: &uvi[nth]} }
}

// ordered has a number of ordered packs for each subject; counted has a number
// of counted insects.
func ordered(packs ...int) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(_, _ civil.Date, nth int) *tasks.Finding { return &tasks.Finding{Ordered: &packs[nth]} }
}

func counted(insects ...int) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(_, _ civil.Date, nth int) *tasks.Finding { return &tasks.Finding{Stock: &insects[nth]} }
}

func gravid(yes bool) func(civil.Date, civil.Date, int) *tasks.Finding {
	return func(civil.Date, civil.Date, int) *tasks.Finding { return &tasks.Finding{Gravid: &yes} }
}

// digging returns one note, for yesterday.
func digging(day, today civil.Date, _ int) *tasks.Finding {
	if today.Sub(day) == latest {
		return &tasks.Finding{Note: "digging in the nest box at night, no eggs yet"}
	}
	return nil
}

// refused returns a refusal on two of the last days.
func refused(day, today civil.Date, _ int) *tasks.Finding {
	if ago := today.Sub(day); ago == 3 || ago == 4 {
		return &tasks.Finding{Refused: true}
	}
	return nil
}
