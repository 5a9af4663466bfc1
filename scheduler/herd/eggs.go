package herd

import (
	"nestround/scheduler/incubation"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Eggs forecasts the hatching of eggs that might be laid on any day, with the
// species and incubators of a herd. Make an Eggs with [Herd.Eggs]. It is not
// safe for concurrent use.
type Eggs struct{ herd *Herd }

// Eggs returns a forecaster of eggs that might be laid on any day.
func (h *Herd) Eggs() *Eggs {
	return &Eggs{&Herd{
		Records: h.Records, History: h.History, Clutches: h.Clutches, Latitude: h.Latitude,
		clutches: h.clutches, incubators: h.incubators, species: h.species, lastIncubator: h.lastIncubator, fore: h.fore,
	}}
}

// Hatch forecasts eggs laid on a day, in the incubator where eggs of the
// species usually stand.
func (e *Eggs) Hatch(sheet *husbandry.Species, laid civil.Date) incubation.Forecast {
	e.herd.On = laid
	return e.herd.fore.Hatch(e.herd, &Clutch{Clutch: husbandry.Clutch{Species: sheet.ID, LaidFrom: laid, Laid: laid}})
}
