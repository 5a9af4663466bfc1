package books

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"nestround/config/tables"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// ownSource is recorded as the source of a value if a keeper adds the value to
// a care sheet and gives no source.
const ownSource = "the keeper's books"

// species reads a [[species]]. A keeper's species with the id of a built-in
// sheet starts from that sheet and changes only the keys it gives. Routines in
// a keeper's species count as the keeper's routines, not as those of a sheet.
func (r *reader) species(t *tables.Table) {
	id := r.id(t, "species")
	v := husbandry.Species{ID: id, Sources: make(map[string]string)}
	refines := -1
	if r.origin == husbandry.Keeper && id != "" {
		refines = slices.IndexFunc(r.speciesList, func(p placed[husbandry.Species]) bool { return p.value.ID == id })
	}
	if refines >= 0 {
		v = r.speciesList[refines].value
		v.Sources = maps.Clone(v.Sources)
	}
	needed := []string{"name"}
	if r.origin != husbandry.Keeper {
		needed = []string{"name", "scientific", "family"}
	}
	for _, key := range needed {
		if refines < 0 && !t.Has(key) {
			t.Missing("`"+key+"`", "")
		}
	}
	setText(t, "name", &v.Name)
	setText(t, "scientific", &v.Scientific)
	v.Scientific = scientific(v.Scientific)
	setText(t, "family", &v.Family)
	v.Family = scientific(v.Family)
	if refines < 0 && r.origin == husbandry.Keeper {
		r.knownOfEggs(&v)
	}

	sheet{&r.index, &v}.read(t)
	for _, routine := range t.Tables("routine") {
		r.routine(routine, id)
	}
	t.Done()
	if refines >= 0 {
		r.speciesList[refines] = placed[husbandry.Species]{v, t}
	} else {
		r.speciesList = append(r.speciesList, placed[husbandry.Species]{v, t})
	}
}

// knownOfEggs fills in a keeper's new species: data about eggs from built-in
// sheets of the same binomial, and the family from sheets of the same genus. It
// fills in nothing else: a keeper who writes a new sheet wants to state feeding
// and the like.
func (r *reader) knownOfEggs(v *husbandry.Species) {
	genus, _, _ := strings.Cut(v.Scientific, " ")
	for i := range r.speciesList {
		sheet := &r.speciesList[i].value
		other, _, _ := strings.Cut(sheet.Scientific, " ")
		if genus == "" || genus != other {
			continue
		}
		if v.Family == "" {
			v.Family = sheet.Family
		}
		if v.Binomial() == sheet.Binomial() {
			v.Incubation = sheet.Incubation
			v.Sources["incubation"] = sheet.Sources["incubation"]
		}
	}
}

// scientific returns a scientific name in its usual form: only the genus has a
// capital.
func scientific(name string) string {
	words := strings.Fields(strings.ToLower(name))
	if len(words) > 0 {
		words[0] = english.UpperFirst(words[0])
	}
	return strings.Join(words, " ")
}

func setText(t *tables.Table, key string, to *string) {
	if s := t.Text(key); s != "" {
		*to = s
	}
}

// sheet reads a care sheet into a species.
type sheet struct {
	*index
	*husbandry.Species
}

// read reads the tables of the sheet, but not its routines.
func (s sheet) read(t *tables.Table) {
	for _, part := range []struct {
		key  string
		read func(*tables.Table)
	}{
		{"stages", s.stages},
		{"first_feed", s.firstFeed},
		{"sexable_at", s.sexableAt},
		{"incubation", s.incubation},
		{"laying", s.laying},
		{"pairing", s.pairingSeason},
		{"cooling", s.cooling},
	} {
		if in := t.Table(part.key); in != nil {
			part.read(in)
			in.Done()
		}
	}
}

// sources records the source of the given keys of the sheet's table.
func (s sheet) sources(t *tables.Table, table string, keys ...string) {
	source := t.Prose("source")
	s.needSource(t, source)
	if s.origin != husbandry.Keeper {
		s.Sources[table] = source
		return
	}
	if source == "" {
		source = ownSource
	}
	for _, key := range keys {
		if t.Has(key) {
			s.Sources[table+"."+key] = source
		}
	}
}

func (s sheet) stages(t *tables.Table) {
	for _, stage := range []struct {
		key string
		to  *husbandry.Days
	}{{"juvenile", &s.JuvenileFrom}, {"subadult", &s.SubadultFrom}, {"adult", &s.AdultFrom}} {
		if age, ok := days(t, stage.key, 1, longest); ok {
			*stage.to = age
		}
	}
	if s.SubadultFrom != 0 && s.JuvenileFrom > s.SubadultFrom || s.AdultFrom != 0 && max(s.JuvenileFrom, s.SubadultFrom) > s.AdultFrom {
		t.Here().Error(fmt.Sprintf("the stages are not in order: juvenile from %d, subadult from %d, adult from %d days", s.JuvenileFrom, s.SubadultFrom, s.AdultFrom), "")
	}
	s.sources(t, "stages", "juvenile", "subadult", "adult")
}

func (s sheet) firstFeed(t *tables.Table) {
	span := s.FirstFeed
	if d, ok := days(t, "from", 0, 60); ok {
		span.From = d
	}
	if d, ok := days(t, "to", 0, 60); ok {
		span.To = d
	}
	if span.From > span.To {
		t.Place("to").Error(fmt.Sprintf("the first food: to %d days is before from %d days", span.To, span.From), "")
	}
	s.FirstFeed = span
	s.sources(t, "first_feed", "from", "to")
}

func (s sheet) sexableAt(t *tables.Table) {
	if d, ok := days(t, "age", 1, longest); ok {
		s.SexableAt = d
	} else if !t.Has("age") {
		t.Missing("`age`", `write sexable_at = { age = "90 days" }`)
	}
	s.sources(t, "sexable_at", "age")
}

// span reads a pair of day counts, the smaller first.
func span(t *tables.Table, key string, to *husbandry.Span) {
	pair := tables.ParsedList(t, key, daysBetween(0, longest))
	if s, ok := ordered(t, key, pair, `["14 days", "21 days"]`); ok {
		*to = husbandry.Span{From: s[0], To: s[1]}
	}
}

// ordered reports a list that is not a pair of values with the smaller first.
func ordered[T ~int | ~float64](t *tables.Table, key string, pair []tables.Item[T], example string) (values [2]T, ok bool) {
	switch {
	case !t.Has(key):
	case len(pair) != 2:
		if n := t.ListLength(key); n != 2 && (n > 0 || t.IsEmptyList(key)) {
			t.Place(key).Error(fmt.Sprintf("`%s` is not a least and a most", key), "write them as a list: "+example)
		}
	case pair[0].Value > pair[1].Value:
		pair[1].Place.Error(fmt.Sprintf("`%s` goes from %v down to %v", key, pair[0].Value, pair[1].Value), "the smaller stands first")
	default:
		return [2]T{pair[0].Value, pair[1].Value}, true
	}
	return values, false
}

func (s sheet) incubation(t *tables.Table) {
	in := &s.Incubation
	span(t, "days", &in.Days)
	span(t, "diapause", &in.Diapause)
	if t.Has("temperature_sex") {
		in.TemperatureSex = t.Bool("temperature_sex")
	}
	safe := tables.ParsedList(t, "safe", incubationTemperature)
	if s, ok := ordered(t, "safe", safe, `["24 C", "30 C"]`); ok {
		in.SafeFrom, in.SafeTo = s[0], s[1]
	}
	if points := t.Tables("point"); t.Has("point") {
		in.Points = nil
		for _, p := range points {
			in.Points = append(in.Points, s.point(p))
		}
		slices.SortStableFunc(in.Points, func(a, b husbandry.IncubationPoint) int {
			switch {
			case a.Temperature < b.Temperature:
				return -1
			case a.Temperature > b.Temperature:
				return +1
			}
			return 0
		})
	}
	s.sources(t, "incubation", "days", "diapause", "temperature_sex", "safe", "point")
}

func (s sheet) point(t *tables.Table) husbandry.IncubationPoint {
	var p husbandry.IncubationPoint
	p.Temperature, _ = tables.Parsed(t, "temperature", incubationTemperature)
	p.Days, _ = t.Number("days", 1, 1000)
	p.SD, _ = t.Number("sd", 0, 200)
	p.Eggs, _ = t.Int("eggs", 1, 100_000)
	for _, key := range []string{"temperature", "days"} {
		if !t.Has(key) {
			t.Missing("`"+key+"`", "")
		}
	}
	p.Source = t.Prose("source")
	s.needSource(t, p.Source)
	if p.Source == "" {
		p.Source = ownSource
	}
	t.Done()
	return p
}

func (s sheet) laying(t *tables.Table) {
	l := &s.Laying
	span(t, "after_mating", &l.AfterMating)
	span(t, "interval", &l.Interval)
	if n, ok := t.Int("clutches", 1, 50); ok {
		l.Clutches = n
	}
	if s, ok := ordered(t, "eggs", t.Ints("eggs", 0, most), "[1, 2]"); ok {
		l.Eggs = husbandry.Span{From: husbandry.Days(s[0]), To: husbandry.Days(s[1])}
	}
	s.sources(t, "laying", "after_mating", "interval", "clutches", "eggs")
}

func (s sheet) pairingSeason(t *tables.Table) {
	p := &s.Pairing
	if d, ok := tables.Parsed(t, "from", monthDay); ok {
		p.FromMonth, p.FromDay = d.Month(), d.Day()
	}
	if d, ok := tables.Parsed(t, "until", monthDay); ok {
		p.UntilMonth, p.UntilDay = d.Month(), d.Day()
	}
	for _, end := range []struct {
		key   string
		month time.Month
	}{{"from", p.FromMonth}, {"until", p.UntilMonth}} {
		if end.month == 0 && !t.Has(end.key) {
			t.Missing("`"+end.key+"`", `write month and day of the northern year: from = "03-01", until = "06-30"`)
		}
	}
	s.sources(t, "pairing", "from", "until")
}

// monthDay reads a day of the year such as "03-01". The 29th of February is not
// allowed: a season has the same days every year.
func monthDay(s string) (time.Time, error) {
	d, err := time.Parse(time.DateOnly, "2027-"+s)
	if err != nil {
		return d, fmt.Errorf("%q is not a month and day like \"03-01\"", s)
	}
	return d, nil
}
