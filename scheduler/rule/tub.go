package rule

import (
	"fmt"
	"nestround/scheduler/herd"
	"nestround/scheduler/incubation"
	"nestround/scheduler/plan"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const (
	inTheOpen = "Eggs in the open dry within hours: set them first of all."
)

// idleClutch reports whether a routine has nothing to do for a clutch now. Eggs
// are dug up once and set once, a sealed tub is left closed, eggs with veins
// are not candled again, and young are not fed before they hatch.
func idleClutch(d *plan.Day, s *plan.Subject, r *plan.Routine) bool {
	c, nothing := s.Clutch, idleClutches[r.Kind]
	if c == nil || nothing == nil {
		return false
	}
	open := c.Expecting() && c.State != herd.InBox && c.Tub != husbandry.Sealed
	return nothing(d, c, open)
}

// idleClutches has, by kind, the function that reports whether the work has
// nothing to do for a clutch. open says that the clutch is in a tub that may be
// opened.
var idleClutches = map[husbandry.Kind]func(d *plan.Day, c *herd.Clutch, open bool) bool{
	husbandry.DigEggs: func(_ *plan.Day, c *herd.Clutch, _ bool) bool { return c.State != herd.InBox || c.Counted },
	husbandry.SetTub: func(d *plan.Day, c *herd.Clutch, _ bool) bool {
		return c.State != herd.InBox || !c.Counted && !d.DugUp(c)
	},
	husbandry.TubCheck:   func(_ *plan.Day, _ *herd.Clutch, open bool) bool { return !open },
	husbandry.Candle:     func(_ *plan.Day, c *herd.Clutch, open bool) bool { return !open || !c.Veins.IsZero() || c.Hatched > 0 },
	husbandry.HatchWatch: func(_ *plan.Day, c *herd.Clutch, _ bool) bool { return !c.Expecting() },
	husbandry.YoungCheck: noneHatched,
	husbandry.FirstFeed:  noneHatched,
	husbandry.Shed:       noneHatched,
	husbandry.Label:      noneHatched,
	husbandry.Sexing:     noneHatchedOrAllRecorded,
	husbandry.Weigh:      noneHatchedOrAllRecorded,
	husbandry.Separate:   ofRecords,
	husbandry.Place:      ofRecords,
}

func noneHatched(_ *plan.Day, c *herd.Clutch, _ bool) bool { return c.Hatched == 0 }

func noneHatchedOrAllRecorded(_ *plan.Day, c *herd.Clutch, _ bool) bool {
	return c.Hatched == 0 || len(c.Young) > 0
}

// ofRecords is the function in idleClutches for work that waits until the young
// have records.
func ofRecords(*plan.Day, *herd.Clutch, bool) bool { return true }

// finishSetTub adds the question in which incubator the tub will stand, and
// makes the task urgent for eggs outside the nest box.
func finishSetTub(d *plan.Day, s *plan.Subject, t *plan.Single) {
	finishOutside(d, s, t)
	t.Why += whereWords(d, s.Clutch)
}

// finishOutside makes the task urgent for eggs outside the nest box, because
// these eggs cannot wait until the evening or another day.
func finishOutside(_ *plan.Day, s *plan.Subject, t *plan.Single) {
	if s.Clutch == nil || !s.Clutch.Outside {
		return
	}
	t.Why += ", outside the nest box"
	t.Finish = func(t *tasks.Task) { t.Pinned, t.Caution = true, inTheOpen+" "+t.Caution }
}

// whereWords asks, in words, in which incubator a tub will stand, because that
// decides when its eggs hatch. It is "" if there is only one incubator, or if a
// record names the incubator.
func whereWords(d *plan.Day, c *herd.Clutch) string {
	if c == nil || len(d.Records.Incubators) < 2 || !d.Standing(c).Assumed {
		return ""
	}
	return `; say where it stands, with "moved to" and the incubator's id`
}

// hatchWatch proposes the checks of a clutch while its young are expected.
// After the window the checks continue as an alarm.
func hatchWatch(d *plan.Day, propose plan.Propose, a *plan.Duty) {
	c := a.Subject.Clutch
	if c == nil || !c.Expecting() {
		return
	}
	f := d.Hatching(c)
	if !f.Known {
		return
	}
	from, to, over := d.HatchSpan(c, f)
	window := &tasks.Window{
		Name: husbandry.HatchWindow, From: from, To: to,
		P05: f.P05, P25: f.P25, P50: f.P50, P75: f.P75, P95: f.P95,
		Today: f.Probability(d.On), Basis: f.Basis, By: chances(f, d.On),
	}
	propose(&plan.Series{Duty: a, Dates: steps(d, a, from, to), Window: window, Why: func(day civil.Date) string { return d.HatchWords(c, f, day) }})
	if over && a.Routine.Missed == husbandry.Alarms {
		pastWindow(d, propose, a, window, d.HatchWords(c, f, d.On), d.Records.CautionFor(herd.ReviewHatch), false)
	}
}

// Tubs asks for a check of clutches past their window, and for water in tubs.
func Tubs(d *plan.Day, propose plan.Propose) {
	for _, c := range d.Clutches {
		if s := d.Subject(c.ID); s != nil && s.Clutch == c && c.Expecting() {
			reviewHatch(d, propose, s)
			topUpTub(d, propose, s)
		}
	}
}

// topUpTub asks to replace the water that a tub has lost, after a weighing
// showed that the tub is lighter than when it was set.
func topUpTub(d *plan.Day, propose plan.Propose, s *plan.Subject) {
	damp := d.DampOfTub(s.Clutch)
	if damp == nil || damp.Target == 0 || damp.Weighed.On.IsZero() || damp.Since != damp.Weighed.On || damp.Lacks < herd.WorthPouring {
		return
	}
	u := d.Records.Units
	ask(d, propose, s, herd.TopUpTub, []string{damp.Weighed.On.String()}, damp.Weighed.On, fmt.Sprintf("It weighed %s on %s and should weigh %s: give it %s",
		u.Mass(damp.Weighed.Mass), d.DateWords(damp.Weighed.On), u.Mass(herd.Rounded(float64(damp.Target))), u.Volume(husbandry.Millilitres(herd.Rounded(float64(damp.Lacks))))))
}

// firstTubCheck returns the day of the first check of a tub: one interval after
// the tub was set.
func firstTubCheck(d *plan.Day, s *plan.Subject, every husbandry.Days) civil.Date {
	if s.Clutch == nil {
		return civil.Date{}
	}
	return civil.Max(d.TubSetOn(s.Clutch), d.Records.Began).AddDays(int(every))
}

// moveTubCheck moves the check of a tub to the day on which the tub needs
// water.
func moveTubCheck(d *plan.Day, c *counted) {
	if s := c.Duty.Subject; s.Clutch != nil {
		moveByDamp(d, c, d.DampOfTub(s.Clutch))
	}
}

// reviewHatch asks once to review a clutch that is past its window.
func reviewHatch(d *plan.Day, propose plan.Propose, s *plan.Subject) {
	c := s.Clutch
	f := d.Hatching(c)
	if !f.Known {
		return
	}
	_, to, over := d.HatchSpan(c, f)
	if !over {
		return
	}
	ask(d, propose, s, herd.ReviewHatch, []string{"hatching"}, civil.Max(to.AddDays(1), d.Began), d.HatchWords(c, f, d.On)+
		". Check the incubator's real temperature, and candle if you are used to it")
}

// chances returns the probabilities that young have hatched by the end of a day
// and of each of the seven days after it. It returns nil if the forecast has no
// days left.
func chances(f incubation.Forecast, on civil.Date) []float64 {
	if f.Overdue {
		return nil
	}
	by := make([]float64, 8)
	sum := 0.0
	for i := range by {
		sum += f.Probability(on.AddDays(i))
		by[i] = min(1, sum)
	}
	return by
}
