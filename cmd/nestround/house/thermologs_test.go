package house

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestround/scheduler"
	"nestround/tasks/civil"
	"nestround/tasks/disk"
)

// A log says how warm the eggs really stood, and what is wrong with it is
// shown; a log in Fahrenheit that does not say so changes nothing.
func TestAnIncubatorsLogMovesTheForecast(t *testing.T) {
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
		problems, _ := h.Problems()
		var of []scheduler.ClutchForecast
		for _, c := range h.Clutches(civil.MustParse(today)) {
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
	if other, said := forecast(""); other != set || !strings.Contains(said, "it is no file") {
		t.Errorf("a folder of that name gives %v, none %v; %s", other, set, said)
	}
}
