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

// Every sentence a digest makes up itself is in this file and in outline.go.
// The rules: plain English, no exclamation, the fact before the advice, and
// no sentence that could be taken for an answer; examples of answers have the
// letter N where a number would stand.

// load writes how much work a number of tasks is: "9 tasks, about 50 minutes".
func load(n, min int) string {
	s := english.Count(n, "task")
	if m := english.AboutMinutes(min); m != "" {
		s += ", " + m
	}
	return s
}

// likelihoods are the words for a probability, by the scale of the
// Intergovernmental Panel on Climate Change (Mastrandrea et al. 2010, Guidance
// Note on Consistent Treatment of Uncertainties, table 1): each word for what
// is above the limit, in percent, and not above the one before. Where the
// scale's ranges overlap the narrower word is used.
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

// chance writes a probability, 0 to 1, in words and in percent: "likely, 72 %".
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

// lateness says since when a task is overdue on a day.
func lateness(t tasks.Task, on civil.Date) string {
	days := on.Sub(t.Due)
	if t.Due.IsZero() || days <= 0 {
		return ""
	}
	return fmt.Sprintf("due %s, %s ago", english.ShortWeekday(t.Due, on), english.Days(days))
}

// toRecord says what a task asks the keeper to record: "Record the weight".
func toRecord(asks []tasks.FindingName) string {
	words := finding.ToRecord(asks)
	if len(words) == 0 {
		return ""
	}
	return "Record " + strings.Join(words, " and ")
}
