package daybook

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// firstVersion is a daybook written before entries had a version: every finding
// of that time in an entry of its own, and one entry with all findings.
const firstVersion = "testdata/first-version.jsonl"

// entriesOfFirstVersion returns the entries of that file.
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

// Each line keeps its meaning, is read by the fast reader, and would be written
// the same today.
func TestTheFirstVersionIsStillRead(t *testing.T) {
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

// newer returns a line of a program that knows one more version. Its findings
// and acts may have any form.
func newer() string {
	return fmt.Sprintf(`{"daybook":%d,"entry":{"id":"n","at":"2027-03-01T06:00:00Z","on":"2027-03-01","via":"mail","acts":{"done":[1,3]}}}`+"\n", finding.Newest+1)
}

// folderOf returns the names and contents of the daybook's files.
func folderOf(t *testing.T, books string) map[string]string {
	t.Helper()
	files := make(map[string]string)
	names, err := os.ReadDir(folder(books))
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		text, err := os.ReadFile(filepath.Join(folder(books), n.Name()))
		if err != nil {
			t.Fatal(err)
		}
		files[n.Name()] = string(text)
	}
	return files
}

// Wherever the newer line is, nothing is read, nothing is written, and the
// error names the line.
func TestANewerDaybookIsLeftAlone(t *testing.T) {
	a, b := lineOf(t, said("a", "2027-01-01")), lineOf(t, said("b", "2027-01-02"))
	for name, c := range map[string]struct {
		file, text string
		line       int
	}{
		"in the middle":           {"2027.jsonl", a + newer() + b, 2},
		"at the beginning":        {"2027.jsonl", newer() + a, 1},
		"at the end":              {"2027.jsonl", a + b + newer(), 3},
		"without its newline":     {"2027.jsonl", a + strings.TrimSuffix(newer(), "\n"), 2},
		"before a torn line":      {"2027.jsonl", a + newer() + b[:50], 2},
		"behind an unread line":   {"2027.jsonl", "{}\n" + newer(), 2},
		"in an earlier year":      {"2026.jsonl", newer(), 1},
		"with Windows' line ends": {"2027.jsonl", a + strings.ReplaceAll(newer(), "\n", "\r\n") + b, 2},
	} {
		t.Run(name, func(t *testing.T) {
			books := t.TempDir()
			lay(t, books, "2027.jsonl", a+b)
			l := NewLog(books, 0)
			if _, err := l.Refresh(); err != nil || len(l.Entries()) != 2 {
				t.Fatal(err)
			}
			lay(t, books, c.file, c.text)
			was := folderOf(t, books)

			want := func(doing string, err error) {
				t.Helper()
				var at *NewerError
				if !errors.As(err, &at) || at.File != Folder+"/"+c.file || at.Line != c.line || at.Version != finding.Newest+1 {
					t.Errorf("%s: %v", doing, err)
				}
			}
			entries, problems, err := Read(books)
			if want("read", err); entries != nil || problems != nil {
				t.Errorf("half of it was read: %v, %v", entries, problems)
			}
			_, err = l.Refresh()
			if want("refresh", err); len(l.Entries()) > 0 {
				t.Errorf("half of it is in the log: %v", l.Entries())
			}
			_, err = l.Open(Options{})
			want("open", err)
			if is := folderOf(t, books); !reflect.DeepEqual(is, was) {
				t.Errorf("the folder was\n%q\nand is\n%q", was, is)
			}
			// The newer line is removed by hand.
			lay(t, books, c.file, strings.Replace(c.text, strings.TrimRight(newer(), "\n"), "", 1))
			if _, err := l.Refresh(); err != nil {
				t.Errorf("afterwards: %v", err)
			}
		})
	}
}

// Another program may add a newer line at any time, through a synchronised
// folder.
func TestANewerLineAddedWhileABookIsOpen(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	mustAdd(t, b, said("a", "2027-01-01"), true)
	text := folderOf(t, books)["2027.jsonl"] + newer()
	lay(t, books, "2027.jsonl", text)
	var at *NewerError
	if added, err := b.Append(said("b", "2027-01-02")); added || !errors.As(err, &at) || at.Line != 2 {
		t.Errorf("added %v: %v", added, err)
	}
	if is := folderOf(t, books)["2027.jsonl"]; is != text {
		t.Errorf("the file was\n%s\nand is\n%s", text, is)
	}
}

// An id is searched in the years before the log begins, too.
func TestANewerLineOfAnUnreadYear(t *testing.T) {
	books := t.TempDir()
	lay(t, books, "2026.jsonl", lineOf(t, said("a", "2026-01-01"))+newer())
	b, err := NewLog(books, 2027).Open(Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var at *NewerError
	if _, err := b.Has("n"); !errors.As(err, &at) || at.Line != 2 || at.File != "daybook/2026.jsonl" {
		t.Errorf("%v", err)
	}
	if found, err := fileHas(filePath(books, 2026), "n"); found || !errors.As(err, &at) {
		t.Errorf("the id of the newer line is found: %v, %v", found, err)
	}
}

func TestLinesWithAVersion(t *testing.T) {
	const plain = `{"id":"a","at":"2027-05-12T06:31:00Z","on":"2027-05-12","via":"mail","acts":[]}`
	in := func(version string) string { return `{"daybook":` + version + `,"entry":` + plain + `}` }
	for _, c := range []struct {
		name, line string
		fast, ok   bool
	}{
		{"the first version, named", in("1"), true, true},
		{"the newest", in(fmt.Sprint(finding.Newest)), true, true},
		{"with spaces", `{"daybook": 1, "entry": ` + plain + `}`, false, true},
		{"behind the entry", `{"entry":` + plain + `,"daybook":1}`, false, true},
		{"a note about a \"daybook\"", strings.Replace(plain, `"acts":[]`, `"by":"\"daybook\":9","acts":[]`, 1), false, true},
		{"version 0", in("0"), false, false},
		{"not a number", in(`"new"`), false, false},
		{"without an entry", `{"daybook":1}`, false, false},
		{"a null entry", `{"daybook":1,"entry":null}`, false, false},
		{"something behind the entry", strings.TrimSuffix(in("1"), "}"), false, false},
		{"one too many", in("1") + "}", false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if fast := agree(t, new(scanner), c.line); fast != c.fast {
				t.Errorf("scan took it: %v, want %v", fast, c.fast)
			}
			if _, err := decode(c.line); (err == nil) != c.ok {
				t.Errorf("decode: error %v", err)
			}
		})
	}
}

// An entry of the first version is written as always, before and after an entry
// that needs the second version. After any crash the second is whole or
// missing, because its line has the version.
func TestTheVersionIsWrittenOnlyIfNeeded(t *testing.T) {
	shed := said("s", "2027-01-02")
	shed.Acts[0].Finding = &tasks.Finding{Shed: finding.Stuck, Note: "toes"}
	books := t.TempDir()
	b := mustOpen(t, books)
	for _, e := range []tasks.Entry{said("a", "2027-01-01"), shed, said("b", "2027-01-03")} {
		mustAdd(t, b, e, true)
	}
	lines := strings.Split(strings.TrimSuffix(folderOf(t, books)["2027.jsonl"], "\n"), "\n")
	for i, want := range []string{`{"id":"a",`, `{"daybook":2,"entry":{"id":"s",`, `{"id":"b",`} {
		if len(lines) != 3 || !strings.HasPrefix(lines[i], want) {
			t.Errorf("line %d is not as %s\n%s", i+1, want, strings.Join(lines, "\n"))
		}
	}
	if line := lines[1]; !strings.Contains(line, `"finding":{"shed":"stuck","note":"toes"}`) || !agree(t, new(scanner), line) {
		t.Errorf("the fast reader does not take what was written:\n%s", line)
	}
	entries, problems := mustRead(t, books)
	if got := ids(entries); got != "a s b" || len(problems) > 0 || !reflect.DeepEqual(entries[1].Acts, shed.Acts) {
		t.Errorf("read %q, %v: %+v", got, problems, entries)
	}
	mustAdd(t, b, shed, false)

	// A program of the first version finds no entry in the line, not half an
	// entry.
	var old tasks.Entry
	if err := json.Unmarshal([]byte(lines[1]), &old); err != nil || whole(old) == nil {
		t.Errorf("it reads %+v (%v)", old, err)
	}
}

// A program that does not know how to take an entry back would go on counting
// it, so it must stop.
func TestTakingAnEntryBackNeedsTheThirdVersion(t *testing.T) {
	books := t.TempDir()
	b := mustOpen(t, books)
	undo := said("u", "2027-01-02")
	undo.Acts = []tasks.Act{{Text: "undo entry " + tasks.Tag("a"), Entry: "a"}}
	mustAdd(t, b, said("a", "2027-01-01"), true)
	mustAdd(t, b, undo, true)
	line := strings.Split(folderOf(t, books)["2027.jsonl"], "\n")[1]
	if !strings.HasPrefix(line, `{"daybook":3,"entry":{"id":"u",`) || !strings.Contains(line, `,"task":"","entry":"a"}`) || !agree(t, new(scanner), line) {
		t.Errorf("the line is\n%s", line)
	}
	if entries, problems := mustRead(t, books); len(problems) > 0 || !reflect.DeepEqual(entries[1].Acts, undo.Acts) {
		t.Errorf("read %+v, %v", entries, problems)
	}
	if _, gone := b.Log().History().TakenBack("a"); !gone {
		t.Error("the entry still counts")
	}
}
