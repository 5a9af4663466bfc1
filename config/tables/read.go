package tables

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"nestround/config/diag"
	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// Here returns the place of the table: its header or its opening brace.
func (t *Table) Here() Place {
	if t == nil {
		return Place{}
	}
	return Place{f: t.f, at: t.at, withhold: t.secret}
}

// Place returns the place of the key's value, or the place of the table if the
// key is absent.
func (t *Table) Place(key string) Place {
	if e := t.find(key); e != nil {
		return Place{f: t.f, at: e.value.at}
	}
	return t.Here()
}

// KeyPlace returns the place of the key itself, or the place of the table if
// the key is absent.
func (t *Table) KeyPlace(key string) Place {
	if e := t.find(key); e != nil {
		return Place{f: t.f, at: e.at}
	}
	return t.Here()
}

// Name returns the table's name for messages: "[[animal]]", "[mail.out]".
func (t *Table) Name() string { return t.name }

// Has reports whether the table has the key, even with an unreadable value.
func (t *Table) Has(key string) bool { return t.ask(key) != nil }

// Broken reports whether a part of the table could not be read. A key that
// seems absent may then be in that part.
func (t *Table) Broken() bool { return t != nil && t.broken }

// Missing reports that the table lacks a key that it must have. It reports
// nothing if the table is broken, because the key may be in the unreadable
// part. what names the key in the words of the message: "`name`", "`room` or
// `rack`".
func (t *Table) Missing(what, hint string) {
	if t != nil && !t.broken {
		t.Here().Error(fmt.Sprintf("%s has no %s", t.name, what), hint)
	}
}

// Refuse reports a key that is known but not allowed, if the table has the key.
// The report does not show the line. Refuse returns whether the table has the
// key.
func (t *Table) Refuse(key, message, hint string) bool {
	e := t.find(key)
	if e == nil {
		return false
	}
	e.asked = true
	Place{f: t.f, at: e.at, withhold: true}.Error(message, hint)
	return true
}

// Done reports every key that no method asked for. The hint suggests a key that
// some method did ask for.
func (t *Table) Done() {
	if t == nil {
		return
	}
	for _, e := range t.entries {
		if e.asked {
			continue
		}
		what := "key"
		if e.value.kind == tables || e.value.kind == subtable && e.value.table.how != inline {
			what = "table"
		}
		hint, ok := t.elsewhere[strings.ToLower(e.key)]
		if !ok && !(Place{f: t.f}).Full() {
			hint = diag.DidYouMean(e.key, t.known)
		}
		Place{f: t.f, at: e.at, withhold: t.secret}.Error(fmt.Sprintf("unknown %s `%s`", what, e.key), hint)
	}
}

// Elsewhere sets the hint of Done for keys that keepers often write in this
// table but that belong in another table. The keys are lower case.
func (t *Table) Elsewhere(hint string, keys ...string) {
	if t == nil {
		return
	}
	if t.elsewhere == nil {
		t.elsewhere = make(map[string]string)
	}
	for _, k := range keys {
		t.elsewhere[k] = hint
	}
}

// ask looks the key up and remembers it as a key of this table.
func (t *Table) ask(key string) *Value {
	if t == nil {
		return nil
	}
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
	}
	e := t.find(key)
	if e == nil {
		return nil
	}
	e.asked = true
	return e.value
}

// Item is a value of a list together with its place.
type Item[T any] struct {
	Value T
	Place Place
}

// what returns the type of the value in words.
func (v *Value) what() string {
	switch v.kind {
	case subtable:
		return "a table"
	case tables:
		return "a list of tables"
	case array:
		return "a list"
	}
	switch raw := v.raw.(type) {
	case string:
		return "text"
	case bool:
		return "true or false"
	case int64:
		return "a whole number"
	case float64:
		return "a number"
	case time.Time:
		if raw.Location().String() == dateLocal {
			return "a date"
		}
		return "a time"
	}
	return "something else"
}

// dateLocal is the name of the location that the library gives to a date
// without a time.
const dateLocal = "date-local"

func (v *Value) place() Place { return Place{f: v.f, at: v.at} }

// wrong reports a value of the wrong type.
func (v *Value) wrong(key, want, hint string) {
	if v.kind != unread {
		v.place().Error(fmt.Sprintf("`%s` is %s, not %s", key, want, v.what()), hint)
	}
}

// Text reads one line of text: no line ends or control characters, not blank,
// at most 500 characters. It returns "" if the key is absent or the value is
// wrong.
func (t *Table) Text(key string) string {
	s, _ := t.ask(key).text(key)
	return s
}

const maxText = 500

func (v *Value) text(key string) (string, bool) {
	s, ok := v.prose(key)
	switch {
	case !ok:
		return "", false
	case strings.ContainsAny(s, "\n"):
		v.place().Error(fmt.Sprintf("`%s` is one line of text, not several", key), "")
	case len([]rune(s)) > maxText:
		v.place().Error(fmt.Sprintf("`%s` is longer than %d characters", key, maxText), "")
	default:
		return s, true
	}
	return "", false
}

// Prose reads text of one or more lines.
func (t *Table) Prose(key string) string {
	s, _ := t.ask(key).prose(key)
	return s
}

func (v *Value) prose(key string) (string, bool) {
	if v == nil {
		return "", false
	}
	s, ok := v.raw.(string)
	if !ok {
		hint := "write it in quotes"
		if v.kind != scalar {
			hint = ""
		}
		v.wrong(key, "text", hint)
		return "", false
	}
	s = strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n"))
	bad := strings.IndexFunc(s, func(r rune) bool {
		return r != '\n' && r != '\t' && !unicode.IsGraphic(r)
	})
	switch {
	case s == "":
		v.place().Error(fmt.Sprintf("`%s` is empty", key), "leave the key out where there is nothing to say")
		return "", false
	case bad >= 0:
		v.place().Error(fmt.Sprintf("`%s` has a character that cannot be shown (%U)", key, []rune(s[bad:])[0]), "delete it")
		return "", false
	}
	return s, true
}

// Parsed reads text and parses it. The parser's error becomes the problem's
// message.
func Parsed[T any](t *Table, key string, parse func(string) (T, error)) (value T, ok bool) {
	v := t.ask(key)
	if v == nil {
		return value, false
	}
	return parsed(v, key, parse)
}

func parsed[T any](v *Value, key string, parse func(string) (T, error)) (value T, ok bool) {
	if n, isNumber := number(v.raw); isNumber {
		v.wrong(key, "text", bareNumber(n, parse))
		return value, false
	}
	s, ok := v.text(key)
	if !ok {
		return value, false
	}
	value, err := parse(s)
	if err != nil {
		v.place().Error(fmt.Sprintf("`%s`: %v", key, err), "")
		return value, false
	}
	return value, true
}

// units are the units that a hint may propose. Units of the same quantity stand
// next to each other.
var units = []string{"C", "F", "days", "weeks", "g", "oz", "mm", "in", "ml", "fl oz", "%", "hours", "minutes"}

// bareNumber returns the hint for a number without a unit. It proposes the
// first two units that the parser accepts, so the hint is never wrong.
func bareNumber[T any](n any, parse func(string) (T, error)) string {
	const nonsense = "qx" // a parser that accepts this unit reads no quantity
	takes := func(s string) bool { _, err := parse(s); return err == nil }
	var fit []string
	if !takes(fmt.Sprintf("%v %s", n, nonsense)) {
		for _, u := range units {
			word := u
			if fmt.Sprint(n) == "1" {
				word = strings.TrimSuffix(u, "s")
			}
			if s := fmt.Sprintf("%v %s", n, word); takes(s) {
				fit = append(fit, strconv.Quote(s))
			}
		}
	}
	switch {
	case len(fit) > 0:
		return "write it with its unit in quotes, like " + english.Or(fit[:min(2, len(fit))])
	case takes(fmt.Sprint(n)):
		return fmt.Sprintf(`write it in quotes: "%v"`, n)
	}
	_, err := parse(fmt.Sprint(n))
	return err.Error()
}

// ParsedList reads a list of texts and parses each.
func ParsedList[T any](t *Table, key string, parse func(string) (T, error)) []Item[T] {
	var items []Item[T]
	for _, v := range t.list(key) {
		if value, ok := parsed(v, key, parse); ok {
			items = append(items, Item[T]{value, v.place()})
		}
	}
	return items
}

// Texts reads a list of lines of text.
func (t *Table) Texts(key string) []Item[string] {
	return ParsedList(t, key, func(s string) (string, error) { return s, nil })
}

// list reads a list.
func (t *Table) list(key string) []*Value {
	v := t.ask(key)
	if v == nil {
		return nil
	}
	if v.kind != array {
		v.wrong(key, "a list", "write it in brackets, even a single one")
		return nil
	}
	return v.items
}

// Choice reads a word that must be in the list among.
func Choice[T ~string](t *Table, key string, among ...T) (value T, ok bool) {
	v := t.ask(key)
	if v == nil {
		return value, false
	}
	return choice(v, key, among)
}

// Choices reads a list of words, each from the list among. No word may stand
// twice.
func Choices[T ~string](t *Table, key string, among ...T) []T {
	var values []T
	for _, v := range t.list(key) {
		value, ok := choice(v, key, among)
		if !ok {
			continue
		}
		if slices.Contains(values, value) {
			v.place().Error(fmt.Sprintf("`%s` has %q twice", key, value), "")
			continue
		}
		values = append(values, value)
	}
	return values
}

func choice[T ~string](v *Value, key string, among []T) (value T, ok bool) {
	s, ok := v.text(key)
	if !ok {
		return value, false
	}
	if slices.Contains(among, T(s)) {
		return T(s), true
	}
	var words []string
	for _, a := range among {
		words = append(words, string(a))
	}
	hint := diag.DidYouMean(s, words)
	if hint == "" {
		hint = "one of " + strings.Join(words, ", ")
	}
	v.place().Error(fmt.Sprintf("`%s` has the unknown value %q", key, s), hint)
	return value, false
}

// Bool reads true or false.
func (t *Table) Bool(key string) bool {
	v := t.ask(key)
	if v == nil {
		return false
	}
	b, ok := v.raw.(bool)
	if !ok {
		v.wrong(key, "true or false", "write it without quotes")
	}
	return b
}

func number(raw any) (any, bool) {
	switch raw.(type) {
	case int64, float64:
		return raw, true
	}
	return nil, false
}

// Int reads a whole number from least to most.
func (t *Table) Int(key string, least, most int) (int, bool) {
	v := t.ask(key)
	if v == nil {
		return 0, false
	}
	return v.int(key, least, most)
}

// Ints reads a list of whole numbers from least to most.
func (t *Table) Ints(key string, least, most int) []Item[int] {
	var items []Item[int]
	for _, v := range t.list(key) {
		if n, ok := v.int(key, least, most); ok {
			items = append(items, Item[int]{n, v.place()})
		}
	}
	return items
}

func (v *Value) int(key string, least, most int) (int, bool) {
	n, ok := v.raw.(int64)
	switch {
	case !ok:
		hint := ""
		if _, text := v.raw.(string); text {
			hint = "write it without quotes"
		}
		v.wrong(key, "a whole number", hint)
	case n < int64(least) || n > int64(most):
		v.place().Error(fmt.Sprintf("`%s` is %d, and must be from %d to %d", key, n, least, most), "")
	default:
		return int(n), true
	}
	return 0, false
}

// Number reads a number, whole or not, from least to most.
func (t *Table) Number(key string, least, most float64) (float64, bool) {
	v := t.ask(key)
	if v == nil {
		return 0, false
	}
	var n float64
	switch raw := v.raw.(type) {
	case int64:
		n = float64(raw)
	case float64:
		n = raw
	default:
		v.wrong(key, "a number", "write it without quotes")
		return 0, false
	}
	if math.IsNaN(n) || n < least || n > most {
		v.place().Error(fmt.Sprintf("`%s` is %v, and must be from %v to %v", key, n, least, most), "")
		return 0, false
	}
	return n, true
}

// The range of years for a date of the books. Records of lizards kept today do
// not go back further; a date outside the range is a typing error.
const (
	firstYear = 1950
	lastYear  = 2150
)

// Date reads a date. It returns the zero Date if the key is absent or the value
// is wrong.
func (t *Table) Date(key string) civil.Date {
	v := t.ask(key)
	if v == nil {
		return civil.Date{}
	}
	d, _ := v.date(key)
	return d
}

// Dates reads a list of dates.
func (t *Table) Dates(key string) []Item[civil.Date] {
	var items []Item[civil.Date]
	for _, v := range t.list(key) {
		if d, ok := v.date(key); ok {
			items = append(items, Item[civil.Date]{d, v.place()})
		}
	}
	return items
}

func (v *Value) date(key string) (civil.Date, bool) {
	d, ok := v.raw.(time.Time)
	if !ok {
		hint := "a date looks like 2027-05-12"
		if s, text := v.raw.(string); text {
			if _, err := civil.Parse(s); err == nil {
				hint = "write it without quotes: " + s
			}
		}
		v.wrong(key, "a date", hint)
		return civil.Date{}, false
	}
	if d.Location().String() != dateLocal {
		v.wrong(key, "a date", "leave the time of day out; a date looks like 2027-05-12")
		return civil.Date{}, false
	}
	if d.Year() < firstYear || d.Year() > lastYear {
		v.place().Error(fmt.Sprintf("`%s` is in the year %04d", key, d.Year()), "is the year right?")
		return civil.Date{}, false
	}
	return civil.New(d.Date()), true
}

// Table reads a table under its own header or in braces. It returns nil if
// there is no such table.
func (t *Table) Table(key string) *Table {
	v := t.ask(key)
	if v == nil {
		return nil
	}
	if v.kind == tables {
		v.wrong(key, "a single table", fmt.Sprintf("write one [%s]", strings.Trim(v.items[0].table.name, "[]")))
		return nil
	}
	if v.kind != subtable {
		v.wrong(key, "a table", "write it in braces: { ... }")
		return nil
	}
	return v.table
}

// Tables reads a list of tables, each under its own [[header]] or in braces.
func (t *Table) Tables(key string) []*Table {
	v := t.ask(key)
	if v == nil {
		return nil
	}
	if v.kind == subtable && v.table.how != inline {
		v.wrong(key, "a list of tables", fmt.Sprintf("write [[%s]]", strings.Trim(v.table.name, "[]`")))
		return nil
	}
	if v.kind != tables && v.kind != array {
		v.wrong(key, "a list of tables", fmt.Sprintf("write it under a header [[%s]]", key))
		return nil
	}
	var found []*Table
	for _, item := range v.items {
		if item.kind != subtable {
			item.wrong(key, "a list of tables", fmt.Sprintf("write it under a header [[%s]]", key))
			continue
		}
		found = append(found, item.table)
	}
	return found
}

// IsText reports whether the value of key is text. It is for keys whose value
// may be text or a table.
func (t *Table) IsText(key string) bool {
	e := t.find(key)
	if e == nil {
		return false
	}
	_, ok := e.value.raw.(string)
	return ok
}

// IsNumber reports whether the value of key is a number. It is for keys whose
// value may be a number or a table.
func (t *Table) IsNumber(key string) bool {
	e := t.find(key)
	if e == nil {
		return false
	}
	_, ok := number(e.value.raw)
	return ok
}

// IsBool reports whether the value of key is true or false. It is for keys
// whose value may also have another type.
func (t *Table) IsBool(key string) bool {
	e := t.find(key)
	if e == nil {
		return false
	}
	_, ok := e.value.raw.(bool)
	return ok
}

// IsEmptyText reports whether the value of key is the empty text. It is for
// keys that a keeper may leave empty. For Done, the call counts as asking for
// the key.
func (t *Table) IsEmptyText(key string) bool {
	v := t.ask(key)
	return v != nil && v.raw == ""
}

// ListLength returns the number of values in the list key, readable or not; 0
// if the value is no list.
func (t *Table) ListLength(key string) int {
	if e := t.find(key); e != nil && e.value.kind == array {
		return len(e.value.items)
	}
	return 0
}

// IsEmptyList reports whether the value of key is an empty list.
func (t *Table) IsEmptyList(key string) bool {
	e := t.find(key)
	return e != nil && e.value.kind == array && len(e.value.items) == 0
}
