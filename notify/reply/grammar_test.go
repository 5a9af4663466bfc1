package reply

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"pgregory.net/rapid"
)

// theBooks knows a few records by their ids in any case, as the books do.
func theBooks(id string) (Target, bool) {
	for _, t := range []Target{
		{ID: "F03", Scope: husbandry.OfAnimal}, {ID: "M1.2", Scope: husbandry.OfAnimal}, {ID: "Ten", Scope: husbandry.OfAnimal}, {ID: "A3AAAA", Scope: husbandry.OfAnimal}, {ID: "Ünal", Scope: husbandry.OfAnimal},
		{ID: "E07", Scope: husbandry.OfEnclosure}, {ID: "3-7", Scope: husbandry.OfEnclosure}, {ID: "41g", Scope: husbandry.OfEnclosure},
		{ID: "C27-04", Scope: husbandry.OfClutch}, {ID: "back_room", Scope: husbandry.OfRoom},
		{ID: "cool", Scope: OfIncubator}, {ID: "small-crickets", Scope: husbandry.OfFeeder}, {ID: "locusts", Scope: husbandry.OfFeeder},
	} {
		if strings.EqualFold(id, string(t.ID)) {
			return t, true
		}
	}
	return Target{}, false
}

func TestParseUnderstands(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		// done
		{"done 1 3 5-7", "done 1 3 5-7"},
		{"done 1", "done 1"},
		{"Done 1,3.", "done 1 3"},
		{"done 1,5", "done 1 5"}, // a list: no task has half a number
		{"skip two", "skip 2"},
		{"skip two: too cold", "skip 2: too cold"},
		{"undo two, done three", "undo 2 | done 3"},
		{"note two: females digging", "note 2: females digging"},
		{"note 3 sheds, two ill", "note 3: sheds, two ill"},
		{"later five friday", "later 5 friday"},
		{"7 laid 6, 5 refused", "7 laid 6 | 5 refused"},
		{"DONE 1, 3, and 5!", "done 1 3 5"},
		{"done 1 and 3", "done 1 3"},
		{"done one and three", "done 1 3"},
		{"Done: 1 3", "done 1 3"},
		{"done 3 1 3 2", "done 1-3"},
		{"done #1 #3", "done 1 3"},
		{"done 1 to 4", "done 1-4"},
		{"done five through seven", "done 5-7"},
		{"done 5–7", "done 5-7"},
		{"done 5 - 7", "done 5-7"},
		{"done 1 & 2", "done 1 2"},
		{"done 01", "done 1"},
		{"did 1 3", "done 1 3"},
		{"- done 1", "done 1"},
		{"• done 1", "done 1"},
		{"* done 1", "done 1"},
		{"  done   1  ", "done 1"},
		{"done\u00a01\u202f3", "done 1 3"},
		{"\u200bdone 1\ufeff", "done 1"},
		{"ｄｏｎｅ　１　３", "done 1 3"},
		{"done １，３", "done 1 3"},
		{"done 1, 3, thanks", "done 1 3"},
		{"done 1 3 thank you!", "done 1 3"},
		{"please done 1", "done 1"},
		{"Hi, done 1 3", "done 1 3"},
		{"Good morning lizards, done 1 3", "done 1 3"},
		{"Hi all, done 1", "done 1"},
		{"Ok, done 1", "done 1"},
		{"done 9999", "done 9999"},
		// all
		{"all", "all"},
		{"All.", "all"},
		{"all done", "all"},
		{"All done, thanks!", "all"},
		{"done all", "all"},
		{"Thanks, all done", "all"},
		{"all but 4", "all but 4"},
		{"all but 4 and 6", "all but 4 6"},
		{"all except 4", "all but 4"},
		{"All done except for 4, 6", "all but 4 6"},
		{"all done, but 4", "all but 4"},
		{"done all but four", ""}, // "all but one" may mean any of them
		// skip
		{"skip 2", "skip 2"},
		{"skip 2 too cold", "skip 2: too cold"},
		{"skip 2: too cold", "skip 2: too cold"},
		{"skip 2, too cold", "skip 2: too cold"},
		{"skip 2 (too cold)", "skip 2: (too cold)"},
		{"skip 2 because too cold", "skip 2: too cold"},
		{"skip 2 4", "skip 2 4"},
		{"skip 2 and 4: fed yesterday", "skip 2 4: fed yesterday"},
		{"skip 2 - 3 eggs left", ""}, // tasks 2 and 3, or 3 eggs?
		{"skip 2: 3 eggs left", "skip 2: 3 eggs left"},
		// later
		{"later 5 2 days", "later 5 2 days"},
		{"later 5 in 2 days", "later 5 2 days"},
		{"later 5 a week", "later 5 7 days"},
		{"later 5 two weeks", "later 5 14 days"},
		{"later 5 one day", "later 5 1 day"},
		{"later 5 tomorrow", "later 5 1 day"},
		{"later 5 until Friday", "later 5 friday"},
		{"later 5 fri.", "later 5 friday"},
		{"later 5 sunday", "later 5 sunday"},
		{"later 5 2027-05-12", "later 5 2027-05-12"},
		{"later 5 6 2 days", "later 5 6 2 days"},
		{"later 5 and 6 friday: no crickets", "later 5 6 friday: no crickets"},
		// laid
		{"7 laid 6", "7 laid 6"},
		{"7 laid 6 2 slugs", "7 laid 6 and 2 slugs"},
		{"7 laid 6 and 2 slugs", "7 laid 6 and 2 slugs"},
		{"7 laid 6 eggs, 2 slugs.", "7 laid 6 and 2 slugs"},
		{"7 laid 6 (2 slugs)", "7 laid 6 and 2 slugs"},
		{"7 laid six plus one slug", "7 laid 6 and 1 slugs"},
		{"7 laid 6 and no slugs", "7 laid 6 and 0 slugs"},
		{"7 laid 4 slugs", "7 laid 0 and 4 slugs"},
		{"7 laid", "7 laid"},
		{"7 laid outside", "7 laid outside"},
		{"7 laid 6 and 2 slugs outside the nest box, 5 mated", "7 laid 6 and 2 slugs outside | 5 mated"},
		{"7 laid 4 outside the box", "7 laid 4 outside"},
		{"7 laid 2 more", "7 laid 2 more"},
		{"7 laid two more eggs, 8 refused", "7 laid 2 more | 8 refused"},
		{"9 mother f03", "9 mother F03"},
		{"C27-04 mother is unknown", ""},
		{"5 is digging", "5 digging"},
		{"F03: digging", "F03 digging"},
		{"7 has laid", "7 laid"},
		{"7: laid 6", "7 laid 6"},
		{"7. laid 6", "7 laid 6"},
		{"7) laid 6", "7 laid 6"},
		{"7 - laid 6", "7 laid 6"},
		{"seven laid six", ""}, // as "two ill", which may be two animals
		{"7 laid six", "7 laid 6"},
		{"7 slugs 4", "7 slugs 4"},
		// the other findings
		{"9 hatched 3", "9 hatched 3"},
		{"9 hatched three young", "9 hatched 3"},
		{"9 dead 2", "9 dead 2"},
		{"C27-04: dead one egg, 9 ended", "C27-04 dead 1 | 9 ended"},
		{"9 veins", "9 veins"},
		{"9 veins in 5 eggs", "9 veins 5"},
		{"9 veins, 5 refused", "9 veins | 5 refused"},
		{"9 has moved to cool", "9 moved to cool"},
		{"9 moved into the COOL.", "9 moved to cool"},
		{"4 weighs 41 g", "4 weighs 41 g"},
		{"4 weighed 41g", "4 weighs 41 g"},
		{"4 weighs 41.5g", "4 weighs 41.5 g"},
		{"4 weighs 41,5 g", "4 weighs 41.5 g"},
		{"4 weighs 41,5g", "4 weighs 41.5 g"},
		{"4 weighs forty 1 g", ""},
		{"4 weighs twelve grams", "4 weighs 12 g"},
		{"4 weighs 1.2 kg", "4 weighs 1200 g"},
		{"4 weighs 0.25 kg", "4 weighs 250 g"},
		// 28.349523125 g: NIST Handbook 44, appendix C.
		{"4 weighs 1 oz", "4 weighs 28.35 g"},
		{"4 weighs 1.5oz", "4 weighs 42.52 g"},
		{"6 added 60 ml", "6 added 60 ml"},
		{"6 added 60ml water", ""},
		{"6 added 1 litre", "6 added 1000 ml"},
		// 29.5735295625 ml: the same source.
		{"6 added 2 fl oz", "6 added 59.15 ml"},
		{"6 added 2 fl. oz.", "6 added 59.15 ml"},
		{"8 refused", "8 refused"},
		{"8 refused food", "8 refused"},
		{"5 mated", "5 mated"},
		// the sex of one animal and of many
		{"12 male", "12 male"},
		{"12 is female", "12 female"},
		{"F03 unsure.", "F03 unsure"},
		{"12: sexed 2.1.3", "12 sexed 2.1.3"},
		{"12 sexed 2.1", "12 sexed 2.1.0"},
		{"12 sexed 0.0.1", "12 unsure"},
		{"12 male, 13 female", "12 male | 13 female"},
		{"done 1, 12 male", "done 1 | 12 male"},
		// illness
		{"8 ill", "8 ill"},
		{"8 is ill!", "8 ill"},
		{"F03 ill limp, sunken eyes", "F03 ill: limp, sunken eyes"},
		{"8 ill: coccidia in the sample", "8 ill: coccidia in the sample"},
		{"8 ill, done 3", "8 ill | done 3"},
		{"8 ill limp; done 3", "8 ill: limp | done 3"},
		// a shed
		{"F03 shed", "F03 shed"},
		{"F03 has shed, done 3", "F03 shed | done 3"},
		{"12 shed whole", "12 shed"},
		{"F03 shed stuck", "F03 shed stuck"},
		{"F03 shed stuck on two toes, tail tip", "F03 shed stuck: on two toes, tail tip"},
		{"12 shed stuck: left eye; done 3", "12 shed stuck: left eye | done 3"},
		// the UV index
		{"13 uvi 3.1", "13 uvi 3.1"},
		{"E07 UVI 3,25, done 3", "E07 uvi 3.25 | done 3"},
		{"13 uvi 0", "13 uvi 0"},
		// the weight of each animal of a group
		{"4 weighs 3.1 3.4 5.2 g", "4 weighs 3.1 3.4 5.2 g"},
		{"4 weighs 3.1, 3.4 and 5.2 g, done 3", "4 weighs 3.1 3.4 5.2 g | done 3"},
		{"4 weighs 3,1 3,4, 5,2g", "4 weighs 3.1 3.4 5.2 g"},
		{"4 weighs 3 4 5 grams", "4 weighs 3 4 5 g"},
		{"4 weighs 0.1 0.2 oz", "4 weighs 2.83 5.67 g"},
		{"5 gravid", "5 gravid"},
		{"5 is gravid", "5 gravid"},
		{"5 not gravid", "5 not gravid"},
		{"5 is not gravid", "5 not gravid"},
		{"5 isn’t gravid", "5 not gravid"},
		// note and undo
		{"note 2 female digging", "note 2: female digging"},
		{"Note 2: Female digging, again", "note 2: Female digging, again"},
		{"note 2 - all well", "note 2: all well"},
		{"note f03 ate well", "note F03: ate well"},
		{"undo 3", "undo 3"},
		{"undo 3 4", "undo 3 4"},
		{"undo 3 and 4", "undo 3 4"},
		{"undo F03", "undo F03"},
		{"undo entry K7Q2M4", "undo entry K7Q2M4"},
		{"Undo entry k7q2m4, done 3.", "undo entry K7Q2M4 | done 3"},
		{"undo K7Q2M4", "undo entry K7Q2M4"},
		{"undo K7Q2M4XX", "undo entry K7Q2M4XX"},
		{"undo A3AAAA", "undo A3AAAA"}, // an animal of the books
		{"undo entry A3AAAA", "undo entry A3AAAA"},
		// records instead of numbers
		{"F03 laid 6", "F03 laid 6"},
		{"f03 weighs 41 g", "F03 weighs 41 g"},
		{"C27-04 hatched 3", "C27-04 hatched 3"},
		{"M1.2 mated", "M1.2 mated"},
		{"ÜNAL refused", "Ünal refused"},
		{"3-7 refused", "3-7 refused"},
		{"41g refused", "41g refused"},
		// several in a line
		{"done 1 3, 7 laid 6", "done 1 3 | 7 laid 6"},
		{"done 1, 3, 7 laid 6, 2 slugs and 9 hatched 3", "done 1 3 | 7 laid 6 and 2 slugs | 9 hatched 3"},
		{"7 laid 6, 8 slugs 2", "7 laid 6 | 8 slugs 2"},
		{"done 1; skip 2; later 5 friday", "done 1 | skip 2 | later 5 friday"},
		{"done 1. 7 laid 6.", "done 1 | 7 laid 6"},
		{"done 1 and 8 refused", "done 1 | 8 refused"},
		{"done 1, F03 laid 6", "done 1 | F03 laid 6"},
		{"skip 2, done 3", "skip 2 | done 3"},
		{"skip 2 too cold, done 3", "skip 2: too cold | done 3"},
		{"skip 2 too cold; 8 refused", "skip 2: too cold | 8 refused"},
		{"note 2 female digging. Done 3.", "note 2: female digging | done 3"},
		{"later 5 friday, done 1", "later 5 friday | done 1"},
		{"all but 4, 4 weighs 41 g", "all but 4 | 4 weighs 41 g"},
		// several lines
		{"Hi,\n\ndone 1\n8 refused\n\nThanks\nSam", "done 1 | 8 refused"},
		{"done 1\r\n8 refused\r\n", "done 1 | 8 refused"},
	} {
		p := Parse(c.text, theBooks)
		if got := texts(p.Commands); got != c.want {
			t.Errorf("%q: understood %q, want %q (refused %v)", c.text, got, c.want, p.Refused)
		}
		if c.want != "" && len(p.Refused) > 0 {
			t.Errorf("%q: refused %v", c.text, p.Refused)
		}
		if c.want == "" && len(p.Refused) == 0 {
			t.Errorf("%q: neither understood nor refused (unread %q)", c.text, p.Unread)
		}
	}
}

// sameCommand compares commands, but not the form in which the writer gave their
// numbers.
func sameCommand(a, b Command) bool {
	a.ranges, b.ranges = nil, nil
	return reflect.DeepEqual(a, b)
}

func TestParseGivesCommand(t *testing.T) {
	n := func(i int) *int { return &i }
	g := husbandry.Grams(41.5)
	ml := husbandry.Millilitres(60)
	yes, no := true, false
	for _, c := range []struct {
		text string
		want Command
	}{
		{"done 1 5-7", Command{Verb: Done, Numbers: []int{1, 5, 6, 7}}},
		{"all", Command{Verb: All}},
		{"all but 4", Command{Verb: AllBut, Numbers: []int{4}}},
		{"skip 2 too cold", Command{Verb: Skip, Numbers: []int{2}, Why: "too cold"}},
		{"later 5 2 days", Command{Verb: Later, Numbers: []int{5}, When: When{Days: 2}}},
		{"later 5 sunday", Command{Verb: Later, Numbers: []int{5}, When: When{ByWeekday: true, Weekday: time.Sunday}}},
		{"later 5 2027-05-12", Command{Verb: Later, Numbers: []int{5}, When: When{Date: civil.MustParse("2027-05-12")}}},
		{"7 laid 6 2 slugs", Command{Verb: Found, Numbers: []int{7}, Finding: tasks.Finding{Laid: n(6), Slugs: n(2)}}},
		{"7 laid", Command{Verb: Found, Numbers: []int{7}, Finding: tasks.Finding{Laid: n(tasks.Uncounted)}}},
		{"7 slugs 4", Command{Verb: Found, Numbers: []int{7}, Finding: tasks.Finding{Slugs: n(4)}}},
		{"9 hatched 3", Command{Verb: Found, Numbers: []int{9}, Finding: tasks.Finding{Hatched: n(3)}}},
		{"4 weighs 41.5 g", Command{Verb: Found, Numbers: []int{4}, Finding: tasks.Finding{Weighs: &g}}},
		{"E07 added 60 ml", Command{Verb: Found, Record: Target{ID: "E07", Scope: husbandry.OfEnclosure}, Finding: tasks.Finding{Added: &ml}}},
		{"9 dead 2", Command{Verb: Found, Numbers: []int{9}, Finding: tasks.Finding{Dead: n(2)}}},
		{"9 veins 5", Command{Verb: Found, Numbers: []int{9}, Finding: tasks.Finding{Veins: n(5)}}},
		{"9 moved to cool", Command{Verb: Found, Numbers: []int{9}, Finding: tasks.Finding{Moved: "cool"}}},
		{"9 ended", Command{Verb: Found, Numbers: []int{9}, Finding: tasks.Finding{Ended: true}}},
		{"5 ordered 3", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Ordered: n(3)}}},
		{"5 ordered 3 boxes", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Ordered: n(3)}}},
		{"5 has ordered 2 tubs", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Ordered: n(2)}}},
		{"locusts ordered one box", Command{Verb: Found, Record: Target{ID: "locusts", Scope: husbandry.OfFeeder}, Finding: tasks.Finding{Ordered: n(1)}}},
		{"Small-Crickets stock 200", Command{Verb: Found, Record: Target{ID: "small-crickets", Scope: husbandry.OfFeeder}, Finding: tasks.Finding{Stock: n(200)}}},
		{"locusts: stock 0", Command{Verb: Found, Record: Target{ID: "locusts", Scope: husbandry.OfFeeder}, Finding: tasks.Finding{Stock: n(0)}}},
		{"5 stock 40", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Stock: n(40)}}},
		{"8 refused", Command{Verb: Found, Numbers: []int{8}, Finding: tasks.Finding{Refused: true}}},
		{"5 mated", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Mated: true}}},
		{"5 gravid", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Gravid: &yes}}},
		{"5 not gravid", Command{Verb: Found, Numbers: []int{5}, Finding: tasks.Finding{Gravid: &no}}},
		{"note 2 digging", Command{Verb: Note, Numbers: []int{2}, Finding: tasks.Finding{Note: "digging"}}},
		{"undo 3", Command{Verb: Undo, Numbers: []int{3}}},
	} {
		p := Parse(c.text, theBooks)
		if len(p.Commands) != 1 || !sameCommand(p.Commands[0], c.want) {
			t.Errorf("%q: meant %+v, want %+v", c.text, p.Commands, c.want)
		}
	}
}

// A line that looks like a command but is not one is refused with a helpful
// reason.
func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, why string }{
		{"1 3", `say "done 1 3"`},
		{"1, 3.", `say "done 1, 3"`},
		{"5-7", `say "done 5-7"`},
		{"4", `say "done 4"`},
		{"laid 7 6", "say the number first"},
		{"laid 7", "say the number first"},
		{"refused 8", "say the number first"},
		{"7 laid 6 2", `say "laid 6 and 2 slugs"`},
		{"7 laid 0", "say done"},
		{"7 8 laid 6", "say what was found"},
		{"5-7 refused", "about one task"},
		{"9 hatched", "say how many"},
		{"9 hatched 0", "say done"},
		{"7 laid 0 more", "say done"},
		{"9 mother E07", "say which animal"},
		{"9 dead", "say how many"},
		{"9 dead 0", "say done"},
		{"5 ordered", "say how many"},
		{"5 ordered 0", "say skip"},
		{"ordered 3", "say the number first"},
		{"locusts stock", "say how many"},
		{"locusts stock 3 boxes", "the command ends before"},
		{"9 moved", "say which incubator"},
		{"9 moved to E07", "say which incubator"},
		{"4 weighs 41", "say g or oz"},
		{"4 weighs", "say how much"},
		{"4 weighs 41 ml", "is not a weight"},
		{"4 weighs 0 g", "cannot be right"},
		{"4 weighs 20 kg", "cannot be right"},
		{"4 weighs 1,500 g", "a thousand or a decimal"},
		{"4 weighs 1.500 g", "a thousand or a decimal"},
		{"4 weighs heavy", "is not a weight"},
		{"4 weighs 3 4 5", "say g or oz"},
		{"4 weighs 3,4,5 g", "say g or oz"},
		{"4 weighs 3.1 0 2 g", "cannot be right"},
		{"4 weighs 1.500 2 g", "a thousand or a decimal"},
		{"4 weighs 3, 5 refused", "is not a weight"},
		{"12 sexed", "males.females.unsure"},
		{"12 sexed 3", "males.females.unsure"},
		{"12 sexed male", "males.females.unsure"},
		{"12 sexed 0.0.0", "nothing to record"},
		{"13 uvi", "say the index"},
		{"13 uvi strong", "say the index"},
		{"13 uvi 310", "cannot be right"},
		{"13 uvi 3.1 3.2", "the command ends before"},
		{"12 male female", "the command ends before"},
		{"male 12", "say the number first"},
		{"8 ill 3", "colon before the signs"},
		{"F03 shed stuck 3 toes", "colon before the places"},
		{"F03 shed toes", "the command ends before"},
		{"shed F03", "say the number first"},
		{"skip 2 ill", "a finding or a reason"},
		{"done 3 female", "a finding or a reason"},
		{"6 added 60", "say ml or fl oz"},
		{"6 added 2 oz", "is not an amount"},
		{"6 added some water", "is not an amount"},
		{"done", "needs the numbers"},
		{"done with the whole room", "needs the numbers"},
		{"done 1 3 today", `before "today"`},
		{"done 1?", `before "?"`},
		{"done 7-5", "runs backwards"},
		{"done 3 days ago", "needs the numbers"},
		{"done 12345", `no task has the number "12345"`},
		{"done 99999999999999999999", `no task has the number "99999999999999999999"`},
		{"done 1-1000000000", `no task has the number "1-1000000000"`},
		{"done 1 3-65000", `no task has the number "3-65000"`},
		// half numbers
		{"done 1.5", `"1.5" is not a whole number`},
		{"done 1 2.5", `"2.5" is not a whole number`},
		{"done 1½", `before "½"`},
		{"done 1/2", `before "/"`},
		{"undo 1.5", `"1.5" is not a whole number`},
		{"all but 1.5", `"1.5" is not a whole number`},
		{"later 5 1.5 days", `"1.5" is not a whole number`},
		{"later 5 1,5 days", "say until when"},
		{"7 laid 2.5", `"2.5" is not a whole number`},
		{"7 laid 2½", `"2½" is not a whole number`},
		{"7 laid 6,5", `is "6,5" a part, or are these two numbers?`},
		{"7 laid 6,5 refused", `is "6,5" a part, or are these two numbers?`},
		{"7 laid 6 and 1.5 slugs", `"1.5" is not a whole number`},
		{"7 laid 1 and 2,5 slugs", `is "2,5" a part`},
		{"9 hatched 1,5", `is "1,5" a part`},
		{"9 dead 0.5", `"0.5" is not a whole number`},
		{"9 veins 2.5", `"2.5" is not a whole number`},
		{"5 ordered 2½ boxes", `"2½" is not a whole number`},
		{"locusts stock 1,500", `is "1,500" a part`},
		// number words that may begin a remark
		{"two ill", "write the number in figures"},
		{"one is ill", "write the number in figures"},
		{"two refused", "write the number in figures"},
		{"three laid", "write the number in figures"},
		{"done 3, two ill", "write the number in figures"},
		{"7 laid six, two ill", "write the number in figures"},
		{"done one looks thin", `before "looks"`},
		{"done two ill", "a finding or a reason"},
		{"skip two eggs are missing", "write the number in figures"},
		{"skip two too cold", "write the number in figures"},
		{"note two females digging", "write the number in figures"},
		{"all but one", "write the numbers in figures"},
		{"all done but one, two ill", "in figures"},
		// other scripts' figures
		{"done \u0661", "write the numbers with the figures 0 to 9"},
		{"done 1\u0662", "write the numbers with the figures 0 to 9"},
		{"done 1-9999 1-9999", "too many numbers"},
		{"done 1 3 7 laid 6", `put a comma before "7"`},
		{"done 1 skip 2", `put a comma before "skip"`},
		{"7 done", "say the verb first"},
		{"7 skipped", `as in "skip 7"`},
		{"5 later friday", "say the verb first"},
		{"all 4 done", `"all" stands alone`},
		{"all good here", `"all" stands alone`},
		{"all but", "needs the numbers"},
		{"all but 4 and", `ends with "and"`},
		{"skip", "needs the numbers"},
		{"skip 2 3 eggs left", "put a colon"},
		{"skip 2 4 too cold", "put a colon"},
		{"skip 2, don 3", "after a colon"},
		{"later 5", "say until when"},
		{"later 5 next friday", "is the next one"},
		{"later 5 0 days", "not a number of days"},
		{"later 5 12 May", "say until when"},
		{"note", "say what the note is about"},
		{"note 2", "say what to note"},
		{"note 2 and 3 digging", "put a colon"},
		{"note female digging", "say what the note is about"},
		{"note 2 gave 3 crickets, 8 refused", "write it on a line of its own"},
		{"note 2 looked well, all done", "write it on a line of its own"},
		{"skip 2 too cold and done 3", "write it on a line of its own"},
		{"undo", "needs the numbers"},
		{"undo entry", "needs the numbers"},
		{"undo entry 3", "needs the numbers"},
		{"undo K7Q2", "needs the numbers"},
		{"undo entry K7Q2M4 K7Q2M5", "the command ends before"},
		{"Hi, all", "greeting"},
		{"ten laid 6", "a number and a record"},
		{"F03 looked as if she had laid", "say what was found"},
		{"and done 3", `begins with "and"`},
		{"done 1, and the lamp of E07 is out", "neither a command"},
	} {
		p := Parse(c.text, theBooks)
		if len(p.Commands) > 0 {
			t.Errorf("%q: understood %q, want it refused", c.text, texts(p.Commands))
			continue
		}
		if len(p.Refused) != 1 || !strings.Contains(p.Refused[0].Why, c.why) || p.Refused[0].Text != c.text {
			t.Errorf("%q: refused %q, want one that says %q (unread %q)", c.text, p.Refused, c.why, p.Unread)
			continue
		}
		// An answer contains the reason, and may come back as a quote.
		for width := 10; width <= 100; width++ {
			if q := Parse(rewrap(p.Refused[0].Why, width), theBooks); len(q.Commands) > 0 {
				t.Errorf("%q: the reason %q at width %d commands %s", c.text, p.Refused[0].Why, width, texts(q.Commands))
			}
		}
	}
}

// Lines that are complete commands, but perhaps not everything that was meant.
func TestLinesThatBelongTogether(t *testing.T) {
	for _, c := range []struct {
		name, text, want string
		refused          int
	}{
		{"a wrapped list", "done 1 2 3 4 5\n6 7", "", 2},
		{"a wrapped exception", "all but 4\nand 6", "", 2},
		{"an exception on its own line", "all done\nexcept 4 and 6", "", 2},
		{"an exception in prose", "all done\nbut the lamp of E09 is broken", "", 2},
		{"an exception further down", "all\n\n4 tomorrow", "", 2},
		{"a clear slip takes nothing out of all", "all\n4 weighs 41", "all", 1},
		{"numbers after a blank line", "done 1 2\n\n6 7", "done 1 2", 1},
		{"a finding is not wrapped", "7 laid 6\n8", "7 laid 6", 1},
		{"a sentence that ends in all", "Thank you, that is\nall", "", 1},
		{"thanks that end in all", "Thanks\nall", "", 1},
		{"a greeting of all", "Good morning\nall!", "", 1},
		{"a greeting, and the round", "Good morning,\nall done", "all", 0},
		{"a greeting, a line, and the round", "Hi,\n\nall", "all", 0},
		{"a sentence of everything that was not", "I am sorry, this morning I did not get\nall done", "", 1},
		{"a sentence before the round", "The lamp of E07 is out.\nall but 4", "all but 4", 0},
		{"a sentence that goes on below", "Fed them.\nall but 4\nof them eat", "", 1},
		{"a line below that had room above", "all done\nlamp of E07 flickers", "all", 0},
		{"a sentence of others", "None of the females was seen, not at\nall but 4 was digging", "", 1},
		{"one bad line leaves the others", "done 1\nskipp 2\n8 refused", "done 1 | 8 refused", 0},
	} {
		p := Parse(c.text, theBooks)
		if got := texts(p.Commands); got != c.want || len(p.Refused) != c.refused {
			t.Errorf("%s: understood %q, want %q; refused %v, want %d", c.name, got, c.want, p.Refused, c.refused)
		}
	}
}

// Outlook answers with its own text of the digest's HTML: each cell on its own
// line, numbers alone.
func TestQuotesWithoutMarksAreNotRefused(t *testing.T) {
	const quote = "Tuesday 24 November\n\n1\n\nTop up the nest box of E07\n\n2\nLook for eggs; 18 % today\nexcept C27-04\n4 Weigh F03\n"
	const head = "From: nestround\nSent: Tuesday, November 24, 2026 6:00 AM\nSubject: x\n\n"
	for _, c := range []struct {
		name, text, want string
		refused          int
	}{
		{"below a header block", "all\n\n" + head + quote, "all", 0},
		{"below a German header block", "all\n\nVon: nestround\nGesendet: Dienstag\n\n" + quote, "all", 0},
		{"below a rule", "all\n____________________\n" + quote, "all", 0},
		{"below words in dashes", "all\n-------- Original message --------\n" + quote, "all", 0},
		{"a mistake above is still refused", "4 weighs 41\n\n" + head + quote, "", 1},
		{"one field is no header block", "From: my phone\n4 weighs 41\n", "", 1},
		// Commands below a quote count. Then the lines around them are not
		// silenced.
		{"a command below", "all\n\n" + head + "done 3\n4 tomorrow\n", "done 3", 2},
	} {
		p := Parse(c.text, theBooks)
		if got := texts(p.Commands); got != c.want || len(p.Refused) != c.refused {
			t.Errorf("%s: understood %q, want %q; refused %v, unread %q", c.name, got, c.want, p.Refused, p.Unread)
		}
	}
}

func TestParseLeavesUnread(t *testing.T) {
	for _, text := range []string{
		"the lamp of E07 is out", "skipp 2", "I will do the rest tomorrow", "wash 7 with soap", "Sam", "hello there 7 laid 6",
		"\"done 1 3\"", "donee 1", "F03 was lively today", "ok all.",
	} {
		p := Parse(text, theBooks)
		if len(p.Commands) > 0 || len(p.Refused) > 0 || len(p.Unread) != 1 || p.Unread[0] != text {
			t.Errorf("%q: commands %v, refused %v, unread %q", text, p.Commands, p.Refused, p.Unread)
		}
	}
}

func TestParseSilencesGreetings(t *testing.T) {
	for _, text := range []string{
		"", "   ", "Hi,", "Hello there!", "Good morning", "Dear all,", "Hi all", "Thanks", "Thank you!", "Best regards,", "Cheers",
		"Sent from my iPhone", "Get Outlook for iOS<https://aka.ms/o0ukef>", "Von meinem iPhone gesendet", "Gesendet von Outlook für Android",
		"________________________________", "-------- Original message --------", "From: nestround <lizards@example.org>",
		"Gesendet: Dienstag, 24. November 2026 06:00", "On Tue, 24 Nov 2026 at 06:00, nestround <lizards@example.org> wrote:",
		"lizards@example.org> wrote:", "--",
	} {
		p := Parse(text, theBooks)
		if len(p.Commands) > 0 || len(p.Refused) > 0 || len(p.Unread) > 0 {
			t.Errorf("%q: commands %v, refused %v, unread %q", text, p.Commands, p.Refused, p.Unread)
		}
	}
}

// The writer saw other characters, or another order, than the grammar reads.
func TestDisguisedLinesAreRefused(t *testing.T) {
	for name, text := range map[string]string{
		"right to left":               "done \u202e3 1\u202c",
		"an isolate":                  "7 laid \u20671\u20696",
		"an embedding":                "all but \u202b4",
		"a mark of direction":         "undo 3\u200f",
		"a mark to the right":         "\u200edone 1",
		"an Arabic mark":              "skip 2: cold\u061c",
		"a note":                      "note 2: \u202egnihton",
		"a character that deletes":    "done 1\b3",
		"an escape sequence":          "done 1\x1b[2K3",
		"a mark of the end of a text": "done 1\x033",
	} {
		p := Parse(text, theBooks)
		if len(p.Commands) > 0 || len(p.Refused) != 1 {
			t.Errorf("%s: %v, refused %v, unread %q", name, p.Commands, p.Refused, p.Unread)
			continue
		}
		for _, r := range p.Refused[0].Text {
			if isBidi(r) || unicode.IsControl(r) {
				t.Errorf("%s: the refused text has %U", name, r)
			}
		}
	}
	// Prose in a language that is written from right to left is no command.
	if p := Parse("\u200f\u05e9\u05dc\u05d5\u05dd\u200f\ndone 3", theBooks); texts(p.Commands) != "done 3" || len(p.Refused) > 0 {
		t.Errorf("prose: %v, refused %v", p.Commands, p.Refused)
	}
}

func TestLimitsOfAText(t *testing.T) {
	// A text is read whole or not at all.
	for name, text := range map[string]string{
		"too long":                  "done 1\n" + strings.Repeat("x\n", 40<<10),
		"too many commands":         strings.Repeat("done 1\n", 201),
		"too many commands, a line": strings.Repeat("8 refused,", 201),
		"a note too long":           "note 2: " + strings.Repeat("x", 1001),
	} {
		p := Parse(text, nil)
		if len(p.Commands) > 0 || len(p.Refused) != 1 {
			t.Errorf("%s: %d commands, refused %v", name, len(p.Commands), p.Refused)
		}
		for _, r := range p.Refused {
			if len(r.Text) > 300 {
				t.Errorf("%s: quotes %d bytes", name, len(r.Text))
			}
		}
	}
	if p := Parse(strings.Repeat("done 1\n", 200), nil); len(p.Commands) != 200 {
		t.Errorf("200 commands: got %d", len(p.Commands))
	}
	if p := Parse("done 1"+strings.Repeat(" 1", 4<<10), nil); len(p.Commands) > 0 || len(p.Unread) != 1 {
		t.Errorf("a line too long: %d commands, unread %d", len(p.Commands), len(p.Unread))
	}
}

// prose has texts of a digest. None of them may be a command, even if a mail
// program breaks its lines in a quote.
var prose = []string{
	"Tuesday 24 November: 9 tasks, 2 overdue",
	" 1  Top up the nest box of E07",
	"12  Look for eggs in the nest box of E07",
	" 4  Weigh F03",
	"overdue since 21 November; 60 ml, the last one was 5 days before that",
	"day 41 of clutch C27-04 (laid 12 May, 28.0 °C): hatching most likely 22-28 June, 18 % today",
	"day 3 of 7; F03 weighed least of all on 20 November, 41 g after she had laid 6 eggs",
	"due 3 days after the last one; slack of 1 day before and 2 days after",
	"a female past her time is not put off; call the veterinarian",
	"gut-load the crickets 24-48 h before the feeding of 8 enclosures",
	"Hatch watch of C27-04: 3 of 6 young so far, the rest within 4 days",
	"Coming week: lay window of F03 opens on Thursday, pairing of M1.2 until 30 June",
	"Write what you did with the numbers above, for instance \"done N N\" or \"N laid N\".",
	"Wash your hands after handling animals, their boxes and their water.",
	"stock: 400 crickets are 6 days of feeding; order by Friday",
	"2 feedings lapsed since Sunday (E09, E14)",
	"Ref K7Q2 abcdefghijklmnopqrstuvwxyz",
}

func rewrap(text string, width int) string {
	var lines []string
	line := ""
	for _, w := range strings.Fields(text) {
		if line != "" && len(line)+1+len(w) > width {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += w
	}
	return strings.Join(append(lines, line), "\n")
}

func TestProseCommandsNothing(t *testing.T) {
	for _, text := range prose {
		for width := 20; width <= 100; width++ {
			if p := Parse(rewrap(text, width), theBooks); len(p.Commands) > 0 {
				t.Errorf("%q at width %d commands %s", text, width, texts(p.Commands))
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		// Several lines joined and broken again, as in a flowed quote.
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(prose), 1, 4).Draw(t, "lines"), " ")
		prefix := rapid.SampledFrom([]string{"", " ", "- ", "* ", "| "}).Draw(t, "prefix")
		width := rapid.IntRange(20, 100).Draw(t, "width")
		quoted := prefix + strings.ReplaceAll(rewrap(text, width), "\n", "\n"+prefix)
		if p := Parse(quoted, theBooks); len(p.Commands) > 0 {
			t.Fatalf("%q commands %s", quoted, texts(p.Commands))
		}
	})
}

// commandGen generates commands in the form that Parse returns.
func commandGen() *rapid.Generator[Command] {
	return rapid.Custom(func(t *rapid.T) Command {
		numbers := func(max int) []int {
			m := make(map[int]bool)
			for _, n := range rapid.SliceOfN(rapid.IntRange(0, 30), 1, max).Draw(t, "numbers") {
				m[n] = true
			}
			var out []int
			for n := range 31 {
				if m[n] {
					out = append(out, n)
				}
			}
			return out
		}
		words := func() string {
			return rapid.StringMatching(`[a-z]{2,8}x( [a-zäöü]{1,8}x){0,3}`).Draw(t, "words")
		}
		count := func() *int { n := rapid.IntRange(1, 9999).Draw(t, "count"); return &n }
		c := Command{Verb: rapid.SampledFrom([]Verb{Done, All, AllBut, Skip, Later, Undo, Note, Found}).Draw(t, "verb")}
		switch c.Verb {
		case All:
			return c
		case Note, Found:
			if rapid.Bool().Draw(t, "by record") {
				c.Record, _ = theBooks(rapid.SampledFrom([]string{"F03", "E07", "C27-04", "M1.2", "3-7"}).Draw(t, "record"))
			} else {
				c.Numbers = numbers(1)
			}
		default:
			c.Numbers = numbers(8)
			if c.Verb == Undo && rapid.Bool().Draw(t, "by entry") {
				c.Numbers, c.Entry = nil, tasks.Tag(words())
			}
		}
		switch c.Verb {
		case Note:
			c.Finding.Note = words()
		case Skip, Later:
			if rapid.Bool().Draw(t, "with a reason") {
				c.Why = words()
			}
			if c.Verb == Later {
				switch rapid.IntRange(0, 2).Draw(t, "when") {
				case 0:
					c.When.Days = *count()
				case 1:
					c.When.ByWeekday, c.When.Weekday = true, time.Weekday(rapid.IntRange(0, 6).Draw(t, "weekday"))
				case 2:
					c.When.Date = civil.New(2027, 1, rapid.IntRange(1, 365).Draw(t, "day"))
				}
			}
		case Found:
			switch rapid.IntRange(0, 22).Draw(t, "finding") {
			case 0:
				c.Finding.Laid = count()
			case 1:
				c.Finding.Laid, c.Finding.Slugs = count(), count()
			case 2:
				u := tasks.Uncounted
				c.Finding.Laid = &u
			case 3:
				c.Finding.Slugs = count()
			case 4:
				c.Finding.Hatched = count()
			case 5:
				g := husbandry.Grams(rapid.IntRange(1, 999900).Draw(t, "hundredths")) / 100
				c.Finding.Weighs = &g
			case 6:
				ml := husbandry.Millilitres(rapid.IntRange(1, 999900).Draw(t, "hundredths")) / 100
				c.Finding.Added = &ml
			case 7:
				c.Finding.Refused = true
			case 19:
				x := float64(rapid.IntRange(0, 3000).Draw(t, "index")) / 100
				c.Finding.UVI = &x
			case 20:
				c.Finding.Sexed = &tasks.Sexed{Males: rapid.IntRange(0, 3).Draw(t, "males"), Females: rapid.IntRange(0, 3).Draw(t, "females"), Unsure: rapid.IntRange(1, 3).Draw(t, "unsure")}
			case 21:
				if c.Finding.Ill = true; rapid.Bool().Draw(t, "with signs") {
					c.Finding.Note = words()
				}
			case 22:
				sum := 0
				for _, n := range rapid.SliceOfN(rapid.IntRange(1, 99900), 2, 6).Draw(t, "hundredths") {
					c.Finding.Each = append(c.Finding.Each, husbandry.Grams(float64(n)/100))
					sum += n
				}
				mean := husbandry.Grams(math.Round(float64(sum)/float64(len(c.Finding.Each))) / 100)
				c.Finding.Weighs = &mean
			case 8:
				c.Finding.Dead = count()
			case 9:
				c.Finding.Veins = count()
			case 10:
				u := tasks.Uncounted
				c.Finding.Veins = &u
			case 11:
				c.Finding.Moved = "cool"
			case 12:
				c.Finding.Ended = true
			case 13:
				c.Finding.More = count()
			case 14:
				c.Finding.Laid, c.Finding.Outside = count(), true
			case 15:
				u := tasks.Uncounted
				c.Finding.Laid, c.Finding.Outside = &u, true
			case 16:
				c.Finding.Mother = "F03"
			case 17:
				c.Finding.Digging = true
			case 18:
				b := rapid.Bool().Draw(t, "gravid")
				c.Finding.Gravid = &b
			}
		}
		return c
	})
}

func TestHundredWeightsInOneLine(t *testing.T) {
	for n, ok := range map[int]bool{100: true, 101: false} {
		p := Parse("4 weighs"+strings.Repeat(" 3", n)+" g", theBooks)
		if (len(p.Commands) == 1) != ok || (len(p.Refused) == 1 && strings.Contains(p.Refused[0].Why, "more than 100 weights")) == ok {
			t.Errorf("%d weights: %v, refused %v", n, p.Commands, p.Refused)
		}
	}
}

// A printed command must be read back with the same meaning, alone and beside
// other commands.
func TestCommandsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cs := rapid.SliceOfN(commandGen(), 1, 5).Draw(t, "commands")
		var lines []string
		for _, c := range cs {
			lines = append(lines, c.String())
		}
		p := Parse(strings.Join(lines, "\n"), theBooks)
		if !slices.EqualFunc(p.Commands, cs, sameCommand) || len(p.Refused)+len(p.Unread) > 0 {
			t.Fatalf("%q read back as %q, refused %v", lines, texts(p.Commands), p.Refused)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"done 1 3 5-7", "Done 1,3. Thanks!", "all but 4 and 6", "skip 2 (too cold), done 3", "later 5 until friday: no crickets",
		"7 laid 6 and 2 slugs; 9 hatched 3", "4 weighs 41,5g", "6 added 2 fl. oz.", "note F03: a, b; c. d", "undo 3\n1 3\nall", "undo entry K7Q2M4, undo k7q2m4",
		"9 dead 2, 9 veins in 5 eggs; 9 moved to cool", "C27-04 ended", "7 laid 2 more, 7 laid 6 outside the box", "9 mother F03; 5 digging",
		"12 male, 13 unsure", "13 uvi 3,1, 8 ill", "12 sexed 2.1.3; 8 ill: limp, weak", "4 weighs 3,1 3.4, 5 and 6 g", "8 ill (limp) and done 3",
		"ten laid 6", "skip 2: because (x)", "note 1: ((a))", "note 1 --- ,;: because because", "３-７ refused",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p := Parse(text, theBooks)
		if len(p.Commands) > maxCommands {
			t.Fatalf("%d commands", len(p.Commands))
		}
		for _, c := range p.Commands {
			again := Parse(c.String(), theBooks)
			if len(again.Commands) != 1 || !sameCommand(again.Commands[0], c) {
				t.Fatalf("%q prints as %q, which reads as %+v, not %+v; refused %v", text, c, again.Commands, c, again.Refused)
			}
		}
		for _, r := range p.Refused {
			if r.Text == "" || r.Why == "" {
				t.Fatalf("%q: refused without a word: %+v", text, r)
			}
		}
		if q := Parse(text, theBooks); !reflect.DeepEqual(p, q) {
			t.Fatalf("%q read twice differs", text)
		}
	})
}

func BenchmarkParseAnswer(b *testing.B) {
	for b.Loop() {
		if p := Parse("Hi,\n\ndone 1 3 5-7, 7 laid 6 and 2 slugs\nskip 2 too cold\n\nThanks\nSam\n", theBooks); len(p.Commands) != 3 {
			b.Fatal(p)
		}
	}
}

func BenchmarkParseNearMisses(b *testing.B) {
	text := ""
	for i := 0; len(text) < maxText-200; i++ {
		text += fmt.Sprintf("note %d a, note %d b, skip %d c and done %d x; all but 4 and\n", i, i, i, i)
	}
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		Parse(text, theBooks)
	}
}
