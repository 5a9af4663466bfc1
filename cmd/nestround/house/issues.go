package house

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/notify"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// issues is the memory of the digests sent and of the answers given, below
// state/digests: for each day an issue, 2027-05-12.K7Q2.json, the mails as
// they leave beside it, and 2027-05-12.K7Q2.answers.json with the lines of our
// answers. The issue's file is written last: once it is there, the digest of
// that day exists, and its mails are the ones beside it.
type issues struct {
	dir   string
	files disk.Files
	log   *slog.Logger

	mu sync.Mutex
	// known has the issues read so far, by id. Replies nearly always answer
	// this month's mornings; older ones are read when one is asked for that is
	// not known.
	known  map[string]notify.Issue
	allOld bool
	byDay  *map[civil.Date]notify.Issue // of known; replaced, never changed
	looked time.Time                    // when the folder had last changed, at the last look
}

const recentIssues = 120 // days

var issueName = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)\.([A-Z0-9]+)\.json$`)

func newIssues(dir string, files disk.Files, log *slog.Logger) *issues {
	return &issues{dir: dir, files: files, log: log, known: make(map[string]notify.Issue), byDay: new(map[civil.Date]notify.Issue)}
}

// look reads the recent issues, if the folder has changed since the last look.
func (s *issues) look(today civil.Date) error {
	st, err := os.Stat(s.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the digests sent: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if st.ModTime().Equal(s.looked) {
		return nil
	}
	if err := s.read(today.AddDays(-recentIssues)); err != nil {
		return err
	}
	s.looked = st.ModTime()
	return nil
}

// days returns the issues known, by the day that they are of.
func (s *issues) days() *map[civil.Date]notify.Issue {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.byDay
}

// remember adds issues to those known. The issues are locked.
func (s *issues) remember(list ...notify.Issue) {
	if len(list) == 0 {
		return
	}
	days := make(map[civil.Date]notify.Issue, len(*s.byDay)+len(list))
	maps.Copy(days, *s.byDay)
	for _, i := range list {
		s.known[i.ID], days[i.Date] = i, i
	}
	s.byDay = &days
}

// read reads the issues since a day that are not known. The issues are locked.
func (s *issues) read(since civil.Date) error {
	names, err := os.ReadDir(s.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the digests sent: %w", err)
	}
	var fresh []notify.Issue
	defer func() { s.remember(fresh...) }()
	for _, f := range names {
		m := issueName.FindStringSubmatch(f.Name())
		if m == nil {
			continue
		}
		if _, ok := s.known[m[2]]; ok {
			continue
		}
		if day, err := civil.Parse(m[1]); err != nil || day.Before(since) {
			continue
		}
		i, err := disk.ReadJSON[notify.Issue](filepath.Join(s.dir, f.Name()))
		var damaged *disk.CorruptError
		if errors.As(err, &damaged) {
			// Its numbers are lost; those of the other mornings are not.
			s.log.Error("a digest sent cannot be remembered", "err", err)
			continue
		}
		if err != nil {
			return fmt.Errorf("read a digest sent: %w", err)
		}
		fresh = append(fresh, i)
	}
	return nil
}

// find returns the first issue that fits, reading the old ones if none of the
// recent does.
func (s *issues) find(fits func(notify.Issue) bool) (notify.Issue, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for {
		for _, i := range s.known {
			if fits(i) {
				return i, true
			}
		}
		if s.allOld || s.read(civil.Date{}) != nil {
			return notify.Issue{}, false
		}
		s.allOld = true
	}
}

func (s *issues) ByID(id string) (notify.Issue, bool) {
	return s.find(func(i notify.Issue) bool { return strings.EqualFold(i.ID, id) })
}

func (s *issues) ByToken(token string) (notify.Issue, bool) {
	return s.find(func(i notify.Issue) bool { return strings.EqualFold(i.Token, token) })
}

// ByMessageID finds the issue of a Message-ID; a digest to several keepers has
// several, which differ before the @ by a suffix.
func (s *issues) ByMessageID(id string) (notify.Issue, bool) {
	return s.find(func(i notify.Issue) bool { return i.MessageID == id || sameIssue(i.MessageID, id) })
}

func sameIssue(issue, id string) bool {
	local, domain, _ := strings.Cut(issue, "@")
	rest, ok := strings.CutPrefix(id, local+".")
	return ok && strings.HasSuffix(rest, "@"+domain) && strings.Trim(strings.TrimSuffix(rest, "@"+domain), "0123456789") == ""
}

// of returns the issue of a day, as it is on the disk now: another process may
// have issued it.
func (s *issues) of(day civil.Date) (notify.Issue, bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.read(day); err != nil {
		return notify.Issue{}, false, err
	}
	i, ok := (*s.byDay)[day]
	return i, ok, nil
}

// draft makes a new issue with its id, token and Message-ID.
func (s *issues) draft(day civil.Date, now time.Time, domain string) (notify.Issue, error) {
	id, err := notify.NewIssueID(rand.Reader, func(id string) bool { _, taken := s.ByID(id); return taken })
	if err != nil {
		return notify.Issue{}, err
	}
	token, err := notify.NewToken(rand.Reader)
	if err != nil {
		return notify.Issue{}, err
	}
	unique, err := notify.NewToken(rand.Reader)
	if err != nil {
		return notify.Issue{}, err
	}
	return notify.Issue{ID: id, Token: token, MessageID: "d." + id + "." + unique + "@" + domain, Date: day, Sent: now}, nil
}

// keep stores an issue with its mails, the mails first.
func (s *issues) keep(i notify.Issue, mails []notify.Outgoing) error {
	for n, m := range mails {
		if err := s.files.WriteJSON(s.path(i, fmt.Sprintf(".mail%d.json", n+1)), m); err != nil {
			return err
		}
	}
	if err := s.files.WriteJSON(s.path(i, ".json"), i); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.remember(i)
	return nil
}

// mails returns the mails of an issue as they were composed.
func (s *issues) mails(i notify.Issue) ([]notify.Outgoing, error) {
	var all []notify.Outgoing
	for n := 1; ; n++ {
		m, err := disk.ReadJSON[notify.Outgoing](s.path(i, fmt.Sprintf(".mail%d.json", n)))
		if err != nil {
			return nil, err
		}
		if m.ID == "" {
			return all, nil
		}
		all = append(all, m)
	}
}

func (s *issues) path(i notify.Issue, end string) string {
	return filepath.Join(s.dir, i.Date.String()+"."+i.ID+end)
}

// answered returns the lines of the answers given about an issue.
func (s *issues) answered(i notify.Issue) ([]string, error) {
	return disk.ReadJSON[[]string](s.path(i, ".answers.json"))
}

// addAnswer remembers the lines of one more answer.
func (s *issues) addAnswer(i notify.Issue, lines []string) error {
	all, err := s.answered(i)
	if err != nil {
		return err
	}
	for _, l := range lines {
		if l = strings.TrimSpace(l); l != "" && !slices.Contains(all, l) {
			all = append(all, l)
		}
	}
	return s.files.WriteJSON(s.path(i, ".answers.json"), all)
}

// numbered is the Message-ID of an issue's mail to the nth keeper.
func numbered(id string, n int) string {
	local, domain, _ := strings.Cut(id, "@")
	return fmt.Sprintf("%s.%d@%s", local, n, domain)
}
