package scheduler

import (
	"fmt"
	"strings"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Rules of laying, all common practice but where a source stands beside them.
const (
	// A nest box is to be ready so many days before eggs are expected: females
	// search and dig before they lay.
	boxReadyBefore = 7
	// A pair put together is parted after so many days.
	pairTogether = 7
	// partedAfter is after how many days a pair that nobody said was parted is
	// taken to be.
	partedAfter = 60
	// Digging seen on days so far apart without eggs is a sign of dystocia.
	digsFor = 2
	// What was seen of her digging no longer counts after so many days.
	digsUntil = 14
	// fewEggs is the share of her usual number below which a clutch may be only
	// part of one.
	fewEggs = 0.5
	// leftInside is how many days after laying a sighting of eggs in her, or a
	// count, speaks of that clutch.
	leftInside = 7
)

const (
	nestCaution = "Without a place that suits her she holds her eggs, and that kills: damp substrate deep enough for a tunnel, warmth and cover. " +
		"Gravid females that strain, dig for two days or weaken go to the veterinarian."
	inTheOpen      = "Eggs in the open dry within hours: set them first of all."
	outsideCaution = "Eggs laid in the open dry within hours. Of 74 collared lizard eggs laid in a moist chamber 46 hatched, of 29 laid outside none " +
		"(Santoyo-Brito and others 2012, Herpetological Review 43:430-432). Without a place that suits her she may hold the next ones."
	partCaution = "Rest her from males, feed her up and weigh her; a thin female goes to the veterinarian."
	bitten      = "At once when either is bitten, flees or does not eat."
)

// layingReviews asks for what laying calls for beyond the watch: a place to
// lay, eggs that did not come, that came in part, that nobody knows the mother
// of, and a female that has laid enough.
func (p *planner) layingReviews() {
	for _, a := range p.herd.Animals {
		if a.Sex != husbandry.Female || !a.PresentOn(p.on) {
			continue
		}
		s := p.subjects[a.ID]
		if s == nil {
			continue
		}
		p.partialClutch(s, a)
		p.digs(s, a)
		p.partPair(s, a)
		if !p.watchable(a) {
			continue
		}
		w := p.laying(a)
		p.nestBox(s, a, w)
		p.noEggs(s, a, w)
		p.laidEnough(s, a)
	}
	for _, c := range p.herd.Clutches {
		if c.Laid.AddDays(lookBack).Before(p.on) || c.PartOf != "" {
			continue
		}
		p.outsideTheBox(c)
		p.whose(c)
	}
}

// nestBox asks for a nest box where eggs are expected soon and the enclosure's
// record has none.
func (p *planner) nestBox(s *subject, a *Animal, w season.Window) {
	e := p.herd.enclosures[a.Enclosure]
	if e == nil || e.NestBox != nil || !w.Known || p.on.After(w.To) {
		return
	}
	act, ok := p.builtIn(s, SetNestBox, husbandry.Review, "Put a damp nest box in")
	if !ok {
		return
	}
	from := civil.Max(w.From.AddDays(-boxReadyBefore), p.began)
	p.ask(act, []string{w.Event}, from, p.layWords(w, p.on)+fmt.Sprintf(". By the records %s has no nest box", e.ID), nestCaution)
}

// noEggs asks to look where a window has passed and nobody has seen eggs in
// her; one seen with eggs has her watch go on as an alarm.
func (p *planner) noEggs(s *subject, a *Animal, w season.Window) {
	if !w.Known || w.Seen || !p.on.After(w.To) || w.To.AddDays(lookBack).Before(p.on) {
		return
	}
	act, ok := p.builtIn(s, LookForEggs, husbandry.GravidCheck, "Look for hidden eggs, and feel for eggs in her")
	if !ok {
		return
	}
	p.ask(act, []string{w.Event}, w.To.AddDays(1), fmt.Sprintf("Eggs were expected %s and nobody found any: %s", spanWords(w.From, w.To, p.on), w.Basis), dystocia)
}

// laidEnough asks to rest a female that has laid the season's number.
func (p *planner) laidEnough(s *subject, a *Animal) {
	limit := p.herd.Species(a.Species).Laying.Clutches
	laid := a.layings(p.on)
	if limit == 0 || len(laid) == 0 {
		return
	}
	this := season.ThisSeason(season.Female{Sheet: *p.herd.Species(a.Species), Clutches: laid})
	if len(this) < limit {
		return
	}
	act, ok := p.builtIn(s, RestFemale, husbandry.Review, "Rest the female")
	if !ok {
		return
	}
	nth := this[limit-1]
	why := fmt.Sprintf("Her clutch of %s was the %s since %s, and the season's limit is %d", p.day(nth.On), ordinal(limit), p.day(this[0].On), limit)
	if p.livesWithMale(a) {
		why += "; a grown male lives with her and is better moved"
	}
	p.ask(act, []string{string(nth.Clutch)}, nth.On, why, partCaution)
}

// partialClutch asks to feel for eggs left in a female that laid fewer than
// she or her kind does, or was seen with eggs after laying.
func (p *planner) partialClutch(s *subject, a *Animal) {
	if len(a.Laid) == 0 {
		return
	}
	c := a.Laid[len(a.Laid)-1]
	if c.Laid.After(p.on) || c.Laid.AddDays(lookBack).Before(p.on) {
		return
	}
	why := ""
	for _, look := range a.sightings {
		if after := look.on.Sub(c.Laid); look.gravid && after > 0 && after <= leftInside && !look.on.After(p.on) {
			why = fmt.Sprintf("Eggs were seen in her on %s, after her clutch of %s", p.day(look.on), p.day(c.Laid))
		}
	}
	if total := c.Eggs + c.Slugs + c.Parted; why == "" && c.Counted && total > 0 {
		usual, n := 0.0, 0
		for _, before := range a.Laid[:len(a.Laid)-1] {
			if all := before.Eggs + before.Slugs + before.Parted; before.Counted && all > 0 {
				usual, n = usual+float64(all), n+1
			}
		}
		least := int(p.herd.Species(a.Species).Laying.Eggs.From)
		switch {
		case n >= 2 && float64(total) <= fewEggs*usual/float64(n):
			why = fmt.Sprintf("Her clutch of %s has %s; her last %d had %.1f on average", p.day(c.Laid), count(total, "egg"), n, usual/float64(n))
		case n < 2 && total < least:
			why = fmt.Sprintf("Her clutch of %s has %s; her kind lays %d or more", p.day(c.Laid), count(total, "egg"), least)
		}
	}
	if why == "" {
		return
	}
	act, ok := p.builtIn(s, FeelForEggs, husbandry.GravidCheck, "Feel for eggs left in her")
	if !ok {
		return
	}
	var occurrences []string
	for _, id := range c.ids() {
		occurrences = append(occurrences, string(id))
	}
	p.askPinned(act, occurrences, c.Laid.AddDays(1), why+". Part of a clutch and nothing more for a day is a sign of egg binding", dystocia, true)
}

// digs asks for the veterinarian where she was seen digging on days apart and
// has not laid.
func (p *planner) digs(s *subject, a *Animal) {
	last := civil.Date{}
	if n := len(a.Laid); n > 0 {
		last = a.Laid[n-1].Laid
	}
	var first, latest civil.Date
	for _, day := range a.Dug {
		if day.After(last) && day.AddDays(digsUntil).After(p.on) && !day.After(p.on) {
			if first.IsZero() {
				first = day
			}
			latest = day
		}
	}
	if first.IsZero() || latest.Sub(first) < digsFor {
		return
	}
	act, ok := p.builtIn(s, VetDigging, husbandry.GravidCheck, "Have her seen by a reptile veterinarian today")
	if !ok {
		return
	}
	why := fmt.Sprintf("She was seen digging on %s and still on %s, and has not laid", p.day(first), p.day(latest))
	if !last.IsZero() && first.Sub(last) <= lookBack {
		why += " since her clutch of " + p.day(last)
	}
	p.askPinned(act, []string{first.String()}, first.AddDays(digsFor), why, dystocia, true)
}

// partPair asks to part a pair that was put together, by its record or by
// marking the task, where the male does not live with her anyway.
func (p *planner) partPair(s *subject, a *Animal) {
	since := a.Together.From
	if since.IsZero() || !a.Together.Until.IsZero() || since.AddDays(lookBack).Before(p.on) || p.livesWithMale(a) {
		return
	}
	act, ok := p.builtIn(s, PartPair, husbandry.Pair, "Part the pair")
	if !ok {
		return
	}
	stay, why := pairTogether, days(pairTogether)+" are enough"
	season := p.seasonOf(a.Species)
	if male := p.herd.Animal(p.mateOf(season, a)); male != nil && season.stay[male.ID] > 0 && season.stay[male.ID] < stay {
		stay = season.stay[male.ID]
		why = fmt.Sprintf("others wait for %s, so %s must do", nameWords(male), days(stay))
	}
	p.ask(act, []string{since.String()}, since.AddDays(stay), "Together since "+p.day(since)+"; "+why, bitten)
}

// outsideTheBox asks to look at a nest box beside which eggs were laid: that of
// where they lay, so that it is asked once, whoever turns out to be the mother.
func (p *planner) outsideTheBox(c *Clutch) {
	if !c.Outside {
		return
	}
	s := p.subjects[c.Enclosure]
	if s == nil {
		if s = p.subjects[c.Mother]; s == nil || !s.animals[0].PresentOn(p.on) {
			return
		}
	}
	act, ok := p.builtIn(s, ReviewNestSite, husbandry.Review, "Review the nest box: damp, depth, warmth, cover")
	if !ok {
		return
	}
	p.ask(act, clutchOccurrences(c), c.Laid, fmt.Sprintf("Clutch %s (laid %s) lay outside the nest box", c.ID, p.laidWords(c)), outsideCaution)
}

// whose asks who laid a clutch that was found where several females live.
func (p *planner) whose(c *Clutch) {
	s := p.subjects[c.Enclosure]
	if c.Mother != "" || c.Enclosure == "" || s == nil {
		return
	}
	var names []string
	for _, a := range p.herd.Residents(c.Enclosure) {
		if a.Sex != husbandry.Female || !a.PresentOn(c.Laid) || a.Count > 1 || a.StageOn(c.Laid) != husbandry.Adult {
			continue
		}
		name := string(a.ID)
		if a.Name != "" {
			name = a.Name + " (" + name + ")"
		}
		if since := a.GravidOn(c.Laid.AddDays(-1)); !since.IsZero() {
			name += ", seen gravid on " + p.day(since)
		} else if w := p.laying(a); w.Known && !c.Laid.Before(w.From) && !c.Laid.After(w.To) {
			name += ", whose eggs were expected " + spanWords(w.From, w.To, p.on)
		}
		names = append(names, name)
	}
	if len(names) == 0 {
		return
	}
	act, ok := p.builtIn(s, WhoseEggs, husbandry.Review, "Find out whose eggs were found")
	if !ok {
		return
	}
	p.ask(act, clutchOccurrences(c), c.Laid, fmt.Sprintf("Clutch %s (laid %s) may be of %s: the one whose belly has sunk. Say who its mother is, and her watch is over",
		c.ID, p.laidWords(c), strings.Join(names, "; or of ")), "Until that is known every one of them stays watched.")
}

func clutchOccurrences(c *Clutch) []string {
	var list []string
	for _, id := range c.ids() {
		list = append(list, string(id))
	}
	return list
}

// tooThin says why a female is too thin to be paired, "" if she is not.
func (p *planner) tooThin(a *Animal) string {
	last, best, ok := a.thinner()
	if !ok {
		return ""
	}
	u := p.rec.Units
	return fmt.Sprintf("she is thin: %s on %s, %s on %s", u.Mass(last.Grams), p.day(last.On), u.Mass(best.Grams), p.day(best.On))
}
