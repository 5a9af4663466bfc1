package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// clockOfTests gives the built program a clock that tests can set, with the same
// variables as in [TestMain].
const clockOfTests = `package main

import (
	"os"
	"time"
)

func clockOfTests() time.Time {
	clock, err := time.Parse(time.RFC3339, os.Getenv("CLOCK"))
	if err != nil {
		panic("CLOCK: " + err.Error())
	}
	set, err := time.Parse(time.RFC3339Nano, os.Getenv("SET"))
	if err != nil {
		panic("SET: " + err.Error())
	}
	return clock.Add(time.Since(set))
}
`

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
		"clock_of_tests.go": clockOfTests,
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

// clockAt returns the environment of a program whose clock shows at now and runs
// on.
func clockAt(at time.Time) []string {
	return append(os.Environ(), "TZ=UTC", "USER=keeper", "CLOCK="+at.Format(time.RFC3339Nano), "SET="+time.Now().Format(time.RFC3339Nano))
}
