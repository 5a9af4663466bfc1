package books

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const coolGecko = `
[[species]]
id = "test-gecko"
[species.cooling]
usual = true
start = "11-01"
cool = ["5 C", "12 C"]
lasts = "10 weeks"
`

func TestReadCoolingOfSpecies(t *testing.T) {
	t.Run("missing values are as usual", func(t *testing.T) {
		got := species(t, clean(t, coolGecko), "test-gecko")
		want := usualCooling
		want.Usual, want.Start = true, husbandry.MonthDay{Month: time.November, Day: 1}
		want.From, want.To, want.Lasts = 5, 12, 70
		if !reflect.DeepEqual(got.Cooling, want) {
			t.Errorf("got  %+v\nwant %+v", got.Cooling, want)
		}
		if got.Sources["cooling.lasts"] != ownSource || got.Sources["cooling.fast"] != "" {
			t.Errorf("sources: %v", got.Sources)
		}
	})
	t.Run("everything", func(t *testing.T) {
		got := species(t, clean(t, coolGecko+`
fast = "3 weeks"
down = { days = "12 days", steps = ["68 F", "15 C"] }
up = { days = "8 days", steps = ["16 C"] }
weigh = "1 week"
water = "Always."
first_feed = ["2 days", "5 days"]
pair = ["10 days", "30 days"]
source = "my notes"
[species.cooling.loss]
warn = "4 %"
stop = "7.5 %"
source = "my vet"
`), "test-gecko")
		want := husbandry.CoolingCare{
			Usual: true, Start: husbandry.MonthDay{Month: time.November, Day: 1}, Fast: 21,
			Down: husbandry.Ramp{Days: 12, Steps: []husbandry.Celsius{20, 15}}, From: 5, To: 12, Lasts: 70,
			Up: husbandry.Ramp{Days: 8, Steps: []husbandry.Celsius{16}}, Weigh: 7, Water: "Always.",
			FirstFeed: husbandry.Span{From: 2, To: 5}, Pair: husbandry.Span{From: 10, To: 30}, WarnLoss: 0.04, StopLoss: 0.075,
		}
		if !reflect.DeepEqual(got.Cooling, want) {
			t.Errorf("got  %+v\nwant %+v", got.Cooling, want)
		}
		if got.Sources["cooling.down"] != "my notes" || got.Sources["cooling.loss.stop"] != "my vet" {
			t.Errorf("sources: %v", got.Sources)
		}
	})
	t.Run("a built-in sheet changed key by key", func(t *testing.T) {
		_, records, list := Read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")},
			"own.toml": {Data: []byte("[[species]]\nid = \"wall-lizard\"\n[species.cooling]\nlasts = \"8 weeks\"\n[species.cooling.loss]\nwarn = \"3 %\"\n")}}, ".")
		if list.HasErrors() {
			t.Fatal(list)
		}
		got := species(t, records, "wall-lizard").Cooling
		if !got.Usual || got.Lasts != 56 || got.Fast != 14 || got.To != 12 || got.WarnLoss != 0.03 || got.StopLoss != 0.08 || len(got.Down.Steps) != 2 {
			t.Errorf("got %+v", got)
		}
	})
}

// The choice of built-in species to cool is common practice: small lizards from
// cold winters always; geckos and dragons from dry lands if the keeper says so;
// tropical species never.
func TestBuiltInSpeciesCooled(t *testing.T) {
	_, records, _ := Read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}}, ".")
	want := map[husbandry.ID]string{
		"fence-lizard": "usual", "collared-lizard": "usual", "wall-lizard": "usual", "sand-lizard": "usual",
		"leopard-gecko": "on request", "bearded-dragon": "on request", "grass-lizard": "on request",
	}
	for _, s := range records.Species {
		got := ""
		switch c := s.Cooling; {
		case c.IsZero():
		case c.Usual:
			got = "usual"
		default:
			got = "on request"
		}
		if got != want[s.ID] {
			t.Errorf("%s: %q, want %q", s.ID, got, want[s.ID])
		}
		if s.Cooling.IsZero() {
			continue
		}
		if c := s.Cooling; c.Fast < 14 || c.Weigh < 7 || c.Weigh > 14 || c.FirstFeed != (husbandry.Span{From: 3, To: 7}) || c.WarnLoss != 0.05 || c.StopLoss != 0.08 || c.Water == "" ||
			got == "usual" && (c.To > 12 || c.From < 4) || got == "on request" && c.To < 14 {
			t.Errorf("%s: %+v", s.ID, c)
		}
		if !strings.Contains(s.Sources["cooling.loss"], "borrowed from tortoise practice, no lizard source") {
			t.Errorf("%s: loss limits from %q", s.ID, s.Sources["cooling.loss"])
		}
	}
}

func TestCoolingRecords(t *testing.T) {
	v := clean(t, coolGecko+`
[[room]]
id = "A"
[[enclosure]]
id = "E1"
room = "A"
[[cooling]]
id = "this-winter"
enclosures = ["E1"]
start = 2026-10-20
lasts = "8 weeks"
cool = ["6 C", "50 F"]
ended = 2026-12-24
[[cooling]]
id = "every-winter"
rooms = ["A"]
start = "10-25"
[[cooling]]
id = "not-these"
species = ["test-gecko"]
off = true
`)
	want := []husbandry.Cooling{
		{ID: "this-winter", Enclosures: []husbandry.ID{"E1"}, Start: civil.MustParse("2026-10-20"), Lasts: 56, From: 6, To: 10, Ended: civil.MustParse("2026-12-24")},
		{ID: "every-winter", Rooms: []husbandry.ID{"A"}, Every: husbandry.MonthDay{Month: time.October, Day: 25}},
		{ID: "not-these", Species: []husbandry.ID{"test-gecko"}, Off: true},
	}
	if !reflect.DeepEqual(v.Coolings, want) {
		t.Errorf("got  %+v\nwant %+v", v.Coolings, want)
	}
}

// Each case is one problem of a winter, or none.
func TestProblemsOfCooling(t *testing.T) {
	cooling := func(more string) string { return "[[cooling]]\nid = \"W\"\n" + more + "\n" }
	animal := func(id, species, more string) string {
		return fmt.Sprintf("[[animal]]\nid = %q\nspecies = %q\nenclosure = \"E1\"\n%s\n", id, species, more)
	}
	place := "[[room]]\nid = \"A\"\n[[enclosure]]\nid = \"E1\"\nroom = \"A\"\n"
	for _, c := range []struct{ words, src, want string }{
		{"without its weeks", "[[species]]\nid = \"test-gecko\"\n[species.cooling]\nstart = \"11-01\"\ncool = [\"5 C\", \"12 C\"]\n", "has no `lasts`"},
		{"too warm", strings.Replace(coolGecko, "12 C", "40 C", 1), "\"40 C\" is no temperature for a lizard's winter"},
		{"frost", strings.Replace(coolGecko, "5 C", "-5 C", 1), "\"-5 C\" is no temperature"},
		{"a range from warm to cold", strings.Replace(coolGecko, `["5 C", "12 C"]`, `["12 C", "5 C"]`, 1), "`cool` goes from 12 down to 5"},
		{"a step colder than the cold", coolGecko + "down = { steps = [\"20 C\", \"10 C\"] }\n", "a step of `down` is not above the range of the cold weeks"},
		{"steps that do not fall", coolGecko + "down = { steps = [\"15 C\", \"20 C\"] }\n", "the steps of `down` are not in order"},
		{"steps that do not rise", coolGecko + "up = { steps = [\"20 C\", \"15 C\"] }\n", "the steps of `up` are not in order"},
		{"more steps than days", coolGecko + "down = { days = \"1 day\", steps = [\"20 C\", \"15 C\"] }\n", "2 steps in 1 day"},
		{"limits the wrong way round", coolGecko + "loss = { warn = \"9 %\" }\n", "the loss that warns (9 %) is more than the one that ends the cooling (8 %)"},
		{"a limit without its unit", coolGecko + "loss = { warn = \"4\" }\n", "\"4\" has no unit"},
		{"no limit at all", coolGecko + "loss = { stop = \"0 %\" }\n", "\"0 %\" is no loss of mass to act on"},
		{"a record without animals", coolGecko + cooling("lasts = \"8 weeks\""), "has no `species`, `rooms`, `enclosures` or `animals`"},
		{"for an empty list", coolGecko + cooling("species = []"), "`species` is an empty list"},
		{"two lists", coolGecko + place + cooling("species = [\"test-gecko\"]\nrooms = [\"A\"]"), "the cooling names `rooms` and `species`"},
		{"unknown animal", coolGecko + cooling("animals = [\"F9\"]"), "unknown animal `F9`"},
		{"a species that is never cooled", cooling("species = [\"other-gecko\"]"), "the care sheet of `other-gecko` does not say how it is cooled"},
		{"an animal of a species that is never cooled", place + animal("F1", "other-gecko", "") + cooling("animals = [\"F1\"]"), "the care sheet of `other-gecko` does not say how it is cooled"},
		{"not cooling such a species is fine", cooling("species = [\"other-gecko\"]\noff = true"), ""},
		{"a room with such an animal in it is fine", coolGecko + place + animal("F1", "other-gecko", "") + cooling("rooms = [\"A\"]"), ""},
		{"ended without a start", coolGecko + cooling("species = [\"test-gecko\"]\nended = 2026-12-24"), "`ended` needs the `start` of that winter"},
		{"ended before it began", coolGecko + cooling("species = [\"test-gecko\"]\nstart = 2026-12-25\nended = 2026-12-24"), "`ended` (2026-12-24) is before `start` (2026-12-25)"},
		{"off and with weeks", coolGecko + cooling("species = [\"test-gecko\"]\noff = true\nlasts = \"8 weeks\""), "the cooling is `off` and has `lasts`"},
		{"a start that is no day", coolGecko + cooling("species = [\"test-gecko\"]\nstart = \"13-01\""), "\"13-01\" is not a month and day"},
		{"twice for one winter", coolGecko + cooling("species = [\"test-gecko\"]\nstart = 2026-11-01") + strings.Replace(cooling("species = [\"test-gecko\"]\nstart = 2026-12-01"), "W", "V", 1), "is about the same animals and the same winter"},
		{"for two winters", coolGecko + cooling("species = [\"test-gecko\"]\nstart = 2026-11-01") + strings.Replace(cooling("species = [\"test-gecko\"]\nstart = 2027-11-01"), "W", "V", 1), ""},
		{"a range above the sheet's steps", coolGecko + "down = { steps = [\"15 C\"] }\n" + place + animal("F1", "test-gecko", "") + cooling("species = [\"test-gecko\"]\ncool = [\"16 C\", \"18 C\"]"), "has a step at 15.0 C, which is not above this range"},
		{"turned off by a routine", "[[routine]]\nid = \"r\"\nkind = \"cool\"\noff = true\n", "a winter is not turned off by a routine"},
		{"cooled and not cooled in one enclosure", coolGecko + place + animal("F1", "test-gecko", "") + animal("F2", "other-gecko", ""), "`F2` shares `E1` with `F1`, which is cooled in winter; `F2` is not"},
		{"not cooled and cooled in one enclosure", coolGecko + place + animal("F2", "other-gecko", "") + animal("F1", "test-gecko", ""), "`F2` shares `E1` with `F1`, which is cooled in winter; `F2` is not"},
		{"one animal taken out by a record", coolGecko + place + animal("F1", "test-gecko", "") + animal("F2", "test-gecko", "") + cooling("animals = [\"F2\"]\noff = true"), "`F2` shares `E1` with `F1`, which is cooled in winter"},
		{"different plans in one enclosure", coolGecko + place + animal("F1", "test-gecko", "") + animal("F2", "test-gecko", "") + cooling("animals = [\"F2\"]\nstart = \"12-01\""), "are cooled by different plans"},
		{"an animal that has left", coolGecko + place + animal("F1", "test-gecko", "") + animal("F2", "other-gecko", "left = 2026-01-01"), ""},
		{"two cooled animals in one enclosure", coolGecko + place + animal("F1", "test-gecko", "") + animal("F2", "test-gecko", ""), ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", c.src)
			var got []string
			for _, p := range list {
				got = append(got, p.Message)
			}
			if all := strings.Join(got, "\n"); c.want == "" && len(got) > 0 || !strings.Contains(all, c.want) || c.want != "" && len(got) != 1 {
				t.Errorf("got %q, want %q", all, c.want)
			}
		})
	}
}
