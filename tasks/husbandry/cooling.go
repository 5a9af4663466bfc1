package husbandry

import (
	"slices"
	"time"

	"nestround/tasks/civil"
)

// MonthDay is a day of every year. The zero MonthDay is "not said".
type MonthDay struct {
	Month time.Month
	Day   int
}

// IsZero reports whether no day is said.
func (m MonthDay) IsZero() bool { return m == MonthDay{} }

// In returns the day in a year; 29 February is the 28th in common years.
func (m MonthDay) In(year int) civil.Date {
	first := civil.New(year, m.Month, 1)
	return first.AddDays(min(m.Day, first.AddMonths(1).Sub(first)) - 1)
}

// CoolingCare is how a species is kept through the winter: without food until
// its gut is empty, then cooler step by step, some weeks in the cold, and warm
// again. All days are counted from the day on which the fast begins.
type CoolingCare struct {
	// Usual says that the species is cooled every winter unless a record says
	// otherwise; without it only animals that a record names are.
	Usual bool
	// Start is the first day without food, in the northern year; south of the
	// equator it is half a year later.
	Start MonthDay
	Fast  Days // in the warm, until the first step down
	Down  Ramp
	// From and To bound the temperature of the cold weeks.
	From, To Celsius
	Lasts    Days // in that range
	Up       Ramp
	Weigh    Days   // days between weighings from the first step down to the last step up
	Water    string // what is said of water
	// FirstFeed is when food is offered again, in days after the last step up.
	FirstFeed Span
	// Pair is when pairing may begin, in days after the last step up.
	Pair Span
	// WarnLoss and StopLoss are the shares of the mass at the first step down
	// whose loss asks for a sooner weighing, and for the end of the cooling.
	WarnLoss, StopLoss Share
}

// IsZero reports whether nothing is known of cooling a species.
func (c CoolingCare) IsZero() bool { return c.Lasts == 0 }

// Ramp is a change of temperature spread over days: at equal distances one
// target after the other, the last of them, which is not among Steps, on the
// day after those days. Without Steps the last target is set on the first day.
type Ramp struct {
	Days  Days
	Steps []Celsius
}

// Cooling is what the keeper decides of a winter's cooling, for the animals
// named in one of the four lists.
type Cooling struct {
	ID         ID
	Animals    []ID
	Enclosures []ID
	Rooms      []ID // the temperature is that of the room
	Species    []ID
	// Start is the first day without food of one winter, Every that of all
	// winters; where both are zero the care sheet says it. Neither is flipped
	// in the south: it is the keeper's own calendar.
	Start civil.Date
	Every MonthDay
	Lasts Days // 0: the care sheet's
	// From and To are zero for those of the care sheet.
	From, To Celsius
	// Ended is the day on which warming up began, or is to begin, whatever
	// the weeks; only with Start.
	Ended civil.Date
	Off   bool // not cooled: that winter, or with no Start ever
}

// Names reports whether the record is about an animal that lives in a room,
// and how closely it names it: 0 by its own id, then by its enclosure, room
// and species.
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
