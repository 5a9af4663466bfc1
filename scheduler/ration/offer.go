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
	Southern bool            // in the southern hemisphere, with the seasons half a year later
	Fed      bool            // the animal carries eggs, or laid within two weeks
	Mass     husbandry.Grams // from the last weighing; 0: not known
	Refused  int             // number of latest feedings in a row that the animal refused
}

// Offer is the food for one animal at one feeding.
type Offer struct {
	// Amount is the routine's amount, reduced after refusals. It is a number of
	// insects whenever it can be computed.
	Amount husbandry.Amount
	// Counted says that Amount is a number of insects.
	Counted bool
	// Less says that the amount is smaller than usual because of refusals.
	Less bool
}

// refusalsHalf is the number of refused feedings in a row after which half the
// usual amount is offered. After one refusal the lower end of the amount is
// offered (common practice: uneaten insects are taken out, because they gnaw at
// a sleeping lizard).
const refusalsHalf = 2

// For computes an offer. each is the mass of one insect, 0 if it is not known.
// A share of the body mass stays a share if each or the animal's mass is not
// known. The zero Offer means that the routine has no amount.
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

// Use returns the number of insects in the offer for n animals. Each whole
// number in the range of the offer is equally likely. A share of an unknown
// body mass counts as none.
func (o Offer) Use(n int) Use {
	if !o.Counted || n <= 0 {
		return Use{}
	}
	mean, width := (o.Amount.From+o.Amount.To)/2, o.Amount.To-o.Amount.From+1
	m := mean * float64(n)
	return Use{Mean: m, Square: m * m, Second: m*m + float64(n)*(width*width-1)/12}
}

// season returns the amount for the season of a day, in meteorological seasons
// of three whole months (World Meteorological Organization): spring is March to
// May in the north and September to November in the south.
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
