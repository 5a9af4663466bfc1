package digest

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// between stands between what is said on one line, and never begins one. The
// reply grammar passes over no such sign between a verb and its number.
const between = noBreak + "\u00b7 "

// arrange lays out o, which is shortened already: it puts tasks of one subject
// that follow one another under it, joins what is said of an ordinary task,
// and tells each caution in full at the first task it belongs to, and from
// then on by that task's number. Tasks that are never shortened always have
// theirs in full.
func (o outline) arrange() outline {
	told := make(map[string]int) // the number where a caution stands
	tell := func(caution string, n int, always bool) (full, see string) {
		at := told[caution]
		switch {
		case caution == "":
			return "", ""
		case at > 0 && !always:
			// No line may begin at the number: what follows might complete it.
			return "", fmt.Sprint(cautionWord, noBreak, "see", noBreak, at)
		case at == 0 && n > 0:
			told[caution] = n
		}
		return caution, ""
	}
	o.Sections = slices.Clone(o.Sections)
	for i := range o.Sections {
		s := &o.Sections[i]
		s.Groups = slices.Clone(s.Groups)
		for j := range s.Groups {
			g := &s.Groups[j]
			g.Blocks = blocks(g.Items)
			for _, b := range g.Blocks {
				for k := range b.Items {
					it := &b.Items[k]
					it.Name = it.Title
					if b.Whom != "" {
						it.Name = it.do
					}
					it.Notes = slices.Clone(it.Why)
					if it.Record != "" {
						it.Notes = append(it.Notes, it.Record)
					}
					it.Caution, it.See = tell(it.Caution, it.N, it.special)
					it.Flows = !it.special && len(it.said()) > 0 && o.w.harmless(it.N, it.line())
				}
			}
			g.Runs = slices.Clone(g.Runs)
			for k := range g.Runs {
				r := &g.Runs[k]
				r.Caution, r.See = tell(r.Caution, r.first, false)
			}
		}
	}
	return o
}

// blocks parts the tasks of a room by subject. Where no two tasks of a subject
// follow one another, the titles, which name it, take less room than headings.
func blocks(items []item) []block {
	var all []block
	for i, it := range items {
		if it.do == "" {
			it.whom = ""
		}
		if i == 0 || it.whom != all[len(all)-1].Whom {
			all = append(all, block{Whom: it.whom})
		}
		last := &all[len(all)-1]
		last.Items = append(last.Items, it)
	}
	if !slices.ContainsFunc(all, func(b block) bool { return b.Whom != "" && len(b.Items) > 1 }) && len(items) > 0 {
		return []block{{Items: slices.Clone(items)}}
	}
	return all
}

// said returns what stands behind or below the name, but for the caution in
// full.
func (it item) said() []string {
	var said []string
	for _, s := range append(append([]string{it.Status}, it.Notes...), it.See) {
		if s != "" {
			said = append(said, s)
		}
	}
	return said
}

// line returns the whole of an item that flows, without its number.
func (it item) line() string {
	return strings.Join(append([]string{it.Name}, it.said()...), between)
}

// harmless reports whether s, of pieces that are no commands, is none itself
// behind the number n, wherever it is broken.
func (w writer) harmless(n int, s string) bool {
	s = strconv.Itoa(n) + " " + s
	return w.defuse(s) == s
}
