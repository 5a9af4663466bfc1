package husbandry

import (
	"maps"

	"nestround/tasks/english"
)

// Kind is the sort of work of a task. Every decision that depends on the kind
// is a column of one table, kindRows, with a method here. So a new kind needs a
// constant and a row.
type Kind string

// The kinds of tasks.
const (
	Feed        Kind = "feed"
	Supplement  Kind = "supplement"   // dust the food of a feeding
	Water       Kind = "water"        // fresh drinking water
	Mist        Kind = "mist"         // spray
	Clean       Kind = "clean"        // remove waste, or a deep clean
	NestTopUp   Kind = "nest-top-up"  // keep the nest box damp
	GutLoad     Kind = "gut-load"     // feed the feeder insects well before they are offered
	Weigh       Kind = "weigh"        // weigh an animal
	GravidCheck Kind = "gravid-check" // feel or look for eggs
	LayWatch    Kind = "lay-watch"    // watch for eggs
	DigEggs     Kind = "dig-eggs"     // lift a clutch from the nest box
	SetTub      Kind = "set-tub"      // set a clutch in its egg tub
	TubCheck    Kind = "tub-check"    // look into, or weigh, an egg tub
	Candle      Kind = "candle"       // shine through the eggs
	HatchWatch  Kind = "hatch-watch"  // watch for hatching
	YoungCheck  Kind = "young-check"  // look into the tub of hatchlings
	FirstFeed   Kind = "first-feed"   // offer hatchlings their first food
	Shed        Kind = "shed"         // check that a shed came off whole
	Sexing      Kind = "sexing"       // sex young that are old enough
	Label       Kind = "label"        // label a tub with its animals
	Separate    Kind = "separate"     // separate young that grow up together
	Place       Kind = "place"        // decide which young stay and which go
	Pair        Kind = "pair"         // pair within the pairing window
	LampMeter   Kind = "lamp-meter"   // measure the output of a UVB lamp
	LampChange  Kind = "lamp-change"  // change an aged UVB lamp
	Quarantine  Kind = "quarantine"   // a step of an animal's quarantine
	Faecal      Kind = "faecal-test"  // have a faecal sample tested
	Release     Kind = "release"      // end an animal's quarantine
	Papers      Kind = "permit"       // renew a document that expires
	LightStep   Kind = "light-step"   // change the daily hours of a room's lamps
	ScaleCheck  Kind = "scale-check"  // check the scale with a known weight
	Order       Kind = "order"        // order live food
	Cool        Kind = "cool"         // a step of the winter's cooling: the fast, or a new temperature
	Review      Kind = "review"       // look closer after a finding
	Own         Kind = "own"          // any other work of the keeper
)

// kindRow has every decision that depends on the kind of a task. If the comment
// of a column says "or", the words after "or" are the meaning of an empty
// value.
type kindRow struct {
	kind Kind
	// scope is the sort of record that the tasks are about, or "": each routine
	// states the scope. Some scopes change later. Sexing is about the young of
	// a clutch until the young have records, and then about each record.
	// Separate and Place wait for the records of the young and are about these
	// records. Label is about the animal after the animal was taken out of its
	// group.
	scope Scope
	// work distinguishes everyday work from tasks that the digest lists one by
	// one.
	work work

	// action is the imperative for routines without a title of their own, or
	// "": every routine needs a title. ofYoung replaces action if the task is
	// about the young of a clutch.
	action, ofYoung string
	// join is the text between the action and the subject.
	join join
	// titles has further titles that need another joining word than the field
	// join. A keeper's title in the same words gets the same joining word.
	titles map[string]join
	// name is the heading for tasks that are listed without their titles, or
	// "": the id of the routine is the heading. No name contains a verb of the
	// reply grammar.
	name string
	// listed is the name in a count of kinds, or "": the kind itself is the
	// name.
	listed string
	noun   Noun

	// asks lists the findings that the keeper should record with a task.
	asks []FindingName
	// weighs is the thing that is weighed at a task, or "": usually nothing.
	weighs Weighed
	// countsEggs says that the keeper counts the eggs of a clutch at the task.
	countsEggs bool

	// sitter says who does the tasks while the keeper is away; missed says what
	// happens to a missed task. A routine may state otherwise.
	sitter Sitter
	missed Missed
	// pinned is the reason why a pinned task cannot be put off, or "": the
	// usual reason.
	pinned string
	// needsAnimals says that an enclosure without animals has no such task.
	needsAnimals bool
	// neverLate says that the task remains due, however long ago its due day
	// was.
	neverLate bool
	// rests says when the tasks pause for an animal in winter.
	rests Rests
	// tellsFast says that the task of an enclosure names the animals that get
	// no food because of their winter.
	tellsFast bool
	// inOrder says that the tasks are steps in a fixed order.
	inOrder bool
	// byTelephone says that the task can be done early and from anywhere.
	byTelephone bool

	// watches is the window that the task watches, or "": the task is no watch.
	watches WindowName
	// partOf is the kind of the task that includes this task, or "": the task
	// is separate.
	partOf Kind
	// byID says that a routine replaces only a routine with the same id, and
	// not all routines of the kind.
	byID bool
	// refuseOn says why a record may not state a routine of this kind;
	// refuseOff says why a record may not turn the kind off. The zero Refusal
	// allows the record.
	refuseOn, refuseOff Refusal
}

type work string

const (
	everyday work = "everyday"
	special  work = "special"
)

// join is the text between a title and its subject.
type join string

const (
	byColon join = ": "   // "Set the lamps' timer: Egg room"
	byBlank join = " "    // "Feed E07"
	byOf    join = " of " // "Candle the eggs of clutch C27-04"
	byIn    join = " in "
	byFor   join = " for "
)

var timeDone = Noun{"time", "done"}

// kindRows has one row for each kind, in the order of the tasks at a place:
// urgent tasks first, watches before work that disturbs the animals.
//
// Three columns are common practice. A stand-in does the work that cannot wait
// (water, food, damp, watches) and leaves work that needs experience or a quiet
// day. A missed feeding lapses, because food is not doubled on the next day; a
// missed watch is an alarm; other work stays due. In winter, a cold animal is
// not fed, misted or taken out, and a fasting animal has no droppings to clean.
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

// The reasons why a pinned task cannot be put off. A kind whose row gives no
// reason has the reason inDanger.
const (
	pastHerTime   = "a female past her time is not put off; call the veterinarian"
	eggsInTheOpen = "eggs in the open dry within hours and are not put off; set them now, or leave the task out"
	inDanger      = "this is not put off: an animal may be in danger; look today, and call the veterinarian if in doubt"
)

// kindIndex maps each kind to its place in kindRows.
var kindIndex = func() map[Kind]int {
	m := make(map[Kind]int, len(kindRows))
	for i := range kindRows {
		m[kindRows[i].kind] = i
	}
	return m
}()

// noRow is the row of an unknown kind, such as the kind of a routine that could
// not be read.
var noRow = kindRow{join: byColon, noun: timeDone, sitter: SitterWaits, missed: Stays}

func (k Kind) row() *kindRow {
	if i, ok := kindIndex[k]; ok {
		return &kindRows[i]
	}
	return &noRow
}

// Kinds lists every kind in the order of the tasks at a place: urgent tasks
// first, watches before work that disturbs the animals.
func Kinds() []Kind {
	list := make([]Kind, len(kindRows))
	for i := range kindRows {
		list[i] = kindRows[i].kind
	}
	return list
}

// Order is the place of the kind in [Kinds], from 0. An unknown kind has 0 as
// well.
func (k Kind) Order() int { return kindIndex[k] }

// Scope returns the sort of record that tasks of kind k are about; "" if each
// routine states it.
func (k Kind) Scope() Scope { return k.row().scope }

// Special reports whether the digest lists a task of kind k by itself, with its
// most important fact. Tasks of the other kinds are everyday work. A keeper
// knows how to do everyday work, so the tasks of one room and part of the day
// are listed together, under one number.
//
// Everyday work recurs without an event, and needs no record. Weighings, lamp
// readings and checks of egg tubs are special, because each needs a value. Own
// tasks are special, because the program does not know their content. The kind
// decides only the usual case: an everyday task that is overdue, is pinned or
// has an amount to measure may be listed by itself.
func (k Kind) Special() bool { return k.row().work != everyday }

// Action is the imperative, "Top up the nest box", for a routine without a
// title. young says that the task is about the young of a clutch. Action is ""
// if every routine of the kind has a title.
func (k Kind) Action(young bool) string {
	if r := k.row(); young && r.ofYoung != "" {
		return r.ofYoung
	}
	return k.row().action
}

// Name is the heading for tasks that are listed without their titles: "Feeder
// insects". It is "" for kinds for which the routine's id is the better
// heading.
func (k Kind) Name() string { return k.row().name }

// Listed is the name of the kind in a list with the number of tasks of each
// kind.
func (k Kind) Listed() string {
	if r := k.row(); r.listed != "" {
		return r.listed
	}
	return string(k)
}

// TitleFor joins a title and the name of its subject: "Feed E07", "Fresh water
// for E07", "Empty the bins: Egg room". The words of the title alone decide the
// joining word. So a keeper's title in the words of a kind reads like the
// kind's own title. An empty name leaves the title as it is.
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

// joins maps each title to its joining word. Titles joined by a colon are left
// out.
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

// Noun is the noun for a task in a reason.
type Noun struct {
	One  string // "change of water"
	Done string // past participle: "changed"
}

// Noun returns the noun for a task of kind k.
func (k Kind) Noun() Noun { return k.row().noun }

// Count writes a number of tasks: "1 feeding", "2 changes of water".
func (n Noun) Count(c int) string { return english.Count(c, n.One) }

// Asks returns the findings that the keeper should record with a task. All
// tasks of a kind share the list; nobody may write to it.
func (k Kind) Asks() []FindingName { return k.row().asks }

// Weighed is the sort of thing that is weighed.
type Weighed string

// The things that are weighed.
const (
	WeighedAnimal Weighed = "animal" // or the young of a clutch
	WeighedBox    Weighed = "nest box"
	WeighedTub    Weighed = "egg tub"
)

// Weighs returns the thing that is weighed at a task of kind k; "" if the kind
// does not say.
func (k Kind) Weighs() Weighed { return k.row().weighs }

// CountsEggs reports whether the keeper counts the eggs of a clutch at a task
// of kind k, so that a reply may say how many were laid.
func (k Kind) CountsEggs() bool { return k.row().countsEggs }

// BySitter says who does tasks of kind k while the keeper is away, if their
// routine does not say.
func (k Kind) BySitter() Sitter { return k.row().sitter }

// Missed says what happens to a missed task of kind k, if its routine does not
// say.
func (k Kind) Missed() Missed { return k.row().missed }

// WhyPinned returns, in words, why a pinned task of kind k cannot be put off.
func (k Kind) WhyPinned() string {
	if r := k.row(); r.pinned != "" {
		return r.pinned
	}
	return inDanger
}

// NeedsAnimals reports whether only enclosures with animals have tasks of kind
// k.
func (k Kind) NeedsAnimals() bool { return k.row().needsAnimals }

// NeverLate reports whether a task after an event remains due however long ago
// the event was: eggs have to be dug up, and papers renewed.
func (k Kind) NeverLate() bool { return k.row().neverLate }

// Rests says when the tasks of a routine pause for an animal in winter.
type Rests string

// The periods in which a routine pauses.
const (
	NeverRests    Rests = ""
	RestsFoodless Rests = "foodless"  // while the animal is not fed as usual
	RestsInCold   Rests = "in cold"   // from the first step down to the last step up
	RestsUntilFed Rests = "until fed" // from the first step down to the first food
	// RestsInColdUnlessAnchored is RestsInCold, except for routines that follow
	// an event. The winter has its own weighings, but a female is weighed after
	// laying.
	RestsInColdUnlessAnchored Rests = "in cold, unless anchored"
)

// Rests returns when routines of kind k pause for an animal in winter.
func (k Kind) Rests() Rests { return k.row().rests }

// TellsFast reports whether a task of kind k in an enclosure names the animals
// that fast for the winter, and the end of the fast.
func (k Kind) TellsFast() bool { return k.row().tellsFast }

// InOrder reports whether tasks of kind k are steps in a fixed order. An
// absence does not change their order, and a later step replaces an earlier
// one.
func (k Kind) InOrder() bool { return k.row().inOrder }

// ByTelephone reports whether a task of kind k can be done early and from
// anywhere. An absence does not delay it.
func (k Kind) ByTelephone() bool { return k.row().byTelephone }

// Watches returns the window that a task of kind k watches; "" for kinds that
// watch none.
func (k Kind) Watches() WindowName { return k.row().watches }

// WatchOf returns the kind of task that watches a window; "" for windows
// without a watch.
func WatchOf(w WindowName) Kind {
	for i := range kindRows {
		if w != "" && kindRows[i].watches == w {
			return kindRows[i].kind
		}
	}
	return ""
}

// PartOf returns the kind of the task that includes a task of kind k. Such a
// task is not listed by itself: a supplement is dusted on a feeding. PartOf is
// "" for all other kinds.
func (k Kind) PartOf() Kind { return k.row().partOf }

// ReplacedByID reports whether only a routine with the same id replaces a
// routine of kind k. Routines of other kinds replace all routines of their
// kind.
func (k Kind) ReplacedByID() bool { return k.row().byID }

// Refusal says why a record may not state something, and what to write instead.
// The zero Refusal allows the record.
type Refusal struct{ Problem, Hint string }

// Refuses returns why a record may not state a routine of kind k. off says that
// the routine would turn the kind off for some subjects.
func (k Kind) Refuses(off bool) Refusal {
	if off {
		return k.row().refuseOff
	}
	return k.row().refuseOn
}
