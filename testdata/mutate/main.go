// Command mutate measures how many small mistakes the tests notice. It makes one
// mistake at a time in the code of the given packages, at random places, and
// runs the tests. It lists the mistakes that no test noticed: each is a limit, a
// branch or a word that could be wrong without anybody knowing.
//
//	go run ./testdata/mutate -n 20 ./tasks ./scheduler/season/...
//	go run ./testdata/mutate -n 200 -also ./scheduler ./scheduler/... ./tasks
//
// The source tree is never changed: the go command reads the mutated file in
// place of the real file (go help build, -overlay). The same seed gives the same
// mistakes as long as the code stays the same. operators.go lists the kinds of
// mistakes.
//
// A mistake that survives is not always a fault of the tests. Some mistakes have
// no visible effect (a cache that is filled sooner, the capacity of a slice).
// Others change a value of common practice that no source fixes. Decide for each
// mistake whether a test is missing.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "mutate:", err)
		}
		os.Exit(1)
	}
}

// settings are the settings from the command line.
type settings struct {
	n     int    // number of mistakes that compile
	seed  uint64 // seed of the random choice
	least int    // percent that must be noticed
	list  bool
	only  []string // names of operators; empty for all
	also  []string // packages whose tests run too
	in    []string // packages in which mistakes are made
}

func run(ctx context.Context, args []string) error {
	var s settings
	var also, only string
	flags := flag.NewFlagSet("mutate", flag.ContinueOnError)
	flags.Usage = func() {
		fmt.Fprintln(flags.Output(), "go run ./testdata/mutate [flags] packages")
		flags.PrintDefaults()
		fmt.Fprintln(flags.Output(), "operators:", strings.Join(operatorNames(), ", "))
	}
	flags.IntVar(&s.n, "n", 20, "`number` of mistakes to make")
	flags.Uint64Var(&s.seed, "seed", 1, "`seed` of the drawing")
	flags.IntVar(&s.least, "least", 0, "fail where fewer `percent` are noticed")
	flags.BoolVar(&s.list, "list", false, "show the mistakes and run nothing")
	flags.StringVar(&only, "only", "", "`operators` to use, parted by commas")
	flags.StringVar(&also, "also", "", "`packages` whose tests run too, parted by commas, in this order")
	if err := flags.Parse(args); err != nil {
		return err
	}
	list := func(v string) []string {
		return strings.FieldsFunc(v, func(r rune) bool { return r == ',' })
	}
	s.only, s.also, s.in = list(only), list(also), flags.Args()
	for _, name := range s.only {
		if !slices.Contains(operatorNames(), name) {
			return fmt.Errorf("no operator is called %q", name)
		}
	}
	if len(s.in) == 0 || s.n < 1 {
		return errors.New("name at least one package and one mistake")
	}

	targets, err := packages(ctx, s.in)
	if err != nil {
		return err
	}
	further, err := packages(ctx, s.also)
	if err != nil {
		return err
	}
	places, err := placesIn(targets, s.only)
	if err != nil {
		return err
	}
	draw(places, s.seed)
	fmt.Printf("%d places in %d packages\n", len(places), len(targets))
	if s.list {
		for _, p := range places[:min(s.n, len(places))] {
			fmt.Println(p)
		}
		return nil
	}
	return measure(ctx, s, places, further)
}

// pkg is a package of the module.
type pkg struct {
	Dir, ImportPath, Name      string
	GoFiles                    []string
	TestGoFiles, TestImports   []string
	XTestGoFiles, XTestImports []string
}

// packages returns the packages for patterns such as ./scheduler/...
func packages(ctx context.Context, patterns []string) ([]*pkg, error) {
	if len(patterns) == 0 {
		return nil, nil
	}
	out, err := exec.CommandContext(ctx, "go", append([]string{"list", "-json=Dir,ImportPath,Name,GoFiles,TestGoFiles,TestImports,XTestGoFiles,XTestImports", "--"}, patterns...)...).Output()
	if err != nil {
		var failed *exec.ExitError
		if errors.As(err, &failed) {
			return nil, fmt.Errorf("go list: %s", bytes.TrimSpace(failed.Stderr))
		}
		return nil, fmt.Errorf("go list: %w", err)
	}
	var list []*pkg
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		p := new(pkg)
		if err := d.Decode(p); err != nil {
			return nil, fmt.Errorf("read the answer of go list: %w", err)
		}
		list = append(list, p)
	}
	return list, nil
}

func (p *pkg) hasTests() bool { return len(p.TestGoFiles)+len(p.XTestGoFiles) > 0 }

// usesRapid reports whether the tests draw random cases. These tests get a
// fixed seed.
func (p *pkg) usesRapid() bool {
	return slices.Contains(slices.Concat(p.TestImports, p.XTestImports), "pgregory.net/rapid")
}

// draw shuffles the places, and the list of mistakes of each place. The seed
// determines both orders.
func draw(places []place, seed uint64) {
	r := rand.New(rand.NewPCG(seed, uint64(len(places))))
	for i := range places {
		p := &places[i]
		r.Shuffle(len(p.mistakes), func(a, b int) { p.mistakes[a], p.mistakes[b] = p.mistakes[b], p.mistakes[a] })
	}
	r.Shuffle(len(places), func(a, b int) { places[a], places[b] = places[b], places[a] })
}

// verdict is the result of one mistake.
type verdict int

const (
	survived verdict = iota
	caught
	notCompiled
)

// tally counts the mistakes of an operator.
type tally struct{ caught, made int }

// measure makes the mistakes at the given places until n of them have compiled,
// and prints the results.
func measure(ctx context.Context, s settings, places []place, further []*pkg) error {
	work, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)

	// First run the tests without a mistake: they must pass, and their duration
	// gives the time limit. The limit catches a mistake that makes a loop
	// endless.
	limits := make(map[string]time.Duration)
	limit := func(p *pkg) (time.Duration, error) {
		if d, ok := limits[p.ImportPath]; ok {
			return d, nil
		}
		began := time.Now()
		if v, words := test(ctx, p, "", 30*time.Minute); v != survived {
			return 0, fmt.Errorf("%s fails without any mistake: %s", p.ImportPath, words)
		}
		limits[p.ImportPath] = 30*time.Second + 4*time.Since(began)
		return limits[p.ImportPath], nil
	}

	var left []place
	var total tally
	by := make(map[string]*tally)
	broken := 0
	for _, p := range places {
		if total.made == s.n {
			break
		}
		overlay, err := p.write(work)
		if err != nil {
			return err
		}
		v, words := survived, ""
		tests := slices.Concat([]*pkg{p.in}, slices.DeleteFunc(slices.Clone(further), func(q *pkg) bool { return q.ImportPath == p.in.ImportPath }))
		for _, q := range tests {
			if !q.hasTests() {
				continue
			}
			most, err := limit(q)
			if err != nil {
				return err
			}
			if v, words = test(ctx, q, overlay, most); v != survived {
				break
			}
		}
		if ctx.Err() != nil {
			break
		}
		if v == notCompiled {
			broken++
			continue
		}
		operator := p.mistakes[0].operator
		if by[operator] == nil {
			by[operator] = new(tally)
		}
		total.made++
		by[operator].made++
		if v == caught {
			total.caught++
			by[operator].caught++
			fmt.Printf("caught    %s (%s)\n", p, words)
		} else {
			left = append(left, p)
			fmt.Printf("SURVIVED  %s\n", p)
		}
	}

	fmt.Printf("\n%d of %d caught (%d %%), %d survived, %d not compiled\n", total.caught, total.made, percent(total), len(left), broken)
	for _, name := range operatorNames() {
		if t := by[name]; t != nil {
			fmt.Printf("  %-10s %3d of %3d\n", name, t.caught, t.made)
		}
	}
	if len(left) > 0 {
		fmt.Println("\nsurvivors:")
		slices.SortFunc(left, func(a, b place) int { return strings.Compare(a.String(), b.String()) })
		for _, p := range left {
			fmt.Println(p)
		}
	}
	switch {
	case ctx.Err() != nil:
		return errors.New("interrupted")
	case percent(total) < s.least:
		return fmt.Errorf("%d %% were caught, and %d must be", percent(total), s.least)
	}
	return nil
}

func percent(t tally) int { return 100 * t.caught / max(1, t.made) }

var failing = regexp.MustCompile(`(?m)^--- FAIL: (\S+)|^(panic: .*)$|^(fatal error: .*)$`)

// test runs the tests of a package with an overlay ("" for none) up to the
// first failure. It turns off the vet checks of the go command: a mistake that
// vet finds has not been noticed by a test.
func test(ctx context.Context, p *pkg, overlay string, most time.Duration) (verdict, string) {
	args := []string{"test", "-vet=off", "-failfast", "-timeout", most.String()}
	if overlay != "" {
		args = append(args, "-overlay", overlay)
	}
	args = append(args, p.ImportPath)
	if p.usesRapid() {
		args = append(args, "-args", "-rapid.nofailfile", "-rapid.seed=1", "-rapid.shrinktime=0s")
	}
	out, err := exec.CommandContext(ctx, "go", args...).CombinedOutput()
	if err == nil {
		return survived, ""
	}
	if bytes.Contains(out, []byte("[build failed]")) || bytes.Contains(out, []byte("[setup failed]")) {
		return notCompiled, string(bytes.TrimSpace(out))
	}
	words := p.ImportPath
	if m := failing.FindSubmatch(out); m != nil {
		words = string(bytes.Join(m[1:], nil))
	}
	return caught, words
}

// write writes the mutated file, and an overlay file that puts the mutated file
// in place of the original file. It returns the name of the overlay file.
func (p *place) write(folder string) (string, error) {
	source, err := os.ReadFile(p.file)
	if err != nil {
		return "", err
	}
	m := p.mistakes[0]
	mutated := slices.Concat(source[:m.from], []byte(m.now), source[m.to:])
	file := filepath.Join(folder, "mutated.go")
	if err := os.WriteFile(file, mutated, 0o600); err != nil {
		return "", err
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {p.file: file}})
	if err != nil {
		return "", err
	}
	name := filepath.Join(folder, "overlay.json")
	return name, os.WriteFile(name, overlay, 0o600)
}
