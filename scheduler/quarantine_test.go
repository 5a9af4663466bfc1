package scheduler_test

import (
	"strings"
	"testing"

	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// newcomer is a female that came on 10 May and is kept apart in the north room.
const newcomer = `
[[animal]]
id = "N"
name = "Nele"
species = "leopard-gecko"
sex = "female"
enclosure = "N1"
acquired = 2027-05-10
breeding = true
quarantine = true
`

// The keys of her steps if nothing restarts the quarantine.
const (
	begin   = "N/quarantine-begin/quarantine-2027-05-10"
	test1   = "N/quarantine-faecal-1/quarantine-2027-05-10"
	look    = "N/quarantine-look/quarantine-2027-05-10"
	test2   = "N/quarantine-faecal-2/quarantine-2027-05-10"
	release = "N/quarantine-release/quarantine-2027-05-10"
)

var ill = tasks.Finding{Ill: true, Note: "limp"}

// Steps at days 0, 14, 30, 60 and 90, two tests weeks apart, and a release only
// after both tests are common practice.
func TestQuarantineStepByStep(t *testing.T) {
	t.Parallel()
	other := func(more string) string {
		return "[[animal]]\nid = \"O\"\nspecies = \"leopard-gecko\"\nacquired = 2027-06-01\n" + more + "\n"
	}
	for _, c := range []struct {
		words, records string
		tell           func(*books)
		on             string
		ahead          int
		want           string
	}{
		{words: "at the beginning", on: "05-10", ahead: 120,
			want: "due 05-10 " + begin + "\nupcoming 05-24 " + test1 + "\nupcoming 06-09 " + look + "\nupcoming 07-09 " + test2},
		{words: "a test that was not done holds up the next and the release", on: "08-09", ahead: 30,
			tell: func(b *books) { b.done("05-10", begin).done("06-09", look) },
			want: "overdue 05-24 " + test1 + "\nupcoming 08-23 " + test2},
		{words: "the second is two weeks after the first at least", on: "07-05", ahead: 30,
			tell: func(b *books) { b.done("05-10", begin).done("06-09", look).done("07-05", test1) },
			want: "upcoming 07-19 " + test2},
		{words: "both done: released after ninety days", on: "07-20", ahead: 30,
			tell: func(b *books) { b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2) },
			want: "upcoming 08-08 " + release},
		{words: "one done: no release", on: "08-08", ahead: 30,
			tell: func(b *books) { b.done("05-10", begin).done("06-09", look).done("05-24", test1) },
			want: "overdue 07-09 " + test2},
		{words: "the second taken back", on: "08-08",
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2).undo("07-10", test2)
			},
			want: "overdue 07-09 " + test2},
		{words: "a test skipped is asked for a week later", on: "07-12", ahead: 7,
			tell: func(b *books) { b.done("05-10", begin).done("06-09", look).done("05-24", test1).skip("07-10", test2) },
			want: "upcoming 07-17 " + test2 + "-after-2027-07-10"},
		{words: "and then done", on: "08-08",
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).skip("07-10", test2).done("07-17", test2+"-after-2027-07-10")
			},
			want: "due 08-08 " + release},
		{words: "a release that is put off", on: "08-08", ahead: 10,
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2).later("08-08", release, "08-15")
			},
			want: "upcoming 08-15 " + release},
		{words: "released", on: "08-09", ahead: 120,
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2).done("08-08", release)
			}},
		{words: "for thirty days", records: strings.Replace(newcomer, "= true\n`", "", 1), on: "05-20", ahead: 30,
			tell: func(b *books) { b.Animals[len(b.Animals)-1].Quarantine = 30; b.done("05-10", begin) },
			want: "upcoming 05-24 " + test1 + "\nupcoming 06-07 " + test2 + "\nupcoming 06-09 " + look},

		{words: "illness begins it anew", on: "06-20", ahead: 100,
			tell: func(b *books) { b.done("05-10", begin).done("05-24", test1).found("06-20", "N/found/2027-06-20", ill) },
			want: "due 06-20 N/quarantine-begin/quarantine-2027-06-20\nupcoming 07-04 N/quarantine-faecal-1/quarantine-2027-06-20\nupcoming 07-20 N/quarantine-look/quarantine-2027-06-20\nupcoming 08-19 N/quarantine-faecal-2/quarantine-2027-06-20"},
		{words: "noted of her enclosure, as well", on: "06-20",
			tell: func(b *books) { b.done("05-10", begin).done("05-24", test1).found("06-20", "N1/found/2027-06-20", ill) },
			want: "due 06-20 N/quarantine-begin/quarantine-2027-06-20"},
		{words: "found in a test: anew, and the test counts for nothing", on: "05-24", ahead: 14,
			tell: func(b *books) {
				b.done("05-10", begin).found("05-24", test1, tasks.Finding{Ill: true, Note: "coccidia"})
			},
			want: "due 05-24 N/quarantine-begin/quarantine-2027-05-24\nupcoming 06-07 N/quarantine-faecal-1/quarantine-2027-05-24"},
		{words: "illness taken back: the old clock runs on", on: "06-21",
			tell: func(b *books) {
				b.done("05-10", begin).done("05-24", test1).done("06-09", look).found("06-20", "N/found/2027-06-20", ill).undo("06-21", "N/found/2027-06-20")
			}},
		{words: "found ill on the day of the release: it stays", on: "08-08",
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2).found("08-08", release, ill)
			},
			want: "due 08-08 N/quarantine-begin/quarantine-2027-08-08"},
		{words: "ill after the release: that is no quarantine any more", on: "08-20",
			tell: func(b *books) {
				b.done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2).done("08-08", release).found("08-20", "N/found/2027-08-20", ill)
			}},
		{words: "somebody else is ill elsewhere", on: "05-20",
			tell: func(b *books) { b.done("05-10", begin).found("05-20", "M/found/2027-05-20", ill) }},

		{words: "another comes into quarantine in the room: anew", records: newcomer + other("enclosure = \"N2\"\nquarantine = true"), on: "06-01",
			tell: func(b *books) {
				b.done("05-10", begin).done("05-24", test1).done("06-01", "O/quarantine-begin/quarantine-2027-06-01")
			},
			want: "due 06-01 N/quarantine-begin/quarantine-2027-06-01"},
		{words: "another comes into her enclosure: anew", records: newcomer + other("enclosure = \"N1\""), on: "06-01",
			tell: func(b *books) { b.done("05-10", begin).done("05-24", test1) },
			want: "due 06-01 N/quarantine-begin/quarantine-2027-06-01"},
		{words: "one of the stock moves into her enclosure: anew", records: newcomer + "[[animal]]\nid = \"O\"\nspecies = \"leopard-gecko\"\nenclosure = \"N1\"\nwas = [{ until = 2027-05-31, enclosure = \"N2\" }]\n", on: "06-01",
			tell: func(b *books) { b.done("05-10", begin).done("05-24", test1) },
			want: "due 06-01 N/quarantine-begin/quarantine-2027-06-01"},
		{words: "another comes, not into quarantine", records: newcomer + other("enclosure = \"N2\""), on: "06-01",
			tell: func(b *books) { b.done("05-10", begin).done("05-24", test1) }},
		{words: "another comes into quarantine in another room", records: newcomer + other("enclosure = \"E1\"\nquarantine = true"), on: "06-01",
			tell: func(b *books) {
				b.done("05-10", begin).done("05-24", test1).done("06-01", "O/quarantine-begin/quarantine-2027-06-01")
			}},

		{words: "it came before the books began: what is to come is asked for", records: strings.ReplaceAll(newcomer, "2027-05-10", "2027-04-01"), on: "05-01", ahead: 40,
			want: "due 05-01 N/quarantine-faecal-1/quarantine-2027-04-01\ndue 05-01 N/quarantine-look/quarantine-2027-04-01\nupcoming 05-31 N/quarantine-faecal-2/quarantine-2027-04-01"},
		{words: "it was over before the books began", records: strings.ReplaceAll(newcomer, "2027-05-10", "2026-12-01"), on: "05-01", ahead: 200},
		{words: "sold", records: newcomer + "left = 2027-05-15\n", on: "05-20", ahead: 100},
	} {
		t.Run(c.words, func(t *testing.T) {
			if c.records == "" {
				c.records = newcomer
			}
			b := kept(t, nursery+c.records)
			if c.tell != nil {
				c.tell(b)
			}
			expect(t, b.plan(c.on, c.ahead).of("N/quarantine-"), c.want)
		})
	}
	t.Run("why", func(t *testing.T) {
		b := kept(t, nursery+newcomer).done("05-10", begin).found("06-20", "N/found/2027-06-20", ill)
		task := b.plan("07-04", 0).one(t, "faecal-1")
		if want := "Quarantine since 20 June, begun anew because illness was noted, due 14 days after; nobody is released without it"; task.Why != want || task.Caution == "" {
			t.Errorf("got %+v, want %q", task, want)
		}
		b = kept(t, nursery+newcomer).done("05-10", begin).done("06-09", look).done("05-24", test1).done("07-09", test2)
		if task := b.plan("08-08", 0).one(t, "release"); task.Why != "Quarantine since 10 May; its 90 days are over by then, last tested 9 July" {
			t.Errorf("got %+v", task)
		}
	})
}

// Three animals were bought as a group, and get records of their own while they
// are apart.
func TestAGroupInQuarantineIsSplitIntoIndividuals(t *testing.T) {
	const bought = `
[[animal]]
id = "B"
species = "leopard-gecko"
count = 3
enclosure = "N1"
acquired = 2027-05-10
quarantine = "60 days"
[[animal]]
id = "B1"
from = "B"
since = 2027-06-01
enclosure = "N2"
`
	early := func(b *books) *books {
		return b.done("05-10", "B/quarantine-begin/quarantine-2027-05-10").done("05-24", "B/quarantine-faecal-1/quarantine-2027-05-10")
	}
	for _, c := range []struct {
		words, more string
		tell        func(*books)
		on          string
		want        string
	}{
		{words: "what was done for the group before counts for it", tell: func(b *books) {}, on: "06-02",
			want: "upcoming 06-09 B1/quarantine-look/quarantine-2027-05-10\nupcoming 07-02 B1/quarantine-faecal-2/quarantine-2027-05-10"},
		{words: "what is done for the group afterwards does not", tell: func(b *books) {
			b.done("06-09", "B/quarantine-look/quarantine-2027-05-10").done("07-02", "B/quarantine-faecal-2/quarantine-2027-05-10")
		}, on: "07-03", want: "overdue 06-09 B1/quarantine-look/quarantine-2027-05-10\ndue 07-02 B1/quarantine-faecal-2/quarantine-2027-05-10"},
		{words: "it is released by itself", tell: func(b *books) {
			b.done("06-09", "B1/quarantine-look/quarantine-2027-05-10").done("07-02", "B1/quarantine-faecal-2/quarantine-2027-05-10")
		}, on: "07-09", want: "due 07-09 B1/quarantine-release/quarantine-2027-05-10"},
		{words: "the group's release does not free it", tell: func(b *books) {
			b.done("06-09", "B/quarantine-look/quarantine-2027-05-10", "B1/quarantine-look/quarantine-2027-05-10").
				done("07-02", "B/quarantine-faecal-2/quarantine-2027-05-10").done("07-09", "B/quarantine-release/quarantine-2027-05-10")
		}, on: "07-10", want: "overdue 07-02 B1/quarantine-faecal-2/quarantine-2027-05-10"},
		{words: "its record says otherwise", more: "quarantine = false\n", tell: func(b *books) {}, on: "06-02", want: ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := early(kept(t, nursery+bought+c.more))
			c.tell(b)
			expect(t, b.plan(c.on, 35).of("B1/quarantine"), c.want)
		})
	}
	t.Run("taken out after the release: not in quarantine", func(t *testing.T) {
		b := early(kept(t, nursery+strings.Replace(bought, "2027-06-01", "2027-08-01", 1)))
		b.done("07-02", "B/quarantine-faecal-2/quarantine-2027-05-10").done("07-09", "B/quarantine-release/quarantine-2027-05-10")
		b.plan("08-02", 60).none(t, "B1/quarantine")
	})
}

func TestAnimalsInQuarantineAreServedLastAndNotPaired(t *testing.T) {
	first := strings.Replace(nursery, "[[enclosure]]\nid = \"E1\"", "[[enclosure]]\nid = \"Q\"\nroom = \"south\"\n[[enclosure]]\nid = \"E1\"", 1)
	b := kept(t, first+strings.Replace(newcomer, "N1", "Q", 1))
	last := func(p plan) husbandry.ID {
		waters := p.of("/water/")
		return waters[len(waters)-1].Subject
	}
	if got := last(b.plan("05-12", 0)); got != "Q" {
		t.Errorf("%s is served last, want Q", got)
	}
	season := strings.Replace(first, "[[clutch]]", "[[species]]\nid = \"leopard-gecko\"\n[species.pairing]\nfrom = \"02-01\"\nuntil = \"11-30\"\n[[clutch]]", 1)
	b = kept(t, season+strings.Replace(newcomer, "N1", "Q", 1))
	b.plan("05-12", 60).none(t, "N/pair")
	key := func(k string) tasks.Key { return tasks.Key("N/quarantine-" + k + "/quarantine-2027-05-10") }
	b.done("05-24", key("faecal-1")).done("07-09", key("faecal-2")).done("08-08", key("release"))
	if p := b.plan("08-09", 20).of("N/pair/"); len(p) == 0 {
		t.Error("released, and still not paired")
	}
	if got := last(b.plan("08-09", 0)); got == "Q" {
		t.Error("released, and still served last")
	}
	t.Run("no pairing with a male in quarantine", func(t *testing.T) {
		b := kept(t, strings.Replace(season, "hatched = 2024-05-01\nbreeding = true", "acquired = 2027-05-01\nquarantine = true\nbreeding = true", 1)+
			"[[animal]]\nid = \"N\"\nspecies = \"leopard-gecko\"\nsex = \"female\"\nenclosure = \"N1\"\nbreeding = true\n")
		b.plan("05-12", 60).none(t, "N/pair")
	})
	t.Run("no pairing of an ill animal before the review", func(t *testing.T) {
		b := kept(t, season+"[[animal]]\nid = \"N\"\nspecies = \"leopard-gecko\"\nsex = \"female\"\nenclosure = \"N1\"\nbreeding = true\n")
		if p := b.plan("05-12", 20).of("N/pair/"); len(p) == 0 {
			t.Fatal("not paired at all")
		}
		b.found("05-12", "N/found/2027-05-12", ill).plan("05-12", 20).none(t, "N/pair")
		b.done("05-14", "N/review-ill/2027-05-12")
		if p := b.plan("05-14", 20).of("N/pair/"); len(p) == 0 {
			t.Error("looked into, and still not paired")
		}
	})
}

func TestIllnessLeadsToAReview(t *testing.T) {
	for _, c := range []struct {
		words string
		tell  func(*books)
		want  string
	}{
		{"noted for an animal", func(b *books) { b.found("05-12", "M/weigh-adult/first", ill) }, "due 05-12 M/review-ill/2027-05-12"},
		{"noted for an enclosure", func(b *books) { b.found("05-12", "E1/water/2027-05-12", ill) }, "due 05-12 E1/review-ill/2027-05-12"},
		{"noted for a clutch's young", func(b *books) {
			b.hatched("05-12", "K/found/2027-05-12", 3).found("05-12", "K/young-check/2027-05-13", ill)
		}, "due 05-12 K/review-ill/2027-05-12"},
		{"twice: the last counts", func(b *books) { b.found("05-12", "M/found/2027-05-12", ill).found("05-13", "M/found/2027-05-13", ill) }, "due 05-13 M/review-ill/2027-05-13"},
		{"the review done", func(b *books) { b.found("05-12", "M/found/2027-05-12", ill).done("05-13", "M/review-ill/2027-05-12") }, ""},
		{"taken back", func(b *books) { b.found("05-12", "M/found/2027-05-12", ill).undo("05-13", "M/found/2027-05-12") }, ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := kept(t, nursery)
			c.tell(b)
			expect(t, b.plan("05-13", 0).of("review-ill"), c.want)
		})
	}
	b := kept(t, nursery+newcomer).found("05-12", "N/found/2027-05-12", ill)
	if task := b.plan("05-12", 0).one(t, "review-ill"); task.Why != "Noted as ill on 12 May: limp; the quarantine begins anew" || !strings.Contains(task.Caution, "veterinarian today") ||
		task.Title != "Review the illness of Nele (N, leopard gecko, in N1)" {
		t.Errorf("got %+v", task)
	}
}

func TestPapersExpire(t *testing.T) {
	const paper = "[[permit]]\nid = \"L\"\nwords = \"Keeping permit of the district\"\nexpires = 2027-08-01\n"
	for _, c := range []struct {
		words, record string
		tell          func(*books)
		on            string
		want          string
	}{
		{words: "long before", record: paper, on: "06-01", want: ""},
		{words: "sixty days before", record: paper, on: "06-02", want: "due 06-02 L/permit-renewal/expiry-2027-08-01"},
		{words: "on its last day it is still in time", record: paper, on: "08-01", want: "due 06-02 L/permit-renewal/expiry-2027-08-01"},
		{words: "after it", record: paper, on: "08-02", want: "overdue 06-02 L/permit-renewal/expiry-2027-08-01"},
		{words: "long after it", record: strings.Replace(paper, "2027-08", "2025-08", 1), on: "05-12", want: "overdue 05-01 L/permit-renewal/expiry-2025-08-01"},
		{words: "reminded later", record: paper + "remind = \"10 days\"\n", on: "06-02", want: ""},
		{words: "seen to", record: paper, tell: func(b *books) { b.done("06-10", "L/permit-renewal/expiry-2027-08-01") }, on: "08-02", want: ""},
		{words: "renewed in its record", record: strings.Replace(paper, "2027-08", "2028-08", 1), on: "08-02", want: ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			b := kept(t, nursery+c.record)
			if c.tell != nil {
				c.tell(b)
			}
			expect(t, b.plan(c.on, 0).of("permit"), c.want)
		})
	}
	task := kept(t, nursery+paper).plan("08-02", 0).one(t, "permit")
	if task.Title != "See to the renewal of Keeping permit of the district" || task.Why != "Keeping permit of the district: ran out on 1 August" || !strings.Contains(task.Caution, "local authority") {
		t.Errorf("got %+v", task)
	}
}

// Housekeeping: samples and lamps. A weighing counts whatever its task was.
func TestSamplesLampsAndWeighings(t *testing.T) {
	lamp := strings.Replace(nursery, "id = \"E1\"\n", "id = \"E1\"\nlamp = { fitted = 2027-04-01 }\n", 1)
	b := kept(t, lamp).done("05-05", "E1/lamp-meter/first")
	expect(t, b.plan("05-12", 60).of("E1/lamp-meter"), "upcoming 06-04 E1/lamp-meter/after-2027-05-05\nupcoming 07-04 E1/lamp-meter/after-2027-05-05+2")
	b.plan("05-12", 60).none(t, "E2/lamp-meter")

	t.Run("a lamp that has lost three tenths is changed", func(t *testing.T) {
		read := func(b *books, on string, uvi float64) *books {
			return b.found(on, tasks.Key("E1/lamp-meter/2027-"+on), tasks.Finding{UVI: &uvi})
		}
		for _, c := range []struct {
			words string
			tell  func(*books)
			want  string
		}{
			{"once measured, nothing to compare with", func(b *books) { read(b, "05-05", 1) }, ""},
			{"a fifth less", func(b *books) { read(read(b, "05-05", 3), "06-04", 2.4) }, ""},
			{"three tenths less", func(b *books) { read(read(b, "05-05", 3), "06-04", 2.1) }, "due 06-04 E1/lamp-change/after-2027-04-01"},
			{"dark", func(b *books) { read(read(b, "05-05", 3), "06-04", 0) }, "due 06-04 E1/lamp-change/after-2027-04-01"},
			{"measured again: the meter was wrong", func(b *books) { read(read(read(b, "05-05", 3), "06-04", 2.1), "06-05", 3) }, ""},
			{"taken back", func(b *books) { read(read(b, "05-05", 3), "06-04", 2.1).undo("06-05", "E1/lamp-meter/2027-06-04") }, ""},
			{"changed", func(b *books) {
				read(read(b, "05-05", 3), "06-04", 2.1).done("06-05", "E1/lamp-change/after-2027-04-01")
			}, ""},
		} {
			b := kept(t, lamp)
			c.tell(b)
			if got := b.plan("06-06", 0).of("lamp-change").String(); got != c.want {
				t.Errorf("%s: got %s, want %s", c.words, got, c.want)
			}
		}
		b := read(read(kept(t, lamp), "05-05", 3), "06-04", 2.1)
		if task := b.plan("06-06", 0).one(t, "lamp-change"); !strings.HasSuffix(task.Why, "; UV index 2.1 on 4 June, 3 on 5 May: 30 % less") {
			t.Errorf("why %q", task.Why)
		}
	})
	t.Run("samples of the stock twice a year, without quarantined and young animals", func(t *testing.T) {
		b := kept(t, nursery+newcomer+alone).done("05-02", "E1/faecal-stock/first")
		expect(t, b.plan("05-12", 200).of("E1/faecal"), "upcoming 10-31 E1/faecal-stock/after-2027-05-02")
		b.plan("05-12", 60).none(t, "N1/faecal-stock")
		b.done("05-24", test1).done("07-09", test2).done("08-08", release)
		expect(t, b.plan("08-09", 200).of("N1/faecal-stock"), "upcoming 01-07 N1/faecal-stock/after-2027-07-09")
	})
	t.Run("the weighing of a gravid female is the monthly one", func(t *testing.T) {
		b := kept(t, nursery).done("05-20", "F/weigh-gravid/first")
		if task := b.plan("05-23", 40).of("F/weigh-adult")[0]; task.Due != day("06-19") {
			t.Errorf("due %s", task.Due)
		}
	})
	t.Run("a drill twice a year, thermometers every three months", func(t *testing.T) {
		b := kept(t, nursery).done("05-02", "keeper/power-cut-drill/first").done("05-02", "south/thermometer-check/first")
		expect(t, b.plan("05-12", 200).of("drill"), "upcoming 10-31 keeper/power-cut-drill/after-2027-05-02")
		expect(t, b.plan("05-12", 100).of("south/thermometer"), "upcoming 07-31 south/thermometer-check/after-2027-05-02")
	})
	t.Run("the scale every month, a week early or late", func(t *testing.T) {
		b := kept(t, nursery).done("05-02", "keeper/scale-check/first")
		checks := b.plan("05-12", 40).of("scale-check")
		expect(t, checks, "upcoming 06-01 keeper/scale-check/after-2027-05-02")
		if c := checks[0]; c.Earliest != day("05-25") || c.Latest != day("06-08") || c.Missed != husbandry.Stays {
			t.Errorf("from %s to %s, %s when missed", c.Earliest, c.Latest, c.Missed)
		}
		b.done("06-05", "keeper/scale-check/after-2027-05-02")
		expect(t, b.plan("06-06", 40).of("scale-check"), "upcoming 07-05 keeper/scale-check/after-2027-06-05")
		b.undo("06-06", "keeper/scale-check/after-2027-05-02")
		expect(t, b.plan("06-09", 5).of("scale-check"), "overdue 06-01 keeper/scale-check/after-2027-05-02")
	})
	t.Run("without animals and clutches: no scale and no drill, but papers and the keeper's own routines", func(t *testing.T) {
		b := kept(t, "[[room]]\nid = \"south\"\n[[permit]]\nid = \"p1\"\nwords = \"Keeping permit\"\nexpires = 2027-07-01\n"+
			"[[routine]]\nid = \"till\"\nkind = \"scale-check\"\ntitle = \"Check the scale of the shop\"\nsince_last = \"7 days\"\n")
		plan := b.plan("05-12", 30)
		plan.none(t, "keeper/scale-check")
		plan.none(t, "keeper/power-cut-drill")
		for _, part := range []string{"/till/", "permit-renewal"} {
			if len(plan.of(part)) == 0 {
				t.Errorf("%s is not asked for", part)
			}
		}
	})
	t.Run("a routine for animals in quarantine", func(t *testing.T) {
		b := kept(t, nursery+newcomer+"[[routine]]\nid = \"hide\"\nkind = \"own\"\nscope = \"animal\"\ntitle = \"Look under the hide\"\nfor = { states = [\"quarantine\"] }\nevery = \"1 day\"\nfrom = 2027-01-01\nmissed = \"lapses\"\n")
		expect(t, b.plan("05-10", 0).of("/hide/"), "due 05-10 N/hide/2027-05-10")
	})
}

func TestDeriveHasTheQuarantine(t *testing.T) {
	in := kept(t, nursery+newcomer).input("06-01", 0)
	q := herd.Derive(herd.Input{Records: in.Records, History: in.History, On: in.On}).Animal("N").Apart
	if q == nil || *q != (herd.Apart{Began: day("05-10"), From: day("05-10"), Until: day("08-08")}) {
		t.Errorf("got %+v", q)
	}
}
