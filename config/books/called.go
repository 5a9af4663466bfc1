package books

import (
	"fmt"
	"slices"
	"sync"

	"nestround/config/diag"
	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

// Called returns the built-in routines that a rule of the planner asks for.
// [Load] puts the same routines into all records. The built-in files are read
// only once, and callers must not change the routines.
var Called = sync.OnceValue(func() []husbandry.Called {
	src, err := embedded.ReadFile("sheets/" + calledFile)
	if err != nil {
		panic("books: " + err.Error())
	}
	var list diag.List
	r := newReader(&list)
	r.origin = husbandry.Common
	root := tables.Parse(sheetName(calledFile), src, &list)
	for _, t := range root.Tables("routine") {
		r.called(t)
	}
	root.Done()
	if len(list) > 0 {
		panic(fmt.Sprintf("books: %v", list[0]))
	}
	return r.calledFor
})

// called reads a [[routine]] that a rule of the planner asks for.
func (r *reader) called(t *tables.Table) {
	v := husbandry.Called{Routine: husbandry.Routine{
		ID:      r.id(t, "routine"),
		Title:   t.Text("title"),
		Origin:  r.origin,
		Caution: t.Text("caution"),
		Source:  t.Prose("source"),
	}}
	var ok bool
	if v.Kind, ok = tables.Choice(t, "kind", husbandry.Kinds()...); !ok && !t.Has("kind") {
		t.Missing("`kind`", `say what it is about, for example kind = "review"`)
	}
	if v.Title == "" {
		t.Missing("`title`", "say what to do")
	}
	if v.Cadence.Pattern, ok = tables.Choice(t, "when", husbandry.CalledFor); !ok && !t.Has("when") {
		t.Missing("`when`", fmt.Sprintf("write when = %q", husbandry.CalledFor))
	}
	readWork(t, &v.Routine)
	v.Asks = tables.Choices(t, "asks", husbandry.FindLaid, husbandry.FindSlugs, husbandry.FindHatched, husbandry.FindVeins, husbandry.FindWeighs,
		husbandry.FindAdded, husbandry.FindRefused, husbandry.FindMated, husbandry.FindGravid, husbandry.FindSexed, husbandry.FindUVI, husbandry.FindIll, husbandry.FindOrdered)
	for _, c := range t.Tables("case") {
		k := husbandry.Case{Name: c.Text("name"), Title: c.Text("title"), Caution: c.Text("caution")}
		switch {
		case k.Name == "":
			c.Missing("`name`", "the rule that asks for it names the case")
		case k.Title == "" && k.Caution == "":
			c.Missing("`title` or `caution`", "without either the case changes nothing")
		case slices.ContainsFunc(v.Cases, func(o husbandry.Case) bool { return o.Name == k.Name }):
			c.Place("name").Error(fmt.Sprintf("the routine has two cases `%s`", k.Name), "")
		}
		v.Cases = append(v.Cases, k)
		c.Done()
	}
	r.needSource(t, v.Source)
	t.Done()
	r.calledFor = append(r.calledFor, v)
}
