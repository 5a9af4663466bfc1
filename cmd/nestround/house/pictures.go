package house

import (
	"slices"
	"strings"

	draw "nestround/notify/picture"
	"nestround/scheduler"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// pastShown is how many earlier clutches of its species stand in a clutch's
// picture.
const pastShown = 5

// ClutchPicture is the picture of one clutch that still expects young.
type ClutchPicture struct {
	Clutch husbandry.ID
	// SVG is nil where nothing can be forecast, and Why says why.
	SVG []byte
	Why string
}

// ClutchPictures draws every clutch that still expects young, as of a day, in
// the order of Clutches.
func (h *House) ClutchPictures(on civil.Date) []ClutchPicture {
	h.mu.Lock()
	defer h.mu.Unlock()
	in := h.input(h.history.Before(on.AddDays(1)), on, on)
	past := make(map[husbandry.ID][]draw.Past)
	var list []ClutchPicture
	for _, c := range scheduler.ClutchForecasts(in) {
		switch {
		case c.State == scheduler.HatchedAll || c.State == scheduler.Ended:
			continue
		case c.P50.IsZero():
			list = append(list, ClutchPicture{Clutch: c.ID, Why: c.Basis})
			continue
		}
		if _, ok := past[c.Species]; !ok {
			past[c.Species] = earlier(scheduler.PastHatches(in, c.Species, pastShown))
		}
		f := h.clutchPicture(c, on)
		f.Past = past[c.Species]
		list = append(list, ClutchPicture{Clutch: c.ID, SVG: f.SVG()})
	}
	return list
}

func earlier(list []scheduler.Past) []draw.Past {
	drawn := make([]draw.Past, 0, len(list))
	for _, p := range list {
		drawn = append(drawn, draw.Past{
			Name: string(p.ID), Laid: p.Laid, P05: p.P05, P50: p.P50, P95: p.P95,
			First: p.First, Mean: p.Mean, Last: p.Last,
		})
	}
	return drawn
}

func (h *House) clutchPicture(c scheduler.ClutchForecast, on civil.Date) draw.Forecast {
	f := draw.Forecast{
		Title: "Clutch " + string(c.ID), Laid: c.Laid, On: on,
		P05: c.P05, P25: c.P25, P50: c.P50, P75: c.P75, P95: c.P95,
		WatchFrom: c.WatchFrom, WatchTo: c.WatchTo, DailyFrom: c.DailyFrom, Daily: c.Daily,
		Basis: c.Basis, Cautions: c.Cautions,
	}
	whose := h.speciesName(c.Species)
	if c.Mother != "" {
		whose = strings.TrimSpace(whose + " of " + string(c.Mother))
	}
	f.Facts = append(f.Facts, whose)
	if c.Temperature != nil {
		f.Facts = append(f.Facts, h.records.Units.Temperature(*c.Temperature))
	}
	if c.Eggs > 0 {
		f.Facts = append(f.Facts, plural(c.Eggs, "egg", "eggs"))
	}
	if c.Incubator != "" {
		f.Facts = append(f.Facts, "in "+string(c.Incubator))
	}
	for _, y := range c.HatchedOn {
		f.Hatched = append(f.Hatched, draw.Young(y))
	}
	return f
}

// speciesName is the name of a care sheet, or its id where it has none.
func (h *House) speciesName(id husbandry.ID) string {
	i := slices.IndexFunc(h.records.Species, func(s husbandry.Species) bool { return s.ID == id })
	if i < 0 || h.records.Species[i].Name == "" {
		return string(id)
	}
	return h.records.Species[i].Name
}
