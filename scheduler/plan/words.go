package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestround/scheduler/herd"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// This file has the words that all tasks share; a rule words the reasons of its
// own tasks. Titles are orders that name the subject and its place. Reasons are
// phrases that begin with a capital letter. Neither may look like a command of
// a reply ("done 1", "7 laid 6").

// CadenceWords writes how often a routine has a task: "Every 2 days".
func CadenceWords(c husbandry.Cadence) string {
	every := func(n husbandry.Days) string {
		switch n {
		case 1:
			return "Every day"
		case 7:
			return "Every week"
		}
		return "Every " + english.Days(n)
	}
	switch {
	case c.Pattern == husbandry.Stepped:
		return "When the day length has moved"
	case c.Pattern == husbandry.Riding:
		noun := c.Host.Noun().One
		if c.Nth <= 1 {
			return "With every " + noun
		}
		return "With every " + english.Ordinal(c.Nth) + " " + noun
	case len(c.Weekdays) > 0:
		var names []string
		for d := range 7 { // from Monday, the first day of the written week
			if w := (d + 1) % 7; slices.ContainsFunc(c.Weekdays, func(x time.Weekday) bool { return int(x) == w }) {
				names = append(names, time.Weekday(w).String())
			}
		}
		if len(names) == 7 {
			return "Every day"
		}
		return "Every " + english.List(names)
	case len(c.MonthDays) > 0:
		days := slices.Clone(c.MonthDays)
		slices.Sort(days)
		var names []string
		for _, d := range slices.Compact(days) {
			names = append(names, english.Ordinal(d))
		}
		return "On the " + english.List(names) + " of the month"
	case c.Cron != "":
		return "By the calendar rule " + c.Cron
	}
	return every(c.Every)
}

// title returns the order with its subject, in the words of the routine or, if
// it has none, of its kind. do is the order alone, for lists under a heading
// with the subject.
func (d *settling) title(s *Subject, r *Routine) (title, do string) {
	do = strings.TrimSpace(r.Title)
	if do == "" {
		do = r.Kind.Action(s.Clutch != nil)
	}
	if do == "" {
		do = "Routine " + string(r.ID)
	}
	title = do
	if s.name != "" {
		title = husbandry.TitleFor(do, s.Label())
	}
	return TitleLine(title), TitleLine(do)
}

// Label returns the name of the subject. The label of a clutch begins with the
// word "clutch".
func (s *Subject) Label() string {
	if s.Clutch != nil {
		return "clutch " + s.name
	}
	return s.name
}

// Name returns the subject in words; "" for the keeper.
func (s *Subject) Name() string { return s.name }

// nameLine returns a subject's label as one line; "" if there is no label.
func nameLine(label string) string {
	if label == "" {
		return ""
	}
	return TitleLine(label)
}

func (d maker) speciesName(id husbandry.ID, n int) string {
	name := d.Species(id).Name
	if name == "" {
		name = string(id)
	}
	if n > 1 {
		name = english.PluralName(name)
	}
	return english.LowerFirst(name)
}

// enclosureName writes "E07 (Ada, wall lizard)".
func (d maker) enclosureName(s *Subject) string {
	var names, species []string
	total := 0
	for _, a := range s.Animals {
		if !a.PresentOn(d.On) {
			continue
		}
		total += a.Count
		names = append(names, herd.AnimalWord(a))
		if !slices.Contains(species, string(a.Species)) {
			species = append(species, string(a.Species))
		}
	}
	id := string(s.ID)
	if len(names) == 0 {
		return id
	}
	var kinds []string
	for _, sp := range species {
		kinds = append(kinds, d.speciesName(husbandry.ID(sp), total))
	}
	if len(names) > 3 || total > len(names) {
		return fmt.Sprintf("%s (%d %s)", id, total, english.List(kinds))
	}
	return fmt.Sprintf("%s (%s, %s)", id, english.List(names), english.List(kinds))
}

// animalName writes "Ada (F03, wall lizard, in E07)".
func (d maker) animalName(a *herd.Animal) string {
	what := d.speciesName(a.Species, a.Count)
	if a.Count > 1 {
		what = strconv.Itoa(a.Count) + " " + what
	}
	where := ""
	if a.Enclosure != "" {
		where = ", in " + string(a.Enclosure)
	}
	if a.Name == "" {
		return fmt.Sprintf("%s (%s%s)", a.ID, what, where)
	}
	return fmt.Sprintf("%s (%s, %s%s)", a.Name, a.ID, what, where)
}

// clutchName writes "C27-04 (wall lizard, in E07)".
func (d maker) clutchName(c *herd.Clutch) string {
	what := d.speciesName(c.Species, 1)
	if what == "" {
		what = "unknown species"
	}
	where := ""
	if at := d.ClutchPlace(c).Enclosure; at != "" {
		where = ", in " + string(at)
	}
	return fmt.Sprintf("%s (%s%s)", c.ID, what, where)
}

// TitleLine makes one line of a title that a person wrote, and changes a title
// that reads like a command.
func TitleLine(s string) string {
	if strings.Contains(s, "  ") || strings.ContainsAny(s, "\n\r\t\v\f\u0085\u00a0") {
		s = strings.Join(strings.Fields(s), " ")
	}
	if finding.ReadsAsCommand(s) {
		return "To do: " + s
	}
	return english.UpperFirst(s)
}
