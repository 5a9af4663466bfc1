package calendar

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// event is a VEVENT without its revision. Its strings are clean.
type event struct {
	uid         string
	from, to    civil.Date // both inclusive
	summary     string
	description string
	url         string // "" for none
	alarm       *civil.TimeOfDay
}

// hash covers everything that a subscriber sees. If it changes, the event gets
// its next revision.
func (e event) hash() string {
	alarm := ""
	if e.alarm != nil {
		alarm = e.alarm.String()
	}
	return digest(e.from.String(), e.to.String(), e.summary, e.description, e.url, alarm)
}

// digest returns the first 128 bits of a SHA-256 over the parts. It includes
// their lengths, so parts cannot run together.
func digest(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// entry has the data needed to choose which events fit. The text of an event is
// built only after it has been chosen.
type entry struct {
	uid      string
	from, to civil.Date
	room     husbandry.ID // "" if it is in no room's calendar
	name     string       // name of the room or group
	rows     []row        // for a day
	fact     *Fact        // for a fact
}

// row is a task of a day with its number; 0 for none. It points to the task: a
// large facility has half a million tasks in a calendar's span, too many to
// copy.
type row struct {
	n int
	*tasks.Task
}

// distance returns the number of days between today and the nearest day of the
// entry.
func (e *entry) distance(today civil.Date) int {
	return max(0, e.from.Sub(today), today.Sub(e.to))
}

// keeperSlug marks the tasks that are in no room. No room has this slug,
// because the slugs of rooms have a prefix.
const keeperSlug = "keeper"

func roomSlug(id husbandry.ID) string { return "room-" + slug(string(id)) }

// slug makes s safe for a UID and for a file name. Plain ids stay readable. If
// characters must be replaced, it adds a hash of the whole id, so that
// different ids stay different. Ids that differ only in case are the same id.
func slug(s string) string {
	lower := strings.ToLower(s)
	out := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.", r) {
			return r
		}
		return '-'
	}, lower)
	if len(out) > 80 {
		out = out[:80]
	}
	if out != lower || out == "" {
		out += "." + digest(lower)[:12]
	}
	return out
}

func (c *Content) uid(prefix, slug string) string {
	return prefix + "." + slug + "." + c.Install + "@feed"
}

// entries groups the content by day and room, and adds the facts. The order is
// arbitrary.
func entries(c Content) ([]entry, error) {
	var all []entry
	type group struct {
		day  civil.Date
		room husbandry.ID
	}
	index := make(map[group]int)
	add := func(day civil.Date, n int, t *tasks.Task) {
		g := group{day, t.Place.Room}
		if t.Scope == husbandry.OfKeeper || t.Scope == husbandry.OfFeeder {
			g.room = ""
		}
		i, ok := index[g]
		if !ok {
			i = len(all)
			index[g] = i
			e := entry{from: day, to: day, room: g.room, name: "For the keeper"}
			group := keeperSlug
			if g.room != "" {
				group = roomSlug(g.room)
				e.name = cmp.Or(clean(t.Place.RoomName, 100), roomName(c.Rooms, g.room))
			}
			e.uid = c.uid(icsDate(day), group)
			all = append(all, e)
		}
		all[i].rows = append(all[i].rows, row{n, t})
	}
	seen := make(map[civil.Date]bool)
	for _, b := range c.Boards {
		if b.On.After(c.Today) {
			return nil, fmt.Errorf("a board of %s, which is after today, %s", b.On, c.Today)
		}
		if seen[b.On] {
			return nil, fmt.Errorf("two boards of %s", b.On)
		}
		seen[b.On] = true
		for i := range b.Rows {
			add(b.On, b.Rows[i].N, &b.Rows[i].Task)
		}
	}
	for i := range c.Coming {
		if t := &c.Coming[i]; t.Due.After(c.Today) {
			add(t.Due, 0, t)
		}
	}
	keys := make(map[string]bool)
	for i := range c.Facts {
		f := &c.Facts[i]
		if f.From.IsZero() {
			return nil, fmt.Errorf("fact %q has no first day", f.Key)
		}
		uid := c.uid("fact", slug(f.Key))
		if keys[uid] {
			return nil, fmt.Errorf("two facts with the key %q", f.Key)
		}
		keys[uid] = true
		all = append(all, entry{uid: uid, from: f.From, to: civil.Max(f.From, f.To), room: f.Room, fact: f})
	}
	return all, nil
}

// build makes the event of the entry, with its text.
func (e *entry) build(c Content) event {
	ev := event{uid: e.uid, from: e.from, to: e.to}
	if e.fact != nil {
		// libical rejects a property without a value.
		ev.summary = cmp.Or(clean(e.fact.Title, maxTitle), clean(e.fact.Key, maxTitle), "Something is expected")
		ev.description = cleanLines(e.fact.Why, maxDescription)
		return ev
	}
	t := dayText{name: e.name, when: e.from.Sub(c.Today), rows: e.rows}
	if t.when > 0 { // boards are already in order
		slices.SortFunc(t.rows, func(a, b row) int { return tasks.Before(*a.Task, *b.Task) })
	}
	ev.summary, ev.description = t.summary(), t.description()
	if t.when == 0 && c.Page != "" {
		ev.url = c.Page
		// Google does not show the URL property, so the address also stands in
		// the text, on its own line.
		ev.description += "\n" + c.Page
	}
	if t.when >= 0 && c.Alarm != nil && t.open() > 0 {
		ev.alarm = c.Alarm
	}
	return ev
}

// sentinel returns the event that every file has. Evolution keeps its old
// events if a calendar comes back without events. The day of the sentinel also
// shows the keeper how old their copy is.
func sentinel(c Content, s Scope, shown []entry) event {
	var open, overdue int
	var next civil.Date
	for _, e := range shown {
		switch {
		case e.fact != nil:
		case e.from == c.Today:
			t := dayText{rows: e.rows}
			open += t.open()
			overdue += t.count(tasks.Overdue)
		case e.from.After(c.Today):
			next = civil.Min(next, e.from)
		}
	}
	summary := "Calendar up to date: nothing planned"
	switch {
	case open > 0:
		summary = "Calendar up to date: " + english.Count(open, "open task") + " today"
		if overdue > 0 {
			summary += fmt.Sprintf(", %d overdue", overdue)
		}
	case !next.IsZero():
		summary = "Calendar up to date: next tasks on " + english.ShortWeekdayDate(next)
	}
	ev := event{uid: c.uid("status", Scope{Room: s.Room, Keeper: s.Keeper}.key()), from: c.Today, to: c.Today, summary: summary, url: c.Page}
	ev.description = "Written for " + english.ShortWeekdayDate(c.Today) + ".\n" +
		"Calendar programs ask for this calendar every few hours, some once a day. " +
		"If this entry stands more than two days back, yours has stopped asking: look at the subscription.\n" +
		"What is due now is in the morning's digest."
	if c.Page != "" {
		ev.description += "\n" + c.Page
	}
	return ev
}

func renewedNotice(c Content, s Scope) event {
	return event{
		uid: c.uid("renewed", s.key()), from: c.Today, to: c.Today,
		summary: "This calendar's link was renewed: subscribe to the new one",
		description: "The link that this calendar comes from works until " + english.ShortWeekdayDate(s.Ends) + ".\n" +
			"Remove this subscription and subscribe to the new link.",
	}
}

// cutNotice says which entries are missing. The farthest entries are left out,
// so all future entries from some day on are missing, and all past entries up
// to some day.
func cutNotice(c Content, s Scope, left []entry) event {
	var from, until civil.Date
	for _, e := range left {
		if e.to.Before(c.Today) {
			until = civil.Max(until, e.to)
		} else {
			from = civil.Min(from, civil.Max(e.from, c.Today))
		}
	}
	ev := event{uid: c.uid("cut", Scope{Room: s.Room, Keeper: s.Keeper}.key())}
	var missing []string
	if !from.IsZero() {
		missing = append(missing, "from "+english.ShortWeekdayDate(from)+" on")
	}
	if !until.IsZero() {
		missing = append(missing, "up to "+english.ShortWeekdayDate(until))
	}
	ev.from = civil.Max(c.Today, from)
	ev.to = ev.from
	ev.summary = "Calendar cut here: entries " + english.List(missing) + " are missing"
	ev.description = fmt.Sprintf("Calendar programs lose entries of calendars that are too big, so this one stops at %d KiB or %d entries. ", MaxBytes>>10, MaxEvents) +
		"Entries " + english.List(missing) + " are left out; none of the tasks is forgotten, the digest has each on its morning."
	if s.Room == "" {
		ev.description += "\nThe calendar of a single room reaches farther."
	}
	return ev
}
