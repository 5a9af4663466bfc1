package kinship

import (
	"math"
	"strconv"
	"strings"

	"nestround/tasks/husbandry"
)

// Complete is the number of generations that must be known without a gap for
// a coefficient to be said without "at least": the parents, grandparents and
// great-grandparents, among whom every common ancestor of first cousins or
// closer kin is.
const Complete = 3

// Young is what can be said of the young of a pair.
type Young struct {
	Mother, Father husbandry.ID
	F              float64        // their inbreeding coefficient, 0 to 1
	Depth          Depth          // how far their ancestors are recorded
	Relation       string         // of their parents, as [Pedigree.Relation] has it
	Groups         []husbandry.ID // that count as one animal each, and matter
}

// Young returns what can be said of the young of a pair.
func (p *Pedigree) Young(mother, father husbandry.ID) Young {
	y := Young{Mother: mother, Father: father, F: p.Kinship(mother, father), Depth: p.DepthOfYoung(mother, father)}
	if y.F > 0 { // they share an ancestor
		y.Relation, y.Groups = p.Relation(mother, father), p.Groups(mother, father)
	}
	return y
}

// Coefficient writes the coefficient as far as it is known: "0.25", "at least
// 0.25" where an ancestor within [Complete] generations is not recorded,
// "about 0.25" where a group counts as one animal.
func (y Young) Coefficient() string {
	words := Coefficient(y.F)
	switch {
	case len(y.Groups) > 0:
		return "about " + words
	case y.Depth.Complete < Complete:
		return "at least " + words
	}
	return words
}

// Reason says what the coefficient comes from: "full siblings (parents F1 and
// M1)", "no common ancestor is recorded", and which groups counted as one
// animal.
func (y Young) Reason() string {
	words := y.Relation
	if words == "" {
		words = "no common ancestor is recorded"
	}
	if len(y.Groups) == 0 {
		return words
	}
	var ids []string
	for _, id := range y.Groups {
		ids = append(ids, string(id))
	}
	noun := "the group "
	if len(ids) > 1 {
		noun = "each of the groups "
	}
	return words + ", with " + noun + strings.Join(ids, ", ") + " taken as one animal"
}

// Coefficient writes a coefficient with at most four decimals: "0.25",
// "0.0625", "0".
func Coefficient(f float64) string {
	return strconv.FormatFloat(math.Round(f*1e4)/1e4, 'f', -1, 64)
}
