package husbandry

// Called is a routine that yields nothing by itself. A rule of the planner asks
// for it when a finding, a forecast or a winter calls for it: to review the
// care of a mother with many slugs, to lower the temperature of a rack. The
// rule decides for whom, from which day and why, so the routine has neither a
// scope nor a selector. A routine called for that alarms is neither put off nor
// skipped.
type Called struct {
	Routine
	// Asks is what to record; empty: what the kind asks for.
	Asks []FindingName
	// Cases are the titles and cautions of what may be the matter. Titles, here
	// and in the routine, may hold a word in braces that the rule replaces by an
	// amount: "Lower to {degrees}".
	Cases []Case
}

// Case is a title, a caution or both that take the place of a routine's own
// where its rule says so.
type Case struct{ Name, Title, Caution string }

// In returns the routine in the words of its cases of these names, a later one
// over an earlier one. Names of no case change nothing.
func (c *Called) In(names ...string) Routine {
	r := c.Routine
	for _, name := range names {
		for _, k := range c.Cases {
			if k.Name != name {
				continue
			}
			if k.Title != "" {
				r.Title = k.Title
			}
			if k.Caution != "" {
				r.Caution = k.Caution
			}
		}
	}
	return r
}

// CalledFor returns the routine of an id that is called for, or nil: the books
// have none.
func (r *Records) CalledFor(id ID) *Called {
	for i := range r.Called {
		if r.Called[i].ID == id {
			return &r.Called[i]
		}
	}
	return nil
}
