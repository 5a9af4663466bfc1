// Command speed measures whole processes of the program: how much processor
// time and memory `nestround round` takes on books of several sizes.
//
// Run it from the root of the module:
//
//	go run ./testdata/speed
//
// It builds the program, writes books (see the package facility), and runs each
// command several times in turn. To cancel out the speed of the machine, each
// figure is given as two ratios: to `nestround help`, which reads nothing, and
// to a reference that only reads the same files and splits them into lines. The
// reference is not part of the program, so a slower help does not look like
// progress. "cold" is a round without state/cache, "warm" is any other round.
//
// The flag -keep keeps the books, for a profile or a second run.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"nestround/testdata/speed/facility"
)

func main() {
	sizes := flag.String("enclosures", "12,200,2000", "sizes of the books, in `enclosures`")
	spans := flag.String("years", "3,10", "`years` of daybook; 10 years of 2,000 enclosures, 4.4 million lines, are left out")
	runs := flag.Int("runs", 5, "how `often` each command runs")
	program := flag.String("program", "", "the `file` of a program to measure instead of the one of this folder")
	keep := flag.String("keep", "", "write the books below this `folder`, and leave them there")
	read := flag.String("read", "", "read the files below a `folder` as the reference does, and nothing else")
	write := flag.String("write", "", "write books of the first size and span into a `folder`, and nothing else")
	flag.Parse()
	err := func() error {
		switch {
		case *read != "":
			return reference(*read)
		case *write != "":
			return facility.Write(*write, numbers(*sizes)[0], numbers(*spans)[0])
		}
		return measure(*program, *keep, numbers(*sizes), numbers(*spans), *runs)
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, "speed:", err)
		os.Exit(1)
	}
}

func numbers(list string) []int {
	var ns []int
	for word := range strings.SplitSeq(list, ",") {
		n, err := strconv.Atoi(word)
		if err != nil || n < 1 {
			fmt.Fprintf(os.Stderr, "speed: %q is not a list of numbers from 1 on\n", list)
			os.Exit(2)
		}
		ns = append(ns, n)
	}
	return ns
}

// reference reads every record file and daybook below dir, and splits it into
// lines. That is the least work for any reader of the files.
func reference(dir string) error {
	lines, size := 0, 0
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if ext := filepath.Ext(path); err != nil || d.IsDir() || ext != ".toml" && ext != ".jsonl" {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for line := range bytes.Lines(text) {
			lines++
			size += len(line)
		}
		return nil
	})
	fmt.Println(lines, "lines,", size, "bytes")
	return err
}

// cost has the measurements of the runs of a command.
type cost struct {
	cpu  []time.Duration
	peak []int64 // KiB
}

func (c *cost) run(name string, args ...string) error {
	cmd := exec.Command(name, args...)
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s %s: %w: %s", name, strings.Join(args, " "), err, said.Bytes())
	}
	c.cpu = append(c.cpu, cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime())
	if use, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		c.peak = append(c.peak, use.Maxrss)
	}
	return nil
}

func median[T int64 | time.Duration](list []T) T {
	if len(list) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(list))
	return sorted[len(sorted)/2]
}

func measure(program, keep string, sizes, spans []int, runs int) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	temp, err := os.MkdirTemp("", "speed")
	if err != nil {
		return err
	}
	defer os.RemoveAll(temp)
	if program == "" {
		program = filepath.Join(temp, "nestround")
		build := exec.Command("go", "build", "-o", program, "./cmd/nestround")
		build.Stderr = os.Stderr
		if err := build.Run(); err != nil {
			return fmt.Errorf("build the program, from the root of its module: %w", err)
		}
	}
	if keep == "" {
		keep = temp
	}
	fmt.Printf("%-26s %9s %9s %9s %9s  %15s %15s  %9s %9s\n", "", "help", "reference", "cold", "warm", "cold/help /ref", "warm/help /ref", "cold", "warm")
	for _, enclosures := range sizes {
		for _, years := range spans {
			if enclosures*years > 10_000 {
				continue
			}
			dir := filepath.Join(keep, fmt.Sprintf("%d-%d", enclosures, years))
			if _, err := os.Stat(dir); err != nil {
				if err := os.MkdirAll(dir, 0o755); err != nil {
					return err
				}
				// Write the books in a separate process: the peak memory that
				// is measured for a child process begins with the memory of its
				// parent.
				if out, err := exec.Command(self, "-write", dir, "-enclosures", strconv.Itoa(enclosures), "-years", strconv.Itoa(years)).CombinedOutput(); err != nil {
					return fmt.Errorf("write books: %w: %s", err, out)
				}
			}
			var help, ref, cold, warm cost
			round := []string{"round", "--books", dir, "--on", facility.On}
			for range runs {
				if err := os.RemoveAll(filepath.Join(dir, "state", "cache")); err != nil {
					return err
				}
				for _, err := range []error{
					help.run(program, "help"),
					ref.run(self, "-read", dir),
					cold.run(program, round...),
					warm.run(program, round...),
				} {
					if err != nil {
						return err
					}
				}
			}
			ms := func(c cost) string { return fmt.Sprintf("%.0f ms", float64(median(c.cpu).Microseconds())/1e3) }
			to := func(c cost) string {
				return fmt.Sprintf("%.1f %.1f", float64(median(c.cpu))/float64(median(help.cpu)), float64(median(c.cpu))/float64(median(ref.cpu)))
			}
			mib := func(c cost) string { return fmt.Sprintf("%d MiB", median(c.peak)/1024) }
			fmt.Printf("%-26s %9s %9s %9s %9s  %15s %15s  %9s %9s\n", fmt.Sprintf("%d enclosures, %d years", enclosures, years),
				ms(help), ms(ref), ms(cold), ms(warm), to(cold), to(warm), mib(cold), mib(warm))
			if keep == temp {
				if err := os.RemoveAll(dir); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
