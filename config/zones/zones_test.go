package zones

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Changes of law that older zone data does not know, from the file NEWS of the
// IANA time zone database. Without the built-in data, each of these clocks
// would be an hour wrong.
func TestBuiltInDataKnowsTheLawOf2026(t *testing.T) {
	for _, c := range []struct {
		release, zone, instant, want string
	}{
		// "Morocco moves to permanent +00 on 2026-09-20" at 02:00 local.
		{"2026c", "Africa/Casablanca", "2026-09-20T00:59:59Z", "01:59:59 +0100"},
		{"2026c", "Africa/Casablanca", "2026-09-20T01:00:00Z", "01:00:00 +0000"},
		{"2026c", "Africa/Casablanca", "2027-06-01T12:00:00Z", "12:00:00 +0000"},
		// British Columbia "moved to permanent -07 on 2026-03-09", so it does
		// not fall back on 2026-11-01.
		{"2026b", "America/Vancouver", "2026-11-01T08:59:59Z", "01:59:59 -0700"},
		{"2026b", "America/Vancouver", "2026-11-01T09:00:00Z", "02:00:00 -0700"},
		{"2026b", "America/Vancouver", "2027-01-15T20:00:00Z", "13:00:00 -0700"},
		// "Alberta moved to permanent -06 on 2026-06-18".
		{"2026c", "America/Edmonton", "2027-01-15T20:00:00Z", "14:00:00 -0600"},
		// "Manitoba moves to permanent -05 on 2026-10-31".
		{"2026e", "America/Winnipeg", "2027-01-15T20:00:00Z", "15:00:00 -0500"},
		// "Cuba will not fall back 2026-11-01; stays on -04 through 2027-11-07."
		{"2026f", "America/Havana", "2027-01-15T20:00:00Z", "16:00:00 -0400"},
		{"2026f", "America/Havana", "2027-11-07T05:00:00Z", "00:00:00 -0500"},
		// A link: backward's old name of Europe/Kyiv.
		{"2026f", "Europe/Kiev", "2027-07-01T12:00:00Z", "15:00:00 +0300"},
	} {
		d := builtIn()
		if d.index.Version < c.release {
			t.Fatalf("the built-in data is of %s, older than %s", d.index.Version, c.release)
		}
		loc, err := d.load(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339, c.instant)
		if err != nil {
			t.Fatal(err)
		}
		if got := at.In(loc).Format("15:04:05 -0700"); got != c.want {
			t.Errorf("%s: %s in %s is %s, want %s", c.release, c.instant, c.zone, got, c.want)
		}
	}
}

func TestEveryNameLoads(t *testing.T) {
	d := builtIn()
	names := d.index.Names()
	// The database has had more than 590 names since the 2010s.
	if len(names) < 590 {
		t.Errorf("only %d names", len(names))
	}
	for _, name := range names {
		loc, err := d.load(name)
		if err != nil {
			t.Error(err)
		} else if loc.String() != name {
			t.Errorf("%s calls itself %s", name, loc)
		}
	}
}

func TestUnknownZones(t *testing.T) {
	for _, c := range []struct{ name, hint string }{
		{"Europe/Viena", "did you mean `Europe/Vienna`?"},
		{"europe/vienna", "did you mean `Europe/Vienna`?"},
		{"Vienna", "did you mean `Europe/Vienna`?"},
		{"New York", "did you mean `America/New_York`?"},
		{"America/New York", "did you mean `America/New_York`?"},
		{"Local", "a time zone is named like Europe/Vienna"},
		{"", "a time zone is named like Europe/Vienna"},
		{"../../etc/passwd", "a time zone is named like Europe/Vienna"},
		{"tzdata.zi", "a time zone is named like Europe/Vienna"},
	} {
		loc, err := Load(c.name)
		if err == nil {
			t.Errorf("%q loads as %v", c.name, loc)
		} else if !strings.HasSuffix(err.Error(), "; "+c.hint) {
			t.Errorf("%q: %v; want the hint %s", c.name, err, c.hint)
		}
	}
}

// directory makes zone data with a version. Its Vienna has the clock of
// Kathmandu, so the test can tell it from the built-in data.
func directory(t *testing.T, firstLine string) string {
	t.Helper()
	dir := t.TempDir()
	other, err := builtIn().fsys.Open("Asia/Kathmandu")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	content := make([]byte, 4096)
	n, err := other.Read(content)
	if err != nil && n == 0 {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(dir, "Europe"), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{
		"tzdata.zi":     []byte(firstLine + "\n# a comment\nZ Europe/Vienna 1 - x\nZ Europe/Nowhere 1 - x\nL Europe/Vienna Old/Vienna\nL Old/Vienna Older/Vienna\n"),
		"Europe/Vienna": content[:n],
	} {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestNewestDataIsUsed(t *testing.T) {
	for _, c := range []struct {
		name, firstLine string
		system          bool
	}{
		{"system older", "# version 2025b", false},
		{"system as new", "# version " + builtIn().index.Version, false},
		{"system newer", "# version 2199a", true},
		{"a second alphabet of letters", "# version 2199za", true},
		{"a version that cannot be compared", "# version unknown", false},
		{"no version", "# This file", false},
		{"suffix of a packager", "# version 2199a-dirty", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := directory(t, c.firstLine)
			d := newest([]string{"", filepath.Join(dir, "missing"), dir})
			if (d.from == dir) != c.system {
				t.Errorf("used %s of %s", d.index.Version, d.from)
			}
		})
	}
	t.Run("the newest of several", func(t *testing.T) {
		newer := directory(t, "# version 2199b")
		if d := newest([]string{directory(t, "# version 2199a"), newer, directory(t, "# version 2198z")}); d.from != newer {
			t.Errorf("used %s of %s", d.index.Version, d.from)
		}
	})
}

func TestNewerSystemDataIsRead(t *testing.T) {
	d := newest([]string{directory(t, "# version 2199a")})
	for _, name := range []string{"Europe/Vienna", "Old/Vienna", "Older/Vienna"} {
		loc, err := d.load(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, offset := time.Unix(0, 0).Add(40 * 365 * 24 * time.Hour).In(loc).Zone(); offset != (5*60+45)*60 {
			t.Errorf("%s has the offset %d s", name, offset)
		}
	}
	// A name without a file is an error here. Load then looks into the built-in
	// data.
	if _, err := d.load("Europe/Nowhere"); err == nil {
		t.Error("a zone without a file loads")
	}
}

func TestSource(t *testing.T) {
	version, from := Source()
	if version < builtIn().index.Version || from == "" {
		t.Errorf("the data is %s from %s, older than the built-in", version, from)
	}
}
