package reply

import (
	"testing"

	"nestround/tasks/finding"
)

// A line with a number and a word that is nearly a finding is a slip: it is
// answered. The same line with another word is prose.
func TestWordsThatAreNearlyFindingsAreAnswered(t *testing.T) {
	for _, word := range []string{
		"lay", "lays", "eggs", "slug", "hatch", "weigh", "weight", "g", "oz", "add", "ml", "sheds", "shedding",
		"skips", "put", "postpone", "tomorrow", "finished", "but", "except", "excepting",
	} {
		if p := Parse("7 "+word+" 4", theBooks); len(p.Refused) != 1 || len(p.Commands) > 0 {
			t.Errorf("%q: %+v, want it refused", "7 "+word+" 4", p)
		}
	}
	if p := Parse("7 people 4", theBooks); len(p.Unread) != 1 || len(p.Refused)+len(p.Commands) > 0 {
		t.Errorf("prose: %+v", p)
	}
}

// A verb is a complete finding where the grammar reads it so after a number, and
// does not read on: "7 ill limping" is a finding with a remark.
func TestVerbsThatAreCompleteFindings(t *testing.T) {
	understood := func(text string) bool { return len(Parse(text, theBooks).Commands) == 1 }
	for i := range finding.All {
		for _, v := range finding.All[i].Verbs {
			got := understood("7 "+v.Word) && !understood("7 "+v.Word+" limping")
			if got != finding.IsComplete(v.Word) {
				t.Errorf("%q is a complete finding: %v, want %v", v.Word, finding.IsComplete(v.Word), got)
			}
		}
	}
}
