package daybook

import (
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// firstVersion is a daybook as it was written before entries had a version:
// every finding of that time, one an entry, and one entry with all of them.
const firstVersion = "testdata/first-version.jsonl"

// entriesOfFirstVersion are the entries of that file.
func entriesOfFirstVersion() []tasks.Entry {
	grams, each, ml := husbandry.Grams(41.5), []husbandry.Grams{3.1, 3.4, 5.25}, husbandry.Millilitres(60)
	findings := []tasks.Finding{
		{Laid: ptr(6), Slugs: ptr(2), Outside: true},
		{Laid: ptr(tasks.Uncounted)},
		{Slugs: ptr(4)},
		{More: ptr(2)},
		{Mother: "F03"},
		{Hatched: ptr(3)},
		{Dead: ptr(1)},
		{Veins: ptr(tasks.Uncounted)},
		{Veins: ptr(5)},
		{Moved: "cool"},
		{Ended: true},
		{Weighs: &grams},
		{Weighs: &grams, Each: each},
		{Added: &ml},
		{Refused: true},
		{Mated: true, With: "M01"},
		{Gravid: ptr(true)},
		{Gravid: ptr(false)},
		{Ordered: ptr(3)},
		{Stock: ptr(200)},
		{Digging: true},
		{Sexed: &tasks.Sexed{Males: 2, Females: 1, Unsure: 3}},
		{UVI: ptr(3.1)},
		{Ill: true, Note: "limp, sunken eyes"},
		{Note: "früh \"wach\""},
		{Laid: ptr(6), Slugs: ptr(2), More: ptr(1), Outside: true, Mother: "F03", Hatched: ptr(3), Dead: ptr(1), Veins: ptr(5), Moved: "cool", Ended: true,
			Weighs: &grams, Each: each, Added: &ml, Refused: true, Mated: true, With: "M01", Gravid: ptr(true), Ordered: ptr(3), Stock: ptr(200), Digging: true,
			Sexed: &tasks.Sexed{Males: 2, Females: 1, Unsure: 3}, UVI: ptr(3.1), Ill: true, Note: "limp"},
	}
	var all []tasks.Entry
	for i, f := range findings {
		day := civil.New(2027, time.May, 1+i)
		all = append(all, tasks.Entry{
			ID: "c." + day.String(), At: time.Date(2027, time.May, 1+i, 18, 30, 0, 0, zone(2*3600)), On: day, Via: tasks.ViaShell,
			Acts: []tasks.Act{{Text: "what was said", Task: tasks.NewKey("F03", tasks.Unplanned, day.String()), Mark: tasks.MarkDone, Finding: &f}},
		})
	}
	day := civil.New(2027, time.June, 1)
	return append(all, tasks.Entry{
		ID: "a@b", At: time.Date(2027, time.June, 1, 6, 31, 0, 0, time.UTC), On: day, Via: tasks.ViaMail, By: "keeper@example.org", Digest: "K7Q2",
		Acts: []tasks.Act{
			{Text: "done 1", N: 1, Task: "E07/water/2027-06-01", Mark: tasks.MarkDone},
			{Text: "later 2 friday: rain", N: 2, Task: "E07/clean/2027-06-01", Mark: tasks.PutOff, Until: day.AddDays(3), Why: "rain"},
			{Text: "skip 3: fed yesterday", N: 3, Task: "E07/feed/2027-06-01", Mark: tasks.Skip, Why: "fed yesterday"},
			{Text: "undo 4", N: 4, Task: "E07/mist/2027-06-01", Mark: tasks.Undo},
		},
	})
}

// TestFirstVersionReadsOn: each line means what it meant, is read by the fast
// reader, and would be written the same today.
func TestFirstVersionReadsOn(t *testing.T) {
	text, err := os.ReadFile(firstVersion)
	if err != nil {
		t.Fatal(err)
	}
	lines, want := strings.SplitAfter(strings.TrimSuffix(string(text), "\n"), "\n"), entriesOfFirstVersion()
	if len(lines) != len(want) {
		t.Fatalf("%d lines, want %d", len(lines), len(want))
	}
	for i, line := range lines {
		line = strings.TrimSuffix(line, "\n")
		e, err := decode(line)
		if err != nil || !reflect.DeepEqual(e, want[i]) {
			t.Errorf("line %d: read %+v, want %+v (%v)", i+1, e, want[i], err)
		}
		if fast := agree(t, new(scanner), line); fast == strings.Contains(line, `\"`) {
			t.Errorf("line %d: the fast reader took it: %v", i+1, fast)
		}
		if again, _, err := encode(e); err != nil || again != line+"\n" {
			t.Errorf("line %d is written as\n%swas\n%s (%v)", i+1, again, line, err)
		}
	}
}
