package books

import (
	"fmt"

	"nestround/scheduler/season/kinship"
	"nestround/tasks/husbandry"
)

// checkKin reports animals that are their own ancestors, and pairings of close
// kin. If an animal is its own ancestor, the calculation of kinship would never
// end, so checkKin leaves the calculation out.
func (r *colony) checkKin(b husbandry.BreedingRules) {
	at := make(map[husbandry.ID]*placed[husbandry.Animal])
	var animals []kinship.Animal
	for i := range r.animals {
		a := &r.animals[i]
		if a.value.ID == "" {
			continue // an animal with an unusable id
		}
		at[a.value.ID] = a
		animals = append(animals, kinship.Animal{ID: a.value.ID, Mother: a.value.Mother, Father: a.value.Father, Group: a.value.Count > 1})
	}
	loops := kinship.Loops(animals)
	for _, loop := range loops {
		reportLoop(at[loop.Line[0]], loop)
	}
	if len(loops) > 0 || r.lost {
		return // the kinship has no end, or lacks parents that could not be read
	}
	p, err := kinship.New(animals)
	if err != nil {
		panic("books: a pedigree without loops has one: " + err.Error())
	}
	for i := range r.pairings {
		pair := r.pairings[i].value
		male, female := at[pair.Male], at[pair.Female]
		if male == nil || female == nil || male == female || male.value.Species != female.value.Species {
			continue
		}
		warnOfKin(&r.pairings[i], p.Young(pair.Female, pair.Male), b)
	}
}

// reportLoop reports an animal that is its own ancestor, at the key that names
// the parent.
func reportLoop(child *placed[husbandry.Animal], loop *kinship.LoopError) {
	key := "mother"
	if child.value.Mother != loop.Line[1] {
		key = "father"
	}
	for _, says := range []string{"clutch", "from"} { // a parent may come from the record that this key names
		if !child.at.Has(key) && child.at.Has(says) {
			key = says
		}
	}
	child.at.Place(key).Error(fmt.Sprintf("`%s` is its own ancestor: %s", loop.Line[0], loop.Words()), "one of these parents is wrong")
}

// warnOfKin warns of a pairing of close kin. y is the inbreeding of the young.
func warnOfKin(p *placed[husbandry.Pairing], y kinship.Young, b husbandry.BreedingRules) {
	would := "would have"
	if !p.value.Until.IsZero() {
		would = "have"
	}
	words := fmt.Sprintf("offspring of %s and %s %s an inbreeding coefficient of %s: %s", p.value.Female, p.value.Male, would, y.Coefficient(), y.Reason())
	switch {
	case kinship.Exceeds(y.F, b.KinshipLimit):
		p.at.Here().Warn(words, fmt.Sprintf("that is above the `kinship_limit` of %s under [breeding]", kinship.Coefficient(b.KinshipLimit)))
	case kinship.Exceeds(y.F, b.KinshipWarn):
		p.at.Here().Warn(words, fmt.Sprintf("that is above `kinship_warn`, %s, and within the `kinship_limit` of %s, under [breeding]", kinship.Coefficient(b.KinshipWarn), kinship.Coefficient(b.KinshipLimit)))
	}
}
