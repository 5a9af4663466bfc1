package house

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestround/config/zones"
	"nestround/notify"
	"nestround/notify/practice"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// The test runs three days around each clock change. Each civil date has one
// digest, at the moment of TestMomentsWhenClocksChange; a date that the zone
// skipped has none. No task is lost or doubled between digests.
func TestDigestsWhenClocksChange(t *testing.T) {
	for _, c := range clockChanges {
		t.Run(c.zone+" "+c.day+" "+c.at, func(t *testing.T) {
			t.Parallel()
			zone, err := zones.Load(c.zone)
			if err != nil {
				t.Fatal(err)
			}
			day := civil.MustParse(c.day)
			first, last := day.AddDays(-1), day.AddDays(1)
			dir := small(t, c.zone, c.at)
			posted := 0
			synctest.Test(t, func(t *testing.T) {
				// The test bubble begins at midnight UTC of 2000-01-01, and
				// some of the days are earlier. So the house's clock has an
				// offset from the bubble's clock.
				begin := first.At(0, zone).Add(-time.Minute)
				started := time.Now()
				now := func() time.Time { return begin.Add(time.Since(started)) }
				h := open(t, dir, now, disk.Files{})
				ctx, stop := context.WithCancel(t.Context())
				go server{h}.sendDigests(ctx)
				time.Sleep(last.AddDays(1).At(0, zone).Sub(begin) - time.Minute)
				stop()
				synctest.Wait()
				waiting, err := h.dispatch.outbox.Waiting()
				if err != nil {
					t.Error(err)
				}
				failed, err := h.dispatch.outbox.Failed()
				if err != nil {
					t.Error(err)
				}
				// Nothing sends here, so each digest withdraws the one before.
				if len(waiting) != 1 {
					t.Errorf("%d digests wait, want the last alone", len(waiting))
				}
				for _, f := range failed {
					if !f.Withdrawn {
						t.Errorf("failed: %+v", f)
					}
				}
				posted = len(waiting) + len(failed)
			})
			issues := readIssues(t, dir)
			for d := first; !d.After(last); d = d.AddDays(1) {
				n := len(issues[d])
				want := 1
				if d == samoaSkipped && c.zone == "Pacific/Apia" {
					want = 0
				}
				if n != want {
					t.Errorf("%d digests on %s, want %d", n, d, want)
					continue
				}
				if want == 0 {
					continue
				}
				i := issues[d][0]
				if d == day && i.Sent.UTC().Format(time.RFC3339) != c.want {
					t.Errorf("%s: left at %s, want %s", c.what, i.Sent.UTC().Format(time.RFC3339), c.want)
				}
				daily := 0
				scale := false
				for _, item := range i.Items {
					if item.Task.Routine() == "thermometers" {
						daily++
					}
					scale = scale || item.Task.Routine() == "scale"
				}
				if daily != 1 {
					t.Errorf("the digest of %s asks %d times to read the thermometers", d, daily)
				}
				// The scale is checked on the 30th, and the task stays until it
				// is done. It also comes if the zone skipped the 30th.
				if d.Day() >= 30 && !scale {
					t.Errorf("the digest of %s does not ask for the scale of the 30th", d)
				}
			}
			if posted != len(allIssues(issues)) {
				t.Errorf("%d mails are in the outbox, %d digests were issued", posted, len(allIssues(issues)))
			}
		})
	}
}

var samoaSkipped = civil.MustParse("2011-12-30")

func readIssues(t *testing.T, dir string) map[civil.Date][]notify.Issue {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "state", "digests", "*.json"))
	if err != nil {
		t.Fatal(err)
	}
	byDay := make(map[civil.Date][]notify.Issue)
	for _, name := range names {
		if base := filepath.Base(name); strings.Count(base, ".") != 2 {
			continue
		}
		i, err := disk.ReadJSON[notify.Issue](name)
		if err != nil {
			t.Fatal(err)
		}
		byDay[i.Date] = append(byDay[i.Date], i)
	}
	return byDay
}

func allIssues(byDay map[civil.Date][]notify.Issue) (all []notify.Issue) {
	for _, list := range byDay {
		all = append(all, list...)
	}
	return all
}

// A machine that sleeps at the digest's time sends the digest when it wakes,
// once and marked as late. A machine that sleeps all day does not send it.
func TestServeAfterASleepOrARestart(t *testing.T) {
	for _, c := range []struct {
		name string
		runs []string // start times of the program; each run lasts ten minutes
		sent int
		late bool
	}{
		{"on time", []string{"2027-05-12T05:55:00+02:00"}, 1, false},
		{"started again at the same hour", []string{"2027-05-12T05:55:00+02:00", "2027-05-12T06:06:00+02:00"}, 1, false},
		{"started at nine", []string{"2027-05-12T09:12:00+02:00"}, 1, true},
		{"started at nine, after a morning on time", []string{"2027-05-12T05:55:00+02:00", "2027-05-12T09:12:00+02:00"}, 1, false},
		{"started half a day late", []string{"2027-05-12T18:30:00+02:00"}, 0, false},
		{"clock set back over the hour", []string{"2027-05-12T06:01:00+02:00", "2027-05-12T05:52:00+02:00"}, 1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := small(t, "Europe/Vienna", "06:00")
			for _, at := range c.runs {
				synctest.Test(t, func(t *testing.T) {
					begin := clock(at)()
					started := time.Now()
					h := open(t, dir, func() time.Time { return begin.Add(time.Since(started)) }, disk.Files{})
					ctx, stop := context.WithCancel(t.Context())
					go h.Serve(ctx, practice.NewPipe())
					time.Sleep(10 * time.Minute)
					stop()
					synctest.Wait()
				})
			}
			mails := sent(t, dir)
			if len(mails) != c.sent {
				t.Fatalf("%d digests left, want %d", len(mails), c.sent)
			}
			if c.sent > 0 {
				if late := strings.Contains(strings.Join(mails[0].Lines, "\n"), "Sent late, at 09:12"); late != c.late {
					t.Errorf("says that it is late: %v, want %v", late, c.late)
				}
			}
		})
	}
}

// Edited books take effect at once. Books with errors change nothing, and the
// next digest reports the errors.
func TestServeReadsEditedBooks(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	animals := filepath.Join(dir, "more.toml")
	synctest.Test(t, func(t *testing.T) {
		begin := clock("2027-05-12T05:50:00+02:00")()
		started := time.Now()
		h := open(t, dir, func() time.Time { return begin.Add(time.Since(started)) }, disk.Files{})
		ctx, stop := context.WithCancel(t.Context())
		go h.Serve(ctx, practice.NewPipe())
		tasksOf := func(subject string) int {
			n := 0
			for _, r := range h.Snapshot().Board(h.Snapshot().Today()).Rows {
				if string(r.Subject) == subject {
					n++
				}
			}
			return n
		}
		write(t, animals, "[[enclosure]]\nid = \"E03\"\nroom = \"south\"\n\n[[animal]]\nid = \"F02\"\nspecies = \"wall-lizard\"\nsex = \"female\"\nenclosure = \"E03\"\n")
		time.Sleep(5 * time.Second)
		if tasksOf("E03") == 0 {
			t.Error("a new enclosure has no tasks")
		}
		write(t, animals, "[[enclosure]]\nid = \"E03\"\nroom = \"nowhere\"\n")
		time.Sleep(5 * time.Second)
		if _, stale := h.Snapshot().Problems(); !stale {
			t.Error("broken books are not noticed")
		}
		if tasksOf("E03") == 0 {
			t.Error("broken books took the last good plan away")
		}
		time.Sleep(15 * time.Minute)
		if err := os.Remove(animals); err != nil {
			t.Fatal(err)
		}
		time.Sleep(5 * time.Second)
		if _, stale := h.Snapshot().Problems(); stale {
			t.Error("mended books are not noticed")
		}
		stop()
		synctest.Wait()
	})
	mails := sent(t, dir)
	if len(mails) != 1 {
		t.Fatalf("%d digests left, want one", len(mails))
	}
	text := strings.Join(mails[0].Lines, "\n")
	if !strings.Contains(text, "last good state") || !strings.Contains(text, "more.toml:3") {
		t.Errorf("the digest does not say that the books are broken, or where:\n%s", text)
	}
}
