package husbandry

import (
	"maps"

	"nestround/tasks/english"
)

// Kind says what a task is about. Everything that the program decides by the
// kind of a task is a column of one table, kindRows, and has a method here: a
// new kind is a constant and a row.
type Kind string

// The kinds of tasks.
const (
	Feed        Kind = "feed"
	Supplement  Kind = "supplement"   // dusted on a feeding
	Water       Kind = "water"        // fresh drinking water
	Mist        Kind = "mist"         // spray
	Clean       Kind = "clean"        // remove waste, or a deep clean
	NestTopUp   Kind = "nest-top-up"  // keep the nest box damp
	GutLoad     Kind = "gut-load"     // feed the feeder insects up
	Weigh       Kind = "weigh"        // an animal
	GravidCheck Kind = "gravid-check" // feel or look for eggs
	LayWatch    Kind = "lay-watch"    // eggs are expected
	DigEggs     Kind = "dig-eggs"     // lift a clutch from the nest box
	SetTub      Kind = "set-tub"      // set a clutch in its egg tub
	TubCheck    Kind = "tub-check"    // look into, or weigh, an egg tub
	Candle      Kind = "candle"       // shine through the eggs
	HatchWatch  Kind = "hatch-watch"  // young are expected
	YoungCheck  Kind = "young-check"  // look into the tub of hatchlings
	FirstFeed   Kind = "first-feed"   // offer hatchlings their first food
	Shed        Kind = "shed"         // look whether a shed came off whole
	Sexing      Kind = "sexing"       // the young are old enough to be sexed
	Label       Kind = "label"        // write on a tub who is in it
	Separate    Kind = "separate"     // young that grow up together are parted
	Place       Kind = "place"        // decide who stays and who goes
	Pair        Kind = "pair"         // the pairing window is open
	LampMeter   Kind = "lamp-meter"   // measure what a UVB lamp gives
	LampChange  Kind = "lamp-change"  // a UVB lamp has aged
	Quarantine  Kind = "quarantine"   // a step of an animal's quarantine
	Faecal      Kind = "faecal-test"  // have a faecal sample looked at
	Release     Kind = "release"      // an animal may leave quarantine
	Papers      Kind = "permit"       // a paper runs out
	LightStep   Kind = "light-step"   // a room's lamps are to burn longer or shorter
	ScaleCheck  Kind = "scale-check"  // weigh a known weight: does the scale still show it?
	Order       Kind = "order"        // live food is running short
	Cool        Kind = "cool"         // a step of the winter's cooling: the fast, or another temperature
	Review      Kind = "review"       // a finding asks for a closer look
	Own         Kind = "own"          // whatever else the keeper does
)

// kindRow is all that the program decides by the kind of a task. The empty
// value of a column that has a comment "or" means what the comment says.
type kindRow struct {
	kind Kind
	// scope is the sort of record that the tasks are about, or "": each
	// routine says it. Sexing is about the young of a clutch until there are
	// records of them, and then about those; so are Separate and Place, which
	// wait for records, and Label after an animal was taken out of its group.
	scope Scope
	// work tells everyday work from what is told by itself.
	work work

	// action is the order in words, for routines without a title of their own,
	// or "": every routine needs a title. ofYoung stands in its place where
	// the task is about the young of a clutch.
	action, ofYoung string
	// join stands between the action and the subject.
	join join
	// titles are further titles that are not joined by a colon. What joins
	// belongs to the words: a keeper's own title in the same words has it too.
	titles map[string]join
	// name names the tasks where they are listed without their titles, or "":
	// the id of the routine does. No name has the verb of a reply in it.
	name string
	// listed is used in a count of kinds, or "": the kind itself is.
	listed string
	noun   Noun

	// asks is what the keeper is asked to record with a task.
	asks []FindingName
	// weighs is what stands on the scales, or "": nothing usually does.
	weighs Weighed
	// countsEggs: the eggs of a clutch are counted at it.
	countsEggs bool

	// sitter is what becomes of the tasks while the keeper is away, and missed
	// what becomes of a task that was not done, where the routine does not say.
	sitter Sitter
	missed Missed
	// pinned says why a task that cannot wait is not put off, or "": the usual
	// words do.
	pinned string
	// needsAnimals: in an enclosure it is only done where animals live.
	needsAnimals bool
	// neverLate: it is owed however long ago its day was.
	neverLate bool
	// rests says when in winter it leaves an animal alone.
	rests Rests
	// tellsFast: beside the task of an enclosure stands who goes without food.
	tellsFast bool
	// inOrder: the tasks are steps that follow one another.
	inOrder bool
	// byTelephone: it can be done early, and from anywhere.
	byTelephone bool

	// watches is the window whose watch it is, or "".
	watches WindowName
	// partOf is the kind of task that this is done together with, or "".
	partOf Kind
	// byID: a routine replaces only a routine of its own id, not its kind.
	byID bool
	// refuseOn and refuseOff say why a record may not state a routine of this
	// kind, and one that turns the kind off; zero: it may.
	refuseOn, refuseOff Refusal
}

type work string

const (
	everyday work = "everyday"
	special  work = "special"
)

// join is what stands between a title and its subject.
type join string

const (
	byColon join = ": "   // "Set the lamps' timer: Egg room"
	byBlank join = " "    // "Feed E07"
	byOf    join = " of " // "Candle the eggs of clutch C27-04"
	byIn    join = " in "
	byFor   join = " for "
)

var timeDone = Noun{"time", "done"}

// kindRows has one row for each kind, in the order in which the tasks of a
// place are done: urgent tasks first, watches before the work that disturbs the
// animals.
//
// What a stand-in does is common practice: water, food, damp and watches cannot
// wait; what needs a practised hand or a quiet day can. So is what becomes of a
// missed task: yesterday's feeding is not given twice today, a watch that
// nobody kept is an alarm, and other work waits. And so is the winter's rest:
// in the cold an animal is not fed, wetted or taken out, and without food it
// has no droppings.
var kindRows = [...]kindRow{
	{kind: HatchWatch, scope: OfClutch, work: special, action: "Look for hatchlings", join: byOf, name: "Watching for young", noun: Noun{"look", "looked"},
		asks: []FindingName{FindHatched}, sitter: SitterDoes, missed: Alarms, watches: HatchWindow},
	{kind: LayWatch, scope: OfAnimal, work: special, action: "Watch for eggs", join: byOf, name: "Watching for eggs", noun: Noun{"look", "looked"},
		asks: []FindingName{FindLaid, FindSlugs}, sitter: SitterDoes, missed: Alarms, watches: LayWindow, pinned: pastHerTime},
	{kind: Review, work: special, join: byColon, name: "A closer look", noun: timeDone, sitter: SitterWaits, missed: Stays, byID: true,
		titles: map[string]join{"Review the health": byOf, "Review the illness": byOf, "Review the feeding of the young": byOf,
			"Review the overdue hatching": byOf, "Review calcium, vitamin D3 and UVB": byOf}},
	{kind: DigEggs, scope: OfClutch, work: special, action: "Dig up the eggs", join: byOf, name: "Digging for eggs", noun: timeDone,
		asks: []FindingName{FindLaid, FindSlugs}, countsEggs: true, sitter: SitterDoes, missed: Stays, neverLate: true, pinned: eggsInTheOpen},
	{kind: SetTub, scope: OfClutch, work: special, action: "Set up the egg tub", join: byOf, name: "Setting of egg tubs", noun: timeDone,
		asks: []FindingName{FindWeighs}, weighs: WeighedTub, countsEggs: true, sitter: SitterDoes, missed: Stays, neverLate: true, pinned: eggsInTheOpen},
	{kind: TubCheck, scope: OfClutch, work: special, action: "Check the egg tub", join: byOf, titles: map[string]join{"Add water to the tub": byOf}, name: "Look into egg tubs", noun: Noun{"check", "checked"},
		asks: []FindingName{FindAdded, FindWeighs}, weighs: WeighedTub, sitter: SitterWaits, missed: Stays},
	{kind: Candle, scope: OfClutch, work: special, action: "Candle the eggs", join: byOf, name: "Light through the eggs", noun: Noun{"candling", "candled"},
		asks: []FindingName{FindVeins}, weighs: WeighedTub, sitter: SitterWaits, missed: Stays},
	{kind: YoungCheck, scope: OfClutch, work: special, action: "Look into the tub of the young", join: byOf, name: "Look into tubs of young", noun: Noun{"look", "looked"},
		asks: []FindingName{FindIll}, sitter: SitterWaits, missed: Lapses},
	{kind: FirstFeed, scope: OfClutch, work: special, action: "Offer the first food to the young", join: byOf, name: "First food", noun: timeDone,
		asks: []FindingName{FindRefused}, sitter: SitterDoes, missed: Stays},
	{kind: GravidCheck, scope: OfAnimal, work: special, action: "Look and feel for eggs", join: byIn, name: "Looking for eggs inside her", noun: Noun{"check", "checked"},
		asks: []FindingName{FindGravid}, sitter: SitterWaits, missed: Stays, pinned: pastHerTime},
	{kind: Pair, scope: OfAnimal, work: special, action: "Pair", join: byBlank, name: "Pairing", noun: timeDone,
		asks: []FindingName{FindMated}, sitter: SitterWaits, missed: Stays, watches: PairingWindow},
	{kind: Cool, scope: OfEnclosure, work: special, action: "Set the winter temperature", join: byOf, name: "Winter cooling", noun: Noun{"step", "taken"},
		sitter: SitterWaits, missed: Stays, inOrder: true,
		refuseOff: Refusal{"a winter is not turned off by a routine", "write a [[cooling]] with off = true for the animals"}},
	{kind: Quarantine, scope: OfAnimal, work: special, action: "Look after the quarantine", join: byOf, name: "Quarantine", noun: timeDone,
		asks: []FindingName{FindIll}, sitter: SitterWaits, missed: Stays},
	{kind: Faecal, work: special, action: "Have a faecal sample tested", join: byOf, name: "Faecal samples", noun: Noun{"test", "tested"},
		asks: []FindingName{FindIll}, sitter: SitterWaits, missed: Stays, needsAnimals: true, rests: RestsUntilFed},
	{kind: Weigh, scope: OfAnimal, work: special, action: "Weigh", ofYoung: "Weigh the young", join: byBlank, titles: map[string]join{"Weigh the young": byOf}, name: "Scales", noun: Noun{"weighing", "weighed"},
		asks: []FindingName{FindWeighs}, weighs: WeighedAnimal, sitter: SitterWaits, missed: Stays, rests: RestsInColdUnlessAnchored},
	{kind: GutLoad, scope: OfKeeper, work: everyday, action: "Gut-load the feeder insects", join: byColon, name: "Feeder insects", noun: Noun{"gut-loading", "done"},
		sitter: SitterWaits, missed: Lapses},
	{kind: Water, scope: OfEnclosure, work: everyday, action: "Fresh water", join: byFor, name: "Fresh water", noun: Noun{"change of water", "changed"},
		sitter: SitterDoes, missed: Lapses, needsAnimals: true, tellsFast: true},
	{kind: Feed, scope: OfEnclosure, work: everyday, action: "Feed", join: byBlank, name: "Feeding", noun: Noun{"feeding", "fed"},
		asks: []FindingName{FindRefused}, sitter: SitterDoes, missed: Lapses, needsAnimals: true, rests: RestsFoodless, tellsFast: true},
	{kind: Supplement, scope: OfEnclosure, work: everyday, action: "Dust the food", join: byOf, name: "Supplement on the food", noun: Noun{"dusting", "dusted"},
		sitter: SitterWaits, missed: Lapses, needsAnimals: true, rests: RestsFoodless, partOf: Feed},
	{kind: Mist, scope: OfEnclosure, work: everyday, action: "Mist", join: byBlank, name: "Misting", noun: Noun{"misting", "misted"},
		sitter: SitterDoes, missed: Lapses, needsAnimals: true, rests: RestsInCold},
	{kind: NestTopUp, scope: OfEnclosure, work: everyday, action: "Top up the nest box", join: byOf, name: "Damp for the nest box", noun: Noun{"top-up", "topped up"},
		asks: []FindingName{FindAdded}, weighs: WeighedBox, sitter: SitterDoes, missed: Stays, needsAnimals: true},
	{kind: Clean, scope: OfEnclosure, work: everyday, action: "Clean", join: byBlank, name: "Cleaning", noun: Noun{"cleaning", "cleaned"},
		sitter: SitterWaits, missed: Stays, needsAnimals: true, rests: RestsInCold},
	{kind: Shed, scope: OfClutch, work: special, action: "Look at the shed", join: byOf, name: "Looking at sheds", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: Sexing, scope: OfClutch, work: special, action: "Sex the young", join: byOf, name: "Sexing", noun: timeDone,
		asks: []FindingName{FindSexed}, sitter: SitterWaits, missed: Stays},
	{kind: Label, scope: OfClutch, work: special, action: "Label the tub", join: byOf, name: "Labels", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: Separate, scope: OfClutch, work: special, action: "Part the young", join: byOf, name: "Parting of young", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: Place, scope: OfClutch, work: special, action: "Decide who stays and who goes", join: byColon, name: "Who stays and who goes", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: Release, scope: OfAnimal, work: special, action: "End the quarantine", join: byOf, name: "End of quarantine", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: LampMeter, scope: OfEnclosure, work: special, action: "Meter the UVB lamp", join: byOf, name: "Metering of lamps", noun: Noun{"reading", "metered"},
		asks: []FindingName{FindUVI}, sitter: SitterWaits, missed: Stays},
	{kind: LampChange, scope: OfEnclosure, work: special, action: "Change the UVB lamp", join: byOf, name: "New lamps", noun: Noun{"lamp change", "changed"}, sitter: SitterWaits, missed: Stays},
	{kind: LightStep, scope: OfRoom, work: special, action: "Set the lamps' timer", join: byColon, name: "Hours of light", noun: timeDone, sitter: SitterWaits, missed: Stays},
	{kind: ScaleCheck, scope: OfKeeper, work: special, action: "Check the scale", join: byColon, name: "Check of the scale", noun: Noun{"check", "checked"}, sitter: SitterWaits, missed: Stays},
	{kind: Order, scope: OfFeeder, work: special, join: byColon, noun: timeDone,
		asks: []FindingName{FindOrdered}, sitter: SitterWaits, missed: Stays, byTelephone: true,
		refuseOn: Refusal{"a routine of kind \"order\" can only be `off`", "what is ordered when follows from the [[feeder]] records"}},
	{kind: Papers, scope: OfKeeper, work: special, action: "See to the renewal", join: byOf, name: "Papers that run out", noun: timeDone, sitter: SitterWaits, missed: Stays, neverLate: true},
	{kind: Own, work: special, join: byColon, listed: "other tasks", noun: timeDone, sitter: SitterWaits, missed: Stays, byID: true},
}

// Why tasks are not put off. An alarm of any other kind has the usual words.
const (
	pastHerTime   = "a female past her time is not put off; call the veterinarian"
	eggsInTheOpen = "eggs in the open dry within hours and are not put off; set them now, or leave the task out"
	inDanger      = "this is not put off: an animal may be in danger; look today, and call the veterinarian if in doubt"
)

// kindIndex is the place of each kind in kindRows.
var kindIndex = func() map[Kind]int {
	m := make(map[Kind]int, len(kindRows))
	for i := range kindRows {
		m[kindRows[i].kind] = i
	}
	return m
}()

// noRow answers for a kind that is none, such as that of a routine whose kind
// could not be read.
var noRow = kindRow{join: byColon, noun: timeDone, sitter: SitterWaits, missed: Stays}

func (k Kind) row() *kindRow {
	if i, ok := kindIndex[k]; ok {
		return &kindRows[i]
	}
	return &noRow
}

// Kinds lists every kind in the order in which the tasks of a place are done:
// urgent tasks first, watches before the work that disturbs the animals.
func Kinds() []Kind {
	list := make([]Kind, len(kindRows))
	for i := range kindRows {
		list[i] = kindRows[i].kind
	}
	return list
}

// Order is the place of the kind in [Kinds], from 0; 0 too for no kind.
func (k Kind) Order() int { return kindIndex[k] }

// Scope returns what tasks of kind k are about; "" for kinds whose routines
// say it themselves.
func (k Kind) Scope() Scope { return k.row().scope }

// Special reports whether a task of kind k is told by itself, with the one
// fact that matters of it. The other kinds are everyday work, which a keeper
// does without being told how: its tasks of one room and part of the day are
// told together, under one number.
//
// Everyday work recurs without an event, and nothing has to be recorded with
// it. So weighings, lamp readings and egg tubs are special, which need a value
// each, and so are Own tasks, of which the program knows nothing. The kind is
// only what is usual: an everyday task that is overdue, pinned or has an amount
// to be measured may be told by itself.
func (k Kind) Special() bool { return k.row().work != everyday }

// Action is the order in words, "Top up the nest box", for a routine without a
// title; young says that the task is about the young of a clutch. It is "" for
// kinds whose routines all have a title.
func (k Kind) Action(young bool) string {
	if r := k.row(); young && r.ofYoung != "" {
		return r.ofYoung
	}
	return k.row().action
}

// Name names the tasks where they are listed without their titles: "Feeder
// insects". It is "" for kinds of which the routine's id says more.
func (k Kind) Name() string { return k.row().name }

// Listed is the kind in a list of how many tasks there are of each.
func (k Kind) Listed() string {
	if r := k.row(); r.listed != "" {
		return r.listed
	}
	return string(k)
}

// TitleFor joins a title and the name of its subject: "Feed E07", "Fresh water
// for E07", "Empty the bins: Egg room". What joins them follows from the words
// of the title alone, so that a keeper's title in the words of a kind reads
// like the kind's own. An empty name leaves the title.
func TitleFor(title, name string) string {
	if name == "" {
		return title
	}
	by, ok := joins[title]
	if !ok {
		by = byColon
	}
	return title + string(by) + name
}

// joins has what joins each title that is not joined by a colon.
var joins = func() map[string]join {
	m := make(map[string]join)
	for i := range kindRows {
		if r := &kindRows[i]; r.action != "" {
			m[r.action] = r.join
		}
		maps.Copy(m, kindRows[i].titles)
	}
	return m
}()

// Noun is what a task is called in a reason.
type Noun struct {
	One  string // "change of water"
	Done string // what was done with it: "changed"
}

// Noun returns what a task of kind k is called.
func (k Kind) Noun() Noun { return k.row().noun }

// Count writes a number of tasks: "1 feeding", "2 changes of water".
func (n Noun) Count(c int) string { return english.Count(c, n.One) }

// Asks returns what the keeper is asked to record with a task. All tasks of a
// kind share the list; nobody may write to it.
func (k Kind) Asks() []FindingName { return k.row().asks }

// Weighed says what stands on the scales.
type Weighed string

// What is weighed.
const (
	WeighedAnimal Weighed = "animal" // or the young of a clutch
	WeighedBox    Weighed = "nest box"
	WeighedTub    Weighed = "egg tub"
)

// Weighs returns what a weight found at a task of kind k is the weight of; ""
// where the kind does not tell.
func (k Kind) Weighs() Weighed { return k.row().weighs }

// CountsEggs reports whether the eggs of a clutch are counted at a task of
// kind k, so that it may be told how many were laid.
func (k Kind) CountsEggs() bool { return k.row().countsEggs }

// BySitter is what becomes of tasks of kind k while the keeper is away, where
// their routine does not say.
func (k Kind) BySitter() Sitter { return k.row().sitter }

// Missed is what becomes of a task of kind k that was not done, where its
// routine does not say.
func (k Kind) Missed() Missed { return k.row().missed }

// WhyPinned says why a task of kind k that cannot wait is not put off.
func (k Kind) WhyPinned() string {
	if r := k.row(); r.pinned != "" {
		return r.pinned
	}
	return inDanger
}

// NeedsAnimals reports whether a task of an enclosure is done only where
// animals live.
func (k Kind) NeedsAnimals() bool { return k.row().needsAnimals }

// NeverLate reports whether a task that follows an event is owed however long
// ago the event was: eggs still have to be lifted, and papers renewed.
func (k Kind) NeverLate() bool { return k.row().neverLate }

// Rests says when a routine leaves an animal alone for the sake of its winter.
type Rests string

// When a routine rests.
const (
	NeverRests    Rests = ""
	RestsFoodless Rests = "foodless"  // while the animal goes without its usual feeding
	RestsInCold   Rests = "in cold"   // from the first step down to the last step up
	RestsUntilFed Rests = "until fed" // from the first step down to the first food
	// RestsInColdUnlessAnchored is RestsInCold but for routines that follow an
	// event: the winter has its own weighings, but a female that has laid is
	// weighed.
	RestsInColdUnlessAnchored Rests = "in cold, unless anchored"
)

// Rests returns when a routine of kind k leaves an animal alone in winter.
func (k Kind) Rests() Rests { return k.row().rests }

// TellsFast reports whether a task of kind k in an enclosure is told with who
// goes without food there for the winter, and until when.
func (k Kind) TellsFast() bool { return k.row().tellsFast }

// InOrder reports whether tasks of kind k are steps that follow one another:
// days away do not mix them up, and a later step takes an earlier one's place.
func (k Kind) InOrder() bool { return k.row().inOrder }

// ByTelephone reports whether a task of kind k can be done early, and from
// anywhere: days away do not hold it up.
func (k Kind) ByTelephone() bool { return k.row().byTelephone }

// Watches returns the window that a task of kind k keeps watch over; "" for
// kinds that are no watch.
func (k Kind) Watches() WindowName { return k.row().watches }

// WatchOf returns the kind of task that keeps watch over a window; "" for
// windows without a watch.
func WatchOf(w WindowName) Kind {
	for i := range kindRows {
		if w != "" && kindRows[i].watches == w {
			return kindRows[i].kind
		}
	}
	return ""
}

// PartOf returns the kind of task that a task of kind k is done together with,
// so that it is not told by itself: a supplement is dusted on a feeding. It is
// "" for kinds that stand alone.
func (k Kind) PartOf() Kind { return k.row().partOf }

// ReplacedByID reports whether a routine of kind k is replaced only by a
// routine of the same id; other routines replace those of their kind.
func (k Kind) ReplacedByID() bool { return k.row().byID }

// Refusal says why a record may not state something, and what to write instead.
// The zero Refusal is none.
type Refusal struct{ Problem, Hint string }

// Refuses returns why a record may not state a routine of kind k: one that
// turns the kind off for some subjects, or any other.
func (k Kind) Refuses(off bool) Refusal {
	if off {
		return k.row().refuseOff
	}
	return k.row().refuseOn
}
