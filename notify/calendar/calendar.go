// Package calendar writes the tasks as an iCalendar file (RFC 5545 and RFC
// 7986) that phones subscribe to, and serves it behind unguessable links.
//
// Start with [Render]: a [Content] and a [Scope] in, the bytes of the file out,
// the same bytes for the same content. [Handler] serves them by HTTP, [Links]
// makes, renews and withdraws the addresses, and a [Store] keeps what has to
// outlive the program: the revision of every event, the links, and the last
// good file.
//
// The file holds instances and no rules: one all-day event a day and room with
// that day's tasks in its description, and an event of its own for each dated
// [Fact]. Nothing that was published moves to another day by being done late;
// the list of the day changes under a UID that stays. Because most programs
// ask for the file only every few hours, it is for looking ahead and back;
// what is due now is in the morning's digest.
//
// The package computes no dates, reads no clock of its own and takes no
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

// The limits of a file. Google documents 1 MB for an import and has been seen
// to lose events of subscriptions beyond that, or beyond about 1,100 of them;
// both limits keep well below.
const (
	MaxBytes  = 500 << 10
	MaxEvents = 900
)

// Content is what a calendar is made from: the plan, its marks, and the words
// around them. The caller decides how many days back and ahead it holds.
type Content struct {
	Name    string // heading of the keeper's books; "" for a plain one
	Install string // id of these books, 1 to 64 of a-z 0-9 -; every UID holds it, so it must never change
	// Page is the address of the page that shows today's round, with http or
	// https; "" for none. Whoever hosts the subscriber's calendar sees it, so
	// it should be a link that only shows.
	Page string

	Now   time.Time // stamps events that changed
	Today civil.Date

	Rooms []husbandry.Room // for the names of the rooms' own calendars
	// Boards are the days up to today, one board a day.
	Boards []*tasks.Board
	// Coming are the tasks of the days after today, each on its Due day. Tasks
	// due sooner are on today's board and are not read from here.
	Coming []tasks.Task
	Facts  []Fact

	// Alarm asks for an alarm at this time on days with open tasks. Most
	// calendar programs drop alarms of subscriptions; nil for none.
	Alarm *civil.TimeOfDay
}

// Fact is something expected on one day or within a few: a hatching window, a
// laying window, the season of a pairing. It is an event of its own.
type Fact struct {
	// Key names it for good, made of record ids ("hatching/C27-04"): the
	// event's UID is made of it. Unique regardless of case.
	Key      string
	Title    string
	Why      string // may have several lines
	From, To civil.Date
	Room     husbandry.ID // whose calendar it is also in; "" for none
}

// Scope says what part of the content a file shows. The zero Scope is
// everything. An event has the same UID and the same revision in every scope
// it is in.
type Scope struct {
	Room husbandry.ID // only this room; the keeper's own tasks are in no room
	// Keeper is whose content it is, where several share the work; the content
	// has been chosen for them, and has an Install of its own.
	Keeper husbandry.ID
	// Ends, where it is not zero, says that the file is served by a link that
	// was renewed and works no longer than this day; an event says so.
	Ends civil.Date
}

// key names the scope in stored files.
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

// Render returns the iCalendar file of one scope. It gives every event that is
// new or changed its next revision and has saved that before it returns, so
// whatever was served keeps its order. With the same content and no change in
// between, it returns the same bytes.
//
// Where the content exceeds [MaxBytes] or [MaxEvents], the days farthest from
// today are left out, and the last event says from when on.
//
// Errors are those of the revisions' store, and contents that break the
// promises of [Content]'s comments.
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
	// The nearest first; of two equally near, the one to come.
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
		// What the notice of the cut may take, with room to spare.
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
			st.keep(st.Events, ev.uid, rev) // an event that is not published has no revision
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

// chunk is an event as written.
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

// checkAddress accepts only what may stand in a URL property and in a line of
// text as it is: printable ASCII, http or https, a host.
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
