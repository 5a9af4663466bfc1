package house

import (
	"crypto/rand"
	"fmt"
	"slices"
	"time"

	"nestround/notify"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/english"
)

type item = notify.Item

// Message is a keeper's statement about tasks, from any channel.
type Message struct {
	// ID is the identity of the message: a message that is taken again counts
	// once. With "", each call of Take is a separate message.
	ID  string
	Via tasks.Via
	By  string    // sender
	At  time.Time // time of the statement; zero: now
	// Words are commands of the reply grammar. Keyed are commands about tasks
	// by their keys. A message has one of them or both.
	Words string
	Keyed []Keyed
	// Issue is the digest whose numbers the commands use. If Issue is nil, they
	// use the numbers of the day's board, which are also the numbers of the
	// day's digest if there is one.
	Issue *notify.Issue
	// Dry says that nothing may be recorded.
	Dry bool
}

// Keyed is a command about one task, which Task names by its key. Numbers in
// the command are ignored.
type Keyed struct {
	Task    tasks.Key
	Command reply.Command
}

// Said is the outcome of a message.
type Said struct {
	Accepted []Accepted
	Refused  []Refused
	// Repeated says that the message was taken before.
	Repeated bool

	parsed reply.Parsed
	back   map[string]string // descriptions of the entries that are taken back, by id
}

// Accepted is a command that had an effect on one task.
type Accepted struct {
	Command string         `json:"command"`
	N       int            `json:"n"` // 0 for none
	Task    tasks.Key      `json:"task"`
	Finding *tasks.Finding `json:"finding"`
	Title   string         `json:"-"`
	Mark    tasks.Verb     `json:"-"`
	// Back is the description of the withdrawn report after an undo; "" for
	// none.
	Back  string     `json:"-"`
	Until civil.Date `json:"-"`
}

// Refused is a text that was not understood, or a command that is impossible.
type Refused struct {
	Text string `json:"text"`
	Why  string `json:"why"`
}

// Take records a message. All messages go through Take: from the shell, the
// mail and the page. It records the commands that are understood and possible,
// and refuses all others. If there is nothing to record, it writes nothing.
// After an error nothing is recorded, and the message may be taken again.
func (h *House) Take(m Message) (Said, error) { return h.take(m, nil) }

// take does the same as Take. It also calls the function then, with the updated
// snapshot, while the books are still open for writing. An error of then does
// not undo the recording.
func (h *House) take(m Message, then func(*Snapshot, Said) error) (said Said, err error) {
	if m.Dry {
		s, err := h.Refresh()
		if err != nil {
			return said, err
		}
		e, board, said, err := heard(h, s, m)
		if err != nil {
			return said, err
		}
		for _, a := range e.Acts {
			said.Accepted = append(said.Accepted, said.accepted(a, board))
		}
		return said, nil
	}
	err = h.write(func(book *daybook.Book, s *Snapshot) error {
		var e tasks.Entry
		var board []item
		if e, board, said, err = heard(h, s, m); err != nil {
			return err
		}
		if len(e.Acts) > 0 {
			added, err := book.Append(e)
			if err != nil {
				return err
			}
			before := s
			s = h.added()
			if added {
				clockWatch{h}.added(e, before)
			}
			said.Repeated = !added
			said.took(e, board, before, s)
		}
		if then == nil {
			return nil
		}
		return then(s, said)
	})
	return said, err
}

// clockDrift is the largest difference between two clocks that are both right.
const clockDrift = 10 * time.Minute

// heard makes an entry of the possible acts of a message, and lists the refused
// commands. board has the tasks that the message may mention by number.
func heard(h *House, s *Snapshot, m Message) (e tasks.Entry, board []item, said Said, err error) {
	now := h.now()
	if m.Issue != nil {
		if i, ok := h.issues.ByID(m.Issue.ID); ok {
			m.Issue = &i // it may have been marked as early meanwhile
		}
	}
	e = tasks.Entry{ID: m.ID, At: m.At, Via: m.Via, By: m.By}
	if e.ID == "" {
		e.ID = "c." + rand.Text()
	}
	// A time later than now means that the sender's clock is ahead: the entry
	// gets the present time. But if the digest that the message answers was also
	// composed later than now, and is not known as early, this machine's clock is
	// behind, and the sender's time counts.
	if limit := now.Add(clockDrift); e.At.IsZero() || e.At.After(limit) && (m.Issue == nil || m.Issue.Early || !m.Issue.Sent.After(limit)) {
		e.At = now.In(s.settings.Zone).Truncate(time.Millisecond)
	}
	e.On = civil.Of(e.At, s.settings.Zone)
	var listed []item // the tasks that "all" means
	if m.Issue == nil {
		board = items(s.Board(e.On))
		listed = board
	} else {
		e.Digest, board = m.Issue.ID, m.Issue.Items
		if !m.Issue.Early {
			e.On = civil.Max(e.On, m.Issue.Date)
		}
		listed = listedFor(s, m.By, m.Issue)
	}
	j := newJudge(s)
	said.parsed = reply.Parse(m.Words, j.known())
	commands, refused := keyed(m.Keyed, board)
	var acts []tasks.Act
	most := 2*len(board) + maxActs
	for _, c := range slices.Concat(said.parsed.Commands, commands) {
		if c.Entry != "" {
			a, why, err := takeBack(h, s, c, &said)
			if err != nil {
				return e, board, said, err
			}
			if why != "" {
				refused = append(refused, reply.Refused{Text: c.String(), Why: why})
			} else {
				acts = append(acts, a)
			}
			continue
		}
		of := board
		if c.Verb == reply.All || c.Verb == reply.AllBut {
			of = listed
		}
		a, no := reply.Resolve([]reply.Command{c}, of, e.On)
		acts, refused = append(acts, a...), append(refused, no...)
		if len(acts) > most {
			acts, refused = nil, []reply.Refused{{Text: c.String(), Why: "these commands say too much at once; nothing was recorded: send them in several mails"}}
			break
		}
	}
	var not []reply.Refused
	e.Acts, not = j.possible(acts, board, e.On)
	said.Refused = refusals(said.parsed, append(refused, not...))
	return e, board, said, nil
}

// takeBack makes the act that takes back the entry with the tag of c. If the command
// is refused, why is the reason.
func takeBack(h *House, s *Snapshot, c reply.Command, said *Said) (a tasks.Act, why string, err error) {
	// The entry may be of any year, so all of the daybook is read.
	log := daybook.NewLog(h.Dir, 0)
	if _, err := log.Refresh(); err != nil {
		return a, "", err
	}
	var found []tasks.Entry
	var ids []string
	for _, e := range log.Entries() {
		if tasks.HasTag(e.ID, c.Entry) {
			found, ids = append(found, e), append(ids, e.ID)
		}
	}
	if len(found) > 5 {
		found, ids = found[:5], ids[:5]
	}
	switch len(found) {
	case 0:
		return a, fmt.Sprintf("the daybook has no entry %s", c.Entry), nil
	case 1:
	default:
		return a, fmt.Sprintf("the tags of several entries begin with %s; write more of the tag that you mean: %s", c.Entry, english.Or(tasks.LongTags(ids...))), nil
	}
	if by, gone := s.said.history.TakenBack(ids[0]); gone {
		return a, fmt.Sprintf("entry %s is taken back already; to let it count again, take back entry %s", c.Entry, tasks.Tag(by)), nil
	}
	if said.back == nil {
		said.back = make(map[string]string)
	}
	said.back[ids[0]] = entryInWords(found[0], s)
	return tasks.Act{Text: c.String(), Entry: ids[0]}, "", nil
}

// entryInWords describes an entry for the answer that reports that it is taken back.
// No part of the description reads as a command.
func entryInWords(e tasks.Entry, s *Snapshot) string {
	var about []string
	for _, a := range e.Acts {
		of := string(a.Task.Subject())
		if a.Entry != "" {
			of = "entry " + tasks.Tag(a.Entry) + ", which counts again"
		}
		if !slices.Contains(about, of) {
			about = append(about, of)
		}
	}
	if n := len(about) - 5; n > 1 {
		about = append(about[:5], fmt.Sprintf("%d more", n))
	}
	return "what was said on " + english.Moment(e.At.In(s.settings.Zone)) + " about " + english.List(about)
}

// keyed turns commands with keys into commands with the numbers of a board.
func keyed(list []Keyed, board []item) (commands []reply.Command, refused []reply.Refused) {
	for _, k := range list {
		i := slices.IndexFunc(board, func(i item) bool { return i.Task == k.Task })
		if i < 0 {
			refused = append(refused, reply.Refused{Text: string(k.Task), Why: "there is no such task"})
			continue
		}
		c := k.Command
		c.Numbers = []int{board[i].N}
		commands = append(commands, c)
	}
	return commands, refused
}

// listedFor returns the tasks in the mail that one reader of the digest got at
// the given address.
func listedFor(s *Snapshot, address string, issue *notify.Issue) []item {
	r, ok := readerOf(s, address, issue.Date)
	if !ok || r.all() {
		return issue.Items
	}
	theirs := make(map[tasks.Key]bool)
	for _, row := range s.Board(issue.Date).Rows {
		theirs[row.Key] = r.has(&row.Task)
	}
	return slices.DeleteFunc(slices.Clone(issue.Items), func(i item) bool { return !theirs[i.Task] })
}

// took lists the acts of a new entry that had an effect. before is the snapshot
// without the entry; after is the snapshot with it.
func (said *Said) took(e tasks.Entry, board []item, before, after *Snapshot) {
	dropped := after.said.history.Dropped(e.ID)
	for _, a := range e.Acts {
		i := slices.IndexFunc(dropped, func(d tasks.Dropped) bool { return d.Act.Task == a.Task && d.Act.Text == a.Text })
		if i >= 0 {
			if dropped[i].Why != "" {
				said.Refused = append(said.Refused, Refused{a.Text, dropped[i].Why})
			}
			continue
		}
		x := said.accepted(a, board)
		if a.Mark == tasks.Undo {
			x.Back = newJudge(before).standing(a.Task)
		}
		said.Accepted = append(said.Accepted, x)
	}
}

func (said *Said) accepted(a tasks.Act, board []item) Accepted {
	if a.Entry != "" {
		return Accepted{Command: a.Text, Title: "entry " + tasks.Tag(a.Entry), Mark: tasks.Undo, Back: said.back[a.Entry]}
	}
	title := string(a.Task.Subject())
	if n := slices.IndexFunc(board, func(i item) bool { return i.Task == a.Task }); n >= 0 {
		title = board[n].Title
	}
	return Accepted{Command: a.Text, N: a.N, Task: a.Task, Finding: a.Finding, Title: title, Mark: a.Mark, Until: a.Until}
}

// The limits of one message.
const (
	maxActs    = 1000 // acts, in addition to two for each task of the board
	maxRefused = 30   // refusals that are quoted to the sender
)

// refusals lists the lines that look like commands but are not, and the
// commands that are impossible.
func refusals(p reply.Parsed, resolved []reply.Refused) []Refused {
	var list []Refused
	for _, r := range append(slices.Clone(p.Refused), resolved...) {
		list = append(list, Refused{r.Text, r.Why})
	}
	for _, line := range p.Unread {
		list = append(list, Refused{line, "this is no command"})
	}
	if n := len(list) - maxRefused; n > 1 {
		list = append(list[:maxRefused], Refused{fmt.Sprintf("and %d more", n), "they were not recorded either; send fewer lines at once"})
	}
	return list
}
