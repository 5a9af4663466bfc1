package scheduler

import (
	"fmt"
	"sync"

	"nestround/scheduler/incubation"
	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Forecasts answers the planner's three questions about what is to come. An
// implementation is pure: the same herd, day and record give the same answer.
// It is asked once for each record and plan.
type Forecasts interface {
	// Hatch forecasts a clutch that still expects young, as of h.On.
	Hatch(h *Herd, c *Clutch) incubation.Forecast
	// Laying gives the days within which a female is expected to lay next.
	Laying(h *Herd, female *Animal) season.Window
	// Pairing gives the days within which a female may be paired.
	Pairing(h *Herd, female *Animal) season.Window
}

// Calibrated is the Forecasts of a planner that is given none: hatching from
// published measurements of the species and its relatives and from the
// keeper's own clutches, with [incubation.Calibrated]; the rest as [Plain] has
// it. A planner asks it about one herd, of which it remembers what the own
// clutches teach; it may be shared.
type Calibrated struct {
	Plain
	// Logged has the temperatures an incubator has logged, a spell a day; nil
	// for none. Days without one stand at the incubator's set point.
	Logged map[husbandry.ID]map[civil.Date][]husbandry.Celsius

	mu     sync.Mutex
	herd   *Herd
	keeper *incubation.Keeper
}

var _ Forecasts = (*Calibrated)(nil)

// Hatch implements Forecasts.
func (p *Calibrated) Hatch(h *Herd, c *Clutch) incubation.Forecast {
	q, logged := p.brood(h, c)
	f := incubation.Calibrated(p.taught(h), q)
	if f.Known && logged > 0 {
		f.Basis += fmt.Sprintf("; its incubator's log has %d of its %s", logged, days(h.On.Sub(c.Laid)))
	}
	stand := h.Standing(c)
	if stand.Assumed && stand.Temperature != nil {
		f.Cautions = append(f.Cautions, fmt.Sprintf("taken to stand in %s; a clutch record says where it really stands", stand.Incubator.ID))
	}
	return f
}

// taught returns what the clutches that are over have taught.
func (p *Calibrated) taught(h *Herd) *incubation.Keeper {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.herd != h {
		var cases []incubation.Case
		for _, c := range h.Clutches {
			if len(c.HatchedOn) > 0 && !c.Expecting() {
				q, _ := p.brood(h, c)
				cases = append(cases, q)
			}
		}
		// The latest say most, and enough is enough.
		const enough = 300
		p.keeper, p.herd = incubation.LearnFrom(cases[max(0, len(cases)-enough):]), h
	}
	return p.keeper
}

// brood describes a clutch to the forecast, and says on how many days of its
// temperatures a log has them.
func (p *Calibrated) brood(h *Herd, c *Clutch) (q incubation.Case, logged int) {
	sheet := h.Species(c.Species)
	q = incubation.Case{
		Species: sheet.Scientific, Family: sheet.Family, Sheet: sheet.Incubation,
		LaidFrom: c.LaidFrom, Laid: c.Laid, Eggs: c.Eggs, Lost: c.Lost, On: h.On, Units: h.Records.Units,
	}
	if !c.Veins.After(h.On) {
		q.Veins = c.Veins
	}
	for _, y := range c.HatchedOn {
		q.Hatched = append(q.Hatched, incubation.Young(y))
	}
	if at := h.Standing(c).Incubator; at != nil {
		q.Incubator = string(at.ID)
	}
	last := p.settled(h, c)
	for day := c.Laid; ; day = day.AddDays(1) {
		stand := h.StandingOn(c, day)
		if stand.Temperature == nil {
			// Of days between known ones nothing is better than the next.
			if day.Before(last) {
				continue
			}
			return q, logged
		}
		s := incubation.Spell{Days: day.Sub(c.Laid) + 1, Temperature: *stand.Temperature, Swing: stand.Swing}
		for _, before := range q.Warmth {
			s.Days -= before.Days
		}
		if stand.Incubator != nil && !stand.Own && day.Before(h.On) {
			if s.Logged = p.Logged[stand.Incubator.ID][day]; len(s.Logged) > 0 {
				logged++
			}
		}
		n := len(q.Warmth)
		if n > 0 && len(s.Logged) == 0 && len(q.Warmth[n-1].Logged) == 0 && q.Warmth[n-1].Temperature == s.Temperature && q.Warmth[n-1].Swing == s.Swing {
			q.Warmth[n-1].Days += s.Days
		} else {
			q.Warmth = append(q.Warmth, s)
		}
		if !day.Before(last) {
			return q, logged
		}
	}
}

// settled returns the day from which a clutch's temperature changes no more,
// as far as is known.
func (p *Calibrated) settled(h *Herd, c *Clutch) civil.Date {
	last := c.Laid
	incubators := []husbandry.ID{}
	if at := h.StandingOn(c, c.Laid).Incubator; at != nil {
		incubators = append(incubators, at.ID)
	}
	for _, m := range c.Moves {
		last = civil.Max(last, m.On)
		incubators = append(incubators, m.Incubator)
	}
	for _, id := range incubators {
		if len(p.Logged[id]) > 0 {
			last = civil.Max(last, h.On)
		}
		if at := h.incubators[id]; at != nil && len(at.Was) > 0 {
			last = civil.Max(last, at.Was[len(at.Was)-1].Until.AddDays(1))
		}
	}
	return last
}

// Plain forecasts hatching by degree-days from the care sheet alone, and
// laying and pairing from its seasons and spans.
type Plain struct {
	Latitude float64 // of the keeper, degrees; below 0 flips the seasons
}

var _ Forecasts = Plain{}

// Hatch implements Forecasts with [incubation.Hatching].
func (p Plain) Hatch(h *Herd, c *Clutch) incubation.Forecast {
	q := incubation.Question{
		Sheet: h.Species(c.Species).Incubation, LaidFrom: c.LaidFrom, Laid: c.Laid,
		On: h.On, Units: h.Records.Units,
	}
	stand := h.Standing(c)
	q.Temperature, q.Swing = stand.Temperature, stand.Swing
	f := incubation.Hatching(q)
	if stand.Assumed && stand.Temperature != nil {
		f.Cautions = append(f.Cautions, fmt.Sprintf("taken to stand in %s; a clutch record says where it really stands", stand.Incubator.ID))
	}
	return f
}

// Laying implements Forecasts with [season.LayingTime].
func (p Plain) Laying(h *Herd, a *Animal) season.Window { return season.LayingTime(p.female(h, a)) }

// Pairing implements Forecasts with [season.PairingTime].
func (p Plain) Pairing(h *Herd, a *Animal) season.Window { return season.PairingTime(p.female(h, a)) }

func (p Plain) female(h *Herd, a *Animal) season.Female {
	f := season.Female{ID: a.ID, Colony: h.colony[a.Species], Sheet: *h.Species(a.Species), Latitude: p.Latitude, Mated: a.Mated, Gravid: a.GravidOn(h.On), On: h.On}
	f.Clutches = a.layings(h.On)
	f.Winters = cooledFor(a)
	if a.Pairing != nil {
		f.Paired = a.Pairing.From
		if !a.Pairing.Until.After(h.On) {
			f.Parted = a.Pairing.Until
		}
	}
	return f
}

// Standing is where a clutch's tub stands, and how warm.
type Standing struct {
	Incubator   *husbandry.Incubator // nil when unknown
	Temperature *husbandry.Celsius   // nil when unknown
	Swing       husbandry.Celsius
	// Own says that the tub's record gives a temperature, whatever the
	// incubator has.
	Own bool
	// Assumed says that no record places the clutch: it is a found one, and
	// taken to stand where its species' last recorded clutch does, or in the
	// only incubator there is.
	Assumed bool
}

// Standing says where a clutch stands on the herd's day, as far as is known.
func (h *Herd) Standing(c *Clutch) Standing { return h.StandingOn(c, h.On) }

// StandingOn says where a clutch stood, or is to stand, on a day.
func (h *Herd) StandingOn(c *Clutch, day civil.Date) Standing {
	var s Standing
	id, own, placed := c.Incubator, c.Temperature, c.Incubator != ""
	for _, m := range c.Moves {
		if !m.On.After(day) {
			id, own, placed = m.Incubator, m.Temperature, true
		}
	}
	s.Incubator = h.incubators[id]
	if !placed {
		s.Assumed = true
		if len(h.Records.Incubators) == 1 {
			s.Incubator = &h.Records.Incubators[0]
		} else if last, ok := h.lastIncubator[c.Species]; ok {
			s.Incubator = h.incubators[last]
		}
	}
	if s.Incubator != nil {
		t := s.Incubator.SetTo(day)
		s.Temperature, s.Swing = &t, s.Incubator.Swing
	}
	if own != nil {
		s.Temperature, s.Assumed, s.Own = own, false, true
	}
	return s
}
