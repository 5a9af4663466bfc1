package calendar

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Options are what a [Handler] works with. All but State, Client and Log must
// be set.
type Options struct {
	// Source gives the content as it is now, of one keeper where it is said. It may take seconds; it is asked
	// by one request at a time.
	Source    func(ctx context.Context, keeper husbandry.ID) (Content, error)
	Links     *Links
	Revisions *Revisions
	// Store keeps the last good file of every scope, for the time after a
	// start when the books have a fault in them.
	Store Store
	Now   func() time.Time

	// State names what Source would make its content of now, as a value that can
	// be compared; nil for not known. A file is served again without asking
	// Source for as long as the state is the same. nil: ask Source each time.
	State func() any
	// Client names the program that asks, for the limit on wrong guesses; nil:
	// by its address, and behind a proxy on this machine by the last address
	// in X-Forwarded-For.
	Client func(*http.Request) string
	Log    *slog.Logger // nil: slog.Default
}

// Handler serves the calendars under [PathPrefix], and /robots.txt. What it
// answers is chosen by what calendar programs do with it:
//
//   - 200 with a whole file, or 304; an empty or half file would delete the
//     subscriber's copy. When something fails inside, it is the last good file,
//     and an error in the log.
//   - 404 for a token that is unknown, withdrawn or run out. Never 401, at
//     which programs ask for a password, nor 410, at which Thunderbird gives
//     the calendar up. A password that is sent along is not looked at.
//   - 405 with Allow for all but GET and HEAD: programs probe with PROPFIND
//     and PUT.
//   - no redirects: some programs remember them, some refuse them.
//
// A GET changes nothing but the time of the last fetch.
type Handler struct {
	o      Options
	misses misses

	mu   sync.Mutex
	kept map[string]*kept // by scope
}

// kept is a file ready to be served.
type kept struct {
	plain, gzip []byte
	hash        string
	modified    time.Time // zero: not known, for a file from before the start
	state       any       // of the content, see Options.State
}

// NewHandler returns a handler. It panics if one of the options is missing.
func NewHandler(o Options) *Handler {
	if o.Source == nil || o.Links == nil || o.Revisions == nil || o.Store == nil || o.Now == nil {
		panic("calendar: a handler needs all of Source, Links, Revisions, Store and Now")
	}
	if o.Client == nil {
		o.Client = clientAddress
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return &Handler{o: o, kept: make(map[string]*kept)}
}

// ServeHTTP implements [http.Handler].
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	head := w.Header()
	head.Set("X-Robots-Tag", "noindex, nofollow")
	head.Set("Referrer-Policy", "no-referrer")
	head.Set("X-Content-Type-Options", "nosniff")
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		head.Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, "A calendar can be read, and nothing else.")
		return
	}
	if r.URL.Path == "/robots.txt" {
		// Google reported calendars as unreadable where robots.txt was missing
		// or forbade them; indexing is forbidden by X-Robots-Tag instead.
		head.Set("Content-Type", "text/plain; charset=utf-8")
		http.ServeContent(w, r, "", time.Time{}, strings.NewReader("User-agent: *\nDisallow:\n"))
		return
	}
	token, ok := tokenOf(r.URL.Path)
	if !ok {
		h.missed(w, r, token)
		return
	}
	k, err := h.calendar(r, token)
	switch {
	case errors.Is(err, ErrNoLink):
		h.missed(w, r, token)
	case err != nil:
		h.o.Log.Error("a calendar cannot be served", "err", err)
		w.Header().Set("Retry-After", "600")
		refuse(w, http.StatusServiceUnavailable, "The calendar cannot be made just now.")
	default:
		h.serve(w, r, k)
	}
}

// calendar returns the file behind a token, [ErrNoLink] if there is none.
// Everything that may fail happens here, before a byte is answered; a panic is
// an error like others.
func (h *Handler) calendar(r *http.Request, token string) (k *kept, err error) {
	defer recovered(&err)
	link, err := h.o.Links.lookup(token)
	if err != nil {
		return nil, err
	}
	k = h.file(r.Context(), Scope{Room: link.Room, Keeper: link.Keeper}, link)
	if k == nil {
		return nil, fmt.Errorf("link %s: there is no last good calendar", link.ID)
	}
	if err := h.o.Links.fetched(link.ID, r.UserAgent()); err != nil {
		h.o.Log.Error("the time of a calendar's last fetch cannot be kept", "link", link.ID, "err", err)
	}
	return k, nil
}

func recovered(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
	}
}

// tokenOf takes the token out of /cal/TOKEN/NAME.ics. The name may be any: the
// file may have been called otherwise when the link was made.
func tokenOf(path string) (string, bool) {
	rest, ok := strings.CutPrefix(path, PathPrefix)
	token, name, found := strings.Cut(rest, "/")
	return token, ok && found && strings.HasSuffix(name, ".ics") && !strings.Contains(name, "/")
}

func refuse(w http.ResponseWriter, status int, words string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Length", strconv.Itoa(len(words)+1))
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, words) // nobody is left to tell when the reader has gone
}

// missed answers a path that is no calendar's.
func (h *Handler) missed(w http.ResponseWriter, r *http.Request, token string) {
	client := h.o.Client(r)
	switch n := h.misses.count(client, h.o.Now()); {
	case n > missesAMinute:
		w.Header().Set("Retry-After", "60")
		refuse(w, http.StatusTooManyRequests, "Too many wrong addresses; wait a minute.")
		return
	case n == missesAMinute:
		h.o.Log.Warn("many wrong calendar addresses; the client is told to wait a minute", "client", client)
	case token != "":
		// A token in a log would be a key under the mat: only its beginning
		// and its hash, which identify it to somebody who has it.
		h.o.Log.Info("a calendar address that does not exist", "client", client,
			"token", clean(token[:min(4, len(token))], 4), "hash", tokenHash(token)[:8])
	}
	refuse(w, http.StatusNotFound, "There is no calendar at this address.")
}

// file returns the file to serve, nil if there never was one.
func (h *Handler) file(ctx context.Context, s Scope, link Link) *kept {
	h.mu.Lock()
	defer h.mu.Unlock()
	key := s.key() + "~" + link.Until.String()
	k := h.kept[key]
	// The state is asked before the content: a change between the two makes the
	// file anew once too often, never once too seldom.
	var state any
	if h.o.State != nil {
		state = h.o.State()
	}
	if k != nil && state != nil && k.state == state {
		return k
	}
	made, err := h.render(ctx, s, link)
	if err != nil {
		h.o.Log.Error("the calendar cannot be made; subscribers get the last good one", "scope", s.key(), "err", err)
		if k == nil {
			k = h.lastGood(s)
		}
		return k
	}
	if k != nil && k.hash == made.hash {
		same := *k // others may be reading k
		same.modified, same.state = made.modified, state
		h.kept[key] = &same
		return &same
	}
	fresh := &kept{plain: made.bytes, gzip: compress(made.bytes), hash: made.hash, modified: made.modified, state: state}
	h.kept[key] = fresh
	if link.Until.IsZero() {
		if err := h.o.Store.Save(lastGoodFile(s), made.bytes); err != nil {
			h.o.Log.Error("the last good calendar cannot be kept", "scope", s.key(), "err", err)
		}
	}
	return fresh
}

// render asks for the content and makes the file. A reader who goes away does
// not stop it, because the next one is waiting for the same; a panic is an
// error like others.
func (h *Handler) render(ctx context.Context, s Scope, link Link) (d document, err error) {
	defer recovered(&err)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 20*time.Second)
	defer cancel()
	c, err := h.o.Source(ctx, s.Keeper)
	if err != nil {
		return document{}, err
	}
	if !link.Until.IsZero() {
		s.Ends = civil.Of(link.Until, c.Now.Location())
	}
	return render(c, s, h.o.Revisions)
}

// lastGood is the file of before the start, nil if there is none. A file that
// is not whole is none.
func (h *Handler) lastGood(s Scope) *kept {
	data, err := h.o.Store.Load(lastGoodFile(s))
	if err == nil && !(bytes.HasPrefix(data, []byte("BEGIN:VCALENDAR\r\n")) && bytes.HasSuffix(data, []byte(end))) {
		err = errors.New("it is not whole")
	}
	if err != nil {
		if !errors.Is(err, fs.ErrNotExist) {
			h.o.Log.Error("the last good calendar cannot be read", "scope", s.key(), "err", err)
		}
		return nil
	}
	return &kept{plain: data, gzip: compress(data), hash: digest(string(data))}
}

func compress(data []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write(data) // a buffer takes everything
	_ = z.Close()
	return b.Bytes()
}

// serve answers with a file, or with 304 where the reader has it. Ranges and
// the conditions of writers are not looked at: a part of a calendar, or 412,
// is of use to nobody.
func (h *Handler) serve(w http.ResponseWriter, r *http.Request, k *kept) {
	head := w.Header()
	body, etag := k.plain, `"`+k.hash+`"`
	zipped := acceptsGzip(r.Header.Values("Accept-Encoding"))
	if zipped {
		// Another representation has another strong ETag (RFC 9110, 8.8.3.3).
		body, etag = k.gzip, `"`+k.hash+`-gzip"`
	}
	head.Set("ETag", etag)
	head.Set("Vary", "Accept-Encoding")
	head.Set("Cache-Control", "private, no-cache")
	modified := k.modified
	if modified.After(h.o.Now()) {
		modified = time.Time{} // RFC 9110, 8.8.2.1 allows no date to come
	}
	if !modified.IsZero() {
		head.Set("Last-Modified", modified.UTC().Format(http.TimeFormat))
	}
	if notModified(r.Header, etag, modified) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	head.Set("Content-Type", "text/calendar; charset=utf-8")
	head.Set("Content-Length", strconv.Itoa(len(body)))
	if zipped {
		head.Set("Content-Encoding", "gzip")
	}
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodGet {
		_, _ = w.Write(body) // nobody is left to tell when the reader has gone
	}
}

// notModified follows RFC 9110, 13.2.2: If-Modified-Since counts only where
// there is no If-None-Match. Our tags hold no comma, so a list may be split at
// commas: a piece of somebody else's tag never equals one of ours.
func notModified(head http.Header, etag string, modified time.Time) bool {
	if tags := head.Values("If-None-Match"); len(tags) > 0 {
		for tag := range strings.SplitSeq(strings.Join(tags, ","), ",") {
			tag = strings.TrimSpace(tag)
			if tag == "*" || strings.TrimPrefix(tag, "W/") == etag {
				return true
			}
		}
		return false
	}
	since, err := http.ParseTime(head.Get("If-Modified-Since"))
	return err == nil && !modified.IsZero() && !modified.After(since)
}

// acceptsGzip reads Accept-Encoding (RFC 9110, 12.5.3). A reader that says
// nothing, or only "*", gets the plain file.
func acceptsGzip(values []string) bool {
	for item := range strings.SplitSeq(strings.Join(values, ","), ",") {
		coding, params, _ := strings.Cut(item, ";")
		if c := strings.ToLower(strings.TrimSpace(coding)); c != "gzip" && c != "x-gzip" {
			continue
		}
		weight, has := strings.CutPrefix(strings.ToLower(strings.ReplaceAll(params, " ", "")), "q=")
		q, err := strconv.ParseFloat(weight, 64)
		return !has || (err == nil && q > 0)
	}
	return false
}

// missesAMinute is how many addresses that do not exist a client may ask for
// in a minute. Addresses that exist are not limited.
const missesAMinute = 10

// misses counts them. It forgets everything each minute, and so needs no more
// room than a minute's clients; beyond some thousands they share a count.
type misses struct {
	mu    sync.Mutex
	since time.Time
	by    map[string]int
}

const maxClients = 4096

func (m *misses) count(client string, now time.Time) int {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.by == nil || now.Sub(m.since).Abs() >= time.Minute {
		m.since, m.by = now, make(map[string]int)
	}
	if _, ok := m.by[client]; !ok && len(m.by) >= maxClients {
		client = ""
	}
	m.by[client]++
	return m.by[client]
}

// clientAddress is the address of the client. IPv6 counts by its network of 64
// bits, which is one customer's.
func clientAddress(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	addr, err := netip.ParseAddr(host)
	if err == nil && addr.IsLoopback() {
		// A proxy on this machine appends whom it serves; what stands before
		// that came from the client and may be made up.
		if f := r.Header.Values("X-Forwarded-For"); len(f) > 0 {
			list := f[len(f)-1]
			last := strings.TrimSpace(list[strings.LastIndexByte(list, ',')+1:])
			if a, err2 := netip.ParseAddr(last); err2 == nil {
				addr = a
			}
		}
	}
	if err != nil {
		return "unknown"
	}
	if addr = addr.Unmap(); addr.Is6() {
		if p, err := addr.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return addr.String()
}
