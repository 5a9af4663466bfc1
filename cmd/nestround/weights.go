package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/config/diag"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

func setWeights(f *flag.FlagSet) func(context.Context, *call) error {
	pictures := f.String("pictures", "", "write a picture (SVG) of each growth into this `folder`")
	return func(_ context.Context, c *call) error {
		if *pictures != "" && c.json {
			return &usageError{"--pictures and --json are two different things to print", "say one of them"}
		}
		if len(c.args) > 1 {
			return &usageError{"weights takes one id, or none for all", "for example: nestround weights F03"}
		}
		s, on, err := c.ask()
		if err != nil {
			return err
		}
		all := s.Growths(on)
		if len(c.args) == 1 {
			var ids []string
			i := slices.IndexFunc(all, func(g outlook.Growth) bool {
				ids = append(ids, string(g.ID))
				return strings.EqualFold(string(g.ID), c.args[0])
			})
			if i < 0 {
				hint := diag.DidYouMean(c.args[0], ids)
				if hint == "" {
					hint = `a weight is recorded like this: nestround mark "F03 weighs 41 g"`
				}
				return &usageError{fmt.Sprintf("no weight is recorded of %q", c.args[0]), hint}
			}
			all = all[i : i+1]
		}
		if *pictures != "" {
			return c.writePictures(house.GrowthPictures(s, all), *pictures, "No weight is recorded")
		}
		if c.json {
			return c.printJSON(struct {
				On      civil.Date       `json:"on"`
				Animals []outlook.Growth `json:"animals"`
			}{on, all})
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No weight is recorded.")
			return nil
		}
		units := s.Settings().Units
		for _, g := range all {
			if len(c.args) == 1 {
				c.printGrowth(g, units)
			} else {
				c.printGrowthLine(g, units)
			}
		}
		return nil
	}
}

func growthHead(g outlook.Growth) string {
	what := strings.ReplaceAll(string(g.Species), "-", " ")
	if g.Count > 1 {
		what = fmt.Sprintf("%d %s", g.Count, english.PluralName(what))
	}
	head := string(g.ID)
	if g.Name != "" {
		head = g.Name + " (" + head + ")"
	}
	head += ", " + what
	if !g.Hatched.IsZero() {
		head += ", hatched " + english.ShortDate(g.Hatched)
	}
	return head
}

// printGrowthLine writes an animal's growth on one line: a sparkline over time,
// the first weight and the last weight.
func (c *call) printGrowthLine(g outlook.Growth, u husbandry.Units) {
	for _, line := range wrap(growthHead(g), width) {
		fmt.Fprintln(c.stdout, c.bold(line))
	}
	first, last := g.Weighings[0], g.Weighings[len(g.Weighings)-1]
	words := fmt.Sprintf("%s on %s", u.Mass(last.Grams), english.ShortDate(last.On))
	if n := last.On.Sub(first.On); n > 0 {
		words += fmt.Sprintf(", %s in %s from %s", english.PercentChange(float64(last.Grams/first.Grams)-1), english.Days(n), u.Mass(first.Grams))
	}
	printIndented(c.stdout, "     ", sparkline(g.Weighings, 24)+"  "+words)
}

// printGrowth writes an animal's growth in full: one line for each weighing,
// with a bar from zero to the heaviest weight.
func (c *call) printGrowth(g outlook.Growth, u husbandry.Units) {
	for _, line := range wrap(growthHead(g), width) {
		fmt.Fprintln(c.stdout, c.bold(line))
	}
	const cells = 24
	heaviest, wide := husbandry.Grams(0), 0
	for _, w := range g.Weighings {
		heaviest = max(heaviest, w.Grams)
		wide = max(wide, len(u.Mass(w.Grams)))
	}
	for i, w := range g.Weighings {
		n := max(1, int(math.Round(float64(w.Grams/heaviest)*cells)))
		line := fmt.Sprintf("%s  %*s  %s%s", english.ShortDateInColumn(w.On), wide, u.Mass(w.Grams), strings.Repeat("=", n), strings.Repeat(" ", cells-n))
		if i > 0 {
			line += "  " + change(w.Grams-g.Weighings[i-1].Grams, u)
		}
		fmt.Fprintln(c.stdout, strings.TrimRight("     "+line, " "))
		also := ""
		if w.Of != g.ID {
			also = "weighed as " + string(w.Of)
		}
		if w.Each != nil {
			var each []string
			for _, x := range w.Each {
				each = append(each, u.Mass(x))
			}
			also = strings.TrimPrefix(also+", the mean of "+strings.Join(each, ", "), ", ")
		}
		if also != "" {
			printIndented(c.stdout, strings.Repeat(" ", len("     10 May 2027  ")), also)
		}
	}
}

// change writes a gain or a loss.
func change(by husbandry.Grams, u husbandry.Units) string {
	switch {
	case by < 0:
		return "-" + u.Mass(-by)
	case by > 0:
		return "+" + u.Mass(by)
	}
	return "the same"
}

// sparkline draws weights over time in the given number of cells. The height of
// a cell shows the last known weight at that time, between the lightest and the
// heaviest weight.
func sparkline(list []outlook.Weighing, cells int) string {
	strokes := []rune("▁▂▃▄▅▆▇█")
	light, heavy := list[0].Grams, list[0].Grams
	for _, w := range list {
		light, heavy = min(light, w.Grams), max(heavy, w.Grams)
	}
	from := list[0].On
	days := list[len(list)-1].On.Sub(from)
	cells = min(cells, days+1)
	var b strings.Builder
	next := 0
	for i := range cells {
		day := days
		if cells > 1 {
			day = i * days / (cells - 1)
		}
		for next < len(list) && list[next].On.Sub(from) <= day {
			next++
		}
		level := len(strokes) - 1
		if heavy > light {
			level = int(math.Round(float64((list[next-1].Grams-light)/(heavy-light)) * float64(len(strokes)-1)))
		}
		b.WriteRune(strokes[level])
	}
	return b.String()
}
