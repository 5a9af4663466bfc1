package reply

import (
	"strconv"
	"strings"
	"time"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/finding"
)

// Verb says what a command does.
type Verb string

// The verbs.
const (
	Done   Verb = "done"
	All    Verb = "all"
	AllBut Verb = "all but"
	Skip   Verb = "skip"
	Later  Verb = "later"
	Undo   Verb = "undo"
	Note   Verb = "note"
	Found  Verb = "found" // one of the findings of finding.All
)

// Target is a record of the books that a command names instead of a number.
type Target = finding.Target

// OfIncubator is the scope of an incubator, which a clutch is moved to and
// nothing else is said of.
const OfIncubator = finding.OfIncubator

// Known finds a record of the books by its id, in any case. A nil Known knows
// none, and then only numbers are understood.
type Known = finding.Known

// When is the day to which a task is put off. Exactly one field is set, or
// Weekday with ByWeekday, whose zero is a Sunday.
type When struct {
	Days      int // from the day of the digest, 1 or more
	ByWeekday bool
	Weekday   time.Weekday // the next one after the day of the digest
	Date      civil.Date
}

// String returns w in the grammar's words: "2 days", "friday", "2027-05-12".
func (w When) String() string {
	switch {
	case w.ByWeekday:
		return strings.ToLower(w.Weekday.String())
	case !w.Date.IsZero():
		return w.Date.String()
	}
	return english.Days(w.Days)
}

// after returns the day w means when it is said about the round of the day on.
func (w When) after(on civil.Date) civil.Date {
	switch {
	case w.ByWeekday:
		days := (int(w.Weekday) - int(on.Weekday()) + 7) % 7
		if days == 0 {
			days = 7
		}
		return on.AddDays(days)
	case !w.Date.IsZero():
		return w.Date
	}
	return on.AddDays(w.Days)
}

// Command is one thing a keeper said, as [Parse] understood it. Numbers are
// not looked up yet: that is [Resolve]'s.
type Command struct {
	Verb Verb
	// Numbers are rising and each given once: the tasks of Done, Skip, Later
	// and Undo, the exceptions of AllBut, and the one of Note and Found where
	// Record is not set.
	Numbers []int
	Record  Target // of Found, Note and Undo; zero: Numbers counts
	When    When   // of Later
	Why     string // of Skip and Later; "" for none
	// Finding is what was found; of Note only its Note is set.
	Finding tasks.Finding
}

// String writes c so that Parse reads it back: "done 1 3 5-7",
// "7 laid 6 and 2 slugs", "skip 2: too cold".
func (c Command) String() string {
	numbers := listed(c.Numbers)
	target := numbers
	if c.Record.ID != "" {
		target = string(c.Record.ID)
	}
	why := ""
	if c.Why != "" {
		why = ": " + c.Why
	}
	switch c.Verb {
	case All:
		return "all"
	case Later:
		return "later " + numbers + " " + c.When.String() + why
	case Note:
		return "note " + target + ": " + c.Finding.Note
	case Undo:
		return "undo " + target
	case Found:
		return target + " " + finding.Command(&c.Finding)
	}
	return string(c.Verb) + " " + numbers + why
}

// listed writes rising numbers shortly: "1 3 5-7".
func listed(numbers []int) string {
	var b strings.Builder
	for i := 0; i < len(numbers); {
		end := i
		for end+1 < len(numbers) && numbers[end+1] == numbers[end]+1 {
			end++
		}
		if b.Len() > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(strconv.Itoa(numbers[i]))
		if end-i >= 2 {
			b.WriteString("-" + strconv.Itoa(numbers[end]))
			i = end
		}
		i++
	}
	return b.String()
}
