package calendar

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"nestround/tasks/civil"
)

// This file has all code that touches the iCalendar library. The list has the
// faults found in v0.3.6, and how this file avoids each:
//
//   - It ends lines with a bare LF by default; RFC 5545, 3.1 requires CRLF. Every
//     call gets [ics.WithNewLineWindows] or its equivalent.
//   - It writes CR, other control characters and invalid UTF-8 in TEXT unchanged.
//     Every string passes through clean or cleanLines first.
//   - It does not check values that are not TEXT, so a line break in a URL would
//     let an attacker begin a new property. checkAddress rejects such a page
//     address; no other foreign string gets into such a value.
//   - It escapes parameter values with backslashes, which RFC 5545 does not
//     define, and takes quadratic time. The only parameters here are our own
//     VALUE=.
//   - It writes a TZID beside a time in UTC. There are no zones here: days are
//     VALUE=DATE, and stamps are UTC.
//   - Its all-day helpers use time.Time in some zone, and a day of 24 hours ends
//     too early when the clocks go back. Dates are written from civil dates.
//   - Its name of REFRESH-INTERVAL contains the parameter VALUE=DURATION, so
//     setting it on a calendar that already has it adds a second property. The
//     property is made by hand.
//   - It does not add the DTSTAMP that RFC 5545, 3.6.1 requires. DTSTAMP gets the
//     value of LAST-MODIFIED (3.8.7.2: without METHOD both mean the same), so
//     that a file without changes has the same bytes.
//   - It folds at word boundaries, so a continuation line begins with two blanks,
//     and careless readers drop both. It may also fold between a backslash and
//     the n that belongs to it. The option unfolded turns its folding off, and
//     the function fold folds instead.
//   - It writes line by line and drops the errors of BEGIN and END lines. Here it
//     writes into a buffer, which never fails.
//   - Its functions that remove properties by value keep the wrong properties.
//     None of them is used: properties are only added.

// writer makes the text of a file. err keeps an error of the library.
type writer struct {
	err error
}

// unfolded lets the library write each property on one line.
var unfolded = &ics.SerializationConfiguration{
	MaxLength: 1 << 30, PropertyMaxLength: 1 << 30, NewLine: string(ics.WithNewLineWindows),
}

const (
	productID = "-//nestround//lizard rounds//EN"
	refresh   = "PT1H"
	// The colour of the calendar: a CSS name for COLOR (RFC 7986, 5.9), and its
	// value for Apple's property.
	colourName  = "seagreen"
	colourValue = "#2E8B57"
)

// header returns the beginning of the file: everything before the events.
func (w *writer) header(name string) []byte {
	cal := &ics.Calendar{}
	add := func(token, value string, params map[string][]string) {
		cal.CalendarProperties = append(cal.CalendarProperties, ics.CalendarProperty{
			BaseProperty: ics.BaseProperty{IANAToken: token, Value: value, ICalParameters: params},
		})
	}
	add("VERSION", "2.0", nil)
	add("PRODID", productID, nil)
	add("CALSCALE", "GREGORIAN", nil)
	add("NAME", name, nil)
	add("X-WR-CALNAME", name, nil)
	add("REFRESH-INTERVAL", refresh, map[string][]string{"VALUE": {"DURATION"}})
	add("X-PUBLISHED-TTL", refresh, nil)
	add("COLOR", colourName, nil)
	add("X-APPLE-CALENDAR-COLOR", colourValue, nil)
	var b bytes.Buffer
	if err := cal.SerializeTo(&b, unfolded); err != nil {
		w.fail(err)
	}
	head, ok := bytes.CutSuffix(b.Bytes(), []byte(end))
	if !ok {
		w.fail(fmt.Errorf("no %q at the end", strings.TrimSpace(end)))
	}
	return fold(head)
}

const end = "END:VCALENDAR\r\n"

// event returns a VEVENT.
func (w *writer) event(e event, r revision) []byte {
	stamp := r.Stamp.UTC().Format("20060102T150405Z")
	v := ics.NewEvent(e.uid)
	date := ics.WithValue("DATE")
	v.AddProperty("DTSTAMP", stamp)
	v.AddProperty("DTSTART", icsDate(e.from), date)
	// DTEND is the first day after the event (RFC 5545, 3.6.1).
	v.AddProperty("DTEND", icsDate(e.to.AddDays(1)), date)
	v.AddProperty("SUMMARY", e.summary)
	if e.description != "" {
		v.AddProperty("DESCRIPTION", e.description)
	}
	if e.url != "" {
		v.AddProperty("URL", e.url)
	}
	v.AddProperty("TRANSP", "TRANSPARENT")
	v.AddProperty("SEQUENCE", strconv.Itoa(r.Sequence))
	v.AddProperty("LAST-MODIFIED", stamp)
	if e.alarm != nil {
		// For an all-day event, the trigger is relative to the beginning of the
		// day in the reader's zone (RFC 5545, 3.8.6.3).
		a := v.AddAlarm()
		a.AddProperty("UID", "alarm."+e.uid) // RFC 9074, 4
		a.AddProperty("ACTION", "DISPLAY")
		a.AddProperty("TRIGGER", fmt.Sprintf("PT%dH%dM", *e.alarm/60, *e.alarm%60))
		a.AddProperty("DESCRIPTION", e.summary)
	}
	var b bytes.Buffer
	if err := v.SerializeTo(&b, unfolded); err != nil {
		w.fail(err)
	}
	return fold(b.Bytes())
}

// file joins a header and events into a whole file.
func (w *writer) file(head []byte, events []chunk) []byte {
	out := bytes.Clone(head)
	for _, e := range events {
		out = append(out, e.text...)
	}
	return append(out, end...)
}

func (w *writer) fail(err error) {
	if w.err == nil {
		w.err = fmt.Errorf("write iCalendar: %w", err)
	}
}

func icsDate(d civil.Date) string { return d.Format("20060102") }

// fold breaks lines at 75 octets (RFC 5545, 3.1). It never breaks inside a
// character or an escape. It avoids a break beside a blank if there is another
// place nearby.
func fold(text []byte) []byte {
	const most = 75
	out := make([]byte, 0, len(text)+len(text)/most*3)
	for line := range bytes.SplitSeq(bytes.TrimSuffix(text, []byte("\r\n")), []byte("\r\n")) {
		room := most
		for len(line) > room {
			at := foldAt(line, room)
			out = append(append(out, line[:at]...), "\r\n "...)
			line = line[at:]
			room = most - 1 // the blank at the beginning counts too
		}
		out = append(append(out, line...), "\r\n"...)
	}
	return out
}

// foldAt returns the best place to break line at or before room octets.
func foldAt(line []byte, room int) int {
	const nearby = 16
	fallback := 0
	for at := room; at > room-nearby; at-- {
		if !utf8.RuneStart(line[at]) || escaped(line, at) {
			continue
		}
		if fallback == 0 {
			fallback = at
		}
		if line[at] != ' ' && line[at-1] != ' ' {
			return at
		}
	}
	return fallback
}

// escaped reports whether the octet at i belongs to the backslash before it.
func escaped(line []byte, i int) bool {
	n := 0
	for i > 0 && line[i-1] == '\\' {
		n++
		i--
	}
	return n%2 == 1
}
