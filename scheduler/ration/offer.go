package ration

import (
	"math"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Eater is an animal at a feeding.
type Eater struct {
	On       civil.Date
	Southern bool            // the seasons are those of the southern hemisphere
	Fed      bool            // she carries eggs, or laid within two weeks
	Mass     husbandry.Grams // as last weighed; 0: not known
	Refused  int             // feedings refused in a row until then
}

// Offer is what one animal is offered at one feeding.
type Offer struct {
	// Amount is the routine's, or what is left of it after refusals, and as
	// insects wherever it can be counted in them.
	Amount husbandry.Amount
	// Counted says that Amount is a number of insects.
	Counted bool
	// Less says that it is less than usual because of refusals.
	Less bool
}

// refusalsHalf is after how many feedings refused in a row half is offered;
// after one it is the smaller amount (common practice: what is not eaten is
// taken out, for it gnaws at a lizard that sleeps).
const refusalsHalf = 2

// For works out an offer. each is the mass of one of what is offered, 0 where
// it is not known: a share of the body mass then stays one, as it does for an
// animal that was never weighed. The zero Offer means that no amount is said.
func For(a husbandry.Amounts, e Eater, each husbandry.Grams) Offer {
	amount := a.Usual
	if s := season(a, e); !s.IsZero() {
		amount = s
	}
	if e.Fed && !a.Gravid.IsZero() {
		amount = a.Gravid
	}
	if amount.IsZero() {
		return Offer{}
	}
	o := Offer{Amount: amount, Counted: !amount.Share}
	if amount.Share && each > 0 && e.Mass > 0 {
		insects := func(percent float64) float64 { return percent / 100 * float64(e.Mass) / float64(each) }
		o.Amount.Share, o.Counted = false, true
		o.Amount.From = math.Max(1, math.Floor(insects(amount.From)+1e-9))
		o.Amount.To = math.Max(1, math.Ceil(insects(amount.To)-1e-9))
	}
	if e.Refused == 0 {
		return o
	}
	o.Amount.To = o.Amount.From
	if e.Refused >= refusalsHalf {
		o.Amount.From /= 2
		o.Amount.To = o.Amount.From
	}
	if o.Counted {
		o.Amount.From = math.Max(1, math.Ceil(o.Amount.From))
		o.Amount.To = o.Amount.From
	}
	o.Less = o.Amount.To < amount.To || amount.Share
	return o
}

// Use is how many insects the offer takes for n animals: any whole number of
// its range is as likely as another. A share of a body mass that is not known
// takes nobody knows how many, and counts as none.
func (o Offer) Use(n int) Use {
	if !o.Counted || n <= 0 {
		return Use{}
	}
	mean, width := (o.Amount.From+o.Amount.To)/2, o.Amount.To-o.Amount.From+1
	m := mean * float64(n)
	return Use{Mean: m, Square: m * m, Second: m*m + float64(n)*(width*width-1)/12}
}

// season returns what is said for the season of a day, by the meteorologists'
// seasons of three whole months (World Meteorological Organization): spring is
// March to May in the north and September to November in the south.
func season(a husbandry.Amounts, e Eater) husbandry.Amount {
	month := int(e.On.Month())
	if e.Southern {
		month = (month+5)%12 + 1
	}
	switch time.Month(month) {
	case time.March, time.April, time.May:
		return a.Spring
	case time.June, time.July, time.August:
		return a.Summer
	case time.September, time.October, time.November:
		return a.Autumn
	}
	return a.Winter
}
