package herd

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Illness is a note that an animal, the animals of an enclosure or a clutch's
// young look ill.
type Illness struct {
	Subject husbandry.ID
	On      civil.Date
	Signs   string // in the keeper's words; "" for none
}

// Apart is an animal's quarantine. It lasts until the release is marked as
// done, even if its last day has passed.
type Apart struct {
	Began civil.Date // the first day of the quarantine
	From  civil.Date // the day from which the days of quarantine count: Began, or the last restart
	Until civil.Date // the first day on which the quarantine may end
	Why   string     // reason of the restart; "" for none
}

// settleQuarantine works out which animals are in quarantine, and from which
// day the days of each quarantine count. They count from the day on which the
// animal came. They count anew when another animal comes into the enclosure, or
// into quarantine in the same room, and when the animal or one that lives with
// it looks ill.
func (h deriver) settleQuarantine() {
	slices.SortStableFunc(h.Ills, func(a, b Illness) int { return a.On.Compare(b.On) })
	var release []husbandry.ID
	for i := range h.Records.Routines {
		if r := &h.Records.Routines[i]; r.Kind == husbandry.Release {
			release = append(release, r.ID)
		}
	}
	for _, a := range h.Animals {
		began := a.Acquired
		if began.IsZero() {
			began = a.Since
		}
		if a.Quarantine == 0 || began.IsZero() || began.After(h.On) || !a.PresentOn(h.On) {
			continue
		}
		released := h.released(a, release)
		q := &Apart{Began: began, From: began}
		for _, e := range h.restarts(a, began) {
			if !released.IsZero() && e.on.After(released) {
				break
			}
			q.From, q.Why = e.on, e.why
		}
		q.Until = q.From.AddDays(int(a.Quarantine))
		if released.After(q.From) {
			a.released, a.releasedOn = q, released
		}
		if released.After(q.From) || q.Until.Before(h.Records.Began) { // over, or over before the books began
			continue
		}
		a.Apart = q
	}
}

// released returns the last day on which a routine ended the quarantine of an
// animal, or of a group while the animal was in it; or no date.
func (h deriver) released(a *Animal, routines []husbandry.ID) (on civil.Date) {
	for _, id := range routines {
		on = civil.Max(on, h.History.LastDone(a.ID, id))
		until := a.Since
		for _, g := range h.GroupsOf(a) {
			if done := h.History.LastDone(g.ID, id); !done.After(until) {
				on = civil.Max(on, done)
			}
			until = civil.Min(until, g.Since)
		}
	}
	return on
}

// restart is a reason to count the days of a quarantine anew.
type restart struct {
	on  civil.Date
	why string
}

// restarts lists, by date, the reasons after a day to count the days of an
// animal's quarantine anew.
func (h deriver) restarts(a *Animal, after civil.Date) []restart {
	var list []restart
	add := func(on civil.Date, why string) {
		if on.After(after) && !on.After(h.On) {
			list = append(list, restart{on, why})
		}
	}
	for _, b := range h.Animals {
		if b == a || a.Enclosure == "" || b.Enclosure == "" {
			continue
		}
		if b.Enclosure == a.Enclosure {
			add(b.MovedIn(), AnimalWord(b)+" moved in")
		}
		if b.Enclosure == a.Enclosure || b.Quarantine > 0 && h.roomOf(a) == h.roomOf(b) {
			add(b.Acquired, AnimalWord(b)+" came")
		}
	}
	for _, ill := range h.Ills {
		if ill.On.After(after) && h.concerns(ill, a) {
			list = append(list, restart{ill.On, "illness was noted"})
		}
	}
	slices.SortStableFunc(list, func(r, s restart) int { return cmp.Or(r.on.Compare(s.on), strings.Compare(r.why, s.why)) })
	return list
}

// concerns reports whether an illness is of an animal, of another animal in its
// enclosure, or of the enclosure as a whole.
func (h deriver) concerns(ill Illness, a *Animal) bool {
	who := h.animals[ill.Subject]
	switch {
	case who != nil && who == a:
		return true
	case a.Enclosure == "":
		return false
	}
	return ill.Subject == a.Enclosure || who != nil && who.Enclosure == a.Enclosure
}

func (h deriver) roomOf(a *Animal) husbandry.ID {
	if e := h.enclosures[a.Enclosure]; e != nil {
		return e.Room
	}
	return ""
}

// ApartIn reports whether an animal in an enclosure is in quarantine.
func (h *Herd) ApartIn(enclosure husbandry.ID) bool {
	return slices.ContainsFunc(h.Residents(enclosure), func(a *Animal) bool { return a.Apart != nil })
}

// unwell reports whether an illness of the animal was noted lately and nobody
// has reviewed it.
func (h *Herd) unwell(a *Animal) bool { return !h.UnwellOn(a, h.On).IsZero() }

// UnwellOn returns the day on which an illness of the animal, or of one in its
// enclosure, was noted, if nobody had reviewed it by a day; else no date.
func (h *Herd) UnwellOn(a *Animal, day civil.Date) (noted civil.Date) {
	for _, subject := range []husbandry.ID{a.ID, a.Enclosure} {
		ill, ok := h.lastIll(subject, day)
		if !ok || !ill.On.AddDays(unwellFor).After(day) {
			continue
		}
		if o := h.History.Outcome(tasks.NewKey(subject, ReviewIll, ill.On.String())); o.Mark != tasks.MarkDone || o.On.After(day) {
			noted = civil.Max(noted, ill.On)
		}
	}
	return noted
}

// lastIll is the last illness of a subject up to a day.
func (h *Herd) lastIll(id husbandry.ID, day civil.Date) (last Illness, ok bool) {
	for _, ill := range h.Ills {
		if id != "" && ill.Subject == id && !ill.On.After(day) {
			last, ok = ill, true
		}
	}
	return last, ok
}

// reading is one UV index measured under a lamp.
type reading struct {
	on  civil.Date
	uvi float64
}

// lampLoss is a share of a lamp's UV index. A lamp that has lost this share has
// to be changed (common practice).
const lampLoss = 0.30

// Dimmed returns the day of the last measurement of an enclosure's lamp, with
// the reason in words, if the value was too low compared with the highest value
// since the lamp was fitted or changed; else no date.
func (h *Herd) Dimmed(enclosure husbandry.ID, since civil.Date) (on civil.Date, words string) {
	best, last := reading{}, reading{}
	for _, r := range h.readings[enclosure] {
		if r.on.Before(since) {
			continue
		}
		if last = r; r.uvi > best.uvi {
			best = r
		}
	}
	if last.on.IsZero() || last.uvi > (1-lampLoss)*best.uvi+Tiny || best.uvi == 0 {
		return civil.Date{}, ""
	}
	return last.on, fmt.Sprintf("; UV index %v on %s, %v on %s: %s less", last.uvi, h.DateWords(last.on), best.uvi, h.DateWords(best.on), english.Percent(1-last.uvi/best.uvi))
}
