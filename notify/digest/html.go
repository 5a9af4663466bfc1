package digest

import (
	"bytes"
	"errors"
	"html/template"
	"maps"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// htmlLimit is the size in bytes above which the HTML part is shortened. Web
// mail cuts long mails off and hides the rest behind a link, but a round must
// be complete. The usual limit is 102 KB (common practice of bulk senders, no
// published source).
const htmlLimit = 98_000

func renderHTML(at func(level) outline) (src string, lines []string, err error) {
	for _, l := range levels {
		o := at(l)
		o.Shortened = o.w.say(l.notice(true))
		b := limited{most: htmlLimit}
		switch {
		case l == levels[len(levels)-1]:
			b.most = math.MaxInt
		case o.leastHTML() > htmlLimit:
			continue
		}
		switch err := page.Execute(&b, o); {
		case err == nil:
			return b.String(), htmlLines(o), nil
		case !errors.Is(err, errTooLong):
			return "", nil, err
		}
	}
	return "", nil, errTooLong
}

// leastHTML returns a size in bytes that the HTML part exceeds: the size of its
// style sheet, and of the words and styles of its tasks.
func (o outline) leastHTML() int {
	n := len(sheet)
	row := len(o.Row("num")) + len(o.Row("task")) + len(o.Row("name"))
	for _, s := range o.Sections {
		for _, g := range s.Groups {
			for _, b := range g.Blocks {
				for i := range b.Items {
					it := &b.Items[i]
					n += len(it.Name) + len(it.Caution)
					if it.N > 0 {
						n += row
					}
					for _, said := range it.said {
						n += len(said)
					}
				}
			}
		}
	}
	return n
}

// limited is a buffer that takes at most so many bytes. The HTML of a list that
// is much too long is not used, so the buffer stops the writing early.
type limited struct {
	bytes.Buffer
	most int
}

var errTooLong = errors.New("the HTML part is too long")

func (l *limited) Write(p []byte) (int, error) {
	if l.Len()+len(p) > l.most {
		return 0, errTooLong
	}
	return l.Buffer.Write(p)
}

// htmlLines returns the lines that a mail program may make of the HTML part
// when it turns that part into text: a line for each block. Programs differ in
// their treatment of a block with a number, so htmlLines returns both possible
// versions.
func htmlLines(o outline) []string {
	lines := []string{o.Title, o.Heading, o.Count, o.Late, o.Shortened}
	for _, s := range o.Sections {
		lines = append(lines, s.Head, s.Aside, s.Head+" "+s.Aside)
		for _, g := range s.Groups {
			lines = append(lines, g.Room)
			for _, b := range g.Blocks {
				lines = append(lines, b.Whom)
				for _, it := range b.Items {
					name := it.Name
					if it.Flows {
						name = it.line
					} else {
						lines = append(lines, it.said...)
					}
					lines = append(lines, name, cautionWord+" "+it.Caution)
					if it.N > 0 {
						n := strconv.Itoa(it.N)
						lines = append(lines, n, n+" "+name)
					}
				}
			}
			for _, r := range g.Runs {
				lines = append(lines, r.Text, r.See, cautionWord+" "+r.Caution)
			}
		}
		for _, l := range s.Lines {
			lines = append(lines, l.Lead+" "+l.Text, l.Lead, l.Text)
			lines = append(lines, l.Below...)
			lines = append(lines, l.Quotes...)
		}
	}
	lines = append(lines, answerHead, tapHint, wholeList)
	lines = append(lines, o.Answer...)
	return append(lines, o.Marker)
}

// Words that only the HTML part has, for its links.
const (
	tapHint   = "A tap on a number opens a mail which says that its task has been seen to. It only has to be sent."
	wholeList = "Write the mail for the whole list"
)

// mailto returns a link that opens a mail with a one-line body (RFC 6068). The
// subject carries the digest's tag, because such a mail is not a reply and
// quotes nothing.
func (o outline) mailto(body string) template.URL {
	local, domain := o.To, ""
	if i := strings.LastIndexByte(o.To, '@'); i >= 0 {
		local, domain = o.To[:i], o.To[i:]
	}
	// A plus sign in an address is literal (RFC 6068 section 2), and some
	// programs do not decode %2B.
	to := strings.ReplaceAll(escape(local), "%2B", "+") + domain
	return template.URL("mailto:" + to + "?subject=" + escape("Re: "+o.Tag) + "&body=" + escape(body))
}

// escape encodes everything except the unreserved characters of RFC 3986. A
// space becomes %20, because RFC 6068 section 5 does not read a plus sign as a
// space.
func escape(s string) string { return strings.ReplaceAll(url.QueryEscape(s), "+", "%20") }

// The methods of outline with exported names are called by the template.

// link is a number with a link.
type link struct {
	N    int
	Href template.URL
}

// DoneLink returns the link that marks a task as done. It returns nil if the
// task is already marked, if there is no address for answers, or for a routine
// task in a very long list.
func (o outline) DoneLink(it item) *link {
	if !o.Linked() || !it.Open || o.Shortened != "" && it.routine {
		return nil
	}
	return &link{it.N, o.mailto("done " + strconv.Itoa(it.N))}
}

// AllLink returns the link that marks the whole list as done, or "".
func (o outline) AllLink() template.URL {
	if o.To == "" || !o.All {
		return ""
	}
	return o.mailto("all")
}

// Linked reports whether numbers are links.
func (o outline) Linked() bool { return o.AllLink() != "" }

// palette has every colour of the HTML part by its use: for light screens, then
// for dark screens. The contrast of text and background is at least 4.5 (WCAG
// 2.2, success criterion 1.4.3); a test computes it from the mail.
var palette = []struct{ name, light, dark string }{
	{"page", "#f3f1ea", "#101412"},
	{"sheet", "#fffefa", "#181e1b"},
	{"ink", "#22302a", "#e3e8e2"},
	{"soft", "#55625b", "#a7b4ac"},
	{"rule", "#dcd8cb", "#2f3833"},
	{"link", "#1d5a46", "#a5d9c1"},
	{"key", "#edf3ee", "#22302a"},
	{"edge", "#6f9484", "#6f9a87"},
	{"red", "#8a2f1c", "#f2a892"},
	{"blush", "#fbeae4", "#38211b"},
	{"warn", "#654708", "#e9d19a"},
	{"cream", "#fbf4df", "#2b2618"},
}

// colours replaces names such as "light.ink" and "dark.ink" by their colours.
var colours = func() *strings.Replacer {
	var pairs []string
	for _, c := range palette {
		pairs = append(pairs, "light."+c.name, c.light, "dark."+c.name, c.dark)
	}
	return strings.NewReplacer(pairs...)
}()

// looks has the style of every class of the HTML part, in light colours. The
// styles are written into the elements for programs that drop style sheets.
// They are also in the style sheet, because the elements of long lists have
// only their class.
var looks = painted(map[string]string{
	"page":   "margin:0;padding:12px 0;background-color:light.page",
	"sheet":  "max-width:36em;margin:0 auto;padding:20px 16px 28px;background-color:light.sheet;color:light.ink;font:16px/1.45 'Segoe UI',Roboto,'Helvetica Neue',Arial,sans-serif;word-wrap:break-word;overflow-wrap:anywhere",
	"title":  "margin:0;font:normal 25px/1.25 Georgia,'Times New Roman',serif",
	"sum":    "margin:14px 0 0;font-size:18px;font-weight:bold",
	"soft":   "margin:6px 0 0;font-size:15px;color:light.soft",
	"head":   "margin:28px 0 0;padding:0 0 6px;border-bottom:1px solid light.rule;font:bold 21px/1.3 Georgia,'Times New Roman',serif",
	"late":   "margin:28px 0 0;padding:0 0 6px;border-bottom:1px solid light.rule;color:light.red;font:bold 21px/1.3 Georgia,'Times New Roman',serif",
	"alarm":  "margin:28px 0 0;padding:8px 12px;border-left:5px solid light.red;background-color:light.blush;color:light.red;font:bold 21px/1.3 Georgia,'Times New Roman',serif",
	"room":   "margin:18px 0 4px;font-size:15px;font-weight:bold;letter-spacing:.04em;color:light.soft",
	"rows":   "width:100%;border-collapse:collapse",
	"whom":   "margin:14px 0 2px;font-size:16px;font-weight:bold",
	"num":    "width:46px;padding:2px 12px 2px 0;vertical-align:top",
	"key":    "display:block;width:44px;line-height:38px;border:1px solid light.edge;border-radius:10px;background-color:light.key;color:light.link;text-align:center;text-decoration:none;font-size:18px;font-weight:bold",
	"nokey":  "display:block;width:46px;line-height:40px;text-align:center;font-size:18px;font-weight:bold",
	"task":   "padding:10px 0 6px;vertical-align:top",
	"name":   "font-weight:bold",
	"why":    "margin-top:2px;font-size:15px;color:light.soft",
	"red":    "margin-top:2px;color:light.red",
	"see":    "font-size:15px;color:light.warn",
	"care":   "margin-top:6px;padding:6px 10px;border-left:4px solid light.warn;background-color:light.cream;color:light.warn;font-size:15px",
	"line":   "margin:10px 0 0",
	"below":  "margin:2px 0 0 14px;font-size:15px;color:light.soft",
	"quote":  "margin:4px 0 0;padding:2px 0 2px 12px;border-left:3px solid light.rule;color:light.soft",
	"whole":  "display:block;margin:28px 0 0;padding:12px;border:1px solid light.edge;border-radius:10px;background-color:light.key;color:light.link;text-align:center;text-decoration:none;font-weight:bold",
	"marker": "margin:24px 0 0;font-size:13px;color:light.soft",
})

// painted replaces the names of colours in every style.
func painted(styles map[string]string) map[string]string {
	for class, style := range styles {
		styles[class] = colours.Replace(style)
	}
	return styles
}

// darkLooks are the colours of the classes on a dark screen.
const darkLooks = `
.page{background-color:dark.page !important}
.sheet{background-color:dark.sheet !important;color:dark.ink !important}
.soft,.room,.why,.below,.marker{color:dark.soft !important}
.head{border-color:dark.rule !important}
.quote{color:dark.soft !important;border-color:dark.rule !important}
.late{color:dark.red !important;border-color:dark.rule !important}
.red{color:dark.red !important}
.alarm{background-color:dark.blush !important;color:dark.red !important;border-color:dark.red !important}
.key,.whole{color:dark.link !important;background-color:dark.key !important;border-color:dark.edge !important}
.see{color:dark.warn !important}
.care{background-color:dark.cream !important;color:dark.warn !important;border-color:dark.warn !important}`

// sheet is the style sheet of the HTML part.
var sheet = func() template.CSS {
	var b strings.Builder
	b.WriteString(":root{color-scheme:light dark}\na:focus{outline:3px solid light.link;outline-offset:2px}")
	for _, class := range slices.Sorted(maps.Keys(looks)) {
		b.WriteString("\n." + class + "{" + looks[class] + "}")
	}
	b.WriteString("\n@media (prefers-color-scheme:dark){\na:focus{outline-color:dark.link}" + darkLooks + "\n}\n")
	return template.CSS(colours.Replace(b.String()))
}()

// look returns the class and style attributes for an element of a class.
func look(class string) template.HTMLAttr {
	return template.HTMLAttr(`class="` + class + `" style="` + looks[class] + `"`)
}

// Row is look for elements that every task has. In a shortened list it returns
// only the class, to save space.
func (o outline) Row(class string) template.HTMLAttr {
	if o.Shortened != "" || o.bare {
		return template.HTMLAttr(`class="` + class + `"`)
	}
	return look(class)
}

// page is the HTML part. It has one column, and a plain table that places
// numbers beside their tasks: the table works in programs without other layout,
// and its text reads in order in programs without tables. Red and yellow always
// come with a word of the same meaning.
var page = template.Must(template.New("digest").Funcs(template.FuncMap{
	"look":    look,
	"sheet":   func() template.CSS { return sheet },
	"tap":     func() string { return tapHint },
	"whole":   func() string { return wholeList },
	"answer":  func() string { return answerHead },
	"caution": func() string { return cautionWord },
	"between": func() string { return between },
}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="supported-color-schemes" content="light dark">
<title>{{.Title}}</title>
<style>
{{sheet}}</style>
</head>
<body {{look "page"}}>
<div {{look "page"}}>
<div {{look "sheet"}}>
<h1 {{look "title"}}>{{.Title}}</h1>
{{- with .Heading}}
<p {{look "soft"}}><bdi>{{.}}</bdi></p>{{end}}
<p {{look "sum"}}>{{.Count}}</p>
{{- with .Late}}
<p {{look "soft"}}>{{.}}</p>{{end}}
{{- with .Shortened}}
<p {{look "soft"}}>{{.}}</p>{{end}}
{{- if .Linked}}
<p {{look "soft"}}>{{tap}}</p>{{end}}
{{- range $s := .Sections}}
<h2 {{look $s.Tone.Class}}>{{$s.Head}}</h2>
{{- with $s.Aside}}
<p {{look "soft"}}>{{.}}</p>{{end}}
{{- range $s.Groups}}
{{- with .Room}}
<h3 {{look "room"}}><bdi>{{.}}</bdi></h3>{{end}}
{{- range .Blocks}}
{{- with .Whom}}
<h4 {{look "whom"}}><bdi>{{.}}</bdi></h4>{{end}}
<table role="presentation" cellpadding="0" cellspacing="0" {{look "rows"}}>
{{- range .Items}}
<tr>
{{- if .N}}<td {{$.Row "num"}}>
{{- with $.DoneLink .}}<a {{$.Row "key"}} href="{{.Href}}" aria-label="{{.N}}: write its mail">{{.N}}</a>{{else}}<span {{$.Row "nokey"}}>{{.N}}</span>{{end}}</td>
{{- end}}<td {{$.Row "task"}}>
{{- if .Flows}}<span {{$.Row "name"}}><bdi>{{.Name}}</bdi></span>
{{- with .Status}}<span {{$.Row $s.Tone.Status}}>{{between}}{{.}}</span>{{end}}
{{- range .Notes}}<span {{$.Row "why"}}>{{between}}<bdi>{{.}}</bdi></span>{{end}}
{{- with .See}}<span {{$.Row "see"}}>{{between}}{{.}}</span>{{end}}
{{- else}}<div {{$.Row "name"}}><bdi>{{.Name}}</bdi></div>
{{- with .Status}}<div {{$.Row $s.Tone.Status}}>{{.}}</div>{{end}}
{{- range .Notes}}<div {{$.Row "why"}}><bdi>{{.}}</bdi></div>{{end}}
{{- with .See}}<div {{$.Row "see"}}>{{.}}</div>{{end}}
{{- end}}
{{- with .Caution}}<div {{$.Row "care"}}><b>{{caution}}</b> <bdi>{{.}}</bdi></div>{{end}}</td></tr>
{{- end}}
</table>
{{- end}}
{{- range .Runs}}
<p {{look "line"}}>{{.Text}}</p>
{{- with .See}}<div {{look "see"}}>{{.}}</div>{{end}}
{{- with .Caution}}<div {{look "care"}}><b>{{caution}}</b> <bdi>{{.}}</bdi></div>{{end}}
{{- end}}
{{- end}}
{{- range $s.Lines}}
<div {{look "line"}}>{{with .Lead}}<b>{{.}}</b> {{end}}<bdi>{{.Text}}</bdi>
{{- range .Below}}<div {{look "below"}}><bdi>{{.}}</bdi></div>{{end}}
{{- range .Quotes}}<div {{look "quote"}}><bdi>{{.}}</bdi></div>{{end}}</div>
{{- end}}
{{- end}}
{{- with .AllLink}}
<a {{look "whole"}} href="{{.}}">{{whole}}</a>
{{- end}}
{{- if .Answer}}
<h2 {{look "head"}}>{{answer}}</h2>
{{- range .Answer}}
<p {{look "soft"}}>{{.}}</p>{{end}}
{{- end}}
<p {{look "marker"}}>{{.Marker}}</p>
</div>
</div>
</body>
</html>
`))
