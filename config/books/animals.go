package books

import (
	"cmp"
	"fmt"
	"slices"

	"nestround/config/tables"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// most is the largest number of animals in a group or eggs in a clutch. A
// larger number is taken for a typing error.
const most = 1000

func (r *colony) animal(t *tables.Table) {
	v := husbandry.Animal{
		ID:        r.id(t, "animal"),
		Name:      t.Text("name"),
		Species:   r.ref(t, "species", "species"),
		Sex:       husbandry.Unsexed,
		Count:     1,
		Enclosure: r.ref(t, "enclosure", "enclosure"),
		Hatched:   t.Date("hatched"),
		Acquired:  t.Date("acquired"),
		Left:      t.Date("left"),
		Mother:    r.ref(t, "mother", "animal"),
		Father:    r.ref(t, "father", "animal"),
		From:      r.ref(t, "from", "animal"),
		Since:     t.Date("since"),
		Clutch:    r.ref(t, "clutch", "clutch"),
		Breeding:  t.Bool("breeding"),
		Gravid:    t.Date("gravid"),
		Note:      t.Prose("note"),
	}
	if !t.Has("species") && !t.Has("from") && !t.Has("clutch") {
		t.Missing("`species`", `write its care sheet's id, for example species = "leopard-gecko"`)
	}
	if sex, ok := tables.Choice(t, "sex", husbandry.Male, husbandry.Female, husbandry.Unsexed); ok {
		v.Sex = sex
	}
	if n, ok := t.Int("count", 1, most); ok {
		v.Count = n
	}
	if stage, ok := tables.Choice(t, "stage", husbandry.Hatchling, husbandry.Juvenile, husbandry.Subadult, husbandry.Adult); ok {
		v.Stage = stage
	}
	inOrder(t, "hatched", v.Hatched, "acquired", v.Acquired)
	inOrder(t, "hatched", v.Hatched, "left", v.Left)
	inOrder(t, "acquired", v.Acquired, "left", v.Left)
	inOrder(t, "hatched", v.Hatched, "gravid", v.Gravid)
	if v.Sex == husbandry.Male && t.Has("gravid") {
		t.KeyPlace("gravid").Error("a male cannot be `gravid`", "")
	}
	checkSince(t, v)
	v.Quarantine = quarantine(t, v)
	for _, s := range t.Tables("was") {
		v.Was = append(v.Was, r.home(s, v))
	}
	slices.SortStableFunc(v.Was, func(a, b husbandry.Home) int { return a.Until.Compare(b.Until) })
	if !t.Has("enclosure") && !t.Has("from") && !t.Has("left") && !t.Broken() {
		t.Here().Warn("the animal has no `enclosure` and has not `left`", "without an enclosure it is on no round")
	}
	t.Elsewhere(fmt.Sprintf(`weighings are told as they happen, in a reply or by: nestround mark "%s weighs 41 g"`, cmp.Or(v.ID, "F03")), "mass", "weight", "weights", "grams", "weighs", "weighed")
	t.Done()
	r.animals = append(r.animals, placed[husbandry.Animal]{v, t})
}

// checkSince checks the day on which an animal was taken out of its group.
func checkSince(t *tables.Table, v husbandry.Animal) {
	switch {
	case t.Has("from") && !t.Has("since"):
		t.Missing("`since`", "say on which day it was taken out of the group: since = 2027-06-01")
	case t.Has("since") && !t.Has("from"):
		t.KeyPlace("since").Error("`since` is only for an animal that comes `from` a group", "say which group, or write `acquired` for the day it came to you")
	}
	inOrder(t, "hatched", v.Hatched, "since", v.Since)
	inOrder(t, "acquired", v.Acquired, "since", v.Since)
	inOrder(t, "since", v.Since, "left", v.Left)
}

// home reads an earlier enclosure of an animal.
func (r *index) home(t *tables.Table, v husbandry.Animal) husbandry.Home {
	home := husbandry.Home{Enclosure: r.ref(t, "enclosure", "enclosure"), Until: t.Date("until")}
	for _, key := range []string{"until", "enclosure"} {
		if !t.Has(key) {
			t.Missing("`"+key+"`", `write where it lived before, and its last day there, as in was = [{ until = 2027-04-30, enclosure = "E07" }]`)
		}
	}
	for _, before := range []struct {
		words string
		day   civil.Date
	}{{"it hatched", v.Hatched}, {"it came", v.Acquired}, {"it was taken out of its group", v.Since}} {
		if !home.Until.IsZero() && home.Until.Before(before.day) {
			t.Place("until").Error(fmt.Sprintf("moved (%v) before %s (%v)", home.Until, before.words, before.day), "")
		}
	}
	t.Done()
	return home
}

func (r *colony) clutch(t *tables.Table) {
	v := husbandry.Clutch{
		ID:        r.id(t, "clutch"),
		Mother:    r.ref(t, "mother", "animal"),
		Species:   r.ref(t, "species", "species"),
		Incubator: r.ref(t, "incubator", "incubator"),
		Tub:       husbandry.Vented,
		TubSet:    t.Date("tub_set"),
		Ended:     t.Date("ended"),
		Note:      t.Prose("note"),
	}
	v.PartOf = r.ref(t, "part_of", "clutch")
	if t.Has("part_of") {
		r.part(t, v)
		return
	}
	if !t.Has("mother") && !t.Has("species") {
		t.Missing("`mother` or `species`", "say whose eggs they are")
	}
	laid := readLaid(t, &v)
	eggs, counted := t.Int("eggs", 0, most)
	v.Eggs = eggs
	v.Slugs, _ = t.Int("slugs", 0, most)
	v.Hatched, _ = t.Int("hatched", 0, most)
	r.tub(t, &v, laid, counted)
	if !t.Has("temperature") && !t.Has("incubator") && !t.Has("ended") && !t.Broken() {
		t.Here().Warn("the clutch has neither `incubator` nor `temperature`", "its hatching can only be guessed from the species' usual range")
	}
	t.Done()
	r.clutches = append(r.clutches, placed[husbandry.Clutch]{v, t})
}

// readLaid reads the day on which a clutch was laid, and returns the name of
// the key that gave the day.
func readLaid(t *tables.Table, v *husbandry.Clutch) (key string) {
	v.Laid = t.Date("laid")
	v.LaidFrom = v.Laid
	between := t.Dates("laid_between")
	switch {
	case !t.Has("laid_between"):
		if !t.Has("laid") {
			t.Missing("`laid` or `laid_between`", "without it nothing can be said of its hatching; repeat it where the record refines a clutch of the daybook")
		}
		return "laid"
	case t.Has("laid"):
		t.KeyPlace("laid_between").Error("the clutch has both `laid` and `laid_between`", "keep `laid` if the day is known")
	case len(between) == 2:
		v.LaidFrom, v.Laid = between[0].Value, between[1].Value
		if v.Laid.Before(v.LaidFrom) {
			between[1].Place.Error(fmt.Sprintf("the last day (%v) is before the first (%v)", v.Laid, v.LaidFrom), "")
		}
	default:
		t.Place("laid_between").Error("`laid_between` is not two dates", "write [2027-05-10, 2027-05-12]: the eggs were laid on one of these days")
	}
	return "laid_between"
}

// part reads a part of a clutch that stands in a separate tub.
func (r *colony) part(t *tables.Table, v husbandry.Clutch) {
	for _, key := range []string{"mother", "species", "laid", "laid_between", "slugs"} {
		if t.Has(key) {
			t.KeyPlace(key).Error(fmt.Sprintf("a part of a clutch has no `%s` of its own", key), "leave it out: it is that of the clutch named by `part_of`")
		}
	}
	eggs, counted := t.Int("eggs", 1, most)
	if !t.Has("eggs") {
		t.Missing("`eggs`", "say how many eggs of the clutch stand in this tub")
	}
	v.Eggs = eggs
	v.Hatched, _ = t.Int("hatched", 0, most)
	r.tub(t, &v, "", counted)
	t.Done()
	r.clutches = append(r.clutches, placed[husbandry.Clutch]{v, t})
}

// tub reads the place of a clutch's tub and the outcome of its eggs. laid is
// the key that has the laying date; "" if there is none.
func (r *colony) tub(t *tables.Table, v *husbandry.Clutch, laid string, counted bool) {
	if counted && v.Hatched > v.Eggs {
		t.Place("hatched").Error(fmt.Sprintf("%d hatched of %d eggs", v.Hatched, v.Eggs), "")
	}
	if c, ok := tables.Parsed(t, "temperature", incubationTemperature); ok {
		v.Temperature = &c
	}
	if tub, ok := tables.Choice(t, "tub", husbandry.Vented, husbandry.Sealed); ok {
		v.Tub = tub
	}
	v.Damp = damp(t, tubKeys)
	if v.Damp.Mass > 0 && v.TubSet.IsZero() && v.Incubator == "" {
		t.KeyPlace("tub_mass").Warn("the tub has a mass and no day on which it was set", "write tub_set: the mass is that of this day")
	}
	for _, m := range t.Tables("moved") {
		v.Moves = append(v.Moves, r.move(m, v.LaidFrom))
	}
	slices.SortStableFunc(v.Moves, func(a, b husbandry.Move) int { return a.On.Compare(b.On) })
	v.Veins = t.Date("veins")
	if laid != "" {
		inOrder(t, laid, v.LaidFrom, "veins", v.Veins)
		inOrder(t, laid, v.LaidFrom, "tub_set", v.TubSet)
		inOrder(t, laid, v.LaidFrom, "ended", v.Ended)
	}
}

// move reads the day and the destination of a move of a tub.
func (r *index) move(t *tables.Table, laid civil.Date) husbandry.Move {
	m := husbandry.Move{On: t.Date("on"), Incubator: r.ref(t, "incubator", "incubator")}
	if !t.Has("on") {
		t.Missing("`on`", "say on which day the tub was moved")
	}
	if c, ok := tables.Parsed(t, "temperature", incubationTemperature); ok {
		m.Temperature = &c
	}
	if !t.Has("incubator") && !t.Has("temperature") {
		t.Missing("`incubator` or `temperature`", "say where the tub was moved to")
	}
	if !m.On.IsZero() && m.On.Before(laid) {
		t.Place("on").Error(fmt.Sprintf("moved (%v) before the eggs were laid (%v)", m.On, laid), "")
	}
	t.Done()
	return m
}

func (r *colony) pairing(t *tables.Table) {
	v := husbandry.Pairing{
		ID:     r.id(t, "pairing"),
		Male:   r.ref(t, "male", "animal"),
		Female: r.ref(t, "female", "animal"),
		From:   t.Date("from"),
		Until:  t.Date("until"),
	}
	for _, key := range []string{"male", "female"} {
		if !t.Has(key) {
			t.Missing("`"+key+"`", "")
		}
	}
	inOrder(t, "from", v.From, "until", v.Until)
	if (t.Has("until") || t.Has("mated")) && !t.Has("from") {
		t.Missing("`from`", "say since when they were together")
	}
	for _, mated := range t.Dates("mated") {
		switch d := mated.Value; {
		case d.Before(v.From) && !v.From.IsZero():
			mated.Place.Error(fmt.Sprintf("mated (%v) before they were together (%v)", d, v.From), "")
		case !v.Until.IsZero() && d.After(v.Until):
			mated.Place.Error(fmt.Sprintf("mated (%v) after they were separated (%v)", d, v.Until), "")
		}
		v.Mated = append(v.Mated, mated.Value)
	}
	t.Done()
	r.pairings = append(r.pairings, placed[husbandry.Pairing]{v, t})
}

// checkAnimals looks for contradictions between animals, clutches and pairings.
func (r *colony) checkAnimals() {
	r.inherit()
	animals := make(map[husbandry.ID]husbandry.Animal)
	for _, a := range r.animals {
		animals[a.value.ID] = a.value
	}
	delete(animals, "") // records with an unusable id are stored under ""
	r.checkParents(animals)
	for i := range r.clutches {
		c := &r.clutches[i]
		if m, known := animals[c.value.Mother]; known {
			checkMother(c, m)
		}
	}
	r.checkParts()
	for i := range r.pairings {
		checkPair(&r.pairings[i], animals)
	}
}

// checkMother checks a clutch against the record of its mother, and gives the
// clutch the mother's species.
func checkMother(c *placed[husbandry.Clutch], m husbandry.Animal) {
	if c.value.Species == "" {
		c.value.Species = m.Species
	} else if c.value.Species != m.Species {
		c.at.Place("species").Warn(fmt.Sprintf("the mother `%s` is of another species, `%s`", m.ID, m.Species), "leave `species` out unless that is meant")
	}
	if m.Sex == husbandry.Male {
		c.at.Place("mother").Error(fmt.Sprintf("the mother `%s` is a male", m.ID), "")
	}
	laid := c.at.Place("laid")
	if c.at.Has("laid_between") {
		laid = c.at.Place("laid_between")
	}
	switch v := c.value; {
	case v.Laid.IsZero():
	case !m.Hatched.IsZero() && v.LaidFrom.Before(m.Hatched):
		laid.Error(fmt.Sprintf("laid (%v) before the mother `%s` hatched (%v)", v.LaidFrom, m.ID, m.Hatched), "")
	case !m.Left.IsZero() && v.Laid.After(m.Left):
		laid.Error(fmt.Sprintf("laid (%v) after the mother `%s` left (%v)", v.Laid, m.ID, m.Left), "")
	}
}

// checkPair checks a pairing against the records of the pair, and gives the
// pairing the pair's species.
func checkPair(p *placed[husbandry.Pairing], animals map[husbandry.ID]husbandry.Animal) {
	male, knownMale := animals[p.value.Male]
	female, knownFemale := animals[p.value.Female]
	checkPartner(p.at, "male", male, knownMale, husbandry.Female, p.value.From)
	checkPartner(p.at, "female", female, knownFemale, husbandry.Male, p.value.From)
	if !knownMale || !knownFemale {
		return
	}
	p.value.Species = female.Species
	warnQuarantined(p.at, "male", male, p.value.From)
	warnQuarantined(p.at, "female", female, p.value.From)
	switch {
	case male.ID == female.ID:
		p.at.Place("female").Error(fmt.Sprintf("`%s` is paired with itself", male.ID), "")
	case male.Species != female.Species:
		p.at.Place("female").Error(fmt.Sprintf("`%s` is %s and `%s` is %s", male.ID, male.Species, female.ID, female.Species), "a pair is of one species")
	}
}

// checkParts checks clutches whose eggs stand in several tubs.
func (r *colony) checkParts() {
	clutches := make(map[husbandry.ID]*husbandry.Clutch)
	for i := range r.clutches {
		clutches[r.clutches[i].value.ID] = &r.clutches[i].value
	}
	parts := make(map[husbandry.ID]int) // number of eggs in other tubs, by clutch
	for i := range r.clutches {
		c := &r.clutches[i]
		whole := clutches[c.value.PartOf]
		if c.value.PartOf == "" {
			continue
		}
		if whole == nil { // the keeper found the clutch: the daybook has its other data
			v, found := &c.value, r.found(c.value.PartOf)
			v.Mother, v.Species, v.LaidFrom, v.Laid = found.Mother, found.Species, found.LaidFrom, found.Laid
			if s := r.speciesOf(v.Mother); s != "" {
				v.Species = s
			}
			continue
		}
		parts[whole.ID] += c.value.Eggs
		switch {
		case whole.PartOf != "":
			c.at.Place("part_of").Error(fmt.Sprintf("`%s` is itself a part, of `%s`", whole.ID, whole.PartOf), "name the whole clutch")
		case whole.Eggs > 0 && parts[whole.ID] > whole.Eggs:
			c.at.Place("eggs").Error(fmt.Sprintf("with these, %d eggs of `%s` stand in other tubs, and it has %d", parts[whole.ID], whole.ID, whole.Eggs), "its own record says how many were laid")
		}
	}
}

// checkPartner looks at one animal of a pairing.
func checkPartner(t *tables.Table, key string, a husbandry.Animal, known bool, opposite husbandry.Sex, from civil.Date) {
	switch {
	case !known:
	case a.Sex == opposite:
		t.Place(key).Error(fmt.Sprintf("the %s `%s` is a %s", key, a.ID, a.Sex), "")
	case a.Sex == husbandry.Unsexed:
		t.Place(key).Warn(fmt.Sprintf("the %s `%s` is unsexed in its record", key, a.ID), fmt.Sprintf("write sex = %q there", key))
	case !from.IsZero() && !a.Hatched.IsZero() && from.Before(a.Hatched):
		t.Place("from").Error(fmt.Sprintf("paired (%v) before `%s` hatched (%v)", from, a.ID, a.Hatched), "")
	case !from.IsZero() && !a.Left.IsZero() && from.After(a.Left):
		t.Place("from").Error(fmt.Sprintf("paired (%v) after `%s` left (%v)", from, a.ID, a.Left), "")
	}
}

// checkParents checks the sex and the age of parents.
func (r *colony) checkParents(animals map[husbandry.ID]husbandry.Animal) {
	for _, a := range r.animals {
		for _, parent := range []struct {
			key   string
			id    husbandry.ID
			wrong husbandry.Sex
		}{{"mother", a.value.Mother, husbandry.Male}, {"father", a.value.Father, husbandry.Female}} {
			p, known := animals[parent.id]
			switch {
			case !known:
			case p.Sex == parent.wrong:
				a.at.Place(parent.key).Error(fmt.Sprintf("the %s `%s` is a %s", parent.key, p.ID, p.Sex), "")
			case !a.value.Hatched.IsZero() && !p.Hatched.IsZero() && !a.value.Hatched.After(p.Hatched):
				a.at.Place(parent.key).Error(fmt.Sprintf("hatched (%v) before its %s `%s` (%v)", a.value.Hatched, parent.key, p.ID, p.Hatched), "")
			}
		}
	}
}
