package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"nestround/cmd/nestround/house"
	"nestround/config/diag"
	"nestround/tasks/civil"
	"nestround/tasks/english"
)

// verb is one verb of the command, such as round or ahead.
type verb struct {
	name  string
	args  string // arguments, as the synopsis shows them
	about string
	// set declares the verb's own flags. It returns the function that runs the
	// verb after the flags are parsed.
	set func(f *flag.FlagSet) func(ctx context.Context, c *call) error
	// These fields say whether the verb has the flags --books, --on and --json.
	books, on, json bool
}

// verbs lists the verbs in the order in which a new keeper meets them.
func verbs() []verb {
	return []verb{
		{name: "demo", about: "all of it on sample books, with a practice mailbox inside", set: setDemo},
		{name: "init", args: "DIR", about: "a commented starter set of books; never overwrites", set: setInit},
		{name: "check", about: "problems in the books, zone data, mail and calendar settings", set: setCheck, books: true, json: true},
		{name: "round", about: "today's tasks", set: setRound, books: true, on: true, json: true},
		{name: "ahead", about: "the coming days, a line a task", set: setAhead, books: true, on: true, json: true},
		{name: "mark", args: `"done 1 3"`, about: "the reply grammar, from the shell", set: setMark, books: true, json: true},
		{name: "clutches", about: "every clutch with its forecast", set: setClutches, books: true, on: true, json: true},
		{name: "sitter", about: "the sheet for whoever stands in while you are away", set: setSitter, books: true},
		{name: "weights", args: "[ID]", about: "what each weighed, and how it grows", set: setWeights, books: true, on: true, json: true},
		{name: "stock", about: "live food: how much is in hand, is used and is to be ordered", set: setStock, books: true, on: true, json: true},
		{name: "season", about: "a year of each species: cooling, pairing, laying, hatching", set: setSeason, books: true, json: true},
		{name: "mix", about: "water and dry substrate for a tub, or for a season's", set: setMix, json: true},
		{name: "calendar", args: "[link ...]", about: "the iCalendar file, or the links that serve it", set: setCalendar, books: true},
		{name: "digest", about: "the morning mail, shown or sent", set: setDigest, books: true},
		{name: "replies", about: "read the mailbox once, or one message from a file", set: setReplies, books: true, json: true},
		{name: "serve", about: "calendar, digest at its hour, replies as they come", set: setServe, books: true},
	}
}

// call is a verb with its flags parsed.
type call struct {
	*program
	verb verb
	args []string
	dir  string     // folder of the books
	date civil.Date // value of --on, or the zero date
	json bool
}

// run finds the verb of a command line and runs it.
func (p *program) run(ctx context.Context, args []string) error {
	if len(args) == 0 {
		p.help(p.stderr)
		return &usageError{"say what to do", "for a first look: nestround demo"}
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		p.help(p.stdout)
		return nil
	}
	v, err := verbOf(args[0])
	if err != nil {
		return err
	}
	return p.runVerb(ctx, v, args[1:])
}

// verbOf finds a verb by its name.
func verbOf(name string) (verb, error) {
	var names []string
	for _, v := range verbs() {
		if v.name == name {
			return v, nil
		}
		names = append(names, v.name)
	}
	hint := "nestround help lists what can be asked"
	if strings.HasPrefix(name, "-") {
		hint = "flags come behind the verb: nestround round " + name
	}
	if s := diag.Suggest(name, names); len(s) > 0 {
		hint = "did you mean: nestround " + s[0]
	}
	return verb{}, &usageError{fmt.Sprintf("unknown verb %q", name), hint}
}

// runVerb parses the flags and arguments of a verb and runs it.
func (p *program) runVerb(ctx context.Context, v verb, args []string) error {
	c := &call{program: p, verb: v}
	f := flag.NewFlagSet(v.name, flag.ContinueOnError)
	f.SetOutput(io.Discard)
	run := v.set(f)
	var on string
	if v.books {
		f.StringVar(&c.dir, "books", p.env("NESTROUND_BOOKS"), "the `folder` of the books; or set NESTROUND_BOOKS")
	}
	if v.on {
		f.StringVar(&on, "on", "", "plan as of this `date`, such as 2027-05-12")
	}
	if v.json {
		f.BoolVar(&c.json, "json", false, "print JSON")
	}
	var err error
	if c.args, err = parse(f, args); errors.Is(err, flag.ErrHelp) {
		p.helpVerb(p.stdout, v, f)
		return nil
	} else if err != nil {
		return &usageError{v.name + ": " + err.Error(), "nestround " + v.name + " -h lists its flags"}
	}
	if v.args == "" && len(c.args) > 0 {
		return &usageError{fmt.Sprintf("%s takes no argument, and %q was given", v.name, c.args[0]), ""}
	}
	if on != "" {
		if c.date, err = civil.Parse(on); err != nil {
			return &usageError{"--on: " + err.Error(), ""}
		}
	}
	if v.books && c.dir == "" {
		return &usageError{"where are the books?", "say --books DIR or set NESTROUND_BOOKS; nestround init DIR writes a first set"}
	}
	return run(ctx, c)
}

// parse parses the flags before, between and after the arguments, and returns
// the arguments.
func parse(f *flag.FlagSet, words []string) (args []string, err error) {
	for {
		if err := f.Parse(words); err != nil {
			return nil, err
		}
		if f.NArg() == 0 {
			return args, nil
		}
		args = append(args, f.Arg(0))
		words = f.Args()[1:]
	}
}

func (p *program) help(w io.Writer) {
	fmt.Fprint(w, "nestround tells a keeper of egg-laying lizards each morning what is due, where and why.\n\n")
	for _, v := range verbs() {
		fmt.Fprintf(w, "  %-28s %s\n", "nestround "+strings.TrimSpace(v.name+" "+v.args), v.about)
	}
	fmt.Fprint(w, `
nestround VERB -h lists the flags of a verb. The books are named by --books DIR
or the variable NESTROUND_BOOKS. Exit 0: done; 1: problems found or refused;
2: the call itself is wrong.
`)
}

func (p *program) helpVerb(w io.Writer, v verb, f *flag.FlagSet) {
	fmt.Fprintf(w, "nestround %s: %s\n\n", strings.TrimSpace(v.name+" "+v.args), v.about)
	f.SetOutput(w)
	f.PrintDefaults()
}

// open opens the books for reading and prints their problems.
func (c *call) open() (*house.House, error) {
	h, problems, err := house.Open(c.dir, house.Options{Now: c.now})
	return h, c.tell(problems, err)
}

// ask opens the books. It returns a snapshot that answers questions about them,
// and the day of the call: --on, or today.
func (c *call) ask() (*house.Snapshot, civil.Date, error) {
	h, err := c.open()
	if err != nil {
		return nil, c.date, err
	}
	s := h.Snapshot()
	if c.date.IsZero() {
		return s, s.Today(), nil
	}
	return s, c.date, nil
}

// tell prints problems to stderr. If there is an error among them, the verb
// ends. If there are only warnings, tell prints one line; the verb check lists
// the warnings.
func (c *call) tell(problems diag.List, err error) error {
	switch {
	case len(problems) > 0 && (problems.HasErrors() || c.verb.name == "check"):
		if err := problems.Print(c.stderr); err != nil {
			return err
		}
	case len(problems) > 0:
		c.complain(fmt.Sprintf("the books have %s", english.Count(len(problems), "warning")), "nestround check tells them")
	}
	if err == nil && problems.HasErrors() {
		return errTold
	}
	return err
}

func (c *call) printJSON(v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(c.stdout, "%s\n", b)
	return err
}
