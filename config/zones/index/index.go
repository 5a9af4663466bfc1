// Package index reads tzdata.zi, the index of the compiled files of the IANA
// time zone database. It returns the version and the names of the zones; [Read]
// is the only function. It skips the rules in the file, because the compiled
// files have them.
package index

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// Index holds the version and the names of a tzdata.zi.
type Index struct {
	// Version is a version such as "2026f". A later version is a greater
	// string: after the 26 letters of a year come "za", "zb" and so on
	// (theory.html of the database).
	Version string
	Zones   []string          // names with a file of their own, sorted
	Links   map[string]string // other names, each with the zone it stands for
}

var versionLine = regexp.MustCompile(`^# version (\d{4}[a-z]{1,2})\b`)

// Read reads a tzdata.zi. The first line has the version. Lines that begin with
// Z name a zone, and lines that begin with L name a link (zic(8), "Files").
func Read(r io.Reader) (Index, error) {
	x := Index{Links: make(map[string]string)}
	lines := bufio.NewScanner(r)
	for first := true; lines.Scan(); first = false {
		if first {
			m := versionLine.FindStringSubmatch(lines.Text())
			if m == nil {
				return Index{}, errors.New("read zone index: the first line states no version")
			}
			x.Version = m[1]
			continue
		}
		switch f := strings.Fields(lines.Text()); {
		case len(f) >= 2 && f[0] == "Z":
			x.Zones = append(x.Zones, f[1])
		case len(f) >= 3 && f[0] == "L":
			x.Links[f[2]] = f[1]
		}
	}
	if err := lines.Err(); err != nil {
		return Index{}, fmt.Errorf("read zone index: %w", err)
	}
	if len(x.Zones) == 0 {
		return Index{}, errors.New("read zone index: it names no zone")
	}
	// A link may point to another link.
	for name, target := range x.Links {
		for range x.Links {
			next, again := x.Links[target]
			if !again {
				break
			}
			target = next
		}
		x.Links[name] = target
	}
	slices.Sort(x.Zones)
	return x, nil
}

// Names returns every name, sorted.
func (x Index) Names() []string {
	names := slices.Clone(x.Zones)
	for name := range x.Links {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
