package house

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// The same replies give the same board, plan and clutches in any order, with
// any repetition or delay. The replies correct, contradict and withdraw each
// other, and some quote earlier ones without quotation marks.
func TestOrderOfRepliesDoesNotMatter(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	at := clock("2027-05-12T06:30:00+02:00")
	h := open(t, dir, func() time.Time { return at() }, disk.Files{})
	today := issued(t, h)
	watch := numberOf(t, today, "F01", "lay-watch")
	water := numberOf(t, today, "E01", "water")
	box := numberOf(t, today, "E02", "nest-top-up")
	replies := [][]byte{
		answer(t, today, "a", "2027-05-12T07:00:00+02:00", fmt.Sprintf("done %d %d", water, box)),
		answer(t, today, "b", "2027-05-12T08:00:00+02:00", fmt.Sprintf("%d laid 5", watch)),
		answer(t, today, "c", "2027-05-12T09:00:00+02:00", fmt.Sprintf("%d laid 6\n\n----- Original Message -----\ndone %d %d", watch, water, box)),
		answer(t, today, "d", "2027-05-12T10:00:00+02:00", fmt.Sprintf("undo %d", water)),
		answer(t, today, "e", "2027-05-12T11:00:00+02:00", fmt.Sprintf("later %d friday\n\n\nundo %d", water, water)),
		answer(t, today, "f", "2027-05-12T12:00:00+02:00", fmt.Sprintf("skip %d\ndone %d", box, box)),
		answer(t, today, "g", "2027-05-13T07:00:00+02:00", fmt.Sprintf("%d added 60 ml", box)),
		answer(t, today, "h", "2031-01-01T00:00:00Z", fmt.Sprintf("note %d the clock of this phone is wrong", watch)),
	}
	// The expected books: every reply arrives once, in order and in time.
	want := ""
	check := func(name string, order []int) {
		t.Helper()
		copied := copyOf(t, dir)
		h := open(t, copied, func() time.Time { return at() }, disk.Files{})
		for _, n := range order {
			if _, err := h.TakeMail(replies[n], false); err != nil {
				t.Fatal(err)
			}
		}
		got := picture(h, civil.MustParse("2027-05-12")) + picture(h, civil.MustParse("2027-05-14"))
		if want == "" {
			want = got
		}
		if got != want {
			t.Errorf("%s %v: the books are\n%s\nwant\n%s", name, order, got, want)
		}
		// Read the books again from the disk.
		if again := open(t, copied, func() time.Time { return at() }, disk.Files{}); picture(again, civil.MustParse("2027-05-12"))+picture(again, civil.MustParse("2027-05-14")) != want {
			t.Errorf("%s %v: after a restart the books are others", name, order)
		}
	}
	at = clock("2027-05-14T06:30:00+02:00")
	check("in order", []int{0, 1, 2, 3, 4, 5, 6, 7})
	at = clock("2027-06-20T06:30:00+02:00")
	check("weeks late", []int{0, 1, 2, 3, 4, 5, 6, 7})
	check("reversed", []int{7, 6, 5, 4, 3, 2, 1, 0})
	rng := rand.New(rand.NewPCG(1, 2))
	for n := range 12 {
		order := rng.Perm(len(replies))
		order = append(order, rng.Perm(len(replies))[:n%4]...) // some replies twice
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		at = clock("2027-05-14T06:30:00+02:00")
		check("shuffled", order)
	}
}
