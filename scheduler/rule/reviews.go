package rule

import (
	"fmt"
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
	"slices"
)

const (
	// slugShare and slugCount are limits for the infertile eggs of a clutch. If
	// their share is above slugShare, or if there are slugCount or more, the
	// care of the mother is reviewed (common practice).
	slugShare = 0.30
	slugCount = 4
)

// Health asks to look closer after findings about eggs, weights and refused
// food.
func Health(d *plan.Day, propose plan.Propose) {
	for _, c := range d.Clutches {
		reviewSlugs(d, propose, c)
	}
	for _, a := range d.Animals {
		if a.PresentOn(d.On) {
			reviewWeight(d, propose, a)
		}
	}
	for i := range d.Records.Enclosures {
		weighRefusing(d, propose, d.Records.Enclosures[i].ID)
	}
}

// reviewSlugs asks to review the care of a mother with many infertile eggs.
func reviewSlugs(d *plan.Day, propose plan.Propose, c *herd.Clutch) {
	total := c.Eggs + c.Parted + c.Slugs
	if c.Slugs == 0 || float64(c.Slugs) <= slugShare*float64(total) && c.Slugs < slugCount || c.Laid.AddDays(herd.LookBack).Before(d.On) {
		return
	}
	s := d.Subject(c.Mother)
	if s == nil {
		if s = d.Subject(c.Enclosure); s == nil {
			return
		}
	} else if !s.Animals[0].PresentOn(d.On) {
		return
	}
	ask(d, propose, s, herd.ReviewSlugs, occurrencesOf(c), c.Laid, fmt.Sprintf("Of the %s of clutch %s (laid %s) %d were slugs. Thin, glassy or discoloured shells point the same way",
		english.Count(total, "egg"), c.ID, d.LaidWords(c), c.Slugs))
}

// reviewWeight asks for a check of an animal that has lost more than a tenth of
// its weight.
func reviewWeight(d *plan.Day, propose plan.Propose, a *herd.Animal) {
	if w := a.Wintering(d.On); w != nil && w.Course.Cooled(d.On) {
		return // during a winter only the limits of the winter count
	}
	last, best, ok := a.Thinner()
	if !ok {
		return
	}
	s := d.Subject(a.ID)
	if s == nil {
		return
	}
	u := d.Records.Units
	ask(d, propose, s, herd.ReviewWeight, []string{last.On.String()}, last.On, fmt.Sprintf("Weighed %s on %s, %s on %s: %s less",
		u.Mass(last.Grams), d.DateWords(last.On), u.Mass(best.Grams), d.DateWords(best.On), english.Percent(1-float64(last.Grams/best.Grams))))
}

// weighRefusing asks to weigh the animals of an enclosure whose last three
// feedings were refused. Gravid females often refuse and are left in peace.
func weighRefusing(d *plan.Day, propose plan.Propose, enclosure husbandry.ID) {
	found := d.Refused(enclosure)
	if len(found) < herd.Refusals {
		return
	}
	row := found[len(found)-herd.Refusals:]
	first, last := row[0].On, row[herd.Refusals-1].On
	if last.AddDays(herd.LookBack).Before(d.On) {
		return
	}
	for _, id := range d.Held(enclosure, husbandry.Feed) {
		if d.LastDone(enclosure, id).After(last) {
			return // the animals have eaten after the last refusal
		}
	}
	for _, day := range d.Given(enclosure, husbandry.Feed, first) {
		if !slices.ContainsFunc(row, func(r herd.Refusal) bool { return r.On == day }) {
			return // the animals have eaten between the refusals
		}
	}
	for _, animal := range d.Residents(enclosure) {
		s := d.Subject(animal.ID)
		if s == nil || !animal.PresentOn(d.On) || !animal.GravidOn(d.On).IsZero() || animal.WinteredSince(first, d.On) {
			continue
		}
		if n := len(animal.Weights); n > 0 && !animal.Weights[n-1].On.Before(last) {
			continue
		}
		ask(d, propose, s, herd.WeighRefused, []string{last.String()}, last, fmt.Sprintf("The last %d feedings of %s were refused: %s, %s and %s",
			herd.Refusals, enclosure, d.DateWords(row[0].On), d.DateWords(row[1].On), d.DateWords(row[2].On)))
	}
}

// lastWeighed returns the day on which the animal was last weighed at any task,
// or no date.
func lastWeighed(d *plan.Day, s *plan.Subject) civil.Date {
	if s.Scope != husbandry.OfAnimal {
		return civil.Date{}
	}
	return d.LastWeighed(s.Animals[0])
}
