package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// copied copies the demo's books and sets Sunday as a day off.
func copied(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata", "books", "demo"))); err != nil {
		t.Fatal(err)
	}
	settings := filepath.Join(dir, "keeper.toml")
	b, err := os.ReadFile(settings)
	if err != nil {
		t.Fatal(err)
	}
	b = append([]byte("[work]\ndays_off = [\"sun\"]\n\n"), b...)
	// Keys before the first table belong to the file.
	head, rest, _ := strings.Cut(string(b), "\n\n")
	top, tables, _ := strings.Cut(rest, "[rounds]")
	if err := os.WriteFile(settings, []byte(top+head+"\n\n[rounds]"+tables), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

type aheadJSON struct {
	Peak, Bound int
	PeakBefore  int `json:"peak_before"`
	Gap         float64
	Days        []struct {
		Date          string
		Off           bool
		Minutes       int
		MinutesBefore int `json:"minutes_before"`
		Tasks         []struct{ Key, Title, Due, Status string }
	}
}

func TestAheadMeasuresTheDays(t *testing.T) {
	t.Parallel()
	dir := copied(t)
	path := filepath.Join(dir, "keeper.toml")
	keeper, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// Days away count as days off as well. This test is about the days off
	// alone, so it removes the absences.
	here := regexp.MustCompile(`(?s)\[\[away\]\].*?\n\n|\[\[away\]\].*$`).ReplaceAll(append(keeper, '\n', '\n'), nil)
	if err := os.WriteFile(path, here, 0o644); err != nil {
		t.Fatal(err)
	}
	var got aheadJSON
	if err := json.Unmarshal([]byte(run(t, "ahead", "--json", "--days", "28", "--books", dir)), &got); err != nil {
		t.Fatal(err)
	}
	peak, before, offs := 0, 0, 0
	for _, d := range got.Days {
		peak, before = max(peak, d.Minutes), max(before, d.MinutesBefore)
		if d.Off {
			offs++
		}
	}
	if peak != got.Peak || before != got.PeakBefore || got.Peak >= got.PeakBefore {
		t.Errorf("peak %d, before %d; the days have %d and %d", got.Peak, got.PeakBefore, peak, before)
	}
	if got.Bound <= 0 || got.Bound > got.Peak || got.Gap != float64(got.Peak-got.Bound)/float64(got.Bound) {
		t.Errorf("peak %d, bound %d, gap %v", got.Peak, got.Bound, got.Gap)
	}
	if offs != 4 {
		t.Errorf("%d days off in four weeks", offs)
	}
	text := run(t, "ahead", "--days", "60", "--books", dir)
	if !strings.Contains(text, "Sun 16 May (day off)") || !strings.Contains(text, "  off        -      -") {
		t.Errorf("the days off are not marked:\n%s", text[:600])
	}
	for _, line := range strings.Split(text, "\n")[:10] {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("a line has %d columns: %q", n, line)
		}
	}
}

// Once today's round is done, the tasks that `ahead` lists for tomorrow are the
// tasks of tomorrow's round.
func TestAheadAndRoundAgree(t *testing.T) {
	t.Parallel()
	dir := copied(t)
	run(t, "mark", "--books", dir, "all")
	var ahead aheadJSON
	if err := json.Unmarshal([]byte(run(t, "ahead", "--json", "--days", "3", "--books", dir)), &ahead); err != nil {
		t.Fatal(err)
	}
	var round struct {
		Tasks []struct{ Key, Due, Status string }
	}
	if err := json.Unmarshal([]byte(run(t, "round", "--json", "--on", "2027-05-13", "--books", dir)), &round); err != nil {
		t.Fatal(err)
	}
	var said, found []string
	for _, x := range ahead.Days[0].Tasks {
		said = append(said, x.Key)
	}
	for _, x := range round.Tasks {
		if x.Status == "due" {
			found = append(found, x.Key)
		}
	}
	slices.Sort(said)
	slices.Sort(found)
	if len(said) < 20 || !slices.Equal(said, found) {
		t.Errorf("ahead says of tomorrow\n%v\nand its round is\n%v", said, found)
	}
}
