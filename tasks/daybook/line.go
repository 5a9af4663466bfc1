package daybook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

// versioned is the line of an entry that needs a later version of the daybook
// than the first. A program without versions finds no entry in it. A program
// with fewer versions returns a NewerError. So neither reads half of the entry.
type versioned struct {
	Daybook int         `json:"daybook"`
	Entry   tasks.Entry `json:"entry"`
}

// encode returns the line of e with its newline, and e as decoded from that
// line.
func encode(e tasks.Entry) (string, tasks.Entry, error) {
	// The text of a time in JSON has no seconds in its offset, so encoding such
	// a time would change the instant.
	if _, offset := e.At.Zone(); offset%60 != 0 {
		e.At = e.At.UTC()
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false) // for human readers
	var err error
	if v := versionFor(e); v > finding.FirstVersion {
		err = enc.Encode(versioned{v, e})
	} else {
		err = enc.Encode(e)
	}
	if err != nil {
		return "", tasks.Entry{}, err
	}
	line := b.String()
	back, err := decode(line)
	return line, back, err
}

// versionFor returns the version of the daybook that e needs.
func versionFor(e tasks.Entry) int {
	version := finding.FirstVersion
	for _, a := range e.Acts {
		if a.Entry != "" {
			version = max(version, finding.EntryVersion)
		}
		if a.Finding != nil {
			version = max(version, finding.Version(a.Finding))
		}
	}
	return version
}

// versionOf returns the version in a line, 0 if there is none.
func versionOf(line string) int {
	if !strings.Contains(line, `"daybook"`) {
		return 0
	}
	var v struct {
		Daybook int `json:"daybook"`
	}
	if err := json.Unmarshal([]byte(line), &v); err != nil {
		return 0 // decode reports the error
	}
	return v.Daybook
}

// decode reads one line, with its fields in any order and any spacing. For a
// line of a newer version it returns a [*NewerError] without its place.
func decode(line string) (tasks.Entry, error) {
	var e tasks.Entry
	var err error
	switch v := versionOf(line); {
	case v > finding.Newest:
		return tasks.Entry{}, &NewerError{Version: v}
	case v != 0:
		var in versioned
		err = json.Unmarshal([]byte(line), &in)
		e = in.Entry
	default:
		err = json.Unmarshal([]byte(line), &e)
	}
	if err != nil {
		return tasks.Entry{}, err
	}
	if err := whole(e); err != nil {
		return tasks.Entry{}, err
	}
	_, offset := e.At.Zone()
	e.At = e.At.In(zone(offset))
	return e, nil
}

// whole returns an error if an entry lacks a required field.
func whole(e tasks.Entry) error {
	switch {
	case e.ID == "":
		return errors.New(`it has no "id"`)
	case e.At.IsZero():
		return errors.New(`it has no "at"`)
	}
	return nil
}

// zone returns the zone with the given offset and no name. Package time alone
// would return the local zone of the machine if that zone has the same offset.
func zone(offset int) *time.Location {
	if offset == 0 {
		return time.UTC
	}
	return time.FixedZone("", offset)
}

// scanner reads lines in the form that encode writes, about ten times as fast
// as package encoding/json. It rejects any other form (another order, a space,
// an escape in a string), and decode then reads the line. It must read a line
// exactly like decode; tests compare the two.
//
// Strings are slices of the line, and small values are taken from larger
// blocks, so that a year of entries needs a few hundred allocations.
type scanner struct {
	cursor
	days   [2]day // cache of dates: most lines have the same dates as the line before
	offset int
	zone   *time.Location

	acts     []tasks.Act
	findings []tasks.Finding
	ints     []int
	floats   []float64
}

type day struct {
	text string
	date civil.Date
}

// scan reads a line without its newline, and reports whether it could read it.
func (s *scanner) scan(line string) (tasks.Entry, bool) {
	c := &s.cursor
	*c = cursor{s: line}
	inside := c.try(`{"daybook":`)
	if inside {
		if v := c.int(); v < finding.FirstVersion || v > finding.Newest {
			c.bad = true
		}
		c.lit(`,"entry":`)
	}
	var e tasks.Entry
	c.lit(`{"id":"`)
	e.ID = c.str()
	c.lit(`,"at":"`)
	e.At = s.instant(c)
	c.lit(`,"on":"`)
	e.On = s.date(c)
	c.lit(`,"via":"`)
	e.Via = tasks.Via(c.str())
	if c.try(`,"by":"`) {
		e.By = c.str()
	}
	if c.try(`,"digest":"`) {
		e.Digest = c.str()
	}
	c.lit(`,"acts":`)
	switch {
	case c.try(`null`):
	case c.try(`[]`):
		e.Acts = []tasks.Act{}
	default:
		c.lit(`[`)
		// The acts of this line are at the end of the block. If the block is
		// full, they move to a new block.
		start := len(s.acts)
		for {
			if len(s.acts) == cap(s.acts) {
				piece := make([]tasks.Act, len(s.acts)-start, max(512, 2*(len(s.acts)-start)))
				copy(piece, s.acts[start:])
				s.acts, start = piece, 0
			}
			s.acts = append(s.acts, s.act(c))
			if c.bad || !c.try(`,`) {
				break
			}
		}
		c.lit(`]`)
		e.Acts = s.acts[start:len(s.acts):len(s.acts)]
		if c.bad {
			clear(s.acts[start:])
			s.acts = s.acts[:start]
		}
	}
	c.lit(`}`)
	if inside {
		c.lit(`}`)
	}
	if c.bad || c.i != len(line) || whole(e) != nil {
		return tasks.Entry{}, false
	}
	return e, true
}

func (s *scanner) act(c *cursor) tasks.Act {
	var a tasks.Act
	c.lit(`{"text":"`)
	a.Text = c.str()
	if c.try(`,"n":`) {
		a.N = c.int()
	}
	c.lit(`,"task":"`)
	a.Task = tasks.Key(c.str())
	if c.try(`,"mark":"`) {
		a.Mark = tasks.Verb(c.str())
	}
	if c.try(`,"until":"`) {
		a.Until = s.date(c)
	}
	if c.try(`,"why":"`) {
		a.Why = c.str()
	}
	if c.try(`,"finding":{`) {
		a.Finding = s.finding()
	}
	if c.try(`,"entry":"`) {
		a.Entry = c.str()
	}
	c.lit(`}`)
	return a
}

func (s *scanner) finding() *tasks.Finding {
	f := cut(&s.findings)
	for first := true; !s.bad && !s.try(`}`); first = false {
		if !first {
			s.lit(`,`)
		}
		s.lit(`"`)
		key := s.str()
		s.lit(`:`)
		if !finding.Scan(key, s, f) {
			s.bad = true
		}
	}
	return f
}

// The methods below read the values of a finding; [finding.Scan] calls them.

func (s *scanner) Int() *int {
	p := cut(&s.ints)
	*p = s.int()
	return p
}

func (s *scanner) Float() *float64 {
	p := cut(&s.floats)
	*p = s.float()
	return p
}

func (s *scanner) Bool() bool { return s.bool() }

func (s *scanner) Text() string {
	s.lit(`"`)
	return s.str()
}

func (s *scanner) Skip(text string) { s.lit(text) }

func (s *scanner) Try(text string) bool { return !s.bad && s.try(text) }

// cut returns the next zero T of a block, and makes a new block if the block is
// used up.
func cut[T any](piece *[]T) *T {
	if len(*piece) == cap(*piece) {
		*piece = make([]T, 0, 256)
	}
	*piece = (*piece)[:len(*piece)+1]
	return &(*piece)[len(*piece)-1]
}

// date reads a date or an empty string, and the closing quote.
func (s *scanner) date(c *cursor) civil.Date {
	if c.try(`"`) {
		return civil.Date{}
	}
	d := s.day(c)
	c.lit(`"`)
	return d
}

// day reads the ten characters of a date.
func (s *scanner) day(c *cursor) civil.Date {
	const n = len("2027-05-12")
	if len(c.s)-c.i < n {
		c.bad = true
		return civil.Date{}
	}
	text := c.s[c.i : c.i+n]
	c.i += n
	if text == s.days[0].text {
		return s.days[0].date
	}
	if text != s.days[1].text {
		d, err := civil.Parse(text)
		if err != nil {
			c.bad = true
			return civil.Date{}
		}
		s.days[1] = day{text, d}
	}
	s.days[0], s.days[1] = s.days[1], s.days[0]
	return s.days[0].date
}

var epoch = civil.New(1970, time.January, 1)

// instant reads a time of RFC 3339 and the closing quote.
func (s *scanner) instant(c *cursor) time.Time {
	days := s.day(c).Sub(epoch)
	c.lit(`T`)
	hour := c.two(23)
	c.lit(`:`)
	minute := c.two(59)
	c.lit(`:`)
	second := c.two(59)
	nanos := 0
	if c.try(`.`) {
		digits := 0
		for unit := 100_000_000; c.i < len(c.s) && isDigit(c.s[c.i]); unit /= 10 {
			nanos += int(c.s[c.i]-'0') * unit
			c.i++
			digits++
		}
		if digits == 0 || digits > 9 {
			c.bad = true
		}
	}
	offset := 0
	if !c.try(`Z`) {
		sign := 1
		if !c.try(`+`) {
			c.lit(`-`)
			sign = -1
		}
		h := c.two(23)
		c.lit(`:`)
		offset = sign * (h*60 + c.two(59)) * 60
	}
	c.lit(`"`)
	if c.bad {
		return time.Time{}
	}
	if s.zone == nil || s.offset != offset {
		s.offset, s.zone = offset, zone(offset)
	}
	unix := int64(days)*86400 + int64(hour*3600+minute*60+second-offset)
	return time.Unix(unix, int64(nanos)).In(s.zone)
}

// cursor is a place in a line. bad is set at the first unexpected byte; after
// that all results are meaningless.
type cursor struct {
	s   string
	i   int
	bad bool
}

// try moves past text if text is next, and reports whether it was.
func (c *cursor) try(text string) bool {
	if strings.HasPrefix(c.s[c.i:], text) {
		c.i += len(text)
		return true
	}
	return false
}

// lit moves past text. If text is not next, it sets bad.
func (c *cursor) lit(text string) {
	if !c.try(text) {
		c.bad = true
	}
}

// str reads the rest of a string and its closing quote. It sets bad for an
// escape, and for invalid UTF-8, which encoding/json would replace.
func (c *cursor) str() string {
	var high byte
	for j := c.i; j < len(c.s); j++ {
		switch b := c.s[j]; {
		case b == '"':
			v := c.s[c.i:j]
			c.i = j + 1
			if high >= utf8.RuneSelf && !utf8.ValidString(v) {
				c.bad = true
			}
			return v
		case b == '\\' || b < ' ':
			c.bad = true
			return ""
		default:
			high |= b
		}
	}
	c.bad = true
	return ""
}

func isDigit(b byte) bool { return '0' <= b && b <= '9' }

// two reads a number of two digits, at most limit.
func (c *cursor) two(limit int) int {
	if len(c.s)-c.i < 2 || !isDigit(c.s[c.i]) || !isDigit(c.s[c.i+1]) {
		c.bad = true
		return 0
	}
	v := int(c.s[c.i]-'0')*10 + int(c.s[c.i+1]-'0')
	c.i += 2
	if v > limit {
		c.bad = true
	}
	return v
}

// number reads a JSON number without an exponent.
func (c *cursor) number() string {
	start := c.i
	c.try(`-`)
	if !c.try(`0`) && !c.digits() {
		c.bad = true
	}
	if c.try(`.`) && !c.digits() {
		c.bad = true
	}
	return c.s[start:c.i]
}

func (c *cursor) digits() bool {
	start := c.i
	for c.i < len(c.s) && isDigit(c.s[c.i]) {
		c.i++
	}
	return c.i > start
}

func (c *cursor) int() int {
	v, err := strconv.Atoi(c.number())
	if err != nil {
		c.bad = true
	}
	return v
}

func (c *cursor) float() float64 {
	v, err := strconv.ParseFloat(c.number(), 64)
	if err != nil {
		c.bad = true
	}
	return v
}

func (c *cursor) bool() bool {
	if c.try(`true`) {
		return true
	}
	c.lit(`false`)
	return false
}

// dayValues finds the values in a line of valid JSON that must be a date or a
// time.
var dayValues = regexp.MustCompile(`"(at|on|until)"\s*:\s*("(?:[^"\\]|\\.)*")`)

// unexpectedEnd is the error of encoding/json for a line that ends too early.
var unexpectedEnd = json.Unmarshal(nil, new(any))

// explain returns the byte offset of the error in a line that decode rejected,
// and a message for the keeper.
func explain(line string, err error) (at int, message string) {
	var syntax *json.SyntaxError
	var misfit *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		at = int(syntax.Offset) - 1 // the offset includes the unexpected byte
		if syntax.Error() == unexpectedEnd.Error() {
			at = len(line) // the line ended too early
		}
		return at, fmt.Sprintf("this line is not JSON: %v", err)
	case errors.As(err, &misfit) && misfit.Field != "":
		return valueBefore(line, int(misfit.Offset)), fmt.Sprintf("%s takes no %s", misfit.Field, misfit.Value)
	}
	for _, m := range dayValues.FindAllStringSubmatchIndex(line, -1) {
		value := []byte(line[m[4]:m[5]])
		var err error
		if line[m[2]:m[3]] == "at" {
			err = json.Unmarshal(value, new(time.Time))
		} else {
			err = json.Unmarshal(value, new(civil.Date))
		}
		if err != nil {
			return m[4], err.Error()
		}
	}
	return 0, fmt.Sprintf("this line is not an entry: %v", err)
}

// valueBefore returns the start of the JSON value that ends before the byte
// end. If the value has only been opened there, it returns the start of that
// value.
func valueBefore(line string, end int) int {
	i := min(end, len(line)) - 1
	if line[i] != '"' {
		return strings.LastIndexAny(line[:i], ":,[ \t") + 1
	}
	for i--; i > 0; i-- {
		before := strings.TrimRight(line[:i], `\`)
		if line[i] == '"' && (i-len(before))%2 == 0 {
			break
		}
	}
	return max(i, 0)
}
