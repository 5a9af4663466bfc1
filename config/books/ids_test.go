package books

import (
	"testing"

	"nestround/tasks/finding"
)

// TestVerbsAsIDs: no record is named as a verb that replies always had. A verb
// that came later forbids no id that books may have already.
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
