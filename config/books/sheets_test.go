package books_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// The built-in care sheets are data. These tests check the data itself and read
// it without any code of the package.

type sheet struct {
	Species []species
	Routine []routine
}

type species struct {
	ID, Name, Scientific, Family string
	Stages                       struct{ Juvenile, Subadult, Adult, Source string }
	FirstFeed                    struct{ From, To, Source string } `toml:"first_feed"`
	SexableAt                    struct{ Age, Source string }      `toml:"sexable_at"`
	Incubation                   struct {
		Days           []string
		Diapause       []string
		Safe           []string
		TemperatureSex bool `toml:"temperature_sex"`
		Source         string
		Point          []point
	}
	Laying struct {
		AfterMating []string `toml:"after_mating"`
		Interval    []string
		Clutches    int
		Eggs        []int
		Source      string
	}
	Pairing struct{ From, Until, Source string }
	Cooling struct {
		Usual       bool
		Start       string
		Fast, Lasts string
		Weigh       string
		Water       string
		Cool        []string
		Down, Up    struct {
			Days  string
			Steps []string
		}
		FirstFeed []string `toml:"first_feed"`
		Pair      []string
		Source    string
		Loss      struct{ Warn, Stop, Source string }
	}
	Routine []routine
}

type point struct {
	Temperature string
	Days        float64
	SD          float64
	Eggs        int
	Source      string
}

type routine struct {
	ID, Kind, Title string
	Scope           string
	For             struct {
		Stages, States, Sexes []string
		NestBox               bool `toml:"nest_box"`
		Lamp, Groups          bool
	}
	Every     string
	From      time.Time
	Weekdays  []string
	SinceLast string `toml:"since_last"`
	After     *struct{ Event, Days string }
	Window    *struct{ Name, Every string }
	Steps     string
	Riding    *struct {
		On     string
		Nth    int
		Lead   string
		MinGap string `toml:"min_gap"`
	}
	Slack    any
	Part     string
	Minutes  int
	Consumes []string
	Amount   string
	Missed   string
	Sitter   string
	Caution  string
	Source   string

	// Set for routines that the planner calls for.
	When string
	Asks []string
	Case []struct{ Name, Title, Caution string }
}

// sheets reads every built-in sheet. A key that the types above do not have is
// a failure.
func sheets(t *testing.T) (all []species, common []routine) {
	all, common, _ = files(t)
	return all, common
}

func files(t *testing.T) (all []species, common, called []routine) {
	t.Helper()
	files, err := filepath.Glob("sheets/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no care sheets found: %v", err)
	}
	for _, name := range files {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var s sheet
		md, err := toml.Decode(string(raw), &s)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, k := range md.Undecoded() {
			if !strings.Contains(k.String(), "slack") {
				t.Errorf("%s: unknown key %s", name, k)
			}
		}
		id := strings.TrimSuffix(filepath.Base(name), ".toml")
		switch {
		case id == "common":
			common = s.Routine
		case id == "called":
			called = s.Routine
		case len(s.Species) != 1 || s.Species[0].ID != id || len(s.Routine) != 0:
			t.Errorf("%s does not hold exactly the species %q", name, id)
		default:
			all = append(all, s.Species[0])
		}
	}
	return all, common, called
}

func days(t *testing.T, s string) husbandry.Days {
	t.Helper()
	d, err := husbandry.ParseDays(s)
	if err != nil {
		t.Error(err)
	}
	return d
}

func celsius(t *testing.T, s string) float64 {
	t.Helper()
	c, err := husbandry.ParseTemperature(s)
	if err != nil {
		t.Error(err)
	}
	return float64(c)
}

func TestSheetsCoverManyFamilies(t *testing.T) {
	all, _ := sheets(t)
	families := make(map[string]bool)
	for _, s := range all {
		families[s.Family] = true
		if s.Name == "" || len(strings.Fields(s.Scientific)) != 2 || !strings.HasSuffix(s.Family, "dae") {
			t.Errorf("%s: name %q, binomial %q, family %q", s.ID, s.Name, s.Scientific, s.Family)
		}
	}
	if len(all) < 10 || len(families) < 8 {
		t.Errorf("%d species of %d families, want at least 10 of 8", len(all), len(families))
	}
}

// A source is a publication with its year, a named handbook, or the statement
// that there is no source.
var year = regexp.MustCompile(`\b(19|20)\d\d\b`)

func sourced(s string) bool {
	return year.MatchString(s) || strings.Contains(s, "common practice") ||
		strings.Contains(s, "Merck Veterinary Manual") || strings.Contains(s, "Small Animal Clinical Nutrition") ||
		strings.Contains(s, "Centers for Disease Control")
}

func TestEveryNumberHasASource(t *testing.T) {
	all, common := sheets(t)
	for _, s := range all {
		has := map[string]struct {
			numbers bool
			source  string
		}{
			"stages":       {true, s.Stages.Source},
			"first_feed":   {true, s.FirstFeed.Source},
			"sexable_at":   {s.SexableAt.Age != "", s.SexableAt.Source},
			"incubation":   {true, s.Incubation.Source},
			"laying":       {true, s.Laying.Source},
			"pairing":      {s.Pairing.From != "", s.Pairing.Source},
			"cooling":      {s.Cooling.Lasts != "", s.Cooling.Source},
			"cooling.loss": {s.Cooling.Lasts != "", s.Cooling.Loss.Source},
		}
		for _, table := range slices.Sorted(maps.Keys(has)) {
			if h := has[table]; h.numbers && !sourced(h.source) {
				t.Errorf("%s: %s has no source but %q", s.ID, table, h.source)
			}
		}
		for _, key := range []struct {
			name string
			set  bool
		}{{"days", len(s.Incubation.Days) > 0}, {"safe", len(s.Incubation.Safe) > 0}, {"diapause", len(s.Incubation.Diapause) > 0}} {
			if key.set && !strings.Contains(s.Incubation.Source, key.name) && !strings.HasPrefix(s.Incubation.Source, "common practice") {
				t.Errorf("%s: the source of incubation does not say where %q is from", s.ID, key.name)
			}
		}
		for _, r := range s.Routine {
			if !sourced(r.Source) {
				t.Errorf("%s: no source but %q", r.ID, r.Source)
			}
		}
	}
	for _, r := range common {
		if !sourced(r.Source) {
			t.Errorf("%s: no source but %q", r.ID, r.Source)
		}
	}
}

// published are mean days from laying to hatching at constant temperature, as
// the papers print them. Where the sheets give them, there are also egg numbers
// and the standard deviation of single eggs (recomputed from the standard error
// if the paper prints that).
var published = []struct {
	species string
	paper   string // how a source must begin
	celsius float64
	days    float64
	sd      float64
	eggs    int
}{
	{"wall-lizard", "Ji and Brana 1999", 26, 46.8, 1.296, 42},
	{"wall-lizard", "Ji and Brana 1999", 29, 33.8, 0.7681, 59},
	{"wall-lizard", "Ji and Brana 1999", 32, 27.4, 0.8, 64},
	{"wall-lizard", "Le Henanff, Meylan and Lourdais 2013", 23, 65.9, 2.563, 73},
	{"fence-lizard", "Angilletta, Winters and Dunham 2000", 28, 54.7, 0, 15},
	{"fence-lizard", "Angilletta, Winters and Dunham 2000", 30, 47.6, 1.976, 15},
	{"fence-lizard", "Angilletta, Winters and Dunham 2000", 32, 40.5, 1.383, 15},
	{"brown-anole", "Warner, Moody, Telemeco and Kolbe 2012", 26, 35.9, 1.156, 0},
	{"brown-anole", "Warner, Moody, Telemeco and Kolbe 2012", 28, 30.4, 1.028, 0},
	{"brown-anole", "Warner, Moody, Telemeco and Kolbe 2012", 30, 25.8, 0.8135, 0},
	{"ocelot-gecko", "Blumberg, Lewis and Sokoloff 2002", 23, 127.43, 0, 20},
	{"ocelot-gecko", "Blumberg, Lewis and Sokoloff 2002", 26, 79.25, 0, 23},
	{"ocelot-gecko", "Blumberg, Lewis and Sokoloff 2002", 30, 48.96, 0, 24},
	{"grass-lizard", "Du and Ji 2006", 24, 45.4, 1.072, 115},
	{"grass-lizard", "Du and Ji 2006", 27, 32.5, 1.233, 152},
	{"grass-lizard", "Du and Ji 2006", 30, 27.1, 0.9487, 90},
	{"grass-lizard", "Du and Ji 2006", 33, 23.5, 1.039, 27},
	{"sand-lizard", "Li, Zhou, Ding and Ji 2013", 27, 38.4, 0.8718, 19},
	{"veiled-chameleon", "Ballen, Shine and Olsson 2015", 25, 253.4, 2.436, 39},
	{"veiled-chameleon", "Ballen, Shine and Olsson 2015", 28, 227.49, 6.578, 26},
	{"mourning-gecko", "Ota 1994", 20, 98, 0, 3},
	{"mourning-gecko", "Ota 1994", 24, 77, 0, 3},
	{"mourning-gecko", "Ota 1994", 28, 68, 0, 4},
	{"leopard-gecko", "Wise, Vickaryous and Russell 2009", 28, 52, 0, 0}, // 28 C from memory
}

func TestIncubationPointsMatchPapers(t *testing.T) {
	all, _ := sheets(t)
	used := make(map[int]bool)
	for _, s := range all {
		for _, p := range s.Incubation.Point {
			c := celsius(t, p.Temperature)
			i := -1
			for j, row := range published {
				if row.species == s.ID && row.celsius == c && strings.HasPrefix(p.Source, row.paper) {
					i = j
				}
			}
			if i < 0 {
				t.Errorf("%s: %s of %q is no row of that paper", s.ID, p.Temperature, p.Source)
				continue
			}
			used[i] = true
			row := published[i]
			if math.Abs(p.Days-row.days) > 0.05 || math.Abs(p.SD-row.sd) > 0.005 || p.Eggs != row.eggs {
				t.Errorf("%s at %s: %v days, sd %v, %d eggs; %s prints %v, %v, %d",
					s.ID, p.Temperature, p.Days, p.SD, p.Eggs, row.paper, row.days, row.sd, row.eggs)
			}
		}
	}
	for i, row := range published {
		if !used[i] {
			t.Errorf("%s at %v C (%s) is missing from its sheet", row.species, row.celsius, row.paper)
		}
	}
}

func TestWarmerEggsHatchSooner(t *testing.T) {
	all, _ := sheets(t)
	for _, s := range all {
		in := s.Incubation
		for i, p := range in.Point {
			if i == 0 {
				continue
			}
			q := in.Point[i-1]
			if celsius(t, p.Temperature) <= celsius(t, q.Temperature) || p.Days >= q.Days {
				t.Errorf("%s: %v days at %s after %v days at %s", s.ID, p.Days, p.Temperature, q.Days, q.Temperature)
			}
		}
		if len(in.Point) == 0 && len(in.Days) == 0 {
			t.Errorf("%s: nothing says how long eggs take", s.ID)
		}
	}
}

// The line of development rate through a sheet's points predicts clutches of
// other laboratories.
func TestPointsPredictOtherLaboratories(t *testing.T) {
	all, _ := sheets(t)
	for _, c := range []struct {
		species string
		source  string // source of the observation
		celsius float64
		days    float64
		within  float64 // largest error, as a fraction of the days
	}{
		{"ocelot-gecko", "Noro and others 2009, Developmental Dynamics 238:100-109 (28 C from memory)", 28, 60, 0.02},
		{"grass-lizard", "Lin and Ji 1998, Zoological Research 19:439-445", 26, 37.8, 0.10},
		{"grass-lizard", "Du and Feng 2008, Journal of Experimental Zoology 309A:138-146", 28, 30.0, 0.05},
		{"wall-lizard", "Le Henanff, Meylan and Lourdais 2013, Biological Journal of the Linnean Society 108:384-395", 29, 32.6, 0.08},
	} {
		i := slices.IndexFunc(all, func(s species) bool { return s.ID == c.species })
		var n, sx, sy, sxx, sxy float64
		for _, p := range all[i].Incubation.Point {
			x, y := celsius(t, p.Temperature), 1/p.Days
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		got := 1 / ((sy-slope*sx)/n + slope*c.celsius)
		if math.Abs(got-c.days) > c.within*c.days {
			t.Errorf("%s at %v C: %.1f days, but %s observed %v", c.species, c.celsius, got, c.source, c.days)
		}
	}
}

// Viets and others 1993 (Journal of Experimental Zoology 265:679-683) for the
// leopard gecko; Ji and Brana 1999, Andrews 2005 and Santoyo-Brito and others
// 2017 for the species in which temperature does not determine sex.
func TestOnlyLeopardGeckoHasTemperatureDependentSex(t *testing.T) {
	all, _ := sheets(t)
	for _, s := range all {
		if got, want := s.Incubation.TemperatureSex, s.ID == "leopard-gecko"; got != want {
			t.Errorf("%s: temperature_sex = %v", s.ID, got)
		}
		if got, want := len(s.Incubation.Diapause) > 0, s.ID == "veiled-chameleon"; got != want {
			t.Errorf("%s: diapause given: %v", s.ID, got)
		}
	}
}

func TestSafeRangesFollowPublishedHatching(t *testing.T) {
	all, _ := sheets(t)
	for _, c := range []struct {
		species string
		celsius float64
		safe    bool
		found   string // result at that constant temperature, and its source
	}{
		{"leopard-gecko", 28, true, "hatched .955 of 44, Viets and others 1993"},
		{"leopard-gecko", 32, true, "hatched .989 of 95, Viets and others 1993"},
		{"leopard-gecko", 35.1, false, "lethal just above 35 C, Viets and others 1993"},
		{"wall-lizard", 23, true, "hatched .73 of 100, Le Henanff and others 2013"},
		{"wall-lizard", 29, true, "hatched .831 of 59, Ji and Brana 1999"},
		{"wall-lizard", 32, false, "hatched .578 of 64, Ji and Brana 1999"},
		{"grass-lizard", 27, true, "hatched .905 of 168, Du and Ji 2006"},
		{"grass-lizard", 33, false, "hatched .351 of 77, Du and Ji 2006"},
		{"fence-lizard", 20, false, "hatched none of 77, Sexton and Marion 1974"},
		{"fence-lizard", 30, true, "hatched .68 of 160, Sexton and Marion 1974"},
		{"fence-lizard", 35, false, "hatched .46 of 57, Sexton and Marion 1974"},
		{"veiled-chameleon", 25, true, "hatched .984 of 62, Andrews 2005"},
		{"veiled-chameleon", 30, true, "hatched .864 of 66, Andrews 2005"},
		{"bearded-dragon", 34, false, "genetic males turn female, Quinn and others 2007"},
	} {
		i := slices.IndexFunc(all, func(s species) bool { return s.ID == c.species })
		safe := all[i].Incubation.Safe
		if inside := celsius(t, safe[0]) <= c.celsius && c.celsius <= celsius(t, safe[1]); inside != c.safe {
			t.Errorf("%s: %v C inside the safe range: %v, though %s", c.species, c.celsius, inside, c.found)
		}
	}
}

func TestAgesAndSpansAreInOrder(t *testing.T) {
	all, _ := sheets(t)
	for _, s := range all {
		j, u, a := days(t, s.Stages.Juvenile), days(t, s.Stages.Subadult), days(t, s.Stages.Adult)
		if !(0 < j && j < u && u < a && a < 1000) {
			t.Errorf("%s: stages at %d, %d and %d days", s.ID, j, u, a)
		}
		for name, span := range map[string][]string{
			"first_feed": {s.FirstFeed.From, s.FirstFeed.To}, "days": s.Incubation.Days, "diapause": s.Incubation.Diapause,
			"after_mating": s.Laying.AfterMating, "interval": s.Laying.Interval,
		} {
			if len(span) == 0 {
				continue
			}
			if len(span) != 2 {
				t.Errorf("%s: %s has %d ends", s.ID, name, len(span))
			} else if from, to := days(t, span[0]), days(t, span[1]); from < 1 || to < from || to > 400 {
				t.Errorf("%s: %s from %d to %d days", s.ID, name, from, to)
			}
		}
		if to := days(t, s.FirstFeed.To); to > 10 {
			t.Errorf("%s: young starve until day %d", s.ID, to)
		}
		if safe := s.Incubation.Safe; len(safe) > 0 {
			if from, to := celsius(t, safe[0]), celsius(t, safe[1]); from < 15 || to > 36 || to <= from {
				t.Errorf("%s: safe from %v to %v C", s.ID, from, to)
			}
		}
		if e := s.Laying.Eggs; len(e) != 2 || e[0] < 1 || e[1] < e[0] {
			t.Errorf("%s: clutches of %v eggs", s.ID, e)
		}
		for _, monthDay := range []string{s.Pairing.From, s.Pairing.Until} {
			if monthDay == "" {
				continue
			}
			if _, err := time.Parse("2006-01-02", "2027-"+monthDay); err != nil {
				t.Errorf("%s: pairing season: %v", s.ID, err)
			}
		}
	}
}

func TestRoutinesAreWellFormed(t *testing.T) {
	all, common := sheets(t)
	seen := make(map[string]bool)
	check := func(r routine) {
		if seen[strings.ToLower(r.ID)] {
			t.Errorf("two routines are called %q", r.ID)
		}
		seen[strings.ToLower(r.ID)] = true
		if !slices.Contains(husbandry.Kinds(), husbandry.Kind(r.Kind)) {
			t.Errorf("%s: kind %q", r.ID, r.Kind)
		}
		if own := husbandry.Kind(r.Kind).Scope() == ""; own != (r.Scope != "") || own && r.Title == "" {
			t.Errorf("%s: what is of no kind says its scope and its title, and nothing else does", r.ID)
		}
		cadences := 0
		for _, set := range []bool{r.Every != "", len(r.Weekdays) > 0, r.SinceLast != "", r.After != nil, r.Window != nil, r.Riding != nil, r.Steps != ""} {
			if set {
				cadences++
			}
		}
		if cadences != 1 || (r.Every != "") != !r.From.IsZero() {
			t.Errorf("%s has %d cadences", r.ID, cadences)
		}
		for _, s := range []string{r.Every, r.SinceLast} {
			if s != "" && days(t, s) < 1 {
				t.Errorf("%s: every %q", r.ID, s)
			}
		}
		if r.Riding != nil && (r.Riding.On != "feed" || r.Riding.Nth < 1 || days(t, r.Riding.MinGap) < 1) {
			t.Errorf("%s: riding %+v", r.ID, *r.Riding)
		}
		if r.Minutes < 1 || r.Minutes > 60 {
			t.Errorf("%s takes %d minutes", r.ID, r.Minutes)
		}
		if !slices.Contains([]string{"morning", "midday", "evening"}, r.Part) || !slices.Contains([]string{"stays", "lapses", "alarms"}, r.Missed) {
			t.Errorf("%s: part %q, missed %q", r.ID, r.Part, r.Missed)
		}
		for _, s := range r.For.Stages {
			if !slices.Contains([]husbandry.Stage{husbandry.Hatchling, husbandry.Juvenile, husbandry.Subadult, husbandry.Adult}, husbandry.Stage(s)) {
				t.Errorf("%s: stage %q", r.ID, s)
			}
		}
		for _, s := range r.For.States {
			if !slices.Contains([]husbandry.State{husbandry.Gravid, husbandry.PostLaying, husbandry.Breeding, husbandry.Apart}, husbandry.State(s)) {
				t.Errorf("%s: state %q", r.ID, s)
			}
		}
		if strings.ContainsAny(r.Title+r.Caution, "\n\t") || strings.HasSuffix(r.Title, ".") {
			t.Errorf("%s: title %q", r.ID, r.Title)
		}
	}
	for _, r := range common {
		check(r)
	}
	for _, s := range all {
		for _, r := range s.Routine {
			check(r)
			if !strings.HasPrefix(r.ID, s.ID+".") {
				t.Errorf("%s is of the sheet of %s", r.ID, s.ID)
			}
		}
	}
}

// An amount is of a feeder that the routine consumes, and has a source.
func TestAmountsMatchConsumedFeeders(t *testing.T) {
	all, common := sheets(t)
	said := 0
	for _, s := range append(all, species{Routine: common}) {
		for _, r := range s.Routine {
			if r.Amount == "" {
				continue
			}
			said++
			a, err := husbandry.ParseAmount(r.Amount)
			if err != nil || !slices.Contains(r.Consumes, a.Of) || r.Kind != "feed" {
				t.Errorf("%s: amount %q of %v: %v", r.ID, r.Amount, r.Consumes, err)
			}
			if !strings.Contains(r.Source, "amount: ") {
				t.Errorf("%s: the source does not say where the amount is from", r.ID)
			}
			if a.From < 1 || a.To > 30 || a.To > 2.1*a.From {
				t.Errorf("%s: amount %s", r.ID, a)
			}
		}
	}
	if said < 30 {
		t.Errorf("%d amounts", said)
	}
}

// Merck Veterinary Manual, Nutrition in Lizards: young and small species are
// fed daily, others at least every other day.
func TestEveryStageIsFedOftenEnough(t *testing.T) {
	all, _ := sheets(t)
	for _, s := range all {
		least := map[string]float64{} // feedings per day
		for _, r := range s.Routine {
			if r.Kind != "feed" || len(r.For.States) > 0 {
				continue
			}
			perDay := float64(len(r.Weekdays)) / 7
			if r.Every != "" {
				perDay = 1 / float64(days(t, r.Every))
			}
			for _, stage := range r.For.Stages {
				least[stage] = max(least[stage], perDay)
			}
		}
		for stage, want := range map[string]float64{"hatchling": 1, "juvenile": 1, "subadult": 5. / 7, "adult": 0.5} {
			if least[stage] < want {
				t.Errorf("%s: %s fed %.2f times a day", s.ID, stage, least[stage])
			}
		}
	}
}

func TestLayingFemaleIsFedDaily(t *testing.T) {
	all, _ := sheets(t)
	for _, s := range all {
		times := make([]int, 60)
		for _, r := range s.Routine {
			if r.Kind != "feed" || r.Every == "" || !(slices.Contains(r.For.Stages, "adult") || slices.Contains(r.For.States, "gravid")) {
				continue
			}
			from := civil.New(r.From.Date())
			for i := range times {
				if civil.MustParse("2027-05-12").AddDays(i).Sub(from)%int(days(t, r.Every)) == 0 {
					times[i]++
				}
			}
		}
		for i, n := range times {
			if n != 1 {
				t.Errorf("%s: a laying female is fed %d times on day %d", s.ID, n, i)
				break
			}
		}
	}
}

// Each word stands for a caution against harm to an animal or a person. Which
// caution belongs to which task is common practice.
func TestTasksHaveTheirCautions(t *testing.T) {
	all, common := sheets(t)
	words := map[string][]string{
		"water":        {"hands", "Salmonella"},
		"clean":        {"Salmonella|kitchen"},
		"nest-top-up":  {"wet", "eggs"},
		"lay-watch":    {"veterinarian today", "two days of digging", "blood"},
		"gravid-check": {"veterinarian", "breaks eggs"},
		"dig-eggs":     {"turn", "[Ee]ggs"},
		"set-tub":      {"turn"},
		"tub-check":    {"turn", "sealed tub stays closed"},
		"candle":       {"turning", "stay"},
		"hatch-watch":  {"do not open eggs", "do not throw eggs away"},
		"first-feed":   {"veterinarian"},
		"sexing":       {"injures"},
		"pair":         {"separate", "law"},
		"lamp-change":  {"Unplug"},
		"lamp-meter":   {"do not look into the lamp", "veterinarian"},
		"young-check":  {"veterinarian today", "drown"},
		"shed":         {"no pulling", "veterinarian"},
		"separate":     {"fight"},
		"place":        {"local authority"},
		"faecal-test":  {"veterinarian", "hands"},
		"quarantine":   {"hands|veterinarian"},
		"release":      {"both samples clean", "Disinfect"},
		"permit":       {"local authority"},
		"light-step":   {"dark", "Dry hands"},
		"scale-check":  {"calibrate", "weigh again before"},
		"mist":         {"lamps"},
		"gut-load":     {"not for keeping a colony"},
	}
	check := func(r routine) {
		for _, w := range words[r.Kind] {
			if !regexp.MustCompile("(?i)" + w).MatchString(r.Caution) {
				t.Errorf("%s: the caution does not speak of %q: %q", r.ID, w, r.Caution)
			}
		}
		if r.Kind == "supplement" && strings.Contains(r.ID, "d3") {
			if !strings.Contains(r.Caution, "poisonous") || (r.Riding != nil && days(t, r.Riding.MinGap) < 7) {
				t.Errorf("%s: vitamin D3 without its gap of a week or its caution", r.ID)
			}
		}
	}
	var kinds []string
	for _, r := range common {
		check(r)
		kinds = append(kinds, r.Kind)
	}
	for _, s := range all {
		for _, r := range s.Routine {
			check(r)
		}
	}
	for kind := range words {
		if kind != "mist" && !slices.Contains(kinds, kind) {
			t.Errorf("no common routine is of the kind %q", kind)
		}
	}
}

// An urgent routine has no slack, and a missed task stays or alarms.
func TestUrgentRoutinesHaveNoSlack(t *testing.T) {
	_, common := sheets(t)
	want := map[string]string{"lay-watch": "alarms", "hatch-watch": "alarms", "dig-eggs": "stays", "set-tub": "stays"}
	for _, r := range common {
		if missed, ok := want[r.ID]; ok {
			delete(want, r.ID)
			if r.Missed != missed || r.Slack != nil {
				t.Errorf("%s: missed %q, slack %v", r.ID, r.Missed, r.Slack)
			}
			if r.After != nil && (r.After.Event != "laid" || r.After.Days != "0 days") {
				t.Errorf("%s: after %+v", r.ID, *r.After)
			}
		}
	}
	if len(want) > 0 {
		t.Errorf("missing: %v", fmt.Sprint(want))
	}
}

// During the keeper's days away the sitter gives all food, greens too, and
// takes hatchlings out. Neither waits for the keeper's return.
func TestSitterFeedsAndTakesHatchlingsOut(t *testing.T) {
	all, routines := sheets(t)
	for _, s := range all {
		routines = append(routines, s.Routine...)
	}
	for _, r := range routines {
		eaten := r.Missed == "lapses" && len(r.Consumes) > 0 && r.Kind != "supplement" && r.Kind != "gut-load" && r.Kind != "clean"
		hatchling := r.After != nil && r.After.Event == "hatched" && r.After.Days == "0 days"
		kind := husbandry.Kind(r.Kind)
		if (eaten || hatchling) && husbandry.Sitter(r.Sitter) != husbandry.SitterDoes && kind.BySitter() != husbandry.SitterDoes {
			t.Errorf("%s waits for the keeper's return", r.ID)
		}
	}
}
