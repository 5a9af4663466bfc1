// Package cooling computes the dates of a winter: the fast, the steps down, the
// weeks in the cold, the steps up, the first food, and the first days of
// pairing.
//
// Start with [New], which makes a [Course] from a care sheet and the first day
// without food. [Course.Phase] returns the phase on a day. [Course.WarmedFrom]
// moves the first step up to another day than planned. [Losing] judges a
// weight. [Start] returns the first day of a year's winter, north or south of
// the equator.
//
// The scheduler decides which animals are cooled and which tasks the keeper
// gets. The care sheet provides all lengths and temperatures; the package has
// no such numbers.
package cooling

import (
	"strconv"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Phase is the stage of a winter.
type Phase string

// The phases, in order.
const (
	Before  Phase = "before"
	Fasting Phase = "fasting" // warm, without food
	Down    Phase = "cooling down"
	Cold    Phase = "cold"
	Up      Phase = "warming up"
	Warm    Phase = "warm"  // at the usual warmth again, not fed yet
	Fed     Phase = "fed"   // the first food is offered on its first day
	Ready   Phase = "ready" // pairing may begin
)

// Step is a temperature to set, and its day.
type Step struct {
	// Name is unique within a course and stays the same when the dates change:
	// "down-1", "cold", "up-1", "warm".
	Name string
	On   civil.Date
	// From and To are the target temperature. They differ only in the cold
	// weeks, which have a range. If Usual is true, the target is the species'
	// usual warmth instead.
	From, To husbandry.Celsius
	Usual    bool
}

// Course is one winter with its dates. Each date is the first day of its stage.
// The dates ascend in the order of the fields.
type Course struct {
	Care husbandry.CoolingCare

	Fast civil.Date // first day without food
	Down civil.Date // first step down
	Cold civil.Date // first day in the range of the cold weeks
	Up   civil.Date // first step up
	Warm civil.Date // first day at the usual warmth
	Feed civil.Date // first day with food
	// FeedBy is the last day on which the first food should be offered.
	FeedBy civil.Date
	// Pair is the first day of pairing after the winter, PairBy the last day on
	// which pairing usually begins.
	Pair, PairBy civil.Date

	// Steps are the temperatures to set, sorted by date.
	Steps []Step
}

// New returns the course of a winter with the fast from start on.
func New(care husbandry.CoolingCare, start civil.Date) Course {
	c := Course{Care: care, Fast: start, Down: start.AddDays(int(care.Fast))}
	c.Cold = c.Down.AddDays(int(care.Down.Days))
	n := len(care.Down.Steps)
	for i, t := range care.Down.Steps {
		c.Steps = append(c.Steps, Step{Name: numbered("down", i), On: c.Down.AddDays(i * int(care.Down.Days) / n), From: t, To: t})
	}
	cold := Step{Name: "cold", On: c.Cold, From: care.From, To: care.To}
	if n == 0 {
		cold.On = c.Down
	}
	c.Steps = append(c.Steps, cold)
	c.warm(c.Cold.AddDays(int(care.Lasts)))
	return c
}

// warm computes the dates of the second half of the course, from the first step
// up on, which must not be before the fast. It drops the steps down from that
// day on. If the animals were not cooled by that day, they count as warm and
// are fed at once.
func (c *Course) warm(up civil.Date) {
	c.Up = up
	c.Down, c.Cold = civil.Min(c.Down, up), civil.Min(c.Cold, up)
	n := 0
	for n < len(c.Steps) && c.Steps[n].On.Before(up) {
		n++
	}
	c.Steps = c.Steps[:n]
	if n == 0 {
		c.Warm, c.Feed, c.FeedBy = up, up, up.AddDays(int(c.Care.FirstFeed.To))
		c.Pair, c.PairBy = c.FeedBy, c.FeedBy
		return
	}
	var targets []husbandry.Celsius
	for _, t := range c.Care.Up.Steps {
		if t > c.Steps[n-1].To {
			targets = append(targets, t)
		}
	}
	days := int(c.Care.Up.Days)
	for i, t := range targets {
		c.Steps = append(c.Steps, Step{Name: numbered("up", i), On: up.AddDays(i * days / len(targets)), From: t, To: t})
	}
	c.Warm = up.AddDays(days)
	last := Step{Name: "warm", On: c.Warm, Usual: true}
	if len(targets) == 0 {
		last.On = up
	}
	c.Steps = append(c.Steps, last)
	c.Feed = c.Warm.AddDays(int(c.Care.FirstFeed.From))
	c.FeedBy = civil.Max(c.Feed, c.Warm.AddDays(int(c.Care.FirstFeed.To)))
	c.Pair = civil.Max(c.Feed, c.Warm.AddDays(int(c.Care.Pair.From)))
	c.PairBy = civil.Max(c.Pair, c.Warm.AddDays(int(c.Care.Pair.To)))
}

func numbered(name string, i int) string { return name + "-" + strconv.Itoa(i+1) }

// WarmedFrom returns the course with its first step up on another day, sooner
// or later than planned, and with new dates for everything after that step. A
// day before the fast counts as the first day of the fast.
func (c Course) WarmedFrom(day civil.Date) Course {
	c = New(c.Care, c.Fast)
	down, cold := c.Steps[:0:0], c.Up
	for _, s := range c.Steps {
		if s.On.Before(cold) {
			down = append(down, s)
		}
	}
	c.Steps = down
	c.warm(civil.Max(day, c.Fast))
	return c
}

// WasCooled reports whether the course has a cold time at all.
func (c *Course) WasCooled() bool { return c.Down.Before(c.Warm) }

// Phase returns the phase of the course on a day.
func (c *Course) Phase(day civil.Date) Phase {
	phase := Before
	for _, p := range []struct {
		from civil.Date
		is   Phase
	}{{c.Fast, Fasting}, {c.Down, Down}, {c.Cold, Cold}, {c.Up, Up}, {c.Warm, Warm}, {c.Feed, Fed}, {c.Pair, Ready}} {
		if !day.Before(p.from) {
			phase = p.is
		}
	}
	return phase
}

// Foodless reports whether the animals get no food on a day.
func (c *Course) Foodless(day civil.Date) bool { return !day.Before(c.Fast) && day.Before(c.Feed) }

// Cooled reports whether, on a day, the temperature is below the usual one, is
// being lowered or is being raised.
func (c *Course) Cooled(day civil.Date) bool { return !day.Before(c.Down) && day.Before(c.Warm) }

// Start returns the first day without food of the winter that begins in a year,
// by the care sheet. South of the equator (negative latitude, in degrees) the
// day is half a year later.
func Start(care husbandry.CoolingCare, year int, latitude float64) civil.Date {
	start := care.Start.In(year)
	if latitude < 0 {
		start = start.AddMonths(6)
	}
	return start
}

// Loss judges a weighing during the cooling.
type Loss string

// The judgements, from good to bad.
const (
	Fine Loss = ""     // below the warning limit
	Warn Loss = "warn" // weigh sooner
	Stop Loss = "stop" // end the cooling
)

// Losing returns the share of mass lost since the start of the cooling, 0 to 1,
// and judges the share by the care sheet's limits. A loss equal to a limit
// counts as beyond it. A limit of 0 means no limit.
func Losing(care husbandry.CoolingCare, start, now husbandry.Grams) (husbandry.Share, Loss) {
	if start <= 0 {
		return 0, Fine
	}
	lost := husbandry.Share(1 - float64(now)/float64(start))
	// Rounding must not decide: 95 of 100 g is a loss of exactly 5 %.
	const grain = 1e-9
	switch {
	case care.StopLoss > 0 && lost >= care.StopLoss-grain:
		return lost, Stop
	case care.WarnLoss > 0 && lost >= care.WarnLoss-grain:
		return lost, Warn
	}
	return lost, Fine
}
