package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const sample = `// Package sample has one of everything, and <= in a comment.
package sample

import "fmt"

type record struct {
	Days int ` + "`json:\"days\"`" + `
}

const few, half = 8, 0.5

const (
	first  = "first-word"
	second = "second-word"
)

func f(a, b int, list []int) (int, error) {
	room := make([]int, 0, 99)
	if a < b && b != few {
		return 77, fmt.Errorf("%d is too many", 55)
	}
	a = min(a, 3-b)
	switch {
	case a > 5:
		panic("at most 66")
	}
	return len(room) + a, nil
}
`

// Each operator makes the mistakes of its kind. None makes mistakes in imports,
// tags, texts for people, reserved capacity, or values beside an error.
func TestOperators(t *testing.T) {
	name := filepath.Join(t.TempDir(), "sample.go")
	if err := os.WriteFile(name, []byte(sample), 0o600); err != nil {
		t.Fatal(err)
	}
	for operator, want := range map[string][]string{
		"integer":    {"8 -> 9", "8 -> 7", "0 -> 1", "3 -> 4", "3 -> 2", "5 -> 6", "5 -> 4"},
		"float":      {"0.5 -> 0.625", "0.5 -> 0.4"},
		"border":     {"< -> <=", "> -> >="},
		"equal":      {"!= -> =="},
		"and-or":     {"&& -> ||"},
		"negate":     {"a < b && b != few -> !(a < b && b != few)"},
		"arithmetic": {"- -> +", "+ -> -"},
		"bool":       nil,
		"swap":       {"min -> max"},
		"string":     {`"first-word" -> "second-word"`, `"second-word" -> "first-word"`},
		"remove":     {"a = min(a, 3-b) -> "},
	} {
		places, err := placesOf(new(pkg), name, []string{operator})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, p := range places {
			for _, m := range p.mistakes {
				got = append(got, m.was+" -> "+m.now)
				if sample[m.from:m.to] != m.was {
					t.Errorf("%s: replaces %q and means %q", operator, sample[m.from:m.to], m.was)
				}
			}
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", operator, got, want)
		}
	}
}

// The same seed gives the same mistakes, another seed gives others.
func TestSeedDecides(t *testing.T) {
	name := filepath.Join(t.TempDir(), "sample.go")
	if err := os.WriteFile(name, []byte(sample), 0o600); err != nil {
		t.Fatal(err)
	}
	drawn := func(seed uint64) string {
		places, err := placesOf(new(pkg), name, nil)
		if err != nil {
			t.Fatal(err)
		}
		draw(places, seed)
		var list []string
		for _, p := range places {
			list = append(list, p.String())
		}
		return strings.Join(list, "\n")
	}
	if drawn(1) != drawn(1) || drawn(1) == drawn(2) {
		t.Error("the mistakes do not hang on the seed")
	}
}
