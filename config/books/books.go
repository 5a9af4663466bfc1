// Package books reads the keeper's folder: keeper.toml and the record files. It
// adds the keeper's records to the care sheets and common routines that are
// built into the program.
//
// Start with [Load]. It returns the settings, the records, and a list of the
// problems of all files. If the list has an error, Load returns no records at
// all, never half of them. [WriteStarter] makes a first folder for a new
// keeper.
//
// The folder sheets has one care sheet per file, common.toml with the routines
// for every species, and called.toml with the routines that a rule of the
// planner asks for. These files are written in the same syntax as the keeper's
// files. A new sheet needs no code, but each of its numbers needs a source; the
// package's tests check the sources.
//
// The package does not know the daybook or today's date. The scheduler checks
// whether a date lies in the future, and whether a record agrees with later
// findings.
package books

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"nestround/config"
	"nestround/config/diag"
	"nestround/config/tables"
	"nestround/tasks/disk"
	"nestround/tasks/husbandry"
)

//go:embed sheets/*.toml
var embedded embed.FS

// The limits of the books as a whole. They are ten times what the records of
// 2,000 enclosures and 6,000 animals need, and keep the time and the memory for
// hostile books small. tables has the limits of a file.
const (
	maxBooks    = 16 << 20 // bytes of all files of records
	maxFiles    = 2000     // files of records
	maxProblems = 1000     // problems that are listed
)

// The largest numbers of records of a kind; maxOther is for all other kinds. A
// keeper with 2,000 enclosures has 6,000 animals, and in ten years 60,000
// clutches, most of them in the daybook. Some checks compare each record with each
// other, but only of kinds with few records; maxLooks bounds the checks of
// animals against clutches and pairings.
const (
	maxAnimals    = 30_000 // and permits
	maxEnclosures = 10_000
	maxRoutines   = 5_000
	maxClutches   = 100_000 // and pairings
	maxCoolings   = 1_000
	maxOther      = 2_000
)

func mostRecords(kind string) int {
	switch kind {
	case "animal", "permit":
		return maxAnimals
	case "enclosure":
		return maxEnclosures
	case "routine":
		return maxRoutines
	case "clutch", "pairing":
		return maxClutches
	case "cooling":
		return maxCoolings
	}
	return maxOther
}

// keeperFile is the name of the file that has the settings.
const keeperFile = "keeper.toml"

// commonFile has the routines for every species. calledFile has the routines
// that a rule of the planner asks for.
const (
	commonFile = "common.toml"
	calledFile = "called.toml"
)

// Load reads the books in the folder dir, and returns the settings, the records
// and the list of problems. The records are nil if, and only if, the list has
// an error; warnings do not prevent the records. The list is sorted by place.
// The paths in the list are relative to dir.
func Load(dir string) (config.Settings, *husbandry.Records, diag.List) {
	return Read(Folder(dir), dir)
}

// Folder returns the folder of the books for [Read]. It opens regular files of
// bounded size only.
func Folder(dir string) disk.Folder { return disk.FS(dir, tables.MaxFile) }

// Read does the same as Load from a file system. Paths in the settings, such as
// the path of a password file, are relative to dir.
func Read(fsys fs.FS, dir string) (config.Settings, *husbandry.Records, diag.List) {
	sheets, err := fs.Sub(embedded, "sheets")
	if err != nil {
		panic("books: the embedded sheets have no folder: " + err.Error())
	}
	return read(fsys, dir, sheets)
}

// sheetName returns the name of a built-in file for the report of a problem.
func sheetName(file string) string { return "care sheet " + file }

func read(fsys fs.FS, dir string, sheets fs.FS) (config.Settings, *husbandry.Records, diag.List) {
	var list diag.List
	r := newReader(&list)
	r.sheets(sheets)
	settings := r.books(fsys, dir)
	if !r.full {
		r.check(fsys, settings)
	}
	if r.crowd != "" {
		at := r.ids[strings.ToLower(string(r.crowd))].place
		r.tooMuch(at.File(), fmt.Sprintf("too many animals, clutches and pairings name `%s`, which stands at %v", r.crowd, at))
	}
	list.Sort()
	if list.HasErrors() {
		return config.Default(), nil, shortened(list)
	}
	list = shortened(list)
	return settings, r.records(settings), list
}

// shortened cuts a list of very many problems. The last problem of the shorter
// list counts the others, and is an error if one of them is.
func shortened(list diag.List) diag.List {
	if len(list) <= maxProblems {
		return list
	}
	rest := list[maxProblems-1:]
	last := diag.Problem{
		File: rest[0].File, Line: rest[0].Line, Column: rest[0].Column, Severity: diag.Warning,
		Message: fmt.Sprintf("there are %d more problems from here on", len(rest)), Hint: "mend the problems above and check again",
	}
	if rest.HasErrors() {
		last.Severity = diag.Error
	}
	return append(slices.Clone(list[:maxProblems-1]), last)
}

// sheets reads the built-in files.
func (r *reader) sheets(fsys fs.FS) {
	files, err := fs.Glob(fsys, "*.toml")
	if err != nil {
		panic("books: " + err.Error())
	}
	sheets := folder{fsys: fsys, list: r.list}
	for _, file := range files {
		src, err := fs.ReadFile(fsys, file)
		if err != nil {
			sheets.problem(sheetName(file), err)
			continue
		}
		root := tables.Parse(sheetName(file), src, r.list)
		r.origin = husbandry.Common
		switch file {
		case commonFile:
			for _, t := range root.Tables("routine") {
				r.routine(t, "")
			}
		case calledFile:
			for _, t := range root.Tables("routine") {
				r.called(t)
			}
		default:
			r.origin = husbandry.Sheet
			for _, t := range root.Tables("species") {
				r.species(t)
			}
		}
		root.Done()
	}
	r.origin = husbandry.Keeper
	r.lost = r.lost || sheets.lost
}

// books reads the keeper's files and returns the settings.
func (r *reader) books(fsys fs.FS, dir string) config.Settings {
	settings := config.Default()
	own := folder{fsys: fsys, list: r.list}
	files := own.files()
	if !slices.Contains(files, keeperFile) {
		*r.list = append(*r.list, diag.Problem{
			File: keeperFile, Line: 1, Column: 1, Severity: diag.Error,
			Message: "there is no keeper.toml in this folder",
			Hint:    "is this the folder of the books? `nestround init` makes a first one",
		})
	}
	if n := len(files); n > maxFiles {
		r.tooMuch(files[maxFiles], fmt.Sprintf("there are %d files of records, and at most %d are read", n, maxFiles))
		return settings
	}
	left, batch := maxBooks, tables.NewBatch(r.list)
	for _, file := range files {
		src, err := fs.ReadFile(fsys, file)
		if err != nil {
			own.problem(file, err)
			continue
		}
		if left -= len(src); left < 0 {
			r.tooMuch(file, fmt.Sprintf("up to this file, the records have more than %d MiB", maxBooks>>20))
			return settings
		}
		o, ok := fsys.(interface{ Outside(string) bool })
		root := batch.Parse(file, src, ok && o.Outside(file))
		r.lost = r.lost || root.Lost()
		if batch.Full() {
			r.tooMuch(file, fmt.Sprintf("up to this file, the records have more than %d values and tables", tables.MaxValues))
			return settings
		}
		if file == keeperFile {
			settings = config.Read(root, dir)
		}
		r.tables(root)
		if r.full {
			return settings
		}
		if file == keeperFile {
			root.Done()
			continue
		}
		for _, key := range config.Keys() {
			if root.Has(key) {
				root.KeyPlace(key).Error(fmt.Sprintf("`%s` is a setting; settings stand in keeper.toml", key), "move it there, above the first header if it has none of its own")
			}
		}
		root.Done()
	}
	r.lost = r.lost || own.lost
	return settings
}

// folder finds the files of the books.
type folder struct {
	fsys fs.FS
	list *diag.List
	lost bool // a file could not be read
}

// problem reports a file that could not be read at all.
func (f *folder) problem(file string, err error) {
	f.lost = true
	if p, ok := err.(*fs.PathError); ok {
		err = p.Err
	}
	message, hint := fmt.Sprintf("cannot be read: %v", err), ""
	if _, ok := errors.AsType[*disk.TooLargeError](err); ok {
		message, hint = fmt.Sprintf("the file is larger than %d MiB and is not read", tables.MaxFile>>20), "split it; any file may hold any table"
	}
	*f.list = append(*f.list, diag.Problem{
		File: file, Line: 1, Column: 1, Severity: diag.Error, Message: message, Hint: hint,
	})
}

// tooMuch reports books beyond a limit. It drops all other problems, because the
// reading ends here: they would be the problems of a half reading.
func (r *reader) tooMuch(file, message string) {
	r.full, r.lost = true, true
	*r.list = diag.List{{
		File: file, Line: 1, Column: 1, Severity: diag.Error, Message: message + "; nothing is read",
		Hint: "is this the folder of the books? take files out of it that are not records",
	}}
}

// notRecords are the folders in the books that hold no records.
var notRecords = []string{"daybook", "state", "logs", "secrets"}

// files returns the paths of the record files: keeper.toml first, then all
// others sorted by name.
func (f *folder) files() []string {
	var files []string
	entries, err := fs.ReadDir(f.fsys, ".")
	if err != nil {
		f.problem(".", err)
	}
	for _, e := range entries {
		name := e.Name()
		switch {
		case strings.HasPrefix(name, "."):
		case isRecordFile(name):
			files = append(files, name)
		case slices.Contains(notRecords, name):
		case isDir(f.fsys, name, e):
			inner, err := fs.ReadDir(f.fsys, name)
			if err != nil {
				f.problem(name, err)
			}
			for _, e := range inner {
				file := path.Join(name, e.Name())
				switch {
				case strings.HasPrefix(e.Name(), "."):
				case isRecordFile(e.Name()):
					files = append(files, file)
				case isDir(f.fsys, file, e):
					f.warnTooDeep(file)
				default:
					f.warnOddName(file)
				}
			}
		default:
			f.warnOddName(name)
		}
	}
	slices.SortFunc(files, keeperFirst)
	return files
}

// keeperFirst orders files by name, with keeper.toml before all others.
func keeperFirst(a, b string) int {
	switch {
	case a == b:
		return 0
	case a == keeperFile:
		return -1
	case b == keeperFile:
		return +1
	}
	return strings.Compare(a, b)
}

func isRecordFile(name string) bool { return strings.HasSuffix(name, ".toml") }

// isDir reports whether an entry is a folder, or a symbolic link to a folder.
// Such links are common in synchronised folders.
func isDir(fsys fs.FS, name string, e fs.DirEntry) bool {
	if e.Type()&fs.ModeSymlink == 0 {
		return e.IsDir()
	}
	info, err := fs.Stat(fsys, name)
	return err == nil && info.IsDir()
}

func (f *folder) warn(file, message, hint string) {
	*f.list = append(*f.list, diag.Problem{
		File: file, Line: 1, Column: 1, Severity: diag.Warning, Message: message, Hint: hint,
	})
}

func (f *folder) warnOddName(file string) {
	if strings.EqualFold(path.Ext(file), ".toml") {
		f.warn(file, "the file is not read: its name does not end in .toml", "write .toml in small letters")
	}
}

func (f *folder) warnTooDeep(dir string) {
	entries, err := fs.ReadDir(f.fsys, dir)
	if err != nil {
		return // this folder is never read
	}
	for _, e := range entries {
		if isRecordFile(e.Name()) && !strings.HasPrefix(e.Name(), ".") {
			f.warn(path.Join(dir, e.Name()), "the file is not read: it lies too deep", "records are read from the folder of the books and the folders in it")
		}
	}
}
