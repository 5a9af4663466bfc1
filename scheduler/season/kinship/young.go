package kinship

import (
	"math"
	"strconv"
	"strings"

	"nestround/tasks/husbandry"
)

// Complete is the number of generations that must be recorded without a gap
// before a coefficient is worded without "at least". With parents, grandparents
// and great-grandparents, every common ancestor of first cousins or closer
// relatives is recorded.
const Complete = 3

// Young describes the expected young of a pair.
type Young struct {
	Mother, Father husbandry.ID
	F              float64        // inbreeding coefficient of the young, 0 to 1
	Depth          Depth          // how many generations of their ancestors are recorded
	Relation       string         // relation of the parents, see [Pedigree.Relation]
	Groups         []husbandry.ID // groups that count as one animal each and affect F
}

// Young describes the young that a pair would have.
func (p *Pedigree) Young(mother, father husbandry.ID) Young {
	y := Young{Mother: mother, Father: father, F: p.Kinship(mother, father), Depth: p.DepthOfYoung(mother, father)}
	if y.F > 0 { // they share an ancestor
		y.Relation, y.Groups = p.Relation(mother, father), p.Groups(mother, father)
	}
	return y
}

// Coefficient words the coefficient with its uncertainty: "0.25" if it is
// exact, "at least 0.25" if an ancestor within [Complete] generations is not
// recorded, "about 0.25" if a group counts as one animal.
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

// Reason words the origin of the coefficient: "full siblings (parents F1 and
// M1)", "no common ancestor is recorded", and the groups that count as one
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
