// Package published holds published measurements of lizard eggs by temperature:
// days to hatching, the share that hatched, and the share of males.
//
// Start with [Durations], [Hatched] and [Sexes]; [Citation] gives the paper
// behind a row. The measurements are facts from the papers named in papers.csv,
// as gathered in the Reptile Development Database (Noble et al. 2018,
// Scientific Data 5:180138). They are stored in a format of our own: one short
// name for each paper, the mean temperature with half the daily range, and
// durations in days.
//
// Known faults of the rows are mended or marked in the tables, not in the code
// that reads them:
//
//   - One paper with three names (Iraeta, Diaz & Bauwens 2007) has one name
//     again. Two pairs of papers that shared a name (Harlow 2000; Shine 2002)
//     have separate names. The validation leaves out whole studies, so each
//     study needs one name.
//   - Journal pages that a spreadsheet had turned into dates are pages again,
//     and stray spaces in names are gone.
//   - Spreads given as standard errors that are too large to be standard errors
//     (Muth 1980, Blumberg et al. 2002: coefficients of variation of 14 to
//     33 %) are blank.
//   - Sex ratios in percent among fractions (Viets et al. 1993) are fractions.
//     That paper's hatching success of 0 is left out where hatchlings were
//     sexed.
//   - Numbers of eggs copied from another species are blank.
//   - The swings of Qu et al. 2014 are 3 and 5 °C to either side, as in its
//     abstract. The database had them as the whole range.
//   - Impossible rows carry a note that begins with "left out". They stay
//     visible but are not [Duration.Usable]. The rule uses measurements alone:
//     if eggs of a species were warmer at every hour of the day than others,
//     and never above 33 °C, they cannot take a quarter longer. Of two
//     treatments that contradict each other, the one that more other rows
//     contradict is left out; in a tie both are. The rule leaves out Dayananda
//     2016, whose treatments are exchanged (the same laboratory says that its
//     warm eggs hatched 27 days before the others: Dayananda et al. 2017,
//     Journal of Experimental Biology 220:2159), and one treatment of Elphick
//     1998.
//
// genera.csv gives the family of each genus, including genera without
// measurements: the common classification, from memory. The database counts all
// geckos except the eyelid geckos as Gekkonidae, see [IsGecko]. Leaf chameleons
// (Brookesia, Palleon, Rhampholeon, Rieppeleon) are not listed: their eggs
// hatch after two or three months (common practice), unlike those of any
// measured chameleon.
//
// The package has the data only; fitting belongs to scheduler/incubation.
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

// Row has the columns that all measurements share.
type Row struct {
	Species string // binomial
	Family  string
	// Regime is "constant", "cycle" (a daily sine is assumed) or "irregular".
	Regime    string
	Celsius   float64 // mean
	HalfRange float64 // half the range of a day, °C; 0: constant
	Eggs      float64 // number of eggs; a mean over groups if the paper gives only a mean; 0: not known
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

// Family returns the family of a species or genus. If the genus has
// measurements, the family has the name used in the measurements. Family
// returns "" for a genus that is not listed.
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

// Usable reports whether the row may be used: its note does not mark it as left
// out.
func (d Duration) Usable() bool { return !strings.HasPrefix(d.Note, "left out") }

// Share is the fraction, 0 to 1, of a treatment's eggs that hatched, or of its
// young that are male.
type Share struct {
	Row
	Fraction float64
}

// Durations returns every measured duration, in a fixed order. The caller may
// change the slice.
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

// all parses the embedded tables once. A fault in the tables is a fault of the
// program, so all panics; a test reads every row.
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
