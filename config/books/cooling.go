package books

import (
	"fmt"
	"slices"
	"strings"

	"nestround/config/tables"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// usualCooling fills the gaps of a [species.cooling]. Its values are common
// practice, except for the loss limits. No loss limit is published for lizards.
// The limits here are borrowed from tortoises, which are woken at a loss of 8
// to 10 % (Royal Veterinary College, quoted at second hand).
var usualCooling = husbandry.CoolingCare{
	Fast: 14, Down: husbandry.Ramp{Days: 10}, Up: husbandry.Ramp{Days: 10}, Weigh: 10,
	FirstFeed: husbandry.Span{From: 3, To: 7}, Pair: husbandry.Span{From: 14, To: 42},
	WarnLoss: 0.05, StopLoss: 0.08,
}

// The range of temperatures for cooling lizards, with a margin. A temperature
// outside is taken for a typing error, most likely of the unit.
const (
	coldestWinter husbandry.Celsius = 2
	warmestWinter husbandry.Celsius = 30
)

func winterTemperature(s string) (husbandry.Celsius, error) {
	c, err := husbandry.ParseTemperature(s)
	if err == nil && (c < coldestWinter || c > warmestWinter) {
		return 0, fmt.Errorf("%q is no temperature for a lizard's winter (2 to 30 C, 36 to 86 F)", s)
	}
	return c, err
}

const (
	shortestCold husbandry.Days = 7
	longestCold  husbandry.Days = 210
	mostSteps                   = 9
)

func (s sheet) cooling(t *tables.Table) {
	c := &s.Cooling
	if c.IsZero() {
		*c = usualCooling
		for _, key := range []string{"start", "cool", "lasts"} {
			if !t.Has(key) {
				t.Missing("`"+key+"`", `a cooling needs start = "11-01" (of the northern year), cool = ["5 C", "12 C"] and lasts = "10 weeks"`)
			}
		}
	}
	if t.Has("usual") {
		c.Usual = t.Bool("usual")
	}
	if d, ok := tables.Parsed(t, "start", monthDay); ok {
		c.Start = husbandry.MonthDay{Month: d.Month(), Day: d.Day()}
	}
	setDays(t, "fast", 1, 60, &c.Fast)
	setDays(t, "lasts", shortestCold, longestCold, &c.Lasts)
	setDays(t, "weigh", 1, 31, &c.Weigh)
	coldRange(t, &c.From, &c.To)
	c.Down = ramp(t, "down", c.Down, c.To, true)
	c.Up = ramp(t, "up", c.Up, c.To, false)
	setText(t, "water", &c.Water)
	span(t, "first_feed", &c.FirstFeed)
	span(t, "pair", &c.Pair)
	s.sources(t, "cooling", "usual", "start", "fast", "lasts", "weigh", "cool", "down", "up", "water", "first_feed", "pair")
	if l := t.Table("loss"); l != nil {
		s.coolingLoss(l)
		l.Done()
	}
}

// coolingLoss reads the losses of mass at which the keeper is warned and the
// cooling ends.
func (s sheet) coolingLoss(t *tables.Table) {
	c := &s.Cooling
	if loss, ok := tables.Parsed(t, "warn", loss); ok {
		c.WarnLoss = loss
	}
	if loss, ok := tables.Parsed(t, "stop", loss); ok {
		c.StopLoss = loss
	}
	if c.WarnLoss > c.StopLoss {
		t.Here().Error(fmt.Sprintf("the loss that warns (%v) is more than the one that ends the cooling (%v)", c.WarnLoss, c.StopLoss), "")
	}
	s.sources(t, "cooling.loss", "warn", "stop")
}

func loss(s string) (husbandry.Share, error) {
	v, err := husbandry.ParseShare(s)
	if err == nil && (v <= 0 || v > 0.3) {
		return 0, fmt.Errorf("%q is no loss of mass to act on; it is above 0 %% and at most 30 %%", s)
	}
	return v, err
}

func setDays(t *tables.Table, key string, least, most husbandry.Days, to *husbandry.Days) {
	if d, ok := days(t, key, least, most); ok {
		*to = d
	}
}

func coldRange(t *tables.Table, from, to *husbandry.Celsius) {
	if s, ok := ordered(t, "cool", tables.ParsedList(t, "cool", winterTemperature), `["5 C", "12 C"]`); ok {
		*from, *to = s[0], s[1]
	}
}

// ramp reads { days = "10 days", steps = ["20 C", "15 C"] }: the steps from the
// usual warmth down to the cold, or back up.
func ramp(t *tables.Table, key string, was husbandry.Ramp, cold husbandry.Celsius, down bool) husbandry.Ramp {
	v := was
	in := t.Table(key)
	if in == nil {
		return v
	}
	setDays(in, "days", 1, 60, &v.Days)
	if steps := tables.ParsedList(in, "steps", winterTemperature); in.Has("steps") {
		v.Steps = nil
		for i, s := range steps {
			switch {
			case i > 0 && down && s.Value >= steps[i-1].Value, i > 0 && !down && s.Value <= steps[i-1].Value:
				s.Place.Error("the steps of `"+key+"` are not in order", map[bool]string{true: "the warmest stands first", false: "the coldest stands first"}[down])
			case s.Value <= cold && cold != 0:
				s.Place.Error("a step of `"+key+"` is not above the range of the cold weeks", "the cold itself needs no step")
			}
			v.Steps = append(v.Steps, s.Value)
		}
	}
	if len(v.Steps) > mostSteps || len(v.Steps) > int(v.Days) {
		in.Here().Error(fmt.Sprintf("%s in %s", english.Count(len(v.Steps), "step"), english.Days(v.Days)), fmt.Sprintf("at most one a day, and at most %d", mostSteps))
	}
	in.Done()
	return v
}

// cooling reads a [[cooling]], the keeper's decision for a winter.
func (r *reader) cooling(t *tables.Table) {
	v := husbandry.Cooling{
		ID:         r.id(t, "cooling"),
		Animals:    r.refList(t, "animals", "animal"),
		Enclosures: r.refList(t, "enclosures", "enclosure"),
		Rooms:      r.refList(t, "rooms", "room"),
		Species:    r.refList(t, "species", "species"),
		Ended:      t.Date("ended"),
		Off:        t.Bool("off"),
	}
	var named []string
	for _, key := range []string{"animals", "enclosures", "rooms", "species"} {
		if t.Has(key) {
			named = append(named, key)
		}
		if t.IsEmptyList(key) {
			t.Place(key).Error(fmt.Sprintf("`%s` is an empty list", key), "name who is cooled")
		}
	}
	switch len(named) {
	case 0:
		t.Missing("`species`, `rooms`, `enclosures` or `animals`", `say who is cooled: species = ["wall-lizard"]`)
	case 1:
	default:
		t.KeyPlace(named[1]).Error(fmt.Sprintf("the cooling names `%s`", strings.Join(named, "` and `")), "keep one; for others write another [[cooling]]")
	}
	if t.IsText("start") {
		if d, ok := tables.Parsed(t, "start", monthDay); ok {
			v.Every = husbandry.MonthDay{Month: d.Month(), Day: d.Day()}
		}
	} else {
		v.Start = t.Date("start")
	}
	setDays(t, "lasts", shortestCold, longestCold, &v.Lasts)
	coldRange(t, &v.From, &v.To)
	if t.Has("ended") && v.Start.IsZero() {
		t.KeyPlace("ended").Error("`ended` needs the `start` of that winter", "write start = 2026-11-01, the first day without food")
	}
	inOrder(t, "start", v.Start, "ended", v.Ended)
	if v.Off {
		for _, key := range []string{"lasts", "cool", "ended"} {
			if t.Has(key) {
				t.KeyPlace(key).Error(fmt.Sprintf("the cooling is `off` and has `%s`", key), "")
			}
		}
	}
	t.Done()
	r.coolings = append(r.coolings, placed[husbandry.Cooling]{v, t})
}

// winters has the records that are needed to check the records of cooling.
type winters struct {
	coolings []placed[husbandry.Cooling]
	animals  []placed[husbandry.Animal]
	species  map[husbandry.ID]husbandry.Species
	rooms    map[husbandry.ID]husbandry.ID // by enclosure
}

// checkCoolings reports animals that a record cools but whose care sheet does
// not say how, records of the same winter that contradict each other, and
// enclosures in which only some animals are cooled.
func (r *reader) checkCoolings() {
	w := winters{r.coolings, r.animals, make(map[husbandry.ID]husbandry.Species), make(map[husbandry.ID]husbandry.ID)}
	for _, s := range r.speciesList {
		w.species[s.value.ID] = s.value
	}
	for _, e := range r.enclosures {
		w.rooms[e.value.ID] = e.value.Room
	}
	for i := range w.coolings {
		c := &w.coolings[i]
		w.checkCare(c)
		for _, other := range w.coolings[:i] {
			if c.value.ID != "" && sameWinter(&c.value, &other.value) && sameSubjects(&c.value, &other.value) {
				c.at.Here().Error(fmt.Sprintf("the cooling at %v is about the same animals and the same winter", other.at.Here()), "keep one")
			}
		}
	}
	w.checkShared()
}

// checkCare checks a cooling against the care sheets of its animals.
func (w *winters) checkCare(c *placed[husbandry.Cooling]) {
	for _, id := range c.value.Species {
		w.needCare(c, id, "species")
	}
	checked := make(map[husbandry.ID]bool) // by species
	for _, a := range w.animals {
		near, ok := c.value.Names(&a.value, w.rooms[a.value.Enclosure])
		if !ok {
			continue
		}
		if near == 0 {
			w.needCare(c, a.value.Species, "animals")
		}
		if s := w.species[a.value.Species]; !checked[s.ID] {
			checked[s.ID] = true
			warmerThanSteps(c, s)
		}
	}
}

// needCare reports a species without a [species.cooling]. key is the key that
// names the animals.
func (w *winters) needCare(c *placed[husbandry.Cooling], id husbandry.ID, key string) {
	if s, ok := w.species[id]; ok && s.Cooling.IsZero() && !c.value.Off {
		c.at.Place(key).Error(fmt.Sprintf("the care sheet of `%s` does not say how it is cooled", id), "many species must not be; if this one is, write [species.cooling] under a [[species]] with this id")
	}
}

// warmerThanSteps reports a record whose range of cold reaches up to a step of
// the cooling down or warming up, or above it. Every step must be warmer than
// the range of cold.
func warmerThanSteps(c *placed[husbandry.Cooling], s husbandry.Species) {
	for _, t := range slices.Concat(s.Cooling.Down.Steps, s.Cooling.Up.Steps) {
		if c.value.To >= t && t > 0 {
			c.at.Place("cool").Error(fmt.Sprintf("the care sheet of `%s` has a step at %.1f C, which is not above this range", s.ID, float64(t)), "write [species.cooling] with other steps")
			return
		}
	}
}

func sameWinter(a, b *husbandry.Cooling) bool {
	if a.Start.IsZero() || b.Start.IsZero() {
		return a.Start.IsZero() && b.Start.IsZero()
	}
	d := a.Start.Sub(b.Start)
	return max(d, -d) < 183
}

func sameSubjects(a, b *husbandry.Cooling) bool {
	for _, l := range [][2][]husbandry.ID{{a.Animals, b.Animals}, {a.Enclosures, b.Enclosures}, {a.Rooms, b.Rooms}, {a.Species, b.Species}} {
		if slices.ContainsFunc(l[0], func(id husbandry.ID) bool { return slices.Contains(l[1], id) }) {
			return true
		}
	}
	return false
}

// plan returns the record or the care sheet by which an animal is cooled, or ""
// if the animal is not cooled. If several records apply, the most specific
// record counts.
func (w *winters) plan(a *husbandry.Animal) (plan husbandry.ID) {
	s := w.species[a.Species]
	if s.Cooling.IsZero() {
		return ""
	}
	if s.Cooling.Usual {
		plan = s.ID
	}
	closest := 4
	for i := range w.coolings {
		c := &w.coolings[i].value
		// A record for a single winter comes later and overrides a yearly
		// record.
		if near, ok := c.Names(a, w.rooms[a.Enclosure]); ok && near <= closest {
			closest, plan = near, c.ID
			if c.Off {
				plan = ""
			}
		}
	}
	return plan
}

// checkShared warns of enclosures in which animals are cooled at different
// times or not at all. The animals share the temperature and the water bowl, so
// a single plan must suit them all.
func (w *winters) checkShared() {
	first := make(map[husbandry.ID]*husbandry.Animal)
	warned := make(map[husbandry.ID]bool)
	for i := range w.animals {
		a := &w.animals[i].value
		if a.Enclosure == "" || !a.Left.IsZero() {
			continue
		}
		other := first[a.Enclosure]
		if other == nil {
			first[a.Enclosure] = a
			continue
		}
		mine, theirs := w.plan(a), w.plan(other)
		if mine == theirs || warned[a.Enclosure] {
			continue
		}
		warned[a.Enclosure] = true
		what := fmt.Sprintf("`%s` and `%s` share `%s` and are cooled by different plans", other.ID, a.ID, a.Enclosure)
		switch {
		case mine == "":
			what = fmt.Sprintf("`%s` shares `%s` with `%s`, which is cooled in winter; `%s` is not", a.ID, a.Enclosure, other.ID, a.ID)
		case theirs == "":
			what = fmt.Sprintf("`%s` shares `%s` with `%s`, which is cooled in winter; `%s` is not", other.ID, a.Enclosure, a.ID, other.ID)
		}
		w.animals[i].at.Place("enclosure").Warn(what, "house them apart before the winter's fast begins; food goes on for who is not cooled")
	}
}
