//go:build unix

package books_test

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"nestround/config/books"
)

// A named pipe in the place of a record file must not make Load wait for a
// writer.
func TestLoadRejectsPipeAsRecordFile(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mkfifo(filepath.Join(dir, "animals.toml"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, records, problems := books.Load(dir)
	if records != nil || !strings.Contains(problems[0].String(), "animals.toml:1:1: cannot be read: it is not a file") {
		t.Errorf("problems: %v", problems)
	}
}
