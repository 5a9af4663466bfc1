package books

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestround/config"
	"nestround/config/tables"
	"nestround/scheduler/cadence"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// routine reads a [[routine]]. If species is set, the routine stands in the
// care sheet of that species and is for that species only.
func (r *reader) routine(t *tables.Table, species husbandry.ID) {
	v := husbandry.Routine{
		ID:      r.id(t, "routine"),
		Title:   t.Text("title"),
		Off:     t.Bool("off"),
		Origin:  r.origin,
		Caution: t.Text("caution"),
		Source:  t.Prose("source"),
	}
	replaced, replaces := r.builtIn(v.ID)
	if replaced.Cadence.Pattern == husbandry.CalledFor && !v.Off {
		t.Place("id").Error(fmt.Sprintf("the routine `%s` is asked for when a finding calls for it; a record can only turn it off", v.ID), "write off = true, or give your routine another id")
	}
	v.Kind, _ = tables.Choice(t, "kind", husbandry.Kinds()...)
	if !t.Has("kind") {
		if v.Kind = replaced.Kind; !replaces {
			t.Missing("`kind`", `say what it is about, for example kind = "feed"`)
		}
	}
	v.Scope = scope(t, v.Kind, replaced.Scope)
	v.For = replaced.For
	if f := t.Table("for"); t.Has("for") {
		v.For = r.selector(f)
	}
	if species != "" {
		ofSpecies(t.Table("for"), &v, species)
	}
	var cadenceGiven bool
	v.Cadence, cadenceGiven = readCadence(t)
	if !cadenceGiven && !v.Off {
		t.Missing("cadence", "say when: one of "+strings.Join(cadenceKeys, ", "))
	}
	if v.Cadence.Pattern == husbandry.Stepped && v.Scope != husbandry.OfRoom && v.Scope != "" {
		t.KeyPlace("steps").Error(fmt.Sprintf("`steps` are a room's, and the routine is about %s", english.Article(string(v.Scope))), `write kind = "light-step", or kind = "own" with scope = "room"`)
	}
	readWork(t, &v)
	v.Consumes, v.Amounts = food(t, replaced)
	if refusal := v.Kind.Refuses(v.Off); refusal.Problem != "" {
		at := t.Here()
		if v.Off {
			at = t.KeyPlace("off")
		}
		at.Error(refusal.Problem, refusal.Hint)
	}
	if sitter, ok := tables.Choice(t, "sitter", husbandry.SitterDoes, husbandry.SitterWaits); ok {
		v.Sitter = sitter
	}
	r.needSource(t, v.Source)
	t.Done()
	r.routines[r.origin] = append(r.routines[r.origin], placed[husbandry.Routine]{v, t})
}

// ofSpecies limits a routine to the species of its care sheet. f is the
// routine's selector, or nil.
func ofSpecies(f *tables.Table, v *husbandry.Routine, species husbandry.ID) {
	if f != nil && f.Has("species") {
		f.KeyPlace("species").Error(fmt.Sprintf("the routine is for `%s` already, which it stands under", species), "leave `species` out")
	}
	v.For.Species = []husbandry.ID{species}
}

// readWork reads how a task of the routine is done: its slack, part of the day
// and minutes, and what happens if it is missed.
func readWork(t *tables.Table, v *husbandry.Routine) {
	v.Before, v.After = slack(t)
	v.Part = husbandry.Morning
	if part, ok := tables.Choice(t, "part", husbandry.Morning, husbandry.Midday, husbandry.Evening); ok {
		v.Part = part
	}
	v.Minutes, _ = t.Int("minutes", 0, 24*60)
	v.Missed = v.Kind.Missed()
	if missed, ok := tables.Choice(t, "missed", husbandry.Stays, husbandry.Lapses, husbandry.Alarms); ok {
		v.Missed = missed
	}
}

// food reads the food that a task of the routine uses up. replaced is the
// built-in routine that the keeper's routine replaces, if there is one. If the
// keeper's routine names no food, the food of replaced stays.
func food(t *tables.Table, replaced husbandry.Routine) (consumes []string, a husbandry.Amounts) {
	consumes, a = replaced.Consumes, replaced.Amounts
	if t.Has("consumes") {
		consumes, a = nil, husbandry.Amounts{}
		for _, item := range t.Texts("consumes") {
			consumes = append(consumes, item.Value)
		}
	}
	if t.Has("amount") {
		a = amounts(t, consumes)
	}
	return consumes, a
}

// builtIn returns the built-in routine that a keeper's routine with this id
// changes. The keeper's routine replaces a routine from a sheet or from the
// common file; it can only turn off a routine that the planner calls for. The
// kind, scope, subjects and food of the built-in routine stay unless the
// keeper's routine gives other ones: a keeper who writes only another interval
// still means the lizards of the built-in routine.
func (r *reader) builtIn(id husbandry.ID) (husbandry.Routine, bool) {
	if r.origin != husbandry.Keeper || id == "" {
		return husbandry.Routine{}, false
	}
	for _, origin := range []husbandry.Origin{husbandry.Sheet, husbandry.Common} {
		for _, p := range r.routines[origin] {
			if p.value.ID == id {
				return p.value, true
			}
		}
	}
	for _, c := range r.calledFor {
		if c.ID == id {
			return c.Routine, true
		}
	}
	return husbandry.Routine{}, false
}

// needSource reports a built-in statement without a source.
func (r *index) needSource(t *tables.Table, source string) {
	if r.origin != husbandry.Keeper && source == "" {
		t.Missing("`source`", `cite the publication, or write "common practice"`)
	}
}

func scope(t *tables.Table, kind husbandry.Kind, inherited husbandry.Scope) husbandry.Scope {
	scope, _ := tables.Choice(t, "scope", husbandry.OfEnclosure, husbandry.OfAnimal, husbandry.OfClutch, husbandry.OfRoom, husbandry.OfKeeper)
	fixed := kind.Scope()
	switch {
	case kind == "":
	case fixed != "" && t.Has("scope"):
		t.KeyPlace("scope").Error(fmt.Sprintf("a routine of kind %q is about %s; only one of kind \"own\", \"review\" or \"faecal-test\" has a `scope`", kind, english.Article(string(fixed))), "leave it out")
	case fixed == "" && !t.Has("scope"):
		if inherited == "" {
			t.Missing("`scope`", fmt.Sprintf("a routine of kind %q says what each task is about: enclosure, animal, clutch, room or keeper", kind))
		}
		return inherited
	}
	if fixed != "" {
		return fixed
	}
	return scope
}

func (r *index) selector(t *tables.Table) husbandry.Selector {
	s := husbandry.Selector{
		Rooms:      r.refList(t, "rooms", "room"),
		Racks:      r.refList(t, "racks", "rack"),
		Enclosures: r.refList(t, "enclosures", "enclosure"),
		Animals:    r.refList(t, "animals", "animal"),
		Species:    r.refList(t, "species", "species"),
		Stages:     tables.Choices(t, "stages", husbandry.Hatchling, husbandry.Juvenile, husbandry.Subadult, husbandry.Adult),
		Sexes:      tables.Choices(t, "sexes", husbandry.Unsexed, husbandry.Male, husbandry.Female),
		States:     tables.Choices(t, "states", husbandry.Gravid, husbandry.PostLaying, husbandry.Breeding, husbandry.Apart),
		NestBox:    t.Bool("nest_box"),
		Lamp:       t.Bool("lamp"),
		Groups:     t.Bool("groups"),
	}
	for _, key := range []string{"rooms", "racks", "enclosures", "animals", "species", "stages", "sexes", "states"} {
		if t.IsEmptyList(key) {
			t.Place(key).Error(fmt.Sprintf("`%s` is an empty list, which would select everything", key), "leave the key out to select everything")
		}
	}
	t.Done()
	return s
}

// slack reads the number of days by which a task may be done before and after
// its due day: "1 day" for both, or { before = ..., after = ... }.
func slack(t *tables.Table) (before, after husbandry.Days) {
	if !t.Has("slack") {
		return 0, 0
	}
	if t.IsText("slack") {
		d, _ := days(t, "slack", 0, 366)
		return d, d
	}
	s := t.Table("slack")
	before, _ = days(s, "before", 0, 366)
	after, _ = days(s, "after", 0, 366)
	s.Done()
	return before, after
}

// cadences are the ways to say when a routine is due. A routine has exactly one
// of the keys.
var cadences = []struct {
	key     string
	pattern husbandry.Pattern
	read    func(t *tables.Table, c *husbandry.Cadence)
}{
	{"every", husbandry.Fixed, func(t *tables.Table, c *husbandry.Cadence) {
		c.Every, _ = days(t, "every", 1, longest)
		if c.From = t.Date("from"); !t.Has("from") {
			t.Missing("`from`", "`every` counts from a day: from = 2027-01-01; for days since it was last done write since_last")
		}
	}},
	{"weekdays", husbandry.Fixed, func(t *tables.Table, c *husbandry.Cadence) { c.Weekdays = weekdays(t) }},
	{"month_days", husbandry.Fixed, func(t *tables.Table, c *husbandry.Cadence) { c.MonthDays = monthDays(t) }},
	{"cron", husbandry.Fixed, func(t *tables.Table, c *husbandry.Cadence) {
		c.Cron, _ = tables.Parsed(t, "cron", parseCron)
		if config.CronMixesDays(c.Cron) {
			t.Place("cron").Warn("the expression names days of the month and of the week; either will do, not both together", "put a * in one of the two fields")
		}
	}},
	{"since_last", husbandry.SinceLast, func(t *tables.Table, c *husbandry.Cadence) { c.Every, _ = days(t, "since_last", 1, longest) }},
	{"after", husbandry.Anchored, func(t *tables.Table, c *husbandry.Cadence) { c.Event, c.Offset = after(t.Table("after")) }},
	{"window", husbandry.Windowed, func(t *tables.Table, c *husbandry.Cadence) { c.Window, c.Every = window(t.Table("window")) }},
	{"riding", husbandry.Riding, func(t *tables.Table, c *husbandry.Cadence) { riding(t.Table("riding"), c) }},
	{"steps", husbandry.Stepped, func(t *tables.Table, c *husbandry.Cadence) {
		c.Steps, _ = tables.Choice(t, "steps", husbandry.LightSteps)
	}},
}

// cadenceKeys are the keys of cadences.
var cadenceKeys = func() (keys []string) {
	for _, way := range cadences {
		keys = append(keys, way.key)
	}
	return keys
}()

// readCadence reads the cadence of a routine: the rule that says when the
// routine is due. given reports whether the routine has a cadence. If a routine
// has several, which is an error, readCadence reads all of them to report all
// their problems.
func readCadence(t *tables.Table) (c husbandry.Cadence, given bool) {
	keys := slices.DeleteFunc(slices.Clone(cadenceKeys), func(key string) bool { return !t.Has(key) })
	if len(keys) > 1 {
		t.KeyPlace(keys[1]).Error(fmt.Sprintf("the routine has several cadences: `%s`", strings.Join(keys, "`, `")), "keep one; a second rhythm is a second [[routine]]")
	}
	if t.Has("from") && !t.Has("every") {
		t.KeyPlace("from").Error("`from` is only for `every`", "")
	}
	for _, way := range cadences {
		if t.Has(way.key) {
			c.Pattern = way.pattern
			way.read(t, &c)
		}
	}
	return c, len(keys) > 0
}

func parseCron(s string) (string, error) {
	if _, err := config.ParseCron(s); err != nil {
		return "", err
	}
	_, err := cadence.Of(husbandry.Cadence{Pattern: husbandry.Fixed, Cron: s})
	return s, err
}

func weekdays(t *tables.Table) []time.Weekday {
	var all []time.Weekday
	for _, item := range tables.ParsedList(t, "weekdays", config.ParseWeekday) {
		if slices.Contains(all, item.Value) {
			item.Place.Error(fmt.Sprintf("%v stands twice", item.Value), "")
		}
		all = append(all, item.Value)
	}
	if t.IsEmptyList("weekdays") {
		t.Place("weekdays").Error("`weekdays` names no day", "")
	}
	return all
}

func monthDays(t *tables.Table) []int {
	var all []int
	for _, item := range t.Ints("month_days", 1, 31) {
		if slices.Contains(all, item.Value) {
			item.Place.Error(fmt.Sprintf("the day %d stands twice", item.Value), "")
		}
		all = append(all, item.Value)
	}
	if t.IsEmptyList("month_days") {
		t.Place("month_days").Error("`month_days` names no day", "")
	}
	return all
}

func after(t *tables.Table) (event husbandry.Event, offset husbandry.Days) {
	event, _ = tables.Choice(t, "event", husbandry.EventLaid, husbandry.EventTubSet, husbandry.EventHatched,
		husbandry.EventPaired, husbandry.EventMated, husbandry.EventAcquired,
		husbandry.EventSeparated, husbandry.EventQuarantine, husbandry.EventExpiry)
	if !t.Has("event") {
		t.Missing("`event`", `say after what: after = { event = "laid", days = "3 days" }`)
	}
	offset, _ = days(t, "days", 0, longest)
	if !t.Has("days") {
		t.Missing("`days`", `say how long after: after = { event = "laid", days = "3 days" }`)
	}
	t.Done()
	return event, offset
}

func window(t *tables.Table) (name husbandry.WindowName, every husbandry.Days) {
	name, _ = tables.Choice(t, "name", husbandry.PairingWindow, husbandry.LayWindow, husbandry.HatchWindow, husbandry.GravidWindow, husbandry.YoungWindow)
	if !t.Has("name") {
		t.Missing("`name`", `say which: window = { name = "hatching", every = "1 day" }`)
	}
	every, given := days(t, "every", 1, 366)
	if !given {
		every = 1
	}
	t.Done()
	return name, every
}

func riding(t *tables.Table, c *husbandry.Cadence) {
	c.Host, _ = tables.Choice(t, "on", husbandry.Kinds()...)
	if !t.Has("on") {
		t.Missing("`on`", `say with which kind of task: riding = { on = "feed", nth = 2 }`)
	}
	var given bool
	if c.Nth, given = t.Int("nth", 1, 100); !given {
		c.Nth = 1
	}
	c.Lead, _ = days(t, "lead", 0, 60)
	c.MinGap, _ = days(t, "min_gap", 0, 366)
	t.Done()
}
