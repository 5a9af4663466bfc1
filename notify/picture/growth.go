package picture

import (
	"fmt"
	"math"
	"slices"

	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// Growth is the picture of the weights of an animal or a group over time.
type Growth struct {
	Title  string   // "Ada (F03)"
	Facts  []string // "leopard gecko", "hatched 3 May 2026"
	Points []Weight // in any order; of two on a day, the later counts
	Ounces bool     // write weights in ounces
	Basis  string   // a line below the picture; may be empty
}

// Weight is one weighing.
type Weight struct {
	On    civil.Date
	Grams float64
}

// SVG draws the picture.
func (g Growth) SVG() []byte {
	points := g.sorted()
	s := &sheet{y: 8}
	s.paragraph(left, letters{size: titleSize, bold: true, fill: ink}, 2, g.Title)
	s.facts(g.Facts)
	s.gap(4)
	s.paragraph(left, letters{size: sayingSize, bold: true, fill: deep}, 3, g.saying(points))
	if len(points) > 0 {
		s.rule()
		s.head("Weight")
		g.draw(s, points)
	}
	if g.Basis != "" {
		s.rule()
		s.paragraph(left, letters{size: smallSize, fill: soft}, basisLines, g.Basis)
	}
	return s.finish(g.Title+": weights", g.description(points))
}

func (g Growth) sorted() []Weight {
	var points []Weight
	for _, p := range g.Points {
		if !math.IsNaN(p.Grams) && !math.IsInf(p.Grams, 0) && p.Grams >= 0 && !p.On.IsZero() {
			points = append(points, p)
		}
	}
	slices.SortStableFunc(points, func(a, b Weight) int { return a.On.Compare(b.On) })
	kept := points[:0]
	for i, p := range points {
		if i+1 == len(points) || points[i+1].On != p.On {
			kept = append(kept, p)
		}
	}
	return kept
}

const gramsPerOunce = 28.349523125 // international avoirdupois ounce, by definition

// shown converts a weight into the unit of the picture.
func (g Growth) shown(grams float64) float64 {
	if g.Ounces {
		return grams / gramsPerOunce
	}
	return grams
}

func (g Growth) unit() string {
	if g.Ounces {
		return "oz"
	}
	return "g"
}

// words returns a weight with its unit: "41 g", "3.2 g".
func (g Growth) words(grams float64) string {
	v := g.shown(grams)
	digits := 0
	switch {
	case v < 10:
		digits = 2
	case v < 100:
		digits = 1
	}
	p := math.Pow(10, float64(digits))
	return num(math.Round(v*p)/p) + " " + g.unit()
}

func (g Growth) saying(points []Weight) string {
	if len(points) == 0 {
		return "Not weighed yet"
	}
	last := points[len(points)-1]
	words := g.words(last.Grams) + " on " + english.Date(last.On)
	if first := points[0]; len(points) > 1 {
		change := "the same as"
		switch {
		case last.Grams > first.Grams:
			change = g.words(last.Grams-first.Grams) + " more than"
		case last.Grams < first.Grams:
			change = g.words(first.Grams-last.Grams) + " less than"
		}
		words += ", " + change + " " + english.Days(last.On.Sub(first.On)) + " before"
	}
	return words
}

func (g Growth) draw(s *sheet, points []Weight) {
	first, last := points[0].On, points[len(points)-1].On
	from, to := first, last
	for to.Sub(from) < 6 {
		from, to = from.AddDays(-1), to.AddDays(1)
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		low, high = min(low, g.shown(p.Grams)), max(high, g.shown(p.Grams))
	}
	// A change of a tenth of the weight is never drawn taller than half of the
	// picture. Otherwise every weighing would look like a fall.
	if spread := 0.2 * high; high-low < spread {
		middle := (high + low) / 2
		low, high = max(0, middle-spread/2), middle+spread/2
	}
	by := step(max(high-low, 0.01), 4)
	low, high = math.Floor(low/by+1e-9)*by, math.Ceil(high/by-1e-9)*by
	if high <= low {
		high = low + by
	}
	const tall = 190.0
	s.gap(16)
	foot := s.y + tall
	y := func(v float64) float64 { return foot - (v-low)/(high-low)*tall }
	label := letters{size: smallSize, fill: soft, anchor: "end"}
	scale := 0.0
	lines := int(math.Round((high - low) / by))
	name := func(i int) string { return figure(low+float64(i)*by) + " " + g.unit() }
	for i := range lines + 1 {
		scale = min(max(scale, label.width(name(i))), (right-left)/2)
	}
	a := over(from, to, left+scale+8, right-4)
	for i := range lines + 1 {
		at := y(low + float64(i)*by)
		s.line(left+scale+4, at, right, at, rule, 1)
		s.text(left+scale, at+4.5, label, name(i))
	}
	s.line(left+scale+4, foot, right, foot, ink, 1.5)
	path := ""
	for i, p := range points {
		c := "L"
		if i == 0 {
			c = "M"
		}
		path += c + num(a.mid(p.On)) + " " + num(y(g.shown(p.Grams)))
	}
	if len(points) > 1 {
		s.element("path", "", "d", path, "fill", "none", "stroke", deep, "stroke-width", 2.5, "stroke-linejoin", "round")
	}
	// Leave out dots that would overlap; the line remains.
	next := math.Inf(-1)
	for i, p := range points {
		if x := a.mid(p.On); x >= next || i+1 == len(points) {
			s.circle(x, y(g.shown(p.Grams)), 3.5, ground, "stroke", deep, "stroke-width", 2)
			next = x + 9
		}
	}
	s.y = foot
	end := points[len(points)-1]

	s.circle(a.mid(end.On), y(g.shown(end.Grams)), 4.5, deep)
	s.gap(18)
	s.calendar(a, from, to)
}

// calendar writes days, months or years below an axis, depending on its span.
func (s *sheet) calendar(a axis, from, to civil.Date) {
	span := to.Sub(from)
	if span <= 92 {
		s.dates(a, from, to)
		return
	}
	l := letters{size: smallSize, fill: soft, anchor: "middle"}
	every := 1
	for _, n := range []int{1, 2, 3, 6, 12, 24, 60, 120, 600, 1200, 12000} {
		every = n
		if a.step*30*float64(n) >= l.width("Sep 00")+8 {
			break
		}
	}
	free := math.Inf(-1)
	months(from, to, func(m civil.Date) {
		index := m.Year()*12 + int(m.Month()) - 1
		if index%every != 0 {
			return
		}
		x := a.at(m)
		s.line(x, s.y-18, x, s.y-13, soft, 1)
		words := m.Format("Jan")
		if m.Month() == 1 || every >= 12 || math.IsInf(free, -1) {
			words = m.Format("Jan 06")
		}
		if every >= 12 {
			words = m.Format("2006")
		}
		if w := l.width(words); x-w/2 >= max(free, left) && x+w/2 <= right {
			s.text(x, s.y, l, words)
			free = x + w/2 + 6
		}
	})
}

// description returns the first, the lowest, the highest and the last weight in
// words.
func (g Growth) description(points []Weight) string {
	parts := append(slices.Clone(g.Facts), g.saying(points))
	if len(points) > 1 {
		low, high := points[0], points[0]
		for _, p := range points {
			if p.Grams < low.Grams {
				low = p
			}
			if p.Grams > high.Grams {
				high = p
			}
		}
		tell := func(name string, p Weight) string { return name + " " + g.words(p.Grams) + " on " + english.Date(p.On) }
		parts = append(parts, fmt.Sprintf("%d weighings", len(points)), tell("First", points[0]), tell("Lowest", low), tell("Highest", high))
	}
	if g.Basis != "" {
		parts = append(parts, g.Basis)
	}
	return sentence(parts...)
}
