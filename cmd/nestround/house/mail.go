package house

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"nestround/config"
	"nestround/notify"
	"nestround/notify/mailout"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// Taken is the outcome of one mail, as `replies --json` shows it.
type Taken struct {
	ID       string     `json:"id"`
	From     string     `json:"from"`
	Digest   string     `json:"digest"`
	Ignored  string     `json:"ignored"` // reason why the mail does not count, or ""
	Accepted []Accepted `json:"accepted"`
	Refused  []Refused  `json:"refused"`
	// Repeated says that the mail was taken before.
	Repeated bool `json:"-"`
}

// mailTaker checks incoming mails, takes their commands, and composes answers.
type mailTaker struct{ h *House }

// take does the same as TakeMail, but leaves the answer to its caller. TakeMail
// then puts the answer into the outbox. The outbox may be busy, and the house
// must answer other callers meanwhile. If take returns an OwedError, the
// commands are recorded.
func (c mailTaker) take(m reply.Mail, dry bool) (t Taken, answer *notify.Outgoing, err error) {
	s, err := c.h.Refresh()
	if err != nil {
		return t, nil, err
	}
	t = Taken{ID: m.MessageID, From: m.From, Accepted: []Accepted{}, Refused: []Refused{}}
	match, answersOne := reply.Identify(m, c.h.issues)
	t.Digest = match.Issue.ID
	verdict := reply.Judge(m, c.policy(s), match.Token)
	if t.Ignored = verdict.Ignored; !verdict.Accepted {
		c.h.log.Info("a mail was ignored", "id", m.MessageID, "from", m.From, "why", verdict.Ignored)
		if !dry {
			err = owed(c.notBelieved(s, m, verdict, match.Token))
		}
		return t, nil, err
	}
	switch {
	case m.Trouble != "":
		t.Ignored = m.Trouble
	case !answersOne:
		t.Ignored = "it names no digest that is known"
	}
	switch {
	case t.Ignored == "":
	case dry:
		return t, nil, nil
	case m.Trouble != "" && answersOne:
		answer, err = c.cannotRead(m, match.Issue)
		return t, answer, owed(err)
	case m.Trouble != "":
		return t, nil, owed(c.leave(s, m, unread{Why: m.Trouble, Kind: unreadableMail, Believed: true}))
	default:
		return t, nil, owed(c.leave(s, m, unread{Why: t.Ignored, Lines: m.Lines, Believed: true}))
	}
	issue := match.Issue
	answers, err := c.h.issues.answered(issue)
	if err != nil {
		return t, nil, err
	}
	words := reply.Own(m.Lines, reply.QuotesOf(issue, answers))
	message := Message{ID: m.MessageID, Via: tasks.ViaMail, By: m.From, At: saidAt(m, issue, s.settings.Zone),
		Words: strings.Join(words, "\n"), Issue: &issue, Dry: dry}
	said, err := c.h.take(message, func(s *Snapshot, said Said) (err error) {
		t.told(said)
		c.h.log.Info("a reply was read", "id", m.MessageID, "from", m.From, "digest", issue.ID,
			"recorded", len(t.Accepted), "refused", len(t.Refused), "repeated", t.Repeated)
		answer, err = c.respond(s, m, issue, t, verdict.MayAnswer(said.parsed), words)
		return owed(err)
	})
	if dry {
		t.told(said)
	}
	return t, answer, err
}

// respond composes the answer to a reply that was taken. If the reply gets no
// answer, the next digest quotes the words that were not understood.
func (c mailTaker) respond(s *Snapshot, m reply.Mail, issue notify.Issue, t Taken, mayAnswer bool, words []string) (*notify.Outgoing, error) {
	if !mayAnswer {
		if len(t.Refused) == 0 {
			return nil, nil
		}
		return nil, c.leave(s, m, unread{Why: "nothing in it was a command", Lines: words, Believed: true})
	}
	answer, why, err := c.answer(s, m, issue, answerText(s, t, issue, saidAt(m, issue, s.settings.Zone)))
	if err == nil && why != "" && len(t.Refused) > 0 {
		err = c.leave(s, m, unread{Why: "some of it was not understood" + why, Lines: words, Believed: true})
	}
	return answer, err
}

// cannotRead informs a believed sender that a mail cannot be read, in the next
// digest and in an answer.
func (c mailTaker) cannotRead(m reply.Mail, issue notify.Issue) (answer *notify.Outgoing, err error) {
	err = c.h.write(func(_ *daybook.Book, s *Snapshot) (err error) {
		var text strings.Builder
		fmt.Fprintf(&text, "Your mail of %s could not be read: %s. Nothing in it was recorded.\n\n", english.WeekdayMoment(saidAt(m, issue, s.settings.Zone)), m.Trouble)
		fmt.Fprintf(&text, "Please write the commands as plain text in a new reply, at most %d KB with all quotes.\n", reply.MaxText>>10)
		answer, _, err = c.answer(s, m, issue, text.String())
		if err != nil {
			return err
		}
		return c.leave(s, m, unread{Why: m.Trouble, Kind: unreadableMail, Believed: true})
	})
	return answer, err
}

// notBelieved reports a mail that does not count in the next digest, if it may be a
// keeper's: it has the address of a keeper; or it has the token of a digest, which
// only a receiver of that digest can know; or it cannot be read and refers to a
// digest in another way. The digest does not quote the mail.
func (c mailTaker) notBelieved(s *Snapshot, m reply.Mail, v reply.Verdict, token bool) error {
	if v.Automatic || !v.Unproven && !token && (m.Trouble == "" || !c.mayBeAKeepers(s, m)) {
		return nil
	}
	return c.leave(s, m, unread{Why: "it was not believed: " + v.Ignored})
}

// leave stores a mail for the next digest.
func (c mailTaker) leave(s *Snapshot, m reply.Mail, x unread) error {
	x.ID, x.From, x.At = m.MessageID, m.From, c.h.now().In(s.settings.Zone)
	return c.h.unread.leave(x)
}

// told adds the outcome of the mail's commands to t.
func (t *Taken) told(said Said) {
	t.Accepted, t.Refused, t.Repeated = append(t.Accepted, said.Accepted...), append(t.Refused, said.Refused...), said.Repeated
}

// saidAt returns the time at which the keeper is taken to have written a mail.
// This is the Date of the mail if the Date is plausible: not before the digest,
// and at most 60 days after the digest. Any other Date is wrong or forged, and
// the time of the digest counts. The arrival of the mail never counts, so that
// a delay changes nothing.
func saidAt(m reply.Mail, issue notify.Issue, zone *time.Location) time.Time {
	at := m.Date
	if at.Before(issue.Sent) || at.After(issue.Sent.AddDate(0, 0, 60)) {
		at = issue.Sent
	}
	return at.In(zone).Truncate(time.Second)
}

func (c mailTaker) policy(s *Snapshot) reply.Policy {
	p := reply.Policy{Own: func(id string) bool {
		if strings.HasPrefix(id, answerPrefix) && strings.HasSuffix(id, "@"+domain(s.settings)) {
			return true
		}
		_, ok := c.h.issues.ByMessageID(id)
		return ok
	}}
	p.Keepers = mayReply(s)
	if in := s.settings.In; in != nil {
		p.AuthservID = in.AuthservID
		p.TokenSuffices = in.Trust == config.Token
	}
	return p
}

func bareAddress(s string) string {
	if a, err := mail.ParseAddress(s); err == nil {
		return a.Address
	}
	return s
}

// domain is the part after the @ in the program's Message-IDs.
func domain(settings *config.Settings) string {
	a := bareAddress(settings.Digest.From)
	if i := strings.LastIndexByte(a, '@'); i >= 0 {
		return a[i+1:]
	}
	return "nestround.invalid"
}

const (
	answerPrefix  = "a."
	answersADay   = 3 // stops two machines that answer each other
	answersMemory = 200
)

// answers lists the mails that were answered recently, in state/answers.json.
type answers struct {
	Day  civil.Date `json:"day"`
	Done int        `json:"done"` // number of answers on that day
	IDs  []string   `json:"ids"`
}

// answer composes an answer with the given text. It returns nil if the reply has
// an answer already, or if it cannot have an answer. In the second case, why is the
// reason, as the end of a sentence.
func (c mailTaker) answer(s *Snapshot, m reply.Mail, issue notify.Issue, text string) (_ *notify.Outgoing, why string, err error) {
	if s.settings.Out == nil {
		return nil, ", and keeper.toml has no [mail.out] to send an answer", nil
	}
	past, err := remembered[answers](c.h.troubles, c.h.state("answers.json"))
	switch {
	case err != nil:
		return nil, "", err
	case slices.Contains(past.IDs, m.MessageID):
		return nil, "", nil
	case past.Day == s.today && past.Done >= answersADay:
		return nil, fmt.Sprintf(", and %d answers had been sent that day", answersADay), nil
	}
	msg := notify.Message{
		ID:        answerID(s.settings, issue, m.MessageID),
		Date:      c.h.now().In(s.settings.Zone),
		From:      s.settings.Digest.From,
		To:        m.From,
		ReplyTo:   replyTo(s.settings, issue.Token),
		Subject:   answerSubject(m.Subject, issue.ID),
		InReplyTo: m.MessageID, References: append(slices.Clone(m.References), m.MessageID),
		Automatic: "auto-replied",
		Text:      text,
	}
	if strings.HasPrefix(m.MessageID, "sha256:") {
		msg.InReplyTo, msg.References = "", nil
	}
	raw, err := mailout.Compose(msg)
	if err != nil {
		// Another attempt would fail too, and the commands are recorded.
		c.h.log.Error("an answer cannot be composed", "id", m.MessageID, "err", err)
		return nil, ", and an answer could not be composed", nil
	}
	// Store the lines first, because a reply to the answer must find them.
	if err := c.h.issues.addAnswer(issue, strings.Split(text, "\n")); err != nil {
		return nil, "", err
	}
	return &notify.Outgoing{ID: msg.ID, From: bareAddress(msg.From), To: m.From, Raw: raw}, "", nil
}

// answerID returns the Message-ID of the answer to a reply. It is always the
// same for one reply, so that an answer in the outbox is not sent twice.
func answerID(settings *config.Settings, issue notify.Issue, reply string) string {
	sum := sha256.Sum256([]byte(reply))
	return answerPrefix + issue.ID + "." + hex.EncodeToString(sum[:10]) + "@" + domain(settings)
}

// answered notes that a reply has its answer.
func (c mailTaker) answered(m reply.Mail) error {
	c.h.mu.Lock()
	defer c.h.mu.Unlock()
	path := c.h.state("answers.json")
	past, err := remembered[answers](c.h.troubles, path)
	if err != nil || slices.Contains(past.IDs, m.MessageID) {
		return err
	}
	if today := c.h.today(c.h.current.Load()); past.Day != today {
		past.Day, past.Done = today, 0
	}
	past.Done++
	past.IDs = append(past.IDs, m.MessageID)
	if len(past.IDs) > answersMemory {
		past.IDs = past.IDs[len(past.IDs)-answersMemory:]
	}
	return c.h.files.WriteJSON(path, past)
}

func answerSubject(subject, id string) string {
	if subject == "" {
		subject = "your reply " + notify.SubjectTag(id)
	}
	if !strings.HasPrefix(strings.ToLower(subject), "re:") {
		subject = "Re: " + subject
	}
	return subject
}

// replyTo returns the address for replies to an issue.
func replyTo(settings *config.Settings, token string) string {
	if settings.Digest.PlusAddressing {
		return notify.PlusAddress(settings.Digest.ReplyTo, token)
	}
	return settings.Digest.ReplyTo
}

// maxListed is the largest number of recorded acts that an answer lists.
const maxListed = 100

// answerText lists the recorded commands and quotes the refused ones. None of
// its lines reads as a command: numbers are in brackets, and quotes follow a
// mark.
func answerText(s *Snapshot, t Taken, issue notify.Issue, at time.Time) string {
	var b strings.Builder
	if len(t.Accepted) > 0 {
		fmt.Fprintf(&b, "Recorded, from your mail of %s:\n\n", english.WeekdayMoment(at))
		for i, a := range t.Accepted {
			if i == maxListed && len(t.Accepted) > maxListed+1 {
				fmt.Fprintf(&b, "  ... and %s more; the daybook has them all\n", english.Count(len(t.Accepted)-maxListed, "task"))
				break
			}
			fmt.Fprintf(&b, "  [%s] %s: %s\n", label(a), a.Title, s.Outcome(a))
		}
		b.WriteString("\n")
	} else {
		b.WriteString("Nothing was recorded from your mail.\n\n")
	}
	if len(t.Refused) > 0 {
		b.WriteString("Not recorded:\n\n")
		for _, r := range t.Refused {
			fmt.Fprintf(&b, "  > %s\n    (%s)\n", r.Text, r.Why)
		}
		b.WriteString("\n")
	}
	board := s.Board(s.today)
	if r, ok := readerOf(s, t.From, s.today); ok {
		board = r.board(board)
	}
	open := board.Open()
	if issue.Date == s.today && len(t.Accepted) > 0 {
		numbered := make(map[tasks.Key]bool, len(issue.Items))
		for _, i := range issue.Items {
			numbered[i.Task] = true
		}
		head := "Findings of today have led to, for today:\n\n"
		for _, r := range open {
			if !numbered[r.Key] {
				fmt.Fprintf(&b, "%s  - %s\n", head, r.Title)
				head = ""
			}
		}
		if head == "" {
			b.WriteString("\n")
		}
	}
	if len(open) == 0 {
		b.WriteString("Nothing is left to do today.\n")
	} else {
		fmt.Fprintf(&b, "Still to do today: %s.\n", english.Count(len(open), "task"))
	}
	return b.String()
}

func label(a Accepted) string {
	if a.Task == "" {
		return "entry" // the title names it
	}
	if a.N > 0 {
		return fmt.Sprint(a.N)
	}
	return string(a.Task.Subject())
}

// answered writes the outcome of a command and the caution that goes with it.
func answered(a Accepted, u husbandry.Units, on civil.Date) string {
	words := outcome(a, u, on)
	if a.Finding == nil {
		return words
	}
	if c := finding.Caution(a.Finding); c != "" {
		words += ". " + c
	}
	return words
}

// outcome writes a mark and a finding in words.
func outcome(a Accepted, u husbandry.Units, on civil.Date) string {
	var words []string
	told := a.Finding != nil && a.Task.Routine() == tasks.Unplanned // a finding without a task, so nothing was "done"
	switch a.Mark {
	case tasks.MarkDone:
		if told {
			break
		}
		words = append(words, "marked as done")
	case tasks.Skip:
		words = append(words, "left out")
	case tasks.PutOff:
		words = append(words, "put off to "+english.ShortWeekday(a.Until, on))
	case tasks.Undo:
		if a.Back == "" {
			words = append(words, "nothing was said of it that could be taken back")
		} else {
			words = append(words, "taken back: "+a.Back)
		}
	}
	if f := describe(a.Finding, u); f != "" {
		words = append(words, f)
	}
	return strings.Join(words, "; ")
}
