package outlook

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Past is how a clutch that is over went, beside what was expected of it on
// the day it was laid.
type Past struct {
	ID   husbandry.ID
	Laid civil.Date
	// P05, P50 and P95 are the forecast of the laying day: from what was known
	// that day, with the clutch in the place and at the set temperature that
	// its record has now.
	P05, P50, P95 civil.Date
	// First and Last are the days on which young were seen to hatch, Mean the
	// mean day of them all, rounded to a day.
	First, Mean, Last civil.Date
	Young             int // that hatched on those days
}

// PastHatches returns the clutches of a species that are over, whose young
// hatched on known days and that something could have been forecast of: the
// latest, at most most of them, by laying date and id.
func PastHatches(h *herd.Herd, species husbandry.ID, most int) []Past {
	var list []Past
	for _, c := range slices.Backward(h.Clutches) {
		if len(list) == most {
			break
		}
		if c.Species != species || c.Expecting() || len(c.HatchedOn) == 0 {
			continue
		}
		// What was said since, of this clutch and of others, is unsaid again.
		then := h.AsOf(c.Laid)
		known := then.Clutch(c.ID)
		if known == nil {
			continue
		}
		f := then.Hatching(known)
		if !f.Known {
			continue
		}
		past := Past{
			ID: c.ID, Laid: c.Laid, P05: f.P05, P50: f.P50, P95: f.P95,
			First: c.FirstHatched(), Last: c.LastHatched(),
		}
		sum := 0
		for _, y := range c.HatchedOn {
			sum += y.Count * y.On.Sub(past.First)
			past.Young += y.Count
		}
		past.Mean = past.First.AddDays((2*sum + past.Young) / (2 * past.Young))
		list = append(list, past)
	}
	slices.Reverse(list)
	return list
}
