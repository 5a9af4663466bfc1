package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"nestround/cmd/nestround/demobooks"
	"nestround/cmd/nestround/house"
	"nestround/notify/calendar"
	"nestround/notify/practice"
	"nestround/tasks/civil"
)

// The two accounts of the practice mailbox. The domain is reserved for
// examples (RFC 2606).
const (
	demoRounds   = "rounds@example.org"
	demoKeeper   = "keeper@example.org"
	demoPassword = "practice"
)

func setDemo(f *flag.FlagSet) func(context.Context, *call) error {
	listen := f.String("listen", "127.0.0.1:0", "serve the page and the calendar on this `address`")
	dir := f.String("dir", "", "write the sample books into this `folder` and keep them")
	verbose := f.Bool("verbose", false, "log what happens inside")
	return func(ctx context.Context, c *call) error {
		settle()
		d, err := c.startDemo(*dir, *verbose)
		if err != nil {
			return err
		}
		defer d.close()
		return d.run(ctx, *listen)
	}
}

// demo is a running demo.
type demo struct {
	*call
	dir   string
	temp  bool // remove dir at the end
	box   *practice.Box
	house *house.House
	page  *practicePage
}

func (c *call) startDemo(dir string, verbose bool) (_ *demo, err error) {
	d := &demo{call: c, dir: dir, box: practice.New()}
	if dir == "" {
		if d.dir, err = os.MkdirTemp("", "nestround-demo-"); err != nil {
			return nil, fmt.Errorf("make a folder for the sample books: %w", err)
		}
		d.temp = true
	}
	defer func() {
		if err != nil {
			d.close()
		}
	}()
	for _, a := range []string{demoRounds, demoKeeper} {
		if err := d.box.AddUser(a, demoPassword); err != nil {
			return nil, err
		}
	}
	d.box.RequireAuth = true
	if err := d.box.Start(nil); err != nil {
		return nil, fmt.Errorf("start the practice mailbox: %w", err)
	}
	today := civil.Of(c.now(), time.Local)
	setting := demobooks.Setting{Zone: localZone(), SMTP: d.box.SMTP(), IMAP: d.box.IMAP(), User: demoRounds, Password: demoPassword}
	if err := demobooks.Write(d.dir, today, setting); err != nil {
		return nil, err
	}
	log := slog.New(slog.DiscardHandler)
	if verbose {
		log = c.logger(false, true)
	}
	d.page = newPracticePage(d)
	h, problems, err := house.Open(d.dir, house.Options{Now: c.now, Log: log, Page: d.page, Taken: d.page.took})
	if err := c.tell(problems, err); err != nil {
		return nil, err
	}
	d.house = h
	return d, nil
}

// localZone returns the name of the machine's time zone, or "UTC" if the name
// is unknown. The demo plans in that zone, so that its date is the date at the
// user's place.
func localZone() string {
	if tz := os.Getenv("TZ"); tz != "" {
		if _, err := time.LoadLocation(tz); err == nil {
			return tz
		}
	}
	if target, err := filepath.EvalSymlinks("/etc/localtime"); err == nil {
		for _, root := range []string{"/usr/share/zoneinfo/", "/var/db/timezone/zoneinfo/"} {
			if name, err := filepath.Rel(root, target); err == nil && !filepath.IsAbs(name) && name[0] != '.' {
				if _, err := time.LoadLocation(name); err == nil {
					return name
				}
			}
		}
	}
	return "UTC"
}

func (d *demo) close() {
	d.box.Close()
	if d.temp {
		os.RemoveAll(d.dir)
	}
}

func (d *demo) run(ctx context.Context, listen string) error {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", listen, err)
	}
	defer l.Close()
	d.page.base = "http://" + l.Addr().String()
	token, link, err := d.house.Publisher().Links().New("demo", calendar.Scope{})
	if err != nil {
		return err
	}
	if d.page.calendar, err = d.house.Publisher().LinkAddressAt(d.page.base, token, link); err != nil {
		return err
	}
	if _, err := d.house.Morning(time.Time{}); err != nil {
		return err
	}
	if left, err := d.house.DeliverMail(ctx); err != nil || left > 0 {
		return fmt.Errorf("the digest could not be sent to the practice mailbox: %w", err)
	}
	d.tell()
	return d.house.Serve(ctx, l)
}

func (d *demo) tell() {
	w := d.stdout
	s := d.house.Snapshot()
	d.printRound(s.Board(s.Today()), s.Rounds())
	fmt.Fprintf(w, "\n%s\n", d.bold("What just happened"))
	say := func(format string, a ...any) { printIndented(w, "  ", fmt.Sprintf(format, a...)) }
	say("Sample books were written to %s: twelve enclosures, four species, dates around today.", d.dir)
	say("Their round, above, was computed, and the digest was sent by SMTP to the practice mailbox of %s.", demoKeeper)
	say("Its replies are read over IMAP; the calendar is served.")
	fmt.Fprintf(w, "\n%s\n", d.bold("Look at it"))
	fmt.Fprintf(w, "  mailbox and reply   %s/\n", d.page.base)
	fmt.Fprintf(w, "  calendar            %s\n", d.page.calendar)
	fmt.Fprintf(w, "  from the shell      nestround round --books %s\n", d.dir)
	fmt.Fprintf(w, "\nNothing leaves this machine. Ctrl-C ends it%s.\n", map[bool]string{true: " and removes the sample books"}[d.temp])
}
