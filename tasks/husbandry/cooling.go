package husbandry

import (
	"slices"
	"time"

	"nestround/tasks/civil"
)

// MonthDay is a day of every year. The zero MonthDay means "not stated".
type MonthDay struct {
	Month time.Month
	Day   int
}

// IsZero reports whether no day is stated.
func (m MonthDay) IsZero() bool { return m == MonthDay{} }

// In returns the day in the given year. In a common year, 29 February becomes
// the 28th.
func (m MonthDay) In(year int) civil.Date {
	first := civil.New(year, m.Month, 1)
	return first.AddDays(min(m.Day, first.AddMonths(1).Sub(first)) - 1)
}

// CoolingCare describes how a species is cooled in winter: a fast until its gut
// is empty, then cooling in steps, some weeks in the cold, and warming up.
type CoolingCare struct {
	// Usual says that the species is cooled every winter unless a record says
	// otherwise. Without Usual, only animals named in a record are cooled.
	Usual bool
	// Start is the first day without food, for the northern year. South of the
	// equator it is half a year later.
	Start MonthDay
	Fast  Days // days at the usual temperature, until the first step down
	Down  Ramp
	// From and To are the temperature range of the cold weeks.
	From, To Celsius
	Lasts    Days // days within that range
	Up       Ramp
	Weigh    Days   // days between weighings from the first step down to the last step up
	Water    string // advice about water
	// FirstFeed is when feeding begins again, in days after the last step up.
	FirstFeed Span
	// Pair is when pairing may begin, in days after the last step up.
	Pair Span
	// WarnLoss and StopLoss are losses of body mass, as shares of the mass at
	// the first step down. From WarnLoss on, the animal is weighed sooner. From
	// StopLoss on, its cooling ends.
	WarnLoss, StopLoss Share
}

// IsZero reports whether nothing is known about cooling the species.
func (c CoolingCare) IsZero() bool { return c.Lasts == 0 }

// Ramp is a gradual change of temperature. Steps are targets at equal intervals
// over Days. The final target is not among Steps; it is set on the day after
// Days. Without Steps, the final target is set on the first day.
type Ramp struct {
	Days  Days
	Steps []Celsius
}

// Cooling is the keeper's decision on a winter's cooling, for the animals named
// in one of the four lists.
type Cooling struct {
	ID         ID
	Animals    []ID
	Enclosures []ID
	Rooms      []ID // the room itself is cooled
	Species    []ID
	// Start is the first day without food of one winter; Every is that day for
	// all winters. If both are zero, the care sheet decides. Neither moves by
	// half a year in the south, because the keeper states dates of the local
	// calendar.
	Start civil.Date
	Every MonthDay
	Lasts Days // 0: as in the care sheet
	// From and To are zero for the range of the care sheet.
	From, To Celsius
	// Ended is the day on which warming up begins, regardless of the planned
	// weeks. A record with Ended must also state Start.
	Ended civil.Date
	Off   bool // not cooled in the winter of Start; without Start, never cooled
}

// Names reports whether the record names an animal that lives in a room.
// closeness says by what the record names the animal: 0 by the animal's id, 1
// by its enclosure, 2 by the room, 3 by its species.
func (c *Cooling) Names(a *Animal, room ID) (closeness int, ok bool) {
	for i, list := range []struct {
		ids []ID
		id  ID
	}{{c.Animals, a.ID}, {c.Enclosures, a.Enclosure}, {c.Rooms, room}, {c.Species, a.Species}} {
		if list.id != "" && slices.Contains(list.ids, list.id) {
			return i, true
		}
	}
	return 0, false
}
