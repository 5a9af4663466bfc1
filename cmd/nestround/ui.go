package main

// Rules for the command's output. Data goes to stdout, everything else to
// stderr. Sentences are plain, start in lower case after "nestround:" and have
// no full stop. An error says what happened and where; its hint says what to
// do. Bold and colour never carry information alone. Tables fit 80 columns.

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

const width = 80

// between separates the parts of a task's line.
const between = " \u00b7 "

// taskJSON is a task as `round --json` and `ahead --json` show it.
type taskJSON struct {
	N       *int   `json:"n,omitempty"` // the task's number, in round only
	Key     string `json:"key"`
	Kind    string `json:"kind"`
	Routine string `json:"routine"`
	Subject string `json:"subject"`
	Room    string `json:"room"`
	Rack    string `json:"rack"`
	Part    string `json:"part"`
	Due     string `json:"due"`
	Status  string `json:"status"`
	Title   string `json:"title"`
	Why     string `json:"why"`
	Minutes int    `json:"minutes"`
	Caution string `json:"caution"`
}

func toJSON(n *int, t tasks.Task) taskJSON {
	return taskJSON{
		N: n, Key: string(t.Key), Kind: string(t.Kind), Routine: string(t.Routine), Subject: string(t.Subject),
		Room: string(t.Place.Room), Rack: string(t.Place.Rack), Part: string(t.Part),
		Due: t.Due.String(), Status: string(t.Status), Title: t.Title, Why: t.Why, Minutes: t.Minutes, Caution: t.Caution,
	}
}

// printable makes text of other people safe for a terminal: it removes
// characters that could move the cursor or set colours.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

// bold marks a heading, on terminals only.
func (p *program) bold(s string) string {
	if !p.terminal {
		return s
	}
	return "\x1b[1m" + s + "\x1b[0m"
}

// printRound writes a day's board: first the alarms, then the overdue tasks,
// then the rounds by part of the day, room and animal, and last the lapsed
// tasks. Each caution is written in full once. Later tasks with the same
// caution refer to that task's number.
func (p *program) printRound(b *tasks.Board, hours map[husbandry.Part]civil.TimeOfDay) {
	w := p.stdout
	var open, overdue, alarms, minutes int
	for _, r := range b.Open() {
		open++
		minutes += r.Minutes
		if r.Alarm() {
			alarms++
		}
		if r.Status == tasks.Overdue {
			overdue++
		}
	}
	head := english.LongDate(b.On)
	if open == 0 {
		head += ": nothing left to do"
	} else {
		head += fmt.Sprintf(": %s, about %d min", english.Count(open, "task"), minutes)
	}
	if overdue > 0 {
		head += fmt.Sprintf(", %d overdue", overdue)
	}
	if alarms > 0 {
		head += ", " + english.Count(alarms, "alarm")
	}
	fmt.Fprintln(w, p.bold(head))
	told := make(map[string]int) // number of the task that shows a caution in full
	for rows := b.Rows; len(rows) > 0; {
		heading, n := headingOf(rows[0], hours), 1
		for n < len(rows) && headingOf(rows[n], hours) == heading {
			n++
		}
		fmt.Fprintf(w, "\n%s\n", p.bold(heading))
		p.printRows(b.On, rows[:n], told)
		rows = rows[n:]
	}
}

// printRows writes the tasks below one heading. If two neighbouring tasks are
// about the same animal, all tasks are grouped below lines with the animals'
// names. Otherwise each task has its full title, which takes less room.
func (p *program) printRows(on civil.Date, rows []tasks.Row, told map[string]int) {
	bySubject := false
	for i := range rows[1:] {
		bySubject = bySubject || whom(rows[i]) != "" && whom(rows[i]) == whom(rows[i+1])
	}
	last := ""
	for i, r := range rows {
		title := r.Title
		if now := whom(r); bySubject {
			if i == 0 && now != "" || i > 0 && now == "" && last != "" {
				fmt.Fprintln(p.stdout)
			}
			if now != "" {
				title = r.Do
			}
			if now != last {
				p.printSubject(now)
			}
			last = now
		}
		printRow(p.stdout, on, r, title, told)
	}
}

// whom returns the subject of a task that can be grouped below its subject, and
// else "".
func whom(r tasks.Row) string {
	if r.Do == "" {
		return ""
	}
	return r.Whom
}

// printSubject writes a line with the name of a subject, unless the name is "".
func (p *program) printSubject(subject string) {
	if subject == "" {
		return
	}
	for _, line := range wrap(subject, width) {
		fmt.Fprintln(p.stdout, p.bold(line))
	}
}

func headingOf(r tasks.Row, hours map[husbandry.Part]civil.TimeOfDay) string {
	switch {
	case r.Status == tasks.Lapsed:
		return "Lapsed: not done in its time, and not owed any more"
	case r.Urgent:
		return "Alarm"
	case r.Late:
		return "Overdue"
	}
	h := english.UpperFirst(string(r.Part))
	if t, ok := hours[r.Part]; ok {
		h += " " + t.String()
	}
	if r.Place.RoomName != "" {
		h += ", " + r.Place.RoomName
	}
	return h
}

// printRow writes a task with the given title, on one line if it fits. The
// first task with a caution shows the caution in full. A task that an animal's
// safety may depend on always shows its caution in full.
func printRow(w io.Writer, on civil.Date, r tasks.Row, title string, told map[string]int) {
	number := "     "
	if r.N > 0 {
		number = fmt.Sprintf("%3d  ", r.N)
	}
	if state := stateOf(r, on); state != "" {
		title += between + state
	}
	open := r.Status == tasks.Due || r.Status == tasks.Overdue
	special := open && (r.Pinned || r.Window != nil || r.Missed == husbandry.Alarms)
	var said []string
	caution := ""
	if open {
		said, caution = remarks(r, special, told)
	}
	line := strings.Join(append([]string{title}, said...), between)
	if special || utf8.RuneCountInString(number+line) > width {
		printIndented(w, number, title)
		number, line = strings.Repeat(" ", len(number)), strings.Join(said, between)
	}
	if line != "" {
		printIndented(w, number, line)
	}
	if caution != "" {
		printIndented(w, strings.Repeat(" ", len(number)), caution)
	}
}

// remarks returns the short remarks on an open task. It also returns the
// caution, if the caution is to be written in full at this task.
func remarks(r tasks.Row, special bool, told map[string]int) (said []string, caution string) {
	if r.Why != "" {
		said = append(said, r.Why)
	}
	at := cautionAt(r, told)
	switch {
	case at > 0 && !special:
		said = append(said, fmt.Sprintf("Caution: see %d", at))
	case r.Caution != "":
		caution = "Caution: " + r.Caution
	}
	return said, caution
}

// stateOf returns the outcome of a task, or the day on which it was due; "" for
// an open task that is due on the day itself.
func stateOf(r tasks.Row, on civil.Date) string {
	switch r.Status {
	case tasks.Done:
		return "done"
	case tasks.Skipped:
		return "skipped"
	case tasks.Upcoming:
		return "put off to " + english.ShortWeekday(r.Due, on)
	case tasks.Lapsed:
		return "was due " + english.ShortWeekday(r.Due, on)
	case tasks.Overdue:
		return "due " + english.ShortWeekday(r.Due, on)
	}
	return ""
}

// cautionAt returns the number of the task that shows the caution of r in full.
// If no earlier task shows the caution, cautionAt returns 0 and records r as
// the task that shows it.
func cautionAt(r tasks.Row, told map[string]int) int {
	if r.Caution == "" {
		return 0
	}
	at := told[r.Caution]
	if at == 0 && r.N > 0 {
		told[r.Caution] = r.N
	}
	return at
}

// printIndented writes first and then text, wrapped to the width. The further
// lines begin at the column where text begins.
func printIndented(w io.Writer, first, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(first))
	for i, line := range wrap(text, width-len(indent)) {
		if i > 0 {
			first = indent
		}
		fmt.Fprintln(w, first+line)
	}
}

// wrap breaks text between words into lines of at most n characters. A word
// longer than n gets its own line.
func wrap(text string, n int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= n:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	return append(lines, line)
}
