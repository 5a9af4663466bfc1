package husbandry_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"nestround/tasks/husbandry"
)

func TestAmounts(t *testing.T) {
	for _, c := range []struct {
		in   string
		want husbandry.Amount
		err  string
	}{
		{"6-8 crickets", husbandry.Amount{From: 6, To: 8, Of: "crickets"}, ""},
		{"6 - 8 crickets", husbandry.Amount{From: 6, To: 8, Of: "crickets"}, ""},
		{"6 crickets", husbandry.Amount{From: 6, To: 6, Of: "crickets"}, ""},
		{"1 locust", husbandry.Amount{From: 1, To: 1, Of: "locust"}, ""},
		{"0-2 waxworms", husbandry.Amount{From: 0, To: 2, Of: "waxworms"}, ""},
		{"10-15 small  crickets", husbandry.Amount{From: 10, To: 15, Of: "small crickets"}, ""},
		{"6-8", husbandry.Amount{From: 6, To: 8}, ""},
		{"2-3 % of body mass", husbandry.Amount{From: 2, To: 3, Share: true}, ""},
		{"2.5% of body mass", husbandry.Amount{From: 2.5, To: 2.5, Share: true}, ""},
		{"2 % of body mass in crickets", husbandry.Amount{From: 2, To: 2, Share: true, Of: "crickets"}, ""},
		{"2 % of body mass crickets", husbandry.Amount{}, "is not an amount"},
		{"2 % of crickets", husbandry.Amount{}, "is not an amount"},
		{"60 % of body mass", husbandry.Amount{}, "more than half"},
		{"8-6 crickets", husbandry.Amount{}, "runs from 8 to 6"},
		{"0 crickets", husbandry.Amount{}, "runs from 0 to 0"},
		{"2.5 crickets", husbandry.Amount{}, "parts of insects"},
		{"-3 crickets", husbandry.Amount{}, "is not an amount"},
		{"some crickets", husbandry.Amount{}, "is not an amount"},
		{"6 to 8 crickets", husbandry.Amount{From: 6, To: 8, Of: "crickets"}, ""},
		{"6 tons", husbandry.Amount{From: 6, To: 6, Of: "tons"}, ""},
		{"6crickets", husbandry.Amount{}, "is not an amount"},
		{"99999 crickets", husbandry.Amount{}, "more than any lizard"},
		{"", husbandry.Amount{}, "is not an amount"},
	} {
		got, err := husbandry.ParseAmount(c.in)
		if got != c.want || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%q: %+v, %v", c.in, got, err)
		}
	}
}

func TestWrittenAmountsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := husbandry.Amount{From: float64(rapid.IntRange(0, 40).Draw(t, "from")), Share: rapid.Bool().Draw(t, "share")}
		a.To = a.From + float64(rapid.IntRange(1, 10).Draw(t, "more"))
		a.Of = rapid.SampledFrom([]string{"", "crickets", "small crickets"}).Draw(t, "of")
		if got, err := husbandry.ParseAmount(a.String()); got != a || err != nil {
			t.Fatalf("%q reads %+v, %v", a, got, err)
		}
	})
}

// A routine may name a feeder by its name or by its id, in any case.
func TestNamesOfAFeeder(t *testing.T) {
	f := husbandry.Feeder{ID: "small-crickets", Name: "Small crickets"}
	for consumed, want := range map[string]bool{
		"Small crickets": true, "small crickets": true, "small-crickets": true, "SMALL-CRICKETS": true,
		"": false, "crickets": false, "small": false, "locusts": false,
	} {
		if f.Is(consumed) != want {
			t.Errorf("%q means the feeder: %v", consumed, !want)
		}
	}
	if unnamed := (&husbandry.Feeder{ID: "locusts"}); unnamed.Is("") {
		t.Error("nothing means a feeder without a name")
	}
}

func TestPacks(t *testing.T) {
	for in, want := range map[string]string{"box of 50": "3 boxes of 50", "tub of  250": "3 tubs of 250", "batch of 9": "3 batches of 9"} {
		if p, err := husbandry.ParsePack(in); err != nil || p.Count(3) != want {
			t.Errorf("%q: %v, %v", in, p.Count(3), err)
		}
	}
	if p := (husbandry.Pack{Name: "box", Of: 50}); p.Count(1) != "1 box of 50" {
		t.Errorf("one is %s", p.Count(1))
	}
	for _, in := range []string{"", "50", "box", "box of", "box of many", "box of 0", "of 50", "box of -3", "2 boxes of 50"} {
		if p, err := husbandry.ParsePack(in); err == nil {
			t.Errorf("%q is %+v", in, p)
		}
	}
}
