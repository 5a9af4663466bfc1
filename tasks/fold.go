package tasks

import (
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

// Dropped is an act of an accepted entry that had no effect, and the reason.
type Dropped struct {
	Act Act
	Why string // "" for a repeated line of an earlier reply, which changes nothing
}

// Reasons for dropping an act, in words for the keeper.
const (
	WhyConflict  = "the same mail says two different things of this task"
	WhyAfterUndo = "this line stood in an earlier reply and was taken back since; say it again in a mail of its own"
	maxDayDrift  = 60 // most days between the time of an entry and the day that the entry is for and the day it is for
)

// Fold makes a history of entries. It takes them in any order, and the same
// entry more than once. Entries count in the order in which the keeper sent
// them (At, then ID), and an ID counts once. So the same set of entries always
// gives the same history.
//
// Within one task the last mark counts, but a repeated "done" keeps its first
// date. An undo withdraws every earlier mark and finding. Mail programs may
// quote an earlier mail without quotation marks. So if a mail repeats a command
// line of an earlier mail about the same digest, Fold takes the line as a
// quotation, without effect. Two different marks of one task in one mail cancel
// each other. An entry that another one takes back (Act.Entry) has no effect at
// all, in any order. [History.Dropped] lists the quotations and the cancelled marks.
func Fold(entries []Entry) *History {
	return new(Folder).With(entries)
}

// Folder makes histories of entries that are read in parts, so that the older
// entries need not stay in memory. [Folder.Add] takes the older entries.
// [Folder.With] takes the newer entries and makes a history of both. The zero
// Folder has no entry. A Folder can be stored ([Folder.AppendBinary]) and read
// again ([Thaw]).
type Folder struct {
	f     folded
	backs []back // the added and registered entries that take others back
}

// Add adds entries. All of them must come after the entries added before, in
// the order of At and then ID. Add may not be called after With. If one of them
// is taken back by a later entry, register the later entry first; see
// [Folder.Know].
func (f *Folder) Add(entries []Entry) {
	if f.f.closed {
		panic("tasks: a Folder was added to after its history was asked for")
	}
	f.Know(entries)
	f.f.gone = takenBack(f.backs)
	f.f.addAll(inOrder(entries))
}

// Follows reports whether e comes after all added entries.
func (f *Folder) Follows(e *Entry) bool {
	return f.f.acts.len() == 0 && f.f.lastID == "" || byTime(e, &Entry{At: f.f.lastAt, ID: f.f.lastID}) > 0
}

// With returns the history of the added entries and of entries, which must come
// after the added ones. All histories of one Folder share the added part.
func (f *Folder) With(entries []Entry) *History {
	f.f.closed = true
	all := f.f.onto()
	all.gone = takenBack(slices.Concat(f.backs, backsOf(entries)))
	all.addAll(inOrder(entries))
	all.all = sync.OnceValue((&History{folded: all}).find)
	return &History{folded: all, found: all.all}
}

func byTime(a, b *Entry) int {
	if c := a.At.Compare(b.At); c != 0 {
		return c
	}
	return strings.Compare(a.ID, b.ID)
}

// inOrder returns entries in the order in which they count, without
// repetitions.
func inOrder(entries []Entry) []Entry {
	ordered := true
	for i := 1; ordered && i < len(entries); i++ {
		ordered = byTime(&entries[i-1], &entries[i]) < 0
	}
	if ordered {
		return entries
	}
	sorted := slices.Clone(entries)
	slices.SortStableFunc(sorted, func(a, b Entry) int { return byTime(&a, &b) })
	return slices.CompactFunc(sorted, func(a, b Entry) bool { return byTime(&a, &b) == 0 })
}

// folded is the index of all acts behind a history. The acts are in the order
// in which they count. Each act refers to the previous act of its pair and to
// the previous act of its task, so that a question follows these references and
// reads no other acts.
type folded struct {
	acts    layers[act]
	details layers[detail]
	findful layers[int32] // acts with a finding that changes plans
	found   int32         // number of tasks with a finding that changes plans
	names   names         // of pairs: "subject/routine"
	pairs   []pair        // by number
	texts   names         // verbs, keepers, and occurrences that are no dates
	// again has the places in acts.base of acts that a later act of the same
	// task follows. base is shared and must not change, so its acts cannot use
	// their own field again.
	again map[int32]bool

	gone map[string]string // by the id of an entry that is taken back: the id of an entry that takes it back

	dropped, baseDropped map[string][]Dropped
	quoted, baseQuoted   map[quote]bool

	days, baseDays map[civil.Date]bool // days that any act is for
	lastDay        civil.Date          // the day added last

	first, latest civil.Date // first and last day that any entry is for
	lastAt        time.Time  // of the last entry
	lastID        string
	closed        bool           // histories exist, so nothing may be added
	all           func() []Found // result of Found without a cut-off day, computed once

	lastText string // the last occurrence that was a date; lastCode is its code
	lastCode occurrence
}

// quote is a command line of a mail about a digest. A later mail about the same
// digest may quote it.
type quote struct{ digest, text string }

// pair is the index entry of one routine for one subject.
type pair struct {
	newest int32 // place of the pair's newest act, plus one; 0: none
	// top has, for each sort of occurrence, the latest occurrence with an act.
	// Later occurrences have no act. Most questions of a plan are about such
	// later occurrences, so top answers them at once.
	top [sorts]occurrence
}

// act has the parts of an Act that a history needs.
type act struct {
	pair   int32
	task   occurrence
	older  int32      // place of the previous act of this pair, plus one
	before int32      // place of the previous act of this task, plus one
	detail int32      // place of the act's detail, plus one; 0: none
	by     int32      // number of the keeper
	on     civil.Date // the day that the act counts for
	// reach is the latest day of this act and of all older acts of its pair. A
	// search for acts of a certain day or later may stop at an act with an
	// earlier reach.
	reach civil.Date
	mark  int32 // number of the verb
	again bool  // a later act of the same task exists
}

// detail has the parts that only few acts have.
type detail struct {
	until   civil.Date
	why     string
	finding *Finding
	task    int32 // number of the task among those with findings that change plans, plus one
}

// The numbers of the verbs among the texts of every fold. A verb that this
// version does not know gets another number and counts as a separate verb.
const (
	noMark int32 = iota
	markDone
	markSkip
	markPutOff
	markUndo
)

var verbs = [...]Verb{noMark: "", markDone: MarkDone, markSkip: Skip, markPutOff: PutOff, markUndo: Undo}

// occurrence codes the last part of a key: its sort, and its number within that
// sort.
type occurrence uint32

const (
	dated     occurrence = iota << sortShift // "2027-05-12"
	afterDate                                // "after-2027-05-12"
	worded                                   // any other text, by its number
	absent                                   // the key has no such part

	sorts     = 4
	sortShift = 30
	dateShift = 1 << 28 // added to a date's number, which may be negative
)

func (o occurrence) sort() occurrence { return o >> sortShift }

// parts splits a key into its pair, "subject/routine", and its occurrence. For
// a key without a slash, ok is false and the whole key is the pair.
func (k Key) parts() (pair, occurrence string, ok bool) {
	if i := strings.LastIndexByte(string(k), '/'); i > 0 {
		return string(k[:i]), string(k[i+1:]), true
	}
	return string(k), "", false
}

// occurrenceOf returns the code of an occurrence. ok is false for a text that
// texts does not contain yet.
func (f *folded) occurrenceOf(text string) (o occurrence, ok bool) {
	if o, ok := dateCode(text); ok {
		return o, true
	}
	i, ok := f.texts.number(text)
	return worded | occurrence(i), ok
}

// dateCode returns the code of a date or of "after-" with a date.
func dateCode(text string) (occurrence, bool) {
	const layout, after = "2027-05-12", "after-"
	sort := dated
	if len(text) == len(after)+len(layout) && strings.HasPrefix(text, after) {
		sort, text = afterDate, text[len(after):]
	}
	if len(text) != len(layout) || text[0] < '0' || text[0] > '9' {
		return 0, false
	}
	d, err := civil.Parse(text)
	if err != nil {
		return 0, false
	}
	return sort | occurrence(d.Sub(civil.Date{})+dateShift), true
}

// wordsOf returns the text of an occurrence.
func (f *folded) wordsOf(o occurrence) string {
	number := int32(o &^ (3 << sortShift))
	switch o.sort() << sortShift {
	case dated:
		return civil.Date{}.AddDays(int(number) - dateShift).String()
	case afterDate:
		return "after-" + civil.Date{}.AddDays(int(number)-dateShift).String()
	case worded:
		return f.texts.of(number)
	}
	return ""
}

// key returns the key of an act's task.
func (f *folded) key(a *act) Key {
	if a.task == absent {
		return Key(f.names.of(a.pair))
	}
	return Key(f.names.of(a.pair) + "/" + f.wordsOf(a.task))
}

// onto returns a new fold that continues f. The new fold begins without entries
// beyond those of f.
func (f *folded) onto() *folded {
	return &folded{
		acts: f.acts.onto(), details: f.details.onto(), findful: f.findful.onto(), found: f.found,
		names: f.names.onto(), texts: f.texts.onto(), pairs: slices.Clone(f.pairs),
		baseDropped: f.dropped, baseQuoted: f.quoted, baseDays: f.days,
		first: f.first, latest: f.latest, lastAt: f.lastAt, lastID: f.lastID,
	}
}

// addAll adds entries, which must be in order.
func (f *folded) addAll(entries []Entry) {
	for i := f.texts.list.len(); int(i) < len(verbs); i++ {
		f.texts.intern(string(verbs[i]))
	}
	f.acts.own = slices.Grow(f.acts.own, len(entries))
	for i := range entries {
		e := &entries[i]
		acts := e.Acts
		if f.gone != nil {
			if _, ok := f.gone[e.ID]; ok {
				continue
			}
			acts = aboutTasks(acts)
			if len(acts) == 0 && len(e.Acts) > 0 {
				continue
			}
		}
		if e.Via == ViaMail && e.Digest != "" {
			acts = f.withoutQuotes(e, acts)
		}
		if len(acts) > 1 {
			acts = f.withoutConflicts(e, acts)
		}
		on := e.On
		if said := civil.Of(e.At, e.At.Location()); on.IsZero() || on.Sub(said) > maxDayDrift || said.Sub(on) > maxDayDrift {
			on = said
		}
		for i := range acts {
			f.add(&acts[i], on, e.By)
		}
		f.first, f.latest = civil.Min(f.first, on), civil.Max(f.latest, on)
	}
	if n := len(entries); n > 0 {
		f.lastAt, f.lastID = entries[n-1].At, strings.Clone(entries[n-1].ID)
	}
}

// aboutTasks returns the acts without those that take entries back.
func aboutTasks(acts []Act) []Act {
	if !slices.ContainsFunc(acts, func(a Act) bool { return a.Entry != "" }) {
		return acts
	}
	return slices.DeleteFunc(slices.Clone(acts), func(a Act) bool { return a.Entry != "" })
}

func (f *folded) drop(e *Entry, a Act, why string) {
	if f.dropped == nil {
		f.dropped = make(map[string][]Dropped)
	}
	id := strings.Clone(e.ID)
	f.dropped[id] = append(f.dropped[id], Dropped{a.detached(), why})
}

// detached returns a copy of a with copied texts. The texts of a are parts of a
// whole file, which would stay in memory.
func (a Act) detached() Act {
	a.Text, a.Task, a.Mark, a.Why = strings.Clone(a.Text), Key(strings.Clone(string(a.Task))), Verb(strings.Clone(string(a.Mark))), strings.Clone(a.Why)
	a.Entry = strings.Clone(a.Entry)
	if a.Finding != nil {
		a.Finding = finding.Clone(a.Finding)
	}
	return a
}

func (f *folded) withoutQuotes(e *Entry, said []Act) []Act {
	isQuote := func(a Act) bool {
		q := quote{e.Digest, a.Text}
		return f.quoted[q] || f.baseQuoted[q]
	}
	acts := said
	// If every command of a mail repeats an earlier command, the mail is no
	// quotation: the keeper gives the commands again.
	if slices.ContainsFunc(acts, func(a Act) bool { return !isQuote(a) }) && slices.ContainsFunc(acts, isQuote) {
		acts = nil
		for _, a := range said {
			if !isQuote(a) {
				acts = append(acts, a)
				continue
			}
			why := ""
			if a.Mark != Undo && f.everUndone(a.Task) {
				why = WhyAfterUndo
			}
			f.drop(e, a, why)
		}
	}
	for _, a := range acts {
		if !isQuote(a) {
			if f.quoted == nil {
				f.quoted = make(map[quote]bool)
			}
			f.quoted[quote{strings.Clone(e.Digest), strings.Clone(a.Text)}] = true
		}
	}
	return acts
}

// everUndone reports whether a task was ever undone.
func (f *folded) everUndone(k Key) bool {
	for i := f.newest(k); i > 0; i = f.acts.at(i - 1).before {
		if f.acts.at(i-1).mark == markUndo {
			return true
		}
	}
	return false
}

// newest returns the place, plus one, of the newest act of a task, or 0.
func (f *folded) newest(k Key) int32 {
	pair, text, ok := k.parts()
	number, known := f.names.number(pair)
	if !known {
		return 0
	}
	task := absent
	if ok {
		if task, known = f.occurrenceOf(text); !known {
			return 0
		}
	}
	return f.newestOf(number, task)
}

func (f *folded) newestOf(number int32, task occurrence) int32 {
	p := &f.pairs[number]
	if task > p.top[task.sort()] {
		return 0
	}
	for i := p.newest; i > 0; i = f.acts.at(i - 1).older {
		if f.acts.at(i-1).task == task {
			return i
		}
	}
	return 0
}

func (f *folded) withoutConflicts(e *Entry, acts []Act) []Act {
	said := make(map[Key]Verb, len(acts))
	conflict := make(map[Key]bool)
	for _, a := range acts {
		if a.Mark == "" {
			continue
		}
		if v, ok := said[a.Task]; ok && v != a.Mark {
			conflict[a.Task] = true
		}
		said[a.Task] = a.Mark
	}
	if len(conflict) == 0 {
		return acts
	}
	var kept []Act
	for _, a := range acts {
		if conflict[a.Task] {
			f.drop(e, a, WhyConflict)
			continue
		}
		kept = append(kept, a)
	}
	return kept
}

// add adds one act of an entry.
func (f *folded) add(a *Act, on civil.Date, by string) {
	pairName, text, ok := a.Task.parts()
	r := act{pair: f.names.intern(pairName), task: absent, on: on, by: f.texts.intern(by), mark: f.texts.intern(string(a.Mark))}
	if ok {
		r.task = f.code(text)
	}
	var d *detail
	if !a.Until.IsZero() || a.Why != "" || a.Finding != nil {
		d = &detail{until: a.Until, why: strings.Clone(a.Why)}
		if a.Finding != nil {
			d.finding = finding.Clone(a.Finding)
		}
	}
	f.link(r, d)
}

// code returns the code of an occurrence, and gives a new text its number.
// lastText saves time: most acts have the same date as the act before.
func (f *folded) code(text string) occurrence {
	if text == f.lastText && text != "" {
		return f.lastCode
	}
	o, ok := dateCode(text)
	if !ok {
		return worded | occurrence(f.texts.intern(text))
	}
	f.lastText, f.lastCode = strings.Clone(text), o
	return o
}

// link adds an act and its detail, and stores the references to the earlier
// acts of its pair and task.
func (f *folded) link(r act, d *detail) {
	if int(r.pair) == len(f.pairs) {
		f.pairs = append(f.pairs, pair{})
	}
	p := &f.pairs[r.pair]
	r.older, r.reach = p.newest, r.on
	if r.older > 0 {
		r.reach = civil.Max(r.on, f.acts.at(r.older-1).reach)
	}
	if r.before = f.newestOf(r.pair, r.task); r.before > 0 {
		if i := r.before - 1; int(i) < len(f.acts.base) {
			if f.again == nil {
				f.again = make(map[int32]bool)
			}
			f.again[i] = true
		} else {
			f.acts.at(i).again = true
		}
	}
	plans := d != nil && d.finding != nil && finding.Plans(d.finding)
	if plans {
		d.task = f.taskWithFinding(r.before)
	}
	if d != nil {
		r.detail = f.details.add(*d) + 1
	}
	if r.on != f.lastDay {
		if f.days == nil {
			f.days = make(map[civil.Date]bool)
		}
		f.days[r.on], f.lastDay = true, r.on
	}
	i := f.acts.add(r)
	if plans {
		f.findful.add(i)
	}
	p.newest = i + 1
	p.top[r.task.sort()] = max(p.top[r.task.sort()], r.task)
}

// taskWithFinding returns the number, plus one, of the task of the act at place
// i. Only tasks with findings that change plans have numbers.
func (f *folded) taskWithFinding(i int32) int32 {
	for ; i > 0; i = f.acts.at(i - 1).before {
		if d := f.detail(f.acts.at(i - 1)); d != nil && d.task > 0 {
			return d.task
		}
	}
	f.found++
	return f.found
}

func (f *folded) detail(a *act) *detail {
	if a.detail == 0 {
		return nil
	}
	return f.details.at(a.detail - 1)
}

func (f *folded) isAgain(i int32) bool { return f.acts.at(i).again || f.again[i] }
