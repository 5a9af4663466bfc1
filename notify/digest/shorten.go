package digest

import (
	"strings"
	"sync"
)

// level is the degree to which a very long list is shortened. Each level leaves
// out more than the previous level. No level drops a number or a caution. No
// level shortens a task that is pinned, alarms or belongs to a window.
type level int

const (
	inFull level = iota
	// bare styles the tasks only in the style sheet. It leaves out no words.
	bare
	// withoutReasons leaves out the reasons and links of routine tasks. A task
	// is routine if it is not overdue.
	withoutReasons
	// inRuns joins tasks of the same sort in the same room into runs of numbers
	// and places. Each run has its caution once.
	inRuns
)

var levels = []level{inFull, bare, withoutReasons, inRuns}

// run has tasks of the same sort in the same room, without their titles.
type run struct {
	Label   string
	Entries []string // "12 E07"
	Status  string   // status of marked tasks
	Caution string   // in full; arrange sets "" if an earlier line shows the same caution
	See     string   // reference to the caution
	Text    string   // everything except the caution: "Feeding: 12 E07; 13 E08; 15 E10."
	first   int      // number of its first task
}

// notice says what level l leaves out of the HTML part or of the text part; ""
// if nothing.
func (l level) notice(html bool) string {
	switch {
	case l == inRuns:
		return "This list is long, so most tasks have only their number and their place here. The calendar has their titles."
	case l == withoutReasons && html:
		return "This list is long, so the reasons of ordinary tasks are left out here, and their numbers open no mail."
	case l == withoutReasons:
		return "This list is long, so the reasons of ordinary tasks are left out here."
	}
	return ""
}

// arranged returns a function that returns o shortened to a level and arranged.
// Both parts of the mail need the same levels, so the function does the work
// only once for each level.
func arranged(o outline) func(level) outline {
	var made [inRuns + 1]func() outline
	for _, l := range levels {
		made[l] = sync.OnceValue(func() outline { return l.shorten(o).arrange() })
	}
	return func(l level) outline {
		if l == bare {
			same := made[inFull]()
			same.bare = true
			return same
		}
		return made[l]()
	}
}

// shorten returns o shortened to level l.
func (l level) shorten(o outline) outline {
	if l < withoutReasons {
		return o
	}
	sections := o.Sections
	o.Sections = nil
	for _, s := range sections {
		groups := s.Groups
		s.Groups = nil
		for _, g := range groups {
			s.Groups = append(s.Groups, l.group(o.w, g))
		}
		o.Sections = append(o.Sections, s)
	}
	return o
}

func (l level) group(w writer, g group) group {
	short := group{Room: g.Room}
	type sort struct{ label, status, caution string }
	at := make(map[sort]int)
	for _, it := range g.Items {
		switch {
		case it.special || l == withoutReasons && !it.routine:
			short.Items = append(short.Items, it)
		case l == withoutReasons:
			it.Why, it.Record = nil, ""
			short.Items = append(short.Items, it)
		default:
			k := sort{label: it.label, caution: it.Caution}
			if !it.Open { // a run could not show how late each task is
				k.status = it.Status
			}
			i, ok := at[k]
			if !ok {
				i = len(short.Runs)
				at[k] = i
				short.Runs = append(short.Runs, run{Label: k.label, Status: k.status, Caution: k.caution, first: it.N})
			}
			short.Runs[i].Entries = append(short.Runs[i].Entries, it.place)
		}
	}
	for i := range short.Runs {
		r := &short.Runs[i]
		text := r.Label + ": " + strings.Join(r.Entries, "; ") + "."
		if r.Status != "" {
			text += " " + r.Status + "."
		}
		r.Text = w.say(text)
	}
	return short
}
