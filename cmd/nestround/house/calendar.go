package house

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nestround/notify/calendar"
	"nestround/scheduler"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/husbandry"
)

// shelf is a calendar.Store in a folder, shared by the processes of one books
// folder.
type shelf struct {
	dir   string
	files disk.Files
}

func (s shelf) Load(name string) ([]byte, error) { return os.ReadFile(filepath.Join(s.dir, name)) }

func (s shelf) Save(name string, data []byte) error {
	if err := s.files.MkdirAll(s.dir, 0o777); err != nil {
		return err
	}
	return s.files.WriteFile(filepath.Join(s.dir, name), data, 0o600)
}

func (s shelf) Lock() (func(), error) {
	l, err := s.files.Acquire(filepath.Join(s.dir, "lock"), lockWait)
	if err != nil {
		return nil, err
	}
	return func() { l.Release() }, nil
}

func (h *House) shelf() shelf { return shelf{h.state("calendar"), h.files} }

// Links returns the links that the calendar is subscribed to by.
func (h *House) Links() *calendar.Links { return calendar.NewLinks(h.shelf(), h.now) }

// LinkAddress returns the address of a new link's calendar: where keeper.toml
// says that the outside reaches the page, or else where it listens.
func (h *House) LinkAddress(token string, l calendar.Link) (string, error) {
	s := h.Settings()
	base := s.Page.URL
	if base == "" {
		base = "http://" + s.Page.Listen
	}
	return h.LinkAddressAt(base, token, l)
}

// LinkAddressAt is LinkAddress where the outside reaches the page at base.
func (h *House) LinkAddressAt(base, token string, l calendar.Link) (string, error) {
	name := h.Settings().Name
	if name == "" {
		name = "rounds"
	}
	if l.Room != "" {
		name = string(l.Room)
		for _, r := range h.Rooms() {
			if r.ID == l.Room {
				name = r.Name
			}
		}
	}
	return calendar.Address(base, token, name)
}

// Calendar returns the iCalendar file of everything, or of one room.
func (h *House) Calendar(scope calendar.Scope) ([]byte, error) {
	content, err := h.CalendarContent(context.Background(), scope.Keeper)
	if err != nil {
		return nil, err
	}
	return calendar.Render(content, scope, calendar.NewRevisions(h.shelf()))
}

// CalendarContent gathers what the calendar shows: the days past as they
// ended, today as it stands, and the plan for the days to come.
// With a keeper it is what is theirs.
func (h *House) CalendarContent(_ context.Context, keeper husbandry.ID) (calendar.Content, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if err := h.refresh(); err != nil {
		return calendar.Content{}, err
	}
	install, err := h.install()
	if err != nil {
		return calendar.Content{}, err
	}
	today := h.today()
	last := today.AddDays(h.settings.Calendar.AheadDays)
	c := calendar.Content{
		Name: h.settings.Name, Install: install, Page: h.settings.Page.URL,
		Now: h.now(), Today: today, Rooms: h.records.Rooms,
		Coming: h.ahead(today, last),
	}
	if h.settings.Calendar.Alarms {
		c.Alarm = &h.settings.Rounds.Morning
	}
	first := today.AddDays(-h.settings.Calendar.PastDays)
	if began := h.began(); !began.IsZero() {
		first = civil.Min(civil.Max(first, began), today)
	} else {
		first = today
	}
	for day := first; !day.After(today); day = day.AddDays(1) {
		c.Boards = append(c.Boards, h.pastBoard(day, today))
	}
	for _, s := range scheduler.Dated(h.input(h.history.Before(today.AddDays(1)), today, last)) {
		if keeper != "" && s.Keeper != "" && s.Keeper != keeper {
			continue
		}
		c.Facts = append(c.Facts, calendar.Fact{Key: string(s.Key), Title: s.Title, Why: s.Why, From: s.From, To: s.To, Room: s.Place.Room})
	}
	if keeper != "" {
		mine := reader{keeper: keeper}
		// Their events are others than those of the whole.
		sum := sha256.Sum256([]byte(strings.ToLower(string(keeper))))
		c.Install += "-" + hex.EncodeToString(sum[:6])
		c.Coming = mine.tasks(c.Coming)
		for i, b := range c.Boards {
			c.Boards[i] = mine.board(b)
		}
	}
	return c, nil
}

// began is the first day anything is planned for or recorded.
func (h *House) began() civil.Date { return civil.Min(h.records.Began, h.history.First()) }

// pastBoard is board for one of the last days; how those ended is worked out
// once for each state of the books, since the calendar asks again and again.
func (h *House) pastBoard(day, today civil.Date) *tasks.Board {
	if day == today {
		return h.board(day)
	}
	key := pastKey{h.print, len(h.daybook.Entries()), today}
	if h.pastKey != key {
		h.pastKey, h.past = key, make(map[civil.Date]*tasks.Board)
	}
	b, ok := h.past[day]
	if !ok {
		b = h.board(day)
		h.past[day] = b
	}
	return b
}

type pastKey struct {
	print   string
	entries int
	today   civil.Date
}

// install is the id of these books in calendar UIDs, made once.
func (h *House) install() (string, error) {
	s := h.shelf()
	unlock, err := s.Lock()
	if err != nil {
		return "", err
	}
	defer unlock()
	b, err := s.Load("install")
	if err == nil && len(b) > 0 {
		return strings.TrimSpace(string(b)), nil
	}
	if err != nil && !os.IsNotExist(err) {
		return "", fmt.Errorf("read the id of these books: %w", err)
	}
	id := strings.ToLower(rand.Text()[:16])
	return id, s.Save("install", []byte(id+"\n"))
}

// handler serves the calendar, and the page behind it.
func (h *House) handler() http.Handler {
	served := calendar.NewHandler(calendar.Options{
		Source: h.CalendarContent, Links: h.Links(), Revisions: calendar.NewRevisions(h.shelf()),
		Store: h.shelf(), Now: h.now, Fresh: calendarFresh, Log: h.log,
	})
	if h.page == nil {
		return served
	}
	// Not a ServeMux: that answers a path it would clean with a redirect, which
	// some calendar programs remember and others refuse.
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, calendar.PathPrefix) || r.URL.Path == "/robots.txt" {
			served.ServeHTTP(w, r)
			return
		}
		h.page.ServeHTTP(w, r)
	})
}

// calendarFresh is how long a rendered calendar is served again: programs ask
// for it every few minutes at most, and several at once.
const calendarFresh = 20 * time.Second
