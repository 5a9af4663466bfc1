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

// Verb is the action of a command.
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

// Target is a record of the books that a command names in place of a number.
type Target = finding.Target

// OfIncubator is the scope of an incubator. An incubator can only be the
// destination of a clutch's move; a command can say nothing else about it.
const OfIncubator = finding.OfIncubator

// Known finds a record of the books by its id, in any case. With a nil Known,
// there are no records, and only numbers are understood.
type Known = finding.Known

// When is the day to which a task is put off. Exactly one field is set; if
// ByWeekday is set, Weekday counts, because the zero Weekday is a Sunday.
type When struct {
	Days      int // days after the day of the digest, at least 1
	ByWeekday bool
	Weekday   time.Weekday // the next such weekday after the day of the digest
	Date      civil.Date
}

// String returns w in the words of the grammar: "2 days", "friday",
// "2027-05-12".
func (w When) String() string {
	switch {
	case w.ByWeekday:
		return strings.ToLower(w.Weekday.String())
	case !w.Date.IsZero():
		return w.Date.String()
	}
	return english.Days(w.Days)
}

// after returns the day that w stands for in an answer to the digest of the day
// on.
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

// Command is a single statement of the keeper, as [Parse] understood it. Its
// numbers are not looked up yet; [Resolve] does that.
type Command struct {
	Verb Verb
	// Numbers are in rising order, each only once. For Done, Skip, Later and
	// Undo they are the tasks, for AllBut the exceptions. Note and Found have a
	// single number if Record is not set.
	Numbers []int
	ranges  []span // the ranges among Numbers, as they were written
	Record  Target // for Found, Note and Undo; if zero, Numbers counts
	Entry   string // for Undo: the tag of an entry of the daybook, in place of numbers; see tasks.Tag
	When    When   // for Later
	Why     string // for Skip and Later; "" for none
	// Finding is the finding; for Note, only its field Note is set.
	Finding tasks.Finding
}

// span is a range of numbers, both ends included.
type span struct{ from, to int }

// String writes c in words that Parse reads back: "done 1 3 5-7", "7 laid 6 and
// 2 slugs", "skip 2: too cold".
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
		if c.Entry != "" {
			return "undo entry " + c.Entry
		}
		return "undo " + target
	case Found:
		return target + " " + finding.Command(&c.Finding)
	}
	return string(c.Verb) + " " + numbers + why
}

// listed writes rising numbers in a short form: "1 3 5-7".
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
