package mailin

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/notify"
)

// maxNames is the largest number of mails of a Maildir that are looked at, the
// latest first. It also limits the names in a Position.
const maxNames = 10_000

// MaildirOptions configure a [Maildir].
type MaildirOptions struct {
	Dir string // folder with new and cur, which must exist
	// Poll is the interval at which Watch looks; 0 for 10 minutes.
	Poll  time.Duration
	State State        // required
	Log   *slog.Logger // nil for slog's default
	// Trouble and Again are as in [Options].
	Trouble func(error)
	Again   bool
}

// Maildir reads a mail folder (cr.yp.to/proto/maildir.html) that another
// program fills and synchronises. It is a notify.Inbox. It never moves or flags
// a mail. It identifies a mail by its file name without the flags, and takes
// its age from the file's time.
type Maildir struct {
	o    MaildirOptions
	desk desk
	mu   sync.Mutex // held during a round of reading
}

var _ notify.Inbox = (*Maildir)(nil)

// NewMaildir checks the options. The folder may appear later.
func NewMaildir(o MaildirOptions) (*Maildir, error) {
	if o.Dir == "" {
		return nil, errors.New("mail folder: it has no name")
	}
	if o.State == nil {
		return nil, fmt.Errorf("mail folder %s: there is nowhere to keep the position", o.Dir)
	}
	o.Poll = orDefault(o.Poll, 10*time.Minute)
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return &Maildir{o: o, desk: desk{state: o.State, log: o.Log, trouble: o.Trouble, again: o.Again}}, nil
}

// Read implements notify.Inbox.
func (d *Maildir) Read(ctx context.Context, take func(notify.Incoming) error) error {
	if err := d.round(ctx, take); err != nil {
		return fmt.Errorf("read mail folder %s: %w", d.o.Dir, err)
	}
	return nil
}

// Watch implements notify.Inbox.
func (d *Maildir) Watch(ctx context.Context, take func(notify.Incoming) error) error {
	for failures := 0; ctx.Err() == nil; {
		pause := d.o.Poll
		switch err := d.Read(ctx, take); {
		case ctx.Err() != nil:
		case err != nil:
			pause = backoff(failures, time.Second, min(5*time.Minute, d.o.Poll), rand.Float64())
			failures++
			d.desk.failed("the mail folder cannot be read", err, pause)
		default:
			failures = 0
			d.desk.works("the mail folder can be read again", "folder", d.o.Dir)
		}
		sleep(ctx, pause)
	}
	return ctx.Err()
}

// entry is a mail in the folder.
type entry struct {
	name string // without flags
	path string
	time time.Time
	size int64
}

func (d *Maildir) round(ctx context.Context, take func(notify.Incoming) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	pos, err := d.desk.load()
	if err != nil {
		return err
	}
	first := pos.Since.IsZero()
	if first {
		pos.Since = time.Now().Add(-LookBack).UTC().Truncate(time.Second)
	}
	entries, err := d.list(pos.Since)
	if err != nil {
		return err
	}
	handled := map[string]bool{}
	for _, name := range pos.Names {
		handled[name] = true
	}
	for _, name := range pos.due(time.Now()) {
		delete(handled, name)
	}
	var fresh []entry
	for _, e := range entries {
		if !handled[e.name] {
			fresh = append(fresh, e)
		}
	}
	if len(fresh) == 0 && len(pos.Failed) == 0 && !first {
		return nil // usual case: nothing new
	}
	for {
		chunk := fresh[:min(batch, len(fresh))]
		err := d.take(ctx, chunk, handled, &pos, take)
		pos.Names = names(entries, handled)
		prune(pos.Failed, entries)
		if err := errors.Join(err, d.desk.save(pos)); err != nil {
			return err
		}
		if fresh = fresh[len(chunk):]; len(fresh) == 0 {
			return nil
		}
	}
}

func (d *Maildir) take(ctx context.Context, chunk []entry, handled map[string]bool, pos *Position, take func(notify.Incoming) error) error {
	for _, e := range chunk {
		m := notify.Incoming{Ref: e.name, Size: e.size}
		var err error
		m.Raw, m.TooLarge, err = read(e.path)
		if errors.Is(err, fs.ErrNotExist) {
			continue // moved or deleted meanwhile; the next round will find it
		}
		if err != nil {
			// The disk or the rights are at fault, and both are mended.
			return errStop{err: err}
		}
		done, err := d.desk.offer(ctx, pos, e.name, m, take)
		if err != nil {
			return err
		}
		handled[e.name] = done
	}
	return nil
}

// read reads a mail, and leaves out the attachments of a large mail.
func read(path string) (raw []byte, tooLarge bool, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, false, err
	}
	defer f.Close()
	return Slim(f)
}

// list returns the latest mails since a time, in order of arrival.
func (d *Maildir) list(since time.Time) ([]entry, error) {
	var entries []entry
	seen := map[string]bool{}
	// Read new before cur: a mail that is moved meanwhile is found twice, but
	// never missed.
	for _, sub := range []string{"new", "cur"} {
		dir := filepath.Join(d.o.Dir, sub)
		files, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			name, _, _ := strings.Cut(f.Name(), ":")
			if strings.HasPrefix(name, ".") || seen[name] || !f.Type().IsRegular() {
				continue
			}
			info, err := f.Info()
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				return nil, err
			}
			if info.ModTime().Before(since) {
				continue
			}
			seen[name] = true
			entries = append(entries, entry{name, filepath.Join(dir, f.Name()), info.ModTime(), info.Size()})
		}
	}
	slices.SortFunc(entries, func(a, b entry) int {
		return cmp.Or(a.time.Compare(b.time), cmp.Compare(a.name, b.name))
	})
	if n := len(entries) - maxNames; n > 0 {
		entries = entries[n:]
	}
	return entries, nil
}

// names returns the handled names to remember: all names in the folder, and the
// latest of the other names, up to maxNames in all. A missing mail may come
// back when a synchronisation ends. Names begin with the second of delivery, so
// they sort by time.
func names(entries []entry, handled map[string]bool) []string {
	var keep, gone []string
	here := map[string]bool{}
	for _, e := range entries {
		here[e.name] = true
		if handled[e.name] {
			keep = append(keep, e.name)
		}
	}
	for name, ok := range handled {
		if ok && !here[name] {
			gone = append(gone, name)
		}
	}
	slices.Sort(gone)
	if n := len(gone) - (maxNames - len(keep)); n > 0 {
		gone = gone[n:]
	}
	keep = append(keep, gone...)
	slices.Sort(keep)
	return keep
}

// prune forgets the failures of mails that are gone.
func prune(failed map[string]int, entries []entry) {
	here := map[string]bool{}
	for _, e := range entries {
		here[e.name] = true
	}
	for name := range failed {
		if !here[name] {
			delete(failed, name)
		}
	}
}
