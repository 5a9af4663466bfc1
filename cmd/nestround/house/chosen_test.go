package house

import (
	"bytes"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// chosenBooks has work that may be done on other days than its own.
const chosenBooks = `

[[routine]]
id = "clean-all"
kind = "own"
scope = "enclosure"
title = "Clean the panes"
since_last = "5 days"
slack = "2 days"
minutes = %d
missed = "stays"
`

// Books with chosen days in state/cache answer as books without, byte for byte,
// whatever is said, edited and damaged between one process and the next.
func TestDaysChosenBeforeChangeNothing(t *testing.T) {
	t.Parallel()
	dir := small(t, "Europe/Vienna", "06:00")
	file := filepath.Join(dir, filepath.FromSlash(chosenFile))
	at := clock("2027-05-12T06:30:00+02:00")()
	now := func() time.Time { return at }
	rng := rand.New(rand.NewPCG(7, 3))
	zone, latitude, minutes := "Europe/Vienna", 48, 10
	edit := func() {
		text := fmt.Sprintf("latitude = %d\n", latitude) + fmt.Sprintf(smallBooks, zone, "06:00") + fmt.Sprintf(chosenBooks, minutes)
		write(t, filepath.Join(dir, "keeper.toml"), text)
	}
	edit()
	damaged := new(bytes.Buffer)
	start := func(dir string) *House {
		h, problems, err := Open(dir, Options{Now: now, Log: slog.New(slog.NewTextHandler(damaged, nil))})
		if err != nil || h == nil {
			t.Fatalf("open the books: %v\n%v", err, problems)
		}
		h.books.chosen.worth = 0
		return h
	}
	wrote, found := 0, 0
	for step := range 24 {
		h := start(dir)
		what := rng.IntN(9)
		switch what {
		case 0:
			at = at.AddDate(0, 0, 1+rng.IntN(15))
		case 1, 2, 3:
			words := []string{"done 1", "all", "skip 2", "undo 1", "F01 laid 5", "undo F01"}[rng.IntN(6)]
			said := at
			if what == 3 {
				said = at.AddDate(0, 0, -rng.IntN(20))
			}
			if _, err := h.Take(Message{Words: words, At: said, Via: tasks.ViaShell, By: "keeper"}); err != nil {
				t.Fatal(err)
			}
			at = at.Add(time.Minute)
		case 4:
			zone = []string{"Europe/Vienna", "America/Vancouver"}[rng.IntN(2)]
			edit()
		case 5:
			latitude = rng.IntN(100) - 40
			edit()
		case 6:
			minutes = 5 + rng.IntN(30)
			edit()
		case 7:
			if b, err := os.ReadFile(file); err == nil && len(b) > 0 {
				b[rng.IntN(len(b))] ^= 1
				write(t, file, string(b))
			}
		case 8:
			if err := os.RemoveAll(filepath.Dir(file)); err != nil {
				t.Fatal(err)
			}
		}
		h = start(dir)
		got := picture(h, h.Snapshot().Today())
		if h.books.chosen.changed {
			t.Fatal("days were chosen and not written")
		}
		again := start(dir)
		if picture(again, again.Snapshot().Today()) != got {
			t.Fatalf("step %d, %d: asked again it answers differently", step, what)
		}
		without := copyOf(t, dir)
		if err := os.RemoveAll(filepath.Join(without, "state", "cache")); err != nil {
			t.Fatal(err)
		}
		fresh := start(without)
		if want := picture(fresh, fresh.Snapshot().Today()); got != want {
			t.Fatalf("step %d, %d: with the days chosen before it answers\n%s\nand without\n%s", step, what, got, want)
		}
		if b, err := os.ReadFile(file); err == nil {
			wrote++
			kept, err := readChosen(b)
			if err != nil || len(kept) == 0 || len(kept) > mostChosen {
				t.Fatalf("%d fortnights, %v", len(kept), err)
			}
			found += len(again.books.chosen.kept)
		}
	}
	if wrote < 15 || found == 0 {
		t.Errorf("the file was written %d times, and %d fortnights were found in it", wrote, found)
	}
	if !strings.Contains(damaged.String(), errChosen.Error()) {
		t.Error("nothing was said of damaged files")
	}
}

// Where the file cannot be written the answers are the same, and nobody is told
// but the log.
func TestDaysAreChosenWhereNothingCanBeWritten(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	now := clock("2027-05-12T06:30:00+02:00")
	want := picture(open(t, dir, now, disk.Files{}), civil.Of(now(), time.UTC))
	if err := os.Mkdir(filepath.Join(dir, "state"), 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "state", "cache"), "a file where the folder should be")
	h := open(t, dir, now, disk.Files{})
	h.books.chosen.worth = 0
	if got := picture(h, civil.Of(now(), time.UTC)); got != want {
		t.Errorf("it answers\n%s\nand else\n%s", got, want)
	}
}

// Fortnights far from the newest make room.
func TestTheFileOfChosenDaysStaysSmall(t *testing.T) {
	c := newChosenDays(t.TempDir(), disk.Files{}, slog.New(slog.DiscardHandler))
	c.worth = 0
	for n := range 3 * mostChosen {
		c.Keep(benchDay.AddDays(14*n), [32]byte{byte(n)}, []byte("days"))
	}
	c.store()
	b, err := os.ReadFile(c.path)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := readChosen(b)
	if err != nil || len(kept) != mostChosen {
		t.Fatalf("%d fortnights, %v", len(kept), err)
	}
	for n := 2 * mostChosen; n < 3*mostChosen; n++ {
		if kept[benchDay.AddDays(14*n)].key != [32]byte{byte(n)} {
			t.Errorf("fortnight %d is not among the last", n)
		}
	}
}
