package published_test

import (
	"slices"
	"strings"
	"testing"

	"nestround/scheduler/incubation/published"
)

func find[T any](t *testing.T, rows []T, match func(T) bool) T {
	t.Helper()
	i := slices.IndexFunc(rows, match)
	if i < 0 {
		t.Fatal("no such row")
	}
	return rows[i]
}

// Values from the papers, and the mended faults of the database.
func TestMeasurements(t *testing.T) {
	d := published.Durations()
	if r := find(t, d, func(r published.Duration) bool { return r.Paper == "Ji 1999" }); r.Species != "Podarcis muralis" || r.Celsius != 26 || r.Days != 46.8 || r.Eggs != 42 {
		t.Errorf("Ji & Braña 1999 at 26 °C: %+v", r)
	}
	for _, r := range d {
		if published.Citation(r.Paper) == "" {
			t.Errorf("%s: no citation of %q", r.Species, r.Paper)
		}
		if (r.Paper == "Muth 1980" || r.Paper == "Blumberg 2002") && r.SD != 0 {
			t.Errorf("%s has a spread that is a standard error or not: %+v", r.Paper, r)
		}
		if r.Species == "Oedura lesueurii" && r.Usable() {
			t.Error("the exchanged treatments of Dayananda 2016 are used")
		}
		if strings.HasPrefix(r.Paper, "Iraeta 2008") || strings.HasPrefix(r.Paper, "Iraeta 2009") {
			t.Errorf("one paper has several names: %s", r.Paper)
		}
	}
	// Viets 1993: 10 of 41 and 13 of 39 males at 30 °C, 162 of 219 at 32.5.
	for _, r := range published.Sexes() {
		if r.Paper == "Viets 1993" && r.Celsius == 32.5 && (r.Fraction != .74 || r.Eggs != 219) {
			t.Errorf("Viets 1993 at 32.5 °C: %+v", r)
		}
	}
	for _, r := range published.Hatched() {
		if r.Paper == "Viets 1993" && r.Fraction == 0 {
			t.Errorf("Viets 1993 has no success where hatchlings were sexed: %+v", r)
		}
	}
}

// The rule of the package comment leaves out exactly the rows that are marked.
func TestOnlyImpossibleRowsAreLeftOut(t *testing.T) {
	rows := published.Durations()
	contradicts := func(a, b published.Duration) bool {
		cool := func(r published.Duration) float64 { return r.Celsius - r.HalfRange }
		hot := func(r published.Duration) float64 { return r.Celsius + r.HalfRange }
		warmer := a.Species == b.Species && a.Celsius > b.Celsius && cool(a) >= cool(b) && hot(a) >= hot(b) && hot(a) <= 33
		return warmer && a.Days > 1.25*b.Days
	}
	count := make([]int, len(rows))
	for i, a := range rows {
		for _, b := range rows {
			if contradicts(a, b) || contradicts(b, a) {
				count[i]++
			}
		}
	}
	for i, a := range rows {
		out := false
		for j, b := range rows {
			if contradicts(a, b) || contradicts(b, a) {
				out = out || count[i] >= count[j]
			}
		}
		if out == a.Usable() {
			t.Errorf("%s of %s at %g °C, %g days: the rule leaves it out: %v; its note is %q", a.Species, a.Paper, a.Celsius, a.Days, out, a.Note)
		}
	}
}

// A genus belongs to the one family named in its measurements. The exception is
// Oedura: its family was later split off.
func TestFamilies(t *testing.T) {
	named := func(species, family string) {
		if got := published.Family(species); got != family {
			t.Errorf("%s is of the family %q, its measurements say %s", species, got, family)
		}
	}
	for _, r := range published.Durations() {
		named(r.Species, r.Family)
	}
	for _, r := range published.Hatched() {
		named(r.Species, r.Family)
	}
	for _, r := range published.Sexes() {
		named(r.Species, r.Family)
	}
	for genus, want := range map[string]string{
		"Correlophus ciliatus": "Diplodactylidae", "Tarentola": "Phyllodactylidae", "Timon lepidus": "Lacertidae",
		"Oedura castelnaui": "Gekkonidae", "Furcifer": "Chamaeleonidae", "Rieppeleon": "", "Nobody knows": "", "": "",
	} {
		if got := published.Family(genus); got != want || published.IsGecko(got) != (want == "Diplodactylidae" || want == "Phyllodactylidae" || want == "Gekkonidae") {
			t.Errorf("%s is of the family %q, want %q", genus, got, want)
		}
	}
}
