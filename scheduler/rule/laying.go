package rule

import (
	"fmt"
	"strings"

	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/season"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Thresholds of laying. All are common practice.
const (
	// boxReadyBefore is the number of days before the expected eggs on which a
	// nest box must be ready: females search and dig before they lay.
	boxReadyBefore = 7
	// digsFor is a number of days between two sightings of digging. Digging for
	// so long without eggs is a sign of dystocia.
	digsFor = 2
	// digsUntil is the number of days after which a sighting of digging no
	// longer counts.
	digsUntil = 14
	// fewEggs is a share of the female's usual number of eggs. If she lays
	// fewer, the eggs may be only part of a clutch.
	fewEggs = 0.5
	// leftInside is the number of days after laying during which eggs seen in
	// the female may belong to the laid clutch.
	leftInside = 7
)

// layWatch proposes the checks of a female that is expected to lay. If eggs
// were seen in her, the checks continue as an alarm after the window.
func layWatch(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	if a.Subject.Scope != husbandry.OfAnimal {
		return
	}
	female := a.Subject.Animals[0]
	w := d.Laying(female)
	if !w.Known {
		return
	}
	window := &tasks.Window{Name: husbandry.LayWindow, From: w.From, To: w.To, Basis: w.Basis}
	window.P05, window.P25, window.P50, window.P75, window.P95 = w.Quantile(.05), w.Quantile(.25), w.Quantile(.5), w.Quantile(.75), w.Quantile(.95)
	if !window.P50.IsZero() && !d.On.After(w.To) {
		window.Today = w.Chance(d.On, d.On)
		for i := range 8 {
			window.By = append(window.By, w.Chance(d.On, d.On.AddDays(i)))
		}
	}
	propose(&plan.Series{Duty: a, Dates: steps(d, a, w.From, w.To), Window: window, Why: func(day civil.Date) string { return d.LayWords(w, day) }})
	if w.Seen && d.On.After(w.To) && a.Routine.Missed == husbandry.Alarms {
		pastWindow(d, propose, a, window, fmt.Sprintf("Eggs seen in her since %s and not laid: %s past the window of %s (%s)",
			d.DateWords(female.GravidOn(d.On)), english.Days(d.On.Sub(w.To)), english.Span(w.From, w.To, d.On), w.Basis), d.Records.CautionFor(herd.LookForEggs), true)
	}
}

// gravidWatch proposes the checks for eggs in a female between pairing and
// laying.
func gravidWatch(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	if a.Subject.Scope != husbandry.OfAnimal {
		return
	}
	if w := d.GravidTime(a.Subject.Animals[0]); w.Known {
		window := &tasks.Window{Name: husbandry.GravidWindow, From: w.From, To: w.To, Basis: w.Basis}
		propose(&plan.Series{Duty: a, Dates: steps(d, a, w.From, w.To), Window: window,
			Why: func(civil.Date) string { return d.WindowWords(husbandry.GravidWindow, w) }})
	}
}

// Laying asks for all tasks around laying except the watch: a nest box, a
// search for missing eggs, a check for eggs left in the female, the mother of
// found eggs, and rest for a female that has laid enough.
func Laying(d *plan.Day, propose plan.Propose) {
	for _, a := range d.Animals {
		if a.Sex != husbandry.Female || !a.PresentOn(d.On) {
			continue
		}
		s := d.Subject(a.ID)
		if s == nil {
			continue
		}
		partialClutch(d, propose, s, a)
		digs(d, propose, s, a)
		if !d.Watchable(a) {
			continue
		}
		w := d.Laying(a)
		nestBox(d, propose, s, a, w)
		noEggs(d, propose, s, a, w)
		laidEnough(d, propose, s, a)
	}
	for _, c := range d.Clutches {
		if c.Laid.AddDays(herd.LookBack).Before(d.On) || c.PartOf != "" {
			continue
		}
		outsideTheBox(d, propose, c)
		whose(d, propose, c)
	}
}

// nestBox asks for a nest box if eggs are expected soon and the record of the
// enclosure has no box.
func nestBox(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal, w season.Window) {
	e := d.Enclosure(a.Enclosure)
	if e == nil || e.NestBox != nil || !w.Known || d.On.After(w.To) {
		return
	}
	from := civil.Max(w.From.AddDays(-boxReadyBefore), d.Began)
	ask(d, propose, s, herd.SetNestBox, []string{w.Event}, from, d.LayWords(w, d.On)+fmt.Sprintf(". By the records %s has no nest box", e.ID))
}

// noEggs asks to look for eggs after a window that passed without eggs. If eggs
// were seen in the female, layWatch continues as an alarm instead.
func noEggs(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal, w season.Window) {
	if !w.Known || w.Seen || !d.On.After(w.To) || w.To.AddDays(herd.LookBack).Before(d.On) {
		return
	}
	ask(d, propose, s, herd.LookForEggs, []string{w.Event}, w.To.AddDays(1), fmt.Sprintf("Eggs were expected %s and nobody found any: %s", english.Span(w.From, w.To, d.On), w.Basis))
}

// laidEnough asks to rest a female that has laid the season's limit of
// clutches.
func laidEnough(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal) {
	limit := d.Species(a.Species).Laying.Clutches
	laid := a.Layings(d.On)
	if limit == 0 || len(laid) == 0 {
		return
	}
	this := season.ThisSeason(season.Female{Sheet: *d.Species(a.Species), Clutches: laid})
	if len(this) < limit {
		return
	}
	nth := this[limit-1]
	why := fmt.Sprintf("Her clutch of %s was the %s since %s, and the season's limit is %d", d.DateWords(nth.On), english.Ordinal(limit), d.DateWords(this[0].On), limit)
	if d.LivesWithMale(a) {
		why += "; a grown male lives with her and is better moved"
	}
	ask(d, propose, s, herd.RestFemale, []string{string(nth.Clutch)}, nth.On, why)
}

// partialClutch asks to feel for eggs left in a female that laid fewer eggs
// than usual, or in which eggs were seen after laying.
func partialClutch(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal) {
	if len(a.Laid) == 0 {
		return
	}
	c := a.Laid[len(a.Laid)-1]
	if c.Laid.After(d.On) || c.Laid.AddDays(herd.LookBack).Before(d.On) {
		return
	}
	why := ""
	for _, look := range a.Sightings {
		if after := look.On.Sub(c.Laid); look.Gravid && after > 0 && after <= leftInside && !look.On.After(d.On) {
			why = fmt.Sprintf("Eggs were seen in her on %s, after her clutch of %s", d.DateWords(look.On), d.DateWords(c.Laid))
		}
	}
	if why == "" && c.Counted {
		why = fewer(d, a, c)
	}
	if why == "" {
		return
	}
	ask(d, propose, s, herd.FeelForEggs, occurrencesOf(c), c.Laid.AddDays(1), why+". Part of a clutch and nothing more for a day is a sign of egg binding")
}

// fewer says that the female's last clutch c has fewer eggs than her earlier
// clutches, or than clutches of her species; "" if it has not.
func fewer(d *plan.Day, a *herd.Animal, c *herd.Clutch) string {
	all := func(c *herd.Clutch) int { return c.Eggs + c.Slugs + c.Parted }
	total := all(c)
	if total <= 0 {
		return ""
	}
	usual, n := 0.0, 0
	for _, before := range a.Laid[:len(a.Laid)-1] {
		if eggs := all(before); before.Counted && eggs > 0 {
			usual, n = usual+float64(eggs), n+1
		}
	}
	least := int(d.Species(a.Species).Laying.Eggs.From)
	switch {
	case n >= 2 && float64(total) <= fewEggs*usual/float64(n):
		return fmt.Sprintf("Her clutch of %s has %s; her last %d had %.1f on average", d.DateWords(c.Laid), english.Count(total, "egg"), n, usual/float64(n))
	case n < 2 && total < least:
		return fmt.Sprintf("Her clutch of %s has %s; her kind lays %d or more", d.DateWords(c.Laid), english.Count(total, "egg"), least)
	}
	return ""
}

// digs asks for the veterinarian if a female was seen digging on days digsFor
// or more apart and has not laid.
func digs(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal) {
	last := civil.Date{}
	if n := len(a.Laid); n > 0 {
		last = a.Laid[n-1].Laid
	}
	var first, latest civil.Date
	for _, day := range a.Dug {
		if day.After(last) && day.AddDays(digsUntil).After(d.On) && !day.After(d.On) {
			if first.IsZero() {
				first = day
			}
			latest = day
		}
	}
	if first.IsZero() || latest.Sub(first) < digsFor {
		return
	}
	why := fmt.Sprintf("She was seen digging on %s and still on %s, and has not laid", d.DateWords(first), d.DateWords(latest))
	if !last.IsZero() && first.Sub(last) <= herd.LookBack {
		why += " since her clutch of " + d.DateWords(last)
	}
	ask(d, propose, s, herd.VetDigging, []string{first.String()}, first.AddDays(digsFor), why)
}

// outsideTheBox asks to check the nest box of an enclosure if eggs were laid
// outside the box. The task is about the enclosure, so it is asked only once if
// several females may be the mother.
func outsideTheBox(d *plan.Day, propose plan.Propose, c *herd.Clutch) {
	if !c.Outside {
		return
	}
	s := d.Subject(c.Enclosure)
	if s == nil {
		if s = d.Subject(c.Mother); s == nil || !s.Animals[0].PresentOn(d.On) {
			return
		}
	}
	ask(d, propose, s, herd.ReviewNestSite, occurrencesOf(c), c.Laid, fmt.Sprintf("Clutch %s (laid %s) lay outside the nest box", c.ID, d.LaidWords(c)))
}

// whose asks for the mother of a clutch that was found in an enclosure with
// several females.
func whose(d *plan.Day, propose plan.Propose, c *herd.Clutch) {
	s := d.Subject(c.Enclosure)
	if c.Mother != "" || c.Enclosure == "" || s == nil {
		return
	}
	var names []string
	for _, a := range d.Residents(c.Enclosure) {
		if a.Sex != husbandry.Female || !a.PresentOn(c.Laid) || a.Count > 1 || a.StageOn(c.Laid) != husbandry.Adult {
			continue
		}
		name := string(a.ID)
		if a.Name != "" {
			name = a.Name + " (" + name + ")"
		}
		if since := a.GravidOn(c.Laid.AddDays(-1)); !since.IsZero() {
			name += ", seen gravid on " + d.DateWords(since)
		} else if w := d.Laying(a); w.Known && !c.Laid.Before(w.From) && !c.Laid.After(w.To) {
			name += ", whose eggs were expected " + english.Span(w.From, w.To, d.On)
		}
		names = append(names, name)
	}
	if len(names) == 0 {
		return
	}
	ask(d, propose, s, herd.WhoseEggs, occurrencesOf(c), c.Laid, fmt.Sprintf("Clutch %s (laid %s) may be of %s: the one whose belly has sunk. Say who its mother is, and her watch is over",
		c.ID, d.LaidWords(c), strings.Join(names, "; or of ")))
}
