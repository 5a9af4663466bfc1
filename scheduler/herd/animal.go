package herd

import (
	"slices"

	"nestround/scheduler/season"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Animal is the record of an animal, with all findings about the animal.
type Animal struct {
	husbandry.Animal
	// GravidTimes are the times during which the female was known to carry
	// eggs, by date. The last of them is open (its To is zero) as long as she
	// carries eggs.
	GravidTimes []Carrying
	Laid        []*Clutch    // the female's clutches, by date
	Mated       []civil.Date // matings seen, by date, each day once
	Dug         []civil.Date // days on which the female was seen digging, by date
	Pairing     *husbandry.Pairing
	// Together is the last time that the female was with a male, by a pairing
	// record or by marks.
	Together Together
	Weights  []Weight // of the last 400 days, by date
	// Winters are the winters in which the animal is cooled, or deliberately
	// not cooled, by date: from more than a year back to more than a year
	// ahead.
	Winters []Winter
	// Came is the first day on which the animal was in the collection under its
	// own record; zero: always.
	Came civil.Date
	// Sexings are the checks of the animal's sex, by date.
	Sexings []Sexing
	// Regrouped is the last day on which an animal was taken out of the group.
	Regrouped civil.Date
	// Apart is the animal's current quarantine; nil if it is not in quarantine.
	Apart *Apart
	// released is the quarantine that ended on the day releasedOn.
	released   *Apart
	releasedOn civil.Date
	sheet      *husbandry.Species
	Sightings  []Sighting // by date
	with       []mate     // the males of the female's pairings, as the tasks named them
}

// Together is the time during which a pair was together: its first and its last
// day. From is zero if the pair was never together. Until is zero while the
// pair is together. Male is "" if nobody said which male it was.
type Together struct {
	From, Until civil.Date
	Male        husbandry.ID
}

// mate is a male that a female was put together with on a day.
type mate struct {
	on   civil.Date
	male husbandry.ID
}

// Sighting is a check of a female that showed whether she carries eggs.
type Sighting struct {
	On     civil.Date
	Gravid bool
}

// Carrying is a time during which a female was known to carry eggs: from a
// sighting of eggs to the day on which she laid or was seen without eggs. As
// long as To is zero, Until is the last day on which she is expected to carry
// eggs, if that day is known. A plan treats her as gravid only up to Until.
type Carrying struct{ From, To, Until civil.Date }

// Weight is one weighing.
type Weight struct {
	On    civil.Date
	Grams husbandry.Grams   // of a group: the mean mass of one animal
	Each  []husbandry.Grams // single masses of a group whose animals were weighed one by one; else nil
}

// PostLaying is the number of days after laying for which a female counts as
// just laid. Common practice: she gets more food for two weeks.
const PostLaying = 14

// StageAge is the age at which a stage of life begins, in days; 0 if the age is
// not known.
type StageAge struct {
	Stage husbandry.Stage
	From  husbandry.Days
}

// Thinner returns an animal's last weight and its greatest weight of the three
// months before that. Weights before the female's last clutch do not count. ok
// says that the animal lost more than a tenth of its mass.
func (a *Animal) Thinner() (last, best Weight, ok bool) {
	n := len(a.Weights)
	if n < 2 {
		return last, best, false
	}
	last, best = a.lost(a.Weights[n-1].On, lossDays)
	return last, best, float64(last.Grams) < (1-lossShare)*float64(best.Grams)
}

// Animal returns an animal by its id, or nil.
func (h *Herd) Animal(id husbandry.ID) *Animal { return h.animals[id] }

// Layings returns the female's clutches up to a day, in the form of package
// season.
func (a *Animal) Layings(until civil.Date) []season.Laid {
	var list []season.Laid
	for _, c := range a.Laid {
		if !c.Laid.After(until) {
			list = append(list, season.Laid{Clutch: c.ID, On: c.Laid})
		}
	}
	return list
}

// carry works out when the female carried eggs: from a sighting of eggs until
// she is seen without eggs or has laid. Eggs laid on the day of a sighting are
// the eggs that were seen.
func (a *Animal) carry() {
	slices.SortStableFunc(a.Sightings, func(s, t Sighting) int { return s.On.Compare(t.On) })
	laid := a.Laid
	for _, s := range a.Sightings {
		if n := len(a.GravidTimes); n > 0 {
			if t := &a.GravidTimes[n-1]; t.To.IsZero() || s.On.Before(t.To) {
				if !s.Gravid {
					t.To = s.On
				}
				continue
			}
		}
		if !s.Gravid {
			continue
		}
		for len(laid) > 0 && laid[0].Laid.Before(s.On) {
			laid = laid[1:]
		}
		t := Carrying{From: s.On}
		if len(laid) > 0 {
			t.To = laid[0].Laid
		}
		a.GravidTimes = append(a.GravidTimes, t)
	}
}

// PresentOn reports whether the animal is in the keeper's collection on a day.
func (a *Animal) PresentOn(day civil.Date) bool {
	return !day.Before(a.Came) && (a.Left.IsZero() || day.Before(a.Left))
}

// StageOn returns the stage of life on a day. The record states it, or it
// follows from the age and the care sheet. The stage is adult if the age, or
// the ages of the sheet, are not known.
func (a *Animal) StageOn(day civil.Date) husbandry.Stage {
	if a.Stage != "" {
		return a.Stage
	}
	s := a.sheet
	if a.Hatched.IsZero() || s.JuvenileFrom == 0 && s.SubadultFrom == 0 && s.AdultFrom == 0 {
		return husbandry.Adult
	}
	age := husbandry.Days(day.Sub(a.Hatched))
	stage := husbandry.Hatchling
	for _, next := range a.StageAges() {
		if next.From > 0 && age >= next.From {
			stage = next.Stage
		}
	}
	return stage
}

func (a *Animal) StageAges() [3]StageAge {
	return [3]StageAge{
		{husbandry.Juvenile, a.sheet.JuvenileFrom},
		{husbandry.Subadult, a.sheet.SubadultFrom},
		{husbandry.Adult, a.sheet.AdultFrom},
	}
}

// GravidOn returns the first day of the time of carrying eggs that includes a
// day, or no date. On the day on which the female lays, she no longer counts as
// carrying eggs.
func (a *Animal) GravidOn(day civil.Date) civil.Date {
	for _, t := range a.GravidTimes {
		if day.Before(t.From) || !t.To.IsZero() && !day.Before(t.To) || t.To.IsZero() && !t.Until.IsZero() && day.After(t.Until) {
			continue
		}
		return t.From
	}
	return civil.Date{}
}

// In reports whether an animal is in a state, such as gravid, on a day.
func (a *Animal) In(state husbandry.State, day civil.Date) bool {
	switch state {
	case husbandry.Gravid:
		return !a.GravidOn(day).IsZero()
	case husbandry.PostLaying:
		for i := len(a.Laid) - 1; i >= 0; i-- {
			if since := day.Sub(a.Laid[i].Laid); since >= 0 && since <= PostLaying {
				return true
			}
		}
	case husbandry.Breeding:
		return a.Breeding
	case husbandry.Apart:
		return a.Apart != nil && !day.Before(a.Apart.Began)
	}
	return false
}

// apartSince returns the first day of the quarantine that includes a day, or no
// date.
func (a *Animal) apartSince(day civil.Date) civil.Date {
	switch {
	case a.Apart != nil && !day.Before(a.Apart.Began):
		return a.Apart.Began
	case a.released != nil && !day.Before(a.released.Began) && day.Before(a.releasedOn):
		return a.released.Began
	}
	return civil.Date{}
}
