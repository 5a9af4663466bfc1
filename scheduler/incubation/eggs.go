package incubation

import (
	"fmt"
	"math"
	"sync"

	"nestround/scheduler/incubation/published"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// cautions says where the eggs stand outside of what eggs of the species, or
// else of its family, have survived, and on which paper's word.
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
	// The coldest and hottest means at which four in ten eggs or more hatched.
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

// shares are published counts by whose they are.
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

// males returns the share of males expected where the care sheet says that
// sex follows temperature and somebody has counted near this temperature; nil
// otherwise. Counts within about a degree are weighed by their distance; as
// colonies differ, three young count as one.
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
	// Wilson's interval, 90 %.
	const z = 1.6448536269514722
	mid, p := (k+z*z/2)/(n+z*z), k/n
	half := z / (n + z*z) * math.Sqrt(n*p*(1-p)+z*z/4)
	return &Males{Mean: p, From: max(0, min(p, mid-half)), To: min(1, max(p, mid+half))}
}
