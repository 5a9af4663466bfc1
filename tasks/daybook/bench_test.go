package daybook

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// perDay returns the number of marks a day with this number of enclosures, in
// lines of one mark each: the largest possible number of lines. 200 enclosures
// have about 120 marks a day (common practice: feeding every second day, water
// and top-ups in between).
func perDay(enclosures int) int { return enclosures * 6 / 10 }

// fillBooks writes a daybook with a line for each mark.
func fillBooks(tb testing.TB, enclosures, years int) (books string, lines int, size int64) {
	tb.Helper()
	books = tb.TempDir()
	r := rand.New(rand.NewPCG(1, 2))
	first := civil.New(2027, time.January, 1)
	var b bytes.Buffer
	for y := range years {
		b.Reset()
		start := civil.New(2027+y, time.January, 1)
		for d := start; d.Year() == start.Year(); d = d.AddDays(1) {
			for n := range max(perDay(enclosures), 1) {
				e := tasks.Entry{
					ID:  fmt.Sprintf("%012x.%d.%d@example.org", r.Uint64()>>16, d.Sub(first), n),
					At:  d.At(civil.TimeOfDay(r.IntN(24*60)), time.UTC),
					On:  d,
					Via: tasks.ViaMail, By: "keeper@example.org", Digest: fmt.Sprintf("K%03d", d.Sub(first)%1000),
					Acts: []tasks.Act{{
						Text: fmt.Sprintf("done %d", n+1), N: n + 1, Mark: tasks.MarkDone,
						Task: tasks.NewKey(husbandry.ID(fmt.Sprintf("E%04d", r.IntN(enclosures))), "leopard-gecko.feed-adult", d.String()),
					}},
				}
				switch r.IntN(10) {
				case 0:
					e.Acts[0].Finding = &tasks.Finding{Weighs: ptr(husbandry.Grams(40 + float64(r.IntN(200))/10))}
				case 1:
					e.Acts[0].Finding = &tasks.Finding{Added: ptr(husbandry.Millilitres(5 * r.IntN(20)))}
				case 2:
					e.Acts[0].Finding = &tasks.Finding{Note: "frisst zögernd, Häutung beginnt"}
				}
				line, _, err := encode(e)
				if err != nil {
					tb.Fatal(err)
				}
				b.WriteString(line)
				lines++
			}
		}
		lay(tb, books, fileName(2027+y), b.String())
		size += int64(b.Len())
	}
	return books, lines, size
}

// BenchmarkRead reads whole daybooks: 200 enclosures over 3 years have about
// 130,000 lines, 2,000 over 3 years about 1.3 million.
func BenchmarkRead(b *testing.B) {
	for _, enclosures := range []int{12, 200, 2000} {
		for _, years := range []int{1, 3, 10} {
			if enclosures == 2000 && years == 10 {
				continue // 4.4 million lines: four times the largest daybook that the program is made for
			}
			b.Run(fmt.Sprintf("%d-enclosures/%d-years", enclosures, years), func(b *testing.B) {
				books, lines, size := fillBooks(b, enclosures, years)
				b.SetBytes(size)
				b.ReportAllocs()
				for b.Loop() {
					entries, problems, err := Read(books)
					if err != nil || len(problems) > 0 || len(entries) != lines {
						b.Fatal(len(entries), problems, err)
					}
				}
				b.ReportMetric(float64(lines), "lines")
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*lines), "ns/line")
			})
		}
	}
}

// BenchmarkLine reads lines without a file, in the form that the program writes
// and in a form that only encoding/json can read.
func BenchmarkLine(b *testing.B) {
	books, lines, _ := fillBooks(b, 200, 1)
	text, err := os.ReadFile(filePath(books, 2027))
	if err != nil {
		b.Fatal(err)
	}
	for name, form := range map[string]string{
		"as-written": string(text),
		"by-hand":    strings.ReplaceAll(string(text), `{"id":`, `{ "id": `),
	} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(form)))
			for b.Loop() {
				l := NewLog("", 0)
				l.take(&year{year: 2027}, form)
				if len(l.entries) != lines {
					b.Fatal(len(l.entries))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*lines), "ns/line")
		})
	}
}

// BenchmarkRefresh reads one new line of a book of 200 enclosures and three
// years, like a program that runs for long does after each mark.
func BenchmarkRefresh(b *testing.B) {
	books, _, _ := fillBooks(b, 200, 3)
	l := NewLog(books, 0)
	if _, err := l.Refresh(); err != nil {
		b.Fatal(err)
	}
	f, err := os.OpenFile(filePath(books, 2029), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	n := len(l.Entries())
	for b.Loop() {
		n++
		if _, err := f.WriteString(lineOf(b, said(fmt.Sprint("new-", n), "2029-12-31"))); err != nil {
			b.Fatal(err)
		}
		if _, err := l.Refresh(); err != nil || len(l.Entries()) != n {
			b.Fatal(len(l.Entries()), n, err)
		}
	}
}

// BenchmarkAppend mostly measures the disk's fsync.
func BenchmarkAppend(b *testing.B) {
	books, _, _ := fillBooks(b, 200, 1)
	w, err := Open(books, Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer w.Close()
	for n := 0; b.Loop(); n++ {
		if _, err := w.Append(said(fmt.Sprint("new-", n), "2027-12-31")); err != nil {
			b.Fatal(err)
		}
	}
}
