package finding

import (
	"reflect"
	"strings"
	"testing"

	"nestround/tasks/husbandry"
)

// keyOf returns the key of a field in the daybook.
func keyOf(f reflect.StructField) string {
	key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return key
}

// something sets v to a value other than its zero.
func something(v reflect.Value, n int) {
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		something(v.Elem(), n)
	case reflect.Int:
		v.SetInt(int64(n))
	case reflect.Float64:
		v.SetFloat(float64(n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.String:
		v.SetString("x")
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		something(v.Index(0), n)
	case reflect.Struct:
		something(v.Field(0), n)
	default:
		panic("a kind of field that this test does not know: " + v.Kind().String())
	}
}

// TestEveryFieldHasItsRow: setting a field adds its row to a finding, and no
// other row.
func TestEveryFieldHasItsRow(t *testing.T) {
	names := make(map[husbandry.FindingName]bool)
	for i := range All {
		if names[All[i].Name] {
			t.Errorf("two rows are named %q", All[i].Name)
		}
		names[All[i].Name] = true
	}
	for _, k := range husbandry.Kinds() {
		for _, asked := range k.Asks() {
			if !names[asked] {
				t.Errorf("tasks of kind %s ask for %q, which no row has", k, asked)
			}
		}
	}
	fields := reflect.TypeFor[Values]()
	if fields.NumField() != len(All) {
		t.Errorf("%d fields and %d rows", fields.NumField(), len(All))
	}
	for k := range fields.NumField() {
		var g Values
		something(reflect.ValueOf(&g).Elem().Field(k), 7)
		for i := range All {
			if r := &All[i]; r.In(&g) != (r.Key() == keyOf(fields.Field(k))) {
				t.Errorf("with %s alone, the row %s is in the finding: %v", fields.Field(k).Name, r.Name, r.In(&g))
			}
		}
	}
}

// TestLaterFindingsReplace: merging a field replaces that field and no other.
func TestLaterFindingsReplace(t *testing.T) {
	fields := reflect.TypeFor[Values]()
	for k := range fields.NumField() {
		var was, later Values
		for j := range fields.NumField() {
			something(reflect.ValueOf(&was).Elem().Field(j), 7)
		}
		want := was
		something(reflect.ValueOf(&later).Elem().Field(k), 9)
		reflect.ValueOf(&want).Elem().Field(k).Set(reflect.ValueOf(later).Field(k))
		switch fields.Field(k).Name {
		case "Weighs":
			want.Each = nil // the old single weights belonged to the old mean
		case "Each":
			want.Each = was.Each // single weights without a mean change nothing
		}
		got := was
		Merge(&got, &later)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: merged to %+v, want %+v", fields.Field(k).Name, got, want)
		}
	}
}

// TestLastingFindings: every lasting finding changes plans. A detail of another
// finding changes none. A shed changes none either, because no rule uses it
// yet.
func TestLastingFindings(t *testing.T) {
	var told []string
	for i := range All {
		r := &All[i]
		if r.Lasts && !r.Plans {
			t.Errorf("%s lasts and changes nothing", r.Name)
		}
		if !r.Plans {
			told = append(told, string(r.Name))
		}
	}
	if got := strings.Join(told, " "); got != "outside each shed note" {
		t.Errorf("no plan is changed by %s", got)
	}
	note := Values{Note: "x"}
	if Plans(&note) || Lasting(&note) {
		t.Error("a note changes plans")
	}
	if g := (Values{Shed: Stuck}); Version(&g) <= FirstVersion || Version(&g) > Newest || Version(&note) != FirstVersion {
		t.Errorf("a shed needs version %d of the daybook, of which the newest is %d, and a note needs version %d", Version(&g), Newest, Version(&note))
	}
	n := 3
	if g := (Values{Hatched: &n}); !Plans(&g) || !Lasting(&g) {
		t.Error("young that hatched change nothing")
	}
	if g := (Values{Refused: true}); !Plans(&g) || Lasting(&g) {
		t.Error("food refused matters for years")
	}
}

// TestOnlyACountOfTheStockLeavesOpen: after a count of the stock the keeper
// still has to order. Every other finding ends its task.
func TestOnlyACountOfTheStockLeavesOpen(t *testing.T) {
	fields := reflect.TypeFor[Values]()
	for k := range fields.NumField() {
		var g Values
		something(reflect.ValueOf(&g).Elem().Field(k), 7)
		if name := fields.Field(k).Name; LeavesOpen(&g) != (name == "Stock") {
			t.Errorf("%s leaves its task open: %v", name, LeavesOpen(&g))
		}
	}
}

// TestShed: the tasks that a shed fits, its words, and its caution.
func TestShed(t *testing.T) {
	stuck := Values{Shed: Stuck, Note: "toes"}
	for _, c := range []struct {
		scope husbandry.Scope
		kind  husbandry.Kind
		fits  bool
	}{
		{husbandry.OfAnimal, "", true}, {husbandry.OfAnimal, husbandry.Weigh, true}, {husbandry.OfClutch, husbandry.Shed, true},
		{husbandry.OfClutch, "", false}, {husbandry.OfClutch, husbandry.TubCheck, false}, {husbandry.OfEnclosure, "", false}, {husbandry.OfFeeder, "", false},
	} {
		if why := Misfit(&stuck, c.scope, c.kind); (why == "") != c.fits {
			t.Errorf("a shed of %s, kind %q: %q", c.scope, c.kind, why)
		}
	}
	if got := Said(&stuck, husbandry.Metric); got != "the shed is stuck, note: toes" {
		t.Errorf("said as %q", got)
	}
	if got := Caution(&stuck); !strings.Contains(got, "veterinarian") {
		t.Errorf("a stuck shed is told with %q", got)
	}
	whole := Values{Shed: Whole}
	if got := Said(&whole, husbandry.Metric) + Caution(&whole); got != "the shed came off whole" {
		t.Errorf("a whole shed is told as %q", got)
	}
}
