package calendar

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"net/netip"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// Options configure a [Handler]. All except State, Client and Log are required.
type Options struct {
	// Source returns the current content, for the given keeper if there is one.
	// It may take seconds. The handler never makes two calls of Source at once.
	Source    func(ctx context.Context, keeper husbandry.ID) (Content, error)
	Links     *Links
	Revisions *Revisions
	// Store keeps the last good file of every scope. After a restart, the
	// handler serves that file while the books have an error.
	Store Store
	Now   func() time.Time

	// State returns a comparable value for the state of the books from which
	// Source would make its content; nil if the state is not known. While the
	// value stays the same, a file is served again without calling Source. If
	// State itself is nil, Source is called each time.
	State func() any
	// Client names the program that makes a request, for the limit on wrong
	// guesses. If it is nil, the name is the address of the connection; see
	// [ClientAddress].
	Client func(*http.Request) string
	Log    *slog.Logger // nil for slog.Default
}

// Handler serves the calendars under [PathPrefix], and /robots.txt. Its answers
// are chosen by the reactions of calendar programs:
//
//   - 200 with a whole file, or 304. An empty or half file would delete the
//     subscriber's copy. If something fails inside, it serves the last good file
//     and logs an error.
//   - 404 for a token that is unknown, withdrawn or expired. Never 401, because
//     programs then ask for a password, and never 410, because Thunderbird then
//     gives up the calendar. A password in the request is ignored.
//   - 405 with Allow for every method except GET and HEAD: programs probe with
//     PROPFIND and PUT.
//   - No redirects: some programs remember them, and some refuse them.
//
// A GET changes nothing except the time of the last fetch.
type Handler struct {
	o      Options
	misses misses

	mu   sync.Mutex
	kept map[string]*kept // by scope
}

// kept is a file that is ready to be served.
type kept struct {
	plain, gzip []byte
	hash        string
	modified    time.Time // zero if not known, for a file from before the start
	state       any       // state of the content, see Options.State
}

// NewHandler returns a handler. It panics if a required option is missing.
func NewHandler(o Options) *Handler {
	if o.Source == nil || o.Links == nil || o.Revisions == nil || o.Store == nil || o.Now == nil {
		panic("calendar: a handler needs all of Source, Links, Revisions, Store and Now")
	}
	if o.Client == nil {
		o.Client = func(r *http.Request) string { return ClientAddress(r, nil) }
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
		// Google has reported calendars as unreadable if robots.txt was missing
		// or forbade them. The handler forbids indexing by X-Robots-Tag
		// instead.
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

// calendar returns the file for a token, or [ErrNoLink] if there is none.
// Everything that may fail happens here, before the answer begins. A panic
// becomes an error.
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

// tokenOf returns the token from /cal/TOKEN/NAME.ics. Any name is accepted,
// because the file may have had another name when the link was made.
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
	_, _ = fmt.Fprintln(w, words) // an error means that the reader has gone, so nobody can be told
}

// missed answers a path that belongs to no calendar.
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
		// Whoever reads a full token in a log could read the calendar. The log
		// gets only its beginning and its hash, which identify the token to its
		// owner.
		h.o.Log.Info("a calendar address that does not exist", "client", client,
			"token", clean(token[:min(4, len(token))], 4), "hash", tokenHash(token)[:8])
	}
	refuse(w, http.StatusNotFound, "There is no calendar at this address.")
}

// file returns the file to serve; nil if there never was a file.
func (h *Handler) file(ctx context.Context, s Scope, link Link) *kept {
	h.mu.Lock()
	defer h.mu.Unlock()
	key := s.key() + "~" + link.Until.String()
	k := h.kept[key]
	// Ask for the state before the content. If the books change between the two
	// questions, the file is made once more than necessary, but is never out of
	// date.
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
		same := *k // other requests may be reading k
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

// render gets the content and makes the file. It goes on if the client
// disconnects, because the next client waits for the same file. A panic becomes
// an error.
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

// lastGood returns the stored file from before the start; nil if there is none.
// An incomplete file does not count.
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
	_, _ = z.Write(data) // writing to a buffer never fails
	_ = z.Close()
	return b.Bytes()
}

// serve answers with a file, or with 304 if the client already has it. It
// ignores ranges and If-Match: part of a calendar, or a 412, would help nobody.
func (h *Handler) serve(w http.ResponseWriter, r *http.Request, k *kept) {
	head := w.Header()
	body, etag := k.plain, `"`+k.hash+`"`
	zipped := acceptsGzip(r.Header.Values("Accept-Encoding"))
	if zipped {
		// A different representation needs a different strong ETag (RFC 9110,
		// 8.8.3.3).
		body, etag = k.gzip, `"`+k.hash+`-gzip"`
	}
	head.Set("ETag", etag)
	head.Set("Vary", "Accept-Encoding")
	head.Set("Cache-Control", "private, no-cache")
	modified := k.modified
	if modified.After(h.o.Now()) {
		modified = time.Time{} // RFC 9110, 8.8.2.1 forbids a date in the future
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
		_, _ = w.Write(body) // an error means that the reader has gone, so nobody can be told
	}
}

// notModified follows RFC 9110, 13.2.2: If-Modified-Since counts only without
// an If-None-Match. It splits lists of tags at commas. That is safe because our
// tags have no comma: a piece of another server's tag never equals one of our
// tags.
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

// acceptsGzip reads Accept-Encoding (RFC 9110, 12.5.3). A client that sends no
// such header, or only "*", gets the plain file.
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

// missesAMinute is the number of unknown addresses that a client may ask for
// per minute. Requests for existing addresses are not limited.
const missesAMinute = 10

// misses counts requests for unknown addresses. The count starts at zero each
// minute, so misses needs memory only for the clients of a minute. Beyond some
// thousands of clients, all further clients share a count.
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

// ClientAddress returns the client's address for [Options].Client. For IPv6 it
// returns the network of 64 bits, which belongs to a single customer.
//
// Anybody can write X-Forwarded-For. It counts only if the connection comes from
// one of the proxies that the keeper has named. It is read from its end: each proxy
// appends the address of its own client, so the client is the last address that is
// no named proxy. An entry that cannot be read ends the search, because only an
// entry with the address of a named proxy makes the entry before it credible.
func ClientAddress(r *http.Request, proxies []netip.Prefix) string {
	addr, ok := peer(r.RemoteAddr)
	if !ok {
		return "unknown"
	}
	chain := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(chain) - 1; i >= 0 && named(addr, proxies); i-- {
		before, ok := peer(strings.TrimSpace(chain[i]))
		if !ok {
			break
		}
		addr = before
	}
	if addr.Is6() {
		if p, err := addr.Prefix(64); err == nil {
			return p.String()
		}
	}
	return addr.String()
}

// peer reads an address with or without a port, in brackets or not. The result has
// no zone. An IPv4 address that is written as IPv6 becomes an IPv4 address.
func peer(s string) (netip.Addr, bool) {
	if p, err := netip.ParseAddrPort(s); err == nil {
		return p.Addr().Unmap().WithZone(""), true
	}
	if inner, ok := strings.CutPrefix(s, "["); ok {
		s, _ = strings.CutSuffix(inner, "]")
	}
	a, err := netip.ParseAddr(s)
	return a.Unmap().WithZone(""), err == nil
}

// named reports whether the address is one of the proxies.
func named(a netip.Addr, proxies []netip.Prefix) bool {
	return slices.ContainsFunc(proxies, func(p netip.Prefix) bool { return p.Contains(a) })
}
