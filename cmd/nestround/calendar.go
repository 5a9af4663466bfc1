package main

import (
	"context"
	"flag"
	"fmt"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/notify/calendar"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// linkGrace is the time for which the old address of a calendar still works
// after its link was renewed. Even a phone that is seldom online fetches the
// calendar within a month, and the calendar then tells of the new address.
const linkGrace = 30 * 24 * time.Hour

func setCalendar(f *flag.FlagSet) func(context.Context, *call) error {
	out := f.String("out", "", "write the calendar to this `file`, whole or not at all, instead of showing it")
	room := f.String("room", "", "only this room, by its `id`")
	keeper := f.String("keeper", "", "only what is this keeper's, by their `id`")
	return func(_ context.Context, c *call) error {
		h, err := c.open()
		if err != nil {
			return err
		}
		if *room != "" && !hasRoom(h.Snapshot(), husbandry.ID(*room)) {
			return &usageError{fmt.Sprintf("there is no room %q", *room), "the books have: " + roomIDs(h.Snapshot())}
		}
		shows := calendar.Scope{Room: husbandry.ID(*room)}
		if shows.Keeper, err = h.Snapshot().Carer(*keeper); err != nil {
			return &usageError{err.Error(), ""}
		}
		if len(c.args) > 0 {
			return c.links(h, shows)
		}
		b, err := h.Publisher().File(shows)
		if err != nil {
			return err
		}
		if *out == "" {
			_, err = c.stdout.Write(b)
			return err
		}
		return disk.Files{}.WriteFile(*out, b, 0o644)
	}
}

func hasRoom(s *house.Snapshot, id husbandry.ID) bool {
	for _, r := range s.Rooms() {
		if r.ID == id {
			return true
		}
	}
	return false
}

func roomIDs(books *house.Snapshot) string {
	s := ""
	for i, r := range books.Rooms() {
		if i > 0 {
			s += ", "
		}
		s += string(r.ID)
	}
	return s
}

// links makes, lists, renews and withdraws the addresses that phones
// subscribe to.
func (c *call) links(h *house.House, shows calendar.Scope) error {
	const how = `nestround calendar link              lists them
  nestround calendar link new LABEL    makes one, for a phone say; --room ID for one room, --keeper ID for one keeper
  nestround calendar link renew LABEL  a new address; the old one works for 30 days
  nestround calendar link end LABEL    ends one at once`
	if c.args[0] != "link" || len(c.args) == 2 || len(c.args) > 3 {
		return &usageError{"the calendar's links are asked for like this", how}
	}
	links := h.Publisher().Links()
	if len(c.args) == 1 {
		return c.listLinks(links)
	}
	name := c.args[2]
	var token string
	var l calendar.Link
	var err error
	switch c.args[1] {
	case "new":
		token, l, err = links.New(name, shows)
	case "renew":
		token, l, err = links.Renew(name, linkGrace)
	case "end":
		if err := links.Withdraw(name); err != nil {
			return err
		}
		fmt.Fprintf(c.stdout, "The link %s gives nothing any more.\n", name)
		return nil
	default:
		return &usageError{fmt.Sprintf("%q is nothing to do with a link", c.args[1]), how}
	}
	if err != nil {
		return err
	}
	address, err := h.Publisher().LinkAddress(token, l)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.stdout, "%s\n%s\n\n", address, calendar.Subscribe(address))
	if h.Snapshot().Settings().Page.URL == "" {
		c.complain("this address works on this machine only", `say how the outside reaches it: url = "https://..." under [page]; then ask for a new link`)
	}
	printIndented(c.stdout, "", "Whoever has this address can read the calendar. It is shown this once; nestround keeps only enough to know it again. The second form opens the calendar program on most phones.")
	return nil
}

func (c *call) listLinks(links *calendar.Links) error {
	all, err := links.List()
	if err != nil {
		return err
	}
	if len(all) == 0 {
		fmt.Fprintln(c.stdout, "No link has been made. nestround calendar link new LABEL makes one.")
		return nil
	}
	for _, l := range all {
		what := "everything"
		if l.Room != "" {
			what = "room " + string(l.Room)
		}
		state := "works"
		switch {
		case !l.Withdrawn.IsZero():
			state = "ended " + dayOf(l.Withdrawn)
		case !l.Works(c.now()):
			state = "ran out " + dayOf(l.Until)
		case !l.Until.IsZero():
			state = "renewed; works until " + dayOf(l.Until)
		}
		asked := "never asked for"
		if !l.Fetched.IsZero() {
			asked = "last asked for " + english.Moment(l.Fetched)
		}
		fmt.Fprintf(c.stdout, "%s  %s: %s, %s, %s\n", l.ID, l.Label, what, state, asked)
	}
	return nil
}

// dayOf writes the date of a moment in the moment's own time zone.
func dayOf(at time.Time) string { return english.ShortDate(civil.Of(at, at.Location())) }
