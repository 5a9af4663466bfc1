// Package husbandry holds the keeper's records as checked values.
//
// A [Records] is what the books say: places, animals, clutches, incubators,
// care sheets and routines, every reference resolved to an existing id and
// every quantity in a unit type. config/books makes one from the files and
// guarantees what the field comments promise; scheduler turns one, together
// with the daybook, into tasks. Records are never changed after they are
// made: what happened since (a clutch found, a female seen gravid) is in the
// daybook, and the scheduler derives it anew each time.
//
// The package knows neither files nor clocks nor mail.
package husbandry

import (
	"slices"
	"strings"
	"time"

	"nestround/tasks/civil"
)

// ID names a record. It is the keeper's own short label ("E07", "F03",
// "C27-04"): letters, digits, '-', '_' and '.', starting with a letter or
// digit, unique among all records of all kinds regardless of case, and never
// made up of digits alone, so that a reply can tell it from a task's number.
type ID string

// Records is everything the books hold. Slices are in walking or file order.
type Records struct {
	Units Units      // how quantities are shown
	Began civil.Date // the first day these books plan for; zero: not said
	// Breeding is what the keeper holds of pairing; zero for UsualBreeding.
	Breeding BreedingRules

	Rooms      []Room
	Racks      []Rack
	Enclosures []Enclosure
	Animals    []Animal
	Clutches   []Clutch
	Incubators []Incubator
	Routines   []Routine // the keeper's, then the care sheets', then the common ones
	Called     []Called  // routines that the planner's rules ask for; see Records.CalledFor
	Species    []Species
	Pairings   []Pairing
	Coolings   []Cooling
	Away       []Away  // by date, none within another
	Carers     []Carer // where several share the work; none: one keeper does all
	// CarersAway are days on which one of several keepers is not there, by date;
	// what is theirs is for the others.
	CarersAway []CarerAway
	Permits    []Permit
	Feeders    []Feeder // live food in stock
}

// Room is where racks and enclosures stand. Rooms are walked in the order of
// Records.Rooms.
type Room struct {
	ID    ID
	Name  string
	Light *Light // how long its lamps burn; nil when they are not looked after
	// Temperature and Humidity (relative, 0 to 1) of its air; nil: not said.
	Temperature *Celsius
	Humidity    *float64
}

// Rack is a frame of enclosures in a room.
type Rack struct {
	ID   ID
	Name string
	Room ID
}

// Enclosure is where animals live. Enclosures are walked in the order of
// Records.Enclosures, which books sorts by room, rack and place in the file.
type Enclosure struct {
	ID      ID
	Name    string
	Room    ID       // always set; a rack's enclosures are in the rack's room
	Rack    ID       // "" when it stands alone
	NestBox *NestBox // nil when there is none
	Lamp    *Lamp    // nil when no lamp's age is tracked
}

// NestBox is a box of damp substrate in an enclosure, for laying.
type NestBox struct {
	Substrate string // in the keeper's words
	TopUp     Days   // days between top-ups; 0: the routine's own interval
	Damp      Damp
}

// Damp is what is known of how a nest box or an egg tub holds its water: the
// way out for vapour, and what it may lose. Any of it may be zero: not known.
type Damp struct {
	Holes     Holes       // the opening of a nest box, the holes of a tub's lid
	Lid       Millimetres // thickness of what the holes are in
	Inside    Size        // of the box; without Holes it is open on top
	Headspace Millimetres // of still air between the substrate and the lid or rim
	Water     Grams       // mixed into the dry substrate
	Mass      Grams       // of all of it, closed, when it is as damp as it should be
	Tolerance Grams       // of water that may be lost before it is too dry
}

// Lamp is a UVB lamp whose age matters.
type Lamp struct {
	Fitted civil.Date // zero: not known
	Life   Days       // days until it is to be changed; 0: the routine's own interval
}

// Sex of an animal or group.
type Sex string

// The sexes a record may state; young animals are unsexed.
const (
	Unsexed Sex = "unsexed"
	Male    Sex = "male"
	Female  Sex = "female"
)

// Stage is a stage of life.
type Stage string

// The stages, youngest first.
const (
	Hatchling Stage = "hatchling"
	Juvenile  Stage = "juvenile"
	Subadult  Stage = "subadult"
	Adult     Stage = "adult"
)

// Animal is one lizard, or a numbered group that is kept and marked as one.
type Animal struct {
	ID        ID
	Name      string
	Species   ID
	Sex       Sex
	Count     int // 1, or the size a group had before anybody was taken out of it
	Enclosure ID  // "" once it has left
	// Was is where it lived before, by date: what was dusted for it there
	// still counts. That of whoever was taken out of a group is filled in from
	// the group's.
	Was      []Home
	Hatched  civil.Date
	Acquired civil.Date
	Left     civil.Date // sold, given away or dead: no tasks from this day
	// From is the group it was taken out of, on the day Since; "" for none. What
	// its own record leaves out of species, sex, dates, parents, clutch and
	// enclosure is filled in from the group's, and the group is smaller from
	// that day.
	From  ID
	Since civil.Date
	// Clutch is the clutch it hatched from, recorded or found; "" when unknown.
	// Mother and Father are filled in from it.
	Clutch ID
	Mother ID
	Father ID
	// Quarantine is how long it is kept apart, counted from the day it came, or
	// was taken out of its group if it came from nowhere; 0: it is not.
	// Whoever is taken out of a group in quarantine is in it too. Others who come and illness
	// begin it anew.
	Quarantine Days
	Stage      Stage // "" to be told from its age; adult where the age is unknown
	Breeding   bool  // pairing, gravid checks and lay watches are wanted for it
	// Gravid is the day on which she was seen gravid when the books began;
	// later sightings are findings.
	Gravid civil.Date
	Note   string
}

// Home is an enclosure in which an animal lived until the end of a day.
type Home struct {
	Enclosure ID
	Until     civil.Date
}

// MovedIn returns the day on which it moved into its enclosure from another of
// the keeper's, or no date.
func (a *Animal) MovedIn() civil.Date {
	if n := len(a.Was); n > 0 && a.Was[n-1].Enclosure != a.Enclosure {
		return a.Was[n-1].Until.AddDays(1)
	}
	return civil.Date{}
}

// Heads is how many an animal's record still stands for on a day: of a group,
// those that nobody has taken out of it by then.
func (r *Records) Heads(id ID, on civil.Date) int {
	n := 0
	for i := range r.Animals {
		switch a := &r.Animals[i]; {
		case a.ID == id:
			n += a.Count
		case a.From == id && !a.Since.After(on):
			n -= a.Count
		}
	}
	return max(0, n)
}

// Clutch is eggs laid together by one female: the unit of incubation. It
// comes from a record, from a finding, or from both, in which case the record
// refines the finding.
type Clutch struct {
	ID      ID
	Mother  ID // "" when unknown
	Species ID
	// PartOf is the clutch of which this is a part in a tub of its own, "" for
	// none; mother, species and laying date are that clutch's.
	PartOf ID
	// Eggs were laid on a day in LaidFrom..Laid; the two are equal when the
	// day is known, and LaidFrom is earlier when they were found later.
	LaidFrom, Laid civil.Date
	Eggs           int // fertile-looking eggs set; 0: not counted yet
	Slugs          int // infertile eggs
	Incubator      ID  // "" when not in one
	// Temperature at which the tub stands, overriding the incubator's.
	Temperature *Celsius
	Moves       []Move // of its tub, by date
	// Veins is the first day on which candling showed that the embryos
	// develop; zero: not seen.
	Veins   civil.Date
	Tub     Tub
	Damp    Damp       // of the tub; its Mass is that of the day it was set
	TubSet  civil.Date // the tub was set up on this day; zero: not yet
	Hatched int        // young hatched when the record was written
	Ended   civil.Date // nothing more is expected of it from this day
	Note    string
}

// Move is a tub's removal to another incubator, or to another temperature.
type Move struct {
	On          civil.Date // the first day it stands there
	Incubator   ID         // "": outside of any
	Temperature *Celsius   // overriding the incubator's; nil: the incubator's
}

// Tub says what the egg tub's lid does.
type Tub string

// The lids of an egg tub.
const (
	Vented Tub = "vented" // loses water through its holes, is weighed and opened
	Sealed Tub = "sealed" // is left closed
)

// Incubator is where egg tubs stand.
type Incubator struct {
	ID          ID
	Name        string
	Room        ID
	Temperature Celsius // set point, today's
	// Was has the set points of earlier times, by date.
	Was []SetPoint
	// Swing is half the daily range about the set point; 0: constant.
	Swing Celsius
	// Humidity is the relative humidity (0 to 1) of its air; nil: that of the
	// room's air, warmed.
	Humidity *float64
	// Log is the path of its temperature log, relative to the books; "" if none.
	Log string
}

// SetPoint is what an incubator was set to.
type SetPoint struct {
	Until       civil.Date // the last day of it
	Temperature Celsius
}

// SetTo returns the set point of a day.
func (i *Incubator) SetTo(day civil.Date) Celsius {
	for _, s := range i.Was {
		if !day.After(s.Until) {
			return s.Temperature
		}
	}
	return i.Temperature
}

// Pairing is a male and a female put together, or meant to be.
type Pairing struct {
	ID      ID
	Male    ID
	Female  ID
	From    civil.Date // put together; zero: planned only
	Until   civil.Date // separated; zero: still together
	Mated   []civil.Date
	Species ID
}

// Away is a span of days on which the keeper is not there.
type Away struct {
	From, Until civil.Date // both inclusive
	Cover       string     // who looks after the animals; "" for nobody
	Mail        string     // the cover's address, "" for none
	Note        string     // shown on the cover's sheet
}

// Absences returns the days away, those that follow on others at once as one
// span with them: the keeper is not back in between, whoever stands in.
func (r *Records) Absences() []Away {
	var all []Away
	for _, a := range r.Away {
		if n := len(all); n > 0 && a.From == all[n-1].Until.AddDays(1) {
			all[n-1].Until = a.Until
			continue
		}
		all = append(all, a)
	}
	return all
}

// CarerAway is a span of days on which one of several keepers is not there.
type CarerAway struct {
	Keeper      ID         // a Carer's
	From, Until civil.Date // both inclusive
}

// AwayOn returns the days away of a keeper that a day is one of, or nil.
func (r *Records) AwayOn(keeper ID, day civil.Date) *CarerAway {
	for i := range r.CarersAway {
		if a := &r.CarersAway[i]; a.Keeper == keeper && !day.Before(a.From) && !day.After(a.Until) {
			return a
		}
	}
	return nil
}

// Called is what a keeper is called: the name, or else the id.
func (c *Carer) Called() string {
	if c.Name != "" {
		return c.Name
	}
	return string(c.ID)
}

// Carer is one of several keepers who share the work.
type Carer struct {
	ID   ID
	Name string
	Mail string // address of the own digest; "" for none
	// For, Kinds and Routines say which tasks are theirs: all that are given
	// must match. One who gives none has what is nobody else's.
	For      Selector
	Kinds    []Kind
	Routines []ID
	// Rest says that none of them is given.
	Rest bool
}

// Permit is a paper that runs out: a permit, a licence, a registration, an
// insurance. What it means and whether it is needed is for the keeper and the
// authority to say.
type Permit struct {
	ID      ID
	Words   string // what it is, in the keeper's words
	Expires civil.Date
	// Remind is how long before it runs out its renewal is asked for.
	Remind Days
	Note   string
}

// Species is a care sheet: the defaults of one species, from the built-in
// sheets or the keeper's own. A zero value of a field means that nothing is
// known, and nothing that needs it is planned.
type Species struct {
	ID         ID
	Name       string // English name
	Scientific string // binomial, or trinomial of a subspecies: "Podarcis muralis"
	Family     string

	// JuvenileFrom, SubadultFrom and AdultFrom are the ages at which the
	// stages begin.
	JuvenileFrom, SubadultFrom, AdultFrom Days

	Incubation Incubation
	Laying     Laying
	Pairing    PairingSeason
	Cooling    CoolingCare
	// FirstFeed is when the young take their first food, in days after
	// hatching, and SexableAt the age at which they can be sexed. Where known,
	// they replace the offset of the common first-feed and sexing routines.
	FirstFeed Span
	SexableAt Days

	// Sources has, for each key of the sheet by its name in TOML
	// ("incubation", "laying.interval"), where the value comes from: a
	// publication, or "common practice".
	Sources map[string]string
}

// Binomial returns the scientific name without a subspecies.
func (s *Species) Binomial() string {
	words := strings.Fields(s.Scientific)
	return strings.Join(words[:min(2, len(words))], " ")
}

// Own reports whether the keeper, not a built-in sheet, states one of the
// keys ("pairing.from", "laying.interval").
func (s *Species) Own(keys ...string) bool {
	return slices.ContainsFunc(keys, func(k string) bool { return s.Sources[k] != "" })
}

// Span is a range of days, both ends included. The zero Span is "not known".
type Span struct{ From, To Days }

// IsZero reports whether nothing is known of the span.
func (s Span) IsZero() bool { return s == Span{} }

// Incubation is what is known of a species' incubation.
type Incubation struct {
	Points []IncubationPoint // by rising temperature
	// Days is the range over the usual temperatures, for a species without
	// Points.
	Days Span
	// Diapause is how long eggs rest before development runs; zero for none.
	Diapause Span
	// TemperatureSex says that the sex of the young follows the temperature.
	TemperatureSex bool
	// Safe is the range of constant temperatures at which eggs are known to
	// hatch well; zeros when not known.
	SafeFrom, SafeTo Celsius
}

// IncubationPoint is a measured mean time from laying to hatching at one
// temperature.
type IncubationPoint struct {
	Temperature Celsius
	Days        float64
	SD          float64 // of single eggs, in days; 0: not published
	Eggs        int     // 0: not published
	Source      string
}

// Laying is what is known of a species' laying.
type Laying struct {
	AfterMating Span // from a mating to laying
	Interval    Span // between clutches of one season
	Clutches    int  // a season's limit; 0: not known
	Eggs        Span // a clutch's size, in eggs rather than days
}

// PairingSeason is the part of the year in which a species is paired, by day
// of the northern year; south of the equator it is half a year later.
type PairingSeason struct {
	FromMonth  time.Month
	FromDay    int
	UntilMonth time.Month
	UntilDay   int
}

// IsZero reports whether no season is known.
func (p PairingSeason) IsZero() bool { return p == PairingSeason{} }
