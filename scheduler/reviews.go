package scheduler

import (
	"fmt"
	"slices"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Thresholds of the reviews.
const (
	// slugShare is the share of infertile eggs of a clutch, and slugCount
	// their number, from which its mother's care is to be looked at (common
	// practice).
	slugShare = 0.30
	slugCount = 4
	// refusals is how many feedings refused in a row ask for a weighing
	// (common practice).
	refusals = 3
	// lossShare is the share of body mass whose loss asks for a closer look
	// (common practice), within lossDays and not through laying.
	lossShare = 0.10
	lossDays  = 90
	// reviewSlack is how many days a review may wait, and reviewMinutes what
	// it takes.
	reviewSlack   = 3
	reviewMinutes = 10
)

const (
	slugCaution = "Calcium, vitamin D3 or vitamin A given too often harms as well: keep to the products' doses, " +
		"and ask a reptile veterinarian before changing more than the lamp or the calcium."
	lossCaution = "A lizard that goes on losing weight, or is limp or sunken-eyed as well, belongs to a reptile veterinarian."
)

func (p *planner) reviews() {
	for _, c := range p.herd.Clutches {
		p.reviewSlugs(c)
		if s := p.subjects[c.ID]; s != nil && s.clutch == c && c.Expecting() {
			p.reviewHatch(s)
		}
	}
	for _, a := range p.herd.Animals {
		if !a.PresentOn(p.on) {
			continue
		}
		p.reviewWeight(a)
	}
	p.reviewYoung()
	p.reviewIll()
	for i := range p.rec.Enclosures {
		p.weighRefusing(p.rec.Enclosures[i].ID)
	}
}

// builtIn makes the activity of a routine of the planner's own; ok is false
// where a routine that is off says not to.
func (p *planner) builtIn(s *subject, id husbandry.ID, kind husbandry.Kind, do string) (*activity, bool) {
	for _, r := range p.off[s.scope] {
		if (r.Kind == kind && kind == husbandry.Review || r.ID == id) && r.matches(s, p.on) {
			return nil, false
		}
	}
	r := &routine{Routine: &husbandry.Routine{
		ID: id, Kind: kind, Title: do, Scope: s.scope, Part: husbandry.Morning, Minutes: reviewMinutes,
		After: reviewSlack, Missed: husbandry.Stays, Origin: husbandry.Common,
	}}
	return &activity{s: s, r: r}, true
}

// ask emits a task of the planner's own unless it was dealt with. It is not
// owed for what was found before the books begin.
func (p *planner) ask(a *activity, occurrences []string, found civil.Date, why, caution string) {
	p.askPinned(a, occurrences, found, why, caution, false)
}

// askPinned is ask, for a task that is neither put off nor skipped if pinned.
func (p *planner) askPinned(a *activity, occurrences []string, found civil.Date, why, caution string, pinned bool) {
	if found.Before(p.began) || found.After(p.on) {
		return
	}
	due := found
	for _, o := range occurrences {
		switch out := p.h.Outcome(tasks.NewKey(a.s.id, a.r.ID, o)); out.Mark {
		case tasks.MarkDone:
			return
		case tasks.Skip:
			if !pinned {
				return
			}
		case tasks.PutOff:
			if !pinned {
				due = civil.Max(due, out.Until)
			}
		}
	}
	t := p.task(a, a.key(occurrences[0]), due, why)
	t.Caution, t.Pinned = caution, pinned
	if pinned {
		t.Missed, t.Latest = husbandry.Alarms, due
		if due.Before(p.on) {
			t.Status = tasks.Overdue
		}
	}
	p.emit(a, t)
}

// reviewSlugs asks to look into the mother's care where many of her eggs were
// infertile.
func (p *planner) reviewSlugs(c *Clutch) {
	total := c.Eggs + c.Parted + c.Slugs
	if c.Slugs == 0 || float64(c.Slugs) <= slugShare*float64(total) && c.Slugs < slugCount || c.Laid.AddDays(lookBack).Before(p.on) {
		return
	}
	s := p.subjects[c.Mother]
	if s == nil {
		if s = p.subjects[c.Enclosure]; s == nil {
			return
		}
	} else if !s.animals[0].PresentOn(p.on) {
		return
	}
	a, ok := p.builtIn(s, ReviewSlugs, husbandry.Review, "Review calcium, vitamin D3 and UVB")
	if !ok {
		return
	}
	var occurrences []string
	for _, id := range c.ids() {
		occurrences = append(occurrences, string(id))
	}
	p.ask(a, occurrences, c.Laid, fmt.Sprintf("Of the %s of clutch %s (laid %s) %d were slugs. Thin, glassy or discoloured shells point the same way",
		count(total, "egg"), c.ID, p.laidWords(c), c.Slugs), slugCaution)
}

// reviewHatch asks once to look at a clutch past its window.
func (p *planner) reviewHatch(s *subject) {
	c := s.clutch
	f := p.hatching(c)
	if !f.Known {
		return
	}
	_, to, over := p.hatchSpan(c, f)
	if !over {
		return
	}
	a, ok := p.builtIn(s, ReviewHatch, husbandry.Review, "Review the overdue hatching")
	if !ok {
		return
	}
	p.ask(a, []string{"hatching"}, civil.Max(to.AddDays(1), p.began), p.hatchWords(c, f, p.on)+
		". Check the incubator's real temperature, and candle if you are used to it", pastHatching)
}

// thinner returns an animal's last weight and its best of the three months
// before, clutches laid since aside, and whether it has lost a tenth of it.
func (a *Animal) thinner() (last, best Weight, ok bool) {
	n := len(a.Weights)
	if n < 2 {
		return last, best, false
	}
	last, best = a.lost(a.Weights[n-1].On, lossDays)
	return last, best, float64(last.Grams) < (1-lossShare)*float64(best.Grams)
}

// reviewWeight asks to look at an animal that has lost a tenth of its weight.
func (p *planner) reviewWeight(a *Animal) {
	if w := a.Wintering(p.on); w != nil && w.Course.Cooled(p.on) {
		return // in the cold the winter's own limits count
	}
	last, best, ok := a.thinner()
	if !ok {
		return
	}
	s := p.subjects[a.ID]
	if s == nil {
		return
	}
	act, ok := p.builtIn(s, ReviewWeight, husbandry.Review, "Review the health")
	if !ok {
		return
	}
	u := p.rec.Units
	p.ask(act, []string{last.On.String()}, last.On, fmt.Sprintf("Weighed %s on %s, %s on %s: %s less",
		u.Mass(last.Grams), p.day(last.On), u.Mass(best.Grams), p.day(best.On), percent(1-float64(last.Grams/best.Grams))), lossCaution)
}

// weighRefusing asks to weigh the animals of an enclosure whose last three
// feedings were refused. Gravid females often refuse and are left in peace.
func (p *planner) weighRefusing(enclosure husbandry.ID) {
	found := p.herd.refused[enclosure]
	if len(found) < refusals {
		return
	}
	row := found[len(found)-refusals:]
	first, last := row[0].on, row[refusals-1].on
	if last.AddDays(lookBack).Before(p.on) {
		return
	}
	for _, id := range p.ofKind[hostKey{enclosure, husbandry.Feed}] {
		if p.h.LastDone(enclosure, id).After(last) {
			return // it ate since
		}
	}
	for _, day := range p.given(enclosure, husbandry.Feed, first) {
		if !slices.ContainsFunc(row, func(r refusal) bool { return r.on == day }) {
			return // it ate in between
		}
	}
	for _, animal := range p.herd.Residents(enclosure) {
		s := p.subjects[animal.ID]
		if s == nil || !animal.PresentOn(p.on) || !animal.GravidOn(p.on).IsZero() || animal.winteredSince(first, p.on) {
			continue
		}
		if n := len(animal.Weights); n > 0 && !animal.Weights[n-1].On.Before(last) {
			continue
		}
		a, ok := p.builtIn(s, WeighRefused, husbandry.Weigh, "Weigh")
		if !ok {
			continue
		}
		p.ask(a, []string{last.String()}, last, fmt.Sprintf("The last %d feedings of %s were refused: %s, %s and %s",
			refusals, enclosure, p.day(row[0].on), p.day(row[1].on), p.day(row[2].on)), lossCaution)
	}
}
