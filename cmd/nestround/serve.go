package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net"

	"nestround/cmd/nestround/house"
)

func setServe(f *flag.FlagSet) func(context.Context, *call) error {
	listen := f.String("listen", "", "listen on this `address` instead of keeper.toml's")
	asJSON := f.Bool("log-json", false, "log in JSON instead of text")
	verbose := f.Bool("verbose", false, "log more")
	return func(ctx context.Context, c *call) error {
		settle()
		h, problems, err := house.Open(c.dir, house.Options{Now: c.now, Log: c.logger(*asJSON, *verbose)})
		if err := c.tell(problems, err); err != nil {
			return err
		}
		if *listen == "" {
			*listen = h.Snapshot().Settings().Page.Listen
		}
		l, err := net.Listen("tcp", *listen)
		if err != nil {
			return fmt.Errorf("listen on %s: %w", *listen, err)
		}
		defer l.Close()
		if c.unfinished != nil {
			unfinished := house.ServiceOf(h).Unfinished
			c.unfinished.Store(&unfinished)
		}
		return h.Serve(ctx, l)
	}
}

func (p *program) logger(asJSON, verbose bool) *slog.Logger {
	o := &slog.HandlerOptions{}
	if verbose {
		o.Level = slog.LevelDebug
	}
	if asJSON {
		return slog.New(slog.NewJSONHandler(p.stderr, o))
	}
	return slog.New(slog.NewTextHandler(p.stderr, o))
}
