package main

import (
	"context"
	"flag"
	"fmt"
	"strings"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

// Widths in the picture of a year: a label, then five columns a month.
const (
	yearLabel = 14
	perMonth  = 5
)

func setSeason(f *flag.FlagSet) func(context.Context, *call) error {
	species := f.String("species", "", "the `id` of a care sheet; otherwise every species you keep")
	pictures := f.String("pictures", "", "write a picture (SVG) of each year into this `folder`")
	year := f.Int("year", 0, "the calendar `year`, 1900 to 2200; otherwise this one")
	return func(_ context.Context, c *call) error {
		if *year != 0 && (*year < 1900 || *year > 2200) {
			return &usageError{fmt.Sprintf("--year %d is not from 1900 to 2200", *year), ""}
		}
		if *pictures != "" && c.json {
			return &usageError{"--pictures and --json are two different things to print", "say one of them"}
		}
		s, today, err := c.ask()
		if err != nil {
			return err
		}
		if *year == 0 {
			*year = today.Year()
		}
		all, err := s.Seasons(husbandry.ID(*species), *year)
		if err != nil {
			return err
		}
		if *pictures != "" {
			return c.writePictures(house.SeasonPictures(s, all), *pictures, "No animal is recorded")
		}
		latitude := s.Settings().Latitude
		hours := house.DayHours(s, *year)
		if c.json {
			out := struct {
				Year     int                   `json:"year"`
				Latitude *float64              `json:"latitude,omitempty"`
				DayHours []float64             `json:"day_hours,omitempty"` // of each day
				Species  []outlook.SpeciesYear `json:"species"`
			}{Year: *year, Latitude: latitude, DayHours: hours, Species: all}
			return c.printJSON(out)
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No animal is recorded.")
			return nil
		}
		for i, y := range all {
			if i > 0 {
				fmt.Fprintln(c.stdout)
			}
			c.printYear(y, latitude, hours, s.Settings().Units)
		}
		return nil
	}
}

// yearRow is one line of the picture.
type yearRow struct {
	label string
	cells string // perMonth characters a month
}

// printYear draws a species' year, and lists its dates in words below the
// picture.
func (p *program) printYear(y outlook.SpeciesYear, latitude *float64, hours []float64, u husbandry.Units) {
	head := y.Name
	if y.Scientific != "" {
		head += " (" + y.Scientific + ")"
	}
	head += fmt.Sprintf(", %d", y.Year)
	switch {
	case latitude != nil && *latitude < 0:
		head += fmt.Sprintf(", %.1f degrees south", -*latitude)
	case latitude != nil:
		head += fmt.Sprintf(", %.1f degrees north", *latitude)
	}
	for _, line := range wrap(printable(head), width) {
		fmt.Fprintln(p.stdout, p.bold(line))
	}
	months := ""
	for m := time.January; m <= time.December; m++ {
		months += fmt.Sprintf("%-*s", perMonth, m.String()[:3])
	}
	rows := []yearRow{{"", months}}
	if hours != nil {
		rows = append(rows, yearRow{"daylight, h", hourCells(y.Year, hours)})
	}
	rows = append(rows, yearRows(y, u)...)
	for _, r := range rows {
		fmt.Fprintln(p.stdout, strings.TrimRight(fmt.Sprintf("%-*s%s", yearLabel, r.label, r.cells), " "))
	}
	if hasCooling(y) {
		fmt.Fprintln(p.stdout, strings.Repeat(" ", yearLabel)+"f fast   \\ cooler   = cold   / warmer")
	}
	p.printYearDates(y)
}

func hasCooling(y outlook.SpeciesYear) bool { return y.NoCooling == "" }

// yearRows returns a row for each known part of the year, such as daylight or
// temperature.
func yearRows(y outlook.SpeciesYear, u husbandry.Units) []yearRow {
	var rows []yearRow
	if len(y.Warmth) > 0 {
		rows = append(rows, yearRow{map[bool]string{true: "degrees F", false: "degrees C"}[u == husbandry.US], warmthCells(y, u)})
	}
	for _, r := range []struct {
		label string
		signs map[outlook.YearSort]byte
	}{
		{"food", map[outlook.YearSort]byte{outlook.YearFood: '#'}},
		{"cooling", map[outlook.YearSort]byte{outlook.YearFast: 'f', outlook.YearDown: '\\', outlook.YearCold: '=', outlook.YearUp: '/'}},
		{"pairing", map[outlook.YearSort]byte{outlook.YearPairing: '#'}},
		{"laying", map[outlook.YearSort]byte{outlook.YearLaying: '#'}},
		{"incubation", map[outlook.YearSort]byte{outlook.YearIncubation: '#'}},
		{"hatching", map[outlook.YearSort]byte{outlook.YearHatching: '#'}},
	} {
		cells := []byte(strings.Repeat(".", 12*perMonth))
		some := false
		for _, s := range y.Spans {
			sign, ok := r.signs[s.Sort]
			if !ok {
				continue
			}
			some = true
			for i := yearCell(s.From); i <= yearCell(s.To); i++ {
				cells[i] = sign
			}
		}
		if some {
			rows = append(rows, yearRow{r.label, string(cells)})
		}
	}
	return rows
}

// yearCell returns the column of a day; every month has the same number of
// columns.
func yearCell(d civil.Date) int {
	first := civil.New(d.Year(), d.Month(), 1)
	return (int(d.Month())-1)*perMonth + (d.Day()-1)*perMonth/first.AddMonths(1).Sub(first)
}

// hourCells writes the hours of daylight in the middle of each month.
func hourCells(year int, hours []float64) string {
	cells := ""
	for m := time.January; m <= time.December; m++ {
		cells += fmt.Sprintf("%-*s", perMonth, fmt.Sprintf("%.1f", hours[civil.New(year, m, 15).Sub(civil.New(year, time.January, 1))]))
	}
	return cells
}

// warmthCells writes each month's temperature in the middle of the month.
func warmthCells(y outlook.SpeciesYear, u husbandry.Units) string {
	number := func(c husbandry.Celsius) string {
		if u == husbandry.US {
			c = c*9/5 + 32
		}
		return fmt.Sprintf("%.0f", float64(c))
	}
	cells := ""
	for m := time.January; m <= time.December; m++ {
		middle := civil.New(y.Year, m, 15)
		text := "warm"
		for _, w := range y.Warmth {
			if !middle.Before(w.From) && !middle.After(w.To) {
				text = number(w.High)
				if w.Low != w.High {
					text = number(w.Low) + "-" + text
				}
				if len(text) >= perMonth { // keep a blank between two months
					text = "<=" + number(w.High)
				}
			}
		}
		cells += fmt.Sprintf("%-*s", perMonth, text)
	}
	return cells
}

// printYearDates lists the spans of the year in words, one line for each sort
// of span. It leaves out feeding, which takes up all days outside the other
// spans.
func (p *program) printYearDates(y outlook.SpeciesYear) {
	for _, sort := range outlook.YearSorts() {
		var said []string
		why := ""
		for _, s := range y.Spans {
			if s.Sort != sort || sort == outlook.YearFood {
				continue
			}
			if s.Why != why && why != "" {
				said[len(said)-1] += ": " + why
			}
			why = s.Why
			said = append(said, english.ShortSpan(s.From, s.To))
		}
		if len(said) > 0 {
			if why != "" {
				said[len(said)-1] += ": " + why
			}
			printIndented(p.stdout, fmt.Sprintf("%-*s", yearLabel, sort), printable(strings.Join(said, "; ")))
		}
	}
	if !hasCooling(y) {
		printIndented(p.stdout, fmt.Sprintf("%-*s", yearLabel, "cooling"), "none: "+y.NoCooling)
	}
}
