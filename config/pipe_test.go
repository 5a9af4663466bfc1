//go:build unix

package config

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A named pipe in the place of a password file must not make Read wait for a
// writer.
func TestReadRejectsPipeAsPasswordFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mail")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := SecretFile(path).Read(); err == nil || !strings.Contains(err.Error(), "it is not a file") {
		t.Errorf("got %v", err)
	}
}
