package finding

import (
	"slices"
	"strings"
	"testing"

	"nestround/tasks/husbandry"
)

func TestReadsAsCommand(t *testing.T) {
	for line, want := range map[string]bool{
		"done 1 3": true, "All of them": true, "skip: rain": true, "Note the lamps": true, "Laid eggs": true, "weighs": true, "Digging, again": true, "Ill?": false,
		"7 crickets": true, "#3": true, "> quoted": true, "Ok.": true, "none": true, "": true,
		"Look at E07": false, "Not today": false, "Isn't it": false, "Weigh her": false, "Clutch 7 laid 6": false, "Eggs": false, "donec": false, "Shed check": false,
	} {
		if got := ReadsAsCommand(line); got != want {
			t.Errorf("%q reads as a command: %v", line, got)
		}
	}
	for i := range All {
		for _, v := range All[i].Verbs {
			if got := ReadsAsCommand(v.Word + " " + v.Example); got != (!v.Denies && All[i].Since <= FirstVersion) {
				t.Errorf("%q reads as a command: %v", v.Word, got)
			}
		}
	}
}

// TestWordsOfRows: every verb is one word in lower case, no other row and no
// command has the same verb, and no hint contains a verb.
func TestWordsOfRows(t *testing.T) {
	seen := make(map[string]husbandry.FindingName)
	for i := range All {
		r := &All[i]
		if (len(r.Verbs) > 0) != (r.Read != nil) {
			t.Errorf("%s has %d verbs, and a reader: %v", r.Name, len(r.Verbs), r.Read != nil)
		}
		for _, v := range r.Verbs {
			if other, ok := seen[v.Word]; ok || IsCommand(v.Word) || v.Word != strings.ToLower(v.Word) {
				t.Errorf("the verb %q of %s is one of %s, or another command", v.Word, r.Name, other)
			}
			seen[v.Word] = r.Name
		}
	}
	for i := range All {
		for _, hint := range []string{All[i].Record, All[i].Sitter} {
			if w := strings.Fields(hint); slices.ContainsFunc(w, func(w string) bool { return IsVerb(w) && !hasEggs(w) }) {
				t.Errorf("%s: the hint %q has a verb in it", All[i].Name, hint)
			}
		}
	}
}

// hasEggs reports whether a verb is "slugs", for which there is no other word:
// a dud egg is a slug.
func hasEggs(word string) bool { return word == "slugs" }

func TestHints(t *testing.T) {
	asks := []husbandry.FindingName{husbandry.FindAdded, husbandry.FindWeighs, "no such finding"}
	if got := ToRecord(asks); !slices.Equal(got, []string{"the water", "the weight"}) {
		t.Errorf("to record: %q", got)
	}
	if got := ForSitter(asks); !slices.Equal(got, []string{"how much water"}) {
		t.Errorf("for a stand-in: %q", got)
	}
	for _, k := range husbandry.Kinds() {
		if len(ToRecord(k.Asks())) != len(k.Asks()) {
			t.Errorf("tasks of kind %s ask for %v, told as %q", k, k.Asks(), ToRecord(k.Asks()))
		}
	}
}
