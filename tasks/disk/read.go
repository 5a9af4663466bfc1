package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// MaxState is the largest file of the program's own state, in bytes. The
// largest of them, the calendar's revisions of 2,000 enclosures, has a few
// megabytes.
const MaxState = 256 << 20

// ErrNotFile says that a path names a folder, a named pipe, a socket or a
// device instead of a file.
var ErrNotFile = errors.New("it is not a file")

// TooLargeError says that a file is larger than its reader accepts. Nothing of
// the file is used.
type TooLargeError struct{ Most int64 } // bytes

func (e *TooLargeError) Error() string {
	if e.Most < 1<<20 {
		return fmt.Sprintf("it is larger than %d KiB", e.Most>>10)
	}
	return fmt.Sprintf("it is larger than %d MiB", e.Most>>20)
}

// Open opens a regular file for reading, and never waits. A named pipe without
// a writer would block an ordinary open for ever, and a device might never end.
// For anything but a regular file, Open returns an error that matches
// [ErrNotFile]. All reading of files goes through Open, [ReadFile] or [FS].
func Open(path string) (*os.File, error) {
	f, err := openRegular(path, os.O_RDONLY, 0)
	if err != nil {
		return nil, err
	}
	return f, nil
}

// openRegular opens a regular file without waiting. It checks the kind of the file
// twice: before the open, because opening a device may have an effect, and after
// the open, because somebody may have replaced the file meanwhile.
func openRegular(path string, flag int, perm fs.FileMode) (*os.File, error) {
	st, err := os.Stat(path)
	if err == nil && !st.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: ErrNotFile}
	}
	f, err := os.OpenFile(path, flag|syscall.O_NONBLOCK, perm)
	if err != nil {
		return nil, err
	}
	if st, err = f.Stat(); err == nil && !st.Mode().IsRegular() {
		err = &fs.PathError{Op: "open", Path: path, Err: ErrNotFile}
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// ReadFile reads a regular file of at most most bytes. For a larger file it
// returns a [*TooLargeError] in a [*fs.PathError], and reads nothing.
func ReadFile(path string, most int64) ([]byte, error) {
	f, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return readAtMost(f, path, most)
}

func readAtMost(f *os.File, path string, most int64) ([]byte, error) {
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	tooLarge := &fs.PathError{Op: "read", Path: path, Err: &TooLargeError{most}}
	if st.Size() > most {
		return nil, tooLarge
	}
	b := make([]byte, 0, st.Size()+1)
	for {
		n, err := f.Read(b[len(b):cap(b)])
		b = b[:len(b)+n]
		switch {
		case int64(len(b)) > most: // the file grew meanwhile
			return nil, tooLarge
		case err == io.EOF:
			return b, nil
		case err != nil:
			return nil, err
		case len(b) == cap(b):
			b = append(b, 0)[:len(b)]
		}
	}
}

// Unusable reports whether err says that a path cannot be read as a file, because it
// names no regular file ([ErrNotFile]) or a file that is too large.
func Unusable(err error) bool {
	var large *TooLargeError
	return errors.Is(err, ErrNotFile) || errors.As(err, &large)
}

// FS is the folder dir as a file system for reading. It opens only regular
// files and folders, and ReadFile reads at most most bytes, as the function
// [ReadFile] does.
func FS(dir string, most int64) Folder { return Folder{dir, most, os.DirFS(dir)} }

// Folder is the file system that [FS] makes.
type Folder struct {
	dir  string
	most int64
	fsys fs.FS
}

var (
	_ fs.ReadFileFS = Folder{}
	_ fs.ReadDirFS  = Folder{}
	_ fs.StatFS     = Folder{}
)

// Open implements fs.FS.
func (d Folder) Open(name string) (fs.File, error) {
	if st, err := d.Stat(name); err == nil && st.IsDir() {
		return d.fsys.Open(name)
	}
	path, err := d.path("open", name)
	if err != nil {
		return nil, err
	}
	return Open(path)
}

// ReadFile implements fs.ReadFileFS.
func (d Folder) ReadFile(name string) ([]byte, error) {
	path, err := d.path("read", name)
	if err != nil {
		return nil, err
	}
	return ReadFile(path, d.most)
}

// ReadDir implements fs.ReadDirFS.
func (d Folder) ReadDir(name string) ([]fs.DirEntry, error) { return fs.ReadDir(d.fsys, name) }

// Stat implements fs.StatFS.
func (d Folder) Stat(name string) (fs.FileInfo, error) { return fs.Stat(d.fsys, name) }

// Outside reports whether the file is reached through a symbolic link that
// leaves the folder, so that its content is not part of the folder.
func (d Folder) Outside(name string) bool {
	path, err := d.path("stat", name)
	if err != nil {
		return true
	}
	root, err := filepath.EvalSymlinks(d.dir)
	if err != nil {
		return true
	}
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		return true
	}
	// A link can make one of the paths absolute and leave the other relative.
	if root, err = filepath.Abs(root); err != nil {
		return true
	}
	if target, err = filepath.Abs(target); err != nil {
		return true
	}
	inside, err := filepath.Rel(root, target)
	return err != nil || !filepath.IsLocal(inside)
}

func (d Folder) path(op, name string) (string, error) {
	if !fs.ValidPath(name) {
		return "", &fs.PathError{Op: op, Path: name, Err: fs.ErrInvalid}
	}
	return filepath.Join(d.dir, filepath.FromSlash(name)), nil
}
