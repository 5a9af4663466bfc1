package books

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/config/tables"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// foundBy returns the mother or enclosure named in the id of a found clutch
// ("F03-2027-05-12"); "" for any other id.
func (r *index) foundBy(clutch husbandry.ID) husbandry.ID {
	n, _ := r.foundClutch(clutch)
	return n.id
}

func (r *index) foundClutch(clutch husbandry.ID) (by named, on civil.Date) {
	const date = len("-2027-05-12")
	if len(clutch) <= date {
		return named{}, on
	}
	id, day := clutch[:len(clutch)-date], clutch[len(clutch)-date:]
	on, err := civil.Parse(string(day[1:]))
	n, ok := r.ids[strings.ToLower(string(id))]
	if err != nil || day[0] != '-' || !ok || n.id != id || n.what != "animal" && n.what != "enclosure" {
		return named{}, civil.Date{}
	}
	return n, on
}

// inherit fills in the missing values of animals: from the group they were
// taken out of, and from the clutch they hatched from. It reports
// contradictions.
func (r *colony) inherit() {
	r.survey()
	at := r.at
	clutches := make(map[husbandry.ID]husbandry.Clutch)
	for _, c := range r.clutches {
		clutches[c.value.ID] = c.value
	}
	// state is 0 for an animal not looked at yet, 1 while its group, clutch or
	// mother is filled in first, and 2 for an animal filled in.
	state := make([]int, len(r.animals))
	taken := make(map[husbandry.ID]int)
	var fill func(i int)
	fill = func(i int) {
		if state[i] != 0 {
			return
		}
		state[i] = 1
		a := &r.animals[i]
		j, known := at[a.value.From]
		switch {
		case !known:
		case state[j] == 1:
			a.at.Place("from").Error(fmt.Sprintf("`%s` comes from itself, or from a group that comes from it", a.value.ID), "follow `from` from here")
		default:
			fill(j)
			r.takeOut(a, r.animals[j], taken)
			r.settle(i)
		}
		r.hatchFrom(a, clutches, func(id husbandry.ID) {
			if j, known := at[id]; known {
				fill(j)
			}
		})
		if a.value.Species == "" && !a.at.Has("species") && (a.at.Has("from") || a.at.Has("clutch")) && !r.lost {
			a.at.Missing("`species`", `its group or clutch does not say it either; write for example species = "leopard-gecko"`)
		}
		state[i] = 2
	}
	for i := range r.animals {
		fill(i)
	}
}

// survey makes the indexes of the colony.
func (r *colony) survey() {
	r.at = make(map[husbandry.ID]int, len(r.animals))
	r.residents = make(map[husbandry.ID][]int)
	r.mates = make(map[husbandry.ID][]int)
	for i, a := range r.animals {
		if a.value.ID != "" {
			r.at[a.value.ID] = i
		}
		r.settle(i)
	}
	for i, p := range r.pairings {
		r.mates[p.value.Female] = append(r.mates[p.value.Female], i)
	}
}

// settle notes the enclosures of an animal. An animal may be noted twice.
func (r *colony) settle(i int) {
	a := &r.animals[i].value
	r.residents[a.Enclosure] = append(r.residents[a.Enclosure], i)
	for _, h := range a.Was {
		r.residents[h.Enclosure] = append(r.residents[h.Enclosure], i)
	}
}

// takeOut fills in an animal's missing values from its group.
func (r *colony) takeOut(a *placed[husbandry.Animal], group placed[husbandry.Animal], taken map[husbandry.ID]int) {
	v, g := &a.value, group.value
	taken[g.ID] += v.Count
	checkGroup(a, g, taken[g.ID])
	if !v.Since.IsZero() && g.Enclosure != "" {
		last := v.Since.AddDays(-1)
		var homes []husbandry.Home
		for _, h := range g.Was {
			if !h.Until.After(last) {
				homes = append(homes, h)
			}
		}
		v.Was = slices.Concat(homes, []husbandry.Home{{Enclosure: g.Enclosure, Until: last}}, v.Was)
	}
	fillIn(&v.Species, g.Species)
	fillIn(&v.Enclosure, g.Enclosure)
	fillIn(&v.Clutch, g.Clutch)
	fillIn(&v.Mother, g.Mother)
	fillIn(&v.Father, g.Father)
	if v.Stage == "" && v.Hatched.IsZero() && g.Hatched.IsZero() {
		v.Stage = g.Stage
	}
	if !a.at.Has("sex") {
		v.Sex = g.Sex
	}
	fillIn(&v.Hatched, g.Hatched)
	fillIn(&v.Acquired, g.Acquired)
	if !a.at.Has("quarantine") {
		v.Quarantine = g.Quarantine
	}
}

// checkGroup checks an animal against the group it was taken out of. taken is
// the number of animals taken out of the group so far, including this animal.
func checkGroup(a *placed[husbandry.Animal], g husbandry.Animal, taken int) {
	v, from := &a.value, a.at.Place("from")
	switch {
	case g.Count < 2 && g.From == "":
		from.Error(fmt.Sprintf("`%s` is one animal, not a group", g.ID), "write how many it were as `count` in its record, or leave `from` out")
	case taken > g.Count:
		from.Error(fmt.Sprintf("`%s` had %d animals, and with this record %d have been taken out of it", g.ID, g.Count, taken),
			fmt.Sprintf("`count` of `%s` is how many there were before anybody was taken out", g.ID))
	}
	if v.Species != "" && g.Species != "" && v.Species != g.Species {
		a.at.Place("species").Error(fmt.Sprintf("`%s` is %s, and the group `%s` it comes from is %s", v.ID, v.Species, g.ID, g.Species), "leave `species` out")
	}
	for _, was := range []struct {
		words string
		day   civil.Date
	}{{"hatched", g.Hatched}, {"came", g.Acquired}, {"was taken out of its own group", g.Since}} {
		if !was.day.IsZero() && v.Since.Before(was.day) && !v.Since.IsZero() {
			a.at.Place("since").Error(fmt.Sprintf("taken out (%v) before the group `%s` %s (%v)", v.Since, g.ID, was.words, was.day), "")
		}
	}
	if !g.Left.IsZero() && v.Since.After(g.Left) {
		a.at.Place("since").Error(fmt.Sprintf("taken out (%v) after the group `%s` left (%v)", v.Since, g.ID, g.Left), "")
	}
}

// fillIn sets a value that has not been given.
func fillIn[T comparable](into *T, value T) {
	var none T
	if *into == none {
		*into = value
	}
}

// hatchFrom fills in an animal's missing values from its clutch, as far as the
// records have the values. The hatching date is in the daybook, which this
// package does not read. hatchFrom calls fill to fill in the mother of the
// clutch before it reads her species.
func (r *colony) hatchFrom(a *placed[husbandry.Animal], clutches map[husbandry.ID]husbandry.Clutch, fill func(husbandry.ID)) {
	v := &a.value
	if v.Clutch == "" {
		return
	}
	c := r.whole(v.Clutch, clutches)
	if c.Species == "" {
		fill(c.Mother)
		c.Species = r.speciesOf(c.Mother)
	}
	checkClutch(a, c)
	fillIn(&v.Species, c.Species)
	fillIn(&v.Mother, c.Mother)
	if v.Mother == c.Mother {
		fillIn(&v.Father, r.sire(c))
	}
}

// whole returns the clutch with an id, or the whole clutch if the id is of a
// part of a clutch. If the clutch has no record, whole returns the data that
// the id contains (see found).
func (r *colony) whole(id husbandry.ID, clutches map[husbandry.ID]husbandry.Clutch) husbandry.Clutch {
	c, recorded := clutches[id]
	if c.PartOf != "" {
		id = c.PartOf
		c, recorded = clutches[id]
		c.ID = id
	}
	if !recorded {
		return r.found(id)
	}
	return c
}

// speciesOf returns the species in the record of an animal, or "".
func (r *colony) speciesOf(animal husbandry.ID) husbandry.ID {
	if i, known := r.at[animal]; known {
		return r.animals[i].value.Species
	}
	return ""
}

// checkClutch checks an animal against the clutch that its record names.
func checkClutch(a *placed[husbandry.Animal], c husbandry.Clutch) {
	v := &a.value
	switch {
	case !a.at.Has("clutch"): // the record of the group names the clutch
	case v.Species != "" && c.Species != "" && v.Species != c.Species:
		a.at.Place("clutch").Error(fmt.Sprintf("the clutch `%s` is of %s, and `%s` is %s", c.ID, c.Species, v.ID, v.Species), "")
	case a.at.Has("mother") && c.Mother != "" && v.Mother != c.Mother:
		a.at.Place("mother").Error(fmt.Sprintf("the clutch `%s` is of the mother `%s`, not of `%s`", c.ID, c.Mother, v.Mother), "leave `mother` out where `clutch` says it")
	case !v.Hatched.IsZero() && !c.LaidFrom.IsZero() && !v.Hatched.After(c.LaidFrom):
		a.at.Place("hatched").Error(fmt.Sprintf("hatched (%v), and its clutch `%s` was laid later (%v)", v.Hatched, c.ID, c.LaidFrom), "")
	}
}

// found returns the clutch as far as its id tells: the laying date, and the
// mother or the species in the enclosure.
func (r *colony) found(id husbandry.ID) husbandry.Clutch {
	by, on := r.foundClutch(id)
	c := husbandry.Clutch{ID: id, LaidFrom: on, Laid: on}
	switch by.what {
	case "animal":
		c.Mother = by.id
	case "enclosure":
		c.Species = r.speciesIn(by.id, on)
	}
	return c
}

// speciesIn returns the species that lived in an enclosure on a day. It returns
// "" if there was none or more than one, or if a record has no species.
func (r *colony) speciesIn(enclosure husbandry.ID, on civil.Date) (species husbandry.ID) {
	if !r.look(enclosure, r.residents[enclosure]) {
		return ""
	}
	for _, i := range r.residents[enclosure] {
		v := &r.animals[i].value
		home := v.Enclosure
		for _, h := range slices.Backward(v.Was) {
			if !h.Until.Before(on) {
				home = h.Enclosure
			}
		}
		came := cmp.Or(v.Since, v.Acquired, v.Hatched)
		switch {
		case home != enclosure || came.After(on) || !v.Left.IsZero() && v.Left.Before(on) || v.Clutch != "" && v.Species == "":
		case v.Species == "" || species != "" && species != v.Species:
			return ""
		default:
			species = v.Species
		}
	}
	return species
}

// keepsSperm is the number of days before laying in which a male that was with
// the mother may be the father. Females of many lizards store sperm for months
// and lay several clutches from a single pairing, some in the next year (common
// knowledge of the trade).
const keepsSperm = 365

// sire returns the only male that the clutch's mother was with in the year
// before laying. It returns "" if there was no male or more than one: only a
// test could then tell the father.
func (r *colony) sire(c husbandry.Clutch) husbandry.ID {
	if c.Mother == "" || c.Laid.IsZero() {
		return ""
	}
	if !r.look(c.Mother, r.mates[c.Mother]) {
		return ""
	}
	var males []husbandry.ID
	for _, i := range r.mates[c.Mother] {
		v := &r.pairings[i].value
		parted := v.Until
		if parted.IsZero() {
			parted = c.Laid
		}
		if v.Female != c.Mother || v.From.IsZero() || v.From.After(c.Laid) || parted.Before(c.Laid.AddDays(-keepsSperm)) {
			continue
		}
		if !slices.Contains(males, v.Male) {
			males = append(males, v.Male)
		}
	}
	if len(males) != 1 {
		return ""
	}
	return males[0]
}

// The usual and the shortest length of quarantine. Keepers of lizards
// quarantine for 30 to 90 days (common practice).
const (
	usualQuarantine husbandry.Days = 90
	leastQuarantine husbandry.Days = 30
)

// quarantine reads the length of an animal's quarantine: true, "60 days", or
// the date of the last day.
func quarantine(t *tables.Table, v husbandry.Animal) husbandry.Days {
	if !t.Has("quarantine") {
		return 0
	}
	from, since := v.Acquired, "acquired"
	if from.IsZero() {
		from, since = v.Since, "since"
	}
	if from.IsZero() {
		t.Missing("`acquired`", "quarantine counts from the day the animal came")
	}
	var n husbandry.Days
	switch {
	case t.IsBool("quarantine"):
		if !t.Bool("quarantine") {
			return 0
		}
		n = usualQuarantine
	case t.IsText("quarantine"):
		n, _ = days(t, "quarantine", 1, 366)
	default:
		until := t.Date("quarantine")
		if from.IsZero() || until.IsZero() {
			return 0
		}
		if n = husbandry.Days(until.Sub(from)); n < 1 || n > 366 {
			t.Place("quarantine").Error(fmt.Sprintf("`quarantine` (%v) is not within a year after `%s` (%v)", until, since, from), "")
			return 0
		}
	}
	if n > 0 && n < leastQuarantine {
		t.Place("quarantine").Warn(fmt.Sprintf("a quarantine of %s is short", english.Days(n)), "common practice is 90 days and at least 30; ask your veterinarian")
	}
	return n
}

// warnQuarantined reports a pairing that begins during the quarantine of one
// partner, as far as the records tell.
func warnQuarantined(t *tables.Table, key string, a husbandry.Animal, from civil.Date) {
	began := a.Acquired
	fillIn(&began, a.Since)
	if a.Quarantine == 0 || from.IsZero() || began.IsZero() || from.Before(began) || from.After(began.AddDays(int(a.Quarantine))) {
		return
	}
	t.Place(key).Warn(fmt.Sprintf("the %s `%s` is in quarantine until %v at least", key, a.ID, began.AddDays(int(a.Quarantine))), "quarantined animals are not paired")
}

// usualRemind is the default number of days before a permit expires at which to
// ask for its renewal.
const usualRemind husbandry.Days = 60

func (r *reader) permit(t *tables.Table) {
	v := husbandry.Permit{
		ID: r.id(t, "permit"), Words: t.Text("words"), Expires: t.Date("expires"),
		Remind: usualRemind, Note: t.Prose("note"),
	}
	if !t.Has("words") {
		t.Missing("`words`", `say what runs out, for example words = "Keeping permit of the district"`)
	}
	if !t.Has("expires") {
		t.Missing("`expires`", "say its last day: expires = 2028-03-31")
	}
	if n, ok := days(t, "remind", 0, 366); ok {
		v.Remind = n
	}
	t.Done()
	r.permits = append(r.permits, placed[husbandry.Permit]{v, t})
}
