package calendar

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/tasks/husbandry"
)

// PathPrefix is the beginning of the path of every calendar's address.
const PathPrefix = "/cal/"

// maxAddress is the length in characters of the longest address. Google
// silently refuses addresses of more than 256 UTF-16 units; "webcal" has one
// letter more than "https".
const maxAddress = 254

// ErrNoLink says that no link has the given id or label.
var ErrNoLink = errors.New("no such calendar link")

// Link is an address by which a program subscribes to a calendar. Whoever knows
// the token in the address may read the calendar. Therefore the token is shown
// only once, when the link is made, and only its hash is stored. A link begins
// with New. After Renew it works for a while longer, and an event in its
// calendar tells the subscribers of the change. It ends with Withdraw.
type Link struct {
	ID    string       `json:"id"` // the first 8 hex digits of the hash, for people to name it
	Hash  string       `json:"hash"`
	Label string       `json:"label"` // its owner or device, in the keeper's words
	Room  husbandry.ID `json:"room,omitempty"`
	// Keeper is the keeper whose calendar the link shows, if several keepers
	// share the work.
	Keeper husbandry.ID `json:"keeper,omitempty"`

	Created   time.Time `json:"created"`
	Until     time.Time `json:"until,omitzero"`     // set by Renew: the last moment at which the link works
	Withdrawn time.Time `json:"withdrawn,omitzero"` // set by Withdraw

	// Fetched is the time, to within an hour, when a program last asked for the
	// link. Agent is the name that the program gave. Both are zero if no
	// program ever asked. A link that nobody asks for has lost its
	// subscription.
	Fetched time.Time `json:"-"`
	Agent   string    `json:"-"`
}

// Works reports whether the link gives its calendar at the time now.
func (l Link) Works(now time.Time) bool {
	return l.Withdrawn.IsZero() && (l.Until.IsZero() || now.Before(l.Until))
}

// Links are the links of one books folder. They are read from the store each
// time, so a link made by another process works at once. They are safe for
// concurrent use.
type Links struct {
	store Store
	now   func() time.Time

	mu    sync.Mutex
	asked map[string]fetch // since the start, by link id
}

type fetch struct {
	At    time.Time `json:"at"`
	Agent string    `json:"agent,omitempty"`
}

// NewLinks returns the links stored in s. now is the clock.
func NewLinks(s Store, now func() time.Time) *Links {
	return &Links{store: s, now: now, asked: make(map[string]fetch)}
}

// New makes a link to everything, or to a room. The token is not stored and
// cannot be shown again. [Address] turns the token into an address.
func (l *Links) New(label string, shows Scope) (token string, link Link, err error) {
	label = clean(label, 80)
	if label == "" {
		return "", Link{}, fmt.Errorf("make a calendar link: it needs a label, such as the name of the phone it is for")
	}
	err = l.change(func(list []Link, now time.Time) ([]Link, error) {
		for _, o := range list {
			if o.Label == label && o.Until.IsZero() && o.Works(now) {
				return nil, fmt.Errorf("a link with the label %q exists; renew or end it, or choose another label", label)
			}
		}
		token, link = newLink(label, shows, now)
		return append(list, link), nil
	})
	if err != nil {
		return "", Link{}, fmt.Errorf("make a calendar link: %w", err)
	}
	return token, link, nil
}

// Renew replaces a link by a new link for the same label and scope. name is an
// id or a label. The old link works for the time grace and tells its
// subscribers to change.
func (l *Links) Renew(name string, grace time.Duration) (token string, link Link, err error) {
	err = l.change(func(list []Link, now time.Time) ([]Link, error) {
		i, err := find(list, name, now)
		if err != nil {
			return nil, err
		}
		if !list[i].Until.IsZero() {
			return nil, fmt.Errorf("link %s was renewed already; renew its successor", list[i].ID)
		}
		list[i].Until = now.Add(grace)
		token, link = newLink(list[i].Label, Scope{Room: list[i].Room, Keeper: list[i].Keeper}, now)
		return append(list, link), nil
	})
	if err != nil {
		return "", Link{}, fmt.Errorf("renew the calendar link %q: %w", name, err)
	}
	return token, link, nil
}

// Withdraw ends a link at once. name is an id or a label. A label ends all
// links of that label: whoever ends "phone" also means the address from before
// a renewal.
func (l *Links) Withdraw(name string) error {
	err := l.change(func(list []Link, now time.Time) ([]Link, error) {
		i, err := find(list, name, now)
		if err != nil {
			return nil, err
		}
		byLabel := list[i].ID != name
		for j := range list {
			if j == i || byLabel && list[j].Label == name && list[j].Works(now) {
				list[j].Withdrawn = now
			}
		}
		return list, nil
	})
	if err != nil {
		return fmt.Errorf("end the calendar link %q: %w", name, err)
	}
	return nil
}

// List returns every link that was ever made, the oldest first, including links
// that no longer work.
func (l *Links) List() ([]Link, error) {
	list, err := l.load()
	if err != nil {
		return nil, err
	}
	kept, err := l.loadFetches()
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := range list {
		f, ok := l.asked[list[i].ID]
		if !ok {
			f = kept[list[i].ID]
		}
		list[i].Fetched, list[i].Agent = f.At, f.Agent
	}
	return list, nil
}

// find looks among the working links: first for an id, then for the label of a
// link that was not renewed.
func find(list []Link, name string, now time.Time) (int, error) {
	if i := slices.IndexFunc(list, func(o Link) bool { return o.ID == name && o.Works(now) }); i >= 0 {
		return i, nil
	}
	i := slices.IndexFunc(list, func(o Link) bool { return o.Label == name && o.Until.IsZero() && o.Works(now) })
	if i < 0 {
		return 0, ErrNoLink
	}
	return i, nil
}

func newLink(label string, shows Scope, now time.Time) (string, Link) {
	var secret [32]byte
	rand.Read(secret[:]) // never fails; it would end the program instead
	token := base64.RawURLEncoding.EncodeToString(secret[:])
	hash := tokenHash(token)
	return token, Link{ID: hash[:8], Hash: hash, Label: label, Room: shows.Room, Keeper: shows.Keeper, Created: now}
}

func tokenHash(token string) string {
	h := sha256.Sum256([]byte(token))
	return hex.EncodeToString(h[:])
}

// lookup returns the link of a token, or [ErrNoLink] if no working link has it.
// It compares hashes, so its duration does not reveal how much of a guess was
// right.
func (l *Links) lookup(token string) (Link, error) {
	if len(token) != base64.RawURLEncoding.EncodedLen(32) {
		return Link{}, ErrNoLink
	}
	list, err := l.load()
	if err != nil {
		return Link{}, err
	}
	hash := tokenHash(token)
	i := slices.IndexFunc(list, func(o Link) bool { return o.Hash == hash })
	if i < 0 || !list[i].Works(l.now()) {
		return Link{}, ErrNoLink
	}
	return list[i], nil
}

func (l *Links) load() ([]Link, error) {
	var list []Link
	if err := loadJSON(l.store, linksFile, &list); err != nil {
		return nil, fmt.Errorf("read the calendar links: %w", err)
	}
	return list, nil
}

func (l *Links) loadFetches() (map[string]fetch, error) {
	kept := make(map[string]fetch)
	if err := loadJSON(l.store, fetchesFile, &kept); err != nil {
		return nil, fmt.Errorf("read when the calendar links were last used: %w", err)
	}
	return kept, nil
}

func (l *Links) change(f func([]Link, time.Time) ([]Link, error)) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	unlock, err := lock(l.store)
	if err != nil {
		return err
	}
	defer unlock()
	list, err := l.load()
	if err != nil {
		return err
	}
	if list, err = f(list, l.now().UTC().Truncate(time.Second)); err != nil {
		return err
	}
	return saveJSON(l.store, linksFile, list)
}

// fetchedEvery is the precision with which the time of the last fetch survives
// a restart.
const fetchedEvery = time.Hour

// fetched records that a program asked for the link. The times of these
// requests have a separate file, and only the serving process writes that file.
func (l *Links) fetched(id, agent string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	f := fetch{l.now().UTC().Truncate(time.Second), clean(agent, 80)}
	l.asked[id] = f
	kept, err := l.loadFetches()
	if err != nil {
		return err
	}
	if k, ok := kept[id]; ok && f.At.Sub(k.At).Abs() < fetchedEvery {
		return nil
	}
	kept[id] = f
	return saveJSON(l.store, fetchesFile, kept)
}

func loadJSON(s Store, name string, into any) error {
	data, err := s.Load(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, into); err != nil {
		return fmt.Errorf("%s is damaged; restore it from a backup or move it away: %w", name, err)
	}
	return nil
}

func saveJSON(s Store, name string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return s.Save(name, data)
}

// Address returns the address of a token's calendar under base, the public
// address of the server ("https://lizards.example.org"). name is any text for
// the file name: Thunderbird names the calendar after it.
func Address(base, token, name string) (string, error) {
	if err := checkAddress(base); err != nil {
		return "", fmt.Errorf("address of the calendar: %w", err)
	}
	if u, err := url.Parse(base); err != nil || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return "", fmt.Errorf("address of the calendar: %q may hold a host and a path, nothing else", base)
	}
	a := strings.TrimRight(base, "/") + PathPrefix + token + "/" + fileName(name) + ".ics"
	// The address is ASCII, so its length in bytes is its length in UTF-16
	// units.
	if len(a) > maxAddress {
		return "", fmt.Errorf("address of the calendar: %d characters, and Google takes no more than %d; choose a shorter address than %q", len(a), maxAddress, base)
	}
	return a, nil
}

// Subscribe returns the form of an address that most phones open in a calendar
// program instead of downloading a file.
func Subscribe(address string) string {
	if rest, ok := strings.CutPrefix(address, "https://"); ok {
		return "webcal://" + rest
	}
	return "webcal://" + strings.TrimPrefix(address, "http://")
}

// fileName turns any words into a readable file name.
func fileName(name string) string {
	words := strings.FieldsFunc(strings.ToLower(clean(name, 200)), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9')
	})
	s := strings.Join(words, "-")
	if len(s) > 40 {
		s = strings.TrimRight(s[:40], "-")
	}
	if s == "" {
		return "husbandry"
	}
	return s
}
