package digest_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"nestround/notify/digest"
)

// luminance returns the relative luminance of "#rrggbb" as defined in WCAG 2.2,
// "relative luminance": https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
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

// contrast returns the contrast ratio of WCAG 2.2:
// https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	l, m := luminance(t, a), luminance(t, b)
	return (math.Max(l, m) + 0.05) / (math.Min(l, m) + 0.05)
}

// TestContrastFormula checks well-known values: black on white by definition,
// and the lightest grey on white that passes 4.5 (#767676; from memory of W3C's
// techniques).
func TestContrastFormula(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want float64
	}{
		{"#000000", "#ffffff", 21}, {"#ffffff", "#000000", 21}, {"#777777", "#777777", 1}, {"#767676", "#ffffff", 4.54},
	} {
		if got := contrast(t, test.a, test.b); math.Abs(got-test.want) > 0.01 {
			t.Errorf("contrast of %s on %s is %.2f, want %.2f", test.a, test.b, got, test.want)
		}
	}
}

// paint holds the colours that an element inherits or sets.
type paint struct{ text, ground, edge string }

var (
	rule     = regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`)
	declared = regexp.MustCompile(`(?:^|;)\s*(color|background-color|border(?:-[a-z]+)*)\s*:\s*([^;]*)`)
	hex      = regexp.MustCompile(`#[0-9a-f]{6}`)
)

func (p *paint) declare(declarations string) {
	for _, d := range declared.FindAllStringSubmatch(strings.ReplaceAll(declarations, "!important", ""), -1) {
		c := hex.FindString(d[2])
		switch {
		case c == "":
		case d[1] == "color":
			p.text = c
		case d[1] == "background-color":
			p.ground = c
		default:
			p.edge = c
		}
	}
}

// styleRules splits the style sheet into the rules of each class, for light and
// for dark screens.
func styleRules(t *testing.T, doc *html.Node) (light, dark map[string]string) {
	for n := range doc.Descendants() {
		if n.Data != "style" {
			continue
		}
		before, after, ok := strings.Cut(n.FirstChild.Data, "@media (prefers-color-scheme:dark){")
		if !ok {
			t.Fatal("no rules for dark")
		}
		parse := func(css string) map[string]string {
			rules := make(map[string]string)
			for _, m := range rule.FindAllStringSubmatch(css, -1) {
				for _, selector := range strings.Split(m[1], ",") {
					rules[strings.TrimPrefix(strings.TrimSpace(selector), ".")] += ";" + m[2]
				}
			}
			return rules
		}
		return parse(before), parse(after)
	}
	t.Fatal("no style sheet")
	return nil, nil
}

// TestContrast computes the colours of every piece of text as a browser does,
// for light and dark screens. It checks the contrast of WCAG 2.2 success
// criterion 1.4.3 (AA: 4.5), and a contrast of 3 at the edge of tap targets
// (1.4.11). The styles in the elements and the style sheet must agree.
func TestContrast(t *testing.T) {
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		if len(c.Board.Rows) > 500 {
			return // the same colours as "big"
		}
		doc := parseHTML(t, m.HTML)
		light, dark := styleRules(t, doc)
		for scheme, rules := range map[string]map[string]string{"light": light, "dark": dark} {
			seen := make(map[string]bool)
			var walk func(n *html.Node, p paint)
			walk = func(n *html.Node, p paint) {
				outside := p.ground
				switch n.Type {
				case html.TextNode:
					if strings.TrimSpace(n.Data) == "" || seen[p.text+p.ground] {
						return
					}
					seen[p.text+p.ground] = true
					if r := contrast(t, p.text, p.ground); r < 4.5 {
						t.Errorf("%s: %q in %s on %s has a contrast of %.2f", scheme, n.Data, p.text, p.ground, r)
					}
					return
				case html.ElementNode:
					if n.Data == "head" {
						return
					}
					class := attr(n, "class")
					if class != "" && light[class] == "" {
						t.Errorf("class %q is not in the style sheet", class)
					}
					own, sheet := p, p
					own.declare(attr(n, "style"))
					sheet.declare(light[class])
					if attr(n, "style") != "" && own != sheet {
						t.Errorf("class %q: its elements have %v, the style sheet %v", class, own, sheet)
					}
					p = sheet
					if scheme == "dark" {
						// A colour that the dark rules do not replace must not
						// appear in the light rules.
						var plain, again paint
						plain.declare(light[class])
						again.declare(rules[class])
						if (plain.text == "") != (again.text == "") || (plain.ground == "") != (again.ground == "") || (plain.edge == "") != (again.edge == "") {
							t.Errorf("class %q has the colours %v in light and %v in dark", class, plain, again)
						}
						p.declare(rules[class])
					}
					if class == "key" || class == "whole" {
						if r := contrast(t, p.edge, outside); r < 3 {
							t.Errorf("%s: the edge %s on %s has a contrast of %.2f", scheme, p.edge, outside, r)
						}
					}
				}
				for c := range n.ChildNodes() {
					walk(c, p)
				}
			}
			walk(doc, paint{})
			if len(seen) < 2 {
				t.Errorf("%s: only %d pairs of colours were seen", scheme, len(seen))
			}
			t.Log(scheme, fmt.Sprint(len(seen)), "pairs of colours")
		}
	})
}
