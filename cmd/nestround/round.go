package main

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/scheduler/workload"
	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

func setRound(f *flag.FlagSet) func(context.Context, *call) error {
	keeper := f.String("keeper", "", "only what is this keeper's, by their `id`")
	return func(_ context.Context, c *call) error {
		s, on, err := c.ask()
		if err != nil {
			return err
		}
		whose, err := s.Carer(*keeper)
		if err != nil {
			return &usageError{err.Error(), ""}
		}
		b := house.BoardOf(whose, s.Board(on))
		if !c.json {
			c.printRound(b, s.Rounds())
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
		s, on, err := c.ask()
		if err != nil {
			return err
		}
		whose, err := s.Carer(*keeper)
		if err != nil {
			return &usageError{err.Error(), ""}
		}
		to := on.AddDays(*days)
		byDay := make(map[civil.Date][]tasks.Task)
		for _, t := range house.TasksOf(whose, s.Ahead(on, to)) {
			byDay[t.Due] = append(byDay[t.Due], t)
		}
		load, before := s.Load(on, to)
		type dayJSON struct {
			Date          string     `json:"date"`
			Off           bool       `json:"off"`
			Minutes       int        `json:"minutes"`
			MinutesBefore int        `json:"minutes_before"` // without spreading: every task on its planned day
			Tasks         []taskJSON `json:"tasks"`
		}
		out := struct {
			From       string    `json:"from"`
			To         string    `json:"to"`
			Peak       int       `json:"peak"` // peak load: minutes of the heaviest day
			PeakBefore int       `json:"peak_before"`
			Bound      int       `json:"bound"` // lower bound of the peak, in minutes, for any choice of days
			Gap        float64   `json:"gap"`   // (peak - bound) / bound
			Days       []dayJSON `json:"days"`
		}{on.AddDays(1).String(), to.String(), load.Peak, before.Peak, load.Bound, load.Gap(), nil}
		if !c.json {
			c.printLoad(on.AddDays(1), load, before, s.DayOff)
		}
		for day := on.AddDays(1); !day.After(to); day = day.AddDays(1) {
			list := byDay[day]
			slices.SortFunc(list, tasks.Before)
			d := dayJSON{Date: day.String(), Off: s.DayOff(day), MinutesBefore: before.Minutes[day.Sub(on)-1], Tasks: []taskJSON{}}
			for _, t := range list {
				d.Minutes += t.Minutes
				d.Tasks = append(d.Tasks, toJSON(nil, t))
			}
			out.Days = append(out.Days, d)
			if !c.json {
				c.printDay(day, d.Off, d.Minutes, list)
			}
		}
		if c.json {
			return c.printJSON(out)
		}
		return nil
	}
}

// printDay writes one day of `ahead`, one line for each task. Tasks with the
// same work on many animals share one line.
func (p *program) printDay(day civil.Date, off bool, minutes int, list []tasks.Task) {
	name := english.BareShortWeekday(day)
	if off {
		name += " (day off)"
	}
	if len(list) == 0 {
		fmt.Fprintf(p.stdout, "%s\n", p.bold(name+": nothing"))
		return
	}
	fmt.Fprintf(p.stdout, "%s\n", p.bold(fmt.Sprintf("%s: %s, about %d min", name, english.Count(len(list), "task"), minutes)))
	for _, t := range list {
		part := ""
		if t.Part != husbandry.Morning {
			part = string(t.Part) + ": "
		}
		printIndented(p.stdout, "  ", part+t.Title)
	}
}

// printLoad draws the load of each day from first on, in minutes. Each eight
// weeks have two rows of bars: before spreading, with every task on its planned
// day, and after spreading.
func (p *program) printLoad(first civil.Date, load, before workload.Load, off func(civil.Date) bool) {
	if max(load.Peak, before.Peak) == 0 {
		return
	}
	w := p.stdout
	head := fmt.Sprintf("Heaviest day %d min", load.Peak)
	if before.Peak != load.Peak {
		head += fmt.Sprintf("; %d before spreading", before.Peak)
	}
	if load.Peak > load.Bound {
		head += fmt.Sprintf(". No spreading is below %d", load.Bound)
	}
	fmt.Fprintln(w, p.bold(head))
	const row = 56 // days, eight weeks
	top := max(load.Peak, before.Peak)
	for at := 0; at < len(load.Minutes); at += row {
		end := min(at+row, len(load.Minutes))
		var days, offs strings.Builder
		for i := at; i < end; i++ {
			day := first.AddDays(i)
			days.WriteString(day.Weekday().String()[:1])
			if off(day) {
				offs.WriteByte('-')
			} else {
				offs.WriteByte(' ')
			}
		}
		fmt.Fprintf(w, "  before  %s\n  spread  %s\n          %s\n", bars(before.Minutes[at:end], top), bars(load.Minutes[at:end], top), days.String())
		if free := strings.TrimRight(offs.String(), " "); free != "" {
			fmt.Fprintf(w, "  off     %s\n", free)
		}
	}
	fmt.Fprintln(w)
}

// bars draws minutes as a row of bars. The height of a bar is a number of
// eighths of a line; top is the number of minutes of a full bar.
func bars(minutes []int, top int) string {
	const eighths = 8
	var b strings.Builder
	for _, m := range minutes {
		if m == 0 {
			b.WriteByte('.')
			continue
		}
		b.WriteRune('\u2581' + rune((m*eighths+top-1)/top-1))
	}
	return b.String()
}
