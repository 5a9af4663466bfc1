package outlook

import (
	"math"
	"nestround/scheduler/plan"
	"nestround/scheduler/ration"
	"nestround/scheduler/rule"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// FeederStock is one line of the overview of live food.
type FeederStock struct {
	ID        husbandry.ID `json:"id"`
	Name      string       `json:"name"`
	Counted   int          `json:"counted"`
	CountedOn civil.Date   `json:"counted_on"` // "" for never
	// InHand is the number of insects now, Week the number used in the coming
	// seven days.
	InHand Range `json:"in_hand"`
	Week   Range `json:"week"`
	// Given is the share of planned feedings that are given and eaten. Factor
	// is the number of insects that leave the stock for each insect that the
	// books plan.
	Given  float64 `json:"given"`
	Factor float64 `json:"factor"`
	// LastsTo is the last day for which the stock and the ordered insects are
	// enough. It is "" if that day is beyond the days that the outlook covers.
	LastsTo civil.Date `json:"lasts_to"`
	// The next order. The fields are "" and 0 if no order is due within the
	// days that the outlook covers.
	OrderBy  civil.Date `json:"order_by"`
	Delivery civil.Date `json:"delivery"`
	Packs    int        `json:"packs"`
	Pack     string     `json:"pack"` // "3 boxes of 50"
	Why      string     `json:"why"`
}

// Range is a mean with the limits of the 90 % interval about the mean.
type Range struct {
	Mean int `json:"mean"`
	Low  int `json:"low"`
	High int `json:"high"`
}

func rangeOf(f ration.Forecast) Range {
	return Range{int(math.Round(f.Mean)), int(math.Round(f.Low)), int(math.Round(f.High))}
}

// FeederStocks returns every feeder of the records with its stock and use, and
// with its next order until the Day's To.
func FeederStocks(d *plan.Day) []FeederStock {
	list := []FeederStock{}
	for i := range d.Records.Feeders {
		f := &d.Records.Feeders[i]
		s := rule.StockOf(d, f)
		line := FeederStock{
			ID: f.ID, Name: f.Name, Counted: s.Counted, CountedOn: s.CountedOn,
			InHand: rangeOf(s.Now()), Week: rangeOf(s.Weekly()), Given: hundredths(s.Keeper.Share()), Factor: hundredths(s.Keeper.Factor()),
		}
		until := d.On.AddDays(ration.LongestReach(d.Records.Feeders))
		if last := s.LastsTo(until); last.Before(until) {
			line.LastsTo = last
		}
		for _, o := range s.Orders(d.UntilReturn()) {
			if o.Packs > 0 && line.Packs == 0 {
				if away := d.Absence(o.By); away != nil && away.From.After(d.On) {
					o.By = away.From.AddDays(-1)
				}
				line.OrderBy, line.Delivery, line.Packs, line.Pack, line.Why = o.By, o.Delivery, o.Packs, f.Pack.Count(o.Packs), s.OrderWords(d, o)
			}
		}
		list = append(list, line)
	}
	return list
}

func hundredths(x float64) float64 { return math.Round(x*100) / 100 }
