package books

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nestround/tasks/civil"
)

func TestStarterHasNoProblems(t *testing.T) {
	for _, today := range []string{"2027-05-01", "2026-11-25", "2028-02-29", "2031-12-31"} {
		t.Run(today, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "my", "lizards")
			names, err := WriteStarter(dir, civil.MustParse(today))
			if err != nil {
				t.Fatal(err)
			}
			if names[0] != keeperFile || !slices.Contains(names, ".gitignore") {
				t.Errorf("wrote %v", names)
			}
			s, v, list := Load(dir)
			if len(list) > 0 {
				t.Fatalf("problems: %v", list)
			}
			if s.Began != civil.MustParse(today) || v.Began != s.Began {
				t.Errorf("the books begin on %v", s.Began)
			}
			if len(v.Enclosures) < 3 || len(v.Animals) < 3 || len(v.Clutches) < 1 || len(v.Incubators) < 1 {
				t.Error("a table has no example")
			}
			// The clutch is 15 days old on whatever day the set is written.
			if age := s.Began.Sub(v.Clutches[0].Laid); age != 15 {
				t.Errorf("the clutch is %d days old", age)
			}
		})
	}
}

// The examples in comments are valid when the # is removed.
func TestStarterCommentsAreValid(t *testing.T) {
	files, err := starterFiles(starterDay)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, f := range files {
		var out bytes.Buffer
		example := false
		for line := range strings.Lines(string(f.content)) {
			rest, comment := strings.CutPrefix(line, "# ")
			// An example begins with a header and ends with the comment.
			// A single setting has one blank and a =.
			if comment && strings.HasPrefix(rest, "[") && strings.HasSuffix(rest, "]\n") {
				example = true
			}
			if !comment {
				example = false
			}
			if comment && (example || strings.HasPrefix(rest, "log = ")) {
				line = rest
			}
			out.WriteString(line)
		}
		if err := os.WriteFile(filepath.Join(dir, f.name), out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s, v, list := Load(dir)
	for _, p := range list {
		// The log file of the example does not exist, so a warning is fine.
		if !strings.Contains(p.Message, "there is no file logs/incubator.csv yet") {
			t.Errorf("%v", p)
		}
	}
	if v == nil {
		t.FailNow()
	}
	if s.Out == nil || s.In == nil || len(v.Away) != 1 || len(v.Routines) == 0 || v.Incubators[0].Log == "" {
		t.Error("an example was not uncommented")
	}
}

// The starter set explains every table of the books.
func TestStarterTeachesEveryTable(t *testing.T) {
	files, err := starterFiles(starterDay)
	if err != nil {
		t.Fatal(err)
	}
	var all string
	for _, f := range files {
		all += string(f.content)
	}
	for _, table := range []string{"[[room]]", "[[rack]]", "[[enclosure]]", "[[animal]]", "[[clutch]]", "[[incubator]]", "[[routine]]", "[[species]]", "[[pairing]]", "[[away]]",
		"[rounds]", "[digest]", "[mail.out]", "[mail.in]", "[page]", "[calendar]"} {
		if !strings.Contains(all, table) {
			t.Errorf("%s is nowhere", table)
		}
	}
}

func TestStarterOverwritesNothing(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{"animals.toml": "mine", "other.toml": "mine"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// A broken symbolic link counts as an existing file too.
	if err := os.Symlink("nowhere", filepath.Join(dir, "places.toml")); err != nil {
		t.Fatal(err)
	}
	names, err := WriteStarter(dir, starterDay)
	exists, ok := errors.AsType[*ExistsError](err)
	if !ok || names != nil || !slices.Equal(exists.Files, []string{"animals.toml", "places.toml"}) || !strings.Contains(err.Error(), "animals.toml, places.toml") {
		t.Fatalf("got %v, %v", names, err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 3 {
		t.Errorf("the folder now has %v, %v", entries, err)
	}
	if b, err := os.ReadFile(filepath.Join(dir, "animals.toml")); err != nil || string(b) != "mine" {
		t.Errorf("animals.toml is now %q, %v", b, err)
	}
}

func TestStarterInReadOnlyPlace(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if names, err := WriteStarter(file, starterDay); err == nil || names != nil {
		t.Errorf("a file was taken for a folder: %v", names)
	}
}

func TestWriteNewIsExclusive(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a")
	if err := writeNew(path, []byte("one")); err != nil {
		t.Fatal(err)
	}
	if err := writeNew(path, []byte("two")); !errors.Is(err, os.ErrExist) {
		t.Errorf("writing twice: %v", err)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "one" {
		t.Errorf("it holds %q, %v", b, err)
	}
}
