package house

import (
	"encoding/base64"
	"fmt"
	"html"
	"mime/quotedprintable"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/cmd/nestround/demobooks"
	"nestround/notify"
	"nestround/notify/digest"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// ownLine is a line that the keeper writes, with the tasks it may mark.
type ownLine struct {
	text    string
	numbers []int
	names   []string
	all     bool
}

// ownLines draws a line about the tasks of a digest.
func ownLines(t *rapid.T, items []notify.Item) ownLine {
	n := func() int { return items[rapid.IntRange(0, len(items)-1).Draw(t, "item")].N }
	subject := string(items[rapid.IntRange(0, len(items)-1).Draw(t, "subject")].Task.Subject())
	one := func(form string) ownLine {
		k := n()
		return ownLine{text: fmt.Sprintf(form, k), numbers: []int{k}}
	}
	named := func(form string) ownLine { return ownLine{text: fmt.Sprintf(form, subject), names: []string{subject}} }
	switch rapid.IntRange(0, 12).Draw(t, "line") {
	case 0:
		a, b := n(), n()
		return ownLine{text: fmt.Sprintf("done %d %d", a, b), numbers: []int{a, b}}
	case 1:
		a, b := n(), n()
		l := ownLine{text: fmt.Sprintf(rapid.SampledFrom([]string{"done %d-%d", "done %d – %d", "done %d to %d"}).Draw(t, "range"), a, b)}
		for k := min(a, b); k <= max(a, b); k++ {
			l.numbers = append(l.numbers, k)
		}
		return l
	case 2:
		a, b := n(), n()
		return ownLine{text: fmt.Sprintf("Done %d, %d skip it was too cold", a, b), numbers: []int{a, b}}
	case 3:
		return ownLine{text: fmt.Sprintf("all but %d", n()), all: true}
	case 4:
		return named(rapid.SampledFrom([]string{"%s refused", "note %s it basks a lot", "%s shed", "%s weighs 41 g", "%s was restless"}).Draw(t, "named"))
	case 5, 6:
		return one(rapid.SampledFrom([]string{
			"%d laid 6", "%d laid 6 and 2 slugs", "%d weighs 41 g", "%d refused", "%d added 60 ml", "%d hatched 3", "note %d it digs",
			"%d no", "%d ok", "%d flew away", "%d!",
		}).Draw(t, "finding"))
	case 7, 8, 9:
		return one(rapid.SampledFrom([]string{
			"done %d", "%d done", "- done %d", "* %d", "done: %d.", "Skip %d too cold", "later %d friday", "later %d 2 days", "undo %d", "**done %d**",
			"I have done %d", "skip %d because the lamp was out all night and I had no other one in the house until the shop opened",
		}).Draw(t, "verb"))
	}
	// Prose, with numbers that no task has or that the sentence itself contains.
	text := rapid.SampledFrom([]string{
		"Good morning,", "Hi all,", "Thank you!", "Thanks, that is all for today.", "Best regards,", "Sent from my phone", "",
		"The vet comes on Friday.", "It was 31 degrees at noon.", "Call me at 0664 123456.", "We have 900 new crickets", "See you on 12 May 2027",
		"all is well here", "everything fine", "done", "skip", "I will do the rest later", "half of them hid under the stone",
		"The keeper's mother had a birthday and we sat together until late in the evening, so I fed them at 23:15 and not before",
	}).Draw(t, "prose")
	l := ownLine{text: text, all: strings.Contains(text, "all ") || strings.Contains(text, "everything") || strings.Contains(text, "rest")}
	for _, word := range digits.FindAllString(text, -1) {
		if k, err := strconv.Atoi(word); err == nil {
			l.numbers = append(l.numbers, k)
		}
	}
	return l
}

var digits = regexp.MustCompile(`\d+`)

// rewrap breaks the lines of a text at a width, as mail programs do.
func rewrap(lines []string, width int) (out []string) {
	for _, l := range lines {
		line := ""
		for _, w := range strings.FieldsFunc(l, func(r rune) bool { return r == ' ' }) {
			if line != "" && len([]rune(line))+1+len([]rune(w)) > width {
				out = append(out, line)
				line = w
				continue
			}
			if line != "" {
				line += " "
			}
			line += w
		}
		out = append(out, line)
	}
	return out
}

// drawnMail is a reply in the form of some mail program.
type drawnMail struct {
	raw  []byte
	text string // for messages
	own  []ownLine
}

func drawMail(t *rapid.T, i notify.Issue, m digest.Mail) drawnMail {
	own := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) ownLine { return ownLines(t, i.Items) }), 1, 5).Draw(t, "own")
	width := rapid.SampledFrom([]int{40, 50, 60, 65, 72, 76, 78, 80, 100, 132, 200, 998}).Draw(t, "width")
	var said []string
	for _, l := range own {
		said = append(said, l.text)
	}
	said = rewrap(said, width)
	signature := rapid.SampledFrom([][]string{nil, {"-- ", "The keeper, room 7", "done 1"}, {"", "Mara"}, {"Sent from my phone 12"}}).Draw(t, "signature")
	head := rapid.SampledFrom([][]string{
		nil, {"On Wed, 12 May 2027 at 06:30, nestround <lizards@example.org> wrote:"}, {"On Wed, 12 May 2027 at 06:30, nestround", "<lizards@example.org> wrote:"},
		{"Am 12.05.2027 um 06:30 schrieb nestround:"}, {"-----Original Message-----", "From: nestround <lizards@example.org>", "Sent: Wednesday, 12 May 2027 06:30", "To: keeper@example.org", "Subject: " + m.Subject},
		{"________________________________", "From: nestround", "Date: Wed, 12 May 2027"},
	}).Draw(t, "head")
	quoted := strings.Split(m.Text, "\n")
	style := rapid.SampledFrom([]string{"> ", ">", "| ", "", "    ", ">> "}).Draw(t, "quote")
	if style == "> " && rapid.Bool().Draw(t, "earlier") {
		quoted = append([]string{fmt.Sprintf("done %d", i.Items[0].N), "all", ""}, quoted...)
	}
	if style != "" && rapid.Bool().Draw(t, "broken after the mark") {
		for n, l := range quoted {
			quoted[n] = style + l
		}
		if strings.HasPrefix(style, ">") && quoted[0] == style+fmt.Sprintf("done %d", i.Items[0].N) {
			quoted = quoted[3:]
		}
		quoted = rewrap(quoted, width) // the rest of a line loses its mark
	} else {
		quoted = rewrap(quoted, width)
		for n, l := range quoted {
			quoted[n] = style + l
		}
	}
	var lines []string
	switch rapid.SampledFrom([]string{"above", "below", "between", "alone"}).Draw(t, "place") {
	case "above":
		lines = slices.Concat(said, []string{""}, signature, []string{""}, head, quoted)
		if len(signature) > 0 && signature[0] == "-- " {
			lines = slices.Concat(said, []string{""}, signature)
		}
	case "below":
		lines = slices.Concat(head, quoted, []string{""}, said, signature)
	case "between":
		at := rapid.IntRange(0, len(quoted)).Draw(t, "at")
		lines = slices.Concat(head, quoted[:at], []string{""}, said, []string{""}, quoted[at:], signature)
	default:
		lines = slices.Concat(said, signature)
	}
	for _, l := range signature {
		if l == "Sent from my phone 12" {
			own = append(own, ownLine{text: l, numbers: []int{12}})
		}
	}
	text := strings.Join(lines, "\r\n") + "\r\n"
	d := drawnMail{text: text, own: own}
	var body string
	encode := func(mediaType, s string) string {
		head := "Content-Type: " + mediaType + "; charset=utf-8\r\nContent-Transfer-Encoding: "
		switch rapid.SampledFrom([]string{"8bit", "quoted-printable", "base64"}).Draw(t, "encoding") {
		case "quoted-printable":
			var b strings.Builder
			w := quotedprintable.NewWriter(&b)
			w.Write([]byte(s))
			w.Close()
			return head + "quoted-printable\r\n\r\n" + b.String()
		case "base64":
			b := base64.StdEncoding.EncodeToString([]byte(s))
			var folded strings.Builder
			for len(b) > 76 {
				folded.WriteString(b[:76] + "\r\n")
				b = b[76:]
			}
			return head + "base64\r\n\r\n" + folded.String() + b + "\r\n"
		}
		return head + "8bit\r\n\r\n" + s
	}
	inHTML := func() string {
		var b strings.Builder
		tag := rapid.SampledFrom([]string{"div", "p", "br"}).Draw(t, "tag")
		line := func(l string) {
			l = html.EscapeString(l)
			if tag == "br" {
				b.WriteString(l + "<br>\n")
			} else {
				fmt.Fprintf(&b, "<%s>%s</%s>\n", tag, l, tag)
			}
		}
		for _, l := range said {
			line(l)
		}
		wrap := rapid.SampledFrom([][2]string{
			{`<blockquote type="cite">`, "</blockquote>"}, {`<div class="gmail_quote"><blockquote>`, "</blockquote></div>"},
			{`<div style="border:none;border-top:solid #E1E1E1 1.0pt">`, "</div>"}, {`<div id="appendonsend"></div><hr><div>`, "</div>"}, {"<div>", "</div>"},
		}).Draw(t, "wrap")
		b.WriteString(wrap[0])
		for _, l := range head {
			line(l)
		}
		if rapid.Bool().Draw(t, "digest's HTML") {
			b.WriteString(m.HTML)
		} else {
			for _, l := range rewrap(strings.Split(m.Text, "\n"), width) {
				line(l)
			}
		}
		b.WriteString(wrap[1])
		return "<html><body>" + b.String() + "</body></html>\r\n"
	}
	switch rapid.SampledFrom([]string{"text", "html", "both"}).Draw(t, "format") {
	case "text":
		body = encode("text/plain", text)
	case "html":
		h := inHTML()
		d.text = h
		body = encode("text/html", h)
	default:
		body = "Content-Type: multipart/alternative; boundary=\"=_b\"\r\n\r\n--=_b\r\n" + encode("text/plain", text) + "\r\n--=_b\r\n" + encode("text/html", inHTML()) + "\r\n--=_b--\r\n"
	}
	d.raw = []byte("From: <keeper@example.org>\r\nTo: <" + notify.PlusAddress("lizards@example.org", i.Token) + ">\r\nDate: Wed, 12 May 2027 07:00:00 +0000\r\n" +
		"Message-ID: <drawn@phone.example.org>\r\nIn-Reply-To: <" + i.MessageID + ">\r\nSubject: Re: " + m.Subject + "\r\nMIME-Version: 1.0\r\n" + body)
	return d
}

// A reply marks nothing but the numbers, names and ranges that the keeper's own
// words contain, whatever the mail program does with these words and with the
// quoted digest.
func TestARepliesOwnWordsAlone(t *testing.T) {
	dir := t.TempDir()
	if err := demobooks.Write(dir, civil.MustParse("2027-05-12"), demobooks.Setting{Zone: "UTC"}); err != nil {
		t.Fatal(err)
	}
	h := open(t, dir, clock("2027-05-12T06:30:00Z"), disk.Files{})
	i := issued(t, h)
	m, _, err := h.Draft()
	if err != nil {
		t.Fatal(err)
	}
	marked := 0
	rapid.Check(t, func(t *rapid.T) {
		for range 2 {
			d := drawMail(t, i, m)
			taken, err := h.TakeMail(d.raw, true)
			if err != nil || taken.Ignored != "" {
				t.Fatalf("taken: %q, %v\n%s", taken.Ignored, err, d.text)
			}
			for _, a := range taken.Accepted {
				marked++
				if !slices.ContainsFunc(d.own, func(l ownLine) bool {
					return l.all || a.N > 0 && slices.Contains(l.numbers, a.N) ||
						slices.ContainsFunc(l.names, func(name string) bool { return strings.EqualFold(name, string(a.Task.Subject())) })
				}) {
					t.Errorf("%q marks %d %s, and the keeper wrote only %+v\n%s", a.Command, a.N, a.Task, d.own, d.text)
				}
			}
		}
	})
	if marked < 50 {
		t.Errorf("only %d marks, so the mails say too little", marked)
	}
}
