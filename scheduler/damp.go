package scheduler

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"nestround/scheduler/moisture"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const (
	// The air of a room that nobody described (common practice). A box's own
	// weighings make up for what is wrong with it.
	roomWarmth   husbandry.Celsius = 24
	roomHumidity float64           = 0.5

	// The share of its water that may be lost where no tolerance is said
	// (common practice): eggs are kept at the ratio their tub was set with, a nest
	// box is to hold together.
	tubTolerance = 0.10
	boxTolerance = 0.25

	// worthPouring is the loss, in g, that a kitchen scale tells from nothing,
	// and from which a tub is topped up.
	worthPouring = 2
	// fast is the factor from which it is said that a box dries fast.
	fast = 1.5
)

const pourCaution = "Beside the eggs and never on them, at the incubator's temperature; do not turn the eggs. Keep water and wet hands off the incubator's mains parts."

// damp is how a nest box or an egg tub holds its water.
type damp struct {
	moisture.Balance
	water     husbandry.Grams // mixed in; 0: not known
	tolerance husbandry.Grams // 0: not known
	tub       bool
	// dated says that enough is known to compute dates.
	dated bool
	last  civil.Date // when anything was last said of it, or it was set
}

// dampOf works out how the nest box or the tub of a subject stands; nil where
// it has none that is looked after.
func (p *planner) dampOf(s *subject) *damp {
	d, ok := p.damp[s.id]
	if !ok {
		switch {
		case s.clutch != nil:
			d = p.tubDamp(s.clutch)
		case s.scope == husbandry.OfEnclosure && s.enclosure.NestBox != nil:
			d = p.boxDamp(s.enclosure)
		}
		p.damp[s.id] = d
	}
	return d
}

// notes returns what was said of every box and tub: weighings, water, and what
// was taken out.
func (p *planner) notes() map[husbandry.ID][]moisture.Note {
	if p.watered != nil {
		return p.watered
	}
	p.watered = make(map[husbandry.ID][]moisture.Note)
	for _, f := range p.h.Found() {
		g := &f.Finding
		if f.On.After(p.on) || g.Weighs == nil && g.Added == nil && g.Dead == nil && g.Hatched == nil {
			continue
		}
		n := moisture.Note{On: f.On}
		kind, routine, id := p.herd.kinds[f.Task.Routine()], f.Task.Routine(), f.Task.Subject()
		c := p.herd.Clutch(id)
		ofTub := c != nil && (kind == husbandry.TubCheck || kind == husbandry.SetTub || kind == husbandry.Candle || routine == TopUpTub ||
			routine == tasks.Unplanned && (c.FirstHatched().IsZero() || f.On.Before(c.FirstHatched())))
		ofBox := c == nil && (kind == husbandry.NestTopUp || routine == tasks.Unplanned)
		if g.Weighs != nil && (ofTub || ofBox && kind == husbandry.NestTopUp) {
			n.Weighs = g.Weighs
		}
		if g.Added != nil && (c != nil || ofBox) {
			n.Added = husbandry.Grams(*g.Added) // a millilitre is a gram
		}
		n.Disturbed = c != nil && (g.Dead != nil && *g.Dead > 0 || g.Hatched != nil && *g.Hatched > 0)
		if c != nil {
			id = c.ID
		}
		if n.Weighs != nil || n.Added > 0 || n.Disturbed {
			p.watered[id] = append(p.watered[id], n)
		}
	}
	return p.watered
}

// boxDamp is the damp of a nest box; nil where its way out is not described.
func (p *planner) boxDamp(e *husbandry.Enclosure) *damp {
	if _, ok := moisture.WayOf(e.NestBox.Damp); !ok {
		return nil
	}
	from := p.on.AddDays(-lookBack)
	var notes []moisture.Note
	told := make(map[civil.Date]bool)
	for _, n := range p.notes()[e.ID] {
		if !n.On.Before(from) {
			notes = append(notes, n)
			told[n.On] = true
		}
	}
	for _, r := range p.routines {
		if r.Kind != husbandry.NestTopUp || r.Off {
			continue
		}
		for _, day := range p.h.DoneDays(e.ID, r.ID, from) {
			if !day.After(p.on) && !told[day] {
				notes = append(notes, moisture.Note{On: day, Filled: true})
			}
		}
	}
	for _, c := range p.herd.Clutches {
		if c.Enclosure != e.ID {
			continue
		}
		for _, day := range []civil.Date{c.Laid, p.tubSet(c)} { // eggs came, eggs went
			if !day.Before(from) && !day.After(p.on) {
				notes = append(notes, moisture.Note{On: day, Disturbed: true})
			}
		}
	}
	air := p.roomAir(e.Room)
	return p.learn(moisture.Box{Damp: e.NestBox.Damp, Notes: notes, Air: func(civil.Date) moisture.Air { return air }}, boxTolerance)
}

// tubDamp is the damp of a clutch's tub; nil for one that is sealed, or not
// set yet, or of which nobody ever said anything.
func (p *planner) tubDamp(c *Clutch) *damp {
	if c.Tub == husbandry.Sealed || c.State == InBox || c.Damp == (husbandry.Damp{}) && len(p.notes()[c.ID]) == 0 {
		return nil
	}
	b := moisture.Box{Damp: c.Damp, Set: p.tubSet(c), Notes: slices.Clip(p.notes()[c.ID])}
	told := make(map[civil.Date]bool)
	for _, n := range b.Notes {
		told[n.On] = true
	}
	done := func(routine husbandry.ID, note func(civil.Date) moisture.Note) {
		for _, id := range c.ids() {
			for _, day := range p.h.DoneDays(id, routine, c.Laid) {
				b.Notes = append(b.Notes, note(day))
			}
		}
	}
	// Its task says how much to give.
	done(TopUpTub, func(day civil.Date) moisture.Note { return moisture.Note{On: day, Filled: true} })
	for _, r := range p.byScope[husbandry.OfClutch] {
		if r.Kind == husbandry.TubCheck && !r.Off { // a look asks to bring it back to its mass
			done(r.ID, func(day civil.Date) moisture.Note { return moisture.Note{On: day, Unweighed: !told[day]} })
		}
	}
	b.Air = func(day civil.Date) moisture.Air {
		at := p.herd.StandingOn(c, day)
		air := p.roomAir("")
		if at.Incubator != nil {
			air = p.roomAir(at.Incubator.Room)
		}
		switch {
		case at.Temperature == nil:
			return air
		case at.Incubator != nil && at.Incubator.Humidity != nil && !at.Own:
			return moisture.AirAt(*at.Temperature, *at.Incubator.Humidity)
		}
		return air.Warmed(*at.Temperature)
	}
	d := p.learn(b, tubTolerance)
	d.tub = true
	return d
}

func (p *planner) learn(b moisture.Box, share husbandry.Grams) *damp {
	way, known := moisture.WayOf(b.Damp)
	b.Way, b.On = way, p.on
	d := &damp{Balance: moisture.Learn(b), water: b.Damp.Water, tolerance: b.Damp.Tolerance, last: b.Set}
	if d.tolerance == 0 {
		d.tolerance = b.Damp.Water * share
	}
	for _, n := range b.Notes {
		if !n.Disturbed || n.Weighs != nil || n.Added > 0 {
			d.last = civil.Max(d.last, n.On)
		}
	}
	d.dated = known && d.Known && d.tolerance > 0 && d.Rate.Mid > 0
	return d
}

// roomAir is the air of a room.
func (p *planner) roomAir(id husbandry.ID) moisture.Air {
	warmth, humidity := roomWarmth, roomHumidity
	for i := range p.rec.Rooms {
		if r := &p.rec.Rooms[i]; r.ID == id {
			if r.Temperature != nil {
				warmth = *r.Temperature
			}
			if r.Humidity != nil {
				humidity = *r.Humidity
			}
		}
	}
	return moisture.AirAt(warmth, humidity)
}

// dampDue is when a nest box or a tub is next looked at, and why.
type dampDue struct {
	due      civil.Date
	every    husbandry.Days // and so often after that
	words    func(day civil.Date) string
	question string // a weighing that cannot be, in words; "" for none
}

// dampDue moves a top-up or a look into a tub to the day by which so much
// water is lost as may be, from when it was last done and the routine's own
// interval: never later than twice that interval, never sooner than a day. It
// is nil where too little is known of the box.
func (p *planner) dampDue(a *activity, last, due civil.Date, every husbandry.Days) *dampDue {
	if a.r.Kind != husbandry.NestTopUp && a.r.Kind != husbandry.TubCheck {
		return nil
	}
	d := p.dampOf(a.s)
	if d == nil || !d.dated {
		return nil
	}
	if last.IsZero() {
		last = due.AddDays(-int(every))
	}
	last = civil.Max(last, d.last)
	latest := last.AddDays(2 * int(every))
	limited := ""
	next := d.Until(d.tolerance)
	if next.IsZero() || next.After(latest) {
		next = latest
		limited = "; looked at after " + days(2*every) + " at the latest"
	}
	next = civil.Max(next, last.AddDays(1))
	out := &dampDue{due: next, every: husbandry.Days(min(2*int(every), max(1, d.Lasts(d.tolerance))))}
	if n := len(d.Questions); n > 0 && !d.Questions[n-1].On.Before(d.Weighed.On) {
		q := d.Questions[n-1]
		out.question = ". " + p.questionWords(q)
		if q.On == d.last {
			out.due, limited = civil.Min(next, q.On.AddDays(1)), ""
		}
	}
	out.words = func(day civil.Date) string {
		return p.dampWords(d) + p.pourWords(d, civil.Max(day, p.on)) + limited
	}
	return out
}

// dampWords writes "Loses about 9 g a day (6-13) by 4 weighings; 30 g are
// left".
func (p *planner) dampWords(d *damp) string {
	u := p.rec.Units
	words := "Loses " + p.rateWords(d.Rate)
	opening := "opening"
	if d.tub {
		opening = "holes"
	}
	switch {
	case d.Weighings > 0:
		words += " by " + count(d.Weighings, "weighing")
	case d.TopUps > 0:
		words += " by what was added " + count(d.TopUps, "time")
	default:
		words += " by its " + opening + " alone"
	}
	switch {
	case d.Changed > 0:
		words += fmt.Sprintf(", since %s %.1f times as fast as before (a lamp, warmth, a draught, an open lid?)", p.day(d.ChangedSince), d.Changed)
	case d.Factor.From > fast:
		words += fmt.Sprintf(", %.1f times as fast as through still air (a lamp, warmth, a draught?)", d.Factor.Mid)
	}
	lacks := d.LacksOn(p.on)
	left := d.tolerance - lacks
	switch {
	case left > 0:
		words += "; " + u.Mass(round(float64(left))) + " are left"
		if d.tub && !d.Unweighed.IsZero() {
			words += ", if it was back at " + u.Mass(round(float64(d.Target))) + " on " + p.day(d.Unweighed) + ": it was marked done without a weight"
		}
		return words
	case d.water > 0 && lacks >= d.water:
		return words + "; dried out by now"
	}
	return words + "; too dry by " + u.Mass(round(float64(-left)))
}

// pourWords says how much water a box or tub is to be given on a day.
func (p *planner) pourWords(d *damp, day civil.Date) string {
	lacks := d.LacksOn(day)
	if d.tub && d.Target > 0 {
		words := "; bring it back to " + p.rec.Units.Mass(round(float64(d.Target)))
		if !d.Unweighed.IsZero() {
			words += ", and say what it weighed before"
		}
		return words
	}
	if lacks < worthPouring {
		return ""
	}
	return "; give it about " + p.rec.Units.Measured(husbandry.Millilitres(lacks))
}

// round rounds what is only known roughly to whole grams.
func round(x float64) husbandry.Grams { return husbandry.Grams(math.Round(x)) }

// rateWords writes "about 9 g a day (6-13)", and of tubs "about 0.26 g a day
// (0.10-0.75)".
func (p *planner) rateWords(r moisture.Range) string {
	unit, each := " g", 1.0
	if p.rec.Units == husbandry.US {
		unit, each = " oz", float64(husbandry.Ounce)
	}
	decimals := 2
	switch mid := r.Mid / each; {
	case mid >= 2.95:
		decimals = 0
	case mid >= 0.995:
		decimals = 1
	}
	number := func(x float64) string { return strconv.FormatFloat(x/each, 'f', decimals, 64) }
	return fmt.Sprintf("about %s%s a day (%s-%s)", number(r.Mid), unit, number(r.From), number(r.To))
}

// questionWords says why a weighing is not used.
func (p *planner) questionWords(q moisture.Question) string {
	u := p.rec.Units
	words := fmt.Sprintf("Not used: %s on %s, ", u.Mass(q.Mass), p.day(q.On))
	switch q.Why {
	case moisture.Heavier:
		words += fmt.Sprintf("%s more than on %s with the water added since", u.Mass(round(float64(q.Mass-q.Since.Mass))), p.day(q.Since.On))
	case moisture.BoneDry:
		words += "less than without any water"
	case moisture.TooQuick:
		words += fmt.Sprintf("%s less than on %s, many times what its opening lets through", u.Mass(round(float64(q.Since.Mass-q.Mass))), p.day(q.Since.On))
	}
	return words + "; weigh it again, and say what was added or taken out"
}

// tubWords says how a clutch's tub holds its water; "" where nothing is known
// of it.
func (p *planner) tubWords(c *Clutch) string {
	if c.Tub == husbandry.Sealed && c.State != InBox {
		return "its tub is sealed: it loses no water, so it is not opened, weighed or topped up"
	}
	d := p.tubDamp(c)
	if d == nil || !d.dated {
		return ""
	}
	words := "its tub " + lowerFirst(p.dampWords(d))
	if n := len(d.Questions); n > 0 && !d.Questions[n-1].On.Before(d.Weighed.On) {
		words += ". " + p.questionWords(d.Questions[n-1])
	}
	return words
}

// topUpTubs asks for the grams that a tub has lost, once it was weighed and
// found lighter than when it was set.
func (p *planner) topUpTubs() {
	for _, c := range p.herd.Clutches {
		s := p.subjects[c.ID]
		if s == nil || s.clutch != c || !c.Expecting() {
			continue
		}
		d := p.dampOf(s)
		if d == nil || d.Target == 0 || d.Weighed.On.IsZero() || d.Since != d.Weighed.On || d.Lacks < worthPouring {
			continue
		}
		a, ok := p.builtIn(s, TopUpTub, husbandry.TubCheck, "Add water to the tub")
		if !ok {
			continue
		}
		u := p.rec.Units
		p.ask(a, []string{d.Weighed.On.String()}, d.Weighed.On, fmt.Sprintf("It weighed %s on %s and should weigh %s: give it %s",
			u.Mass(d.Weighed.Mass), p.day(d.Weighed.On), u.Mass(round(float64(d.Target))), u.Volume(husbandry.Millilitres(round(float64(d.Lacks))))), pourCaution)
	}
}
