package books

import (
	"slices"

	"nestround/config"
	"nestround/config/tables"
	"nestround/tasks/husbandry"
)

// carer reads a [[keeper]], one of several people who share the work.
func (r *reader) carer(t *tables.Table) {
	v := husbandry.Carer{ID: r.id(t, "keeper"), Name: t.Text("name"), Rest: true}
	v.Mail, _ = tables.Parsed(t, "mail", config.Address)
	if f := t.Table("for"); t.Has("for") {
		v.Rest = false
		v.Kinds = tables.Choices(f, "kinds", husbandry.Kinds()...)
		v.Routines = r.refList(f, "routines", "routine")
		for _, key := range []string{"kinds", "routines"} {
			if f.IsEmptyList(key) {
				f.Place(key).Error("`"+key+"` is an empty list, which would select everything", "leave the key out to select everything")
			}
		}
		v.For = r.selector(f)
	}
	t.Done()
	r.carers = append(r.carers, placed[husbandry.Carer]{v, t})
}

// checkCarers warns if every [[keeper]] is limited to certain tasks by `for`,
// because nobody then does the remaining tasks.
func (r *reader) checkCarers() {
	if len(r.carers) > 0 && !slices.ContainsFunc(r.carers, func(c placed[husbandry.Carer]) bool { return c.value.Rest }) {
		r.carers[0].at.Here().Warn("no [[keeper]] is without `for`", "what is none of theirs is shown to all of them; a keeper without `for` has the rest")
	}
}
