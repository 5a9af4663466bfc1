package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// Forecast is the picture of a clutch that still expects young.
type Forecast struct {
	Title string   // "Clutch C27-04"
	Facts []string // "wall lizard of F03", "28 °C", "6 eggs"
	Laid  civil.Date
	On    civil.Date // today
	// The days by whose end young have hatched with a probability of 5, 25, 50,
	// 75 and 95 percent, and the days of the watch.
	P05, P25, P50, P75, P95 civil.Date
	WatchFrom, WatchTo      civil.Date
	// Daily has the probability, 0 to 1, of each day from DailyFrom on. It is
	// empty if the forecast's days are over.
	DailyFrom civil.Date
	Daily     []float64
	Hatched   []Young // young seen so far, by date
	Basis     string  // the data behind the forecast
	Cautions  []string
	Past      []Past // earlier clutches, in the order of the picture
}

// Young is the number of young that hatched on a day.
type Young struct {
	On    civil.Date
	Count int
}

// Past is the record of an earlier clutch: the 5th, 50th and 95th percentile of
// the forecast when it was laid, and the days when its young were seen.
type Past struct {
	Name              string
	Laid              civil.Date
	P05, P50, P95     civil.Date
	First, Mean, Last civil.Date
}

// Limits of the texts that the caller gives for a picture: the largest number
// of lines of the facts, of the basis and of a caution, and the largest number
// of cautions and of earlier clutches.
const (
	factLines    = 3
	basisLines   = 5
	cautionLines = 9
	cautionsMost = 4
	pastMost     = 5
)

// SVG draws the picture.
func (f Forecast) SVG() []byte {
	s := &sheet{y: 8}
	s.paragraph(left, letters{size: titleSize, bold: true, fill: ink}, 2, f.Title)
	facts := append(slices.Clone(f.Facts), "laid "+english.Date(f.Laid))
	s.facts(facts)
	s.gap(4)
	likely, within, today := f.saying()
	s.paragraph(left, letters{size: sayingSize, bold: true, fill: deep}, 3, likely)
	s.paragraph(left, letters{size: bodySize, fill: ink}, 3, within)
	s.paragraph(left, letters{size: bodySize, fill: amber}, 3, today)
	s.rule()
	f.way(s)
	s.rule()
	f.chances(s)
	if len(f.Past) > 0 {
		s.rule()
		f.past(s)
	}
	s.rule()
	for _, c := range f.cautions() {
		s.gap(3)
		top := s.y
		s.paragraph(left+12, letters{size: smallSize, fill: red}, cautionLines, "Caution: "+c)
		s.rect(left, top+4, 4, s.y-top, 2, red)
	}
	if f.Basis != "" {
		s.gap(3)
		s.paragraph(left, letters{size: smallSize, fill: soft}, basisLines, "From "+f.Basis)
	}
	s.gap(3)
	s.paragraph(left, letters{size: smallSize, fill: soft}, 2, "A forecast of "+english.Date(f.On)+", not a promise.")
	return s.finish(f.Title+": when its young may hatch", f.description())
}

func (f Forecast) cautions() []string { return f.Cautions[:min(len(f.Cautions), cautionsMost)] }

func (f Forecast) over() bool { return f.On.After(f.WatchTo) }

// saying returns the forecast in sentences: the likely days, and the chance
// today.
func (f Forecast) saying() (likely, within, today string) {
	likely = "Most likely " + english.SpanInPrint(f.P25, f.P75)
	if f.over() {
		likely = "Past its window"
		within = "It was most likely " + english.SpanInPrint(f.P25, f.P75) + ", and "
	}
	if f.P05 == f.P95 {
		within += "9 in 10 on " + english.SpanInPrint(f.P05, f.P95)
	} else {
		within += "9 in 10 within " + english.SpanInPrint(f.P05, f.P95)
	}
	today = fmt.Sprintf("Today, %s: day %d", english.BareDay(f.On), f.On.Sub(f.Laid))
	if p := f.chance(f.On); p >= 0.005 {
		today += ", " + english.Percent(p) + " that it is today"
	}
	if len(f.Hatched) > 0 {
		n := 0
		for _, y := range f.Hatched {
			n += y.Count
		}
		today += fmt.Sprintf(". %d hatched so far", n)
	}
	return likely, within, today
}

func (f Forecast) chance(d civil.Date) float64 {
	if i := d.Sub(f.DailyFrom); i >= 0 && i < len(f.Daily) && !f.DailyFrom.IsZero() {
		return min(1, max(0, finite(f.Daily[i])))
	}
	return 0
}

func (f Forecast) description() string {
	likely, within, today := f.saying()
	parts := append(slices.Clone(f.Facts), "Laid "+english.Date(f.Laid), likely, within, today,
		"Worth a look every day from "+english.Date(f.WatchFrom)+" to "+english.Date(f.WatchTo))
	if day, p := f.best(); p > 0 {
		parts = append(parts, "The likeliest single day is "+english.BareDay(day)+" with "+english.Percent(p))
	}
	for _, p := range f.shownPast() {
		words := "Earlier clutch " + p.Name + ", laid " + english.Date(p.Laid) + ": " + p.off()
		if p.Mean.Before(p.P05) || p.Mean.After(p.P95) {
			words += ", outside of its 9 in 10"
		}
		parts = append(parts, words)
	}
	if f.Basis != "" {
		parts = append(parts, "From "+f.Basis)
	}
	for _, c := range f.cautions() {
		parts = append(parts, "Caution: "+c)
	}
	return sentence(parts...)
}

// best returns the day with the highest probability.
func (f Forecast) best() (day civil.Date, p float64) {
	for i := range f.Daily {
		if d := f.DailyFrom.AddDays(i); f.chance(d) > p {
			day, p = d, f.chance(d)
		}
	}
	return day, p
}

// way draws the time line from laying to the end of the watch, with today's
// mark.
func (f Forecast) way(s *sheet) {
	s.head("From laying to hatching")
	end := civil.Max(f.Laid, civil.Max(f.WatchTo, civil.Max(f.P95, f.On)))
	a := over(f.Laid, end, left, right)
	s.gap(27)
	top, thick := s.y, 14.0
	s.rect(left, top, right-left, thick, 3, pale, "stroke", rule)
	block := func(from, to civil.Date, inset float64, fill string) {
		from, to = civil.Max(from, f.Laid), civil.Min(to, end)
		s.rect(a.at(from), top+inset, a.at(to.AddDays(1))-a.at(from), thick-2*inset, 2, fill)
	}
	block(f.P05, f.P95, 3, middle)
	block(f.P25, f.P75, 0, deep)
	f.now(s, a, top-4, top+thick+4)
	if !f.On.Before(f.Laid) {
		s.text(a.mid(f.On), top-8, letters{size: smallSize, bold: true, fill: amber, anchor: "middle"}, "today")
	}
	s.gap(thick)
	foot := letters{size: smallSize, fill: soft}
	s.gap(18)
	laid := "laid " + english.BareShortDay(f.Laid)
	s.text(left, s.y, foot, laid)
	last := english.BareShortDay(end)
	free := left + foot.width(laid) + 8
	stop := right - foot.width(last) - 8
	months(f.Laid, end, func(m civil.Date) {
		x := a.at(m)
		s.line(x, top+thick, x, top+thick+4, soft, 1)
		name := m.Format("Jan")
		if w := foot.width(name); x-w/2 >= free && x+w/2 <= stop {
			s.text(x, s.y, letters{size: smallSize, fill: soft, anchor: "middle"}, name)
			free = x + w/2 + 8
		}
	})
	s.text(right, s.y, letters{size: smallSize, fill: soft, anchor: "end"}, last)
}

// now draws the line that marks today.
func (f Forecast) now(s *sheet, a axis, top, foot float64) {
	if f.On.Before(a.from) {
		return
	}
	x := a.mid(f.On)
	s.line(x, top, x, foot, ground, 5)
	s.line(x, top, x, foot, amber, 2.5)
}

// window returns the days that chances draws: all days with something to show,
// and at least a week.
func (f Forecast) window() (from, to civil.Date) {
	from, to = civil.Min(f.WatchFrom, f.P05), civil.Max(f.WatchTo, f.P95)
	for _, y := range f.Hatched {
		from, to = civil.Min(from, y.On), civil.Max(to, y.On)
	}
	for i, p := range f.Daily {
		if d := f.DailyFrom.AddDays(i); p >= 0.002 {
			from, to = civil.Min(from, d), civil.Max(to, d)
		}
	}
	const near = 30
	if f.over() && f.On.Sub(to) <= near {
		to = f.On
	}
	for to.Sub(from) < 6 {
		from, to = from.AddDays(-1), to.AddDays(1)
	}
	return from, to
}

// chances draws a bar for each day's probability. The brackets of the windows
// of 50 % and 90 % stand above the bars, and the dots for the days of the watch
// below.
func (f Forecast) chances(s *sheet) {
	s.head("Chance of each day")
	from, to := f.window()
	const scale = 34 // width of the scale's numbers at the left
	a := over(from, to, left+scale, right)
	s.gap(2)
	s.bracket(a, f.P05, f.P95, "9 in 10: "+english.SpanInPrint(f.P05, f.P95), middle)
	s.bracket(a, f.P25, f.P75, "1 in 2: "+english.SpanInPrint(f.P25, f.P75), deep)

	shown := !f.On.Before(from) && !f.On.After(to)
	if shown {
		s.gap(18)
		words := "today"
		if p := f.chance(f.On); p >= 0.005 {
			words += " " + english.Percent(p)
		}
		s.text(a.mid(f.On), s.y, letters{size: smallSize, bold: true, fill: amber, anchor: "middle"}, words)
		s.gap(9)
	} else {
		s.gap(8)
	}
	top := s.y
	if _, most := f.best(); most > 0 {
		f.bars(s, a, from, to, most)
	} else {
		const high = 44
		s.gap(high)
		s.text((a.x0+right)/2, s.y-high/2+5, letters{size: bodySize, fill: soft, anchor: "middle"}, "No day is left to forecast.")
	}
	if shown {
		x := a.mid(f.On)
		s.line(x, top, x, s.y, amber, 2, "stroke-dasharray", "5 3")
	}
	s.line(a.x0, s.y, right, s.y, ink, 1.5)

	// A row of dots marks the days of the watch.
	s.gap(10)
	for d := f.WatchFrom; !d.After(f.WatchTo); d = d.AddDays(1) {
		s.circle(a.mid(d), s.y, min(2.2, a.step*0.3), ink)
	}
	for _, y := range f.Hatched {
		s.diamond(a.mid(y.On), s.y, 7, amber)
	}
	if shown {
		s.triangle(a.mid(f.On), s.y+4, 5, amber)
	}
	s.gap(24)
	s.dates(a, from, to)
	f.legend(s)
}

// bracket draws a window of days and its words, and moves below them.
func (s *sheet) bracket(a axis, from, to civil.Date, words, fill string) {
	x1, x2 := a.at(from), a.at(to.AddDays(1))
	s.gap(17)
	s.text((x1+x2)/2, s.y, letters{size: smallSize, fill: ink, anchor: "middle"}, words)
	s.gap(6)
	s.rect(x1, s.y, x2-x1, 3, 0, fill)
	s.rect(x1, s.y, 2, 7, 0, fill)
	s.rect(x2-2, s.y, 2, 7, 0, fill)
	s.gap(5)
}

// bars draws the bars of the days and their scale, and moves to their foot. most
// is the highest probability of a day.
func (f Forecast) bars(s *sheet, a axis, from, to civil.Date, most float64) {
	const high = 110.0
	s.gap(high)
	foot := s.y
	by := step(most, 3)
	full := math.Ceil(most/by-1e-9) * by
	for i := 1; float64(i)*by <= full*(1+1e-9); i++ {
		p := float64(i) * by
		y := foot - p/full*high
		s.line(a.x0, y, right, y, rule, 1)
		s.text(a.x0-4, y+4.5, letters{size: smallSize, fill: soft, anchor: "end"}, figure(100*p)+" %")
	}
	for i := range f.Daily {
		d := f.DailyFrom.AddDays(i)
		if d.Before(from) || d.After(to) {
			continue
		}
		fill := faint
		switch {
		case !d.Before(f.P25) && !d.After(f.P75):
			fill = deep
		case !d.Before(f.P05) && !d.After(f.P95):
			fill = middle
		}
		h := f.chance(d) / full * high
		gap := min(1.5, a.step*0.15)
		s.rect(a.at(d)+gap/2, foot-h, a.step-gap, h, 0, fill)
	}
}

// legend explains the marks below the bars.
func (f Forecast) legend(s *sheet) {
	s.gap(22)
	key := letters{size: smallSize, fill: soft}
	for i := range 3 {
		s.circle(left+4+7*float64(i), s.y-4.5, 2.2, ink)
	}
	s.text(left+28, s.y, key, "look every day, "+english.BareShortDay(f.WatchFrom)+" to "+english.BareShortDay(f.WatchTo))
	if len(f.Hatched) > 0 {
		var seen []string
		for _, y := range f.Hatched {
			seen = append(seen, fmt.Sprintf("%d on %s", y.Count, english.BareShortDay(y.On)))
		}
		s.diamond(left+11, s.y+12.5, 6, amber)
		s.paragraph(left+28, key, 3, "hatched: "+strings.Join(seen, ", "))
	}
}

// dates writes as many days of the month below an axis as there is room for,
// and the months below the days. It moves down by one line.
func (s *sheet) dates(a axis, from, to civil.Date) {
	s.days(a, from, to)
	// The name of each month stands where its days begin.
	l := letters{size: smallSize, fill: soft}
	free := a.x0
	name := func(d civil.Date, x float64) {
		words := d.Format("Jan")
		if d.Month() == 1 {
			words = d.Format("Jan 2006")
		}
		if x >= free && x+l.width(words) <= right {
			s.text(x, s.y, letters{size: smallSize, bold: true, fill: soft}, words)
			free = x + l.width(words)*1.08 + 8
		}
		if d.Day() == 1 {
			s.line(a.at(d), s.y-12, a.at(d), s.y+2, rule, 1)
		}
	}
	first := from.AddDays(1 - from.Day()).AddMonths(1)
	if from.Day() > 1 && (first.After(to) || a.at(first)-a.x0 > l.width("May")+8) {
		name(from, a.x0)
	}
	months(from, to, func(m civil.Date) { name(m, a.at(m)+3) })
}

// days writes the days of the month below an axis, and moves down by one line.
// It writes none if a month has no room for two days.
func (s *sheet) days(a axis, from, to civil.Date) {
	l := letters{size: smallSize, fill: soft, anchor: "middle"}
	all := []int{1, 2, 5, 10, 15}
	i := slices.IndexFunc(all, func(n int) bool { return a.step*float64(n) >= l.width("30")+5 })
	if i < 0 {
		return
	}
	every := all[i]
	next := math.Inf(-1)
	for d := from; !d.After(to); d = d.AddDays(1) {
		name := d.Format("2")
		w := l.width(name)
		if !labelled(d.Day(), every) || a.mid(d)-w/2 < next {
			continue
		}
		s.text(a.mid(d), s.y, l, name)
		next = a.mid(d) + w/2 + 2
	}
	s.gap(17)
}

// labelled reports whether a day of the month has a label, if about every nth
// day has a label; every is n. Labels do not crowd at the end of a month.
func labelled(day, every int) bool {
	switch {
	case every == 1:
		return true
	case every == 2:
		return day%2 == 1 && day != 31
	}
	return day == 1 || day%every == 0 && day != 30
}

func figure(x float64) string { return num(math.Round(x*1000) / 1000) }

func (f Forecast) shownPast() []Past { return f.Past[max(0, len(f.Past)-pastMost):] }

// off returns the error of the forecast of an earlier clutch, in words.
func (p Past) off() string {
	switch n := p.Mean.Sub(p.P50); {
	case n > 0:
		return "seen " + english.Days(n) + " late"
	case n < 0:
		return "seen " + english.Days(-n) + " early"
	}
	return "seen on the day expected"
}

// past draws earlier clutches one below the other, each with the error of its
// forecast.
func (f Forecast) past(s *sheet) {
	s.head("Earlier clutches, expected and seen")
	list := f.shownPast()
	reach := 5
	for _, p := range list {
		for _, d := range []civil.Date{p.P05, p.P95, p.First, p.Last} {
			reach = max(reach, d.Sub(p.P50), p.P50.Sub(d))
		}
	}
	mid := (left + right) / 2
	unit := (right - left - 20) / 2 / float64(reach)
	x := func(p Past, d civil.Date) float64 { return mid + float64(d.Sub(p.P50))*unit }
	s.gap(4)
	for _, p := range list {
		s.gap(17)
		name := letters{size: smallSize, bold: true, fill: ink}
		rest := letters{size: smallSize, fill: soft, anchor: "end"}
		// Leave out the laying date if the name is long.
		words := "laid " + english.ShortDate(p.Laid) + ", " + p.off()
		if rest.width(words)+name.width(clean(p.Name))+8 > right-left {
			words = p.off()
		}
		s.text(left, s.y, name, fit(clean(p.Name), name, right-left-rest.width(words)-8))
		s.text(right, s.y, rest, words)
		s.gap(13)
		y := s.y
		s.line(mid, y-9, mid, y+9, soft, 1)
		s.rect(x(p, p.P05), y-4, x(p, p.P95)-x(p, p.P05), 8, 2, pale, "stroke", middle)
		s.line(mid, y-4, mid, y+4, middle, 2)
		s.line(x(p, p.First), y, x(p, p.Last), y, ink, 2)
		s.diamond(x(p, p.Mean), y, 6.5, ink)
		s.gap(9)
	}

	s.gap(16)
	foot := letters{size: smallSize, fill: soft}
	s.text(left, s.y, foot, "\u2212"+english.Days(reach))
	s.text(mid, s.y, letters{size: smallSize, fill: soft, anchor: "middle"}, "as expected")
	s.text(right, s.y, letters{size: smallSize, fill: soft, anchor: "end"}, "+"+english.Days(reach))
	s.gap(19)
	s.rect(left, s.y-9, 18, 8, 2, pale, "stroke", middle)
	s.text(left+26, s.y, foot, "9 in 10 expected")
	at := left + 26 + foot.width("9 in 10 expected") + 16
	s.line(at, s.y-4.5, at+18, s.y-4.5, ink, 2)
	s.diamond(at+9, s.y-4.5, 6, ink)
	s.text(at+26, s.y, foot, "young seen")
}
