package main

import (
	"bytes"
	"context"
	"crypto/rand"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-message/mail"

	"nestround/cmd/nestround/house"
	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/tasks/english"
)

//go:embed practice.html
var practiceHTML string

var practiceTemplate = template.Must(template.New("practice").Parse(practiceHTML))

// practicePage is the demo's page: the keeper's mailbox, a form for a reply,
// and the current round. The form sends a real mail by SMTP. The reply takes
// effect only after the program has read that mail over IMAP.
type practicePage struct {
	demo     *demo
	base     string // the page's address, which paths are added to
	calendar string

	mu    sync.Mutex
	taken map[string]chan house.Taken // replies on their way, by Message-ID
	told  map[string]string           // result of each form, by the form's id
}

func newPracticePage(d *demo) *practicePage {
	return &practicePage{demo: d, taken: make(map[string]chan house.Taken), told: make(map[string]string)}
}

// took receives the outcome of every reply that the program has read.
func (p *practicePage) took(t house.Taken) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if c, ok := p.taken[t.ID]; ok {
		c <- t // does not block: the channel has room for one value
		delete(p.taken, t.ID)
	}
}

func (p *practicePage) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	head := w.Header()
	head.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
	head.Set("Referrer-Policy", "no-referrer")
	head.Set("Cache-Control", "no-store")
	head.Set("X-Content-Type-Options", "nosniff")
	switch {
	case r.URL.Path == "/" && (r.Method == http.MethodGet || r.Method == http.MethodHead):
		p.show(w, r)
	case r.URL.Path == "/reply" && r.Method == http.MethodPost:
		p.reply(w, r)
	default:
		http.NotFound(w, r)
	}
}

// shownMail is a mail of the keeper's mailbox.
type shownMail struct {
	N             int // from 1, oldest first
	Subject, From string
	Text, HTML    string
	Open          bool
}

func (p *practicePage) show(w http.ResponseWriter, r *http.Request) {
	d := p.demo
	s, err := d.house.Refresh()
	if err != nil {
		http.Error(w, "the books could not be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	box := d.box.Messages(demoKeeper)
	open, err := strconv.Atoi(r.URL.Query().Get("mail"))
	if err != nil || open < 1 || open > len(box) {
		open = len(box)
	}
	data := struct {
		Keeper, Dir, Day, Calendar, Told, Once, Example, Round string
		Mails                                                  []shownMail
		Open                                                   *shownMail
	}{
		Keeper: demoKeeper, Dir: d.dir, Day: english.LongDate(s.Today()), Calendar: p.calendar, Once: rand.Text(),
		Example: "For example: done 1 3, or: 7 laid 6, or: 4 weighs 41 g, or: later 2 friday, or: undo 1.",
	}
	p.mu.Lock()
	data.Told = p.told[r.URL.Query().Get("sent")]
	p.mu.Unlock()
	for i := len(box); i > 0; i-- {
		m := readMail(box[i-1])
		m.N, m.Open = i, i == open
		data.Mails = append(data.Mails, m)
		if m.Open {
			data.Open = &m
		}
	}
	var round bytes.Buffer
	plain := *d.program
	plain.stdout, plain.terminal = &round, false
	plain.printRound(s.Board(s.Today()), s.Rounds())
	data.Round = round.String()
	var page bytes.Buffer
	if err := practiceTemplate.Execute(&page, data); err != nil {
		http.Error(w, "the page could not be made: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(page.Bytes())
}

// readMail reads a mail that this program wrote.
func readMail(raw []byte) shownMail {
	var m shownMail
	r, err := mail.CreateReader(bytes.NewReader(raw))
	if err != nil {
		return shownMail{Subject: "a mail that cannot be read", Text: err.Error()}
	}
	defer r.Close()
	m.Subject, _ = r.Header.Subject()
	if from, err := r.Header.AddressList("From"); err == nil && len(from) > 0 {
		m.From = from[0].Address
	}
	for {
		part, err := r.NextPart()
		if err != nil {
			return m
		}
		h, ok := part.Header.(*mail.InlineHeader)
		if !ok {
			continue
		}
		var body bytes.Buffer
		body.ReadFrom(part.Body)
		switch t, _, _ := h.ContentType(); t {
		case "text/plain":
			m.Text = body.String()
		case "text/html":
			m.HTML = body.String()
		}
	}
}

// patience is the longest wait for a reply, from the form to the daybook.
const patience = 20 * time.Second

func (p *practicePage) reply(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		http.Error(w, "this form is sent from its own page only", http.StatusForbidden)
		return
	}
	once, words := r.PostFormValue("once"), strings.TrimSpace(r.PostFormValue("words"))
	p.mu.Lock()
	_, seen := p.told[once]
	if !seen {
		p.told[once] = "The reply is on its way."
	}
	p.mu.Unlock()
	if !seen {
		told := p.send(r.Context(), words)
		p.mu.Lock()
		p.told[once] = told
		p.mu.Unlock()
	}
	http.Redirect(w, r, "/?sent="+once, http.StatusSeeOther)
}

// send mails words as the keeper's reply to today's digest, and returns a
// sentence on the outcome.
func (p *practicePage) send(ctx context.Context, words string) string {
	if words == "" {
		return "The reply was empty and was not sent."
	}
	s := p.demo.house.Snapshot()
	issue, ok := s.TodaysIssue()
	if !ok {
		return "There is no digest of today to reply to."
	}
	m := notify.Message{
		ID: strings.ToLower(rand.Text()) + "@phone.example.org", Date: p.demo.now(), From: demoKeeper, To: s.ReplyTo(issue),
		Subject: "Re: your round " + notify.SubjectTag(issue.ID), InReplyTo: issue.MessageID, References: []string{issue.MessageID},
		Text: words + "\n",
	}
	raw, err := mailout.Compose(m)
	if err != nil {
		return "The reply could not be written: " + err.Error()
	}
	sender, err := mailout.NewSMTP(mailout.Options{Addr: p.demo.box.SMTP(), Security: mailout.None, User: demoKeeper, Password: demoPassword})
	if err != nil {
		return "The reply could not be sent: " + err.Error()
	}
	done := make(chan house.Taken, 1)
	p.mu.Lock()
	p.taken[m.ID] = done
	p.mu.Unlock()
	if err := sender.Send(ctx, notify.Outgoing{ID: m.ID, From: demoKeeper, To: s.ReplyTo(issue), Raw: raw}); err != nil {
		return "The reply could not be sent: " + err.Error()
	}
	before := len(p.demo.box.Messages(demoKeeper))
	select {
	case t := <-done:
		// The program's answer to the reply arrives soon. Wait for the answer,
		// so that the page shows it.
		for wait := 0; wait < 100 && len(t.Accepted)+len(t.Refused) > 0 && len(p.demo.box.Messages(demoKeeper)) == before; wait++ {
			time.Sleep(20 * time.Millisecond)
		}
		return summary(t)
	case <-time.After(patience):
		return "The reply was sent, and has not been read yet; load the page again."
	case <-ctx.Done():
		return "The reply was sent."
	}
}

func summary(t house.Taken) string {
	if t.Ignored != "" {
		return "The reply was ignored: " + t.Ignored
	}
	s := fmt.Sprintf("The reply came back over IMAP: %d recorded", len(t.Accepted))
	if len(t.Refused) > 0 {
		s += fmt.Sprintf(", %d not understood (%s)", len(t.Refused), t.Refused[0].Why)
	}
	return s + ". The round below has changed, and the answer is in the mailbox."
}
