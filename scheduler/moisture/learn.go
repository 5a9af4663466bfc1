package moisture

import (
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Box is a nest box or an egg tub: what is known of it and what was said of
// it.
type Box struct {
	Way Way
	// Air is what surrounds it on a day.
	Air func(day civil.Date) Air
	// Mass, Water and Tolerance are used of it; see husbandry.Damp.
	Damp husbandry.Damp
	// Set is a day on which it was as damp as it should be, and weighed
	// Damp.Mass where that is known; zero: nobody said.
	Set   civil.Date
	Notes []Note
	// On is the day that is asked about. Notes of later days do not count.
	On civil.Date
}

// Note is what the keeper said of a box on a day.
type Note struct {
	On     civil.Date
	Weighs *husbandry.Grams // before water was added that day
	Added  husbandry.Grams  // of water
	// Filled says that it was made as damp as it should be, and nobody told by
	// how much water.
	Filled bool
	// Unweighed says that it was to be brought back to its mass, and was said to
	// be, and nobody told by how much water or what it weighed.
	Unweighed bool
	// Disturbed says that something was taken out, such as eggs or young, so
	// that its mass before and after cannot be compared.
	Disturbed bool
}

// Range is an estimate with a 90 % interval.
type Range struct{ Mid, From, To float64 }

func (r Range) times(x float64) Range { return Range{r.Mid * x, r.From * x, r.To * x} }

// Balance is how a box stands.
type Balance struct {
	// Factor is how much faster it dries than through still air of its room.
	Factor Range
	// Rate is what it loses on the day asked about, in g/day.
	Rate Range
	// Weighings and TopUps is what the factor is learnt from, besides the
	// opening: weighings that were compared with one another, and top-ups by
	// eye.
	Weighings, TopUps int
	// Changed is how much faster the last interval was than those before it
	// had let expect, from ChangedSince on; 0 where there is no clear change.
	Changed      float64
	ChangedSince civil.Date

	// Known says that the following is: how much water it lacked on the day
	// Since, with what was added on that day.
	Known bool
	Since civil.Date
	Lacks husbandry.Grams
	// Unweighed is the day on which it was last said to be back at its mass, and
	// nobody told what it weighed; zero once it was weighed again. Lacks may then
	// be off by Unsure, as a standard deviation.
	Unweighed civil.Date
	Unsure    husbandry.Grams
	// Target is what it weighs when it is as damp as it should be; 0: it was
	// never weighed.
	Target husbandry.Grams
	// Weighed is its last weighing that counts, before water was added.
	Weighed Weighing
	// Questions are the weighings that cannot be, by date; they do not count.
	Questions []Question

	box   *Box
	hasty float64 // factor for dates: with four in five odds it is not exceeded
}

// Weighing is a mass on a day.
type Weighing struct {
	On   civil.Date // zero: none
	Mass husbandry.Grams
}

// Question is a weighing that cannot be.
type Question struct {
	Weighing
	// Since is the weighing it was compared with, with the water added to it.
	Since Weighing
	Why   Doubt
}

// Doubt is why a weighing cannot be.
type Doubt string

// The doubts.
const (
	Heavier  Doubt = "heavier"   // and nobody told of water that was added
	BoneDry  Doubt = "bone dry"  // lighter than without any water
	TooQuick Doubt = "too quick" // many times what its opening lets through
)

// The stated spreads of the model. Those that are not scales' are common
// practice: nobody has published how keepers' boxes vary.
const (
	// priorSpread is the standard deviation of the logarithm of a box's
	// factor before it was ever weighed: nine in ten boxes dry between a third
	// and three times as fast as still air lets them.
	priorSpread = 0.7
	// scaleError is the standard deviation of a weighing, in g: a kitchen
	// scale that shows whole grams.
	scaleError = 1
	// pourError is that of water measured out, as a share.
	pourError = 0.05
	// eyeError is that of how damp a box is made by look and feel, as a share
	// of what is added.
	eyeError = 0.35
	// wander is how much the factor of one interval differs from that of the
	// next by chance (weather, heating, a door), as a standard deviation of its
	// logarithm, and drift how much it wanders off for good, as a variance for
	// each day: a season, a lamp that was moved.
	wander = 0.15
	drift  = 0.003
	// quickest is the factor above which a weighing is questioned.
	quickest = 20
	// sure is how many standard errors a weighing may be off.
	sure = 3
	// haste is the probability that the factor used for dates is not too small.
	haste = 0.8
	// hastyErrors is the same in standard errors: the 0.8 quantile of the normal
	// distribution.
	hastyErrors = 0.8416
	// intervals is how many count, the latest ones.
	intervals = 12
)

// observation is a loss over some days.
type observation struct {
	from, to civil.Date
	expected float64 // g, at a factor of 1
	lost     float64
	noise    float64 // variance of lost, of scale and measuring cup
	shared   float64 // covariance with the observation before it
	eye      bool
}

// point is a weighing that others are compared with.
type point struct {
	on     civil.Date
	after  float64 // mass with the water added that day
	poured float64 // since, and on that day
	jumped bool    // its mass cannot be compared with later ones
}

// Learn works out how a box stands. Intervals between weighings, with the
// water added in between, say how fast it dries; where it was never weighed,
// what was added by eye does, less surely. Before either, its opening alone.
func Learn(b Box) Balance {
	b.Notes = daily(b.Notes, b.On)
	l := learner{box: &b, doubted: make([]bool, len(b.Notes))}
	l.observe()
	obs := l.obs[max(0, len(l.obs)-intervals):]
	if len(obs) > 0 {
		obs[0].shared = 0
	}
	p := estimate(obs, b.On)
	k := Range{p.quantile(0.5), p.quantile(0.05), p.quantile(0.95)}
	out := Balance{Factor: k, Rate: k.times(b.rate(b.On)), Questions: l.questions, box: &b, hasty: p.quantile(haste)}
	for _, o := range obs {
		switch {
		case o.eye:
			out.TopUps++
		case o.shared == 0: // the first of a row begins with one as well
			out.Weighings += 2
		default:
			out.Weighings++
		}
	}
	if n := len(obs); n > 3 {
		before := estimate(obs[:n-1], b.On)
		out.Changed, out.ChangedSince = changed(before, obs[n-1]), obs[n-1].from
	}
	l.settle(&out)
	return out
}

// daily joins what was said on one day, in order of date. Of several weighings
// of a day the first counts: those behind it are of what was added.
func daily(notes []Note, on civil.Date) []Note {
	notes = slices.Clone(notes)
	slices.SortStableFunc(notes, func(a, b Note) int { return a.On.Compare(b.On) })
	var days []Note
	for _, n := range notes {
		if n.On.After(on) {
			break
		}
		if len(days) == 0 || days[len(days)-1].On != n.On {
			days = append(days, n)
			continue
		}
		d := &days[len(days)-1]
		if d.Weighs == nil {
			d.Weighs = n.Weighs
		}
		d.Added += n.Added
		d.Filled = d.Filled || n.Filled
		d.Unweighed = d.Unweighed || n.Unweighed
		d.Disturbed = d.Disturbed || n.Disturbed
	}
	for i := range days {
		d := &days[i]
		d.Filled = d.Filled && d.Added == 0
		d.Unweighed = d.Unweighed && d.Added == 0 && d.Weighs == nil && !d.Filled
	}
	return days
}

// rate is the loss of a day at a factor of 1, in g.
func (b *Box) rate(day civil.Date) float64 { return b.Way.Loss(b.Air(day)) }

// expected is the loss from one day to another at a factor of 1, in g.
func (b *Box) expected(from, to civil.Date) float64 {
	sum := 0.0
	if b.Way.conductance() == 0 {
		return sum
	}
	for ; from.Before(to); from = from.AddDays(1) {
		sum += b.rate(from)
	}
	return sum
}

// learner walks through the notes of a box in order of date.
type learner struct {
	box       *Box
	obs       []observation
	doubted   []bool // by note: its weighing does not count
	questions []Question

	last *point // the latest weighing that counts; nil: none
	// pending is the doubted weighing since last, and pendingAt the index of its
	// note. A later weighing may confirm it.
	pending   *point
	pendingAt int
	dry       float64    // mass without any water, in g; 0: not known
	filled    civil.Date // the last day on which water was added; zero: none
	shared    float64    // covariance of the next observation with the one before it
}

// observe goes through the notes. It questions the impossible weighings, and
// makes observations of the others.
func (l *learner) observe() {
	l.open()
	for i, n := range l.box.Notes {
		if n.On.Before(l.box.Set) {
			l.doubted[i] = n.Weighs != nil // the box held something else then
			continue
		}
		if n.Disturbed {
			l.disturb()
		}
		if n.Weighs != nil {
			l.weigh(i, n)
		}
		l.pour(n)
	}
}

// open starts from the records of the box.
func (l *learner) open() {
	b := l.box
	l.filled = b.Set
	if b.Damp.Mass <= 0 {
		return
	}
	if b.Damp.Water > 0 {
		l.dry = float64(b.Damp.Mass - b.Damp.Water)
	}
	if !b.Set.IsZero() {
		l.last = &point{on: b.Set, after: float64(b.Damp.Mass)}
	}
}

// disturb notes that something was taken out of the box: no later mass can be
// compared with an earlier one.
func (l *learner) disturb() {
	for _, p := range l.points() {
		p.jumped = true
	}
	l.dry = 0
}

// points returns the weighings that the next one may be compared with.
func (l *learner) points() []*point {
	return slices.DeleteFunc([]*point{l.last, l.pending}, func(p *point) bool { return p == nil })
}

// weigh judges the weighing of note i, and compares it with the weighing before
// it.
func (l *learner) weigh(i int, n Note) {
	here := &point{on: n.On, after: float64(*n.Weighs)}
	why := l.doubt(here)
	switch {
	case why == "" && l.last.comparable():
		l.compare(l.last, here)
		l.accept(here)
	case why == "":
		l.shared = 0
		l.accept(here)
	case l.confirms(here, why):
		// Two weighings agree against the one before them. Somebody changed the
		// box between and did not write it down. The count starts anew there.
		l.doubted[l.pendingAt] = false
		l.questions = l.questions[:len(l.questions)-1]
		l.shared = 0
		l.compare(l.pending, here)
		l.accept(here)
	default:
		l.question(i, *n.Weighs, why)
		l.pending, l.pendingAt = here, i
	}
	if damp := l.box.Damp; l.dry == 0 && damp.Mass == 0 && damp.Water > 0 && l.last == here && len(l.obs) == 0 && !n.Disturbed {
		l.dry = here.after + float64(n.Added-damp.Water)
	}
}

// doubt says why the weighing is impossible, or "" if it is possible.
func (l *learner) doubt(here *point) Doubt {
	switch {
	case l.last.comparable():
		return l.box.doubt(l.last, here.on, here.after, l.dry)
	case l.dry > 0 && here.after < l.dry-sure*scaleError:
		return BoneDry
	}
	return ""
}

// confirms reports whether a doubted weighing agrees with the pending one.
func (l *learner) confirms(here *point, why Doubt) bool {
	return why != BoneDry && l.pending.comparable() && l.box.doubt(l.pending, here.on, here.after, 0) == ""
}

// accept makes a weighing the one that the next is compared with.
func (l *learner) accept(here *point) { l.last, l.pending = here, nil }

// compare makes an observation of the loss between two weighings.
func (l *learner) compare(p, here *point) {
	o := observation{from: p.on, to: here.on, expected: l.box.expected(p.on, here.on), lost: p.after + p.poured - here.after,
		noise: 2*scaleError*scaleError + square(pourError*p.poured), shared: l.shared}
	if o.expected > 0 {
		l.obs = append(l.obs, o)
		l.shared = -scaleError * scaleError
	}
}

// question puts the weighing of note i aside.
func (l *learner) question(i int, mass husbandry.Grams, why Doubt) {
	l.doubted[i] = true
	q := Question{Weighing: Weighing{l.box.Notes[i].On, mass}, Why: why}
	if l.last != nil {
		q.Since = Weighing{l.last.on, husbandry.Grams(l.last.after + l.last.poured)}
	}
	l.questions = append(l.questions, q)
}

// pour takes account of the water that was added after the day's weighing. In
// a box that was never weighed, the water added by eye is an observation of the
// loss.
func (l *learner) pour(n Note) {
	if n.Added > 0 && l.last == nil && !l.filled.IsZero() {
		if e := l.box.expected(l.filled, n.On); e > 0 {
			l.obs = append(l.obs, observation{from: l.filled, to: n.On, expected: e, lost: float64(n.Added), noise: square(pourError * float64(n.Added)), eye: true})
		}
	}
	for _, p := range l.points() {
		p.poured += float64(n.Added)
		p.jumped = p.jumped || n.Filled || n.Unweighed
	}
	if n.Added > 0 || n.Filled || n.Unweighed && l.box.Damp.Mass > 0 {
		l.filled = n.On
	}
}

// comparable reports whether there is a weighing, and later masses can be
// compared with it.
func (p *point) comparable() bool { return p != nil && !p.jumped }

// doubt says why a mass cannot be that of a box which was weighed before; ""
// where it can.
func (b *Box) doubt(p *point, on civil.Date, mass, dry float64) Doubt {
	noise := sure * math.Sqrt(2*scaleError*scaleError+square(pourError*p.poured))
	lost := p.after + p.poured - mass
	expected := b.expected(p.on, on)
	switch {
	case lost < -noise:
		return Heavier
	case dry > 0 && mass < dry-noise:
		return BoneDry
	case expected > 0 && lost > quickest*expected+noise: // 0: nobody knows its opening
		return TooQuick
	}
	return ""
}

func square(x float64) float64 { return x * x }

// settle works out how much water the box lacks, and from which day on that is
// known.
func (l *learner) settle(out *Balance) {
	b := l.box
	w := water{out: out}
	out.Target = b.Damp.Mass
	if !b.Set.IsZero() {
		out.Known, out.Since = true, b.Set
		w.weighed = b.Damp.Mass > 0
	}
	for i, n := range b.Notes {
		if n.On.Before(b.Set) {
			continue
		}
		if out.Known {
			w.lacks += out.Factor.Mid * b.expected(out.Since, n.On)
		}
		w.moved = w.moved || n.Disturbed
		counts := n.Weighs != nil && !l.doubted[i]
		if counts {
			w.weigh(n, b.Set)
		}
		if w.fill(n) || counts {
			out.Known = true
		}
		if out.Known {
			out.Since = n.On
		}
	}
	out.Lacks = husbandry.Grams(w.lacks)
}

// water is the water in a box, followed from note to note.
type water struct {
	out     *Balance
	lacks   float64 // g
	moved   bool    // something was taken out since the last weighing that counts
	weighed bool    // a weighing counted, or the mass is in the records
}

// weigh takes account of a weighing that counts. set is the day of the records.
func (w *water) weigh(n Note, set civil.Date) {
	out := w.out
	switch {
	case out.Target == 0 && (!out.Known || n.On == set):
		w.lacks = float64(n.Added)
		out.Target = *n.Weighs + n.Added
	case out.Target == 0, w.moved && out.Known:
		// The change of mass is not of water.
		out.Target = husbandry.Grams(float64(*n.Weighs) + w.lacks)
	default:
		w.lacks = float64(out.Target) - float64(*n.Weighs)
	}
	w.moved, w.weighed = false, true
	out.Unweighed, out.Unsure = civil.Date{}, 0
	out.Weighed = Weighing{n.On, *n.Weighs}
}

// fill takes account of the water that was added. It reports whether the note
// says anything about water.
func (w *water) fill(n Note) bool {
	out := w.out
	switch {
	case n.Added > 0 && w.weighed:
		w.lacks -= float64(n.Added)
	case n.Added > 0, n.Filled:
		w.lacks = 0 // by look and feel
		out.Unweighed, out.Unsure = civil.Date{}, 0
	case n.Unweighed && out.Target > 0:
		// The keeper is believed until the next weighing. Each pouring by eye
		// adds its error.
		out.Unsure = husbandry.Grams(math.Hypot(float64(out.Unsure), eyeError*max(w.lacks, 0)))
		out.Unweighed, w.lacks = n.On, 0
	default:
		return false
	}
	return true
}

// LacksOn is what it lacks on a day from Since on, in g; below 0 where it is
// wetter than it should be. What it is reckoned to have lost since is never
// more than the water that was mixed in.
func (b Balance) LacksOn(day civil.Date) husbandry.Grams {
	lacks := b.Lacks + husbandry.Grams(b.Factor.Mid*b.box.expected(b.Since, day))
	if water := b.box.Damp.Water; water > 0 {
		lacks = min(lacks, max(b.Lacks, water))
	}
	return lacks
}

// longest is how many days a date is looked for.
const longest = 400

// Until is the last day on which, with four in five odds, no more than the
// tolerance is lost yet; no date where that is not known or lies more than 400
// days ahead. It may lie before Since.
func (b Balance) Until(tolerance husbandry.Grams) civil.Date {
	if !b.Known || tolerance <= 0 {
		return civil.Date{}
	}
	n, ok := b.lasts(b.Since, float64(tolerance-b.Lacks-hastyErrors*b.Unsure))
	if !ok {
		return civil.Date{}
	}
	return b.Since.AddDays(n)
}

// Lasts is how many days a whole tolerance lasts from the day asked about on,
// with four in five odds; 400 where it lasts longer.
func (b Balance) Lasts(tolerance husbandry.Grams) int {
	n, _ := b.lasts(b.box.On, float64(tolerance))
	return n
}

func (b Balance) lasts(from civil.Date, left float64) (days int, ok bool) {
	if left < 0 {
		return -1, true
	}
	for n := range longest {
		if left -= b.hasty * b.box.rate(from.AddDays(n)); left < 0 {
			return n, true
		}
	}
	return longest, false
}
