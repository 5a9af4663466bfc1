package husbandry

// Called is a routine that makes no tasks by itself. A rule of the planner uses
// it after a finding, after a forecast or in winter: to review the care of a
// mother with many slugs, or to lower the temperature of a rack. The rule
// decides for which record, from which day and why, so the routine has neither
// a scope nor a selector. A called routine that alarms can neither be put off
// nor skipped.
type Called struct {
	Routine
	// Asks lists the findings that the keeper should record; if it is empty,
	// the findings of the kind.
	Asks []FindingName
	// Cases are the titles and cautions for the possible causes. A title, here
	// and in the routine, may hold a word in braces. The rule replaces the word
	// by an amount: "Lower to {degrees}".
	Cases []Case
}

// Case is a title, a caution or both for one cause. A rule that names the case
// replaces the routine's own title and caution by these.
type Case struct{ Name, Title, Caution string }

// In returns the routine with the titles and cautions of the named cases; a
// later name overrides an earlier one. A name without a case changes nothing.
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

// CalledFor returns the called routine with an id, or nil if the books have
// none.
func (r *Records) CalledFor(id ID) *Called {
	for i := range r.Called {
		if r.Called[i].ID == id {
			return &r.Called[i]
		}
	}
	return nil
}

// CautionFor returns the caution of the routine of an id that is called for; ""
// where the books do not have the routine.
func (r *Records) CautionFor(id ID) string {
	if c := r.CalledFor(id); c != nil {
		return c.Caution
	}
	return ""
}
