package books

import (
	"testing"

	"nestround/tasks/finding"
)

// TestVerbsAsIDs checks that no record has a verb as its id if replies had that
// verb from the first version. Later verbs are allowed as ids, because existing
// books may use them.
func TestVerbsAsIDs(t *testing.T) {
	for i := range finding.All {
		row := &finding.All[i]
		for _, v := range row.Verbs {
			_, err := checkID(v.Word)
			if refused := row.Since <= finding.FirstVersion; refused != (err != nil) {
				t.Errorf("the id %q: %v", v.Word, err)
			}
		}
	}
	if _, err := checkID("shed"); err != nil {
		t.Error(err)
	}
}
