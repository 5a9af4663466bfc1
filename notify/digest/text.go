package digest

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// columns is the width of the text part. RFC 5322 section 2.1.1 recommends at
// most 78 characters. The other six leave room for the marks of two or three
// quotations.
const columns = 72

// textLimit is the size in bytes above which the text part is shortened like
// the HTML part. An answer usually quotes the text, and programs that read
// answers have size limits.
const textLimit = 150_000

func renderText(at func(level) outline) string {
	for _, l := range levels {
		o := at(l)
		o.Shortened = o.w.say(l.notice(false))
		if text := layOut(o); len(text) <= textLimit || l == levels[len(levels)-1] {
			return text
		}
	}
	return ""
}

func layOut(o outline) string {
	p := &printer{}
	p.para(0, o.Title)
	p.para(0, o.Heading)
	p.para(0, o.Count)
	p.para(0, o.Late)
	p.para(0, o.Shortened)
	for _, s := range o.Sections {
		p.gap()
		head := strings.ToUpper(s.Head)
		if s.Aside != "" {
			head += " - " + s.Aside
		}
		p.para(0, head)
		for _, g := range s.Groups {
			p.gap()
			p.para(0, g.Room)
			numbers := 2
			for _, it := range g.Items {
				numbers = max(numbers, len(strconv.Itoa(it.N)))
			}
			for i, b := range g.Blocks {
				if i == 0 && b.Whom != "" || i > 0 && b.Whom == "" {
					p.gap()
				}
				p.para(0, b.Whom)
				for _, it := range b.Items {
					p.item(it, numbers)
				}
			}
			for _, r := range g.Runs {
				p.run(r)
			}
		}
		for i, l := range s.Lines {
			if i == 0 {
				p.gap()
			}
			p.line(l)
		}
	}
	if len(o.Answer) > 0 {
		p.gap()
		p.para(0, strings.ToUpper(answerHead))
		for _, a := range o.Answer {
			p.gap()
			p.para(0, a)
		}
	}
	p.gap()
	p.para(0, o.Marker)
	return p.b.String()
}

// printer writes paragraphs of at most columns columns.
type printer struct {
	b       strings.Builder
	started bool
}

// gap writes an empty line, except at the top.
func (p *printer) gap() {
	if p.started {
		p.b.WriteByte('\n')
	}
}

// para writes a paragraph with all lines indented. It writes nothing for "".
func (p *printer) para(indent int, s string) { p.hang(strings.Repeat(" ", indent), indent, s) }

// hang writes a paragraph whose first line begins with first. The other lines
// are indented by the width of first.
func (p *printer) hang(first string, indent int, s string) {
	if s == "" {
		return
	}
	p.started = true
	p.b.WriteString(first)
	at := indent
	for i, w := range strings.Split(s, " ") {
		n := textWidth(w)
		switch {
		case i == 0:
		case at+1+n > columns:
			p.b.WriteByte('\n')
			p.b.WriteString(strings.Repeat(" ", indent))
			at = indent
		default:
			p.b.WriteByte(' ')
			at++
		}
		p.b.WriteString(w)
		at += n
	}
	p.b.WriteByte('\n')
}

func (p *printer) item(it item, numbers int) {
	indent := numbers + 2
	first := fmt.Sprintf("%*d  ", numbers, it.N)
	if it.N == 0 {
		indent, first = 2, "  "
	}
	switch {
	case it.Flows && indent+textWidth(it.line) <= columns:
		p.hang(first, indent, it.line)
	case it.Flows:
		p.hang(first, indent, it.Name)
		p.para(indent, strings.Join(it.said, between))
	default:
		p.hang(first, indent, it.Name)
		for _, s := range it.said {
			p.para(indent, s)
		}
	}
	p.caution(indent, it.Caution)
}

func (p *printer) run(r run) {
	p.para(2, r.Text)
	p.para(2, r.See)
	p.caution(2, r.Caution)
}

func (p *printer) caution(indent int, s string) {
	if s != "" {
		p.para(indent, cautionWord+" "+s)
	}
}

func (p *printer) line(l line) {
	switch {
	case l.Lead != "":
		// A day such as "Wed 12 May" has at most ten columns.
		p.hang(fmt.Sprintf("  %-10s  ", l.Lead), 14, l.Text)
		for _, b := range l.Below {
			p.para(4, b)
		}
	default:
		p.para(2, l.Text)
	}
	for _, q := range l.Quotes {
		p.para(4, q)
	}
}

// textWidth returns the width of s in columns of a fixed-width screen: two for
// wide characters of Unicode Standard Annex 11 (ideographs, most emoji), none
// for marks that combine with the character before them.
func textWidth(s string) int {
	n := 0
	for _, r := range s {
		switch {
		case r < 0x300:
			n++
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		default:
			switch width.LookupRune(r).Kind() {
			case width.EastAsianWide, width.EastAsianFullwidth:
				n += 2
			default:
				n++
			}
		}
	}
	return n
}

// uniqueLines returns the lines of both parts, trimmed, each only once.
func uniqueLines(text string, html []string) []string {
	var lines []string
	seen := make(map[string]bool)
	for _, l := range append(strings.Split(text, "\n"), html...) {
		if l = strings.Join(strings.Fields(l), " "); l != "" && !seen[l] {
			seen[l] = true
			lines = append(lines, l)
		}
	}
	return lines
}
