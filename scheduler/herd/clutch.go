package herd

import (
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// TubSetOn returns the day a clutch's tub was set; the laying day for a recorded
// clutch that stands in an incubator since nobody said when.
func (h *Herd) TubSetOn(c *Clutch) civil.Date {
	if c.TubSet.IsZero() && c.Incubator != "" {
		return c.Laid
	}
	return c.TubSet
}

// DugUp reports whether the eggs were lifted without being counted.
func (h *Herd) DugUp(c *Clutch) bool {
	for _, r := range h.RoutinesOf(husbandry.DigEggs) {
		if r.Off {
			continue
		}
		for _, id := range c.IDs() {
			if !h.History.LastDone(id, r.ID).IsZero() {
				return true
			}
		}
	}
	return false
}

// laidLately returns the latest laying in each enclosure.
func (h deriver) laidLately() map[husbandry.ID]civil.Date {
	m := make(map[husbandry.ID]civil.Date)
	for _, c := range h.Clutches {
		if c.Enclosure != "" && !c.Laid.After(h.On) {
			m[c.Enclosure] = civil.Max(m[c.Enclosure], c.Laid)
		}
	}
	return m
}

// LaidIn is the latest day on which eggs were laid in an enclosure, or no date.
func (h *Herd) LaidIn(enclosure husbandry.ID) civil.Date { return h.laidIn[enclosure] }
