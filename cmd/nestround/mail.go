package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/notify/mailout"
	"nestround/notify/outbox"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

func setDigest(f *flag.FlagSet) func(context.Context, *call) error {
	send := f.Bool("send", false, "send today's digest, unless it has been sent")
	raw := f.Bool("raw", false, "show the message as it travels")
	html := f.Bool("html", false, "show the HTML part")
	return func(ctx context.Context, c *call) error {
		h, err := c.open()
		if err != nil {
			return err
		}
		if *send {
			return c.sendDigest(ctx, h)
		}
		m, messages, err := h.Draft()
		switch {
		case err != nil:
			return err
		case *raw && len(messages) == 0:
			return &usageError{"there is nobody to send the digest to", "say who the keeper is: to = [...] under [digest]"}
		case *raw:
			b, err := mailout.Compose(messages[0])
			if err != nil {
				return err
			}
			_, err = c.stdout.Write(b)
			return err
		case *html:
			_, err = io.WriteString(c.stdout, m.HTML)
			return err
		}
		fmt.Fprintf(c.stdout, "Subject: %s\n\n%s", m.Subject, m.Text)
		return nil
	}
}

func (c *call) sendDigest(ctx context.Context, h *house.House) error {
	if s := h.Snapshot().Settings(); s.Out == nil || len(s.Digest.To) == 0 {
		return errors.New("the digest cannot be sent: keeper.toml needs [mail.out] and to = [...] under [digest]")
	}
	before, err := house.DigestMails(h)
	if err != nil {
		return err
	}
	if _, err := h.Morning(time.Time{}); err != nil {
		return err
	}
	_, trouble := h.DeliverMailNow(ctx)
	after, err := house.DigestMails(h)
	if err != nil {
		return err
	}
	return c.tellDigest(before, after, trouble, h.Snapshot().Settings().Zone)
}

// tellDigest says which mails of today's digest have left. before and after are
// the mails before and after the delivery, and trouble is its error.
func (c *call) tellDigest(before, after []house.DigestMail, trouble error, zone *time.Location) error {
	old := make(map[string]bool)
	for _, m := range before {
		old[m.To] = !m.Left.IsZero()
	}
	var now, earlier, lacks []string
	for _, m := range after {
		switch {
		case m.Left.IsZero():
			lacks = append(lacks, c.lacking(m, trouble, zone))
		case old[m.To]:
			earlier = append(earlier, fmt.Sprintf("%s at %s", m.To, english.WeekdayMoment(m.Left.In(zone))))
		default:
			now = append(now, m.To)
		}
		if m.Doubt != "" && !m.Left.IsZero() {
			c.complain(fmt.Sprintf("the digest may have arrived at %s more than once: %s", m.To, m.Doubt), "the copies are the same mail; answer any of them")
		}
	}
	if len(now) > 0 && len(lacks)+len(earlier) == 0 {
		fmt.Fprintln(c.stdout, "Sent.")
	} else if len(now) > 0 {
		fmt.Fprintf(c.stdout, "Sent to %s.\n", english.List(now))
	}
	if len(earlier) > 0 {
		fmt.Fprintf(c.stdout, "Today's digest had been sent before: to %s.\n", english.List(earlier))
	}
	switch {
	case len(lacks) > 0:
		return errors.New("the digest has not left for " + strings.Join(lacks, "; nor for "))
	case trouble != nil && !errors.Is(trouble, outbox.ErrBusy):
		c.complain("the digest has left, but "+trouble.Error(), "")
	}
	return nil
}

// lacking says why a mail has not left, and when it is tried again.
func (c *call) lacking(m house.DigestMail, trouble error, zone *time.Location) string {
	words := m.To
	if m.Doubt != "" {
		words += ", or it may have arrived all the same"
	}
	switch {
	case errors.Is(trouble, outbox.ErrBusy):
		return words + ": another nestround is sending mail just now; nestround check says later what became of it"
	case m.Ended && m.Why == "" && trouble != nil:
		return words + ": " + trouble.Error()
	case m.Ended:
		return words + ": " + printable(m.Why) + "; it is not tried again by itself"
	case m.Why == "" && trouble != nil:
		return words + ": " + trouble.Error()
	}
	next := "at once"
	if m.Next.After(c.now()) {
		next = "on " + english.WeekdayMoment(m.Next.In(zone))
	}
	return fmt.Sprintf("%s: %s; nestround serve tries again %s, and so does this command", words, printable(cmp.Or(m.Why, "it was not tried")), next)
}

func setReplies(f *flag.FlagSet) func(context.Context, *call) error {
	file := f.String("file", "", "read this `message` instead of the mailbox; - for standard input")
	dry := f.Bool("dry-run", false, "record nothing and answer nobody")
	again := f.Bool("again", false, "also read the mails that were set aside")
	return func(ctx context.Context, c *call) error {
		if *again && *file != "" {
			return &usageError{"--again is about the mailbox, and --file names a message", "leave out one of them"}
		}
		h, err := c.open()
		if err != nil {
			return err
		}
		all, err := c.readReplies(ctx, h, *file, house.Reading{Dry: *dry, Again: *again})
		var owed *house.OwedError
		if err != nil && !errors.As(err, &owed) {
			return err
		}
		// The marks are on the disk, also if an answer cannot leave.
		if !*dry {
			if left, err := h.DeliverMail(ctx); errors.Is(err, outbox.ErrBusy) {
				// The other process sends the answers.
			} else if err != nil {
				c.complain("what the replies say is recorded, but the answers are not sent: "+err.Error(), "nestround check lists the mails that wait")
			} else if left > 0 {
				c.complain("what the replies say is recorded, but "+english.Count(left, "mail")+" could not be sent yet", "nestround check says why; nestround serve tries again")
			}
		}
		if c.json {
			if printErr := c.printJSON(struct {
				Messages []house.Taken `json:"messages"`
			}{list(all)}); printErr != nil {
				return printErr
			}
			return err
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No new mail.")
		}
		for _, t := range all {
			c.printTaken(t, h)
		}
		return err
	}
}

// readReplies takes the message in a file, or the mails of the mailbox. If the error
// is an [*house.OwedError], all mails are recorded, and some answers are missing.
func (c *call) readReplies(ctx context.Context, h *house.House, file string, how house.Reading) (all []house.Taken, err error) {
	if file == "" {
		err = h.ReadReplies(ctx, how, func(t house.Taken) { all = append(all, t) })
		return all, err
	}
	from := c.stdin
	if file != "-" {
		f, err := disk.Open(file)
		if errors.Is(err, disk.ErrNotFile) {
			return nil, &usageError{err.Error(), "to read from a pipe: nestround replies --file -"}
		}
		if err != nil {
			return nil, fmt.Errorf("read the message: %w", err)
		}
		defer f.Close()
		from = f
	}
	t, err := h.TakeMailFrom(from, how.Dry)
	return []house.Taken{t}, err
}

func (c *call) printTaken(t house.Taken, h *house.House) {
	from := printable(t.From)
	if from == "" {
		from = "nobody that can be told"
	}
	head := "From " + from
	if t.Digest != "" {
		head += ", about digest " + t.Digest
	}
	fmt.Fprintln(c.stdout, c.bold(head))
	switch {
	case t.Ignored != "":
		printIndented(c.stdout, "     ", "ignored: "+printable(t.Ignored))
	case t.Repeated:
		printIndented(c.stdout, "     ", "it was taken before and counts once")
	case len(t.Accepted)+len(t.Refused) == 0:
		printIndented(c.stdout, "     ", "nothing in it is a command")
	}
	c.printSaid(house.Said{Accepted: t.Accepted, Refused: t.Refused}, h)
}
