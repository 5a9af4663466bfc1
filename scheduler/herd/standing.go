package herd

import (
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

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
