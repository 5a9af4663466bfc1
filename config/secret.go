package config

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime"
	"strings"

	"nestround/tasks/disk"
)

// Secret says where a password is kept: in a file, or in an environment
// variable. It does not hold the password itself. Only the address of [watch]
// may stand in keeper.toml; then the Secret holds it. A Secret always prints as
// "(secret)", so a log or a dump of the settings reveals nothing. Read fetches
// the password at the moment of use.
type Secret struct {
	file string // path
	env  string // name of the environment variable
	text string // the secret itself
}

// SecretFile returns the secret kept in the file at path.
func SecretFile(path string) Secret { return Secret{file: path} }

// SecretEnv returns the secret kept in the environment variable name.
func SecretEnv(name string) Secret { return Secret{env: name} }

// SecretText returns a secret that stands in keeper.toml.
func SecretText(text string) Secret { return Secret{text: text} }

// IsZero reports whether there is no secret.
func (s Secret) IsZero() bool { return s == Secret{} }

const hidden = "(secret)"

// String returns "(secret)".
func (s Secret) String() string { return hidden }

// Format writes "(secret)" for every verb and flag.
func (s Secret) Format(f fmt.State, _ rune) { io.WriteString(f, hidden) }

// LogValue returns "(secret)".
func (s Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

// MarshalJSON writes "(secret)".
func (s Secret) MarshalJSON() ([]byte, error) { return []byte(`"` + hidden + `"`), nil }

// maxSecret is the size in bytes of the longest secret.
const maxSecret = 4096

// Read returns the password. It rejects a file that everybody on the machine
// may read. It removes one line end from the end of the password. Errors name
// the file or the variable, never the password. The zero Secret reads as "".
func (s Secret) Read() (string, error) {
	var content, where string
	switch {
	case s.IsZero():
		return "", nil
	case s.text != "":
		where, content = "keeper.toml", s.text
	case s.env != "":
		where = "environment variable " + s.env
		value, ok := os.LookupEnv(s.env)
		if !ok {
			return "", fmt.Errorf("read password: %s is not set", where)
		}
		content = value
	default:
		where = fmt.Sprintf("password file %q", s.file)
		value, err := readPrivate(s.file)
		if err != nil {
			return "", fmt.Errorf("read %s: %w", where, err)
		}
		content = value
	}
	content = strings.TrimSuffix(strings.TrimSuffix(content, "\n"), "\r")
	switch {
	case content == "":
		return "", fmt.Errorf("read password: %s is empty", where)
	case len(content) > maxSecret:
		return "", fmt.Errorf("read password: %s is longer than %d bytes", where, maxSecret)
	case strings.ContainsAny(content, "\r\n\x00"):
		return "", fmt.Errorf("read password: %s has more than one line; it must hold the password alone", where)
	}
	return content, nil
}

func readPrivate(path string) (string, error) {
	f, err := disk.Open(path)
	if err != nil {
		return "", withoutPath(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", withoutPath(err)
	}
	// Windows has no permission bits for other users, and Go makes up the bits
	// there.
	if info.Mode().Perm()&0o007 != 0 && runtime.GOOS != "windows" {
		return "", fmt.Errorf("everybody on this machine may read it; run: chmod 600 %s", path)
	}
	content, err := io.ReadAll(io.LimitReader(f, maxSecret+3))
	if err != nil {
		return "", withoutPath(err)
	}
	return string(content), nil
}

// withoutPath returns the cause of a file error without the path, because the
// caller adds the path.
func withoutPath(err error) error {
	if path, ok := errors.AsType[*os.PathError](err); ok {
		return path.Err
	}
	return err
}
