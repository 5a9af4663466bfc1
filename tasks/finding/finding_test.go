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

// something gives v a value other than its zero.
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

// TestEveryFieldHasItsRow: a row is in a finding where its field is set, and
// nowhere else.
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
			want.Each = nil // the single weights went with their mean
		case "Each":
			want.Each = was.Each // and do not come without it
		}
		got := was
		Merge(&got, &later)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: merged to %+v, want %+v", fields.Field(k).Name, got, want)
		}
	}
}

// TestWhatLasts: everything that lasts changes plans, and what is only words
// about another finding does neither.
func TestWhatLasts(t *testing.T) {
	for i := range All {
		r := &All[i]
		if r.Lasts && !r.Plans {
			t.Errorf("%s lasts and changes nothing", r.Name)
		}
		if remark := r.Name == "note" || r.Name == "outside" || r.Name == "each"; r.Plans == remark {
			t.Errorf("%s changes plans: %v", r.Name, r.Plans)
		}
	}
	grams := Values{Weighs: nil, Note: "x"}
	if Plans(&grams) || Lasting(&grams) {
		t.Error("a note changes plans")
	}
	n := 3
	if g := (Values{Hatched: &n}); !Plans(&g) || !Lasting(&g) {
		t.Error("young that hatched change nothing")
	}
	if g := (Values{Refused: true}); !Plans(&g) || Lasting(&g) {
		t.Error("food refused matters for years")
	}
}
