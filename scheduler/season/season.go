// Package season finds the windows of breeding: the part of the year in which a
// species is paired, and the days within which a female is expected to lay.
//
// Start with [PairingTime], [LayingTime] and [GravidTime]. Each takes the facts
// about one female with her care sheet, and returns a [Window] with its reason
// in words. [NewColony] pools the clutches of all females of her species. The
// caller provides the dates of her winters, from season/cooling. Package
// season/kinship suggests her male, season/daylight has the day length of her
// room. The scheduler checks health, quarantine and condition.
package season

import (
	"fmt"
	"math"
	"strings"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Window is the span of days within which something is expected. In a zero
// Window (Known false) nothing is expected; Basis may say why.
type Window struct {
	Known bool
	// Event is the origin of the window, as part of a key: "mated-2027-04-03",
	// "after-F03-2027-05-12", "gravid-2027-05-01", "2027" for a season. Event
	// stays the same when better data move the window.
	Event string
	// From and To are the days worth watching, both included.
	From, To civil.Date
	// Seen says that eggs were seen or felt in the female, so she must lay
	// them. If a window with Seen passes without eggs, the task becomes an
	// alarm. Without Seen the window just closes.
	Seen  bool
	Basis string

	// The distribution of the number of days from the date after to the laying:
	// its mean and standard deviation. sd is 0 if there is no distribution.
	after    civil.Date
	mean, sd float64
}

// Laid is one of a female's clutches.
type Laid struct {
	Clutch husbandry.ID
	On     civil.Date
}

// Winter is one of the female's winters in the cold, past or planned: the first
// day of the fast, the first warm day after the cold, and the first and last
// day on which pairing usually begins after the winter.
type Winter struct{ Fast, Warm, Pair, PairBy civil.Date }

// Female has the facts about a female on a day.
type Female struct {
	ID       husbandry.ID
	Sheet    husbandry.Species
	Latitude float64 // of the keeper, in degrees; negative in the south, where the seasons shift by half a year
	Clutches []Laid  // sorted by date
	// Colony has the intervals of all the keeper's females of the species,
	// including this female's. It is nil if no interval is known.
	Colony  *Colony
	Mated   []civil.Date // matings seen, sorted by date
	Winters []Winter     // the female's winters, sorted by date
	// Paired is the first day of the female's last pairing, Parted its last
	// day. Parted is zero while the pair is together.
	Paired, Parted civil.Date
	// Gravid is the first day on which the female was known to carry her
	// present eggs. It is zero if she is not known to carry eggs.
	Gravid civil.Date
	On     civil.Date // the day of the question
}

// Spans of days that no care sheet states, all common practice.
const (
	// restAfterLaying is the rest of a female after laying, if the sheet has no
	// interval between clutches.
	restAfterLaying = 28
	// matesWithin is the time within which a pair mates after it is put
	// together, if nobody saw a mating.
	matesWithin = 14
	// seasonGap is the time without eggs that separates two seasons.
	seasonGap = 120
	// unknownSpan is how long a gravid female is watched, if the sheet has no
	// time from mating to laying.
	unknownSpan = 42
	// nothingYet is the time after laying in which nobody looks for new eggs.
	nothingYet = 7
	// eggsShow is the time after a pairing in which eggs would show, if the
	// sheet has no time from mating to laying.
	eggsShow = 30
	// notSooner is the time after a mating or a pairing in which nobody looks
	// for eggs, unless they are expected within the following week.
	notSooner = 14
)

// PairingTime returns the window within which a female may be paired. It is the
// care sheet's season (half a year later south of the equator) that contains
// On, or the next one. A winter in the cold may open another season instead.
// The window begins after the rest from her last clutch.
//
// There is no window if she carries eggs, is together with a male, or has
// reached the season's limit of clutches. After a mating or a pairing since her
// last clutch, the window waits until the eggs would have been laid.
func PairingTime(f Female) Window {
	p := f.Sheet.Pairing
	if p.IsZero() {
		return Window{Basis: "no pairing season is known"}
	}
	last := lastLaid(f)
	switch {
	case !f.Gravid.IsZero():
		return Window{Basis: "she carries eggs since " + f.day(f.Gravid)}
	case !f.Paired.IsZero() && !f.Paired.After(f.On) && f.Parted.IsZero():
		return Window{Basis: "she is with a male since " + f.day(f.Paired)}
	}
	from, to := seasonOf(p, f.Latitude, f.On)
	basis := fmt.Sprintf("the season of %s, %s to %s", f.sheet("pairing.from", "pairing.until"), f.day(from), f.day(to))
	if cooled, ok := afterWinter(f, from, to); ok {
		from, to = cooled.From, cooled.To
		basis = cooled.Basis
	}
	w := Window{Known: true, Event: fmt.Sprintf("%d", from.Year()), From: from, To: to, Basis: basis}
	if paired, words := lastPairing(f); !paired.Before(from) && paired.After(last.On) {
		if w = afterPairing(f, w, paired, words); !w.Known {
			return w
		}
	}
	if limit := f.Sheet.Laying.Clutches; limit > 0 && clutchesSince(f, from) >= limit {
		return Window{Basis: fmt.Sprintf("%s this season, the limit of %s", english.Count(limit, "clutch"), f.sheet("laying.clutches"))}
	}
	if !last.On.IsZero() {
		return afterLaying(f, w, last.On)
	}
	return w
}

// afterPairing moves the window w past the days in which the eggs of the
// female's last pairing would be laid. words describes the pairing. The result
// is not known if these days are not over yet, or if they end after w.
func afterPairing(f Female, w Window, paired civil.Date, words string) Window {
	span := int(f.Sheet.Laying.AfterMating.To)
	if span == 0 {
		span = eggsShow
	}
	switch again := paired.AddDays(span + 1); {
	case again.After(w.To):
		return Window{Basis: words}
	case again.After(f.On):
		return Window{Basis: words + ", and again from " + f.day(again) + " if no eggs come"}
	case again.After(w.From):
		w.From, w.Event = again, "again-"+again.String()
		w.Basis += "; " + words + ", and no eggs came"
	}
	return w
}

// afterLaying moves the window w past the female's rest after a clutch.
func afterLaying(f Female, w Window, laid civil.Date) Window {
	rest := int(f.Sheet.Laying.Interval.From)
	if rest == 0 {
		rest = restAfterLaying
	}
	if rested := laid.AddDays(rest); rested.After(w.From) {
		w.From = rested
		w.Basis += fmt.Sprintf("; rested %s since her clutch of %s", english.Days(rest), f.day(laid))
	}
	if w.From.After(w.To) {
		return Window{Basis: "she rests from her clutch of " + f.day(laid) + " until the season is over"}
	}
	return w
}

// outOfSeason is a distance, in days, from the care sheet's season. If a winter
// ends farther from the season than this, it opens a separate season: an indoor
// calendar need not follow the year.
const outOfSeason = 92

// afterWinter returns the season that a winter opens in place of the care
// sheet's season, which lasts from from to to. The season begins some weeks
// after the female is warm again. It ends with the sheet's season, but not
// before the usual weeks of pairing have passed. A season far from the sheet's
// is as long as the sheet's. ok is false if the sheet's season comes first, or
// if no winter is known.
func afterWinter(f Female, from, to civil.Date) (w Window, ok bool) {
	for _, winter := range f.Winters {
		start, end := seasonOf(f.Sheet.Pairing, f.Latitude, winter.Pair.AddDays(-outOfSeason))
		w = Window{From: winter.Pair, To: winter.Pair.AddDays(end.Sub(start))}
		if start.Sub(winter.Pair) <= outOfSeason && !end.Before(winter.Pair) {
			w.To = civil.Max(end, winter.PairBy)
		}
		if w.To.Before(f.On) {
			continue
		}
		w.Basis = fmt.Sprintf("after the winter, warm again on %s", f.day(winter.Warm))
		return w, !to.Before(winter.Fast)
	}
	return Window{}, false
}

// seasonOf returns the pairing season that contains the day on, or the next
// season.
func seasonOf(p husbandry.PairingSeason, latitude float64, on civil.Date) (from, to civil.Date) {
	shift := 0
	if latitude < 0 {
		shift = 6
	}
	for year := on.Year() - 2; ; year++ {
		from = day(year, p.FromMonth, p.FromDay).AddMonths(shift)
		to = day(year, p.UntilMonth, p.UntilDay)
		if to.Before(day(year, p.FromMonth, p.FromDay)) {
			to = day(year+1, p.UntilMonth, p.UntilDay)
		}
		to = to.AddMonths(shift)
		if !to.Before(on) {
			return from, to
		}
	}
}

// day returns a date, with 29 February clamped to the 28th in common years.
func day(year int, month time.Month, d int) civil.Date {
	first := civil.New(year, month, 1)
	return first.AddDays(min(d, first.AddMonths(1).Sub(first)) - 1)
}

// LayingTime returns the days within which she is expected to lay:
//
//   - After a mating that was seen: the sheet's span from mating to laying.
//     After a pairing: the same span, counted from any of its first two weeks.
//   - After a clutch: the interval to the next clutch, up to the sheet's number
//     of clutches a season. The interval starts from the care sheet's range,
//     shrinks towards the keeper's other females of the species, and most
//     towards her own intervals. It does not matter whether she mates again:
//     females store sperm, and lay without sperm, too.
//   - If eggs were seen in her and no window is known, or the window is past:
//     the longest span from mating to laying, counted from that day.
func LayingTime(f Female) Window {
	w := expected(f)
	if f.Gravid.IsZero() {
		return w
	}
	span, basis := int(f.Sheet.Laying.AfterMating.To), "within "+f.sheet("laying.after_mating")+"'s longest span from mating to laying"
	if span == 0 {
		span, basis = unknownSpan, "within six weeks (the care sheet does not say; common practice)"
	}
	if !w.Known || w.To.Before(f.Gravid) {
		return Window{Known: true, Seen: true, Event: "gravid-" + f.Gravid.String(), From: f.Gravid, To: f.Gravid.AddDays(span),
			Basis: fmt.Sprintf("seen gravid on %s, %s", f.day(f.Gravid), basis)}
	}
	w.Seen = true
	w.Basis += "; seen gravid on " + f.day(f.Gravid)
	return w
}

// expected chooses between the window after a clutch and the window after a
// mating. Between two clutches of one season a female carries sperm. So her own
// interval decides, whether or not she mates in between. A mating after the
// last clutch counts once the interval has passed and nobody has seen eggs in
// her.
func expected(f Female) Window {
	next, first := afterClutch(f), afterMating(f)
	switch {
	case !first.Known:
		return next
	case !next.Known || first.after.Sub(lastLaid(f).On) >= gap(f):
		return first
	case f.On.After(next.To) && (f.Gravid.IsZero() || f.Gravid.After(next.To)):
		return first
	}
	return next
}

// afterMating returns the window of the female's latest mating or pairing since
// her last clutch.
func afterMating(f Female) Window {
	last := lastLaid(f)
	after := f.Sheet.Laying.AfterMating
	mated := firstMating(f)
	if f.Paired.Sub(mated) >= gap(f) {
		mated = civil.Date{} // the mating belongs to an earlier season than the pairing
	}
	if after.IsZero() {
		return Window{}
	}
	sd := max(1, float64(after.To-after.From)/middle)
	if !mated.IsZero() {
		w := Window{Known: true, Event: "mated-" + mated.String(),
			Basis: fmt.Sprintf("%s after the mating of %s (%s)", english.DayRange(after.From, after.To), f.day(mated), f.brief("laying.after_mating"))}
		w.expect(mated, float64(after.From+after.To)/2, sd)
		return w
	}
	if f.Paired.IsZero() || !f.Paired.After(last.On) {
		return Window{}
	}
	until := f.Paired.AddDays(matesWithin)
	if !f.Parted.IsZero() {
		until = civil.Min(until, f.Parted)
	}
	w := Window{Known: true, Event: "paired-" + f.Paired.String(),
		Basis: fmt.Sprintf("%s after mating (%s), some day from %s to %s", english.DayRange(after.From, after.To), f.brief("laying.after_mating"), f.day(f.Paired), f.day(until))}
	// The pair may have mated on any day together: a uniform distribution.
	together := float64(until.Sub(f.Paired))
	w.expect(f.Paired, float64(after.From+after.To)/2+together/2, math.Sqrt(sd*sd+together*together/12))
	w.From, w.To = f.Paired.AddDays(int(after.From)), until.AddDays(int(after.To))
	return w
}

// afterClutch returns the window of the next clutch after the female's last
// one.
func afterClutch(f Female) Window {
	last := lastLaid(f)
	if last.On.IsZero() {
		return Window{Basis: "neither paired nor seen mating"}
	}
	season := ThisSeason(f)
	if limit := f.Sheet.Laying.Clutches; limit > 0 && len(season) >= limit {
		return Window{Basis: fmt.Sprintf("%s this season, the number of %s", english.Count(len(season), "clutch"), f.sheet("laying.clutches"))}
	}
	every := f.Sheet.Laying.Interval
	if every.IsZero() {
		return Window{Basis: "no interval between clutches is known"}
	}
	w := Window{Known: true, Event: "after-" + string(last.Clutch)}
	colony := f.Colony
	if colony == nil {
		colony = NewColony(every, nil)
	}
	spaced := colony.next(f.ID)
	w.expect(last.On, spaced.mean, spaced.sd)
	w.Basis = fmt.Sprintf("%s after her clutch of %s (%s)", english.DayRange(w.From.Sub(last.On), w.To.Sub(last.On)), f.day(last.On), spaced.basis(f.brief("laying.interval")))
	return w
}

// GravidTime returns the days on which to look or feel for eggs in a female.
// They begin two weeks after the pairing or the mating (a week before the eggs
// are expected, if that is sooner), or a week after the last clutch. They end
// when she is known to be gravid, or with the laying window.
func GravidTime(f Female, laying Window) Window {
	if !laying.Known || laying.Seen {
		return Window{}
	}
	from := laying.after // the mating, the pairing or the clutch
	if !from.IsZero() {
		from = civil.Max(from, civil.Min(from.AddDays(notSooner), laying.From.AddDays(-nothingYet)))
	}
	if last := lastLaid(f).On; !last.IsZero() && laying.From.Sub(last) < gap(f) {
		from = last.AddDays(nothingYet)
	}
	if from.IsZero() || from.After(laying.To) {
		return Window{}
	}
	return Window{Known: true, Event: laying.Event, From: from, To: laying.To, Basis: "eggs expected " + laying.Basis}
}

// lastPairing returns the last day on which the female mated, or may have
// mated, and describes the mating or pairing in words.
func lastPairing(f Female) (on civil.Date, words string) {
	on = lastOf(f.Mated)
	words = "seen mating on " + f.day(on)
	if !f.Parted.IsZero() && !f.Parted.Before(on) {
		return f.Parted, "together with a male from " + f.day(f.Paired) + " to " + f.day(f.Parted)
	}
	return on, words
}

func lastLaid(f Female) Laid {
	if len(f.Clutches) == 0 {
		return Laid{}
	}
	return f.Clutches[len(f.Clutches)-1]
}

func lastOf(days []civil.Date) civil.Date {
	var last civil.Date
	for _, d := range days {
		last = civil.Max(last, d)
	}
	return last
}

// firstMating returns the first mating of the latest series since the female's
// last clutch, because eggs follow the first mating. Matings of an earlier
// season, without eggs, do not count. It returns a zero date if there is no
// mating.
func firstMating(f Female) civil.Date {
	laid := lastLaid(f).On
	var first civil.Date
	for i := len(f.Mated) - 1; i >= 0 && f.Mated[i].After(laid); i-- {
		if !first.IsZero() && first.Sub(f.Mated[i]) >= gap(f) {
			break
		}
		first = f.Mated[i]
	}
	return first
}

func clutchesSince(f Female, from civil.Date) int {
	n := 0
	for _, c := range f.Clutches {
		if !c.On.Before(from) {
			n++
		}
	}
	return n
}

// ThisSeason returns the clutches of a female's latest season: her last
// clutches, back to a gap that separates seasons.
func ThisSeason(f Female) []Laid {
	i := len(f.Clutches) - 1
	for i > 0 && f.Clutches[i].On.Sub(f.Clutches[i-1].On) < gap(f) {
		i--
	}
	return f.Clutches[max(0, i):]
}

// gap returns the least number of days without eggs that ends a season.
func gap(f Female) int { return max(seasonGap, int(f.Sheet.Laying.Interval.To)*3/2) }

// day words a date, and adds the year if it differs from the year of On.
func (f *Female) day(d civil.Date) string {
	return english.Day(d, f.On)
}

// sheet names the source of a key of the care sheet: the built-in sheet, or the
// keeper's own.
func (f *Female) sheet(keys ...string) string {
	if f.Sheet.Own(keys...) {
		return "your care sheet"
	}
	return "the care sheet"
}

// brief is the result of the method sheet without the article, for use in
// brackets.
func (f *Female) brief(keys ...string) string { return strings.TrimPrefix(f.sheet(keys...), "the ") }
