package digest_test

import (
	"flag"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"golang.org/x/net/html"

	"nestround/notify"
	"nestround/notify/digest"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

var update = flag.Bool("update", false, "write the golden files anew")

// samples are the days used for testing every promise.
func samples() map[string]digest.Content {
	unanswered := ordinaryDay()
	unanswered.ReplyTo = ""
	return map[string]digest.Content{
		"ordinary":   ordinaryDay(),
		"empty":      emptyDay(),
		"alarm":      alarmDay(),
		"house":      houseDay(),
		"hostile":    hostileDay(),
		"unanswered": unanswered,
		"big":        bigDay(400),
		"huge":       bigDay(2000),
	}
}

func render(t testing.TB, c digest.Content) digest.Mail {
	t.Helper()
	m, err := digest.Render(c)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// rendered has the samples with their mails. Rendering the long samples takes
// most of the time of these tests, so all samples are rendered only once. No
// test changes them.
var rendered = sync.OnceValue(func() map[string]sample {
	all := make(map[string]sample)
	for name, c := range samples() {
		m, err := digest.Render(c)
		all[name] = sample{c, m, err}
	}
	return all
})

type sample struct {
	content digest.Content
	mail    digest.Mail
	err     error
}

func eachSample(t *testing.T, f func(*testing.T, digest.Content, digest.Mail)) {
	for name, s := range rendered() {
		t.Run(name, func(t *testing.T) {
			if s.err != nil {
				t.Fatal(s.err)
			}
			f(t, s.content, s.mail)
		})
	}
}

func TestGolden(t *testing.T) {
	for name, c := range samples() {
		if name == "big" || name == "huge" {
			continue // TestLongLists checks them
		}
		m := render(t, c)
		for part, got := range map[string]string{"txt": "Subject: " + m.Subject + "\n\n" + m.Text, "html": m.HTML} {
			file := filepath.Join("testdata", name+"."+part)
			if *update {
				if err := os.MkdirAll("testdata", 0o777); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, []byte(got), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s is not as it was; look at it and run the test with -update\n%s", file, got)
			}
		}
	}
}

func TestSameContentSameBytes(t *testing.T) {
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		if again := render(t, c); again.Text != m.Text || again.HTML != m.HTML || !slices.Equal(again.Lines, m.Lines) {
			t.Error("two renderings differ")
		}
	})
}

func TestSubject(t *testing.T) {
	want := map[string]string{
		"ordinary": "Round for Wed 12 May: 9 tasks, 2 overdue [#K7Q2]",
		"empty":    "Round for Wed 12 May: nothing due [#K7Q2]",
		"alarm":    "Round for Wed 12 May: 3 tasks, 2 overdue, 1 alarm [#K7Q2]",
	}
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		name := t.Name()[strings.LastIndexByte(t.Name(), '/')+1:]
		if w, ok := want[name]; ok && m.Subject != w {
			t.Errorf("subject %q, want %q", m.Subject, w)
		}
		if id, ok := notify.SubjectID(m.Subject); !ok || id != c.ID {
			t.Errorf("subject %q carries the id %q, want %q", m.Subject, id, c.ID)
		}
		if strings.ContainsFunc(m.Subject, unicode.IsControl) {
			t.Errorf("subject %q has a control character", m.Subject)
		}
	})
}

func TestMarkerIsTheLastLineOfBothParts(t *testing.T) {
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		text := strings.Split(strings.TrimSpace(m.Text), "\n")
		blocks := blocksOf(t, m.HTML)
		for _, last := range []string{text[len(text)-1], blocks[len(blocks)-1].text} {
			if id, tok, ok := notify.Marker(last); !ok || id != c.ID || tok != c.Token {
				t.Errorf("last line %q is no marker of %s", last, c.ID)
			}
		}
	})
}

func TestTextIsNarrow(t *testing.T) {
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		if !strings.HasSuffix(m.Text, "\n") || strings.Contains(m.Text, "\n\n\n") {
			t.Error("the text does not end in one line end, or has two empty lines together")
		}
		for line := range strings.Lines(m.Text) {
			line = strings.TrimSuffix(line, "\n")
			if columns(line) > 72 && !oneWord.MatchString(line) {
				t.Errorf("%d columns: %q", columns(line), line)
			}
			if strings.HasSuffix(line, " ") {
				// A space at the end would make it format=flowed (RFC 3676).
				t.Errorf("a space at the end of %q", line)
			}
			if i := strings.IndexFunc(line, func(r rune) bool { return unicode.IsControl(r) }); i >= 0 {
				t.Errorf("a control character in %q", line)
			}
		}
	})
}

// oneWord matches a line that could not be broken: a single word, possibly
// after a number or a label. A no-break space does not separate words.
var oneWord = regexp.MustCompile(`^ *(\d+  |Caution: |... .\d ...  )?[^ ]+$`)

// columns counts two columns for characters that East Asian fonts draw wide. It
// is a coarse version of Unicode Standard Annex 11, enough for the samples.
func columns(s string) int {
	n := 0
	for _, r := range s {
		switch {
		case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.Cf, r):
		case r >= 0x1100 && (unicode.Is(unicode.Han, r) || unicode.Is(unicode.Katakana, r) || unicode.Is(unicode.Hiragana, r)),
			r >= 0xFF01 && r <= 0xFF60, r >= 0x1F300 && r <= 0x1FAFF:
			n += 2
		default:
			n++
		}
	}
	return n
}

// plain makes the words of both parts comparable: lower case, single spaces, no
// no-break spaces.
func plain(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(s), " "))
}

// TestEveryOpenTaskIsInBothParts reads both parts back. Each number must stand
// before its title in both, and every number must belong to a task.
func TestEveryOpenTaskIsInBothParts(t *testing.T) {
	for name, c := range samples() {
		if name == "big" || name == "huge" {
			continue // their HTML has no titles; see TestLongLists
		}
		t.Run(name, func(t *testing.T) {
			m := render(t, c)
			issue := digest.Issue(c, m, "d.1@example.org", time.Time{})
			for part, shown := range map[string][]shownTask{"text": tasksInText(m.Text, c), "HTML": tasksInHTML(t, m.HTML)} {
				byNumber := make(map[int]shownTask)
				for _, s := range shown {
					byNumber[s.n] = s
				}
				for _, r := range c.Board.Rows {
					if r.N == 0 {
						continue
					}
					// If a title after its number would read as a command, a
					// stroke or quotation marks are put into it. Compare
					// letters only.
					s, ok := byNumber[r.N]
					want := letters(r.Title)
					room := letters(s.whom) == letters(r.Place.RoomName) && part == "text" // the room has the same name as the subject
					if s.whom != "" && !room {
						want = letters(r.Do)
						if got := letters(s.whom); got != letters(r.Whom) {
							t.Errorf("%s part has %d under %q, want %q", part, r.N, s.whom, r.Whom)
						}
					}
					if !ok || !strings.HasPrefix(letters(s.words), want) {
						t.Errorf("%s part has %q at %d, want %q", part, s.words, r.N, r.Title)
					}
				}
			}
			if got, want := numbersOf(blocksOf(t, m.HTML)), numbersIn(m.Text); !slices.Equal(got, want) {
				t.Errorf("HTML has the numbers %v, text %v", got, want)
			} else if len(got) != len(issue.Items) {
				t.Errorf("%d numbers for %d tasks", len(got), len(issue.Items))
			}
		})
	}
}

// shownTask is a task as a reader sees it: the subject above it, if any, and
// the words after its number.
type shownTask struct {
	n       int
	whom    string
	words   string
	caution string // the caution, if it is in full
	see     int    // number of the task that has the caution in full
}

var seeNumber = regexp.MustCompile(`Caution: see (\d+)$`)

func (s *shownTask) say(words string) {
	words = strings.Join(strings.Fields(words), " ")
	switch m := seeNumber.FindStringSubmatch(words); {
	case m != nil:
		s.see, _ = strconv.Atoi(m[1])
	case strings.HasPrefix(words, "Caution: "):
		s.caution = strings.TrimPrefix(words, "Caution: ")
		return
	}
	s.words += " " + words
}

// tasksInText reads the rounds of a text part. The heading of a subject stands
// at the left margin just above a number, after an empty line or a task.
func tasksInText(text string, c digest.Content) []shownTask {
	subjects := make(map[string]bool)
	for _, r := range c.Board.Rows {
		subjects[letters(r.Whom)] = r.Whom != ""
	}
	var all []shownTask
	whom, room := "", false
	for paragraph := range strings.SplitSeq(text, "\n") {
		switch m := numberAtLineStart.FindStringSubmatch(paragraph); {
		case m != nil:
			n, _ := strconv.Atoi(m[1])
			all = append(all, shownTask{n: n, whom: whom})
			all[len(all)-1].say(strings.TrimPrefix(strings.TrimSpace(paragraph), m[1]))
			room = false
		case paragraph == "":
			whom, room = "", false
		case !strings.HasPrefix(paragraph, " "):
			// The heading of a room does not name a subject.
			if subjects[letters(paragraph)] {
				whom = paragraph
			}
			room = true
		case len(all) > 0 && !room && strings.HasPrefix(paragraph, "    "):
			last := &all[len(all)-1]
			words := strings.TrimSpace(paragraph)
			if last.caution != "" {
				last.caution += " " + words
			} else {
				last.say(words)
			}
		default:
			room = true // another section
		}
	}
	return all
}

func tasksInHTML(t testing.TB, src string) []shownTask {
	var all []shownTask
	whom := ""
	for n := range parseHTML(t, src).Descendants() {
		switch n.Data {
		case "h2", "h3":
			whom = ""
		case "h4":
			whom = textOf(n)
		case "td":
			words := textOf(n)
			if i, err := strconv.Atoi(words); err == nil {
				all = append(all, shownTask{n: i, whom: whom})
			} else if len(all) > 0 && n.PrevSibling != nil {
				last := &all[len(all)-1]
				for d := range n.Descendants() {
					switch attr(d, "class") {
					case "care", "name", "why", "red", "see":
						last.say(strings.TrimPrefix(textOf(d), "\u00a0\u00b7 "))
					}
				}
			}
		}
	}
	return all
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// TestCautionsAreToldOnce checks that each caution stands in full at the first
// task that has it, and that later tasks refer to that task. Tasks on which a
// life may depend always have the caution in full.
func TestCautionsAreToldOnce(t *testing.T) {
	all := samples()
	all["big house"] = bigHouse(40)
	for name, c := range all {
		if name == "big" || name == "huge" || name == "hostile" { // these samples change the words of cautions
			continue
		}
		t.Run(name, func(t *testing.T) {
			m := render(t, c)
			rows := make(map[int]tasks.Row)
			for _, r := range c.Board.Open() {
				rows[r.N] = r
			}
			for part, shown := range map[string][]shownTask{"text": tasksInText(m.Text, c), "HTML": tasksInHTML(t, m.HTML)} {
				told := make(map[string]int)
				for _, s := range shown {
					r, open := rows[s.n]
					always := r.Pinned || r.Window != nil || r.Missed == husbandry.Alarms
					want := shownTask{n: s.n, whom: s.whom, words: s.words}
					switch at := told[r.Caution]; {
					case !open || r.Caution == "":
					case at > 0 && !always:
						want.see = at
					default:
						want.caution = r.Caution
					}
					if s != want {
						t.Errorf("%s part has at %d the caution %q and sends to %d, want %q and %d", part, s.n, s.caution, s.see, want.caution, want.see)
					}
					if s.caution != "" && told[s.caution] == 0 {
						told[s.caution] = s.n
					}
				}
			}
		})
	}
}

// TestHouseIsShort checks three rules: the tasks of an enclosure stand under a
// single heading, an ordinary task is one line, and a watch does not repeat its
// task.
func TestHouseIsShort(t *testing.T) {
	text := strings.ReplaceAll(render(t, houseDay()).Text, "\u00a0", " ")
	for _, want := range []string{
		"\nE05 (Tessa, crested gecko)\n 6  Fresh water \u00b7 Every day; last changed Tue 11 May \u00b7 Caution: see 2\n" +
			" 7  Mist \u00b7 Every day; last misted Tue 11 May \u00b7 Caution: see 3\n",
		"\n 5  Feed \u00b7 Every 2 days; last fed Mon 10 May \u00b7 Record a refusal\n",
		"\n12  Mist: E03 (Juno and Maro, crested geckos)\n    Every day; last misted Tue 11 May \u00b7 Caution: see 3\n",
		"To be watched from Mon 10 May to Tue 25 May. Its task, with the\n  caution, is number 9 above.\n  Laying of Tessa\n",
		"\n  Feed: E09 (Brisa); E10 (2 crested geckos)\n  Mist: E09 (Brisa)\n",
		"\n 8  Feed: E05 (Tessa, crested gecko) \u00b7 Marked as done\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks\n%s\nit is\n%s", want, text)
		}
	}
}

// TestTapTargets: WCAG 2.2 success criterion 2.5.8 requires 24 by 24 pixels.
// This test requires 40 by 40, because the keeper is half awake.
func TestTapTargets(t *testing.T) {
	size := regexp.MustCompile(`class="key" style="[^"]*width:(\d+)px;line-height:(\d+)px;border:1px `)
	found := size.FindAllStringSubmatch(render(t, houseDay()).HTML, -1)
	if len(found) != 12 {
		t.Fatalf("%d numbers are links, want 12", len(found))
	}
	for _, m := range found {
		width, _ := strconv.Atoi(m[1])
		height, _ := strconv.Atoi(m[2])
		if width+2 < 40 || height+2 < 40 {
			t.Errorf("%s is smaller than 40 by 40 pixels", m[0])
		}
	}
}

func letters(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, strings.ToValidUTF8(s, ""))
}

var numberAtLineStart = regexp.MustCompile(`(?m)^ {0,3}(\d+)  \S`)

func numbersIn(text string) []int {
	var ns []int
	for _, m := range numberAtLineStart.FindAllStringSubmatch(text, -1) {
		n, _ := strconv.Atoi(m[1])
		ns = append(ns, n)
	}
	return ns
}

func numbersOf(blocks []block) []int {
	var ns []int
	for _, b := range blocks {
		if n, err := strconv.Atoi(b.text); err == nil && b.cell {
			ns = append(ns, n)
		}
	}
	return ns
}

// TestBothPartsHaveTheSameWords: both parts have the same words in the same
// order, except for the words of links.
func TestBothPartsHaveTheSameWords(t *testing.T) {
	for name, c := range samples() {
		if name == "big" || name == "huge" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			m := render(t, c)
			flat := plain(flatText(t, m.HTML))
			for _, link := range []string{
				"a tap on a number opens a mail which says that its task has been seen to. it only has to be sent. ",
				"write the mail for the whole list ",
			} {
				had := strings.Contains(flat, link)
				if want := c.ReplyTo != "" && name != "empty"; had != want {
					t.Errorf("HTML has %q: %v, want %v", link, had, want)
				}
				flat = strings.Replace(flat, link, "", 1)
			}
			// Separators within a line are missing at the end of a line, so
			// leave them out.
			parts := strings.NewReplacer(" - ", " ", " \u00b7 ", " ")
			text := parts.Replace(plain(m.Text))
			if flat = parts.Replace(flat); flat != text {
				t.Errorf("HTML:\n%s\ntext:\n%s", flat, text)
			}
		})
	}
}

// block is a run of text in the HTML part that has no further block in it.
type block struct {
	text string // text with single spaces
	raw  string // text unchanged
	cell bool   // the block is a table cell
}

var blockElements = map[string]bool{"p": true, "div": true, "h1": true, "h2": true, "h3": true, "h4": true, "td": true, "tr": true,
	"table": true, "body": true, "html": true}

func parseHTML(t testing.TB, src string) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(src))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func blocksOf(t testing.TB, src string) []block {
	var blocks []block
	var b strings.Builder
	flush := func(cell bool) {
		if s := strings.Join(strings.Fields(b.String()), " "); s != "" {
			blocks = append(blocks, block{s, b.String(), cell})
		}
		b.Reset()
	}
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		switch {
		case n.Type == html.TextNode:
			b.WriteString(n.Data)
			return
		case n.Data == "head":
			return
		case n.Type == html.ElementNode && blockElements[n.Data]:
			flush(false)
			defer flush(n.Data == "td")
		}
		for c := range n.ChildNodes() {
			walk(c)
		}
	}
	walk(parseHTML(t, src))
	return blocks
}

func flatText(t testing.TB, src string) string {
	var all []string
	for _, b := range blocksOf(t, src) {
		all = append(all, strings.TrimSpace(b.raw))
	}
	return strings.Join(all, " ")
}

// TestNothingIsFetchedOrRun parses the HTML part as a browser does and checks
// every element and attribute.
func TestNothingIsFetchedOrRun(t *testing.T) {
	elements := map[string]bool{"html": true, "head": true, "meta": true, "title": true, "style": true, "body": true, "div": true,
		"h1": true, "h2": true, "h3": true, "h4": true, "p": true, "b": true, "bdi": true, "span": true, "a": true, "table": true, "tbody": true,
		"tr": true, "td": true}
	attributes := map[string]bool{"lang": true, "charset": true, "name": true, "content": true, "class": true, "style": true, "href": true,
		"aria-label": true, "role": true, "cellpadding": true, "cellspacing": true, "border": true}
	eachSample(t, func(t *testing.T, c digest.Content, m digest.Mail) {
		styles := 0
		for n := range parseHTML(t, m.HTML).Descendants() {
			if n.Type == html.CommentNode {
				t.Errorf("a comment: %q", n.Data)
			}
			if n.Type != html.ElementNode {
				continue
			}
			if !elements[n.Data] {
				t.Errorf("an element <%s>", n.Data)
			}
			if n.Data == "style" {
				styles++
				for _, bad := range []string{"url(", "@import", "expression", "@font-face", "http"} {
					if strings.Contains(n.FirstChild.Data, bad) {
						t.Errorf("the style sheet has %q", bad)
					}
				}
			}
			for _, a := range n.Attr {
				if !attributes[a.Key] {
					t.Errorf("an attribute %s=%q of <%s>", a.Key, a.Val, n.Data)
				}
				if a.Key == "href" && (n.Data != "a" || !strings.HasPrefix(a.Val, "mailto:")) {
					t.Errorf("a link to %q", a.Val)
				}
				if a.Key == "style" && (strings.Contains(a.Val, "url") || strings.Contains(a.Val, "ZgotmplZ")) {
					t.Errorf("a style %q", a.Val)
				}
			}
		}
		if styles != 1 {
			t.Errorf("%d style sheets", styles)
		}
		if !strings.Contains(m.HTML, `<meta name="color-scheme" content="light dark">`) {
			t.Error("the colour schemes are not named")
		}
	})
}

// TestLinksAreMails parses each link by RFC 6068. It must have the address, the
// tag in the subject, and a body of one line with the command for that number.
func TestLinksAreMails(t *testing.T) {
	c := ordinaryDay()
	m := render(t, c)
	var bodies []string
	for n := range parseHTML(t, m.HTML).Descendants() {
		if n.Data != "a" {
			continue
		}
		href := attr(n, "href")
		// RFC 6068 section 5: "+" does not mean a space.
		if strings.Contains(strings.TrimPrefix(href, "mailto:lizards+d."), "+") {
			t.Errorf("%s has a plus sign outside the address", href)
		}
		u, err := url.Parse(href)
		if err != nil {
			t.Fatal(err)
		}
		to, err := url.PathUnescape(u.Opaque)
		if err != nil || u.Scheme != "mailto" || to != "lizards+d."+token+"@example.org" {
			t.Errorf("%s goes to %q", href, to)
		}
		if tok, ok := notify.AddressToken(to); !ok || tok != token {
			t.Errorf("%s has no token", href)
		}
		q := u.Query()
		if id, ok := notify.SubjectID(q.Get("subject")); !ok || id != "K7Q2" || len(q) != 2 {
			t.Errorf("%s has the fields %v", href, q)
		}
		if strings.ContainsAny(q.Get("body"), "\r\n") {
			t.Errorf("%s has more than one line", href)
		}
		bodies = append(bodies, q.Get("body"))
	}
	want := []string{"done 1", "done 2", "done 3", "done 4", "done 5", "done 6", "done 7", "done 8", "done 9", "all"}
	if !slices.Equal(bodies, want) {
		t.Errorf("the links say %q, want %q", bodies, want)
	}
}

// TestLinkAddresses has the examples of RFC 6068 sections 6.1 and 6.2 for
// addresses with characters that are special in a URL (from memory).
func TestLinkAddresses(t *testing.T) {
	for address, want := range map[string]string{
		"chris@example.com":                  "mailto:chris@example.com?",
		"gorby%kremvax@example.com":          "mailto:gorby%25kremvax@example.com?",
		"unlikely?address@example.com":       "mailto:unlikely%3Faddress@example.com?",
		"Mike&family@example.org":            "mailto:Mike%26family@example.org?",
		`"not@me"@example.org`:               "mailto:%22not%40me%22@example.org?",
		"The keeper <bill+ietf@example.org>": "mailto:bill+ietf@example.org?",
	} {
		c := ordinaryDay()
		c.ReplyTo = address
		for n := range parseHTML(t, render(t, c).HTML).Descendants() {
			if n.Data == "a" && !strings.HasPrefix(attr(n, "href"), want) {
				t.Errorf("link to %s is %s, want %s...", address, attr(n, "href"), want)
			}
		}
	}
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func TestIncompleteContent(t *testing.T) {
	for name, change := range map[string]func(*digest.Content){
		"no board":   func(c *digest.Content) { c.Board = nil },
		"no id":      func(c *digest.Content) { c.ID = "" },
		"no token":   func(c *digest.Content) { c.Token = "" },
		"no address": func(c *digest.Content) { c.ReplyTo = "lizards at example.org" },
	} {
		c := ordinaryDay()
		change(&c)
		if m, err := digest.Render(c); err == nil || m.Text != "" {
			t.Errorf("%s: error %v and %d bytes", name, err, len(m.Text))
		}
	}
}

// An overdue date in an earlier year shows the year.
func TestOverdueDateOfEarlierYearShowsYear(t *testing.T) {
	old := with(row(1, "Gecko room", husbandry.Morning, husbandry.Feed, "E01", "Feed E01", "", 0), func(r *tasks.Row) {
		r.Status, r.Due = tasks.Overdue, civil.MustParse("2026-12-30")
	})
	if text := render(t, frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{old}})).Text; !strings.Contains(text, "due Wed 30 Dec 2026, 133 days ago") {
		t.Error(text)
	}
}

func TestCountLine(t *testing.T) {
	lines := func(c digest.Content) string { return strings.Split(render(t, c).Text, "\n")[2] }
	late := func(n int, alarm bool) tasks.Row {
		return with(row(n, "Gecko room", husbandry.Morning, husbandry.Feed, "E01", "Feed E01", "", 0), func(r *tasks.Row) {
			overdue(1)(r)
			if alarm {
				r.Missed = husbandry.Alarms
			}
		})
	}
	one := row(1, "Gecko room", husbandry.Morning, husbandry.Feed, "E01", "Feed E01", "", 1)
	marked := with(one, func(r *tasks.Row) { r.Status = tasks.Done })
	upcoming := []digest.Day{day(1, 0, 0), day(2, 3, 5)}
	for _, test := range []struct {
		name  string
		rows  []tasks.Row
		ahead []digest.Day
		want  string
	}{
		{"one task of a minute", []tasks.Row{one}, nil, "1 task, about 1 minute."},
		{"tasks without minutes", []tasks.Row{late(1, false), late(2, false)}, nil, "2 tasks; 2 overdue."},
		{"the only late task is an alarm", []tasks.Row{late(1, true)}, nil, "1 task; 1 alarm; 1 overdue."},
		{"one alarm among late tasks", []tasks.Row{late(1, false), late(2, true)}, nil, "2 tasks; 1 alarm; 2 overdue."},
		{"each late task is an alarm", []tasks.Row{late(1, true), late(2, true)}, nil, "2 tasks; 2 alarms; 2 overdue."},
		{"an alarm of today is not late", []tasks.Row{with(late(1, true), func(r *tasks.Row) { r.Status, r.Pinned = tasks.Due, true }), late(2, false)}, nil, "2 tasks; 1 alarm; 1 overdue."},
		{"nothing today, something on Friday", nil, upcoming, "Nothing is due today. The next task is on Fri 14 May."},
		{"nothing all week", nil, []digest.Day{day(1, 0, 0), day(7, 0, 0)}, "Nothing is due today. Nothing is planned until Wed 19 May either."},
		{"nothing at all", nil, nil, "Nothing is due today. Nothing is planned."},
		{"the list is finished", []tasks.Row{marked}, upcoming, "Nothing is left to do today. The next task is on Fri 14 May."},
	} {
		c := frame(&tasks.Board{On: wednesday, Rows: test.rows})
		c.Ahead = test.ahead
		if got := lines(c); got != test.want {
			t.Errorf("%s: %q, want %q", test.name, got, test.want)
		}
	}
	far := frame(&tasks.Board{On: wednesday})
	far.Next = civil.MustParse("2028-02-29")
	if got, want := lines(far), "Nothing is due today. The next task is on Tue 29 Feb 2028."; got != want {
		t.Errorf("far off: %q, want %q", got, want)
	}
	long := frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{with(one, func(r *tasks.Row) { r.Minutes = 130 })}})
	if got, want := lines(long), "1 task, about 2 h 10 min."; got != want {
		t.Errorf("long work: %q, want %q", got, want)
	}
}

// TestChancesInWords compares with the likelihood scale of the IPCC:
// Mastrandrea et al. 2010, Guidance Note for Lead Authors of the IPCC Fifth
// Assessment Report on Consistent Treatment of Uncertainties, table 1 (from
// memory).
func TestChancesInWords(t *testing.T) {
	for _, test := range []struct {
		p    float64
		want string
	}{
		{0, "exceptionally unlikely, 0 %"},
		{0.004, "exceptionally unlikely, under 1 %"},
		{0.05, "very unlikely, 5 %"},
		{0.18, "unlikely, 18 %"},
		{0.5, "about as likely as not, 50 %"},
		{0.68, "likely, 68 %"},
		{0.95, "very likely, 95 %"},
		{0.996, "virtually certain, over 99 %"},
		{1, "virtually certain, 100 %"},
	} {
		c := emptyDay()
		c.Watches = []digest.Watch{{Title: "Hatching of C27-02", Forecast: true, Today: test.p}}
		if m := render(t, c); !strings.Contains(m.Text, "  Today "+test.want+".\n") {
			t.Errorf("%v is not told as %q:\n%s", test.p, test.want, m.Text)
		}
	}
}

func TestWeekEnd(t *testing.T) {
	for on, want := range map[string]string{
		"2027-05-12": "2027-05-16", // a Wednesday
		"2027-05-15": "2027-05-16", // a Saturday
		"2027-05-16": "2027-05-23", // a Sunday
		"2027-12-31": "2028-01-02", // the year's last Friday
	} {
		if got := digest.WeekEnd(civil.MustParse(on)).String(); got != want {
			t.Errorf("week end of %s is %s, want %s", on, got, want)
		}
	}
}

func TestIssueHasNumberedTasks(t *testing.T) {
	c := alarmDay()
	m := render(t, c)
	sent := time.Date(2027, 5, 12, 9, 12, 0, 0, time.UTC)
	issue := digest.Issue(c, m, "d.1@example.org", sent)
	if issue.ID != "K7Q2" || issue.Token != token || issue.MessageID != "d.1@example.org" || issue.Date != wednesday || !issue.Sent.Equal(sent) {
		t.Errorf("issue is %+v", issue)
	}
	var got []string
	for _, i := range issue.Items {
		got = append(got, fmt.Sprint(i.N, " ", i.Task, " ", i.Kind, " ", i.Scope, " ", i.Pinned, " ", i.Overdue))
	}
	want := []string{
		"1 F03/common.lay-watch/2027-05-12 lay-watch animal true true",
		"2 E03/common.nest-top-up/2027-05-12 nest-top-up enclosure false true",
		"3 E04/common.feed/2027-05-12 feed enclosure false false",
		"4 E05/common.feed/2027-05-12 feed enclosure false false",
		"5 E05/common.clean/2027-05-12 clean enclosure false false",
	}
	if !slices.Equal(got, want) {
		t.Errorf("items are\n%s", strings.Join(got, "\n"))
	}
	if !slices.Equal(issue.Lines, m.Lines) || len(m.Lines) == 0 {
		t.Error("the issue does not have the digest's lines")
	}
}

// TestLongLists: web mail cuts mails off at 102 KB, and an answer that quotes
// the text must stay below the size that reply reads (256 KiB). No number and
// no caution may get lost.
func TestLongLists(t *testing.T) {
	t.Parallel()
	for n, want := range map[int]struct{ html, text string }{
		12:   {"", ""},
		200:  {"", ""},
		270:  {"their numbers open no mail", ""},
		400:  {"their numbers open no mail", ""},
		2000: {"only their number and their place", "reasons of ordinary tasks are left out"},
		4000: {"only their number and their place", "only their number and their place"},
	} {
		c := bigDay(n)
		m := render(t, c)
		if len(m.HTML) > 102<<10 && n <= 2000 {
			t.Errorf("%d enclosures: %d bytes of HTML", n, len(m.HTML))
		}
		if len(m.Text) > 200<<10 {
			t.Errorf("%d enclosures: %d bytes of text", n, len(m.Text))
		}
		flat, text := flatText(t, m.HTML), plain(m.Text)
		for part, s := range map[string][2]string{"HTML": {plain(flat), want.html}, "text": {text, want.text}} {
			if shortened := strings.Contains(s[0], "this list is long"); shortened != (s[1] != "") || !strings.Contains(s[0], s[1]) {
				t.Errorf("%d enclosures: the %s part says wrongly how it is shortened, want %q; it has %d bytes", n, part, s[1], len(s[0]))
			}
			words := make(map[string]bool)
			fields := strings.Fields(s[0])
			for i := 1; i < len(fields); i++ {
				words[fields[i-1]+" "+strings.TrimRight(fields[i], ".;")] = true
			}
			for _, r := range c.Board.Rows {
				number := strconv.Itoa(r.N) + " "
				title, _, _ := strings.Cut(strings.ToLower(r.Title), " ")
				if !words[number+title] && !words[number+strings.ToLower(string(r.Subject))] {
					t.Errorf("%d enclosures: the %s part lacks number %d", n, part, r.N)
				}
			}
			if n >= 12 && !strings.Contains(s[0], "caution: straining or weakness: call the veterinarian.") {
				t.Errorf("%d enclosures: the %s part lacks the caution", n, part)
			}
		}
	}
}

// behindNumbers indexes the numbers in s. The function it returns reports
// whether the words follow the number n anywhere, with a space on both sides of
// the number.
func behindNumbers(s string) func(n int, words string) bool {
	at := make(map[int][]string)
	for i := 0; i < len(s); i++ {
		if s[i] != ' ' {
			continue
		}
		number, rest, found := strings.Cut(s[i+1:], " ")
		if n, err := strconv.Atoi(number); found && err == nil {
			at[n] = append(at[n], rest)
		}
	}
	return func(n int, words string) bool {
		return slices.ContainsFunc(at[n], func(rest string) bool { return strings.HasPrefix(rest, words) })
	}
}

// TestLongListsOfSubjects: in a list shortened to any degree, each task keeps
// its number. Each also keeps its caution, in full or as the number of a task
// that has it in full.
func TestLongListsOfSubjects(t *testing.T) {
	t.Parallel()
	for _, n := range []int{40, 150, 300, 1500} {
		c := bigHouse(n)
		m := render(t, c)
		if len(m.HTML) > 102<<10 {
			t.Errorf("%d enclosures: %d bytes of HTML", n, len(m.HTML))
		}
		for part, s := range map[string]string{"HTML": flatText(t, m.HTML), "text": m.Text} {
			s = strings.Join(strings.Fields(s), " ")
			told := behindNumbers(s)
			full := make(map[string]int)
			watches := 0
			for _, r := range c.Board.Rows {
				if !told(r.N, r.Do) && !told(r.N, string(r.Subject)) {
					t.Errorf("%d enclosures: the %s part lacks number %d", n, part, r.N)
				}
				if full[r.Caution] == 0 {
					full[r.Caution] = r.N
				}
				if r.Pinned {
					watches++
				}
			}
			for caution, at := range full {
				want := 1
				if strings.HasPrefix(caution, "Straining") {
					want = watches
				}
				if got := strings.Count(s, "Caution: "+caution); got != want {
					t.Errorf("%d enclosures: the %s part has %q %d times, want %d", n, part, caution, got, want)
				}
				if sent := strings.Contains(s, fmt.Sprintf("Caution: see %d", at)); sent == strings.HasPrefix(caution, "Straining") {
					t.Errorf("%d enclosures: the %s part sends to %q at %d: %v", n, part, caution, at, sent)
				}
			}
		}
	}
}

// TestALongListOfOverdueTasks: after an illness of the keeper, all tasks are
// overdue with the same caution. The caution must not be repeated at each task.
func TestLongListOfOverdueTasks(t *testing.T) {
	t.Parallel()
	c := bigDay(2000)
	for i := range c.Board.Rows {
		overdue(3)(&c.Board.Rows[i])
		c.Board.Rows[i].Pinned = false
		c.Board.Rows[i].Caution = "Mind the lamp: it is hot."
	}
	m := render(t, c)
	if len(m.HTML) > 102<<10 {
		t.Errorf("%d bytes of HTML", len(m.HTML))
	}
	if n := strings.Count(m.HTML, "Mind the lamp"); n < 1 || n > 40 {
		t.Errorf("the caution stands %d times", n)
	}
	told := behindNumbers(m.HTML)
	for _, r := range c.Board.Rows {
		if !told(r.N, string(r.Subject)) {
			t.Errorf("HTML lacks %d %s", r.N, r.Subject)
		}
	}
}

func BenchmarkRender(b *testing.B) {
	for _, n := range []int{12, 200, 2000} {
		c := bigDay(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				render(b, c)
			}
		})
	}
}
