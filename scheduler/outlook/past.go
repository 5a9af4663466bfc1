package outlook

import (
	"slices"

	"nestround/scheduler/herd"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Past compares the hatching of a finished clutch with the forecast made on the
// laying day.
type Past struct {
	ID   husbandry.ID
	Laid civil.Date
	// P05, P50 and P95 are quantiles of the forecast on the laying day. The
	// forecast uses only findings up to that day, but the present record of the
	// place and the set temperature.
	P05, P50, P95 civil.Date
	// First and Last are the first and the last day on which young hatched.
	// Mean is the mean hatching day of all young, rounded to a day.
	First, Mean, Last civil.Date
	Young             int // number of young that hatched on known days
}

// PastHatches returns finished clutches of a species, by laying date and id. It
// includes clutches whose young hatched on known days and that can be forecast;
// of these, the latest ones, at most most.
func PastHatches(h *herd.Herd, species husbandry.ID, most int) []Past {
	var list []Past
	for _, c := range slices.Backward(h.Clutches) {
		if len(list) == most {
			break
		}
		if c.Species != species || c.Expecting() || len(c.HatchedOn) == 0 {
			continue
		}
		// The forecast must not know findings after the laying day, neither of
		// this clutch nor of others.
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
