//go:build unix

package config

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A pipe by the name of a password file is no reason to wait for a writer.
func TestAPipeIsNoPasswordFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mail")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := SecretFile(path).Read(); err == nil || !strings.Contains(err.Error(), "it is not a file") {
		t.Errorf("got %v", err)
	}
}
