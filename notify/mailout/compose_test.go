package mailout_test

import (
	"bytes"
	"flag"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-message"
	gomessagemail "github.com/emersion/go-message/mail"

	"nestround/notify"
	"nestround/notify/mailout"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func digest() notify.Message {
	return notify.Message{
		ID:        "d.K7Q2.3hx9@lizards.example.org",
		Date:      time.Date(2026, 11, 24, 6, 0, 0, 0, time.FixedZone("", 3600)),
		From:      "Eidechsen-Runde früh <lizards@example.org>",
		To:        `"Keeper, the" <keeper@example.org>`,
		ReplyTo:   "lizards+d.K7Q2@example.org",
		Subject:   "Round Tue 24 Nov [#K7Q2]: 28.5 °C, 7 tasks, 1 overdue, and a subject long enough to be folded twice",
		Automatic: "auto-generated",
		Text: "Overdue\n\n  1  Top up the nest box of E07\n.\n..dots\nFrom the incubator: 28.5 °C\n" +
			strings.Repeat("long line ", 40) + "\n",
		HTML: "<p>Overdue</p>\n<ol><li>Top up the nest box of E07 – 60 ml</li></ol>\n",
	}
}

func answer() notify.Message {
	m := digest()
	m.ID, m.Automatic, m.HTML = "a.K7Q2.1@lizards.example.org", "auto-replied", ""
	m.InReplyTo = "CAF=reply+1@mail.example.org"
	for i := range 30 {
		m.References = append(m.References, "ref"+strings.Repeat("x", i)+"@example.org")
	}
	return m
}

func compose(t *testing.T, m notify.Message) []byte {
	t.Helper()
	raw, err := mailout.Compose(m)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func TestComposeGolden(t *testing.T) {
	for name, m := range map[string]notify.Message{"digest": digest(), "answer": answer()} {
		raw, file := compose(t, m), "testdata/"+name+".eml"
		if *update {
			if err := os.WriteFile(file, raw, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(raw, want) {
			t.Errorf("%s differs; run the test with -update and look at the change:\n%s", file, raw)
		}
		if !bytes.Equal(raw, compose(t, m)) {
			t.Errorf("%s: composing twice gives different bytes", name)
		}
	}
}

// The standard library's parser must read a composed mail correctly. It shares
// no code with the writer except quoted-printable.
func TestComposeReadByNetMail(t *testing.T) {
	m := digest()
	msg, err := mail.ReadMessage(bytes.NewReader(compose(t, m)))
	if err != nil {
		t.Fatal(err)
	}
	h := msg.Header
	if got, err := new(mime.WordDecoder).DecodeHeader(h.Get("Subject")); err != nil || got != m.Subject {
		t.Errorf("Subject %q, %v", got, err)
	}
	for field, want := range map[string]string{
		"Message-Id": "<" + m.ID + ">", "Auto-Submitted": "auto-generated", "X-Auto-Response-Suppress": "All",
		"Date": "Tue, 24 Nov 2026 06:00:00 +0100", "Mime-Version": "1.0", "Reply-To": "<lizards+d.K7Q2@example.org>",
		"User-Agent": "", "X-Mailer": "", "Precedence": "", "In-Reply-To": "", "References": "",
	} {
		if got := h.Get(field); got != want {
			t.Errorf("%s: %q, want %q", field, got, want)
		}
	}
	from, err := h.AddressList("From")
	if err != nil || len(from) != 1 || from[0].Name != "Eidechsen-Runde früh" || from[0].Address != "lizards@example.org" {
		t.Errorf("From %v, %v", from, err)
	}
	to, err := h.AddressList("To")
	if err != nil || len(to) != 1 || to[0].Name != "Keeper, the" || to[0].Address != "keeper@example.org" {
		t.Errorf("To %v, %v", to, err)
	}

	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("Content-Type %q, %v", h.Get("Content-Type"), err)
	}
	parts := multipart.NewReader(msg.Body, params["boundary"])
	for _, want := range []struct{ kind, body string }{
		{"text/plain; charset=UTF-8", m.Text}, {"text/html; charset=UTF-8", m.HTML},
	} {
		p, err := parts.NextRawPart()
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Header.Get("Content-Type"); got != want.kind {
			t.Errorf("part of type %q, want %q", got, want.kind)
		}
		if got := p.Header.Get("Content-Transfer-Encoding"); got != "quoted-printable" {
			t.Errorf("part encoded as %q", got)
		}
		body, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil || strings.ReplaceAll(string(body), "\r\n", "\n") != want.body {
			t.Errorf("%s: %q, %v", want.kind, body, err)
		}
	}
	if _, err := parts.NextRawPart(); err != io.EOF {
		t.Errorf("a third part: %v", err)
	}
}

func TestComposeReadByGoMessage(t *testing.T) {
	m := answer()
	r, err := gomessagemail.CreateReader(bytes.NewReader(compose(t, m)))
	if err != nil {
		t.Fatal(err)
	}
	if id, err := r.Header.MessageID(); err != nil || id != m.ID {
		t.Errorf("Message-ID %q, %v", id, err)
	}
	if ids, err := r.Header.MsgIDList("In-Reply-To"); err != nil || !slices.Equal(ids, []string{m.InReplyTo}) {
		t.Errorf("In-Reply-To %q, %v", ids, err)
	}
	if ids, err := r.Header.MsgIDList("References"); err != nil || !slices.Equal(ids, m.References) {
		t.Errorf("References %q, %v", ids, err)
	}
	if d, err := r.Header.Date(); err != nil || !d.Equal(m.Date) {
		t.Errorf("Date %v, %v", d, err)
	}
	p, err := r.NextPart()
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(p.Body)
	if err != nil || strings.ReplaceAll(string(body), "\r\n", "\n") != m.Text {
		t.Errorf("text %q, %v", body, err)
	}
	if _, err := r.NextPart(); err != io.EOF {
		t.Errorf("an answer without HTML has a second part: %v", err)
	}
}

// RFC 5322 §2.1.1: at most 998 characters per line, preferably 78; §2.3: CR and
// LF only together.
func TestComposeKeepsLinesShort(t *testing.T) {
	for _, m := range []notify.Message{digest(), answer()} {
		for line := range strings.SplitSeq(strings.TrimSuffix(string(compose(t, m)), "\r\n"), "\r\n") {
			if len(line) > 78 || strings.ContainsAny(line, "\r\n") {
				t.Errorf("line of %d: %q", len(line), line)
			}
		}
	}
}

func TestPersonalMailIsNotMarkedAutomatic(t *testing.T) {
	m := digest()
	m.Automatic = ""
	raw := compose(t, m)
	if bytes.Contains(raw, []byte("Auto-Submitted")) || bytes.Contains(raw, []byte("X-Auto")) {
		t.Errorf("marked:\n%s", raw)
	}
}

func TestComposeRefuses(t *testing.T) {
	for name, change := range map[string]func(*notify.Message){
		"subject with a header in it":     func(m *notify.Message) { m.Subject = "x\r\nBcc: thief@example.org" },
		"subject with a bare LF":          func(m *notify.Message) { m.Subject = "x\ny" },
		"subject with a bare CR":          func(m *notify.Message) { m.Subject = "x\ry" },
		"subject with NUL":                func(m *notify.Message) { m.Subject = "x\x00y" },
		"subject with NEL":                func(m *notify.Message) { m.Subject = "x\u0085y" },
		"subject that cannot be folded":   func(m *notify.Message) { m.Subject = strings.Repeat("x", 1200) },
		"name with a line break":          func(m *notify.Message) { m.From = "Liz\r\nX: y <lizards@example.org>" },
		"recipient with a line break":     func(m *notify.Message) { m.To = "keeper@example.org\r\nBcc: x@example.org" },
		"two recipients":                  func(m *notify.Message) { m.To = "a@example.org, b@example.org" },
		"no recipient":                    func(m *notify.Message) { m.To = "" },
		"address without a domain":        func(m *notify.Message) { m.To = "keeper" },
		"address with umlauts":            func(m *notify.Message) { m.To = "pfleger@echsen-müller.example" },
		"address that needs quoting":      func(m *notify.Message) { m.To = `"a b"@example.org` },
		"Reply-To with a line break":      func(m *notify.Message) { m.ReplyTo = "a@example.org\n" },
		"Message-ID with a line break":    func(m *notify.Message) { m.ID = "a@b\r\nX: y" },
		"Message-ID in brackets":          func(m *notify.Message) { m.ID = "<a@b>" },
		"Message-ID without a host":       func(m *notify.Message) { m.ID = "a" },
		"no Message-ID":                   func(m *notify.Message) { m.ID = "" },
		"reply to two Message-IDs in one": func(m *notify.Message) { m.InReplyTo = "a@b> <c@d" },
		"reference with a line break":     func(m *notify.Message) { m.References = []string{"a@b", "c@d\n"} },
		"no date":                         func(m *notify.Message) { m.Date = time.Time{} },
		"an impossible Auto-Submitted":    func(m *notify.Message) { m.Automatic = "no\r\nX: y" },
	} {
		t.Run(name, func(t *testing.T) {
			m := digest()
			change(&m)
			if raw, err := mailout.Compose(m); err == nil {
				t.Errorf("composed:\n%s", raw)
			} else if strings.ContainsAny(err.Error(), "\r\x00") {
				t.Errorf("the error carries the bad characters on: %q", err)
			}
		})
	}
}

// A body must not be able to end its part early. It could guess the boundary,
// because the boundary comes from the Message-ID.
func TestBodyCannotForgeTheBoundary(t *testing.T) {
	m := digest()
	first := compose(t, m)
	_, params, err := mime.ParseMediaType(header(t, first).Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	m.Text = "before\n--" + params["boundary"] + "\nContent-Type: text/html\n\n<b>forged</b>\n"
	raw := compose(t, m)
	_, again, err := mime.ParseMediaType(header(t, raw).Get("Content-Type"))
	if err != nil || again["boundary"] == params["boundary"] {
		t.Errorf("boundary %q kept though the text holds it (%v)", again["boundary"], err)
	}
}

func header(t *testing.T, raw []byte) mail.Header {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	return m.Header
}

// For all values, a composed mail has these header fields, each once, and the
// text can be read back.
func FuzzCompose(f *testing.F) {
	m := digest()
	f.Add(m.ID, m.From, m.To, m.ReplyTo, m.Subject, m.Text, m.HTML)
	f.Add("a@b", "x <a@b>", "a@b", "", "=?utf-8?q?x?=", "a\r\n.\r\n", "")
	f.Add("a@b", "\"\r\n\" <a@b>", "a@b\n", "\r", "x\r\ny", "\r\r\n", "<p>")
	known := []string{
		"Auto-Submitted", "Content-Transfer-Encoding", "Content-Type", "Date", "From", "Message-Id", "Mime-Version",
		"Reply-To", "Subject", "To", "X-Auto-Response-Suppress",
	}
	f.Fuzz(func(t *testing.T, id, from, to, replyTo, subject, text, html string) {
		raw, err := mailout.Compose(notify.Message{
			ID: id, Date: m.Date, From: from, To: to, ReplyTo: replyTo, Subject: subject,
			Automatic: "auto-generated", Text: text, HTML: html,
		})
		if err != nil {
			if raw != nil {
				t.Error("bytes with an error")
			}
			return
		}
		e, err := message.Read(bytes.NewReader(raw))
		if err != nil {
			t.Fatalf("go-message: %v\n%q", err, raw)
		}
		seen := map[string]int{}
		for fields := e.Header.Fields(); fields.Next(); {
			seen[fields.Key()]++
		}
		for k, n := range seen {
			if n != 1 || !slices.Contains(known, k) {
				t.Errorf("header %q %d times\n%q", k, n, raw)
			}
		}
		h := header(t, raw)
		if got := h.Get("Message-Id"); got != "<"+id+">" {
			t.Errorf("Message-ID %q became %q", id, got)
		}
		if html != "" {
			mr := e.MultipartReader()
			if e, err = mr.NextPart(); err != nil {
				t.Fatalf("first part: %v\n%q", err, raw)
			}
		}
		body, err := io.ReadAll(e.Body)
		if err != nil {
			t.Fatalf("body: %v\n%q", err, raw)
		}
		if got, want := lines(string(body)), lines(strings.ToValidUTF8(text, "\uFFFD")); got != want {
			t.Errorf("text %q became %q", want, got)
		}
	})
}

// lines makes all line ends equal and drops line ends at the end.
func lines(s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	s = strings.ReplaceAll(s, "\r", "\n")
	return strings.TrimRight(s, "\n")
}
