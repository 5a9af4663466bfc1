package main

// How the command speaks. Data goes to stdout, everything else to stderr.
// Sentences are plain, start lower case after "nestround:" and carry no full
// stop; an error says what happened and where, its hint what to do. Nothing is
// told by bold or colour alone. Tables fit 80 columns.

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

const width = 80

// taskJSON is a task as `round --json` and `ahead --json` show it.
type taskJSON struct {
	N       int    `json:"n,omitempty"`
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

func toJSON(n int, t tasks.Task) taskJSON {
	return taskJSON{
		N: n, Key: string(t.Key), Kind: string(t.Kind), Routine: string(t.Routine), Subject: string(t.Subject),
		Room: string(t.Place.Room), Rack: string(t.Place.Rack), Part: string(t.Part),
		Due: t.Due.String(), Status: string(t.Status), Title: t.Title, Why: t.Why, Minutes: t.Minutes, Caution: t.Caution,
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func longDate(d civil.Date) string  { return d.Format("Monday 2 January 2006") }
func shortDate(d civil.Date) string { return d.Format("Mon 2 Jan") }

// bold is for headings, on terminals only.
func (p *program) bold(s string) string {
	if !p.terminal {
		return s
	}
	return "\x1b[1m" + s + "\x1b[0m"
}

// printRound writes a day's board: what is overdue, then the rounds by part of
// the day and room, then what lapsed.
func (p *program) printRound(b *tasks.Board, hours map[husbandry.Part]civil.TimeOfDay) {
	w := p.stdout
	var open, overdue, minutes int
	for _, r := range b.Open() {
		open++
		minutes += r.Minutes
		if r.Status == tasks.Overdue {
			overdue++
		}
	}
	head := longDate(b.On)
	if open == 0 {
		head += ": nothing left to do"
	} else {
		head += fmt.Sprintf(": %s, about %d min", plural(open, "task", "tasks"), minutes)
	}
	if overdue > 0 {
		head += fmt.Sprintf(", %d overdue", overdue)
	}
	fmt.Fprintln(w, p.bold(head))
	heading := ""
	for _, r := range b.Rows {
		if h := headingOf(r, hours); h != heading {
			heading = h
			fmt.Fprintf(w, "\n%s\n", p.bold(h))
		}
		p.printRow(w, r)
	}
}

func headingOf(r tasks.Row, hours map[husbandry.Part]civil.TimeOfDay) string {
	switch {
	case r.Status == tasks.Lapsed:
		return "Lapsed: not done in its time, and not owed any more"
	case r.Late:
		return "Overdue"
	}
	h := strings.ToUpper(string(r.Part[:1])) + string(r.Part[1:])
	if t, ok := hours[r.Part]; ok {
		h += " " + t.String()
	}
	if r.Place.RoomName != "" {
		h += ", " + r.Place.RoomName
	}
	return h
}

// The marks in front of a number; the word stands behind the title as well.
func (p *program) printRow(w io.Writer, r tasks.Row) {
	n, state := "   ", ""
	if r.N > 0 {
		n = fmt.Sprintf("%3d", r.N)
	}
	switch r.Status {
	case tasks.Done:
		state = "done"
	case tasks.Skipped:
		state = "skipped"
	case tasks.Upcoming:
		state = "put off to " + shortDate(r.Due)
	case tasks.Overdue:
		state = "due " + shortDate(r.Due)
	}
	title := r.Title
	if state != "" {
		title += " (" + state + ")"
	}
	printIndented(w, n+"  ", title)
	if r.Status == tasks.Done || r.Status == tasks.Skipped {
		return
	}
	printIndented(w, "       ", r.Why)
	if r.Caution != "" && r.Status != tasks.Lapsed {
		printIndented(w, "       ", "Caution: "+r.Caution)
	}
}

// printIndented writes text behind first, wrapped to the width, with the same
// indent on the lines that follow.
func printIndented(w io.Writer, first, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(first))
	for i, line := range wrap(text, width-len(indent)) {
		if i > 0 {
			first = indent
		}
		fmt.Fprintln(w, first+line)
	}
}

// wrap breaks text between words into lines of at most n characters; a longer
// word has a line of its own.
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
