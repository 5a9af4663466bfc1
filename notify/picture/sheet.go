package picture

import (
	"encoding/xml"
	"fmt"
	"hash/fnv"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks/civil"
)

// Measures of every picture, in units of the picture.
const (
	width  = 400.0
	margin = 18.0
	left   = margin
	right  = width - margin
)

// Sizes of letters. The smallest is readable at a width of 320 pixels.
const (
	titleSize  = 21.0
	sayingSize = 16.0
	bodySize   = 14.0
	smallSize  = 13.0
)

// The colours by their use. The contrast to the background is at least 4.5 for
// letters, and 3 for shapes that carry information (WCAG 2.2, success criteria
// 1.4.3 and 1.4.11). A test computes the contrasts.
const (
	ground = "#fffefa"
	ink    = "#22302a"
	soft   = "#55625b"
	rule   = "#dcd8cb"
	pale   = "#edf3ee" // fills that carry no information alone
	faint  = "#76978a" // days outside both windows
	middle = "#4f8a70" // days of the 90 % window
	deep   = "#1d5a46" // days of the 50 % window
	amber  = "#9a5b00" // today
	red    = "#8a2f1c" // cautions
)

// sheet is a picture during drawing. y is the height drawn so far.
type sheet struct {
	y    float64
	body strings.Builder
}

// num formats a coordinate with at most two decimals: finer than any screen,
// but coarse enough to hide differences between processors.
func num(x float64) string {
	x = math.Round(finite(x)*100) / 100
	if x == 0 {
		x = 0 // no negative zero
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// element writes an element with text inside. attributes are pairs of a name
// and a value; a value is a float64 or a string.
func (s *sheet) element(name, text string, attributes ...any) {
	s.body.WriteString("<" + name)
	for i := 0; i < len(attributes); i += 2 {
		value, ok := attributes[i+1].(float64)
		written, _ := attributes[i+1].(string)
		if ok {
			written = num(value)
		}
		s.body.WriteString(" " + attributes[i].(string) + `="` + escape(written) + `"`)
	}
	if text == "" {
		s.body.WriteString("/>\n")
		return
	}
	s.body.WriteString(">" + escape(text) + "</" + name + ">\n")
}

func escape(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic(err) // writing to a Builder never fails
	}
	return b.String()
}

func (s *sheet) rect(x, y, w, h, radius float64, fill string, more ...any) {
	if w <= 0 || h <= 0 {
		return
	}
	a := []any{"x", x, "y", y, "width", w, "height", h}
	if radius > 0 {
		a = append(a, "rx", min(radius, w/2, h/2))
	}
	s.element("rect", "", append(append(a, "fill", fill), more...)...)
}

func (s *sheet) line(x1, y1, x2, y2 float64, stroke string, wide float64, more ...any) {
	s.element("line", "", append([]any{"x1", x1, "y1", y1, "x2", x2, "y2", y2, "stroke", stroke, "stroke-width", wide}, more...)...)
}

func (s *sheet) circle(x, y, r float64, fill string, more ...any) {
	s.element("circle", "", append([]any{"cx", x, "cy", y, "r", r, "fill", fill}, more...)...)
}

func (s *sheet) diamond(x, y, r float64, fill string) {
	s.element("path", "", "d", "M"+num(x)+" "+num(y-r)+"L"+num(x+r)+" "+num(y)+"L"+num(x)+" "+num(y+r)+"L"+num(x-r)+" "+num(y)+"Z",
		"fill", fill, "stroke", ground, "stroke-width", 1.5)
}

func (s *sheet) triangle(x, y, r float64, fill string) {
	s.element("path", "", "d", "M"+num(x)+" "+num(y)+"L"+num(x+r)+" "+num(y+1.5*r)+"L"+num(x-r)+" "+num(y+1.5*r)+"Z", "fill", fill)
}

// letters is the style of a text.
type letters struct {
	size   float64
	bold   bool
	fill   string
	anchor string // "" for start, "middle" or "end"
}

// text writes one line with its baseline at y. It moves the line sideways to
// stay between the margins, and cuts it if it is too long.
func (s *sheet) text(x, y float64, l letters, words string) {
	words = fit(clean(words), l, right-left)
	if words == "" {
		return
	}
	w := l.width(words)
	from := x
	switch l.anchor {
	case "middle":
		from -= w / 2
	case "end":
		from -= w
	}
	x += max(0, left-from) - max(0, from+w-right)
	a := []any{"x", x, "y", y, "font-size", l.size, "fill", l.fill}
	if l.bold {
		a = append(a, "font-weight", "bold")
	}
	if l.anchor != "" {
		a = append(a, "text-anchor", l.anchor)
	}
	s.element("text", words, a...)
}

// paragraph writes words between x and the right margin and moves down. It
// writes no more lines than most says.
func (s *sheet) paragraph(x float64, l letters, most int, words string) {
	for _, line := range wrap(clean(words), l, right-x, most) {
		s.y += math.Round(l.size * 1.3)
		s.text(x, s.y, l, line)
	}
}

// facts writes short facts separated by dots, as many on a line as fit.
func (s *sheet) facts(list []string) {
	l := letters{size: bodySize, fill: soft}
	const between = " \u00b7 "
	var lines []string
	for _, fact := range list {
		if fact = clean(fact); fact == "" {
			continue
		}
		if n := len(lines); n > 0 && l.width(lines[n-1]+between+fact) <= right-left {
			lines[n-1] += between + fact
			continue
		}
		lines = append(lines, wrap(fact, l, right-left, 2)...)
	}
	for _, line := range lines[:min(len(lines), factLines)] {
		s.paragraph(left, l, 1, line)
	}
}

// head writes the heading of a part of the picture.
func (s *sheet) head(words string) {
	s.y += 17
	s.text(left, s.y, letters{size: bodySize, bold: true, fill: ink}, words)
}

// gap leaves an empty space of height by below the last drawn part.
func (s *sheet) gap(by float64) { s.y += by }

// rule draws a thin line between two parts of the picture.
func (s *sheet) rule() {
	s.gap(14)
	s.line(left, s.y, right, s.y, rule, 1)
	s.gap(4)
}

// finish returns the complete picture. Screen readers read the title and the
// description.
func (s *sheet) finish(title, description string) []byte {
	title = clean(title)
	height := math.Ceil(s.y + margin)
	// Pictures on the same page must not share ids.
	h := fnv.New32a()
	h.Write([]byte(title + "\n" + description))
	id := fmt.Sprintf("p%08x", h.Sum32())
	var out sheet
	out.element("title", title, "id", id+"t")
	out.element("desc", description, "id", id+"d")
	out.rect(0, 0, width, height, 0, ground)
	out.rect(0.5, 0.5, width-1, height-1, 8, "none", "stroke", rule)
	// By default, letters have the size of book print, and a picture fits on a
	// sheet of A4 as browsers print it, made smaller if necessary.
	shown := max(320, min(440, 1000*width/height))
	return []byte(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ` + num(width) + ` ` + num(height) +
		`" width="` + num(shown) + `" height="` + num(shown*height/width) + `" style="max-width:100%;height:auto" role="img" lang="en"` +
		` aria-labelledby="` + id + `t ` + id + `d" font-family="'Helvetica Neue',Arial,'Liberation Sans',sans-serif">` + "\n" +
		out.body.String() + s.body.String() + "</svg>\n")
}

// clean turns words of the caller into a single line of text. Control
// characters and line ends of any kind become spaces, invisible and reordering
// characters are removed, several spaces become one, and text that is too long
// for any picture is cut.
func clean(s string) string {
	const longest = 4000 // bytes
	if len(s) > longest {
		s = s[:longest] + "\u2026"
	}
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case r == 0x200B, r == 0x2060, r == 0xFEFF, r == 0xAD, // zero width
			r == 0x61C, r == 0x200E, r == 0x200F, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x206F: // reordering
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Join(strings.Fields(s), " ")
}

// advance has the widths of the characters from space to tilde, in thousandths
// of the font size. Helvetica, Arial and Liberation Sans share these metrics
// (measured in a browser with Liberation Sans).
var advance = [...]int{
	278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
	1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
	333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
	556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
}

// roomy is the factor by which a line may be longer in the reader's font than
// in the fonts that advance is measured for.
const roomy = 1.14

// width estimates the width of a text. It errs on the wide side.
func (l letters) width(s string) float64 {
	sum := 0
	for _, r := range s {
		switch {
		case r >= ' ' && r <= '~':
			sum += advance[r-' ']
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
			// marks over or within the character before them
		case r < 0x250:
			sum += 667
		case r < 0x2000:
			sum += 850
		case r == '\u2013', r == '\u00b7', r == '\u2212':
			sum += 584
		case r < 0x2E80:
			sum += 1000
		default: // East Asian characters are square, emoji a little wider
			sum += 1300
		}
	}
	w := float64(sum) / 1000 * l.size * roomy
	if l.bold {
		w *= 1.12
	}
	return w
}

// fit cuts a text to a width, and marks the cut with an ellipsis.
func fit(s string, l letters, room float64) string {
	if l.width(s) <= room {
		return s
	}
	room -= l.width("\u2026")
	end := 0
	for i, r := range s {
		if room -= l.width(string(r)); room < 0 {
			break
		}
		end = i + utf8.RuneLen(r)
	}
	return strings.TrimRight(s[:end], " ") + "\u2026"
}

// wrap breaks a text between words. It breaks a word that is longer than a
// line, and cuts the text after most lines.
func wrap(s string, l letters, room float64, most int) []string {
	var lines []string
	line := ""
	words := strings.Fields(s)
	for i := len(words) - 1; i > 0; i-- {
		// Keep a unit with its number.
		if strings.HasPrefix(words[i], "°") || strings.HasPrefix(words[i], "%") {
			words[i-1] += " " + words[i]
			words = append(words[:i], words[i+1:]...)
		}
	}
	for len(words) > 0 {
		try := words[0]
		if line != "" {
			try = line + " " + words[0]
		}
		switch {
		case l.width(try) <= room:
			line, words = try, words[1:]
			continue
		case line == "":
			w, end := 0.0, 0
			for i, r := range words[0] {
				if w += l.width(string(r)); w > room && i > 0 {
					break
				}
				end = i + utf8.RuneLen(r)
			}
			line, words[0] = words[0][:end], words[0][end:]
		}
		if len(lines) == most-1 {
			return append(lines, fit(line+" "+strings.Join(words, " "), l, room))
		}
		lines, line = append(lines, line), ""
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// axis places days between two positions. Each day is step wide.
type axis struct {
	from civil.Date
	x0   float64
	step float64
}

// over places the days from from to to, both complete, between x0 and x1.
func over(from, to civil.Date, x0, x1 float64) axis {
	return axis{from, x0, (x1 - x0) / float64(max(0, to.Sub(from))+1)}
}

// at returns the beginning of a day, mid its middle.
func (a axis) at(d civil.Date) float64  { return a.x0 + float64(d.Sub(a.from))*a.step }
func (a axis) mid(d civil.Date) float64 { return a.at(d) + a.step/2 }

// months calls do for the first day of every month within the days from from to
// to.
func months(from, to civil.Date, do func(civil.Date)) {
	first := from.AddDays(1 - from.Day())
	if first.Before(from) {
		first = first.AddMonths(1)
	}
	for ; !first.After(to); first = first.AddMonths(1) {
		do(first)
	}
}
