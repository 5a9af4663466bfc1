// Package sheet writes the sheet for the sitter, the person who stands in for
// the keeper. It says only what must be done on which day, in plain words, with
// places, amounts, cautions and telephone numbers.
//
// Fill a [Content] and call [Render]. It gives a text for a mail, and a page
// that prints on A4 and on Letter paper. Each thing to do is one line with a
// box to tick for each of its days, so repeated work takes a single line.
//
// The page needs no script, loads nothing, and escapes every foreign word. The
// package decides nothing about tasks; the planner says which tasks cannot
// wait.
package sheet

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// Content is the content of a sheet. Quantities in its strings are already in
// the keeper's units.
type Content struct {
	Heading     string // the books' name, "" for none
	Cover       string // name of the sitter
	From, Until civil.Date
	Note        string // note from the keeper to the sitter
	// Telephone numbers; "" if the keeper has given none.
	Keeper, Veterinarian string
	// Tasks are the tasks of the days away that cannot wait, on their due days.
	Tasks []tasks.Task
	// Rounds has the time at which each part of the day begins.
	Rounds map[husbandry.Part]civil.TimeOfDay
	// Mailed says that the sitter gets each morning's list by mail, and may
	// answer it.
	Mailed bool
}

// Sheet is a rendered sheet.
type Sheet struct {
	Subject string
	Text    string // 72 columns
	HTML    string
}

// daysAcross is the number of days side by side. A page of A4 or Letter has no
// room for more boxes beside readable words.
const daysAcross = 7

// always has the rules for every sheet. The source of washing hands and of
// keeping small children away: Centers for Disease Control and Prevention,
// Healthy Pets, reptiles and amphibians. The other rules are common practice.
var always = []string{
	"Wash your hands with soap after each animal, enclosure and feeder (Salmonella). Rinse nothing in the kitchen, and keep small children and people with a weak immune system away.",
	"Close and lock every door behind your hand before you turn away. An animal that is out: close the room, and call.",
	"Change no heat, light or thermostat. If one is dark, cold, hot or smells, unplug that one and call; touch nothing wet that has mains current.",
	"Open no egg tub and move no egg unless a line below says so.",
	"When an animal is limp, trembles, bleeds, strains or gapes: call the keeper, and if nobody answers the veterinarian, at once.",
	"What is not on this sheet waits. When in doubt leave it and call.",
}

// row is a thing to do, on one or more days.
type row struct {
	Do, Whom string
	Again    bool   // the previous line is about the same animals
	Uses     string // amount and food, or only the food
	Asks     string
	Caution  int // number of its caution; 0 for none
	Days     []bool
	place    string // the room
}

type place struct {
	Name string
	Rows []row
}

type round struct {
	Name   string
	Places []place
}

type week struct {
	Dates  []civil.Date
	Rounds []round
}

type page struct {
	Content
	Title    string
	Span     string
	Always   []string
	Weeks    []week
	Cautions []string
	Count    int
}

// Render writes the sheet.
func Render(c Content) (Sheet, error) {
	p := lay(c)
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, p); err != nil {
		return Sheet{}, fmt.Errorf("write the sheet for days away: %w", err)
	}
	return Sheet{Subject: p.Title, Text: text(p), HTML: b.String()}, nil
}

var partNames = map[husbandry.Part]string{husbandry.Morning: "Morning", husbandry.Midday: "Midday", husbandry.Evening: "Evening"}

// lay arranges the tasks: week by week, part by part, in walking order.
func lay(c Content) page {
	p := page{Content: c, Always: always, Count: len(c.Tasks)}
	p.Span = english.LongSpan(c.From, c.Until)
	p.Title = "While the keeper is away: " + p.Span
	p.Tasks = slices.Clone(c.Tasks)
	slices.SortStableFunc(p.Tasks, tasks.Before)
	for first := c.From; !first.After(c.Until); first = first.AddDays(daysAcross) {
		var w week
		for d := first; !d.After(c.Until) && len(w.Dates) < daysAcross; d = d.AddDays(1) {
			w.Dates = append(w.Dates, d)
		}
		for _, part := range []husbandry.Part{husbandry.Morning, husbandry.Midday, husbandry.Evening} {
			if r := p.round(w.Dates, part); len(r.Places) > 0 {
				w.Rounds = append(w.Rounds, r)
			}
		}
		p.Weeks = append(p.Weeks, w)
	}
	return p
}

// round arranges the tasks of a part of the day in a week. A task that returns
// on several days has one row.
func (p *page) round(dates []civil.Date, part husbandry.Part) round {
	r := round{Name: partNames[part]}
	if t, ok := p.Rounds[part]; ok {
		r.Name += ", from " + t.String()
	}
	type key struct{ do, whom, uses string }
	rows := make(map[key]*row)
	var order []*row
	for _, t := range p.Tasks {
		day := t.Due.Sub(dates[0])
		if t.Part != part || day < 0 || day >= len(dates) {
			continue
		}
		k := key{t.Do, t.Whom, cmp.Or(t.Amount, strings.Join(t.Uses, ", "))}
		line := rows[k]
		if line == nil {
			line = &row{Do: t.Do, Whom: t.Whom, Uses: k.uses, Asks: strings.Join(finding.ForSitter(t.Asks), ", "), Caution: p.caution(t.Caution),
				Days: make([]bool, len(dates)), place: cmp.Or(t.Place.RoomName, string(t.Place.Room), "Anywhere")}
			rows[k] = line
			order = append(order, line)
		}
		line.Days[day] = true
	}
	for _, line := range order {
		r.add(*line)
	}
	return r
}

// caution adds a caution to the page, unless the page has it already, and
// returns its number; 0 for no caution.
func (p *page) caution(words string) int {
	if words == "" {
		return 0
	}
	i := slices.Index(p.Cautions, words)
	if i < 0 {
		i = len(p.Cautions)
		p.Cautions = append(p.Cautions, words)
	}
	return i + 1
}

// add appends a row under the heading of the row's place.
func (r *round) add(line row) {
	if n := len(r.Places); n == 0 || r.Places[n-1].Name != line.place {
		r.Places = append(r.Places, place{Name: line.place})
	}
	last := &r.Places[len(r.Places)-1]
	n := len(last.Rows)
	line.Again = n > 0 && last.Rows[n-1].Whom == line.Whom
	last.Rows = append(last.Rows, line)
}

//go:embed page.html
var pageSource string

var pageTemplate = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"weekday": func(d civil.Date) string { return d.Format("Mon") },
	"day":     english.BareShortDay,
}).Parse(pageSource))

// noNumber is the space in which a missing telephone number can be written by
// hand. The sheet needs the space because it says several times whom to call.
const noNumber = "____________________"

// text writes the sheet for a mail. Each line names its days in place of boxes.
func text(p page) string {
	var b strings.Builder
	para := func(indent, s string) { wrap(&b, indent, s) }
	para("", p.Title)
	if p.Heading != "" {
		para("", p.Heading)
	}
	b.WriteString("\n")
	if p.Cover != "" {
		para("", "For "+p.Cover+". Thank you.")
	}
	if p.Note != "" {
		para("", p.Note)
	}
	b.WriteString("\n")
	para("", "Keeper: "+cmp.Or(p.Keeper, noNumber))
	para("", "Veterinarian: "+cmp.Or(p.Veterinarian, noNumber))
	b.WriteString("\nALWAYS\n\n")
	for _, s := range p.Always {
		para("- ", s)
	}
	for _, w := range p.Weeks {
		days := english.BareWeekday(w.Dates[0])
		if n := len(w.Dates); n > 1 {
			days += " to " + english.BareWeekday(w.Dates[n-1])
		}
		fmt.Fprintf(&b, "\n%s\n", strings.ToUpper(days))
		if len(w.Rounds) == 0 {
			b.WriteString("\nNothing must be done on these days.\n")
		}
		for _, r := range w.Rounds {
			fmt.Fprintf(&b, "\n%s\n", r.Name)
			for _, pl := range r.Places {
				fmt.Fprintf(&b, "\n  %s\n", pl.Name)
				for _, l := range pl.Rows {
					para("  - ", l.words(w.Dates))
				}
			}
		}
	}
	if len(p.Cautions) > 0 {
		b.WriteString("\nCAUTIONS\n\n")
		for i, s := range p.Cautions {
			para(fmt.Sprintf("[%d] ", i+1), s)
		}
	}
	if p.Mailed {
		b.WriteString("\n")
		para("", "A mail comes each morning with that day's list and explains how to answer it. Your answers count as the keeper's.")
	}
	return b.String()
}

// words writes a row as a line of the mail.
func (l row) words(dates []civil.Date) string {
	s := l.Do
	if l.Whom != "" {
		s += ": " + l.Whom
	}
	if l.Uses != "" {
		s += " (" + l.Uses + ")"
	}
	s += " - " + daysOf(dates, l.Days)
	if l.Asks != "" {
		s += ". Write down " + l.Asks
	}
	if l.Caution > 0 {
		s += fmt.Sprintf(" [%d]", l.Caution)
	}
	return s
}

// daysOf returns "every day", or the days such as "Sat, Mon and Wed".
func daysOf(dates []civil.Date, on []bool) string {
	var names []string
	for i, yes := range on {
		if yes {
			names = append(names, dates[i].Format("Mon"))
		}
	}
	if n := len(names); n == len(dates) && n > 1 {
		return "every day"
	}
	return english.List(names)
}

// wrap writes a paragraph in 72 columns. Further lines begin below the first
// word.
func wrap(b *strings.Builder, indent, s string) {
	const columns = 72
	line := indent
	hang := strings.Repeat(" ", len(indent))
	empty := true
	for _, word := range strings.Fields(s) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > columns {
			b.WriteString(line + "\n")
			line, empty = hang, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}
