package house

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/config/diag"
	"nestround/notify/digest"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

// part is a part of the program that can fail and recover.
type part string

// The parts. Each has a row in partWords.
const (
	partReplies part = "replies" // replies are read and recorded
	partAnswers part = "answers" // answers to replies are written
	partMail    part = "mail"    // mails leave
	partDigest  part = "digest"  // the morning's digest is composed
	partBooks   part = "books"   // the books are read
	partDaybook part = "daybook" // entries are written
	partClock   part = "clock"   // the machine's clock
	partWatch   part = "watch"   // the sign of life
	partOutbox  part = "outbox"  // the files of the outbox
	partState   part = "state"   // the small files in state/
	partServe   part = "serve"   // the loops of serve
)

// partWords has three texts for each part: the file or folder that check names, the
// sentence with which a digest says that the trouble is over, and the advice that
// check gives.
var partWords = map[part]struct{ file, over, hint string }{
	partReplies: {"keeper.toml", "Replies have been read since then, and no reply is lost.", "replies wait in the mailbox until this is mended; then they are read by themselves, or at once by nestround replies"},
	partAnswers: {"state", "The replies were recorded all the time; answers have been written since then.", "make room on the disk, or let the program write into the folder state"},
	partMail:    {"keeper.toml", "Mail has left since then.", "mails wait in the outbox until this is mended; nestround digest --send tries again at once"},
	partDigest:  {"keeper.toml", "Digests have been written since then.", "nestround digest shows the digest that would be sent now"},
	partBooks:   {".", "The books have been read since then.", "mend the file; serve reads the books again by itself"},
	partDaybook: {"daybook", "Entries have been written since then.", "make room on the disk, or let the program write into the folder daybook"},
	partClock:   {"daybook", "The clock has been right since then.", "set the clock of this machine"},
	partWatch:   {"keeper.toml", "The address has answered since then.", "look at ping under [watch]"},
	partOutbox:  {"state/outbox", "The outbox has been written since then.", "make room on the disk, or let the program write into the folder state/outbox"},
	partState:   {"state", "", "nothing needs to be done; the damaged file is kept under its new name"},
	partServe:   {"state", "It has worked since then.", "start nestround serve again; its log says more"},
}

// Trouble is a failure of a part of the program. It begins with the first
// failure and ends when the part works again.
type Trouble struct {
	Part part `json:"part"`
	// What describes the failure and its cause, in words that can follow a
	// colon. It contains no secret, and no text that a stranger wrote.
	What  string    `json:"what"`
	Since time.Time `json:"since"`
	// Until is the end of the trouble; zero as long as it lasts.
	Until time.Time `json:"until,omitzero"`
	// Times is the number of troubles between Since and Until, if the part
	// failed and recovered several times in the same way.
	Times int `json:"times,omitempty"`
	// Once says that the trouble is a single event, which has no end. It counts
	// as standing until a digest has reported it.
	Once bool `json:"once,omitempty"`
	// Told is the day of the digest that reported the ended trouble.
	Told civil.Date `json:"told,omitzero"`
}

// Standing reports whether the trouble goes on, or is an event that no digest has
// reported.
func (t Trouble) Standing() bool { return t.Until.IsZero() && t.Told.IsZero() }

// teller has the methods that begin, end and list the troubles of a [House], which
// embeds it.
type teller struct{ troubles *troubles }

// trouble records that a part of the program fails. The trouble begins, or goes
// on. The log has one line when the trouble begins, and one when its description
// changes; the digest and check report it. The description must contain no secret,
// and no text that a stranger wrote.
func (h teller) trouble(p part, what string) { h.troubles.begin(p, what) }

// mended records that a part works. If the part was in trouble, the trouble is
// over: the log has this once, and the next digest says from when to when the
// trouble lasted. A call for a part without a trouble costs one stat of a file.
func (h teller) mended(p part) { h.troubles.end(p) }

// happened records an event that cannot be undone, such as a lost file. The log has
// it once. The next digest reports it, and check does until then.
func (h teller) happened(p part, what string) { h.troubles.event(p, what) }

// Troubles returns the standing troubles, and the ended troubles that no digest has
// reported, oldest first.
func (h teller) Troubles() []Trouble {
	return slices.DeleteFunc(h.troubles.all(), func(t Trouble) bool { return !t.Told.IsZero() })
}

// StandingTroubles returns the standing troubles as warnings, for check. Their
// times are in zone.
func (h teller) StandingTroubles(zone *time.Location) diag.List {
	var list diag.List
	for _, t := range h.Troubles() {
		if !t.Standing() {
			continue
		}
		words := partWords[t.Part]
		when := "since "
		if t.Once {
			when = "on "
		}
		list = append(list, diag.Problem{
			File: words.file, Severity: diag.Warning, Hint: words.hint,
			Message: when + english.WeekdayMoment(t.Since.In(zone)) + ": " + t.What,
		})
	}
	return list
}

// notices returns the notices about troubles for today's digest.
func (t *troubles) notices(zone *time.Location, today civil.Date) (list []digest.Notice) {
	for _, x := range t.all() {
		if !x.Told.IsZero() && x.Told != today {
			continue
		}
		since := english.WeekdayMoment(x.Since.In(zone))
		n := digest.Notice{Urgent: true}
		switch {
		case x.Once:
			n.Text = fmt.Sprintf("On %s: %s.", since, x.What)
		case x.Until.IsZero():
			n.Text = fmt.Sprintf("Trouble since %s: %s.", since, x.What)
		default:
			until := x.Until.In(zone)
			to := english.WeekdayMoment(until)
			if civil.Of(x.Since, zone) == civil.Of(x.Until, zone) {
				to = until.Format("15:04")
			}
			times := ""
			if x.Times > 1 {
				times = fmt.Sprintf(", %d times", x.Times)
			}
			n.Urgent = false
			n.Text = fmt.Sprintf("Trouble from %s to %s%s: %s. %s", since, to, times, x.What, partWords[x.Part].over)
		}
		list = append(list, n)
	}
	return list
}

const (
	// troublesWait is how long a process waits for another one that changes the
	// file.
	troublesWait = 2 * time.Second
	// endedOfPart is the largest number of ended troubles of a part. A further
	// ended trouble is merged into the latest of them.
	endedOfPart = 5
	// eventsMost is the largest number of events. The oldest are dropped.
	eventsMost = 20
	// endedKept is how long an ended trouble is kept if no digest reports it.
	endedKept = 30 * 24 * time.Hour
)

// troubles stores the troubles in state/troubles.json, which all processes of
// these books share. If the file cannot be written, the changes stay in memory
// and are written later.
type troubles struct {
	path  string
	files disk.Files
	log   *slog.Logger
	now   func() time.Time

	mu     sync.Mutex
	list   []Trouble   // content of the file when it was last read, with the pending changes
	read   os.FileInfo // state of the file when list was read; nil if there was no file
	loaded bool
	// pending are the changes that are not in the file.
	pending []func([]Trouble) []Trouble
	logged  map[part]string // for each standing trouble, the description that this process has logged
}

func newTroubles(path string, files disk.Files, log *slog.Logger, now func() time.Time) *troubles {
	return &troubles{path: path, files: files, log: log, now: now, logged: make(map[part]string)}
}

// all returns the troubles, sorted by the time at which they began.
func (t *troubles) all() []Trouble {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.look()
	list := slices.Clone(t.list)
	slices.SortStableFunc(list, func(a, b Trouble) int { return a.Since.Compare(b.Since) })
	return list
}

// standing returns the index of a part's standing trouble in list, or -1.
func standing(list []Trouble, p part) int {
	return slices.IndexFunc(list, func(x Trouble) bool { return x.Part == p && !x.Once && x.Until.IsZero() })
}

func (t *troubles) begin(p part, what string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if old, ok := t.logged[p]; !ok || !sameWords(old, what) {
		t.log.Error("a part of the program is in trouble", "part", string(p), "what", what)
		t.logged[p] = what
	}
	t.look()
	if i := standing(t.list, p); i >= 0 && sameWords(t.list[i].What, what) {
		t.flush()
		return
	}
	now := t.now()
	t.change(func(list []Trouble) []Trouble {
		if i := standing(list, p); i >= 0 {
			list[i].What = what
			return list
		}
		return append(list, Trouble{Part: p, What: what, Since: now})
	})
}

func (t *troubles) end(p part) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.look()
	i := standing(t.list, p)
	if _, ok := t.logged[p]; ok || i >= 0 {
		t.log.Info("the trouble is over", "part", string(p))
		delete(t.logged, p)
	}
	if i < 0 {
		t.flush()
		return
	}
	now := t.now()
	t.change(func(list []Trouble) []Trouble {
		i := standing(list, p)
		if i < 0 {
			return list
		}
		over := list[i]
		over.Until = now
		if over.Until.Before(over.Since) { // the clock was set back
			over.Until = over.Since
		}
		over.Times = 1
		return ended(slices.Delete(list, i, i+1), over)
	})
}

// ended adds a trouble that is over. If an earlier trouble has the same description
// and no digest has reported it, the two are merged.
func ended(list []Trouble, over Trouble) []Trouble {
	last, count := -1, 0
	for i, x := range list {
		if x.Part != over.Part || x.Until.IsZero() || !x.Told.IsZero() {
			continue
		}
		last = i
		if count++; sameWords(x.What, over.What) {
			count = endedOfPart
			break
		}
	}
	if count < endedOfPart {
		return append(list, over)
	}
	x := &list[last]
	x.What, x.Until, x.Times = over.What, over.Until, x.Times+over.Times
	return list
}

func (t *troubles) event(p part, what string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.log.Error("something happened that the keeper should know", "part", string(p), "what", what)
	now := t.now()
	t.change(func(list []Trouble) []Trouble {
		events := 0
		for _, x := range list {
			if x.Once {
				events++
			}
			if x.Once && x.Told.IsZero() && x.Part == p && x.What == what {
				return list
			}
		}
		if events >= eventsMost {
			i := slices.IndexFunc(list, func(x Trouble) bool { return x.Once })
			list = slices.Delete(list, i, i+1)
		}
		return append(list, Trouble{Part: p, What: what, Since: now, Once: true})
	})
}

// told records that today's digest, composed at the given time, has reported the
// ended troubles and the events. It deletes the troubles that an earlier digest has
// reported.
func (t *troubles) told(today civil.Date, composed time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.look()
	if len(t.list) == 0 {
		return
	}
	t.change(func(list []Trouble) []Trouble {
		list = slices.DeleteFunc(list, func(x Trouble) bool { return !x.Told.IsZero() && x.Told != today })
		for i, x := range list {
			// A trouble that ended after that time waits for the next digest.
			if (x.Once || !x.Until.IsZero()) && !x.Until.After(composed) && !x.Since.After(composed) {
				list[i].Told = today
			}
		}
		return list
	})
}

// look reads the file if it has changed. The caller holds t.mu. If the file cannot
// be read, the list stays as it is, because this file must not cause a trouble
// itself.
func (t *troubles) look() {
	st, err := os.Stat(t.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		st = nil
	case err != nil:
		return
	}
	if t.loaded && sameFile(t.read, st) {
		return
	}
	list, damaged, err := disk.LoadJSON[[]Trouble](t.files, t.path)
	if err != nil {
		return
	}
	if damaged != nil {
		event := Trouble{Part: partState, What: damagedWords(damaged), Since: t.now(), Once: true}
		t.pending = append(t.pending, func(list []Trouble) []Trouble { return append(list, event) })
		t.log.Error("a file of the state is damaged and is set aside", "err", damaged)
		st = nil
	}
	for _, do := range t.pending {
		list = do(list)
	}
	t.list, t.read, t.loaded = list, st, true
}

func sameFile(a, b os.FileInfo) bool {
	if a == nil || b == nil {
		return a == nil && b == nil
	}
	return os.SameFile(a, b) && a.ModTime().Equal(b.ModTime()) && a.Size() == b.Size()
}

// change changes the list in memory, and in the file if that is possible. The
// caller holds t.mu.
func (t *troubles) change(do func([]Trouble) []Trouble) {
	t.look()
	t.list = do(t.list)
	t.pending = append(t.pending, do)
	t.flush()
}

// flush writes the pending changes. The caller holds t.mu.
func (t *troubles) flush() {
	if len(t.pending) == 0 {
		return
	}
	lock, err := t.files.Acquire(t.path+".lock", troublesWait)
	if err != nil {
		return
	}
	defer lock.Release()
	t.loaded = false // another process may have written just before
	t.look()
	if !t.loaded {
		t.loaded = true
		return
	}
	cut := t.now().Add(-endedKept)
	t.list = slices.DeleteFunc(t.list, func(x Trouble) bool {
		return (x.Once || !x.Until.IsZero()) && x.Since.Before(cut) && x.Until.Before(cut)
	})
	if err := t.files.WriteJSON(t.path, t.list); err != nil {
		return
	}
	t.pending = nil
	t.read, _ = os.Stat(t.path)
}

// changing matches the parts of an error message that differ at each attempt: the
// random part of a temporary name, numbers of processes and counts.
var changing = regexp.MustCompile(`\.[A-Z2-7]{10}\.nestround-part|[0-9]+`)

// sameWords reports whether two descriptions name the same trouble.
func sameWords(a, b string) bool {
	return a == b || changing.ReplaceAllString(a, "") == changing.ReplaceAllString(b, "")
}

func damagedWords(d *disk.CorruptError) string {
	return fmt.Sprintf("the file state/%s was damaged and was set aside as state/%s; its content is not used",
		inState(d.Path), inState(d.Aside))
}

// inState returns the path of a file below state/.
func inState(path string) string {
	path = filepath.ToSlash(path)
	if i := strings.LastIndex(path, "/state/"); i >= 0 {
		return path[i+len("/state/"):]
	}
	return path
}

// remembered reads one of the small files of the state. A damaged file is set
// aside, which the next digest and check report, and its content is lost. The
// worst effect is that an answer is sent twice or that a mail is read twice;
// the entry of the mail still counts once.
func remembered[T any](t *troubles, path string) (T, error) {
	v, damaged, err := disk.LoadJSON[T](t.files, path)
	if damaged != nil {
		t.event(partState, damagedWords(damaged))
	}
	return v, err
}
