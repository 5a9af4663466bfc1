package disk

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
)

// CorruptError says that a state file does not have the form that the program
// writes.
type CorruptError struct {
	Path  string
	Aside string // new name of the file if it was set aside; "" if it was not
	Err   error  // the error in the file
}

func (e *CorruptError) Error() string {
	s := fmt.Sprintf("%q cannot be read (%v) and is not used", e.Path, e.Err)
	if e.Aside != "" {
		s += fmt.Sprintf("; it was set aside as %q", e.Aside)
	}
	return s
}

func (e *CorruptError) Unwrap() error { return e.Err }

// ReadJSON reads a file of [Files.WriteJSON], and changes nothing. It returns
// the zero T and no error for a missing file, and the zero T and a
// [*CorruptError] for a file that does not parse, that is larger than
// [MaxState], or that is no regular file.
func ReadJSON[T any](path string) (T, error) {
	var v, zero T
	b, err := ReadFile(path, MaxState)
	if errors.Is(err, fs.ErrNotExist) {
		return zero, nil
	}
	if Unusable(err) {
		return zero, &CorruptError{Path: path, Err: errors.Unwrap(err)}
	}
	if err != nil {
		return zero, fmt.Errorf("read %q: %w", path, err)
	}
	if err := json.Unmarshal(b, &v); err != nil {
		return zero, &CorruptError{Path: path, Err: err}
	}
	return v, nil
}

// LoadJSON is [ReadJSON] for the program that writes the file. If a file does
// not parse, LoadJSON sets the file aside and names it in the report, and the
// caller continues with the zero T. Stop only if err is not nil.
func LoadJSON[T any](f Files, path string) (v T, report *CorruptError, err error) {
	v, err = ReadJSON[T](path)
	if !errors.As(err, &report) {
		return v, nil, err
	}
	report.Aside, err = f.SetAside(path, "corrupt")
	return v, report, err
}

// WriteJSON stores v at path, indented, readable by the owner only: state
// contains the secret tokens that identify replies.
func (f Files) WriteJSON(path string, v any) error {
	b, err := json.MarshalIndent(v, "", "\t")
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	return f.WriteFile(path, append(b, '\n'), 0o600)
}
