package house

import (
	"fmt"
	"testing"
	"time"

	"nestround/notify/calendar"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/testdata/speed/facility"
)

var benchDay = civil.MustParse(facility.On)

// sizes runs a benchmark for each size of facility and length of daybook. The
// largest of all, 4.4 million entries, takes minutes to write and is left out.
func sizes(b *testing.B, run func(b *testing.B, dir string)) {
	for _, enclosures := range []int{12, 200, 2000} {
		for _, years := range []int{1, 3, 10} {
			if enclosures == 2000 && (years == 10 || testing.Short()) {
				continue
			}
			b.Run(fmt.Sprintf("enclosures=%d/years=%d", enclosures, years), func(b *testing.B) {
				dir := b.TempDir()
				if err := facility.Write(dir, enclosures, years); err != nil {
					b.Fatal(err)
				}
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
			n = len(h.Snapshot().Board(benchDay).Rows)
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
			h.current.Store(newSnapshot(h.Snapshot().basis))
			if _, err := h.Publisher().File(calendar.Scope{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
