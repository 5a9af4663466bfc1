package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"time"

	"nestround/cmd/nestround/house"
	"nestround/notify/mailout"
	"nestround/tasks/disk"
	"nestround/tasks/english"
)

// maxMessage is the largest message of replies --file, in bytes. Providers
// accept messages of 25 to 50 MB.
const maxMessage = 64 << 20

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
	issued, err := h.Morning(time.Time{})
	if err != nil {
		return err
	}
	left, err := h.DeliverMail(ctx)
	if err != nil {
		return err
	}
	switch {
	case left > 0:
		return fmt.Errorf("the digest waits in the outbox: %s could not be sent yet; nestround serve tries again, and so does this command", english.Count(left, "mail"))
	case !issued:
		fmt.Fprintln(c.stdout, "Today's digest had been sent before.")
	default:
		fmt.Fprintln(c.stdout, "Sent.")
	}
	return nil
}

func setReplies(f *flag.FlagSet) func(context.Context, *call) error {
	file := f.String("file", "", "read this `message` instead of the mailbox; - for standard input")
	dry := f.Bool("dry-run", false, "record nothing and answer nobody")
	return func(ctx context.Context, c *call) error {
		h, err := c.open()
		if err != nil {
			return err
		}
		var all []house.Taken
		if *file != "" {
			var raw []byte
			if *file == "-" {
				raw, err = io.ReadAll(io.LimitReader(c.stdin, maxMessage+1))
				if len(raw) > maxMessage {
					err = &disk.TooLargeError{Most: maxMessage}
				}
			} else if raw, err = disk.ReadFile(*file, maxMessage); errors.Is(err, disk.ErrNotFile) {
				return &usageError{err.Error(), "to read from a pipe: nestround replies --file -"}
			}
			if err != nil {
				return fmt.Errorf("read the message: %w", err)
			}
			t, err := h.TakeMail(raw, *dry)
			if err != nil {
				return err
			}
			all = append(all, t)
		} else if err := h.ReadReplies(ctx, *dry, func(t house.Taken) { all = append(all, t) }); err != nil {
			return err
		}
		if !*dry {
			if _, err := h.DeliverMail(ctx); err != nil {
				return err
			}
		}
		if c.json {
			return c.printJSON(struct {
				Messages []house.Taken `json:"messages"`
			}{list(all)})
		}
		if len(all) == 0 {
			fmt.Fprintln(c.stdout, "No new mail.")
		}
		for _, t := range all {
			c.printTaken(t, h)
		}
		return nil
	}
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
