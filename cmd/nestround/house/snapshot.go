package house

import (
	"fmt"
	"slices"
	"strings"

	"nestround/config"
	"nestround/config/diag"
	"nestround/notify"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Snapshot is the books at one moment: the settings, the records, the daybook,
// the issued digests and the incubators' temperature logs. [House.Snapshot]
// returns it. A snapshot never changes, so it always gives the same answers,
// and several goroutines may use it at once. Answers about the present are for
// [Snapshot.Today].
//
// The caller must not change the boards and lists that it returns.
type Snapshot struct {
	basis
	plans *plans
}

// newSnapshot makes a snapshot. It takes over the answers of an older snapshot
// that are still right; old may be nil.
func newSnapshot(b basis, old *Snapshot) *Snapshot {
	s := &Snapshot{basis: b, plans: newPlans()}
	if old != nil {
		s.inherit(old)
	}
	if s.plans.spread == nil {
		s.plans.spread = planner(s)
	}
	return s
}

// Settings returns the settings in force.
func (s *Snapshot) Settings() config.Settings { return *s.settings }

// Today returns the day of the snapshot in the keeper's zone.
func (s *Snapshot) Today() civil.Date { return s.today }

// Problems returns the problems of the books on the disk. stale says that an
// older state of the books is in force because of them.
func (s *Snapshot) Problems() (list diag.List, stale bool) {
	list = slices.Concat(s.problems.list, s.logs.problems)
	for _, p := range s.said.problems {
		list = append(list, diag.Problem{File: p.File, Line: p.Line, Column: p.Column,
			Severity: diag.Warning, Message: p.Message, Hint: p.Hint, Source: p.Text})
	}
	return list, s.problems.stale
}

// Counts returns the size of the books in words.
func (s *Snapshot) Counts() string {
	return strings.Join([]string{
		english.Count(len(s.records.Rooms), "room"), english.Count(len(s.records.Enclosures), "enclosure"),
		english.Count(s.records.Living(s.today), "animal"), english.Count(len(s.records.Clutches), "recorded clutch"),
		english.Count(s.said.count, "daybook entry"),
	}, ", ")
}

// Rooms returns the rooms in walking order.
func (s *Snapshot) Rooms() []husbandry.Room { return s.records.Rooms }

// Rounds returns the starting times of the parts of the day.
func (s *Snapshot) Rounds() map[husbandry.Part]civil.TimeOfDay {
	r := s.settings.Rounds
	return map[husbandry.Part]civil.TimeOfDay{husbandry.Morning: r.Morning, husbandry.Midday: r.Midday, husbandry.Evening: r.Evening}
}

// Carer returns the id of one of several keepers; for "" it returns "".
func (s *Snapshot) Carer(name string) (husbandry.ID, error) {
	var ids []string
	for _, c := range s.records.Carers {
		if strings.EqualFold(string(c.ID), name) {
			return c.ID, nil
		}
		ids = append(ids, string(c.ID))
	}
	switch {
	case name == "":
		return "", nil
	case len(ids) == 0:
		return "", fmt.Errorf("there is no keeper %q: the books have no [[keeper]]", name)
	}
	return "", fmt.Errorf("there is no keeper %q; the books have %s", name, strings.Join(ids, ", "))
}

// Clutches returns every clutch with its forecast, as of a day.
func (s *Snapshot) Clutches(on civil.Date) []outlook.ClutchForecast {
	return outlook.ClutchForecasts(s.outlook(on, on))
}

// Growths returns what each animal weighed, up to a day.
func (s *Snapshot) Growths(on civil.Date) []outlook.Growth {
	return outlook.Growths(s.facts(s.said.end(on)))
}

// Stock returns every feeder with its stock, use and next order until a day, as
// of another.
func (s *Snapshot) Stock(on, to civil.Date) []outlook.FeederStock {
	return outlook.FeederStocks(s.outlook(on, to))
}

// Unfed returns the names of the species whose animals no routine feeds.
func (s *Snapshot) Unfed() []string {
	var names []string
	for _, id := range outlook.Unfed(s.outlook(s.today, s.today)) {
		for _, sheet := range s.records.Species {
			if sheet.ID == id {
				names = append(names, sheet.Name)
			}
		}
	}
	return names
}

// TodaysIssue returns today's digest, if it has been issued.
func (s *Snapshot) TodaysIssue() (notify.Issue, bool) {
	i, ok := (*s.issued)[s.today]
	return i, ok
}

// ReplyTo returns the address for replies to an issue.
func (s *Snapshot) ReplyTo(i notify.Issue) string { return bareAddress(replyTo(s.settings, i.Token)) }

// Outcome writes a mark, its finding and its caution in words.
func (s *Snapshot) Outcome(a Accepted) string { return answered(a, s.settings.Units, s.today) }
