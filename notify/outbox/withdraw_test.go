package outbox

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestround/notify"
	"nestround/tasks/disk"
	"nestround/tasks/disk/disktest"
)

// twoMornings runs the program over two mornings: the server is busy on the
// first, and the second digest withdraws the first. It reports whether the
// withdrawal was said to be on the disk.
func twoMornings(f disk.Files, books string, w *way) (withdrawn bool, err error) {
	b := New(books, f)
	next := morning.AddDate(0, 0, 1)
	_, err = b.Put(mail("old"), Meta{Queued: morning, Edition: "2027-05-12"})
	_, derr := b.Deliver(context.Background(), w, at(morning))
	err = errors.Join(err, derr)
	_, werr := b.Withdraw("2027-05-13", at(next))
	withdrawn = werr == nil
	_, perr := b.Put(mail("new"), Meta{Queued: next, Edition: "2027-05-13"})
	failed, ferr := b.Failed()
	if err = errors.Join(err, werr, perr, ferr); len(failed) > 0 {
		err = errors.Join(err, b.Tell([]Envelope{failed[0].Envelope}, "2027-05-13"))
	}
	return withdrawn, err
}

// checkMornings goes on after a crash or a fault. No mail is both sent and
// withdrawn, and a mail whose withdrawal was said does not leave.
func checkMornings(t *testing.T, books string, w *way, withdrawn bool) {
	t.Helper()
	next := morning.AddDate(0, 0, 1)
	if withdrawn { // also before anybody repeats the withdrawal
		if _, err := New(books, disk.Files{}).Deliver(t.Context(), w, at(next)); err != nil {
			t.Error(err)
		}
		if w.accepted("old") > 0 {
			t.Error("a withdrawn mail left")
		}
	}
	if _, err := twoMornings(disk.Files{}, books, &way{answer: w.answer}); err != nil {
		t.Fatal(err)
	}
	b := New(books, disk.Files{})
	w.answer = nil
	deliver(t, b, w, next.Add(time.Hour))
	sent, err := b.Sent()
	if err != nil {
		t.Fatal(err)
	}
	failed, err := b.Failed()
	if err != nil {
		t.Fatal(err)
	}
	ends := make(map[string]string)
	for _, s := range sent {
		ends[s.ID] += "sent "
	}
	for _, f := range failed {
		ends[f.ID] += "withdrawn "
		if !f.Withdrawn || f.Told != "2027-05-13" {
			t.Errorf("failed: %+v", f)
		}
	}
	if ends["old"] != "withdrawn " || ends["new"] != "sent " || w.accepted("new") != 1 || w.accepted("old") != 0 {
		t.Errorf("at the end: %v, sent %d and %d times", ends, w.accepted("old"), w.accepted("new"))
	}
	for _, n := range files(t, books) {
		if strings.HasSuffix(n, markExt) || strings.HasSuffix(n, tryExt) {
			t.Errorf("left over: %s", n)
		}
	}
}

// refusing is a Sender that puts the old mail off.
func refusing() *way { return &way{answer: alwaysBusy} }

// TestWithdrawSurvivesEveryCrash stops the program at every operation of the
// disk, with what each kind of crash leaves.
func TestWithdrawSurvivesEveryCrash(t *testing.T) {
	for k, more := 1, true; more; k++ {
		books := t.TempDir()
		d := disktest.New(t, books)
		d.Stop(k, true)
		withdrawn, err := twoMornings(disk.Files{Ops: d}, books, refusing())
		if more = d.Stopped(); !more && err != nil {
			t.Fatal(err)
		}
		for _, crash := range disktest.Crashes() {
			t.Run(fmt.Sprintf("%d %s", k, crash), func(t *testing.T) {
				checkMornings(t, d.After(t, crash), refusing(), withdrawn)
			})
		}
	}
}

// TestWithdrawSurvivesEveryFault lets every operation of the disk fail once.
func TestWithdrawSurvivesEveryFault(t *testing.T) {
	for k := 1; ; k++ {
		books := t.TempDir()
		d := disktest.New(t, books)
		d.Fail(k, syscall.ENOSPC, true)
		withdrawn, err := twoMornings(disk.Files{Ops: d}, books, refusing())
		if len(d.Log()) < k {
			return
		}
		t.Run(fmt.Sprintf("%d %s", k, d.Log()[k-1]), func(t *testing.T) {
			if err == nil {
				t.Error("the error was swallowed")
			}
			checkMornings(t, books, refusing(), withdrawn && err == nil)
		})
	}
}

func alwaysBusy(notify.Outgoing, int) error { return busy }
