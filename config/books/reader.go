package books

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"nestround/config/diag"
	"nestround/config/tables"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// placed is a record with the table it was read from. The table gives the place
// of problems that need all records to be known.
type placed[T any] struct {
	value T
	at    *tables.Table
}

// index has the ids of the records that were read, and the references from one
// record to another.
type index struct {
	origin husbandry.Origin // of the files being read
	lost   bool             // a part of the keeper's files could not be read
	ids    map[string]named // by the id in lower case
	refs   []ref
}

// colony collects the animals, clutches and pairings, then checks them against
// one another.
type colony struct {
	index
	animals  []placed[husbandry.Animal]
	clutches []placed[husbandry.Clutch]
	pairings []placed[husbandry.Pairing]

	// These are made by inherit, so that no check goes through all animals for
	// each animal.
	at        map[husbandry.ID]int   // animals by their ids
	mates     map[husbandry.ID][]int // pairings by the female
	residents map[husbandry.ID][]int // animals by each enclosure in which they ever lived
	looks     int                    // animals and pairings that were looked at to complete others
	crowd     husbandry.ID           // a record that too many of them name, or ""
}

// maxLooks is the largest number of looks. They take about a second. Large books
// need less than a tenth of them: each of 30,000 animals may hatch from a mother
// with a hundred pairings.
const maxLooks = 50_000_000

// look counts the looks at records that name id, and reports whether there may
// be so many.
func (r *colony) look(id husbandry.ID, records []int) bool {
	if r.looks += len(records); r.looks > maxLooks && r.crowd == "" {
		r.crowd = id
	}
	return r.crowd == ""
}

// reader collects the records of all files, then checks them against one
// another.
type reader struct {
	colony
	list *diag.List
	full bool           // the books are beyond a limit, so they are not used
	read map[string]int // records of the keeper, by kind

	rooms       []placed[husbandry.Room]
	racks       []placed[husbandry.Rack]
	enclosures  []placed[husbandry.Enclosure]
	incubators  []placed[husbandry.Incubator]
	coolings    []placed[husbandry.Cooling]
	away        []placed[husbandry.Away]
	carers      []placed[husbandry.Carer]
	carersAway  []placed[husbandry.CarerAway]
	permits     []placed[husbandry.Permit]
	feeders     []placed[husbandry.Feeder]
	speciesList []placed[husbandry.Species]
	lit         []lit
	routines    [husbandry.Common + 1][]placed[husbandry.Routine] // by origin
	calledFor   []husbandry.Called
}

// named is the record that an id stands for.
type named struct {
	id    husbandry.ID
	what  string // "animal"
	place tables.Place
	// origin is the kind of file the record stands in. A keeper's record may
	// have the id of a built-in record of the same sort. The keeper's record
	// then replaces or refines the built-in record.
	origin husbandry.Origin
}

// ref is a reference from one record to the id of another.
type ref struct {
	id    husbandry.ID
	what  string // "enclosure"
	place tables.Place
}

func newReader(list *diag.List) *reader {
	return &reader{list: list, read: make(map[string]int), colony: colony{index: index{ids: make(map[string]named)}}}
}

// tables reads all records of a file.
func (r *reader) tables(root *tables.Table) {
	for _, kind := range []struct {
		name string
		read func(*tables.Table)
	}{
		{"room", r.room},
		{"rack", r.rack},
		{"enclosure", r.enclosure},
		{"animal", r.animal},
		{"clutch", r.clutch},
		{"incubator", r.incubator},
		{"pairing", r.pairing},
		{"cooling", r.cooling},
		{"away", r.awayDays},
		{"keeper", r.carer},
		{"permit", r.permit},
		{"feeder", r.feeder},
		{"routine", func(t *tables.Table) { r.routine(t, "") }},
		{"species", r.species},
	} {
		for _, t := range root.Tables(kind.name) {
			if r.read[kind.name]++; r.read[kind.name] > mostRecords(kind.name) {
				r.tooMuch(root.Here().File(), fmt.Sprintf("up to this file, there are more than %d records [[%s]]", mostRecords(kind.name), kind.name))
				return
			}
			kind.read(t)
		}
	}
}

const maxID = 60

// keeperID is the subject of tasks that are about no record. No record may take
// this id, because it would be mistaken for that subject.
const keeperID = "keeper"

// replyWord reports whether a word has a meaning in replies, so a record with
// this id could not be named in a reply. Verbs that came with a later version
// do not count: books that were valid must stay valid.
func replyWord(word string) bool {
	switch word {
	case "but", "except", "and":
		return true
	}
	return finding.IsCommand(word) || finding.IsFirstVerb(word)
}

var (
	idForm   = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*$`)
	idLetter = regexp.MustCompile(`[A-Za-z]`)
)

func checkID(s string) (husbandry.ID, error) {
	switch {
	case len(s) > maxID:
		return "", fmt.Errorf("an id has at most %d characters", maxID)
	case !idForm.MatchString(s):
		return "", fmt.Errorf("%q is not an id; letters a to z, digits, and - _ . after the first", s)
	case !idLetter.MatchString(s):
		return "", fmt.Errorf("%q has no letter; a reply could not tell it from the number of a task", s)
	case strings.EqualFold(s, keeperID):
		return "", fmt.Errorf("%q stands for the keeper; take another id", s)
	case replyWord(strings.ToLower(s)):
		return "", fmt.Errorf("%q is a word of replies; take another id", s)
	}
	return husbandry.ID(s), nil
}

// id reads the id of a record and checks that no other record has it.
func (r *index) id(t *tables.Table, what string) husbandry.ID {
	if !t.Has("id") {
		t.Missing("`id`", "give it a short label of your own, such as the one on its door")
		return ""
	}
	id, ok := tables.Parsed(t, "id", checkID)
	if !ok {
		return ""
	}
	mine := named{id: id, what: what, place: t.Place("id"), origin: r.origin}
	other, taken := r.ids[strings.ToLower(string(id))]
	builtIn := taken && other.origin != husbandry.Keeper && r.origin == husbandry.Keeper && other.what == what
	switch {
	case taken && builtIn && other.id == id: // replaces or refines the built-in record
	case taken && builtIn:
		mine.place.Error(fmt.Sprintf("the id `%s` differs only in case from the built-in %s `%s`", id, what, other.id), fmt.Sprintf("write `%s` to change that one", other.id))
		return ""
	case taken && other.id != id:
		mine.place.Error(fmt.Sprintf("the id `%s` differs only in case from `%s`, the %s at %v", id, other.id, other.what, other.place), "every record needs an id of its own")
		return ""
	case taken:
		mine.place.Error(fmt.Sprintf("the id `%s` is taken by the %s at %v", id, other.what, other.place), "every record needs an id of its own")
		return ""
	}
	r.ids[strings.ToLower(string(id))] = mine
	return id
}

// ref reads the id of another record. checkRefs looks it up later.
func (r *index) ref(t *tables.Table, key, what string) husbandry.ID {
	id := husbandry.ID(t.Text(key))
	if id != "" {
		r.refs = append(r.refs, ref{id, what, t.Place(key)})
	}
	return id
}

// refList reads a list of ids of other records.
func (r *index) refList(t *tables.Table, key, what string) []husbandry.ID {
	var ids []husbandry.ID
	for _, item := range t.Texts(key) {
		id := husbandry.ID(item.Value)
		r.refs = append(r.refs, ref{id, what, item.Place})
		ids = append(ids, id)
	}
	return ids
}

// maxCompared is the number of ids that are compared with unknown ids to suggest
// one of them. It is enough for hundreds of mistakes among 6,000 animals; after
// that, a suggestion is not worth the time.
const maxCompared = 2_000_000

// checkRefs reports ids for which there is no record of the right sort.
func (r *index) checkRefs() {
	if r.lost {
		return // the record may be in the unreadable part
	}
	candidates := make(map[string][]string)
	for _, n := range r.ids {
		candidates[n.what] = append(candidates[n.what], string(n.id))
	}
	for _, c := range candidates {
		slices.Sort(c)
	}
	compared := 0
	for _, ref := range r.refs {
		n, ok := r.ids[strings.ToLower(string(ref.id))]
		switch {
		case ok && n.id == ref.id && n.what == ref.what:
		case !ok && ref.what == "clutch" && r.foundBy(ref.id) != "":
		case ok && n.id == ref.id:
			ref.place.Error(fmt.Sprintf("`%s` is %s, not %s", ref.id, english.Article(n.what), english.Article(ref.what)), fmt.Sprintf("it stands at %v", n.place))
		default:
			hint := ""
			if n := len(candidates[ref.what]); !ref.place.Full() && compared+n <= maxCompared {
				compared += n
				hint = diag.DidYouMean(string(ref.id), candidates[ref.what])
			}
			switch {
			case hint != "":
			case ref.what == "species":
				hint = "there are " + strings.Join(candidates[ref.what], ", ")
			default:
				hint = fmt.Sprintf("no [[%s]] has this id", ref.what)
			}
			ref.place.Error(fmt.Sprintf("unknown %s `%s`", ref.what, ref.id), hint)
		}
	}
}

// days reads a number of days from least to most.
func days(t *tables.Table, key string, least, most husbandry.Days) (husbandry.Days, bool) {
	return tables.Parsed(t, key, daysBetween(least, most))
}

func daysBetween(least, most husbandry.Days) func(string) (husbandry.Days, error) {
	return func(s string) (husbandry.Days, error) {
		d, err := husbandry.ParseDays(s)
		if err == nil && (d < least || d > most) {
			return 0, fmt.Errorf("%q is not from %d to %d days", s, least, most)
		}
		return d, err
	}
}

// longest is the largest number of days that a record may state.
const longest husbandry.Days = 3660

// The range of temperatures for incubating lizard eggs, with a margin:
// published series of lizards lie between 14 and 36 °C. A temperature outside
// is taken for a typing error, most likely of the unit.
const (
	coldest husbandry.Celsius = 10
	hottest husbandry.Celsius = 40
)

func incubationTemperature(s string) (husbandry.Celsius, error) {
	c, err := husbandry.ParseTemperature(s)
	if c >= coldest && c <= hottest && err == nil {
		return c, nil
	}
	// Suggest the other unit, C or F, if the number is a plausible temperature
	// in that unit: "84 C", "28 F".
	number := strings.TrimRight(s, "CcFf° ")
	for _, unit := range []string{"C", "F"} {
		other := number + " " + unit
		if o, otherErr := husbandry.ParseTemperature(other); otherErr == nil && o >= coldest && o <= hottest && number != s {
			return 0, fmt.Errorf("%q is no temperature for eggs (10 to 40 C, 50 to 104 F); did you mean %q?", s, other)
		}
	}
	if err != nil {
		return 0, err
	}
	return 0, fmt.Errorf("%q is no temperature for eggs (10 to 40 C, 50 to 104 F)", s)
}

// inOrder reports a date that lies before the date it must not precede. Zero
// dates are not checked.
func inOrder(t *tables.Table, earlier string, e civil.Date, later string, l civil.Date) {
	if !e.IsZero() && !l.IsZero() && l.Before(e) {
		t.Place(later).Error(fmt.Sprintf("`%s` (%v) is before `%s` (%v)", later, l, earlier, e), "")
	}
}
