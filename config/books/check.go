package books

import (
	"fmt"
	"io/fs"
	"slices"

	"nestround/config"
	"nestround/tasks/husbandry"
)

// check finds the problems that need all records to be known.
func (r *reader) check(fsys fs.FS, s config.Settings) {
	r.checkRefs()
	r.checkPlaces()
	r.checkAnimals()
	r.checkCarers()
	r.checkKin(s.Breeding)
	r.checkLight(s.Latitude)
	r.checkCoolings()
	r.checkAway()
	r.checkCarersAway()
	r.checkFeeders()
	for _, i := range r.incubators {
		if i.value.Log == "" {
			continue
		}
		if _, err := fs.Stat(fsys, i.value.Log); err != nil {
			i.at.Place("log").Warn(fmt.Sprintf("there is no file %s yet", i.value.Log), "until there is, the set temperature counts")
		}
	}
}

// checkPlaces gives each enclosure in a rack the room of its rack.
func (r *reader) checkPlaces() {
	rooms := make(map[husbandry.ID]husbandry.ID) // by rack
	for _, rack := range r.racks {
		if rack.value.ID != "" {
			rooms[rack.value.ID] = rack.value.Room
		}
	}
	for i := range r.enclosures {
		e := &r.enclosures[i]
		room, known := rooms[e.value.Rack]
		switch {
		case !known:
		case e.value.Room == "":
			e.value.Room = room
		case e.value.Room != room && room != "":
			e.at.Place("room").Error(fmt.Sprintf("the rack `%s` stands in the room `%s`, not in `%s`", e.value.Rack, room, e.value.Room), "leave `room` out; the rack says it")
		}
	}
}

// checkAway sorts the days away and reports periods that overlap.
func (r *reader) checkAway() {
	slices.SortStableFunc(r.away, func(a, b placed[husbandry.Away]) int { return a.value.From.Compare(b.value.From) })
	for i := 1; i < len(r.away); i++ {
		before, a := r.away[i-1], r.away[i]
		if !before.value.Until.IsZero() && !a.value.From.IsZero() && !a.value.From.After(before.value.Until) {
			a.at.Here().Error(fmt.Sprintf("these days away overlap with those at %v, which last until %v", before.at.Here(), before.value.Until), "make one of them")
		}
	}
}

// checkCarersAway sorts the days away of single keepers. It reports periods of
// the same keeper that overlap, and warns of days on which all keepers are
// away.
func (r *reader) checkCarersAway() {
	slices.SortStableFunc(r.carersAway, func(a, b placed[husbandry.CarerAway]) int { return a.value.From.Compare(b.value.From) })
	for i, a := range r.carersAway {
		if a.value.From.IsZero() || a.value.Until.IsZero() {
			continue
		}
		here := make(map[husbandry.ID]bool)
		for _, c := range r.carers {
			here[c.value.ID] = true
		}
		delete(here, a.value.Keeper)
		for _, before := range r.carersAway[:i] {
			switch b := before.value; {
			case b.From.IsZero() || a.value.From.After(b.Until):
			case b.Keeper == a.value.Keeper:
				a.at.Here().Error(fmt.Sprintf("these days away overlap with those of `%s` at %v, which last until %v", b.Keeper, before.at.Here(), b.Until), "make one of them")
			default:
				delete(here, b.Keeper)
			}
		}
		covered := slices.ContainsFunc(r.away, func(o placed[husbandry.Away]) bool {
			return !a.value.From.Before(o.value.From) && !a.value.From.After(o.value.Until)
		})
		if len(r.carers) > 0 && len(here) == 0 && !covered {
			a.at.Here().Warn(fmt.Sprintf("on %v no keeper is there", a.value.From), "write an [[away]] without `keeper` for the days on which all of you are away, with a `cover`")
		}
	}
}

// records builds the records from everything that was read without errors.
func (r *reader) records(s config.Settings) *husbandry.Records {
	v := &husbandry.Records{
		Units:      s.Units,
		Began:      s.Began,
		Breeding:   s.Breeding,
		Rooms:      values(r.rooms),
		Racks:      values(r.racks),
		Enclosures: values(r.enclosures),
		Animals:    values(r.animals),
		Clutches:   values(r.clutches),
		Incubators: values(r.incubators),
		Species:    values(r.speciesList),
		Pairings:   values(r.pairings),
		Coolings:   values(r.coolings),
		Away:       values(r.away),
		Carers:     values(r.carers),
		CarersAway: values(r.carersAway),
		Permits:    values(r.permits),
		Feeders:    values(r.feeders),
		Called:     r.calledFor,
	}
	sortWalking(v)
	mine := make(map[husbandry.ID]bool)
	for _, p := range r.routines[husbandry.Keeper] {
		mine[p.value.ID] = true
	}
	v.Routines = values(r.routines[husbandry.Keeper])
	for _, origin := range []husbandry.Origin{husbandry.Sheet, husbandry.Common} {
		for _, p := range r.routines[origin] {
			if !mine[p.value.ID] {
				v.Routines = append(v.Routines, p.value)
			}
		}
	}
	return v
}

func values[T any](all []placed[T]) []T {
	var v []T
	for _, p := range all {
		v = append(v, p.value)
	}
	return v
}

// sortWalking puts the enclosures into walking order: room by room; in each
// room first the enclosures outside racks, then rack by rack. Otherwise the
// order is the order of the files.
func sortWalking(v *husbandry.Records) {
	rooms := make(map[husbandry.ID]int)
	for i, room := range v.Rooms {
		rooms[room.ID] = i
	}
	racks := map[husbandry.ID]int{"": -1}
	for i, rack := range v.Racks {
		racks[rack.ID] = i
	}
	slices.SortStableFunc(v.Enclosures, func(a, b husbandry.Enclosure) int {
		if c := rooms[a.Room] - rooms[b.Room]; c != 0 {
			return c
		}
		return racks[a.Rack] - racks[b.Rack]
	})
}
