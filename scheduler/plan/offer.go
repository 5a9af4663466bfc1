package plan

import (
	"nestround/scheduler/herd"
	"nestround/scheduler/ration"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
	"slices"
)

// FeederOf returns the feeder that a routine uses up by its amount, or nil.
func (d *Day) FeederOf(r *Routine) *husbandry.Feeder {
	if len(d.Records.Feeders) == 0 || r.Amounts.IsZero() || len(r.Consumes) == 0 {
		return nil
	}
	of := r.Amounts.Usual.Of
	if of == "" {
		of = r.Consumes[0]
	}
	i := slices.IndexFunc(d.Records.Feeders, func(f husbandry.Feeder) bool { return f.Is(of) })
	if i < 0 {
		return nil
	}
	return &d.Records.Feeders[i]
}

// Offer is the food that a routine offers the animals of an enclosure on a day.
type Offer struct {
	each []ration.Offer // the different offers, each to one animal
	n    int            // number of animals with this offer
	Use  ration.Use
}

func (d *Day) OfferOf(s *Subject, r *Routine, day civil.Date, refused int) Offer {
	var o Offer
	each := husbandry.Grams(0)
	if f := d.FeederOf(r); f != nil {
		each = f.Each
	}
	variance := 0.0
	for _, a := range s.Animals {
		if !a.PresentOn(day) || !r.sel.animal(a, day) {
			continue
		}
		e := ration.Eater{On: day, Southern: d.Latitude < 0, Refused: refused, Fed: a.In(husbandry.Gravid, day) || a.In(husbandry.PostLaying, day)}
		for _, w := range a.Weights {
			if !w.On.After(day) {
				e.Mass = w.Grams
			}
		}
		one := ration.For(r.Amounts, e, each)
		if one.Amount.IsZero() {
			continue
		}
		if !slices.Contains(o.each, one) {
			o.each = append(o.each, one)
		}
		o.n += a.Count
		u := one.Use(a.Count)
		o.Use.Mean += u.Mean
		variance += u.Second - u.Square
	}
	o.Use.Square = o.Use.Mean * o.Use.Mean
	o.Use.Second = o.Use.Square + variance
	return o
}

// refusedInRow returns how many of the latest feedings of an enclosure were
// refused in a row.
func (d *Day) refusedInRow(enclosure husbandry.ID, kind husbandry.Kind) int {
	found := d.Refused(enclosure)
	if len(found) == 0 {
		return 0
	}
	n := 0
	fed := d.Given(enclosure, kind, found[0].On)
	for i := len(fed) - 1; i >= 0; i-- {
		if !slices.ContainsFunc(found, func(r herd.Refusal) bool { return r.On == fed[i] }) {
			break
		}
		n++
	}
	return n
}

// offerWords writes the amount of a feeding: "6-8 crickets each".
func (d *settling) offerWords(s *Subject, r *Routine, day civil.Date) string {
	if s.Scope != husbandry.OfEnclosure {
		return r.Amounts.Usual.String()
	}
	refused := 0
	if !day.After(d.On) { // for later days the number of refusals is not known yet
		refused = d.refusedInRow(s.ID, r.Kind)
	}
	o := d.OfferOf(s, r, day, refused)
	var words []string
	less := false
	for _, one := range o.each {
		words = append(words, one.Amount.String())
		less = less || one.Less
	}
	switch {
	case len(words) == 0:
		return ""
	case len(words) > 1:
		words = []string{words[0] + " or " + words[1] + " each"}
	case o.n > 1:
		words[0] += " each"
	}
	if less {
		words[0] += ", less after a refusal"
	}
	return words[0]
}
