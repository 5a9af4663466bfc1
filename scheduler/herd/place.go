package herd

import (
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// settlePlaces numbers all places in walking order: first the place of the
// keeper's tasks that belong to no room, then each room with its enclosures and
// incubators. Enclosures in quarantine come last.
func (h deriver) settlePlaces() {
	r := h.Records
	h.places = make(map[husbandry.ID]tasks.Place, len(r.Rooms)+len(r.Enclosures)+len(r.Incubators))
	enclosures := make(map[husbandry.ID][]*husbandry.Enclosure)
	for i := range r.Enclosures {
		enclosures[r.Enclosures[i].Room] = append(enclosures[r.Enclosures[i].Room], &r.Enclosures[i])
	}
	incubators := make(map[husbandry.ID][]*husbandry.Incubator)
	for i := range r.Incubators {
		incubators[r.Incubators[i].Room] = append(incubators[r.Incubators[i].Room], &r.Incubators[i])
	}
	order := 0
	walk := func(room husbandry.ID, name string) {
		order++
		h.places[room] = tasks.Place{Room: room, RoomName: name, Order: order}
		for _, e := range enclosures[room] {
			if h.ApartIn(e.ID) {
				continue
			}
			order++
			h.places[e.ID] = tasks.Place{Room: room, RoomName: name, Rack: e.Rack, Enclosure: e.ID, Order: order}
		}
		for _, i := range incubators[room] {
			order++
			h.places[i.ID] = tasks.Place{Room: room, RoomName: name, Enclosure: i.ID, Order: order}
		}
	}
	for _, room := range r.Rooms {
		name := room.Name
		if name == "" {
			name = string(room.ID)
		}
		walk(room.ID, name)
	}
	walk("", "") // incubators without a room
	for i := range r.Enclosures {
		if e := &r.Enclosures[i]; h.ApartIn(e.ID) {
			order++
			h.places[e.ID] = tasks.Place{Room: e.Room, RoomName: h.places[e.Room].RoomName, Rack: e.Rack, Enclosure: e.ID, Order: order}
		}
	}
	h.places[""] = tasks.Place{}
}

// ClutchPlace returns the place where the keeper looks after a clutch. At first
// this is the enclosure in which the clutch was laid; then the incubator, once
// the tub is set; then the place of the young, once all have hatched and have
// records.
func (h *Herd) ClutchPlace(c *Clutch) tasks.Place {
	if at, ok := h.youngPlace(c); ok {
		return at
	}
	if c.State != InBox || c.Enclosure == "" {
		if i := h.Standing(c).Incubator; i != nil {
			return h.places[i.ID]
		}
	}
	return h.places[c.Enclosure]
}

// PlaceOf is the place of a room, an enclosure or an incubator.
func (h *Herd) PlaceOf(id husbandry.ID) tasks.Place { return h.places[id] }
