package books

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"nestround/config/diag"
	"nestround/config/tables"
)

// Books beyond a limit are refused with one clear error, and are never read in
// part.
func TestBooksBeyondALimit(t *testing.T) {
	keeper := &fstest.MapFile{Data: []byte("zone = \"UTC\"\n")}
	room := func(i int) *fstest.MapFile {
		return &fstest.MapFile{Data: fmt.Appendf(nil, "[[room]]\nid = \"R%d\"\nname = \"Room %d\"\n", i, i)}
	}
	padded := func(i, size int) *fstest.MapFile {
		f := room(i)
		line := "# " + strings.Repeat("x", 97) + "\n"
		f.Data = append(f.Data, strings.Repeat(line, size/len(line))...)
		return f
	}
	cases := map[string]struct {
		files int
		size  int // of each file, in bytes
		want  string
	}{
		"as many files as are allowed": {maxFiles - 1, 0, ""},
		"too many files":               {maxFiles, 0, "there are 2001 files of records, and at most 2000 are read"},
		"less than all may have":       {3, 5 << 20, ""},
		"more than all may have":       {4, 5 << 20, "f00003.toml:1:1: up to this file, the records have more than 16 MiB; nothing is read"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			fsys := fstest.MapFS{"keeper.toml": keeper}
			for i := range c.files {
				fsys[fmt.Sprintf("f%05d.toml", i)] = padded(i, c.size)
			}
			_, records, list := Read(fsys, ".")
			if c.want == "" {
				if list.HasErrors() || records == nil || len(records.Rooms) != c.files {
					t.Errorf("got %v", list)
				}
				return
			}
			if len(list) != 1 || records != nil || list[0].Severity != diag.Error || !strings.Contains(list[0].String(), c.want) {
				t.Errorf("got %v", list)
			}
		})
	}
}

// Very many problems are counted, not listed, and an error among them stays an
// error.
func TestVeryManyProblems(t *testing.T) {
	fsys := fstest.MapFS{"keeper.toml": &fstest.MapFile{Data: []byte("zone = \"UTC\"\n")}}
	for i := range 10 {
		fsys[fmt.Sprintf("f%d.toml", i)] = &fstest.MapFile{Data: []byte(strings.Repeat("[[clutch]]\nid = \"R\"\nwrong = 1\n", 400))}
	}
	_, _, list := Read(fsys, ".")
	if len(list) != maxProblems || !list.HasErrors() {
		t.Fatalf("%d problems", len(list))
	}
	if last := list[maxProblems-1]; !strings.HasPrefix(last.Message, "there are ") || !strings.HasSuffix(last.Message, " more problems from here on") || last.Severity != diag.Error {
		t.Errorf("the last problem: %v", last)
	}
}

func TestBooksWithTooManyRecordsOrValues(t *testing.T) {
	list := func(n int, text string) string { return strings.Repeat(text, n) }
	for name, c := range map[string]struct{ text, want string }{
		"as many animals as are allowed": {list(maxAnimals, "[[animal]]\n"), "has no `id`"},
		"too many animals":               {list(maxAnimals+1, "[[animal]]\n"), "more than 30000 records [[animal]]"},
		"too many animals in a line":     {"animal = [\n" + list(maxAnimals+1, "{},\n") + "]\n", "more than 30000 records [[animal]]"},
		"too many coolings":              {list(maxCoolings+1, "[[cooling]]\n"), "more than 1000 records [[cooling]]"},
		"too many items of a list":       {"x = [\n" + list(tables.MaxValues, "1,\n") + "]\n", "more than 500000 values and tables"},
		"too many headers":               {list(tables.MaxValues+1, "[[a]]\n"), "more than 500000 values and tables"},
	} {
		t.Run(name, func(t *testing.T) {
			// The text lies in two files: the limits are for all files together.
			half := strings.LastIndexByte(c.text[:len(c.text)/2], '\n') + 1
			if strings.Contains(c.text, "= [") {
				half = 0
			}
			fsys := fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}, "a.toml": {Data: []byte(c.text[:half])}, "b.toml": {Data: []byte(c.text[half:])}, "c.toml": {Data: []byte("x = 1\n")}}
			_, records, problems := Read(fsys, ".")
			var said strings.Builder
			if err := problems.Print(&said); err != nil {
				t.Fatal(err)
			}
			if records != nil || !strings.Contains(said.String(), c.want) {
				t.Errorf("want %q, got %d problems, the first %.300s", c.want, len(problems), said.String())
			}
			if strings.Contains(c.want, "more than") && (len(problems) != 1 || problems[0].File != "b.toml" || problems[0].Hint == "") {
				t.Errorf("%d problems, the first %v", len(problems), problems[0])
			}
		})
	}
}

// Many animals, clutches or pairings may name the same animal or enclosure, so
// that each would be compared with each.
func TestTooManyRecordsNameTheSame(t *testing.T) {
	const n = 8000
	var young, pairs, residents strings.Builder
	for i := range n {
		fmt.Fprintf(&young, "[[animal]]\nid = \"A%d\"\nclutch = \"C1\"\n", i)
		pairs.WriteString("[[pairing]]\nmale = \"M\"\nfemale = \"F\"\nfrom = 2026-03-01\nuntil = 2026-03-20\n")
		fmt.Fprintf(&residents, "[[animal]]\nid = \"A%d\"\nclutch = \"E1-2026-04-01\"\nenclosure = \"E1\"\n", i)
	}
	places := "[[room]]\nid = \"R1\"\nname = \"Room\"\n[[enclosure]]\nid = \"E1\"\nroom = \"R1\"\n"
	pair := "[[animal]]\nid = \"F\"\nspecies = \"leopard-gecko\"\nsex = \"female\"\n[[animal]]\nid = \"M\"\nspecies = \"leopard-gecko\"\nsex = \"male\"\n[[clutch]]\nid = \"C1\"\nmother = \"F\"\nlaid = 2026-04-01\neggs = 2\n"
	for name, c := range map[string]struct{ text, want string }{
		"young and pairings of a female": {pair + young.String() + pairs.String(), "a.toml:1:1: too many animals, clutches and pairings name `F`, which stands at a.toml:2; nothing is read"},
		"young of an enclosure":          {places + residents.String(), "a.toml:1:1: too many animals, clutches and pairings name `E1`, which stands at a.toml:5; nothing is read"},
	} {
		t.Run(name, func(t *testing.T) {
			_, records, list := Read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}, "a.toml": {Data: []byte(c.text)}}, ".")
			if records != nil || len(list) != 1 || !strings.HasPrefix(list[0].String(), c.want) {
				t.Errorf("%d problems, the first %v", len(list), list[0])
			}
		})
	}
}

// big returns books with a number of animals, three in an enclosure. mistake
// adds a line to each animal; %d stands for its number.
func big(animals int, mistake string) fstest.MapFS {
	const perFile = 10_000
	var places strings.Builder
	places.WriteString("[[room]]\nid = \"R1\"\nname = \"Room\"\n")
	for i := range (animals + 2) / 3 {
		fmt.Fprintf(&places, "[[enclosure]]\nid = \"E%d\"\nroom = \"R1\"\n", i)
	}
	fsys := fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}, "places.toml": {Data: []byte(places.String())}}
	for from := 0; from < animals; from += perFile {
		var b strings.Builder
		for i := from; i < min(from+perFile, animals); i++ {
			sex := "female"
			if i%3 == 0 {
				sex = "male"
			}
			fmt.Fprintf(&b, "[[animal]]\nid = \"A%d\"\nname = \"Animal %d\"\nspecies = \"leopard-gecko\"\nsex = %q\nhatched = 2024-05-%02d\nenclosure = \"E%d\"\n", i, i, sex, 1+i%28, i/3)
			if strings.Contains(mistake, "%d") {
				fmt.Fprintf(&b, mistake, i)
			} else {
				b.WriteString(mistake)
			}
		}
		fsys[fmt.Sprintf("animals-%d.toml", from)] = &fstest.MapFile{Data: []byte(b.String())}
	}
	return fsys
}

// mistakes are mistakes that every animal of large books may have.
var mistakes = map[string]string{
	"no mistake":               "",
	"an unknown mother":        "mother = \"B%d\"\n",
	"an unknown clutch":        "clutch = \"C%d\"\n",
	"a clutch of an enclosure": "clutch = \"E%d-2024-04-01\"\n",
	"an unknown key":           "key%d = 1\n",
	"a long unknown key":       strings.Repeat("k", 2000) + "%d = 1\n",
	"a second id":              "[[animal]]\nid = \"A%d\"\nspecies = \"leopard-gecko\"\n",
	"no value":                 "note = \n",
	"an open list":             "note = [\n",
}

// Books of twice the size take twice the work, whatever is wrong with them.
func TestWorkGrowsWithTheBooks(t *testing.T) {
	count := func(animals int, mistake string) float64 {
		fsys := big(animals, mistake)
		return testing.AllocsPerRun(1, func() { Read(fsys, ".") })
	}
	base := count(0, "")
	for name, mistake := range mistakes {
		once, twice := count(500, mistake), count(1000, mistake)
		if ratio := (twice - base) / (once - base); ratio > 2.4 {
			t.Errorf("%s: %.0f and %.0f allocations for 500 and 1,000 animals: %.1f times", name, once, twice, ratio)
		}
	}
}

func BenchmarkBigBooks(b *testing.B) {
	for _, animals := range []int{6_000, 30_000} {
		for name, mistake := range mistakes {
			b.Run(fmt.Sprintf("%d/%s", animals, strings.ReplaceAll(name, " ", "-")), func(b *testing.B) {
				fsys := big(animals, mistake)
				b.ReportAllocs()
				for b.Loop() {
					Read(fsys, ".")
				}
			})
		}
	}
}
