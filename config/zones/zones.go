// Package zones loads time zones from the newest zone data on the machine.
//
// Governments change their clocks at short notice. The zone data of the system,
// or of the Go toolchain, may be a year old. With data of 2025, a digest in
// Vancouver would leave an hour late all through the winter of 2026. The
// program therefore carries the whole IANA time zone database of its release.
// It compares versions with the system's data and uses the newer. Start with
// [Load]. [Source] says which data is used, for people to see.
//
// The command in the directory gen renews the embedded archive. zoneinfo.zip
// was made from Debian's package tzdata 2026f-0+deb12u1; the database is in the
// public domain.
package zones

import (
	"archive/zip"
	"bytes"
	_ "embed"
	"fmt"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"nestround/config/diag"
	"nestround/config/zones/index"
)

//go:embed zoneinfo.zip
var embedded []byte

// data is one version of the zone data.
type data struct {
	fsys  fs.FS
	index index.Index
	from  string
}

func open(fsys fs.FS, from string) (*data, error) {
	f, err := fsys.Open("tzdata.zi")
	if err != nil {
		return nil, fmt.Errorf("open zone index: %w", err)
	}
	defer f.Close()
	x, err := index.Read(f)
	if err != nil {
		return nil, err
	}
	return &data{fsys, x, from}, nil
}

var builtIn = sync.OnceValue(func() *data {
	archive, err := zip.NewReader(bytes.NewReader(embedded), int64(len(embedded)))
	if err != nil {
		panic("zones: the embedded archive is damaged: " + err.Error())
	}
	d, err := open(archive, "built in")
	if err != nil {
		panic("zones: the embedded archive is damaged: " + err.Error())
	}
	return d
})

// systemPlaces are the directories in which systems keep compiled zone data,
// as in the time package.
var systemPlaces = []string{"/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/usr/lib/locale/TZ", "/etc/zoneinfo"}

var used = sync.OnceValue(func() *data {
	return newest(append([]string{os.Getenv("ZONEINFO")}, systemPlaces...))
})

// newest returns the newest of the built-in data and the data in the
// directories. The built-in data wins a tie. Data without a version cannot be
// compared, and is not used.
func newest(dirs []string) *data {
	best := builtIn()
	for _, dir := range dirs {
		if dir == "" {
			continue
		}
		if d, err := open(os.DirFS(dir), dir); err == nil && d.index.Version > best.index.Version {
			best = d
		}
	}
	return best
}

// Source returns the version of the zone data that Load uses, such as "2026f",
// and its origin: "built in", or a directory.
//
// The first call of Load or Source looks into the directory in the environment
// variable ZONEINFO and into the usual directories of Unix systems. Later calls
// do not look again.
func Source() (version, from string) {
	d := used()
	return d.index.Version, d.from
}

// Load returns the zone of an IANA name such as "Europe/Vienna". The error for
// an unknown name suggests similar names. "Local" is not accepted: the books
// must give the same dates on every machine.
func Load(name string) (*time.Location, error) {
	loc, err := used().load(name)
	if err != nil && used() != builtIn() {
		// A system may leave old names out, or package them separately.
		if loc, err := builtIn().load(name); err == nil {
			return loc, nil
		}
	}
	return loc, err
}

func (d *data) load(name string) (*time.Location, error) {
	file := name
	if target, link := d.index.Links[name]; link {
		file = target
	} else if !slices.Contains(d.index.Zones, name) {
		return nil, d.unknown(name)
	}
	content, err := fs.ReadFile(d.fsys, file)
	if err != nil {
		return nil, fmt.Errorf("read time zone %s: %w", name, err)
	}
	loc, err := time.LoadLocationFromTZData(name, content)
	if err != nil {
		return nil, fmt.Errorf("read time zone %s: %w", name, err)
	}
	return loc, nil
}

func (d *data) unknown(name string) error {
	names := d.index.Names()
	hint := diag.DidYouMean(name, names)
	if hint == "" && name != time.Local.String() {
		// Keepers may write the city alone, such as Vienna or New York, so
		// compare the name with the cities too.
		var cities []string
		for _, n := range names {
			if strings.Contains(n, "/") {
				cities = append(cities, path.Base(n))
			}
		}
		near := diag.Suggest(name, cities)
		var full []string
		for _, n := range names {
			if slices.Contains(near, path.Base(n)) && !slices.Contains(full, n) {
				full = append(full, n)
			}
		}
		if len(full) > 0 && len(full) <= 3 {
			hint = "did you mean `" + strings.Join(full, "` or `") + "`?"
		}
	}
	if hint == "" {
		hint = "a time zone is named like Europe/Vienna"
	}
	return fmt.Errorf("there is no time zone %q; %s", name, hint)
}
