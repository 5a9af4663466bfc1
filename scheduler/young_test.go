package scheduler_test

import (
	"strings"
	"testing"
	"testing/fstest"

	files "nestround/config/books"
	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// nursery is a keeper's books with the built-in care sheets and common
// routines. Juno and Bosco are a pair of leopard geckos (first food from day 3,
// sexable at 90 days, subadult at 120). Juno laid clutch K on 1 May; it is in
// the incubator.
const nursery = `
[[room]]
id = "south"
[[room]]
id = "north"
[[enclosure]]
id = "E1"
room = "south"
[[enclosure]]
id = "E2"
room = "south"
[[enclosure]]
id = "N1"
room = "north"
[[enclosure]]
id = "N2"
room = "north"
[[incubator]]
id = "I"
room = "south"
temperature = "28 C"
[[animal]]
id = "M"
name = "Bosco"
species = "leopard-gecko"
sex = "male"
enclosure = "E1"
hatched = 2024-05-01
breeding = true
[[animal]]
id = "F"
name = "Juno"
species = "leopard-gecko"
sex = "female"
enclosure = "E2"
hatched = 2024-05-01
[[pairing]]
id = "P"
male = "M"
female = "F"
from = 2027-03-20
until = 2027-03-24
[[clutch]]
id = "K"
mother = "F"
laid = 2027-05-01
eggs = 3
incubator = "I"
tub = "sealed"
`

// kept reads books that begin on 1 May 2027.
func kept(t *testing.T, records string) *books {
	t.Helper()
	_, r, list := files.Read(fstest.MapFS{
		"keeper.toml":  {Data: []byte("zone = \"UTC\"\nbegan = 2027-05-01\n")},
		"records.toml": {Data: []byte(records)},
	}, ".")
	if list.HasErrors() {
		t.Fatal(list)
	}
	return &books{Records: *r}
}

// out is the task with which three young of clutch K hatched on 22 June.
const out = "K/hatch-watch/2027-06-22"

func raised(t *testing.T, more string) *books { return kept(t, nursery+more).hatched("06-22", out, 3) }

// group is the record of the three young as one group.
const group = `
[[animal]]
id = "G"
clutch = "K"
enclosure = "N1"
count = 3
`

// firsts returns the first task of each routine.
func (p plan) firsts() plan {
	var list plan
	seen := make(map[string]bool)
	for _, t := range p {
		if k := string(t.Subject) + "/" + string(t.Routine); !seen[k] {
			seen[k] = true
			list = append(list, t)
		}
	}
	return list
}

func TestDailyLooksAtTheYoungOfAClutch(t *testing.T) {
	b := raised(t, "")
	expect(t, b.plan("06-22", 120).of("K/").firsts(), `
		due 06-22 K/young-tub/hatched
		upcoming 06-23 K/young-check/2027-06-23
		upcoming 06-23 K/label-young/hatched
		upcoming 06-25 K/first-feed/hatched
		upcoming 06-27 K/first-shed/hatched
		upcoming 06-29 K/weigh-hatchlings/hatched
		upcoming 09-20 K/sexing/hatched`)
	t.Run("looked at daily for two weeks", func(t *testing.T) {
		looks := b.plan("06-22", 60).of("young-check")
		if n := len(looks); n != 14 || looks[n-1].Due != day("07-06") {
			t.Errorf("got\n%s", looks)
		}
		if task := b.plan("06-24", 0).one(t, "young-check/2027-06-24"); task.Why != "Day 2 after the first of 3 hatched, daily until 6 July" || !strings.Contains(task.Caution, "veterinarian") {
			t.Errorf("got %+v", task)
		}
		b.done("06-24", "K/young-check/2027-06-24").plan("06-24", 0).none(t, "young-check/2027-06-24")
	})
	t.Run("two weeks after the last one hatched", func(t *testing.T) {
		b := kept(t, nursery).hatched("06-22", out, 2).hatched("06-25", "K/hatch-watch/2027-06-25", 1)
		if looks := b.plan("06-25", 60).of("young-check"); looks[len(looks)-1].Due != day("07-09") {
			t.Errorf("got\n%s", looks)
		}
	})
	t.Run("a missed look lapses", func(t *testing.T) {
		expect(t, raised(t, "").plan("06-25", 0).of("young-check"), "lapsed 06-24 K/young-check/2027-06-24\ndue 06-25 K/young-check/2027-06-25")
	})
	t.Run("after the hatching is taken back nothing of it remains", func(t *testing.T) {
		p := raised(t, "").undo("06-23", out).plan("06-23", 120)
		for _, what := range []string{"young-check", "label", "first-feed", "first-shed", "weigh-hatchlings", "sexing"} {
			p.none(t, "K/"+what)
		}
	})
}

func TestYoungThatDoNotEat(t *testing.T) {
	refused := tasks.Finding{Refused: true}
	b := raised(t, "").found("06-25", "K/first-feed/hatched", refused)
	task := b.plan("06-26", 0).one(t, "first-feed")
	if task.Key != "K/first-feed/again-2027-06-25" || task.Due != day("06-26") || task.Why != "Nothing was eaten on 25 June; again after 1 day" {
		t.Errorf("got %+v", task)
	}
	b.plan("06-26", 0).none(t, "review-unfed")
	b.found("06-26", task.Key, refused)
	b.plan("06-27", 0).one(t, "K/first-feed/again-2027-06-26")
	t.Run("eaten at last", func(t *testing.T) {
		raised(t, "").found("06-25", "K/first-feed/hatched", refused).done("06-26", task.Key).plan("06-27", 30).none(t, "first-feed")
	})
	t.Run("not eaten by the tenth day: ask the veterinarian", func(t *testing.T) {
		b := raised(t, "").found("07-02", "K/first-feed/hatched", refused)
		review := b.plan("07-02", 0).one(t, "review-unfed")
		if review.Key != "K/review-unfed/hatched" || !strings.Contains(review.Why, "10 days later") || !strings.Contains(review.Caution, "veterinarian") {
			t.Errorf("got %+v", review)
		}
		b.done("07-02", review.Key).plan("07-03", 0).none(t, "review-unfed")
	})
	t.Run("taken back", func(t *testing.T) {
		b := raised(t, "").found("07-02", "K/first-feed/hatched", refused).undo("07-02", "K/first-feed/hatched")
		b.plan("07-02", 0).none(t, "review-unfed")
		b.plan("07-02", 0).one(t, "K/first-feed/hatched")
	})
}

func TestYoungWithoutARecord(t *testing.T) {
	raised(t, "").plan("06-28", 0).none(t, "enter-young")
	b := raised(t, "")
	task := b.plan("07-02", 0).one(t, "K/enter-young/hatched")
	if task.Due != day("06-29") || !strings.HasPrefix(task.Why, "Since 22 June 3 hatched, and none has a record") {
		t.Errorf("got %+v", task)
	}
	b.done("07-02", task.Key).plan("07-03", 0).none(t, "enter-young")
	b.undo("07-04", task.Key).plan("07-04", 0).one(t, "enter-young")
	raised(t, group).plan("07-02", 0).none(t, "enter-young")
}

func sexed(males, females, unsure int) tasks.Finding {
	return tasks.Finding{Sexed: &tasks.Sexed{Males: males, Females: females, Unsure: unsure}}
}

func TestSexingUntilItIsCertain(t *testing.T) {
	t.Parallel()
	const asked = "K/sexing/hatched"
	for _, c := range []struct {
		words, more string
		tell        func(*books)
		want        string // for 1 October and the 60 days after it
	}{
		{words: "not yet", tell: func(b *books) {}, want: "due 09-20 K/sexing/hatched"},
		{words: "marked done without a sex: no second look", tell: func(b *books) { b.done("09-25", asked) }},
		{words: "all sexed", tell: func(b *books) { b.found("09-25", asked, sexed(2, 1, 0)) }},
		{words: "one unsure: again in 30 days", tell: func(b *books) { b.found("09-25", asked, sexed(1, 1, 1)) }, want: "upcoming 10-25 K/sexing/again-2027-09-25"},
		{words: "one not sexed", tell: func(b *books) { b.found("09-25", asked, sexed(1, 1, 0)) }, want: "upcoming 10-25 K/sexing/again-2027-09-25"},
		{words: "unsure at the second look, too", tell: func(b *books) {
			b.found("09-20", asked, sexed(0, 1, 2)).found("10-01", "K/sexing/again-2027-09-20", sexed(1, 1, 1))
		}, want: "upcoming 10-31 K/sexing/again-2027-10-01"},
		{words: "all sexed at the second look", tell: func(b *books) {
			b.found("09-20", asked, sexed(0, 1, 2)).found("10-01", "K/sexing/again-2027-09-20", sexed(2, 1, 0))
		}},
		{words: "the second look put off", tell: func(b *books) {
			b.found("09-20", asked, sexed(0, 1, 2)).later("10-01", "K/sexing/again-2027-09-20", "11-05")
		}, want: "upcoming 11-05 K/sexing/again-2027-09-20"},
		{words: "taken back", tell: func(b *books) { b.found("09-25", asked, sexed(0, 0, 3)).undo("09-26", asked) }, want: "due 09-20 K/sexing/hatched"},

		// With a record of the group, the task is for the group.
		{words: "of the group", more: group, tell: func(b *books) {}, want: "due 09-20 G/sexing/hatched"},
		{words: "a group with one unsure", more: group, tell: func(b *books) { b.found("09-25", "G/sexing/hatched", sexed(0, 2, 1)) }, want: "upcoming 10-25 G/sexing/again-2027-09-25"},
		{words: "a group, reported by its id", more: group, tell: func(b *books) { b.found("09-25", "G/found/2027-09-25", sexed(0, 2, 1)) }, want: "upcoming 10-25 G/sexing/again-2027-09-25"},
		{words: "done for the clutch before there was a record", more: group, tell: func(b *books) { b.done("09-20", asked) }},
		{words: "one unsure for the clutch before there was a record", more: group, tell: func(b *books) { b.found("09-20", asked, sexed(1, 1, 1)) }, want: "upcoming 10-20 G/sexing/again-2027-09-20"},
		{words: "two females taken out: the last young must still be sexed", more: group + taken("Y1", "sex = \"female\"") + taken("Y2", "sex = \"female\""),
			tell: func(b *books) { b.found("09-20", "G/sexing/hatched", sexed(0, 2, 1)) }, want: "upcoming 10-20 G/sexing/again-2027-09-20"},
		{words: "the unsure young taken out", more: group + taken("Y1", "") + taken("Y2", "count = 2\nsex = \"female\""),
			tell: func(b *books) { b.found("09-20", "G/sexing/hatched", sexed(0, 2, 1)) }, want: "upcoming 10-20 Y1/sexing/again-2027-09-20"},
		{words: "a single young, male", more: alone, tell: func(b *books) { b.found("09-25", "Y/sexing/hatched", sexed(1, 0, 0)) }},
		{words: "a single young, unsure", more: alone, tell: func(b *books) { b.found("09-25", "Y/sexing/hatched", sexed(0, 0, 1)) }, want: "upcoming 10-25 Y/sexing/again-2027-09-25"},
		{words: "a single young with its sex in the record", more: strings.Replace(alone, "clutch", "sex = \"male\"\nclutch", 1), tell: func(b *books) {}},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := raised(t, c.more)
			c.tell(b)
			expect(t, b.plan("10-01", 60).of("/sexing/"), c.want)
		})
	}
	t.Run("why", func(t *testing.T) {
		b := raised(t, group).found("09-25", "G/sexing/hatched", sexed(0, 2, 1))
		if task := b.plan("10-25", 0).one(t, "/sexing/"); task.Why != "On 25 September 0 males, 2 females, the others not certain; again after 30 days" || !strings.Contains(task.Caution, "injures") {
			t.Errorf("got %+v", task)
		}
	})
	t.Run("a young sexed as male counts as male", func(t *testing.T) {
		b := raised(t, alone).found("09-25", "Y/sexing/hatched", sexed(1, 0, 0))
		facts := func(on string) husbandry.Sex {
			in := b.input(on, 0)
			return herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On}).Animal("Y").Sex
		}
		if facts("09-24") != husbandry.Unsexed || facts("09-25") != husbandry.Male {
			t.Errorf("%s, then %s", facts("09-24"), facts("09-25"))
		}
		b.undo("09-26", "Y/sexing/hatched")
		if got := facts("09-26"); got != husbandry.Unsexed {
			t.Errorf("taken back: %s", got)
		}
	})
}

const alone = "[[animal]]\nid = \"Y\"\nclutch = \"K\"\nenclosure = \"N1\"\n"

// taken returns a record of an animal taken out of the group on 25 September.
func taken(id, more string) string {
	return "[[animal]]\nid = \"" + id + "\"\nfrom = \"G\"\nsince = 2027-09-25\n" + more + "\n"
}

func TestAGroupBecomesIndividuals(t *testing.T) {
	b := raised(t, group+taken("Y1", "name = \"Pip\"\nenclosure = \"N2\"")+taken("Y2", "left = 2027-10-02"))
	facts := func(on string) *herd.Herd {
		in := b.input(on, 0)
		return herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On})
	}
	for _, c := range []struct {
		on           string
		group        int
		pip, theLast bool
	}{{"09-24", 3, false, false}, {"09-25", 1, true, true}, {"10-02", 1, true, false}} {
		h := facts(c.on)
		if g := h.Animal("G"); g.Count != c.group || h.Animal("Y1").PresentOn(day(c.on)) != c.pip || h.Animal("Y2").PresentOn(day(c.on)) != c.theLast {
			t.Errorf("on %s the group is %d, Pip there: %v, the sold one: %v", c.on, g.Count, h.Animal("Y1").PresentOn(day(c.on)), h.Animal("Y2").PresentOn(day(c.on)))
		}
	}
	t.Run("an individual keeps the history of the group", func(t *testing.T) {
		pip := facts("10-01").Animal("Y1")
		if pip.Hatched != day("06-22") || pip.Clutch != "K" || pip.Mother != "F" || pip.Father != "M" || pip.Species != "leopard-gecko" || pip.Came != day("09-25") {
			t.Errorf("got %+v", pip.Animal)
		}
		if pip.StageOn(day("10-01")) != husbandry.Juvenile {
			t.Errorf("it is %s", pip.StageOn(day("10-01")))
		}
	})
	t.Run("an individual's weighing continues from the group's", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "enclosure = \"N2\"")).weighs("09-23", "G/weigh-young/first", 14)
		expect(t, b.plan("09-25", 9).of("Y1/weigh"), "upcoming 09-30 Y1/weigh-young/after-2027-09-23")
	})
	t.Run("an individual's new tub is labelled", func(t *testing.T) {
		expect(t, b.plan("09-25", 0).of("label-own"), "due 09-25 Y2/label-own/separated\ndue 09-25 Y1/label-own/separated")
		if task := b.plan("09-25", 0).one(t, "Y1/label-own"); task.Title != "Label the new tub: id, clutch, sex: Pip (Y1, leopard gecko, in N2)" || !strings.HasSuffix(task.Why, "taken out of G on 25 September") {
			t.Errorf("got %+v", task)
		}
		b.done("09-25", "Y1/label-own/separated").plan("09-26", 0).none(t, "Y1/label-own")
	})
	t.Run("an empty group has left", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "count = 3"))
		b.plan("09-24", 0).one(t, "N1/leopard-gecko.feed-young/2027-09-24")
		p := b.plan("09-26", 90)
		p.none(t, "G/")
		p.one(t, "N1/water/2027-09-26") // the individuals live in the group's enclosure
	})
	t.Run("fewer animals in a group are not a loss of weight", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "")).weighs("09-20", "G/weigh-young/first", 20).weighs("09-27", "G/weigh-young/after-2027-09-20", 12)
		b.plan("09-27", 0).none(t, "review-weight")
		b = raised(t, group).weighs("09-20", "G/weigh-young/first", 20).weighs("09-27", "G/weigh-young/after-2027-09-20", 12)
		b.plan("09-27", 0).one(t, "review-weight")
	})
	t.Run("taken out of a group that was taken out of a group", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "count = 2")+"[[animal]]\nid = \"Z\"\nfrom = \"Y1\"\nsince = 2027-10-01\n")
		in := b.input("10-01", 0)
		h := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On})
		if z := h.Animal("Z"); z.Hatched != day("06-22") || h.Animal("Y1").Count != 1 || h.Animal("G").Count != 1 {
			t.Errorf("got %+v, groups of %d and %d", z.Animal, h.Animal("Y1").Count, h.Animal("G").Count)
		}
	})
	t.Run("hatched from a clutch that only the daybook knows", func(t *testing.T) {
		laid := 2
		b := kept(t, nursery+"[[animal]]\nid = \"Y\"\nclutch = \"F-2027-05-12\"\nenclosure = \"N1\"\n").
			found("05-12", "F/found/2027-05-12", tasks.Finding{Laid: &laid}).hatched("07-05", "F-2027-05-12/found/2027-07-05", 1)
		in := b.input("07-06", 0)
		if y := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On}).Animal("Y"); y.Hatched != day("07-05") || y.Mother != "F" || y.Father != "M" || y.StageOn(day("07-06")) != husbandry.Hatchling {
			t.Errorf("got %+v", y.Animal)
		}
		b.undo("07-06", "F-2027-05-12/found/2027-07-05")
		in = b.input("07-06", 0)
		if y := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On}).Animal("Y"); !y.Hatched.IsZero() {
			t.Errorf("the hatching taken back, it still hatched on %s", y.Hatched)
		}
	})
}

func each(grams ...husbandry.Grams) tasks.Finding {
	sum := husbandry.Grams(0)
	for _, g := range grams {
		sum += g
	}
	mean := sum / husbandry.Grams(len(grams))
	return tasks.Finding{Weighs: &mean, Each: grams}
}

func TestSortingYoungBySize(t *testing.T) {
	t.Parallel()
	const first, second = "G/weigh-young/first", "G/weigh-young/after-2027-07-10"
	for _, c := range []struct {
		words, more string
		tell        func(*books)
		want        string
	}{
		{words: "alike", more: group, tell: func(b *books) { b.found("07-10", first, each(3, 3.4, 4.4)) }},
		{words: "one is half as heavy again as another", more: group, tell: func(b *books) { b.found("07-10", first, each(3, 3.4, 4.5)) }, want: "due 07-10 G/sort-by-size/2027-07-10"},
		{words: "only the mean is known", more: group, tell: func(b *books) { b.weighs("07-10", first, 3.6) }},
		{words: "sorted", more: group, tell: func(b *books) { b.found("07-10", first, each(3, 3.4, 4.5)).done("07-10", "G/sort-by-size/2027-07-10") }},
		{words: "taken back", more: group, tell: func(b *books) { b.found("07-10", first, each(3, 3.4, 4.5)).undo("07-11", first) }},
		{words: "alike a week later", more: group, tell: func(b *books) {
			b.found("07-10", first, each(3, 3.4, 4.5)).found("07-12", second, each(4, 4.2, 4.9))
		}},
		{words: "the largest taken out", more: group + "[[animal]]\nid = \"Y\"\nfrom = \"G\"\nsince = 2027-07-11\n", tell: func(b *books) { b.found("07-10", first, each(3, 3.4, 4.5)) }},
		{words: "of a clutch without a record", tell: func(b *books) { b.found("06-29", "K/weigh-hatchlings/hatched", each(2, 3.1, 2.4)) }, want: "overdue 06-29 K/sort-by-size/2027-06-29"},
		{words: "a weight of the egg tub is not a weight of the young", tell: func(b *books) { b.found("06-29", "K/tub-check/first", each(2, 3.1)) }},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := raised(t, c.more)
			c.tell(b)
			expect(t, b.plan("07-12", 0).of("sort-by-size"), c.want)
		})
	}
	b := raised(t, group).found("07-10", first, each(3, 3.4, 4.5))
	if task := b.plan("07-10", 0).one(t, "sort-by-size"); task.Why != "Weighed on 10 July: the heaviest 4.5 g, the lightest 3 g, 1.5 times as heavy" || !strings.Contains(task.Caution, "veterinarian") || task.Title != "Sort by size: G (3 leopard geckos, in N1)" {
		t.Errorf("got %+v", task)
	}
}

func TestSeparatingAndPlacingYoung(t *testing.T) {
	for _, c := range []struct{ words, records, separate, place string }{
		{"a group, at the age of subadults and at twelve weeks", group, "upcoming 10-20 G/separate-young/hatched", "upcoming 09-14 G/place-young/hatched"},
		{"females alone may stay together", group + "sex = \"female\"\n", "", "upcoming 09-14 G/place-young/hatched"},
		{"a single young is not separated", alone, "", "upcoming 09-14 Y/place-young/hatched"},
		{"a young for breeding stays", alone + "breeding = true\n", "", ""},
		{"an acquired young is not placed", strings.Replace(alone, "clutch", "acquired = 2027-07-01\nclutch", 1), "", ""},
		{"a clutch without a record", "", "", ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			p := raised(t, c.records).plan("07-10", 150)
			expect(t, p.of("separate-young"), c.separate)
			expect(t, p.of("place-young"), c.place)
		})
	}
	t.Run("a decision for the group holds for animals taken out later", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "")).done("09-20", "G/place-young/hatched")
		b.plan("09-26", 150).none(t, "place-young")
	})
	t.Run("a decision for the group does not hold for animals taken out before", func(t *testing.T) {
		b := raised(t, group+taken("Y1", "")).done("09-26", "G/place-young/hatched")
		b.plan("09-27", 0).one(t, "Y1/place-young/hatched")
	})
}

// When all have hatched, a clutch's young are in the enclosures of their
// records, and are weighed there.
func TestRecordsTakeOverFromTheClutch(t *testing.T) {
	b := raised(t, group)
	if task := b.plan("06-23", 0).one(t, "K/young-check/2027-06-23"); task.Place.Enclosure != "N1" {
		t.Errorf("looked for at %+v", task.Place)
	}
	p := b.plan("06-23", 120)
	p.none(t, "K/weigh-hatchlings")
	p.none(t, "K/sexing")
	p.one(t, "K/first-feed/hatched")
}
