package digest

import (
	"fmt"
	"math"
	"strings"

	"nestround/tasks"
	"nestround/tasks/civil"
	"nestround/tasks/english"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// This file and outline.go have every sentence that the digest itself makes.
// The rules: plain English, no exclamation marks, the fact before the advice,
// and no sentence that could be taken for an answer. Examples of answers have
// the letter N in place of a number.

// load returns the amount of work in words: "9 tasks, about 50 minutes".
func load(n, min int) string {
	s := english.Count(n, "task")
	if m := english.AboutMinutes(min); m != "" {
		s += ", " + m
	}
	return s
}

// likelihoods are the words for a probability, on the scale of the
// Intergovernmental Panel on Climate Change (Mastrandrea et al. 2010, Guidance
// Note on Consistent Treatment of Uncertainties, table 1). Each word is for
// probabilities above its limit, in percent, up to and including the limit
// before it. Where ranges of the scale overlap, the narrower word is used.
var likelihoods = []struct {
	above float64
	word  string
}{
	{99, "virtually certain"},
	{90, "very likely"},
	{66, "likely"},
	{33, "about as likely as not"},
	{10, "unlikely"},
	{1, "very unlikely"},
	{math.Inf(-1), "exceptionally unlikely"},
}

// chance returns a probability, 0 to 1, in words and in percent: "likely, 72
// %".
func chance(p float64) string {
	p = math.Max(0, math.Min(1, p))
	word := ""
	for _, l := range likelihoods {
		if 100*p > l.above {
			word = l.word
			break
		}
	}
	return word + ", " + english.PercentOrCertain(p)
}

func partName(p husbandry.Part) string {
	switch p {
	case husbandry.Morning:
		return "Morning"
	case husbandry.Midday:
		return "Midday"
	}
	return "Evening"
}

// lateness says since which day a task is overdue.
func lateness(t tasks.Task, on civil.Date) string {
	days := on.Sub(t.Due)
	if t.Due.IsZero() || days <= 0 {
		return ""
	}
	return fmt.Sprintf("due %s, %s ago", english.ShortWeekday(t.Due, on), english.Days(days))
}

// toRecord names the findings that the keeper should record: "Record the
// weight".
func toRecord(asks []husbandry.FindingName) string {
	words := finding.ToRecord(asks)
	if len(words) == 0 {
		return ""
	}
	return "Record " + strings.Join(words, " and ")
}
