package rule

import (
	"nestround/scheduler/plan"
	"nestround/tasks/husbandry"
)

// topUpEvery returns the interval in days between top-ups that the record of
// the enclosure states; 0 for none.
func topUpEvery(s *plan.Subject) husbandry.Days {
	if e := s.Enclosure; e != nil && s.Scope == husbandry.OfEnclosure && e.NestBox != nil {
		return e.NestBox.TopUp
	}
	return 0
}

// moveTopUp moves the top-up of a nest box to the day on which the box needs
// water, or to the day on which eggs were laid in the box.
func moveTopUp(d *plan.Day, c *counted) {
	s := c.Duty.Subject
	if s.Scope == husbandry.OfEnclosure {
		moveByDamp(d, c, d.DampOfBox(s.Enclosure))
	}
	if laid := d.LaidIn(s.ID); laid.After(c.Last) && !laid.Before(d.Began) && laid.Before(c.Due) {
		c.Due = laid
		c.Evidence = "; eggs were laid on " + d.DateWords(laid) + " and the box was dug over"
	}
}
