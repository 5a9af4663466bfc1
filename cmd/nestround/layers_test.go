package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// layer is a rule for the packages below a folder: which packages of this
// module they may import, which packages from outside they may not import, and
// why.
type layer struct {
	of  string // folder; the longest folder above a package decides
	may []string
	// not lists forbidden imports from outside the module; "x/..." forbids all
	// packages below x.
	not []string
	why string
}

var adapterWhy = "adapters know the tasks and the ports, never one another, the planner or the settings, so that each can be replaced alone; only cmd joins them"

var pure = []string{"os", "os/...", "net", "net/...", "io/fs", "log", "log/...", "database/...", "time/tzdata",
	"github.com/arran4/...", "github.com/emersion/...", "github.com/wneessen/..."}

// recorded are the packages of records, and marked those of marks and findings
// too. answers are the packages that answer the single questions of the planner.
var (
	recorded = []string{"tasks/civil", "tasks/husbandry"}
	marked   = append([]string{"tasks", "tasks/finding"}, recorded...)
	answers  = []string{"scheduler/cadence", "scheduler/incubation", "scheduler/ration", "scheduler/season/..."}
)

const answerWhy = "a package that answers one question knows records and dates, and neither the herd nor a plan"

var layers = []layer{
	{of: "tasks/civil", not: pure, why: "a date knows nothing"},
	{of: wording, may: []string{"tasks/civil"}, not: pure, why: "words are made of numbers, dates and strings alone, so that every package can use them"},
	{of: "tasks/husbandry", may: []string{"tasks/civil"}, not: pure, why: "records are values; where they come from is not their business"},
	{of: "tasks/finding", may: []string{"tasks/civil", "tasks/husbandry"}, not: pure, why: "a finding is a row of values and words, whoever reads, stores or plans by it"},
	{of: "tasks/disk", may: []string{"tasks/disk"}, why: "files are written the same way whatever is in them"},
	{of: "tasks/daybook", may: []string{"tasks", "tasks/civil", "tasks/disk", "tasks/finding"}, why: "the log stores entries and plans nothing"},
	{of: "tasks/sample", may: []string{"tasks", "tasks/civil", "tasks/husbandry"}, why: "generated books are values too"},
	{of: "tasks", may: []string{"tasks/civil", "tasks/finding", "tasks/husbandry"}, not: pure, why: "tasks and marks are what everything shares, so they depend on nothing that shows or stores them"},
	{of: "scheduler", may: append([]string{"scheduler/herd", "scheduler/plan", "scheduler/rule"}, marked...), not: pure,
		why: "the planner is a pure function of records, history and a date: no clock, no files, no mail, no calendar"},
	{of: "scheduler/herd", may: append([]string{"scheduler/incubation", "scheduler/moisture", "scheduler/season/..."}, marked...), not: pure,
		why: "facts propose nothing and know no plan"},
	{of: "scheduler/plan", may: append([]string{"scheduler/cadence", "scheduler/herd", "scheduler/ration"}, marked...), not: pure,
		why: "the plan settles proposals, whichever rule makes them"},
	{of: "scheduler/rule", may: append([]string{"scheduler/herd", "scheduler/plan"}, slices.Concat(marked, answers)...), not: pure,
		why: "rules propose from the facts of a day, and know no outlook and no planner of days"},
	{of: "scheduler/outlook", may: append([]string{"scheduler/herd", "scheduler/plan", "scheduler/rule"}, slices.Concat(marked, answers)...), not: pure,
		why: "an outlook answers questions and plans nothing"},
	{of: "scheduler/workload", may: append([]string{"scheduler", "scheduler/herd"}, marked...), not: pure,
		why: "the days are chosen from outside of a plan, through its seam"},
	{of: "scheduler/cadence", may: recorded, not: pure, why: answerWhy},
	{of: "scheduler/incubation", may: append([]string{"scheduler/incubation/..."}, recorded...), not: pure, why: answerWhy},
	{of: "scheduler/moisture", may: recorded, not: pure, why: answerWhy},
	{of: "scheduler/ration", may: recorded, not: pure, why: answerWhy},
	{of: "scheduler/season", may: append([]string{"scheduler/season/..."}, recorded...), not: pure, why: answerWhy},
	{of: "scheduler/incubation/fit", may: []string{"scheduler/incubation/pooled", "scheduler/incubation/published"},
		why: "a command of its own that is run by hand writes what the planner's package carries; nothing imports it"},
	{of: "config/diag", may: nil, why: "a located problem knows no books"},
	{of: "config", may: []string{"tasks/civil", "tasks/finding", "tasks/husbandry", "tasks/disk", "config/...", "scheduler/cadence", "scheduler/season/kinship", "scheduler/season/daylight"}, why: "reading the books needs no plan, no daybook and no mail"},
	{of: "notify/calendar", may: []string{"notify", "tasks", "tasks/civil", "tasks/husbandry"}, why: adapterWhy},
	{of: "notify/digest", may: []string{"notify", "tasks", "tasks/civil", "tasks/finding", "tasks/husbandry"}, why: adapterWhy},
	{of: "notify/reply", may: []string{"notify", "tasks", "tasks/civil", "tasks/finding", "tasks/husbandry"}, why: adapterWhy},
	{of: "notify/page", may: []string{"notify", "tasks", "tasks/civil", "tasks/husbandry"}, why: adapterWhy},
	{of: "notify/picture", may: []string{"tasks/civil"}, not: pure, why: "a picture is drawn of plain values and handed back; " + adapterWhy},
	{of: "notify/mailout", may: []string{"notify", "notify/bounded", "tasks/disk"}, why: adapterWhy},
	{of: "notify/mailin", may: []string{"notify", "notify/bounded", "tasks/disk"}, why: adapterWhy},
	{of: "notify/bounded", may: nil, why: "the bounds of a connection know no protocol"},
	{of: "notify/outbox", may: []string{"notify", "tasks/disk"}, why: adapterWhy},
	{of: "notify/ping", why: adapterWhy},
	{of: "notify/practice", may: []string{"notify", "notify/practice"}, why: adapterWhy},
	{of: "notify", may: []string{"tasks", "tasks/civil", "tasks/finding", "tasks/husbandry"}, not: pure, why: "the ports are words, not wires"},
	{of: "cmd", may: []string{"..."}, why: "the command joins everything"},
	{of: "testdata", may: []string{"testdata/..."}, why: "programs beside the tests stand alone"},
}

const module = "nestround"

// wording is the package that words numbers, dates, lists and plurals. Every
// package may import it, except tasks/civil, which it imports itself. So no
// layer has to list it.
const wording = "tasks/english"

func TestLayers(t *testing.T) {
	root := filepath.Join("..", "..")
	fset := token.NewFileSet()
	files := 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && file != root && (strings.HasPrefix(name, ".") || name == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		files++
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		folder := path.Dir(filepath.ToSlash(rel))
		l, ok := layerOf(folder)
		if !ok {
			t.Errorf("%s: no layer has a place for the folder %s", rel, folder)
			return nil
		}
		f, err := parser.ParseFile(fset, file, nil, 0)
		if err != nil {
			return err
		}
		for _, spec := range f.Imports {
			imp, _ := strconv.Unquote(spec.Path.Value)
			if own, ok := strings.CutPrefix(imp, module+"/"); ok {
				if own == wording && l.of != "tasks/civil" {
					continue
				}
				if !allows(l.may, own) {
					t.Errorf("%s: imports %s, which packages under %s may not: %s", rel, imp, l.of, l.why)
				}
			} else if allows(l.not, imp) {
				t.Errorf("%s: imports %s, which packages under %s may not: %s", rel, imp, l.of, l.why)
			}
		}
		if strings.HasPrefix(folder, "scheduler") || folder == "tasks" || folder == "tasks/civil" || folder == wording || folder == "tasks/husbandry" {
			ast.Inspect(f, func(n ast.Node) bool {
				sel, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "Tick", "NewTimer", "NewTicker"}, sel.Sel.Name) {
					t.Errorf("%s: reads the clock (time.%s); the date is handed in, so that any day can be planned again", rel, sel.Sel.Name)
				}
				return true
			})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 30 {
		t.Errorf("only %d files were read; is %s the module's root?", files, root)
	}
}

func layerOf(folder string) (layer, bool) {
	best, found := layer{}, false
	for _, l := range layers {
		if (folder == l.of || strings.HasPrefix(folder, l.of+"/")) && len(l.of) >= len(best.of) {
			best, found = l, true
		}
	}
	return best, found
}

func allows(list []string, imp string) bool {
	return slices.ContainsFunc(list, func(p string) bool {
		if p == "..." {
			return true
		}
		below, ok := strings.CutSuffix(p, "/...")
		return imp == p || ok && (imp == below || strings.HasPrefix(imp, below+"/"))
	})
}

// Every package comment says what the package is for.
func TestEveryPackageHasAComment(t *testing.T) {
	root := filepath.Join("..", "..")
	said := make(map[string]bool)
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && file != root && (strings.HasPrefix(name, ".") || name == "node_modules") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		src, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, src, parser.PackageClauseOnly|parser.ParseComments)
		if err != nil {
			return err
		}
		folder := filepath.Dir(file)
		said[folder] = said[folder] || f.Doc != nil && len(f.Doc.Text()) > 100
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for folder, ok := range said {
		if !ok {
			t.Errorf("%s: no package comment that says what it is for, where to start and what it leaves out", folder)
		}
	}
}

// A type of the house with more methods than this limit mixes two concerns.
func TestEveryTypeOfTheHouseIsSmall(t *testing.T) {
	const most = 25
	names, err := filepath.Glob("house/*.go")
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	methods := make(map[string]int)
	for _, name := range names {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv != nil {
				of := f.Recv.List[0].Type
				if star, ok := of.(*ast.StarExpr); ok {
					of = star.X
				}
				if id, ok := of.(*ast.Ident); ok {
					methods[id.Name]++
				}
			}
		}
	}
	for name, n := range methods {
		if n > most {
			t.Errorf("%s has %d methods; give one of its concerns a type or functions of its own", name, n)
		}
	}
}
