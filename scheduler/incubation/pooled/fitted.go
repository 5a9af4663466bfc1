package pooled

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"nestround/scheduler/incubation/published"
)

// Rounds is the number of rounds of the fit in use. After these rounds, effects
// and spreads have converged.
const Rounds = 60

//go:embed fitted.json
var fittedJSON []byte

// Fitted is the part of a fit that is committed to the repository: just enough
// to forecast.
type Fitted struct {
	Form    string    `json:"form"`
	Shared  []float64 `json:"shared"`
	Spreads Spreads   `json:"spreads"`
	Widen   Widen     `json:"widen"`
	// Beliefs has the priors by name: of a species, of a new species in a genus
	// or family, and of any other lizard ("species Podarcis muralis", "genus
	// Podarcis", "family Lacertidae", "any").
	Beliefs map[string]Belief `json:"beliefs"`
}

// Fitted returns the part of the fit that is committed to the repository.
func (m *Model) Fitted(widen Widen) Fitted {
	f := Fitted{Form: m.Form.Name, Shared: m.Shared(), Spreads: m.Spreads, Widen: widen, Beliefs: map[string]Belief{"any": m.Species("", "", "")}}
	for _, r := range m.rows {
		f.Beliefs["species "+r.Species] = m.Species(r.Family, r.Genus(), r.Species)
		f.Beliefs["genus "+r.Genus()] = m.Species(r.Family, r.Genus(), "")
		f.Beliefs["family "+r.Family] = m.Species(r.Family, "", "")
	}
	return f
}

// Default returns the committed fit.
func Default() *Curve { return committed().curve }

type loaded struct {
	Fitted
	curve *Curve
	// known caches the results of [Known] by species. A colony has few species,
	// so the cache stays small.
	known sync.Map
}

type kin struct {
	belief Belief
	by     Kinship
	papers []string
	kinds  int
}

// committed parses the embedded numbers once. A fault in the numbers is a fault
// of the program, so committed panics.
var committed = sync.OnceValue(func() *loaded {
	l := new(loaded)
	if err := json.Unmarshal(fittedJSON, &l.Fitted); err != nil {
		panic(fmt.Sprintf("read the embedded fit: %v", err))
	}
	for _, f := range Forms() {
		if f.Name == l.Form {
			l.curve = &Curve{Form: f, Shared: l.Shared, Spreads: l.Spreads, Widen: l.Widen}
			return l
		}
	}
	panic(fmt.Sprintf("the embedded fit is of the form %q, which does not exist", l.Form))
})

// Kinship is the taxonomic distance between a species and its nearest measured
// relatives.
type Kinship int

// The degrees of kinship.
const (
	SameSpecies Kinship = iota
	SameGenus
	SameFamily
	Geckos // species of another gecko family
	AnyLizard
)

// Known returns the committed belief about a species, the kinship of the
// nearest measured species, and the papers and the number of these measured
// species.
func Known(family, species string) (b Belief, by Kinship, papers []string, kinds int) {
	f := committed()
	if k, ok := f.known.Load([2]string{family, species}); ok {
		k := k.(kin)
		return k.belief, k.by, slices.Clone(k.papers), k.kinds
	}
	b, by, papers, kinds = f.find(family, species)
	f.known.Store([2]string{family, species}, kin{b, by, papers, kinds})
	return b, by, slices.Clone(papers), kinds
}

func (f *loaded) find(family, species string) (b Belief, by Kinship, papers []string, kinds int) {
	by = AnyLizard
	b = f.Beliefs["any"]
	genus := published.Genus(species)
	// Taxonomists split the gecko families only recently. The measurements
	// assign most geckos to Gekkonidae, so the belief about Gekkonidae is used
	// for all geckos.
	geckos := "family "
	if published.IsGecko(family) {
		geckos += "Gekkonidae"
	}
	for k, name := range []string{"species " + species, "genus " + genus, "family " + family, geckos} {
		if known, ok := f.Beliefs[name]; ok {
			b, by = known, Kinship(k)
			break
		}
	}
	var seen []string
	for _, r := range published.Durations() {
		like := r.Usable()
		switch by {
		case SameSpecies:
			like = like && r.Species == species
		case SameGenus:
			like = like && r.Genus() == genus
		case SameFamily:
			like = like && r.Family == family
		case Geckos:
			like = like && published.IsGecko(r.Family)
		}
		if like {
			papers, seen = append(papers, r.Paper), append(seen, r.Species)
		}
	}
	return b, by, distinctStrings(papers), len(distinctStrings(seen))
}

func distinctStrings(list []string) []string {
	list = slices.Clone(list)
	slices.Sort(list)
	return slices.Compact(list)
}

// Table renders the scores of a validation beside those of the plain rules, in
// fixed columns. The factors of v must be 1; the table is for the factors
// widen.
func (v *Validation) Table(widen Widen) string {
	var b strings.Builder
	wide := v.Widened(widen)
	line := func(name string, s Score, apart string) {
		fmt.Fprintf(&b, "%-34s %5d %6.1f %6.1f %6.0f %6.0f %6s %6.1f %6.1f\n", name, s.Trials, 100*s.MedianError, 100*s.MeanError, 100*s.Cover50, 100*s.Cover90, apart, s.MedianWidth, s.CRPS)
	}
	head := func(what string) {
		fmt.Fprintf(&b, "%-34s %5s %6s %6s %6s %6s %6s %6s %6s\n", what, "n", "median", "mean", "in 50", "in 90", "apart", "width", "CRPS")
	}
	paper := func(t Trial) string { return t.Paper }
	species := func(t Trial) string { return t.Species }
	apart := func(trials []Trial, of func(Trial) string) string {
		return fmt.Sprintf("%.0f", 100*Apart(trials, of))
	}
	part := func(what string, model Score, apart string, rules [3][]Trial) {
		head(what)
		line("  this model", model, apart)
		for k, name := range RuleNames {
			line("  "+name, ScoreOf(Spread(rules[k], model.Cover90)), "")
		}
		b.WriteByte('\n')
	}
	part("papers left out, species known", ScoreOf(wide.Known), apart(v.Known, paper), v.Rules)
	part("species left out", ScoreOf(wide.Unknown), apart(v.Unknown, species), v.RulesUnknown)
	head("papers left out, one clutch given")
	line("  species known from others", ScoreOf(wide.OneOwn), apart(v.OneOwn, paper))
	line("  species known from none", ScoreOf(wide.OneOwnUnknown), "")
	return b.String()
}

// ScoresComment returns the part of the package comment that the fit generates.
func ScoresComment(table string) string {
	var b strings.Builder
	b.WriteString("// # How well it did\n//\n" +
		"// Each treatment is predicted by a fit without its paper, or without its\n" +
		"// species. The columns are: number of treatments; median and mean absolute\n" +
		"// error of the predicted median, in percent; percent of treatments inside the\n" +
		"// 50 % and 90 % intervals; median width of the 90 % interval and mean\n" +
		"// continuous ranked probability score, both in days. A plain rule has no\n" +
		"// interval. It gets one of constant relative width, with the same coverage as\n" +
		"// the model's. The factors of the model's intervals were set on these\n" +
		"// treatments. The column \"apart\" has the coverage of the 90 % intervals with\n" +
		"// factors set on the other papers, or species.\n//\n")
	for line := range strings.Lines(table) {
		b.WriteString(strings.TrimRight("//\t"+strings.TrimRight(line, "\n"), " \t") + "\n")
	}
	return b.String()
}
