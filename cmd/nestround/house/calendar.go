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

	"nestround/notify/calendar"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/husbandry"
)

// shelf is a calendar.Store in a folder. All processes with the same books
// share it.
type shelf struct {
	dir   string
	files disk.Files
}

func (s shelf) Load(name string) ([]byte, error) {
	return disk.ReadFile(filepath.Join(s.dir, name), disk.MaxState)
}

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

// Publisher makes the calendar and its links.
type Publisher struct{ h *House }

// Publisher returns the publisher of the house's calendar.
func (h *House) Publisher() Publisher { return Publisher{h} }

func (p Publisher) shelf() shelf { return shelf{p.h.state("calendar"), p.h.files} }

// Links returns the links through which phones subscribe to the calendar.
func (p Publisher) Links() *calendar.Links { return calendar.NewLinks(p.shelf(), p.h.now) }

// LinkAddress returns the address of a new link. The address begins with the
// public address in keeper.toml, or with the listening address if keeper.toml
// gives no public address.
func (p Publisher) LinkAddress(token string, l calendar.Link) (string, error) {
	s := p.h.Snapshot().settings
	base := s.Page.URL
	if base == "" {
		base = "http://" + s.Page.Listen
	}
	return p.LinkAddressAt(base, token, l)
}

// LinkAddressAt does the same as LinkAddress, with base as the public address.
func (p Publisher) LinkAddressAt(base, token string, l calendar.Link) (string, error) {
	s := p.h.Snapshot()
	name := s.settings.Name
	if name == "" {
		name = "rounds"
	}
	if l.Room != "" {
		name = string(l.Room)
		for _, r := range s.records.Rooms {
			if r.ID == l.Room {
				name = r.Name
			}
		}
	}
	return calendar.Address(base, token, name)
}

// File returns the iCalendar file of all rooms or of one room.
func (p Publisher) File(scope calendar.Scope) ([]byte, error) {
	content, err := p.Content(context.Background(), scope.Keeper)
	if err != nil {
		return nil, err
	}
	return calendar.Render(content, scope, calendar.NewRevisions(p.shelf()))
}

// Content collects the content of the calendar: past days as they ended, today
// as it is, and the plan of the coming days. With a keeper, it has only that
// keeper's tasks.
func (p Publisher) Content(_ context.Context, keeper husbandry.ID) (calendar.Content, error) {
	s, err := p.h.Refresh()
	if err != nil {
		return calendar.Content{}, err
	}
	install, err := p.install()
	if err != nil {
		return calendar.Content{}, err
	}
	today := s.today
	last := today.AddDays(s.settings.Calendar.AheadDays)
	c := calendar.Content{
		Name: s.settings.Name, Install: install, Page: s.settings.Page.URL,
		Now: p.h.now(), Today: today, Rooms: s.records.Rooms,
		Coming: s.Ahead(today, last),
	}
	if s.settings.Calendar.Alarms {
		c.Alarm = &s.settings.Rounds.Morning
	}
	first := today.AddDays(-s.settings.Calendar.PastDays)
	if began := began(s); !began.IsZero() {
		first = civil.Min(civil.Max(first, began), today)
	} else {
		first = today
	}
	for day := first; !day.After(today); day = day.AddDays(1) {
		c.Boards = append(c.Boards, s.Board(day))
	}
	for _, d := range outlook.Dated(s.outlook(today, last)) {
		if keeper != "" && d.Keeper != "" && d.Keeper != keeper {
			continue
		}
		c.Facts = append(c.Facts, calendar.Fact{Key: string(d.Key), Title: d.Title, Why: d.Why, From: d.From, To: d.To, Room: d.Place.Room})
	}
	if keeper != "" {
		mine := reader{keeper: keeper}
		// A keeper's events have other ids than the events of the whole
		// calendar.
		sum := sha256.Sum256([]byte(strings.ToLower(string(keeper))))
		c.Install += "-" + hex.EncodeToString(sum[:6])
		c.Coming = mine.tasks(c.Coming)
		for i, b := range c.Boards {
			c.Boards[i] = mine.board(b)
		}
	}
	return c, nil
}

// install returns the id of these books in calendar UIDs. The first call
// creates the id and stores it for all later calls.
func (p Publisher) install() (string, error) {
	s := p.shelf()
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

// handler serves the calendar, and the page for all other paths.
func (p Publisher) handler() http.Handler {
	h := p.h
	served := calendar.NewHandler(calendar.Options{
		Source: p.Content, Links: p.Links(), Revisions: calendar.NewRevisions(p.shelf()),
		Store: p.shelf(), Now: h.now, State: p.state, Log: h.log,
		Client: func(r *http.Request) string { return calendar.ClientAddress(r, h.Snapshot().settings.Page.Proxies) },
	})
	if h.page == nil {
		return served
	}
	// Do not use a ServeMux here, because a ServeMux redirects paths that it
	// would clean. Some calendar programs store the redirect, and others refuse
	// it.
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, calendar.PathPrefix) || r.URL.Path == "/robots.txt" {
			served.ServeHTTP(w, r)
			return
		}
		h.page.ServeHTTP(w, r)
	})
}

// state returns the newest snapshot, from which the calendar is made. A mark
// made in a shell is therefore in the calendar at the next request.
func (p Publisher) state() any {
	s, err := p.h.Refresh()
	if err != nil {
		return nil
	}
	return s
}
