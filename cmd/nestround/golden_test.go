package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestround/notify/reply"
)

var update = flag.Bool("update", false, "write the golden files anew")

// runAny runs the command in this process on the morning of 12 May 2027.
func runAny(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	now, err := time.Parse(time.RFC3339, "2027-05-12T06:10:00+02:00")
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	p := &program{stdin: strings.NewReader(""), stdout: &out, stderr: &errs, env: func(string) string { return "" }, now: func() time.Time { return now }}
	code = p.main(context.Background(), args)
	return out.String(), errs.String(), code
}

// run is runAny for a command that must succeed.
func run(t *testing.T, args ...string) string {
	t.Helper()
	out, errs, code := runAny(t, args...)
	if code != exitDone {
		t.Fatalf("nestround %s: exit %d\n%s", strings.Join(args, " "), code, errs)
	}
	return out
}

// These parts of a digest are random; the golden files have fixed values there.
var (
	drawnID    = regexp.MustCompile(`\[#[A-Z][0-9][A-Z][0-9]\]|\[%23[A-Z][0-9][A-Z][0-9]\]|%5B%23[A-Z][0-9][A-Z][0-9]%5D`)
	drawnToken = regexp.MustCompile(`(Ref [A-Z][0-9][A-Z][0-9] |d\.)[a-z2-7]{26}`)
)

func withoutLots(s string) string {
	s = drawnID.ReplaceAllString(s, "[#K7Q2]")
	return drawnToken.ReplaceAllString(s, "TOKEN")
}

// The golden files hold every output for the demo's books and for the smallest
// books. The problems of the faulty books have their golden files in
// config/books.
func TestGoldenBooks(t *testing.T) {
	t.Parallel()
	for _, books := range []string{"demo", "minimal"} {
		t.Run(books, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata", "books", books))); err != nil {
				t.Fatal(err)
			}
			// The id of the books is random as well; the program draws it only
			// once.
			if err := os.MkdirAll(filepath.Join(dir, "state", "calendar"), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "state", "calendar", "install"), []byte("golden\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			for name, args := range map[string][]string{
				"round.txt":    {"round"},
				"round.json":   {"round", "--json"},
				"ahead.txt":    {"ahead", "--days", "14"},
				"clutches.txt": {"clutches"},
				"season.txt":   {"season"},
				"calendar.ics": {"calendar"},
				"digest.txt":   {"digest"},
				"digest.html":  {"digest", "--html"},
			} {
				got := withoutLots(run(t, append(args, "--books", dir)...))
				golden := filepath.Join("..", "..", "testdata", "golden", books, name)
				if *update {
					if err := os.MkdirAll(filepath.Dir(golden), 0o755); err != nil {
						t.Fatal(err)
					}
					if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				want, err := os.ReadFile(golden)
				if err != nil {
					t.Fatal(err)
				}
				if got != string(want) {
					t.Errorf("%s differs from %s; look at the difference, and if it is meant: go test ./cmd/nestround -run Golden -update", name, golden)
					if i := firstDifference(got, string(want)); i >= 0 {
						t.Logf("line %d is\n\t%s", i+1, strings.Split(got+"\n", "\n")[i])
					}
				}
			}
			invariants(t, dir)
		})
	}
}

func firstDifference(a, b string) int {
	other := strings.Split(b, "\n")
	for i, line := range strings.Split(a, "\n") {
		if i >= len(other) || line != other[i] {
			return i
		}
	}
	return -1
}

// invariants checks properties of any books: the terminal, the digest and the
// JSON show the same numbers, no line of a digest reads as a command, and every
// task has a reason.
func invariants(t *testing.T, dir string) {
	t.Helper()
	var round struct {
		Tasks []struct {
			N                            int
			Key, Title, Why, Status, Due string
		}
	}
	if err := json.Unmarshal([]byte(run(t, "round", "--json", "--books", dir)), &round); err != nil {
		t.Fatal(err)
	}
	text, terminal := run(t, "digest", "--books", dir), run(t, "round", "--books", dir)
	keys := make(map[string]bool)
	for _, k := range round.Tasks {
		if keys[k.Key] {
			t.Errorf("two tasks have the key %s", k.Key)
		}
		keys[k.Key] = true
		if k.Why == "" || k.Title == "" {
			t.Errorf("%s has no reason or no title", k.Key)
		}
		if k.N == 0 {
			continue
		}
		number := regexp.MustCompile(`(?m)^ *` + strconv.Itoa(k.N) + `  \S`)
		if !number.MatchString(text) || !number.MatchString(terminal) {
			t.Errorf("number %d (%s) is missing in the digest or on the terminal", k.N, k.Key)
		}
	}
	for line := range strings.Lines(text) {
		if p := reply.Parse(line, nil); len(p.Commands) > 0 {
			t.Errorf("a line of the digest is a command: %q", line)
		}
	}
	for line := range strings.Lines(terminal) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 80 {
			t.Errorf("a line of the terminal has %d columns: %q", n, line)
		}
	}
}
