package scheduler

import (
	"fmt"

	"nestround/scheduler/incubation"
	"nestround/scheduler/season"
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

// Plain is the Forecasts of a planner that is given none: degree-days from
// the care sheet, and its seasons and spans.
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
