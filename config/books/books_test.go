package books

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"
	"unicode/utf8"

	"nestround/config/diag"
	"nestround/scheduler/season/kinship"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// readFiles reads books given as pairs of name and content.
func readFiles(t testing.TB, pairs ...string) (*husbandry.Records, diag.List) {
	t.Helper()
	fsys := fstest.MapFS{}
	for i := 0; i < len(pairs); i += 2 {
		fsys[pairs[i]] = &fstest.MapFile{Data: []byte(pairs[i+1])}
	}
	_, records, list := read(fsys, ".", testSheets)
	if (records == nil) != list.HasErrors() {
		t.Fatalf("records are %v with the problems %v", records, list)
	}
	return records, list
}

// clean reads one file of records and fails if it has a problem.
func clean(t testing.TB, src string) *husbandry.Records {
	t.Helper()
	records, list := readFiles(t, "keeper.toml", "zone = \"Europe/Vienna\"\n", "records.toml", src)
	if len(list) > 0 {
		t.Fatalf("problems: %v", list)
	}
	return records
}

const place = "[[room]]\nid = \"A\"\n[[enclosure]]\nid = \"E1\"\nroom = \"A\"\n"

func TestReadRecords(t *testing.T) {
	v := clean(t, `
[[room]]
id = "A"
name = "Room A"
[[rack]]
id = "R1"
name = "Rack"
room = "A"
[[enclosure]]
id = "E1"
name = "One"
rack = "R1"
nest_box = { substrate = "sand", top_up = "3 days" }
lamp = { fitted = 2026-03-01, life = "2 weeks" }
[[animal]]
id = "F1"
name = "Juno"
species = "test-gecko"
sex = "female"
enclosure = "E1"
hatched = 2024-05-01
acquired = 2024-08-01
mother = "F0"
father = "M9"
stage = "subadult"
breeding = true
gravid = 2027-04-01
note = "shy"
[[animal]]
id = "F0"
species = "test-gecko"
left = 2025-01-01
[[animal]]
id = "M0"
species = "test-gecko"
sex = "male"
count = 3
enclosure = "E1"
[[animal]]
id = "M9"
species = "test-gecko"
sex = "male"
left = 2025-01-01
[[incubator]]
id = "I1"
name = "Shelf"
room = "A"
temperature = "82.4 F"
was = [{ until = 2027-04-01, temperature = "26 C" }]
swing = "1.8 F"
[[clutch]]
id = "C1"
mother = "F1"
laid = 2027-04-10
eggs = 2
slugs = 1
incubator = "I1"
temperature = "27 C"
tub = "sealed"
tub_set = 2027-04-11
hatched = 1
ended = 2027-07-01
veins = 2027-04-20
moved = [{ on = 2027-05-01, temperature = "24 C" }, { on = 2027-04-20, incubator = "I1" }]
note = "n"
[[clutch]]
id = "C2"
species = "other-gecko"
laid_between = [2027-04-10, 2027-04-12]
incubator = "I1"
[[pairing]]
id = "P1"
male = "M0"
female = "F1"
from = 2027-03-01
until = 2027-03-05
mated = [2027-03-02]
[[away]]
from = 2027-08-01
until = 2027-08-05
cover = "Mara"
note = "call first"
[[away]]
from = 2027-06-01
until = 2027-06-01
`)
	day := civil.MustParse
	warm, cool := husbandry.Celsius(27), husbandry.Celsius(24)
	if got, want := v.Rooms, []husbandry.Room{{ID: "A", Name: "Room A"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("rooms: %+v", got)
	}
	if got, want := v.Racks, []husbandry.Rack{{ID: "R1", Name: "Rack", Room: "A"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("racks: %+v", got)
	}
	if got, want := v.Enclosures, []husbandry.Enclosure{{ID: "E1", Name: "One", Room: "A", Rack: "R1",
		NestBox: &husbandry.NestBox{Substrate: "sand", TopUp: 3}, Lamp: &husbandry.Lamp{Fitted: day("2026-03-01"), Life: 14}}}; !reflect.DeepEqual(got, want) {
		t.Errorf("enclosures: %+v", got)
	}
	if got, want := v.Animals, []husbandry.Animal{
		{ID: "F1", Name: "Juno", Species: "test-gecko", Sex: husbandry.Female, Count: 1, Enclosure: "E1", Hatched: day("2024-05-01"),
			Acquired: day("2024-08-01"), Mother: "F0", Father: "M9", Stage: husbandry.Subadult, Breeding: true, Gravid: day("2027-04-01"), Note: "shy"},
		{ID: "F0", Species: "test-gecko", Sex: husbandry.Unsexed, Count: 1, Left: day("2025-01-01")},
		{ID: "M0", Species: "test-gecko", Sex: husbandry.Male, Count: 3, Enclosure: "E1"},
		{ID: "M9", Species: "test-gecko", Sex: husbandry.Male, Count: 1, Left: day("2025-01-01")},
	}; !reflect.DeepEqual(got, want) {
		t.Errorf("animals: %+v", got)
	}
	if got, want := v.Clutches, []husbandry.Clutch{
		{ID: "C1", Mother: "F1", Species: "test-gecko", LaidFrom: day("2027-04-10"), Laid: day("2027-04-10"), Eggs: 2, Slugs: 1, Incubator: "I1",
			Temperature: &warm, Moves: []husbandry.Move{{On: day("2027-04-20"), Incubator: "I1"}, {On: day("2027-05-01"), Temperature: &cool}}, Veins: day("2027-04-20"),
			Tub: husbandry.Sealed, TubSet: day("2027-04-11"), Hatched: 1, Ended: day("2027-07-01"), Note: "n"},
		{ID: "C2", Species: "other-gecko", LaidFrom: day("2027-04-10"), Laid: day("2027-04-12"), Incubator: "I1", Tub: husbandry.Vented},
	}; !reflect.DeepEqual(got, want) {
		t.Errorf("clutches: %+v", got)
	}
	if i := v.Incubators[0]; i.ID != "I1" || i.Name != "Shelf" || i.Room != "A" || math.Abs(float64(i.Temperature)-28) > 1e-9 || math.Abs(float64(i.Swing)-1) > 1e-9 ||
		i.SetTo(day("2027-04-01")) != 26 || i.SetTo(day("2027-04-02")) != i.Temperature {
		t.Errorf("incubator: %+v", i)
	}
	if got, want := v.Pairings, []husbandry.Pairing{{ID: "P1", Male: "M0", Female: "F1", From: day("2027-03-01"), Until: day("2027-03-05"),
		Mated: []civil.Date{day("2027-03-02")}, Species: "test-gecko"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("pairings: %+v", got)
	}
	if got, want := v.Away, []husbandry.Away{{From: day("2027-06-01"), Until: day("2027-06-01")},
		{From: day("2027-08-01"), Until: day("2027-08-05"), Cover: "Mara", Note: "call first"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("away: %+v", got)
	}
}

func TestCadences(t *testing.T) {
	day := civil.MustParse
	for _, c := range []struct {
		name, when string
		want       husbandry.Cadence
	}{
		{"every", "every = \"2 weeks\"\nfrom = 2027-01-01", husbandry.Cadence{Pattern: husbandry.Fixed, Every: 14, From: day("2027-01-01")}},
		{"weekdays", `weekdays = ["sun", "Thursday", "SAT"]`, husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Sunday, time.Thursday, time.Saturday}}},
		{"days of the month", `month_days = [1, 31]`, husbandry.Cadence{Pattern: husbandry.Fixed, MonthDays: []int{1, 31}}},
		{"cron", `cron = "0 0 */2 * *"`, husbandry.Cadence{Pattern: husbandry.Fixed, Cron: "0 0 */2 * *"}},
		{"cron on a leap day", `cron = "0 0 29 2 *"`, husbandry.Cadence{Pattern: husbandry.Fixed, Cron: "0 0 29 2 *"}},
		{"since last", `since_last = "3 days"`, husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 3}},
		{"after", `after = { event = "laid", days = "0 days" }`, husbandry.Cadence{Pattern: husbandry.Anchored, Event: husbandry.EventLaid}},
		{"window", `window = { name = "pairing", every = "7 days" }`, husbandry.Cadence{Pattern: husbandry.Windowed, Window: husbandry.PairingWindow, Every: 7}},
		{"window, daily by default", `window = { name = "hatching" }`, husbandry.Cadence{Pattern: husbandry.Windowed, Window: husbandry.HatchWindow, Every: 1}},
		{"riding", `riding = { on = "feed", nth = 2, lead = "1 day", min_gap = "2 days" }`, husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: 2, Lead: 1, MinGap: 2}},
		{"riding on each", `riding = { on = "feed" }`, husbandry.Cadence{Pattern: husbandry.Riding, Host: husbandry.Feed, Nth: 1}},
		{"off", `off = true`, husbandry.Cadence{}},
		{"under its own header", "since_last = \"3 days\"\n[routine.for]\nstages = [\"adult\"]", husbandry.Cadence{Pattern: husbandry.SinceLast, Every: 3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := clean(t, "[[routine]]\nid = \"r\"\nkind = \"weigh\"\n"+c.when+"\n")
			if got := v.Routines[0]; !reflect.DeepEqual(got.Cadence, c.want) || got.Scope != husbandry.OfAnimal || got.Origin != husbandry.Keeper {
				t.Errorf("got %+v", got)
			}
		})
	}
}

func TestReadRoutine(t *testing.T) {
	v := clean(t, place+`
[[rack]]
id = "R1"
room = "A"
[[animal]]
id = "F1"
species = "test-gecko"
enclosure = "E1"
[[routine]]
id = "r"
kind = "own"
scope = "room"
title = "Look"
weekdays = ["mon"]
slack = { before = "1 day", after = "2 days" }
part = "midday"
minutes = 5
consumes = ["paper", "water"]
missed = "alarms"
caution = "Hot."
source = "own"
for = { rooms = ["A"], racks = ["R1"], enclosures = ["E1"], animals = ["F1"], species = ["test-gecko"], stages = ["adult", "juvenile"], sexes = ["female"], states = ["post-laying"], nest_box = true, lamp = true, groups = true }
`)
	want := husbandry.Routine{
		ID: "r", Kind: husbandry.Own, Scope: husbandry.OfRoom, Title: "Look",
		Cadence: husbandry.Cadence{Pattern: husbandry.Fixed, Weekdays: []time.Weekday{time.Monday}},
		Before:  1, After: 2, Part: husbandry.Midday, Minutes: 5, Consumes: []string{"paper", "water"}, Missed: husbandry.Alarms, Caution: "Hot.", Source: "own",
		For: husbandry.Selector{Rooms: []husbandry.ID{"A"}, Racks: []husbandry.ID{"R1"}, Enclosures: []husbandry.ID{"E1"}, Animals: []husbandry.ID{"F1"},
			Species: []husbandry.ID{"test-gecko"}, Stages: []husbandry.Stage{husbandry.Adult, husbandry.Juvenile}, Sexes: []husbandry.Sex{husbandry.Female},
			States: []husbandry.State{husbandry.PostLaying}, NestBox: true, Lamp: true, Groups: true},
	}
	if got := v.Routines[0]; !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestDefaultsOfRoutine(t *testing.T) {
	for kind, missed := range map[husbandry.Kind]husbandry.Missed{
		husbandry.Feed: husbandry.Lapses, husbandry.NestTopUp: husbandry.Stays, husbandry.DigEggs: husbandry.Stays,
		husbandry.LayWatch: husbandry.Alarms, husbandry.HatchWatch: husbandry.Alarms, husbandry.GutLoad: husbandry.Lapses,
	} {
		v := clean(t, fmt.Sprintf("[[routine]]\nid = \"r\"\nkind = %q\nsince_last = \"3 days\"\nslack = \"2 days\"\n", kind))
		r := v.Routines[0]
		if r.Missed != missed || r.Part != husbandry.Morning || r.Before != 2 || r.After != 2 || r.Scope != kind.Scope() {
			t.Errorf("%s: %+v", kind, r)
		}
	}
}

func TestEnclosuresAreInWalkingOrder(t *testing.T) {
	records, list := readFiles(t,
		"keeper.toml", "zone = \"Europe/Vienna\"\n[[room]]\nid = \"B\"\n",
		"a.toml", "[[enclosure]]\nid = \"B-alone\"\nroom = \"B\"\n[[enclosure]]\nid = \"A-R2\"\nrack = \"R2\"\n[[enclosure]]\nid = \"A-R1-2\"\nrack = \"R1\"\n",
		"b.toml", "[[room]]\nid = \"A\"\n[[rack]]\nid = \"R1\"\nroom = \"A\"\n[[rack]]\nid = \"R2\"\nroom = \"A\"\n[[rack]]\nid = \"R3\"\nroom = \"B\"\n",
		"more/c.toml", "[[enclosure]]\nid = \"A-R1-3\"\nrack = \"R1\"\n[[enclosure]]\nid = \"A-alone\"\nroom = \"A\"\n[[enclosure]]\nid = \"B-R3\"\nrack = \"R3\"\n",
	)
	if len(list) > 0 {
		t.Fatal(list)
	}
	var order []string
	for _, e := range records.Enclosures {
		order = append(order, string(e.ID))
	}
	if got, want := strings.Join(order, " "), "B-alone B-R3 A-alone A-R1-2 A-R1-3 A-R2"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if records.Enclosures[1].Room != "B" {
		t.Error("an enclosure in a rack does not know its room")
	}
}

func species(t *testing.T, v *husbandry.Records, id husbandry.ID) husbandry.Species {
	t.Helper()
	i := slices.IndexFunc(v.Species, func(s husbandry.Species) bool { return s.ID == id })
	if i < 0 {
		t.Fatalf("there is no species %s", id)
	}
	return v.Species[i]
}

func TestReadCareSheet(t *testing.T) {
	got := species(t, clean(t, ""), "test-gecko")
	want := husbandry.Species{
		ID: "test-gecko", Name: "Test gecko", Scientific: "Gecko probans", Family: "Gekkonidae",
		JuvenileFrom: 14, SubadultFrom: 120, AdultFrom: 300,
		FirstFeed: husbandry.Span{From: 2, To: 7}, SexableAt: 90,
		Incubation: husbandry.Incubation{
			Points: []husbandry.IncubationPoint{
				{Temperature: 28, Days: 52, SD: 2.1, Eggs: 30, Source: "Author 2001, Journal 1:1-2"},
				{Temperature: 30, Days: 48, Source: "Author 2001, Journal 1:1-2"},
			},
			Days: husbandry.Span{From: 45, To: 70}, Diapause: husbandry.Span{From: 10, To: 20}, TemperatureSex: true, SafeFrom: 24, SafeTo: 32,
		},
		Laying:  husbandry.Laying{AfterMating: husbandry.Span{From: 20, To: 30}, Interval: husbandry.Span{From: 14, To: 21}, Clutches: 6, Eggs: husbandry.Span{From: 1, To: 2}},
		Pairing: husbandry.PairingSeason{FromMonth: time.March, FromDay: 1, UntilMonth: time.June, UntilDay: 30},
		Sources: map[string]string{"stages": "common practice", "first_feed": "common practice", "sexable_at": "common practice",
			"incubation": "Author 2001, Journal 1:1-2", "laying": "common practice", "pairing": "common practice"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

func TestKeepersSpeciesChangesOnlyItsKeys(t *testing.T) {
	before := species(t, clean(t, ""), "test-gecko")
	v := clean(t, `
[[species]]
id = "test-gecko"
name = "My gecko"
stages = { adult = "400 days" }
[species.laying]
interval = ["18 days", "25 days"]
source = "my notes"
[species.incubation]
temperature_sex = false
[[species.incubation.point]]
temperature = "27 C"
days = 55
[species.pairing]
until = "05-31"
[[species.routine]]
id = "my-feed"
kind = "feed"
since_last = "3 days"
[[species]]
id = "new-gecko"
name = "New gecko"
`)
	got := species(t, v, "test-gecko")
	want := before
	want.Name = "My gecko"
	want.AdultFrom = 400
	want.Laying.Interval = husbandry.Span{From: 18, To: 25}
	want.Incubation.TemperatureSex = false
	want.Incubation.Points = []husbandry.IncubationPoint{{Temperature: 27, Days: 55, Source: ownSource}}
	want.Pairing.UntilMonth, want.Pairing.UntilDay = time.May, 31
	want.Sources = map[string]string{"stages": "common practice", "first_feed": "common practice", "sexable_at": "common practice",
		"incubation": "Author 2001, Journal 1:1-2", "laying": "common practice", "pairing": "common practice",
		"stages.adult": ownSource, "laying.interval": "my notes", "incubation.temperature_sex": ownSource, "incubation.point": ownSource, "pairing.until": ownSource}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if r := v.Routines[0]; r.ID != "my-feed" || r.Origin != husbandry.Keeper || !slices.Equal(r.For.Species, []husbandry.ID{"test-gecko"}) {
		t.Errorf("its routine: %+v", r)
	}
	if n := species(t, v, "new-gecko"); n.Name != "New gecko" || len(n.Sources) != 0 {
		t.Errorf("the new one: %+v", n)
	}
	if len(v.Species) != 3 {
		t.Errorf("%d species", len(v.Species))
	}
}

// Measurements of eggs belong to the species, not to the sheet, so a keeper's
// own sheet has them too.
func TestKeepersSheetOfBuiltInSpecies(t *testing.T) {
	sheet := species(t, clean(t, ""), "test-gecko")
	genus, _, _ := strings.Cut(sheet.Scientific, " ")
	for name, c := range map[string]struct {
		src    string
		family string
		days   husbandry.Span
		points int
		source string
	}{
		"the same binomial":             {`scientific = "` + strings.ToLower(sheet.Scientific) + `"`, sheet.Family, sheet.Incubation.Days, len(sheet.Incubation.Points), sheet.Sources["incubation"]},
		"the same in capitals":          {`scientific = " ` + strings.ToUpper(strings.ReplaceAll(sheet.Scientific, " ", "  ")) + ` "`, sheet.Family, sheet.Incubation.Days, len(sheet.Incubation.Points), sheet.Sources["incubation"]},
		"a subspecies":                  {`scientific = "` + sheet.Scientific + ` minor"`, sheet.Family, sheet.Incubation.Days, len(sheet.Incubation.Points), sheet.Sources["incubation"]},
		"the same, own days":            {`scientific = "` + sheet.Scientific + "\"\n[species.incubation]\ndays = [\"40 days\", \"44 days\"]", sheet.Family, husbandry.Span{From: 40, To: 44}, len(sheet.Incubation.Points), sheet.Sources["incubation"]},
		"another species of the genus":  {`scientific = "` + genus + ` alter"`, sheet.Family, husbandry.Span{}, 0, ""},
		"its own family is kept":        {`scientific = "` + genus + "\"\nfamily = \"Ownidae\"", "Ownidae", husbandry.Span{}, 0, ""},
		"a family in small letters":     {`scientific = "` + genus + "\"\nfamily = \"ownidae\"", "Ownidae", husbandry.Span{}, 0, ""},
		"another genus":                 {`scientific = "Alter alter"`, "", husbandry.Span{}, 0, ""},
		"no binomial: nothing is known": {``, "", husbandry.Span{}, 0, ""},
	} {
		got := species(t, clean(t, "\n[[species]]\nid = \"mine\"\nname = \"Mine\"\n"+c.src+"\n"), "mine")
		if got.Family != c.family || got.Incubation.Days != c.days || len(got.Incubation.Points) != c.points || got.Sources["incubation"] != c.source {
			t.Errorf("%s: family %q, incubation %+v from %q", name, got.Family, got.Incubation, got.Sources["incubation"])
		}
		if !got.Laying.Interval.IsZero() || got.AdultFrom != 0 {
			t.Errorf("%s: more than eggs came along: %+v", name, got)
		}
	}
}

func routineIDs(v *husbandry.Records) string {
	var ids []string
	for _, r := range v.Routines {
		ids = append(ids, fmt.Sprintf("%s:%d", r.ID, r.Origin))
	}
	return strings.Join(ids, " ")
}

func TestKeepersRoutineReplacesBuiltIn(t *testing.T) {
	if got, want := routineIDs(clean(t, "")), "test-gecko.feed:1 test-gecko.calcium:1 water:2 nest-top-up:2"; got != want {
		t.Errorf("built in: %s", got)
	}
	v := clean(t, `
[[routine]]
id = "test-gecko.feed"
since_last = "3 days"
[[routine]]
id = "water"
kind = "water"
for = { stages = ["adult"] }
since_last = "2 days"
[[routine]]
id = "nest-top-up"
off = true
`)
	if got, want := routineIDs(v), "test-gecko.feed:0 water:0 nest-top-up:0 test-gecko.calcium:1"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	// The kind and the subjects of the built-in routine stay.
	feed := v.Routines[0]
	if feed.Kind != husbandry.Feed || !slices.Equal(feed.For.Species, []husbandry.ID{"test-gecko"}) || !slices.Equal(feed.For.Stages, []husbandry.Stage{husbandry.Adult}) {
		t.Errorf("feed: %+v", feed)
	}
	if water := v.Routines[1]; !reflect.DeepEqual(water.For, husbandry.Selector{Stages: []husbandry.Stage{husbandry.Adult}}) {
		t.Errorf("water: %+v", water)
	}
	if nest := v.Routines[2]; nest.Kind != husbandry.NestTopUp || !nest.Off || !nest.For.NestBox {
		t.Errorf("nest box: %+v", nest)
	}
}

// Contradictions between records: each case is books with one problem, or
// valid.
func TestContradictingRecords(t *testing.T) {
	animal := func(id, more string) string {
		return fmt.Sprintf("[[animal]]\nid = %q\nspecies = \"test-gecko\"\nenclosure = \"E1\"\n%s\n", id, more)
	}
	for _, c := range []struct {
		name, src string
		want      string
	}{
		{"duplicate id in another kind", animal("A", ""), `the id ` + "`A` is taken by the room at records.toml:2"},
		{"laid after the mother left", animal("F", "left = 2027-01-01") + "[[clutch]]\nid = \"C\"\nmother = \"F\"\nlaid = 2027-01-02\ntemperature = \"28 C\"\n", "laid (2027-01-02) after the mother `F` left (2027-01-01)"},
		{"laid on the day she left", animal("F", "left = 2027-01-01") + "[[clutch]]\nid = \"C\"\nmother = \"F\"\nlaid = 2027-01-01\ntemperature = \"28 C\"\n", ""},
		{"laid before she hatched", animal("F", "hatched = 2027-01-02") + "[[clutch]]\nid = \"C\"\nmother = \"F\"\nlaid = 2027-01-01\ntemperature = \"28 C\"\n", "laid (2027-01-01) before the mother `F` hatched (2027-01-02)"},
		{"a male lays", animal("F", "sex = \"male\"") + "[[clutch]]\nid = \"C\"\nmother = \"F\"\nlaid = 2027-01-01\ntemperature = \"28 C\"\n", "the mother `F` is a male"},
		{"an unsexed animal lays", animal("F", "") + "[[clutch]]\nid = \"C\"\nmother = \"F\"\nlaid = 2027-01-01\ntemperature = \"28 C\"\n", ""},
		{"mother male", animal("F", "mother = \"M\"") + animal("M", "sex = \"male\""), "the mother `M` is a male"},
		{"father female", animal("F", "father = \"M\"") + animal("M", "sex = \"female\""), "the father `M` is a female"},
		{"own mother", animal("F", "mother = \"F\""), "`F` is its own ancestor: F, child of F"},
		{"own grandfather", animal("F", "mother = \"G\"") + animal("G", "father = \"F\""), "`F` is its own ancestor: F, child of G, child of F"},
		{"cousins", animal("F", "mother = \"G\"\nfather = \"H\"") + animal("G", "mother = \"J\"") + animal("H", "mother = \"J\"") + animal("J", ""), ""},
		{"younger than its child", animal("F", "mother = \"G\"\nhatched = 2025-01-01") + animal("G", "hatched = 2025-01-01"), "hatched (2025-01-01) before its mother `G` (2025-01-01)"},
		{"paired before hatched", animal("F", "sex = \"female\"\nhatched = 2027-01-02") + animal("M", "sex = \"male\"") + "[[pairing]]\nid = \"P\"\nmale = \"M\"\nfemale = \"F\"\nfrom = 2027-01-01\n", "paired (2027-01-01) before `F` hatched"},
		{"paired after it left", animal("F", "sex = \"female\"") + animal("M", "sex = \"male\"\nleft = 2026-01-01") + "[[pairing]]\nid = \"P\"\nmale = \"M\"\nfemale = \"F\"\nfrom = 2027-01-01\n", "paired (2027-01-01) after `M` left"},
		{"mated after separation", animal("F", "sex = \"female\"") + animal("M", "sex = \"male\"") + "[[pairing]]\nid = \"P\"\nmale = \"M\"\nfemale = \"F\"\nfrom = 2027-01-01\nuntil = 2027-01-02\nmated = [2027-01-03]\n", "mated (2027-01-03) after they were separated"},
		{"a pairing that is only planned", animal("F", "sex = \"female\"") + animal("M", "sex = \"male\"") + "[[pairing]]\nid = \"P\"\nmale = \"M\"\nfemale = \"F\"\n", ""},
		{"rack and room agree", "[[rack]]\nid = \"R\"\nroom = \"A\"\n[[enclosure]]\nid = \"E2\"\nrack = \"R\"\nroom = \"A\"\n", ""},
		{"away days that touch", "[[away]]\nfrom = 2027-01-03\nuntil = 2027-01-04\n[[away]]\nfrom = 2027-01-01\nuntil = 2027-01-02\n", ""},
		{"away days that overlap", "[[away]]\nfrom = 2027-01-02\nuntil = 2027-01-04\n[[away]]\nfrom = 2027-01-01\nuntil = 2027-01-02\n", "these days away overlap with those at records.toml:9"},
		{"one keeper away, and then the other", "[[keeper]]\nid = \"mara\"\n[[keeper]]\nid = \"jo\"\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-04\n[[away]]\nkeeper = \"jo\"\nfrom = 2027-05-05\nuntil = 2027-05-06\n", ""},
		{"all keepers away, and somebody stands in", "[[keeper]]\nid = \"mara\"\n[[keeper]]\nid = \"jo\"\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-04\n[[away]]\nkeeper = \"jo\"\nfrom = 2027-05-04\nuntil = 2027-05-06\n[[away]]\nfrom = 2027-05-04\nuntil = 2027-05-04\ncover = \"Ines\"\n", ""},
		{"a reference in another case", animal("F", "mother = \"f\""), "unknown animal `f`"},
		{"a reference to another kind", animal("F", "mother = \"E1\""), "`E1` is an enclosure, not an animal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", place+c.src)
			switch {
			case c.want == "" && len(list) > 0:
				t.Errorf("got %v", list)
			case c.want != "" && (len(list) != 1 || !strings.Contains(list[0].Message, c.want) || list[0].Severity != diag.Error):
				t.Errorf("got %v, want %s", list, c.want)
			}
		})
	}
}

// Problems of a single record that the hostile books do not have. Each case has
// one problem.
func TestProblemsOfSingleRecords(t *testing.T) {
	for _, c := range []struct {
		name, src, want string
	}{
		{"an id that is too long", "[[room]]\nid = \"" + strings.Repeat("a", 61) + "\"\n", "2:6: `id`: an id has at most 60 characters"},
		{"an id that begins with a dash", "[[room]]\nid = \"-a\"\n", "2:6: `id`: \"-a\" is not an id"},
		{"an id like a range", "[[room]]\nid = \"5-7\"\n", "2:6: `id`: \"5-7\" has no letter"},
		{"an id like a word of a reply", "[[room]]\nid = \"Laid\"\n", "2:6: `id`: \"Laid\" is a word of replies"},
		{"one laying day instead of two", "[[clutch]]\nid = \"C\"\nspecies = \"test-gecko\"\ntemperature = \"28 C\"\nlaid_between = [2027-05-01]\n", "5:16: `laid_between` is not two dates"},
		{"moved before it was laid", "[[clutch]]\nid = \"C\"\nspecies = \"test-gecko\"\ntemperature = \"28 C\"\nlaid = 2027-05-02\nmoved = [{ on = 2027-05-01, temperature = \"26 C\" }]\n", "6:17: moved (2027-05-01) before the eggs were laid (2027-05-02)"},
		{"moved without an incubator", "[[clutch]]\nid = \"C\"\nspecies = \"test-gecko\"\ntemperature = \"28 C\"\nlaid = 2027-05-02\nmoved = [{ on = 2027-05-03 }]\n", "6:10: this table has no `incubator` or `temperature`"},
		{"moved without a day", "[[clutch]]\nid = \"C\"\nspecies = \"test-gecko\"\ntemperature = \"28 C\"\nlaid = 2027-05-02\nmoved = [{ temperature = \"26 C\" }]\n", "6:10: this table has no `on`"},
		{"a former set point without a temperature", "[[room]]\nid = \"A\"\n[[incubator]]\nid = \"I\"\nroom = \"A\"\ntemperature = \"28 C\"\nwas = [{ until = 2027-04-01 }]\n", "7:8: this table has no `temperature`"},
		{"a former home without an enclosure", "[[room]]\nid = \"A\"\n[[enclosure]]\nid = \"E\"\nroom = \"A\"\n[[animal]]\nid = \"F\"\nspecies = \"test-gecko\"\nenclosure = \"E\"\nwas = [{ until = 2027-05-01 }]\n", "10:8: this table has no `enclosure`"},
		{"a former home before it came", "[[room]]\nid = \"A\"\n[[enclosure]]\nid = \"E\"\nroom = \"A\"\n[[animal]]\nid = \"F\"\nspecies = \"test-gecko\"\nenclosure = \"E\"\nacquired = 2027-05-10\nwas = [{ until = 2027-05-01, enclosure = \"E\" }]\n", "11:18: moved (2027-05-01) before it came (2027-05-10)"},
		{"mail to nobody", "[[away]]\nfrom = 2027-05-01\nuntil = 2027-05-02\nmail = \"a@example.org\"\n", "1:1: [[away]] has no `cover`"},
		{"mail to an empty name", "[[away]]\nfrom = 2027-05-01\nuntil = 2027-05-02\nmail = \"a@example.org\"\ncover = \"\"\n", "5:9: `cover` "},
		{"mail to a name with a hidden character", "[[away]]\nfrom = 2027-05-01\nuntil = 2027-05-02\nmail = \"a@example.org\"\ncover = \"M\\u202e\"\n", "5:9: `cover` has a character"},
		{"away without an end", "[[away]]\nfrom = 2027-05-01\n", "1:1: [[away]] has no `until`"},
		{"one keeper away, and misspelt", "[[keeper]]\nid = \"mara\"\n[[away]]\nkeeper = \"mare\"\nfrom = 2027-05-01\nuntil = 2027-05-02\n", "4:10: unknown keeper `mare`"},
		{"one keeper away where there are none", "[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-02\n", "2:10: unknown keeper `mara`"},
		{"one keeper away with a cover", "[[keeper]]\nid = \"mara\"\n[[keeper]]\nid = \"jo\"\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-02\ncover = \"Ines\"\n", "9:9: days away of one keeper have no `cover`"},
		{"all keepers away", "[[keeper]]\nid = \"mara\"\n[[keeper]]\nid = \"jo\"\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-04\n[[away]]\nkeeper = \"jo\"\nfrom = 2027-05-04\nuntil = 2027-05-06\n", "9:1: on 2027-05-04 no keeper is there"},
		{"one keeper away twice", "[[keeper]]\nid = \"mara\"\n[[keeper]]\nid = \"jo\"\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-01\nuntil = 2027-05-04\n[[away]]\nkeeper = \"mara\"\nfrom = 2027-05-04\nuntil = 2027-05-05\n", "9:1: these days away overlap with those of `mara` at"},
		{"an amount without quotes", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nsince_last = \"1 day\"\nconsumes = [\"crickets\"]\namount = 6\n", "6:10: `amount` is text, not a whole number"},
		{"an opening without its unit", "[[room]]\nid = \"A\"\n[[enclosure]]\nid = \"E\"\nroom = \"A\"\nnest_box = { opening = 50, water = \"240 g\" }\n", "6:24: `opening` is text, not a whole number"},
		{"no weekday", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nweekdays = []\n", "4:12: `weekdays` names no day"},
		{"no day of the month", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nmonth_days = []\n", "4:14: `month_days` names no day"},
		{"after without an event", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nafter = { days = \"1 day\" }\n", "4:9: `after` has no `event`"},
		{"a window without a name", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nwindow = { every = \"1 day\" }\n", "4:10: `window` has no `name`"},
		{"riding without a routine", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nriding = { nth = 2 }\n", "4:10: `riding` has no `on`"},
		{"a kind that is missing", "[[routine]]\nid = \"r\"\nsince_last = \"1 day\"\n", "1:1: [[routine]] has no `kind`"},
		{"slack of the wrong type", "[[routine]]\nid = \"r\"\nkind = \"feed\"\nsince_last = \"1 day\"\nslack = 1\n", "5:9: `slack` is a table, not a whole number"},
		{"father and son", "[[animal]]\nid = \"A1\"\nspecies = \"test-gecko\"\nleft = 2027-01-01\nfather = \"A1\"\n", "5:10: `A1` is its own ancestor: A1, child of A1"},
		{"a list that should hold lists", "[[species]]\nid = \"s\"\nname = \"S\"\nincubation = { safe = [] }\n", "4:23: `safe` is not a least and a most"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", c.src)
			if len(list) != 1 || !strings.HasPrefix(fmt.Sprintf("%d:%d: %s", list[0].Line, list[0].Column, list[0].Message), c.want) {
				t.Errorf("got %v, want %s", list, c.want)
			}
		})
	}
}

// An unreadable part of a file may hold the id that a record elsewhere refers
// to. The missing id must not be reported as a second problem.
func TestUnreadablePartCausesNoUnknownIDs(t *testing.T) {
	animal := "[[animal]]\nid = \"F\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\n"
	for name, src := range map[string]string{
		"header":     "[[enclosure]\nid = \"E1\"\nroom = \"A\"\n",
		"id":         "[[enclosure]]\nid = E1\nroom = \"A\"\n",
		"byte":       "[[enclosure]]\nid = \"E1\xff\"\nroom = \"A\"\n",
		"open lists": "x = [\n[[enclosure]]\nid = \"E1\"\n",
	} {
		_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "a.toml", animal, "b.toml", "[[room]]\nid = \"A\"\n"+src)
		for _, p := range list {
			if p.File == "a.toml" {
				t.Errorf("%s: %v", name, p)
			}
		}
		if !list.HasErrors() {
			t.Errorf("%s: no problem", name)
		}
	}
}

func TestKeeperIDMatchesTasks(t *testing.T) {
	if keeperID != string(tasks.TheKeeper) {
		t.Errorf("%q is not %q", keeperID, tasks.TheKeeper)
	}
}

func TestIncubationTemperature(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"28 C", "28.0"}, {"82.4 F", "28.0"}, {"10 C", "10.0"}, {"40 C", "40.0"},
		{"84 C", `did you mean "84 F"?`}, {"28 F", `did you mean "28 C"?`}, {"84 °C", `did you mean "84 F"?`},
		{"9.9 C", "no temperature for eggs (10 to 40 C, 50 to 104 F)"}, {"0 C", "no temperature for eggs (10 to 40 C, 50 to 104 F)"},
		{"200 C", "outside any temperature"}, {"28", "has no unit"}, {"warm", "is not"},
	} {
		got := ""
		if v, err := incubationTemperature(c.in); err != nil {
			got = err.Error()
		} else {
			got = fmt.Sprintf("%.1f", float64(v))
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%s: %s, want %s", c.in, got, c.want)
		}
	}
}

func TestWhichFilesAreRead(t *testing.T) {
	room := func(id string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte("[[room]]\nid = \"" + id + "\"\n")}
	}
	_, records, list := read(fstest.MapFS{
		"keeper.toml":     {Data: []byte("zone = \"UTC\"\n")},
		"b.toml":          room("B"),
		"a.toml":          room("A"),
		"rooms/c.toml":    room("C"),
		"rooms/.c.toml":   room("X1"),
		".git/d.toml":     room("X2"),
		".e.toml":         room("X3"),
		"daybook/f.toml":  room("X4"),
		"state/g.toml":    room("X5"),
		"logs/h.toml":     room("X6"),
		"secrets/i.toml":  room("X7"),
		"notes.txt":       {Data: []byte("hello")},
		"a.toml~":         room("X8"),
		"rooms/x/j.toml":  room("X9"),
		"rooms/x/notes.t": {Data: []byte("hello")},
	}, ".", testSheets)
	if list.HasErrors() {
		t.Fatal(list)
	}
	var ids string
	for _, r := range records.Rooms {
		ids += string(r.ID)
	}
	if ids != "ABC" {
		t.Errorf("read the rooms %s", ids)
	}
	if len(list) != 1 || list[0].File != "rooms/x/j.toml" || list[0].Severity != diag.Warning {
		t.Errorf("problems: %v", list)
	}
}

func TestLinkedFolders(t *testing.T) {
	dir, other := t.TempDir(), t.TempDir()
	for path, content := range map[string]string{dir + "/keeper.toml": "zone = \"UTC\"\n", other + "/a.toml": "[[room]]\nid = \"A\"\n"} {
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(other, dir+"/linked"); err != nil {
		t.Fatal(err)
	}
	if _, records, list := Load(dir); len(list) > 0 || len(records.Rooms) != 1 {
		t.Errorf("read %+v, %v", records, list)
	}
}

func TestUnreadableFiles(t *testing.T) {
	dir := t.TempDir()
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.WriteFile(dir+"/keeper.toml", []byte("zone = \"UTC\"\n"), 0o644))
	must(os.Mkdir(dir+"/folder.toml", 0o755))
	must(os.Symlink("nowhere", dir+"/gone.toml"))
	must(os.WriteFile(dir+"/large.toml", nil, 0o644))
	must(os.Truncate(dir+"/large.toml", 1<<33))
	_, records, list := Load(dir)
	var got []string
	for _, p := range list {
		got = append(got, p.File+": "+p.Message)
	}
	want := []string{
		"folder.toml: cannot be read: it is not a file",
		"gone.toml: cannot be read: no such file or directory",
		"large.toml: the file is larger than 8 MiB and is not read",
	}
	if !slices.Equal(got, want) || records != nil {
		t.Errorf("got %q", got)
	}
}

// The built-in sheets and routines are read like a keeper's files, and give a
// source for each number. A problem here names the sheet and the line.
func TestBuiltInSheets(t *testing.T) {
	_, records, list := Read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}}, ".")
	for _, p := range list {
		t.Errorf("%v", p)
	}
	if records == nil {
		t.FailNow()
	}
	for _, s := range records.Species {
		if s.JuvenileFrom == 0 || s.SubadultFrom == 0 || s.AdultFrom == 0 {
			t.Errorf("%s: a stage of life has no age", s.ID)
		}
		if len(s.Incubation.Points) == 0 && s.Incubation.Days.IsZero() {
			t.Errorf("%s: nothing is said of incubation", s.ID)
		}
		for table, source := range s.Sources {
			if strings.TrimSpace(source) == "" {
				t.Errorf("%s: %s has no source", s.ID, table)
			}
		}
	}
	for _, r := range records.Routines {
		if r.Source == "" {
			t.Errorf("routine %s has no source", r.ID)
		}
		if r.Origin == husbandry.Sheet && (len(r.For.Species) != 1 || !strings.HasPrefix(string(r.ID), string(r.For.Species[0])+".")) {
			t.Errorf("routine %s is of the species %v", r.ID, r.For.Species)
		}
	}
	for _, kind := range husbandry.Kinds() {
		found := slices.ContainsFunc(records.Routines, func(r husbandry.Routine) bool { return r.Kind == kind })
		// Misting depends on the species and the keeper. Reviews follow from
		// findings, orders from the stock, and cooling from its own records.
		if !found && kind != husbandry.Order && kind != husbandry.Cool && kind != husbandry.Own && kind != husbandry.Review && kind != husbandry.Mist {
			t.Errorf("no built-in routine is of the kind %s", kind)
		}
	}
}

// A sheet without a source for its numbers is a problem.
func TestSheetsNeedSources(t *testing.T) {
	fsys := fstest.MapFS{
		"common.toml": {Data: []byte("[[routine]]\nid = \"w\"\nkind = \"water\"\nsince_last = \"1 day\"\n")},
		"a.toml": {Data: []byte("[[species]]\nid = \"a\"\nname = \"A\"\nscientific = \"A a\"\nfamily = \"A\"\nfirst_feed = { from = \"1 day\", to = \"2 days\" }\nsexable_at = { age = \"9 days\" }\n" +
			"stages = { adult = \"9 days\" }\n[species.laying]\nclutches = 1\n[species.pairing]\nfrom = \"03-01\"\nuntil = \"04-01\"\n[species.incubation]\ndays = [\"1 day\", \"2 days\"]\n[[species.incubation.point]]\ntemperature = \"28 C\"\ndays = 9\n[[species.routine]]\nid = \"a.w\"\nkind = \"water\"\nsince_last = \"1 day\"\n")},
	}
	_, _, list := read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}}, ".", fsys)
	if len(list) != 9 {
		t.Errorf("%d problems, want 9: %v", len(list), list)
	}
	for _, p := range list {
		if !strings.HasSuffix(p.Message, "has no `source`") || !strings.HasPrefix(p.File, "care sheet ") {
			t.Errorf("%v", p)
		}
	}
}

// valid returns a file with every kind of record and no problem, for cutting
// and fuzzing. Each table stands after the tables that it refers to.
func valid(t testing.TB) string {
	t.Helper()
	files, err := starterFiles(starterDay)
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, name := range []string{"places.toml", "animals.toml", "breeding.toml", "own.toml"} {
		i := slices.IndexFunc(files, func(f starterFile) bool { return f.name == name })
		if i < 0 {
			t.Fatalf("the starter set has no %s", name)
		}
		all.Write(files[i].content)
	}
	src := strings.NewReplacer(`"leopard-gecko"`, `"test-gecko"`, `"bearded-dragon"`, `"other-gecko"`).Replace(all.String())
	clean(t, src)
	return src
}

// statement is a header, or a key with its value, and its place in the file. It
// may be several lines long.
type statement struct {
	from, to  int // offsets in bytes; to is just after the last character
	line      int // of its first character, from 1
	header    bool
	tableLine int    // line of its header
	table     string // id of its table, "" before the line with the id
}

// longValues has values of several lines; the starter set has none.
const longValues = `
[[animal]]
id = "LONG"
note = """Of several
lines"""
species = "test-gecko"
enclosure = "E01"
sex = "female"

[[pairing]]
id = "P2"
male = "M1"
female = "LONG"
from = 2027-04-20
until = 2027-04-24
mated = [
	2027-04-21, # seen
	2027-04-23,
]
`

// statements splits a file into its statements. A line that begins with neither
// a letter nor a header continues the statement before it.
func statements(src string) []statement {
	var list []statement
	id := regexp.MustCompile(`^id = "(.*)"`)
	at, number := 0, 0
	for line := range strings.Lines(src) {
		number++
		text := strings.TrimRight(line, "\n")
		begins := regexp.MustCompile(`^(\[\[|[a-z_]+ = )`).MatchString(text)
		switch {
		case text == "" || text[0] == '#':
		case begins:
			now := statement{from: at, to: at + len(text), line: number, header: text[0] == '[', tableLine: number}
			if last := len(list) - 1; last >= 0 && !now.header {
				now.tableLine, now.table = list[last].tableLine, list[last].table
			}
			if m := id.FindStringSubmatch(text); m != nil {
				now.table = m[1]
			}
			list = append(list, now)
		default:
			list[len(list)-1].to = at + len(text)
		}
		at += len(line)
	}
	return list
}

// byID returns the keeper's records of every sort that has ids.
func byID(v *husbandry.Records) map[husbandry.ID]any {
	all := make(map[husbandry.ID]any)
	for _, field := range reflect.ValueOf(v).Elem().Fields() {
		if field.Kind() != reflect.Slice {
			continue
		}
		for i := range field.Len() {
			record := field.Index(i).Interface()
			if r, ok := record.(husbandry.Routine); ok && r.Origin != husbandry.Keeper {
				continue
			}
			if _, ok := record.(husbandry.Species); ok {
				continue
			}
			if id := reflect.ValueOf(record).FieldByName("ID"); id.IsValid() {
				all[husbandry.ID(id.String())] = record
			}
		}
	}
	return all
}

// A synchronisation may cut a file off at any byte. A cut inside a header, a
// key or a value is reported at its place. A cut between statements leaves the
// earlier tables as they were: the last table is read, or its missing keys are
// reported at that table. No cut causes a problem in a complete table.
func TestFileCutAtAnyByte(t *testing.T) {
	var src string
	for line := range strings.Lines(valid(t) + longValues) {
		if !strings.HasPrefix(line, "#") {
			src += line
		}
	}
	all := statements(src)
	whole := byID(clean(t, src))
	read, torn, lacking := 0, 0, 0
	for cut := range len(src) {
		records, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", src[:cut])
		lines := strings.Split(src[:cut], "\n")
		// The statements that begin before the cut. The cut may go through the
		// last of them.
		n, _ := slices.BinarySearchFunc(all, cut, func(s statement, cut int) int { return cmp.Compare(s.from, cut) })
		before := all[:n]
		var last statement
		if len(before) > 0 {
			last = before[len(before)-1]
		}
		inside := cut < last.to
		for _, p := range list {
			if p.File != "records.toml" || p.Line < max(1, last.tableLine) || p.Line > len(lines) || p.Message == "" {
				t.Fatalf("cut at byte %d, in line %d: a problem of the table in line %d is elsewhere: %v", cut, len(lines), last.tableLine, p)
			}
			line := lines[p.Line-1]
			if p.Column < 1 || p.Column > utf8.RuneCountInString(line)+1 || p.Source != line {
				t.Fatalf("cut at byte %d: the problem is in no line of the file: %+v", cut, p)
			}
		}
		switch {
		case inside:
			torn++
			// Missing keys are reported at the beginning of a header, so a
			// problem of a torn header must stand further right.
			if !slices.ContainsFunc(list, func(p diag.Problem) bool {
				return p.Severity == diag.Error && p.Line >= last.line && (!last.header || p.Column > 1)
			}) {
				t.Fatalf("cut at byte %d: nothing is wrong with %q: %v", cut, src[last.from:cut], list)
			}
		case records == nil:
			lacking++
		default:
			read++
			got := byID(records)
			ids := make(map[husbandry.ID]bool)
			for _, s := range before {
				if s.table == "" {
					continue
				}
				id := husbandry.ID(s.table)
				ids[id] = true
				if _, ok := got[id]; !ok || s.tableLine != last.tableLine && !reflect.DeepEqual(got[id], whole[id]) {
					t.Fatalf("cut at byte %d: %s is read as %+v, want %+v", cut, id, got[id], whole[id])
				}
			}
			if len(got) != len(ids) {
				t.Fatalf("cut at byte %d: %d records of %d tables", cut, len(got), len(ids))
			}
			checkPromises(t, records)
		}
	}
	if read < 50 || torn < 1000 || lacking < 20 {
		t.Errorf("%d cuts are read, %d tear a statement, %d leave something out: these are too few to say anything", read, torn, lacking)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(valid(f)))
	f.Add([]byte(family + "[[animal]]\nid = \"Y\"\nfrom = \"G\"\nsince = 2027-07-01\nquarantine = \"60 days\"\n[[animal]]\nid = \"Z\"\nclutch = \"F-2027-04-02\"\nfrom = \"Z\"\n[[permit]]\nid = \"L\"\nwords = \"W\"\nexpires = 2028-01-01\n"))
	for _, name := range []string{"animals", "places", "routines", "species"} {
		for _, dir := range []string{"hostile", "torn"} {
			if b, err := os.ReadFile(sampleBooks + "/" + dir + "/" + name + ".toml"); err == nil {
				f.Add(b)
			}
		}
	}
	sheet, err := os.ReadFile("testdata/sheets/test-gecko.toml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(sheet)
	f.Add([]byte("[[room]]\nid = \"A\"\nlight = { latitude = -25, shortest = \"10 hours\", longest = \"13.5 h\", behind = \"9 days\", noon = \"13:00\", step = \"20 min\" }\n[[room]]\nid = \"B\"\nlight = { hours = \"12 hours\" }\n"))
	f.Add([]byte(herd("G unsexed", "B male", "F1 female G B", "M1 male G B") + pair("M1", "F1", "")))
	f.Fuzz(func(t *testing.T, src []byte) {
		records, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", string(src))
		for _, p := range list {
			if p.Line < 1 || p.Column < 1 || p.Message == "" {
				t.Errorf("a problem is nowhere: %+v", p)
			}
			_ = p.String()
		}
		if records != nil {
			checkPromises(t, records)
		}
	})
}

// checkPromises checks the properties that all returned records must have.
func checkPromises(t *testing.T, v *husbandry.Records) {
	t.Helper()
	ids := make(map[string]bool)
	once := func(id husbandry.ID) {
		if id == "" || ids[strings.ToLower(string(id))] {
			t.Errorf("the id %q is empty or there twice", id)
		}
		ids[strings.ToLower(string(id))] = true
	}
	animals := make(map[husbandry.ID]husbandry.Animal)
	rooms := make(map[husbandry.ID]bool)
	for _, r := range v.Rooms {
		once(r.ID)
		rooms[r.ID] = true
		if l := r.Light; l != nil && (l.Step < 5 || l.Shortest < 0 || l.Shortest > l.Longest || l.Longest > 24*time.Hour || math.Abs(l.Latitude) > 90) {
			t.Errorf("the room %s has the light %+v", r.ID, *l)
		}
	}
	for _, r := range v.Racks {
		once(r.ID)
	}
	for _, e := range v.Enclosures {
		once(e.ID)
		if !rooms[e.Room] {
			t.Errorf("the enclosure %s is in no room", e.ID)
		}
	}
	for _, a := range v.Animals {
		once(a.ID)
		animals[a.ID] = a
		if a.Species == "" || a.Count < 1 || a.Sex == "" {
			t.Errorf("the animal %+v", a)
		}
	}
	for _, c := range v.Clutches {
		once(c.ID)
		if c.Species == "" || c.Laid.IsZero() || c.LaidFrom.IsZero() || c.Laid.Before(c.LaidFrom) || c.Tub == "" {
			t.Errorf("the clutch %+v", c)
		}
	}
	for _, i := range v.Incubators {
		once(i.ID)
		if i.Temperature < coldest || i.Temperature > hottest || !rooms[i.Room] {
			t.Errorf("the incubator %+v", i)
		}
	}
	if b := v.Breeding; b.KinshipWarn > b.KinshipLimit || b.FemalesPerMale < 1 {
		t.Errorf("the rules of breeding are %+v", b)
	}
	if loops := kinship.Loops(pedigreeOf(v)); len(loops) > 0 {
		t.Errorf("%v", loops[0])
	}
	for _, p := range v.Pairings {
		once(p.ID)
		if animals[p.Male].ID == "" || animals[p.Female].ID == "" || p.Species == "" {
			t.Errorf("the pairing %+v", p)
		}
	}
	for _, r := range v.Routines {
		once(r.ID)
		if r.Kind == "" || r.Scope == "" || r.Part == "" || r.Missed == "" || r.Cadence.Pattern == "" && !r.Off {
			t.Errorf("the routine %+v", r)
		}
	}
}

func pedigreeOf(v *husbandry.Records) []kinship.Animal {
	var list []kinship.Animal
	for _, a := range v.Animals {
		list = append(list, kinship.Animal{ID: a.ID, Mother: a.Mother, Father: a.Father})
	}
	return list
}

func facility(enclosures int) fstest.MapFS {
	var places, animals, clutches strings.Builder
	for r := range 10 {
		fmt.Fprintf(&places, "[[room]]\nid = \"room-%d\"\n", r)
		for k := range 10 {
			fmt.Fprintf(&places, "[[rack]]\nid = \"rack-%d-%d\"\nroom = \"room-%d\"\n", r, k, r)
		}
	}
	for e := range enclosures {
		fmt.Fprintf(&places, "[[enclosure]]\nid = \"E%04d\"\nrack = \"rack-%d-%d\"\nnest_box = { substrate = \"damp sand\", top_up = \"3 days\" }\n", e, e/10%10, e%10)
		for a, sex := range []string{"male", "female", "female"} {
			fmt.Fprintf(&animals, "[[animal]]\nid = \"A%04d-%d\"\nspecies = \"test-gecko\"\nsex = %q\nenclosure = \"E%04d\"\nhatched = 2024-05-01\nbreeding = true\n", e, a, sex, e)
		}
		fmt.Fprintf(&clutches, "[[clutch]]\nid = \"C%04d\"\nmother = \"A%04d-1\"\nlaid = 2027-04-01\neggs = 2\ntemperature = \"28 C\"\n", e, e)
	}
	return fstest.MapFS{
		"keeper.toml":   {Data: []byte("zone = \"Europe/Vienna\"\n")},
		"places.toml":   {Data: []byte(places.String())},
		"animals.toml":  {Data: []byte(animals.String())},
		"clutches.toml": {Data: []byte(clutches.String())},
	}
}

func BenchmarkRead(b *testing.B) {
	for _, n := range []int{200, 2000} {
		fsys := facility(n)
		b.Run(fmt.Sprintf("%d enclosures", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, records, list := read(fsys, ".", testSheets); records == nil {
					b.Fatal(list)
				}
			}
		})
	}
	b.Run("built-in sheets", func(b *testing.B) {
		fsys := fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}}
		for b.Loop() {
			Read(fsys, ".")
		}
	})
	b.Run("a reference in ten is unknown", func(b *testing.B) {
		fsys := facility(2000)
		fsys["animals.toml"].Data = []byte(strings.ReplaceAll(string(fsys["animals.toml"].Data), "7\"\nhatched", "x\"\nhatched"))
		for b.Loop() {
			if _, records, _ := read(fsys, ".", testSheets); records != nil {
				b.Fatal("no problem is found")
			}
		}
	})
}
