// Package season finds the windows of breeding in the plain way: the part of
// the year in which a species is paired, and the days within which a female is
// expected to lay.
//
// Start with [PairingTime], [LayingTime] and [GravidTime]. Each takes what is
// known of one female and her care sheet and answers with a [Window], in words
// too; [NewColony] pools what her companions' clutches have shown. Her winters
// are handed in, dated by season/cooling. Whom she is paired with is for
// season/kinship to say, and the day length of her room for season/daylight;
// health, quarantine and condition are looked at by the scheduler.
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

// Window is the span of days within which something is expected. The zero
// Window (Known false) says that nothing is; Basis may say why.
type Window struct {
	Known bool
	// Event is what the window is computed from, as part of a key:
	// "mated-2027-04-03", "after-F03-2027-05-12", "gravid-2027-05-01",
	// "2027" for a season. It stays while figures are refined.
	Event string
	// From and To are the days worth watching, both included.
	From, To civil.Date
	// Seen says that eggs were seen or felt in her: they have to come out, and
	// a window that passes without them is an alarm. Without it a window that
	// passes only closes.
	Seen  bool
	Basis string

	// The distribution behind a laying window: days after a day; sd 0 for none.
	after    civil.Date
	mean, sd float64
}

// Laid is one of a female's clutches.
type Laid struct {
	Clutch husbandry.ID
	On     civil.Date
}

// Winter is one of her winters in the cold, past or to come: the first day of
// the fast, the day from which she is warm again, and the days from and by
// which pairing may begin after it.
type Winter struct{ Fast, Warm, Pair, PairBy civil.Date }

// Female is what is known of a female on a day.
type Female struct {
	ID       husbandry.ID
	Sheet    husbandry.Species
	Latitude float64 // of the keeper, in degrees; below 0 flips the seasons
	Clutches []Laid  // by date
	// Colony is made of the intervals of all the keeper's females of her species,
	// her own among them; nil: none are known.
	Colony  *Colony
	Mated   []civil.Date // matings seen, by date
	Winters []Winter     // in which she is, or was, cooled, by date
	// Paired is the day on which the last pairing began, and Parted its last
	// day; zero while they are together.
	Paired, Parted civil.Date
	// Gravid is the day from which she is known to carry eggs not laid yet;
	// zero when she is not.
	Gravid civil.Date
	On     civil.Date // the day of the question
}

// Spans that no care sheet states, all common practice.
const (
	// restAfterLaying is how long a female is left alone after laying where
	// the sheet has no interval between clutches.
	restAfterLaying = 28
	// matesWithin is how soon after being put together a pair mates, where
	// nobody saw it.
	matesWithin = 14
	// seasonGap parts the clutches of one season from the next one's.
	seasonGap = 120
	// unknownSpan is how long a female seen gravid is watched where the sheet
	// does not say when to expect the eggs.
	unknownSpan = 42
	// nothingYet is how soon after laying new eggs are not looked for.
	nothingYet = 7
	// eggsShow is how long after a pairing nothing is seen of eggs that will not
	// come, where the sheet does not say when they would be laid.
	eggsShow = 30
	// notSooner is how soon after a mating or a pairing eggs are not looked
	// for, unless they are expected within the week after.
	notSooner = 14
)

// PairingTime returns the window within which she may be paired: the season of
// the sheet (half a year later south of the equator) that contains On or comes
// next, or the one that a winter in the cold opens in its stead, after she has rested from her last clutch, and while the season's
// limit of clutches is not reached. There is none for a female that carries
// eggs or is together with a male, and after a mating or a pairing since her
// last clutch none until its eggs would have been laid.
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
		span := int(f.Sheet.Laying.AfterMating.To)
		if span == 0 {
			span = eggsShow
		}
		switch again := paired.AddDays(span + 1); {
		case again.After(to):
			return Window{Basis: words}
		case again.After(f.On):
			return Window{Basis: words + ", and again from " + f.day(again) + " if no eggs come"}
		case again.After(w.From):
			w.From, w.Event = again, "again-"+again.String()
			w.Basis += "; " + words + ", and no eggs came"
		}
	}
	if limit := f.Sheet.Laying.Clutches; limit > 0 && clutchesSince(f, from) >= limit {
		return Window{Basis: fmt.Sprintf("%s this season, the limit of %s", english.Count(limit, "clutch"), f.sheet("laying.clutches"))}
	}
	if !last.On.IsZero() {
		rest := int(f.Sheet.Laying.Interval.From)
		if rest == 0 {
			rest = restAfterLaying
		}
		if rested := last.On.AddDays(rest); rested.After(w.From) {
			w.From = rested
			w.Basis += fmt.Sprintf("; rested %s since her clutch of %s", english.Days(rest), f.day(last.On))
		}
		if w.From.After(w.To) {
			return Window{Basis: "she rests from her clutch of " + f.day(last.On) + " until the season is over"}
		}
	}
	return w
}

// outOfSeason is how far from the care sheet's season, in days, a winter may
// open another: an indoor calendar has seasons of its own.
const outOfSeason = 92

// afterWinter returns the season that a winter opens instead of the care
// sheet's, from and to: it begins some weeks after she is warm again, and ends
// with the sheet's season, but leaves her the usual weeks; out of the sheet's
// season it is as long as that. ok is false where the sheet's season comes
// first, or no winter is known.
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

// seasonOf returns the season that contains on or is the next to begin.
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

// day clamps 29 February to the 28th in common years.
func day(year int, month time.Month, d int) civil.Date {
	first := civil.New(year, month, 1)
	return first.AddDays(min(d, first.AddMonths(1).Sub(first)) - 1)
}

// LayingTime returns the days within which she is expected to lay:
//
//   - after a mating seen, the sheet's span from mating to laying; after a
//     pairing, the same from any of its first two weeks;
//   - after a clutch, the interval to the next, up to the sheet's number of
//     clutches a season: the care sheet's range, drawn towards what the keeper's
//     other females of the species did, and most to her own intervals, whether
//     or not she mates again: females keep sperm, and lay without it too;
//   - where she was seen gravid and nothing else is known, or what was known
//     has passed before, the longest span from mating to laying from that day.
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

// expected chooses between what a clutch and what a mating lead to. A female
// between two clutches of one season carries sperm and has her next eggs by her
// interval, whether or not she mates again; a mating after the last clutch
// counts once that time has passed and nobody saw eggs in her until then.
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

// afterMating is the window of the latest mating or pairing since her last
// clutch.
func afterMating(f Female) Window {
	last := lastLaid(f)
	after := f.Sheet.Laying.AfterMating
	mated := firstMating(f)
	if f.Paired.Sub(mated) >= gap(f) {
		mated = civil.Date{} // of an earlier season than the pairing
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
	// Any of the days they were together, evenly.
	together := float64(until.Sub(f.Paired))
	w.expect(f.Paired, float64(after.From+after.To)/2+together/2, math.Sqrt(sd*sd+together*together/12))
	w.From, w.To = f.Paired.AddDays(int(after.From)), until.AddDays(int(after.To))
	return w
}

// afterClutch is the window of the clutch that follows her last one.
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

// GravidTime returns the days on which to look or feel for eggs: from two weeks
// after the pairing or the mating, or a week after the last clutch, until she
// is known gravid or the window of laying is over.
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

// lastPairing is the last day on which she mated, or may have, in words too.
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

// firstMating returns the first of the latest matings in a row since her last
// clutch: eggs follow the first one. Matings of an earlier season, from which
// no eggs came, do not count. It is no date where there was none.
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

// ThisSeason returns the last clutches that follow one another without a gap
// that parts seasons.
func ThisSeason(f Female) []Laid {
	i := len(f.Clutches) - 1
	for i > 0 && f.Clutches[i].On.Sub(f.Clutches[i-1].On) < gap(f) {
		i--
	}
	return f.Clutches[max(0, i):]
}

// gap is the least number of days without eggs that ends a season.
func gap(f Female) int { return max(seasonGap, int(f.Sheet.Laying.Interval.To)*3/2) }

// day writes a date, with its year where that is not this one.
func (f *Female) day(d civil.Date) string {
	return english.Day(d, f.On)
}

// sheet names who states a key of the sheet: the keeper's own words are not
// taken for those of the built-in sheet.
func (f *Female) sheet(keys ...string) string {
	if f.Sheet.Own(keys...) {
		return "your care sheet"
	}
	return "the care sheet"
}

// brief is sheet without its article, for what stands in brackets.
func (f *Female) brief(keys ...string) string { return strings.TrimPrefix(f.sheet(keys...), "the ") }
