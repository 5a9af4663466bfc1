package outlook

import (
	"fmt"
	"nestround/scheduler/herd"
	"nestround/scheduler/incubation"
	"nestround/scheduler/plan"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// ClutchForecast is one line of the overview of clutches.
type ClutchForecast struct {
	ID        husbandry.ID     `json:"id"`
	Species   husbandry.ID     `json:"species"`
	Mother    husbandry.ID     `json:"mother"`
	Laid      civil.Date       `json:"laid"`
	Eggs      int              `json:"eggs"`
	Slugs     int              `json:"slugs,omitempty"` // infertile eggs; Eggs does not count them
	Incubator husbandry.ID     `json:"incubator"`
	State     herd.ClutchState `json:"state"`
	Progress  float64          `json:"progress"` // 0 to 1
	// The dates of the forecast are zero, written as "", if no hatching is
	// expected or nothing is known.
	P05              civil.Date `json:"p05"`
	P25              civil.Date `json:"p25"`
	P50              civil.Date `json:"p50"`
	P75              civil.Date `json:"p75"`
	P95              civil.Date `json:"p95"`
	WatchFrom        civil.Date `json:"watch_from"`
	WatchTo          civil.Date `json:"watch_to"`
	ProbabilityToday float64    `json:"probability_today"` // 0 to 1
	Basis            string     `json:"basis"`
	Cautions         []string   `json:"cautions"` // never nil
	// Males is the expected share of males, with a 90 % interval; nil if
	// temperature is not known to determine the sex.
	Males *incubation.Males `json:"males,omitempty"`
	// Moisture says how the tub of the clutch loses water; "" if nothing is
	// known about the tub.
	Moisture string `json:"moisture,omitempty"`

	// Fields for the terminal and the page, not for JSON: the first day on
	// which the clutch may have been laid, the eggs that hatched, and the eggs
	// found dead.
	LaidFrom      civil.Date `json:"-"`
	Hatched, Lost int        `json:"-"`
	Outside       bool       `json:"-"` // laid outside the nest box
	// Fields for pictures: the temperature of the eggs (nil when unknown), the
	// probability of each day from DailyFrom on, and the young that hatched so
	// far.
	Temperature *husbandry.Celsius `json:"-"`
	DailyFrom   civil.Date         `json:"-"`
	Daily       []float64          `json:"-"`
	HatchedOn   []herd.Young       `json:"-"`
}

// fate says, in words, how a finished clutch ended.
func fate(c *herd.Clutch) string {
	words := "no young hatched"
	if c.Hatched > 0 {
		words = fmt.Sprintf("%d hatched", c.Hatched)
	}
	if c.Eggs == 0 && c.Parted > 0 {
		return "its eggs stand in other tubs"
	}
	if c.Lost > 0 {
		words += fmt.Sprintf(", %d found dead", c.Lost)
	}
	if rest := c.Eggs - c.Hatched - c.Lost; rest > 0 && c.State == herd.Ended {
		words += ", " + english.Count(rest, "other egg") + " given up"
	}
	return words
}

// ClutchForecasts returns the clutches that still expect young, and the
// finished ones laid in the last 400 days, by laying date and id.
func ClutchForecasts(d *plan.Day) []ClutchForecast {
	list := []ClutchForecast{}
	for _, c := range d.Clutches {
		if c.Laid.After(d.On) || !c.Expecting() && c.Laid.AddDays(herd.LookBack).Before(d.On) {
			continue
		}
		line := ClutchForecast{
			ID: c.ID, Species: c.Species, Mother: c.Mother, LaidFrom: c.LaidFrom, Laid: c.Laid,
			Eggs: c.Eggs, Slugs: c.Slugs, Hatched: c.Hatched, Lost: c.Lost, Outside: c.Outside,
			Incubator: c.Incubator, State: c.State, Cautions: []string{},
		}
		if at := d.Standing(c).Incubator; at != nil && c.State != herd.InBox {
			line.Incubator = at.ID
		}
		switch {
		case c.State == herd.HatchedAll:
			line.Progress = 1
			line.Basis = fate(c)
		case c.State == herd.Ended:
			line.Basis = fate(c)
		default:
			f := d.Hatching(c)
			line.Progress = f.Progress(d.On)
			line.P05, line.P25, line.P50, line.P75, line.P95 = f.P05, f.P25, f.P50, f.P75, f.P95
			if f.Known {
				line.WatchFrom, line.WatchTo, _ = d.HatchSpan(c, f)
			}
			line.ProbabilityToday = f.Probability(d.On)
			line.Basis, line.Males = f.Basis, f.Males
			line.DailyFrom, line.Daily = f.Daily()
			line.Temperature, line.HatchedOn = d.Standing(c).Temperature, c.HatchedOn
			line.Moisture = d.TubWords(c)
			line.Cautions = append(line.Cautions, f.Cautions...)
			if _, _, over := d.HatchSpan(c, f); f.Known && over {
				line.Cautions = append(line.Cautions, d.Records.CautionFor(herd.ReviewHatch))
			}
		}
		list = append(list, line)
	}
	return list
}
