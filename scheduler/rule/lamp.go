package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// lampLife is the interval that the record of an enclosure gives its lamp.
func lampLife(s *plan.Subject) husbandry.Days {
	if lamp := lampOf(s); lamp != nil {
		return lamp.Life
	}
	return 0
}

// lampFitted is the day on which a lamp was fitted.
func lampFitted(d *plan.Day, s *plan.Subject) civil.Date {
	if lamp := lampOf(s); lamp != nil && !lamp.Fitted.After(d.On) {
		return lamp.Fitted
	}
	return civil.Date{}
}

// moveLampChange asks for another lamp as soon as this one has dimmed.
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
