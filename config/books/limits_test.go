package books

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"nestround/config/diag"
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
		"more than all may have":       {4, 5 << 20, "f00003.toml:1:1: up to this file, the records have more than 16 MiB"},
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
		fsys[fmt.Sprintf("f%d.toml", i)] = &fstest.MapFile{Data: []byte(strings.Repeat("[[room]]\nid = \"R\"\nwrong = 1\n", 400))}
	}
	_, _, list := Read(fsys, ".")
	if len(list) != maxProblems || !list.HasErrors() {
		t.Fatalf("%d problems", len(list))
	}
	if last := list[maxProblems-1]; !strings.HasPrefix(last.Message, "there are ") || !strings.HasSuffix(last.Message, " more problems from here on") || last.Severity != diag.Error {
		t.Errorf("the last problem: %v", last)
	}
}
