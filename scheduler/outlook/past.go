package outlook

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Past is a finished clutch against its forecast on the laying day.
type Past struct {
	ID   husbandry.ID
	Laid civil.Date
	// P05, P50 and P95 are quantiles of the forecast on the laying day. It uses
	// what was known that day, with the place and the set temperature that the
	// record has now.
	P05, P50, P95 civil.Date
	// First and Last are the first and the last day on which young hatched.
	// Mean is the mean day of all, rounded to a day.
	First, Mean, Last civil.Date
	Young             int // that hatched on those days
}

// PastHatches returns finished clutches of a species whose young hatched on
// known days and that could be forecast: the latest, at most most of them, by
// laying date and id.
func PastHatches(h *herd.Herd, species husbandry.ID, most int) []Past {
	var list []Past
	for _, c := range slices.Backward(h.Clutches) {
		if len(list) == most {
			break
		}
		if c.Species != species || c.Expecting() || len(c.HatchedOn) == 0 {
			continue
		}
		// Findings after the laying day do not count, of this clutch or of
		// others.
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
