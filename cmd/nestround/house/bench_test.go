package house

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/testdata/speed/facility"
)

var benchDay = civil.MustParse(facility.On)

// sizes runs a benchmark for each size of facility and length of daybook. It
// leaves out the largest, 4.4 million entries, which takes minutes to write.
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

// The work of the command round, from the files to the board: cold without
// state/cache, and warm as on other mornings.
func BenchmarkRound(b *testing.B) {
	sizes(b, func(b *testing.B, dir string) {
		cache := filepath.Join(dir, "state", "cache")
		for _, state := range []string{"cold", "warm"} {
			b.Run(state, func(b *testing.B) {
				b.ReportAllocs()
				n := 0
				for b.Loop() {
					if state == "cold" {
						b.StopTimer()
						if err := os.RemoveAll(cache); err != nil {
							b.Fatal(err)
						}
						b.StartTimer()
					}
					h := open(b, dir, benchClock, disk.Files{})
					n = len(h.Snapshot().Board(benchDay).Rows)
				}
				b.ReportMetric(float64(n), "tasks")
			})
		}
	})
}

// A mark in a serving house, followed by the board, the digest and the
// calendar. The calendar goes through the handler for phones. The benchmark
// reports the milliseconds of each part as well.
func BenchmarkMark(b *testing.B) {
	sizes(b, func(b *testing.B, dir string) {
		at := benchClock()
		h := open(b, dir, func() time.Time { return at }, disk.Files{})
		path := linkPath(b, h)
		served := h.Publisher().handler()
		spent := make(map[string]time.Duration)
		part := func(name string, do func() error) {
			from := time.Now()
			if err := do(); err != nil {
				b.Fatal(err)
			}
			spent[name] += time.Since(from)
		}
		board := func() error { h.Snapshot().Board(benchDay); return nil }
		digest := func() error { _, _, err := h.Draft(); return err }
		get := func() error {
			w := httptest.NewRecorder()
			served.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
			if w.Code != http.StatusOK {
				return fmt.Errorf("%d %s", w.Code, w.Body)
			}
			return nil
		}
		part("first", get) // a running serve has answered before
		n := 0
		for b.Loop() {
			words := [...]string{"done 1", "undo 1"}[n%2]
			n++
			at = at.Add(time.Second)
			part("mark", func() error {
				said, err := h.Take(Message{Words: words, Via: tasks.ViaShell, By: "keeper"})
				if err == nil && len(said.Accepted) != 1 {
					err = fmt.Errorf("%+v", said)
				}
				return err
			})
			part("board", board)
			part("digest", digest)
			part("calendar", get)
		}
		for _, name := range []string{"mark", "board", "digest", "calendar"} {
			b.ReportMetric(float64(spent[name].Microseconds())/1000/float64(n), "ms-"+name)
		}
	})
}
