package tasks

import (
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/finding"
)

// Dropped is an act of an accepted entry that took no effect, and why.
type Dropped struct {
	Act Act
	Why string // "" for a repeated line of an earlier reply, which changes nothing
}

// Reasons that a person is told.
const (
	WhyConflict  = "the same mail says two different things of this task"
	WhyAfterUndo = "this line stood in an earlier reply and was taken back since; say it again in a mail of its own"
	maxDayDrift  = 60 // days between an entry's moment and the day it is for
)

// Fold adds entries up. It takes them in any order, and any of them more than
// once: entries count by when the keeper said them (At, then ID), an ID counts
// once, and so the same set of entries always gives the same history.
//
// Within one task the last word counts, except that repeating "done" keeps
// the first date; an undo takes back every mark and finding before it. A mail
// that repeats a command line of an earlier mail about the same digest is
// quoting it, as programs that quote without marks do, and that line takes no
// effect. Two different marks of one task in one mail cancel each other. Both
// are listed by Dropped.
func Fold(entries []Entry) *History {
	return new(Folder).With(entries)
}

// Folder adds entries up that are read piece by piece, so that those read need
// not be kept: [Folder.Add] takes the older ones, and [Folder.With] makes a
// history of them and of the newer ones. The zero Folder has no entry. What it
// holds can be stored ([Folder.AppendBinary]) and read again ([Thaw]).
type Folder struct{ f folded }

// Add adds entries that come after all that were added before, by At and then
// ID. It may not be called once With was.
func (f *Folder) Add(entries []Entry) {
	if f.f.closed {
		panic("tasks: a Folder was added to after its history was asked for")
	}
	f.f.addAll(inOrder(entries))
}

// Follows reports whether e comes after all that was added.
func (f *Folder) Follows(e *Entry) bool {
	return f.f.acts.len() == 0 && f.f.lastID == "" || byTime(e, &Entry{At: f.f.lastAt, ID: f.f.lastID}) > 0
}

// With returns the history of all that was added and of entries, which must
// come after it. Histories of one Folder share what was added.
func (f *Folder) With(entries []Entry) *History {
	f.f.closed = true
	all := f.f.onto()
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

// inOrder returns entries in the order in which they count, each once.
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

// folded is what entries add up to. Its acts are in the order in which they
// count. Each knows the act before it of its pair and of its task, so that a
// question follows those and looks at no others.
type folded struct {
	acts    layers[act]
	details layers[detail]
	findful layers[int32] // acts with a finding that changes plans
	found   int32         // tasks that have such a finding
	names   names         // of pairs: "subject/routine"
	pairs   []pair        // by number
	texts   names         // verbs, keepers, and occurrences that are no dates
	// again has the acts of the base that an act of the same task follows;
	// acts since say so themselves.
	again map[int32]bool

	dropped, baseDropped map[string][]Dropped
	quoted, baseQuoted   map[quote]bool

	first, latest civil.Date // days that anything is said for
	lastAt        time.Time  // of the last entry
	lastID        string
	closed        bool           // it has histories, and nothing may be added
	all           func() []Found // Found without a cut-off, worked out once

	lastText string // the last occurrence that was a date, and its code
	lastCode occurrence
}

// quote is a command line of a mail about a digest, which a later mail about
// that digest may quote.
type quote struct{ digest, text string }

// pair is what is known of one routine for one subject.
type pair struct {
	newest int32 // place of its newest act, plus one; 0: none
	// top has the latest occurrence of each sort. What is later was never
	// spoken of, which is most of what a plan asks about.
	top [sorts]occurrence
}

// act is an Act of an entry as far as a history needs it.
type act struct {
	pair   int32
	task   occurrence
	older  int32      // place of the act of this pair before it, plus one
	before int32      // place of the act of this task before it, plus one
	detail int32      // place of its detail, plus one
	by     int32      // number of the keeper
	on     civil.Date // the day it is for
	// reach is the latest day that this act or an older one of its pair is
	// for: looking back may stop where it is before the days asked about.
	reach civil.Date
	mark  int32 // number of the verb
	again bool  // an act of the same task follows
}

// detail is what few acts have.
type detail struct {
	until   civil.Date
	why     string
	finding *Finding
	task    int32 // number of the task among those with findings that change plans, plus one
}

// The numbers of the verbs among the texts of every fold. A verb that this
// version does not know gets another number, and counts as a verb of its own.
const (
	noMark int32 = iota
	markDone
	markSkip
	markPutOff
	markUndo
)

var verbs = [...]Verb{noMark: "", markDone: MarkDone, markSkip: Skip, markPutOff: PutOff, markUndo: Undo}

// occurrence is the last part of a key: a sort, and a number of that sort.
type occurrence uint32

const (
	dated     occurrence = iota << sortShift // "2027-05-12"
	afterDate                                // "after-2027-05-12"
	worded                                   // anything else, by its number
	absent                                   // the key has no such part

	sorts     = 4
	sortShift = 30
	dateShift = 1 << 28 // added to a date's number, which may be negative
)

func (o occurrence) sort() occurrence { return o >> sortShift }

// parts cuts a key into its pair, "subject/routine", and its occurrence. ok is
// false for a key without a slash, which is a pair alone.
func (k Key) parts() (pair, occurrence string, ok bool) {
	if i := strings.LastIndexByte(string(k), '/'); i > 0 {
		return string(k[:i]), string(k[i+1:]), true
	}
	return string(k), "", false
}

// occurrenceOf returns the code of an occurrence; ok is false for words that
// have no number.
func (f *folded) occurrenceOf(text string) (o occurrence, ok bool) {
	if o, ok := dateCode(text); ok {
		return o, true
	}
	i, ok := f.texts.number(text)
	return worded | occurrence(i), ok
}

// dateCode returns the code of an occurrence that is a date, or after one.
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

// wordsOf is the text of an occurrence.
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

// onto returns a fold without entries of its own that continues f.
func (f *folded) onto() *folded {
	return &folded{
		acts: f.acts.onto(), details: f.details.onto(), findful: f.findful.onto(), found: f.found,
		names: f.names.onto(), texts: f.texts.onto(), pairs: slices.Clone(f.pairs),
		baseDropped: f.dropped, baseQuoted: f.quoted,
		first: f.first, latest: f.latest, lastAt: f.lastAt, lastID: f.lastID,
	}
}

// addAll adds entries that are in order.
func (f *folded) addAll(entries []Entry) {
	for i := f.texts.list.len(); int(i) < len(verbs); i++ {
		f.texts.intern(string(verbs[i]))
	}
	f.acts.own = slices.Grow(f.acts.own, len(entries))
	for i := range entries {
		e := &entries[i]
		acts := e.Acts
		if e.Via == ViaMail && e.Digest != "" {
			acts = f.withoutQuotes(e)
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

func (f *folded) drop(e *Entry, a Act, why string) {
	if f.dropped == nil {
		f.dropped = make(map[string][]Dropped)
	}
	id := strings.Clone(e.ID)
	f.dropped[id] = append(f.dropped[id], Dropped{a.detached(), why})
}

// detached returns a with copies of its texts, which are parts of a file.
func (a Act) detached() Act {
	a.Text, a.Task, a.Mark, a.Why = strings.Clone(a.Text), Key(strings.Clone(string(a.Task))), Verb(strings.Clone(string(a.Mark))), strings.Clone(a.Why)
	if a.Finding != nil {
		a.Finding = finding.Clone(a.Finding)
	}
	return a
}

func (f *folded) withoutQuotes(e *Entry) []Act {
	isQuote := func(a Act) bool {
		q := quote{e.Digest, a.Text}
		return f.quoted[q] || f.baseQuoted[q]
	}
	acts := e.Acts
	// Where nothing is new, nothing is a quote: somebody says it again.
	if slices.ContainsFunc(acts, func(a Act) bool { return !isQuote(a) }) && slices.ContainsFunc(acts, isQuote) {
		acts = nil
		for _, a := range e.Acts {
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

// everUndone reports whether a task was ever taken back.
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

// code returns the code of an occurrence, with a new number where it needs
// one. Most acts are of the same date as the one before.
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

// link adds an act and its detail, and ties it to the acts before it.
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
	i := f.acts.add(r)
	if plans {
		f.findful.add(i)
	}
	p.newest = i + 1
	p.top[r.task.sort()] = max(p.top[r.task.sort()], r.task)
}

// taskWithFinding returns the number, plus one, of the task of which the act
// at a place is, among those with findings that change plans.
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
