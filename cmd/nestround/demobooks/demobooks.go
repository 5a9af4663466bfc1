// Package demobooks holds the sample books of the demo: two rooms, a dozen
// enclosures, four species, and three weeks of daybook.
//
// The books are templates with dates that count from a given day. On that day a
// clutch is due, a nest box is overdue, a female is about to lay and a pairing
// season opens. [Write] puts the books into a folder; [Files] only renders
// them. The animals and people are invented.
//
// The package plans nothing and does not read the books that it makes.
package demobooks

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"time"

	"nestround/tasks/civil"
)

//go:embed books/*.toml.tmpl
var templates embed.FS

// File is one file of the books.
type File struct {
	Name string // path relative to the books, with slashes
	Data []byte
	// Secret says that only the owner may read the file.
	Secret bool
}

// Setting is the environment of the books. The zero Setting uses a mail folder
// beside the books, and the zone of Vienna.
type Setting struct {
	Zone       string // IANA name
	SMTP, IMAP string // host:port of a mail server on this machine
	// User and Password are the login for both servers. The password goes into
	// a separate file.
	User, Password string
}

// Files renders the books for a day, sorted by name. The same day and setting
// always give the same bytes.
func Files(today civil.Date, in Setting) ([]File, error) {
	if in.Zone == "" {
		in.Zone = "Europe/Vienna"
	}
	names, err := fs.Glob(templates, "books/*.toml.tmpl")
	if err != nil {
		return nil, err
	}
	funcs := template.FuncMap{
		"day":     func(n int) string { return today.AddDays(n).String() },
		"weekday": func(n int) string { return strings.ToLower(today.AddDays(n).Weekday().String()[:3]) },
		"monthday": func(n int) string {
			d := today.AddDays(n)
			if d.Month() == time.February && d.Day() == 29 {
				d = d.AddDays(-1) // a season must begin on a day that exists in every year
			}
			return d.Format("01-02")
		},
		// lampYear returns the line that shifts the lamps' year so that today
		// counts as the given day of the year. On that day the light changes by
		// a step.
		"lampYear": func(month time.Month, dayOfMonth int) string {
			n := today.Sub(civil.New(today.Year(), month, dayOfMonth))
			switch {
			case n > 182:
				n -= 365
			case n < -182:
				n += 365
			}
			if n < 0 {
				return fmt.Sprintf("ahead = \"%d days\"", -n)
			}
			return fmt.Sprintf("behind = \"%d days\"", n)
		},
	}
	years, err := yearFiles(today)
	if err != nil {
		return nil, err
	}
	var files []File
	for _, name := range names {
		t, err := template.New(path.Base(name)).Funcs(funcs).ParseFS(templates, name)
		if err != nil {
			return nil, fmt.Errorf("read sample %q: %w", name, err)
		}
		var b bytes.Buffer
		if err := t.Execute(&b, in); err != nil {
			return nil, fmt.Errorf("fill sample %q in: %w", name, err)
		}
		files = append(files, File{Name: strings.TrimSuffix(path.Base(name), ".tmpl"), Data: b.Bytes()})
	}
	files = append(files, years...)
	if in.Password != "" {
		files = append(files, File{Name: "secrets/mail", Data: []byte(in.Password + "\n"), Secret: true})
	}
	slices.SortFunc(files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	return files, nil
}

// yearFiles renders the entries of History in the form of the daybook, one file
// for each year.
func yearFiles(today civil.Date) ([]File, error) {
	var files []File
	for _, e := range History(today) {
		name := "daybook/" + strconv.Itoa(e.On.Year()) + ".jsonl"
		if len(files) == 0 || files[len(files)-1].Name != name {
			files = append(files, File{Name: name})
		}
		line, err := json.Marshal(e)
		if err != nil {
			return nil, fmt.Errorf("write sample daybook: %w", err)
		}
		f := &files[len(files)-1]
		f.Data = append(append(f.Data, line...), '\n')
	}
	return files, nil
}

// Write renders the books for a day into dir, and creates dir if needed. It
// overwrites nothing: an existing file is an error.
func Write(dir string, today civil.Date, in Setting) error {
	files, err := Files(today, in)
	if err != nil {
		return err
	}
	for _, f := range files {
		to := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return fmt.Errorf("make sample books: %w", err)
		}
		perm := fs.FileMode(0o644)
		if f.Secret {
			perm = 0o600
		}
		w, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm)
		if err != nil {
			return fmt.Errorf("make sample books: %w", err)
		}
		_, err = w.Write(f.Data)
		if cerr := w.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return fmt.Errorf("make sample books: %w", err)
		}
	}
	return nil
}
