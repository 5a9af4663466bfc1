// Package calendar writes the tasks as an iCalendar file (RFC 5545 and RFC
// 7986) that phones subscribe to, and serves it behind unguessable links.
//
// Start with [Render]: it takes a [Content] and a [Scope] and returns the bytes
// of the file, always the same bytes for the same content. [Handler] serves the
// file by HTTP. [Links] makes, renews and withdraws the addresses. A [Store]
// keeps the data that must survive a restart: the revision of every event, the
// links, and the last good file.
//
// The file holds single events and no recurrence rules. Each day and room has
// one all-day event with the tasks of that day in its description, and each
// dated [Fact] has its own event. A task that is done late does not move a
// published event to another day: the list in the description changes, and the
// UID stays. Most calendar programs ask for the file only every few hours. The
// calendar is therefore for looking ahead and back; the morning's digest has
// the tasks that are due now.
//
// The package computes no dates and has no clock of its own. It takes no
// answers: a calendar program cannot tell us that a task is done.
package calendar

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// The limits of a file. Google documents 1 MB for an import. For larger files,
// or files of more than about 1,100 events, Google has been seen to lose events
// of subscriptions. Both limits stay well below these values.
const (
	MaxBytes  = 500 << 10
	MaxEvents = 900
)

// Content is everything a calendar is made from: the plan with its marks, and
// the words around it. The caller decides how many days back and ahead it
// covers.
type Content struct {
	Name    string // the books' name for the heading; "" for a generic one
	Install string // id of these books, 1 to 64 characters of a-z 0-9 -; part of every UID, so it must never change
	// Page is the http or https address of the page with today's round; "" for
	// none. The host of the subscriber's calendar can see the address, so the
	// page behind it should only show tasks and not mark them.
	Page string

	Now   time.Time // stamp for events that changed
	Today civil.Date

	Rooms []husbandry.Room // for the names of the calendars of single rooms
	// Boards are the boards of the days up to today, one per day.
	Boards []*tasks.Board
	// Coming are the tasks of the days after today, each on its Due day. Tasks
	// due earlier are on today's board and are ignored here.
	Coming []tasks.Task
	Facts  []Fact

	// Alarm asks for an alarm at this time on days with open tasks; nil for no
	// alarm. Most calendar programs drop the alarms of subscriptions.
	Alarm *civil.TimeOfDay
}

// Fact is an event expected on a day or within a few days: a hatching window, a
// laying window, the season of a pairing. It gets its own calendar event.
type Fact struct {
	// Key is the permanent name of the fact, made of record ids
	// ("hatching/C27-04"). The event's UID is made from it. It must be unique
	// regardless of case.
	Key      string
	Title    string
	Why      string // may have several lines
	From, To civil.Date
	Room     husbandry.ID // room whose calendar shows the fact too; "" for none
}

// Scope is the part of the content that a file shows. The zero Scope stands for
// all content. An event has the same UID and revision in every scope.
type Scope struct {
	Room husbandry.ID // only this room; the keeper's own tasks are in no room
	// Keeper is the keeper for whom the file is, if several keepers share the
	// work. The content is already chosen for that keeper, and has an Install
	// that no other content has.
	Keeper husbandry.ID
	// Ends is the last day of a link that was renewed; zero for any other link.
	// An event in the file tells the subscriber about this day.
	Ends civil.Date
}

// key returns the scope's name in stored files.
func (s Scope) key() string {
	k := "all"
	if s.Room != "" {
		k = roomSlug(s.Room)
	}
	if s.Keeper != "" {
		k += "-of-" + slug(string(s.Keeper))
	}
	if !s.Ends.IsZero() {
		k += "~" + s.Ends.String()
	}
	return k
}

// Render returns the iCalendar file of a scope. Every event that is new or
// changed gets its next revision. Render saves the revisions before it returns,
// so a subscriber never sees a revision go back. For the same content, without
// a change in between, it returns the same bytes.
//
// If the content exceeds [MaxBytes] or [MaxEvents], Render leaves out the days
// farthest from today, and the last event says which days are missing.
//
// An error comes from the store of the revisions, or from content that breaks a
// rule in the comments of [Content].
func Render(c Content, s Scope, r *Revisions) ([]byte, error) {
	d, err := render(c, s, r)
	if err != nil {
		return nil, err
	}
	return d.bytes, nil
}

// document is a rendered file.
type document struct {
	bytes    []byte
	hash     string    // of the bytes
	modified time.Time // when the bytes last changed, to the second
}

func render(c Content, s Scope, r *Revisions) (document, error) {
	if err := c.check(); err != nil {
		return document{}, fmt.Errorf("calendar: %w", err)
	}
	all, err := entries(c)
	if err != nil {
		return document{}, fmt.Errorf("calendar: %w", err)
	}
	shown := slices.DeleteFunc(all, func(e entry) bool { return s.Room != "" && e.room != s.Room })
	// The nearest first; of two equally near days, the one in the future.
	slices.SortFunc(shown, func(a, b entry) int {
		return cmp.Or(
			cmp.Compare(a.distance(c.Today), b.distance(c.Today)),
			-a.from.Compare(b.from),
			strings.Compare(a.uid, b.uid))
	})

	var d document
	err = r.update(func(st *state) error {
		var w writer
		head := w.header(calendarName(c, s))
		var first []chunk
		put := func(list []chunk, e event) []chunk {
			rev := st.next(st.Events, e.uid, e.hash(), c.Now)
			st.keep(st.Events, e.uid, rev)
			return append(list, chunk{e.from, e.uid, w.event(e, rev)})
		}
		first = put(first, sentinel(c, s, shown))
		if !s.Ends.IsZero() {
			first = put(first, renewedNotice(c, s))
		}
		// reserve is the room kept for the notice that days are missing, in
		// bytes, with a margin.
		const reserve = 4 << 10
		size, events := len(head)+reserve, len(first)+1
		for _, k := range first {
			size += len(k.text)
		}
		var body, last []chunk
		for i, e := range shown {
			ev := e.build(c)
			rev := st.next(st.Events, ev.uid, ev.hash(), c.Now)
			text := w.event(ev, rev)
			if events+1 > MaxEvents || size+len(text) > MaxBytes {
				last = put(last, cutNotice(c, s, shown[i:]))
				break
			}
			st.keep(st.Events, ev.uid, rev) // only published events get a revision
			body = append(body, chunk{ev.from, ev.uid, text})
			size += len(text)
			events++
		}
		slices.SortFunc(body, func(a, b chunk) int {
			return cmp.Or(a.from.Compare(b.from), strings.Compare(a.uid, b.uid))
		})
		d.bytes = w.file(head, slices.Concat(first, body, last))
		d.hash = digest(string(d.bytes))
		whole := st.next(st.Feeds, s.key(), d.hash, c.Now)
		st.keep(st.Feeds, s.key(), whole)
		d.modified = whole.Stamp
		return w.err
	}, c.Now)
	if err != nil {
		return document{}, fmt.Errorf("calendar: %w", err)
	}
	return d, nil
}

// chunk is an event in its written form.
type chunk struct {
	from civil.Date
	uid  string
	text []byte
}

func (c *Content) check() error {
	if c.Today.IsZero() || c.Now.IsZero() {
		return fmt.Errorf("the content says neither its day nor its moment")
	}
	if c.Install == "" || len(c.Install) > 64 || strings.Trim(c.Install, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("install id %q is not 1 to 64 of the characters a-z 0-9 and -", c.Install)
	}
	if c.Page != "" {
		if err := checkAddress(c.Page); err != nil {
			return fmt.Errorf("address of the page: %w", err)
		}
	}
	return nil
}

// checkAddress accepts only addresses that may stand unchanged in a URL
// property and in a line of text: printable ASCII, http or https, with a host.
func checkAddress(s string) error {
	for _, r := range s {
		if r <= ' ' || r > '~' || strings.ContainsRune("\"<>\\^`{|}", r) {
			return fmt.Errorf("%q holds characters that no web address may hold", s)
		}
	}
	u, err := url.Parse(s)
	if err != nil {
		return fmt.Errorf("not a web address: %w", err)
	}
	if (u.Scheme != "https" && u.Scheme != "http") || u.Host == "" {
		return fmt.Errorf("%q is not a web address like https://lizards.example.org", s)
	}
	if len(s) > 1000 {
		return fmt.Errorf("web address of %d characters is too long", len(s))
	}
	return nil
}

func calendarName(c Content, s Scope) string {
	name := clean(c.Name, 100)
	if name == "" {
		name = "Lizard rounds"
	}
	if s.Room != "" {
		name += ": " + roomName(c.Rooms, s.Room)
	}
	return name
}

func roomName(rooms []husbandry.Room, id husbandry.ID) string {
	for _, r := range rooms {
		if r.ID == id {
			if n := clean(r.Name, 100); n != "" {
				return n
			}
		}
	}
	return clean(string(id), 100)
}
