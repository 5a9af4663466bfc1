package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/config"
	"nestround/config/books"
	"nestround/config/diag"
	"nestround/config/zones"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/husbandry"
)

func setInit(*flag.FlagSet) func(context.Context, *call) error {
	return func(_ context.Context, c *call) error {
		if len(c.args) != 1 {
			return &usageError{"init takes the folder to write into", "for example: nestround init lizards"}
		}
		dir := c.args[0]
		names, err := books.WriteStarter(dir, civil.Of(c.now(), c.now().Location()))
		if err != nil {
			return err
		}
		fmt.Fprintf(c.stdout, "Wrote a starter set of books into %s:\n", dir)
		for _, n := range names {
			fmt.Fprintln(c.stdout, "  "+n)
		}
		fmt.Fprintf(c.stdout, "\nOpen keeper.toml first: it says what to fill in. Then\n\n  nestround check --books %[1]s\n  nestround round --books %[1]s\n", dir)
		return nil
	}
}

func setCheck(*flag.FlagSet) func(context.Context, *call) error {
	return func(_ context.Context, c *call) error {
		h, service, problems, err := house.Check(c.dir, house.Options{Now: c.now})
		if err != nil {
			return err
		}
		if c.json {
			if err := c.printJSON(struct {
				Problems []diag.Problem `json:"problems"`
			}{list(problems)}); err != nil {
				return err
			}
		} else if err := c.tell(problems, nil); err != nil && !errors.Is(err, errTold) {
			return err
		}
		if !c.json {
			if h != nil && !problems.HasErrors() {
				c.printCheck(h.Snapshot())
			}
			c.printServed(h, service)
		}
		if problems.HasErrors() {
			return errTold
		}
		return nil
	}
}

func (c *call) printCheck(s *house.Snapshot) {
	version, from := zones.Source()
	set := s.Settings()
	fmt.Fprintf(c.stdout, "The books can be used: %s.\n", s.Counts())
	fmt.Fprintf(c.stdout, "Zone %s, by zone data %s (%s); today is %s.\n", set.ZoneName, version, from, english.LongDate(s.Today()))
	at := "at " + set.Digest.At.String()
	if set.Digest.Cron != "" {
		at = "by cron " + set.Digest.Cron
	}
	fmt.Fprintf(c.stdout, "The digest, %s, %s.\n", at, wayOut(set.Out))
	fmt.Fprintf(c.stdout, "Replies %s.\n", wayIn(set.In))
	for _, name := range s.Unfed() {
		c.complain(fmt.Sprintf("nothing says when to feed: %s", strings.ToLower(name)), "write a [[routine]] with kind = \"feed\" for them; what they eat, how much and how often is for a care sheet and your veterinarian to say")
	}
	c.complainOfAbsences(s)
	fmt.Fprintf(c.stdout, "The calendar shows %d days back and %d ahead, on %s.\n", set.Calendar.PastDays, set.Calendar.AheadDays, set.Page.Listen)
}

// printServed says whether serve runs, or when it last ran. h is nil if the books have errors.
func (c *call) printServed(h *house.House, service house.Service) {
	a, running, ok := service.LastRan()
	if !ok {
		return
	}
	moment := func(t time.Time) string { return english.WeekdayMoment(t.In(service.Zone())) }
	switch {
	case running && a.Started.IsZero():
		fmt.Fprintln(c.stdout, "Serve is running.")
	case running:
		fmt.Fprintf(c.stdout, "Serve has been running since %s.\n", moment(a.Started))
	case !a.Seen.IsZero() && a.Ended.IsZero():
		fmt.Fprintf(c.stdout, "Serve is not running; it last ran on %s, and ended by a crash, a kill or a power cut.\n", moment(a.Seen))
	case !a.Seen.IsZero():
		fmt.Fprintf(c.stdout, "Serve is not running; it was ended on %s.\n", moment(a.Ended))
	default:
		sending, issued := service.Sending()
		if !sending {
			break
		}
		by := ""
		if !issued.IsZero() {
			by = fmt.Sprintf("; the digest of %s was written by another command", english.Date(issued))
		}
		fmt.Fprintf(c.stdout, "Serve has never run with these books%s.\n", by)
	}
	if h == nil {
		return
	}
	if w := h.Snapshot().Settings().Watch; !w.Ping.IsZero() && !a.Pinged.IsZero() {
		fmt.Fprintf(c.stdout, "The last sign of life was given on %s.\n", moment(a.Pinged))
	}
}

// wayOut describes how the program sends mail: the server or the folder.
func wayOut(o *config.Out) string {
	switch {
	case o == nil:
		return "leaves nowhere: [mail.out] is not set"
	case o.Maildir != "":
		return "is laid into " + o.Maildir
	}
	return "leaves by " + o.SMTP
}

// wayIn describes how replies arrive: from a server or a folder.
func wayIn(i *config.In) string {
	switch {
	case i == nil:
		return "are not read: [mail.in] is not set"
	case i.Maildir != "":
		return "come from the folder " + i.Maildir
	}
	return "come from " + i.IMAP
}

// complainOfAbsences warns of tasks that nobody does while the keeper is away,
// and of missing telephone numbers on the stand-in's sheet.
func (c *call) complainOfAbsences(s *house.Snapshot) {
	for _, u := range s.Absences().Uncovered() {
		var what []string
		for _, k := range husbandry.Kinds() {
			if n := u.Tasks[k]; n > 0 {
				what = append(what, fmt.Sprintf("%d × %s", n, k.Listed()))
			}
		}
		words := fmt.Sprintf("nobody stands in from %s to %s, and this cannot wait: %s", english.LongDate(u.Away.From), english.LongDate(u.Away.Until), strings.Join(what, ", "))
		c.complain(words, "name somebody as `cover` in that [[away]]; nestround sitter writes the sheet for them")
	}
	if a, ok := s.Absences().Next(s.Today()); ok && a.Cover != "" {
		contacts := s.Settings().Contacts
		var lacks []string
		for _, n := range []struct{ key, number string }{{"keeper", contacts.Keeper}, {"veterinarian", contacts.Veterinarian}} {
			if n.number == "" {
				lacks = append(lacks, n.key+" = \"...\"")
			}
		}
		if len(lacks) > 0 {
			c.complain(fmt.Sprintf("%s stands in from %s, and has no telephone number to call", a.Cover, english.LongDate(a.From)), "write under [contacts] in keeper.toml: "+strings.Join(lacks, ", "))
		}
	}
	for _, x := range s.Absences().Winters() {
		const named = 3
		var what []string
		for i, t := range x.Tasks {
			if i == named {
				what = append(what, fmt.Sprintf("%d more", len(x.Tasks)-named))
				break
			}
			what = append(what, fmt.Sprintf("%s (%s)", t.Title, english.ShortWeekday(t.Due, s.Today())))
		}
		c.complain(fmt.Sprintf("a winter goes on while you are away from %s to %s, and waits for your return: %s", english.LongDate(x.Away.From), english.LongDate(x.Away.Until), strings.Join(what, "; ")),
			"begin it on another day, with `start` in a [[cooling]] record, or ask whoever stands in to do it, in the `note` of that [[away]]")
	}
}
