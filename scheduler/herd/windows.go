package herd

import (
	"fmt"
	"slices"

	"nestround/scheduler/incubation"
	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// restOfClutch is the least number of days after the last hatchling for which
// the remaining eggs are watched (common practice).
const restOfClutch = 7

// Hatching forecasts when the young of a clutch hatch.
func (h *Herd) Hatching(c *Clutch) incubation.Forecast {
	return h.hatch.of(c.ID, func() incubation.Forecast { return h.fore.Hatch(h, c) })
}

// Watchable reports whether the keeper is concerned with an animal's laying and
// pairing: a grown female that is bred from or known to carry eggs.
func (h *Herd) Watchable(a *Animal) bool {
	return a.Sex == husbandry.Female && a.Count == 1 && a.PresentOn(h.On) &&
		(!a.GravidOn(h.On).IsZero() || a.Breeding && a.StageOn(h.On) == husbandry.Adult)
}

// Laying forecasts when a female lays next. The window is unknown for an animal
// that is not [Herd.Watchable].
func (h *Herd) Laying(a *Animal) season.Window {
	return h.lay.of(a.ID, func() (w season.Window) {
		if h.Watchable(a) {
			w = h.fore.Laying(h, a)
		}
		return w
	})
}

// PairingOf says whether a female may be paired, when and with whom.
func (h *Herd) PairingOf(a *Animal) Pairing {
	return h.pairs.of(a.ID, func() Pairing {
		var w season.Window
		switch {
		case !h.Watchable(a) || !a.Breeding:
		case !h.mates[a.Species]:
			w.Basis = "no grown male of her species is marked for breeding"
		case a.In(husbandry.Apart, h.On):
			w.Basis = "she is in quarantine since " + h.DateWords(a.Apart.Began)
		case h.unwell(a):
			w.Basis = "illness was noted of her"
		case h.LivesWithMale(a):
			w.Basis = "a grown male lives with her"
		case (breeding{h}).tooThin(a) != "":
			w.Basis = breeding{h}.tooThin(a)
		default:
			return breeding{h}.paired(a, breeding{h}.rawPairing(a))
		}
		return Pairing{Window: w}
	})
}

// LivesWithMale reports whether a grown male of the animal's species lives in
// the animal's enclosure.
func (h *Herd) LivesWithMale(a *Animal) bool {
	return slices.ContainsFunc(h.Residents(a.Enclosure), func(m *Animal) bool {
		return m.Sex == husbandry.Male && m.Species == a.Species && m.PresentOn(h.On) && m.StageOn(h.On) == husbandry.Adult
	})
}

// HatchSpan returns the first and the last day on which a clutch is watched.
// over says that these days have passed and more young are expected.
func (h *Herd) HatchSpan(c *Clutch, f incubation.Forecast) (from, to civil.Date, over bool) {
	from, to = f.WatchFrom, f.WatchTo
	if first := c.FirstHatched(); !first.IsZero() {
		from = civil.Min(from, first)
		to = civil.Max(to, c.LastHatched().AddDays(restOfClutch))
	}
	// If the eggs were never counted, the young that hatched may be all of
	// them.
	return from, to, h.On.After(to) && !(c.Eggs == 0 && c.Hatched > 0)
}

// HatchWords is "Day 41 of clutch C27-04 (laid 12 May, 28.0 °C): hatching most
// likely 22-28 June, 18 % today". The most likely days are those between the
// quartiles.
func (h *Herd) HatchWords(c *Clutch, f incubation.Forecast, day civil.Date) string {
	words := fmt.Sprintf("Day %d of clutch %s (laid %s", day.Sub(f.Laid), c.ID, h.LaidWords(c))
	if t := h.Standing(c).Temperature; t != nil {
		words += ", " + h.Records.Units.Temperature(*t)
	}
	words += "): "
	if c.Hatched > 0 {
		words += fmt.Sprintf("%d hatched", c.Hatched)
		if rest := c.Eggs - c.Hatched; rest > 0 {
			words += ", " + english.Count(rest, "egg") + " to come"
		}
		words += "; "
	}
	likely := "hatching most likely " + english.Span(f.P25, f.P75, h.On)
	switch {
	case f.Overdue:
		return words + "past its window, hatching was " + likely[len("hatching "):]
	case day == h.On:
		return words + likely + ", " + english.Percent(f.Probability(day)) + " today"
	}
	return words + likely + ", " + english.Percent(f.Probability(day)) + " on this day"
}

// LaidWords says when a clutch was laid: "12 May", or "between 10 May and 12
// May".
func (h *Herd) LaidWords(c *Clutch) string {
	if c.LaidFrom.Before(c.Laid) {
		return "between " + h.DateWords(c.LaidFrom) + " and " + h.DateWords(c.Laid)
	}
	return h.DateWords(c.Laid)
}

// LayWords is "Eggs expected 12-20 May, 18 % today: 24-32 days after ...".
func (h *Herd) LayWords(w season.Window, day civil.Date) string {
	chance := w.Chance(h.On, day) - w.Chance(h.On, day.AddDays(-1))
	words := "Eggs expected " + english.Span(w.From, w.To, h.On)
	switch {
	case chance == 0 || h.On.After(w.To):
	case day == h.On:
		words += ", " + english.Percent(chance) + " today"
	default:
		words += ", " + english.Percent(chance) + " on this day"
	}
	return words + ": " + w.Basis
}

// WindowWords is "Pairing window 10-24 March: ...".
func (h *Herd) WindowWords(name husbandry.WindowName, w season.Window) string {
	span := english.Span(w.From, w.To, h.On)
	switch name {
	case husbandry.LayWindow:
		return "Eggs expected " + span + ": " + w.Basis
	case husbandry.PairingWindow:
		return "Pairing window " + span + ": " + w.Basis
	}
	return "Eggs may show " + span + ": " + w.Basis
}

// GravidTime is the time between pairing and laying in which eggs may be felt
// in a female. It is not known if nothing tells when she lays.
func (h *Herd) GravidTime(a *Animal) (w season.Window) {
	if laying := h.Laying(a); laying.Known {
		w = season.GravidTime(Plain{}.female(h, a), laying)
	}
	return w
}
