package main

import (
	"context"
	"flag"
	"fmt"
	"slices"

	"nestround/cmd/nestround/house"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/husbandry"
)

func setRound(f *flag.FlagSet) func(context.Context, *call) error {
	keeper := f.String("keeper", "", "only what is this keeper's, by their `id`")
	return func(_ context.Context, c *call) error {
		h, on, err := c.openOn()
		if err != nil {
			return err
		}
		whose, err := h.Carer(*keeper)
		if err != nil {
			return &usageError{err.Error(), ""}
		}
		b := house.BoardOf(whose, h.Board(on))
		if !c.json {
			c.printRound(b, h.Rounds())
			return nil
		}
		out := struct {
			Date  string     `json:"date"`
			Tasks []taskJSON `json:"tasks"`
		}{on.String(), []taskJSON{}}
		for _, r := range b.Rows {
			out.Tasks = append(out.Tasks, toJSON(&r.N, r.Task))
		}
		return c.printJSON(out)
	}
}

func setAhead(f *flag.FlagSet) func(context.Context, *call) error {
	days := f.Int("days", 7, "how many days ahead, 1 to 400")
	keeper := f.String("keeper", "", "only what is this keeper's, by their `id`")
	return func(_ context.Context, c *call) error {
		if *days < 1 || *days > 400 {
			return &usageError{fmt.Sprintf("--days %d is not from 1 to 400", *days), ""}
		}
		h, on, err := c.openOn()
		if err != nil {
			return err
		}
		whose, err := h.Carer(*keeper)
		if err != nil {
			return &usageError{err.Error(), ""}
		}
		to := on.AddDays(*days)
		byDay := make(map[civil.Date][]tasks.Task)
		for _, t := range house.TasksOf(whose, h.Ahead(on, to)) {
			byDay[t.Due] = append(byDay[t.Due], t)
		}
		type dayJSON struct {
			Date    string     `json:"date"`
			Minutes int        `json:"minutes"`
			Tasks   []taskJSON `json:"tasks"`
		}
		out := struct {
			From string    `json:"from"`
			To   string    `json:"to"`
			Days []dayJSON `json:"days"`
		}{on.AddDays(1).String(), to.String(), nil}
		for day := on.AddDays(1); !day.After(to); day = day.AddDays(1) {
			list := byDay[day]
			slices.SortFunc(list, tasks.Before)
			d := dayJSON{Date: day.String(), Tasks: []taskJSON{}}
			for _, t := range list {
				d.Minutes += t.Minutes
				d.Tasks = append(d.Tasks, toJSON(nil, t))
			}
			out.Days = append(out.Days, d)
			if !c.json {
				c.printDay(day, d.Minutes, list)
			}
		}
		if c.json {
			return c.printJSON(out)
		}
		return nil
	}
}

// printDay writes a day of `ahead`, a line a task; what recurs in many places
// on one day is one line.
func (p *program) printDay(day civil.Date, minutes int, list []tasks.Task) {
	if len(list) == 0 {
		fmt.Fprintf(p.stdout, "%s\n", p.bold(shortDate(day)+": nothing"))
		return
	}
	fmt.Fprintf(p.stdout, "%s\n", p.bold(fmt.Sprintf("%s: %s, about %d min", shortDate(day), plural(len(list), "task", "tasks"), minutes)))
	for _, t := range list {
		part := ""
		if t.Part != husbandry.Morning {
			part = string(t.Part) + ": "
		}
		printIndented(p.stdout, "  ", part+t.Title)
	}
}
