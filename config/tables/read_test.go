package tables

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"nestround/config/diag"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// problems reads src and hands the file's table to read. It returns the
// reported problems as "line:column: message; hint".
func problems(src string, read func(*Table)) []string {
	var list diag.List
	root := Parse("f.toml", []byte(src), &list)
	read(root)
	list.Sort()
	var all []string
	for _, p := range list {
		s := fmt.Sprintf("%d:%d: %s", p.Line, p.Column, p.Message)
		if p.Hint != "" {
			s += "; " + p.Hint
		}
		all = append(all, s)
	}
	return all
}

func TestWrongValuesAreReportedAtTheirPlace(t *testing.T) {
	type colour string
	for _, c := range []struct {
		name, src string
		read      func(*Table)
		want      string // "" for no problem
	}{
		{"text", `k = "a b"`, func(t *Table) { t.Text("k") }, ""},
		{"a number for text", `k = 3`, func(t *Table) { t.Text("k") }, "1:5: `k` is text, not a whole number; write it in quotes"},
		{"a list for text", `k = ["a"]`, func(t *Table) { t.Text("k") }, "1:5: `k` is text, not a list"},
		{"empty text", `k = " "`, func(t *Table) { t.Text("k") }, "1:5: `k` is empty; leave the key out where there is nothing to say"},
		{"two lines", "k = '''a\nb'''", func(t *Table) { t.Text("k") }, "1:5: `k` is one line of text, not several"},
		{"two lines of prose", "k = '''a\nb'''", func(t *Table) { t.Prose("k") }, ""},
		{"a hidden character", `k = "a\u202eb"`, func(t *Table) { t.Text("k") }, "1:5: `k` has a character that cannot be shown (U+202E); delete it"},
		{"long text", `k = "` + strings.Repeat("ä", 501) + `"`, func(t *Table) { t.Text("k") }, "1:5: `k` is longer than 500 characters"},
		{"whole number", `k = 3`, func(t *Table) { t.Int("k", 1, 3) }, ""},
		{"negative", `k = -1`, func(t *Table) { t.Int("k", 0, 3) }, "1:5: `k` is -1, and must be from 0 to 3"},
		{"too large", `k = 4`, func(t *Table) { t.Int("k", 0, 3) }, "1:5: `k` is 4, and must be from 0 to 3"},
		{"text for a number", `k = "3"`, func(t *Table) { t.Int("k", 0, 3) }, "1:5: `k` is a whole number, not text; write it without quotes"},
		{"a fraction for a whole number", `k = 1.5`, func(t *Table) { t.Int("k", 0, 3) }, "1:5: `k` is a whole number, not a number"},
		{"number", `k = 48.2`, func(t *Table) { t.Number("k", -90, 90) }, ""},
		{"whole number as number", `k = 48`, func(t *Table) { t.Number("k", -90, 90) }, ""},
		{"not a number", `k = nan`, func(t *Table) { t.Number("k", -90, 90) }, "1:5: `k` is NaN, and must be from -90 to 90"},
		{"infinite", `k = inf`, func(t *Table) { t.Number("k", -90, 90) }, "1:5: `k` is +Inf, and must be from -90 to 90"},
		{"true", `k = true`, func(t *Table) { t.Bool("k") }, ""},
		{"yes", `k = "yes"`, func(t *Table) { t.Bool("k") }, "1:5: `k` is true or false, not text; write it without quotes"},
		{"date", `k = 2027-05-12`, func(t *Table) { t.Date("k") }, ""},
		{"a date in quotes", `k = "2027-05-12"`, func(t *Table) { t.Date("k") }, "1:5: `k` is a date, not text; write it without quotes: 2027-05-12"},
		{"a date with a time", `k = 2027-05-12T06:00:00`, func(t *Table) { t.Date("k") }, "1:5: `k` is a date, not a time; leave the time of day out; a date looks like 2027-05-12"},
		{"a time", `k = 06:00:00`, func(t *Table) { t.Date("k") }, "1:5: `k` is a date, not a time; leave the time of day out; a date looks like 2027-05-12"},
		{"a mistyped year", `k = 0207-05-12`, func(t *Table) { t.Date("k") }, "1:5: `k` is in the year 0207; is the year right?"},
		{"one of a few", `k = "red"`, func(t *Table) { Choice[colour](t, "k", "red", "blue") }, ""},
		{"misspelt", `k = "bleu"`, func(t *Table) { Choice[colour](t, "k", "red", "blue") }, "1:5: `k` has the unknown value \"bleu\"; did you mean `blue`?"},
		{"none of them", `k = "green"`, func(t *Table) { Choice[colour](t, "k", "red", "blue") }, "1:5: `k` has the unknown value \"green\"; one of red, blue"},
		{"twice the same", `k = ["red", "red"]`, func(t *Table) { Choices[colour](t, "k", "red", "blue") }, "1:13: `k` has \"red\" twice"},
		{"text for a list", `k = "red"`, func(t *Table) { t.Texts("k") }, "1:5: `k` is a list, not text; write it in brackets, even a single one"},
		{"a number in a list", `k = ["a", 1]`, func(t *Table) { t.Texts("k") }, "1:11: `k` is text, not a whole number; write it in quotes: \"1\""},
		{"a parser's error", `k = "x"`, func(t *Table) { Parsed(t, "k", func(string) (int, error) { return 1, errors.New("no good") }) }, "1:5: `k`: no good"},
		{"a quantity without its unit", `k = 28.5`, func(t *Table) { Parsed(t, "k", husbandry.ParseTemperature) }, "1:5: `k` is text, not a number; write it with its unit in quotes, like \"28.5 C\" or \"28.5 F\""},
		{"days without their unit", `k = 4`, func(t *Table) { Parsed(t, "k", husbandry.ParseDays) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"4 days\" or \"4 weeks\""},
		{"one day", `k = 1`, func(t *Table) { Parsed(t, "k", husbandry.ParseDays) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"1 day\" or \"1 week\""},
		{"a mass", `k = 41`, func(t *Table) { Parsed(t, "k", husbandry.ParseMass) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"41 g\" or \"41 oz\""},
		{"a volume", `k = 60`, func(t *Table) { Parsed(t, "k", husbandry.ParseVolume) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"60 ml\" or \"60 fl oz\""},
		{"a length", `k = 50`, func(t *Table) { Parsed(t, "k", husbandry.ParseLength) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"50 mm\" or \"50 in\""},
		{"a share", `k = 50`, func(t *Table) { Parsed(t, "k", husbandry.ParseShare) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"50 %\""},
		{"hours", `k = 12`, func(t *Table) { Parsed(t, "k", husbandry.ParseHours) }, "1:5: `k` is text, not a whole number; write it with its unit in quotes, like \"12 hours\" or \"12 minutes\""},
		{"a fraction of a day", `k = 4.5`, func(t *Table) { Parsed(t, "k", husbandry.ParseDays) }, "1:5: `k` is text, not a number; \"4.5\" has no unit; want a number of days like \"10 days\" or \"2 weeks\""},
		{"a number that is no quantity", `k = 50`, func(t *Table) { Parsed(t, "k", husbandry.ParsePack) }, "1:5: `k` is text, not a whole number; \"50\" is not a pack like \"box of 50\""},
		{"an amount of food", `k = 6`, func(t *Table) { Parsed(t, "k", husbandry.ParseAmount) }, "1:5: `k` is text, not a whole number; write it in quotes: \"6\""},
		{"a list instead of a table", "[[k]]\n", func(t *Table) { t.Table("k") }, "1:1: `k` is a single table, not a list of tables; write one [k]"},
		{"a table instead of a list", "[k]\n", func(t *Table) { t.Tables("k") }, "1:1: `k` is a list of tables, not a table; write [[k]]"},
		{"a number instead of a table", "k = 1\n", func(t *Table) { t.Table("k") }, "1:5: `k` is a table, not a whole number; write it in braces: { ... }"},
		{"a number in a list of tables", "k = [{}, 1]\n", func(t *Table) { t.Tables("k") }, "1:10: `k` is a list of tables, not a whole number; write it under a header [[k]]"},
		{"unknown key", "name = 1\nnmae = 2\n", func(t *Table) { t.Has("name"); t.Done() }, "2:1: unknown key `nmae`; did you mean `name`?"},
		{"a key that belongs elsewhere", "Mass = 2\n", func(t *Table) { t.Has("was"); t.Elsewhere("say it in a reply", "mass"); t.Done() }, "1:1: unknown key `Mass`; say it in a reply"},
		{"another case", "Name = 1\n", func(t *Table) { t.Text("name"); t.Done() }, "1:1: unknown key `Name`; did you mean `name`?"},
		{"unknown table", "[[animl]]\n", func(t *Table) { t.Tables("animal"); t.Done() }, "1:3: unknown table `animl`; did you mean `animal`?"},
		{"missing", "[t]\n", func(t *Table) { t.Table("t").Missing("`id`", "give one") }, "1:1: [t] has no `id`; give one"},
		{"missing in braces", "t = { }\n", func(t *Table) { t.Table("t").Missing("`id`", "") }, "1:5: `t` has no `id`"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := problems(c.src, c.read)
			switch {
			case c.want == "" && len(got) > 0:
				t.Errorf("got %q, want none", got)
			case c.want != "" && (len(got) != 1 || got[0] != c.want):
				t.Errorf("got  %q\nwant %q", got, c.want)
			}
		})
	}
}

func TestValuesAreRead(t *testing.T) {
	const src = `
text = " padded "
lines = """
one
two
"""
n = 7
x = 2.5
yes = true
day = 2028-02-29
days = [2027-01-01, 2027-12-31]
counts = [1, 2]
words = ["a", "b"]
inner = { k = "v" }
`
	if got := problems(src, func(r *Table) {
		n, _ := r.Int("n", 0, 9)
		x, _ := r.Number("x", 0, 9)
		days, counts, words := r.Dates("days"), r.Ints("counts", 0, 9), r.Texts("words")
		got := fmt.Sprint(r.Text("text"), "|", r.Prose("lines"), "|", n, x, r.Bool("yes"), r.Date("day"), len(days), days[1].Value,
			counts[1].Value, words[1].Value, words[1].Place, r.Table("inner").Text("k"))
		want := fmt.Sprint("padded", "|", "one\ntwo", "|", 7, 2.5, true, civil.MustParse("2028-02-29"), 2, civil.MustParse("2027-12-31"),
			2, "b", "f.toml:13", "v")
		if got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
		r.Done()
	}); len(got) > 0 {
		t.Errorf("problems: %q", got)
	}
}

// An absent table has no keys and reports no problems.
func TestAbsentTable(t *testing.T) {
	var none *Table
	none.Done()
	none.Missing("`id`", "")
	if none.Has("k") || none.Text("k") != "" || none.Table("k") != nil || none.Here() != (Place{}) || none.Refuse("k", "", "") {
		t.Error("an absent table has something")
	}
}

// An unreadable value gives one problem: its key is not also missing or wrong.
func TestOneProblemForOneFault(t *testing.T) {
	got := problems("[[a]]\nid = yes\nn = 10 days\nlist = [1 2\n", func(r *Table) {
		for _, a := range r.Tables("a") {
			if !a.Has("id") {
				a.Missing("`id`", "")
			}
			a.Text("id")
			a.Int("n", 0, 9)
			a.Texts("list")
			a.Missing("`other`", "")
			a.Done()
		}
	})
	if len(got) != 3 {
		t.Errorf("got %q", got)
	}
}
