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
	f := incubation.Calibrated(p.taught(h), p.brood(h, c))
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
				cases = append(cases, p.brood(h, c))
			}
		}
		// The latest say most, and enough is enough.
		const enough = 300
		p.keeper, p.herd = incubation.LearnFrom(cases[max(0, len(cases)-enough):]), h
	}
	return p.keeper
}

// brood describes a clutch to the forecast.
func (p *Calibrated) brood(h *Herd, c *Clutch) incubation.Case {
	sheet := h.Species(c.Species)
	q := incubation.Case{
		Species: sheet.Scientific, Family: sheet.Family, Sheet: sheet.Incubation,
		LaidFrom: c.LaidFrom, Laid: c.Laid, Eggs: c.Eggs, Lost: c.Lost, On: h.On, Units: h.Records.Units,
	}
	for _, y := range c.HatchedOn {
		q.Hatched = append(q.Hatched, incubation.Young(y))
	}
	stand := h.Standing(c)
	if stand.Temperature == nil {
		return q
	}
	now := incubation.Spell{Temperature: *stand.Temperature, Swing: stand.Swing}
	if stand.Incubator != nil {
		q.Incubator = string(stand.Incubator.ID)
		if logged := p.Logged[stand.Incubator.ID]; len(logged) > 0 && c.Temperature == nil {
			for day := c.Laid; day.Before(h.On); day = day.AddDays(1) {
				s := now
				s.Days, s.Logged = 1, logged[day]
				q.Warmth = append(q.Warmth, s)
			}
		}
	}
	q.Warmth = append(q.Warmth, now)
	return q
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
	f := season.Female{Sheet: *h.Species(a.Species), Latitude: p.Latitude, Mated: a.Mated, Gravid: a.GravidOn(h.On), On: h.On}
	for _, c := range a.Laid {
		if !c.Laid.After(h.On) {
			f.Clutches = append(f.Clutches, season.Laid{Clutch: c.ID, On: c.Laid})
		}
	}
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
	// Assumed says that no record places the clutch: it is a found one, and
	// taken to stand where its species' last recorded clutch does, or in the
	// only incubator there is.
	Assumed bool
}

// Standing says where a clutch stands, as far as is known.
func (h *Herd) Standing(c *Clutch) Standing {
	var s Standing
	s.Incubator = h.incubators[c.Incubator]
	if s.Incubator == nil && c.Incubator == "" {
		s.Assumed = true
		if len(h.Records.Incubators) == 1 {
			s.Incubator = &h.Records.Incubators[0]
		} else if last, ok := h.lastIncubator[c.Species]; ok {
			s.Incubator = h.incubators[last]
		}
	}
	if s.Incubator != nil {
		t := s.Incubator.Temperature
		s.Temperature, s.Swing = &t, s.Incubator.Swing
	}
	if c.Temperature != nil {
		s.Temperature, s.Assumed = c.Temperature, false
	}
	return s
}
