package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// lampLife returns the life of a lamp in days, as the record of its enclosure
// states it; 0 for none.
func lampLife(s *plan.Subject) husbandry.Days {
	if lamp := lampOf(s); lamp != nil {
		return lamp.Life
	}
	return 0
}

// lampFitted returns the day on which a lamp was fitted, or no date.
func lampFitted(d *plan.Day, s *plan.Subject) civil.Date {
	if lamp := lampOf(s); lamp != nil && !lamp.Fitted.After(d.On) {
		return lamp.Fitted
	}
	return civil.Date{}
}

// moveLampChange moves the change of a lamp to the day on which a reading
// showed it too dim.
func moveLampChange(d *plan.Day, c *counted) {
	if dim, words := d.Dimmed(c.Duty.Subject.ID, c.Last); !dim.IsZero() && dim.Before(c.Due) {
		c.Due, c.Evidence = dim, words
	}
}

func lampOf(s *plan.Subject) *husbandry.Lamp {
	if s.Scope != husbandry.OfEnclosure || s.Enclosure == nil {
		return nil
	}
	return s.Enclosure.Lamp
}
