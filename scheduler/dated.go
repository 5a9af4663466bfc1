package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/scheduler/incubation"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Span is a dated fact: a window of days that is worth knowing without being
// a task, for a calendar and the coming week of a digest.
type Span struct {
	// Key stays the same while the window is refined: the subject, the
	// window's name, and what it is computed from.
	Key      tasks.Key
	Name     husbandry.WindowName // HatchWindow, LayWindow, PairingWindow or CoolingWindow
	Subject  husbandry.ID
	Scope    husbandry.Scope // OfClutch, OfAnimal or OfEnclosure
	Place    tasks.Place
	Keeper   husbandry.ID // whose it is where several share the work
	From, To civil.Date
	Title    string // "Hatching of clutch C27-04 (wall lizard, in I1)"
	Why      string
}

// watchOf is the kind of task that a window is watched by.
var watchOf = map[husbandry.WindowName]husbandry.Kind{
	husbandry.HatchWindow: husbandry.HatchWatch, husbandry.LayWindow: husbandry.LayWatch, husbandry.PairingWindow: husbandry.Pair,
}

// pastSpans is how many days ago a span may have ended to be among Dated.
const pastSpans = 31

// Dated returns the hatch windows of clutches (from the 5th to the 95th
// percentile), the laying and pairing windows of females, and the winters of
// enclosures, that ended at most 31 days before in.On and begin by in.To,
// ordered by first day and key.
func Dated(in Input) []Span {
	p := newPlanner(in)
	p.findSubjects()
	var spans []Span
	add := func(s Span) {
		if !s.To.AddDays(pastSpans).Before(p.on) && !s.From.After(p.to) {
			s.Title = plainWords(s.Title)
			if len(p.rec.Carers) > 0 {
				s.Keeper = p.carer(p.subjects[s.Subject], &husbandry.Routine{Kind: watchOf[s.Name]}, civil.Max(s.From, p.on))
			}
			spans = append(spans, s)
		}
	}
	for _, c := range p.herd.Clutches {
		s := p.subjects[c.ID]
		if s == nil || s.clutch != c || !c.Expecting() {
			continue
		}
		if f := p.hatching(c); f.Known {
			add(Span{
				Key:  tasks.NewKey(c.ID, husbandry.ID(husbandry.HatchWindow), string(husbandry.EventLaid)),
				Name: husbandry.HatchWindow, Subject: c.ID, Scope: s.scope, Place: s.place, From: f.P05, To: f.P95,
				Title: "Hatching of " + s.label(), Why: p.hatchWords(c, f, p.on) + "; from " + f.Basis + cautionWords(f.Cautions),
			})
		}
	}
	for _, a := range p.herd.Animals {
		s := p.subjects[a.ID]
		if s == nil || !p.watchable(a) {
			continue
		}
		span := Span{Subject: a.ID, Scope: s.scope, Place: s.place}
		if w := p.laying(a); w.Known {
			span.Name, span.From, span.To = husbandry.LayWindow, w.From, w.To
			span.Key = tasks.NewKey(a.ID, husbandry.ID(span.Name), w.Event)
			span.Title, span.Why = "Eggs expected of "+s.label(), p.windowWords(span.Name, w)
			add(span)
		}
		if w := p.pairing(a); w.Known {
			span.Name, span.From, span.To = husbandry.PairingWindow, w.From, w.To
			span.Key = tasks.NewKey(a.ID, husbandry.ID(span.Name), w.Event)
			span.Title, span.Why = "Pairing time of "+s.label(), p.windowWords(span.Name, w)
			add(span)
		}
	}
	p.coolingSpans(add)
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

// ClutchForecast is one line of the overview of clutches.
type ClutchForecast struct {
	ID        husbandry.ID `json:"id"`
	Species   husbandry.ID `json:"species"`
	Mother    husbandry.ID `json:"mother"`
	Laid      civil.Date   `json:"laid"`
	Eggs      int          `json:"eggs"`
	Slugs     int          `json:"slugs,omitempty"` // infertile ones, beside the eggs
	Incubator husbandry.ID `json:"incubator"`
	State     ClutchState  `json:"state"`
	Progress  float64      `json:"progress"` // 0 to 1
	// The forecast's dates are zero, written as "", where nothing is
	// expected, or nothing is known to compute from.
	P05              civil.Date `json:"p05"`
	P25              civil.Date `json:"p25"`
	P50              civil.Date `json:"p50"`
	P75              civil.Date `json:"p75"`
	P95              civil.Date `json:"p95"`
	WatchFrom        civil.Date `json:"watch_from"`
	WatchTo          civil.Date `json:"watch_to"`
	ProbabilityToday float64    `json:"probability_today"` // 0 to 1
	Basis            string     `json:"basis"`
	Cautions         []string   `json:"cautions"` // never nil
	// Males is the share of males expected, with a 90 % interval; nil where
	// sex is not known to follow temperature.
	Males *incubation.Males `json:"males,omitempty"`
	// Moisture says how its tub holds its water; "" where nothing is known.
	Moisture string `json:"moisture,omitempty"`

	// What a person is told besides: the first day on which it may have been
	// laid, how many eggs have hatched, and how many were found dead.
	LaidFrom      civil.Date `json:"-"`
	Hatched, Lost int        `json:"-"`
	Outside       bool       `json:"-"` // laid beside the nest box
	// What a picture needs and a line has no room for: the temperature the
	// eggs stand at (nil when unknown), the probability of each day from
	// DailyFrom on, and the young that hatched so far.
	Temperature *husbandry.Celsius `json:"-"`
	DailyFrom   civil.Date         `json:"-"`
	Daily       []float64          `json:"-"`
	HatchedOn   []Young            `json:"-"`
}

// fate says in words what became of a clutch of which nothing more is expected.
func (c *Clutch) fate() string {
	words := "no young hatched"
	if c.Hatched > 0 {
		words = fmt.Sprintf("%d hatched", c.Hatched)
	}
	if c.Eggs == 0 && c.Parted > 0 {
		return "its eggs stand in other tubs"
	}
	if c.Lost > 0 {
		words += fmt.Sprintf(", %d found dead", c.Lost)
	}
	if rest := c.Eggs - c.Hatched - c.Lost; rest > 0 && c.State == Ended {
		words += ", " + count(rest, "other egg") + " given up"
	}
	return words
}

// ClutchForecasts returns the clutches that still expect young, and those
// laid in the last 400 days that no longer do, by laying date and id.
func ClutchForecasts(in Input) []ClutchForecast {
	p := newPlanner(in)
	list := []ClutchForecast{}
	for _, c := range p.herd.Clutches {
		if c.Laid.After(p.on) || !c.Expecting() && c.Laid.AddDays(lookBack).Before(p.on) {
			continue
		}
		line := ClutchForecast{
			ID: c.ID, Species: c.Species, Mother: c.Mother, LaidFrom: c.LaidFrom, Laid: c.Laid,
			Eggs: c.Eggs, Slugs: c.Slugs, Hatched: c.Hatched, Lost: c.Lost, Outside: c.Outside,
			Incubator: c.Incubator, State: c.State, Cautions: []string{},
		}
		if at := p.herd.Standing(c).Incubator; at != nil && c.State != InBox {
			line.Incubator = at.ID
		}
		switch {
		case c.State == HatchedAll:
			line.Progress = 1
			line.Basis = c.fate()
		case c.State == Ended:
			line.Basis = c.fate()
		default:
			f := p.hatching(c)
			line.Progress = f.Progress(p.on)
			line.P05, line.P25, line.P50, line.P75, line.P95 = f.P05, f.P25, f.P50, f.P75, f.P95
			if f.Known {
				line.WatchFrom, line.WatchTo, _ = p.hatchSpan(c, f)
			}
			line.ProbabilityToday = f.Probability(p.on)
			line.Basis, line.Males = f.Basis, f.Males
			line.DailyFrom, line.Daily = f.Daily()
			line.Temperature, line.HatchedOn = p.herd.Standing(c).Temperature, c.HatchedOn
			line.Moisture = p.tubWords(c)
			line.Cautions = append(line.Cautions, f.Cautions...)
			if _, _, over := p.hatchSpan(c, f); f.Known && over {
				line.Cautions = append(line.Cautions, pastHatching)
			}
		}
		list = append(list, line)
	}
	return list
}
