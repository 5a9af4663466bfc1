package books

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"nestround/config/diag"
)

var update = flag.Bool("update", false, "write the golden files anew")

// testSheets replace the built-in sheets, so that a new sheet does not change
// the suggestions here.
var testSheets = os.DirFS(filepath.Join("testdata", "sheets"))

// sampleBooks is the folder of the sample books for all packages.
var sampleBooks = filepath.Join("..", "..", "testdata", "books")

// The golden files show the message for every kind of mistake: in the meaning
// (hostile) and in the syntax (torn).
func TestHostileBooks(t *testing.T) {
	for _, name := range []string{"hostile", "torn"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(sampleBooks, name)
			_, records, list := read(os.DirFS(dir), dir, testSheets)
			if records != nil {
				t.Error("there are records in spite of the errors")
			}
			var b bytes.Buffer
			if err := list.Print(&b); err != nil {
				t.Fatal(err)
			}
			golden := filepath.Join(dir, "problems.golden")
			if *update {
				if err := os.WriteFile(golden, b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(b.Bytes(), want) {
				t.Errorf("run with -update and look at the difference; got\n%s", b.String())
			}
			checkInvariants(t, dir, list)
			if strings.Contains(b.String(), "not shown") {
				t.Error("a secret is shown")
			}
		})
	}
}

// checkInvariants checks properties of every list of problems.
func checkInvariants(t *testing.T, dir string, list diag.List) {
	t.Helper()
	for i, p := range list {
		where := p.String()
		if p.Message == "" || p.File == "" || p.Line < 1 || p.Column < 1 || p.Severity != diag.Error && p.Severity != diag.Warning {
			t.Errorf("incomplete: %+v", p)
		}
		if strings.HasSuffix(p.Message, ".") || strings.HasSuffix(p.Hint, ".") && !strings.HasSuffix(p.Hint, "- _ .") {
			t.Errorf("a full stop at the end: %s", where)
		}
		if i > 0 && (list[i-1].File > p.File || list[i-1].File == p.File && list[i-1].Line > p.Line) {
			t.Errorf("out of order: %s", where)
		}
		for _, q := range list[:i] {
			if q.File == p.File && q.Line == p.Line && q.Column == p.Column && q.Message == p.Message {
				t.Errorf("said twice: %s", where)
			}
		}
		if p.Source == "" {
			continue
		}
		content, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(p.File)))
		if err != nil {
			t.Error(err)
			continue
		}
		line := strings.Split(string(content), "\n")[p.Line-1]
		// Bytes that cannot be shown are replaced by blanks.
		if strings.TrimRight(line, "\r") != p.Source && !strings.Contains(line, "\x00") && utf8.ValidString(line) {
			t.Errorf("shows %q for the line %q", p.Source, line)
		}
	}
}

// The smallest valid books.
func TestMinimalBooks(t *testing.T) {
	s, records, list := Load(filepath.Join(sampleBooks, "minimal"))
	if len(list) > 0 || records == nil {
		t.Fatalf("problems: %v", list)
	}
	if s.ZoneName != "Europe/Vienna" || s.Zone.String() != "Europe/Vienna" {
		t.Errorf("the zone is %s", s.ZoneName)
	}
	if len(records.Species) == 0 || len(records.Routines) == 0 {
		t.Error("the care sheets are not there")
	}
}

func TestNoBooks(t *testing.T) {
	for name, fsys := range map[string]fstest.MapFS{
		"empty folder": {},
		"records only": {"a.toml": {Data: []byte("[[room]]\nid = \"A\"\n")}},
	} {
		_, records, list := read(fsys, ".", testSheets)
		if records != nil || len(list) != 1 || list[0].File != keeperFile || list[0].Hint == "" {
			t.Errorf("%s: %v, %v", name, records, list)
		}
	}
	_, records, list := Load(filepath.Join(t.TempDir(), "missing"))
	if records != nil || !list.HasErrors() {
		t.Errorf("missing folder: %v, %v", records, list)
	}
}
