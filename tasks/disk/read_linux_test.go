package disk

import (
	"strings"
	"testing"
)

// Files below /proc have the size 0 and content.
func TestReadFileWithoutSize(t *testing.T) {
	const path = "/proc/self/status"
	if b, err := ReadFile(path, 1<<20); err != nil || !strings.Contains(string(b), "Name:") {
		t.Errorf("%q, %v", b, err)
	}
	if _, err := ReadFile(path, 100); !Unusable(err) {
		t.Errorf("read beyond the limit: %v", err)
	}
}
