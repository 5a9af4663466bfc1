package reply

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"nestround/notify"
	"nestround/tasks/civil"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// anything sets a field of a finding to a random value, within the range a
// keeper may use and slightly beyond.
func anything(v reflect.Value, r *rand.Rand) {
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		anything(v.Elem(), r)
	case reflect.Int:
		v.SetInt(int64(r.IntN(40) - 1)) // -1 means not counted
	case reflect.Float64:
		v.SetFloat(float64(r.IntN(4000)) / 100)
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.String:
		v.SetString([]string{"F03", "cool", "toes", "left eye, a little", "whole", "stuck"}[r.IntN(6)])
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2+r.IntN(4), 9))
		for i := range v.Len() {
			anything(v.Index(i), r)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			anything(v.Field(i), r)
		}
	default:
		panic("a kind of field that this test does not know: " + v.Kind().String())
	}
}

// fieldOf returns the field of g for a row.
func fieldOf(g *finding.Values, row *finding.Row) reflect.Value {
	v := reflect.ValueOf(g).Elem()
	for i := range v.NumField() {
		if key, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ","); key == row.Key() {
			return v.Field(i)
		}
	}
	panic("no field for " + row.Key())
}

// TestEveryRowReadsBack: the command that a row writes must be read back as the
// same values, or be refused, and must have a description in words.
func TestEveryRowReadsBack(t *testing.T) {
	r := rand.New(rand.NewPCG(20, 27))
	for i := range finding.All {
		row := &finding.All[i]
		if row.Command == nil {
			continue
		}
		read := 0
		for range 400 {
			var g finding.Values
			anything(fieldOf(&g, row), r)
			if !row.In(&g) {
				continue
			}
			// Sometimes set the fields of other rows that this row's words can
			// give too.
			for k := range finding.All {
				if part := &finding.All[k]; part != row && r.IntN(2) == 0 {
					with := g
					anything(fieldOf(&with, part), r)
					if row.Command(&with) != row.Command(&g) {
						g = with
					}
				}
			}
			if g.Each != nil {
				sum := 0.0
				for _, x := range g.Each {
					sum += math.Round(100 * float64(x))
				}
				*g.Weighs = husbandry.Grams(math.Round(sum/float64(len(g.Each))) / 100)
			}
			words := row.Command(&g)
			p := Parse("7 "+words, theBooks)
			if len(p.Commands) != 1 {
				if len(p.Refused) != 1 {
					t.Errorf("%s: %q is neither read nor refused: %+v", row.Name, words, p)
				}
				continue
			}
			read++
			got := p.Commands[0].Finding
			if !reflect.DeepEqual(got, g) {
				t.Fatalf("%s: %q reads as %+v, want %+v", row.Name, words, got, g)
			}
			if again := finding.Command(&got); again != words {
				t.Errorf("%s: %q is written again as %q", row.Name, words, again)
			}
			if said := finding.Said(&got, husbandry.Metric); said == "" || strings.Contains(said, "%!") {
				t.Errorf("%s: %q is said back as %q", row.Name, words, said)
			}
		}
		if read < 10 {
			t.Errorf("%s: %d of what it writes were read", row.Name, read)
		}
	}
}

// TestEveryExampleIsUnderstood: a verb with its example must be a finding that
// fits some record. A verb without its number must be answered with the
// example.
func TestEveryExampleIsUnderstood(t *testing.T) {
	for i := range finding.All {
		row := &finding.All[i]
		for _, v := range row.Verbs {
			words := strings.TrimSpace(v.Word + " " + v.Example)
			p := Parse("7 "+words, theBooks)
			if v.Example != "" || v.Complete {
				if len(p.Commands) != 1 || !row.In(&p.Commands[0].Finding) {
					t.Errorf("%s: %q is not understood: %+v", row.Name, words, p)
					continue
				}
				fits := false
				for _, scope := range []husbandry.Scope{husbandry.OfAnimal, husbandry.OfEnclosure, husbandry.OfClutch, husbandry.OfFeeder} {
					item := notify.Item{N: 7, Task: "x/y/z", Kind: husbandry.Own, Scope: scope}
					if row.Name == "refused" {
						item.Kind = husbandry.Feed
					}
					acts, _ := Resolve(p.Commands, []notify.Item{item}, civil.MustParse("2027-05-12"))
					fits = fits || len(acts) == 1
				}
				if !fits {
					t.Errorf("%s: %q fits no task", row.Name, words)
				}
			}
			if p := Parse(words, theBooks); !v.Denies && (len(p.Refused) != 1 || !strings.Contains(p.Refused[0].Why, "7 "+words)) {
				t.Errorf("%s: %q without a number: %+v", row.Name, words, p)
			}
		}
	}
}

// TestARecordNamedAsAVerb: books may have an enclosure "shed" from before the
// finding "shed" existed. Answers about it must work as before.
func TestRecordNamedLikeVerb(t *testing.T) {
	books := func(id string) (Target, bool) {
		if strings.EqualFold(id, "shed") {
			return Target{ID: "shed", Scope: husbandry.OfEnclosure}, true
		}
		return theBooks(id)
	}
	for text, want := range map[string]string{
		"shed laid 6": "shed laid 6", "Shed refused, done 3": "shed refused | done 3", "undo shed": "undo shed", "shed 7": "",
	} {
		if p := Parse(text, books); texts(p.Commands) != want || want == "" && len(p.Refused) != 1 {
			t.Errorf("%q: understood %q, refused %v", text, texts(p.Commands), p.Refused)
		}
	}
}
