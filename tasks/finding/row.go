package finding

import "nestround/tasks/husbandry"

// Row is one finding.
type Row struct {
	// Name is the finding's name. A kind of task asks for a finding by it.
	Name husbandry.FindingName
	slot
	// Plans says that the finding changes what is planned. A note does not.
	Plans bool
	// Lasts says that the finding still matters after years: a clutch and what
	// led to it does, a weight does not.
	Lasts bool
	// Since is the version of the daybook that has the finding first; 0 stands
	// for the first version. A program that does not know the version refuses
	// to read on, where it would else drop the finding.
	Since int
}

// slot is the place of a finding's value: its field of Values, and its key in
// the daybook's JSON, which must be the key of the field's tag.
type slot struct {
	key   string
	has   func(*Values) bool
	merge func(to, from *Values)
	scan  func(Scanner, *Values)
}

// at is the slot of a field whose zero value means that nothing was said.
func at[T comparable](key string, field func(*Values) *T, scan func(Scanner) T) slot {
	var nothing T
	return slot{
		key: key,
		has: func(g *Values) bool { return *field(g) != nothing },
		merge: func(to, from *Values) {
			if v := *field(from); v != nothing {
				*field(to) = v
			}
		},
		scan: func(s Scanner, g *Values) { *field(g) = scan(s) },
	}
}

// Scanner reads JSON values of the daybook, in the spacing in which the daybook
// is written. After a value that it cannot read it returns zeros, and nothing
// that was read counts.
type Scanner interface {
	Int() *int
	Float() *float64
	Bool() bool
	Text() string         // a string with its quotes
	Skip(text string)     // moves past text, which must be next
	Try(text string) bool // moves past text if it is next
}

// Key returns the key of the finding's value in the daybook's JSON.
func (r *Row) Key() string { return r.key }

// In reports whether g says something of this finding.
func (r *Row) In(g *Values) bool { return r.has(g) }

// byKey finds a row by its key in the daybook.
var byKey = func() map[string]*Row {
	m := make(map[string]*Row, len(All))
	for i := range All {
		m[All[i].key] = &All[i]
	}
	return m
}()

// Scan reads the value that stands under a key of the daybook's JSON into g. It
// returns false, having read nothing, for a key that no finding has.
func Scan(key string, s Scanner, g *Values) bool {
	r, ok := byKey[key]
	if ok {
		r.scan(s, g)
	}
	return ok
}

// FirstVersion is the version of the daybook with the findings whose rows name
// none.
const FirstVersion = 1

// Newest is the latest version of the daybook that a row names: what this
// program can read.
var Newest = func() int {
	newest := FirstVersion
	for i := range All {
		newest = max(newest, All[i].Since)
	}
	return newest
}()

// Version returns the version of the daybook that can hold g.
func Version(g *Values) int {
	version := FirstVersion
	for i := range All {
		if All[i].Since > version && All[i].has(g) {
			version = All[i].Since
		}
	}
	return version
}

// Merge adds what was said later to g: its slots that are filled replace those
// of g.
func Merge(g, later *Values) {
	for i := range All {
		All[i].merge(g, later)
	}
}

// Plans reports whether g can change what is planned.
func Plans(g *Values) bool {
	for i := range All {
		if All[i].Plans && All[i].has(g) {
			return true
		}
	}
	return false
}

// Lasting reports whether g still matters after years.
func Lasting(g *Values) bool {
	for i := range All {
		if All[i].Lasts && All[i].has(g) {
			return true
		}
	}
	return false
}
