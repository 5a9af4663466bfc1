package reply

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

func TestReadHeader(t *testing.T) {
	m, err := Read([]byte(strings.Join([]string{
		"Return-Path: <keeper@example.com>",
		"Delivered-To: lizards@example.org",
		"X-Original-To: lizards+d.TOK@example.org",
		"Authentication-Results: first.example.org; none",
		"Authentication-Results: second.example.org; none",
		"from : Sam <keeper@example.com>",
		"To: nestround <a@example.org>,",
		"\tb@example.org",
		"Cc: c@example.org",
		"Subject: =?utf-8?q?R=C3=A9=3A?= Tuesday",
		" 24 November [#K7Q2]",
		"Date: Tue, 24 Nov 2026 19:05:11 +0100 (CET)",
		"Message-ID: <m1@mail.example.com>",
		"In-Reply-To: <d1@example.org>",
		"References: <d0@example.org> <d1@example.org>",
		"", "done 1", ""}, "\r\n")))
	if err != nil {
		t.Fatal(err)
	}
	want := Mail{
		MessageID: "m1@mail.example.com", From: "keeper@example.com", FromField: "Sam <keeper@example.com>",
		Recipients: []string{"a@example.org", "b@example.org", "c@example.org", "lizards@example.org", "lizards+d.TOK@example.org"},
		Subject:    "Ré: Tuesday 24 November [#K7Q2]",
		Date:       m.Date,
		InReplyTo:  []string{"d1@example.org"}, References: []string{"d0@example.org", "d1@example.org"},
		MediaType:   "text/plain",
		AuthResults: []string{"first.example.org; none", "second.example.org; none"},
		machine:     map[string]string{},
		dateField:   "Tue, 24 Nov 2026 19:05:11 +0100 (CET)",
		Writers:     []string{"keeper@example.com"},
		Lines:       []string{"done 1"},
	}
	if !reflect.DeepEqual(m, want) {
		t.Errorf("got  %+v\nwant %+v", m, want)
	}
	if !m.Date.Equal(time.Date(2026, 11, 24, 18, 5, 11, 0, time.UTC)) {
		t.Errorf("date is %v", m.Date)
	}
}

func TestReadRefuses(t *testing.T) {
	head := "From: keeper@example.com\n"
	for name, raw := range map[string]string{
		"a header line too long":    head + "X: " + strings.Repeat("x", maxHeaderLine) + "\n\nall\n",
		"a header too large":        head + strings.Repeat("X: "+strings.Repeat("x", 1000)+"\n", 70) + "\nall\n",
		"two From fields":           head + "From: keeper@example.com\n\nall\n",
		"two From fields, one odd":  head + "FROM : x@evil.example\n\nall\n",
		"two authors":               "From: keeper@example.com, x@evil.example\n\nall\n",
		"a From field too long":     "From: " + strings.Repeat("x ", 600) + "<keeper@example.com>\n\nall\n",
		"no header":                 "\n\nall\n",
		"text in place of a header": "hello\nworld\n\nall\n",
		"a header line with spaces": "From me: x\n\nall\n",
		"nothing":                   "",
	} {
		m, err := Read([]byte(raw))
		if err == nil && (name == "no header" || name == "nothing") {
			// A mail without a header is read, but belongs to nobody.
			if m.From != "" || m.MessageID == "" {
				t.Errorf("%s: %+v", name, m)
			}
			continue
		}
		if err == nil || !reflect.DeepEqual(m, Mail{}) {
			t.Errorf("%s: error %v with %+v", name, err, m)
		}
	}
}

// A mail that cannot be judged still shows whether it may be a keeper's. Its
// author is not told, because nobody may be taken for the author.
func TestUnreadableMailsTellOfWhomTheyMayBe(t *testing.T) {
	rest := "Subject: Re: Round [#K7Q2]\nTo: lizards+d.TOK@example.org\nMessage-ID: <m@example.com>\nIn-Reply-To: <d1@example.org>\n"
	long := "X: " + strings.Repeat("x", 1000) + "\n"
	for _, c := range []struct{ name, header, why string }{
		{"two From fields", "From: keeper@example.com\nFrom: x@evil.example\n" + rest, "it has 2 From fields where one is allowed"},
		{"two authors", "From: keeper@example.com, x@evil.example\n" + rest, "its From field names 2 people where one is allowed"},
		{"a header too large", "Sender: keeper@example.com\n" + rest + strings.Repeat(long, 70), "its header is larger than 64 KB"},
		{"a line too long", "X: " + strings.Repeat("x", maxHeaderLine) + "\nFrom: keeper@example.com\n" + rest, "a line of its header is longer than 8 KB"},
		{"a damaged line", "From: keeper@example.com\nFrom me: x\n" + rest, "its header is damaged"},
	} {
		for _, read := range []func([]byte) (Mail, error){Read, ReadHeader} {
			raw := c.header + "\nall\n"
			if c.name == "a header too large" {
				raw = raw[:maxHeader] + "\r\n\r\n"
			}
			m, err := read([]byte(raw))
			var u *Unreadable
			if !errors.As(err, &u) || !strings.Contains(u.Err.Error(), c.why) {
				t.Fatalf("%s: %v", c.name, err)
			}
			seen := u.Seen
			if !reflect.DeepEqual(m, Mail{}) || seen.From != "" || seen.Lines != nil || seen.MessageID != "m@example.com" ||
				!slices.Contains(seen.Writers, "keeper@example.com") || len(seen.Recipients) != 1 || len(seen.InReplyTo) != 1 || !strings.Contains(seen.Subject, "K7Q2") {
				t.Errorf("%s: %+v, seen %+v", c.name, m, seen)
			}
		}
	}
	m, err := ReadHeader([]byte("From: keeper@example.com\n" + rest + "\n"))
	if err != nil || m.From != "keeper@example.com" || m.Trouble != "its text is longer than 256 KB" || m.Lines != nil {
		t.Errorf("a header alone: %+v, %v", m, err)
	}
}

// pictured is a mail with a picture of the given size before its text.
func pictured(size int) io.Reader {
	line := strings.Repeat("A", 76) + "\r\n"
	return io.MultiReader(
		strings.NewReader("From: keeper@example.com\r\nMessage-ID: <m@example.com>\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n"+
			"--b\r\nContent-Type: image/jpeg\r\nContent-Transfer-Encoding: base64\r\n\r\n"),
		&io.LimitedReader{R: &repeated{text: line}, N: int64(size / len(line) * len(line))},
		strings.NewReader("--b\r\nContent-Type: text/plain\r\n\r\ndone 1\r\n--b--\r\n"))
}

// repeated is an endless text.
type repeated struct {
	text string
	at   int
}

func (r *repeated) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		k := copy(p[n:], r.text[r.at:])
		n, r.at = n+k, (r.at+k)%len(r.text)
	}
	return n, nil
}

// The commands count whatever stands beside them, and the memory does not grow
// with the pictures.
func TestALargeMailIsReadInLittleMemory(t *testing.T) {
	read := func(size int) (allocated uint64) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		m, err := ReadFrom(pictured(size))
		runtime.ReadMemStats(&after)
		if err != nil || !slices.Equal(m.Lines, []string{"done 1"}) {
			t.Fatalf("%d bytes: %q, %q, %v", size, m.Lines, m.Trouble, err)
		}
		return after.TotalAlloc - before.TotalAlloc
	}
	read(1 << 10)
	if n := read(64 << 20); n > 4<<20 {
		t.Errorf("a mail of 64 MB took %d KB of memory", n>>10)
	}
	broken := errors.New("the disk is broken")
	if _, err := ReadFrom(io.MultiReader(io.LimitReader(pictured(1<<20), 5000), iotest.ErrReader(broken))); !errors.Is(err, broken) {
		t.Errorf("an error of the reader is %v", err)
	}
}

func TestMailsWithoutID(t *testing.T) {
	read := func(head, body string) string {
		m, err := Read([]byte("From: keeper@example.com\n" + head + "\n" + body))
		if err != nil {
			t.Fatal(err)
		}
		return m.MessageID
	}
	a := read("Date: Tue, 24 Nov 2026 19:05:11 +0100\n", "done 1\n")
	if !strings.HasPrefix(a, "sha256:") || len(a) != len("sha256:")+64 {
		t.Errorf("id is %q", a)
	}
	if b := read("Date: Tue, 24 Nov 2026 19:05:11 +0100\nReceived: by another way\nMessage-ID: <>\n", "done 1\n"); b != a {
		t.Errorf("the same mail by another way is %q, not %q", b, a)
	}
	for _, b := range []string{read("Date: Tue, 24 Nov 2026 19:05:12 +0100\n", "done 1\n"), read("Date: Tue, 24 Nov 2026 19:05:11 +0100\n", "done 2\n")} {
		if b == a {
			t.Errorf("another mail has the same id %q", b)
		}
	}
}

// bodyOf reads a mail with the given Content fields.
func bodyOf(t testing.TB, content, body string) Mail {
	t.Helper()
	m, err := Read([]byte("From: keeper@example.com\nMessage-ID: <m@example.com>\nMIME-Version: 1.0\n" + content + "\n" + body))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// RFC 3676, section 4.7: its two examples with the results that it gives.
func TestExamplesOfRFC3676(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"paragraphs", "`Take some more tea,' the March Hare said to Alice, very \nearnestly.\n\n`I've had nothing yet,' Alice replied in an offended tone, `so \nI can't take more.'\n\n`You mean you can't take LESS,' said the Hatter: `it's very \neasy to take MORE than nothing.'\n",
			"`Take some more tea,' the March Hare said to Alice, very earnestly.\n\n`I've had nothing yet,' Alice replied in an offended tone, `so I can't take more.'\n\n`You mean you can't take LESS,' said the Hatter: `it's very easy to take MORE than nothing.'"},
		{"quotes", ">>>Take some more tea.\n>>I've had nothing yet, so I can't take more.\n>You mean you can't take LESS, it's very easy to take \n>MORE than nothing.\n",
			">>> Take some more tea.\n>> I've had nothing yet, so I can't take more.\n> You mean you can't take LESS, it's very easy to take MORE than nothing."},
		// Section 4.3: the signature's separator is never flowed.
		{"signature", "all \n-- \nSam \nKeeper\n", "all \n-- \nSam Keeper"},
		// Section 4.4: stuffed spaces.
		{"stuffing", " From me\n  two\n", "From me\n two"},
		// Section 4.5: a flowed line before a line of another depth.
		{"depths", "> a \nb\n", "> a \nb"},
		{"a flowed last line", "a \n", "a "},
	} {
		m := bodyOf(t, "Content-Type: text/plain; Format=Flowed\n", c.text)
		if got := strings.Join(m.Lines, "\n"); got != c.want {
			t.Errorf("%s:\n%q, want\n%q", c.name, got, c.want)
		}
	}
	m := bodyOf(t, "Content-Type: text/plain; format=flowed; delsp=yes\n", "do \nne 1 \n 3\n")
	if got := strings.Join(m.Lines, "\n"); got != "done 13" {
		t.Errorf("delsp: %q", got)
	}
}

func TestTextOfAMail(t *testing.T) {
	alternative := func(parts ...string) string {
		return "--b\n" + strings.Join(parts, "\n--b\n") + "\n--b--\n"
	}
	for _, c := range []struct{ name, content, body, want, trouble string }{
		{"plain", "", "done 1\n", "done 1", ""},
		{"a byte order mark", "Content-Type: text/plain; charset=utf-8\n", "\ufeffdone 1\n", "done 1", ""},
		{"not UTF-8, though it says so", "Content-Type: text/plain; charset=utf-8\n", "note 2: w\xe4rm\n", "note 2: w\ufffdrm", ""},
		{"latin 1", "Content-Type: text/plain; charset=iso-8859-1\n", "note 2: w\xe4rm\n", "note 2: wärm", ""},
		{"an unreadable type", "Content-Type: text; plain\n", "done 1\n", "done 1", ""},
		{"quoted-printable", "Content-Transfer-Encoding: quoted-printable\n", "done =\n1=203\n", "done 1 3", ""},
		{"quoted-printable, a literal equals sign", "Content-Transfer-Encoding: quoted-printable\n", "note 2: a =ZZ b\n", "note 2: a =ZZ b", ""},
		{"quoted-printable, damaged", "Content-Transfer-Encoding: quoted-printable\n", "all \x01 but 4\n", "", "its quoted-printable encoding is damaged"},
		{"base64, damaged", "Content-Transfer-Encoding: base64\n", "ZG9uZSAx!!!!ZG9uZSAx\n", "", "its base64 encoding is damaged"},
		{"base64, cut off", "Content-Transfer-Encoding: base64\n", "ZG9uZSAx\nMjM", "", "it is cut off"},
		{"an unknown encoding", "Content-Transfer-Encoding: x-rot13\n", "qbar 1\n", "", `its transfer encoding "x-rot13" is not known`},
		{"no text", "Content-Type: image/png\n", "x", "", "it holds no text"},
		{"an attached text only", "Content-Type: text/plain\nContent-Disposition: attachment\n", "all\n", "", "it holds no text"},
		{"plain before HTML", "Content-Type: multipart/alternative; boundary=b\n", alternative("Content-Type: text/html\n\n<p>all", "Content-Type: text/plain\n\ndone 1"), "done 1", ""},
		{"HTML where plain is empty", "Content-Type: multipart/alternative; boundary=b\n", alternative("Content-Type: text/plain\n\n  \n", "Content-Type: text/html\n\n<p>done 1"), "done 1\n", ""},
		{"HTML with pictures", "Content-Type: multipart/alternative; boundary=b\n",
			alternative("Content-Type: multipart/related; boundary=c\n\n--c\nContent-Type: text/html\n\n<p>done 1\n--c\nContent-Type: image/png\n\nx\n--c--\n"), "done 1\n", ""},
		{"a part of an unknown encoding beside one that is read", "Content-Type: multipart/mixed; boundary=b\n",
			alternative("Content-Transfer-Encoding: x-rot13\n\nqbar 1", "Content-Type: text/plain\n\ndone 1"), "", `its transfer encoding "x-rot13" is not known`},
		{"HTML of an unknown encoding beside plain text", "Content-Type: multipart/alternative; boundary=b\n",
			alternative("Content-Type: text/html\nContent-Transfer-Encoding: x-rot13\n\n<p>nyy", "Content-Type: text/plain\n\ndone 1"), "done 1", ""},
		{"HTML too large beside plain text", "Content-Type: multipart/alternative; boundary=b\n",
			alternative("Content-Type: text/plain\n\ndone 1", "Content-Type: text/html\n\n"+strings.Repeat("<p>all\n", MaxText/5)), "done 1", ""},
		{"HTML too large after plain text that is shown with it", "Content-Type: multipart/mixed; boundary=b\n",
			alternative("Content-Type: text/plain\n\ndone 1", "Content-Type: text/html\n\n"+strings.Repeat("<p>all\n", MaxText/5)), "", "its text is longer than 256 KB"},
		{"HTML that is cut off beside plain text", "Content-Type: multipart/alternative; boundary=b\n",
			"--b\nContent-Type: text/plain\n\ndone 1\n--b\nContent-Type: text/html\n\n<p>al", "done 1", ""},
		{"plain text too large beside HTML", "Content-Type: multipart/alternative; boundary=b\n",
			alternative("Content-Type: text/plain\n\n"+strings.Repeat("all\n", MaxText/3), "Content-Type: text/html\n\n<p>done 1"), "", "its text is longer than 256 KB"},
		{"a picture that is cut off after the text", "Content-Type: multipart/mixed; boundary=b\n",
			"--b\nContent-Type: text/plain\n\ndone 1\n--b\nContent-Type: image/jpeg\n\nxx", "", "it is cut off"},
		{"the header of a part too large", "Content-Type: multipart/mixed; boundary=b\n",
			alternative("Content-Type: text/plain\n\ndone 1", "X: "+strings.Repeat("x", 2*maxHeader)+"\n\nx"), "", "the header of a part is larger than 64 KB"},
		{"a signed mail", "Content-Type: multipart/signed; boundary=b\n", alternative("Content-Type: text/plain\n\ndone 1", "Content-Type: application/pgp-signature\n\nx"), "done 1", ""},
		{"a multipart without a boundary", "Content-Type: multipart/mixed\n", "--\n\nall\n", "", "its parts are damaged"},
		{"a multipart that ends early", "Content-Type: multipart/mixed; boundary=b\n", "--b\n\nall but", "", "it is cut off"},
		{"a multipart without parts", "Content-Type: multipart/mixed; boundary=b\n", "nothing\n", "", "its parts are damaged"},
		{"encrypted", "Content-Type: multipart/encrypted; boundary=b\n", alternative("Content-Type: application/octet-stream\n\nx"), "", "it holds no text"},
	} {
		m := bodyOf(t, c.content, c.body)
		if got := strings.Join(m.Lines, "\n"); got != c.want || m.Trouble != c.trouble {
			t.Errorf("%s: %q, trouble %q; want %q, %q", c.name, got, m.Trouble, c.want, c.trouble)
		}
		if (m.Lines == nil) != (m.Trouble != "") {
			t.Errorf("%s: %d lines with trouble %q", c.name, len(m.Lines), m.Trouble)
		}
	}
}

// nested makes a mail with nested parts.
func nested(depth int) []byte {
	var b, end bytes.Buffer
	b.WriteString("From: keeper@example.com\n")
	for i := range depth {
		fmt.Fprintf(&b, "Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n", i, i)
	}
	b.WriteString("Content-Type: text/plain\n\ndone 1\n")
	for i := depth - 1; i >= 0; i-- {
		fmt.Fprintf(&end, "\n--b%d--\n", i)
	}
	return append(b.Bytes(), end.Bytes()...)
}

func TestLimitsOfParts(t *testing.T) {
	read := func(raw []byte) Mail {
		m, err := Read(raw)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	if m := read(nested(maxDepth)); m.Trouble != "" || !slices.Contains(m.Lines, "done 1") {
		t.Errorf("%d deep: %q, %q", maxDepth, m.Lines, m.Trouble)
	}
	for _, depth := range []int{maxDepth + 1, 5000} {
		if m := read(nested(depth)); m.Trouble != "its parts are nested more than 20 deep" || m.Lines != nil {
			t.Errorf("%d deep: %q, %q", depth, m.Lines, m.Trouble)
		}
	}
	many := func(n int) []byte {
		return []byte("From: x@example.com\nContent-Type: multipart/mixed; boundary=b\n\n" + strings.Repeat("--b\n\ndone 1\n", n) + "--b--\n")
	}
	if m := read(many(maxParts - 1)); m.Trouble != "" || len(m.Lines) != maxParts-1 {
		t.Errorf("%d parts: %d lines, %q", maxParts-1, len(m.Lines), m.Trouble)
	}
	for _, n := range []int{maxParts, 50000} {
		if m := read(many(n)); m.Trouble != "it has more than 1000 parts" || m.Lines != nil {
			t.Errorf("%d parts: %d lines, %q", n, len(m.Lines), m.Trouble)
		}
	}
	long := strings.Repeat("x", 99) + "\n"
	text := func(n int) Mail {
		return bodyOf(t, "Content-Transfer-Encoding: base64\n", base64.StdEncoding.EncodeToString([]byte(strings.Repeat(long, n))))
	}
	if m := text(MaxText / 100); m.Trouble != "" {
		t.Errorf("text below the limit: %q", m.Trouble)
	}
	if m := text(MaxText/100 + 1); m.Trouble != "its text is longer than 256 KB" {
		t.Errorf("text above the limit: %d lines, %q", len(m.Lines), m.Trouble)
	}
}

func TestHTMLToLines(t *testing.T) {
	for _, c := range []struct{ name, html, want string }{
		{"paragraphs", "<p>done 1<p>skip 2", "done 1||skip 2|"},
		{"breaks", "done 1<br>skip 2<br/>", "done 1|skip 2"},
		{"divs", "<div>done 1</div><div>skip 2</div>", "done 1|skip 2"},
		{"one line of many words", "<div>done <b>1</b> <i>3</i>\n and&nbsp;5</div>", "done 1 3 and\u00a05"},
		{"letters in several elements", "<div>d<b>on</b>e 1</div>", "done 1"},
		{"a list", "<ul><li>done 1</li><li>skip 2</li></ul>", "done 1|skip 2"},
		{"a table", "<table><tr><td>1</td><td>Feed E01</td></tr><tr><td>2</td></tr></table>", "1 Feed E01|2"},
		{"preformatted", "<pre>done 1\nskip 2</pre>", "done 1|skip 2"},
		{"not shown", "<title>all</title><style>all</style><script>all</script><div style='DISPLAY : none'>all</div><!-- all -->x", "x"},
		{"a quote", "a<blockquote>b<blockquote>c</blockquote>d</blockquote>e", "a|> b|>> c|> d|e"},
		{"a quote by its class", "a<div class='x GMAIL_QUOTE'>b</div>c", "a|> b|c"},
		{"a rule", "a<hr>b", "a||b"},
		{"everything below", "a<div><div id=x_divRplyFwdMsg>b</div>c</div>d", "a|> b|> c|> d"},
		{"a border that marks no quote", "a<div style='border-top:solid red 1pt'>b</div>", "a|b"},
		{"entities", "7 laid 6 &amp; 2 slugs", "7 laid 6 & 2 slugs"},
	} {
		got, err := htmlLines(c.html)
		if err != nil || strings.Join(got, "|") != c.want {
			t.Errorf("%s: %q, %v; want %q", c.name, strings.Join(got, "|"), err, c.want)
		}
	}
}

// HTML of 256 KiB that makes browsers hang must be read or refused quickly.
func TestHTMLBombs(t *testing.T) {
	for name, unit := range map[string]string{
		"nested divs": "<div>", "nested quotes": "<blockquote>", "nested tables": "<table><tr><td>", "formatting": "<b><i><u><s>",
		"formatting in tables": "<table><b>", "links": "<a href=x>", "misnested": "<b><p></b>", "entities": "&#65;&notanentity;", "attributes": "<p a=b c=d e=f>",
		"comments": "<!-- ", "templates": "<template><div>", "selects": "<select><option>", "closing": "</p></div>",
	} {
		body := strings.Repeat(unit, MaxText/len(unit)) + "all"
		m := bodyOf(t, "Content-Type: text/html\n", body)
		if p := Parse(strings.Join(Own(m.Lines, nil), "\n"), nil); len(p.Commands) > 1 {
			t.Errorf("%s: %d commands", name, len(p.Commands))
		}
	}
	m := bodyOf(t, "Content-Type: text/html\n", strings.Repeat("<div>", 600)+"all")
	if m.Trouble != "its HTML cannot be read: it is nested too deeply" || m.Lines != nil {
		t.Errorf("600 divs: %q, %q", m.Trouble, m.Lines)
	}
}

func FuzzRead(f *testing.F) {
	for _, c := range keeperMails {
		f.Add(readTestdata(f, c.file))
	}
	f.Add(readTestdata(f, "rfc3464-dsn.eml"))
	f.Add(nested(21))
	f.Add([]byte("From: x\nContent-Transfer-Encoding: x\n\nall"))
	policy := Policy{Keepers: []string{"keeper@example.com"}, AuthservID: "mx.example.org", TokenSuffices: true}
	issue := theIssue(f)
	f.Fuzz(func(t *testing.T, raw []byte) {
		m, err := Read(raw)
		if err != nil {
			var u *Unreadable
			if !reflect.DeepEqual(m, Mail{}) || !errors.As(err, &u) || u.Seen.From != "" || u.Seen.Lines != nil || u.Seen.MessageID == "" {
				t.Fatalf("a mail came with the error %v", err)
			}
			return
		}
		if m.MessageID == "" || (m.Trouble != "" && m.Lines != nil) {
			t.Fatalf("%+v", m)
		}
		for _, line := range m.Lines {
			if strings.ContainsAny(line, "\n\r") {
				t.Fatalf("a line holds a line end: %q", line)
			}
		}
		again, err := Read(raw)
		if err != nil || !reflect.DeepEqual(m, again) {
			t.Fatal("read twice, the mail differs")
		}
		match, _ := Identify(m, issues{issue})
		v := Judge(m, policy, match.Token)
		if v.Accepted == (v.Ignored != "") {
			t.Fatalf("%+v", v)
		}
		p := understood(m, issue)
		acts, _ := Resolve(p.Commands, issue.Items, issue.Date)
		for _, a := range acts {
			if a.Task == "" || a.Text == "" || a.Mark == "" && a.Finding == nil {
				t.Fatalf("%+v", a)
			}
		}
	})
}

func BenchmarkMailToCommands(b *testing.B) {
	issue := theIssue(b)
	raw := readTestdata(b, "gmail-en.eml")
	b.SetBytes(int64(len(raw)))
	for b.Loop() {
		m, err := Read(raw)
		if err != nil {
			b.Fatal(err)
		}
		if p := understood(m, issue); len(p.Commands) != 2 {
			b.Fatal(p)
		}
	}
}

// 200 KB of lines that nearly are attributions, header blocks, quotes and
// commands.
func BenchmarkMailOfNearMisses(b *testing.B) {
	unit := "On Tue, 24 Nov 2026 at 06:00, somebody <\nsomebody@example.org> wrote\n -----\nFrom : x\n >x\n12 Feed E01, 13 laid\n"
	raw := []byte("From: keeper@example.com\n\n" + strings.Repeat(unit, 200<<10/len(unit)))
	issue := theIssue(b)
	b.SetBytes(int64(len(raw)))
	for b.Loop() {
		m, err := Read(raw)
		if err != nil {
			b.Fatal(err)
		}
		own := Own(m.Lines, QuotesOf(issue))
		for len(own) > 0 { // Parse accepts 64 KiB at a time
			n := min(len(own), 2000)
			Parse(strings.Join(own[:n], "\n"), theBooks)
			own = own[n:]
		}
	}
}

// Any HTML gives lines without line ends, and always the same. Inside a quote it
// gives quotes only.
func FuzzHTML(f *testing.F) {
	for _, s := range []string{
		"<div>done 1</div><blockquote type=cite>done 2</blockquote>", "<p>done 1<br>skip 2<table><tr><td>7 laid 6</table>", "<pre>done\n1</pre>&#13;&#10;&nbsp;",
		"<div class=gmail_quote>x</div><div id=appendonsend></div>done 9", "<style>done 1</style><script>all</script><template>all</template><title>all</title>",
		"<svg><foreignObject><p>all</p></foreignObject></svg><math><mi>done 1", "<plaintext>done 1</plaintext>", "<!--done 1--><![CDATA[done 2]]><select><option>all", strings.Repeat("<div>", 511) + "all",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, src string) {
		lines, err := htmlLines(src)
		again, errAgain := htmlLines(src)
		if !reflect.DeepEqual(lines, again) || (err == nil) != (errAgain == nil) {
			t.Fatal("read twice, the lines differ")
		}
		for _, l := range lines {
			if strings.ContainsAny(l, "\r\n") {
				t.Errorf("a line holds a line end: %q", l)
			}
		}
		if strings.Contains(strings.ToLower(src), "blockquote") {
			return // it may end the quote
		}
		quoted, err := htmlLines("<blockquote>" + src + "</blockquote>")
		if err != nil {
			return
		}
		for _, l := range Own(quoted, nil) {
			if strings.TrimSpace(l) != "" {
				t.Errorf("%q leaves the quote", l)
			}
		}
	})
}
