package daybook

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"

	"pgregory.net/rapid"
)

func ptr[T any](v T) *T { return &v }

// agree compares the two readers: a line that scan reads must give the same
// entry as encoding/json. It reports whether scan read the line.
func agree(t interface {
	Helper()
	Errorf(string, ...any)
}, s *scanner, line string) bool {
	t.Helper()
	fast, ok := s.scan(line)
	if !ok {
		return false
	}
	slow, err := decode(line)
	if err != nil {
		t.Errorf("scan took a line that decode refuses with %q:\n%q", err, line)
	} else if !reflect.DeepEqual(fast, slow) {
		t.Errorf("scan and decode differ on\n%q:\n%#v\n%#v", line, fast, slow)
	}
	return true
}

// fill sets every field of v, at any depth, to a non-zero value, so that the
// tests cover a field added to an entry later.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(time.Date(2027, 5, 12, 6, 31, *n%60, 0, time.UTC)))
		return
	case civil.Date:
		v.Set(reflect.ValueOf(civil.New(2027, time.May, *n)))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(fmt.Sprintf("väl-%d", *n))
	case reflect.Int:
		v.SetInt(int64(*n))
	case reflect.Float64:
		v.SetFloat(float64(*n) + 0.5)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), n)
		}
	default:
		panic("a kind of field that this test does not know: " + v.Kind().String())
	}
}

func fillEntry(e *tasks.Entry, n *int) { fill(reflect.ValueOf(e).Elem(), n) }

func TestEveryFieldIsScanned(t *testing.T) {
	var e tasks.Entry
	n := 0
	fillEntry(&e, &n)
	line, back, err := encode(e)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, e) {
		t.Errorf("encode and decode change the entry:\n%#v\n%#v", e, back)
	}
	if !agree(t, new(scanner), strings.TrimSuffix(line, "\n")) {
		t.Errorf("scan does not know the line that encode writes:\n%s", line)
	}
}

func TestLinesAreReadOrRejected(t *testing.T) {
	const head = `{"id":"a@b","at":"2027-05-12T06:31:00Z","on":"2027-05-12","via":"mail","acts":`
	cases := []struct {
		name, line string
		fast       bool // scan must read the line itself
		ok         bool // the line is an entry
	}{
		{"nothing done", head + `[]}`, true, true},
		{"acts null", head + `null}`, true, true},
		{"one act", head + `[{"text":"done 1","n":1,"task":"E07/water/2027-05-12","mark":"done"}]}`, true, true},
		{"a finding of everything", head + `[{"text":"7 laid 6","task":"F03/lay/1","finding":{"laid":6,"slugs":0,"hatched":1,"weighs_g":41.5,"added_ml":60,"refused":true,"mated":false,"gravid":true,"note":"früh"}}]}`, true, true},
		{"an empty finding", head + `[{"text":"x","task":"k","finding":{}}]}`, true, true},
		{"eggs not counted", head + `[{"text":"x","task":"k","finding":{"laid":-1}}]}`, true, true},
		{"put off", head + `[{"text":"later 5","n":5,"task":"k","mark":"put-off","until":"2027-05-14","why":"rain"}]}`, true, true},
		{"no day", `{"id":"a","at":"2027-05-12T06:31:00Z","on":"","via":"page","by":"k","digest":"K7Q2","acts":[]}`, true, true},
		{"a moment east of Greenwich", `{"id":"a","at":"2027-05-12T06:31:00.5+02:00","on":"2027-05-12","via":"mail","acts":[]}`, true, true},
		{"a moment west of it", `{"id":"a","at":"2027-01-01T00:31:00.123456789-09:30","on":"2027-05-12","via":"mail","acts":[]}`, true, true},
		{"an offset of minus zero", `{"id":"a","at":"2027-01-01T00:31:00-00:00","on":"2027-05-12","via":"mail","acts":[]}`, true, true},
		{"before 1970", `{"id":"a","at":"1969-12-31T23:59:59Z","on":"1969-12-30","via":"mail","acts":[]}`, true, true},
		{"a leap day", `{"id":"a","at":"2028-02-29T00:00:00Z","on":"2028-02-29","via":"mail","acts":[]}`, true, true},

		{"an escaped quote", head + `[{"text":"note 2 \"digging\"","task":"k"}]}`, false, true},
		{"a space after the colon", `{"id": "a","at":"2027-05-12T06:31:00Z","on":"2027-05-12","via":"mail","acts":[]}`, false, true},
		{"another order", `{"at":"2027-05-12T06:31:00Z","id":"a","on":"2027-05-12","via":"mail","acts":[]}`, false, true},
		{"a field of a newer version", head + `[{"text":"x","task":"k","finding":{"laid":2,"length_mm":180}}],"weather":{"hpa":1013}}`, false, true},
		{"a key twice: the last counts", `{"id":"a","id":"b","at":"2027-05-12T06:31:00Z","on":"2027-05-12","via":"mail","acts":[]}`, false, true},
		{"an exponent", head + `[{"text":"x","task":"k","finding":{"weighs_g":4.1e1}}]}`, false, true},
		{"invalid UTF-8", head + "[{\"text\":\"\xff\",\"task\":\"k\"}]}", false, true},
		{"a line feed kept by Windows", head + "[]}\r", false, true},

		{"a day that does not exist", `{"id":"a","at":"2027-02-28T06:31:00Z","on":"2027-02-30","via":"mail","acts":[]}`, false, false},
		{"an hour that does not exist", `{"id":"a","at":"2027-02-28T24:00:00Z","on":"2027-02-28","via":"mail","acts":[]}`, false, false},
		{"a leap second, which time does not know", `{"id":"a","at":"2016-12-31T23:59:60Z","on":"2016-12-31","via":"mail","acts":[]}`, false, false},
		{"no id", `{"id":"","at":"2027-05-12T06:31:00Z","on":"2027-05-12","via":"mail","acts":[]}`, false, false},
		{"no moment", `{"id":"a","on":"2027-05-12","via":"mail","acts":[]}`, false, false},
		{"a number with a leading zero", head + `[{"text":"x","n":01,"task":"k"}]}`, false, false},
		{"a part of an egg", head + `[{"text":"x","task":"k","finding":{"laid":1.5}}]}`, false, false},
		{"a number too large", head + `[{"text":"x","task":"k","finding":{"weighs_g":1` + strings.Repeat("0", 400) + `}}]}`, false, false},
		{"something after it", head + `[]}]`, false, false},
		{"cut off", head[:60], false, false},
		{"a tab in a string", head + "[{\"text\":\"a\tb\",\"task\":\"k\"}]}", false, false},
		{"not an object", `[1]`, false, false},
		{"zeros, as a power cut may leave them", strings.Repeat("\x00", 200), false, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if fast := agree(t, new(scanner), c.line); fast != c.fast {
				t.Errorf("scan took it: %v, want %v", fast, c.fast)
			}
			if _, err := decode(c.line); (err == nil) != c.ok {
				t.Errorf("decode: error %v", err)
			}
		})
	}
}

// An entry without a day is for the local day of a mail's Date.
func TestOffsetsKeepTheDay(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []time.Time{
		time.Date(2027, 1, 1, 0, 30, 0, 0, vienna),
		time.Date(2027, 7, 1, 23, 30, 0, 0, time.FixedZone("", -9*3600)),
		// Offsets of local mean time had seconds (Vienna before 1893: +1:05:21
		// in the IANA database).
		time.Date(1890, 7, 1, 12, 0, 0, 0, vienna),
	} {
		_, back, err := encode(tasks.Entry{ID: "a", At: at})
		if err != nil {
			t.Fatal(err)
		}
		if !back.At.Equal(at) {
			t.Errorf("%v became %v", at, back.At)
		}
		if at.Year() > 1900 && civil.Of(back.At, back.At.Location()) != civil.Of(at, at.Location()) {
			t.Errorf("%v became another day: %v", at, back.At)
		}
	}
}

func TestInvalidEntriesAreNotWritten(t *testing.T) {
	at := time.Date(2027, 5, 12, 6, 31, 0, 0, time.UTC)
	weighs := func(g float64) []tasks.Act {
		return []tasks.Act{{Finding: &tasks.Finding{Weighs: ptr(husbandry.Grams(g))}}}
	}
	for name, e := range map[string]tasks.Entry{
		"no id":                         {At: at},
		"no moment":                     {ID: "a"},
		"a year of five digits":         {ID: "a", At: at.AddDate(8000, 0, 0)},
		"a weight that is not a number": {ID: "a", At: at, Acts: weighs(math.NaN())},
		"an infinite weight":            {ID: "a", At: at, Acts: weighs(math.Inf(1))},
	} {
		if line, _, err := encode(e); err == nil {
			t.Errorf("%s: written as %q", name, line)
		}
	}
}

func text() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.StringMatching(`[a-zA-Z0-9 .,@/äöüß°½-]{0,24}`),
		rapid.String(),
	)
}

func some[T any](g *rapid.Generator[T]) *rapid.Generator[*T] {
	return rapid.Custom(func(t *rapid.T) *T {
		if rapid.Bool().Draw(t, "there") {
			return ptr(g.Draw(t, "value"))
		}
		return nil
	})
}

func date() *rapid.Generator[civil.Date] {
	return rapid.Custom(func(t *rapid.T) civil.Date {
		return civil.New(2026, time.January, 1).AddDays(rapid.IntRange(0, 1200).Draw(t, "day"))
	})
}

func anyFinding() *rapid.Generator[tasks.Finding] {
	return rapid.Custom(func(t *rapid.T) tasks.Finding {
		return tasks.Finding{
			Laid:    some(rapid.Int()).Draw(t, "laid"),
			Slugs:   some(rapid.IntRange(0, 30)).Draw(t, "slugs"),
			Hatched: some(rapid.IntRange(0, 30)).Draw(t, "hatched"),
			Weighs:  some(rapid.Map(rapid.Float64(), func(f float64) husbandry.Grams { return husbandry.Grams(f) })).Draw(t, "weighs"),
			Added:   some(rapid.Map(rapid.Float64Range(0, 500), func(f float64) husbandry.Millilitres { return husbandry.Millilitres(f) })).Draw(t, "added"),
			Refused: rapid.Bool().Draw(t, "refused"),
			Mated:   rapid.Bool().Draw(t, "mated"),
			With:    husbandry.ID(rapid.SampledFrom([]string{"", "M1", "M \"1\" \u00e9"}).Draw(t, "with")),
			Gravid:  some(rapid.Bool()).Draw(t, "gravid"),
			Note:    text().Draw(t, "note"),
		}
	})
}

func act() *rapid.Generator[tasks.Act] {
	return rapid.Custom(func(t *rapid.T) tasks.Act {
		a := tasks.Act{
			Text:    text().Draw(t, "text"),
			N:       rapid.IntRange(0, 40).Draw(t, "n"),
			Task:    tasks.Key(text().Draw(t, "task")),
			Mark:    rapid.SampledFrom([]tasks.Verb{"", tasks.MarkDone, tasks.Skip, tasks.PutOff, tasks.Undo}).Draw(t, "mark"),
			Why:     text().Draw(t, "why"),
			Finding: some(anyFinding()).Draw(t, "finding"),
		}
		if rapid.Bool().Draw(t, "put off") {
			a.Until = date().Draw(t, "until")
		}
		return a
	})
}

func entry() *rapid.Generator[tasks.Entry] {
	return rapid.Custom(func(t *rapid.T) tasks.Entry {
		offset := rapid.SampledFrom([]int{0, 0, 3600, 7200, -34200, 45900}).Draw(t, "offset")
		return tasks.Entry{
			ID: "m" + text().Draw(t, "id"),
			At: time.Unix(rapid.Int64Range(1767225600, 1870000000).Draw(t, "at"),
				rapid.SampledFrom([]int64{0, 0, 500_000_000, 123_456_789}).Draw(t, "nanos")).In(zone(offset)),
			On:     date().Draw(t, "on"),
			Via:    rapid.SampledFrom([]tasks.Via{tasks.ViaShell, tasks.ViaMail, tasks.ViaPage}).Draw(t, "via"),
			By:     text().Draw(t, "by"),
			Digest: rapid.SampledFrom([]string{"", "K7Q2"}).Draw(t, "digest"),
			Acts:   rapid.SliceOfN(act(), 0, 8).Draw(t, "acts"),
		}
	})
}

// Both readers read a written line back. The fast reader reads every line
// without an escape and an exponent.
func TestLineRoundTrip(t *testing.T) {
	s := new(scanner) // shared, so that an earlier entry could do harm
	rapid.Check(t, func(t *rapid.T) {
		e := entry().Draw(t, "entry")
		line, back, err := encode(e)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Count(line, "\n") != 1 || !strings.HasSuffix(line, "\n") {
			t.Fatalf("not one line: %q", line)
		}
		bare := strings.TrimSuffix(line, "\n")
		var again tasks.Entry
		if err := json.Unmarshal([]byte(bare), &again); err != nil {
			t.Fatal(err)
		}
		if !back.At.Equal(e.At) || back.On != e.On || back.ID != again.ID || len(back.Acts) != len(e.Acts) {
			t.Fatalf("read back as %#v", back)
		}
		plain := !strings.Contains(bare, `\`) && !strings.Contains(bare, "e-") && !strings.Contains(bare, "e+")
		if fast := agree(t, s, bare); plain && !fast {
			t.Fatalf("scan does not take\n%s", bare)
		}
		for _, cut := range []int{len(bare) - 1, len(bare) / 2, 1} {
			if agree(t, s, bare[:cut]) {
				t.Fatalf("a part of a line was taken for a whole one: %q", bare[:cut])
			}
		}
	})
}

// The blocks for small values must not let one entry change another.
func TestEntriesDoNotShare(t *testing.T) {
	s := new(scanner)
	var entries []tasks.Entry
	var lines []string
	for i := range 2000 {
		acts := make([]tasks.Act, i%7)
		for j := range acts {
			acts[j] = tasks.Act{Text: fmt.Sprint(i, j), Task: "k", Finding: &tasks.Finding{Laid: ptr(i), Weighs: ptr(husbandry.Grams(j)), Gravid: ptr(i%2 == 0)}}
		}
		line, _, err := encode(tasks.Entry{ID: fmt.Sprint(i), At: time.Unix(int64(i), 0).UTC(), Via: tasks.ViaMail, Acts: acts})
		if err != nil {
			t.Fatal(err)
		}
		line = strings.TrimSuffix(line, "\n")
		s.scan(line[:len(line)-3]) // a line that fails, in between
		e, ok := s.scan(line)
		if !ok {
			t.Fatalf("scan does not take %s", line)
		}
		if len(e.Acts) > 0 && cap(e.Acts) != len(e.Acts) {
			t.Fatal("appending to an entry's acts would write into the next entry")
		}
		entries, lines = append(entries, e), append(lines, line)
	}
	for i, e := range entries {
		if want, _ := decode(lines[i]); !reflect.DeepEqual(e, want) {
			t.Fatalf("entry %d is now %#v, want %#v", i, e, want)
		}
	}
}
