// Command gen makes zoneinfo.zip of a directory of compiled zone data, such as
// /usr/share/zoneinfo of an up-to-date system:
//
//	go run nestround/config/zones/gen -from /usr/share/zoneinfo -to config/zones/zoneinfo.zip
//
// The archive holds tzdata.zi cut down to its version and names, and the
// compiled file of every zone that is not a link to another. The same
// directory always gives the same bytes.
package main

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"nestround/config/zones/index"
)

func main() {
	from := flag.String("from", "/usr/share/zoneinfo", "`directory` of compiled zone data with its tzdata.zi")
	to := flag.String("to", "config/zones/zoneinfo.zip", "`file` to write")
	flag.Parse()
	if err := run(*from, *to); err != nil {
		fmt.Fprintln(os.Stderr, "gen:", err)
		os.Exit(1)
	}
}

func run(from, to string) error {
	archive, version, err := build(os.DirFS(from))
	if err != nil {
		return err
	}
	if err := os.WriteFile(to, archive, 0o644); err != nil {
		return fmt.Errorf("write the archive: %w", err)
	}
	fmt.Printf("%s: version %s, %d bytes\n", to, version, len(archive))
	return nil
}

// build returns the archive of the zone data in fsys, and its version.
func build(fsys fs.FS) (archive []byte, version string, err error) {
	zi, err := fsys.Open("tzdata.zi")
	if err != nil {
		return nil, "", fmt.Errorf("open zone index: %w", err)
	}
	defer zi.Close()
	x, err := index.Read(zi)
	if err != nil {
		return nil, "", err
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	w.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(to, flate.BestCompression)
	})
	add := func(name string, content []byte) error {
		// Modified is not set, so that the header holds no date and the archive
		// is the same on every day.
		f, err := w.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
		if err == nil {
			_, err = f.Write(content)
		}
		if err != nil {
			return fmt.Errorf("add %s: %w", name, err)
		}
		return nil
	}

	var names bytes.Buffer
	fmt.Fprintf(&names, "# version %s\n", x.Version)
	for _, name := range x.Names() {
		if target, link := x.Links[name]; link {
			fmt.Fprintf(&names, "L %s %s\n", target, name)
		} else {
			fmt.Fprintf(&names, "Z %s\n", name)
		}
	}
	if err := add("tzdata.zi", names.Bytes()); err != nil {
		return nil, "", err
	}
	for _, name := range x.Zones {
		content, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, "", fmt.Errorf("read zone: %w", err)
		}
		if _, err := time.LoadLocationFromTZData(name, content); err != nil {
			return nil, "", fmt.Errorf("read zone %s: %w", name, err)
		}
		if err := add(name, content); err != nil {
			return nil, "", err
		}
	}
	if err := w.Close(); err != nil {
		return nil, "", fmt.Errorf("finish the archive: %w", err)
	}
	return out.Bytes(), x.Version, nil
}
