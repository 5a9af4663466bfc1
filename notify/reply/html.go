package reply

import (
	"errors"
	"regexp"
	"strings"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// Marks in HTML that mail programs use for quotes and signatures. The names are
// from real mails. If a mark is missing here, the quote stays in the text,
// where it is not a command (see the package comment).
var (
	quoteClasses = map[string]bool{
		"gmail_quote": true, "gmail_attr": true, "gmail_extra": true, "gmail_signature": true,
		"moz-cite-prefix": true, "moz-signature": true,
		"yahoo_quoted": true, "iosymail": true,
		"protonmail_quote": true, "protonmail_signature_block": true,
		"zmail_extra": true, "tutanota_quote": true,
		"ms-outlook-mobile-reference-message": true, "ms-outlook-mobile-signature": true,
	}
	quoteIDs = map[string]bool{
		"mail-editor-reference-message-container": true, "reply139content": true,
		"composer_signature": true, "signature": true, "ms-outlook-mobile-signature": true,
	}
	// The ids of elements with which the answered mail begins. From such an
	// element on, the whole rest of the text is a quote.
	restIDs = map[string]bool{"appendonsend": true, "divrplyfwdmsg": true}
	// The line that desktop Outlook draws above the header block of a quote.
	restStyle = regexp.MustCompile(`border-top:solid#(?:e1e1e1|b5c4df)`)
)

// htmlLines turns an HTML text into lines. Quotes and signatures get a ">" for
// each level. It reads only the text: no style sheets, images or links.
func htmlLines(src string) ([]string, error) {
	doc, err := html.Parse(strings.NewReader(src))
	if err != nil {
		// The parser rejects more than 512 nested elements. Its limit also
		// bounds the recursion of node.
		return nil, errors.New("it is nested too deeply")
	}
	r := &renderer{}
	r.node(doc, 0, false)
	r.breakLine()
	return r.lines, nil
}

type renderer struct {
	lines []string
	line  strings.Builder
	depth int  // quote level of the current line
	space bool // a space is needed before the next word
	rest  bool // everything from here on is a quote
}

// node renders a node and its children. depth is the quote level, pre says that
// spaces count.
func (r *renderer) node(n *html.Node, depth int, pre bool) {
	switch n.Type {
	case html.TextNode:
		r.text(n.Data, depth, pre)
	case html.ElementNode:
		r.element(n, depth, pre)
	case html.DocumentNode:
		r.children(n, depth, pre)
	}
}

func (r *renderer) children(n *html.Node, depth int, pre bool) {
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		r.node(c, depth, pre)
	}
}

func (r *renderer) element(n *html.Node, depth int, pre bool) {
	switch n.DataAtom {
	case atom.Head, atom.Script, atom.Style, atom.Title, atom.Template, atom.Noscript, atom.Svg, atom.Math,
		atom.Iframe, atom.Object, atom.Select, atom.Textarea:
		return
	case atom.Br:
		// A break at the end of a block does not begin a second line.
		r.breakLine()
		return
	case atom.Hr:
		r.breakLine()
		r.lines = append(r.lines, "")
		return
	}
	hidden, quote := r.look(n)
	if hidden {
		return
	}
	if quote {
		depth++
	}
	block := isBlock[n.DataAtom] || quote
	if block {
		r.breakLine()
	}
	r.children(n, depth, pre || n.DataAtom == atom.Pre)
	switch {
	case block:
		r.breakLine()
		if n.DataAtom == atom.P {
			r.lines = append(r.lines, "")
		}
	case n.DataAtom == atom.Td || n.DataAtom == atom.Th:
		r.space = true
	}
}

// look reads the attributes of an element. It reports whether the element is
// hidden from a reader, and whether it begins a quote. It also notices the
// beginning of the answered mail.
func (r *renderer) look(n *html.Node) (hidden, quote bool) {
	quote = n.DataAtom == atom.Blockquote
	for _, a := range n.Attr {
		switch a.Key {
		case "class":
			for _, c := range strings.Fields(strings.ToLower(a.Val)) {
				quote = quote || quoteClasses[strings.TrimPrefix(c, "x_")]
			}
		case "id":
			// Outlook adds a prefix to the ids of quoted elements.
			id := strings.TrimPrefix(strings.ToLower(a.Val), "x_")
			quote = quote || quoteIDs[id]
			r.rest = r.rest || restIDs[id]
		case "name":
			quote = quote || n.DataAtom == atom.Div && a.Val == "quote"
		case "style":
			style := strings.ToLower(strings.Join(strings.Fields(a.Val), ""))
			hidden = hidden || strings.Contains(style, "display:none")
			r.rest = r.rest || n.DataAtom == atom.Div && restStyle.MatchString(style)
		}
	}
	return hidden, quote
}

func (r *renderer) text(s string, depth int, pre bool) {
	if r.rest {
		depth++
	}
	for len(s) > 0 {
		i := strings.IndexAny(s, " \t\n\f\r")
		if i != 0 {
			word := s
			if i > 0 {
				word = s[:i]
			}
			s = s[len(word):]
			if r.line.Len() == 0 {
				r.depth = depth
			} else if r.space {
				r.line.WriteByte(' ')
			}
			r.space = false
			r.line.WriteString(word)
			continue
		}
		if pre && s[0] == '\n' {
			r.breakLine()
		}
		r.space = true
		s = s[1:]
	}
}

// breakLine ends the current line, if there is one.
func (r *renderer) breakLine() {
	r.space = false
	if r.line.Len() == 0 {
		return
	}
	r.lines = append(r.lines, quoted(r.depth, r.line.String()))
	r.line.Reset()
}

// isBlock has the elements that stand on their own lines.
var isBlock = map[atom.Atom]bool{
	atom.Address: true, atom.Article: true, atom.Aside: true, atom.Blockquote: true, atom.Body: true,
	atom.Center: true, atom.Dd: true, atom.Div: true, atom.Dl: true, atom.Dt: true, atom.Fieldset: true,
	atom.Footer: true, atom.Form: true, atom.H1: true, atom.H2: true, atom.H3: true, atom.H4: true,
	atom.H5: true, atom.H6: true, atom.Header: true, atom.Li: true, atom.Main: true, atom.Nav: true,
	atom.Ol: true, atom.P: true, atom.Pre: true, atom.Section: true, atom.Table: true, atom.Tbody: true,
	atom.Tfoot: true, atom.Thead: true, atom.Tr: true, atom.Ul: true,
}
