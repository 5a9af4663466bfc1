package books

import (
	"reflect"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const cricketFeeding = `
[[routine]]
id = "feed"
kind = "feed"
every = "1 day"
from = 2027-01-01
consumes = ["small crickets"]
amount = "6-8 small crickets"
`

func TestReadFeeder(t *testing.T) {
	v := clean(t, cricketFeeding+`
[[feeder]]
id = "small-crickets"
pack = "box of 50"
deliveries = ["wed", "Friday"]
lead = "2 days"
shelf_life = "2 weeks"
safety = "3 days"
stock = 120
stock_on = 2027-05-10
each = "0.25 g"
[[feeder]]
id = "SC2"
name = "crickets"
pack = "tub of 1000"
deliveries = ["mon"]
shelf_life = "10 days"
[[routine]]
id = "other"
kind = "feed"
since_last = "2 days"
consumes = ["crickets"]
amount = { usual = "2-3 % of body mass", gravid = "3 % of body mass in crickets", winter = "1-2 crickets" }
`)
	want := []husbandry.Feeder{
		{ID: "small-crickets", Name: "small crickets", Pack: husbandry.Pack{Name: "box", Of: 50}, Deliveries: []time.Weekday{time.Wednesday, time.Friday},
			Lead: 2, ShelfLife: 14, Safety: 3, Stock: 120, StockOn: civil.MustParse("2027-05-10"), Each: 0.25},
		{ID: "SC2", Name: "crickets", Pack: husbandry.Pack{Name: "tub", Of: 1000}, Deliveries: []time.Weekday{time.Monday}, ShelfLife: 10, Safety: 2},
	}
	if !reflect.DeepEqual(v.Feeders, want) {
		t.Errorf("got  %+v\nwant %+v", v.Feeders, want)
	}
	if got, want := v.Routines[1].Amounts, (husbandry.Amounts{
		Usual: husbandry.Amount{From: 2, To: 3, Share: true}, Gravid: husbandry.Amount{From: 3, To: 3, Share: true, Of: "crickets"}, Winter: husbandry.Amount{From: 1, To: 2, Of: "crickets"},
	}); got != want {
		t.Errorf("amounts %+v", got)
	}
}

// A keeper who changes only the days of a feeding means the same food. A keeper
// who changes the food must give the amount.
func TestChangedRoutineKeepsFood(t *testing.T) {
	for src, want := range map[string]husbandry.Amount{
		"":                       {From: 6, To: 8, Of: "crickets"},
		`amount = "9 mealworms"`: {From: 9, To: 9, Of: "mealworms"},
		`consumes = ["locusts"]`: {},
		"consumes = [\"locusts\"]\namount = \"1-2\"": {From: 1, To: 2},
	} {
		_, v, list := Read(fstest.MapFS{"keeper.toml": &fstest.MapFile{Data: []byte("zone = \"Europe/Vienna\"\n[[routine]]\nid = \"leopard-gecko.feed-adult\"\nweekdays = [\"mon\"]\n" + src + "\n")}}, ".")
		if len(list) > 0 || v.Routines[0].Amounts.Usual != want || len(v.Routines[0].Consumes) == 0 {
			t.Errorf("%q: %+v, %v; want %v", src, v.Routines[0], list, want)
		}
	}
}

func TestProblemsOfFeeders(t *testing.T) {
	whole := "[[feeder]]\nid = \"sc\"\nname = \"small crickets\"\npack = \"box of 50\"\ndeliveries = [\"wed\"]\nshelf_life = \"2 weeks\"\n"
	without := func(key string) string {
		var kept []string
		for line := range strings.Lines(whole) {
			if !strings.HasPrefix(line, key+" ") {
				kept = append(kept, line)
			}
		}
		return strings.Join(kept, "")
	}
	for _, c := range []struct{ name, src, message, hint string }{
		{"no pack", without("pack"), "has no `pack`", "box of 50"},
		{"no deliveries", without("deliveries"), "has no `deliveries`", `["fri"]`},
		{"no shelf life", without("shelf_life"), "has no `shelf_life`", "2 weeks"},
		{"a pack of nothing", without("pack") + "pack = \"box\"\n", `"box" is not a pack`, ""},
		{"a day twice", without("deliveries") + "deliveries = [\"wed\", \"Wednesday\"]\n", "Wednesday stands twice", ""},
		{"no day", without("deliveries") + "deliveries = []\n", "names no day", ""},
		{"not a day", without("deliveries") + "deliveries = [\"noon\"]\n", "is not a weekday", ""},
		{"stock without its day", whole + "stock = 5\n", "has no `stock_on`", "counted"},
		{"a day without its stock", whole + "stock_on = 2027-05-10\n", "has no `stock`", "how many"},
		{"weightless", whole + "each = \"0 g\"\n", "cannot be nothing", "0.4 g"},
		{"an unknown key", whole + "colour = \"brown\"\n", "unknown key", ""},
		{"two of a name", whole + strings.Replace(whole, `"sc"`, `"sc2"`, 1), "has this name too", ""},
		{"a name that is another's id", whole + strings.Replace(strings.Replace(whole, `"sc"`, `"sc2"`, 1), "small crickets", "SC", 1), "has this name too", ""},
		{"misspelt", strings.Replace(whole, "small crickets", "smal crickets", 1), "no routine consumes `smal crickets`", "small crickets"},
		{"a word of replies", strings.Replace(whole, `"sc"`, `"stock"`, 1), "is a word of replies", ""},
		{"an amount of something else", whole + "[[routine]]\nid = \"r2\"\nkind = \"feed\"\nsince_last = \"2 days\"\nconsumes = [\"small crickets\"]\namount = \"6 smal crickets\"\n", "does not consume `smal crickets`", "small crickets"},
		{"an amount without a number", whole + "[[routine]]\nid = \"r2\"\nkind = \"feed\"\nsince_last = \"2 days\"\namount = \"a few\"\n", "is not an amount", ""},
		{"other food in winter", whole + "[[routine]]\nid = \"r2\"\nkind = \"feed\"\nsince_last = \"2 days\"\nconsumes = [\"small crickets\", \"locusts\"]\namount = { usual = \"6\", winter = \"2 locusts\" }\n", "the amount is of `locusts`, and the usual one of `small crickets`", "[[routine]]"},
		{"only in winter", whole + "[[routine]]\nid = \"r2\"\nkind = \"feed\"\nsince_last = \"2 days\"\namount = { winter = \"2-3\" }\n", "has no `usual`", ""},
		{"a routine that orders", whole + "[[routine]]\nid = \"r2\"\nkind = \"order\"\nweekdays = [\"wed\"]\n", "can only be `off`", "[[feeder]]"},
	} {
		_, list := readFiles(t, "keeper.toml", "zone = \"Europe/Vienna\"\n", "records.toml", cricketFeeding+c.src)
		found := false
		for _, p := range list {
			found = found || strings.Contains(p.Message, c.message) && strings.Contains(p.Hint, c.hint)
		}
		if !found {
			t.Errorf("%s: %v", c.name, list)
		}
	}
	_, list := readFiles(t, "keeper.toml", "zone = \"Europe/Vienna\"\n", "records.toml", strings.Replace(cricketFeeding, "amount", "#", 1)+whole)
	if len(list) != 1 || !strings.Contains(list[0].Message, "how many `small crickets`") {
		t.Errorf("nobody says how many: %v", list)
	}
}
