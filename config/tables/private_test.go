package tables

import (
	"testing"

	"nestround/config/diag"
)

// A private file has one line for its problems, and an error behind a warning
// still makes the books unusable.
func TestAnErrorBehindAWarningInAPrivateFile(t *testing.T) {
	var list diag.List
	root := NewBatch(&list).Parse("x.toml", []byte("a = 1\nb = 2\nc = 3\n"), true)
	root.KeyPlace("a").Warn("odd", "")
	root.KeyPlace("b").Error("wrong", "")
	root.KeyPlace("c").Error("wrong too", "")
	if len(list) != 2 || !list.HasErrors() {
		t.Errorf("got %v", list)
	}
}
