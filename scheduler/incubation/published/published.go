// Package published holds what papers have measured of lizard eggs: days to
// hatching, the share that hatched, and the share of males, by temperature.
//
// Start with [Durations], [Hatched] and [Sexes]; [Citation] gives the paper
// behind a row. The measurements are facts taken from the papers named in
// papers.csv, as gathered in the Reptile Development Database (Noble et al.
// 2018, Scientific Data 5:180138) and put into a form of our own: one name a
// paper, half a day's range beside the mean temperature, days.
//
// Known faults of the rows are mended or marked there, not in the readers:
//
//   - Three names of one paper (Iraeta, Diaz & Bauwens 2007) are one again,
//     and two papers that shared a name (Harlow 2000; Shine 2002) are two, as
//     leaving out a whole study is meaningless otherwise.
//   - Journal pages that a spreadsheet had taken for dates are pages again,
//     and names have lost their stray spaces.
//   - Spreads that are called standard errors but cannot be (Muth 1980,
//     Blumberg et al. 2002: coefficients of variation of 14 to 33 %) are blank.
//   - Sex ratios in percent among fractions (Viets et al. 1993) are fractions,
//     and that paper's hatching success of 0 where hatchlings were sexed is
//     left out.
//   - Numbers of eggs of one species that repeat another's are blank.
//   - Swings of Qu et al. 2014 are 3 and 5 °C to either side, as its abstract
//     has them, not in all.
//   - Rows that cannot mean what they say carry a note that begins with "left
//     out"; they stay visible and are not [Duration.Usable]. The rule looks at
//     measurements alone: eggs of a species that were warmer at every hour of
//     the day than others, and never above 33 °C, cannot take a quarter longer.
//     Of two treatments that contradict one another so, the one that more of
//     the rest contradict is left out, and both where that is even. It leaves
//     out Dayananda 2016, whose treatments are exchanged (the same laboratory
//     says that its warm eggs hatched 27 days before the others: Dayananda et
//     al. 2017, Journal of Experimental Biology 220:2159), and one of
//     Elphick 1998.
//
// genera.csv says which family a genus belongs to, also one that nobody has
// measured: the common classification, from memory. The database counts all
// geckos as Gekkonidae but the eyelid geckos, see [IsGecko]. Leaf chameleons
// (Brookesia, Palleon, Rhampholeon, Rieppeleon) are not listed: their eggs
// hatch after two or three months (common practice), and no measured chameleon
// says anything of them.
//
// The package leaves out what the rows mean: fitting is scheduler/incubation's.
package published

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed durations.csv
var durationsCSV string

//go:embed hatched.csv
var hatchedCSV string

//go:embed sexes.csv
var sexesCSV string

//go:embed papers.csv
var papersCSV string

//go:embed genera.csv
var generaCSV string

// Row is what every measurement has.
type Row struct {
	Species string // binomial
	Family  string
	// Regime is "constant", "cycle" (a daily sine is assumed) or "irregular".
	Regime    string
	Celsius   float64 // mean
	HalfRange float64 // half the range of a day, °C; 0: constant
	Eggs      float64 // a mean over groups where the paper gives only that; 0: not known
	Paper     string  // short name, see Citation
	Note      string
}

// Genus returns the first word of a binomial.
func (r Row) Genus() string { return Genus(r.Species) }

// Genus returns the first word of a binomial.
func Genus(species string) string {
	g, _, _ := strings.Cut(species, " ")
	return g
}

// Family returns the family of a species or genus, as the measurements name it
// where there are any, "" for a genus that is not listed.
func Family(species string) string { return all().families[Genus(species)] }

// IsGecko reports whether a family is one of the geckos.
func IsGecko(family string) bool {
	switch family {
	case "Gekkonidae", "Carphodactylidae", "Diplodactylidae", "Eublepharidae", "Phyllodactylidae", "Pygopodidae", "Sphaerodactylidae":
		return true
	}
	return false
}

// Duration is a treatment's mean time from laying to hatching.
type Duration struct {
	Row
	Days float64 // mean
	SD   float64 // of single eggs, days; 0: not known
}

// Usable reports whether the row means what it says.
func (d Duration) Usable() bool { return !strings.HasPrefix(d.Note, "left out") }

// Share is a treatment's share of eggs that hatched, or of young that are
// male, 0 to 1.
type Share struct {
	Row
	Fraction float64
}

// Durations returns every measured duration, in a fixed order. The slice is
// the caller's.
func Durations() []Duration { return slices.Clone(all().durations) }

// Hatched returns the shares of eggs that hatched.
func Hatched() []Share { return slices.Clone(all().hatched) }

// Sexes returns the shares of males.
func Sexes() []Share { return slices.Clone(all().sexes) }

type tables struct {
	durations      []Duration
	hatched, sexes []Share
	papers         map[string]string
	families       map[string]string // by genus
}

// all parses the embedded tables, once. They are part of the program, so that
// a fault in them is a fault of the program; a test reads every row.
var all = sync.OnceValue(func() *tables {
	t := &tables{papers: make(map[string]string), families: make(map[string]string)}
	for _, f := range records(papersCSV, "paper,citation") {
		t.papers[f[0]] = f[1]
	}
	for _, f := range records(generaCSV, "genus,family") {
		t.families[f[0]] = f[1]
	}
	for i, f := range records(durationsCSV, "species,family,regime,celsius,half_range,days,sd,eggs,paper,note") {
		d := Duration{Row: row(f[:5], f[7:]), Days: number(f[5]), SD: number(f[6])}
		check(t, i, d.Row, d.Days >= 5 && d.Days <= 500 && d.SD >= 0 && d.SD < d.Days/2)
		t.durations = append(t.durations, d)
		t.families[d.Genus()] = d.Family
	}
	for _, s := range []struct {
		text string
		head string
		into *[]Share
	}{
		{hatchedCSV, "species,family,regime,celsius,half_range,fraction,eggs,paper,note", &t.hatched},
		{sexesCSV, "species,family,regime,celsius,half_range,males,eggs,paper,note", &t.sexes},
	} {
		for i, f := range records(s.text, s.head) {
			r := Share{Row: row(f[:5], f[6:]), Fraction: number(f[5])}
			check(t, i, r.Row, f[5] != "" && r.Fraction >= 0 && r.Fraction <= 1)
			*s.into = append(*s.into, r)
		}
	}
	return t
})

func records(text, head string) [][]string {
	rs, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		panic(fmt.Sprintf("read the embedded measurements: %v", err))
	}
	if got := strings.Join(rs[0], ","); got != head {
		panic(fmt.Sprintf("embedded measurements have the columns %q, not %q", got, head))
	}
	return rs[1:]
}

func row(head, tail []string) Row {
	return Row{
		Species: head[0], Family: head[1], Regime: head[2], Celsius: number(head[3]), HalfRange: number(head[4]),
		Eggs: number(tail[0]), Paper: tail[1], Note: tail[2],
	}
}

func number(s string) float64 {
	if s == "" {
		return 0
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(fmt.Sprintf("embedded measurements: %v", err))
	}
	return x
}

func check(t *tables, i int, r Row, plausible bool) {
	known := t.papers[r.Paper] != ""
	warm := r.Celsius-r.HalfRange > 0 && r.Celsius+r.HalfRange < 50 && !math.IsNaN(r.Celsius)
	named := strings.Count(r.Species, " ") == 1 && r.Species == strings.TrimSpace(r.Species)
	if !known || !warm || !named || !plausible {
		panic(fmt.Sprintf("embedded measurements: row %d of %s (%s) is out of range or of an unknown paper", i+2, r.Species, r.Paper))
	}
}
