package books

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestround/config"
	"nestround/config/diag"
	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

// usualSafety is the default number of days for which stock must last beyond
// the next delivery (common practice: a late delivery comes one or two days
// later).
const usualSafety husbandry.Days = 2

func (r *reader) feeder(t *tables.Table) {
	v := husbandry.Feeder{ID: r.id(t, "feeder"), Name: t.Text("name"), Safety: usualSafety}
	if v.Name == "" {
		v.Name = strings.ReplaceAll(string(v.ID), "-", " ")
	}
	var given bool
	if v.Pack, given = tables.Parsed(t, "pack", husbandry.ParsePack); !t.Has("pack") {
		t.Missing("`pack`", `say what it is bought in: pack = "box of 50"`)
	} else if !given {
		v.Pack = husbandry.Pack{Name: "pack", Of: 1}
	}
	v.Deliveries = deliveries(t)
	v.Lead, _ = days(t, "lead", 0, 60)
	if v.ShelfLife, _ = days(t, "shelf_life", 1, 366); !t.Has("shelf_life") {
		t.Missing("`shelf_life`", `say for how long after a delivery it lives: shelf_life = "2 weeks"`)
	}
	if d, ok := days(t, "safety", 0, 60); ok {
		v.Safety = d
	}
	v.Stock, _ = t.Int("stock", 0, 1_000_000)
	v.StockOn = t.Date("stock_on")
	switch {
	case t.Has("stock") && !t.Has("stock_on"):
		t.Missing("`stock_on`", "say on which day they were counted")
	case t.Has("stock_on") && !t.Has("stock"):
		t.Missing("`stock`", "say how many were counted on that day")
	}
	if g, ok := tables.Parsed(t, "each", husbandry.ParseMass); ok {
		if v.Each = g; g <= 0 {
			t.Place("each").Error("`each` is the mass of one, and cannot be nothing", `weigh twenty and divide: each = "0.4 g"`)
		}
	}
	t.Done()
	r.feeders = append(r.feeders, placed[husbandry.Feeder]{v, t})
}

// deliveries reads the weekdays on which a feeder can arrive.
func deliveries(t *tables.Table) (all []time.Weekday) {
	for _, item := range tables.ParsedList(t, "deliveries", config.ParseWeekday) {
		if slices.Contains(all, item.Value) {
			item.Place.Error(fmt.Sprintf("%v stands twice", item.Value), "")
		}
		all = append(all, item.Value)
	}
	switch {
	case !t.Has("deliveries"):
		t.Missing("`deliveries`", `say on which weekdays it can arrive: deliveries = ["fri"]`)
	case t.IsEmptyList("deliveries"):
		t.Place("deliveries").Error("`deliveries` names no day", "")
	}
	return all
}

// amounts reads the food of a feeding: "6-8 crickets", or { usual = ..., gravid
// = ..., winter = ... }.
func amounts(t *tables.Table, consumes []string) (a husbandry.Amounts) {
	of := func(a husbandry.Amount) string {
		if a.Of == "" && len(consumes) > 0 {
			return consumes[0]
		}
		return a.Of
	}
	read := func(t *tables.Table, key string) husbandry.Amount {
		a, ok := tables.Parsed(t, key, husbandry.ParseAmount)
		if ok && a.Of != "" && !slices.ContainsFunc(consumes, func(s string) bool { return strings.EqualFold(s, a.Of) }) {
			hint := diag.DidYouMean(a.Of, consumes)
			if hint == "" {
				hint = fmt.Sprintf("name it there: consumes = [%q]", a.Of)
			}
			t.Place(key).Error(fmt.Sprintf("the routine does not consume `%s`", a.Of), hint)
		}
		return a
	}
	again := func(t *tables.Table, key string) husbandry.Amount {
		b := read(t, key)
		if !b.IsZero() && !a.Usual.IsZero() && !strings.EqualFold(of(a.Usual), of(b)) {
			t.Place(key).Error(fmt.Sprintf("the amount is of `%s`, and the usual one of `%s`", of(b), of(a.Usual)), "other food is a [[routine]] of its own")
		}
		return b
	}
	if t.IsText("amount") || t.IsNumber("amount") {
		a.Usual = read(t, "amount")
		return a
	}
	in := t.Table("amount")
	if in == nil {
		return a
	}
	if a.Usual = read(in, "usual"); !in.Has("usual") {
		in.Missing("`usual`", `say what holds otherwise: amount = { usual = "6-8 crickets", gravid = "8-10 crickets" }`)
	}
	a.Gravid = again(in, "gravid")
	a.Spring, a.Summer, a.Autumn, a.Winter = again(in, "spring"), again(in, "summer"), again(in, "autumn"), again(in, "winter")
	in.Done()
	return a
}

// checkFeeders reports feeders with the same name, and feeders that no routine
// consumes.
func (r *reader) checkFeeders() {
	consumed := r.consumed()
	for i := range r.feeders {
		f, at := &r.feeders[i].value, r.feeders[i].at
		for j := range i {
			if other := &r.feeders[j]; f.Is(other.value.Name) || other.value.Is(f.Name) {
				at.Here().Error(fmt.Sprintf("the feeder `%s` at %v has this name too", other.value.ID, other.at.Here()), "give each a `name` of its own")
			}
		}
		used, amount := r.uses(f)
		switch {
		case at.Broken() || r.lost:
		case !used:
			hint := diag.DidYouMean(f.Name, consumed)
			if hint == "" {
				hint = "its `name` is to be that in the `consumes` of a feeding"
			}
			at.Here().Warn(fmt.Sprintf("no routine consumes `%s`, so none will be ordered", f.Name), hint)
		case !amount:
			at.Here().Warn(fmt.Sprintf("no routine says how many `%s` it takes, so none will be ordered", f.Name), fmt.Sprintf("give the feedings an amount: amount = %q", "6-8 "+f.Name))
		}
	}
}

// consumed returns the names of everything that routines consume, sorted.
func (r *reader) consumed() (names []string) {
	for _, p := range slices.Concat(r.routines[:]...) {
		names = append(names, p.value.Consumes...)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// uses reports whether any routine consumes the feeder f, and whether any
// routine gives the number of f to feed.
func (r *reader) uses(f *husbandry.Feeder) (used, amount bool) {
	for _, p := range slices.Concat(r.routines[:]...) {
		of := p.value.Amounts.Usual.Of
		for i, c := range p.value.Consumes {
			if !f.Is(c) {
				continue
			}
			used = true
			amount = amount || !p.value.Amounts.IsZero() && (of == "" && i == 0 || f.Is(of))
		}
	}
	return used, amount
}
