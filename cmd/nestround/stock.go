package main

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// stockAhead is the number of coming days in which the verb stock looks for the
// next order of a feeder.
const stockAhead = 28

func setStock(*flag.FlagSet) func(context.Context, *call) error {
	return func(_ context.Context, c *call) error {
		s, on, err := c.ask()
		if err != nil {
			return err
		}
		all := s.Stock(on, on.AddDays(stockAhead))
		if c.json {
			return c.printJSON(struct {
				On      civil.Date            `json:"on"`
				Feeders []outlook.FeederStock `json:"feeders"`
			}{on, list(all)})
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No live food is recorded; see [[feeder]] in the README.")
			return nil
		}
		for _, f := range all {
			c.printStock(f)
		}
		return nil
	}
}

func (c *call) printStock(f outlook.FeederStock) {
	head := f.Name
	if !strings.EqualFold(f.Name, strings.ReplaceAll(string(f.ID), "-", " ")) {
		head += " (" + string(f.ID) + ")"
	}
	fmt.Fprintln(c.stdout, c.bold(head))
	const indent = "     "
	counted := "never counted"
	if !f.CountedOn.IsZero() {
		counted = fmt.Sprintf("%d counted on %s", f.Counted, english.BareShortWeekday(f.CountedOn))
	}
	printIndented(c.stdout, indent, fmt.Sprintf("%s in hand; %s", rangeWords(f.InHand), counted))
	printIndented(c.stdout, indent, fmt.Sprintf("%s used in the coming week; %s of feedings are given", rangeWords(f.Week), english.PercentRounded(f.Given)))
	lasts := "enough for the time looked ahead"
	if !f.LastsTo.IsZero() {
		lasts = "with what is ordered, enough to " + english.BareShortWeekday(f.LastsTo)
	}
	if f.Packs > 0 {
		lasts += fmt.Sprintf("; order %s by %s for %s", f.Pack, english.BareShortWeekday(f.OrderBy), english.BareShortWeekday(f.Delivery))
	} else {
		lasts += "; nothing to order"
	}
	printIndented(c.stdout, indent, lasts)
}

// rangeWords writes "75 (62 to 88)".
func rangeWords(r outlook.Range) string {
	if r.Low == r.High {
		return fmt.Sprint(r.Mean)
	}
	return fmt.Sprintf("%d (%d to %d)", r.Mean, r.Low, r.High)
}
