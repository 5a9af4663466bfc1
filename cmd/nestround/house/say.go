package house

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"nestround/notify/reply"
	"nestround/scheduler/herd"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// standing writes the valid mark and finding of a task in words: "marked as
// done; eggs: 6, on Wed 12 May".
func (j judge) standing(k tasks.Key) string {
	o, f, said := j.history.Standing(k)
	if !said {
		return ""
	}
	words := outcome(Accepted{Task: k, Mark: o.Mark, Until: o.Until, Finding: &f}, j.units, j.today)
	if day, err := civil.Parse(k.Occurrence()); err == nil && k.Routine() == tasks.Unplanned {
		words += ", on " + english.ShortWeekday(day, j.today)
	}
	return words
}

// judge decides which acts are compatible with the records and the history.
type judge struct {
	records *husbandry.Records
	history *tasks.History // a separate copy, because a history keeps its answers
	today   civil.Date
	units   husbandry.Units
}

func newJudge(s *Snapshot) judge {
	return judge{s.records, s.said.history.Before(civil.Date{}), s.today, s.settings.Units}
}

// possible returns the acts that are compatible with the records, and refuses
// the others. Earlier findings mostly do not count, so that the order in which
// replies arrive does not matter. Eggs are the exception: they are counted
// together with earlier reports about the clutch, and of two contradicting
// replies the later one is refused.
func (j judge) possible(acts []tasks.Act, board []item, on civil.Date) (possible []tasks.Act, refused []reply.Refused) {
	facts := sync.OnceValue(func() *herd.Herd { return herd.Derive(herd.Input{Records: j.records, History: j.history, On: j.today}) })
	for _, a := range acts {
		// "undo F03" withdraws the last report about F03 by its id, of any day.
		if a.Mark == tasks.Undo && a.Task.Routine() == tasks.Unplanned {
			if last := j.history.LastUnplanned(a.Task.Subject(), on); last != "" {
				a.Task = last
			}
		}
		why := j.impossible(a, on)
		if why == "" {
			why = j.ofClutch(facts, a, possible, board)
		}
		if why != "" {
			refused = append(refused, reply.Refused{Text: a.Text, Why: why})
			continue
		}
		possible = append(possible, a)
	}
	return possible, refused
}

// ofClutch says why a finding about a clutch is impossible. It returns "" if
// the finding is possible, or is not about a clutch. before are the earlier
// acts of the message that has the finding.
func (j judge) ofClutch(derive func() *herd.Herd, a tasks.Act, before []tasks.Act, board []item) string {
	f, subject := a.Finding, a.Task.Subject()
	if f == nil || a.Mark == tasks.Undo || j.isRecord(subject) {
		return "" // so a round of weights does not call derive, which is slow
	}
	facts := derive()
	c := facts.Clutch(subject)
	if c == nil {
		if slices.ContainsFunc(board, func(i item) bool { return i.Task == a.Task && i.Scope == husbandry.OfClutch }) {
			return fmt.Sprintf("there is no clutch %s any more, what was said of it was taken back; say this of the clutch by its name now", subject)
		}
		return ""
	}
	if f.Mother != "" && facts.Animal(f.Mother) != nil {
		if why := j.noMother(facts, c, facts.Animal(f.Mother)); why != "" {
			return why
		}
	}
	return j.beyondItsEggs(facts, c, a, before)
}

// isRecord reports whether an id belongs to an animal or an enclosure.
func (j judge) isRecord(id husbandry.ID) bool {
	return slices.ContainsFunc(j.records.Animals, func(a husbandry.Animal) bool { return a.ID == id }) ||
		slices.ContainsFunc(j.records.Enclosures, func(e husbandry.Enclosure) bool { return e.ID == id })
}

// beyondItsEggs says why a finding is impossible for the number of eggs in a
// clutch, or returns "". The hatched and the dead eggs together are never more
// than the laid eggs.
func (j judge) beyondItsEggs(facts *herd.Herd, c *herd.Clutch, a tasks.Act, before []tasks.Act) string {
	f := a.Finding
	if c.Eggs == 0 || f.Hatched == nil && f.Dead == nil && f.Veins == nil {
		return ""
	}
	has := fmt.Sprintf("clutch %s has %s", c.ID, english.Count(c.Eggs, "egg"))
	change := fmt.Sprintf("; if it had more, give it a record that says so: [[clutch]] with id = %q, laid = %s and eggs", c.ID, c.Laid)
	if !c.Found {
		has += " in the records"
		change = "; if it had more, change its eggs there"
	}
	if f.Veins != nil && *f.Veins > c.Eggs {
		return has + change
	}
	said := j.reported(facts, c, before)
	was := said.sum()
	said.add(a.Task, f)
	is := said.sum()
	if is.hatched+is.dead <= c.Eggs || is.hatched+is.dead <= was.hatched+was.dead {
		return ""
	}
	if already := was.words(); already != "" {
		has += ", " + already + " until now"
		change += "; if what was said before is wrong, undo that"
	}
	return has + change
}

// reported returns the reports about the eggs of the clutch c: from the
// history, and from earlier acts of the message that is being judged.
func (j judge) reported(facts *herd.Herd, c *herd.Clutch, before []tasks.Act) fates {
	said := make(fates)
	for _, found := range j.history.Found() {
		if facts.Clutch(found.Task.Subject()) == c {
			said.add(found.Task, &found.Finding)
		}
	}
	for _, b := range before {
		switch {
		case facts.Clutch(b.Task.Subject()) != c:
		case b.Mark == tasks.Undo:
			delete(said, b.Task)
		case b.Finding != nil:
			said.add(b.Task, b.Finding)
		}
	}
	return said
}

// eggs has the numbers of hatched and dead eggs of a clutch.
type eggs struct{ hatched, dead int }

// words writes the numbers, such as "3 hatched and 1 found dead", or "" for
// none.
func (e eggs) words() string {
	var parts []string
	if e.hatched > 0 {
		parts = append(parts, fmt.Sprintf("%d hatched", e.hatched))
	}
	if e.dead > 0 {
		parts = append(parts, fmt.Sprintf("%d found dead", e.dead))
	}
	return english.List(parts)
}

// fates has the reports about a clutch's eggs, by task. The last report of a
// task replaces the earlier ones.
type fates map[tasks.Key]eggs

func (x fates) add(k tasks.Key, f *tasks.Finding) {
	n := x[k]
	if f.Hatched != nil {
		n.hatched = max(0, *f.Hatched)
	}
	if f.Dead != nil {
		n.dead = max(0, *f.Dead)
	}
	x[k] = n
}

func (x fates) sum() (n eggs) {
	for _, s := range x {
		n.hatched, n.dead = n.hatched+s.hatched, n.dead+s.dead
	}
	return n
}

// impossible says why a finding contradicts the records, or returns "".
func (j judge) impossible(a tasks.Act, on civil.Date) string {
	if a.Finding == nil || a.Mark == tasks.Undo {
		return ""
	}
	subject := a.Task.Subject()
	for _, e := range j.records.Enclosures {
		if e.ID == subject && a.Finding.Added != nil && e.NestBox == nil {
			return fmt.Sprintf("%s has no nest box in the records", e.ID)
		}
	}
	for _, r := range j.records.Animals {
		if r.ID != subject {
			continue
		}
		if why := notOf(r, a.Finding, on); why != "" {
			return why
		}
		if why := tooMany(a.Finding, j.records.Heads(r.ID, on), string(r.ID)); why != "" {
			return why
		}
	}
	for _, c := range j.records.Clutches {
		if c.ID == subject && c.Eggs > 0 {
			if why := tooMany(a.Finding, c.Eggs, "clutch "+string(c.ID)); why != "" {
				return why
			}
		}
	}
	return ""
}

// notOf says why an animal's sex, age or departure contradicts a finding, or
// returns "".
func notOf(r husbandry.Animal, f *tasks.Finding, on civil.Date) string {
	switch carries := carriesEggs(f); {
	case carries && r.Sex == husbandry.Male:
		return fmt.Sprintf("%s is a male in the records", r.ID)
	case !r.Left.IsZero() && !on.Before(r.Left):
		return fmt.Sprintf("%s left on %s", r.ID, english.Date(r.Left))
	case carries && !r.Hatched.IsZero() && on.Sub(r.Hatched) < youngestMother:
		return fmt.Sprintf("%s is %s old", r.ID, english.Days(on.Sub(r.Hatched)))
	case f.Sexed != nil && (r.Sex == husbandry.Female && f.Sexed.Males > 0 || r.Sex == husbandry.Male && f.Sexed.Females > 0):
		return fmt.Sprintf("%s is a %s in the records; if that is wrong, change its sex there", r.ID, r.Sex)
	}
	return ""
}

// carriesEggs reports whether a finding can only be about a female with eggs.
func carriesEggs(f *tasks.Finding) bool {
	return f.Laid != nil || f.More != nil || f.Digging || f.Slugs != nil || f.Gravid != nil && *f.Gravid
}

// noMother says why an animal cannot be the mother of a clutch, or returns "".
func (j judge) noMother(facts *herd.Herd, c *herd.Clutch, her *herd.Animal) string {
	switch {
	case her.Sex == husbandry.Male:
		return fmt.Sprintf("%s is a male in the records", her.ID)
	case c.Mother != "" && c.Mother != her.ID && !c.Found:
		return fmt.Sprintf("clutch %s is of %s in the records; if that is wrong, change its mother there", c.ID, c.Mother)
	case c.Mother != "" && c.Mother != her.ID && !c.FoundOut:
		return fmt.Sprintf(`clutch %s was found with %s; if that is wrong, undo what was said there, and say it of her, as in "%s laid %d"`, c.ID, c.Mother, her.ID, max(1, c.Eggs))
	case c.Found && c.Enclosure != "":
		kin := func(a *herd.Animal) bool { return a.Species == her.Species }
		if lives := facts.Residents(c.Enclosure); len(lives) > 0 && !slices.ContainsFunc(lives, kin) {
			return fmt.Sprintf("%s is a %s, and none lives in %s by the records", her.ID, strings.ReplaceAll(string(her.Species), "-", " "), c.Enclosure)
		}
	}
	return ""
}

// tooMany says why a finding does not fit the number of animals, or returns "".
// A finding about more animals than there are does not fit, nor does a finding
// about one animal if there are several.
func tooMany(f *tasks.Finding, heads int, what string) string {
	switch {
	case len(f.Each) > max(1, heads):
		return fmt.Sprintf("%s is %s in the records, and these are %d weights", what, english.Count(heads, "animal"), len(f.Each))
	case f.Sexed == nil:
	case f.Sexed.All() > max(1, heads):
		return fmt.Sprintf("%s is %s in the records, and these are %d", what, english.Count(heads, "animal"), f.Sexed.All())
	case heads > 1 && f.Sexed.All() == 1:
		return fmt.Sprintf(`%s is %d animals in the records; say males.females.unsure, as in "sexed 1.2.0"`, what, heads)
	}
	return ""
}

// youngestMother is an age in days below which no lizard lays. The smallest and
// fastest kept species need about three months (common practice).
const youngestMother = 60

// known finds the records that a command may name: animals, enclosures,
// clutches from records and from findings, incubators to which clutches are
// moved, and live food.
func (j judge) known() reply.Known {
	records := make(map[string]reply.Target)
	add := func(id husbandry.ID, scope husbandry.Scope) {
		records[strings.ToLower(string(id))] = reply.Target{ID: id, Scope: scope}
	}
	for _, c := range herd.Derive(herd.Input{Records: j.records, History: j.history, On: j.today}).Clutches {
		add(c.ID, husbandry.OfClutch)
		for _, id := range c.Aliases {
			add(id, husbandry.OfClutch)
		}
	}
	for _, e := range j.records.Enclosures {
		add(e.ID, husbandry.OfEnclosure)
	}
	for _, a := range j.records.Animals {
		add(a.ID, husbandry.OfAnimal)
	}
	for _, i := range j.records.Incubators {
		add(i.ID, reply.OfIncubator)
	}
	for _, f := range j.records.Feeders {
		add(f.ID, husbandry.OfFeeder)
	}
	return func(word string) (reply.Target, bool) {
		t, ok := records[strings.ToLower(word)]
		return t, ok
	}
}

func describe(f *tasks.Finding, u husbandry.Units) string {
	if f == nil {
		return ""
	}
	return finding.Said(f, u)
}
