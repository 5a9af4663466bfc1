package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"nestround/cmd/nestround/demobooks"
	"nestround/tasks/civil"
)

// withoutSleep is a setting of the race detector. A command built with the race
// detector sleeps for a second at its end unless this setting is given. The
// scripts run some 250 commands.
const withoutSleep = "atexit_sleep_ms=0"

// TestMain lets the test binary run as the command in scripts, with the clock of
// [clockOfTests].
func TestMain(m *testing.M) {
	os.Setenv("GORACE", withoutSleep)
	testscript.Main(tidy{m}, map[string]func(){
		"nestround": func() {
			p := &program{
				stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, env: os.Getenv,
				now: clockOfTests,
			}
			p.unfinished = new(atomic.Pointer[func() string])
			os.Exit(p.main(p.untilSignal(), os.Args[1:]))
		},
	})
}

// The scripts run on 12 May 2027, ten past six in the morning in Vienna. They
// find the demo's books of that day, with mail folders, in $WORK/demo.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"number": number,
		},
		Setup: func(env *testscript.Env) error {
			env.Setenv("CLOCK", "2027-05-12T06:10:00+02:00")
			env.Setenv("SET", time.Now().Format(time.RFC3339Nano))
			env.Setenv("TZ", "Europe/Vienna")
			env.Setenv("USER", "keeper")
			env.Setenv("GORACE", withoutSleep)
			dir := filepath.Join(env.WorkDir, "demo")
			for _, f := range []string{"new", "cur", "tmp"} {
				if err := os.MkdirAll(filepath.Join(dir, "mail", "in", f), 0o755); err != nil {
					return err
				}
			}
			return demobooks.Write(dir, civil.MustParse("2027-05-12"), demobooks.Setting{})
		},
	})
}

// number sets a variable to the number of the task with the given key: number
// VARIABLE KEY. The task's number changes whenever the demo gains a task.
func number(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: number VARIABLE KEY")
	}
	ts.Check(ts.Exec("nestround", "round", "--json"))
	var round struct {
		Tasks []struct {
			N   int
			Key string
		}
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &round))
	for _, t := range round.Tasks {
		if t.Key == args[1] {
			ts.Setenv(args[0], strconv.Itoa(t.N))
			return
		}
	}
	ts.Fatalf("no task %s today", args[1])
}
