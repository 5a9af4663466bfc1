// Package house joins the books, the daybook, the planner and the mail into
// the one flow of the program: records and daybook make a plan, the plan a
// board, the board a digest and a calendar; replies go into the daybook.
//
// [Open] opens a folder of books. A [House] answers what is due ([House.Board],
// [House.Ahead], [House.Clutches]), takes what the keeper says ([House.Mark],
// [House.TakeMail]), writes what leaves ([House.Morning], [House.Calendar]),
// and [House.Serve] does all of it by the clock. How things look on a terminal
// is not its business; the words of the answer mail are, since they leave from
// here.
package house

import (
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/config"
	"nestround/config/books"
	"nestround/config/diag"
	"nestround/notify"
	"nestround/notify/calendar"
	"nestround/notify/outbox"
	"nestround/scheduler"
	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/daybook"
	"nestround/tasks/disk"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Options are what a house takes from its surroundings.
type Options struct {
	Now   func() time.Time // the clock; nil: the machine's
	Log   *slog.Logger     // nil: nothing is logged
	Files disk.Files       // the zero value: the real disk
	// Page answers what Serve is asked for besides the calendar; nil: nothing.
	Page http.Handler
	// Taken is told of every reply that Serve has read; nil: nobody is.
	Taken func(Taken)
}

// House is an open folder of books. Its methods may be called from several
// goroutines and several processes at once: whatever writes takes the lock of
// the books for as long as it writes.
type House struct {
	Dir string

	now   func() time.Time
	log   *slog.Logger
	page  http.Handler
	taken func(Taken)
	files disk.Files

	mu       sync.Mutex
	settings config.Settings
	records  *husbandry.Records
	problems diag.List // of the books as they are now; the plan may be older
	stale    bool      // the books have errors, and the last good ones are used
	print    string    // of the books' files, to see that they changed
	// logged has what the incubators' logs say, logProblems what is wrong
	// with them, logWords what of that the digest says, logsRead which logs
	// these are.
	logged      map[husbandry.ID]map[civil.Date][]husbandry.Celsius
	logProblems diag.List
	logWords    []logWord
	logsRead    string
	daybook     *daybook.Log
	outbox      *outbox.Box
	history     *tasks.History
	planner     *workload.Planner // made for plannerKey, see plan
	plannerKey  plannerKey
	issues      *issues
	past        map[civil.Date]*tasks.Board // see pastBoard
	pastKey     pastKey
}

// Open reads the books and the daybook in dir. Where the books have errors the
// house is nil and the list says which; a list of warnings comes with a house.
// The error is for a folder that cannot be read at all.
func Open(dir string, o Options) (*House, diag.List, error) {
	h := &House{Dir: dir, now: o.Now, log: o.Log, page: o.Page, taken: o.Taken, files: o.Files, daybook: daybook.NewLog(dir, 0)}
	h.outbox = outbox.New(dir, h.files)
	if h.now == nil {
		h.now = time.Now
	}
	if h.log == nil {
		h.log = slog.New(slog.DiscardHandler)
	}
	h.print = fingerprint(dir)
	h.settings, h.records, h.problems = books.Load(dir)
	if h.problems.HasErrors() {
		return nil, h.problems, nil
	}
	h.logsRead = h.logPrint()
	h.readLogs()
	if _, err := h.daybook.Refresh(); err != nil {
		return nil, h.problems, err
	}
	h.history = tasks.Fold(h.daybook.Entries())
	var err error
	h.issues, err = openIssues(h.state("digests"), h.files, h.log, h.today())
	return h, slices.Concat(h.problems, h.logProblems, h.daybookProblems()), err
}

func (h *House) state(name string) string { return filepath.Join(h.Dir, "state", name) }

// remembered reads one of the small files of the state. One that is damaged is
// set aside and told of in the log, and what it held is forgotten: an answer
// may be sent twice, or a mail be read again, which counts once.
func remembered[T any](h *House, path string) (T, error) {
	v, damaged, err := disk.LoadJSON[T](h.files, path)
	if damaged != nil {
		h.log.Error("a file of the state is damaged and is set aside", "err", damaged)
	}
	return v, err
}

// daybookProblems tells what of the daybook does not count. Nothing else is
// stopped by it.
func (h *House) daybookProblems() diag.List {
	var list diag.List
	for _, p := range h.daybook.Problems() {
		list = append(list, diag.Problem{File: p.File, Line: p.Line, Column: p.Column,
			Severity: diag.Warning, Message: p.Message, Hint: p.Hint, Source: p.Text})
	}
	return list
}

// fingerprint tells whether the record files are the ones read before, by
// their names, sizes and times.
func fingerprint(dir string) string {
	var b strings.Builder
	for _, pattern := range []string{"*.toml", "*/*.toml"} {
		names, _ := filepath.Glob(filepath.Join(dir, pattern)) // the patterns are well formed
		for _, name := range names {
			if st, err := os.Stat(name); err == nil {
				fmt.Fprintln(&b, name, st.Size(), st.ModTime().UnixNano())
			}
		}
	}
	return b.String()
}

// Settings returns the settings in force.
func (h *House) Settings() config.Settings {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.settings
}

// Today returns the day in the keeper's zone.
func (h *House) Today() civil.Date {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.today()
}

func (h *House) today() civil.Date { return civil.Of(h.now(), h.settings.Zone) }

// Refresh takes in what changed on the disk since the last look: entries that
// another process added, and edited books. Books with errors in them change
// nothing but what Problems says; the last good ones stay in force.
func (h *House) Refresh() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.refresh()
}

func (h *House) refresh() error {
	if print := fingerprint(h.Dir); print != h.print {
		settings, records, problems := books.Load(h.Dir)
		h.print, h.problems = print, problems
		if h.stale = problems.HasErrors(); h.stale {
			for _, p := range problems {
				h.log.Error("the books have a problem; the last good ones stay in force", "file", p.File, "line", p.Line, "column", p.Column, "problem", p.Message)
			}
		} else {
			h.settings, h.records = settings, records
			h.log.Info("the books were read again", "dir", h.Dir)
		}
	}
	if print := h.logPrint(); print != h.logsRead {
		h.logsRead = print
		h.readLogs()
	}
	changed, err := h.daybook.Refresh()
	if err != nil {
		return err
	}
	if changed {
		h.history = tasks.Fold(h.daybook.Entries())
	}
	return nil
}

// write runs do with the daybook open for writing and everything up to date.
func (h *House) write(do func(*daybook.Book) error) error {
	book, err := h.daybook.Open(daybook.Options{Files: h.files, Wait: lockWait})
	if err != nil {
		return err
	}
	defer func() {
		if err := book.Close(); err != nil {
			h.log.Error("the lock of the books could not be given back", "err", err)
		}
	}()
	for _, p := range book.SetAside() {
		h.log.Warn("a torn line of the daybook was set aside", "where", p.String())
	}
	h.history = tasks.Fold(h.daybook.Entries())
	return do(book)
}

// lockWait is how long a shell command waits for a serve that is just writing.
const lockWait = 5 * time.Second

// Board returns the tasks of a day with their marks and numbers. Of a day past
// it shows how that day ended.
func (h *House) Board(on civil.Date) *tasks.Board {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.board(on)
}

func (h *House) board(on civil.Date) *tasks.Board {
	evening := h.history.Before(on.AddDays(1))
	var numbered []tasks.Key
	if i, ok := h.issues.of(on); ok {
		for _, item := range i.Items {
			numbered = append(numbered, item.Task)
		}
	}
	return tasks.NewBoard(on, h.plan(h.history.Before(on), on, on), h.plan(evening, on, on), evening, numbered)
}

// plan returns the tasks of a day and those to come, spread over the days. The
// history may end earlier than the house's, and never differs otherwise.
func (h *House) plan(history *tasks.History, on, to civil.Date) []tasks.Task {
	in := h.input(history, on, to)
	if len(h.records.Enclosures) > mostSpread {
		return scheduler.Plan(in)
	}
	key := plannerKey{h.records, h.history, in.Latitude, fmt.Sprint(h.settings.Work)}
	if h.planner == nil || h.plannerKey != key {
		all := in
		all.History = h.history
		h.planner, h.plannerKey = workload.NewPlanner(all, h.wishes()), key
	}
	return h.planner.Plan(in)
}

// mostSpread is how many enclosures books may have whose work is spread over
// the days. A fortnight's plan of more takes seconds, each time that anything
// is done, and so many are not one keeper's.
const mostSpread = 500

// plannerKey is what a planner of days was made from.
type plannerKey struct {
	records  *husbandry.Records
	history  *tasks.History
	latitude float64
	work     string
}

func (h *House) wishes() workload.Wishes {
	w := h.settings.Work
	return workload.Wishes{DaysOff: w.DaysOff, Minutes: w.Minutes, Settled: w.Settled, Away: h.records.Away}
}

// Load returns how heavy the days after on are, up to and with to, as planned
// on the day on, and how heavy they would be with every task on its routine's
// own day.
func (h *House) Load(on, to civil.Date) (load, before workload.Load) {
	h.mu.Lock()
	defer h.mu.Unlock()
	measure := func(list []tasks.Task) workload.Load {
		list = slices.DeleteFunc(list, func(t tasks.Task) bool { return !t.Due.After(on) })
		return workload.Measure(workload.Problem{From: on.AddDays(1), To: to, Tasks: list, Wishes: h.wishes()})
	}
	history := h.history.Before(on.AddDays(1))
	return measure(h.plan(history, on, to)), measure(scheduler.Plan(h.input(history, on, to)))
}

// DayOff reports whether the keeper wants a day to be free.
func (h *House) DayOff(day civil.Date) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.wishes().Off(day)
}

func (h *House) input(history *tasks.History, on, to civil.Date) scheduler.Input {
	in := scheduler.Input{Records: h.records, History: history, On: on, To: to}
	if h.settings.Latitude != nil {
		in.Latitude = *h.settings.Latitude
	}
	in.Forecasts = h.forecasts(in.Latitude)
	return in
}

// Ahead returns the tasks of the days after on, up to and with to, as planned
// on the day on: each on its due day, in walking order.
func (h *House) Ahead(on, to civil.Date) []tasks.Task {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.ahead(on, to)
}

func (h *House) ahead(on, to civil.Date) []tasks.Task {
	var coming []tasks.Task
	for _, t := range h.plan(h.history.Before(on.AddDays(1)), on, to) {
		if t.Due.After(on) {
			coming = append(coming, t)
		}
	}
	return coming
}

// Rooms returns the rooms in walking order.
func (h *House) Rooms() []husbandry.Room {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.records.Rooms
}

// Clutches returns every clutch with its forecast, as of a day.
func (h *House) Clutches(on civil.Date) []scheduler.ClutchForecast {
	h.mu.Lock()
	defer h.mu.Unlock()
	return scheduler.ClutchForecasts(h.input(h.history.Before(on.AddDays(1)), on, on))
}

// Growths returns what each animal weighed, up to a day.
func (h *House) Growths(on civil.Date) []scheduler.Growth {
	h.mu.Lock()
	defer h.mu.Unlock()
	return scheduler.Growths(h.input(h.history.Before(on.AddDays(1)), on, on))
}

// Stock returns every feeder with its stock, use and next order until a day, as
// of another.
func (h *House) Stock(on, to civil.Date) []scheduler.FeederStock {
	h.mu.Lock()
	defer h.mu.Unlock()
	return scheduler.FeederStocks(h.input(h.history.Before(on.AddDays(1)), on, to))
}

// Problems returns what is wrong with the books as they are on the disk, and
// whether an older state of them is in force because of it.
func (h *House) Problems() (list diag.List, stale bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Concat(h.problems, h.logProblems, h.daybookProblems()), h.stale
}

// TodaysIssue returns today's digest, if it has been issued.
func (h *House) TodaysIssue() (notify.Issue, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.issues.of(h.today())
}

// ReplyTo returns the address that answers to an issue go to.
func (h *House) ReplyTo(i notify.Issue) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return bareAddress(h.replyTo(i.Token))
}

// Outcome is a mark and its finding in words.
func (h *House) Outcome(a Accepted) string { return outcome(a, h.Settings(), h.Today()) }

// Counts says in words what the books hold.
func (h *House) Counts() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	animals := 0
	for _, a := range h.records.Animals {
		if a.Left.IsZero() {
			animals += h.records.Heads(a.ID, h.today())
		}
	}
	return strings.Join([]string{
		english.Count(len(h.records.Rooms), "room"), english.Count(len(h.records.Enclosures), "enclosure"),
		english.Count(animals, "animal"), english.Count(len(h.records.Clutches), "recorded clutch"),
		english.Count(len(h.daybook.Entries()), "daybook entry"),
	}, ", ")
}

// CheckWires says what is wrong with the settings of mail and calendar that
// only shows when they are used: a password that cannot be read, a certificate
// that is none. It connects to nobody.
func (h *House) CheckWires() []string {
	var wrong []string
	s := h.Settings()
	if s.Out != nil {
		if _, err := h.Sender(); err != nil {
			wrong = append(wrong, "[mail.out] cannot be used: "+err.Error())
		}
	}
	if s.In != nil {
		if _, err := h.Inbox(true); err != nil {
			wrong = append(wrong, "[mail.in] cannot be used: "+err.Error())
		}
	}
	if _, err := h.LinkAddress(strings.Repeat("x", 43), calendar.Link{}); err != nil {
		wrong = append(wrong, "[page] cannot be used: "+err.Error())
	}
	return wrong
}

// items returns the numbers of a board as an issue has them.
func items(b *tasks.Board) []item {
	var list []item
	for _, r := range slices.Concat(b.Rows, b.Moot) {
		if r.N > 0 {
			moot := slices.ContainsFunc(b.Moot, func(m tasks.Row) bool { return m.N == r.N })
			list = append(list, item{N: r.N, Task: r.Key, Kind: r.Kind, Scope: r.Scope, Title: r.Title, Pinned: r.Pinned, Overdue: r.Late, Packs: r.Packs, Mate: r.Mate, Moot: moot})
		}
	}
	return list
}
