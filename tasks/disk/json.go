package disk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// CorruptError says that a file of the program's own state is not what the
// program wrote.
type CorruptError struct {
	Path  string
	Aside string // where it was put; "" when it is still in its place
	Err   error  // what is wrong with it
}

func (e *CorruptError) Error() string {
	s := fmt.Sprintf("%q cannot be read (%v) and is not used", e.Path, e.Err)
	if e.Aside != "" {
		s += fmt.Sprintf("; it was set aside as %q", e.Aside)
	}
	return s
}

func (e *CorruptError) Unwrap() error { return e.Err }

// ReadJSON reads what [Files.WriteJSON] wrote, and changes nothing. A file
// that is missing gives the zero T and no error; one that does not parse, the
// zero T and a [*CorruptError].
func ReadJSON[T any](path string) (T, error) {
	var v, zero T
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return zero, nil
	}
	if err != nil {
		return zero, fmt.Errorf("read %q: %w", path, err)
	}
	if err := json.Unmarshal(b, &v); err != nil {
		return zero, &CorruptError{Path: path, Err: err}
	}
	return v, nil
}

// LoadJSON is [ReadJSON] for the one who writes the file: a file that does not
// parse is set aside, named in the report, and the caller goes on with the
// zero T. Only err is a reason to stop.
func LoadJSON[T any](f Files, path string) (v T, report *CorruptError, err error) {
	v, err = ReadJSON[T](path)
	if !errors.As(err, &report) {
		return v, nil, err
	}
	report.Aside, err = f.SetAside(path, "corrupt")
	return v, report, err
}

// WriteJSON stores v at path, indented, for the owner's eyes only: state holds
// the tokens that replies are known by.
func (f Files) WriteJSON(path string, v any) error {
	b, err := json.MarshalIndent(v, "", "\t")
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	return f.WriteFile(path, append(b, '\n'), 0o600)
}
