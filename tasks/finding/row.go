package finding

import (
	"strings"

	"nestround/tasks/husbandry"
)

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

	// Verbs begin the finding behind its number or record: "7 laid 6". A
	// finding without verbs is part of another, or of a note.
	Verbs []Verb
	// Read reads what stands behind a verb.
	Read reader
	// Takes are words that may belong to the finding behind its first words: a
	// line that is broken before one of them goes on.
	Takes []string
	// Near are words that people type in place of a verb, and units. A line
	// with one of them behind a number is answered, though it is no command.
	Near []string
	// Command writes the finding as a reply would, so that it reads back; nil
	// where another row writes it.
	Command func(g *Values) string
	// Say says the finding back to the keeper; nil where another row does.
	Say func(g *Values, u husbandry.Units) string
	// Caution is told with the answer to the finding: short, and deferring to
	// the veterinarian. nil: none.
	Caution func(g *Values) string
	// Misfit says why the finding cannot be one of a record of this scope, or
	// of a task of this kind; kind is "" for a record. The result is "" where
	// the finding fits. nil: the finding is part of another, or fits always.
	Misfit func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string
	// Record is what a digest asks the keeper to record, behind the word
	// "Record": "the weight". It stands on a line behind a number and so has no
	// verb of a finding in it. "": no kind of task asks for the finding.
	Record string
	// Sitter is what a stand-in is to write down; "": the keeper's to see.
	Sitter string
	// Open says that a task stays open when the finding is all that was said
	// of it.
	Open bool
	// Asked adds what the task itself said to what was found with it; nil adds
	// nothing. It is told of a task marked as done, too.
	Asked func(a Asked, g *Values)
}

// Verb is a word that begins a finding.
type Verb struct {
	Word string // lower case
	// Example follows the word in an example: "6"; "" where nothing must.
	Example string
	// Complete says that the word is a whole finding by itself.
	Complete bool
	// Denies says that the word stands before a verb, as "not" does. It begins
	// no line.
	Denies bool
	// Everyday says that the word begins a finding only right before a verb of
	// its row, because other sentences have it too.
	Everyday bool
}

// Asked is what a task says of itself that its mark then says of it.
type Asked struct {
	Packs int          // so many packs were to be ordered; 0: none
	Mate  husbandry.ID // she was to be put together with him; "": nobody
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

// byKey finds a row by its key in the daybook, byVerb by one of its verbs.
// goesOn has the words that may follow the first words of a finding.
var (
	byKey  map[string]*Row
	byName map[husbandry.FindingName]*Row
	byVerb map[string]verbOf
	goesOn map[string]bool
)

type verbOf struct {
	row  *Row
	verb Verb
}

// The rows' own functions look verbs up, so these are made when the rows are.
func init() {
	byKey, byName, byVerb = make(map[string]*Row), make(map[husbandry.FindingName]*Row), make(map[string]verbOf)
	goesOn = make(map[string]bool)
	for i := range All {
		r := &All[i]
		byKey[r.key], byName[r.Name] = r, r
		for _, v := range r.Verbs {
			byVerb[v.Word] = verbOf{r, v}
		}
		for _, w := range r.Takes {
			goesOn[w] = true
		}
	}
}

// rowOf returns the row that a word begins, and the word as its verb; nil where
// there is none.
func rowOf(word string) (*Row, Verb) {
	v := byVerb[word]
	return v.row, v.verb
}

// Leading returns the verb that a word in lower case is. ok is false for all
// other words, and for those that stand before a verb.
func Leading(word string) (v Verb, ok bool) {
	r, v := rowOf(word)
	return v, r != nil && !v.Denies
}

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

// Command writes a finding as a reply would, without its number: "laid 6 and 2
// slugs". The result is "" where nothing can be said so.
func Command(g *Values) string {
	for i := range All {
		if r := &All[i]; r.Command != nil && r.has(g) {
			return r.Command(g)
		}
	}
	return ""
}

// Said says everything in g back to the keeper: "eggs: 6, slugs: 2".
func Said(g *Values, u husbandry.Units) string {
	var words []string
	for i := range All {
		if r := &All[i]; r.Say != nil && r.has(g) {
			words = append(words, r.Say(g, u))
		}
	}
	return strings.Join(words, ", ")
}

// Caution returns what a keeper who found g should mind, "" for nothing.
func Caution(g *Values) string {
	var words []string
	for i := range All {
		if r := &All[i]; r.Caution != nil && r.has(g) {
			if c := r.Caution(g); c != "" {
				words = append(words, c)
			}
		}
	}
	return strings.Join(words, " ")
}

// Misfit says why g cannot be a finding of a record of this scope, or of a task
// of this kind; kind is "" for a record. The result is "" where it fits.
func Misfit(g *Values, scope husbandry.Scope, kind husbandry.Kind) string {
	for i := range All {
		if r := &All[i]; r.Misfit != nil && r.has(g) {
			if why := r.Misfit(g, scope, kind); why != "" {
				return why
			}
		}
	}
	return ""
}

// LeavesOpen reports whether the task of g stays open.
func LeavesOpen(g *Values) bool {
	for i := range All {
		if All[i].Open && All[i].has(g) {
			return true
		}
	}
	return false
}

// WithAsked adds to g what its task said of itself.
func WithAsked(g *Values, a Asked) {
	for i := range All {
		if r := &All[i]; r.Asked != nil && r.has(g) {
			r.Asked(a, g)
		}
	}
}

// Done returns what a task says that is marked as done without a finding, nil
// for nothing.
func Done(a Asked) *Values {
	var g Values
	for i := range All {
		if r := &All[i]; r.Asked != nil {
			r.Asked(a, &g)
		}
	}
	if !Plans(&g) {
		return nil
	}
	return &g
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
