package herd

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"nestround/scheduler/moisture"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const (
	// The air of a room whose record states none (common practice). Weighings
	// of a box correct the effect of a wrong value.
	roomWarmth   husbandry.Celsius = 24
	roomHumidity float64           = 0.5

	// The share of its water that a box or tub may lose if its record gives no
	// tolerance (common practice). Eggs are kept at the ratio with which their
	// tub was set; the substrate of a nest box has to hold together.
	tubTolerance = 0.10
	boxTolerance = 0.25

	// WorthPouring is the smallest loss of water, in g, that a kitchen scale
	// shows. From this loss on, the keeper is asked to add water to a tub.
	WorthPouring = 2
	// fast is the least drying factor, relative to still air, at which the
	// words say that a box dries fast.
	fast = 1.5
)

// Damp is the moisture of a nest box or an egg tub: its water, its tolerance
// and its estimated balance.
type Damp struct {
	moisture.Balance
	Water     husbandry.Grams // mixed into the dry substrate; 0: not known
	Tolerance husbandry.Grams // acceptable loss of water; 0: not known
	Tub       bool
	// Dated says that enough is known to compute the day of the next top-up.
	Dated bool
	Last  civil.Date // last day with a record about the box or tub, or the day on which it was set
}

// DampOfBox returns the moisture of the nest box of an enclosure. It is nil if
// the enclosure has no nest box, or if nothing is known of how the box dries.
func (h *Herd) DampOfBox(e *husbandry.Enclosure) *Damp {
	if e.NestBox == nil {
		return nil
	}
	return h.damp.of(e.ID, func() *Damp { return drying{h}.boxDamp(e) })
}

// DampOfTub returns the moisture of the egg tub of a clutch. It is nil if the
// tub is left closed, or if nothing was ever recorded about the tub.
func (h *Herd) DampOfTub(c *Clutch) *Damp {
	return h.damp.of(c.ID, func() *Damp { return drying{h}.tubDamp(c) })
}

// drying works out how boxes and tubs lose water.
type drying struct{ *Herd }

// gatherNotes returns all records about boxes and tubs: weighings, water, and
// eggs or young that were taken out.
func (h drying) gatherNotes() map[husbandry.ID][]moisture.Note {
	notes := make(map[husbandry.ID][]moisture.Note)
	found := h.History.Found()
	for i := range found {
		f := &found[i]
		g := &f.Finding
		if f.On.After(h.On) || g.Weighs == nil && g.Added == nil && g.Dead == nil && g.Hatched == nil {
			continue
		}
		id, n := f.Task.Subject(), moisture.Note{}
		if c := h.Clutch(id); c != nil {
			id, n = c.ID, h.tubNote(c, f)
		} else {
			n = h.boxNote(f)
		}
		if n.On = f.On; n.Weighs != nil || n.Added > 0 || n.Disturbed {
			notes[id] = append(notes[id], n)
		}
	}
	return notes
}

// tubNote turns a finding into a note about the tub of a clutch. A weight that
// was reported without a task is the weight of the tub until the young hatch.
func (h drying) tubNote(c *Clutch, f *tasks.Found) (n moisture.Note) {
	g, routine := &f.Finding, f.Task.Routine()
	ofTub := h.kinds[routine].Weighs() == husbandry.WeighedTub || routine == TopUpTub ||
		routine == tasks.Unplanned && (c.FirstHatched().IsZero() || f.On.Before(c.FirstHatched()))
	if ofTub {
		n.Weighs = g.Weighs
	}
	if g.Added != nil {
		n.Added = husbandry.Grams(*g.Added) // a millilitre of water weighs a gram
	}
	n.Disturbed = some(g.Dead) || some(g.Hatched)
	return n
}

// boxNote turns a finding into a note about a nest box.
func (h drying) boxNote(f *tasks.Found) (n moisture.Note) {
	g, routine := &f.Finding, f.Task.Routine()
	topUp := h.kinds[routine].Weighs() == husbandry.WeighedBox
	if topUp {
		n.Weighs = g.Weighs
	}
	if g.Added != nil && (topUp || routine == tasks.Unplanned) {
		n.Added = husbandry.Grams(*g.Added)
	}
	return n
}

// boxDamp works out the moisture of a nest box; nil if the record does not
// describe the opening of the box.
func (h drying) boxDamp(e *husbandry.Enclosure) *Damp {
	if _, ok := moisture.WayOf(e.NestBox.Damp); !ok {
		return nil
	}
	from := h.On.AddDays(-LookBack)
	var notes []moisture.Note
	told := make(map[civil.Date]bool)
	for _, n := range h.notesOf()[e.ID] {
		if !n.On.Before(from) {
			notes = append(notes, n)
			told[n.On] = true
		}
	}
	for _, r := range h.RoutinesOf(husbandry.NestTopUp) {
		if r.Off {
			continue
		}
		for _, day := range h.History.DoneDays(e.ID, r.ID, from) {
			if !day.After(h.On) && !told[day] {
				notes = append(notes, moisture.Note{On: day, Filled: true})
			}
		}
	}
	for _, c := range h.Clutches {
		if c.Enclosure != e.ID {
			continue
		}
		for _, day := range []civil.Date{c.Laid, h.TubSetOn(c)} { // on Laid eggs came into the box; on TubSetOn they left it
			if !day.Before(from) && !day.After(h.On) {
				notes = append(notes, moisture.Note{On: day, Disturbed: true})
			}
		}
	}
	air := h.roomAir(e.Room)
	return h.learn(moisture.Box{Damp: e.NestBox.Damp, Notes: notes, Air: func(civil.Date) moisture.Air { return air }}, boxTolerance)
}

// tubDamp works out the moisture of a clutch's tub. It is nil if the tub is
// sealed or not set yet, or if nothing was ever recorded about it.
func (h drying) tubDamp(c *Clutch) *Damp {
	if c.Tub == husbandry.Sealed || c.State == InBox || c.Damp == (husbandry.Damp{}) && len(h.notesOf()[c.ID]) == 0 {
		return nil
	}
	b := moisture.Box{Damp: c.Damp, Set: h.TubSetOn(c), Notes: slices.Clip(h.notesOf()[c.ID])}
	told := make(map[civil.Date]bool)
	for _, n := range b.Notes {
		told[n.On] = true
	}
	done := func(routine husbandry.ID, note func(civil.Date) moisture.Note) {
		for _, id := range c.IDs() {
			for _, day := range h.History.DoneDays(id, routine, c.Laid) {
				b.Notes = append(b.Notes, note(day))
			}
		}
	}
	// The task named the amount of water to add, so after the task the tub had
	// its full water.
	done(TopUpTub, func(day civil.Date) moisture.Note { return moisture.Note{On: day, Filled: true} })
	for _, r := range h.RoutinesOf(husbandry.TubCheck) {
		if r.Scope == husbandry.OfClutch && !r.Off { // at a check the keeper brings the tub back to its target mass
			done(r.ID, func(day civil.Date) moisture.Note { return moisture.Note{On: day, Unweighed: !told[day]} })
		}
	}
	b.Air = func(day civil.Date) moisture.Air { return h.tubAir(c, day) }
	d := h.learn(b, tubTolerance)
	d.Tub = true
	return d
}

// tubAir returns the air around a clutch's tub on a day.
func (h drying) tubAir(c *Clutch, day civil.Date) moisture.Air {
	at := h.StandingOn(c, day)
	air := h.roomAir("")
	if at.Incubator != nil {
		air = h.roomAir(at.Incubator.Room)
	}
	switch {
	case at.Temperature == nil:
		return air
	case at.Incubator != nil && at.Incubator.Humidity != nil && !at.Own:
		return moisture.AirAt(*at.Temperature, *at.Incubator.Humidity)
	}
	return air.Warmed(*at.Temperature)
}

func (h drying) learn(b moisture.Box, share husbandry.Grams) *Damp {
	way, known := moisture.WayOf(b.Damp)
	b.Way, b.On = way, h.On
	d := &Damp{Balance: moisture.Learn(b), Water: b.Damp.Water, Tolerance: b.Damp.Tolerance, Last: b.Set}
	if d.Tolerance == 0 {
		d.Tolerance = b.Damp.Water * share
	}
	for _, n := range b.Notes {
		if !n.Disturbed || n.Weighs != nil || n.Added > 0 {
			d.Last = civil.Max(d.Last, n.On)
		}
	}
	d.Dated = known && d.Known && d.Tolerance > 0 && d.Rate.Mid > 0
	return d
}

// roomAir is the air of a room.
func (h drying) roomAir(id husbandry.ID) moisture.Air {
	warmth, humidity := roomWarmth, roomHumidity
	for i := range h.Records.Rooms {
		if r := &h.Records.Rooms[i]; r.ID == id {
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

// DampWords writes the loss and the remaining water: "Loses about 9 g a day
// (6-13) by 4 weighings; 30 g are left".
func (h *Herd) DampWords(d *Damp) string {
	u := h.Records.Units
	words := "Loses " + drying{h}.rateWords(d.Rate)
	opening := "opening"
	if d.Tub {
		opening = "holes"
	}
	switch {
	case d.Weighings > 0:
		words += " by " + english.Count(d.Weighings, "weighing")
	case d.TopUps > 0:
		words += " by what was added " + english.Count(d.TopUps, "time")
	default:
		words += " by its " + opening + " alone"
	}
	switch {
	case d.Changed > 0:
		words += fmt.Sprintf(", since %s %.1f times as fast as before (a lamp, warmth, a draught, an open lid?)", h.DateWords(d.ChangedSince), d.Changed)
	case d.Factor.From > fast:
		words += fmt.Sprintf(", %.1f times as fast as through still air (a lamp, warmth, a draught?)", d.Factor.Mid)
	}
	lacks := d.LacksOn(h.On)
	left := d.Tolerance - lacks
	switch {
	case left > 0:
		words += "; " + u.Mass(Rounded(float64(left))) + " are left"
		if d.Tub && !d.Unweighed.IsZero() {
			words += ", if it was back at " + u.Mass(Rounded(float64(d.Target))) + " on " + h.DateWords(d.Unweighed) + ": it was marked done without a weight"
		}
		return words
	case d.Water > 0 && lacks >= d.Water:
		return words + "; dried out by now"
	}
	return words + "; too dry by " + u.Mass(Rounded(float64(-left)))
}

// PourWords says how much water the keeper should add to a box or tub on a day.
func (h *Herd) PourWords(d *Damp, day civil.Date) string {
	lacks := d.LacksOn(day)
	if d.Tub && d.Target > 0 {
		words := "; bring it back to " + h.Records.Units.Mass(Rounded(float64(d.Target)))
		if !d.Unweighed.IsZero() {
			words += ", and say what it weighed before"
		}
		return words
	}
	if lacks < WorthPouring {
		return ""
	}
	return "; give it about " + h.Records.Units.Measured(husbandry.Millilitres(lacks))
}

// Rounded rounds an estimate to whole grams.
func Rounded(x float64) husbandry.Grams { return husbandry.Grams(math.Round(x)) }

// rateWords writes "about 9 g a day (6-13)", and for tubs "about 0.26 g a day
// (0.10-0.75)".
func (h drying) rateWords(r moisture.Range) string {
	unit, each := " g", 1.0
	if h.Records.Units == husbandry.US {
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

// QuestionWords says why the estimate leaves out a weighing.
func (h *Herd) QuestionWords(q moisture.Question) string {
	u := h.Records.Units
	words := fmt.Sprintf("Not used: %s on %s, ", u.Mass(q.Mass), h.DateWords(q.On))
	switch q.Why {
	case moisture.Heavier:
		words += fmt.Sprintf("%s more than on %s with the water added since", u.Mass(Rounded(float64(q.Mass-q.Since.Mass))), h.DateWords(q.Since.On))
	case moisture.BoneDry:
		words += "less than without any water"
	case moisture.TooQuick:
		words += fmt.Sprintf("%s less than on %s, many times what its opening lets through", u.Mass(Rounded(float64(q.Since.Mass-q.Mass))), h.DateWords(q.Since.On))
	}
	return words + "; weigh it again, and say what was added or taken out"
}

// TubWords says how a clutch's tub loses water; "" if nothing is known about
// the tub.
func (h *Herd) TubWords(c *Clutch) string {
	if c.Tub == husbandry.Sealed && c.State != InBox {
		return "its tub is sealed: it loses no water, so it is not opened, weighed or topped up"
	}
	d := drying{h}.tubDamp(c)
	if d == nil || !d.Dated {
		return ""
	}
	words := "its tub " + english.LowerFirst(h.DampWords(d))
	if n := len(d.Questions); n > 0 && !d.Questions[n-1].On.Before(d.Weighed.On) {
		words += ". " + h.QuestionWords(d.Questions[n-1])
	}
	return words
}
