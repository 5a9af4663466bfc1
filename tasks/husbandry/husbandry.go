// Package husbandry holds the keeper's records as checked values.
//
// A [Records] has the content of the books: places, animals, clutches,
// incubators, care sheets and routines. Every reference names an existing id,
// and every quantity has a unit type. Package config/books makes Records from
// the files and guarantees the promises of the field comments. The scheduler
// makes tasks from Records and the daybook. Records never change. Later events,
// such as a clutch or a gravid female, are in the daybook, and the scheduler
// derives their effects anew each time.
//
// The package knows no files, no clocks and no mail.
package husbandry

import (
	"slices"
	"strings"
	"time"

	"nestround/tasks/civil"
)

// ID names a record. It is the keeper's own short label ("E07", "F03",
// "C27-04") of letters, digits, '-', '_' and '.', and starts with a letter or
// digit. It is unique among all records of all kinds, regardless of case. It is
// never made up of digits alone, so that a reply can tell it from a task's
// number.
type ID string

// Records is the content of the books. Slices are in walking order or file
// order.
type Records struct {
	Units Units      // how quantities are shown
	Began civil.Date // first day of these books; zero: not stated
	// Breeding has the keeper's limits for pairing; zero for UsualBreeding.
	Breeding BreedingRules

	Rooms      []Room
	Racks      []Rack
	Enclosures []Enclosure
	Animals    []Animal
	Clutches   []Clutch
	Incubators []Incubator
	Routines   []Routine // routines of the keeper, then of the care sheets, then the common ones
	Called     []Called  // routines that only rules of the planner use; see Records.CalledFor
	Species    []Species
	Pairings   []Pairing
	Coolings   []Cooling
	Away       []Away  // by date, without overlap
	Carers     []Carer // the keepers who share the work; empty for a single keeper
	// CarersAway are absences of one of several keepers, by date. The other
	// keepers do the absent keeper's tasks.
	CarersAway []CarerAway
	Permits    []Permit
	Feeders    []Feeder // live food
}

// Room holds racks and enclosures. Keepers walk the rooms in the order of
// Records.Rooms.
type Room struct {
	ID    ID
	Name  string
	Light *Light // daily hours of the room's lamps; nil if not tracked
	// Temperature and relative humidity (0 to 1) of the room's air; nil: not
	// stated.
	Temperature *Celsius
	Humidity    *float64
}

// Rack is a frame of enclosures in a room.
type Rack struct {
	ID   ID
	Name string
	Room ID
}

// Enclosure is a place where animals live. Keepers walk the enclosures in the
// order of Records.Enclosures: by room, rack and place in the file.
type Enclosure struct {
	ID      ID
	Name    string
	Room    ID       // always set, also for the enclosures of a rack
	Rack    ID       // "" when it stands alone
	NestBox *NestBox // nil when there is none
	Lamp    *Lamp    // nil when no lamp's age is tracked
}

// NestBox is a box of damp substrate in an enclosure, in which females lay.
type NestBox struct {
	Substrate string // in the keeper's words
	TopUp     Days   // days between top-ups; 0: the interval of the routine
	Damp      Damp
}

// Damp describes how a nest box or an egg tub holds its water: the path for
// vapour, and the acceptable loss. A zero field means that the value is not
// known.
type Damp struct {
	Holes     Holes       // the opening of a nest box, the holes of a tub's lid
	Lid       Millimetres // thickness of the material around the holes
	Inside    Size        // of the box; without Holes the whole top is open
	Headspace Millimetres // depth of the still air between the substrate and the lid or rim
	Water     Grams       // mixed into the dry substrate
	Mass      Grams       // total mass, closed, at the right dampness
	Tolerance Grams       // acceptable loss of water
}

// Lamp is a UVB lamp whose age matters.
type Lamp struct {
	Fitted civil.Date // zero: not known
	Life   Days       // days until the lamp is due for a change; 0: the interval of the routine
}

// Sex is the sex of an animal or a group.
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

// Animal is one lizard, or a counted group that is kept and marked as one.
type Animal struct {
	ID        ID
	Name      string
	Species   ID
	Sex       Sex
	Count     int // 1, or the size of a group before any animal was taken out
	Enclosure ID  // "" once it has left
	// Was has the animal's earlier homes, by date. Supplements on the food in
	// these homes still count. For an animal that was taken out of a group, Was
	// includes the homes of the group.
	Was      []Home
	Hatched  civil.Date
	Acquired civil.Date
	Left     civil.Date // sold, given away or dead; from this day the animal has no tasks
	// From is the group from which the animal was taken on the day Since; ""
	// for none. The animal takes over species, sex, dates, parents, clutch and
	// enclosure from the group where its own record has none. The group is
	// smaller from that day.
	From  ID
	Since civil.Date
	// Clutch is the clutch from which the animal hatched, known from a record
	// or a finding; "" when unknown. Mother and Father are taken from the
	// clutch.
	Clutch ID
	Mother ID
	Father ID
	// Quarantine is how many days the animal is kept apart; 0: it is not kept
	// apart. The days count from the animal's arrival. If the animal was taken
	// out of a group and has no arrival, they count from the day on which it
	// was taken out. An animal taken out of a group in quarantine is in
	// quarantine too. New arrivals and illness begin the quarantine anew.
	Quarantine Days
	Stage      Stage // "" to be told from its age; adult where the age is unknown
	Breeding   bool  // plan pairing, gravid checks and lay watches
	// Gravid is the day on which the female was seen gravid before the books
	// began. Later sightings are findings.
	Gravid civil.Date
	Note   string
}

// Home is an enclosure in which an animal lived until the end of a day.
type Home struct {
	Enclosure ID
	Until     civil.Date
}

// MovedIn returns the day on which the animal moved into its enclosure from
// another enclosure of the keeper, or no date.
func (a *Animal) MovedIn() civil.Date {
	if n := len(a.Was); n > 0 && a.Was[n-1].Enclosure != a.Enclosure {
		return a.Was[n-1].Until.AddDays(1)
	}
	return civil.Date{}
}

// Heads returns the number of animals that a record stands for on a day: for a
// group, without the animals taken out by then.
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

// Living returns the number of animals of all records on a day, without those
// that have left.
func (r *Records) Living(on civil.Date) int {
	taken := make(map[ID]int) // animals taken out of a group
	for i := range r.Animals {
		if a := &r.Animals[i]; a.From != "" && !a.Since.After(on) {
			taken[a.From] += a.Count
		}
	}
	n := 0
	for i := range r.Animals {
		if a := &r.Animals[i]; a.Left.IsZero() {
			n += max(0, a.Count-taken[a.ID])
		}
	}
	return n
}

// Clutch is the eggs that one female laid together, and the unit of incubation.
// It comes from a record, from a finding, or from both. If both exist, the
// record refines the finding.
type Clutch struct {
	ID      ID
	Mother  ID // "" when unknown
	Species ID
	// PartOf is set for a part of a clutch in a separate tub: the id of the
	// whole clutch. The part has the mother, species and laying date of that
	// clutch. "" for a whole clutch.
	PartOf ID
	// The eggs were laid on some day from LaidFrom to Laid. The two are equal
	// if the day is known. LaidFrom is earlier if the eggs were found later.
	LaidFrom, Laid civil.Date
	Eggs           int // fertile-looking eggs set; 0: not counted yet
	Slugs          int // infertile eggs
	Incubator      ID  // "" when not in one
	// Temperature is the temperature of the tub; it overrides the incubator's.
	Temperature *Celsius
	Moves       []Move // moves of the clutch's tub, by date
	// Veins is the first day on which candling showed veins, so that the
	// embryos develop; zero: not seen.
	Veins   civil.Date
	Tub     Tub
	Damp    Damp       // water in the tub; Damp.Mass is the mass of the tub at set-up
	TubSet  civil.Date // set-up day of the tub; zero: not yet
	Hatched int        // number of hatched young at the time of the record
	Ended   civil.Date // the clutch is finished from this day
	Note    string
}

// Move is the move of a tub to another incubator, or to another temperature.
type Move struct {
	On          civil.Date // the first day at the new place
	Incubator   ID         // "": outside of any
	Temperature *Celsius   // overrides the incubator's; nil: the incubator's
}

// Tub is the type of an egg tub's lid.
type Tub string

// The lids of an egg tub.
const (
	Vented Tub = "vented" // loses water through its holes, is weighed and opened
	Sealed Tub = "sealed" // is left closed
)

// Incubator holds egg tubs.
type Incubator struct {
	ID          ID
	Name        string
	Room        ID
	Temperature Celsius // today's set point
	// Was has the earlier set points, by date.
	Was []SetPoint
	// Swing is half the daily temperature range around the set point; 0:
	// constant.
	Swing Celsius
	// Humidity is the relative humidity (0 to 1) of the incubator's air. nil:
	// computed from the room's air, warmed to the set point.
	Humidity *float64
	// Log is the path of the incubator's temperature log, relative to the
	// books; "" if none.
	Log string
}

// SetPoint is an earlier set point of an incubator.
type SetPoint struct {
	Until       civil.Date // last day with this set point
	Temperature Celsius
}

// SetTo returns the set point on a day.
func (i *Incubator) SetTo(day civil.Date) Celsius {
	for _, s := range i.Was {
		if !day.After(s.Until) {
			return s.Temperature
		}
	}
	return i.Temperature
}

// Pairing is a male and a female that were put together, or will be.
type Pairing struct {
	ID      ID
	Male    ID
	Female  ID
	From    civil.Date // day on which the pair was put together; zero: only planned
	Until   civil.Date // day on which the pair was separated; zero: still together
	Mated   []civil.Date
	Species ID
}

// Away is a span of days on which the keeper is absent.
type Away struct {
	From, Until civil.Date // both inclusive
	Cover       string     // who looks after the animals; "" for nobody
	Mail        string     // mail address of the cover, "" for none
	Note        string     // shown on the cover's sheet
}

// Absences returns the keeper's absences. Absences without a day between them
// become one span, because the keeper is not back in between, even if the cover
// changes.
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

// CarerAway is a span of days on which one of several keepers is absent.
type CarerAway struct {
	Keeper      ID         // id of a Carer
	From, Until civil.Date // both inclusive
}

// AwayOn returns the absence of a keeper that includes a day, or nil.
func (r *Records) AwayOn(keeper ID, day civil.Date) *CarerAway {
	for i := range r.CarersAway {
		if a := &r.CarersAway[i]; a.Keeper == keeper && !day.Before(a.From) && !day.After(a.Until) {
			return a
		}
	}
	return nil
}

// Called returns the name of the keeper, or the id if the record has no name.
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
	Mail string // address for the keeper's own digest; "" for none
	// For, Kinds and Routines select the keeper's tasks; a task has to match
	// all that are stated. A keeper who states none gets the tasks that no
	// other keeper has.
	For      Selector
	Kinds    []Kind
	Routines []ID
	// Rest says that For, Kinds and Routines are all empty.
	Rest bool
}

// Permit is a document that expires: a permit, a licence, a registration, an
// insurance. The keeper and the authority decide what it means and whether it
// is needed.
type Permit struct {
	ID      ID
	Words   string // description in the keeper's words
	Expires civil.Date
	// Remind is how long before the expiry the renewal is due.
	Remind Days
	Note   string
}

// Species is a care sheet: the defaults of one species, from the built-in
// sheets or from the keeper. A zero field means that the value is not known,
// and no task that needs the value is planned.
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
	// hatching. SexableAt is the age, in days, at which the young can be sexed.
	// If known, the two replace the offsets of the common routines for the
	// first food and for sexing.
	FirstFeed Span
	SexableAt Days

	// Sources has the source of each value of the sheet: a publication, or
	// "common practice". The keys are the names in TOML ("incubation",
	// "laying.interval").
	Sources map[string]string
}

// Binomial returns the scientific name without a subspecies.
func (s *Species) Binomial() string {
	words := strings.Fields(s.Scientific)
	return strings.Join(words[:min(2, len(words))], " ")
}

// Own reports whether any of the keys ("pairing.from", "laying.interval") comes
// from the keeper instead of a built-in sheet.
func (s *Species) Own(keys ...string) bool {
	return slices.ContainsFunc(keys, func(k string) bool { return s.Sources[k] != "" })
}

// Span is a range of days, including both ends. The zero Span means "not
// known".
type Span struct{ From, To Days }

// IsZero reports whether the span is not known.
func (s Span) IsZero() bool { return s == Span{} }

// Incubation has the facts that are known about the incubation of a species.
type Incubation struct {
	Points []IncubationPoint // by rising temperature
	// Days is the incubation time at the usual temperatures, for a species
	// without Points.
	Days Span
	// Diapause is how long the eggs rest before development begins; zero for
	// none.
	Diapause Span
	// TemperatureSex says that the incubation temperature determines the sex of
	// the young.
	TemperatureSex bool
	// SafeFrom and SafeTo are the range of constant temperatures at which eggs
	// are known to hatch well; zero when not known.
	SafeFrom, SafeTo Celsius
}

// IncubationPoint is a measured mean time from laying to hatching at one
// temperature.
type IncubationPoint struct {
	Temperature Celsius
	Days        float64
	SD          float64 // standard deviation of single eggs, in days; 0: not published
	Eggs        int     // number of eggs; 0: not published
	Source      string
}

// Laying has the facts that are known about the laying of a species.
type Laying struct {
	AfterMating Span // from a mating to laying
	Interval    Span // between clutches of one season
	Clutches    int  // most clutches in a season; 0: not known
	Eggs        Span // eggs in a clutch; here a Span counts eggs instead of days
}

// PairingSeason is the part of the year in which a species is paired, for the
// northern year. South of the equator it is half a year later.
type PairingSeason struct {
	FromMonth  time.Month
	FromDay    int
	UntilMonth time.Month
	UntilDay   int
}

// IsZero reports whether no season is known.
func (p PairingSeason) IsZero() bool { return p == PairingSeason{} }
