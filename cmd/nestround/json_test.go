package main

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var (
	documentedVerb = regexp.MustCompile(`(?m)^    ([a-z]+) +(\{.*(?:\n     .*)*)`)
	documentedName = regexp.MustCompile(`"([a-z0-9_]+)"(\?)?`)
)

// documentedJSON reads the section on --json in DEVELOPERS.md. For each verb,
// it returns the documented names, and whether each name is always present.
func documentedJSON(t *testing.T) map[string]map[string]bool {
	t.Helper()
	whole, err := os.ReadFile(filepath.Join("..", "..", "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, page, _ := strings.Cut(string(whole), "\n## What --json prints\n")
	page, _, _ = strings.Cut(page, "\n## ")
	all := make(map[string]map[string]bool)
	for _, verb := range documentedVerb.FindAllStringSubmatch(page, -1) {
		all[verb[1]] = make(map[string]bool)
		for _, name := range documentedName.FindAllStringSubmatch(verb[2], -1) {
			all[verb[1]][name[1]] = name[2] == ""
		}
	}
	return all
}

// namesIn adds the names of all JSON fields below v to into.
func namesIn(v any, into map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		for name, below := range v {
			into[name] = true
			namesIn(below, into)
		}
	case []any:
		for _, below := range v {
			namesIn(below, into)
		}
	}
}

// DEVELOPERS.md documents every name that --json prints. Every documented name
// is printed, unless DEVELOPERS.md says that it may be missing.
func TestJSONIsAsDocumented(t *testing.T) {
	t.Parallel()
	books := t.TempDir()
	if err := os.CopyFS(books, os.DirFS(filepath.Join("..", "..", "testdata", "books", "demo"))); err != nil {
		t.Fatal(err)
	}
	hostile := t.TempDir() // check writes into the books for a trial
	if err := os.CopyFS(hostile, os.DirFS(filepath.Join("..", "..", "testdata", "books", "hostile"))); err != nil {
		t.Fatal(err)
	}
	mail := filepath.Join(t.TempDir(), "reply.eml")
	if err := os.WriteFile(mail, []byte("From: Nobody <nobody@example.org>\r\nMessage-ID: <1@example.org>\r\nSubject: hello\r\n\r\ndone 1\r\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	documented := documentedJSON(t)
	for verb, args := range map[string][]string{
		"ahead":    {"--books", books, "--days", "3"},
		"check":    {"--books", hostile},
		"clutches": {"--books", books},
		"mark":     {"--books", books, "F01 weighs 41 g\nblub"},
		"mix":      {"--substrate", "sand", "--ratio", "1:5", "--dry", "2l"},
		"replies":  {"--books", books, "--dry-run", "--file", mail},
		"round":    {"--books", books},
		"season":   {"--books", books},
		"stock":    {"--books", books},
		"weights":  {"--books", books},
	} {
		out, errs, _ := runAny(t, append([]string{verb, "--json"}, args...)...)
		var v any
		if err := json.Unmarshal([]byte(out), &v); err != nil {
			t.Errorf("%s: %v\n%s", verb, err, errs)
			continue
		}
		printed := make(map[string]bool)
		namesIn(v, printed)
		names, ok := documented[verb]
		if !ok {
			t.Errorf("DEVELOPERS.md does not say what %s --json prints: %q", verb, slices.Sorted(maps.Keys(printed)))
			continue
		}
		delete(documented, verb)
		for name := range printed {
			if _, ok := names[name]; !ok {
				t.Errorf("%s --json prints %q, which DEVELOPERS.md does not have", verb, name)
			}
		}
		for name, always := range names {
			if always && !printed[name] {
				t.Errorf("%s --json does not print %q, which DEVELOPERS.md promises", verb, name)
			}
		}
	}
	for verb := range documented {
		t.Errorf("DEVELOPERS.md has the JSON of %s, which is not looked at here", verb)
	}
}
