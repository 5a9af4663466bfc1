// Command nestround tells a keeper-breeder of small egg-laying lizards every
// morning what is due, where, why, and what it leads to.
//
// It is the wiring and the voice of the program: main.go starts it, verbs.go
// lists what it can be asked, one file for each verb does it, and ui.go has
// how sentences and tables look. What it joins is in the package house below,
// and what it computes is in the packages scheduler, tasks, notify and config.
// Only this file ends the process.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"
)

func main() {
	hurry()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	p := &program{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		env:      os.Getenv,
		now:      time.Now,
		terminal: isTerminal(os.Stdout) && os.Getenv("NO_COLOR") == "",
	}
	// serve ends by the context. A verb that does not look at it is ended by
	// force, as it would be without us.
	context.AfterFunc(ctx, func() {
		stop()
		time.Sleep(patienceAtEnd)
		os.Exit(exitProblems)
	})
	os.Exit(p.main(ctx, os.Args[1:]))
}

// patienceAtEnd is how long after SIGTERM or Ctrl-C the program may take: more
// than serve gives the requests under way.
const patienceAtEnd = 10 * time.Second

// hurry is for runs that read the books once, answer and end, as most do.
// Collecting garbage while they read costs a third of their time and frees
// memory that nobody waits for; only beyond the limit it is collected.
func hurry() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(512 << 20)
}

// settle is for runs that stay: it undoes hurry.
func settle() {
	debug.SetGCPercent(100)
	debug.SetMemoryLimit(math.MaxInt64)
}

// program is one run of the command with everything it takes from its
// surroundings, so that tests can run it inside their own process.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	env            func(string) string
	now            func() time.Time
	terminal       bool // stdout is a terminal: bold is allowed
}

// The exit codes, as `nestround help` states them.
const (
	exitDone     = 0
	exitProblems = 1 // problems found, or refused
	exitUsage    = 2 // the call itself is wrong
)

// usageError is a call that is wrong in itself; hint says what to type instead.
type usageError struct{ message, hint string }

func (e *usageError) Error() string { return e.message }

// errTold ends a verb with exit 1 when everything has been said already.
var errTold = errors.New("problems were found")

func (p *program) main(ctx context.Context, args []string) int {
	err := p.run(ctx, args)
	var usage *usageError
	switch {
	case err == nil, errors.Is(err, context.Canceled) && ctx.Err() != nil:
		return exitDone
	case errors.As(err, &usage):
		p.complain(usage.message, usage.hint)
		return exitUsage
	case errors.Is(err, errTold):
		return exitProblems
	}
	hint := ""
	if h := (interface{ Hint() string })(nil); errors.As(err, &h) {
		hint = h.Hint()
	}
	p.complain(err.Error(), hint)
	return exitProblems
}

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// complain writes an error, then its hint, to stderr.
func (p *program) complain(message, hint string) {
	fmt.Fprintf(p.stderr, "nestround: %s\n", message)
	if hint != "" {
		fmt.Fprintf(p.stderr, "  %s\n", hint)
	}
}
