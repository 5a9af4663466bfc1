package scheduler_test

import (
	"strings"
	"testing"

	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// The keeper is away from 14 to 20 May. The sitter does what cannot wait.
// Flexible work is done before the absence if its slack allows, or waits.
func TestTasksOverAnAbsence(t *testing.T) {
	const stays, lapses, alarms = husbandry.Stays, husbandry.Lapses, husbandry.Alarms
	fixedAt := func(k husbandry.Kind, every husbandry.Days, m husbandry.Missed, slack ...husbandry.Days) husbandry.Routine {
		return routine(k, fixed(every, "05-16"), m, slack...)
	}
	for _, c := range []struct {
		words string
		r     husbandry.Routine
		tell  func(b *books)
		on    string
		ahead int
		want  string
		why   string
		sits  bool // every task of the plan is the sitter's
	}{
		{words: "water cannot wait", r: routine(husbandry.Water, fixed(3, "05-15"), lapses), on: "05-15", want: "due 05-15 E07/r/2027-05-15", sits: true},
		{words: "a feeding that waits by the keeper's choice", r: func() husbandry.Routine {
			r := routine(husbandry.Feed, fixed(3, "05-15"), lapses)
			r.Sitter = husbandry.SitterWaits
			return r
		}(), on: "05-15", want: ""},
		{words: "a weighing for the sitter by the keeper's choice", r: func() husbandry.Routine {
			r := fixedAt(husbandry.Weigh, 30, stays)
			r.Sitter = husbandry.SitterDoes
			return r
		}(), on: "05-16", want: "due 05-16 F03/r/2027-05-16", sits: true},
		{words: "a weighing waits", r: fixedAt(husbandry.Weigh, 30, stays), on: "05-17", ahead: 10, want: "upcoming 05-21 F03/r/2027-05-16", why: "it waits for your return"},
		{words: "a weighing that waited is due on the return", r: fixedAt(husbandry.Weigh, 30, stays), on: "05-21", want: "overdue 05-16 F03/r/2027-05-16"},
		{words: "a weighing within its slack is done on the eve", r: fixedAt(husbandry.Weigh, 30, stays, 0, 3), on: "05-13", want: "due 05-13 F03/r/2027-05-16", why: "done before you leave on Fri 14 May"},
		{words: "a weighing on the eve is shown ahead", r: fixedAt(husbandry.Weigh, 30, stays, 0, 3), on: "05-11", ahead: 5, want: "upcoming 05-13 F03/r/2027-05-16"},
		{words: "a weighing with too little slack waits", r: fixedAt(husbandry.Weigh, 30, stays, 0, 2), on: "05-13", ahead: 10, want: "upcoming 05-21 F03/r/2027-05-16"},
		{words: "a weighing done on the eve does not come back", r: fixedAt(husbandry.Weigh, 30, stays, 0, 3), tell: func(b *books) { b.done("05-13", "F03/r/2027-05-16") }, on: "05-14", ahead: 10, want: ""},
		{words: "work that lapses is left out during the absence", r: fixedAt(husbandry.Clean, 2, lapses), on: "05-17", ahead: 6, want: "upcoming 05-22 E07/r/2027-05-22"},
		{words: "a weighing overdue on leaving waits, too", r: routine(husbandry.Weigh, fixed(30, "05-10"), stays), on: "05-15", ahead: 10, want: "upcoming 05-21 F03/r/2027-05-10"},
		{words: "recurring work is due once on the return", r: routine(husbandry.Clean, sinceLast(2), stays), tell: func(b *books) { b.done("05-13", "E07/r/first") }, on: "05-13", ahead: 11,
			want: "upcoming 05-21 E07/r/after-2027-05-13\nupcoming 05-23 E07/r/after-2027-05-13+5"},
		{words: "recurring work is due once on the eve, with its last date", r: fixedAt(husbandry.Weigh, 2, stays, 0, 5), on: "05-13", ahead: 9, want: "due 05-13 F03/r/2027-05-18\nupcoming 05-21 F03/r/2027-05-20\nupcoming 05-22 F03/r/2027-05-22"},
		{words: "a weighing put off past the eve waits", r: fixedAt(husbandry.Weigh, 30, stays, 0, 3), tell: func(b *books) { b.later("05-13", "F03/r/2027-05-16", "05-16") }, on: "05-13", ahead: 10, want: "upcoming 05-21 F03/r/2027-05-16"},
		{words: "a watch is never put off", r: routine(husbandry.LayWatch, within(husbandry.LayWindow, 1), alarms), tell: mated("04-25"), on: "05-17", want: "lapsed 05-16 F03/r/2027-05-16\ndue 05-17 F03/r/2027-05-17"},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := lizardRoom(c.r)
			b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20"), Cover: "Mara"}}
			if c.tell != nil {
				c.tell(b)
			}
			p := b.plan(c.on, c.ahead)
			expect(t, p, c.want)
			for _, x := range p {
				if x.Sitter != c.sits && x.Kind != husbandry.LayWatch || x.Kind == husbandry.LayWatch && x.Status == tasks.Due && !x.Sitter {
					t.Errorf("%s is the sitter's: %v", x.Key, x.Sitter)
				}
				if !strings.Contains(x.Why, c.why) {
					t.Errorf("why %q, want %q", x.Why, c.why)
				}
			}
		})
	}
}

// Consecutive absences are one absence. Nothing waits for a return between
// them, and nothing is moved to an eve on which the keeper is away.
func TestConsecutiveAbsencesAreOne(t *testing.T) {
	weigh := routine(husbandry.Weigh, fixed(30, "05-23"), husbandry.Stays, 0, 3)
	b := lizardRoom(weigh)
	b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20"), Cover: "Mara"}, {From: day("05-21"), Until: day("05-25"), Cover: "Ines"}}
	expect(t, b.plan("05-17", 15), "upcoming 05-26 F03/r/2027-05-23")
	b.Away[1].From = day("05-22") // a day at home, the eve
	expect(t, b.plan("05-17", 15), "upcoming 05-21 F03/r/2027-05-23")
	b.Away = []husbandry.Away{{From: day("05-23"), Until: day("05-23")}} // one day
	expect(t, b.plan("05-22", 15), "due 05-22 F03/r/2027-05-23")
	expect(t, b.plan("05-23", 15), "upcoming 05-24 F03/r/2027-05-23")
}

// One task on the eve or on the return replaces all recurrences during the
// absence. Work after two events stays two tasks.
func TestRecurringWorkIsAskedForOnceOnTheReturn(t *testing.T) {
	b := lizardRoom(routine(husbandry.Clean, fixed(2, "05-01"), husbandry.Stays), routine(husbandry.Weigh, fixed(2, "05-02"), husbandry.Stays, 0, 3))
	b.Routines[0].ID = "clean"
	b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20"), Cover: "Mara"}}
	got := make(map[string]int)
	for _, x := range b.plan("05-12", 9) {
		got[x.Due.Format("01-02")+" "+string(x.Routine)]++
	}
	for _, k := range []string{"05-13 r", "05-21 r", "05-21 clean"} {
		if n := got[k]; n != 1 {
			t.Errorf("%s: %d times", k, n)
		}
	}
}

// Live food with a last day to order during the absence is ordered before the
// absence, once. A keeper already away orders by telephone, on the day.
func TestOrdersOverAnAbsence(t *testing.T) {
	orders := func(b *books, on string) (list []string) {
		for _, x := range b.plan(on, 0) {
			if x.Kind == husbandry.Order {
				list = append(list, x.Due.Format("01-02")+" for "+x.Key.Occurrence())
				if x.Sitter {
					t.Errorf("%s is the sitter's", x.Key)
				}
			}
		}
		return list
	}
	b := larder().ordered("05-12", "crickets/order/2027-05-14", 3)
	b.Away = []husbandry.Away{{From: day("05-18"), Until: day("05-27"), Cover: "Mara"}}
	if got := strings.Join(orders(b, "05-16"), ", "); strings.Contains(got, "05-21") {
		t.Errorf("two days before: %s", got)
	}
	got := orders(b, "05-17")
	if want := "05-17 for 2027-05-21, 05-17 for 2027-05-28"; strings.Join(got, ", ") != want {
		t.Errorf("on the eve %q, want %q", got, want)
	}
	if got := orders(b, "05-19"); strings.Join(got, ", ") != "05-19 for 2027-05-21" {
		t.Errorf("forgotten, and away: %q", got)
	}
	for _, d := range []string{"2027-05-21", "2027-05-28"} {
		b.done("05-17", tasks.NewKey("crickets", "order", d))
	}
	for _, on := range []string{"05-17", "05-19", "05-26"} {
		if got := orders(b, on); len(got) > 0 {
			t.Errorf("placed, and asked for again on %s: %q", on, got)
		}
	}
}

// The sitter is told about a quarantine with every task there.
func TestTheSitterIsToldAboutAQuarantine(t *testing.T) {
	b := lizardRoom(routine(husbandry.Water, fixed(1, "05-01"), husbandry.Lapses))
	b.Animals[0].Acquired, b.Animals[0].Quarantine = day("05-01"), 90
	b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20"), Cover: "Mara"}}
	for on, want := range map[string]bool{"05-13": false, "05-15": true} {
		p := b.plan(on, 0)
		if x := p[len(p)-1]; x.Due != day(on) || x.Subject != b.Animals[0].Enclosure || strings.Contains(x.Caution, "In quarantine") != want {
			t.Errorf("%s: %s says %q", on, x.Key, x.Caution)
		}
	}
}

// Nothing is lost over an absence: every task without the absence also comes at
// some time with the absence.
func TestNoTaskIsLostOverAnAbsence(t *testing.T) {
	asked := func(away bool) map[tasks.Key]bool {
		b := withSample()
		if away {
			b.Away = []husbandry.Away{{From: day("05-14"), Until: day("05-20")}}
		}
		keys := make(map[tasks.Key]bool)
		for d := day("05-10"); d.Before(day("06-10")); d = d.AddDays(1) {
			for _, x := range b.plan(d.Format("01-02"), 0) {
				if x.Missed == husbandry.Stays && x.Status != tasks.Lapsed {
					keys[x.Key] = true
				}
			}
		}
		return keys
	}
	there, away := asked(false), asked(true)
	for k := range there {
		if !away[k] {
			t.Errorf("%s is never asked for with days away", k)
		}
	}
}

// Each of several keepers has the tasks that match all of their conditions. The
// first keeper without conditions has the rest.
func TestTasksOfSeveralKeepers(t *testing.T) {
	b := withSample()
	b.Rooms = append(b.Rooms, husbandry.Room{ID: "R2"})
	b.Enclosures[1].Room, b.Enclosures[1].Rack = "R2", ""
	b.Clutches = []husbandry.Clutch{{ID: "C1", Mother: "F04", Species: "wall-lizard", LaidFrom: day("04-05"), Laid: day("04-05"), Eggs: 6, Incubator: "I1"}}
	b.Carers = []husbandry.Carer{
		{ID: "mara", For: husbandry.Selector{Rooms: []husbandry.ID{"R2"}}},
		{ID: "part", For: husbandry.Selector{Rooms: []husbandry.ID{"R1"}, Enclosures: []husbandry.ID{"E99"}}},
		{ID: "eggs", Kinds: []husbandry.Kind{husbandry.HatchWatch, husbandry.TubCheck}},
		{ID: "orders", Routines: []husbandry.ID{"order-crickets"}},
		{ID: "jo", Rest: true},
		{ID: "second", Rest: true},
	}
	got := make(map[husbandry.ID]map[string]bool)
	for _, x := range b.plan("05-12", 10) {
		if got[x.Keeper] == nil {
			got[x.Keeper] = make(map[string]bool)
		}
		got[x.Keeper][string(x.Subject)+" "+string(x.Routine)] = true
	}
	for _, c := range []struct {
		whose husbandry.ID
		task  string
	}{
		{"mara", "E08 water"}, {"mara", "F04 weigh"}, {"eggs", "C1 hatch-watch"}, {"eggs", "C1 tub-check"}, {"orders", "keeper order-crickets"},
		{"jo", "E07 water"}, {"jo", "R1 empty-bins"}, {"mara", "R2 empty-bins"}, {"jo", "keeper gut-load"}, {"jo", "M01 weigh"},
	} {
		if !got[c.whose][c.task] {
			t.Errorf("%q is not %s's: %v", c.task, c.whose, got)
		}
	}
	if len(got[""]) > 0 || len(got["second"]) > 0 {
		t.Errorf("nobody's %v, the second's %v", got[""], got["second"])
	}
	if len(got["part"]) > 0 {
		t.Errorf("of an enclosure that is not there: %v", got["part"])
	}
	b.Carers = b.Carers[:4]
	for _, x := range b.plan("05-12", 0) {
		if x.Subject == "E07" && x.Routine == "water" && x.Keeper != "" {
			t.Errorf("without anybody for the rest it is %s's", x.Keeper)
		}
	}
}

// While one of several keepers is away, their tasks go to another keeper with
// matching conditions, else to the keeper of the rest, else to all. Nothing is
// lost, put off or changed otherwise.
func TestTasksOfAKeeperWhoIsAway(t *testing.T) {
	room2 := husbandry.Selector{Rooms: []husbandry.ID{"R2"}}
	for _, c := range []struct {
		words  string
		carers []husbandry.Carer
		also   []husbandry.CarerAway
		want   husbandry.ID
	}{
		{"to the keeper of the rest", []husbandry.Carer{{ID: "mara", For: room2}, {ID: "jo", Rest: true}}, nil, "jo"},
		{"to another keeper with matching conditions", []husbandry.Carer{{ID: "mara", For: room2}, {ID: "water", Kinds: []husbandry.Kind{husbandry.Water}}, {ID: "jo", Rest: true}}, nil, "water"},
		{"the other matching keeper is away, too", []husbandry.Carer{{ID: "mara", For: room2}, {ID: "water", Kinds: []husbandry.Kind{husbandry.Water}}, {ID: "jo", Rest: true}}, []husbandry.CarerAway{{Keeper: "water", From: day("05-01"), Until: day("06-20")}}, "jo"},
		{"two keepers of the rest: to the second", []husbandry.Carer{{ID: "mara", Rest: true}, {ID: "jo", Rest: true}}, nil, "jo"},
		{"to all, if nobody has the rest", []husbandry.Carer{{ID: "mara", For: room2}, {ID: "jo", For: husbandry.Selector{Rooms: []husbandry.ID{"R1"}}}}, nil, ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			books := func(away ...husbandry.CarerAway) *books {
				b := withSample()
				b.Rooms = append(b.Rooms, husbandry.Room{ID: "R2"})
				b.Enclosures[1].Room, b.Enclosures[1].Rack = "R2", ""
				b.Carers, b.CarersAway = c.carers, append(away, c.also...)
				return b
			}
			b := books(husbandry.CarerAway{Keeper: "mara", From: day("05-14"), Until: day("05-20")})
			there, away := books().plan("05-12", 20), b.plan("05-12", 20)
			if len(there) != len(away) {
				t.Fatalf("%d tasks, and %d while she is away", len(there), len(away))
			}
			given := 0
			for i, x := range away {
				if x.Key != there[i].Key || x.Due != there[i].Due || x.Sitter {
					t.Fatalf("%s on %v, was %s on %v", x.Key, x.Due, there[i].Key, there[i].Due)
				}
				if x.Subject != "E08" || x.Routine != "water" {
					continue
				}
				told := strings.HasSuffix(x.Why, "; for mara, who is away until Thu 20 May")
				switch gone := !x.Due.Before(day("05-14")) && !x.Due.After(day("05-20")); {
				case gone && (x.Keeper != c.want || x.For != "mara" || !told):
					t.Errorf("%s is %q's, for %q: %s", x.Key, x.Keeper, x.For, x.Why)
				case !gone && (x.Keeper != "mara" || x.For != "" || told):
					t.Errorf("%s, while she is there, is %q's, for %q: %s", x.Key, x.Keeper, x.For, x.Why)
				case gone:
					given++
				}
			}
			if given == 0 {
				t.Error("nothing was given to anybody")
			}
			// The keepers who are there get the overdue tasks.
			for _, x := range b.plan("05-16", 0) {
				if x.Subject == "F04" && x.Status == tasks.Overdue && x.Keeper == "mara" {
					t.Errorf("%s waits for her", x.Key)
				}
			}
		})
	}
}
