package herd

import (
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Clutch is a clutch known from a record, from a finding or from both, with
// everything that happened to it since.
type Clutch struct {
	husbandry.Clutch
	// Aliases are the ids that the clutch had before a record named it. Marks
	// and findings with these ids count for the clutch.
	Aliases []husbandry.ID
	Found   bool // first known from a finding
	Counted bool // somebody has counted the eggs
	Outside bool // laid outside the nest box
	// FoundOut says that a finding named the mother of the clutch later.
	FoundOut bool
	Parted   int // number of eggs of the clutch that are in separate tubs
	// Enclosure is the place where the clutch was laid; "" when unknown.
	Enclosure husbandry.ID
	// HatchedOn has the young that hatched on each day, by date. The number of
	// young in a record has no date and counts only in Hatched.
	HatchedOn []Young
	// Lost is the number of eggs found dead in the tub. Eggs reported as slugs
	// some days after laying count too.
	Lost  int
	State ClutchState
	// Young are the animals with records that hatched from the clutch, in the
	// order of the records.
	Young []*Animal
	// Sexings, Weights and Unfed are about the young of the clutch before the
	// young have records: the checks of their sex, their weighings, and the
	// days on which they refused their first food.
	Sexings []Sexing
	Weights []Weight
	Unfed   []civil.Date
}

// Young is the number of young that hatched on a day.
type Young struct {
	On    civil.Date
	Count int
}

// ClutchState is the stage of a clutch between laying and its end.
type ClutchState string

// The states of a clutch.
const (
	InBox      ClutchState = "in the box" // laid, and not in a tub yet
	Incubating ClutchState = "incubating"
	Hatching   ClutchState = "hatching" // some young have hatched
	HatchedAll ClutchState = "hatched"  // every counted egg has hatched or was found dead
	Ended      ClutchState = "ended"
)

// TubSetOn returns the day on which a clutch's tub was set. If nobody recorded
// that day, a recorded clutch in an incubator counts as set on the day it was
// laid.
func (h *Herd) TubSetOn(c *Clutch) civil.Date {
	if c.TubSet.IsZero() && c.Incubator != "" {
		return c.Laid
	}
	return c.TubSet
}

// DugUp reports whether the eggs were lifted from the nest box but not counted.
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

// Clutch returns a clutch by any id that the clutch ever had, or nil.
func (h *Herd) Clutch(id husbandry.ID) *Clutch { return h.clutches[id] }

// stands returns the incubator into which a clutch was last put by a day; "" if
// no record or finding says it.
func (c *Clutch) stands(on civil.Date) husbandry.ID {
	at := c.Incubator
	for _, m := range c.Moves {
		if !m.On.After(on) {
			at = m.Incubator
		}
	}
	return at
}

// IDs returns every id that the clutch ever had, its present id first.
func (c *Clutch) IDs() []husbandry.ID { return append([]husbandry.ID{c.ID}, c.Aliases...) }

// FirstHatched returns the day the first young hatched, or no date.
func (c *Clutch) FirstHatched() civil.Date {
	if len(c.HatchedOn) == 0 {
		return civil.Date{}
	}
	return c.HatchedOn[0].On
}

// LastHatched returns the last day on which young hatched, or no date.
func (c *Clutch) LastHatched() civil.Date {
	if len(c.HatchedOn) == 0 {
		return civil.Date{}
	}
	return c.HatchedOn[len(c.HatchedOn)-1].On
}

// Expecting reports whether young may still hatch.
func (c *Clutch) Expecting() bool { return c.State != Ended && c.State != HatchedAll }

// settle works out the state of the clutch on the herd's day.
func (c *Clutch) settle(h *Herd) {
	// The number of young in the record has no date. Findings with dates may
	// report some of these young again.
	sum := 0
	for _, y := range c.HatchedOn {
		sum += y.Count
	}
	c.Hatched = max(c.Hatched, sum)
	if c.TubSet.IsZero() {
		for _, id := range c.IDs() {
			for _, r := range h.ofKind[husbandry.SetTub] {
				c.TubSet = civil.Max(c.TubSet, h.History.LastDone(id, r.ID))
			}
		}
	}
	slices.SortStableFunc(c.Moves, func(a, b husbandry.Move) int { return a.On.Compare(b.On) })
	c.State = c.stateOn(h.On)
}

// stateOn returns the state of the clutch, by its eggs and its tub.
func (c *Clutch) stateOn(day civil.Date) ClutchState {
	switch {
	case !c.Ended.IsZero() && !c.Ended.After(day):
		return Ended
	case c.Counted && c.Eggs == 0 && c.Hatched == 0:
		return Ended // slugs only
	case c.Hatched > 0 && c.Hatched+c.Lost >= c.Eggs && c.Eggs > 0:
		return HatchedAll
	case c.Eggs > 0 && c.Lost >= c.Eggs:
		return Ended // every egg was found dead
	case c.Hatched > 0:
		return Hatching
	case c.inTub():
		return Incubating
	}
	return InBox
}

// inTub reports whether the eggs were taken out of the box into a tub.
func (c *Clutch) inTub() bool {
	return !c.TubSet.IsZero() || c.Incubator != "" || c.Temperature != nil || len(c.Moves) > 0
}
