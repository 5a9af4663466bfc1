package outlook

import (
	"cmp"
	"fmt"
	"slices"

	"nestround/scheduler/herd"
	"nestround/scheduler/season"
	"nestround/scheduler/season/cooling"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// SpeciesYear is a calendar year of a species by these books, for a grown and
// healthy female.
type SpeciesYear struct {
	ID         husbandry.ID `json:"id"`
	Name       string       `json:"name"`
	Scientific string       `json:"scientific"`
	Year       int          `json:"year"`
	// Spans are cut at the borders of the year. They are sorted in the order of
	// YearSorts, and by date within a sort. Spans of one sort neither overlap
	// nor touch.
	Spans []YearSpan `json:"spans"` // never nil
	// Warmth has the temperatures of the winter by date. Days that are not in
	// the list have the usual warmth of the species. The list is empty if no
	// winter is known.
	Warmth []YearWarmth `json:"warmth"` // never nil
	// NoCooling says why the year has no winter; "" if the year has a winter.
	NoCooling string `json:"no_cooling,omitempty"`
}

// YearSort is the sort of a span of a species' year, such as pairing or laying.
type YearSort string

// The sorts of spans, in the order in which they are shown.
const (
	YearFood       YearSort = "food"
	YearFast       YearSort = "fast"
	YearDown       YearSort = "cooling down"
	YearCold       YearSort = "cold"
	YearUp         YearSort = "warming up"
	YearPairing    YearSort = "pairing"
	YearLaying     YearSort = "laying"
	YearIncubation YearSort = "incubation"
	YearHatching   YearSort = "hatching"
)

// YearSorts lists the sorts in the order in which they are shown.
func YearSorts() []YearSort {
	return []YearSort{YearFood, YearFast, YearDown, YearCold, YearUp, YearPairing, YearLaying, YearIncubation, YearHatching}
}

// YearSpan is a run of days, both included.
type YearSpan struct {
	Sort YearSort   `json:"sort"`
	From civil.Date `json:"from"`
	To   civil.Date `json:"to"`
	// Why is the basis of the span; "" if another span states the same basis.
	Why string `json:"why,omitempty"`
}

// YearWarmth is a run of days, both included, at one temperature or range.
type YearWarmth struct {
	From civil.Date        `json:"from"`
	To   civil.Date        `json:"to"`
	Low  husbandry.Celsius `json:"low_c"`
	High husbandry.Celsius `json:"high_c"`
}

// MiddleOf returns the day in the middle of a year. [Years] needs the facts of
// this day.
func MiddleOf(year int) civil.Date { return civil.New(year, 1, 1).AddDays(182) }

// Years returns, for each of the species in their order, the calendar year that
// contains the herd's day. Species without a care sheet are left out.
func Years(h *herd.Herd, species []husbandry.ID) []SpeciesYear {
	year := h.On.Year()
	first, last := civil.New(year, 1, 1), civil.New(year, 12, 31)
	list := []SpeciesYear{}
	eggs := h.Eggs()
	for _, id := range species {
		sheet, ok := h.CareSheet(id)
		if !ok {
			continue
		}
		y := SpeciesYear{ID: id, Name: cmp.Or(sheet.Name, string(id)), Scientific: sheet.Scientific, Year: year, Spans: []YearSpan{}, Warmth: []YearWarmth{}}
		add := func(sort YearSort, from, to civil.Date, why string) {
			from, to = civil.Max(from, first), civil.Min(to, last)
			if to.Before(from) {
				return
			}
			// Eggs of one season may still be there when the next eggs are
			// laid, so spans of one sort may overlap. Join them.
			for i := range y.Spans {
				if s := &y.Spans[i]; s.Sort == sort && !from.After(s.To.AddDays(1)) && !to.Before(s.From.AddDays(-1)) {
					s.From, s.To = civil.Min(s.From, from), civil.Max(s.To, to)
					return
				}
			}
			y.Spans = append(y.Spans, YearSpan{sort, from, to, why})
		}
		winters := h.UsualWinters(sheet)
		yearOfWinters(h, winters, &y, first, last, add)
		yearOfBreeding(h, eggs, sheet, winters, first, last, add)
		order := YearSorts()
		slices.SortStableFunc(y.Spans, func(a, b YearSpan) int {
			return cmp.Or(slices.Index(order, a.Sort)-slices.Index(order, b.Sort), a.From.Compare(b.From))
		})
		if y.NoCooling == "" && !slices.ContainsFunc(y.Spans, func(s YearSpan) bool { return s.Sort == YearCold }) {
			y.NoCooling = noCooling(sheet)
		}
		list = append(list, y)
	}
	return list
}

func noCooling(s *husbandry.Species) string {
	switch {
	case s.Cooling.IsZero():
		return "the care sheet knows no winter cooling"
	case !s.Cooling.Usual:
		return "winter cooling is left to the keeper; a [[cooling]] record turns it on"
	}
	return "no winter is planned in it"
}

func yearOfWinters(h *herd.Herd, winters []cooling.Course, y *SpeciesYear, first, last civil.Date, add func(YearSort, civil.Date, civil.Date, string)) {
	fed := first
	for i := range winters {
		c := &winters[i]
		if c.Feed.Before(first) || c.Fast.After(last) {
			continue
		}
		if !c.Fast.Before(fed) {
			add(YearFood, fed, c.Fast.AddDays(-1), "")
		}
		fed = civil.Max(fed, c.Feed)
		add(YearFast, c.Fast, c.Down.AddDays(-1), "")
		add(YearDown, c.Down, c.Cold.AddDays(-1), "")
		add(YearCold, c.Cold, c.Up.AddDays(-1), h.Degrees(c.Care.From, c.Care.To))
		add(YearUp, c.Up, c.Warm.AddDays(-1), "")
		for j, s := range c.Steps {
			if s.Usual {
				continue
			}
			from, to := civil.Max(s.On, first), civil.Min(c.Steps[j+1].On.AddDays(-1), last)
			if !to.Before(from) {
				y.Warmth = append(y.Warmth, YearWarmth{from, to, s.From, s.To})
			}
		}
	}
	if !fed.After(last) {
		add(YearFood, fed, last, "")
	}
}

// yearOfBreeding adds pairing seasons, the laying after them, and the time of
// the eggs from the first laying to the last hatching.
func yearOfBreeding(h *herd.Herd, eggs *herd.Eggs, sheet *husbandry.Species, winters []cooling.Course, first, last civil.Date, add func(YearSort, civil.Date, civil.Date, string)) {
	female := season.Female{Sheet: *sheet, Latitude: h.Latitude}
	for i := range winters {
		if c := &winters[i]; c.WasCooled() {
			female.Winters = append(female.Winters, season.Winter{Fast: c.Fast, Warm: c.Warm, Pair: c.Pair, PairBy: c.PairBy})
		}
	}
	// Eggs laid in the year before may hatch in this year.
	for female.On = first.AddDays(-365); !female.On.After(last); {
		w := season.PairingTime(female)
		if !w.Known {
			return
		}
		female.On = w.From // the words of the window name its year if that differs from the year of On
		w.Basis = season.PairingTime(female).Basis
		female.On = w.To.AddDays(1)
		add(YearPairing, w.From, w.To, w.Basis)
		after := sheet.Laying.AfterMating
		if after.IsZero() {
			continue
		}
		from, to := w.From.AddDays(int(after.From)), w.To.AddDays(int(after.To))
		words := english.DayRange(after.From, after.To) + " after mating"
		if n := sheet.Laying.Clutches; n > 1 && !sheet.Laying.Interval.IsZero() {
			to = civil.Max(to, w.From.AddDays(int(after.To)+(n-1)*int(sheet.Laying.Interval.To)))
			words += fmt.Sprintf(", up to %d clutches", n)
		}
		add(YearLaying, from, to, words)
		early, late := eggs.Hatch(sheet, from), eggs.Hatch(sheet, to)
		if early.Known && late.Known {
			add(YearIncubation, from, late.P95, "")
			add(YearHatching, early.P05, late.P95, early.Basis)
		}
	}
}
