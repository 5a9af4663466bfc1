package husbandry

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Every round has this order, and the rank of tasks uses it. A new kind takes
// its place in the order, and the others keep theirs.
func TestTheOrderOfKinds(t *testing.T) {
	want := strings.Fields(`hatch-watch lay-watch review dig-eggs set-tub tub-check candle young-check first-feed gravid-check
		pair cool quarantine faecal-test weigh gut-load water feed supplement mist nest-top-up clean
		shed sexing label separate place release lamp-meter lamp-change light-step scale-check order permit own`)
	var got []string
	for i, k := range Kinds() {
		got = append(got, string(k))
		if k.Order() != i {
			t.Errorf("%s is at %d and says %d", k, i, k.Order())
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %s", got)
	}
	if Kind("").Order() != 0 || Kind("nonsense").Order() != 0 {
		t.Error("no kind has a place")
	}
}

func TestEveryKindHasAFullRow(t *testing.T) {
	// These kinds leave a column empty, so that the routine decides.
	var (
		anyRecord = []Kind{Review, Faecal, Own} // each routine states its scope
		titled    = []Kind{Review, Order, Own}  // tasks differ, so each routine has a title
		unnamed   = []Kind{Order, Own}          // the id of the routine is the better heading
	)
	seen := make(map[Kind]bool)
	for i := range kindRows {
		r := &kindRows[i]
		full := func(column string, filled, free bool) {
			if filled == free {
				t.Errorf("%s: the column %s is filled: %v", r.kind, column, filled)
			}
		}
		full("kind", r.kind != "" && !seen[r.kind], false)
		seen[r.kind] = true
		full("scope", r.scope != "", slices.Contains(anyRecord, r.kind))
		full("work", r.work == everyday || r.work == special, false)
		full("action", r.action != "", slices.Contains(titled, r.kind))
		full("join", r.join != "", false)
		full("name", r.name != "", slices.Contains(unnamed, r.kind))
		full("noun", r.noun.One != "" && r.noun.Done != "", false)
		full("sitter", r.sitter == SitterDoes || r.sitter == SitterWaits, false)
		full("missed", r.missed == Stays || r.missed == Lapses || r.missed == Alarms, false)
		for _, words := range []string{r.action, r.ofYoung, r.name, r.listed, r.noun.One, r.noun.Done, r.pinned, r.refuseOn.Problem, r.refuseOff.Problem} {
			if words != strings.TrimSpace(words) {
				t.Errorf("%s: blanks about %q", r.kind, words)
			}
		}
		if r.partOf != "" && !slices.Contains(Kinds(), r.partOf) {
			t.Errorf("%s: part of %q, which is no kind", r.kind, r.partOf)
		}
		if r.watches != "" && WatchOf(r.watches) != r.kind {
			t.Errorf("%s: another kind watches over %s too", r.kind, r.watches)
		}
		if r.kind.Special() == (r.work == everyday) {
			t.Errorf("%s: special and everyday", r.kind)
		}
	}
}

// The words of a title decide the joining word, and each title has only one.
func TestTitlesAndSubjects(t *testing.T) {
	for _, c := range []struct{ title, name, want string }{
		{Feed.Action(false), "E07", "Feed E07"},
		{Water.Action(false), "E07", "Fresh water for E07"},
		{GravidCheck.Action(false), "Ada", "Look and feel for eggs in Ada"},
		{Candle.Action(true), "clutch C1", "Candle the eggs of clutch C1"},
		{Weigh.Action(false), "Ada", "Weigh Ada"},
		{Weigh.Action(true), "clutch C1", "Weigh the young of clutch C1"},
		{LightStep.Action(false), "Egg room", "Set the lamps' timer: Egg room"},
		{"Add water to the tub", "clutch C1", "Add water to the tub of clutch C1"},
		{"Review the illness", "Ada", "Review the illness of Ada"},
		{"Empty the bins", "Egg room", "Empty the bins: Egg room"},
		{"Empty the bins", "", "Empty the bins"},
		{"", "E07", ": E07"},
	} {
		if got := TitleFor(c.title, c.name); got != c.want {
			t.Errorf("got %q; want %q", got, c.want)
		}
	}
	by := make(map[string]join)
	for i := range kindRows {
		r := &kindRows[i]
		all := map[string]join{r.action: r.join}
		for title, j := range r.titles {
			if _, twice := all[title]; twice {
				t.Errorf("%s: %q stands twice", r.kind, title)
			}
			all[title] = j
		}
		for title, j := range all {
			if before, ok := by[title]; ok && before != j && title != "" {
				t.Errorf("%q is joined by %q and by %q", title, before, j)
			}
			by[title] = j
		}
	}
}

func TestCountsOfTasks(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		n    int
		want string
	}{
		{Feed, 1, "1 feeding"}, {Feed, 2, "2 feedings"}, {Water, 1, "1 change of water"}, {Water, 3, "3 changes of water"},
		{Own, 0, "0 times"}, {"", 1, "1 time"},
	} {
		if got := c.kind.Noun().Count(c.n); got != c.want {
			t.Errorf("%s: got %q; want %q", c.kind, got, c.want)
		}
	}
}

// An unknown kind has the usual answers.
func TestUnknownKind(t *testing.T) {
	var k Kind
	if k.Scope() != "" || k.Action(false) != "" || k.Noun().One != "time" || k.Asks() != nil || k.BySitter() != SitterWaits || k.Missed() != Stays ||
		!k.Special() || k.WhyPinned() == "" || k.Rests() != NeverRests || k.Refuses(true) != (Refusal{}) {
		t.Errorf("%+v", k.row())
	}
	if WatchOf("") != "" || WatchOf(CoolingWindow) != "" {
		t.Error("somebody watches over a window without a watch")
	}
}

// rules is the folder in which a map may have kinds as keys and functions as
// values, because a rule holds the special treatment of a kind.
const rules = "scheduler/rule/"

// Decisions by kind are columns of the table of kinds. No other file may have a
// switch with kinds in its cases, or a map with kinds as keys, because a new
// kind would be missing there. A comparison with one kind is allowed.
func TestNothingElseDecidesByKind(t *testing.T) {
	kinds := kindNames(t)
	root := filepath.Join("..", "..")
	files, joined := 0, 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if name := d.Name(); d.IsDir() && file != root && (strings.HasPrefix(name, ".") || name == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		files++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, file, nil, 0)
		if err != nil {
			return err
		}
		isKind := func(e ast.Expr) bool {
			if sel, ok := e.(*ast.SelectorExpr); ok {
				x, ok := sel.X.(*ast.Ident)
				return ok && x.Name == "husbandry" && kinds[sel.Sel.Name]
			}
			id, ok := e.(*ast.Ident)
			return ok && f.Name.Name == "husbandry" && kinds[id.Name]
		}
		report := func(at token.Pos, what string) {
			t.Errorf("%s:%d: %s; make it a column of kindRows", rel, fset.Position(at).Line, what)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CaseClause:
				if slices.ContainsFunc(n.List, isKind) {
					report(n.Pos(), "a switch over kinds")
				}
			case *ast.CompositeLit:
				if _, ok := n.Type.(*ast.MapType); !ok {
					return true
				}
				if strings.HasPrefix(rel, rules) {
					joined++
					return true
				}
				for _, e := range n.Elts {
					if kv, ok := e.(*ast.KeyValueExpr); ok && isKind(kv.Key) {
						report(kv.Pos(), "a map by kind")
						break
					}
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 100 || len(kinds) != len(kindRows) {
		t.Errorf("read %d files and the names of %d kinds", files, len(kinds))
	}
	if joined == 0 {
		t.Errorf("no map in %s any more; take the exception away", rules)
	}
}

// kindNames reads the names of the constants of type Kind.
func kindNames(t *testing.T) map[string]bool {
	f, err := parser.ParseFile(token.NewFileSet(), "kinds.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	names := make(map[string]bool)
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			v := s.(*ast.ValueSpec)
			if id, ok := v.Type.(*ast.Ident); ok && id.Name == "Kind" {
				for _, n := range v.Names {
					names[n.Name] = true
				}
			}
		}
	}
	return names
}
