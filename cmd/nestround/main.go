// Command nestround tells a keeper-breeder of small egg-laying lizards every
// morning which tasks are due, where, why, and what they lead to.
//
// This package is the command line of the program. main.go starts the program,
// verbs.go lists its verbs, each verb has a file, and ui.go formats sentences
// and tables. The package house below connects the parts; the packages
// scheduler, tasks, notify and config do the work. Only main.go ends the
// process.
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
	"sync/atomic"
	"syscall"
	"time"
)

func main() {
	hurry()
	p := &program{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		env:        os.Getenv,
		now:        time.Now,
		terminal:   isTerminal(os.Stdout) && os.Getenv("NO_COLOR") == "",
		unfinished: new(atomic.Pointer[func() string]),
	}
	os.Exit(p.main(p.untilSignal(), os.Args[1:]))
}

// tellForced names the parts that did not end, on standard error. Standard error may
// block, so tellForced waits a second at most.
func (p *program) tellForced() {
	said := make(chan struct{})
	go func() {
		defer close(said)
		message := "ended by force"
		if unfinished := p.unfinished.Load(); unfinished != nil {
			if parts := (*unfinished)(); parts != "" {
				message += "; still at work: " + parts
			}
		}
		p.complain(message, "nothing that was confirmed is lost")
	}()
	select {
	case <-said:
	case <-time.After(time.Second):
	}
}

// untilSignal returns the context of a run, which ends at SIGTERM or Ctrl-C.
//
// The verb serve ends when the context ends. Some other verbs never look at the
// context, and anything may wait for a disk or a pipe that hangs. Then the
// process ends by force, at a second signal or when patienceAtEnd is over. That
// is no worse than a kill: whatever was confirmed is on the disk.
func (p *program) untilSignal() context.Context {
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		<-signals
		cancel()
		select {
		case <-signals:
		case <-time.After(patienceAtEnd):
		}
		p.tellForced()
		os.Exit(exitProblems)
	}()
	return ctx
}

// patienceAtEnd is how long the program may run after SIGTERM or Ctrl-C. It is
// longer than the time that serve gives to requests under way.
const patienceAtEnd = 10 * time.Second

// hurry makes garbage collection rare. It suits runs that read the books once,
// answer and end, as most runs do. The collector then waits until the memory in
// use has grown by 200 %, not by the usual 100 %. Compared with no collector, a
// round of 200 enclosures takes half the memory, and 10 to 20 % more processor
// time (testdata/speed). Near the memory limit, garbage is collected as often
// as necessary.
func hurry() {
	debug.SetGCPercent(200)
	debug.SetMemoryLimit(448 << 20)
}

// settle gives garbage collection Go's default settings, which hurry has
// changed. The verbs serve and demo call settle, because they run for a long
// time.
func settle() {
	debug.SetGCPercent(100)
	debug.SetMemoryLimit(math.MaxInt64)
}

// program is one run of the command. It holds everything that the run takes
// from its surroundings, so that tests can run it inside their own process.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	env            func(string) string
	now            func() time.Time
	terminal       bool // stdout is a terminal, so bold is allowed
	// unfinished returns the names of the parts of serve that still work. The
	// pointer is nil in tests, and its content is nil for other verbs.
	unfinished *atomic.Pointer[func() string]
}

// The exit codes, as documented by `nestround help`.
const (
	exitDone     = 0
	exitProblems = 1 // the books have problems, or the program refused the request
	exitUsage    = 2 // wrong flags or arguments
)

// usageError reports a call with wrong flags or arguments; hint says what to
// type instead.
type usageError struct{ message, hint string }

func (e *usageError) Error() string { return e.message }

// errTold ends a verb with exit code 1 and no further message, because the verb
// has printed the problems already.
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
