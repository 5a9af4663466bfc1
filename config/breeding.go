package config

import (
	"fmt"

	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

// breeding reads the keeper's rules for pairing.
func (r reader) breeding(t *tables.Table, b *husbandry.BreedingRules) {
	limit, limited := t.Number("kinship_limit", 0, 1)
	if limited {
		b.KinshipLimit = limit
	}
	if warn, ok := t.Number("kinship_warn", 0, 1); ok {
		b.KinshipWarn = warn
		if warn > b.KinshipLimit {
			t.Place("kinship_warn").Error(fmt.Sprintf("`kinship_warn` (%v) is above `kinship_limit` (%v)", warn, b.KinshipLimit), "a pairing is warned of before it is refused")
		}
	}
	b.KinshipWarn = min(b.KinshipWarn, b.KinshipLimit)
	if n, ok := t.Int("females_per_male", 1, 1000); ok {
		b.FemalesPerMale = n
	}
	if d, ok := tables.Parsed(t, "male_rest", husbandry.ParseDays); ok {
		b.MaleRest = d
	}
	t.Done()
}
