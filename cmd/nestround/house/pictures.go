package house

import (
	"fmt"
	"slices"
	"strings"

	draw "nestround/notify/picture"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// pastShown is how many earlier clutches of the same species a clutch's picture
// shows.
const pastShown = 5

// Picture is one picture about the books' animals.
type Picture struct {
	Name string // file name without extension: "clutch-K02"
	// SVG is nil if there is nothing to draw; Why then has the reason.
	SVG []byte
	Why string
}

// ClutchPictures draws every clutch that is still expected to hatch, as of a
// day, in the order of [Snapshot.Clutches].
func ClutchPictures(s *Snapshot, on civil.Date) []Picture {
	past := make(map[husbandry.ID][]draw.Past)
	var list []Picture
	for _, c := range s.Clutches(on) {
		switch {
		case c.State == herd.HatchedAll || c.State == herd.Ended:
			continue
		case c.P50.IsZero():
			list = append(list, Picture{Name: "clutch-" + string(c.ID), Why: c.Basis})
			continue
		}
		if _, ok := past[c.Species]; !ok {
			past[c.Species] = earlier(outlook.PastHatches(s.facts(s.said.end(on)), c.Species, pastShown))
		}
		f := clutchPicture(s.records, c, on)
		f.Past = past[c.Species]
		list = append(list, Picture{Name: "clutch-" + string(c.ID), SVG: f.SVG()})
	}
	return list
}

// GrowthPictures draws the growth of some animals, groups or young.
func GrowthPictures(s *Snapshot, list []outlook.Growth) []Picture {
	var drawn []Picture
	for _, g := range list {
		d := draw.Growth{Title: string(g.ID), Ounces: s.records.Units == husbandry.US}
		if g.Name != "" {
			d.Title = g.Name + " (" + string(g.ID) + ")"
		}
		species := speciesName(s.records, g.Species)
		if g.Count > 1 {
			species += fmt.Sprintf(", %d of them; the mean of one", g.Count)
		}
		d.Facts = append(d.Facts, species)
		if !g.Hatched.IsZero() {
			d.Facts = append(d.Facts, "hatched "+english.Date(g.Hatched))
		}
		others := make(map[husbandry.ID]bool)
		for _, w := range g.Weighings {
			d.Points = append(d.Points, draw.Weight{On: w.On, Grams: float64(w.Grams)})
			if w.Of != g.ID && !others[w.Of] {
				others[w.Of] = true
				if d.Basis != "" {
					d.Basis += ", "
				}
				d.Basis += string(w.Of)
			}
		}
		if d.Basis != "" {
			d.Basis = "Earlier weights are those of " + d.Basis + "."
		}
		drawn = append(drawn, Picture{Name: "weights-" + string(g.ID), SVG: d.SVG()})
	}
	return drawn
}

func earlier(list []outlook.Past) []draw.Past {
	drawn := make([]draw.Past, 0, len(list))
	for _, p := range list {
		drawn = append(drawn, draw.Past{
			Name: string(p.ID), Laid: p.Laid, P05: p.P05, P50: p.P50, P95: p.P95,
			First: p.First, Mean: p.Mean, Last: p.Last,
		})
	}
	return drawn
}

func clutchPicture(records *husbandry.Records, c outlook.ClutchForecast, on civil.Date) draw.Forecast {
	f := draw.Forecast{
		Title: "Clutch " + string(c.ID), Laid: c.Laid, On: on,
		P05: c.P05, P25: c.P25, P50: c.P50, P75: c.P75, P95: c.P95,
		WatchFrom: c.WatchFrom, WatchTo: c.WatchTo, DailyFrom: c.DailyFrom, Daily: c.Daily,
		Basis: c.Basis, Cautions: c.Cautions,
	}
	whose := speciesName(records, c.Species)
	if c.Mother != "" {
		whose = strings.TrimSpace(whose + " of " + string(c.Mother))
	}
	f.Facts = append(f.Facts, whose)
	if c.Temperature != nil {
		f.Facts = append(f.Facts, records.Units.Temperature(*c.Temperature))
	}
	if c.Eggs > 0 {
		f.Facts = append(f.Facts, english.Count(c.Eggs, "egg"))
	}
	if c.Incubator != "" {
		f.Facts = append(f.Facts, "in "+string(c.Incubator))
	}
	for _, y := range c.HatchedOn {
		f.Hatched = append(f.Hatched, draw.Young(y))
	}
	return f
}

// speciesName returns the name in a care sheet, or its id if it has no name.
func speciesName(records *husbandry.Records, id husbandry.ID) string {
	i := slices.IndexFunc(records.Species, func(s husbandry.Species) bool { return s.ID == id })
	if i < 0 || records.Species[i].Name == "" {
		return string(id)
	}
	return records.Species[i].Name
}
