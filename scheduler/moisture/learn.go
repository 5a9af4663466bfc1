package moisture

import (
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Box is a nest box or an egg tub, with all that is recorded about it.
type Box struct {
	Way Way
	// Air returns the air around the box on a day.
	Air func(day civil.Date) Air
	// Damp describes the box, with its Mass, Water and Tolerance; see
	// husbandry.Damp.
	Damp husbandry.Damp
	// Set is a day on which the box had its full dampness, and the mass
	// Damp.Mass if that mass is known. Set is zero if nobody recorded such a
	// day.
	Set   civil.Date
	Notes []Note
	// On is the day of the question. Notes of later days do not count.
	On civil.Date
}

// Note is a keeper's record about a box on a day.
type Note struct {
	On     civil.Date
	Weighs *husbandry.Grams // before water was added that day
	Added  husbandry.Grams  // amount of water
	// Filled says that the keeper brought the box to its full dampness, without
	// recording the amount of water.
	Filled bool
	// Unweighed says that the keeper marked the box as brought back to its
	// target mass, without recording a mass or an amount of water.
	Unweighed bool
	// Disturbed says that something was taken out of the box, such as eggs or
	// young. Masses of the box before and after that are not comparable.
	Disturbed bool
}

// Range is an estimate with a 90 % interval.
type Range struct{ Mid, From, To float64 }

func (r Range) times(x float64) Range { return Range{r.Mid * x, r.From * x, r.To * x} }

// Balance is the estimated state of a box: how fast it dries and how much water
// it lacks.
type Balance struct {
	// Factor is the drying rate of the box relative to diffusion through the
	// still air of its room.
	Factor Range
	// Rate is the loss of the box on the day of the question, in g/day.
	Rate Range
	// Weighings and TopUps count the evidence for the factor: the weighings
	// that were compared with each other, and the top-ups by eye. The
	// dimensions of the opening are evidence too, but are not counted.
	Weighings, TopUps int
	// Changed is the loss of the last interval, from ChangedSince on, relative
	// to the loss expected from the earlier intervals. It is 0 if there is no
	// clear change.
	Changed      float64
	ChangedSince civil.Date

	// Known says that Since and Lacks are known. Lacks is the amount of missing
	// water on the day Since, after any water added that day.
	Known bool
	Since civil.Date
	Lacks husbandry.Grams
	// Unweighed is the day on which the box was last marked as back at its
	// target mass without a weighing. It is zero if the box was weighed after
	// that day. Unsure is the standard deviation of the error in Lacks that
	// such marks cause.
	Unweighed civil.Date
	Unsure    husbandry.Grams
	// Target is the mass of the box at full dampness; 0 if the box was never
	// weighed.
	Target husbandry.Grams
	// Weighed is the last accepted weighing of the box, before water was added.
	Weighed Weighing
	// Questions are the implausible weighings, sorted by date. They do not
	// count.
	Questions []Question

	box   *Box
	hasty float64 // factor for dates: an upper limit with a probability of 80 %
}

// Weighing is a mass on a day.
type Weighing struct {
	On   civil.Date // zero: none
	Mass husbandry.Grams
}

// Question is an implausible weighing.
type Question struct {
	Weighing
	// Since is the earlier weighing that the weighing was compared with, plus
	// the water added after that earlier weighing.
	Since Weighing
	Why   Doubt
}

// Doubt is the reason why a weighing is implausible.
type Doubt string

// The doubts.
const (
	Heavier  Doubt = "heavier"   // and no water was recorded
	BoneDry  Doubt = "bone dry"  // lighter than the box without any water
	TooQuick Doubt = "too quick" // a loss many times larger than the opening of the box allows
)

// The standard deviations of the model. The errors of scales are known. The
// other values are common practice: no study says how keepers' boxes vary.
const (
	// priorSpread is the standard deviation of the prior of the logarithm of a
	// box's factor: nine in ten boxes dry between a third and three times as
	// fast as still air allows.
	priorSpread = 0.7
	// scaleError is the standard deviation of a weighing, in g, on a kitchen
	// scale that shows whole grams.
	scaleError = 1
	// pourError is the standard deviation of measured water, as a share of the
	// amount.
	pourError = 0.05
	// eyeError is the standard deviation of a top-up by look and feel, as a
	// share of the amount.
	eyeError = 0.35
	// wander is the random variation of the factor from one interval to the
	// next (weather, heating, a door), as a standard deviation of the logarithm
	// of the factor. drift is the lasting change of the factor (a season, a
	// moved lamp), as a variance of its logarithm for each day: a random walk.
	wander = 0.15
	drift  = 0.003
	// quickest is the factor above which a weighing is implausible.
	quickest = 20
	// sure is the number of standard errors by which a plausible weighing may
	// at most deviate.
	sure = 3
	// haste is the probability with which the box dries no faster than the
	// factor used for dates.
	haste = 0.8
	// hastyErrors is haste in standard errors: the 0.8 quantile of the normal
	// distribution.
	hastyErrors = 0.8416
	// intervals is the largest number of intervals between weighings that are
	// used: the latest ones.
	intervals = 12
)

// observation is a loss over some days, as evidence for the factor.
type observation struct {
	from, to civil.Date
	expected float64 // g, at a factor of 1
	lost     float64
	noise    float64 // variance of lost, from the scale and the measuring cup
	shared   float64 // covariance with the previous observation
	eye      bool
}

// point is a weighing for comparison with later ones.
type point struct {
	on     civil.Date
	after  float64 // mass as weighed, before water was added on that day
	poured float64 // water added on the day of the weighing and later
	jumped bool    // the mass is not comparable with later masses
}

// Learn estimates the state of a box. The evidence for its drying rate is the
// loss between weighings, with the water added in between. If the box was never
// weighed, the evidence is the top-ups by eye, which are less certain. Without
// either, the estimate rests on the opening alone.
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
		case o.shared == 0: // the first interval of a series has two weighings: at its start and at its end
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

// daily joins the notes of each day into one, sorted by date. The first
// weighing of a day counts, because later ones include the added water.
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

// rate returns the loss of a day at a factor of 1, in g.
func (b *Box) rate(day civil.Date) float64 { return b.Way.Loss(b.Air(day)) }

// expected returns the loss from one day to another at a factor of 1, in g.
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
	doubted   []bool // for each note: whether its weighing is implausible
	questions []Question

	last *point // the latest weighing that counts; nil: none
	// pending is the latest implausible weighing after last, and pendingAt the
	// index of its note. A later weighing may confirm it.
	pending   *point
	pendingAt int
	dry       float64    // mass without any water, in g; 0: not known
	filled    civil.Date // the last day on which water was added; zero: none
	shared    float64    // covariance of the next observation with the one before it
}

// observe goes through the notes. It makes observations of the plausible
// weighings, and leaves the implausible ones out.
func (l *learner) observe() {
	l.open()
	for i, n := range l.box.Notes {
		if n.On.Before(l.box.Set) {
			l.doubted[i] = n.Weighs != nil // at that time the box had another content
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

// points returns the earlier weighings that the next weighing may be compared
// with.
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
		// Two weighings in a row agree with each other and contradict the
		// weighing before them. So somebody changed the box without recording
		// it, and the series starts again at the first of the two.
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

// doubt returns the reason why the weighing is implausible, or "" if it is
// plausible.
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

// accept makes a weighing the last one that counts, to be compared with the
// next.
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

// question adds the weighing of note i to the implausible weighings.
func (l *learner) question(i int, mass husbandry.Grams, why Doubt) {
	l.doubted[i] = true
	q := Question{Weighing: Weighing{l.box.Notes[i].On, mass}, Why: why}
	if l.last != nil {
		q.Since = Weighing{l.last.on, husbandry.Grams(l.last.after + l.last.poured)}
	}
	l.questions = append(l.questions, q)
}

// pour applies the water that was added after the day's weighing. If the box
// was never weighed, water added by eye is an observation of the loss.
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

// comparable reports whether p is a weighing that later masses can be compared
// with.
func (p *point) comparable() bool { return p != nil && !p.jumped }

// doubt returns the reason why a mass is implausible after the earlier weighing
// p, or "" if it is plausible.
func (b *Box) doubt(p *point, on civil.Date, mass, dry float64) Doubt {
	noise := sure * math.Sqrt(2*scaleError*scaleError+square(pourError*p.poured))
	lost := p.after + p.poured - mass
	expected := b.expected(p.on, on)
	switch {
	case lost < -noise:
		return Heavier
	case dry > 0 && mass < dry-noise:
		return BoneDry
	case expected > 0 && lost > quickest*expected+noise: // expected is 0 if the opening is unknown
		return TooQuick
	}
	return ""
}

func square(x float64) float64 { return x * x }

// settle works out how much water the box lacks, and on which day.
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

// weigh applies a weighing that counts. set is the day Box.Set.
func (w *water) weigh(n Note, set civil.Date) {
	out := w.out
	switch {
	case out.Target == 0 && (!out.Known || n.On == set):
		w.lacks = float64(n.Added)
		out.Target = *n.Weighs + n.Added
	case out.Target == 0, w.moved && out.Known:
		// Something was taken out of the box, so the change of mass is not only
		// water: the target mass changes instead.
		out.Target = husbandry.Grams(float64(*n.Weighs) + w.lacks)
	default:
		w.lacks = float64(out.Target) - float64(*n.Weighs)
	}
	w.moved, w.weighed = false, true
	out.Unweighed, out.Unsure = civil.Date{}, 0
	out.Weighed = Weighing{n.On, *n.Weighs}
}

// fill applies the added water of a note. It reports whether the note says
// anything about water.
func (w *water) fill(n Note) bool {
	out := w.out
	switch {
	case n.Added > 0 && w.weighed:
		w.lacks -= float64(n.Added)
	case n.Added > 0, n.Filled:
		w.lacks = 0 // filled to full dampness by look and feel
		out.Unweighed, out.Unsure = civil.Date{}, 0
	case n.Unweighed && out.Target > 0:
		// The mark of the keeper counts as true until the next weighing. Each
		// pouring by eye adds its error.
		out.Unsure = husbandry.Grams(math.Hypot(float64(out.Unsure), eyeError*max(w.lacks, 0)))
		out.Unweighed, w.lacks = n.On, 0
	default:
		return false
	}
	return true
}

// LacksOn returns the missing water on a day from Since on, in g. It is
// negative if the box is too wet. The computed loss after Since is never larger
// than the amount of water mixed into the substrate.
func (b Balance) LacksOn(day civil.Date) husbandry.Grams {
	lacks := b.Lacks + husbandry.Grams(b.Factor.Mid*b.box.expected(b.Since, day))
	if water := b.box.Damp.Water; water > 0 {
		lacks = min(lacks, max(b.Lacks, water))
	}
	return lacks
}

// longest is the number of days ahead in which [Balance.Until] and
// [Balance.Lasts] search.
const longest = 400

// Until returns the last day on which the loss is within the tolerance, with a
// probability of 80 %. The day may be before Since. Until returns a zero date
// if the day is unknown or more than 400 days ahead.
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

// Lasts returns for how many days from the day of the question a full tolerance
// lasts, with a probability of 80 %; at most 400.
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
