package daybook

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unsafe"

	"nestround/tasks"
	"nestround/tasks/civil"

	"pgregory.net/rapid"
)

// said makes an entry with this id for a day.
func said(id, on string) tasks.Entry {
	d := civil.MustParse(on)
	return tasks.Entry{
		ID: id, At: d.At(6*60, time.UTC), On: d, Via: tasks.ViaMail,
		Acts: []tasks.Act{{Text: "done 1", N: 1, Task: "E07/water/" + tasks.Key(on), Mark: tasks.MarkDone}},
	}
}

func lineOf(t testing.TB, e tasks.Entry) string {
	t.Helper()
	line, _, err := encode(e)
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// lay writes a file of the daybook.
func lay(t testing.TB, books, name, content string) {
	t.Helper()
	if err := os.MkdirAll(folder(books), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder(books), name), []byte(content), 0o666); err != nil {
		t.Fatal(err)
	}
}

func ids(entries []tasks.Entry) string {
	var s []string
	for _, e := range entries {
		s = append(s, e.ID)
	}
	return strings.Join(s, " ")
}

func mustRead(t testing.TB, books string) ([]tasks.Entry, []Problem) {
	t.Helper()
	entries, problems, err := Read(books)
	if err != nil {
		t.Fatal(err)
	}
	return entries, problems
}

func TestRead(t *testing.T) {
	a, b, c := lineOf(t, said("a", "2027-01-01")), lineOf(t, said("b", "2027-01-02")), lineOf(t, said("c", "2027-01-03"))
	cases := []struct {
		name    string
		content string
		want    string   // ids
		places  []string // the beginnings of the problems
	}{
		{"empty", "", "", nil},
		{"three lines", a + b + c, "a b c", nil},
		{"blank lines between", a + "\n  \n" + b + "\n", "a b", nil},
		{"saved by an editor for Windows", "\ufeff" + strings.ReplaceAll(a+b, "\n", "\r\n"), "a b", nil},
		{"saved by an editor that drops the last newline", a + strings.TrimSuffix(b, "\n"), "a b", nil},
		{"spread out by a formatter, on one line", strings.ReplaceAll(a, `":`, `": `) + b, "a b", nil},
		{"a comma too many in the middle", a + strings.Replace(b, `,"acts"`, `,,"acts"`, 1) + c, "a c",
			[]string{`daybook/2027.jsonl:2:70: this line is not JSON: invalid character ','`}},
		{"a brace lost in the middle", a + strings.TrimSuffix(b, "}\n") + "\n" + c, "a c",
			[]string{fmt.Sprintf("daybook/2027.jsonl:2:%d: this line is not JSON: unexpected end", len(b)-1)}},
		{"columns are counted in characters", a + strings.Replace(b, `"b"`, `"bäöü"x`, 1) + c, "a c",
			[]string{`daybook/2027.jsonl:2:13: this line is not JSON: invalid character 'x'`}},
		{"a day that does not exist", a + strings.Replace(b, `"on":"2027-01-02"`, `"on":"2027-02-30"`, 1) + c, "a c",
			[]string{`daybook/2027.jsonl:2:44: "2027-02-30" is not a date like 2027-05-12`}},
		{"a moment that does not exist", strings.Replace(a, `T06:00:00Z`, `T25:00:00Z`, 1) + c, "c",
			[]string{`daybook/2027.jsonl:1:16: parsing time`}},
		{"a number in quotes", strings.Replace(a, `"n":1`, `"n":"1"`, 1) + c, "c",
			[]string{`daybook/2027.jsonl:1:99: acts.n takes no string`}},
		{"a word for a number", strings.Replace(a, `"n":1`, `"n":true`, 1) + c, "c",
			[]string{`daybook/2027.jsonl:1:99: acts.n takes no bool`}},
		{"an object for a list", strings.Replace(a, `"acts":[`, `"acts":{},"was":[`, 1) + c, "c",
			[]string{`daybook/2027.jsonl:1:77: acts takes no object`}},
		{"no id", strings.Replace(a, `"id":"a",`, ``, 1) + c, "c",
			[]string{`daybook/2027.jsonl:1:1: this line is not an entry: it has no "id"`}},
		{"something else that is JSON", "12\n" + c, "c",
			[]string{`daybook/2027.jsonl:1:1: this line is not an entry`}},
		{"the same entry twice, as after a merge", a + b + a, "a b",
			[]string{`daybook/2027.jsonl:3:1: an entry with the id "a" stands further up`}},
		{"a torn last line", a + b[:60], "a",
			[]string{`daybook/2027.jsonl:2:61: this line is not JSON: unexpected end`}},
		{"a torn last line that a newline follows", a + b[:60] + "\n", "a",
			[]string{`daybook/2027.jsonl:2:61: this line is not JSON: unexpected end`}},
		{"zeros where the last line was to be", a + strings.Repeat("\x00", len(b)), "a",
			[]string{`daybook/2027.jsonl:2:1: this line is not JSON: invalid character`}},
		{"nothing but a torn line", a[:10], "",
			[]string{`daybook/2027.jsonl:1:11: this line is not JSON: unexpected end`}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			books := t.TempDir()
			lay(t, books, "2027.jsonl", c.content)
			entries, problems := mustRead(t, books)
			if got := ids(entries); got != c.want {
				t.Errorf("read %q, want %q", got, c.want)
			}
			if len(problems) != len(c.places) {
				t.Fatalf("problems %v, want %q", problems, c.places)
			}
			for i, p := range problems {
				if !strings.HasPrefix(p.String(), c.places[i]) {
					t.Errorf("problem %q, want %q", p, c.places[i])
				}
				if p.Text == "" || p.Hint == "" || strings.Contains(p.Text, "\n") {
					t.Errorf("problem without its line or a hint: %#v", p)
				}
			}
			if b, err := os.ReadFile(filePath(books, 2027)); err != nil || string(b) != c.content {
				t.Errorf("reading changed the file (%v)", err)
			}
		})
	}
}

func TestReadFiles(t *testing.T) {
	books := t.TempDir()
	if entries, problems := mustRead(t, books); len(entries)+len(problems) != 0 {
		t.Errorf("before the first mark: %v, %v", entries, problems)
	}
	// Files of several years, a copy made by a synchronising program, lines
	// that were set aside, and leftovers of an editor.
	lay(t, books, "2028.jsonl", lineOf(t, said("c", "2028-01-01")))
	lay(t, books, "2027.jsonl", lineOf(t, said("b", "2027-12-31")))
	lay(t, books, "2026.jsonl", lineOf(t, said("a", "2026-12-31")))
	lay(t, books, "2027 (laptop's copy).jsonl", "{}\n")
	lay(t, books, "2027.torn-1", "{")
	lay(t, books, "2027.jsonl~", "{")
	lay(t, books, ".2027.jsonl.ABCDEFGHIJ.nestround-part", "{")
	entries, problems := mustRead(t, books)
	if got := ids(entries); got != "a b c" {
		t.Errorf("read %q", got)
	}
	if len(problems) != 1 || problems[0].File != "daybook/2027 (laptop's copy).jsonl" || problems[0].Line != 0 {
		t.Errorf("problems %v", problems)
	}
	l := NewLog(books, 2027)
	if _, err := l.Refresh(); err != nil {
		t.Fatal(err)
	}
	if got := ids(l.Entries()); got != "b c" {
		t.Errorf("from 2027 on: %q", got)
	}
}

func TestReadErrors(t *testing.T) {
	books := t.TempDir()
	lay(t, books, "2026.jsonl", lineOf(t, said("a", "2026-12-31")))
	l := NewLog(books, 0)
	if _, err := l.Refresh(); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(folder(books), "2027.jsonl"), 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := l.Refresh(); err == nil || !strings.Contains(err.Error(), "2027.jsonl") {
		t.Errorf("a folder in a file's place: error %v", err)
	}
	if err := os.Remove(filepath.Join(folder(books), "2027.jsonl")); err != nil {
		t.Fatal(err)
	}
	if _, err := l.Refresh(); err != nil || ids(l.Entries()) != "a" {
		t.Errorf("once it is gone: %q, %v", ids(l.Entries()), err)
	}
}

// TestRefresh changes files in every way that a keeper, an editor or another
// process does. The log must equal a newly read log.
func TestRefresh(t *testing.T) {
	books := t.TempDir()
	l := NewLog(books, 0)
	a, b, c := lineOf(t, said("a", "2027-01-01")), lineOf(t, said("b", "2027-01-02")), lineOf(t, said("c", "2028-01-03"))
	clock := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	step := func(name, want string, change func()) {
		t.Helper()
		were := map[int]string{}
		for y := 2026; y <= 2028; y++ {
			text, _ := os.ReadFile(filePath(books, y))
			were[y] = string(text)
		}
		change()
		clock = clock.Add(time.Second)
		for y, were := range were { // file times are coarse
			if text, _ := os.ReadFile(filePath(books, y)); string(text) != were {
				os.Chtimes(filePath(books, y), clock, clock)
			}
		}
		before := l.Entries()
		copied := fmt.Sprint(before)
		if _, err := l.Refresh(); err != nil {
			t.Fatal(err)
		}
		entries, problems := mustRead(t, books)
		if got := ids(l.Entries()); got != want {
			t.Errorf("%s: read %q, want %q", name, got, want)
		}
		if len(entries) != len(l.Entries()) || len(entries) > 0 && !reflect.DeepEqual(entries, l.Entries()) {
			t.Errorf("%s: a fresh reading gives %q", name, ids(entries))
		}
		if fmt.Sprint(problems) != fmt.Sprint(l.Problems()) {
			t.Errorf("%s: problems %v, a fresh reading gives %v", name, l.Problems(), problems)
		}
		if fmt.Sprint(before) != copied {
			t.Errorf("%s: entries handed out before have changed", name)
		}
		if changed, err := l.Refresh(); changed || err != nil {
			t.Errorf("%s: changed without a change (%v)", name, err)
		}
	}
	step("nothing there", "", func() {})
	step("the first line", "a", func() { lay(t, books, "2027.jsonl", a) })
	step("a line added", "a b", func() { lay(t, books, "2027.jsonl", a+b) })
	step("a line half added", "a b", func() { lay(t, books, "2027.jsonl", a+b+a[:20]) })
	step("the rest of it", "a b x", func() { lay(t, books, "2027.jsonl", a+b+lineOf(t, said("x", "2027-01-04"))) })
	step("a new year", "a b x c", func() { lay(t, books, "2028.jsonl", c) })
	step("a line added to the old year", "a b x y c", func() {
		lay(t, books, "2027.jsonl", a+b+lineOf(t, said("x", "2027-01-04"))+lineOf(t, said("y", "2027-01-04")))
	})
	step("the last newline removed", "a b c", func() {
		lay(t, books, "2027.jsonl", a+b)
		lay(t, books, "2028.jsonl", strings.TrimSuffix(c, "\n"))
	})
	step("and put back with a line", "a b c d", func() { lay(t, books, "2028.jsonl", c+lineOf(t, said("d", "2028-02-01"))) })
	step("and a broken line after it", "a b c d e", func() {
		lay(t, books, "2028.jsonl", c+lineOf(t, said("d", "2028-02-01"))+"{broken\n"+lineOf(t, said("e", "2028-02-02")))
	})
	step("removed again", "a b c", func() { lay(t, books, "2028.jsonl", strings.TrimSuffix(c, "\n")) })
	step("and the line itself continued", "a b", func() { lay(t, books, "2028.jsonl", strings.TrimSuffix(c, "\n")+"x\n"+a) })
	step("a correction of the same length", "a b e", func() { lay(t, books, "2028.jsonl", strings.Replace(c, `"c"`, `"e"`, 1)) })
	step("a correction and a line added", "a b f d", func() {
		lay(t, books, "2028.jsonl", strings.Replace(c, `"c"`, `"f"`, 1)+lineOf(t, said("d", "2028-02-01")))
	})
	step("an older entry twice", "a b f", func() { lay(t, books, "2028.jsonl", strings.Replace(c, `"c"`, `"f"`, 1)+a) })
	step("the first of the two removed", "b f a", func() { lay(t, books, "2027.jsonl", b) })
	step("an older year found", "o b f a", func() { lay(t, books, "2026.jsonl", lineOf(t, said("o", "2026-05-05"))) })
	step("a year removed", "o f a", func() { os.Remove(filePath(books, 2027)) })
	step("everything removed", "", func() { os.RemoveAll(folder(books)) })
}

// Entries read before are identical strings in memory, not only equal ones.
func TestRefreshReadsOnlyNewLines(t *testing.T) {
	books := t.TempDir()
	w := mustOpen(t, books)
	other := NewLog(books, 0)
	for i, day := range []string{"2026-12-31", "2027-01-01", "2027-01-02", "2028-01-01", "2028-01-01"} {
		before := map[*Log][]tasks.Entry{other: other.Entries(), w.Log(): w.Log().Entries()}
		mustAdd(t, w, said(fmt.Sprint("m", i), day), true)
		if _, err := other.Refresh(); err != nil {
			t.Fatal(err)
		}
		for l, before := range before {
			for j, e := range before {
				if unsafe.StringData(e.ID) != unsafe.StringData(l.Entries()[j].ID) {
					t.Errorf("entry %d was read again for entry %d", j, i)
				}
			}
			if len(l.Entries()) != i+1 {
				t.Errorf("%d entries after %d", len(l.Entries()), i+1)
			}
		}
	}
}

// If a reader finds a writer in the middle of a line, it waits for the rest of
// the line.
func TestAReaderWaitsForTheRestOfALine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		books := t.TempDir()
		a, b := lineOf(t, said("a", "2027-01-01")), lineOf(t, said("b", "2027-01-02"))
		lay(t, books, "2027.jsonl", a+b[:50])
		go func() {
			time.Sleep(tornPause / 2)
			lay(t, books, "2027.jsonl", a+b)
		}()
		entries, problems := mustRead(t, books)
		if got := ids(entries); got != "a b" || len(problems) > 0 {
			t.Errorf("read %q, %v", got, problems)
		}
	})
}

// After any changes of the files a refreshed log equals a newly read log.
func TestARefreshedLogEqualsANewlyReadLog(t *testing.T) {
	root := t.TempDir()
	clock := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		books, err := os.MkdirTemp(root, "books")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(folder(books), 0o777); err != nil {
			t.Fatal(err)
		}
		l := NewLog(books, 0)
		content := map[int]string{}
		for range rapid.IntRange(1, 12).Draw(t, "changes") {
			year := rapid.IntRange(2026, 2028).Draw(t, "year")
			now := content[year]
			switch rapid.IntRange(0, 4).Draw(t, "change") {
			case 0, 1: // add lines, with or without the end of the last
				if now != "" && !strings.HasSuffix(now, "\n") && rapid.Bool().Draw(t, "end") {
					now += "\n"
				}
				for range rapid.IntRange(1, 3).Draw(t, "lines") {
					e := said(fmt.Sprint("m", rapid.IntRange(0, 30).Draw(t, "id")), fmt.Sprintf("%d-05-05", year))
					line, _, err := encode(e)
					if err != nil {
						t.Fatal(err)
					}
					now += rapid.SampledFrom([]string{line, line, line, line[1:]}).Draw(t, "line")
				}
				now = now[:len(now)-rapid.SampledFrom([]int{0, 0, 0, 1, 30}).Draw(t, "cut")]
			case 2: // change a byte
				if now != "" {
					at := rapid.IntRange(0, len(now)-1).Draw(t, "at")
					now = now[:at] + rapid.SampledFrom([]string{"7", "m", "\n", `"`, ""}).Draw(t, "byte") + now[at+1:]
				}
			case 3: // cut off the end
				now = now[:rapid.IntRange(0, len(now)).Draw(t, "length")]
			case 4:
				now = ""
			}
			content[year] = now
			if now == "" {
				os.Remove(filePath(books, year))
			} else if err := os.WriteFile(filePath(books, year), []byte(now), 0o666); err != nil {
				t.Fatal(err)
			}
			clock = clock.Add(time.Second)
			os.Chtimes(filePath(books, year), clock, clock)
			if rapid.Bool().Draw(t, "look") {
				// As a writer, which does not wait for the rest of a torn line.
				l.mu.Lock()
				_, err := l.refresh(true)
				l.mu.Unlock()
				if err != nil {
					t.Fatal(err)
				}
				fresh := NewLog(books, 0)
				if _, err := fresh.refresh(true); err != nil {
					t.Fatal(err)
				}
				if fmt.Sprint(fresh.Entries()) != fmt.Sprint(l.Entries()) || fmt.Sprint(fresh.Problems()) != fmt.Sprint(l.Problems()) {
					t.Fatalf("kept up to date: %s %v\nread anew: %s %v", ids(l.Entries()), l.Problems(), ids(fresh.Entries()), fresh.Problems())
				}
			}
		}
	})
}

// FuzzRead reads arbitrary files. A line counts if encoding/json and the rules
// of an entry accept it, and is reported otherwise.
func FuzzRead(f *testing.F) {
	a, b := lineOf(f, said("a", "2027-01-01")), lineOf(f, said("b", "2027-01-02"))
	var full tasks.Entry
	n := 0
	fillEntry(&full, &n)
	for _, seed := range []string{
		"", "\n", a, a + b, a + b[:50], a + "\x00\x00", "\ufeff" + a, strings.ReplaceAll(a+b, "\n", "\r\n"), a + a, "{}\n" + b,
		lineOf(f, full), strings.Replace(lineOf(f, full), "Z", "+02:00", 1), strings.Replace(b, "done 1", `d\u00f6n\"e`, 1), "1\n" + a,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		l := NewLog("", 0)
		y := &year{year: 2027}
		l.years = append(l.years, y)
		l.take(y, string(content))
		var want []tasks.Entry
		seen := map[string]bool{}
		bad := 0
		s := new(scanner)
		for i, line := range strings.Split(strings.TrimPrefix(string(content), "\ufeff"), "\n") {
			line = strings.TrimSuffix(line, "\r")
			if i == 0 && strings.HasPrefix(string(content), "\ufeff") && strings.HasPrefix(line, "\ufeff") {
				bad++ // one byte order mark is accepted, not two
				continue
			}
			if strings.TrimSpace(line) == "" {
				continue
			}
			agree(t, s, line)
			e, err := decode(line)
			if err != nil || seen[e.ID] {
				bad++
				continue
			}
			seen[e.ID] = true
			want = append(want, e)
		}
		if len(want) != len(l.Entries()) || len(want) > 0 && !reflect.DeepEqual(want, l.Entries()) {
			t.Errorf("read %q, want %q", ids(l.Entries()), ids(want))
		}
		if len(l.Problems()) != bad {
			t.Errorf("%d problems, want %d: %v", len(l.Problems()), bad, l.Problems())
		}
		for _, p := range l.Problems() {
			if p.Line < 1 || p.Column < 1 || p.Message == "" {
				t.Errorf("a problem without a place: %#v", p)
			}
		}
	})
}
