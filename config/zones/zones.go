// Package zones loads time zones from the newest zone data at hand.
//
// Governments change their clocks at short notice, and a system, or the Go
// toolchain's own copy, may be a year behind: with data of 2025 a digest in
// Vancouver would leave an hour late all through the winter of 2026. So the
// program carries the whole IANA time zone database of its release, compares
// its version with that of the system's, and takes the newer. [Load] is the
// way in; [Source] says what is used, for people to see.
//
// The embedded archive is renewed with the command in the directory gen.
// zoneinfo.zip was made of Debian's package tzdata 2026f-0+deb12u1; the
// database is in the public domain.
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

// data is zone data of one version.
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

// newest returns the newest data among the built-in and those in the
// directories; the built-in where they are as new. Data that does not state
// its version cannot be compared, and is not used.
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
// and where it is from: "built in", or a directory.
//
// The directories looked at are ZONEINFO from the environment and the usual
// ones of Unix systems, once, at the first call.
func Source() (version, from string) {
	d := used()
	return d.index.Version, d.from
}

// Load returns the zone of an IANA name such as "Europe/Vienna". The error for
// an unknown name suggests similar ones. "Local" is not a name: the books must
// give the same dates on every machine.
func Load(name string) (*time.Location, error) {
	loc, err := used().load(name)
	if err != nil && used() != builtIn() {
		// Systems may leave old names out, or split them off.
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
		// The city alone: Vienna, New York.
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
