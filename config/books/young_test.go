package books

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"nestround/config/diag"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// A pair, its clutch, and the group that hatched from the clutch.
const family = place + `
[[enclosure]]
id = "E2"
room = "A"
[[animal]]
id = "M"
species = "test-gecko"
sex = "male"
enclosure = "E1"
[[animal]]
id = "F"
species = "test-gecko"
sex = "female"
enclosure = "E1"
[[pairing]]
id = "P"
male = "M"
female = "F"
from = 2027-02-01
until = 2027-02-05
[[clutch]]
id = "K"
mother = "F"
laid = 2027-03-01
temperature = "28 C"
[[animal]]
id = "G"
clutch = "K"
enclosure = "E2"
hatched = 2027-04-20
count = 4
`

func TestYoungInheritFromGroupAndClutch(t *testing.T) {
	day := civil.MustParse
	v := clean(t, family+`
[[animal]]
id = "Y1"
from = "G"
since = 2027-07-01
sex = "female"
enclosure = "E1"
[[animal]]
id = "Y2"
from = "G"
since = 2027-07-02
count = 2
[[animal]]
id = "Y3"
from = "Y2"
since = 2027-08-01
[[animal]]
id = "Y4"
clutch = "F-2027-04-02"
enclosure = "E2"
`)
	for _, want := range []husbandry.Animal{
		{ID: "G", Species: "test-gecko", Sex: husbandry.Unsexed, Count: 4, Enclosure: "E2", Hatched: day("2027-04-20"), Clutch: "K", Mother: "F", Father: "M"},
		{ID: "Y1", Species: "test-gecko", Sex: husbandry.Female, Count: 1, Enclosure: "E1", Hatched: day("2027-04-20"), From: "G", Since: day("2027-07-01"), Clutch: "K", Mother: "F", Father: "M", Was: []husbandry.Home{{Enclosure: "E2", Until: day("2027-06-30")}}},
		{ID: "Y2", Species: "test-gecko", Sex: husbandry.Unsexed, Count: 2, Enclosure: "E2", Hatched: day("2027-04-20"), From: "G", Since: day("2027-07-02"), Clutch: "K", Mother: "F", Father: "M", Was: []husbandry.Home{{Enclosure: "E2", Until: day("2027-07-01")}}},
		{ID: "Y3", Species: "test-gecko", Sex: husbandry.Unsexed, Count: 1, Enclosure: "E2", Hatched: day("2027-04-20"), From: "Y2", Since: day("2027-08-01"), Clutch: "K", Mother: "F", Father: "M", Was: []husbandry.Home{{Enclosure: "E2", Until: day("2027-07-01")}, {Enclosure: "E2", Until: day("2027-07-31")}}},
		// The id of a clutch from the daybook names its mother.
		{ID: "Y4", Species: "test-gecko", Sex: husbandry.Unsexed, Count: 1, Enclosure: "E2", Clutch: "F-2027-04-02", Mother: "F", Father: "M"},
	} {
		i := slices.IndexFunc(v.Animals, func(a husbandry.Animal) bool { return a.ID == want.ID })
		if !reflect.DeepEqual(v.Animals[i], want) {
			t.Errorf("got  %+v\nwant %+v", v.Animals[i], want)
		}
	}
}

// A part of a clutch has its mother and day from the clutch, or from the id of a
// clutch that only the daybook has. Its young are the young of the clutch.
func TestPartOfClutch(t *testing.T) {
	day := civil.MustParse
	part := func(of string) string {
		return fmt.Sprintf("[[clutch]]\nid = \"B\"\npart_of = %q\neggs = 2\ntemperature = \"28 C\"\n[[animal]]\nid = \"Y\"\nclutch = \"B\"\nenclosure = \"E2\"\n", of)
	}
	for _, c := range []struct {
		of             string
		mother, father husbandry.ID
		laid           civil.Date // zero: the plan takes it from the clutch
	}{
		{"K", "F", "M", civil.Date{}},
		{"F-2027-04-02", "F", "M", day("2027-04-02")},
		{"E1-2027-04-02", "", "", day("2027-04-02")},
	} {
		v := clean(t, family+part(c.of))
		b := v.Clutches[slices.IndexFunc(v.Clutches, func(k husbandry.Clutch) bool { return k.ID == "B" })]
		y := v.Animals[slices.IndexFunc(v.Animals, func(a husbandry.Animal) bool { return a.ID == "Y" })]
		if y.Species != "test-gecko" || y.Mother != c.mother || y.Father != c.father {
			t.Errorf("of %s: %+v", c.of, y)
		}
		if b.Laid != c.laid || !c.laid.IsZero() && (b.LaidFrom != c.laid || b.Mother != c.mother || b.Species != "test-gecko") {
			t.Errorf("of %s: %+v", c.of, b)
		}
	}
}

func TestFatherOfClutch(t *testing.T) {
	pairing := func(id, male, from, until string) string {
		s := fmt.Sprintf("[[pairing]]\nid = %q\nmale = %q\nfemale = \"F\"\nfrom = %s\n", id, male, from)
		if until != "" {
			s += "until = " + until + "\n"
		}
		return s
	}
	other := "[[animal]]\nid = \"M2\"\nspecies = \"test-gecko\"\nsex = \"male\"\nenclosure = \"E1\"\n"
	for _, c := range []struct {
		words, more string
		want        husbandry.ID
	}{
		{"the only male she was with", "", "M"},
		{"with him twice", pairing("P2", "M", "2027-02-20", ""), "M"},
		{"with two males: nobody knows", other + pairing("P2", "M2", "2027-02-20", "2027-02-21"), ""},
		{"the other one after she laid", other + pairing("P2", "M2", "2027-03-02", ""), "M"},
		{"the other one two years before", other + pairing("P2", "M2", "2025-01-01", "2025-02-01"), "M"},
		{"the other one since two years before", other + pairing("P2", "M2", "2025-01-01", ""), ""},
	} {
		v := clean(t, family+c.more)
		i := slices.IndexFunc(v.Animals, func(a husbandry.Animal) bool { return a.ID == "G" })
		if got := v.Animals[i].Father; got != c.want {
			t.Errorf("%s: the father is %q, want %q", c.words, got, c.want)
		}
	}
}

func TestProblemsOfYoung(t *testing.T) {
	young := func(id, more string) string {
		return fmt.Sprintf("[[animal]]\nid = %q\nfrom = \"G\"\nsince = 2027-07-01\n%s\n", id, more)
	}
	for _, c := range []struct {
		words, src, want string
		warning          bool
	}{
		{words: "all four taken out", src: young("Y1", "count = 3") + young("Y2", "")},
		{words: "five taken out of four", src: young("Y1", "count = 3") + young("Y2", "count = 2"),
			want: "records.toml:44:8: `G` had 4 animals, and with this record 5 have been taken out of it"},
		{words: "taken out on no day", src: "[[animal]]\nid = \"Y1\"\nfrom = \"G\"\n", want: "[[animal]] has no `since`"},
		{words: "since without a group", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nsince = 2027-07-01\n", want: "`since` is only for"},
		{words: "out of one animal", src: "[[animal]]\nid = \"Y1\"\nfrom = \"F\"\nsince = 2027-07-01\n", want: "`F` is one animal, not a group"},
		{words: "before the group hatched", src: "[[animal]]\nid = \"Y1\"\nfrom = \"G\"\nsince = 2027-04-19\n", want: "taken out (2027-04-19) before the group `G` hatched"},
		{words: "out of itself", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nfrom = \"Y1\"\nsince = 2027-04-19\ncount = 2\n", want: "`Y1` comes from itself"},
		{words: "of another species", src: young("Y1", "species = \"other-gecko\""), want: "`Y1` is other-gecko, and the group `G` it comes from is test-gecko"},
		{words: "sold before it was taken out", src: young("Y1", "left = 2027-06-01"), want: "`left` (2027-06-01) is before `since` (2027-07-01)"},
		{words: "out of a group that is unknown", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nfrom = \"H\"\nsince = 2027-04-19\n", want: "unknown animal `H`"},
		{words: "an unknown clutch", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nclutch = \"K9\"\n", want: "unknown clutch `K9`"},
		{words: "a found clutch of an unknown animal", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nclutch = \"F9-2027-04-02\"\n", want: "unknown clutch `F9-2027-04-02`"},
		{words: "a found clutch with an impossible day", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nclutch = \"F-2027-04-31\"\n", want: "unknown clutch `F-2027-04-31`"},
		{words: "a clutch found in an enclosure has the species that lives there", src: "[[animal]]\nid = \"Y1\"\nenclosure = \"E2\"\nclutch = \"E1-2027-04-02\"\n"},
		{words: "young that stay in the enclosure of their clutch", src: "[[animal]]\nid = \"Y1\"\nenclosure = \"E1\"\nclutch = \"E1-2027-04-02\"\n"},
		{words: "a clutch found where two species live has no species",
			src:  "[[animal]]\nid = \"X\"\nspecies = \"other-gecko\"\nenclosure = \"E1\"\n[[animal]]\nid = \"Y1\"\nenclosure = \"E2\"\nclutch = \"E1-2027-04-02\"\n",
			want: "[[animal]] has no `species`"},
		{words: "an animal that came later did not lay the clutch",
			src: "[[animal]]\nid = \"X\"\nspecies = \"other-gecko\"\nenclosure = \"E1\"\nacquired = 2027-05-01\n[[animal]]\nid = \"Y1\"\nenclosure = \"E2\"\nclutch = \"E1-2027-04-02\"\n"},
		{words: "an animal that had left did not lay the clutch", src: "[[animal]]\nid = \"X\"\nspecies = \"other-gecko\"\nenclosure = \"E1\"\nleft = 2027-03-01\n[[animal]]\nid = \"Y1\"\nenclosure = \"E2\"\nclutch = \"E1-2027-04-02\"\n"},
		{words: "a clutch found in an empty enclosure has no species", src: "[[animal]]\nid = \"Y1\"\nenclosure = \"E1\"\nclutch = \"E2-2027-02-02\"\n", want: "[[animal]] has no `species`"},
		{words: "the clutch is another mother's", src: "[[animal]]\nid = \"Y1\"\nenclosure = \"E1\"\nclutch = \"K\"\nmother = \"G\"\n", want: "of the mother `F`, not of `G`"},
		{words: "hatched before its clutch was laid", src: "[[animal]]\nid = \"Y1\"\nenclosure = \"E1\"\nclutch = \"K\"\nhatched = 2027-02-01\n", want: "its clutch `K` was laid later"},
		{words: "an animal that laid the clutch it hatched from",
			src:  "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nclutch = \"K2\"\n[[clutch]]\nid = \"K2\"\nmother = \"Y1\"\nlaid = 2027-03-01\ntemperature = \"28 C\"\n",
			want: "`Y1` is its own ancestor: Y1, child of Y1"},

		{words: "quarantine of two months", src: young("Y1", "quarantine = \"60 days\"")},
		{words: "a quarantine of one day is short", src: young("Y1", "quarantine = \"1 day\""), want: "a quarantine of 1 day is short", warning: true},
		{words: "a quarantine of one week is short", src: young("Y1", "quarantine = \"7 days\""), want: "a quarantine of 7 days is short", warning: true},
		{words: "quarantine until a day", src: young("Y1", "quarantine = 2027-08-15")},
		{words: "young of a group in quarantine", src: "[[animal]]\nid = \"B\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\ncount = 2\nacquired = 2027-06-01\nquarantine = true\n[[animal]]\nid = \"B1\"\nfrom = \"B\"\nsince = 2027-06-10\n"},
		{words: "quarantine until a day before it came", src: young("Y1", "quarantine = 2027-06-15"), want: "`quarantine` (2027-06-15) is not within a year after `since` (2027-07-01)"},
		{words: "quarantine of an animal that came on no day", src: "[[animal]]\nid = \"Y1\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nquarantine = true\n", want: "[[animal]] has no `acquired`"},
		{words: "paired in quarantine", src: "[[animal]]\nid = \"N\"\nspecies = \"test-gecko\"\nsex = \"female\"\nenclosure = \"E1\"\nacquired = 2027-06-01\nquarantine = true\n[[pairing]]\nid = \"P2\"\nmale = \"M\"\nfemale = \"N\"\nfrom = 2027-07-01\n",
			want: "the female `N` is in quarantine until 2027-08-30 at least", warning: true},
		{words: "paired after quarantine", src: "[[animal]]\nid = \"N\"\nspecies = \"test-gecko\"\nsex = \"female\"\nenclosure = \"E1\"\nacquired = 2027-06-01\nquarantine = true\n[[pairing]]\nid = \"P2\"\nmale = \"M\"\nfemale = \"N\"\nfrom = 2027-09-01\n"},

		{words: "a permit without words", src: "[[permit]]\nid = \"L\"\nexpires = 2028-01-01\n", want: "[[permit]] has no `words`"},
		{words: "a permit without its last day", src: "[[permit]]\nid = \"L\"\nwords = \"Licence\"\n", want: "[[permit]] has no `expires`"},
	} {
		t.Run(c.words, func(t *testing.T) {
			_, list := readFiles(t, "keeper.toml", "zone = \"UTC\"\n", "records.toml", family+c.src)
			if c.want == "" {
				if len(list) > 0 {
					t.Errorf("got %v", list)
				}
				return
			}
			severity := diag.Error
			if c.warning {
				severity = diag.Warning
			}
			where := fmt.Sprintf("%s:%d:%d: %s", list[0].File, list[0].Line, list[0].Column, list[0].Message)
			if len(list) != 1 || !strings.Contains(where, c.want) || list[0].Severity != severity {
				t.Errorf("got %v, want %s", list, c.want)
			}
		})
	}
}

// Keepers quarantine for thirty to ninety days (common practice).
func TestQuarantineAndPermits(t *testing.T) {
	animal := func(more string) string {
		return "[[animal]]\nid = \"N\"\nspecies = \"test-gecko\"\nenclosure = \"E1\"\nacquired = 2027-06-01\n" + more + "\n"
	}
	for _, c := range []struct {
		said string
		days husbandry.Days
	}{{"", 0}, {"quarantine = false", 0}, {"quarantine = true", 90}, {"quarantine = \"6 weeks\"", 42}, {"quarantine = 2027-08-01", 61}} {
		v := clean(t, place+animal(c.said))
		if got := v.Animals[0].Quarantine; got != c.days {
			t.Errorf("%s: %d days, want %d", c.said, got, c.days)
		}
	}
	v := clean(t, "[[permit]]\nid = \"L1\"\nwords = \"Keeping permit\"\nexpires = 2028-03-31\nremind = \"90 days\"\nnote = \"n\"\n[[permit]]\nid = \"L2\"\nwords = \"Insurance\"\nexpires = 2028-03-31\n")
	day := civil.MustParse("2028-03-31")
	if want := []husbandry.Permit{{ID: "L1", Words: "Keeping permit", Expires: day, Remind: 90, Note: "n"}, {ID: "L2", Words: "Insurance", Expires: day, Remind: 60}}; !slices.Equal(v.Permits, want) {
		t.Errorf("got %+v", v.Permits)
	}
}
