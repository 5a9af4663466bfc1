package house

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
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

// issues stores the digests and answers that were sent, below state/digests.
// Each day has an issue, 2027-05-12.K7Q2.json, its mails beside it, and
// 2027-05-12.K7Q2.answers.json with the lines of our answers. The issue's file
// is written last: if it exists, the day's digest exists, and the mails beside
// it are its mails.
type issues struct {
	dir      string
	files    disk.Files
	troubles *troubles

	mu sync.Mutex
	// known has the issues that were read so far, by id. Nearly all replies
	// answer digests of the last month. An older issue is read when a reply
	// asks for it.
	known  map[string]notify.Issue
	allOld bool
	byDay  *map[civil.Date]notify.Issue // index of known by day; replaced as a whole, never changed
	looked time.Time                    // change time of the folder at the last look
}

const recentIssues = 120 // days

var issueName = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)\.([A-Z0-9]+)\.json$`)

func newIssues(dir string, files disk.Files, t *troubles) *issues {
	return &issues{dir: dir, files: files, troubles: t, known: make(map[string]notify.Issue), byDay: new(map[civil.Date]notify.Issue)}
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

// days returns the known issues by day.
func (s *issues) days() *map[civil.Date]notify.Issue {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.byDay
}

// remember adds issues to known. The caller holds the lock.
func (s *issues) remember(list ...notify.Issue) {
	if len(list) == 0 {
		return
	}
	days := make(map[civil.Date]notify.Issue, len(*s.byDay)+len(list))
	maps.Copy(days, *s.byDay)
	for _, i := range list {
		s.known[i.ID] = i
		switch {
		case !i.Early:
			days[i.Date] = i
		case days[i.Date].ID == i.ID:
			delete(days, i.Date)
		}
	}
	s.byDay = &days
}

// read reads the unknown issues from the day since on. The caller holds the
// lock.
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
		// The numbers of a damaged issue are lost, so replies to it cannot be
		// read. The issues of all other mornings are still good.
		i, err := remembered[notify.Issue](s.troubles, filepath.Join(s.dir, f.Name()))
		if err != nil {
			return fmt.Errorf("read a digest sent: %w", err)
		}
		if i.ID == "" {
			continue
		}
		fresh = append(fresh, i)
	}
	return nil
}

// find returns the first issue for which fits returns true. If no recent issue
// fits, find reads the old issues from the disk.
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

// ByMessageID finds the issue of a Message-ID. A digest to several keepers has
// several Message-IDs, with different suffixes before the @.
func (s *issues) ByMessageID(id string) (notify.Issue, bool) {
	return s.find(func(i notify.Issue) bool { return i.MessageID == id || sameIssue(i.MessageID, id) })
}

func sameIssue(issue, id string) bool {
	local, domain, _ := strings.Cut(issue, "@")
	rest, ok := strings.CutPrefix(id, local+".")
	return ok && strings.HasSuffix(rest, "@"+domain) && strings.Trim(strings.TrimSuffix(rest, "@"+domain), "0123456789") == ""
}

// of returns the issue of a day. It reads the disk, because another process may
// have issued the digest.
func (s *issues) of(day civil.Date) (notify.Issue, bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.read(day); err != nil {
		return notify.Issue{}, false, err
	}
	i, ok := (*s.byDay)[day]
	return i, ok, nil
}

// ahead returns the issues for days after today, without those that are marked as
// early.
func (s *issues) ahead(today civil.Date) (list []notify.Issue) {
	for day, i := range *s.days() {
		if day.After(today) {
			list = append(list, i)
		}
	}
	slices.SortFunc(list, func(a, b notify.Issue) int { return a.Date.Compare(b.Date) })
	return list
}

// markEarly marks an issue as composed under a clock that was ahead. When its day
// comes, that day gets a digest of its own.
func (s *issues) markEarly(i notify.Issue) error {
	i.Early = true
	if err := s.files.WriteJSON(s.path(i, ".json"), i); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.remember(i)
	return nil
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

// keep stores an issue with its mails. It writes the mails first.
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

// mails returns the stored mails of an issue.
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

// secure writes the files of a stored issue once more. The first call may have been
// killed before the names of the files were on the disk, or its sync may have
// failed, and after a failed sync only another write makes a file durable. Without
// secure, a power cut could remove the numbers of a digest that has left.
func (s *issues) secure(i notify.Issue) error {
	mails, err := s.mails(i)
	if err != nil {
		return err
	}
	files := []string{s.path(i, ".json")}
	for n := range mails {
		files = append(files, s.path(i, fmt.Sprintf(".mail%d.json", n+1)))
	}
	for _, path := range files {
		b, err := disk.ReadFile(path, disk.MaxState)
		if err != nil {
			return fmt.Errorf("read a digest: %w", err)
		}
		if err := s.files.WriteFile(path, b, 0o666); err != nil {
			return err
		}
	}
	return nil
}

func (s *issues) path(i notify.Issue, end string) string {
	return filepath.Join(s.dir, i.Date.String()+"."+i.ID+end)
}

// answered returns the lines of all answers about an issue.
func (s *issues) answered(i notify.Issue) ([]string, error) {
	return remembered[[]string](s.troubles, s.path(i, ".answers.json"))
}

// addAnswer stores the lines of one more answer.
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
