package outlook

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/scheduler/plan"
	"nestround/scheduler/season/cooling"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Span is a run of days with a meaning, such as a hatch window. It is no task.
// A calendar and the coming week of a digest show spans.
type Span struct {
	// Key is made of the subject, the name of the window and the event that the
	// window is computed from. It stays the same while the forecast is refined.
	Key      tasks.Key
	Name     husbandry.WindowName // HatchWindow, LayWindow, PairingWindow or CoolingWindow
	Subject  husbandry.ID
	Scope    husbandry.Scope // OfClutch, OfAnimal or OfEnclosure
	Place    tasks.Place
	Keeper   husbandry.ID // the keeper that the span belongs to, if several keepers share the work
	From, To civil.Date
	Title    string // "Hatching of clutch C27-04 (wall lizard, in I1)"
	Why      string
}

// pastSpans is the largest number of days since the end of a span that [Dated]
// still returns.
const pastSpans = 31

// Dated returns the hatch windows of clutches (from the 5th to the 95th
// percentile), the laying and pairing windows of females, and the winters of
// enclosures, by first day and key. It returns windows and winters that begin
// by the Day's To, and that ended at most 31 days before the Day.
func Dated(d *plan.Day) []Span {
	var spans []Span
	add := func(s Span) {
		if !s.To.AddDays(pastSpans).Before(d.On) && !s.From.After(d.To) {
			s.Title = plan.TitleLine(s.Title)
			if len(d.Records.Carers) > 0 {
				s.Keeper = d.Carer(d.Subject(s.Subject), &husbandry.Routine{Kind: husbandry.WatchOf(s.Name)}, civil.Max(s.From, d.On))
			}
			spans = append(spans, s)
		}
	}
	for _, c := range d.Clutches {
		s := d.Subject(c.ID)
		if s == nil || s.Clutch != c || !c.Expecting() {
			continue
		}
		if f := d.Hatching(c); f.Known {
			add(Span{
				Key:  tasks.NewKey(c.ID, husbandry.ID(husbandry.HatchWindow), string(husbandry.EventLaid)),
				Name: husbandry.HatchWindow, Subject: c.ID, Scope: s.Scope, Place: s.Place, From: f.P05, To: f.P95,
				Title: "Hatching of " + s.Label(), Why: d.HatchWords(c, f, d.On) + "; from " + f.Basis + cautionWords(f.Cautions),
			})
		}
	}
	for _, a := range d.Animals {
		s := d.Subject(a.ID)
		if s == nil || !d.Watchable(a) {
			continue
		}
		span := Span{Subject: a.ID, Scope: s.Scope, Place: s.Place}
		if w := d.Laying(a); w.Known {
			span.Name, span.From, span.To = husbandry.LayWindow, w.From, w.To
			span.Key = tasks.NewKey(a.ID, husbandry.ID(span.Name), w.Event)
			span.Title, span.Why = "Eggs expected of "+s.Label(), d.WindowWords(span.Name, w)
			add(span)
		}
		if w := d.PairingOf(a).Window; w.Known {
			span.Name, span.From, span.To = husbandry.PairingWindow, w.From, w.To
			span.Key = tasks.NewKey(a.ID, husbandry.ID(span.Name), w.Event)
			span.Title, span.Why = "Pairing time of "+s.Label(), d.WindowWords(span.Name, w)
			add(span)
		}
	}
	winterSpans(d, add)
	slices.SortFunc(spans, func(a, b Span) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(a.Key, b.Key))
	})
	return spans
}

func cautionWords(cautions []string) string {
	if len(cautions) == 0 {
		return ""
	}
	return ". Caution: " + strings.Join(cautions, "; ")
}

// winterSpans adds the winters of enclosures to the spans.
func winterSpans(d *plan.Day, add func(Span)) {
	told := make(map[tasks.Key]bool)
	for _, a := range d.Animals {
		s := d.Subject(a.Enclosure)
		for i := range a.Winters {
			w := &a.Winters[i]
			if w.Not != "" || s == nil || !a.PresentOn(d.On) {
				continue
			}
			whom := s
			if w.Alone {
				whom = d.Subject(a.ID)
			}
			if whom == nil {
				continue
			}
			span := Span{
				Key: tasks.NewKey(whom.ID, husbandry.ID(husbandry.CoolingWindow), w.Name), Name: husbandry.CoolingWindow,
				Subject: whom.ID, Scope: whom.Scope, Place: whom.Place, From: w.Course.Fast, To: w.Course.Feed.AddDays(-1),
				Title: "Winter cooling of " + whom.Label(), Why: winterWords(d, &w.Course),
			}
			if told[span.Key] || span.To.Before(span.From) {
				continue
			}
			told[span.Key] = true
			add(span)
		}
	}
}

// winterWords writes "No food from 1 November, cooler from 15 November, 5-12 °C
// 25 November to 2 February, warm from 13 February, food from 16 February".
func winterWords(d *plan.Day, c *cooling.Course) string {
	return fmt.Sprintf("No food from %s, cooler from %s, %s from %s to %s, warm from %s, food from %s; water goes on", d.DateWords(c.Fast), d.DateWords(c.Down),
		d.Degrees(c.Care.From, c.Care.To), d.DateWords(c.Cold), d.DateWords(c.Up.AddDays(-1)), d.DateWords(c.Warm), d.DateWords(c.Feed))
}
