package scheduler_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/scheduler"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// matched returns a lizard room of wall lizards that live apart, one in each
// enclosure, with only the pairing routine. A line is "id sex mother father".
func matched(lines ...string) *books {
	b := lizardRoom(husbandry.Routine{
		ID: "pair", Kind: husbandry.Pair, Scope: husbandry.OfAnimal, Cadence: within(husbandry.PairingWindow, 7),
		For:   husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Female}, States: []husbandry.State{husbandry.Breeding}},
		After: 2, Part: husbandry.Morning, Minutes: 15, Missed: husbandry.Lapses, Origin: husbandry.Common,
	})
	b.Animals, b.Enclosures = nil, nil
	for _, l := range lines {
		f := append(strings.Fields(l), "-", "-")
		a := husbandry.Animal{ID: husbandry.ID(f[0]), Species: "wall-lizard", Sex: husbandry.Sex(f[1]), Count: 1, Breeding: true, Enclosure: husbandry.ID("E-" + f[0])}
		for i, to := range []*husbandry.ID{&a.Mother, &a.Father} {
			if f[2+i] != "-" {
				*to = husbandry.ID(f[2+i])
			}
		}
		b.Animals = append(b.Animals, a)
		b.Enclosures = append(b.Enclosures, husbandry.Enclosure{ID: a.Enclosure, Room: "R1"})
	}
	return b
}

// gone marks animals of the pedigree that have left.
func (b *books) gone(ids ...husbandry.ID) *books {
	for _, id := range ids {
		b.animal(id).Left = day("2026-06-01")
	}
	return b
}

func (b *books) recorded(id, male, female husbandry.ID, from, until string) *books {
	p := husbandry.Pairing{ID: id, Male: male, Female: female}
	if from != "" {
		p.From = day(from)
	}
	if until != "" {
		p.Until = day(until)
	}
	b.Pairings = append(b.Pairings, p)
	return b
}

// The males in a pairing task, and the first day with such a task. The season
// of wall lizards is 15 March to 30 June; the books begin on 1 May.
func TestTheMaleOfAPairingTask(t *testing.T) {
	for _, c := range []struct {
		words string
		b     *books
		from  string // first task from 3 May on; "" if there is none
		says  []string
		not   []string
	}{
		{"the only male, of unknown parents", matched("F1 female", "M1 male"), "05-03",
			[]string{"; best with M1, inbreeding of the young at least 0"}, []string{"close kin", "; or "}},
		{"an unrelated male before a cousin, and not the brother",
			matched("A female", "B male", "F1 female A B", "M1 male A B", "M2 male", "C female A B", "M3 male C -").gone("A", "B", "C"), "05-03",
			[]string{"best with M2, inbreeding of the young at least 0;", "; or M3, at least 0.125, close kin: F1 is a full sibling of C, a parent of M3", "; not with M1, at least 0.25, close kin: full siblings (parents A and B)"}, nil},
		{"a coefficient known for three generations has no at least",
			func() *books {
				lines := []string{}
				for _, x := range []string{"F1", "M1"} {
					sex := map[string]string{"F1": "female", "M1": "male"}[x]
					lines = append(lines, x+" "+sex+" "+x+"m "+x+"f", x+"m female "+x+"mm "+x+"mf", x+"f male "+x+"fm "+x+"ff")
				}
				return matched(lines...).gone("F1m", "F1f", "M1m", "M1f")
			}(), "05-03", []string{"inbreeding of the young 0"}, []string{"at least"}},
		{"a male is not used while he is in quarantine", func() *books {
			b := matched("F1 female", "M1 male")
			b.animal("M1").Acquired, b.animal("M1").Quarantine = day("2027-03-01"), 90
			return b
		}(), "", nil, nil},
		{"a female is not paired while she is in quarantine", func() *books {
			b := matched("F1 female", "M1 male")
			b.animal("F1").Acquired, b.animal("F1").Quarantine = day("2027-03-01"), 90
			return b
		}(), "", nil, nil},
		{"a male rests for three days after a pairing", matched("F1 female", "F2 female", "M1 male").recorded("P1", "M1", "F2", "04-28", "05-02"), "05-06",
			[]string{"best with M1 from 6 May"}, nil},
		{"a male with another female is not available", matched("F1 female", "F2 female", "M1 male").recorded("P1", "M1", "F2", "04-28", ""), "", nil, nil},
		{"another male instead of one with another female", matched("A female", "F1 female A", "F2 female", "M1 male", "M2 male A").gone("A").recorded("P1", "M1", "F2", "04-28", ""), "05-03",
			[]string{"best with M2, inbreeding of the young at least 0.125, close kin: half siblings (common parent A); M1 is with F2"}, nil},
		{"the male that the keeper planned", matched("F1 female", "M1 male", "M2 male").recorded("P1", "M2", "F1", "", ""), "05-03",
			[]string{"as you planned with M2, inbreeding of the young at least 0; or M1"}, nil},
		{"not the planned male if he is too closely related", matched("F1 female - M2", "M1 male", "M2 male").recorded("P1", "M2", "F1", "", ""), "05-03",
			[]string{"best with M1,", "not with M2, at least 0.25, close kin: M2 is the father of F1"}, nil},
		{"the male of this season's earlier pairing", matched("F1 female", "M1 male", "M2 male").recorded("P1", "M2", "F1", "03-17", "03-19"), "05-03",
			[]string{"as before with M2,"}, nil},
		{"last year's mate is no reason", matched("F1 female", "M1 male", "M2 male").recorded("P1", "M2", "F1", "2026-04-10", "2026-04-14"), "05-03",
			[]string{"best with M1,"}, nil},
		{"a limit of the keeper's own", func() *books {
			b := matched("A female", "F1 female A", "M1 male A").gone("A")
			b.Breeding = husbandry.UsualBreeding()
			b.Breeding.KinshipLimit = 0.1
			return b
		}(), "", nil, nil},
		{"males of a name", func() *books {
			b := matched("F1 female", "M1 male")
			b.animal("M1").Name = "Flint"
			return b
		}(), "05-03", []string{"best with Flint (M1),"}, nil},
		{"many males are counted", matched("F1 female", "M1 male", "M2 male", "M3 male", "M4 male", "M5 male", "M6 male"), "05-03",
			[]string{"; or M2, at least 0; or M3, at least 0; or M4, at least 0; or 2 other males"}, []string{"M5"}},
		{"not a male without the mark for breeding", func() *books {
			b := matched("F1 female", "M1 male", "M2 male")
			b.animal("M1").Breeding = false
			return b
		}(), "05-03", []string{"best with M2,"}, []string{"M1"}},
	} {
		t.Run(c.words, func(t *testing.T) {
			p := c.b.plan("05-03", 60).of("F1/pair/")
			if c.from == "" {
				p.none(t, "F1/pair/")
				return
			}
			if len(p) == 0 || p[0].Due != day(c.from) {
				t.Fatalf("want a task on %s, have\n%s", c.from, p)
			}
			if !strings.HasPrefix(p[0].Why, "Pairing window ") {
				t.Errorf("why %q", p[0].Why)
			}
			for _, s := range c.says {
				if !strings.Contains(p[0].Why, s) {
					t.Errorf("%q does not say %q", p[0].Why, s)
				}
			}
			for _, s := range c.not {
				if strings.Contains(p[0].Why, s) {
					t.Errorf("%q says %q", p[0].Why, s)
				}
			}
		})
	}
}

// The season's plan gives each female a male of another line, although one male
// would be suitable for both.
func TestTheSeasonsPlanAvoidsInbreeding(t *testing.T) {
	b := matched("A female", "B female", "F1 female A", "M1 male A", "F2 female B", "M2 male B", "F3 female").gone("A", "B")
	for female, male := range map[string]string{"F1": "M2", "F2": "M1"} {
		if why := b.plan("05-03", 0).one(t, female+"/pair/").Why; !strings.Contains(why, "best with "+male+",") {
			t.Errorf("%s: %s", female, why)
		}
	}
	// Two females have a male each. The third shares a male, because that is
	// better than none.
	b.Breeding = husbandry.UsualBreeding()
	b.Breeding.FemalesPerMale = 1
	if third := b.plan("05-03", 14).one(t, "F3/pair/"); third.Due != day("05-12") || !strings.Contains(third.Why, "best with M1 from 12 May, after F2, inbreeding of the young at least 0;") {
		t.Errorf("F3: %s %s", third.Due, third.Why)
	}
}

// The mother of a clutch may be recorded in the daybook only.
func TestAMotherRecordedInTheDaybookIsARelative(t *testing.T) {
	six := 6
	b := matched("A female", "F1 female", "M1 male")
	b.animal("F1").Enclosure = "E-A" // so the mother is not known at once
	b.found("05-03", "E-A/found/2027-05-03", tasks.Finding{Laid: &six})
	b.animal("M1").Clutch = "E-A-2027-05-03" // he hatched from these eggs, and is soon adult
	b.animal("M1").Hatched = day("2027-06-20")
	b.animal("M1").Stage = husbandry.Adult
	b.Species[0].Pairing.UntilMonth, b.Species[0].Pairing.UntilDay = time.October, 31
	if why := b.plan("08-20", 14).of("A/pair/").firsts()[0].Why; !strings.Contains(why, "best with M1") {
		t.Error(why)
	}
	b.found("05-04", "E-A-2027-05-03/found/2027-05-04", tasks.Finding{Mother: "A"})
	b.plan("08-20", 14).none(t, "A/pair/")
	if ask := b.plan("08-20", 14).one(t, "A/review-kin/"); !strings.Contains(ask.Why, "M1 at least 0.25 (A is the mother of M1)") {
		t.Error(ask.Why)
	}
}

// If all males are close relatives, there is no pairing and one question.
func TestNoPairingIfAllMalesAreRelatives(t *testing.T) {
	b := matched("A female", "B male", "F1 female A B", "M1 male A B").gone("A")
	b.animal("B").Name = "Flint"
	b.plan("05-03", 60).none(t, "/pair/")
	ask := b.plan("05-03", 60).one(t, "F1/review-kin/")
	if ask.Key != "F1/review-kin/2027" || ask.Due != day("05-01") || ask.Kind != husbandry.Review || ask.Title != "Find a male that is no close kin: F1 (wall lizard, in E-F1)" {
		t.Errorf("%+v", ask)
	}
	want := "Not paired in her season (15 March to 30 June): with every male the inbreeding of the young would be above 0.125: " +
		"Flint (B) at least 0.25 (B is the father of F1) and M1 at least 0.25 (full siblings (parents A and B))"
	if ask.Why != want || !strings.Contains(ask.Caution, "quarantine") {
		t.Errorf("%q, %q", ask.Why, ask.Caution)
	}
	for _, s := range outlook.Dated(scheduler.NewDay(b.input("05-03", 60))) {
		if s.Name == husbandry.PairingWindow {
			t.Errorf("the calendar has %+v", s)
		}
	}
	t.Run("the question is asked once", func(t *testing.T) {
		b := matched("F1 female - M1", "M1 male").done("05-03", "F1/review-kin/2027")
		b.plan("05-04", 60).none(t, "review-kin")
	})
	t.Run("the question comes again in time for the next season", func(t *testing.T) {
		b := matched("F1 female - M1", "M1 male").done("05-03", "F1/review-kin/2027")
		b.plan("07-01", 0).none(t, "review-kin") // next year's season is months away
		next := b.plan("2028-01-10", 0).one(t, "review-kin")
		if next.Key != "F1/review-kin/2028" || next.Due != civil.MustParse("2027-12-16") {
			t.Errorf("%+v", next)
		}
	})
	t.Run("no question if pairing is off", func(t *testing.T) {
		b := matched("F1 female - M1", "M1 male")
		b.Routines = append(b.Routines, husbandry.Routine{ID: "off", Kind: husbandry.Pair, Scope: husbandry.OfAnimal, Off: true})
		b.plan("05-03", 60).none(t, "F1/")
	})
	t.Run("no question if reviews are off", func(t *testing.T) {
		b := matched("F1 female - M1", "M1 male")
		b.Routines = append(b.Routines, husbandry.Routine{ID: "off", Kind: husbandry.Review, Scope: husbandry.OfAnimal, Off: true})
		b.plan("05-03", 60).none(t, "F1/")
	})
	t.Run("paired again after an unrelated male has come", func(t *testing.T) {
		b := matched("F1 female - M1", "M1 male", "M2 male")
		b.plan("05-03", 0).one(t, "F1/pair/2027-05-03")
		b.plan("05-03", 0).none(t, "review-kin")
	})
}

// The calendar names the male.
func TestTheCalendarsPairingTimeNamesTheMale(t *testing.T) {
	spans := outlook.Dated(scheduler.NewDay(matched("F1 female", "M1 male").input("05-03", 60)))
	if len(spans) != 1 || !strings.HasSuffix(spans[0].Why, "; best with M1, inbreeding of the young at least 0") || spans[0].Key != tasks.NewKey("F1", "pairing", "2027") {
		t.Errorf("%+v", spans)
	}
}

// Records that the reader of the books rejects do not stop a plan.
func TestAPedigreeLoopDoesNotStopThePlan(t *testing.T) {
	p := matched("F1 female F1", "M1 male").plan("05-03", 0).one(t, "F1/pair/")
	if !strings.Contains(p.Why, "best with M1") {
		t.Error(p.Why)
	}
}

// A male is with one female at a time, or with the females of one enclosure,
// for a week, and then rests for three days.
func TestFemalesOfOneMaleTakeTurns(t *testing.T) {
	first := func(b *books, on string) string {
		var got []string
		for _, task := range b.plan(on, 60).of("/pair/").firsts() {
			words := string(task.Subject) + " " + task.Due.Format("01-02")
			_, male, _ := strings.Cut(task.Why, "best with ")
			male, _, _ = strings.Cut(male, ", inbreeding")
			if male != "M1" {
				words += " (" + strings.TrimPrefix(strings.TrimPrefix(male, "M1 "), "from ") + ")"
			}
			got = append(got, words)
		}
		return strings.Join(got, ", ")
	}
	three := func() *books { return matched("F1 female", "F2 female", "F3 female", "M1 male") }
	const parting = "F1/part-pair/2027-05-03"
	for _, c := range []struct {
		words string
		b     *books
		on    string
		want  string
	}{
		{"in the order of their enclosures", three(), "05-03", "F1 05-03, F2 05-12 (12 May, after F1), F3 05-23 (23 May, after F2)"},
		{"the same order on the following days", three(), "05-05", "F1 05-03, F2 05-12 (12 May, after F1), F3 05-23 (23 May, after F2)"},
		{"two who live together are visited together", func() *books {
			b := three()
			b.animal("F2").Enclosure = "E-F1"
			return b
		}(), "05-03", "F1 05-03, F2 05-03, F3 05-12 (12 May, after F1)"},
		{"two who live together, while he is with the first", func() *books {
			b := three().done("05-03", "F1/pair/2027-05-01")
			b.animal("F2").Enclosure = "E-F1"
			return b
		}(), "05-04", "F2 05-03, F3 05-14 (14 May, after F1)"},
		{"a female with another male does not wait", matched("F1 female", "F2 female", "M1 male", "M2 male"), "05-03", "F1 05-03, F2 05-03 (M2)"},
		{"with the first since today", three().done("05-03", "F1/pair/2027-05-01"), "05-03", "F2 05-14 (14 May, after F1), F3 05-25 (25 May, after F2)"},
		{"separated early", three().done("05-03", "F1/pair/2027-05-01").done("05-06", parting), "05-07", "F2 05-10 (10 May, after F1), F3 05-21 (21 May, after F2)"},
		{"separated late", three().done("05-03", "F1/pair/2027-05-01"), "05-16", "F2 05-20 (20 May, after F1), F3 05-31 (31 May, after F2)"},
		{"an unused turn does not make others wait", three(), "05-14", "F2 05-12 ((one at a time: F1 waits for him too)), F1 05-17, F3 05-23 (23 May, after F2)"},
		{"two males are with females, and the others keep their males", matched("F1 female", "F2 female", "F3 female", "F4 female", "M1 male", "M2 male").
			done("05-03", "F1/pair/2027-05-01"), "05-04", "F2 05-03 (M2), F4 05-12 (M2 from 12 May, after F2), F3 05-14 (14 May, after F1)"},
		{"paired with another male than planned", matched("F1 female", "F2 female", "M1 male", "M2 male").
			found("05-03", "F1/pair/2027-05-01", tasks.Finding{With: "M2"}), "05-04", "F2 05-03"},
		{"paired with another male, and a male is planned in the records", matched("F1 female", "F2 female", "F3 female", "M1 male", "M2 male").recorded("P1", "M2", "F1", "", "").
			found("05-03", "F1/pair/2027-05-01", tasks.Finding{With: "M1"}), "05-04", "F2 05-03 (M2), F3 05-14 (14 May, after F1)"},
		{"shorter turns in a short season", shortSeason(matched("F1 female", "F2 female", "F3 female", "F4 female", "M1 male")), "05-03",
			"F1 05-03, F2 05-08 (8 May, after F1), F3 05-15 (15 May, after F2), F4 05-22 (22 May, after F3)"},
		{"rested", three().done("05-03", "F1/pair/2027-05-01").done("05-06", parting), "05-10", "F2 05-10, F3 05-21 (21 May, after F2)"},
	} {
		if got := first(c.b, c.on); got != c.want {
			t.Errorf("%s: %s\nwant %s", c.words, got, c.want)
		}
	}
}

// A keeper pairs and separates by the plan, or late. No female is due with a
// male who is with another female or resting after another. Each has her turn,
// at most a week and his rest apart. A day without a mark changes nothing.
func TestTurnsUnderAnyMarks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var lines []string
		for i := range rapid.IntRange(1, 3).Draw(t, "males") {
			lines = append(lines, fmt.Sprintf("M%d male", i))
		}
		females := rapid.IntRange(2, 7).Draw(t, "females")
		for i := range females {
			line := fmt.Sprintf("F%d female", i)
			if rapid.IntRange(0, 3).Draw(t, "kin") == 0 && len(lines) > i+1 { // never related to the only male
				line += " - M0"
			}
			lines = append(lines, line)
		}
		b := matched(lines...)
		for i := range females - 1 {
			if rapid.IntRange(0, 4).Draw(t, "lives with the one before") == 0 {
				b.animal(husbandry.ID(fmt.Sprintf("F%d", i+1))).Enclosure = b.animal(husbandry.ID(fmt.Sprintf("F%d", i))).Enclosure
			}
		}
		home := func(f husbandry.ID) husbandry.ID { return b.animal(f).Enclosure }
		type pair struct {
			male  husbandry.ID
			since civil.Date
		}
		with := make(map[husbandry.ID]pair)            // indexed by female
		rested := make(map[[2]husbandry.ID]civil.Date) // a male's last day of rest after an enclosure
		announced := make(map[husbandry.ID]civil.Date) // yesterday's day of each waiting female
		quiet := false                                 // no marks yesterday
		for on := day("05-03"); on.Before(day("06-15")); on = on.AddDays(1) {
			p := b.plan(on.Format("01-02"), 60)
			next := make(map[husbandry.ID]civil.Date)
			for _, x := range p.of("/pair/").firsts() {
				if x.Status != tasks.Upcoming {
					continue
				}
				next[x.Subject] = x.Due
				if was, ok := announced[x.Subject]; ok && quiet && was.After(on) && was != x.Due {
					t.Fatalf("%s: %s was announced for %s and is now for %s: %s", on, x.Subject, was, x.Due, x.Why)
				}
			}
			if on == day("05-03") {
				for f, due := range next {
					for g, other := range next {
						if a, b := p.of(string(f) + "/pair/")[0], p.of(string(g) + "/pair/")[0]; a.Mate == b.Mate && home(f) != home(g) && due.Sub(other) > -5 && due.Sub(other) < 5 {
							t.Fatalf("%s and %s are to be with %s on %s and %s", f, g, a.Mate, due, other)
						}
					}
				}
				for i := range females {
					if f := fmt.Sprintf("F%d/", i); len(p.of(f)) == 0 && !(len(lines) == females+1 && b.animal(husbandry.ID(f[:2])).Father == "M0") {
						t.Fatalf("%s has no turn:\n%s", f, p)
					}
				}
			}
			announced, quiet = next, true
			for _, x := range p {
				if x.Status == tasks.Upcoming || x.Status == tasks.Lapsed || x.Kind != husbandry.Pair {
					continue
				}
				if x.Routine == herd.PartPair {
					quiet = false // his stay gets longer, or he leaves
					if rapid.IntRange(0, 3).Draw(t, "late to part") > 0 {
						b.done(on.Format("01-02"), x.Key)
						rested[[2]husbandry.ID{with[x.Subject].male, home(x.Subject)}] = on.AddDays(3)
						delete(with, x.Subject)
					}
					continue
				}
				busy := false
				for f, m := range with {
					if m.male == x.Mate && home(f) != home(x.Subject) {
						busy = true
						if m.since != on { // today the keeper takes one of the two
							t.Fatalf("%s: %s is due with %s, who is with %s: %s", on, x.Subject, x.Mate, f, x.Why)
						}
					}
				}
				for from, until := range rested {
					if from[0] == x.Mate && from[1] != home(x.Subject) && !on.After(until) {
						t.Fatalf("%s: %s is due with %s, who rests until %s: %s", on, x.Subject, x.Mate, until, x.Why)
					}
				}
				if !busy && rapid.Bool().Draw(t, "paired") {
					b.found(on.Format("01-02"), x.Key, tasks.Finding{With: x.Mate})
					with[x.Subject], quiet = pair{x.Mate, on}, false
				}
			}
		}
	})
}

// shortSeason makes the season end on 24 May, like the four weeks after a
// winter.
func shortSeason(b *books) *books {
	b.Species[0].Pairing.UntilMonth, b.Species[0].Pairing.UntilDay = time.May, 24
	return b
}

// A pair is separated earlier if other females wait for the male.
func TestAPairIsSeparatedSoonerIfOthersWait(t *testing.T) {
	for _, c := range []struct {
		words, part, why string
		b                *books
	}{
		{"alone", "05-10", "Together since 3 May; 7 days are enough", shortSeason(matched("F1 female", "M1 male"))},
		{"a week each", "05-10", "Together since 3 May; 7 days are enough", matched("F1 female", "F2 female", "F3 female", "F4 female", "M1 male")},
		{"one of four in a short season", "05-06", "Together since 3 May; others wait for M1, so 3 days must do", shortSeason(matched("F1 female", "F2 female", "F3 female", "F4 female", "M1 male"))},
	} {
		c.b.done("05-03", "F1/pair/2027-05-01")
		c.b.plan(day(c.part).AddDays(-1).Format("01-02"), 0).none(t, "part-pair")
		part := c.b.plan(c.part, 0).one(t, "F1/part-pair/2027-05-03")
		if part.Due != day(c.part) || part.Why != c.why {
			t.Errorf("%s: %s %s", c.words, part.Due, part.Why)
		}
	}
}

// A pair put together by a mark counts as mated: her eggs are expected, and she
// is paired with him again only if none come.
func TestWhatAMarkedPairingLeadsTo(t *testing.T) {
	b := matched("F1 female", "M1 male")
	b.Routines = append(b.Routines, husbandry.Routine{
		ID: "gravid-check", Kind: husbandry.GravidCheck, Scope: husbandry.OfAnimal, Cadence: within(husbandry.GravidWindow, 5),
		For: husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Female}}, Missed: husbandry.Lapses,
	}, husbandry.Routine{
		ID: "lay-watch", Kind: husbandry.LayWatch, Scope: husbandry.OfAnimal, Cadence: within(husbandry.LayWindow, 1),
		For: husbandry.Selector{Sexes: []husbandry.Sex{husbandry.Female}}, Missed: husbandry.Alarms,
	})
	b.done("05-03", "F1/pair/2027-05-01")
	p := b.plan("05-04", 60)
	p.none(t, "/pair/")
	b.plan("05-09", 0).none(t, "part-pair")
	b.plan("05-10", 0).one(t, "F1/part-pair/2027-05-03")
	b.done("05-10", "F1/part-pair/2027-05-03")
	p = b.plan("05-11", 60)
	p.none(t, "pair/")
	if look := p.of("gravid-check"); len(look) == 0 || look[0].Due != day("05-16") {
		t.Errorf("looks for eggs:\n%s", look)
	}
	if watch := p.of("lay-watch"); len(watch) == 0 || !strings.Contains(watch[0].Why, "some day from 3 May to 10 May") {
		t.Errorf("watches:\n%s", watch)
	}
	again := b.plan("06-12", 18).of("/pair/")
	if len(again) == 0 || !strings.Contains(again[0].Why, "together with a male from 3 May to 10 May, and no eggs came") {
		t.Errorf("again:\n%s", again)
	}
	t.Run("a separation without a mark", func(t *testing.T) {
		b := matched("F1 female", "M1 male").done("05-03", "F1/pair/2027-05-01")
		b.Species[0].Pairing.UntilMonth = 12
		if p := b.plan("08-02", 7).of("/pair/"); len(p) == 0 || !strings.Contains(p[0].Why, "from 3 May to 10 May") {
			t.Errorf("got\n%s", p)
		}
	})
	t.Run("taken back", func(t *testing.T) {
		b := matched("F1 female", "M1 male").done("05-03", "F1/pair/2027-05-01").undo("05-04", "F1/pair/2027-05-01")
		b.plan("05-04", 20).none(t, "part-pair")
		if p := b.plan("05-08", 7).of("/pair/"); len(p) == 0 {
			t.Error("not paired")
		}
	})
}
