package diag_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"nestround/config/diag"
)

func TestCaretPointsAtPlace(t *testing.T) {
	for _, c := range []struct {
		name   string
		source string
		column int
		want   string // the two lines below the message
	}{
		{"first column", `incubater = "I1"`, 1, "    incubater = \"I1\"\n    ^\n"},
		{"in the middle", `sex = "femal"`, 7, "    sex = \"femal\"\n          ^\n"},
		{"tabs stay tabs", "\t\tsex = 3", 9, "    \t\tsex = 3\n    \t\t      ^\n"},
		// 守宮 is two wide characters (W in EastAsianWidth.txt).
		{"wide characters take two columns", "name = \"守宮\" x", 13, "    name = \"守宮\" x\n                  ^\n"},
		// U+0308 combines with the letter before it.
		{"combining marks take none", "a = \"u\u0308\" x", 10, "    a = \"u\u0308\" x\n            ^\n"},
		{"after the end of the line", "id =", 5, "    id =\n        ^\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := diag.Problem{File: "a.toml", Line: 1, Column: c.column, Message: "m", Source: c.source}
			_, below, _ := strings.Cut(p.String(), "\n")
			if below != c.want {
				t.Errorf("got\n%s\nwant\n%s", below, c.want)
			}
		})
	}
}

func TestLongLineIsCutAroundCaret(t *testing.T) {
	line := strings.Repeat("x", 300) + "!" + strings.Repeat("y", 300)
	p := diag.Problem{File: "a.toml", Line: 1, Column: 301, Message: "m", Source: line}
	lines := strings.Split(p.String(), "\n")
	shown, caret := []rune(lines[1]), []rune(lines[2])
	if len(shown) > 140 {
		t.Errorf("%d characters are shown", len(shown))
	}
	if at := slices.Index(caret, '^'); shown[at] != '!' {
		t.Errorf("the caret is under %q:\n%s\n%s", shown[at], lines[1], lines[2])
	}
}

func TestControlCharactersAreNotPrinted(t *testing.T) {
	// An escape sequence, a right-to-left override (U+202E) and a broken byte.
	p := diag.Problem{File: "a\x1b[2J.toml", Message: "m\u202e", Source: "x = \x1b[31m \xff"}
	if s := p.String(); strings.ContainsAny(s, "\x1b\u202e") || strings.Contains(s, "\xff") {
		t.Errorf("printed %q", s)
	}
}

func TestNoCaretWithoutSource(t *testing.T) {
	p := diag.Problem{File: "keeper.toml", Line: 3, Column: 1, Severity: diag.Warning, Message: "odd", Hint: "mend it"}
	if got, want := p.String(), "keeper.toml:3:1: warning: odd\n    mend it\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestJSONShape(t *testing.T) {
	p := diag.Problem{File: "a.toml", Line: 2, Column: 3, Severity: diag.Error, Message: "m", Hint: "h", Source: "password = x"}
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := string(b), `{"file":"a.toml","line":2,"column":3,"severity":"error","message":"m","hint":"h"}`; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestSortKeepsCausesBeforeConsequences(t *testing.T) {
	l := diag.List{
		{File: "b", Line: 1, Message: "4"},
		{File: "a", Line: 2, Column: 5, Message: "2"},
		{File: "a", Line: 2, Column: 5, Message: "3"},
		{File: "a", Line: 2, Column: 1, Message: "1"},
	}
	l.Sort()
	var order string
	for _, p := range l {
		order += p.Message
	}
	if order != "1234" {
		t.Errorf("order is %s", order)
	}
}

func TestHasErrorsIgnoresWarnings(t *testing.T) {
	l := diag.List{{Severity: diag.Warning}}
	if l.HasErrors() {
		t.Error("a warning counts as an error")
	}
	if l = append(l, diag.Problem{Severity: diag.Error}); !l.HasErrors() {
		t.Error("an error does not count")
	}
}

func TestDidYouMean(t *testing.T) {
	keys := []string{"id", "name", "species", "sex", "count", "enclosure", "hatched", "acquired", "left", "mother", "father", "incubator", "temperature", "nest_box"}
	for _, c := range []struct {
		name, got  string
		candidates []string
		want       string
	}{
		{"one letter off", "incubater", keys, "did you mean `incubator`?"},
		{"a letter missing", "enclosur", keys, "did you mean `enclosure`?"},
		{"two letters swapped", "speceis", keys, "did you mean `species`?"},
		{"case", "Species", keys, "did you mean `species`?"},
		{"another separator", "nest-box", keys, "did you mean `nest_box`?"},
		{"written together", "nestbox", keys, "did you mean `nest_box`?"},
		{"another breeder's word", "sire", keys, "did you mean `father`?"},
		{"another word for a place", "tank", keys, "did you mean `enclosure`?"},
		{"abbreviated", "temp", keys, "did you mean `temperature`?"},
		{"a leading zero", "E7", []string{"E01", "E07", "E70"}, "did you mean `E07`?"},
		{"two equally near", "rom", []string{"room", "from", "rack"}, "did you mean `room` or `from`?"},
		{"nothing near", "colour", keys, ""},
		{"too many equally near", "E99", []string{"E09", "E19", "E29", "E39"}, ""},
		{"an empty word", "", keys, ""},
		{"no candidates", "x", nil, ""},
		{"a short word far from all", "ab", []string{"cd"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := diag.DidYouMean(c.got, c.candidates); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func BenchmarkSuggestAmongThousands(b *testing.B) {
	var ids []string
	for i := range 6000 {
		ids = append(ids, "animal-"+string(rune('a'+i%26))+strings.Repeat("x", i%7))
	}
	for b.Loop() {
		diag.Suggest("anmial-qxx", ids)
	}
}

// Common words for a key are found in any spelling.
func TestCommonMixUps(t *testing.T) {
	for got, want := range map[string]string{"Valid-Until": "expires", "valid_until": "expires", "DOB": "hatched", "hatch_date": "hatched"} {
		if s := diag.Suggest(got, []string{"expires", "hatched", "until"}); len(s) != 1 || s[0] != want {
			t.Errorf("%s: %v, want %s", got, s, want)
		}
	}
}
