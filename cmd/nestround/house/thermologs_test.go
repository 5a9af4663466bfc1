package house

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/scheduler/outlook"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// A log shows how warm the eggs really were. Problems of the log are reported.
// A log in Fahrenheit that does not state its unit changes nothing.
func TestIncubatorLogChangesTheForecast(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	write(t, filepath.Join(dir, "eggs.toml"), `
[[room]]
id = "HATCH"
name = "Hatchery"
[[incubator]]
id = "BOX"
name = "the box"
room = "HATCH"
temperature = "29 C"
log = "logs/box.csv"
[[clutch]]
id = "C1"
species = "wall-lizard"
laid = 2027-05-01
eggs = 5
incubator = "BOX"
`)
	if err := os.MkdirAll(filepath.Join(dir, "logs"), 0o755); err != nil {
		t.Fatal(err)
	}
	const today = "2027-05-21"
	forecast := func(csv string) (civil.Date, string) {
		t.Helper()
		if csv != "" {
			write(t, filepath.Join(dir, "logs", "box.csv"), csv)
		}
		h := open(t, dir, clock(today+"T12:00:00Z"), disk.Files{})
		problems, _ := h.Snapshot().Problems()
		var of []outlook.ClutchForecast
		for _, c := range h.Snapshot().Clutches(civil.MustParse(today)) {
			if c.ID == "C1" {
				of = append(of, c)
			}
		}
		if len(of) != 1 {
			t.Fatalf("clutches %+v", of)
		}
		return of[0].P50, fmt.Sprint(problems)
	}
	log := func(degrees float64) string {
		var b strings.Builder
		at := time.Date(2027, 4, 30, 22, 0, 0, 0, time.UTC)
		for i := range 20 * 24 {
			fmt.Fprintf(&b, "%s,%.1f\n", at.Add(time.Duration(i)*time.Hour).Format(time.RFC3339), degrees+float64(i%2)/10)
		}
		return b.String()
	}
	set, _ := forecast("")
	// Wall lizards take some 57 days at 24 °C and 34 at 29 (Ji & Braña 1999).
	cold, said := forecast(log(24))
	if late := cold.Sub(set); late < 18 || late > 28 || !strings.Contains(said, "its last 14 days are at 24.1 °C on average, and it is set to 29.0 °C") {
		t.Errorf("at 24 instead of 29 °C, and still so, hatching is %d days later; %s", late, said)
	}
	if same, said := forecast(log(29)); same.Sub(set) > 0 || same.Sub(set) < -1 || strings.Contains(said, "temperature log") {
		t.Errorf("a log of what it is set to gives %v, none %v; %s", same, set, said)
	}
	if other, said := forecast(log(75)); other != set || !strings.Contains(said, "looks like degrees Fahrenheit") {
		t.Errorf("a log in Fahrenheit gives %v, none %v; %s", other, set, said)
	}
	box := filepath.Join(dir, "logs", "box.csv")
	if err := os.Remove(box); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(box, 0o755); err != nil {
		t.Fatal(err)
	}
	if other, said := forecast(""); other != set || !strings.Contains(said, "it is not a file") {
		t.Errorf("a folder of that name gives %v, none %v; %s", other, set, said)
	}
}

// While eggs are in an incubator, the digest reports problems of its log:
// persisting ones and recent ones. The verb check reports faults in the form of
// the file.
func TestDigestReportsLogProblems(t *testing.T) {
	dir := small(t, "Europe/Vienna", "06:00")
	write(t, filepath.Join(dir, "eggs.toml"), `
[[room]]
id = "HATCH"
[[incubator]]
id = "BOX"
room = "HATCH"
temperature = "29 C"
log = "box.csv"
[[clutch]]
id = "C1"
species = "wall-lizard"
laid = 2027-05-01
eggs = 5
incubator = "BOX"
`)
	log := func(line func(at time.Time) string) string {
		var b strings.Builder
		at := time.Date(2027, 5, 1, 0, 0, 0, 0, time.UTC)
		for i := range 20*24 + 4 {
			b.WriteString(line(at.Add(time.Duration(i) * time.Hour)))
		}
		return b.String()
	}
	reading := func(at time.Time, t float64) string { return fmt.Sprintf("%s,%.1f\n", at.Format(time.RFC3339), t) }
	usual := func(at time.Time) string { return reading(at, 29+float64(at.Hour()%2)/10) }
	hot := func(day int) func(at time.Time) string {
		return func(at time.Time) string {
			if at.Day() == day && at.Hour() >= 12 && at.Hour() < 18 {
				return reading(at, 39.2)
			}
			return usual(at)
		}
	}
	for name, c := range map[string]struct {
		csv, today string
		want       string // "": nothing
	}{
		"as it should be":           {log(usual), "2027-05-21", ""},
		"hot yesterday":             {log(hot(20)), "2027-05-21", "Temperature log of BOX: up to 39.2 °C for 6 hours from 20 May 2027 14:00: does the thermostat stick, or the sun shine in?"},
		"hot a week ago":            {log(hot(13)), "2027-05-21", ""},
		"in Fahrenheit":             {log(func(at time.Time) string { return reading(at, 84+float64(at.Hour()%2)) }), "2027-05-21", "looks like degrees Fahrenheit"},
		"twice the same":            {log(usual) + log(usual), "2027-05-21", ""},
		"two degrees beside":        {log(func(at time.Time) string { return reading(at, 31+float64(at.Hour()%2)/10) }), "2027-05-21", "and it is set to 29.0 °C"},
		"of next year's clock":      {log(usual), "2027-05-10", "10 days are after today, until 20 May 2027, not used: look at the logger's clock"},
		"hot, and nothing in there": {strings.ReplaceAll(log(hot(20)), "2027-05", "2027-03"), "2027-03-21", ""},
	} {
		write(t, filepath.Join(dir, "box.csv"), c.csv)
		h := open(t, dir, clock(c.today+"T04:00:00Z"), disk.Files{})
		var said []string
		for _, n := range logNotices(h.Snapshot(), civil.MustParse(c.today)) {
			said = append(said, n.Text)
		}
		if got := strings.Join(said, "; "); len(said) > 1 || (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		if c.want == "" {
			continue
		}
		mail, _, err := h.Draft()
		if err != nil {
			t.Fatal(err)
		}
		if text := strings.Join(strings.Fields(mail.Text), " "); !strings.Contains(text, "Temperature log of BOX") {
			t.Errorf("%s: the digest says nothing of it:\n%s", name, mail.Text)
		}
	}
}
