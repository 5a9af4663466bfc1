package house

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/notify/calendar"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// facility writes books of so many enclosures into a folder, with so many
// years of daybook: 120 entries a day at 200 enclosures, one mark each, as the
// page or the shell make them.
func facility(b *testing.B, enclosures, years int) string {
	b.Helper()
	dir := b.TempDir()
	var t strings.Builder
	fmt.Fprintf(&t, "zone = \"Europe/Vienna\"\nbegan = %s\n\n[digest]\nfrom = \"rounds@example.org\"\nto = [\"keeper@example.org\"]\n\n[mail.out]\nmaildir = \"out\"\n\n[[incubator]]\nid = \"INC\"\nroom = \"room-0\"\ntemperature = \"28 C\"\n",
		benchDay.AddDays(-365*years))
	species := []string{"wall-lizard", "leopard-gecko", "bearded-dragon", "fence-lizard"}
	for i := range (enclosures + 39) / 40 {
		fmt.Fprintf(&t, "\n[[room]]\nid = \"room-%d\"\nname = \"Room %d\"\n", i, i+1)
	}
	for i := range enclosures {
		fmt.Fprintf(&t, "\n[[enclosure]]\nid = \"E%04d\"\nroom = \"room-%d\"\nnest_box = { substrate = \"sand\" }\n", i, i/40)
		for n, sex := range []string{"male", "female", "female"} {
			fmt.Fprintf(&t, "\n[[animal]]\nid = \"A%04d-%d\"\nspecies = %q\nsex = %q\nenclosure = \"E%04d\"\nbreeding = true\n", i, n, species[i%len(species)], sex, i)
		}
		if i%4 == 0 {
			fmt.Fprintf(&t, "\n[[clutch]]\nid = \"C%04d\"\nmother = \"A%04d-1\"\nlaid = %s\neggs = 4\nincubator = \"INC\"\n", i, i, benchDay.AddDays(-i%60-1))
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "keeper.toml"), []byte(t.String()), 0o644); err != nil {
		b.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "daybook"), 0o755); err != nil {
		b.Fatal(err)
	}
	routines := []string{"water", "clean-spot", "nest-top-up"}
	year, n := 0, 0
	var f *os.File
	var w *bufio.Writer
	flush := func() {
		if f == nil {
			return
		}
		if err := w.Flush(); err != nil {
			b.Fatal(err)
		}
		f.Close()
	}
	for day := benchDay.AddDays(-365 * years); day.Before(benchDay); day = day.AddDays(1) {
		if day.Year() != year {
			flush()
			year = day.Year()
			var err error
			if f, err = os.Create(filepath.Join(dir, "daybook", fmt.Sprintf("%d.jsonl", year))); err != nil {
				b.Fatal(err)
			}
			w = bufio.NewWriter(f)
		}
		at := day.At(7*60, time.UTC)
		for mark := range max(1, enclosures*120/200) {
			n++
			e := tasks.Entry{ID: fmt.Sprintf("c.%d", n), At: at.Add(time.Duration(mark) * 10 * time.Second), On: day, Via: tasks.ViaPage, By: "keeper",
				Acts: []tasks.Act{{Text: "done", N: n%40 + 1, Mark: tasks.MarkDone,
					Task: tasks.Key(fmt.Sprintf("E%04d/%s/%s", n%enclosures, routines[n/enclosures%3], day))}}}
			line, err := json.Marshal(e)
			if err != nil {
				b.Fatal(err)
			}
			w.Write(append(line, '\n'))
		}
	}
	flush()
	return dir
}

var benchDay = civil.MustParse("2027-06-15")

// sizes runs a benchmark for each size of facility and length of daybook. The
// largest of all, 4.4 million entries, takes minutes to write and is left out.
func sizes(b *testing.B, run func(b *testing.B, dir string)) {
	for _, enclosures := range []int{12, 200, 2000} {
		for _, years := range []int{1, 3, 10} {
			if enclosures == 2000 && (years == 10 || testing.Short()) {
				continue
			}
			b.Run(fmt.Sprintf("enclosures=%d/years=%d", enclosures, years), func(b *testing.B) {
				dir := facility(b, enclosures, years)
				b.ReportAllocs()
				run(b, dir)
			})
		}
	}
}

func benchClock() time.Time { return benchDay.At(6*60, time.UTC) }

// What the command round does, from cold files to the board.
func BenchmarkRound(b *testing.B) {
	sizes(b, func(b *testing.B, dir string) {
		n := 0
		for b.Loop() {
			h := open(b, dir, benchClock, disk.Files{})
			n = len(h.Board(benchDay).Rows)
		}
		b.ReportMetric(float64(n), "tasks")
	})
}

// The digest of a house that is open: content, both parts, composed.
func BenchmarkDigest(b *testing.B) {
	sizes(b, func(b *testing.B, dir string) {
		h := open(b, dir, benchClock, disk.Files{})
		for b.Loop() {
			if _, _, err := h.Draft(); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// The calendar of a house that is open, asked for after a mark.
func BenchmarkCalendar(b *testing.B) {
	sizes(b, func(b *testing.B, dir string) {
		h := open(b, dir, benchClock, disk.Files{})
		for b.Loop() {
			h.pastKey = pastKey{}
			if _, err := h.Calendar(calendar.Scope{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
