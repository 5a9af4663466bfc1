package calendar

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"nestround/tasks/husbandry"
)

// server is a handler behind a real HTTP server. The tests control its clock,
// its content and its store.
type server struct {
	*httptest.Server
	t     testing.TB
	store *saves
	links *Links
	log   *bytes.Buffer

	mu      sync.Mutex
	now     time.Time
	content func() (Content, error)
}

func newServer(t testing.TB) *server {
	s := &server{t: t, store: &saves{}, log: &bytes.Buffer{}, now: morning}
	s.content = func() (Content, error) { return sample(), nil }
	s.links = NewLinks(s.store, s.clock)
	s.start()
	return s
}

// start starts the program, or restarts it with the same store.
func (s *server) start() {
	if s.Server != nil {
		s.Close()
	}
	s.links = NewLinks(s.store, s.clock)
	here := []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}
	s.Server = httptest.NewServer(NewHandler(Options{
		Client: func(r *http.Request) string { return ClientAddress(r, here) },
		Source: func(context.Context, husbandry.ID) (Content, error) {
			s.mu.Lock()
			f, now := s.content, s.now
			s.mu.Unlock()
			c, err := f()
			c.Now = now
			return c, err
		},
		Links: s.links, Revisions: NewRevisions(s.store), Store: s.store, Now: s.clock,
		Log: slog.New(slog.NewTextHandler(s.log, nil)),
	}))
	s.t.Cleanup(s.Server.Close)
}

func (s *server) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *server) pass(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
}

func (s *server) serve(f func() (Content, error)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.content = f
}

// link makes a link and returns its path and its token.
func (s *server) link(label string, room husbandry.ID) (path, token string) {
	s.t.Helper()
	token, _, err := s.links.New(label, Scope{Room: room})
	if err != nil {
		s.t.Fatal(err)
	}
	return PathPrefix + token + "/husbandry.ics", token
}

type answer struct {
	status int
	head   http.Header
	body   []byte
	length int64
}

// ask sends a request unchanged, without the compression and the redirects that
// Go's client adds.
func (s *server) ask(method, path string, head ...string) answer {
	s.t.Helper()
	req, err := http.NewRequest(method, s.URL+path, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	for i := 0; i < len(head); i += 2 {
		req.Header.Add(head[i], head[i+1])
	}
	client := &http.Client{Transport: &http.Transport{DisableCompression: true, DisableKeepAlives: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, body, resp.ContentLength}
}

func unzip(t testing.TB, data []byte) []byte {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestGetAndHead(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	want := mustRender(t, sample(), Scope{})
	for _, method := range []string{"GET", "HEAD"} {
		for _, coding := range []string{"", "gzip"} {
			t.Run(method+" "+coding, func(t *testing.T) {
				a := s.ask(method, path, "Accept-Encoding", coding)
				if a.status != 200 {
					t.Fatalf("status %d", a.status)
				}
				for k, v := range map[string]string{
					"Content-Type":     "text/calendar; charset=utf-8",
					"Cache-Control":    "private, no-cache",
					"Vary":             "Accept-Encoding",
					"Referrer-Policy":  "no-referrer",
					"X-Robots-Tag":     "noindex, nofollow",
					"Last-Modified":    "Wed, 12 May 2027 04:30:00 GMT",
					"Content-Encoding": coding,
				} {
					if got := a.head.Get(k); got != v {
						t.Errorf("%s: %q, want %q", k, got, v)
					}
				}
				// A strong tag is quoted and has no W/ (RFC 9110, 8.8.3).
				etag := a.head.Get("ETag")
				if !strings.HasPrefix(etag, `"`) || !strings.HasSuffix(etag, `"`) || len(etag) < 20 || strings.HasSuffix(etag, `-gzip"`) != (coding == "gzip") {
					t.Errorf("ETag %q", etag)
				}
				body := a.body
				if a.head.Get("Content-Length") != strconv.FormatInt(a.length, 10) || a.length < 500 {
					t.Errorf("Content-Length %q", a.head.Get("Content-Length"))
				}
				if method == "HEAD" {
					if len(body) != 0 {
						t.Errorf("a body of %d octets", len(body))
					}
					return
				}
				if int64(len(body)) != a.length {
					t.Errorf("%d octets, Content-Length %d", len(body), a.length)
				}
				if coding == "gzip" {
					body = unzip(t, body)
				}
				if !bytes.Equal(body, want) {
					t.Errorf("not the calendar:\n%s", body)
				}
			})
		}
	}
}

func TestCompressionOnlyOnRequest(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	// RFC 9110, 12.5.3.
	for value, want := range map[string]bool{
		"gzip": true, "GZIP": true, "gzip, deflate, br": true, "br;q=1.0, gzip;q=0.8": true, "x-gzip": true, "gzip; q=0.001": true,
		"": false, "identity": false, "gzip;q=0": false, "gzip; q=0.000": false, "*": false, "br": false, "notgzip": false, "gzip;q=x": false,
	} {
		a := s.ask("GET", path, "Accept-Encoding", value)
		if got := a.head.Get("Content-Encoding") == "gzip"; got != want || a.status != 200 {
			t.Errorf("Accept-Encoding %q: status %d, compressed %v, want %v", value, a.status, got, want)
		}
	}
}

func TestConditionalRequests(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	plain := s.ask("GET", path).head.Get("ETag")
	zipped := s.ask("GET", path, "Accept-Encoding", "gzip").head.Get("ETag")
	if plain == zipped {
		t.Fatalf("both representations have the tag %s", plain)
	}
	const modified = "Wed, 12 May 2027 04:30:00 GMT"
	for _, c := range []struct {
		name string
		head []string
		want int
	}{
		{"the same tag", []string{"If-None-Match", plain}, 304},
		{"the same tag, weakened by a proxy", []string{"If-None-Match", "W/" + plain}, 304},
		{"one of several tags", []string{"If-None-Match", `"a,b", ` + plain}, 304},
		{"tags on two lines", []string{"If-None-Match", `"a"`, "If-None-Match", plain}, 304},
		{"any tag", []string{"If-None-Match", "*"}, 304},
		{"another tag", []string{"If-None-Match", `"a"`}, 200},
		{"the tag of the other representation", []string{"If-None-Match", zipped}, 200},
		{"that tag and its representation", []string{"If-None-Match", zipped, "Accept-Encoding", "gzip"}, 304},
		{"not modified since", []string{"If-Modified-Since", modified}, 304},
		{"a later day", []string{"If-Modified-Since", "Thu, 13 May 2027 04:30:00 GMT"}, 304},
		{"modified since", []string{"If-Modified-Since", "Wed, 12 May 2027 04:29:59 GMT"}, 200},
		{"no date", []string{"If-Modified-Since", "yesterday"}, 200},
		// RFC 9110, 13.1.3: If-Modified-Since is ignored if there is an
		// If-None-Match.
		{"another tag, not modified since", []string{"If-None-Match", `"a"`, "If-Modified-Since", modified}, 200},
		{"a range", []string{"Range", "bytes=0-9"}, 200},
		{"a condition for writing", []string{"If-Match", `"nothing"`}, 200},
	} {
		for _, method := range []string{"GET", "HEAD"} {
			t.Run(c.name+" "+method, func(t *testing.T) {
				a := s.ask(method, path, c.head...)
				if a.status != c.want {
					t.Fatalf("status %d, want %d", a.status, c.want)
				}
				if c.want == 304 && (len(a.body) > 0 || a.head.Get("ETag") == "" || a.head.Get("Cache-Control") == "" || a.head.Get("Vary") == "") {
					t.Errorf("304 with %d octets and %v", len(a.body), a.head) // RFC 9110, 15.4.5
				}
				if c.want == 200 && method == "GET" && c.head[0] != "If-None-Match" {
					mustBeValid(t, a.body)
				}
			})
		}
	}
}

func TestChangeShowsInTagAndDate(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	first := s.ask("GET", path)
	s.pass(time.Hour)
	if a := s.ask("GET", path); a.head.Get("ETag") != first.head.Get("ETag") || a.head.Get("Last-Modified") != first.head.Get("Last-Modified") {
		t.Error("changed without a change")
	}
	// A removed event leaves no newer LAST-MODIFIED in the file.
	s.serve(func() (Content, error) {
		c := sample()
		c.Facts = c.Facts[:2]
		return c, nil
	})
	a := s.ask("GET", path, "If-Modified-Since", first.head.Get("Last-Modified"))
	if a.status != 200 || a.head.Get("Last-Modified") != "Wed, 12 May 2027 05:30:00 GMT" || a.head.Get("ETag") == first.head.Get("ETag") {
		t.Errorf("%d %v", a.status, a.head)
	}
	t.Run("the clock was set back", func(t *testing.T) {
		s.serve(func() (Content, error) { return sample(), nil })
		s.pass(-2 * time.Hour)
		b := s.ask("GET", path, "If-Modified-Since", a.head.Get("Last-Modified"))
		// RFC 9110, 8.8.2.1: a date in the future must not be sent.
		if b.status != 200 || b.head.Get("Last-Modified") != "" || b.head.Get("ETag") == a.head.Get("ETag") {
			t.Errorf("%d %v", b.status, b.head)
		}
		s.pass(3 * time.Hour)
		if c := s.ask("HEAD", path); c.head.Get("Last-Modified") != "Wed, 12 May 2027 05:30:01 GMT" {
			t.Errorf("Last-Modified %q once the clock has caught up", c.head.Get("Last-Modified"))
		}
	})
}

func TestMethods(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	for _, method := range []string{"PUT", "POST", "PROPFIND", "REPORT", "OPTIONS", "DELETE", "PATCH", "MKCALENDAR"} {
		for _, p := range []string{path, "/cal/", "/cal/unknown/x.ics", "/robots.txt"} {
			a := s.ask(method, p, "If-Match", "nothing")
			if a.status != 405 || a.head.Get("Allow") != "GET, HEAD" || a.head.Get("WWW-Authenticate") != "" {
				t.Errorf("%s %s: %d, Allow %q", method, p[:5], a.status, a.head.Get("Allow"))
			}
		}
	}
}

func TestPaths(t *testing.T) {
	s := newServer(t)
	path, token := s.link("phone", "")
	for _, c := range []struct {
		name, path string
		want       int
	}{
		{"the path of the link", path, 200},
		{"another file name", PathPrefix + token + "/egg-room.ics", 200},
		{"with a query", path + "?nocache=1", 200},
		{"without a file", PathPrefix + token, 404},
		{"with an empty file", PathPrefix + token + "/", 404},
		{"another kind of file", PathPrefix + token + "/x.html", 404},
		{"one folder more", PathPrefix + token + "/x/y.ics", 404},
		{"another token", PathPrefix + strings.Repeat("A", 43) + "/x.ics", 404},
		{"a shorter token", PathPrefix + token[:42] + "/x.ics", 404},
		{"in capitals", PathPrefix + strings.ToUpper(token) + "/x.ics", 404},
		{"doubled slashes are not redirected", "//cal/" + token + "/x.ics", 404},
		{"dots are not redirected", "/cal/../cal/" + token + "/x.ics", 404},
		{"elsewhere", "/", 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			s.pass(time.Hour) // a new minute for the limit
			a := s.ask("GET", c.path, "Authorization", "Basic Zm9vOmJhcg==")
			if a.status != c.want || a.head.Get("Location") != "" || a.head.Get("WWW-Authenticate") != "" || len(a.body) == 0 {
				t.Errorf("%d, %v, %q", a.status, a.head, a.body[:min(60, len(a.body))])
			}
		})
	}
}

func TestAuthorizationIsIgnored(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	for _, v := range []string{"Basic Zm9vOmJhcg==", "Bearer x", "Negotiate", "\"", strings.Repeat("x", 4000)} {
		if a := s.ask("GET", path, "Authorization", v); a.status != 200 {
			t.Errorf("%q: %d", v[:min(9, len(v))], a.status)
		}
	}
}

func TestRobots(t *testing.T) {
	a := newServer(t).ask("GET", "/robots.txt")
	if a.status != 200 || strings.Contains(string(a.body), "Disallow: /") || !strings.HasPrefix(a.head.Get("Content-Type"), "text/plain") {
		t.Errorf("%d %q", a.status, a.body)
	}
}

func TestRoomLink(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("egg room tablet", "H")
	if got, want := s.ask("GET", path).body, mustRender(t, sample(), Scope{Room: "H"}); !bytes.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestInternalErrors(t *testing.T) {
	bad := map[string]func() (Content, error){
		"the books have errors":    func() (Content, error) { return Content{}, errors.New("keeper.toml:3:1: unknown key") },
		"the planner panics":       func() (Content, error) { panic("index out of range") },
		"the content is not right": func() (Content, error) { return Content{}, nil },
	}
	for name, f := range bad {
		t.Run(name, func(t *testing.T) {
			s := newServer(t)
			path, _ := s.link("phone", "")
			t.Run("before there was a calendar", func(t *testing.T) {
				s.serve(f)
				if a := s.ask("GET", path); a.status != 503 || a.head.Get("Retry-After") == "" || len(a.body) == 0 || strings.Contains(string(a.body), "keeper.toml") {
					t.Errorf("%d %v %q", a.status, a.head, a.body)
				}
			})
			s.serve(func() (Content, error) { return sample(), nil })
			good := s.ask("GET", path)
			for _, again := range []string{"while it runs", "after a start"} {
				t.Run(again, func(t *testing.T) {
					s.serve(f)
					s.log.Reset()
					a := s.ask("GET", path)
					if a.status != 200 || !bytes.Equal(a.body, good.body) || a.head.Get("ETag") != good.head.Get("ETag") {
						t.Errorf("not the last good calendar: %d\n%s", a.status, a.body)
					}
					if !strings.Contains(s.log.String(), "level=ERROR") {
						t.Errorf("log: %s", s.log)
					}
				})
				s.start()
			}
			s.serve(func() (Content, error) { return sample(), nil })
			if a := s.ask("GET", path); a.status != 200 || a.head.Get("Last-Modified") == "" {
				t.Errorf("does not recover: %d %v", a.status, a.head)
			}
		})
	}
}

// A client that hangs up must not cost the next client the answer: both wait
// for the same file.
func TestClientHangsUp(t *testing.T) {
	m := &Memory{}
	clock := func() time.Time { return morning }
	links := NewLinks(m, clock)
	token, _, err := links.New("phone", Scope{})
	if err != nil {
		t.Fatal(err)
	}
	h := NewHandler(Options{Links: links, Revisions: NewRevisions(m), Store: m, Now: clock,
		Source: func(ctx context.Context, _ husbandry.ID) (Content, error) { return sample(), ctx.Err() }})
	gone, hangUp := context.WithCancel(t.Context())
	hangUp()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", PathPrefix+token+"/x.ics", nil).WithContext(gone))
	if w.Code != 200 {
		t.Errorf("%d", w.Code)
	}
}

func TestFullDisk(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	good := s.ask("GET", path)
	s.serve(func() (Content, error) {
		c := sample()
		c.Facts = nil
		return c, nil
	})
	s.store.fail = errors.New("no space left on device")
	if a := s.ask("GET", path); a.status != 200 || !bytes.Equal(a.body, good.body) {
		t.Errorf("served a revision that is not on disk: %d", a.status)
	}
	s.store.fail = nil
	if a := s.ask("GET", path); a.status != 200 || bytes.Equal(a.body, good.body) {
		t.Errorf("does not recover: %d", a.status)
	}
}

func TestIncompleteFileIsNotServed(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	s.serve(func() (Content, error) { return Content{}, errors.New("broken") })
	for _, data := range []string{"", "BEGIN:VCALENDAR\r\n", "<html>"} {
		_ = s.store.Save(lastGoodFile(Scope{}), []byte(data))
		if a := s.ask("GET", path); a.status != 503 {
			t.Errorf("%q: %d", data, a.status)
		}
	}
}

func TestUnreadableLinksGiveNo404(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	_ = s.store.Save(linksFile, []byte("{"))
	if a := s.ask("GET", path); a.status != 503 {
		t.Errorf("%d", a.status)
	}
}

// faulty panics where other stores return an error.
type faulty struct{ Memory }

func (f *faulty) Load(string) ([]byte, error) { panic("nil pointer") }

func TestStorePanics(t *testing.T) {
	var f faulty
	h := NewHandler(Options{Source: func(context.Context, husbandry.ID) (Content, error) { return sample(), nil }, Store: &f,
		Links: NewLinks(&f, time.Now), Revisions: NewRevisions(&f), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", PathPrefix+strings.Repeat("A", 43)+"/x.ics", nil))
	if w.Code != 503 || w.Body.Len() == 0 {
		t.Errorf("%d %q", w.Code, w.Body)
	}
}

// A file is made again if the state of its content has changed or is not known.
func TestState(t *testing.T) {
	asked := 0
	clock := func() time.Time { return morning }
	m := &Memory{}
	links := NewLinks(m, clock)
	token, _, err := links.New("phone", Scope{})
	if err != nil {
		t.Fatal(err)
	}
	var state any
	h := NewHandler(Options{Links: links, Revisions: NewRevisions(m), Store: m, Now: clock, State: func() any { return state },
		Source: func(context.Context, husbandry.ID) (Content, error) { asked++; return sample(), nil }})
	for _, c := range []struct {
		state any
		want  int
	}{{"a", 1}, {"a", 1}, {"b", 2}, {"b", 2}, {nil, 3}, {nil, 4}, {"b", 5}, {"b", 5}, {"a", 6}} {
		state = c.state
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", PathPrefix+token+"/x.ics", nil))
		if w.Code != 200 || asked != c.want {
			t.Errorf("state %v: %d, asked %d times, want %d", c.state, w.Code, asked, c.want)
		}
	}
}

func TestManyAtOnce(t *testing.T) {
	s := newServer(t)
	paths := make([]string, 4)
	for i := range paths {
		paths[i], _ = s.link(fmt.Sprint("phone ", i), []husbandry.ID{"", "G", "H", "Q"}[i])
	}
	n := 0
	s.serve(func() (Content, error) {
		n++ // one request at a time calls Source
		c := sample()
		c.Boards[1].Rows[3].Title = fmt.Sprint("Top up E07, edition ", n)
		return c, nil
	})
	var wg sync.WaitGroup
	for i := range 40 {
		wg.Go(func() {
			a := s.ask("GET", paths[i%4])
			if _, err := valid(a.body); a.status != 200 || err != nil {
				t.Errorf("%d, %v", a.status, err)
			}
		})
	}
	wg.Wait()
}

func TestWrongGuessesAreLimited(t *testing.T) {
	s := newServer(t)
	path, _ := s.link("phone", "")
	from := func(addr string) []string { return []string{"X-Forwarded-For", addr} }
	wrong := PathPrefix + strings.Repeat("x", 43) + "/a.ics"
	for i := range missesAMinute {
		if a := s.ask("GET", wrong, from("203.0.113.7")...); a.status != 404 {
			t.Fatalf("guess %d: %d", i, a.status)
		}
	}
	for name, c := range map[string]struct {
		path, addr string
		want       int
	}{
		"one more":                    {wrong, "203.0.113.7", 429},
		"behind an address it claims": {wrong, "198.51.100.1, 203.0.113.7", 429},
		"another client":              {wrong, "203.0.113.8", 404},
		"a link that exists":          {path, "203.0.113.7", 200},
	} {
		if a := s.ask("GET", c.path, from(c.addr)...); a.status != c.want {
			t.Errorf("%s: %d, want %d", name, a.status, c.want)
		}
	}
	s.pass(time.Minute)
	if a := s.ask("GET", wrong, from("203.0.113.7")...); a.status != 404 {
		t.Errorf("a minute later: %d", a.status)
	}
}

func TestTableOfClientsIsBounded(t *testing.T) {
	var m misses
	for i := range 3 * maxClients {
		m.count(fmt.Sprint(i), morning)
	}
	if len(m.by) > maxClients+1 {
		t.Errorf("%d clients", len(m.by))
	}
}

func TestClientAddress(t *testing.T) {
	here := []string{"127.0.0.1/32", "::1/128"}
	inside := []string{"10.0.0.0/8", "192.168.1.5/32", "fe80::/10"}
	for _, c := range []struct {
		name, remote string
		forwarded    []string // header lines
		proxies      []string
		want         string
	}{
		{"direct", "203.0.113.7:5000", nil, here, "203.0.113.7"},
		{"direct, with a claim", "203.0.113.7:5000", []string{"198.51.100.1"}, here, "203.0.113.7"},
		{"no proxy is named, from this machine", "127.0.0.1:5000", []string{"203.0.113.7"}, nil, "127.0.0.1"},
		{"no proxy is named, from IPv6 here", "[::1]:5000", []string{"203.0.113.7"}, nil, "::/64"},
		{"another machine than the named one", "10.0.0.1:5000", []string{"203.0.113.7"}, here, "10.0.0.1"},
		{"behind a named proxy", "127.0.0.1:5000", []string{"203.0.113.7"}, here, "203.0.113.7"},
		{"behind a named proxy, with a claim", "[::1]:5000", []string{"198.51.100.1, 203.0.113.7"}, here, "203.0.113.7"},
		{"the claim stands in a line of its own", "127.0.0.1:5000", []string{"198.51.100.1", "203.0.113.7"}, here, "203.0.113.7"},
		{"the claim is a named proxy", "127.0.0.1:5000", []string{"127.0.0.1, 203.0.113.7"}, here, "203.0.113.7"},
		{"two named proxies", "10.0.0.1:5000", []string{"198.51.100.1, 203.0.113.7, 192.168.1.5"}, inside, "203.0.113.7"},
		{"the client stands inside, too", "10.0.0.1:5000", []string{"10.0.0.9"}, inside, "10.0.0.9"},
		{"a proxy that was not named between them", "10.0.0.1:5000", []string{"203.0.113.7, 192.168.1.6, 10.0.0.2"}, inside, "192.168.1.6"},
		{"nonsense at the end", "127.0.0.1:5000", []string{"203.0.113.7, unknown"}, here, "127.0.0.1"},
		{"nonsense before the client", "127.0.0.1:5000", []string{"<script>, 203.0.113.7"}, here, "203.0.113.7"},
		{"an empty entry at the end", "127.0.0.1:5000", []string{"203.0.113.7,"}, here, "127.0.0.1"},
		{"an empty header", "127.0.0.1:5000", []string{""}, here, "127.0.0.1"},
		{"with a port", "127.0.0.1:5000", []string{"203.0.113.7:41000"}, here, "203.0.113.7"},
		{"IPv6 with a port", "127.0.0.1:5000", []string{"[2001:db8:1:2::7]:41000"}, here, "2001:db8:1:2::/64"},
		{"IPv6 in brackets", "127.0.0.1:5000", []string{"[2001:db8:1:2::7]"}, here, "2001:db8:1:2::/64"},
		{"IPv6 by its network", "[2001:db8:1:2:3:4:5:6]:5000", nil, here, "2001:db8:1:2::/64"},
		{"IPv4 in IPv6", "[::ffff:203.0.113.7]:5000", nil, here, "203.0.113.7"},
		{"a named proxy as IPv4 in IPv6", "[::ffff:127.0.0.1]:5000", []string{"203.0.113.7"}, here, "203.0.113.7"},
		{"a named proxy with a zone", "[fe80::1%eth0]:5000", []string{"203.0.113.7"}, inside, "203.0.113.7"},
		{"a client with a zone", "127.0.0.1:5000", []string{"fe80::2%eth1"}, here, "fe80::/64"},
		{"a socket", "@", []string{"203.0.113.7"}, here, "unknown"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.remote
		for _, f := range c.forwarded {
			r.Header.Add("X-Forwarded-For", f)
		}
		var proxies []netip.Prefix
		for _, p := range c.proxies {
			proxies = append(proxies, netip.MustParsePrefix(p))
		}
		if got := ClientAddress(r, proxies); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestNoTokenIsLoggedOrStored(t *testing.T) {
	s := newServer(t)
	path, token := s.link("phone", "")
	wrong := token[:42] + "A"
	if wrong == token {
		wrong = token[:42] + "Q"
	}
	s.ask("GET", path)
	s.ask("GET", PathPrefix+wrong+"/x.ics")
	s.ask("GET", PathPrefix+token)
	s.serve(func() (Content, error) { panic("x") })
	s.ask("GET", path)
	if _, _, err := s.links.Renew("phone", time.Hour); err != nil {
		t.Fatal(err)
	}
	where := s.log.String()
	for _, name := range []string{linksFile, fetchesFile, revisionsFile, lastGoodFile(Scope{})} {
		data, err := s.store.Load(name)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		where += string(data)
	}
	for _, secret := range []string{token, wrong} {
		if strings.Contains(where, secret[:10]) || strings.Contains(where, secret[20:]) {
			t.Errorf("a token can be read in\n%s", where)
		}
	}
	if !strings.Contains(s.log.String(), "token="+wrong[:4]) || !strings.Contains(s.log.String(), "hash="+tokenHash(wrong)[:8]) {
		t.Errorf("the log does not identify the token: %s", s.log)
	}
}
