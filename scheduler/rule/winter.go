package rule

import (
	"fmt"
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/scheduler/season/cooling"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
	"strconv"
	"strings"
)

// Winters proposes the tasks of winters.
func Winters(d *plan.Day, propose plan.Propose) {
	if !d.AnyWinter {
		return
	}
	type group struct {
		at   husbandry.ID
		name string
	}
	done := make(map[group]bool)
	first := func(at husbandry.ID, what, name string) bool {
		g := group{at, what + name}
		was := done[g]
		done[g] = true
		return !was
	}
	for _, a := range d.Animals {
		s := d.Subject(a.ID)
		if s == nil || !a.PresentOn(d.On) {
			continue
		}
		for i := range a.Winters {
			w := &a.Winters[i]
			if w.Course.Fast.AddDays(-herd.CheckAhead).After(d.Horizon) || w.Course.Pair.Before(d.On) {
				continue
			}
			beforeWinter(d, propose, s, a, w)
			if w.Not != "" {
				continue
			}
			weighInTheCold(d, propose, s, a, w)
			stopCooling(d, propose, s, a, w)
			at, enclosure := d.Subject(w.At(a)), d.Subject(a.Enclosure)
			if w.Alone {
				at, enclosure = s, s
			}
			if at == nil || enclosure == nil {
				continue
			}
			if first(at.ID, "steps ", w.Name) {
				coolingSteps(d, propose, at, w)
			}
			if w.Course.WasCooled() && first(enclosure.ID, "food ", w.Name) {
				firstFood(d, propose, enclosure, at.ID, a.Enclosure, w)
			}
		}
	}
}

// winterTask is one task of a winter.
type winterTask struct {
	id    husbandry.ID // id of the routine
	key   string       // occurrence in the key of the task
	due   civil.Date
	until civil.Date // first day on which the task is no longer needed; zero: needed always
	// cases are the names of the routine's cases that apply. The title and
	// caution of a case replace those of the routine (see [husbandry.Called]).
	cases   []string
	degrees string // target temperature for the title: "5-12 °C"
	why     string
	after   husbandry.Days // slack in days after the due day, in place of the routine's slack; 0: the routine's slack
}

// proposeWinter proposes a task of a winter, unless the task is no longer
// needed or is after the last day of the plan.
func proposeWinter(d *plan.Day, propose plan.Propose, s *plan.Subject, w winterTask) {
	r := called(d, s, w.id, w.cases...)
	if r == nil {
		return
	}
	alarms := r.Missed == husbandry.Alarms
	if _, on := d.Asked(s, r); !on && !alarms && !r.Kind.InOrder() {
		return
	}
	r.Title = strings.ReplaceAll(r.Title, "{degrees}", w.degrees)
	if w.after > 0 {
		r.After = w.after
	}
	a := d.Once(s, r)
	propose(&plan.Single{
		Duty: a, Keys: []tasks.Key{a.Key(w.key)}, Due: w.due, Why: w.why, Clamped: true, Pinned: alarms,
		// Before this feeding the feeder insects are gut-loaded, as before any
		// other.
		Ridden: r.Kind == husbandry.Feed && s.Scope == husbandry.OfEnclosure,
		While: func(due civil.Date) bool {
			moot := !w.until.IsZero() && !civil.Max(due, d.On).Before(w.until)
			return !moot && !due.After(d.Horizon)
		},
		Finish: askFor(d, w.id),
	})
}

// beforeWinter asks for a check of an animal before its winter, or says why the
// animal is not cooled.
func beforeWinter(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal, w *herd.Winter) {
	c := &w.Course
	due := c.Fast.AddDays(-herd.CheckAhead)
	switch {
	case w.Not == "":
		proposeWinter(d, propose, s, winterTask{
			id: herd.CoolingCheck, key: w.Name, due: due, until: c.Down,
			why: fmt.Sprintf("Without food from %s, cooled %s to %s: is it bright, well fleshed, free of mites and injuries? Weigh it", d.DateWords(c.Fast), d.DateWords(c.Down), d.DateWords(c.Up)),
		})
	case w.CalledOff:
	default:
		why := "Not cooled: " + w.Not
		if with := cooledWith(d, a, c.Fast); len(with) > 0 {
			why += "; it shares " + string(a.Enclosure) + " with " + english.List(with) + ", so house it apart before " + d.DateWords(c.Down)
		}
		proposeWinter(d, propose, s, winterTask{
			id: herd.CoolingNot, key: w.Name, due: due, until: c.Up,
			why: why,
		})
	}
}

// cooledWith names the other animals in an animal's enclosure that fast on a
// day.
func cooledWith(d *plan.Day, a *herd.Animal, day civil.Date) (names []string) {
	for _, b := range d.Residents(a.Enclosure) {
		if b != a && b.PresentOn(civil.Max(day, d.On)) && b.Wintering(day) != nil {
			names = append(names, herd.AnimalWord(b))
		}
	}
	return names
}

// coolingSteps proposes the fast and the temperatures of an enclosure, of a
// room, or of an animal that is warmed up before its companions. If a step was
// not done, the task for the next step replaces it.
func coolingSteps(d *plan.Day, propose plan.Propose, s *plan.Subject, w *herd.Winter) {
	c := &w.Course
	if !w.Alone {
		proposeWinter(d, propose, s, winterTask{
			id: herd.CoolingLastFood, key: w.Name, due: c.Fast.AddDays(-1), until: c.Fast,
			why: "No food from " + d.WeekdayWords(c.Fast) + " until " + d.DateWords(c.Feed) + "; water goes on",
		})
		proposeWinter(d, propose, s, winterTask{
			id: herd.CoolingFast, key: w.Name, due: c.Fast, until: c.Down,
			why: fmt.Sprintf("Kept warm %s without food, so that the gut is empty when it turns cool on %s; skipped, they are fed on and not cooled", english.Days(c.Down.Sub(c.Fast)), d.DateWords(c.Down)),
		})
	}
	for i, step := range c.Steps {
		if w.Alone && step.On.Before(c.Up) || step.On.After(d.Horizon) {
			continue
		}
		until := c.Pair
		if i+1 < len(c.Steps) {
			until = c.Steps[i+1].On
		}
		t := winterTask{id: herd.CoolingStep, key: w.StepKey(step.Name), due: step.On, until: until}
		up := !step.On.Before(c.Up)
		switch {
		case step.Usual:
			t.cases = []string{"usual"}
			t.why = "The cooling ends; food from " + d.WeekdayWords(c.Feed)
		case up:
			t.cases, t.degrees = []string{"raise"}, d.Degrees(step.From, step.To)
			t.why = fmt.Sprintf("Step %d of %d to the usual warmth of %s; food from %s", stepNumber(c, step), stepCount(c, true), d.DateWords(c.Warm), d.WeekdayWords(c.Feed))
		default:
			t.degrees = d.Degrees(step.From, step.To)
			t.why = fmt.Sprintf("Step %d of %d; cold until %s", stepNumber(c, step), stepCount(c, false), d.DateWords(c.Up))
			if c.Care.Water != "" {
				t.why += ". " + strings.TrimSuffix(c.Care.Water, ".")
			}
			if i == 0 {
				t.why += ". No misting, cleaning or faecal test until it is warm again"
			}
			if stay := notForTheCold(d, s, civil.Max(step.On, d.On)); len(stay) > 0 {
				t.why += ". Not cooled, so housed elsewhere first: " + english.List(stay)
			}
		}
		if i > 0 && !w.Alone && up == !c.Steps[i-1].On.Before(c.Up) {
			t.why += stepLeftOut(d, s, w, c.Steps[i-1], step)
		}
		proposeWinter(d, propose, s, t)
	}
}

// stepLeftOut warns, at a step of a winter, that the step before was not
// marked. After an absence, for example, a keeper must not take two steps of
// temperature at once.
func stepLeftOut(d *plan.Day, s *plan.Subject, w *herd.Winter, before, step cooling.Step) string {
	key := tasks.NewKey(s.ID, herd.CoolingStep, w.StepKey(before.Name))
	if !before.On.Before(d.On) || before.On.Before(d.Began) || !d.BecameOf(key).Done.IsZero() {
		return ""
	}
	return fmt.Sprintf(". The step to %s has no mark: if it was not taken, take that one now and this one after %s", d.Degrees(before.From, before.To), english.Days(step.On.Sub(before.On)))
}

// notForTheCold names the animals that are in an enclosure or room on a day and
// must not be cooled.
func notForTheCold(d *plan.Day, s *plan.Subject, day civil.Date) (names []string) {
	look := func(enclosure husbandry.ID) {
		for _, a := range d.Residents(enclosure) {
			if a.PresentOn(day) && a.Wintering(day) == nil {
				names = append(names, herd.AnimalWord(a))
			}
		}
	}
	if s.Scope != husbandry.OfRoom {
		look(s.ID)
		return names
	}
	for i := range d.Records.Enclosures {
		if e := &d.Records.Enclosures[i]; e.Room == s.ID {
			look(e.ID)
		}
	}
	return names
}

// stepNumber returns the number of a step, from 1, among the steps down or
// among the steps up.
func stepNumber(c *cooling.Course, step cooling.Step) (n int) {
	up := !step.On.Before(c.Up)
	for _, s := range c.Steps {
		if up == !s.On.Before(c.Up) && !s.On.After(step.On) {
			n++
		}
	}
	return n
}

func stepCount(c *cooling.Course, up bool) (n int) {
	for _, s := range c.Steps {
		if up == !s.On.Before(c.Up) {
			n++
		}
	}
	return n
}

// weighInTheCold proposes the weighings from the first step down to the last
// step up. After a loss beyond the warning limit, the next weighing comes
// sooner.
func weighInTheCold(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal, w *herd.Winter) {
	c := &w.Course
	if !d.On.Before(c.Warm) || !c.WasCooled() {
		return
	}
	every := max(1, int(c.Care.Weigh))
	var last civil.Date
	for _, m := range a.Weights {
		if !m.On.Before(c.Down.AddDays(-herd.WeighSlack)) && !m.On.After(d.On) {
			last = m.On
		}
	}
	if d := d.LastDone(a.ID, herd.CoolingWeigh); !d.Before(c.Down.AddDays(-herd.WeighSlack)) {
		last = civil.Max(last, d)
	}
	base, due, why := "start", c.Down, "The mass at the start, with which those in the cold are compared"
	var cases []string
	if mass := w.LastMass(a); !last.IsZero() {
		base, due = "after-"+last.String(), last.AddDays(every)
		why = everyWords(c.Care.Weigh) + " in the cold; last weighed " + d.WeekdayWords(last)
		if lost, loss := cooling.Losing(c.Care, w.Start.Grams, mass.Grams); mass.On == last && !mass.On.IsZero() {
			u := d.Records.Units
			why += fmt.Sprintf(", %s, %s at the start", u.Mass(mass.Grams), u.Mass(w.Start.Grams))
			if loss != cooling.Fine {
				due = last.AddDays((every + 1) / 2)
				why += fmt.Sprintf(": %s less, so sooner than usual (warning from %s, end of the cooling from %s)", english.Percent(float64(lost)), c.Care.WarnLoss, c.Care.StopLoss)
				cases = []string{"lost"}
			}
		}
	}
	for n := 1; due.Before(c.Warm) && !due.After(d.Horizon); n++ {
		key := w.StepKey(base)
		if n > 1 {
			key += "+" + strconv.Itoa(n)
		}
		fate := d.BecameOf(tasks.NewKey(a.ID, herd.CoolingWeigh, key))
		if !fate.Skipped.IsZero() {
			due = civil.Max(due, fate.Skipped).AddDays(every)
			continue
		}
		at := civil.Max(due, fate.Until)
		proposeWinter(d, propose, s, winterTask{
			id: herd.CoolingWeigh, key: key, due: due, until: c.Warm,
			why: why, cases: cases,
		})
		due = civil.Max(at, d.On).AddDays(every)
		why, cases = everyWords(c.Care.Weigh)+" in the cold", nil
	}
}

// stopCooling asks to warm up an animal that has lost too much mass, is ill, or
// carries eggs.
func stopCooling(d *plan.Day, propose plan.Propose, s *plan.Subject, a *herd.Animal, w *herd.Winter) {
	c := &w.Course
	if !c.WasCooled() || !d.On.Before(c.Feed) || d.On.Before(c.Down) {
		return
	}
	t := winterTask{id: herd.CoolingStop, key: w.Name}
	end := fmt.Sprintf("Warm it up over %s from today and see the veterinarian", english.Days(c.Care.Up.Days))
	if !d.On.Before(c.Up) {
		t.cases, end = []string{"warming"}, "It is being warmed up already; see the veterinarian"
	}
	mass, ill := w.LastMass(a), d.UnwellOn(a, d.On)
	lost, loss := cooling.Losing(c.Care, w.Start.Grams, mass.Grams)
	switch {
	case !mass.On.IsZero() && loss == cooling.Stop:
		u := d.Records.Units
		t.due = mass.On
		t.why = fmt.Sprintf("Weighed %s on %s, %s at the start (%s): %s less, and %s ends the cooling. %s", u.Mass(mass.Grams), d.DateWords(mass.On),
			u.Mass(w.Start.Grams), d.DateWords(w.Start.On), english.Percent(float64(lost)), c.Care.StopLoss, end)
	case !ill.Before(c.Down) && ill.Before(c.Up):
		t.due, t.cases = ill, append(t.cases, "ill")
		t.why = fmt.Sprintf("Noted as ill on %s, in the cold. %s; or say that the illness is reviewed", d.DateWords(t.due), end)
	default:
		for _, g := range a.Sightings {
			if g.Gravid && !g.On.Before(c.Down) && g.On.Before(c.Up) && !a.GravidOn(d.On).IsZero() {
				t.due, t.cases = g.On, append(t.cases, "gravid")
				t.why = fmt.Sprintf("Eggs were seen in her on %s, and a gravid female is not cooled. %s", d.DateWords(g.On), end)
				break
			}
		}
	}
	if !t.due.IsZero() {
		proposeWinter(d, propose, s, t)
	}
}

// firstFood proposes the first food after the winter, until the enclosure has
// been fed. at is the subject of the steps of temperature.
func firstFood(d *plan.Day, propose plan.Propose, s *plan.Subject, at, enclosure husbandry.ID, w *herd.Winter) {
	c := &w.Course
	if c.Feed.After(d.Horizon) {
		return
	}
	for _, r := range d.Records.Routines {
		if r.Kind == husbandry.Feed && len(d.DoneDays(enclosure, r.ID, c.Feed)) > 0 {
			return
		}
	}
	why := fmt.Sprintf("Warm again since %s; the usual feeding goes on from tomorrow", d.DateWords(c.Warm))
	if last := w.StepKey(c.Steps[len(c.Steps)-1].Name); d.BecameOf(tasks.NewKey(at, herd.CoolingStep, last)).Done.IsZero() {
		why = fmt.Sprintf("Warm since %s by the plan, but nobody marked that the usual warmth was set: see to it first", d.DateWords(c.Warm))
	}
	proposeWinter(d, propose, s, winterTask{
		id: herd.CoolingFood, key: w.Name, due: c.Feed, until: c.Pair.AddDays(1), after: husbandry.Days(c.FeedBy.Sub(c.Feed)),
		why: why,
	})
}
