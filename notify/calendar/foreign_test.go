package calendar

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestround/tasks/civil"
)

// These tests use three readers that share no code with the library this
// package writes with: libical (used by Evolution and others), icalendar for
// Python, and ical.js (used by Thunderbird and others). Their programs are in
// testdata/foreign at the root of the repository. If
// NESTROUND_REQUIRE_SERVERS=1 is set, a missing reader is a failure.

const foreignDir = "../../testdata/foreign"

// foreignEvent is the output of every reader for an event.
type foreignEvent struct {
	UID          string `json:"uid"`
	Start        string `json:"start"`
	End          string `json:"end"`
	Summary      string `json:"summary"`
	Sequence     int    `json:"sequence"`
	LastModified string `json:"last_modified"`
	Description  string `json:"description"`
	Properties   int    `json:"properties"`
	Alarms       int    `json:"alarms"`
}

// reader is a foreign program that prints the events of a file.
type reader struct {
	name    string
	install string // how to install what it needs
	// command returns the command line for files. An error says what is
	// missing.
	command func(dir string) ([]string, error)
	// twice says that the reader decodes backslash escapes twice, as icalendar
	// 4.0.3 does. By RFC 5545, 3.3.11, they are decoded once.
	twice bool
}

var readers = []reader{
	{"python icalendar", "apt-get install python3-icalendar", func(string) ([]string, error) {
		// Debian's packages belong to Debian's Python, which may not be the
		// first on the path.
		var err error
		for _, python := range []string{"/usr/bin/python3", "python3"} {
			if err = exec.Command(python, "-c", "import icalendar").Run(); err == nil {
				return []string{python, filepath.Join(foreignDir, "parse.py")}, nil
			}
		}
		return nil, err
	}, true},
	{"libical", "apt-get install gcc libc6-dev libical-dev", func(dir string) ([]string, error) {
		program := filepath.Join(dir, "parse")
		_, err := exec.Command("cc", "-o", program, filepath.Join(foreignDir, "parse.c"), "-lical").Output()
		return []string{program}, err
	}, false},
	{"ical.js", "npm ci --prefix testdata/foreign", func(string) ([]string, error) {
		node, err := exec.LookPath("node")
		if err != nil {
			return nil, err
		}
		_, err = os.Stat(filepath.Join(foreignDir, "node_modules", "ical.js"))
		return []string{node, filepath.Join(foreignDir, "parse.mjs")}, err
	}, false},
}

// samplePlan returns the events that the readers must find in the sample.
func samplePlan() []foreignEvent {
	var list []foreignEvent
	for _, e := range sampleEvents {
		iso := func(s string) string { return s[:4] + "-" + s[4:6] + "-" + s[6:] }
		list = append(list, foreignEvent{UID: e[0] + ".b7k2m9@feed", Start: iso(e[1]), End: iso(e[2]), Summary: e[3],
			LastModified: "2027-05-12T04:30:00Z"})
	}
	slices.SortFunc(list, func(a, b foreignEvent) int { return strings.Compare(a.UID, b.UID) })
	return list
}

func TestForeignReaders(t *testing.T) {
	alarm := civil.TimeOfDay(6*60 + 30)
	withAlarm := sample()
	withAlarm.Alarm = &alarm

	// A calendar with a history: one day changed twice, an hour apart.
	r := NewRevisions(&Memory{})
	changed := sample()
	var history []byte
	for range 3 {
		var err error
		if history, err = Render(changed, Scope{}, r); err != nil {
			t.Fatal(err)
		}
		changed.Boards[1].Rows[6].Title += " once more"
		changed.Now = changed.Now.Add(time.Hour)
	}
	files := map[string][]byte{
		"sample":  mustRender(t, sample(), Scope{}),
		"alarms":  mustRender(t, withAlarm, Scope{}),
		"history": history,
		"renewed": mustRender(t, sample(), Scope{Room: "H", Ends: today.AddDays(14)}),
		"big":     mustRender(t, facility(300), Scope{}),
	}
	for i, s := range hostile {
		files["hostile "+strconv.Itoa(i)] = mustRender(t, withNames(sample(), s), Scope{})
	}
	dir := t.TempDir()
	for name, data := range files {
		if err := os.WriteFile(filepath.Join(dir, name+".ics"), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, rd := range readers {
		t.Run(rd.name, func(t *testing.T) {
			command, err := rd.command(t.TempDir())
			if err != nil {
				if os.Getenv("NESTROUND_REQUIRE_SERVERS") == "1" {
					t.Fatalf("%v; %s", err, rd.install)
				}
				t.Skipf("%v; to run this: %s", err, rd.install)
			}
			for name, data := range files {
				got := read(t, command, filepath.Join(dir, name+".ics"))
				want := ours(mustBeValid(t, data))
				if rd.twice {
					for i := range want {
						want[i].Summary, want[i].Description = unescape(want[i].Summary), unescape(want[i].Description)
					}
				}
				compare(t, name, got, want)
				if name == "sample" {
					for i := range got {
						got[i].Description, got[i].Properties = "", 0
					}
					compare(t, "the plan", got, samplePlan())
				}
				if name == "history" {
					i := slices.IndexFunc(got, func(e foreignEvent) bool { return e.UID == "20270512.room-h.b7k2m9@feed" })
					if i < 0 || got[i].Sequence != 2 || got[i].LastModified != "2027-05-12T06:30:00Z" {
						t.Errorf("history: %+v", got)
					}
				}
			}
		})
	}
}

// ours returns the events that the reader of these tests finds.
func ours(cal *comp) []foreignEvent {
	iso := func(s string) string { return s[:4] + "-" + s[4:6] + "-" + s[6:] }
	var list []foreignEvent
	for _, e := range cal.subs {
		seq, _ := strconv.Atoi(e.get("SEQUENCE"))
		at, _ := time.Parse("20060102T150405Z", e.get("LAST-MODIFIED"))
		list = append(list, foreignEvent{UID: e.text("UID"), Start: iso(e.get("DTSTART")), End: iso(e.get("DTEND")), Summary: e.text("SUMMARY"),
			Sequence: seq, LastModified: at.Format(time.RFC3339), Description: e.text("DESCRIPTION"), Properties: len(e.props), Alarms: len(e.subs)})
	}
	slices.SortFunc(list, func(a, b foreignEvent) int { return strings.Compare(a.UID, b.UID) })
	return list
}

func read(t *testing.T, command []string, file string) []foreignEvent {
	t.Helper()
	c := exec.Command(command[0], append(command[1:], file)...)
	var words strings.Builder
	c.Stderr = &words
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s refuses %s: %v %s", command[0], filepath.Base(file), err, &words)
	}
	var list []foreignEvent
	if err := json.Unmarshal(out, &list); err != nil {
		t.Fatalf("%v in %.300s", err, out)
	}
	return list
}

func compare(t *testing.T, name string, got, want []foreignEvent) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s: %d events, want %d", name, len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Errorf("%s:\n got %.600q\nwant %.600q", name, fmt.Sprintf("%+v", got[i]), fmt.Sprintf("%+v", want[i]))
		}
	}
}
