package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/notify/outbox"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

func setSitter(f *flag.FlagSet) func(context.Context, *call) error {
	out := f.String("out", "", "write the page, for a browser to print, to this `file`")
	send := f.Bool("send", false, "mail it to who stands in, and to you")
	at := f.String("at", "", "of the days away that this `date` is in, or that come next after it")
	return func(ctx context.Context, c *call) error {
		if *out != "" && *send {
			return &usageError{"--out and --send are two things: say one", ""}
		}
		h, err := c.open()
		if err != nil {
			return err
		}
		books := h.Snapshot()
		on := books.Today()
		if *at != "" {
			if on, err = civil.Parse(*at); err != nil {
				return &usageError{"--at: " + err.Error(), ""}
			}
		}
		away, ok := books.Absences().Next(on)
		if ok && away.Until.Before(books.Today()) {
			return fmt.Errorf("the days away until %s are over", english.LongDate(away.Until))
		}
		if !ok {
			return fmt.Errorf("no days away are in the books from %s on: write an [[away]] record with from, until and cover", english.LongDate(on))
		}
		s, err := books.Absences().Sheet(away)
		if err != nil {
			return err
		}
		switch {
		case *out != "":
			if err := (disk.Files{}).WriteFile(*out, []byte(s.HTML), 0o644); err != nil {
				return err
			}
			fmt.Fprintf(c.stdout, "Wrote %s.\n", *out)
		case *send:
			return c.sendSheet(ctx, h, away)
		default:
			fmt.Fprint(c.stdout, s.Text)
		}
		return nil
	}
}

// sendSheet mails the sheet for an absence.
func (c *call) sendSheet(ctx context.Context, h *house.House, away husbandry.Away) error {
	if h.Snapshot().Settings().Out == nil {
		return errors.New("the sheet cannot be mailed: keeper.toml needs [mail.out] and to = [...] under [digest]")
	}
	to, err := h.SendSheet(away)
	if err != nil {
		return err
	}
	left, err := h.DeliverMail(ctx)
	if err != nil && !errors.Is(err, outbox.ErrBusy) {
		return err
	}
	if left > 0 || err != nil {
		return errors.New("the mail is not sent yet: it waits in state/outbox, and nestround serve sends it; nestround check says why it waits")
	}
	fmt.Fprintf(c.stdout, "Sent to %s.\n", strings.Join(to, ", "))
	return nil
}
