package books

import (
	"fmt"
	"strings"
	"testing"

	"nestround/config/diag"
)

// herd writes animals in one enclosure, each given as "id sex mother father".
func herd(lines ...string) string {
	var b strings.Builder
	b.WriteString("[[room]]\nid = \"R\"\n[[enclosure]]\nid = \"E1\"\nroom = \"R\"\n")
	for _, l := range lines {
		f := strings.Fields(l)
		fmt.Fprintf(&b, "[[animal]]\nid = %q\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nsex = %q\n", f[0], f[1])
		for i, key := range []string{"mother", "father"} {
			if len(f) > 2+i && f[2+i] != "-" {
				fmt.Fprintf(&b, "%s = %q\n", key, f[2+i])
			}
		}
	}
	return b.String()
}

func pair(male, female, more string) string {
	return fmt.Sprintf("[[pairing]]\nid = \"P1\"\nmale = %q\nfemale = %q\n%s", male, female, more)
}

// Each case is books with one warning at the pairing, or none.
func TestPairingsOfKin(t *testing.T) {
	const founders = "A female"
	for _, c := range []struct {
		words    string
		settings string
		src      string
		want     string // the message; "" for no warning
		hint     string
	}{
		{"strangers", "", herd("F1 female", "M1 male") + pair("M1", "F1", ""), "", ""},
		{"brother and sister", "", herd(founders, "B male", "F1 female A B", "M1 male A B") + pair("M1", "F1", ""),
			"offspring of F1 and M1 would have an inbreeding coefficient of at least 0.25: full siblings (parents A and B)", "above the `kinship_limit` of 0.125"},
		{"father and daughter, long ago", "", herd("M1 male", "F1 female - M1") + pair("M1", "F1", "from = 2026-04-01\nuntil = 2026-04-03\n"),
			"offspring of F1 and M1 have an inbreeding coefficient of at least 0.25: M1 is the father of F1", "above the `kinship_limit`"},
		{"half siblings, as close as the limit", "", herd(founders, "F1 female A", "M1 male A") + pair("M1", "F1", ""),
			"offspring of F1 and M1 would have an inbreeding coefficient of at least 0.125: half siblings (common parent A)", "above `kinship_warn`, 0.0625, and within the `kinship_limit` of 0.125"},
		{"half siblings of a careful keeper", "kinship_limit = 0.1\n", herd(founders, "F1 female A", "M1 male A") + pair("M1", "F1", ""),
			"offspring of F1 and M1 would have an inbreeding coefficient of at least 0.125: half siblings (common parent A)", "above the `kinship_limit` of 0.1"},
		{"half siblings of a permissive keeper", "kinship_limit = 0.25\nkinship_warn = 0.125\n", herd(founders, "F1 female A", "M1 male A") + pair("M1", "F1", ""), "", ""},
		{"first cousins give no warning", "", herd(founders, "B male", "C female A B", "D male A B", "F1 female C", "M1 male - D") + pair("M1", "F1", ""), "", ""},
		{"through a group", "", herd("G unsexed", "F1 female G", "M1 male G") + pair("M1", "F1", ""),
			"offspring of F1 and M1 would have an inbreeding coefficient of at least 0.125: half siblings (common parent G)", "above `kinship_warn`"},
		{"of two species, reported once", "", strings.Replace(herd("M1 male", "F1 female - M1"), "test-gecko", "other-gecko", 1) + pair("M1", "F1", ""),
			"`M1` is other-gecko and `F1` is test-gecko", ""},
	} {
		t.Run(c.words, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n[breeding]\n"+c.settings, "records.toml", c.src)
			switch {
			case c.want == "" && len(list) > 0:
				t.Errorf("got %v", list)
			case c.want != "" && (len(list) != 1 || list[0].Message != c.want || !strings.Contains(list[0].Hint, c.hint)):
				t.Errorf("got %v, want %s", list, c.want)
			case c.want != "" && c.hint != "" && (list[0].Severity != diag.Warning || !strings.HasPrefix(lineOf(c.src, list[0].Line), "[[pairing]]")):
				t.Errorf("the warning is %v", list[0])
			}
		})
	}
	t.Run("through a group, counted", func(t *testing.T) {
		src := strings.Replace(herd("G unsexed", "F1 female G", "M1 male G"), "\"unsexed\"\n", "\"unsexed\"\ncount = 4\n", 1) + pair("M1", "F1", "")
		_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", src)
		if len(list) != 1 || !strings.HasSuffix(list[0].Message, "coefficient of about 0.125: half siblings (common parent G), with the group G taken as one animal") {
			t.Errorf("got %v", list)
		}
	})
}

func lineOf(src string, n int) string { return strings.Split(src, "\n")[n-1] }

// Every loop is reported with its place and its animals. No pairing is judged
// by a pedigree with loops.
func TestLoopsInThePedigree(t *testing.T) {
	src := herd("X male X2", "A female B", "B unsexed - C", "C male A", "X2 unsexed X3", "X3 unsexed - X") + pair("C", "A", "")
	_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", src)
	var got []string
	for _, p := range list {
		got = append(got, fmt.Sprintf("%s:%d:%d: %v: %s", p.File, p.Line, p.Column, p.Severity, p.Message)+" at "+lineOf(src, p.Line))
	}
	want := []string{
		"records.toml:11:10: error: `X` is its own ancestor: X, child of X2, child of X3, child of X at mother = \"X2\"",
		"records.toml:17:10: error: `A` is its own ancestor: A, child of B, child of C, child of A at mother = \"B\"",
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}
