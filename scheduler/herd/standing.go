package herd

import (
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Standing is the place of a clutch's tub, and its temperature.
type Standing struct {
	Incubator   *husbandry.Incubator // nil when unknown
	Temperature *husbandry.Celsius   // nil when unknown
	Swing       husbandry.Celsius
	// Own says that the record of the tub states a temperature, which overrides
	// the incubator's.
	Own bool
	// Assumed says that no record places the clutch. It is then assumed to
	// stand in the incubator of the last recorded clutch of its species, or in
	// the only incubator.
	Assumed bool
}

// Standing returns the place and temperature of a clutch on the herd's day, as
// far as they are known.
func (h *Herd) Standing(c *Clutch) Standing { return h.StandingOn(c, h.On) }

// StandingOn returns the past or future place of a clutch on a day.
func (h *Herd) StandingOn(c *Clutch, day civil.Date) Standing {
	var s Standing
	id, own, placed := c.Incubator, c.Temperature, c.Incubator != "" || c.Temperature != nil
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
