package husbandry

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// Feeder is live food that is bought by the box and dies within weeks. A
// routine uses a feeder up if the routine's Consumes has the feeder's name or
// id.
type Feeder struct {
	ID   ID
	Name string // as the Consumes of a routine spells it: "small crickets"
	Pack Pack
	// Deliveries are the weekdays on which the feeder may arrive. Lead is the
	// number of days between the order and the delivery.
	Deliveries []time.Weekday
	Lead       Days
	ShelfLife  Days // days after delivery during which the feeder lives and is worth feeding
	// Safety is the safety stock: the days of use that must remain beyond the
	// next delivery.
	Safety Days
	// Stock is the number counted on the day StockOn, after that day's
	// delivery. If StockOn is zero, nobody counted.
	Stock   int
	StockOn civil.Date
	Each    Grams // mass of one insect; 0: not known
}

// Is reports whether an entry of a routine's Consumes means the feeder.
func (f *Feeder) Is(consumed string) bool {
	return consumed != "" && (strings.EqualFold(consumed, f.Name) || strings.EqualFold(consumed, string(f.ID)))
}

// Pack is the unit in which a feeder is sold: "box of 50".
type Pack struct {
	Name string // singular noun
	Of   int    // insects in a pack, at least 1
}

// ParsePack reads "box of 50".
func ParsePack(s string) (Pack, error) {
	name, of, ok := strings.Cut(strings.Join(strings.Fields(s), " "), " of ")
	n, err := strconv.Atoi(of)
	if !ok || err != nil || n < 1 || n > 1e6 || name == "" || strings.ContainsAny(name, "0123456789") {
		return Pack{}, fmt.Errorf(`%q is not a pack like "box of 50"`, s)
	}
	return Pack{name, n}, nil
}

// Count writes a number of packs: "3 boxes of 50".
func (p Pack) Count(n int) string {
	return english.Count(n, fmt.Sprintf("%s of %d", p.Name, p.Of))
}

// Amount is the food that an animal is offered at one feeding: From to To
// insects. With Share, From and To are hundredths of its body mass.
type Amount struct {
	From, To float64
	Share    bool
	Of       string // name of the food, as in Consumes; "": the first entry of Consumes
}

// IsZero reports whether no amount is stated.
func (a Amount) IsZero() bool { return a == Amount{} }

// String writes "6-8 crickets", "1 locust" or "2-3 % of body mass".
func (a Amount) String() string {
	number := func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
	s := number(a.From)
	if a.To != a.From {
		s += "-" + number(a.To)
	}
	if a.Share {
		if s += " % of body mass"; a.Of != "" {
			s += " in"
		}
	}
	if a.Of != "" {
		s += " " + a.Of
	}
	return s
}

const bodyMass = "% of body mass"

var amountForm = regexp.MustCompile(`^([0-9.]+)(?: ?(?:-|\x{2013}|to) ?([0-9.]+))?((?: .*|%.*)?)$`)

// ParseAmount reads "6-8 crickets", "6 crickets", "6-8", "2-3 % of body mass"
// or "2 % of body mass in crickets".
func ParseAmount(s string) (Amount, error) {
	wrong := fmt.Errorf(`%q is not an amount like "6-8 crickets" or "2-3 %% of body mass"`, s)
	a, ok := scanAmount(strings.Join(strings.Fields(s), " "))
	switch {
	case !ok:
		return Amount{}, wrong
	case a.To < a.From || a.To <= 0:
		return Amount{}, fmt.Errorf("%q runs from %v to %v", s, a.From, a.To)
	case a.Share && a.To > 50:
		return Amount{}, fmt.Errorf("%q is more than half of the body", s)
	case !a.Share && a.To > 10000:
		return Amount{}, fmt.Errorf("%q is more than any lizard eats", s)
	case !a.Share && (a.From != math.Trunc(a.From) || a.To != math.Trunc(a.To)):
		return Amount{}, fmt.Errorf("%q has parts of insects; write whole numbers", s)
	case strings.ContainsAny(a.Of, "0123456789%"):
		return Amount{}, wrong
	}
	return a, nil
}

// scanAmount reads the parts of an amount. ok is false if s does not have the
// form of an amount.
func scanAmount(s string) (a Amount, ok bool) {
	m := amountForm.FindStringSubmatch(s)
	if m == nil {
		return a, false
	}
	from, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return a, false
	}
	a.From, a.To = from, from
	if m[2] != "" {
		if a.To, err = strconv.ParseFloat(m[2], 64); err != nil {
			return a, false
		}
	}
	a.Of = strings.TrimSpace(m[3])
	share, ok := strings.CutPrefix(a.Of, "%")
	if !ok {
		return a, true
	}
	a.Share = true
	if share, ok = strings.CutPrefix("% "+strings.TrimSpace(share), bodyMass); !ok {
		return a, false
	}
	if share = strings.TrimSpace(share); share == "" {
		a.Of = ""
		return a, true
	}
	a.Of, ok = strings.CutPrefix(share, "in ")
	return a, ok
}

// Amounts are the amounts that a routine offers an animal, by the animal's
// condition. If the amount of a condition is zero, Usual counts.
type Amounts struct {
	Usual Amount
	// Gravid is for a gravid female, and for the two weeks after laying.
	Gravid Amount
	// The seasons of the keeper's latitude.
	Spring, Summer, Autumn, Winter Amount
}

// IsZero reports whether no amount is stated for any condition.
func (a Amounts) IsZero() bool { return a == Amounts{} }
