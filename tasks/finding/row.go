package finding

import (
	"strings"

	"nestround/tasks/husbandry"
)

// Row defines one finding.
type Row struct {
	// Name is the name of the finding. A kind of task uses the name to ask for
	// the finding.
	Name husbandry.FindingName
	slot
	// Plans says that the finding can change the plan. A note, for example,
	// cannot change the plan.
	Plans bool
	// Lasts says that the finding still matters after years. A clutch and its
	// causes last; a weight does not.
	Lasts bool
	// Since is the first version of the daybook with the finding; 0 stands for
	// the first version of all. A program that does not know the version must
	// stop reading the daybook, because otherwise the finding would be lost.
	Since int

	// Verbs are the words that begin the finding, after its number or record:
	// "7 laid 6". A finding without verbs is part of another finding or of a
	// note.
	Verbs []Verb
	// Read reads the words after a verb.
	Read reader
	// Takes are words that may follow the first words of the finding. If a mail
	// program breaks a line before such a word, the finding continues on the
	// next line.
	Takes []string
	// Near has units, and words that people type instead of a verb. A line with
	// a number before such a word is no command, but the keeper gets an answer
	// about it.
	Near []string
	// Command writes the finding as a command that reads back; nil if another
	// row writes it.
	Command func(g *Values) string
	// Say writes the finding in words for the keeper; nil if another row does.
	Say func(g *Values, u husbandry.Units) string
	// Caution returns a short caution for the answer, which defers to the
	// veterinarian; nil if there is none.
	Caution func(g *Values) string
	// Misfit says why the finding does not fit a record of this scope, or a
	// task of this kind; kind is "" for a record. The result is "" if the
	// finding fits. Misfit is nil if the finding always fits, or if it is a
	// part of another finding.
	Misfit func(g *Values, scope husbandry.Scope, kind husbandry.Kind) string
	// Record is the text that the digest prints after the word "Record": "the
	// weight". A mail reply may quote this line of the digest behind a number,
	// so the text must contain no verb of a finding. It is "" if no kind of
	// task asks for the finding.
	Record string
	// Sitter is the text for a stand-in who should write the finding down. It
	// is "" if only the keeper records the finding.
	Sitter string
	// Open says that a task with this finding alone stays open.
	Open bool
	// Asked adds the facts of the task to the finding; nil adds nothing. Asked
	// also runs for a task that is marked as done without a finding.
	Asked func(a Asked, g *Values)
}

// Verb is a word that begins a finding.
type Verb struct {
	Word string // lower case
	// Example is the text after the word in an example: "6"; "" if the word
	// needs none.
	Example string
	// Complete says that the word alone is a complete finding.
	Complete bool
	// Denies says that the word stands before a verb, like "not". It begins no
	// line.
	Denies bool
	// Everyday says that the word is also common in other sentences. It begins
	// a finding only directly before another verb of the same row.
	Everyday bool
}

// Asked has the facts of a task that go into the finding when the task is
// marked.
type Asked struct {
	Packs int          // packs to order; 0: none
	Mate  husbandry.ID // male to pair the female with; "": none
}

// slot is the storage of a finding's value: a field of Values, and the key in
// the daybook's JSON. The key must equal the key in the field's tag.
type slot struct {
	key   string
	has   func(*Values) bool
	merge func(to, from *Values)
	scan  func(Scanner, *Values)
}

// at returns the slot of a field whose zero value means "not reported".
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

// Scanner reads JSON values of the daybook, with the spacing that the daybook
// writes. After a value that the Scanner cannot read, it returns zeros, and the
// caller must drop all results.
type Scanner interface {
	Int() *int
	Float() *float64
	Bool() bool
	Text() string         // a string with its quotes
	Skip(text string)     // skips text, which must be next
	Try(text string) bool // skips text if it is next, and reports whether it was
}

// Key returns the key of the finding's value in the daybook's JSON.
func (r *Row) Key() string { return r.key }

// In reports whether g has this finding.
func (r *Row) In(g *Values) bool { return r.has(g) }

// byKey maps keys of the daybook to rows, and byVerb maps verbs to rows. goesOn
// has the words that may follow the first words of a finding.
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

// The functions of the rows use these maps. So Go cannot initialise the maps
// from the rows in the declaration: that would be a cycle.
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

// rowOf returns the row and the verb that a word begins; nil if there is none.
func rowOf(word string) (*Row, Verb) {
	v := byVerb[word]
	return v.row, v.verb
}

// Leading returns the verb with the given word in lower case. ok is false for
// any other word, and for a word like "not" that stands before a verb.
func Leading(word string) (v Verb, ok bool) {
	r, v := rowOf(word)
	return v, r != nil && !v.Denies
}

// Scan reads the value of a key of the daybook's JSON into g. For an unknown
// key it reads nothing and returns false.
func Scan(key string, s Scanner, g *Values) bool {
	r, ok := byKey[key]
	if ok {
		r.scan(s, g)
	}
	return ok
}

// FirstVersion is the version of the daybook for rows that state no version.
const FirstVersion = 1

// EntryVersion is the version of the daybook for an act that takes an entry back.
// It is beside the versions of findings because a new finding needs a later version.
const EntryVersion = 3

// Newest is the latest version of the daybook in any row or act. This program can
// read the daybook up to this version.
var Newest = func() int {
	newest := EntryVersion
	for i := range All {
		newest = max(newest, All[i].Since)
	}
	return newest
}()

// Version returns the earliest version of the daybook that can hold g.
func Version(g *Values) int {
	version := FirstVersion
	for i := range All {
		if All[i].Since > version && All[i].has(g) {
			version = All[i].Since
		}
	}
	return version
}

// Merge adds a later finding to g: the filled slots of later replace those of
// g.
func Merge(g, later *Values) {
	for i := range All {
		All[i].merge(g, later)
	}
}

// Plans reports whether g can change the plan.
func Plans(g *Values) bool {
	for i := range All {
		if All[i].Plans && All[i].has(g) {
			return true
		}
	}
	return false
}

// Command writes a finding as a command of a reply, without its number: "laid 6
// and 2 slugs". The result is "" if no command can express it.
func Command(g *Values) string {
	for i := range All {
		if r := &All[i]; r.Command != nil && r.has(g) {
			return r.Command(g)
		}
	}
	return ""
}

// Said writes all of g in words for the keeper: "eggs: 6, slugs: 2".
func Said(g *Values, u husbandry.Units) string {
	var words []string
	for i := range All {
		if r := &All[i]; r.Say != nil && r.has(g) {
			words = append(words, r.Say(g, u))
		}
	}
	return strings.Join(words, ", ")
}

// Caution returns the cautions for a keeper who found g, or "".
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

// Misfit says why g does not fit a record of this scope, or a task of this
// kind; kind is "" for a record. The result is "" if g fits.
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

// LeavesOpen reports whether the task stays open after g.
func LeavesOpen(g *Values) bool {
	for i := range All {
		if All[i].Open && All[i].has(g) {
			return true
		}
	}
	return false
}

// WithAsked adds the facts of the task to g.
func WithAsked(g *Values, a Asked) {
	for i := range All {
		if r := &All[i]; r.Asked != nil && r.has(g) {
			r.Asked(a, g)
		}
	}
}

// Done returns the finding of a task that is marked as done without a finding
// of the keeper, or nil.
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
