package calendar

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"sync"
	"time"
)

// Store keeps a few small files between starts of the program. File names have
// only a-z 0-9 - _ and dots.
type Store interface {
	// Load returns an error that is fs.ErrNotExist if nothing has been saved
	// under the name yet.
	Load(name string) ([]byte, error)
	// Save returns when the bytes would survive a crash. It saves all bytes or
	// none.
	Save(name string, data []byte) error
}

// Locker is an extra interface of a [Store] that several processes share. The
// lock is held from a Load to the Save that follows.
type Locker interface {
	Lock() (unlock func(), err error)
}

func lock(s Store) (func(), error) {
	if l, ok := s.(Locker); ok {
		return l.Lock()
	}
	return func() {}, nil
}

// Names of the files in the store.
const (
	revisionsFile = "calendar-revisions.json"
	linksFile     = "calendar-links.json"
	fetchesFile   = "calendar-fetches.json"
)

func lastGoodFile(s Scope) string {
	return "calendar-" + Scope{Room: s.Room, Keeper: s.Keeper}.key() + ".ics"
}

// Revisions remembers the last published revision of every event. Subscribers
// use it to notice changes: ICSx5 skips an event unless its LAST-MODIFIED has
// grown, and other programs need SEQUENCE.
type Revisions struct {
	mu    sync.Mutex
	store Store
}

// NewRevisions returns the revisions stored in s.
func NewRevisions(s Store) *Revisions { return &Revisions{store: s} }

// revision is the revision of an event, or of a whole file.
type revision struct {
	Hash     string    `json:"hash"`
	Sequence int       `json:"seq,omitempty"`
	Stamp    time.Time `json:"at"` // LAST-MODIFIED, whole seconds of UTC
}

type state struct {
	Version int                 `json:"version"`
	Events  map[string]revision `json:"events"` // by UID
	Feeds   map[string]revision `json:"feeds"`  // by scope

	changed bool
	used    map[string]bool
}

// forgetAfter is the time for which the revision of an event is kept after the
// event was last published. An event of a day exists for as many days as the
// calendar reaches back and ahead. After that, the UID of the event is never
// used again.
const forgetAfter = 400 * 24 * time.Hour

// update reads the state, calls change, and saves the state if it has changed.
// It returns nil only after the state is saved.
func (r *Revisions) update(change func(*state) error, now time.Time) (err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	unlock, err := lock(r.store)
	if err != nil {
		return fmt.Errorf("lock the revisions: %w", err)
	}
	defer unlock()
	st := &state{Version: 1, used: make(map[string]bool)}
	data, err := r.store.Load(revisionsFile)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("read the revisions: %w", err)
	default:
		// Without the stored revisions, the program would publish revisions
		// that subscribers take for old ones.
		if err := json.Unmarshal(data, st); err != nil {
			return fmt.Errorf("read the revisions in %s: %w; restore the file from a backup, or move it away to let every event begin anew", revisionsFile, err)
		}
		if st.Version != 1 {
			return fmt.Errorf("the revisions in %s have version %d, which a newer program wrote", revisionsFile, st.Version)
		}
	}
	if st.Events == nil {
		st.Events = make(map[string]revision)
	}
	if st.Feeds == nil {
		st.Feeds = make(map[string]revision)
	}
	if err := change(st); err != nil {
		return err
	}
	if !st.changed {
		return nil
	}
	st.forget(now)
	if data, err = json.Marshal(st); err != nil {
		return fmt.Errorf("save the revisions: %w", err)
	}
	if err := r.store.Save(revisionsFile, data); err != nil {
		return fmt.Errorf("save the revisions: %w", err)
	}
	return nil
}

// next returns the revision for the given hash: the last revision if nothing
// has changed, else its successor. The stamp grows by at least a second with
// every change, even if the clock goes back.
func (st *state) next(of map[string]revision, key, hash string, now time.Time) revision {
	r, known := of[key]
	if known && r.Hash == hash {
		return r
	}
	next := revision{Hash: hash, Stamp: now.UTC().Truncate(time.Second)}
	if known {
		next.Sequence = r.Sequence + 1
		if least := r.Stamp.Add(time.Second); next.Stamp.Before(least) {
			next.Stamp = least
		}
	}
	return next
}

// keep records a revision as published.
func (st *state) keep(of map[string]revision, key string, r revision) {
	st.used[key] = true
	if of[key] != r {
		of[key] = r
		st.changed = true
	}
}

func (st *state) forget(now time.Time) {
	for _, of := range []map[string]revision{st.Events, st.Feeds} {
		maps.DeleteFunc(of, func(key string, r revision) bool {
			return !st.used[key] && now.Sub(r.Stamp) > forgetAfter
		})
	}
}
