package main

import (
	"go/ast"
	"go/types"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/go/packages"
)

// Imports do not show every dependency between the scheduler's layers. These
// tests read the names that its packages use.

const (
	rulePackage = module + "/scheduler/rule"
	planPackage = module + "/scheduler/plan"
)

// shared lists the files of package rule with helpers for all rules. rules.go
// lists the rules and is no rule itself.
var shared = []string{"common.go", "called.go", "events.go"}

// chained lists the rules whose tasks depend on the outcome of earlier tasks.
// Only these rules may ask the Day for outcomes.
var chained = []string{"ride.go", "quarantine.go", "winter.go", "stock.go"}

func TestRules(t *testing.T) {
	files := 0
	uses(t, rulePackage, func(file string, at string, used types.Object) {
		if file == "rules.go" {
			return
		}
		files++
		if used.Pkg() == nil {
			return
		}
		name := used.Name()
		switch used.Pkg().Path() {
		case rulePackage:
			// Only package-level names count. A field or method belongs to a
			// type, and the rule had to name the type first.
			if used.Parent() != used.Pkg().Scope() {
				return
			}
			if home := declaredIn[used]; home != file && !slices.Contains(shared, home) && home != "rules.go" {
				t.Errorf("%s: uses %s of %s; rules do not know one another", at, name, home)
			}
		case module + "/tasks":
			if isMark(used) {
				t.Errorf("%s: uses tasks.%s; a rule knows no mark, the plan settles what it proposes", at, name)
			}
		case planPackage:
			if strings.HasPrefix(name, "Became") && !slices.Contains(chained, file) {
				t.Errorf("%s: asks what became of a task; only chains may (%s)", at, strings.Join(chained, ", "))
			}
		}
	})
	if files == 0 {
		t.Error("no rule was read")
	}
}

// isMark reports whether a name of package tasks belongs to the marks that the
// keeper gives a task.
func isMark(o types.Object) bool {
	named := func(t types.Type) string {
		if p, ok := t.(*types.Pointer); ok {
			t = p.Elem()
		}
		if n, ok := t.(*types.Named); ok {
			return n.Obj().Name()
		}
		return ""
	}
	marks := []string{"Verb", "Outcome", "Marks", "History", "Act", "Entry"}
	switch o := o.(type) {
	case *types.TypeName:
		return slices.Contains(marks, o.Name())
	case *types.Const:
		return named(o.Type()) == "Verb"
	case *types.Func:
		recv := o.Signature().Recv()
		return recv != nil && slices.Contains(marks, named(recv.Type()))
	}
	return false
}

// The plan treats all kinds of task alike: the differences between kinds are
// columns of the table of kinds.
func TestThePlanNamesNoKind(t *testing.T) {
	names := 0
	uses(t, planPackage, func(_ string, at string, used types.Object) {
		names++
		if c, ok := used.(*types.Const); ok && c.Type().String() == module+"/tasks/husbandry.Kind" {
			t.Errorf("%s: names the kind %s; make what it decides a column of the table of kinds, or a rule", at, c.Name())
		}
	})
	if names == 0 {
		t.Error("nothing was read")
	}
}

// declaredIn maps each name of the examined package to the file that declares
// it.
var declaredIn map[types.Object]string

// uses calls yield for every name that the files of a package use.
func uses(t *testing.T, path string, yield func(file, at string, used types.Object)) {
	t.Helper()
	loaded, err := packages.Load(&packages.Config{Mode: packages.NeedName | packages.NeedFiles | packages.NeedSyntax | packages.NeedTypes | packages.NeedTypesInfo | packages.NeedImports}, path)
	if err != nil {
		t.Fatal(err)
	}
	if packages.PrintErrors(loaded) > 0 || len(loaded) != 1 {
		t.Fatalf("%s could not be read", path)
	}
	p := loaded[0]
	declaredIn = make(map[types.Object]string)
	for _, name := range p.Types.Scope().Names() {
		o := p.Types.Scope().Lookup(name)
		declaredIn[o] = filepath.Base(p.Fset.Position(o.Pos()).Filename)
	}
	for _, f := range p.Syntax {
		file := filepath.Base(p.Fset.Position(f.Pos()).Filename)
		ast.Inspect(f, func(n ast.Node) bool {
			if id, ok := n.(*ast.Ident); ok {
				if used := p.TypesInfo.Uses[id]; used != nil {
					pos := p.Fset.Position(id.Pos())
					yield(file, path[len(module)+1:]+"/"+filepath.Base(pos.String()), used)
				}
			}
			return true
		})
	}
}
