package main

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/scheduler/herd"
	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
)

func setClutches(f *flag.FlagSet) func(context.Context, *call) error {
	pictures := f.String("pictures", "", "write a picture (SVG) of each clutch that expects young into this `folder`")
	return func(_ context.Context, c *call) error {
		if *pictures != "" && c.json {
			return &usageError{"--pictures and --json are two different things to print", "say one of them"}
		}
		s, on, err := c.ask()
		if err != nil {
			return err
		}
		if *pictures != "" {
			return c.writePictures(house.ClutchPictures(s, on), *pictures, "No clutch expects young")
		}
		all := s.Clutches(on)
		if c.json {
			return c.printJSON(struct {
				On       civil.Date               `json:"on"`
				Clutches []outlook.ClutchForecast `json:"clutches"`
			}{on, list(all)})
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No clutch is recorded.")
			return nil
		}
		for _, f := range all {
			c.printClutch(f, on)
		}
		return nil
	}
}

// printClutch writes a clutch with a bar of its days, from laying to the end of
// the hatching window. The bar has dots before the window, dashes within the
// window, and an O for today.
func (c *call) printClutch(f outlook.ClutchForecast, on civil.Date) {
	first, state := string(f.ID)+"  ", string(f.State)
	if f.Outside && f.State == herd.InBox {
		state = "in the open, to be set in a tub today"
	}
	for _, line := range wrap(clutchHead(f, on)+": "+state, width-len(first)) {
		fmt.Fprintln(c.stdout, c.bold(first+line))
		first = strings.Repeat(" ", len(first))
	}
	basis := f.Basis
	if !f.P50.IsZero() {
		c.printForecast(f, on)
		if basis != "" {
			basis = "from " + basis
		}
	}
	lines := []string{basis}
	if m := f.Males; m != nil {
		lines = append(lines, fmt.Sprintf("males expected: %s (%s)", english.PercentRounded(m.Mean), english.PercentRange(m.From, m.To)))
	}
	lines = append(lines, f.Moisture)
	for _, s := range f.Cautions {
		lines = append(lines, "Caution: "+s)
	}
	for _, line := range lines {
		if line != "" {
			printIndented(c.stdout, "     ", line)
		}
	}
}

// clutchHead writes the mother of a clutch, its laying date, the number of eggs
// and the incubator.
func clutchHead(f outlook.ClutchForecast, on civil.Date) string {
	head := string(f.Species)
	if f.Mother != "" {
		head += " of " + string(f.Mother)
	}
	head += ", laid "
	if !f.LaidFrom.IsZero() && f.LaidFrom.Before(f.Laid) {
		head += "between " + english.ShortDay(f.LaidFrom, on) + " and "
	}
	head += english.ShortDay(f.Laid, on) + ", " + eggsOf(f)
	if !f.P50.IsZero() { // a finished clutch has no forecast, and its basis counts the young
		if f.Hatched > 0 {
			head += fmt.Sprintf(", %d hatched", f.Hatched)
		}
		if f.Lost > 0 {
			head += fmt.Sprintf(", %d dead", f.Lost)
		}
	}
	if f.Incubator != "" {
		head += ", in " + string(f.Incubator)
	}
	return head
}

// eggsOf counts the eggs and slugs of a clutch.
func eggsOf(f outlook.ClutchForecast) string {
	eggs, slugs := english.Count(f.Eggs, "egg"), english.Count(f.Slugs, "slug")
	switch {
	case f.Slugs == 0:
		return eggs
	case f.Eggs == 0:
		return slugs
	}
	return eggs + " and " + slugs
}

// printForecast writes the likely hatching days of an unfinished clutch.
func (c *call) printForecast(f outlook.ClutchForecast, on civil.Date) {
	day := func(d civil.Date) string { return english.ShortDay(d, on) }
	half := "half by " + day(f.P50)
	if on.After(f.WatchTo) {
		half = "past its window: " + half
	}
	printIndented(c.stdout, "     "+bar(f, on, 24)+"  ", fmt.Sprintf("%s, 9 in 10 within %s to %s", half, day(f.P05), day(f.P95)))
	if f.ProbabilityToday >= 0.005 {
		printIndented(c.stdout, "     ", "today "+english.PercentRounded(f.ProbabilityToday))
	}
}

func bar(f outlook.ClutchForecast, on civil.Date, cells int) string {
	span := max(1, f.WatchTo.Sub(f.Laid))
	cell := func(d civil.Date) int { return min(cells-1, max(0, d.Sub(f.Laid)*cells/(span+1))) }
	b := []byte(strings.Repeat(".", cells))
	for i := cell(f.WatchFrom); i <= cell(f.WatchTo); i++ {
		b[i] = '-'
	}
	if on.After(f.WatchTo) {
		return "[" + string(b) + "] O"
	}
	if !on.Before(f.Laid) {
		b[cell(on)] = 'O'
	}
	return "[" + string(b) + "]"
}
