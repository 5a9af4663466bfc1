package calendar

import (
	"bufio"
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"nestround/tasks/husbandry"
)

// A request of any bytes gets an answer. Only a request that names a link gets
// the calendar, and no header of a request changes another answer.
func FuzzRequest(f *testing.F) {
	store := &saves{}
	clock := func() time.Time { return morning }
	links := NewLinks(store, clock)
	token, _, err := links.New("phone", Scope{})
	if err != nil {
		f.Fatal(err)
	}
	handler := NewHandler(Options{
		Source: func(context.Context, husbandry.ID) (Content, error) { return sample(), nil },
		Links:  links, Revisions: NewRevisions(store), Store: store, Now: clock, Log: slog.New(slog.DiscardHandler),
	})
	const known = "TOKEN" // stands for the token, which is new in every run
	for _, s := range []string{
		"GET " + PathPrefix + known + "/rounds.ics HTTP/1.1\r\nHost: a\r\n\r\n",
		"HEAD " + PathPrefix + known + "/x.ics HTTP/1.0\r\nIf-None-Match: \"x\", W/\"y\"\r\nAccept-Encoding: gzip;q=0, *\r\n\r\n",
		"GET " + PathPrefix + "../" + known + " HTTP/1.1\r\nHost: a\r\nX-Forwarded-For: 203.0.113.9, unknown, [::1]:7\r\nForwarded: for=\"_x\"\r\n\r\n",
		"POST " + PathPrefix + " HTTP/1.1\r\nHost: a\r\nContent-Length: 3\r\n\r\nabc",
		"GET http://b" + PathPrefix + "%54OKEN/%2e%2e HTTP/1.1\r\nHost: a\r\nIf-Modified-Since: Wed, 12 May 2027 06:00:00 GMT\r\nRange: bytes=0-1\r\n\r\n",
		"OPTIONS * HTTP/1.1\r\nHost: a\r\n\r\n",
		"GET /robots.txt HTTP/1.1\r\nHost: a\r\nX-Forwarded-For: ,,,,\r\nX-Forwarded-For: a\r\n\r\n",
	} {
		f.Add([]byte(s), "192.0.2.1:1234")
	}
	f.Add([]byte("GET / HTTP/1.1\r\nHost: a\r\n\r\n"), "@")
	f.Fuzz(func(t *testing.T, raw []byte, from string) {
		raw = bytes.ReplaceAll(raw, []byte(known), []byte(token))
		r, err := http.ReadRequest(bufio.NewReader(bytes.NewReader(raw)))
		if err != nil {
			return
		}
		r.RemoteAddr = from
		w := httptest.NewRecorder()
		handler.ServeHTTP(w, r)
		body := w.Body.String()
		if w.Code < 200 || w.Code > 599 || w.Code >= 300 && w.Code < 400 && w.Code != http.StatusNotModified {
			t.Errorf("status %d", w.Code)
		}
		if strings.Contains(body, "VCALENDAR") && !strings.Contains(r.URL.Path, token) {
			t.Errorf("a request without the link got the calendar: %q", raw)
		}
		if strings.Contains(body, token) {
			t.Error("the answer repeats the link")
		}
		if !strings.Contains(r.URL.Path, token) && len(body) > 4<<10 {
			t.Errorf("a stranger got %d bytes", len(body))
		}
	})
}
