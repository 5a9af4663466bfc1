package rule

import (
	"fmt"
	"strconv"

	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/season/kinship"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// kinAhead is the number of days before the female's season at which another
// male is asked for. The keeper has to find the male, and the male has to
// finish his quarantine (common practice).
const kinAhead = 90

// pairWatch proposes to pair a female while her pairing window is open.
func pairWatch(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	if a.Subject.Scope != husbandry.OfAnimal {
		return
	}
	pairing := d.PairingOf(a.Subject.Animals[0])
	w := pairing.Window
	if !w.Known {
		return
	}
	a = a.With(pairing.Mate)
	window := &tasks.Window{Name: husbandry.PairingWindow, From: w.From, To: w.To, Basis: w.Basis}
	propose(&plan.Series{Duty: a, Dates: steps(d, a, w.From, w.To), Window: window,
		Why: func(civil.Date) string { return d.WindowWords(husbandry.PairingWindow, w) }})
}

// Pairing proposes two tasks: to separate pairs, and to find another male for a
// female if every male of her species is close kin.
func Pairing(d *plan.Day, propose plan.Propose) {
	asked := make(map[*plan.Subject]bool)
	for _, a := range d.Duties() {
		if s := a.Subject; a.Routine.Cadence.Window == husbandry.PairingWindow && s.Scope == husbandry.OfAnimal && !asked[s] && !idle(d, s, a.Routine) {
			asked[s] = true
			reviewKin(d, propose, s)
		}
	}
	for _, a := range d.Animals {
		if a.Sex != husbandry.Female || !a.PresentOn(d.On) {
			continue
		}
		if s := d.Subject(a.ID); s != nil {
			separatePair(d, propose, s, a)
		}
	}
}

// separatePair asks to separate a pair that is together by a record or a mark.
// It asks nothing if the male lives in the female's enclosure anyway.
func separatePair(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal) {
	since := a.Together.From
	if since.IsZero() || !a.Together.Until.IsZero() || since.AddDays(herd.LookBack).Before(d.On) || d.LivesWithMale(a) {
		return
	}
	stay, why := herd.PairTogether, english.Days(herd.PairTogether)+" are enough"
	if male, days := d.MateOf(a); male != nil && days > 0 && days < stay {
		stay = days
		why = fmt.Sprintf("others wait for %s, so %s must do", herd.NameWords(male), english.Days(stay))
	}
	ask(d, propose, s, herd.PartPair, []string{since.String()}, since.AddDays(stay), "Together since "+d.DateWords(since)+"; "+why)
}

// reviewKin asks, once a season, for another male for a female if every male is
// too closely related to her.
func reviewKin(d *plan.Day, propose plan.Propose, s *plan.Subject) {
	refused := d.PairingOf(s.Animals[0]).Refused
	if refused == nil {
		return
	}
	var males []string
	for i, x := range refused.Males {
		if i == herd.NamedMales {
			males = append(males, strconv.Itoa(len(refused.Males)-i)+" more")
			break
		}
		young := d.Pedigree().Young(s.ID, x.Male.ID)
		males = append(males, herd.NameWords(x.Male)+" "+young.Coefficient()+" ("+young.Reason()+")")
	}
	w := refused.Window
	ask(d, propose, s, herd.ReviewKin, []string{w.Event}, civil.Max(w.From.AddDays(-kinAhead), d.Began), fmt.Sprintf("Not paired in her season (%s): with every male the inbreeding of the young would be above %s: %s",
		english.Span(w.From, w.To, d.On), kinship.Coefficient(d.BreedingRules().KinshipLimit), english.List(males)))
}
