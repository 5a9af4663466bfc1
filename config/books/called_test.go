package books_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"nestround/config/books"
	"nestround/tasks/husbandry"
)

// The text, the part of the day and the waiting time of these tasks, as a
// keeper sees them.
func TestRoutinesCalledFor(t *testing.T) {
	const (
		review = " morning 10 min stays, 0 early, 3 late"
		alarm  = " morning 10 min alarms, 0 early, 0 late"
	)
	want := map[husbandry.ID]string{
		"review-hatch":       "review: Review the overdue hatching;" + review,
		"review-slugs":       "review: Review calcium, vitamin D3 and UVB;" + review,
		"review-weight":      "review: Review the health;" + review,
		"weigh-refused":      "weigh: Weigh;" + review,
		"review-ill":         "review: Review the illness;" + review,
		"review-unfed":       "review: Review the feeding of the young;" + review,
		"enter-young":        "review: Enter the young in the books;" + review,
		"sort-by-size":       "separate: Sort by size;" + review,
		"set-nest-box":       "review: Put a damp nest box in;" + review,
		"look-for-eggs":      "gravid-check: Look for hidden eggs, and feel for eggs in her;" + review,
		"feel-for-eggs":      "gravid-check: Feel for eggs left in her;" + alarm,
		"review-nest-site":   "review: Review the nest box: damp, depth, warmth, cover;" + review,
		"whose-eggs":         "review: Find out whose eggs were found;" + review,
		"rest-female":        "review: Rest the female;" + review,
		"part-pair":          "pair: Part the pair;" + review,
		"vet-digging":        "gravid-check: Have her seen by a reptile veterinarian today;" + alarm,
		"review-kin":         "review: Find a male that is no close kin;" + review,
		"order":              "order: Order {packs}; evening 5 min stays, 0 early, 0 late",
		"top-up-tub":         "tub-check: Add water to the tub;" + review,
		"cooling-check":      "review: Check the health before the cooling; morning 5 min stays, 0 early, 14 late",
		"cooling-not":        "review: Keep warm and fed this winter; morning 5 min stays, 0 early, 14 late",
		"cooling-last-food":  "cool: Last food before the cooling; morning 2 min stays, 0 early, 0 late",
		"cooling-fast":       "cool: Begin the fast before the cooling; morning 3 min stays, 0 early, 3 late",
		"cooling-step":       "cool: Lower to {degrees}; morning 5 min stays, 0 early, 1 late",
		"cooling-weigh":      "weigh: Weigh; morning 3 min stays, 2 early, 2 late",
		"cooling-stop":       "review: End the cooling and see the veterinarian;" + alarm,
		"cooling-first-food": "feed: First food after the cooling; morning 3 min stays, 0 early, 0 late",
	}
	for _, r := range books.Called() {
		got := fmt.Sprintf("%s: %s; %s %d min %s, %d early, %d late", r.Kind, r.Title, r.Part, r.Minutes, r.Missed, r.Before, r.After)
		if got != want[r.ID] {
			t.Errorf("%s is\n%s\nwant\n%s", r.ID, got, want[r.ID])
		}
		delete(want, r.ID)
		if r.Cadence.Pattern != husbandry.CalledFor || r.Origin != husbandry.Common || r.Off || r.Scope != "" {
			t.Errorf("%s: %+v", r.ID, r.Routine)
		}
		if (r.Caution == "") != (r.ID == "order" || r.ID == "cooling-not") {
			t.Errorf("%s: caution %q", r.ID, r.Caution)
		}
		for _, s := range append([]husbandry.Case{{Title: r.Title, Caution: r.Caution}}, r.Cases...) {
			if strings.ContainsAny(s.Title+s.Caution, "\n\t") || strings.HasSuffix(s.Title, ".") || s.Caution != "" && !strings.HasSuffix(s.Caution, ".") {
				t.Errorf("%s: %q, %q", r.ID, s.Title, s.Caution)
			}
		}
	}
	for id := range want {
		t.Errorf("%s is not there", id)
	}
}

// The file has exactly the routines that the planner calls for.
func TestCalledFileMatchesPlanner(t *testing.T) {
	root := filepath.Join("..", "..", "scheduler")
	inCode := make(map[string]bool)
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			v, ok := n.(*ast.ValueSpec)
			if !ok {
				return true
			}
			typ, ok := v.Type.(*ast.SelectorExpr)
			if !ok || typ.Sel.Name != "ID" || len(v.Values) == 0 {
				return true
			}
			if lit, ok := v.Values[0].(*ast.BasicLit); ok {
				id, _ := strconv.Unquote(lit.Value)
				inCode[id] = true
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	inFile := make(map[string]bool)
	for _, r := range books.Called() {
		inFile[string(r.ID)] = true
	}
	if !maps.Equal(inCode, inFile) {
		t.Errorf("the planner has %v,\nthe file %v", slices.Sorted(maps.Keys(inCode)), slices.Sorted(maps.Keys(inFile)))
	}
}

// This reads the file itself, without any code of the package.
func TestRoutinesCalledForHaveSources(t *testing.T) {
	_, _, called := files(t)
	if len(called) != len(books.Called()) {
		t.Fatalf("%d of %d routines", len(books.Called()), len(called))
	}
	for _, r := range called {
		if r.Source == "" || r.When != "called for" || r.Part == "" || r.Missed == "" || r.Minutes == 0 {
			t.Errorf("%s: %+v", r.ID, r)
		}
		for _, cadence := range []bool{r.Every != "", len(r.Weekdays) > 0, r.SinceLast != "", r.After != nil, r.Window != nil, r.Riding != nil, r.Steps != ""} {
			if cadence {
				t.Errorf("%s is called for and has another cadence", r.ID)
			}
		}
	}
	for id, words := range map[string]string{
		"feel-for-eggs": "veterinarian today", "vet-digging": "veterinarian today", "look-for-eggs": "veterinarian today", "review-ill": "veterinarian today",
		"review-hatch": "Do not open", "top-up-tub": "do not turn the eggs", "review-slugs": "veterinarian", "review-weight": "veterinarian",
		"review-kin": "local law", "cooling-check": "veterinarian", "cooling-stop": "not at once", "cooling-first-food": "veterinarian",
	} {
		i := slices.IndexFunc(called, func(r routine) bool { return r.ID == id })
		if i < 0 || !regexp.MustCompile(words).MatchString(called[i].Caution) {
			t.Errorf("%s: the caution does not speak of %q", id, words)
		}
	}
}

func TestCasesOfRoutineCalledFor(t *testing.T) {
	records := husbandry.Records{Called: books.Called()}
	stop := records.CalledFor("cooling-stop")
	usual, ill := stop.In(), stop.In("ill")
	if usual.Title != stop.Title || usual.Caution != stop.Caution || ill.Title != stop.Title || ill.Caution == stop.Caution || !strings.Contains(ill.Caution, "In the cold nothing heals") {
		t.Errorf("%+v\n%+v", usual, ill)
	}
	if both := stop.In("gravid", "warming", "of no name"); both.Title != "See the veterinarian after the cooling" || !strings.HasPrefix(both.Caution, "Eggs do not wait") || both.ID != stop.ID {
		t.Errorf("%+v", both)
	}
	step := records.CalledFor("cooling-step")
	if step.In("raise").Title != "Raise to {degrees}" || step.In("usual").Caution != step.In("raise").Caution || step.In("raise").Caution == step.Caution {
		t.Errorf("%+v", step)
	}
	if check := records.CalledFor("cooling-check"); !slices.Equal(check.Asks, []husbandry.FindingName{husbandry.FindWeighs}) {
		t.Errorf("%v", check.Asks)
	}
	if records.CalledFor("water") != nil {
		t.Error("water is called for")
	}
}

// A keeper turns off a routine that is called for by its id, without giving its
// kind. No other record may have such an id.
func TestIDsOfRoutinesCalledFor(t *testing.T) {
	for _, c := range []struct{ name, src, message, hint string }{
		{"turned off", "[[routine]]\nid = \"look-for-eggs\"\noff = true\n", "", ""},
		{"with a scope", "[[routine]]\nid = \"review-ill\"\nscope = \"animal\"\noff = true\n", "", ""},
		{"redefined", "[[routine]]\nid = \"look-for-eggs\"\nsince_last = \"3 days\"\n", "a record can only turn it off", "write off = true"},
		{"a step of winter", "[[routine]]\nid = \"cooling-step\"\noff = true\n", "a winter is not turned off by a routine", "[[cooling]]"},
		{"in another case", "[[routine]]\nid = \"Order\"\nkind = \"own\"\nscope = \"keeper\"\ntitle = \"Order paper\"\nmonth_days = [1]\n", "differs only in case", "`order`"},
		{"a place", "[[room]]\nid = \"order\"\n", "is taken by the routine", ""},
		{"the cadence", "[[routine]]\nid = \"mine\"\nkind = \"water\"\nwhen = \"called for\"\n", "unknown key `when`", ""},
	} {
		_, records, list := books.Read(fstest.MapFS{"keeper.toml": {Data: []byte("zone = \"UTC\"\n")}, "records.toml": {Data: []byte(c.src)}}, ".")
		found := c.message == "" && len(list) == 0
		for _, p := range list {
			found = found || c.message != "" && strings.Contains(p.Message, c.message) && strings.Contains(p.Hint, c.hint)
		}
		if !found || (records == nil) != (c.message != "") {
			t.Errorf("%s: %v", c.name, list)
		}
		if records != nil && (records.Routines[0].Kind == "" || records.Routines[0].Cadence.Pattern != "" || records.CalledFor("order") == nil) {
			t.Errorf("%s: %+v", c.name, records.Routines[0])
		}
	}
}
