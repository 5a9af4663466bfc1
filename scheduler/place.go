package scheduler

import (
	"nestround/tasks"
	"nestround/tasks/husbandry"
)

// findPlaces numbers everything in walking order: the keeper's own tasks
// first, then room by room its enclosures and after them its incubators, and
// where somebody is in quarantine last of all.
func (p *planner) findPlaces() {
	r := p.rec
	p.places = make(map[husbandry.ID]tasks.Place, len(r.Rooms)+len(r.Enclosures)+len(r.Incubators))
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
		p.places[room] = tasks.Place{Room: room, RoomName: name, Order: order}
		for _, e := range enclosures[room] {
			if p.apart(e.ID) {
				continue
			}
			order++
			p.places[e.ID] = tasks.Place{Room: room, RoomName: name, Rack: e.Rack, Enclosure: e.ID, Order: order}
		}
		for _, i := range incubators[room] {
			order++
			p.places[i.ID] = tasks.Place{Room: room, RoomName: name, Enclosure: i.ID, Order: order}
		}
	}
	for _, room := range r.Rooms {
		name := room.Name
		if name == "" {
			name = string(room.ID)
		}
		walk(room.ID, name)
	}
	walk("", "") // incubators that stand in no room
	for i := range r.Enclosures {
		if e := &r.Enclosures[i]; p.apart(e.ID) {
			order++
			p.places[e.ID] = tasks.Place{Room: e.Room, RoomName: p.places[e.Room].RoomName, Rack: e.Rack, Enclosure: e.ID, Order: order}
		}
	}
	p.places[""] = tasks.Place{}
}

// clutchPlace is where a clutch's work is done: in the enclosure it was laid
// in until its tub is set, at the incubator from then on, and where its young
// are once all have hatched and have records.
func (p *planner) clutchPlace(c *Clutch) tasks.Place {
	if at, ok := p.youngPlace(c); ok {
		return at
	}
	if c.State != InBox || c.Enclosure == "" {
		if i := p.herd.Standing(c).Incubator; i != nil {
			return p.places[i.ID]
		}
	}
	return p.places[c.Enclosure]
}
