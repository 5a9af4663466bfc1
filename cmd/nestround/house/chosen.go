package house

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"io/fs"
	"log/slog"
	"maps"
	"path/filepath"
	"slices"
	"sync"

	"nestround/scheduler/workload"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

const (
	// chosenFile is the path, below the books, of the file with the chosen days
	// of fortnights. The file may be deleted at any time.
	chosenFile = "state/cache/days"
	// chosenMagic is the beginning of the file. It must change whenever the
	// format of the file changes.
	chosenMagic = "nestround days 1\n"
	// mostChosen is the largest number of fortnights in the file. There is room
	// for the past fortnights of the calendar, and for the fortnights of a day
	// or two that somebody asks about.
	mostChosen = 12
	// worthKeeping is the smallest size, in bytes, of a fortnight's days that
	// are kept: the days of some twenty enclosures. For smaller books, choosing
	// the days is faster than writing a file.
	worthKeeping = 4 << 10
)

// chosenDays keeps the chosen days of fortnights in a file. It reads the file
// when it is first asked for days; store writes the file. The key of a
// fortnight identifies everything that its days were chosen from (see the
// package workload). If any of this changes, the key changes too, and the old
// days are not found.
type chosenDays struct {
	path  string
	files disk.Files
	log   *slog.Logger
	worth int

	mu      sync.Mutex
	read    bool
	changed bool
	kept    map[civil.Date]chosen // by Monday
}

type chosen struct {
	key  [sha256.Size]byte
	days []byte
}

var _ workload.Shelf = (*chosenDays)(nil)

func newChosenDays(dir string, files disk.Files, log *slog.Logger) *chosenDays {
	return &chosenDays{path: filepath.Join(dir, filepath.FromSlash(chosenFile)), files: files, log: log, worth: worthKeeping, kept: make(map[civil.Date]chosen)}
}

// Load implements workload.Shelf.
func (c *chosenDays) Load(monday civil.Date, key [sha256.Size]byte) ([]byte, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.open()
	k, ok := c.kept[monday]
	return k.days, ok && k.key == key
}

// Keep implements workload.Shelf.
func (c *chosenDays) Keep(monday civil.Date, key [sha256.Size]byte, days []byte) {
	if len(days) < c.worth {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.open()
	c.kept[monday], c.changed = chosen{key, days}, true
	// If there are too many fortnights, delete the fortnights that are farthest
	// from this Monday.
	for len(c.kept) > mostChosen {
		far := monday
		for m := range c.kept {
			if by, most := distance(m, monday), distance(far, monday); by > most || by == most && m.Before(far) {
				far = m
			}
		}
		delete(c.kept, far)
	}
}

func distance(a, b civil.Date) int { return max(a.Sub(b), b.Sub(a)) }

// open reads the file, unless it was read before. The caller holds the lock.
func (c *chosenDays) open() {
	if c.read {
		return
	}
	c.read = true
	b, err := disk.ReadFile(c.path, disk.MaxState)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	if err == nil {
		c.kept, err = readChosen(b)
	}
	if err == nil {
		return
	}
	c.log.Warn("the days chosen before cannot be read; they are chosen again", "file", chosenFile, "err", err)
	c.kept = make(map[civil.Date]chosen)
	if err := c.files.Remove(c.path); err != nil {
		c.log.Warn("the days chosen before could not be removed", "file", chosenFile, "err", err)
	}
}

var errChosen = errors.New("the file is damaged")

func readChosen(b []byte) (map[civil.Date]chosen, error) {
	body, ok := bytes.CutPrefix(b, []byte(chosenMagic))
	if !ok || len(body) < sha256.Size {
		return nil, errChosen
	}
	body, sum := body[:len(body)-sha256.Size], body[len(body)-sha256.Size:]
	if got := sha256.Sum256(body); !bytes.Equal(got[:], sum) {
		return nil, errChosen
	}
	kept := make(map[civil.Date]chosen)
	for len(body) > 0 {
		const head = len("2027-06-07") + sha256.Size + 4
		if len(body) < head {
			return nil, errChosen
		}
		monday, err := civil.Parse(string(body[:10]))
		n := int64(binary.LittleEndian.Uint32(body[head-4:]))
		if err != nil || n > int64(len(body)-head) {
			return nil, errChosen
		}
		kept[monday] = chosen{[sha256.Size]byte(body[10:]), body[head : head+int(n) : head+int(n)]}
		body = body[head+int(n):]
	}
	return kept, nil
}

// store writes the file if the kept days have changed. A failure does no harm:
// the days are then chosen again.
func (c *chosenDays) store() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.changed {
		return
	}
	c.changed = false
	b := []byte(chosenMagic)
	for _, monday := range slices.SortedFunc(maps.Keys(c.kept), civil.Date.Compare) {
		k := c.kept[monday]
		b = append(b, monday.String()...)
		b = append(b, k.key[:]...)
		b = binary.LittleEndian.AppendUint32(b, uint32(len(k.days)))
		b = append(b, k.days...)
	}
	sum := sha256.Sum256(b[len(chosenMagic):])
	if err := c.files.WriteFile(c.path, append(b, sum[:]...), 0o600); err != nil {
		c.log.Info("the chosen days could not be kept; they are chosen again next time", "file", chosenFile, "err", err)
	}
}
