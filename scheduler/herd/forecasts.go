package herd

import (
	"fmt"
	"math"
	"slices"

	"nestround/scheduler/incubation"
	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Forecasts answers three questions about the future: hatching, laying and
// pairing. An implementation is pure: the same herd, day and record give the
// same answer. A herd asks each question once for each record.
type Forecasts interface {
	// Hatch forecasts a clutch that still expects young, as of h.On.
	Hatch(h *Herd, c *Clutch) incubation.Forecast
	// Laying returns the days within which a female is expected to lay next.
	Laying(h *Herd, female *Animal) season.Window
	// Pairing returns the days within which a female may be paired.
	Pairing(h *Herd, female *Animal) season.Window
}

// Calibrated is the usual Forecasts. It forecasts hatching with
// [incubation.Calibrated], from published measurements of the species and its
// relatives and from the keeper's own clutches. It forecasts laying and pairing
// as [Plain] does. Several herds may share a Calibrated.
type Calibrated struct {
	Plain
	// Logged has the temperatures of each incubator's log by day; nil if there
	// are no logs. For days without a log, and for days to come, the
	// temperature of an incubator is its set temperature, shifted by the usual
	// difference between log and setting at that time.
	Logged map[husbandry.ID]map[civil.Date][]husbandry.Celsius
}

// lesson has the keeper's clutches and the incubator logs that the forecasts
// learn from.
type lesson struct {
	keeper *incubation.Keeper
	log    logs
}

var _ Forecasts = (*Calibrated)(nil)

// Hatch implements Forecasts.
func (p *Calibrated) Hatch(h *Herd, c *Clutch) incubation.Forecast {
	keeper, log := p.taught(h)
	q, logged := p.brood(h, c, log)
	f := incubation.Calibrated(keeper, q)
	if f.Known && logged > 0 {
		f.Basis += fmt.Sprintf("; its incubator's log has %d of its %s", logged, english.Days(h.On.Sub(c.Laid)))
		if at := h.Standing(c); at.Incubator != nil && !at.Own {
			if now, ok := log.expected(at.Incubator, h.On, h.On); ok {
				if t := h.Records.Units.Temperature(now.Temperature); t != h.Records.Units.Temperature(*at.Temperature) {
					f.Basis += fmt.Sprintf(", days to come count at %s as lately logged", t)
				}
			}
		}
	}
	stand := h.Standing(c)
	if stand.Assumed && stand.Temperature != nil {
		f.Cautions = append(f.Cautions, fmt.Sprintf("taken to stand in %s; a clutch record says where it really stands", stand.Incubator.ID))
	}
	return f
}

// taught returns the results of learning from the clutches that ended before
// the herd's day, and the logs until that day. Clutches that hatch today count
// from tomorrow on, so today's forecasts stay as announced.
func (p *Calibrated) taught(h *Herd) (*incubation.Keeper, logs) {
	l := h.lessons.of(p, func() lesson {
		log := logsOf(h, p.Logged)
		var cases []incubation.Case
		for _, c := range h.Clutches {
			if len(c.HatchedOn) > 0 && !c.Expecting() && c.LastHatched() != h.On && c.Ended != h.On {
				q, _ := p.brood(h, c, log)
				cases = append(cases, q)
			}
		}
		// The latest clutches are enough: older ones hardly change the result.
		const enough = 300
		return lesson{incubation.LearnFrom(cases[max(0, len(cases)-enough):]), log}
	})
	return l.keeper, l.log
}

// brood describes a clutch in the form that the forecast needs. logged is the
// number of days of the clutch that have a log.
func (p *Calibrated) brood(h *Herd, c *Clutch, log logs) (q incubation.Case, logged int) {
	sheet := h.Species(c.Species)
	q = incubation.Case{
		Species: sheet.Binomial(), Family: sheet.Family, Sheet: sheet.Incubation,
		LaidFrom: c.LaidFrom, Laid: c.Laid, Eggs: c.Eggs, Lost: c.Lost, On: h.On, Units: h.Records.Units,
	}
	if !c.Veins.After(h.On) {
		q.Veins = c.Veins
	}
	for _, y := range c.HatchedOn {
		q.Hatched = append(q.Hatched, incubation.Young(y))
	}
	if at := h.Standing(c).Incubator; at != nil {
		q.Incubator = string(at.ID)
	}
	last := p.settled(h, c)
	for day := c.Laid; ; day = day.AddDays(1) {
		s, ok := p.spell(h, c, day, log)
		if !ok {
			// A day without a known temperature gets the temperature of the
			// next known day.
			if day.Before(last) {
				continue
			}
			return q, logged
		}
		s.Days = day.Sub(c.Laid) + 1
		for _, before := range q.Warmth {
			s.Days -= before.Days
		}
		if len(s.Logged) > 0 {
			logged++
		}
		if n := len(q.Warmth); n > 0 && sameWarmth(&q.Warmth[n-1], &s) {
			q.Warmth[n-1].Days += s.Days
		} else {
			q.Warmth = append(q.Warmth, s)
		}
		if !day.Before(last) {
			return q, logged
		}
	}
}

// spell returns the temperatures of a clutch on a day: from the log of that
// day, else from nearby days of the log, else from the records. ok is false if
// no temperature is known.
func (p *Calibrated) spell(h *Herd, c *Clutch, day civil.Date, log logs) (s incubation.Spell, ok bool) {
	stand := h.StandingOn(c, day)
	if stand.Temperature == nil {
		return s, false
	}
	s = incubation.Spell{Temperature: *stand.Temperature, Swing: stand.Swing}
	if stand.Incubator == nil || stand.Own {
		return s, true
	}
	if day.Before(h.On) {
		s.Logged = p.Logged[stand.Incubator.ID][day]
	}
	if len(s.Logged) == 0 {
		if as, ok := log.expected(stand.Incubator, day, h.On); ok {
			s.Temperature, s.Swing = as.Temperature, as.Swing
		}
	}
	return s, true
}

// sameWarmth reports whether two spells without a log have the same temperature
// and swing.
func sameWarmth(a, b *incubation.Spell) bool {
	return len(a.Logged) == 0 && len(b.Logged) == 0 && a.Temperature == b.Temperature && a.Swing == b.Swing
}

// logs are the logged days of each incubator, by date.
type logs map[husbandry.ID][]loggedDay

// loggedDay is a day of an incubator's log.
type loggedDay struct {
	day   civil.Date
	off   float64 // mean of the day less the set point, °C
	swing float64 // half the range of the day, °C
}

// Parameters for days without log readings (common practice). If an incubator
// is a little off its setting, or its two thermometers differ, the difference
// is assumed to last. If it is far off, it has a fault that will be mended,
// unless the log shows that the fault lasts.
const (
	nearestDays = 14  // number of nearest logged days that are used
	fewestDays  = 3   // fewest logged days that are enough
	farthest    = 30  // most days to the nearest logged day
	stillSo     = 3   // a fault logged within this many days still lasts
	modestly    = 2.0 // °C from the set point; a larger difference is a fault
	steadyDay   = 0.5 // half the range of a day that counts as constant, °C
)

// logsOf collects the logged days before the herd's day.
func logsOf(h *Herd, logged map[husbandry.ID]map[civil.Date][]husbandry.Celsius) logs {
	all := make(logs)
	for id, log := range logged {
		at := h.incubators[id]
		if at == nil {
			continue
		}
		for day, readings := range log {
			if !day.Before(h.On) || len(readings) == 0 {
				continue
			}
			sum := husbandry.Celsius(0)
			for _, t := range readings {
				sum += t
			}
			all[id] = append(all[id], loggedDay{
				day: day, off: float64(sum/husbandry.Celsius(len(readings)) - at.SetTo(day)),
				swing: float64(slices.Max(readings)-slices.Min(readings)) / 2,
			})
		}
		slices.SortFunc(all[id], func(a, b loggedDay) int { return a.day.Compare(b.day) })
	}
	return all
}

// expected returns the temperature of an incubator on a day without a log: its
// setting, shifted by the median difference of the nearest logged days. With
// the median, one power cut or hot afternoon does not count. ok is false if
// there are too few logged days.
func (l logs) expected(at *husbandry.Incubator, day, on civil.Date) (s incubation.Spell, ok bool) {
	log, about := l[at.ID], civil.Min(day, on)
	from, _ := slices.BinarySearchFunc(log, about, func(a loggedDay, d civil.Date) int { return a.day.Compare(d) })
	away := func(i int) int { return max(log[i].day.Sub(about), about.Sub(log[i].day)) }
	to := from
	for to-from < nearestDays {
		before, after := from > 0 && away(from-1) <= farthest, to < len(log) && away(to) <= farthest
		switch {
		case before && (!after || away(from-1) <= away(to)):
			from--
		case after:
			to++
		}
		if !before && !after {
			break
		}
	}
	if to-from < fewestDays {
		return s, false
	}
	nearest := farthest
	var offs, swings []float64
	for i := from; i < to; i++ {
		nearest = min(nearest, away(i))
		offs, swings = append(offs, log[i].off), append(swings, log[i].swing)
	}
	slices.Sort(offs)
	slices.Sort(swings)
	off, swing := offs[len(offs)/2], swings[len(swings)/2]
	if math.Abs(off) > modestly && nearest > stillSo {
		return s, false
	}
	if swing < steadyDay {
		swing = 0
	}
	return incubation.Spell{Temperature: at.SetTo(day) + husbandry.Celsius(math.Round(10*off)/10), Swing: husbandry.Celsius(math.Round(10*swing) / 10)}, true
}

// settled returns the first day after which the temperature of a clutch does
// not change, as far as is known.
func (p *Calibrated) settled(h *Herd, c *Clutch) civil.Date {
	last := c.Laid
	incubators := []husbandry.ID{}
	if at := h.StandingOn(c, c.Laid).Incubator; at != nil {
		incubators = append(incubators, at.ID)
	}
	for _, m := range c.Moves {
		last = civil.Max(last, m.On)
		incubators = append(incubators, m.Incubator)
	}
	for _, id := range incubators {
		if len(p.Logged[id]) > 0 {
			last = civil.Max(last, h.On)
		}
		if at := h.incubators[id]; at != nil && len(at.Was) > 0 {
			last = civil.Max(last, at.Was[len(at.Was)-1].Until.AddDays(1))
		}
	}
	return last
}

// Plain forecasts hatching by degree-days from the care sheet alone. It
// forecasts laying and pairing from the seasons and spans of the care sheet.
type Plain struct {
	Latitude float64 // of the keeper, degrees; below 0 flips the seasons
}

var _ Forecasts = Plain{}

// Hatch implements Forecasts with [incubation.Hatching].
func (p Plain) Hatch(h *Herd, c *Clutch) incubation.Forecast {
	q := incubation.Question{
		Sheet: h.Species(c.Species).Incubation, LaidFrom: c.LaidFrom, Laid: c.Laid,
		On: h.On, Units: h.Records.Units,
	}
	stand := h.Standing(c)
	q.Temperature, q.Swing = stand.Temperature, stand.Swing
	f := incubation.Hatching(q)
	if stand.Assumed && stand.Temperature != nil {
		f.Cautions = append(f.Cautions, fmt.Sprintf("taken to stand in %s; a clutch record says where it really stands", stand.Incubator.ID))
	}
	return f
}

// Laying implements Forecasts with [season.LayingTime].
func (p Plain) Laying(h *Herd, a *Animal) season.Window { return season.LayingTime(p.female(h, a)) }

// Pairing implements Forecasts with [season.PairingTime].
func (p Plain) Pairing(h *Herd, a *Animal) season.Window { return season.PairingTime(p.female(h, a)) }

func (p Plain) female(h *Herd, a *Animal) season.Female {
	f := season.Female{ID: a.ID, Colony: h.colony[a.Species], Sheet: *h.Species(a.Species), Latitude: p.Latitude, Mated: a.Mated, Gravid: a.GravidOn(h.On), On: h.On}
	f.Clutches = a.Layings(h.On)
	f.Winters = cooledFor(a)
	f.Paired, f.Parted = a.Together.From, a.Together.Until
	return f
}
