package calendar

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"
)

// This is a strict reader of iCalendar, written from RFC 5545 and not from the
// code under test.

type prop struct{ name, params, value string }

type comp struct {
	name  string
	props []prop
	subs  []*comp
}

func (c *comp) all(name string) []prop {
	var list []prop
	for _, p := range c.props {
		if p.name == name {
			list = append(list, p)
		}
	}
	return list
}

func (c *comp) get(name string) string {
	if p := c.all(name); len(p) > 0 {
		return p[0].value
	}
	return ""
}

func (c *comp) text(name string) string { return unescape(c.get(name)) }

// RFC 5545, 3.1: name *(";" param) ":" value. Parameter values here are
// unquoted: SAFE-CHAR without control characters, quotes, ";", ":" or ",".
var contentLine = regexp.MustCompile(`^([A-Z0-9-]+)((?:;[A-Z-]+=[^\x00-\x1f\x7f";:,]*)*):([^\x00-\x08\x0a-\x1f\x7f]*)$`)

// RFC 5545, 3.3.11: "\" stands only in the four escapes; ";" and "," are always
// escaped.
var textValue = regexp.MustCompile(`^(?:[^\\;,]|\\[\\;,nN])*$`)

func unescape(s string) string {
	return strings.NewReplacer(`\\`, `\`, `\n`, "\n", `\N`, "\n", `\;`, ";", `\,`, ",").Replace(s)
}

func parse(ics []byte) (*comp, error) {
	s := string(ics)
	if !strings.HasSuffix(s, "\r\n") {
		return nil, fmt.Errorf("the last line has no end")
	}
	var lines []string
	for i, l := range strings.Split(strings.TrimSuffix(s, "\r\n"), "\r\n") {
		switch {
		case strings.ContainsAny(l, "\r\n"):
			return nil, fmt.Errorf("line %d: bare CR or LF in %q", i+1, l)
		case len(l) > 75:
			return nil, fmt.Errorf("line %d: %d octets", i+1, len(l))
		case !utf8.ValidString(l):
			return nil, fmt.Errorf("line %d: a character is torn: %q", i+1, l)
		case strings.HasPrefix(l, " ") && i > 0:
			if strings.TrimSpace(l) == "" {
				return nil, fmt.Errorf("line %d is blank", i+1)
			}
			lines[len(lines)-1] += l[1:]
		default:
			lines = append(lines, l)
		}
	}
	root := &comp{}
	stack := []*comp{root}
	for _, l := range lines {
		m := contentLine.FindStringSubmatch(l)
		if m == nil {
			return nil, fmt.Errorf("not a content line: %q", l)
		}
		p := prop{m[1], m[2], m[3]}
		top := stack[len(stack)-1]
		switch p.name {
		case "BEGIN":
			c := &comp{name: p.value}
			top.subs = append(top.subs, c)
			stack = append(stack, c)
		case "END":
			if top.name != p.value {
				return nil, fmt.Errorf("END:%s closes %s", p.value, top.name)
			}
			stack = stack[:len(stack)-1]
		default:
			top.props = append(top.props, p)
		}
	}
	if len(stack) != 1 || len(root.subs) != 1 || len(root.props) != 0 || root.subs[0].name != "VCALENDAR" {
		return nil, fmt.Errorf("not exactly one VCALENDAR")
	}
	return root.subs[0], nil
}

var (
	dateValue = regexp.MustCompile(`^\d{8}$`)
	utcValue  = regexp.MustCompile(`^\d{8}T\d{6}Z$`)
)

// valid applies the rules of RFC 5545, 3.4, 3.6 and 3.6.1, the rules of RFC
// 7986, 4, and the additional promises of this package.
func valid(ics []byte) (*comp, error) {
	cal, err := parse(ics)
	if err != nil {
		return nil, err
	}
	once := func(c *comp, names ...string) error {
		for _, n := range names {
			if k := len(c.all(n)); k != 1 {
				return fmt.Errorf("%d times %s in a %s %q", k, n, c.name, c.get("UID"))
			}
		}
		return nil
	}
	atMostOnce := func(c *comp, names ...string) error {
		for _, n := range names {
			if k := len(c.all(n)); k > 1 {
				return fmt.Errorf("%d times %s in a %s %q", k, n, c.name, c.get("UID"))
			}
		}
		return nil
	}
	if err := once(cal, "PRODID", "VERSION", "CALSCALE", "NAME", "X-WR-CALNAME", "REFRESH-INTERVAL", "X-PUBLISHED-TTL", "COLOR", "X-APPLE-CALENDAR-COLOR"); err != nil {
		return nil, err
	}
	if cal.get("VERSION") != "2.0" || len(cal.all("METHOD")) > 0 {
		return nil, fmt.Errorf("VERSION is %q, or there is a METHOD", cal.get("VERSION"))
	}
	if p := cal.all("REFRESH-INTERVAL")[0]; p.params != ";VALUE=DURATION" || p.value != "PT1H" {
		return nil, fmt.Errorf("REFRESH-INTERVAL%s:%s", p.params, p.value) // RFC 7986, 5.7: VALUE is required
	}
	if len(cal.subs) == 0 || len(ics) > MaxBytes || len(cal.subs) > MaxEvents {
		return nil, fmt.Errorf("%d octets, %d events", len(ics), len(cal.subs))
	}
	uids := make(map[string]bool)
	for _, e := range cal.subs {
		if e.name != "VEVENT" {
			return nil, fmt.Errorf("a %s", e.name)
		}
		if err := once(e, "UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE", "LAST-MODIFIED", "TRANSP"); err != nil {
			return nil, err
		}
		for _, p := range e.props {
			if p.value == "" {
				return nil, fmt.Errorf("%s: %s is empty", e.get("UID"), p.name) // libical rejects it
			}
		}
		if err := atMostOnce(e, "DESCRIPTION", "URL"); err != nil {
			return nil, err
		}
		uid := e.get("UID")
		if uids[uid] {
			return nil, fmt.Errorf("UID %s twice", uid)
		}
		uids[uid] = true
		known := map[string]bool{"UID": true, "DTSTAMP": true, "DTSTART": true, "DTEND": true, "SUMMARY": true, "SEQUENCE": true, "LAST-MODIFIED": true, "TRANSP": true, "DESCRIPTION": true, "URL": true}
		for _, p := range e.props {
			if !known[p.name] {
				return nil, fmt.Errorf("%s: property %s", uid, p.name)
			}
		}
		for _, n := range []string{"DTSTART", "DTEND"} {
			if p := e.all(n)[0]; p.params != ";VALUE=DATE" || !dateValue.MatchString(p.value) {
				return nil, fmt.Errorf("%s: %s%s:%s", uid, n, p.params, p.value)
			}
		}
		if e.get("DTSTART") >= e.get("DTEND") {
			return nil, fmt.Errorf("%s ends before it begins", uid)
		}
		// RFC 5545, 3.8.7.2: without METHOD, DTSTAMP is the last revision.
		if s := e.get("DTSTAMP"); !utcValue.MatchString(s) || s != e.get("LAST-MODIFIED") {
			return nil, fmt.Errorf("%s: DTSTAMP %s, LAST-MODIFIED %s", uid, s, e.get("LAST-MODIFIED"))
		}
		if e.get("TRANSP") != "TRANSPARENT" {
			return nil, fmt.Errorf("%s is not transparent", uid)
		}
		for _, n := range []string{"SUMMARY", "DESCRIPTION", "UID"} {
			if v := e.get(n); !textValue.MatchString(v) || strings.ContainsAny(v, "\u0085\u2028\u2029\ufeff") {
				return nil, fmt.Errorf("%s: %s is no clean TEXT: %q", uid, n, v)
			}
		}
		for _, a := range e.subs {
			if a.name != "VALARM" {
				return nil, fmt.Errorf("%s: a %s", uid, a.name)
			}
			// RFC 5545, 3.6.6, dispprop.
			if err := once(a, "ACTION", "TRIGGER", "DESCRIPTION", "UID"); err != nil {
				return nil, err
			}
		}
	}
	return cal, nil
}

func mustBeValid(t testing.TB, ics []byte) *comp {
	t.Helper()
	cal, err := valid(ics)
	if err != nil {
		t.Fatalf("%v in\n%s", err, ics[:min(len(ics), 5000)])
	}
	return cal
}

// byUID returns the events of a calendar.
func byUID(cal *comp) map[string]*comp {
	m := make(map[string]*comp)
	for _, e := range cal.subs {
		m[e.get("UID")] = e
	}
	return m
}

func TestStrictReaderReadsRFCExamples(t *testing.T) {
	// RFC 5545, 3.1: a folded line equals the unfolded line. (The lines around
	// it make it a calendar.)
	folded := "BEGIN:VCALENDAR\r\nDESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\nEND:VCALENDAR\r\n"
	cal, err := parse([]byte(folded))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := cal.get("DESCRIPTION"), "This is a long description that exists on a long line."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for name, bad := range map[string]string{
		"bare LF":         "BEGIN:VCALENDAR\nEND:VCALENDAR\r\n",
		"no end":          "BEGIN:VCALENDAR\r\n",
		"76 octets":       "BEGIN:VCALENDAR\r\nX-A:" + strings.Repeat("a", 72) + "\r\nEND:VCALENDAR\r\n",
		"torn character":  "BEGIN:VCALENDAR\r\nX-A:\xc3\r\n \xa4\r\nEND:VCALENDAR\r\n",
		"control":         "BEGIN:VCALENDAR\r\nX-A:\x00\r\nEND:VCALENDAR\r\n",
		"wrong nesting":   "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\nEND:VEVENT\r\n",
		"no content line": "BEGIN:VCALENDAR\r\nhello\r\nEND:VCALENDAR\r\n",
	} {
		if _, err := parse([]byte(bad)); err == nil {
			t.Errorf("%s: read without an error", name)
		}
	}
}

// The examples of RFC 5545 for the properties that this package writes.
func TestExamplesOfRFC(t *testing.T) {
	t.Run("text of several lines (3.3.11)", func(t *testing.T) {
		c := sample()
		c.Facts = []Fact{{Key: "x", Title: "x", Why: "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.", From: today, To: today}}
		want := `Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`
		if got := byUID(mustBeValid(t, mustRender(t, c, Scope{})))["fact.x.b7k2m9@feed"].get("DESCRIPTION"); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	})
	t.Run("event of several days (3.6.1)", func(t *testing.T) {
		// "From June 28th through July 8th, 2007": the end is the day after.
		c := sample()
		c.Facts = []Fact{{Key: "jazz", Title: "Festival International de Jazz de Montreal",
			From: date("2007-06-28"), To: date("2007-07-08")}}
		ics := string(mustRender(t, c, Scope{}))
		want := "DTSTART;VALUE=DATE:20070628\r\nDTEND;VALUE=DATE:20070709\r\nSUMMARY:Festival International de Jazz de Montreal\r\n"
		if !strings.Contains(ics, want) {
			t.Errorf("no %q in\n%s", want, ics)
		}
	})
	t.Run("escapes (3.3.11)", func(t *testing.T) {
		c := sample()
		c.Facts = []Fact{{Key: "x", Title: `A\B;C,D:E"F`, From: today, To: today}}
		got := byUID(mustBeValid(t, mustRender(t, c, Scope{})))["fact.x.b7k2m9@feed"].get("SUMMARY")
		if want := `A\\B\;C\,D:E"F`; got != want { // TEXT escapes neither ":" nor DQUOTE
			t.Errorf("got %s, want %s", got, want)
		}
	})
}

func TestFold(t *testing.T) {
	for name, line := range map[string]string{
		"words":               strings.Repeat("top up the nest box of E07 ", 20) + ".",
		"no place to break":   strings.Repeat("a", 1000),
		"escapes throughout":  strings.Repeat(`\n`, 200),
		"backslashes only":    strings.Repeat(`\\`, 200),
		"umlauts":             strings.Repeat("ä", 200),
		"emoji":               strings.Repeat("🦎", 100),
		"blanks at the break": strings.Repeat("a", 74) + "  " + strings.Repeat("b", 80),
		"75 octets":           strings.Repeat("a", 73),
		"76 octets":           strings.Repeat("a", 74),
	} {
		t.Run(name, func(t *testing.T) {
			text := "X:" + line + "\r\nY:1\r\n"
			got := string(fold([]byte(text)))
			if back := strings.ReplaceAll(got, "\r\n ", ""); back != text {
				t.Fatalf("unfolds to %q", back)
			}
			lines := strings.Split(strings.TrimSuffix(got, "\r\n"), "\r\n")
			for i, l := range lines {
				if len(l) > 75 || !utf8.ValidString(l) {
					t.Errorf("line %d: %d octets %q", i, len(l), l)
				}
				if n := len(l) - len(strings.TrimRight(l, `\`)); n%2 == 1 {
					t.Errorf("line %d parts an escape: %q", i, l)
				}
				if strings.HasPrefix(l, "  ") {
					t.Errorf("line %d goes on with a blank: %q", i, l)
				}
			}
			if len(text) <= 75+2+5 && len(lines) != 2 {
				t.Errorf("folded without need: %q", got)
			}
		})
	}
}
