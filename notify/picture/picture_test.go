package picture_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"nestround/notify/picture"
	"nestround/tasks/civil"
)

var update = flag.Bool("update", false, "write the golden files anew")

func day(s string) civil.Date { return civil.MustParse(s) }

// forecast is a clutch laid on 22 March. Its probabilities have the shape of a
// bell around a middle day.
func forecast(on, middle string, sd float64) picture.Forecast {
	f := picture.Forecast{
		Title: "Clutch K02", Facts: []string{"leopard gecko of F01", "28.0 °C", "2 eggs", "in warm"},
		Laid: day("2027-03-22"), On: day(on),
		Basis: "Wise, Vickaryous and Russell 2009, Anatomical Record 292:1198-1212 (52 days from laying to hatching), 52 papers of 37 species of lizards",
	}
	m := day(middle)
	reach := int(math.Ceil(3 * sd))
	f.WatchFrom, f.WatchTo = m.AddDays(-reach), m.AddDays(reach)
	f.DailyFrom = civil.Max(f.On, f.WatchFrom)
	sum := 0.0
	for d := f.DailyFrom; !d.After(f.WatchTo); d = d.AddDays(1) {
		p := math.Exp(-math.Pow(float64(d.Sub(m))/sd, 2) / 2)
		f.Daily = append(f.Daily, p)
		sum += p
	}
	for i := range f.Daily {
		f.Daily[i] /= sum
	}
	at := func(share float64) civil.Date {
		sum, d := 0.0, f.DailyFrom
		for _, p := range f.Daily {
			if sum += p; sum >= share {
				break
			}
			d = d.AddDays(1)
		}
		return d
	}
	f.P05, f.P25, f.P50, f.P75, f.P95 = at(.05), at(.25), at(.5), at(.75), at(.95)
	if len(f.Daily) == 0 {
		f.P05, f.P25, f.P50, f.P75, f.P95 = m.AddDays(-2*reach/3), m.AddDays(-reach/3), m, m.AddDays(reach/3), m.AddDays(2*reach/3)
	}
	return f
}

func past(name, laid, middle, first, mean, last string) picture.Past {
	m := day(middle)
	return picture.Past{Name: name, Laid: day(laid), P05: m.AddDays(-9), P50: m, P95: m.AddDays(10), First: day(first), Mean: day(mean), Last: day(last)}
}

// light returns the hours of daylight by the sunrise equation without
// refraction, with Cooper's declination 23.45° sin(360/365 (284+n)) (Cooper
// 1969, Solar Energy 12:333-346).
func light(latitude float64, from civil.Date, n int) []float64 {
	var hours []float64
	for i := range n {
		d := 23.45 * math.Sin(2*math.Pi/365*float64(284+from.AddDays(i).YearDay())) * math.Pi / 180
		c := -math.Tan(latitude*math.Pi/180) * math.Tan(d)
		hours = append(hours, 24/math.Pi*math.Acos(max(-1, min(1, c))))
	}
	return hours
}

func warmth(from civil.Date, n int) []float64 {
	var list []float64
	for i := range n {
		list = append(list, 22-9*math.Cos(2*math.Pi/365*float64(from.AddDays(i).YearDay()-25)))
	}
	return list
}

func year(latitude float64, from string) picture.Year {
	f := day(from)
	return picture.Year{
		Title: "The wall lizard's year", Latitude: latitude, From: f, On: day("2027-05-12"),
		DayHours: light(latitude, f, 365), Temperature: warmth(f, 365),
		Bands: []picture.Band{
			{Name: "Feeding", From: day("2027-03-01"), To: day("2027-10-31"), Words: "every second day, daily while she lays"},
			{Name: "Cooling", From: day("2026-11-20"), To: day("2027-02-15"), Words: "at 6 to 8 °C"},
			{Name: "Cooling", From: day("2027-11-20"), To: day("2028-02-15"), Words: "at 6 to 8 °C"},
			{Name: "Pairing", From: day("2027-03-15"), To: day("2027-06-15")},
			{Name: "Laying", From: day("2027-04-25"), To: day("2027-07-20"), Words: "two or three clutches"},
			{Name: "Incubation", From: day("2027-04-25"), To: day("2027-09-01"), Words: "at 28 °C"},
			{Name: "Hatching", From: day("2027-06-01"), To: day("2027-09-01")},
		},
		Basis: "the care sheet, and daylight computed for the latitude",
	}
}

func growth(n int) picture.Growth {
	g := picture.Growth{Title: "Ada (F03)", Facts: []string{"leopard gecko", "female", "hatched 3 May 2026"}}
	for i := range n {
		g.Points = append(g.Points, picture.Weight{On: day("2026-05-03").AddDays(11 * i), Grams: 3.1 + 48/(1+math.Exp(-float64(i-14)/5)) + float64(i*7%5)*0.4})
	}
	return g
}

const (
	closing = `</svg><script>alert("1")</script><text x="9999">&amp;`
	bidi    = "gecko \u202egpj.exe\u2066 \x00\x07\ufeff\u200b line\nline"
	emoji   = "🦎🦎🦎 👩‍👩‍👧‍👦 ÅÄÖ 日本語 العربية"
)

var long200 = strings.Repeat("Wolkenkuckucksheim", 12)[:200]

func hostile() picture.Forecast {
	f := forecast("2027-05-12", "2027-05-16", 4)
	f.Title = closing
	f.Facts = []string{bidi, emoji, long200, strings.Repeat("many words ", 60), "\xff\xfe"}
	f.Basis = strings.Repeat(closing+" ", 20)
	f.Cautions = []string{long200 + long200, strings.Repeat(emoji, 30), closing, bidi, "too many"}
	for i := range 9 {
		p := past(long200, "2026-03-0"+strconv.Itoa(i+1), "2026-05-09", "2026-05-01", "2026-05-09", "2026-09-09")
		p.Name = []string{long200, closing, emoji, bidi}[i%4]
		f.Past = append(f.Past, p)
	}
	f.Hatched = []picture.Young{{On: day("2027-05-11"), Count: 1 << 40}}
	f.Daily[3] = math.NaN()
	f.Daily[4] = math.Inf(1)
	return f
}

type drawing struct {
	name string
	draw func() []byte
}

func samples() []drawing {
	waiting := forecast("2027-05-12", "2027-05-16", 4.6)
	waiting.Past = []picture.Past{
		past("K94", "2026-03-20", "2026-05-12", "2026-05-13", "2026-05-14", "2026-05-15"),
		past("K97", "2026-04-18", "2026-06-09", "2026-06-09", "2026-06-09", "2026-06-09"),
		past("F02-2026-05-30", "2026-05-30", "2026-07-21", "2026-07-07", "2026-07-08", "2026-07-09"),
	}
	hatching := forecast("2027-05-12", "2027-05-14", 3)
	hatching.Hatched = []picture.Young{{On: day("2027-05-10"), Count: 1}, {On: day("2027-05-12"), Count: 2}}
	over := forecast("2027-05-28", "2027-05-14", 3)
	over.Cautions = []string{"Do not open, turn or throw away eggs because a forecast is over: forecasts err, and late eggs have hatched. " +
		"Leave firm, clean eggs where they are; take out only what has collapsed, leaks or is thick with mould, and wash your hands (Salmonella). " +
		"When nothing more is to come, give the clutch a record with the day it ended."}
	early := forecast("2027-03-22", "2027-11-20", 26)
	early.Cautions = []string{"24.7 °C is colder than eggs of this species are known to hatch well at (25.0 °C to 30.0 °C)"}
	early.Title, early.Facts = "Clutch K00", []string{"veiled chameleon of F04", "24.7 °C", "31 eggs", "in cool"}
	sharp := forecast("2027-05-12", "2027-05-13", 0.4)
	ounces := growth(9)
	ounces.Ounces = true
	ounces.Basis = "A fall of a tenth within a month is worth a call to the veterinarian (common practice)."
	wild := growth(40)
	wild.Title, wild.Facts, wild.Basis = closing, []string{bidi, emoji, long200}, long200+closing
	wild.Points = append(wild.Points, picture.Weight{On: day("2026-06-01"), Grams: math.NaN()}, picture.Weight{On: day("2039-06-01"), Grams: 1e9},
		picture.Weight{Grams: 3}, picture.Weight{On: day("2026-06-01"), Grams: -4})
	south := year(-33.9, "2027-01-15")
	south.Temperature, south.Fahrenheit = nil, true
	south.On = civil.Date{}
	fahrenheit := year(65, "2027-01-01")
	fahrenheit.Fahrenheit, fahrenheit.Bands, fahrenheit.Basis = true, nil, ""
	strange := year(math.NaN(), "2027-01-01")
	strange.Title, strange.Facts, strange.Basis = long200, []string{closing, bidi, emoji}, closing+long200
	strange.DayHours = []float64{math.Inf(1), math.NaN(), 12}
	strange.Temperature = make([]float64, 999)
	for _, name := range []string{closing, bidi, emoji, long200} {
		strange.Bands = append(strange.Bands, picture.Band{Name: name, From: day("1999-01-01"), To: day("2099-01-01"), Words: name + long200})
	}
	strange.Bands = append(strange.Bands, picture.Band{Name: "turned round", From: day("2027-05-01"), To: day("2027-04-01")})
	return []drawing{
		{"forecast-waiting", waiting.SVG},
		{"forecast-hatching", hatching.SVG},
		{"forecast-over", over.SVG},
		{"forecast-early", early.SVG},
		{"forecast-sharp", sharp.SVG},
		{"forecast-hostile", hostile().SVG},
		{"growth", growth(33).SVG},
		{"growth-ounces", ounces.SVG},
		{"growth-short", growth(3).SVG},
		{"growth-one", growth(1).SVG},
		{"growth-none", growth(0).SVG},
		{"growth-hostile", wild.SVG},
		{"year", year(48.2, "2027-01-01").SVG},
		{"year-south", south.SVG},
		{"year-light", fahrenheit.SVG},
		{"year-hostile", strange.SVG},
	}
}

func TestGolden(t *testing.T) {
	for _, d := range samples() {
		got := d.draw()
		golden := filepath.Join("testdata", d.name+".svg")
		if *update {
			if err := os.WriteFile(golden, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is drawn otherwise than in %s; look at both, and if it is meant: go test ./notify/picture -update", d.name, golden)
		}
	}
}

func TestSameValuesSameBytes(t *testing.T) {
	for _, d := range samples() {
		if first := d.draw(); !bytes.Equal(first, d.draw()) {
			t.Errorf("%s: drawn twice, two pictures", d.name)
		}
	}
}

// node is an element of a picture, read back.
type node struct {
	name string
	attr map[string]string
	text string
	in   []string // the elements around it
}

func (n node) num(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(n.attr[name], 64)
	if err != nil {
		t.Errorf("<%s %s=%q> is no number", n.name, name, n.attr[name])
	}
	return v
}

func read(t *testing.T, svg []byte) []node {
	t.Helper()
	var list []node
	var open []int
	for dec := xml.NewDecoder(bytes.NewReader(svg)); ; {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			n := node{name: tok.Name.Local, attr: map[string]string{}}
			if tok.Name.Space != "http://www.w3.org/2000/svg" {
				t.Errorf("<%s> is of %q", tok.Name.Local, tok.Name.Space)
			}
			for _, a := range tok.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			for _, i := range open {
				n.in = append(n.in, list[i].name)
			}
			open = append(open, len(list))
			list = append(list, n)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				list[open[len(open)-1]].text += string(tok)
			}
		case xml.ProcInst, xml.Directive, xml.Comment:
			t.Errorf("%T in a picture", tok)
		}
	}
	return list
}

var coordinates = regexp.MustCompile(`-?[0-9.]+`)

// The rules that every picture must obey, for any content.
func TestEveryPicture(t *testing.T) {
	for _, d := range samples() {
		t.Run(d.name, func(t *testing.T) {
			svg := d.draw()
			nodes := read(t, svg)
			root := nodes[0]
			if root.name != "svg" || root.attr["role"] != "img" {
				t.Errorf("begins with <%s role=%q>", root.name, root.attr["role"])
			}
			box := strings.Fields(root.attr["viewBox"])
			if len(box) != 4 || box[0] != "0" || box[1] != "0" || box[2] != "400" {
				t.Fatalf("view box %q", box)
			}
			height, _ := strconv.ParseFloat(box[3], 64)
			if height < 60 || height > 1600 {
				t.Errorf("%g units high", height)
			}
			if w, h := root.num(t, "width"), root.num(t, "height"); math.Abs(h/w-height/400) > 0.001 {
				t.Errorf("%g by %g pixels for a box of 400 by %g", w, h, height)
			}
			labels := strings.Fields(root.attr["aria-labelledby"])
			if len(labels) != 2 || nodes[1].name != "title" || nodes[1].attr["id"] != labels[0] || nodes[1].text == "" ||
				nodes[2].name != "desc" || nodes[2].attr["id"] != labels[1] || nodes[2].text == "" {
				t.Errorf("labelled by %q; then %+v", labels, nodes[1:3])
			}
			if g := nodes[3]; g.name != "rect" || g.attr["x"] != "0" || g.attr["width"] != "400" || g.attr["height"] != box[3] || g.attr["fill"] != "#fffefa" {
				t.Errorf("no ground: %+v", g)
			}
			known := []string{"svg", "title", "desc", "rect", "line", "circle", "path", "text"}
			for i, n := range nodes {
				if i > 0 && (!slices.Contains(known, n.name) || n.name == "svg" || len(n.in) != 1) {
					t.Errorf("<%s> in %v", n.name, n.in)
				}
				for name, v := range n.attr {
					if strings.HasPrefix(name, "on") || strings.Contains(name, "href") || strings.Contains(v, "url(") || strings.Contains(v, "NaN") || strings.Contains(v, "Inf") {
						t.Errorf("<%s %s=%q>", n.name, name, v)
					}
				}
				switch n.name {
				case "rect":
					inside(t, n, n.num(t, "x"), n.num(t, "x")+n.num(t, "width"), n.num(t, "y"), n.num(t, "y")+n.num(t, "height"), height)
				case "circle":
					inside(t, n, n.num(t, "cx"), n.num(t, "cx"), n.num(t, "cy"), n.num(t, "cy"), height)
				case "line":
					inside(t, n, n.num(t, "x1"), n.num(t, "x2"), n.num(t, "y1"), n.num(t, "y2"), height)
				case "path":
					xy := coordinates.FindAllString(n.attr["d"], -1)
					for i := 0; i+1 < len(xy); i += 2 {
						x, _ := strconv.ParseFloat(xy[i], 64)
						y, _ := strconv.ParseFloat(xy[i+1], 64)
						inside(t, n, x, x, y, y, height)
					}
				case "text":
					size, x, y := n.num(t, "font-size"), n.num(t, "x"), n.num(t, "y")
					if size < 13 {
						t.Errorf("%q is set in %g units", n.text, size)
					}
					w := roughly(n.text) * size
					switch n.attr["text-anchor"] {
					case "middle":
						x -= w / 2
					case "end":
						x -= w
					}
					inside(t, n, x, x+w, y-size, y+size/4, height)
				}
			}
			if !strings.HasSuffix(d.name, "hostile") && strings.Contains(string(svg), "\u2026") {
				t.Error("ordinary words were cut")
			}
			if s := string(svg); strings.ContainsAny(s, "\u202e\u2066\ufeff\u200b\x00\x07") || strings.Contains(s, "<script") {
				t.Error("hostile characters came through")
			}
		})
	}
}

func inside(t *testing.T, n node, x1, x2, y1, y2, height float64) {
	t.Helper()
	if min(x1, x2) < 0 || max(x1, x2) > 400 || min(y1, y2) < 0 || max(y1, y2) > height {
		t.Errorf("<%s %v> %q reaches from %g,%g to %g,%g in a box of 400 by %g", n.name, n.attr, n.text, x1, y1, x2, y2, height)
	}
}

// roughly estimates the width of a text in ems in another way than the package:
// half an em for a Latin letter, a whole em for any other character.
func roughly(s string) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case r == 0x200D || r >= 0x300 && r < 0x370:
		case r >= 0x2E80:
			w += 1.2
		case r == 'm' || r == 'w' || r == 'W' || r == 'M':
			w += 0.85
		case r >= 'A' && r <= 'Z':
			w += 0.66
		case strings.ContainsRune(" .,;:'il|!()-", r):
			w += 0.3
		default:
			w += 0.54
		}
	}
	return w
}

// The description must have what the picture shows.
func TestDescriptionsMatchPictures(t *testing.T) {
	all := map[string][]byte{}
	for _, d := range samples() {
		all[d.name] = d.draw()
	}
	for name, want := range map[string][]string{
		"forecast-waiting": {"Most likely 1", "9 in 10 within", "day 51", "% that it is today", "Worth a look every day from 2 May 2027 to 30 May 2027",
			"Earlier clutch K94, laid 20 March 2026: seen 2 days late.", "K97, laid 18 April 2026: seen on the day expected.", "F02-2026-05-30, laid 30 May 2026: seen 13 days early, outside of its 9 in 10.", "From Wise"},
		"forecast-hatching": {"3 hatched so far"},
		"forecast-over":     {"Past its window", "Caution: Do not open"},
		"growth":            {"33 weighings", "First 5.85 g on 3 May 2026", "more than 352 days before"},
		"growth-none":       {"Not weighed yet"},
		"growth-one":        {"g on 3 May 2026"},
		"year":              {"48.2° north", "Daylight: lowest 8.", "highest 15.", "Temperature: lowest 13 °C on 25 January", "Cooling: 20 Nov to 15 Feb, at 6 to 8 °C"},
		"year-south":        {"33.9° south", "15 January 2027 to 14 January 2028"},
		"year-light":        {"°F on"},
	} {
		desc := read(t, all[name])[2].text
		for _, w := range want {
			if !strings.Contains(desc, w) {
				t.Errorf("%s: %q is missing in %q", name, w, desc)
			}
		}
	}
}

// Pictures on the same page must not share ids.
func TestIDsDiffer(t *testing.T) {
	seen := map[string]string{}
	for _, d := range samples() {
		id := read(t, d.draw())[1].attr["id"]
		if seen[id] != "" {
			t.Errorf("%s and %s share the id %s", seen[id], d.name, id)
		}
		seen[id] = d.name
	}
}

// luminance returns the relative luminance of "#rrggbb" by WCAG 2.2:
// https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	if err != nil || len(colour) != 7 {
		t.Fatalf("colour %q is not of the form #rrggbb", colour)
	}
	linear := func(c uint64) float64 {
		x := float64(c&0xff) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(n>>16) + 0.7152*linear(n>>8) + 0.0722*linear(n)
}

// The contrast to the background is at least 4.5 for letters and 3 for shapes
// (WCAG 2.2, 1.4.3 and 1.4.11). The test skips the background itself, and fills
// and thin lines that carry no information of their own.
func TestContrast(t *testing.T) {
	const ground = "#fffefa"
	silent := []string{"", "none", ground, "#edf3ee", "#dcd8cb"}
	contrast := func(a, b string) float64 {
		l, m := luminance(t, a), luminance(t, b)
		return (max(l, m) + 0.05) / (min(l, m) + 0.05)
	}
	// #767676 is the lightest grey on white that passes (from memory of W3C's
	// techniques).
	if c := contrast("#767676", "#ffffff"); math.Abs(c-4.54) > 0.01 {
		t.Fatalf("the formula gives %.2f for #767676 on white, known is 4.54", c)
	}
	for _, d := range samples() {
		for _, n := range read(t, d.draw()) {
			if n.name == "text" {
				if c := contrast(n.attr["fill"], ground); c < 4.5 {
					t.Errorf("%s: %q in %s has a contrast of %.2f", d.name, n.text, n.attr["fill"], c)
				}
				continue
			}
			for _, colour := range []string{n.attr["fill"], n.attr["stroke"]} {
				if slices.Contains(silent, colour) {
					continue
				}
				if c := contrast(colour, ground); c < 3 {
					t.Errorf("%s: <%s> in %s has a contrast of %.2f", d.name, n.name, colour, c)
				}
			}
		}
	}
}

func FuzzForeignText(f *testing.F) {
	for _, s := range []string{closing, bidi, emoji, long200, "", "\ufffe\uffff", "\U000e0001"} {
		f.Add(s, 3.0)
	}
	f.Fuzz(func(t *testing.T, s string, x float64) {
		w := forecast("2027-05-12", "2027-05-16", 4)
		w.Title, w.Facts, w.Basis, w.Cautions = s, []string{s, s}, s, []string{s}
		w.Past = []picture.Past{{Name: s, Laid: w.Laid, P05: w.P05, P50: w.P50, P95: w.P95, First: w.P05, Mean: w.P50, Last: w.P95}}
		w.Daily[0] = x
		g := picture.Growth{Title: s, Points: []picture.Weight{{On: w.Laid, Grams: x}, {On: w.On, Grams: 2 * x}}}
		y := year(x, "2027-01-01")
		y.Title, y.Bands[0].Name, y.Bands[1].Words, y.DayHours[3] = s, s, s, x
		for _, svg := range [][]byte{w.SVG(), g.SVG(), y.SVG()} {
			for _, n := range read(t, svg) {
				for _, v := range n.attr {
					if strings.Contains(v, "NaN") || strings.Contains(v, "Inf") {
						t.Errorf("%v", n)
					}
				}
			}
		}
	})
}
