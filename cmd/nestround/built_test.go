package main

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nestround/cmd/nestround/demobooks"
	"nestround/tasks/civil"
)

// sourceOfClock is the clock of the built program, which is also that of
// [TestMain].
//
//go:embed clock_of_tests_test.go
var sourceOfClock string

// built returns the file of the program, as `go build` makes it. Only the clock
// differs. The test binary would not do: it has other imports, and with the race
// detector it starts ten times slower.
var built = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "nestround-built-")
	if err != nil {
		return "", err
	}
	builtIn = dir
	here, err := os.Getwd()
	if err != nil {
		return "", err
	}
	source, err := os.ReadFile("main.go")
	if err != nil {
		return "", err
	}
	const clock = "time.Now,"
	if n := strings.Count(string(source), clock); n != 1 {
		return "", fmt.Errorf("main.go has %q %d times, want once", clock, n)
	}
	files := map[string]string{
		"main.go":           strings.Replace(string(source), clock, "clockOfTests,", 1),
		"clock_of_tests.go": sourceOfClock,
	}
	replace := make(map[string]string)
	for name, text := range files {
		replace[filepath.Join(here, name)] = filepath.Join(dir, name)
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			return "", err
		}
	}
	overlay, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(filepath.Join(dir, "overlay.json"), overlay, 0o644); err != nil {
		return "", err
	}
	bin := filepath.Join(dir, "nestround")
	out, err := exec.Command("go", "build", "-overlay", filepath.Join(dir, "overlay.json"), "-o", bin, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return bin, nil
})

// builtIn is the folder of the built program, or "".
var builtIn string

// tidy runs the tests and then removes the built program.
type tidy struct{ *testing.M }

func (t tidy) Run() int {
	defer func() { os.RemoveAll(builtIn) }()
	return t.M.Run()
}

// theBinary is [built] for a test.
func theBinary(t *testing.T) string {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

// demoCommand returns books of the demo with further settings, and the command nestround
// in a process of its own. Called by this name, the test binary runs the command.
func demoCommand(t *testing.T, set demobooks.Setting) (books, bin string) {
	t.Helper()
	books = t.TempDir()
	set.Zone = "UTC"
	if err := demobooks.Write(books, civil.MustParse("2027-05-12"), set); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{"new", "cur", "tmp"} {
		if err := os.MkdirAll(filepath.Join(books, "mail", "in", f), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	bin = filepath.Join(t.TempDir(), "nestround")
	if err := os.Symlink(self, bin); err != nil {
		t.Fatal(err)
	}
	return books, bin
}

// clockAt returns the environment of a program whose clock shows at now and runs
// on.
func clockAt(at time.Time) []string {
	return append(os.Environ(), "TZ=UTC", "USER=keeper", "CLOCK="+at.Format(time.RFC3339Nano), "SET="+time.Now().Format(time.RFC3339Nano))
}
