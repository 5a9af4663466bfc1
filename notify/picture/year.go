package picture

import (
	"fmt"
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// Year is the picture of twelve months of a species at a place.
type Year struct {
	Title    string   // "The leopard gecko's year"
	Facts    []string // facts below the title
	Latitude float64  // degrees, south negative
	From     civil.Date
	On       civil.Date // today; zero for none
	// DayHours and Temperature have a value for each day from From on: hours of
	// daylight, and °C. Either may be empty.
	DayHours    []float64
	Temperature []float64
	Fahrenheit  bool   // write temperatures in °F
	Bands       []Band // consecutive bands with the same name share a row
	Basis       string // the data behind the picture
}

// Band is a period of the year.
type Band struct {
	Name     string // "Cooling"
	From, To civil.Date
	Words    string // "at 12 °C"; may be empty
}

// bandLines is the largest number of lines for the name and the words of a
// band.
const bandLines = 3

// SVG draws the picture.
func (y Year) SVG() []byte {
	s := &sheet{y: 8}
	s.paragraph(left, letters{size: titleSize, bold: true, fill: ink}, 2, y.Title)
	last := y.last()
	facts := append([]string{english.LatitudeInFull(finite(y.Latitude)), english.MonthYear(y.From) + " to " + english.MonthYear(last)}, y.Facts...)
	s.facts(facts)
	s.rule()
	a := over(y.From, last, left, right)
	if len(y.DayHours) > 0 {
		y.curve(s, a, "Hours of daylight", y.DayHours, func(v float64) string { return fmt.Sprintf("%.1f h", v) }, "")
	}
	if len(y.Temperature) > 0 {
		y.curve(s, a, "Temperature", y.Temperature, y.degrees, "6 4")
	}
	if rows := y.rows(); len(rows) > 0 {
		s.head("Times of the year")
		y.months(s, a)
		top := s.y
		// The lines of the months stand behind the rows, so they must be drawn
		// before the rows. Their length is known only after the rows are made.
		behind := s.body.String()
		s.body.Reset()
		for i, row := range rows {
			y.row(s, a, row, tones[i%len(tones)])
		}
		rows := s.body.String()
		s.body.Reset()
		s.body.WriteString(behind)
		y.grid(s, a, top, s.y+4)
		s.body.WriteString(rows)
	}
	if y.Basis != "" {
		s.rule()
		s.paragraph(left, letters{size: smallSize, fill: soft}, basisLines, "From "+y.Basis)
	}
	return s.finish(y.Title, y.description())
}

// tones are the colours of consecutive rows. Every row has its name; the
// colours only separate neighbours.
var tones = []string{deep, "#7a5c1e", "#3d5a80", "#7b3f61", middle, "#6b5b4b"}

func (y Year) last() civil.Date { return y.From.AddMonths(12).AddDays(-1) }

func (y Year) degrees(c float64) string {
	if y.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

// months writes the names of the twelve months above an axis.
func (y Year) months(s *sheet, a axis) {
	s.gap(19)
	l := letters{size: smallSize, fill: soft, anchor: "middle"}
	last := y.last()
	from := y.From
	for !from.After(last) {
		next := from.AddDays(1 - from.Day()).AddMonths(1)
		if to := civil.Min(next, last.AddDays(1)); a.at(to)-a.at(from) >= l.width("May")/roomy {
			s.text((a.at(from)+a.at(to))/2, s.y, l, from.Format("Jan"))
		}
		from = next
	}
	s.gap(6)
}

// grid draws a line at the beginning of each month, and today's line.
func (y Year) grid(s *sheet, a axis, top, foot float64) {
	months(y.From, y.last(), func(m civil.Date) { s.line(a.at(m), top, a.at(m), foot, rule, 1) })
	if y.shows(y.On) {
		s.line(a.mid(y.On), top, a.mid(y.On), foot, amber, 2, "stroke-dasharray", "5 3")
	}
}

func (y Year) shows(d civil.Date) bool {
	return !d.IsZero() && !d.Before(y.From) && !d.After(y.last())
}

// extremes returns the indexes of the lowest and the highest value.
func (y Year) extremes(values []float64) (low, high int) {
	for i, v := range values {
		if finite(v) < finite(values[low]) {
			low = i
		}
		if finite(v) > finite(values[high]) {
			high = i
		}
	}
	return low, high
}

// curve draws one value per day, and writes the lowest and the highest value
// beside the curve.
func (y Year) curve(s *sheet, a axis, name string, values []float64, words func(float64) string, dashes string) {
	values = values[:min(len(values), y.last().Sub(y.From)+1)]
	s.head(name)
	low, high := y.extremes(values)
	lowest, highest := finite(values[low]), finite(values[high])
	if y.shows(y.On) {
		mark := "today"
		if i := y.On.Sub(y.From); i < len(values) {
			mark += " " + words(finite(values[i]))
		}
		s.text(right, s.y, letters{size: smallSize, bold: true, fill: amber, anchor: "end"}, mark)
	}
	const tall, room = 62.0, 20.0
	top := s.y + room + 4
	foot := top + tall
	at := func(v float64) float64 {
		if highest == lowest {
			return top + tall/2
		}
		return foot - (finite(v)-lowest)/(highest-lowest)*tall
	}
	y.grid(s, a, s.y+6, foot+room)
	told := func(i int, down float64) {
		x, l := a.mid(y.From.AddDays(i)), letters{size: smallSize, bold: true, fill: ink, anchor: "middle"}
		s.halo(x, at(values[i])+down, l, words(finite(values[i]))+", "+english.BareShortDay(y.From.AddDays(i)))
	}
	told(high, -9)
	if low != high {
		told(low, 18)
	}
	path := ""
	for i, v := range values {
		c := "L"
		if i == 0 {
			c = "M"
		}
		path += c + num(a.mid(y.From.AddDays(i))) + " " + num(at(v))
	}
	more := []any{"d", path, "fill", "none", "stroke", deep, "stroke-width", 2.5, "stroke-linejoin", "round"}
	if dashes != "" {
		more = append(more, "stroke-dasharray", dashes)
	}
	s.element("path", "", more...)
	for _, i := range []int{low, high} {
		s.circle(a.mid(y.From.AddDays(i)), at(values[i]), 4, ground, "stroke", deep, "stroke-width", 2)
	}
	s.y = foot + room
	y.months(s, a)
	s.gap(8)
}

// rows joins consecutive bands with the same name.
func (y Year) rows() [][]Band {
	var rows [][]Band
	for _, b := range y.Bands {
		if b.To.Before(b.From) || b.To.Before(y.From) || b.From.After(y.last()) {
			continue
		}
		if n := len(rows); n > 0 && rows[n-1][0].Name == b.Name {
			rows[n-1] = append(rows[n-1], b)
			continue
		}
		rows = append(rows, []Band{b})
	}
	return rows
}

// told returns the words for the bands of a row.
func told(row []Band) string {
	words, last := "", ""
	for i, b := range row {
		// If a band has the same days as the previous band, in another year,
		// write the days once.
		if span := english.BareShortDay(b.From) + " to " + english.BareShortDay(b.To); span != last {
			if i > 0 {
				words += "; "
			}
			words, last = words+span, span
		}
		if b.Words != "" && (i+1 == len(row) || row[i+1].Words != b.Words) {
			words += ", " + clean(b.Words)
		}
	}
	return words
}

func (y Year) row(s *sheet, a axis, row []Band, fill string) {
	s.gap(5)
	name := letters{size: smallSize, bold: true, fill: ink}
	plain := letters{size: smallSize, fill: soft}
	shown := fit(clean(row[0].Name), name, (right-left)/2)
	s.halo(left, s.y+16, name, shown)
	// The words begin beside the name and continue below it.
	at := left + name.width(shown) + 8
	lines := wrap(told(row), plain, right-at, 1<<10)
	if len(lines) > 1 {
		rest := told(row)[len(lines[0]):]
		lines = append(lines[:1], wrap(rest, plain, right-left, bandLines-1)...)
	}
	for i, line := range lines {
		s.gap(16)
		if i > 0 {
			at = left
		}
		s.halo(at, s.y, plain, line)
	}
	s.gap(6)
	for _, b := range row {
		from, to := civil.Max(b.From, y.From), civil.Min(b.To, y.last())
		x1, x2 := a.at(from), a.at(to.AddDays(1))
		s.rect(x1, s.y, max(3, x2-x1), 10, 3, fill)
		// A notch shows that the band goes on outside the picture.
		if from != b.From {
			s.triangleAside(x1, s.y+5, 5)
		}
		if to != b.To {
			s.triangleAside(x2, s.y+5, -5)
		}
	}
	s.gap(12)
}

// halo writes text on a patch of background, so that lines behind it do not
// disturb it.
func (s *sheet) halo(x, y float64, l letters, words string) {
	words = fit(clean(words), l, right-left)
	w := l.width(words)
	from := x
	if l.anchor == "middle" {
		from = min(max(left, x-w/2), right-w)
	}
	s.rect(from-1, y-l.size, w+2, l.size*1.3, 0, ground)
	s.text(x, y, l, words)
}

// triangleAside cuts a notch of size r that points to the right, or to the left
// if r is negative.
func (s *sheet) triangleAside(x, y, r float64) {
	h := math.Abs(r)
	s.element("path", "", "d", "M"+num(x)+" "+num(y-h)+"L"+num(x+r)+" "+num(y)+"L"+num(x)+" "+num(y+h)+"Z", "fill", ground)
}

func (y Year) description() string {
	parts := []string{english.LatitudeInFull(finite(y.Latitude)) + ", " + english.Date(y.From) + " to " + english.Date(y.last())}
	parts = append(parts, slices.Clone(y.Facts)...)
	curve := func(name string, values []float64, words func(float64) string) {
		if len(values) == 0 {
			return
		}
		low, high := y.extremes(values)
		parts = append(parts, fmt.Sprintf("%s: lowest %s on %s, highest %s on %s", name,
			words(finite(values[low])), english.BareDay(y.From.AddDays(low)), words(finite(values[high])), english.BareDay(y.From.AddDays(high))))
	}
	curve("Daylight", y.DayHours, func(v float64) string { return fmt.Sprintf("%.1f hours", v) })
	curve("Temperature", y.Temperature, y.degrees)
	for _, row := range y.rows() {
		parts = append(parts, clean(row[0].Name)+": "+told(row))
	}
	if y.Basis != "" {
		parts = append(parts, "From "+y.Basis)
	}
	return sentence(parts...)
}
