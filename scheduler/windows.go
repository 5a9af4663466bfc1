package scheduler

import (
	"fmt"
	"slices"

	"nestround/scheduler/incubation"
	"nestround/scheduler/season"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// dystocia is what stands with a female past her window. Signs and advice as
// in Clinical Exposures, Veterinary Medicine (dvm360), and the egg-binding
// pages of Vetlexicon and WikiVet.
const dystocia = "Gravid females may stop eating but stay active and alert. " +
	"Call a reptile veterinarian today, do not wait, if she is limp, trembling or losing weight, strains or digs for two days without eggs, " +
	"has laid only part of a clutch, or shows blood, a prolapse, weak hind legs or laboured breathing. Offer warmth, water and a damp place to dig meanwhile."

// pastHatching stands with eggs past their window.
const pastHatching = "Do not open, turn or throw away eggs because a forecast is over: forecasts err, and late eggs have hatched. " +
	"Leave firm, clean eggs where they are; take out only what has collapsed, leaks or is thick with mould, and wash your hands (Salmonella). " +
	"When nothing more is to come, say of the clutch that it has ended."

// restOfClutch is how many days after the last young hatched the rest of a
// clutch is watched at least (common practice).
const restOfClutch = 7

func (p *planner) hatching(c *Clutch) incubation.Forecast {
	f, ok := p.hatch[c.ID]
	if !ok {
		f = p.fore.Hatch(p.herd, c)
		p.hatch[c.ID] = f
	}
	return f
}

// watchable reports whether laying and pairing are the keeper's concern for an
// animal: a grown female that is bred from or known to carry eggs.
func (p *planner) watchable(a *Animal) bool {
	return a.Sex == husbandry.Female && a.Count == 1 && a.PresentOn(p.on) &&
		(!a.GravidOn(p.on).IsZero() || a.Breeding && a.StageOn(p.on) == husbandry.Adult)
}

func (p *planner) laying(a *Animal) season.Window {
	w, ok := p.lay[a.ID]
	if !ok {
		if p.watchable(a) {
			w = p.fore.Laying(p.herd, a)
		}
		p.lay[a.ID] = w
	}
	return w
}

func (p *planner) pairing(a *Animal) season.Window {
	w, ok := p.pair[a.ID]
	if !ok {
		switch {
		case !p.watchable(a) || !a.Breeding:
		case !p.mates[a.Species]:
			w.Basis = "no grown male of her species is marked for breeding"
		case a.In(husbandry.Apart, p.on):
			w.Basis = "she is in quarantine since " + p.day(a.Apart.Began)
		case p.unwell(a):
			w.Basis = "illness was noted of her"
		case p.livesWithMale(a):
			w.Basis = "a grown male lives with her"
		case p.tooThin(a) != "":
			w.Basis = p.tooThin(a)
		default:
			w = p.paired(a, p.rawPairing(a))
		}
		p.pair[a.ID] = w
	}
	return w
}

func (p *planner) livesWithMale(a *Animal) bool {
	return slices.ContainsFunc(p.herd.Residents(a.Enclosure), func(m *Animal) bool {
		return m.Sex == husbandry.Male && m.Species == a.Species && m.PresentOn(p.on) && m.StageOn(p.on) == husbandry.Adult
	})
}

// windowed plans a routine inside its subject's window, and goes on as an
// alarm where the window has passed without what it was for.
func (p *planner) windowed(a activity) {
	if a.r.Cadence.Window == husbandry.HatchWindow {
		if a.s.clutch != nil && a.s.clutch.Expecting() {
			p.hatchWatch(&a)
		}
		return
	}
	if a.r.Cadence.Window == husbandry.YoungWindow {
		p.youngWatch(&a)
		return
	}
	if a.s.scope != husbandry.OfAnimal {
		return
	}
	female := a.s.animals[0]
	var w season.Window
	switch a.r.Cadence.Window {
	case husbandry.LayWindow:
		w = p.laying(female)
	case husbandry.PairingWindow:
		if w = p.pairing(female); !w.Known {
			p.reviewKin(a.s)
		}
		a.mate = p.kin.mates[female.ID]
	case husbandry.GravidWindow:
		if laying := p.laying(female); laying.Known {
			w = season.GravidTime(Plain{}.female(p.herd, female), laying)
		}
	}
	if !w.Known {
		return
	}
	window := &tasks.Window{Name: a.r.Cadence.Window, From: w.From, To: w.To, Basis: w.Basis}
	why := func(civil.Date) string { return p.windowWords(a.r.Cadence.Window, w) }
	if a.r.Cadence.Window == husbandry.LayWindow {
		window.P05, window.P25, window.P50, window.P75, window.P95 = w.Quantile(.05), w.Quantile(.25), w.Quantile(.5), w.Quantile(.75), w.Quantile(.95)
		if !window.P50.IsZero() && !p.on.After(w.To) {
			window.Today = w.Chance(p.on, p.on)
			for i := range 8 {
				window.By = append(window.By, w.Chance(p.on, p.on.AddDays(i)))
			}
		}
		why = func(day civil.Date) string { return p.layWords(w, day) }
	}
	p.dated(&a, p.steps(&a, w.From, w.To), window, why)
	if a.r.Cadence.Window == husbandry.LayWindow && w.Seen && p.on.After(w.To) && a.r.Missed == husbandry.Alarms {
		p.alarm(&a, window, fmt.Sprintf("Eggs seen in her since %s and not laid: %s past the window of %s (%s)",
			p.day(female.GravidOn(p.on)), days(p.on.Sub(w.To)), spanWords(w.From, w.To, p.on), w.Basis), dystocia, true)
	}
}

// layWords is "Eggs expected 12-20 May, 18 % today: 24-32 days after ...".
func (p *planner) layWords(w season.Window, day civil.Date) string {
	chance := w.Chance(p.on, day) - w.Chance(p.on, day.AddDays(-1))
	words := "Eggs expected " + spanWords(w.From, w.To, p.on)
	switch {
	case chance == 0 || p.on.After(w.To):
	case day == p.on:
		words += ", " + percent(chance) + " today"
	default:
		words += ", " + percent(chance) + " on this day"
	}
	return words + ": " + w.Basis
}

func (p *planner) windowWords(name husbandry.WindowName, w season.Window) string {
	span := spanWords(w.From, w.To, p.on)
	switch name {
	case husbandry.LayWindow:
		return "Eggs expected " + span + ": " + w.Basis
	case husbandry.PairingWindow:
		return "Pairing window " + span + ": " + w.Basis
	}
	return "Eggs may show " + span + ": " + w.Basis
}

// alarm plans today's look of a watch whose window has passed. It is not
// projected: tomorrow's depends on today's.
func (p *planner) alarm(a *activity, w *tasks.Window, why, caution string, pinned bool) {
	key, o := p.said(a, p.on)
	switch o.Mark {
	case tasks.MarkDone:
		return
	case tasks.Skip:
		if !pinned {
			return
		}
	case tasks.PutOff:
		if !pinned && o.Until.After(p.on) {
			return
		}
	}
	t := p.task(a, key, p.on, why)
	t.Missed, t.Window, t.Pinned = husbandry.Alarms, w, pinned
	t.Caution = caution
	if a.r.Caution != "" {
		t.Caution = caution + " " + a.r.Caution
	}
	p.emit(a, t)
}

// hatchSpan returns the days on which a clutch is watched, and whether they
// are over with young still to come.
func (p *planner) hatchSpan(c *Clutch, f incubation.Forecast) (from, to civil.Date, over bool) {
	from, to = f.WatchFrom, f.WatchTo
	if first := c.FirstHatched(); !first.IsZero() {
		from = civil.Min(from, first)
		to = civil.Max(to, c.LastHatched().AddDays(restOfClutch))
	}
	// Of a clutch that nobody counted, young that hatched may be all there were.
	return from, to, p.on.After(to) && !(c.Eggs == 0 && c.Hatched > 0)
}

func (p *planner) hatchWatch(a *activity) {
	c := a.s.clutch
	f := p.hatching(c)
	if !f.Known {
		return
	}
	from, to, over := p.hatchSpan(c, f)
	window := &tasks.Window{
		Name: husbandry.HatchWindow, From: from, To: to,
		P05: f.P05, P25: f.P25, P50: f.P50, P75: f.P75, P95: f.P95,
		Today: f.Probability(p.on), Basis: f.Basis, By: chances(f, p.on),
	}
	p.dated(a, p.steps(a, from, to), window, func(day civil.Date) string { return p.hatchWords(c, f, day) })
	if over && a.r.Missed == husbandry.Alarms {
		p.alarm(a, window, p.hatchWords(c, f, p.on), pastHatching, false)
	}
}

// chances returns the probability that young have hatched by the end of a day
// and of each of the seven after it; nil once a forecast has no days left.
func chances(f incubation.Forecast, on civil.Date) []float64 {
	if f.Overdue {
		return nil
	}
	by := make([]float64, 8)
	sum := 0.0
	for i := range by {
		sum += f.Probability(on.AddDays(i))
		by[i] = min(1, sum)
	}
	return by
}

// hatchWords is "Day 41 of clutch C27-04 (laid 12 May, 28.0 °C): hatching most
// likely 22-28 June, 18 % today". Most likely are the days between the
// quartiles.
func (p *planner) hatchWords(c *Clutch, f incubation.Forecast, day civil.Date) string {
	words := fmt.Sprintf("Day %d of clutch %s (laid %s", day.Sub(f.Laid), c.ID, p.laidWords(c))
	if t := p.herd.Standing(c).Temperature; t != nil {
		words += ", " + p.rec.Units.Temperature(*t)
	}
	words += "): "
	if c.Hatched > 0 {
		words += fmt.Sprintf("%d hatched", c.Hatched)
		if rest := c.Eggs - c.Hatched; rest > 0 {
			words += ", " + count(rest, "egg") + " to come"
		}
		words += "; "
	}
	likely := "hatching most likely " + spanWords(f.P25, f.P75, p.on)
	switch {
	case f.Overdue:
		return words + "past its window, hatching was " + likely[len("hatching "):]
	case day == p.on:
		return words + likely + ", " + percent(f.Probability(day)) + " today"
	}
	return words + likely + ", " + percent(f.Probability(day)) + " on this day"
}

func (p *planner) laidWords(c *Clutch) string {
	if c.LaidFrom.Before(c.Laid) {
		return "between " + p.day(c.LaidFrom) + " and " + p.day(c.Laid)
	}
	return p.day(c.Laid)
}
