package house

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"nestround/notify"
	"nestround/notify/calendar"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// A snapshot takes over plans of an older snapshot. It gives the same answers
// as a snapshot made from nothing, for any new entries in any order.
func TestSnapshotInheritsOnlyValidPlans(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	at := clock("2027-05-12T06:30:00+02:00")()
	now := func() time.Time { return at }
	h := open(t, dir, now, disk.Files{})
	all := func(h *House) string {
		s := h.Snapshot()
		var b strings.Builder
		for day := s.Today().AddDays(-20); !day.After(s.Today()); day = day.AddDays(1) {
			for _, r := range s.Board(day).Rows {
				fmt.Fprintln(&b, day, r.N, r.Key, r.Status, r.Due, r.Why)
			}
		}
		b.WriteString(picture(h, s.Today()))
		for _, t := range s.Ahead(s.Today(), s.Today().AddDays(120)) {
			fmt.Fprintln(&b, t.Key, t.Due, t.Why)
		}
		return b.String()
	}
	all(h)
	for n, m := range []Message{
		{Words: "done 1"},
		{Words: "F01 laid 5"},
		{Words: "done 2", At: at.AddDate(0, 0, -1)}, // for yesterday's board, before today's entries
		{Words: "undo 1"},
		{Words: "F01 weighs 12 g", At: at.AddDate(0, 0, -16)}, // in the fortnight before
		{Words: "undo F01"},
		{Words: "all"},
	} {
		at = at.Add(time.Minute)
		m.Via, m.By = tasks.ViaShell, "keeper"
		if said, err := h.Take(m); err != nil || len(said.Accepted) == 0 {
			t.Fatalf("%q: %+v, %v", m.Words, said, err)
		}
		got := all(h)
		if want := all(open(t, dir, now, disk.Files{})); got != want {
			t.Errorf("message %d, %q: it answers\n%s\nand anew\n%s", n, m.Words, got, want)
		}
		if n%3 == 2 {
			issued(t, h)
		}
		at = at.Add(20 * time.Hour)
	}
}

// A mark of another process is in the calendar at the next request, although
// the clock has not moved.
func TestTheCalendarShowsAMarkAtOnce(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	now := clock("2027-05-12T06:30:00+02:00")
	h := open(t, dir, now, disk.Files{})
	path := linkPath(t, h)
	served := h.Publisher().handler()
	get := func() string {
		w := httptest.NewRecorder()
		served.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		if w.Code != http.StatusOK {
			t.Fatalf("%d %s", w.Code, w.Body)
		}
		return strings.ReplaceAll(w.Body.String(), "\r\n ", "")
	}
	const marked = "✓ Fresh water for E01"
	if body := get(); !strings.Contains(body, "Fresh water for E01") || strings.Contains(body, marked) {
		t.Fatalf("before the mark:\n%s", body)
	}
	shell := open(t, dir, now, disk.Files{})
	n := 0
	for _, r := range shell.Snapshot().Board(civil.MustParse("2027-05-12")).Rows {
		if r.Key == "E01/water/2027-05-12" {
			n = r.N
		}
	}
	if said, err := shell.Take(Message{Words: fmt.Sprint("done ", n), Via: tasks.ViaShell, By: "keeper"}); err != nil || len(said.Accepted) != 1 {
		t.Fatalf("%+v, %v", said, err)
	}
	if body := get(); !strings.Contains(body, marked) {
		t.Errorf("after the mark:\n%s", body)
	}
}

// linkPath makes a link to the whole calendar and returns its path.
func linkPath(t testing.TB, h *House) string {
	t.Helper()
	token, link, err := h.Publisher().Links().New("phone", calendar.Scope{})
	if err != nil {
		t.Fatal(err)
	}
	address, err := h.Publisher().LinkAddress(token, link)
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	return u.Path
}

// Several goroutines ask one snapshot while others write: all get the same
// answer.
func TestConcurrentUseOfASnapshot(t *testing.T) {
	h := open(t, small(t, "Europe/Vienna", "06:00"), clock("2027-05-12T06:30:00+02:00"), disk.Files{})
	s := h.Snapshot()
	ask := func() string {
		d, _, err := h.edition(s, notify.Issue{Date: s.Today()}).content(nil)
		return fmt.Sprintf("%+v %+v %v %+v", s.Ahead(s.Today(), s.Today().AddDays(30)), d.Ahead, err, s.Clutches(s.Today()))
	}
	said := make([]string, 8)
	var all sync.WaitGroup
	for i := range said {
		all.Go(func() {
			if i%4 == 0 {
				if _, err := h.Take(Message{Words: "done 1", Via: tasks.ViaPage, By: "keeper"}); err != nil {
					t.Error(err)
				}
			}
			said[i] = ask()
		})
	}
	all.Wait()
	for i, got := range said {
		if got != said[0] {
			t.Errorf("%d was told\n%s\nand the first\n%s", i, got, said[0])
		}
	}
}
