package books

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// The starter set is a set of valid books, written for starterDay. A copy for
// another day has all its dates moved by the same number of days.
//
//go:embed starter
var starter embed.FS

var starterDay = civil.MustParse("2027-05-01")

var dateWord = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)

// ExistsError says that a folder already has files that the starter set would
// overwrite.
type ExistsError struct {
	Dir   string
	Files []string // names of the files in Dir
}

// Error names the files.
func (e *ExistsError) Error() string {
	return fmt.Sprintf("%s already has %s, which would be overwritten; nothing was written, take an empty folder", e.Dir, strings.Join(e.Files, ", "))
}

// WriteStarter writes a commented starter set of books into the folder dir and
// returns the names of the files. It makes the folder if it does not exist. The
// invented animals have plausible ages and clutches on the day today.
//
// WriteStarter overwrites nothing. If a file of the set exists already,
// WriteStarter writes no file and returns an *ExistsError. If writing fails, it
// removes the files that it has written. When it returns no error, the files
// are safely on the disk (fsync).
func WriteStarter(dir string, today civil.Date) ([]string, error) {
	files, err := starterFiles(today)
	if err != nil {
		return nil, err
	}
	var names, taken []string
	for _, f := range files {
		names = append(names, f.name)
		switch _, err := os.Lstat(filepath.Join(dir, f.name)); {
		case err == nil:
			taken = append(taken, f.name)
		case !errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("look into the folder for the books: %w", err)
		}
	}
	if len(taken) > 0 {
		return nil, &ExistsError{dir, taken}
	}
	if err := (disk.Files{}).MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("make the folder for the books: %w", err)
	}
	for i, f := range files {
		if err := writeNew(filepath.Join(dir, f.name), f.content); err != nil {
			for _, done := range files[:i] {
				err = errors.Join(err, os.Remove(filepath.Join(dir, done.name)))
			}
			return nil, fmt.Errorf("write the starter set: %w", err)
		}
	}
	if err := (disk.System{}).SyncDir(dir); err != nil {
		return nil, fmt.Errorf("write the starter set: %w", err)
	}
	return names, nil
}

type starterFile struct {
	name    string
	content []byte
}

// starterFiles returns the starter set for a day, keeper.toml first.
func starterFiles(today civil.Date) ([]starterFile, error) {
	entries, err := starter.ReadDir("starter")
	if err != nil {
		return nil, fmt.Errorf("read the starter set: %w", err)
	}
	days := today.Sub(starterDay)
	var files []starterFile
	for _, e := range entries {
		content, err := starter.ReadFile("starter/" + e.Name())
		if err != nil {
			return nil, fmt.Errorf("read the starter set: %w", err)
		}
		name := e.Name()
		if name == "gitignore" {
			name = ".gitignore" // go:embed leaves out files that begin with a dot
		}
		files = append(files, starterFile{name, dateWord.ReplaceAllFunc(content, func(word []byte) []byte {
			d, err := civil.Parse(string(word))
			if err != nil {
				return word
			}
			return []byte(d.AddDays(days).String())
		})})
	}
	slices.SortFunc(files, func(a, b starterFile) int { return keeperFirst(a.name, b.name) })
	return files, nil
}

// writeNew writes a file that must not exist yet. If it fails, it leaves
// nothing behind.
func writeNew(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}
