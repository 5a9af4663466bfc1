package main

import (
	"context"
	"flag"
	"fmt"
	"os/user"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/tasks"
)

func setMark(f *flag.FlagSet) func(context.Context, *call) error {
	by := f.String("by", "", "who did it; your login unless said")
	return func(_ context.Context, c *call) error {
		if strings.TrimSpace(strings.Join(c.args, "")) == "" {
			return &usageError{"say what was done, as in a reply", `for example: nestround mark "done 1 3"`}
		}
		h, err := c.open()
		if err != nil {
			return err
		}
		if *by == "" {
			if u, err := user.Current(); err == nil {
				*by = u.Username
			}
		}
		said, err := h.Take(house.Message{Words: strings.Join(c.args, " "), Via: tasks.ViaShell, By: *by})
		if err != nil {
			return err
		}
		if c.json {
			if err := c.printJSON(struct {
				Accepted []house.Accepted `json:"accepted"`
				Refused  []house.Refused  `json:"refused"`
			}{list(said.Accepted), list(said.Refused)}); err != nil {
				return err
			}
		} else {
			c.printSaid(said, h)
		}
		if len(said.Refused) > 0 {
			return errTold
		}
		return nil
	}
}

// list returns s, but an empty list in place of nil, which JSON would write as
// null.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

func (c *call) printSaid(said house.Said, h *house.House) {
	for _, a := range said.Accepted {
		n := "   "
		if a.N > 0 {
			n = fmt.Sprintf("%3d", a.N)
		}
		printIndented(c.stdout, n+"  ", a.Title+": "+h.Snapshot().Outcome(a))
	}
	for _, r := range said.Refused {
		c.complain(fmt.Sprintf("not recorded: %q", r.Text), r.Why)
	}
}
