package incubation

import (
	"fmt"
	"math"
	"sync"

	"nestround/scheduler/incubation/published"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// cautions warns if the eggs are outside the temperatures that eggs of the
// species have survived, and names the paper. For a species without data the
// family is used.
func (c *Case) cautions() []string {
	now, ok := c.now()
	if !ok {
		return nil
	}
	t := now.Temperature
	list := safety(Question{Sheet: c.Sheet, Temperature: &t, Swing: now.Swing, Units: c.Units})
	whose := c.Species
	rows := hatched().species[c.Species]
	if len(rows) == 0 {
		whose = c.family()
		rows = hatched().family[whose]
	}
	// A temperature counts as survivable if at least four in ten eggs of a
	// treatment hatched at this temperature on average.
	const enough = 0.4
	var cold, hot *published.Share
	for i := range rows {
		if r := &rows[i]; r.Fraction >= enough {
			if cold == nil || r.Celsius < cold.Celsius {
				cold = r
			}
			if hot == nil || r.Celsius > hot.Celsius {
				hot = r
			}
		}
	}
	if cold == nil {
		return list
	}
	say := func(word string, edge *published.Share) {
		words := fmt.Sprintf("%s is %s than any mean temperature at which four in ten eggs of %s are known to have hatched (%s, %s)",
			c.Units.Temperature(t), word, whose, c.Units.Temperature(husbandry.Celsius(edge.Celsius)), edge.Paper)
		for _, r := range rows {
			if math.Abs(r.Celsius-float64(t)) <= .75 {
				words += fmt.Sprintf("; %s did at %s (%s)", english.PercentRounded(r.Fraction), c.Units.Temperature(husbandry.Celsius(r.Celsius)), r.Paper)
				break
			}
		}
		list = append(list, words)
	}
	switch {
	case float64(t) < cold.Celsius-.5:
		say("colder", cold)
	case float64(t) > hot.Celsius+.5:
		say("hotter", hot)
	}
	return list
}

// shares has the published counts by species and by family.
type shares struct{ species, family map[string][]published.Share }

func sorted(rows []published.Share) shares {
	s := shares{make(map[string][]published.Share), make(map[string][]published.Share)}
	for _, r := range rows {
		s.species[r.Species] = append(s.species[r.Species], r)
		s.family[r.Family] = append(s.family[r.Family], r)
	}
	return s
}

var (
	hatched = sync.OnceValue(func() shares { return sorted(published.Hatched()) })
	sexed   = sync.OnceValue(func() shares { return sorted(published.Sexes()) })
)

// males returns the expected share of males, from counts near the clutch's
// temperature. It returns nil if the care sheet does not say that temperature
// determines the sex, or if there are no counts near the temperature. The
// weight of a count falls with its distance in temperature, over about a
// degree. Three young count as one, because colonies differ.
func (c *Case) males() *Males {
	now, ok := c.now()
	if !ok || !c.Sheet.TemperatureSex {
		return nil
	}
	var k, n float64
	for _, r := range sexed().species[c.Species] {
		if r.Eggs == 0 {
			continue
		}
		d := (r.Celsius - float64(now.Temperature)) / .5
		if w := math.Exp(-d * d / 2); math.Abs(d) < 4 {
			k, n = k+w*r.Fraction*r.Eggs/3, n+w*r.Eggs/3
		}
	}
	if n < 1 {
		return nil
	}
	// The Wilson score interval, 90 %.
	const z = 1.6448536269514722
	mid, p := (k+z*z/2)/(n+z*z), k/n
	half := z / (n + z*z) * math.Sqrt(n*p*(1-p)+z*z/4)
	return &Males{Mean: p, From: max(0, min(p, mid-half)), To: min(1, max(p, mid+half))}
}
