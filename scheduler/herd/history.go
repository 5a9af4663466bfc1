package herd

import (
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

// LastDone is the last day on which a routine was done for a subject, or no
// date.
func (h *Herd) LastDone(subject, routine husbandry.ID) civil.Date {
	return h.History.LastDone(subject, routine)
}

// LastSaid is the last day for which any mark says that a routine was done for
// a subject, or no date. It is never before LastDone.
func (h *Herd) LastSaid(subject, routine husbandry.ID) civil.Date {
	return h.History.Marks(subject, routine).LastSaid()
}

// DoneDays returns the days since a day on which a routine was done for a
// subject, ascending.
func (h *Herd) DoneDays(subject, routine husbandry.ID, since civil.Date) []civil.Date {
	return h.History.DoneDays(subject, routine, since)
}

// Found returns every finding that can change a plan and was not taken back, in
// the order of the first report. The caller must not change the list.
func (h *Herd) Found() []tasks.Found { return h.History.Found() }
